"""Stations in walking order."""

from itertools import pairwise

import numpy as np
import pytest
from shapely import box

from flatness.errors import ArgumentError
from flatness.survey.readings import Framing
from flatness.taking.stations import walk_of

FT = 304.8


def room(framing=None, step=2 * FT, openings=(), outline=None):
    return walk_of(outline or box(0, 0, 14 * FT, 20 * FT), openings, step, framing, "in")


def walked(walk):
    """Every station in the order in which one is sent to it."""
    done, here, order = set(), None, []
    while (here := walk.following(done, here)) is not None:
        done.add(here.number)
        order.append(here)
    return order


def test_every_station_is_walked_to_once_and_the_coarse_grid_first():
    walk = room()
    order = walked(walk)
    # 14 ft by 20 ft every 2 ft: 8 by 11 stations
    assert len(order) == len(walk.stations) == 88
    assert len({one.number for one in order}) == 88
    coarse = order[: len(walk.coarse)]
    assert all(one.coarse for one in coarse)
    assert not any(one.coarse for one in order[len(walk.coarse) :])
    # no two neighbors of the coarse grid farther apart than 4 ft, from wall to wall
    for axis, far in (("x", 14 * FT), ("y", 20 * FT)):
        places = np.unique([getattr(one, axis) for one in coarse])
        assert places[0] == 0
        assert places[-1] == pytest.approx(far)
        assert np.diff(places).max() <= 4 * FT + 1


def test_one_walks_back_and_forth_and_never_far():
    walk = room()
    order = walked(walk)
    steps = [np.hypot(b.x - a.x, b.y - a.y) for a, b in pairwise(order)]
    assert np.median(steps) <= 4 * FT
    # the coarse grid is a snake: no step in it is longer than one of its own steps
    assert max(steps[: len(walk.coarse) - 1]) <= 4 * FT + 1


def test_lines_run_across_the_members_and_every_member_has_its_stations():
    framing = Framing(16 * 25.4, "y", 0.0)
    walk = room(framing, 4 * FT)
    assert walk.along == "x"
    across = {round(one.x, 1) for one in walk.stations}
    for member in np.arange(0, 14 * FT, 16 * 25.4):
        assert round(float(member), 1) in across


def test_a_member_is_crossed_by_a_whole_line_only():
    framing = Framing(16 * 25.4, "y", 0.0)
    walk = room(framing, 4 * FT)
    line = walk.lines[2]
    assert not walk.crosses_all({one.number for one in line[:-1]}, framing)
    assert walk.crosses_all({one.number for one in line}, framing)


def test_an_opening_has_no_stations_and_an_outline_elsewhere_is_refused():
    walk = room(openings=[box(4 * FT - 1, 4 * FT - 1, 8 * FT + 1, 8 * FT + 1)])
    assert len(walk.stations) == 88 - 9
    with pytest.raises(ArgumentError, match="does not begin at the corner"):
        room(outline=box(FT, 0, 14 * FT, 20 * FT))


def test_the_line_that_tells_most_comes_first_once_the_coarse_grid_stands():
    walk = room()
    done = {one.number for one in walk.coarse}
    assert walk.following(done, walk.coarse[-1], {5: 3.0, 3: 1.0}).line == 5
