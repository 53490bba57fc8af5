"""Blank sheets: what is filled in reads back, on the positions written; nothing runs, nothing is overwritten."""

import csv
import io

import numpy as np
import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import box

from flatness import ArgumentError, SurveyFileError, read_survey
from flatness.survey.files import SurveyFileExistsError
from flatness.survey.sheets import blank_sheet, grid_positions

FT = 304.8
X, Y = np.array([0, 4, 8, 11]) * FT, np.array([0, 4, 6.5]) * FT
FRACTIONS = ["3/8", "1 1/16", "5/32", '2-1/8"', "0.375", "7/64"]
INCHES = [3 / 8, 17 / 16, 5 / 32, 17 / 8, 3 / 8, 7 / 64]  # the same by hand


def write(tmp_path, ending, **about):
    path = tmp_path / f"sheet{ending}"
    blank_sheet(X, Y, path, **{"title": "Loft", "accuracy": 25.4 / 32, "outline": box(0, 0, X[-1], Y[-1]), **about})
    return path


def fill(path, texts):
    """Type texts, one after another, into the cells of a sheet as a person would; a new file."""
    texts = iter(texts)
    if path.suffix == ".xlsx":
        book = openpyxl.load_workbook(path)
        sheet = book.active
        top = next(row for row in range(1, sheet.max_row + 1) if sheet.cell(row, 1).value == "y\\x")
        for row in range(top + 1, top + 1 + len(Y)):
            for column in range(2, 2 + len(X)):
                assert sheet.cell(row, column).number_format == "@"  # Text: 3/8 is not made a date
                sheet.cell(row, column).value = next(texts)
        out = path.with_name(f"filled{path.suffix}")
        book.save(out)
        return out
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
    top = next(k for k, row in enumerate(rows) if row[0] == "y\\x")
    for row in rows[top + 1 :]:
        assert row[1:] == [""] * len(X)
        row[1:] = [next(texts) or "" for _ in X]
    out = path.with_name("filled.csv")
    with out.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(rows)
    return out


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_a_filled_sheet_reads_back(tmp_path, ending):
    survey = read_survey(fill(write(tmp_path, ending), FRACTIONS * 2))
    gx, gy = np.meshgrid(X, Y)
    assert np.allclose(survey.points[["x", "y"]], np.column_stack([gx.ravel(), gy.ravel()]), atol=1e-6)
    # a drop: the larger, the lower
    assert np.allclose(survey.points["reading"], np.array(INCHES * 2) * 25.4, atol=1e-9)
    assert np.allclose(np.diff(survey.points["height"]), -np.diff(np.array(INCHES * 2) * 25.4), atol=1e-9)
    assert (survey.title, survey.surface, survey.reference, survey.quantity) == ("Loft", "floor", "level", "drop")
    assert survey.accuracy == pytest.approx(25.4 / 32, abs=1e-9)
    assert survey.outline.equals(box(0, 0, X[-1], Y[-1]))


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_cells_left_empty_were_not_taken(tmp_path, ending):
    texts = [*FRACTIONS, None, None, *FRACTIONS]
    survey = read_survey(fill(write(tmp_path, ending), texts[:12]))
    assert len(survey.points) == 10


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_an_empty_sheet_says_that_it_has_no_readings(tmp_path, ending):
    with pytest.raises(SurveyFileError, match="reading"):
        read_survey(write(tmp_path, ending))


def test_both_kinds_of_file_hold_the_same_cells(tmp_path):
    rows = list(csv.reader(io.StringIO(write(tmp_path, ".csv").read_text(encoding="utf-8-sig"))))
    sheet = openpyxl.load_workbook(write(tmp_path, ".xlsx")).active
    cells = [[value or "" for value in row] for row in sheet.iter_rows(values_only=True)]
    width = 1 + len(X)
    assert cells == [row + [""] * (width - len(row)) for row in rows]


def test_a_workbook_is_set_up_to_print_and_to_type_into(tmp_path):
    book = openpyxl.load_workbook(write(tmp_path, ".xlsx"))
    sheet = book.active
    assert len(book.worksheets) == 1  # the reader refuses several that are not empty
    top = next(row for row in range(1, sheet.max_row + 1) if sheet.cell(row, 1).value == "y\\x")
    assert sheet.freeze_panes == f"B{top + 1}"
    assert sheet.sheet_properties.pageSetUpPr.fitToPage
    assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 0)
    assert "Leave empty" in sheet.cell(top, 1).comment.text
    widths = [sheet.column_dimensions[letter].width for letter in "ABCDE"]
    assert all(width >= len("11' 0\"") for width in widths)


