"""Kriging against scikit-learn's Gaussian process, and its gradient against differences."""

from dataclasses import replace

import numpy as np
import pytest
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, DotProduct, Matern, WhiteKernel

from flatness.surface.kriging import (
    Parameters,
    Stations,
    left_out,
    likelihood_gradient,
    predict,
    restricted_log_likelihood,
    surface_covariance,
)

PARAMETERS = Parameters(scale=2.0, length_x=1500.0, length_y=900.0, reading_error=0.7)
VAGUE = 1e5  # [mm2] variance of a trend that scikit-learn is to know nothing of


def stations(n=60, seed=0):
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-3000, 3000, (2, n))
    z = 3 * np.sin(x / 900) + 2 * np.cos(y / 700) + 0.001 * x + rng.normal(0, 0.7, n)
    return Stations(x, y, z, np.ones(n, dtype=np.int64))


def reference(p, s):
    """scikit-learn with the same kernel, plus a constant and linear trend of very large variance."""
    kernel = (
        ConstantKernel(p.scale**2) * Matern([p.length_x / 1000, p.length_y / 1000], nu=2.5)
        + WhiteKernel(p.reading_error**2)
        + ConstantKernel(VAGUE) * DotProduct(sigma_0=1.0)
    )
    model = GaussianProcessRegressor(kernel, optimizer=None, alpha=1e-9 * p.scale**2)
    return model.fit(np.column_stack([s.x, s.y]) / 1000, s.height)


def test_mean_and_error_equal_scikit_learns():
    s = stations()
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-3000, 3000, (2, 40))
    mean, v, w = predict(s, PARAMETERS, x, y)
    variance = PARAMETERS.scale**2 - (v * v).sum(axis=0) + (w * w).sum(axis=0)
    expected, error = reference(PARAMETERS, s).predict(np.column_stack([x, y]) / 1000, return_std=True)
    np.testing.assert_allclose(mean, expected, atol=2e-4)
    # scikit-learn's error is of a new reading: its white noise comes on top
    np.testing.assert_allclose(variance + PARAMETERS.reading_error**2, error**2, rtol=1e-4)


def test_covariance_equals_scikit_learns():
    s = stations(25, seed=3)
    rng = np.random.default_rng(2)
    x, y = rng.uniform(-3000, 3000, (2, 12))
    _, v, w = predict(s, PARAMETERS, x, y)
    cov = surface_covariance(x[:, None] - x, y[:, None] - y, PARAMETERS) - v.T @ v + w.T @ w
    _, expected = reference(PARAMETERS, s).predict(np.column_stack([x, y]) / 1000, return_cov=True)
    np.testing.assert_allclose(cov + PARAMETERS.reading_error**2 * np.eye(12), expected, atol=2e-4)


def test_likelihood_differs_from_parameters_to_parameters_as_scikit_learns():
    s = stations()
    others = [
        PARAMETERS,
        replace(PARAMETERS, scale=4.0),
        replace(PARAMETERS, length_x=600.0),
        replace(PARAMETERS, length_y=2500.0),
        replace(PARAMETERS, reading_error=1.2),
    ]
    ours = np.array([restricted_log_likelihood(s, p) for p in others])
    theirs = np.array([reference(p, s).log_marginal_likelihood_value_ for p in others])
    np.testing.assert_allclose(ours - ours[0], theirs - theirs[0], atol=2e-3)


@pytest.mark.parametrize("name", ["scale", "length_x", "length_y", "reading_error"])
def test_gradient_equals_differences(name):
    s, step = stations(), 1e-5
    value, gradient = likelihood_gradient(s, PARAMETERS)
    assert value == restricted_log_likelihood(s, PARAMETERS)
    at = {k: replace(PARAMETERS, **{name: getattr(PARAMETERS, name) * np.exp(k * step)}) for k in (-1, 1)}
    slope = (restricted_log_likelihood(s, at[1]) - restricted_log_likelihood(s, at[-1])) / (2 * step)
    index = ["scale", "length_x", "length_y", "reading_error"].index(name)
    assert gradient[index] == pytest.approx(slope, rel=1e-6, abs=1e-6)


def test_left_out_equals_leaving_each_reading_out():
    s = stations(20)
    expected = []
    for k in range(20):
        others = s.chosen(np.delete(np.arange(20), k))
        mean, v, w = predict(others, PARAMETERS, s.x[k : k + 1], s.y[k : k + 1])
        variance = PARAMETERS.scale**2 * (1 + 1e-9) - (v * v).sum() + (w * w).sum() + PARAMETERS.reading_error**2
        expected.append((s.height[k] - mean[0]) / np.sqrt(variance))
    np.testing.assert_allclose(left_out(s, PARAMETERS), expected, rtol=1e-6)


def test_a_tilt_and_a_shift_do_not_touch_the_likelihood():
    s = stations()
    tilted = replace(s, height=s.height + 40 + 0.01 * s.x - 0.02 * s.y)
    assert restricted_log_likelihood(tilted, PARAMETERS) == pytest.approx(restricted_log_likelihood(s, PARAMETERS))


def test_a_station_read_n_times_weighs_as_n_readings():
    s = stations(15)
    twice = Stations(s.x, s.y, s.height, np.full(15, 2, dtype=np.int64))
    half = replace(PARAMETERS, reading_error=PARAMETERS.reading_error / np.sqrt(2))
    assert restricted_log_likelihood(twice, PARAMETERS) == pytest.approx(restricted_log_likelihood(s, half))
