"""The gallery's end room: what was planted in it comes out, each fault on its own line, within the stated error.

Truth comes from the script that made the files, which does not use the kit.
"""

import importlib.util
import json
import sys
from pathlib import Path

import numpy as np
import pytest

import flatness
from flatness.__main__ import main
from flatness.job.report import JobFileError

pytestmark = pytest.mark.usefixtures("coarse_lattice")
FOLDER = Path(__file__).parents[2] / "sample_surveys"
FILE = FOLDER / "gallery" / "room.toml"
FT, IN = 304.8, 25.4


@pytest.fixture(scope="module")
def script():
    spec = importlib.util.spec_from_file_location("make_samples", FOLDER / "make_samples.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_samples"] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def gallery(coarse_lattice):
    return flatness.read_room(FILE)


def of(gallery, what, *words):
    some = [
        row
        for row in gallery.checks.to_dict("records")
        if row["what"] == what and all(w in row["where"] for w in words)
    ]
    assert len(some) == 1, (what, words, [row["where"] for row in some])
    return some[0]


def slope(script, wall, axis):
    """Slope of the true wall's best plane by x or y [mm/mm], by least squares over a fine grid of the truth."""
    run = 14 * FT if wall in ("north", "south") else 12 * FT
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(0, run, 200), np.linspace(4 * IN, 104 * IN, 60)))
    terms = np.column_stack([np.ones_like(x), x, y])
    return np.linalg.lstsq(terms, script.truth(f"gallery/{wall}", x, y), rcond=None)[0]["cxy".index(axis)]


def check(row, planted, truth, verdict="fail"):
    """The truth is within the range told, what was planted near it, the range no wider than the errors make it."""
    assert row["low_mm"] - 0.05 <= truth <= row["high_mm"] + 0.05
    assert truth == pytest.approx(planted, abs=1.0)  # studs and straps off one another besides
    assert row["high_mm"] - row["low_mm"] < 3.5
    assert row["verdict"] == verdict


def test_a_taper_of_three_eighths_in_fourteen_feet(gallery, script):
    # x of the south wall runs the other way: where both swing alike on their own x, the width stays
    truth = (slope(script, "north", "x") - slope(script, "south", "x")) * 14 * FT
    check(of(gallery, "parallel", "north"), 3 / 8 * IN, truth)


def test_a_corner_out_of_square_by_a_quarter_in_six_feet(gallery, script):
    truth = (slope(script, "east", "x") - slope(script, "south", "x")) * 6 * FT
    row = of(gallery, "square", "east wall and south wall")
    check(row, IN / 4, truth)
    assert "over 90" in row["note"]


def test_a_ceiling_that_falls_half_an_inch(gallery, script):
    row = of(gallery, "ceiling", "falls")
    x, y = (v.ravel() for v in np.meshgrid(np.linspace(6 * IN, 162 * IN, 100), np.linspace(0, 144 * IN, 100)))
    terms = np.column_stack([np.ones_like(x), x, y])
    _, by_x, by_y = np.linalg.lstsq(terms, script.truth("gallery/ceiling", x, y), rcond=None)[0]
    check(row, IN / 2, abs(by_x) * 156 * IN + abs(by_y) * 144 * IN)
    assert row["at_mm"][0][0] < row["at_mm"][1][0]  # toward the east


def test_a_hump_under_the_reveal_of_one_wall(gallery, script):
    row = of(gallery, "wall-foot", "west")
    y = np.linspace(6 * IN, 138 * IN, 400)
    along = script.truth("gallery/floor", np.full_like(y, 165.0), y)
    check(row, 6.0, float(np.ptp(along)))
    assert row["at_mm"][0][1] == pytest.approx(6 * FT, abs=1 * FT)
    for side in ("north", "east", "south"):
        assert of(gallery, "wall-foot", side)["verdict"] == "pass"


def test_a_wall_out_of_plumb(gallery, script):
    check(of(gallery, "plumb", "west"), 3 / 8 * IN * 100 / 108, -slope(script, "west", "y") * 100 * IN)
    for side in ("north", "east", "south"):
        assert of(gallery, "plumb", side)["verdict"] == "pass"


