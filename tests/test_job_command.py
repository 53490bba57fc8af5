"""``flatness job``: a whole job from its file, in words and as JSON, with its exit code."""

import json
import shutil
from pathlib import Path

import pytest

import flatness
from flatness.__main__ import main
from flatness.commands import job as command

LOFT = Path(__file__).parents[1] / "sample_surveys/loft_floor"
FAST = {"draws = 200": "draws = 30", "headings = 12": "headings = 4", 'spacing = "6 in"': 'spacing = "12 in"'}


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """The sample job with few draws and a coarse lattice, and its results by hand."""
    folder = tmp_path_factory.mktemp("job")
    for name in ("before.csv", "after.csv"):
        shutil.copy(LOFT / name, folder)
    text = (LOFT / "job.toml").read_text(encoding="utf-8")
    for was, now in FAST.items():
        assert was in text
        text = text.replace(was, now)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder / "job.toml", flatness.run_job(flatness.read_job(folder / "job.toml"))


def run(capsys, *arguments):
    code = main(["job", *map(str, arguments)])
    out = capsys.readouterr()
    return code, out.out, out.err


def test_json_is_what_the_library_gives(capsys, job):
    path, done = job
    code, out, err = run(capsys, path, "--json")
    found = json.loads(out)
    verdict = found["verdict"]
    assert (code, err) == ({"pass": 0, "fail": 1, "undecided": 3}[verdict], "")
    after = set(done.comparison.verdicts["after"])
    assert verdict == ("fail" if "fail" in after else "undecided" if "undecided" in after else "pass")
    assert [row["verdict"] for row in found["limits"]] == done.assessment.table["verdict"].tolist()
    assert (found["plan"]["way"], found["plan"]["proposed"]) == (done.plan.way, done.ways.proposed)
    assert [row["way"] for row in found["plan"]["ways"]] == done.ways.table["way"].tolist()
    assert found["plan"]["work"] == pytest.approx(done.plan.work)
    assert [patch["name"] for patch in found["plan"]["patches"]] == done.plan.patches["name"].tolist()
    assert [row["after_mm"] for row in found["consequences"]] == pytest.approx(done.consequences["after_mm"].tolist())
    for name, reveal in done.reveals.items():
        assert found["reveals"][name]["departure_mm"] == pytest.approx(reveal.departure.value)
    assert found["comparison"]["share_changed"] == pytest.approx(done.comparison.share_changed)


def test_the_report_tells_every_part_and_fits_a_terminal(capsys, job, tmp_path, monkeypatch):
    path, done = job
    monkeypatch.setattr(command, "run_job", lambda job: done)  # as it was run by hand
    code, out, err = run(capsys, path, "--out", tmp_path)
    assert err == ""
    told = [line for line in out.splitlines() if not line.startswith("written: ")]
    assert max(map(len, told)) <= 80
    said = " ".join(out.split())
    for title in ("AS FOUND", "THE PLAN", "WHAT THE FINISHED SURFACE MEETS", "WHAT WAS DONE"):
        assert title in out
    for row in done.consequences.itertuples():
        assert f"{row.verdict.upper()} {row.name} ({row.kind})" in said
    for name in done.reveals:
        assert f"Reveal: {name}" in said
    written = sorted(line.removeprefix("written: ") for line in out.splitlines() if line.startswith("written: "))
    assert written == sorted(str(path) for path in tmp_path.iterdir())
    assert {"job-actions.png", "job-done-done.png"} <= {path.name for path in tmp_path.iterdir()}
    assert (tmp_path / "job-members.png").exists() == (done.schedule is not None)
    assert out.count("\n  >  ") == 1
    assert code in (0, 1, 3)


def test_what_a_job_says_of_engineered_members_and_is_not_followed_is_told_at_once(capsys, tmp_path):
    rows = "".join(f"{x},{y},{int(x == y == 1000)}\n" for x in (0, 1000, 2000) for y in (0, 1000, 2000))
    (tmp_path / "before.csv").write_text(f"# unit: mm\n# reading: height\nx,y,reading\n{rows}", encoding="utf-8")
    (tmp_path / "job.toml").write_text(
        'draws = 0\n[surveys]\nbefore = "before.csv"\n[plan]\nway = "overlay"\nspacing = "500 mm"\n'
        '[[beneath]]\nkind = "I-joist"\nmay_be_planed = true\n',
        encoding="utf-8",
    )
    _, out, err = run(capsys, tmp_path / "job.toml", "--json")
    assert err.startswith(
        "note: entry 1 of what lies beneath says that I-joist may be planed. The kit does not follow that"
    )
    assert json.loads(out)["plan"]["notes"][0].startswith("entry 1 of what lies beneath says that I-joist")


def test_a_file_that_is_no_job_is_named(capsys, tmp_path):
    assert run(capsys, tmp_path / "none.toml")[0] == 2
    (tmp_path / "bad.toml").write_text("titel = 1\n", encoding="utf-8")
    code, out, err = run(capsys, tmp_path / "bad.toml")
    assert (code, out) == (2, "")
    assert "bad.toml" in err
    assert "title" in err
