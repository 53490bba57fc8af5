"""Whole plans: what passes is measured by the ordinary code, closed forms, and rooms whose true surface is known."""

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy.interpolate import LinearNDInterpolator
from shapely import Polygon, box

import flatness
import simulated_rooms as rooms
from flatness.errors import ArgumentError, FlatnessError, LimitError, MeasureError, PlanError
from flatness.framing.members import member_layout
from flatness.lengths import settle
from flatness.measures.bars import gap_map
from flatness.measures.spans import din_bar
from flatness.planning.constraints import Depths, FixedSpot, Rates
from flatness.planning.plan import ACTIONS, OUTSIDE
from flatness.planning.planner import plan_corrections
from flatness.planning.quantities import SET_BY_YOU, settings_of
from flatness.planning.substrate import Beneath
from flatness.surface.lattice import make_surface

SAMPLES = Path(__file__).parents[2] / "sample_surveys"
QUICK = {"headings": 4, "draws": 0}
COARSE = {**QUICK, "spacing": 304.8}  # where the point is not the lattice: most of the time goes into its nodes
SHEATHING = Beneath("sheathing", may_be_planed=True, most_planed=4.0)


def read_room(kind, seed, gap=11.0, feet=2, **about):
    """Readings of a room whose true largest gap under 10 ft is ``gap`` mm, and its true heights."""
    z, now = rooms.room(rooms.KINDS[kind], seed)
    z = z * gap / now
    return flatness.make_survey(*rooms.survey(z, feet, seed).xyz(), accuracy=rooms.READING_ERROR, **about), z


def profile(heights, rows=3, step=500.0, **about):
    """A survey whose every row reads the same heights [mm], so that what is least can be told by hand."""
    x, y = np.meshgrid(np.arange(len(heights)) * step, np.arange(rows) * step)
    return flatness.make_survey(x, y, np.tile(np.asarray(heights, float), (rows, 1)), **{"unit": "mm", **about})


def by_hand(survey, length, allowed, **more):
    """A plan along rows alone, on the readings as they are."""
    chosen = {"surface": "as-read", "headings": 1, "draws": 0, "spacing": 500.0, **more}
    return plan_corrections(survey, limits=flatness.straightedge_limit(length, allowed), **chosen)


def worst_gap(plan, length=rooms.BAR):
    finished = make_surface(plan.target, plan.surface.spacing)
    worst = flatness.straightedge(finished, length, plan.headings).worst
    return 0.0 if worst is None else settle(worst.gap)


def node_area(plan):
    """A quarter of each whole cell about a node: these rooms are whole rectangles."""
    area = np.full(plan.change.shape, plan.surface.spacing**2)
    for edge in (np.s_[0], np.s_[-1], np.s_[:, 0], np.s_[:, -1]):
        area[edge] /= 2
    return area


# every plan


# each way of asking on two kinds of rooms and lattices, each kind asked in several ways
@pytest.mark.parametrize("other", [0, 2])
@pytest.mark.parametrize(
    ("seed", "how"),
    [
        (1, {}),
        (2, {"beneath": SHEATHING}),
        (3, {"beneath": SHEATHING, "headings": 12, "surface": "as-read"}),
        (4, {"strategy": "best-plane", "beneath": SHEATHING}),
        (5, {"aim": 0.5}),
        (6, {"shift": "nothing-comes-off"}),
        (7, {"level_within": 9.0, "beneath": SHEATHING}),
    ],
)
def test_every_plan_passes_and_adds_up(other, seed, how):
    survey, _ = read_room(list(rooms.KINDS)[(seed + other) % len(rooms.KINDS)], seed)
    plan = plan_corrections(
        survey, limits=rooms.limit(), **{**(COARSE if other else QUICK), "rates": Rates(2, 1), **how}
    )
    assert worst_gap(plan) <= rooms.LIMIT * how.get("aim", 1.0) + 1e-6
    assert plan.passes
    assert plan.after["after_mm"][0] == pytest.approx(worst_gap(plan), abs=2e-6)
    area, change = node_area(plan), plan.change
    changed = change != 0
    assert np.abs(change[changed]).min() >= 1e-6
    assert plan.patches["volume_mm3"].sum() == pytest.approx((area * np.abs(change)).sum())
    assert plan.cost == pytest.approx((area * np.where(change > 0, change, -2 * change)).sum())
    # what is set is the surface and the change, and nothing changes where nothing is set
    worked = np.isfinite(plan.set_height)
    np.testing.assert_allclose(plan.set_height[worked], (plan.surface.height + change)[worked], atol=1e-9)
    assert not changed[~worked].any()
    assert plan.bound <= plan.cost or math.isnan(plan.bound)
    assert math.isnan(plan.bound) == (how.get("strategy", "least-work") != "least-work")
    if how.get("strategy"):
        assert plan.patches["area_mm2"].sum() == pytest.approx(area[changed].sum())
    else:
        chalked(plan)
    if "level_within" in how:
        assert np.ptp(plan.target) <= 9.0 + 2e-6
    if how.get("shift") or "beneath" not in how:
        assert (change >= 0).all()
        assert not plan.action("plane").any()
    assert change.min() >= -4.0 - 1e-6
    filled = (area * change)[plan.action("fill")].sum()
    assert plan.quantities.fill_volume == pytest.approx(filled)
    assert plan.quantities.cut_volume == pytest.approx(-(area * change)[plan.action("plane")].sum())


