"""Done against planned: each patch and each member within tolerance, short, over, or not touched."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Any, Protocol

import numpy as np
import pandas as pd
import shapely

from flatness.comparison.alignment import Alignment
from flatness.comparison.both import Both, Rows
from flatness.comparison.unplanned import Bools, areas_outside
from flatness.corrections.members import Members
from flatness.errors import ArgumentError
from flatness.surface.grids import SAME_MM
from flatness.surface.lattice import Surface, bilinear
from flatness.survey.readings import Floats

WITHIN, SHORT, OVER, UNTOUCHED, UNSEEN = "within tolerance", "short", "over", "not touched", "not surveyed"
UNPLANNED = "not planned"
SURE_ERRORS = 3.29  # of the mean of an area that was not planned: chance gives as much once in a thousand
COLUMNS = (
    "what", "name", "action", "planned_mm", "done_mm", "rest_mm", "error_mm", "most_over_mm", "most_short_mm",
    "area_mm2", "planned_mm3", "done_mm3", "x_mm", "y_mm", "status", "sure",
)  # fmt: skip


class PlanLike(Protocol):
    """What a plan must have to be held against: its lattice and the change planned on it.

    It may have ``patches``, a DataFrame with a column ``outline`` of polygons [mm] and perhaps ``name`` and
    ``action``, and ``members``, a :class:`~flatness.corrections.members.Members`.
    """

    @property
    def x(self) -> Floats: ...

    @property
    def y(self) -> Floats: ...

    @property
    def change(self) -> Floats: ...


def done_against_plan(
    plan: PlanLike, both: Both, rows: Rows, alignment: Alignment, difference: Floats, detection: Floats, reach: float,
    tolerance: float | None = None,
) -> pd.DataFrame:  # fmt: skip
    """Done minus planned, for the whole, each patch and each member.

    Parameters
    ----------
    plan : what was to be done
    both, rows, alignment : the two surveys, and the readings' weights at the lattice's nodes
    difference : [ny, nx] mm, after minus before: what was done
    detection : [ny, nx] mm, limit of detection
    reach : errors that make it sure, 1.96 at 95 %
    tolerance : by how much [mm] the mean of a patch may miss the plan; None goes by the error alone

    Returns
    -------
    DataFrame, one row a patch or member: ``what`` (whole, patch, member, elsewhere), ``name``, ``action``, means
        ``planned_mm``, ``done_mm``, ``rest_mm`` (done minus planned, the plan as the later survey's stations would show
        it, which blur the edge of a patch for both alike) with its ``error_mm``; ``most_over_mm`` and
        ``most_short_mm``, the largest rest of a node beyond and behind the plan; ``area_mm2``, ``planned_mm3``,
        ``done_mm3``; ``x_mm``, ``y_mm``, its middle; ``status``: within tolerance, short, over, not touched, not
        surveyed, not planned; ``sure``: whether the error leaves no doubt of it. The rows ``elsewhere`` are of areas
        outside all that was planned where the change less the plan is beyond the limit of detection, and its mean, less
        that of the ground about it, beyond 3.29 of the readings' errors, the largest first; sure where the datum's
        error leaves no doubt either. A member is looked at in stretches two stations long; the row is
        of the stretch that misses the plan most surely

    Raises
    ------
    ArgumentError : a plan of another place or shape, a tolerance that is not above zero
    """
    if tolerance is not None and not (math.isfinite(tolerance) and tolerance > 0):
        raise ArgumentError("tolerance out of range", value=str(tolerance), expected="millimetres above zero, or None")
    planned = planned_on(plan, both)
    seen = both.on_lattice(_through_stations(plan, both, rows))
    table: list[dict[str, Any]] = []
    patches = np.zeros(difference.shape, dtype=bool)
    for what, name, action, shares in _parts(plan, both):
        if what == "patch":
            patches |= np.any([share > 0 for share in shares], axis=0)
        found = [
            _mean(both, rows, alignment, planned, seen, difference, share)
            for share in shares
            if (share * (np.isfinite(planned) & np.isfinite(difference)) > 0).any()
        ]
        if not found:
            table.append({"what": what, "name": name, "action": action, "status": UNSEEN, "sure": False})
            continue
        # of the stretches of a member the one that is surest to miss the plan speaks for it
        worst = max(found, key=lambda row: abs(row["rest_mm"]) / max(row["error_mm"], 1e-9))
        status, sure = judged(
            worst["done_mm"] - worst["rest_mm"], worst["done_mm"], worst["error_mm"], reach, tolerance
        )
        table.append(
            {
                "what": what,
                "name": name,
                "action": action,
                **worst,
                "status": status if what != "whole" else "",
                "sure": sure,
            }
        )
    table += _elsewhere(patches, both, rows, alignment, planned, seen, difference, detection)
    return pd.DataFrame(table, columns=list(COLUMNS))


def _elsewhere(
    patches: Bools, both: Both, rows: Rows, alignment: Alignment, planned: Floats, seen: Floats, difference: Floats,
    detection: Floats,
) -> list[dict[str, Any]]:  # fmt: skip
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
            table.append({
                "what": "elsewhere", "name": str(len(table) + 1), "action": "", **found, "status": UNPLANNED,
                "sure": sure,
            })  # fmt: skip
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
        "planned_mm": mean_planned, "done_mm": mean_done, "rest_mm": mean_done - mean_seen,
        "error_mm": _mean_error(both, rows, alignment, weight), "most_over_mm": max(float(np.nanmax(ahead)), 0.0),
        "most_short_mm": max(-float(np.nanmin(ahead)), 0.0), "area_mm2": area, "planned_mm3": mean_planned * area,
        "done_mm3": mean_done * area, "x_mm": float(both.x[low_x] + both.x[high_x]) / 2,
        "y_mm": float(both.y[low_y] + both.y[high_y]) / 2,
    }  # fmt: skip


def judged(planned: float, done: float, error: float, reach: float, tolerance: float | None) -> tuple[str, bool]:
    """Status of a mean change [mm] against the plan's, and whether its error leaves no doubt.

    >>> judged(-5.0, -0.2, 0.3, 1.96, None)
    ('not touched', True)
    >>> judged(-5.0, -6.5, 0.3, 1.96, 1.0)
    ('over', False)
    >>> judged(1.3, 0.0, 0.5, 1.96, 1.0)
    ('not touched', False)
    """
    rest, doubt = done - planned, reach * error
    allowed = doubt if tolerance is None else tolerance
    if abs(rest) <= allowed:
        # where so little was planned that none of it would be within too, nothing is shown by that
        return WITHIN, abs(planned) > doubt if tolerance is None else abs(rest) + doubt <= allowed
    sure = tolerance is None or abs(rest) > allowed + doubt
    if abs(done) <= doubt < abs(planned):
        return UNTOUCHED, sure
    # where next to nothing was planned, anything that was surely done is too much, whichever way
    ahead = abs(planned) <= doubt < abs(done) or rest * planned >= 0
    return (OVER if ahead else SHORT), sure


def planned_on(plan: PlanLike, both: Both) -> Floats:
    """The plan's change [ny, nx] mm on the lattice of the comparison; NaN beyond the plan's own."""
    change, px, py = (np.asarray(v, dtype=np.float64) for v in (plan.change, plan.x, plan.y))
    if change.shape != (len(py), len(px)) or min(change.shape) < 2:
        raise ArgumentError(
            "the plan's change does not fit its lattice", column="plan", value=f"{change.shape}",
            expected=f"{(len(py), len(px))}, [ny, nx]",
        )  # fmt: skip
    out = bilinear(px, py, change, both.x, both.y)
    if not np.isfinite(out[both.inside]).any():
        raise ArgumentError(
            "the plan is for another place", column="plan",
            value=f"x {px[0]:.0f} to {px[-1]:.0f} mm, y {py[0]:.0f} to {py[-1]:.0f} mm",
            expected=f"x {both.x[0]:.0f} to {both.x[-1]:.0f} mm, y {both.y[0]:.0f} to {both.y[-1]:.0f} mm",
        )  # fmt: skip
    return out


def _through_stations(plan: PlanLike, both: Both, rows: Rows) -> Floats:
    """The difference [m] mm that the readings would show at the places of ``rows``, were it done just as planned.

    Beyond the plan's lattice, and more than two of its steps from any node with a change, nothing is planned.
    """
    after = both.half > 0
    x, y = both.place_x[after] + both.origin[0], both.place_y[after] + both.origin[1]
    change, px, py = (np.asarray(v, dtype=np.float64) for v in (plan.change, plan.x, plan.y))
    off = np.maximum(np.abs(np.clip(x, px[0], px[-1]) - x), np.abs(np.clip(y, py[0], py[-1]) - y))
    at_stations = Surface(px, py, change, float(px[1] - px[0])).at(x, y, beyond="nearest")
    return np.asarray(rows.weights[:, after] @ np.where(off <= SAME_MM, np.nan_to_num(at_stations), 0.0))


def _parts(plan: PlanLike, both: Both) -> Iterator[tuple[str, str, str, list[Floats]]]:
    yield "whole", "all of it", "", [both.inside.astype(float)]
    patches: Any = getattr(plan, "patches", None)
    if patches is not None and len(patches):
        if "outline" not in patches.columns:
            raise ArgumentError(
                "the plan's patches have no outlines", column="patches", value=", ".join(map(str, patches.columns)),
                expected="a column `outline` of polygons [mm]",
            )  # fmt: skip
        for number, (_, patch) in enumerate(patches.iterrows(), 1):
            name = str(patch["name"]) if "name" in patches.columns else str(patch.get("patch", number))
            yield "patch", name, str(patch.get("action", "")), [_inside(both, patch["outline"])]
    members: Any = getattr(plan, "members", None)
    if isinstance(members, Members):
        for _, member in members.table.iterrows():
            yield "member", str(member["name"]), "", list(_along(both, members, member))


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


def _along(both: Both, members: Members, member: pd.Series[Any]) -> Iterator[Floats]:
    """Nodes beside a member, stretch by stretch, each by how near its line it is: linear between two rows of nodes."""
    across, along = (both.x, both.y) if members.direction == "y" else (both.y, both.x)
    near = np.maximum(0.0, 1 - np.abs(across - float(member["position_mm"])) / both.spacing)
    start, end = float(member["start_mm"]), float(member["end_mm"])
    low, high = (along[0] if math.isnan(start) else start), (along[-1] if math.isnan(end) else end)
    # as long as the narrowest change that the stations show well
    count = max(1, round((high - low) / (2 * both.step)))
    edges = np.linspace(low - 1e-6, high + 1e-6, count + 1)
    for first, last in pairwise(edges):
        reach = ((along >= first) & (along <= last)).astype(float)
        share = np.outer(reach, near) if members.direction == "y" else np.outer(near, reach)
        yield np.where(both.inside, share, 0.0)


def _mean_error(both: Both, rows: Rows, alignment: Alignment | None, weight: Floats) -> float:
    """Standard error of a mean of the difference: readings, what they did not see, and the datum where it counts."""
    at = weight[both.inside]
    variance = float(((at @ rows.weights) ** 2) @ both.noise) + both.unseen_sum(weight, rows.weights)
    if alignment is not None:
        datum = at @ alignment.columns(rows.x, rows.y)
        variance += float(datum @ alignment.covariance @ datum)
    return math.sqrt(max(variance, 0.0))
