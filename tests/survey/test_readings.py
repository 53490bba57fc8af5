"""The Survey from arrays: what may be given, and what is refused."""

import numpy as np
import pytest
from shapely import Polygon, box

import flatness
from flatness.errors import ArgumentError

X, Y = (grid.ravel() for grid in np.meshgrid([0.0, 600, 1200], [0.0, 600, 1200]))
CORNERS = [(0, 0), (1200, 0), (1200, 1200), (0, 1200)]


def survey(**attributes):
    return flatness.make_survey(X, Y, np.zeros(9), **attributes)


@pytest.mark.parametrize("outline", [CORNERS, np.array(CORNERS), box(0, 0, 1200, 1200), [*CORNERS, CORNERS[0]]])
def test_an_outline_as_polygon_or_as_corners(outline):
    made = survey(outline=outline, openings=[[(300, 300), (500, 300), (500, 500)], box(700, 700, 800, 900)])
    assert made.outline.area == 1200**2
    assert [area.area for area in made.openings] == [200 * 200 / 2, 100 * 200]
    measured = flatness.check(made, flatness.straightedge_limit(1000, 3), draws=0)
    assert measured.as_read_mm.iloc[0] == 0


@pytest.mark.parametrize(
    "outline",
    ["L-shaped", [(0, 0), (1, 1)], [(0, 0, 0), (1, 0, 0), (1, 1, 0)], [(0, 0), (1, 0), (np.nan, 1)], 7, [[1], []]],
)
def test_what_is_no_polygon_is_refused(outline):
    with pytest.raises(ArgumentError, match="outline is not a polygon"):
        survey(outline=outline)


@pytest.mark.parametrize("corners", [[(0, 0), (1200, 1200), (1200, 0), (0, 1200)], [(0, 0), (1, 1), (2, 2)]])
def test_an_outline_that_crosses_itself_or_is_a_line_is_refused(corners):
    with pytest.raises(ArgumentError, match="in the order in which one walks around"):
        survey(outline=corners)
    with pytest.raises(ArgumentError, match="opening crosses itself"):
        survey(openings=[Polygon(corners)])