def chalked(plan):
    """Outlines that a crew can chalk, and heights that make the surface: straight from mark to mark."""
    surface, step = plan.surface, plan.surface.spacing
    gx, gy = np.meshgrid(surface.x, surface.y)
    for patch in plan.patches.itertuples():
        corners = np.array(patch.outline.exterior.coords[:-1])
        assert 3 <= len(corners) <= 12
        np.testing.assert_allclose(corners / step, np.round(corners / step), atol=1e-6)
        box_of = np.array(patch.outline.minimum_rotated_rectangle.exterior.coords)
        at_wall = corners.min() < step or (corners.max(axis=0) > [surface.x[-2], surface.y[-2]]).any()
        assert np.hypot(*np.diff(box_of, axis=0).T).min() >= (1 if at_wall else 2) * step - 1e-6
        assert patch.area_mm2 == pytest.approx(patch.outline.area)
        others = plan.patches.loc[plan.patches["name"] != patch.name, "outline"]
        alone = ~np.any([shapely.intersects_xy(one.buffer(1), gx, gy) for one in others], axis=0)
        marks = plan.marks[plan.marks["name"] == patch.name]
        between = LinearNDInterpolator(marks[["x_mm", "y_mm"]].to_numpy(), marks["set_mm"].to_numpy())(gx, gy)
        inside = shapely.contains_xy(patch.outline.buffer(-step / 10), gx, gy) & surface.inside & alone
        only = np.maximum if patch.greatest_mm > 0 else np.minimum
        # four marks at the corners of a square are crossed by a bar either way
        np.testing.assert_allclose(plan.target[inside], only(between, surface.height)[inside], atol=25.4 / 32)


def test_least_work_is_no_more_than_a_plane():
    survey, _ = read_room("smooth", 8)
    cost = {
        strategy: plan_corrections(survey, strategy, limits=rooms.limit(), beneath=SHEATHING, **COARSE).cost
        for strategy in ("least-work", "best-plane", "level")
    }
    assert 0 < cost["least-work"] < cost["best-plane"] < cost["level"]
    tilted = plan_corrections(survey, "best-plane", tilt="least-work", beneath=SHEATHING, **COARSE)
    assert tilted.cost <= cost["best-plane"] * (1 + 1e-9)
    assert tilted.passes
    assert len(tilted.after) == 0


def test_the_same_seed_gives_the_same_plan():
    survey, _ = read_room("ridge or seam", 9)
    first, second = (
        plan_corrections(survey, limits=rooms.limit(), headings=4, draws=20, seed=3, beneath=SHEATHING, spacing=304.8)
        for _ in range(2)
    )
    np.testing.assert_array_equal(first.change, second.change)
    assert first.after.drop(columns="note").equals(second.after.drop(columns="note"))
    assert first.patches.drop(columns="outline").equals(second.patches.drop(columns="outline"))
    assert first.notes == second.notes


def test_a_room_with_an_opening_and_an_outline():
    # L-shaped, with a stair opening: patches stay within the outline and off the opening
    x, y = np.meshgrid(np.arange(13) * 500.0, np.arange(11) * 500.0)
    outline = Polygon([(0, 0), (6000, 0), (6000, 2500), (3500, 2500), (3500, 5000), (0, 5000)])
    opening = box(900, 2900, 2100, 4100)
    z = 9 * np.sin(x / 900) * np.cos(y / 1100)
    keep = shapely.intersects_xy(outline, x, y) & ~shapely.contains_xy(opening, x, y)
    survey = flatness.make_survey(x[keep], y[keep], z[keep], accuracy=0.2, outline=outline, openings=(opening,))
    plan = plan_corrections(
        survey, limits=flatness.straightedge_limit(2000, 3), beneath=SHEATHING, spacing=250, **QUICK
    )
    assert worst_gap(plan, 2000) <= 3
    np.testing.assert_array_equal(np.isnan(plan.change), ~plan.surface.inside)
    np.testing.assert_array_equal(plan.actions == OUTSIDE, ~plan.surface.inside)
    for patch in plan.patches["outline"]:
        assert outline.buffer(1).contains(patch)
        assert patch.intersection(opening).area < 1
    assert plan.patches["area_mm2"].sum() == pytest.approx(sum(p.area for p in plan.patches["outline"]), rel=1e-6)


# closed forms


def test_a_trough_of_4_mm_under_a_limit_of_3_takes_1_mm():
    plan = by_hand(profile([0, 0, -4, 0, 0]), 1000, 3.0)
    np.testing.assert_allclose(plan.change, [[0, 0, 1, 0, 0]] * 3, atol=1e-4)
    # 1 mm over a strip 500 mm wide and 1000 mm long
    assert plan.cost == pytest.approx(5e5, rel=1e-4)
    assert plan.bound == pytest.approx(5e5, rel=1e-3)
    row = plan.patches.iloc[0]
    assert (row.action, row.name) == ("fill", 0)
    # no outline is under two steps of the lattice wide
    assert row.outline.equals(box(500, 0, 1500, 1000))
    assert plan.quantities.fill_volume == pytest.approx(5e5, rel=1e-4)
    assert plan.after[["before_mm", "after_mm", "allowed_mm"]].to_numpy().round(5).tolist() == [[4.0, 3.0, 3.0]]


