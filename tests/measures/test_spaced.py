"""Fixed-spacing and relational measures against brute force over all pairs, with holes in the surface."""

import math

import numpy as np
import pytest

from flatness.errors import ArgumentError, MeasureError
from flatness.measures.levels import (
    abrupt_step,
    block_offset,
    level_across,
    level_over,
    level_within,
    neighbour_faces,
    plane_departure,
    plumb_over,
    steepest_slope,
    tr34_e,
    tr34_f,
)
from flatness.measures.planes import fit_surface_plane
from flatness.measures.spans import allowed_at, din_bar, din_grid, span_gaps
from flatness.surface.lattice import make_surface
from flatness.survey.readings import make_survey

ROW_3 = [100, 1000, 4000, 10000, 15000], [2, 4, 10, 12, 15]
WAYS = ((0, 1), (1, 0), (1, 1), (1, -1))  # rows, columns, both diagonals


def rough(seed, shape=(9, 11), holes=6, spacing=150.0):
    generator = np.random.default_rng(seed)
    z = generator.normal(size=shape).cumsum(axis=0).cumsum(axis=1)
    if holes:
        z.flat[generator.choice(z.size, holes, replace=False)] = np.nan
    return make_surface(z, spacing)


def runs(surface, ways=WAYS):
    """Every unbroken straight run of nodes: its heights, end to end, and its length [mm]."""
    z = surface.height
    ny, nx = z.shape
    for dy, dx in ways:
        for r in range(ny):
            for c in range(nx):
                heights = []
                i, j = r, c
                while 0 <= i < ny and 0 <= j < nx and not np.isnan(z[i, j]):
                    heights.append(z[i, j])
                    if len(heights) > 1:
                        yield np.array(heights), (len(heights) - 1) * surface.spacing * math.hypot(dy, dx)
                    i, j = i + dy, j + dx


SURFACES = [rough(seed, holes=holes) for seed, holes in ((0, 0), (1, 6), (2, 25), (3, 4))]
surfaces = pytest.mark.parametrize("surface", SURFACES, ids=range(len(SURFACES)))


@surfaces
def test_bar_method(surface):
    expected = {}
    for h, length in runs(surface):
        k = len(h) - 1
        if k >= 2:
            chord = h[0] + (h[-1] - h[0]) * np.arange(k + 1) / k
            gap = (chord - h).max() if (h <= chord + 1e-9).all() else 0.0
            expected[round(length, 3)] = max(expected.get(round(length, 3), 0.0), gap)
    found = din_bar(surface, *ROW_3, headings=4)
    assert dict(zip(found.table["distance_mm"].round(3), found.table["gap_mm"], strict=True)) == pytest.approx(expected)
    allowed = {distance: allowed_at(distance, *ROW_3) for distance in expected}
    assert found.ratio == pytest.approx(max(gap / allowed[d] for d, gap in expected.items()))
    assert found.worst.value == found.gap
    assert math.dist(*found.worst.contacts) == pytest.approx(found.distance)


@surfaces
def test_bar_rests_where_it_says(surface):
    x0, y0 = surface.x[0], surface.y[0]
    for _, gap, at, contacts in span_gaps(surface, headings=4):
        if at is None:
            assert gap == 0
            continue
        (ax, ay), (bx, by), (cx, cy) = [((x - x0) / 150, (y - y0) / 150) for x, y in (*contacts, at)]
        a, b, c = (surface.height[round(y), round(x)] for x, y in ((ax, ay), (bx, by), (cx, cy)))
        part = math.hypot(cx - ax, cy - ay) / math.hypot(bx - ax, by - ay)
        assert a + part * (b - a) - c == pytest.approx(gap)


