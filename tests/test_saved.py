"""Plans and records that are not what they should be: refused with all that is wrong and its place, never a fault."""

import json
import random

import numpy as np
import pytest

import flatness
from flatness.comparison import records
from flatness.comparison.comparing import compare
from flatness.comparison.records import record, rerun, write_record
from flatness.errors import ArgumentError, FlatnessError
from flatness.planning.plan import ACTIONS, read_plan
from flatness.saved import Each, Number, OneOf, Part, Text
from mutants_of_json import ODD, changed, mutant, places, without

# as planning/test_saved_plan.py has them made by the kit; here written by hand from the schema
PLAN = {
    "plan": "flatness plan",
    "form": 2,
    "title": "Back room",
    "surface": "floor",
    "strategy": "least-work",
    "made_from": {"title": "Back room", "date": "", "fingerprint": "a", "limits": ["l"], "asked": {"draws": 200}},
    "x_mm": [0.0, 100.0, 200.0],
    "y_mm": [0.0, 100.0],
    "change_mm": [[0.0, 1.5, None], [0.0, 0.0, 0.0]],
    "way": "patches",
    "plane": "",
    "set_height_mm": [[None, 2.0, None], [None, None, None]],
    "marks": [
        {
            "name": "P1",
            "mark": "inside",
            "x_mm": 100.0,
            "y_mm": 0.0,
            "set_mm": 2.0,
            "reading_mm": 2.0,
            "found_mm": 0.5,
            "change_mm": 1.5,
        }
    ],
    "lines": {"J1": [1.0, 0.0]},
    "setting_error_mm": 0.8,
    "patches": [{"name": "P1", "action": "fill", "outline_mm": "POLYGON ((50 0, 150 0, 150 50, 50 50, 50 0))"}],
    "members": {
        "direction": "y",
        "kind": "sawn joist",
        "depth_mm": 235.0,
        "flange_mm": None,
        "thickness_mm": 38.0,
        "cuts_mm": {"J1": [10.0]},
        "table": [{"name": "J1", "position_mm": 0.0, "start_mm": None, "end_mm": None}],
    },
}


def bytes_of(document):
    return json.dumps(document).encode()


def test_the_plan_from_which_mutants_are_made_is_one():
    plan = read_plan(bytes_of(PLAN))
    assert plan.patches["action"].tolist() == ["fill"]
    assert plan.change[0, 1] == 1.5


def test_every_value_of_a_plan_replaced_by_every_odd_one():
    refused = 0
    for path in places(PLAN):
        mutants = [changed(PLAN, path, odd) for odd in ODD]
        for one in (*mutants, without(PLAN, path)):
            try:
                read_plan(bytes_of(one))
            except FlatnessError as error:
                refused += all(problem.what and problem.expected for problem in error.problems)
    assert refused > 500


@pytest.mark.parametrize(
    ("path", "value", "told"),
    [
        (("marks", 0, "x_mm"), "far", "marks[1].x_mm must be null or a number"),
        (("x_mm",), [1], "x_mm must be a list of 2 or more values"),
        (("patches", 0, "action"), "grind", f"one of {', '.join(ACTIONS)}"),
        (("members", "table", 0, "name"), 3, "members.table[1].name must be a text"),
        (("setting_error_mm",), True, "setting_error_mm must be a number of zero or more"),
    ],
)
def test_what_is_wrong_with_a_plan_is_told_by_its_path(path, value, told):
    with pytest.raises(ArgumentError) as caught:
        read_plan(bytes_of(changed(PLAN, path, value)), name="loft.json")
    assert told in str(caught.value)
    assert caught.value.problems[0].file == "loft.json"


@pytest.mark.parametrize("text", ["[" * 100_000, '{"plan":' * 50_000, "9" * 10_000, '{"plan": NaN}', "\udcff", ""])
def test_what_is_deep_or_huge_or_no_json_is_refused(text, tmp_path):
    path = tmp_path / "deep.json"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    for read in (read_plan, records.read_record):
        with pytest.raises(ArgumentError, match="not JSON"):
            read(path)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    folder = tmp_path_factory.mktemp("recorded")
    grid = np.arange(0.0, 2001.0, 500.0)
    x, y = (axis.ravel() for axis in np.meshgrid(grid, grid))
    files = [folder / "before.csv", folder / "after.csv"]
    for path, height in zip(files, (3 * np.sin(x / 500), np.sin(x / 700)), strict=True):
        rows = "\n".join(f"{a},{b},{h:.2f}" for a, b, h in zip(x, y, height, strict=True))
        path.write_text(f"# unit: mm\n# accuracy: 0.5 mm\nx,y,height\n{rows}\n")
    surveys = [flatness.read_survey(path) for path in files]
    limits = [flatness.straightedge_limit(2000.0, 3.0), "wood-glued"]
    found = compare(*surveys, align="none", limits=limits, draws=4)
    return write_record(record(found, *files, folder), folder / "record.json")


def test_every_value_of_a_record_replaced_by_every_odd_one(recorded, tmp_path, monkeypatch):
    whole = json.loads(recorded.read_bytes())
    asked = []

    def not_again(*_, **terms):
        asked.append(terms)
        raise ArgumentError("not made again here, which takes long")

    monkeypatch.setattr(records, "compare", not_again)
    monkeypatch.setattr(records, "read_survey", lambda *_, **__: None)
    monkeypatch.setattr(records, "versions", dict)
    path = recorded.parent / "mutant.json"
    refused = told = 0
    for place in places(whole):
        if place[0] == "results":
            continue
        for odd in ODD[len(place) % 2 :: 2]:
            path.write_text(json.dumps(changed(whole, place, odd)))
            try:
                told += bool(rerun(path).differences)
            except FlatnessError:
                refused += 1
    assert refused > 100
    assert told > 50
    assert {type(terms["draws"]) for terms in asked} == {int}


def test_random_mutants_of_a_record_are_rerun_or_refused(recorded):
    whole = json.loads(recorded.read_bytes())
    whole["settings"] |= {"draws": 0, "limits": []}
    path, rng = recorded.parent / "mutant.json", random.Random(4)
    settings = [place for place in places(whole) if place[0] == "settings"]
    done = 0
    for _ in range(12):
        path.write_text(json.dumps(mutant(whole, rng, rng.choice(settings))))
        try:
            done += rerun(path).comparison is not None
        except FlatnessError:
            continue
    assert done > 0


def test_kinds_hold_what_they_say():
    def wrong(kind, value):
        return [one.path for one in kind.wrong(value, "v")]

    assert wrong(Number(0, 1), 0.5) == wrong(Number(whole=True), 3) == wrong(Each(Text()), ["a"]) == []
    for value in (True, "1", None, float("inf"), 2, -0.1):
        assert wrong(Number(0, 1), value) == ["v"], value
    assert wrong(Number(0, above=True), 0) == wrong(Number(whole=True), 1.0) == ["v"]
    assert wrong(Each(Text(), 2, 2), ["a"]) == ["v"]
    assert wrong(Each(Number()), [1, "2", 3, None]) == ["v[2]", "v[4]"]
    either = OneOf(None, Part({"a": Number()}, maybe={"b": Text()}))
    assert wrong(either, None) == wrong(either, {"a": 1, "c": []}) == []
    assert wrong(either, 3) == ["v"]
    assert wrong(either, {"b": 1}) == ["v.a", "v.b"]
