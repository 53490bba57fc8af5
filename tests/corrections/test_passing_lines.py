"""Members set so that the surface on them passes: against a full linear program, and measured by other code."""

import numpy as np
import pytest
from scipy.optimize import linprog

import flatness
from flatness.corrections.beneath import Beneath
from flatness.corrections.members import member_layout
from flatness.corrections.passing_lines import SHARES
from flatness.corrections.terms import FixedSpot
from flatness.errors import PlanError

STEP = 400.0  # of the joists, and of the stations along them [mm]
ALONG, ACROSS = 7, 5
LIMIT = flatness.straightedge_limit(1600, 3.0)


def wavy(seed=3, size=6.0):
    return np.random.default_rng(seed).normal(0, size, (ALONG, ACROSS)).round(1)


def planned(heights, **options):
    """A plan for readings [along y, across x] taken on every joist."""
    x, y = np.meshgrid(STEP * np.arange(ACROSS), STEP * np.arange(ALONG))
    survey = flatness.make_survey(x, y, heights, accuracy=0.5)
    return flatness.plan_corrections(
        survey, limits=LIMIT, spacing=STEP, headings=4, surface="as-read", draws=0, **options
    )  # fmt: skip


def joists(**options):
    return member_layout(0, STEP, "y", count=ACROSS, **options)


def largest_gap(z, steps=4):
    """The largest gap along rows, columns and diagonals, every placement tried."""
    worst = 0.0
    for iy, ix in np.ndindex(z.shape):
        for dy, dx in ((0, 1), (1, 0), (1, 1), (1, -1)):
            reach = steps if dy == 0 or dx == 0 else int(steps / np.sqrt(2))
            line = []
            for k in range(reach + 1):
                jy, jx = iy + k * dy, ix + k * dx
                if not (0 <= jy < z.shape[0] and 0 <= jx < z.shape[1]):
                    break
                line.append(z[jy, jx])
            for b in range(2, len(line)):
                for m in range(1, b):
                    worst = max(worst, line[0] + (line[b] - line[0]) * m / b - line[m])
    return worst


def as_set_grid(schedule):
    return schedule.table.pivot(index="station_mm", columns="member", values="line_mm").to_numpy()


def least_raising(top, allowed, steps=4):
    """Least sum of raises of straight joists, nothing off: every placement a row of one program."""
    ny, nx = top.shape
    t = np.arange(ny) / (ny - 1)

    def node(jy, jx):
        row = np.zeros(2 * nx)
        row[jx], row[nx + jx] = 1 - t[jy], t[jy]
        return row

    rows, most = [], []
    for iy, ix in np.ndindex(ny, nx):
        rows.append(-node(iy, ix))
        most.append(-top[iy, ix])
        for dy, dx in ((0, 1), (1, 0), (1, 1), (1, -1)):
            reach = steps if dy == 0 or dx == 0 else int(steps / np.sqrt(2))
            for b in range(2, reach + 1):
                ey, ex = iy + b * dy, ix + b * dx
                if not (0 <= ey < ny and 0 <= ex < nx):
                    break
                for m in range(1, b):
                    my, mx = iy + m * dy, ix + m * dx
                    rows.append(node(iy, ix) * (1 - m / b) + node(ey, ex) * m / b - node(my, mx))
                    most.append(allowed)
    cost = sum(node(iy, ix) for iy, ix in np.ndindex(ny, nx))
    found = linprog(cost, A_ub=np.array(rows), b_ub=most, bounds=(None, None), method="highs")
    return float(found.fun - top.sum())


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_least_raising_after_which_the_surface_passes(seed):
    top = wavy(seed)
    schedule = flatness.member_schedule(planned(top), joists(), line="passing")
    lines = as_set_grid(schedule)
    assert largest_gap(lines) <= LIMIT.allowed + 1e-6
    assert (lines >= top - 1e-6).all()
    # a knot at either end counts as much as the others: np.gradient of even stations
    assert (lines - top).sum() == pytest.approx(least_raising(top, SHARES[0] * LIMIT.allowed), rel=1e-4)


def test_what_the_schedule_says_of_itself_is_what_another_code_measures():
    schedule = flatness.member_schedule(planned(wavy()), joists(), line="nearest")
    row = schedule.as_set.iloc[0]
    assert row["as_set_mm"] == pytest.approx(largest_gap(as_set_grid(schedule)), abs=1e-6)
    assert bool(row["passes"]) == (row["as_set_mm"] <= LIMIT.allowed)


def test_lines_of_their_own_may_fail_and_the_schedule_says_so():
    schedule = flatness.member_schedule(planned(wavy(size=30.0)), joists(), line="clear")
    assert largest_gap(as_set_grid(schedule)) > LIMIT.allowed
    assert not schedule.as_set["passes"].any()
    assert any("is NOT met" in note for note in schedule.notes)


def test_a_fixed_spot_is_kept_and_told():
    top = wavy()
    sill = FixedSpot(0.0, 3 * STEP, float(top[3, 0]) + 4, 1.0, "sill")
    plan = planned(top, fixed=[sill], beneath=Beneath("boards", True, most_planed=30.0))
    studs = joists(kind="stud")  # of which no notch rule is known here: what was said holds
    free = flatness.member_schedule(plan, studs, line="clear")
    held = flatness.member_schedule(plan, studs, line="passing")
    assert abs(as_set_grid(held)[3, 0] - sill.height) <= 1.0 + 1e-6
    assert held.spots["within"].tolist() == [True]
    off = as_set_grid(free)[3, 0] - sill.height
    assert free.spots["off_mm"].tolist() == pytest.approx([off])
    assert free.spots["within"].tolist() == [bool(abs(off) <= 1.0)]


