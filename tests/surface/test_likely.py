"""The likely surface: its error, its draws, where its reading error comes from, and what it says of itself."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import flatness
import simulated_rooms as rooms
from flatness.errors import ArgumentError, MeasureError
from flatness.surface.kriging import Parameters
from flatness.surface.likely import likely_surface

FT = 304.8
SAMPLES = Path(__file__).parents[2] / "sample_surveys"


def survey(height=None, nx=9, ny=11, step=2 * FT, noise=0.5, seed=0, **attributes):
    x, y = np.meshgrid(np.arange(nx) * step, np.arange(ny) * step)
    true = 3 * np.sin(x / 900) if height is None else height(x, y)
    return flatness.make_survey(x, y, true + np.random.default_rng(seed).normal(0, noise, x.shape), **attributes)


def test_draws_have_the_mean_and_the_error_of_the_estimate():
    likely = likely_surface(survey(accuracy=0.5), FT)
    drawn = likely.draw(4000, seed=1)
    # drawn parameters differ from set to set, so the spread is a little wider than the likeliest ones give
    np.testing.assert_allclose(drawn.mean(axis=0), likely.mean, atol=0.25)
    ratio = drawn.std(axis=0) / likely.error
    assert 0.9 < np.median(ratio) < 1.3


def test_draws_on_the_lattice_and_at_places_are_the_same_surfaces():
    likely = likely_surface(survey(accuracy=0.5), 2 * FT)
    gx, gy = (axis.ravel() for axis in np.meshgrid(likely.x, likely.y))
    lattice, there = likely.draw_both(gx, gy, 7, 3)
    np.testing.assert_allclose(lattice.reshape(7, -1), there, atol=1e-9)
    np.testing.assert_allclose(likely.draw(7, 3), lattice, atol=1e-9)
    np.testing.assert_allclose(likely.draw_at(gx, gy, 7, 3), there, atol=1e-9)


PRIORS = {
    "of the fit": Parameters(3.0, 1500.0, 1500.0, 0.8),
    "longer along x": Parameters(2.0, 9000.0, 600.0, 0.3),
    "far longer than the surface": Parameters(30.0, 12000.0, 9000.0, 0.8),
    "shorter than the lattice's step": Parameters(2.0, 200.0, 250.0, 0.5),
    "read with hardly an error": Parameters(5.0, 2000.0, 1200.0, 0.1),
}


def given_the_readings(s, p, x, y):
    """Mean and covariance at places: kriging with a linear trend of which nothing is known, as textbooks write it."""

    def covariance(x, y, to_x, to_y):
        def matern(apart):
            return (1 + 5**0.5 * apart + 5 * apart**2 / 3) * np.exp(-(5**0.5) * apart)

        dx, dy = x[:, None] - to_x, y[:, None] - to_y
        return p.scale**2 * matern(np.hypot(dx / p.length_x, dy / p.length_y))

    def trend(x, y):
        return np.column_stack([np.ones_like(x), x / 1000, y / 1000])

    k = np.linalg.inv(covariance(s.x, s.y, s.x, s.y) + np.diag(p.reading_error**2 / s.count))
    h, across = trend(s.x, s.y), covariance(s.x, s.y, x, y)
    beta_cov = np.linalg.inv(h.T @ k @ h)
    left = trend(x, y) - across.T @ k @ h
    beta = beta_cov @ h.T @ k @ s.height
    mean = trend(x, y) @ beta + across.T @ k @ (s.height - h @ beta)
    return mean, covariance(x, y, x, y) - across.T @ k @ across + left @ beta_cov @ left.T


@pytest.mark.parametrize("scattered", [False, True], ids=["stations on nodes", "scattered stations"])
@pytest.mark.parametrize("name", PRIORS)
def test_draws_have_the_mean_and_the_covariance_that_the_readings_leave(name, scattered):
    count, p, rng = 4000, PRIORS[name], np.random.default_rng(8)
    one = survey(nx=6, ny=7, accuracy=0.8)
    if scattered:
        x, y = rng.uniform(0, 10 * FT, (2, 40))
        one = flatness.make_survey(x, y, rng.normal(0, 2, 40), accuracy=0.8)
    likely = likely_surface(one, FT)
    fit = replace(likely.fit, best=p, spread=np.zeros((3, 3)), suppositions=())
    # nodes, the stations, and places between
    iy, ix = np.nonzero(np.isfinite(likely.mean))
    some = rng.permutation(len(ix))[:25]
    ox, oy, oz = fit.origin
    x = np.concatenate([likely.x[ix[some]], fit.stations.x[:10] + ox, likely.x[ix[some[:15]]] + 71.0])
    y = np.concatenate([likely.y[iy[some]], fit.stations.y[:10] + oy, likely.y[iy[some[:15]]] - 53.0])
    drawn = replace(likely, fit=fit).draw_at(x, y, count, seed=2)
    mean, covariance = given_the_readings(fit.stations, p, x - ox, y - oy)
    variance = np.diag(covariance)
    off = (drawn.mean(axis=0) - oz - mean) / np.sqrt(variance / count)
    # of 50 means and 1275 covariances, errors of sampling: none over 5 of its own standard deviation
    assert np.abs(off).max() < 5
    error = np.sqrt((np.outer(variance, variance) + covariance**2) / count)
    assert np.abs((np.cov(drawn.T) - covariance) / error).max() < 5
    # places far closer than the surface's waves are long rise and fall as one
    assert abs(np.mean(drawn.var(axis=0) / variance) - 1) < 4 * np.sqrt(2 / count)


def test_same_seed_same_surfaces():
    likely = likely_surface(survey(accuracy=0.5), FT)
    np.testing.assert_array_equal(likely.draw(5, 9), likely.draw(5, 9))
    assert not np.array_equal(likely.draw(5, 9), likely.draw(5, 10))


def test_the_true_surface_is_covered():
    """Of smooth true surfaces about 95 in 100 places lie within 1.96 errors of the best estimate."""
    inside = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        a, b, phase = rng.uniform(500, 1500), rng.uniform(500, 1500), rng.uniform(0, 6)

        def true(x, y, a=a, b=b, phase=phase):
            return 3 * np.sin(x / a + phase) * np.cos(y / b) + 0.002 * x

        likely = likely_surface(survey(true, seed=seed, accuracy=0.5), FT)
        gx, gy = np.meshgrid(likely.x, likely.y)
        inside.append(np.abs(likely.mean - true(gx, gy)) < 1.96 * likely.error)
    assert 0.88 < np.mean(inside) < 0.995


def test_waves_along_one_direction_get_a_longer_length_along_the_other():
    along_x = likely_surface(survey(lambda x, y: 3 * np.sin(x / 500), accuracy=0.5), FT).parameters
    assert along_x.length_y > 3 * along_x.length_x
    along_y = likely_surface(survey(lambda x, y: 3 * np.sin(y / 500), accuracy=0.5), FT).parameters
    assert along_y.length_x > 3 * along_y.length_y


def test_a_plane_comes_back_with_its_tilt():
    likely = likely_surface(survey(lambda x, y: 0.004 * x - 0.003 * y, noise=0.0, accuracy=0.05), FT)
    gx, gy = np.meshgrid(likely.x, likely.y)
    np.testing.assert_allclose(likely.mean, 0.004 * gx - 0.003 * gy, atol=0.02)


def test_shift_and_tilt_of_the_readings_move_the_estimate_and_not_its_error():
    plain = survey(accuracy=0.5)
    points = plain.points.assign(height=plain.points.height + 900 + 0.01 * plain.points.x)
    one = likely_surface(plain, FT)
    two = likely_surface(flatness.make_survey(points.x, points.y, points.height, accuracy=0.5), FT)
    np.testing.assert_allclose(two.mean - one.mean, 900 + 0.01 * np.tile(one.x, (len(one.y), 1)), atol=1e-3)
    np.testing.assert_allclose(two.error, one.error, rtol=1e-3)


def test_reading_error_given():
    likely = likely_surface(survey(accuracy=0.5), FT)
    assert likely.error_basis == "given"
    assert likely.parameters.reading_error == 0.5


def test_reading_error_from_repeats():
    one = survey(noise=0.0)
    rng = np.random.default_rng(5)
    points = np.repeat(one.points[["x", "y", "height"]].to_numpy(), 2, axis=0)
    twice = flatness.make_survey(points[:, 0], points[:, 1], points[:, 2] + rng.normal(0, 0.8, len(points)))
    likely = likely_surface(twice, FT)
    assert likely.error_basis == "repeats"
    # 99 degrees of freedom: the standard deviation is known to about 7 %
    assert likely.parameters.reading_error == pytest.approx(0.8, rel=0.25)
    assert "repeated" in likely.notes[0]


def test_reading_error_fitted():
    likely = likely_surface(survey(lambda x, y: 4 * np.sin(x / 2000), nx=13, ny=13), FT)
    assert likely.error_basis == "fitted"
    assert likely.parameters.reading_error == pytest.approx(0.5, rel=0.4)
    assert "fitted" in likely.notes[0]


def test_what_no_reading_shows_is_said():
    smooth = likely_surface(survey(accuracy=0.5), FT / 2)
    assert smooth.shortest_wave == pytest.approx(4 * FT)
    assert any("invisible" in note for note in smooth.notes)


def test_a_step_at_one_station_that_the_model_does_not_fit_is_to_be_read_again():
    # an abrupt 20 mm step in an otherwise flat floor read to 0.1 mm
    stepped = survey(lambda x, y: 20.0 * ((x > 2000) & (x < 2500) & (y > 2000) & (y < 2500)), noise=0.1, accuracy=0.1)
    assert any("read the station at (2438, 2438) mm again" in note for note in likely_surface(stepped, FT).notes)


def test_readings_much_worse_than_stated_are_said():
    noisy = survey(lambda x, y: 0 * x, noise=3.0, accuracy=0.1)
    likely = likely_surface(noisy, FT)
    # either the surface takes the noise for short waves, or the model says that it does not fit
    assert likely.parameters.length_x < 2 * FT or any("does not fit" in note for note in likely.notes)


@pytest.mark.parametrize(("step_ft", "count"), [(1, 4), (2, 8)])
def test_an_accuracy_stated_twice_as_large_as_it_is_is_told_and_a_right_one_is_not(step_ft, count):
    """As when a reading good to 1/16 in at worst is given 1/16 in as its standard deviation; rooms of known truth."""
    said = {1.0: 0, 2.0: 0}
    for number in range(count):
        height, _ = rooms.room(rooms.smooth, number)
        true = rooms.survey(height, step_ft, number)
        for factor in said:
            likely = likely_surface(replace(true, accuracy=true.accuracy * factor), 2 * FT)
            said[factor] += any("better than the accuracy that is stated" in note for note in likely.misfit)
    assert said[1.0] == 0
    assert said[2.0] >= count - 1


def test_a_pass_against_what_was_read_does_not_rest_on_an_accuracy_that_the_readings_belie():
    x, y = np.meshgrid(np.arange(8) * 2 * FT, np.arange(10) * 2 * FT)
    dip = -6.0 * np.exp(-(((x - 8 * FT) / 800) ** 2) - ((y - 6 * FT) / 800) ** 2)
    read = dip + np.random.default_rng(3).normal(0, 0.2, x.shape)
    floor = flatness.make_survey(x, y, read, accuracy=3.0)
    row = flatness.check(floor, flatness.straightedge_limit(10 * FT, 4.7625), confidence=0.9).iloc[0]
    assert row.as_read_mm > 4.7625
    assert row.verdict != "pass"
    assert "accuracy is one standard deviation" in row.note


def test_nan_outside_the_surface():
    from shapely import Polygon

    opening = Polygon([(700, 700), (1900, 700), (1900, 1900), (700, 1900)])
    likely = likely_surface(survey(accuracy=0.5, openings=(opening,)), FT)
    drawn = likely.draw(3)
    assert np.isnan(likely.mean).any()
    np.testing.assert_array_equal(np.isnan(drawn[0]), np.isnan(likely.mean))


def test_out_of_range():
    likely = likely_surface(survey(accuracy=0.5), FT)
    with pytest.raises(ArgumentError, match="draws"):
        likely.draw(0)
    with pytest.raises(ArgumentError, match="too many places"):
        likely.draw_at(np.zeros(30_000), np.zeros(30_000), 1)
    with pytest.raises(ArgumentError, match="beyond the surface"):
        likely.draw_at(np.array([0.0, -5000.0]), np.zeros(2), 1)
    with pytest.raises(MeasureError, match="four or more"):
        likely_surface(flatness.make_survey([0, 1000, 0], [0, 0, 1000], [0, 0, 0]), FT)


def test_a_ridge_through_stations_is_supposed_where_no_layout_is_stated():
    """A proud joist beneath a line of stations: sheathing runs straight down to the joists beside it, 16 in away."""
    foot, rng = 304.8, np.random.default_rng(3)
    x, y = np.meshgrid(np.arange(9) * 2 * foot, np.arange(11) * 2 * foot)

    def true(px):
        return 8 * np.maximum(0, 1 - np.abs(px - 8 * foot) / (16 * 25.4))

    survey = flatness.make_survey(x, y, true(x) + rng.normal(0, 0.8, x.shape), accuracy=0.8)
    likely = flatness.likely_surface(survey, foot / 2)
    ridge = next(note for note in likely.notes if getattr(note, "key", "") == "ridge-likely")
    assert (ridge.values["axis"], ridge.values["at"]) == ("x", pytest.approx(8 * foot))
    beside, along = np.full(19, 9 * foot), np.arange(1, 20) * foot
    off = likely.predict_at(beside, along)[0] - true(beside)
    assert np.sqrt(np.mean(off**2)) < 0.8  # [mm], no worse than a reading


def test_another_lattice_asks_for_the_same_parameters_and_finds_what_a_fresh_survey_finds():
    x, y = (a.ravel() for a in np.meshgrid(np.arange(6) * 600.0, np.arange(5) * 600.0))
    height = 3 * np.sin(x / 700) + np.cos(y / 500)
    survey, fresh = (flatness.make_survey(x, y, height, accuracy=0.5) for _ in range(2))
    coarse, fine = (flatness.likely_surface(survey, spacing) for spacing in (300.0, 150.0))
    assert fine.fit is coarse.fit
    alone = flatness.likely_surface(fresh, 150.0)
    assert alone.fit is not fine.fit
    assert np.array_equal(alone.mean, fine.mean, equal_nan=True)
    assert np.array_equal(alone.error, fine.error, equal_nan=True)


def test_the_best_estimate_is_of_all_that_the_readings_favor():
    """A ceiling whose joists stand off on their own: the suppositions that weigh most were not all fitted anew."""
    read = flatness.read_survey(SAMPLES / "gallery_ceiling" / "ceiling.csv")
    likely = likely_surface(read)
    x, y, height, _ = read.stations()
    # as near to the readings as their own error lets it be, and as unsure as its own draws scatter
    assert np.sqrt(np.mean((likely.predict_at(x, y)[0] - height) ** 2)) < 2 * read.accuracy
    scatter = np.nanstd(likely.draw(200, 0), axis=0) / likely.error
    assert 0.8 < np.nanmedian(scatter) < 1.4
    assert sum(one.weight for one in likely.fit.suppositions) == pytest.approx(1)
