"""What a bar showed between the stations: slid along strips, or set in single places.

A grid of stations does not see a proud joist between two of its lines. A bar slid across the members crosses every one
of them. What it showed goes into the surfaces that the readings allow; where it went, a pass rests on it.

The list of strips along which a bar is slid, as a file to fill in at the floor, and read back.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from flatness.arrays import Floats
from flatness.errors import ArgumentError, FlatnessError, LengthError, Problem
from flatness.files import read_file, why
from flatness.lengths import format_length, parse_length
from flatness.limits.kinds import Limit
from flatness.measures.bars import line_gaps, whole_steps
from flatness.notes import Note
from flatness.surface.lattice import LENGTH_SLACK, Surface
from flatness.survey.readings import Survey

READ, SPOT_CHECKED, ASSUMED = "read", "spot-checked", "assumed"
UNDER_BARS = ("straightedge", "straightedge-share", "offset", "plane", "span-bar", "tr34-e", "tr34-f")
# all the kit's own, but that framing stands 16 in apart: common practice, no source
SEEN_MM = 25.4 / 64  # one standard deviation of a gap as it is seen under a bar
# so near a surface's own gap on a lattice comes to the number that was written down: seen so well, written to 1/32 in,
# and as much again for what lies between the nodes
NUMBER_MM = math.sqrt(2 * SEEN_MM**2 + (25.4 / 32) ** 2 / 12)
BAR_MM, METRIC_BAR_MM = 1828.8, 2000.0  # that is slid where none is named: 6 ft, or 2 m
SHORTEST_BAR_MM = 609.6
FRAME_MM = 406.4
SHORTEST_MM = 3048.0  # hump that strips are to find
APART = 2 / 3  # of it, between two strips
READ_ALONG_MM = 1219.2  # stations on a member no farther apart have seen how it runs
OFF_MEMBER = 0.25  # of the members' spacing that a station may stand beside one
LEFT = 0.01  # of the surface may be out of reach of the strips that are asked for
COVERED = 0.95  # of the surface within reach of a strip, from which on a pass rests on them
STEPS_A_BAR = 5  # stations under a bar that have read a slab
MOST_RATIO = 1.8
# of the surfaces that agree with what was seen; under it the readings and the bar disagree. Where they do not, and the
# readings foretell three strips each to 1.4 NUMBER_MM, one floor in twenty comes so low (normal distributions)
LEAST_SHARE = 0.02


def _check_numbers(of: str, **numbers: float) -> None:
    for name, value in numbers.items():
        if not (math.isfinite(value) and value > 0):
            raise ArgumentError(
                f"{of}: {name} out of range",
                value=str(value),
                expected="a number above zero",
                remedy="give the bar's length, then the largest gap that was seen",
            )


@dataclass(frozen=True)
class SpotCheck:
    """A bar set in single places between the stations, which nobody wrote down.

    Attributes
    ----------
    length : of the bar [mm]
    gap : largest gap seen under it [mm]
    places : in how many places it was set
    """

    length: float
    gap: float
    places: int = 5

    def __post_init__(self) -> None:
        _check_numbers("spot check", length=self.length, gap=self.gap, places=self.places)
        if self.gap >= self.length / 10:
            raise ArgumentError(
                "spot check: the gap is not small beside the bar",
                value=Note("exact", mm=self.gap),
                expected=Note("under-a-tenth", length=self.length),
                remedy="give the bar's length first, then the largest gap seen",
            )

    @property
    def share_over(self) -> float:
        """Largest share of the floor [-] that may show more, at 95 %: none in n places (exact binomial).

        >>> round(SpotCheck(609.6, 1.0, 59).share_over, 3)
        0.05
        """
        return float(1 - 0.05 ** (1 / self.places))


@dataclass(frozen=True)
class Sweep:
    """A bar slid along a strip, or set once where the strip is no longer than the bar.

    Attributes
    ----------
    bar : its length [mm]
    along : ``x`` or ``y``, the way in which the bar lies and is slid
    at : position of the strip on the other axis [mm]
    start, end : of the strip [mm]
    stop : gap from which on the bar is to stop and the place to be marked [mm]
    gap : largest gap that was measured [mm]; None: none over ``stop``
    """

    bar: float
    along: str
    at: float
    start: float
    end: float
    stop: float
    gap: float | None = None

    def __post_init__(self) -> None:
        _check_numbers("sweep", bar=self.bar, stop=self.stop)
        if self.along not in ("x", "y"):
            raise ArgumentError("sweep: along which axis", value=str(self.along), expected="x or y")
        if not self.start < self.end:
            raise ArgumentError(
                "sweep: it ends before it starts", value=Note("from-to", start=self.start, end=self.end)
            )
        if self.gap is not None and not (math.isfinite(self.gap) and self.gap >= 0):
            raise ArgumentError("sweep: gap out of range", value=str(self.gap), expected="0 or more")

    def gaps(self, surface: Surface, heights: Floats) -> Floats:
        """[n] mm, the largest gap under the bar of surfaces [n, ny, nx] mm; NaN where it does not fit."""
        across, along = (surface.y, surface.x) if self.along == "x" else (surface.x, surface.y)
        place = (self.at - across[0]) / surface.spacing
        low = int(np.clip(math.floor(place), 0, len(across) - 1))
        high = min(low + 1, len(across) - 1)
        part = float(np.clip(place - low, 0.0, 1.0))
        slack = surface.spacing / 2
        some = (along >= self.start - slack) & (along <= self.end + slack)
        turned = heights if self.along == "x" else heights.swapaxes(1, 2)
        lines = turned[:, low, some] if part == 0 else (1 - part) * turned[:, low, some] + part * turned[:, high, some]
        steps = whole_steps(self.bar, surface.spacing)
        if steps < 2 or lines.shape[1] < 3:
            return np.full(len(heights), np.nan)
        found = line_gaps(np.ascontiguousarray(lines.T), steps)
        return np.asarray(np.nanmax(found, axis=0, initial=-1.0))

    def evidence(self, surface: Surface, heights: Floats) -> Floats:
        """[n] log likelihood, but for a constant, of what was seen on surfaces [n, ny, nx] mm."""
        own = self.gaps(surface, heights)
        if np.isnan(own).all():
            return np.zeros(len(heights))
        if self.gap is None:
            return np.asarray(log_ndtr((self.stop - own) / SEEN_MM))
        return np.asarray(-(((own - self.gap) / NUMBER_MM) ** 2) / 2)


Checks = Sequence[SpotCheck | Sweep]


@dataclass(frozen=True)
class Seen:
    """What the largest gaps under a limit's bar are known to be from what was seen, whatever the readings say.

    Attributes
    ----------
    least : [mm], the largest gap is no less; 0 where nothing was seen
    bar : length of the bar that showed it [mm]
    at : place of the strip, x, y [mm] of its middle; None where nobody wrote it down
    """

    least: float
    bar: float
    at: tuple[float, float] | None


def seen_under(limit: Limit, checks: Checks) -> Seen | None:
    """The largest gap that a bar no longer than the limit's has shown; None where none has.

    The gap under a bar is that between any two contacts no farther apart than it is long, so that a longer one shows
    no less.
    """
    if limit.kind != "straightedge" or limit.length is None:
        return None
    found = []
    for check in checks:
        bar = check.length if isinstance(check, SpotCheck) else check.bar
        if check.gap is None or bar > limit.length * (1 + LENGTH_SLACK):
            continue
        at = None
        if isinstance(check, Sweep):
            middle = (check.start + check.end) / 2
            at = (middle, check.at) if check.along == "x" else (check.at, middle)
        found.append(Seen(check.gap, bar, at))
    return max(found, key=lambda seen: seen.least, default=None)


def under_a_longer_bar(seen: Seen, length: float, n: int, rng: np.random.Generator) -> Floats:
    """[n] mm, what the limit's bar may show where a shorter one showed this much.

    The hump is a hat, its half width w anything up to half the shorter bar; under a bar of length L it shows
    1 - w / L of its height.
    """
    if seen.bar >= length * (1 - LENGTH_SLACK):
        return np.full(n, seen.least)
    half = rng.uniform(0.0, seen.bar / 2, n)
    ratio = (1 - half / length) / (1 - half / seen.bar)
    return np.asarray(seen.least * np.minimum(ratio, MOST_RATIO))


def evidence(checks: Checks, surface: Surface, heights: Floats) -> Floats:
    """[n] log likelihood, but for a constant, of all that sweeps have shown on surfaces [n, ny, nx] mm."""
    out = np.zeros(len(heights))
    for check in checks:
        if isinstance(check, Sweep):
            out += check.evidence(surface, heights)
    return out


def share_of(weight: Floats) -> float:
    """The share of surfaces of these weights [n] that agree: as many of equal weight tell as much (Kish)."""
    return float(weight.sum() ** 2 / (weight**2).sum() / len(weight))


def agreeing(evidence: Floats, count: int, rng: np.random.Generator) -> tuple[NDArray[np.intp], float]:
    """Which [count] of the surfaces with this ``evidence`` [n] stand in for those that agree, and their share.

    Chosen systematically by their weight. The first of them as they are where too few agree: then readings and bar
    disagree.
    """
    weight = np.exp(evidence - evidence.max())
    share = share_of(weight)
    if share < LEAST_SHARE:
        return np.arange(count), share
    ends = np.cumsum(weight) / weight.sum()
    at = (np.arange(count) + rng.random()) / count
    return np.minimum(np.searchsorted(ends, at), len(weight) - 1), share


def open_sweeps(wanted: Sequence[Sweep], done: Checks, spacing: float) -> list[Sweep]:
    """Those of the strips along which no bar was slid yet, to a node of the lattice [mm]."""
    slid = [one for one in done if isinstance(one, Sweep)]
    return [
        one
        for one in wanted
        if not any(
            other.along == one.along
            and abs(other.at - one.at) <= spacing
            and other.start <= one.start + spacing
            and other.end >= one.end - spacing
            for other in slid
        )
    ]


def wanted_sweeps(survey: Survey, surface: Surface, limit: Limit, bar: float | None = None) -> list[Sweep]:
    """The strips along which a bar is to be slid so that no hump of 10 ft lies between them.

    Across the members where their layout is known, else both ways. Of a strip that an opening breaks, each part; on one
    that the bar does not fit on a shorter one is set, of 2 ft at the least.

    Parameters
    ----------
    survey : the readings
    surface : the same on a lattice
    limit : a straightedge limit
    bar : length of the bar [mm]; None: 6 ft or 2 m, or the limit's where that is shorter
    """
    assert limit.length is not None
    assert limit.allowed is not None
    bar, stop = _slid(limit, bar, survey), stop_gap(limit, bar, survey)
    return [sweep for along in _ways(survey) for sweep in _strips(surface, along, bar, stop)]


def _ways(survey: Survey) -> tuple[str, ...]:
    """The ways in which a bar is slid: across the members, both where their layout is not known."""
    if survey.framing is None:
        return ("x", "y")
    return ("x",) if survey.framing.along == "y" else ("y",)


def _slid(limit: Limit, bar: float | None, survey: Survey) -> float:
    """Length of the bar that is slid [mm]: as wanted, else 6 ft or 2 m, or the limit's where that is shorter."""
    assert limit.length is not None
    return min(BAR_MM if survey.unit in ("in", "ft") else METRIC_BAR_MM, limit.length) if bar is None else bar


