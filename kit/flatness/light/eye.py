"""How faint a pattern the eye still sees: contrast sensitivity by how fine the pattern is.

P. G. J. Barten, *Contrast Sensitivity of the Human Eye and Its Effects on Image Quality*, SPIE Press, 1999: the formula
for two eyes and a square field, with the constants of the typical observer (quoted; a test holds both against another
library's). Its sources measured from about 0.1 cycles per degree; what is coarser is its own extrapolation, and there
the eye sees less and less.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from flatness.arrays import Floats
from flatness.errors import ArgumentError

SIGNAL_TO_NOISE = 3.0  # at which half of all looks see the pattern
SECONDS = 0.1  # over which the eye gathers light
WIDEST_DEGREES = 12.0  # over which it gathers a pattern
MOST_CYCLES = 15.0  # of a pattern that it gathers
EFFICIENCY = 0.03  # of a photon that reaches the retina
PHOTONS = 1.2274e6  # a second, square degree and troland, of daylight
NEURAL_NOISE = 3e-8  # seconds times square degrees
INHIBITED_BELOW = 7.0  # cycles a degree
LEAST, MOST = 1e-6, 1e6  # of an eye's own numbers; beyond, what it sees is zero or infinite
BLUR_DEGREES, BLUR_DEGREES_PER_MM = 0.5 / 60, 0.08 / 60  # of a point; the second for each mm of pupil


@dataclass(frozen=True, kw_only=True)
class Eye:
    """Who looks, in what light.

    Attributes
    ----------
    field : width of the field that is looked at [degrees]
    trolands : light on the retina; 60 is a wall of about 20 cd/m2 through a pupil of 2 mm
    pupil : its diameter [mm]
    times : how many times as strong as what is just seen a pattern must be to count as seen
    """

    field: float = 20.0
    trolands: float = 60.0
    pupil: float = 2.1
    times: float = 1.0

    def __post_init__(self) -> None:
        for name in ("field", "trolands", "pupil", "times"):
            value = getattr(self, name)
            if not LEAST <= value <= MOST:
                raise ArgumentError(
                    "out of range", column=name, value=str(value), expected=f"a number from {LEAST:g} to {MOST:g}"
                )


def contrast_sensitivity(cycles: ArrayLike, eye: Eye | None = None) -> Floats:
    """One over the contrast of a pattern of stripes that is just seen [-].

    Parameters
    ----------
    cycles : [...] cycles per degree, from 0; of 0, which is no pattern, the eye sees nothing
    eye : who looks; its ``times`` has no part in it

    Returns
    -------
    [...] : contrast is half of the difference between light and dark over their mean

    Examples
    --------
    >>> [f"{100 / one:.1f} %" for one in contrast_sensitivity([0.064, 0.129, 0.258])]
    ['2.5 %', '1.2 %', '0.6 %']
    """
    eye = eye or Eye()
    u = np.asarray(cycles, dtype=np.float64)
    blur = math.hypot(BLUR_DEGREES, BLUR_DEGREES_PER_MM * eye.pupil)
    optics = np.exp(-2 * (math.pi * blur * u) ** 2)
    gathered = 1 / eye.field**2 + 1 / WIDEST_DEGREES**2 + (u / MOST_CYCLES) ** 2
    with np.errstate(divide="ignore"):
        inhibited = NEURAL_NOISE / -np.expm1(-((u / INHIBITED_BELOW) ** 2))
    noise = 1 / (EFFICIENCY * PHOTONS * eye.trolands) + inhibited
    return np.asarray(optics / SIGNAL_TO_NOISE / np.sqrt(2 / SECONDS * gathered * noise))


def cycles_per_degree(wavelength: ArrayLike, distance: float) -> Floats:
    """How fine a wave [mm] looks from a distance [mm]: cycles in the middle degree of what is seen."""
    return np.asarray(distance * math.tan(math.radians(1)) / np.asarray(wavelength, dtype=np.float64))
