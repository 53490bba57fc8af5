"""Reading and writing survey files: every form, and every accident with its cell and its remedy."""

from __future__ import annotations

import datetime
import doctest
import io
from dataclasses import replace
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from flatness.errors import ArgumentError, FlatnessError, Problem, SurveyFileError, visible
from flatness.lengths import parse_length
from flatness.survey import cells, files
from flatness.survey.files import (
    SurveyFileExistsError,
    differences,
    read_survey,
    survey_text,
    text_to_go_on,
    write_survey,
)
from flatness.survey.readings import Framing, Survey, make_survey

INCH = 25.4  # mm, by definition
LIST = """# title: Kitchen
# unit: in
# reading: height
x,y,reading
0,0,1 1/8
36,0,0.5
0,48,-3/8
36,48,41-3/8"
"""
HEIGHTS = [1.125 * INCH, 0.5 * INCH, -0.375 * INCH, 41.375 * INCH]
STATIONS = [(0.0, 0.0), (914.4, 0.0), (0.0, 1219.2), (914.4, 1219.2)]


def read(text: str, name: str = "k.csv", **more: str) -> Survey:
    return read_survey(text.encode(), name=name, **more)


def problems(text: str | bytes, name: str = "k.csv", **more: str) -> tuple[Problem, ...]:
    with pytest.raises(SurveyFileError) as caught:
        read_survey(text.encode() if isinstance(text, str) else text, name=name, **more)
    return caught.value.problems


def only(text: str | bytes, name: str = "k.csv", **more: str) -> Problem:
    found = problems(text, name, **more)
    assert len(found) == 1, [str(problem) for problem in found]
    return found[0]


def with_cell(cell: str) -> str:
    """A good list in which C6 holds this."""
    return LIST.replace("0.5", cell)


def workbook(rows: list[list[object]], **sheets: list[list[object]]) -> bytes:
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    for title, more in sheets.items():
        sheet = book.create_sheet(title)
        for row in more:
            sheet.append(row)
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


BOOK: list[list[object]] = [
    ["# unit: in"],
    ["# reading: height"],
    ["x", "y", "reading"],
    [0, 0, "1 1/8"],
    [36, 0, 0.5],
    [0, 48, "-3/8"],
    [36, 48, '41-3/8"'],
]


def assert_the_four(survey: Survey) -> None:
    # rows may come in another order: a grid runs along its rows
    found = {(x, y): h for x, y, h in zip(*survey.xyz(), strict=True)}
    assert found == pytest.approx(dict(zip(STATIONS, HEIGHTS, strict=True)))
    assert len(survey.ties) == 0


FORMS = {
    "list": LIST,
    "crlf": LIST.replace("\n", "\r\n"),
    "cr": LIST.replace("\n", "\r"),
    "bom": "\ufeff" + LIST,
    "no last line end": LIST.rstrip("\n"),
    "blank lines": LIST.replace("x,y", "\n,,\nx,y").replace("36,48", "\n\n,,,\n36,48"),
    "tab": LIST.replace(",", "\t"),
    "semicolons and decimal commas": LIST.replace(",", ";").replace("0.5", "0,5"),
    "semicolons and points": LIST.replace(",", ";"),
    "any order and case": "# UNIT: Inches\n# Reading: Height\nREADING,Y,X\n"
    "1 1/8,0,0\n½,0,36\n-3/8,48,0\n41 3/8,48,36\n",
    "feet in a heading": "# unit: in\nx [ft],y (FT),height\n0,0,1 1/8\n3,0,.5\n0,4,-3/8\n3,4,41-3/8\n",
    "units in headings": "x_ft,y_ft,height_in\n0,0,1 1/8\n3,0,.5\n0,4,-3/8\n3,4,41-3/8\n",
    "units in cells": "x,y,height\n0,0,28.575 mm\n3 ft,0,½”\n0,4',-⅜\"\n36 in,48 in,3' 5 3/8\"\n",
    "quoted": '"# unit: in"\n"x","y","height"\n"0","0","1 1/8"\n36, 0, "0.5"\n0,48,-3/8\n36,48,"41-3/8"""\n',
    "drop": '# unit: in\nx,y,drop\n0,0,-1 1/8\n36,0,-0.5\n0,48,3/8\n36,48,-41-3/8"\n',
    "grid": '# unit: in\n# reading: height\n,0,36\n0,1 1/8,0.5\n48,-3/8,41-3/8"\n',
    "grid upside down": '# unit: in\n# reading: height\ny\\x,36,0\n48,41-3/8",-3/8\n0,0.5,1 1/8\n',
    "grid with a spaced corner": '# unit: in\n# reading: height\ny \\ x,36,0\n48,41-3/8",-3/8\n0,0.5,1 1/8\n',
    "grid in feet": "# unit: in\n# reading: height\nft,0,3\n0,1 1/8,0.5\n4,-3/8,41-3/8\n",
    "grid, semicolons": "# unit: cm\n# reading: height\n;0;91,44\n0;2,8575;1,27\n121,92;-0,9525;105,0925\n",
    "split over cells": "# unit: in,,\n# reading:,height,\nx,y,reading\n0,0,1 1/8\n36,0,0.5\n0,48,-3/8\n36,48,41-3/8\n",
}


