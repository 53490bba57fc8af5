"""Whole ways side by side: members on one plane, runs of members, layers over all, and which of them is proposed."""

import math

import numpy as np
import pytest
from scipy.optimize import LinearConstraint, milp

import flatness
from flatness.errors import ArgumentError, MeasureError, PlanError
from flatness.framing.members import member_layout
from flatness.framing.schedule import member_schedule
from flatness.measures.bars import gap_map
from flatness.planning.constraints import Depths, FixedSpot, Rates
from flatness.planning.plan import WAYS
from flatness.planning.planner import plan_corrections
from flatness.planning.substrate import Beneath
from flatness.planning.ways import plan_ways
from flatness.words.ways import answer

FT, IN = 304.8, 25.4
LIMIT = flatness.straightedge_limit(10 * FT, 3 / 16 * IN, surfaces=("floor", "wall", "ceiling"))
QUICK = {"headings": 4, "draws": 0, "surface": "as-read", "spacing": 0.5 * FT}


def uneven(x, y):
    """Falls 1/2 in over 12 ft and waves by 1/4 in."""
    return -0.5 * IN * x / (12 * FT) + 0.125 * IN * np.sin(x / 700) * np.cos(y / 900)


def room(shape=uneven, feet=(12, 10), step=1.0, **about):
    x, y = np.meshgrid(np.arange(0, feet[0] + 0.1, step) * FT, np.arange(0, feet[1] + 0.1, step) * FT)
    return flatness.make_survey(x, y, shape(x, y), accuracy=IN / 32, **about)


def joists(kind="sawn joist", **more):
    return member_layout(0, 16 * IN, "y", until=12 * FT, kind=kind, **more)


# every member to one plane


@pytest.mark.parametrize(
    ("about", "kind"),
    [({}, "I-joist"), ({"surface": "wall", "reference": "plumb"}, "stud"), ({"reading": "drop"}, "LVL")],
)
def test_every_member_comes_to_one_level_plane(about, kind):
    drops = about.pop("reading", "height") == "drop"
    survey = room(**about, quantity="drop") if drops else room(**about)
    members = joists(kind)
    plan = plan_corrections(survey, limits=LIMIT, way="members", members=members, **QUICK)
    top = float(survey.points["height"].max())
    schedule = member_schedule(plan, plan.members)
    lines = schedule.table.dropna(subset="line_mm")
    # as low as the highest top that was read on a member lets it be, and no higher: nothing comes off
    on_members = np.isin(np.round(survey.points["x"]), np.round(members.positions))
    highest = float(survey.points["height"][on_members].max())
    assert np.ptp(lines["line_mm"]) <= IN / 64
    assert highest - 1e-6 <= lines["line_mm"].mean() <= top + 1e-6
    assert (lines["raise_mm"] >= -1e-6).all()
    assert lines["offset_mm"].abs().max() <= 1e-6
    assert (plan.way, plan.plane, len(plan.lines)) == ("members", "level", len(members))
    assert np.nanmax(gap_map(plan.target, plan.surface.spacing, 10 * FT, 4)) <= 1e-6
    assert plan.passes


def test_joists_beyond_the_room_are_not_ordered():
    """40 joists 16 in apart and 20 ft long are named in a room of 12 ft x 10 ft: 10 stand in it, 10 ft of each."""
    survey = room()
    long = member_layout(0, 16 * IN, "y", count=40, kind="I-joist", start=-5 * FT, end=15 * FT)
    found = plan_ways(survey, LIMIT, members=long, ways=("members",), **QUICK)
    assert found.table["lumber_mm"].tolist() == pytest.approx([10 * 10 * FT])
    assert sorted(found.plans["members"].lines) == sorted(f"J{k}" for k in range(1, 11))


def test_two_end_members_and_a_string_give_the_same_heights():
    survey = room(lambda x, y: 4 * np.sin(x / 700) - 0.002 * x)
    terms = {"limits": LIMIT, "way": "members", "members": joists("I-joist"), **QUICK}
    plan = plan_corrections(survey, plane="end-members", **terms)
    table = member_schedule(plan, plan.members).table
    assert table["offset_mm"].abs().max() <= 1e-6
    # along y nothing changes, so the ends of each member are level with one another, and a string is a plane
    ends = {name: level for name, (level, _) in plan.lines.items()}
    assert all(abs(slope) < 1e-9 for _, slope in plan.lines.values())
    first, last = ends["J1"], ends[f"J{len(ends)}"]
    for k, name in enumerate(ends):
        assert ends[name] == pytest.approx(first + (last - first) * k / (len(ends) - 1), abs=1e-6)


