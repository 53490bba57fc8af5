"""Member layouts and schedules: closed forms, a brute force, properties, and the files that come out."""

import csv
import itertools
from types import SimpleNamespace

import numpy as np
import openpyxl
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatness.errors import ArgumentError, MeasureError
from flatness.framing.members import Members, flange_laps, member_layout
from flatness.framing.profiles import fit_straight
from flatness.framing.schedule import member_schedule
from flatness.spreadsheet import in_unit, write_xlsx
from flatness.surface.lattice import make_surface

IN = 25.4


def plan_of(height, change=None, spacing=500.0, **kwargs):
    surface = make_surface(np.asarray(height, float), spacing, **kwargs)
    change = -surface.height if change is None else np.asarray(change, float)
    return SimpleNamespace(surface=surface, change=np.broadcast_to(change, surface.height.shape))


def along_x(profile, rows=3):
    return np.tile(np.asarray(profile, float), (rows, 1))


def one(plan, profile_row=1, **kwargs):
    """Schedule of a single member along x on a lattice line of a 500 mm surface."""
    kind = {k: kwargs.pop(k) for k in ("kind", "depth", "flange", "start", "end", "cuts") if k in kwargs}
    return member_schedule(plan, member_layout(profile_row * 500.0, 400, "x", count=1, **kind), **kwargs)


# -- layouts ---------------------------------------------------------------------------------------------------


def test_layout_by_count_by_reach_and_by_position_agree():
    by_count = member_layout(200, 406.4, "y", count=5)
    assert by_count.positions.tolist() == pytest.approx([200 + 406.4 * i for i in range(5)])
    assert member_layout(200, 406.4, "y", until=200 + 4 * 406.4).positions.tolist() == by_count.positions.tolist()
    assert len(member_layout(200, 406.4, "y", until=200 + 4 * 406.4 - 0.1)) == 4
    found = member_layout(direction="y", positions=[1013, 200, 608], names=["c", "a", "b"])
    assert found.table["name"].tolist() == ["a", "b", "c"]
    assert found.positions.tolist() == [200, 608, 1013]


@pytest.mark.parametrize(
    ("kwargs", "words"),
    [
        ({}, "incomplete"),
        ({"count": 3, "until": 4000}, "incomplete"),
        ({"count": 0}, "number of members"),
        ({"count": 2.5}, "number of members"),
        ({"until": 100}, "ends before it begins"),
        ({"count": 3, "spacing": 0}, "spacing out of range"),
        ({"count": 3, "direction": "z"}, "unknown direction"),
        ({"count": 3, "kind": "bamboo"}, "unknown kind"),
        ({"count": 3, "start": 500, "end": 400}, "ends before it begins"),
        ({"count": 3, "length": 400}, "a length goes with a start"),
        ({"count": 3, "depth": -1}, "depth out of range"),
        ({"count": 3, "flange": 38}, "has no flanges"),
        ({"count": 3, "kind": "I-joist", "depth": 60, "flange": 38}, "two flanges"),
        ({"count": 3, "names": ["a", "b"]}, "differ in number"),
        ({"count": 2, "names": ["a", "a"]}, "two members of one name"),
        ({"count": 2, "names": ["a", "b\nc"]}, "text on one line"),
        ({"count": 2, "cuts": {"J9": 100}}, "not in the layout"),
        ({"positions": [1, 2]}, "and a spacing besides"),
        ({"first": None, "spacing": None, "positions": [2, 2]}, "two members stand at one place"),
        ({"first": None, "spacing": None, "positions": []}, "no positions"),
    ],
)
def test_layouts_that_cannot_be(kwargs, words):
    with pytest.raises(ArgumentError, match=words):
        member_layout(**({"first": 200, "spacing": 400, "direction": "y"} | kwargs))


def test_a_table_made_by_hand_is_checked_too():
    with pytest.raises(ArgumentError, match="incomplete"):
        Members(table=pd.DataFrame({"name": ["J1"]}), direction="x")


