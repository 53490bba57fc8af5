"""One target for all: planes of floors, ceilings and walls chosen together, by one linear program.

Heights are toward the room: up of a floor, down of a ceiling, into the room of a wall, off its control line. The
variables are three for each plane and what is added at each node; what comes off there follows. Floors and ceilings
level, walls plumb and square or parallel in pairs, are ties between the planes; what must stay clear, and how deep
anything may come off or be added, are rows. The rates weigh what moves, and so decide how far each of two facing
walls goes.

Angles are taken for small: a wall's plane swings by its slope. Walls that stand square or parallel on the plan swing
alike, which is exact; where the lines on the plan are off square themselves it is good to the square of the angle, and
a slope over 1 in 50 is warned of.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import shapely
from scipy.optimize import OptimizeResult, linprog
from scipy.sparse import coo_array, csr_array, hstack, vstack
from scipy.special import ndtri
from shapely import Polygon
from shapely.affinity import rotate

from flatness.arrays import Floats
from flatness.errors import ArgumentError, PlanError, Problem
from flatness.measures.bars import Place
from flatness.notes import Note
from flatness.planning.constraints import FixedSpot
from flatness.planning.patches import THRESHOLDS
from flatness.planning.substrate import permitted_cut
from flatness.planning.volumes import node_areas
from flatness.room.drawn import Drawn
from flatness.room.records import FACING_COS, SETTING_MM, Keep, Room, WallLine
from flatness.surface.lattice import Surface

WALLS = ("square", "parallel", "free")
STEEP = 1 / 50  # a slope beyond which angles are no longer small
BINDS = 1e-9  # a row that costs less than this for each mm binds nothing
SHOWN_MM = 1e-5


@dataclass(frozen=True, eq=False, kw_only=True)
class Target:
    """The plane that one surface is to be brought to.

    Attributes
    ----------
    name, kind : of the surface
    plane : height toward the room at x = 0, y = 0 [mm], and its slope by x and by y [mm/mm] of its own lattice; z of a
        floor, minus z of a ceiling, off the control line into the room of a wall
    change : [ny, nx] mm, what is added (or comes off, below zero) at each node of the surface's lattice
    added, taken : volumes [mm3]
    cost : of these by the surface's rates
    is_left : whether it stays as it is: the plane is its own best one, and nothing is done
    """

    name: str
    kind: str
    plane: tuple[float, float, float]
    surface: Surface = field(repr=False)
    change: Floats = field(repr=False)
    added: float
    taken: float
    cost: float
    is_left: bool = False

    def toward(self, x: float, y: float) -> float:
        """Height toward the room [mm] at a place of the surface."""
        return self.plane[0] + self.plane[1] * x + self.plane[2] * y

    @property
    def z(self) -> float:
        """Height of a level floor or ceiling above the room's datum [mm], in the middle of what was read."""
        x, y, _ = self.surface.nodes()
        height = self.toward(float(x.mean()), float(y.mean()))
        return -height if self.kind == "ceiling" else height


