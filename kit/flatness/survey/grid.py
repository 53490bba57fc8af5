"""A grid: x positions along the first row, y positions down the first column, readings in the cells."""

from __future__ import annotations

from flatness.errors import Problem
from flatness.lengths import unit_named
from flatness.survey.cells import (
    Cell,
    LengthReader,
    Reading,
    Readings,
    Record,
    Table,
    column_letter,
    is_empty,
    text_of,
)
from flatness.survey.header import Header, needed_quantity
from flatness.survey.positions import (
    Position,
    check_positions,
    copied,
    report_shifted_rows,
    report_unit,
    without_unit,
)
from flatness.survey.readings import SAME_PLACE_MM

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
        report.add(
            "the corner of the grid holds something else", first.row, 0, value=text_of(first.cell(0)),
            expected="nothing, y\\x, or the unit of the positions such as ft",
            remedy="empty the corner cell; x positions run along the first row, y positions down the first "
            "column",
        )  # fmt: skip
    width = max(len(record.cells) for record in table.body)
    while width > 1 and all(is_empty(record.cell(width - 1)) for record in table.body):
        width -= 1
    wide = [r for r in rows if any(not is_empty(r.cell(c)) for c in range(_filled(first), width))]
    if 0 < 2 * len(wide) < len(rows):
        # a row or two longer than the positions is a slip in that row, not a column without its position
        for record in wide:
            report.add(
                "more readings in this row than there are x positions", record.row, _filled(first),
                value=text_of(record.cell(_filled(first))), expected=f"at most {_filled(first) - 1} readings",
                remedy="look for a comma inside a number of this row: write a point for decimals; or fill in the "
                "missing x position",
            )  # fmt: skip
        width = _filled(first)
    along = [(first.row, c, first.cell(c)) for c in range(1, width)]
    down = [(record.row, 0, record.cell(0)) for record in rows]
    quiet = [lengths.quietly(cell, unit or None) for _, _, cell in down]
    cells = [(record.row, [record.cell(c) for c in range(width)]) for record in rows]
    shifted = report_shifted_rows(cells, quiet, width, lengths)
    for i in shifted:
        report.settle(rows[i].row, 0)
    x = _positions("x", along, [[row.cell(c) for row in rows] for _, c, _ in along], unit or None, lengths)
    y = _positions("y", down, [list(row.cells[1:]) for row in rows], unit or None, lengths)
    doubts = _doubts(along, down, x, [None if i in shifted else v for i, v in enumerate(y)], rows, unit, lengths)
    if unit == "" and not shifted:
        _check_unit(along + down, x, y, first.row, header, lengths)
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
                readings.append(Reading(x_here, y_here, value, record.row, column, typed=typed, unit=bare))
    return Readings(tuple(readings), quantity, tuple(not_taken), lengths.decimal_comma, tuple(doubts))


def _doubts(
    along: list[tuple[int, int, Cell]], down: list[tuple[int, int, Cell]], x: list[float | None],
    y: list[float | None], rows: list[Record], unit: str | None, lengths: LengthReader,
) -> list[Problem]:  # fmt: skip
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


def _check_unit(
    cells: list[tuple[int, int, Cell]], x: list[float | None], y: list[float | None], row: int, header: Header,
    lengths: LengthReader,
) -> None:  # fmt: skip
    known = [[v for v in values if v is not None] for values in (x, y)]
    typed = [text_of(cell) for _, _, cell in cells]
    if all(known) and without_unit(typed, lengths.decimal_comma):
        say = "write the unit of the positions in the corner cell, such as ft; in too, if they are inches"
        report_unit(known[0], known[1], lengths.unit, header.outline, (row, 0), say, lengths.report)


def _filled(record: Record) -> int:
    """How many cells a row has, up to the last that is not empty."""
    return max((c + 1 for c in range(len(record.cells)) if not is_empty(record.cell(c))), default=1)


def _positions(
    name: str, places: list[tuple[int, int, Cell]], beside: list[list[Cell]], unit: str | None,
    lengths: LengthReader,
) -> list[float | None]:  # fmt: skip
    """Positions [mm] of the grid's rows or columns; None where empty or wrong."""
    found: list[float | None] = []
    seen: list[tuple[float, str]] = []
    for (row, column, cell), readings in zip(places, beside, strict=True):
        if is_empty(cell):
            if not all(is_empty(reading) for reading in readings):
                lengths.report.add(
                    f"readings without their {name} position", row, column, value="",
                    expected=f"the {name} position of this {'column' if name == 'x' else 'row'}",
                    remedy="fill it in, or delete the readings",
                )  # fmt: skip
            found.append(None)
            continue
        value = lengths.read(cell, row, column, unit=unit)
        found.append(value)
        if value is not None:
            twin = next((where for other, where in seen if abs(other - value) <= SAME_PLACE_MM), None)
            if twin is not None:
                lengths.report.add(
                    f"the {name} position is the same as in {twin}", row, column, value=text_of(cell),
                    expected="each position once", remedy="correct one of the two",
                )  # fmt: skip
            seen.append((value, f"{column_letter(column)}{row}"))
    return found
