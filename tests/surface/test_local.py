"""Large surveys: each place from the readings about it, against the whole covariance and against known truth.

The exact estimate is worked out here by solving with the whole covariance of the readings (universal kriging:
Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, section 2.7), not by the kit.
"""

import numpy as np
import pytest

import flatness
from flatness.surface import fitting, likely, local
from flatness.surface.kriging import Parameters, Stations
from flatness.surface.local import Nearby, nearest

FT = 304.8
SMOOTH, ROUGH = Parameters(2.0, 4000.0, 4000.0, 0.8), Parameters(3.0, 1500.0, 900.0, 0.8)
PLANE = np.array([1.0, 0.002, -0.001])


def covariance(x, y, to_x, to_y, p):
    """Matern 5/2, as Rasmussen and Williams have it (4.17)."""
    r = np.sqrt(5) * np.hypot((x[:, None] - to_x) / p.length_x, (y[:, None] - to_y) / p.length_y)
    return p.scale**2 * (1 + r + r**2 / 3) * np.exp(-r)


def columns(x, y):
    return np.column_stack([np.ones_like(x), x, y])


def places_of(count, on_grid, rng):
    if on_grid:
        return (axis.ravel() - (count - 1) * FT / 2 for axis in np.meshgrid(*[np.arange(count) * FT] * 2))
    return rng.uniform(-count * FT / 2, count * FT / 2, (2, count**2))


def make(count, p, on_grid, seed=1):
    """Stations about the origin, places to estimate at, and the true heights there: a plane and one random surface."""
    rng = np.random.default_rng(seed)
    x, y = places_of(count, on_grid, rng)
    half = (count - 1) * FT / 2
    px, py = (axis.ravel() for axis in np.meshgrid(*[np.arange(-half, half + 1, 2.5 * FT)] * 2))
    ax, ay = np.append(x, px), np.append(y, py)
    k = covariance(ax, ay, ax, ay, p)
    k[np.diag_indices_from(k)] += 1e-7 * p.scale**2
    true = columns(ax, ay) @ PLANE + np.linalg.cholesky(k) @ rng.standard_normal(len(ax))
    read = true[: len(x)] + p.reading_error * rng.standard_normal(len(x))
    return Stations(x, y, read, np.ones(len(x), dtype=int)), px, py, true[len(x) :]


def exact(stations, p, px, py):
    """Estimate and covariance by the whole covariance of the readings."""
    k = covariance(stations.x, stations.y, stations.x, stations.y, p)
    k[np.diag_indices_from(k)] += p.reading_error**2
    h, c = columns(stations.x, stations.y), covariance(stations.x, stations.y, px, py, p)
    kc, kh = np.linalg.solve(k, c), np.linalg.solve(k, h)
    gram = h.T @ kh
    slope = np.linalg.solve(gram, kh.T @ stations.height)
    lean = columns(px, py) - c.T @ kh
    mean = kc.T @ stations.height + lean @ slope
    return mean, covariance(px, py, px, py, p) - c.T @ kc + lean @ np.linalg.solve(gram, lean.T)


@pytest.mark.parametrize(("p", "on_grid"), [(SMOOTH, True), (SMOOTH, False), (ROUGH, True), (ROUGH, False)])
def test_1500_readings_as_the_whole_covariance_has_it(p, on_grid):
    stations, px, py, true = make(39, p, on_grid)
    mean, whole = exact(stations, p, px, py)
    error = np.sqrt(np.diag(whole))
    found, variance = Nearby(stations, p, px, py, FT).estimate()
    assert np.abs(found - mean).max() < 0.1 * error.min()
    assert np.sqrt(variance) == pytest.approx(error, rel=0.01)
    assert 0.8 < np.std((true - found) / np.sqrt(variance)) < 1.2


@pytest.mark.parametrize("reach", [None, 1.0])
def test_draws_scatter_as_the_whole_covariance_has_it_and_honestly_where_readings_are_left_out(monkeypatch, reach):
    """By few readings the estimate is worse, and its error and draws say by how much."""
    if reach is not None:
        for name, value in (("REACH", reach), ("LEAST", 12), ("TILE", 4)):
            monkeypatch.setattr(local, name, value)
    p = SMOOTH
    stations, px, py, true = make(24, p, True)
    whole = exact(stations, p, px, py)[1]
    rng, n = np.random.default_rng(5), 8000
    ax, ay = np.append(px, stations.x), np.append(py, stations.y)
    k = covariance(ax, ay, ax, ay, p)
    k[np.diag_indices_from(k)] += 1e-9 * p.scale**2
    prior = np.linalg.cholesky(k) @ rng.standard_normal((len(ax), n))
    near = Nearby(stations, p, px, py, FT)
    read = prior[len(px) :] + p.reading_error * rng.standard_normal((len(stations.x), n))
    draws = near.conditioned(prior[: len(px)], read)
    found, variance = near.estimate()
    error, least = np.sqrt(variance), np.sqrt(np.diag(whole))
    assert np.abs(draws.mean(axis=1) - found).max() < 5 * error.max() / np.sqrt(n)
    assert draws.std(axis=1) == pytest.approx(error, rel=0.04)  # 0.8 % each, by so many draws
    assert np.std((true - found) / error) < 1.25
    if reach is None:
        at = np.ix_([0, 40], range(len(px)))  # so many draws leave 0.016 of a variance
        assert np.abs(np.cov(draws)[at] - whole[at]).max() < 0.08 * least.max() ** 2
        assert error == pytest.approx(least, rel=0.01)
    else:
        assert np.median(error / least) > 1.05  # it is worse, or this test would not be about it


