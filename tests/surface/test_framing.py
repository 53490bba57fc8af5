"""Members beneath a surface in the likely surface: against covariances written out, and on floors of known truth."""

from dataclasses import replace

import numpy as np
import pytest

import flatness
from flatness.surface.fitting import PROUD, fit_parameters
from flatness.surface.framing import Joists, Ridge
from flatness.surface.kriging import Parameters, Stations, covariance, likelihood_gradient, restricted_log_likelihood
from flatness.surface.likely import likely_surface
from flatness.survey.readings import Framing

FT, IN = 304.8, 25.4
JOISTS = Joists("y", 100.0, 16 * IN, 1.3)
RIDGE = Ridge("x", 900.0, 200.0)
GX, GY = (axis.ravel() for axis in np.meshgrid(np.arange(8) * 2 * FT, np.arange(11) * 2 * FT))


def matern(d):
    r = np.sqrt(5) * d
    return (1 + r + r**2 / 3) * np.exp(-r)


def hat(off):
    return max(0.0, 1 - abs(off))


def written_out(x, y, to_x, to_y, p):
    """Surface, members one by one, and the ridge, place by place."""
    out = np.empty((len(x), len(to_x)))
    for i, (a, b) in enumerate(zip(x, y, strict=True)):
        for k, (c, d) in enumerate(zip(to_x, to_y, strict=True)):
            out[i, k] = p.scale**2 * matern(np.hypot((a - c) / p.length_x, (b - d) / p.length_y))
            if p.joists is not None:
                step = p.joists.half_width
                places = p.joists.at + step * np.arange(-40, 41)
                shared = sum(hat((a - at) / step) * hat((c - at) / step) for at in places)
                out[i, k] += p.joists.scale**2 * shared * matern(abs(b - d) / p.joists.length)
            for r in p.ridges:
                shared = hat((b - r.at) / r.half_width) * hat((d - r.at) / r.half_width)
                out[i, k] += r.scale**2 * shared * matern(abs(a - c) / r.length)
    return out


P = Parameters(2.0, 1500.0, 900.0, 0.8, joists=JOISTS, ridges=(RIDGE,))


def places(count, seed=3):
    return np.random.default_rng(seed).uniform(-2000, 3000, (2, count))


