"""Lengths, places, amounts, measures and chances as they are printed, and text that fits a terminal 80 wide."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from flatness.lengths import (
    FRACTIONS,
    MM2_PER_FT2,
    MM2_PER_M2,
    MM3_PER_FT3,
    MM3_PER_LITRE,
    format_against,
    format_length,
    settle,
)
from flatness.limits.kinds import UNITLESS, Limit, lamp_distance, show_ratio
from flatness.limits.spot_checks import ASSUMED, SPOT_CHECKED
from flatness.survey.walls import Tape

if TYPE_CHECKING:  # notes are said by what lies far above
    from flatness.limits.verdict import Judged
    from flatness.survey.readings import Survey

WIDTH = 80
FRACTION = 32  # what a careful rule shows
FOOT_MM, INCH_MM, POUND_KG = 304.8, 25.4, 0.45359237
PASCAL_PER_PSF = POUND_KG * 9.80665 / 0.3048**2
MINUS = "\N{MINUS SIGN}"
SLOPE_RUN_MM = 10 * FOOT_MM  # a slope is so much in 10 feet
AUTHORITY = (
    "The kit measures and compares; it does not design structure. Local codes, the flooring maker and licensed "
    "practice decide."
)


def shown_unit(survey: Survey, unit: str | None = None) -> str:
    """The unit to show lengths in, ``in`` or ``mm``: as asked for, else the survey's own family."""
    return unit or ("in" if survey.unit in ("in", "ft") else "mm")


def length(mm: float, unit: str, allowed: float | None = None) -> str:
    """A small length as reports and pictures print it, never on the wrong side of what is allowed."""
    return "-" if math.isnan(mm) else format_against(mm, math.inf if allowed is None else allowed, unit, FRACTION)


def position(mm: float, unit: str) -> str:
    """A position as a tape reads it: feet, inches and eighths, or metres."""
    return format_length(mm, "ft", 8) if unit == "in" else format_length(mm, "m")


def accuracy(mm: float, unit: str) -> str:
    """One standard deviation of a reading, never printed as if there were none.

    >>> accuracy(0.8, "in"), accuracy(0.2, "in"), accuracy(0.1, "in"), accuracy(0.04, "mm")
    ('1/32"', '1/64"', '0.004"', '0.04 mm')
    """
    return _finest(mm, unit) or (f'{mm / INCH_MM:.1g}"' if unit == "in" else f"{mm:.1g} mm")


def _finest(mm: float, unit: str, parts: Sequence[int] = (FRACTION, 2 * FRACTION)) -> str:
    """A length to the coarsest of these parts of an inch that does not print it as none; empty where all do."""
    texts = (format_length(mm, unit, part) for part in parts)
    return next((text for text in texts if text not in ('0"', "0 mm")), "")


def least_shown(unit: str) -> float:
    """The least depth that a tape shows [mm]: 1/64 in, or 0.1 mm."""
    return INCH_MM / 64 if unit == "in" else 0.1


def fine(mm: float, unit: str, parts: Sequence[int] = (64,)) -> str:
    """A length to a 64th of an inch or a tenth of a millimetre; what is less is not printed as none.

    >>> fine(0.5, "in"), fine(0.1, "in"), fine(0.0, "in"), fine(0.01, "mm")
    ('1/64"', 'under 1/64"', '0"', 'under 0.1 mm')
    """
    if not math.isfinite(mm):
        return "-"
    less, none = ('under 1/64"', '0"') if unit == "in" else ("under 0.1 mm", "0 mm")
    return _finest(mm, unit, parts) or (none if abs(mm) < 1e-6 else less)


def depth(mm: float, unit: str) -> str:
    """A depth with its sign, to a 32nd of an inch, or finer where that would print it as none.

    >>> depth(3.2, "in"), depth(-0.35, "in"), depth(0.1, "in"), depth(0.0, "in")
    ('+1/8"', '−1/64"', '+under 1/64"', '0"')
    """
    text = fine(abs(mm), unit, (FRACTION, 2 * FRACTION))
    return text if text in ("-", '0"', "0 mm") else f"{'+' if mm > 0 else MINUS}{text}"