# -- lines -----------------------------------------------------------------------------------------------------


def test_flat_target_raises_each_station_by_what_it_is_shy():
    rng = np.random.default_rng(1)
    height = rng.normal(0, 4, (5, 7))
    schedule = member_schedule(plan_of(height), member_layout(0, 500, "x", count=5))
    raised = schedule.table["raise_mm"].to_numpy().reshape(5, 7)
    np.testing.assert_allclose(raised, -height, atol=2e-6)
    np.testing.assert_allclose(schedule.members["off_target_mm"], 0, atol=2e-6)
    np.testing.assert_allclose(schedule.members["take_down_mm"], height.max(axis=1).clip(0), atol=2e-6)
    np.testing.assert_allclose(schedule.members["raise_first_mm"], -height[:, 0], atol=2e-6)
    np.testing.assert_allclose(schedule.members["raise_last_mm"], -height[:, -1], atol=2e-6)
    np.testing.assert_allclose(schedule.table["offset_mm"], 0, atol=3e-6)


def test_nearest_line_to_a_parabola():
    # the line nearest to x^2 on [0, 1] is x - 1/8, off by 1/8 at both ends and in the middle (Chebyshev)
    share = np.linspace(0, 1, 9)
    target = along_x(8 * share**2)
    schedule = one(plan_of(np.zeros_like(target), target))
    assert schedule.members["off_target_mm"].item() == pytest.approx(1.0, abs=1e-5)
    np.testing.assert_allclose(schedule.table["line_mm"], 8 * share - 1, atol=1e-5)
    assert schedule.members["slope_mm_per_m"].item() == pytest.approx(8 / 4, abs=1e-5)
    # it would stand 1 mm under the existing top at the first end: that has to come off
    assert schedule.members["take_down_mm"].item() == pytest.approx(1.0, abs=1e-5)


def test_clear_line_over_a_hollow_is_its_chord():
    # existing and target both x^2: nowhere below it, the nearest is the chord, off by 1/4 in the middle
    share = np.linspace(0, 1, 9)
    schedule = one(plan_of(along_x(8 * share**2), 0.0), line="clear")
    np.testing.assert_allclose(schedule.table["line_mm"], 8 * share, atol=1e-5)
    assert schedule.members["off_target_mm"].item() == pytest.approx(2.0, abs=1e-5)
    assert (schedule.table["raise_mm"] >= 0).all()


def test_least_squares_line_is_numpys():
    rng = np.random.default_rng(2)
    target = rng.normal(0, 3, 9)
    schedule = one(plan_of(along_x(np.zeros(9)), along_x(target)), line="least-squares")
    fitted = np.polyval(np.polyfit(np.arange(9) * 500.0, target, 1), np.arange(9) * 500.0)
    np.testing.assert_allclose(schedule.table["line_mm"], fitted, atol=1e-5)


heights = st.lists(st.floats(-12, 12), min_size=3, max_size=8)


@given(heights)
@settings(max_examples=40, deadline=None)
def test_nearest_line_departs_by_half_the_worst_triple(target):
    # de la Vallee Poussin: the least largest departure is that of the worst three stations, and for three it is
    # half the distance of the middle one from the chord of the other two
    s = np.arange(len(target), dtype=float)
    z = np.asarray(target)
    least = max(
        abs(z[j] - (z[i] * (k - j) + z[k] * (j - i)) / (k - i)) / 2
        for i, j, k in itertools.combinations(range(len(z)), 3)
    )
    level, slope = fit_straight(np.column_stack([np.ones_like(s), s]), z, z, "nearest")
    assert np.abs(level + slope * s - z).max() == pytest.approx(least, abs=1e-6)


