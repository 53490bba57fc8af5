"""What lies beneath the surface, as its user says, and how deep that lets anything come off.

Nothing comes off where nothing is said. Engineered members are never taken down (IRC R502.8.2). Sawn joists only
within their notch limits (IRC R502.8.1, as quoted by others): 1/6 of the depth, 1/4 at the ends of the member, nothing
in the middle third of the span.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from flatness.arrays import Floats
from flatness.errors import ArgumentError, check_choice
from flatness.framing.members import KINDS as MEMBER_KINDS
from flatness.framing.members import NOTCH_SHARE, Members
from flatness.notes import Note
from flatness.surface.lattice import Surface

END_SHARE = 1 / 4  # of the depth of a sawn joist, at its ends: IRC R502.8.1, as quoted by others
ENGINEERED = ("engineered", *(name for name, kind in MEMBER_KINDS.items() if kind.engineered))
SOLID = ("slab", "screed", "masonry")  # nothing in it to frame on from the side
KINDS = (*ENGINEERED, "sawn joist", "stud", "strapping", "sheathing", "boards", "plaster", *SOLID)


@dataclass(frozen=True)
class Beneath:
    """What lies beneath the surface, or a part of it.

    Attributes
    ----------
    kind : one of :data:`KINDS`
    may_be_planed : whether its user has seen what is there and says that it may be taken down
    most_planed : deepest that may come off [mm]; None takes the threshold ``deepest_plane``
    depth : of sawn joists [mm]; None takes that of the members, where they are given
    span : positions [mm] along the joists of what carries them, two or more, rising; None takes the members' ends
    direction : ``x`` where the joists run along x, ``y`` where along y; None takes the members'
    ends : length [mm] at either end of the joists where 1/4 of the depth may come off in place of 1/6; the code's
        own wording of how long an end is was not seen
    area : polygon [mm] where this lies; None: everywhere

    Raises
    ------
    ArgumentError : an unknown kind or direction, sizes out of range
    """

    kind: str
    may_be_planed: bool = False
    most_planed: float | None = None
    depth: float | None = None
    span: tuple[float, ...] | None = None
    direction: str | None = None
    ends: float = 0.0
    area: Polygon | MultiPolygon | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            what, remedy = "unknown kind beneath", "take the nearest of these; leave it out where it is not known"
            raise ArgumentError(what, column="kind", value=str(self.kind), expected=", ".join(KINDS), remedy=remedy)
        if not isinstance(self.may_be_planed, bool):
            raise ArgumentError(
                "neither yes nor no", column="may_be_planed", value=str(self.may_be_planed), expected="True or False"
            )
        check_choice("direction", self.direction, (None, "x", "y"))
        for name, value in (("most_planed", self.most_planed), ("depth", self.depth), ("ends", self.ends)):
            if value is not None and not (math.isfinite(value) and (value > 0 if name == "depth" else value >= 0)):
                raise ArgumentError(f"{name} out of range", column=name, value=str(value), expected="millimetres")
        span = self.span
        if span is not None and (len(span) < 2 or not np.isfinite(span).all() or (np.diff(span) <= 0).any()):
            expected = "positions along the joists of two bearings or more, rising, in mm"
            raise ArgumentError("a span that cannot be used", column="span", value=str(span), expected=expected)
        if self.area is not None and not isinstance(self.area, (Polygon, MultiPolygon)):
            raise ArgumentError("an area that is no polygon", column="area", value=str(self.area), expected="a polygon")

    @property
    def engineered(self) -> bool:
        """Whether it is not taken down on anyone's word but its maker's or a design professional's."""
        return self.kind in ENGINEERED


@dataclass(frozen=True, eq=False)
class Permitted:
    """How deep anything may come off, by place.

    Attributes
    ----------
    cut : [ny, nx] mm; 0 where nothing may
    framed : [ny, nx] whether there is, or may be, something to sister to; False over a slab
    said : [ny, nx] whether its user has said what lies there
    notes : why nothing comes off where something might have been meant to
    """

    cut: Floats
    framed: NDArray[np.bool_]
    said: NDArray[np.bool_]
    notes: tuple[str, ...]


def permitted_cut(
    surface: Surface, beneath: Beneath | Sequence[Beneath] | None, members: Members | None, deepest_plane: float
) -> Permitted:
    """How deep anything may come off at each node of a surface.

    Parameters
    ----------
    surface : the surface
    beneath : what lies there; of several, the later ones hold where their areas overlap. None: nothing is said
    members : the framing, which gives sawn joists their depth, direction and span where ``beneath`` does not
    deepest_plane : deepest that comes off where ``beneath`` names no depth [mm]

    Raises
    ------
    ArgumentError : not a :class:`Beneath`, or one that contradicts the members

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> flat = make_surface([[0.0] * 7] * 2, 600)
    >>> joists = Beneath("sawn joist", True, most_planed=20, depth=240, span=(0, 3600), direction="x")
    >>> permitted_cut(flat, joists, None, 3.2).cut[0].tolist()
    [20.0, 20.0, 0.0, 0.0, 0.0, 20.0, 20.0]
    >>> permitted_cut(flat, Beneath("LVL", True), None, 3.2).cut[0].tolist()
    [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    """
    cut, said = np.zeros(surface.height.shape), np.zeros(surface.height.shape, dtype=bool)
    framed = np.ones(surface.height.shape, dtype=bool)
    notes = [*not_followed(beneath), *_members_alone(beneath, members)]
    for one in listed(beneath):
        one = _with_members(one, members)
        here = _covered(surface, one)
        deepest, reason = _deepest(surface, one, deepest_plane)
        cut[here] = deepest[here]
        framed[here] = one.kind not in SOLID
        said |= here
        notes += [reason] if reason and reason not in notes else []
    return Permitted(cut, framed, said, tuple(notes))


