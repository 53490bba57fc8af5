"""A record holds all that is needed to make a comparison again, and a rerun says what differs."""

import hashlib
import json
import re
import shutil
from pathlib import Path

import pytest
from shapely import box

import flatness
from flatness.comparison.comparing import compare
from flatness.comparison.records import read_record, record, rerun, unlike, write_record
from flatness.errors import ArgumentError

pytestmark = pytest.mark.usefixtures("coarse_lattice")

STORE = Path(__file__).parents[2] / "sample_surveys/glaze_store"


@pytest.fixture
def job(tmp_path):
    """A folder of two surveys and their record, in a folder of its own."""
    for day in ("before", "after"):
        shutil.copy(STORE / f"{day}.csv", tmp_path / f"{day}.csv")
    (tmp_path / "papers").mkdir()
    return tmp_path


def made(job, **options):
    files = [job / "before.csv", job / "after.csv"]
    options = {"limits": ["wood-glued-10ft", flatness.straightedge_limit(2000, 4)], "draws": 20, **options}
    found = compare(*map(flatness.read_survey, files), **options)
    path = job / "papers/record.json"
    write_record(record(found, *files, path.parent), path)
    return path, found


def test_the_same_files_give_the_same_numbers_wherever_they_lie(job, tmp_path_factory):
    path, found = made(job)
    again = rerun(path)
    assert again.differences == ()
    assert again.remarks == ()
    assert (again.comparison.changed == found.changed).all()
    moved = tmp_path_factory.mktemp("elsewhere") / "job"
    shutil.copytree(job, moved)
    assert rerun(moved / "papers/record.json").differences == ()


@pytest.mark.parametrize(
    "options",
    [
        {"align": "offset", "unchanged": [box(2500, 0, 4800, 900), (4500.0, 300.0)]},
        {"align": "tilt", "seed": 3},
        {"align": "none", "spacing": 200.0, "confidence": 0.99, "limits": []},
    ],
)
def test_every_setting_comes_back(job, options):
    path, found = made(job, **options)
    again = rerun(path)
    assert again.differences == ()
    assert again.comparison.confidence == found.confidence
    assert again.comparison.spacing == found.spacing


def test_it_says_who_measured_what_with_what_and_when_and_names_no_machine(job):
    path, found = made(job)
    text = path.read_text(encoding="utf-8")
    written = json.loads(text)
    before = written["inputs"]["before"]
    assert (before["by"], before["instrument"], before["date"]) == ("site crew", "rotating laser", "2026-03-03")
    assert before["accuracy_mm"] == pytest.approx(0.6)
    assert before["file"] == "../before.csv"
    assert before["sha256"] == hashlib.sha256((job / "before.csv").read_bytes()).hexdigest()
    assert str(job) not in text
    assert written["settings"]["seed"] == 0
    assert written["limits"][0]["source"]
    assert written["limits"][0]["seen"] == "quoted"
    assert [row["after"] for row in written["results"]["verdicts"]] == found.verdicts["after"].tolist()
    assert set(written["versions"]) == {"kit", "python", "numpy", "scipy", "pandas", "shapely"}
    # every length, area and volume carries its unit
    assert not re.search(r'"(offset|difference|error|area|volume|spacing)":', text)


def test_a_reading_that_was_changed_is_found_and_so_is_what_it_changes(job):
    path, _ = made(job)
    after = job / "after.csv"
    lines = after.read_text(encoding="utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("2050,2050,"))
    cells = lines[at].split(",")
    cells[2] = str(float(cells[2]) - 3)
    after.write_text("\n".join([*lines[:at], ",".join(cells), *lines[at + 1 :]]) + "\n", encoding="utf-8")
    again = rerun(path)
    assert any(text.startswith("after: the file is not the one") for text in again.differences)
    assert any("net: volume_mm3" in text for text in again.differences)
    assert not any(text.startswith("before") for text in again.differences)


def test_a_number_that_was_changed_in_the_record_is_found(job):
    path, _ = made(job)
    written = json.loads(path.read_text(encoding="utf-8"))
    true = written["results"]["volumes"]["fill"]["volume_mm3"]
    written["results"]["volumes"]["fill"]["volume_mm3"] = true * 1.01
    written["results"]["verdicts"][0]["after"] = "undecided and wrong"
    written["limits"][0]["values_mm"]["allowed"] = 5.0
    path.write_text(json.dumps(written), encoding="utf-8")
    again = rerun(path)
    assert len(again.differences) == 3
    assert any("fill: volume_mm3" in text and f"{true:.10g}" in text for text in again.differences)
    assert any("wood-glued-10ft: after" in text for text in again.differences)
    assert any(text.startswith("limits: wood-glued-10ft") for text in again.differences)


def test_a_file_that_is_gone_or_cannot_be_read_is_a_difference(job):
    path, _ = made(job)
    (job / "before.csv").write_text("not a survey\n", encoding="utf-8")
    again = rerun(path)
    assert any("not the one" in text for text in again.differences)
    assert any("cannot be made again" in text for text in again.differences)
    (job / "before.csv").unlink()
    again = rerun(path)
    assert again.comparison is None
    assert any("not there" in text for text in again.differences)


def test_other_versions_are_a_remark(job):
    path, _ = made(job, limits=[])
    written = json.loads(path.read_text(encoding="utf-8"))
    written["versions"]["numpy"] = "0.0.1"
    path.write_text(json.dumps(written), encoding="utf-8")
    again = rerun(path)
    assert again.differences == ()
    assert any("0.0.1" in text for text in again.remarks)


@pytest.mark.parametrize(
    ("text", "match"),
    [("{", "not JSON"), ("[]", "not a record"), ('{"record": "flatness comparison"}', "lacks form"), ("", "not JSON")],
)
def test_what_is_not_a_record_is_said(tmp_path, text, match):
    path = tmp_path / "r.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ArgumentError, match=match):
        read_record(path)
    with pytest.raises(ArgumentError, match="cannot be read"):
        read_record(tmp_path / "none.json")


def test_a_record_that_was_mangled_is_said(job):
    path, _ = made(job, limits=[])
    written = json.loads(path.read_text(encoding="utf-8"))
    del written["settings"]["align"]
    path.write_text(json.dumps(written), encoding="utf-8")
    with pytest.raises(ArgumentError, match="cannot be understood"):
        rerun(path)
    path.write_text(json.dumps({**written, "form": 99}), encoding="utf-8")
    with pytest.raises(ArgumentError, match="another form"):
        rerun(path)


def test_a_foreign_file_is_not_overwritten(job):
    _, found = made(job, limits=[])
    mine = job / "papers/mine.json"
    mine.write_text("my notes", encoding="utf-8")
    with pytest.raises(ArgumentError, match="not a record"):
        write_record(record(found, job / "before.csv", job / "after.csv", mine.parent), mine)
    assert mine.read_text(encoding="utf-8") == "my notes"


def test_what_differs_is_told_with_its_place():
    then, now = {"a": [1.0, {"b": None}], "c": True}, {"a": [1.0, {"b": 2.0}], "d": 1}
    assert list(unlike(then, now, "results")) == [
        "results: a: 2: b: was None, now 2.0",
        "results: c: no longer there",
        "results: d: was not there",
    ]
    assert list(unlike([1.0], [1.0, 2.0], "x")) == ["x: was [1.0], now [1.0, 2.0]"]
