"""Readings and positions typed wrong: found by cell with what was meant, in CSV and XLSX alike; real floors are not."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from flatness.errors import Problem, SurveyFileError
from flatness.survey.cells import meant
from flatness.survey.files import read_survey
from flatness.survey.readings import Survey

Grid = list[list[str]]
HEAD = ["# unit: in", "# reading: drop"]
EIGHTHS = ["", " 1/8", " 1/4", " 3/8", " 1/2", " 5/8", " 3/4", " 7/8"]
SAMPLES = Path(__file__).parents[2] / "sample_surveys"
FORMS = pytest.mark.parametrize("form", ["csv", "xlsx"])


def grid(corner: str = "ft", step: float = 2, nx: int = 8, ny: int = 6, seed: int = 1) -> Grid:
    """A typed grid of drops from 41 to 41 3/4 in; cell C4 stands at the second x and the second y."""
    eighths = np.random.default_rng(seed).integers(0, 7, (ny, nx))
    rows = [[corner, *(f"{k * step:g}" for k in range(nx))]]
    return rows + [[f"{k * step:g}", *(f"41{EIGHTHS[e]}" for e in eighths[k])] for k in range(ny)]


def read(rows: Grid, form: str, head: Sequence[str] = HEAD) -> Survey:
    if form == "csv":
        return read_survey("\n".join([*head, *(",".join(row) for row in rows)]).encode(), name="g.csv")
    workbook = openpyxl.Workbook()
    for line in [*([one] for one in head), *rows]:
        # whole numbers and decimals as numbers, as a spreadsheet keeps them; fractions as text
        workbook.active.append([float(t) if t.replace(".", "").lstrip("-").isdigit() else t for t in line])
    file = io.BytesIO()
    workbook.save(file)
    return read_survey(file.getvalue(), name="g.xlsx")


def problems(rows: Grid, form: str, head: Sequence[str] = HEAD) -> list[Problem]:
    with pytest.raises(SurveyFileError) as caught:
        read(rows, form, head)
    return list(caught.value.problems)


def only(rows: Grid, form: str, head: Sequence[str] = HEAD) -> Problem:
    found = problems(rows, form, head)
    assert len(found) == 1, [str(one) for one in found]
    assert found[0].expected
    assert found[0].remedy
    return found[0]


@FORMS
@pytest.mark.parametrize("corner", ["ft", "in"])
def test_a_sound_grid_reads_without_a_word(form: str, corner: str) -> None:
    assert read(grid(corner, 2 if corner == "ft" else 24), form).notes == ()


@FORMS
@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("-41 5/8", "did you mean 41 5/8?"),
        ("4.15", "did you mean 41.5?"),
        ("415", "did you mean 41.5?"),
        ("14", "did you mean 41?"),
        ("14 5/8", "did you mean 41 5/8?"),
        ("1054", "did you mean 1054 mm?"),
        ("105.4", "did you mean 105.4 cm?"),
        ("4138", "did you mean 41 3/8?"),
        ("-41.5", "did you mean 41.5?"),
    ],
)
def test_a_reading_typed_wrong_is_named_with_what_was_meant(typed: str, said: str, form: str) -> None:
    rows = grid()
    rows[3][4] = typed
    problem = only(rows, form)
    assert problem.cell == "E6"
    assert problem.value == typed
    assert said in (problem.remedy or "")
    assert "41" in (problem.expected or "")


def test_two_slips_side_by_side_are_both_named() -> None:
    rows = grid()
    rows[3][4], rows[3][5] = "4.15", "-41"
    assert [one.cell for one in problems(rows, "csv")] == ["E6", "F6"]


def test_a_slip_is_named_in_a_list_and_in_one_report_with_others() -> None:
    lines = [f"{x},{y},41.{(3 * x + y) % 7}" for x in range(0, 96, 24) for y in range(0, 96, 24)]
    lines[5] = "24,24,4.15"
    head = "# unit: in\nx,y,drop\n"
    with pytest.raises(SurveyFileError) as caught:
        read_survey((head + "\n".join(lines)).encode(), name="k.csv")
    assert [one.cell for one in caught.value.problems] == ["C8"]
    lines[9] = "48,24,8-Mar"
    with pytest.raises(SurveyFileError) as caught:
        read_survey((head + "\n".join(lines)).encode(), name="k.csv")
    assert [one.cell for one in caught.value.problems] == ["C8", "C12"]


def heights(z: np.ndarray, unit: str = "in") -> Survey:
    """A typed grid of heights, a foot apart, to a tenth of a millimetre or a hundredth of an inch."""
    rows = [["ft", *map(str, range(z.shape[1]))]]
    rows += [[str(k), *(f"{v:.2f}" for v in line)] for k, line in enumerate(z)]
    return read(rows, "csv", [f"# unit: {unit}", "# reading: height"])


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_real_floors_ramps_and_walls_read_without_a_question(unit: str) -> None:
    size = 1.0 if unit == "in" else 25.4
    y, x = np.mgrid[0:14.0, 0:18.0]
    rng = np.random.default_rng(3)
    noise = rng.normal(0, 1 / 32, x.shape)
    surfaces = {
        "wall": x / 17 + noise,
        "through zero": x / 17 - 0.5 + noise,
        "ramp": x + noise,
        "steep": 3 * x + noise,
        "wavy": 0.5 * np.sin(x) * np.cos(0.7 * y) + noise,
        "long wave": 2 * np.sin(x / 4) + noise,
        "low corner": -1.5 * np.exp(-(x + y) / 4) + noise,
    }
    for name, z in surfaces.items():
        assert heights(size * z, unit).notes == (), name
        # as drops, read down from a laser line
        rows = [["ft", *map(str, range(18))]]
        rows += [[str(k), *(f"{size * (75 - v):.2f}" for v in line)] for k, line in enumerate(z)]
        assert read(rows, "csv", [f"# unit: {unit}", "# reading: drop"]).notes == (), name


def test_near_zero_a_slip_is_a_question_with_what_may_have_been_meant() -> None:
    rows = grid()
    rng = np.random.default_rng(4)
    for row in rows[1:]:
        row[1:] = [f"{v:.2f}" for v in rng.uniform(0.2, 0.35, len(row) - 1)]
    rows[3][4] = "7"
    notes = read(rows, "csv", ["# unit: in", "# reading: height"]).notes
    assert [note.cell for note in notes] == ["E6"]
    assert "did you mean 7 mm?" in (notes[0].remedy or "")


@FORMS
def test_a_heading_typed_ten_times_too_large(form: str) -> None:
    rows = grid()
    rows[0][3] = "40"
    problem = only(rows, form)
    assert (problem.cell, problem.value) == ("D3", "40")
    assert "out of order" in problem.what
    assert "did you mean 4?" in (problem.remedy or "")
    rows = grid()
    rows[0][7] = "120"
    assert "did you mean 12?" in (only(rows, form).remedy or "")
    last = grid()
    last[6][0] = "100"
    problem = only(last, form)
    assert problem.cell == "A9"
    assert "did you mean 10?" in (problem.remedy or "")


@FORMS
def test_positions_out_of_order(form: str) -> None:
    rows = grid()
    rows[4][0] = "3"
    problem = only(rows, form)
    assert problem.cell == "A7"
    assert "out of order" in problem.what
    # two changed about, and a grid whose y fall from row to row
    rows = grid()
    rows[0][4], rows[0][5] = rows[0][5], rows[0][4]
    assert {one.cell for one in problems(rows, form)} <= {"E3", "F3"}
    rows = grid()
    assert read([rows[0], *rows[:0:-1]], form).notes == ()


@FORMS
def test_a_position_off_even_steps_is_a_question(form: str) -> None:
    rows = grid()
    rows[0][4] = "5"
    notes = read(rows, form).notes
    assert [note.cell for note in notes] == ["E3"]
    assert "6'" in (notes[0].expected or "")
    # a last column at the wall, and a gap where a chimney stands, are no slips
    rows = grid()
    rows[0][-1] = "12.6"
    assert read(rows, form).notes == ()
    rows = grid()
    for k in range(5, 9):
        rows[0][k] = f"{2 * k + 4}"
    assert read(rows, form).notes == ()


@FORMS
@pytest.mark.parametrize(("corner", "step"), [("ft", 2), ("in", 24), ("", 24)])
def test_a_row_moved_one_cell_left(form: str, corner: str, step: int) -> None:
    rows = grid(corner, step)
    rows[4] = [*rows[4][1:], ""]
    problem = only(rows, form)
    assert problem.cell == "A7"
    assert "one cell to the left" in problem.what
    assert "one cell to the right" in (problem.remedy or "")


@FORMS
def test_a_row_of_heights_moved_one_cell_left(form: str) -> None:
    rows = grid()
    for row in rows[1:]:
        row[1:] = [text.replace("41", "0") for text in row[1:]]
    rows[4] = [*rows[4][1:], ""]
    found = problems(rows, form, ["# unit: in", "# reading: height"])
    assert [one.cell for one in found] == ["A7"]
    assert "one cell to the left" in found[0].what


@FORMS
@pytest.mark.parametrize(("corner", "step"), [("ft", 2), ("in", 24), ("ft", 4)])
def test_a_column_moved_one_cell_up(form: str, corner: str, step: int) -> None:
    rows = grid(corner, step)
    column = [row[4] for row in rows]
    for row, cell in zip(rows, [*column[1:], ""], strict=True):
        row[4] = cell
    found = only(rows, form)
    assert found.cell == "E3"
    assert "moved one cell up" in found.what
    assert found.remedy == "move the column one cell down and type its position first"


def test_a_short_column_of_a_room_that_is_not_square_is_not_moved() -> None:
    rows = grid()
    rows[-1][4] = rows[-1][5] = ""
    assert [note.what[:10] for note in read(rows, "csv").notes] == ["2 stations"]


def test_a_short_row_of_a_room_that_is_not_square_is_not_moved() -> None:
    rows = grid()
    for k in (4, 5, 6):
        rows[k][-2:] = ["", ""]
    # (the corner that has no readings is noted, as always)
    assert [note.what[:10] for note in read(rows, "csv").notes] == ["6 stations"]


@FORMS
@pytest.mark.parametrize(("unit", "step", "said"), [("in", 2, "ft"), ("mm", 0.6, "m"), ("in", 600, "mm")])
def test_a_room_too_small_or_too_large_asks_for_the_unit(form: str, unit: str, step: float, said: str) -> None:
    rows = grid("", step)
    if unit == "mm":
        for row in rows[1:]:
            row[1:] = [f"{1041 + k}" for k in range(len(row) - 1)]
        rows[2][3] = "1050"
    head = [f"# unit: {unit}", "# reading: drop"]
    problem = only(rows, form, head)
    assert problem.cell == "A3"
    assert said in (problem.expected or "").split("such as ")[1].split(" or ")
    assert "corner" in (problem.remedy or "")
    # once it is said, the surface is what it is
    rows[0][0] = unit
    assert len(read(rows, form, head).points) == 48


def test_a_list_asks_for_the_unit_in_its_headings() -> None:
    lines = "\n".join(f"{x},{y},41.{x + y}" for x in range(5) for y in range(5))
    with pytest.raises(SurveyFileError) as caught:
        read_survey(f"# unit: in\nx,y,drop\n{lines}".encode(), name="k.csv")
    (problem,) = caught.value.problems
    assert problem.cell == "A2"
    assert "x [ft]" in (problem.remedy or "")
    assert len(read_survey(f"# unit: in\nx [in],y [in],drop\n{lines}".encode(), name="k.csv").points) == 25


def test_a_station_of_a_list_far_from_all_others() -> None:
    lines = [f"{x},{y},41.{x % 3 + y % 4}" for x in range(0, 12, 2) for y in range(0, 12, 2)]
    lines[9] = lines[9].replace("2,6,", "20,6,", 1).replace("20,6", "2,60")
    with pytest.raises(SurveyFileError) as caught:
        read_survey(("# unit: in\nx [ft],y [ft],drop\n" + "\n".join(lines)).encode(), name="k.csv")
    (problem,) = caught.value.problems
    assert problem.cell == "B12"
    assert "did you mean 6?" in (problem.remedy or "")


@FORMS
def test_a_row_or_column_copied_is_a_question(form: str) -> None:
    rows = grid()
    rows[5][1:] = rows[2][1:]
    notes = read(rows, form).notes
    assert [note.cell for note in notes] == ["A8"]
    assert "row at A5" in notes[0].what
    rows = grid(nx=6, ny=9)
    for row in rows[1:]:
        row[4] = row[2]
    notes = read(rows, form).notes
    assert [note.cell for note in notes] == ["E3"]
    assert "column at C3" in notes[0].what


def test_equal_rows_of_an_even_floor_or_a_ramp_are_no_copies() -> None:
    flat = grid()
    for row in flat[1:]:
        row[1:] = ["41 1/4"] * 8
    flat[2][3] = "41 1/8"
    assert read(flat, "csv").notes == ()
    ramp = grid()
    for row in ramp[1:]:
        row[1:] = [f"41{EIGHTHS[k]}" for k in range(8)]
    assert read(ramp, "csv").notes == ()


def test_random_grids_raise_no_question() -> None:
    for seed in range(200):
        read_notes = read(grid(seed=seed), "csv").notes
        assert all("copied" not in (note.remedy or "") and "position" not in note.what for note in read_notes)


def test_candidates_are_lengths_of_their_own() -> None:
    said = dict(meant("41 5/8", "in"))
    assert said["-41 5/8"] == pytest.approx(-41.625 * 25.4)
    assert "41 5/8 in" not in said
    assert dict(meant("2,5", "in", decimal_comma=True))["25"] == pytest.approx(25 * 25.4)


# a curve without readings is there to be set out
READ = [path for path in sorted(SAMPLES.glob("*/*.csv")) if not path.match("oval_room/bench.csv")]


@pytest.mark.parametrize("path", READ, ids=lambda path: path.stem)
def test_samples_raise_no_new_question(path: Path) -> None:
    if path.stem == "with_mistakes":
        with pytest.raises(SurveyFileError) as caught:
            read_survey(path)
        assert all("neighbours rule out" not in p.what and "position" not in p.what for p in caught.value.problems)
        return
    assert all("position" not in note.what and "copied" not in (note.remedy or "") for note in read_survey(path).notes)


def test_a_reading_left_out_within_a_row_is_no_shift_in_silence(tmp_path: Path) -> None:
    """All that follow would stand one place too far left."""
    rows = ["# surface: floor", "# unit: in", "# reading: drop", "ft,0,2,4,6", "0,41,41 1/8,41,41 1/4"]
    rows += ["2,41,41,41", "4,41,41 1/8,41,41", "6,41,41,41 1/8,41"]
    path = tmp_path / "floor.csv"
    path.write_text("\n".join(rows))
    with pytest.raises(SurveyFileError) as caught:
        read_survey(path)
    (problem,) = caught.value.problems
    assert problem.row == 6
    assert "has 4 cells, and the first row has 5" in problem.what
    # said by an empty cell, it is a place that was not read
    path.write_text("\n".join(rows).replace("2,41,41,41", "2,41,,41,41"))
    assert len(read_survey(path).points) == 15


def as_list(rows: Grid) -> Grid:
    """The same as a list: x, y and reading, a station a row; the first is row 4."""
    (_, *along), *lines = rows
    return [["x [ft]", "y [ft]", "reading"]] + [
        [x, y, cell] for y, *cells in lines for x, cell in zip(along, cells, strict=True)
    ]


def test_a_sound_list_reads_without_a_word() -> None:
    for seed in range(20):
        assert not read(as_list(grid(seed=seed)), "csv").notes


@FORMS
def test_a_row_of_a_list_moved_one_cell_left(form: str) -> None:
    rows = as_list(grid())
    rows[10] = [*rows[10][1:], ""]
    found = only(rows, form)
    assert (found.row, found.column) == (13, "B")
    assert "moved one cell to the left" in found.what
    labelled = [["label", *rows[0]], *([f"S{k}", *row] for k, row in enumerate(as_list(grid())[1:], 1))]
    labelled[10] = [*labelled[10][1:], ""]
    assert only(labelled, form).column == "C"


@FORMS
def test_a_line_of_a_list_typed_ten_times_too_large(form: str) -> None:
    rows = [[x, {"6": "60"}.get(y, y), reading] for x, y, reading in as_list(grid())]
    found = only(rows, form)
    assert (found.row, found.column, found.value) == (28, "B", "60")
    assert "did you mean 6?" in str(found.remedy)
    # 37 is no position's digits: a question, and the file is read
    rows = [[x, {"10": "37"}.get(y, y), reading] for x, y, reading in as_list(grid())]
    (note,) = [one for one in read(rows, form).notes if "is usual" in one.what]
    assert note.cell == "B44"


def test_lines_of_a_list_copied_and_a_row_repeated_are_questions() -> None:
    rows = as_list(grid())
    for k in range(8):
        rows[1 + 24 + k][2] = rows[1 + 16 + k][2]
    (note,) = read(rows, "csv").notes
    assert "the 8 readings of this line are those of the line at C20" in note.what
    assert note.cell == "C28"
    rows = as_list(grid())
    rows[10] = list(rows[9])
    (note,) = read(rows, "csv").notes
    assert "row 13 repeats the place and the reading of row 12" in note.what
    # a station read twice, and every other one too, is none
    rows = as_list(grid())
    assert not read([*rows, rows[9]], "csv").notes


@pytest.mark.parametrize(("typed", "said"), [("41 38", "41 3/8"), ("-41 58", "-41 5/8"), ("5 316", "5 3/16")])
def test_a_fraction_without_its_stroke_is_told_what_was_meant(typed: str, said: str) -> None:
    rows = grid()
    rows[2][3] = typed
    assert f"did you mean {said}? " in str(only(rows, "csv").remedy)
    rows[2][3] = "41 39"  # no ninth is on a tape
    assert "did you mean" not in str(only(rows, "csv").remedy)


def test_what_is_asked_of_the_unit_names_one_that_fits() -> None:
    found = only([["x", "y", "reading"], *as_list(grid())[1:]], "csv")
    assert "read as inches" in found.what
    assert "x [ft]" in str(found.remedy)
    millimeters = [[str(int(x) * 300), str(int(y) * 300), reading] for x, y, reading in as_list(grid())[1:]]
    assert "x [mm]" in str(only([["x", "y", "reading"], *millimeters], "csv").remedy)


def test_one_station_without_a_reading_is_told_as_one() -> None:
    rows = grid()
    rows[2][3] = ""
    (note,) = read(rows, "csv").notes
    assert note.what.startswith("1 station has no reading (D5)")
