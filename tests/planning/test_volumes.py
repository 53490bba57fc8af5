"""Cut and fill against polygons cut at the zero line, and the properties that a volume must have."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from flatness.errors import ArgumentError
from flatness.planning.volumes import cut_and_fill, node_areas

grids = hnp.arrays(np.float64, st.tuples(st.integers(2, 5), st.integers(2, 5)), elements=st.integers(-6, 6).map(float))


def above_zero(corners, heights):
    """Volume and area of the part of one triangle above zero: its plane, clipped by the half-plane, with shapely."""
    a, b, c = np.linalg.solve(np.column_stack([corners, np.ones(3)]), heights)
    if np.hypot(a, b) < 1e-12:
        area = shapely.Polygon(corners).area
        return (c * area, area) if c > 0 else (0.0, 0.0)
    # the half-plane a x + b y + c > 0 as a large square on one side of the zero line
    foot, out = -c * np.array([a, b]) / (a * a + b * b), np.array([a, b]) / np.hypot(a, b)
    along = np.array([-out[1], out[0]])
    side = shapely.Polygon(
        [foot + 1e3 * along, foot - 1e3 * along, foot + 1e3 * (out - along), foot + 1e3 * (out + along)]
    )
    part = shapely.Polygon(corners).intersection(side)
    if part.area == 0:
        return 0.0, 0.0
    # a plane over a polygon: area times its height at the centroid
    return part.area * (a * part.centroid.x + b * part.centroid.y + c), part.area


def by_polygons(z):
    fill = area = 0.0
    for i in range(z.shape[0] - 1):
        for j in range(z.shape[1] - 1):
            ring = [(j, i), (j + 1, i), (j + 1, i + 1), (j, i + 1)]
            height = [z[y, x] for x, y in ring]
            for k in range(4):
                corners = np.array([ring[k], ring[(k + 1) % 4], (j + 0.5, i + 0.5)], dtype=float)
                volume, part = above_zero(corners, [height[k], height[(k + 1) % 4], sum(height) / 4])
                fill, area = fill + volume, area + part
    return fill, area


@pytest.mark.parametrize("seed", range(6))
def test_equals_polygons_cut_at_the_zero_line(seed):
    z = np.random.default_rng(seed).normal(size=(4, 5))
    found = cut_and_fill(z, 1.0)
    assert (found.fill_volume, found.fill_area) == pytest.approx(by_polygons(z), rel=1e-9)
    assert (found.cut_volume, found.cut_area) == pytest.approx(by_polygons(-z), rel=1e-9)


def test_wedge():
    # closed form: a plane 1 in 1 across a 4 x 2 rectangle, zero a quarter of the way: wedges of 1 x 1 and 3 x 3
    found = cut_and_fill(np.tile(np.arange(5.0) - 1, (3, 1)), 1.0)
    assert (found.cut_volume, found.fill_volume) == pytest.approx((2 * 1 / 2, 2 * 9 / 2))
    assert (found.cut_area, found.fill_area) == pytest.approx((2, 6))


def test_zero_line_through_the_cells():
    # closed form: corners +1 along one side and -3 along the other: zero at a quarter, wedges 1/4 and 3/4 wide
    found = cut_and_fill([[1.0, 1.0], [-3.0, -3.0]], 2.0)
    assert found.fill_volume == pytest.approx(0.5 * (2 * 0.25) * 1 * 2)
    assert found.cut_volume == pytest.approx(0.5 * (2 * 0.75) * 3 * 2)
    # summing proud and shy corners apart, each a quarter cell, would make 2 of the 0.5
    assert found.fill_volume < sum(max(z, 0) for z in (1, 1, -3, -3)) * 4 / 4


@given(grids)
def test_net_volume_is_the_mean_of_the_corners(z):
    # the bilinear cell's own volume (closed form), and both diagonals alike: mirrored, the same
    found = cut_and_fill(z, 3.0)
    cells = (z[:-1, :-1] + z[:-1, 1:] + z[1:, :-1] + z[1:, 1:]) / 4
    assert found.fill_volume - found.cut_volume == pytest.approx(9 * cells.sum(), abs=1e-9)
    assert found.fill_volume - found.cut_volume == pytest.approx(
        float((node_areas(np.ones(z.shape, bool), 3.0) * z).sum()), abs=1e-9
    )
    mirrored, turned, negative = cut_and_fill(z[:, ::-1], 3.0), cut_and_fill(z.T, 3.0), cut_and_fill(-z, 3.0)
    for other in (mirrored, turned):
        assert (other.fill_volume, other.cut_area) == pytest.approx((found.fill_volume, found.cut_area), abs=1e-9)
    assert (negative.cut_volume, negative.fill_area) == pytest.approx((found.fill_volume, found.cut_area), abs=1e-9)
    assert found.cut_area + found.fill_area <= 9 * cells.size * (1 + 1e-12)


def test_missing_corners():
    z = np.ones((3, 3))
    z[0, 0] = np.nan
    found = cut_and_fill(z, 2.0)
    # three whole cells and the triangle of the fourth
    assert (found.fill_volume, found.fill_area) == pytest.approx((14.0, 14.0))
    area = node_areas(np.isfinite(z), 2.0)
    assert area.sum() == pytest.approx(14.0)
    assert area[0, 0] == 0
    assert node_areas(np.array([[True, False, True]]), 2.0).tolist() == [[1.0, 0.0, 1.0]]


def test_refusals():
    with pytest.raises(ArgumentError, match="two-dimensional"):
        cut_and_fill([1.0, 2.0], 1.0)
    with pytest.raises(ArgumentError, match="spacing"):
        cut_and_fill([[1.0, 2.0], [1.0, 2.0]], 0.0)
