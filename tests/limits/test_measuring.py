"""Draws measured where it matters, against every bar laid on every draw."""

import numpy as np
import pytest

import flatness
import simulated_rooms as rooms
from flatness.limits.measuring import Subject, measure_draws
from flatness.measures.bars import gap_map

QUANTILES = (0.025, 0.5, 0.975)
STEP = 2 * rooms.SPACING


def room(kind, number, feet=4):
    """A survey and sixty surfaces that it allows."""
    height, _ = rooms.room(rooms.KINDS[kind], number)
    survey = rooms.survey(height, feet, number)
    return survey, flatness.likely_surface(survey, STEP).draw(60, number)


@pytest.mark.parametrize("kind", rooms.KINDS)
def test_sides_of_the_limit_and_quantiles_are_those_of_every_bar_on_every_draw(kind):
    for number in range(4):
        survey, drawn = room(kind, number)
        full = np.nanmax(gap_map(drawn, STEP, rooms.BAR), axis=(1, 2))
        # limits that a few, half and nearly all of the draws meet
        for share in (0.05, 0.5, 0.95):
            limit = flatness.straightedge_limit(rooms.BAR, float(np.quantile(full, share)))
            subject = Subject.of(survey, [limit], STEP)
            used = measure_draws(limit, subject, lambda drawn=drawn: drawn, None)
            np.testing.assert_array_equal(used <= 1 + 1e-9, full <= limit.allowed * (1 + 1e-9))
            assert (used <= full / limit.allowed + 1e-12).all()
            used = measure_draws(limit, subject, lambda drawn=drawn: drawn, None, QUANTILES)
            told, expected = np.quantile(used, QUANTILES), np.quantile(full, QUANTILES) / limit.allowed
            # whether each is within is exact; a quantile may miss a bar askew by under a hundredth of the limit
            np.testing.assert_allclose(told, expected, atol=0.01)


@pytest.mark.parametrize("headings", [2, 4, 6])
def test_few_headings_are_measured_to_the_end(headings):
    survey, drawn = room("smooth", 1)
    subject = Subject.of(survey, [rooms.limit()], STEP, headings)
    full = np.nanmax(gap_map(drawn, STEP, rooms.BAR, headings), axis=(1, 2))
    used = measure_draws(rooms.limit(), subject, lambda: drawn, None)
    np.testing.assert_allclose(used, full / rooms.LIMIT, rtol=1e-12)
