"""All measures of a room, each likely with its range and its chance, and judged, in one table.

What else the surfaces may be is drawn, each from its own readings and all on the room's datum; every measure is taken
of each draw. A measure that may lie either way of none (a taper, a lean, a corner) is told by its size: where its range
has both ways in it, from none on.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from flatness.arrays import Floats
from flatness.limits.verdict import FAIL, PASS, RANGE, UNDECIDED
from flatness.notes import Note, joined
from flatness.room.allowed import AGREED, Allowed, allowed, angularity, habitable_height, source_of, unbevelled_step
from flatness.room.drawn import Drawn, fit_planes
from flatness.room.geometry import Corner, corners, facing, trace, widths
from flatness.room.records import Door, Opening, Room
from flatness.surface.lattice import unread

WHAT = ("clear-height", "ceiling", "recess", "parallel", "square", "plumb", "wall-foot", "opening", "threshold")
COLUMNS = (
    *("what", "where", "likely_mm", "low_mm", "high_mm", "allowed_mm", "chance", "verdict", "source", "note"),
    *("at_mm", "at_least"),
)
MEASURED = "measured"  # the verdict on what no limit was agreed or published for
STEP_MM = 100.0  # between places along a line
FOOT_MM = 304.8  # how far off a wall or threshold the floor beside it may have been read
LEAST_READ = 0.75  # of the floor along a wall, below which it is not judged
LEAST_SWING = 0.5  # of what a door swings over: a strip along the wall is seldom read


@dataclass(frozen=True, eq=False, kw_only=True)
class Measure:
    """One measure of the room.

    Attributes
    ----------
    what : one of :data:`WHAT`
    where : in words
    draws : [n] mm; empty where it cannot be given
    allowed : how much, at most or at least
    note : what must be known; why there is none
    at : places on the plan that it is about [mm]
    unread : what of it nobody read, so that it cannot pass; empty where that is small
    """

    what: str
    where: str
    draws: Floats
    allowed: Allowed
    note: str = ""
    at: tuple[tuple[float, float], ...] = ()
    unread: str = ""

    def likely(self) -> tuple[float, float, float]:
        """Median and 95 % range [mm], by size where it may lie either way."""
        if not len(self.draws):
            return math.nan, math.nan, math.nan
        low, middle, high = (float(v) for v in np.quantile(self.draws, RANGE))
        if self.allowed.at_least:
            return middle, low, high
        if low < 0 < high:
            return abs(middle), 0.0, max(-low, high)
        low, high = sorted((abs(low), abs(high)))
        return abs(middle), low, high

    def chance(self) -> float:
        """Chance that it is as it should be; NaN where nothing is allowed or drawn."""
        if not len(self.draws) or math.isnan(self.allowed.mm):
            return math.nan
        slack = 1e-6
        right = (
            self.draws >= self.allowed.mm - slack
            if self.allowed.at_least
            else np.abs(self.draws) <= self.allowed.mm + slack
        )
        return float(np.mean(right))

    def verdict(self, confidence: float) -> str:
        """``pass``, ``fail``, ``undecided``; ``measured`` where nothing is allowed."""
        chance = self.chance()
        if not len(self.draws):
            return UNDECIDED
        if math.isnan(chance):
            return MEASURED
        if chance >= confidence and not self.unread:
            return PASS
        return FAIL if chance <= 1 - confidence else UNDECIDED


def check_room(room: Room) -> pd.DataFrame:
    """Every measure of a room, judged.

    Parameters
    ----------
    room : with its surfaces

    Returns
    -------
    DataFrame, one row a measure: ``what`` (one of :data:`WHAT`), ``where`` (in words), ``likely_mm`` with its 95 %
        range ``low_mm`` to ``high_mm``, ``allowed_mm`` (the least that is needed of ``clear-height``, ``recess`` and
        the gap under a door, else the most; NaN: nothing), ``chance`` (that it is so), ``verdict`` (``pass``,
        ``fail``, ``undecided``; ``measured`` where nothing is agreed or published), ``source``, ``note``, ``at_mm``
        (list of places on the plan), ``at_least`` (whether ``allowed_mm`` is needed at least)

    Raises
    ------
    MeasureError : a surface whose readings are too few
    """
    rows = []
    for one in measures(room):
        likely, low, high = one.likely()
        rows.append(
            {
                "what": one.what,
                "where": one.where,
                "likely_mm": likely,
                "low_mm": low,
                "high_mm": high,
                "allowed_mm": one.allowed.mm,
                "chance": one.chance(),
                "verdict": one.verdict(room.confidence),
                "source": one.allowed.source if len(one.draws) else "",
                "note": joined((one.note, one.unread), "sentences"),
                "at_mm": [list(place) for place in one.at],
                "at_least": one.allowed.at_least,
            }
        )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def measures(room: Room) -> list[Measure]:
    """Every measure of a room, in the order of :data:`WHAT`."""
    found = [
        *(_clear_heights(room), _ceilings(room), _steps_overhead(room), _recesses(room), _parallel(room)),
        *(_square(room), _plumb(room), _wall_feet(room), _openings(room), _thresholds(room)),
    ]
    return [one for each in found for one in each]


def _none(what: str, where: str, why: str) -> Measure:
    return Measure(what=what, where=where, draws=np.empty(0), allowed=Allowed(), note=why)


def _unread(room: Room, *names: str) -> str:
    """What of the stated outlines of surfaces nobody read; empty where that is small."""
    left = [unread(room.surfaces[name].survey) for name in names]
    return joined(one.note for one in left if one is not None and not one.is_small)


def _clear_heights(room: Room) -> Iterator[Measure]:
    limits = [allowed(None, habitable_height(), source_of("clear-height"), at_least=True)]
    if (agreed := room.agreed.clear_height) is not None:
        limits.insert(0, allowed(agreed, at_least=True))
    for one in room.clear_heights:
        where = Note("room-clear", floor=one.floor, ceiling=one.ceiling, at=one.at)
        left = _unread(room, one.floor, one.ceiling)
        for limit in limits:
            yield Measure(what="clear-height", where=where, draws=one.least, at=(one.at,), allowed=limit, unread=left)


def _ceilings(room: Room) -> Iterator[Measure]:
    for one in room.of_kind("ceiling"):
        drawn = room.drawn[one.name]
        x, y, z = drawn.surface.nodes()
        heights = drawn.shape[:, drawn.surface.inside]
        planes = fit_planes(x, y, heights)
        on_plane = planes @ np.stack([np.ones_like(x), x, y])
        if one.survey.is_level:
            mean = fit_planes(x, y, z[None])[0] @ np.stack([np.ones_like(x), x, y])
            low, high = int(mean.argmin()), int(mean.argmax())
            fall = on_plane[:, high] - on_plane[:, low]
            ends = drawn.node(high), drawn.node(low)
            where = Note("room-ceiling-falls", ceiling=one.name, high=ends[0], low=ends[1])
            limit = allowed(
                room.agreed.ceiling, angularity(math.dist(*ends)) if ends[0] != ends[1] else math.nan, _din()
            )
            left = _unread(room, one.name)
            yield Measure(what="ceiling", where=where, draws=fall, at=ends, allowed=limit, unread=left)
        else:
            yield _none("ceiling", Note("room-ceiling-level", ceiling=one.name), Note("room-string"))
        off = heights - on_plane
        yield Measure(
            what="ceiling",
            where=Note("room-ceiling-plane", ceiling=one.name),
            draws=np.ptp(off, axis=1),
            allowed=allowed(room.agreed.ceiling_plane),
        )


def _din() -> str:
    return source_of("din-angularity")


def _steps_overhead(room: Room) -> Iterator[Measure]:
    for one in (one for one in room.openings if one.ceilings and one.ends is not None):
        where = Note("room-ceiling-step", opening=one.name, surfaces=one.ceilings)
        yield _step("ceiling", where, room, one, one.ceilings, allowed(room.agreed.ceiling_step))


def _recesses(room: Room) -> Iterator[Measure]:
    for one in room.recesses:
        drawn = room.drawn[one.ceiling]
        x, y, z = drawn.surface.nodes()
        inside = np.ones(len(x), bool) if one.area is None else shapely.intersects_xy(one.area, *drawn.on_plan(x, y))
        where = Note("room-recess", recess=one.name, ceiling=one.ceiling)
        if not inside.any():
            yield _none("recess", where, Note("room-unread"))
            continue
        above = drawn.draws[:, drawn.surface.inside][:, inside] - one.height
        k = int(np.where(inside, z, np.inf).argmin())
        at, clash = drawn.node(k), one.depth - (float(z[k]) - one.height)
        note = Note("room-recess-clash", at=at, off=clash) if clash > 0 else ""
        limit = Allowed(one.depth, AGREED, at_least=True)
        yield Measure(what="recess", where=where, draws=above.min(axis=1), note=note, at=(at,), allowed=limit)


def _parallel(room: Room) -> Iterator[Measure]:
    walls = [room.drawn[one.name] for one in room.of_kind("wall")]
    for pair in facing(walls):
        wide = pair.ends[1] if float(np.median(pair.taper)) >= 0 else pair.ends[0]
        widths = float(np.median(pair.at_start)), float(np.median(pair.at_end))
        where = Note("room-parallel", first=pair.first, second=pair.second, run=pair.run)
        note = Note("room-widths", narrow=min(widths), wide=max(widths), at=wide)
        limit = allowed(room.agreed.parallel)
        yield Measure(what="parallel", where=where, draws=pair.taper, note=note, at=pair.ends, allowed=limit)


def room_widths(room: Room) -> pd.DataFrame:
    """The distance from face to face of facing walls, half way up.

    Returns
    -------
    DataFrame, one row a place: ``first`` and ``second`` wall, ``x_mm`` along the first, ``likely_mm`` with its 95 %
        range ``low_mm`` to ``high_mm``; NaN where one of the two was not read
    """
    walls = {one.name: room.drawn[one.name] for one in room.of_kind("wall")}
    rows = []
    for pair in facing([*walls.values()]):
        run, draws = widths(pair, walls)
        for x, (low, likely, high) in zip(run, np.quantile(draws, RANGE, axis=0).T, strict=True):
            rows.append((pair.first, pair.second, float(x), float(likely), float(low), float(high)))
    return pd.DataFrame(rows, columns=["first", "second", "x_mm", "likely_mm", "low_mm", "high_mm"])


def _square(room: Room) -> Iterator[Measure]:
    walls = [room.drawn[one.name] for one in room.of_kind("wall")]
    for corner in corners(walls):
        leg = room.agreed.leg or corner.leg
        where = Note("room-corner", first=corner.first, second=corner.second, leg=leg)
        yield _corner(room, corner.cosine, leg, where, corner)
    for tape in room.tapes:
        rng = np.random.default_rng([room.seed, len(tape.name), int(tape.sizes[-1])])
        sizes = [size + rng.normal(0, tape.error, max(room.draws, 1000)) for size in tape.sizes]
        leg = room.agreed.leg or min(tape.legs)
        key = "room-corner-tape" if tape.diagonals is None else "room-diagonals-tape"
        yield _corner(room, tape.cosine(*sizes), leg, Note(key, corner=tape.name, leg=leg))


def _corner(room: Room, cosine: Floats, leg: float, where: str, corner: Corner | None = None) -> Measure:
    """How far a corner is out of square over a leg; which way, where that is sure."""
    off, note = leg * cosine, ""
    low, high = np.quantile(off, (RANGE[0], RANGE[-1]))
    if low > 0 or high < 0:
        stands_out = corner is not None and corner.stands_out
        closes, opens = ("room-closes-out", "room-opens-out") if stands_out else ("room-closes", "room-opens")
        note = Note(closes if low > 0 else opens)
    limit = allowed(room.agreed.square, angularity(leg), _din())
    at = () if corner is None else (corner.at,)
    return Measure(what="square", where=where, draws=off, note=note, at=at, allowed=limit)


def _plumb(room: Room) -> Iterator[Measure]:
    for one in room.of_kind("wall"):
        drawn = room.drawn[one.name]
        _, _, low, high = drawn.extent
        where = Note("room-plumb", wall=one.name, height=high - low)
        if not one.survey.is_level:
            yield _none("plumb", where, Note("room-string"))
            continue
        lean = drawn.planes[:, 2] * (high - low)
        note = Note("room-leans-in") if float(np.median(lean)) > 0 else Note("room-leans-out")
        limit = allowed(room.agreed.plumb, angularity(high - low), _din())
        yield Measure(what="plumb", where=where, draws=lean, note=note, allowed=limit)


def _wall_feet(room: Room) -> Iterator[Measure]:
    for one in room.of_kind("wall"):
        for floor in (each for each in room.of_kind("floor") if each.room == one.room):
            found = floor_along(room.drawn[floor.name], room.drawn[one.name])
            where = Note("room-foot", floor=floor.name, wall=one.name)
            if found is None:
                yield _none("wall-foot", where, Note("room-foot-unread", wall=one.name))
                continue
            x, y, away = found
            drawn = room.drawn[floor.name]
            heights, best = drawn.at(x, y), drawn.at(x, y, drawn=False)
            ends = tuple((float(x[k]), float(y[k])) for k in (int(best.argmax()), int(best.argmin())))
            limit = allowed(room.agreed.wall_foot)
            note = Note("room-foot-ends", high=ends[0], low=ends[1], away=away)
            if not floor.survey.is_level:
                yield _none("wall-foot", where, Note("room-string"))
                continue
            yield Measure(
                what="wall-foot", where=where, draws=np.ptp(heights, axis=1), note=note, at=ends, allowed=limit
            )


def floor_along(floor: Drawn, wall: Drawn) -> tuple[Floats, Floats, float] | None:
    """Places x, y on the plan [mm] along the foot of a wall where the floor was read, and how far off its face [mm].

    As near to the wall as nine tenths of it were read, at most 1 ft off; None where no line of the floor beside it was.
    """
    line = wall.of.line
    point, along = (v.mean(axis=0) for v in trace(line, wall.planes, line.base))
    run = np.arange(0.0, line.length + 1e-6, STEP_MM)
    face = point + run[:, None] * along
    best: tuple[float, Floats, Floats, float] | None = None
    for away in np.arange(0.0, FOOT_MM + 1e-6, FOOT_MM / 24):
        x, y = (face + away * line.into).T
        read = np.isfinite(floor.at(x, y, drawn=False))
        share = float(read.mean())
        if best is None or share > best[0] + 0.02:
            best = share, x[read], y[read], float(away)
        if share >= 0.9:
            break
    return None if best is None or best[0] < LEAST_READ else best[1:]


def _openings(room: Room) -> Iterator[Measure]:
    agreed = room.agreed
    for one in room.openings:
        pair = None if one.diagonals is None else one.diagonals[0] - one.diagonals[1]
        taken: list[tuple[str, float | None, float, float | None]] = [
            (Note("room-jamb", opening=one.name, side="left"), one.jamb_left, 1.0, agreed.jamb),
            (Note("room-jamb", opening=one.name, side="right"), one.jamb_right, 1.0, agreed.jamb),
            (Note("room-head", opening=one.name), one.head, 1.0, agreed.head),
            (Note("room-diagonals", opening=one.name), pair, math.sqrt(2), agreed.diagonals),
        ]
        for k, (where, value, times, most) in enumerate(taken):
            if value is not None:
                rng = np.random.default_rng([room.seed, len(one.name), k])
                draws = value + rng.normal(0, times * one.error, max(room.draws, 1000))
                yield Measure(what="opening", where=where, draws=draws, allowed=allowed(most))
        if one.door is not None:
            yield _swing(room, one, one.door)


def _swing(room: Room, one: Opening, door: Door) -> Measure:
    """The gap under a leaf, over all that it swings over."""
    where = Note("room-swing", opening=one.name)
    hinge, arm = np.asarray(door.hinge), np.subtract(door.tip, door.hinge)
    turn = np.radians(np.linspace(0, door.swing, 19)) * (1 if door.opens == "left" else -1)
    reach = np.linspace(0.1, 1, 10)
    x = hinge[0] + np.outer(reach, arm[0] * np.cos(turn) - arm[1] * np.sin(turn)).ravel()
    y = hinge[1] + np.outer(reach, arm[0] * np.sin(turn) + arm[1] * np.cos(turn)).ravel()
    for floor in room.of_kind("floor"):
        drawn = room.drawn[floor.name]
        best = drawn.at(x, y, drawn=False)
        read = np.isfinite(best)
        if read.mean() >= LEAST_SWING and floor.survey.is_level:
            gaps = door.bottom - drawn.at(x[read], y[read])
            k = int(best[read].argmax())
            at = ((float(x[read][k]), float(y[read][k])),)
            rng = np.random.default_rng([room.seed, len(one.name), 9])
            least = gaps.min(axis=1) + rng.normal(0, one.error, len(gaps))
            limit = Allowed(door.least, AGREED, at_least=True)
            note = Note("room-swing-read", share=float(read.mean())) if not read.all() else ""
            return Measure(what="opening", where=where, draws=least, note=note, at=at, allowed=limit)
    return _none("opening", where, Note("room-swing-unread"))


def _thresholds(room: Room) -> Iterator[Measure]:
    limit = allowed(room.agreed.threshold, unbevelled_step(), source_of("accessible-vertical-change"))
    for one in room.openings:
        if one.ends is None or not one.floors:
            continue
        where = Note("room-threshold", opening=one.name)
        yield _step("threshold", where, room, one, one.floors, limit)


def _step(what: str, where: str, room: Room, one: Opening, names: Sequence[str], limit: Allowed) -> Measure:
    """The largest step between two surfaces along an opening, or between one and a height beyond it."""
    assert one.ends is not None
    share = np.linspace(0, 1, 7)[:, None]
    line = (1 - share) * np.asarray(one.ends[0]) + share * np.asarray(one.ends[1])
    found = [_beside(room.drawn[name], line) for name in names]
    if not all(room.surfaces[name].survey.is_level for name in names):
        return _none(what, where, Note("room-string"))
    if any(heights is None for heights in found):
        return _none(what, where, Note("room-unread"))
    first, *rest = [heights for heights in found if heights is not None]
    if rest:
        off = first - rest[0]
    else:
        assert one.next_height is not None
        rng = np.random.default_rng([room.seed, len(one.name), 5])
        off = first - one.next_height - rng.normal(0, one.error, (len(first), 1))
    k = int(np.abs(np.median(off, axis=0)).argmax())
    x, y = line[k]
    note = Note("room-step-at", at=(float(x), float(y)))
    return Measure(what=what, where=where, draws=off[:, k], note=note, at=((float(x), float(y)),), allowed=limit)


def _beside(drawn: Drawn, line: Floats) -> Floats | None:
    """[n, m] heights of a surface beside places of a line on the plan, as near as it was read; None beyond 1 ft."""
    along = line[-1] - line[0]
    across = np.array([-along[1], along[0]]) / np.hypot(*along)
    for away in np.arange(0.0, FOOT_MM + 1e-6, FOOT_MM / 24):
        for side in (1, -1):
            x, y = (line + side * away * across).T
            if np.isfinite(drawn.at(x, y, drawn=False)).all():
                return drawn.at(x, y)
    return None
