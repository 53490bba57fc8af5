"""The kinds of limit there are, and the record of one limit.

Numbers that are all called flatness are formed in different ways, and one kind's number says nothing
about another's. :data:`KINDS` says which values each kind carries and where its main number stands.

Limits that a project agrees for itself, beside the published ones.

Some finishes have no published number at all (finished gypsum board, reveals, shadow gaps), and a project
may always ask for more, or less, than a standard does. All lengths are in mm. Each function takes ``name``
(made from the values where none is given), ``purpose`` and ``surfaces`` (those it is for), returns a
:class:`~flatness.limits.kinds.Limit`, and raises LimitError where a value is not a finite number above zero.

A limit's value in words: tape fractions or millimetres, never a long decimal, and how sure it is.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from flatness.errors import ArgumentError, LengthError, LimitError, check_choice
from flatness.lengths import format_length, parse_exact, parse_length, settle

SURFACES = ("floor", "ceiling", "wall")
SEEN = ("read", "quoted", "memory", "agreed")
SCOPES = ("overall", "least")
AXES = ("x", "y")


@dataclass(frozen=True)
class Kind:
    """What a kind of limit carries: its keys and what each holds, those that may be left out, and which of
    them is the number allowed and which the length it is measured over."""

    keys: Mapping[str, str]
    optional: tuple[str, ...] = ()
    allowed: str | None = "allowed"
    length: str | None = None


_BAR = {"length": "length", "allowed": "length"}
_SPAN = Kind({"distances": "lengths", "allowed": "lengths", "rounded": "flag"}, allowed=None)
_F_NUMBER = Kind({"at_least": "number", "scope": "scope"}, allowed="at_least")
_OVER = Kind({"distance": "length", "allowed": "length"}, optional=("distance",), length="distance")
_LEVEL = Kind({**_OVER.keys, "within": "flag"}, optional=("distance", "within"), length="distance")
_ALONE = Kind({"allowed": "length"})
KINDS: dict[str, Kind] = {
    "straightedge": Kind({**_BAR, "plane": "flag"}, optional=("plane",), length="length"),
    "straightedge-share": Kind({**_BAR, "share": "share"}, length="length"),
    "span-bar": _SPAN,
    "span-grid": _SPAN,
    "offset": Kind(_BAR, length="length"),
    "plane": Kind(_BAR, length="length"),
    "ff": _F_NUMBER,
    "fl": _F_NUMBER,
    "tr34-e": _ALONE,
    "tr34-f": _ALONE,
    "level": _LEVEL,
    "level-rule": Kind(
        {
            "per_metre": "length",
            "cap": "length",
            "up_to": "length",
            "plus": "length",
            "cube_root": "length",
            "across": "flag",
        },
        optional=("per_metre", "cap", "up_to", "plus", "cube_root", "across"),
        allowed=None,
    ),
    "plumb": _OVER,
    "neighbours": _ALONE,
    "step": Kind({"base": "length", "allowed": "length"}, optional=("base",), length="base"),
    "slope": Kind({"at_most": "ratio", "base": "length"}, optional=("base",), allowed="at_most", length="base"),
    "light": Kind(
        {"angle": "number", "distance": "length", "along": "axis", "times": "number", "lamp": "length", "side": "side"},
        optional=("along", "times", "lamp", "side"),
        allowed="angle",
    ),
    "reference": Kind({"values": "texts"}, allowed=None),
}
SIDES = ("left", "right", "bottom", "top")  # along which lamps stand
LAMP_REACH_MM = 2438.4  # 8 ft: a lamp's distance off counts as the angle at which its light comes in so far away
UNITLESS = ("ff", "fl", "slope", "light")  # kinds whose allowed number is not a length
PLANNABLE = ("straightedge", "light")  # kinds that corrections are planned for


@dataclass(frozen=True, kw_only=True)
class Limit:
    """One limit: what a surface is allowed to be, by which way of measuring, and on whose word.

    Attributes
    ----------
    name : short name, unique in the catalogue
    kind : one of :data:`KINDS`: how the number is formed
    purpose : what it is for, in plain words
    surfaces : which of floor, ceiling and wall it is for
    finish : key of the group it belongs to; naming the finish names all its limits
    allowed : the most allowed [mm]; for ``ff`` and ``fl`` the least F-number, for ``slope`` the ratio, rise
        over run, for ``light`` its angle above the surface [degrees];
        None for ``span-bar``, ``span-grid``, ``level-rule`` and ``reference``
    length : length of the bar, or distance it is measured over [mm]; None where there is none
    parameters : all values of the kind under the keys of :data:`KINDS`, lengths in mm; optional ones that
        were not given are None
    source, edition, clause : publisher and document; empty where not known
    seen : ``read`` in the source's own text, ``quoted`` by others, from ``memory``, or ``agreed``
    notes : what its user must know
    called : what people on site call the finish, and behind a semicolon more words that find it; empty where nobody
        said
    """

    name: str
    kind: str
    purpose: str
    surfaces: tuple[str, ...]
    finish: str
    allowed: float | None
    length: float | None
    parameters: Mapping[str, Any] = field(hash=False)
    source: str
    edition: str
    clause: str
    seen: str
    notes: str
    called: str = ""

    @property
    def everyday(self) -> str:
        """What people on site call the finish, such as ``oak, glued down``; empty where nobody said."""
        return self.called.partition(";")[0].strip()


def build_limit(kind: str, values: Mapping[str, Any], **about: Any) -> Limit:
    """The limit of a kind from its values in mm, once they are checked against each other.

    Raises LimitError where the values contradict each other.
    """
    known = KINDS[kind]
    parameters = {key: values.get(key) for key in known.keys}
    if kind in ("span-bar", "span-grid"):
        _check_table(values["distances"], values["allowed"])
    if kind == "level-rule":
        given = [key for key in known.keys if parameters[key] is not None and key not in ("up_to", "across")]
        if given not in (["per_metre", "cap"], ["per_metre", "plus"], ["cube_root"]):
            raise LimitError(
                "a level rule that says too little or too much",
                column="per_metre",
                value=", ".join(given),
                expected="per_metre with cap (and up_to) or with plus, or cube_root alone",
            )
    allowed = parameters[known.allowed] if known.allowed else None
    length = parameters[known.length] if known.length else None
    return Limit(kind=kind, allowed=allowed, length=length, parameters=parameters, **about)


def _check_table(distances: Sequence[float], allowed: Sequence[float]) -> None:
    if len(distances) != len(allowed):
        raise LimitError(
            "distances and allowed values do not pair up",
            column="allowed",
            value=f"{len(distances)} distances, {len(allowed)} allowed values",
            expected="one allowed value for each distance",
        )
    if any(b <= a for a, b in pairwise(distances)):
        raise LimitError(
            "distances that do not rise",
            column="distances",
            value=str(list(distances)),
            expected="distances from the shortest to the longest, each once",
        )


def level_rule(limit: Limit) -> Callable[[float], float]:
    """The difference in height [mm] that a ``level-rule`` allows over a distance [mm].

    A rule by the metre gives the rate times the distance, and ``plus`` besides or never more than its cap; beyond
    ``up_to``, how far the source states the rate, it gives the cap.
    """
    if limit.kind != "level-rule":
        raise LimitError("not a level rule", value=limit.name, expected="a limit of kind level-rule")
    rule = limit.parameters
    if rule["cube_root"] is not None:
        return lambda distance: float(rule["cube_root"] * math.cbrt(distance / 1000))
    plus, cap = rule["plus"] or 0.0, rule["cap"] or math.inf
    reach = rule["up_to"] or math.inf

    def allowed(distance: float) -> float:
        beyond = math.isfinite(cap) and distance > reach * (1 + 1e-9)
        return float(cap if beyond else min(plus + rule["per_metre"] * distance / 1000, cap))

    return allowed


def read_value(raw: object, holds: str) -> Any:
    """A value as the limits file writes it, in mm where it is a length; LimitError where it is not one."""
    return _READERS[holds](raw)


def check_positive(value: object, key: str) -> float:
    """The number, once it is finite and above zero; LimitError otherwise."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise LimitError(
            "not a number",
            column=key,
            value=str(value),
            expected="a number; lengths in millimetres",
            remedy="a length written as text goes through flatness.parse_length first",
        )
    if not (math.isfinite(value) and settle(value) > 0):
        raise LimitError("out of range", column=key, value=str(value), expected="a finite number above zero")
    return float(value)


