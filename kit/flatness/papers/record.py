"""The record of a comparison, to sign: accept or redo and why, what that rests on, and all the numbers behind it."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from scipy.special import ndtri

from flatness.charts import map_base as maps
from flatness.charts.axes import FreeSpace, new_figure
from flatness.charts.differences import difference_map, is_blank
from flatness.charts.scales import check_unit
from flatness.comparison.against_plan import UNPLANNED, tolerance_of
from flatness.comparison.comparing import Comparison
from flatness.comparison.records import plan_terms
from flatness.errors import ArgumentError
from flatness.limits.kinds import describe
from flatness.limits.spot_checks import ASSUMED, SPOT_CHECKED
from flatness.limits.verdict import PASS, Judged
from flatness.measures.planes import fit_surface_plane
from flatness.papers.figures import INK, SEEN, WAYS, Panel, heat_maps, key_picture, room_figure, seen_size, svg_of
from flatness.papers.files import Paper
from flatness.papers.owner_words import looked_at, source_of
from flatness.papers.sheet import MARGIN_MM, cut, make_pdf, sheet_named
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey
from flatness.words.comparisons import (
    Outcome,
    agree_words,
    amount_rows,
    answer_of,
    doubt,
    greatest,
    heights_from,
    known_ties,
    outcomes_of,
    outside_plan,
    part_name,
    share_compared,
    where_shown,
)
from flatness.words.phrases import say, sentence
from flatness.words.printed import (
    AUTHORITY,
    Rule,
    accuracy,
    bare_place,
    capital,
    day_words,
    depth,
    fine,
    length,
    number,
    percent,
    place_heads,
    shown_unit,
    small,
    spelled,
    true_minus,
)

NOT_STATED = "not stated"


def surveys(comparison: Comparison, found: Mapping[str, Any] | None, unit: str) -> list[list[str]]:
    """Who measured what with what and when, one row a thing, before and after side by side."""
    before, after = comparison.surveys
    good, marks = [], []
    for survey in comparison.surveys:
        good.append(NOT_STATED if survey.accuracy is None else f"{accuracy(survey.accuracy, unit)} (1 s.d.)")
        known = (f"{label} {true_minus(length(height, unit))}" for label, height in survey.benchmarks.items())
        marks.append(", ".join(known))
    rows = [
        ["title", before.title, after.title],
        ["date", before.date, after.date],
        ["by", before.keys.get("by", ""), after.keys.get("by", "")],
        ["instrument", before.keys.get("instrument", ""), after.keys.get("instrument", "")],
        ["surface", before.surface, after.surface],
        ["read", *(f"{survey.quantity}s, off a {survey.reference}" for survey in comparison.surveys)],
        ["readings", *(str(len(survey.points)) for survey in comparison.surveys)],
        ["one reading is good to", *good],
        ["benchmarks", *marks],
    ]
    if found is not None:
        for key, name in (("file", "file"), ("sha256", "SHA-256 of the file")):
            texts = [str(found["inputs"][day][key]) for day in ("before", "after")]
            rows.append([name, *(Path(text).name if key == "file" else text for text in texts)])
    return [[name, *(text or NOT_STATED for text in cells)] for name, *cells in rows if any(cells)]


def levelling(day: str, survey: Survey, unit: str, confidence: float) -> dict[str, Any]:
    """How the set-ups of a survey close, in words and one row a loop or line; each may miss at a confidence.

    One set-up that reads no benchmark closes nothing: its words are empty.
    """
    adjustment = survey.adjustment
    heights = heights_from(survey, unit)
    words = f"{heights[:1].upper()}{heights[1:]}." if heights else ""
    if adjustment is None:
        says = f"All readings are of one set-up. {words}" if words else ""
        rows = _tied(survey, unit)
        head = ["Benchmark", "Known height", f"Read, a {survey.quantity}", "Its height so", "Off by"]
        return {"day": day, "says": says, "head": head, "rows": rows}
    spare = adjustment.redundancy
    says = f"{words} Ties beyond those needed: {spare}."
    if math.isfinite(adjustment.m0) and spare:
        says += f" The ties scatter by {small(adjustment.m0, unit)} (1 s.d. of a reading)."
    if math.isfinite(adjustment.chance):
        says += f" Good readings would scatter as much with a chance of {100 * adjustment.chance:.0f} %."
    reach = float(ndtri((1 + confidence) / 2))
    rows = [
        [
            f"{row['kind']} {row['through']}",
            str(row["sights"]),
            true_minus(small(row["misclosure"], unit)),
            small(reach * row["error"], unit),
            _closes(row, reach, confidence),
        ]
        for row in adjustment.misclosures.to_dict("records")
    ]
    head = ["Loop or line", "Sights", "Misclosure", f"Allowed at {100 * confidence:g} %", ""]
    return {"day": day, "says": says, "head": head, "rows": rows}


def _tied(survey: Survey, unit: str) -> list[list[str]]:
    """One row a reading of a benchmark: its known height, what was read, the height so, and how far that is off."""
    rows = []
    for tie in known_ties(survey):
        known, height = survey.benchmarks[str(tie["label"])], float(tie["height"])
        numbers = (small(mm, unit) for mm in (known, float(tie["reading"]), height))
        rows.append([str(tie["label"]), *map(true_minus, (*numbers, small(height - known, unit, sign=True)))])
    return rows


def _closes(row: Mapping[Any, Any], reach: float, confidence: float) -> str:
    if not math.isfinite(row["error"]):
        return "no accuracy to hold it against"
    miss = abs(row["misclosure"])
    if miss <= reach * row["error"] + 1e-6:
        return "closes"
    # one good loop in twenty misses by more than it may at 95 %: what no good one does is another matter
    return f"beyond {100 * confidence:g} %, within 99.9 %" if miss <= row["allowed"] + 1e-6 else "does not close"


def aligned(comparison: Comparison, unit: str) -> list[str]:
    """How the two datums were brought together, and how surely."""
    one = comparison.alignment
    lines = []
    if one.way != "none":
        lines.append(f"{_rests(comparison, unit)}.")
        offset, give = true_minus(small(one.offset, unit)), small(one.offset_error, unit)
        lines.append(f"The later datum stands {offset} off the earlier one, ± {give} (1 s.d.); that was taken out.")
    if one.way == "tilt":
        for axis, tilt, error in (("x", one.tilt_x, one.tilt_x_error), ("y", one.tilt_y, one.tilt_y_error)):
            lines.append(f"It tilts {tilt:+.2f} mm in a metre along {axis}, ± {error:.2f}; that was taken out too.")
    if not one.is_level_known:
        lines.append("Changes of level are not known.")
    return lines


def _rests(comparison: Comparison, unit: str) -> str:
    """On what the two datums were brought together, if on anything."""
    one = comparison.alignment
    words = say(one.rests_on, unit)
    words = words.removeprefix("nothing: ") if one.way == "none" else f"brought together on {words}"
    return true_minus(capital(words))


def amounts(comparison: Comparison, unit: str) -> list[list[str]]:
    """Areas and volumes, each with its standard error and the parts of that."""
    names = ("ft²", "ft³") if unit == "in" else ("m²", "litres")
    rows = amount_rows(comparison, unit, names)
    return [[f"{what} [{name}]", *map(true_minus, cells)] for what, name, cells in rows]


def plan_lines(comparison: Comparison, found: Mapping[str, Any] | None) -> list[str]:
    """Which plan the work is held against: its title, strategy, limits, settings, file and the file's checksum."""
    plan = comparison.settings.get("plan")
    if plan is None:
        return []
    terms = plan_terms(plan)
    settings = ", ".join(f"{name} {value}" for name, value in terms["asked"].items())
    parts = [f"made for '{terms['title']}'" if terms["title"] else "", f"strategy {terms['strategy']}", settings]
    lines = [f"The plan: {'; '.join(part for part in parts if part)}."]
    file = (found or {}).get("plan")
    if file:
        lines.append(f"Its file: {Path(file['file']).name}, SHA-256 {file['sha256']}.")
    else:
        lines.append("It was made together with this record, from the survey before, and is no file of its own.")
    return lines


