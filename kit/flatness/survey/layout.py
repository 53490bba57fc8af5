"""The rows below the ``#`` lines: a list, one reading a row, or a grid of positions and readings.

A grid: x positions along the first row, y positions down the first column, readings in the cells.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from flatness.errors import Problem
from flatness.lengths import unit_named
from flatness.survey.cells import (
    Accident,
    Cell,
    LengthReader,
    Reading,
    Readings,
    Record,
    Report,
    Table,
    column_letter,
    is_empty,
    nearest,
    text_of,
)
from flatness.survey.header import Header, is_length, needed_quantity
from flatness.survey.positions import (
    Position,
    check_list,
    check_positions,
    copied,
    report_moved_lines,
    report_unit,
    without_unit,
)
from flatness.survey.readings import KINDS, SAME_PLACE_MM, STRUCK

CORNERS = ("y\\x", "y/x")


def corner_unit(cell: Cell) -> str | None:
    """The unit that the corner of a grid names; empty where it names none; None where it is no corner."""
    text = text_of(cell).strip().lower()
    if "".join(text.split()) in ("", *CORNERS):
        return ""
    return unit_named(text)


def read_grid(table: Table, header: Header, lengths: LengthReader) -> Readings:
    """The readings of a grid; an empty cell was not taken."""
    first, *rows = table.body
    report = lengths.report
    quantity = needed_quantity(header, report, first.row)
    unit = corner_unit(first.cell(0))
    if unit is None:
        what, expected = (
            "the corner of the grid holds something else",
            "nothing, y\\x, or the unit of the positions such as ft",
        )
        remedy = "empty the corner cell; x positions run along the first row, y positions down the first column"
        report.cell(first, 0, what, expected, remedy)
    width = max(len(record.cells) for record in table.body)
    while width > 1 and all(is_empty(record.cell(width - 1)) for record in table.body):
        width -= 1
    wide = [r for r in rows if any(not is_empty(r.cell(c)) for c in range(_filled(first), width))]
    if 0 < 2 * len(wide) < len(rows):
        # a row or two longer than the positions is a slip in that row, not a column without its position
        for record in wide:
            report.cell(
                record,
                _filled(first),
                "more readings in this row than there are x positions",
                f"at most {_filled(first) - 1} readings",
                "look for a comma inside a number of this row: write a point for decimals; or fill in the missing x "
                "position",
            )
        width = _filled(first)
    short = [r for r in rows if len(r.cells) < width]
    if 0 < 2 * len(short) < len(rows):
        # of a reading that was left out within the row all that follow stand one place too far left
        for record in short:
            report.cell(
                record,
                len(record.cells) - 1,
                f"this row has {len(record.cells)} cells, and the first row has {width}",
                "a cell for every x position",
                "look for a reading that was left out; leave a cell empty (a comma) for each place that was not read",
            )
    along = [(first.row, c, first.cell(c)) for c in range(1, width)]
    down = [(record.row, 0, record.cell(0)) for record in rows]
    quiet = [lengths.quietly(cell, unit or None) for _, _, cell in down]
    cells = [((record.row, 0), [record.cell(c) for c in range(width)]) for record in rows]
    moved_rows = report_moved_lines("y", cells, quiet, width, lengths)
    quiet = [lengths.quietly(cell, unit or None) for _, _, cell in along]
    columns = [((row, c), [cell, *(record.cell(c) for record in rows)]) for row, c, cell in along]
    # a row that moved leaves its last cell empty: that is no column that moved
    moved_columns = [] if moved_rows else report_moved_lines("x", columns, quiet, len(rows) + 1, lengths)
    for row, column in [*(cells[i][0] for i in moved_rows), *(columns[i][0] for i in moved_columns)]:
        report.settle(row, column)
    x = _positions("x", along, [[row.cell(c) for row in rows] for _, c, _ in along], unit or None, lengths)
    y = _positions("y", down, [list(row.cells[1:]) for row in rows], unit or None, lengths)
    sound_x, sound_y = (
        [None if i in moved else v for i, v in enumerate(values)]
        for moved, values in ((moved_columns, x), (moved_rows, y))
    )
    doubts = _doubts(along, down, sound_x, sound_y, rows, unit, lengths)
    if unit == "" and not moved_rows and not moved_columns:
        _grid_unit(along + down, x, y, first.row, header, lengths)
    readings, not_taken = [], []
    for record, y_here in zip(rows, y, strict=True):
        for (_, column, _), x_here in zip(along, x, strict=True):
            cell = record.cell(column)
            if is_empty(cell):
                if x_here is not None and y_here is not None:
                    not_taken.append(f"{column_letter(column)}{record.row}")
                continue
            value = lengths.read(cell, record.row, column, reading=True)
            if value is not None and x_here is not None and y_here is not None:
                typed, bare = text_of(cell), lengths.unit or lengths.likely_unit
                readings.append(
                    Reading(x=x_here, y=y_here, value=value, row=record.row, column=column, typed=typed, unit=bare)
                )
    return Readings(tuple(readings), quantity, tuple(not_taken), lengths.decimal_comma, tuple(doubts))


def _doubts(
    along: list[tuple[int, int, Cell]],
    down: list[tuple[int, int, Cell]],
    x: list[float | None],
    y: list[float | None],
    rows: list[Record],
    unit: str | None,
    lengths: LengthReader,
) -> list[Problem]:
    """Questions on the positions, and on rows and columns that may be copies; errors go to the report."""
    found: list[Problem] = []
    sides = []
    for name, cells, values in (("x", along, x), ("y", down, y)):
        places = [
            Position(row, column, text_of(cell), mm)
            for (row, column, cell), mm in zip(cells, values, strict=True)
            if mm is not None
        ]
        sides.append(places)
        found += check_positions(name, places, unit or lengths.unit or lengths.likely_unit, lengths)
    by_row = {record.row: record for record in rows}
    columns = [place.column for place in sides[0]]
    lines = [(place, [by_row[place.row].cell(c) for c in columns]) for place in sides[1]]
    found += copied(lines, "row", lengths.report)
    return found + copied(
        [(place, [by_row[p.row].cell(place.column) for p in sides[1]]) for place in sides[0]], "column", lengths.report
    )


def _grid_unit(
    cells: list[tuple[int, int, Cell]],
    x: list[float | None],
    y: list[float | None],
    row: int,
    header: Header,
    lengths: LengthReader,
) -> None:
    known = [[v for v in values if v is not None] for values in (x, y)]
    typed = [text_of(cell) for _, _, cell in cells]
    if all(known) and without_unit(typed, lengths.decimal_comma):
        say = "write the unit of the positions in the corner cell: {0}; or {1}, if that is right"
        report_unit(known[0], known[1], lengths.unit, header.outline, (row, 0), say, lengths.report)


def _filled(record: Record) -> int:
    """How many cells a row has, up to the last that is not empty."""
    return max((c + 1 for c in range(len(record.cells)) if not is_empty(record.cell(c))), default=1)


def _positions(
    name: str, places: list[tuple[int, int, Cell]], beside: list[list[Cell]], unit: str | None, lengths: LengthReader
) -> list[float | None]:
    """Positions [mm] of the grid's rows or columns; None where empty or wrong."""
    found: list[float | None] = []
    seen: list[tuple[float, str]] = []
    for (row, column, cell), readings in zip(places, beside, strict=True):
        if is_empty(cell):
            if not all(is_empty(reading) for reading in readings):
                expected = f"the {name} position of this {'column' if name == 'x' else 'row'}"
                what, remedy = f"readings without their {name} position", "fill it in, or delete the readings"
                lengths.report.add(what, row, column, value="", expected=expected, remedy=remedy)
            found.append(None)
            continue
        value = lengths.read(cell, row, column, unit=unit)
        found.append(value)
        if value is not None:
            twin = next((where for other, where in seen if abs(other - value) <= SAME_PLACE_MM), None)
            if twin is not None:
                what, expected = f"the {name} position is the same as in {twin}", "each position once"
                remedy = "correct one of the two"
                lengths.report.add(what, row, column, value=text_of(cell), expected=expected, remedy=remedy)
            seen.append((value, f"{column_letter(column)}{row}"))
    return found


