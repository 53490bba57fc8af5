"""Parts of the record of a comparison: the surveys, how their levels close, the alignment, the amounts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from scipy.special import ndtri

from flatness.comparison.comparing import Comparison
from flatness.comparison.records import plan_terms
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, MM3_PER_FT3, MM3_PER_LITRE
from flatness.show.compared import ROWS
from flatness.show.datum_words import heights_from, known_ties, small, true_minus
from flatness.show.words import accuracy, in_unit, length
from flatness.survey.readings import Survey

NOT_STATED = "not stated"


def surveys(comparison: Comparison, found: Mapping[str, Any] | None, unit: str) -> list[list[str]]:
    """Who measured what with what and when, one row a thing, before and after side by side."""
    before, after = comparison.surveys
    rows = [
        ["title", before.title, after.title],
        ["date", before.date, after.date],
        ["by", before.keys.get("by", ""), after.keys.get("by", "")],
        ["instrument", before.keys.get("instrument", ""), after.keys.get("instrument", "")],
        ["surface", before.surface, after.surface],
        ["read", *(f"{survey.quantity}s, off a {survey.reference}" for survey in comparison.surveys)],
        ["readings", *(str(len(survey.points)) for survey in comparison.surveys)],
        ["one reading is good to", *(_accuracy(survey, unit) for survey in comparison.surveys)],
        ["benchmarks", *(_benchmarks(survey, unit) for survey in comparison.surveys)],
    ]
    if found is not None:
        for key, name in (("file", "file"), ("sha256", "SHA-256 of the file")):
            texts = [str(found["inputs"][day][key]) for day in ("before", "after")]
            rows.append([name, *(Path(text).name if key == "file" else text for text in texts)])
    return [[name, *(text or NOT_STATED for text in cells)] for name, *cells in rows]


def _accuracy(survey: Survey, unit: str) -> str:
    return NOT_STATED if survey.accuracy is None else f"{accuracy(survey.accuracy, unit)} (1 s.d.)"


def _benchmarks(survey: Survey, unit: str) -> str:
    told = (f"{label} {true_minus(length(height, unit))}" for label, height in survey.benchmarks.items())
    return ", ".join(told) or "none"


def levelling(day: str, survey: Survey, unit: str, confidence: float) -> dict[str, Any]:
    """How the set-ups of a survey close, in words and one row a loop or line; each may miss at a confidence."""
    adjustment = survey.adjustment
    heights = heights_from(survey, unit)
    told = f" {heights[:1].upper()}{heights[1:]}." if heights else ""
    if adjustment is None:
        says = f"All readings are of one set-up: there is no loop to close.{told}"
        rows = _tied(survey, unit)
        head = ["Benchmark", "Known height", f"Read, a {survey.quantity}", "Its height so", "Off by"]
        return {"day": day, "says": says, "head": head, "rows": rows}
    spare = adjustment.redundancy
    says = f"{told.strip()} Ties beyond those needed: {spare}."
    if math.isfinite(adjustment.m0) and spare:
        says += f" The ties scatter by {small(adjustment.m0, unit)} (1 s.d. of a reading)."
    if math.isfinite(adjustment.chance):
        says += f" Good readings would scatter as much with a chance of {100 * adjustment.chance:.0f} %."
    reach = float(ndtri((1 + confidence) / 2))
    rows = [
        [
            f"{row['kind']} {row['through']}", str(row["sights"]), true_minus(small(row["misclosure"], unit)),
            small(reach * row["error"], unit), _closes(row, reach, confidence),
        ]
        for row in adjustment.misclosures.to_dict("records")
    ]  # fmt: skip
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
    lines = [true_minus(in_unit(f"Aligned on {one.rests_on}.", unit, both=False))]
    if one.way != "none":
        offset, give = true_minus(small(one.offset, unit)), small(one.offset_error, unit)
        lines.append(f"The later datum stands {offset} off the earlier one, ± {give} (1 s.d.); that was taken out.")
    if one.way == "tilt":
        for axis, tilt, error in (("x", one.tilt_x, one.tilt_x_error), ("y", one.tilt_y, one.tilt_y_error)):
            lines.append(f"It tilts {tilt:+.2f} mm in a metre along {axis}, ± {error:.2f}; that was taken out too.")
    if not one.is_level_known:
        lines.append("Changes of level are not known.")
    return lines


def amounts(comparison: Comparison, unit: str) -> dict[str, Any]:
    """Areas and volumes, each with its standard error and the parts of that."""
    area, per_area = ("ft²", MM2_PER_FT2) if unit == "in" else ("m²", MM2_PER_M2)
    volume, per_volume = ("ft³", MM3_PER_FT3) if unit == "in" else ("litres", MM3_PER_LITRE)
    rows = []
    for table, what, in_, named, per in (
        (comparison.areas, "area", "mm2", area, per_area), (comparison.volumes, "volume", "mm3", volume, per_volume),
    ):  # fmt: skip
        for kind, row in table.iterrows():
            parts = [row[f"{part}_{in_}"] / per for part in (what, "error", "random", "correlated", "systematic")]
            rows.append([f"{ROWS[str(kind)]} [{named}]", *(_figure(part, parts[1]) for part in parts)])
    return {"head": ["Amount", "", "± (1 s.d.)", "readings", "between", "datum"], "rows": rows}


def _figure(value: float, error: float) -> str:
    """As many digits as the error warrants: two of its own."""
    if not math.isfinite(value):
        return "-"
    digits = 2 if error <= 0 or not math.isfinite(error) else max(0, 1 - math.floor(math.log10(error)))
    return true_minus(f"{value:.{min(digits, 4)}f}")


def plan_told(comparison: Comparison, found: Mapping[str, Any] | None) -> list[str]:
    """Which plan the work is held against: its title, strategy, limits, settings, file and the file's checksum."""
    plan = comparison.settings.get("plan")
    if plan is None:
        return []
    terms = plan_terms(plan)
    asked = ", ".join(f"{name} {value}" for name, value in terms["asked"].items())
    parts = [
        f"made for '{terms['title']}'" if terms["title"] else "", f"strategy {terms['strategy']}", asked,
        f"limits {', '.join(terms['limits'])}" if terms["limits"] else "",
    ]  # fmt: skip
    lines = [f"The plan: {'; '.join(part for part in parts if part)}."]
    file = (found or {}).get("plan")
    if file:
        lines.append(f"Its file: {Path(file['file']).name}, SHA-256 {file['sha256']}.")
    else:
        lines.append("It was made together with this record, from the survey before, and is no file of its own.")
    return lines
