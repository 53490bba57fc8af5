"""What a value of a job may be: a length, number, choice, text, place, area, amount or rate, or several of these.

Each type reads what a job file holds, in millimetres, and notes in the report what is wrong with it; it knows what
stands for such a value where it is typed behind an option.

Areas, volumes, densities, masses, accelerations and rates are exact, as lengths are: a number stays a rational number
until it is converted. Every amount carries its unit.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from shapely import Polygon

from flatness.errors import LengthError
from flatness.framing.members import kind_named
from flatness.job.report import JobReport, key_path, shown
from flatness.lengths import MM_PER, UnitNeededError, parse_exact, unit_named
from flatness.planning.quantities import POUND_KG
from flatness.survey.cells import nearest

_LARGEST = 10.0**15  # beyond, a number cannot be turned into text
_MONEY = re.compile(r"(?P<before>[^\d.,]*?)\s*(?P<number>\d{1,9}(?:\.\d{1,2})?)\s*(?P<behind>[^\d.,]*)")
_CORNER = re.compile(r"\(([^()]*)\)")


class Type:
    """What a value may be.

    Attributes
    ----------
    unit : that it is kept in, empty where it has none
    metavar : what stands for it in the help of an option
    """

    unit = ""
    metavar = "WHAT"

    def read(self, raw: Any, path: str, report: JobReport) -> Any:
        """The value; what is wrong with it goes into the report."""
        raise NotImplementedError

    def typed(self, text: str) -> Any:
        """What a job file would hold, of what is typed behind an option."""
        return text


class Kept(Type):
    """Anything, read elsewhere."""

    def read(self, raw: Any, path: str, report: JobReport) -> Any:
        return raw


class Text(Type):
    """A text on one line that is not blank."""

    metavar = "TEXT"

    def read(self, raw: Any, path: str, report: JobReport) -> str | None:
        if isinstance(raw, str) and raw.strip() and raw.isprintable():
            return raw.strip()
        report.add(path, "not a text on one line", raw, 'a text in quotes, such as "Loft floor"')
        return None


@dataclass(frozen=True)
class Flag(Type):
    """True or false; ``yes`` and ``no`` are what these are called where one is chosen."""

    yes: str = "yes"
    no: str = "no"
    metavar = "true or false"

    @property
    def options(self) -> list[tuple[str, bool]]:
        """What may be chosen, by its name."""
        return [(self.no, False), (self.yes, True)]

    def read(self, raw: Any, path: str, report: JobReport) -> bool | None:
        if isinstance(raw, bool):
            return raw
        report.add(path, "neither true nor false", raw, "true or false", "write it without quotes")
        return None


class Choice(Type):
    """One of the known words, whatever its case, hyphens and spaces; ``names``: what each is called in a panel."""

    def __init__(self, *known: str, names: Sequence[str] = ()) -> None:
        self.known, self.names = known, tuple(names) or known
        self.metavar = "{" + ",".join(known) + "}"

    @property
    def options(self) -> list[tuple[str, str]]:
        """What may be chosen, by its name."""
        return list(zip(self.names, self.known, strict=True))

    def read(self, raw: Any, path: str, report: JobReport) -> str | None:
        found = kind_named(raw, self.known) if isinstance(raw, str) else None
        if found is None:
            near = (
                f"did you mean {nearest(raw, self.known)}?" if isinstance(raw, str) else "write one of them in quotes"
            )
            report.add(path, f"unknown {path.rsplit('.', 1)[-1]}", raw, ", ".join(self.known), near)
        return found


class Unit(Type):
    """A unit of length by its word or mark."""

    metavar = "{in,ft,mm,cm,m}"

    def read(self, raw: Any, path: str, report: JobReport) -> str | None:
        found = unit_named(raw) if isinstance(raw, str) else None
        if found is None:
            report.add(path, "unknown unit", raw, "in, ft, mm, cm or m", "write the unit that bare numbers are in")
        return found


@dataclass(frozen=True)
class Price:
    """An amount of money; ``unit`` as it was written: ``$``, ``EUR``."""

    amount: float
    unit: str


class Money(Type):
    """Money with its unit before or behind it: ``$65``, ``60 EUR``."""

    metavar = "MONEY"

    def read(self, raw: Any, path: str, report: JobReport) -> Price | None:
        found = _MONEY.fullmatch(raw.strip()) if isinstance(raw, str) else None
        unit = (found["before"] or found["behind"] or "").strip() if found else ""
        if found is None or not unit or (found["before"] and found["behind"]) or not float(found["number"]) > 0:
            report.add(path, "not an amount of money", raw, 'a number with its unit in quotes, such as "$65"')
            return None
        return Price(float(found["number"]), unit)


@dataclass(frozen=True)
class Number(Type):
    """A number, or a whole one, from ``least`` to ``most``; ``above``, ``below``: the bound itself is not allowed."""

    least: float = -math.inf
    most: float = math.inf
    above: bool = False
    below: bool = False
    whole: bool = False
    metavar = "N"

    def read(self, raw: Any, path: str, report: JobReport) -> float | None:
        is_number = isinstance(raw, int if self.whole else (int, float)) and not isinstance(raw, bool)
        finite = is_number and abs(raw) < _LARGEST
        if finite and self._holds(raw):
            return raw if self.whole else float(raw)
        quotes = ", without quotes" if report.origin.file else ""
        what = "not such a whole number" if self.whole else "not such a number" if finite else "not a number"
        report.add(path, what, raw, f"{self.expected}{quotes}")
        return None

    def _holds(self, number: float) -> bool:
        return (self.least < number if self.above else self.least <= number) and (
            number < self.most if self.below else number <= self.most
        )

    @property
    def expected(self) -> str:
        """The range in words."""
        low = "" if self.least == -math.inf else f" {'above' if self.above else 'from'} {_plain(self.least)}"
        high = "" if self.most == math.inf else f" to {'under ' if self.below else ''}{_plain(self.most)}"
        return f"a {'whole ' if self.whole else ''}number{low}{high}"

    def typed(self, text: str) -> Any:
        for kind in (int, float):
            try:
                return kind(text)
            except ValueError:
                continue
        return text


def _plain(number: float) -> str:
    return str(number) if isinstance(number, int) else f"{number:g}"


@dataclass(frozen=True)
class Share(Number):
    """A number of its range, or ``sure``."""

    def read(self, raw: Any, path: str, report: JobReport) -> Any:
        if raw == "sure" or super().read(raw, path, JobReport(report.origin)) is not None:
            return raw
        expected = 'a share above 0 to 1, or "sure"'
        report.add(path, "aim out of range", raw, expected, "1 plans to the limit itself, 0.7 to 70 % of it")
        return None


@dataclass(frozen=True)
class Length(Type):
    """A length [mm]; from ``least``, or ``above`` it."""

    least: float = -math.inf
    above: bool = False
    unit = "mm"
    metavar = "LENGTH"

    def read(self, raw: Any, path: str, report: JobReport) -> float | None:
        found = _length(raw, path, report)
        if found is None or found > self.least or (found == self.least and not self.above):
            return found
        expected = "a length above zero" if self.above else "a length, 0 or more"
        report.add(path, "a length out of range", raw, expected, "check the number and its sign")
        return None


def _length(raw: Any, path: str, report: JobReport, instead: str = "") -> float | None:
    """A length [mm]; ``instead``: what might stand there, too."""
    if isinstance(raw, (int, float)) and abs(raw) >= _LARGEST:
        report.add(path, "not a length", raw, f'{instead}a length such as 9.5, "3/16 in" or "9 mm"', "check the number")
        return None
    try:
        return float(parse_exact(raw, report.unit))
    except UnitNeededError:
        if isinstance(raw, str) and not raw.strip("+-−").replace(".", "").isdecimal():
            return float(parse_exact(raw, "in"))  # a fraction: nobody writes millimetres so
        expected, remedy = f"{instead}a length such as 10ft, 3/16 or 5mm", "write the unit behind the number"
        if report.origin.file:
            expected = f'{instead}a length such as "3/16 in", "12 ft 6 1/2 in" or "9 mm"'
            remedy += ', or give the unit of bare numbers at the top: unit = "in"'
        report.add(path, "a length without its unit", raw, expected, remedy)
    except LengthError as error:
        (problem,) = error.problems
        expected = instead + (problem.expected or "a length")
        report.add(path, problem.what, raw, expected, problem.remedy or "check the number")
    return None


class Height(Type):
    """A finished height [mm] off the datum; ``as found``: None; or ``drop`` and what the rod is to read there."""

    unit, metavar = "mm", "HEIGHT"

    def read(self, raw: Any, path: str, report: JobReport) -> float | None:
        word, _, rest = raw.strip().partition(" ") if isinstance(raw, str) else ("", "", "")
        if (word.casefold(), rest.strip().casefold()) == ("as", "found"):
            return None
        if word.casefold() != "drop":
            return _length(raw, path, report, '"as found", or ')
        drop, survey = _length(rest, path, report), report.survey
        if drop is None or survey is None:  # what is wrong with the survey is in the report
            return None
        if survey.line_height is None:
            what, remedy = "a drop, where the readings are not drops off one line", "such as 12mm or -3/8in"
            report.add(path, what, raw, "a height off the survey's datum, toward the room positive", remedy)
            return None
        return survey.line_height - drop


class Place(Type):
    """A place (x, y) [mm]."""

    unit, metavar = "mm", "X,Y"
    such_as = 'a place as two lengths, such as ["4 ft", "6 ft 3 in"]'

    def read(self, raw: Any, path: str, report: JobReport) -> tuple[float, float] | None:
        if not isinstance(raw, list) or len(raw) != 2:
            report.add(path, "not a place", raw, self.such_as)
            return None
        x, y = (_length(one, f"{path}[{i}]", report) for i, one in enumerate(raw, 1))
        return None if x is None or y is None else (x, y)

    def typed(self, text: str) -> Any:
        return [part.strip() for part in text.split(",")]


class Area(Type):
    """A polygon [mm] from its corners."""

    unit, metavar = "mm", "CORNERS"

    def read(self, raw: Any, path: str, report: JobReport) -> Polygon | None:
        corners = Many(Place(), f"a list of places, each {Place.such_as}").read(raw, path, report)
        if corners is None or None in corners:
            return None
        polygon = Polygon(corners) if len(set(corners)) >= 3 else None
        if polygon is not None and polygon.is_valid and polygon.area > 0:
            return polygon
        expected = "three corners or more, each a place"
        remedy = "list the corners in order, walking once around it"
        report.add(path, "corners that bound no area", raw, expected, remedy)
        return None

    def typed(self, text: str) -> Any:
        corners = _CORNER.findall(text) if "(" in text else text.split(";")
        return [Place().typed(corner) for corner in corners if corner.strip()]


class Where(Type):
    """A station's label, a place, or an area by its corners."""

    metavar = "WHERE"

    def read(self, raw: Any, path: str, report: JobReport) -> str | tuple[float, float] | Polygon | None:
        if isinstance(raw, str):
            return Text().read(raw, path, report)
        if isinstance(raw, list) and len(raw) >= 3 and all(isinstance(one, list) for one in raw):
            return Area().read(raw, path, report)
        if isinstance(raw, list) and len(raw) == 2 and not any(isinstance(one, (list, dict)) for one in raw):
            return Place().read(raw, path, report)
        label_or = "a station's label, a place such as "
        expected = f'{label_or}["4 ft", "6 ft"], or a list of three corners or more'
        if report.origin.file is None:
            expected = f"{label_or}'4ft,6ft', or corners such as '0,0; 4ft,0; 4ft,6ft'"
        report.add(path, "neither a label, nor a place, nor an area", raw, expected)
        return None

    def typed(self, text: str) -> Any:
        return Area().typed(text) if ";" in text else Place().typed(text) if "," in text else text


