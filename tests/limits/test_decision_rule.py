"""A small run of the simulation whose full table stands in DEVELOPERS.md (tests/benchmarks/verdicts.py)."""

import numpy as np
import pytest

import flatness
import simulated_rooms as rooms


@pytest.mark.parametrize("feet", [2, 4])
def test_verdicts_on_rooms_with_known_truth(feet):
    rows = []
    for kind, shape in rooms.KINDS.items():
        for number in range(8):
            height, gap = rooms.room(shape, [number, len(kind)])
            survey = rooms.survey(height, feet, number)
            # nodes twice as far apart as those of the true surface: the readings are four or eight times as far
            found = flatness.check(survey, rooms.limit(), spacing=2 * rooms.SPACING, draws=80)
            row = found.iloc[0]
            good = gap <= rooms.LIMIT
            rows.append(
                (
                    row.verdict == ("fail" if good else "pass"),
                    row.verdict == "undecided",
                    row.low_mm <= gap <= row.high_mm,
                )
            )
    wrong, undecided, covered = np.mean(rows, axis=0)
    # of 24 rooms: 2 % wrong allows one by bad luck; 30 % and 40 % undecided, 95 % covered, each with three of its own
    # standard deviations
    assert wrong <= 1 / 24
    assert undecided <= {2: 0.30, 4: 0.40}[feet] + 3 * 0.1
    assert covered >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / 24)
