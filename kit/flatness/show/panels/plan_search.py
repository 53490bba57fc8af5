"""The search for a plan beside the notebook: how far it is, how it ends, and how it is stopped."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from flatness.corrections.plan import Plan
from flatness.corrections.planner import plan_corrections
from flatness.corrections.quantities import settings_for
from flatness.corrections.ways import Ways, plan_ways
from flatness.errors import FlatnessError, Problem
from flatness.job.records import Framing as JobFraming
from flatness.job.sistering import schedule_of, with_sisters
from flatness.show.panels.plan_asked import Materials
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
        self._framing: JobFraming | None = None
        self._materials = Materials()
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
        arguments, seen, plane = state.arguments(draws), _Seen(), state.is_plane
        members = arguments["members"]
        self._framing = None if members is None else JobFraming(members, {}, state.framing.crossing(state.surface))
        self._materials, self._stopping = state.materials, False

        def work(stopped: Callable[[], bool], tell: Tell) -> Plan | Ways:
            def progress(count: int, left: int, cost: float) -> bool:
                share = seen.share(count, left)
                words = f"{seen.words(count, left)} {cost_so_far(cost, state)}"
                tell(lambda: self._progress(share, words))
                return stopped()

            return (plan_corrections if plane else plan_ways)(**arguments, progress=progress)

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
            if error is not None:
                self._say(problems_of(error))
                return
            state.current, state.sure = True, sure
            self.show(found)

    def show(self, found: Plan | Ways) -> None:
        """Take a plan, or the one of all ways that is asked for; where that is not open there is none, and why."""
        state = self._state
        problems: tuple[Problem, ...] = ()
        plan, schedule = (None if isinstance(found, Ways) else found), None
        try:
            plan = found.of(state.way) if isinstance(found, Ways) else found
            schedule = schedule_of(plan, self._framing)
        except FlatnessError as error:  # what goes wrong with the members does not lose the plan
            problems = error.problems
        if plan is not None:
            settings = settings_for(plan.survey.surface, self._materials.settings())
            takes = with_sisters(plan, self._framing, schedule, self._materials.stock or None, settings)
            plan = replace(plan, quantities=takes)
        with state.hold_trait_notifications():
            self._say(problems)
            state.ways = found if isinstance(found, Ways) else None
            state.plan, state.schedule = plan, schedule

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
