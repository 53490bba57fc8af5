"""Lengths as people write them, to millimetres and back.

Reading is exact: a fraction of an inch stays a rational number until the millimetre
(1 in = 25.4 mm exactly, international inch of 1959). Nothing is guessed: what can be read
in two ways, or not at all, is a :class:`~flatness.errors.LengthError` with its remedy.
"""

from __future__ import annotations

import math
import re
import unicodedata
from fractions import Fraction

from flatness.errors import LengthError

MM_PER: dict[str, Fraction] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    "ft": Fraction(3048, 10),
}
FRACTIONS = (8, 16, 32, 64)
LONGEST_MM = 10**6  # a kilometre: nothing in a building is longer, and a slipped unit is

_UNIT_NAMES = {
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "cm": "cm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "in": "in", "in.": "in", "inch": "in", "inches": "in", '"': "in",
    "ft": "ft", "ft.": "ft", "foot": "ft", "feet": "ft", "'": "ft",
}  # fmt: skip
_MARKS = str.maketrans({
    "’": "'", "‘": "'", "′": "'", "´": "'", "`": "'", "ʹ": "'",
    "”": '"', "“": '"', "″": '"', "‟": '"', "„": '"', "ʺ": '"',
    "−": "-", "–": "-", "‐": "-", "‑": "-", "﹣": "-",
    "⁄": "/", "∕": "/",
})  # fmt: skip
_DECIMAL = r"(?:\d{1,9}(?:\.\d{0,20})?|\.\d{1,20})(?:[eE][+-]?\d{1,2})?"
_UNIT = r"(?:mm|cm|m|millimet(?:re|er)s?|centimet(?:re|er)s?|met(?:re|er)s?|in\.?|inch|inches|ft\.?|foot|feet|'|\")"
_FRACTION = r"(?:\d{1,6}\s*/\s*\d{1,6})"
_NUMBER = rf"(?:(?P<whole>\d{{1,9}})(?:\s+|-)(?P<part>{_FRACTION})|(?P<alone>{_FRACTION})|(?P<decimal>{_DECIMAL}))"
_ONE = re.compile(rf"{_NUMBER}\s*(?P<unit>{_UNIT})?", re.IGNORECASE | re.ASCII)
_FEET_INCHES = re.compile(
    rf"(?P<feet>\d{{1,7}})\s*(?:'|ft\.?|foot|feet)\s*-?\s*(?P<inches>.+?)\s*(?P<mark>\"|in\.?|inch|inches)?",
    re.IGNORECASE | re.ASCII,
)
_MONTHS = "jan|feb|mar|apr|may|jun|jul|aug|sep|sept|oct|nov|dec"
_DATE = re.compile(
    rf"(?:\d{{1,4}}[-/. ](?:{_MONTHS})[a-z]*(?:[-/. ]\d{{2,4}})?|(?:{_MONTHS})[a-z]*[-/. ]\d{{1,4}}"
    r"|\d{4}[-/.]\d{1,2}[-/.]\d{1,2}(?:[T ][\d:.]+)?|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4}(?: [\d:.]+(?: ?[ap]m)?)?)",
    re.IGNORECASE | re.ASCII,
)
DATE_REMEDY = (
    "a spreadsheet has turned a fraction into a date; format the cells as Text before typing, "
    "or type a leading zero and a space (0 3/8) or decimals (0.375), then type the reading again"
)
_FORMS = "a length such as 3/8, -1 1/16, 41-3/8\", 12' 6 1/2\", 0.375 or 9 mm"


def looks_like_date(text: str) -> bool:
    """Whether the text is a date, which is what a spreadsheet makes of a typed ``3/8``."""
    return _DATE.fullmatch(text.strip()) is not None