@given(heights, st.integers(0, 1000))
@settings(max_examples=25, deadline=None)
def test_clear_line_against_every_pair_of_limits(target, seed):
    z = np.asarray(target)[:6]
    top = z + np.random.default_rng(seed).normal(0, 5, len(z))
    s = np.arange(len(z), dtype=float)
    level, slope = fit_straight(np.column_stack([np.ones_like(s), s]), z, top, "clear")
    line = level + slope * s
    assert (line >= top - 1e-6).all()
    # brute force over slopes: those of all pairs of targets and tops, among which the best is, and many between
    pairs = list(itertools.combinations(range(len(z)), 2))
    slopes = sorted({(u[j] - v[i]) / (j - i) for u in (z, top) for v in (z, top) for i, j in pairs})

    def least(m):
        base = (top - m * s).max()  # level of the lowest clear line
        off = z - m * s
        best = max(base, (off.max() + off.min()) / 2)
        return np.abs(best - off).max()

    fine = np.concatenate([slopes, np.linspace(min(slopes) - 1, max(slopes) + 1, 4001)])
    assert np.abs(line - z).max() <= min(map(least, fine)) + 1e-6


@given(st.floats(-300, 300), st.floats(-0.02, 0.02), st.floats(-0.02, 0.02), st.sampled_from(["each", "string"]))
@settings(max_examples=20, deadline=None)
def test_shift_and_tilt_leave_every_raise(shift, a, b, set_by):
    rng = np.random.default_rng(3)
    base, change = rng.normal(0, 3, (4, 6)), rng.normal(0, 1, (4, 6))
    gx, gy = np.meshgrid(np.arange(6) * 500.0, np.arange(4) * 500.0)
    layout = member_layout(100, 600, "y", until=2400)
    here, moved = (
        member_schedule(plan_of(z, change), layout, set_by=set_by) for z in (base, base + shift + a * gx + b * gy)
    )
    for column in ("raise_mm", "offset_mm"):
        # what is settled is the sum of departures, and a line may have equals: the heights are compared to 10 um
        np.testing.assert_allclose(moved.table[column], here.table[column], atol=1e-2 if set_by == "string" else 1e-4)
    for column in ("crown_mm", "off_target_mm", "take_down_mm"):
        np.testing.assert_allclose(
            moved.members[column], here.members[column], atol=1e-2 if set_by == "string" else 1e-4
        )


def test_along_y_is_along_x_turned():
    rng = np.random.default_rng(4)
    height, change = rng.normal(0, 3, (4, 6)), rng.normal(0, 2, (4, 6))
    across = member_schedule(plan_of(height, change), member_layout(250, 400, "x", count=3))
    up = member_schedule(plan_of(height.T, change.T), member_layout(250, 400, "y", count=3))
    np.testing.assert_allclose(up.table["raise_mm"], across.table["raise_mm"], atol=1e-6)
    np.testing.assert_allclose(up.table["x_mm"], across.table["y_mm"])
    np.testing.assert_allclose(up.table["y_mm"], across.table["x_mm"])


def test_between_lattice_lines_and_stations_of_their_own():
    # a plane is met exactly anywhere; stations every 300 mm and the end
    gx, gy = np.meshgrid(np.arange(5) * 500.0, np.arange(4) * 500.0)
    height = 1 + 0.004 * gx - 0.002 * gy
    layout = member_layout(333, 400, "x", count=1, start=100, end=1900)
    schedule = member_schedule(plan_of(height), layout, step=300)
    assert schedule.table["station_mm"].tolist() == [100, 400, 700, 1000, 1300, 1600, 1900]
    expected = 1 + 0.004 * schedule.table["station_mm"] - 0.002 * 333
    np.testing.assert_allclose(schedule.table["existing_mm"], expected)
    np.testing.assert_allclose(schedule.table["raise_mm"], -expected, atol=1e-6)
    ends = member_schedule(plan_of(height), layout, step=700).table["station_mm"]
    assert ends.tolist() == [100, 800, 1500, 1900]