def _read_length(raw: object) -> float:
    remedy = "write the number and its unit as text"
    if not isinstance(raw, str):
        raise LimitError("a length must be text with its unit", value=str(raw), expected='"3/16 in"', remedy=remedy)
    try:
        mm, unitless = parse_length(raw, "mm"), parse_exact(raw, "mm") != parse_exact(raw, "cm")
    except LengthError as error:
        first = error.problems[0]
        raise LimitError(first.what, value=raw, expected=first.expected, remedy=first.remedy or remedy) from error
    if unitless:
        raise LimitError("a length without a unit", value=raw, expected="in, ft, mm, cm or m", remedy=remedy)
    if settle(mm) <= 0:
        raise LimitError("out of range", value=raw, expected="a length above zero", remedy="check the sign")
    return mm


def _read_lengths(raw: object) -> tuple[float, ...]:
    if not isinstance(raw, list) or not raw:
        raise LimitError("not a list of lengths", value=str(raw), expected='a list such as ["1 m", "4 m"]')
    return tuple(_read_length(item) for item in raw)


def _read_number(raw: object) -> float:
    return check_positive(raw, "")


def _read_share(raw: object) -> float:
    if isinstance(raw, bool) or not isinstance(raw, (int, float)) or not 0 < raw <= 1:
        raise LimitError("not a share", value=str(raw), expected="a number above 0, up to 1; 0.9 is 90 %")
    return float(raw)


