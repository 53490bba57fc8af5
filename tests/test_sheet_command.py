"""``flatness sheet``: words, JSON, the files written, exit codes."""

import json

import openpyxl
import pytest

from flatness import SurveyFileError, read_survey
from flatness.__main__ import main

pytestmark = pytest.mark.usefixtures("coarse_lattice")

FT = 304.8
ROOM = ["--length", "12ft", "--width", "10ft", "--accuracy", "1/32in"]
LIMIT = ["--straightedge", "6ft", "--allowed", "1/8"]
FEW = ["--rooms", "10"]


def run(capsys, *arguments):
    code = main(["sheet", *map(str, arguments)])
    out = capsys.readouterr()
    return code, out.out, out.err


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_the_report_reads_well_80_wide(capsys, tmp_path, unit):
    code, out, err = run(capsys, *ROOM, "--limit", "wood-glued", *FEW, "--out", tmp_path, "--unit", unit)
    assert (code, err) == (0, "")
    report, written = out.split("\nwritten: ", 1)
    assert max(map(len, report.splitlines())) <= 80
    assert report.count("on the sheet") == 1
    assert "Assumed:" in report
    assert written.split() == [str(tmp_path / "floor-readings.csv"), "written:", str(tmp_path / "floor-readings.xlsx")]


def test_json_is_one_object_and_the_files_are_there(capsys, tmp_path):
    step = ["--step", "3ft"]  # one of the usual steps: it is not listed twice
    code, out, err = run(
        capsys, *ROOM, *LIMIT, *FEW, "--out", tmp_path / "new", "--title", "Back room", *step, "--json"
    )
    found = json.loads(out)
    assert (code, err) == (0, "")
    assert found["step_mm"] == pytest.approx(3 * FT)
    assert [row["step_mm"] / FT for row in found["grids"]] == pytest.approx([1, 1.5, 2, 3, 4])
    assert found["accuracy_mm"] == 25.4 / 32
    assert found["length_mm"] == pytest.approx(12 * FT)
    row = next(row for row in found["grids"] if row["step_mm"] == found["step_mm"])
    assert (row["columns"], row["rows"], row["readings"]) == (5, 5, 25)
    assert all(0 <= row["undecided"] <= 1 and 0 <= row["wrong"] <= 1 for row in found["grids"])
    good = [row["step_mm"] for row in found["grids"] if row["undecided"] <= found["target"]]
    assert found["recommended_step_mm"] == max(good, default=None)
    assert found["x_mm"] == pytest.approx([0, 3 * FT, 6 * FT, 9 * FT, 12 * FT])
    assert found["y_mm"] == pytest.approx([0, 3 * FT, 6 * FT, 9 * FT, 10 * FT])
    assert [name.rsplit("/", 1)[1].lower() for name in found["written"]] == ["back-room.csv", "back-room.xlsx"]


def test_the_sheet_is_filled_in_and_checked(capsys, tmp_path):
    assert run(capsys, *ROOM, *LIMIT, *FEW, "--out", tmp_path, "--step", "2ft")[0] == 0
    path = tmp_path / "floor-readings.xlsx"
    with pytest.raises(SurveyFileError, match="reading"):
        read_survey(path)
    book = openpyxl.load_workbook(path)
    sheet = book.active
    top = next(row for row in range(1, sheet.max_row + 1) if sheet.cell(row, 1).value == "y\\x")
    for row in range(top + 1, top + 7):
        for column in range(2, 9):
            sheet.cell(row, column).value = "41 3/8"
    book.save(path)
    survey = read_survey(path)
    assert len(survey.points) == 42
    assert survey.points["x"].max() == pytest.approx(12 * FT)
    assert survey.points["y"].max() == pytest.approx(10 * FT)
    assert set(survey.points["reading"]) == {41.375 * 25.4}
    assert main(["check", str(path), *LIMIT, "--draws", "20"]) == 0  # dead flat


def test_an_odd_step_and_metric(capsys, tmp_path):
    code, out, _ = run(
        capsys,
        "--length",
        "4 m",
        "--width",
        "3m",
        "--accuracy",
        "1mm",
        "--straightedge",
        "2m",
        "--allowed",
        "4mm",
        "--step",
        "700mm",
        *FEW,
        "--out",
        tmp_path,
        "--surface",
        "wall",
        "--title",
        "",
    )
    assert code == 0
    assert "0.7 m" in next(line for line in out.splitlines() if "on the sheet" in line)
    text = (tmp_path / "wall-readings.csv").read_text(encoding="utf-8-sig")
    # 4000 / 700 is five steps and 500 mm over, 3000 / 700 four steps and 200 mm
    assert "y\\x,0,700,1400,2100,2800,3500,4000\n" in text
    assert "\n3000,,,,,,,\n" in text
    assert "# reference: plumb" in text


def test_a_hopeless_instrument_is_said_to_be(capsys, tmp_path):
    code, out, _ = run(
        capsys, "--length", "8ft", "--width", "6ft", "--accuracy", "4in", *LIMIT, *FEW, "--out", tmp_path
    )
    assert code == 0
    assert "No grid here" in out


def test_nothing_is_overwritten_unasked(capsys, tmp_path):
    kept = tmp_path / "floor-readings.xlsx"
    kept.write_bytes(b"mine")
    code, out, err = run(capsys, *ROOM, *LIMIT, *FEW, "--out", tmp_path)
    assert (code, out, kept.read_bytes()) == (2, "", b"mine")
    assert "floor-readings.xlsx" in err
    assert "--overwrite" in err
    assert list(tmp_path.iterdir()) == [kept]
    assert run(capsys, *ROOM, *LIMIT, *FEW, "--out", tmp_path, "--overwrite")[0] == 0
    assert kept.read_bytes() != b"mine"


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        ([], "no limit"),
        (["--limit", "no-such"], "no-such"),
        (["--straightedge", "6ft"], "--allowed"),
        ([*LIMIT, "--members", "16in along y"], "--members"),
        ([*LIMIT, "--members", "20ft along y from 0"], "4 in to 10 ft"),
        ([*LIMIT, "--step", "2"], "unit"),
        ([*LIMIT, "--step", "5ft"], "too far apart"),
        ([*LIMIT, "--accuracy", "soft"], "--accuracy"),
        ([*LIMIT, "--length=-3ft"], "length"),
        ([*LIMIT, "--rooms", "2"], "rooms"),
        ([*LIMIT, "--seed", "-1"], "seed"),
        ([*LIMIT, "--target", "2"], "target"),
        ([*LIMIT, "--title", "a\nb"], "title"),
        (["--limit", "wood-glued", "--surface", "wall"], "wall"),
    ],
)
def test_bad_input_is_code_2_and_writes_nothing(capsys, tmp_path, arguments, word):
    code, out, err = run(capsys, *ROOM, *FEW, *arguments, "--out", tmp_path)
    assert (code, out) == (2, "")
    assert word in err
    assert not list(tmp_path.iterdir())


def test_all_that_is_wrong_is_said_at_once(capsys, tmp_path):
    wrong = ["--length", "12", "--width", "soft", "--rooms", "few", "--surface", "roof", "--limit", "no-such"]
    code, out, err = run(capsys, *wrong, "--out", tmp_path)
    assert (code, out) == (2, "")
    for place in ("--length", "--width", "--accuracy", "--rooms", "--surface", "--limit"):
        assert f"{place}: " in err
    assert err.count("remedy: ") == 6