def signed(mm: float, unit: str) -> str:
    """As :func:`depth`, with the minus that a terminal shows.

    >>> signed(-7.01, "in"), signed(0.3, "in")
    ('-9/32"', '+1/64"')
    """
    return depth(mm, unit).replace(MINUS, "-")


def without_unit(mm: float, unit: str) -> str:
    """As :func:`depth`, without the mark of its unit, for maps and rows of numbers."""
    return depth(mm, unit).removesuffix('"').removesuffix(" mm")


def is_shown(mm: float, unit: str) -> bool:
    """Whether a tape shows a depth."""
    return settle(abs(mm) - least_shown(unit)) >= 0


def small(mm: float, unit: str, *, sign: bool = False) -> str:
    """What an instrument shows and a tape does not: thousandths of an inch, hundredths of a millimetre."""
    if not math.isfinite(mm):
        return "-"
    plus = "+" if sign else ""
    return f'{mm / 25.4:{plus}.3f}"' if unit == "in" else f"{mm:{plus}.2f} mm"


def true_minus(text: str) -> str:
    """A text for paper, where a number below zero has the sign that is made for it.

    >>> true_minus("-1/8\\" at -0.5, 1-1/2 in, 2026-03-02")
    '−1/8" at −0.5, 1-1/2 in, 2026-03-02'
    """
    return re.sub(r"(^|[ (])-(?=\d)", rf"\1{MINUS}", text)


def value_of(limit: Limit | None, value: float, allowed: float, unit: str) -> str:
    """A measure in its limit's own unit (length, F-number, slope), never on the wrong side of what is allowed."""
    unitless = limit is not None and limit.kind in UNITLESS
    if math.isnan(value) or (math.isinf(value) and not unitless):
        return "-"
    if limit is not None and limit.kind == "slope":
        return show_ratio(value) if value > 0 else "level"
    if not unitless:
        return length(value, unit, allowed if math.isfinite(allowed) else math.inf)
    if math.isinf(value):
        return "straight"
    texts = (f"{value:.{digits}f}" for digits in range(1, 12))
    if limit is not None and limit.kind == "light" and limit.parameters["lamp"] is not None:
        return length(lamp_distance(value), unit, lamp_distance(allowed) if math.isfinite(allowed) else math.inf)
    if limit is not None and limit.kind == "light":
        return next(f"{text}\N{DEGREE SIGN}" for text in texts if (float(text) <= allowed) == (value <= allowed))
    return next(text for text in texts if (float(text) >= allowed) == (value >= allowed))


def number(one: Judged, value: float, unit: str) -> str:
    """A measure of a limit that was judged, as :func:`value_of`."""
    return value_of(one.limit, value, one.finding.allowed if one.finding else math.inf, unit)


def amount(one: Judged, value: float, unit: str) -> str:
    """As :func:`number` in a sentence, where what a tape does not show is not printed as none."""
    text = number(one, value, unit)
    if value > 0 and text in ('0"', "0 mm"):
        return f"under {_finest(INCH_MM / FRACTION if unit == 'in' else 0.1, unit)}"
    return text


def area(mm2: float, unit: str) -> str:
    """An area in square feet or square metres.

    >>> area(92903.04 * 14.87, "in"), area(250_000, "mm")
    ('15 ft2', '0.25 m2')
    """
    return f"{rounded(mm2 / MM2_PER_FT2)} ft2" if unit == "in" else f"{rounded(mm2 / MM2_PER_M2)} m2"


def volume(mm3: float, unit: str) -> str:
    """A volume in cubic feet or litres."""
    per, name = _per_volume(unit)
    return f"{rounded(mm3 / per)} {name}"


def _per_volume(unit: str) -> tuple[float, str]:
    return (MM3_PER_FT3, "ft3") if unit == "in" else (MM3_PER_LITRE, "litres")