def test_nothing_comes_off_where_nobody_said_that_it_may():
    for options in ({}, {"beneath": Beneath("boards", True, most_planed=3.0), "shift": "nothing-comes-off"}):
        schedule = flatness.member_schedule(planned(wavy(), **options), joists())
        assert schedule.line == "passing"
        assert schedule.table["raise_mm"].min() >= -1e-6


def test_no_more_comes_off_than_may():
    sheets = Beneath("boards", True, most_planed=2.0)
    schedule = flatness.member_schedule(planned(wavy(), beneath=sheets), joists(kind="stud"))
    assert -2.0 - 1e-6 <= schedule.table["raise_mm"].min() < -0.5


def test_boards_may_be_planed_and_the_joists_beneath_them_not_in_their_middle_third():
    top = wavy()
    top[[0, 1, -1]] += 8.0  # proud at both ends, where a notch may be
    plan = planned(top, beneath=Beneath("boards", True, most_planed=6.0))
    end = STEP * (ALONG - 1)
    table = flatness.member_schedule(plan, joists(depth=240.0, start=0.0, end=end)).table
    middle = table["station_mm"].between(end / 3, end * 2 / 3)
    assert table.loc[middle, "raise_mm"].min() >= -1e-6
    assert -6.0 - 1e-6 <= table.loc[~middle, "raise_mm"].min() < -0.5
    # without a depth no notch limit can be told, and nothing comes off
    unknown = flatness.member_schedule(plan, joists(start=0.0, end=end)).table
    assert unknown["raise_mm"].min() >= -1e-6


def test_strings_put_every_member_on_one_ruled_surface():
    schedule = flatness.member_schedule(planned(wavy()), joists(), line="passing", set_by="string")
    lines = as_set_grid(schedule)
    assert np.abs(np.diff(lines, 2, axis=0)).max() < 1e-5  # heights are told to a millionth
    assert np.abs(np.diff(lines, 2, axis=1)).max() < 1e-5


def test_terms_that_no_straight_members_meet():
    top = np.zeros((ALONG, ACROSS))
    spots = [FixedSpot(2 * STEP, k * STEP, h, 0.0, name) for k, h, name in ((0, 0, "a"), (3, 12, "b"), (6, 0, "c"))]
    plan = planned(top, fixed=spots, beneath=Beneath("boards", True, most_planed=50.0))
    with pytest.raises(PlanError, match="no straight members"):
        flatness.member_schedule(plan, joists(), line="passing")
    schedule = flatness.member_schedule(plan, joists())
    assert schedule.line != "passing"
    assert any("do not pass" in note for note in schedule.notes)


def test_where_some_stay_no_surface_stands_on_all():
    schedule = flatness.member_schedule(planned(wavy()), joists(), every=False)
    assert schedule.line == "clear"  # nobody said that anything may come off
    assert not len(schedule.as_set)
    only = schedule.only({"J2"})
    assert (only.members.set_index("member")["set"] == "stays as it is").to_dict() == {
        "J1": True, "J2": False, "J3": True, "J4": True, "J5": True,
    }  # fmt: skip
    # what stays carries no work, and the string goes between the end members' tops as they stand
    left = only.members[only.members["member"] != "J2"]
    assert left[["raise_most_mm", "take_down_mm", "off_target_mm"]].isna().all(axis=None)
    tops = {name: group.set_index("station_mm") for name, group in only.table.groupby("member")}
    string = tops["J1"]["existing_mm"] + (tops["J5"]["existing_mm"] - tops["J1"]["existing_mm"]) / 4
    np.testing.assert_allclose(tops["J2"]["string_mm"], string, atol=1e-5)
    np.testing.assert_allclose(tops["J2"]["offset_mm"], tops["J2"]["line_mm"] - string, atol=1e-5)
    assert (tops["J2"]["raise_mm"] >= -1e-6).all()
    assert tops["J3"]["line_mm"].isna().all()
    assert any("only some members are set" in note for note in only.notes)


def test_a_member_that_was_read_keeps_its_own_readings_to_its_very_ends():
    """Stations that no lattice meets: the schedule's tops are the readings, station by station."""
    along = np.array([0.0, 610, 1220, 1830, 2440, 3050, 3660, 4267.2])
    across = 184.15 + 406.4 * np.arange(6)
    x, y = np.meshgrid(across, along)
    z = np.random.default_rng(5).normal(0, 4, x.shape).round(2)
    survey = flatness.make_survey(x, y, z, accuracy=0.8)
    plan = flatness.plan_corrections(survey, limits=flatness.straightedge_limit(3048, 4.8), draws=0)
    schedule = flatness.member_schedule(plan, member_layout(184.15, 406.4, "y", count=6, start=0, end=4267.2))
    tops = schedule.table.pivot(index="station_mm", columns="member", values="existing_mm")
    assert tops.index.tolist() == along.tolist()
    np.testing.assert_allclose(tops.to_numpy(), z, atol=1e-9)
    assert not schedule.members["note"].any()
