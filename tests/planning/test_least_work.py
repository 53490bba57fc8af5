"""The least work against an independent full linear program, and what any plan must hold to."""

import math
import re
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from flatness.errors import ArgumentError, MeasureError, PlanError
from flatness.lengths import settle
from flatness.measures.bars import Requirement, broken_placements, gap_map, rows_of
from flatness.measures.straightedge import straightedge
from flatness.planning.constraints import Depths, FixedSpot, Rates
from flatness.planning.least_work import Pool, least_work
from flatness.surface.lattice import make_surface


def bilinear_row(x, y, shape, known):
    """Weights on the nodes of the height at (x, y) lattice steps, or None off the surface: written apart."""
    row = {}
    for i in range(shape[0]):
        for j in range(shape[1]):
            weight = max(0.0, 1 - abs(x - j)) * max(0.0, 1 - abs(y - i))
            if weight > 1e-9:
                row[i, j] = weight
    inside = -1e-9 <= x <= shape[1] - 1 + 1e-9 and -1e-9 <= y <= shape[0] - 1 + 1e-9
    return row if inside and all(known[node] for node in row) else None


def every_placement(z, steps, headings):
    """Rows [m, nodes] whose product with the heights is the gap of each placement there is."""
    known, shape, rows = np.isfinite(z), z.shape, []
    for n in range(headings):
        angle = math.pi * n / headings
        stride = math.sqrt(2) if abs(math.sin(2 * angle)) > 1 - 1e-12 else 1.0
        dx, dy = stride * math.cos(angle), stride * math.sin(angle)
        bar = math.floor(steps / stride + 1e-6)
        for i, j in np.argwhere(known):
            line = {k: bilinear_row(j + k * dx, i + k * dy, shape, known) for k in range(-bar, bar + 1)}
            for p in range(-bar, 0):
                for q in range(1, bar + p + 1):
                    if all(line[k] is not None for k in range(p, q + 1)):
                        row = np.zeros(shape)
                        for contact, share in ((p, q / (q - p)), (q, -p / (q - p))):
                            for node, weight in line[contact].items():
                                row[node] += share * weight
                        row[i, j] -= 1
                        rows.append(row.ravel())
    return np.array(rows).reshape(-1, z.size)


def areas(z):
    """A quarter cell for each whole cell a node is a corner of, a sixth for each that misses another corner."""
    area = np.zeros(z.shape)
    for i in range(z.shape[0] - 1):
        for j in range(z.shape[1] - 1):
            corners = [(i, j), (i, j + 1), (i + 1, j), (i + 1, j + 1)]
            have = [c for c in corners if np.isfinite(z[c])]
            for c in have if len(have) >= 3 else []:
                area[c] += 1 / 4 if len(have) == 4 else 1 / 6
    area[(area == 0) & np.isfinite(z)] = 1 / 4
    return area


def full_program(
    z, bars, headings, rates=(1, 1), depths=(np.inf, np.inf), spots=(), band=None, weights=None, share=None
):
    """Least cost over all placements at once, spacing 1; spots as (row, column, height, allowance)."""
    keep = np.isfinite(z).ravel()
    n, flat, area = int(keep.sum()), z.ravel()[keep], areas(z).ravel()[keep]
    area = area if weights is None else area * weights.ravel()[keep]
    part = np.ones(n) if share is None else share.ravel()[keep]
    cost = np.concatenate([rates[0] * area, rates[1] * area, [0.0]])
    A, b = [], []
    for steps, allowed in bars:
        rows = every_placement(z, steps, headings)[:, keep]
        A.append(np.hstack([-rows, rows, np.zeros((len(rows), 1))]))
        # the node that a placement lies over is the one that takes from its gap: alone it has a weight below zero
        b.append(allowed * part[rows.argmin(axis=1)] - rows @ flat)
    place = np.cumsum(keep).reshape(z.shape) - 1
    for i, j, height, allowance in spots:
        one = np.zeros(n)
        one[place[i, j]] = 1.0
        for sign in (1, -1):
            A.append(sign * np.concatenate([-one, one, [0.0]])[None])
            b.append([sign * (height - z[i, j]) + allowance])
    if band is not None:
        eye, one = np.eye(n), np.ones((n, 1))
        A += [np.hstack([eye, -eye, one]), np.hstack([-eye, eye, -one])]
        b += [flat, band - flat]
    limits = [(0, depths[0])] * n + [(0, depths[1])] * n + [(None, None)]
    found = linprog(cost, A_ub=np.vstack(A), b_ub=np.concatenate(b), bounds=limits, method="highs-ds")
    return found.fun if found.status == 0 else math.inf