@pytest.mark.parametrize("form", FORMS)
def test_the_same_readings_in_every_form(form: str) -> None:
    assert_the_four(read(FORMS[form]))


def test_utf16_and_workbooks_too() -> None:
    for data in (LIST.encode("utf-16"), b"\xfe\xff" + LIST.encode("utf-16-be")):
        assert_the_four(read_survey(data, name="k.txt"))
    assert_the_four(read_survey(workbook(BOOK), name="k.xlsx"))
    assert_the_four(read_survey(io.BytesIO(workbook(BOOK))))
    grid = [["# unit: in"], ["# reading:", "height"], [None, 0, 36], [0, 1.125, 0.5], [48, -0.375, 41.375]]
    assert_the_four(read_survey(workbook(grid), name="k.xlsx"))


def test_paths_and_names(tmp_path: Path) -> None:
    path = tmp_path / "kitchen.csv"
    path.write_text(LIST, encoding="utf-8")
    for source in (path, str(path)):
        survey = read_survey(source)
        assert survey.source == "kitchen.csv"
        assert_the_four(survey)
    with path.open("rb") as file:
        assert read_survey(file, name="other.csv").source == "other.csv"
    with pytest.raises(ArgumentError, match="binary mode"), path.open() as text:
        read_survey(text)  # type: ignore[arg-type]


HEADER = """# Title: Bath, first floor
# surface: Wall
# unit: mm
# reading: drop
# reference: String
# accuracy: 1/32 in
# date: 2026-03-08
# instrument: line laser
# by: site crew
# outline: (0, 0) (4 m, 0), (4 m, 2.5 m) (0, 2.5 m)
# opening: 1000,0; 1800,0; 1800,2 m; 1000,2 m
# opening: (3000, 1000) (3600, 1000) (3600, 1600)
# benchmark: BM 1 = 12.5
# benchmark: nail, -3
# benchmark: door 1/2 in
x,y,reading,label,setup,line,kind
500,500,10,a,1,L1,
3500,500,11,b,1,L1,surface
500,2000,12,"c, d",1,L2,
,,22.5,BM 1,1,,Benchmark
2000,2200,13,tp,1,,turning
"""


def test_every_key() -> None:
    survey = read(HEADER)
    assert (survey.title, survey.surface, survey.reference) == ("Bath, first floor", "wall", "string")
    assert (survey.unit, survey.date, survey.source) == ("mm", "2026-03-08", "k.csv")
    assert dict(survey.keys) == {"instrument": "line laser", "by": "site crew"}
    assert survey.accuracy == 25.4 / 32
    assert survey.outline is not None
    assert survey.outline.equals(Polygon([(0, 0), (4000, 0), (4000, 2500), (0, 2500)]))
    assert [opening.area for opening in survey.openings] == [800 * 2000, 600 * 600 / 2]
    assert survey.benchmarks == {"BM 1": 12.5, "nail": -3.0, "door": 12.7}
    # height = constant - drop, and the benchmark at 12.5 mm was read 22.5 mm off: the constant is 35 mm
    assert survey.points["height"].tolist() == [25.0, 24.0, 23.0]
    assert survey.points["label"].tolist() == ["a", "b", "c, d"]
    assert survey.points["cell"].tolist() == ["C17", "C18", "C19"]
    assert survey.ties["kind"].tolist() == ["benchmark", "turning"]
    assert survey.ties["height"].tolist() == [12.5, 22.0]
    assert survey.ties["x"].isna().tolist() == [True, False]


def test_corners_as_a_spreadsheet_saves_them_again() -> None:
    body = "x,y,height\n0,0,1\n100,0,1\n0,100,1\n"
    square = Polygon([(0, 0), (4876.8, 0), (4876.8, 2540), (0, 2540)])
    for line in (
        "# outline: 0,0; 16 ft,0; 16 ft,100; 0,100,,,",
        '"# outline: 0,0; 16 ft,0; 16 ft,100; 0,100",,',
        "# outline: (0, 0) (16' 0\", 0) (16 ft, 100) (0, 100)",
        '# outline: (0," 0) (16\' 0"""," 0) (16 ft", 100) (0, 100),,',
        "# outline:,(0, 0) (16 ft, 0) (16 ft, 100) (0, 100)",
    ):
        outline = read(f"# unit: in\n{line}\n{body}").outline
        assert outline is not None
        assert outline.equals(square), line
    rows = [
        ["# unit:", "in"],
        ["# outline: 0", "0; 16 ft", "0; 16 ft", "100; 0", 100],
        ["# date:", datetime.date(2026, 3, 8)],
    ]
    survey = read_survey(workbook([*rows, ["x", "y", "height"], [0, 0, 1], [100, 0, 1], [0, 100, 1]]), name="k.xlsx")
    assert survey.outline is not None
    assert survey.outline.equals(square)
    assert survey.date == "2026-03-08"


