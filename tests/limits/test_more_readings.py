"""Where to read next."""

import numpy as np
import pytest
from scipy.stats import norm

import flatness
import simulated_rooms as rooms
from flatness.errors import ArgumentError, MeasureError
from flatness.limits import more_readings as more_readings_module

DRAWN = np.random.default_rng(4).multivariate_normal([0, 0], [[1.0, 0.8], [0.8, 1.0]], size=1500)


@pytest.fixture(scope="module")
def undecided():
    for number in range(40):
        height, _ = rooms.room(rooms.long_waves, number)
        found = flatness.assess(rooms.survey(height, 2, number), rooms.limit(), spacing=2 * rooms.SPACING)
        if found.verdict == "undecided":
            return found
    raise AssertionError("no undecided room in forty")


def test_a_batch_of_places_on_the_surface_each_taking_doubt_away(undecided):
    places = flatness.more_readings(undecided)
    assert list(places.columns) == ["x", "y", "times", "error_mm", "doubt_left", "decided"]
    assert 6 <= len(places) <= 24
    assert len(places) in (6, 24) or places.decided.iloc[-1] >= 0.6
    assert not places.duplicated(["x", "y"]).any()
    assert places.decided.between(0, 1).all()
    assert places.doubt_left.is_monotonic_decreasing
    assert 0 < places.doubt_left.iloc[-1] < 0.95
    surface = undecided.subject.surface
    assert places.x.isin(surface.x).all()
    assert places.y.isin(surface.y).all()


def test_the_places_bear_on_the_worst_bars_and_not_on_the_far_corner(undecided):
    """The first place is under a bar that many of the draws have as their worst, or at its contacts."""
    first = flatness.more_readings(undecided, batch=1).iloc[0]
    heights = undecided.lattice.on_lattice()
    gaps = flatness_gaps(heights, undecided)
    worst = [np.unravel_index(np.nanargmax(gap), gap.shape) for gap in gaps]
    surface = undecided.subject.surface
    near = [np.hypot(surface.x[ix] - first.x, surface.y[iy] - first.y) <= rooms.BAR for iy, ix in worst]
    assert np.mean(near) > 0.3


def test_the_doubt_that_one_reading_leaves_against_bayes_rule_written_out():
    """One place, one bar: gap and reading are jointly normal, so the doubt after it is in closed form."""
    doubt = more_readings_module._Doubt(DRAWN[:, :1], 0.3, None)
    known, judge = (
        more_readings_module._Known(doubt, DRAWN[:, 1:], np.array([[1.0]]), np.array([[0.8]]), 0.5, 0.95, [0, count])
        for count in (20, 400)
    )
    chosen, left, _ = more_readings_module._choose(known, judge, 1)
    assert chosen == [0]
    # gap ~ N(0, 1); reading = place + error, variance 1.25, covariance with the gap 0.8
    share = 0.8 / 1.25
    rest = np.sqrt(1 - 0.8 * share)
    news = np.random.default_rng(5).normal(0, np.sqrt(1.25), 200_000) * share
    chance = norm.cdf((0.3 - news) / rest)
    expected = np.mean(chance * (1 - chance)) / (norm.cdf(0.3) * norm.sf(0.3))
    assert left[0] == pytest.approx(expected, abs=0.05)


def test_places_read_one_after_another_tell_what_they_tell_together():
    """The Kalman filter step by step against kriging with all readings at once (conditioning of a joint normal)."""
    rng = np.random.default_rng(6)
    root = rng.normal(size=(5, 5))
    covariance = root @ root.T
    drawn = rng.multivariate_normal(np.zeros(5), covariance, size=60)
    measure, heights = drawn[:, :2], drawn[:, 2:]
    among, together = covariance[2:, 2:], covariance[:2, 2:]
    known = more_readings_module._Known(
        more_readings_module._Doubt(measure, 0.4, None), heights, among, together, 0.5, 0.95, [0, 20]
    )
    news = known.news.copy()
    known.read(1)
    known.read(2)
    batch = [1, 2, 0]
    gain = together[:, batch] @ np.linalg.inv(among[np.ix_(batch, batch)] + 0.25 * np.eye(3))
    worst = (measure + news[:, :, batch] @ gain.T).max(axis=2)
    np.testing.assert_allclose(known.chance(0), np.mean(worst <= 0.4, axis=1), atol=1e-12)
    rest = covariance[2, 2] - _taken_off(among, 0, [1, 2])
    assert known.among[0, 0] == pytest.approx(rest)


def _taken_off(among, k, read):
    """What readings with error 0.5 take off the variance at k."""
    return among[k, read] @ np.linalg.solve(among[np.ix_(read, read)] + 0.25 * np.eye(len(read)), among[read, k])


def test_what_each_place_is_read_often_leaves_less_doubt(undecided):
    once, often = (flatness.more_readings(undecided, batch=6, times=times) for times in (1, 9))
    assert (once.times == 1).all()
    assert (often.times == 9).all()
    assert often.doubt_left.iloc[-1] < once.doubt_left.iloc[-1]


def flatness_gaps(heights, found):
    from flatness.measures.bars import gap_map

    return gap_map(heights, found.subject.surface.spacing, rooms.BAR)


def test_decided_checks_need_no_more_readings():
    height, _ = rooms.room(rooms.smooth, 0)
    found = flatness.assess(rooms.survey(height * 0.01, 2, 0), rooms.limit(), spacing=2 * rooms.SPACING, draws=40)
    assert found.verdict == "pass"
    with pytest.raises(MeasureError, match="no undecided verdict"):
        flatness.more_readings(found)


def test_batch_out_of_range(undecided):
    with pytest.raises(ArgumentError, match="batch"):
        flatness.more_readings(undecided, batch=0)
    with pytest.raises(ArgumentError, match="times"):
        flatness.more_readings(undecided, times=0.5)