def room(seed, shape=(7, 8), size=3.0):
    return np.random.default_rng(seed).normal(size=shape) * size


def with_opening(z):
    z = z.copy()
    z[0, :2] = z[3:5, 4] = np.nan
    return z


CASES = {
    "one bar": (room(1), [(4, 2.0)], 4, {}),
    "two bars": (room(2), [(5, 2.5), (2, 1.0)], 4, {}),
    "rows alone": (room(3), [(6, 1.0)], 1, {}),
    "opening": (with_opening(room(4)), [(5, 1.5)], 4, {}),
    "twelve headings": (room(5, (6, 6)), [(3.5, 1.5)], 12, {}),
    "rates": (room(6), [(4, 1.5)], 4, {"rates": (3, 1)}),
    "depths": (room(7), [(4, 2.0)], 4, {"depths": (4.0, 5.5)}),
    "no cut": (room(8), [(4, 2.0)], 4, {"depths": (0, np.inf)}),
    "spots": (room(9), [(4, 2.0)], 4, {"spots": [(0, 0, 2.0, 0.0), (3, 7, -1.0, 0.5)]}),
    "band": (room(10), [(4, 2.0)], 4, {"band": 5.0}),
    "band alone": (room(11), [], 4, {"band": 4.0}),
    "all": (
        with_opening(room(12)),
        [(4, 2.5)],
        4,
        {"rates": (1, 2), "depths": (6.0, 6.0), "spots": [(6, 6, 0.0, 1.0)], "band": 6.0},
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_equals_the_full_program(name):
    # independent: every placement enumerated above, solved at once by scipy's dual simplex
    z, bars, headings, terms = CASES[name]
    least = full_program(z, bars, headings, **terms)
    found = least_work(
        make_surface(z, 1.0),
        bars,
        headings=headings,
        rates=Rates(*terms.get("rates", (1, 1))),
        depths=Depths(*terms.get("depths", (math.inf, math.inf))),
        level_within=terms.get("band"),
        tolerance=1e-6,
        fixed=[FixedSpot(j, i, h, a) for i, j, h, a in terms.get("spots", [])],
    )
    assert math.isfinite(least)
    assert found.cost == pytest.approx(least, rel=1e-5)
    assert found.bound <= least * (1 + 1e-9)
    assert found.cost >= least * (1 - 1e-9) - 1e-5  # spots and depths hold to a millionth
    assert 0 <= found.gap <= 1e-5
    for steps, allowed in bars:
        worst = straightedge(make_surface(z + found.change, 1.0), steps, headings).worst
        assert worst is None or settle(worst.gap) <= allowed
    cut, fill = terms.get("depths", (math.inf, math.inf))
    assert np.nanmin(found.change) >= -cut - 1e-6
    assert np.nanmax(found.change) <= fill + 1e-6
    for i, j, height, allowance in terms.get("spots", []):
        assert abs(z[i, j] + found.change[i, j] - height) <= allowance + 1e-6
    if "band" in terms:
        assert np.ptp((z + found.change)[np.isfinite(z)]) <= terms["band"] + 1e-6
    np.testing.assert_array_equal(np.isnan(found.change), np.isnan(z))
    by_node = areas(z) * np.where(found.change < 0, -terms.get("rates", (1, 1))[0], terms.get("rates", (1, 1))[1])
    assert found.cost == pytest.approx(np.nansum(by_node * found.change))


@pytest.mark.parametrize("seed", range(3))
def test_dearer_places_and_stricter_ones_equal_the_full_program(seed):
    rng = np.random.default_rng(seed)
    z = with_opening(room(20 + seed))
    weights, share = rng.uniform(0.5, 2, z.shape), rng.uniform(0.4, 1, z.shape)
    for terms in ({"weights": weights}, {"share": share}, {"weights": weights, "share": share}):
        least = full_program(z, [(4, 2.0)], 4, rates=(2, 1), **terms)
        found = least_work(make_surface(z, 1.0), [(4, 2.0)], headings=4, rates=Rates(2, 1), tolerance=1e-6, **terms)
        assert found.cost == pytest.approx(least, rel=1e-5)
        assert found.bound <= least * (1 + 1e-9)
        assert math.isnan(found.flat_cost) == ("weights" in terms)
        gap = gap_map(z + found.change, 1.0, 4, 4)
        assert np.nanmax(gap - 2.0 * (share if "share" in terms else 1.0)) <= 1e-9


@pytest.mark.parametrize("headings", [4, 12])
@pytest.mark.parametrize("seed", range(3))
def test_passes_and_costs_less_than_flat(seed, headings):
    z = np.cumsum(np.cumsum(room(seed, (18, 22), 0.4), axis=0), axis=1) % 9
    surface = make_surface(z, 152.4)
    limits = [(1828.8, 3.175), (609.6, 1.5)]
    found = least_work(surface, limits, headings=headings)
    assert 0 < found.cost < found.flat_cost
    assert found.ratio == found.cost / found.flat_cost
    assert found.gap <= 1e-4
    for length, allowed in limits:
        after = straightedge(make_surface(z + found.change, 152.4), length, headings)
        assert settle(after.worst.gap) <= allowed


def test_one_trough():
    # closed form: a groove 4 deep between two banks, 3 allowed. Filling it by 1 is 1 x 1000 x 500 mm3; taking the
    # banks, each half as wide, down by 2 between them is as much: whichever is cheaper is done
    z = np.tile([0.0, -4.0, 0.0], (3, 1))
    found = least_work(make_surface(z, 500.0), [(1000, 3.0)], headings=1, rates=Rates(1.5, 1), tolerance=1e-9)
    np.testing.assert_allclose(found.change, [[0, 1, 0]] * 3, atol=2e-6)
    assert found.cost == pytest.approx(1000 * 500, rel=1e-5)
    found = least_work(make_surface(z, 500.0), [(1000, 3.0)], headings=1, rates=Rates(1, 1.5), tolerance=1e-9)
    np.testing.assert_allclose(found.change[:, 1], 0, atol=2e-6)
    np.testing.assert_allclose(found.change[:, 0] + found.change[:, 2], -2, atol=1e-5)
    assert found.cost == pytest.approx(1000 * 500, rel=1e-5)


def test_nothing_to_do():
    dome = -np.add.outer((np.arange(6) - 3.0) ** 2, (np.arange(7) - 3.0) ** 2)
    found = least_work(make_surface(dome, 100.0), [(300, 0.5)])
    assert (found.cost, found.bound, found.gap, found.rounds) == (0, 0, 0, 0)
    assert not found.change.any()
    plane = least_work(make_surface(np.ones((4, 4)), 100.0), [(300, 0.5)])
    assert math.isnan(plane.ratio)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-20, 20))