DAYS = ("Before", "After")
CHANGES = ("planned_mm", "done_mm")
SIGNERS = ("Measured by", "Done by", "Checked by", "Accepted by")


def record_paper(
    comparison: Comparison,
    found: Mapping[str, Any] | None = None,
    *,
    paper: str = "letter",
    unit: str | None = None,
    made: datetime | None = None,
    title: str = "",
) -> Paper:
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
            "not the record of a comparison",
            column="found",
            value=", ".join(map(str, found)),
            expected="what record(comparison, ...) gives",
        )
    width = (sheet.width - 2 * MARGIN_MM) / 25.4
    before, after = comparison.surveys
    title = cut(title or after.title or before.title or f"The {after.surface}", 140)
    done_head, done = _done(comparison, unit)
    outcomes = outcomes_of(comparison)
    state, sentence_ = answer_of(comparison, outcomes)
    listed = place_rows(comparison, outcomes, unit)
    figure, key = _places(comparison, outcomes, (0.56 * width, max(2.6, 4.0 - 0.22 * max(0, len(listed) - 3))))
    data: dict[str, Any] = {
        "title": title,
        "short": cut(title, 50),
        "surveys": surveys(comparison, found, unit),
        "levelling": [
            words
            for day, one in zip(DAYS, comparison.surveys, strict=True)
            if (words := levelling(day, one, unit, comparison.confidence))["says"]
        ],
        "alignment": aligned(comparison, unit),
        "state": state,
        "answer": sentence_,
        "when": " and ".join(cut(day_words(one.date), 24) for one in comparison.surveys if one.date),
        "where": place_heads(after),
        "places": listed,
        "key": [[f"{kind}.svg", words] for kind, words in key.items()],
        "map": [figure.get_figwidth(), figure.get_figheight()],
        "seen": SEEN[after.surface],
        "gaps": gap_rows(comparison, unit),
        "rests": rests_on(comparison, found, unit),
        "warnings": [sentence(text, unit, after) for text in comparison.warnings],
        "changed": [where_shown(comparison, unit), *map(true_minus, greatest(comparison, unit))],
        "amounts": amounts(comparison, unit),
        "confidence": f"{100 * comparison.confidence:g} %",
        "limits": _limits(comparison, unit),
        "done_head": done_head,
        "done": done,
        "plan": plan_lines(comparison, found),
        "elsewhere": [
            true_minus(outside_plan(row, unit, after)) for row in _rows(comparison) if row["what"] == "elsewhere"
        ],
        "settings": _settings(comparison, found, unit),
        "notes": _notes(comparison, unit),
        "signers": list(SIGNERS),
        "authority": AUTHORITY,
    }
    pictures = {
        "places.svg": svg_of(figure),
        "maps.svg": svg_of(_maps(comparison, unit, width)),
        "difference.svg": svg_of(_difference(comparison, unit, width)),
    } | {f"{kind}.svg": svg_of(key_picture(kind)) for kind in key}
    return Paper(title, make_pdf("record.typ", data, pictures, paper, made))


