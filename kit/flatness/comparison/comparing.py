"""Two surveys of one surface compared: after minus before, and how much of it is real.

The difference of two surfaces, each with its error, has the error sqrt(s1^2 + s2^2); what exceeds 1.96 of it is change
at 95 % (limit of detection). Summed to areas and volumes, three kinds of error behave differently: of independent
readings, which averages out; of what neighbouring places share, which does so slowly; and of the datum, which never
does (Anderson 2019, Earth Surface Processes and Landforms 44, 1015-1033).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

from flatness.arrays import Floats
from flatness.comparison.against_plan import PlanLike, done_against_plan
from flatness.comparison.alignment import Alignment, align_surveys
from flatness.comparison.both import Both, Rows, estimate_both
from flatness.comparison.mistakes import (
    Shares,
    about_plan,
    readings_in_doubt,
    shares_compared,
    suspects,
    usual_mistakes,
)
from flatness.errors import ArgumentError
from flatness.limits.kinds import Limit
from flatness.limits.spot_checks import Checks
from flatness.limits.verdict import Assessment, assess
from flatness.notes import Note
from flatness.planning.volumes import node_areas
from flatness.survey.readings import Survey, with_walls_of

KINDS = ("cut", "fill")


@dataclass(frozen=True, eq=False)
class Amount:
    """An area and a volume, and how they move with the difference at each node.

    Attributes
    ----------
    area : [mm2]; ``volume`` : [mm3], zero or more
    area_share : [ny, nx] mm, change of the area per mm of change of the difference at a node
    volume_share : [ny, nx] mm2, change of the volume per mm; that of a whole node is the area it stands for
    """

    area: float
    volume: float
    area_share: Floats
    volume_share: Floats


def amount_beyond(difference: Floats, bound: Floats, error: Floats, spacing: float, kind: str) -> Amount:
    """What was cut or filled by more than a bound.

    Parameters
    ----------
    difference : [ny, nx] mm, after minus before; NaN where there is none
    bound : [ny, nx] mm, zero or more; where the change stays within it, it does not count
    error : [ny, nx] mm, of the difference: how far the line of the bound may lie astray
    spacing : lattice step [mm]
    kind : ``cut`` or ``fill``

    Returns
    -------
    Amount : over the places where the change, in the direction asked for, is beyond the bound; the whole of the
        change counts there, not only what is beyond
    """
    sign = 1.0 if kind == "fill" else -1.0
    change = sign * difference
    triangles, area, nodes = _triangles(difference.shape, np.isfinite(difference), spacing)
    g, b, e = (triangles(values) for values in (change, bound, error))
    here_area, here_volume = _beyond(g, b, area)
    # the line moves when all corners of a triangle move together: by their own error to either side
    step = np.maximum(e.mean(axis=0), 1e-9)
    up, down = _beyond(g + step, b, area), _beyond(g - step, b, area)
    shares = [
        _scatter(sign * (high - low) / (2 * step), nodes, difference.shape) for high, low in zip(up, down, strict=True)
    ]
    return Amount(float(here_area.sum()), float(here_volume.sum()), shares[0], shares[1])


def net_amount(difference: Floats, spacing: float) -> tuple[float, Floats]:
    """Net volume [mm3] of a difference [ny, nx] mm, fill less cut of every place, and each node's share [mm2]."""
    inside = np.isfinite(difference)
    area = node_areas(inside, spacing)
    return float((area * np.where(inside, difference, 0.0)).sum()), area


Lifted = Callable[[Floats], Floats]