def test_a_hump_between_stations_still_counts():
    # stations 2 m apart miss the hump at 1 m: clear must not
    schedule = one(plan_of(along_x([0, 0, 5, 0, 0]), 0.0), step=2000, line="clear")
    assert schedule.table["raise_mm"].min() >= 5 - 1e-6


def test_crown_is_signed_and_placed():
    crowned = one(plan_of(along_x([0, 3, 7, 4, 2]))).members.iloc[0]
    # chord from 0 to 2 is 1 in the middle
    assert (crowned["crown_mm"], crowned["crown_at_mm"]) == (6.0, 1000.0)
    sagged = one(plan_of(along_x([0, -3, -7, -4, 2]))).members.iloc[0]
    assert (sagged["crown_mm"], sagged["crown_at_mm"]) == (-8.0, 1000.0)
    straight = one(plan_of(along_x([0, 1, 2, 3, 4]))).members.iloc[0]
    assert straight["crown_mm"] == 0
    assert np.isnan(straight["crown_at_mm"])


# -- strings and shims -----------------------------------------------------------------------------------------


def test_string_between_the_end_members():
    # the target twists, x y: straight along every member and along every string, so nothing departs from it
    gx, gy = np.meshgrid(np.arange(7) * 500.0, np.arange(5) * 500.0)
    twist = 2e-6 * gx * gy
    rng = np.random.default_rng(6)
    found = rng.normal(0, 3, twist.shape)
    layout = member_layout(0, 500, "x", count=5)
    for set_by in ("each", "string"):
        schedule = member_schedule(plan_of(found, twist - found), layout, set_by=set_by, blocks=20.0)
        np.testing.assert_allclose(schedule.table["line_mm"], twist.ravel(), atol=1e-5)
        np.testing.assert_allclose(schedule.table["offset_mm"], 0, atol=1e-5)
        np.testing.assert_allclose(schedule.table["below_string_mm"], (twist - found).ravel() + 20, atol=1e-5)
        first = schedule.members["set"].str.startswith("first")
        assert first.tolist() == [True, False, False, False, True]
    # blocks that clear the proudest spot
    assert schedule.blocks_mm == pytest.approx((found - twist).max(), abs=1e-5)


def test_offsets_from_the_string_where_the_middle_member_differs():
    # members at 0, 500 and 1000 are to stand at 0, 4 and 2: the string passes 1 at the middle one
    target = np.array([[0.0] * 4, [4.0] * 4, [2.0] * 4])
    schedule = member_schedule(plan_of(np.zeros((3, 4)), target), member_layout(0, 500, "x", count=3))
    middle = schedule.table.query("member == 'J2'")
    np.testing.assert_allclose(middle["string_mm"], 1.0, atol=1e-6)
    np.testing.assert_allclose(middle["offset_mm"], 3.0, atol=1e-6)
    # set to the string instead, the three departures share what is left: half of 3 each
    to_string = member_schedule(plan_of(np.zeros((3, 4)), target), member_layout(0, 500, "x", count=3), set_by="string")
    np.testing.assert_allclose(to_string.table["offset_mm"], 0, atol=1e-6)
    np.testing.assert_allclose(to_string.members["off_target_mm"], 1.5, atol=1e-5)


def test_shims_from_the_lowest_spot_down():
    # joists along y under a ceiling, heights toward the room; strapping along x to a level 9 that touches
    rng = np.random.default_rng(7)
    height = rng.uniform(0, 8, (5, 6))
    height[3, 2] = 9.0
    joists = member_layout(0, 500, "y", count=6, names=list("abcdef"))
    strapping = member_layout(0, 500, "x", count=5, kind="strapping")
    schedule = member_schedule(plan_of(height, 9 - height), strapping, crossing=joists)
    shims = schedule.shims.pivot_table(index="strap", columns="member", values="shim_mm")
    np.testing.assert_allclose(shims.to_numpy(), 9 - height, atol=2e-6)
    start = schedule.shims.set_index("order").loc[1]
    assert start[["strap", "member", "shim_mm", "x_mm", "y_mm"]].tolist() == ["F4", "c", 0.0, 1000.0, 1500.0]
    ordered = schedule.shims.sort_values("order")["shim_mm"]
    assert ordered.is_monotonic_increasing
    assert {c.key for c in schedule.cautions} == {"load", "fasten", "authority"}