def test_a_plane_meets_the_fixed_spots_or_says_why_not():
    survey, members = room(), joists("I-joist")
    spots = [FixedSpot(0, 0, 8.0), FixedSpot(12 * FT, 0, 3.0), FixedSpot(0, 10 * FT, 9.0)]
    terms = {"limits": LIMIT, "way": "members", "members": members, **QUICK}
    plan = plan_corrections(survey, plane="through-benchmarks", fixed=spots, **terms)
    for spot in spots:
        assert float(plan.surface.at(spot.x, spot.y, plan.target)[0]) == pytest.approx(spot.height, abs=1e-3)
    with pytest.raises(PlanError, match="no such plane"):
        plan_corrections(survey, fixed=[FixedSpot(0, 0, -9.0)], plane="level", **terms)
    high = plan_corrections(survey, plane="level", height=20.0, **terms)
    assert np.nanmin(high.target) == pytest.approx(20.0, abs=1e-4)
    with pytest.raises(MeasureError, match="no level"):
        plan_corrections(room(reference="string"), plane="level", **terms)


def test_sawn_joists_come_down_within_their_notch_limits_alone():
    survey = room(lambda x, y: np.where((x == 4 * FT) & (y == 0), 6.0, 0.0))
    sawn = joists(depth=235.0, start=0, end=10 * FT)
    said = Beneath("sheathing", True, most_planed=12.0)
    plan = plan_corrections(survey, limits=LIMIT, way="members", members=sawn, beneath=said, **QUICK)
    kept = plan_corrections(survey, limits=LIMIT, way="members", members=sawn, **QUICK)
    # 6 mm at a bearing is less than a sixth of 235 mm; where nothing is said it lifts all the others
    assert np.nanmax(plan.target) < 1.0
    assert np.nanmin(kept.target) == pytest.approx(6.0, abs=1e-6)


# some members


def test_only_the_members_under_a_hollow_are_set():
    """A hollow 4 ft wide along all of the floor, under three joists at the most on either side of its middle."""
    survey = room(lambda x, y: -9.0 * np.maximum(0, 1 - np.abs(x - 6 * FT) / (2 * FT)), step=1.0)
    members = joists("I-joist")
    plan = plan_corrections(survey, limits=LIMIT, way="some-members", members=members, aim=0.7, **QUICK)
    assert 1 <= len(plan.lines) <= 4
    numbers = sorted(int(name[1:]) for name in plan.lines)
    assert numbers == list(range(numbers[0], numbers[-1] + 1))
    near = members.positions[[n - 1 for n in numbers]]
    assert np.abs(near - 6 * FT).max() <= 2 * FT + 16 * IN
    assert (np.nan_to_num(plan.change) >= -1e-6).all()
    far = np.abs(plan.x - 6 * FT) > np.abs(near - 6 * FT).max() + 16 * IN + 1
    assert not np.nan_to_num(plan.change)[:, far].any()
    assert np.nanmax(gap_map(plan.target, plan.surface.spacing, 10 * FT, 4)) <= 0.7 * LIMIT.allowed + 1e-4
    # what stands on the members is straight from one to the next, whichever was set: rebuilt here from the schedule
    table = member_schedule(plan, members).table
    tops = table.assign(top=table["line_mm"].fillna(table["existing_mm"])).pivot(
        index="station_mm", columns="x_mm", values="top"
    )
    sheet = np.stack([np.interp(plan.x, tops.columns, row) for row in tops.to_numpy()])
    assert np.nanmax(gap_map(sheet[:, :], plan.surface.spacing, 10 * FT, 1)) <= LIMIT.allowed
    schedule = member_schedule(plan, members)
    stay = ~schedule.members["member"].isin(list(plan.lines))
    assert (schedule.members.loc[stay, "set"] == "stays as it is").all()


def test_a_hump_across_every_member_is_not_for_some_of_them():
    survey = room(lambda x, y: 9.0 * np.exp(-(((y - 5 * FT) / (1.5 * FT)) ** 2)))
    with pytest.raises(PlanError, match="every member would have to be set"):
        plan_corrections(survey, limits=LIMIT, way="some-members", members=joists("I-joist"), aim=0.7, **QUICK)