def test_an_even_grid_needs_one_shape_for_its_middle_and_no_matrix_is_large(monkeypatch):
    """Tiles of one shape share their weights, and cost and memory grow with the number of tiles alone."""
    sizes = []
    real = local.cholesky_factor
    monkeypatch.setattr(local, "cholesky_factor", lambda k: sizes.append(len(k)) or real(k))
    for count in (40, 80):
        x, y = (axis.ravel() for axis in np.meshgrid(*[np.arange(count) * FT] * 2))
        stations = Stations(x, y, np.zeros(len(x)), np.ones(len(x), dtype=int))
        sizes.clear()
        mean, variance = Nearby(stations, ROUGH, x, y, FT).estimate()
        assert not mean.any()
        assert max(sizes) <= 1.05 * local.MOST
        assert len(sizes) <= 25  # of 100 tiles: its middle, its edges, its corners
        middle = variance.reshape(count, count)[16 : count - 16, 16 : count - 16]
        assert middle.max() / middle.min() < 1.05


def test_nearest():
    x = np.arange(10.0) * 1000
    stations = Stations(x, np.zeros(10), x, np.ones(10, dtype=int))
    assert nearest(stations, ROUGH, np.array([0.0, 9000.0]), np.zeros(2), 4).x.tolist() == [0, 1000, 8000, 9000]


@pytest.fixture(scope="module")
def survey():
    """A floor of 66 ft x 66 ft read every 3 ft, of a random surface, by rows."""
    rng = np.random.default_rng(3)
    x, y = (axis.ravel() for axis in np.meshgrid(*[np.arange(23) * 3 * FT] * 2))
    k, phase = rng.normal(size=(2, 300)) / 2500, rng.uniform(0, 2 * np.pi, 300)
    height = 1.2 * np.sqrt(2 / 300) * np.cos(np.outer(x, k[0]) + np.outer(y, k[1]) + phase).sum(axis=1)
    return flatness.make_survey(x, y, height + rng.normal(0, 0.4, len(x)), accuracy=0.4)


def test_a_check_of_a_large_survey_says_what_the_exact_one_says(monkeypatch, survey):
    limit = flatness.straightedge_limit(3000.0, 4.0)
    options = {"spacing": 3 * FT / 2, "draws": 200, "headings": 4}
    whole = flatness.check(survey, limit, **options).iloc[0]
    for module in (likely, fitting, local):
        monkeypatch.setattr(module, "LARGE", 400)
    likely._fitted.cache_clear()
    found = flatness.assess(survey, limit, **options)
    row = found.table.iloc[0]
    assert likely.is_large(found.likely.fit.stations)
    width = whole["high_mm"] - whole["low_mm"]
    assert row["verdict"] == whole["verdict"]
    assert row["likely_mm"] == pytest.approx(whole["likely_mm"], abs=0.2 * width)
    assert row["high_mm"] - row["low_mm"] == pytest.approx(width, rel=0.3)
    again = flatness.check(survey, limit, **options).iloc[0]
    assert again["likely_mm"] == row["likely_mm"]  # the same seed, the same verdict
    likely._fitted.cache_clear()


def test_a_slip_in_a_large_survey_is_named_and_no_other_reading(monkeypatch, survey):
    for module in (likely, fitting, local):
        monkeypatch.setattr(module, "LARGE", 400)
    monkeypatch.setattr("flatness.surface.slips.LARGE", 400)
    height = survey.points["height"].to_numpy().copy()
    height[250] += 9.0
    wrong = flatness.make_survey(survey.points["x"], survey.points["y"], height, accuracy=0.4)
    found = likely.likely_surface(wrong, 3 * FT)
    assert [slip.number for slip in found.slips] == [250]


def test_joists_of_a_large_survey_are_in_its_surface_and_what_is_not_weighed_is_said(monkeypatch, survey):
    for module in (likely, fitting, local):
        monkeypatch.setattr(module, "LARGE", 400)
    framing = flatness.survey.readings.Framing(3 * FT, "y", 0.0)
    x, y, height = survey.xyz()
    framed = flatness.make_survey(x, y, height, accuracy=0.4, framing=framing)
    found = likely.likely_surface(framed, 3 * FT)
    assert found.parameters.joists is not None
    assert any("no single member" in str(note) for note in found.notes)