def table_volume(mm3: float, unit: str) -> str:
    """A volume to as many places in every row, so that a column adds up."""
    per, name = _per_volume(unit)
    return at_least_shown(mm3 / per, 3 if unit == "in" else 2, name)


def table_area(mm2: float, unit: str) -> str:
    """An area to as many places in every row, so that a column adds up."""
    return f"{mm2 / MM2_PER_FT2:.1f} ft2" if unit == "in" else f"{mm2 / MM2_PER_M2:.2f} m2"


def total_volume(mm3: float, unit: str) -> str:
    """A volume with one figure more than :func:`volume`, for totals and what is worked out from them.

    >>> total_volume(28316846.592 * 0.3141, "in"), total_volume(20.82e6, "mm"), total_volume(1.0, "in")
    ('0.314 ft3', '20.8 litres', 'under 0.001 ft3')
    """
    per, name = _per_volume(unit)
    value = mm3 / per
    return at_least_shown(value, 3 if value < 0.9995 else 2 if value < 9.995 else 1, name)


def at_least_shown(value: float, digits: int, name: str) -> str:
    """A number with so many decimals and its unit; what is less than they show is not printed as none."""
    least = 10.0**-digits
    return f"under {least:g} {name}" if 0 < value < least / 2 else f"{value:.{digits}f} {name}"


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


def rounded(value: float) -> str:
    """Two figures that count, and no more than a crew can use.

    >>> rounded(123.4), rounded(1.234), rounded(0.001), rounded(0.0)
    ('123', '1.2', 'under 0.01', '0')
    """
    if value == 0:
        return "0"
    if abs(value) < 0.005:
        return "under 0.01"
    # 0.9999... is shown as 1.0
    digits = min(2, max(0, 1 - math.floor(math.log10(abs(float(f"{value:.2g}"))))))
    return f"{value:.{digits}f}"


def good_to(survey: Survey, unit: str) -> str:
    """How good a reading of a survey is, in words."""
    return "accuracy not stated" if survey.accuracy is None else f"good to {accuracy(survey.accuracy, unit)} (1 s.d.)"


def listed(parts: Iterable[str]) -> str:
    """Parts as a sentence names them: ``a, b and c``."""
    *others, last = parts
    return f"{', '.join(others)} and {last}" if others else last


def capital(text: str) -> str:
    """The text with a capital to begin with."""
    return f"{text[:1].upper()}{text[1:]}"


def shortened(name: str, most: int) -> str:
    """A name of at most so many letters, with a sign where it goes on.

    >>> shortened("J4 beside the chimney", 8), shortened("J4", 8)
    ('J4 besi…', 'J4')
    """
    return name if len(name) <= most else f"{name[: most - 1]}…"


def place(xy: Iterable[float], unit: str, survey: Survey | None = None) -> str:
    """A place [mm] as a tape finds it: from the walls, or along the sides as they were typed.

    From the left wall and the door wall as one walks in, where the survey knows a door, or by the walls' own names;
    else along the first row and the first column of a grid, or along x and y. On a wall: from the left, and up.

    >>> place((1828.8, 2743.2), "in")
    '6\\' 0" along x, 9\\' 0" along y'
    """
    at = [float(value) for value in xy]
    if survey is not None and not math.isinf(survey.turn):  # the end of a bar past the seam
        at[0] %= survey.turn
    return ", ".join(_from_wall(tape, tape.far(at), unit, survey) for tape in _tapes(survey))


def bar_word(survey: Survey) -> str:
    """What is set on a surface to see how flat it is: on a wall that curves a template cut to the curve."""
    return "bar" if survey.bend is None else "template"


def target_word(survey: Survey) -> str:
    """What a surface is brought to: a wall that curves to its curve, or one beside it."""
    return "plane" if survey.bend is None else "curve"


def _from_wall(tape: Tape, far: float, unit: str, survey: Survey | None) -> str:
    if tape.wall:
        return f"{position(abs(far), unit)} {'from' if settle(far) >= 0 else 'behind'} the {tape.wall}"
    return f"{position(far, unit)} {_side(tape, survey)}"