def test_planing_lowers_a_ridge_only_as_far_as_was_said():
    # a ridge of 8 mm: 4 mm of gap at 500 mm beside it. A ridge lower by d takes d / 2 less fill on either side
    ridge, about = profile([0, 0, 8, 0, 0]), box(750, -1, 1250, 1001)
    rates = Rates(0.4, 1, place=0.0, area=0.0)  # by volume alone
    nothing = by_hand(ridge, 1000, 3.0, rates=rates)
    np.testing.assert_allclose(nothing.change, [[0, 1, 0, 1, 0]] * 3, atol=1e-4)
    some = by_hand(ridge, 1000, 3.0, rates=rates, beneath=Beneath("sheathing", True, most_planed=1, area=about))
    np.testing.assert_allclose(some.change, [[0, 0.5, -1, 0.5, 0]] * 3, atol=1e-4)
    assert some.patches["action"].tolist() == ["plane", "fill", "fill"]
    assert {b.term for b in some.binding} == {"deepest cut"}
    deep = Beneath("sheathing", True, most_planed=9, area=about)
    np.testing.assert_allclose(
        by_hand(ridge, 1000, 3.0, rates=rates, beneath=deep).change, [[0, 0, -2, 0, 0]] * 3, atol=1e-4
    )
    kept = by_hand(ridge, 1000, 3.0, rates=rates, depths=Depths(cut=0.0), beneath=deep)
    np.testing.assert_allclose(kept.change, nothing.change, atol=1e-4)


def test_level_stands_on_the_highest_spot_where_nothing_may_come_off():
    survey = profile([0, 2, 6, 2, 0], accuracy=0.5)
    plan = plan_corrections(survey, "level", surface="as-read", spacing=500, draws=0)
    np.testing.assert_allclose(plan.target, 6.0, atol=1e-6)
    low = plan_corrections(survey, "level", height=9.0, surface="as-read", spacing=500, draws=0)
    np.testing.assert_allclose(low.target, 9.0, atol=1e-6)
    through = plan_corrections(
        survey,
        "through-benchmarks",
        surface="as-read",
        spacing=500,
        draws=0,
        fixed=[FixedSpot(0, 0, 8), FixedSpot(2000, 0, 8), FixedSpot(0, 1000, 10)],
    )
    np.testing.assert_allclose(through.target, 8 + 2 * np.array([[0], [0.5], [1]]) + np.zeros(5), atol=1e-6)
    spots = plan_corrections(
        survey, "fixed-spots", surface="as-read", spacing=500, draws=0, fixed=[FixedSpot(1000, 500)]
    )
    assert spots.change[1, 2] == pytest.approx(0, abs=1e-6)
    assert np.ptp(np.diff(spots.target, axis=1)) < 1e-6


# what may come off


@pytest.mark.parametrize(
    "beneath",
    [
        None,
        Beneath("sheathing"),
        Beneath("LVL", True, 9.0),
        Beneath("I-joist", True),
        Beneath("engineered", True),
        Beneath("sawn joist", True, 9.0),
    ],
)
def test_nothing_is_planed_without_leave(beneath):
    survey, _ = read_room("ridge or seam", 10)
    for strategy in ("least-work", "level"):
        plan = plan_corrections(survey, strategy, limits=rooms.limit(), beneath=beneath, **COARSE)
        assert (plan.change >= 0).all()
        assert not (plan.action("plane") | plan.action("engineer")).any()
        assert "nothing comes off" in " ".join(plan.notes)
        assert "plane" not in {caution.key for caution in plan.cautions}


def test_engineered_members_keep_their_tops():
    survey, _ = read_room("ridge or seam", 10)
    truss = member_layout(0, 406.4, "y", until=4800, kind="truss")
    plan = plan_corrections(survey, limits=rooms.limit(), members=truss, **COARSE)
    assert (plan.change >= 0).all()
    assert plan.members is truss
    assert "truss" in " ".join(plan.notes)


def test_sawn_joists_within_their_notch_limits_and_free_in_the_middle_third():
    # IRC R502.8.1 as quoted: 184 mm / 6 = 30.7 mm; the user allows 12 mm; the middle third of 6096 mm is kept free
    survey, _ = read_room("long waves", 11, gap=30.0)
    joists = Beneath("sawn joist", True, most_planed=12.0, depth=184, span=(0, 6096), direction="y")
    plan = plan_corrections(survey, limits=rooms.limit(), beneath=joists, **QUICK)
    middle = (plan.y >= 2032) & (plan.y <= 4064)
    assert (plan.change[middle] >= 0).all()
    assert plan.action("plane").any()
    assert -12 - 1e-6 <= plan.change.min() < -1
    assert not plan.action("engineer").any()
    shallow = Beneath("sawn joist", True, most_planed=12.0, depth=30, span=(0, 6096), direction="y")
    assert plan_corrections(survey, limits=rooms.limit(), beneath=shallow, **QUICK).change.min() >= -5 - 1e-6
    assert {"plane", "notch", "engineered"} <= {caution.key for caution in plan.cautions}


