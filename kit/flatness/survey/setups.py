"""Readings of one or several set-ups brought to heights on one datum, and what their ties show."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flatness.errors import Problem
from flatness.survey.adjustment import Adjustment
from flatness.survey.cells import Reading, Readings, Report, nearest
from flatness.survey.findings import benchmarks_disagree, findings
from flatness.survey.instrument import SetupNode, adjust_setups
from flatness.survey.levelling import listed
from flatness.survey.network import Point, groups_apart
from flatness.survey.readings import place_keys

NO_SHIFT_MM = 1e-5  # a file written from reduced heights reads back to the same heights
APART_MM = 25.4  # a turning point laid out twice may be that far apart: a tape's width of care
FEWEST_SPARE = 5  # spare readings in the ties before their scatter stands for the accuracy; common practice, no source
LEAST_ACCURACY_MM = 0.01  # ties that agree closer have been written from one another, or rounded to the same mark


@dataclass(frozen=True)
class Reduced:
    """Heights of all readings on one datum.

    Attributes
    ----------
    heights : of each reading [mm]
    suspects : notes on ties that may be wrong
    notes : what else is worth a look
    accuracy : as the file gives it, otherwise what the ties show, otherwise None [mm]
    adjustment : None where there is but one set-up
    """

    heights: list[float]
    suspects: list[Problem]
    notes: list[Problem]
    accuracy: float | None
    adjustment: Adjustment | None


def reduce_setups(
    readings: Readings, benchmarks: Mapping[str, float], accuracy: float | None, report: Report
) -> Reduced | None:
    """Heights of the readings, or None where set-ups cannot be joined, which is then in the report.

    height = constant - drop, or constant + height. The constant of a lone set-up is the mean, over its readings of
    benchmarks, of known height less what was read; zero where it reads none. Several set-ups are adjusted together
    by least squares: benchmarks are held, and turning points of one label and stations at one place tie them; where
    no benchmark is read the first set-up keeps its readings.

    Parameters
    ----------
    readings : as the file gives them
    benchmarks : known height [mm] by label
    accuracy : one standard deviation of one reading [mm], or None
    report : takes what is wrong
    """
    before = len(report.problems)
    for reading in readings.readings:
        if reading.kind == "benchmark" and reading.label not in benchmarks:
            _report_unknown(reading, benchmarks, report)
    if len({reading.setup for reading in readings.readings}) < 2:
        return _lone_setup(readings, benchmarks, accuracy, report.file)
    points = _points(readings.readings, benchmarks, report)
    if len(report.problems) == before:
        _report_apart(readings.readings, points, benchmarks, report)
    if len(report.problems) > before:
        return None
    return _several(readings, points, benchmarks, accuracy, report.file)


def _lone_setup(readings: Readings, benchmarks: Mapping[str, float], accuracy: float | None, file: str) -> Reduced:
    sign = sign_of(readings)
    tied = [reading for reading in readings.readings if reading.kind == "benchmark" and reading.label in benchmarks]
    offsets = [benchmarks[reading.label] - sign * reading.value for reading in tied]
    constant = _settled(math.fsum(offsets) / len(offsets)) if offsets else 0.0
    heights = [constant + sign * reading.value for reading in readings.readings]
    suspects = benchmarks_disagree(tied, offsets, accuracy, file, "their mean was used")
    return Reduced(heights, suspects, [], accuracy, None)


def _several(
    readings: Readings, points: list[str], benchmarks: Mapping[str, float], accuracy: float | None, file: str
) -> Reduced:
    sign = sign_of(readings)
    rows = [(r.setup, p, sign * r.value, r.x, r.y) for r, p in zip(readings.readings, points, strict=True)]
    table = pd.DataFrame(rows, columns=["setup", "point", "height", "x", "y"])
    adjustment = adjust_setups(table, benchmarks, error=accuracy)
    heights = []
    tilts = []
    by_setup = adjustment.setups.to_dict("index")
    for reading in readings.readings:
        setup = by_setup[reading.setup]
        tilt = 0.0
        if math.isfinite(setup["tilt_x"]):
            tilt = (setup["tilt_x"] * (reading.x - setup["x"]) + setup["tilt_y"] * (reading.y - setup["y"])) / 1000
        tilts.append(tilt)
        heights.append(_settled(setup["offset"]) + sign * reading.value + tilt)
    suspects, notes = findings(adjustment, readings, benchmarks, tilts, file)
    spare, m0 = adjustment.redundancy, adjustment.m0
    if accuracy is None and spare >= FEWEST_SPARE and m0 >= LEAST_ACCURACY_MM:
        accuracy = m0
        notes.append(Problem(
            f"the file gives no accuracy; the ties between its set-ups show {m0:.2g} mm, one standard deviation of one "
            f"reading, from {spare} spare readings; this is used", file, remedy="state it: `# accuracy: ...`",
        ))  # fmt: skip
    return Reduced(heights, suspects, notes, accuracy, adjustment)


def sign_of(readings: Readings) -> float:
    """What a reading is multiplied by to be a height."""
    return -1.0 if readings.quantity == "drop" else 1.0


def _settled(constant: float) -> float:
    return 0.0 if abs(constant) < NO_SHIFT_MM else round(float(constant), 5)


def _points(readings: tuple[Reading, ...], benchmarks: Mapping[str, float], report: Report) -> list[str]:
    """Name of the point of each reading; what has the same name is one point."""
    xy = np.array([(r.x, r.y) for r in readings], dtype=float)
    keys = place_keys(*np.nan_to_num(xy).T)
    names: dict[tuple[object, ...], str] = {}
    first: dict[str, Reading] = {}
    points = []
    for reading, key in zip(readings, keys.tolist(), strict=True):
        placed = not math.isnan(reading.x + reading.y)
        if reading.kind == "benchmark":
            points.append(reading.label)
            continue
        if reading.kind == "turning" and reading.label:
            name = f"{reading.label} (turning)" if reading.label in benchmarks else reading.label
            _check_place(reading, first.setdefault(name, reading), report)
        elif placed:
            kind = "turning point" if reading.kind == "turning" else "station"
            name = names.setdefault((kind, *key), f"{kind} at {_mm(reading.x)}, {_mm(reading.y)}")
        else:
            name = ""
            report.add(
                "a turning point without a label or a place ties nothing", reading.row, reading.column,
                expected="the same label in each set-up that reads it", remedy="write its label",
            )  # fmt: skip
        points.append(name)
    return points


def _mm(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


def _check_place(reading: Reading, first: Reading, report: Report) -> None:
    apart = math.hypot(reading.x - first.x, reading.y - first.y)
    if apart > APART_MM + 1e-6:  # NaN, where a place is not given, is not
        report.add(
            f"turning point '{reading.label}' stands at two places, here and in {first.cell}, {apart:.0f} mm apart",
            reading.row, reading.column, expected="one place for one label",
            remedy="correct its x and y, or give the two different labels",
        )  # fmt: skip


def _report_unknown(reading: Reading, benchmarks: Mapping[str, float], report: Report) -> None:
    report.add(
        f"benchmark '{reading.label}' has no known height" if reading.label
        else "a benchmark reading without a label",
        reading.row, reading.column, value=reading.label or None,
        expected=f"the label of one of the `# benchmark:` lines: {', '.join(benchmarks) or 'there are none'}",
        remedy=f"did you mean `{nearest(reading.label, benchmarks)}`?" if benchmarks and reading.label
        else "add a line such as `# benchmark: BM1 = 0 in`, or give the reading the kind `turning`",
    )  # fmt: skip


def _report_apart(
    readings: tuple[Reading, ...], points: list[str], benchmarks: Mapping[str, float], report: Report
) -> None:
    ends = [(SetupNode(reading.setup), point) for reading, point in zip(readings, points, strict=True)]
    fixed: list[Point] = [r.label for r in readings if r.kind == "benchmark"] or [SetupNode(readings[0].setup)]
    groups = groups_apart(ends, fixed)
    apart = {node.name for group in groups for node in group if isinstance(node, SetupNode)}
    for group in groups:
        names = [node.name for node in group if isinstance(node, SetupNode)]
        mine = [reading for reading in readings if reading.setup in names]
        mistaken = next((r.label for r in mine if r.kind == "turning" and r.label in benchmarks), None)
        rest = [p for r, p in zip(readings, points, strict=True) if r.setup not in apart]
        _report_group(names, mine[0], mistaken, list(dict.fromkeys(rest)), report)


def _report_group(names: list[str], first: Reading, mistaken: str | None, rest: list[str], report: Report) -> None:
    if names == [""]:
        what = "rows without a set-up stand beside rows with one, read no benchmark and share"
    elif len(names) == 1:
        what = f"set-up '{names[0]}' reads no benchmark and shares"
    else:
        what = f"set-ups {listed(names)} share points with one another, but read no benchmark and share"
    remedy = f"read from it one of the points that the rest reads, such as {listed(rest, 3)}: " if rest else ""
    remedy += (
        "a benchmark as a row with the kind `benchmark`, its label and set-up, and a line `# benchmark: label = "
        "height`; a turning point as a row with the kind `turning` and the same label in both set-ups; or, if the "
        "instrument was never moved, write the same set-up in each row"
    )
    if mistaken:
        remedy = f"turning point '{mistaken}' has the label of a benchmark: give it the kind `benchmark`; or {remedy}"
    report.add(
        f"{what} no turning point or station with the rest, so its readings cannot be joined to them"
        if len(names) == 1 else f"{what} none with the rest, so their readings cannot be joined to them",
        first.row, first.column,
        expected="from every set-up a benchmark of known height, or a point that a set-up with one reads too",
        remedy=remedy,
    )  # fmt: skip