@surfaces
def test_grid_method(surface):
    expected = {}
    for h, length in runs(surface, ((0, 1), (1, 0))):
        if len(h) % 2:
            off = abs(h[len(h) // 2] - (h[0] + h[-1]) / 2)
            expected[length] = max(expected.get(length, 0.0), off)
    found = din_grid(surface, *ROW_3)
    assert dict(zip(found.table["distance_mm"], found.table["gap_mm"], strict=True)) == pytest.approx(expected)


def test_grid_method_on_stations():
    # steps of 500 along x and 400 along y; one hump of 6 mm with its neighbours at 0: off the mean by 6 at
    # base 1000 along x and 800 along y
    gx, gy = np.meshgrid(np.arange(5) * 500, np.arange(5) * 400)
    survey = make_survey(gx, gy, np.where((gx == 1000) & (gy == 800), 6, 0))
    found = din_grid(survey, *ROW_3)
    assert found.table["distance_mm"].tolist() == [800, 1000, 1600, 2000]
    assert found.table["gap_mm"].tolist() == [6, 6, 6, 6]
    # 3.6 mm allowed at 0.8 m, rounded to 4
    assert (found.distance, found.allowed, found.worst.at) == (800, 4, (1000, 800))
    with pytest.raises(MeasureError, match="even grid"):
        din_grid(make_survey([0, 500, 1200] * 2, [0] * 3 + [500] * 3, [0] * 6), *ROW_3)
    with pytest.raises(MeasureError, match="three stations in a row"):
        din_grid(make_survey([0, 500] * 2, [0] * 2 + [500] * 2, [0] * 4), *ROW_3)


@surfaces
def test_level_over(surface):
    for distance in (450.0, 900.0):
        expected = max(abs(h[-1] - h[0]) for h, length in runs(surface, WAYS[:2]) if length == distance)
        found = level_over(surface, distance, headings=2)
        assert found.value == pytest.approx(expected)
        assert math.dist(*found.contacts) == pytest.approx(distance)
        assert steepest_slope(surface, distance, headings=2).value == pytest.approx(expected / distance)
        upright = max(abs(h[-1] - h[0]) for h, length in runs(surface, WAYS[1:2]) if length == distance)
        assert plumb_over(surface, distance).value == pytest.approx(upright)
    assert level_over(surface).value == pytest.approx(np.nanmax(surface.height) - np.nanmin(surface.height))
    assert plumb_over(surface).value == pytest.approx(max(abs(h[-1] - h[0]) for h, _ in runs(surface, WAYS[1:2])))


@surfaces
def test_level_within(surface):
    for rule in (lambda d: 10 * (d / 1000) ** (1 / 3), (3, 2.0)):
        allowed = rule if callable(rule) else lambda d: min(3 * d / 1000, 2.0)
        expected = max(abs(h[-1] - h[0]) / allowed(length) for h, length in runs(surface) if length >= 300)
        assert level_within(surface, rule, headings=4, shortest=300).value == pytest.approx(expected)


@surfaces
@pytest.mark.parametrize("length", [150.0, 400.0, 700.0, 5000.0])
def test_level_between_any_two_points_up_to_a_distance(surface, length):
    gy, gx = np.nonzero(np.isfinite(surface.height))
    z = surface.height[gy, gx]
    near = np.hypot(gx[:, None] - gx, gy[:, None] - gy) * 150 <= length + 1e-6
    found = level_over(surface, length, within=True)
    assert found.value == pytest.approx(np.where(near, z[:, None] - z, -np.inf).max())
    assert math.dist(*found.contacts) <= length + 1e-6


@surfaces
def test_level_across_the_full_width(surface):
    expected = 0.0
    for lines in (surface.height, surface.height.T):
        for line in lines:
            inside = np.flatnonzero(np.isfinite(line))
            span = (inside[-1] - inside[0]) * 150 / 1000
            if span >= 1:
                expected = max(expected, abs(line[inside[-1]] - line[inside[0]]) / min(3 * span, 20))
    assert level_across(surface, (3, 20)).value == pytest.approx(expected)
    with pytest.raises(MeasureError, match="too short"):
        level_across(surface, (3, 20), shortest=9000)


def test_level_rules_in_figures():
    # out of level 10 mm per m over 8 m. New homes, 3 mm per m, 20 mm at most: 80 of 20; DTU 10 x cube root
    # of L: 80 of 20 as well (closed forms)
    ramp = make_surface(np.tile(np.arange(9.0) * 10, (2, 1)), 1000)
    for rule in ((3, 20), lambda d: 10 * (d / 1000) ** (1 / 3)):
        found = level_within(ramp, rule)
        assert found.value == pytest.approx(4)
        assert "80.00 mm over 8000 mm, where 20.00 mm" in found.note


@surfaces
@pytest.mark.parametrize("length", [600.0, 670.0])
def test_block_offset(surface, length):
    step = {way: surface.spacing * math.hypot(*way) for way in WAYS}
    worst = 0.0
    for way in WAYS:
        for h, run in runs(surface, (way,)):
            k = len(h) - 1
            if k == math.floor(length / step[way] + 1e-9):
                assert run <= length + 1e-6
                worst = max(worst, np.abs(h - (h[0] + (h[-1] - h[0]) * np.arange(k + 1) / k)).max())
    found = block_offset(surface, length, headings=4)
    assert found.value == pytest.approx(worst)
    assert math.dist(*found.contacts) <= length + 1e-6


def test_block_offset_counts_both():
    hump = make_surface(np.tile([0, 0, 5, 0, 0.0], (2, 1)), 500)
    hollow = make_surface(-hump.height, 500)
    for surface, word in ((hump, "hump"), (hollow, "hollow")):
        found = block_offset(surface, 2000, headings=1)
        assert (found.value, found.at) == (5, (1000, 0))
        assert word in found.note
    assert "1500 mm was used" in block_offset(hump, 1700, headings=1).note


@surfaces
def test_tr34(surface):
    # on a lattice of 150 mm the 300 mm step is two nodes; taken over the bases that fit
    both = list(runs(surface, WAYS[:2]))
    f = [abs(h[0] - 2 * h[2] + h[4]) for h, _ in both if len(h) == 5]
    assert tr34_f(surface).value == pytest.approx(np.percentile(f, 95))
    wide = make_surface(surface.height, 750)
    e = [abs(h[-1] - h[0]) for h, length in runs(wide, WAYS[:2]) if length == 3000]
    found = tr34_e(wide)
    assert found.value == pytest.approx(np.percentile(e, 95))
    assert "not confirmed" in found.note
    with pytest.raises(MeasureError, match="300 mm or less"):
        tr34_f(wide)


@surfaces
@pytest.mark.parametrize("length", [150.0, 400.0, 700.0, 5000.0])
def test_plane_departure(surface, length):
    best = fit_surface_plane(surface, "minimum-zone").deviations
    for plane, deviations in (("level", surface.height), ("best", best)):
        gy, gx = np.nonzero(np.isfinite(deviations))
        d = deviations[gy, gx]
        near = np.hypot(gx[:, None] - gx, gy[:, None] - gy) * 150 <= length + 1e-6
        expected = np.where(near, d[:, None] - d, -np.inf).max()
        found = plane_departure(surface, length, plane)
        assert found.value == pytest.approx(expected)
        assert math.dist(*found.contacts) <= length + 1e-6


@surfaces
def test_abrupt_step(surface):
    for base in (150.0, 320.0):
        expected = max(abs(h[-1] - h[0]) for h, length in runs(surface) if length <= base)
        assert abrupt_step(surface, base).value == pytest.approx(expected)
    with pytest.raises(MeasureError, match="too coarse for an abrupt step"):
        abrupt_step(surface, 149)


def test_abrupt_step_between_stations():
    survey = make_survey([0, 100, 1000, 1140], [0, 0, 0, 0], [0, 2, 9, 8.5])
    found = abrupt_step(survey, 150)
    assert (found.value, found.at, found.contacts) == (2, (100, 0), ((0, 0), (100, 0)))
    with pytest.raises(MeasureError, match="stations 50 mm apart or less"):
        abrupt_step(survey, 50)


def test_neighbour_faces():
    # studs at 400: 0 2 5 1, the largest step from the third to the fourth
    row = make_survey([0, 800, 400, 1200], [0] * 4, [0, 5, 2, 1], line=["a"] * 4, reference="string")
    found = neighbour_faces(row)
    assert (found.value, found.at, found.contacts) == (4, (800, 0), ((800, 0), (1200, 0)))
    # two lines far apart in height are not neighbours of one another
    two = make_survey([0, 400] * 2, [0, 0, 90, 90], [0, 1, 50, 52], line=["a", "a", "b", "b"])
    assert neighbour_faces(two).value == 2
    # on a grid along rows and columns, not across a missing station: 7 against 0 is a diagonal
    grid = make_survey([0, 400, 800, 0, 400, 800, 0, 800], [0] * 3 + [500] * 3 + [1000] * 2, [0, 1, 2, 3, 4, 5, 6, 12])
    assert neighbour_faces(grid).value == 7
    scattered = make_survey([0, 100, 900], [0, 30, 500], [0, 1, 9])
    assert "nearest" in neighbour_faces(scattered).note
    assert neighbour_faces(scattered).value == 8
    with pytest.raises(MeasureError, match="no two neighbouring"):
        neighbour_faces(make_survey([0], [0], [0]))


STRING = make_surface(np.zeros((9, 9)), 500, reference="string")


@pytest.mark.parametrize(
    "measure",
    [
        lambda: level_over(STRING, 1000),
        lambda: level_over(STRING),
        lambda: level_within(STRING, (3, 20)),
        lambda: level_over(STRING, 1000, within=True),
        lambda: level_across(STRING, (3, 20)),
        lambda: plumb_over(STRING, 1000),
        lambda: steepest_slope(STRING, 1000),
        lambda: tr34_e(STRING),
        lambda: plane_departure(STRING, 1000, "level"),
    ],
)
def test_level_refuses_a_string(measure):
    with pytest.raises(MeasureError, match="from a string") as caught:
        measure()
    assert "not known to be level" in str(caught.value)


def test_flatness_does_not_refuse_a_string():
    assert din_bar(STRING, *ROW_3).gap == din_grid(STRING, *ROW_3).gap == block_offset(STRING, 2000).value == 0
    assert plane_departure(STRING, 1000).value == pytest.approx(0)


@pytest.mark.parametrize(
    "measure",
    [
        lambda s: level_over(s, 9000),
        lambda s: level_within(s, (3, 20), shortest=9000),
        lambda s: plumb_over(s, 9000),
        lambda s: block_offset(s, 9000),
        lambda s: tr34_e(s),
        lambda s: din_bar(make_surface(s.height[:2, :2], 150), *ROW_3),
    ],
)
def test_too_short_a_surface(measure):
    with pytest.raises(MeasureError, match="too short"):
        measure(rough(0))


def test_arguments():
    surface = rough(0)
    for bad in (0, -5, math.nan, math.inf):
        with pytest.raises(ArgumentError, match="distance out of range"):
            level_over(surface, bad)
    with pytest.raises(ArgumentError, match="level or best"):
        plane_departure(surface, 600, "flat")
    with pytest.raises(ArgumentError, match="distances rising"):
        allowed_at(500, [1000, 100], [4, 2])
    with pytest.raises(ArgumentError, match="allows nothing"):
        level_within(surface, lambda d: 0.0)
    with pytest.raises(ArgumentError, match="rounds to nothing"):
        din_bar(surface, [100, 10000], [0.2, 0.4])
    with pytest.raises(MeasureError, match="coarser than the base"):
        plane_departure(surface, 100)
    with pytest.raises(MeasureError, match="too coarse for this bar"):
        block_offset(surface, 200)


def test_slope_at_an_oblique_heading():
    # a plane that falls 8 mm per m in the direction of 30 degrees: bilinear is exact on it (closed form)
    gy, gx = np.mgrid[:30, :40] * 100.0
    surface = make_surface(-0.008 * (gx * math.cos(math.pi / 6) + gy * math.sin(math.pi / 6)), 100)
    for distance in (250.0, 777.0):
        found = level_over(surface, distance)
        assert found.value == pytest.approx(0.008 * distance)
        (ax, ay), (bx, by) = found.contacts
        assert math.degrees(math.atan2(by - ay, bx - ax)) % 180 == pytest.approx(30)
        assert steepest_slope(surface, distance).value == pytest.approx(0.008)
        # along rows alone it is less
        assert level_over(surface, distance, headings=1).value == pytest.approx(0.008 * distance * math.sqrt(0.75))
    assert flatness_of(surface) == pytest.approx([0] * 5, abs=1e-9)


def test_bowl_on_blocks():
    # bowl x^2 + y^2 over 2 R: every chord of length L stands L^2 / 8 R above it, in rows, columns, diagonals
    gy, gx = np.mgrid[-8:9, -8:9] * 200.0
    bowl = make_surface((gx**2 + gy**2) / (2 * 400e3), 200)
    assert block_offset(bowl, 2000, headings=4).value == pytest.approx(2000**2 / (8 * 400e3))
    gaps = {distance: gap for distance, gap, _, _ in span_gaps(bowl, headings=4)}
    for distance in (400, 800, 1600, 3200, round(400 * math.sqrt(2), 6)):
        assert gaps[distance] == pytest.approx(distance**2 / (8 * 400e3))


def test_nothing_across_a_blank():
    # two rooms with a wall between, one 100 mm above the other: each measure is that of one room or the other
    one, other = rough(11, (9, 8), 0), rough(12, (9, 8), 0)
    wall = np.full((9, 1), np.nan)
    both = make_surface(np.hstack([one.height, wall, other.height + 100]), 150)
    measures = (
        lambda s: level_over(s, 470).value,
        lambda s: level_over(s, 450, 4).value,
        lambda s: level_within(s, (3, 20), 12, 300).value,
        lambda s: steepest_slope(s, 600).value,
        lambda s: block_offset(s, 610).value,
        lambda s: abrupt_step(s, 320).value,
        lambda s: plumb_over(s, 600).value,
    )
    for measure in measures:
        assert measure(both) == pytest.approx(max(measure(one), measure(other)))
    for spans in (lambda s: din_bar(s, *ROW_3), lambda s: din_grid(s, *ROW_3)):
        rooms = [spans(s).table.set_index("distance_mm")["gap_mm"] for s in (one, other)]
        whole = spans(both).table.set_index("distance_mm")["gap_mm"]
        expected = np.fmax(*rooms) if rooms[0].index.equals(rooms[1].index) else None
        assert expected is not None
        assert whole.to_numpy() == pytest.approx(expected.to_numpy(), abs=1e-9)


def flatness_of(surface):
    """Measures that no tilt may change."""
    return [
        din_bar(surface, *ROW_3, rounded=False).ratio,
        din_grid(surface, *ROW_3, rounded=False).ratio,
        block_offset(surface, 610).value,
        tr34_f(surface).value,
        plane_departure(surface, 500).value,
    ]


def level_of(surface):
    return [
        level_over(surface, 520).value,
        level_over(surface).value,
        level_within(surface, (3, 20), 12, 400).value,
        steepest_slope(surface, 333).value,
        abrupt_step(surface, 150).value,
        plane_departure(surface, 500, "level").value,
        tr34_f(surface).value,
    ]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("holes", [0, 7])
def test_what_must_not_matter(seed, holes):
    z = rough(seed, (10, 12), holes).height
    flat, level = flatness_of(make_surface(z, 150)), level_of(make_surface(z, 150))
    for same in (z[:, ::-1], z[::-1], np.rot90(z), z.T, z[::-1, ::-1], z + 250):
        assert flatness_of(make_surface(same, 150)) == pytest.approx(flat, abs=1e-6)
        assert level_of(make_surface(same, 150)) == pytest.approx(level, abs=1e-9)
    gy, gx = np.mgrid[:10, :12]
    tilted = make_surface(z + 0.7 * gx - 0.3 * gy, 150)
    assert flatness_of(tilted) == pytest.approx(flat, abs=1e-6)
    # a scale of heights scales what is in mm
    doubled = make_surface(2 * z, 150)
    assert flatness_of(doubled) == pytest.approx(np.multiply(flat, 2), abs=1e-6)
    assert level_of(doubled) == pytest.approx(np.multiply(level, 2), abs=1e-9)
    # a hollow is as far off as a hump where both count
    over = make_surface(-z, 150)
    assert flatness_of(over)[1:] == pytest.approx(flat[1:], abs=1e-6)
    assert level_of(over) == pytest.approx(level, abs=1e-9)