def test_a_sill_that_stays_low_goes_to_the_engineer_or_is_an_error():
    # beside a ridge of 8 mm a sill stays at 0, as do both walls: with 3 mm of gap at it the ridge may stand 6 mm high,
    # so 2 mm are too much, in that row alone; the other rows take 1 mm of fill on either side as before
    ridge = profile([0, 0, 8, 0, 0])
    sill = [FixedSpot(500, 500, 0.0, name="the sill"), FixedSpot(0, 500), FixedSpot(2000, 500)]
    plan = by_hand(ridge, 1000, 3.0, fixed=sill)
    np.testing.assert_allclose(plan.change[1], [0, 0, -2, 0, 0], atol=0.02)
    np.testing.assert_allclose(plan.change[[0, 2]], [[0, 1, 0, 1, 0]] * 2, atol=1e-4)
    assert ACTIONS[plan.actions[1, 2]] == "engineer"
    assert plan.patches["action"].tolist()[0] == "engineer"
    assert "2.0 mm would come off at (1000, 500) mm where nothing may" in plan.patches["note"][0]
    told = " ".join(plan.notes)
    assert "P1: 2.0 mm would come off" in told
    assert "the sill" in told
    assert not plan.action("plane").any()
    assert plan.quantities.cut_volume == 0
    assert plan.passes
    assert {"engineered", "authority"} <= {caution.key for caution in plan.cautions}
    # however cheap taking off is, the engineer is asked about no more than the least that must come off
    cheap = by_hand(ridge, 1000, 3.0, fixed=sill, rates=Rates(0.1, 1))
    np.testing.assert_array_equal(cheap.action("engineer"), plan.action("engineer"))
    with pytest.raises(PlanError, match=r"the sill at \(500, 500\) mm[\s\S]*deepest cut[\s\S]*remedy") as error:
        by_hand(ridge, 1000, 3.0, fixed=sill, ask_engineer=False)
    assert "clash" in str(error.value)
    with pytest.raises(PlanError, match="clash"):  # what its user rules out no engineer is asked about
        by_hand(ridge, 1000, 3.0, fixed=sill, shift="nothing-comes-off")


def test_a_level_floor_at_a_sill_asks_about_no_more_than_stands_above_it():
    survey = profile([0, 2, 6, 2, 0])
    plan = plan_corrections(survey, "level", surface="as-read", spacing=500, draws=0, fixed=[FixedSpot(500, 500)])
    np.testing.assert_allclose(plan.target, 2.0, atol=1e-6)
    np.testing.assert_array_equal(plan.action("engineer"), [[False, False, True, False, False]] * 3)
    with pytest.raises(PlanError, match="clash"):
        plan_corrections(survey, "level", surface="as-read", draws=0, fixed=[FixedSpot(500, 500)], ask_engineer=False)
    given = plan_corrections(survey, "level", surface="as-read", spacing=500, draws=0, height=5.0)
    assert given.patches.query("action == 'engineer'")["greatest_mm"].tolist() == pytest.approx([-1.0])


# floor, ceiling, wall


@pytest.mark.parametrize(("kind", "framing"), [("floor", "sister"), ("ceiling", "fur"), ("wall", "fur")])
def test_deep_hollows_are_sistered_on_floors_and_furred_elsewhere(kind, framing):
    hollow = profile([0, 0, -20, 0, 0], surface=kind, reference="plumb" if kind == "wall" else "level")
    plan = by_hand(hollow, 1000, 3.0)
    assert plan.patches["action"].tolist() == [framing]
    assert plan.quantities.fill_volume == 0
    assert ("stairs" in {caution.key for caution in plan.cautions}) == (kind == "floor")
    slab = by_hand(hollow, 1000, 3.0, beneath=Beneath("slab"))
    assert slab.patches["action"].tolist() == ["fill" if kind == "floor" else "fur"]
    filled = by_hand(hollow, 1000, 3.0, deepest_fill=25)
    assert filled.patches["action"].tolist() == ["fill"]
    assert filled.settings["deepest_fill"].source == SET_BY_YOU
    assert "no source" in filled.settings["thin_fill"].source


# noise, chance, aim


def test_noise_is_not_planed_off():
    # a truly flat floor, readings good to 0.8 mm: as read there is work to do, on the best estimate hardly any
    rng = np.random.default_rng(12)
    x, y = np.meshgrid(np.arange(13) * 304.8, np.arange(15) * 304.8)
    survey = flatness.make_survey(x, y, rng.normal(0, 0.8, x.shape), accuracy=0.8)
    as_read, likely = (
        plan_corrections(
            survey, limits=flatness.straightedge_limit(3048, 2.0), surface=surface, beneath=SHEATHING, aim=1.0, **COARSE
        )
        for surface in ("as-read", "likely")
    )
    assert as_read.patches["area_mm2"].sum() > 0.5e6
    assert likely.cost <= 0.05 * as_read.cost
    assert likely.based_on == "likely"


@pytest.mark.parametrize(("accuracy", "doubted"), [(3.0, True), (0.5, False)])
def test_work_shallower_than_an_error_of_reading_is_doubted(accuracy, doubted):
    # a trough of 4 mm under a limit of 2 mm: 1 mm off the sides and 1 mm into the middle
    x, y = np.meshgrid(np.arange(13) * 304.8, np.arange(13) * 304.8)
    survey = flatness.make_survey(x, y, 4 * np.abs(x - 1828.8) / 1828.8, accuracy=accuracy)
    plan = plan_corrections(
        survey,
        limits=flatness.straightedge_limit(3657.6, 2.0),
        surface="as-read",
        aim=1.0,
        beneath=SHEATHING,
        rates=Rates(place=0.0, area=0.0),
        **QUICK,
    )
    assert 0.9 < plan.patches["greatest_mm"].abs().max() < 1.1
    assert ("before anything is done" in " ".join(plan.notes)) == doubted


