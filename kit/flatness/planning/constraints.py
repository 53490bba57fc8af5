"""The terms of the work: what it costs, how deep it may go, which spots stay where they are, and how they clash."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.sparse import coo_array, csr_array

from flatness.arrays import Floats
from flatness.errors import ArgumentError, PlanError, Problem
from flatness.lengths import MM2_PER_FT2, MM3_PER_FT3
from flatness.notes import Note, joined
from flatness.planning.volumes import node_areas
from flatness.surface.lattice import REACH, Surface

MM_PER_FT = 304.8
FAR_PLANE_MM = 101.6  # a level plane no farther above or below all of the surface: sleepers, strapping; no source
SLIPS_MM = (MM_PER_FT, -MM_PER_FT, 1000.0, -1000.0, 100.0, -100.0, 25.4, -25.4)  # by which people misread a tape
FAR_MM = 25.4  # a finished height no farther off the surface is never questioned; common practice, no source
SHOWN_MM = 1e-5  # a relaxation smaller than this is binary noise


@dataclass(frozen=True)
class Rates:
    """What the work costs, in any one unit of money or effort; the defaults are hours, common practice, no source.

    Attributes
    ----------
    off, add : how many times as dear taking off is, and adding
    place : of each place that is worked on: setting up, chalking, masking, cleaning
    area : of working over the ground [per mm2]
    volume : of what is taken off or added [per mm3]
    length : of setting a joist, stud or strap [per mm]
    crossing : of each place where strapping is shimmed
    unit : of all of these, as it is shown
    """

    off: float = 1.0
    add: float = 1.0
    place: float = 0.75
    area: float = 0.06 / MM2_PER_FT2
    volume: float = 2.0 / MM3_PER_FT3
    length: float = 0.2 / MM_PER_FT
    crossing: float = 0.1
    unit: str = "h"

    def __post_init__(self) -> None:
        for name, value in (("off", self.off), ("add", self.add)):
            if not (math.isfinite(value) and value > 0):
                what = f"rate for {'taking off' if name == 'off' else 'adding'} out of range"
                remedy = "to rule one out, set its deepest depth to zero"
                raise ArgumentError(what, value=str(value), expected="a number above zero", remedy=remedy)
        for name in ("place", "area", "volume", "length", "crossing"):
            value = getattr(self, name)
            if not (math.isfinite(value) and value >= 0):
                raise ArgumentError(
                    f"rate for {name} out of range", column=name, value=str(value), expected="a number, 0 or more"
                )

    def work(self, sign: float, area: float, volume: float) -> float:
        """Of one place: planed where ``sign`` is negative; ground [mm2] and what moves [mm3]."""
        return self.place + (self.off if sign < 0 else self.add) * (self.area * area + self.volume * abs(volume))

    def cost(self, area: Floats, change: Floats) -> float:
        """Rates x area [n] mm2 x change [n] mm."""
        return float(area @ (self.add * np.maximum(change, 0) + self.off * np.maximum(-change, 0)))


@dataclass(frozen=True)
class Depths:
    """The deepest allowed cut and fill [mm], zero or more: a number, or [ny, nx] where it differs by place."""

    cut: ArrayLike = math.inf
    fill: ArrayLike = math.inf

    def at(self, surface: Surface) -> tuple[Floats, Floats]:
        """Deepest cut and fill [mm] at the nodes that have a height, as two flat arrays."""
        both = []
        for name, value in (("cut", self.cut), ("fill", self.fill)):
            depth = np.asarray(value, dtype=np.float64)
            if depth.ndim and depth.shape != surface.height.shape:
                raise ArgumentError(
                    f"the deepest {name} has the wrong shape",
                    value=str(depth.shape),
                    expected=f"one number, or one for each node, {surface.height.shape}",
                )
            depth = np.broadcast_to(depth, surface.height.shape)[surface.inside]
            if not (depth >= 0).all():
                raise ArgumentError(f"the deepest {name} is below zero or missing", expected="millimetres, 0 or more")
            both.append(depth)
        return both[0], both[1]


@dataclass(frozen=True)
class FixedSpot:
    """A spot whose finished height is given: a door sill, a hearth, a nosing, a threshold.

    Attributes
    ----------
    x, y : where [mm]
    height : finished height there [mm]; None leaves it as found
    allowance : how far the finished height may be off it, either way [mm]
    name : as it is called in messages
    meant : whether its user means a height that is far off the surface
    """

    x: float
    y: float
    height: float | None = None
    allowance: float = 0.0
    name: str = ""
    meant: bool = False

    def __post_init__(self) -> None:
        for name, value in (("x", self.x), ("y", self.y), ("height", self.height or 0.0)):
            if not math.isfinite(value):
                raise ArgumentError(f"{name} of a fixed spot is not a finite number", value=str(value), expected="mm")
        if not (math.isfinite(self.allowance) and self.allowance >= 0):
            raise ArgumentError("allowance out of range", value=str(self.allowance), expected="millimetres, 0 or more")

    def __str__(self) -> str:
        return Note("spot", name=self.name or "the spot", at=(self.x, self.y))


@dataclass(frozen=True)
class Binding:
    """A term that the plan meets with nothing to spare, so that it costs.

    Attributes
    ----------
    term : ``fixed spot``, ``deepest cut`` or ``deepest fill``
    at : (x, y) [mm]
    name : of the spot, empty for a depth
    """

    term: str
    at: tuple[float, float]
    name: str = ""


def spot_rows(surface: Surface, spots: Sequence[FixedSpot]) -> csr_array:
    """[spots, nodes that have a height] weights that give the surface's height at each spot.

    Bilinear between the four nodes around it; where some of those are missing, as at the foot of a wall, the mean of
    the others, else the nearest node no more than two lattice steps away.

    Raises
    ------
    PlanError : a spot farther off the surface
    """
    x, y = np.array([(spot.x, spot.y) for spot in spots], dtype=np.float64).reshape(-1, 2).T
    nodes, weights = surface.corners(x, y, surface.inside)
    for spot, weight in zip(spots, weights, strict=True):
        if np.isnan(weight[0]):
            raise PlanError(
                f"{spot.name or 'a spot'} is not on the surface",
                value=Note("place", at=(spot.x, spot.y)),
                expected=Note("near-readings", reach=REACH * surface.spacing),
                remedy="check its place (x, then y), or read a line of stations up to it",
            )
    row, corner = np.nonzero(weights)
    entries = weights[row, corner], (row, nodes[row, corner])
    return csr_array(coo_array(entries, shape=(len(spots), surface.height.size)))[:, np.flatnonzero(surface.inside)]


def spot_heights(surface: Surface, spots: Sequence[FixedSpot]) -> Floats:
    """Finished height of each spot [mm]: as given, or as the surface stands there."""
    heights = np.array([math.nan if spot.height is None else spot.height for spot in spots], dtype=np.float64)
    rows = spot_rows(surface, [spot for spot in spots if spot.height is None])
    heights[np.isnan(heights)] = rows @ surface.height[surface.inside]
    return heights


def check_meant(surface: Surface, spots: Sequence[FixedSpot], beside: bool = False) -> None:
    """Ask about finished heights that are far off the surface, where nobody has said that they are meant.

    Far: more than 1 in, more than the surface's heights differ by, and more than twice what it is uneven about its
    plane; the spot's allowance may make up the rest. Spots ``beside`` the surface may be left out.

    Raises
    ------
    ArgumentError : a spot so far off
    PlanError : a spot that is not on the surface
    """
    x, y, z = surface.nodes()
    design = np.column_stack([np.ones_like(x), x, y])
    left = z - design @ np.linalg.lstsq(design, z, rcond=None)[0]
    most = max(FAR_MM, float(np.ptp(z)), 2 * float(np.ptp(left)))
    given = [spot for spot in spots if spot.height is not None and not spot.meant]
    if beside:
        given = [s for s in given if math.isfinite(surface.at(s.x, s.y, surface.height, beyond="nearest")[0])]
    found = spot_heights(surface, [replace(spot, height=None) for spot in given])
    for spot, there in zip(given, found.tolist(), strict=True):
        off = float(spot.height or 0.0) - there
        if abs(off) - spot.allowance <= most:
            continue
        way, moved = ("above", "raising") if off > 0 else ("below", "lowering")
        volume = abs(off) * float(node_areas(surface.inside, surface.spacing)[surface.inside].sum())
        raise ArgumentError(
            Note("spot-far", spot=str(spot), way=way),
            column="fixed",
            value=Note("exact", mm=spot.height),
            expected=Note("spot-near", most=most, there=there),
            remedy=Note("spot-meant", moved=moved, off=abs(off), volume=volume),
        )


def check_height(surface: Surface, height: float, depths: Depths, clear: float) -> None:
    """Ask about a level plane far above or below all of the surface, unless the depths that are allowed say so.

    Far: more than 4 in from its nearest spot, and than what is kept ``clear`` of it [mm].

    Raises
    ------
    ArgumentError : a plane so far off, with the height that is likely meant
    """
    z = surface.height[surface.inside]
    low, high = float(z.min()), float(z.max())
    way, off, depth = ("fill", height - high, depths.fill) if height > high else ("cut", low - height, depths.cut)
    most = max(FAR_PLANE_MM, clear + FAR_MM)
    if off <= most or off <= float(np.max(depth)) < math.inf:
        return
    near = [v for v in (-height, *(height + slip for slip in SLIPS_MM)) if low - FAR_MM <= v <= high + FAR_MM]
    raise ArgumentError(
        Note("plane-far", way="above" if height > high else "below"),
        column="height",
        value=Note("exact", mm=height),
        expected=Note("plane-near", most=most, low=low, high=high),
        remedy=joined([Note("plane-slip", height=near[0]) if near else "", Note("plane-meant", off=off, way=way)]),
    )


def clash(
    what: str,
    spots: Sequence[FixedSpot],
    widened: Sequence[float],
    held: Sequence[bool],
    others: Iterable[tuple[str, float, bool]],
) -> PlanError:
    """The error for terms that cannot all hold.

    Parameters
    ----------
    what : what cannot be, in one sentence without a full stop
    spots : the fixed spots
    widened : by how much more each spot's allowance must be, in the least relaxation of all terms [mm]
    held : whether each spot takes part in the clash
    others : name of a term, by how much it must be wider [mm], whether it takes part
    """
    parties, relaxed = [], []
    named: list[tuple[str, str]] = [(str(s), Note("allowance-of", spot=str(s), allowance=s.allowance)) for s in spots]
    every = [(*names, by, part) for names, by, part in zip(named, widened, held, strict=True)]
    every += [(name, name, by, part) for name, by, part in others]
    for name, allowance, by, part in every:
        if part or by > SHOWN_MM:
            parties.append(name)
        if by > SHOWN_MM:
            # rounded up, so that what is printed is enough
            relaxed.append(Note("widened", what=allowance, by=math.ceil(by * 1000 - 1e-3) / 1000))
    return PlanError(
        Problem(
            Note("clash", what=what, parties=parties) if parties else what,
            expected="terms that one surface can meet",
            remedy=Note("widen", relaxed=relaxed) if relaxed else "widen a term",
        )
    )
