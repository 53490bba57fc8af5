"""The sheet for more readings: what was read stays as it was read, and what is filled in joins it."""

import csv

import numpy as np
import pandas as pd
import pytest

import flatness
from flatness.__main__ import main
from flatness.survey.files import differences
from flatness.words.checks import write_more_sheet

pytestmark = pytest.mark.usefixtures("coarse_lattice")

PLACES = pd.DataFrame({"x": [762.0, 1981.2], "y": [304.8, 914.4], "times": [2, 2]})
GRID = """# title: Back room, =1+1
# unit: in
# reading: drop
# accuracy: 1/32 in
# outline: (0, 0) (8ft, 0) (8ft, 4ft) (0, 4ft)
ft,0,4,8
0,41 3/8,41 7/16,41 1/2
4,41 7/16,,41 9/16
"""
TWO_SETUPS = """# unit: mm
# reading: drop
# benchmark: nail = 900 mm
x,y,reading,setup,kind,label
0,0,1000,a,,
2000,0,1002,a,,
,,100,a,benchmark,nail
2000,0,1502,b,,
2000,2000,1503,b,,
0,2000,1500,b,,
,,600,b,benchmark,nail
"""


def read(path, text):
    path.write_text(text, encoding="utf-8")
    return flatness.read_survey(path)


@pytest.mark.parametrize("text", [GRID, TWO_SETUPS])
def test_left_empty_it_is_the_survey_that_was(tmp_path, text):
    survey = read(tmp_path / "old.csv", text)
    assert write_more_sheet(survey, PLACES, tmp_path / "more.csv", "in")
    again = flatness.read_survey(tmp_path / "more.csv")
    assert differences(survey, again) == []
    np.testing.assert_array_equal(again.points.reading, survey.points.reading)
    assert again.quantity == "drop"


def test_it_stands_in_the_units_of_the_tape(tmp_path):
    write_more_sheet(read(tmp_path / "old.csv", GRID), PLACES, tmp_path / "more.csv", "in")
    text = (tmp_path / "more.csv").read_text()
    assert "48 in,0 in,41 7/16 in" in text
    assert " mm" not in text
    write_more_sheet(read(tmp_path / "old.csv", GRID), PLACES, tmp_path / "other.csv", "mm")
    assert "1219.2 mm,0 mm,1052.5125 mm" in (tmp_path / "other.csv").read_text()


def test_filled_in_by_hand_the_readings_join_those_that_were(tmp_path):
    survey = read(tmp_path / "old.csv", GRID)
    write_more_sheet(survey, PLACES, tmp_path / "more.csv", "in")
    rows = list(csv.reader((tmp_path / "more.csv").read_text().splitlines()))
    empty = [row for row in rows if row[-1].startswith("more ")]
    for row, typed in zip(empty, ["41 3/8", "41.5", "1060 mm", ""], strict=True):
        assert row[2] == ""
        row[2] = typed
    with (tmp_path / "filled.csv").open("w", newline="") as file:
        csv.writer(file).writerows(rows)
    filled = flatness.read_survey(tmp_path / "filled.csv")
    assert len(filled.points) == len(survey.points) + 3
    new = filled.points.iloc[-3:]
    # 2' 6" by 1' twice, 6' 6" by 3' once
    np.testing.assert_allclose(new.x, [762, 762, 1981.2])
    np.testing.assert_allclose(new.y, [304.8, 304.8, 914.4])
    np.testing.assert_allclose(new.reading, [41.375 * 25.4, 41.5 * 25.4, 1060])
    assert list(new.label) == ["more 1.1", "more 1.2", "more 2.1"]
    # height = constant - drop, with one constant for all
    assert np.ptp(filled.points.height + filled.points.reading) < 1e-9


def test_a_sheet_that_is_there_may_be_filled_in_and_is_left(tmp_path):
    survey = read(tmp_path / "old.csv", GRID)
    path = tmp_path / "more.csv"
    path.write_text("filled in")
    assert not write_more_sheet(survey, PLACES, path, "in")
    assert path.read_text() == "filled in"


def test_the_command_writes_it_beside_the_pictures_and_leaves_it_the_second_time(tmp_path, capsys):
    path, out = tmp_path / "old.csv", tmp_path / "out"
    read(path, GRID)
    survey = flatness.read_survey(path)
    median = flatness.check(survey, flatness.straightedge_limit(1219.2, 3.0), draws=40).likely_mm[0]
    asked = ["check", str(path), "--straightedge", "4ft", "--allowed", f"{median:.4f}mm", "--draws", "40", "--out"]
    assert main([*asked, str(out)]) == 3
    assert "old-more.csv, to fill in" in capsys.readouterr().out
    assert ",more 1" in (out / "old-more.csv").read_text()
    assert main([*asked, str(out)]) == 3
    assert "left as it is" in capsys.readouterr().out