def setting_errors(plan, count, rng):
    """[count, ny, nx] mm, made anew about every 2 ft and straight between."""
    step = round(609.6 / plan.surface.spacing)
    ny, nx = plan.change.shape
    my, mx = -(-(ny - 1) // step) + 1, -(-(nx - 1) // step) + 1
    wy, wx = (np.maximum(0, 1 - np.abs(np.arange(n)[:, None] / step - np.arange(m))) for n, m in ((ny, my), (nx, mx)))
    return wy @ rng.normal(0, 25.4 / 32, (count, my, mx)) @ wx.T


def set_on(plan, heights, rng):
    """Heights [n, ny, nx] mm once places are planed and filled on each, with errors of setting."""
    target = plan.set_height + setting_errors(plan, len(heights), rng)
    done = np.where(np.isfinite(plan.set_height), target, heights)
    done = np.where(plan.action("fill"), np.maximum(done, heights), done)
    return np.where(plan.action("plane"), np.minimum(done, heights), done)


@pytest.mark.parametrize(("kind", "seed"), [("smooth", 2), ("ridge or seam", 5)])
def test_a_sure_plan_passes_on_other_surfaces_and_on_the_truth(kind, seed):
    survey, truth = read_room(kind, seed)
    terms = {"limits": rooms.limit(), "headings": 4, "draws": 100, "beneath": SHEATHING}
    plain, sure = (plan_corrections(survey, aim=aim, **terms) for aim in (1.0, "sure"))
    assert plain.after["chance"][0] < 0.95
    assert sure.after["chance"][0] >= 0.95
    assert (plain.passes, sure.verdict) == (True, "pass")
    assert sure.cost > plain.cost
    # other surfaces that the readings allow, and the true one, with errors of setting made here
    rng = np.random.default_rng(7)
    others = flatness.likely_surface(survey, sure.surface.spacing).draw(200, seed=77)
    gaps = np.nanmax(gap_map(set_on(sure, others, rng), sure.surface.spacing, rooms.BAR, 4), axis=(1, 2))
    share = np.mean(gaps <= rooms.LIMIT)
    assert share >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / 200)
    gaps = np.nanmax(gap_map(set_on(sure, np.stack([truth] * 20), rng), rooms.SPACING, rooms.BAR, 4), axis=(1, 2))
    assert np.mean(gaps <= rooms.LIMIT) >= 0.8


def test_the_chance_is_of_heights_that_were_set():
    """A level floor set with an error of 1/32 in has what that error leaves, however unknown the floor beneath was."""
    survey, _ = read_room("long waves", 2, feet=4)
    limit = flatness.straightedge_limit(rooms.BAR, 2.5)
    deep = Beneath("boards", True, 50.0)
    plan = plan_corrections(survey, "level", limits=limit, headings=4, draws=100, beneath=deep)
    uneven = setting_errors(plan, 400, np.random.default_rng(3))
    gaps = np.nanmax(gap_map(uneven, plan.surface.spacing, rooms.BAR, 4), axis=(1, 2))
    truly = np.mean(gaps <= 2.5)
    assert 0.02 < truly < 0.98
    assert plan.after["chance"][0] == pytest.approx(truly, abs=0.1)
    exact = plan_corrections(survey, "level", limits=limit, headings=4, draws=50, beneath=deep, setting_error=0.0)
    assert exact.after["chance"][0] == 1.0


def test_what_nothing_makes_sure_is_said():
    survey, _ = read_room("smooth", 2, feet=4)
    tight = flatness.straightedge_limit(rooms.BAR, 1.0)
    plan = plan_corrections(survey, limits=tight, aim="sure", headings=2, draws=40, spacing=304.8)
    assert plan.after["chance"][0] < 0.95
    assert "makes it sure" in " ".join(plan.notes)
    assert plan.passes


def test_work_is_gathered():
    """A hump and a dip, planted: about what was planted is touched, in about so many places, and the truth passes."""
    x, y = np.meshgrid(np.arange(41) * 152.4, np.arange(33) * 152.4)

    def bump(cx, cy, reach):
        return 0.5 + 0.5 * np.cos(np.pi * np.minimum(np.hypot(x / 304.8 - cx, y / 304.8 - cy) / reach, 1))

    planted = 11.0 * bump(6, 8, 3.5) - 10.0 * bump(14, 7, 3.5)
    part = np.s_[::4, ::4]
    noise = np.random.default_rng(5).normal(0, 25.4 / 32, x[part].shape)
    survey = flatness.make_survey(x[part], y[part], planted[part] + noise, accuracy=25.4 / 32)
    plan = plan_corrections(
        survey,
        limits=flatness.straightedge_limit(3048, 6.35),
        beneath=Beneath("boards", True, 9.5),
        headings=4,
        spacing=152.4,
        draws=100,
    )
    assert 2 <= len(plan.patches) <= 4
    assert plan.patches["area_mm2"].sum() <= 1.5 * (np.abs(planted) > 0.8).sum() * 152.4**2
    after = set_on(plan, planted[None], np.random.default_rng(6))[0]
    assert np.nanmax(gap_map(after, 152.4, 3048.0, 12)) <= 6.35


# limits


def test_limits_that_cannot_be_planned_for_are_measured_afterwards():
    survey = profile([0, 0, -4, 0, 0])
    wanted = [flatness.straightedge_limit(1000, 3.0), flatness.level_limit(2.0), flatness.slope_limit("1:48", 1000)]
    plan = plan_corrections(survey, limits=wanted, surface="as-read", spacing=500, headings=1, draws=0)
    after = plan.after.set_index("limit")
    assert after["planned_for"].tolist() == [True, False, False]
    level, slope = after.iloc[1], after.iloc[2]
    # closed form: the trough is left 3 mm deep, and 3 mm rise in 500 mm or over a metre none
    assert (level.before_mm, level.after_mm, level.passes) == (4.0, pytest.approx(3.0, abs=1e-4), False)
    assert math.isnan(slope.after_mm)
    assert slope.unit == "rise / run"
    assert not plan.passes
    assert "stay level within 2 mm" in " ".join(plan.notes)
    banded = plan_corrections(
        survey, limits=wanted, surface="as-read", spacing=500, headings=1, draws=0, level_within=2.0
    )
    assert banded.after.set_index("limit").iloc[1].passes


