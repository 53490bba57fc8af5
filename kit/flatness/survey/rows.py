"""Delimited text (CSV, semicolons, tabs) and workbooks taken apart into cells, as a spreadsheet would number them.

Python's own csv module is not used: it takes the inch mark of ``41-3/8"`` for the start of a quotation in
some places, and says nothing of a quotation mark that is never closed.
"""

from __future__ import annotations

import contextlib
import datetime
import io
import posixpath
import re
import warnings
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

import openpyxl

from flatness.errors import SurveyFileError, visible
from flatness.survey.cells import Accident, Cell, Record, Report, Table, date_accident, nearest, refuse

MOST_CELLS = 2_000_000  # from the first row and column to the last
MOST_HELD = 200_000  # cells that hold something, of all sheets: twenty thousand readings in ten columns
MOST_MERGED = 100_000  # cells that are merged, or that one link covers
MOST_UNPACKED = 100_000_000  # bytes
MOST_PARTS = 2000
BLOCK = 1 << 16
_CELL = re.compile(r"\$?([A-Za-z]{1,3})\$?([0-9]{1,7})")
_SHEET = re.compile(r"xl/worksheets/[^/]+\.xml", re.IGNORECASE)


@dataclass
class SheetParts:
    """What a look through one sheet found.

    Attributes
    ----------
    title : of the sheet
    cells : how many it has
    rows, columns : how far it reaches
    covered : cells that its merged ranges and its links cover
    unsaved : formulas without a stored result, by cell, such as ``B7``
    """

    title: str
    cells: int = 0
    rows: int = 0
    columns: int = 0
    covered: int = 0
    unsaved: dict[str, str] = field(default_factory=dict)