def test_shift_tilt_turn_and_unit(seed, a, b, c):
    # a straightedge is not levelled: a plane added to the surface changes nothing, nor does a mirror or a turn
    z = room(seed, (5, 6))
    least = least_work(make_surface(z, 1.0), [(3, 2.0)], headings=4, tolerance=1e-6).cost
    i, j = np.mgrid[:5, :6]
    for other in (z + a * i + b * j + c, z[::-1], z.T):
        found = least_work(make_surface(other, 1.0), [(3, 2.0)], headings=4, tolerance=1e-6).cost
        assert found == pytest.approx(least, rel=1e-4, abs=1e-4)
    # ten times the heights and the limit: ten times the work
    found = least_work(make_surface(10 * z, 1.0), [(3, 20.0)], headings=4, tolerance=1e-6).cost
    assert found == pytest.approx(10 * least, rel=1e-4, abs=1e-3)


@pytest.mark.parametrize("headings", [4, 12])
@pytest.mark.parametrize("seed", range(3))
def test_placements_are_those_of_the_straightedge(seed, headings):
    z = with_opening(room(seed))
    gap = gap_map(z, 1.0, 4.5, headings)
    found = broken_placements(z, 1.0, [Requirement(4.5, 1.0)], headings)
    # the worst at each node is the gap there, and no node is left out
    worst = np.full(z.size, -np.inf)
    np.maximum.at(worst, found.node, found.excess + 1.0)
    over = gap.ravel() > 1.0
    np.testing.assert_allclose(worst[over], gap.ravel()[over], atol=1e-12)
    assert set(found.node) == set(np.flatnonzero(over))
    assert np.bincount(found.node).max() <= 3
    # the rows give the gaps back, and each is one of the enumerated placements
    rows = rows_of(found, z.shape, headings, 1.0).toarray()
    np.testing.assert_allclose(rows @ np.nan_to_num(z.ravel()), found.excess + 1.0, atol=1e-12)
    every = every_placement(z, 4.5, headings)
    for row in rows[::7]:
        assert np.abs(every - row).max(axis=1).min() < 1e-9
    assert len(np.unique(found.key())) == len(found)


