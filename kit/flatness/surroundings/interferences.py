"""What a change of height does at doors, stairs, thresholds and overhead.

Finished height = surface as found + change + build-up. What rises there is what shortens the gap under a door,
the last riser of a stair and the room under a ceiling; each is judged by its own limit, with its source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import settle
from flatness.notes import Note, joined
from flatness.surroundings.cautions import CAUTIONS
from flatness.surroundings.finished_surface import Layer, Planned, finished_surface, height_at

RISERS_MM = 9.525  # 3/8 in: largest less smallest riser of one flight, IRC R311.7.5.1, as quoted by others
STEP_MM = 6.35  # 1/4 in: level change without a bevel, ADA standards
BEVELLED_MM = 12.7  # 1/2 in: the most that a bevel of 1:2 may take up, ADA standards
AGREED = "agreed for this project"
Place = tuple[float, float]
COLUMNS = (
    "name",
    "kind",
    "x_mm",
    "y_mm",
    "existing_mm",
    "finished_mm",
    "rise_mm",
    "before_mm",
    "after_mm",
    "limit",
    "verdict",
    "caution",
)


@dataclass(frozen=True)
class Door:
    """A door over the floor.

    Attributes
    ----------
    name : what it is called
    at : (x, y) [mm] where the gap was measured
    gap : under the door now, down to the surface that was read [mm]
    least : gap that it needs [mm]; None where none is agreed: then it must at least not touch
    swing : further places (x, y) [mm] that its level lower edge sweeps over
    """

    name: str
    at: Place
    gap: float
    least: float | None = None
    swing: tuple[Place, ...] = ()


@dataclass(frozen=True)
class Stair:
    """A flight of stairs that meets the floor.

    Attributes
    ----------
    name : what it is called
    at : (x, y) [mm] on the floor, where it meets it
    risers : heights of all risers of the flight now, from the lowest up [mm]; empty where not measured
    floor_is : ``top`` where the floor is at the head of the flight, ``bottom`` where it is at its foot
    on_treads : thickness that goes on the treads [mm]
    """

    name: str
    at: Place
    risers: tuple[float, ...] = ()
    floor_is: str = "top"
    on_treads: float = 0.0


@dataclass(frozen=True)
class Threshold:
    """Where the floor meets the next room's.

    Attributes
    ----------
    name : what it is called
    at : (x, y) [mm] on the floor that was read
    next_height : height of the next room's finished floor [mm], off the same datum
    allowed : step [mm] that is agreed; None takes the 1/4 in of the ADA standards
    """

    name: str
    at: Place
    next_height: float
    allowed: float | None = None


@dataclass(frozen=True)
class Headroom:
    """Clear height from the surface that was read to what is opposite: ceiling, beam or floor.

    Attributes
    ----------
    name : what it is called
    at : (x, y) [mm]
    clear : now [mm]
    least : needed [mm], or None where none is agreed
    """

    name: str
    at: Place
    clear: float
    least: float | None = None


Feature = Door | Stair | Threshold | Headroom


def consequences(plan: Planned, features: Sequence[Feature], layers: Sequence[Layer] = ()) -> pd.DataFrame:
    """What the planned change and the build-up do at each feature.

    Parameters
    ----------
    plan : anything with ``.surface`` (as found) and ``.change`` ([ny, nx] mm, adding positive)
    features : doors, stairs, thresholds, headrooms
    layers : the build-up on the changed surface

    Returns
    -------
    DataFrame : one row a feature. ``name``, ``kind``, ``x_mm``, ``y_mm``; ``existing_mm``, ``finished_mm`` and
        ``rise_mm`` of the surface there; ``before_mm`` and ``after_mm``: the gap under the door, the difference
        between the largest and the smallest riser, the step to the next room (positive where this floor is the
        higher), the clear height; ``limit`` in words with its source; ``verdict`` (pass, fail, or undecided
        where nothing says what is needed); ``caution``

    Raises
    ------
    ArgumentError : a place that no reading reaches, or values out of range
    MeasureError : a door's swing over heights that are off a string, which does not tell level

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> from flatness.surface.lattice import make_surface
    >>> flat = make_surface([[0, 0], [0, 0]], 1000)
    >>> plan = SimpleNamespace(surface=flat, change=flat.height + 6)
    >>> table = consequences(plan, [Door("pantry", (0, 500), 20, least=5)], [Layer("oak", 19)])
    >>> table[["rise_mm", "after_mm", "verdict"]].values.tolist()
    [[25.0, -5.0, 'fail']]
    """
    finished = finished_surface(plan, layers)
    rows = []
    for feature in features:
        x, y = feature.at
        before = height_at(plan.surface, x, y, feature.name)
        after = height_at(finished, x, y, feature.name)
        rise = after - before
        if isinstance(feature, Door):
            kind, found = "door", _door(plan, feature, layers)
        elif isinstance(feature, Stair):
            kind, found = "stair", _stair(feature, rise)
        elif isinstance(feature, Threshold):
            kind, found = "threshold", _threshold(feature, before, after)
        else:
            kind, found = "headroom", _headroom(feature, rise)
        numbers = (settle(before), settle(after), settle(rise), settle(found[0]), settle(found[1]))
        rows.append((feature.name, kind, x, y, *numbers, *found[2:]))
    return pd.DataFrame(rows, columns=list(COLUMNS))


Found = tuple[float, float, str, str, str]


def _verdict(passes: bool) -> str:
    return "pass" if passes else "fail"


def _door(plan: Planned, door: Door, layers: Sequence[Layer]) -> Found:
    if not math.isfinite(door.gap) or door.gap < 0:
        raise _out_of_range(door.name, "gap", door.gap)
    if door.swing and not plan.surface.is_level:
        raise MeasureError(
            f"the swing of {door.name} needs a level reference: a string does not tell level",
            remedy="leave out swing, or read the surface off a level",
        )
    finished = finished_surface(plan, layers)
    edge = height_at(plan.surface, *door.at, door.name) + door.gap
    gap = min(edge - height_at(finished, *place, f"the swing of {door.name}") for place in (door.at, *door.swing))
    least = door.least if door.least is not None else 0.0
    limit = Note("least-agreed", mm=door.least) if door.least is not None else Note("must-not-touch")
    passes = settle(gap) >= settle(least) if door.least is not None else settle(gap) > 0
    caution = "" if passes else Note("trim-door")
    return door.gap, gap, limit, _verdict(passes), caution


def _stair(stair: Stair, rise: float) -> Found:
    if stair.floor_is not in ("top", "bottom"):
        what = f"unknown end of the stair {stair.name}"
        raise ArgumentError(what, column="floor_is", value=str(stair.floor_is), expected="top or bottom")
    limit = Note("risers-differ", mm=RISERS_MM)
    caution = CAUTIONS["stairs"].text
    if not stair.risers:
        return math.nan, math.nan, limit, "undecided", joined([Note("measure-risers"), caution], "sentences")
    after = risers_after(stair, rise)
    for riser in (*stair.risers, *after):
        if not math.isfinite(riser) or riser <= 0:
            raise _out_of_range(stair.name, "risers", riser)
    difference = max(after) - min(after)
    before = max(stair.risers) - min(stair.risers)
    passes = settle(difference) <= RISERS_MM
    return before, difference, limit, _verdict(passes), "" if passes and settle(rise) == 0 else caution


def risers_after(stair: Stair, rise: float) -> tuple[float, ...]:
    """The risers [mm], from the lowest up, once the floor has risen by ``rise`` and the treads by ``on_treads``.

    >>> risers_after(Stair("cellar", (0, 0), (180.0, 180.0, 180.0)), 22.0)
    (180.0, 180.0, 202.0)
    """
    after = list(stair.risers)
    if stair.floor_is == "top":
        # the lowest tread has risen off the floor at the foot, the floor at the head off the highest tread
        after[0] += stair.on_treads
        after[-1] += rise - stair.on_treads
    else:
        after[0] += stair.on_treads - rise
        after[-1] -= stair.on_treads
    return tuple(after)


def _threshold(threshold: Threshold, before: float, after: float) -> Found:
    if not math.isfinite(threshold.next_height):
        raise _out_of_range(threshold.name, "next_height", threshold.next_height)
    step = after - threshold.next_height
    allowed = STEP_MM if threshold.allowed is None else threshold.allowed
    if not (math.isfinite(allowed) and allowed >= 0):
        raise _out_of_range(threshold.name, "allowed", allowed)
    source = AGREED if threshold.allowed is not None else "ADA standards, without a bevel"
    passes = settle(abs(step)) <= settle(allowed)
    caution = ""
    if not passes and threshold.allowed is None and settle(abs(step)) <= BEVELLED_MM:
        caution = Note("bevel", low=STEP_MM, high=BEVELLED_MM)
    elif not passes:
        caution = Note("ramp")
    return (
        before - threshold.next_height,
        step,
        Note("most-allowed", mm=allowed, source=source),
        _verdict(passes),
        caution,
    )


def _headroom(headroom: Headroom, rise: float) -> Found:
    if not math.isfinite(headroom.clear) or headroom.clear <= 0:
        raise _out_of_range(headroom.name, "clear", headroom.clear)
    after = headroom.clear - rise
    if headroom.least is None:
        return headroom.clear, after, "none given", "undecided", Note("give-clear-height")
    passes = settle(after) >= settle(headroom.least)
    caution = "" if passes else Note("too-low")
    return headroom.clear, after, Note("least-agreed", mm=headroom.least), _verdict(passes), caution


def _out_of_range(name: str, column: str, value: float) -> ArgumentError:
    what, expected = f"{column} of {name} out of range", "finite millimetres above zero"
    return ArgumentError(what, column=column, value=str(value), expected=expected, remedy="measure it again")
