"""The lattice: bilinear on grids, linear on triangles, nothing extrapolated."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.interpolate import RegularGridInterpolator
from shapely import Polygon

from flatness.errors import ArgumentError, MeasureError
from flatness.surface.lattice import (
    MOST_DRAWN,
    default_spacing,
    grid_axes,
    lattice_axes,
    make_surface,
    station_step,
    widest_step,
)
from flatness.survey.readings import make_survey

FT = 304.8


def grid_survey(nx=5, ny=4, step=600.0, seed=0, **attributes):
    gx, gy = np.meshgrid(np.arange(nx) * step, np.arange(ny) * step)
    z = np.random.default_rng(seed).normal(size=gx.shape)
    return make_survey(gx.ravel(), gy.ravel(), z.ravel(), **attributes), gx[0], gy[:, 0], z


def test_full_grid_equals_scipys_bilinear():
    survey, gx, gy, z = grid_survey()
    surface = survey.surface_at(130.0)
    reference = RegularGridInterpolator((gy, gx), z)
    ys, xs = np.meshgrid(surface.y, surface.x, indexing="ij")
    np.testing.assert_allclose(surface.height, reference((ys, xs)), atol=1e-12)


def test_nodes_on_stations_carry_the_readings():
    survey, _, _, z = grid_survey()
    np.testing.assert_allclose(survey.surface_at(200.0).height[::3, ::3], z, atol=1e-12)


@given(st.integers(0, 10_000), st.floats(-0.01, 0.01), st.floats(-0.01, 0.01))
@settings(max_examples=30, deadline=None)
def test_a_plane_comes_back_exactly_from_scattered_stations(seed, a, b):
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(0, 4000, (2, 30))
    surface = make_survey(x, y, a * x + b * y + 7).surface_at(200.0)
    gx, gy = np.meshgrid(surface.x, surface.y)
    keep = surface.inside
    assert keep.any()
    np.testing.assert_allclose(surface.height[keep], (a * gx + b * gy + 7)[keep], atol=1e-9)


def test_nothing_is_extrapolated_past_scattered_stations():
    surface = make_survey([0, 1000, 500], [0, 0, 1000], [0, 0, 0]).surface_at(100.0)
    gx, gy = np.meshgrid(surface.x, surface.y)
    inside = (gy <= 2 * gx + 1e-6) & (gy <= 2 * (1000 - gx) + 1e-6)
    np.testing.assert_array_equal(surface.inside, inside)


def test_nothing_reaches_past_the_readings_when_the_outline_does():
    survey, *_ = grid_survey(outline=Polygon([(-900, -900), (3300, -900), (3300, 2700), (-900, 2700)]))
    surface = survey.surface_at(300.0)
    assert surface.x[0] == 0
    assert surface.x[-1] == 2400
    assert surface.inside.all()


def test_outline_and_opening_are_honoured():
    outline = Polygon([(0, 0), (2400, 0), (2400, 900), (1200, 900), (1200, 1800), (0, 1800)])
    opening = Polygon([(300, 300), (900, 300), (900, 900), (300, 900)])
    survey, *_ = grid_survey(outline=outline, openings=(opening,))
    inside = survey.surface_at(300.0).inside
    assert not inside[5, 7]  # beyond the corner
    assert inside[3, 8]  # on the outline
    assert not inside[2, 2]  # in the opening
    assert inside[1, 1]  # on the opening's edge


def test_blank_stations_without_an_outline_leave_the_surface_blank_around_them():
    gx, gy = np.meshgrid(np.arange(5) * 600.0, np.arange(4) * 600.0)
    keep = np.ones(gx.shape, dtype=bool)
    keep[3, 4] = False
    survey = make_survey(gx[keep], gy[keep], np.zeros(keep.sum()))
    inside = survey.surface_at(300.0).inside
    assert inside[4, 8]  # the edge of the blank cell is between two stations that were read
    assert inside[6, 6]
    assert not inside[5, 7]
    assert not inside[6, 8]
    assert inside.sum() == inside.size - 4
    stated = make_survey(
        gx[keep], gy[keep], np.zeros(keep.sum()), outline=Polygon([(0, 0), (2400, 0), (2400, 1800), (0, 1800)])
    )
    assert stated.surface_at(300.0).inside.sum() > inside.sum()


def test_repeated_stations_take_their_mean():
    survey = make_survey([0, 600, 0, 600, 600.2], [0, 0, 600, 600, 600], [0, 0, 0, 1, 3])
    assert survey.surface_at(600.0).height[1, 1] == pytest.approx(2)
    assert survey.stations()[3].tolist() == [1, 1, 1, 2]


def test_what_the_lattice_leaves_out_is_said():
    survey, *_ = grid_survey()
    assert survey.surface_at(200.0).note == ""
    assert "along x" in survey.surface_at(700.0).note


def test_default_spacing_divides_the_stations_step_and_the_bars():
    feet, *_ = grid_survey(step=2 * FT)
    assert default_spacing(feet) == pytest.approx(152.4)
    assert default_spacing(feet, (3048.0, 1828.8)) == pytest.approx(152.4)
    metric, *_ = grid_survey(step=500.0)
    spacing = default_spacing(metric, (2000.0,))
    assert 500 / spacing == pytest.approx(round(500 / spacing))
    assert 2000 / spacing == pytest.approx(round(2000 / spacing))
    assert station_step(metric) == pytest.approx(500)


def test_stations_on_one_line_are_an_error():
    with pytest.raises(MeasureError, match="one line"):
        make_survey([0, 1, 2, 3], [0, 1, 2, 3], [0, 0, 0, 0]).surface_at(1.0)


@pytest.mark.parametrize("spacing", [0, -1, float("nan"), float("inf")])
def test_spacing_out_of_range(spacing):
    survey, *_ = grid_survey()
    with pytest.raises(ArgumentError, match="spacing"):
        survey.surface_at(spacing)


def test_a_lattice_too_fine_is_refused():
    survey, *_ = grid_survey()
    with pytest.raises(ArgumentError, match="too fine"):
        survey.surface_at(0.5)


def test_make_surface_wants_two_dimensions():
    with pytest.raises(ArgumentError, match="two-dimensional"):
        make_surface(np.zeros(4), 1.0)


def test_a_few_readings_between_the_stations_do_not_make_the_grid_finer():
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(6) * 1200.0, np.arange(5) * 900.0))
    alone = make_survey(x, y, np.zeros(30))
    more_x, more_y = np.array([150.0, 1050, 1350, 2550, 3150, 4650]), np.array([300.0, 450, 1350, 1500, 2100, 3300])
    more = make_survey(np.append(x, more_x), np.append(y, more_y), np.zeros(36))
    assert widest_step(alone) == widest_step(more) == 1200


def test_no_node_stands_on_the_edge_that_an_opening_shares_with_the_outline():
    x, y = np.meshgrid(np.arange(5) * 500.0, np.arange(5) * 500.0)
    room, stair = shapely.box(0, 0, 2000, 2000), shapely.box(0, 500, 500, 1500)
    survey = make_survey(x.ravel(), y.ravel(), np.zeros(25), outline=room, openings=(stair,))
    blank = ~np.isfinite(survey.surface_at(500).height)
    # of the stair's edges the one on the wall is no floor; the other three are
    assert np.argwhere(blank).tolist() == [[2, 0]]


def test_a_few_readings_between_the_stations_leave_no_holes_and_are_met():
    """A plane off the grid's stations, and bumps at six places between them: nothing of the room is lost."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(9) * 600.0, np.arange(11) * 600.0))
    more_x, more_y = np.array([150.0, 1050, 1350, 1050, 1950, 4650]), np.array([300.0, 450, 1350, 1500, 1350, 5700])
    both_x, both_y = np.append(x, more_x), np.append(y, more_y)
    bump = np.append(np.zeros(99), np.full(6, 4.0))
    found = make_survey(both_x, both_y, 0.01 * both_x + bump).surface_at(150)
    assert np.isfinite(found.height).all()
    for px, py in zip(more_x, more_y, strict=True):
        at = found.height[round(py / 150), round(px / 150)]
        assert at == pytest.approx(0.01 * px + 4)
    alone = make_survey(x, y, 0.01 * x).surface_at(150)
    assert np.array_equal(alone.x, found.x)
    assert np.abs(found.height - alone.height).max() == pytest.approx(4)