def read_ratio(raw: object) -> float:
    """Rise over run of a slope written ``1:48``."""
    found = re.fullmatch(r"\s*(\d{1,6}(?:\.\d{1,6})?)\s*:\s*(\d{1,6}(?:\.\d{1,6})?)\s*", str(raw), re.ASCII)
    if found is None or not float(found[1]) or not float(found[2]):
        raise LimitError("not a slope", value=str(raw), expected='rise to run, such as "1:48"')
    return float(found[1]) / float(found[2])


def _read_scope(raw: object) -> str:
    if raw not in SCOPES:
        raise LimitError("unknown scope", value=str(raw), expected=" or ".join(SCOPES))
    return str(raw)


def _read_axis(raw: object) -> str:
    if raw not in AXES:
        raise LimitError("unknown axis", value=str(raw), expected=" or ".join(AXES))
    return str(raw)


def _read_side(raw: object) -> str:
    if raw not in SIDES:
        raise LimitError("unknown side", value=str(raw), expected=", ".join(SIDES))
    return str(raw)


def _read_flag(raw: object) -> bool:
    if not isinstance(raw, bool):
        raise LimitError("neither true nor false", value=str(raw), expected="true or false")
    return raw


def _read_texts(raw: object) -> dict[str, str]:
    if not isinstance(raw, dict) or not raw or not all(isinstance(v, str) and v for v in raw.values()):
        raise LimitError("not a table of texts", value=str(raw), expected='a table: "label" = "value"')
    return dict(raw)


_READERS: dict[str, Callable[[object], Any]] = {
    "length": _read_length,
    "lengths": _read_lengths,
    "number": _read_number,
    "share": _read_share,
    "ratio": read_ratio,
    "scope": _read_scope,
    "axis": _read_axis,
    "side": _read_side,
    "flag": _read_flag,
    "texts": _read_texts,
}


UNITS = ("in", "ft", "mm", "cm", "m", "source")
CAUTIONS = {
    "read": "",
    "agreed": "",
    "quoted": "as quoted by others, not read in the source's own text; check your copy",
    "memory": "from memory, not checked against the standard's own text: check your copy",
}