# over all


def test_a_pour_is_nowhere_thinner_than_its_material_goes():
    survey = room()
    plan = plan_corrections(survey, limits=LIMIT, way="overlay", **QUICK)
    assert np.nanmin(plan.change) == pytest.approx(5.0, abs=1e-4)
    assert np.ptp(plan.target[np.isfinite(plan.target)]) < 1e-6
    assert set(plan.patches["action"]) == {"fill"}
    # closed form: the mean of what it rises is the highest less the mean, and the thinnest
    z = plan.surface.height
    wx, wy = (np.r_[0.5, np.ones(n - 2), 0.5] for n in (z.shape[1], z.shape[0]))
    mean = float(wy @ z @ wx / (wx.sum() * wy.sum()))
    assert plan.quantities.fill_volume == pytest.approx((z.max() + 5.0 - mean) * 12 * FT * 10 * FT, rel=1e-4)


def test_strapping_is_shimmed_to_one_plane_off_the_lowest_spot():
    """A ceiling: heights count toward the room, so the lowest spot is the highest number; strapping is 3/4 in thick."""
    survey = room(surface="ceiling")
    across = member_layout(0, 16 * IN, "y", until=12 * FT, kind="sawn joist")
    plan = plan_corrections(survey, limits=LIMIT, way="overlay", members=across, **QUICK)
    lowest = float(np.nanmax(plan.surface.height))
    assert np.nanmin(plan.target) == pytest.approx(lowest + 0.75 * IN, abs=1e-4)
    assert plan.members.kind == "strapping"
    assert plan.crossing is across
    shims = member_schedule(plan, plan.members, crossing=plan.crossing).shims
    expected = lowest - uneven(shims["x_mm"], shims["y_mm"])
    np.testing.assert_allclose(shims["shim_mm"], expected, atol=0.5)
    assert shims["shim_mm"].min() >= -1e-6
    clear = plan_corrections(survey, limits=LIMIT, way="overlay", members=across, keep_clear=100.0, **QUICK)
    assert np.nanmin(clear.target) == pytest.approx(lowest + 100.0, abs=1e-4)


@pytest.mark.parametrize(("step", "rests_on"), [(2.0, "assumed"), (0.5, "read")])
def test_what_is_left_as_found_is_as_unseen_between_the_stations_as_before(step, rests_on):
    survey = room(step=step)
    plan = plan_corrections(survey, limits=LIMIT, way="patches", **QUICK)
    assert plan.after["between"].tolist() == [rests_on]
    assert ("Nothing was read between the stations" in answer(plan, "in").text) == (rests_on == "assumed")
    # a pour over all leaves nothing as found
    over_all = plan_corrections(survey, limits=LIMIT, way="overlay", **QUICK)
    assert over_all.after["between"].tolist() == ["read"]


def test_a_way_that_nobody_knows_is_refused():
    with pytest.raises(ArgumentError, match="ways"):
        plan_ways(room(), LIMIT, ways=["patches", "magic"], **QUICK)


def test_a_spot_that_keeps_its_height_closes_a_layer_over_all():
    found = plan_ways(room(), LIMIT, fixed=[FixedSpot(0, 0, None, 1.0, "sill")], members=joists("I-joist"), **QUICK)
    table = found.table.set_index("way")
    assert "no such plane" in table.loc["overlay", "why"]
    assert table.loc["patches", "why"] == ""


# side by side


def test_the_deepest_fill_binds_members_and_layers_over_all():
    survey, members = room(lambda x, y: -0.01 * x), joists("I-joist")  # falls 36.6 mm over 12 ft
    terms = {"limits": LIMIT, "members": members, **QUICK}
    for way in ("members", "overlay"):
        deep = plan_corrections(survey, way=way, **terms)
        most = float(np.nanmax(deep.change))
        assert plan_corrections(survey, way=way, depths=Depths(fill=most + 0.1), **terms).passes
        with pytest.raises(PlanError, match="deepest fill"):
            plan_corrections(survey, way=way, depths=Depths(fill=most - 1.0), **terms)


