"""The readings of several set-ups as one set of equations, and which of the set-ups were out of level."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import chdtrc, fdtrc

from flatness.errors import ArgumentError
from flatness.survey.least_squares import PERFECT_MM, SNOOPING_LEVEL, Solution, solve, standardised
from flatness.survey.readings import Floats

TILTS = ("auto", "estimate", "none")
MM_PER_M = 1000.0
# a tilt is taken up only where its own error moves no reading of the set-up by more than this many reading errors;
# common practice, no source
MOST_ERROR = 3.0


@dataclass(eq=False)
class Network:
    """Readings as arrays, numbered from 0, and which of the set-ups have a tilt.

    Attributes
    ----------
    setups : names
    setup, point, group : set-up, label and free height (-1 on a benchmark) of each reading
    observed : what its set-up and tilt are to explain [mm]
    x, y : its place [mm], or NaN
    origin : [set-ups, 2] mean place of the readings that tie each set-up
    benchmarks_read : how many each set-up reads
    held : the set-up whose offset is held at zero where no benchmark is read
    tilted : set-ups whose tilt is estimated, in the order they were chosen
    or_else : of each of them, the set-ups that explain as much in its place
    """

    setups: list[str]
    setup: NDArray[np.int64]
    point: list[Hashable]
    group: NDArray[np.int64]
    observed: Floats
    x: Floats
    y: Floats
    origin: Floats
    benchmarks_read: NDArray[np.int64]
    held: int | None
    tilted: list[int] = field(default_factory=list)
    or_else: dict[int, tuple[int, ...]] = field(default_factory=dict)

    def design(self, tilted: Sequence[int]) -> Floats:
        """[n, u]: an offset for each set-up but the held one, then two tilts [mm/m] for each tilted one."""
        columns = [(self.setup == j).astype(float) for j in self.offsets]
        for j in tilted:
            here = self.setup == j
            columns += [
                np.where(here, (at - self.origin[j, k]) / MM_PER_M, 0.0) for k, at in enumerate((self.x, self.y))
            ]
        return np.column_stack(columns) if columns else np.zeros((len(self.setup), 0))

    @property
    def offsets(self) -> list[int]:
        return [j for j in range(len(self.setups)) if j != self.held]

    def solve(self, tilted: Sequence[int], weight: Floats | None = None) -> Solution | None:
        weight = np.ones(len(self.setup)) if weight is None else weight
        return solve(self.design(tilted), self.observed, weight, self.group)


def network_of(readings: pd.DataFrame, known: Mapping[Any, float]) -> Network:
    """The equations of these readings, or the error that says what is wrong with them."""
    missing = [name for name in ("setup", "point", "height") if name not in readings]
    if missing or not len(readings):
        raise ArgumentError(
            f"the readings have no column {' and '.join(missing)}" if missing else "there are no readings",
            expected="setup, point and height [mm], one row a reading",
        )  # fmt: skip
    height = readings["height"].to_numpy(dtype=np.float64)
    if not np.isfinite(height).all():
        raise ArgumentError("a reading is not a finite number", expected="millimetres", remedy="leave it out")
    point: list[Hashable] = readings["point"].tolist()
    setups = list(dict.fromkeys(readings["setup"].tolist()))
    setup = np.array([setups.index(name) for name in readings["setup"]], dtype=np.int64)
    free = {p: k for k, p in enumerate(dict.fromkeys(p for p in point if p not in known))}
    group = np.array([free.get(p, -1) for p in point], dtype=np.int64)
    x, y = (
        readings[name].to_numpy(dtype=np.float64) if name in readings else np.full(len(point), np.nan)
        for name in ("x", "y")
    )
    # height of the point - reading = offset + tilt: what is observed is minus the reading where the height is free
    observed = np.array([known.get(p, 0.0) for p in point]) - height
    count = np.bincount(group[group >= 0], minlength=len(free) + 1)
    ties = (group < 0) | (count[group] > 1)
    origin = np.zeros((len(setups), 2))
    for j in range(len(setups)):
        for k, at in enumerate((x, y)):
            here = at[(setup == j) & ties & np.isfinite(at)]
            origin[j, k] = here.mean() if len(here) else 0.0
    on_benchmark = np.bincount(setup[group < 0], minlength=len(setups))
    held = None if on_benchmark.any() else 0
    return Network(setups, setup, point, group, observed, x, y, origin, on_benchmark, held)


def choose_tilts(network: Network, tilt: str, error: float | None) -> None:
    """Add tilts one set-up at a time, the one that explains most first."""
    placed = np.isfinite(network.x) & np.isfinite(network.y)
    candidates = [j for j in range(len(network.setups)) if placed[network.setup == j].all()]
    while tilt != "none":
        base = network.solve(network.tilted)
        assert base is not None
        options = {}
        for j in candidates:
            solution = None if j in network.tilted else network.solve([*network.tilted, j])
            if solution is not None and (tilt == "estimate" or _may_correct(network, j, solution)):
                options[j] = solution
        if not options:
            return
        gain = {j: base.pvv - solution.pvv for j, solution in options.items()}
        most = max(gain.values())
        alike = [j for j in options if gain[j] >= most - 1e-6 * abs(most)]
        j = min(alike, key=lambda j: (network.benchmarks_read[j], -j))
        if tilt == "auto" and not _is_beyond_chance(base, options[j], error):
            return
        network.tilted.append(j)
        network.or_else[j] = tuple(other for other in alike if other != j)


def _may_correct(network: Network, j: int, solution: Solution) -> bool:
    """Whether this tilt's own error moves no reading of the set-up by more than three reading errors."""
    here = np.flatnonzero(network.setup == j)
    plane = network.design([*network.tilted, j])[here]
    error = np.sqrt(np.einsum("ij,jk,ik->i", plane[:, -2:], solution.cofactors[-2:, -2:], plane[:, -2:]))
    return bool(error.max() <= MOST_ERROR)


def _is_beyond_chance(base: Solution, tilted: Solution, error: float | None) -> bool:
    gain = base.pvv - tilted.pvv
    if math.sqrt(max(gain, 0.0)) <= PERFECT_MM or tilted.redundancy < 1:
        return False
    weight = np.ones(len(base.residuals))
    one_blunder = np.nan_to_num(standardised(base, weight, 1.0)) ** 2
    if one_blunder.max() >= gain * (1 - 1e-6):
        return False
    if error is not None:
        return bool(chdtrc(2, gain / error**2) < SNOOPING_LEVEL)
    ratio = gain / 2 / max(tilted.pvv / tilted.redundancy, PERFECT_MM**2)
    return bool(fdtrc(2, tilted.redundancy, ratio) < SNOOPING_LEVEL)
