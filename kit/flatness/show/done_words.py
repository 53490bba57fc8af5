"""What a plan's charts and its report say alike: depths and amounts as people use them, the verdict after the work."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from flatness.corrections.plan import Plan
from flatness.corrections.quantities import POUND_KG
from flatness.lengths import FRACTIONS, MM2_PER_FT2, MM2_PER_M2, MM3_PER_FT3, MM3_PER_LITRE, format_length
from flatness.limits.kinds import UNITLESS, Limit
from flatness.limits.wording import describe, show_ratio
from flatness.show.words import length, percent

PASCAL_PER_PSF = POUND_KG * 9.80665 / 0.3048**2


def depth(mm: float, unit: str) -> str:
    """A signed depth, as fine as it takes not to print a change as none.

    >>> depth(3.2, "in"), depth(-0.35, "in"), depth(0.1, "in"), depth(0.0, "in")
    ('+1/8"', '−1/64"', '+under 1/64"', '0"')
    """
    if not math.isfinite(mm):
        return "-"
    sign = "+" if mm > 0 else "\N{MINUS SIGN}"
    size = abs(mm)
    finest = FRACTIONS[2:] if unit == "in" else FRACTIONS[:1]
    zero = '0"' if unit == "in" else "0 mm"
    text = next((t for n in finest if (t := format_length(size, unit, n)) != zero), zero)
    if text != zero:
        return f"{sign}{text}"
    return zero if size < 1e-6 else f"{sign}under {'1/64' if unit == 'in' else '0.1'}{zero[1:]}"


def number(mm: float, unit: str) -> str:
    """A signed depth without the mark of its unit, for maps and rows of numbers."""
    return depth(mm, unit).removesuffix('"').removesuffix(" mm")


def least_told(unit: str) -> float:
    """The least depth that a tape tells [mm]: 1/64 in, or 0.1 mm."""
    return 25.4 / 64 if unit == "in" else 0.1


def state_after(plan: Plan) -> str:
    """The verdict on all limits together: fail where one fails, pass where all pass; empty where there are none."""
    return plan.verdict


def limit_of(plan: Plan, name: str) -> Limit | None:
    """The limit of this name among the plan's."""
    return next((limit for limit in plan.limits if limit.name == name), None)


def value_words(limit: Limit | None, value: float, allowed: float, unit: str) -> str:
    """A measure in its limit's own unit, never printed on the wrong side of what is allowed."""
    if not math.isfinite(value):
        return "-"
    if limit is not None and limit.kind == "slope":
        return show_ratio(value) if value > 0 else "level"
    if limit is not None and limit.kind in UNITLESS:
        return next(t for n in range(1, 12) if (float(t := f"{value:.{n}f}") >= allowed) == (value >= allowed))
    return length(value, unit, allowed if math.isfinite(allowed) else math.inf)


def before_and_after(plan: Plan, row: Mapping[Any, Any], unit: str) -> tuple[str, str, str, str]:
    """What a limit's measure is before and after the work, what the true surface's then likely is, what is allowed."""
    limit = limit_of(plan, row["limit"])
    # F-numbers and slopes are not lengths
    mm = "" if limit is not None and limit.kind in UNITLESS else "_mm"
    before, after, likely, allowed = (float(row[f"{name}{mm}"]) for name in ("before", "after", "likely", "allowed"))
    told = [value_words(limit, value, allowed, unit) for value in (before, after, likely, allowed)]
    return told[0], told[1], told[2], told[3]


def afterwards(plan: Plan, unit: str) -> list[str]:
    """One sentence a limit, without its full stop: what it asks for, before, after, how surely, the verdict.

    The chance is that the true surface passes when the change is made exactly.
    """
    told = []
    for row in plan.after.to_dict("records"):
        limit = limit_of(plan, row["limit"])
        asked = describe(limit, unit) if limit is not None else str(row["limit"])
        before, after, likely, _ = before_and_after(plan, row, unit)
        if before == after == "-":
            told.append(f"{asked}: not measured")
            continue
        sure = f", likely {likely}, chance of passing {percent(row['chance'])}" if math.isfinite(row["chance"]) else ""
        told.append(f"{asked}: {before} before, {after} after{sure}: {row['verdict']}")
    return told