def test_the_clear_height_is_the_truth(gallery, script):
    clear = gallery.clear_height
    gx, gy = np.meshgrid(clear.x, clear.y)
    truth = -script.truth("gallery/ceiling", gx, gy) - script.truth("gallery/floor", gx, gy)
    read = np.isfinite(clear.map)
    row, published = (row for row in gallery.checks.to_dict("records") if row["what"] == "clear-height")
    assert (row["allowed_mm"], row["source"]) == (pytest.approx(107 * IN), "agreed for this project")
    assert published["allowed_mm"] == pytest.approx(7 * FT)  # IRC R305.1, which counts whatever is agreed
    assert "R305.1" in published["source"]
    assert row["low_mm"] - 0.1 <= truth[read].min() <= row["high_mm"] + 0.1
    # two datums by two benchmarks each, and two surfaces: errors of under 1 mm each
    assert np.abs(clear.map - truth)[read].max() < 4 * 1.0


def test_the_command_answers_first_and_says_the_same_in_json(gallery, capsys):
    assert main(["room", str(FILE)]) == 1
    told = capsys.readouterr().out
    assert told.startswith("FAIL: ")
    fails = int((gallery.checks["verdict"] == "fail").sum())
    assert f"{fails} of {int((gallery.checks['verdict'] != 'measured').sum())} checks fail" in " ".join(told.split())
    assert max(map(len, told.splitlines())) <= 80
    assert main(["room", str(FILE), "--json"]) == 1
    out = capsys.readouterr()
    found = json.loads(out.out)
    wanted = {"what", "where", "likely_mm", "low_mm", "high_mm", "allowed_mm", "chance", "verdict", "source"}
    assert all(wanted <= set(row) for row in found["checks"])
    assert len(found["checks"]) == len(gallery.checks)
    assert found["verdict"] == "fail"
    done = {row["where"]: row["verdict"] for row in found["targets"]["checks_when_done"]}
    assert all(done[row["where"]] == "pass" for row in found["checks"] if row["what"] in ("parallel", "plumb"))
    assert done["door to the drying room: right jamb out of plumb"] == "fail"  # no target moves it
    assert found["targets"]["left"]
    assert main(["room", "--keys"]) == 0
    keys = capsys.readouterr().out
    assert "plan: depths, rates" in keys
    assert "materials" not in keys  # what a room does not use


def changed(tmp_path, *changes):
    """The room file with texts replaced."""
    text = FILE.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    for survey in FILE.parent.glob("*.csv"):
        (tmp_path / survey.name).write_bytes(survey.read_bytes())
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    return tmp_path / "room.toml"


def broken(tmp_path, *changes):
    """What is wrong with the room file, texts of it replaced."""
    with pytest.raises(JobFileError) as error:
        flatness.read_room(changed(tmp_path, *changes))
    return error.value.problems


@pytest.mark.parametrize(
    ("old", "new", "column", "words"),
    [
        ('to = ["14 ft", "12 ft"]', 'to = ["12 ft", "12 ft"]', "surface[3].from", "beyond the ends"),
        ('to = ["14 ft", "12 ft"]', "", "surface[3].to", "place on the plan"),
        ('from = [0, "12 ft"]', 'from = [0, "12 ft"]\ndatum = 0', "surface[3].datum", "not a key of a wall"),
        ('surveys.before = "west.csv"', 'surveys.before = "wast.csv"', "surface[6].surveys.before", "no such file"),
        ('name = "west wall"', 'name = "east wall"', "surface[6].name", "two of one name"),
        ('control = "cross line"', 'control = "long line"', "surface[4].control", "does not run along"),
        ('benchmarks = { BM1 = "36 in", BM2 = "48 in" }', 'benchmarks = { B = "3 ft" }', "surface[1].datum", "ties"),
        ('BM1 = "36 in", BM2 = "48 in"', 'MB1 = "36 in", MB2 = "48 in"', "surface[1].datum", "is BM1 the one"),
        ('surveys.before = "floor.csv"', 'surveys.before = "floor.csv"\ndatum = 0', "surface[1].datum", "one of the"),
        ('floors = ["floor"]', 'floors = ["flor"]', "opening[1].floors[1]", "did you mean floor?"),
        ('next_height = "1/16 in"', "", "opening[1].floors", "two sides"),
        ('ceiling = "ceiling"', 'ceiling = "deck"', "recess[1].ceiling", "no ceiling of this name"),
        ('diagonal = "10 ft 3/16 in"', 'diagonal = "16 ft"', "tape[1].diagonal", "close no triangle"),
        ("draws = 200 ", "draws = 0 ", "draws", "whole number"),
        ('BM2 = ["13 ft", "8 ft"]', 'MB2 = ["13 ft", "8 ft"]', "datum.places.MB2", "did you mean BM2?"),
        ('diagonal = "10 ft 3/16 in"', "", "tape[1]", "one of the two"),
        ('parallel = "1/4 in"', 'paralel = "1/4 in"', "checks.paralel", "did you mean parallel?"),
        (
            '"floor.csv"',
            '"floor.csv"\nfixed = [{ name = "a", x = 0, y = 0, height = 0 }]',
            "surface[1].fixed",
            "not use",
        ),
        ('"floor.csv"', '"floor.csv"\nsurveys.after = "floor.csv"', "surface[1].surveys.after", "the surveys after"),
        ('"floor.csv"', '"floor.csv"\nplan.way = "overlay"', "surface[1].plan.way", "not use"),
        ('"floor.csv"', '"floor.csv"\nheadroom = [{ name = "beam" }]', "surface[1].headroom", "[[keep]]"),
        ('"floor.csv"', '"floor.csv"\nmembers.step = "1 ft"', "surface[1].members.step", "not use"),
        ('"floor.csv"', '"floor.csv"\nmaterials.spare = 0.2', "surface[1].materials", "not use"),
        ('"east wall"]', '"north wall"]', "keep[1].surfaces", "do not face"),
        ('["west wall", "east wall"]', '["floor"]', "keep[1].surfaces", "clear of what"),
        ('ends = [["1 ft", 0], ["4 ft", 0]]', 'ends = [["1 ft", 0], ["1 ft", 0]]', "opening[1].ends", "at one place"),
        ('tip = ["4 ft", 0]', 'tip = ["1 ft", 0]', "opening[1].door.tip", "at its hinge"),
        ("plan.depths = { cut = 0", "plan.depths = { cutt = 0", "surface[1].plan.depths.cutt", "did you mean cut?"),
    ],
)
def test_what_is_wrong_is_named_by_its_key_with_the_remedy(tmp_path, old, new, column, words):
    problems = broken(tmp_path, (old, new))
    assert any(words in str(one) for one in problems), "\n".join(map(str, problems))
    assert any((one.column or "").startswith(column) for one in problems), [one.column for one in problems]
    assert all(one.file == "room.toml" and one.expected and one.remedy for one in problems)


