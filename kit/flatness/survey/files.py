"""Survey files in (CSV, XLSX) and out (CSV).

A file is lines of ``# key: value``, then a list (``x,y,reading``, one reading a row) or a grid (x positions
along the first row, y positions down the first column, empty where none was taken). All that is wrong with
a file comes in one :class:`~flatness.errors.SurveyFileError`, each problem with its cell and remedy.

A survey as CSV text, and what differs between two surveys.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pandas as pd
from shapely import Polygon

from flatness.errors import ArgumentError, FlatnessError, SurveyFileError
from flatness.files import LARGEST_BYTES, read_file, why, write_new
from flatness.lengths import format_length
from flatness.survey.cells import DATE_SERIALS, Readings, Record, Report, Table, refuse
from flatness.survey.checks import check_outlines, check_readings, check_what_was_read
from flatness.survey.header import CURVED, header_line, read_header
from flatness.survey.layout import read_layout
from flatness.survey.readings import POINT_COLUMNS, TYPICAL_MM, Framing, Survey
from flatness.survey.rows import read_delimited, read_workbook, split_records
from flatness.survey.setups import reduce_setups

INCH_MM, FINEST = 25.4, 64
EXACT_MM = 1e-9


def survey_text(survey: Survey) -> str:
    """The CSV text of a survey."""
    return _header(survey) + _written_table(["x_mm", "y_mm", "height_mm"], _tables(survey), "height", _number)


def text_to_go_on(survey: Survey, places: Iterable[tuple[str, str, str]], unit: str = "mm") -> str:
    """The CSV text of a survey as it was read, drops as drops, with rows whose readings are still to be taken.

    Parameters
    ----------
    places : ``x``, ``y`` and ``label`` of each such row, lengths as they are to be typed
    unit : ``in`` writes inches where a length is a whole number of 64ths; all others are in mm
    """
    length = _inches if unit == "in" else _millimetres

    def typed(value: float | str) -> str:
        if isinstance(value, str):
            return value
        return "" if np.isnan(value) else length(value)

    setups = set(survey.points["setup"])
    same = {"setup": setups.pop() if len(setups) == 1 else "", "line": "", "kind": "surface"}
    further = pd.DataFrame([{"x": x, "y": y, "reading": "", "label": label, **same} for x, y, label in places])
    tables = [*_tables(survey), *([further] if len(further) else [])]
    return _header(survey, length, reading=survey.quantity) + _written_table(
        ["x", "y", "reading"], tables, "reading", typed
    )


def _tables(survey: Survey) -> list[pd.DataFrame]:
    return [survey.points.assign(kind="surface"), *([survey.ties] if len(survey.ties) else [])]


def _header(survey: Survey, length: Callable[[float], str] | None = None, **more: str) -> str:
    length = length or _millimetres

    def corners(polygon: Polygon) -> str:
        return " ".join(f"({length(x)}, {length(y)})" for x, y in list(polygon.exterior.coords)[:-1])

    lines = [
        ("title", survey.title),
        ("date", survey.date),
        *survey.keys.items(),
        ("surface", survey.surface),
        ("unit", survey.unit),
        *more.items(),
        ("reference", survey.reference),
    ]
    lines += [("accuracy", length(survey.accuracy))] if survey.accuracy is not None else []
    lines += _framing(survey.framing, length) if survey.framing is not None else []
    lines += [("outline", corners(survey.outline))] if survey.outline is not None else []
    lines += [("opening", corners(opening)) for opening in survey.openings]
    lines += [("wall", f"{side} = {name}") for side, name in survey.walls.names.items()]
    lines += [(one.kind, f"{one.side} {length(one.start)} to {length(one.end)}") for one in survey.walls.openings]
    lines += [("benchmark", f"{label} = {length(height)}") for label, height in survey.benchmarks.items()]
    return "".join(_header_row(f"# {key}: {value}") + "\n" for key, value in lines if value)


def _framing(framing: Framing, length: Callable[[float], str]) -> list[tuple[str, str]]:
    layout = f"{length(framing.spacing)} along {framing.along} from {length(framing.first)}"
    words = {offset: word for word, offset in TYPICAL_MM.items()}
    return [("members", layout), ("framing", words.get(framing.typical) or length(framing.typical))]


def _written_table(
    headings: list[str], tables: Sequence[pd.DataFrame], value: str, written: Callable[[Any], str]
) -> str:
    """Headings and rows of the points of some tables, with those columns of text that are not empty throughout."""

    def column(name: str) -> list[Any]:
        return [entry for table in tables for entry in table[name]]

    texts = [name for name in ("label", "setup", "line") if any(column(name))]
    texts += ["kind"] if any(kind != "surface" for kind in column("kind")) else []
    lengths = [[_quoted(written(entry)) for entry in column(name)] for name in ("x", "y", value)]
    words = [[_quoted(str(entry)) for entry in column(name)] for name in texts]
    rows = zip(*lengths, *words, strict=True)
    return ",".join([*headings, *texts]) + "\n" + "".join(",".join(row) + "\n" for row in rows)


def _number(value: float) -> str:
    if np.isnan(value):
        return ""
    whole = value.is_integer() and int(value) in DATE_SERIALS
    # a bare whole number of that size reads as a spreadsheet's date
    return repr(float(value)) if whole else repr(float(value)).removesuffix(".0")


def _millimetres(value: float) -> str:
    return f"{_number(value)} mm"


def _inches(value: float) -> str:
    """Inches and a fraction where they say the length exactly, else millimetres."""
    parts = round(value / INCH_MM * FINEST)
    if abs(parts * INCH_MM / FINEST - value) > EXACT_MM:
        return _millimetres(value)
    return format_length(value, "in", FINEST).replace('"', " in")


def _quoted(text: str) -> str:
    if text != text.strip() or any(mark in text for mark in ',"\n\r'):
        return '"' + text.replace('"', '""') + '"'
    return text


def _header_row(line: str) -> str:
    fields = next(split_records([line], ","))
    as_read = header_line(Record(1, tuple(field.text for field in fields)), ",")
    return line if as_read == line.removeprefix("# ") else '"' + line.replace('"', '""') + '"'


def differences(one: Survey, other: Survey) -> list[str]:
    """Names of what differs between two surveys, ``source``, ``notes`` and cells apart."""
    names = ("surface", "reference", "accuracy", "unit", "title", "date", "framing", "walls")
    found = [name for name in names if getattr(one, name) != getattr(other, name)]
    found += [name for name in ("benchmarks", "keys") if dict(getattr(one, name)) != dict(getattr(other, name))]
    shapes = [[survey.outline, *survey.openings] for survey in (one, other)]
    found += ["outline or openings"] if list(map(_rings, shapes[0])) != list(map(_rings, shapes[1])) else []
    columns = [name for name in POINT_COLUMNS if name not in ("cell", "reading")]
    for name, table in (("points", columns), ("ties", [*columns, "kind"])):
        mine, its = (getattr(survey, name)[table].to_dict("list") for survey in (one, other))
        same = all(_same(mine[column], its[column]) for column in table)
        found += [] if same else [name]
    return found


def _rings(polygon: Polygon | None) -> Any:
    if polygon is None:
        return None
    return [list(ring.coords) for ring in (polygon.exterior, *polygon.interiors)]


def _same(one: list[Any], other: list[Any]) -> bool:
    # NaN, the place of a benchmark off the surface, is not equal to itself
    return len(one) == len(other) and all(a == b or (a != a and b != b) for a, b in zip(one, other, strict=True))


TEXT_ENDINGS = (".csv", ".txt", ".tsv")
ENDINGS = (*TEXT_ENDINGS, ".xlsx")
SAVE_AS = "open it in a spreadsheet and save it as CSV UTF-8 or as XLSX"


class SurveyFileExistsError(SurveyFileError, FileExistsError):
    """A file of this name is there already, and is not overwritten."""


def read_survey(
    path_or_file: str | os.PathLike[str] | bytes | BinaryIO, *, name: str | None = None, sheet: str | None = None
) -> Survey:
    """The survey in a CSV or XLSX file.

    Parameters
    ----------
    path_or_file : path of a ``.csv``, ``.txt``, ``.tsv`` or ``.xlsx`` file; or its bytes; or a file opened
        in binary mode
    name : name of the file where bytes or an open file are given, as a notebook's upload does
    sheet : sheet of a workbook, where more than one is not empty

    Returns
    -------
    Survey : readings in mm; what is worth a look but stops nothing is in its ``notes``. A ``curved wall`` comes
        unrolled, as a wall whose x is the distance along the curve: see :func:`flatness.read_curved_wall`

    Raises
    ------
    SurveyFileError : with all that is wrong with the file, in its order

    Examples
    --------
    >>> text = "# unit: in\\nx,y,height\\n0,0,0\\n48,0,1/8\\n0,48,-1/16\\n"
    >>> read_survey(text.encode(), name="kitchen.csv").points.height.tolist()
    [0.0, 3.175, -1.5875]
    """
    data, file = bytes_of(path_or_file, name)
    report = Report(file)
    table = table_of(data, file, report, sheet)
    header, lengths = read_header(table, report)
    check_outlines(header, report)
    if header.surface == CURVED:
        from flatness.curves.walls import reduce_wall

        return reduce_wall(table, header, lengths, report).survey
    readings = read_layout(table, header, lengths)
    lengths.finish()
    if report.problems:
        check_what_was_read(readings, header, report)
    report.stop_if_any()
    reduced = reduce_setups(readings, header.benchmarks, header.accuracy, report)
    if reduced is None:
        check_what_was_read(readings, header, report)
        report.stop_if_any()
        raise AssertionError("set-ups that could not be reduced are in the report")
    header.accuracy = reduced.accuracy
    notes = [*reduced.suspects, *reduced.notes, *check_readings(readings, reduced.heights, header, report)]
    if report.problems:  # a bad tie may be what made stations disagree
        report.problems += reduced.suspects
    report.stop_if_any()
    points, ties = _frames(readings, reduced.heights)
    return Survey(
        points=points,
        surface=header.surface,
        reference=header.reference,
        accuracy=header.accuracy,
        outline=header.outline,
        openings=tuple(opening for _, opening in header.openings),
        ties=ties,
        benchmarks=dict(header.benchmarks),
        quantity=readings.quantity,
        unit=lengths.likely_unit,
        framing=header.framing,
        walls=header.walls,
        title=header.text.get("title", ""),
        date=header.text.get("date", ""),
        source=file,
        keys={key: text for key, text in header.text.items() if key in ("instrument", "by")},
        notes=tuple(notes),
        adjustment=reduced.adjustment,
    )


def write_survey(survey: Survey, path: str | os.PathLike[str], *, overwrite: bool = False) -> None:
    """Write a survey as a CSV list, in millimetres, that reads back to the same survey.

    Heights are written as they are in the survey, on its datum; ``source``, ``notes`` and the cells of the
    readings belong to the file that was read, and are not written.

    Parameters
    ----------
    survey : the readings
    path : a ``.csv`` file
    overwrite : replace a file that is there already

    Raises
    ------
    SurveyFileExistsError : there is a file of this name
    ArgumentError : the survey would not read back to the same
    """
    path = Path(path)
    if path.suffix.lower() != ".csv":
        raise ArgumentError(
            "a survey is written as CSV", value=path.name, expected="a name that ends in .csv", remedy="rename it"
        )
    data = survey_text(survey).encode("utf-8-sig")
    _make_sure(survey, data)
    write_new(path, data, overwrite, exists=SurveyFileExistsError)


def _make_sure(survey: Survey, data: bytes) -> None:
    try:
        again = read_survey(data, name="survey.csv")
    except FlatnessError as error:
        what = f"the survey cannot be written so that it reads back: {error.problems[0].what}"
        value, expected = error.problems[0].value, error.problems[0].expected
        raise ArgumentError(what, value=value, expected=expected, remedy=error.problems[0].remedy) from error
    for name in differences(survey, again):
        what, remedy = f"the survey would not read back the same: {name} differs", f"change its {name}"
        raise ArgumentError(what, expected="texts on one line, without spaces at their ends", remedy=remedy)


def bytes_of(source: str | os.PathLike[str] | bytes | BinaryIO, name: str | None) -> tuple[bytes, str]:
    """What a path, bytes or an open file hold, and the file's name."""
    if isinstance(source, (str, os.PathLike)):
        return _read_path(Path(source), name)
    if isinstance(source, (bytes, bytearray, memoryview)):
        data = bytes(source)
    elif hasattr(source, "read"):
        data = source.read(LARGEST_BYTES + 1)
    else:
        data = None
    if not isinstance(data, bytes):
        what = "neither a path, nor bytes, nor a file opened in binary mode"
        expected = "read_survey(path), or read_survey(data, name='survey.csv')"
        raise ArgumentError(what, value=type(source).__name__, expected=expected, remedy="open it with mode 'rb'")
    file = Path(name).name if name else "survey.xlsx" if data.startswith(b"PK\x03\x04") else "survey.csv"
    if len(data) > LARGEST_BYTES:
        raise _too_large(file)
    return data, file


