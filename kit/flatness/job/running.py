"""``run_job``: all that a job asks for, each part computed once, when it is first asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from flatness.comparison.comparing import Comparison, compare
from flatness.errors import FlatnessError
from flatness.framing.reveal import Reveal, reveal
from flatness.framing.schedule import SISTER_COLUMNS, Schedule, member_schedule, members_under, sister_lengths
from flatness.job.records import Framing, Job, Stock
from flatness.limits.verdict import Assessment, assess
from flatness.planning.least_work import Progress
from flatness.planning.patches import framing_of
from flatness.planning.plan import Plan
from flatness.planning.quantities import Quantities, Setting, quantities
from flatness.planning.ways import PROPOSED, Ways, plan_ways
from flatness.surroundings.finished_surface import finished_surface
from flatness.surroundings.interferences import COLUMNS, consequences

OF_PATCHES = ("line", "set_by")  # options of a schedule that a way that sets members decides itself


def schedule_of(plan: Plan, framing: Framing | None) -> Schedule | None:
    """What each member is set to by the plan's way; None where it sets none.

    All members, or some; the straps of a layer over all; or, for patches, those under places that are framed out.

    Parameters
    ----------
    plan : with its way
    framing : the members that were named and what is asked of their schedule, or None

    Raises
    ------
    FlatnessError : as for :func:`~flatness.framing.schedule.member_schedule`
    """
    framing = framing_for(plan, framing)
    if framing is None or (framing.members.kind == "strapping" and framing.crossing is None):
        return None
    options: dict[str, Any] = dict(framing.options)
    if plan.way == "patches":
        some = member_schedule(plan, framing.members, crossing=framing.crossing, every=False, **options)
        names = set(sisters_of(plan, framing, some)["member"])
        return some.only(names) if names else None
    options = {name: value for name, value in options.items() if name not in OF_PATCHES}
    by = "string" if plan.plane == "end-members" else "each"
    return member_schedule(plan, framing.members, crossing=framing.crossing, set_by=by, **options)


def framing_for(plan: Plan, framing: Framing | None) -> Framing | None:
    """The framing that the plan's way works on; None where it works on none."""
    members = plan.members
    if members is None:
        return None
    if plan.way == "patches" and not plan.action(framing_of(plan.survey.surface)).any():
        return None
    strapping = members.kind == "strapping"
    if framing is None or members is not framing.members:
        return Framing(members, {}, plan.crossing if strapping else None)
    return Framing(members, framing.options, framing.crossing if strapping else None)


def with_sisters(
    plan: Plan, framing: Framing | None, schedule: Schedule | None, stock: Stock, settings: Mapping[str, Setting]
) -> Quantities:
    """What a plan takes with its sisters or straps, where their section is known, and the lengths to buy for them."""
    framing = framing_for(plan, framing)
    if framing is None or schedule is None or framing.section is None:
        return plan.quantities
    sisters = sisters_of(plan, framing, schedule)
    if sisters.empty:
        return plan.quantities
    return quantities(
        plan,
        fill=plan.action("fill"),
        plane=plan.action("plane"),
        sisters=sisters["length_mm"].tolist(),
        sister_section=framing.section,
        stock=stock,
        settings=settings,
        framed=framing.framed,
    )


def sisters_of(plan: Plan, framing: Framing, schedule: Schedule) -> pd.DataFrame:
    """The sisters that a plan takes, as :func:`~flatness.framing.schedule.sister_lengths` gives them."""
    wanted = np.ones(len(schedule.members), dtype=bool)
    if plan.sets_members:
        wanted = schedule.members["member"].isin(list(plan.lines)).to_numpy()
    elif plan.way == "patches":
        wanted = members_under(schedule, framing.members, plan.surface, plan.action(framing_of(plan.survey.surface)))
    return sister_lengths(schedule, framing.members, plan.surface, plan.survey, wanted)


# the file's key for what the kit's errors name
_KEYS = {
    "limits": "limits",
    "fixed": "fixed",
    "beneath": "beneath",
    "spacing": "plan.spacing",
    "aim": "plan.aim",
    "pieces": "materials.stock",
    "align": "compare.align",
    "unchanged": "compare.unchanged",
}


