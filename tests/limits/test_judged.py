"""What a judged limit and an assessment say of themselves, by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Assessment, Judged
from flatness.notes import Note


def judged(within=0, of=0, verdict=PASS, *, finding=None, kind="straightedge", reason="", **more):
    """Of so many draws so many are within the limit; a straightedge limit."""
    used = np.array([0.5] * within + [1.5] * (of - within))
    return Judged(SimpleNamespace(kind=kind), finding, used, verdict, reason, **more)


def found(value=3.0, allowed=2.0, at_least=False):
    return SimpleNamespace(
        measured=SimpleNamespace(value=value), allowed=allowed, at_least=at_least, used=value / allowed
    )


def test_a_chance_is_the_share_within_and_is_in_doubt_between_both_lines():
    on_the_line = Judged(SimpleNamespace(), None, np.array([1.0, 1 + 1e-10, 1.1, 2.0]), PASS, "")
    assert on_the_line.chance == 0.5
    assert math.isnan(judged().chance)
    # 3/4 and 1/4 are exact in binary: a chance on a line is no doubt
    assert [judged(k, 4).in_doubt(0.75) for k in range(5)] == [False, False, True, False, False]
    assert not judged(2, 4, of_bar=True).in_doubt(0.75)


@pytest.mark.parametrize("count", [100, 400])
def test_near_a_line_is_within_two_errors_of_a_share(count):
    for within in range(count + 1):
        share = within / count
        error = math.sqrt(share * (1 - share) / count)
        away = min(abs(share - 0.95), abs(share - 0.05))
        if abs(away - 2 * error) > 1e-9:
            assert judged(within, count).near_a_line(0.95) == (away < 2 * error), within
    assert not judged().near_a_line(0.95)


def test_the_likely_measure_is_the_median_and_the_95_percent_of_the_draws():
    used = np.linspace(0.2, 1.2, 41)  # steps of 2.5 %: the quantiles are the second, the middle, the last but one
    for one, expected in (
        (found(allowed=4.0), (0.7 * 4, 0.225 * 4, 1.175 * 4)),
        (found(allowed=4.0, at_least=True), (4 / 0.7, 4 / 1.175, 4 / 0.225)),
    ):
        assert Judged(SimpleNamespace(), one, used, PASS, "").likely() == pytest.approx(expected)
    assert np.isnan(judged(finding=found()).likely()).all()
    assert np.isnan(judged(2, 4).likely()).all()


def test_what_a_bar_showed_counts_where_it_is_more_than_was_read():
    for least, more in ((2.9, False), (3.0, False), (3.1, True)):
        one = judged(finding=found(3.0), seen=SimpleNamespace(least=least))
        assert one.shown_by_bar == more
        assert judged(finding=found(3.0), seen=one.seen, of_bar=True).shown_by_bar
    assert not judged(seen=SimpleNamespace(least=5.0)).shown_by_bar
    assert not judged(finding=found(3.0)).shown_by_bar
    assert judged(verdict=FAIL, reason=Note("bar-disagrees")).by_bar is False
    assert judged(verdict=FAIL, reason="bar-showed").by_bar is False
    showed = Note("bar-showed", bar=1829.0, gap=6.0)
    assert judged(verdict=FAIL, reason=showed).by_bar
    assert not judged(verdict=UNDECIDED, reason=showed).by_bar


def of(*judged):
    return Assessment(None, judged, None, 0, 0, 0.95)


def test_the_limit_that_governs_is_of_the_worst_verdict_then_a_straightedge_then_used_up_most():
    passes, little, much = judged(0, 4), judged(verdict=PASS, finding=found(1.0)), judged(finding=found(1.9))
    open_, fails = judged(0, 4, UNDECIDED), judged(4, 4, FAIL)
    plane = judged(0, 4, FAIL, kind="plane")
    assert of(passes, open_, fails).governing is fails
    assert of(passes, open_).governing is open_
    assert of(plane, fails).governing is fails  # a straightedge before what is used up more
    assert of(little, much).governing is much
    assert of(much, passes).governing is passes  # by what is likely, where it was drawn
    assert of().governing is None
    assert [of(*some).verdict for some in ((passes, open_, fails), (passes, open_), (passes,), ())] == [
        FAIL,
        UNDECIDED,
        PASS,
        PASS,
    ]
    assert of(plane, much).pictured is much
    assert of(plane, passes).pictured is None  # it could not be measured
