"""All that is told to whoever owns the room, in order: what to check first, then the sentences of page and panel."""

from __future__ import annotations

import re
from itertools import takewhile
from typing import Any

import numpy as np

from flatness.comparison.comparing import Comparison
from flatness.corrections.plan import Plan
from flatness.job.running import Results
from flatness.limits.verdict import Assessment
from flatness.show.papers.meets import meets
from flatness.show.papers.plain import about, where
from flatness.show.papers.standing import lies, stands, stands_now, will_be
from flatness.show.papers.work_done import was_done, will_be_done
from flatness.show.words import sentence
from flatness.survey.checks import off_neighbours
from flatness.survey.readings import Survey

FIRST = "Check this first"
FOOT_MM, FAR_MM = 304.8, 1000.0  # from here on told in feet or metres
LEAST_TITLE = 4  # letters that two titles must share to be told as one


def paragraphs(
    survey: Survey, assessment: Assessment | None, plan: Plan | None, found: Comparison | None, unit: str,
    job: Results | None = None,
) -> list[dict[str, Any]]:  # fmt: skip
    """What is said, each part with what it answers; doubts of the surveys come first."""
    doubts = [] if found is None else [sentence(doubt, unit, both=False) for doubt in found.doubts]
    told = [(FIRST, " ".join(doubts))] if doubts else []
    now = "was" if found is not None else "is"
    first = stands(assessment, unit, now) if assessment is not None else lies(survey, survey.surface_at(), unit, now)
    told.append(("Where it stood" if found is not None else "Where it stands", first))
    surveys = (survey,) if found is None else found.surveys
    slips = [_slips(one, unit) for one in surveys]
    for when, says in zip(("",) if found is None else ("before the work", "after it"), slips, strict=True):
        if says:
            told.append((f"Read again{when and f', {when}'}", says))
    if found is not None:
        told += _since(assessment, plan, found, unit)
    elif plan is not None:
        governed = assessment.governing if assessment is not None else None
        told.append(("What will be done", will_be_done(plan, unit)))
        told.append(("What it will be like", will_be(plan, unit, governed.limit.name if governed else "")))
    else:
        told.append(("What will be done", "Nothing is planned yet."))
    if job is not None:
        told += meets(job, unit, past=found is not None)
    return [{"asks": asks, "says": says} for asks, says in told]


def _since(assessment: Assessment | None, plan: Plan | None, found: Comparison, unit: str) -> list[tuple[str, str]]:
    told = [] if plan is None else [("What was planned", will_be_done(plan, unit, past=True))]
    told.append(("What was done", was_done(found, unit)))
    after = found.surveys[1]
    if found.assessments is None:
        now = lies(after, after.surface_at(), unit)
    else:
        now = stands_now(assessment or found.assessments[0], found.assessments[1], unit)
    return [*told, ("What it is like now", now)]


def _slips(survey: Survey, unit: str) -> str:
    """That a reading is far off its neighbours, in words; empty where none is."""
    x, y, height = survey.xyz()
    off, least = off_neighbours(x, y, height, survey.accuracy)
    far = np.flatnonzero(np.abs(off) > least)
    if not len(far):
        return ""
    worst = far[int(np.argmax(np.abs(off[far])))]
    at = where(float(x[worst]), float(y[worst]), unit)
    size = about(float(off[worst]), unit)
    if abs(off[worst]) >= FAR_MM:
        size = f"{abs(off[worst]) / FOOT_MM:.0f} feet" if unit == "in" else f"{abs(off[worst]) / 1000:.1f} m"
    if len(far) == 1:
        return f"The reading at {at} is {size} off its neighbours: it looks like a slip, and should be taken again."
    return (
        f"{len(far)} readings are far off their neighbours, the one at {at} by {size}: each may be a slip, and should "
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
