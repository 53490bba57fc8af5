"""Done against planned, with plans, changes and readings that are known."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from shapely import box

import comparison_rooms as pairs
from flatness.comparison.against_plan import Read, judged
from flatness.comparison.comparing import compare
from flatness.errors import ArgumentError
from flatness.framing.members import member_layout
from flatness.survey.readings import make_survey

PLACES = {  # outline, planned, done [mm]
    "a": (box(300, 300, 2100, 2100), -6.0, -6.0),
    "b": (box(2700, 300, 4500, 2100), 5.0, 2.5),
    "c": (box(300, 3000, 2100, 4800), -4.0, -7.5),
    "d": (box(2700, 3000, 4500, 4800), 5.0, 0.0),
}


def inside(outline):
    x0, y0, x1, y1 = outline.bounds
    x, y = pairs.GX, pairs.GY
    return (x >= x0) & (x <= x1) & (y >= y0) & (y <= y1)


def plan_of(**more):
    change = sum(np.where(inside(outline), planned, 0.0) for outline, planned, _ in PLACES.values())
    x, y = pairs.GX[0], pairs.GY[:, 0]
    patches = pd.DataFrame(
        {"name": list(PLACES), "outline": [p[0] for p in PLACES.values()], "action": ["plane", "fill", "plane", "fill"]}
    )
    return SimpleNamespace(x=x, y=y, change=change, patches=patches, **more)


def surveys(error=0.3, step=3):
    done = sum(np.where(inside(outline), d, 0.0) for outline, _, d in PLACES.values())
    ground = 3 * np.sin(pairs.GX / 1500)
    return pairs.read(ground, pairs.grid(step), 1, error), pairs.read(ground + done, pairs.grid(step), 2, error)


@pytest.mark.parametrize("tolerance", [None, 1.0])
def test_each_patch_is_within_short_over_or_not_touched(tolerance):
    found = compare(*surveys(), align="none", plan=plan_of(), tolerance=tolerance).plan
    patches = found[found.what == "patch"].set_index("name")
    assert patches.status.to_dict() == {"a": "within tolerance", "b": "short", "c": "over", "d": "not touched"}
    assert patches.loc[["b", "c", "d"], "sure"].all()
    assert patches.action.tolist() == ["plane", "fill", "plane", "fill"]
    for name, (outline, planned, done) in PLACES.items():
        row = patches.loc[name]
        assert row.planned_mm == pytest.approx(planned, abs=0.01)
        # the sharp edge of the patch falls between stations 18 in apart
        assert row.done_mm == pytest.approx(done, abs=0.12 * abs(done) + 3 * row.error_mm)
        assert row.rest_mm == pytest.approx(done - planned, abs=0.1 * abs(done - planned) + 3 * row.error_mm)
        assert row.area_mm2 == pytest.approx(outline.area, rel=0.2)
        assert row.done_mm3 == pytest.approx(row.done_mm * row.area_mm2)
    assert found.iloc[0].what == "whole"


def test_each_member_is_judged_by_the_stations_beside_it():
    members = member_layout(1200, 2400, "y", count=2)
    found = compare(*surveys(), align="none", plan=plan_of(members=members)).plan
    rows = found[found.what == "member"]
    # the first runs through a (right) and c (taken too far), the second through b (half done) and d (not touched)
    assert rows.status.tolist() == ["over", "short"]
    first, second = rows.itertuples()
    assert first.rest_mm == pytest.approx(-3.5, abs=0.7)
    assert second.rest_mm == pytest.approx(-5.0, abs=0.7)
    assert (first.x_mm, second.x_mm) == pytest.approx((1200, 3600), abs=80)
    assert 3000 < first.y_mm < 4800
    assert 3000 < second.y_mm < 4800
    # the nearest stations stand in one line of them, 4 in each place, of which those in c and d are farthest off
    assert (first.off_mm, second.off_mm) == pytest.approx((-3.5, -5.0), abs=1.5)
    assert 3000 < first.worst_y_mm < 4800
    assert 3000 < second.worst_y_mm < 4800
    assert (first.stations, first.agreeing) == (8, 4)


def test_the_station_that_is_farthest_off_is_named_with_its_heights():
    ground = 3 * np.sin(pairs.GX / 1500)
    plan = plan_of()
    worked = np.any([inside(outline) for outline, _, _ in PLACES.values()], axis=0)
    plan.set_height = np.where(worked, ground + plan.change, np.nan)
    bump = (pairs.GX == 9 * pairs.STEP) & (pairs.GY == 6 * pairs.STEP)
    done = sum(np.where(inside(outline), planned, 0.0) for outline, planned, _ in PLACES.values())
    before = pairs.read(ground, pairs.grid(3), 1, 0.3)
    after = pairs.read(ground + done + np.where(bump, 4.0, 0.0), pairs.grid(3), 2, 0.3)
    found = compare(before, after, align="none", plan=plan).plan.set_index("name")
    row = found.loc["a"]
    assert (row.worst_x_mm, row.worst_y_mm) == pytest.approx((9 * pairs.STEP, 6 * pairs.STEP))
    assert row.set_mm == pytest.approx(3 * np.sin(9 * pairs.STEP / 1500) - 6.0)
    assert row.off_mm == pytest.approx(4.0, abs=4 * 0.3)
    assert row.measured_mm == pytest.approx(row.set_mm + row.off_mm)
    assert (row.stations, row.agreeing, row.status) == (16, 15, "short")
    assert found.loc[["b", "c", "d"], "status"].eq("within tolerance").all()
    plan.set_height = plan.set_height[1:]
    with pytest.raises(ArgumentError, match="heights do not fit"):
        compare(before, after, align="none", plan=plan)


def test_of_a_place_between_the_stations_nothing_is_claimed():
    plan, small = plan_of(), box(500, 500, 850, 850)
    plan.change = np.where(inside(small), -4.0, 0.0)
    plan.patches = pd.DataFrame({"name": ["s"], "outline": [small], "action": ["plane"]})
    ground = 3 * np.sin(pairs.GX / 1500)
    before, after = (pairs.read(ground + moved, pairs.grid(3), day, 0.3) for day, moved in ((1, 0), (2, plan.change)))
    row = compare(before, after, align="none", plan=plan).plan.set_index("name").loc["s"]
    assert (row.stations, row.status, row.sure) == (0, "cannot tell", False)


def test_coarse_readings_leave_doubt():
    before, after = surveys(4.0)
    found = compare(before, after, align="none", plan=plan_of(), tolerance=1.0).plan
    assert not found[found.what == "patch"].sure.all()


def read_at(planned, done, error):
    """Stations read with this error on both days, against heights that are known; far apart, so that none is shared."""
    planned, done = np.atleast_1d(planned).astype(float), np.atleast_1d(done).astype(float)
    at, one = np.arange(len(planned)) * 1000.0, np.eye(len(planned)) * error**2
    return Read(
        x=at,
        y=at,
        measured=done,
        off=done - planned,
        off_covariance=one,
        planned=planned,
        done=done,
        done_covariance=2 * one,
        is_set=np.ones(len(planned), dtype=bool),
    )


# at 95 % one reading may be 1.96 errors off, and the change of one station, from two readings, 1.96 x 1.41
@pytest.mark.parametrize(
    ("planned", "done", "error", "agreed", "status", "sure"),
    [
        (-5.0, -5.2, 0.3, False, "within tolerance", True),
        (-5.0, -6.5, 0.3, False, "within tolerance", True),  # 1.5 < 1 + 0.59
        (-5.0, -6.5, 0.3, True, "within tolerance", False),
        (-5.0, -5.4, 0.3, True, "within tolerance", True),  # 0.4 + 0.59 < 1
        (-5.0, -3.0, 0.3, False, "short", True),
        (5.0, 7.0, 0.3, False, "over", True),
        (5.0, 0.2, 0.3, False, "not touched", True),
        (1.3, 0.0, 0.3, False, "cannot tell", False),
        (1.3, 1.3, 0.3, False, "cannot tell", False),  # 1.3 < 3.29 x 0.42: no change is not ruled out
        (1.5, 1.5, 0.3, False, "within tolerance", True),
        (0.0, -2.0, 0.3, False, "over", True),
        (0.0, 0.5, 0.3, False, "within tolerance", True),
        (-1.0, 4.0, 0.3, False, "short", True),
        (-1.0, 4.0, 0.7, False, "over", True),  # 1 < 1.96 x 0.99: next to nothing was planned
    ],
)
def test_the_rule_by_hand(planned, done, error, agreed, status, sure):
    found = judged(read_at(planned, done, error), 1.0, 0.95, agreed)
    assert (found["status"], found["sure"]) == (status, sure)


def test_one_station_that_is_off_is_enough_and_so_is_a_mean():
    found = judged(read_at([-5, -5, -5], [-5, -1, -5], 0.3), 1.0, 0.95)
    assert (found["status"], found["agreeing"], found["worst_x_mm"], found["off_mm"]) == ("short", 2, 1000.0, 4.0)
    # of 16 stations one may be off by 1 + 2.95 x 0.4 = 2.2, and the mean by 1 + 1.96 x 0.1 = 1.2
    found = judged(read_at([5] * 16, [3.2] * 16, 0.4), 1.0, 0.95)
    assert (found["status"], found["agreeing"]) == ("short", 16)
    assert judged(read_at([5] * 16, [4.0] * 16, 0.4), 1.0, 0.95)["status"] == "within tolerance"


def test_where_only_fill_is_added_what_stood_higher_may_stay():
    read = read_at([1.0, 1.0, 1.0, 1.0], [0.0, 2.0, -3.0, 5.0], 0.3)  # off by -1, 1, -4, 4
    assert read.one_way(1).off.tolist() == [-1, 1, -4, 4]
    stood = replace(read, off=np.array([3.0, 3.0, -4.0, 3.0]))
    assert stood.one_way(1).off.tolist() == [0, 2, -4, 3]
    assert replace(stood, off=-stood.off, done=-stood.done).one_way(-1).off.tolist() == [0, -2, 4, -3]
    assert stood.one_way(0) is stood


def test_a_plan_that_does_not_fit_is_said():
    before, after = surveys(step=8)
    good = plan_of()
    with pytest.raises(ArgumentError, match="does not fit"):
        compare(before, after, align="none", plan=SimpleNamespace(x=good.x, y=good.x, change=good.change))
    with pytest.raises(ArgumentError, match="another place"):
        compare(before, after, align="none", plan=SimpleNamespace(x=good.x + 9e4, y=good.y, change=good.change))
    bad = SimpleNamespace(x=good.x, y=good.y, change=good.change, patches=pd.DataFrame({"name": ["a"]}))
    with pytest.raises(ArgumentError, match="outlines"):
        compare(before, after, align="none", plan=bad)
    with pytest.raises(ArgumentError, match="tolerance"):
        compare(before, after, align="none", plan=good, tolerance=0.0)
    far = pd.DataFrame({"outline": [box(90000, 0, 90100, 100)]})
    found = compare(
        before, after, align="none", plan=SimpleNamespace(x=good.x, y=good.y, change=good.change, patches=far)
    ).plan
    assert found.iloc[1].status == "not surveyed"


def test_work_outside_every_patch_is_listed_with_its_place_and_size():
    ground, extra = 3 * np.sin(pairs.GX / 1500), box(3000, 3300, 4200, 4500)
    done = sum(np.where(inside(outline), planned, 0.0) for outline, planned, _ in PLACES.values())
    plan = plan_of()
    plan.change = np.where(inside(PLACES["d"][0]), 0.0, plan.change)
    plan.patches = plan.patches[plan.patches.name != "d"]
    worked = np.where(inside(PLACES["d"][0]), np.where(inside(extra), -5.0, 0.0), done)
    before, after = pairs.read(ground, pairs.grid(3), 1, 0.3), pairs.read(ground + worked, pairs.grid(3), 2, 0.3)
    found = compare(before, after, align="none", plan=plan).plan
    rows = found[found.what == "elsewhere"]
    assert rows.status.tolist() == ["not planned"]
    row = rows.iloc[0]
    assert (row.x_mm, row.y_mm) == pytest.approx((3600, 3900), abs=200)
    # change is shown beyond the sharp edge too, half a step between stations on each side
    assert row.area_mm2 == pytest.approx((1200 + 457.2) ** 2, rel=0.35)
    assert row.done_mm3 == pytest.approx(-5.0 * extra.area, rel=0.15)
    assert row.planned_mm == 0
    assert found[found.what == "patch"].status.tolist() == ["within tolerance"] * 3


def test_damage_beside_a_patch_is_listed_and_a_patch_that_is_short_is_not():
    """A place half a station from a patch, 10 mm deep; and a patch of which a third was done, which shows around it."""
    ground = 3 * np.sin(pairs.GX / 1500)
    outline, planned, _ = PLACES["d"]
    left, low = outline.bounds[:2]
    damage = box(left - 1100, low, left - 230, low + 900)
    for worked, listed in (
        (np.where(inside(outline), planned, 0.0) + np.where(inside(damage), -10.0, 0.0), True),
        (np.where(inside(outline), planned / 3, 0.0), False),
    ):
        plan = plan_of()
        plan.change = np.where(inside(outline), planned, 0.0)
        plan.patches = plan.patches[plan.patches.name == "d"]
        before, after = pairs.read(ground, pairs.grid(3), 1, 0.2), pairs.read(ground + worked, pairs.grid(3), 2, 0.2)
        found = compare(before, after, align="none", plan=plan).plan
        rows = found[found.what == "elsewhere"]
        assert bool(len(rows)) == listed
        if listed:
            assert rows.iloc[0].done_mm < -3
            assert abs(rows.iloc[0].x_mm - damage.centroid.x) < 500
            # what is drawn through stations overshoots beside an edge as sharp as this
            assert (rows.iloc[1:].done_mm.abs() < 1).all()


def test_a_floor_planed_as_planned_has_no_rest_beside_an_opening():
    """Flat before, 10 mm lower after, just as planned: wherever stations stand, what is left to do is nothing."""
    opening = box(1050, 1050, 1950, 1950)
    x, y = (v.ravel() for v in np.meshgrid(np.arange(0, 3001, 150.0), np.arange(0, 3001, 150.0)))
    keep = (np.abs(x - 1500) >= 450) | (np.abs(y - 1500) >= 450)
    before, after = (
        make_survey(
            x[keep],
            y[keep],
            np.full(keep.sum(), height),
            accuracy=0.3,
            outline=box(0, 0, 3000, 3000),
            openings=(opening,),
        )
        for height in (0.0, -10.0)
    )
    surface = before.surface_at(200.0)  # the opening's edges run between its nodes
    plan = SimpleNamespace(x=surface.x, y=surface.y, change=np.where(surface.inside, -10.0, np.nan))
    whole = compare(before, after, align="none", plan=plan).plan.iloc[0]
    assert whole.planned_mm == pytest.approx(-10)
    assert (whole.rest_mm, whole.most_over_mm, whole.most_short_mm) == pytest.approx((0, 0, 0), abs=1e-6)


def test_specks_of_noise_are_not_called_work():
    ground, plan = 3 * np.sin(pairs.GX / 1500), plan_of()
    plan.change, plan.patches = 0 * plan.change, plan.patches.iloc[:0]
    count = 0
    for seed in range(20):
        before, after = (pairs.read(ground, pairs.grid(4), [seed, day], 0.5) for day in (1, 2))
        found = compare(before, after, align="none", plan=plan).plan
        count += int((found.what == "elsewhere").any())
    assert count <= 3
