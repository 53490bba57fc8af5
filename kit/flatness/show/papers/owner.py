"""The owner's page: what was measured, where it stands, what will be done and what it will be like, on one page."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from flatness.comparison.comparing import Comparison
from flatness.corrections.plan import Plan
from flatness.errors import ArgumentError
from flatness.limits.kinds import UNITLESS
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Assessment, Judged
from flatness.limits.wording import caution, describe
from flatness.measures.measured import Place
from flatness.measures.planes import fit_surface_plane
from flatness.show.axes import SOFTWARE
from flatness.show.papers.figures import Panel, heat_maps, svg_of
from flatness.show.papers.files import Paper
from flatness.show.papers.pdf import TEMPLATES, cut, made_text, make_pdf, one_line, sheet_named
from flatness.show.papers.plain import RESULTS, about, paragraphs, speaking
from flatness.show.scales import check_unit
from flatness.show.words import length, number, shown_unit
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey

MARGIN_MM = 15.24  # of the page
MOST_ROWS = 6  # of the table, so that it all stays on one page
TEXT_IN, ROW_IN = 4.3, 0.3  # height of the text around the maps, and of a row of the table [in]
INCH = 25.4
ORDER = {FAIL: 0, UNDECIDED: 1, PASS: 2}


def owner_page(
    found: Survey | Assessment, plan: Plan | None = None, comparison: Comparison | None = None, *,
    paper: str = "letter", unit: str | None = None, made: datetime | None = None,
) -> Paper:  # fmt: skip
    """One page for whoever owns the room.

    Parameters
    ----------
    found : a survey, or an assessment of one against limits
    plan : what will be done, and what it will be like
    comparison : of a survey before and one after: what was done, and what it is like now
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
    rows, more = _rows(assessment, plan, comparison, unit)
    # what the text leaves of the page; the template makes a map smaller that is still too tall
    tallest = sheet.height / INCH - TEXT_IN - ROW_IN * len(rows)
    figure = heat_maps(panels, survey.surface, unit, width, tallest=tallest)
    title = cut(survey.title or survey.source or f"The {survey.surface}", 120)
    data: dict[str, Any] = {
        "title": title, "short": cut(title, 60), "measured": _measured(survey, comparison, unit),
        "paragraphs": paragraphs(survey, assessment, plan, comparison, unit),
        "map_note": rest, "head": _head(plan, comparison), "rows": rows, "more": more,
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
        good = f", each good to about {length(one.accuracy, unit)}" if one.accuracy else ""
        parts.append(f"at {len(x)} places{when}{good}")
    return f"The {survey.surface} was measured {' and again '.join(parts)}."


def _panels(
    survey: Survey, assessment: Assessment | None, plan: Plan | None, comparison: Comparison | None, unit: str
) -> tuple[list[Panel], str]:
    """The maps, and what must be known to read them."""
    ring, name = _ring(assessment, unit)
    if comparison is not None:
        before = Surface(comparison.x, comparison.y, comparison.before_heights, comparison.spacing)
        after = replace(before, height=comparison.after_heights)
        names, base = ("Before", "After"), before
        off = "Both maps show heights off one plane, the one that lies nearest to the surface before."
        surveys = comparison.surveys
    elif plan is not None:
        before, after = plan.surface, replace(plan.surface, height=plan.target)
        names, base = ("As found", "As planned, not measured"), after
        off = "Both maps show heights off one plane, the one that lies nearest to the planned surface."
        surveys = (survey, survey)
    else:
        surface = assessment.subject.surface if assessment is not None else survey.surface_at()
        panel = Panel(f"How the {survey.surface} lies", _off(surface, surface), survey, ring, name)
        return [panel], f"Heights off the plane that lies nearest to the surface. {_lines(survey)}"
    panels = [
        Panel(names[0], _off(before, base), surveys[0], ring, name),
        Panel(names[1], _off(after, base), surveys[1]),
    ]
    return panels, f"{off} {_lines(survey)}"


def _lines(survey: Survey) -> str:
    words = {"floor": ("high", "low"), "ceiling": ("hangs low", "high"), "wall": ("stands out", "set back")}
    high, low = words[survey.surface]
    return f"Lines join places of one height: solid where it {_is(high)}, dashed where it {_is(low)}."


def _is(word: str) -> str:
    return word if word.split()[0].endswith("s") else f"is {word}"


def _off(surface: Surface, base: Surface) -> Surface:
    plane = fit_surface_plane(base)
    gx, gy = np.meshgrid(surface.x, surface.y)
    return replace(surface, height=surface.height - plane.at(gx, gy))


def _ring(assessment: Assessment | None, unit: str) -> tuple[Place | None, str]:
    one = speaking(assessment) if assessment is not None else None
    if one is None or one.finding is None or one.finding.measured.at is None or not one.finding.measured.value:
        return None, ""
    return one.finding.measured.at, "worst place"


def _head(plan: Plan | None, comparison: Comparison | None) -> list[str]:
    if comparison is not None:
        found = ["Before", "Now"]
    else:
        found = ["Found", "Planned"] if plan is not None else ["Found"]
    result = "As found it is" if plan is not None and comparison is None else "Result"
    return ["Limit", "Allowed", *found, result, "Who sets it"]


def _rows(
    assessment: Assessment | None, plan: Plan | None, comparison: Comparison | None, unit: str
) -> tuple[list[list[str]], str]:
    """The verdicts that matter most, and how many more there are."""
    if assessment is None:
        return [], ""
    pairs: list[tuple[Judged, Judged | None]] = [(one, None) for one in assessment.judged]
    if comparison is not None and comparison.assessments is not None:
        pairs = list(zip(*(one.judged for one in comparison.assessments), strict=True))
    after = {} if plan is None else {str(row["limit"]): row for row in plan.after.to_dict("records")}
    pairs.sort(key=lambda pair: ORDER[(pair[1] or pair[0]).verdict])
    rows = []
    for one, other in pairs[:MOST_ROWS]:
        found = [_found(one, unit)]
        if comparison is not None:
            found.append(_found(other, unit) if other is not None else "not judged")
        elif plan is not None:
            found.append(_planned(after.get(one.limit.name), unit))
        rows.append([
            cut(one.limit.name, 40), cut(describe(one.limit, unit), 70), *found, RESULTS[(other or one).verdict],
            cut(_source(one), 110),
        ])  # fmt: skip
    left = [pair[1] or pair[0] for pair in pairs[MOST_ROWS:]]
    counts = {words: sum(one.verdict == verdict for one in left) for verdict, words in RESULTS.items()}
    told = ", ".join(f"{count} {words}" for words, count in counts.items() if count)
    return rows, f"And {len(left)} more {'limit' if len(left) == 1 else 'limits'}: {told}." if left else ""


def _found(one: Judged, unit: str) -> str:
    if one.finding is None:
        return "not known"
    middle = one.likely()[0]
    value = one.finding.measured.value if np.isnan(middle) else middle
    if one.limit.kind == "slope" or one.limit.kind in UNITLESS:
        return number(one, value, unit)
    return about(value, unit, one.finding.allowed)  # as the sentences above the table say it


def _planned(row: Mapping[Any, Any] | None, unit: str) -> str:
    if row is None or not np.isfinite(row["after_mm"]):
        return "not known"
    return about(row["after_mm"], unit, row["allowed_mm"])


def _source(one: Judged) -> str:
    source = ", ".join(part for part in (one.limit.source, one.limit.edition, one.limit.clause) if part)
    sure = caution(one.limit)
    return f"{source} ({sure.split(':')[0].split(',')[0]})" if sure else source


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