def _triangles(
    shape: tuple[int, ...], inside: NDArray[np.bool_], spacing: float
) -> tuple[Lifted, Floats, list[tuple[Floats, Floats]]]:
    """How nodes' values become triangles' [3, n], the triangles' areas [n] mm2, and which nodes each rests on.

    Returns (values [ny, nx] -> [3, n], areas, [(index of node [n], weight [n]), ...]).
    """
    index = np.arange(int(np.prod(shape))).reshape(shape)
    ring = np.stack([index[:-1, :-1], index[:-1, 1:], index[1:, 1:], index[1:, :-1]])
    known = inside.ravel()[ring]
    whole = ring[:, known.all(axis=0)]
    three = known.sum(axis=0) == 3
    lone = ring[:, three].T[known[:, three].T].reshape(-1, 3).T
    count = whole.shape[1]

    def lifted(values: Floats) -> Floats:
        flat = values.ravel()
        corners = flat[whole]
        middle = corners.mean(axis=0)
        sides = [np.stack([corners[k], corners[(k + 1) % 4], middle]) for k in range(4)]
        return np.concatenate([*sides, flat[lone]], axis=1)

    area = spacing**2 * np.concatenate([np.full(4 * count, 0.25), np.full(lone.shape[1], 0.5)])
    nodes: list[tuple[Floats, Floats]] = []
    for corner in range(4):  # the middle's third rests on all four corners
        per_side = [1 / 3 * (corner in (k, (k + 1) % 4)) + 1 / 12 for k in range(4)]
        weight = np.concatenate([*(np.full(count, w) for w in per_side), np.zeros(lone.shape[1])])
        at = np.concatenate([np.tile(whole[corner], 4), np.zeros(lone.shape[1], dtype=int)])
        nodes.append((at, weight))
    for corner in range(3):
        at = np.concatenate([np.zeros(4 * count, dtype=int), lone[corner]])
        nodes.append((at, np.concatenate([np.zeros(4 * count), np.full(lone.shape[1], 1 / 3)])))
    return lifted, area, nodes


def _scatter(values: Floats, nodes: list[tuple[Floats, Floats]], shape: tuple[int, ...]) -> Floats:
    out = np.zeros(int(np.prod(shape)))
    for at, weight in nodes:
        out += np.bincount(at, weights=weight * values, minlength=len(out))
    return out.reshape(shape)


def _beyond(g: Floats, bound: Floats, area: Floats) -> tuple[Floats, Floats]:
    """Area [n] of each triangle where g is above the bound, both linear on it, and the integral [n] of g over it."""
    f = g - bound
    order = np.argsort(f, axis=0)
    low, mid, high = np.take_along_axis(f, order, axis=0)
    g_low, g_mid, g_high = np.take_along_axis(g, order, axis=0)
    share, mean = np.zeros_like(low), np.zeros_like(low)
    full = (low >= 0) & (high > 0)
    share[full], mean[full] = 1.0, ((g_low + g_mid + g_high) / 3)[full]
    one = (high > 0) & (mid <= 0) & ~full  # a corner stands out of the bound
    part, inner = _corner(high[one], mid[one], low[one], g_high[one], g_mid[one], g_low[one])
    share[one], mean[one] = part, inner
    two = (mid > 0) & (low < 0)  # a corner lies within it
    part, inner = _corner(low[two], mid[two], high[two], g_low[two], g_mid[two], g_high[two])
    share[two] = 1 - part
    mean[two] = (g_low + g_mid + g_high)[two] / 3 - inner
    return share * area, mean * area


def _corner(f: Floats, f1: Floats, f2: Floats, g: Floats, g1: Floats, g2: Floats) -> tuple[Floats, Floats]:
    """Share of a triangle cut off at one corner by f = 0, and the integral of g over it per area of the whole."""
    t1, t2 = f / (f - f1), f / (f - f2)
    share = t1 * t2
    return share, share * (3 * g + t1 * (g1 - g) + t2 * (g2 - g)) / 3


PARTS = ("random", "correlated", "systematic")
LEFT, RIGHT = ("limit", "measure", "before", "after", "turned"), ("before_likely", "after_likely", "allowed")
VERDICTS = (*LEFT, *RIGHT, "before_chance", "after_chance", "before_between", "after_between", "unit")


