"""Positions of stations, checked as readings are: their order, their steps, their unit, and rows that moved."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from shapely import Polygon

from flatness.errors import Problem
from flatness.lengths import MM_PER, format_length
from flatness.survey.cells import (
    Cell,
    LengthReader,
    Reading,
    Record,
    Report,
    column_letter,
    is_bare,
    is_empty,
    meant,
    text_of,
)
from flatness.survey.readings import SAME_PLACE_MM

FT_MM = 304.8
LEAST_ROOM, MOST_ROOM = 4 * FT_MM, 200 * FT_MM  # [mm] a surface is seldom smaller or larger; common practice
LEAST_STEP, MOST_STEP = FT_MM / 2, 16 * FT_MM  # [mm] stations of a room are seldom closer or wider; common practice
FAR = 5.0  # usual steps from the next position, beyond which a position is questioned; the kit's own
NEAR = 0.25  # of the usual step within which a position fits it; the kit's own
EVEN = 0.02  # of the step by which even positions differ; the kit's own
FEWEST = 4  # positions from which a usual step is known
APART = 2.0  # times their spread that readings lie from zero, so that they are hardly positions; the kit's own
COPIED = 0.01  # chance below which two equal rows are no accident; the kit's own
LEAST_COPIED = 4  # readings in a row that may be a copy
MOST_LINES = 60  # of a list that are compared with one another
METRIC = ("mm", "cm", "m")
NAMES = {"in": "inches", "ft": "feet", "mm": "millimeters", "cm": "centimeters", "m": "meters"}


@dataclass(frozen=True)
class Position:
    """One position of a row or a column: the cell it stands in, as typed, and its length [mm]."""

    row: int
    column: int
    typed: str
    mm: float

    @property
    def cell(self) -> str:
        return f"{column_letter(self.column)}{self.row}"


def check_positions(name: str, places: Sequence[Position], unit: str, lengths: LengthReader) -> list[Problem]:
    """Report positions of a grid that are out of order or, by their digits, mistyped; give back questions.

    Parameters
    ----------
    name : ``x`` or ``y``
    places : in the order of the file
    unit : of a position that carries none
    lengths : takes what is wrong
    """
    values = sorted(place.mm for place in places)
    if len(places) < 3 or any(b - a <= SAME_PLACE_MM for a, b in pairwise(values)):
        return []  # two that are the same are reported as such
    if _report_order(name, places, unit, lengths):
        return []
    steps = [abs(b.mm - a.mm) for a, b in pairwise(places)]
    if len(places) < FEWEST:
        return []
    usual = median(steps)
    doubts = []
    for end, other in ((places[-1], places[-2]), (places[0], places[1])):
        if abs(end.mm - other.mm) <= FAR * usual:
            continue
        expected = other.mm + math.copysign(usual, end.mm - other.mm)
        slip = _slip(end, expected, NEAR * usual, unit, lengths)
        what = f"the {name} position is {_both(abs(end.mm - other.mm))} from the next, {_both(usual)} is usual"
        if slip:
            lengths.report.add(
                what,
                end.row,
                end.column,
                value=end.typed,
                expected=f"about {_both(expected)}",
                remedy=f"did you mean {slip}? Type it again; if it is right, read stations between, or delete the "
                f"{'column' if name == 'x' else 'row'}",
            )
        else:
            doubts.append(_question(what, end, f"about {_both(expected)}", lengths.report))
    return doubts + _uneven(name, places, steps, usual, lengths.report)


def _report_order(name: str, places: Sequence[Position], unit: str, lengths: LengthReader) -> bool:
    """Whether positions neither rise nor fall throughout; the fewest that are out of order are reported."""
    values = [place.mm for place in places]
    kept = max((_longest_run(values), _longest_run([-v for v in values])), key=len)
    wrong = [k for k in range(len(values)) if k not in kept]
    if len(wrong) == 1:
        # two neighbours changed about: either may be the one, and the even steps tell which
        wrong = [min(range(len(values)), key=lambda k: _unevenness(values[:k] + values[k + 1 :]))]
    for k in wrong:
        low = next((values[j] for j in range(k - 1, -1, -1) if j not in wrong), None)
        high = next((values[j] for j in range(k + 1, len(values)) if j not in wrong), None)
        if low is not None and high is not None:
            expected, reach = (low + high) / 2, abs(high - low) / 2
            words = f"between {_both(low)} and {_both(high)}"
        else:
            words, expected, reach = "positions that rise, or fall, from cell to cell", math.nan, 0.0
        slip = _slip(places[k], expected, reach * 0.99, unit, lengths) if reach else None
        lengths.report.add(
            f"the {name} position is out of order",
            places[k].row,
            places[k].column,
            value=places[k].typed,
            expected=words,
            remedy=(f"did you mean {slip}? " if slip else "")
            + f"correct it, or move the {'column' if name == 'x' else 'row'} to where it belongs",
        )
    return bool(wrong)


def _longest_run(values: Sequence[float]) -> set[int]:
    """The most positions that rise from one to the next, by their numbers."""
    length, previous = [1] * len(values), [-1] * len(values)
    for k in range(len(values)):
        for j in range(k):
            if values[j] < values[k] and length[j] + 1 > length[k]:
                length[k], previous[k] = length[j] + 1, j
    k = max(range(len(values)), key=lambda k: length[k])
    run = set()
    while k >= 0:
        run.add(k)
        k = previous[k]
    return run


def _unevenness(values: Sequence[float]) -> float:
    """How far the steps are from their median, summed; infinite where the values neither rise nor fall."""
    steps = [b - a for a, b in pairwise(values)]
    if not (all(step > 0 for step in steps) or all(step < 0 for step in steps)):
        return math.inf
    middle = median(steps)
    return sum(abs(step - middle) for step in steps)


def _uneven(
    name: str, places: Sequence[Position], steps: Sequence[float], usual: float, report: Report
) -> list[Problem]:
    """Questions on a position that stands off a grid that is even but for it."""
    doubts = []
    for k in range(1, len(places) - 1):
        others = [*steps[: k - 1], *steps[k + 1 :]]
        even = len(others) >= FEWEST - 1 and all(abs(step - usual) <= EVEN * usual for step in others)
        between = abs(places[k + 1].mm - places[k - 1].mm)
        if even and abs(between - 2 * usual) <= EVEN * usual and abs(steps[k] - usual) > NEAR * usual:
            middle = (places[k - 1].mm + places[k + 1].mm) / 2
            what = f"the {name} position stands off the even steps of {_both(usual)}; it is used as it is"
            doubts.append(_question(what, places[k], f"about {_both(middle)}", report))
    return doubts


def _slip(place: Position, expected: float, reach: float, unit: str, lengths: LengthReader) -> str | None:
    """What may have been meant by a position, where it lies within ``reach`` of what is expected [mm]."""
    near = [
        (abs(mm - expected), text)
        for text, mm in meant(place.typed, unit, lengths.decimal_comma)
        if abs(mm - expected) <= reach and not text.startswith("0")
    ]
    return min(near)[1] if near else None


def _question(what: str, place: Position, expected: str, report: Report) -> Problem:
    return Problem(
        what,
        report.file,
        place.row,
        column_letter(place.column),
        expected=expected,
        remedy=f"check the position {place.typed} with the tape",
    )


def report_moved_lines(
    name: str,
    lines: Sequence[tuple[tuple[int, int], Sequence[Cell]]],
    positions: Sequence[float | None],
    width: int,
    lengths: LengthReader,
) -> list[int]:
    """Report rows or columns of a grid that moved one cell, so that a reading stands where the position should.

    Parameters
    ----------
    name : ``y``: the lines are rows, moved to the left; ``x``: columns, moved up
    lines : row and column of the position, and the cells of each line, the position first
    positions : as read [mm]
    width : cells that a full line has
    lengths : reads the cells and takes what is wrong

    Returns
    -------
    list of int : which of the lines
    """
    line, way, back = ("row", "to the left", "to the right") if name == "y" else ("column", "up", "down")
    moved = []
    full = [not is_empty(_at(cells, width - 1)) for _, cells in lines]
    if width < 3 or 2 * sum(full) < len(lines) or len(lines) < FEWEST:
        return []
    values = [[lengths.quietly(cell) for cell in cells[1:width]] for _, cells in lines]
    for i, (where, cells) in enumerate(lines):
        if full[i] or is_empty(_at(cells, width - 2)):
            continue
        others = [v for j, other in enumerate(values) if j != i for v in other if v is not None]
        as_reading = lengths.quietly(cells[0])
        if as_reading is None or not others or _fits(i, positions):
            continue
        low, high = min(others), max(others)
        slack = max(high - low, FT_MM / 12)
        # readings near zero may well be positions too: then only one that is out of order tells
        clear = min(abs(low), abs(high)) > APART * slack or _out_of_order(i, positions)
        if clear and low - slack <= as_reading <= high + slack:
            lengths.report.add(
                f"this {line} looks moved one cell {way}: a reading stands where its {name} position "
                "should, and its last cell is empty",
                *where,
                value=text_of(cells[0]),
                expected=f"the {name} position of the {line}, then its readings",
                remedy=f"move the {line} one cell {back} and type its position first",
            )
            moved.append(i)
    return moved


def _out_of_order(i: int, y: Sequence[float | None]) -> bool:
    before = [v for v in y[:i] if v is not None][-1:]
    after = [v for v in y[i + 1 :] if v is not None][:1]
    here = y[i]
    return (
        here is not None and bool(before and after) and not min(before[0], after[0]) < here < max(before[0], after[0])
    )


def _fits(i: int, y: Sequence[float | None]) -> bool:
    """Whether a line's position goes on evenly from those of the lines about it."""
    known = [(j, value) for j, value in enumerate(y) if value is not None and j != i]
    here = y[i]
    if here is None or len(known) < 3:
        return here is not None
    steps = [(b - a) / (k - j) for (j, a), (k, b) in pairwise(known)]
    usual = median(steps)
    if not usual:
        return True
    j, near = min(known, key=lambda one: abs(one[0] - i))
    return abs(here - (near + (i - j) * usual)) <= EVEN * abs(usual)