class Many(Type):
    """A list of values, one or more: a tuple. ``or_one``: one value may stand alone."""

    def __init__(self, one: Type, expected: str = "a value, or a list of several", or_one: bool = False) -> None:
        self.one, self.expected, self.or_one = one, expected, or_one
        self.metavar = f"{one.metavar},..."

    def read(self, raw: Any, path: str, report: JobReport) -> tuple[Any, ...] | None:
        if self.or_one and not isinstance(raw, list):
            return (self.one.read(raw, path, report),)
        if not isinstance(raw, list) or not raw:
            what = "an empty list" if raw == [] else "not a list"
            report.add(path, what, raw, self.expected, "write it in square brackets, or leave the line out")
            return None
        return tuple(self.one.read(value, f"{path}[{i}]", report) for i, value in enumerate(raw, 1))

    def typed(self, text: str) -> Any:
        return [self.one.typed(part.strip()) for part in text.split(",")]


def lengths(*, above: bool = False) -> Many:
    """A list of lengths, each above zero where that is asked for."""
    one = Length(0, above=True) if above else Length()
    return Many(one, 'a list of lengths, such as ["4 ft", "8 ft"]')


@dataclass(frozen=True)
class Named(Type):
    """A table of values by a name of the user's own."""

    one: Type

    def read(self, raw: Any, path: str, report: JobReport) -> dict[str, Any] | None:
        if not isinstance(raw, dict):
            report.add(path, "not a table", raw, "a table of values by name", f"write [{path}] above its lines")
            return None
        return {name: self.one.read(value, key_path(path, name), report) for name, value in raw.items()}