def stop_gap(limit: Limit, bar: float | None, survey: Survey) -> float:
    """The gap under a bar [mm] at which a hump one frame wide either way shows all that the limit's bar allows.

    Rounded down to 1/32 in, or half a millimeter; ``bar`` as for :func:`wanted_sweeps`.
    """
    assert limit.length is not None
    assert limit.allowed is not None
    bar, inches = _slid(limit, bar, survey), survey.unit in ("in", "ft")
    half = min(FRAME_MM, bar / 2)
    exact = limit.allowed * min(1.0, (1 - half / bar) / (1 - half / limit.length))
    step = 25.4 / 32 if inches else 0.5
    return max(step, math.floor(exact / step + 1e-6) * step)


def _strips(surface: Surface, along: str, bar: float, stop: float) -> list[Sweep]:
    """Evenly over the surface, and then through the most of what those leave, such as behind an opening."""
    inside = surface.inside if along == "x" else surface.inside.T
    across = surface.y if along == "x" else surface.x
    rows = np.flatnonzero(inside.any(axis=1))
    low, high = float(across[rows[0]]), float(across[rows[-1]])
    count = max(1, math.ceil((high - low) / (APART * SHORTEST_MM) - 1e-6))
    found: list[Sweep] = []
    for k in range(count):
        at = low + (k + 0.5) * (high - low) / count
        found += _along_line(surface, along, int(np.argmin(np.abs(across - at))), bar, stop)
    tried = np.zeros_like(inside)
    while (left := _left(found, surface, along) & ~tried).sum() > LEFT * inside.sum():
        row = int(np.argmax(left.sum(axis=1)))
        found += [one for one in _along_line(surface, along, row, bar, stop) if one not in found]
        tried[row] = True
    least = _left(found, surface, along).sum()
    for one in list(found):
        # what the strips that were added behind openings reach as well
        others = [other for other in found if other is not one]
        if _left(others, surface, along).sum() <= max(least, LEFT * inside.sum()):
            found = others
    return found


