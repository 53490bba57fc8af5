"""What the keys of a job file hold: readers of one value each, which note what is wrong in the report."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

from shapely import Polygon

from flatness.corrections.members import kind_named
from flatness.errors import LengthError
from flatness.job.amounts import parse_amount, parse_rate
from flatness.job.report import JobReport, key_path, shown
from flatness.job.tables import Reader
from flatness.lengths import UnitNeededError, parse_exact, unit_named
from flatness.survey.cells import nearest

_PLACE = 'a place as two lengths, such as ["4 ft", "6 ft 3 in"]'
_LARGEST = 10.0**15


def text(raw: Any, path: str, report: JobReport) -> str | None:
    """A text on one line that is not blank."""
    if isinstance(raw, str) and raw.strip() and raw.isprintable():
        return raw.strip()
    report.add(path, "not a text on one line", raw, 'a text in quotes, such as "Loft floor"')
    return None


def texts(raw: Any, path: str, report: JobReport) -> tuple[str, ...] | None:
    """A list of texts, one or more."""
    return _listed(raw, path, report, text, "a list of texts in quotes")


def flag(raw: Any, path: str, report: JobReport) -> bool | None:
    """True or false."""
    if isinstance(raw, bool):
        return raw
    report.add(path, "neither true nor false", raw, "true or false", "write it without quotes")
    return None


def choice(*known: str) -> Reader:
    """One of the known words."""

    def read(raw: Any, path: str, report: JobReport) -> str | None:
        if isinstance(raw, str) and raw in known:
            return raw
        near = f"did you mean {nearest(raw, known)}?" if isinstance(raw, str) else "write one of them in quotes"
        report.add(path, f"unknown {path.rsplit('.', 1)[-1]}", raw, ", ".join(known), near)
        return None

    return read


def kind(*known: str) -> Reader:
    """One of the known kinds of member or ground, whatever its case, hyphens and spaces."""

    def read(raw: Any, path: str, report: JobReport) -> str | None:
        found = kind_named(raw, known) if isinstance(raw, str) else None
        return found or choice(*known)(raw, path, report)

    return read


def unit(raw: Any, path: str, report: JobReport) -> str | None:
    """A unit of length by its word or mark."""
    found = unit_named(raw) if isinstance(raw, str) else None
    if found is None:
        report.add(path, "unknown unit", raw, "in, ft, mm, cm or m", "write the unit that bare numbers are in")
    return found


def length(*, positive: bool = False, negative: bool = True) -> Reader:
    """A length [mm]; ``positive``: above zero; ``negative`` False: zero or more."""

    def read(raw: Any, path: str, report: JobReport) -> float | None:
        found = _length(raw, path, report)
        if found is None:
            return None
        if (found < 0 and not negative) or (found <= 0 and positive):
            expected = "a length above zero" if positive else "a length, 0 or more"
            report.add(path, "a length out of range", raw, expected, "check the number and its sign")
            return None
        return found

    return read


def _length(raw: Any, path: str, report: JobReport) -> float | None:
    if isinstance(raw, (int, float)) and abs(raw) >= _LARGEST:  # beyond what a number can be turned into text for
        report.add(path, "not a length", raw, 'a length such as 9.5, "3/16 in" or "9 mm"', "check the number")
        return None
    try:
        return float(parse_exact(raw, report.unit))
    except UnitNeededError:
        report.add(
            path, "a length without its unit", raw, 'a length such as "3/16 in", "12 ft 6 1/2 in" or "9 mm"',
            'write the unit behind the number, or give the unit of bare numbers at the top: unit = "in"',
        )  # fmt: skip
        return None
    except LengthError as error:
        report.take(error, path, raw)
        return None


def lengths(*, positive: bool = False) -> Reader:
    """A list of lengths [mm], one or more."""
    one = length(positive=positive)

    def read(raw: Any, path: str, report: JobReport) -> tuple[float, ...] | None:
        return _listed(raw, path, report, one, 'a list of lengths, such as ["4 ft", "8 ft"]')

    return read


def length_or(word: str) -> Reader:
    """A length [mm], or a word that stands for none: None."""

    def read(raw: Any, path: str, report: JobReport) -> float | None:
        if isinstance(raw, str) and raw.strip().casefold() == word:
            return None
        before = len(report.problems)
        found = _length(raw, path, report)
        if len(report.problems) > before:
            last = report.problems.pop()
            report.add(path, last.what, raw, f'"{word}", or {last.expected}', last.remedy or "check the number")
        return found

    return read


def number(*, least: float = -math.inf, most: float = math.inf, above: bool = False, below: bool = False) -> Reader:
    """A plain number from ``least`` to ``most``; ``above``, ``below``: the bound itself is not allowed."""

    def read(raw: Any, path: str, report: JobReport) -> float | None:
        found = float(raw) if _is_number(raw) else math.nan
        inside = (least < found if above else least <= found) and (found < most if below else found <= most)
        if math.isfinite(found) and inside:
            return found
        low = "" if least == -math.inf else f", {'above' if above else 'from'} {least:g}"
        high = "" if most == math.inf else f" to {'under ' if below else ''}{most:g}"
        report.add(path, "not such a number" if math.isfinite(found) else "not a number", raw,
                   f"a number without quotes{low}{high}")  # fmt: skip
        return None

    return read


def count(least: int, most: int) -> Reader:
    """A whole number from ``least`` to ``most``."""

    def read(raw: Any, path: str, report: JobReport) -> int | None:
        if isinstance(raw, int) and not isinstance(raw, bool) and least <= raw <= most:
            return raw
        report.add(path, "not such a whole number", raw, f"a whole number from {least} to {most}, without quotes")
        return None

    return read


def amount(kind: str, *, positive: bool = True) -> Reader:
    """An area, volume, mass, density or acceleration in the kit's own unit of it; ``positive``: above zero."""

    def read(raw: Any, path: str, report: JobReport) -> float | None:
        found = report.make(path, raw, parse_amount, raw, kind)
        if found is not None and positive and not found > 0:
            report.add(path, f"{kind} out of range", raw, "more than zero")
            return None
        return found

    return read


