"""When draws are too few: the standard error of a share p of n draws is sqrt(p (1 - p) / n) (binomial distribution)."""

import numpy as np
import pytest

from flatness.limits.verdict import UNDECIDED, Judged

LINE = 0.95


def judged(within, of):
    return Judged(None, None, np.where(np.arange(of) < within, 0.5, 1.5), UNDECIDED, "")


@pytest.mark.parametrize(
    ("within", "of", "near"),
    [
        (90, 100, True),  # 0.05 from the line, the error is 0.030
        (88, 100, False),  # 0.07, 0.0325
        (99, 100, False),  # 0.04, 0.00995
        (97, 100, True),  # 0.02, 0.017
        (360, 400, False),  # 0.05, 0.015
        (372, 400, True),  # 0.02, 0.0128
        (10, 100, True),  # as near to 0.05
        (12, 100, False),
        (1, 100, False),
        (5, 100, True),
        (95, 100, True),
        (50, 100, False),
        (100, 100, False),  # no error at all
        (0, 100, False),
    ],
)
def test_two_standard_errors_from_a_line_are_near_it(within, of, near):
    share = within / of
    error = np.sqrt(share * (1 - share) / of)
    assert near == bool(min(abs(share - LINE), abs(share - (1 - LINE))) < 2 * error)  # the arithmetic of the table
    assert judged(within, of).near_a_line(LINE) is near


def test_without_draws_nothing_is_near():
    assert judged(0, 0).near_a_line(LINE) is False