def test_a_column_through_an_opening_and_a_short_leg_stay_in_the_grid():
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(9) * 600.0, np.arange(11) * 600.0))
    stair = (x == 2400) & (y > 900) & (y < 5100)
    leg = (x > 700) & (y > 4300)
    keep = ~(stair | leg)
    axes = grid_axes(x[keep], y[keep])
    assert axes is not None
    assert [len(axis) for axis in axes] == [9, 11]


@given(st.integers(3, 8), st.integers(3, 8), st.lists(st.tuples(st.floats(0.2, 0.8), st.floats(0.2, 0.8)), max_size=4))
@settings(max_examples=60, deadline=None)
def test_readings_within_cells_never_change_what_the_surface_reaches(nx, ny, within):
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(nx) * 600.0, np.arange(ny) * 600.0))
    more = [((i % (nx - 1) + a) * 600, (i * 7 % (ny - 1) + b) * 600) for i, (a, b) in enumerate(within)]
    sx, sy = np.append(x, [p[0] for p in more]), np.append(y, [p[1] for p in more])
    found = make_survey(sx, sy, 2.0 + 0.01 * sx - 0.02 * sy).surface_at(150)
    gx, gy = np.meshgrid(found.x, found.y)
    assert np.abs(found.height - (2.0 + 0.01 * gx - 0.02 * gy)).max() < 1e-6


