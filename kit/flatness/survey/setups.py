"""Readings of one or several set-ups brought to heights on one datum, through benchmarks of known height."""

from __future__ import annotations

import math
from collections.abc import Mapping

from flatness.errors import Problem
from flatness.survey.cells import Reading, Readings, Report, nearest, over, within

EIGHTH_MM = 3.175
NO_SHIFT_MM = 1e-5  # a file written from reduced heights reads back to the same heights


def reduce_setups(
    readings: Readings, benchmarks: Mapping[str, float], accuracy: float | None, report: Report
) -> tuple[list[float], list[Problem]]:
    """Height of every reading [mm], and notes on benchmarks that disagree.

    height = constant - drop, or constant + height. The constant of a set-up is the mean, over its readings of
    benchmarks, of known height less what was read; zero where the only set-up reads no benchmark.

    Parameters
    ----------
    readings : as the file gives them
    benchmarks : known height [mm] by label
    accuracy : one standard deviation of one reading [mm], or None
    report : takes what is wrong
    """
    sign = -1.0 if readings.quantity == "drop" else 1.0
    by_setup: dict[str, list[Reading]] = {}
    for reading in readings.readings:
        by_setup.setdefault(reading.setup, []).append(reading)
    constants: dict[str, float] = {}
    notes: list[Problem] = []
    for setup, members in by_setup.items():
        tied = [reading for reading in members if reading.kind == "benchmark"]
        offsets = []
        for reading in tied:
            if reading.label in benchmarks:
                offsets.append(benchmarks[reading.label] - sign * reading.value)
            else:
                _report_unknown(reading, benchmarks, report)
        if not tied and len(by_setup) > 1:
            _report_untied(setup, members[0], report)
        constant = math.fsum(offsets) / len(offsets) if offsets else 0.0
        constants[setup] = 0.0 if abs(constant) < NO_SHIFT_MM else round(constant, 5)
        notes += _disagreement(setup, tied, offsets, accuracy, report.file)
    return [constants[reading.setup] + sign * reading.value for reading in readings.readings], notes


def _report_unknown(reading: Reading, benchmarks: Mapping[str, float], report: Report) -> None:
    report.add(
        f"benchmark '{reading.label}' has no known height" if reading.label
        else "a benchmark reading without a label",
        reading.row, reading.column, value=reading.label or None,
        expected=f"the label of one of the `# benchmark:` lines: {', '.join(benchmarks) or 'there are none'}",
        remedy=f"did you mean `{nearest(reading.label, benchmarks)}`?" if benchmarks and reading.label
        else "add a line such as `# benchmark: BM1 = 0 in`, or give the reading the kind `turning`",
    )  # fmt: skip


def _report_untied(setup: str, reading: Reading, report: Report) -> None:
    report.add(
        f"set-up '{setup}' reads no benchmark, so its readings cannot be joined to the other set-ups" if setup
        else "rows without a set-up stand beside rows with one, and read no benchmark",
        reading.row, reading.column,
        expected="a reading of a benchmark of known height from every set-up",
        remedy="add a row with the kind `benchmark`, its label and set-up, and a line "
        "`# benchmark: label = height`; or, if the instrument was never moved, write the same set-up in each "
        "row",
    )  # fmt: skip


def _disagreement(
    setup: str, tied: list[Reading], offsets: list[float], accuracy: float | None, file: str
) -> list[Problem]:
    if len(offsets) < 2 or len(offsets) != len(tied):
        return []
    spread = max(offsets) - min(offsets)
    allowed = EIGHTH_MM if accuracy is None else 3 * accuracy
    if spread <= allowed + 1e-6:
        return []
    high, low = (tied[offsets.index(end)] for end in (max(offsets), min(offsets)))
    where = f" of set-up '{setup}'" if setup else ""
    return [Problem(
        f"the benchmark readings{where} disagree by {over(spread, allowed)}: "
        f"'{high.label}' in {high.cell} and '{low.label}' in {low.cell}; "
        "their mean was used",
        file, high.row, high.cell.rstrip("0123456789"),
        expected=within(allowed),
        remedy="check the benchmarks' heights and labels, and whether the instrument moved",
    )]  # fmt: skip
