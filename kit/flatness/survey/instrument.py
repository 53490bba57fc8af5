"""Readings from several set-ups of an instrument, tied by benchmarks and by points that they share.

Each reading, as a height, is one observation: height of its point = offset of its set-up + reading, and, where the
ties show that the instrument was out of level, + tilt_x x + tilt_y y. Benchmarks are held.

The readings of several set-ups as one set of equations, and which of the set-ups were out of level.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import chdtrc, fdtrc

from flatness.arrays import Floats
from flatness.errors import ArgumentError, check_choice
from flatness.survey.least_squares import (
    PERFECT_MM,
    SNOOPING_LEVEL,
    Ends,
    Point,
    Solution,
    find_blunders,
    groups_apart,
    independent_loops,
    solve,
    standardised,
)
from flatness.survey.levelling import (
    SETUP_COLUMNS,
    Adjustment,
    chance_of,
    known_heights,
    listed,
    misclosure_table,
    residual_table,
    unit_spreads,
)

TILTS = ("auto", "estimate", "none")
MM_PER_M = 1000.0
# a tilt is taken up only where its own error moves no reading of the set-up by more than this many reading errors;
# common practice, no source
MOST_ERROR = 3.0


@dataclass(eq=False, kw_only=True)
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
        )
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
    return Network(
        setups=setups,
        setup=setup,
        point=point,
        group=group,
        observed=observed,
        x=x,
        y=y,
        origin=origin,
        benchmarks_read=on_benchmark,
        held=held,
    )


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
    check_choice("tilt", tilt, TILTS, "unknown way to treat tilt")
    if error is not None and not 0 < error < math.inf:
        raise ArgumentError("the error must be above zero", value=str(error), expected="one standard deviation [mm]")
    known = known_heights(benchmarks)
    network = network_of(readings, known)
    ends: Ends = [(SetupNode(network.setups[j]), p) for j, p in zip(network.setup, network.point, strict=True)]
    fixed: list[Point] = [*known, *([] if network.held is None else [SetupNode(network.setups[network.held])])]
    for group in groups_apart(ends, fixed):
        names = [node.name for node in group if isinstance(node, SetupNode)]
        what = f"set-ups {listed(names)} share no benchmark and no point with the rest"
        expected = "from every set-up a benchmark, or a point that another set-up reads too"
        raise ArgumentError(what, expected=expected, remedy="read a benchmark or a shared point from one of them")
    choose_tilts(network, tilt, error)
    solution = network.solve(network.tilted)
    assert solution is not None  # every set-up hangs on what is held, and tilts are added only where determined
    return _adjustment(network, solution, readings, known, ends, fixed, error)


def _adjustment(
    network: Network,
    solution: Solution,
    readings: pd.DataFrame,
    known: Mapping[Any, float],
    ends: Ends,
    fixed: list[Point],
    error: float | None,
) -> Adjustment:
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
        heights=heights,
        errors=errors,
        misclosures=misclosure_table(
            independent_loops(ends, fixed), reading + tilt, {**known, **held}, unit_spreads(weight, error)
        ),
        m0=solution.m0,
        redundancy=solution.redundancy,
        residuals=residual_table(
            readings[["setup", "point", "height"]].reset_index(drop=True), solution.turned(), weight, error, found
        ),
        setups=_setup_table(network, solution, unit),
        stated=error,
        chance=chance_of(solution, error),
    )


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
