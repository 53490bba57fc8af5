"""The crew sheet: the plan of the work to a stated scale, then what to set, what to do in turn, what to bring."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from flatness.corrections.plan import Plan
from flatness.corrections.schedule import Schedule
from flatness.errors import ArgumentError
from flatness.job.running import Results
from flatness.lengths import FRACTIONS, format_length
from flatness.limits.verdict import FAIL
from flatness.show import plan as maps
from flatness.show.datum_words import heights_from, true_minus
from flatness.show.done_words import least_told, state_after
from flatness.show.member_words import as_set_rows
from flatness.show.papers.crew_parts import (
    limit_rows,
    member_rows,
    patch_rows,
    quantity_rows,
    setting_rows,
    spot_rows,
    station_blocks,
    stock_rows,
)
from flatness.show.papers.drawing import draw, label_size
from flatness.show.papers.files import Paper
from flatness.show.papers.hatching import HATCHES, swatch
from flatness.show.papers.lettering import Drawn, Rule, rule_for, tape
from flatness.show.papers.meets import meets
from flatness.show.papers.pdf import cut, make_pdf, sheet_named
from flatness.show.papers.tiles import HEAD, LEFT, MARGIN, Layout, lay_out, room_on, scale_name
from flatness.show.scales import check_unit
from flatness.show.words import length, sentence, shown_unit
from flatness.survey.readings import Survey

BARS = {"in": (3048.0, 1524.0, 609.6, 304.8), "mm": (3000.0, 2000.0, 1000.0, 500.0)}  # lengths of the scale bar [mm]
EITHER = NEITHER = ""
KEY_CELL, KEY_GAP = 7.0, 8.0  # of the key to the sheets, and beside it [mm]
UNFINISHED = "The search for the least work was stopped early: a plan of less work may exist."
LEGENDS = {
    "plane": "plane or grind down (−)", "fill": "fill (+)", "sister": "sister (+)", "fur": "fur or shim (+)",
    "engineer": "wait for the engineer",
}  # fmt: skip


def crew_sheet(
    plan: Plan, schedule: Schedule | None = None, *, paper: str = "letter", unit: str | None = None,
    scale: float | None = None, fraction: int | None = None, made: datetime | None = None, title: str | None = None,
    job: Results | None = None,
) -> Paper:  # fmt: skip
    """The plan of the work for those who do it.

    Parameters
    ----------
    plan : what to do
    schedule : what each member is set to, where there are members
    paper : ``letter`` or ``a4``
    unit : ``in`` or ``mm``; None takes the survey's own
    scale : the plan is drawn so many times smaller; 48 is 1/4 in to 1 ft. None takes the usual scale of fewest sheets
        at which depths stand no more than 2 ft (600 mm) apart
    fraction : depths to the nearest 1/8, 1/16, 1/32 or 1/64 of an inch; None takes the coarsest from 1/16 on at which
        few patches' greatest depths are nothing. Where mm are shown: whole ones, or tenths, chosen so too
    made : when the sheet was made; None leaves it out, and the same input gives the same bytes
    title : of the job; None takes the survey's
    job : that the plan is of: what it does at its doors, stairs, thresholds and reveals

    Returns
    -------
    Paper : with a PDF form

    Raises
    ------
    ArgumentError : an unknown paper, unit or fraction, or a scale out of range
    """
    sheet = sheet_named(paper)
    unit = check_unit(shown_unit(plan.survey, unit))
    if fraction is not None and fraction not in FRACTIONS:
        raise ArgumentError("unknown fraction", column="fraction", value=str(fraction), expected="8, 16, 32 or 64")
    rule = rule_for(plan.patches["greatest_mm"], unit)
    if fraction is not None and unit == "in":
        rule = Rule(unit, fraction)
    size = label_size(plan, rule)
    layout = lay_out(maps.bounds_of(plan.surface, plan.survey), plan.surface.spacing, size, sheet, unit, scale)
    title = cut(title or plan.survey.title or plan.survey.source or f"The {plan.survey.surface}", 90)
    blocks, thinned = station_blocks(schedule, unit) if schedule is not None else ([], "")
    buy, cuts = stock_rows(plan, unit)
    notes = schedule.notes if schedule is not None else ()
    cautions = {caution.key: caution for caution in (*plan.cautions, *(schedule.cautions if schedule else ()))}
    data: dict[str, Any] = {
        "title": title, "short": cut(title, 50),
        "scale": scale_name(layout.scale, unit),
        "depths": _depths(plan, layout, rule),
        "sheets": [
            {"name": tile.name, "row": tile.row, "column": tile.column} | _json(draw(plan, tile, layout, rule))
            for tile in layout.tiles
        ],
        "rows": layout.rows, "columns": layout.columns, "flipped": layout.flipped,
        "width": layout.width, "height": layout.height,
        "margin": MARGIN, "left": LEFT, "top": HEAD, "key": [KEY_CELL, KEY_GAP],
        "bar": _bar(layout, unit, room_on(sheet, layout.flipped)[0] + LEFT),
        "hatches": _hatches(plan),
        "axes": _axes(plan, unit),
        "has_members": plan.members is not None,
        "patches": patch_rows(plan, rule),
        "members": member_rows(schedule, unit) if schedule is not None else [],
        "member_notes": [sentence(note, unit, both=False) for note in notes if note not in (EITHER, NEITHER)],
        "limits": limit_rows(plan, unit),
        "surveyed": _surveyed(plan.survey),
        "meets": [] if job is None else [list(one) for one in meets(job, unit)],
        "layers": "" if job is None else _layers(job, unit),
        "spots": spot_rows(plan, schedule, unit),
        "as_set": as_set_rows(schedule, unit) if schedule is not None and len(schedule.as_set) else [],
        "either": next((_either(plan, note) for note in notes if note in (EITHER, NEITHER)), ""),
        "blocks": _blocks(schedule, unit),
        "stations": blocks,
        "thinned": thinned,
        "datum": _datum(plan.survey, unit),
        "near": "" if plan.members is None else f"{plan.members.direction} = 0",
        "unit": "inches" if unit == "in" else "mm",
        "depth_unit": "inches" if unit == "in" else rule.says(),
        "quantities": quantity_rows(plan, unit),
        "settings": setting_rows(plan, unit),
        "buy": buy,
        "cuts": cuts,
        "notes": [sentence(note, unit, both=False) for note in plan.notes],
        "cautions": [[caution.text, caution.source] for caution in cautions.values()],
        "unfinished": "" if plan.finished else UNFINISHED,
    }  # fmt: skip
    return Paper(title, make_pdf("crew.typ", data, {}, paper, made))


def _json(drawn: Drawn) -> dict[str, Any]:
    lines = [[*(round(value, 4) for value in line[:4]), line[4]] for line in drawn.lines]
    return {"lines": lines, "texts": drawn.texts, "across": drawn.across, "up": drawn.up}


def _depths(plan: Plan, layout: Layout, rule: Rule) -> str:
    step = layout.stride * plan.surface.spacing
    shown = f"Depths in {rule.says()}: + add, − take off, 0 leave. Shown every {tape(step, rule.unit)}"
    if layout.stride > 1:
        reckoned = format_length(plan.surface.spacing, rule.unit)
        shown += f" (the plan has one every {reckoned}); the greatest depth of a patch is in the list, and beside its "
        shown += "number where there is room"
    return f"{shown}."


def _bar(layout: Layout, unit: str, wide: float) -> dict[str, Any]:
    """The scale bar, as long as the sheet's width [mm] has room for beside the key."""
    room = wide - KEY_GAP - KEY_CELL * layout.columns
    length = next((mm for mm in BARS[unit] if mm / layout.scale <= room), BARS[unit][-1])
    on_paper = length / layout.scale
    return {
        "length": on_paper, "name": tape(length, unit),
        "says": f"this bar is {format_length(on_paper, unit, 32)} long where the print is to scale",
    }  # fmt: skip


