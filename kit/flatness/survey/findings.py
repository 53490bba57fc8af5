"""What the ties between set-ups show that is worth a look: tilts, blunders, misclosures, too much scatter."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from flatness.errors import Problem
from flatness.survey.adjustment import Adjustment
from flatness.survey.cells import Reading, Readings, over, within
from flatness.survey.least_squares import SNOOPING_LEVEL, critical_w

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
    which = f"'{high.label}' in {high.cell} and '{low.label}' in {low.cell}"
    odd = odd_one_out(offsets, allowed)
    if odd is not None:
        off = abs(offsets[odd] - math.fsum(offsets[:odd] + offsets[odd + 1 :]) / (len(offsets) - 1))
        which = f"'{tied[odd].label}' in {tied[odd].cell} is off by {off:.1f} mm from what the others agree on"
    where = f" of set-up '{high.setup}'" if high.setup else ""
    return [_note(
        f"the benchmark readings{where} disagree by {over(spread, allowed)}: {which}; {used}", file,
        high if odd is None else tied[odd], expected=within(allowed),
        remedy="check the benchmarks' heights and labels, and whether the instrument moved",
    )]  # fmt: skip


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
        slopes = " and ".join(
            f"{setup[f'tilt_{axis}']:.2f} mm/m (error {setup[f'tilt_{axis}_error']:.2f} mm/m) along {axis}"
            for axis in "xy"
        )
        others = ", ".join(f"'{other}'" for other in setup["or_else"])
        against = f"; the ties cannot tell whether it or set-up {others} was out of level" if others else ""
        notes.append(_note(
            f"the instrument's plane in set-up '{name}' rises {slopes}; its heights are corrected for that{against}",
            file, next(reading for reading in readings if reading.setup == name),
            expected="a level or plumb instrument, or one string for all",
            remedy="check the instrument on a two-way test before it is used again"
            + ("; read benchmarks with their x and y from both set-ups to know which was level" if others else ""),
        ))  # fmt: skip
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
        off = over(abs(row["size"]), min(allowed, abs(row["size"]) * 0.999))
        first = readings.readings[which[0]]
        if len(which) == 1:
            point, _, side = texts[0]
            what = f"the reading of {point} is {off} {side}, going by the other ties; it is used as it is"
        else:
            each = ", ".join(f"of {point} {cell} ({side})" for point, cell, side in texts)
            more = f" and {len(which) - len(texts)} more" if len(which) > len(texts) else ""
            what = (
                f"one of {len(which)} readings is off by {off}, and the ties cannot tell which: {each}{more}; "
                "they are used as they are"
            )
        notes.append(_note(
            what, file, first, expected=f"{within(allowed)} of what the other ties say",
            remedy="check the reading, its label and a benchmark's height; read it again, or leave the row out",
        ))  # fmt: skip
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
    return [_note(
        f"the {row['kind']} {row['through']} misses by {over(miss, most)}", file, readings[row["rows"][0]],
        expected=within(most), remedy="check the readings along it; whether the instrument moved; read it again",
    )]  # fmt: skip


def _are_a_crowd(count: int, adjustment: Adjustment) -> bool:
    """Whether so many readings are off that it is the stated accuracy that is wrong; common practice, no source."""
    tied = int((adjustment.residuals["share"] > 0).sum())
    return adjustment.stated is not None and count > max(3, tied // 10)


def _scatter(adjustment: Adjustment, beyond: int, file: str) -> list[Problem]:
    if adjustment.stated is None or not adjustment.chance < SNOOPING_LEVEL:
        return []
    ties = f"; {beyond} of them or more are beyond chance" if beyond else ""
    return [Problem(
        f"the ties between the set-ups scatter by {adjustment.m0:.2g} mm, {adjustment.m0 / adjustment.stated:.1f} "
        f"times the accuracy that the file gives{ties}",
        file, expected=f"about {adjustment.stated:.2g} mm, one standard deviation of one reading",
        remedy="state a larger accuracy, or look for a set-up that moved or was out of level",
    )]  # fmt: skip


def _read_once(adjustment: Adjustment, readings: tuple[Reading, ...], file: str) -> list[Problem]:
    points = adjustment.residuals["point"]
    count = points.value_counts()
    return [
        _note(
            f"turning point '{reading.label}' is read once and ties nothing" if reading.label
            else "this turning point is read once and ties nothing", file, reading,
            expected="a turning point read from two set-ups", remedy="read it from a second set-up, or check its label",
        )
        for reading, point in zip(readings, points, strict=True)
        if reading.kind == "turning" and count[point] == 1
    ]  # fmt: skip
