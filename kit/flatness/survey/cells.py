"""What the readers of a survey file share: cells with their places, the report of problems, lengths.

What may have been meant by a length that was typed wrong: another sign, point, order of digits, or unit.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from flatness.errors import LengthError, Problem, SurveyFileError
from flatness.lengths import DATE_REMEDY, MM_PER, RULED, UnitNeededError, parse_exact

RETYPE = "type it again in one of these forms; leave the cell empty where nothing was read"
LEAVE_EMPTY = "leave the cell empty where no reading was taken"
FILL_IN = "type the length that belongs there, or take the whole row out"
DATE_SERIALS = range(36526, 73051)  # 2000-01-01 to 2100-01-01 in a spreadsheet's count of days


@dataclass(frozen=True)
class Accident:
    """A cell that holds something no length or text can be made of: a date, a formula without a result."""

    value: str
    what: str
    expected: str | None = None
    remedy: str | None = None


Cell = str | float | Accident


@dataclass(frozen=True)
class Record:
    """One row of a table: its number as a spreadsheet counts, and its cells from column A on."""

    row: int
    cells: tuple[Cell, ...]

    def cell(self, column: int) -> Cell:
        return self.cells[column] if column < len(self.cells) else ""

    @property
    def is_blank(self) -> bool:
        return all(is_empty(cell) for cell in self.cells)


@dataclass(frozen=True)
class Table:
    """A file taken apart into cells: the ``#`` lines at the top, and the rows below them.

    ``delimiter`` is what joins the cells of a ``#`` line that a spreadsheet has split.
    """

    header: tuple[Record, ...]
    body: tuple[Record, ...]
    delimiter: str = ","

    @property
    def decimal_comma(self) -> bool:
        return self.delimiter == ";"


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One reading as the file gives it: lengths [mm]; x and y are NaN for a benchmark off the surface.

    ``typed`` is its text, and ``unit`` the unit of a number in it that carries none.
    """

    x: float
    y: float
    value: float
    row: int
    column: int
    label: str = ""
    setup: str = ""
    line: str = ""
    kind: str = "surface"
    typed: str = ""
    unit: str = "in"

    @property
    def cell(self) -> str:
        return f"{column_letter(self.column)}{self.row}"


@dataclass(frozen=True)
class Readings:
    """All readings of a file, whether they are heights or drops, and the cells where none was taken.

    ``doubts`` are questions on their positions that stop nothing.
    """

    readings: tuple[Reading, ...]
    quantity: str
    not_taken: tuple[str, ...] = ()
    decimal_comma: bool = False
    doubts: tuple[Problem, ...] = ()


class Report:
    """Collects what is wrong with one file, so that all of it comes in one error."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []
        self._settled: set[tuple[int, str]] = set()

    def settle(self, row: int, column: int) -> None:
        """Take no more problems of this cell: the one it has explains them."""
        self._settled.add((row, column_letter(column)))

    def add(
        self,
        what: str,
        row: int | None = None,
        column: int | None = None,
        *,
        value: str | None = None,
        expected: str | None = None,
        remedy: str | None = None,
    ) -> None:
        """Note one problem; ``column`` counts from 0."""
        letter = None if column is None else column_letter(column)
        self._keep(Problem(what, self.file, row, letter, value, expected, remedy))

    def cell(self, record: Record, column: int, what: str, expected: str, remedy: str) -> None:
        """Note what is wrong with one cell; ``column`` counts from 0."""
        self.add(what, record.row, column, value=text_of(record.cell(column)), expected=expected, remedy=remedy)

    def at(
        self, reading: Reading, what: str, expected: str | None, remedy: str | None = None, value: str | None = None
    ) -> None:
        """Note what is wrong with one reading."""
        self.add(what, reading.row, reading.column, value=value, expected=expected, remedy=remedy)

    def take(self, problem: Problem, row: int, column: int) -> None:
        """Note a problem found elsewhere, at this place of the file."""
        self._keep(replace(problem, file=self.file, row=row, column=column_letter(column)))

    def _keep(self, problem: Problem) -> None:
        if (problem.row, problem.column) not in self._settled:
            self.problems.append(problem)

    def stop_if_any(self) -> None:
        """Raise SurveyFileError with all problems, in the order of the file, if there are any."""
        if self.problems:
            raise SurveyFileError(sorted(self.problems, key=_place))


def _place(problem: Problem) -> tuple[int, int, str]:
    column = problem.column or ""
    return (problem.row or 0, len(column), column)


def refuse(file: str, what: str, **details: str | None) -> SurveyFileError:
    """The error for a file that cannot be opened as a survey at all."""
    return SurveyFileError(Problem(what, file, **details))  # type: ignore[arg-type]


def column_letter(column: int) -> str:
    """The spreadsheet's letter of a column counted from 0.

    >>> column_letter(0), column_letter(25), column_letter(26)
    ('A', 'Z', 'AA')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def nearest(word: str, known: Iterable[str]) -> str:
    """The known word that looks most like this one."""
    by_lower = {name.lower(): name for name in known}
    return by_lower[difflib.get_close_matches(word.lower(), list(by_lower), 1, 0.0)[0]]