def _hatches(plan: Plan) -> list[dict[str, Any]]:
    used = list(dict.fromkeys(plan.patches["action"].astype(str)))
    return [{"lines": swatch(action, 12.0, 6.0), "name": LEGENDS[action]} for action in used if action in HATCHES]


def _axes(plan: Plan, unit: str) -> str:
    metres = "" if unit == "in" else ", in metres"
    if plan.survey.surface == "wall":
        return f"x from the left as seen from the room, y up{metres}"
    return f"x and y from the corner where both are 0{metres}"


def _either(plan: Plan, note: str) -> str:
    """Which of the two ways to do the work passes."""
    if state_after(plan) != FAIL:
        return sentence(note, "mm")
    if note == NEITHER:
        return (
            "Neither the patches nor the members set so make the surface pass: see what each comes to, and ask first."
        )
    return "Set every member to the schedule: the patches by themselves do not make the surface pass."


def _surveyed(survey: Survey) -> str:
    """What the plan was made from, so that it can be found again."""
    parts = (survey.title, survey.source, survey.date)
    return ", ".join(cut(part, 60) for part in dict.fromkeys(parts) if part)


def _layers(job: Results, unit: str) -> str:
    """What comes on top of the surface, which doors and thresholds are held against."""
    return ", ".join(f"{layer.name} {length(layer.thickness, unit)}" for layer in job.job.layers)


def _datum(survey: Survey, unit: str) -> str:
    """What the heights of the schedule are off, where they were not read as heights."""
    told = heights_from(survey, unit)
    if told:
        return f"({true_minus(told)})"
    if survey.quantity != "drop" or survey.surface != "floor":
        return ""
    return f"(the {'level line' if survey.is_level else 'string'} that the drops were read off; a minus is below it)"


def _blocks(schedule: Schedule | None, unit: str) -> str:
    if schedule is None or schedule.blocks_mm < least_told(unit):
        return ""
    return (
        f"Blocks under the string of at least {format_length(schedule.blocks_mm, unit, 32)} keep it clear of every top."
    )
