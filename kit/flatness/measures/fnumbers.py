"""F-numbers of ASTM E1155: floor flatness FF and floor levelness FL, from lines read every 12 in.

The standard's text was not seen: its constants, the n - 1 in the standard deviations and the way lines
combine are given from memory, as widely quoted. Its own 90 % interval and its least number of readings are
not known here; a stand-in interval is given instead and says so.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import settle
from flatness.measures.fnumber_lines import FOOT_MM, LEAST_READINGS, METRIC_MM, SurveyLine
from flatness.survey.readings import Floats

FF_MM = 4.57 * 25.4  # 4.57 in, for second differences at 12 in
FL_MM = 12.5 * 25.4  # 12.5 in, for differences over 10 ft
STEPS_LEVEL = 10  # intervals between the two readings of a levelness difference
FEW = 10  # differences under which a line's standard deviation tells little

Lines = ArrayLike | SurveyLine | Sequence[ArrayLike | SurveyLine]

INTERVAL_NOTE = (
    "stand-in 90 % interval, +/- 1.645 / sqrt(2 (r - 1)) of the value over r differences: the standard's own "
    "formula was not seen; differences that overlap are counted as independent, so it is too narrow"
)
_METRIC_NOTE = (
    "read every 300 mm: the 12 in constants were corrected for the spacing (112.451 mm and 312.5 mm, "
    "derived); the constants printed in the metric standard were not seen"
)
_STRING_NOTE = "FL is not given: the heights are off a string, which is straight but not known to be level"


@dataclass(frozen=True, eq=False)
class FNumbers:
    """F-numbers of one line or more; the larger, the flatter or more level.

    Attributes
    ----------
    ff, fl : overall flatness and levelness [-]; infinite for straight lines, FL is NaN off a string
    ff_interval, fl_interval : stand-in 90 % interval (least, greatest) [-]; never below 0
    interval_note : what that interval is worth
    lines : DataFrame, one row a line: ``line``, ``readings``, ``n_q``, ``mean_q_mm``, ``sd_q_mm``, ``ff``,
        ``n_z``, ``mean_z_mm``, ``sd_z_mm``, ``fl``
    estimate : True where the readings were interpolated: F-number-style estimates, not an E1155 test
    note : what the reader of the numbers must know
    """

    ff: float
    fl: float
    ff_interval: tuple[float, float]
    fl_interval: tuple[float, float]
    lines: pd.DataFrame
    estimate: bool = False
    note: str = ""
    interval_note: str = INTERVAL_NOTE

    @property
    def least_ff(self) -> float:
        """FF of the least flat line [-], to hold against a minimum local value."""
        return float(self.lines["ff"].min())

    @property
    def least_fl(self) -> float:
        """FL of the least level line [-], to hold against a minimum local value; NaN off a string."""
        return float(self.lines["fl"].min())


def f_numbers(
    lines: Lines,
    *,
    spacing: float = FOOT_MM,
    reference: str = "level",
) -> FNumbers:
    """FF and FL of lines of readings every 12 in.

    Parameters
    ----------
    lines : one line or several, each a sequence of 12 heights [mm] or more, in order along it; or what
        :func:`~flatness.measures.fnumber_lines.survey_lines` gives, whose own spacing and reference are used
    spacing : distance between readings [mm]: 304.8, or 300 with constants corrected for it
    reference : of heights given as numbers; off a ``string`` FL is NaN

    Returns
    -------
    FNumbers

    Raises
    ------
    MeasureError : a line with fewer than 12 readings, or with a height missing
    ArgumentError : another spacing

    Notes
    -----
    With q_i = h_i - 2 h_(i-1) + h_(i-2) (a trough is positive), z_i = h_i - h_(i-10) and standard deviations
    s over n - 1: FF = 4.57 in / (3 s_q + \\|mean q\\|), FL = 12.5 in / (3 s_z + \\|mean z\\|). Lines combine
    as 1/F^2 = sum(r / F^2) / sum(r), with r the number of differences.

    Examples
    --------
    >>> inch = 25.4
    >>> round(f_numbers([0.005 * i * i * inch for i in range(21)]).ff, 6)
    457.0
    """
    given = [
        line if isinstance(line, SurveyLine) else _as_line(line, number, spacing, reference)
        for number, line in enumerate(_several(lines), 1)
    ]
    if not given:
        raise MeasureError("no lines to take F-numbers of", expected="one line of 12 readings or more")
    table = pd.DataFrame([_line_row(line) for line in given])
    ff, ff_interval = _together(table["ff"], table["n_q"])
    fl, fl_interval = _together(table["fl"], table["n_z"])
    notes = [line.note for line in given]
    if any(line.spacing == METRIC_MM for line in given):
        notes.append(_METRIC_NOTE)
    if math.isnan(fl):
        notes.append(_STRING_NOTE)
    elif int(table["n_z"].min()) < FEW:
        notes.append(f"FL is rough: a line under 19 ft gives fewer than {FEW} differences over 10 ft")
    return FNumbers(
        ff, fl, ff_interval, fl_interval, table, any(line.estimate for line in given),
        "; ".join(dict.fromkeys(note for note in notes if note)),
    )  # fmt: skip


def second_differences(heights: ArrayLike) -> Floats:
    """q_i = h_i - 2 h_(i-1) + h_(i-2) of a line [n] -> [n - 2], unit of the heights; troughs positive."""
    return np.diff(np.asarray(heights, dtype=np.float64), n=2)


def level_differences(heights: ArrayLike) -> Floats:
    """z_i = h_i - h_(i-10) of a line [n] -> [n - 10], unit of the heights."""
    h = np.asarray(heights, dtype=np.float64)
    return h[STEPS_LEVEL:] - h[:-STEPS_LEVEL]


def combine(values: Iterable[float], weights: Iterable[float]) -> float:
    """One F-number of several: 1/F^2 is the weighted mean of theirs.

    Weights are numbers of differences for the lines of one section, areas for sections (both from memory).

    >>> round(combine([20, 40], [1, 1]), 3)
    25.298
    """
    f, w = np.array(list(values), dtype=np.float64), np.array(list(weights), dtype=np.float64)
    if len(f) != len(w) or not len(f) or not (w > 0).all() or (f <= 0).any():
        raise ArgumentError(
            "F-numbers and weights that cannot be combined", value=f"{f.tolist()}, {w.tolist()}",
            expected="as many of each, above zero",
        )  # fmt: skip
    mean = float((w / np.square(f)).sum() / w.sum())
    return math.inf if mean == 0 else 1 / math.sqrt(mean)


def _several(lines: Lines) -> list[ArrayLike | SurveyLine]:
    if isinstance(lines, SurveyLine):
        return [lines]
    listed = list(lines)  # type: ignore[arg-type]
    if listed and not isinstance(listed[0], SurveyLine) and np.ndim(listed[0]) == 0:
        return [np.asarray(listed)]
    return listed


def _as_line(heights: ArrayLike, number: int, spacing: float, reference: str) -> SurveyLine:
    if spacing not in (FOOT_MM, METRIC_MM):
        raise ArgumentError(
            "F-numbers are not defined at this spacing", value=f"{spacing} mm", expected="304.8 mm or 300 mm",
            remedy="read the lines every 12 in, or take F-number-style estimates off the surface",
        )  # fmt: skip
    h = np.asarray(heights, dtype=np.float64).ravel()
    along = np.arange(len(h), dtype=np.float64) * spacing
    return SurveyLine(str(number), along, np.zeros_like(along), h, spacing, reference)


def _line_row(line: SurveyLine) -> dict[str, object]:
    h = line.heights
    if len(h) < LEAST_READINGS:
        raise MeasureError(
            f"line {line.name} is too short for F-numbers", value=f"{len(h)} readings",
            expected=f"{LEAST_READINGS} or more, that is 11 ft", remedy="read a longer line",
        )  # fmt: skip
    if not np.isfinite(h).all():
        raise MeasureError(
            f"line {line.name} has a height missing", value=f"reading {int(np.argmin(np.isfinite(h))) + 1}",
            expected="a height at every station", remedy="split the line there, or read the station",
        )  # fmt: skip
    q, z = second_differences(h), level_differences(h)
    ratio = line.spacing / FOOT_MM
    level = line.reference != "string"
    return {
        "line": line.name, "readings": len(h),
        "n_q": len(q), "mean_q_mm": float(q.mean()), "sd_q_mm": float(q.std(ddof=1)),
        "ff": _f_number(FF_MM * ratio**2, q),
        "n_z": len(z), "mean_z_mm": float(z.mean()), "sd_z_mm": float(z.std(ddof=1)),
        "fl": _f_number(FL_MM * ratio, z) if level else math.nan,
    }  # fmt: skip


def _f_number(constant: float, differences: Floats) -> float:
    spread = 3 * float(differences.std(ddof=1)) + abs(float(differences.mean()))
    # a straight or level line has no spread but binary noise
    return constant / spread if settle(spread) else math.inf


def _together(values: pd.Series[float], counts: pd.Series[int]) -> tuple[float, tuple[float, float]]:
    overall = combine(values, counts)
    if not math.isfinite(overall):
        return overall, (overall, overall)
    part = 1.645 / math.sqrt(2 * (int(counts.sum()) - 1))
    return overall, (max(0.0, overall * (1 - part)), overall * (1 + part))