HEADINGS = ("x", "y", "reading", "height", "drop", "setup", "line", "label", "kind")
WITH_LENGTHS = ("x", "y", "reading", "height", "drop")
TEXTS = ("setup", "line", "label", "kind")
_HEADING = re.compile(r"([^\s\[(_]+)\s*(?:\[(.*)\]|\((.*)\)|[_\s](.*))?", re.DOTALL)


@dataclass(frozen=True)
class Heading:
    """A column of a list: its meaning and its own unit, if it has one."""

    name: str
    column: int
    unit: str | None = None


def read_layout(table: Table, header: Header, lengths: LengthReader) -> Readings:
    """The readings of a table, list or grid, before any sign or constant is applied."""
    if _is_list(table, lengths):
        return _read_list(table, header, lengths)
    return read_grid(table, header, lengths)


def _is_list(table: Table, lengths: LengthReader) -> bool:
    """A row of headings starts a list; a row of positions behind its first cell starts a grid."""
    first, *others = table.body[0].cells
    if any(split_heading(text_of(cell))[0] in WITH_LENGTHS for cell in others):
        return True
    if is_empty(first) or corner_unit(first) is not None:
        return False
    filled = [cell for cell in others if not is_empty(cell)]
    return not any(isinstance(cell, (float, Accident)) or is_length(cell, lengths) for cell in filled)