def is_empty(cell: Cell) -> bool:
    return isinstance(cell, str) and not cell.strip()


def text_of(cell: Cell) -> str:
    """The cell as text; a whole number without its ``.0``."""
    if isinstance(cell, Accident):
        return cell.value
    if isinstance(cell, str):
        return cell
    return repr(cell).removesuffix(".0")


# as a rule in inches shows it: a rule in millimetres shows no fractions
BARE_FRACTION = re.compile(r"[-+\u2212]?\s*(\d+[\s-]+)?(\d+\s*[/\u2044]\s*\d+|\d*[\u00bc-\u00be\u2150-\u215e])")


class LengthReader:
    """Reads the lengths of one file, with its unit and decimal mark, into millimetres."""

    def __init__(self, report: Report, unit: str | None, decimal_comma: bool) -> None:
        self.report = report
        self.unit = unit
        self.decimal_comma = decimal_comma
        self._bare: list[tuple[int, int, str]] = []
        self._commas: list[tuple[int, int, str]] = []
        self._points: list[tuple[int, int, str]] = []
        self._metric_fractions: list[tuple[int, int, str]] = []
        self._metric = self._read = 0

    def read(
        self, cell: Cell, row: int, column: int, *, unit: str | None = None, reading: bool = False
    ) -> float | None:
        """Length [mm] in a cell, or None where it holds none, which is then in the report.

        ``unit`` is the heading's own, which goes before the file's.
        """
        if isinstance(cell, Accident):
            self.report.add(cell.what, row, column, value=cell.value, expected=cell.expected, remedy=cell.remedy)
            return None
        if reading and self._is_serial(cell):
            what = "a whole number that a spreadsheet uses for a date stands where a reading should be"
            remedy = f"{DATE_REMEDY}; if it truly is that long, write its unit behind it"
            self.report.add(what, row, column, value=text_of(cell), expected="a reading such as 3/8", remedy=remedy)
            return None
        try:
            value = float(parse_exact(cell, unit or self.unit, decimal_comma=self.decimal_comma))
        except UnitNeededError:
            self._bare.append((row, column, text_of(cell)))
            return None
        except LengthError as error:
            self.report.take(self._explained(error.problems[0], text_of(cell)), row, column)
            return None
        if isinstance(cell, str):
            self._note_marks(cell, row, column)
            if reading and (unit or self.unit) in ("mm", "cm", "m") and BARE_FRACTION.fullmatch(cell.strip()):
                self._metric_fractions.append((row, column, cell))
        return value

    def quietly(self, cell: Cell, unit: str | None = None) -> float | None:
        """Length [mm] of a cell, or None where it is none, of which nothing is reported."""
        if isinstance(cell, Accident) or is_empty(cell):
            return None
        try:
            return float(parse_exact(cell, unit or self.unit, decimal_comma=self.decimal_comma))
        except LengthError:
            return None

    @staticmethod
    def _is_serial(cell: str | float) -> bool:
        if isinstance(cell, str):
            text = cell.strip()
            return len(text) == 5 and text.isascii() and text.isdigit() and int(text) in DATE_SERIALS
        return cell.is_integer() and int(cell) in DATE_SERIALS

    @staticmethod
    def _explained(problem: Problem, text: str) -> Problem:
        plain = text.strip()
        if plain.startswith("#"):
            return replace(
                problem,
                what="a spreadsheet's error or a number too wide to show",
                remedy="mend the formula or widen the column, then save the file again",
            )
        if not plain:
            return replace(problem, remedy=FILL_IN)
        whole, _, rest = " ".join(plain.split()).partition(" ")
        lost = [one for one in _space_and_stroke_lost(whole + rest) if one.startswith(f"{whole} ")] if rest else []
        if problem.remedy is None and lost:
            return replace(problem, remedy=f"did you mean {lost[0]}? Type it again")
        if problem.remedy is None and not any(char.isnumeric() for char in plain):
            return replace(problem, remedy=LEAVE_EMPTY)
        if problem.remedy is None and plain.endswith("%"):
            return replace(problem, what="a percentage, not a length", remedy=RETYPE)
        return problem if problem.remedy else replace(problem, remedy=RETYPE)

    def _note_marks(self, text: str, row: int, column: int) -> None:
        self._read += 1
        self._metric += re.search(r"\d\s*(?:[mc]?m|\w*met)", text, re.IGNORECASE) is not None
        if self.decimal_comma:
            if "," in text:
                self._commas.append((row, column, text))
            elif re.search(r"\d\.\d", text):
                self._points.append((row, column, text))

    @property
    def likely_unit(self) -> str:
        """Unit to show results in where the file names none: as most of its lengths were written."""
        return self.unit or ("mm" if self._metric * 2 > self._read else "in")

    def finish(self) -> None:
        """Report what only the whole file shows: numbers without a unit, two kinds of decimal mark."""
        is_known = all(problem.what != "unknown unit" for problem in self.report.problems)
        for found, what, are, expected, remedy in (
            (
                self._bare,
                "a number without a unit, and the file names none",
                "numbers carry none",
                "a line such as `# unit: in` at the top (in, ft, mm, cm or m)",
                "add the line with the unit you measured in, or write a unit behind each number",
            ),
            (
                self._metric_fractions if is_known else [],
                "a fraction without a unit in a file whose readings are metric",
                "readings are such",
                "decimals, or the unit behind the fraction, such as 3/8 in",
                "write `# unit: in` if they were read in inches",
            ),
        ):
            if found:
                row, column, text = min(found)
                count = f" ({len(found)} {are}, this is the first)" if len(found) > 1 else ""
                self.report.add(f"{what}{count}", row, column, value=text, expected=expected, remedy=remedy)
        if self._commas and self._points:
            row, column, text = min(self._points)
            other = min(self._commas)
            self.report.add(
                "a decimal point in a file that also uses decimal commas "
                f"('{other[2]}' in {column_letter(other[1])}{other[0]})",
                row,
                column,
                value=text,
                expected="one kind of decimal mark in one file",
                remedy="write all decimals with a comma, or all with a point, and no mark between thousands",
            )