def swapped(*walls):
    """Changes of the room file that swap from and to of these walls."""
    return [
        (f"from = {start}\nto = {end}\n", f"from = {end}\nto = {start}\n")
        for name, start, end in (
            ("north", '[0, "12 ft"]', '["14 ft", "12 ft"]'),
            ("east", '["14 ft", "12 ft"]', '["14 ft", 0]'),
            ("south", '["14 ft", 0]', "[0, 0]"),
            ("west", "[0, 0]", '[0, "12 ft"]'),
        )
        if name in walls
    ]


@pytest.mark.parametrize("wall", ["north", "east", "south", "west"])
def test_a_wall_the_wrong_way_round_is_named(tmp_path, wall):
    (problem,) = [one for one in broken(tmp_path, *swapped(wall)) if "against its neighbours" in one.what]
    assert problem.value == f"{wall} wall"
    assert "swap from and to" in problem.remedy


def test_walls_that_all_go_round_the_wrong_way(tmp_path):
    (problem,) = broken(tmp_path, *swapped("north", "east", "south", "west"))
    assert "the wrong way" in problem.what


def test_a_benchmark_misspelled_where_another_ties_the_surfaces(tmp_path, gallery):
    notes = flatness.read_room(changed(tmp_path, ('BM1 = "36 in"', 'MB1 = "36 in"'))).notes
    assert any("no survey read the benchmark MB1" in note for note in notes)
    assert any(note.startswith("floor and ceiling read the benchmark BM1") and "has MB1" in note for note in notes)
    assert not any("benchmark" in note for note in gallery.notes)


def test_all_that_is_wrong_comes_in_one_report(tmp_path):
    changes = (('parallel = "1/4 in"', 'parallel = "x"'), ("datum]", "datums]"), ('to = ["14 ft", "12 ft"]', ""))
    columns = {one.column for one in broken(tmp_path, *changes)}
    assert {"checks.parallel", "datums", "surface[3].to"} <= columns


def test_a_surface_that_could_not_be_read_is_not_said_to_be_missing_elsewhere(tmp_path):
    """Its own fault is one problem; the opening that names it is right."""
    (problem,) = broken(tmp_path, ('surveys.before = "floor.csv"', 'surveys.before = "flor.csv"'))
    assert "no such file" in problem.what


def test_a_room_file_as_a_job_names_the_command(capsys):
    assert main(["job", str(FILE)]) == 2
    assert "flatness room room.toml" in capsys.readouterr().err
