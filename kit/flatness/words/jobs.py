"""What a plan meets (doors, stairs, thresholds, overhead, reveals) in words, and a whole job as text, 80 wide."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from flatness.framing.reveal import Reveal
from flatness.job.running import Results
from flatness.notes import joined
from flatness.surroundings.cautions import CAUTIONS, in_order
from flatness.surroundings.finished_surface import build_up
from flatness.survey.readings import Survey
from flatness.words.checks import report
from flatness.words.comparisons import comparison_report
from flatness.words.phrases import sentence
from flatness.words.plans import plan_report
from flatness.words.printed import WIDTH, columns, indented, length, place, position, signed

WHAT = {"door": "gap under it", "stair": "risers differ by", "threshold": "step", "headroom": "clear height"}


def job_report(done: Results) -> str:
    """Check, plan, what the plan meets, and what was done, as far as the job asks for them."""
    unit, parts, survey = done.job.show, [], done.job.before.survey
    if done.assessment is not None:
        parts.append(("As found", report(done.assessment, unit)))
    if done.plan is not None:
        plan = done.plan if done.quantities is None else replace(done.plan, quantities=done.quantities)
        if build_up(done.job.layers) > 0:
            # layers are weight that is added too
            plan = replace(plan, cautions=in_order((*plan.cautions, CAUTIONS["load"], CAUTIONS["authority"])))
        wording = plan_report(plan, unit, done.schedule, done.ways, done.job.layers)
        parts.append(("The plan", wording))
    said = [] if done.plan is None else [one.text for one in done.plan.cautions]
    met = [consequences_text(done.consequences, unit, said, survey)] if len(done.consequences) else []
    met += [reveal_text(name, found, unit, survey) for name, found in done.reveals.items()]
    if met:
        parts.append(("What the finished surface meets", "\n\n".join(met)))
    if done.comparison is not None:
        parts.append(("What was done", comparison_report(done.comparison, unit)))
    notes = [indented(sentence(note, unit), "- ") for note in done.notes]
    blocks = [f"{title.upper()}\n{'=' * WIDTH}\n{text}" for title, text in parts]
    return "\n\n\n".join([*blocks, *notes])


def consequences_text(table: pd.DataFrame, unit: str, said: Collection[str] = (), survey: Survey | None = None) -> str:
    """What the change and the layers do at doors, stairs, thresholds and overhead: a few lines each.

    Cautions that were ``said`` before are left out.
    """
    lines, known = ["Doors, stairs, thresholds, overhead"], {text.rstrip(".") for text in said}
    for row in table.to_dict("records"):
        parts = getattr(row["caution"], "values", {}).get("parts", (row["caution"],))
        left = joined((one for one in parts if one.rstrip(".") not in known), "sentences")
        head, *rest = _met({**row, "caution": left}, unit, survey)
        lines += [indented(head), *(indented(sentence, "    ") for sentence in rest)]
    return "\n".join(lines)


def _met(row: Mapping[Any, Any], unit: str, survey: Survey | None) -> Iterator[str]:
    at = place((float(row["x_mm"]), float(row["y_mm"])), unit, survey)
    yield f"{row['verdict'].upper()}  {row['name']} ({row['kind']}), at {at}"
    before, after = float(row["before_mm"]), float(row["after_mm"])
    shown = signed if row["kind"] in ("threshold", "door") else length
    rise = float(row["rise_mm"])
    moves = f"{'rises' if rise >= 0 else 'falls'} {length(abs(rise), unit)} there, layers included"
    yield f"The floor {moves}; {WHAT[str(row['kind'])]}: {shown(before, unit)} before, {shown(after, unit)} after."
    yield from (sentence(row[key], unit) for key in ("limit", "caution") if row[key])


def reveal_text(name: str, found: Reveal, unit: str, survey: Survey | None = None) -> str:
    """The reveal along one line: verdict, largest departure and change, and where to scribe."""
    agreed = "" if found.tolerance is None else f", plus or minus {length(found.tolerance, unit)}"
    lines = [
        f"Reveal: {name}",
        indented(
            f"{found.verdict.upper()}: nominal {length(found.nominal, unit)}{agreed}. Largest departure "
            f"{signed(found.departure.value, unit)}{_there(found.departure.at, unit, survey)}; largest change over "
            f"{position(found.change_over, unit)}: {length(found.change.value, unit)}."
        ),
    ]
    if len(found.scribe):
        lines.append(indented(f"Lower the trim by {length(found.lower_by, unit)}, then scribe:"))
        rows = [["from", "to", "gap", "off by", "scribe"]]
        for row in found.scribe.to_dict("records"):
            rows.append(
                [
                    position(float(row["from_mm"]), unit),
                    position(float(row["to_mm"]), unit),
                    str(row["gap"]),
                    signed(float(row["departure_mm"]), unit),
                    length(float(row["scribe_mm"]), unit),
                ]
            )
        lines += [f"    {line}" for line in columns(rows, left=(0, 1, 2), most=WIDTH - 4)]
    if found.note:
        lines.append(indented(sentence(found.note, unit)))
    return "\n".join(lines)


def _there(at: tuple[float, float] | None, unit: str, survey: Survey | None) -> str:
    return "" if at is None or any(math.isnan(value) for value in at) else f" at {place(at, unit, survey)}"
