"""Curves fitted to points: distances at right angles to the curve are least, in their squares or at their largest."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.optimize import least_squares, linprog

from flatness.arrays import Floats
from flatness.curves.making import KINDS, make_arc, make_chain, make_ellipse, make_oval
from flatness.curves.shapes import Chain, Ellipse, Piece, polyline
from flatness.errors import ArgumentError, FlatnessError, MeasureError
from flatness.measures.bars import Place

LEAST = 3  # points to a piece
WORST, TINY = 1e14, 1e-12  # condition of a matrix that still says something; least square of a radius
SLIP, CLEANER, MOST_SLIPS = 5.0, 3.0, 3  # accuracies off the curve; times less that the others leave; readings
SUSPECTS = 12  # farthest off the curve, each of which is left out in turn
STRAIGHTER = 1.3  # an arc must leave so many times less than a straight to be one


@dataclass(frozen=True)
class Begun:
    """Pieces to start from: kinds, lengths [mm], curvatures [1/mm], first place [mm] and heading [rad]."""

    kinds: list[str]
    lengths: list[float]
    curvatures: list[float]
    start: Place
    heading: float


class Division:
    """Points [n, 2] mm in order, and what every stretch of them costs as a straight and as an arc."""

    def __init__(self, xy: Floats) -> None:
        self.xy, self.along = xy, polyline(xy)
        self.straight, self.arc, self.curvature = _costs(xy)

    def begin(self, count: int, kinds: Sequence[str] | None = None) -> Begun:
        """So many pieces with the least sum of squares, by dynamic programming.

        ``kinds`` says which are straight and which are arcs; None takes what fits each better.
        """
        n, straight, arc = len(self.xy), self.straight, self.arc
        better = np.where(straight <= STRAIGHTER * arc, straight, arc)
        cost = [better] * count if kinds is None else [straight if one == "straight" else arc for one in kinds]
        best = np.full((count + 1, n + 1), np.inf)
        cut = np.zeros((count + 1, n + 1), dtype=int)
        best[0, 0] = 0.0
        for k in range(1, count + 1):
            for end in range(LEAST * k, n + 1):
                begin = np.arange(LEAST * (k - 1), end - LEAST + 1)
                whole = best[k - 1, begin] + cost[k - 1][begin, end - 1]
                at = int(whole.argmin())
                best[k, end], cut[k, end] = whole[at], begin[at]
        ends = [n]
        for k in range(count, 0, -1):
            ends.append(int(cut[k, ends[-1]]))
        ends.reverse()
        edges = [0.0, *((self.along[e - 1] + self.along[e]) / 2 for e in ends[1:-1]), float(self.along[-1])]
        parts = [(a, b - 1) for a, b in pairwise(ends)]
        chosen = ["straight" if straight[p] <= STRAIGHTER * arc[p] else "arc" for p in parts]
        chosen = chosen if kinds is None else list(kinds)
        bends = [0.0 if kind == "straight" else float(self.curvature[p]) for kind, p in zip(chosen, parts, strict=True)]
        lengths = [float(b - a) for a, b in pairwise(edges)]
        first = self.xy[: parts[0][1] + 1]
        heading = math.atan2(*(first[-1] - first[0])[::-1]) - bends[0] * lengths[0] / 2
        return Begun(chosen, lengths, bends, (float(self.xy[0, 0]), float(self.xy[0, 1])), heading)


def _costs(xy: Floats) -> tuple[Floats, Floats, Floats]:
    """Sums of squares [n, n] about the best straight and the best circle from point i to point j, and its curvature.

    The circle by its equation, whose error over twice the radius is nearly the distance from it.
    """
    n = len(xy)
    extent = float(np.ptp(xy, axis=0).max()) or 1.0
    straight, arc, curvature = (np.full((n, n), np.inf) for _ in range(3))
    for i in range(n - LEAST + 1):
        u, v = ((xy[i:] - xy[i]) / extent).T
        w = u * u + v * v
        one = np.ones_like(u)
        terms = np.stack([2 * u, 2 * v, one, w])
        # [points, 4, 4] normal matrices of all stretches that begin here
        moments = np.cumsum(np.einsum("ak,bk->kab", terms, terms), axis=0)[LEAST - 1 :]
        count = np.arange(LEAST, n - i + 1)
        mean = moments[:, :2, 2] / (2 * count[:, None])
        scatter = moments[:, :2, :2] / 4 - count[:, None, None] * mean[:, :, None] * mean[:, None, :]
        straight[i, i + LEAST - 1 :] = np.maximum(np.linalg.eigvalsh(scatter)[:, 0], 0) * extent**2
        left, right = moments[:, :3, :3], moments[:, :3, 3]
        known = np.linalg.cond(left) < WORST
        solved = np.zeros_like(right)
        solved[known] = np.linalg.solve(left[known], right[known][..., None])[..., 0]
        square = np.maximum(moments[:, 3, 3] - np.einsum("ka,ka->k", solved, right), 0)
        radius = np.sqrt(np.maximum(solved[:, 2] + solved[:, 0] ** 2 + solved[:, 1] ** 2, TINY))
        arc[i, i + LEAST - 1 :] = np.where(known, square / (4 * radius**2) * extent**2, np.inf)
        # twice the area swept about the center from i to j: positive counterclockwise, past half a turn too
        swept = np.concatenate([[0.0], np.cumsum(u[:-1] * v[1:] - v[:-1] * u[1:])])[LEAST - 1 :]
        swept -= solved[:, 0] * v[LEAST - 1 :] - solved[:, 1] * u[LEAST - 1 :]
        curvature[i, i + LEAST - 1 :] = np.copysign(1 / (radius * extent), swept)
    return straight, arc, curvature


METHODS = ("least-squares", "minimum-zone")
NAMES = {
    "arc": ("centre_x", "centre_y", "radius"),
    "ellipse": ("centre_x", "centre_y", "semi_major", "semi_minor", "turned"),
    "oval": ("centre_x", "centre_y", "semi_major", "semi_minor", "turned", "small_radius"),
}
WIDEST = 1e6  # [mm] an arc of a larger radius cannot be separated from a straight by a tape
MOST_PIECES, PATIENCE = 7, 2  # of a chain; numbers of pieces tried in vain before the best so far is taken
SOUGHT = 2  # sizes that a join counts for besides its own
SHORTEST, SHARPEST, LEAN = 1e-3, 0.5, 0.05  # a piece, of the whole; a kink [rad], and one to start from
ROUNDS = 60  # of linear programs for a minimum zone; it settles in about ten
RESAMPLED = 200  # times that points err anew, for the errors of a minimum zone
FAR = 1e3  # [mm, in scaled units of the points' extent] deviation of a curve that cannot be


@dataclass(frozen=True, eq=False, kw_only=True)
class CurveFit:
    """A curve fitted to points, and the points about it.

    Attributes
    ----------
    kind : ``arc``, ``ellipse``, ``oval`` or ``chain``
    curve : the curve
    along : distance along it of each point's foot [mm]
    deviations : of the points from it [mm], at right angles, positive to the left: inside an arc, an ellipse, an oval
    zone : from the largest deviation to the least [mm]; about a ``minimum-zone`` curve no other of its kind has less
    parameters : its sizes by name: ``centre_x``, ``centre_y``, ``radius``, ``semi_major``, ``semi_minor``,
        ``small_radius`` [mm], ``turned`` [rad]; of a chain ``start_offset`` (off the first point) [mm],
        ``heading`` [rad], ``length_1`` [mm], ``curvature_2`` [1/mm], ``kink_1`` [rad] ... by piece and join
    errors : one standard deviation of each of them, by the method that fitted them; NaN where the points do not say:
        no more points than sizes and no accuracy given, or a join that may lie anywhere
    method : how it was fitted
    """

    kind: str
    curve: Chain | Ellipse
    along: Floats
    deviations: Floats
    parameters: Mapping[str, float]
    errors: Mapping[str, float]
    method: str

    @property
    def zone(self) -> float:
        return float(np.ptp(self.deviations))

    @property
    def rms(self) -> float:
        """Root of the mean square deviation [mm]."""
        return float(np.sqrt(np.mean(self.deviations**2)))

    @property
    def centre(self) -> Place:
        """Centre (x, y) [mm]; a chain has none."""
        return self.curve.centre

    @property
    def radius(self) -> float:
        """Radius of an arc [mm]."""
        if isinstance(self.curve, Chain):
            return self.curve.radius
        raise MeasureError("an ellipse has no single radius", expected="an arc", remedy="see its axes")

    @property
    def axes(self) -> tuple[float, float]:
        """Half the length and half the width of an ellipse or oval [mm]."""
        return self.curve.axes

    @property
    def joins(self) -> pd.DataFrame:
        """Where the pieces of a chain or oval meet, and by how much they kink: see ``Chain.kink_table``.

        And ``kink_error_deg``, one standard deviation: 0 where joins are tangent by the fit.
        """
        if not isinstance(self.curve, Chain):
            raise MeasureError("an ellipse has no joins", expected="a chain or an oval")
        errors = np.degrees([v for name, v in self.errors.items() if name.startswith("kink")])
        return self.curve.kink_table.assign(kink_error_deg=errors if len(errors) else 0.0)


def fit_curve(
    x: ArrayLike,
    y: ArrayLike,
    kind: str = "arc",
    method: str = "least-squares",
    *,
    accuracy: float | None = None,
    pieces: Sequence[str] | int | None = None,
    kinks: bool = False,
) -> CurveFit:
    """The curve of a kind that lies nearest to points.

    Parameters
    ----------
    x, y : the points [mm]; for a chain in their order along it
    kind : ``arc`` (a circle), ``ellipse``, ``oval`` (of four centres, tangent) or ``chain`` (straights and arcs)
    method : ``least-squares``: the sum of squared distances at right angles to the curve is least (geometric fit);
        ``minimum-zone``: the largest of these distances is least
    accuracy : one standard deviation of a point [mm], from which the errors of the sizes follow; None takes it from
        how the points scatter
    pieces : of a chain, such as ``["straight", "arc", "straight"]``, or how many; None finds out
    kinks : let the pieces of a chain meet at an angle, and say at which; tangent where False

    Returns
    -------
    CurveFit

    Raises
    ------
    ArgumentError : points that are no numbers or too few, an unknown kind or method
    MeasureError : points that no curve of this kind fits, such as an arc through points on a straight line

    Notes
    -----
    Gander, Golub and Strebel, "Least-squares fitting of circles and ellipses", BIT 34 (1994), on fits by distance and
    by equation. Errors: the inverse of the normal matrix at the solution, times the variance of a point. A minimum zone
    is a row of linear programs, each about the last solution; its errors are the spread of such a program's solutions
    over points that err anew about the curve.

    Examples
    --------
    >>> fit = fit_curve([1, 0, -1, 0], [0, 1, 0, -1], "arc")
    >>> round(fit.radius, 6), fit.deviations.size
    (1.0, 4)
    """
    xy = _points(x, y)
    if kind not in KINDS:
        raise ArgumentError("unknown kind of curve", value=str(kind), expected=", ".join(KINDS))
    if method not in METHODS:
        raise ArgumentError("unknown method", value=str(method), expected=" or ".join(METHODS))
    if kind == "chain":
        model, start = _chain_model(xy, pieces, kinks, accuracy)
    else:
        model, start = _Model(kind, NAMES[kind], lambda p: _named_curve(kind, p)), _START[kind](xy)
    if len(xy) < len(model.names):
        what = f"too few points: a fit of this {kind} has {len(model.names)} unknowns"
        raise ArgumentError(what, value=f"{len(xy)} points", expected=f"{len(model.names)} or more")
    solved = _least_squares(model, xy, start)
    p = solved if method == "least-squares" else _minimum_zone(model, xy, solved)
    return _result(model, xy, p, method, accuracy)


def spoiling(x: ArrayLike, y: ArrayLike, fit: CurveFit, accuracy: float) -> list[int]:
    """Points that spoil a fit: one to three, without which the others lie at least three times nearer to such a curve.

    Parameters
    ----------
    x, y : the points [mm] that were fitted
    fit : to them; nothing is found of a chain, whose pieces follow its points
    accuracy : one standard deviation of a point [mm]; points within five of it off the curve spoil nothing
    """
    xy, kept, rms = _points(x, y), list(range(len(fit.deviations))), fit.rms
    if fit.kind == "chain" or np.abs(fit.deviations).max() <= SLIP * accuracy:
        return []
    now = fit
    for _ in range(MOST_SLIPS):
        if len(kept) - 2 < len(fit.parameters):
            break
        tried = []
        for k in np.argsort(-np.abs(now.deviations))[:SUSPECTS]:
            rest = kept[:k] + kept[k + 1 :]
            try:
                tried.append((fit_curve(xy[rest, 0], xy[rest, 1], fit.kind, fit.method), rest))
            except MeasureError:
                continue
        if not tried:
            break
        now, kept = min(tried, key=lambda one: one[0].rms)
        if now.rms * CLEANER <= rms:
            return sorted(set(range(len(xy))) - set(kept))
    return []


@dataclass(frozen=True)
class _Model:
    """A kind of curve by its sizes: their names, and the curve that they make."""

    kind: str
    names: tuple[str, ...]
    curve: Callable[[Floats], Chain | Ellipse]
    bounds: tuple[Floats, Floats] | None = None

    def deviations(self, xy: Floats, p: Floats) -> Floats:
        try:
            return self.curve(p).nearest(*xy.T)[1]
        except FlatnessError:  # sizes that make no such curve
            return np.full(len(xy), FAR * float(np.ptp(xy, axis=0).max()))


def _points(x: ArrayLike, y: ArrayLike) -> Floats:
    one, other = (np.asarray(values, dtype=np.float64).ravel() for values in (x, y))
    if len(one) != len(other):
        raise ArgumentError(
            "x and y differ in number", value=f"{len(one)} and {len(other)}", expected="as many of each"
        )
    xy = np.column_stack([one, other])
    if len(xy) < 3 or not np.isfinite(xy).all():
        raise ArgumentError("points that cannot be fitted", value=f"{len(xy)}", expected="three or more, in mm, finite")
    return xy


def _named_curve(kind: str, p: Floats) -> Chain | Ellipse:
    centre = (float(p[0]), float(p[1]))
    if kind == "arc":
        return make_arc(radius=float(p[2]), centre=centre)
    a, b, turned = float(p[2]), float(p[3]), math.degrees(p[4])
    if a < b:  # as long as it is wide while it is sought: the same curve, its axes named the other way
        a, b, turned = b, a, turned + 90
    if kind == "ellipse":
        return make_ellipse(length=2 * a, width=2 * b, centre=centre, turned=turned)
    return make_oval(length=2 * a, width=2 * b, small_radius=float(p[5]), centre=centre, turned=turned)


def _least_squares(model: _Model, xy: Floats, starts: Sequence[Floats], *, rough: bool = False) -> Floats:
    best = None
    tolerance = 1e-6 if rough else 1e-14
    for start in starts:
        found = least_squares(
            partial(model.deviations, xy),
            start,
            jac="2-point" if rough else "3-point",
            bounds=(-np.inf, np.inf) if model.bounds is None else model.bounds,
            x_scale="jac",
            xtol=tolerance,
            ftol=tolerance,
            gtol=tolerance,
            max_nfev=60 if rough else 400,
        )
        if best is None or found.cost < best.cost * (1 - 1e-9):
            best = found
    assert best is not None
    extent = float(np.ptp(xy, axis=0).max())
    if not np.isfinite(best.x).all() or best.cost > (FAR / 2 * extent) ** 2:
        raise _no_such(model.kind)
    if model.kind == "arc" and best.x[2] > max(WIDEST, 1e3 * extent):
        raise _no_such(model.kind)
    return np.asarray(best.x, dtype=np.float64)


def _no_such(kind: str) -> MeasureError:
    what = f"no {kind} fits these points better than a straight line does"
    remedy = "take points farther apart along the curve, or give the curve by its sizes"
    return MeasureError(what, expected="points that curve by more than their errors", remedy=remedy)


def _jacobian(model: _Model, xy: Floats, p: Floats) -> Floats:
    columns = []
    for k in range(len(p)):
        step = np.zeros(len(p))
        step[k] = _step(model.names[k], p[k])
        high, low = (model.deviations(xy, p + sign * step) for sign in (1, -1))
        columns.append((high - low) / (2 * step[k]))
    return np.column_stack(columns)


def _step(name: str, value: float) -> float:
    if name.startswith(("turned", "heading", "kink")):
        return 1e-5
    return 1e-4 * max(abs(value), 1e-6) if name.startswith("curvature") else 1e-5 * max(1.0, abs(value))


def _minimum_zone(model: _Model, xy: Floats, p: Floats) -> Floats:
    """Sizes whose largest deviation is least: linear programs about the last sizes, with steps kept within a reach."""
    scale = 1 / np.maximum(np.abs(_jacobian(model, xy, p)).max(axis=0), 1e-300)  # a step that moves a point by 1 mm
    here = model.deviations(xy, p)
    largest = float(np.abs(here).max())
    reach = max(largest, 1e-9)
    for _ in range(ROUNDS):
        move, least = _narrowest(_jacobian(model, xy, p) * scale, here, reach)
        trial = p + move * scale
        there = model.deviations(xy, trial)
        worst = float(np.abs(there).max())
        gained, promised = largest - worst, largest - least
        if gained > 0:
            p, here, largest = trial, there, worst
        if promised <= 1e-11 * max(1.0, largest) or reach < 1e-12:
            break
        reach = 2 * reach if gained > 0.7 * promised else reach if gained > 0.2 * promised else reach / 4
    return p


def _result(model: _Model, xy: Floats, p: Floats, method: str, accuracy: float | None) -> CurveFit:
    p = _in_order(model, p)
    curve = model.curve(p)
    along, deviations = curve.nearest(*xy.T)
    free = len(xy) - len(p)
    variance = accuracy**2 if accuracy is not None else float(deviations @ deviations) / free if free else math.nan
    jacobian = _jacobian(model, xy, p)
    size = np.linalg.norm(jacobian, axis=0)
    has_effect = size > 0
    normal = jacobian[:, has_effect] / size[has_effect]
    if np.linalg.matrix_rank(normal) < has_effect.sum() and model.kind != "chain":
        raise _no_such(model.kind)
    spread = np.full(len(p), np.nan)
    if method == "least-squares":
        one = np.sqrt(variance * np.maximum(np.diag(np.linalg.pinv(normal.T @ normal)), 0))
    else:
        one = _zone_spread(normal, math.sqrt(variance)) if math.isfinite(variance) else np.nan
    spread[has_effect] = one / size[has_effect]
    whole = float(np.ptp(xy, axis=0).max())
    for k, name in enumerate(model.names):  # a join without a kink may lie anywhere within reason
        if (name.startswith("kink") and spread[k] > SHARPEST) or (name.startswith("length") and spread[k] > whole):
            spread[k] = math.nan
    return CurveFit(
        kind=model.kind,
        curve=curve,
        along=along,
        deviations=deviations,
        parameters=dict(zip(model.names, map(float, p), strict=True)),
        errors=dict(zip(model.names, map(float, spread), strict=True)),
        method=method,
    )


def _zone_spread(normal: Floats, error: float) -> Floats:
    """Standard deviations of sizes whose columns are given, of minimum zones about points with errors [mm]."""
    noise = np.random.default_rng(0).normal(0.0, error, (RESAMPLED, len(normal)))
    scale = 1 / np.abs(normal).max(axis=0)
    found = [_narrowest(normal * scale, one, np.inf)[0] * scale for one in noise]
    return np.asarray(np.std(found, axis=0))


def _narrowest(jacobian: Floats, here: Floats, reach: float) -> tuple[Floats, float]:
    """Steps within a reach after which the largest deviation is least, as they are linear in them, and what is left."""
    one = np.ones((len(here), 1))
    rows = np.vstack([np.hstack([jacobian, -one]), np.hstack([-jacobian, -one])])
    bounds = [(-reach, reach)] * jacobian.shape[1] + [(0, None)]
    cost = np.r_[np.zeros(jacobian.shape[1]), 1.0]
    found = linprog(cost, A_ub=rows, b_ub=np.r_[-here, here], bounds=bounds, method="highs")
    if not found.success or found.x is None:
        return np.zeros(jacobian.shape[1]), float(np.abs(here).max())
    return np.asarray(found.x[:-1]), float(found.x[-1])


def _in_order(model: _Model, p: Floats) -> Floats:
    """The longer axis first, and its direction within a quarter turn of x either way."""
    if model.kind not in ("ellipse", "oval"):
        return p
    p = p.copy()
    if p[2] < p[3]:
        p[2], p[3], p[4] = p[3], p[2], p[4] + math.pi / 2
    p[4] = math.remainder(p[4], math.pi)
    return p


def _start_arc(xy: Floats) -> list[Floats]:
    """By the equation of the circle, x2 + y2 = 2 cx x + 2 cy y + k, in least squares."""
    middle = xy.mean(axis=0)
    u = xy - middle
    matrix = np.column_stack([2 * u, np.ones(len(u))])
    (cx, cy, k), _, rank, _ = np.linalg.lstsq(matrix, (u**2).sum(axis=1), rcond=1e-12)
    if rank < 3:
        raise _no_such("arc")
    return [np.array([cx + middle[0], cy + middle[1], math.sqrt(max(k + cx * cx + cy * cy, 1e-12))])]


def _start_ellipse(xy: Floats) -> list[Floats]:
    """By the equation of an ellipse (Halir and Flusser, 1998; from memory), and by the spread of the points."""
    middle, extent = xy.mean(axis=0), float(np.ptp(xy, axis=0).max()) or 1.0
    u, v = ((xy - middle) / extent).T
    starts = []
    quadratic, linear = np.column_stack([u * u, u * v, v * v]), np.column_stack([u, v, np.ones_like(u)])
    s1, s2, s3 = quadratic.T @ quadratic, quadratic.T @ linear, linear.T @ linear
    try:
        t = -np.linalg.solve(s3, s2.T)
        m = s1 + s2 @ t
        _, vectors = np.linalg.eig(np.array([m[2] / 2, -m[1], m[0] / 2]))
        vectors = np.real(vectors)
        one = vectors[:, (4 * vectors[0] * vectors[2] - vectors[1] ** 2).argmax()]
        starts.append(_axes_of(np.concatenate([one, t @ one]), middle, extent))
    except (np.linalg.LinAlgError, ValueError):
        pass
    spread = np.linalg.eigh(np.cov((xy - middle).T))
    long = spread[1][:, 1]
    half = np.sqrt(2 * np.maximum(spread[0], 1e-12))
    starts.append(np.array([*middle, half[1], half[0], math.atan2(long[1], long[0])]))
    return starts


def _axes_of(conic: Floats, middle: Floats, extent: float) -> Floats:
    """Centre, half axes and turn of a x2 + b xy + c y2 + d x + e y + f = 0, in units of the extent about the middle."""
    a, b, c, d, e, f = conic
    form = np.array([[a, b / 2], [b / 2, c]])
    centre = np.linalg.solve(2 * form, [-d, -e])
    level = -(f + (d * centre[0] + e * centre[1]) / 2)
    values, vectors = np.linalg.eigh(form / level)
    if values.min() <= 0:
        raise ValueError("no ellipse")
    long = vectors[:, 0]
    half = 1 / np.sqrt(values)
    return np.array([*(middle + extent * centre), extent * half[0], extent * half[1], math.atan2(long[1], long[0])])


def _start_oval(xy: Floats) -> list[Floats]:
    """About the ellipse that fits, with the draftsman's end radius and others about it."""
    ellipse = _Model("ellipse", NAMES["ellipse"], lambda p: _named_curve("ellipse", p))
    p = _in_order(ellipse, _least_squares(ellipse, xy, _start_ellipse(xy)))
    a, b = p[2], p[3]
    if a <= b * (1 + 1e-9):
        raise MeasureError("an oval as long as it is wide is a circle", remedy="fit an arc")
    diagonal = math.hypot(a, b)
    r = diagonal * (diagonal - (a - b)) / (2 * a)
    return [np.array([*p, r * share]) for share in (0.8, 1.0) if r * share < b] + [np.array([*p, (r + b) / 2])]


