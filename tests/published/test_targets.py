"""Target planes against published fits and theorems; cut and fill against a published integral."""

import math

import numpy as np
import pytest

from flatness.planning.constraints import Rates
from flatness.planning.target import best_plane_target, level_target
from flatness.planning.volumes import cut_and_fill
from flatness.surface.lattice import make_surface

# H. P. Williams, Model Building in Mathematical Programming, problem 12.11 (curve fitting)
WX = [0.0, 0.5, 1.0, 1.5, 1.9, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 6.6, 7.0, 7.6, 8.5, 9.0, 10.0]
WY = [1.0, 0.9, 0.7, 1.5, 2.0, 2.4, 3.2, 2.0, 2.7, 3.5, 1.0, 4.0, 3.6, 2.7, 5.7, 4.6, 6.0, 6.8, 7.3]


def williams(rows=1):
    """The points on a lattice of a tenth: nodes apart from one another, so that all weigh the same."""
    line = np.full(101, np.nan)
    line[np.round(np.array(WX) * 10).astype(int)] = WY
    return make_surface(np.tile(line, (rows, 1)), 0.1)


def test_williams_least_absolute_line():
    # published: least sum of absolute departures 11.46625, y = 0.6375 x + 0.58125 (both from memory; that they
    # agree with the data, which are not, is the check)
    target = best_plane_target(williams(), tilt="least-work")
    assert np.nansum(np.abs(target.change)) == pytest.approx(11.46625, rel=1e-6)
    assert (target.plane.a, target.plane.c) == pytest.approx((0.6375, 0.58125), abs=1e-6)


def test_williams_minimum_zone():
    # published: slope 0.625, zone 3.45; lifted until nothing comes off, the deepest fill is the whole zone.
    # Two rows, for a plane fitted to one line has no tilt across it
    target = best_plane_target(williams(rows=2), tilt="minimum-zone", shift="nothing-comes-off")
    assert target.plane.a == pytest.approx(0.625, abs=1e-6)
    assert np.nanmin(target.change) == pytest.approx(0, abs=1e-9)
    assert np.nanmax(target.change) == pytest.approx(3.45, abs=1e-6)


@pytest.mark.parametrize(("off", "add"), [(1.0, 1.0), (3.0, 1.0), (1.0, 4.0)])
@pytest.mark.parametrize("tilted", [False, True])
def test_quantile_regression(off, add, tilted):
    # Koenker and Bassett, "Regression Quantiles", Econometrica 46 (1978), theorem 3.4: of n points a share of at
    # most theta lies under the plane of least cost and at most 1 - theta above it; theta is off / (off + add). With
    # equal rates, half of the area is above and half below. Area here stands for count.
    theta = off / (off + add)
    z = np.random.default_rng(7).normal(size=(14, 17)) + np.linspace(0, 3, 17)
    surface, rates = make_surface(z, 100.0), Rates(off, add)
    if tilted:
        target = best_plane_target(surface, tilt="least-work", rates=rates)
    else:
        target = level_target(surface, rates=rates)
    weight = np.outer([0.5, *[1] * 12, 0.5], [0.5, *[1] * 15, 0.5])
    proud, shy = target.change < -1e-9, target.change > 1e-9
    assert weight[proud].sum() <= (1 - theta) * weight.sum() + 1e-9
    assert weight[shy].sum() <= theta * weight.sum() + 1e-9
    on = ~(proud | shy)
    # a plane touches as many points as it has parameters, in general position
    assert on.sum() == (3 if tilted else 1)


def franke(x, y):
    return (
        0.75 * np.exp(-((9 * x - 2) ** 2 + (9 * y - 2) ** 2) / 4)
        + 0.75 * np.exp(-((9 * x + 1) ** 2) / 49 - (9 * y + 1) / 10)
        + 0.5 * np.exp(-((9 * x - 7) ** 2 + (9 * y - 3) ** 2) / 4)
        - 0.2 * np.exp(-((9 * x - 4) ** 2) - (9 * y - 7) ** 2)
    )


@pytest.mark.parametrize(("n", "corner_averages"), [(10, 0.4048552160), (20, 0.4064421444), (40, 0.4068378066)])
def test_franke_volume(n, corner_averages):
    # Franke's test function on the unit square: integral 0.406969589492, corner averages on n x n cells as given
    x, y = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, n + 1))
    found = cut_and_fill(franke(x, y), 1 / n)
    assert found.fill_volume - found.cut_volume == pytest.approx(corner_averages, abs=1e-10)
    assert found.fill_volume == pytest.approx(0.406969589492, abs=0.25 / n**2)


def test_prismoid():
    # published pair: end areas and middle give 3250 by the prismoidal rule where average end areas give 3450.
    # Both rules come from one prismoid: 4 (middle) + ends = 6 x 3250 / L and ends = 2 x 3450 / L. Its section is
    # quadratic along its length, A(s) = end + ..., and the prismoidal rule is exact for that. Laid as heights of
    # a strip one wide, corner averages approach the 3250 from the coarse 3450 as 1 / n^2.
    mean_end, middle = 3450.0, (6 * 3250.0 - 2 * 3450.0) / 4
    for n in (1, 2, 10, 100):
        s = np.linspace(0, 1, n + 1)
        section = mean_end + (middle - mean_end) * 4 * s * (1 - s)
        found = cut_and_fill(np.tile(section * n, (2, 1)), 1 / n)
        # trapezoidal error of a quadratic, closed form: (3450 - 3250) / n^2
        assert found.fill_volume == pytest.approx(3250 + 200 / n**2, rel=1e-9)


def test_borrow_pit():
    # borrow-pit method of the surveying textbooks (formula from memory; depths made up, for no printed example was
    # at hand): V = A / 4 (h1 + 2 h2 + 3 h3 + 4 h4), h1 the sum of the depths common to one square, h2 to two, ...
    depth = np.array([[1.2, 2.0, 1.6, np.nan], [2.4, 3.1, 2.7, 0.9], [1.1, 1.8, 2.2, 0.7]])
    h1, h2 = 1.2 + 1.6 + 0.9 + 1.1 + 0.7, 2.0 + 2.4 + 1.8 + 2.2
    squares = 20.0**2 / 4 * (h1 + 2 * h2 + 3 * 2.7 + 4 * 3.1)
    # beside the five squares the kit counts the triangle across the missing corner of the sixth
    triangle = 20.0**2 / 2 * (1.6 + 2.7 + 0.9) / 3
    found = cut_and_fill(-depth, 20.0)
    assert found.cut_volume == pytest.approx(squares + triangle)
    assert found.fill_volume == 0


def test_level_height_is_a_quantile():
    # closed form: of 1, 2, 4, 8 at equal areas, taking off three times as dear as adding: any height from 4 to 8
    # splits off theta = 3/4 below; equal rates: 2 to 4
    surface = make_surface([[1.0, 2.0], [4.0, 8.0]], 100.0)
    assert 4 - 1e-9 <= level_target(surface, rates=Rates(3, 1)).plane.c <= 8 + 1e-9
    assert 2 - 1e-9 <= level_target(surface).plane.c <= 4 + 1e-9
    assert math.isclose(level_target(surface, rates=Rates(1, 9)).plane.c, 1.0, abs_tol=1e-9)