def test_corners_with_decimal_commas() -> None:
    body = "x;y;height\n0;0;1\n1;0;1\n0;1;1\n"
    for corners in (
        "(0, 0) (4,5, 0) (4,5 m, 2,5 m) (0, 2,5)",
        "(0; 0) (4,5; 0) (4,5; 2,5) (0; 2,5)",
        "0,0; 4,5, 0; 4,5 m,2,5 m; 0, 2,5",
    ):
        outline = read(f"# unit: m\n# outline: {corners}\n{body}").outline
        assert outline is not None
        assert outline.bounds == (0, 0, 4500, 2500)
    outline = read(f"# unit: m\n# outline: (0, 0) (4,5, 0) (4,5,2,5) (0, 2,5)\n{body}").outline
    assert outline is not None
    assert outline.bounds == (0, 0, 4500, 2500)
    for corner, what in (("4,5,0", "2 ways"), ("4,5,0,5,1", "not two lengths")):
        problem = only(f"# unit: m\n# outline: (0, 0) ({corner}) (4, 2) (0, 2)\n{body}")
        assert problem.cell == "A2"
        assert problem.value == corner
        assert what in problem.what
    assert "space behind the comma" in (only(f"# unit: m\n# outline: (0, 0) (4,5,0) (4, 2)\n{body}").remedy or "")


ACCIDENTS = [
    ("8-Mar", "date", "as Text"),
    ("2026-03-08", "date", "as Text"),
    ("3/8/2026", "date", "as Text"),
    ("Mar-08", "date", "as Text"),
    ("45359", "date", "its unit behind it"),
    ("#REF!", "spreadsheet's error", "mend the formula"),
    ("#VALUE!", "spreadsheet's error", "mend the formula"),
    ("#####", "too wide", "widen the column"),
    ("n/a", "not a length", "leave the cell empty"),
    ("-", "not a length", "leave the cell empty"),
    ("x", "not a length", "leave the cell empty"),
    ("TRUE", "not a length", "leave the cell empty"),
    ("5%", "percentage", "type it again"),
    ("'3/8", "not a length", "delete the '"),
    ('"3,2"', "comma", "semicolon"),
    ("1.2.3", "not a length", "type it again"),
    ("5000 m", "kilometre", "its unit"),
    ('"1\n3/8"', "line break", "delete the line break"),
    ('"3/8" in', "behind a closing quotation mark", "delete the quotation mark"),
]


@pytest.mark.parametrize(("cell", "what", "remedy"), ACCIDENTS)
def test_accidents_in_text(cell: str, what: str, remedy: str) -> None:
    problem = only(with_cell(cell))
    assert problem.file == "k.csv"
    assert problem.cell == "C6"
    assert what in problem.what
    assert remedy in (problem.remedy or "")
    assert (problem.value or "").split("\n")[0] in cell.replace('"', "")


def test_a_long_reading_with_its_unit_is_no_date() -> None:
    assert read(with_cell("45359 mm")).points["height"][1] == 45359


def test_accidents_in_a_grid_name_their_cells() -> None:
    found = problems("# unit: in\n# reading: height\n,0,36,72\n0,1,8-Mar,2\n48,x,3,\n,1,,\n")
    assert [problem.cell for problem in found] == ["C4", "B5", "A6"]
    assert "y position" in found[2].what


def test_an_unpaired_mark_names_where_it_opens() -> None:
    problem = only(with_cell('"41-3/8').replace('41-3/8"', "1"))
    assert problem.cell == "C6"
    assert "never closed" in problem.what
    assert "inch mark doubled" in (problem.remedy or "")
    # one that another mark, rows below, closes by mischance
    for text in (with_cell('"41-3/8'), LIST.replace("0.5", '"41-3/8').replace("-3/8\n", '5" or so\n')):
        problem = problems(text)[0]
        assert problem.cell == "C6"
        assert "quotation mark" in (problem.remedy or "")


def test_rows_are_counted_as_a_spreadsheet_shows_them() -> None:
    text = "# unit: in\n\n\nx,y,height\n\n0,0,1\n,,\n36,0,oops\n0,48,1\n"
    assert only(text).cell == "C8"
    assert only(text.replace("\n", "\r\n")).cell == "C8"