def date_accident(value: str) -> Accident:
    """The accident of a date where a length should be."""
    return Accident(value, "a date stands where a length should be", "a length such as 3/8, 0.375 or 9 mm", DATE_REMEDY)


_PLAIN = re.compile(r"[+-]?\d*[.,]?\d+|[+-]?\d+[.,]")
_SIGNS = str.maketrans({"\u2212": "-", "\u2013": "-"})


def is_bare(typed: str, decimal_comma: bool = False) -> bool:
    """Whether a typed length carries no unit of its own; zero needs none and says none."""
    try:
        parse_exact(typed, None, decimal_comma=decimal_comma)
    except UnitNeededError:
        return True
    except LengthError:
        return False
    return False


def meant(typed: str, unit: str, decimal_comma: bool = False) -> Iterator[tuple[str, float]]:
    """What may have been meant by a typed length: each as a text to type instead, and as a length [mm].

    Parameters
    ----------
    typed : as it stands in the file
    unit : of a number that carries none
    decimal_comma : as for :func:`~flatness.lengths.parse_exact`

    Examples
    --------
    >>> [text for text, mm in meant("-41 5/8", "in") if mm > 0]
    ['41 5/8']
    >>> [text for text, mm in meant("4.15", "in") if 1000 < mm < 1100]
    ['41.5']
    """
    seen = {typed}
    for text in _candidates(" ".join(typed.translate(_SIGNS).split()), unit, decimal_comma):
        if text in seen:
            continue
        seen.add(text)
        try:
            mm = float(parse_exact(text, unit, decimal_comma=decimal_comma))
        except LengthError:
            continue
        yield text, mm


def _candidates(typed: str, unit: str, decimal_comma: bool) -> Iterator[str]:
    yield typed[1:].lstrip() if typed.startswith("-") else f"-{typed}"
    yield from _point_moved(typed)
    for at in range(len(typed) - 1):
        if typed[at : at + 2].isdigit():
            yield typed[:at] + typed[at + 1] + typed[at] + typed[at + 2 :]
    yield from _space_and_stroke_lost(typed)
    if is_bare(typed, decimal_comma):
        yield from (f"{typed} {other}" for other in MM_PER if other != unit)


def _space_and_stroke_lost(typed: str) -> Iterator[str]:
    """4158 for 41 5/8."""
    sign, digits = (typed[0], typed[1:]) if typed[:1] in ("+", "-") else ("", typed)
    if not digits.isdecimal():
        return
    for below in (1, 2):
        for above in (1, 2):
            whole, top, bottom = digits[: -below - above], digits[-below - above : -below], digits[-below:]
            if whole and int(bottom) in RULED and 0 < int(top) < int(bottom) and top[0] != "0":
                yield f"{sign}{whole} {top}/{bottom}"


def _point_moved(typed: str) -> Iterator[str]:
    """A plain number with its point one or two places to the left or right."""
    if not _PLAIN.fullmatch(typed):
        return
    mark = "," if "," in typed else "."
    sign = typed[0] if typed[0] in "+-" else ""
    whole, _, part = typed.lstrip("+-").partition(mark)
    for by in (1, -1, 2, -2):
        digits = f"00{whole}{part}00"
        at = len(whole) + 2 + by
        left, right = digits[:at].lstrip("0") or "0", digits[at:].rstrip("0")
        yield f"{sign}{left}{mark}{right}" if right else f"{sign}{left}"