class Stock(Type):
    """Lengths on sale, each once; or their prices by length."""

    unit = "mm"

    def read(self, raw: Any, path: str, report: JobReport) -> Any:
        if not isinstance(raw, dict):
            found = lengths(above=True).read(raw, path, report)
            if found is not None and None not in found and len(set(found)) < len(found):
                report.add(path, "one length twice", raw, "each length once", "delete one of the two")
            return found
        prices: dict[float, float] = {}
        for written, price in raw.items():
            here = key_path(path, written)
            sold = Length(0, above=True).read(written, here, report)
            paid = Number(0, above=True).read(price, here, report)
            if sold in prices:
                report.add(here, "one length twice", written, "each length once", "delete one of the two")
            elif sold is not None and paid is not None:
                prices[sold] = paid
        if not raw:
            report.add(path, "no stock lengths", raw, 'prices by length, such as "12 ft" = 14.5')
        return prices


class Amount(Type):
    """An area, volume, mass, density or acceleration in the kit's own unit of it; ``above``: more than zero."""

    def __init__(self, kind: str, above: bool = True) -> None:
        self.kind, self.above, self.unit, self.metavar = kind, above, KEPT_IN[kind], kind.upper()

    def read(self, raw: Any, path: str, report: JobReport) -> float | None:
        found = report.make(path, raw, parse_amount, raw, self.kind)
        if found is not None and self.above and not found > 0:
            report.add(path, f"{self.kind} out of range", raw, "more than zero")
            return None
        return found


