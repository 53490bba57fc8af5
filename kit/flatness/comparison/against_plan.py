"""Done against planned: at every station in a place, the height that stands against the height that was to be set.

A place is within tolerance only where all its stations are, and where the readings show that something was done there:
what would pass untouched as well cannot be decided.

Where the surface changed though nothing was planned there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Protocol

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.special import ndtri

from flatness.arrays import Floats
from flatness.comparison.alignment import Alignment
from flatness.comparison.both import Both, Rows
from flatness.errors import ArgumentError, check_above_zero
from flatness.framing.members import Members
from flatness.notes import Note
from flatness.planning.plan import setting_error_of
from flatness.surface.lattice import SAME_MM, Surface, bilinear, heights_at
from flatness.survey.readings import Survey

Bools = NDArray[np.bool_]
PLANNED_MM = 0.05  # less than this is no change that anybody plans


def areas_outside(rest: Floats, detection: Floats, planned: Floats, parts: Bools) -> Iterator[Floats]:
    """Connected areas [ny, nx] of change, 1 inside and 0 outside, that lie outside all that was planned.

    Parameters
    ----------
    rest : [ny, nx] mm, the change less the plan as the stations would show it, which blurs over the edge of a patch
    detection : [ny, nx] mm, limit of detection
    planned : [ny, nx] mm, the plan's change; NaN beyond the plan's own lattice, where nothing was planned
    parts : [ny, nx] nodes in a patch of the plan
    """
    asked = parts | (np.abs(np.nan_to_num(planned)) > PLANNED_MM)
    size = np.abs(np.nan_to_num(rest))
    beyond = size > np.nan_to_num(detection, nan=np.inf)
    found: list[Floats] = []
    for way in (rest < 0, rest > 0):
        names, count = ndimage.label(beyond & way, structure=np.ones((3, 3)))
        for area in (names == name for name in range(1, count + 1)):
            # what a patch has too much or too little of spills over its edge, and is greatest within it
            if not asked.flat[int(np.where(area, size, -1.0).argmax())]:
                found.append((area & ~asked).astype(np.float64))
    yield from sorted(found, key=lambda area: -float(area.sum()))


WITHIN, SHORT, OVER, UNTOUCHED, UNSEEN = "within tolerance", "short", "over", "not touched", "not surveyed"
UNTOLD, UNPLANNED = "cannot tell", "not planned"
SURE_ERRORS = 3.29  # of a change that is called one: chance gives as much once in a thousand
SETTING_ERRORS = 2.0  # that a height may be off, where no tolerance is agreed: common practice, no source
ADDS, TAKES_OFF = ("fill", "fur", "sister"), ("plane", "engineer")
COLUMNS = (
    "what",
    "name",
    "action",
    "planned_mm",
    "done_mm",
    "rest_mm",
    "error_mm",
    "most_over_mm",
    "most_short_mm",
    "area_mm2",
    "planned_mm3",
    "done_mm3",
    "x_mm",
    "y_mm",
    "worst_x_mm",
    "worst_y_mm",
    "set_mm",
    "measured_mm",
    "off_mm",
    "stations",
    "agreeing",
    "status",
    "sure",
)


class PlanLike(Protocol):
    """What a plan must have to be held against: its lattice and the change planned on it.

    It may have ``set_height`` [ny, nx] mm, NaN where the surface is left as found; ``patches``, a DataFrame with a
    column ``outline`` of polygons [mm] and perhaps ``name`` and ``action``; ``members``, a
    :class:`~flatness.framing.members.Members`; and ``setting_error`` [mm].
    """

    @property
    def x(self) -> Floats: ...

    @property
    def y(self) -> Floats: ...

    @property
    def change(self) -> Floats: ...


@dataclass(frozen=True, eq=False, kw_only=True)
class Read:
    """What was read after the work at n places, against what was to stand there.

    Attributes
    ----------
    x, y : [n] mm
    measured : [n] mm, in the datum of before
    off : [n] mm, measured less the height to set
    off_covariance : [n, n] mm2
    planned, done : [n] mm, changes
    done_covariance : [n, n] mm2, were nothing done
    is_set : [n] whether a height was to be set
    """

    x: Floats
    y: Floats
    measured: Floats
    off: Floats
    off_covariance: Floats
    planned: Floats
    done: Floats
    done_covariance: Floats
    is_set: Bools

    def of(self, chosen: NDArray[np.intp]) -> Read:
        """Those places alone."""
        square = np.ix_(chosen, chosen)
        return Read(**{name: one[square] if one.ndim == 2 else one[chosen] for name, one in vars(self).items()})

    def one_way(self, way: int) -> Read:
        """As it counts where something is only added (1) or only taken off (-1): what stood beyond already may stay."""
        if not way:
            return self
        beyond = np.minimum(way * self.off, np.maximum(way * self.done, 0.0))
        off = np.where(way * self.off > 0, way * beyond, self.off)
        return replace(self, off=off)


def done_against_plan(
    plan: PlanLike,
    before: Survey,
    both: Both,
    rows: Rows,
    alignment: Alignment,
    difference: Floats,
    detection: Floats,
    confidence: float,
    tolerance: float | None = None,
) -> pd.DataFrame:
    """What stands against what was planned, for the whole, each patch and each member.

    Parameters
    ----------
    plan : what was to be done; without heights to set they are what was found and the change
    before : the earlier survey
    both, rows, alignment : the two surveys, and the readings' weights at the lattice's nodes
    difference : [ny, nx] mm, after minus before: what was done
    detection : [ny, nx] mm, limit of detection
    confidence : at which the readings' error is allowed for, over all stations of a place together
    tolerance : by how much [mm] a height may be off; None: two setting errors

    Returns
    -------
    DataFrame, one row a patch or member: ``what`` (whole, patch, member, elsewhere), ``name``, ``action``. Means:
        ``planned_mm``, ``done_mm``, ``rest_mm`` (done minus planned, the plan as the later survey's stations would show
        it, which blur the edge of a patch for both alike) with its ``error_mm``; ``most_over_mm`` and
        ``most_short_mm``, the largest rest of a node beyond and behind the plan; ``area_mm2``, ``planned_mm3``,
        ``done_mm3``; ``x_mm``, ``y_mm``, its middle. Of a member they are of the stretch, two stations long, that
        misses the plan most surely. Of the station that is farthest off: ``worst_x_mm``, ``worst_y_mm``, ``set_mm``
        (the height to set), ``measured_mm``, ``off_mm`` (measured less set); ``stations``, how many were read in the
        place, of which ``agreeing`` are within tolerance. Of a member they are the stations beside it that are nearest
        to it. Where none stands in a place, ``stations`` is 0 and its means speak for it.
        ``status``: within tolerance, short, over, not touched, cannot tell (what was read would be within tolerance,
        and nothing done would be too), not surveyed, not planned; ``sure``: whether the error leaves no doubt of it.
        The rows ``elsewhere`` are of areas outside all that was planned where the change less the plan is beyond the
        limit of detection, and its mean, less that of the ground about it, beyond 3.29 of the readings' errors, the
        largest first; sure where the datum's error leaves no doubt either

    Raises
    ------
    ArgumentError : a plan of another place or shape, a tolerance that is not above zero
    """
    allowed = tolerance_of(plan, tolerance)
    planned = planned_on(plan, both)
    at_stations = _change_at_stations(plan, both)
    after = both.half > 0
    seen = both.on_lattice(rows.weights[:, after] @ at_stations)
    stations = _stations(plan, before, both, alignment, at_stations)
    table: list[dict[str, Any]] = []
    patches = np.zeros(difference.shape, dtype=bool)
    for what, name, action, shares, own in _parts(plan, both, stations):
        if what == "patch":
            patches |= np.any([share > 0 for share in shares], axis=0)
        row: dict[str, Any] = {"what": what, "name": name, "action": action}
        found = [
            _mean(both, rows, alignment, planned, seen, difference, share)
            for share in shares
            if (share * (np.isfinite(planned) & np.isfinite(difference)) > 0).any()
        ]
        if not found:
            table.append({**row, "status": UNSEEN, "sure": False})
            continue
        # of the stretches of a member the one that is surest to miss the plan speaks for it
        row |= max(found, key=lambda one: abs(one["rest_mm"]) / max(one["error_mm"], 1e-9))
        if what == "whole":
            table.append({**row, "status": "", "sure": False})
            continue
        read = (stations.of(own) if len(own) else _between(both, found)).one_way(_way(plan, what, action))
        became = judged(read, allowed, confidence, agreed=tolerance is not None)
        table.append({**row, "stations": len(own), **became})
    table += _elsewhere(patches, both, rows, alignment, planned, seen, difference, detection)
    return pd.DataFrame(table, columns=list(COLUMNS))


def tolerance_of(plan: Any, tolerance: float | None) -> float:
    """By how much [mm] a height may be off: as agreed, else two of the errors with which the plan's heights are set.

    Raises
    ------
    ArgumentError : a tolerance that is not above zero
    """
    if tolerance is None:
        return SETTING_ERRORS * setting_error_of(plan)
    check_above_zero(tolerance=tolerance)
    return float(tolerance)


def judged(read: Read, tolerance: float, confidence: float, agreed: bool = False) -> dict[str, Any]:
    """What became of a place by what was read in it: its status, the station that is farthest off, how many agree.

    Parameters
    ----------
    read : at n places
    tolerance : by how much [mm] a height may be off
    confidence : at which the readings' errors are allowed for, at all places together
    agreed : whether the tolerance is a number that must be kept for sure
    """
    count = len(read.off)
    reach = float(ndtri((1 + confidence ** (1 / count)) / 2))
    error = np.sqrt(np.maximum(np.diag(read.off_covariance), 1e-12))
    size, weight = np.abs(read.off), np.abs(read.planned)
    agree = size <= tolerance + reach * error
    # a mean that is off by more than the tolerance shows that some place is
    mean = 0.0
    if weight.sum() > 0:
        weight = weight / weight.sum()
        mean = float(weight @ read.off)
        one = math.sqrt(float(weight @ read.off_covariance @ weight))
        mean *= abs(mean) > tolerance + float(ndtri((1 + confidence) / 2)) * one
    is_within = bool(agree.all()) and not mean
    side = np.where(read.off * mean >= 0, size, -math.inf) if agree.all() else size
    worst = int(((side - tolerance) / error).argmax())
    noise = np.sqrt(np.maximum(np.diag(read.done_covariance), 1e-12))
    way = read.planned
    is_done = bool(way @ read.done > SURE_ERRORS * math.sqrt(max(float(way @ read.done_covariance @ way), 1e-12)))
    nothing_planned = bool((np.abs(way) <= PLANNED_MM).all())
    sure = True
    if is_within:
        status = WITHIN if is_done or nothing_planned else UNTOLD
        sure = status == WITHIN and not (agreed and (size + reach * error > tolerance).any())
    elif not is_done and not nothing_planned and (np.abs(read.done) <= max(reach, SURE_ERRORS) * noise).all():
        status = UNTOUCHED
    else:
        off, there, done = read.off[worst], way[worst], read.done[worst]
        # where next to nothing was planned, anything that was surely done is too much, whichever way
        ahead = off * there >= 0 or abs(there) <= reach * noise[worst] < abs(done)
        status = OVER if ahead else SHORT
    measured, off = float(read.measured[worst]), float(read.off[worst])
    return {
        "worst_x_mm": float(read.x[worst]),
        "worst_y_mm": float(read.y[worst]),
        "set_mm": measured - off,
        "measured_mm": measured,
        "off_mm": off,
        "agreeing": int(agree.sum()),
        "status": status,
        "sure": sure,
    }


def _way(plan: PlanLike, what: str, action: str) -> int:
    """1 where a place is only added to, -1 where it is only taken off, 0 where it is set whichever way."""
    if what != "patch" or getattr(plan, "way", "patches") != "patches":
        return 0
    return 1 if action in ADDS else -1 if action in TAKES_OFF else 0


def _stations(plan: PlanLike, before: Survey, both: Both, alignment: Alignment, change: Floats) -> Read:
    """The later survey's stations against the heights to set; ``change`` [n] mm is the plan's at them."""
    after = both.half > 0
    x, y = both.place_x[after] + both.origin[0], both.place_y[after] + both.origin[1]
    measured = both.heights[after] + both.origin[2] - alignment.at(x, y)
    rows, columns = both.rows(x, y), alignment.columns(x, y)
    done = both.difference(rows) - alignment.at(x, y)
    untouched = both.covariance(alignment.apply(rows)) + columns @ alignment.apart @ columns.T
    px, py, set_height = _set_height(plan)
    step = float(px[1] - px[0])
    if set_height is None:
        # what was found is no better known than it was read, and the stations blur the plan as they blur the change
        is_set = (
            Surface(x=px, y=py, height=np.abs(np.nan_to_num(plan.change)), spacing=step).at(x, y, beyond="nearest")
            > PLANNED_MM
        )
        off, covariance = done - rows.weights[:, after] @ change, untouched
    else:
        wanted = np.where(np.isfinite(set_height), set_height, heights_at(before, px, py))
        target = Surface(x=px, y=py, height=wanted, spacing=step)
        is_set = target.at(x, y, np.isfinite(set_height).astype(float), beyond="nearest") >= 0.5
        off = measured - target.at(x, y, beyond="nearest")
        covariance = np.diag(both.noise[after]) + columns @ alignment.covariance @ columns.T
        if both.shared.size:
            covariance = covariance + both.shared[after] @ both.shared[after].T
    return Read(
        x=x,
        y=y,
        measured=measured,
        off=off,
        off_covariance=covariance,
        planned=change,
        done=done,
        done_covariance=untouched,
        is_set=is_set,
    )


def _set_height(plan: PlanLike) -> tuple[Floats, Floats, Floats | None]:
    px, py = (np.asarray(v, dtype=np.float64) for v in (plan.x, plan.y))
    given: Any = getattr(plan, "set_height", None)
    if given is None:
        return px, py, None
    heights = np.asarray(given, dtype=np.float64)
    if heights.shape != (len(py), len(px)):
        what = "the plan's heights do not fit its lattice"
        raise ArgumentError(what, column="plan", value=f"{heights.shape}", expected=f"{(len(py), len(px))}, [ny, nx]")
    return px, py, heights


def _between(both: Both, found: list[dict[str, float]]) -> Read:
    """A place that has no station in it, by what the stations about it show of its means."""
    x, y, planned, done, off, error = (
        np.array([row[name] for row in found])
        for name in ("x_mm", "y_mm", "planned_mm", "done_mm", "rest_mm", "error_mm")
    )
    variance = np.diag(error**2)
    measured = both.middle(x, y) + done / 2
    return Read(
        x=x,
        y=y,
        measured=measured,
        off=off,
        off_covariance=variance,
        planned=planned,
        done=done,
        done_covariance=variance,
        is_set=np.ones(len(x), dtype=bool),
    )


def _elsewhere(
    patches: Bools,
    both: Both,
    rows: Rows,
    alignment: Alignment,
    planned: Floats,
    seen: Floats,
    difference: Floats,
    detection: Floats,
) -> list[dict[str, Any]]:
    """Rows of the areas outside the patches [ny, nx] that changed more than the plan shows."""
    table: list[dict[str, Any]] = []
    bare = np.where(np.isfinite(seen), np.nan_to_num(planned), np.nan)
    rest = difference - np.nan_to_num(seen)
    # against the ground about it: an error of the datum moves both
    beside = rest[~patches & np.isfinite(rest)]
    ground = float(np.median(beside)) if beside.size else 0.0
    for area in areas_outside(rest, detection, planned, patches):
        found = _mean(both, rows, alignment, bare, seen, difference, area)
        own = _mean_error(both, rows, None, area / area.sum())
        if abs(found["rest_mm"] - ground) > SURE_ERRORS * own:
            sure = abs(found["rest_mm"]) > SURE_ERRORS * found["error_mm"]
            named = {"what": "elsewhere", "name": str(len(table) + 1), "action": ""}
            table.append({**named, **found, "status": UNPLANNED, "sure": sure})
    return table


def _mean(
    both: Both, rows: Rows, alignment: Alignment, planned: Floats, seen: Floats, difference: Floats, share: Floats
) -> dict[str, float]:
    inside = (share > 0) & np.isfinite(planned) & np.isfinite(difference)
    weight = np.where(inside, share, 0.0)
    area = float(weight.sum()) * both.spacing**2
    weight = weight / weight.sum()
    mean_planned, mean_seen, mean_done = (
        float((weight * np.where(inside, v, 0.0)).sum()) for v in (planned, seen, difference)
    )
    ahead = np.where(inside, (difference - seen) * np.where(planned < 0, -1, 1), np.nan)
    along = np.argwhere(inside)
    (low_y, low_x), (high_y, high_x) = along.min(axis=0), along.max(axis=0)
    return {
        "planned_mm": mean_planned,
        "done_mm": mean_done,
        "rest_mm": mean_done - mean_seen,
        "error_mm": _mean_error(both, rows, alignment, weight),
        "most_over_mm": max(float(np.nanmax(ahead)), 0.0),
        "most_short_mm": max(-float(np.nanmin(ahead)), 0.0),
        "area_mm2": area,
        "planned_mm3": mean_planned * area,
        "done_mm3": mean_done * area,
        "x_mm": float(both.x[low_x] + both.x[high_x]) / 2,
        "y_mm": float(both.y[low_y] + both.y[high_y]) / 2,
    }


def planned_on(plan: PlanLike, both: Both) -> Floats:
    """The plan's change [ny, nx] mm on the lattice of the comparison; NaN beyond the plan's own."""
    change, px, py = (np.asarray(v, dtype=np.float64) for v in (plan.change, plan.x, plan.y))
    if change.shape != (len(py), len(px)) or min(change.shape) < 2:
        what = "the plan's change does not fit its lattice"
        raise ArgumentError(what, column="plan", value=f"{change.shape}", expected=f"{(len(py), len(px))}, [ny, nx]")
    out = bilinear(px, py, change, both.x, both.y)
    if not np.isfinite(out[both.inside]).any():
        value = Note("reach", x0=px[0], x1=px[-1], y0=py[0], y1=py[-1])
        expected = Note("reach", x0=both.x[0], x1=both.x[-1], y0=both.y[0], y1=both.y[-1])
        raise ArgumentError("the plan is for another place", column="plan", value=value, expected=expected)
    return out


def _change_at_stations(plan: PlanLike, both: Both) -> Floats:
    """The plan's change [n] mm at the later survey's stations.

    Beyond the plan's lattice, and more than two of its steps from any node with a change, nothing is planned.
    """
    after = both.half > 0
    x, y = both.place_x[after] + both.origin[0], both.place_y[after] + both.origin[1]
    change, px, py = (np.asarray(v, dtype=np.float64) for v in (plan.change, plan.x, plan.y))
    off = np.maximum(np.abs(np.clip(x, px[0], px[-1]) - x), np.abs(np.clip(y, py[0], py[-1]) - y))
    at_stations = Surface(x=px, y=py, height=change, spacing=float(px[1] - px[0])).at(x, y, beyond="nearest")
    return np.where(off <= SAME_MM, np.nan_to_num(at_stations), 0.0)


def _parts(
    plan: PlanLike, both: Both, stations: Read
) -> Iterator[tuple[str, str, str, list[Floats], NDArray[np.intp]]]:
    """What is judged: its kind, name and action, shares of the nodes, and which stations stand in it."""
    yield "whole", "all of it", "", [both.inside.astype(float)], np.arange(0)
    known = np.isfinite(stations.off)
    patches: Any = getattr(plan, "patches", None)
    if patches is not None and len(patches):
        if "outline" not in patches.columns:
            what, expected = "the plan's patches have no outlines", "a column `outline` of polygons [mm]"
            raise ArgumentError(what, column="patches", value=", ".join(map(str, patches.columns)), expected=expected)
        for number, (_, patch) in enumerate(patches.iterrows(), 1):
            name = str(patch["name"]) if "name" in patches.columns else str(patch.get("patch", number))
            own = known & shapely.contains_xy(patch["outline"].buffer(1e-3), stations.x, stations.y)
            action = str(patch.get("action", ""))
            yield "patch", name, action, [_inside(both, patch["outline"])], np.flatnonzero(own)
    members: Any = getattr(plan, "members", None)
    if isinstance(members, Members):
        nearest = _nearest_member(both, members, stations)
        for number, (name, *span) in enumerate(members.spans(both.x, both.y)):
            own = known & (nearest == number)
            if (own & stations.is_set).any():
                own &= stations.is_set
            yield "member", name, "", list(_along(both, members, *span)), np.flatnonzero(own)


def _nearest_member(both: Both, members: Members, stations: Read) -> NDArray[np.intp]:
    """[n] the member, by its row, that each station is nearest to; -1 farther than half a step from any."""
    along, across = members.xy(stations.x, stations.y)
    position, start, end = (members.table[f"{name}_mm"].to_numpy(dtype=float) for name in ("position", "start", "end"))
    start, end = np.nan_to_num(start, nan=-math.inf), np.nan_to_num(end, nan=math.inf)
    away = np.abs(across[:, None] - position)
    away[(along[:, None] < start - SAME_MM) | (along[:, None] > end + SAME_MM)] = math.inf
    nearest = away.argmin(axis=1)
    return np.where(away.min(axis=1) <= both.step / 2 + SAME_MM, nearest, -1)


def _inside(both: Both, outline: Any) -> Floats:
    """Nodes in the outline; the node nearest to its middle where it is smaller than the lattice."""
    gx, gy = np.meshgrid(both.x, both.y)
    share = np.asarray(shapely.contains_xy(outline.buffer(1e-3), gx, gy), dtype=np.float64)
    if not (share[both.inside] > 0).any():
        middle = outline.representative_point()
        share = np.zeros(gx.shape)
        iy, ix = int(np.abs(both.y - middle.y).argmin()), int(np.abs(both.x - middle.x).argmin())
        if max(abs(both.x[ix] - middle.x), abs(both.y[iy] - middle.y)) <= both.spacing:
            share[iy, ix] = min(1.0, outline.area / both.spacing**2)
    return np.where(both.inside, share, 0.0)


def _along(both: Both, members: Members, position: float, start: float, end: float) -> Iterator[Floats]:
    """Nodes beside a member, stretch by stretch, each by how near its line it is: linear between two rows of nodes."""
    along, across = members.xy(both.x, both.y)
    near = np.maximum(0.0, 1 - np.abs(across - position) / both.spacing)
    # as long as the narrowest change that the stations show well
    count = max(1, round((end - start) / (2 * both.step)))
    edges = np.linspace(start - 1e-6, end + 1e-6, count + 1)
    for first, last in pairwise(edges):
        reach = ((along >= first) & (along <= last)).astype(float)
        share = np.outer(reach, near) if members.direction == "y" else np.outer(near, reach)
        yield np.where(both.inside, share, 0.0)


def _mean_error(both: Both, rows: Rows, alignment: Alignment | None, weight: Floats) -> float:
    """Standard error of a mean of the difference: readings, what they did not see, and the datum where it counts."""
    at = weight[both.inside]
    variance = float(((at @ rows.weights) ** 2) @ both.noise) + both.unseen_sum(weight, rows)
    if alignment is not None:
        datum = at @ alignment.columns(rows.x, rows.y)
        variance += float(datum @ alignment.covariance @ datum)
    return math.sqrt(max(variance, 0.0))
