"""What the planned surface does at the doors, stairs, thresholds and trims of a job, a line each, for an owner."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from flatness.corrections.consequences import RISERS_MM, STEP_MM, Door, Feature, Headroom, Threshold
from flatness.corrections.reveal import Reveal
from flatness.errors import FlatnessError
from flatness.job.running import Results
from flatness.lengths import format_length
from flatness.limits.verdict import FAIL, PASS
from flatness.show.papers.plain import about, away, capital, exactly, roughly

ALL_OF_THEM = "Doors, stairs and trims"


def meets(job: Results, unit: str, past: bool = False) -> list[tuple[str, str]]:
    """A name and a sentence for each thing of a job that fails, or that nobody can judge; one where all pass.

    Parameters
    ----------
    job : whose plan is looked at, with the layers to come
    unit : ``in`` or ``mm``
    past : whether the work is over: what is told is the plan all the same, and the sentences say so
    """
    features, lines = job.job.features, job.job.reveals
    if not features and not lines:
        return []
    if job.plan is None:
        return [(ALL_OF_THEM, "The job names them, but plans no work, so that nobody has looked at them.")]
    try:
        rows, reveals = job.consequences.to_dict("records"), job.reveals
    except FlatnessError as error:
        why = "; ".join(problem.what for problem in error.problems)
        return [(ALL_OF_THEM, f"The job names them, but nobody can judge them: {why}.")]
    basis = "By the plan, and not measured afterwards, " if past else "Done as planned, "
    told = [
        (capital(feature.name), f"{basis}{_met(feature, row, unit)}.")
        for feature, row in zip(features, rows, strict=True)
        if row["verdict"] != PASS
    ]
    told += [
        (capital(name), f"{basis}{_along(found, unit)}.") for name, found in reveals.items() if found.verdict != PASS
    ]
    if told:
        left = len(features) + len(lines) - len(told)
        name, says = told[-1]
        return [*told[:-1], (name, f"{says} {_others(left)}")] if left else told
    return [(ALL_OF_THEM, f"{basis}all {len(features) + len(lines)} that the job names are as they should be.")]


def failing(job: Results, unit: str) -> list[tuple[str, str]]:
    """A name and a sentence for each thing of a job that the planned work makes fail; none where nobody can judge."""
    if job.plan is None or not job.job.features:
        return []
    rows = job.consequences.to_dict("records")
    return [
        (capital(feature.name), f"{capital(_met(feature, row, unit))}.")
        for feature, row in zip(job.job.features, rows, strict=True)
        if row["verdict"] == FAIL
    ]


def _others(count: int) -> str:
    if count == 1:
        return "The other one that the job names is as it should be."
    return f"The other {count} that the job names are as they should be."


def _met(feature: Feature, row: Mapping[Any, Any], unit: str) -> str:
    after, fails = float(row["after_mm"]), row["verdict"] == FAIL
    if isinstance(feature, Threshold):
        allowed = STEP_MM if feature.allowed is None else feature.allowed
        side = "above" if after > 0 else "below"
        return (
            f"the floor lies {roughly(after, unit, allowed)} {side} the next room's there, and up to "
            f"{exactly(allowed, unit)} is allowed"
        )
    if isinstance(feature, Door):
        if after <= 0:
            return f"the door strikes the floor, by {roughly(after, unit)}"
        return f"{roughly(after, unit, feature.least or 0.0)} is left under it, and at least " \
               f"{exactly(feature.least or 0.0, unit)} is needed"  # fmt: skip
    if isinstance(feature, Headroom):
        clear = format_length(after, "ft" if unit == "in" else "mm", 8)
        if not fails or feature.least is None:
            return f"{clear} is left there, and nobody has said what is needed"
        return f"only {clear} is left there, and {format_length(feature.least, 'ft' if unit == 'in' else 'mm', 8)} " \
               "is needed"  # fmt: skip
    if not fails or math.isnan(after):
        return "nobody can say whether its steps stay alike: none of them was measured"
    return f"its steps differ by {roughly(after, unit, RISERS_MM)}, and up to {exactly(RISERS_MM, unit)} is allowed"


def _along(found: Reveal, unit: str) -> str:
    parts = list(_gaps(found, unit))
    if found.verdict == FAIL and parts:
        return "; ".join(parts)
    why = "part of it was not measured" if found.note else "nobody has said how even it has to be"
    return f"it is not settled whether the gap along it looks even enough: {why}"


def _gaps(found: Reveal, unit: str) -> Iterator[str]:
    off, change = abs(found.departure.value), found.change.value
    if found.tolerance is not None and off > found.tolerance:
        yield (
            f"the gap along it is off by {roughly(off, unit, found.tolerance)}, and up to "
            f"{exactly(found.tolerance, unit)} is agreed"
        )
    if found.change_tolerance is not None and change > found.change_tolerance:
        yield (
            f"the gap along it changes by {about(change, unit, found.change_tolerance)} within "
            f"{away(found.change_over, unit)}, and up to {exactly(found.change_tolerance, unit)} is agreed"
        )