def look_through(data: bytes, file: str) -> dict[str, SheetParts]:
    """The sheets of a workbook by title, looked through as a stream.

    Raises
    ------
    SurveyFileError : no workbook, a damaged one, or one that asks for more than a survey can need
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _looked_through(archive, file)
    except _TooMuchError as error:
        raise refuse(file, error.what, expected=error.expected, remedy=error.remedy) from error
    except Exception as error:  # a damaged archive raises many kinds, none of them promised
        raise damaged(file) from error


def damaged(file: str) -> Exception:
    """The error for a workbook that cannot be opened."""
    what = "the workbook cannot be opened: it is damaged or locked, or not an XLSX workbook"
    expected = "an XLSX workbook without a password"
    return refuse(file, what, expected=expected, remedy="open it in a spreadsheet and save it as CSV UTF-8 or as XLSX")


class _TooMuchError(Exception):
    def __init__(self, what: str, expected: str, remedy: str = "copy the readings alone into a new workbook") -> None:
        super().__init__(what)
        self.what, self.expected, self.remedy = what, expected, remedy


def _looked_through(archive: zipfile.ZipFile, file: str) -> dict[str, SheetParts]:
    entries = archive.infolist()
    size = sum(entry.file_size for entry in entries)
    if "xl/workbook.xml" not in (entry.filename for entry in entries):
        remedy = "open it in a spreadsheet and save it as CSV UTF-8 or as XLSX"
        raise _TooMuchError("this is not an XLSX workbook, though it is packed like one", "CSV or XLSX", remedy)
    if size > MOST_UNPACKED:
        raise _TooMuchError(f"the workbook unpacks to {size // 10**6} MB", f"at most {MOST_UNPACKED // 10**6} MB")
    if len(entries) > MOST_PARTS:
        raise _TooMuchError(f"the workbook has {len(entries)} parts", f"at most {MOST_PARTS}")
    titles = _titles(archive)
    found: dict[str, SheetParts] = {}
    for entry in entries:
        if not entry.filename.lower().endswith((".xml", ".rels")):
            continue
        title = titles.get(entry.filename)
        if title is None and not _SHEET.fullmatch(entry.filename):
            _stream(archive, entry, {})
            continue
        look = _Look(SheetParts(title or posixpath.basename(entry.filename)))
        _stream(archive, entry, {"start": look.start, "text": look.text, "end": look.end})
        found[look.sheet.title] = look.sheet
    held = sum(one.cells for one in found.values())
    if held > MOST_HELD:
        raise _TooMuchError(f"the workbook holds {held} cells", f"at most {MOST_HELD}")
    return found


def _stream(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, handlers: Mapping[str, Any]) -> None:
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartDoctypeDeclHandler = _no_doctype  # entities that grow are declared in one
    parser.StartElementHandler = handlers.get("start")
    parser.CharacterDataHandler = handlers.get("text")
    parser.EndElementHandler = handlers.get("end")
    with archive.open(entry) as part:
        while block := part.read(BLOCK):
            parser.Parse(block, False)
    parser.Parse(b"", True)


def _no_doctype(*_: object) -> None:
    what = "the workbook declares marks of its own, which no spreadsheet does"
    raise _TooMuchError(what, "a workbook as a spreadsheet saves it")


def _titles(archive: zipfile.ZipFile) -> dict[str, str]:
    """The title of each sheet by the name of its part."""
    sheets: list[tuple[str, str]] = []
    targets: dict[str, str] = {}

    def sheet(name: str, given: dict[str, str]) -> None:
        if _plain(name) == "sheet":
            sheets.append((given.get("name", ""), next((v for k, v in given.items() if _plain(k) == "id"), "")))

    def relation(name: str, given: dict[str, str]) -> None:
        if _plain(name) == "Relationship":
            target = given.get("Target", "")
            targets[given.get("Id", "")] = posixpath.normpath(posixpath.join("xl", target)).lstrip("/")

    _stream(archive, archive.getinfo("xl/workbook.xml"), {"start": sheet})
    if "xl/_rels/workbook.xml.rels" in archive.namelist():
        _stream(archive, archive.getinfo("xl/_rels/workbook.xml.rels"), {"start": relation})
    return {targets[key]: title for title, key in sheets if key in targets}


def _plain(name: str) -> str:
    return name.rpartition(":")[2]


class _Look:
    """Handlers that count, one sheet at a time, and stop as soon as there is too much."""

    def __init__(self, sheet: SheetParts) -> None:
        self.sheet = sheet
        self._row = self._column = 0
        self._at = ""
        self._formula: list[str] | None = None
        self._has_value = False
        self._within = ""

    def start(self, name: str, given: dict[str, str]) -> None:
        """An element begins."""
        name, sheet = _plain(name), self.sheet
        if name == "row":
            number = given.get("r", "")
            self._row, self._column = int(number) if number.isdecimal() else self._row + 1, 0
        elif name == "c":
            self._place(given.get("r", ""))
            sheet.cells += 1
            self._formula, self._has_value = None, False
        elif name == "f":
            self._formula, self._within = [], "f"
        elif name in ("v", "is"):
            self._within = "v"
        elif name in ("mergeCell", "hyperlink"):
            sheet.covered += _area(given.get("ref", ""))
        self._stop_if_too_much()

    def text(self, text: str) -> None:
        """Text within an element."""
        if self._within == "f" and self._formula is not None:
            self._formula.append(text)
        elif self._within == "v":
            self._has_value = True

    def end(self, name: str) -> None:
        """An element ends."""
        name = _plain(name)
        if name in ("f", "v", "is"):
            self._within = ""
        elif name == "c" and self._formula is not None and not self._has_value:
            self.sheet.unsaved[self._at] = f"={''.join(self._formula)}"

    def _place(self, reference: str) -> None:
        found = _CELL.fullmatch(reference)
        if found:
            self._column, self._row = _number(found[1]), int(found[2])
        else:
            self._column += 1
        self._at = f"{_letters(self._column)}{self._row}"
        self.sheet.rows, self.sheet.columns = max(self.sheet.rows, self._row), max(self.sheet.columns, self._column)

    def _stop_if_too_much(self) -> None:
        sheet = self.sheet
        if sheet.rows * sheet.columns > MOST_CELLS:
            what = f"sheet '{sheet.title}' reaches to row {sheet.rows} and column {sheet.columns}"
            raise _TooMuchError(what, f"at most {MOST_CELLS} cells", "delete the stray cells far from the readings")
        if sheet.cells > MOST_HELD:
            what = f"sheet '{sheet.title}' holds more than {MOST_HELD} cells"
            raise _TooMuchError(what, "the readings of one surface")
        if sheet.covered > MOST_MERGED:
            what = f"sheet '{sheet.title}' merges {sheet.covered} cells, or covers them by links"
            expected = f"at most {MOST_MERGED}"
            raise _TooMuchError(what, expected, "unmerge the cells, or copy the readings alone into a new workbook")


def _area(reference: str) -> int:
    """How many cells a range such as ``A1:C4`` covers."""
    ends = [_CELL.fullmatch(part) for part in reference.split(":")]
    if len(ends) != 2 or ends[0] is None or ends[1] is None:
        return 1
    columns, rows = abs(_number(ends[0][1]) - _number(ends[1][1])), abs(int(ends[0][2]) - int(ends[1][2]))
    return (columns + 1) * (rows + 1)


def _number(letters: str) -> int:
    number = 0
    for letter in letters.upper():
        number = 26 * number + ord(letter) - ord("A") + 1
    return number


def _letters(number: int) -> str:
    letters = ""
    while number > 0:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


DELIMITERS = ("\t", ";", ",")
SAVE_AS_UTF8 = "open it in a spreadsheet and save it as CSV UTF-8"
_LINE_END = re.compile(r"\r\n|\r|\n")
_SPREADSHEET_ERROR = re.compile(r"#(?:[A-Z/0]+[!?]|N/A|#+$)")


@dataclass(frozen=True)
class Field:
    """One field as it stands: its text, whether it was quoted, and what is wrong with its quotation marks."""

    text: str
    quoted: bool = False
    wrong: str = ""


def read_delimited(data: bytes, file: str, report: Report) -> Table:
    """The table in the bytes of a text file."""
    lines = _LINE_END.split(decode(data, file))
    if not any(line.strip() for line in lines):
        raise refuse(file, "the file is empty", expected="readings", remedy="choose another file")
    delimiter = _delimiter(lines, file)
    header: list[Record] = []
    body: list[Record] = []
    for row, fields in enumerate(split_records(lines, delimiter), 1):
        _report_marks(report, row, fields)
        if not body and is_header(fields[0].text):
            header.append(Record(row, tuple(field.text for field in fields)))
            continue
        record = Record(row, tuple(field.text if field.quoted else field.text.strip() for field in fields))
        if not record.is_blank:
            body.append(record)
    if not body:
        report.stop_if_any()  # a quotation mark that is never closed swallows all rows
        raise no_readings(file)
    return Table(tuple(header), tuple(body), delimiter)


def no_readings(file: str, where: str = "") -> SurveyFileError:
    """The error for a table without rows below its ``#`` lines."""
    expected = "a list (x,y,reading) or a grid under the # lines"
    return refuse(file, f"there are no readings{where}", expected=expected, remedy="add the readings below the # lines")


