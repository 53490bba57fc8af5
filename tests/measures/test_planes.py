"""Reference planes against brute force, and how they behave under shift, tilt, turn, mirror and unit."""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatness.errors import ArgumentError, MeasureError
from flatness.measures.planes import METHODS, Plane, fit_plane, fit_surface_plane
from flatness.surface.lattice import make_surface

FITTED = [method for method in METHODS if method != "level"]


def least_zone(points):
    """Zone in height: the largest over all fours of points of the least that any plane can leave those four.

    A plane has three parameters, so four points settle it (Chebyshev alternation): with weights w that sum
    to 0 and have no moment about x or y, the least zone of the four is 2 |sum w z| / sum |w|.
    """
    zone = 0.0
    for four in combinations(range(len(points)), 4):
        x, y, z = points[list(four)].T
        w = np.linalg.svd(np.array([np.ones(4), x, y]))[2][-1]
        zone = max(zone, 2 * abs(w @ z) / np.abs(w).sum())
    return zone


def normal_width(points):
    """Least extent along the normals of all triples of points and of all pairs of segments between points."""
    segments = [points[j] - points[i] for i, j in combinations(range(len(points)), 2)]
    width = np.inf
    for one, other in combinations(segments, 2):
        normal = np.cross(one, other)
        length = np.linalg.norm(normal)
        if length > 1e-9:
            width = min(width, np.ptp(points @ (normal / length)))
    return width


@pytest.mark.parametrize("seed", range(12))
def test_minimum_zone_against_all_fours(seed):
    generator = np.random.default_rng(seed)
    points = generator.uniform(0, 1, (12, 3)) * [5000, 3000, 10]
    assert fit_plane(*points.T, "minimum-zone").zone == pytest.approx(least_zone(points), abs=1e-8)


@pytest.mark.parametrize("seed", range(12))
def test_normal_zone_against_all_pairs_of_segments(seed):
    generator = np.random.default_rng(seed)
    points = generator.normal(size=(9, 3)) * [2, 2, 1.5 if seed % 2 else 0.01]
    plane = fit_plane(*points.T, "minimum-zone-normal")
    assert plane.zone == pytest.approx(normal_width(points), abs=1e-12)


def test_hull_keeps_the_zone():
    # a grid large enough to be reduced to its hull, against its own fours among the points that matter
    generator = np.random.default_rng(5)
    gx, gy = np.meshgrid(np.arange(20) * 300.0, np.arange(15) * 300.0)
    height = generator.normal(size=gx.shape)
    plane = fit_plane(gx, gy, height, "minimum-zone")
    touching = np.abs(np.abs(plane.deviations) - plane.zone / 2) < 1e-7
    assert touching.sum() >= 4
    points = np.column_stack([gx[touching], gy[touching], height[touching]])
    # any four are a lower bound and the plane an upper one: where they meet, both are exact
    assert least_zone(points) == pytest.approx(plane.zone, abs=1e-7)


@pytest.mark.parametrize("height", [5.0, 1e5])
def test_flat_points_have_no_zone(height):
    gx, gy = np.meshgrid(np.arange(9) * 600.0, np.arange(7) * 600.0)
    for method in FITTED:
        plane = fit_plane(gx, gy, height + 0.003 * gx - 0.001 * gy, method)
        assert plane.zone < 1e-9
        assert [plane.a, plane.b, plane.c] == pytest.approx([0.003, -0.001, height])


def test_two_thousand_points_of_a_ball():
    # all on the hull: the worst case; a ball of diameter 2 can be no wider than 2, and hardly narrower here
    generator = np.random.default_rng(2)
    points = generator.normal(size=(2000, 3))
    points /= np.linalg.norm(points, axis=1)[:, None]
    zone = fit_plane(*points.T, "minimum-zone-normal").zone
    assert 1.95 < zone <= min(np.ptp(points, axis=0))


def test_level_and_names():
    plane = fit_plane([0, 1, 2], [0, 1, 0], [1, 2, 6], "level")
    assert (plane.a, plane.b, plane.c, plane.zone) == (0, 0, 3, 5)
    assert (plane.peak, plane.valley, plane.peak_to_valley) == (3, 2, 5)
    assert plane.rms == pytest.approx(np.sqrt((4 + 1 + 9) / 3))
    assert plane.tilt_mm_per_m == 0
    assert np.isnan(plane.downhill)


@pytest.mark.parametrize(("a", "b", "downhill"), [(1, 0, 180), (-1, 0, 0), (0, 1, 270), (0, -1, 90), (1, 1, 225)])
def test_downhill_and_tilt(a, b, downhill):
    x, y = np.array([0.0, 1000, 0, 1000]), np.array([0.0, 0, 1000, 1000])
    plane = fit_plane(x, y, 0.006 * (a * x + b * y))
    assert 0 <= plane.downhill < 360
    assert (plane.downhill - downhill + 180) % 360 == pytest.approx(180)
    assert plane.tilt_mm_per_m == pytest.approx(6 * np.hypot(a, b))
    assert plane.tilt_in_per_ft == pytest.approx(0.072 * np.hypot(a, b))
    assert plane.at([0, 1000], [0, 0]) == pytest.approx([0, 6 * a], abs=1e-12)