def _left(checks: Checks, surface: Surface, along: str) -> NDArray[np.bool_]:
    """Out of reach of the strips, [ny, nx], or [nx, ny] of strips along y."""
    out = surface.inside & ~_reached(checks, surface)[along]
    return out if along == "x" else out.T


def _along_line(surface: Surface, along: str, row: int, bar: float, stop: float) -> Iterator[Sweep]:
    """The strips along one line of the lattice, each as far as the surface goes; where it is short, a shorter bar."""
    inside = surface.inside if along == "x" else surface.inside.T
    across, axis = (surface.y, surface.x) if along == "x" else (surface.x, surface.y)
    edges = np.diff(np.concatenate([[0], inside[row].astype(np.int8), [0]]))
    for start, end in zip(np.flatnonzero(edges > 0), np.flatnonzero(edges < 0) - 1, strict=True):
        room = float(axis[end] - axis[start])
        if room >= min(bar, SHORTEST_BAR_MM) * (1 - LENGTH_SLACK):
            yield Sweep(min(bar, room), along, float(across[row]), float(axis[start]), float(axis[end]), stop)


def _reached(checks: Checks, surface: Surface) -> dict[str, NDArray[np.bool_]]:
    """[ny, nx] by the way in which a bar was slid: where a hump of 10 ft across that way lies under it somewhere."""
    reach, slack = APART * SHORTEST_MM / 2 + surface.spacing, surface.spacing / 2
    gx, gy = np.meshgrid(surface.x, surface.y)
    seen = {"x": np.zeros(gx.shape, dtype=bool), "y": np.zeros(gx.shape, dtype=bool)}
    for check in checks:
        if isinstance(check, Sweep):
            along, across = (gx, gy) if check.along == "x" else (gy, gx)
            part = (along >= check.start - slack) & (along <= check.end + slack)
            seen[check.along] |= part & (np.abs(across - check.at) <= reach)
    return seen


