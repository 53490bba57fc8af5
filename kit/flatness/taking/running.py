"""What the readings so far predict of the next one: a Gaussian process that gains one row a reading.

The likely surface's own covariance, with slopes as buildings have them and a constant for each set-up of the
instrument in place of a trend without bounds, so that a few readings predict already. A reading adds one row to the
Cholesky factor; only new parameters have it factored again (Rasmussen and Williams 2006, section 2.2 and appendix A.4).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg.lapack import dtrtrs

from flatness.arrays import Floats
from flatness.surface.fitting import LENGTH_MM, SCALE_MM, Fit
from flatness.surface.framing import Patch, joists
from flatness.surface.kriging import Parameters, cholesky_factor, covariance
from flatness.survey.readings import Framing

SLOPE = 0.004  # standard deviation of a floor's slope [-]; the kit's own
CONSTANT_MM = 1000.0  # of the height of the instrument's line over what is known of it: as good as nothing
ASK = 4.0  # times its error that a reading is off what the others say before the page asks of it
# how surely a surface is as wavy as its parameters say, in readings' worth: few know before the first are read
SURE = 4.0


@dataclass(frozen=True)
class Taken:
    """A reading as a height [mm] in the frame of its set-up's instrument, at x, y [mm]."""

    x: float
    y: float
    height: float
    setup: str = ""


def usual_parameters(reading_error: float, framing: Framing | None = None) -> Parameters:
    """What surfaces are typically like, before enough of this one was read."""
    own = None
    if framing is not None and framing.typical > 0:
        own = joists(framing, (0.0, 0.0, 0.0))
    return Parameters(SCALE_MM, LENGTH_MM, LENGTH_MM, reading_error, own)


def parameters_of(fit: Fit, reading_error: float) -> Parameters:
    """A fit's likeliest parameters, its members and patches put back from its origin to the surface's corner."""
    p, (east, north, _) = fit.best, fit.origin
    ridges = tuple(
        replace(one, at=(one.at[0] + east, one.at[1] + north))
        if isinstance(one, Patch)
        else replace(one, at=one.at + (east if one.along == "y" else north))
        for one in p.ridges
    )
    own = p.joists
    if own is not None:
        own = replace(own, at=own.at + (east if own.along == "y" else north))
    return replace(p, reading_error=reading_error, joists=own, ridges=ridges)


class Running:
    """All readings so far, and what they predict elsewhere.

    Parameters
    ----------
    parameters : of the surface, and the error of one reading, about the surface's corner

    Attributes
    ----------
    taken : the readings, in their order
    """

    def __init__(self, parameters: Parameters, taken: Sequence[Taken] = ()) -> None:
        self.parameters = parameters
        self.taken: list[Taken] = []
        self._low = np.zeros((0, 0))
        self._white = np.zeros(0)
        self.fill(taken)

    def fill(self, taken: Sequence[Taken], parameters: Parameters | None = None) -> None:
        """Begin again with these readings, under other parameters where they are given."""
        self.parameters = parameters or self.parameters
        self.taken = list(taken)
        k = self._between(self.taken, self.taken)
        k[np.diag_indices_from(k)] += self._noise
        self._low = cholesky_factor(k) if len(taken) else np.zeros((0, 0))
        self._white = _whitened(self._low, self._heights) if len(taken) else np.zeros(0)

    def add(self, one: Taken) -> None:
        """Take one more reading: one row of the factor."""
        row, rest = self._row(one)
        n = len(self.taken)
        low = np.zeros((n + 1, n + 1))
        low[:n, :n], low[n, :n], low[n, n] = self._low, row, math.sqrt(rest + self._noise)
        self._white = np.append(self._white, (one.height - row @ self._white) / low[n, n])
        self._low = low
        self.taken.append(one)

    def expected(self, x: float, y: float, setup: str) -> tuple[float, float]:
        """Height [mm] that a set-up would read at a place, and the surface's error there, without that of a reading."""
        row, rest = self._row(Taken(x, y, 0.0, setup))
        return float(row @ self._white), math.sqrt(max(rest, 0.0))

    @property
    def wilder(self) -> float:
        """How many times as wild as its parameters say the surface turns out.

        Each reading came so many times its error off what those before it predicted. The variance of all has an
        inverse gamma prior about one (Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.6).
        """
        innovations = self._white[1:]  # the first tells of the instrument's height alone
        return math.sqrt((SURE + float(innovations @ innovations)) / (SURE + len(innovations)))

    def left_out(self, count: int) -> tuple[Floats, Floats]:
        """By how much each of the last readings is off what all others say, and the error of that [mm].

        Of the inverse of the covariance (Rasmussen and Williams 2006, eq. 5.12).
        """
        rows = _whitened(self._low, np.eye(len(self.taken))[:, -count:])
        precision = (rows**2).sum(axis=0)
        around = np.sqrt(np.maximum(1 / precision - self._noise, 0.0))
        return rows.T @ self._white / precision, np.array([self.error_of_reading(error) for error in around])

    def error_of_reading(self, error: float) -> float:
        """The error [mm] of a reading where the surface is known to an error [mm], as wild as it turns out.

        A tame surface does not make the instrument better than it is.
        """
        wilder = self.wilder
        return math.hypot(wilder * error, max(1.0, wilder) * self.parameters.reading_error)

    @property
    def _heights(self) -> Floats:
        return np.array([one.height for one in self.taken])

    @property
    def _noise(self) -> float:
        return self.parameters.reading_error**2

    def _row(self, one: Taken) -> tuple[Floats, float]:
        """Its covariance with the readings, whitened, and what is left of its variance."""
        own = float(self._between([one], [one])[0, 0])
        if not self.taken:
            return np.zeros(0), own
        row = _whitened(self._low, self._between(self.taken, [one])[:, 0])
        return row, own - float(row @ row)

    def _between(self, some: Sequence[Taken], others: Sequence[Taken]) -> Floats:
        if not some:
            return np.zeros((0, len(others)))
        x, y = (np.array([getattr(one, name) for one in some]) for name in "xy")
        to_x, to_y = (np.array([getattr(one, name) for one in others]) for name in "xy")
        out = covariance(x, y, to_x, to_y, self.parameters)
        out += SLOPE**2 * (np.outer(x, to_x) + np.outer(y, to_y))
        same = np.array([[one.setup == other.setup for other in others] for one in some])
        out += CONSTANT_MM**2 * same
        return out


def _whitened(low: Floats, columns: Floats) -> Floats:
    out: Floats = dtrtrs(low, columns, lower=1)[0]
    return out