def test_f_numbers_are_measured_on_the_planned_stations():
    x, y = np.meshgrid(np.arange(16) * 304.8, np.arange(4) * 1219.2)
    survey = flatness.make_survey(x, y, 8 * np.sin(x / 500), line=[str(v) for v in y.ravel()], accuracy=0.3)
    plan = plan_corrections(survey, "level", limits=flatness.f_number_limit(ff=25.0), headings=4, draws=20)
    row = plan.after.iloc[0]
    assert row.unit == "F-number"
    assert row.before < 25 < row.after
    assert row.passes
    assert math.isnan(row.after_mm)


def test_a_limit_by_span_is_planned_for_where_that_is_exact():
    survey, _ = read_room("smooth", 13, gap=25.0)
    limit = flatness.span_limit([100, 1000, 4000, 10000], [1, 3, 9, 12])
    plan = plan_corrections(survey, limits=limit, beneath=SHEATHING, **COARSE)
    assert din_bar(plan.surface, [100, 1000, 4000, 10000], [1, 3, 9, 12], headings=4).ratio > 1
    finished = make_surface(plan.target, plan.surface.spacing)
    assert din_bar(finished, [100, 1000, 4000, 10000], [1, 3, 9, 12], headings=4).ratio <= 1 + 1e-6
    assert plan.passes
    assert plan.after["planned_for"].all()
    with pytest.raises(ArgumentError, match="4 headings"):
        plan_corrections(survey, limits=limit, headings=12, draws=0)


def test_stopping_early_is_said_and_still_passes():
    survey, _ = read_room("long waves", 14)
    seen = []

    def stop(count, left, cost):
        seen.append((count, left, cost))
        return True

    plan = plan_corrections(survey, limits=rooms.limit(), beneath=SHEATHING, progress=stop, **QUICK)
    assert len(seen) == 1
    assert not plan.finished
    assert worst_gap(plan) <= rooms.LIMIT
    assert "stopped early" in " ".join(plan.notes)
    calls = []
    whole = plan_corrections(
        survey, limits=rooms.limit(), beneath=SHEATHING, progress=lambda *a: bool(calls.append(a)), **QUICK
    )
    assert whole.finished
    assert len(calls) >= 1
    assert whole.patches["area_mm2"].sum() <= plan.patches["area_mm2"].sum()


def test_materials_and_settings_are_the_users():
    plan = by_hand(profile([0, 0, -4, 0, 0]), 1000, 3.0, materials=settings_of(bag_yield=9e4), deepest_plane=1.5)
    assert plan.quantities.bags == 6  # 5e5 mm3 in bags of 9e4
    assert plan.settings["deepest_plane"].value == 1.5
    assert plan.settings["surface"] == "as-read"
    assert plan.settings["planned_to"] == 1.0


# afterwards


def test_the_work_is_held_against_the_plan():
    survey, truth = read_room("ridge or seam", 16, feet=2)
    plan = plan_corrections(survey, limits=rooms.limit(), beneath=SHEATHING, aim=0.5, **QUICK)
    done = rooms.survey(truth + plan.change, 2, 99)
    found = flatness.compare(survey, done, align="none", plan=plan, draws=0).plan
    patches = found[found["what"] == "patch"]
    assert patches["name"].tolist() == plan.patches["name"].tolist()
    assert patches["action"].tolist() == plan.patches["action"].tolist()
    greatest = plan.patches["area_mm2"].to_numpy().argmax()
    assert patches.iloc[greatest]["status"] == "within tolerance"
    nothing = flatness.compare(survey, rooms.survey(truth, 2, 98), align="none", plan=plan, draws=0).plan
    assert nothing[nothing["what"] == "patch"].iloc[greatest]["status"] in ("not touched", "short")


# what cannot be


LEVELS = {"strategy": "level", "limits": ()}


@pytest.mark.parametrize(
    ("how", "error", "says"),
    [
        ({"strategy": "cheapest"}, ArgumentError, r"unknown strategy[\s\S]*cheapest[\s\S]*least-work, level"),
        ({"surface": "mean"}, ArgumentError, r"unknown surface[\s\S]*likely, as-read"),
        ({"shift": "up"}, ArgumentError, "unknown shift"),
        ({"tilt": "x"}, ArgumentError, "unknown tilt"),
        ({"limits": ()}, ArgumentError, r"nothing that the least work[\s\S]*remedy: agree a straightedge limit"),
        ({"limits": flatness.level_limit(3.0)}, ArgumentError, "nothing that the least work"),
        ({"limits": flatness.straightedge_limit(500, 1)}, ArgumentError, "stations are too far apart"),
        ({"limits": "no-such-limit"}, LimitError, "unknown limit"),
        ({"limits": flatness.straightedge_limit(1000, 3, surfaces=["wall"])}, LimitError, "not a limit for a floor"),
        ({"aim": 0}, ArgumentError, r"aim out of range[\s\S]*sure"),
        ({"aim": 1.2}, ArgumentError, "aim out of range"),
        ({"aim": "safe"}, ArgumentError, "aim out of range"),
        ({"aim": "sure"}, ArgumentError, "without draws"),
        ({"confidence": 95}, ArgumentError, "confidence out of range"),
        ({"draws": -1}, ArgumentError, "draws out of range"),
        ({"height": 3.0}, ArgumentError, "height is for the strategy level"),
        ({**LEVELS, "level_within": 3.0}, ArgumentError, "a band for level is for the strategy least-work"),
        ({**LEVELS, "height": math.nan}, ArgumentError, "height is not a finite number"),
        ({"strategy": "fixed-spots"}, ArgumentError, "without any spots"),
        ({"strategy": "through-benchmarks"}, ArgumentError, "without any spots"),
        ({"fixed": [(0, 0)]}, ArgumentError, "a fixed spot that cannot be read"),
        ({"fixed": [FixedSpot(1e6, 0)]}, PlanError, "not on the surface"),
        ({"beneath": "slab"}, ArgumentError, "cannot be read"),
        ({"deepest_fil": 3}, ArgumentError, "unknown argument"),
        ({"least_depth": -3}, ArgumentError, "least_depth out of range"),
        ({"spacing": 0}, FlatnessError, "spacing"),
        ({"spacing": 5000.0}, FlatnessError, "spacing"),
        ({"headings": 0}, ArgumentError, "headings"),
        ({"depths": Depths(fill=0.5)}, PlanError, "deepest fill"),
    ],
)
def test_what_cannot_be_asked_for(how, error, says):
    given = {"limits": flatness.straightedge_limit(1000, 3.0), "headings": 1, "draws": 0, "surface": "as-read", **how}
    with pytest.raises(error, match=says) as raised:
        plan_corrections(profile([0, 0, -4, 0, 0]), **{"ask_engineer": False, **given})
    assert "expected" in str(raised.value) or "remedy" in str(raised.value)


