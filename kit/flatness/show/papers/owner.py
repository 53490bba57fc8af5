"""The owner's page: what was measured, where it stands, what will be done and what it will be like, on one page."""

from __future__ import annotations

import base64
import math
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from flatness.comparison.comparing import Comparison
from flatness.corrections.plan import Plan
from flatness.errors import ArgumentError
from flatness.job.running import Results
from flatness.limits.verdict import Assessment
from flatness.measures.measured import Place
from flatness.show.axes import SOFTWARE
from flatness.show.papers.figures import Panel, heat_maps, svg_of
from flatness.show.papers.files import Paper
from flatness.show.papers.owner_table import head_of, rows_of
from flatness.show.papers.pdf import TEMPLATES, cut, made_text, make_pdf, one_line, sheet_named
from flatness.show.papers.told import paragraphs, title_of
from flatness.show.reference import drawn_off, is_blank, one_datum, plane_says
from flatness.show.scales import check_unit
from flatness.show.words import accuracy, shown_unit
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey

MARGIN_MM = 15.24  # of the page
TEXT_IN, ROW_IN = 4.3, 0.3  # height of the text around the maps, and of a row of the table [in]
LINES, LINE, LINE_IN = 7, 105, 0.19  # lines of sentences in that text, letters in a line, height of one more [in]
LEAST_MAP_IN = 2.4
INCH = 25.4


def owner_page(
    found: Survey | Assessment, plan: Plan | None = None, comparison: Comparison | None = None, *,
    job: Results | None = None, paper: str = "letter", unit: str | None = None, made: datetime | None = None,
) -> Paper:  # fmt: skip
    """One page for whoever owns the room.

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
            "neither a survey nor an assessment", column="found", value=type(found).__name__,
            expected="what read_survey or assess gives",
        )  # fmt: skip
    assessment = found if isinstance(found, Assessment) else None
    if assessment is None and comparison is not None and comparison.assessments is not None:
        assessment = comparison.assessments[0]
    survey = found if isinstance(found, Survey) else found.subject.survey
    unit = check_unit(shown_unit(survey, unit))
    panels, rest = _panels(survey, assessment, plan, comparison, unit)
    width = (sheet.width - 2 * MARGIN_MM) / INCH
    rows, more = rows_of(assessment, plan, comparison, unit)
    told = paragraphs(survey, assessment, plan, comparison, unit, job)
    lines = sum(math.ceil(len(f"{part['asks']} {part['says']}") / LINE) for part in told)
    # what the text leaves of the page; the template makes a map smaller that is still too tall
    tallest = max(LEAST_MAP_IN, sheet.height / INCH - TEXT_IN - LINE_IN * max(0, lines - LINES) - ROW_IN * len(rows))
    figure = heat_maps(panels, survey.surface, unit, width, tallest=tallest)
    title = cut(title_of(survey, comparison, job), 120)
    data: dict[str, Any] = {
        "title": title, "short": cut(title, 60), "measured": _measured(survey, comparison, unit),
        "paragraphs": told, "map_note": rest, "head": head_of(plan, comparison), "rows": rows, "more": more,
        "authority": "This page says what was measured and what is planned. It is no judgement of the structure: local "
        "codes, the maker of the finish and licensed practice decide.",
    }  # fmt: skip
    svg = svg_of(figure)
    pdf = make_pdf("owner.typ", data, {"map.svg": svg}, paper, made)
    return Paper(title, pdf, _html(data, svg, made))


def _measured(survey: Survey, comparison: Comparison | None, unit: str) -> str:
    surveys = comparison.surveys if comparison is not None else (survey,)
    parts = []
    for one in surveys:
        x, _, _, _ = one.stations()
        when = f" on {cut(one.date, 30)}" if one.date else ""
        good = f", each good to about {accuracy(one.accuracy, unit)}," if one.accuracy else ""
        parts.append(f"at {len(x)} places{when}{good}")
    return f"The {survey.surface} was measured {' and again '.join(parts).rstrip(',')}."


def _panels(
    survey: Survey, assessment: Assessment | None, plan: Plan | None, comparison: Comparison | None, unit: str
) -> tuple[list[Panel], str]:
    """The maps, and what must be known to read them."""
    ring, name = _ring(assessment)
    is_true = one_datum(survey, comparison)
    names: tuple[str, ...]
    surveys: tuple[Survey, ...]
    if comparison is not None:
        before = Surface(comparison.x, comparison.y, comparison.before_heights, comparison.spacing)
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
    panels = [
        Panel(title, day, one, ring if i == 0 else None, name if i == 0 else "")
        for i, (title, day, one) in enumerate(zip(names, drawn, surveys, strict=True))
    ]
    blank = ""
    if any(is_blank(day, one) for day, one in zip(drawn, surveys, strict=True)):
        blank = f" What is white was not measured{' both times' if comparison is not None else ''}."
    return panels, f"{off} {_lines(survey)}{blank}"


def _lines(survey: Survey) -> str:
    words = {"floor": ("high", "low"), "ceiling": ("hangs low", "high"), "wall": ("stands out", "set back")}
    high, low = words[survey.surface]
    return f"Lines join places of one height: solid where it {_is(high)}, dashed where it {_is(low)}."


def _is(word: str) -> str:
    return word if word.split()[0].endswith("s") else f"is {word}"


def _ring(assessment: Assessment | None) -> tuple[Place | None, str]:
    one = assessment.governing if assessment is not None else None
    if one is None or one.finding is None or one.finding.measured.at is None or not one.finding.measured.value:
        return None, ""
    return one.finding.measured.at, "worst place"


def _html(data: Mapping[str, Any], svg: bytes, made: datetime | None) -> str:
    """The page as one file; every text in it is escaped."""
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    picture = base64.b64encode(svg).decode("ascii")
    page = environment.get_template("owner.html")
    return page.render(**_lined(data), picture=picture, software=SOFTWARE, made=made_text(made))


def _lined(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _lined(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_lined(item) for item in value]
    return one_line(value) if isinstance(value, str) else value
