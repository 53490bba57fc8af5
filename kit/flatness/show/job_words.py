"""What a plan meets (doors, stairs, thresholds, overhead, reveals) in words, and a whole job as text, 80 wide."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from typing import Any

import pandas as pd

from flatness.corrections.cautions import CAUTIONS, in_order
from flatness.corrections.finished import build_up
from flatness.corrections.reveal import Reveal
from flatness.job.running import Results
from flatness.show.check_words import report
from flatness.show.compared import columns, comparison_report
from flatness.show.datum_words import signed
from flatness.show.plan_words import plan_report
from flatness.show.words import WIDTH, indented, length, place, position, sentence

WHAT = {"door": "gap under it", "stair": "risers differ by", "threshold": "step", "headroom": "clear height"}


def job_report(done: Results) -> str:
    """Check, plan, what the plan meets, and what was done, as far as the job asks for them."""
    unit, parts = done.job.show, []
    if done.assessment is not None:
        parts.append(("As found", report(done.assessment, unit)))
    if done.plan is not None:
        plan = done.plan if done.quantities is None else replace(done.plan, quantities=done.quantities)
        if build_up(done.job.layers) > 0:
            # layers are weight that is added too
            plan = replace(plan, cautions=in_order((*plan.cautions, CAUTIONS["load"], CAUTIONS["authority"])))
        told = plan_report(plan, unit, done.schedule, done.ways, done.job.layers)
        parts.append(("The plan", told))
    said = [] if done.plan is None else [one.text for one in done.plan.cautions]
    met = [consequences_text(done.consequences, unit, said)] if len(done.consequences) else []
    met += [reveal_text(name, found, unit) for name, found in done.reveals.items()]
    if met:
        parts.append(("What the finished surface meets", "\n\n".join(met)))
    if done.comparison is not None:
        parts.append(("What was done", comparison_report(done.comparison, unit)))
    notes = [indented(sentence(note, unit), "- ") for note in done.notes]
    blocks = [f"{title.upper()}\n{'=' * WIDTH}\n{text}" for title, text in parts]
    return "\n\n\n".join([*blocks, *notes])


def consequences_text(table: pd.DataFrame, unit: str, said: Collection[str] = ()) -> str:
    """What the change and the layers do at doors, stairs, thresholds and overhead: a few lines each.

    Cautions that were ``said`` before are left out.
    """
    lines = ["Doors, stairs, thresholds, overhead"]
    for row in table.to_dict("records"):
        caution = str(row["caution"])
        for text in said:
            caution = caution.replace(text, "")
        head, *rest = _met({**row, "caution": caution}, unit)
        lines += [indented(head), *(indented(sentence, "    ") for sentence in rest)]
    return "\n".join(lines)


def _met(row: Mapping[Any, Any], unit: str) -> Iterator[str]:
    at = place((float(row["x_mm"]), float(row["y_mm"])), unit)
    yield f"{row['verdict'].upper()}  {row['name']} ({row['kind']}), at {at}"
    before, after = float(row["before_mm"]), float(row["after_mm"])
    say = signed if row["kind"] in ("threshold", "door") else length
    rise = float(row["rise_mm"])
    moves = f"{'rises' if rise >= 0 else 'falls'} {length(abs(rise), unit)} there, layers included"
    yield f"The floor {moves}; {WHAT[str(row['kind'])]}: {say(before, unit)} before, {say(after, unit)} after."
    for key in ("limit", "caution"):
        text = str(row[key]).strip()
        if text:
            yield sentence(text, unit)


def reveal_text(name: str, found: Reveal, unit: str) -> str:
    """The reveal along one line: verdict, largest departure and change, and where to scribe."""
    agreed = "" if found.tolerance is None else f", plus or minus {length(found.tolerance, unit)}"
    lines = [
        f"Reveal: {name}",
        indented(
            f"{found.verdict.upper()}: nominal {length(found.nominal, unit)}{agreed}. Largest departure "
            f"{signed(found.departure.value, unit)}{_there(found.departure.at, unit)}; largest change over "
            f"{position(found.change_over, unit)}: {length(found.change.value, unit)}."
        ),
    ]
    if len(found.scribe):
        lines.append(indented(f"Lower the trim by {length(found.lower_by, unit)}, then scribe:"))
        rows = [["from", "to", "gap", "off by", "scribe"]]
        for row in found.scribe.to_dict("records"):
            rows.append([
                position(float(row["from_mm"]), unit), position(float(row["to_mm"]), unit), str(row["gap"]),
                signed(float(row["departure_mm"]), unit), length(float(row["scribe_mm"]), unit),
            ])  # fmt: skip
        lines += [f"    {line}" for line in columns(rows, left=(0, 1, 2), most=WIDTH - 4)]
    if found.note:
        lines.append(indented(sentence(found.note, unit)))
    return "\n".join(lines)


def _there(at: tuple[float, float] | None, unit: str) -> str:
    return "" if at is None or any(math.isnan(value) for value in at) else f" at {place(at, unit)}"