@dataclass(frozen=True, eq=False)
class Results:
    """What a job gives; each part is computed when it is first asked for, and once.

    What fails then is a FlatnessError that names the job file and the table that asked for it.

    Attributes
    ----------
    job : what was asked for
    progress : called each round of the search for the least work; True stops it
    """

    job: Job
    progress: Progress | None = field(default=None, repr=False)

    @cached_property
    def assessment(self) -> Assessment | None:
        """The survey before against the limits; None where the job names none."""
        job = self.job
        if not job.limits:
            return None
        with self._located("limits"):
            return assess(
                job.before.survey,
                job.limits,
                spacing=job.spacing,
                headings=job.headings,
                spot_checks=job.before.spot_checks,
                **job.drawn,
            )

    @cached_property
    def ways(self) -> Ways | None:
        """Every way to correct the surface, side by side; None where the job asks for no plan."""
        job, terms = self.job, self.job.plan
        if terms is None:
            return None
        options: dict[str, Any] = {**terms.options, **terms.thresholds}
        if terms.way != PROPOSED:
            options["way"] = terms.way
        with self._located("plan"):
            return plan_ways(
                job.before.survey,
                job.limits,
                rates=terms.rates,
                depths=terms.depths,
                fixed=terms.fixed,
                beneath=terms.beneath,
                members=job.framing.members if job.framing else None,
                crossing=job.framing.crossing if job.framing else None,
                materials=job.materials.settings,
                progress=self.progress,
                spot_checks=job.before.spot_checks,
                **job.drawn,
                **options,
            )

    @cached_property
    def plan(self) -> Plan | None:
        """The plan by the way that the job names, or by the one that is proposed; None where it asks for no plan."""
        if self.ways is None or self.job.plan is None:
            return None
        with self._located("plan.way"):
            return self.ways.of(self.job.plan.way)

    @cached_property
    def schedule(self) -> Schedule | None:
        """What each member is set to by the plan's way; None where it sets none."""
        if self.plan is None:
            return None
        with self._located("members"):
            return schedule_of(self.plan, self.job.framing)

    @cached_property
    def framing(self) -> Framing | None:
        """The members that the plan's way works on, or None."""
        return None if self.plan is None else framing_for(self.plan, self.job.framing)

    @cached_property
    def sisters(self) -> pd.DataFrame:
        """The sisters, or furring, that the plan takes: ``member``, ``start_mm``, ``end_mm``, ``length_mm``."""
        if self.framing is None or self.plan is None or self.schedule is None:
            return pd.DataFrame(columns=list(SISTER_COLUMNS))
        return sisters_of(self.plan, self.framing, self.schedule)

    @cached_property
    def consequences(self) -> pd.DataFrame:
        """What the change and the layers do at doors, stairs, thresholds and overhead, one row each."""
        if self.plan is None or not self.job.features:
            return pd.DataFrame(columns=list(COLUMNS))
        kinds = dict.fromkeys(type(feature).__name__.lower() for feature in self.job.features)
        with self._located(", ".join(kinds)):
            return consequences(self.plan, self.job.features, self.job.layers)

    @cached_property
    def reveals(self) -> dict[str, Reveal]:
        """The reveal along each line over the finished surface, by its name."""
        if self.plan is None:
            return {}
        finished = finished_surface(self.plan, self.job.layers)
        found = {}
        for i, line in enumerate(self.job.reveals, 1):
            with self._located(f"reveal[{i}]"):
                found[line.name] = reveal(finished, line.start, line.end, line.nominal, **line.options)
        return found

    @cached_property
    def quantities(self) -> Quantities | None:
        """What the plan takes, sisters and the lengths to buy for them included; None without a plan.

        The plan's own quantities are without sisters: they come from the schedule.
        """
        if self.plan is None:
            return None
        with self._located("materials"):
            stock, settings = self.job.materials.stock, self.job.materials.settings
            return with_sisters(self.plan, self.job.framing, self.schedule, stock, settings)

    @cached_property
    def comparison(self) -> Comparison | None:
        """After against before, and against the plan where there is one; None where the job names no later survey."""
        job = self.job
        if job.after is None:
            return None
        how = job.compared
        with self._located("compare"):
            return compare(
                job.before.survey,
                job.after.survey,
                align=how.align,
                unchanged=how.unchanged,
                spacing=job.spacing,
                limits=job.limits,
                plan=self.plan,
                tolerance=how.tolerance,
                spot_checks=(job.before.spot_checks, job.after.spot_checks),
                **job.drawn,
            )

    @property
    def notes(self) -> tuple[str, ...]:
        """What the reader must know beside the notes of each part."""
        framing = self.framing
        if framing is None or self.sisters.empty or framing.section is not None:
            return ()
        if framing.framed == "strapping":
            return ("the strapping is not weighed: the job file gives no depth, which is its width, in [members]",)
        return ("the sisters are not weighed: the job file gives neither depth nor sister_depth in [members]",)

    @contextmanager
    def _located(self, path: str) -> Iterator[None]:
        try:
            yield
        except FlatnessError as error:
            origin = self.job.origin
            placed = [
                replace(problem, file=origin.file, column=origin.place(_KEYS.get(problem.column or "", path)))
                for problem in error.problems
            ]
            raise type(error)(placed) from error


def run_job(job: Job, progress: Progress | None = None) -> Results:
    """What a job gives.

    Parameters
    ----------
    job : from :func:`~flatness.job.reading.read_job`
    progress : called each round of the search for the least work with its number, the placements still broken and the
        cost so far; True stops it

    Returns
    -------
    Results : each part is computed when it is first asked for

    Raises
    ------
    FlatnessError : when a part that cannot be is asked for, with the job file's name and the table that asked for it
    """
    return Results(job, progress)
