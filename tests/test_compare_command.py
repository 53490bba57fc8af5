"""``flatness compare``: words, JSON, records, pictures, exit codes."""

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

import flatness
from flatness.__main__ import main
from flatness.lengths import parse_length
from flatness.planning.plan import save_plan

pytestmark = pytest.mark.usefixtures("coarse_lattice")

ROOT = Path(__file__).parents[1] / "sample_surveys"
STORE = [str(ROOT / f"glaze_store/{day}.csv") for day in ("before", "after")]
LOFT = [str(ROOT / f"loft_floor/{day}.csv") for day in ("before", "after")]


def run(capsys, *arguments):
    code = main(["compare", *map(str, arguments)])
    out = capsys.readouterr()
    return code, out.out, out.err


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("files", [(STORE, "benchmarks"), (LOFT, "tilt"), (LOFT, "none")])
def test_the_report_reads_well_80_wide(capsys, files, unit):
    (before, after), align = files
    code, out, err = run(
        capsys, before, after, "--align", align, "--unit", unit, "--limit", "wood-glued", "--draws", 40
    )
    assert (code, err) == (0, "")
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "After minus before" in out
    assert "turned" in out
    assert "no change is shown" in " ".join(out.split())
    # off a string or after a free tilt a change of level is not known
    assert ("out of level" in out) == (align == "tilt")
    # the READMEs: 7.5 mm taken off the loft's ridge, 5.5 mm off the store's hump
    most = parse_length(re.search(r"Most taken off: (-[^,]+),", out)[1])
    assert most == pytest.approx(-5.5 if before == STORE[0] else -7.5, abs=2)


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        ((*LOFT, "--align", "none"), 0),
        ((*LOFT, "--align", "none", "--limit", "wood-glued-10ft"), 0),
        ((*reversed(LOFT), "--align", "none", "--limit", "wood-glued-10ft"), 1),
        ((*LOFT, "--align", "offset", "--unchanged", "0,0; 16ft,0; 16ft,6ft; 0,6ft", "--unchanged", "2ft,20ft"), 0),
        (LOFT, 2),
        ((LOFT[0],), 2),
        ((), 2),
        ((*LOFT, "--align", "none", "--unchanged", "2ft,20ft"), 2),
        ((*LOFT, "--align", "offset", "--unchanged", "0,0; 16ft,0"), 2),
        ((*LOFT, "--align", "offset", "--unchanged", "0,0,0; 16ft,0; 1ft,1ft"), 2),
        ((*LOFT, "--align", "offset", "--unchanged", "0,0; 16,0; 16,6"), 2),
        ((*LOFT, "--align", "offset", "--unchanged", "no such label"), 2),
        ((*LOFT, "--align", "none", "--limit", "no-such-limit"), 2),
        ((*LOFT, "--align", "none", "--spacing", "6"), 2),
        ((LOFT[0], "no_such_file.csv", "--align", "none"), 2),
        (("--rerun", "no_such_file.json"), 2),
        ((*LOFT, "--rerun", "no_such_file.json"), 2),
    ],
)
def test_exit_codes(capsys, arguments, code):
    found, out, err = run(capsys, *arguments, "--draws", 20)
    assert found == code, err
    assert bool(err) == (code == 2)
    assert bool(out) == (code != 2)


def test_json_is_one_object_and_carries_units(capsys):
    code, out, err = run(capsys, *STORE, "--limit", "wood-glued", "--json", "--draws", 20)
    found = json.loads(out)
    assert (code, err) == (0, "")
    assert found["results"]["alignment"]["way"] == "benchmarks"
    # the README: 8.5 mm filled, 5.5 mm ground off
    assert found["results"]["highest"]["difference_mm"] == pytest.approx(8.5, abs=2.5)
    assert found["results"]["lowest"]["difference_mm"] == pytest.approx(-5.5, abs=2.5)
    assert [row["after"] for row in found["results"]["verdicts"]] == ["pass", "pass"]