def place_rows(comparison: Comparison, outcomes: list[Outcome], unit: str) -> list[list[str]]:
    """One row a place, those to redo first: number, where, what to do, why, planned, measured; the rest last."""
    rule, survey = Rule(unit), comparison.surveys[1]
    rows = []
    for one in outcomes:
        planned, done = (rule.change(one.row[name]) if np.isfinite(one.row[name]) else "-" for name in CHANGES)
        do, why = one.what_to_do(rule), one.why(survey, rule)
        where = _tapes(one.row, survey, unit)
        rows.append([one.answer, one.number, where, f"{do}: {why}" if why else do, planned, done])
    for row in _rows(comparison):
        if row["status"] == UNPLANNED:
            where = _tapes(row, survey, unit)
            rows.append(["read", "", where, "Ask: nothing was planned here", "0", rule.change(row["done_mm"])])
    return rows


def _tapes(row: Mapping[Any, Any], survey: Survey, unit: str) -> str:
    return true_minus(spelled(bare_place((float(row["x_mm"]), float(row["y_mm"])), unit, survey)))


def gap_rows(comparison: Comparison, unit: str) -> list[list[str]]:
    """Each limit: what is looked at, before, now, allowed."""
    if comparison.assessments is None:
        return []
    rows = []
    for one, other in zip(*(found.judged for found in comparison.assessments), strict=True):
        cells = [_likely(day, unit).partition(" (")[0] for day in (one, other)]
        allowed = number(other, other.finding.allowed, unit) if other.finding is not None else "-"
        what = capital(looked_at(one.limit, unit)[0])
        what += f", {one.limit.everyday}" if one.limit.everyday else ""
        rows.append([what, *cells, allowed, other.verdict.upper()])
    return rows