@pytest.mark.parametrize("unit", ["in", "ft", "mm", "cm", "m"])
@pytest.mark.parametrize("surface", ["floor", "ceiling", "wall"])
def test_every_unit_and_surface(tmp_path, unit, surface):
    path = write(tmp_path, ".csv", unit=unit, surface=surface, reading="height", outline=None)
    survey = read_survey(fill(path, [str(k) for k in range(12)]))
    mm = {"in": 25.4, "ft": 304.8, "mm": 1, "cm": 10, "m": 1000}[unit]
    assert np.allclose(survey.points["height"], np.arange(12) * mm)
    tape = 25.4 / 32 if unit in ("in", "ft") else 0.5  # positions are written as a tape shows them
    assert np.allclose(np.unique(survey.points["x"]), X, atol=tape + 1e-6)
    assert survey.reference == ("plumb" if surface == "wall" else "level")


def test_places_off_the_surface_are_left_out(tmp_path):
    path = write(tmp_path, ".xlsx", openings=[box(3.5 * FT, 3 * FT, 9 * FT, 5 * FT)])
    sheet = openpyxl.load_workbook(path).active
    top = next(row for row in range(1, sheet.max_row + 1) if sheet.cell(row, 1).value == "y\\x")
    fills = [[sheet.cell(top + 1 + i, 2 + k).fill.fill_type for k in range(4)] for i in range(3)]
    assert fills == [[None] * 4, [None, "solid", "solid", None], [None] * 4]


@pytest.mark.parametrize(
    "title", ["=1+1", "@SUM(A1)", "+44", "-2", 'a "quoted", title; here', "# title: x", "\u00e9t\u00e9"]
)
@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_no_title_is_a_formula_and_each_reads_back(tmp_path, ending, title):
    path = write(tmp_path, ending, title=title)
    if ending == ".xlsx":
        cells = [cell for row in openpyxl.load_workbook(path).active.iter_rows() for cell in row]
        assert not [cell.coordinate for cell in cells if cell.data_type == "f"]
    else:
        rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig"))))
        assert not [text for row in rows for text in row if text.startswith(("=", "+", "-", "@"))]
    assert read_survey(fill(path, FRACTIONS * 2)).title == title


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
def test_no_file_is_overwritten_unasked(tmp_path, ending):
    path = write(tmp_path, ending)
    before = path.read_bytes()
    with pytest.raises(SurveyFileExistsError, match=path.name):
        write(tmp_path, ending, title="Other")
    assert path.read_bytes() == before
    write(tmp_path, ending, title="Other", overwrite=True)
    assert path.read_bytes() != before


@pytest.mark.parametrize(
    ("about", "word"),
    [
        ({"title": "two\nlines"}, "title"),
        ({"unit": "yd"}, "unit"),
        ({"reading": "depth"}, "reading"),
        ({"surface": "roof"}, "surface"),
        ({"reference": "plumb"}, "reference"),
        ({"accuracy": 0.0}, "accuracy"),
        ({"accuracy": np.nan}, "accuracy"),
    ],
)
def test_bad_input_writes_nothing(tmp_path, about, word):
    with pytest.raises(ArgumentError, match=word):
        write(tmp_path, ".csv", **about)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("x", [[0.0], [0.0, 0.0, 500.0], [0.0, 500.0, 400.0], [0.0, np.nan], [[0.0, 1.0]]])
def test_positions_must_rise(tmp_path, x):
    with pytest.raises(ArgumentError, match="positions"):
        blank_sheet(x, Y, tmp_path / "s.csv")


def test_other_endings_are_refused(tmp_path):
    with pytest.raises(ArgumentError, match="csv"):
        blank_sheet(X, Y, tmp_path / "sheet.ods")


@settings(max_examples=200, deadline=None)
@given(st.floats(500, 50_000), st.floats(100, 5000))
def test_stations_go_from_wall_to_wall(extent, step):
    found = grid_positions(extent, step)
    gaps = np.diff(found)
    assert (found[0], found[-1]) == (0, extent)
    assert np.allclose(gaps[:-1], step)
    # closed form: less than a quarter of a step left over is added to the last whole step
    assert 0 < gaps[-1] <= max(1.25 * step, 0) + 1e-6
    assert gaps[-1] >= min(0.25 * step, extent) - 1e-6


@pytest.mark.parametrize(("extent", "step"), [(0, 10), (10, 0), (np.inf, 1), (1, np.nan), (1e6, 1e-3)])
def test_impossible_grids(extent, step):
    with pytest.raises(ArgumentError):
        grid_positions(extent, step)