def split_heading(text: str) -> tuple[str, str]:
    """Name and unit of a heading such as ``x``, ``X [ft]``, ``x (ft)`` or ``x_ft``."""
    match = _HEADING.fullmatch(text.strip())
    if match is None:
        return text.strip().lower(), ""
    return match[1].lower(), next((unit.strip() for unit in match.groups()[1:] if unit), "")


def _read_list(table: Table, header: Header, lengths: LengthReader) -> Readings:
    first, *rows = table.body
    report = lengths.report
    headings = read_headings(first, rows, report)
    quantity = _list_quantity(headings, first.row, header, report)
    if not rows:
        report.add("there are no readings under the headings", first.row + 1, 0, expected="one reading a row")
    width = len(first.cells)
    readings, not_taken = [], []
    value_at = next((headings[name].column for name in WITH_LENGTHS[2:] if name in headings), None)
    for record in rows:
        _report_stray(record, width, report)
        reading = _list_reading(record, headings, value_at, lengths)
        if reading is not None:
            readings.append(reading)
        elif value_at is not None and is_empty(record.cell(value_at)):
            not_taken.append(f"{column_letter(value_at)}{record.row}")
    readings, struck = strike(readings, report)
    _check_unit(first.row, headings, rows, readings, header, lengths)
    bare = lengths.unit or lengths.likely_unit
    columns = {one.name: (one.column, one.unit or bare) for one in headings.values() if one.name in ("x", "y")}
    doubts = check_list(readings, rows, columns, value_at, lengths)
    return Readings(tuple(readings), quantity, tuple(not_taken), lengths.decimal_comma, (*struck, *doubts))


