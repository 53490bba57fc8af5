"""The planner: from a survey and what it must meet to a plan of the work by one way, with the proof that it passes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import shapely
from shapely import Polygon

from flatness.arrays import Floats
from flatness.errors import ArgumentError, PlanError
from flatness.framing.members import KINDS as MEMBER_KINDS
from flatness.framing.members import Members
from flatness.limits.catalogue import find
from flatness.limits.kinds import Limit
from flatness.limits.measuring import Subject
from flatness.limits.spot_checks import Checks, check_strips, notes_after
from flatness.notes import Note, joined
from flatness.planning.constraints import Depths, FixedSpot, Rates, check_height, check_meant, spot_heights
from flatness.planning.few_places import Gathered, Search
from flatness.planning.least_work import Progress
from flatness.planning.outlines import marks_table, owned
from flatness.planning.patches import (
    Patch,
    assign_actions,
    connected,
    framing_of,
    patch_table,
    quantities_of,
    thresholds_of,
    when,
)
from flatness.planning.plan import ACTIONS, OUTSIDE, WAYS, Plan
from flatness.planning.quantities import Setting, settings_for
from flatness.planning.request import SEARCHED, Plannable, Request, check_request, plannable
from flatness.planning.search import Found, Terms, seek
from flatness.planning.set_heights import CHANGED_MM, SETTING_ERROR_MM, PlanCheck, Work, on_likely
from flatness.planning.set_members import STRAP_SPACING_MM, Frame, Framed, over_all, some_members, to_one_plane
from flatness.planning.substrate import Beneath, Permitted, listed, not_followed, permitted_cut
from flatness.planning.volumes import node_areas
from flatness.surface.lattice import Surface
from flatness.surface.likely import MOST_PLACES, likely_surface
from flatness.surroundings.cautions import Caution, cautions_for
from flatness.survey.readings import Survey

ENGINEER_CUT_MM = 50.0  # so much may be a question for the engineer on however even a surface
RECORDED = (  # what is wanted, in the settings of a plan
    *("strategy", "surface", "headings", "shift", "level_within", "height", "tilt", "aim", "confidence", "seed"),
    *("ask_engineer", "setting_error", "keep_clear"),
)
MEMBER_SHARES = (0.7, 0.55, 0.4)  # of the limits, that runs of members are planned to


def plan_corrections(
    survey: Survey,
    strategy: str = "least-work",
    *,
    way: str = "patches",
    plane: str | None = None,
    limits: str | Limit | Iterable[str | Limit] = (),
    spacing: float | None = None,
    headings: int = 12,
    surface: str = "likely",
    rates: Rates | None = None,
    depths: Depths | None = None,
    fixed: Sequence[FixedSpot] = (),
    shift: str = "least-work",
    level_within: float | None = None,
    height: float | None = None,
    tilt: str = "least-squares",
    beneath: Beneath | Sequence[Beneath] | None = None,
    members: Members | None = None,
    crossing: Members | None = None,
    aim: float | str | None = None,
    confidence: float = 0.95,
    draws: int = 200,
    seed: int = 0,
    ask_engineer: bool = True,
    setting_error: float = SETTING_ERROR_MM,
    keep_clear: float = 0.0,
    materials: Mapping[str, Setting] | None = None,
    progress: Progress | None = None,
    spot_checks: Checks = (),
    **thresholds: float | None,
) -> Plan:
    """Plan what to bring to which height so that a surface meets its limits, by one way.

    Parameters
    ----------
    survey : the readings
    strategy : what ``patches`` bring the surface to. ``least-work``: few, compact places after which every straightedge
        limit is met; or all of it to a target plane: ``level`` (plumb on a wall), ``best-plane``,
        ``through-benchmarks``, ``fixed-spots``
    way : ``patches``: places planed or filled; ``members``: every joist or stud set to one plane; ``some-members``:
        runs of them where they are needed, the rest as found; ``overlay``: a pour, or strapping with shims, over all
    plane : that members or a layer come to: ``level`` (plumb on a wall), ``best-plane``, ``through-benchmarks`` (the
        fixed spots), ``end-members`` (two end members are set, the others by a string). None: that of ``strategy``,
        else level, or the best plane where heights are off a string
    limits : names of limits or finishes, agreed limits, or several of them
    spacing : lattice step [mm]; None takes about 6 in, dividing the stations' step and the bars' lengths
    headings : directions in which bars lie, equally spaced over half a turn
    surface : ``likely`` plans on the best estimate, so that the readings' noise is not planed off; ``as-read``
    rates : of the work; None: the defaults, in hours
    depths : deepest cut and fill [mm] that its user allows, whatever lies beneath; None: any
    fixed : spots whose finished height is given; the benchmarks of ``through-benchmarks``
    shift : ``least-work``, or ``nothing-comes-off``
    level_within : band [mm] between two level planes that holds the finished surface; for ``least-work``
    height : of a level plane [mm]; None: the one that takes least
    tilt : of the ``best-plane`` of patches: ``least-squares``, ``minimum-zone`` or ``least-work``
    beneath : what lies beneath, and whether it may be planed. Where nothing is said nothing comes off
    members : the joists, studs or strapping beneath
    crossing : what strapping crosses, where that is what ``members`` are: there it is shimmed
    aim : share of each straightedge limit to plan to, over 0 up to 1; ``sure`` takes the work that makes the chance of
        passing reach ``confidence``. None: ``sure``, and 1 without draws
    confidence : at which verdicts are given, from 0.5 to under 1
    draws, seed : surfaces drawn that the readings allow, for the chance of passing; the same seed, the same plan. Near
        a line of the verdict more are drawn
    ask_engineer : where fixed spots or depths leave no plan without taking off more than may be, plan that all the
        same, marked ``engineer``; False: a PlanError says which terms clash
    setting_error : with which a height is set, one standard deviation [mm]; default 1/32 in, common practice, no source
    keep_clear : least distance [mm] from the surface to the plane of a layer over all, for what is recessed in it
    materials : what quantities rest on, from :func:`~flatness.planning.quantities.settings_of`
    progress : called each round of the least work with its number, the placements still broken and the cost so
        far; True stops
    spot_checks : what a bar showed between the stations, which chooses among the surfaces that are drawn
    thresholds : such as ``deepest_fill``, ``thinnest_fill``, ``least_patch``; see
        :data:`~flatness.planning.patches.THRESHOLDS`

    Returns
    -------
    Plan

    Raises
    ------
    ArgumentError : an argument that is unknown or out of range, nothing that can be planned for, or a fixed spot far
        off the surface that is not said to be meant
    LimitError : unknown limits, or limits for another surface
    MeasureError : a level target for a survey off a string
    PlanError : terms that clash, or a way that is not open; the message says why

    Examples
    --------
    >>> from flatness.limits.kinds import straightedge_limit
    >>> from flatness.survey.readings import make_survey
    >>> x, y = np.meshgrid(np.arange(5) * 500.0, np.arange(3) * 500.0)
    >>> trough = make_survey(x, y, np.where(x == 1000, -4.0, 0.0), unit="mm")
    >>> plan = plan_corrections(
    ...     trough, limits=straightedge_limit(1000, 3.0), spacing=500, headings=1, surface="as-read", draws=0
    ... )
    >>> plan.change[1].round(3).tolist(), plan.patches["action"].tolist(), plan.passes
    ([0.0, 0.0, 1.0, 0.0, 0.0], ['fill'], True)
    """
    wanted = dict(locals())
    return case_of(**wanted.pop("thresholds"), **wanted).plan()


def case_of(
    survey: Survey,
    *,
    limits: str | Limit | Iterable[str | Limit] = (),
    spacing: float | None = None,
    rates: Rates | None = None,
    depths: Depths | None = None,
    beneath: Beneath | Sequence[Beneath] | None = None,
    members: Members | None = None,
    crossing: Members | None = None,
    materials: Mapping[str, Setting] | None = None,
    **options: Any,
) -> Case:
    """What :func:`plan_corrections` plans from; arguments and errors as there, but that no ``way`` is every way."""
    request = Request(**{one.name: options.pop(one.name) for one in fields(Request) if one.name in options})
    chosen = thresholds_of(survey.surface, **options)
    check_request(request)
    given = (limits,) if isinstance(limits, (str, Limit)) else tuple(limits)
    wanted = find(given, survey.surface) if given else []
    check, notes = _check_of(survey, wanted, spacing, request)
    ground = check.subject.surface
    # a benchmark may stand beside the surface
    check_meant(ground, request.fixed, request.strategy == "through-benchmarks")
    own = depths or Depths()
    if request.height is not None:
        check_height(ground, request.height, own, request.keep_clear)
    permitted = permitted_cut(ground, beneath, members, chosen["deepest_plane"].value)
    terms = Terms(
        surface=ground,
        rates=rates or Rates(),
        depths=replace(own, cut=0.0) if request.shift == "nothing-comes-off" else own,
        permitted=permitted,
        **{name: getattr(request, name) for name in SEARCHED},
    )
    return Case(
        survey=survey,
        request=request,
        limits=tuple(wanted),
        check=check,
        able=plannable(wanted, check.subject, request.level_within),
        permitted=permitted,
        terms=terms,
        thresholds=chosen,
        materials=settings_for(survey.surface, materials),
        beneath=listed(beneath),
        members=members,
        crossing=crossing,
        notes=tuple(notes),
    )


@dataclass(frozen=True, eq=False, kw_only=True)
class Case:
    """A survey and all that is wanted of it, from which each way makes its plan.

    Attributes
    ----------
    survey : the readings
    request : choices and numbers
    limits : that the finished surface is to meet
    check : holds work against them
    able : which of them can be planned for
    permitted : how deep anything may come off
    terms : of the least work
    thresholds, materials : by name
    beneath, members, crossing : what lies there
    notes : on the surface planned on
    """

    survey: Survey
    request: Request
    limits: tuple[Limit, ...]
    check: PlanCheck
    able: Plannable
    permitted: Permitted
    terms: Terms
    thresholds: Mapping[str, Setting]
    materials: Mapping[str, Setting]
    beneath: tuple[Beneath, ...]
    members: Members | None
    crossing: Members | None
    notes: tuple[str, ...]

    @property
    def surface(self) -> Surface:
        """As found, on the lattice."""
        return self.terms.surface

    @property
    def planned(self) -> list[Limit]:
        """The limits that are planned for."""
        return [limit for limit in self.limits if limit.name in self.able.names]

    @cached_property
    def frame(self) -> Frame:
        """The members over the surface."""
        if self.members is None:
            raise PlanError(
                "no members are named",
                expected="joists, studs or strapping, with their layout",
                remedy="give the first one and the spacing",
            )
        beneath = () if self.request.shift == "nothing-comes-off" else self.beneath
        deepest = self.thresholds["deepest_plane"].value
        return Frame.of(self.surface, self.survey, self.members, beneath, deepest, self.terms.depths, self.crossing)

    def plan(self, way: str | None = None) -> Plan:
        """The plan by the way that is chosen, or by another one.

        Raises
        ------
        PlanError : terms that clash, or a way that is not open
        """
        way = way or self.request.way or WAYS[0]
        if self.request.height is not None and self.request.strategy != "level" and way in ("patches", "some-members"):
            what, expected = "a height is for one level plane", "members, or overlay"
            remedy = "leave the height out, or bring all of the surface to a level plane: the strategy level"
            raise PlanError(what, value=Note("exact", mm=self.request.height), expected=expected, remedy=remedy)
        made = {
            "patches": self._patches,
            "members": self._members,
            "some-members": self._some,
            "overlay": self._overlay,
        }
        return made[way]()

    def _plane(self) -> str:
        """The plane that members, or a layer, come to."""
        if self.request.plane is not None:
            return "level" if self.request.plane == "plumb" else self.request.plane
        if self.request.strategy in ("level", "best-plane", "through-benchmarks"):
            return self.request.strategy
        return "level" if self.surface.is_level else "best-plane"

    def _patches(self) -> Plan:
        if self.request.strategy != "least-work":
            return self._whole()
        self._check_plannable()
        search = Search(
            survey=self.survey,
            terms=self.terms,
            able=self.able,
            limits=self.planned,
            check=self.check,
            thresholds=self.thresholds,
            error=self.request.setting_error,
            aim=self.request.aim,
        )
        found = search.run()
        change = found.work.change(self.surface)
        both = zip(self._actions_of(found, change), found.marks, strict=True)
        ordered = sorted(both, key=lambda pair: when(pair[0], self.surface))
        patches = [patch for patch, _ in ordered]
        table = patch_table(patches, change, self.surface, self.permitted, self.thresholds)
        named = list(zip(table["name"], (marks for _, marks in ordered), strict=True))
        marks = marks_table(named, self.surface, self.survey)
        notes = list(self._search_notes(found))
        return self._made(
            "patches", found.work, patches, table, found=found.found, marks=marks, share=found.share, notes=notes
        )

    def _actions_of(self, found: Gathered, change: Floats) -> list[Patch]:
        """Each place with what is done there: the most that any part of it asks for."""
        density = self.materials["fill_density"].value
        single = assign_actions(self.surface, change, self.survey.surface, self.permitted, self.thresholds, density)
        patches = []
        for place, own in zip(found.places, owned(found.places, found.change), strict=True):
            used = set(np.unique(single[own & (place.sign * np.nan_to_num(change) > 0)]).tolist())
            names = ("engineer", "plane") if place.sign < 0 else (framing_of(self.survey.surface), "fill")
            action = next((name for name in names if ACTIONS.index(name) in used), names[-1])
            patches.append(Patch(ACTIONS.index(action), own, self._on_surface(place.outline), chalked=True))
        return patches

    def _on_surface(self, outline: Polygon) -> Polygon:
        """An outline without what lies beyond the surface, or in an opening."""
        left = outline if self.survey.outline is None else outline.intersection(self.survey.outline)
        left = left.difference(shapely.union_all(self.survey.openings))
        return left if isinstance(left, Polygon) and not left.is_empty else outline

    def _whole(self) -> Plan:
        """All of the surface brought to a target plane."""
        found = seek(self.terms, [])
        change = np.nan_to_num(found.change)
        height = np.where(self.surface.inside, self.surface.height + change, np.nan)
        # what stands proud of the plane stays where nothing may come off
        way = np.where((self.permitted.cut > 0) | (change < 0), 0, 1).astype(np.int8)
        work = Work(height, way, self.request.setting_error)
        density = self.materials["fill_density"].value
        actions = assign_actions(self.surface, change, self.survey.surface, self.permitted, self.thresholds, density)
        patches = connected(actions, self.surface)
        table = patch_table(patches, change, self.surface, self.permitted, self.thresholds)
        return self._made("patches", work, patches, table, found=found, plane=self.request.strategy)

    def _members(self) -> Plan:
        frame = self.frame
        plane = self._plane()
        framed = to_one_plane(
            frame, self.survey, plane, self.request.fixed, self.request.height, self.request.setting_error
        )
        return self._of_framing("members", framed, plane)

    def _some(self) -> Plan:
        self._check_plannable()
        if self.able.lights:
            raise PlanError(
                "a light limit is not planned for by some members",
                value=", ".join(limit.name for limit in self.planned if limit.kind == "light"),
                expected="straightedge limits",
                remedy="work on places, or set all members to one plane; the limit is then judged on the finished work",
            )
        frame, found = self.frame, []
        for share in MEMBER_SHARES if self.request.aim == "sure" else (float(self.request.aim),):
            framed = some_members(
                frame, self.able.bars(share), self.terms.headings, self.request.fixed, self.request.setting_error
            )
            if framed is None:
                break
            chance = self.check.chance(self.planned, framed.work)
            found.append((share, framed, chance))
            if not chance < self.request.confidence:
                break
        if not found:
            raise PlanError(
                "no run of members joins what stands beside it",
                expected="straight lines that meet the limits",
                remedy="set all members to one plane, or work on places",
            )
        if len(found[-1][1].lines) == len(frame.tracks):
            what, remedy = "every member would have to be set", "set all members to one plane, or work on places"
            raise PlanError(what, value=str(len(frame.tracks)), expected="some of them", remedy=remedy)
        share, framed, _ = found[-1] if not found[-1][2] < self.request.confidence else max(found, key=lambda f: f[2])
        return self._of_framing("some-members", framed, "", share)

    def _overlay(self) -> Plan:
        floor, plane = self.survey.surface == "floor", self._plane()
        if plane == "end-members":
            raise PlanError(
                "a layer over all has no end members", value=plane, expected="level, best-plane or through-benchmarks"
            )
        straps = self.members if self.members is not None and self.members.kind == "strapping" else None
        thickness = straps.thickness if straps is not None else self.thresholds["strapping"].value
        least = max(self.thresholds["thinnest_pour"].value if floor else thickness, self.request.keep_clear)
        framed = over_all(
            self.surface,
            self.survey,
            plane,
            self.request.fixed,
            least,
            self.request.height,
            self.request.setting_error,
            None if floor else self.members,
            thickness,
            self.crossing,
            self.terms.depths.fill,
        )
        return self._of_framing("overlay", framed, plane)

    def _of_framing(self, way: str, framed: Framed, plane: str, share: float = 1.0) -> Plan:
        change = framed.work.change(self.surface)
        floor = self.survey.surface == "floor"
        name = ("fill" if floor else "fur") if way == "overlay" else "sister"
        nodes = framed.work.worked & self.surface.inside
        actions = np.where(self.surface.inside, 0, OUTSIDE).astype(np.int8)
        actions[nodes] = ACTIONS.index(name)
        patches = connected(actions, self.surface)
        table = patch_table(patches, change, self.surface, self.permitted, self.thresholds)
        return self._made(way, framed.work, patches, table, framed=framed, plane=plane, share=share, notes=framed.notes)

    def _made(
        self,
        way: str,
        work: Work,
        patches: Sequence[Patch],
        table: pd.DataFrame,
        *,
        found: Found | None = None,
        framed: Framed | None = None,
        marks: pd.DataFrame | None = None,
        plane: str = "",
        share: float = 1.0,
        notes: Sequence[str] = (),
    ) -> Plan:
        surface, survey, rates = self.surface, self.survey, self.terms.rates
        change = work.change(surface)
        self._check_engineer(change)
        actions = np.where(surface.inside, 0, OUTSIDE).astype(np.int8)
        for patch in patches:
            actions[patch.nodes & (np.nan_to_num(change) != 0 if way == "patches" else work.worked)] = patch.action
        after = self.check.table(self.limits, work, self.able.names, self.request.strategy == "least-work")
        area = node_areas(surface.inside, surface.spacing)[surface.inside]
        cost = rates.cost(area, change[surface.inside])
        used = {ACTIONS[patch.action] for patch in patches}
        members = self.members if framed is None else framed.members
        plan = Plan(
            survey=survey,
            surface=surface,
            based_on=self.request.surface,
            strategy=self.request.strategy,
            limits=self.limits,
            headings=self.terms.headings,
            change=change,
            actions=actions,
            patches=table,
            after=after,
            cost=cost,
            bound=min(found.bound, cost) if found else math.nan,
            flat_cost=found.flat_cost if found else math.nan,
            quantities=quantities_of(surface, change, actions, self.materials),
            way=way,
            plane=plane,
            set_height=np.where(work.worked, work.on(surface).height, np.nan),
            lines=framed.lines if framed else {},
            crossing=framed.crossing if framed else None,
            binding=found.binding if found else (),
            fixed=tuple(self.request.fixed),
            members=members,
            settings=self._settings(share),
            cautions=_cautions(used, survey),
            finished=found is None or found.finished,
            marks=marks_table((), surface, survey) if marks is None else marks,
        )
        said = [
            *not_followed(self.beneath),
            *self.notes,
            *self.able.notes,
            *self.permitted.notes,
            *notes,
            *self._notes(plan, found, used),
        ]
        return replace(plan, notes=tuple(dict.fromkeys(said)), work=work_of(plan, rates))

    def _search_notes(self, found: Gathered) -> Iterator[str]:
        if not math.isnan(found.chance) and found.chance < self.request.confidence:
            chance = f"{100 * found.chance:.0f} %" if found.chance >= 0.005 else "under 1 %"
            yield Note("none-sure", chance=chance)

    def _notes(self, plan: Plan, found: Found | None, used: set[str]) -> Iterator[str]:
        if found is not None and not found.finished:
            yield Note("stopped-early")
        if found is not None and found.clash:
            yield Note("no-plan-within", clash=found.clash)
        for row in plan.patches[plan.patches["action"] == "engineer"].itertuples():
            yield Note("of-patch", name=row.name, note=row.note)
        deepest = float(plan.patches["greatest_mm"].abs().max()) if len(plan.patches) else math.inf
        if plan.way == "patches" and deepest < (self.survey.accuracy or 0.0):
            yield Note("within-error", error=self.survey.accuracy)
        if self.check.likely is None:
            yield Note("no-draws")
        framing = used & {"sister", "fur"}
        if framing and plan.way == "patches":
            if not self.permitted.said.all():
                yield Note("hollows-framed", how=sorted(framing))
            yield Note("framing-lengths")
        if "engineer" in used:
            yield Note("engineer-not-counted")
        kinds = [one.kind for one in self.beneath if one.kind in MEMBER_KINDS]
        if "fill" in used and kinds:
            yield Note("fill-needs-deck", kind=kinds[0])
        if self.survey.surface == "floor" and (np.nan_to_num(plan.change) > CHANGED_MM).any():
            yield Note("floor-rises")

    def _settings(self, share: float) -> dict[str, Any]:
        recorded = {name: getattr(self.request, name) for name in RECORDED}
        return {
            **recorded,
            "spacing": self.surface.spacing,
            "rates": self.terms.rates,
            "depths": self.terms.depths,
            "planned_to": share,
            "draws": self.check.draws,
            "beneath": self.beneath,
            **self.thresholds,
        }

    def _check_plannable(self) -> None:
        if self.able.requirements or self.request.level_within is not None:
            return
        raise ArgumentError(
            "nothing that the least work can be planned for",
            column="limits",
            value=", ".join(limit.name for limit in self.limits) or "none",
            expected="a straightedge limit, a light limit, or a band for level",
            remedy=joined([Note("agree-straightedge"), *self.able.notes]),
        )

    def _check_engineer(self, change: Floats) -> None:
        """Refuse a plan that cuts deeper than the surface is uneven: heights of fixed spots that cannot be meant."""
        ground, fixed = self.surface, self.request.fixed
        off = np.nan_to_num(-change)
        most = float(np.where(off > self.permitted.cut + CHANGED_MM, off, 0.0).max())
        if not fixed or most <= max(ENGINEER_CUT_MM, float(np.nanmax(ground.height) - np.nanmin(ground.height))):
            return
        stand = spot_heights(ground, [replace(spot, height=None) for spot in fixed])
        away = [
            Note("spot-off", spot=str(spot), off=height - now)
            for spot, height, now in zip(fixed, spot_heights(ground, fixed), stand, strict=True)
        ]
        what = "the fixed spots ask for more to come off than the surface is uneven"
        expected = "heights that one surface can have"
        raise PlanError(what, value=Note("length", mm=most), expected=expected, remedy=Note("check-spots", spots=away))


def work_of(plan: Plan, rates: Rates) -> float:
    """What a plan takes by the rates [their unit]: places by number, ground and volume, members by length."""
    rows = plan.patches
    if plan.sets_members:
        return rates.length * lumber_of(plan)
    if plan.way == "overlay" and plan.survey.surface != "floor":
        return rates.length * lumber_of(plan) + rates.crossing * crossings_of(plan)
    return sum(
        rates.work(greatest, area, volume)
        for greatest, area, volume in zip(rows["greatest_mm"], rows["area_mm2"], rows["volume_mm3"], strict=True)
    )


def lumber_of(plan: Plan) -> float:
    """Length of the joists, studs or straps that are set [mm], as far as the surface reaches."""
    members = plan.members
    if members is None or plan.way == "patches":
        return 0.0
    along, across = members.xy(plan.x, plan.y)
    total = 0.0
    for name, position, start, end in members.spans(plan.x, plan.y):
        beyond = max(across[0] - position, position - across[-1]) > plan.surface.spacing
        if not (beyond or (plan.sets_members and name not in plan.lines)):
            total += max(0.0, min(end, float(along[-1])) - max(start, float(along[0])))
    return total


def crossings_of(plan: Plan) -> int:
    """How many places strapping over all is shimmed at: where it crosses framing, every 16 in where none is named."""
    if plan.members is None:
        return 0
    if plan.crossing is None:
        return math.ceil(lumber_of(plan) / STRAP_SPACING_MM - CHANGED_MM)
    return len(plan.members) * len(plan.crossing)


def _check_of(
    survey: Survey, wanted: list[Limit], spacing: float | None, request: Request
) -> tuple[PlanCheck, list[str]]:
    """The surface planned on, the likely surface that draws come from, and what is to be known of both."""
    subject = Subject.of(survey, wanted, spacing, request.headings)
    ground, likely, notes = subject.surface, None, [subject.surface.note] * bool(subject.surface.note)
    if min(ground.height.shape) < 2 or not ground.inside.any():
        raise ArgumentError(
            "the lattice is too coarse to plan on",
            column="spacing",
            value=Note("exact", mm=ground.spacing),
            expected="two nodes or more each way",
            remedy="choose a smaller spacing",
        )
    draws = request.draws
    if draws and int(ground.inside.sum()) > MOST_PLACES:
        notes.append(Note("too-many-nodes", nodes=int(ground.inside.sum()), most=MOST_PLACES))
        draws = 0
    if request.surface == "likely" or draws:
        likely = likely_surface(survey, ground.spacing)
        if likely.slips:
            # nothing is planned on a guess that a reading is wrong: it is read again first
            notes += [Note("slip-first", slip=str(slip)) for slip in likely.slips]
            likely = likely_surface(survey, ground.spacing, trusting=True)
        notes += notes_after(likely.notes, request.spot_checks)
    if likely is not None and request.surface == "likely":
        subject = on_likely(subject, likely)
    check_strips(request.spot_checks, survey)
    check = PlanCheck(subject, likely if draws else None, draws, request.seed, request.confidence, request.spot_checks)
    notes += [note for limit in wanted if (note := check.unknown_to_plan(limit)) is not None]
    return check, list(dict.fromkeys(notes))


def _cautions(used: set[str], survey: Survey) -> tuple[Caution, ...]:
    advice = [name for name in ACTIONS if name in used and name != "engineer"]
    advice += ["notch", "engineered", "authority"] * ("engineer" in used)
    advice += ["change of height"] * bool(used and survey.surface == "floor")
    return cautions_for(advice)
