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
MM2_PER_FT2, MM2_PER_M2 = 304.8**2, 1e6
MM3_PER_FT3, MM3_PER_LITRE = 304.8**3, 1e6
RULED = (2, 4, 8, 16, 32, 64, 128, 10, 100)  # parts into which an inch, or a foot, is divided on tapes and rods
FRACTIONS = (8, 16, 32, 64)
_DIGITS = {"mm": 1, "cm": 2, "m": 3}  # decimals shown: to a tenth of a millimetre, or to one
LONGEST_MM = 10**6  # a kilometre: nothing in a building is longer, and a slipped unit is

_WORDS = {
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    "m": ("m", "metre", "metres", "meter", "meters"),
    "in": ("in", "in.", "inch", "inches", '"'),
    "ft": ("ft", "ft.", "foot", "feet", "'"),
}
_UNIT_NAMES = {word: unit for unit, words in _WORDS.items() for word in words}
_UNIT = f"(?:{'|'.join(map(re.escape, _UNIT_NAMES))})"
_MARKS = str.maketrans(
    {
        "’": "'",
        "‘": "'",
        "′": "'",
        "´": "'",
        "`": "'",
        "ʹ": "'",
        "ʼ": "'",
        "＇": "'",
        "”": '"',
        "“": '"',
        "″": '"',
        "‟": '"',
        "„": '"',
        "ʺ": '"',
        "＂": '"',
        "−": "-",
        "–": "-",
        "‐": "-",
        "‑": "-",
        "﹣": "-",
        "⁄": "/",
        "∕": "/",
        # zero-width marks ride along with pasted text and carry no meaning
        "\ufeff": None,
        "\u200b": None,
        "\u200e": None,
        "\u200f": None,
    }
)
_DECIMAL = r"(?:\d{1,9}(?:\.\d{0,20})?|\.\d{1,20})(?:[eE][+-]?\d{1,3})?"
_FRACTION = r"(?:\d{1,6}\s*/\s*\d{1,6})"
_NUMBER = rf"(?:(?P<whole>\d{{1,9}})(?:\s+|-)(?P<part>{_FRACTION})|(?P<alone>{_FRACTION})|(?P<decimal>{_DECIMAL}))"
_ONE = re.compile(rf"{_NUMBER}\s*(?P<unit>{_UNIT})?", re.IGNORECASE | re.ASCII)
_FEET_INCHES = re.compile(
    r"(?P<feet>\d{1,7})\s*(?:'|ft\.?|foot|feet)\s*-?\s*(?P<inches>.+?)\s*(?:\"|in\.?|inch|inches)?",
    re.IGNORECASE | re.ASCII,
)
# the months as spreadsheets shorten them in English, German, French and Spanish
_MONTHS = (
    "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|mär|mrz|mai|okt|dez|fév|avr|juin|juil|aoû|déc|ene|abr|ago|dic"
)
# the same mark twice: 3-1/16 is a length, 3-1-16 is what is left of one
_DATE = re.compile(
    rf"(?:\d{{1,4}}\.?[-/. ](?:{_MONTHS})[^\W\d]*\.?(?:[-/. ]\d{{2,4}})?"
    rf"|(?:{_MONTHS})[^\W\d]*\.?[-/. ]\d{{1,4}}(?:,? \d{{4}})?"
    r"|[0-9]{4}([-/.])[0-9]{1,2}\1[0-9]{1,2}(?:[T ][0-9:.]+)?"
    r"|[0-9]{1,2}([-/.])[0-9]{1,2}\2[0-9]{2,4}(?: [0-9:.]+(?: ?[ap]m)?)?|[0-9]{1,2}\.[0-9]{1,2}\.)",
    re.IGNORECASE,
)
_LINE_BREAKS = re.compile("[\n\r\v\f\x1c-\x1e\x85\u2028\u2029]")
DATE_REMEDY = (
    "a spreadsheet has turned a fraction into a date; format the cells as Text before typing, "
    "or type a leading zero and a space (0 3/8) or decimals (0.375), then type the reading again"
)
COMMA_REMEDY = (
    "write a point for decimals; a decimal comma is read only where the file's delimiter is a semicolon, "
    "and thousands are not separated"
)
_FORMS = 'a length such as 3/8, -1 1/16, 41-3/8", 12\' 6 1/2", 0.375 or 9 mm'


