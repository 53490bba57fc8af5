"""The record of a comparison as a document: for the file, to be signed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from flatness.comparison.against_plan import tolerance_of
from flatness.comparison.comparing import Comparison
from flatness.errors import ArgumentError
from flatness.limits.catalogue import find
from flatness.limits.spot_checks import ASSUMED
from flatness.limits.verdict import PASS, Judged
from flatness.limits.wording import caution, cited, describe
from flatness.measures.planes import fit_surface_plane
from flatness.show.compared import doubt, part_name
from flatness.show.datum_words import agree_words, compared_share, fine, greatest, outside_plan, to_do_again, true_minus
from flatness.show.differences import difference_map
from flatness.show.done_words import depth
from flatness.show.papers.figures import Panel, heat_maps, svg_of
from flatness.show.papers.files import Paper
from flatness.show.papers.pdf import cut, make_pdf, sheet_named
from flatness.show.papers.record_parts import aligned, amounts, levelling, plan_told, surveys
from flatness.show.scales import check_unit
from flatness.show.words import AUTHORITY, length, number, percent, sentence, shown_unit
from flatness.surface.lattice import Surface

MARGIN_MM = 15.24
DAYS = ("Before", "After")
SIGNERS = ("Measured by", "Done by", "Checked by", "Accepted by")


def record_paper(
    comparison: Comparison, found: Mapping[str, Any] | None = None, *, paper: str = "letter", unit: str | None = None,
    made: datetime | None = None, title: str = "",
) -> Paper:  # fmt: skip
    """The record of a comparison, to print and sign.

    Parameters
    ----------
    comparison : what :func:`~flatness.comparison.comparing.compare` gave
    found : its record, from :func:`~flatness.comparison.records.record`, which adds the files with their checksums
        and the versions; None leaves them out
    paper : ``letter`` or ``a4``
    unit : ``in`` or ``mm``; None takes the later survey's own
    made : when the paper was made; None leaves it out, and the same input gives the same bytes
    title : of the job; the later survey's own where not given

    Returns
    -------
    Paper : with a PDF form

    Raises
    ------
    ArgumentError : an unknown paper or unit, or a record of something else
    """
    sheet = sheet_named(paper)
    unit = check_unit(shown_unit(comparison.surveys[1], unit))
    if found is not None and not {"inputs", "settings", "versions"} <= set(found):
        raise ArgumentError(
            "not the record of a comparison", column="found", value=", ".join(map(str, found)),
            expected="what record(comparison, ...) gives",
        )  # fmt: skip
    width = (sheet.width - 2 * MARGIN_MM) / 25.4
    before, after = comparison.surveys
    title = cut(title or after.title or before.title or f"The {after.surface}", 140)
    done_head, done = _done(comparison, unit)
    data: dict[str, Any] = {
        "title": title,
        "short": cut(title, 50),
        "surveys": surveys(comparison, found, unit),
        "levelling": [
            levelling(day, one, unit, comparison.confidence) for day, one in zip(DAYS, comparison.surveys, strict=True)
        ],
        "alignment": aligned(comparison, unit),
        "again": to_do_again(comparison, unit),
        "warnings": [sentence(text, unit, both=False) for text in comparison.warnings],
        "changed": _changed(comparison, unit),
        "amounts": amounts(comparison, unit),
        "confidence": f"{100 * comparison.confidence:g} %",
        "verdict_head": ["Limit", "Allowed", "Before: likely", "Verdict", "After: likely", "Verdict"],
        "verdicts": _verdicts(comparison, unit),
        "limits": _limits(comparison, unit),
        "done_head": done_head,
        "done": done,
        "plan": plan_told(comparison, found),
        "elsewhere": [true_minus(outside_plan(row, unit)) for row in _rows(comparison) if row["what"] == "elsewhere"],
        "settings": _settings(comparison, found, unit),
        "notes": [sentence(note, unit, both=False) for note in _notes(comparison)],
        "signers": list(SIGNERS),
        "authority": AUTHORITY,
    }
    pictures = {"maps.svg": svg_of(_maps(comparison, unit, width)), "difference.svg": svg_of(_difference(
        comparison, unit, width
    ))}  # fmt: skip
    return Paper(title, make_pdf("record.typ", data, pictures, paper, made))


def _maps(comparison: Comparison, unit: str, width: float) -> Figure:
    before = Surface(comparison.x, comparison.y, comparison.before_heights, comparison.spacing)
    plane = fit_surface_plane(before)
    off = plane.at(*np.meshgrid(comparison.x, comparison.y))
    heights = (comparison.before_heights, comparison.after_heights)
    panels = []
    for day, survey, height in zip(DAYS, comparison.surveys, heights, strict=True):
        name = f"{day}, {cut(survey.date, 24)}" if survey.date else day
        panels.append(Panel(name, replace(before, height=height - off), survey))
    return heat_maps(panels, comparison.surveys[1].surface, unit, width, tallest=4.8)


def _difference(comparison: Comparison, unit: str, width: float) -> Figure:
    wide, high = float(np.ptp(comparison.x)), float(np.ptp(comparison.y))
    tall = min(5.2, max(2.6, (width - 2.2) * high / max(wide, 1.0)))
    figure = Figure(figsize=(width, tall + 1.7))
    ax = figure.add_axes((0.66 / width, 0.72 / (tall + 1.7), 1 - 0.8 / width, tall / (tall + 1.7)))
    difference_map(comparison, unit=unit, ax=ax)
    return figure


def _changed(comparison: Comparison, unit: str) -> list[str]:
    least, middle, most = (float(f(comparison.detection)) for f in (np.nanmin, np.nanmedian, np.nanmax))
    lines = [
        f"After minus before. Change is shown where it exceeds what the readings' errors and the alignment may feign "
        f"at {100 * comparison.confidence:g} %: {fine(middle, unit)} in most places, from {fine(least, unit)} to "
        f"{fine(most, unit)}. That is so on {percent(comparison.share_changed)} of the area compared; on the "
        "rest no change is shown, which does not mean that there was none."
    ]
    return [*lines, compared_share(comparison), *map(true_minus, greatest(comparison, unit))]


def _verdicts(comparison: Comparison, unit: str) -> list[list[str]]:
    if comparison.assessments is None:
        return []
    rows = []
    for one, other in zip(*(found.judged for found in comparison.assessments), strict=True):
        known = other if other.finding is not None else one
        allowed = number(known, known.finding.allowed, unit) if known.finding is not None else "-"
        cells = [text for judged in (one, other) for text in (_likely(judged, unit), _verdict(judged))]
        rows.append([one.limit.name, allowed, *cells])
    return rows


def _likely(one: Judged, unit: str) -> str:
    if one.finding is None:
        return "not measured"
    middle, low, high = (number(one, value, unit) for value in one.likely())
    if middle == "-":
        return f"{number(one, one.finding.measured.value, unit)}, as read"
    return f"{middle} ({low} to {high})"


def _verdict(one: Judged) -> str:
    chance, word = percent(one.chance), one.verdict.upper()
    if one.verdict == PASS and one.between == ASSUMED:
        word += " at the stations"
    return word if chance == "-" else f"{word}, chance {chance}"


def _limits(comparison: Comparison, unit: str) -> list[list[str]]:
    asked = comparison.settings["limits"]
    rows = []
    for limit in find(asked) if asked else []:
        source = cited(limit.source, limit.edition, limit.clause)
        rows.append([limit.name, describe(limit, unit), source, caution(limit) or limit.seen])
    return rows


def _done(comparison: Comparison, unit: str) -> tuple[list[str], list[list[str]]]:
    if comparison.plan is None:
        return [], []
    head = ["Part", "Planned", "Done", "Worst", "Agree", "Status"]
    rows = []
    for row in _rows(comparison):
        numbers = [re.sub("^.under", "under", depth(row[name], unit)) for name in ("planned_mm", "done_mm", "off_mm")]
        status = ", ".join(text for text in (row["status"], doubt(row)) if text)
        rows.append([part_name(row), *numbers, agree_words(row), status])
    return head, rows


def _rows(comparison: Comparison) -> list[dict[Any, Any]]:
    return [] if comparison.plan is None else comparison.plan.to_dict("records")


def _settings(comparison: Comparison, found: Mapping[str, Any] | None, unit: str) -> list[list[str]]:
    rows = [
        ["alignment", comparison.alignment.way],
        ["lattice", length(comparison.spacing, unit)],
        ["confidence", f"{comparison.confidence:g}"],
        ["draws, seed", f"{comparison.draws}, {comparison.seed}{_more_draws(comparison)}"],
        ["tolerance", _tolerance(comparison, unit)],
    ]
    if found is not None:
        rows.append(["versions", ", ".join(f"{name} {text}" for name, text in found["versions"].items())])
    return rows


def _tolerance(comparison: Comparison, unit: str) -> str:
    plan, given = comparison.settings["plan"], comparison.settings["tolerance"]
    if plan is None:
        return "none: no plan"
    told = fine(tolerance_of(plan, given), unit)
    return told if given is not None else f"{told}, twice what a height is set to"


def _more_draws(comparison: Comparison) -> str:
    judged = [one for found in comparison.assessments or () for one in found.judged]
    most = max((len(one.used) for one in judged), default=0)
    return f"; up to {most} draws of a limit near the line of a verdict" if most > comparison.draws else ""


def _notes(comparison: Comparison) -> list[str]:
    notes = list(comparison.notes)
    for day, survey in zip(("before", "after"), comparison.surveys, strict=True):
        notes += [
            f"{day}: {problem.cell or ''} {problem.what}".replace(":  ", ": ")
            for problem in survey.notes
            if not any(problem.what in text for text in comparison.warnings)
        ]
    return notes
