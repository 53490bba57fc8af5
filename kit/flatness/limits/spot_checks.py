"""What a bar showed between the stations: slid along strips, or set in single places.

A grid of stations does not see a proud joist between two of its lines. A bar slid across the members crosses every one
of them. What it showed goes into the surfaces that the readings allow; where it went, a pass rests on it.

What is to be slid where, and what was seen as a file, is in :mod:`flatness.limits.strip_lists`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.lengths import settle
from flatness.limits.kinds import Limit
from flatness.measures.bars import line_gaps, whole_steps
from flatness.notes import Note
from flatness.surface.lattice import LENGTH_SLACK, Surface, widest_step
from flatness.surface.likely import LikelySurface
from flatness.survey.readings import Framing, Survey

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
MOST_WEIGHED = 5  # times as many are drawn for those that agree with what a bar showed to be as many as were asked for
PLACEMENTS = 400  # of a bar, over the whole of a surface, which give the share that shows no more than was seen


def is_small(gap: float, bar: float) -> bool:
    """Whether a gap under a bar is none, or under a tenth of its length [mm]; more is a slip of the unit."""
    return 0 <= gap < bar / 10


def _check_numbers(of: str, **numbers: float) -> None:
    for name, value in numbers.items():
        if not (math.isfinite(value) and value > 0):
            raise ArgumentError(
                f"{of}: {name} out of range",
                value=str(value),
                expected="a number above zero",
                remedy="give the bar's length, then the largest gap that was seen; where none was, the least that you "
                "can see, such as 1/32in",
            )


@dataclass(frozen=True)
class SpotCheck:
    """A bar set in single places between the stations, which nobody wrote down; taken as picked at random.

    Attributes
    ----------
    length : of the bar [mm]
    gap : largest gap seen under it [mm]; None: none over ``stop``
    places : in how many places it was set
    stop : gap [mm] over which none was; None where a gap is given
    """

    length: float
    gap: float | None
    places: int = 1
    stop: float | None = None

    def __post_init__(self) -> None:
        number = {"gap": self.gap} if self.gap is not None else {"stop": math.nan if self.stop is None else self.stop}
        _check_numbers("spot check", length=self.length, places=self.places, **number)
        if not is_small(self.most, self.length):
            raise ArgumentError(
                "spot check: the gap is not small beside the bar",
                value=Note("exact", mm=self.most),
                expected=Note("under-a-tenth", length=self.length),
                remedy="give the bar's length first, then the largest gap seen",
            )

    @property
    def most(self) -> float:
        """What no place showed more than [mm]."""
        most = self.stop if self.gap is None else self.gap
        assert most is not None
        return most

    @property
    def share_over(self) -> float:
        """Largest share of the floor [-] that may show more, at 95 %: none in n places (exact binomial).

        >>> round(SpotCheck(609.6, 1.0, 59).share_over, 3)
        0.05
        """
        return float(1 - 0.05 ** (1 / self.places))

    def evidence(self, surface: Surface, heights: Floats) -> Floats:
        """[n] log likelihood of surfaces [n, ny, nx] mm: that no place of so many showed more (binomial).

        One that was picked since it looked bad shows no less than one at random, so that this says too little at most.
        """
        gaps = _placed(surface, heights, self.length)
        if not gaps.shape[1]:
            return np.zeros(len(heights))
        within = np.exp(log_ndtr((self.most - gaps) / SEEN_MM)).mean(axis=1)
        return np.asarray(self.places * np.log(np.maximum(within, 1e-12)))


def _placed(surface: Surface, heights: Floats, length: float) -> Floats:
    """[n, placements] mm, the largest gap under a bar of surfaces [n, ny, nx] mm, set in places over all of them."""
    steps, found = whole_steps(length, surface.spacing), []
    for turned, inside in ((heights, surface.inside), (heights.swapaxes(1, 2), surface.inside.T)):
        if steps < 2 or inside.shape[1] <= steps:
            continue
        fits = np.argwhere(np.lib.stride_tricks.sliding_window_view(inside, steps + 1, axis=1).all(axis=2))
        for row, start in fits[:: max(1, math.ceil(len(fits) / (PLACEMENTS // 2)))].tolist():
            found.append(
                line_gaps(np.ascontiguousarray(turned[:, row, start : start + steps + 1].T), steps).max(axis=0)
            )
    return np.stack(found, axis=1) if found else np.empty((len(heights), 0))


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

    @property
    def ends(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """x, y [mm] of its two ends."""
        if self.along == "x":
            return (self.start, self.at), (self.end, self.at)
        return (self.at, self.start), (self.at, self.end)

    @property
    def middle(self) -> tuple[float, float]:
        """x, y [mm] of its middle."""
        half = (self.start + self.end) / 2
        return (half, self.at) if self.along == "x" else (self.at, half)


Check = SpotCheck | Sweep
Checks = Sequence[Check]


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
        found.append(Seen(check.gap, bar, check.middle if isinstance(check, Sweep) else None))
    return max(found, key=lambda seen: seen.least, default=None)


def over_on_strips(limit: Limit, checks: Checks) -> tuple[Sweep, ...]:
    """The strips on which a bar no longer than the limit's showed more than is allowed."""
    if limit.kind != "straightedge" or limit.length is None or limit.allowed is None:
        return ()
    longest = limit.length * (1 + LENGTH_SLACK)
    slid = [one for one in checks if isinstance(one, Sweep) and one.bar <= longest]
    return tuple(one for one in slid if one.gap is not None and settle(one.gap) > settle(limit.allowed))


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
    """[n] log likelihood, but for a constant, of all that a bar has shown on surfaces [n, ny, nx] mm."""
    out = np.zeros(len(heights))
    for check in checks:
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


