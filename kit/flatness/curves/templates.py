"""A template cut to the intended curve and set on what was built: the gap beneath it, kinks and flats.

A template moves as a rigid body. Held to its place it can only move square to the curve and turn, so the largest gap is
over pairs of contacts as it is under a straightedge (:meth:`~flatness.survey.readings.Bend.reaches`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from flatness.arrays import Floats
from flatness.curves.shapes import Curve
from flatness.errors import ArgumentError, check_above_zero
from flatness.measures.bars import Heading, template_arms, whole_steps
from flatness.surface.lattice import UnrolledStep
from flatness.survey.readings import Bend

UNEVEN = 1e-3  # of a step, that stations may stand off even steps
FLATS = tuple(0.1 * k for k in range(2, 10))  # half lengths of a flat that are tried, of the reach
SHORT = 1.6  # stations' steps: a flat of which no more lies to either side is a corner
SURE = 3.0  # how many times its error a kink or a flat must be, to be named
REACH_MM = 609.6  # 24 in to either side: so much is looked at as one place; common practice, no source


@dataclass(frozen=True)
class TemplatePlacement:
    """A template where it rests.

    Attributes
    ----------
    gap : largest gap under it [mm]
    at : distance along the curve of that gap [mm]
    contacts : distances along the curve of the two places on which it rests [mm]
    line : which line of stations
    """

    gap: float
    at: float
    contacts: tuple[float, float]
    line: int = 0


def template_gaps(deviations: ArrayLike, along: ArrayLike, length: float, curve: Curve) -> Floats:
    """Largest gap at each station under a template cut to the curve, over every pair of contacts.

    Parameters
    ----------
    deviations : [n] or [lines, n] off the curve of what was built [mm], positive toward the template; NaN breaks a line
    along : [n] distances along the curve of the stations [mm], at even steps; all round a closed curve it meets itself
    length : of the template along the curve [mm]
    curve : that it is cut to

    Returns
    -------
    array of the shape of ``deviations`` : gap [mm], 0 where the template touches

    Raises
    ------
    ArgumentError : stations that are not at even steps, or a length out of range

    Examples
    --------
    >>> from flatness.curves.making import make_arc
    >>> arc = make_arc(radius=1e6, first=0, last=1)
    >>> [round(float(gap), 3) for gap in template_gaps([0, -3, 0], [0, 1000, 2000], 2000, arc)]
    [0.0, 3.0, 0.0]
    """
    return _gaps_and_contacts(deviations, along, length, curve)[0]


def worst_template(deviations: ArrayLike, along: ArrayLike, length: float, curve: Curve) -> TemplatePlacement | None:
    """The placement with the largest gap, or None where no template bridges anything; see :func:`template_gaps`."""
    gap, first, last = _gaps_and_contacts(deviations, along, length, curve)
    if not np.isfinite(gap).any() or np.nanmax(gap) <= 0:
        return None
    gap, first, last = (np.atleast_2d(one) for one in (gap, first, last))
    line, k = np.unravel_index(int(np.nanargmax(gap)), gap.shape)
    s = np.asarray(along, dtype=np.float64)
    contacts = (float(first[line, k]), float(last[line, k]))
    return TemplatePlacement(float(gap[line, k]), float(s[k]), contacts, int(line))


def _gaps_and_contacts(
    deviations: ArrayLike, along: ArrayLike, length: float, curve: Curve
) -> tuple[Floats, Floats, Floats]:
    """Gap at each station, and the distances along of the contacts that give it."""
    z, s = np.asarray(deviations, dtype=np.float64), np.asarray(along, dtype=np.float64)
    shape = z.shape
    z = np.atleast_2d(z)
    if s.ndim != 1 or z.shape[1] != len(s) or len(s) < 2:
        raise ArgumentError("deviations and stations do not match", value=f"{shape} and {s.shape}")
    step = float(s[1] - s[0])
    if step == 0 or np.abs(np.diff(s) - step).max() > UNEVEN * abs(step):
        raise ArgumentError("stations at uneven steps", expected="distances along the curve at even steps")
    if step < 0:
        back = _gaps_and_contacts(z[:, ::-1], s[::-1], length, curve)
        return back[0][:, ::-1].reshape(shape), back[1][:, ::-1].reshape(shape), back[2][:, ::-1].reshape(shape)
    n, steps = len(s), whole_steps(length, step)
    # around a closed curve a template lies over the place where the stations begin
    bend = Bend(curve, False, curve.closed and bool(abs(n * step - curve.length) < UNEVEN * step * n))
    on = UnrolledStep(step, bend, float(s[0]), n)
    (behind, near), (ahead, far) = (
        template_arms(z, Heading.at(0.0), sign, min(steps, n - 1) - 1, on) for sign in (-1, 1)
    )
    top, first, last = z.copy(), np.tile(s, (len(z), 1)), np.tile(s, (len(z), 1))
    for i, contact in enumerate(behind, 1):
        for k, other in enumerate(ahead[: max(0, steps - i)], 1):
            chord = contact + near[i - 1] / (near[i - 1] + far[k - 1]) * (other - contact)
            higher = chord > top + 1e-12
            top = np.where(higher, chord, top)
            first, last = np.where(higher, s - i * step, first), np.where(higher, s + k * step, last)
    return (top - z).reshape(shape), first.reshape(shape), last.reshape(shape)


def fairness(
    deviations: ArrayLike,
    along: ArrayLike,
    curve: Curve,
    accuracy: float,
    reach: float = REACH_MM,
    beside: Sequence[tuple[Floats, Floats]] = (),
) -> pd.DataFrame:
    """Jumps of slope and of curvature of what was built, at each station of a line.

    Parameters
    ----------
    deviations : [n] from the curve [mm], positive to its left
    along : [n] distances along the curve [mm], in order
    curve : that was intended
    accuracy : one standard deviation of a reading [mm]
    reach : how far to either side is looked at for a kink [mm], a half and a quarter as far for a flat
    beside : deviations and distances of other lines of the same wall: a fault is a kink or a flat on all

    Returns
    -------
    DataFrame, one row a station with room to both sides: ``along_mm``; ``kink_deg`` (the tangent turns there, left
        positive, beyond the intended curve) and ``kink_error_deg``; ``curvature_per_m`` (as built), ``intended_per_m``,
        ``curvature_error_per_m``; ``finding``: ``kink``, ``flat`` (curves less than half as much as it should),
        ``tight`` (more than half as much again) or empty. A finding is more than three times its error, and the largest
        within the reach

    Raises
    ------
    ArgumentError : an accuracy or a reach that is not above zero

    Notes
    -----
    About each station a parabola is fitted, with a corner at the station for the kink. A curve of
    curvature k that is moved to the left by d(s) has k + k2 d + d''.
    """
    z, s = np.asarray(deviations, dtype=np.float64), np.asarray(along, dtype=np.float64)
    check_above_zero(accuracy=accuracy, reach=reach)
    # a flat is as short as a board's end, a kink needs a run to both sides; and both need stations
    step = float(np.median(np.abs(np.diff(s)))) if len(s) > 1 else reach
    short, long = sorted({max(reach / 4, 2.1 * step), max(reach / 2, 2.1 * step)}), max(reach, 3.1 * step)
    rows = []
    for k in range(len(s)):
        intended, bows = float(curve.curvature(s[k])), []
        for width in short:
            bow = _about(z, s, k, width, False)
            if bow is not None:
                built = intended + intended**2 * bow[0][0] + 2 * bow[0][2] / width**2
                bows.append((built, 2 * accuracy * bow[1][2] / width**2))
        if not bows:
            continue
        # a fault shorter than the window shows best in the shorter one; elsewhere the longer has the smaller error
        far = [one for one in bows if abs(one[0] - intended) > abs(intended) / 2]
        built, error = max(far, key=partial(_sureness, intended)) if far else bows[-1]
        corner = _about(z, s, k, long, True)
        kink, doubt = (2 * corner[0][3] / long, 2 * accuracy * corner[1][3] / long) if corner else (math.nan,) * 2
        row = (s[k], math.degrees(kink), math.degrees(doubt), 1000 * built, 1000 * intended, 1000 * error)
        rows.append(tuple(map(float, row)))
    names = ["along_mm", "kink_deg", "kink_error_deg", "curvature_per_m", "intended_per_m", "curvature_error_per_m"]
    table = pd.DataFrame(rows, columns=names)
    table["finding"] = _findings(table, reach, lambda along: _is_corner([(z, s), *beside], along, long))
    return table


def _sureness(intended: float, bow: tuple[float, float]) -> float:
    return abs(bow[0] - intended) / bow[1]


def _about(z: Floats, s: Floats, k: int, width: float, cornered: bool) -> tuple[Floats, Floats] | None:
    """A parabola in (s - s[k]) / width, with a corner at station k or without; None without room to both sides."""
    u = (s - s[k]) / width
    near = (np.abs(u) <= 1 + 1e-9) & np.isfinite(z)
    u = u[near]
    if len(u) < (6 if cornered else 5) or min((u < 0).sum(), (u > 0).sum()) < 2:
        return None
    terms = [np.ones_like(u), u, u * u, *([np.abs(u)] if cornered else [])]
    return _fitted(np.column_stack(terms), z[near])


def _fitted(matrix: Floats, z: Floats) -> tuple[Floats, Floats]:
    """Least squares, and the error of each coefficient for readings good to 1."""
    inverse = np.linalg.pinv(matrix.T @ matrix)
    return inverse @ (matrix.T @ z), np.sqrt(np.maximum(np.diag(inverse), 0))


def _is_corner(lines: Sequence[tuple[Floats, Floats]], along: float, width: float) -> bool:
    """Whether a corner within half a width explains the lines' stations about a place better than a flat does.

    The same corner, or flat, on all of them, each as large as it comes out there.
    """
    parts = []
    for z, s in lines:
        u = (s - along) / width
        near = (np.abs(u) <= 1 + 1e-9) & np.isfinite(z)
        if near.sum() > 4:
            parts.append((u[near], z[near]))

    def left(shape: Callable[[Floats], Floats]) -> float:
        total = 0.0
        for u, height in parts:
            matrix = np.column_stack([np.ones_like(u), u, u * u, shape(u)])
            total += float(np.sum((height - matrix @ _fitted(matrix, height)[0]) ** 2))
        return total

    middles = np.linspace(-0.5, 0.5, 9)
    corner = min(left(partial(_cornered, m)) for m in middles)
    least = SHORT * float(np.median(np.abs(np.diff(parts[0][0]))))
    tried = [(m, half) for m in middles for half in FLATS if half >= least]
    flat = min((left(partial(_flattened, m, half)) for m, half in tried), default=math.inf)
    return corner < flat


def _cornered(middle: float, u: Floats) -> Floats:
    return np.abs(u - middle)


def _flattened(middle: float, half: float, u: Floats) -> Floats:
    return np.maximum(0, half**2 - (u - middle) ** 2)


def _findings(table: pd.DataFrame, reach: float, is_corner: Callable[[float], bool]) -> list[str]:
    """The largest within the reach, of those that are sure; a flat explains the kinks at its ends."""
    s = table["along_mm"].to_numpy()
    found = [""] * len(table)
    kink = np.nan_to_num((table["kink_deg"] / table["kink_error_deg"]).abs().to_numpy())
    own = table["intended_per_m"].to_numpy()
    more = (table["curvature_per_m"].to_numpy() - own) * np.sign(np.where(own == 0, 1, own))
    bow = np.abs(more) / table["curvature_error_per_m"].to_numpy()
    bow = np.where(np.abs(more) > np.abs(own) / 2, bow, 0.0)
    taken: list[float] = []
    for name, size in (("bow", bow), ("kink", kink)):
        for k in np.argsort(-size):
            if size[k] <= SURE:
                break
            if all(abs(s[k] - other) > 1.5 * reach for other in taken):
                corner = name == "kink" or is_corner(float(s[k]))
                found[k] = "kink" if corner else "flat" if more[k] < 0 else "tight"
                taken.append(float(s[k]))
    return found