def _side(tape: Tape, survey: Survey | None) -> str:
    """What a position that is given as it was typed runs along."""
    if survey is not None and survey.surface == "wall":
        return ("from the left", "up")[tape.axis]
    sides = ("the first row", "the first column") if survey is not None and survey.is_grid else ("x", "y")
    return f"along {sides[tape.axis]}"


def place_heads(survey: Survey | None) -> str:
    """What the two distances of a place are, over a column of :func:`bare_place`: ``From left wall, door wall``."""
    tapes = _tapes(survey)
    if all(tape.wall for tape in tapes):
        return f"From {', '.join(tape.wall for tape in tapes)}"
    texts = [f"from {tape.wall}" if tape.wall else _side(tape, survey) for tape in tapes]
    return ", ".join(texts).replace("the ", "").capitalize()


def bare_place(xy: Iterable[float], unit: str, survey: Survey | None = None) -> str:
    """The two distances of :func:`place` alone."""
    at = [float(value) for value in xy]
    return ", ".join(position(tape.far(at), unit) for tape in _tapes(survey))


def strip_place(along: str, at: float, ends: tuple[float, float], unit: str, survey: Survey | None = None) -> str:
    """A strip along x or y [mm] as a tape finds it.

    >>> strip_place("x", 1219.2, (0, 3048), "in")
    'at y 4\\' 0", from x 0" to 10\\' 0"'
    """
    axis = 0 if along == "x" else 1
    own, other = sorted(_tapes(survey), key=lambda one: one.axis != axis)
    low, high = sorted(own.far(xy) for xy in ((end, end) for end in ends))
    across = position(other.far((at, at)), unit)
    if own.wall and other.wall:
        span = f"{position(low, unit)} to {position(high, unit)}"
        return f"{across} from the {other.wall}, {span} from the {own.wall}"
    start, end = (position(value, unit) for value in ends)
    return f"at {'yx'[axis]} {position(at, unit)}, from {along} {start} to {end}"


def _tapes(survey: Survey | None) -> tuple[Tape, Tape]:
    return (Tape("", 0), Tape("", 1)) if survey is None else survey.walls.tapes(survey.outline)


def spelled(text: str) -> str:
    """Feet and inches in letters, as a sentence has them.

    >>> spelled("12' 6\\" and 10' 0\\", 5/16\\"")
    '12 ft 6 in and 10 ft, 5/16 in'
    """
    return re.sub(r"(\d)\"", r"\1 in", re.sub(r"(\d)'(?: 0\")?", r"\1 ft", text))


def percent(chance: float) -> str:
    """A chance as printed; what is not quite certain is never printed as if it were."""
    if math.isnan(chance):
        return "-"
    if 0 < chance < 0.01:
        return "<1 %"
    if 0.99 < chance < 1:
        return ">99 %"
    return f"{100 * chance:.0f} %"


def columns(
    rows: Sequence[Sequence[str]], left: Sequence[int] = (0,), most: int = WIDTH - 2, *, ruled: bool = False
) -> list[str]:
    """Rows as lines of aligned columns, numbers to the right; the first column is broken where it is too wide.

    ``left`` : columns that are aligned to the left; ``ruled`` : a line beneath the headings
    """
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    widths[0] = min(widths[0], max(12, most - sum(widths[1:]) - 2 * (len(widths) - 1)))
    lines = []
    for row in rows:
        first = textwrap.wrap(row[0], widths[0]) or [""]
        cells = zip([first[0], *row[1:]], widths, strict=True)
        lines.append("  ".join(c.ljust(w) if i in left else c.rjust(w) for i, (c, w) in enumerate(cells)).rstrip())
        lines += [f"  {rest}" for rest in first[1:]]
    return [lines[0], "-" * max(map(len, lines)), *lines[1:]] if ruled else lines


# of a verdict in a table, what it rests on between the stations; "read" has none
MARKS = {ASSUMED: " *", SPOT_CHECKED: " +"}
RESTS_ON = {
    ASSUMED: "* between the stations nobody has looked (assumed)",
    SPOT_CHECKED: "+ between the stations a bar was slid (spot-checked)",
}


