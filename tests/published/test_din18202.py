"""DIN 18202, table 3: allowed gaps between its columns, and the two methods on shapes with closed forms."""

import numpy as np
import pytest

from flatness.measures.spans import allowed_at, din_bar, din_grid
from flatness.surface.lattice import make_surface

COLUMNS = [100, 1000, 4000, 10000, 15000]
# table 3, mm, as quoted by others
ROWS = {
    1: [10, 15, 20, 25, 30],
    2: [5, 8, 12, 15, 20],
    3: [2, 4, 10, 12, 15],
    4: [1, 3, 9, 12, 15],
    5: [5, 10, 15, 25, 30],
    6: [3, 5, 10, 20, 25],
    7: [2, 3, 8, 15, 20],
}


# published readings between the columns, straight line and rounded to whole mm
@pytest.mark.parametrize(
    ("row", "distance", "allowed"),
    [(3, 2000, 6), (4, 2000, 5), (6, 2000, 7), (7, 2000, 5), (3, 3000, 8), (1, 2000, 17)],
)
def test_between_columns(row, distance, allowed):
    assert allowed_at(distance, COLUMNS, ROWS[row]) == allowed


def test_before_rounding():
    assert allowed_at(2000, COLUMNS, ROWS[1], rounded=False) == pytest.approx(16.67, abs=0.005)
    # halves up: 15 + 0.9 x 5 / 3 and 15 + 1.5 x 5 / 3
    for distance, exact, whole in ((1900, 16.5, 17), (2500, 17.5, 18)):
        assert allowed_at(distance, COLUMNS, ROWS[1], rounded=False) == exact
        assert allowed_at(distance, COLUMNS, ROWS[1]) == whole


@pytest.mark.parametrize("row", ROWS)
def test_columns_themselves_and_beyond(row):
    assert [allowed_at(d, COLUMNS, ROWS[row]) for d in COLUMNS] == ROWS[row]
    assert allowed_at(20, COLUMNS, ROWS[row]) == ROWS[row][0]
    assert allowed_at(40000, COLUMNS, ROWS[row]) == ROWS[row][-1]


def test_arc():
    # hollow arc of radius R along x: a bar over a base L shows the sagitta L^2 / 8 R, and so does a point
    # against the mean of its neighbours L / 2 either side (closed form, parabola)
    radius, step = 250e3, 250.0
    x = step * np.arange(17)
    surface = make_surface(np.tile(x**2 / (2 * radius), (3, 1)), step)
    bar = din_bar(surface, COLUMNS, ROWS[3], headings=1)
    grid = din_grid(surface, COLUMNS, ROWS[3])
    even = bar.table["distance_mm"] / step % 2 == 0
    for table in (bar.table[even], grid.table):
        assert table["distance_mm"].tolist() == [2 * step * k for k in range(1, 9)]
        assert np.allclose(table["gap_mm"], table["distance_mm"] ** 2 / (8 * radius), atol=1e-9)
    # 1000 mm: 0.5 of 4; 2000 mm: 2 of 6; 4000 mm: 8 of 10, the worst
    assert (bar.distance, bar.allowed) == (grid.distance, grid.allowed) == (4000, 10)
    assert bar.gap == pytest.approx(8)


def test_the_two_methods_differ_on_a_hump():
    # a bar rests on no two points either side of a hump: no gap; the grid point stands above its neighbours
    height = -np.square(np.arange(-4.0, 5)) * np.ones((3, 1))
    surface = make_surface(height, 500)
    assert din_bar(surface, COLUMNS, ROWS[3], headings=1).gap == 0
    assert din_grid(surface, COLUMNS, ROWS[3]).gap > 0
    turned_over = make_surface(-height, 500)
    assert din_bar(turned_over, COLUMNS, ROWS[3], headings=1).gap == pytest.approx(16)
    assert din_grid(turned_over, COLUMNS, ROWS[3]).gap == pytest.approx(16)


def test_v_valley():
    # V of slope s either side: gap s L / 2 under a bar of length L across it (closed form)
    surface = make_surface(np.abs(np.arange(-8.0, 9)) * np.ones((3, 1)), 250)  # 1 in 250
    table = din_bar(surface, COLUMNS, ROWS[3], headings=1).table.set_index("distance_mm")["gap_mm"]
    for length in (500, 1000, 2000, 4000):
        assert table[length] == pytest.approx(length / 250 / 2)