@dataclass(frozen=True)
class Rate(Type):
    """What one mm, mm2 or mm3 costs, from a text such as ``0.06 per ft2``."""

    kind: str
    metavar = "RATE"

    def read(self, raw: Any, path: str, report: JobReport) -> float | None:
        return report.make(path, raw, parse_rate, raw, self.kind)


_AREA = {f"{unit}2": per**2 for unit, per in MM_PER.items()}
_VOLUME = {f"{unit}3": per**3 for unit, per in MM_PER.items()} | {"l": Fraction(10**6)}
_MASS = {"kg": Fraction(1), "g": Fraction(1, 1000), "lb": Fraction(str(POUND_KG))}
UNITS: dict[str, Mapping[str, Fraction]] = {
    "length": MM_PER,
    "area": _AREA,
    "volume": _VOLUME,
    "mass": _MASS,
    "density": {
        f"{mass}/{volume}": _MASS[mass] / _VOLUME[volume]
        for mass, volume in (("kg", "m3"), ("kg", "l"), ("g", "cm3"), ("lb", "ft3"), ("kg", "mm3"))
    },
    "acceleration": {"m/s2": Fraction(1), "ft/s2": MM_PER["ft"] / 1000},
}
KEPT_IN = {"area": "mm2", "volume": "mm3", "mass": "kg", "density": "kg/mm3", "acceleration": "m/s2"}
SUCH_AS = {
    "area": "1 ft2 or 0.1 m2",
    "volume": "0.42 ft3 or 12 l",
    "mass": "220 lb or 100 kg",
    "density": "120 lb/ft3 or 1920 kg/m3",
    "acceleration": "9.81 m/s2",
}
RATE_SUCH_AS = {
    "length": "0.2 per ft or 0.65 per m",
    "area": "0.06 per ft2 or 0.65 per m2",
    "volume": "2 per ft3 or 0.07 per l",
}
_ALIASES = {"lbs": "lb", "litre": "l", "litres": "l", "liter": "l", "liters": "l"}
_AMOUNT = re.compile(
    r"(?:(?P<whole>\d{1,9})\s+)?(?:(?P<top>\d{1,6})\s*/\s*(?P<bottom>\d{1,6})|(?P<decimal>(?:\d{1,15}(?:\.\d{0,20})?"
    r"|\.\d{1,20})(?:[eE][+-]?\d{1,2})?))\s*(?P<unit>[a-z][a-z0-9/^ ]*)?",
    re.ASCII | re.IGNORECASE,
)
_RATE = re.compile(
    r"(?P<number>\d{1,12}(?:\.\d{0,12})?|\.\d{1,12})\s*(?:per|/)\s*(?P<unit>[a-z]+[23]?)", re.ASCII | re.IGNORECASE
)


