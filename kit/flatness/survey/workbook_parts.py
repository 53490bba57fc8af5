"""A workbook's parts looked through before anything is built of them: how many cells, how far, which are merged.

A file of 5 kB can ask for sixteen thousand million merged cells. So each part is read once as a stream, which keeps
nothing, and what would take more than a survey can need is refused.
"""

from __future__ import annotations

import io
import posixpath
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from xml.parsers import expat

from flatness.survey.cells import refuse

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
    return refuse(
        file,
        "the workbook cannot be opened: it is damaged or locked, or not an XLSX workbook",
        expected="an XLSX workbook without a password",
        remedy="open it in a spreadsheet and save it as CSV UTF-8 or as XLSX",
    )


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
            raise _TooMuchError(
                f"sheet '{sheet.title}' reaches to row {sheet.rows} and column {sheet.columns}",
                f"at most {MOST_CELLS} cells",
                "delete the stray cells far from the readings",
            )
        if sheet.cells > MOST_HELD:
            what = f"sheet '{sheet.title}' holds more than {MOST_HELD} cells"
            raise _TooMuchError(what, "the readings of one surface")
        if sheet.covered > MOST_MERGED:
            raise _TooMuchError(
                f"sheet '{sheet.title}' merges {sheet.covered} cells, or covers them by links",
                f"at most {MOST_MERGED}",
                "unmerge the cells, or copy the readings alone into a new workbook",
            )


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