@dataclass(frozen=True, eq=False, kw_only=True)
class Comparison:
    """What changed between two surveys; every difference is after minus before, positive toward the room.

    Attributes
    ----------
    x, y : [nx], [ny] mm, the lattice over the common area; ``spacing`` mm
    before_heights, after_heights : [ny, nx] mm, both surfaces, the later one brought to the earlier one's datum
    difference : [ny, nx] mm, after minus before; NaN where either has no surface
    error : [ny, nx] mm, standard error of the difference where nothing changed
    detection : [ny, nx] mm, limit of detection at the confidence asked for (1.96 errors at 95 %)
    size_error : [ny, nx] mm, standard error of the size of a change: as ``error``, and what neither survey saw between
        its stations besides
    changed : [ny, nx] bool, where the difference exceeds the limit of detection
    alignment : how the datums were brought together, and how sure that is
    areas : DataFrame by ``cut`` and ``fill``: ``area_mm2`` over which change is shown, and its standard error
        ``error_mm2`` with its parts ``random_mm2``, ``correlated_mm2``, ``systematic_mm2``
    volumes : DataFrame, ``volume_mm3`` and errors as for areas, by ``cut`` and ``fill``, where change is shown (which
        leaves out the fringes that fade into the error); ``all cut`` and ``all fill``, of every place, split at the
        line of no change (which counts the error's own ups and downs too); ``net``, fill less cut of every place
    verdicts : DataFrame, one row a limit: ``limit``, ``before``, ``after`` (pass, fail, undecided), ``turned``
        (whether they differ), ``before_between``, ``after_between`` (what they rest on between the stations), and what
        was measured
    plan : done against planned, or None
    notes : what must be known, in words
    warnings : what looks like a mistake, in words
    compared : shares of what each survey reached that the other covers
    surveys, assessments : of before and after; assessments None without limits
    confidence, draws, seed : as asked for
    doubts : those of the warnings that doubt whether these are before and after of one surface
    """

    x: Floats
    y: Floats
    spacing: float
    before_heights: Floats
    after_heights: Floats
    difference: Floats
    error: Floats
    detection: Floats
    size_error: Floats
    changed: NDArray[np.bool_]
    alignment: Alignment
    areas: pd.DataFrame
    volumes: pd.DataFrame
    verdicts: pd.DataFrame
    plan: pd.DataFrame | None
    notes: tuple[str, ...]
    surveys: tuple[Survey, Survey]
    assessments: tuple[Assessment, Assessment] | None
    confidence: float
    draws: int
    seed: int
    warnings: tuple[str, ...] = ()
    compared: Shares = field(default_factory=lambda: Shares(1.0, 1.0))
    settings: dict[str, Any] = field(default_factory=dict, repr=False)
    doubts: tuple[str, ...] = ()

    @property
    def note(self) -> str:
        """The warnings and the notes as one text."""
        return " ".join(f"{note[:1].upper()}{note[1:]}." for note in (*self.warnings, *self.notes))

    @property
    def share_changed(self) -> float:
        """Share of the common area's nodes at which change is shown [-]."""
        return float(self.changed[np.isfinite(self.difference)].mean())


