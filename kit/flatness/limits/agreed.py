"""Limits that a project agrees for itself, beside the published ones.

Some finishes have no published number at all (finished gypsum board, reveals, shadow gaps), and a project
may always ask for more, or less, than a standard does. All lengths are in mm. Each function takes ``name``
(made from the values where none is given), ``purpose`` and ``surfaces`` (those it is for), returns a
:class:`~flatness.limits.kinds.Limit`, and raises LimitError where a value is not a finite number above zero.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

from flatness.errors import ArgumentError, LimitError
from flatness.limits.kinds import KINDS, SCOPES, SURFACES, Limit, build_limit, check_positive, read_ratio
from flatness.limits.wording import show_length, show_ratio

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
    length: float,
    allowed: float,
    *,
    name: str | None = None,
    purpose: str = "",
    surfaces: Sequence[str] = SURFACES,
) -> Limit:
    """The hump or hollow [mm] allowed from a bar of ``length`` [mm] held off on two equal blocks."""
    return _agreed("offset", {"length": length, "allowed": allowed}, name, purpose, surfaces)


def plane_limit(
    length: float,
    allowed: float,
    *,
    name: str | None = None,
    purpose: str = "",
    surfaces: Sequence[str] = SURFACES,
) -> Limit:
    """The departure [mm] from the required plane allowed within ``length`` [mm]."""
    return _agreed("plane", {"length": length, "allowed": allowed}, name, purpose, surfaces)


def span_limit(
    distances: Sequence[float], allowed: Sequence[float], method: str = "bar", *, rounded: bool = True,
    name: str | None = None, purpose: str = "", surfaces: Sequence[str] = SURFACES,
) -> Limit:  # fmt: skip
    """The gap allowed by the distance between two contact points (``bar``) or two grid steps (``grid``).

    ``distances`` rise and pair with ``allowed``, both [mm]; between them the allowed value is interpolated,
    and rounded to whole mm as DIN 18202 does unless ``rounded`` is False.
    """
    if method not in ("bar", "grid"):
        raise ArgumentError("unknown method", column="method", value=str(method), expected="bar or grid")
    values = {
        "distances": tuple(check_positive(d, "distances") for d in distances),
        "allowed": tuple(check_positive(a, "allowed") for a in allowed),
        "rounded": rounded,
    }
    return _agreed(f"span-{method}", values, name, purpose, surfaces)


def f_number_limit(
    ff: float | None = None, fl: float | None = None, *, scope: str = "overall",
    name: str | None = None, purpose: str = "", surfaces: Sequence[str] = ("floor",),
) -> Limit:  # fmt: skip
    """The least flatness number ``ff``, or the least levelness number ``fl``, over the whole or at the worst.

    One of the two; a pair such as 25/20 is two limits. ``scope`` is ``overall``, or ``least`` for the least
    local value.
    """
    if (ff is None) == (fl is None):
        raise ArgumentError(
            "one F-number a limit", column="ff, fl", value=f"ff {ff}, fl {fl}", expected="ff or fl",
            remedy="call it twice for a pair such as 25/20",
        )  # fmt: skip
    if scope not in SCOPES:
        raise ArgumentError("unknown scope", column="scope", value=str(scope), expected=" or ".join(SCOPES))
    kind, value = ("ff", ff) if ff is not None else ("fl", fl)
    return _agreed(kind, {"at_least": value, "scope": scope}, name, purpose, surfaces)


def level_limit(
    allowed: float, distance: float | None = None, *, within: bool = False, name: str | None = None,
    purpose: str = "", surfaces: Sequence[str] = ("floor", "ceiling"),
) -> Limit:  # fmt: skip
    """The difference in height [mm] allowed over ``distance`` [mm], or over the whole surface.

    ``within``: between any two points up to that distance apart, not exactly that far.
    """
    values = {"distance": distance, "allowed": allowed, "within": within or None}
    return _agreed("level", values, name, purpose, surfaces)


def plumb_limit(
    allowed: float, distance: float | None = None, *, name: str | None = None, purpose: str = "",
    surfaces: Sequence[str] = ("wall",),
) -> Limit:  # fmt: skip
    """The departure [mm] from plumb allowed over ``distance`` [mm] of height, or over the whole height."""
    return _agreed("plumb", {"distance": distance, "allowed": allowed}, name, purpose, surfaces)


def neighbour_limit(
    allowed: float, *, name: str | None = None, purpose: str = "", surfaces: Sequence[str] = SURFACES
) -> Limit:
    """The difference [mm] allowed between the face of one framing member and the next."""
    return _agreed("neighbours", {"allowed": allowed}, name, purpose, surfaces)


def step_limit(
    base: float,
    allowed: float,
    *,
    name: str | None = None,
    purpose: str = "",
    surfaces: Sequence[str] = SURFACES,
) -> Limit:
    """The abrupt change in height [mm] allowed within ``base`` [mm]."""
    return _agreed("step", {"base": base, "allowed": allowed}, name, purpose, surfaces)


def slope_limit(
    at_most: str | float, base: float, *, name: str | None = None, purpose: str = "",
    surfaces: Sequence[str] = ("floor",),
) -> Limit:  # fmt: skip
    """The steepest slope allowed, ``"1:48"`` or the ratio itself, measured over ``base`` [mm]."""
    ratio = read_ratio(at_most) if isinstance(at_most, str) else at_most
    return _agreed("slope", {"at_most": ratio, "base": base}, name, purpose, surfaces)


def _agreed(kind: str, values: dict[str, Any], name: str | None, purpose: str, surfaces: Iterable[str]) -> Limit:
    checked = {
        key: check_positive(value, key) if KINDS[kind].keys[key] in ("length", "number", "ratio") else value
        for key, value in values.items()
        if value is not None
    }
    chosen = (surfaces,) if isinstance(surfaces, str) else tuple(surfaces)
    if not chosen or not set(chosen) <= set(SURFACES):
        raise ArgumentError(
            "unknown surface",
            column="surfaces",
            value=", ".join(map(str, chosen)),
            expected=", ".join(SURFACES),
        )
    if name is not None and not name.strip():
        raise LimitError("an empty name", column="name", value=name, expected="a name, or None to have one made")
    return build_limit(
        kind, checked, name=name or _name(kind, checked), purpose=purpose, surfaces=chosen, finish="agreed",
        source=AGREED, edition="", clause="", seen="agreed", notes="",
    )  # fmt: skip


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
    if "at_least" in values:
        return "-".join([*parts, f"{values['at_least']:g}", *(["least"] if values["scope"] == "least" else [])])
    main = show_ratio(values["at_most"]) if "at_most" in values else tidy(values["allowed"], False)
    bases = [tidy(values[key], True) for key in ("length", "distance", "base") if key in values]
    return "-".join([*parts, main, *bases, *(["within"] if "within" in values else [])])
