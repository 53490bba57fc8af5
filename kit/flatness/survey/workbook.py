"""A spreadsheet workbook (XLSX) taken apart into the same cells as delimited text."""

from __future__ import annotations

import datetime
import io
import re
import warnings
import zipfile
from typing import Any

import openpyxl

from flatness.survey.cells import Accident, Cell, Record, Report, Table, date_accident, nearest, refuse
from flatness.survey.delimited import is_header, no_readings

MOST_CELLS = 2_000_000
MOST_UNPACKED = 200_000_000
_SHOWN_UNIT = re.compile(r'"\s*(mm|cm|m|in|ft)\.?\s*"')
_LENGTH = "a length such as 3/8, 0.375 or 9 mm"


def read_workbook(data: bytes, file: str, report: Report, sheet: str | None) -> Table:
    """The table in the bytes of a workbook: of the sheet named, or of its only sheet that is not empty."""
    _check_unpacked(data, file)
    # once for what was typed and once for what the formulas gave when the workbook was last saved
    typed, shown = (_load(data, file, data_only=wanted) for wanted in (False, True))
    title = _choose_sheet(typed, file, sheet)
    header: list[Record] = []
    body: list[Record] = []
    for row, (typed_row, shown_row) in enumerate(
        zip(typed[title].iter_rows(), shown[title].iter_rows(), strict=True), 1
    ):
        record = Record(row, tuple(_cell(*pair) for pair in zip(typed_row, shown_row, strict=True)))
        first = record.cell(0)
        if not body and isinstance(first, str) and typed_row[0].data_type != "e" and is_header(first):
            header.append(record)
        elif not record.is_blank:
            body.append(record)
    _report_merged(typed[title], report, header[-1].row if header else 0)
    if not body:
        raise no_readings(file, f" on sheet '{title}'")
    return Table(tuple(header), tuple(body))


def _check_unpacked(data: bytes, file: str) -> None:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
            size = sum(entry.file_size for entry in archive.infolist())
    except Exception as error:  # a damaged archive raises many kinds, none of them promised
        raise _damaged(file) from error
    if "xl/workbook.xml" not in names:
        raise refuse(
            file, "this is not an XLSX workbook, though it is packed like one", expected="CSV or XLSX",
            remedy="open it in a spreadsheet and save it as CSV UTF-8 or as XLSX",
        )  # fmt: skip
    if size > MOST_UNPACKED:
        raise refuse(
            file, f"the workbook unpacks to {size // 10**6} MB",
            expected=f"at most {MOST_UNPACKED // 10**6} MB",
            remedy="copy the readings alone into a new workbook",
        )  # fmt: skip


def _load(data: bytes, file: str, data_only: bool) -> Any:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # they tell of formatting that is not read anyway
            return openpyxl.load_workbook(io.BytesIO(data), data_only=data_only)
    except Exception as error:  # a damaged workbook raises many kinds, none of them promised
        raise _damaged(file) from error


def _damaged(file: str) -> Exception:
    return refuse(
        file, "the workbook cannot be opened: it is damaged or locked, or not an XLSX workbook",
        expected="an XLSX workbook without a password",
        remedy="open it in a spreadsheet and save it as CSV UTF-8 or as XLSX",
    )  # fmt: skip


def _choose_sheet(workbook: Any, file: str, sheet: str | None) -> str:
    names = [ws.title for ws in workbook.worksheets]
    for ws in workbook.worksheets:
        if ws.max_row * ws.max_column > MOST_CELLS:
            raise refuse(
                file, f"sheet '{ws.title}' reaches to row {ws.max_row} and column {ws.max_column}",
                expected=f"at most {MOST_CELLS} cells", remedy="delete the stray cells far from the readings",
            )  # fmt: skip
    if sheet is not None:
        if sheet in names:
            return sheet
        raise refuse(
            file, "the workbook has no such sheet", value=sheet, expected=f"one of: {', '.join(names)}",
            remedy=f"did you mean {nearest(sheet, names)!r}?" if names else None,
        )  # fmt: skip
    filled = [ws.title for ws in workbook.worksheets if _is_filled(ws)]
    if not filled:
        raise refuse(file, "the workbook is empty", expected="readings", remedy="choose another file")
    if len(filled) > 1:
        raise refuse(
            file, f"{len(filled)} sheets are not empty", value=", ".join(filled),
            expected="one sheet with readings",
            remedy=f"name the sheet to read, such as {filled[0]!r}: --sheet on the command line, sheet= in Python",
        )  # fmt: skip
    return str(filled[0])


def _is_filled(sheet: Any) -> bool:
    return any(value is not None for row in sheet.iter_rows(values_only=True) for value in row)


def _cell(typed: Any, shown: Any) -> Cell:
    value = shown.value
    if value is None:
        if typed.value is None:
            return ""
        return Accident(
            str(getattr(typed.value, "text", typed.value)), "a formula without a stored result", _LENGTH,
            "open the workbook in a spreadsheet and save it there, or replace the formula by its value",
        )  # fmt: skip
    if isinstance(value, bool):
        return Accident(
            str(value).upper(), "a true-or-false value, not a length", _LENGTH,
            "type the reading, or leave the cell empty where no reading was taken",
        )  # fmt: skip
    if isinstance(value, (datetime.datetime, datetime.date, datetime.time, datetime.timedelta)):
        midnight = isinstance(value, datetime.datetime) and value.time() == datetime.time()
        return date_accident(str(value.date() if midnight else value))  # type: ignore[union-attr]
    if isinstance(value, (int, float)):
        style = str(typed.number_format)
        if "%" in style:
            return Accident(
                f"{float(value) * 100:g}%", "a percentage, not a length", _LENGTH,
                "format the cell as a number or as Text, then type the reading again",
            )  # fmt: skip
        # a format such as 0.0" mm" shows a unit that the number itself does not carry: read what is shown
        unit = _SHOWN_UNIT.search(style)
        return f"{float(value)!r} {unit[1]}" if unit else float(value)
    return str(value)


def _report_merged(sheet: Any, report: Report, header_rows: int) -> None:
    for area in sorted(sheet.merged_cells.ranges, key=lambda area: (area.min_row, area.min_col)):
        if area.max_row > header_rows:
            report.add(
                "merged cells among the readings", area.min_row, area.min_col - 1, value=str(area.coord),
                expected="one reading to a cell", remedy="unmerge the cells and type each reading in its own",
            )  # fmt: skip