def _at(cells: Sequence[Cell], column: int) -> Cell:
    return cells[column] if column < len(cells) else ""


def report_far_stations(
    readings: Sequence[Reading], rows: Sequence[Record], columns: Mapping[str, tuple[int, str]], lengths: LengthReader
) -> None:
    """Report stations of a list that stand far from all others, where their digits say which position was meant.

    Parameters
    ----------
    readings : of the list
    rows : its rows
    columns : of x and of y, and the unit of a position there that carries none
    lengths : takes what is wrong
    """
    by_row = {record.row: record for record in rows}
    surface = [one for one in readings if one.kind == "surface"]
    for name, column, unit, count, usual in _along_each(surface, columns):
        shared = [value for value, times in count.items() if times > 1]
        for one in surface:
            here = round(getattr(one, name), 1)
            if count[here] > 1 or min(abs(here - v) for v in count if v != here) <= FAR * usual:
                continue
            typed = text_of(by_row[one.row].cell(column))
            place = Position(one.row, column, typed, here)
            slip = next((t for v in shared if (t := _slip(place, v, SAME_PLACE_MM, unit, lengths))), None)
            if slip:
                what = f"the station's {name} is far from all others"
                expected = f"{name} as other stations have it, or within {_both(FAR * usual)} of them"
                remedy = f"did you mean {slip}? Type it again; if it is right, read stations between"
                lengths.report.add(what, one.row, column, value=typed, expected=expected, remedy=remedy)


