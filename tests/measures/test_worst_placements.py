"""The worst placement of a bar against every pair of contacts tried one by one, on small surfaces with holes."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.spatial import QhullError

from flatness.errors import ArgumentError, MeasureError
from flatness.measures.bars import Heading
from flatness.measures.planes import Plane, fit_plane
from flatness.measures.straightedge import exact_bar, profile_gaps, profile_through, straightedge
from flatness.surface.lattice import make_surface

SPACING = 100.0
TURNS = (0, 2, 1, 3)  # eighths of a turn of these:
WAYS = ((1, 0), (0, 1), (1, 1), (-1, 1))  # of 4 headings: rows, columns and both diagonals, whose contacts are nodes


def a_surface(seed, shape=(5, 7), holes=2):
    rng = np.random.default_rng(seed)
    z = rng.normal(0, 3, shape)
    z.flat[rng.choice(z.size, holes, replace=False)] = np.nan
    return z


def node(z, row, column):
    rows, columns = z.shape
    return z[row, column] if 0 <= row < rows and 0 <= column < columns else np.nan


def every_bar(z, length, exactly=False):
    """Every bar in its row, column or diagonal: what lies under it, node by node: (rise over the bar, node, ends)."""
    for dx, dy in WAYS:
        most = math.floor(length / (SPACING * math.hypot(dx, dy)) + 1e-9)
        for row in range(z.shape[0]):
            for column in range(z.shape[1]):
                for steps in range(2, most + 1):
                    line = [node(z, row + k * dy, column + k * dx) for k in range(steps + 1)]
                    if np.isnan(line).any() or (exactly and steps != most):
                        continue
                    for k in range(1, steps):
                        chord = line[0] + (line[-1] - line[0]) * k / steps
                        ends = ((column, row), (column + steps * dx, row + steps * dy))
                        yield line[k] - chord, (column + k * dx, row + k * dy), ends


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("length", [200.0, 283.0, 420.0])
def test_the_worst_gap_and_where_the_bar_rests(seed, length):
    z = a_surface(seed)
    found = straightedge(make_surface(z, SPACING, x0=50.0, y0=-70.0), length, headings=4)
    rise, at, ends = min(every_bar(z, length), key=lambda bar: bar[0])
    assert found.worst.gap == pytest.approx(-rise, abs=1e-9)
    assert found.worst.at == pytest.approx((50 + SPACING * at[0], -70 + SPACING * at[1]))
    places = [(50 + SPACING * x, -70 + SPACING * y) for x, y in ends]
    told = sorted(found.worst.contacts)
    assert np.allclose(told, sorted(places))
    # and the map shows, node by node, the largest of the gaps there
    gaps = np.where(np.isnan(z), np.nan, 0.0)
    for rise, (x, y), _ in every_bar(z, length):
        gaps[y, x] = max(gaps[y, x], -rise)
    assert np.allclose(found.gap, gaps, equal_nan=True, atol=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_the_crown_is_of_the_longest_bar_that_fits(seed):
    z = a_surface(seed, holes=1)
    found = straightedge(make_surface(z, SPACING), 300.0, headings=4)
    # rows and columns hold bars of three steps, diagonals of two
    rise, at, ends = max(every_bar(z, 300.0, exactly=True), key=lambda bar: bar[0])
    assert found.crown == pytest.approx(rise, abs=1e-9)
    assert found.crown_at.at == pytest.approx((SPACING * at[0], SPACING * at[1]))
    assert np.allclose(sorted(found.crown_at.contacts), sorted((SPACING * x, SPACING * y) for x, y in ends))
    # nodes over the chord and under it, each by itself: of the bars just so long the one it departs from most
    surface = make_surface(z, SPACING)
    for n, (dx, dy) in enumerate(WAYS):
        bars = [bar for bar in every_bar(z, 300.0, exactly=True) if direction(bar[2]) == (dx, dy)]
        steps = math.floor(300.0 / (SPACING * math.hypot(dx, dy)))
        for x, y in {bar[1] for bar in bars}:
            for size in (float, abs):
                rise, _, ends = max((bar for bar in bars if bar[1] == (x, y)), key=lambda bar: size(bar[0]))
                told, contacts = exact_bar(surface, (SPACING * x, SPACING * y), Heading.at(45 * TURNS[n]), steps, size)
                assert told == pytest.approx(rise, abs=1e-9)
                assert np.allclose(sorted(contacts), sorted((SPACING * a, SPACING * b) for a, b in ends))


def direction(ends):
    (x0, y0), (x1, y1) = ends
    return int(np.sign(x1 - x0)), int(np.sign(y1 - y0))


def test_where_there_is_nothing_to_lay_it_on_or_nothing_under_it():
    nowhere = straightedge(make_surface(np.full((3, 3), np.nan), SPACING), 200.0, headings=4)
    assert (nowhere.worst, nowhere.crown, nowhere.crown_at) == (None, 0.0, None)
    assert straightedge(make_surface(np.zeros((3, 5)), SPACING), 200.0, headings=4).worst is None
    slight = straightedge(make_surface([[0.0, -0.25, 0.0]] * 3, SPACING), 200.0, headings=4)
    assert slight.worst.gap == 0.25
    with pytest.raises(ArgumentError, match="line of stations"):
        profile_gaps(3.0, SPACING, 200.0)


def test_headings_are_twelve_where_none_are_asked_for():
    surface = make_surface(a_surface(1, holes=0), SPACING)
    # every 15 degrees, as the docstring says; thirteen show other gaps
    assert np.array_equal(straightedge(surface, 420.0).gap, straightedge(surface, 420.0, headings=12).gap)
    assert not np.allclose(straightedge(surface, 420.0).gap, straightedge(surface, 420.0, headings=13).gap)


@pytest.mark.parametrize(("column", "line"), [(1, [0, -4, 0, 3, 6]), (3, [6, 3, 0, -4, 0])])
def test_bars_that_rest_on_the_first_and_on_the_last_column(column, line):
    # the dip lies 4 under the chord of its two neighbours; beyond it the line only rises, and shows no larger gap
    found = straightedge(make_surface([line] * 3, SPACING), 200.0, headings=2)
    assert found.worst.gap == pytest.approx(4.0)
    assert found.worst.at[0] == column * SPACING
    assert sorted(x for x, _ in found.worst.contacts) == [(column - 1) * SPACING, (column + 1) * SPACING]


def test_a_bar_of_two_steps_has_a_gap_and_a_bar_of_one_has_none():
    surface = make_surface([[0.0, -4.0, 0.0]] * 3, SPACING)
    assert straightedge(surface, 2 * SPACING, headings=4).worst.gap == 4.0
    assert straightedge(surface, 2 * SPACING - 1, headings=4).worst is None
    hump = make_surface([[0.0, 4.0, 0.0]] * 3, SPACING)
    assert straightedge(hump, 2 * SPACING, headings=4).crown == 4.0
    assert straightedge(hump, 2 * SPACING - 1, headings=4).crown == 0.0


@pytest.mark.parametrize(
    ("length", "note"),
    [
        (300.0, ""),
        (301.0, "lattice-length"),
        (399.0, "lattice-length"),
        (400.0, "shorter-than-bar"),
        (401.0, "shorter-than-bar"),
        (450.0, "shorter-than-bar"),
    ],
)
def test_a_bar_that_is_shortened_says_why(length, note):
    # rows of four nodes hold 300 mm: less than a step more is the lattice's doing, a step or more the surface's
    found = straightedge(make_surface(np.eye(4), SPACING), length, headings=2)
    assert found.length_used == 300.0
    assert getattr(found.note, "key", "") == note


def test_a_profile_runs_as_far_as_the_surface_both_ways():
    z = np.array([[0.0, 1.0, 2.0, 3.0, np.nan, 5.0]] * 2)
    surface = make_surface(z, SPACING)
    for reach, want in ((100.0, [-100, 0, 100]), (500.0, [-200, -100, 0, 100]), (99.0, [0])):
        distances, heights = profile_through(surface, (200.0, 0.0), 0.0, reach)
        assert distances.tolist() == want
        assert heights.tolist() == [2 + d / SPACING for d in want]
    # along a diagonal a step is the root of two: within 300 mm there are two of 141 mm
    diagonal, _ = profile_through(make_surface(np.zeros((9, 9)), SPACING), (400.0, 400.0), 45.0, 300.0)
    assert diagonal == pytest.approx(np.arange(-2, 3) * SPACING * math.sqrt(2))


@pytest.mark.parametrize(("across", "is_line"), [(0.0, True), (1e-11, True), (1e-7, False)])
@pytest.mark.parametrize("turn", [0.0, 90.0, 45.0, 30.0, -60.0])
@pytest.mark.parametrize("method", ["least-squares", "minimum-zone"])
def test_points_on_one_line_are_refused_whichever_way_it_runs(across, is_line, turn, method):
    # along a line of 10 m, one point beside it by this part of its length
    along, beside = np.array([0.0, 4e3, 1e4, 6e3]), np.array([0.0, 0.0, 0.0, across * 1e4])
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    x, y = c * along - s * beside, s * along + c * beside
    if is_line:
        with pytest.raises(MeasureError, match="one line"):
            fit_plane(x, y, np.zeros(4), method)
    else:
        assert fit_plane(x, y, np.zeros(4), method).zone == pytest.approx(0.0, abs=1e-9)


def test_three_points_are_a_plane_and_two_are_not():
    plane = fit_plane([0.0, 1000.0, 0.0], [0.0, 0.0, 1000.0], [1.0, 3.0, -4.0])
    # through (0, 0, 1), (1000, 0, 3), (0, 1000, -4)
    assert (plane.a, plane.b, plane.c) == pytest.approx((0.002, -0.005, 1.0))
    with pytest.raises(MeasureError, match="too few"):
        fit_plane([0.0, 1000.0], [0.0, 500.0], [1.0, 3.0])


def test_a_plane_says_its_own_heights_and_small_departures():
    plane = fit_plane([0.0, 1000.0, 0.0, 1000.0], [0.0, 0.0, 1000.0, 1000.0], [1.25, 2.75, -4.25, -1.75])
    # by hand: 1 + 0.002 x - 0.005 y, and a saddle of a quarter of a millimetre
    assert plane.at([0, 1000, 0], [0, 0, 1000]) == pytest.approx([1.0, 3.0, -4.0])
    assert (plane.peak, plane.valley, plane.rms, plane.zone) == pytest.approx((0.25, 0.25, 0.25, 0.5))
    # of a plane under all it is the reference of, nothing departs away from the room
    raised = Plane(a=0.0, b=0.0, c=0.0, zone=1.0, deviations=np.array([1.0, 2.0]), method="level")
    sunk = Plane(a=0.0, b=0.0, c=0.0, zone=1.0, deviations=np.array([-1.0, -2.0]), method="level")
    assert (raised.peak, raised.valley, sunk.peak, sunk.valley) == (2.0, 0.0, 0.0, 2.0)


@pytest.mark.parametrize("method", ["least-squares", "minimum-zone"])
def test_a_plane_stretched_along_x_has_its_slope_shrunk(method):
    along = np.linspace(0, 1, 9)
    x, y, height = along, along + 1e-5 * (np.arange(9) % 2), np.sin(7 * along)
    plain, stretched = fit_plane(x, y, height, method), fit_plane(1e5 * x, y, height, method)
    assert stretched.a * 1e5 == pytest.approx(plain.a, rel=1e-6)
    assert (stretched.b, stretched.zone) == pytest.approx((plain.b, plain.zone), rel=1e-6)


def test_many_points_on_one_line_are_refused_as_few_are():
    along = np.linspace(0.0, 1e4, 10_000)
    with pytest.raises(MeasureError, match="one line"):
        fit_plane(along, along + 1e-7 * (np.arange(10_000) % 2), np.zeros(10_000))


def test_a_solver_that_gives_up_is_said(monkeypatch):
    x, y, z = np.random.default_rng(4).normal(size=(3, 9))
    monkeypatch.setattr("flatness.measures.planes.linprog", lambda *a, **k: SimpleNamespace(x=None, message="gave up"))
    with pytest.raises(MeasureError, match="no minimum-zone plane"):
        fit_plane(x, y, z, "minimum-zone")

    def thin(points):
        raise QhullError("too thin")

    monkeypatch.setattr("flatness.measures.planes.ConvexHull", thin)
    with pytest.raises(MeasureError, match="too thin for a zone along the normal"):
        fit_plane(x, y, z, "minimum-zone-normal")