def decode(data: bytes, file: str) -> str:
    """The text of UTF-8, with or without a byte-order mark, or UTF-16 with one."""
    utf16 = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    encoding = "utf-16" if utf16 else "utf-8-sig"
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        row = 1 + len(_LINE_END.findall(data[: error.start].decode(encoding, "ignore")))
        what = f"the text is not written in UTF-8 (first seen in row {row})"
        raise refuse(file, what, expected="UTF-8, or UTF-16 with its mark", remedy=SAVE_AS_UTF8) from error
    if "\0" in text:
        raise refuse(file, "this is not plain text", expected="CSV in UTF-8", remedy=SAVE_AS_UTF8)
    return "\r".join(map(visible, text.split("\r")))


def is_header(text: str) -> bool:
    """Whether a row that starts with this cell is a ``# key: value`` line."""
    text = text.strip()
    return text.startswith("#") and not _SPREADSHEET_ERROR.match(text)


def _delimiter(lines: list[str], file: str) -> str:
    """The delimiter of the first row that is not a ``#`` line; those in quotation marks do not count."""
    for line in lines:
        if not line.strip(" \t;,") or is_header(line.lstrip(' \t"')):
            continue
        for delimiter in DELIMITERS:
            if len(next(split_records([line], delimiter))) > 1:
                return delimiter
        what = "the first row under the # lines has one column only"
        expected = "cells separated by commas, semicolons or tabs, such as x,y,reading"
        raise refuse(file, what, value=line.strip(), expected=expected, remedy="save the sheet as CSV")
    raise no_readings(file)


