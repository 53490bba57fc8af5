"""Plane curves of buildings: chains of straights and arcs, and ellipses, described by the distance along them.

Every curve runs one way. What lies to the left of it is positive: an arc, an ellipse and an oval run counterclockwise
as the plan is seen, so that a positive offset stands inside, toward the centre.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy.special import ellipe, ellipeinc

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, check_step
from flatness.measures.bars import Place

TURN = 2 * math.pi
NEWTON = 100  # steps at most; ten do in all but the flattest cases
NO_KINK = 1e-9  # [rad] below it two tangents are one


@dataclass(frozen=True)
class Piece:
    """A straight or an arc of a chain.

    Attributes
    ----------
    length : along it [mm]
    curvature : one over its radius [1/mm], positive where it turns left; 0 for a straight
    """

    length: float
    curvature: float = 0.0

    @property
    def radius(self) -> float:
        """Its radius [mm]; infinite for a straight."""
        return math.inf if self.curvature == 0 else 1 / abs(self.curvature)

    @property
    def sweep(self) -> float:
        """The angle through which it turns, left positive [rad]."""
        return self.length * self.curvature


class Curve(ABC):
    """A curve in plan, by the distance s along it [mm]; angles [rad], curvature [1/mm], offsets left of it positive."""

    kind: str
    closed: bool

    @property
    @abstractmethod
    def length(self) -> float:
        """Its whole length [mm]."""

    @abstractmethod
    def at(self, s: ArrayLike) -> Floats:
        """Places [..., 2] mm at distances s [mm] along it."""

    @abstractmethod
    def heading(self, s: ArrayLike) -> Floats:
        """Direction of travel there [rad], from x toward y."""

    @abstractmethod
    def curvature(self, s: ArrayLike) -> Floats:
        """One over the radius there [1/mm], positive where it turns left."""

    @abstractmethod
    def nearest(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        """Distance along [mm] of the nearest place of the curve, and offset from it [mm], positive to the left.

        An open curve goes on beyond its ends as it ends there: such distances are below 0 or above its length.
        """

    @property
    @abstractmethod
    def tightest(self) -> tuple[float, float]:
        """The least radius [mm] where it turns left, and where it turns right; infinite where it does not."""

    def normal(self, s: ArrayLike) -> Floats:
        """Unit vectors [..., 2] to the left of it."""
        heading = self.heading(s)
        return np.stack([-np.sin(heading), np.cos(heading)], axis=-1)

    def offset_at(self, s: ArrayLike, offset: ArrayLike) -> Floats:
        """Places [..., 2] mm so far to the left of it [mm]."""
        return self.at(s) + np.asarray(offset, dtype=np.float64)[..., None] * self.normal(s)

    def stations(self, every: float) -> Floats:
        """Distances along it [mm], equally spaced, as far apart as goes but no more than ``every``; both ends too."""
        check_step("spacing", every, self.length)
        count = max(1, math.ceil(self.length / every - 1e-6))
        return np.linspace(0, self.length, count + 1)[: count if self.closed else count + 1]

    def check_parallel(self, offset: float) -> None:
        """Refuse an offset [mm] at which a parallel curve would fold over itself."""
        left, right = self.tightest
        least = left if offset > 0 else right
        if abs(offset) >= least:
            what = "the parallel curve would fold over itself"
            value, expected = f"{abs(offset):g} mm", f"less than the tightest radius on that side, {least:.1f} mm"
            raise MeasureError(what, value=value, expected=expected, remedy="choose a smaller offset, or a wider curve")


@dataclass(frozen=True, kw_only=True, eq=False)
class Chain(Curve):
    """Straights and arcs end to end; an arc alone, or an oval, is one too.

    Attributes
    ----------
    start : (x, y) of its first end [mm]
    start_heading : direction there [rad]
    pieces : in order
    kinks : angles [rad] by which the tangent turns left at each join, one fewer than pieces; none where empty
    closed : whether it ends where it starts
    kind : ``arc``, ``oval`` or ``chain``
    """

    start: Place
    start_heading: float
    pieces: tuple[Piece, ...]
    kinks: tuple[float, ...] = ()
    closed: bool = False
    kind: str = "chain"

    def __post_init__(self) -> None:
        if not self.pieces or any(not (math.isfinite(p.length) and p.length > 0) for p in self.pieces):
            raise ArgumentError("a piece without length", expected="pieces longer than 0 mm")
        if self.kinks and len(self.kinks) != len(self.pieces) - 1:
            raise ArgumentError("kinks do not match the joins", expected="one angle a join")

    @property
    def length(self) -> float:
        return float(self._ends[-1])

    @cached_property
    def _ends(self) -> Floats:
        """Distances along at which pieces begin, and the whole length."""
        return np.concatenate([[0.0], np.cumsum([p.length for p in self.pieces])])

    @cached_property
    def _origins(self) -> Floats:
        """[pieces, 3] x, y and heading where each begins."""
        found, (x, y), heading = [], self.start, self.start_heading
        for piece, kink in zip(self.pieces, (*(self.kinks or (0.0,) * (len(self.pieces) - 1)), 0.0), strict=True):
            found.append((x, y, heading))
            dx, dy = _along(piece.length, piece.curvature, heading)
            x, y, heading = x + float(dx), y + float(dy), heading + piece.sweep + kink
        return np.array(found)

    @property
    def joins(self) -> Floats:
        """Distances along at which two unlike pieces meet [mm], or two with a kink between them."""
        return self.kink_table["s_mm"].to_numpy(dtype=np.float64)

    def _split(self, s: ArrayLike) -> tuple[np.ndarray, Floats]:
        s = np.asarray(s, dtype=np.float64)
        s = np.mod(s, self.length) if self.closed else s
        index = np.clip(np.searchsorted(self._ends, s, side="right") - 1, 0, len(self.pieces) - 1)
        return index, s - self._ends[index]

    def at(self, s: ArrayLike) -> Floats:
        index, along = self._split(s)
        x, y, heading = np.moveaxis(self._origins[index], -1, 0)
        dx, dy = _along(along, self._curvatures[index], heading)
        return np.stack([x + dx, y + dy], axis=-1)

    def heading(self, s: ArrayLike) -> Floats:
        index, along = self._split(s)
        return np.asarray(self._origins[index][..., 2] + along * self._curvatures[index])

    def curvature(self, s: ArrayLike) -> Floats:
        found: Floats = self._curvatures[self._split(s)[0]]
        return found

    @cached_property
    def _curvatures(self) -> Floats:
        return np.array([p.curvature for p in self.pieces])

    @property
    def tightest(self) -> tuple[float, float]:
        left = max([k for k in self._curvatures if k > 0], default=0.0)
        right = max([-k for k in self._curvatures if k < 0], default=0.0)
        return (1 / left if left else math.inf), (1 / right if right else math.inf)

    def nearest(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        x, y = (np.asarray(one, dtype=np.float64) for one in np.broadcast_arrays(x, y))
        best = np.full(x.shape, np.inf)
        along, offset = np.zeros(x.shape), np.zeros(x.shape)
        for k, piece in enumerate(self.pieces):
            low = -math.inf if k == 0 and not self.closed else 0.0
            high = math.inf if k == len(self.pieces) - 1 and not self.closed else piece.length
            u = np.clip(self._foot(k, x, y), low, high)
            x0, y0, heading = self._origins[k]
            dx, dy = _along(u, piece.curvature, heading)
            rx, ry = x - x0 - dx, y - y0 - dy
            turned = heading + u * piece.curvature
            distance = np.hypot(rx, ry)
            left = np.cos(turned) * ry - np.sin(turned) * rx
            nearer = distance < best - 1e-12
            best = np.where(nearer, distance, best)
            along = np.where(nearer, self._ends[k] + u, along)
            offset = np.where(nearer, np.copysign(distance, left), offset)
        return along, offset

    def _foot(self, k: int, x: Floats, y: Floats) -> Floats:
        """Distance along piece k of the foot of the perpendicular, before the piece's ends are minded."""
        piece, (x0, y0, heading) = self.pieces[k], self._origins[k]
        if piece.curvature == 0:
            return np.asarray((x - x0) * np.cos(heading) + (y - y0) * np.sin(heading))
        cx, cy = self.centre_of(k)
        out = math.copysign(1.0, -piece.curvature)  # from the place toward the centre it is left or right
        middle = heading + piece.sweep / 2
        ax, ay = -np.sin(middle) * out, np.cos(middle) * out  # from the centre to the middle of the piece
        dx, dy = x - cx, y - cy
        # counted from the middle, so that what lies beyond an end is nearer to that end than to the other
        turned = np.arctan2(ax * dy - ay * dx, ax * dx + ay * dy)
        return np.asarray(piece.length / 2 + turned / piece.curvature)

    def centre_of(self, k: int) -> Place:
        """Centre (x, y) [mm] of the arc that is piece k."""
        x, y, heading = self._origins[k]
        radius = 1 / self.pieces[k].curvature
        return float(x - radius * math.sin(heading)), float(y + radius * math.cos(heading))

    def origin_of(self, k: int) -> tuple[float, float, float]:
        """Where piece k begins: x, y [mm] and heading [rad]."""
        x, y, heading = map(float, self._origins[k])
        return x, y, heading

    @property
    def centre(self) -> Place:
        """Centre (x, y) [mm] of an arc, or of an oval; the mean of a chain's ends of pieces is none, and refused."""
        if self.kind == "arc":
            return self.centre_of(0)
        if self.kind == "oval":
            x, y = np.mean([self.centre_of(k) for k in range(4)], axis=0)  # the first end's arc comes in two parts
            return float(x), float(y)
        raise MeasureError("a chain has no single centre", remedy="see the centres of its arcs: set_out(curve).centres")

    @property
    def radius(self) -> float:
        """Radius of an arc [mm]."""
        if self.kind != "arc":
            raise MeasureError(f"{_named(self.kind)} has no single radius", remedy="set_out(curve).centres has each")
        return self.pieces[0].radius

    @property
    def axes(self) -> tuple[float, float]:
        """Half the length and half the width of an oval [mm]."""
        if self.kind != "oval":
            raise MeasureError(f"{_named(self.kind)} has no axes", expected="an ellipse or an oval")
        (small, end), (large, side) = ((self.pieces[k].radius, self.centre_of(k)) for k in (0, 1))
        return math.dist(end, self.centre) + small, large - math.dist(side, self.centre)

    @property
    def kink_table(self) -> pd.DataFrame:
        """Joins: ``s_mm``, ``x_mm``, ``y_mm``, ``kink_deg`` (tangent, left positive), ``radius_before_mm``,
        ``radius_after_mm`` (negative where it turns right, infinite on a straight), ``curvature_jump_per_m``."""
        return _joins(self)

    def parallel(self, offset: float) -> Chain:
        """The chain at this offset to its left [mm]: again straights and arcs.

        Raises
        ------
        MeasureError : an offset as large as a radius on that side, or a chain with kinks
        """
        self.check_parallel(offset)
        if any(abs(kink) > NO_KINK for kink in self.kinks):
            what = "the pieces of a parallel to a kinked chain do not meet"
            raise MeasureError(what, remedy="mend the kink, or take each piece by itself")
        pieces = tuple(
            Piece(p.length * (1 - p.curvature * offset), p.curvature / (1 - p.curvature * offset)) for p in self.pieces
        )
        x, y = self.offset_at(0.0, offset)
        return Chain(
            start=(float(x), float(y)),
            start_heading=self.start_heading,
            pieces=pieces,
            closed=self.closed,
            kind=self.kind,
        )