def compare(
    before: Survey,
    after: Survey,
    *,
    align: str = "benchmarks",
    unchanged: Any = None,
    spacing: float | None = None,
    limits: str | Limit | Iterable[str | Limit] = (),
    plan: PlanLike | None = None,
    tolerance: float | None = None,
    confidence: float = 0.95,
    draws: int = 200,
    seed: int = 0,
    spot_checks: tuple[Checks, Checks] = ((), ()),
) -> Comparison:
    """Compare two surveys of one surface.

    Parameters
    ----------
    before, after : the surveys; x and y from one corner in both. Stations, dates, instruments and datums may differ
    align : how the datums are brought together. ``benchmarks``: both surveys stand on benchmarks of one name.
        ``offset``: the later datum is raised or lowered; ``tilt``: and tilted, after which levelness is not comparable.
        Both go by ``unchanged``, or by whichever stations agree. ``none``: they stand on one datum already
    unchanged : polygons [mm], places (x, y) [mm] or labels of stations that did not change
    spacing : lattice step [mm]; None takes about 6 in
    limits : names of limits or finishes, or agreed limits: their verdicts before and after
    plan : what was to be done: anything with ``x``, ``y`` and ``change`` [ny, nx] mm, and perhaps ``set_height``,
        ``patches`` and ``members``
    tolerance : by how much [mm] a height may be off the one that was to be set; None: two setting errors of the plan
    confidence : of the limit of detection and the verdicts, from 0.5 to under 1
    draws, seed : of the verdicts, as for :func:`~flatness.limits.verdict.assess`
    spot_checks : what a bar showed between the stations of before, and of after

    Returns
    -------
    Comparison

    Raises
    ------
    ArgumentError : surveys that are not of one kind of surface, or cannot be aligned in the way asked for
    MeasureError : no area in common, or too few stations

    Examples
    --------
    >>> from flatness.survey.readings import make_survey
    >>> x, y = np.meshgrid(np.arange(6) * 600.0, np.arange(5) * 600.0)
    >>> before = make_survey(x, y, 0 * x, accuracy=0.5)
    >>> after = make_survey(x, y, 0 * x + 3.0, accuracy=0.5)
    >>> found = compare(before, after, align="none")
    >>> float(found.difference.mean().round(3)), bool(found.changed.all())
    (3.0, True)
    """
    if not 0.5 <= confidence < 1:
        raise ArgumentError("confidence out of range", value=str(confidence), expected="0.5 to under 1, such as 0.95")
    wanted = [limits] if isinstance(limits, (str, Limit)) else list(limits)
    before, after = with_walls_of(before, after), with_walls_of(after, before)
    both = estimate_both(before, after, spacing)
    alignment = align_surveys(before, after, both, align, unchanged, seed)
    if align == "benchmarks":  # the error of that datum is of the worst tied set-up, and counts for all
        both = replace(both, shared=np.zeros((0, 0)))
    rows = both.rows(*both.nodes())
    reach = float(ndtri((1 + confidence) / 2))
    columns = alignment.columns(rows.x, rows.y)
    variance = both.variance(alignment.apply(rows)) + _quadratic(columns, alignment.apart)
    error = both.on_lattice(np.sqrt(variance))
    moved = alignment.at(rows.x, rows.y)
    difference = both.on_lattice(both.difference(rows) - moved)
    # the middle lies halfway to the later datum
    middle = both.on_lattice(both.middle(rows.x, rows.y) - moved / 2)
    detection = reach * error
    changed = np.nan_to_num(np.abs(difference)) > np.nan_to_num(detection, nan=math.inf)
    areas, volumes = _amounts(both, rows, alignment, difference, detection, error)
    judging = {"spacing": spacing, "draws": draws, "seed": seed, "confidence": confidence}
    assessments, verdicts = _verdicts((before, after), wanted, spot_checks, **judging)
    random = (rows.weights * rows.weights) @ both.noise
    sized = both.on_lattice(np.sqrt(random + rows.unseen + _quadratic(columns, alignment.covariance)))
    planned = None
    if plan is not None:
        planned = done_against_plan(plan, before, both, rows, alignment, difference, detection, confidence, tolerance)
    shares = shares_compared(before, after)
    heights = middle - difference / 2, middle + difference / 2
    doubts = tuple(usual_mistakes(before, after, both, alignment, difference, detection, heights, shares))
    warnings = [*doubts, *readings_in_doubt(before, after)]
    warnings += [] if plan is None else about_plan(plan, before, both)
    return Comparison(
        x=both.x,
        y=both.y,
        spacing=both.spacing,
        before_heights=heights[0],
        after_heights=heights[1],
        difference=difference,
        error=error,
        detection=detection,
        size_error=sized,
        changed=changed,
        alignment=alignment,
        areas=areas,
        volumes=volumes,
        verdicts=verdicts,
        plan=planned,
        notes=tuple(_notes(before, after, both, alignment, confidence)),
        surveys=(before, after),
        assessments=assessments,
        confidence=confidence,
        draws=draws,
        seed=seed,
        warnings=tuple(warnings),
        compared=shares,
        settings={"unchanged": unchanged, "limits": wanted, "tolerance": tolerance, "spacing": spacing, "plan": plan}
        | {"spot_checks": tuple(tuple(several) for several in spot_checks)},
        doubts=doubts,
    )


def _quadratic(columns: Floats, covariance: Floats) -> Floats:
    return np.asarray(((columns @ covariance) * columns).sum(axis=1))


def error_parts(both: Both, rows: Rows, alignment: Alignment, share: Floats) -> dict[str, float]:
    """Standard error of a weighted sum of the difference over the lattice, in three parts and together.

    ``share`` [ny, nx] is each node's weight, zero outside; ``rows`` are those of the nodes.
    """
    at = share[both.inside]
    datum = at @ alignment.columns(rows.x, rows.y)
    parts = {
        "random": math.sqrt(float(((at @ rows.weights) ** 2) @ both.noise)),
        "correlated": math.sqrt(both.unseen_sum(share, rows)),
        "systematic": math.sqrt(max(float(datum @ alignment.covariance @ datum), 0.0)),
    }
    return {**parts, "error": math.sqrt(sum(part**2 for part in parts.values()))}


