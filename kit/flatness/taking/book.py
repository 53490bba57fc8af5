"""The field book: a survey file to which each reading is added, and put on the disk, before the next is taken.

It is a list as :func:`flatness.read_survey` reads it, at every moment. Nothing in it is ever changed or erased, only
lines are added at its end: a reading that is taken back is struck out by a line of the kind ``struck``, a station that
cannot be reached is a row without a reading. So it can be gone on with after any stop, and all that was ever typed can
be seen. A reading in doubt is written together with the line that strikes it, and once more if it is said to be right.
"""

from __future__ import annotations

import contextlib
import csv
import datetime
import io
import os
import re
import socket
import sys
import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from shapely import Polygon, box

from flatness.errors import FlatnessError
from flatness.files import read_file, write_new
from flatness.lengths import format_length, parse_length
from flatness.survey.cells import LengthReader, Report, Table, is_bare, text_of
from flatness.survey.checks import check_outlines
from flatness.survey.files import SurveyFileExistsError, bytes_of, read_survey, table_of
from flatness.survey.header import Header, header_line, read_header
from flatness.survey.layout import read_layout
from flatness.survey.readings import SAME_PLACE_MM, STRUCK, Framing, Survey
from flatness.survey.rows import read_delimited
from flatness.survey.sheets import corners, header_lines
from flatness.taking.stations import Walk, walk_of

HEADINGS = ("x", "y", "reading", "setup", "label", "kind")
READ = "surface"
USUAL_STEP_MM = {"in": 2 * 304.8, "mm": 600.0}
USUAL_ACCURACY_MM = 25.4 / 32  # common practice, no source
MARK_BYTES = 10_000  # of the mark that a page has the survey open
TAKEN_OVER = "press Go on here to take the readings on this page"


class BookInUseError(FlatnessError):
    """Another page or program has the survey open to write."""


@dataclass(frozen=True)
class Entry:
    """One line of the book.

    Attributes
    ----------
    x, y : [mm]; NaN of a benchmark off the surface
    typed : the reading with its unit, empty where the station cannot be reached
    setup : of the instrument
    label : of a benchmark
    kind : ``surface``, ``benchmark`` or ``struck``
    reading : [mm], None where the station cannot be reached
    """

    x: float
    y: float
    typed: str
    setup: str
    label: str = ""
    kind: str = READ
    reading: float | None = None

    def strikes(self, other: Entry) -> bool:
        """Whether this line, of the kind ``struck``, takes back the other."""
        away = max(abs(self.x - other.x), abs(self.y - other.y))
        here = away <= SAME_PLACE_MM or (self.x != self.x and other.x != other.x)
        return here and (self.reading, self.setup, self.label) == (other.reading, other.setup, other.label)


@dataclass(frozen=True)
class Cut:
    """The end of a line that a stop cut short, and that was taken away: nobody was shown that it had been written."""

    text: str


