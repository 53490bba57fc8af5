"""The straightedge against brute force, and the properties that any gap must have."""

import math
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

import flatness
from flatness.errors import ArgumentError
from flatness.measures.bars import gap_map, longest_span, oblique_gaps_at, whole_steps
from flatness.measures.straightedge import profile_gaps, straightedge
from flatness.surface.lattice import make_surface
from flatness.survey.readings import make_survey

heights = hnp.arrays(
    np.float64, st.tuples(st.integers(3, 9), st.integers(3, 9)), elements=st.integers(-40, 40).map(float)
)


def brute_line(z, steps):
    gap = np.where(np.isnan(z), np.nan, 0.0)
    for p in range(len(z)):
        for q in range(p + 2, min(len(z), p + steps + 1)):
            if not np.isnan(z[p : q + 1]).any():
                k = np.arange(p + 1, q)
                gap[k] = np.maximum(gap[k], z[p] + (z[q] - z[p]) * (k - p) / (q - p) - z[k])
    return gap


def bilinear_at(z, x, y):
    """Height at (x, y) lattice steps, or NaN: written apart from the kit's own."""
    ny, nx = z.shape
    total = 0.0
    for i in range(ny):
        for j in range(nx):
            weight = max(0.0, 1 - abs(x - j)) * max(0.0, 1 - abs(y - i))
            total += weight * z[i, j] if weight > 1e-9 else 0.0
    inside = -1e-9 <= x <= nx - 1 + 1e-9 and -1e-9 <= y <= ny - 1 + 1e-9
    return total if inside else math.nan


def brute_map(z, steps, headings, chosen=None):
    """Every heading (or those chosen), node and pair of contacts, one at a time."""
    ny, nx = z.shape
    gap = np.where(np.isnan(z), np.nan, 0.0)
    for n in chosen or range(headings):
        angle = math.pi * n / headings
        stride = math.sqrt(2) if abs(math.sin(2 * angle)) > 1 - 1e-12 else 1.0
        dx, dy = stride * math.cos(angle), stride * math.sin(angle)
        bar = math.floor(steps / stride + 1e-6)
        for i in range(ny):
            for j in range(nx):
                line = {k: bilinear_at(z, j + k * dx, i + k * dy) for k in range(-bar, bar + 1)}
                for p in range(-bar, 0):
                    for q in range(1, bar + p + 1):
                        if not any(math.isnan(line[k]) for k in range(p, q + 1)):
                            chord = line[p] + (line[q] - line[p]) * -p / (q - p)
                            gap[i, j] = max(gap[i, j], chord - line[0])
    return gap


@pytest.mark.parametrize("seed", range(40))
def test_line_equals_brute_force(seed):
    rng = np.random.default_rng(seed)
    z = rng.normal(size=30)
    if seed % 2:
        z[rng.integers(0, 30, 3)] = np.nan
    for steps in (1, 2, 3, 7, 29, 60):
        np.testing.assert_allclose(profile_gaps(z, 1.0, steps), brute_line(z, steps), atol=1e-13)


@pytest.mark.parametrize("headings", [1, 2, 4, 6, 12])
@pytest.mark.parametrize("seed", range(3))
def test_map_equals_brute_force(seed, headings):
    rng = np.random.default_rng(seed)
    z = rng.normal(size=(7, 8))
    z[tuple(rng.integers(1, 6, (2, seed)))] = np.nan
    np.testing.assert_allclose(gap_map(z, 1.0, 4.0, headings), brute_map(z, 4, headings), atol=1e-12)


def test_a_map_full_of_holes_equals_brute_force():
    # of such surfaces, one where the farthest contact that any node reaches decides
    rng = np.random.default_rng(74)
    z = rng.normal(size=(6, 6))
    z[rng.random((6, 6)) < rng.uniform(0.1, 0.5)] = np.nan
    np.testing.assert_allclose(gap_map(z, 1.0, 6.0, 12), brute_map(z, 6, 12), atol=1e-12)


