"""The plan of the corrections: what is to be done at every spot, what it takes, and what stands afterwards."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from flatness.corrections.cautions import Caution
from flatness.corrections.chalk import COLUMNS as MARK_COLUMNS
from flatness.corrections.finished import target_heights
from flatness.corrections.members import Members
from flatness.corrections.quantities import Quantities
from flatness.corrections.terms import Binding, FixedSpot
from flatness.limits.kinds import Limit
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats, Survey

# how the work is done: few places, every member to one plane, runs of members, a layer over all
# in the order of the work; `engineer`: may not be taken down without a word from the engineer or the maker
WAYS = ("patches", "members", "some-members", "overlay")
ACTIONS = ("leave", "engineer", "plane", "sister", "fur", "fill")
OUTSIDE = -1


@dataclass(frozen=True, eq=False)
class Plan:
    """What to do at every spot, and the proof that it passes.

    Attributes
    ----------
    survey : the readings it rests on
    surface : the surface as found that it was planned on
    based_on : ``likely``, the best estimate, or ``as-read``
    strategy : how the target was chosen
    limits : that the finished surface shall meet
    headings : directions in which bars are laid
    way : by which method, one of :data:`WAYS`
    plane : that members, or a layer over all, come to; empty where there is none
    set_height : [ny, nx] mm, the height that each place is brought to; NaN where it is left as found
    change : [ny, nx] mm, set height less surface, adding positive; 0 where it is left, NaN where there is no surface
    actions : [ny, nx], index into ``ACTIONS``; ``OUTSIDE`` where there is no surface
    patches : DataFrame, one row a connected area of one action, in the order of work: ``name`` (``P1``...),
        ``action``, ``area_mm2``, ``greatest_mm`` (signed, adding positive), ``mean_mm`` (signed), ``volume_mm3``
        (never negative), ``x_mm``, ``y_mm`` (a point inside), ``from_x_mm``, ``to_x_mm``, ``from_y_mm``,
        ``to_y_mm``, ``deepest_x_mm``, ``deepest_y_mm``, ``outline`` (a shapely polygon [mm]), ``note``
    after : DataFrame, one row a limit: ``limit``, ``measure`` (in words), ``before_mm``, ``after_mm``, ``likely_mm``,
        ``allowed_mm``, ``passes`` (bool, the planned surface measured again with the ordinary code, as ``after_mm``;
        False where it cannot be),
        ``chance`` (that the true surface passes once the places are set to their heights, each with its error;
        ``likely_mm`` is the median of what it may then measure), ``verdict`` (at the confidence asked for),
        ``note``, ``planned_for`` (bool, whether the plan was made to meet it). F-numbers and slopes are not lengths:
        their numbers stand in ``before``, ``after``, ``likely``, ``allowed`` with ``unit``; those in mm are NaN
    cost : rates x area x change
    bound : no change that passes costs less; NaN where the strategy does not seek the least
    flat_cost : what the cheapest dead-flat plane (or level, where level is asked for) would cost
    binding : terms that are met with nothing to spare
    fixed : spots whose finished height was given
    members : what lies beneath, where it was given
    marks : DataFrame, one row a height to set: ``name`` of the patch, ``mark`` (corner, inside), ``x_mm``, ``y_mm``,
        ``set_mm`` (height), ``reading_mm`` (as it was read: drops stay drops), ``found_mm``, ``change_mm``
    lines : of each member that is set: height at station 0 [mm], slope
    crossing : what strapping over all is fixed to, where it was given
    work : what it takes by the rates, in their unit
    quantities : what it takes
    settings : every choice and default that the plan rests on, by name: choices as they were given, thresholds as
        :class:`~flatness.corrections.quantities.Setting` with their source; ``planned_to`` is the share of the
        straightedge limits that was planned to
    notes : what the reader must know
    cautions : that go with the advice
    finished : False where the search for the least work was stopped early
    """

    survey: Survey
    surface: Surface
    based_on: str
    strategy: str
    limits: tuple[Limit, ...]
    headings: int
    change: Floats
    actions: NDArray[np.int8]
    patches: pd.DataFrame
    after: pd.DataFrame
    cost: float
    bound: float
    flat_cost: float
    quantities: Quantities
    way: str = "patches"
    plane: str = ""
    set_height: Floats | None = None
    marks: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(MARK_COLUMNS)))
    lines: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    crossing: Members | None = None
    work: float = math.nan
    binding: tuple[Binding, ...] = ()
    fixed: tuple[FixedSpot, ...] = ()
    members: Members | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    finished: bool = True

    def __post_init__(self) -> None:
        if self.set_height is None:
            changed = np.nan_to_num(self.change) != 0
            object.__setattr__(self, "set_height", np.where(changed, self.surface.height + self.change, np.nan))

    @property
    def sets_members(self) -> bool:
        """Whether members are set, all or some."""
        return self.way in ("members", "some-members")

    @property
    def chance(self) -> float:
        """The least chance of the limits that were planned for; NaN where none is known."""
        known = self.after.loc[self.after["planned_for"] & self.after["chance"].notna(), "chance"]
        return float(known.min()) if len(known) else math.nan

    @property
    def verdict(self) -> str:
        """Of all limits together once it is done: fail where one fails, else undecided where one is, else pass."""
        verdicts = set(self.after["verdict"])
        return next((v for v in (FAIL, UNDECIDED) if v in verdicts), PASS if verdicts else "")

    @property
    def x(self) -> Floats:
        """[nx] mm."""
        return self.surface.x

    @property
    def y(self) -> Floats:
        """[ny] mm."""
        return self.surface.y

    @property
    def target(self) -> Floats:
        """[ny, nx] mm, height of the surface after the change."""
        return target_heights(self)

    @property
    def passes(self) -> bool:
        """Whether the planned surface, measured again, is within every limit that can be measured on it."""
        measured = self.after["after"].notna()
        return bool(self.after.loc[measured, "passes"].all())

    @property
    def gap(self) -> float:
        """(cost - bound) / cost, the proof's slack; 0 where nothing need be done, NaN where there is no bound."""
        return (self.cost - self.bound) / self.cost if self.cost > 0 else 0.0

    def action(self, name: str) -> NDArray[np.bool_]:
        """[ny, nx], True where this action is planned."""
        return np.asarray(self.actions == ACTIONS.index(name))
