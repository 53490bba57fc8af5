"""How the two surveys are brought to one datum before they are compared, and how sure that is.

The offset and the tilts are of the later survey's datum against the earlier one's: after minus before, where nothing
changed. They are taken off the later survey's heights.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from flatness.comparison.both import Both, Rows
from flatness.comparison.known_heights import SAME_HEIGHT_MM, moved_apart
from flatness.comparison.places import declared, in_common
from flatness.comparison.robust import Agreed, agree
from flatness.errors import ArgumentError, MeasureError
from flatness.survey.readings import Floats, Survey

WAYS = ("benchmarks", "offset", "tilt", "none")
BESIDE = 1.05  # steps between stations over which a change fades out
FEW_AGREE = 0.65  # with fewer, simulated alignments miss the truth by more than they say
NOT_LEVEL = (
    "a free tilt was taken out, so that whether the surface went out of level or plumb between the surveys is not known"
)


@dataclass(frozen=True, eq=False)
class Alignment:
    """The later survey's datum against the earlier one's.

    Attributes
    ----------
    way : ``benchmarks``, ``offset``, ``tilt`` or ``none``
    offset : [mm] at the place ``x``, ``y`` [mm]; after minus before where nothing changed
    tilt_x, tilt_y : [mm/m], positive where that difference rises along the axis
    covariance : [3, 3] of offset [mm], tilt_x and tilt_y [mm/m]
    rests_on : in words
    agreeing : share of the places looked at whose readings agree with it [-]; NaN where none were looked at
    rival : another offset [mm] that nearly as many places speak for, or None
    is_level_known : whether a change of level can be told from a tilt of the datum
    problems : what is worth a look
    pull, apart : how the readings that are compared move it, and the part of ``covariance`` that does not come by them
    """

    way: str
    offset: float
    tilt_x: float
    tilt_y: float
    x: float
    y: float
    covariance: Floats
    rests_on: str
    agreeing: float = math.nan
    rival: float | None = None
    is_level_known: bool = True
    problems: tuple[str, ...] = ()
    pull: tuple[Rows, Floats] | None = field(default=None, repr=False)
    apart: Floats = field(default_factory=lambda: np.zeros((3, 3)), repr=False)

    @property
    def offset_error(self) -> float:
        """Standard error of the offset [mm]."""
        return float(math.sqrt(self.covariance[0, 0]))

    @property
    def tilt_x_error(self) -> float:
        """Standard error of the tilt along x [mm/m]."""
        return float(math.sqrt(self.covariance[1, 1]))

    @property
    def tilt_y_error(self) -> float:
        """Standard error of the tilt along y [mm/m]."""
        return float(math.sqrt(self.covariance[2, 2]))

    def at(self, x: Any, y: Any) -> Any:
        """What is taken off the later survey's heights at places x, y [mm]."""
        return self.offset + (self.tilt_x * (x - self.x) + self.tilt_y * (y - self.y)) / 1000

    def columns(self, x: Floats, y: Floats) -> Floats:
        """[m, 3] how the height at places x, y [mm] moves with offset, tilt_x and tilt_y."""
        return np.column_stack([np.ones_like(x), (x - self.x) / 1000, (y - self.y) / 1000])

    def apply(self, rows: Rows) -> Floats:
        """Weights [m, n] of the readings in the aligned difference at the places of ``rows``."""
        if self.pull is None:
            return rows.weights
        used, gain = self.pull
        own: Floats = self.columns(rows.x, rows.y)[:, : len(gain)] @ (gain @ used.weights)
        return np.asarray(rows.weights - own)


