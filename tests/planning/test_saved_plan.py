"""A plan that was saved comes back as it was, and what is no plan is refused by name."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from shapely import box

import flatness
from flatness.errors import ArgumentError, FlatnessError
from flatness.planning.outlines import marks_table
from flatness.planning.plan import read_plan, save_plan
from flatness.survey.readings import fingerprint


@pytest.fixture(scope="module")
def plan():
    x, y = np.meshgrid(np.arange(7) * 600.0, np.arange(6) * 600.0)
    height = np.where((abs(x - 1800) < 700) & (abs(y - 1200) < 700), -9.0, 0.0)
    survey = flatness.make_survey(
        x.ravel(), y.ravel(), height.ravel(), accuracy=0.5, title="Loft, corner", openings=(box(2500, 100, 3100, 500),)
    )
    joists = flatness.member_layout(200, 400, "y", until=3500, kind="sawn joist", depth=235, cuts={"J3": 900})
    limit = flatness.straightedge_limit(3000, 4)
    return flatness.plan_corrections(survey, limits=limit, surface="as-read", draws=0, members=joists, headings=4)


def test_what_was_saved_comes_back(plan, tmp_path):
    assert len(plan.patches)
    found = read_plan(save_plan(plan, tmp_path / "plan.json"))
    np.testing.assert_array_equal(found.change, plan.change)
    np.testing.assert_array_equal(found.x, plan.x)
    np.testing.assert_array_equal(found.y, plan.y)
    assert found.title == "Loft, corner"
    assert found.patches[["name", "action"]].equals(plan.patches[["name", "action"]])
    for one, other in zip(found.patches.outline, plan.patches.outline, strict=True):
        assert one.symmetric_difference(other).area < 1e-3
    assert found.members.table.equals(plan.members.table)
    assert (found.members.kind, found.members.depth, dict(found.members.cuts)) == ("sawn joist", 235, {"J3": (900.0,)})


def test_heights_to_set_come_back_and_a_first_form_without_them_is_read(plan, tmp_path):
    plan = replace(
        plan,
        way="some-members",
        plane="level",
        lines={"J2": (12.5, -0.001)},
        marks=marks_table([("P1", [("corner", 600.0, 0.0, 1.25)])], plan.surface, plan.survey),
        settings={**plan.settings, "setting_error": 0.5},
    )
    path = save_plan(plan, tmp_path / "plan.json")
    found = read_plan(path)
    assert np.isfinite(found.set_height).any()
    np.testing.assert_array_equal(found.set_height, plan.set_height)
    assert (found.way, found.plane, found.setting_error) == ("some-members", "level", 0.5)
    assert dict(found.lines) == {"J2": (12.5, -0.001)}
    pd.testing.assert_frame_equal(found.marks, plan.marks)
    whole = json.loads(path.read_text())
    new = ("way", "plane", "set_height_mm", "marks", "lines", "setting_error_mm")
    path.write_text(json.dumps({**{key: value for key, value in whole.items() if key not in new}, "form": 1}))
    first = read_plan(path)
    np.testing.assert_array_equal(first.change, plan.change)
    assert (first.way, first.set_height, len(first.marks)) == ("patches", None, 0)
    del whole["marks"]
    path.write_text(json.dumps(whole))
    with pytest.raises(ArgumentError, match="lacks marks"):
        read_plan(path)


def test_no_file_is_overwritten_unasked(plan, tmp_path):
    path = tmp_path / "plan.json"
    path.write_text("mine")
    with pytest.raises(ArgumentError, match="already"):
        save_plan(plan, path)
    assert path.read_text() == "mine"
    save_plan(plan, path, overwrite=True)
    assert read_plan(path).strategy == "least-work"


def test_what_is_no_plan_says_why(plan, tmp_path):
    path = save_plan(plan, tmp_path / "plan.json")
    whole = json.loads(path.read_text())
    for change, match in (
        ({"plan": "another"}, "does not say"),
        ({"form": 3}, "another form"),
        ({"x_mm": [0, 0, 1]}, "cannot be"),
        ({"change_mm": [[1, 2], [3, 4]]}, "cannot be"),
        ({"patches": [{"name": "P1"}]}, "cannot be"),
        ({"patches": [{"name": "P1", "action": "fill", "outline_mm": "POINT (1 1)"}]}, "no area"),
        ({"patches": [{"name": "P1", "action": "fill", "outline_mm": "POLY"}]}, "cannot be"),
        ({"set_height_mm": [[1, 2]]}, "set_height_mm is"),
        ({"setting_error_mm": -1}, "zero or more"),
        ({"way": "magic"}, "must be one of"),
        ({"lines": {"J1": [0]}}, "cannot be"),
        ({"members": {"table": []}}, "cannot be"),
        ({"members": 3}, "cannot be"),
    ):
        path.write_text(json.dumps({**whole, **change}))
        with pytest.raises(FlatnessError, match=match):
            read_plan(path)
    for text, match in (("{", "not JSON"), ("[]", "does not say"), (json.dumps({"plan": "flatness plan"}), "lacks")):
        path.write_text(text)
        with pytest.raises(ArgumentError, match=match):
            read_plan(path)
    with pytest.raises(ArgumentError, match="cannot be read"):
        read_plan(tmp_path / "none.json")


def test_a_saved_plan_says_what_it_was_made_from(plan, tmp_path):
    path = save_plan(plan, tmp_path / "plan.json")
    found = read_plan(path).made_from
    assert found["title"] == "Loft, corner"
    assert found["limits"] == [limit.name for limit in plan.limits]
    assert found["asked"]["draws"] == 0
    x, y, height = plan.survey.xyz()
    order = np.random.default_rng(1).permutation(len(x))
    again = flatness.make_survey(x[order], y[order], height[order])
    assert fingerprint(again) == found["fingerprint"]
    assert fingerprint(flatness.make_survey(x, y, height + 0.1 * (x == x[3]))) != found["fingerprint"]
    # a plan saved before plans said so
    whole = json.loads(path.read_text())
    del whole["made_from"]
    path.write_text(json.dumps(whole))
    assert read_plan(path).made_from == {}
