"""Before any survey: how wide a grid of readings will do for a limit, by simulation over typical surfaces.

It stands among the limits because it gives verdicts, as :mod:`flatness.limits.verdict` does, on rooms that it makes up:
random surfaces of the kind that :mod:`flatness.surface.fitting` takes a floor, wall or ceiling for (Matern 5/2
correlation, lengths about 5 ft), whose worst place uses up from a quarter of the limit to four times the limit. Each is
read on each grid with the error stated, surfaces that the readings allow are drawn and measured, and the verdicts are
counted. The surfaces drawn share the rooms' own parameters, weighed by their restricted likelihood, so that each grid's
covariances are factored once for all rooms.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from flatness.errors import ArgumentError, LimitError
from flatness.limits.catalogue import find
from flatness.limits.kinds import SURFACES, Limit
from flatness.limits.measuring import FIXED_BASES, LEAST_STEPS, Subject, measure_draws
from flatness.limits.verdict import UNDECIDED
from flatness.surface.fitting import LENGTH_MM, LENGTH_SPREAD, RATIO_SPREAD
from flatness.surface.kriging import Parameters
from flatness.surface.lattice import make_surface
from flatness.surface.many import Posterior, posteriors, random_surface
from flatness.survey.readings import Floats, make_survey
from flatness.survey.sheets import grid_positions

FOOT_MM = 304.8
STEPS_MM = {
    "in": tuple(feet * FOOT_MM for feet in (1.0, 1.5, 2.0, 3.0, 4.0, 6.0)),
    "mm": (250.0, 300.0, 500.0, 600.0, 1000.0, 1500.0),
}
TARGET = 0.30  # most chance of ending undecided that a recommended grid may have
REACH = 4.0  # true surfaces use up from a quarter of the limit to four times the limit
"""