def test_a_strap_bears_at_its_crossings_alone():
    # the bulge at x = 500 lies between the joists at 0, 1000 and 2000: no shim has to clear it
    plan = plan_of(along_x([0, 6, 0, 0, 0]), 0.0)
    strap = member_layout(500, 400, "x", count=1, kind="strapping")
    joists = member_layout(0, 1000, "y", count=3)
    assert member_schedule(plan, strap, crossing=joists).shims["shim_mm"].tolist() == [0.0, 0.0, 0.0]


def strapped(height, target, thickness, **way):
    """Straps along x each 500 mm, shimmed off joists along y each 500 mm."""
    height = np.asarray(height, float)
    plan = SimpleNamespace(**vars(plan_of(height, target - height)), **way)
    straps = member_layout(0, 500, "x", count=height.shape[0], kind="strapping", thickness=thickness)
    return member_schedule(plan, straps, crossing=member_layout(0, 500, "y", count=height.shape[1]))


def shims_of(schedule):
    return schedule.shims.pivot_table(index="y_mm", columns="x_mm", values="shim_mm").to_numpy()


def test_new_strapping_takes_its_thickness_off_the_shims_and_its_face_is_the_target():
    height = np.random.default_rng(3).uniform(0, 8, (4, 5))
    found = strapped(height, 30.0, 19.0, way="overlay")
    # closed form: what is left between the back of the strap and the surface as found
    np.testing.assert_allclose(shims_of(found), 30 - 19 - height, atol=2e-6)
    np.testing.assert_allclose(shims_of(strapped(height, 30.0, 12.0, way="overlay")), 30 - 12 - height, atol=2e-6)
    assert any("room's side of strapping 19 mm thick lies on the target" in note for note in found.notes)
    assert not any("less than the strapping's thickness" in note for note in found.notes)


def test_strapping_that_is_there_is_shimmed_whatever_its_thickness():
    height = np.random.default_rng(3).uniform(0, 8, (4, 5))
    for way in ({}, {"way": "patches"}):
        found = strapped(height, 9.0, 19.0, **way)
        np.testing.assert_allclose(shims_of(found), 9 - height, atol=2e-6)
        assert any("its thickness does not count" in note for note in found.notes)


def test_a_target_too_near_for_new_strapping_is_told():
    # 19 mm of strapping between a surface at 8 and a target at 20: 7 mm too little
    found = strapped(np.full((2, 3), 8.0), 20.0, 19.0, way="overlay")
    np.testing.assert_allclose(shims_of(found), 0, atol=1e-6)
    assert any("up to 7.0 mm off it" in note for note in found.notes)


def test_shims_and_sisters_that_are_too_deep_are_told():
    height = np.zeros((3, 4))
    height[1, 2] = -2.0
    assert not any("pack with lumber" in note for note in strapped(height, 36.0, 19.0).notes)
    # 37 + 2 mm is more than 1-1/2 in (38.1 mm); 37 mm is not
    deep = [note for note in strapped(height, 37.0, 19.0).notes if "pack with lumber" in note]
    assert len(deep) == 1
    assert deep[0].startswith("1 shim is over 38.1 mm, the deepest 39.0 mm where F2 crosses J3:")
    joists = {"kind": "sawn joist", "depth": 200.0}
    assert not any("half the depth" in note for note in one(plan_of(along_x(np.zeros(4)), 99.0), **joists).notes)
    assert any("half the depth" in note for note in one(plan_of(along_x(np.zeros(4)), 101.0), **joists).notes)