@dataclass(frozen=True, eq=False, kw_only=True)
class RoomTargets:
    """Targets for all surfaces of a room.

    Attributes
    ----------
    targets : by name of the surface
    binds : DataFrame, one row for each rule that keeps the work from being less: ``rule`` (in words), ``surface``
        (names), ``cost_per_mm`` (what it costs for each mm by which it is moved)
    cost : of all, by the rates of each surface
    notes : what must be known, such as angles that are not small
    corners_before : how many corners of other rooms have letters before those of this one
    options : what was asked for: ``walls``, ``plumb``, ``level``, ``one_ceiling``, ``setting_error``, ``leave``
    """

    room: Room
    targets: Mapping[str, Target]
    binds: pd.DataFrame
    cost: float
    notes: tuple[str, ...]
    options: Mapping[str, Any]
    corners_before: int = 0

    @cached_property
    def finished(self) -> Room:
        """The room as it will stand when this is done: its checks tell what will be found then."""
        from flatness.room.finished import finished_room  # it needs what is above

        return finished_room(self)

    def only(self, name: str) -> RoomTargets:
        """Those of one of its rooms alone."""
        from flatness.room.set_out import lettered  # it needs what is here

        room = self.room.only(name)
        names = self.room.rooms
        before = sum(self.room.surfaces[one.first].room in names[: names.index(name)] for _, one, _ in lettered(self))
        return replace(
            self, room=room, targets={key: self.targets[key] for key in room.surfaces}, corners_before=before
        )

    @property
    def left(self) -> tuple[str, ...]:
        """Names of the surfaces that stay as they are."""
        return tuple(name for name, one in self.targets.items() if one.is_left)

    @property
    def table(self) -> pd.DataFrame:
        """One row a surface: ``surface``, ``kind``, ``start_mm`` and ``end_mm`` (of a wall from its control line to the
        finished face, at its foot, at x = 0 and at its end; else z), ``lean_mm_per_m``, ``most_added_mm``,
        ``most_taken_mm``, ``mean_move_mm`` (toward the room), ``added_mm3``, ``taken_mm3``, ``cost``."""
        return pd.DataFrame([_row(self.room, one) for one in self.targets.values()])

    def fixed_spots(self, name: str) -> tuple[FixedSpot, ...]:
        """Three spots, off the survey's own datum [mm], that hold a surface's target plane.

        For :func:`~flatness.planning.planner.plan_corrections` with ``strategy="fixed-spots"``.
        """
        target, of = self.targets[name], self.room.surfaces[name]
        low_x, high_x, low_y, high_y = self.room.drawn[name].extent
        datum = 0.0 if of.level is None else of.up * of.level.height
        corner = [(low_x, low_y), (high_x, low_y), (low_x, high_y)]
        kept = [nearest_node(target.surface, place) for place in corner]
        at = [self.room.drawn[name].on_plan(*place) for place in kept]
        heights = [target.toward(*place) - datum for place in kept]
        return tuple(
            FixedSpot(float(x), float(y), height, meant=True) for (x, y), height in zip(at, heights, strict=True)
        )


def nearest_node(surface: Surface, place: Place) -> Place:
    """The node of a surface that has a height and is nearest to a place [mm]."""
    x, y, _ = surface.nodes()
    k = int(np.hypot(x - place[0], y - place[1]).argmin())
    return float(x[k]), float(y[k])


def _row(room: Room, one: Target) -> dict[str, Any]:
    wall = room.surfaces[one.name].wall
    if wall is None:
        ends = (one.z, one.z)
    else:
        ends = -one.toward(0.0, 0.0), -one.toward(wall.length, 0.0)
    inside = one.change[np.isfinite(one.change)]
    return {
        "surface": one.name,
        "kind": one.kind,
        "start_mm": ends[0],
        "end_mm": ends[1],
        "lean_mm_per_m": 1000 * one.plane[2],
        "most_added_mm": max(0.0, float(inside.max())),
        "most_taken_mm": max(0.0, -float(inside.min())),
        "mean_move_mm": float(inside.mean()),
        "added_mm3": one.added,
        "taken_mm3": one.taken,
        "cost": one.cost,
    }