def rests_on(comparison: Comparison, found: Mapping[str, Any] | None, unit: str) -> list[list[str]]:
    """What the answer rests on: how much was compared, what can be seen, the datum, doubts, files."""
    share, before, after = share_compared(comparison), *comparison.surveys
    counts = f"{len(before.points)} readings before, {len(after.points)} after"
    reads = {one.between for one in comparison.assessments[1].judged} if comparison.assessments is not None else set()
    least = fine(float(np.nanmedian(comparison.detection)), unit)
    between = "; between the stations nobody has looked" if ASSUMED in reads else ""
    between = between or ("; between the stations a bar was slid" if SPOT_CHECKED in reads else "")
    rows = [
        ["Compared", f"{percent(share)} of the {after.surface}: {counts}{between}"],
        ["Smallest change", f"{least} can be seen; less counts as none"],
        ["Heights", _rests(comparison, unit)],
        ["Doubts", " ".join(sentence(text, unit, after) for text in comparison.doubts) or "none"],
    ]
    if found is not None:
        files = (found["inputs"][day] for day in ("before", "after"))
        rows.append(["Files", ", ".join(f"{Path(str(one['file'])).name} {str(one['sha256'])[:12]}" for one in files)])
    return rows


KEY = {
    "accepted": "accepted",
    "high": "redo: {}",
    "low": "redo: {}",
    "undecided": "read it",
    "fine": "nothing planned",
    "unread": "not compared",
}


def _places(
    comparison: Comparison, outcomes: list[Outcome], size: tuple[float, float]
) -> tuple[Figure, dict[str, str]]:
    """The room with its places: accepted, to redo by which way they are off, to be read; and what its looks mean."""
    surface = Surface(x=comparison.x, y=comparison.y, height=comparison.after_heights, spacing=comparison.spacing)
    figure, room = room_figure(surface, comparison.surveys[1], *size)
    room.lay(room.room, "unread", edge=False)
    room.lay(maps.region(maps.fine(surface, np.where(np.isfinite(comparison.difference), 1.0, np.nan)), 0.0), "fine")
    plan = comparison.settings.get("plan")
    patches = getattr(plan, "patches", None)
    outlines = {} if patches is None else dict(zip(map(str, patches["name"]), patches["outline"], strict=True))
    space = FreeSpace(room.ax)
    room.openings(space)
    shown = [one for one in reversed(outcomes) if one.name in outlines]
    used = {"fine", *(["unread"] if is_blank(surface, comparison.surveys[1]) else [])}
    for one in shown:
        way = "high" if one.row["off_mm"] > 0 else "low"
        kind = {"accept": "accepted", "redo": way, "read": "undecided"}[one.answer]
        used.add(kind)
        room.lay(outlines[one.name], kind)
        room.fill(outlines[one.name], "none", edgecolor=INK, linewidth=1.2, zorder=1.9)
    for one in reversed(shown):
        room.name({"accept": f"{one.number} \N{CHECK MARK}"}.get(one.answer, one.number), outlines[one.name], space)
    ways = dict(zip(("low", "high"), WAYS[comparison.surveys[1].surface], strict=True))
    return figure, {kind: words.format(ways.get(kind)) for kind, words in KEY.items() if kind in used}


