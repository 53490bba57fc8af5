"""The room as it will stand when its work is done, and what need not be worked on.

A surface that is brought to its target stands there, good to the error of setting out at each of its corners, and off
the same datum or control line as before; one that is left stands as it was read.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from flatness.arrays import Floats
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, assess
from flatness.planning.patches import thresholds_of
from flatness.room.checks import measures
from flatness.room.drawn import Drawn, fit_planes, seed_of
from flatness.room.records import Keep, Room, RoomSurface
from flatness.room.targets import SHOWN_MM, RoomTargets, Target

_RANK = {FAIL: 0, UNDECIDED: 1}


def finished_room(targets: RoomTargets, left: Collection[str] | None = None) -> Room:
    """The room with every surface at its target, but for those that are left as they were read.

    Parameters
    ----------
    targets : that the surfaces are brought to
    left : names of those left; None: as the targets have it

    Returns
    -------
    Room : whose checks tell what will be found when the work is done
    """
    room, error = targets.room, float(targets.options["setting_error"])
    stay = targets.left if left is None else left
    stands = {
        name: one if name in stay else _set_to(one, targets.targets[name], room, error)
        for name, one in room.drawn.items()
    }
    return replace(room, stands=stands, tapes=())  # those were of the walls as they stood


def _set_to(one: Drawn, target: Target, room: Room, error: float) -> Drawn:
    surface = one.surface
    gx, gy = np.meshgrid(surface.x, surface.y)
    rng = np.random.default_rng(seed_of(room.seed, f"{one.name} set out"))
    (x0, x1, y0, y1), corners = one.extent, rng.normal(0, error, (4, len(one.datum), 1, 1))
    u, v = (gx - x0) / max(x1 - x0, 1.0), (gy - y0) / max(y1 - y0, 1.0)
    off = (corners[0] * (1 - u) + corners[1] * u) * (1 - v) + (corners[2] * (1 - u) + corners[3] * u) * v
    plane: Floats = target.plane[0] + target.plane[1] * gx + target.plane[2] * gy
    plane *= one.of.up
    stands = replace(surface, height=np.where(surface.inside, plane, np.nan))
    return replace(one, surface=stands, best=plane, shape=plane + one.of.up * off)


def leave(targets: RoomTargets, keeps: Sequence[Keep]) -> RoomTargets:
    """The targets with those surfaces left as they are that need no work.

    A surface is left where no check of the finished room comes out worse for it, nothing comes off it for what is to
    be kept clear, and it meets its own limits; or where all that it lacks is thinner than the material holds, and it
    does not fail them. Ceilings that come to one height are left all together or not at all, and only where they are
    at one height already: within the step that is agreed, else within what the material holds.
    """
    was, left = _verdicts(finished_room(targets, ())), list[str]()
    for is_thick, _, names in sorted(_together(targets)):
        of = [targets.targets[name] for name in names]
        if any(_is_kept_by_work(one, keeps) for one in of) or not _at_one_height(targets.room, of):
            continue
        now = _verdicts(finished_room(targets, (*left, *names)))  # quicker than what follows, and mostly decides it
        is_worse = len(now) != len(was) or any(one < before for one, before in zip(now, was, strict=True))
        if not is_worse and all(_may_stay(targets.room, name, is_thick) for name in names):
            left += names
    if not left:
        return targets
    found = {name: _left(one) if name in left else one for name, one in targets.targets.items()}
    binds = targets.binds[~targets.binds["surface"].isin(left)].reset_index(drop=True)
    return replace(targets, targets=found, binds=binds, cost=math.fsum(one.cost for one in found.values()))


def _together(targets: RoomTargets) -> list[tuple[bool, float, tuple[str, ...]]]:
    """What is left or worked on together, the thin first, then the dearest: not thin, minus its cost, its names."""
    ceilings = tuple(name for name, one in targets.targets.items() if one.kind == "ceiling")
    tied = ceilings if targets.options["one_ceiling"] else ()
    sets = [(name,) for name in targets.targets if name not in tied] + ([tied] if tied else [])
    found = [(names, [targets.targets[name] for name in names]) for names in sets]
    return [(not all(map(_is_thin, of)), -math.fsum(one.cost for one in of), names) for names, of in found]


def _at_one_height(room: Room, of: Sequence[Target]) -> bool:
    """Whether surfaces that are left together stand at one height as they were read."""
    most = room.agreed.ceiling_step or thresholds_of("ceiling")["thinnest_fill"].value
    return bool(np.ptp([_left(one).z for one in of]) <= most)


def _verdicts(room: Room) -> list[int]:
    return [_RANK.get(one.verdict(room.confidence), 2) for one in measures(room)]


def _changes(target: Target) -> tuple[float, float]:
    """Most that is added, and that comes off [mm]."""
    inside = target.change[np.isfinite(target.change)]
    return max(0.0, float(inside.max())), max(0.0, -float(inside.min()))


def _is_thin(target: Target) -> bool:
    limits, (added, taken) = thresholds_of(target.kind), _changes(target)
    return added < limits["thinnest_fill"].value and taken < limits["least_depth"].value


def _is_kept_by_work(target: Target, keeps: Sequence[Keep]) -> bool:
    added, taken = _changes(target)
    about = [one for one in keeps if target.name in one.surfaces]
    least, most = any(one.least is not None for one in about), any(one.most is not None for one in about)
    return (least and taken > SHOWN_MM) or (most and added > SHOWN_MM)


def _may_stay(room: Room, name: str, is_thick: bool) -> bool:
    """Whether a surface meets its own limits as it was read; where little is lacking, whether it does not fail them."""
    one: RoomSurface = room.surfaces[name]
    if not one.limits:
        return not is_thick
    found = assess(one.survey, one.limits, draws=room.draws, seed=room.seed, confidence=room.confidence).verdict
    return found == PASS if is_thick else found != FAIL


def _left(target: Target) -> Target:
    """A target that is the surface's own best plane, to which nothing is done."""
    x, y, z = target.surface.nodes()
    up = -1.0 if target.kind == "ceiling" else 1.0
    a, b, c = (float(v) for v in fit_planes(x, y, up * z[None])[0])
    change = np.where(np.isfinite(target.change), 0.0, np.nan)
    return replace(target, plane=(a, b, c), change=change, added=0.0, taken=0.0, cost=0.0, is_left=True)
