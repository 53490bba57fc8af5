"""What a real straightedge showed between the stations, turned into how rough the surface is there.

Readings cannot show waves shorter than two stations. A spot check with a straightedge between stations can:
the largest gap seen in a few places says how rough the surface is at short lengths.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from flatness.errors import ArgumentError
from flatness.measures.straightedge import profile_gaps
from flatness.surface.kriging import matern52
from flatness.surface.lattice import LENGTH_SLACK
from flatness.surface.likely import Roughness

TRIALS = 2000
STEPS_A_LENGTH = 4  # simulated stations in one correlation length


@dataclass(frozen=True)
class SpotCheck:
    """A spot check with a straightedge between the stations.

    Attributes
    ----------
    length : length of the straightedge [mm]
    gap : the largest gap seen under it [mm]
    places : in how many places it was laid
    """

    length: float
    gap: float
    places: int = 5

    def __post_init__(self) -> None:
        for name, value in (("length", self.length), ("gap", self.gap), ("places", self.places)):
            if not (math.isfinite(value) and value > 0):
                raise ArgumentError(
                    f"spot check: {name} out of range", value=str(value), expected="a number above zero",
                    remedy="type the length of the straightedge, the largest gap seen and in how many places it lay",
                )  # fmt: skip
        if self.gap >= self.length / 10:
            raise ArgumentError(
                "spot check: the gap is not small beside the straightedge", value=f"{self.gap:g} mm",
                expected=f"under a tenth of its length, {self.length:g} mm",
                remedy="give the straightedge's length first, then the largest gap seen",
            )  # fmt: skip

    def roughness(self, step: float) -> Roughness:
        """Random short waves that would show this gap, for stations ``step`` [mm] apart.

        Their correlation length is a quarter of the bar or of the stations' step, whichever is less: waves
        about as long as the bar, which the stations miss. Their deviation is the one whose largest gap in so
        many places has the seen gap as its median.

        Raises
        ------
        ArgumentError : a straightedge longer than two steps, whose gap shows what the readings show already
        """
        if self.length > 2 * step * (1 + LENGTH_SLACK):
            raise ArgumentError(
                "spot check: the straightedge is too long for it", value=f"{self.length:g} mm",
                expected=f"two steps between stations at most, {2 * step:.0f} mm",
                remedy="lay a shorter one between the stations; a longer one shows what the readings show already",
            )  # fmt: skip
        length = min(step, self.length) / 4
        return Roughness(self.gap / median_gap(round(self.length / length, 3), self.places), length)


@lru_cache(maxsize=64)
def median_gap(bar: float, places: int) -> float:
    """Median of the largest gap under a bar, ``bar`` correlation lengths long, in so many places [-].

    On random waves of deviation 1 with Matern 5/2 correlation; simulated, always with the same seed.
    """
    stations = max(3, round(bar * STEPS_A_LENGTH) + 1)
    at = np.arange(stations) * bar / (stations - 1)
    covariance = matern52(np.abs(at[:, None] - at)) + 1e-9 * np.eye(stations)
    rng = np.random.default_rng(20_260)
    drawn = rng.standard_normal((TRIALS * places, stations)) @ np.linalg.cholesky(covariance).T
    gaps = profile_gaps(drawn, 1.0, stations - 1.0).max(axis=1)
    return float(np.median(gaps.reshape(TRIALS, places).max(axis=1)))