class Book:
    """A survey file that is being taken.

    Attributes
    ----------
    path : of the file
    header : what its ``#`` lines say
    entries : all lines, those struck out and those that strike too
    cut : what was cut short at the end of the file when it was opened; None where nothing was
    """

    def __init__(self, path: Path, *, take_over: bool = False) -> None:
        self.path = path
        self._mark = path.with_name(f"{path.name}.open")
        self._id = uuid.uuid4().hex
        self.cut: Cut | None = None
        self._claim(take_over)
        try:
            self._mend()
            self.header, self.unit, self.entries = read_lines(path)
        except BaseException:
            self.close()
            raise
        self._size = path.stat().st_size

    @property
    def standing(self) -> list[Entry]:
        """The lines that count, in their order."""
        return standing_of(self.entries)

    @property
    def outline(self) -> Polygon:
        assert self.header.outline is not None
        return self.header.outline

    def survey(self) -> Survey:
        """The survey as it stands in the file."""
        return read_survey(self.path)

    def would_read(self, entry: Entry) -> bool:
        """Whether the file would still be a survey with one line more."""
        data = self.path.read_bytes()
        try:
            read_survey(data, name=self.path.name)
        except FlatnessError:
            return True  # it is none yet
        try:
            read_survey(data + self._line(entry).encode(), name=self.path.name)
        except FlatnessError:
            return False
        return True

    def add(self, *entries: Entry) -> None:
        """Write lines at the end of the file, and see them on the disk.

        Raises
        ------
        BookInUseError : another page writes it now
        FlatnessError : the file was changed meanwhile, or cannot be written
        """
        data = "".join(map(self._line, entries)).encode()
        try:
            with _alone(self.path) as file:
                self.check_mine()
                if os.fstat(file).st_size != self._size:
                    raise FlatnessError(
                        "the survey file was changed by another program",
                        file=self.path.name,
                        remedy="close it there, then open it here again: no reading on it is lost",
                    )
                os.lseek(file, 0, os.SEEK_END)
                written = os.write(file, data)
                if written != len(data):
                    os.ftruncate(file, self._size)
                    raise OSError("the disk took a part of the line only")
                os.fsync(file)
        except OSError as error:
            raise FlatnessError(
                f"the reading cannot be written: {error.strerror or error}",
                file=self.path.name,
                remedy="make room on the disk, or see to the folder; then enter the reading again",
            ) from error
        self._size += len(data)
        self.entries.extend(entries)

    def strike(self, entry: Entry) -> None:
        """Take back a line, by one more line."""
        self.add(replace(entry, kind=STRUCK))

    def entry(self, x: float, y: float, typed: str, setup: str, label: str = "", kind: str = READ) -> Entry:
        """A line from what was typed; empty where the station cannot be reached.

        Raises
        ------
        LengthError : it is no length
        """
        typed = " ".join(typed.split())
        if not typed:
            return Entry(x, y, "", setup, label, kind)
        bare = is_bare(typed, False)
        reading = parse_length(typed, self.unit)
        return Entry(x, y, f"{typed} {self.unit}" if bare else typed, setup, label, kind, reading)

    def _line(self, entry: Entry) -> str:
        return _row(
            [
                _position(entry.x, self.unit),
                _position(entry.y, self.unit),
                entry.typed,
                entry.setup,
                entry.label,
                entry.kind,
            ]
        )

    # one page at a time

    def close(self) -> None:
        """Let others write the file."""
        with contextlib.suppress(OSError), _alone(self.path):
            if self._owner().get("id") == self._id:
                self._mark.unlink()

    def _claim(self, take_over: bool) -> None:
        if not self.path.is_file():
            raise FlatnessError(
                "there is no such survey", file=str(self.path), remedy="check its name, or begin a new one"
            )
        with _alone(self.path):
            owner = self._owner()
            if owner and not take_over and _is_alive(owner):
                raise BookInUseError(
                    "readings are being taken into this survey on another page",
                    file=self.path.name,
                    value=f"since {owner.get('since', '?')}",
                    expected="one page at a time, so that no two people write one survey",
                    remedy=TAKEN_OVER,
                )
            since = datetime.datetime.now().strftime("%H:%M")
            text = f"id={self._id}\npid={os.getpid()}\nhost={socket.gethostname()}\nsince={since}\n"
            write_new(self._mark, text.encode(), overwrite=True)

    def _owner(self) -> dict[str, str]:
        try:
            lines = read_file(self._mark, MARK_BYTES).decode().splitlines()
        except (OSError, UnicodeDecodeError):
            return {}
        return {key: value for key, _, value in (line.partition("=") for line in lines)}

    def check_mine(self) -> None:
        """Raise BookInUseError where another page has taken the survey over."""
        if self._owner().get("id") != self._id:
            raise BookInUseError(
                "another page takes the readings now: this one has written nothing since",
                file=self.path.name,
                expected="one page at a time",
                remedy=TAKEN_OVER,
            )

    def _mend(self) -> None:
        """Take away a last line that is not whole: its writing was cut off, and it was never said to be written."""
        with _alone(self.path) as file:
            data = self.path.read_bytes()
            whole = data.rfind(b"\n") + 1
            if whole < len(data):
                self.cut = Cut(data[whole:].decode("utf-8", "replace").strip())
                os.ftruncate(file, whole)
                os.fsync(file)


def new_book(
    path: str | os.PathLike[str],
    *,
    length: float,
    width: float,
    step: float | None = None,
    accuracy: float = USUAL_ACCURACY_MM,
    outline: Polygon | None = None,
    openings: Sequence[Polygon] = (),
    framing: Framing | None = None,
    unit: str = "in",
    reading: str = "drop",
    surface: str = "floor",
    title: str = "",
    benchmark: str = "",
    more: Sequence[str] = (),
) -> Path:
    """Begin a survey file in which no reading stands yet.

    Parameters
    ----------
    path : a new ``.csv`` file
    length, width : of the surface along x and along y [mm], where no outline is given
    step : between stations [mm]; None takes 2 ft or 600 mm, and 4 ft or 1200 mm along members
    accuracy : one standard deviation of one reading [mm]
    outline, openings : of the surface [mm]
    framing : the members beneath
    unit : of readings that carry none, ``in`` or ``mm``
    reading : ``drop`` or ``height``
    surface : ``floor``, ``ceiling`` or ``wall``
    title : on one line
    benchmark : label of the mark off which heights count; empty for none
    more : further header lines as they stand in a survey, such as ``door: bottom 3 ft to 6 ft``

    Raises
    ------
    SurveyFileExistsError : there is a file of this name
    FlatnessError : a value that cannot stand in it, or too few stations
    """
    path = Path(path)
    step = USUAL_STEP_MM[unit] * (1 if framing is None else 2) if step is None else step
    reference = "plumb" if surface == "wall" else "level"
    header = header_lines(
        title=title,
        surface=surface,
        unit=unit,
        reading=reading,
        reference=reference,
        accuracy=accuracy,
        framing=framing,
        outline=outline if outline is not None else box(0, 0, length, width),
        openings=openings,
    )
    lines = [line.removeprefix("# ") for line in header if line != "# date:"]
    lines += [f"benchmark: {benchmark} = 0 {unit}"] if benchmark else []
    return _begin(path, [*lines, *more], step, unit)