CELLS: list[tuple[object, str, str, str]] = [
    (datetime.datetime(2026, 3, 8), "date", "2026-03-08", "as Text"),
    (datetime.date(2026, 3, 8), "date", "2026-03-08", "as Text"),
    (datetime.time(3, 8), "date", "03:08:00", "as Text"),
    (datetime.timedelta(hours=3), "date", "3:00:00", "as Text"),
    (45359, "date", "45359", "as Text"),
    (True, "true-or-false", "TRUE", "leave the cell empty"),
    ("=A1+1", "without a stored result", "=A1+1", "save it there"),
    ("#REF!", "spreadsheet's error", "#REF!", "mend the formula"),
    ("n/a", "not a length", "n/a", "leave the cell empty"),
    ("8-Mar", "date", "8-Mar", "as Text"),
]


@pytest.mark.parametrize(("cell", "what", "value", "remedy"), CELLS)
def test_accidents_in_a_workbook(cell: object, what: str, value: str, remedy: str) -> None:
    rows = [list(row) for row in BOOK]
    rows[4][2] = cell
    problem = only(workbook(rows), "k.xlsx")
    assert problem.cell == "C5"
    assert what in problem.what
    assert problem.value == value
    assert remedy in (problem.remedy or "")


def test_a_percentage_in_a_workbook() -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook(BOOK)))
    book.active["C5"].number_format = "0.00%"
    problem = only(saved(book), "k.xlsx")
    assert (problem.cell, problem.value) == ("C5", "50%")


def test_fraction_formats_and_text_numbers_are_lengths() -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook(BOOK)))
    book.active["C5"].number_format = "# ?/?"
    book.active["A5"] = "36"
    book.active["A5"].quotePrefix = True
    book.active.row_dimensions[5].hidden = True
    book.active.column_dimensions["C"].hidden = True
    assert_the_four(read_survey(saved(book), name="k.xlsx"))


def test_a_unit_shown_by_the_format_of_a_cell_is_read() -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook(BOOK)))
    book.active["C5"] = 9
    book.active["C5"].number_format = '0.0" mm"'
    assert read_survey(saved(book), name="k.xlsx").points["height"][1] == 9


def test_merged_cells() -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook([["# title: wide"], *BOOK])))
    book.active.merge_cells("A1:C1")
    assert_the_four(read_survey(saved(book), name="k.xlsx"))
    book.active.merge_cells("C6:C7")
    found = problems(saved(book), "k.xlsx")
    assert found[0].cell == "C6"
    assert "merged" in found[0].what
    assert "unmerge" in (found[0].remedy or "")


def test_sheets() -> None:
    two = workbook(BOOK, Wall=[*BOOK[:2], ["y\\x", 0, 36], [0, 1, 2], [48, 3, 4]], Empty=[])
    problem = only(two, "k.xlsx")
    assert "2 sheets" in problem.what
    assert problem.value == "Sheet, Wall"
    assert "such as 'Sheet': --sheet" in (problem.remedy or "")
    assert read_survey(two, name="k.xlsx", sheet="Wall").points["height"].tolist() == [25.4, 50.8, 76.2, 101.6]
    assert "'Wall'" in (only(two, "k.xlsx", sheet="wal").remedy or "")
    assert_the_four(read_survey(workbook(BOOK, Empty=[]), name="k.xlsx"))
    assert "empty" in only(workbook([]), "k.xlsx").what
    assert "no sheets" in only(LIST, sheet="Sheet").what


def test_a_stray_cell_far_away() -> None:
    book = openpyxl.load_workbook(io.BytesIO(workbook(BOOK)))
    book.active["XFD1048576"] = 1
    assert "stray" in (only(saved(book), "k.xlsx").remedy or "")