def parse_length(text: str | float | Fraction, unit: str = "mm", *, decimal_comma: bool = False) -> float:
    """Length in millimetres of what a person wrote.

    Parameters
    ----------
    text : a length such as ``3/8``, ``-1 1/16``, ``41-3/8"``, ``12' 6 1/2"``, ``12'-6"``, ``½``,
        ``0.375`` or ``9 mm``; straight or curly marks; or a plain number
    unit : unit of a number that carries none: ``in``, ``ft``, ``mm``, ``cm`` or ``m``
    decimal_comma : read ``3,2`` as 3.2; without it a comma is an error

    Returns
    -------
    float : length [mm]

    Raises
    ------
    LengthError : what cannot be read, or read in two ways

    Examples
    --------
    >>> parse_length("1 1/8", "in")
    28.575
    >>> parse_length("12' 6 1/2\\"")
    3822.7
    """
    return float(parse_exact(text, unit, decimal_comma=decimal_comma))


def parse_exact(
    text: str | float | Fraction, unit: str = "mm", *, decimal_comma: bool = False
) -> Fraction:
    """As :func:`parse_length`, but the exact rational number of millimetres."""
    if unit not in MM_PER:
        raise LengthError("unknown unit", value=str(unit), expected="in, ft, mm, cm or m")
    if isinstance(text, str):
        value = _parse_text(text, unit, decimal_comma)
    elif isinstance(text, bool) or not math.isfinite(text):
        raise LengthError("not a length", value=str(text), expected=_FORMS)
    else:
        # the shortest decimal that gives this float is what was typed: 0.1 in is 2.54 mm, exactly
        value = (text if isinstance(text, Fraction) else Fraction(repr(float(text)))) * MM_PER[unit]
    if abs(value) > LONGEST_MM:
        raise LengthError(
            "longer than a kilometre", value=str(text), expected="a length found in a building",
            remedy="check the number and its unit",
        )  # fmt: skip
    return value


def _parse_text(text: str, unit: str, decimal_comma: bool) -> Fraction:
    plain = _plain(text)
    if not plain:
        raise LengthError("empty, not a length", value=text, expected=_FORMS)
    if looks_like_date(plain):
        raise LengthError("a date stands where a length should be", value=text, expected=_FORMS, remedy=DATE_REMEDY)
    if "," in plain:
        if not decimal_comma or plain.count(",") > 1 or "." in plain:
            raise LengthError(
                "a comma inside a length", value=text, expected=_FORMS,
                remedy="write a point for decimals; a decimal comma is read only where the file's "
                "delimiter is a semicolon, and thousands are not separated",
            )  # fmt: skip
        plain = plain.replace(",", ".")
    sign = 1
    if plain[0] in "+-":
        sign = -1 if plain[0] == "-" else 1
        plain = plain[1:].lstrip()
    value = _feet_and_inches(plain, text)
    return sign * (value if value is not None else _one_number(plain, text, unit))


def _plain(text: str) -> str:
    """The text with one kind of mark, ordinary spaces, and ½ written out as 1/2."""
    out = []
    for char in text.replace("''", '"').replace("’’", '"').replace("′′", '"'):
        parts = unicodedata.normalize("NFKC", char) if unicodedata.category(char) == "No" else char
        # ½ after a whole number is a mixed number: keep the two apart
        out.append(f" {parts}" if "⁄" in parts else parts if parts == char else char)
    # zero-width marks ride along with pasted text and carry no meaning
    joined = "".join(out).translate(_MARKS).translate({0xFEFF: None, 0x200B: None, 0x200E: None, 0x200F: None})
    return " ".join(joined.split())


def _feet_and_inches(plain: str, text: str) -> Fraction | None:
    match = _FEET_INCHES.fullmatch(plain)
    if match is None:
        return None
    inches = _ONE.fullmatch(match["inches"])
    if inches is None or inches["unit"]:
        return None
    value = _value(inches, text)
    if value >= 12:
        raise LengthError(
            "twelve inches or more after the feet", value=text, expected="inches under 12",
            remedy="write the feet and inches apart, such as 12' 6\"",
        )  # fmt: skip
    return int(match["feet"]) * MM_PER["ft"] + value * MM_PER["in"]


def _one_number(plain: str, text: str, unit: str) -> Fraction:
    match = _ONE.fullmatch(plain)
    if match is None:
        raise LengthError("not a length", value=text, expected=_FORMS)
    written = _UNIT_NAMES[match["unit"].lower()] if match["unit"] else unit
    return _value(match, text) * MM_PER[written]


