"""Two surveys that are no before and after of one surface: what they say of themselves, their areas, their heights."""

from __future__ import annotations

import re

import numpy as np
import pytest

import flatness


def survey(wide=3000.0, high=2000.0, lift=0.0, x0=0.0, **attributes):
    x, y = np.meshgrid(x0 + np.linspace(0, wide, 7), np.linspace(0, high, 5))
    return flatness.make_survey(x, y, 2 * np.sin(x / 700) + lift, accuracy=0.5, **attributes)


def told(before, after):
    return flatness.compare(before, after, align="none").doubts


@pytest.mark.parametrize(
    ("before", "after", "doubted"),
    [
        ({"date": "2026-03-12"}, {"date": "2026-03-02"}, True),
        ({"date": "2026-03-02"}, {"date": "2026-03-12"}, False),
        ({"date": "2026-03-02"}, {"date": "2026-03-02"}, False),
        ({"date": "spring"}, {"date": "2026-03-02"}, False),
        ({"title": "Parlor after the work"}, {"title": "Parlor as found"}, True),
        ({"title": "Parlor"}, {"title": "Parlor before grouting"}, True),
        ({"title": "Parlor, finished"}, {"title": "Parlor"}, True),
        ({"title": "Parlor as found"}, {"title": "Parlor after the work"}, False),
        ({"title": "Parlor"}, {"title": "Parlor"}, False),
        ({"title": "Parlor as found"}, {"title": "Parlor as found"}, False),
        # dates in order settle it, whatever the titles say
        ({"title": "After", "date": "2026-03-02"}, {"title": "Before", "date": "2026-03-12"}, False),
    ],
)
def test_dates_or_titles_that_say_the_reverse_are_told(before, after, doubted):
    says = told(survey(**before), survey(lift=0.2, **after))
    assert [("exchanged" in one) for one in says] == [True] * doubted


def test_a_room_of_which_half_is_compared_is_doubted():
    (says,) = told(survey(wide=4000.0), survey(wide=2000.0, lift=0.2))
    # half, and a strip of one station step that is left out of account along the edge of what was read
    step = 2000.0 / 6
    assert 50 <= int(re.search(r"only (\d+) %", says)[1]) <= 100 * (2000 + 1.5 * step) / 4000
    assert told(survey(), survey(lift=0.2)) == ()


@pytest.mark.parametrize(("moved", "doubted"), [(1042.0, True), (-300.0, True), (5.0, False)])
def test_a_change_far_beyond_the_unevenness_is_told(moved, doubted):
    # the readings lie within 4 mm of each other
    says = told(survey(), survey(lift=moved))
    assert any(f"up to {abs(moved):.0f} mm, is" in one for one in says) == doubted


def test_a_comparison_carries_its_doubts_first_among_its_warnings():
    found = flatness.compare(survey(date="2026-03-12"), survey(date="2026-03-02", lift=900.0), align="none")
    assert len(found.doubts) >= 2
    assert found.warnings[: len(found.doubts)] == found.doubts