def test_clashing_spots_are_named():
    # closed form: the middle of three in a row, a bar over all: gap = mean of ends - middle. Ends held at 0 and
    # the middle at -5, 3 allowed: 2 mm too much
    z = np.zeros((3, 3))
    spots = [FixedSpot(0, 100, 0, 0, "sill"), FixedSpot(100, 100, -5, 0, "drain"), FixedSpot(200, 100, 0, 0, "hearth")]
    with pytest.raises(PlanError) as error:
        least_work(make_surface(z, 100.0), [(200, 3.0)], headings=1, fixed=spots)
    text = str(error.value)
    assert all(name in text for name in ("sill", "drain", "hearth"))
    # the drain alone needs 2 mm (printed rounded up); the ends, halved by the chord, would need 4 between them
    assert "the allowance of drain at (100, 100) mm, now 0 mm, by 2.001 mm" in text
    widened = [*spots[:1], FixedSpot(100, 100, -5, 2.001), spots[2]]
    after = make_surface(z + least_work(make_surface(z, 100.0), [(200, 3.0)], headings=1, fixed=widened).change, 100.0)
    assert settle(straightedge(after, 200, 1).worst.gap) <= 3.0


def test_clashing_depths_are_named():
    # closed form: a groove 10 deep, 3 allowed, no cut: it needs 7 of fill where 5 is the deepest, or both banks 2 down
    surface = make_surface(np.tile([0.0, -10.0, 0.0], (3, 1)), 100.0)
    with pytest.raises(PlanError, match=r"clash\n.*\n.*widen the deepest (fill|cut) by 2.001 mm$"):
        least_work(surface, [(200, 3.0)], headings=1, depths=Depths(0, 5))
    for depths in (Depths(0, 7.001), Depths(2.001, 5)):
        assert least_work(surface, [(200, 3.0)], headings=1, depths=depths).gap <= 1e-4


def test_least_relaxation_is_enough_and_needed():
    # independent: the full program over all placements has no solution as the terms are, nor with a little less than
    # the widening that the message asks for, and has one with it
    z, bars = room(7), [(4, 2.0)]
    cut, fill = 1.5, 4.0
    with pytest.raises(PlanError) as error:
        least_work(make_surface(z, 1.0), bars, headings=4, depths=Depths(cut, fill))
    wider = {side: float(by) for side, by in re.findall(r"deepest (cut|fill) by ([\d.]+) mm", str(error.value))}
    for part, enough in ((0, False), (0.99, False), (1, True)):
        depths = (cut + part * wider.get("cut", 0.0), fill + part * wider.get("fill", 0.0))
        assert math.isfinite(full_program(z, bars, 4, depths=depths)) == enough


def test_clashing_band_is_named():
    surface = make_surface(np.zeros((4, 4)), 100.0)
    spots = [FixedSpot(0, 0, 0, 0, "sill"), FixedSpot(300, 300, 6, 0, "hearth")]
    with pytest.raises(PlanError, match=r"sill.*hearth.*band"):
        least_work(surface, [], level_within=4.0, fixed=spots)


def test_progress_and_stop():
    surface = make_surface(room(3, (14, 16)), 100.0)
    seen = []
    whole = least_work(surface, [(500, 1.0)], headings=4, progress=lambda *a: bool(seen.append(a)))
    assert [n for n, _, _ in seen] == list(range(1, whole.rounds + 1))
    assert whole.finished
    stopped = least_work(surface, [(500, 1.0)], headings=4, progress=lambda *a: True)
    assert not stopped.finished
    assert stopped.rounds == 1
    assert stopped.bound <= whole.cost <= stopped.cost
    assert settle(straightedge(make_surface(surface.height + stopped.change, 100.0), 500, 4).worst.gap) <= 1.0


def test_what_is_told_of_a_search():
    surface = make_surface(room(3, (9, 10)), 1.0)
    began = time.perf_counter()
    loose = least_work(surface, [(5, 1.0)], headings=4, tolerance=0.3)
    assert 0 < loose.seconds <= time.perf_counter() - began
    # by their definitions
    assert loose.gap == pytest.approx((loose.cost - loose.bound) / loose.cost)
    assert 1e-6 < loose.gap <= 0.3
    assert loose.placements > 0
    # headings are twelve where none are asked for
    assert least_work(surface, [(5, 1.0)]).cost == least_work(surface, [(5, 1.0)], headings=12).cost
    assert least_work(surface, [(5, 1.0)]).cost != least_work(surface, [(5, 1.0)], headings=13).cost
    # stopped where nothing was broken any more, within the tolerance: as good as finished
    done = least_work(surface, [(5, 1.0)], headings=4, tolerance=1e-3, progress=lambda _, left, cost: left == 0)
    assert done.finished
    assert done.gap <= 1e-3
    # the costs told on the way never go under the bound, and end at the cost
    costs = []
    least_work(surface, [(5, 1.0)], headings=4, progress=lambda *told: bool(costs.append(told[2])))
    assert min(costs) <= costs[0]
    assert done.bound <= costs[-1] * (1 + 1e-3)