def _value(match: re.Match[str], text: str) -> Fraction:
    if match["decimal"]:
        return Fraction(match["decimal"])
    top, bottom = (match["part"] or match["alone"]).split("/")
    if int(bottom) == 0:
        raise LengthError("a fraction over zero", value=text, expected=_FORMS)
    part = Fraction(int(top), int(bottom))
    if match["whole"]:
        if part >= 1:
            raise LengthError(
                "a whole number followed by a fraction of one or more", value=text, expected=_FORMS,
                remedy="write it as one fraction or check the digits",
            )  # fmt: skip
        return int(match["whole"]) + part
    return part


def format_length(mm: float, unit: str = "in", fraction: int = 16) -> str:
    """The length as a tape reads it, rounded half away from zero.

    Parameters
    ----------
    mm : length [mm]
    unit : ``in`` (inches and a fraction), ``ft`` (feet, inches and a fraction), ``mm``, ``cm`` or ``m``
    fraction : nearest 1/8, 1/16, 1/32 or 1/64 of an inch: 8, 16, 32 or 64; for metric units it is not used

    Examples
    --------
    >>> format_length(3822.7, "ft")
    '12\\' 6 1/2"'
    >>> format_length(-9.525, "in", 8)
    '-3/8"'
    >>> format_length(4.77, "mm")
    '4.8 mm'
    """
    if not math.isfinite(mm):
        raise LengthError("not a length", value=str(mm), expected="a finite number of millimetres")
    if unit in ("mm", "cm", "m"):
        digits = {"mm": 1, "cm": 2, "m": 3}[unit]
        return f"{_decimal(Fraction(mm) / MM_PER[unit], digits)} {unit}"
    if unit not in ("in", "ft"):
        raise LengthError("unknown unit", value=str(unit), expected="in, ft, mm, cm or m")
    if fraction not in FRACTIONS:
        raise LengthError("unknown fraction", value=str(fraction), expected="8, 16, 32 or 64")
    parts = _round_half_away(abs(Fraction(mm)) / MM_PER["in"] * fraction)
    whole, rest = divmod(parts, fraction)
    sign = "-" if mm < 0 and parts else ""
    feet, whole = divmod(whole, 12) if unit == "ft" else (0, whole)
    inches = [str(whole)] if whole or not rest else []
    inches += [str(Fraction(rest, fraction))] if rest else []
    text = " ".join(inches) + '"'
    return f"{sign}{feet}' {text}" if feet else f"{sign}{text}"


def format_against(mm: float, allowed: float, unit: str = "in", fraction: int = 16) -> str:
    """As :func:`format_length`, with as many digits as keep the print on the same side of ``allowed``.

    What is printed and what is judged may never disagree: 4.77 mm against 3/16 in (4.7625 mm) must not
    be printed as 3/16 in.

    >>> format_against(4.77, 4.7625, "in")
    '0.1878"'
    """
    value, bound = settle(mm), settle(allowed)
    base = "mm" if unit in ("mm", "cm", "m") else "in"
    if not math.isfinite(bound):
        return format_length(value, unit, fraction)

    def agrees(shown: Fraction) -> bool:
        return (shown > Fraction(bound)) == (value > bound)

    finer = [n for n in FRACTIONS if n >= fraction] if base == "in" else [0]
    for n in finer:
        text = format_length(value, unit, n or 16)
        if agrees(parse_exact(text)):
            return text
    for digits in range(2, 12):
        number = _decimal(Fraction(value) / MM_PER[base], digits)
        if agrees(Fraction(number) * MM_PER[base]):
            return f'{number}"' if base == "in" else f"{number} mm"
    return repr(value) + " mm"


def settle(mm: float) -> float:
    """The number with binary noise rounded off (a millionth of a millimetre), before it is compared.

    >>> settle(3.0000000004) <= 3
    True
    """
    return round(float(mm), 6)


def _round_half_away(value: Fraction) -> int:
    return math.floor(value + Fraction(1, 2))


def _decimal(value: Fraction, digits: int) -> str:
    scaled = _round_half_away(abs(value) * 10**digits)
    sign = "-" if value < 0 and scaled else ""
    whole, rest = divmod(scaled, 10**digits)
    return f"{sign}{whole}.{rest:0{digits}d}".rstrip("0").rstrip(".")