def test_the_deepest_cut_binds_members():
    survey = room(lambda x, y: np.where((x == 4 * FT) & (y == 0), 6.0, 0.0))
    members, said = joists(depth=235.0, start=0, end=10 * FT), Beneath("sheathing", True, most_planed=12.0)
    terms = {"limits": LIMIT, "way": "members", "members": members, "beneath": said, **QUICK}
    assert np.nanmax(plan_corrections(survey, **terms).target) < 1.0
    # 1 mm off leaves 5 of the 6 mm standing, to which all others are raised
    assert np.nanmin(plan_corrections(survey, depths=Depths(cut=1.0), **terms).target) == pytest.approx(5.0, abs=1e-6)


def test_strapping_that_is_named_is_shimmed_where_it_crosses():
    survey = room(feet=(8, 10), surface="ceiling")
    straps = member_layout(0, 16 * IN, "x", until=10 * FT, kind="strapping", thickness=0.75 * IN)
    joists_above = member_layout(0, 16 * IN, "y", until=8 * FT)
    rates = Rates(length=0.0, crossing=1.0)
    terms = {"limits": LIMIT, "way": "overlay", "rates": rates, **QUICK}
    # 8 straps across 7 joists; without the joists a shim every 16 in of 8 straps of 8 ft
    assert plan_corrections(survey, members=straps, crossing=joists_above, **terms).work == 8 * 7
    assert plan_corrections(survey, members=straps, **terms).work == 8 * 96 / 16


def test_a_height_is_for_one_plane_and_leaves_places_closed():
    survey = room(lambda x, y: -0.005 * x)
    found = plan_ways(survey, LIMIT, members=joists("I-joist"), height=30.0, **QUICK)
    assert set(found.plans) == {"members", "overlay"}
    assert "one level plane" in str(found.closed["patches"])
    for plan in found.plans.values():
        assert np.nanmax(np.abs(plan.target - 30.0)) < 1e-3


def test_the_least_work_of_those_that_are_sure_is_proposed():
    x, y = np.meshgrid(np.arange(0, 13, 2) * FT, np.arange(0, 11, 2) * FT)
    z = -8.0 * np.exp(-(((x - 6 * FT) / (2 * FT)) ** 2) - ((y - 4 * FT) / (2 * FT)) ** 2)
    noise = np.random.default_rng(4).normal(0, IN / 32, x.shape)
    survey = flatness.make_survey(x, y, z + noise, accuracy=IN / 32)
    found = plan_ways(survey, LIMIT, members=joists("I-joist"), headings=4, draws=60, spacing=0.5 * FT)
    table = found.table.set_index("way")
    assert set(table.index) == set(WAYS)
    assert set(found.plans) == set(table.index[table["why"] == ""])
    sure = table[(table["why"] == "") & (table["chance"] >= 0.95)]
    assert found.sure == (len(sure) > 0)
    assert found.proposed == (sure["work"].idxmin() if len(sure) else table["chance"].idxmax())
    assert found.table["way"][0] == found.proposed
    for way, plan in found.plans.items():
        row = table.loc[way]
        assert row["verdict"] == plan.verdict
        assert row["rise_mm"] == pytest.approx(np.nanmax(plan.change))
        assert row["area_mm2"] == pytest.approx(plan.patches["area_mm2"].sum())
    # by hand: ten joists of 10 ft at 0.2 h a foot
    assert table.loc["members", "places"] == 10
    assert table.loc["members", "lumber_mm"] == pytest.approx(10 * 10 * FT)
    assert table.loc["members", "work"] == pytest.approx(20.0)
    dear = plan_ways(
        survey,
        LIMIT,
        members=joists("I-joist"),
        headings=4,
        draws=60,
        spacing=0.5 * FT,
        ways=("members", "overlay"),
        rates=Rates(place=0.0, area=0.0, volume=0.0, length=1.0, unit="money"),
    )
    assert dear.proposed == "overlay"
    assert set(dear.table["unit"]) == {"money"}


def test_work_counts_places_ground_and_volume():
    # closed form: one trough filled by 1 mm over a strip; its outline is two steps of 500 mm wide and 1000 mm long
    x, y = np.meshgrid(np.arange(5) * 500.0, np.arange(3) * 500.0)
    trough = flatness.make_survey(x, y, np.where(x == 1000, -4.0, 0.0), unit="mm")
    rates = Rates(place=2.0, area=3e-6, volume=5e-6)
    plan = plan_corrections(
        trough,
        limits=flatness.straightedge_limit(1000, 3.0),
        spacing=500,
        headings=1,
        surface="as-read",
        draws=0,
        rates=rates,
    )
    assert plan.work == pytest.approx(2.0 + 3.0 + 5e-6 * 500 * 1000 * 1.0)


