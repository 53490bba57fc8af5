"""``flatness light``: the answer first, the exit code, JSON, what is wrong with what was asked."""

import json
import math

import numpy as np
import pytest

from flatness.__main__ import main

IN, FT = 25.4, 304.8
STUD = 16 * IN


def write_wall(path, height, members=True, accuracy="0.2 mm", step=8 * IN, rows=(0, 4, 8)):
    """A wall 16 ft x 8 ft read every ``step`` [mm] along three lines; ``height`` [mm] of x and y [mm]."""
    lines = ["# surface: wall", "# unit: mm", "# reading: height", f"# accuracy: {accuracy}"]
    lines += [f"# members: {STUD:g} mm along y from 0"] if members else []
    lines += ["x,y,height"]
    noise = np.random.default_rng(5)
    for y in rows:
        for k in range(round(16 * FT / step) + 1):
            lines.append(f"{k * step:g},{y * FT:g},{height(k * step, y * FT) + noise.normal(0, 0.1):.2f}")
    path.write_text("\n".join(lines) + "\n")
    return path


def run(capsys, *arguments):
    code = main(["light", *map(str, arguments)])
    out = capsys.readouterr()
    return code, out.out, out.err


def dished(x, _y):
    """The bay between the third and the fourth stud is dished 2.5 mm."""
    bay = (x - 2 * STUD) / STUD
    return -2.5 * math.sin(math.pi * bay) ** 2 if 0 <= bay <= 1 else 0.0


@pytest.fixture(scope="module")
def wall(tmp_path_factory):
    return write_wall(tmp_path_factory.mktemp("light") / "wall.csv", dished)


def test_the_answer_comes_first_and_names_the_bay(capsys, wall):
    code, out, err = run(capsys, wall, "--angle", "5", "--side", "left", "--unit", "in", "--draws", "12")
    assert (code, err) == (1, "")
    first = " ".join(out.split("\n\n")[0].split())
    assert first.startswith(
        "Light from the window at 5 degrees will show the third stud bay of this wall from 5'; a lamp"
    )
    assert "Waves shorter than 1' 4\" along x" in first
    assert out.rstrip().splitlines()[-2].startswith("Not modelled: gloss")
    assert max(map(len, out.splitlines())) <= 80


def test_steep_light_shows_nothing(capsys, wall):
    code, out, _ = run(capsys, wall, "--angle", "70", "--draws", "12")
    assert code == 0
    first = " ".join(out.split())
    assert first.startswith("This wall will look flat from 1.5 m in light from the window at 70 degrees; a lamp")


def test_json_is_one_object_that_says_the_same(capsys, wall):
    code, out, _ = run(capsys, wall, "--angle", "5", "--lamp", "4000mm", "--draws", "12", "--json")
    found = json.loads(out)
    window = next(one for one in found["lights"] if one["kind"] == "window")
    assert (code, found["result"], window["result"]) == (1, "shows", "shows")
    assert 5 < window["shows_to_degrees"] < window["shows_nothing_from_degrees"]
    # the dish's flanks are steepest a quarter of the bay in, and it ends at the studs
    assert 2 * STUD < window["x_mm"] < 3 * STUD
    lamps = [one for one in found["lights"] if one["kind"] != "window"]
    assert {one["result"] for one in lamps} == {"does not show"}
    assert all(row["allowed_mm"][0] > 0 for row in found["waves_trough_to_crest"])
    assert found["waves_trough_to_crest"][0]["here_mm"] is None


def test_a_flat_wall_is_not_said_to_show_anything(capsys, tmp_path):
    file = write_wall(tmp_path / "flat.csv", lambda x, y: 0.002 * x, members=False, step=2 * FT)
    code, out, _ = run(capsys, file, "--draws", "12", "--json")
    found = json.loads(out)
    assert (code, found["result"]) == (0, None)
    assert "shows nothing" in found["answer"]
    assert max(one["shows_to_degrees"] for one in found["lights"] if one["kind"] == "window") < 0.5


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--angle", "0"], "--angle"),
        (["--angle", "steep"], "--angle"),
        (["--side", "front"], "--side"),
        (["--lamp", "0in"], "--lamp"),
        (["--draws", "0"], "--draws"),
        (["--threshold", "-1"], "--threshold"),
    ],
)
def test_what_is_wrong_is_named(capsys, wall, given, said):
    code, out, err = run(capsys, wall, *given)
    assert (code, out) == (2, "")
    assert said in err


def test_one_line_of_readings_is_enough_along_it_alone(capsys, tmp_path):
    line = write_wall(tmp_path / "line.csv", dished, rows=(4,))
    code, out, _ = run(capsys, line)
    assert code == 0
    assert "window, along x" in out
    code, _, err = run(capsys, line, "--along", "y")
    assert code == 2
    assert "one line" in err


def test_pictures_stand_beside_what_was_before(capsys, tmp_path, wall):
    file = write_wall(tmp_path / "after.csv", lambda x, y: 0.0, step=2 * FT)
    asked = ["--angle", "5", "--lamp", "14in", "--draws", "12", "--out", tmp_path / "out", "--json"]
    code, out, err = run(capsys, file, "--before", wall, *asked)
    assert (code, err) == (0, "")
    written = json.loads(out)["pictures"]
    assert [name.rsplit("/", 1)[1] for name in written] == ["after-light-window.png", "after-light-lamps.png"]
    assert all((tmp_path / "out" / name).stat().st_size > 10_000 for name in written)
    code, _, err = run(capsys, file, "--before", wall)
    assert code == 2
    assert "--out" in err