def _maps(comparison: Comparison, unit: str, width: float) -> Figure:
    before = Surface(x=comparison.x, y=comparison.y, height=comparison.before_heights, spacing=comparison.spacing)
    plane = fit_surface_plane(before)
    off = plane.at(*np.meshgrid(comparison.x, comparison.y))
    heights = (comparison.before_heights, comparison.after_heights)
    panels = []
    for day, survey, height in zip(DAYS, comparison.surveys, heights, strict=True):
        name = f"{day}, {cut(survey.date, 24)}" if survey.date else day
        panels.append(Panel(name, replace(before, height=height - off), survey))
    return heat_maps(panels, comparison.surveys[1].surface, unit, width, tallest=2.6)


def _difference(comparison: Comparison, unit: str, width: float) -> Figure:
    surface = Surface(x=comparison.x, y=comparison.y, height=comparison.difference, spacing=comparison.spacing)
    wide, high = seen_size(surface, comparison.surveys[1])
    tall = min(2.4, max(2.2, (width - 2.2) * high / max(wide, 1.0)))
    figure = new_figure(width, tall + 1.35)
    ax = figure.add_axes((0.66 / width, 0.72 / (tall + 1.35), 1 - 0.8 / width, tall / (tall + 1.35)))
    difference_map(comparison, unit=unit, title="", ax=ax)
    return figure


def _likely(one: Judged, unit: str) -> str:
    if one.finding is None:
        return "not measured"
    middle, low, high = (number(one, value, unit) for value in one.likely())
    if middle == "-":
        return f"{number(one, one.finding.measured.value, unit)}, as read"
    return f"{middle} ({low} to {high})"


def _verdict(one: Judged) -> str:
    chance, word = percent(one.chance), one.verdict.upper()
    rests = f", {one.between} between"
    if one.verdict == PASS and one.between == ASSUMED:
        word, rests = f"{word} at the stations", ""
    return f"{word}{'' if chance == '-' else f', chance {chance}'}{rests}"


def _limits(comparison: Comparison, unit: str) -> list[list[str]]:
    """Each limit: what it is called, what it allows, how each day stands to it, and who sets it."""
    if comparison.assessments is None:
        return []
    rows = []
    for one, other in zip(*(found.judged for found in comparison.assessments), strict=True):
        limit = one.limit
        name = f"{limit.everyday} ({limit.name})" if limit.everyday else limit.name
        days = (f"{_likely(judged, unit)}: {_verdict(judged)}" for judged in (one, other))
        rows.append([name, describe(limit, unit), *days, source_of(limit)])
    return rows


def _done(comparison: Comparison, unit: str) -> tuple[list[str], list[list[str]]]:
    if comparison.plan is None:
        return [], []
    head = ["Part", "Planned", "Done", "Worst", "Agree", "Status"]
    rows = []
    words = [row for row in _rows(comparison) if row["what"] == "patch"] or _rows(comparison)
    for row in words:
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
    words = fine(tolerance_of(plan, given), unit)
    return words if given is not None else f"{words}, twice what a height is set to"


def _more_draws(comparison: Comparison) -> str:
    judged = [one for found in comparison.assessments or () for one in found.judged]
    most = max((len(one.used) for one in judged), default=0)
    return f"; up to {most} draws of a limit near the line of a verdict" if most > comparison.draws else ""


def _notes(comparison: Comparison, unit: str) -> list[str]:
    """What else must be known; what the heights rest on stands on the first page."""
    notes = list(comparison.notes)
    for day, survey in zip(("before", "after"), comparison.surveys, strict=True):
        notes += [
            f"{day}: {problem.cell or ''} {problem.what}".replace(":  ", ": ")
            for problem in survey.notes
            if not any(problem.what in text for text in comparison.warnings)
        ]
    rests, after = say(comparison.alignment.rests_on, unit), comparison.surveys[1]
    return [words for note in notes if rests not in (words := sentence(note, unit, after))]