def rate(kind: str) -> Reader:
    """What one mm, mm2 or mm3 costs, from a text such as ``0.06 per ft2``."""

    def read(raw: Any, path: str, report: JobReport) -> float | None:
        return report.make(path, raw, parse_rate, raw, kind)

    return read


def place(raw: Any, path: str, report: JobReport) -> tuple[float, float] | None:
    """A place (x, y) [mm]."""
    if not isinstance(raw, list) or len(raw) != 2:
        report.add(path, "not a place", raw, _PLACE)
        return None
    x, y = (_length(one, f"{path}[{i}]", report) for i, one in enumerate(raw, 1))
    return None if x is None or y is None else (x, y)


def places(raw: Any, path: str, report: JobReport) -> tuple[tuple[float, float], ...] | None:
    """A list of places [mm], one or more."""
    return _listed(raw, path, report, place, f"a list of places, each {_PLACE}")


def area(raw: Any, path: str, report: JobReport) -> Polygon | None:
    """A polygon [mm] from its corners."""
    corners = places(raw, path, report)
    if corners is None:
        return None
    polygon = Polygon(corners) if len(set(corners)) >= 3 else None
    if polygon is None or not polygon.is_valid or not polygon.area > 0:
        report.add(path, "corners that bound no area", raw, "three corners or more, each a place",
                   "list the corners in order, walking once around it")  # fmt: skip
        return None
    return polygon


def by_name(one: Reader) -> Reader:
    """A table of values by a name of the user's own."""

    def read(raw: Any, path: str, report: JobReport) -> dict[str, Any] | None:
        if not isinstance(raw, dict):
            report.add(path, "not a table", raw, "a table of values by name", f"write [{path}] above its lines")
            return None
        return {name: one(value, key_path(path, name), report) for name, value in raw.items()}

    return read


def one_or_more(one: Reader) -> Reader:
    """One value, or a list of several: a tuple in both cases."""

    def read(raw: Any, path: str, report: JobReport) -> tuple[Any, ...] | None:
        if isinstance(raw, list):
            return _listed(raw, path, report, one, "a value, or a list of several")
        return (one(raw, path, report),)

    return read


def _listed(
    raw: Any, path: str, report: JobReport, one: Callable[[Any, str, JobReport], Any], expected: str
) -> tuple[Any, ...] | None:
    if not isinstance(raw, list) or not raw:
        report.add(path, "not a list" if raw != [] else "an empty list", shown(raw), expected,
                   "write it in square brackets, or leave the line out")  # fmt: skip
        return None
    return tuple(one(value, f"{path}[{i}]", report) for i, value in enumerate(raw, 1))


def _is_number(raw: Any) -> bool:
    return isinstance(raw, (int, float)) and not isinstance(raw, bool) and abs(raw) < _LARGEST