@given(st.integers(3, 8), st.integers(3, 9), st.integers(0, 60), st.integers(0, 2**31))
@example(3, 3, 9, 3619)  # a few columns close together beside three far apart
@settings(max_examples=80, deadline=None)
def test_many_readings_close_together_never_take_away_from_the_surface(nx, ny, count, seed):
    """As when more readings are taken where they tell most: on the lattice, in clusters, up to the grid's number."""
    rng = np.random.default_rng(seed)
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(nx) * 1200.0, np.arange(ny) * 1200.0))
    centres = rng.uniform([0, 0], [x.max(), y.max()], size=(2, 2))
    places = centres[rng.integers(0, 2, min(count, nx * ny))] + rng.normal(0, 600, (min(count, nx * ny), 2))
    places = np.clip(np.round(places / 150) * 150, 0, [x.max(), y.max()])
    sx, sy = np.append(x, places[:, 0]), np.append(y, places[:, 1])
    found = make_survey(sx, sy, 2.0 + 0.01 * sx - 0.02 * sy).surface_at(150)
    gx, gy = np.meshgrid(found.x, found.y)
    assert np.abs(found.height - (2.0 + 0.01 * gx - 0.02 * gy)).max() < 1e-6
    if not count:
        assert found.inside.all()


@pytest.mark.parametrize("seed", range(5))
def test_many_readings_close_together_leave_a_stair_that_no_outline_states_open(seed):
    rng = np.random.default_rng(seed)
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(9) * 600.0, np.arange(11) * 600.0))
    keep = ~((x > 1700) & (x < 3700) & (y > 1700) & (y < 3100))
    places = np.round(rng.uniform([1200, 4200], [3600, 6000], size=(40, 2)) / 150) * 150
    sx, sy = np.append(x[keep], places[:, 0]), np.append(y[keep], places[:, 1])
    found = make_survey(sx, sy, np.zeros_like(sx)).surface_at(150)
    gx, gy = np.meshgrid(found.x, found.y)
    stair = (gx >= 1800) & (gx <= 3600) & (gy >= 1800) & (gy <= 3000)  # its corners are spanned by three stations each
    assert not found.inside[stair].any()
    away = (gx <= 1200) | (gx >= 4200) | (gy <= 1200) | (gy >= 3600)
    assert found.inside[away].all()


def test_stations_in_quincunx_reach_to_their_hull():
    column, row = np.meshgrid(np.arange(9), np.arange(8))
    keep = (column + row) % 2 == 0
    sx, sy = column[keep] * 500.0, row[keep] * 500.0
    found = make_survey(sx, sy, 0.01 * sx).surface_at(125)
    gx, gy = np.meshgrid(found.x, found.y)
    hull = shapely.MultiPoint(np.column_stack([sx, sy])).convex_hull
    np.testing.assert_array_equal(found.inside, shapely.contains_xy(hull.buffer(1e-6), gx, gy))


@pytest.mark.parametrize("step", [304.8, 609.6, 500.0, 1000.0])
@pytest.mark.parametrize(("nx", "ny"), [(61, 41), (46, 46), (100, 30), (12, 9), (61, 3)])
def test_a_surface_of_any_size_can_be_drawn_on_the_default_lattice(step, nx, ny):
    x, y = np.meshgrid(step * np.arange(nx), step * np.arange(ny))
    survey = make_survey(x, y, np.zeros_like(x))
    spacing = default_spacing(survey, (3048.0, 1828.8))
    assert len(lattice_axes(x[0], spacing)) * len(lattice_axes(y[:, 0], spacing)) <= MOST_DRAWN
    # no coarser than the readings, unless these are closer than so many nodes could follow
    assert spacing <= max(step, 1.6 * np.sqrt(np.ptp(x) * np.ptp(y) / 6000)) + 1e-6


# between the nodes, beside blank ones and off the lattice


def holed(seed=1):
    """A lattice 150 mm wide with an opening of 3 x 4 nodes and a blank corner."""
    height = np.random.default_rng(seed).normal(size=(12, 14))
    height[3:7, 4:7] = height[0, :2] = np.nan
    return make_surface(height, 150.0, x0=40.0, y0=-20.0)