def caution(limit: Limit) -> str:
    """What to warn of where a limit was not read in its source's own text; empty otherwise."""
    return CAUTIONS[limit.seen]


def cited(source: str, edition: str, clause: str) -> str:
    """Where a limit stands, in one line.

    >>> cited("ASTM F710", "edition not seen", "clause not seen"), cited("NHBC", "2020", "9.1")
    ('ASTM F710, edition and clause not seen', 'NHBC, 2020, 9.1')
    """
    if (edition, clause) == ("edition not seen", "clause not seen"):
        edition, clause = "edition and clause not seen", ""
    return ", ".join(part for part in (source, edition, clause) if part)


def describe(limit: Limit, unit: str = "in") -> str:
    """The limit's value in words.

    Parameters
    ----------
    limit : the limit
    unit : ``in`` (or ``ft``), ``mm`` (or ``cm``, ``m``), or ``source``: each length in the unit it was
        set in. A length that is no whole 64th of an inch, or no short decimal of a millimetre, stands
        exactly in the unit it was set in, with the other beside it as ``about``

    Examples
    --------
    >>> from flatness.limits.kinds import straightedge_limit
    >>> describe(straightedge_limit(3048, 4.7625))
    '3/16" under 10 ft'
    >>> describe(straightedge_limit(2000, 5))
    '5 mm (about 13/64") under 2 m (about 6\\' 6 3/4")'
    """
    if unit not in UNITS:
        raise LengthError("unknown unit", value=str(unit), expected="in, ft, mm, cm, m or source")
    p = limit.parameters

    def small(key: str) -> str:
        return show_length(p[key], unit)

    def base(key: str, word: str = " in ", otherwise: str = "") -> str:
        return word + show_length(p[key], unit, base=True) if p[key] is not None else otherwise

    match limit.kind:
        case "straightedge":
            return small("allowed") + base("length", " under ")
        case "straightedge-share":
            return f"{small('allowed')}{base('length', ' under ')} in {100 * p['share']:g} % of samples"
        case "span-bar" | "span-grid":
            pairs = zip(p["allowed"], p["distances"], strict=True)
            # five pairs twice over are past reading: the distances stay in the unit they were set in
            return ", ".join(f"{show_length(a, unit)} at {show_length(d, 'source', base=True)}" for a, d in pairs)
        case "offset":
            return f"plus or minus {small('allowed')}{base('length', ' under ')} on equal blocks"
        case "plane":
            return f"{small('allowed')} off the plane{base('length', ' within ')}"
        case "ff" | "fl":
            scope = "overall" if p["scope"] == "overall" else "as the least local value"
            return f"{limit.kind.upper()} {p['at_least']:g} or more {scope}"
        case "tr34-e" | "tr34-f":
            return f"property {limit.kind[-1].upper()} {small('allowed')} or less"
        case "level" | "plumb":
            whole = " overall" if limit.kind == "level" else " over the whole height"
            word = " between points up to " if p.get("within") else " in "
            apart = " apart" if p.get("within") else ""
            return f"{small('allowed')} out of {limit.kind}{base('distance', word, whole)}{apart}"
        case "level-rule" if p["cube_root"] is not None:
            return f"{small('cube_root')} times the cube root of the distance in metres, out of level"
        case "level-rule":
            plus = f"{small('plus')} plus " if p["plus"] is not None else ""
            most = f", {small('cap')} at most" if p["cap"] is not None else ""
            across = " across the full width" if p["across"] else ""
            return f"{plus}{small('per_metre')} a metre{base('up_to', ' up to ')} out of level{across}{most}"
        case "neighbours":
            return f"{small('allowed')} between adjacent faces"
        case "step":
            return f"{small('allowed')} abrupt change{base('base')}"
        case "slope":
            return f"{show_ratio(p['at_most'])} at most{base('base', ' over ')}"
        case "light":
            if p["lamp"] is not None:
                lamps = f"lamps {small('lamp')} off along the {p['side']}"
                return f"nothing seen{base('distance', ' from ')} in light of {lamps}"
            way = f" along {p['along']}" if p["along"] is not None else ""
            strong = f", {p['times']:g} times what is just seen" if p["times"] not in (None, 1) else ""
            return f"nothing seen{base('distance', ' from ')} in light at {p['angle']:g} degrees{way}{strong}"
    return "; ".join(f"{label}: {text}" for label, text in p["values"].items())


