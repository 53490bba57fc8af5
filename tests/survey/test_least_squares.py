"""Least squares by observation equations against dense matrices, and by hand."""

import math

import numpy as np
import pytest

from flatness.survey.least_squares import critical_w, find_blunders, solve, standardised


@pytest.mark.parametrize("seed", range(4))
def test_groups_and_observations_left_out_equal_a_dense_fit(seed):
    rng = np.random.default_rng(seed)
    group = np.array([0, 0, 0, 1, 1, -1, -1, 2, 2, 3, 0, 1])
    weight = rng.uniform(0.5, 3.0, len(group))
    weight[[4, 6]] = 0.0  # left out: one of a group, one of none
    weight[group == 2] = 0.0  # a group of which nothing is left
    design, observed = rng.normal(size=(len(group), 2)), rng.normal(size=len(group))
    found = solve(design, observed, weight, group)
    # each group that is left as one more column; observations left out are no rows
    used = weight > 0
    held = [one for one in range(4) if (used & (group == one)).any()]
    wide = np.column_stack([design, *(group == one for one in held)])
    root = np.sqrt(weight[used])
    matrix = root[:, None] * wide[used]
    inverse = np.linalg.inv(matrix.T @ matrix)
    fitted = inverse @ matrix.T @ (root * observed[used])
    left = wide[used] @ fitted - observed[used]
    np.testing.assert_allclose(found.unknowns, fitted[:2], atol=1e-12)
    np.testing.assert_allclose(found.cofactors, inverse[:2, :2], atol=1e-12)
    np.testing.assert_allclose(found.residuals[used], left, atol=1e-12)
    np.testing.assert_allclose(found.shares[used], 1 - np.diag(matrix @ inverse @ matrix.T), atol=1e-12)
    assert (found.shares[~used] == 0).all()
    assert found.redundancy == used.sum() - wide.shape[1]
    assert found.pvv == pytest.approx(weight[used] @ left**2)
    w = standardised(found, weight, None)
    judged = found.shares[used] > 1e-9
    own = math.sqrt(found.pvv / found.redundancy) * np.sqrt(found.shares[used][judged]) / root[judged]
    np.testing.assert_allclose(w[used][judged], left[judged] / own)
    assert np.isnan(w[used][~judged]).all()
    assert np.isnan(w[~used]).all()


def test_two_readings_show_their_scatter():
    mean = solve(np.ones((2, 1)), np.array([1.0, 4.0]), np.ones(2))
    assert mean.m0 == pytest.approx(3 / math.sqrt(2))  # the standard deviation of two is their difference over root 2


def test_an_unknown_that_nothing_observes_is_not_determined():
    design = np.array([[1.0, 0.0], [2.0, 0.0], [1.0, 0.0]])
    assert solve(design, np.arange(3.0), np.ones(3)) is None
    assert solve(design[:, :1], np.arange(3.0), np.ones(3)) is not None
    # two that are the same but for a part in a million million
    twins = np.array([[1.0, 1.0], [1.0, 1.0 + 1e-12], [1.0, 1.0]])
    assert solve(twins, np.arange(3.0), np.ones(3)) is None
    # and one of a slope of a thousandth, which is determined: by hand, 3 + 2000 (x - 1)
    slight = np.column_stack([np.ones(3), 1 + np.array([-1e-3, 0.0, 1e-3])])
    np.testing.assert_allclose(solve(slight, np.array([1.0, 3.0, 5.0]), np.ones(3)).unknowns, [-1997, 2000], rtol=1e-6)


def test_ten_blunders_are_named_at_most():
    observed = np.zeros(60)
    observed[:12] = 1000.0 * 2.0 ** np.arange(12)
    found = find_blunders(lambda weight: solve(np.ones((60, 1)), observed, weight), np.ones(60), 1.0)
    assert [one.which for one in found] == [(k,) for k in range(11, 1, -1)]


def test_a_fit_without_any_scatter_judges_nothing_unless_the_error_is_stated():
    near = solve(np.ones((3, 1)), np.array([1.0, 1.0, 1.0 + 3e-9]), np.ones(3))
    assert np.isnan(standardised(near, np.ones(3), None)).all()
    # stated: residuals 1, 1, -2 nanometres over errors of 1e-9 times the root of 2/3
    np.testing.assert_allclose(standardised(near, np.ones(3), 1e-9), np.array([1, 1, -2]) / math.sqrt(2 / 3), rtol=1e-6)
    far = solve(np.ones((3, 1)), np.array([1.0, 1.0, 1.003]), np.ones(3))
    assert np.isfinite(standardised(far, np.ones(3), None)).all()


def test_without_redundancy_no_residual_is_judged():
    assert critical_w(0, 1.0) == critical_w(0, None) == critical_w(1, None) == math.inf
    assert critical_w(1, 1.0) == pytest.approx(3.2905, abs=1e-4)  # of the normal distribution, 0.1 % outside
