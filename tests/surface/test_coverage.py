"""How much of a stated outline the readings cover, against areas worked out by hand."""

import numpy as np
import pytest
from shapely import box

from flatness.surface.lattice import unread
from flatness.survey.readings import make_survey

STEP = 500.0


def survey(x_end, y_end, outline, keep=lambda x, y: np.ones_like(x, dtype=bool), **attributes):
    x, y = (v.ravel() for v in np.meshgrid(np.arange(0, x_end + 1, STEP), np.arange(0, y_end + 1, STEP)))
    keep = keep(x, y)
    return make_survey(x[keep], y[keep], 0 * x[keep], outline=outline, **attributes)


def test_without_an_outline_nothing_is_known_to_be_left_out():
    assert unread(survey(3000, 2000, None)) is None


@pytest.mark.parametrize("wall", [0.0, 100.0, STEP])
def test_a_strip_one_step_wide_along_every_edge_is_covered(wall):
    left = unread(survey(3000, 2000, box(-wall, -wall, 3000 + wall, 2000 + wall)))
    assert left.share == 0
    assert left.is_small


def test_a_corner_of_a_room_covers_its_own_part_and_a_step_around_it():
    left = unread(survey(2500, 3500, box(0, 0, 6000, 9000)))
    assert left.share == pytest.approx(1 - 3000 * 4000 / (6000 * 9000), abs=0.02)
    assert left.area == pytest.approx(6000 * 9000 - 3000 * 4000, rel=0.02)
    assert not left.is_small
    assert left.farthest[1] == pytest.approx(9000, abs=100)
    assert "78 %" in left.note or "77 %" in left.note
    assert "y 0 mm to 3500 mm" in left.note


def test_an_opening_needs_no_readings():
    room = box(0, 0, 6000, 4000)
    assert not unread(survey(3000, 4000, room)).is_small
    assert unread(survey(3000, 4000, room, openings=(box(3200, 0, 6000, 4000),))).share == 0


def test_a_hole_between_the_readings_is_left_out_but_missing_stations_are_not():
    room = box(0, 0, 10000, 10000)
    few = unread(survey(10000, 10000, room, lambda x, y: ~((abs(x - 5000) < 400) & (abs(y - 5000) < 400))))
    assert few.share == 0
    # stations from 1500 on either side of the middle: two steps in from there, 2 x (3500 - 1000) mm are left
    wide = unread(survey(10000, 10000, room, lambda x, y: (abs(x - 5000) > 3400) | (abs(y - 5000) > 3400)))
    assert wide.share == pytest.approx(0.25, abs=0.03)
    assert wide.farthest == pytest.approx((5000, 5000), abs=100)