def crossed(checks: Checks, survey: Survey, surface: Surface) -> NDArray[np.bool_]:
    """[ny, nx] where no hump of 10 ft across the members has gone without a bar over it.

    Where the members' layout is not known, both ways.
    """
    seen = _reached(checks, surface)
    both: NDArray[np.bool_] = np.all([seen[way] for way in _ways(survey)], axis=0)
    return both & surface.inside


def between(limit: Limit, survey: Survey, surface: Surface, step: float, checks: Checks) -> str:
    """What a verdict rests on between the stations: ``read``, ``spot-checked`` or ``assumed``.

    Parameters
    ----------
    limit : whose verdict it is
    survey, surface : the readings, and the same on a lattice
    step : between stations [mm], where they stand widest
    checks : what a bar showed between them
    """
    if limit.kind not in UNDER_BARS or _has_read(limit, survey, surface, step):
        return READ
    covered = float(crossed(checks, survey, surface).sum()) / max(1, int(surface.inside.sum()))
    return SPOT_CHECKED if covered >= COVERED else ASSUMED


def _has_read(limit: Limit, survey: Survey, surface: Surface, step: float) -> bool:
    """Whether stations stand so close that they have seen what framing, or a slab, may hide."""
    framing = survey.framing
    if framing is None:
        return 2 * step <= FRAME_MM * (1 + LENGTH_SLACK)
    if framing.typical <= 0:
        return limit.length is None or STEPS_A_BAR * step <= limit.length * (1 + LENGTH_SLACK)
    x, y, *_ = survey.stations()
    across, along = (x, y) if framing.along == "y" else (y, x)
    extent = (surface.x if framing.along == "y" else surface.y)[[0, -1]]
    first = math.ceil((extent[0] - framing.first) / framing.spacing - 1e-6)
    last = math.floor((extent[1] - framing.first) / framing.spacing + 1e-6)
    for k in range(first, last + 1):
        on = np.abs(across - framing.first - k * framing.spacing) <= OFF_MEMBER * framing.spacing
        places = np.sort(along[on])
        if len(places) < 2 or float(np.diff(places).max()) > READ_ALONG_MM * (1 + LENGTH_SLACK):
            return False
    return True