def area(mm2: float, unit: str) -> str:
    """An area in square feet or square metres.

    >>> area(92903.04 * 14.87, "in"), area(250_000, "mm")
    ('15 ft2', '0.25 m2')
    """
    return f"{rounded(mm2 / MM2_PER_FT2)} ft2" if unit == "in" else f"{rounded(mm2 / MM2_PER_M2)} m2"


def volume(mm3: float, unit: str) -> str:
    """A volume in cubic feet or litres."""
    return f"{rounded(mm3 / MM3_PER_FT3)} ft3" if unit == "in" else f"{rounded(mm3 / MM3_PER_LITRE)} litres"


def mass(kg: float, unit: str) -> str:
    """A mass in pounds or kilograms."""
    return f"{rounded(kg / POUND_KG)} lb" if unit == "in" else f"{rounded(kg)} kg"


def load(pascal: float, unit: str) -> str:
    """A load in pounds a square foot or kilonewtons a square metre."""
    return f"{rounded(pascal / PASCAL_PER_PSF)} lb/ft2" if unit == "in" else f"{rounded(pascal / 1000)} kN/m2"


def setting(value: float, own: str, unit: str) -> str:
    """A setting in a unit that people use; ``own`` is the unit it is kept in.

    >>> setting(0.0254**3 * 1e9, "mm3 a bag", "mm"), setting(0.1, "share added", "in")
    ('0.02 litres a bag', '10 %')
    """
    match own:
        case "mm3" | "mm3 a bag":
            return f"{volume(value, unit)}{own.removeprefix('mm3')}"
        case "mm2":
            return area(value, unit)
        case "mm":
            return _own_length(value, unit)
        case "kg":
            return mass(value, unit)
        case "kg/mm3":
            per = POUND_KG / MM3_PER_FT3
            return f"{rounded(value / per)} lb/ft3" if unit == "in" else f"{rounded(value * 1e9)} kg/m3"
        case "share added":
            return f"{100 * value:.3g} %"
    return f"{value:.3g} {own}"


def _own_length(mm: float, unit: str) -> str:
    """A length as it was set: to a 64th where it is a whole number of them, to a hundredth of a millimetre."""
    if unit != "in":
        return f"{mm:.2f}".rstrip("0").removesuffix(".") + " mm"
    parts = mm / 25.4 * FRACTIONS[-1]
    return format_length(mm, "in", FRACTIONS[-1]) if abs(parts - round(parts)) < 0.01 else length(mm, unit)


def told_volume(mm3: float, unit: str) -> str:
    """A volume with one figure more than :func:`volume`, for tables and what is worked out from them.

    >>> told_volume(28316846.592 * 0.3141, "in"), told_volume(20.82e6, "mm"), told_volume(1.0, "in")
    ('0.314 ft3', '20.8 litres', 'under 0.001 ft3')
    """
    value, name = (mm3 / MM3_PER_FT3, "ft3") if unit == "in" else (mm3 / MM3_PER_LITRE, "litres")
    if 0 < value < 0.0005:
        return f"under 0.001 {name}"
    digits = 3 if value < 0.9995 else 2 if value < 9.995 else 1
    return f"{value:.{digits}f} {name}"


def rounded(value: float) -> str:
    """Two figures that count, and no more than a crew can use.

    >>> rounded(123.4), rounded(1.234), rounded(0.001), rounded(0.0)
    ('123', '1.2', 'under 0.01', '0')
    """
    if value == 0:
        return "0"
    if abs(value) < 0.005:
        return "under 0.01"
    # 0.9999... is told as 1.0
    digits = min(2, max(0, 1 - math.floor(math.log10(abs(float(f"{value:.2g}"))))))
    return f"{value:.{digits}f}"
