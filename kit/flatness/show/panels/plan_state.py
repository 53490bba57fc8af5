"""What the Plan panel knows: what is asked for, the draft while a slider moves, and the plan once it is worked out."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from traitlets import Any as AnyTrait
from traitlets import Bool, Enum, Float, Tuple, Unicode

from flatness.corrections.beneath import Beneath
from flatness.corrections.plan import WAYS, Plan
from flatness.corrections.set_members import PLANES
from flatness.corrections.terms import Depths, FixedSpot, Rates, check_meant, spot_heights
from flatness.corrections.ways import PROPOSED
from flatness.errors import ArgumentError, Problem
from flatness.show.panels.finish_state import AgreedState
from flatness.show.panels.plan_asked import (
    BENCHMARKS,
    LEAST_WORK,
    LEVEL_AT,
    STRATEGY,
    TARGETS,
    Framing,
    Ground,
    Materials,
    Spot,
    Under,
    placed_benchmarks,
)
from flatness.show.panels.plan_draft import Draft, draft_plane, ground_of
from flatness.show.panels.plan_search import PlanSearch
from flatness.show.panels.state import NotReadyError
from flatness.show.panels.surveys import SurveyChoice
from flatness.surface.lattice import Surface

SUREST = "sure"
DRAWS = 200
REST_S = 0.35  # after a control has come to rest for so long the patches of a plane are worked out
ASKED = (
    "target", "plane", "height", "aim", "off_times", "cut", "fill", "level_within", "on", "under", "framing", "spots",
    "deepest_fill", "finish", "agreed", "confidence", "grounds", "materials", "benchmarks", "off_benchmarks",
)  # fmt: skip


class PlanState(AgreedState):
    """The state of the Plan panel.

    Attributes
    ----------
    choice : the survey chosen
    finish, agreed : key of the finish to come, and the numbers of a limit agreed for this job
    way : ``proposed``, the best of all ways, or one of :data:`~flatness.corrections.plan.WAYS`
    plane : that members or a layer come to; empty: level, or plumb
    target : of patches, one of :data:`~flatness.show.panels.plan_asked.TARGETS`
    height : of the level plane of ``level-at`` [mm]
    aim : ``sure``, or the share of each straightedge limit to plan to, over 0 up to 1
    off_times : what taking off costs, in times what adding costs
    price : of adding, in money [per mm3], or None; it is for show and changes no plan
    cut, fill : deepest that may come off and be added [mm], or None
    level_within : band between two level planes [mm] for the least work, or None
    deepest_fill : beyond which is framed [mm], or None for the planner's own
    on : ``likely`` or ``as-read``, the surface that is planned on
    under, framing, spots : what lies beneath, the members, the fixed spots
    grounds : what lies beneath parts of the surface, a :class:`Ground` each
    materials : what quantities rest on
    benchmarks : names of those that the plane of ``through-benchmarks`` goes through
    off_benchmarks : how far the finished surface lies above them [mm]
    confidence : at which verdicts are given
    clicking : whether a click on the map fixes a spot
    draft : the :class:`Draft` of a plane, or None
    ways : all ways as last worked out, or None
    plan, schedule : by the way that is chosen, or None
    current : whether they are of what is now asked for
    sure : whether the plan's chances were worked out
    running, share, progress : whether a plan is being worked out, how far it is [-], and that in words
    pointer : place [mm] that is pointed at, or None
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
    under = AnyTrait(Under())
    framing = AnyTrait(Framing())
    spots = Tuple()
    grounds = Tuple()
    materials = AnyTrait(Materials())
    benchmarks = Tuple()
    off_benchmarks = Float(0.0)
    confidence = Float(0.95)
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

    def __init__(
        self, file: str | os.PathLike[str] = "", finish: str = "", folders: Iterable[str | os.PathLike[str]] = (),
        spacing: float | None = None, draws: int = DRAWS, **traits: Any,
    ) -> None:  # fmt: skip
        super().__init__(choice=SurveyChoice(folders, file), **traits)
        self.spacing, self.draws = spacing, draws
        self.search = PlanSearch(self)
        self._ground: tuple[Any, Surface | None] = (None, None)
        self._seen_in = ""  # the file of which it was said what lies beneath
        self.set_trait("finish", finish)
        self.choice.observe(self.guard(self._new_survey), "survey")
        self.observe(self.alone(self._asked), list(ASKED))
        self.observe(self.guard(self._way_chosen), ["way"])

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
    def is_plane(self) -> bool:
        """Whether patches are brought to a plane, so that a draft of it can be shown at once."""
        return bool(self.target != LEAST_WORK and self.way_asked == "patches")

    @property
    def way_asked(self) -> str:
        """The way, which is patches where these are brought to a plane."""
        return "patches" if self.way == PROPOSED and self.target != LEAST_WORK else str(self.way)

    def arguments(self, draws: int) -> dict[str, Any]:
        """What is asked for, as the arguments of :func:`~flatness.corrections.planner.plan_corrections`.

        Raises
        ------
        FlatnessError : no survey is chosen, or something asked for is out of range
        """
        surface, survey = self.surface, self.survey
        if survey is None or surface is None:
            raise ArgumentError("no survey is chosen", remedy="choose one in the list, or upload one")
        plane = self.is_plane
        strategy, tilt = STRATEGY[self.target if plane else LEAST_WORK]
        least, limits = not plane, self.limits()
        if least and not limits and self.level_within is None and self.way_asked not in ("members", "overlay"):
            raise ArgumentError(
                "nothing that the least work can be planned for", column="Finish to come", value="none",
                expected="a finish, or a limit that was agreed",
                remedy="choose the finish, agree a straightedge limit, or take a plane or another way",
            )  # fmt: skip
        aim = self.aim if least else 1.0
        return {
            "survey": survey, "strategy": strategy, "plane": self.plane or None, "limits": limits,
            "spacing": surface.spacing, "surface": self.on, "rates": self.rates, "depths": self.depths,
            "fixed": self._fixed(surface),
            "level_within": self.level_within if least else None,
            "height": self.height if plane and self.target == LEVEL_AT else None, "tilt": tilt,
            "beneath": self._beneath(), "members": self.framing.members(surface),
            "materials": self.materials.settings(),
            "aim": 1.0 if aim == SUREST and not draws else aim, "confidence": self.confidence, "draws": draws,
            "deepest_fill": self.deepest_fill,
        }  # fmt: skip

    def _beneath(self) -> tuple[Beneath, ...] | None:
        """What lies everywhere, and then by area what lies there instead."""
        every = (self.under.beneath(self.framing), *(one.beneath(self.framing) for one in self.grounds))
        return tuple(one for one in every if one is not None) or None

    def _fixed(self, surface: Surface) -> tuple[FixedSpot, ...]:
        spots = tuple(spot.fixed(surface) for spot in self.spots)
        if self.target != BENCHMARKS:
            return spots
        chosen = self.chosen_benchmarks()
        if not chosen:
            names = ", ".join(placed_benchmarks(self.survey))
            raise ArgumentError(
                "no benchmark is chosen", value=names or "none with a place in the file",
                expected="one or more that the file gives x and y for", remedy="choose them in the list",
            )  # fmt: skip
        # what is to stay as found is a height to go through as well
        heights = spot_heights(surface, spots)
        held = (replace(spot, height=float(height)) for spot, height in zip(spots, heights, strict=True))
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
        self.search.forget()
        self.follow_unit(self.survey)
        with self.hold_trait_notifications():
            self.pointer = None
            self.spots, self.grounds = (), ()
            self.draft = self.ways = self.plan = self.schedule = None
            self.benchmarks = tuple(placed_benchmarks(self.survey))
            if self._seen_in not in ("", self.choice.name) and self.under.may_be_planed:
                # seen in another room: nobody has said it of this one
                self.under = replace(self.under, may_be_planed=False)
            self._seen_in = self.choice.name
            if self.survey is not None and self.finish not in ("", *self.finishes):
                self.set_trait("finish", "")  # a finish for floors, and the survey is of a wall
            surface = self.surface
            if surface is not None:
                # between the lowest and the highest, so that both sides of the slider are in reach
                heights = surface.height[surface.inside]
                self.height = float(heights.max() + heights.min()) / 2
        self._asked()

    def _asked(self, _: Any = None) -> None:
        """A control has changed: draft a plane at once; a plan that was worked out is of something else now."""
        self.search.forget()
        self.current = self.sure = False
        draft: Draft | None = None
        try:
            surface, survey = self.surface, self.survey
            if self.is_plane and survey is not None and surface is not None:
                asked = self.arguments(0)
                names = ("strategy", "tilt", "height", "rates", "depths", "fixed", "beneath", "members", "materials")
                draft = draft_plane(
                    survey, surface, **{name: asked[name] for name in names},
                    thresholds={"deepest_fill": self.deepest_fill},
                )  # fmt: skip
        finally:
            self.draft = draft
        if draft is not None and not draft.against:
            self.search.later(REST_S)

    def _way_chosen(self, change: Any) -> None:
        """Another way of those that were worked out is shown at once."""
        if self.current and self.ways is not None and not self.is_plane:
            self.search.show(self.ways)
        else:
            self._asked()

    def start(self) -> None:
        """Work the plan out, with its chances, beside the notebook."""
        self.search.start(self.draws)

    def stop(self) -> None:
        """End the search with what it has; a second time: never mind what it has."""
        self.search.stop()

    def add_spot(self, spot: Spot) -> None:
        """Fix one more spot.

        Raises
        ------
        PlanError : a place that is not on the surface
        ArgumentError : a height far off it that is not said to be meant
        """
        if self.surface is None:
            raise ArgumentError("no survey is chosen", remedy="choose one in the list, or upload one")
        check_meant(self.surface, [spot.fixed(self.surface)])
        self.spots = (*self.spots, spot)

    def drop_spot(self, number: int) -> None:
        """Free a spot again, by its place in the list."""
        self.spots = tuple(spot for k, spot in enumerate(self.spots) if k != number)

    def add_ground(self, ground: Ground) -> None:
        """Say what lies beneath one more part; where parts overlap the later one holds.

        Raises
        ------
        ArgumentError : a part without an inside, or of which nothing is said
        """
        ground.beneath(self.framing)
        self.grounds = (*self.grounds, ground)

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
        if self.plan is None:
            raise NotReadyError(
                self.choice.problems or self.problems
                or Problem("no plan is worked out", remedy="press the button in the panel, then run this cell again")
            )  # fmt: skip
        plan: Plan = self.plan
        return plan
