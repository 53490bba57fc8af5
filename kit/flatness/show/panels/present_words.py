"""What the Present panel says to whoever owns the room: no term of the trade, and what the colours mean."""

from __future__ import annotations

from html import escape

from flatness.comparison.comparing import Comparison
from flatness.corrections.plan import Plan
from flatness.limits.verdict import Assessment
from flatness.show.panels.present_days import AFTER, Day, one_frame
from flatness.show.papers.plain import paragraphs, will_be_done
from flatness.survey.readings import Survey

NOTHING_YET = "Open the files and settings, and choose the survey of the surface as it was found."
ENDS = {
    "floor": ("lower", "higher"), "ceiling": ("higher up", "hanging lower"), "wall": ("farther back", "farther out"),
}  # fmt: skip
LEAST_BLANK = 0.02  # of the longer side: a narrower strip is not seen


def sentences(
    survey: Survey, assessment: Assessment | None, plan: Plan | None, found: Comparison | None, unit: str
) -> list[tuple[str, str]]:
    """What is asked and what is answered: where it stands, what will be done, what it will be like.

    With a comparison: where it stood, the plan if there is one, what was done, what it is like now.
    """
    told = [(str(one["asks"]), str(one["says"])) for one in paragraphs(survey, assessment, plan, found, unit)]
    if found is not None and plan is not None:
        told.insert(1, ("What was planned", will_be_done(plan, unit)))
    return told


def sentences_html(told: list[tuple[str, str]]) -> str:
    """The sentences as HTML, read out when they change."""
    parts = "".join(f"<p><b>{escape(asks)}</b><br>{escape(says)}</p>" for asks, says in told)
    return f'<div class="fk-plain" aria-live="polite">{parts}</div>'


def colours_say(days: tuple[Day, ...]) -> str:
    """What the colours and the lines mean, in a sentence or two."""
    low, high = ENDS[days[0].survey.surface]
    same = " The colours mean the same in every picture." if len(days) > 1 else ""
    blank = _blank(days)
    return (
        f"Orange is {high}, blue is {low} than one flat plane; the darker, the more.{same} Lines join places of one "
        f"height: solid where it is {high}, dashed where it is {low}.{blank}"
    )


def _blank(days: tuple[Day, ...]) -> str:
    """That some of what is drawn has no colour, where that shows."""
    x0, x1, y0, y1 = one_frame(days)[0]
    x, y = days[0].surface.x, days[0].surface.y
    short = max(x[0] - x0, x1 - x[-1], y[0] - y0, y1 - y[-1])
    if short < LEAST_BLANK * max(x1 - x0, y1 - y0):
        return ""
    return f" What is white was not measured{' both times' if any(d.key == AFTER for d in days) else ''}."


def wipe_says(left: Day, right: Day) -> str:
    """What is to the left and to the right of the line."""
    return f"Left of the line: {left.full_name[:1].lower()}{left.full_name[1:]}. " \
           f"Right of it: {right.full_name[:1].lower()}{right.full_name[1:]}."  # fmt: skip