def zipped(name: str, text: bytes) -> bytes:
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(name, text)
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "what", "remedy"),
    [
        ("k.xls", b"\xd0\xcf\x11\xe0\xa1\xb1", "not a kind of file", "save it as CSV"),
        ("k.ods", zipped("mimetype", b""), "not a kind of file", "save it as CSV"),
        ("k.pdf", b"%PDF-1.7", "not a kind of file", "save it as CSV"),
        ("k", b"x,y,height", "not a kind of file", "save it as CSV"),
        ("k.csv", b"%PDF-1.7 ...", "a PDF", "save it as CSV"),
        ("k.xlsx", b"\xd0\xcf\x11\xe0\xa1\xb1", "an old or locked workbook", "save it as CSV"),
        ("k.xlsx", zipped("a.txt", b"hello"), "not an XLSX workbook", "save it as CSV"),
        ("k.xlsx", workbook(BOOK)[:900], "cannot be opened", "save it as CSV"),
        ("k.xlsx", LIST.encode(), "not a workbook", ".csv"),
        ("k.csv", workbook(BOOK), "packed file", ".xlsx"),
        ("k.csv", b"", "empty", "another file"),
        ("k.csv", b"\xef\xbb\xbf\r\n \n", "empty", "another file"),
        ("k.csv", b"# unit: in\n", "no readings", "add the readings"),
        ("k.csv", b"readings\n1\n2\n", "one column only", "as CSV"),
        ("k.csv", "x,y,height\n0,0,½".encode("latin-1"), "UTF-8", "CSV UTF-8"),
        ("k.csv", LIST.encode("utf-16-le"), "not plain text", "CSV UTF-8"),
    ],
)
def test_files_that_are_no_survey(name: str, data: bytes, what: str, remedy: str) -> None:
    problem = only(data, name)
    assert problem.file == name
    assert what in problem.what
    assert remedy in (problem.remedy or "")


def test_paths_that_lead_nowhere(tmp_path: Path) -> None:
    for path, what in ((tmp_path / "none.csv", "no such file"), (tmp_path, "a folder")):
        with pytest.raises(SurveyFileError, match=what):
            read_survey(path)


def test_huge_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "LARGEST_BYTES", 50)
    path = tmp_path / "k.csv"
    path.write_text(LIST)
    for source in (path, LIST.encode(), io.BytesIO(LIST.encode())):
        with pytest.raises(SurveyFileError, match="larger than 50 MB"):
            read_survey(source)


HEADERS = [
    ("# surfase: floor", "unknown key", "`surface`"),
    ("# surface: flor", "unknown surface", "`floor`"),
    ("# reference: levl", "unknown reference", "`level`"),
    ("# reference: plumb", "not read off a plumb reference", "string"),
    ("# surface: wall\n# reference: level", "not read off a level reference", "string"),
    ("# title: a\n# title: b", "given twice", "delete one"),
    ("# accuracy: 0", "above zero", "delete the line"),
    ("# accuracy: -1/32", "above zero", "delete the line"),
    ("# accuracy:", "no value", "delete the line"),
    ("# just a note", "without a colon", "delete it"),
    ("# outline: 0,0; 10,10", "fewer than three corners", "a rectangle has four"),
    ("# outline: 0,0; 10,10; 20,20", "no area", "walking once around"),
    ("# outline: 0,0; 48,48; 48,0; 0,40", "crosses", "walking once around"),
    ("# outline: 0,0; 48; 48,48", "not two lengths", "four corners"),
    ("# outline: (0,0) 48 (48,48) (0,48)", "not two lengths", "four corners"),
    ("# benchmark: BM1", "not a label and a height", "equals sign"),
    ("# benchmark: BM 1 1/2", "2 ways", "equals sign"),
    ("# benchmark: A = 1\n# benchmark: A = 2", "given twice", "delete one"),
    ("# members: 16 in", "layout cannot be read", "all three"),
    ("# members: 16 in along z from 0", "layout cannot be read", "all three"),
    ("# members: 16 ft along y from 0", "do not stand so far apart", "such as 16 in"),
    ("# members: 1 along y from 0", "do not stand so far apart", "such as 16 in"),
    ("# members: 16 in along y from here", "not a length", ""),
    ("# framing: new", "without `members`", "delete this one"),
    ("# members: 16 in along y from 0\n# framing: oldd", "unknown framing", "`old`"),
    ("# members: 16 in along y from 0\n# framing: -1/16 in", "unknown framing", "did you mean"),
]


@pytest.mark.parametrize(("lines", "what", "remedy"), HEADERS)
def test_headers_that_are_wrong(lines: str, what: str, remedy: str) -> None:
    problem = only(LIST.replace("# title: Kitchen", lines))
    assert problem.column == "A"
    assert problem.row == lines.count("\n") + 1
    assert what in problem.what
    assert remedy in (problem.remedy or "")


LAYOUTS = [
    ("# members: 16 in along y from 0", Framing(406.4, "y", 0.0, 0.8)),
    ("# members: 400 mm along X from -50 mm\n# framing: Old", Framing(400.0, "x", -50.0, 1.6)),
    ("# members: 16 along y from 3 1/2\n# framing: 1/32", Framing(406.4, "y", 88.9, 25.4 / 32)),
    ("# members: 16 in along y from 0\n# framing: none", Framing(406.4, "y", 0.0, 0.0)),
]