# -- sisters ---------------------------------------------------------------------------------------------------


def covered_by_count(raised, depth, flange, sister_depth):
    """Brute force: tenths of a millimetre of each flange that lie beside the sister."""
    z = np.arange(-2 * depth, depth, 0.1) + 0.05
    sister = (z < raised) & (z > raised - sister_depth)
    top, bottom = (z < 0) & (z > -flange), (z < flange - depth) & (z > -depth)
    return (sister & top).sum() / 10, (sister & bottom).sum() / 10


@given(st.integers(-60, 120), st.integers(150, 400), st.integers(20, 45), st.integers(-60, 60))
@settings(max_examples=60, deadline=None)
def test_flange_laps_against_a_count(raised, depth, flange, deeper):
    laps = flange_laps(np.array([float(raised)]), depth, flange, depth + deeper)
    assert [lap.item() for lap in laps] == pytest.approx(covered_by_count(raised, depth, flange, depth + deeper))


@pytest.mark.parametrize(
    ("sag", "kwargs", "words"),
    [
        (0.0, {}, "both flanges whole"),
        (12.0, {}, "26.0 mm of its 38 mm"),
        (12.0, {"sister_depth": 314.0}, "both flanges whole"),  # 12 mm deeper, raised 12 mm
        (12.0, {"least_lap": 30.0}, "no: 26.0 mm of the bottom flange"),
        (12.0, {"least_lap": 26.0}, "ask the maker"),
        (38.0, {}, "no: it misses the bottom flange"),
        (50.0, {}, "no: it misses the bottom flange"),
    ],
)
def test_whether_a_full_depth_sister_laps_both_flanges(sag, kwargs, words):
    plan = plan_of(along_x([0, -sag / 2, -sag, -sag / 2, 0]))
    schedule = one(plan, kind="I-joist", depth=302.0, flange=38.0, **kwargs)
    assert words in schedule.members["laps"].item()


def test_laps_are_not_told_without_sizes_nor_asked_of_sawn_joists():
    plan = plan_of(along_x([0, -4, 0]))
    assert "give the depth" in one(plan, kind="truss").members["laps"].item()
    assert one(plan, depth=235.0).members["laps"].item() == ""


def test_engineered_members_are_never_taken_down_unless_asked():
    plan = plan_of(along_x([0, 5, 0, 0, 0]))
    schedule = one(plan, kind="I-joist", depth=302.0, flange=38.0)
    assert schedule.line == "clear"
    assert schedule.members["take_down_mm"].item() == 0
    asked = one(plan, kind="I-joist", depth=302.0, flange=38.0, line="nearest")
    assert asked.members["take_down_mm"].item() == pytest.approx(5.0)
    assert asked.members["may_be_taken_down"].item().startswith("no: an engineered member")
    assert "engineered" in {c.key for c in asked.cautions}


@pytest.mark.parametrize(
    ("profile", "depth", "words"),
    [
        ([0, 6, 0, 0, 0, 0, 0], 235.0, "within 1/6"),  # it ends at 1000 of 3000 mm: the outer third
        ([0, 0, 0, 0, 0, 6, 0], 235.0, "within 1/6"),
        ([0, 0, 6, 0, 0, 0, 0], 235.0, "no: in the middle third"),  # its far side runs on to 1500 mm
        ([0, 0, 0, 0, 6, 0, 0], 235.0, "no: in the middle third"),
        ([0, 0, 0, 6, 0, 0, 0], 235.0, "no: in the middle third"),
        ([0, 40, 0, 0, 0, 0, 0], 235.0, "no: deeper than 1/6"),  # 235 / 6 = 39.17
        ([0, 39, 0, 0, 0, 0, 0], 235.0, "within 1/6"),
        ([0, 6, 0, 0, 0, 0, 0], None, "not known: give the depth"),
        ([0, -6, 0, 0, 0, 0, 0], 235.0, ""),
    ],
)
def test_notch_limits_of_sawn_joists(profile, depth, words):
    # IRC R502.8.1: at most 1/6 of the depth, none in the middle third of the span
    found = one(plan_of(along_x(profile)), depth=depth).members["may_be_taken_down"].item()
    assert found.startswith(words)
    assert bool(found) == bool(words)


