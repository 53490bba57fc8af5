"""The command line: exit codes, one JSON object, a table 80 wide, pictures that are the kit's own."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from flatness.__main__ import main

ROOT = Path(__file__).parents[1]
BEFORE = str(ROOT / "sample_surveys/loft_floor/before.csv")
AFTER = str(ROOT / "sample_surveys/loft_floor/after.csv")
MISTAKES = str(ROOT / "sample_surveys/packing_room/with_mistakes.csv")
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
        if "mistakes" in path.name:
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


def test_pictures_are_written_again_but_never_over_a_foreign_file(capsys, tmp_path):
    for _ in range(2):
        code, out, _ = run(capsys, "check", AFTER, "--limit", "wood-glued", "--out", tmp_path / "out", "--draws", 20)
        assert code == 0
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == ["after-gap.png", "after-heights.png", "after-profile.png"]
    assert out.count("written:") == 3
    (tmp_path / "out/after-gap.png").write_bytes(b"my holiday")
    code, _, err = run(capsys, "check", AFTER, "--limit", "wood-glued", "--out", tmp_path / "out", "--draws", 20)
    assert code == 2
    assert "did not write" in err
    assert (tmp_path / "out/after-gap.png").read_bytes() == b"my holiday"


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


def test_as_a_program():
    done = subprocess.run(
        [sys.executable, "-m", "flatness", "check", AFTER, "--limit", "wood-glued", "--draws", "20", "--json"],
        capture_output=True, text=True, check=False, env={**os.environ, "PYTHONWARNINGS": "error"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["verdict"] == "pass"


def test_import_does_not_bring_the_drawing_along():
    code = "import flatness, sys; print('matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