HEADINGS = ("strip", "bar", "along", "at", "from", "to", "stop at", "largest gap")
NONE = ("none", "ok", "0")
_HOW = (
    "slide the bar along each strip; write the largest gap under it, or none where it is nowhere over the gap to stop "
    "at; leave a strip blank that was not done"
)


def spot_sheet(sweeps: Sequence[Sweep], unit: str, seen: Mapping[int, str] | None = None, more: str = "") -> str:
    """The text of a list of strips, lengths in ``in`` or ``mm``.

    ``seen``: what was written down of each that was done, counted from 0; ``more``: ``#`` lines besides.
    """
    known = {k: format_length(one.gap, unit, 32) for k, one in enumerate(sweeps) if one.gap is not None}
    known |= seen or {}

    def place(mm: float) -> str:
        return format_length(mm, "ft", 8) if unit == "in" else format_length(mm, "mm")

    lines = [f"# spot checks: {_HOW}", f"# unit: {unit}", *more.splitlines(), ",".join(HEADINGS)]
    for k, one in enumerate(sweeps, start=1):
        cells = [
            place(one.bar),
            one.along,
            place(one.at),
            place(one.start),
            place(one.end),
            format_length(one.stop, unit, 32),
            known.get(k - 1, ""),
        ]
        lines.append(
            ",".join([str(k), *(cell if '"' not in cell else '"' + cell.replace('"', '""') + '"' for cell in cells)])
        )
    return "\n".join(lines) + "\n"


def read_spots(path: str | Path) -> list[Sweep]:
    """The strips of a file that were done; raises as :func:`read_strips`, and where none was."""
    found = [sweep for sweep, seen in read_strips(path) if seen]
    if not found:
        raise FlatnessError(
            "no strip was filled in",
            file=str(path),
            column="largest gap",
            expected="a gap such as 3/32, or none",
            remedy="fill in the last column of each strip that was done",
        )
    return found