def test_studs_have_no_notch_rule_here():
    assert one(plan_of(along_x([0, 5, 0])), kind="stud").members["may_be_taken_down"].item().startswith("ask")


def test_cautions_come_once_each():
    for profile in ([0, 6, 0], [0, -6, 0]):
        keys = [c.key for c in one(plan_of(along_x(profile)), depth=235.0).cautions]
        assert len(keys) == len(set(keys))
        assert ("notch" in keys) == (profile[1] > 0)
        assert {"fasten", "load", "authority"} <= set(keys)


def test_blocking_two_feet_either_side_of_a_cut_within_the_member():
    plan = plan_of(along_x(np.zeros(9)))
    schedule = one(plan, kind="I-joist", cuts={"J1": [400, 2000]})
    assert schedule.blocking["member"].tolist() == ["J1", "J1"]
    np.testing.assert_allclose(
        schedule.blocking[["cut_at_mm", "from_mm", "to_mm"]].astype(float),
        [[400, 0, 400 + 24 * IN], [2000, 2000 - 24 * IN, 2000 + 24 * IN]],
    )
    with pytest.raises(ArgumentError, match="a cut beyond the ends"):
        one(plan, cuts={"J1": 4001})


def test_thin_sisters_are_said_to_bear_less():
    plan = plan_of(along_x([0, -4, 0]))
    assert not any("less bearing" in note for note in one(plan).notes)
    assert any("less bearing" in note for note in one(plan, sister_thickness=28.575).notes)


# -- readings that do not reach --------------------------------------------------------------------------------


def test_members_beyond_the_readings_are_kept_and_said():
    height = np.zeros((3, 6))
    height[:, 2] = np.nan  # an opening
    height[1] = -3.0
    height[1, 2] = np.nan
    layout = member_layout(500, 1000, "x", count=2, start=-200, end=2700)
    schedule = member_schedule(plan_of(height, np.where(np.isnan(height), np.nan, -np.nan_to_num(height))), layout)
    notes = schedule.members["note"].tolist()
    assert notes[1] == "no readings reach it"
    # stations from -200 each 500 mm: the first lattice line that is read is at 0
    assert "the first 200 mm" in notes[0]
    assert "the last 200 mm" in notes[0]
    assert "a stretch between" in notes[0]
    assert schedule.table["raise_mm"].isna().sum() > 7
    np.testing.assert_allclose(schedule.table["raise_mm"].dropna(), 3.0, atol=1e-6)
    assert len(schedule.table) == 14


def test_no_member_on_the_surface():
    with pytest.raises(MeasureError, match="no member has readings"):
        member_schedule(plan_of(np.zeros((3, 3))), member_layout(9000, 400, "x", count=2))


@pytest.mark.parametrize(
    ("members", "kwargs", "words"),
    [
        ({}, {"line": "wavy"}, "unknown line"),
        ({}, {"set_by": "eye"}, "unknown set_by"),
        ({}, {"step": 0}, "step out of range"),
        ({"kind": "strapping"}, {}, "strapping goes with"),
        ({}, {"crossing": member_layout(0, 400, "y", count=3)}, "strapping goes with"),
        ({"kind": "strapping"}, {"crossing": member_layout(0, 400, "x", count=3)}, "runs along the members"),
        ({"kind": "strapping"}, {"crossing": member_layout(0, 400, "y", count=3), "line": "nearest"}, "thinner"),
        ({"end": -100}, {}, "do not overlap"),
    ],
)
def test_options_that_do_not_go_together(members, kwargs, words):
    with pytest.raises(ArgumentError, match=words):
        member_schedule(plan_of(np.zeros((3, 3))), member_layout(0, 400, "x", count=2, **members), **kwargs)