class UnitNeededError(LengthError):
    """A number that carries no unit, where nothing says which one is meant."""


def _no_length(what: str, text: str, remedy: str | None = None) -> LengthError:
    return LengthError(what, value=text, expected=_FORMS, remedy=remedy)


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


def parse_exact(text: str | float | Fraction, unit: str | None = "mm", *, decimal_comma: bool = False) -> Fraction:
    """As :func:`parse_length`, but the exact rational number of millimetres.

    ``unit`` None: a number that carries no unit, other than zero, is a :class:`UnitNeededError`.
    """
    if unit is not None and unit not in MM_PER:
        raise LengthError("unknown unit", value=str(unit), expected="in, ft, mm, cm or m")
    if isinstance(text, str):
        value = _parse_text(text, unit, decimal_comma)
    else:
        value = _with_unit(_number(text), unit, str(text))
    if abs(value) > LONGEST_MM:
        raise _no_length("longer than a kilometre", str(text), "check the number and its unit")
    return value


def _number(value: float | Fraction) -> Fraction:
    if isinstance(value, Fraction):
        return value
    try:
        # the shortest decimal that gives this float is what was typed: 0.1 in is 2.54 mm, exactly
        if not isinstance(value, bool) and type(value).__name__ not in ("bool", "bool_"):
            return Fraction(repr(float(value)))
    except (TypeError, ValueError, OverflowError):
        pass  # not a number, not finite, or too large for a float: all are said below
    raise _no_length("not a length", str(value))


def _with_unit(number: Fraction, unit: str | None, text: str) -> Fraction:
    if unit is None and number:
        remedy = "write the unit behind the number"
        raise UnitNeededError("a number without a unit", value=text, expected=_FORMS, remedy=remedy)
    return number * MM_PER[unit or "mm"]


def _parse_text(text: str, unit: str | None, decimal_comma: bool) -> Fraction:
    plain = _plain(text)
    if not plain:
        raise _no_length("empty, not a length", text)
    if _LINE_BREAKS.search(text.strip()):
        raise _no_length("a line break inside a length", text, "one length to a cell, on one line")
    if looks_like_date(plain):
        raise _no_length("a date stands where a length should be", text, DATE_REMEDY)
    if "," in plain:
        if not decimal_comma or plain.count(",") > 1 or "." in plain:
            raise _no_length("a comma inside a length", text, COMMA_REMEDY)
        plain = plain.replace(",", ".")
    sign = 1
    if plain[0] in "+-":
        sign = -1 if plain[0] == "-" else 1
        plain = plain[1:].lstrip()
    value = _feet_and_inches(plain, text)
    return sign * (value if value is not None else _one_number(plain, text, unit))


def _plain(text: str) -> str:
    """The text with one kind of mark, ordinary spaces, and ½ written out as 1/2."""
    out = ""
    for char in text:
        written = unicodedata.normalize("NFKC", char) if unicodedata.category(char) == "No" else char
        if "⁄" in written:
            # ½ next to a digit is a number of its own: 1½ is 1 1/2, and ½5 is no length
            out += written if out.endswith(("-", "–", "−")) else f" {written}"
            out += "" if written.endswith("⁄") else " "
        else:
            out += char
    return " ".join(out.translate(_MARKS).replace("''", '"').split())


def _feet_and_inches(plain: str, text: str) -> Fraction | None:
    match = _FEET_INCHES.fullmatch(plain)
    if match is None:
        return None
    inches = _ONE.fullmatch(match["inches"])
    if inches is None or inches["unit"]:
        return None
    value = _value(inches, text)
    if value >= 12:
        what = "twelve inches or more after the feet"
        raise _no_length(what, text, "write feet and inches under 12, such as 12' 6\", or inches alone")
    return int(match["feet"]) * MM_PER["ft"] + value * MM_PER["in"]


def _one_number(plain: str, text: str, unit: str | None) -> Fraction:
    match = _ONE.fullmatch(plain)
    if match is None:
        stray = plain.startswith("'") and _ONE.fullmatch(plain[1:])
        raise _no_length("not a length", text, "delete the ' before the number" if stray else None)
    return _with_unit(_value(match, text), unit_named(match["unit"]) if match["unit"] else unit, text)


def unit_named(text: str) -> str | None:
    """The unit that a word or mark names (``inches``, ``"``, ``MM``), or None where it names none."""
    return _UNIT_NAMES.get(_plain(text).lower())


