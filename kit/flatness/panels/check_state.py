"""What the Check panel knows: survey, finish, verdict, and the straightedge laid by hand.

Finishes are chosen in plain words, and held against by the states of other panels too.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from itertools import groupby, takewhile
from typing import Any

import numpy as np
import pandas as pd
from scipy.ndimage import label, maximum_position
from traitlets import Any as AnyTrait
from traitlets import Dict, Enum, Float, Instance, Unicode

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError, Problem
from flatness.lengths import settle
from flatness.limits.catalogue import find, published
from flatness.limits.kinds import Limit, straightedge_limit
from flatness.limits.measuring import Subject
from flatness.limits.verdict import Assessment, Judged, assess
from flatness.measures.lines import Place
from flatness.measures.straightedge import Placement, StraightedgeResult, profile_gaps
from flatness.panels.files import SurveyChoice
from flatness.panels.state import NotReadyError, State
from flatness.surface.lattice import Surface, widest_step
from flatness.survey.readings import Survey
from flatness.words.checks import where_to_read

BY_HAND = "reference"  # limits that no survey of a surface can be held against


def finishes(surface: str) -> dict[str, str]:
    """What each finish for a ``floor``, ``ceiling`` or ``wall`` is called, by its key in the catalogue.

    As people on site say; in the standard's own words where nobody says it otherwise. Finishes whose limits are all
    checked by hand are left out.

    Examples
    --------
    >>> finishes("floor")["laminate"]
    'Laminate'
    """
    named: dict[str, str] = {}
    for finish, group in groupby(published(), key=lambda limit: limit.finish):
        limits = [one for one in group if surface in one.surfaces and one.kind != BY_HAND]
        if limits:
            text = limits[0].everyday or in_common([one.purpose for one in limits])
            named[finish] = text[:1].upper() + text[1:]
    return named


def in_common(purposes: list[str]) -> str:
    """What purposes of one finish have in common, as a phrase of its own.

    >>> in_common(["slab, France: flatness", "slab, France: level"])
    'slab, France'
    """
    letters = takewhile(lambda column: len(set(column)) == 1, zip(*purposes, strict=False))
    text = "".join(column[0] for column in letters)
    if text not in purposes:
        mark = ":" if ":" in text else ","
        text = text[: text.rfind(mark)] if mark in text else purposes[0]
    return text


def limits_of(finish: str, surface: str) -> list[Limit]:
    """The limits of a finish that a survey of this surface can be held against."""
    return [limit for limit in find(finish, surface) if limit.kind != BY_HAND]


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
        return {**super().finishes, AGREED: "A limit agreed for this job, under a straightedge"}

    def limits(self) -> list[Limit]:
        if self.survey is not None and self.finish == AGREED:
            return [straightedge_limit(length=self.agreed["length"], allowed=self.agreed["allowed"], name="agreed")]
        return super().limits()


SHORTEST_MM = 100.0  # a shorter bar is a slip of the hand
FINER = 4  # stations along the bar to a lattice step
NOISE = 1e-9


@dataclass(frozen=True, eq=False)
class LaidBar:
    """A straightedge where a person laid it.

    Attributes
    ----------
    start, end : its two ends (x, y) [mm]
    placement : the largest gap under it and the contacts on either side; None where it touches all along or rides on
        one hump, with no gap between two contacts
    by_hand : whether a person laid it there, or the kit at the worst of all places; then its ends are the contacts
    """

    start: Place
    end: Place
    placement: Placement | None
    by_hand: bool = True

    @property
    def length(self) -> float:
        """Length of the bar [mm]."""
        return math.dist(self.start, self.end)

    @property
    def gap(self) -> float:
        """Largest gap between two contact points [mm]."""
        return 0.0 if self.placement is None else self.placement.gap


def height_at(surface: Surface, xy: Place) -> float:
    """Height [mm] of the surface at one place; NaN off the surface."""
    return float(surface.at(*xy)[0])


def lay_by_hand(surface: Surface, start: Place, end: Place, longest: float) -> LaidBar:
    """Lay a straightedge from ``start`` toward ``end`` [mm], at most ``longest`` [mm] long.

    It rests, not levelled, on the surface between its ends; its gap is the largest of any way that it can rest there.

    Raises
    ------
    ArgumentError : the two ends are all but one point
    MeasureError : the bar would lie over an opening, or past the edge

    Examples
    --------
    >>> from flatness.surface.lattice import make_surface
    >>> trough = make_surface([[0, -4, 0]] * 3, spacing=500)
    >>> lay_by_hand(trough, (0, 500), (1000, 500), 3048).gap
    4.0
    """
    far = math.dist(start, end)
    if not far >= SHORTEST_MM:
        raise ArgumentError(
            "the two ends of the straightedge are too close together",
            value=f"{far:.0f} mm apart",
            expected=f"at least {SHORTEST_MM:.0f} mm",
            remedy="click two points farther apart, or drag from one end",
        )
    length = min(far, longest)
    ux, uy = (end[0] - start[0]) / far, (end[1] - start[1]) / far
    count = max(2, math.ceil(FINER * length / surface.spacing - 1e-6))
    s = np.linspace(0.0, length, count + 1)
    heights = surface.at(start[0] + ux * s, start[1] + uy * s)
    if np.isnan(heights).any():
        raise MeasureError(
            "the straightedge would lie over an opening, or past the edge of what was read",
            expected="readings under the whole of it",
            remedy="lay it beside the opening, or make it shorter",
        )
    stop = (start[0] + ux * length, start[1] + uy * length)
    gaps = profile_gaps(heights, length / count, length * (1 + NOISE))
    k = int(np.argmax(gaps))
    if settle(float(gaps[k])) <= 0:
        return LaidBar(start, stop, None)
    ends = _contacts(heights, gaps, k)
    places = [(start[0] + ux * float(s[i]), start[1] + uy * float(s[i])) for i in (k, *ends)]
    heading = math.degrees(math.atan2(uy, ux)) % 180.0
    return LaidBar(start, stop, Placement(float(gaps[k]), places[0], (places[1], places[2]), heading))


def _contacts(heights: Floats, gaps: Floats, k: int) -> tuple[int, int]:
    """The stations on either side on which the bar rests: the nearest that it touches."""
    touch = np.flatnonzero(gaps <= NOISE * max(1.0, float(np.ptp(heights))))
    return int(touch[touch < k].max()), int(touch[touch > k].min())


HEIGHTS, GAP, CHANCE, MORE = VIEWS = ("heights", "gap", "chance", "more readings")
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
    bar_length : length of the straightedge to lay [mm]
    bar : the straightedge laid by hand, or None
    pointer : place [mm] that is pointed at, or None
    """

    confidence = Float(0.95)
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
                    self._lay_worst_if_any()

    def _lay_worst_if_any(self) -> None:
        self.bar = None
        if self.surface is not None and self.gaps().worst is not None:
            self.lay_worst()

    def _judged(self, limits: list[Limit]) -> Assessment:
        assert self.survey is not None
        key = (self.survey, self.confidence, self.spot_checks, *((one.name, one.length, one.allowed) for one in limits))
        if key not in self._assessments:
            found = assess(self.survey, limits, confidence=self.confidence, spot_checks=self.spot_checks)
            self._assessments[key] = found
            while len(self._assessments) > KEPT:
                del self._assessments[next(iter(self._assessments))]
        return self._assessments[key]

    def judged_under(self, length: float) -> Judged | None:
        """The limit judged for a straightedge of this length [mm], or None where there is none."""
        laid = (
            []
            if self.assessment is None
            else [
                one
                for one in self.assessment.judged
                if one.limit.kind == "straightedge" and one.limit.length and settle(one.limit.length - length) == 0
            ]
        )
        return laid[0] if laid else None

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
        """The straightedge chosen, laid everywhere on the surface as read."""
        surface = self._surface()
        key = (surface, self.bar_length)
        assert self.survey is not None
        subject = Subject(self.survey, surface, widest_step(self.survey))
        found: StraightedgeResult = self._once("gaps", key, lambda: subject.laid(self.bar_length))
        return found

    def over(self) -> list[tuple[float, Place]]:
        """Gap [mm] and place [mm] of the worst of each area over what is allowed as read, the worst first."""
        if self.allowed is None or self.surface is None:
            return []
        gap = np.nan_to_num(self.gaps().gap)
        areas, count = label(gap > self.allowed + 1e-6, np.ones((3, 3)))
        peaks: Any = maximum_position(gap, areas, range(1, count + 1))
        found = [(float(gap[j, i]), (float(self.surface.x[i]), float(self.surface.y[j]))) for j, i in peaks]
        return sorted(found, reverse=True)

    def to_read(self) -> tuple[Judged, pd.DataFrame] | None:
        """The limit in doubt and the places where more readings would do most to decide it; None: nothing is."""
        return None if self.assessment is None else where_to_read(self.assessment)

    def chances(self, limit: Limit) -> Floats:
        """[ny, nx] chance at each place that a straightedge shows more than this limit allows."""
        assessment = self.assessment
        found: Floats = self._once("chances", (assessment, limit.name), lambda: assessment.chance_map(limit))
        return found

    def lay(self, start: Place, end: Place) -> LaidBar:
        """Lay the straightedge from one point [mm] toward another; points beside the surface are moved to its edge.

        Raises
        ------
        ArgumentError, MeasureError : as for :func:`~flatness.panels.check_state.lay_by_hand`
        """
        surface = self._surface()
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
                "no straightedge of this length",
                value=f"{length:.0f} mm",
                expected="300 mm (1 ft) to 15 m (49 ft)",
                remedy="type its length with its unit, such as 6 ft or 2 m",
            )
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
                self.choice.problems
                or self.problems
                or Problem(missing, remedy="choose it in the panel above, then run this cell again")
            )
        return checked
