"""Whether a surface is good enough, for whoever owns the room: as it was found, as it is planned, as it is now."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from flatness.corrections.plan import Plan
from flatness.lengths import settle
from flatness.limits.kinds import UNITLESS, Limit
from flatness.limits.spot_checks import ASSUMED
from flatness.limits.verdict import FAIL, PASS, RANK, UNDECIDED, Assessment, Judged
from flatness.measures.planes import fit_surface_plane
from flatness.show.done_words import limit_of
from flatness.show.papers.plain import about, away, capital, exactly, quality, roughly
from flatness.show.words import percent, position
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey

VERBS = {"is": ("departs", "differs"), "was": ("departed", "differed"), "will be": ("will depart", "will differ")}
UNSURE = "these readings are not close enough to be sure of it, so it has to be measured again afterwards"


def stands(assessment: Assessment, unit: str, now: str = "is", one: Judged | None = None) -> str:
    """Whether the surface is good enough, and by how much, in one sentence: by ``one``, or by what speaks for all."""
    one = one or assessment.governing
    survey = assessment.subject.survey
    if one is None:
        return lies(survey, assessment.subject.surface, unit, now)
    subject = f"the {survey.surface}"
    purpose = f"its use ({one.limit.purpose})" if one.limit.purpose else "this project"
    if one.finding is None:
        return f"These readings cannot tell whether {subject} {now} {quality(one.limit)} enough for {purpose}."
    opening = {
        PASS: f"The {survey.surface} {now} {quality(one.limit)} enough for {purpose}",
        FAIL: f"The {survey.surface} {now} not {quality(one.limit)} enough for {purpose}",
        UNDECIDED: f"It is not settled yet whether {subject} {now} {quality(one.limit)} enough for {purpose}",
    }[one.verdict]
    rests = ""
    if one.verdict == PASS and one.between == ASSUMED:
        apart = position(assessment.subject.step, unit)
        rests = f" It was measured at places {apart} apart; nobody has looked between them."
    return f"{opening}: {_amount(one, unit, now)}.{rests}"


def stands_now(before: Assessment, after: Assessment, unit: str) -> str:
    """What the surface is like after the work: by the limit that spoke before, and by another that is worse now."""
    governed, worst = before.governing, after.governing
    if governed is None or worst is None:
        return stands(after, unit)
    same = next((one for one in after.judged if one.limit.name == governed.limit.name), worst)
    if RANK[same.verdict] <= RANK[worst.verdict]:
        return stands(after, unit, one=same)
    if same.finding is None:
        return stands(after, unit)
    return f"{stands(after, unit)} {capital(_amount(same, unit, 'is'))}."


def _amount(one: Judged, unit: str, now: str) -> str:
    assert one.finding is not None
    allowed, kind = one.finding.allowed, one.limit.kind
    middle, low, high = one.likely()
    found = one.finding.measured.value if math.isnan(middle) else middle
    if kind in UNITLESS:
        settled = {PASS: "it keeps within", FAIL: "it does not keep within", UNDECIDED: "it may keep within"}
        return f"{settled[one.verdict]} the limit in the table below"
    if one.verdict == UNDECIDED and math.isfinite(low):
        size = f"somewhere from {about(low, unit, allowed)} to {about(high, unit, allowed)}"
    else:
        size = roughly(found, unit, allowed, 0.0 if math.isnan(high) else high)
    return f"{_measure(one.limit, unit)} {now} {size}, and up to {exactly(allowed, unit)} is allowed"


def _measure(limit: Limit, unit: str) -> str:
    """The subject of a sentence that says how large a measure is."""
    p = limit.parameters
    match limit.kind:
        case "straightedge" | "straightedge-share" if limit.length is not None:
            return f"under a straight bar {away(limit.length, unit)} long the largest gap"
        case "level" if p["distance"] is None:
            return "the difference between its lowest and its highest place"
        case "level" | "plumb":
            over = "its whole height" if p["distance"] is None else away(p["distance"], unit)
            return (
                f"the most that it leans over {over}" if limit.kind == "plumb" else f"the most that it falls in {over}"
            )
    return "the largest departure from what it should be"


def lies(survey: Survey, surface: Surface, unit: str, now: str = "is") -> str:
    """How uneven a surface is, where no limit was asked for; ``now`` is is, was or will be."""
    off = fit_surface_plane(surface).deviations
    departs, differs = VERBS[now]
    most = float(np.nanmax(np.abs(off)))
    flat = f"it {departs} from flat by {roughly(most, unit)} at most" if settle(most) else f"it {now} flat"
    if not surface.is_level or survey.surface == "wall":
        return f"The {survey.surface} {now} not quite flat: {flat}."
    fall = roughly(float(np.nanmax(surface.height) - np.nanmin(surface.height)), unit)
    return f"From its lowest to its highest place the {survey.surface} {differs} by {fall}, and {flat}."


def will_be(plan: Plan, unit: str, governed: str = "") -> str:
    """What the surface is going to be like when a plan is carried out, as surely as the plan's own verdict is.

    ``governed`` is the name of the limit that spoke for the surface as it was found; another one that is worse after
    the work is told too.
    """
    rows = plan.after.to_dict("records")
    kind = plan.survey.surface
    if not rows:
        as_planned = lies(plan.survey, replace(plan.surface, height=plan.target), unit, "will be")
        return f"The plan was held against no limit. {as_planned}"
    known = [row for row in rows if math.isfinite(row["after"])]
    if not known:
        return f"What the {kind} will be like afterwards could not be worked out from these readings."
    worst = min(rows, key=_how_bad)
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
    told = [_planned(plan, row, unit)]
    if worst is not row and _how_bad(worst) < _how_bad(row):
        told.append(_planned(plan, worst, unit))
    doubt = "" if worst["verdict"] != UNDECIDED else f". {capital(UNSURE)}"
    return f"{opening}: {'; '.join(told)}{doubt}."


def _share(row: Mapping[Any, Any]) -> float:
    return likely_after(row) / float(row["allowed_mm"]) if math.isfinite(row["after_mm"]) else 0.0


def likely_after(row: Mapping[Any, Any]) -> float:
    """What a measure will likely be after the work [mm]; that of the plan itself where nothing was drawn."""
    return float(row["likely_mm"] if math.isfinite(row["likely_mm"]) else row["after_mm"])


def _how_bad(row: Mapping[Any, Any]) -> tuple[int, float]:
    chance = float(row["chance"])
    return RANK[str(row["verdict"])], chance if row["verdict"] == UNDECIDED and math.isfinite(chance) else 1.0


def _planned(plan: Plan, row: Mapping[Any, Any], unit: str) -> str:
    limit = limit_of(plan, str(row["limit"]))
    if not math.isfinite(row["after"]):
        return "whether it keeps within one of the limits cannot be worked out from these readings"
    if limit is None or not math.isfinite(row["after_mm"]):
        told = f"it {'keeps' if row['passes'] else 'does not keep'} within a limit of the table below"
    else:
        # the planned surface is no better known than the one that was read
        size = roughly(likely_after(row), unit, row["allowed_mm"], math.inf)
        told = f"{_measure(limit, unit)} comes to {size}, and up to {exactly(row['allowed_mm'], unit)} is allowed"
    if row["verdict"] == PASS or not math.isfinite(row["chance"]):
        return told
    return f"{told}; the chance that it really keeps within that is {percent(row['chance'])}"