def split_records(lines: list[str], delimiter: str) -> Iterator[list[Field]]:
    """The rows of these lines; a quoted field may run over several lines, and is then marked as wrong."""
    at = 0
    while at < len(lines):
        line, at = lines[at], at + 1
        if '"' not in line:
            yield [Field(text) for text in line.split(delimiter)]
            continue
        fields: list[Field] = []
        start = 0
        while start <= len(line):
            if line[start:].lstrip(" ").startswith('"'):
                field, end, line, at = _quoted(lines, line, line.index('"', start) + 1, at, delimiter)
            else:
                end = line.find(delimiter, start)
                end = len(line) if end < 0 else end
                field = Field(line[start:end])
            fields.append(field)
            start = end + 1
        yield fields


def _quoted(lines: list[str], line: str, start: int, at: int, delimiter: str) -> tuple[Field, int, str, int]:
    """The field whose opening mark is before ``start``; where it ends, in which line, and the next line."""
    text, wrong = "", ""
    while True:
        end = line.find('"', start)
        if end >= 0 and line.startswith('""', end):
            text += line[start : end + 1]
            start = end + 2
        elif end >= 0:
            text += line[start:end]
            break
        elif at < len(lines):
            text += line[start:] + "\n"
            line, at, start = lines[at], at + 1, 0
            wrong = "break"
        else:
            return Field(text + line[start:], True, "unpaired"), len(line), line, at
    rest = line.find(delimiter, end)
    rest = len(line) if rest < 0 else rest
    tail = line[end + 1 : rest]
    if tail.strip():
        text, wrong = f"{text}{tail}", "text behind"
    return Field(text, True, wrong), rest, line, at


_WRONG_MARKS = {  # what is wrong with the quotation marks of a cell, what is expected, and the remedy
    "unpaired": (
        "a quotation mark opens here and is never closed",
        'an inch mark behind its number, such as 41-3/8"',
        'delete the mark in front, or write "41-3/8""" with the inch mark doubled inside',
    ),
    "text behind": (
        "text behind a closing quotation mark; the quotation opens here",
        "a delimiter behind the closing mark",
        "delete the quotation mark in front, or double the inch marks inside the quotation",
    ),
    "break": (
        "a line break inside a cell that begins here",
        "one length or text to a cell, on one line",
        "delete the line break, or the quotation mark in front if it stands there by mistake",
    ),
}


def _report_marks(report: Report, row: int, fields: list[Field]) -> None:
    for column, one in enumerate(fields):
        if one.wrong:
            what, expected, remedy = _WRONG_MARKS[one.wrong]
            report.add(what, row, column, value=one.text, expected=expected, remedy=remedy)
            report.settle(row, column)


_SHOWN_UNIT = re.compile(r'"\s*(mm|cm|m|in|ft)\.?\s*"')
_LENGTH = "a length such as 3/8, 0.375 or 9 mm"


def read_workbook(data: bytes, file: str, report: Report, sheet: str | None) -> Table:
    """The table in the bytes of a workbook: of the sheet named, or of its only sheet that is not empty."""
    looked = look_through(data, file)
    book = _load(data, file)
    title = _choose_sheet(book, file, sheet)
    unsaved = looked[title].unsaved if title in looked else {}
    header: list[Record] = []
    body: list[Record] = []
    for row, cells in enumerate(book[title].iter_rows(), 1):
        record = Record(row, tuple(_cell(cell, unsaved) for cell in cells))
        first = record.cell(0)
        if not body and isinstance(first, str) and cells[0].data_type != "e" and is_header(first):
            header.append(record)
        elif not record.is_blank:
            body.append(record)
    _report_merged(book[title], report, header[-1].row if header else 0)
    if not body:
        raise no_readings(file, f" on sheet '{title}'")
    return Table(tuple(header), tuple(body))


