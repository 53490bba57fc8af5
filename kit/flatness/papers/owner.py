"""The owner's page: the answer in one sentence, one map of what it means, what it takes; and a page of numbers."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
import shapely
from matplotlib.figure import Figure

from flatness.charts.axes import FreeSpace
from flatness.charts.differences import drawn_off, is_blank, one_datum, plane_says
from flatness.charts.map_base import path_of
from flatness.charts.scales import check_unit
from flatness.comparison.comparing import Comparison
from flatness.errors import ArgumentError
from flatness.job.records import Page
from flatness.job.running import Results
from flatness.limits.kinds import UNITLESS, Limit
from flatness.limits.spot_checks import ASSUMED, SPOT_CHECKED, Sweep, over_on_strips
from flatness.limits.verdict import FAIL, PASS, RANK, UNDECIDED, Assessment, Judged
from flatness.papers.figures import (
    INK,
    NEAR_SHARE,
    SEEN,
    WAYS,
    Panel,
    RoomMap,
    heat_maps,
    key_picture,
    lay_shares,
    likely_surface_of,
    lit_picture,
    room_figure,
    seen_size,
    share_of_limit,
    svg_of,
)
from flatness.papers.files import Paper, embedded
from flatness.papers.owner_words import (
    RESULTS,
    about,
    about_area,
    away,
    likely_after,
    looked_at,
    paragraphs,
    quality,
    size_of,
    source_of,
    title_of,
    unevenness,
    where,
)
from flatness.papers.sheet import MARGIN_MM, cut, made_text, make_html, make_pdf, one_line, sheet_named
from flatness.planning.constraints import Rates
from flatness.planning.plan import Plan
from flatness.planning.volumes import node_areas
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey
from flatness.words.printed import accuracy, capital, counted, day_words, number, percent, position, shown_unit, spelled
from flatness.words.ways import HOURS, before_and_after, times, work_text

MET_WHERE_MEASURED = "good enough where measured"
MOST_ROWS = 8  # of the table, so that it all stays on one page
MOST_PURPOSE = 24  # letters of what a floor is for that the first sentence has room for
LOGO_IN = 0.5
SIMPLE = ("straightedge", "straightedge-share", "level", "plumb", "plane", "neighbours")  # limits that are one length
INCH = 25.4
LOW_MAP_IN = 3.4  # a map lower than this leaves room for that of the heights [in]
MAP_IN, TALL_MAP_IN, SMALL_MAP_IN, TALL_SMALL_IN = 5.1, 5.7, 1.45, 1.8  # how high maps may be on Letter [in]
STRIP_MM = 300.0  # how wide a strip along which a bar was slid is drawn
TALL = 0.6  # of the page's width: what stands beside a map narrower than this has room there
DEEDS = {"plane": "sanded", "fill": "filled", "sister": "raised", "fur": "shimmed", "engineer": "for the engineer"}
AUTHORITY = (
    "This page says what was measured and what is planned. It does not judge the structure: local codes, the maker of "
    "the finish and licensed practice decide."
)


@dataclass(frozen=True, eq=False)
class Day:
    """The surface on one day, or as planned: its heights, its room, and its verdict by the limit that is pictured."""

    surface: Surface
    survey: Survey
    limit: Limit | None
    verdict: str
    over: tuple[Sweep, ...] = ()  # strips on which a bar showed more than is allowed

    @classmethod
    def of(cls, assessment: Assessment) -> Day:
        one = assessment.pictured or assessment.governing
        limit, verdict = (None, "") if one is None or one.finding is None else (one.limit, one.verdict)
        over = () if limit is None else over_on_strips(limit, assessment.spot_checks)
        return cls(likely_surface_of(assessment), assessment.subject.survey, limit, verdict, over)

    def as_planned(self, plan: Plan) -> Day:
        """The same room as the plan makes it."""
        rows = plan.after.set_index("limit")["verdict"].to_dict()
        verdict = str(rows.get(self.limit.name, "")) if self.limit is not None else ""
        return Day(replace(plan.surface, height=plan.target), plan.survey, self.limit, verdict)

    def lay(self, room: RoomMap) -> set[str]:
        """Draw what is fine, near and wrong, and the strips that a bar showed to be; return what was drawn."""
        shown = self._lay_surface(room)
        for one in self.over:
            room.lay(shapely.LineString(one.ends).buffer(STRIP_MM / 2, cap_style="flat"), "bar")
        return shown | ({"bar"} if self.over else set())

    def _lay_surface(self, room: RoomMap) -> set[str]:
        share = share_of_limit(self.surface, self.limit)
        if share is None:
            room.lay(room.room, "whole")
            return set()
        most, decided = 1.0 if self.verdict == PASS else math.inf, self.verdict != UNDECIDED
        lay_shares(room, self.surface, share, decided=decided, most=most)
        size = np.clip(share[np.isfinite(share)], -most, most)
        shown = {"fine"} | ({"near"} if (np.abs(size) > NEAR_SHARE).any() else set())
        if not decided:
            return shown | ({"undecided"} if (np.abs(size) > 1).any() else set())
        return shown | {kind for kind, side in (("high", size), ("low", -size)) if (side > 1 + 1e-9).any()}


def owner_page(
    found: Survey | Assessment,
    plan: Plan | None = None,
    comparison: Comparison | None = None,
    *,
    job: Results | None = None,
    paper: str = "letter",
    unit: str | None = None,
    made: datetime | None = None,
) -> Paper:
    """One page for whoever owns the room, and one of numbers behind it.

    Parameters
    ----------
    found : a survey, or an assessment of one against limits
    plan : what will be done, and what it will be like
    comparison : of a survey before and one after: what was done, and what it is like now
    job : that all this is of: its title, and what the plan does at its doors, stairs, thresholds and reveals
    paper : ``letter`` or ``a4``
    unit : ``in`` or ``mm``; None takes the survey's own
    made : when the page was made, which is printed; None leaves it out, and the same input gives the same bytes

    Returns
    -------
    Paper : with a PDF and an HTML form

    Raises
    ------
    ArgumentError : an unknown paper or unit, or something that is neither a survey nor an assessment
    """
    sheet = sheet_named(paper)
    if not isinstance(found, (Survey, Assessment)):
        raise ArgumentError(
            "neither a survey nor an assessment",
            column="found",
            value=type(found).__name__,
            expected="what read_survey or assess gives",
        )
    assessment = found if isinstance(found, Assessment) else None
    if assessment is None and comparison is not None and comparison.assessments is not None:
        assessment = comparison.assessments[0]
    survey = found if isinstance(found, Survey) else found.subject.survey
    unit = check_unit(shown_unit(survey, unit))
    after = comparison.assessments[1] if comparison is not None and comparison.assessments is not None else None
    now = after if comparison is not None else assessment
    one = now.governing if now is not None else None
    page = job.job.page if job is not None else Page()
    width, spare = (sheet.width - 2 * MARGIN_MM) / INCH, (sheet.height - 279.4) / INCH
    spare -= LOGO_IN if page.logo is not None else 0.2 if page.client or page.address else 0.0
    pictures: dict[str, Figure] = {}
    across, up = seen_size(survey.surface_at(), survey)
    beside = bool(TALL_MAP_IN + spare < TALL * width * up / across)
    lower = TALL_SMALL_IN if beside else SMALL_MAP_IN
    small = list(_small_maps(survey, assessment, plan, comparison, unit, (width, lower)))
    spare += 0.0 if small else 1.9
    size = (width, (TALL_MAP_IN if beside else MAP_IN) + spare)
    large, key = _large_map(survey, assessment, plan, comparison, unit, size)
    pictures["map.svg"] = large
    pictures |= {f"{kind}.svg": key_picture(kind) for kind, _ in key}
    pictures |= {f"small{k}.svg": figure for k, (_, figure, _) in enumerate(small)}
    panels, note = _heights(survey, assessment, plan, comparison)
    rows, more = rows_of(assessment, plan, comparison, unit)
    pictures["heights.svg"] = heat_maps(panels, survey.surface, unit, width, tallest=2.9)
    lit = lit_picture(assessment, plan, comparison, unit, width)
    pictures |= {} if lit is None else {"lit.svg": lit[0]}
    state, sentence = headline(survey, now, plan, comparison, job)
    title = cut(title_of(survey, comparison, job), 90)
    second = _second(one, now, survey, unit)
    data: dict[str, Any] = {
        "title": title,
        "short": cut(title, 60),
        "measured": ". ".join(
            [
                text
                for text in (" and ".join(_days(survey, comparison)), page.date and f"Page of {day_words(page.date)}")
                if text
            ]
        ),
        "state": state,
        "hollow": state == PASS and now is not None and now.between == ASSUMED,
        "sentence": sentence,
        "second": second,
        "beside": beside,
        # a low map leaves room on the first page
        "heights_first": bool(not small and not beside and large.get_figheight() < LOW_MAP_IN),
        "map": [large.get_figwidth(), large.get_figheight()],
        "key": [[f"{kind}.svg", words] for kind, words in key],
        "seen": SEEN[survey.surface],
        "facts": [list(fact) for fact in facts_of(now, plan, comparison is not None, unit, page)],
        "logo": "",
        "about": [text for text in (page.client and f"For {page.client}", page.address) if text],
        "photographs": [],
        "small": [[f"small{k}.svg", name, words] for k, (name, _, words) in enumerate(small)],
        "numbers": _measured(survey, comparison, unit),
        "paragraphs": paragraphs(survey, assessment, plan, comparison, unit, job),
        "map_note": note,
        "lit": "" if lit is None else lit[1],
        "head": head_of(plan, comparison),
        "rows": rows,
        "more": more,
        "authority": AUTHORITY,
    }
    drawn = {name: svg_of(figure) for name, figure in pictures.items()}
    if page.logo is not None:
        ending, drawn_logo = embedded(page.logo, 600)
        data["logo"] = f"logo{ending}"
        drawn[data["logo"]] = drawn_logo
    for k, taken in enumerate(page.photographs):
        ending, photograph = embedded(taken)
        data["photographs"].append([f"photograph{k}{ending}", taken.says])
        drawn[f"photograph{k}{ending}"] = photograph
    return Paper(
        title,
        make_pdf("owner.typ", data, drawn, paper, made),
        make_html("owner.html", _lined(data) | {"made": made_text(made)}, drawn),
    )


# -- the answer


def headline(
    survey: Survey, now: Assessment | None, plan: Plan | None, comparison: Comparison | None, job: Results | None
) -> tuple[str, str]:
    """``pass``, ``fail``, ``undecided`` or nothing, and the first sentence of the page."""
    kind = survey.surface
    one = now.governing if now is not None else None
    if one is None:
        return "", f"How the {kind} lies{' now' if comparison is not None else ''}."
    layers = job.job.layers if job is not None else ()
    name = one_line(layers[-1].name) if layers and layers[-1].thickness > 0 else ""
    enough = f"{quality(one.limit)} enough{f' for the {name}' if 0 < len(name) <= MOST_PURPOSE else ''}"
    if comparison is not None or plan is None or one.verdict == PASS:
        words = ("now ", "still ", "yet ") if comparison is not None else ("", "", "")
        return one.verdict, {
            PASS: f"The {kind} is {words[0]}{enough}.",
            FAIL: f"The {kind} is {words[1]}not {enough}.",
            UNDECIDED: f"It is not sure {words[2]}that the {kind} is {enough}.",
        }[one.verdict]
    yet = f"{'Not' if one.verdict == FAIL else 'Not surely'} {enough} yet"
    page = job.job.page if job is not None else Page()
    days = days_of(work_takes(plan.work, plan.settings.get("rates"), page)[0], page)
    if plan.verdict == PASS:
        it = counted(days, "day") if days else "the work below"
        return one.verdict, f"{yet}: {it}{' of work' * bool(days)} make{'s' * (days < 2)} it so."
    if plan.verdict == UNDECIDED:
        return one.verdict, f"{yet}, and it is not sure that this work makes it so."
    return one.verdict, f"{yet}, and this work alone does not make it so."


def _second(one: Judged | None, now: Assessment | None, survey: Survey, unit: str) -> str:
    """How large it is and what is allowed, in one line."""
    if one is None or now is None:
        return unevenness(survey, survey.surface_at(), unit)
    if one.finding is None:
        return "These readings cannot tell: they stand too far apart, or do not reach far enough."
    what, allowed = looked_at(one.limit, unit)
    allowed, length = _short(allowed), one.limit.length
    rests = ""
    if one.verdict == PASS and one.between == ASSUMED:
        apart = spelled(position(now.subject.step, unit))
        rests = f" It was measured every {apart}; nobody has looked between."
    elif one.verdict == PASS and one.between == SPOT_CHECKED:
        apart = spelled(position(now.subject.step, unit))
        rests = f" It was measured every {apart}, and a bar was slid between."
    elif one.by_bar and one.worst_at is None:
        rests = " A bar set between the readings showed it; nobody wrote down where."
    elif one.verdict != PASS and one.worst_at is not None and survey.walls.door is not None:
        how = "A bar slid between the readings showed it" if one.shown_by_bar else "It is worst"
        rests = f" {how} {where(*one.worst_at, unit, survey)}."
    if one.limit.kind in UNITLESS or one.limit.kind == "slope":
        what += "" if one.limit.kind == "light" else ":"
        return f"{capital(what)} {_found(one, unit)}. {capital(allowed)} is asked for.{rests}"
    middle = one.likely()[0]
    size = size_of(one, unit).replace(" inches", " in").replace(" inch", " in")
    if one.verdict != UNDECIDED:
        size += _twin(one.finding.measured.value if math.isnan(middle) else middle, unit)
    finish = f" for {one.limit.everyday}" if one.limit.everyday else ""
    plain = one.limit.kind in SIMPLE
    may = f"{allowed}{'' if '(' in allowed or not plain else _twin(one.finding.allowed, unit)} is allowed{finish}."
    if one.limit.kind == "straightedge" and length is not None:
        bar = away(length, unit).replace(" feet", " ft")
        return f"A {bar} straight bar shows {size}. {may}{rests}"
    return f"{capital(what)}: {size}. {capital(may)}{rests}"


def _twin(mm: float, unit: str) -> str:
    if unit != "in":
        return ""
    return f" ({round(mm)} mm)" if mm >= 3 else f" ({max(0.5, round(2 * mm) / 2):g} mm)"


def work_takes(work: float, rates: Rates | None, page: Page) -> tuple[float, str, str]:
    """Hours, cost and what that is, of work that was weighed by somebody's own rates; else 0 and none.

    Rates are in hours or in money: what an hour costs gives the one from the other.

    Parameters
    ----------
    work : of the chosen way, in the unit of the rates
    rates : by which it was weighed; None, or the usual ones, are nobody's own
    page : with what an hour costs, or what was agreed
    """
    hours, cost, what, hour = 0.0, "", "cost", page.per_hour
    if rates not in (None, Rates()) and work > 0:
        in_hours = rates.unit.casefold() in HOURS
        hours = work if in_hours else work / hour.amount if hour and hour.unit == rates.unit else 0.0
        if not in_hours:
            cost = work_text(work, rates.unit)
        elif hour is not None:
            cost, each = (work_text(amount, hour.unit) for amount in (work * hour.amount, hour.amount))
            what = f"of work, at {each} an hour"
    return (hours, page.cost, "cost, as agreed") if page.cost else (hours, cost, what)


def days_of(hours: float, page: Page) -> int:
    """Working days, a little over not counted as one more; none where no hours are known."""
    return math.ceil(hours / page.hours_a_day - 0.05) or 1 if hours else 0


def facts_of(
    now: Assessment | None, plan: Plan | None, past: bool, unit: str, page: Page | None = None
) -> Iterator[tuple[str, str]]:
    """What the work takes and how sure it all is: a few large words, and a line below them."""
    page = page or Page()
    if plan is not None and len(plan.patches):
        hours, cost, of = work_takes(plan.work, plan.settings.get("rates"), page)
        days = days_of(hours, page)
        if cost:
            yield cost, f"{of}, as planned" if past and not page.cost else of
        if days:
            yield counted(days, "day"), f"{'planned: ' if past else ''}about {work_text(hours, 'h')} of work"
        whole = float(node_areas(plan.surface.inside, plan.surface.spacing).sum())
        size = float(plan.patches["area_mm2"].sum()) if plan.way == "patches" else whole
        bags = int(plan.quantities.bags)
        worked = f"{about_area(size, unit).removeprefix('about ')} {'worked on' if past else 'to work on'}"
        if bags:
            yield counted(bags, "bag"), f"of fill, {worked}"
        elif plan.way != "patches":
            yield f"The whole {plan.survey.surface}", about_area(whole, unit)
        else:
            yield capital(worked), f"of {about_area(whole, unit).removeprefix('about ')}"
        planed = float(plan.patches.loc[plan.patches["action"] == "plane", "area_mm2"].sum())
        if planed:
            yield "Dust and noise", f"from sanding {about_area(planed, unit)}"
        elif plan.sets_members:
            yield "Noise", "lumber is cut and fastened"
        elif plan.way == "overlay" and plan.survey.surface == "floor":
            yield "Wet work", "nobody walks on it until it is dry"
        elif plan.way == "patches":
            yield "Little dust", "fill is spread, and has to dry"
    sure = _how_sure(now, plan, past)
    if sure and now is not None:
        points = len(now.subject.survey.stations()[0])
        apart = spelled(position(now.subject.step, unit))
        yield sure[0], sure[1] or f"{points} points, {apart} apart"


def _how_sure(now: Assessment | None, plan: Plan | None, past: bool) -> tuple[str, str] | None:
    if now is None or now.governing is None:
        return None
    if plan is not None and not past and now.verdict != PASS and len(plan.patches):
        chances = plan.after["chance"].dropna()
        if not len(chances):
            return None
        chance, wanted = float(chances.min()), float(plan.settings.get("confidence", 0.95))
        words = "Very sure" if chance >= wanted else "Fairly sure" if chance >= 0.8 else "Not sure"
        return words, f"done so, it passes {times(chance, wanted)}"
    if now.verdict == UNDECIDED:
        return "Not sure", "more readings would settle it"
    if now.verdict == PASS and now.between == ASSUMED:
        return "Sure at the points", ""
    return "Very sure", ""


# -- the maps


def _large_map(
    survey: Survey,
    assessment: Assessment | None,
    plan: Plan | None,
    comparison: Comparison | None,
    unit: str,
    size: tuple[float, float],
) -> tuple[Figure, list[tuple[str, str]]]:
    """The map of what it means now, with the places of the work; and what its colors stand for."""
    after = comparison.assessments[1] if comparison is not None and comparison.assessments is not None else None
    now = after if comparison is not None else assessment
    here = comparison.surveys[1] if comparison is not None else survey
    day = Day.of(now) if now is not None else Day(here.surface_at(), here, None, "")
    figure, room = room_figure(day.surface, day.survey, *size)
    shown = day.lay(room)
    space = FreeSpace(room.ax)
    room.openings(space)
    one = now.pictured or now.governing if now is not None else None
    spot = one.worst_at if one is not None else None
    if one is not None and spot is not None and one.finding is not None and one.finding.measured.value > 0:
        bar = one.limit.kind == "straightedge"
        worst = "gap under a bar slid here" if one.shown_by_bar else "largest gap" if bar else "worst place"
        words = f"{worst}{' now' if comparison is not None else ''}"
        room.point_out(f"{words}: {_short(size_of(one, unit))}" if bar else words, spot, space)
    if plan is not None and plan.way == "patches":
        for row in plan.patches.to_dict("records"):
            room.fill(row["outline"], "none", edgecolor=INK, linewidth=1.1, linestyle=(0, (4, 2.5)), zorder=4)
        for row in plan.patches.to_dict("records"):
            verb = "" if row["action"] == "engineer" else "was " if comparison is not None else "will be "
            room.name(f"{verb}{DEEDS[str(row['action'])]}", row["outline"], space)
    low, high = WAYS[survey.surface]
    meanings = {
        "fine": f"{quality(one.limit) if one is not None else 'flat'} enough",
        "near": "close to the limit",
        "high": high,
        "low": low,
        "bar": "too large a gap under a bar slid here",
        "undecided": "not settled",
        "unread": "not measured",
    }
    if is_blank(day.surface, day.survey):
        shown.add("unread")
    if day.verdict == FAIL and shown - {"unread", "bar"} and not (one is not None and one.by_bar):
        shown |= {"high", "low"}
    return figure, [(kind, text) for kind, text in meanings.items() if kind in shown]


def _short(text: str) -> str:
    """A length as the first page writes it: ``1/8 in``."""
    for word in ("about ", "somewhere "):
        text = text.removeprefix(word)
    return text.replace(" inches", " in").replace(" inch", " in")


def _small_maps(
    survey: Survey,
    assessment: Assessment | None,
    plan: Plan | None,
    comparison: Comparison | None,
    unit: str,
    size: tuple[float, float],
) -> Iterator[tuple[str, Figure, str]]:
    """Before, the work, and now or when it is done: name, picture, and a line below; of this width and height [in]."""
    if assessment is None or (plan is None and comparison is None):
        return
    before = Day.of(assessment)
    third = (size[0] - 0.5) / 3

    def picture(day: Day) -> Figure:
        figure, room = room_figure(day.surface, day.survey, third, size[1])
        day.lay(room)
        room.openings()
        return figure

    yield "Before" if comparison is not None else "Now", picture(before), _gap_line(assessment, before.limit, unit)
    if plan is not None:
        figure, room = room_figure(plan.surface, plan.survey, third, size[1])
        _draw_work(room, plan)
        room.openings()
        counts = plan.patches["action"].value_counts(sort=False)
        names = {"plane": "sand", "fill": "fill", "sister": "raise", "fur": "shim", "engineer": "ask about"}
        what = ", ".join(f"{names[str(action)]} {count}" for action, count in counts.items())
        yield "The work", figure, capital(what) if plan.way == "patches" else "All over"
    if comparison is not None and comparison.assessments is not None:
        day = Day.of(comparison.assessments[1])
        yield "Now", picture(day), _gap_line(comparison.assessments[1], before.limit, unit)
    elif plan is not None:
        rows = {str(row["limit"]): row for row in plan.after.to_dict("records")}
        row = rows.get(before.limit.name) if before.limit is not None else None
        line = "" if row is None or not math.isfinite(row["after_mm"]) else _planned(plan, row, unit)
        yield "When done", picture(before.as_planned(plan)), f"Largest gap {_short(line)}" if line else ""


def _gap_line(assessment: Assessment, limit: Limit | None, unit: str) -> str:
    one = next((one for one in assessment.judged if limit is not None and one.limit.name == limit.name), None)
    if one is None or one.finding is None or one.limit.kind != "straightedge":
        return ""
    by_bar = ", under a bar slid between the readings" if one.shown_by_bar else ""
    return f"Largest gap {_short(size_of(one, unit))}{by_bar}"


def _draw_work(room: RoomMap, plan: Plan) -> None:
    """The places by what is done there, or the members that are set."""
    room.fill(room.room, "#F3F5F6", zorder=0.8)
    if plan.sets_members and plan.members is not None:
        for name, line in plan.members.lines(plan.x, plan.y):
            strip = line.intersection(room.room.difference(room.holes)).buffer(1.2 * room.per)
            room.fill(path_of(strip), INK if name in plan.lines else "#C3C9CE", zorder=1.5)
    elif plan.way == "overlay":
        room.lay(room.room, "add", edge=False)
    else:
        for row in plan.patches.to_dict("records"):
            room.lay(row["outline"], "off" if row["action"] in ("plane", "engineer") else "add")


def _heights(
    survey: Survey, assessment: Assessment | None, plan: Plan | None, comparison: Comparison | None
) -> tuple[list[Panel], str]:
    """The maps of heights, and what must be known to read them."""
    is_true = one_datum(survey, comparison)
    names: tuple[str, ...]
    surveys: tuple[Survey, ...]
    if comparison is not None:
        before = Surface(x=comparison.x, y=comparison.y, height=comparison.before_heights, spacing=comparison.spacing)
        days, names = [before, replace(before, height=comparison.after_heights)], ("Before", "After")
        off, surveys = plane_says(survey.surface, is_true, "after the work"), comparison.surveys
    elif plan is not None:
        days = [plan.surface, replace(plan.surface, height=plan.target)]
        names, surveys = ("As found", "As planned, not measured"), (survey, survey)
        off = plane_says(survey.surface, is_true, "as planned")
    else:
        days = [assessment.subject.surface if assessment is not None else survey.surface_at()]
        names, surveys = (f"How the {survey.surface} lies",), (survey,)
        off = "Heights off the plane that lies nearest to the surface."
    drawn = drawn_off(days, survey.surface, is_true)
    panels = [Panel(*parts) for parts in zip(names, drawn, surveys, strict=True)]
    high, low = {
        "floor": ("it is high", "it is low"),
        "ceiling": ("it hangs low", "it is high"),
        "wall": ("it stands out", "it is set back"),
    }[survey.surface]
    blank = ""
    if any(is_blank(day, one) for day, one in zip(drawn, surveys, strict=True)):
        blank = f" What is white was not measured{' both times' if comparison is not None else ''}."
    return panels, f"{off} Lines join places of one height: solid where {high}, dashed where {low}.{blank}"


# -- the numbers


def head_of(plan: Plan | None, comparison: Comparison | None) -> list[str]:
    """The headings of the columns of the table."""
    if comparison is not None:
        found = ["Before", "Now", "Result"]
    else:
        found = ["Found", "As found", "Planned", "As planned"] if plan is not None else ["Found", "Result"]
    return ["What is looked at", "Allowed", *found, "Who sets it"]


def rows_of(
    assessment: Assessment | None, plan: Plan | None, comparison: Comparison | None, unit: str
) -> tuple[list[list[str]], str]:
    """The verdicts that matter most, and how many more there are."""
    if assessment is None:
        return [], ""
    pairs: list[tuple[Judged, Judged | None]] = [(one, None) for one in assessment.judged]
    if comparison is not None and comparison.assessments is not None:
        pairs = list(zip(*(one.judged for one in comparison.assessments), strict=True))
    after = {} if plan is None else {str(row["limit"]): row for row in plan.after.to_dict("records")}
    pairs.sort(key=lambda pair: RANK[(pair[1] or pair[0]).verdict])
    limits = [one.limit for one, _ in pairs]
    rows = []
    for one, other in pairs[:MOST_ROWS]:
        found = [_found(one, unit)]
        if comparison is not None:
            found += [_found(other, unit) if other is not None else "not judged", _result_of(other or one)]
        elif plan is not None:
            row = after.get(one.limit.name)
            found += [_result_of(one), _planned(plan, row, unit), _result(row)]
        else:
            found += [_result_of(one)]
        rows.append(
            [_named(one.limit, limits, unit), looked_at(one.limit, unit)[1], *found, cut(source_of(one.limit), 110)]
        )
    left = [pair[1] or pair[0] for pair in pairs[MOST_ROWS:]]
    counts = {words: sum(one.verdict == verdict for one in left) for verdict, words in RESULTS.items()}
    says = ", ".join(f"{count} {words}" for words, count in counts.items() if count)
    return rows, f"And {counted(len(left), 'more limit')}: {says}." if left else ""


def _result_of(one: Judged) -> str:
    return MET_WHERE_MEASURED if one.verdict == PASS and one.between == ASSUMED else RESULTS[one.verdict]


def _named(limit: Limit, limits: Sequence[Limit], unit: str) -> str:
    """What a limit looks at, and for what finish, or what for where another one looks at the same."""
    what = looked_at(limit, unit)[0]
    purpose = limit.purpose if sum(looked_at(one, unit)[0] == what for one in limits) > 1 else ""
    purpose = limit.everyday or purpose
    return cut(f"{capital(what)}{purpose and f' ({purpose})'}", 110)


def _found(one: Judged, unit: str) -> str:
    if one.finding is None:
        return "not known"
    middle, _, high = one.likely()
    value = one.finding.measured.value if np.isnan(middle) else middle
    if one.limit.kind == "slope" or one.limit.kind in UNITLESS:
        return number(one, value, unit)
    # as the sentences above the table say it
    return about(value, unit, one.finding.allowed, 0.0 if math.isnan(high) else high)


def _planned(plan: Plan, row: Mapping[Any, Any] | None, unit: str) -> str:
    if row is None or not np.isfinite(row["after"]):
        return "not known"
    if not np.isfinite(row["after_mm"]):
        return before_and_after(plan, row, unit)[1]
    return about(likely_after(row), unit, row["allowed_mm"], math.inf)


def _result(row: Mapping[Any, Any] | None) -> str:
    if row is None:
        return "not known"
    if row["verdict"] == PASS and row["between"] == ASSUMED:
        return MET_WHERE_MEASURED
    words, chance = RESULTS[str(row["verdict"])], float(row["chance"])
    return f"{words} (chance {percent(chance)})" if row["verdict"] == UNDECIDED and math.isfinite(chance) else words


def _days(survey: Survey, comparison: Comparison | None) -> Iterator[str]:
    surveys = comparison.surveys if comparison is not None else (survey,)
    for k, one in enumerate(surveys):
        if one.date:
            yield f"{'' if k else 'Measured '}{cut(day_words(one.date), 24)}"


def _measured(survey: Survey, comparison: Comparison | None, unit: str) -> str:
    parts = []
    for one in comparison.surveys if comparison is not None else (survey,):
        when = f" on {cut(day_words(one.date), 30)}" if one.date else ""
        good = f", each good to about {spelled(accuracy(one.accuracy, unit))}," if one.accuracy else ""
        parts.append(f"at {len(one.stations()[0])} places{when}{good}")
    return f"The {survey.surface} was measured {' and again '.join(parts).rstrip(',')}."


def _lined(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _lined(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_lined(item) for item in value]
    return one_line(value) if isinstance(value, str) else value
