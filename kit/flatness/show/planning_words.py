"""A plan of readings in words: the grids that may be taken, which one will do, and what was assumed."""

from __future__ import annotations

import textwrap

from flatness.limits.planning import ReadingPlan
from flatness.limits.wording import caution, describe
from flatness.show.words import WIDTH, in_unit, length, percent, position
from flatness.survey.blank import AXES
from flatness.survey.readings import Framing

HEAD = ("step", "grid", "readings", "undecided", "wrong", "")
ON_SITE = (
    "Type readings into the workbook: its cells are text, so that 3/8 stays 3/8. A spreadsheet that opens the CSV may "
    "turn 3/8 into a date; type 0 3/8 or 0.375 there."
)


def plan_report(plan: ReadingPlan, unit: str, step: float) -> str:
    """The whole plan as text for a terminal, at most 80 wide; ``step`` [mm] is the grid of the sheet."""
    blocks = [_heading(plan, unit), _table(plan, unit, step), recommendation(plan, unit)]
    blocks.append("\n".join(["Worth knowing", *(_item(f"{note}.", unit) for note in plan.notes)]))
    axes = AXES[plan.surface]
    blocks.append("\n".join(textwrap.wrap(f"{axes[:1].upper()}{axes[1:]}. {ON_SITE}", WIDTH)))
    return "\n\n".join(blocks)


def member_report(readings: int, step: float, framing: Framing, surface: str, unit: str) -> str:
    """What a sheet with stations on every member asks for, as text for a terminal, at most 80 wide."""
    text = (
        f"Read every member: {readings} readings, on each member {position(step, unit)} apart along {framing.along}, "
        "and at the walls. A proud member cannot hide between the stations then, so that a pass rests on what was read."
    )
    axes = AXES[surface]
    blocks = (text, f"{axes[:1].upper()}{axes[1:]}. {ON_SITE}")
    return "\n\n".join("\n".join(textwrap.wrap(one, WIDTH)) for one in blocks)


def recommendation(plan: ReadingPlan, unit: str) -> str:
    """Which grid to take, in a sentence or two."""
    enough = percent(plan.target)
    if plan.recommended is None:
        text = (
            f"No grid here is expected to end undecided in {enough} of surfaces or fewer. Take the narrowest, a more "
            "accurate instrument, or reckon with a second visit: a check says where more readings decide."
        )
    else:
        row = plan.grids[plan.grids["step_mm"] == plan.recommended].iloc[0]
        text = (
            f"Recommended: readings {position(plan.recommended, unit)} apart, {int(row['readings'])} of them. It is "
            f"the widest grid here that is expected to end undecided in {enough} of surfaces or fewer "
            f"({percent(float(row['undecided']))}), at {100 * plan.confidence:g} % confidence."
        )
    return "\n".join(textwrap.wrap(text, WIDTH))


def _heading(plan: ReadingPlan, unit: str) -> str:
    first = (
        f"{plan.surface}, {position(plan.length, unit)} along x by {position(plan.width, unit)} along y, readings good "
        f"to {length(plan.accuracy, unit)} (1 s.d.), to be held against"
    )
    lines = textwrap.wrap(first, WIDTH)
    for limit in plan.limits:
        sure = caution(limit)
        text = f"{limit.name}: {describe(limit, unit)}{f' ({sure})' if sure else ''}"
        lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
    return "\n".join(lines)


def _table(plan: ReadingPlan, unit: str, step: float) -> str:
    rows = [HEAD]
    for row in plan.grids.to_dict("records"):
        here = float(row["step_mm"])
        marks = ["recommended"] if here == plan.recommended else []
        marks += ["on the sheet"] if abs(here - step) < 1e-6 else []
        rows.append((
            position(here, unit), f"{row['columns']} x {row['rows']}", str(row["readings"]),
            f"{percent(float(row['undecided']))} ± {100 * float(row['error']):.0f}", percent(float(row["wrong"])),
            ", ".join(marks),
        ))  # fmt: skip
    widths = [max(len(row[i]) for row in rows) for i in range(len(HEAD) - 1)]
    lines = []
    for cells in rows:
        numbers = [text.rjust(wide) for text, wide in zip(cells[:-1], widths, strict=True)]
        lines.append("  ".join([*numbers, cells[-1]]).rstrip())
    lines.insert(1, "-" * max(len(line) for line in lines))
    return "\n".join(lines)


def _item(text: str, unit: str) -> str:
    return "\n".join(textwrap.wrap(in_unit(text, unit), WIDTH, initial_indent="  - ", subsequent_indent="    "))
