"""Readings from several set-ups of an instrument, tied by benchmarks and by points that they share.

Each reading, as a height, is one observation: height of its point = offset of its set-up + reading, and, where the
ties show that the instrument was out of level, + tilt_x x + tilt_y y. Benchmarks are held.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from flatness.errors import ArgumentError
from flatness.survey.adjustment import (
    SETUP_COLUMNS,
    Adjustment,
    chance_of,
    misclosure_table,
    residual_table,
    unit_spreads,
)
from flatness.survey.least_squares import Solution, find_blunders
from flatness.survey.levelling import known_heights, listed
from flatness.survey.network import Ends, Point, groups_apart, independent_loops
from flatness.survey.readings import Floats
from flatness.survey.tilts import TILTS, Network, choose_tilts, network_of


@dataclass(frozen=True, order=True)
class SetupNode:
    """A set-up as a point of the network: the height of its instrument."""

    name: str

    def __str__(self) -> str:
        return f"set-up {self.name or '(no name)'}"


def adjust_setups(
    readings: pd.DataFrame, benchmarks: Mapping[Any, float], *, error: float | None = None, tilt: str = "auto"
) -> Adjustment:
    """Heights of points read from several set-ups, the offset of each set-up, and its tilt where the ties allow.

    Parameters
    ----------
    readings : DataFrame, one row a reading: ``setup``, ``point`` (a label) and ``height`` (the reading as a height,
        so minus a drop) [mm]; optionally ``x`` and ``y`` [mm], NaN where not known
    benchmarks : known height [mm] by point; if none is read, the first set-up is held at offset zero
    error : one standard deviation of one reading [mm], or None
    tilt : ``none``; ``estimate`` for every set-up where the ties determine it; ``auto`` only where it is beyond
        chance at 0.1 %, where no single blunder explains as much, and where its error moves no reading by more
        than three reading errors. Tilts need places of all readings of the set-up. Where the ties say only that two
        set-ups are tilted against one another, the one that reads more benchmarks, or comes first, is taken as level

    Returns
    -------
    Adjustment : unit weight is one reading, so m0 is the standard deviation of a reading [mm]; the points of its
        misclosures are the set-ups too

    Raises
    ------
    ArgumentError : readings that cannot be used, or set-ups that share nothing with the rest

    Examples
    --------
    >>> import pandas as pd
    >>> readings = pd.DataFrame({"setup": ["1", "1", "2"], "point": ["A", "P", "P"], "height": [5.0, 7.0, -1.0]})
    >>> adjust_setups(readings, {"A": 100.0}).setups["offset"].to_dict()
    {'1': 95.0, '2': 103.0}
    """
    if tilt not in TILTS:
        raise ArgumentError("unknown way to treat tilt", value=str(tilt), expected=", ".join(TILTS))
    if error is not None and not 0 < error < math.inf:
        raise ArgumentError("the error must be above zero", value=str(error), expected="one standard deviation [mm]")
    known = known_heights(benchmarks)
    network = network_of(readings, known)
    ends: Ends = [(SetupNode(network.setups[j]), p) for j, p in zip(network.setup, network.point, strict=True)]
    fixed: list[Point] = [*known, *([] if network.held is None else [SetupNode(network.setups[network.held])])]
    for group in groups_apart(ends, fixed):
        names = [node.name for node in group if isinstance(node, SetupNode)]
        raise ArgumentError(
            f"set-ups {listed(names)} share no benchmark and no point with the rest",
            expected="from every set-up a benchmark, or a point that another set-up reads too",
            remedy="read a benchmark or a shared point from one of them",
        )  # fmt: skip
    choose_tilts(network, tilt, error)
    solution = network.solve(network.tilted)
    assert solution is not None  # every set-up hangs on what is held, and tilts are added only where determined
    return _adjustment(network, solution, readings, known, ends, fixed, error)


def _adjustment(
    network: Network, solution: Solution, readings: pd.DataFrame, known: Mapping[Any, float],
    ends: Ends, fixed: list[Point], error: float | None,
) -> Adjustment:  # fmt: skip
    weight = np.ones(len(network.setup))
    unit = solution.m0 if error is None else error
    design = network.design(network.tilted)
    reading = readings["height"].to_numpy(dtype=np.float64)
    first = len(network.offsets)
    tilt = design[:, first:] @ solution.unknowns[first:]

    def solve_with(weights: Floats) -> Solution | None:
        again = network.solve(network.tilted, weights)
        return None if again is None else again.turned()

    found = find_blunders(solve_with, weight, error)
    heights, errors = _heights(network, solution, design, design @ solution.unknowns + reading, known, unit)
    held = {node: 0.0 for node in fixed if isinstance(node, SetupNode)}
    return Adjustment(
        heights=heights, errors=errors,
        misclosures=misclosure_table(
            independent_loops(ends, fixed), reading + tilt, {**known, **held}, unit_spreads(weight, error)
        ),
        m0=solution.m0, redundancy=solution.redundancy,
        residuals=residual_table(
            readings[["setup", "point", "height"]].reset_index(drop=True), solution.turned(), weight, error, found
        ),
        setups=_setup_table(network, solution, unit), stated=error, chance=chance_of(solution, error),
    )  # fmt: skip


def _heights(
    network: Network, solution: Solution, design: Floats, single: Floats, known: Mapping[Any, float], unit: float
) -> tuple[pd.Series[float], pd.Series[float]]:
    """Height and error of each point: the mean of its readings, each brought to the datum."""
    free = network.group >= 0
    group = network.group[free]
    count = np.bincount(group)
    height = np.bincount(group, weights=single[free]) / np.maximum(count, 1)
    lever = np.zeros((len(count), design.shape[1]))
    np.add.at(lever, group, design[free])
    lever /= np.maximum(count, 1)[:, None]
    cofactor = 1 / np.maximum(count, 1) + np.einsum("ij,jk,ik->i", lever, solution.cofactors, lever)
    points = list(dict.fromkeys(network.point))
    number = dict(zip((network.point[i] for i in np.flatnonzero(free)), group.tolist(), strict=True))
    heights = {p: float(height[number[p]]) if p in number else known[p] for p in points}
    errors = {p: unit * math.sqrt(cofactor[number[p]]) if p in number else 0.0 for p in points}
    return pd.Series(heights, dtype=np.float64, name="height"), pd.Series(errors, dtype=np.float64, name="error")


def _setup_table(network: Network, solution: Solution, unit: float) -> pd.DataFrame:
    numbers = np.full((len(network.setups), len(SETUP_COLUMNS) - 1), np.nan)
    numbers[:, :2] = 0.0
    numbers[:, 6:] = network.origin
    spread = unit * np.sqrt(np.diag(solution.cofactors))
    for k, j in enumerate(network.offsets):
        numbers[j, :2] = solution.unknowns[k], spread[k]
    for k, j in enumerate(network.tilted):
        first = len(network.offsets) + 2 * k
        numbers[j, 2:6] = *solution.unknowns[first : first + 2], *spread[first : first + 2]
    index = pd.Index(network.setups, name="setup")
    others = [tuple(network.setups[k] for k in network.or_else.get(j, ())) for j in range(len(network.setups))]
    table = pd.DataFrame(numbers, index=index, columns=list(SETUP_COLUMNS[:-1]))
    return table.assign(or_else=pd.Series(others, index=index, dtype=object))