def _joins(chain: Chain) -> pd.DataFrame:
    n = len(chain.pieces)
    pairs = [(k, k + 1) for k in range(n - 1)] + ([(n - 1, 0)] if chain.closed and n > 1 else [])
    rows = []
    for before, after in pairs:
        end = chain._origins[before][2] + chain.pieces[before].sweep
        kink = math.remainder(chain._origins[after][2] - end, TURN)
        k0, k1 = chain.pieces[before].curvature, chain.pieces[after].curvature
        s = chain._ends[after] if after else chain.length
        x, y = chain._origins[after][:2]
        if abs(kink) < NO_KINK and abs(k1 - k0) < 1e-12:
            continue  # one arc in two parts
        r0, r1 = (1 / k if k else math.inf for k in (k0, k1))
        rows.append((float(s), float(x), float(y), math.degrees(kink), r0, r1, 1000 * (k1 - k0)))
    columns = ["s_mm", "x_mm", "y_mm", "kink_deg", "radius_before_mm", "radius_after_mm", "curvature_jump_per_m"]
    return pd.DataFrame(rows, columns=columns)


def _along(u: ArrayLike, curvature: ArrayLike, heading: ArrayLike) -> tuple[Floats, Floats]:
    """Where one stands after u [mm] along an arc that starts at the origin: the chord, by its length and direction."""
    u, curvature = np.asarray(u, dtype=np.float64), np.asarray(curvature, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        half = np.where(np.isfinite(u), u, 0) * curvature / 2
    chord = u * np.sinc(half / math.pi)
    return chord * np.cos(heading + half), chord * np.sin(heading + half)


def _named(kind: str) -> str:
    return f"an {kind}" if kind[0] in "aeo" else f"a {kind}"


@dataclass(frozen=True, kw_only=True, eq=False)
class Ellipse(Curve):
    """An ellipse, counterclockwise from the end of its long axis.

    Attributes
    ----------
    centre : (x, y) [mm]
    axes : half its length and half its width [mm], the longer first
    turned : from x to the long axis, counterclockwise [rad]
    """

    centre: Place
    axes: tuple[float, float]
    turned: float = 0.0
    kind: str = "ellipse"
    closed: bool = True

    def __post_init__(self) -> None:
        a, b = self.axes
        if not (math.isfinite(a) and a >= b > 0):
            expected = "half the length and half the width, the longer first, above 0 mm"
            raise ArgumentError("axes of no ellipse", value=f"{a:g}, {b:g}", expected=expected)

    @property
    def flattening(self) -> float:
        """Square of its eccentricity, the parameter m of elliptic integrals."""
        a, b = self.axes
        return 1 - (b / a) ** 2

    @property
    def length(self) -> float:
        return 4 * self.axes[0] * float(ellipe(self.flattening))

    @property
    def tightest(self) -> tuple[float, float]:
        a, b = self.axes
        return b * b / a, math.inf

    def _s(self, t: Floats) -> Floats:
        """Distance along [mm] at parameter t, from the end of the long axis."""
        m = self.flattening
        return np.asarray(self.axes[0] * (ellipeinc(t - math.pi / 2, m) + ellipe(m)))

    def _t(self, s: ArrayLike) -> Floats:
        """The parameter at distances along: a table, then Newton's steps."""
        s = np.mod(np.asarray(s, dtype=np.float64), self.length)
        t = np.interp(s, self._table[1], self._table[0])
        a, b = self.axes
        for _ in range(NEWTON):
            step = (self._s(t) - s) / np.hypot(a * np.sin(t), b * np.cos(t))
            t = t - step
            if np.max(np.abs(step), initial=0) < 1e-14:
                break
        return np.asarray(t)

    @cached_property
    def _table(self) -> tuple[Floats, Floats]:
        t = np.linspace(0, TURN, 721)
        return t, self._s(t)

    def at(self, s: ArrayLike) -> Floats:
        return self._place(self._t(s))

    def _place(self, t: Floats) -> Floats:
        (a, b), c, d = self.axes, math.cos(self.turned), math.sin(self.turned)
        u, v = a * np.cos(t), b * np.sin(t)
        return np.stack([self.centre[0] + c * u - d * v, self.centre[1] + d * u + c * v], axis=-1)

    def heading(self, s: ArrayLike) -> Floats:
        t = self._t(s)
        a, b = self.axes
        return np.asarray(self.turned + np.arctan2(b * np.cos(t), -a * np.sin(t)))

    def curvature(self, s: ArrayLike) -> Floats:
        t = self._t(s)
        a, b = self.axes
        return np.asarray(a * b / np.hypot(a * np.sin(t), b * np.cos(t)) ** 3)

    def nearest(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        u, v = self._own_frame(x, y)
        t = self._foot(u, v)
        a, b = self.axes
        distance = np.hypot(u - a * np.cos(t), v - b * np.sin(t))
        inside = (u / a) ** 2 + (v / b) ** 2 < 1
        return np.mod(self._s(np.mod(t, TURN)), self.length), np.where(inside, distance, -distance)

    def _own_frame(self, x: ArrayLike, y: ArrayLike) -> tuple[Floats, Floats]:
        c, d = math.cos(self.turned), math.sin(self.turned)
        dx, dy = np.asarray(x, dtype=np.float64) - self.centre[0], np.asarray(y, dtype=np.float64) - self.centre[1]
        return np.asarray(c * dx + d * dy), np.asarray(-d * dx + c * dy)

    def _foot(self, u: Floats, v: Floats) -> Floats:
        """Parameter of the nearest place, by the root of the distance equation in the first quadrant.

        The foot is (a2 u / (z + a2), b2 v / (z + b2)); on the ellipse, F(z) = 0, where F falls and is convex, so that
        Newton's steps from the left come down to its root and never past it.
        """
        a, b = self.axes
        p, q = np.abs(u), np.maximum(np.abs(v), 1e-12 * a)
        z = np.maximum(b * q - b * b, a * p - a * a)
        for _ in range(NEWTON):
            f = (a * p / (z + a * a)) ** 2 + (b * q / (z + b * b)) ** 2 - 1
            slope = -2 * ((a * p) ** 2 / (z + a * a) ** 3 + (b * q) ** 2 / (z + b * b) ** 3)
            step = f / slope
            z = z - step
            if np.max(np.abs(step) / (np.abs(z) + a * a), initial=0) < 1e-15:
                break
        # the parameter has the cosine x / a and the sine y / b
        t = np.arctan2(b * q / (z + b * b), a * p / (z + a * a))
        t = np.where(u < 0, math.pi - t, t)
        return np.asarray(np.where(v < 0, -t, t))

    @property
    def pins(self) -> tuple[tuple[Place, Place], float, float]:
        """The two pins (x, y) [mm], how far they stand apart and the length of a loop's free string [mm].

        Pins stand sqrt(L^2 - W^2) apart; a string from pin to pin over the pencil is L long, and a loop around both is
        L plus their distance.
        """
        a, b = self.axes
        half = math.sqrt(a * a - b * b)
        dx, dy = half * math.cos(self.turned), half * math.sin(self.turned)
        x, y = self.centre
        return ((x - dx, y - dy), (x + dx, y + dy)), 2 * half, 2 * a + 2 * half


def sagitta(chord: float, radius: float) -> float:
    """Rise [mm] of an arc over its chord [mm], of the smaller of the two arcs: r - sqrt(r^2 - c^2 / 4).

    Written so that nothing is lost where the rise is small.

    Examples
    --------
    >>> sagitta(6.0, 5.0)
    1.0
    """
    if not (math.isfinite(radius) and radius > 0 and 0 < chord <= 2 * radius):
        expected = "a chord above 0 mm, no longer than twice the radius"
        raise ArgumentError("no such arc", value=f"chord {chord:g} mm, radius {radius:g} mm", expected=expected)
    quarter = (chord / 2) ** 2
    return quarter / (radius + math.sqrt(radius * radius - quarter))


def polyline(points: Sequence[Place] | Floats) -> Floats:
    """Distances along a line of points [mm]."""
    xy = np.asarray(points, dtype=np.float64)
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