def draw_agreeing(
    likely: LikelySurface, survey: Survey, surface: Surface, count: int, seed: int, checks: Checks
) -> tuple[Floats, Floats, float]:
    """Surfaces that readings and bar allow, on the lattice [count, ny, nx] and at the readings [count, m] mm.

    And the share of surfaces by the readings alone that agree with what the bar showed, 1 without checks; as more are
    drawn where few do, up to :data:`MOST_WEIGHED` times as many.
    """
    x, y, _ = survey.xyz()
    lattice, readings = likely.draw_both(x, y, count, seed)
    if not checks:
        return lattice, readings, 1.0
    weights = evidence(checks, surface, lattice)
    while len(weights) < MOST_WEIGHED * count and len(weights) * share_of(np.exp(weights - weights.max())) < count:
        again = int(np.random.SeedSequence([seed, 17, len(weights)]).generate_state(1)[0])
        more = likely.draw_both(x, y, count, again)
        lattice, readings = np.concatenate([lattice, more[0]]), np.concatenate([readings, more[1]])
        weights = np.append(weights, evidence(checks, surface, more[0]))
    some, agree = agreeing(weights, count, np.random.default_rng([seed, 11]))
    return lattice[some], readings[some], agree


def notes_after(notes: Sequence[str], checks: Checks) -> tuple[str, ...]:
    """Notes of a likely surface, after a bar was slid between the stations."""
    slid = any(isinstance(check, Sweep) for check in checks)
    return tuple(
        Note("waves-crossed", **note.values) if slid and isinstance(note, Note) and note.key == "waves-unseen" else note
        for note in notes
    )


def check_strips(checks: Checks, survey: Survey) -> None:
    """Whether every strip lies on the surface that was surveyed.

    Raises
    ------
    ArgumentError : one that does not, by its place
    """
    for check in checks:
        beyond = None if isinstance(check, SpotCheck) else off_surface(check, survey)
        if beyond is not None:
            name, value, allowed = beyond
            raise ArgumentError(
                f"a strip that lies outside of the {survey.surface}: {name}",
                value=Note("exact", mm=value),
                expected=Note("from-to", start=allowed[0], end=allowed[1]),
                remedy=OFF_SURFACE,
            )


OFF_SURFACE = "check which way it runs, and the corner from which its places are measured"


def off_surface(sweep: Sweep, survey: Survey) -> tuple[str, float, tuple[float, float]] | None:
    """Which of ``at``, ``from`` and ``to`` lies off the surface [mm], and what is on it; None: none does.

    A surface reaches as far as its outline, or one step beyond its stations.
    """
    x, y, *_ = survey.stations()
    if survey.outline is not None:
        x0, y0, x1, y1 = survey.outline.bounds
    else:
        x0, y0, x1, y1 = min(x.min(), 0.0), min(y.min(), 0.0), x.max(), y.max()
    slack = widest_step(survey)
    ways = {"x": (float(x0) - slack, float(x1) + slack), "y": (float(y0) - slack, float(y1) + slack)}
    across = "y" if sweep.along == "x" else "x"
    for name, value, way in (
        ("at", sweep.at, across),
        ("from", sweep.start, sweep.along),
        ("to", sweep.end, sweep.along),
    ):
        low, high = ways[way]
        if not low <= value <= high:
            return name, value, (low + slack, high - slack)
    return None


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


@dataclass(frozen=True)
class Crossed:
    """What strips have crossed.

    Attributes
    ----------
    share : of the floor [-] where no hump of 10 ft across the members has gone without a bar over it
    members, of : members that a bar has crossed all along, of so many; None where their layout is not known
    """

    share: float
    members: int | None
    of: int | None


def count_crossed(checks: Checks, survey: Survey, surface: Surface) -> Crossed:
    """How much of the floor, and how many of its members, strips have crossed."""
    here = crossed(checks, survey, surface)
    share = float(here.sum()) / max(1, int(surface.inside.sum()))
    framing = survey.framing
    if framing is None:
        return Crossed(share, None, None)
    axis, done, inside = (
        (surface.x, here, surface.inside) if framing.along == "y" else (surface.y, here.T, surface.inside.T)
    )
    first, last = member_numbers(framing, (float(axis[0]), float(axis[-1])))
    columns = [int(np.argmin(np.abs(axis - framing.first - k * framing.spacing))) for k in range(first, last + 1)]
    columns = [column for column in columns if inside[:, column].any()]
    whole = [done[:, k].sum() >= COVERED * inside[:, k].sum() for k in columns]
    return Crossed(share, int(sum(whole)), len(columns))


def member_numbers(framing: Framing, extent: tuple[float, float]) -> tuple[int, int]:
    """Number of the first and last member between two places across them [mm], counted from that of the layout."""
    first = math.ceil((extent[0] - framing.first) / framing.spacing - 1e-6)
    return first, math.floor((extent[1] - framing.first) / framing.spacing + 1e-6)


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
    first, last = member_numbers(framing, (float(extent[0]), float(extent[1])))
    for k in range(first, last + 1):
        on = np.abs(across - framing.first - k * framing.spacing) <= OFF_MEMBER * framing.spacing
        places = np.sort(along[on])
        if len(places) < 2 or float(np.diff(places).max()) > READ_ALONG_MM * (1 + LENGTH_SLACK):
            return False
    return True
