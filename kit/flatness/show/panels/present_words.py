"""What the Present panel says to whoever owns the room: no term of the trade, and what the colours mean."""

from __future__ import annotations

from html import escape

from flatness.comparison.comparing import Comparison
from flatness.corrections.plan import Plan
from flatness.job.running import Results
from flatness.limits.verdict import Assessment
from flatness.show.panels.present_days import AFTER, Day
from flatness.show.papers.told import paragraphs
from flatness.show.reference import is_blank
from flatness.survey.readings import Survey

NOTHING_YET = "Open the files and settings, and choose the survey of the surface as it was found."
ENDS = {
    "floor": ("lower", "higher"), "ceiling": ("higher up", "hanging lower"), "wall": ("farther back", "farther out"),
}  # fmt: skip


def sentences(
    survey: Survey, assessment: Assessment | None, plan: Plan | None, found: Comparison | None, unit: str,
    job: Results | None = None,
) -> list[tuple[str, str]]:  # fmt: skip
    """What is asked and what is answered, as on the owner's page: what to check first, where it stands, what will be
    done, what it will be like.

    With a comparison: where it stood, the plan if there is one, what was done, what it is like now.
    """
    return [(str(one["asks"]), str(one["says"])) for one in paragraphs(survey, assessment, plan, found, unit, job)]


def sentences_html(told: list[tuple[str, str]]) -> str:
    """The sentences as HTML, read out when they change."""
    parts = "".join(f"<p><b>{escape(asks)}</b><br>{escape(says)}</p>" for asks, says in told)
    return f'<div class="fk-plain" aria-live="polite">{parts}</div>'


def colours_say(days: tuple[Day, ...]) -> str:
    """What the colours and the lines mean, in a sentence or two."""
    low, high = ENDS[days[0].survey.surface]
    same = " The colours mean the same in every picture." if len(days) > 1 else ""
    plane = "one flat plane"
    if len(days) > 1:
        true = "upright" if days[0].survey.surface == "wall" else "level"
        plane = "its own flat plane that day"
        if days[0].one_plane:
            plane = f"one {true} plane, so that what is flat but {'leans' if true == 'upright' else 'slopes'} shows as "
            plane += "even bands"
    return (
        f"Orange is {high}, blue is {low} than {plane}; the darker, the more.{same} Lines join places of one "
        f"height: solid where it is {high}, dashed where it is {low}.{_blank(days)}"
    )


def _blank(days: tuple[Day, ...]) -> str:
    """That some of what is drawn has no colour, where that shows."""
    if not any(is_blank(day.surface, day.survey) for day in days):
        return ""
    return f" What is white was not measured{' both times' if any(d.key == AFTER for d in days) else ''}."


def wipe_says(left: Day, right: Day) -> str:
    """What is to the left and to the right of the line."""
    return f"Left of the line: {left.full_name[:1].lower()}{left.full_name[1:]}. " \
           f"Right of it: {right.full_name[:1].lower()}{right.full_name[1:]}."  # fmt: skip