def room_targets(
    room: Room,
    *,
    walls: str | None = None,
    plumb: bool | None = None,
    level: bool | None = None,
    one_ceiling: bool | None = None,
    keep: Sequence[Keep] | None = None,
    setting_error: float | None = None,
    leave: bool | None = None,
) -> RoomTargets:
    """Planes for floors, ceilings and walls of a room together, with the least work by the rates.

    Parameters
    ----------
    room : with its surfaces, how deep each may be cut and filled, and its rates
    walls : ``square`` (all walls share one pair of directions on the plan), ``parallel`` (those that face, in pairs) or
        ``free``; None: as the room file has it, else square
    plumb : whether walls are brought to plumb; None: as the room file has it, else so
    level : whether floors and ceilings are brought to level
    one_ceiling : whether all ceilings come to one height
    keep : clear widths and heights that must be kept; None: those of the room file
    setting_error : of setting a plane out, one standard deviation [mm]; what is kept is kept with that much room, and
        that of the datum and the control lines, for all of it to hold together at the room's confidence; 0: to the
        number itself
    leave : whether a surface that needs no work is left as it is, see :func:`~flatness.room.finished.leave`; None: as
        the room file has it, else so

    Returns
    -------
    RoomTargets

    Raises
    ------
    ArgumentError : an unknown word for ``walls``; a thing to keep that names a surface which is not there
    PlanError : rules that clash: each is named, with by how much it would have to give way
    """
    given: dict[str, Any] = {"walls": walls, "plumb": plumb, "level": level, "one_ceiling": one_ceiling}
    given |= {"setting_error": setting_error, "leave": leave}
    options: dict[str, Any] = {"walls": "square", "plumb": True, "level": True, "one_ceiling": True}
    options |= {"setting_error": SETTING_MM, "leave": True, **room.targets}
    options |= {name: value for name, value in given.items() if value is not None}
    if options["walls"] not in WALLS:
        raise ArgumentError("unknown rule for walls", column="walls", value=str(walls), expected=", ".join(WALLS))
    keeps = room.keeps if keep is None else tuple(keep)
    found = _Program(room, options, keeps).solve()
    if not options["leave"]:
        return found
    from flatness.room.finished import leave as leave_alone  # it needs what is above

    return leave_alone(found, keeps)


def _least(cost: Floats, **rows: Any) -> OptimizeResult:
    """The solver's answer, with what each row costs."""
    return linprog(cost, method="highs", **rows)


