"""All pictures of a check, of a plan, of a comparison and of a surface in a light, by name; and pictures as files."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from flatness.charts.axes import save_chart
from flatness.charts.chances import chance_map
from flatness.charts.differences import before_after, difference_map, done_chart
from flatness.charts.heights import gap_map, profile_chart, surface_map
from flatness.charts.lit_surface import Lit, lit_chart
from flatness.charts.member_lines import member_chart
from flatness.charts.plan_map import action_map
from flatness.comparison.comparing import Comparison
from flatness.errors import ArgumentError
from flatness.files import check_free, named, written_together
from flatness.framing.schedule import Schedule
from flatness.light.findings import ROW, WINDOW, LightFindings
from flatness.light.lamps import Daylight, Light, Row
from flatness.limits.spot_checks import Sweep
from flatness.limits.verdict import PASS, Assessment
from flatness.planning.plan import Plan
from flatness.words.checks import where_alone, where_to_read
from flatness.words.printed import length, printed_place, shown_unit


def check_charts(assessment: Assessment, unit: str | None = None, batch: int | None = None) -> dict[str, Any]:
    """The charts of a check, by name.

    ``heights`` always; ``gap`` and ``profile`` where a straightedge was laid; ``chance`` where surfaces were drawn for
    it, with a batch of places for more readings where its limit is undecided.
    """
    survey, surface = assessment.subject.survey, assessment.subject.surface
    unit = shown_unit(survey, unit)
    one = assessment.pictured
    if one is None:
        return {"heights": surface_map(surface, survey=survey, unit=unit)}
    limit = one.limit
    assert limit.length is not None
    result = assessment.subject.straightedge(limit.length)
    bar = printed_place(limit.length, unit)
    verdict = f"{one.verdict.upper()}{where_alone(one, assessment, unit)}"
    title = f"{verdict}: gap under a {bar} straightedge"
    charts: dict[str, Any] = {
        "heights": surface_map(surface, survey=survey, limit_mm=limit.allowed, bar=result.worst, unit=unit),
        "gap": gap_map(
            surface,
            result,
            allowed_mm=limit.allowed,
            survey=survey,
            unit=unit,
            title=title,
            wanted=assessment.wanted_sweeps if one.verdict == PASS else (),
            slid=[check for check in assessment.spot_checks if isinstance(check, Sweep)],
        ),
    }
    if len(one.used) and one.finding is not None and not one.finding.only:
        place = where_to_read(assessment, batch)
        more = place[1] if place is not None and place[0] is one else None
        chance, anywhere = assessment.chance_map(limit), float(np.mean(one.used > 1 + 1e-9))
        charts["chance"] = chance_map(
            surface, chance, limit=limit, survey=survey, more=more, anywhere=anywhere, unit=unit
        )
    if result.worst is not None:
        worst = length(result.worst.gap, unit, limit.allowed)
        charts["profile"] = profile_chart(
            surface,
            result.worst,
            length=limit.length,
            allowed_mm=limit.allowed,
            kind=survey.surface,
            unit=unit,
            title=f"{verdict}: profile under the {bar} straightedge, gap {worst}",
        )
    return charts


def write_charts(charts: Mapping[str, Any], folder: Path, stem: str) -> list[Path]:
    """Write charts as PNG files ``STEM-NAME.png`` into a folder; all or, where one name is taken, none.

    Raises
    ------
    ArgumentError : the folder cannot be made, or a file of that name stands there that the kit did not write
    """
    paths = {name: named(folder, f"{stem}-{name}.png") for name in charts}
    for path in paths.values():
        check_free(path, overwrite=True)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what, value, remedy = "the pictures cannot be written", str(folder), f"choose another folder ({error.strerror})"
        raise ArgumentError(what, value=value, expected="a folder that can be written to", remedy=remedy) from error
    with written_together():
        return [save_chart(chart, paths[name]) for name, chart in charts.items()]


def plan_charts(plan: Plan, schedule: Schedule | None = None, unit: str | None = None) -> dict[str, Any]:
    """The charts of a plan, by name.

    Parameters
    ----------
    plan : the plan
    schedule : what each member is set to, where there are members
    unit : ``in`` or ``mm``; None takes that of the survey

    Returns
    -------
    dict : ``actions`` always, ``members`` where there is a schedule
    """
    unit = shown_unit(plan.survey, unit)
    charts: dict[str, Any] = {"actions": action_map(plan, unit=unit)}
    if schedule is not None:
        charts["members"] = member_chart(schedule, unit=unit)
    return charts


def comparison_charts(comparison: Comparison, unit: str | None = None) -> dict[str, Any]:
    """The charts of a comparison, by name: ``difference``, ``before-after``, and ``done`` where there is a plan."""
    unit = shown_unit(comparison.surveys[1], unit)
    charts: dict[str, Any] = {
        "difference": difference_map(comparison, unit=unit),
        "before-after": before_after(comparison, unit=unit),
    }
    if comparison.plan is not None and (comparison.plan["what"] != "whole").any():
        charts["done"] = done_chart(comparison, unit=unit)
    return charts


SHOWN_DEGREES = 5.0  # of a window's light, where nobody said


def light_charts(found: LightFindings, before: LightFindings | None = None, unit: str | None = None) -> dict[str, Any]:
    """The charts of a surface in a light, by name.

    Parameters
    ----------
    found : what lights show of the surface
    before : the same of the surface before the work, to stand beside it; None: it stands alone
    unit : ``in`` or ``mm``; None takes that of the survey

    Returns
    -------
    dict : ``window``, at the angle that was given, else at 5 degrees; ``lamps`` where their distance was given
    """
    unit = shown_unit(found.survey, unit)
    charts: dict[str, Any] = {}
    for kind, name in ((WINDOW, "window"), (ROW, "lamps")):
        those = [one for one in found.lights if one.kind == kind and (kind == WINDOW or one.given is not None)]
        if not those:
            continue
        one = max(those, key=lambda one: one.shows)
        light: Light
        if kind == WINDOW:
            light = Daylight(angle=one.given or SHOWN_DEGREES, heading=0.0 if one.along == "x" else 90.0)
            where = light.angle
        else:
            assert one.given is not None
            light = Row(side=one.side, off=one.given, spacing=found.every)
            where = light.off
        pictures = []
        for each in [found] if before is None else [before, found]:
            day = "As read" if before is None else "After" if each is found else "Before"
            same = next(x for x in each.lights if (x.kind, x.along, x.side) == (kind, one.along, one.side))
            named = f"{day}, {each.survey.date}" if each.survey.date else day
            at = same.at if where <= same.shows else None
            pictures.append(Lit(name=named, surface=each.surface, survey=each.survey, shows=at))
        charts[name] = lit_chart(pictures, light, shortest=one.shortest, unit=unit)
    return charts