@pytest.mark.parametrize("rates", [(1, 1), (3, 1), (1, 2)])
def test_what_a_dead_flat_plane_would_cost(rates):
    # independent: the cheapest plane, and the cheapest level one, by a linear program of its three numbers
    z = room(13)
    i, j = np.mgrid[: z.shape[0], : z.shape[1]]
    n, area = z.size, areas(z).ravel()
    for level, terms in ((False, {}), (True, {"level_within": 50.0})):
        columns = np.column_stack([np.ones(n), j.ravel(), i.ravel()])[:, : 1 if level else 3]
        plane = np.hstack([np.eye(n), -np.eye(n), columns])
        cost = np.concatenate([rates[0] * area, rates[1] * area, np.zeros(columns.shape[1])])
        # height less what is cut and plus what is filled is the plane: z = plane + cut - fill
        limits = [(0, None)] * (2 * n) + [(None, None)] * columns.shape[1]
        least = linprog(cost, A_eq=plane, b_eq=z.ravel(), bounds=limits, method="highs").fun
        found = least_work(make_surface(z, 1.0), [(4, 2.0)], headings=4, rates=Rates(*rates), **terms)
        assert found.flat_cost == pytest.approx(least, rel=1e-5)
        assert found.ratio == pytest.approx(found.cost / least, rel=1e-5)


@pytest.mark.parametrize("next_allowed", [1.0, 2.5])
def test_what_an_earlier_search_found_changes_neither_cost_nor_proof(next_allowed):
    """Begun with the placements of a search to 1.7 mm: the same least as from nothing, by the full program too."""
    z, bars = room(3, (9, 10)), (3, 5)
    surface, pool = make_surface(z, 1.0), Pool()
    least_work(surface, [(3, 1.7), (5, 1.7)], headings=4, pool=pool)
    assert len(pool.key) == len(pool.requirement) == pool.weights.shape[0] > 0
    wanted = [(bar, next_allowed) for bar in bars]
    found = least_work(surface, wanted, headings=4, tolerance=1e-6, pool=pool)
    fresh = least_work(surface, wanted, headings=4, tolerance=1e-6)
    assert found.cost == pytest.approx(fresh.cost, rel=1e-5)
    assert found.cost == pytest.approx(full_program(z, wanted, 4), rel=1e-5)
    assert found.bound <= found.cost * (1 + 1e-9)
    assert found.gap <= 1e-6
    for bar, allowed in wanted:
        assert np.nanmax(gap_map(z + found.change, 1.0, bar, 4)) <= allowed


def test_spots_off_the_nodes_and_off_the_surface():
    surface = make_surface(room(2), 100.0)
    between = FixedSpot(150, 250, 1.0, 0.0)
    found = least_work(surface, [(400, 2.0)], headings=4, fixed=[between])
    after = surface.height + found.change
    # bilinear in the middle of a cell is the mean of its corners
    assert after[2:4, 1:3].mean() == pytest.approx(1.0, abs=1e-5)
    # a sill up to two steps outside takes the nearest node
    for x in (-80, -180):
        found = least_work(surface, [(400, 2.0)], headings=4, fixed=[FixedSpot(x, 100, None)])
        assert found.change[1, 0] == pytest.approx(0, abs=1e-5)
    with pytest.raises(PlanError, match="sill is not on the surface"):
        least_work(surface, [(400, 2.0)], fixed=[FixedSpot(-280, 100, name="sill")])


def test_refusals():
    surface = make_surface(np.zeros((3, 3)), 100.0)
    string = make_surface(np.zeros((3, 3)), 100.0, reference="string")
    with pytest.raises(ArgumentError, match="nothing is required"):
        least_work(surface, [])
    with pytest.raises(MeasureError, match="string"):
        least_work(string, [(200, 1.0)], level_within=3.0)
    with pytest.raises(ArgumentError, match="allowed out of range"):
        least_work(surface, [(200, 0.0)])
    with pytest.raises(ArgumentError, match="tolerance"):
        least_work(surface, [(200, 1.0)], tolerance=-1.0)
    with pytest.raises(ArgumentError, match="shape"):
        least_work(surface, [(200, 1.0)], depths=Depths(cut=np.zeros((2, 2))))
    with pytest.raises(ArgumentError, match="rate"):
        Rates(0, 1)
    with pytest.raises(ArgumentError, match="allowance"):
        FixedSpot(0, 0, 1.0, -1.0)