_START: dict[str, Callable[[Floats], list[Floats]]] = {
    "arc": _start_arc,
    "ellipse": _start_ellipse,
    "oval": _start_oval,
}


def _chain_model(
    xy: Floats, pieces: Sequence[str] | int | None, kinks: bool, accuracy: float | None
) -> tuple[_Model, list[Floats]]:
    """The chain to be fitted, and where to start: the pieces as given, or as many as the points prove."""
    divided = Division(xy)
    if isinstance(pieces, Sequence):
        unknown = [one for one in pieces if one not in ("straight", "arc")]
        if unknown or not pieces:
            raise ArgumentError("unknown piece", value=", ".join(unknown), expected="straight or arc")
        return _with_pieces(divided, divided.begin(len(pieces), pieces), kinks)
    counts = range(1, MOST_PIECES + 1) if pieces is None else [pieces]
    best: _Tried | None = None
    worse = 0
    for count in counts:
        if not 1 <= count <= MOST_PIECES or 3 * count > len(xy):
            if pieces is not None:
                expected = f"1 to {min(MOST_PIECES, len(xy) // 3)} for {len(xy)} points"
                raise ArgumentError("pieces out of range", value=str(count), expected=expected)
            break
        tried = _try(divided, divided.begin(count), kinks, accuracy)
        if best is None or tried.score < best.score:
            best, worse = tried, 0
        else:
            worse += 1
            if worse == PATIENCE:
                break
    assert best is not None
    # an arc that is no better than a straight is one
    for k, kind in enumerate(best.kinds):
        if kind == "arc":
            kinds = [*best.kinds[:k], "straight", *best.kinds[k + 1 :]]
            tried = _try(divided, divided.begin(len(kinds), kinds), kinks, accuracy)
            best = tried if tried.score <= best.score else best
    return best.model, [best.sizes]


