"""Sentences for whoever owns the room, without terms of the trade: is it good enough, what is done, what came of it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from itertools import takewhile
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import ndtri

from flatness.comparison.against_plan import UNPLANNED, UNSEEN, UNTOLD, WITHIN
from flatness.comparison.comparing import Comparison
from flatness.errors import FlatnessError
from flatness.framing.reveal import Reveal
from flatness.job.running import Results
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, format_length, settle
from flatness.limits.kinds import UNITLESS, Limit, caution, cited, describe, lamp_distance, show_length
from flatness.limits.spot_checks import ASSUMED
from flatness.limits.verdict import FAIL, PASS, RANK, UNDECIDED, Assessment, Judged
from flatness.measures.planes import fit_surface_plane
from flatness.planning.constraints import Rates
from flatness.planning.plan import Plan
from flatness.surface.lattice import Surface
from flatness.surroundings.interferences import RISERS_MM, STEP_MM, Door, Feature, Headroom, Threshold
from flatness.survey.checks import off_neighbours
from flatness.survey.readings import Survey
from flatness.words.comparisons import READ, REDO, SIDES, agree_words, outcomes_of
from flatness.words.lights import distance, given_distance
from flatness.words.phrases import sentence
from flatness.words.printed import capital, counted, listed, percent, place_words, position, spelled
from flatness.words.ways import HOURS, limit_of, noun, plane_words, work_words

INCH_MM, FOOT_MM, FAR_MM = 25.4, 304.8, 1000.0  # from FAR_MM on a length is told in feet or meters
RESULTS = {PASS: "good enough", FAIL: "not good enough", UNDECIDED: "not settled yet"}
FIRST = "Check this first"
DOORS = "Doors, stairs and trims"
LEAST_TITLE = 4  # letters that two titles must share to be told as one
MOST_NAMED = 3  # places that are off, each with its depths
DONE = {
    "plane": "planed or ground down",
    "fill": "filled",
    "sister": "raised with straight lumber beside the joists",
    "fur": "packed out with shims",
    "engineer": "left until an engineer has looked at it",
}

# -- lengths and areas


def about(mm: float, unit: str, allowed: float = math.inf, high: float = 0.0) -> str:
    """A small length as one says it, coarse, but never on the wrong side of what is allowed.

    ``high`` is the far end of the range in which it may lie [mm]: where that is beyond a bound, no bound is named.

    >>> about(12.4, "in"), about(4.77, "in", 4.7625), about(25.4, "in"), about(12.4, "mm")
    ('1/2 inch', 'just over 3/16 inch', '1 inch', '12 mm')
    >>> about(1.0, "in"), about(1.0, "in", high=2.2)
    ('less than 1/16 inch', '1/16 inch')
    """
    value, bound = settle(abs(mm)), settle(allowed)
    least, name = (INCH_MM / 16, "1/16 inch") if unit == "in" else (1.0, "1 mm")
    if 0 < value < least <= bound:
        return name if settle(high) > least else f"less than {name}"
    step = 1.0 if unit == "mm" else INCH_MM / (8 if value >= INCH_MM else 16)
    coarse = settle(step * math.floor(value / step + 0.5))
    text = f"{coarse:.0f} mm" if unit == "mm" else _inches(format_length(coarse, "in", 16))
    if (coarse > bound) == (value > bound):
        return text
    return f"just {'over' if value > bound else 'under'} {text}"


def roughly(mm: float, unit: str, allowed: float = math.inf, high: float = 0.0) -> str:
    """As :func:`about`, with that word before it where it fits."""
    text = about(mm, unit, allowed, high)
    return text if text.startswith(("less", "just")) else f"about {text}"


def at_most(mm: float, unit: str) -> str:
    """The greatest of many depths, as one says it after "by".

    >>> at_most(12.4, "in"), at_most(1.0, "in")
    ('up to 1/2 inch', 'less than 1/16 inch')
    """
    text = about(mm, unit)
    return text if text.startswith("less") else f"up to {text}"


def exactly(mm: float, unit: str) -> str:
    """What a limit allows, in the unit it was set in, with the other beside it where that is no round number.

    >>> exactly(4.7625, "in"), exactly(5, "mm"), exactly(5, "in"), exactly(6.35, "mm")
    ('3/16 inch', '5 mm', '5 mm (about 3/16 inch)', '1/4 inch (about 6 mm)')
    """
    text = show_length(mm, "source")
    if '"' not in text:
        return text if unit == "mm" else f"{text} (about {_inches(format_length(mm, 'in', 16))})"
    if unit == "mm":
        whole = settle(mm - round(mm)) == 0
        return f"{round(mm)} mm" if whole else f"{_inches(text)} (about {max(1, round(mm))} mm)"
    return _inches(text)


def _inches(tape: str) -> str:
    number = tape.removesuffix('"')
    many = " " in number or (number.replace(".", "").isdigit() and float(number) > 1)
    return f"{number} {'inches' if many else 'inch'}"


def away(mm: float, unit: str) -> str:
    """A long length as one says it: ``10 feet``, ``2 m``."""
    if unit != "in":
        return f"{mm / 1000:.2f}".rstrip("0").rstrip(".") + " m"
    feet = mm / FOOT_MM
    return f"{round(feet)} feet" if abs(feet - round(feet)) < 1e-6 and feet >= 3 else about(mm, "in")


def where(x: float, y: float, unit: str, survey: Survey | None) -> str:
    """A place [mm] as one finds it in the room with a tape: to the inch, or to a centimeter.

    >>> where(2438.4, 3048, "mm", None), where(2438.4, 3060, "in", None)
    ('2.44 m along x, 3.05 m along y', '8 ft along x, 10 ft along y')
    """
    step = INCH_MM if unit == "in" else 10.0
    return place_words(step * round(x / step), step * round(y / step), unit, survey)


def about_area(mm2: float, unit: str) -> str:
    """An area in two figures at most, and in no parts of a square foot.

    >>> about_area(8.1e6, "in"), about_area(8.14e6, "mm"), about_area(0.72e6, "in"), about_area(0.1e6, "in")
    ('about 87 square feet', 'about 8.1 square meters', 'about 8 square feet', 'about 1 square foot')
    """
    value, name = (mm2 / MM2_PER_FT2, "square feet") if unit == "in" else (mm2 / MM2_PER_M2, "square meters")
    least, finest = (1.0, 0) if unit == "in" else (0.1, 1)
    if value <= 0:
        return f"no {name}"
    if value < least / 2:
        return f"a spot of under {'1 square foot' if unit == 'in' else f'{least} {name}'}"
    digits = min(1 - math.floor(math.log10(value)), finest)
    text = f"{round(value, digits):.{max(0, digits)}f}".removesuffix(".0")
    return "about 1 square foot" if unit == "in" and text == "1" else f"about {text} {name}"


# -- limits


def quality(limit: Limit) -> str:
    """What a limit is about, as an adjective."""
    if limit.kind in ("level", "level-rule", "slope", "fl"):
        return "level"
    return {"plumb": "upright", "neighbours": "even", "step": "even"}.get(limit.kind, "flat")


def looked_at(limit: Limit, unit: str) -> tuple[str, str]:
    """What a limit looks at, and what it allows, for whoever does not know its short name.

    >>> from flatness.limits.kinds import straightedge_limit
    >>> looked_at(straightedge_limit(3048, 4.7625), "in")
    ('gap under a bar 10 feet long', '3/16 inch')
    """
    p = limit.parameters
    match limit.kind:
        case "straightedge" | "straightedge-share" if limit.allowed is not None:
            bar = "gap under a bar" if p["length"] is None else f"gap under a bar {away(p['length'], unit)} long"
            share = f", in {100 * p['share']:g} % of places" if limit.kind == "straightedge-share" else ""
            return f"{bar}{share}", exactly(limit.allowed, unit)
        case "offset" if limit.allowed is not None:
            bar = "" if limit.length is None else f" {away(limit.length, unit)} long"
            return f"hump or hollow under a bar{bar}", f"{exactly(limit.allowed, unit)} either way"
        case "level" if p["distance"] is None:
            return "from the lowest to the highest place", exactly(p["allowed"], unit)
        case "level" | "plumb":
            over = "over the whole height" if p["distance"] is None else f"in {away(p['distance'], unit)}"
            return f"out of {limit.kind} {over}", exactly(p["allowed"], unit)
        case "plane":
            return "off one flat plane", exactly(p["allowed"], unit)
        case "neighbours":
            return "step between neighboring pieces", exactly(p["allowed"], unit)
        case "span-bar" | "span-grid":
            return "unevenness between two points, by how far apart they are", describe(limit, "source")
        case "ff" | "fl":
            return f"how {quality(limit)} it is, as a number", describe(limit, unit)
        case "slope":
            return "how steep it is", describe(limit, "source")
        case "light":
            return "light along it shows something up to", describe(limit, "source")
    return f"how {quality(limit)} it is", describe(limit, "source")


def _measure(limit: Limit, unit: str) -> str:
    """The subject of a sentence that says how large a measure is."""
    p = limit.parameters
    match limit.kind:
        case "straightedge" | "straightedge-share" if limit.length is not None:
            return f"under a straight bar {away(limit.length, unit)} long the largest gap"
        case "offset" if limit.length is not None:
            return f"under a bar {away(limit.length, unit)} long the largest hump or hollow"
        case "level" if p["distance"] is None:
            return "the difference between its lowest and its highest place"
        case "level" | "plumb":
            over = "its whole height" if p["distance"] is None else away(p["distance"], unit)
            return f"the most that it {'leans over' if limit.kind == 'plumb' else 'falls in'} {over}"
    return "the largest departure from what it should be"


# -- whether it is good enough


def purpose_of(limit: Limit) -> str:
    """What a surface is to be good enough for."""
    if limit.everyday:
        return limit.everyday
    return f"its use ({limit.purpose})" if limit.purpose else "this project"


def verdict_sentence(assessment: Assessment, unit: str, now: str = "is", one: Judged | None = None) -> str:
    """Whether the surface is good enough, and by how much: by ``one`` limit, or by the one that speaks for all."""
    one = one or assessment.governing
    survey = assessment.subject.survey
    if one is None:
        return unevenness(survey, assessment.subject.surface, unit, now)
    subject, enough = f"the {survey.surface}", f"{quality(one.limit)} enough for {purpose_of(one.limit)}"
    if one.finding is None:
        return f"These readings cannot tell whether {subject} {now} {enough}."
    opening = {
        PASS: f"The {survey.surface} {now} {enough}",
        FAIL: f"The {survey.surface} {now} not {enough}",
        UNDECIDED: f"It is not settled yet whether {subject} {now} {enough}",
    }[one.verdict]
    rests = ""
    if one.verdict == PASS and one.between == ASSUMED:
        apart = spelled(position(assessment.subject.step, unit))
        rests = f" It was measured at places {apart} apart; nobody has looked between them."
    return f"{opening}: {_amount(one, unit, now)}.{rests}"


def verdict_after(before: Assessment, after: Assessment, unit: str) -> str:
    """What the surface is like after the work: by the limit that spoke before, and by another that is worse now."""
    governed, worst = before.governing, after.governing
    same = next((one for one in after.judged if governed and one.limit.name == governed.limit.name), worst)
    if same is None or worst is None or same.finding is None:
        return verdict_sentence(after, unit)
    if RANK[same.verdict] <= RANK[worst.verdict]:
        return verdict_sentence(after, unit, one=same)
    return f"{verdict_sentence(after, unit)} {capital(_amount(same, unit, 'is'))}."


def size_of(one: Judged, unit: str) -> str:
    """How large the measure of a limit likely is; where that is not settled, from where to where it may lie."""
    assert one.finding is not None
    allowed = one.finding.allowed
    middle, low, high = one.likely()
    if one.verdict == UNDECIDED and math.isfinite(low):
        return f"somewhere from {about(low, unit, allowed)} to {about(high, unit, allowed)}"
    found = one.finding.measured.value if math.isnan(middle) else middle
    return roughly(found, unit, allowed, 0.0 if math.isnan(high) else high)


def _amount(one: Judged, unit: str, now: str) -> str:
    assert one.finding is not None
    if one.limit.kind == "light":
        middle = one.likely()[0]
        shows = "showed" if now == "was" else "shows"
        return _lit(one.limit, one.finding.measured.value if math.isnan(middle) else middle, shows, unit)
    if one.limit.kind in UNITLESS:
        settled = {PASS: "it keeps within", FAIL: "it does not keep within", UNDECIDED: "it may keep within"}
        return f"{settled[one.verdict]} the limit in the table below"
    allowed = exactly(one.finding.allowed, unit)
    return f"{_measure(one.limit, unit)} {now} {size_of(one, unit)}, and up to {allowed} is allowed"


def _lit(limit: Limit, found: float, shows: str, unit: str) -> str:
    """Up to which angle light shows something, and at which nothing may show [degrees]; of lamps how far off.

    >>> from flatness.limits.kinds import light_limit
    >>> _lit(light_limit(2.0), 2.31, "shows", "in")
    'light along it shows something up to 2.3 degrees, and at 2 degrees nothing may show'
    >>> _lit(light_limit(lamp=355.6), 10.0, "shows", "in")
    'lamps closer than about 16" to it show something, and at 14" nothing may show'
    """
    allowed = limit.allowed or 0.0
    if limit.parameters["lamp"] is not None:
        off = f"lamps closer than about {distance(lamp_distance(found), unit)} to it"
        verb = {"shows": "show", "showed": "showed"}.get(shows, shows)
        return f"{off} {verb} something, and at {given_distance(limit.parameters['lamp'], unit)} nothing may show"
    at = f"{allowed:g} degree{'s' * (allowed != 1)}"
    return f"light along it {shows} something up to {found:.1f} degrees, and at {at} nothing may show"


def unevenness(survey: Survey, surface: Surface, unit: str, now: str = "is") -> str:
    """How uneven a surface is, where no limit was asked for; ``now`` is is, was or will be."""
    departs, differs = {
        "is": ("departs", "differs"),
        "was": ("departed", "differed"),
        "will be": ("will depart", "will differ"),
    }[now]
    most = float(np.nanmax(np.abs(fit_surface_plane(surface).deviations)))
    flat = f"it {departs} from flat by {roughly(most, unit)} at most" if settle(most) else f"it {now} flat"
    if not surface.is_level or survey.surface == "wall":
        return f"The {survey.surface} {now} not quite flat: {flat}."
    fall = roughly(float(np.nanmax(surface.height) - np.nanmin(surface.height)), unit)
    return f"From its lowest to its highest place the {survey.surface} {differs} by {fall}, and {flat}."


# -- what is planned


def will_be(plan: Plan, unit: str, governed: str = "") -> str:
    """What the surface is going to be like when a plan is carried out, as surely as the plan's own verdict is.

    ``governed`` is the name of the limit that spoke for the surface as it was found; another one that is worse after
    the work is told too.
    """
    rows, kind = plan.after.to_dict("records"), plan.survey.surface
    if not rows:
        as_planned = unevenness(plan.survey, replace(plan.surface, height=plan.target), unit, "will be")
        return f"The plan was held against no limit. {as_planned}"
    known = [row for row in rows if math.isfinite(row["after"])]
    if not known:
        return f"What the {kind} will be like afterwards could not be worked out from these readings."
    worst = min(rows, key=_rank)
    used = max(known, key=lambda row: (not row["passes"], _share(row)))
    row = next((row for row in known if row["limit"] == governed), used)
    limit = limit_of(plan, str(worst["limit"]))
    good = "good" if limit is None else quality(limit)
    opening = {
        PASS: f"Done as planned, the {kind} should be {good} enough",
        FAIL: f"Even done as planned, the {kind} will not be {good} enough",
        UNDECIDED: f"It is not sure that the {kind} will be {good} enough when all is done as planned",
    }[str(worst["verdict"])]
    if plan.action("engineer").any():
        opening = f"An engineer has to be asked first. {opening}"
    parts = [_planned(plan, row, unit)]
    if worst is not row and _rank(worst) < _rank(row):
        parts.append(_planned(plan, worst, unit))
    doubt = " It has to be measured again afterwards." if worst["verdict"] == UNDECIDED else ""
    return f"{opening}: {'; '.join(parts)}.{doubt}"


def _share(row: Mapping[Any, Any]) -> float:
    return likely_after(row) / float(row["allowed_mm"]) if math.isfinite(row["after_mm"]) else 0.0


def likely_after(row: Mapping[Any, Any]) -> float:
    """What a measure will likely be after the work [mm]; that of the plan itself where nothing was drawn."""
    return float(row["likely_mm"] if math.isfinite(row["likely_mm"]) else row["after_mm"])


def _rank(row: Mapping[Any, Any]) -> tuple[int, float]:
    chance = float(row["chance"])
    return RANK[str(row["verdict"])], chance if row["verdict"] == UNDECIDED and math.isfinite(chance) else 1.0


def _planned(plan: Plan, row: Mapping[Any, Any], unit: str) -> str:
    limit = limit_of(plan, str(row["limit"]))
    if not math.isfinite(row["after"]):
        return "whether it keeps within one of the limits cannot be worked out from these readings"
    if limit is not None and limit.kind == "light" and limit.allowed is not None:
        says = _lit(limit, row["after"], "will show", unit)
    elif limit is None or not math.isfinite(row["after_mm"]):
        says = f"it {'keeps' if row['passes'] else 'does not keep'} within a limit of the table below"
    else:
        # the planned surface is no better known than the one that was read
        size = roughly(likely_after(row), unit, row["allowed_mm"], math.inf)
        says = f"{_measure(limit, unit)} comes to {size}, and up to {exactly(row['allowed_mm'], unit)} is allowed"
    if row["verdict"] == PASS or not math.isfinite(row["chance"]):
        return says
    return f"{says}; the chance that it really keeps within that is {percent(row['chance'])}"


def will_be_done(plan: Plan, unit: str, past: bool = False) -> str:
    """What a plan is going to do by its way, in a sentence or two; ``past`` where the work is over."""
    groups = plan.patches.groupby("action", sort=False)
    if plan.way == "patches":
        parts = [_places(str(action), group, unit, past) for action, group in groups if str(action) in DONE]
    else:
        parts = [part for part in (_whole(plan, unit, past),) if part]
    if not parts:
        return "Nothing was to be done." if past else "Nothing needs to be done."
    text = listed(parts)
    if plan.way in ("patches", "some-members"):
        text += f"; the rest {'was to stay as it was' if past else 'stays as it is'}"
    takes, bags = ("was to take" if past else "takes"), int(plan.quantities.bags)
    if bags:
        text += f". It {takes} about {counted(bags, 'bag')} of fill"
    rates = plan.settings.get("rates")
    if rates not in (None, Rates()) and plan.work > 0:
        if rates.unit.casefold() in HOURS:
            text += f". It {takes} about {work_words(plan)} of work"
        else:
            text += f". It {'was to cost' if past else 'costs'} about {work_words(plan)}"
    return f"{capital(text)}."


def _whole(plan: Plan, unit: str, past: bool) -> str:
    """What is done to all members, some, or over all of it."""
    kind, will, many = plan.survey.surface, *(("was to be", "were to be") if past else ("will be", "will be"))
    most = at_most(float(np.nanmax(np.abs(plan.change), initial=0.0)), unit)
    if plan.way == "overlay":
        how = "poured over" if kind == "floor" else "covered with new strapping on shims"
        return f"the whole {kind} {will} {how}, to {plane_words(plan)}, {most} from where it is now"
    if not plan.lines:
        return ""
    name = noun(kind, plan.members)
    how = "raised with straight lumber beside them" if name == "joist" else "packed out with shims"
    if plan.way == "members":
        return f"all {len(plan.lines)} {name}s {many} {how}, to {plane_words(plan)}, by {most}"
    return f"{counted(len(plan.lines), name)} {many} {how}, by {most}"


def _places(action: str, group: pd.DataFrame, unit: str, past: bool) -> str:
    size, most = about_area(float(group["area_mm2"].sum()), unit), float(group["greatest_mm"].abs().max())
    by = "" if action == "engineer" or not most else f" by {at_most(most, unit)}"
    return f"{size} {'was to be' if past else 'will be'} {DONE[action]}{by}"


# -- what was done


def was_done(found: Comparison, unit: str) -> str:
    """What was done between two surveys, and where that is not what was planned."""
    parts, surface = [], found.surveys[1].surface
    verbs = ("lowered", "raised") if surface == "floor" else ("taken back", "built out")
    for kind, verb, most in zip(("cut", "fill"), verbs, (np.nanmin, np.nanmax), strict=True):
        size = float(found.areas["area_mm2"].to_dict()[kind])
        if size > 0:
            by = at_most(float(most(np.where(found.changed, found.difference, 0.0))), unit)
            parts.append(f"{about_area(size, unit)} was {verb} by {by}")
    says = "No change shows between the two surveys that is larger than their own errors."
    return " ".join([f"{capital(listed(parts))}." if parts else says, *_against_plan(found, unit)])


def _against_plan(found: Comparison, unit: str) -> Iterator[str]:
    """Which planned places came out otherwise, how many as planned, and of how many that cannot be told."""
    if found.plan is None:
        return
    rows = found.plan.to_dict("records")
    yield from _unplanned(rows, found, unit)
    places = [one for one in outcomes_of(found) if one.row["what"] == "patch"]
    if places:
        yield f"{counted(len(places), 'place')} {'was' if len(places) == 1 else 'were'} planned."
    surface = found.surveys[1].surface
    redo = [one for one in places if one.answer == REDO]
    for one in redo[:MOST_NAMED]:
        row, way = one.row, SIDES[surface][one.row["off_mm"] < 0]
        read = f"; {agree_words(row)} places read in it are as they should be" if row["stations"] > 0 else ""
        untouched = ", where nothing seems to have been done" if one.untouched else ""
        spot = where(*one.at, unit, found.surveys[1])
        yield (
            f"Not as planned: place {one.number}{untouched}. At {spot} the {surface} is "
            f"{about(abs(row['off_mm']), unit)} {way}{read}."
        )
    if len(redo) > MOST_NAMED:
        yield f"{counted(len(redo) - MOST_NAMED, 'more place')} came out otherwise too."
    better = [one.number for one in places if one.better]
    if better:
        yield f"Better than planned: place{'s' * (len(better) > 1)} {listed(better)}, flatter than it was to become."
    within = sum(one.row["status"] == WITHIN for one in places)
    unclear = sum(one.row["status"] == UNTOLD for one in places)
    if within:
        yield f"As planned: {within} of them."
    if unclear:
        yield f"Of {unclear} it cannot be told: so little was planned or read there that doing nothing would pass too."
    unseen = sum(one.answer == READ for one in places)
    if unseen:
        yield f"Not measured afterwards: {unseen} of them."
    lines = [row for row in rows if row["what"] == "member" and row["status"] != UNSEEN]
    off = sum(row["status"] not in (WITHIN, UNTOLD) for row in lines)
    if off:
        name = "studs" if surface == "wall" else "joists"
        yield f"Along {off} of the {len(lines)} {name} it is not as planned either."


def _unplanned(rows: list[dict[Any, Any]], found: Comparison, unit: str) -> Iterator[str]:
    """What changed where nothing was planned, the largest first."""
    areas = [row for row in rows if row["status"] == UNPLANNED]
    for row in areas[:MOST_NAMED]:
        done, reach = float(row["done_mm"]), float(ndtri((1 + found.confidence) / 2)) * float(row["error_mm"])
        depth = f"{about(done, unit, high=abs(done) + reach)} {'off' if done < 0 else 'added'}"
        spot = where(float(row["x_mm"]), float(row["y_mm"]), unit, found.surveys[1])
        yield (
            f"Nothing was planned at {spot}, and yet {depth} was measured"
            f" there on average, over {about_area(float(row['area_mm2']), unit)}"
            f"{'' if row['sure'] else ' (the readings leave some doubt)'}."
        )
    if len(areas) > MOST_NAMED:
        yield f"{counted(len(areas) - MOST_NAMED, 'more place')} changed where nothing was planned."


# -- doors, stairs, thresholds and trims


def doors_and_stairs(job: Results, unit: str, past: bool = False) -> list[tuple[str, str]]:
    """A name and a sentence for each thing of a job that fails, or that nobody can judge; one where all pass.

    Parameters
    ----------
    job : whose plan is looked at, with the layers to come
    unit : ``in`` or ``mm``
    past : whether the work is over: what is said is the plan all the same, and the sentences say so
    """
    features, lines = job.job.features, job.job.reveals
    if not features and not lines:
        return []
    if job.plan is None:
        return [(DOORS, "The job names them, but plans no work, so that nobody has looked at them.")]
    try:
        rows, reveals = job.consequences.to_dict("records"), job.reveals
    except FlatnessError as error:
        why = "; ".join(problem.what for problem in error.problems)
        return [(DOORS, f"The job names them, but they cannot be assessed: {why}.")]
    basis = "By the plan, and not measured afterwards, " if past else "Done as planned, "
    says = [
        (capital(feature.name), f"{basis}{_feature(feature, row, unit)}.")
        for feature, row in zip(features, rows, strict=True)
        if row["verdict"] != PASS
    ]
    says += [
        (capital(name), f"{basis}{_trim(found, unit)}.") for name, found in reveals.items() if found.verdict != PASS
    ]
    left = len(features) + len(lines) - len(says)
    if not says:
        return [(DOORS, f"{basis}all {left} that the job names are as they should be.")]
    if left:
        others = "The other one that the job names is" if left == 1 else f"The other {left} that the job names are"
        says[-1] = (says[-1][0], f"{says[-1][1]} {others} as {'it' if left == 1 else 'they'} should be.")
    return says


def failing_features(job: Results, unit: str) -> list[tuple[str, str]]:
    """A name and a sentence for each thing of a job that the planned work makes fail; none where nobody can judge."""
    if job.plan is None or not job.job.features:
        return []
    rows = job.consequences.to_dict("records")
    return [
        (capital(feature.name), f"{capital(_feature(feature, row, unit))}.")
        for feature, row in zip(job.job.features, rows, strict=True)
        if row["verdict"] == FAIL
    ]


def _feature(feature: Feature, row: Mapping[Any, Any], unit: str) -> str:
    after, fails = float(row["after_mm"]), row["verdict"] == FAIL
    if isinstance(feature, Threshold):
        allowed = STEP_MM if feature.allowed is None else feature.allowed
        side = "above" if after > 0 else "below"
        return (
            f"the floor lies {roughly(after, unit, allowed)} {side} the next room's there, and up to "
            f"{exactly(allowed, unit)} is allowed"
        )
    if isinstance(feature, Door):
        if after <= 0:
            return f"the door strikes the floor, by {roughly(after, unit)}"
        least = feature.least or 0.0
        return f"{roughly(after, unit, least)} is left under it, and at least {exactly(least, unit)} is needed"
    if isinstance(feature, Headroom):
        shown = "ft" if unit == "in" else "mm"
        clear = format_length(after, shown, 8)
        if not fails or feature.least is None:
            return f"{clear} is left there, and nobody has said what is needed"
        return f"only {clear} is left there, and {format_length(feature.least, shown, 8)} is needed"
    if not fails or math.isnan(after):
        return "nobody can say whether its steps stay alike: none of them was measured"
    return f"its steps differ by {roughly(after, unit, RISERS_MM)}, and up to {exactly(RISERS_MM, unit)} is allowed"


def _trim(found: Reveal, unit: str) -> str:
    off, change, parts = abs(found.departure.value), found.change.value, []
    if found.tolerance is not None and off > found.tolerance:
        size, agreed = roughly(off, unit, found.tolerance), exactly(found.tolerance, unit)
        parts.append(f"the gap along it is off by {size}, and up to {agreed} is agreed")
    if found.change_tolerance is not None and change > found.change_tolerance:
        size, agreed = about(change, unit, found.change_tolerance), exactly(found.change_tolerance, unit)
        over = away(found.change_over, unit)
        parts.append(f"the gap along it changes by {size} within {over}, and up to {agreed} is agreed")
    if found.verdict == FAIL and parts:
        return "; ".join(parts)
    why = "part of it was not measured" if found.note else "nobody has said how even it has to be"
    return f"it is not settled whether the gap along it looks even enough: {why}"


# -- the page as a whole


def paragraphs(
    survey: Survey,
    assessment: Assessment | None,
    plan: Plan | None,
    found: Comparison | None,
    unit: str,
    job: Results | None = None,
) -> list[dict[str, Any]]:
    """What is said, each part with what it answers; doubts of the surveys come first."""
    doubts = [] if found is None else [sentence(doubt, unit) for doubt in found.doubts]
    says = [(FIRST, " ".join(doubts))] if doubts else []
    now = "was" if found is not None else "is"
    first = (
        verdict_sentence(assessment, unit, now)
        if assessment is not None
        else unevenness(survey, survey.surface_at(), unit, now)
    )
    says.append(("Where it stood" if found is not None else "Where it stands", first))
    days = [("", survey)] if found is None else zip((", before the work", ", after it"), found.surveys, strict=True)
    for when, one in days:
        slips = _slips(one, unit)
        says += [(f"Read again{when}", slips)] if slips else []
    if found is not None:
        says += [] if plan is None else [("What was planned", will_be_done(plan, unit, past=True))]
        after = found.surveys[1]
        says.append(("What was done", was_done(found, unit)))
        if found.assessments is None:
            stands = unevenness(after, after.surface_at(), unit)
        else:
            stands = verdict_after(assessment or found.assessments[0], found.assessments[1], unit)
        says.append(("What it is like now", stands))
    elif plan is not None:
        governed = assessment.governing if assessment is not None else None
        says.append(("What will be done", will_be_done(plan, unit)))
        says.append(("What it will be like", will_be(plan, unit, governed.limit.name if governed else "")))
    else:
        says.append(("What will be done", "Nothing is planned yet."))
    if job is not None:
        says += doors_and_stairs(job, unit, past=found is not None)
    return [{"asks": asks, "says": text} for asks, text in says]


def _slips(survey: Survey, unit: str) -> str:
    """That a reading is far off its neighbors, in words; empty where none is."""
    x, y, height = survey.xyz()
    off, least = off_neighbours(x, y, height, survey.accuracy)
    far = np.flatnonzero(np.abs(off) > least)
    if not len(far):
        return ""
    worst = far[int(np.argmax(np.abs(off[far])))]
    at, size = where(float(x[worst]), float(y[worst]), unit, survey), about(float(off[worst]), unit)
    if abs(off[worst]) >= FAR_MM:
        size = f"{abs(off[worst]) / FOOT_MM:.0f} feet" if unit == "in" else f"{abs(off[worst]) / 1000:.1f} m"
    if len(far) == 1:
        return f"The reading at {at} is {size} off its neighbors: it looks like a slip, and should be taken again."
    return (
        f"{len(far)} readings are far off their neighbors, the one at {at} by {size}: each may be a slip, and should "
        "be taken again."
    )


def title_of(survey: Survey, found: Comparison | None, job: Results | None) -> str:
    """What the page is called: the job's title, else what the titles of before and after share, else the survey's."""
    if job is not None:
        return job.job.title
    own = survey.title or survey.source or f"The {survey.surface}"
    if found is None:
        return own
    words = zip(*(re.findall(r"\w+|\W+", one.title) for one in found.surveys), strict=False)
    shared = "".join(one for one, _ in takewhile(lambda pair: pair[0] == pair[1], words)).rstrip(" ,;:-(")
    return shared if len(shared) >= LEAST_TITLE else own


def source_of(limit: Limit) -> str:
    """Who sets a limit, and how its number was seen where not in the source's own text."""
    source, sure = cited(limit.source, limit.edition, limit.clause), caution(limit)
    return f"{source} ({sure.split(':')[0].split(',')[0]})" if sure else source