def check_list(
    readings: Sequence[Reading],
    rows: Sequence[Record],
    columns: Mapping[str, tuple[int, str]],
    value_at: int | None,
    lengths: LengthReader,
) -> list[Problem]:
    """Report rows of a list that moved one cell left, and lines and stations far off; give back questions.

    Parameters
    ----------
    readings : of the list
    rows : its rows
    columns : of x and of y, and the unit of a position there that carries none
    value_at : the column of the readings
    lengths : takes what is wrong
    """
    if len(columns) < 2 or value_at is None:
        return []
    surface = [one for one in readings if one.kind == "surface"]
    _report_moved_rows(surface, rows, columns["y"], value_at, lengths)
    report_far_stations(readings, rows, columns, lengths)
    doubts = [*_far_lines(surface, rows, columns, lengths), *_repeated_row(surface, lengths.report)]
    by_place = {(round(one.x, 1), round(one.y, 1)): one for one in surface}
    axes = [sorted({place[k] for place in by_place}) for k in (0, 1)]
    most = max(map(len, axes))
    if len(by_place) < len(surface) or most > MOST_LINES or 2 * len(by_place) < len(axes[0]) * len(axes[1]):
        return doubts
    for k, axis in enumerate(axes):
        lines = []
        for value in axis:
            here = [by_place.get((other, value) if k else (value, other)) for other in axes[1 - k]]
            first = next(one for one in here if one is not None)
            lines.append(
                (Position(first.row, first.column, first.typed, value), [one.typed if one else "" for one in here])
            )
        doubts += copied(lines, "line", lengths.report)
    return doubts


