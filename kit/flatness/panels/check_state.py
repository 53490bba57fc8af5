"""What the Check panel knows: survey, finish, verdict, and the straightedge set by hand.

Finishes are chosen in plain words, and held against by the states of other panels too.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Hashable, Iterable
from typing import Any

import pandas as pd
from traitlets import Any as AnyTrait
from traitlets import Dict, Enum, Float, Instance, Unicode

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import settle
from flatness.limits.catalogue import finishes, limits_of
from flatness.limits.kinds import Limit, straightedge_limit
from flatness.limits.measuring import Subject
from flatness.limits.spot_checks import Checks
from flatness.limits.verdict import Assessment, Judged, assess
from flatness.measures.bars import Place
from flatness.measures.straightedge import LaidBar, StraightedgeResult, bar_by_hand, places_over
from flatness.panels.files import SurveyChoice
from flatness.panels.state import State, Worker
from flatness.surface.lattice import Surface, widest_step
from flatness.survey.readings import Survey
from flatness.words.checks import where_to_read

AGREED = "agreed"  # key of a limit agreed for this job, beside the catalogue's finishes
USUAL_BAR_MM = 3048.0  # 10 ft, where no limit says otherwise


class FinishState(State):
    """A state with a finish.

    Attributes
    ----------
    finish : key of the finish; empty for none
    """

    finish = Unicode("")

    @property
    def for_what(self) -> str:
        """Whose finishes they are, in a message."""
        return "this surface"

    @property
    def survey(self) -> Survey | None:
        """The survey that is chosen, or the one as found."""
        raise NotImplementedError

    @property
    def judged(self) -> Survey | None:
        """The survey whose kind of surface says which finishes there are."""
        return self.survey

    @property
    def finishes(self) -> dict[str, str]:
        """Finishes in plain words for the kind of surface that was surveyed, by key."""
        return finishes(self.judged.surface if self.judged is not None else "floor")

    def offered(self, none: str) -> list[tuple[str, str]]:
        """The finishes to choose from, each with its key; ``none`` is what it is called to choose none of them."""
        return [(none, ""), *((name, key) for key, name in self.finishes.items())]

    def limits(self) -> list[Limit]:
        """The limits of the finish chosen; none without a survey or finish."""
        return limits_of(self.finish, self.judged.surface) if self.judged is not None and self.finish else []

    def choose_finish(self, key: str) -> None:
        """Choose the finish by its key; an empty one holds the surface against nothing."""
        if key and key not in self.finishes:
            raise ArgumentError(
                f"no finish of this name for {self.for_what}",
                value=key,
                expected="one of the list",
                remedy="choose one in the list",
            )
        self.finish = key


class AgreedState(FinishState):
    """A state of one survey, with a finish or a limit that was agreed for the job.

    Attributes
    ----------
    choice : the survey chosen
    agreed : ``length`` of a straightedge and gap ``allowed`` under it [mm], where these were agreed for this job
    """

    choice = Instance(SurveyChoice)
    agreed = Dict({"length": USUAL_BAR_MM, "allowed": 4.7625})  # 3/16 in

    def begin(self) -> None:
        """Read what the panel was made with."""
        self.choice.begin()

    @property
    def survey(self) -> Survey | None:
        found: Survey | None = self.choice.survey
        return found

    @property
    def finishes(self) -> dict[str, str]:
        """Finishes in plain words for the kind of surface that was surveyed, by key; and the limit agreed."""
        return {**super().finishes, AGREED: "A limit agreed for this job"}

    def limits(self) -> list[Limit]:
        if self.survey is not None and self.finish == AGREED:
            return [straightedge_limit(length=self.agreed["length"], allowed=self.agreed["allowed"], name="agreed")]
        return super().limits()


HEIGHTS, GAP, CHANCE, MORE = VIEWS = ("heights", "gap", "chance", "more readings")
REST_S = 0.8  # after a verdict stands for so long what other views show is worked out
KEPT = 6  # checks remembered, so that going back to one does not draw it again


class CheckState(AgreedState):
    """The state of the Check panel.

    Attributes
    ----------
    choice : the survey chosen
    finish : key of the finish to come, ``agreed``, or empty where none is chosen
    agreed : the sizes of a limit agreed for this job
    confidence : at which verdicts are given, 0.5 to under 1
    assessment : the :class:`~flatness.limits.verdict.Assessment`, or None without a survey or finish
    strips : along which a bar is to be slid, or has been; empty where none is wanted
    spot_checks : what it showed there
    view : which map is shown
    bar_length : length of the straightedge to set [mm]
    bar : the straightedge set by hand, or None
    pointer : place [mm] that is pointed at, or None
    made_ready : the check whose other views are worked out, or None
    """

    confidence = Float(0.95)
    made_ready = AnyTrait(None)
    assessment = AnyTrait(None)
    strips = AnyTrait(())
    spot_checks = AnyTrait(())
    view = Enum(VIEWS, GAP)
    bar_length = Float(USUAL_BAR_MM)
    bar = AnyTrait(None)
    pointer = AnyTrait(None)

    def __init__(
        self,
        file: str | os.PathLike[str] = "",
        finish: str = "",
        folders: Iterable[str | os.PathLike[str]] = (),
        **traits: Any,
    ) -> None:
        super().__init__(choice=SurveyChoice(folders, file), **traits)
        self._assessments: dict[Hashable, Assessment] = {}
        self._latest: dict[str, tuple[Hashable, Any]] = {}
        self.worker = Worker(self.lock)
        self.set_trait("finish", finish)
        # guarded, for an exception here would keep all that is told of the change after it from being told
        self.choice.observe(self.guard(self._new_survey), "survey")
        self.observe(self.guard(self._judge_again), ["finish", "agreed", "confidence", "spot_checks"])

    def _once(self, name: str, key: Hashable, make: Callable[[], Any]) -> Any:
        """What was made last under this name, if it was for the same; else made now."""
        if name not in self._latest or self._latest[name][0] != key:
            self._latest[name] = (key, make())
        return self._latest[name][1]

    @property
    def for_what(self) -> str:
        return f"a {self.survey.surface if self.survey is not None else 'floor'}"

    @property
    def surface(self) -> Surface | None:
        """The surface as read, on the lattice of the check, or of the survey's own where nothing is judged."""
        if self.assessment is not None:
            judged: Surface = self.assessment.subject.surface
            return judged
        if self.survey is None:
            return None
        plain: Surface = self._once("plain", self.survey, self.survey.surface_at)
        return plain

    def _new_survey(self, _: Any = None) -> None:
        finish = self.finish
        with self.at_work(f"Reading {self.choice.file_name} ..."):
            with self.hold_trait_notifications():  # nobody is told of the new unit before the old verdict is gone
                self.pointer = self.assessment = self.bar = None
                self.strips = self.spot_checks = ()
                self.follow_unit(self.survey)
                if self.survey is not None and finish and finish not in self.finishes:
                    self.finish = ""  # a finish for floors, and the survey is of a wall
            if self.finish == finish:
                self._judge_again()

    def _judge_again(self, _: Any = None) -> None:
        found, length = None, USUAL_BAR_MM
        with self.at_work(f"Checking {self.choice.file_name} ..."):
            try:
                limits = self.limits()
                if limits:
                    found = self._judged(limits)
                    one = found.pictured
                    length = one.limit.length if one is not None and one.limit.length is not None else length
            finally:
                with self.hold_trait_notifications():
                    self.assessment, self.bar_length = found, length
                    if found is None or not self.spot_checks:
                        self.strips = () if found is None else tuple(found.wanted_sweeps)
                    self._set_worst_if_any()
        self.worker.forget()
        if found is not None:
            self.worker.at_rest(REST_S, lambda: self._make_ready(found))

    def _make_ready(self, found: Assessment) -> None:
        """Work out beside the notebook what other views of a check will show, so that they are there at once."""
        one = found.pictured

        def work(stopped: Callable[[], bool], tell: Any) -> Any:
            chances = None if one is None or not len(one.used) else found.chance_map(one.limit)
            where_to_read(found)  # which keeps what it found
            return chances

        def done(chances: Any, error: Exception | None) -> None:
            if one is not None and chances is not None:
                self._latest["chances"] = ((found, one.limit.name), chances)
            self.made_ready = found

        self.worker.run(work, done)
        self.made_ready = None

    def _set_worst_if_any(self) -> None:
        self.bar = None
        if self.surface is not None and self.gaps().worst is not None:
            self.set_worst_bar()

    def _judged(self, limits: list[Limit]) -> Assessment:
        assert self.survey is not None
        key = (self.survey, self.confidence, self.spot_checks, *((one.name, one.length, one.allowed) for one in limits))
        if key not in self._assessments:
            found = assess(self.survey, limits, confidence=self.confidence, spot_checks=self.spot_checks)
            self._assessments[key] = found
            while len(self._assessments) > KEPT:
                del self._assessments[next(iter(self._assessments))]
        return self._assessments[key]

    def use_spot_checks(self, done: Checks) -> None:
        """Judge with what a bar showed between the stations."""
        self.spot_checks = tuple(done)

    def judged_under(self, length: float) -> Judged | None:
        """The limit judged for a straightedge of this length [mm], or None where there is none."""
        found = (
            []
            if self.assessment is None
            else [
                one
                for one in self.assessment.judged
                if one.limit.kind == "straightedge" and one.limit.length and settle(one.limit.length - length) == 0
            ]
        )
        return found[0] if found else None

    @property
    def allowed(self) -> float | None:
        """The gap [mm] that the finish allows under the straightedge chosen, or None where it says nothing of it."""
        one = self.judged_under(self.bar_length)
        return None if one is None else one.limit.allowed

    def _surface(self) -> Surface:
        if self.surface is None:
            raise ArgumentError("no survey is chosen", remedy="choose one in the list, or upload one")
        return self.surface

    def gaps(self) -> StraightedgeResult:
        """The straightedge chosen, set everywhere on the surface as read."""
        surface = self._surface()
        key = (surface, self.bar_length)
        assert self.survey is not None
        subject = Subject(self.survey, surface, widest_step(self.survey))
        found: StraightedgeResult = self._once("gaps", key, lambda: subject.straightedge(self.bar_length))
        return found

    def over(self) -> list[tuple[float, Place]]:
        """Gap [mm] and place [mm] of the worst of each area over what is allowed as read, the worst first."""
        if self.allowed is None or self.surface is None:
            return []
        return places_over(self.surface, self.gaps().gap, self.allowed)

    def to_read(self) -> tuple[Judged, pd.DataFrame] | None:
        """The limit in doubt and the places where more readings would do most to decide it; None: nothing is."""
        return None if self.assessment is None or self.worker.busy else where_to_read(self.assessment)

    def chances(self, limit: Limit) -> Floats:
        """[ny, nx] chance at each place that a straightedge shows more than this limit allows."""
        assessment = self.assessment
        found: Floats = self._once("chances", (assessment, limit.name), lambda: assessment.chance_map(limit))
        return found

    def set_bar(self, start: Place, end: Place) -> LaidBar:
        """Set the straightedge from one point [mm] toward another; points beside the surface are moved to its edge.

        Raises
        ------
        ArgumentError, MeasureError : as for :func:`~flatness.measures.straightedge.bar_by_hand`
        """
        surface = self._surface()
        ends = [self._onto(surface, xy) for xy in (start, end)]
        found = bar_by_hand(surface, ends[0], ends[1], self.bar_length)
        self.bar = found
        return found

    @staticmethod
    def _onto(surface: Surface, xy: Place) -> Place:
        x = min(max(float(xy[0]), float(surface.x[0])), float(surface.x[-1]))
        return x, min(max(float(xy[1]), float(surface.y[0])), float(surface.y[-1]))

    def set_worst_bar(self) -> LaidBar:
        """Set the straightedge where its gap is largest of all places."""
        worst = self.gaps().worst
        if worst is None:
            raise MeasureError(
                "no straightedge of this length bridges a gap on this surface", expected="a gap between two contacts"
            )
        self.bar = LaidBar(worst.contacts[0], worst.contacts[1], worst, by_hand=False)
        return self.bar

    def set_bar_length(self, length: float) -> None:
        """Take another straightedge [mm], and set it at its worst place."""
        if not 300.0 <= length <= 15_000.0:
            raise ArgumentError(
                "no straightedge of this length",
                value=f"{length:.0f} mm",
                expected="300 mm (1 ft) to 15 m (49 ft)",
                remedy="type its length with its unit, such as 6 ft or 2 m",
            )
        with self.hold_trait_notifications():
            self.bar_length = float(length)
            self._set_worst_if_any()

    def found(self) -> Assessment:
        """The check, for the cells below the panel.

        Raises
        ------
        NotReadyError : no survey or no finish is chosen, or the survey has mistakes, which are named
        """
        with self.lock:  # a change that is being judged is waited for
            missing = "no survey is chosen" if self.survey is None else "no finish is chosen"
            remedy = "choose it in the panel above, then run this cell again"
            return self.ready(self.assessment, self.choice.problems, missing, remedy)  # type: ignore[no-any-return]