def read_strips(path: str | Path) -> list[tuple[Sweep, str]]:
    """All strips of a file, each with what was written down of it; empty where it was not done.

    Raises
    ------
    FlatnessError : a file that cannot be read, or that is no list of strips; every bad cell by row and column
    """
    path = Path(path)
    try:
        text = read_file(path).decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise FlatnessError(
            "the spot checks cannot be read",
            file=str(path),
            value=why(error),
            expected="a list of strips as `flatness spots` writes it",
            remedy="check the name of the file",
        ) from error
    rows: list[list[str]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        try:
            # a line is a strip: a quote that is not closed would take the next ones into its cell
            rows += csv.reader([line], strict=True) if line else [[]]
        except csv.Error as error:
            raise FlatnessError(
                "a quote is not closed, or stands within a cell",
                file=str(path),
                row=number,
                value=line,
                expected='quotes around a whole cell, those within it doubled, such as "6\' 0"""',
                remedy="write inches without a mark, such as 5/16 in",
            ) from error
    unit = next((m[1] for m in (re.match(r"#\s*unit:\s*(in|mm|ft|cm|m)\s*$", ",".join(row)) for row in rows) if m), "")
    table = [
        (number, [cell.strip() for cell in row])
        for number, row in enumerate(rows, start=1)
        if any(cell.strip() for cell in row) and not row[0].lstrip().startswith("#")
    ]
    if not table or tuple(cell.lower() for cell in table[0][1][: len(HEADINGS)]) != HEADINGS:
        raise FlatnessError(
            "this is no list of strips",
            file=str(path),
            row=table[0][0] if table else 1,
            value=", ".join(table[0][1]) if table else "an empty file",
            expected=", ".join(HEADINGS),
            remedy="write the list with `flatness spots SURVEY --out FILE` and fill in its last column",
        )
    problems: list[Problem] = []
    rows_of = [(number, cells + [""] * (len(HEADINGS) - len(cells))) for number, cells in table[1:]]
    swept = [(_sweep(path, number, cells, unit, problems), cells[-1]) for number, cells in rows_of]
    if problems:
        raise FlatnessError(problems)
    return [(sweep, seen) for sweep, seen in swept if sweep is not None]


def seen_lines(text: str, sweeps: Sequence[Sweep], unit: str) -> list[Sweep]:
    """The strips that were done, from a line for each: the largest gap, or ``none``; blank where it was not.

    Raises
    ------
    LengthError : a line that is no gap
    ArgumentError : more lines than strips, or none filled in
    """
    lines = [line.strip() for line in text.rstrip().splitlines()]
    if len(lines) > len(sweeps) or not any(lines):
        raise ArgumentError(
            "the lines are not those of the strips",
            column="largest gap",
            value=f"{len(lines)} lines",
            expected=f"up to {len(sweeps)}, one for each strip",
            remedy="leave a line blank where a strip was not done",
        )
    done = []
    for number, (line, sweep) in enumerate(zip(lines, sweeps, strict=False), start=1):
        if not line:
            continue
        try:
            gap = None if line.lower() in NONE else parse_length(line, unit)
        except LengthError as error:
            raise error.located(column=f"largest gap, strip {number}") from error
        done.append(replace(sweep, gap=gap))
    return done


def _sweep(path: Path, number: int, cells: list[str], unit: str, problems: list[Problem]) -> Sweep | None:
    gap = cells[-1].lower()

    def bad(column: int, what: str, expected: str, remedy: str) -> None:
        problems.append(Problem(what, str(path), number, HEADINGS[column], cells[column], expected, remedy))

    lengths: dict[int, float] = {}
    for column in (1, 3, 4, 5, 6, 7):
        if column == 7 and gap in ("", *NONE):
            continue
        try:
            lengths[column] = parse_length(cells[column], unit or "mm")
        except LengthError as error:
            first = error.problems[0]
            bad(column, first.what, first.expected or "a length", first.remedy or "correct the cell")
    if cells[2].lower() not in ("x", "y"):
        bad(2, "along which axis the bar was slid", "x or y", "copy it from the list")
    if problems and problems[-1].row == number:
        return None
    measured = lengths.get(7)
    if measured is not None and not 0 <= measured < lengths[1] / 10:
        bad(7, "a gap that is not small beside the bar", "0 to a tenth of the bar", "check its unit")
        return None
    try:
        return Sweep(lengths[1], cells[2].lower(), lengths[3], lengths[4], lengths[5], lengths[6], measured)
    except FlatnessError as error:
        problems += [
            Problem(one.what, str(path), number, None, one.value, one.expected, one.remedy) for one in error.problems
        ]
        return None
