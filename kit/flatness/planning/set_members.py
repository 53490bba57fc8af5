"""Ways that set framing: every member to one plane, some members only, and a layer over all to one plane.

A member is straight, so a surface on members is a weighted sum of two heights a member, and each requirement is
a row of a small linear program.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import maximum_filter, minimum_filter
from scipy.optimize import linprog
from scipy.sparse import csr_array

from flatness.arrays import Floats
from flatness.errors import MeasureError, PlanError
from flatness.framing.members import Members, member_layout
from flatness.framing.profiles import Track, member_tracks
from flatness.measures.bars import Requirement, broken_placements, rows_of
from flatness.notes import Note, joined
from flatness.planning.constraints import Depths, FixedSpot, spot_heights, spot_rows
from flatness.planning.program import Program
from flatness.planning.set_heights import Work
from flatness.planning.substrate import Beneath, permitted_cut
from flatness.surface.lattice import Surface, UnrolledStep
from flatness.survey.readings import Survey

PLANES = ("level", "best-plane", "through-benchmarks", "end-members")
STRAP_SPACING_MM = 406.4  # 16 in, where no strapping is named; common practice, no source
LEAST_RAISE_MM = 25.4 / 64  # a member that is raised by less stays
MARGIN_MM = 1e-6
SPOT_MARGIN_MM = 1e-4
MOST_ROUNDS = 60
REWEIGHTINGS = 3
WORST = 3  # placements a node that enter in one round

Lines = dict[str, tuple[float, float]]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Framed:
    """Members, or a layer, set to heights.

    Attributes
    ----------
    work : the heights that the surface comes to
    lines : of each member that is set: height at station 0 [mm], slope
    members, crossing : what is set, and what strapping crosses
    notes : what the reader must know
    """

    work: Work
    lines: Lines
    members: Members | None
    crossing: Members | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class Frame:
    """Members over a surface: their tops as read, how much may come off them, and how they carry the surface.

    Attributes
    ----------
    surface, members : as they are
    tracks : those that were read at two stations or more, in the order of their positions
    across, along, top : [k] position, station [mm] and height [mm] of every knot of these
    may, room : [k] mm that may come off there, and how far it may be raised
    owner : [k] which track each knot is of
    reached : [ny, nx] nodes that the members carry
    """

    surface: Surface
    members: Members
    tracks: tuple[Track, ...]
    across: Floats
    along: Floats
    top: Floats
    may: Floats
    room: Floats
    owner: NDArray[np.intp]
    reached: NDArray[np.bool_]

    @classmethod
    def of(
        cls,
        surface: Surface,
        survey: Survey,
        members: Members,
        beneath: Sequence[Beneath],
        deepest_plane: float,
        depths: Depths,
        crossing: Members | None = None,
    ) -> Frame:
        """The frame of these members; ``depths`` are the user's own.

        Raises
        ------
        PlanError : fewer than two members that were read
        """
        as_found = SimpleNamespace(surface=surface, survey=survey, change=np.where(surface.inside, 0.0, np.nan))
        crossings = crossing.positions if crossing is not None else None
        known = [track for track in member_tracks(as_found, members, None, crossings) if track.known]
        if len(known) < 2:
            what = "fewer than two of the members were read"
            remedy = "check the positions and the direction of the layout"
            raise PlanError(what, value=str(len(known)), expected="readings on two or more", remedy=remedy)
        known.sort(key=lambda track: track.position)
        across = np.concatenate([np.full(len(track.knots), track.position) for track in known])
        along = np.concatenate([track.knots for track in known])
        top = np.concatenate([track.knot_top for track in known])
        owner = np.concatenate([np.full(len(track.knots), i, dtype=np.intp) for i, track in enumerate(known)])
        gx, gy = np.meshgrid(surface.x, surface.y)
        s, p = members.xy(gx, gy)
        positions = [track.position for track in known]
        room = max(float(np.diff(positions).max()), surface.spacing) + 1e-6
        reached = surface.inside & (p >= positions[0] - room) & (p <= positions[-1] + room)
        room = surface.spacing + 1e-6
        reached &= (s >= min(t.start for t in known) - room) & (s <= max(t.end for t in known) + room)
        x, y = members.xy(along, across)
        cut = _may_come_off(surface, members, beneath, deepest_plane)
        may, raised = (_least_beside(surface, depth, x, y) for depth in (np.minimum(cut, depths.cut), depths.fill))
        return cls(
            surface=surface,
            members=members,
            tracks=tuple(known),
            across=across,
            along=along,
            top=top,
            may=may,
            room=raised,
            owner=owner,
            reached=reached,
        )

    @property
    def positions(self) -> Floats:
        """[tracks] mm across the members."""
        return np.array([track.position for track in self.tracks])

    def xy(self, along: Floats, across: Floats) -> tuple[Floats, Floats]:
        """x and y [mm] of stations along members at positions across them."""
        return self.members.xy(along, across)

    def work(self, height: Floats, error: float) -> Work:
        """Heights [ny, nx] mm with the errors of setting members: at their ends, straight between."""
        ends = np.array([self.along.min(), self.along.max()])
        x, y = self.members.xy(ends, self.positions)
        return Work(height, error=error, across=x, along=y)


def to_one_plane(
    frame: Frame, survey: Survey, plane: str, fixed: Sequence[FixedSpot], height: float | None, error: float
) -> Framed:
    """Every member set to one plane, raised as little as can be, and no more comes off than may.

    Parameters
    ----------
    frame : the members
    survey : the readings
    plane : ``level`` (plumb on a wall), ``best-plane``, ``through-benchmarks``, or ``end-members``: the two end
        members are set, and a string between them gives all others
    fixed : spots whose finished height is given
    height : of the level plane [mm]; None: as low as may be
    error : of setting a height [mm]

    Raises
    ------
    MeasureError : a level plane of a survey off a string
    PlanError : no such plane meets the fixed spots and what may come off
    """
    surface = frame.surface
    if plane == "level" and not surface.is_level:
        raise _no_level(surface)
    gx, gy = np.meshgrid(surface.x, surface.y)
    basis = _Basis.of(plane if len(fixed) != 1 or plane != "through-benchmarks" else "level", frame)
    found = _lowest(
        basis,
        frame.xy(frame.along, frame.across),
        frame.top - frame.may,
        frame.top + frame.room,
        surface,
        fixed,
        height,
    )
    target = np.where(frame.reached, basis.at(gx, gy) @ found, np.nan)
    lines: Lines = {}
    for track in frame.tracks:
        at = np.array([0.0, 1.0])
        low, high = basis.at(*frame.xy(at, np.full(2, track.position))) @ found
        lines[track.name] = (float(low), float(high - low))
    notes = []
    if plane == "end-members":
        first, last = frame.tracks[0].name, frame.tracks[-1].name
        notes.append(Note("ends-first", first=first, last=last))
    return Framed(frame.work(target, error), lines, frame.members, notes=tuple(notes))


@dataclass(frozen=True, eq=False)
class _Basis:
    """A surface as a weighted sum of what is free in it; u and v are about one at most over the members."""

    kind: str
    x0: float
    y0: float
    size: float

    @classmethod
    def of(cls, kind: str, frame: Frame) -> _Basis:
        return cls.over(kind, *frame.xy(frame.along, frame.across))

    @classmethod
    def over(cls, kind: str, x: Floats, y: Floats) -> _Basis:
        return cls(kind, float(x.mean()), float(y.mean()), max(float(np.ptp(x)), float(np.ptp(y)), 1.0) / 2)

    def at(self, x: Floats, y: Floats) -> Floats:
        """[..., free] weights at places [mm]."""
        one, u, v = np.ones_like(x, dtype=np.float64), (x - self.x0) / self.size, (y - self.y0) / self.size
        columns = {"level": (one,), "end-members": (one, u, v, u * v)}.get(self.kind, (one, u, v))
        return np.stack(columns, axis=-1)


def _lowest(
    basis: _Basis,
    places: tuple[Floats, Floats],
    least: Floats,
    most: Floats,
    surface: Surface,
    fixed: Sequence[FixedSpot],
    height: float | None,
) -> Floats:
    """What is free in the lowest surface that is nowhere under ``least`` [n] nor over ``most`` [n] mm."""
    middle, bounded = float(least.mean()), np.isfinite(most)
    rows, ends = [-basis.at(*places)], [-(least - middle)]
    if bounded.any():
        rows.append(basis.at(*(v[bounded] for v in places)))
        ends.append(most[bounded] - middle)
    wanted = spot_heights(surface, fixed)
    for spot, given in zip(fixed, wanted, strict=True):
        here = basis.at(np.array([spot.x]), np.array([spot.y]))
        room = max(spot.allowance, SPOT_MARGIN_MM)
        rows += [here, -here]
        ends += [np.array([given + room - middle]), np.array([room - given + middle])]
    if height is not None:
        rows += [basis.at(*(v[:1] for v in places)), -basis.at(*(v[:1] for v in places))]
        ends += [np.array([height - middle + MARGIN_MM]), np.array([middle - height + MARGIN_MM])]
    free = rows[0].shape[1]
    found = linprog(
        basis.at(*places).sum(axis=0),
        A_ub=np.vstack(rows),
        b_ub=np.concatenate(ends),
        bounds=[(None, None)] * free,
        method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    if found.x is None:
        names = joined(str(spot) for spot in fixed) or "the height that was given"
        deepest = " and the deepest fill" if bounded.any() else ""
        what = f"no such plane meets the fixed spots{deepest} and what may come off"
        remedy = "widen an allowance or a depth, say what may come off, or take another plane"
        raise PlanError(what, value=names, expected=Note("clears-top", off=float(least.max())), remedy=remedy)
    solution = np.array(found.x)
    solution[0] += middle
    return solution


def some_members(
    frame: Frame, wanted: Sequence[Requirement], headings: int, fixed: Sequence[FixedSpot], error: float
) -> Framed | None:
    """The fewest members whose straight lines make the surface pass, the others as they stand; None where none do.

    Parameters
    ----------
    frame : the members
    wanted : straightedges
    headings : directions in which they lie
    fixed : spots whose finished height is given
    error : of setting a height [mm]
    """
    straight = _Straight(frame, wanted, headings, fixed)
    every, even = np.ones(len(frame.tracks), dtype=bool), np.ones(len(frame.tracks))
    lines = straight.solve(even, every)
    if lines is None:
        return None
    for _ in range(REWEIGHTINGS):
        most = straight.most(lines, every)
        again = straight.solve(most.max() / (most + LEAST_RAISE_MM) if most.any() else even, every)
        if again is None:
            break
        lines = again
    chosen = straight.most(lines, every) > LEAST_RAISE_MM
    if not chosen.any():
        return Framed(frame.work(np.full(frame.surface.height.shape, np.nan), error), {}, frame.members)
    while not chosen.all():
        settled = straight.solve(even, chosen)
        if settled is not None:
            return straight.framed(settled, chosen, error)
        # a run that does not join what stands beside it goes on by a member at either end
        chosen = np.convolve(chosen, np.ones(3), "same") > 0
    return straight.framed(lines, every, error)


class _Straight:
    """Lines of members, two heights each, and the surface that comes to stand on them.

    The height of a node is what it is now, less each set member's share of how the surface stands over it now, plus
    that share of its line; a member that is not set keeps its own.
    """

    def __init__(self, frame: Frame, wanted: Sequence[Requirement], headings: int, fixed: Sequence[FixedSpot]) -> None:
        self.frame, self.wanted, self.headings, self.fixed = frame, wanted, headings, fixed
        surface, self.count = frame.surface, len(frame.tracks)
        self.low, self.high = float(frame.along.min()), float(frame.along.max())
        self.inside, self.z = surface.inside, surface.height[surface.inside]
        gx, gy = np.meshgrid(surface.x, surface.y)
        s, p = frame.members.xy(gx, gy)
        self.share, self.part = self._share(p[self.inside]), (s[self.inside] - self.low) / (self.high - self.low)
        place = frame.xy(np.repeat(s[self.inside], self.count), np.tile(frame.positions, len(self.z)))
        now = surface.at(*place, beyond="nearest").reshape(-1, self.count)
        # in an opening a member is as high as the edge that it carries
        self.now = np.where(np.isnan(now), self.z[:, None], now)
        self.carried = frame.reached[self.inside]
        self.broken: list[tuple[csr_array, Floats]] = []  # placements that broke in one search are rows of the next

    def _share(self, p: Floats) -> Floats:
        """[n, k] of each member in what stands at positions across them [n] mm: straight from one to the next."""
        positions = self.frame.positions
        at = np.clip(p, positions[0], positions[-1])
        first = np.clip(np.searchsorted(positions, at, side="right") - 1, 0, self.count - 2)
        beyond = (at - positions[first]) / (positions[first + 1] - positions[first])
        share, row = np.zeros((len(p), self.count)), np.arange(len(p))
        share[row, first], share[row, first + 1] = 1 - beyond, beyond
        return share

    def _parts(self, chosen: Mask) -> tuple[Floats, Floats]:
        """Heights [n] of the nodes without the chosen members, and their lines' weights in them [n, 2 chosen]."""
        share = np.where(self.carried[:, None], self.share[:, chosen], 0.0)
        kept = self.z - (share * self.now[:, chosen]).sum(axis=1)
        return kept, np.hstack([share * (1 - self.part)[:, None], share * self.part[:, None]])

    def solve(self, rate: Floats, chosen: Mask) -> Floats | None:
        """Heights [2 chosen] mm of their lines at both ends, with the least raising; None where none will do."""
        frame, surface = self.frame, self.frame.surface
        own = chosen[frame.owner]
        number = np.cumsum(chosen) - 1
        part = (frame.along[own] - self.low) / (self.high - self.low)
        size, knots, column = 2 * int(chosen.sum()), int(own.sum()), number[frame.owner[own]]
        middle = float(frame.top.mean())
        on, row = np.zeros((knots, size)), np.arange(knots)
        on[row, column], on[row, size // 2 + column] = 1 - part, part
        reach = np.concatenate([np.gradient(track.knots) for track in frame.tracks])[own]
        cost = np.concatenate([np.zeros(size), reach / reach.max() * rate[frame.owner[own]]])
        program = Program(
            cost,
            cost,
            np.concatenate([np.full(size, -np.inf), -frame.may[own]]),
            np.concatenate([np.full(size, np.inf), frame.room[own]]),
        )
        top = frame.top[own] - middle
        program.add_rows(csr_array(np.hstack([on, -np.eye(knots)])), top, top)
        kept, weights = self._parts(chosen)
        kept = kept + weights.sum(axis=1) * middle

        def add(rows: Any, least: Floats, most: Floats) -> None:
            mine, given = rows @ weights, rows @ kept
            program.add_rows(csr_array(np.hstack([mine, np.zeros((len(mine), knots))])), least - given, most - given)

        if self.fixed:
            room = np.array([max(spot.allowance, SPOT_MARGIN_MM) for spot in self.fixed])
            heights = spot_heights(surface, self.fixed)
            add(spot_rows(surface, self.fixed), heights - room, heights + room)
        for rows, most in self.broken:
            add(rows, np.full(len(most), -np.inf), most)
        allowed = np.array([requirement.allowed for requirement in self.wanted])
        grid = np.full(surface.height.shape, np.nan)
        for _ in range(MOST_ROUNDS):
            solution = program.solve(vertex=True)
            if not solution.feasible:
                return None
            grid[self.inside] = kept + weights @ solution.x[:size]
            broken = broken_placements(grid, surface.spacing, self.wanted, self.headings, WORST, slack=10 * MARGIN_MM)
            if not len(broken):
                return np.asarray(solution.x[:size] + middle)
            rows = rows_of(broken, surface.height.shape, self.headings, surface.spacing)[:, self.inside.ravel()]
            self.broken.append((csr_array(rows), allowed[broken.requirement] - MARGIN_MM))
            add(rows, np.full(len(broken), -np.inf), self.broken[-1][1])
        return None

    def most(self, lines: Floats, chosen: Mask) -> Floats:
        """[k] most that each member is raised, or lowered [mm]; 0 where it is not set."""
        frame, part = self.frame, (self.frame.along - self.low) / (self.high - self.low)
        both = np.zeros((2, self.count))
        both[:, chosen] = lines.reshape(2, -1)
        moved = np.abs(both[0][frame.owner] * (1 - part) + both[1][frame.owner] * part - frame.top)
        return np.array([moved[frame.owner == i].max() if chosen[i] else 0.0 for i in range(self.count)])

    def framed(self, lines: Floats, chosen: Mask, error: float) -> Framed:
        """The surface on the chosen members, at these heights of their lines."""
        kept, weights = self._parts(chosen)
        grid = np.full(self.frame.surface.height.shape, np.nan)
        grid[self.inside] = np.where((weights > 0).any(axis=1), kept + weights @ lines, np.nan)
        found: Lines = {}
        for i, (low, high) in zip(np.flatnonzero(chosen), lines.reshape(2, -1).T, strict=True):
            slope = (high - low) / (self.high - self.low)
            found[self.frame.tracks[i].name] = (float(low - slope * self.low), float(slope))
        return Framed(self.frame.work(grid, error), found, self.frame.members)


def over_all(
    surface: Surface,
    survey: Survey,
    plane: str,
    fixed: Sequence[FixedSpot],
    least: float,
    height: float | None,
    error: float,
    members: Members | None,
    thickness: float,
    crossing: Members | None = None,
    most: ArrayLike = np.inf,
) -> Framed:
    """A layer over the whole surface to one plane, nowhere nearer to it than ``least`` [mm].

    Parameters
    ----------
    surface, survey : as they are
    plane : ``level``, ``best-plane`` or ``through-benchmarks``
    fixed : spots whose finished height is given
    least : from the surface to the plane where it stands highest [mm]: the thinnest pour, or strapping, or what must
        stay clear behind it
    height : of the level plane [mm]; None: as low as may be
    error : of setting a height [mm]
    members : strapping, or what strapping is fixed to and crosses; None for a pour
    thickness : of the strapping [mm]
    crossing : what strapping is fixed to, where ``members`` are strapping
    most : from the surface to the plane anywhere [mm], a number or [ny, nx]

    Raises
    ------
    MeasureError : a level plane of a survey off a string
    PlanError : no such plane
    """
    if plane == "level" and not surface.is_level:
        raise _no_level(surface)
    x, y, z = surface.nodes()
    basis = _Basis.over("level" if plane == "through-benchmarks" and len(fixed) == 1 else plane, x, y)
    deepest = np.broadcast_to(np.asarray(most, dtype=np.float64), surface.height.shape)[surface.inside]
    found = _lowest(basis, (x, y), z + least, z + deepest, surface, fixed, height)
    gx, gy = np.meshgrid(surface.x, surface.y)
    target = np.where(surface.inside, basis.at(gx, gy) @ found, np.nan)
    straps, fixed_to, notes = None, None, []
    if survey.surface != "floor":
        straps = members if members is not None and members.kind == "strapping" else None
        fixed_to = members if straps is None else crossing
        if straps is None and members is not None:
            way = "x" if members.direction == "y" else "y"
            axis = surface.y if way == "x" else surface.x
            straps = member_layout(
                float(axis[0]), STRAP_SPACING_MM, way, until=float(axis[-1]), kind="strapping", thickness=thickness
            )
        notes.append(Note("strapping-face", target="curve" if isinstance(surface.spacing, UnrolledStep) else "plane"))
    return Framed(Work(target, error=error), {}, straps, fixed_to, tuple(notes))


def _no_level(surface: Surface) -> MeasureError:
    what, remedy = "a surface read off a string has no level", "take the best plane, or read again off a level line"
    return MeasureError(what, value=surface.reference, expected="a level or plumb reference", remedy=remedy)


def _may_come_off(surface: Surface, members: Members, beneath: Sequence[Beneath], deepest_plane: float) -> Floats:
    """[ny, nx] mm that may come off the members there: sawn joists within their notch limits, where that was said."""
    if members.engineered or not any(one.may_be_planed for one in beneath):
        return np.zeros(surface.height.shape)
    cut = permitted_cut(surface, beneath, members, deepest_plane).cut
    if members.kind == "sawn joist":
        # whatever lies on them may be planed: to set a joist below its top is to notch it
        own = Beneath(members.kind, may_be_planed=True, most_planed=members.depth)
        cut = np.minimum(cut, permitted_cut(surface, own, members, deepest_plane).cut)
    return cut


def _least_beside(surface: Surface, depth: ArrayLike, x: Floats, y: Floats) -> Floats:
    """[n] mm at places x, y [n] mm: no more than at any node beside it, so that no third of a span is reached into."""
    deep = np.broadcast_to(np.asarray(depth, dtype=np.float64), surface.height.shape)
    least = minimum_filter(np.where(surface.inside, deep, np.inf), size=3, mode="nearest")
    least[~maximum_filter(surface.inside, size=3, mode="nearest")] = 0.0
    column, row = (
        np.clip(np.rint((v - axis[0]) / surface.spacing), 0, len(axis) - 1).astype(np.intp)
        for v, axis in ((x, surface.x), (y, surface.y))
    )
    return np.asarray(least[row, column])
