"""Parts of the record of a comparison: the surveys, how their levels close, the alignment, the amounts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from flatness.comparison.comparing import Comparison
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, MM3_PER_FT3, MM3_PER_LITRE
from flatness.show.compared import ROWS
from flatness.show.words import length
from flatness.survey.readings import Survey

NOT_STATED = "not stated"


def small(mm: float, unit: str) -> str:
    """What an instrument shows and a tape does not: thousandths of an inch, hundredths of a millimetre."""
    if not math.isfinite(mm):
        return "-"
    return f'{mm / 25.4:.3f}"' if unit == "in" else f"{mm:.2f} mm"


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
            rows.append([name, *(str(found["inputs"][day][key]) for day in ("before", "after"))])
    return [[name, *(text or NOT_STATED for text in cells)] for name, *cells in rows]


def _accuracy(survey: Survey, unit: str) -> str:
    return NOT_STATED if survey.accuracy is None else f"{length(survey.accuracy, unit)} (1 s.d.)"


def _benchmarks(survey: Survey, unit: str) -> str:
    return ", ".join(f"{label} {length(height, unit)}" for label, height in survey.benchmarks.items()) or "none"


def levelling(day: str, survey: Survey, unit: str) -> dict[str, Any]:
    """How the set-ups of a survey close, in words and one row a loop or line."""
    adjustment = survey.adjustment
    if adjustment is None:
        says = "All readings are of one set-up: there is no loop to close."
        rows = _tied(survey, unit)
        says += " Its readings of benchmarks miss their known heights by:" if rows else ""
        return {"day": day, "says": says, "head": ["Benchmark", "Known", "Read", "Off by", ""], "rows": rows}
    spare = adjustment.redundancy
    says = f"{len(adjustment.setups)} set-ups, brought together by least squares; ties beyond those needed: {spare}."
    if math.isfinite(adjustment.m0) and spare:
        says += f" The ties scatter by {small(adjustment.m0, unit)} (1 s.d. of a reading)."
    if math.isfinite(adjustment.chance):
        says += f" Good readings would scatter as much with a chance of {100 * adjustment.chance:.0f} %."
    rows = [
        [
            f"{row['kind']} {row['through']}", str(row["sights"]), small(row["misclosure"], unit),
            small(row["allowed"], unit), _closes(row),
        ]
        for row in adjustment.misclosures.to_dict("records")
    ]  # fmt: skip
    return {
        "day": day, "says": says, "head": ["Loop or line", "Sights", "Misclosure", "Allowed", ""], "rows": rows
    }  # fmt: skip


def _tied(survey: Survey, unit: str) -> list[list[str]]:
    """One row a reading of a benchmark: the height known, the height that the set-up gives it, their difference."""
    rows = []
    for tie in survey.ties.to_dict("records"):
        known = survey.benchmarks.get(str(tie["label"]))
        if known is not None:
            off = float(tie["height"]) - known
            rows.append([str(tie["label"]), *(small(mm, unit) for mm in (known, float(tie["height"]), off)), ""])
    return rows


def _closes(row: Mapping[Any, Any]) -> str:
    if not math.isfinite(row["allowed"]):
        return "no accuracy to hold it against"
    return "closes" if abs(row["misclosure"]) <= row["allowed"] else "does not close"


def aligned(comparison: Comparison, unit: str) -> list[str]:
    """How the two datums were brought together, and how surely."""
    one = comparison.alignment
    lines = [f"Aligned on {one.rests_on}."]
    if one.way != "none":
        lines.append(
            f"The later datum stands {small(one.offset, unit)} off the earlier one, ± {small(one.offset_error, unit)} "
            "(1 s.d.); that was taken out."
        )
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
    return f"{value:.{min(digits, 4)}f}"
