"""Target planes against brute force over planes, closed forms, and the terms they must hold to."""

import itertools
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatness.errors import ArgumentError, MeasureError, PlanError
from flatness.measures.planes import fit_surface_plane
from flatness.planning.constraints import Binding, Depths, FixedSpot, Rates
from flatness.planning.target import best_plane_target, fixed_spots_target, level_target, through_benchmarks_target
from flatness.surface.lattice import make_surface


def room(seed, shape=(5, 6), spacing=100.0):
    return make_surface(np.random.default_rng(seed).normal(size=shape) * 4, spacing)


def weights(shape):
    """A quarter cell for each cell at a node: 1 inside, 1/2 along the edges, 1/4 at the corners."""
    edge = [np.array([0.5, *[1.0] * (n - 2), 0.5]) for n in shape]
    return np.outer(*edge)


def cost_of(surface, height, off=1.0, add=1.0):
    change = height - surface.height
    return float((weights(change.shape) * np.where(change > 0, add, -off) * change).sum() * surface.spacing**2)


@pytest.mark.parametrize(("off", "add"), [(1, 1), (5, 1), (1, 3)])
@pytest.mark.parametrize("seed", range(4))
def test_level_is_the_cheapest_height(seed, off, add):
    # brute force: the cost is piecewise linear in the height, so its least is at the height of some node
    surface = room(seed)
    target = level_target(surface, rates=Rates(off, add))
    least = min(cost_of(surface, z, off, add) for z in surface.height.ravel())
    assert target.cost == pytest.approx(least, rel=1e-9)
    assert target.cost == pytest.approx(cost_of(surface, target.height, off, add), rel=1e-12)
    np.testing.assert_allclose(target.height, target.plane.c, atol=1e-12)
    np.testing.assert_allclose(target.change, -target.plane.deviations, atol=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_free_plane_is_the_cheapest_through_three_nodes(seed):
    # brute force: a least-cost plane passes through three nodes (a vertex of the program)
    surface = room(seed, (4, 4))
    x, y, z = surface.nodes()
    least = np.inf
    for three in itertools.combinations(range(len(z)), 3):
        design = np.column_stack([x[list(three)], y[list(three)], np.ones(3)])
        if abs(np.linalg.det(design)) > 1:
            a, b, c = np.linalg.solve(design, z[list(three)])
            least = min(least, cost_of(surface, (a * x + b * y + c).reshape(4, 4), 1.0, 2.0))
    target = best_plane_target(surface, tilt="least-work", rates=Rates(1, 2))
    assert target.cost == pytest.approx(least, rel=1e-8)


@pytest.mark.parametrize("tilt", ["least-squares", "minimum-zone"])
def test_best_plane_keeps_the_tilt_and_finds_the_height(tilt):
    surface = room(5)
    fitted = fit_surface_plane(surface, tilt)
    target = best_plane_target(surface, tilt=tilt, rates=Rates(2, 1))
    assert (target.plane.a, target.plane.b) == pytest.approx((fitted.a, fitted.b), abs=1e-12)
    at = fitted.at(*np.meshgrid(surface.x, surface.y))
    least = min(cost_of(surface, at + lift, 2, 1) for lift in (surface.height - at).ravel())
    assert target.cost == pytest.approx(least, rel=1e-9)


def test_nothing_comes_off_touches_the_highest_spot():
    surface = room(6)
    level = level_target(surface, shift="nothing-comes-off")
    assert level.plane.c == pytest.approx(surface.height.max())
    i, j = np.unravel_index(surface.height.argmax(), surface.height.shape)
    assert level.binding == (Binding("deepest cut", (float(surface.x[j]), float(surface.y[i]))),)
    tilted = best_plane_target(surface, shift="nothing-comes-off")
    assert tilted.change.min() == pytest.approx(0, abs=1e-9)
    free = best_plane_target(surface, tilt="least-work", shift="nothing-comes-off")
    assert free.change.min() == pytest.approx(0, abs=1e-9)
    assert free.cost <= min(level.cost, tilted.cost) * (1 + 1e-9)


def test_depths_bound_the_change():
    surface = room(7)
    top, bottom = surface.height.max(), surface.height.min()
    # a cut of 2 at most: the plane stands 2 under the highest spot where the free one would be lower
    target = level_target(surface, depths=Depths(cut=2.0))
    assert target.plane.c == pytest.approx(top - 2)
    # by place: no cut at one node alone
    cut = np.full(surface.height.shape, np.inf)
    cut[2, 3] = 0.0
    assert level_target(surface, depths=Depths(cut=cut)).change[2, 3] >= -1e-9
    # one surface needs top - bottom of cut and fill together
    with pytest.raises(PlanError) as error:
        level_target(surface, depths=Depths(2.0, 3.0))
    by = sum(float(mm) for mm in re.findall(r"by ([\d.]+) mm", str(error.value)))
    assert by == pytest.approx(top - bottom - 5, abs=2e-3)
    assert "deepest cut" in str(error.value)
    assert "deepest fill" in str(error.value)


def test_spots_that_clash_are_named():
    # closed form: a level plane at 20 +/- 1 and at -20 +/- 1: 38 mm too little, on one or both together
    spots = [FixedSpot(0, 0, 20, 1, "sill"), FixedSpot(500, 0, -20, 1, "hearth"), FixedSpot(200, 0, 0, 50, "nosing")]
    with pytest.raises(PlanError) as error:
        level_target(room(1), fixed=spots)
    text = str(error.value)
    assert "sill at (0, 0) mm" in text
    assert "hearth at (500, 0) mm" in text
    assert "nosing" not in text
    assert sum(float(mm) for mm in re.findall(r"by ([\d.]+) mm", text)) == pytest.approx(38, abs=3e-3)
    # tilted, the same spots are met
    target = fixed_spots_target(room(1), spots)
    assert abs(float(target.plane.at(0, 0)) - 20) <= 1 + 1e-9
    assert abs(float(target.plane.at(500, 0)) + 20) <= 1 + 1e-9
    assert {b.name for b in target.binding} >= {"sill", "hearth"}


def test_height_asked_for_against_a_spot():
    surface = room(1)
    assert level_target(surface, height=3.5).plane.c == pytest.approx(3.5)
    with pytest.raises(PlanError, match=r"sill.*the height asked for clash"):
        level_target(surface, height=3.5, fixed=[FixedSpot(0, 0, 5.0, 1.0, "sill")])


def test_spot_as_found():
    surface = room(2)
    # bilinear in the middle of a cell: the mean of its corners
    target = level_target(surface, fixed=[FixedSpot(150, 250)])
    assert target.plane.c == pytest.approx(surface.height[2:4, 1:3].mean())
    with pytest.raises(PlanError, match="not on the surface"):
        level_target(surface, fixed=[FixedSpot(5000, 0)])
    # with its height given a spot may lie off the surface
    assert level_target(surface, fixed=[FixedSpot(5000, 0, 2.0)]).plane.c == pytest.approx(2.0)


def test_through_benchmarks():
    surface = room(3)
    one = through_benchmarks_target(surface, [FixedSpot(0, 0, 1.5)])
    assert (one.plane.a, one.plane.b, one.plane.c) == pytest.approx((0, 0, 1.5), abs=1e-9)
    marks = [FixedSpot(0, 0, 1.0), FixedSpot(1000, 0, 3.0), FixedSpot(0, 1000, -4.0)]
    three = through_benchmarks_target(surface, marks)
    # closed form: 2 mm a metre along x, -5 along y, from 1
    assert (three.plane.a, three.plane.b, three.plane.c) == pytest.approx((0.002, -0.005, 1.0), abs=1e-9)
    two = through_benchmarks_target(surface, marks[:2])
    assert (float(two.plane.at(0, 0)), float(two.plane.at(1000, 0))) == pytest.approx((1, 3))
    assert two.cost <= three.cost
    # a fourth mark 8 mm off the plane of the others
    with pytest.raises(PlanError, match="benchmarks"):
        through_benchmarks_target(surface, [*marks, FixedSpot(1000, 1000, 6.0)])
    enough = [FixedSpot(p.x, p.y, p.height, 2.0) for p in [*marks, FixedSpot(1000, 1000, 6.0)]]
    assert len(through_benchmarks_target(surface, enough).binding) == 4


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10**6), st.floats(-0.05, 0.05), st.floats(-0.05, 0.05), st.floats(-50, 50), st.floats(-1e4, 1e4))
def test_moves_with_the_surface(seed, a, b, c, x0):
    # a plane added to the surface, and a shift of the origin, change no change; scaling scales it
    surface = room(seed, (4, 5))
    least = best_plane_target(surface, tilt="least-work").cost
    gx, gy = np.meshgrid(surface.x, surface.y)
    moved = make_surface(surface.height + a * gx + b * gy + c, surface.spacing, x0=x0)
    assert best_plane_target(moved, tilt="least-work").cost == pytest.approx(least, rel=1e-6)
    tripled = make_surface(3 * surface.height, surface.spacing)
    assert best_plane_target(tripled, tilt="least-work").cost == pytest.approx(3 * least, rel=1e-6)