def listed(beneath: Beneath | Sequence[Beneath] | None) -> tuple[Beneath, ...]:
    """What lies beneath as a tuple, whichever way it was given."""
    every = () if beneath is None else (beneath,) if isinstance(beneath, Beneath) else tuple(beneath)
    for one in every:
        if not isinstance(one, Beneath):
            what, remedy = "what lies beneath cannot be read", 'such as Beneath("sheathing", may_be_planed=True)'
            raise ArgumentError(what, column="beneath", value=str(one), expected="a Beneath, or several", remedy=remedy)
    return every


def not_followed(beneath: Beneath | Sequence[Beneath] | None) -> list[str]:
    """Which entries say of engineered members that they may be planed, which is not followed.

    >>> not_followed((Beneath("slab", True), Beneath("LVL", True)))[0][:70]
    'entry 2 of what lies beneath says that LVL may be planed. The kit does'
    """
    return [
        Note("not-followed", number=number, kind=one.kind)
        for number, one in enumerate(listed(beneath), 1)
        if one.engineered and one.may_be_planed
    ]


def _members_alone(beneath: Beneath | Sequence[Beneath] | None, members: Members | None) -> Iterator[str]:
    if len(listed(beneath)):
        return
    if members is not None and members.engineered:
        yield Note("members-engineered", kind=members.kind)
    else:
        yield Note("beneath-unknown")


def _with_members(one: Beneath, members: Members | None) -> Beneath:
    """With what the members say of sawn joists filled in."""
    if members is None or one.kind not in MEMBER_KINDS:
        return one
    if members.engineered != one.engineered:
        raise ArgumentError(
            "beneath and members contradict each other",
            column="beneath, members",
            value=f"{one.kind}, {members.kind}",
            expected="one kind of member",
            remedy="say which it is in both",
        )
    ends = members.table[["start_mm", "end_mm"]].drop_duplicates().to_numpy(dtype=np.float64)
    span = tuple(float(v) for v in ends[0]) if len(ends) == 1 and np.isfinite(ends).all() else None
    return replace(
        one,
        depth=one.depth if one.depth is not None else members.depth,
        span=one.span or span,
        direction=one.direction or members.direction,
    )


def _covered(surface: Surface, one: Beneath) -> NDArray[np.bool_]:
    if one.area is None:
        return np.ones(surface.height.shape, dtype=bool)
    gx, gy = np.meshgrid(surface.x, surface.y)
    return np.asarray(shapely.contains_xy(one.area.buffer(1e-3), gx, gy), dtype=bool)


def _deepest(surface: Surface, one: Beneath, deepest_plane: float) -> tuple[Floats, str]:
    """[ny, nx] mm, and why it is nothing where planing was said to be allowed."""
    none = np.zeros(surface.height.shape)
    if one.engineered and one.may_be_planed:
        return none, ""  # not_followed says why
    if one.engineered:
        return none, Note("kind-engineered", kind=one.kind)
    if not one.may_be_planed:
        return none, Note("kind-not-planed", kind=one.kind)
    deepest = none + (deepest_plane if one.most_planed is None else one.most_planed)
    if one.kind != "sawn joist":
        return deepest, ""
    missing = [name for name in ("depth", "span", "direction") if getattr(one, name) is None]
    if missing:
        return none, Note("notch-unknown", missing=missing)
    return np.minimum(deepest, _notch_limit(surface, one)), Note("notch-limits")


def _notch_limit(surface: Surface, one: Beneath) -> Floats:
    assert one.depth is not None
    assert one.span is not None
    along = surface.x if one.direction == "x" else surface.y
    deepest = np.zeros(len(along))
    for first, last in pairwise(one.span):
        third, noise = (last - first) / 3, 1e-6
        # a cut runs out over one lattice step, so it starts no nearer to the middle third than that
        clear = third - surface.spacing + noise
        outer = ((along >= first - noise) & (along <= first + clear)) | (
            (along <= last + noise) & (along >= last - clear)
        )
        deepest[outer] = one.depth * NOTCH_SHARE
    allowed = deepest > 0
    at_end = (along <= one.span[0] + one.ends) | (along >= one.span[-1] - one.ends)
    if one.ends > 0:
        deepest[allowed & at_end] = one.depth * END_SHARE
    shape = surface.height.shape
    return np.broadcast_to(deepest if one.direction == "x" else deepest[:, None], shape).copy()