def marked(verdict: str, between: str) -> str:
    """A verdict in a table, with the mark of what it rests on between the stations."""
    return f"{verdict}{MARKS.get(between, '')}"


def marks_meaning(rests_on: Iterable[str]) -> list[str]:
    """What the marks of a table mean, a line each."""
    used = set(rests_on)
    return [f"  {meaning}" for between, meaning in RESTS_ON.items() if between in used]


def bulleted(title: str, texts: Iterable[str]) -> str:
    """A list under its title, wrapped to the width of a terminal."""
    return "\n".join([title, *(indented(text, "  - ") for text in texts)])


def counted(count: int, name: str) -> str:
    """So many of a thing: ``1 place``, ``3 places``."""
    return f"{count} {name}{'' if count == 1 else 's'}"


def indented(text: str, first: str = "  ", rest: str | None = None) -> str:
    """A text wrapped to the width of a terminal behind ``first``; further lines behind ``rest``, or as far in."""
    rest = " " * len(first) if rest is None else rest
    return "\n".join(textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest))


def hanging(text: str) -> str:
    """A text wrapped and indented, its further lines deeper than its first."""
    return indented(text, rest="    ")


def printed_place(mm: float, unit: str) -> str:
    """A distance along the surface, in feet and inches or metres.

    >>> printed_place(3657.6, "in"), printed_place(2500, "mm")
    ("12'", '2.5 m')
    """
    text = format_length(mm, "ft" if unit == "in" else "m", 8)
    whole = text.removesuffix(' 0"') if unit == "in" else text
    return "0" if whole in ('0"', "0 m") else whole.replace("-", "\N{MINUS SIGN}")


def noted_length(mm: float, unit: str, form: str = ".1f") -> str:
    """A length in a note: in feet from a foot on, and never printed as none where it is some.

    >>> [noted_length(mm, "in") for mm in (-5.0, 1219.2, 0.1)], noted_length(1219.2, "mm", ".0f")
    (['-3/16"', '4\\' 0"', '0.004"'], '1219 mm')
    """
    if unit != "in":
        return f"{mm:{form}} mm"
    if abs(mm) >= FOOT_MM:
        return position(mm, "in")
    return '0"' if abs(mm) < 1e-6 else f"{'-' if mm < 0 else ''}{accuracy(abs(mm), 'in')}"


def noted_slope(mm_per_m: float, unit: str) -> str:
    """A slope in a note.

    >>> noted_slope(2.0, "in"), noted_slope(-2.0, "mm")
    ('1/4" in 10\\'', '-2.00 mm/m')
    """
    return f"{noted_length(mm_per_m * SLOPE_RUN_MM / 1000, 'in')} in 10'" if unit == "in" else f"{mm_per_m:.2f} mm/m"


def noted_place(xy: Sequence[float], unit: str, survey: Survey | None = None) -> str:
    """A place in a note."""
    return place(xy, unit, survey) if unit == "in" or survey is not None else f"({xy[0]:.0f}, {xy[1]:.0f}) mm"


def _against(pair: tuple[float, float], unit: str) -> str:
    return format_against(pair[0], pair[1], unit)


def _both(tape: str, metric: str, unit: str) -> str:
    """What was read, in the unit shown; in both where none is."""
    return tape if unit == "in" else metric if unit == "mm" else f"{tape} ({metric})"