TAKEN = "-taken.csv"  # behind the name of a blank sheet


def taken_from(sheet: Path) -> Path:
    """Where the survey stands that is taken from a blank sheet."""
    return sheet.with_name(f"{sheet.stem}{TAKEN}")


def is_sheet(path: Path) -> bool:
    """Whether a file is a grid, such as `flatness sheet` writes, and no list of readings."""
    table = table_of(*bytes_of(path, None), Report(path.name), None)
    return "x" not in {text_of(cell).split("[")[0].strip().lower() for cell in table.body[0].cells}


def header_of(sheet: Path) -> tuple[Header, Table, LengthReader]:
    """What a sheet says of itself, its cells, and the reader of its lengths with its report."""
    data, name = bytes_of(sheet, None)
    report = Report(name)
    table = table_of(data, name, report, None)
    header, lengths = read_header(table, report)
    check_outlines(header, report)
    return header, table, lengths


def book_of_sheet(path: Path, sheet: Path, accuracy: float | None = None, more: Sequence[str] = ()) -> Path:
    """Begin a survey file for the stations of a blank sheet, whose ``#`` lines stand in it too.

    Parameters
    ----------
    path : a new ``.csv`` file
    sheet : a blank grid, CSV or XLSX
    accuracy : one standard deviation of one reading [mm], where the sheet states none
    more : as for :func:`new_book`

    Raises
    ------
    FlatnessError : no blank sheet, or stations that do not stand as :func:`walk_of` has them
    """
    header, table, lengths = header_of(sheet)
    report, name = lengths.report, sheet.name
    if read_layout(table, header, lengths).readings:
        report.add(
            "readings stand in this sheet",
            table.body[0].row,
            0,
            expected="a blank sheet, as `flatness sheet` writes it",
            remedy="go on with it as you began; or begin a new survey by --length and --width",
        )
    report.stop_if_any()
    places = read_layout(_filled(table), header, lengths).readings
    lengths.finish()
    report.stop_if_any()
    x, y = (np.unique([getattr(one, axis) for one in places]) for axis in "xy")
    along = x if header.framing is None or header.framing.along == "x" else y
    step, unit = float(along[1] - along[0]) if len(along) > 1 else 0.0, lengths.unit or lengths.likely_unit
    lines = [str(header_line(record, table.delimiter)) for record in table.header]
    lines = [line for line in lines if line and not line.startswith(("date:", "stations:"))]
    if header.outline is None:
        header.outline = box(0, 0, x[-1], y[-1])
        lines.append(f"outline: {corners(header.outline, unit)}")
    if header.accuracy is None:
        lines.append(f"accuracy: {accuracy or USUAL_ACCURACY_MM} mm")
    walked = walk_of(header.outline, [area for _, area in header.openings], step, header.framing, unit).xy
    for axis, listed, found in (("x", x, walked[:, 0]), ("y", y, walked[:, 1])):
        apart = np.abs(np.subtract.outer(listed, np.unique(found)))
        if max(apart.min(axis=0).max(), apart.min(axis=1).max()) > SAME_PLACE_MM:
            raise FlatnessError(
                f"the sheet's {axis} positions are not those of evenly spaced stations from wall to wall",
                file=name,
                expected=f"a sheet as `flatness sheet` writes it, {_step(step, unit)} apart",
                remedy="begin by --length, --width and --step instead",
            )
    return _begin(path, [*lines, *more], step, unit)


def _filled(table: Table) -> Table:
    """The grid with a reading in each cell that is empty: so its positions are read."""
    first, *rows = table.body
    wide = len(first.cells)
    full = (replace(row, cells=(row.cell(0), *(row.cell(k) or "1" for k in range(1, wide)))) for row in rows)
    return replace(table, body=(first, *full))