def _read_path(path: Path, name: str | None) -> tuple[bytes, str]:
    file = Path(name).name if name else path.name
    try:
        return read_file(path, LARGEST_BYTES), file
    except FileNotFoundError as error:
        what, expected = "there is no such file", "a .csv or .xlsx file"
        raise refuse(str(path), what, expected=expected, remedy="check the name and the folder") from error
    except OSError as error:
        if error.errno == errno.EFBIG:
            raise _too_large(file) from error
        if error.errno == errno.EINVAL:
            remedy = "name the file inside it" if path.is_dir() else "name a file"
            raise refuse(str(path), why(error), expected="a survey file", remedy=remedy) from error
        what = f"the file cannot be read: {why(error)}"
        raise refuse(file, what, remedy="close it elsewhere and check the name") from error


def _too_large(file: str) -> SurveyFileError:
    remedy = "check that it is the survey; copy the readings alone into a new file"
    return refuse(file, "the file is larger than 50 MB", expected="the readings of one surface", remedy=remedy)


def table_of(data: bytes, file: str, report: Report, sheet: str | None) -> Table:
    """The cells of a file of any kind that is read."""
    ending = Path(file).suffix.lower()
    if ending not in ENDINGS:
        raise refuse(file, "not a kind of file that is read", value=ending, expected=", ".join(ENDINGS), remedy=SAVE_AS)
    if not data.strip():
        raise refuse(file, "the file is empty", expected="readings", remedy="choose another file")
    zipped = data.startswith(b"PK\x03\x04")
    if data.startswith((b"%PDF", b"\xd0\xcf\x11\xe0")):
        kind = "a PDF" if data.startswith(b"%PDF") else "an old or locked workbook"
        raise refuse(file, f"this is {kind}, whatever its name says", expected=", ".join(ENDINGS), remedy=SAVE_AS)
    if zipped != (ending == ".xlsx"):
        raise refuse(
            file,
            "this is a packed file, such as a workbook, not text" if zipped else "this is not a workbook",
            expected=f"contents that fit the ending {ending}",
            remedy="give it the ending .xlsx if it is a workbook"
            if zipped
            else "give it the ending .csv if it is text",
        )
    if ending == ".xlsx":
        return read_workbook(data, file, report, sheet)
    if sheet is not None:
        raise refuse(file, "a text file has no sheets", value=sheet, remedy="leave out sheet=")
    return read_delimited(data, file, report)


def _frames(readings: Readings, heights: list[float]) -> tuple[pd.DataFrame, pd.DataFrame]:
    rows = [
        (r.x, r.y, height, r.value, r.label, r.setup, r.line, r.cell, r.kind)
        for r, height in zip(readings.readings, heights, strict=True)
    ]
    table = pd.DataFrame(rows, columns=[*POINT_COLUMNS, "kind"]).astype(
        {"x": "float64", "y": "float64", "height": "float64", "reading": "float64"}
    )
    on_surface = table["kind"] == "surface"
    return (
        table.loc[on_surface, list(POINT_COLUMNS)].reset_index(drop=True),
        table.loc[~on_surface].reset_index(drop=True),
    )