def strike(readings: list[Reading], report: Report) -> tuple[list[Reading], tuple[Problem, ...]]:
    """The readings that stand, and a note on those that are struck out.

    As in a field book, nothing is erased: a row of the kind ``struck`` takes back the last row above it with its
    place, reading, label and set-up.
    """
    standing: list[Reading] = []
    taken_back: list[str] = []
    for one in readings:
        if one.kind != STRUCK:
            standing.append(one)
            continue
        same = [k for k, other in enumerate(standing) if _is_same(one, other)]
        if same:
            taken_back.append(standing.pop(same[-1]).cell)
        else:
            expected = "the x, y, reading, label and set-up of a row above that is not struck yet"
            what, remedy = "a struck reading that stands in no row above", "correct the row, or delete it"
            report.add(what, one.row, one.column, value=one.typed, expected=expected, remedy=remedy)
    if not taken_back:
        return standing, ()
    shown = ", ".join(taken_back[:6]) + (", ..." if len(taken_back) > 6 else "")
    count = len(taken_back)
    said = f"{count} reading{'' if count == 1 else 's'} struck out in the file ({shown})"
    return standing, (Problem(f"{said}: {'it does' if count == 1 else 'they do'} not count", report.file),)


def _is_same(one: Reading, other: Reading) -> bool:
    apart = [abs(a - b) for a, b in ((one.x, other.x), (one.y, other.y)) if not (math.isnan(a) and math.isnan(b))]
    near = all(away <= SAME_PLACE_MM for away in apart)  # NaN, where only one has a place, is not
    return near and (one.value, one.label, one.setup) == (other.value, other.label, other.setup)


def _check_unit(
    row: int,
    headings: dict[str, Heading],
    rows: list[Record],
    readings: list[Reading],
    header: Header,
    lengths: LengthReader,
) -> None:
    """Ask for the unit of positions that make no room as they are read."""
    if any(name not in headings or headings[name].unit is not None for name in "xy"):
        return
    typed = [text_of(record.cell(headings[name].column)) for record in rows for name in "xy"]
    places = [(one.x, one.y) for one in readings if one.kind == "surface"]
    if len(places) > 2 and without_unit(typed, lengths.decimal_comma):
        x, y = zip(*places, strict=True)
        say = "write it in the headings: x [{0}] and y [{0}]; or x [{1}] and y [{1}], if that is right"
        first = (row, headings["x"].column)
        report_unit(x, y, lengths.unit, header.outline, first, say, lengths.report)


def read_headings(
    first: Record,
    rows: list[Record],
    report: Report,
    known: Sequence[str] = HEADINGS,
    lengths: Sequence[str] = WITH_LENGTHS,
    in_degrees: Sequence[str] = (),
) -> dict[str, Heading]:
    """The columns of a list by their names; those of ``lengths`` may name a unit, what is wrong is in the report."""
    headings: dict[str, Heading] = {}
    expected = f"headings among {', '.join(known)}"
    for column, cell in enumerate(first.cells):
        text = text_of(cell)
        name, written = split_heading(text)
        unit = unit_named(written) if written and name in lengths else None
        if is_empty(cell):
            filled = next((row for row in rows if not is_empty(row.cell(column))), None)
            if filled is not None:
                remedy = f"write a heading in {column_letter(column)}{first.row}, or delete the column"
                report.cell(filled, column, "a column without a heading holds something", expected, remedy)
        elif name not in known or (written and unit is None and name not in in_degrees):
            problem = "an unknown heading", expected, f"did you mean `{nearest(name, known)}`?"
            if name in known:
                what, units = "a unit that is not known in a heading", "in, ft, mm, cm or m, such as x [ft]"
                problem = what, units, "correct the unit, or write the heading without one"
            report.cell(first, column, *problem)
        elif name in headings:
            what = f"the heading `{name}` is there twice, also in column {column_letter(headings[name].column)}"
            report.cell(first, column, what, "each heading once", "delete one of the two columns")
        else:
            headings[name] = Heading(name, column, unit)
    return headings