@pytest.mark.parametrize(
    "bad", [{"way": "sideways"}, {"plane": "tilted"}, {"setting_error": -1.0}, {"keep_clear": math.nan}]
)
def test_what_is_no_way(bad):
    with pytest.raises(ArgumentError):
        plan_corrections(room(), limits=LIMIT, **QUICK, **bad)


# against an integer program


def optimum(z, length, allowed, step, width, rates):
    """Least work on a strip that is alike across: places, their ground and what moves, by an integer program.

    Columns of variables: added, taken off, whether, and whether a place begins there, of each; heights along one line.
    """
    n, reach, most = len(z), round(length / step), 30.0
    add, cut, on_add, on_cut, new_add, new_cut = (np.arange(n) + k * n for k in range(6))
    cost = np.zeros(6 * n)
    cost[add] = cost[cut] = rates.volume * step * width
    cost[on_add] = cost[on_cut] = rates.area * step * width
    cost[new_add] = cost[new_cut] = rates.place
    rows, least, greatest = [], [], []

    def row(entries, low, high):
        rows.append(np.zeros(6 * n))
        for column, weight in entries:
            rows[-1][column] += weight
        least.append(low)
        greatest.append(high)

    for k in range(n):
        for p in range(max(0, k - reach + 1), k):
            for q in range(k + 1, min(n, p + reach + 1)):
                a, b = (q - k) / (q - p), (k - p) / (q - p)
                weights = [(p, a), (q, b), (k, -1.0)]
                entries = [(add[i], w) for i, w in weights] + [(cut[i], -w) for i, w in weights]
                row(entries, -np.inf, allowed - sum(w * z[i] for i, w in weights))
        for moved, on, new in ((add, on_add, new_add), (cut, on_cut, new_cut)):
            row([(moved[k], 1.0), (on[k], -most)], -np.inf, 0.0)
            row([(on[k], 1.0), (new[k], -1.0), *([(on[k - 1], -1.0)] if k else [])], -np.inf, 0.0)
    whole = np.zeros(6 * n)
    whole[2 * n :] = 1
    found = milp(
        cost,
        constraints=LinearConstraint(np.array(rows), least, greatest),
        integrality=whole,
        bounds=(np.zeros(6 * n), np.r_[np.full(2 * n, most), np.ones(4 * n)]),
    )
    assert found.success
    return float(found.fun)


@pytest.mark.parametrize("seed", range(6))
def test_gathered_work_is_near_the_least_that_an_integer_program_finds(seed):
    """20 x 3 nodes: what the kit's places cost, counted as the program counts, is within a fifth of the optimum."""
    rng = np.random.default_rng(seed)
    step, length, allowed = FT / 2, 5 * FT, 2.0
    x = np.arange(20) * step
    z = sum(
        rng.uniform(4, 8) * rng.choice([-1, 1]) * np.maximum(0, 1 - np.abs(x - middle) / (rng.uniform(1, 2) * FT))
        for middle in ((2 + 6 * k + rng.uniform(-1, 1)) * FT / 1.6 for k in range(2))
    )
    rates = Rates()
    gx, gy = np.meshgrid(x, np.arange(3) * step)
    survey = flatness.make_survey(gx, gy, np.tile(z, (3, 1)), unit="mm", accuracy=0.1)
    plan = plan_corrections(
        survey,
        limits=flatness.straightedge_limit(length, allowed),
        spacing=step,
        headings=1,
        surface="as-read",
        draws=0,
        beneath=Beneath("boards", True, 30.0),
        least_patch=0.0,
        thinnest_fill=0.0,
        rates=rates,
    )
    assert np.nanmax(gap_map(plan.target, step, length, 1)) <= allowed + 1e-6
    patches, width = plan.patches, 2 * step
    mine = (
        rates.place * len(patches) + rates.area * patches["area_mm2"].sum() + rates.volume * patches["volume_mm3"].sum()
    )
    assert mine <= 1.2 * optimum(z, length, allowed, step, width, rates)
