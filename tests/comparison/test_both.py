"""The joint estimate against the dense formulas of universal co-kriging, solved in one system with multipliers."""

from dataclasses import replace

import numpy as np
import pytest

import comparison_rooms as pairs
import flatness
from flatness.comparison.both import Both, estimate_both, reached
from flatness.errors import ArgumentError, MeasureError
from flatness.surface.kriging import surface_covariance


def two(seed=0):
    rng = np.random.default_rng(seed)
    x, y = (rng.uniform(0, 3000, 23) for _ in range(2))
    u, v = (a.ravel() for a in np.meshgrid(np.arange(0, 3001, 750.0), np.arange(0, 3001, 1000.0)))
    before = flatness.make_survey(x, y, 4 * np.sin(x / 700) + rng.normal(0, 0.5, 23), accuracy=0.5)
    after = flatness.make_survey(u, v, 4 * np.sin(u / 700) + 3 + rng.normal(0, 0.9, u.size), accuracy=0.9)
    return before, after


def dense(both: Both, x, y, of_middle=False):
    """Weights [m, n] and variance [m] of the change: the whole system with its Lagrange multipliers at once.

    ``of_middle``: of what both days have in common instead; the variance is of the change alone.
    """
    px, py, half = both.place_x, both.place_y, both.half
    k = surface_covariance(px[:, None] - px, py[:, None] - py, both.common)
    k = k + np.outer(half, half) * surface_covariance(px[:, None] - px, py[:, None] - py, both.change)
    k = k + np.diag(both.noise + 1e-9 * both.common.scale**2)
    planes = np.column_stack([np.ones_like(px), px / 1000, py / 1000])
    h = np.hstack([planes, half[:, None] * planes])
    system = np.block([[k, h], [h.T, np.zeros((6, 6))]])
    qx, qy = x - both.origin[0], y - both.origin[1]
    cross = half[:, None] * surface_covariance(px[:, None] - qx, py[:, None] - qy, both.change)
    none, plane = np.zeros((3, len(x))), np.vstack([np.ones(len(x)), qx / 1000, qy / 1000])
    wanted = np.vstack([none, plane])
    if of_middle:
        cross = surface_covariance(px[:, None] - qx, py[:, None] - qy, both.common)
        wanted = np.vstack([plane, none])
    right = np.vstack([cross, wanted])
    solved = np.linalg.solve(system, right)
    variance = both.change.scale**2 - (solved * right).sum(axis=0)
    return solved[: len(px)].T, variance, solved, right


def test_weights_and_variance_equal_the_dense_system():
    both = estimate_both(*two(), 300.0)
    x, y = both.nodes()
    rows = both.rows(x, y)
    weights, variance, _, _ = dense(both, x, y)
    np.testing.assert_allclose(rows.weights, weights, atol=1e-7)
    own = (weights**2) @ both.noise
    np.testing.assert_allclose(rows.unseen + own, variance, rtol=1e-5)


def test_the_variance_of_a_sum_equals_the_double_sum():
    both = estimate_both(*two(), 300.0)
    x, y = both.nodes()
    rows = both.rows(x, y)
    share = np.where(both.inside, np.random.default_rng(1).uniform(-1, 2, both.inside.shape), 0.0)
    _, _, solved, right = dense(both, x, y)
    every = surface_covariance(x[:, None] - x, y[:, None] - y, both.change) - right.T @ solved
    at = share[both.inside]
    own = ((at @ rows.weights) ** 2) @ both.noise
    assert both.unseen_sum(share, rows) == pytest.approx(at @ every @ at - own, rel=1e-6)


def test_the_middle_of_both_days_equals_the_dense_system():
    both = estimate_both(*two(), 300.0)
    x, y = both.nodes()
    h = np.random.default_rng(2).normal(0, 3, len(both.heights)) + both.place_x / 300
    both = replace(both, heights=h)
    _, _, solved, _ = dense(both, x, y, of_middle=True)
    np.testing.assert_allclose(both.middle(x, y), solved[: len(h)].T @ h + both.origin[2], atol=1e-6)


def test_a_plane_between_the_days_is_found_whole_and_a_common_surface_not_at_all():
    x, y = (a.ravel() for a in np.meshgrid(np.arange(8) * 500.0, np.arange(7) * 500.0))
    common = 6 * np.sin(x / 900) * np.cos(y / 700)
    before = flatness.make_survey(x, y, common, accuracy=0.5)
    same = estimate_both(before, before)
    assert np.abs(same.difference(same.rows(*same.nodes()))).max() < 1e-9
    tilted = estimate_both(before, flatness.make_survey(x, y, common + 7 + x / 500 - y / 800, accuracy=0.5))
    at = tilted.nodes()
    np.testing.assert_allclose(tilted.difference(tilted.rows(*at)), 7 + at[0] / 500 - at[1] / 800, atol=1e-6)


def test_exchanging_the_days_changes_the_sign_alone():
    before, after = two()
    one, other = estimate_both(before, after, 300.0), estimate_both(after, before, 300.0)
    a, b = (both.rows(*both.nodes()) for both in (one, other))
    np.testing.assert_allclose(one.difference(a), -other.difference(b), atol=1e-9)
    np.testing.assert_allclose(one.variance(a.weights), other.variance(b.weights), atol=1e-9)
    np.testing.assert_allclose(one.middle(*one.nodes()), other.middle(*other.nodes()), atol=1e-9)


def test_only_what_both_surveys_reach_is_compared():
    x, y = (a.ravel() for a in np.meshgrid(np.arange(9) * 500.0, np.arange(7) * 500.0))
    left, right = x < 2600, x > 900
    before, after = (flatness.make_survey(x[k], y[k], x[k] * 0, accuracy=1.0) for k in (left, right))
    both = estimate_both(before, after, 250.0)
    assert (both.x[0], both.x[-1]) == (1000.0, 2500.0)
    assert both.inside.all()
    # an L-shaped grid without an outline ends where its stations end
    corner = ~((x > 2100) & (y > 1600))
    bent = flatness.make_survey(x[corner], y[corner], x[corner] * 0, accuracy=1.0)
    inside = reached(bent, np.array([2000.0, 3000.0]), np.array([1500.0, 2500.0]))
    assert inside.tolist() == [[True, True], [True, False]]


def test_what_cannot_be_compared_is_said():
    x, y = (a.ravel() for a in np.meshgrid(np.arange(5) * 500.0, np.arange(5) * 500.0))
    floor = flatness.make_survey(x, y, x * 0, accuracy=1.0)
    with pytest.raises(ArgumentError, match="not of one surface"):
        estimate_both(floor, flatness.make_survey(x, y, x * 0, surface="ceiling", accuracy=1.0))
    with pytest.raises(MeasureError, match="no area in common"):
        estimate_both(floor, flatness.make_survey(x + 9000, y, x * 0, accuracy=1.0))
    with pytest.raises(ArgumentError, match="too fine"):
        estimate_both(floor, floor, 1.0)
    with pytest.raises(ArgumentError, match="spacing"):
        estimate_both(floor, floor, -5.0)


def test_the_day_that_was_read_worse_counts_for_its_own_error():
    height = np.zeros_like(pairs.GX)
    before, after = pairs.read(height, pairs.grid(4), 1, 0.5), pairs.read(height, pairs.grid(4), 2, 1.5)
    both = estimate_both(before, after)
    assert both.noise[both.half < 0].max() == pytest.approx(0.25)
    assert both.noise[both.half > 0].max() == pytest.approx(2.25)