def test_a_record_and_its_rerun(capsys, tmp_path):
    files = [shutil.copy(path, tmp_path) for path in STORE]
    path = tmp_path / "papers/store.json"
    arguments = [*files, "--straightedge", "2m", "--allowed", "4mm", "--record", path, "--draws", 20]
    assert run(capsys, *arguments)[::2] == (0, "")
    first = path.read_bytes()
    code, _, err = run(capsys, *arguments, "--seed", 5)
    assert code == 2
    assert "already" in err
    assert "--overwrite" in err
    assert path.read_bytes() == first
    arguments.append("--overwrite")
    assert run(capsys, *arguments)[::2] == (0, "")
    text = (tmp_path / "papers/store.txt").read_text(encoding="utf-8")
    assert text.startswith("Record of a comparison")
    assert max(len(line) for line in text.splitlines()) <= 80
    for told in ("site crew", "rotating laser", "2026-03-17", "sha256", "seed: 0", "agreed for this project"):
        assert told in text
    assert str(tmp_path) not in text
    code, out, err = run(capsys, "--rerun", path)
    assert (code, err) == (0, "")
    assert out.startswith("Nothing differs")
    after = Path(files[1])
    after.write_text(after.read_text(encoding="utf-8").replace("rotating laser", "optical level"), encoding="utf-8")
    code, out, _ = run(capsys, "--rerun", path)
    assert code == 1
    assert "after: the file is not the one" in out
    code, out, _ = run(capsys, "--rerun", path, "--json")
    assert len(json.loads(out)["differences"]) == 1
    (tmp_path / "papers/store.txt").write_text("my notes", encoding="utf-8")
    code, _, err = run(capsys, *arguments)
    assert code == 2
    assert "not the text of a record" in err
    assert run(capsys, *files, "--record", tmp_path / "a.txt")[0] == 2
    (tmp_path / "papers/store.txt").write_text(text, encoding="utf-8")
    path.unlink()  # the text alone is left, and is not replaced unasked either
    code, _, err = run(capsys, *(one for one in arguments if one != "--overwrite"))
    assert (code, path.exists()) == (2, False)
    assert "already" in err
    assert "store.txt" in err


def test_pictures(capsys, tmp_path):
    code, out, _ = run(capsys, *STORE, "--out", tmp_path)
    assert code == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "after-against-before-before-after.png",
        "after-against-before-difference.png",
    ]
    assert out.count("written:") == 2


def test_what_was_done_is_held_against_a_saved_plan_and_made_again(capsys, tmp_path):
    files = [shutil.copy(path, tmp_path) for path in STORE]
    limit = flatness.straightedge_limit(2000, 4)
    plan = flatness.plan_corrections(flatness.read_survey(files[0]), limits=limit, headings=4, draws=0)
    save_plan(plan, tmp_path / "plan.json")
    arguments = [*files, "--plan", tmp_path / "plan.json", "--tolerance", "2mm"]
    code, out, err = run(capsys, *arguments, "--record", tmp_path / "rec.json", "--out", tmp_path / "pictures")
    assert (code, err) == (0, "")
    assert "Against the plan" in out
    for name in plan.patches["name"]:
        assert f"patch {name}" in out
    assert (tmp_path / "pictures/after-against-before-done.png").exists()
    assert "plan: plan.json" in (tmp_path / "rec.txt").read_text(encoding="utf-8")
    found = json.loads((tmp_path / "rec.json").read_text(encoding="utf-8"))
    by_hand = flatness.compare(*map(flatness.read_survey, files), plan=plan, tolerance=2)
    assert [row["rest_mm"] for row in found["results"]["plan"]] == pytest.approx(by_hand.plan["rest_mm"].tolist())
    code, out, _ = run(capsys, "--rerun", tmp_path / "rec.json")
    assert code == 0
    assert out.startswith("Nothing differs: the same files give the same numbers, to one part in a million.\n")
    save_plan(replace(plan, change=plan.change + 1.0), tmp_path / "plan.json", overwrite=True)
    code, out, _ = run(capsys, "--rerun", tmp_path / "rec.json")
    assert code == 1
    assert "plan: the file is not the one" in out
    assert "results: plan" in out
    (tmp_path / "plan.json").unlink()
    code, out, _ = run(capsys, "--rerun", tmp_path / "rec.json")
    assert (code, "plan: the file is not there" in out) == (1, True)


def test_a_tolerance_wants_a_plan(capsys):
    code, _, err = run(capsys, *STORE, "--tolerance", "2mm")
    assert (code, "--plan FILE too" in err) == (2, True)