def _begin(path: Path, lines: Sequence[str], step: float, unit: str) -> Path:
    """Write the header and the headings of a book, once it is sure that it can be read and walked."""
    if path.suffix.lower() != ".csv":
        raise FlatnessError(
            "a survey is written as CSV", file=path.name, expected="a name that ends in .csv", remedy="rename it"
        )
    headings = [f"{name} [{unit}]" if name in "xy" else name for name in HEADINGS]
    rows = [*([f"# {line}"] for line in (*lines, f"stations: {_step(step, unit)}")), headings]
    data = "".join(map(_row, rows)).encode()
    header, unit, _ = _parsed(data, path.name)
    walk_through(header, unit)
    write_new(
        path,
        data,
        False,
        exists=SurveyFileExistsError,
        remedy="go on with it by its name alone, or choose another name",
    )
    return path


def walk_through(header: Header, unit: str) -> Walk:
    """The stations of a book in walking order."""
    assert header.outline is not None
    assert header.stations is not None
    openings = [opening for _, opening in header.openings]
    return walk_of(header.outline, openings, header.stations, header.framing, unit, header.range)


def _step(mm: float, unit: str) -> str:
    return f"{format_length(mm, 'in', 16)[:-1]} in" if unit == "in" else f"{mm:g} mm"


def _position(mm: float, unit: str) -> str:
    if mm != mm:
        return ""
    return format_length(mm, "in", 16).removesuffix('"') if unit == "in" else f"{round(mm, 3):g}"


def _row(cells: Sequence[str]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue()


def standing_of(entries: Sequence[Entry]) -> list[Entry]:
    """The lines that count: all but those struck out, and those that strike."""
    found: list[Entry] = []
    for one in entries:
        if one.kind == STRUCK:
            last = max((k for k, other in enumerate(found) if one.strikes(other)), default=None)
            if last is not None:
                found.pop(last)
        else:
            found.append(one)
    return found


def read_lines(path: Path) -> tuple[Header, str, list[Entry]]:
    """What a book's file says of itself, its unit, and its lines; a last one that is not whole is left out.

    Raises
    ------
    SurveyFileError : readings cannot be taken into this file
    """
    return _parsed(path.read_bytes(), path.name)


def _parsed(data: bytes, name: str) -> tuple[Header, str, list[Entry]]:
    report = Report(name)
    table = read_delimited(data[: data.rfind(b"\n") + 1], name, report)
    header, lengths = read_header(table, report)
    check_outlines(header, report)
    unit = lengths.unit or "in"
    _check_form(table, header, unit, report)
    report.stop_if_any()
    entries = []
    for record in table.body[1:]:
        x, y, typed, setup, label, kind = (text_of(record.cell(k)).strip() for k in range(len(HEADINGS)))
        kind = kind.lower() or READ
        placed = [lengths.read(text, record.row, k) if text else float("nan") for k, text in enumerate((x, y))]
        reading = lengths.read(typed, record.row, 2) if typed else None
        if placed[0] is not None and placed[1] is not None:
            entries.append(Entry(placed[0], placed[1], typed, setup, label, kind, reading))
    report.stop_if_any()
    return header, unit, entries


def _check_form(table: Table, header: Header, unit: str, report: Report) -> None:
    first = table.body[0]
    names = tuple(text_of(cell).split("[")[0].strip() for cell in first.cells if text_of(cell).strip())
    missing = [name for name in ("outline", "stations", "accuracy") if getattr(header, name) is None]
    if names != HEADINGS or unit not in ("in", "mm") or missing:
        report.add(
            "readings cannot be taken into this file",
            first.row,
            0,
            value=", ".join(names)[:60],
            expected=f"the headings {', '.join(HEADINGS)}, and # lines for outline, accuracy, stations and unit",
            remedy="begin a new survey by another name; this one may be read by `check` as it is",
        )


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[int]:
    """The file open to read and write, with every other program that asks so kept out meanwhile."""
    file = os.open(path, os.O_RDWR | getattr(os, "O_BINARY", 0))
    try:
        _lock(file)
        yield file
    finally:
        os.close(file)  # which lets go of it


if sys.platform == "win32":
    import msvcrt

    FAR_OFF = 1 << 30  # beyond the end, so that others may read the file

    def _lock(file: int) -> None:
        os.lseek(file, FAR_OFF, os.SEEK_SET)
        msvcrt.locking(file, msvcrt.LK_LOCK, 1)

else:
    import fcntl

    def _lock(file: int) -> None:
        fcntl.flock(file, fcntl.LOCK_EX)


def _is_alive(owner: dict[str, Any]) -> bool:
    """Whether the program that has the file open still runs, as far as can be seen from here."""
    if owner.get("host") != socket.gethostname() or os.name == "nt":
        return True
    written = owner.get("pid", "")
    pid = int(written) if re.fullmatch("[0-9]{1,9}", written) else 0
    if pid in (0, os.getpid()):
        return False  # a page of this very program that was opened again
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