def show_length(mm: float, unit: str, *, base: bool = False) -> str:
    """A length in words: exact in the unit it was set in, ``about`` in the other one.

    Parameters
    ----------
    mm : length [mm]
    unit : as for :func:`describe`
    base : a long length, shown in feet or metres, not an allowed deviation
    """
    sixty_fourths = mm / 25.4 * 64
    tape = settle(sixty_fourths - round(sixty_fourths)) == 0
    exact = _imperial(mm, base, 64) if tape else _metric(mm, base, 3)
    # a whole millimetre on a long base, two decimals on a short length: nothing is lost by showing them
    places = 0 if base and mm >= 1000 else 2
    short = settle(mm * 10**places - round(mm * 10**places)) == 0
    if unit == "source" or tape == (unit in ("in", "ft")):
        return exact
    if tape and short:
        return _metric(mm, base, 3)
    other = _metric(mm, base, 1) if tape else _imperial(mm, base, 8 if base else 64)
    return f"{exact} (about {other})"


def _imperial(mm: float, base: bool, fraction: int) -> str:
    feet = mm / 304.8
    if base and feet >= 3 and settle(feet - round(feet)) == 0:
        return f"{round(feet)} ft"
    return format_length(mm, "ft" if base and feet >= 3 else "in", fraction)


def _metric(mm: float, base: bool, digits: int) -> str:
    if base and mm >= 1000:
        mm, digits, name = mm / 1000, max(digits, 2), "m"
    else:
        name = "mm"
    return f"{mm:.{digits}f}".rstrip("0").rstrip(".") + f" {name}"


def show_ratio(ratio: float) -> str:
    return f"1:{1 / ratio:.4g}"


AGREED = "agreed for this project"


def straightedge_limit(
    length: float,
    allowed: float,
    *,
    plane: bool = False,
    name: str | None = None,
    purpose: str = "",
    surfaces: Sequence[str] = SURFACES,
) -> Limit:
    """The gap [mm] allowed under a straightedge of ``length`` [mm] that rests on the high points.

    ``plane`` notes besides how far the surface is off its best plane within that length; the bar decides.

    Examples
    --------
    >>> straightedge_limit(3048, 4.7625).name
    'agreed-straightedge-3/16in-10ft'
    """
    values = {"length": length, "allowed": allowed, "plane": plane or None}
    return _agreed("straightedge", values, name, purpose, surfaces)


def offset_limit(
    length: float, allowed: float, *, name: str | None = None, purpose: str = "", surfaces: Sequence[str] = SURFACES
) -> Limit:
    """The hump or hollow [mm] allowed from a bar of ``length`` [mm] held off on two equal blocks."""
    return _agreed("offset", {"length": length, "allowed": allowed}, name, purpose, surfaces)


def plane_limit(
    length: float, allowed: float, *, name: str | None = None, purpose: str = "", surfaces: Sequence[str] = SURFACES
) -> Limit:
    """The departure [mm] from the required plane allowed within ``length`` [mm]."""
    return _agreed("plane", {"length": length, "allowed": allowed}, name, purpose, surfaces)


def span_limit(
    distances: Sequence[float],
    allowed: Sequence[float],
    method: str = "bar",
    *,
    rounded: bool = True,
    name: str | None = None,
    purpose: str = "",
    surfaces: Sequence[str] = SURFACES,
) -> Limit:
    """The gap allowed by the distance between two contact points (``bar``) or two grid steps (``grid``).

    ``distances`` rise and pair with ``allowed``, both [mm]; between them the allowed value is interpolated,
    and rounded to whole mm as DIN 18202 does unless ``rounded`` is False.
    """
    check_choice("method", method, ("bar", "grid"))
    values = {
        "distances": tuple(check_positive(d, "distances") for d in distances),
        "allowed": tuple(check_positive(a, "allowed") for a in allowed),
        "rounded": rounded,
    }
    return _agreed(f"span-{method}", values, name, purpose, surfaces)


