"""The command line: exit codes, one JSON object, a table 80 wide, pictures that are the kit's own."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from flatness.__main__ import main

pytestmark = pytest.mark.usefixtures("coarse_lattice")

ROOT = Path(__file__).parents[1]
BEFORE = str(ROOT / "sample_surveys/loft_floor/before.csv")
AFTER = str(ROOT / "sample_surveys/loft_floor/after.csv")
MISTAKES = str(ROOT / "sample_surveys/packing_room/with_mistakes.csv")
TYPED = str(ROOT / "sample_surveys/packing_room/hand_typed.csv")
STRING = str(ROOT / "sample_surveys/gallery_floor/string_check.csv")


def run(capsys, *arguments):
    code = main([str(argument) for argument in arguments])
    out = capsys.readouterr()
    return code, out.out, out.err


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        ((AFTER, "--limit", "wood-glued"), 0),
        ((BEFORE, "--limit", "wood-glued"), 1),
        ((STRING, "--limit", "woodwork"), 3),
        ((MISTAKES, "--limit", "wood-glued"), 2),
        ((AFTER, "--limit", "no-such-limit"), 2),
        ((AFTER,), 2),
        ((AFTER, "--straightedge", "10ft"), 2),
        ((AFTER, "--straightedge", "10", "--allowed", "3/16"), 2),
        ((AFTER, "--straightedge", "ten feet", "--allowed", "3/16"), 2),
        (("no_such_file.csv", "--limit", "wood-glued"), 2),
        ((AFTER, "--limit", "wood-glued", "--more", "-1"), 2),
        ((AFTER, "--limit", "wood-glued", "--spot-check", "2ft"), 2),
        ((AFTER, "--limit", "wood-glued", "--spot-check", "2 1/32in"), 2),
        ((AFTER, "--limit", "wood-glued", "--spot-check", "2ft 1/32in 0"), 2),
        ((AFTER, "--limit", "wood-glued", "--spot-check", "2ft 0in"), 2),
        ((AFTER, "--limit", "wood-glued", "--spot-check", "2 1/32 5"), 2),
        ((AFTER, "--limit", "wood-glued", "--spot-check", "2ft 1/32 some"), 2),
        ((AFTER, "--limit", "wood-glued", "--spot-check", "2ft 1 1/8in 5"), 2),
    ],
)
def test_exit_codes(capsys, arguments, code):
    found, out, err = run(capsys, "check", *arguments, "--draws", 40)
    assert found == code, err
    assert bool(err) == (code == 2)
    assert bool(out) == (code != 2)


def test_the_report_reads_well_80_wide(capsys):
    _, out, _ = run(capsys, "check", BEFORE, "--limit", "wood-glued", "--limit", "tile-large", "--draws", 40)
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "FAIL" in out
    assert "wood-glued-10ft" in out
    assert "Local codes" in out


def test_every_sample_reads_80_wide_in_both_units(capsys):
    for path in sorted((ROOT / "sample_surveys").glob("*/*.csv")):
        if "mistakes" in path.name or path.name == "bench.csv":  # a curve to set out, without readings
            continue
        for unit in ("in", "mm"):
            _, out, _ = run(
                capsys, "check", path, "--straightedge", "2m", "--allowed", "3mm", "--unit", unit, "--draws", 10
            )
            assert max(len(line) for line in out.splitlines()) <= 80, path.name


def test_json_is_one_object_and_nothing_else(capsys):
    code, out, err = run(
        capsys, "check", BEFORE, "--limit", "wood-glued", "--limit", "stair-risers", "--json", "--draws", 40
    )
    found = json.loads(out)
    assert (code, err) == (1, "")
    assert found["verdict"] == "fail"
    assert [row["limit"] for row in found["limits"]] == ["wood-glued-10ft", "wood-glued-6ft", "stair-risers"]
    assert found["limits"][0]["as_read_mm"] > found["limits"][0]["allowed_mm"]
    assert found["limits"][2]["as_read_mm"] is None


def test_agreed_limit(capsys):
    _, out, _ = run(capsys, "check", AFTER, "--straightedge", "10ft", "--allowed", "3/16", "--json", "--draws", 20)
    assert json.loads(out)["limits"][0]["allowed_mm"] == 4.7625


def test_in_doubt_the_json_says_where_to_read_and_what_was_spotted(capsys):
    common = ("check", AFTER, "--straightedge", "10ft", "--draws", 60, "--spot-check", "2ft 1/64in 4")
    _, out, _ = run(capsys, *common, "--allowed", "1/2", "--json")
    # half of the surfaces drawn are over their own median: the readings cannot decide
    median = json.loads(out)["limits"][0]["likely_mm"]
    arguments = (*common, "--allowed", f"{median:.6f}mm")
    code, out, err = run(capsys, *arguments, "--json", "--more", 3)
    found = json.loads(out)
    assert (code, err) == (3, "")
    assert found["spot_checks"] == [{"length_mm": 609.6, "gap_mm": 0.396875, "places": 4, "stop_mm": None}]
    assert found["more_readings_for"] == found["limits"][0]["limit"]
    assert len(found["more_readings"]) == 3
    for place in found["more_readings"]:
        assert list(place) == ["x_mm", "y_mm", "times", "error_mm", "doubt_left", "decided"]
    left = [place["doubt_left"] for place in found["more_readings"]]
    assert 1 >= left[0] >= left[1] >= left[2] > 0
    _, out, _ = run(capsys, *arguments, "--json", "--more", 0)
    found = json.loads(out)
    assert (found["more_readings_for"], found["more_readings"]) == (None, [])
    _, out, _ = run(capsys, *arguments)
    assert 6 <= out.count("% of the doubt") <= 24
    _, out, _ = run(capsys, "check", AFTER, "--limit", "wood-glued", "--draws", 20, "--json")
    assert json.loads(out)["spot_checks"] == []


def test_a_spot_check_without_draws_is_refused(capsys):
    code, _, err = run(capsys, "check", AFTER, "--limit", "wood-glued", "--draws", 0, "--spot-check", "600mm 1mm")
    assert code == 2
    assert "--spot-check" in err


def test_pictures_are_written_again_but_never_over_a_foreign_file(capsys, tmp_path):
    for _ in range(2):
        code, out, _ = run(capsys, "check", AFTER, "--limit", "wood-glued", "--out", tmp_path / "out", "--draws", 20)
        assert code == 0
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == ["after-chance.png", "after-gap.png", "after-heights.png", "after-profile.png"]
    assert out.count("written:") == 4
    (tmp_path / "out/after-gap.png").write_bytes(b"my holiday")
    code, _, err = run(capsys, "check", AFTER, "--limit", "wood-glued", "--out", tmp_path / "out", "--draws", 20)
    assert code == 2
    assert "did not write" in err
    assert (tmp_path / "out/after-gap.png").read_bytes() == b"my holiday"


@pytest.mark.parametrize(
    ("text", "numbers"),
    [("2ft 1/32in 7", (609.6, 0.79375, 7)), ("600mm 1mm", (600, 1, 1)), ("2ft 1/8", (609.6, 3.175, 1))],
)
def test_spot_check_is_read_and_told(capsys, text, numbers):
    _, out, _ = run(capsys, "check", AFTER, "--limit", "wood-glued", "--draws", 10, "--json", "--spot-check", text)
    (found,) = json.loads(out)["spot_checks"]
    assert [found[key] for key in ("length_mm", "gap_mm", "places")] == pytest.approx(numbers)


def test_a_doubtful_check_has_a_picture_of_the_chance_and_without_draws_none(capsys, tmp_path):
    asked = ("check", TYPED, "--straightedge", "2m", "--allowed", "4mm", "--out", tmp_path)
    run(capsys, *asked, "--draws", 20)
    assert (tmp_path / "hand_typed-chance.png").exists()
    (tmp_path / "hand_typed-chance.png").unlink()
    run(capsys, *asked, "--draws", 0)
    assert not (tmp_path / "hand_typed-chance.png").exists()
    assert (tmp_path / "hand_typed-gap.png").exists()


def test_limits_list(capsys):
    code, out, _ = run(capsys, "limits", "tile")
    assert code == 0
    assert "tile-large-10ft" in out
    assert "quoted" in out
    assert max(len(line) for line in out.splitlines()) <= 80
    code, out, _ = run(capsys, "limits", "--json")
    assert len(json.loads(out)["limits"]) > 90
    code, _, err = run(capsys, "limits", "zebra")
    assert code == 2
    assert "zebra" in err
    code, out, _ = run(capsys, "limits", "oak", "glued")
    assert code == 0
    assert out.startswith("wood-glued: oak")
    assert "wood-glued-10ft *" in out
    _, _, err = run(capsys, "limits", "hardwod")
    assert "did you mean hardwood?" in err


def test_as_a_program():
    done = subprocess.run(
        [sys.executable, "-m", "flatness", "check", AFTER, "--limit", "wood-glued", "--draws", "20", "--json"],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONWARNINGS": "error"},
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["verdict"] == "pass"


def test_import_does_not_bring_the_drawing_along():
    code = "import flatness, sys; print('matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