def parse_amount(raw: object, kind: str) -> float:
    """An amount in the kit's own unit of it: mm2, mm3, kg, kg/mm3 or m/s2.

    Parameters
    ----------
    raw : a text with number and unit, such as ``0.42 ft3``; or a plain 0
    kind : ``area``, ``volume``, ``mass``, ``density`` or ``acceleration``

    Raises
    ------
    LengthError : what cannot be read, has no unit, or has one of another kind

    Examples
    --------
    >>> parse_amount("1 ft2", "area")
    92903.04
    >>> parse_amount("12 l", "volume")
    12000000.0
    """
    text, known = _ordinary(raw), UNITS[kind]
    if text is None:
        return 0.0
    found = _AMOUNT.fullmatch(text) if isinstance(raw, str) else None
    if found is None or (found["whole"] and found["decimal"]) or (found["bottom"] and not int(found["bottom"])):
        raise _refused(f"not {_a(kind)}", text, kind, "write number and unit as a text in quotes")
    unit = re.sub(r"[\s^]", "", (found["unit"] or "").lower())
    unit = "/".join(_ALIASES.get(part, part) for part in unit.split("/"))
    if unit not in known:
        what = f"{_a(kind)} without a unit" if not unit else f"not a unit of {kind}"
        raise _refused(what, text, kind, f"write one of the units {', '.join(known)} behind the number")
    part = Fraction(found["decimal"]) if found["decimal"] else Fraction(int(found["top"]), int(found["bottom"]))
    return float((int(found["whole"] or 0) + part) * known[unit])


def parse_rate(raw: object, kind: str) -> float:
    """What one mm, mm2 or mm3 costs, in whatever the number counts.

    Parameters
    ----------
    raw : a text such as ``0.06 per ft2``; or a plain 0
    kind : ``length``, ``area`` or ``volume``

    Raises
    ------
    LengthError : what cannot be read, or names no unit of this kind

    Examples
    --------
    >>> parse_rate("92.90304 per ft2", "area"), parse_rate("0.2 per m", "length"), parse_rate(0, "volume")
    (0.001, 0.0002, 0.0)
    """
    text, known = _ordinary(raw), UNITS[kind]
    if text is None:
        return 0.0
    found = _RATE.fullmatch(text) if isinstance(raw, str) else None
    unit = found["unit"].lower() if found else ""
    unit = _ALIASES.get(unit, unit)
    if found is None or unit not in known:
        expected = f"a text such as {RATE_SUCH_AS[kind]}"
        remedy = f"write number, per, and one of the units {', '.join(known)}, in quotes"
        raise LengthError(f"no rate by {kind}", value=text, expected=expected, remedy=remedy)
    return float(Fraction(found["number"]) / known[unit])


def _ordinary(raw: object) -> str | None:
    """The text with superscripts as digits and a plain slash; None of a plain 0."""
    if isinstance(raw, (int, float)) and not isinstance(raw, bool) and raw == 0:
        return None
    return unicodedata.normalize("NFKC", raw).replace("⁄", "/").strip() if isinstance(raw, str) else shown(raw)


def _a(kind: str) -> str:
    return f"an {kind}" if kind[0] == "a" else f"a {kind}"


def _refused(what: str, text: str, kind: str, remedy: str) -> LengthError:
    return LengthError(what, value=text, expected=f"{_a(kind)} such as {SUCH_AS[kind]}", remedy=remedy)
