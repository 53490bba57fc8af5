"""Areas and volumes beyond a bound, against closed forms and brute force."""

import numpy as np
import pytest

from flatness.comparison.comparing import KINDS, amount_beyond, net_amount
from flatness.planning.volumes import cut_and_fill

RNG = np.random.default_rng(5)


def tiny(z):
    return np.full_like(z, 1e-6)


def test_with_no_bound_it_is_cut_and_fill():
    z = RNG.normal(size=(8, 9))
    z[0, 0] = z[3, 4] = np.nan
    whole = cut_and_fill(z, 120.0)
    for kind in KINDS:
        amount = amount_beyond(z, np.zeros_like(z), tiny(z), 120.0, kind)
        assert amount.area == pytest.approx(getattr(whole, f"{kind}_area"))
        assert amount.volume == pytest.approx(getattr(whole, f"{kind}_volume"))
    assert net_amount(z, 120.0)[0] == pytest.approx(whole.fill_volume - whole.cut_volume)


def test_a_wedge_beyond_a_bound():
    # closed form: change 0 to 8 along 8 cells of 1 x 2 rows; beyond 3 lie 5 cells, mean (3 + 8) / 2
    z = np.tile(np.arange(9.0), (3, 1))
    amount = amount_beyond(z, np.full_like(z, 3.0), tiny(z), 1.0, "fill")
    assert (amount.area, amount.volume) == pytest.approx((5 * 2, 5 * 2 * 5.5))
    down = amount_beyond(-z, np.full_like(z, 3.0), tiny(z), 1.0, "cut")
    assert (down.area, down.volume) == pytest.approx((10, 55))
    assert amount_beyond(-z, np.full_like(z, 3.0), tiny(z), 1.0, "fill").area == 0


def test_any_cell_against_many_small_squares():
    z, bound = RNG.normal(0, 2, (3, 3)), RNG.uniform(0.2, 1.0, (3, 3))
    fine = (np.arange(400) + 0.5) / 400
    u, v = np.meshgrid(fine, fine)

    def on_triangles(corners):
        """Height of four triangles about the middle, at u, v of the cell."""
        a, b, c, d = corners  # round the cell from u = v = 0
        middle = sum(corners) / 4
        x, y = 2 * u - 1, 2 * v - 1
        side = np.select([(-y >= np.abs(x)), (x >= np.abs(y)), (y >= np.abs(x))], [0, 1, 2], 3)
        ends = np.array([[a, b], [b, c], [d, c], [a, d]])[side]
        out, along = np.maximum(np.abs(x), np.abs(y)), np.where(side % 2 == 0, x, y)
        # linear from the middle to the point of the side that the ray meets
        return middle * (1 - out) + (ends[..., 0] * (out - along) + ends[..., 1] * (out + along)) / 2

    area = volume = 0.0
    for j in range(2):
        for i in range(2):
            change, limit = (on_triangles([g[j, i], g[j, i + 1], g[j + 1, i + 1], g[j + 1, i]]) for g in (z, bound))
            area += (change > limit).mean()
            volume += np.where(change > limit, change, 0).mean()
    found = amount_beyond(z, bound, tiny(z), 1.0, "fill")
    assert (found.area, found.volume) == pytest.approx((area, volume), abs=4e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_the_shares_say_how_the_amount_moves(kind):
    y, x = np.mgrid[0:12, 0:14]
    z = 4 * np.sin(x / 3.0) * np.cos(y / 2.5)
    bound, error = np.full_like(z, 1.0), np.full_like(z, 0.3)
    amount = amount_beyond(z, bound, error, 100.0, kind)
    for move in (0.3 * np.ones_like(z), 0.3 * np.exp(-((x - 5) ** 2 + (y - 6) ** 2) / 30)):
        up, down = (amount_beyond(z + s * move, bound, error, 100.0, kind) for s in (1, -1))
        assert (amount.area_share * move).sum() == pytest.approx((up.area - down.area) / 2, rel=0.06, abs=2e3)
        assert (amount.volume_share * move).sum() == pytest.approx((up.volume - down.volume) / 2, rel=0.06, abs=2e3)


def test_shares_of_a_whole_node_are_the_area_it_stands_for():
    z = np.full((6, 7), 5.0)
    amount = amount_beyond(z, np.full_like(z, 1.0), np.full_like(z, 0.2), 50.0, "fill")
    np.testing.assert_allclose(amount.volume_share[1:-1, 1:-1], 2500.0)
    np.testing.assert_allclose(amount.area_share, 0.0, atol=1e-9)
    assert amount.volume_share.sum() == pytest.approx(5 * 6 * 2500.0)