def _report_moved_rows(
    surface: Sequence[Reading], rows: Sequence[Record], y: tuple[int, str], value_at: int, lengths: LengthReader
) -> None:
    """Report rows without a reading in whose y a reading stands, at a y that no other station has."""
    column, unit = y
    if len(surface) < FEWEST or column >= value_at:
        return
    low, high = min(one.value for one in surface), max(one.value for one in surface)
    slack = max(high - low, FT_MM / 12)
    if min(abs(low), abs(high)) <= APART * slack:
        return  # readings near zero may well be positions, of stations that are still to be read
    for record in rows:
        if not is_empty(record.cell(value_at)):
            continue
        as_reading, as_place = lengths.quietly(record.cell(column)), lengths.quietly(record.cell(column), unit)
        if as_reading is None or as_place is None or not low - slack <= as_reading <= high + slack:
            continue
        if min(abs(one.y - as_place) for one in surface) > SAME_PLACE_MM:
            lengths.report.add(
                "this row looks moved one cell to the left: a reading stands where its y should, and it has no reading",
                record.row,
                column,
                value=text_of(record.cell(column)),
                expected="x and y of the station, then its reading",
                remedy="move the row one cell to the right and type what is missing; or delete the row",
            )


def _along_each(
    surface: Sequence[Reading], columns: Mapping[str, tuple[int, str]]
) -> Iterator[tuple[str, int, str, Counter[float], float]]:
    """Of x and of y, where there are lines enough: column, unit, stations at each position, and the usual step [mm]."""
    for name, (column, unit) in columns.items():
        count = Counter(round(getattr(one, name), 1) for one in surface)
        steps = [b - a for a, b in pairwise(sorted(count))]
        if len(steps) >= FEWEST:
            yield name, column, unit, count, median(steps)


def _far_lines(
    surface: Sequence[Reading], rows: Sequence[Record], columns: Mapping[str, tuple[int, str]], lengths: LengthReader
) -> list[Problem]:
    """Report lines of stations far from all others, where their digits say which position was meant; else questions."""
    by_row, doubts = {record.row: record for record in rows}, []
    for name, column, unit, count, usual in _along_each(surface, columns):
        for value in (min(count), max(count)):
            others = [v for v in count if v != value]
            away = min(abs(value - v) for v in others)
            if count[value] < 2 or away <= FAR * usual:
                continue
            first = next(one for one in surface if round(getattr(one, name), 1) == value)
            place = Position(first.row, column, text_of(by_row[first.row].cell(column)), value)
            what = f"this line's {name} is {_both(away)} from the next, {_both(usual)} is usual"
            holes = [
                (text, mm)
                for text, mm in meant(place.typed, unit, lengths.decimal_comma)
                if min(others) - usual * (1 + NEAR) <= mm <= max(others) + usual * (1 + NEAR)
                and min(abs(mm - v) for v in others) >= usual * (1 - NEAR)
            ]
            if not holes:
                doubts.append(_question(what, place, f"within {_both(FAR * usual)} of the others", lengths.report))
                continue
            expected = f"about {_both(holes[0][1])}, where no line was read"
            remedy = (
                f"did you mean {holes[0][0]}? Correct it in every row of the line; if it is right, read lines between"
            )
            lengths.report.add(what, place.row, column, value=place.typed, expected=expected, remedy=remedy)
    return doubts


def _repeated_row(surface: Sequence[Reading], report: Report) -> list[Problem]:
    """A question on the one row that repeats the one above it, where the grid lacks one station."""
    places = [(round(one.x, 1), round(one.y, 1)) for one in surface]
    twice = [
        k for k in range(1, len(places)) if places[k] == places[k - 1] and surface[k].typed == surface[k - 1].typed
    ]
    known = set(places)
    xs, ys = ({place[k] for place in known} for k in (0, 1))
    if len(twice) != 1 or len(known) != len(places) - 1 or len(xs) * len(ys) != len(known) + 1:
        return []
    ((x, y),) = {(x, y) for x in xs for y in ys} - known
    one = surface[twice[0]]
    return [
        Problem(
            f"row {one.row} repeats the place and the reading of row {surface[twice[0] - 1].row}, and of the whole "
            f"grid only x {_both(x)}, y {_both(y)} was not read",
            report.file,
            one.row,
            column_letter(one.column),
            expected="each row another station",
            remedy="check whether the row was copied, and type its own place and reading",
        )
    ]


