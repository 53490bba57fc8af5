"""Lengths, places, measures and chances as they are printed, and text that fits a terminal 80 wide."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable

from flatness.lengths import format_against, format_length
from flatness.limits.kinds import UNITLESS
from flatness.limits.verdict import Judged
from flatness.limits.wording import show_ratio
from flatness.survey.readings import Survey

WIDTH = 80
FRACTION = 32  # what a careful rule shows
FOOT_MM, INCH_MM = 304.8, 25.4
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
    told = (format_length(mm, unit, part) for part in (FRACTION, 2 * FRACTION))
    finer = f'{mm / INCH_MM:.1g}"' if unit == "in" else f"{mm:.1g} mm"
    return next((text for text in told if text not in ('0"', "0 mm")), finer)


def good_to(survey: Survey, unit: str) -> str:
    """How good a reading of a survey is, in words."""
    return "accuracy not stated" if survey.accuracy is None else f"good to {accuracy(survey.accuracy, unit)} (1 s.d.)"


def shortened(name: str, most: int) -> str:
    """A name of at most so many letters, with a sign where it goes on.

    >>> shortened("J4 beside the chimney", 8), shortened("J4", 8)
    ('J4 besi…', 'J4')
    """
    return name if len(name) <= most else f"{name[: most - 1]}…"


def place(xy: Iterable[float], unit: str) -> str:
    """A place as two tape positions."""
    x, y = (position(float(value), unit) for value in xy)
    return f"{x} along x, {y} along y"


def number(one: Judged, value: float, unit: str) -> str:
    """A measure in the limit's own unit: a length, an F-number or a slope."""
    if math.isnan(value):
        return "-"
    allowed = one.finding.allowed if one.finding else math.inf
    if one.limit.kind == "slope":
        return show_ratio(value) if value > 0 else "level"
    if one.limit.kind in UNITLESS:
        return _f_number(value, allowed)
    return length(value, unit, allowed)


def _f_number(value: float, least: float) -> str:
    if math.isinf(value):
        return "straight"
    # as many digits as keep the print on the side of the limit that was judged
    return next(
        text for digits in range(1, 12) if ((float(text := f"{value:.{digits}f}") >= least) == (value >= least))
    )


_MM = re.compile(
    r"(?<![\d.])(?<![\"'] \()(?<! in \()(?<! ft \()(?<!\([-+−])(?:(?<![\w)])([-+−]))?(\d+(?:\.\d+)?) mm\b(/m\b)?"
)
_NUMBER = r"(-?\d+(?:\.\d+)?)"
_PLACE = re.compile(rf"\({_NUMBER}, {_NUMBER}\) mm\b|\bx {_NUMBER}, y {_NUMBER} mm\b")
_TAPE = r"\d[\d '/-]*[\"']"


def in_unit(text: str, unit: str, *, both: bool = True) -> str:
    """A note with its millimetres told as a tape reads them, where inches are shown.

    Lengths keep their sign; places, as (x, y) mm, and slopes, in mm/m, are told too. ``both`` leaves the millimetres
    of a length or slope beside it; without it only those that a tape does not show keep them.

    >>> print(in_unit("-5 mm at (1219.2, 0) mm, sloping 2 mm/m", "in", both=False))
    -3/16" at 4' 0" along x, 0" along y, sloping 1/4" in 10'
    """
    if unit != "in":
        # a note of the file's check, told in both
        return re.sub(rf"[-+−]?{_TAPE} \(([-+−]?[\d.]+ mm)\)", r"\1", text)
    if not both:
        text = re.sub(rf"({_TAPE}) \([-+−]?[\d.]+ mm\)", r"\1", text)

    def told(match: re.Match[str]) -> str:
        sign, slope = match[1] or "", bool(match[3])
        mm = float(match[2]) * (10 * FOOT_MM / 1000 if slope else 1)
        tape = format_length(mm, "ft", 8) if mm >= FOOT_MM else format_length(mm, "in", FRACTION)
        tape = (tape if tape == '0"' else sign + tape) + (" in 10'" if slope else "")
        return tape if not both and (mm == 0 or mm * 2 * FRACTION >= INCH_MM) else f"{tape} ({match[0]})"

    text = _PLACE.sub(lambda match: place((float(match[1] or match[3]), float(match[2] or match[4])), unit), text)
    # a length in brackets behind a tape's is told already
    return _MM.sub(told, text)


def sentence(text: str, unit: str, *, both: bool = True) -> str:
    """A note as a sentence, its lengths as :func:`in_unit` tells them."""
    return in_unit(f"{text[:1].upper()}{text[1:].rstrip('.')}.", unit, both=both)


def percent(chance: float) -> str:
    """A chance as printed; what is not quite certain is never printed as if it were."""
    if math.isnan(chance):
        return "-"
    if 0 < chance < 0.01:
        return "<1 %"
    if 0.99 < chance < 1:
        return ">99 %"
    return f"{100 * chance:.0f} %"


def indented(text: str, first: str = "  ", rest: str | None = None) -> str:
    """A text wrapped to the width of a terminal behind ``first``; further lines behind ``rest``, or as far in."""
    rest = " " * len(first) if rest is None else rest
    return "\n".join(textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest))


def hanging(text: str) -> str:
    """A text wrapped and indented, its further lines deeper than its first."""
    return indented(text, rest="    ")
