"""Survey files in (CSV, XLSX) and out (CSV).

A file is lines of ``# key: value``, then a list (``x,y,reading``, one reading a row) or a grid (x positions
along the first row, y positions down the first column, empty where none was taken). All that is wrong with
a file comes in one :class:`~flatness.errors.SurveyFileError`, each problem with its cell and remedy.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import BinaryIO

import pandas as pd

from flatness.errors import ArgumentError, FlatnessError, SurveyFileError
from flatness.survey.cells import Readings, Report, Table, refuse
from flatness.survey.checks import check_outlines, check_readings, check_what_was_read
from flatness.survey.delimited import read_delimited
from flatness.survey.header import read_header
from flatness.survey.layout import read_layout
from flatness.survey.readings import POINT_COLUMNS, Survey
from flatness.survey.saving import write_new
from flatness.survey.setups import reduce_setups
from flatness.survey.workbook import read_workbook
from flatness.survey.writing import differences, survey_text

LARGEST_BYTES = 50_000_000
TEXT_ENDINGS = (".csv", ".txt", ".tsv")
ENDINGS = (*TEXT_ENDINGS, ".xlsx")
SAVE_AS = "open it in a spreadsheet and save it as CSV UTF-8 or as XLSX"


class SurveyFileExistsError(SurveyFileError, FileExistsError):
    """A file of this name is there already, and is not overwritten."""


def read_survey(
    path_or_file: str | os.PathLike[str] | bytes | BinaryIO,
    *,
    name: str | None = None,
    sheet: str | None = None,
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
    Survey : readings in mm; what is worth a look but stops nothing is in its ``notes``

    Raises
    ------
    SurveyFileError : with all that is wrong with the file, in its order

    Examples
    --------
    >>> text = "# unit: in\\nx,y,height\\n0,0,0\\n48,0,1/8\\n0,48,-1/16\\n"
    >>> read_survey(text.encode(), name="kitchen.csv").points.height.tolist()
    [0.0, 3.175, -1.5875]
    """
    data, file = _bytes_of(path_or_file, name)
    report = Report(file)
    table = _table(data, file, report, sheet)
    header, lengths = read_header(table, report)
    check_outlines(header, report)
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
        points=points, surface=header.surface, reference=header.reference, accuracy=header.accuracy,
        outline=header.outline, openings=tuple(opening for _, opening in header.openings), ties=ties,
        benchmarks=dict(header.benchmarks), quantity=readings.quantity, unit=lengths.likely_unit,
        framing=header.framing,
        title=header.text.get("title", ""),
        date=header.text.get("date", ""), source=file,
        keys={key: text for key, text in header.text.items() if key in ("instrument", "by")},
        notes=tuple(notes), adjustment=reduced.adjustment,
    )  # fmt: skip


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
            "a survey is written as CSV",
            value=path.name,
            expected="a name that ends in .csv",
            remedy="rename it",
        )
    data = survey_text(survey).encode("utf-8-sig")
    _make_sure(survey, data)
    write_new(path, data, overwrite, exists=SurveyFileExistsError)


def _make_sure(survey: Survey, data: bytes) -> None:
    try:
        again = read_survey(data, name="survey.csv")
    except FlatnessError as error:
        raise ArgumentError(
            f"the survey cannot be written so that it reads back: {error.problems[0].what}",
            value=error.problems[0].value, expected=error.problems[0].expected,
            remedy=error.problems[0].remedy,
        ) from error  # fmt: skip
    for name in differences(survey, again):
        raise ArgumentError(
            f"the survey would not read back the same: {name} differs", expected="texts on one line, without "
            "spaces at their ends", remedy=f"change its {name}",
        )  # fmt: skip


def _bytes_of(source: str | os.PathLike[str] | bytes | BinaryIO, name: str | None) -> tuple[bytes, str]:
    if isinstance(source, (str, os.PathLike)):
        return _read_path(Path(source), name)
    if isinstance(source, (bytes, bytearray, memoryview)):
        data = bytes(source)
    elif hasattr(source, "read"):
        data = source.read(LARGEST_BYTES + 1)
    else:
        data = None
    if not isinstance(data, bytes):
        raise ArgumentError(
            "neither a path, nor bytes, nor a file opened in binary mode", value=type(source).__name__,
            expected="read_survey(path), or read_survey(data, name='survey.csv')",
            remedy="open it with mode 'rb'",
        )  # fmt: skip
    file = Path(name).name if name else "survey.xlsx" if data.startswith(b"PK\x03\x04") else "survey.csv"
    if len(data) > LARGEST_BYTES:
        raise _too_large(file)
    return data, file


def _read_path(path: Path, name: str | None) -> tuple[bytes, str]:
    file = Path(name).name if name else path.name
    try:
        if path.is_dir():
            raise refuse(
                str(path),
                "this is a folder, not a file",
                expected="a survey file",
                remedy="name the file inside it",
            )
        if not path.exists():
            raise refuse(
                str(path), "there is no such file", expected="a .csv or .xlsx file",
                remedy="check the name and the folder",
            )  # fmt: skip
        if path.stat().st_size > LARGEST_BYTES:
            raise _too_large(file)
        return path.read_bytes(), file
    except (OSError, ValueError) as error:
        if isinstance(error, SurveyFileError):
            raise
        raise refuse(
            file, f"the file cannot be read: {error}", remedy="close it elsewhere and check the name"
        ) from error


def _too_large(file: str) -> SurveyFileError:
    return refuse(
        file, "the file is larger than 50 MB", expected="the readings of one surface",
        remedy="check that it is the survey; copy the readings alone into a new file",
    )  # fmt: skip


def _table(data: bytes, file: str, report: Report, sheet: str | None) -> Table:
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
            file, "this is a packed file, such as a workbook, not text" if zipped
            else "this is not a workbook",
            expected=f"contents that fit the ending {ending}",
            remedy="give it the ending .xlsx if it is a workbook" if zipped
            else "give it the ending .csv if it is text",
        )  # fmt: skip
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