def test_blanks_are_left_out():
    surface = make_surface([[0, 1, np.nan], [0, 1, 2], [np.nan, 1, 2]], 500, x0=2000, y0=-700)
    for method in FITTED:
        plane = fit_surface_plane(surface, method)
        assert plane.deviations.shape == (3, 3)
        assert (np.isnan(plane.deviations) == np.isnan(surface.height)).all()
        assert plane.at(2000, 0) == pytest.approx(0, abs=1e-12)
        assert plane.a == pytest.approx(1 / 500)


@pytest.mark.parametrize(
    ("points", "error", "words"),
    [
        ([[0, 0, 1], [1, 1, 2]], MeasureError, "too few points for a plane"),
        ([[0, 0, 1], [1, 2, 2], [2, 4, 7], [3, 6, 1]], MeasureError, "one line"),
        ([[5, 0, 1], [5, 2, 2], [5, 4, 7]], MeasureError, "one line"),
        ([[0, 0, 1], [1, 0, 2], [np.nan, 4, 7]], ArgumentError, "finite"),
    ],
)
@pytest.mark.parametrize("method", FITTED)
def test_refusals(points, error, words, method):
    with pytest.raises(error, match=words):
        fit_plane(*np.array(points, float).T, method)


def test_other_refusals():
    with pytest.raises(ArgumentError, match="least-squares"):
        fit_plane([0, 1, 0], [0, 0, 1], [0, 0, 0], "best")
    with pytest.raises(ArgumentError, match="differ in shape"):
        fit_plane([0, 1, 0], [0, 0, 1], [0, 0])
    with pytest.raises(MeasureError, match="no heights"):
        fit_plane([0, 1, 0], [0, 0, 1], [np.nan] * 3, "level")
    post = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 90], [1, 0, 90], [0, 1, 90.0]])
    with pytest.raises(MeasureError, match="upright"):
        fit_plane(*post.T, "minimum-zone-normal")


@settings(max_examples=40, deadline=None)
@given(
    heights=st.lists(st.floats(-8, 8, allow_subnormal=False), min_size=20, max_size=20),
    shift=st.floats(-500, 500),
    tilt=st.tuples(st.floats(-0.01, 0.01), st.floats(-0.01, 0.01)),
)
@pytest.mark.parametrize("method", ["least-squares", "minimum-zone"])
def test_what_must_not_matter(method, heights, shift, tilt):
    z = np.reshape(heights, (4, 5))
    gx, gy = np.meshgrid(np.arange(5) * 700.0, np.arange(4) * 700.0)
    plane = fit_plane(gx, gy, z, method)
    tilted = fit_plane(gx, gy, z + shift + tilt[0] * gx + tilt[1] * gy, method)
    assert tilted.zone == pytest.approx(plane.zone, abs=1e-6)
    for same in (
        fit_plane(gx + 9e4, gy - 4e4, z, method),  # moved
        fit_plane(-gx, gy, z, method),  # mirrored
        fit_plane(-gy, gx, z, method),  # a quarter turn
        fit_plane(gx.T, gy.T, z.T, method),  # in another order
        fit_plane(gx, gy, -z, method),  # seen from the other side
    ):
        assert same.zone == pytest.approx(plane.zone, abs=1e-6)
    inches = fit_plane(gx / 25.4, gy / 25.4, z / 25.4, method)
    assert inches.zone * 25.4 == pytest.approx(plane.zone, abs=1e-6)


@settings(max_examples=25, deadline=None)
@given(
    heights=st.lists(st.floats(-8, 8, allow_subnormal=False), min_size=12, max_size=12),
    turn=st.floats(0, 360),
    lean=st.floats(-0.2, 0.2),
)
def test_normal_zone_of_a_rigid_body(heights, turn, lean):
    gx, gy = np.meshgrid(np.arange(4) * 700.0, np.arange(3) * 700.0)
    points = np.column_stack([gx.ravel(), gy.ravel(), heights])
    c, s, cl, sl = np.cos(np.radians(turn)), np.sin(np.radians(turn)), np.cos(lean), np.sin(lean)
    moved = points @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]) @ np.array([[cl, 0, -sl], [0, 1, 0], [sl, 0, cl]])
    plane = fit_plane(*points.T, "minimum-zone-normal")
    again = fit_plane(*(moved + np.array([400, -60, 25])).T, "minimum-zone-normal")
    assert again.zone == pytest.approx(plane.zone, abs=1e-6)
    # measured square to the plane it is never more than measured along the height
    assert plane.zone <= fit_plane(*points.T, "minimum-zone").zone + 1e-9


def test_a_fall_along_x_goes_to_0_degrees_not_360():
    # the smallest angle below 0, of which the remainder by 360 is 360
    assert Plane(a=-0.006, b=1e-300, c=0.0, zone=0.0, deviations=np.zeros(4), method="least-squares").downhill == 0.0