@pytest.mark.parametrize(("lines", "framing"), LAYOUTS)
def test_the_layout_of_members_is_read_and_written_back(lines: str, framing: Framing) -> None:
    survey = read(LIST.replace("# title: Kitchen", lines))
    assert survey.framing is not None
    assert (survey.framing.along, survey.framing.typical) == (framing.along, pytest.approx(framing.typical))
    assert (survey.framing.spacing, survey.framing.first) == pytest.approx((framing.spacing, framing.first))
    for text in (survey_text(survey), text_to_go_on(survey, [("1 in", "1 in", "A1")], "in")):
        assert read(text).framing == survey.framing
    assert differences(survey, replace(survey, framing=None)) == ["framing"]
    assert read(LIST).framing is None
    assert read("# framing: none\n" + LIST).framing is None


def test_units_are_never_guessed() -> None:
    problem = only(LIST.replace("# unit: in\n", ""))
    assert problem.cell == "C4"
    assert "(7 numbers carry none" in problem.what  # zeros need none, and 41-3/8" carries one
    assert "# unit" in (problem.expected or "")
    assert "unknown unit" in only(LIST.replace("unit: in", "unit: yards")).what


def test_the_sign_is_never_guessed() -> None:
    problem = only(LIST.replace("# reading: height\n", ""))
    assert problem.row == 3
    assert "# reading: drop" in (problem.expected or "")
    problem = only(LIST.replace("y,reading", "y,drop"))
    assert "disagrees" in problem.what
    assert problem.row == 3


HEADING_ROWS = [
    ("x,y,readng", "unknown heading", "C4", "`reading`"),
    ("x,y,height,reading", "more than one column", "D4", "keep one"),
    ("x,x,reading", "no column for y", "A4", "first row"),
    ("x [yd],y,reading", "unit that is not known", "A4", "correct the unit"),
    ("x,reading", "no column for y", "A4", "first row"),
]


@pytest.mark.parametrize(("row", "what", "cell", "remedy"), HEADING_ROWS)
def test_headings_that_are_wrong(row: str, what: str, cell: str, remedy: str) -> None:
    found = problems(LIST.replace("x,y,reading", row))
    assert any(what in p.what and p.cell == cell and remedy in (p.remedy or "") for p in found), [str(p) for p in found]


def test_cells_beyond_the_headings_and_below_none() -> None:
    problem = only(LIST.replace("0.5", "0,5"))
    assert problem.cell == "D6"
    assert "decimal comma" in (problem.remedy or "")
    problem = only(LIST.replace("x,y,reading", "x,y,reading,").replace("0.5", "0.5,7"))
    assert problem.cell == "D6"
    assert "without a heading" in problem.what


def test_lists_with_something_missing() -> None:
    problem = only(LIST.replace("36,0,", "36,,"))
    assert (problem.cell, problem.what) == ("B6", "a reading without its y")
    problem = only(LIST.replace("0.5\n", "0.5\n# unit: ft\n"))
    assert problem.cell == "A7"
    assert "at the top" in (problem.expected or "")
    survey = read(LIST + "72,0,\n72,48,\n")
    assert len(survey.points) == 4
    assert "2 stations have no reading (C9, C10)" in survey.notes[0].what


def test_grids_that_are_wrong() -> None:
    head = "# unit: in\n# reading: height\n"
    problem = only(head + "x,0,36\n0,1,2\n48,3,4\n")
    assert (problem.cell, problem.value) == ("A3", "x")
    problem = only(head + ",0,36,0.01\n0,1,2,3\n48,3,4,5\n")
    assert problem.cell == "D3"
    assert "B3" in problem.what
    problem = only(head + ",0,\n0,1,2\n48,3,4\n")
    assert problem.cell == "C3"
    assert "x position" in problem.what
    problem = only(head + "ft,0,3\n0,1,2\n4,3,4,5\n")
    assert problem.cell == "D3"


def test_mixed_decimal_marks() -> None:
    problem = only(LIST.replace(",", ";").replace("0.5", "0,5").replace("-3/8", "1.250"))
    assert problem.cell == "C7"
    assert "C6" in problem.what


def test_all_problems_in_the_order_of_the_file() -> None:
    text = "# unti: in\n# unit: in\n# accuracy: x\n# reading: up\nx,y,reading\n0,8-Mar,n/a\nq,0,#REF!\n1,1,1\n"
    assert [problem.cell for problem in problems(text)] == ["A1", "A3", "A4", "B6", "C6", "A7", "C7"]