def align_surveys(
    before: Survey, after: Survey, both: Both, way: str, unchanged: Any = None, seed: int = 0
) -> Alignment:
    """Find the later survey's datum against the earlier one's.

    Parameters
    ----------
    before, after, both : the surveys, and both on one lattice
    way : ``benchmarks``: both stand on benchmarks of one name; ``offset`` or ``tilt``: from the surface itself, over
        ``unchanged`` or, without it, over whichever places agree; ``none``: they stand on one datum already
    unchanged : polygons [mm], places (x, y) [mm] or labels of stations that did not change
    seed : of the planes tried where a tilt is looked for

    Raises
    ------
    ArgumentError : an unknown way, nothing shared, places that do not exist or are too few
    """
    if way not in WAYS:
        raise ArgumentError("unknown way to align", column="align", value=str(way), expected=", ".join(WAYS))
    if unchanged is not None and way not in ("offset", "tilt"):
        raise ArgumentError(
            "unchanged places are not used where nothing is fitted to them", column="align", value=way,
            expected="align='offset' or align='tilt'", remedy="say one of the two, or leave unchanged out",
        )  # fmt: skip
    strings = [survey for survey in (before, after) if not survey.is_level]
    if strings and way in ("benchmarks", "offset"):
        raise ArgumentError(
            "a survey off a string may lie at any tilt, which an offset cannot take out", column="align", value=way,
            expected="align='tilt', or 'none' where the same string stood untouched",
        )  # fmt: skip
    if way == "benchmarks":
        return _on_benchmarks(before, after, both)
    middle = _middle(both)
    if way == "none":
        words = "nothing: both surveys are taken to stand on one datum, and an error of the datum is not counted"
        return Alignment("none", 0.0, 0.0, 0.0, *middle, np.zeros((3, 3)), words, is_level_known=not strings)
    return _on_surface(before, after, both, way, unchanged, seed)


def _middle(both: Both) -> tuple[float, float]:
    x, y = both.nodes()
    return float(x.mean()), float(y.mean())


def _on_benchmarks(before: Survey, after: Survey, both: Both) -> Alignment:
    shared = [label for label in before.benchmarks if label in after.benchmarks]
    if not shared:
        raise ArgumentError(
            "the two surveys share no benchmark", column="align", value="benchmarks",
            expected=f"one name in both; before has {_listed(before.benchmarks)}, after {_listed(after.benchmarks)}",
            remedy="align='none' where the instrument stood on one datum both times, align='offset' where it did not",
        )  # fmt: skip
    shifts = {label: after.benchmarks[label] - before.benchmarks[label] for label in shared}
    offset = float(np.mean(list(shifts.values())))
    if max(abs(shift - offset) for shift in shifts.values()) > SAME_HEIGHT_MM:
        raise ArgumentError(moved_apart(before.benchmarks, after.benchmarks, shifts))
    errors = [_datum_error(survey, both.reading_error(half)) for survey, half in ((before, -0.5), (after, 0.5))]
    covariance = np.diag([errors[0][0] ** 2 + errors[1][0] ** 2, 0.0, 0.0])
    words = (
        f"{'benchmark' if len(shared) == 1 else 'benchmarks'} {_listed(shared)}, {errors[0][1]} before and "
        f"{errors[1][1]} after"
    )
    offset = offset if abs(offset) > SAME_HEIGHT_MM else 0.0
    words += f"; their heights moved by {offset:+.2f} mm from file to file" if offset else ""
    return Alignment("benchmarks", offset, 0.0, 0.0, *_middle(both), covariance, words, apart=covariance)


def _datum_error(survey: Survey, one: float) -> tuple[float, str]:
    """Standard error of a survey's datum from its own readings of benchmarks, and how often they were read."""
    adjustment = survey.adjustment
    count = len(_read(survey))
    times = {0: "no reading", 1: "one reading"}.get(count, f"{count} readings")
    if adjustment is not None and len(adjustment.setups):
        worst = float(adjustment.setups["offset_error"].max())
        if math.isfinite(worst):
            more = adjustment.m0 / adjustment.stated if adjustment.stated and adjustment.redundancy else 1.0
            return worst * max(1.0, more), times
    misses = [float(tie["height"]) - survey.benchmarks[str(tie["label"])] for tie in _read(survey)]
    scatter = float(np.std(misses, ddof=1)) if count > 1 else 0.0
    # what disagrees more than its accuracy allows is no better than it agrees (the ratio of R. T. Birge, 1932)
    if scatter > one:
        times += f" that scatter by {scatter:.2f} mm"
    # without a reading in the file the datum is taken to rest on one
    return max(one, scatter) / math.sqrt(max(count, 1)), times