# -- files -----------------------------------------------------------------------------------------------------


@pytest.fixture
def schedule():
    height = along_x([0, -9.525, 0])
    layout = member_layout(
        direction="x", positions=[0, 500, 1000], names=["=1+1", "@b", "ok"], kind="I-joist", cuts={"ok": 300}
    )
    return member_schedule(plan_of(height), layout)


def test_csv(schedule, tmp_path):
    path = tmp_path / "members.csv"
    schedule.to_csv(path, "in")
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    assert [row["member"] for row in rows[::3]] == ["'=1+1", "'@b", "ok"]
    assert [float(row["raise_in"]) for row in rows[:3]] == [0.0, 0.375, 0.0]
    assert "raise_mm" not in rows[0]
    schedule.to_csv(tmp_path / "mm.csv")
    assert (tmp_path / "mm.csv").read_text(encoding="utf-8").splitlines()[0].split(",") == list(schedule.table.columns)


def test_xlsx_has_typed_numbers_frozen_headings_and_units(schedule, tmp_path):
    path = tmp_path / "members.xlsx"
    schedule.to_xlsx(path, "in")
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["members", "stations", "blocking", "notes"]
    sheet = book["stations"]
    assert sheet.freeze_panes == "B2"
    headings = [cell.value for cell in sheet[1]]
    assert "raise [in]" in headings
    cell = sheet.cell(3, headings.index("raise [in]") + 1)
    assert (cell.value, cell.data_type, cell.number_format) == (0.375, "n", "# ??/16")
    assert [sheet.cell(r, 1).value for r in (2, 5, 8)] == ["'=1+1", "'@b", "ok"]
    assert all(cell.data_type != "f" for row in sheet.iter_rows() for cell in row)
    members = [cell.value for cell in book["members"][1]]
    assert "raise first [in]" in members
    assert "slope [in per 10 ft]" in members
    words = [row[0] for row in book["notes"].iter_rows(values_only=True)]
    assert sum("R502.8.2" in text for text in words) == 1


@pytest.mark.parametrize("name", ["members.csv", "members.xlsx"])
def test_a_file_that_is_there_is_left_alone(schedule, tmp_path, name):
    path = tmp_path / name
    path.write_bytes(b"someone else's")
    write = schedule.to_csv if name.endswith("csv") else schedule.to_xlsx
    with pytest.raises(ArgumentError, match="a file of this name already"):
        write(path)
    assert path.read_bytes() == b"someone else's"
    write(path, overwrite=True)
    assert path.read_bytes() != b"someone else's"
    with pytest.raises(ArgumentError, match="cannot be written"):
        write(tmp_path / "nowhere" / name)
    with pytest.raises(ArgumentError, match="unknown unit"):
        write(tmp_path / f"cubits-{name}", "cubit")


def test_text_that_would_run_is_neutralised_and_blanks_stay_blank(tmp_path):
    path = tmp_path / "t.xlsx"
    table = pd.DataFrame({"text": ["-2", " +3", "plain"], "gap_mm": [1.5, np.nan, 2.0], "ok": [True, False, True]})
    write_xlsx(path, {"t": table}, ["=SUM(A1)"])
    sheet = openpyxl.load_workbook(path)["t"]
    assert [[cell.value for cell in row] for row in sheet.iter_rows()] == [
        ["text", "gap [mm]", "ok"],
        ["'-2", 1.5, "yes"],
        ["' +3", None, "no"],
        ["plain", 2, "yes"],
    ]
    assert openpyxl.load_workbook(path)["notes"]["A1"].value == "'=SUM(A1)"
    assert in_unit(table, "mm") is table
