"""Readings of one or several set-ups brought to heights on one datum, and what their ties show.

What the ties between set-ups show that is worth a look: tilts, blunders, misclosures, too much scatter.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from flatness.errors import Problem
from flatness.notes import Note
from flatness.survey.cells import Reading, Readings, Report, nearest
from flatness.survey.instrument import SetupNode, adjust_setups
from flatness.survey.least_squares import SNOOPING_LEVEL, Point, critical_w, groups_apart
from flatness.survey.levelling import Adjustment, listed
from flatness.survey.readings import place_keys

EIGHTH_MM = 3.175  # how far readings of one thing may differ where no accuracy is given


def findings(
    adjustment: Adjustment, readings: Readings, benchmarks: Mapping[str, float], tilts: Sequence[float], file: str
) -> tuple[list[Problem], list[Problem]]:
    """Notes on an adjustment of set-ups: on ties that may be wrong, each with a cell, and on what was made of them.

    Parameters
    ----------
    adjustment : of these readings, row by row
    readings : as the file gives them
    benchmarks : known height [mm] by label
    tilts : part of each height [mm] that corrects the tilt of its set-up
    file : name for the notes
    """
    listed = readings.readings
    blunders, named = _blunders(adjustment, readings, file)
    crowd = _are_a_crowd(len(blunders), adjustment)
    notes = [] if crowd else list(blunders)
    sign = -1.0 if readings.quantity == "drop" else 1.0
    disagreements: list[Problem] = []
    for setup in dict.fromkeys(reading.setup for reading in listed):
        tied = [i for i, r in enumerate(listed) if r.setup == setup and r.kind == "benchmark"]
        if not named & set(tied):
            offsets = [benchmarks[listed[i].label] - sign * listed[i].value - tilts[i] for i in tied]
            disagreements += benchmarks_disagree(
                [listed[i] for i in tied], offsets, adjustment.stated, file, "they were adjusted with the other ties"
            )
    notes += disagreements
    if not blunders and not disagreements:
        notes += _misclosure(adjustment, listed, file)
    if crowd or not blunders:
        notes += _scatter(adjustment, len(blunders), file)
    return notes, _tilted(adjustment, listed, file) + _read_once(adjustment, listed, file)


def benchmarks_disagree(
    tied: list[Reading], offsets: list[float], accuracy: float | None, file: str, used: str
) -> list[Problem]:
    """A note where one set-up's readings of benchmarks do not give one constant.

    Parameters
    ----------
    tied, offsets : its readings of benchmarks, and what each gives as its constant [mm]
    accuracy : one standard deviation of one reading [mm], or None
    file : name for the note
    used : what was made of them
    """
    if len(offsets) < 2:
        return []
    spread = max(offsets) - min(offsets)
    allowed = EIGHTH_MM if accuracy is None else 3 * accuracy
    if spread <= allowed + 1e-6:
        return []
    high, low = (tied[offsets.index(end)] for end in (max(offsets), min(offsets)))
    which: str = f"'{high.label}' in {high.cell} and '{low.label}' in {low.cell}"
    odd = odd_one_out(offsets, allowed)
    if odd is not None:
        off = abs(offsets[odd] - math.fsum(offsets[:odd] + offsets[odd + 1 :]) / (len(offsets) - 1))
        which = Note("benchmark-off", label=tied[odd].label, cell=tied[odd].cell, off=off)
    where = f" of set-up '{high.setup}'" if high.setup else ""
    return [
        _note(
            Note("benchmarks-disagree", where=where, by=(spread, allowed), which=which, used=used),
            file,
            high if odd is None else tied[odd],
            expected=Note("within-most", most=allowed),
            remedy="check the benchmarks' heights and labels, and whether the instrument moved",
        )
    ]


def odd_one_out(values: Sequence[float], allowed: float) -> int | None:
    """Which of three values or more is off, so that without it, and only without it, the others agree; else None.

    >>> odd_one_out([0.2, 5.5, 0.1], 1.2), odd_one_out([0.0, 5.0], 1.2), odd_one_out([0.0, 5.0, 9.0], 1.2)
    (1, None, None)
    """
    if len(values) < 3 or max(values) - min(values) <= allowed:
        return None
    rest = [[*values[:i], *values[i + 1 :]] for i in range(len(values))]
    agree = [i for i, others in enumerate(rest) if max(others) - min(others) <= allowed]
    return agree[0] if len(agree) == 1 else None


def _note(what: str, file: str, reading: Reading, expected: str | None, remedy: str) -> Problem:
    column = reading.cell.rstrip("0123456789")
    return Problem(what, file, reading.row, column, expected=expected, remedy=remedy)


def _tilted(adjustment: Adjustment, readings: tuple[Reading, ...], file: str) -> list[Problem]:
    notes = []
    for name, setup in adjustment.setups.to_dict("index").items():
        if not math.isfinite(setup["tilt_x"]):
            continue
        slopes = [
            Note("tilts", slope=setup[f"tilt_{axis}"], error=setup[f"tilt_{axis}_error"], axis=axis) for axis in "xy"
        ]
        others = ", ".join(f"'{other}'" for other in setup["or_else"])
        notes.append(
            _note(
                Note("setup-tilted-or" if others else "setup-tilted", name=name, slopes=slopes, others=others),
                file,
                next(reading for reading in readings if reading.setup == name),
                expected="a level or plumb instrument, or one string for all",
                remedy="check the instrument on a two-way test before it is used again"
                + ("; read benchmarks with their x and y from both set-ups to know which was level" if others else ""),
            )
        )
    return notes


def _blunders(adjustment: Adjustment, readings: Readings, file: str) -> tuple[list[Problem], set[int]]:
    """Notes on readings that are off, and the numbers of all readings that they name."""
    notes: list[Problem] = []
    named: set[int] = set()
    sign = -1.0 if readings.quantity == "drop" else 1.0
    table = adjustment.residuals
    unit = adjustment.m0 if adjustment.stated is None else adjustment.stated
    for i, row in zip(adjustment.blunders.index.tolist(), adjustment.blunders.to_dict("records"), strict=True):
        if i in named:
            continue
        which = sorted([i, *row["or_else"]])
        named |= set(which)
        # after the first, each was judged with those before it left out: its own bound then is not known here
        allowed = critical_w(adjustment.redundancy, adjustment.stated) * unit / math.sqrt(row["share"])
        texts = []
        for j in which[:6]:
            reading = readings.readings[j]
            side = "large" if sign * table["size"][j] > 0 else "small"
            texts.append((f"{table['point'][j]} from set-up '{reading.setup}'", f"in {reading.cell}", f"too {side}"))
        off = (abs(row["size"]), min(allowed, abs(row["size"]) * 0.999))
        first = readings.readings[which[0]]
        if len(which) == 1:
            point, _, side = texts[0]
            what = Note("tie-off", point=point, off=off, side=side)
        else:
            each = ", ".join(f"of {point} {cell} ({side})" for point, cell, side in texts)
            more = f" and {len(which) - len(texts)} more" if len(which) > len(texts) else ""
            what = Note("one-tie-off", count=len(which), off=off, each=each, more=more)
        notes.append(
            _note(
                what,
                file,
                first,
                expected=Note("within-ties", most=allowed),
                remedy="check the reading, its label and a benchmark's height; read it again, or leave the row out",
            )
        )
    return notes, named


def _misclosure(adjustment: Adjustment, readings: tuple[Reading, ...], file: str) -> list[Problem]:
    """A note on the loop that misses most, where one misses by more than it may."""
    table = adjustment.misclosures
    if not len(table):
        return []
    allowed = table["allowed"].fillna(EIGHTH_MM)
    beyond = table["misclosure"].abs() - allowed
    i = int(beyond.to_numpy().argmax())
    if beyond.iloc[i] <= 1e-6:
        return []
    row = table.iloc[i]
    miss, most = abs(float(row["misclosure"])), float(allowed.iloc[i])
    return [
        _note(
            Note("misses", kind=row["kind"], through=row["through"], by=(miss, most)),
            file,
            readings[row["rows"][0]],
            expected=Note("within-most", most=most),
            remedy="check the readings along it; whether the instrument moved; read it again",
        )
    ]


def _are_a_crowd(count: int, adjustment: Adjustment) -> bool:
    """Whether so many readings are off that it is the stated accuracy that is wrong; common practice, no source."""
    tied = int((adjustment.residuals["share"] > 0).sum())
    return adjustment.stated is not None and count > max(3, tied // 10)


def _scatter(adjustment: Adjustment, beyond: int, file: str) -> list[Problem]:
    if adjustment.stated is None or not adjustment.chance < SNOOPING_LEVEL:
        return []
    ties = f"; {beyond} of them or more are beyond chance" if beyond else ""
    return [
        Problem(
            Note("ties-scatter", by=adjustment.m0, times=adjustment.m0 / adjustment.stated, ties=ties),
            file,
            expected=Note("about-one-sd", mm=adjustment.stated),
            remedy="state a larger accuracy, or look for a set-up that moved or was out of level",
        )
    ]


def _read_once(adjustment: Adjustment, readings: tuple[Reading, ...], file: str) -> list[Problem]:
    points = adjustment.residuals["point"]
    count = points.value_counts()
    return [
        _note(
            f"turning point '{reading.label}' is read once and ties nothing"
            if reading.label
            else "this turning point is read once and ties nothing",
            file,
            reading,
            expected="a turning point read from two set-ups",
            remedy="read it from a second set-up, or check its label",
        )
        for reading, point in zip(readings, points, strict=True)
        if reading.kind == "turning" and count[point] == 1
    ]


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
        notes.append(Problem(Note("accuracy-of-ties", mm=m0, spare=spare), file, remedy="state it: `# accuracy: ...`"))
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
            what = "a turning point without a label or a place ties nothing"
            expected = "the same label in each set-up that reads it"
            report.add(what, reading.row, reading.column, expected=expected, remedy="write its label")
        points.append(name)
    return points


def _mm(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


def _check_place(reading: Reading, first: Reading, report: Report) -> None:
    apart = math.hypot(reading.x - first.x, reading.y - first.y)
    if apart > APART_MM + 1e-6:  # NaN, where a place is not given, is not
        report.at(
            reading,
            Note("turning-apart", label=reading.label, cell=first.cell, apart=apart),
            expected="one place for one label",
            remedy="correct its x and y, or give the two different labels",
        )


def _report_unknown(reading: Reading, benchmarks: Mapping[str, float], report: Report) -> None:
    report.at(
        reading,
        f"benchmark '{reading.label}' has no known height" if reading.label else "a benchmark reading without a label",
        value=reading.label or None,
        expected=f"the label of one of the `# benchmark:` lines: {', '.join(benchmarks) or 'there are none'}",
        remedy=f"did you mean `{nearest(reading.label, benchmarks)}`?"
        if benchmarks and reading.label
        else "add a line such as `# benchmark: BM1 = 0 in`, or give the reading the kind `turning`",
    )


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
    report.at(
        first,
        f"{what} no turning point or station with the rest, so its readings cannot be joined to them"
        if len(names) == 1
        else f"{what} none with the rest, so their readings cannot be joined to them",
        expected="from every set-up a benchmark of known height, or a point that a set-up with one reads too",
        remedy=remedy,
    )
