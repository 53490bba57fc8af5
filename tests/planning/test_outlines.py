"""Outlines that can be chalked: straight, on the lattice's marks, wide enough to work in."""

import numpy as np
import pytest

from flatness.planning.outlines import MOST_CORNERS, places_of
from flatness.surface.lattice import make_surface

STEP = 152.4  # 6 in
LONG = np.s_[4:16]


@pytest.mark.parametrize("where", [(LONG, 0), (LONG, -1), (0, LONG), (-1, LONG), (LONG, 7), (0, 0), (9, 9)])
def test_no_place_is_narrower_than_a_foot_at_a_wall_or_away_from_it(where):
    change = np.zeros((20, 24))
    change[where] = 2.0
    (place,) = places_of(change, make_surface(np.zeros(change.shape), STEP), least=0.4)
    x0, y0, x1, y1 = place.outline.bounds
    assert min(x1 - x0, y1 - y0) >= 2 * STEP - 1e-6
    # within the walls, on the lattice's marks, around all that moves
    assert (x0, y0) >= (0, 0)
    assert (x1, y1) <= (23 * STEP, 19 * STEP)
    corners = np.array(place.outline.exterior.coords) / STEP
    np.testing.assert_allclose(corners, np.round(corners), atol=1e-9)
    assert place.nodes[change > 0].all()


@pytest.mark.parametrize("seed", range(20))
def test_outlines_have_a_dozen_corners_at_most_each_on_a_mark(seed):
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(40), np.arange(30))
    change = sum(
        rng.choice([-5.0, 5.0]) * np.exp(-np.hypot((x - rng.uniform(0, 40)) / 4, (y - rng.uniform(0, 30)) / 3))
        for _ in range(6)
    )
    for place in places_of(change, make_surface(np.zeros(change.shape), STEP), least=1.0):
        corners = np.array(place.outline.exterior.coords[:-1]) / STEP
        assert len(corners) <= MOST_CORNERS
        np.testing.assert_allclose(corners, np.round(corners), atol=1e-9)
        sides = np.diff(np.array(place.outline.minimum_rotated_rectangle.exterior.coords), axis=0)
        assert np.hypot(*sides.T).min() >= 2 * STEP - 1e-6
