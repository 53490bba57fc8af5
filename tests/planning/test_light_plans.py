"""Plans that a light is to show nothing of: the least work by a full program, and walls of known truth."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.interpolate import BSpline
from scipy.optimize import linprog

import flatness
from flatness.errors import PlanError
from flatness.framing.members import member_layout
from flatness.light.eye import Eye
from flatness.light.lamps import Daylight
from flatness.light.places import LightRequirement, Lights
from flatness.light.waves import least_grazing_angle, strengths, wavelengths
from flatness.planning.constraints import Depths, Rates
from flatness.planning.least_work import least_work
from flatness.planning.planner import case_of
from flatness.planning.set_heights import Work
from flatness.planning.ways import plan_ways
from flatness.surface.lattice import make_surface
from flatness.survey.readings import make_survey

IN = 25.4
STEP = 16 * IN
FILL_ONLY = Depths(0.0, 6.0)
FINE = {"setting_error": 0.1, "least_depth": 0.1, "thinnest_fill": 0.1}


def dips(x, y):
    """Two shallow dips, 4.5 and 3.5 mm deep, on a wall that leans."""
    one = -4.5 * np.exp(-(((x - 88 * IN) / (17 * IN)) ** 2 + ((y - 50 * IN) / (20 * IN)) ** 2) / 2)
    return one - 3.5 * np.exp(-(((x - 24 * IN) / (16 * IN)) ** 2 + ((y - 30 * IN) / (18 * IN)) ** 2) / 2) + 0.001 * y


def wall(seed=1, accuracy=0.1):
    x, y = map(np.ravel, np.meshgrid(STEP * np.arange(9), STEP * np.arange(7)))
    noise = np.random.default_rng(seed).normal(0, accuracy, len(x))
    return make_survey(x, y, dips(x, y) + noise, surface="wall", reference="plumb", accuracy=accuracy)


def splines(axis, shortest):
    """Cubic B-splines [n, k] on an axis, one by one, their knots half of the shortest wave apart."""
    parts = round(np.ptp(axis) / (shortest / 2))
    knots = axis[0] + np.ptp(axis) / parts * np.arange(-3, parts + 4)
    each = [BSpline.basis_element(knots[k : k + 5], extrapolate=False)(axis) for k in range(parts + 3)]
    return np.nan_to_num(np.column_stack(each))


def test_the_least_work_against_a_program_with_every_place_and_band_in_it():
    gx, gy = np.meshgrid(120.0 * np.arange(14), 120.0 * np.arange(9))
    z = -2.0 * np.exp(-(((gx - 700) / 300) ** 2 + ((gy - 500) / 250) ** 2) / 2) + 0.5 * np.sin(gx / 250)
    surface = make_surface(z, 120.0)
    light = LightRequirement(heading=0.0, allowed=0.012, distance=1524.0, eye=Eye(), shortest=600.0)
    found = least_work(surface, [light], rates=Rates(off=2.0, add=1.0), tolerance=1e-4)
    waves = wavelengths(surface, 600.0)
    basis = np.kron(splines(surface.y, 600.0), splines(surface.x, 600.0))

    def shows(stack):
        bands = strengths(stack.reshape(-1, *z.shape), surface, Daylight(angle=45), 1524.0, Eye(), waves)
        return np.concatenate([band.reshape(len(stack), -1) for band in bands], axis=1).astype(float)

    rows, now = shows(basis.T).T, shows(z.reshape(1, -1))[0]
    edge = np.ones(z.shape)
    edge[[0, -1]] /= 2
    edge[:, [0, -1]] /= 2
    area = 120.0**2 * (basis.T @ edge.ravel())
    both = np.hstack([rows, -rows])
    wanted = linprog(
        np.concatenate([area, 2 * area]),
        A_ub=np.vstack([both, -both]),
        b_ub=np.concatenate([0.012 - now, 0.012 + now]),
        bounds=(0, None),
    )
    assert Lights(surface, [light]).used(z) > 1.2
    assert Lights(surface, [light]).used(z + found.change) <= 1
    # its cost is of the change at the nodes, where what is added and taken off by two splines is less than both
    assert found.bound == pytest.approx(wanted.fun, rel=5e-3)
    assert found.cost <= wanted.fun * 1.005


def test_a_wall_of_known_truth_shows_nothing_once_the_plan_is_set():
    survey, limit = wall(), flatness.light_limit(2.0, along="x")
    plan = flatness.plan_corrections(survey, limits=limit, depths=FILL_ONLY, draws=100, **FINE)
    assert plan.verdict == "pass"
    assert plan.after.loc[0, "planned_for"]
    assert set(plan.patches["action"]) == {"fill"}
    truth = dips(*np.meshgrid(plan.x, plan.y))
    shortest = 2 * STEP

    def least_angle(height):
        light = LightRequirement(heading=0.0, allowed=1.0, distance=1524.0, eye=Eye(), shortest=shortest)
        return math.degrees(math.atan(Lights(replace(plan.surface, height=height), [light]).used(height)))

    assert least_angle(truth) > 2.2
    way = np.where(np.isfinite(plan.set_height), 1, 0).astype(np.int8)
    work = Work(plan.set_height, way, 0.1)
    finished = work.after(np.repeat(truth[None], 20, axis=0), plan.surface, np.random.default_rng(2))
    assert np.mean([least_angle(height) <= 2.0 for height in finished]) >= 0.95
    # read again as before, and judged by the check
    x, y, _ = survey.xyz()
    again = plan.surface.at(x, y, finished[0]) + np.random.default_rng(3).normal(0, 0.1, len(x))
    after = make_survey(x, y, again, surface="wall", reference="plumb", accuracy=0.1)
    (verdict,) = flatness.check(after, limit, draws=40).to_dict("records")
    assert verdict["likely"] < 2.0
    assert verdict["chance"] > 0.9
    # without the readings' limit, and on a finer lattice, the truth is measured as any surface
    fine = make_surface(dips(*np.meshgrid(50.0 * np.arange(66), 50.0 * np.arange(49))), 50.0)
    assert least_grazing_angle(fine, 0.0, 1524.0) == pytest.approx(least_angle(truth), rel=0.1)


def test_light_and_a_straightedge_both_hold():
    survey = wall(accuracy=0.05)
    limits = [flatness.light_limit(2.0, along="x"), flatness.straightedge_limit(48 * IN, 1.6, surfaces=("wall",))]
    plan = flatness.plan_corrections(survey, limits=limits, depths=FILL_ONLY, draws=0, surface="as-read", **FINE)
    assert plan.after["planned_for"].tolist() == [True, True]
    assert plan.after["passes"].tolist() == [True, True]
    assert plan.bound <= plan.cost * (1 + 1e-9)


def test_no_way_by_some_members_and_why():
    survey = wall()
    members = member_layout(0.0, STEP, until=8 * STEP, kind="stud")
    found = plan_ways(
        survey, flatness.light_limit(2.0, along="x"), members=members, ways=("some-members",), draws=20, **FINE
    )
    assert found.proposed == ""
    assert "light" in found.table.loc[0, "why"]


def test_no_plan_where_nothing_may_move():
    case = case_of(wall(), limits=flatness.light_limit(2.0, along="x"), depths=Depths(0.0, 0.1), draws=0, aim=1.0)
    with pytest.raises(PlanError, match="deepest fill"):
        case.plan()
