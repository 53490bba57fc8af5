"""The likely surface: what the readings say about the surface between them, and how surely.

A plane, plus a random surface with Matern 5/2 correlation and its own length along x and along y, plus
reading error (:mod:`flatness.surface.kriging`). Besides the best estimate and its error it gives draws: other
surfaces that the readings allow, each with parameters that the readings allow.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.linalg import LinAlgError

from flatness.arrays import Floats
from flatness.errors import ArgumentError
from flatness.notes import Note
from flatness.surface.fitting import Fit, Supposition, blocks_of, fit_parameters, may_be_patched, patched
from flatness.surface.framing import Patch
from flatness.surface.kriging import (
    Factored,
    Parameters,
    Stations,
    ToStations,
    conditioned,
    covariance,
    factor,
    left_out,
    predict,
    reading_errors,
)
from flatness.surface.lattice import default_spacing, interpolate, widest_step
from flatness.surface.local import LARGE, Nearby, nearest
from flatness.surface.prior import AROUND, Extent, Prior
from flatness.surface.slips import Slip, find_slips
from flatness.survey.readings import Survey

MOST_PLACES = 20_000  # some hundred draws of them are kept at a time; of a large survey as many as it needs
SETS_OF_LARGE = ((15_000, 4), (math.inf, 2))  # most stations, and how many sets of parameters the draws then take
OF_LARGE = 2.5  # times the stations of a large survey
MOST_NEAR = 1500  # stations that a covariance asked for is conditioned on, the nearest ones
# most pairs of a node and a station, and how many sets of parameters the draws then take: more where they are cheap
SETS = ((4e5, 40), (4e6, 20), (1e7, 8), (3e7, 3), (math.inf, 1))
MOST_KEPT, MOST_SETS = 1.5e7, 100  # weights of places on waves, all sets together, that are kept for further draws
WILD_ALL = 1.4  # times their predictive errors that readings are off
NEXT_TO_NOTHING = 4e-3  # weight of a supposition
TAME = 4  # standard errors of a spread; of 75 simulated rooms on each of three grids none came so low by chance


@dataclass(frozen=True, eq=False, kw_only=True)
class LikelySurface:
    """Best estimate of a surface, its error, and draws of what else it may be.

    Attributes
    ----------
    x, y : [nx], [ny] mm
    mean : [ny, nx] mm, best estimate; NaN where there is no surface or no reading reaches
    error : [ny, nx] mm, its standard error
    parameters : the likeliest parameters
    error_basis : where the reading error comes from: ``given``, ``ties``, ``repeats`` or ``fitted``
    slips : readings that were likely taken or written wrong; the surface is made without them
    shortest_wave : waves shorter than this [mm] are invisible to the stations
    misfit : how the readings do not fit the model, in words; empty where they do
    notes : what does not fit, and what was assumed, in words
    reference, spacing : as in :class:`~flatness.surface.lattice.Surface`
    """

    x: Floats
    y: Floats
    mean: Floats
    error: Floats
    parameters: Parameters
    error_basis: str
    slips: tuple[Slip, ...]
    shortest_wave: float
    misfit: tuple[str, ...]
    notes: tuple[str, ...]
    reference: str
    spacing: float
    fit: Fit = field(repr=False)
    _kept: dict[Any, tuple[Factored, Prior]] = field(default_factory=dict, repr=False)
    _kept_large: dict[Any, tuple[Prior, Nearby]] = field(default_factory=dict, repr=False)
    _kept_places: dict[Any, ToStations] = field(default_factory=dict, repr=False)

    def draw(self, n: int, seed: int = 0) -> Floats:
        """``n`` surfaces that the readings allow, [n, ny, nx] mm; the same seed gives the same surfaces."""
        return self.draw_both(np.empty(0), np.empty(0), n, seed)[0]

    def draw_at(self, x: Floats, y: Floats, n: int, seed: int = 0) -> Floats:
        """Heights [n, m] mm at places x, y [m] mm of the surfaces that :meth:`draw` draws from this seed."""
        return self._draw(x, y, n, seed)

    def draw_both(self, x: Floats, y: Floats, n: int, seed: int = 0) -> tuple[Floats, Floats]:
        """The same surfaces on the lattice [n, ny, nx] mm and at places x, y [m] mm, [n, m] mm.

        Raises
        ------
        ArgumentError : no draws asked for, too many places, or places beyond the lattice and the stations
        """
        keep = np.isfinite(self.mean)
        iy, ix = np.nonzero(keep)
        drawn = self._draw(np.concatenate([self.x[ix], x]), np.concatenate([self.y[iy], y]), n, seed)
        out = np.full((n, *self.mean.shape), np.nan)
        out[:, keep] = drawn[:, : len(ix)]
        return out, drawn[:, len(ix) :]

    def _draw(self, x: Floats, y: Floats, n: int, seed: int) -> Floats:
        if not (isinstance(n, (int, np.integer)) and n >= 1):
            raise ArgumentError("number of draws out of range", value=str(n), expected="a whole number from 1")
        most = max(MOST_PLACES, round(OF_LARGE * len(self.fit.stations.x)))
        if len(x) > most:
            what, expected = "too many places to draw together", f"at most {most}"
            raise ArgumentError(what, value=str(len(x)), expected=expected, remedy="choose a wider spacing")
        stations, extent = self.fit.stations, self._extent
        x, y = x - self.fit.origin[0], y - self.fit.origin[1]
        if not extent.holds(x, y):
            raise ArgumentError(
                "places to draw at lie beyond the surface", expected="places on the lattice or between the stations"
            )
        rng = np.random.default_rng(seed)
        if is_large(stations):
            return self._draw_large(x, y, n, rng)
        pairs = int(np.isfinite(self.mean).sum()) * len(stations.x)
        sets = next(count for most, count in SETS if pairs <= most)
        parts, keep = [], sets * len(x) * 1.5 * AROUND**2 <= MOST_KEPT
        where = x.tobytes(), y.tobytes()
        to_stations = self._kept_places.get(where) or ToStations(stations, x, y)
        if keep:
            self._kept_places.clear()
            self._kept_places[where] = to_stations
        for p, count in self.fit.parameter_sets(min(sets, n), n, rng):
            f, surfaces = self._bearing(p, x, y, (p, *where), keep)
            prior = surfaces.draw(count, rng)
            read = prior[len(x) :] + reading_errors(stations, p, count, rng)
            parts.append(conditioned(stations, f, x, y, to_stations.rows(p), prior[: len(x)], read).T)
        return np.concatenate(parts) + self.fit.origin[2]

    def _draw_large(self, x: Floats, y: Floats, n: int, rng: np.random.Generator) -> Floats:
        """As :meth:`_draw`, each place from the stations about it."""
        stations = self.fit.stations
        # stations and nodes of a grid are the same places
        both = np.round(np.stack([np.append(x, stations.x), np.append(y, stations.y)], axis=1), 3)
        places, which = np.unique(both, axis=0, return_inverse=True)
        at_x, at_y = (np.asarray(axis, dtype=np.float64) for axis in places.T)
        drawn, first = np.empty((n, len(x))), 0
        sets = next(count for most, count in SETS_OF_LARGE if len(stations.x) <= most)
        for p, count in self.fit.parameter_sets(min(sets, n), n, rng):
            key = (p, x.tobytes(), y.tobytes())
            if key not in self._kept_large:
                if len(self._kept_large) >= sets:
                    self._kept_large.clear()
                surfaces = Prior(p, self._extent, at_x, at_y)
                self._kept_large[key] = surfaces, Nearby(stations, p, at_x, at_y, self.spacing)
            surfaces, nearby = self._kept_large[key]
            prior = surfaces.draw(count, rng)
            read = prior[which[len(x) :]] + reading_errors(stations, p, count, rng)
            drawn[first : first + count] = nearby.conditioned(prior, read)[which[: len(x)]].T
            first += count
        return drawn + self.fit.origin[2]

    def _bearing(self, p: Parameters, x: Floats, y: Floats, key: Any, keep: bool) -> tuple[Factored, Prior]:
        """The stations' covariance, surfaces there and at places x, y [m] mm: of many draws the same."""
        stations = self.fit.stations
        if key in self._kept:
            return self._kept[key]
        try:
            f = factor(stations, p)
        except LinAlgError:
            raise ArgumentError(
                "the readings' covariance cannot be factored", remedy="check for stations read twice"
            ) from None
        surfaces = Prior(p, self._extent, np.append(x, stations.x), np.append(y, stations.y))
        if keep:
            if len(self._kept) >= MOST_SETS:
                self._kept.clear()
            self._kept[key] = f, surfaces
        return f, surfaces

    @property
    def _extent(self) -> Extent:
        """Of the lattice and the stations, about the fit's origin."""
        x, y, stations = self.x - self.fit.origin[0], self.y - self.fit.origin[1], self.fit.stations
        return Extent(
            float(x[0]),
            float(max(x[-1], stations.x.max())),
            float(y[0]),
            float(max(y[-1], stations.y.max())),
            self.spacing,
        )

    def predict_at(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Best estimate [m] mm and its standard error [m] mm at places x, y [m] mm."""
        return _estimate(self.fit, x, y, self.spacing)

    def covariance_at(self, x: Floats, y: Floats, to_x: Floats, to_y: Floats) -> Floats:
        """Covariance [m, k] mm2 of the surface at places x, y [m] mm with places to_x, to_y [k] mm, as read."""
        (x, y), (to_x, to_y) = ((px - self.fit.origin[0], py - self.fit.origin[1]) for px, py in ((x, y), (to_x, to_y)))
        total, means = np.zeros((len(x), len(to_x))), []
        for weight, fit, unseen in _fits(self.fit):
            stations = (
                nearest(fit.stations, fit.best, to_x, to_y, MOST_NEAR) if is_large(fit.stations) else fit.stations
            )
            factored = fit.factored if stations is fit.stations else factor(stations, fit.best)
            mean, v, w = predict(stations, fit.best, x, y, factored)
            to_mean, to_v, to_w = predict(stations, fit.best, to_x, to_y, factored)
            total += weight * (covariance(x, y, to_x, to_y, fit.best) - v.T @ to_v + w.T @ to_w)
            for one in unseen:
                total += one.weight * sum(ridge.covariance(x, y, to_x, to_y) for ridge in one.ridges)
            means.append((weight, mean, to_mean))
        if len(means) > 1:
            middle, to_middle = (sum(one[0] * one[k] for one in means) for k in (1, 2))
            for weight, mean, to_mean in means:
                total += weight * np.outer(mean - middle, to_mean - to_middle)
        return np.asarray(total)


def likely_surface(survey: Survey, spacing: float | None = None, *, trusting: bool = False) -> LikelySurface:
    """The likely surface of a survey on a lattice.

    Parameters
    ----------
    survey : the readings
    spacing : lattice step [mm]; None takes about 6 in, wider where the surface is large
    trusting : whether readings that are likely slips count like all others

    Returns
    -------
    LikelySurface

    Raises
    ------
    MeasureError : stations too few, or all on one line
    """
    plain = interpolate(survey, default_spacing(survey) if spacing is None else spacing)
    step = widest_step(survey)
    fit, slips = _fitted(survey, trusting)
    misfit = tuple(_misfit(fit))
    gx, gy, _ = plain.nodes()
    mean, error = np.full_like(plain.height, np.nan), np.full_like(plain.height, np.nan)
    mean[plain.inside], error[plain.inside] = _estimate(fit, gx, gy, plain.spacing)
    notes = (*(str(slip) for slip in slips), *_notes(fit, step, misfit))
    return LikelySurface(
        x=plain.x,
        y=plain.y,
        mean=mean,
        error=error,
        parameters=fit.best,
        error_basis=fit.error_basis,
        slips=slips,
        shortest_wave=2 * step,
        misfit=misfit,
        notes=notes,
        reference=plain.reference,
        spacing=plain.spacing,
        fit=fit,
    )


@lru_cache(maxsize=4)  # a survey is one object, never changed: another limit or lattice asks for the same fit
def _fitted(survey: Survey, trusting: bool) -> tuple[Fit, tuple[Slip, ...]]:
    """The parameters of a survey's surface, and the readings that are likely slips."""
    # a slip is one reading, a patch a few: the first is looked for on a surface without the other
    fit = fit_parameters(survey, survey.framing, patches=False)
    slips = () if trusting else find_slips(fit, survey, widest_step(survey))
    if slips:
        return fit_parameters(survey, survey.framing, [slip.number for slip in slips]), slips
    return patched(fit) if may_be_patched(fit) else fit, slips


def is_large(stations: Stations) -> bool:
    """Whether there are too many stations to factor the covariance of all of them."""
    return len(stations.x) > LARGE


def _estimate(fit: Fit, x: Floats, y: Floats, spacing: float) -> tuple[Floats, Floats]:
    x, y = x - fit.origin[0], y - fit.origin[1]
    if is_large(fit.stations):
        mean, variance = Nearby(fit.stations, fit.best, x, y, spacing).estimate()
        return mean + fit.origin[2], np.sqrt(np.maximum(variance, 0.0))
    total, square, spread = np.zeros(len(x)), np.zeros(len(x)), np.zeros(len(x))
    weighed = _fits(fit)
    for weight, one, unseen in weighed:
        mean, variance = np.empty(len(x)), np.empty(len(x))
        for part in _parts(len(x)):
            mean[part], v, w = predict(one.stations, one.best, x[part], y[part], one.factored)
            variance[part] = one.best.variance(x[part], y[part]) - (v * v).sum(axis=0) + (w * w).sum(axis=0)
        spread += weight * variance
        for other in unseen:
            spread += other.weight * sum(ridge.variance(x, y) for ridge in other.ridges)
        total, square = total + weight * mean, square + weight * mean**2
    if len(weighed) > 1:
        spread += np.maximum(square - total**2, 0.0)
    return total + fit.origin[2], np.sqrt(np.maximum(spread, 0.0))


def _fits(fit: Fit) -> list[tuple[float, Fit, list[Supposition]]]:
    """Each distinct fit with the weight of all that is supposed of it, and the ridges that no station bears on.

    What the readings speak against is left out: it weighs next to nothing.
    """
    if not fit.suppositions:
        return [(1.0, fit, [])]
    seen = [one for one in fit.suppositions if not one.unseen]
    least = NEXT_TO_NOTHING * max(one.weight for one in seen)
    found = []
    for one in seen:
        if one.weight > least:
            same = [] if one.ridges else [other for other in fit.suppositions if other.unseen and other.fit is one.fit]
            found.append((one.weight + sum(other.weight for other in same), one.whole, same))
    total = sum(weight for weight, _, _ in found)
    return [(weight / total, whole, same) for weight, whole, same in found]


def _parts(count: int, most: int = 2000) -> Iterator[slice]:
    return (slice(first, first + most) for first in range(0, count, most))


def _notes(fit: Fit, step: float, misfit: tuple[str, ...]) -> Iterator[str]:
    if fit.error_basis in ("fitted", "repeats"):
        yield Note(f"error-{fit.error_basis}", error=fit.best.reading_error)
    members, ridges = fit.best.joists, fit.best.ridges
    if members is not None:
        yield Note("members-off", step=members.half_width, typical=members.typical, scale=members.scale)
        if is_large(fit.stations):
            yield Note("members-unweighed", most=LARGE)
    for patch in (one for one in ridges if isinstance(one, Patch) and one.line is None):
        x, y = (at + moved for at, moved in zip(patch.at, fit.origin, strict=False))
        yield Note("wavier", at=(x, y))
    for along, middle in dict.fromkeys(one.line for one in ridges if one.line is not None):
        weight = sum(
            one.weight
            for one in fit.suppositions
            if any(part.line == (along, middle) for part in one.fit.best.ridges + one.ridges)
        )
        across = "x" if along == "y" else "y"
        at = middle + fit.origin["xy".index(across)]
        key = "ridge-likely" if members is None else "member-stands-out"
        yield Note(key, axis=across, at=at, weight=f"{100 * weight:.0f}")
    yield Note("waves-unseen", wave=2 * step)
    yield from misfit


def _misfit(fit: Fit) -> Iterator[str]:
    if is_large(fit.stations):
        off = np.concatenate([left_out(block, fit.best) for block in blocks_of(fit.stations)])
    else:
        off = left_out(fit.stations, fit.best, fit.factored)
    spread = float(np.sqrt(np.mean(off**2)))
    if spread > WILD_ALL:
        yield Note("misfit-wild", times=spread)
    if fit.error_basis == "given" and spread < 1 - TAME / math.sqrt(2 * len(off)):
        yield Note("misfit-tame", times=f"{1 / spread:.1f} times" if spread > 0.1 else "over 10 times")