def test_set_ups() -> None:
    text = (
        "# unit: mm\n# benchmark: A = 100\n# benchmark: B = 200\nx,y,drop,setup,label,kind\n"
        "0,0,50,1,,\n100,0,51,1,,\n,,30,1,A,benchmark\n0,100,60,2,,\n,,40,2,A,benchmark\n,,-58,2,B,benchmark\n"
    )
    survey = read(text)
    # set-up 1: 100 + 30 = 130; set-up 2: mean of 140 and 142 = 141; height = constant - drop
    assert survey.points["height"].tolist() == [80.0, 79.0, 81.0]
    assert not survey.notes
    noted = read("# accuracy: 0.5\n" + text)
    assert "disagree by" in noted.notes[0].what
    assert "2 mm" in noted.notes[0].what
    assert noted.notes[0].cell in ("C11", "C10", "C12")
    heights = read(text.replace("drop", "height").replace("-58", "138"))
    # as heights: set-up 1: 100 - 30 = 70; set-up 2: mean of 60 and 62 = 61
    assert heights.points["height"].tolist() == [120.0, 121.0, 121.0]
    problem = only(text.replace("30,1,A,benchmark", "30,1,A,turning"))
    assert "set-up '1' reads no benchmark" in problem.what
    assert "`benchmark`" in (problem.remedy or "")
    problem = only(text.replace("40,2,A", "40,2,AA"))
    assert (problem.cell, problem.value) == ("C9", "AA")
    assert "`A`" in (problem.remedy or "")
    problem = only(text.replace("benchmark\n0", "bench\n0"))
    assert (problem.cell, problem.remedy) == ("F7", "did you mean `benchmark`?")


def test_one_set_up_without_benchmarks_keeps_its_heights() -> None:
    survey = read("# unit: mm\nx,y,drop,setup\n0,0,50,1\n100,0,51,1\n0,100,52,1\n")
    assert survey.points["height"].tolist() == [-50.0, -51.0, -52.0]


def test_the_unit_to_show_results_in() -> None:
    assert read("x,y,height\n0,0,1 mm\n1 m,0,2 mm\n0,1 m,3 mm\n").unit == "mm"
    assert read("x,y,height\n0,0,1 in\n1 ft,0,2 in\n0,1 ft,3 in\n").unit == "in"


# ---- out and back

lengths = st.floats(-1e5, 1e5).map(lambda v: v + 0.0)  # no minus zero: it is the same height
letters = st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Zl", "Zp"))
# marks that hide or turn text are read as text about them: such a survey is refused
words = st.text(letters.filter(lambda one: visible(one) == one), max_size=8).map(str.strip)


def test_a_text_with_a_hidden_mark_is_not_written(tmp_path: Path) -> None:
    hidden = make_survey([0, 900, 0], [0, 0, 700], [0, 0, 0], date="\U000e0000")
    with pytest.raises(ArgumentError, match="date differs"):
        write_survey(hidden, tmp_path / "k.csv")
    assert not list(tmp_path.iterdir())


@st.composite
def surveys(draw: st.DrawFn) -> Survey:
    count = draw(st.integers(3, 8))
    corners = [(0.0, 0.0), (900.0, 0.0), (0.0, 700.0)]
    corners += [(1000.0 + 100 * i, draw(lengths)) for i in range(count - 3)]
    texts = {name: [draw(words) for _ in range(count)] for name in ("label", "line")}
    setup = draw(words)
    attributes: dict[str, object] = {
        "surface": draw(st.sampled_from(["floor", "ceiling"])),
        "reference": draw(st.sampled_from(["level", "string"])),
        "accuracy": draw(st.one_of(st.none(), st.floats(1e-3, 50))),
        "title": draw(words),
        "date": draw(words),
        "unit": draw(st.sampled_from(["in", "ft", "mm", "cm", "m"])),
        "keys": {"by": 'crew, "A"'},
        "benchmarks": {"BM 1": draw(lengths)},
        "framing": draw(st.sampled_from([None, Framing(406.4, "y", 12.7), Framing(1000 / 3, "x", -1.0, 0.7)])),
    }
    if draw(st.booleans()):
        attributes["outline"] = Polygon([(-2e5, -2e5), (2e5, -2e5 - 1 / 3), (2e5, 2e5), (-2e5, 2e5)])
        attributes["openings"] = (Polygon([(-9e4, -9e4), (-8e4, -9e4), (-8e4, -8e4)]),)
    heights = [draw(lengths) for _ in range(count)]
    x, y = zip(*corners, strict=True)
    survey = make_survey(x, y, heights, **texts, setup=[setup] * count, **attributes)
    if draw(st.booleans()):
        known = attributes["benchmarks"]["BM 1"]  # type: ignore[index]
        tie = (np.nan, np.nan, known, known, "BM 1", setup, "", "", "benchmark")
        object.__setattr__(survey, "ties", pd.DataFrame([tie], columns=[*survey.points.columns, "kind"]))
    return survey


def test_a_height_that_a_spreadsheet_uses_for_a_date_is_written_so_that_it_reads_back(tmp_path: Path) -> None:
    survey = make_survey([0, 900, 0], [0, 0, 700], [0, 0, 36526.0])
    write_survey(survey, tmp_path / "high.csv")
    assert read_survey(tmp_path / "high.csv").points["height"].tolist() == [0, 0, 36526.0]


