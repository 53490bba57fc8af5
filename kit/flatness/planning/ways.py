"""Whole ways to do the work, side by side: each a complete plan by one method, and the one that is proposed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from flatness.errors import FlatnessError, PlanError, Problem, check_choice
from flatness.framing.members import Members
from flatness.limits.kinds import Limit
from flatness.notes import joined
from flatness.planning.constraints import FixedSpot, Rates
from flatness.planning.plan import WAYS, Plan
from flatness.planning.planner import Case, case_of, lumber_of
from flatness.planning.substrate import Beneath
from flatness.survey.readings import Survey

PROPOSED = "proposed"
COLUMNS = (
    "way",
    "places",
    "area_mm2",
    "lumber_mm",
    "fill_mm3",
    "mass_kg",
    "rise_mm",
    "work",
    "unit",
    "chance",
    "verdict",
    "why",
)


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways to do the work.

    Attributes
    ----------
    table : DataFrame, one row a way, the proposed one first, then by work: ``way``, ``places`` (patches, or members
        that are set), ``area_mm2``, ``lumber_mm`` (length of joists, studs or straps that are set), ``fill_mm3``,
        ``mass_kg`` (fill and lumber that is added, where their sections are known), ``rise_mm`` (most that the surface
        comes up), ``work`` by the rates in their ``unit``, ``chance`` that the true surface passes, ``verdict``,
        ``why`` (what keeps the way from being open; empty where it is)
    plans : the plan of each way that is open, by its name
    proposed : the name of the way with the least work of those that are sure enough, else of the surest; empty where
        none is open
    sure : whether the proposed one is sure enough
    closed : what keeps each of the others from being open, by its name
    """

    table: pd.DataFrame
    plans: Mapping[str, Plan]
    proposed: str
    sure: bool
    closed: Mapping[str, FlatnessError] = field(default_factory=dict)

    @property
    def plan(self) -> Plan:
        """The plan that is proposed."""
        return self.of(PROPOSED)

    def of(self, way: str) -> Plan:
        """The plan by a way of this name, or by the one that is ``proposed``.

        Raises
        ------
        PlanError : the way is not open, and why; or none is
        """
        way = self.proposed if way == PROPOSED else way
        if way in self.plans:
            return self.plans[way]
        found = [
            replace(one, column=one.column or name)
            for name in ([way] if way else self.closed)
            for one in self.closed[name].problems
        ]
        what = f"the way {way} is not open" if way else "no way is open"
        expected, remedy = "a way that is open", "change what stands against each, which follows"
        if self.plans:
            expected = ", ".join(self.plans)
            remedy = f"take another: {expected}"
        closed = Problem(what, column="way", value=way or None, expected=expected, remedy=remedy)
        raise PlanError([closed, *found])


def plan_ways(
    survey: Survey,
    limits: str | Limit | Iterable[str | Limit],
    *,
    members: Members | None = None,
    beneath: Beneath | Sequence[Beneath] | None = None,
    fixed: Sequence[FixedSpot] = (),
    rates: Rates | None = None,
    confidence: float = 0.95,
    ways: Sequence[str] = WAYS,
    **options: Any,
) -> Ways:
    """Every way to do the work that is open, side by side.

    Parameters
    ----------
    survey : the readings
    limits : names of limits or finishes, agreed limits, or several of them
    members : the joists, studs or strapping beneath
    beneath : what lies there, and whether it may be planed
    fixed : spots whose finished height is given
    rates : of the work; None: the defaults, in hours; common practice, no source
    confidence : from which chance on a way is sure enough
    ways : names of those to weigh
    options : others of :func:`~flatness.planning.planner.plan_corrections`

    Returns
    -------
    Ways

    Raises
    ------
    ArgumentError, LimitError : as for :func:`~flatness.planning.planner.plan_corrections`

    Examples
    --------
    >>> import numpy as np
    >>> from flatness.limits.kinds import straightedge_limit
    >>> from flatness.survey.readings import make_survey
    >>> x, y = np.meshgrid(np.arange(5) * 500.0, np.arange(3) * 500.0)
    >>> trough = make_survey(x, y, np.where(x == 1000, -4.0, 0.0), unit="mm")
    >>> found = plan_ways(
    ...     trough, straightedge_limit(1000, 3.0), spacing=500, headings=1, surface="as-read", draws=0
    ... )
    >>> found.proposed, found.table.set_index("way").loc["members", "why"]
    ('patches', 'no members are named')
    """
    wanted = dict(locals())
    del wanted["ways"], wanted["options"]
    case = case_of(**wanted, **options)
    plans: dict[str, Plan] = {}
    closed: dict[str, FlatnessError] = {}
    rows = []
    for way in ways:
        check_choice("ways", way, WAYS)
        try:
            plan = case.plan(way)
        except FlatnessError as error:
            closed[way] = error
            rows.append({"way": way, "why": joined(problem.what for problem in error.problems)})
            continue
        plans[way] = plan
        rows.append(_row(way, plan, case))
    confidence = case.request.confidence
    chances = {way: plan.chance for way, plan in plans.items()}
    # a plan that asks the engineer is not one to begin with
    ready = [way for way, plan in plans.items() if not plan.action("engineer").any()] or list(plans)
    sure = [way for way in ready if chances[way] >= confidence or (math.isnan(chances[way]) and plans[way].passes)]
    proposed = (
        min(sure, key=lambda way: plans[way].work)
        if sure
        else max(ready, key=lambda way: (np.nan_to_num(chances[way], nan=-1.0), -plans[way].work), default="")
    )
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    table["why"] = table["why"].fillna("")
    order = table.assign(last=table["way"] != proposed, closed=table["why"] != "").sort_values(
        ["last", "closed", "work"], kind="stable"
    )
    return Ways(table.loc[order.index].reset_index(drop=True), plans, proposed, bool(sure), closed)


def _row(way: str, plan: Plan, case: Case) -> dict[str, Any]:
    takes, lumber = plan.quantities, lumber_of(plan)
    section = plan.members.depth * plan.members.thickness if plan.members is not None and plan.members.depth else 0.0
    mass = takes.fill_mass + lumber * section * case.materials["sister_density"].value
    places = len(plan.lines) if plan.sets_members else len(plan.patches)
    return {
        "way": way,
        "places": places,
        "area_mm2": float(plan.patches["area_mm2"].sum()),
        "lumber_mm": lumber,
        "fill_mm3": takes.fill_volume,
        "mass_kg": mass,
        "rise_mm": float(np.nanmax(plan.change, initial=0.0)),
        "work": plan.work,
        "unit": case.terms.rates.unit,
        "chance": plan.chance,
        "verdict": plan.verdict,
        "why": "",
    }