# how a sentence prints what it names, by the word behind the colon
NOTED: dict[str, Callable[[Any, str], str]] = {
    "height": lambda mm, unit: length(mm, "in") if unit == "in" else f"{mm:.1f} mm",
    "distance": lambda mm, unit: noted_length(mm, unit, ".0f"),
    "length": noted_length,
    "fine": lambda mm, unit: noted_length(mm, unit, ".2f"),
    "exact": lambda mm, unit: noted_length(mm, unit, "g"),
    # rounded up, so that what is printed is enough
    "upward": lambda mm, unit: f'{math.ceil(mm / INCH_MM * 1000) / 1000:g}"' if unit == "in" else f"{mm:g} mm",
    "slope": noted_slope,
    "place": noted_place,
    "reading": lambda mm, unit: _both(format_length(mm), format_length(mm, "mm"), unit),
    "read": lambda mm, unit: _both(format_length(mm, "ft"), format_length(mm, "mm"), unit),
    "over": lambda pair, unit: _both(_against(pair, "in"), _against(pair, "mm"), unit),
    "most": lambda mm, unit: (
        format_against(mm, mm, "in", FRACTION) if unit == "in" else f"{math.floor(mm * 1000 + 1e-6) / 1000:g} mm"
    ),
    "volume": volume,
    "percent": lambda share, unit: percent(share),
}


def depth_text(mm: float, unit: str, fraction: int = 16, *, decimals: int = 0) -> str:
    """A depth as it is written on a plan: signed, inches and a fraction, or millimetres with so many decimals.

    >>> depth_text(-4.77, "in"), depth_text(30.2, "in"), depth_text(0.2, "in"), depth_text(-4.77, "mm")
    ('−3/16', '+1 3/16', '0', '−5')
    >>> depth_text(-4.77, "mm", decimals=1), depth_text(3.02, "mm", decimals=1)
    ('−4.8', '+3')
    """
    if unit == "in":
        text = format_length(abs(mm), "in", fraction).removesuffix('"')
    else:
        text = f"{math.floor(abs(mm) * 10**decimals + 0.5) / 10**decimals:g}"
    return text if text == "0" else f"{'−' if mm < 0 else '+'}{text}"


@dataclass(frozen=True)
class Rule:
    """How closely lengths are written: to a part of an inch, or in half millimetres.

    >>> rule = Rule("in")
    >>> rule.change(-4.77), rule.reading(1047.75), rule.named(4.77), Rule("mm").change(3.3), Rule("mm").reading(-1.2)
    ('−3/16', '41 1/4', '3/16 in', '+3.5', '−1')
    """

    unit: str
    fraction: int = 32

    def change(self, mm: float) -> str:
        """With its sign, adding positive."""
        if self.unit == "in":
            return depth_text(mm, "in", self.fraction)
        return depth_text(math.floor(2 * abs(mm) + 0.5) / 2 * math.copysign(1, mm), "mm", decimals=1)

    def reading(self, mm: float) -> str:
        """With a sign only below zero."""
        return self.change(mm).removeprefix("+")

    def at_most(self, mm: float) -> str:
        """What is allowed, with its unit: rounded down, so that nobody allows more.

        >>> Rule("mm").at_most(4.7625), Rule("in").at_most(4.7625), Rule("in").at_most(3.0)
        ('4.5 mm', '3/16 in', '3/32 in')
        """
        step = 25.4 / self.fraction if self.unit == "in" else 0.5
        return self.named(step * math.floor(mm / step + 1e-6))

    def named(self, mm: float) -> str:
        """With its unit, and what is too little for the rule not written as if it were nothing."""
        text = self.reading(mm)
        if text == "0" and abs(mm) > 1e-6:
            text = f"under {f'1/{self.fraction}' if self.unit == 'in' else '0.5'}"
        return f"{text} {self.unit}"


def place_words(x: float, y: float, unit: str, survey: Survey | None) -> str:
    """A place [mm] as a tape finds it: ``12 ft 6 in from the left wall, 4 ft from the door wall``."""
    return true_minus(spelled(place((x, y), unit, survey)))


def number_of(name: str) -> str:
    """The number of a place on every paper: that of P1 is 1."""
    return name.removeprefix("P")


def day_words(when: str) -> str:
    """A date as people say it, where it is one.

    >>> day_words("2026-03-19"), day_words("last spring")
    ('March 19, 2026', 'last spring')
    """
    try:
        day = date.fromisoformat(when)
    except ValueError:
        return when
    return f"{day:%B} {day.day}, {day.year}"
