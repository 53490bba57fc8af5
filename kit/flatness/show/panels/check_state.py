"""What the Check panel knows: survey, finish, verdict, and the straightedge laid by hand."""

from __future__ import annotations

import os
from collections.abc import Iterable
from typing import Any

from traitlets import Any as AnyTrait
from traitlets import Enum, Float

from flatness.errors import ArgumentError, MeasureError, Problem
from flatness.lengths import settle
from flatness.limits.kinds import Limit
from flatness.limits.measuring import Subject
from flatness.limits.verdict import Assessment, Judged, assess
from flatness.measures.measured import Place
from flatness.measures.straightedge import StraightedgeResult
from flatness.show.panels.finish_state import AGREED, USUAL_BAR_MM, AgreedNumbers, AgreedState
from flatness.show.panels.laid import LaidBar, lay_by_hand
from flatness.show.panels.state import NotReadyError
from flatness.show.panels.surveys import SurveyChoice
from flatness.surface.lattice import Surface, widest_step
from flatness.survey.readings import Floats

HEIGHTS, GAP, CHANCE, MORE = VIEWS = ("heights", "gap", "chance", "more readings")
KEPT = 6  # checks remembered, so that going back to one does not draw it again


class CheckState(AgreedState):
    """The state of the Check panel.

    Attributes
    ----------
    choice : the survey chosen
    finish : key of the finish to come, ``agreed``, or empty where none is chosen
    agreed : the numbers of a limit agreed for this job
    confidence : at which verdicts are given, 0.5 to under 1
    assessment : the :class:`~flatness.limits.verdict.Assessment`, or None without a survey or finish
    strips : along which a bar is to be slid, or has been; empty where none is wanted
    spot_checks : what it showed there
    view : which map is shown
    bar_length : length of the straightedge to lay [mm]
    bar : the straightedge laid by hand, or None
    pointer : place [mm] that is pointed at, or None
    """

    confidence = Float(0.95)
    assessment = AnyTrait(None)
    strips = AnyTrait(())
    spot_checks = AnyTrait(())
    view = Enum(VIEWS, HEIGHTS)
    bar_length = Float(USUAL_BAR_MM)
    bar = AnyTrait(None)
    pointer = AnyTrait(None)

    def __init__(
        self, file: str | os.PathLike[str] = "", finish: str = "",
        folders: Iterable[str | os.PathLike[str]] = (), **traits: Any,
    ) -> None:  # fmt: skip
        super().__init__(choice=SurveyChoice(folders, file), **traits)
        self._kept: dict[tuple[Any, ...], Assessment] = {}
        self._laid: tuple[Any, Any] = (None, None)
        self._plain: tuple[Any, Any] = (None, None)
        self._chances: tuple[Any, Any] = (None, None)
        self.set_trait("finish", finish)
        # guarded, for an exception here would keep all that is told of the change after it from being told
        self.choice.observe(self.guard(self._new_survey), "survey")
        self.observe(self.guard(self._judge_again), ["finish", "agreed", "confidence", "spot_checks"])

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
        if self._plain[0] is not self.survey:
            self._plain = (self.survey, self.survey.surface_at())
        plain: Surface = self._plain[1]
        return plain

    def _new_survey(self, _: Any = None) -> None:
        finish = self.finish
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
        try:
            limits = self.limits()
            if limits:
                # outside the hold below, which would keep back that it is at work
                with self.at_work("Judging ..."):
                    found = self._judged(limits)
                one = found.pictured
                length = one.limit.length if one is not None and one.limit.length is not None else length
        finally:
            with self.hold_trait_notifications():
                self.assessment, self.bar_length = found, length
                if found is None or not self.spot_checks:
                    self.strips = () if found is None else tuple(found.wanted_sweeps)
                self._lay_worst_if_any()

    def _lay_worst_if_any(self) -> None:
        self.bar = None
        if self.surface is not None and self.gaps().worst is not None:
            self.lay_worst()

    def _judged(self, limits: list[Limit]) -> Assessment:
        assert self.survey is not None
        key = (self.survey, self.confidence, self.spot_checks, *((one.name, one.length, one.allowed) for one in limits))
        if key not in self._kept:
            found = assess(self.survey, limits, confidence=self.confidence, spot_checks=self.spot_checks)
            self._kept[key] = found
            while len(self._kept) > KEPT:
                del self._kept[next(iter(self._kept))]
        return self._kept[key]

    def judged_under(self, length: float) -> Judged | None:
        """The limit judged for a straightedge of this length [mm], or None where there is none."""
        laid = [] if self.assessment is None else [
            one for one in self.assessment.judged
            if one.limit.kind == "straightedge" and one.limit.length and settle(one.limit.length - length) == 0
        ]  # fmt: skip
        return laid[0] if laid else None

    @property
    def allowed(self) -> float | None:
        """The gap [mm] that the finish allows under the straightedge chosen, or None where it says nothing of it."""
        one = self.judged_under(self.bar_length)
        return None if one is None else one.limit.allowed

    def gaps(self) -> StraightedgeResult:
        """The straightedge chosen, laid everywhere on the surface as read."""
        surface = self.surface
        if surface is None:
            raise ArgumentError("no survey is chosen", remedy="choose one in the list, or upload one")
        key = (surface, self.bar_length)
        if self._laid[0] != key:
            assert self.survey is not None
            subject = Subject(self.survey, surface, widest_step(self.survey))
            self._laid = (key, subject.laid(self.bar_length))
        found: StraightedgeResult = self._laid[1]
        return found

    def chances(self, limit: Limit) -> Floats:
        """[ny, nx] chance at each place that a straightedge shows more than this limit allows."""
        if self._chances[0] != (self.assessment, limit.name):
            with self.at_work("Working out the chance at each place ..."):
                self._chances = ((self.assessment, limit.name), self.assessment.chance_map(limit))
        found: Floats = self._chances[1]
        return found

    def lay(self, start: Place, end: Place) -> LaidBar:
        """Lay the straightedge from one point [mm] toward another; points beside the surface are moved to its edge.

        Raises
        ------
        ArgumentError, MeasureError : as for :func:`~flatness.show.panels.laid.lay_by_hand`
        """
        surface = self.surface
        if surface is None:
            raise ArgumentError("no survey is chosen", remedy="choose one in the list, or upload one")
        ends = [self._onto(surface, xy) for xy in (start, end)]
        found = lay_by_hand(surface, ends[0], ends[1], self.bar_length)
        self.bar = found
        return found

    @staticmethod
    def _onto(surface: Surface, xy: Place) -> Place:
        x = min(max(float(xy[0]), float(surface.x[0])), float(surface.x[-1]))
        return x, min(max(float(xy[1]), float(surface.y[0])), float(surface.y[-1]))

    def lay_worst(self) -> LaidBar:
        """Lay the straightedge where its gap is largest of all places."""
        worst = self.gaps().worst
        if worst is None:
            raise MeasureError(
                "no straightedge of this length bridges a gap on this surface", expected="a gap between two contacts"
            )
        self.bar = LaidBar(worst.contacts[0], worst.contacts[1], worst, by_hand=False)
        return self.bar

    def set_bar_length(self, length: float) -> None:
        """Take another straightedge [mm], and lay it at its worst place."""
        if not 300.0 <= length <= 15_000.0:
            raise ArgumentError(
                "no straightedge of this length", value=f"{length:.0f} mm", expected="300 mm (1 ft) to 15 m (49 ft)",
                remedy="type its length with its unit, such as 6 ft or 2 m",
            )  # fmt: skip
        with self.hold_trait_notifications():
            self.bar_length = float(length)
            self._lay_worst_if_any()

    def found(self) -> Assessment:
        """The check, for the cells below the panel.

        Raises
        ------
        NotReadyError : no survey or no finish is chosen, or the survey has mistakes, which are named
        """
        with self.lock:  # a change that is being judged is waited for
            checked: Assessment | None = self.assessment
        if checked is None:
            missing = "no survey is chosen" if self.survey is None else "no finish is chosen"
            raise NotReadyError(
                self.choice.problems or self.problems
                or Problem(missing, remedy="choose it in the panel above, then run this cell again")
            )  # fmt: skip
        return checked


__all__ = ["AGREED", "CHANCE", "GAP", "HEIGHTS", "MORE", "VIEWS", "AgreedNumbers", "CheckState"]