def test_the_covariance_is_that_of_surface_members_and_ridge():
    (x, y), (to_x, to_y) = places(14), places(9, 4)
    expected = written_out(x, y, to_x, to_y, P)
    np.testing.assert_allclose(covariance(x, y, to_x, to_y, P), expected, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(P.variance(x, y), np.diag(written_out(x, y, x, y, P)), rtol=1e-9)
    turned = replace(
        P, joists=replace(JOISTS, along="x"), ridges=(replace(RIDGE, along="y"),), length_x=900.0, length_y=1500.0
    )
    np.testing.assert_allclose(covariance(y, x, to_y, to_x, turned), expected, rtol=1e-9, atol=1e-12)


def test_the_gradient_is_the_slope_of_the_likelihood():
    x, y = places(30)
    s = Stations(x, y, np.random.default_rng(1).normal(0, 3, 30), np.ones(30, dtype=np.int64))
    _, gradient = likelihood_gradient(s, P)
    step = 1e-5
    for number, moved in enumerate(
        [
            lambda g: replace(P, scale=P.scale * g),
            lambda g: replace(P, length_x=P.length_x * g),
            lambda g: replace(P, length_y=P.length_y * g),
            lambda g: replace(P, joists=replace(JOISTS, scale=JOISTS.scale * g)),
            lambda g: replace(P, reading_error=P.reading_error * g),
        ]
    ):
        ahead, behind = (restricted_log_likelihood(s, moved(np.exp(sign * step))) for sign in (1, -1))
        assert gradient[number] == pytest.approx((ahead - behind) / (2 * step), rel=1e-4, abs=1e-5)


def floor(seed, own=0.8, proud=None, framing=True):
    """A floor of 14 ft by 20 ft read every 2 ft, over joists that each stand off on their own, and one much more."""
    rng = np.random.default_rng(seed)
    k, t = np.divmod(GX / (16 * IN), 1)
    off = rng.normal(0, own, 16)
    z = (1 - t) * off[k.astype(int)] + t * off[k.astype(int) + 1] + 2 * np.sin(GX / 1800 + seed) * np.cos(GY / 2100)
    if proud is not None:
        at, half, height = proud
        z = z + height * np.exp(-(((GY - rng.uniform(2000, 4000)) / 2500) ** 2)) * np.maximum(
            1 - np.abs(GX - at) / half, 0
        )
    z = z + rng.normal(0, 0.8, len(z))
    return flatness.make_survey(GX, GY, z, accuracy=0.8, framing=Framing(16 * IN, "y", 0.0) if framing else None)


def test_draws_have_the_mean_and_the_covariance_that_the_readings_leave():
    count, one = 4000, floor(1)
    likely = likely_surface(one, FT / 2)
    ox, oy, oz = likely.fit.origin
    p = replace(P, joists=replace(JOISTS, at=-ox), ridges=(replace(RIDGE, at=900.0 - oy),))
    fit = replace(likely.fit, best=p, spread=np.zeros((4, 4)), suppositions=())
    rng = np.random.default_rng(2)
    x, y = np.append(rng.uniform(0, 14 * FT, 30), GX[:8]), np.append(rng.uniform(0, 20 * FT, 30), GY[:8])
    drawn = replace(likely, fit=fit).draw_at(x, y, count, seed=2)

    def columns(x, y):
        return np.column_stack([np.ones_like(x), x / 1000, y / 1000])

    s, px, py = fit.stations, x - ox, y - oy
    k = np.linalg.inv(written_out(s.x, s.y, s.x, s.y, p) + p.reading_error**2 * np.eye(len(s.x)))
    h, across = columns(s.x, s.y), written_out(s.x, s.y, px, py, p)
    spread = np.linalg.inv(h.T @ k @ h)
    left = columns(px, py) - across.T @ k @ h
    beta = spread @ h.T @ k @ s.height
    mean = columns(px, py) @ beta + across.T @ k @ (s.height - h @ beta)
    expected = written_out(px, py, px, py, p) - across.T @ k @ across + left @ spread @ left.T
    variance = np.diag(expected)
    # of 38 means and 741 covariances: none over 5 of its own errors of sampling
    assert np.abs((drawn.mean(axis=0) - oz - mean) / np.sqrt(variance / count)).max() < 5
    error = np.sqrt((np.outer(variance, variance) + expected**2) / count)
    assert np.abs((np.cov(drawn.T) - expected) / error).max() < 5


def test_a_proud_member_on_a_line_of_stations_is_found():
    at, found = 3 * 16 * IN, 0
    for seed in range(10):
        fit = fit_parameters(one := floor(seed, proud=(at, 16 * IN, 9.5)), framing=one.framing)
        there = [
            s.weight for s in fit.suppositions if any(abs(r.at + fit.origin[0] - at) < 1 for r in s.fit.best.ridges)
        ]
        found += sum(there) > 0.5
    assert found >= 8


def test_without_one_none_is_supposed_and_unseen_members_keep_their_prior():
    weights = []
    for seed in range(10):
        fit = fit_parameters(one := floor(seed), framing=one.framing)
        plain = next(s for s in fit.suppositions if not s.fit.best.ridges and not s.ridges)
        weights.append(plain.weight)
        unseen = [s.weight / plain.weight for s in fit.suppositions if s.unseen and s.fit is plain.fit]
        # two widths for each of the eleven members within 14 ft
        np.testing.assert_allclose(unseen, PROUD / 22, rtol=1e-9)
        # narrow ones over 16, 32, 64, 80, 112, 128 and 160 in: no station 2 ft apart bears on them
        assert len(unseen) == 7
    assert np.median(weights) > 1 - 2 * PROUD


def test_draws_of_all_suppositions_have_the_mean_and_error_of_the_likely_surface():
    likely = likely_surface(floor(2, proud=(4 * 16 * IN, 16 * IN, 9.5)), 8 * IN)
    assert len({id(s.fit) for s in likely.fit.suppositions if s.weight > 0.05}) > 1
    drawn = likely.draw(1500, 1)
    # the likely surface takes the likeliest parameters of each supposition, draws what the readings allow besides
    assert np.nanmean(drawn.std(axis=0) / likely.error) == pytest.approx(1.05, abs=0.1)
    assert np.nanmean(np.abs(drawn.mean(axis=0) - likely.mean) / likely.error) < 0.15
    gx, gy = np.meshgrid(likely.x, likely.y)
    among = likely.covariance_at(gx[::5, 3], gy[::5, 3], gx[::5, 3], gy[::5, 3])
    np.testing.assert_allclose(np.sqrt(np.diag(among)), likely.error[::5, 3], rtol=1e-6)


def test_without_a_layout_and_on_a_slab_members_make_no_difference():
    plain, slab = floor(3, framing=False), replace(floor(3), framing=Framing(16 * IN, "y", 0.0, 0.0))
    one, other = (likely_surface(s, FT) for s in (plain, slab))
    assert one.parameters == other.parameters
    np.testing.assert_array_equal(one.error, other.error)
    np.testing.assert_array_equal(one.draw(20, 1), other.draw(20, 1))


def test_between_lines_of_stations_the_error_is_that_of_a_member_nobody_read():
    one, framed = (likely_surface(floor(4, framing=f), 4 * IN) for f in (False, True))
    middle = np.argmin(np.abs(framed.x - 2 * 16 * IN))
    assert np.nanmean(framed.error[:, middle]) > 1.1 * np.nanmean(one.error[:, middle])


def test_the_lattice_has_nodes_on_members():
    likely = likely_surface(floor(5))
    places = 16 * IN * np.arange(11)
    assert max(np.abs(likely.x - at).min() for at in places) < 0.01