def _read(survey: Survey) -> list[dict[Any, Any]]:
    known = survey.ties["kind"].eq("benchmark") & survey.ties["label"].isin(list(survey.benchmarks))
    return survey.ties[known].to_dict("records")


def _on_surface(before: Survey, after: Survey, both: Both, way: str, unchanged: Any, seed: int) -> Alignment:
    if unchanged is None:
        x, y = in_common(before, after, *both.stations())
        named = ""
    else:
        x, y, named = declared(before, after, both, unchanged)
    needed = 1 if way == "offset" else 3
    middle = _middle(both)
    base = Alignment(way, 0.0, 0.0, 0.0, *middle, np.zeros((3, 3)), "")
    columns = base.columns(x, y)[:, :needed]
    if len(x) < needed or np.linalg.matrix_rank(columns) < needed:
        raise MeasureError(
            f"too few places to find the {'offset' if way == 'offset' else 'tilt'}", value=f"{len(x)} stations",
            expected="one" if way == "offset" else "three that do not lie on one line",
            remedy="declare a larger area unchanged, or read more stations in it",
        )  # fmt: skip
    rows = both.rows(x, y)
    difference, covariance = both.difference(rows), both.covariance(rows.weights)
    robust = unchanged is None
    if robust:
        found = agree(columns, difference, covariance, np.column_stack([x, y]), BESIDE * both.step, seed)
    else:
        found = _all_of(columns, difference, covariance)
    full, apart = np.zeros((3, 3)), np.zeros((3, 3))
    full[:needed, :needed] = found.covariance
    apart[:needed, :needed] = found.covariance - found.gain @ covariance @ found.gain.T
    theta = np.zeros(3)
    theta[:needed] = found.theta
    is_level = way == "offset" and before.is_level and after.is_level
    return Alignment(
        way, float(theta[0]), float(theta[1]), float(theta[2]), *middle, full, _rests_on(found, len(x), named),
        found.agreeing if robust else math.nan, found.rival, is_level, tuple(_problems(found, robust, is_level)),
        (rows, found.gain), apart,
    )  # fmt: skip


def _all_of(columns: Floats, difference: Floats, covariance: Floats) -> Agreed:
    """Least squares over places that were declared unchanged, all of them."""
    spread = np.sqrt(np.diag(covariance))
    weight = 1 / spread**2
    gain = np.asarray(np.linalg.solve((columns.T * weight) @ columns, columns.T * weight), dtype=np.float64)
    theta = gain @ difference
    off = float(np.abs((difference - columns @ theta) / spread).max())
    return Agreed(theta, gain, gain @ covariance @ gain.T, 1.0, None, off)


def _rests_on(found: Agreed, count: int, named: str) -> str:
    if named:
        return f"{count} {'station' if count == 1 else 'stations'} declared unchanged ({named})"
    return f"the {100 * found.agreeing:.0f} % of {count} stations that agree with one another"


def _problems(found: Agreed, robust: bool, is_level: bool) -> Iterable[str]:
    if robust and found.agreeing < FEW_AGREE:
        yield (
            f"the alignment is not sure: only {100 * found.agreeing:.0f} % of the stations agree with it; declare what "
            "did not change, or read a benchmark both times"
        )
    if found.rival is not None:
        yield (
            f"the alignment is in doubt: nearly as many stations speak for a datum {found.rival - found.theta[0]:+.1f} "
            "mm from it (a whole area may have been raised or lowered evenly); declare what did not change"
        )
    if not robust and found.worst > 4:
        yield (f"a place declared unchanged is {found.worst:.1f} errors off the others: it may have changed after all")
    if not is_level:
        yield NOT_LEVEL


def _listed(names: Iterable[str]) -> str:
    return ", ".join(names) or "none"