class _Program:
    """The linear program of one room: variables, ties, rows, and the name of each rule."""

    def __init__(self, room: Room, options: Mapping[str, Any], keeps: Sequence[Keep]) -> None:
        self.room, self.options = room, options
        self.names = list(room.surfaces)
        self.parts = [_Part(room.drawn[name]) for name in self.names]
        self.planes = {name: 3 * i for i, name in enumerate(self.names)}
        self.rules: list[tuple[str, str]] = []
        self.kept: list[Floats] = []
        self.bounds: list[float] = []
        self.sets = _sets(self.parts)
        self.doubt = (1 - room.confidence) / max(2, sum(self._places(one) for one in keeps))
        for one in keeps:
            self._keep(one)
        self.ties, self.tied_to = self._ties()

    # variables: three a plane, two free directions on the plan of each set of walls, then what is added at each node

    @property
    def _free(self) -> int:
        return 3 * len(self.names) + 2 * len(self.sets)

    def solve(self) -> RoomTargets:
        found = self._run()
        if found.status == 2:
            raise PlanError(self._clash())
        if found.status != 0:
            raise PlanError(
                "the targets were not found", value=str(found.message), expected="an optimum", remedy="check the rates"
            )
        return self._found(found)

    def _run(self) -> OptimizeResult:
        """The least cost: costs of what is added and of what comes off at every node."""
        cost, rows, most = self._nodes()
        kept = self._kept_rows(rows.shape[1])
        upper = np.concatenate([part.fill for part in self.parts])
        bounds = np.column_stack([np.full(rows.shape[1], -np.inf), np.full(rows.shape[1], np.inf)])
        bounds[self._free :, 0], bounds[self._free :, 1] = 0.0, upper
        ties = csr_array(hstack([self.ties, csr_array((self.ties.shape[0], len(upper)))]))
        return _least(
            cost,
            A_ub=csr_array(vstack([kept, rows])),
            b_ub=np.concatenate([self.bounds, most]),
            A_eq=ties,
            b_eq=self.tied_to,
            bounds=bounds,
        )

    def _nodes(self) -> tuple[Floats, csr_array, Floats]:
        """Costs of all variables, and two rows a node: no less is added than the target is over it; no more comes off.

        With ``d`` the target less what was found: d - add <= 0, add - d <= cut; what comes off is add - d.
        """
        count = sum(len(part.x) for part in self.parts)
        size = self._free + count
        cost, blocks, most, first = np.zeros(size), [], [], self._free
        for name, part in zip(self.names, self.parts, strict=True):
            n, p = len(part.x), self.planes[name]
            terms = np.column_stack([np.ones(n), part.x, part.y])
            added = slice(first, first + n)
            cost[added] = part.area * (part.add_rate + part.off_rate)
            # what comes off is what is added less d: of d the plane's own terms count here
            cost[p : p + 3] = -(part.area * part.off_rate) @ terms
            rows = np.repeat(np.arange(n), 4)
            columns = np.column_stack([np.tile([p, p + 1, p + 2], (n, 1)), np.arange(first, first + n)]).ravel()
            one = coo_array((np.column_stack([terms, -np.ones(n)]).ravel(), (rows, columns)), shape=(n, size))
            blocks += [one, -one]
            most += [part.height, part.cut - part.height]
            first += n
        return cost, csr_array(vstack(blocks)), np.concatenate(most)

    def _kept_rows(self, size: int) -> csr_array:
        rows = np.zeros((len(self.kept), size))
        for i, row in enumerate(self.kept):
            rows[i, : len(row)] = row
        return csr_array(rows)

    def _ties(self) -> tuple[csr_array, Floats]:
        """Rows that tie the planes to one another, and what each comes to."""
        to, every = [0.0], np.eye(self._free)
        rows, turn = [np.zeros(self._free)], 3 * len(self.names)
        ceilings = [one.name for one in self.room.of_kind("ceiling")]
        for name in self.names:
            p, is_wall = self.planes[name], self.room.surfaces[name].kind == "wall"
            rows += [every[p + 2]] * (self.options["plumb"] if is_wall else self.options["level"])
            rows += [every[p + 1]] * (self.options["level"] and not is_wall)
        to += [0.0] * (len(rows) - 1)
        for i, tied in enumerate(self.sets if self.options["walls"] != "free" else ()):
            for name, (quarter, off) in tied.items():
                other = self.options["walls"] == "parallel" and quarter % 2
                rows.append(every[self.planes[name] + 1] + every[turn + 2 * i + other])
                to.append(off)
        for name in ceilings[1:] if self.options["one_ceiling"] else ():
            for place in ((0.0, 0.0), (1000.0, 0.0), (0.0, 1000.0)):
                rows.append(self._on_plan(name, *place) - self._on_plan(ceilings[0], *place))
                to.append(0.0)
        return csr_array(np.array(rows)), np.array(to)

    # what is kept

    def _keep(self, one: Keep) -> None:
        one.check(self.room.surfaces)
        spare = self._spare(one)
        for row, fixed in self._clear(one):
            rule = Note("room-keep", name=one.name, surfaces=one.surfaces)
            about = ", ".join(one.surfaces)
            if one.least is not None:
                self._add(-row, fixed - one.least - spare, rule, about)
            if one.most is not None:
                self._add(row, one.most - fixed - spare, rule, about)

    def _spare(self, one: Keep) -> float:
        """The room [mm] that what is kept needs for the errors of setting out, so that it holds when it is set out."""
        error = float(self.options["setting_error"])
        if error == 0:
            return 0.0
        of = [self.room.surfaces[name] for name in one.surfaces]
        walls = [each.wall for each in of if each.wall is not None]
        own = [each.level.error for each in of if each.level is not None]
        if (
            len(walls) == 1 or len({wall.control or id(wall) for wall in walls}) > 1
        ):  # off one line its error is in both
            own += [wall.error for wall in walls]
        total = math.hypot(*(error for _ in of), *own)
        # so that all that is kept holds together: at each place but its own part of the doubt (Bonferroni)
        return float(ndtri(1 - self.doubt)) * total

    def _places(self, one: Keep) -> int:
        """At how many places something is kept clear, and from how many sides."""
        walls_alone = all(name in self.planes and self.room.surfaces[name].kind == "wall" for name in one.surfaces)
        return ((one.least is not None) + (one.most is not None)) * (len(one.places) or (2 if walls_alone else 4))

    def _add(self, row: Floats, bound: float, rule: str, about: str) -> None:
        self.kept.append(row)
        self.bounds.append(bound)
        self.rules.append((rule, about))

    def _clear(self, one: Keep) -> Iterator[tuple[Floats, float]]:
        """At each place, what is clear as a weighted sum of the planes' variables, and what is added to it [mm]."""
        kinds = [self.room.surfaces[name].kind for name in one.surfaces]
        drawn = [self.room.drawn[name] for name in one.surfaces]
        match sorted(kinds):
            case ["ceiling", "floor"]:
                for place in one.places or _corners(drawn):
                    # z of the ceiling is minus its height toward the room
                    yield -np.sum([self._on_plan(name, *place) for name in one.surfaces], axis=0), 0.0
            case ["wall", "wall"]:
                yield from self._widths(one, drawn)
            case ["floor"] | ["ceiling"]:
                assert one.height is not None
                up = drawn[0].of.up
                for place in one.places or _corners(drawn):
                    yield -self._on_plan(one.surfaces[0], *place), up * one.height
            case ["wall"]:
                wall = drawn[0].of.line
                for place in one.places:
                    x, off = wall.across(*place)
                    for y in drawn[0].extent[2:]:
                        yield -self._at(one.surfaces[0], x, y), off

    def _widths(self, one: Keep, drawn: Sequence[Drawn]) -> Iterator[tuple[Floats, float]]:
        first, second = (each.of.line for each in drawn)
        least, most = drawn[0].extent[:2]
        places = one.places or [first.on_plan(np.array(x), np.array(0.0)) for x in (least, most)]
        for place in places:
            x, _ = first.across(*(float(v) for v in place))
            px, py = (float(v) for v in first.on_plan(np.array(x), np.array(-first.offset)))
            its_x, off = second.across(px, py)
            for k in (2, 3):
                z = [each.of.line.base + each.extent[k] for each in drawn]
                level = max(z) if k == 2 else min(z)
                row = -self._at(one.surfaces[0], x, level - first.base)
                row -= self._at(one.surfaces[1], its_x, level - second.base)
                # from line to line on the plan, less how far both control lines stood off them
                yield row, off - first.offset

    def _at(self, name: str, x: float, y: float) -> Floats:
        row = np.zeros(self._free)
        row[self.planes[name] : self.planes[name] + 3] = 1.0, x, y
        return row

    def _on_plan(self, name: str, x: float, y: float) -> Floats:
        own_x, own_y = self.room.drawn[name].own(x, y)
        return self._at(name, float(own_x), float(own_y))

    # what came out

    def _found(self, found: OptimizeResult) -> RoomTargets:
        targets, notes = {}, list[str]()
        for name, part in zip(self.names, self.parts, strict=True):
            p = self.planes[name]
            plane = tuple(float(v) + 0.0 for v in np.round(found.x[p : p + 3], 12))
            targets[name] = part.target(name, plane)
            if max(abs(v) for v in plane[1:]) > STEEP:
                notes.append(Note("room-steep", surface=name, slope=1000 * max(abs(v) for v in plane[1:])))
        if self.options["walls"] != "free":
            notes += [_apart(one, self.sets[0]) for one in self.sets[1:]]
        unsaid = [name for name, part in zip(self.names, self.parts, strict=True) if part.is_unsaid]
        notes += [Note("room-nothing-off", surfaces=unsaid)] if unsaid else []
        return RoomTargets(
            room=self.room,
            targets=targets,
            binds=self._binding(found),
            cost=math.fsum(one.cost for one in targets.values()),
            notes=tuple(notes),
            options=dict(self.options),
        )

    def _binding(self, found: OptimizeResult) -> pd.DataFrame:
        """Which rules keep the work from being less, by the program's duals, the dearest first."""
        price: dict[tuple[str, str], float] = {}
        dual = -np.asarray(found.ineqlin.marginals)
        for rule, one in zip(self.rules, dual, strict=False):
            price[rule] = price.get(rule, 0.0) + float(one)
        first, node = len(self.rules), self._free
        upper = -np.asarray(found.upper.marginals)
        for name, part in zip(self.names, self.parts, strict=True):
            n = len(part.x)
            # of a node's two rows the second holds how deep anything comes off
            price[Note("room-cut", surface=name), name] = float(dual[first + n : first + 2 * n].sum())
            price[Note("room-fill", surface=name), name] = float(upper[node : node + n].sum())
            first, node = first + 2 * n, node + n
        rows = [
            {"rule": rule, "surface": about, "cost_per_mm": one} for (rule, about), one in price.items() if one > BINDS
        ]
        table = pd.DataFrame(rows, columns=["rule", "surface", "cost_per_mm"])
        return table.sort_values("cost_per_mm", ascending=False, ignore_index=True)

    def _clash(self) -> Problem:
        """The rules that clash, and by how much they would have to give way, at the least and in sum.

        Each kept row may be short, and each surface cut or filled deeper, all at the same price for each mm; those that
        clash are those that have a price then.
        """
        _, rows, most = self._nodes()
        count = sum(len(part.x) for part in self.parts)
        kinds = list(dict.fromkeys(self.rules))
        slack = len(kinds) + 2 * len(self.parts)
        size = self._free + count
        give = np.zeros((len(self.rules) + rows.shape[0] + count, slack))
        for i, rule in enumerate(self.rules):
            give[i, kinds.index(rule)] = -1.0
        first, node = len(self.rules), len(self.rules) + rows.shape[0]
        for k, part in enumerate(self.parts):
            n = len(part.x)
            give[first + n : first + 2 * n, len(kinds) + 2 * k] = -1.0
            give[node : node + n, len(kinds) + 2 * k + 1] = -1.0
            first, node = first + 2 * n, node + n
        filled = coo_array((np.ones(count), (np.arange(count), np.arange(self._free, size))), shape=(count, size))
        fill = np.minimum(np.concatenate([part.fill for part in self.parts]), 1e6)
        cut = np.minimum(most, 1e6)
        bounds = np.column_stack([np.zeros(size + slack), np.full(size + slack, np.inf)])
        bounds[: self._free, 0] = -np.inf
        found = _least(
            np.concatenate([np.zeros(size), np.ones(slack)]),
            A_ub=csr_array(hstack([vstack([self._kept_rows(size), rows, filled]), csr_array(give)])),
            b_ub=np.concatenate([self.bounds, cut, fill]),
            A_eq=csr_array(hstack([self.ties, csr_array((self.ties.shape[0], count + slack))])),
            b_eq=self.tied_to,
            bounds=bounds,
        )
        if found.status != 0:
            return Problem("the targets clash whatever gives way", expected="surfaces that can meet the rules")
        dual = np.abs(np.asarray(found.ineqlin.marginals))
        weighs = dict.fromkeys(kinds, 0.0)
        for rule, one in zip(self.rules, dual, strict=False):
            weighs[rule] += float(one)
        first, node = len(self.rules), len(self.rules) + rows.shape[0]
        for name, part in zip(self.names, self.parts, strict=True):
            n = len(part.x)
            weighs[Note("room-cut", surface=name), name] = float(dual[first + n : first + 2 * n].sum())
            weighs[Note("room-fill", surface=name), name] = float(dual[node : node + n].sum())
            first, node = first + 2 * n, node + n
        clash = [rule for (rule, _), one in weighs.items() if one > BINDS]
        return Problem(
            Note("room-clash", rules=clash, by=float(found.fun)),
            expected="rules that can all be kept",
            remedy="let one of them give way by so much, let another surface move, or let walls be parallel or free",
        )


