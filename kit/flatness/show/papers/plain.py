"""Lengths, areas and limits as one says them to whoever owns the room: no term of the trade, no false precision."""

from __future__ import annotations

import math

from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, format_length, settle
from flatness.limits.kinds import Limit
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.limits.wording import describe, show_length
from flatness.show.words import place

INCH_MM = 25.4
RESULTS = {PASS: "good enough", FAIL: "not good enough", UNDECIDED: "not settled yet"}


def about(mm: float, unit: str, allowed: float = math.inf, high: float = 0.0) -> str:
    """A small length as one says it, coarse, but never on the wrong side of what is allowed.

    ``high`` is the far end of the range in which it may lie [mm]: where that is beyond a bound, no bound is named.

    >>> about(12.4, "in"), about(4.77, "in", 4.7625), about(25.4, "in"), about(12.4, "mm")
    ('1/2 inch', 'just over 3/16 inch', '1 inch', '12 mm')
    >>> about(1.0, "in"), about(1.0, "in", high=2.2)
    ('less than 1/16 inch', '1/16 inch')
    """
    value, bound = settle(abs(mm)), settle(allowed)
    least, name = (25.4 / 16, "1/16 inch") if unit == "in" else (1.0, "1 mm")
    if 0 < value < least <= bound:
        return name if settle(high) > least else f"less than {name}"
    step = 1.0 if unit == "mm" else INCH_MM / (8 if value >= INCH_MM else 16)
    coarse = settle(step * math.floor(value / step + 0.5))
    text = f"{coarse:.0f} mm" if unit == "mm" else _inches(format_length(coarse, "in", 16))
    if (coarse > bound) == (value > bound):
        return text
    return f"just {'over' if value > bound else 'under'} {text}"


def exactly(mm: float, unit: str) -> str:
    """What a limit allows, in the unit it was set in, with the other beside it where that is no round number.

    >>> exactly(4.7625, "in"), exactly(5, "mm"), exactly(5, "in"), exactly(6.35, "mm")
    ('3/16 inch', '5 mm', '5 mm (about 3/16 inch)', '1/4 inch (about 6 mm)')
    """
    text = show_length(mm, "source")
    if '"' not in text:
        return text if unit == "mm" else f"{text} (about {_inches(format_length(mm, 'in', 16))})"
    whole = settle(mm - round(mm)) == 0
    if unit == "mm":
        return f"{round(mm)} mm" if whole else f"{_inches(text)} (about {max(1, round(mm))} mm)"
    return _inches(text)


def _inches(tape: str) -> str:
    number = tape.removesuffix('"')
    return f"{number} {'inches' if _is_many(number) else 'inch'}"


def roughly(mm: float, unit: str, allowed: float = math.inf, high: float = 0.0) -> str:
    """As :func:`about`, with that word before it where it fits."""
    text = about(mm, unit, allowed, high)
    return text if text.startswith(("less", "just")) else f"about {text}"


def at_most(mm: float, unit: str) -> str:
    """The greatest of many depths, as one says it after "by".

    >>> at_most(12.4, "in"), at_most(1.0, "in")
    ('up to 1/2 inch', 'less than 1/16 inch')
    """
    text = about(mm, unit)
    return text if text.startswith("less") else f"up to {text}"


def _is_many(number: str) -> bool:
    return " " in number or (number.replace(".", "").isdigit() and float(number) > 1)


def away(mm: float, unit: str) -> str:
    """A long length as one says it: ``10 feet``, ``2 m``."""
    if unit != "in":
        return f"{mm / 1000:.2f}".rstrip("0").rstrip(".") + " m"
    feet = mm / 304.8
    return f"{round(feet)} feet" if abs(feet - round(feet)) < 1e-6 and feet >= 3 else about(mm, "in")


def where(x: float, y: float, unit: str) -> str:
    """A place [mm] as one finds it with a tape: to the inch, or to a hundredth of a metre.

    >>> where(2438.4, 3048, "mm"), where(2438.4, 3060, "in")
    ('2.44 m along x, 3.05 m along y', '8\\' 0" along x, 10\\' 0" along y')
    """
    if unit == "mm":
        return f"{away(x, unit)} along x, {away(y, unit)} along y"
    return place((INCH_MM * round(x / INCH_MM), INCH_MM * round(y / INCH_MM)), unit)


def about_area(mm2: float, unit: str) -> str:
    """An area in two figures at most, and in no parts of a square foot.

    >>> about_area(8.1e6, "in"), about_area(8.14e6, "mm"), about_area(0.72e6, "in"), about_area(0.1e6, "in")
    ('about 87 square feet', 'about 8.1 square metres', 'about 8 square feet', 'about 1 square foot')
    """
    value, name = (mm2 / MM2_PER_FT2, "square feet") if unit == "in" else (mm2 / MM2_PER_M2, "square metres")
    if value <= 0:
        return f"no {name}"
    least, finest = (1.0, 0) if unit == "in" else (0.1, 1)
    if value < least / 2:
        return f"a spot of under {'1 square foot' if unit == 'in' else f'{least} {name}'}"
    digits = min(1 - math.floor(math.log10(value)), finest)
    text = f"{round(value, digits):.{max(0, digits)}f}".removesuffix(".0")
    return "about 1 square foot" if unit == "in" and text == "1" else f"about {text} {name}"


def quality(limit: Limit) -> str:
    """What a limit is about, as an adjective."""
    if limit.kind in ("level", "level-rule", "slope", "fl"):
        return "level"
    return {"plumb": "upright", "neighbours": "even", "step": "even"}.get(limit.kind, "flat")


def looked_at(limit: Limit, unit: str) -> tuple[str, str]:
    """What a limit looks at, and what it allows, for whoever does not know its short name.

    >>> from flatness.limits.agreed import straightedge_limit
    >>> looked_at(straightedge_limit(3048, 4.7625), "in")
    ('gap under a bar 10 feet long', '3/16 inch')
    """
    p = limit.parameters
    match limit.kind:
        case "straightedge" | "straightedge-share" if limit.allowed is not None:
            bar = "gap under a bar" if p["length"] is None else f"gap under a bar {away(p['length'], unit)} long"
            share = f", in {100 * p['share']:g} % of places" if limit.kind == "straightedge-share" else ""
            return f"{bar}{share}", exactly(limit.allowed, unit)
        case "level" if p["distance"] is None:
            return "from the lowest to the highest place", exactly(p["allowed"], unit)
        case "level" | "plumb":
            over = "over the whole height" if p["distance"] is None else f"in {away(p['distance'], unit)}"
            return f"out of {limit.kind} {over}", exactly(p["allowed"], unit)
        case "plane":
            return "off one flat plane", exactly(p["allowed"], unit)
        case "neighbours":
            return "step between neighbouring pieces", exactly(p["allowed"], unit)
        case "span-bar" | "span-grid":
            return "unevenness between two points, by how far apart they are", describe(limit, "source")
        case "ff" | "fl":
            return f"how {quality(limit)} it is, as a number", describe(limit, unit)
        case "slope":
            return "how steep it is", describe(limit, "source")
    return f"how {quality(limit)} it is", describe(limit, "source")


def listed(parts: list[str]) -> str:
    """Parts as a sentence names them: ``a, b and c``."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def capital(text: str) -> str:
    """The text with a capital to begin with."""
    return f"{text[:1].upper()}{text[1:]}"