def _value(match: re.Match[str], text: str) -> Fraction:
    if match["decimal"]:
        return Fraction(match["decimal"])
    top, bottom = (match["part"] or match["alone"]).split("/")
    if int(bottom) == 0:
        raise _no_length("a fraction over zero", text)
    part = Fraction(int(top), int(bottom))
    if match["whole"] and part >= 1:
        raise _no_length("a whole number followed by a fraction of one or more", text, "check the digits")
    if int(bottom) not in RULED:
        raise _no_length(f"no tape is divided into {bottom} parts", text, "check the digits, or write a decimal number")
    if part > 1 and len(top) > 1 and int(top[1:]) % 2 and int(top[1:]) < int(bottom):
        remedy = f"write {top[0]} {top[1:]}/{bottom} or {part // 1} {part % 1}, whichever it is"
        raise _no_length("a fraction of more than one, from which a space may be missing", text, remedy)
    return int(match["whole"] or 0) + part


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
    >>> format_length(2146.3, "ft")
    '7\\' 0 1/2"'
    >>> format_length(-9.525, "in", 8)
    '-3/8"'
    >>> format_length(4.77, "mm")
    '4.8 mm'
    """
    exact = _settled(mm)
    if unit in _DIGITS:
        return f"{_decimal(exact / MM_PER[unit], _DIGITS[unit])} {unit}"
    if unit not in ("in", "ft"):
        raise LengthError("unknown unit", value=str(unit), expected="in, ft, mm, cm or m")
    if fraction not in FRACTIONS:
        raise LengthError("unknown fraction", value=str(fraction), expected="8, 16, 32 or 64")
    parts = _round_half_away(abs(exact) / MM_PER["in"] * fraction)
    whole, rest = divmod(parts, fraction)
    sign = "-" if exact < 0 and parts else ""
    feet, whole = divmod(whole, 12) if unit == "ft" else (0, whole)
    inches = [str(whole)] if whole or feet or not rest else []
    inches += [str(Fraction(rest, fraction))] if rest else []
    text = " ".join(inches) + '"'
    return f"{sign}{feet}' {text}" if feet else f"{sign}{text}"


def format_against(mm: float, allowed: float, unit: str = "in", fraction: int = 16) -> str:
    """As :func:`format_length`, with as many digits as keep the print on the same side of ``allowed``.

    What is printed and what is judged may never disagree: 4.77 mm against 3/16 in (4.7625 mm) must not
    be printed as 3/16 in.

    >>> format_against(4.77, 4.7625, "in")
    '0.19"'
    """
    if not math.isfinite(allowed):
        return format_length(mm, unit, fraction)
    value, bound = _settled(mm), _settled(allowed)
    finer = [n for n in FRACTIONS if n > fraction] if unit in ("in", "ft") else []
    for n in (fraction, *finer):
        text = format_length(mm, unit, n)
        if (_parse_text(text, None, False) > bound) == (value > bound):
            return text
    base, mark = (unit, f" {unit}") if unit in _DIGITS else ("in", '"')
    for digits in range(_DIGITS.get(unit, 1) + 1, 12):
        number = _decimal(value / MM_PER[base], digits)
        if (Fraction(number) * MM_PER[base] > bound) == (value > bound):
            return number + mark
    return f"{float(value)!r} mm"


def settle(mm: float) -> float:
    """The number with binary noise rounded off (a millionth of a millimetre), before it is compared.

    >>> settle(3.0000000004) <= 3
    True
    """
    return round(float(mm), 6)


def _settled(mm: float) -> Fraction:
    """The settled number as the decimal it prints as: 4.7625 exactly, where the float is a hair beside it."""
    if not math.isfinite(mm):
        raise LengthError("not a length", value=str(mm), expected="a finite number of millimetres")
    return Fraction(repr(settle(mm)))


def _round_half_away(value: Fraction) -> int:
    return math.floor(value + Fraction(1, 2))


def _decimal(value: Fraction, digits: int) -> str:
    scaled = _round_half_away(abs(value) * 10**digits)
    sign = "-" if value < 0 and scaled else ""
    whole, rest = divmod(scaled, 10**digits)
    return f"{sign}{whole}.{rest:0{digits}d}".rstrip("0").rstrip(".")