@settings(max_examples=60, deadline=None)
@given(surveys())
def test_what_is_written_reads_back(tmp_path_factory: pytest.TempPathFactory, survey: Survey) -> None:
    path = tmp_path_factory.mktemp("out") / "k.csv"
    write_survey(survey, path)
    again = read_survey(path)
    for mine, its in zip(survey.xyz(), again.xyz(), strict=True):
        np.testing.assert_array_equal(mine, its)
    for name in ("label", "setup", "line"):
        assert again.points[name].tolist() == survey.points[name].tolist()
    assert len(again.ties) == len(survey.ties)
    for name in ("surface", "reference", "accuracy", "title", "date", "unit"):
        assert getattr(again, name) == getattr(survey, name), name
    assert (dict(again.keys), dict(again.benchmarks)) == (dict(survey.keys), dict(survey.benchmarks))
    assert (again.outline is None) == (survey.outline is None)
    assert survey.outline is None or (again.outline is not None and again.outline.equals(survey.outline))
    assert len(again.openings) == len(survey.openings)


@pytest.mark.parametrize("text", [LIST, HEADER, *FORMS.values()])
def test_files_read_written_and_read_are_the_same(tmp_path: Path, text: str) -> None:
    survey = read(text)
    write_survey(survey, tmp_path / "again.csv")
    assert differences(survey, read_survey(tmp_path / "again.csv")) == []


def test_nothing_is_overwritten_unasked(tmp_path: Path) -> None:
    path, survey = tmp_path / "k.csv", read(LIST)
    write_survey(survey, path)
    before = path.read_bytes()
    with pytest.raises(FileExistsError, match="already"):
        write_survey(read(LIST.replace("0.5", "0.75")), path)
    with pytest.raises(SurveyFileExistsError):
        write_survey(survey, path)
    assert path.read_bytes() == before
    write_survey(read(LIST.replace("0.5", "0.75")), path, overwrite=True)
    assert read_survey(path).points["height"][1] == pytest.approx(0.75 * INCH)


def test_what_cannot_be_written_says_so(tmp_path: Path) -> None:
    four = ([0, 900, 0, 900], [0, 0, 900, 900], [0, 0, 0, 0])
    with pytest.raises(ArgumentError, match="line break"):
        write_survey(make_survey(*four, label=["a\nb", "", "", ""]), tmp_path / "k.csv")
    with pytest.raises(ArgumentError, match="title"):
        write_survey(make_survey(*four, title=" a "), tmp_path / "k.csv")
    with pytest.raises(ArgumentError, match="reads no benchmark"):
        write_survey(make_survey(*four, setup=["1", "1", "2", "2"]), tmp_path / "k.csv")
    with pytest.raises(ArgumentError, match=r"\.csv"):
        write_survey(read(LIST), tmp_path / "k.xlsx")
    with pytest.raises(FlatnessError):
        write_survey(read(LIST), tmp_path / "no" / "k.csv")
    assert not list(tmp_path.iterdir())


def test_headings_carry_their_units() -> None:
    assert "\nx_mm,y_mm,height_mm\n" in survey_text(read(LIST))


def test_differences_are_found() -> None:
    one = read(LIST)
    assert differences(one, read(LIST.replace("0.5", "0.75"))) == ["points"]
    assert differences(one, read(LIST.replace("Kitchen", "Hall"))) == ["title"]
    assert differences(one, read(LIST.replace("# unit", "# outline: 0,0; 9 ft,0; 9 ft,9 ft; 0,9 ft\n# unit"))) == [
        "outline or openings"
    ]


def test_examples_in_the_docstrings() -> None:
    for module in (files, cells):
        assert doctest.testmod(module).failed == 0


@pytest.mark.parametrize("text", ["41 3/8", "3/8", "-1 1/16", "41-3/8", "\u00bd", "41\u00bd"])
def test_fractions_under_a_metric_unit_are_refused_and_with_their_own_unit_taken(text: str) -> None:
    whole = f"# unit: mm\n# reading: drop\nx,y,drop\n0,0,{text}\n900,0,{text}\n0,700,12.5\n900,700,12\n"
    with pytest.raises(SurveyFileError, match=r"2 readings are such.*(\n.*)*# unit: in"):
        read(whole)
    taken = read(whole.replace(f",{text}", f",{text} in"))
    assert taken.points.reading.iloc[0] == pytest.approx(parse_length(text, "in"))


def test_a_position_in_a_fraction_of_a_metre_is_taken() -> None:
    survey = read("# unit: m\n# reading: drop\nx,y,drop\n0,0,1.2\n1/2,0,1.2\n0,1/2,1.2\n")
    assert survey.points.x.max() == 500