def _amounts(
    both: Both, rows: Rows, alignment: Alignment, difference: Floats, detection: Floats, error: Floats
) -> tuple[pd.DataFrame, pd.DataFrame]:
    areas, volumes = {}, {}
    for kind in KINDS:
        amount = amount_beyond(difference, detection, error, both.spacing, kind)
        areas[kind] = (amount.area, amount.area_share)
        volumes[kind] = (amount.volume, amount.volume_share)
    for kind in KINDS:
        amount = amount_beyond(difference, np.zeros_like(error), error, both.spacing, kind)
        volumes[f"all {kind}"] = (amount.volume, amount.volume_share)
    volumes["net"] = net_amount(difference, both.spacing)
    tables = []
    for what, unit, found in (("area", "mm2", areas), ("volume", "mm3", volumes)):
        rows_of = {}
        for kind, (value, share) in found.items():
            parts = error_parts(both, rows, alignment, np.where(both.inside, share, 0.0))
            rows_of[kind] = {f"{what}_{unit}": value, **{f"{name}_{unit}": part for name, part in parts.items()}}
        tables.append(pd.DataFrame.from_dict(rows_of, orient="index"))
    return tables[0], tables[1]


def _verdicts(
    surveys: tuple[Survey, Survey], wanted: list[str | Limit], spot_checks: tuple[Checks, Checks], **judging: Any
) -> tuple[tuple[Assessment, Assessment] | None, pd.DataFrame]:
    if not wanted:
        return None, pd.DataFrame(columns=list(VERDICTS))
    both = zip(surveys, spot_checks, strict=True)
    found = [assess(survey, wanted, spot_checks=checks, **judging) for survey, checks in both]
    shown, rows = "likely" if judging["draws"] else "as_read", []
    for one, other in zip(*(part.table.to_dict("records") for part in found), strict=True):
        row = {name: one[name] for name in ("limit", "measure", "unit")} | {"allowed": other["allowed"]}
        row["turned"] = one["verdict"] != other["verdict"]
        for day, its in (("before", one), ("after", other)):
            row |= {day: its["verdict"], f"{day}_likely": its[shown], f"{day}_chance": its["chance"]}
            row[f"{day}_between"] = its["between"]
        rows.append(row)
    return (found[0], found[1]), pd.DataFrame(rows, columns=list(VERDICTS))


def _notes(before: Survey, after: Survey, both: Both, alignment: Alignment, confidence: float) -> Iterator[str]:
    yield from alignment.problems
    if alignment.way == "none":
        yield Note("alignment-rests", on=alignment.rests_on)
    for name, basis, half in zip(("before", "after"), both.basis, (-0.5, 0.5), strict=True):
        if basis == "fitted":
            yield Note("error-fitted-to", day=name, error=both.reading_error(half))
    yield Note("narrow-change", step=both.step)
    yield Note("specks", sure=f"{100 * confidence:g}", places=f"{100 * (1 - confidence):.2g}")


@dataclass(frozen=True, kw_only=True)
class Extreme:
    """The greatest change one way: ``difference`` and its standard ``error`` [mm] at ``x``, ``y`` [mm]; ``shown``:
    beyond the limit of detection; ``is_suspect``: beside a reading that may be a slip."""

    difference: float
    error: float
    x: float
    y: float
    shown: bool
    is_suspect: bool


def extremes(comparison: Comparison, *, clear: bool) -> tuple[Extreme, Extreme]:
    """The lowest and the highest difference; ``clear``: away from suspects, where anything is left."""
    c = comparison
    gx, gy = np.meshgrid(c.x, c.y)
    beside = np.zeros(gx.shape, dtype=bool)
    for one in suspects(*c.surveys):
        beside |= np.maximum(np.abs(gx - one.x), np.abs(gy - one.y)) <= one.reach
    left = np.where(beside, np.nan, c.difference) if clear else c.difference
    if not np.isfinite(left).any():
        left = c.difference
    found = []
    for pick in (np.nanargmin, np.nanargmax):
        j, i = np.unravel_index(int(pick(left)), left.shape)
        found.append(
            Extreme(
                difference=float(c.difference[j, i]),
                error=float(c.size_error[j, i]),
                x=float(c.x[i]),
                y=float(c.y[j]),
                shown=bool(c.changed[j, i]),
                is_suspect=bool(beside[j, i]),
            )
        )
    return found[0], found[1]