def _list_quantity(headings: dict[str, Heading], row: int, header: Header, report: Report) -> str:
    given = [name for name in headings if name in WITH_LENGTHS[2:]]
    missing = [name for name in ("x", "y") if name not in headings] + ([] if given else ["reading"])
    if missing:
        what, expected = f"no column for {' and '.join(missing)}", "the headings x, y and reading"
        report.add(what, row, 0, expected=expected, remedy="write the headings in the first row under the # lines")
    if len(given) > 1:
        what, expected = f"more than one column of readings: {', '.join(given)}", "one of reading, height or drop"
        column, remedy = headings[given[1]].column, "keep one of the columns"
        report.add(what, row, column, value=given[1], expected=expected, remedy=remedy)
    named = given[0] if given else "reading"
    if named == "reading":
        return needed_quantity(header, report, row)
    if header.quantity not in (None, named):
        what = f"`# reading: {header.quantity}` disagrees with the heading `{named}`"
        at, remedy = header.quantity_row, "correct the line or the heading"
        report.add(what, at, 0, value=header.quantity, expected=named, remedy=remedy)
    return named


def _report_stray(record: Record, width: int, report: Report) -> None:
    first = record.cell(0)
    if isinstance(first, str) and re.match(r"#\s*\w+\s*:", first):
        what, remedy = "a # line below the first row of readings", "move the line to the top of the file"
        report.cell(record, 0, what, "all # lines at the top", remedy)
    for column in range(width, len(record.cells)):
        if not is_empty(record.cells[column]):
            what, expected = "a cell beyond the last heading", f"at most {width} cells in a row"
            remedy = "delete it, or add its heading; a decimal comma is read only where semicolons separate the cells"
            report.cell(record, column, what, expected, remedy)


def _list_reading(
    record: Record, headings: dict[str, Heading], value_at: int | None, lengths: LengthReader
) -> Reading | None:
    """The reading of one row, or None where none was taken or something is wrong, which is then reported."""
    texts = {}
    for name in TEXTS:
        if name in headings:
            texts[name] = _text(record, headings[name].column, lengths.report)
    kind = _kind(texts.pop("kind", ""), record, headings, lengths.report)
    if value_at is None or is_empty(record.cell(value_at)):
        return None
    unit = next(heading.unit for heading in headings.values() if heading.column == value_at)
    value = lengths.read(record.cell(value_at), record.row, value_at, unit=unit, reading=True)
    place: list[float | None] = []
    for name in ("x", "y"):
        if name not in headings:
            return None
        heading = headings[name]
        cell = record.cell(heading.column)
        if is_empty(cell) and kind != "surface":
            place.append(math.nan)
        elif is_empty(cell):
            what, remedy = f"a reading without its {name}", f"fill in {name}, or delete the reading"
            expected, at = f"the {name} of the station", heading.column
            lengths.report.add(what, record.row, at, value="", expected=expected, remedy=remedy)
            place.append(None)
        else:
            place.append(lengths.read(cell, record.row, heading.column, unit=heading.unit))
    if value is None or place[0] is None or place[1] is None or kind is None:
        return None
    typed, bare = text_of(record.cell(value_at)), unit or lengths.unit or lengths.likely_unit
    return Reading(
        x=place[0], y=place[1], value=value, row=record.row, column=value_at, kind=kind, typed=typed, unit=bare, **texts
    )


def _text(record: Record, column: int, report: Report) -> str:
    cell = record.cell(column)
    if isinstance(cell, Accident):
        what = cell.what.replace("a length should be", "a text should be").replace(", not a length", "")
        remedy = "format the cell as Text, then type it again"
        report.add(what, record.row, column, value=cell.value, expected="a text", remedy=remedy)
    return text_of(cell)


def _kind(text: str, record: Record, headings: dict[str, Heading], report: Report) -> str | None:
    kind = text.strip().lower() or "surface"
    if kind in (*KINDS, STRUCK):
        return kind
    remedy, expected = (
        f"did you mean `{nearest(kind, (*KINDS, STRUCK))}`?",
        "surface (or empty), benchmark, turning or struck",
    )
    report.cell(record, headings["kind"].column, "an unknown kind of reading", expected, remedy)
    return None
