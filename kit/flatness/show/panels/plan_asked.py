"""What a person asks of a plan in the Plan panel, as the kit's own terms: spots, framing, what lies beneath."""

from __future__ import annotations

from dataclasses import dataclass, replace

from flatness.corrections.beneath import Beneath
from flatness.corrections.members import KINDS as MEMBER_KINDS
from flatness.corrections.members import Members, member_layout
from flatness.corrections.terms import FixedSpot, spot_heights
from flatness.surface.lattice import Surface

LEAST_WORK, LEVEL_AT, LEVEL, BEST, CHEAPEST, SPOTS = TARGETS = (
    "least-work", "level-at", "level", "best-plane", "cheapest-plane", "fixed-spots",
)  # fmt: skip
# what each target is to the planner: strategy and tilt
STRATEGY = {
    LEAST_WORK: ("least-work", "least-squares"), LEVEL_AT: ("level", "least-squares"),
    LEVEL: ("level", "least-squares"), BEST: ("best-plane", "least-squares"), CHEAPEST: ("best-plane", "least-work"),
    SPOTS: ("fixed-spots", "least-squares"),
}  # fmt: skip
SIXTEEN_INCHES = 406.4


@dataclass(frozen=True)
class Spot:
    """A spot whose finished height is fixed, as a carpenter says it.

    Attributes
    ----------
    x, y : where [mm]
    raised : how far above what is there it shall be [mm]; 0 leaves it as found, below zero is lower
    allowance : how far off it may be, either way [mm]
    name : as it is called
    """

    x: float
    y: float
    raised: float = 0.0
    allowance: float = 0.0
    name: str = ""

    def fixed(self, surface: Surface) -> FixedSpot:
        """The same as a finished height off the datum.

        Raises
        ------
        PlanError : a spot that is not on the surface
        """
        kept = FixedSpot(self.x, self.y, None, self.allowance, self.name)
        found = float(spot_heights(surface, [kept])[0])
        return kept if self.raised == 0 else replace(kept, height=found + self.raised)


@dataclass(frozen=True)
class Framing:
    """The members beneath, as they are laid out: from the first one, and a spacing.

    Attributes
    ----------
    kind : of :data:`~flatness.corrections.members.KINDS`; empty where none are given
    direction : ``x`` where they run along x, ``y`` where along y
    first, spacing : centre line of the first one, and centre to centre [mm]
    depth : [mm], or None where it is not known
    bearings : positions along them of what carries them [mm], two or more; empty: as far as was read
    line, set_by : as for :func:`~flatness.corrections.schedule.member_schedule`; an empty line takes its default
    """

    kind: str = ""
    direction: str = "y"
    first: float = 0.0
    spacing: float = SIXTEEN_INCHES
    depth: float | None = None
    bearings: tuple[float, ...] = ()
    line: str = ""
    set_by: str = "each"

    def members(self, surface: Surface) -> Members | None:
        """The members over the whole reach of a surface.

        Raises
        ------
        ArgumentError : a layout that is out of range
        """
        if not self.kind:
            return None
        across = surface.x if self.direction == "y" else surface.y
        ends = (self.bearings[0], self.bearings[-1]) if self.bearings else (None, None)
        return member_layout(
            self.first, self.spacing, self.direction, until=float(across[-1]), kind=self.kind, depth=self.depth,
            start=ends[0], end=ends[1],
        )  # fmt: skip


@dataclass(frozen=True)
class Under:
    """What lies beneath.

    Attributes
    ----------
    kind : of :data:`~flatness.corrections.beneath.KINDS`; empty where nobody knows
    may_be_planed : whether a person has seen it and says that it may be taken down
    most_planed : how deep at most [mm]; None takes the planner's default
    """

    kind: str = ""
    may_be_planed: bool = False
    most_planed: float | None = None

    def beneath(self, framing: Framing) -> Beneath | None:
        """The same for the planner; joists take depth, direction and bearings from the framing.

        Raises
        ------
        ArgumentError : sizes out of range
        """
        if not self.kind:
            return None
        span = framing.bearings if self.kind in MEMBER_KINDS and len(framing.bearings) > 1 else None
        return Beneath(self.kind, self.may_be_planed, self.most_planed, span=span)