@pytest.mark.parametrize("headings", [6, 12])
@pytest.mark.parametrize("holes", range(3))
def test_gaps_at_some_nodes_equal_brute_force(holes, headings):
    rng = np.random.default_rng(holes)
    stack = rng.normal(size=(3, 7, 8))
    for one in stack:
        one[tuple(rng.integers(1, 6, (2, holes)))] = np.nan
    at = rng.permutation(np.flatnonzero(np.isfinite(stack)))[:90]
    askew = [n for n in range(headings) if 180 * n // headings % 45]
    expected = np.array([brute_map(one, 4, headings, askew) for one in stack])
    np.testing.assert_allclose(oblique_gaps_at(stack, at, 1.0, 4.0, headings), expected.flat[at], atol=1e-12)


@pytest.mark.parametrize("steps", [1, 2, 5, 12])
def test_long_and_short_bars_at_one_node_at_a_time_equal_brute_force(steps):
    # longer than the surface, which is broken so that a bar off the nodes reaches where none through a node does
    rng = np.random.default_rng(steps)
    z = rng.normal(size=(5, 6))
    z[0, 0] = z[3, 4] = np.nan
    expected = brute_map(z, steps, 12, [n for n in range(12) if n % 3])
    np.testing.assert_allclose(np.fmax(gap_map(z, 1.0, steps, 4), expected), gap_map(z, 1.0, steps), atol=1e-12)
    for at in np.flatnonzero(np.isfinite(z)):
        stale = np.full((max(steps - 1, 1), 1), 1e6)  # what is not set would be this, or near it
        del stale
        found = oblique_gaps_at(z[None], np.array([at]), 1.0, steps, 12)
        np.testing.assert_allclose(found, expected.flat[at], atol=1e-12)


def test_a_bar_much_longer_than_the_surface_takes_no_memory_for_what_lies_beyond_it():
    z = np.random.default_rng(3).normal(size=(5, 6))
    expected = brute_map(z, 12, 12, [n for n in range(12) if n % 3])  # no two nodes are farther apart
    at = np.arange(z.size)
    tracemalloc.start()
    found = oblique_gaps_at(z[None], at, 1.0, 4000.0, 12)
    whole = gap_map(z, 1.0, 4000.0, 12)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    np.testing.assert_allclose(found, expected.flat, atol=1e-12)
    np.testing.assert_allclose(np.fmax(gap_map(z, 1.0, 12.0, 4), expected), whole, atol=1e-12)
    assert most < 1_000_000


def test_stack_equals_one_at_a_time():
    stack = np.random.default_rng(1).normal(size=(5, 9, 11))
    together = gap_map(stack, 2.0, 9.0)
    for one, expected in zip(stack, together, strict=True):
        np.testing.assert_array_equal(gap_map(one, 2.0, 9.0), expected)
    again = np.stack([stack, stack[::-1]])  # a stack of stacks
    np.testing.assert_array_equal(gap_map(again, 2.0, 9.0), np.stack([together, together[::-1]]))


@given(heights, st.floats(-1e4, 1e4), st.floats(-20, 20), st.floats(-20, 20))
@settings(max_examples=60, deadline=None)
def test_shift_and_tilt_change_nothing(z, shift, along_x, along_y):
    iy, ix = np.indices(z.shape)
    moved = z + shift + along_x * ix + along_y * iy
    np.testing.assert_allclose(gap_map(moved, 1.0, 5.0), gap_map(z, 1.0, 5.0), atol=1e-9)


@given(heights)
@settings(max_examples=60, deadline=None)
def test_mirror_and_quarter_turn_carry_the_map_along(z):
    gap = gap_map(z, 1.0, 5.0)
    for turn in (np.fliplr, np.flipud, np.transpose, np.rot90):
        np.testing.assert_allclose(gap_map(turn(z), 1.0, 5.0), turn(gap), atol=1e-11)


@given(heights, st.floats(0.1, 50))
@settings(max_examples=60, deadline=None)
def test_gaps_grow_with_the_heights_and_do_not_know_the_unit(z, factor):
    gap = gap_map(z, 1.0, 5.0)
    np.testing.assert_allclose(gap_map(2 * z, 1.0, 5.0), 2 * gap, atol=1e-11)
    np.testing.assert_allclose(gap_map(z * factor, factor, 5 * factor), gap * factor, atol=1e-9)


@given(heights)
@settings(max_examples=60, deadline=None)
def test_a_longer_straightedge_never_shows_less(z):
    shorter = gap_map(z, 1.0, 3.0)
    for length in (4.0, 6.0, 9.0):
        longer = gap_map(z, 1.0, length)
        assert (longer >= shorter - 1e-12).all()
        shorter = longer


@given(st.permutations(range(12)))
@settings(max_examples=30, deadline=None)
def test_the_order_of_the_readings_does_not_matter(order):
    gx, gy = np.meshgrid(np.arange(4) * 300.0, np.arange(3) * 300.0)
    z = np.array([0, 3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5], dtype=float)
    x, y = gx.ravel()[order], gy.ravel()[order]
    shuffled = make_survey(x, y, z[order]).surface_at(150)
    plain = make_survey(gx.ravel(), gy.ravel(), z).surface_at(150)
    np.testing.assert_array_equal(shuffled.height, plain.height)


def test_worst_placement_stands_on_the_surface_and_has_the_maps_gap():
    rng = np.random.default_rng(3)
    surface = make_surface(rng.normal(size=(12, 15)), 100.0)
    found = straightedge(surface, 700.0)
    assert found.worst.gap == pytest.approx(np.nanmax(found.gap), abs=1e-12)
    (x0, y0), (x1, y1) = found.worst.contacts
    assert found.worst.span == pytest.approx(math.hypot(x1 - x0, y1 - y0))
    assert found.worst.span <= 700 * (1 + 1e-9)
    ends = [bilinear_at(surface.height, x / 100, y / 100) for x, y in found.worst.contacts]
    part = math.dist(found.worst.at, (x0, y0)) / found.worst.span
    here = bilinear_at(surface.height, found.worst.at[0] / 100, found.worst.at[1] / 100)
    assert ends[0] + part * (ends[1] - ends[0]) - here == pytest.approx(found.worst.gap, abs=1e-9)


def test_crown_equals_brute_force():
    rng = np.random.default_rng(5)
    z = rng.normal(size=(6, 9))
    steps, best = 5, 0.0
    for angle in (0, 90):
        for line in z if angle == 0 else z.T:
            for p in range(len(line) - steps):
                k = np.arange(1, steps)
                chord = line[p] + (line[p + steps] - line[p]) * k / steps
                best = max(best, (line[p + 1 : p + steps] - chord).max())
    assert straightedge(make_surface(z, 1.0), 5.0, headings=2).crown == pytest.approx(best, abs=1e-12)


def test_a_bar_does_not_lie_through_a_wall():
    z = np.zeros((5, 9))
    z[:, 3] = z[:, 5] = -5.0
    assert np.nanmax(gap_map(z, 1.0, 8.0, headings=2)) == 5
    z[:, 4] = np.nan
    alone = gap_map(z[:, :4], 1.0, 8.0, headings=2)
    np.testing.assert_array_equal(gap_map(z, 1.0, 8.0, headings=2)[:, :4], alone)


def test_a_short_room_takes_the_longest_bar_that_fits_and_says_so():
    found = straightedge(make_surface(np.zeros((3, 5)), 300.0), 3048.0, headings=2)
    assert found.length_used == pytest.approx(1200)
    assert "shorter than the straightedge" in found.note
    assert "1200 mm" in found.note
    assert found.worst is None


def test_the_longest_bar_that_lies_on_the_surface():
    diagonal = np.where(np.eye(4) > 0, 0.0, np.nan)  # four nodes, three diagonals of a cell from end to end
    assert longest_span(diagonal, 100.0, 1000.0, 4) == pytest.approx(300 * math.sqrt(2))
    assert longest_span(diagonal, 100.0, 300.0, 4) == pytest.approx(200 * math.sqrt(2))
    # across a blank, or on a single node, none does
    assert longest_span(np.array([[0.0, np.nan, 0.0]]), 100.0, 1000.0, 2) == 0.0
    assert longest_span(np.zeros((1, 1)), 100.0, 1000.0, 2) == 0.0


def test_by_how_much_a_bar_may_be_longer_than_its_name():
    # by two parts in a thousand of itself, but no more than a twentieth of a step: 100 steps of 25 mm are 2500 mm
    assert [whole_steps(2500 - short, 25.0) for short in (0, 1.0, 1.2, 1.3, 1.5)] == [100, 100, 100, 99, 99]
    assert [whole_steps(3000 - short, 600.0) for short in (0, 5.9, 6.1)] == [5, 5, 4]


def test_a_lattice_step_that_does_not_divide_the_length_is_said():
    found = straightedge(make_surface(np.zeros((3, 50)), 300.0), 3048.0, headings=1)
    assert found.length_used == pytest.approx(3000)
    assert "does not divide" in found.note


@pytest.mark.parametrize(("length", "spacing"), [(0, 1), (-1, 1), (math.nan, 1), (math.inf, 1), (1, 0), (1, math.nan)])
def test_lengths_out_of_range(length, spacing):
    with pytest.raises(ArgumentError, match="out of range"):
        profile_gaps([0, 1, 2], spacing, length)


@pytest.mark.parametrize("headings", [0, -1, 2.5, 361])
def test_headings_out_of_range(headings):
    with pytest.raises(ArgumentError, match="headings"):
        straightedge(make_surface(np.zeros((3, 3)), 1.0), 2.0, headings=headings)


def test_rounded_metric_stations_do_not_make_the_bar_a_step_shorter():
    """Stations 610 mm apart stand for 2 ft: a 10 ft bar reaches over five of them, as on a grid of 609.6 mm."""
    readings = np.array([0, -2, -4, -5, -4, -2, 0.0, 1])
    gaps = []
    for step in (609.6, 610.0):
        x, y = np.meshgrid(np.arange(8) * step, np.arange(6) * step)
        survey = flatness.make_survey(x, y, np.tile(readings, (6, 1)), accuracy=0.5)
        gaps.append(flatness.check(survey, flatness.straightedge_limit(3048, 4.7625), draws=0).iloc[0].as_read_mm)
        # by hand: of all chords over five steps or fewer of a line of stations
        chords = [
            max(readings[p] + (readings[q] - readings[p]) * (k - p) / (q - p) - readings[k] for k in range(p + 1, q))
            for p in range(8)
            for q in range(p + 2, min(p + 6, 8))
        ]
        assert gaps[-1] >= max(chords) - 1e-6
    assert gaps[0] == pytest.approx(gaps[1], abs=0.02)


@pytest.mark.parametrize(("step", "length"), [(5.0, 3000.0), (5.0, 3048.0), (2.0, 1000.0), (25.0, 3010.0)])
def test_a_bar_on_a_fine_lattice_is_no_longer_than_it_is_called(step, length):
    # a circle of radius R: under a chord c the gap is c^2 / 8 R, and the longest chord of whole steps is the bar
    radius = 400e3
    x = np.arange(-4000, 4000 + step / 2, step)
    chord = math.floor(length / step) * step
    gap = profile_gaps(x**2 / (2 * radius), step, length)
    # the middle of a chord of an odd number of steps is half a step from any station
    assert chord**2 / 8 - step**2 / 8 <= gap.max() * radius + 1e-6 <= chord**2 / 8 + 2e-6