def test_a_string_tells_no_level():
    survey = profile([0, 0, -4, 0, 0], reference="string")
    with pytest.raises(MeasureError, match="string"):
        plan_corrections(survey, "level", draws=0)
    with pytest.raises(MeasureError, match="string"):
        plan_corrections(survey, level_within=3.0, draws=0)
    plan = by_hand(survey, 1000, 3.0)
    assert plan.passes


def test_a_flat_floor_needs_nothing():
    plan = by_hand(profile([0, 1, 2, 3, 4]), 1000, 3.0)
    assert (plan.change == 0).all()
    assert len(plan.patches) == 0
    assert plan.cost == plan.bound == plan.gap == 0
    assert plan.cautions == ()
    assert plan.quantities.bags == 0


def test_a_share_that_depths_rule_out_leaves_the_looser_ones():
    """A trough of 4 mm under a limit of 3 mm: 1 mm of fill at the limit, 2.2 mm at 60 % of it, and 2 mm are allowed."""
    x, y = np.meshgrid(np.arange(9) * 500.0, np.arange(5) * 500.0)
    survey = flatness.make_survey(x.ravel(), y.ravel(), np.where(x == 2000, -4.0, 0.0).ravel(), accuracy=1.5)
    plan = flatness.plan_corrections(
        survey,
        limits=flatness.straightedge_limit(1000, 3.0),
        spacing=500,
        headings=1,
        surface="as-read",
        draws=50,
        aim="sure",
        depths=flatness.Depths(cut=0.0, fill=2.0),
        ask_engineer=False,
    )
    assert plan.passes
    assert np.nanmax(plan.change) <= 2.0 + 1e-6


def test_a_plane_says_nothing_of_shares():
    x, y = np.meshgrid(np.arange(6) * 600.0, np.arange(6) * 600.0)
    survey = flatness.make_survey(x.ravel(), y.ravel(), (3 * np.sin(x / 500)).ravel(), accuracy=0.5)
    plan = flatness.plan_corrections(
        survey, "level", limits=flatness.straightedge_limit(1800, 3.0), draws=30, headings=4
    )
    assert not any("share" in note or "tried:" in note for note in plan.notes)


def test_heights_of_fixed_spots_that_cannot_be_meant_are_refused():
    """Two hearths half a foot and an inch apart: to meet both, a floor would be cut deeper than it is uneven."""
    x, y = np.meshgrid(np.arange(12) * 300.0, np.arange(8) * 300.0)
    survey = flatness.make_survey(x, y, np.random.default_rng(1).normal(0, 3, x.shape), accuracy=0.8)
    spots = [FixedSpot(1500, 0, 0.0, 0.0, "hearth"), FixedSpot(1650, 0, -25.4, 0.0, "the other hearth")]
    with pytest.raises(PlanError, match="more to come off than the surface is uneven") as refused:
        plan_corrections(survey, limits=flatness.straightedge_limit(1800, 3.0), fixed=spots, draws=0)
    assert "the other hearth" in str(refused.value)


def test_a_sill_three_inches_high_is_asked_about_before_a_floor_is_raised_to_it():
    survey = profile([0, 2, -4, 0, 1], rows=3)  # 2 m by 1 m, uneven by 6 mm
    sill = FixedSpot(2000, 500, 76.2, name="the sill")
    with pytest.raises(ArgumentError, match=r"the sill at .* is to be finished far above the surface") as asked:
        by_hand(survey, 1000, 3.0, fixed=[sill])
    said = str(asked.value)
    # 1 mm found there; 75.2 mm over 2 m2 is 150.4 litres
    for words in ("76.2 mm", "stands at 1.0 mm", "150 litres", "ramp to it", "allowance", "say that it is meant"):
        assert words in said
    with pytest.raises(ArgumentError, match="far below the surface"):
        by_hand(survey, 1000, 3.0, fixed=[dataclasses.replace(sill, height=-76.2)])
    # said to be meant, within its allowance, within an inch, or as found: planned for
    for change in ({"meant": True}, {"allowance": 60.0}, {"height": 25.0}, {"height": None}):
        spot = dataclasses.replace(sill, **change)
        plan = by_hand(survey, 1000, 3.0, fixed=[spot])
        if spot.height is not None:
            assert abs(plan.target[1, -1] - spot.height) <= spot.allowance + 1e-6


