"""Two surveys that are no before and after of one surface: what they say of themselves, their areas, their heights."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import box

import flatness
from flatness.comparison.doubts import doubts_of, shared_area


def survey(wide=3000.0, high=2000.0, lift=0.0, x0=0.0, **attributes):
    x, y = np.meshgrid(x0 + np.linspace(0, wide, 7), np.linspace(0, high, 5))
    return flatness.make_survey(x, y, 2 * np.sin(x / 700) + lift, accuracy=0.5, **attributes)


def told(before, after, difference=0.0):
    return list(doubts_of(before, after, np.full((3, 3), difference)))


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
    says = told(survey(**before), survey(**after))
    assert [("exchanged" in one) for one in says] == [True] * doubted


def test_the_shared_area_of_two_rectangles():
    # 3 m x 2 m and the same moved by 1 m: 2 x 2 shared of 4 x 2 together
    assert shared_area(survey(), survey(x0=1000.0)) == pytest.approx(0.5)
    assert shared_area(survey(), survey()) == pytest.approx(1.0)
    wide = survey(outline=box(0, 0, 3000, 2500))  # an outline goes before the stations
    assert shared_area(survey(), wide) == pytest.approx(2.0 / 2.5)
    assert any("50 % of the area" in one for one in told(survey(), survey(x0=1000.0)))
    assert told(survey(), survey(wide=2500.0)) == []  # 2.5 of 3: a strip at the edge was left out


@pytest.mark.parametrize(("moved", "doubted"), [(1042.0, True), (-300.0, True), (24.0, False), (5.0, False)])
def test_a_change_far_beyond_the_unevenness_is_told(moved, doubted):
    # the readings lie within 4 mm of each other: a step of an inch is still believed
    says = told(survey(), survey(), moved)
    assert [f"moved by {abs(moved):.0f} mm" in one for one in says] == [True] * doubted


def test_a_comparison_carries_its_doubts_among_its_notes():
    found = flatness.compare(survey(date="2026-03-12"), survey(date="2026-03-02", lift=900.0), align="none")
    assert len(found.doubts) == 2
    assert found.notes[:2] == found.doubts
    assert flatness.compare(survey(), survey(lift=2.0), align="none").doubts == ()