def f_number_limit(
    ff: float | None = None,
    fl: float | None = None,
    *,
    scope: str = "overall",
    name: str | None = None,
    purpose: str = "",
    surfaces: Sequence[str] = ("floor",),
) -> Limit:
    """The least flatness number ``ff``, or the least levelness number ``fl``, over the whole or at the worst.

    One of the two; a pair such as 25/20 is two limits. ``scope`` is ``overall``, or ``least`` for the least
    local value.
    """
    if (ff is None) == (fl is None):
        raise ArgumentError(
            "one F-number a limit",
            column="ff, fl",
            value=f"ff {ff}, fl {fl}",
            expected="ff or fl",
            remedy="call it twice for a pair such as 25/20",
        )
    check_choice("scope", scope, SCOPES)
    kind, value = ("ff", ff) if ff is not None else ("fl", fl)
    return _agreed(kind, {"at_least": value, "scope": scope}, name, purpose, surfaces)


def level_limit(
    allowed: float,
    distance: float | None = None,
    *,
    within: bool = False,
    name: str | None = None,
    purpose: str = "",
    surfaces: Sequence[str] = ("floor", "ceiling"),
) -> Limit:
    """The difference in height [mm] allowed over ``distance`` [mm], or over the whole surface.

    ``within``: between any two points up to that distance apart, not exactly that far.
    """
    values = {"distance": distance, "allowed": allowed, "within": within or None}
    return _agreed("level", values, name, purpose, surfaces)


def plumb_limit(
    allowed: float,
    distance: float | None = None,
    *,
    name: str | None = None,
    purpose: str = "",
    surfaces: Sequence[str] = ("wall",),
) -> Limit:
    """The departure [mm] from plumb allowed over ``distance`` [mm] of height, or over the whole height."""
    return _agreed("plumb", {"distance": distance, "allowed": allowed}, name, purpose, surfaces)


def neighbour_limit(
    allowed: float, *, name: str | None = None, purpose: str = "", surfaces: Sequence[str] = SURFACES
) -> Limit:
    """The difference [mm] allowed between the face of one framing member and the next."""
    return _agreed("neighbours", {"allowed": allowed}, name, purpose, surfaces)


def step_limit(
    base: float, allowed: float, *, name: str | None = None, purpose: str = "", surfaces: Sequence[str] = SURFACES
) -> Limit:
    """The abrupt change in height [mm] allowed within ``base`` [mm]."""
    return _agreed("step", {"base": base, "allowed": allowed}, name, purpose, surfaces)


def slope_limit(
    at_most: str | float,
    base: float,
    *,
    name: str | None = None,
    purpose: str = "",
    surfaces: Sequence[str] = ("floor",),
) -> Limit:
    """The steepest slope allowed, ``"1:48"`` or the ratio itself, measured over ``base`` [mm]."""
    ratio = read_ratio(at_most) if isinstance(at_most, str) else at_most
    return _agreed("slope", {"at_most": ratio, "base": base}, name, purpose, surfaces)


def lamp_distance(angle: float) -> float:
    """How far off the surface [mm] a lamp stands whose limit counts as an angle [degrees]."""
    return LAMP_REACH_MM * math.tan(math.radians(angle))


