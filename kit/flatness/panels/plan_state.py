"""What the Plan panel knows: what is set, the draft while a slider moves, and the plan once it is worked out.

The search for a plan goes on beside the notebook.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from traitlets import Any as AnyTrait
from traitlets import Bool, Dict, Enum, Float, Tuple, Unicode

from flatness.errors import ArgumentError, FlatnessError, Problem
from flatness.framing.members import KINDS as MEMBER_KINDS
from flatness.framing.members import Members, member_layout
from flatness.job.records import Framing
from flatness.job.running import schedule_of, with_sisters
from flatness.limits.kinds import Limit
from flatness.limits.spot_checks import Checks, Sweep, stop_gap, wanted_sweeps
from flatness.measures.bars import Place
from flatness.panels.check_state import AgreedState
from flatness.panels.files import SurveyChoice
from flatness.panels.plan_text import Money, cost_so_far
from flatness.panels.state import Tell, Worker, problems_of
from flatness.planning.constraints import Depths, FixedSpot, Rates, check_meant, spot_heights
from flatness.planning.draft import Draft, draft_plane, ground_of
from flatness.planning.plan import WAYS, Plan
from flatness.planning.planner import plan_corrections
from flatness.planning.quantities import Setting, settings_for, settings_of
from flatness.planning.set_members import PLANES
from flatness.planning.substrate import Beneath
from flatness.planning.ways import PROPOSED, Ways, plan_ways
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey

LEAST_WORK, LEVEL_AT, LEVEL, BEST, CHEAPEST, SPOTS, BENCHMARKS = TARGETS = (
    "least-work",
    "level-at",
    "level",
    "best-plane",
    "cheapest-plane",
    "fixed-spots",
    "through-benchmarks",
)
# what each target is to the planner: strategy and tilt
STRATEGY = {
    LEAST_WORK: ("least-work", "least-squares"),
    LEVEL_AT: ("level", "least-squares"),
    LEVEL: ("level", "least-squares"),
    BEST: ("best-plane", "least-squares"),
    CHEAPEST: ("best-plane", "least-work"),
    SPOTS: ("fixed-spots", "least-squares"),
    BENCHMARKS: ("through-benchmarks", "least-squares"),
}
STRAPPING = "strapping"
USUAL_LAYOUT = {"first": 0.0, "spacing": 406.4}  # 16 in
SUREST = "sure"
PLAN_VIEW = "plan"  # the one map that there is
DRAWS = 200
REST_S = 0.35  # after a control has come to rest for so long the patches of a plane are worked out
# what a plan is of; ``way`` is not among it, for all ways are worked out together
OF_A_PLAN = (
    *("target", "plane", "height", "aim", "off_times", "cut", "fill", "level_within", "deepest_fill", "on", "spots"),
    *("under", "grounds", "members", "crossing", "bearings", "materials", "benchmarks", "off_benchmarks"),
    *("finish", "agreed", "confidence", "spot_checks"),
)


def placed_benchmarks(survey: Survey | None) -> dict[str, FixedSpot]:
    """The benchmarks of a survey that stand at a place of the file, by name, with their known heights."""
    found: dict[str, FixedSpot] = {}
    if survey is not None:
        for row in survey.ties.to_dict("records"):
            name = str(row["label"])
            known = row["kind"] == "benchmark" and name in survey.benchmarks
            if known and math.isfinite(row["x"]) and math.isfinite(row["y"]):
                found.setdefault(name, FixedSpot(row["x"], row["y"], survey.benchmarks[name], 0.0, name))
    return found


def as_found(surface: Surface, spot: FixedSpot) -> float:
    """Height [mm] of a surface at a spot; PlanError where it is not on it."""
    return float(spot_heights(surface, [replace(spot, height=None)])[0])


class PlanState(AgreedState):
    """The state of the Plan panel.

    Attributes
    ----------
    choice : the survey chosen
    finish, agreed : key of the finish to come, and the sizes of a limit agreed for this job
    way : ``proposed``, the best of all ways, or one of :data:`~flatness.planning.plan.WAYS`
    plane : that members or a layer come to; empty: level, or plumb
    target : of patches, one of :data:`TARGETS`
    height : of the level plane of ``level-at`` [mm]
    aim : ``sure``, or the share of each straightedge limit to plan to, over 0 up to 1
    off_times : what taking off costs, in times what adding costs
    price : of adding, in money [per mm3], or None; it is for show and changes no plan
    cut, fill : deepest that may come off and be added [mm], or None
    level_within : band between two level planes [mm] for the least work, or None
    deepest_fill : beyond which is framed [mm], or None for the planner's own
    on : ``likely`` or ``as-read``, the surface that is planned on
    under, members, crossing, materials : what lies beneath, the members, those that strapping crosses, and what
        quantities rest on, by the keys that a job file has for them [mm, mm3, kg/mm3]
    bearings : positions along the members of what carries them [mm], two or more; empty: as far as was read
    spots : whose finished height is given, a :class:`~flatness.planning.constraints.FixedSpot` each
    grounds : what lies beneath parts of the surface, a :class:`~flatness.planning.substrate.Beneath` each
    benchmarks : names of those that the plane of ``through-benchmarks`` goes through
    off_benchmarks : how far the finished surface lies above them [mm]
    confidence : at which verdicts are given
    spot_checks : what a bar showed between the stations
    clicking : whether a click on the map fixes a spot
    draft : the :class:`Draft` of a plane, or None
    ways : all ways as last worked out, or None
    plan, schedule : by the way that is chosen, or None
    current : whether they are of what is set now
    sure : whether the plan's chances were worked out
    running, share, progress : whether a plan is being worked out, how far it is [-], and that in words
    pointer : place [mm] that is pointed at, or None
    view : the map that is shown
    saved : names of the files last written
    """

    way = Enum((PROPOSED, *WAYS), PROPOSED)
    plane = Enum(("", *PLANES), "")
    target = Enum(TARGETS, LEAST_WORK)
    height = Float(None, allow_none=True)
    aim = AnyTrait(SUREST)
    off_times = Float(1.0)
    price = Float(None, allow_none=True)
    cut = Float(None, allow_none=True)
    fill = Float(None, allow_none=True)
    level_within = Float(None, allow_none=True)
    deepest_fill = Float(None, allow_none=True)
    on = Enum(("likely", "as-read"), "likely")
    under = Dict()
    members = Dict({**USUAL_LAYOUT, "direction": "y"})
    crossing = Dict({**USUAL_LAYOUT, "kind": "sawn joist"})
    bearings = Tuple()
    spots = Tuple()
    grounds = Tuple()
    materials = Dict()
    benchmarks = Tuple()
    off_benchmarks = Float(0.0)
    confidence = Float(0.95)
    spot_checks = Tuple()
    clicking = Bool(False)
    draft = AnyTrait(None)
    ways = AnyTrait(None)
    plan = AnyTrait(None)
    schedule = AnyTrait(None)
    current = Bool(False)
    sure = Bool(False)
    running = Bool(False)
    share = Float(0.0)
    progress = Unicode("")
    pointer = AnyTrait(None)
    view = Enum((PLAN_VIEW,), PLAN_VIEW)

    def __init__(
        self,
        file: str | os.PathLike[str] = "",
        finish: str = "",
        folders: Iterable[str | os.PathLike[str]] = (),
        spacing: float | None = None,
        draws: int = DRAWS,
        **traits: Any,
    ) -> None:
        super().__init__(choice=SurveyChoice(folders, file), **traits)
        self.spacing, self.draws = spacing, draws
        self.search = PlanSearch(self)
        self._ground: tuple[Any, Surface | None] = (None, None)
        self._strips: tuple[Any, tuple[Sweep, ...]] = (None, ())
        self._seen_in = ""  # the file of which it was said what lies beneath
        self.set_trait("finish", finish)
        self.choice.observe(self.guard(self._new_survey), "survey")
        self.observe(self.alone(self._draft_again), list(OF_A_PLAN))
        self.observe(self.guard(self._way_chosen), ["way"])

    def check(self, trait: str, value: Any) -> None:
        if trait == "materials":
            self.settings(value)
        bearings = value if trait == "bearings" else ()
        if len(bearings) == 1 or list(bearings) != sorted(set(bearings)):
            expected, remedy = "two places or more, rising, with ; between", "type both ends, or leave it empty"
            raise ArgumentError("not bearings", value=str(len(bearings)), expected=expected, remedy=remedy)

    @staticmethod
    def settings(materials: Mapping[str, Any]) -> Mapping[str, Setting] | None:
        """What quantities rest on, for the planner; None where nothing was set.

        Raises
        ------
        ArgumentError : a number out of range
        """
        own = {name: value for name, value in materials.items() if name != "stock" and value is not None}
        return settings_of(**own) if own else None

    @property
    def surface(self) -> Surface | None:
        """The surface as found that is planned on."""
        if self.survey is None:
            return None
        limits = self.limits()
        lengths = tuple(limit.length for limit in limits)
        key = (self.survey, self.on, self.spacing, lengths)
        if self._ground[0] != key:
            with self.at_work("Working out the surface between the readings ..."):
                self._ground = (key, ground_of(self.survey, limits, self.on, self.spacing))
        return self._ground[1]

    @property
    def swept(self) -> Limit | None:
        """The straightedge limit under which a bar that is slid stops first; None: none is asked for."""
        survey = self.survey
        bars = [] if survey is None else [one for one in self.limits() if one.kind == "straightedge"]
        return min(bars, key=lambda one: stop_gap(one, None, survey), default=None) if survey is not None else None

    @property
    def strips(self) -> tuple[Sweep, ...]:
        """Along which a bar is to be slid for that limit; empty where nothing asks for it."""
        surface, limit = self.surface, self.swept
        if self.survey is None or surface is None or limit is None:
            return ()
        if self._strips[0] != (key := (surface, limit)):
            self._strips = (key, tuple(wanted_sweeps(self.survey, surface, limit)))
        return self._strips[1]

    def use_spot_checks(self, done: Checks) -> None:
        """Plan with what a bar showed between the stations."""
        self.spot_checks = tuple(done)

    @property
    def _ends(self) -> tuple[float, float]:
        surface = self.surface
        if surface is None:
            return 0.0, 0.0
        heights = surface.height[surface.inside]
        return float(heights.min()), float(heights.max())

    @property
    def reach(self) -> float:
        """From the lowest spot to the proudest [mm]."""
        return self._ends[1] - self._ends[0]

    @property
    def below(self) -> float:
        """How far the plane of ``level-at`` lies below the proudest spot [mm]."""
        return 0.0 if self.height is None else self._ends[1] - self.height

    @below.setter
    def below(self, mm: float) -> None:
        self.height = self._ends[1] - mm

    @property
    def money(self) -> Money:
        """How costs are shown."""
        return Money(self.unit, self.price, self.off_times)

    @property
    def shown(self) -> Plan | Draft | None:
        """What is in view: the plan, or a draft that is newer."""
        shown: Plan | Draft | None = self.plan if self.draft is None or self.current else self.draft
        return shown

    @property
    def is_plane(self) -> bool:
        """Whether patches are brought to a plane, so that a draft of it can be shown at once."""
        return bool(self.target != LEAST_WORK and self.chosen_way == "patches")

    @property
    def chosen_way(self) -> str:
        """The way, which is patches where these are brought to a plane."""
        return "patches" if self.way == PROPOSED and self.target != LEAST_WORK else str(self.way)

    def arguments(self, draws: int) -> dict[str, Any]:
        """What is set, as the arguments of :func:`~flatness.planning.planner.plan_corrections`.

        Raises
        ------
        FlatnessError : no survey is chosen, or something set is out of range
        """
        surface, survey = self.surface, self.survey
        if survey is None or surface is None:
            raise ArgumentError("no survey is chosen", remedy="choose one in the list, or upload one")
        plane = self.is_plane
        strategy, tilt = STRATEGY[self.target if plane else LEAST_WORK]
        least, limits = not plane, self.limits()
        if least and not limits and self.level_within is None and self.chosen_way not in ("members", "overlay"):
            raise ArgumentError(
                "nothing that the least work can be planned for",
                column="Finish",
                value="none",
                expected="a finish, or a limit that was agreed",
                remedy="choose the finish, agree a straightedge limit, or take a plane or another way",
            )
        aim = self.aim if least else 1.0
        return {
            "survey": survey,
            "strategy": strategy,
            "plane": self.plane or None,
            "limits": limits,
            "spacing": surface.spacing,
            "surface": self.on,
            "rates": self.rates,
            "depths": self.depths,
            "fixed": self._fixed(surface),
            "level_within": self.level_within if least else None,
            "height": self.height if plane and self.target == LEVEL_AT else None,
            "tilt": tilt,
            "beneath": self._beneath(),
            "members": self.framed(surface),
            "materials": self.settings(self.materials),
            "aim": 1.0 if aim == SUREST and not draws else aim,
            "confidence": self.confidence,
            "spot_checks": self.spot_checks if draws else (),
            "draws": draws,
            "deepest_fill": self.deepest_fill,
        }

    def framed(self, surface: Surface) -> Members | None:
        """The members over the whole reach of a surface; None where none are given.

        Raises
        ------
        ArgumentError : a layout that is out of range
        """
        if not self.members.get("kind"):
            return None
        ends = {"start": self.bearings[0], "end": self.bearings[-1]} if self.bearings else {}
        return self._layout(surface, **self.members, **ends)

    def crossed(self, surface: Surface) -> Members | None:
        """The members that strapping is shimmed off, which run the other way; None for other kinds."""
        if self.members.get("kind") != STRAPPING:
            return None
        return self._layout(surface, **self.crossing, direction="x" if self.members["direction"] == "y" else "y")

    @staticmethod
    def _layout(surface: Surface, **layout: Any) -> Members:
        across = surface.x if layout["direction"] == "y" else surface.y
        return member_layout(**layout, until=float(across[-1]))

    def _beneath(self) -> tuple[Beneath, ...] | None:
        """What lies everywhere, and then by area what lies there instead; joists reach over their bearings."""
        every = [Beneath(**self.under)] if self.under.get("kind") else []
        span = self.bearings if len(self.bearings) > 1 else None
        all_of_it = (*every, *self.grounds)
        return tuple(replace(one, span=span) if one.kind in MEMBER_KINDS else one for one in all_of_it) or None

    def _fixed(self, surface: Surface) -> tuple[FixedSpot, ...]:
        if self.target != BENCHMARKS:
            return tuple(self.spots)
        chosen = self.chosen_benchmarks()
        if not chosen:
            names = ", ".join(placed_benchmarks(self.survey))
            raise ArgumentError(
                "no benchmark is chosen",
                value=names or "none with a place in the file",
                expected="one or more that the file gives x and y for",
                remedy="choose them in the list",
            )
        # what is to stay as found is a height to go through as well
        heights = spot_heights(surface, self.spots)
        held = (replace(spot, height=float(height)) for spot, height in zip(self.spots, heights, strict=True))
        return (*(replace(one, height=(one.height or 0.0) + self.off_benchmarks) for one in chosen), *held)

    def chosen_benchmarks(self) -> tuple[FixedSpot, ...]:
        """The benchmarks that the plane goes through; none for another target."""
        known = placed_benchmarks(self.survey) if self.target == BENCHMARKS else {}
        return tuple(known[name] for name in self.benchmarks if name in known)

    @property
    def rates(self) -> Rates:
        return Rates(off=self.off_times, add=1.0)

    @property
    def depths(self) -> Depths:
        given = {"cut": self.cut, "fill": self.fill}
        return Depths(**{name: depth for name, depth in given.items() if depth is not None})

    def _new_survey(self, _: Any = None) -> None:
        self.search.drop()
        with self.hold_trait_notifications():  # a control that shows one of these must not see another of the old room
            self.follow_unit(self.survey)
            self.pointer = None
            self.spots, self.grounds, self.spot_checks = (), (), ()
            self.draft = self.ways = self.plan = self.schedule = None
            self.benchmarks = tuple(placed_benchmarks(self.survey))
            if self._seen_in not in ("", self.choice.name) and self.under.get("may_be_planed"):
                # seen in another room: nobody has said it of this one
                self.under = {**self.under, "may_be_planed": False}
            self._seen_in = self.choice.name
            if self.survey is not None and self.finish not in ("", *self.finishes):
                self.set_trait("finish", "")  # a finish for floors, and the survey is of a wall
            if self.surface is not None:
                self.below = self.reach / 2  # so that both sides of the slider are in reach
        self._draft_again()

    def _draft_again(self, _: Any = None) -> None:
        """A control has changed: draft a plane at once; a plan that was worked out is of something else now."""
        self.search.drop()
        draft: Draft | None = None
        try:
            surface, survey = self.surface, self.survey
            if self.is_plane and survey is not None and surface is not None:
                given, limit = self.arguments(0), {"deepest_fill": self.deepest_fill}
                names = ("strategy", "tilt", "height", "rates", "depths", "fixed", "beneath", "members", "materials")
                draft = draft_plane(survey, surface, **{name: given[name] for name in names}, thresholds=limit)
        finally:
            with self.hold_trait_notifications():  # what is shown changes once
                self.current, self.sure, self.draft = False, False, draft
        if draft is not None and not draft.against:
            self.search.prove_later(REST_S)

    def _way_chosen(self, change: Any) -> None:
        """Another way of those that were worked out is shown at once."""
        if self.current and self.ways is not None and not self.is_plane:
            self.search.show(self.ways)
        else:
            self._draft_again()

    def start(self) -> None:
        """Work the plan out, with its chances, beside the notebook."""
        self.search.start(self.draws)

    def stop(self) -> None:
        """End the search with what it has; a second time: never mind what it has."""
        self.search.stop()

    def add_spot(self, spot: FixedSpot, raised: float = 0.0) -> None:
        """Fix one more spot, so far [mm] above what is there; 0 leaves it as found.

        Raises
        ------
        PlanError : a place that is not on the surface
        ArgumentError : a height far off it that is not said to be meant
        """
        if self.surface is None:
            raise ArgumentError("no survey is chosen", remedy="choose one in the list, or upload one")
        found = as_found(self.surface, spot)
        spot = replace(spot, height=found + raised) if raised else spot
        check_meant(self.surface, [spot])
        self.spots = (*self.spots, spot)

    def drop_spot(self, number: int) -> None:
        """Free a spot again, by its place in the list."""
        self.spots = tuple(spot for k, spot in enumerate(self.spots) if k != number)

    def add_ground(self, kind: str, may_be_planed: bool, most: float | None, corner: Place, across: Place) -> None:
        """Say what lies beneath one more part, between two corners [mm]; where parts overlap the later one holds.

        Raises
        ------
        ArgumentError : corners that enclose nothing
        """
        area = shapely.box(*np.minimum(corner, across), *np.maximum(corner, across))
        if not area.area > 0:
            what, expected = "the corners enclose no area", "two corners that differ along x and along y"
            raise ArgumentError(what, value=str(corner), expected=expected, remedy="type the corner across the area")
        self.grounds = (*self.grounds, Beneath(kind, may_be_planed, most, area=area))

    def drop_ground(self, number: int) -> None:
        """Take a part off again, by its place in the list."""
        self.grounds = tuple(one for k, one in enumerate(self.grounds) if k != number)

    def found(self) -> Plan:
        """The plan, for the cells below the panel; waits until it is worked out.

        Raises
        ------
        NotReadyError : there is none, and why
        """
        self.search.wait()
        remedy = "press the button in the panel, then run this cell again"
        return self.ready(self.plan, self.choice.problems, "no plan is worked out", remedy)  # type: ignore[no-any-return]


STARTING = "Sliding the straightedge over the surface as it is ..."
LAYING = "Working out the plane and its patches ..."
STOPPING = "Stopping: what was found so far is being proved. Press Stop once more to drop it."


class PlanSearch(Worker):
    """Works out the plan that a state asks for, and puts it into the state."""

    def __init__(self, state: PlanState) -> None:
        super().__init__(state.lock)
        self._state = state
        self._stopping = False
        self._framing: Framing | None = None
        self._materials: Mapping[str, Any] = {}
        self._found_wrong: tuple[Problem, ...] = ()  # what the last search said was wrong

    def start(self, draws: int, *, shown: bool = True) -> None:
        """Begin the search.

        Parameters
        ----------
        draws : surfaces drawn for the chances; 0 gives none
        shown : whether a progress bar is shown meanwhile

        Raises
        ------
        FlatnessError : something that is set is missing or out of range
        """
        state = self._state
        arguments, seen, plane = state.arguments(draws), _Seen(), state.is_plane
        members, surface = arguments["members"], state.surface
        crossed = None if surface is None else state.crossed(surface)
        self._framing = None if members is None else Framing(members, {}, crossed)
        self._materials, self._stopping = state.materials, False

        def work(stopped: Callable[[], bool], tell: Tell) -> Plan | Ways:
            def progress(count: int, left: int, cost: float) -> bool:
                share = seen.share(count, left)
                words = f"{seen.words(count, left)} {cost_so_far(cost, state.money)}"
                tell(lambda: self._progress(share, words))
                return stopped()

            return (plan_corrections if plane else plan_ways)(**arguments, progress=progress)

        with state.hold_trait_notifications():
            state.running, state.share = shown, 0.0
            state.progress = (LAYING if state.is_plane else STARTING) if shown else ""
        self.run(work, lambda found, error: self._done(found, error, bool(draws)))

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
        """Take a plan, or the one of all ways that is chosen; where that is not open there is none, and why."""
        state = self._state
        problems: tuple[Problem, ...] = ()
        plan, schedule = (None if isinstance(found, Ways) else found), None
        try:
            plan = found.of(state.way) if isinstance(found, Ways) else found
            schedule = schedule_of(plan, self._framing)
        except FlatnessError as error:  # what goes wrong with the members does not lose the plan
            problems = error.problems
        if plan is not None:
            settings = settings_for(plan.survey.surface, state.settings(self._materials))
            takes = with_sisters(plan, self._framing, schedule, self._materials.get("stock") or None, settings)
            plan = replace(plan, quantities=takes)
        with state.hold_trait_notifications():
            self._say(problems)
            state.ways = found if isinstance(found, Ways) else None
            state.plan, state.schedule = plan, schedule

    def _say(self, problems: tuple[Problem, ...]) -> None:
        """What this search says is wrong, in place of what the last one said; a mistake typed meanwhile stays."""
        others = tuple(one for one in self._state.problems if one not in (*self._found_wrong, *problems))
        self._state.problems, self._found_wrong = (*others, *problems), problems

    def prove_later(self, seconds: float) -> None:
        """Work out patches and proof of a plane, without chances, once the controls have come to rest."""
        self.later(seconds, self._state.guard(lambda: self.start(0, shown=False), clears=False))

    def stop(self) -> None:
        """End the search with what it has; a second time: never mind what it has."""
        state = self._state
        if not state.running:
            return
        if self._stopping:
            self.drop()
            self._say((Problem("the search was dropped", remedy="change what you like, and work it out again"),))
            return
        self._stopping = True
        super().stop()
        state.progress = STOPPING

    def drop(self) -> None:
        """Drop the search."""
        self.forget()
        state = self._state
        with state.hold_trait_notifications():
            state.running, state.progress, state.share = False, "", 0.0


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