def copied(lines: Sequence[tuple[Position, Sequence[Cell]]], word: str, report: Report) -> list[Problem]:
    """Questions on a row, or column, whose readings are those of another, where no other two are.

    Parameters
    ----------
    lines : position of each row or column and its readings as typed
    word : ``row`` or ``column``
    """
    texts = [[text_of(cell).strip() for cell in cells] for _, cells in lines]
    same, shares = [], []
    for j in range(len(texts)):
        for i in range(j):
            both = [(a, b) for a, b in zip(texts[i], texts[j], strict=True) if a or b]
            equal = sum(a == b for a, b in both)
            if len(both) >= LEAST_COPIED and equal == len(both):
                same.append((i, j, len(both)))
            elif both:
                shares.append((equal, len(both)))
    if len(same) != 1 or not shares:
        return []
    i, j, count = same[0]
    # by chance each reading of a row equals another's as often as in the rows that are no copies
    chance = (sum(e for e, _ in shares) + 1) / (sum(n for _, n in shares) + 2)
    pairs = len(lines) * (len(lines) - 1) / 2
    if pairs * chance**count > COPIED:
        return []
    place, other = lines[j][0], lines[i][0]
    return [
        Problem(
            f"the {count} readings of this {word} are those of the {word} at {other.cell}; they are used as they are",
            report.file,
            place.row,
            column_letter(place.column),
            expected=f"readings of the {word}'s own",
            remedy=f"check whether one {word} was copied from the other, and read it again",
        )
    ]


def report_unit(
    x: Sequence[float],
    y: Sequence[float],
    unit: str | None,
    outline: Polygon | None,
    first: tuple[int, int],
    say: str,
    report: Report,
) -> None:
    """Report a surface too small or too large for a room, where another unit of its positions would make it one.

    Parameters
    ----------
    x, y : of the stations [mm]
    unit : that the positions were read in without saying so
    outline : of the surface: one as large as a room confirms the unit, or is compared with the stations elsewhere
    first : row and column of the cell that would say it
    say : how to say it, with the unit that would fit in place of {0}, the one that was read of {1}
    report : takes what is wrong
    """
    axes = [sorted(set(values)) for values in (x, y)]
    if unit is None or min(map(len, axes)) < 3 or any(one.what == "unknown unit" for one in report.problems):
        return
    extents = [axis[-1] - axis[0] for axis in axes]
    step = median(b - a for axis in axes for a, b in pairwise(axis))
    small, large = (max(extents) < LEAST_ROOM and step < LEAST_STEP), (max(extents) > MOST_ROOM and step > MOST_STEP)
    if outline is not None:
        west, south, east, north = outline.bounds
        if LEAST_ROOM <= max(east - west, north - south) <= MOST_ROOM:
            return
    fitting = []
    for other in MM_PER:
        times = float(MM_PER[other] / MM_PER[unit]) * (1 + 1e-9)  # 4 ft is not under 4 ft
        if all(LEAST_ROOM <= extent * times <= MOST_ROOM for extent in extents) and step * times >= LEAST_STEP:
            fitting.append(other)
    fitting.sort(key=lambda other: (other in METRIC) != (unit in METRIC))  # a foot before a meter where inches are read
    if (small or large) and fitting:
        size = f"{_both(extents[0])} by {_both(extents[1])}, {'under 4 ft' if small else 'over 200 ft'}"
        report.add(
            f"the positions are read as {NAMES[unit]}, which makes a surface of {size}; their unit is not said",
            *first,
            expected=f"the unit of the positions, such as {' or '.join(fitting)}",
            remedy=say.format(fitting[0], unit),
        )


def without_unit(typed: Sequence[str], decimal_comma: bool) -> bool:
    """Whether most of the positions carry no unit of their own."""
    said = [is_bare(text, decimal_comma) for text in typed if text.strip() not in ("0", "0.0", "")]
    return 2 * sum(said) > len(said)


def _both(mm: float) -> str:
    return f"{format_length(mm, 'ft')} ({format_length(mm, 'mm')})"