@dataclass(frozen=True)
class _Tried:
    score: float
    kinds: list[str]
    model: _Model
    sizes: Floats


def _try(divided: Division, begun: Begun, kinks: bool, accuracy: float | None) -> _Tried:
    """A chain of such pieces roughly fitted, and its score: less is better.

    By Schwarz's criterion a piece more must be worth its sizes, and that the best of all joins was sought.
    """
    xy = divided.xy
    model, start = _with_pieces(divided, begun, kinks)
    p = _least_squares(model, xy, start, rough=True)
    square, n = float(np.sum(model.deviations(xy, p) ** 2)), len(xy)
    floor = (1e-6 * float(np.ptp(xy, axis=0).max())) ** 2
    misfit = square / accuracy**2 if accuracy is not None else n * math.log(square / n + floor)
    score = misfit + (len(p) + SOUGHT * (len(begun.kinds) - 1)) * math.log(n)
    return _Tried(score, list(begun.kinds), model, p)


def _with_pieces(divided: Division, begun: Begun, kinks: bool) -> tuple[_Model, list[Floats]]:
    """A chain of such pieces; it begins abreast of the first point, and ends where the points do."""
    kinds, whole = begun.kinds, float(divided.along[-1])
    inner = range(1, len(kinds))
    normal = np.array([-math.sin(begun.heading), math.cos(begun.heading)])
    names = ["start_offset", "heading", *(f"length_{k}" for k in inner)]
    names += [f"curvature_{k}" for k, one in enumerate(kinds, 1) if one == "arc"]
    names += [f"kink_{k}" for k in inner] if kinks else []

    def curve(p: Floats) -> Chain:
        size = dict(zip(names, map(float, p), strict=True))
        lengths = [size[f"length_{k}"] for k in inner]
        lengths.append(max(whole - sum(lengths), SHORTEST * whole))
        made = [Piece(n, size.get(f"curvature_{k}", 0.0)) for k, n in enumerate(lengths, 1)]
        turned = [math.degrees(size[f"kink_{k}"]) for k in inner] if kinks else ()
        x, y = np.array(begun.start) + size["start_offset"] * normal
        return make_chain(made, start=(float(x), float(y)), heading=math.degrees(size["heading"]), kinks=turned)

    value = {"heading": begun.heading}
    value |= {f"length_{k}": n for k, n in enumerate(begun.lengths, 1)}
    value |= {f"curvature_{k}": c for k, c in enumerate(begun.curvatures, 1)}
    start = np.array([value.get(name, 0.0) for name in names])
    low = [
        SHORTEST * whole if n.startswith("length") else -SHARPEST if n.startswith("kink") else -np.inf for n in names
    ]
    high = [whole if n.startswith("length") else SHARPEST if n.startswith("kink") else np.inf for n in names]
    # a straight cuts a circle twice, so that a kink either way may fit nearly as well: start from both
    start = np.clip(start, low, high)
    leaning = [np.array([sign * LEAN if n.startswith("kink") else 0.0 for n in names]) for sign in (1, -1)]
    starts = [start, *(start + one for one in leaning if kinks)]
    return _Model("chain", tuple(names), curve, (np.array(low), np.array(high))), starts
