"""Places that are wavier than the rest of a surface: against covariances written out, and on floors of known truth."""

from dataclasses import replace

import numpy as np
import pytest

import flatness
from flatness.surface.fitting import fit_parameters
from flatness.surface.framing import Patch
from flatness.surface.kriging import Parameters, covariance
from flatness.surface.likely import likely_surface
from flatness.surface.prior import Extent, Prior

FT = 304.8
FLAT = Parameters(1.5, 3000.0, 2500.0, 0.8)
# a part, its radius and its correlation length along x and along y, as its docstring has them
ROUND = (Patch.about((1500.0, 2200.0), 1300.0, 5.0), (1300, 1300), (0.7 * 1300, 0.7 * 1300))
STRIP = (Patch.strip("x", 2200.0, 1300.0, 0.5, 5.0), (np.inf, 1300), (6 * FT, 0.5 * 1300))
either = pytest.mark.parametrize(("part", "radius", "length"), [ROUND, STRIP], ids=["round", "strip"])
GX, GY = np.meshgrid(np.arange(9) * 2 * FT, np.arange(11) * 2 * FT)


def matern(d):
    r = np.sqrt(5) * d
    return (1 + r + r**2 / 3) * np.exp(-r)


def written_out(x, y, to_x, to_y, radius, length):
    out = np.empty((len(x), len(to_x)))
    for i, (a, b) in enumerate(zip(x, y, strict=True)):
        for k, (c, d) in enumerate(zip(to_x, to_y, strict=True)):
            away = [((u - 1500) / radius[0]) ** 2 + ((v - 2200) / radius[1]) ** 2 for u, v in ((a, b), (c, d))]
            inside = [max(0.0, 1 - one) for one in away]
            out[i, k] = 1.5**2 * matern(np.hypot((a - c) / 3000, (b - d) / 2500))
            out[i, k] += 5.0**2 * inside[0] * inside[1] * matern(np.hypot((a - c) / length[0], (b - d) / length[1]))
    return out


@either
def test_the_covariance_is_that_of_surface_and_patch(part, radius, length):
    (x, y), (to_x, to_y) = np.random.default_rng(1).uniform(0, 4000, (2, 2, 12))
    p, expected = replace(FLAT, ridges=(part,)), written_out(x, y, to_x, to_y, radius, length)
    np.testing.assert_allclose(covariance(x, y, to_x, to_y, p), expected, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(p.variance(x, y), np.diag(written_out(x, y, x, y, radius, length)), rtol=1e-9)


@either
def test_surfaces_drawn_have_that_covariance(part, radius, length):
    x, y = np.random.default_rng(2).uniform(0, 4000, (2, 14))
    p = replace(FLAT, ridges=(part,))
    drawn = Prior(p, Extent(0.0, 4000.0, 0.0, 4000.0, 200.0), x, y).draw(6000, np.random.default_rng(3))
    expected = written_out(x, y, x, y, radius, length)
    error = np.sqrt((np.outer(np.diag(expected), np.diag(expected)) + expected**2) / 6000)
    # of 105 covariances none over 5 of its own errors of sampling
    assert np.abs((np.cov(drawn) - expected) / error).max() < 5


def ground(seed):
    rng = np.random.default_rng(seed)
    k, phase = rng.normal(size=(2, 40)) / (8 * FT), rng.uniform(0, 2 * np.pi, 40)
    return lambda x, y: 0.12 * np.cos(x[..., None] * k[0] + y[..., None] * k[1] + phase).sum(axis=-1)


def dip(x, y):
    """9 mm deep and 6 ft across, about (8 ft, 12 ft)."""
    away = np.hypot(x - 8 * FT, y - 12 * FT) / (3 * FT)
    return -9.0 * (0.5 + 0.5 * np.cos(np.pi * np.minimum(away, 1)))


def read(shape, seed):
    noise = np.random.default_rng([seed, 5]).normal(0, 0.8, GX.shape)
    return flatness.make_survey(GX, GY, shape(GX, GY) + noise, accuracy=0.8)


def test_a_dip_in_one_place_leaves_the_rest_as_sure_as_it_is_without():
    """The plain model takes a dip for short waves everywhere: its error far from the dip is much larger."""
    far, patched, plain, off = [], [], [], []
    for seed in range(6):
        own = ground(seed)
        likely = likely_surface(read(lambda x, y, own=own: own(x, y) + dip(x, y), seed), FT, trusting=True)
        without = likely_surface(read(own, seed), FT, trusting=True)
        gx, gy = np.meshgrid(likely.x, likely.y)
        away = np.hypot(gx - 8 * FT, gy - 12 * FT) > 6 * FT
        far.append(np.median(without.error[away]))
        patched.append(np.median(likely.error[away]))
        fit = fit_parameters(read(lambda x, y, own=own: own(x, y) + dip(x, y), seed), patches=False)
        plain.append(fit.best.length_x)
        off.append(np.abs(likely.mean - own(gx, gy) - dip(gx, gy)) / likely.error)
    assert np.mean(patched) < 1.5 * np.mean(far)
    assert np.median(plain) < 4 * FT  # waves of the length of the dip
    # the truth lies within three errors on all but a few places
    assert np.mean(np.array(off) > 3) < 0.01


def test_where_nothing_stands_out_the_surface_is_what_it_was():
    survey = read(ground(3), 3)
    one, other = fit_parameters(survey), fit_parameters(survey, patches=False)
    assert (one.best, one.suppositions) == (other.best, ())
    np.testing.assert_array_equal(one.spread, other.spread)


def test_a_room_of_few_stations_has_no_patches():
    part = np.s_[::4, ::4]
    survey = flatness.make_survey(GX[part], GY[part], dip(GX, GY)[part], accuracy=0.8)
    assert not any(isinstance(r, Patch) for s in fit_parameters(survey).suppositions for r in s.fit.best.ridges)


@pytest.mark.parametrize("turn", [False, True])
def test_a_patch_moves_with_the_room(turn):
    survey = read(lambda x, y: dip(x, y) + 0.3 * np.sin(x / 900), 1)
    moved = replace(
        survey,
        points=survey.points.assign(
            **({"x": survey.points["y"], "y": survey.points["x"]} if turn else {"x": survey.points["x"] + 5000.0})
        ),
    )
    one, other = (likely_surface(s, FT, trusting=True) for s in (survey, moved))
    np.testing.assert_allclose(one.mean, other.mean.T if turn else other.mean, atol=0.02)