def test_a_blank_stays_blank():
    height = np.arange(12.0).reshape(3, 4)
    height[0, 0] = np.nan
    target = level_target(make_surface(height, 100.0))
    assert np.isnan(target.change[0, 0])
    assert np.isnan(target.height[0, 0])
    assert np.isfinite(target.change).sum() == 11


def test_refusals():
    string = make_surface(np.zeros((3, 3)), 100.0, reference="string")
    with pytest.raises(MeasureError, match="string"):
        level_target(string)
    with pytest.raises(MeasureError, match="string"):
        through_benchmarks_target(string, [FixedSpot(0, 0, 1.0)])
    assert best_plane_target(string).cost == 0
    surface = room(1)
    with pytest.raises(ArgumentError, match="least-work"):
        level_target(surface, shift="downhill")
    with pytest.raises(ArgumentError, match="minimum-zone"):
        best_plane_target(surface, tilt="downhill")
    with pytest.raises(PlanError, match="no fixed spots"):
        fixed_spots_target(surface, [])
    with pytest.raises(PlanError, match="no benchmarks"):
        through_benchmarks_target(surface, [])
    with pytest.raises(PlanError, match="without a height"):
        through_benchmarks_target(surface, [FixedSpot(0, 0)])
    with pytest.raises(ArgumentError, match="below zero"):
        level_target(surface, depths=Depths(cut=-1.0))
