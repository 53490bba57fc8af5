"""The search for a plan beside the notebook: how far it is, how it ends, and how it is stopped."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from flatness.corrections.plan import Plan
from flatness.corrections.planner import plan_corrections
from flatness.corrections.quantities import Quantities, quantities, settings_for
from flatness.corrections.schedule import Schedule, member_schedule
from flatness.errors import FlatnessError, Problem
from flatness.job.records import Framing as JobFraming
from flatness.job.sistering import sister_lengths
from flatness.show.panels.plan_asked import STRAPPING, Framing, Materials
from flatness.show.panels.plan_tables import cost_so_far
from flatness.show.panels.plan_worker import Tell, Worker
from flatness.show.panels.state import problems_of

if TYPE_CHECKING:
    from flatness.show.panels.plan_state import PlanState

STARTING = "Laying the straightedge everywhere on the surface as it is ..."
LAYING = "Laying the plane, the patches and the straightedges on it ..."
STOPPING = "Stopping: what was found so far is being proved. Press Stop once more to drop it."


class PlanSearch:
    """Works out the plan that a state asks for, and puts it into the state."""

    def __init__(self, state: PlanState) -> None:
        self._state, self._worker = state, Worker(state.lock)
        self._stopping = False
        self._told: tuple[Problem, ...] = ()  # what the last search said was wrong

    def start(self, draws: int, *, shown: bool = True) -> None:
        """Begin the search.

        Parameters
        ----------
        draws : surfaces drawn for the chances; 0 gives none
        shown : whether a progress bar is shown meanwhile

        Raises
        ------
        FlatnessError : something that is asked for is missing or out of range
        """
        state = self._state
        arguments, framing, materials, seen = state.arguments(draws), state.framing, state.materials, _Seen()
        self._stopping = False

        def work(stopped: Callable[[], bool], tell: Tell) -> tuple[Plan, Schedule | None, tuple[Problem, ...]]:
            def progress(count: int, left: int, cost: float) -> bool:
                share = seen.share(count, left)
                words = f"{seen.words(count, left)} {cost_so_far(cost, state)}"
                tell(lambda: self._progress(share, words))
                return stopped()

            plan = plan_corrections(**arguments, progress=progress)
            return scheduled(plan, framing, materials)

        with state.hold_trait_notifications():
            state.running, state.share = shown, 0.0
            state.progress = (LAYING if state.is_plane else STARTING) if shown else ""
        self._worker.run(work, lambda found, error: self._done(found, error, bool(draws)))

    def _progress(self, share: float, words: str) -> None:
        state = self._state
        if not self._stopping:
            with state.hold_trait_notifications():
                state.share, state.progress = share, words

    def _done(self, found: Any, error: Exception | None, sure: bool) -> None:
        state = self._state
        with state.hold_trait_notifications():
            state.running, state.progress, state.share = False, "", 0.0
            self._say(found[2] if error is None else problems_of(error))
            if error is None:
                state.plan, state.schedule, _ = found
                state.current, state.sure = True, sure

    def _say(self, problems: tuple[Problem, ...]) -> None:
        """What this search says is wrong, in place of what the last one said; a mistake typed meanwhile stays told."""
        others = tuple(one for one in self._state.problems if one not in (*self._told, *problems))
        self._state.problems, self._told = (*others, *problems), problems

    def later(self, seconds: float) -> None:
        """Work out patches and proof of a plane, without chances, once the controls have come to rest."""
        self._worker.later(seconds, self._state.guard(lambda: self.start(0, shown=False), clears=False))

    def stop(self) -> None:
        """End the search with what it has; a second time: never mind what it has."""
        state = self._state
        if not state.running:
            return
        if self._stopping:
            self.forget()
            self._say((Problem("the search was dropped", remedy="change what you like, and work it out again"),))
            return
        self._stopping = True
        self._worker.stop()
        state.progress = STOPPING

    def forget(self) -> None:
        """Drop the search."""
        self._worker.forget()
        state = self._state
        with state.hold_trait_notifications():
            state.running, state.progress, state.share = False, "", 0.0

    def take(self) -> None:
        """Take what the search has told so far, where no loop does."""
        self._worker.take()

    def wait(self) -> None:
        """Wait until the search is done."""
        self._worker.wait()

    @property
    def busy(self) -> bool:
        return self._worker.busy


class _Seen:
    """What the rounds so far have shown of how far the search is."""

    def __init__(self) -> None:
        self._searches = self._most = 0

    def share(self, count: int, left: int) -> float:
        """How far the search is [-]: broken placements grow few about as fast as they were many."""
        if count == 1:
            self._searches, self._most = self._searches + 1, left
        self._most = max(self._most, left)
        return 1.0 if self._most == 0 else 1.0 - math.log1p(left) / math.log1p(self._most)

    def words(self, count: int, left: int) -> str:
        return (
            f"Search {self._searches}, round {count}: {left} place{'' if left == 1 else 's'} of the straightedge still "
            f"{'does' if left == 1 else 'do'} not pass."
            if left
            else f"Search {self._searches}, round {count}: the straightedge passes everywhere."
        )


def scheduled(
    plan: Plan, framing: Framing, materials: Materials
) -> tuple[Plan, Schedule | None, tuple[Problem, ...]]:  # fmt: skip
    """The plan with what its sisters take, and what each member is set to, where members are given.

    What goes wrong with the members does not lose the plan.
    """
    if plan.members is None:
        return plan, None, ()
    schedule = None
    try:
        line = "clear" if framing.kind == STRAPPING else framing.line or None
        schedule = member_schedule(
            plan, plan.members, crossing=framing.crossing(plan.surface), line=line, set_by=framing.set_by
        )  # fmt: skip
        return replace(plan, quantities=with_sisters(plan, schedule, materials)), schedule, ()
    except FlatnessError as error:
        return plan, schedule, error.problems


def with_sisters(plan: Plan, schedule: Schedule, materials: Materials) -> Quantities:
    """What a plan takes with its sisters or furring, where their depth is known, and the lengths to buy for them."""
    assert plan.members is not None
    framing = JobFraming(plan.members)
    sisters = sister_lengths(plan, framing, schedule)
    if sisters.empty or framing.section is None:
        return plan.quantities
    return quantities(
        plan, fill=plan.action("fill"), plane=plan.action("plane"), sisters=sisters["length_mm"].tolist(),
        sister_section=framing.section, stock=materials.stock or None,
        settings=settings_for(plan.survey.surface, materials.settings()), framed=framing.framed,
    )  # fmt: skip