def _load(data: bytes, file: str) -> Any:
    """The workbook with what its formulas gave when it was last saved."""
    try:
        with warnings.catch_warnings(), contextlib.redirect_stdout(None):  # it prints what it cannot find
            warnings.simplefilter("ignore")  # they tell of formatting that is not read anyway
            return openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    except Exception as error:  # a damaged workbook raises many kinds, none of them promised
        raise damaged(file) from error


def _choose_sheet(workbook: Any, file: str, sheet: str | None) -> str:
    names = [ws.title for ws in workbook.worksheets]
    for ws in workbook.worksheets:
        if ws.max_row * ws.max_column > MOST_CELLS:
            what = f"sheet '{ws.title}' reaches to row {ws.max_row} and column {ws.max_column}"
            expected = f"at most {MOST_CELLS} cells"
            raise refuse(file, what, expected=expected, remedy="delete the stray cells far from the readings")
    if sheet is not None:
        if sheet in names:
            return sheet
        what, remedy = "the workbook has no such sheet", f"did you mean {nearest(sheet, names)!r}?" if names else None
        raise refuse(file, what, value=sheet, expected=f"one of: {', '.join(names)}", remedy=remedy)
    filled = [ws.title for ws in workbook.worksheets if _is_filled(ws)]
    if not filled:
        raise refuse(file, "the workbook is empty", expected="readings", remedy="choose another file")
    if len(filled) > 1:
        what = f"{len(filled)} sheets are not empty"
        remedy = f"name the sheet to read, such as {filled[0]!r}: --sheet on the command line, sheet= in Python"
        raise refuse(file, what, value=", ".join(filled), expected="one sheet with readings", remedy=remedy)
    return str(filled[0])


def _is_filled(sheet: Any) -> bool:
    return any(value is not None for row in sheet.iter_rows(values_only=True) for value in row)


def _cell(cell: Any, unsaved: Mapping[str, str]) -> Cell:
    value = cell.value
    if value is None:
        formula = unsaved.get(cell.coordinate)
        if formula is None:
            return ""
        return Accident(
            formula,
            "a formula without a stored result",
            _LENGTH,
            "open the workbook in a spreadsheet and save it there, or replace the formula by its value",
        )
    if isinstance(value, bool):
        return Accident(
            str(value).upper(),
            "a true-or-false value, not a length",
            _LENGTH,
            "type the reading, or leave the cell empty where no reading was taken",
        )
    if isinstance(value, (datetime.datetime, datetime.date, datetime.time, datetime.timedelta)):
        midnight = isinstance(value, datetime.datetime) and value.time() == datetime.time()
        return date_accident(str(value.date() if midnight else value))  # type: ignore[union-attr]
    if isinstance(value, (int, float)):
        style = str(cell.number_format)
        if "%" in style:
            return Accident(
                f"{float(value) * 100:g}%",
                "a percentage, not a length",
                _LENGTH,
                "format the cell as a number or as Text, then type the reading again",
            )
        # a format such as 0.0" mm" shows a unit that the number itself does not carry: read what is shown
        unit = _SHOWN_UNIT.search(style)
        return f"{float(value)!r} {unit[1]}" if unit else float(value)
    return visible(re.sub(r"[\t\r\n]+", " ", str(value)))


def _report_merged(sheet: Any, report: Report, header_rows: int) -> None:
    for area in sorted(sheet.merged_cells.ranges, key=lambda area: (area.min_row, area.min_col)):
        if area.max_row > header_rows:
            what = "merged cells among the readings"
            expected, remedy = "one reading to a cell", "unmerge the cells and type each reading in its own"
            report.add(what, area.min_row, area.min_col - 1, value=str(area.coord), expected=expected, remedy=remedy)
