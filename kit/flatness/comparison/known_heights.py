"""Known heights of benchmarks that two files do not give alike: which moved, or which unit is wrong."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from flatness.errors import Problem
from flatness.lengths import MM_PER
from flatness.survey.findings import odd_one_out

SAME_HEIGHT_MM = 0.01  # a benchmark's height typed twice, once in each unit
UNIT_SLACK = 0.002  # of the ratio of two units


def moved_apart(before: Mapping[str, float], after: Mapping[str, float], shifts: Mapping[str, float]) -> list[Problem]:
    """What is wrong with known heights [mm] that did not all move alike from file to file.

    Parameters
    ----------
    before, after : known height by label
    shifts : after minus before [mm], of the labels in both
    """
    labels, moves = list(shifts), list(shifts.values())
    ratio = float(np.ptp([after[label] for label in labels])) / max(float(np.ptp([before[x] for x in labels])), 1e-9)
    wrong = _unit_for(ratio, [before[x] for x in labels], [after[x] for x in labels])
    if wrong is not None:
        return [wrong]
    remedy = "correct the `# benchmark:` line, or leave out the benchmark that moved"
    odd = odd_one_out(moves, 2 * SAME_HEIGHT_MM)
    if odd is not None:
        others = [label for label in labels if label != labels[odd]]
        off = moves[odd] - float(np.mean([shifts[label] for label in others]))
        return [Problem(
            f"the known height of benchmark {labels[odd]} moved by {off:+.2f} mm against {', '.join(others)}, which "
            "agree with one another", column="align",
            expected="one height for each benchmark in both files, or all shifted alike", remedy=remedy,
        )]  # fmt: skip
    mean = float(np.mean(moves))
    return [
        Problem(
            f"the known heights of the benchmarks moved apart: {label} by {move - mean:+.2f} mm against their mean",
            column="align", expected="one height for each benchmark in both files, or all shifted alike", remedy=remedy,
        )
        for label, move in shifts.items() if abs(move - mean) > SAME_HEIGHT_MM
    ]  # fmt: skip


def _unit_for(ratio: float, before: list[float], after: list[float]) -> Problem | None:
    """The unit that is wrong, where the benchmarks stand as many times as far apart as one unit is longer."""
    about = np.array(before) - np.mean(before), np.array(after) - np.mean(after)
    if not np.allclose(about[1], ratio * about[0], atol=UNIT_SLACK * float(np.abs(about[1]).max())):
        return None
    for long, size in MM_PER.items():
        for short, small in MM_PER.items():
            times = float(size / small)
            if times > 1.5 and min(abs(ratio / times - 1), abs(ratio * times - 1)) <= UNIT_SLACK:
                day, other = ("after", "before") if ratio > 1 else ("before", "after")
                return Problem(
                    f"in the survey {day} the benchmarks stand {times:.4g} times as far apart as in the one {other}: "
                    f"as if {short} were read as {long}", column="align", expected="one height for each benchmark",
                    remedy=f"check the line `# unit:` of both files: does {long} stand there in place of {short}?",
                )  # fmt: skip
    return None
