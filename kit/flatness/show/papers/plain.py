"""What a survey, a plan and a comparison say to whoever owns the room: no term of the trade, no false precision."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd

from flatness.comparison.comparing import Comparison
from flatness.corrections.plan import Plan
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, format_against, settle
from flatness.limits.kinds import UNITLESS, Limit
from flatness.limits.verdict import FAIL, PASS, UNDECIDED, Assessment, Judged
from flatness.limits.wording import show_length
from flatness.measures.planes import fit_surface_plane
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey

DONE = {
    "plane": "planed or ground down", "fill": "filled", "sister": "raised with straight lumber beside the joists",
    "fur": "packed out with shims", "engineer": "left until an engineer has looked at it",
}  # fmt: skip
RESULTS = {PASS: "good enough", FAIL: "not good enough", UNDECIDED: "not settled yet"}


def about(mm: float, unit: str, allowed: float = math.inf) -> str:
    """A small length as one says it, coarse, but never on the wrong side of what is allowed.

    >>> about(12.4, "in"), about(4.77, "in", 4.7625), about(25.4, "in"), about(12.4, "mm")
    ('1/2 inch', '0.19 inch', '1 inch', '12 mm')
    """
    value, bound = settle(abs(mm)), settle(allowed)
    least, name = (25.4 / 16, "1/16 inch") if unit == "in" else (1.0, "1 mm")
    if 0 < value < least <= bound:
        return f"less than {name}"
    if unit == "mm":
        whole = math.floor(value + 0.5)
        return f"{whole} mm" if (whole > bound) == (value > bound) else format_against(value, allowed, unit)
    number = format_against(value, allowed, unit, 8 if value >= 25.4 / 2 else 16).removesuffix('"')
    return f"{number} {'inches' if _is_many(number) else 'inch'}"


def exactly(mm: float, unit: str) -> str:
    """What a limit allows, which is never rounded to a coarser number.

    >>> exactly(4.7625, "in"), exactly(5, "mm"), exactly(5, "in"), exactly(4.7625, "mm")
    ('3/16 inch', '5 mm', '5 mm', '3/16 inch (about 5 mm)')
    """
    text = show_length(mm, unit)
    if "(" in text:  # no fraction of a tape, or no round number of mm: as it was set
        text = show_length(mm, "source")
        if unit == "mm" and '"' in text:
            return f"{exactly(mm, 'in')} (about {max(1, round(mm))} mm)"
    number = text.removesuffix('"')
    return f"{number} {'inches' if _is_many(number) else 'inch'}" if number != text else text


def roughly(mm: float, unit: str, allowed: float = math.inf) -> str:
    """As :func:`about`, with that word before it where it fits."""
    text = about(mm, unit, allowed)
    return text if text.startswith("less") else f"about {text}"


def _is_many(number: str) -> bool:
    return " " in number or (number.replace(".", "").isdigit() and float(number) > 1)


def away(mm: float, unit: str) -> str:
    """A long length as one says it: ``10 feet``, ``2 m``."""
    if unit != "in":
        return f"{mm / 1000:.2f}".rstrip("0").rstrip(".") + " m"
    feet = mm / 304.8
    return f"{round(feet)} feet" if abs(feet - round(feet)) < 1e-6 and feet >= 3 else about(mm, "in")


def area(mm2: float, unit: str) -> str:
    """An area in two figures at most.

    >>> area(8.1e6, "in"), area(8.14e6, "mm")
    ('87 square feet', '8.1 square metres')
    """
    value, name = (mm2 / MM2_PER_FT2, "square feet") if unit == "in" else (mm2 / MM2_PER_M2, "square metres")
    if value <= 0:
        return f"no {name}"
    digits = 1 - math.floor(math.log10(value))
    return (
        f"{round(value, digits):.{max(0, min(digits, 1))}f} {name}" if value >= 0.1 else f"a spot of under 0.1 {name}"
    )


def quality(limit: Limit) -> str:
    """What a limit is about, as an adjective."""
    if limit.kind in ("level", "level-rule", "slope", "fl"):
        return "level"
    return {"plumb": "upright", "neighbours": "even", "step": "even"}.get(limit.kind, "flat")


def speaking(assessment: Assessment) -> Judged | None:
    """The limit that speaks for all: of the worst verdict, under a straightedge if one is, used up most."""
    rank = {FAIL: 0, UNDECIDED: 1, PASS: 2}

    def order(one: Judged) -> tuple[int, bool, float]:
        used = one.finding.used if one.finding is not None else 0.0
        return rank[one.verdict], one.limit.kind != "straightedge", -used

    return min(assessment.judged, key=order, default=None)


def stands(assessment: Assessment, unit: str, now: str = "is") -> str:
    """Whether the surface is good enough, and by how much, in one sentence."""
    one = speaking(assessment)
    survey = assessment.subject.survey
    if one is None:
        return lies(survey, assessment.subject.surface, unit)
    subject = f"the {survey.surface}"
    purpose = f"its use ({one.limit.purpose})" if one.limit.purpose else "this project"
    if one.finding is None:
        return f"These readings cannot tell whether {subject} {now} {quality(one.limit)} enough for {purpose}."
    opening = {
        PASS: f"The {survey.surface} {now} {quality(one.limit)} enough for {purpose}",
        FAIL: f"The {survey.surface} {now} not {quality(one.limit)} enough for {purpose}",
        UNDECIDED: f"It is not settled yet whether {subject} {now} {quality(one.limit)} enough for {purpose}",
    }[one.verdict]
    return f"{opening}: {_amount(one, unit)}."


def _amount(one: Judged, unit: str) -> str:
    assert one.finding is not None
    allowed, kind = one.finding.allowed, one.limit.kind
    middle, low, high = one.likely()
    found = one.finding.measured.value if math.isnan(middle) else middle
    if kind in UNITLESS:
        settled = {PASS: "it keeps within", FAIL: "it does not keep within", UNDECIDED: "it may keep within"}
        return f"{settled[one.verdict]} the limit in the table below"
    if one.verdict == UNDECIDED and math.isfinite(low):
        size = f"somewhere from {about(low, unit)} to {about(high, unit)}"
    else:
        size = roughly(found, unit, allowed)
    may = f"and up to {exactly(allowed, unit)} is allowed"
    if kind in ("straightedge", "straightedge-share") and one.limit.length is not None:
        return f"under a straight bar {away(one.limit.length, unit)} long the largest gap is {size}, {may}"
    return f"it is off by {size}, {may}"


def lies(survey: Survey, surface: Surface, unit: str) -> str:
    """How uneven a surface is, where no limit was asked for."""
    off = fit_surface_plane(surface).deviations
    flat = f"it departs from flat by {roughly(float(np.nanmax(np.abs(off))), unit)} at most"
    if not surface.is_level or survey.surface == "wall":
        return f"The {survey.surface} is not quite flat: {flat}."
    fall = about(float(np.nanmax(surface.height) - np.nanmin(surface.height)), unit)
    return f"From its lowest to its highest place the {survey.surface} differs by about {fall}, and {flat}."


def will_be_done(plan: Plan, unit: str) -> str:
    """What a plan is going to do, in one sentence."""
    parts = [_part(str(action), group, unit) for action, group in plan.patches.groupby("action", sort=False)]
    parts = [part for part in parts if part]
    if not parts:
        return "Nothing needs to be done."
    text = f"{_listed(parts)}; the rest stays as it is"
    bags = int(plan.quantities.bags)
    if bags:
        text += f". It takes about {bags} bag{'s' if bags > 1 else ''} of fill"
    return f"{text[:1].upper()}{text[1:]}."


def _part(action: str, group: pd.DataFrame, unit: str) -> str:
    if action not in DONE:
        return ""
    size = area(float(group["area_mm2"].sum()), unit)
    most = float(group["greatest_mm"].abs().max())
    by = "" if action == "engineer" or not most else f", by up to {about(most, unit)}"
    return f"about {size} will be {DONE[action]}{by}"


def will_be(plan: Plan, unit: str) -> str:
    """What the surface is going to be like when a plan is carried out, in one sentence."""
    rows = [row for row in plan.after.to_dict("records") if math.isfinite(row["after_mm"])]
    kind = plan.survey.surface
    if not rows:
        return f"What the {kind} will be like afterwards could not be worked out from these readings."
    row = max(rows, key=lambda row: (not row["passes"], row["after_mm"] / row["allowed_mm"]))
    limit = {limit.name: limit for limit in plan.limits}.get(str(row["limit"]))
    size, allowed = roughly(row["after_mm"], unit, row["allowed_mm"]), exactly(row["allowed_mm"], unit)
    what = "it should be off by"
    if limit is not None and limit.kind == "straightedge" and limit.length is not None:
        what = f"the largest gap under a straight bar {away(limit.length, unit)} long should be"
    within = f"within the {allowed} allowed" if row["passes"] else f"still more than the {allowed} allowed"
    doubt = ""
    if row["passes"] and any(other["verdict"] != PASS for other in rows):
        doubt = "; these readings are not close enough to be sure of it, so it has to be measured again afterwards"
    return f"Done as planned, {what} {size}, {within}{doubt}."


def was_done(found: Comparison, unit: str) -> str:
    """What was done between two surveys, in one sentence."""
    parts = []
    for kind, verb, most in (("cut", "lowered", np.nanmin), ("fill", "raised", np.nanmax)):
        size = float(found.areas["area_mm2"].to_dict()[kind])
        if size > 0:
            by = about(float(most(np.where(found.changed, found.difference, 0.0))), unit)
            parts.append(f"about {area(size, unit)} {_way(verb, found.surveys[1].surface)} by up to {by}")
    if not parts:
        return "No change shows between the two surveys that is larger than their own errors."
    told = _listed(parts)
    return f"{told[:1].upper()}{told[1:]}{_against_plan(found)}."


def _way(verb: str, surface: str) -> str:
    if surface == "floor":
        return f"was {verb}"
    return f"was {'taken back' if verb == 'lowered' else 'built out'}"


def _against_plan(found: Comparison) -> str:
    if found.plan is None:
        return ""
    statuses = [row["status"] for row in found.plan.to_dict("records") if row["what"] == "patch"]
    within = sum(status == "within tolerance" for status in statuses)
    return f"; {within} of the {len(statuses)} planned places came out as planned" if statuses else ""


def _listed(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def paragraphs(
    survey: Survey, assessment: Assessment | None, plan: Plan | None, found: Comparison | None, unit: str
) -> list[dict[str, Any]]:
    """The three sentences, each with what it answers."""
    now = "was" if found is not None else "is"
    first = (
        stands(assessment, unit, now) if assessment is not None else lies(survey, survey.surface_at(), unit)
    )  # fmt: skip
    out = [{"asks": "Where it stood" if found is not None else "Where it stands", "says": first}]
    if found is not None:
        out.append({"asks": "What was done", "says": was_done(found, unit)})
        if found.assessments is not None:
            out.append({"asks": "What it is like now", "says": stands(found.assessments[1], unit)})
        else:
            after = found.surveys[1]
            out.append({"asks": "What it is like now", "says": lies(after, after.surface_at(), unit)})
    elif plan is not None:
        out.append({"asks": "What will be done", "says": will_be_done(plan, unit)})
        out.append({"asks": "What it will be like", "says": will_be(plan, unit)})
    else:
        out.append({"asks": "What will be done", "says": "Nothing is planned yet."})
    return out