def by_hand(surface, x, y):
    """The rule at one place: the mean of the known corners, at the lattice's edge beyond it; else the nearest."""
    step, ny, nx = surface.spacing, *surface.height.shape
    cx, cy = min(max(x, surface.x[0]), surface.x[-1]), min(max(y, surface.y[0]), surface.y[-1])
    total = weight = 0.0
    nodes = [(math.hypot(surface.x[i] - x, surface.y[j] - y), i, j) for j in range(ny) for i in range(nx)]
    nodes = [(away, i, j) for away, i, j in nodes if not math.isnan(surface.height[j, i])]
    if math.hypot(x - cx, y - cy) <= 2 * step:
        for _, i, j in nodes:
            w = max(0, 1 - abs(surface.x[i] - cx) / step) * max(0, 1 - abs(surface.y[j] - cy) / step)
            weight, total = weight + w, total + w * surface.height[j, i]
        if weight > 0:
            return total / weight
    away, i, j = min(nodes)
    return surface.height[j, i] if away <= 2 * step else math.nan


def test_places_between_nodes_are_bilinear():
    surface = holed()
    rng = np.random.default_rng(2)
    x, y = rng.uniform(-300, 2400, 400), rng.uniform(-300, 2000, 400)
    expected = RegularGridInterpolator((surface.y, surface.x), surface.height, bounds_error=False)
    np.testing.assert_allclose(surface.at(x, y), expected(np.column_stack([y, x])), atol=1e-12)
    # a blank node without weight blanks nothing: on the grid lines beside the opening, and on the nodes
    assert surface.at(surface.x[3], surface.y[3:7]) == pytest.approx(surface.height[3:7, 3])
    gx, gy = np.meshgrid(surface.x, surface.y)
    np.testing.assert_array_equal(surface.at(gx.ravel(), gy.ravel()).reshape(gx.shape), surface.height)
    # several fields at once, each blank where its own nodes are
    both = surface.at(x, y, np.stack([surface.height, np.ones_like(surface.height)]))
    np.testing.assert_array_equal(both[0], surface.at(x, y))
    on_it = (x >= surface.x[0]) & (x <= surface.x[-1]) & (y >= surface.y[0]) & (y <= surface.y[-1])
    np.testing.assert_allclose(both[1], np.where(on_it, 1.0, np.nan), atol=1e-12)


def test_beside_blank_nodes_and_off_the_lattice_the_nearest_known_nodes_stand_in():
    surface = holed()
    rng = np.random.default_rng(3)
    x, y = rng.uniform(-450, 2500, 1500), rng.uniform(-500, 2100, 1500)
    found = surface.at(x, y, beyond="nearest")
    np.testing.assert_allclose(found, [by_hand(surface, *place) for place in zip(x, y, strict=True)], atol=1e-9)
    assert np.isnan(found).any()
    # what is even on the nodes is even beside them
    even = np.where(surface.inside, -10.0, np.nan)
    found = surface.at(x, y, even, beyond="nearest")
    np.testing.assert_allclose(found[np.isfinite(found)], -10.0, atol=1e-12)
    # and where all four nodes are known, both rules agree
    plain = surface.at(x, y)
    known = np.isfinite(plain)
    np.testing.assert_allclose(surface.at(x, y, beyond="nearest")[known], plain[known], atol=1e-12)


def test_two_lattice_steps_off_is_the_farthest():
    surface = make_surface([[1.0, 2.0], [3.0, 4.0]], 100.0)
    assert surface.at([-200, -200.1, 50], [0, 0, 300], beyond="nearest") == pytest.approx([1, np.nan, 3.5], nan_ok=True)
    blank = make_surface(np.full((2, 2), np.nan), 100.0)
    assert np.isnan(blank.at(50, 50, beyond="nearest")).all()


def test_a_single_line_of_nodes():
    line = make_surface([[0.0, 4.0, 8.0]], 100.0)
    assert line.at([50, 125, 125], [0, 0, 1]) == pytest.approx([2, 5, np.nan], nan_ok=True)
    assert line.at(125, 1, beyond="nearest") == pytest.approx(5)


def test_values_of_another_shape_and_unknown_rules_are_refused():
    surface = make_surface(np.zeros((3, 4)), 100.0)
    with pytest.raises(ArgumentError, match="lattice"):
        surface.at(0, 0, np.zeros((4, 3)))
    with pytest.raises(ArgumentError, match="nan or nearest"):
        surface.at(0, 0, beyond="edge")