class _Part:
    """The nodes of one surface, toward the room, and what work on them costs and may do."""

    def __init__(self, drawn: Drawn) -> None:
        of, lattice = drawn.of, drawn.surface
        inside = lattice.inside
        self.of, self.lattice, self.kind = of, lattice, of.kind
        self.x, self.y, z = lattice.nodes()
        self.height: Floats = of.up * z
        self.area: Floats = node_areas(inside, lattice.spacing)[inside]
        beneath = [
            one if one.area is None else replace(one, area=rotate(one.area, -drawn.turn, (0, 0), use_radians=True))
            for one in of.beneath
        ]
        allowed = permitted_cut(lattice, beneath, None, THRESHOLDS["deepest_plane"].value)
        cut, fill = of.depths.at(lattice)
        self.cut: Floats = np.minimum(allowed.cut[inside], cut)
        self.fill: Floats = fill
        self.is_unsaid = not of.beneath and bool(np.any(np.asarray(of.depths.cut) > 0))
        self.add_rate, self.off_rate = of.rates.add * of.rates.volume, of.rates.off * of.rates.volume

    def target(self, name: str, plane: tuple[float, ...]) -> Target:
        """What this plane asks of the surface."""
        change = np.full(self.lattice.height.shape, np.nan)
        moved = plane[0] + plane[1] * self.x + plane[2] * self.y - self.height
        moved[np.abs(moved) < SHOWN_MM] = 0.0
        change[self.lattice.inside] = moved
        added, taken = float(self.area @ np.maximum(moved, 0)), float(self.area @ np.maximum(-moved, 0))
        return Target(
            name=name,
            kind=self.kind,
            plane=(plane[0], plane[1], plane[2]),
            surface=self.lattice,
            change=change,
            added=added,
            taken=taken,
            cost=self.add_rate * added + self.off_rate * taken,
        )