def test_a_floor_is_levelled_to_its_high_corner_without_a_question():
    """100 mm out of level over 2 m: the low end is to rise by as much as the heights differ, and no more."""
    survey = profile([0, 25, 50, 75, 100], rows=3)
    by_hand(survey, 1000, 3.0, fixed=[FixedSpot(0, 500, 100.0, name="low end")])
    with pytest.raises(ArgumentError, match="far above"):
        by_hand(survey, 1000, 3.0, fixed=[FixedSpot(0, 500, 102.0, name="low end")])


@pytest.mark.parametrize("strategy", ["level", "least-work"])
def test_a_level_plane_a_foot_off_is_asked_about_with_what_is_likely_meant(strategy):
    survey = profile([-1000, -1002, -998, -1000, -1001], rows=3)
    terms = {"limits": flatness.straightedge_limit(1000, 3.0), "draws": 0, "spacing": 500, "surface": "as-read"}
    how = {"strategy": strategy, "way": "patches" if strategy == "level" else "overlay", **terms}
    for height, likely in ((-995.0 + 304.8, -995.0), (-995.0 - 304.8, -995.0), (995.0, -995.0), (-895.0, -995.0)):
        with pytest.raises(ArgumentError, match=f"{likely:.1f} mm may be meant") as asked:
            plan_corrections(survey, height=height, **how)
        assert f"far {'above' if height > -998 else 'below'} all of the surface" in str(asked.value)
    # within 4 in, or where the depth that is allowed says that it is meant: planned for
    for height, depths in ((-990.0, None), (-690.0, Depths(fill=320.0))):
        plan = plan_corrections(survey, height=height, depths=depths, **how)
        np.testing.assert_allclose(plan.target, height, atol=1e-3)


def test_a_benchmark_a_foot_off_the_surface_is_asked_about_and_one_beside_it_is_not():
    survey = profile([0, 2, -4, 0, 1], rows=3)
    with pytest.raises(ArgumentError, match="far above the surface"):
        plan_corrections(survey, "through-benchmarks", fixed=[FixedSpot(0, 0, 304.8)], draws=0)
    beside = FixedSpot(9000, 500, 304.8)
    assert plan_corrections(survey, "through-benchmarks", fixed=[FixedSpot(0, 0, 5.0), beside], draws=0).patches.size


# whole floors of known truth: what was planted, or done there, is the yardstick


@pytest.mark.parametrize("seed", [0, 1])
def test_a_ridge_and_a_dip_of_the_sample_take_two_or_three_places(seed):
    """Planed by no more than 1/8 in: what was really done there is one ridge planed and one dip filled."""
    survey = flatness.read_survey(SAMPLES / "loft_floor/before.csv")
    plan = plan_corrections(survey, limits="wood-nailed-10ft", beneath=Beneath("boards", True), seed=seed)
    assert plan.verdict == "pass"
    assert len(plan.patches) <= 2 + seed
    assert plan.patches["area_mm2"].sum() <= (100 + 10 * seed) * 304.8**2
    assert plan.patches["greatest_mm"].min() >= -25.4 / 8 - 1e-6
    # no more marks than a crew would set: fewer than two a square foot
    assert len(plan.marks) <= 2 * plan.patches["area_mm2"].sum() / 304.8**2


def test_three_planted_spots_are_worked_on_and_little_else():
    """30 ft x 18 ft, 113 ft2 of it planted, read every 2 ft: sure, at most 140 ft2 in 4 places, truly passes."""
    foot, rng = 304.8, np.random.default_rng(0)
    x, y = np.meshgrid(np.arange(61) * foot / 2, np.arange(37) * foot / 2)

    def spot(cx, cy, reach):
        return 0.5 + 0.5 * np.cos(np.pi * np.minimum(np.hypot(x / foot - cx, y / foot - cy) / reach, 1))

    waves = np.sin(x / 1100) * np.cos(y / 1300)
    waves *= 0.95 / np.nanmax(gap_map(waves, foot / 2, 10 * foot, 4))
    truth = waves + 8 * spot(7, 12, 3.5) - 9 * spot(21, 11, 4) - 8 * spot(14, 5, 3.1)
    part = np.s_[::4, ::4]
    read = truth[part] + rng.normal(0, 25.4 / 32, truth[part].shape)
    survey = flatness.make_survey(x[part], y[part], read, accuracy=25.4 / 32, unit="in")
    limit = flatness.straightedge_limit(10 * foot, 3 / 16 * 25.4)
    boards = Beneath("boards", True, most_planed=3 / 8 * 25.4)
    plan = plan_corrections(survey, limits=limit, beneath=boards, spacing=foot / 2)
    assert plan.verdict == "pass"
    assert len(plan.patches) <= 4
    assert plan.patches["area_mm2"].sum() <= 140 * foot**2
    after = set_on(plan, np.stack([truth] * 10), np.random.default_rng(0))
    assert np.mean(np.nanmax(gap_map(after, foot / 2, 10 * foot, 12), axis=(1, 2)) <= limit.allowed) >= 0.9


def test_fill_over_open_members_is_doubted():
    x, y = np.meshgrid(np.arange(12) * 300.0, np.arange(8) * 300.0)
    survey = flatness.make_survey(x, y, np.where(x == 1500, -8.0, 0.0), accuracy=0.8)
    limit = flatness.straightedge_limit(1800, 3.0)
    said = [
        any("something to lie on" in note for note in plan_corrections(survey, limits=limit, draws=0, **terms).notes)
        for terms in ({"beneath": Beneath("sawn joist")}, {"beneath": Beneath("sheathing")}, {})
    ]
    assert said == [True, False, False]
