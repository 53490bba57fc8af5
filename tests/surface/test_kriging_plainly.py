"""Kriging by plain dense matrices: on grids, with framing, doubts, readings taken again, some places at a time."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import LinAlgError

from flatness.surface import kriging
from flatness.surface.framing import Joists, Patch, Ridge
from flatness.surface.kriging import (
    Apart,
    Parameters,
    Stations,
    ToStations,
    cholesky_factor,
    conditioned,
    covariance,
    factor,
    left_out,
    likelihood_gradient,
    predict,
    projection,
    reading_errors,
    restricted_log_likelihood,
)

FOOT = 304.8
JOISTS = Joists("y", 100.0, 400.0, 0.8)
RIDGES = (Ridge("x", 900.0, 500.0, 5.0), Patch.about((700.0, 800.0), 900.0))
PLAIN = Parameters(2.0, 1500.0, 900.0, 0.7)
ALL = replace(PLAIN, joists=JOISTS, ridges=RIDGES)


def grid(columns=6, rows=5, seed=0, scattered=False):
    rng = np.random.default_rng(seed)
    x, y = (place.ravel() for place in np.meshgrid(np.arange(columns) * FOOT, np.arange(rows) * FOOT))
    if scattered:
        x, y = x + rng.uniform(-90, 90, x.size), y + rng.uniform(-90, 90, x.size)
    height = rng.normal(0, 2, x.size) + 0.002 * x
    doubt = rng.uniform(0, 1, x.size) * (rng.random(x.size) < 0.3)
    return Stations(x, y, height, rng.integers(1, 4, x.size), doubt)


def matern(distance):
    """Rasmussen and Williams (2006), equation 4.17, nu = 5/2."""
    return (1 + math.sqrt(5) * distance + 5 * distance**2 / 3) * np.exp(-math.sqrt(5) * distance)


def plainly(p, x, y, to_x, to_y):
    """Covariance of the surface pair by pair; that of a member's hat written out, a patch's as its class gives it."""
    out = np.zeros((len(x), len(to_x)))
    for i in range(len(x)):
        for j in range(len(to_x)):
            dx, dy = (x[i] - to_x[j]) / p.length_x, (y[i] - to_y[j]) / p.length_y
            out[i, j] = p.scale**2 * matern(math.hypot(dx, dy))
    for part in p.framing:
        if isinstance(part, Patch):
            out += part.covariance(x, y, to_x, to_y)
            continue
        places = np.arange(-30, 31) * part.half_width + part.at if isinstance(part, Joists) else [part.at]
        for i in range(len(x)):
            for j in range(len(to_x)):
                here, there = ((x[i], y[i]), (to_x[j], to_y[j]))
                if part.along == "x":
                    here, there = here[::-1], there[::-1]
                hats = sum(
                    max(0.0, 1 - abs(here[0] - at) / part.half_width)
                    * max(0.0, 1 - abs(there[0] - at) / part.half_width)
                    for at in places
                )
                out[i, j] += part.scale**2 * hats * matern(abs(here[1] - there[1]) / part.length)
    return out


class Dense:
    """Universal kriging by inverses of dense matrices (Rasmussen and Williams, section 2.7)."""

    def __init__(self, s, p, height=None):
        self.s, self.p = s, p
        self.z = s.height if height is None else height
        doubt = np.zeros(len(s.x)) if s.doubt is None else s.doubt
        error = p.reading_error**2 / s.count + doubt**2 + 1e-9 * p.scale**2
        self.K = plainly(p, s.x, s.y, s.x, s.y) + np.diag(error)
        self.H = np.column_stack([np.ones_like(s.x), s.x / 1000, s.y / 1000])
        self.Ki = np.linalg.inv(self.K)
        self.gram = self.H.T @ self.Ki @ self.H
        self.beta = np.linalg.solve(self.gram, self.H.T @ self.Ki @ self.z)
        self.P = self.Ki - self.Ki @ self.H @ np.linalg.inv(self.gram) @ self.H.T @ self.Ki

    def likelihood(self):
        n, m = self.H.shape
        logs = np.linalg.slogdet(self.K)[1] + np.linalg.slogdet(self.gram)[1] + (n - m) * math.log(2 * math.pi)
        return -0.5 * (logs + self.z @ self.P @ self.z)

    def predict(self, x, y):
        k, h = plainly(self.p, self.s.x, self.s.y, x, y), np.column_stack([np.ones_like(x), x / 1000, y / 1000])
        mean = h @ self.beta + k.T @ self.Ki @ (self.z - self.H @ self.beta)
        left = h.T - self.H.T @ self.Ki @ k
        return mean, plainly(self.p, x, y, x, y) - k.T @ self.Ki @ k + left.T @ np.linalg.solve(self.gram, left)


CASES = [(PLAIN, False), (PLAIN, True), (ALL, False), (ALL, True)]


@pytest.mark.parametrize(("p", "scattered"), CASES)
def test_equals_dense_matrices(p, scattered):
    s = grid(scattered=scattered)
    dense = Dense(s, p)
    assert restricted_log_likelihood(s, p) == pytest.approx(dense.likelihood(), rel=1e-9)
    assert likelihood_gradient(s, p)[0] == pytest.approx(dense.likelihood(), rel=1e-9)
    f = factor(s, p)
    np.testing.assert_allclose(f.coefficients, dense.beta, rtol=1e-8)
    np.testing.assert_allclose(projection(f), dense.P, atol=1e-9)
    np.testing.assert_allclose(left_out(s, p), dense.P @ s.height / np.sqrt(np.diag(dense.P)), rtol=1e-8)
    np.testing.assert_allclose(left_out(s, p, f), left_out(s, p))
    rng = np.random.default_rng(3)
    x, y = rng.uniform(-200, 1900, (2, 9))
    mean, v, w = predict(s, p, x, y)
    expected, cov = dense.predict(x, y)
    np.testing.assert_allclose(mean, expected, atol=1e-8)
    np.testing.assert_allclose(covariance(x, y, x, y, p) - v.T @ v + w.T @ w, cov, atol=1e-8)
    np.testing.assert_allclose(p.variance(x, y) * np.ones(9), np.diag(plainly(p, x, y, x, y)), rtol=1e-12)
    np.testing.assert_allclose(predict(s, p, x, y, f)[0], mean)


@pytest.mark.parametrize(("p", "scattered"), CASES)
def test_the_gradient_equals_differences_of_dense_matrices(p, scattered):
    s, step = grid(4, 3, scattered=scattered), 1e-4
    _, gradient = likelihood_gradient(s, p)
    names = ["scale", "length_x", "length_y", *(["joists"] if p.joists else []), "reading_error"]
    for name, slope in zip(names, gradient, strict=True):
        at = []
        for factor_ in (math.exp(-step), math.exp(step)):
            if name == "joists":
                other = replace(p, joists=replace(p.joists, scale=p.joists.scale * factor_))
            else:
                other = replace(p, **{name: getattr(p, name) * factor_})
            at.append(Dense(s, other).likelihood())
        assert slope == pytest.approx((at[1] - at[0]) / (2 * step), rel=1e-5, abs=1e-5)


def test_parameters_that_cannot_be():
    nothing = Parameters(0.0, 1.0, 1.0, 0.0)
    s = replace(grid(), doubt=None)
    for p, count in ((nothing, 4), (replace(nothing, joists=replace(JOISTS, scale=0.0)), 5)):
        assert restricted_log_likelihood(s, p) == -math.inf
        value, gradient = likelihood_gradient(s, p)
        assert (value, gradient.tolist()) == (-math.inf, [0.0] * count)
    with pytest.raises(LinAlgError, match="not positive definite"):
        cholesky_factor(np.array([[1.0, 2.0], [2.0, 1.0]]))


def test_distances_that_recur_are_worked_with_once():
    s = grid()
    # 6 x 5 stations a foot apart: six distinct distances one way and five the other, of 900 pairs
    assert s.apart.dx.ravel() == pytest.approx(FOOT * np.arange(6))
    assert s.apart.dy.ravel() == pytest.approx(FOOT * np.arange(5))
    pairs = np.random.default_rng(1).normal(size=(30, 30))
    summed = np.zeros((6, 5))
    for i in range(30):
        for j in range(30):
            summed[round(abs(s.x[i] - s.x[j]) / FOOT), round(abs(s.y[i] - s.y[j]) / FOOT)] += pairs[i, j]
    np.testing.assert_allclose(s.apart.summed(pairs), summed)
    # where more than half are distinct each pair stands for itself: of 2 x 2 pairs with 1 and 2 distances, and 2 and 2
    few = Apart.of(np.array([0.0, 0.0]), np.array([0.0, 1.0]), np.array([0.0, 0.0]), np.array([0.0, 1.0]))
    assert few.which is not None
    many = Apart.of(np.array([0.0, 1.0]), np.array([0.0, 1.0]), np.array([0.0, 1.0]), np.array([0.0, 1.0]))
    assert many.which is None


@pytest.mark.parametrize("most_pairs", [10**6, 10])
def test_covariance_with_the_stations_some_places_at_a_time(monkeypatch, most_pairs):
    monkeypatch.setattr(kriging, "AT_ONCE", 7)
    monkeypatch.setattr(kriging, "MOST_PAIRS", most_pairs)
    monkeypatch.setattr(kriging, "MOST_UNITS", 2)
    s = grid(4, 3)
    x, y = (place.ravel() for place in np.meshgrid(np.linspace(0, 1200, 6), np.linspace(0, 900, 5)))
    held = ToStations(s, x, y)
    for p in (PLAIN, ALL, replace(ALL, scale=1.0, joists=replace(JOISTS, scale=2.0), length_x=700.0), ALL):
        parts = list(held.rows(p))
        assert [len(part) for part in parts] == [7, 7, 7, 7, 2]
        np.testing.assert_allclose(np.concatenate(parts), plainly(p, x, y, s.x, s.y), atol=1e-10)
    # so many stations at once, with framing
    assert restricted_log_likelihood(s, ALL) == pytest.approx(Dense(s, ALL).likelihood(), rel=1e-9)


@pytest.mark.parametrize("p", [PLAIN, ALL])
def test_conditioned_surfaces_are_what_was_there_and_what_the_readings_differ_kriged(p):
    # Matheron's rule, column by column: the dense prediction of the differences is added
    s, rng = grid(4, 3), np.random.default_rng(5)
    x, y = rng.uniform(0, 1000, (2, 11))
    there, read = rng.normal(size=(11, 3)), rng.normal(size=(12, 3))
    cov = plainly(p, x, y, s.x, s.y)
    found = conditioned(s, factor(s, p), x, y, [cov[:4], cov[4:5], cov[5:]], there, read)
    for k in range(3):
        added = Dense(s, p, s.height - read[:, k]).predict(x, y)[0]
        np.testing.assert_allclose(found[:, k], there[:, k] + added, atol=1e-8)


def test_errors_of_reading_have_their_spread():
    s = replace(grid(4, 3), doubt=np.linspace(0, 2, 12))
    drawn = reading_errors(s, PLAIN, 20_000, np.random.default_rng(6))
    assert drawn.shape == (12, 20_000)
    # variances add: of a mean of so many readings, and of the doubt; 3.5 standard errors of a spread are 2 %
    np.testing.assert_allclose(drawn.std(axis=1), np.sqrt(0.49 / s.count + s.doubt**2), rtol=0.02)
    assert s.chosen(np.array([3, 1])).doubt.tolist() == [s.doubt[3], s.doubt[1]]