def light_limit(
    angle: float | None = None,
    distance: float = 1524.0,
    *,
    lamp: float | None = None,
    side: str | None = None,
    along: str | None = None,
    times: float = 1.0,
    name: str | None = None,
    purpose: str = "",
    surfaces: Sequence[str] = SURFACES,
) -> Limit:
    """Nothing is seen in light that comes in at ``angle`` [degrees] above the surface, from ``distance`` [mm].

    ``along``: the light runs along ``x`` or ``y``; None: either. ``times``: how many times as strong as what is just
    seen a pattern must be to count as seen. Or by a line of light in place of the angle: ``lamp``, how far it stands
    off the surface [mm], along a ``side``: ``left``, ``right``, ``bottom`` or ``top`` (None).
    """
    if (angle is None) == (lamp is None):
        what, expected = "a light by neither or both", "the angle of light from a window, or how far off lamps stand"
        raise LimitError(what, column="angle, lamp", expected=expected, remedy="give one of the two")
    if (lamp is None and side is not None) or (lamp is not None and along is not None):
        what, remedy = "a side is of lamps, a way along is of light from a window", "leave it out"
        raise LimitError(what, column="side, along", expected="lamp and side, or angle and along", remedy=remedy)
    if lamp is not None:
        side, angle = _read_side(side or "top"), math.degrees(math.atan2(check_positive(lamp, "lamp"), LAMP_REACH_MM))
    if isinstance(angle, (int, float)) and angle > 90:
        raise LimitError(
            "out of range", column="angle", value=str(angle), expected="degrees above the surface, up to 90"
        )
    if along is not None:
        _read_axis(along)
    values = {"angle": angle, "distance": distance, "along": along, "times": times, "lamp": lamp, "side": side}
    return _agreed("light", values, name, purpose, surfaces)


def _agreed(kind: str, values: dict[str, Any], name: str | None, purpose: str, surfaces: Iterable[str]) -> Limit:
    checked = {
        key: check_positive(value, key) if KINDS[kind].keys[key] in ("length", "number", "ratio") else value
        for key, value in values.items()
        if value is not None
    }
    chosen = (surfaces,) if isinstance(surfaces, str) else tuple(surfaces)
    if not chosen or not set(chosen) <= set(SURFACES):
        raise ArgumentError(
            "unknown surface", column="surfaces", value=", ".join(map(str, chosen)), expected=", ".join(SURFACES)
        )
    if name is not None and not name.strip():
        raise LimitError("an empty name", column="name", value=name, expected="a name, or None to have one made")
    return agreed(kind, checked, name or _name(kind, checked), purpose, chosen)


def agreed(kind: str, values: Mapping[str, Any], name: str, purpose: str, surfaces: Iterable[str]) -> Limit:
    """A limit as it was agreed, its values [mm] checked before."""
    told = {"finish": "agreed", "source": AGREED, "seen": "agreed", **dict.fromkeys(("edition", "clause", "notes"), "")}
    return build_limit(kind, values, name=name, purpose=purpose, surfaces=tuple(surfaces), **told)


def _name(kind: str, values: dict[str, Any]) -> str:
    """A readable name made of the values: the number allowed, then its base."""

    def tidy(mm: float, base: bool) -> str:
        text = show_length(mm, "source", base=base).replace("' ", "ft").replace('"', "in")
        return re.sub(r"(?<=\d) (?=\d)", "-", text).replace(" ", "")

    parts = ["agreed", kind]
    if kind.startswith("span"):
        pairs = zip(values["allowed"], values["distances"], strict=False)
        parts += [f"{tidy(a, False)}-at-{tidy(d, True)}" for a, d in pairs]
        parts += [] if values["rounded"] else ["unrounded"]
        return "-".join(parts)
    if kind == "light":
        lamps = [f"lamp-{tidy(values['lamp'], False)}", values["side"]] if "lamp" in values else []
        by = lamps or [f"{values['angle']:g}deg"]
        return "-".join(
            [*parts, *by, tidy(values["distance"], True), *([values["along"]] if "along" in values else [])]
        )
    if "at_least" in values:
        return "-".join([*parts, f"{values['at_least']:g}", *(["least"] if values["scope"] == "least" else [])])
    main = show_ratio(values["at_most"]) if "at_most" in values else tidy(values["allowed"], False)
    bases = [tidy(values[key], True) for key in ("length", "distance", "base") if key in values]
    return "-".join([*parts, main, *bases, *(["within"] if "within" in values else [])])
