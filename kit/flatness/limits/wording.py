"""A limit's value in words: tape fractions or millimetres, never a long decimal, and how sure it is."""

from __future__ import annotations

from flatness.errors import LengthError
from flatness.lengths import format_length, settle
from flatness.limits.kinds import Limit

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
    >>> from flatness.limits.agreed import straightedge_limit
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