def _corners(drawn: Sequence[Drawn]) -> list[Place]:
    """Corners on the plan of what was read of all these surfaces: what is linear is least in one of them."""
    area = shapely.intersection_all([Polygon(np.column_stack(one.on_plan(*_box(one)))) for one in drawn])
    return [(float(x), float(y)) for x, y in shapely.get_coordinates(area)[:-1]]


def _box(one: Drawn) -> tuple[Floats, Floats]:
    west, east, south, north = one.extent
    return np.array([west, east, east, west]), np.array([south, south, north, north])


def _sets(parts: Sequence[_Part]) -> list[dict[str, tuple[int, float]]]:
    """Walls that stand square or parallel to one another, within 10 degrees, in sets, the longest in all first.

    Of each wall how many quarter turns its line on the plan stands from that of the set's first, and what it is off
    those [rad]. That first one is the one within 10 degrees of which most of the walls' length stands.
    """
    left = {part.of.name: part.of.wall for part in parts if part.of.wall is not None}
    sets = []
    while left:
        around = {name: _square_to(one, left) for name, one in left.items()}
        first = max(left, key=lambda name: round(sum(left[each].length for each in around[name])))
        sets.append(around[first])
        left = {name: one for name, one in left.items() if name not in around[first]}
    return sets


def _square_to(first: WallLine, walls: Mapping[str, WallLine]) -> dict[str, tuple[int, float]]:
    found = {}
    for name, wall in walls.items():
        angle = math.atan2(*wall.along[::-1]) - math.atan2(*first.along[::-1])
        quarter = round(angle / (math.pi / 2))
        if math.cos(off := angle - quarter * math.pi / 2) >= FACING_COS:
            found[name] = quarter % 4, off
    return found


def _apart(own: Mapping[str, Any], first: Mapping[str, Any]) -> Note:
    """That a set of walls keeps a direction of its own, since it stands over 10 degrees off all others."""
    return Note("room-own-direction" if len(own) == 1 else "room-own-square", walls=tuple(own), others=tuple(first))
