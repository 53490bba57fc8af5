"""What JSON can say: a plan as one object, tables, checks. Keys carry units, lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from flatness.arrays import Floats
from flatness.comparison.records import plain, plain_check
from flatness.framing.schedule import Schedule
from flatness.limits.spot_checks import Checks
from flatness.planning.constraints import spot_heights
from flatness.planning.plan import ACTIONS, Plan
from flatness.planning.ways import Ways
from flatness.surroundings.cautions import Caution
from flatness.survey.readings import Survey


def plan_json(
    plan: Plan, ways: Ways, schedule: Schedule | None, file: str, stopped: bool, written: list[Path]
) -> dict[str, Any]:
    """All that the text says and more, for another program.

    Parameters
    ----------
    plan : by the way that is chosen
    ways : all of them
    schedule : what each member is set to, or None
    file : the survey's, as it was named
    stopped : whether the search was stopped by hand
    written : files written besides
    """
    survey, s = plan.survey, plan.settings
    rates, depths = s["rates"], s["depths"]
    whole = {
        "file": file,
        **survey_json(survey),
        "verdict": plan.verdict or None,
        "way": plan.way,
        "plane": plan.plane or None,
        "proposed": ways.proposed,
        "proposed_is_sure": ways.sure,
        "ways": rows(ways.table),
        "confidence": s["confidence"],
        "draws": s["draws"],
        "seed": s["seed"],
        "headings": plan.headings,
        "lattice_mm": plan.surface.spacing,
        "planned_on": plan.based_on,
        "strategy": plan.strategy,
        "shift": s["shift"],
        "aim": s["aim"],
        "planned_to_share": s["planned_to"],
        "setting_error_mm": s["setting_error"],
        "work": plan.work,
        "work_unit": rates.unit,
        "stopped": stopped,
        "search_finished": plan.finished,
        "rate_off_per_mm3": rates.off,
        "rate_add_per_mm3": rates.add,
        "deepest_cut_mm": _number(depths.cut),
        "deepest_fill_mm": _number(depths.fill),
        "level_within_mm": s["level_within"],
        "level_height_mm": s["height"],
        "cost_rate_mm3": plan.cost,
        "cost_bound_rate_mm3": plan.bound,
        "dead_flat_cost_rate_mm3": plan.flat_cost,
        "dead_flat_is_level": plan.strategy == "level" or s["level_within"] is not None,
        "limits": rows(plan.after),
        "patches": [_patch(row) for row in plan.patches.to_dict("records")],
        "asks_engineer": bool(plan.action("engineer").any()),
        "x_mm": plan.x.tolist(),
        "y_mm": plan.y.tolist(),
        "as_found_mm": _grid(plan.surface.height),
        "change_mm": _grid(plan.change),
        "set_height_mm": None if plan.set_height is None else _grid(plan.set_height),
        "marks": rows(plan.marks),
        "lines": lines_rows(plan),
        "actions": [[ACTIONS[k] if k >= 0 else None for k in row] for row in plan.actions.tolist()],
        "fixed": _fixed(plan),
        "binding": [{"term": one.term, "name": one.name, **_place(one.at)} for one in plan.binding],
        "schedule": None if schedule is None else _schedule(schedule),
        "quantities": rows(plan.quantities.table),
        "settings": [
            {name: getattr(one, name) for name in ("name", "value", "unit", "source")}
            for one in s.values()
            if hasattr(one, "source")
        ],
        "notes": list(plan.notes),
        "cautions": _cautions(plan.cautions),
        "written": [path.as_posix() for path in written],
    }
    return {key: plain(value) for key, value in whole.items()}


def survey_json(survey: Survey) -> dict[str, Any]:
    """What was read, and how."""
    return {
        "title": survey.title,
        "surface": survey.surface,
        "reference": survey.reference,
        "readings": len(survey.points),
        "accuracy_mm": survey.accuracy,
    }


def lines_rows(plan: Plan) -> list[dict[str, Any]]:
    """The straight line of each member that is set."""
    return [
        {"member": name, "height_at_0_mm": height, "slope_mm_per_m": 1000 * slope}
        for name, (height, slope) in plan.lines.items()
    ]


def _number(depth: Any) -> float | None:
    return float(depth) if np.ndim(depth) == 0 and math.isfinite(depth) else None


def _grid(values: Floats) -> list[list[float | None]]:
    return [[None if math.isnan(v) else v for v in row] for row in values.tolist()]


def _patch(row: dict[Any, Any]) -> dict[str, Any]:
    outline = row["outline"]
    rings = {
        "outer": [list(corner) for corner in outline.exterior.coords],
        "holes": [[list(corner) for corner in ring.coords] for ring in outline.interiors],
    }
    return {str(key): value for key, value in row.items() if key != "outline"} | {"outline_mm": rings}


def _fixed(plan: Plan) -> list[dict[str, Any]]:
    """The spots as they were given; a height of None is as found."""
    return [
        {
            "name": spot.name,
            **_place((spot.x, spot.y)),
            "as_found": spot.height is None,
            "height_mm": float(spot_heights(plan.surface, [spot])[0]),
            "allowance_mm": spot.allowance,
        }
        for spot in plan.fixed
    ]


def _place(at: tuple[float, float]) -> dict[str, float]:
    return {"x_mm": at[0], "y_mm": at[1]}


def _cautions(cautions: Iterable[Caution]) -> list[dict[str, str]]:
    return [{"key": one.key, "text": one.text, "source": one.source} for one in cautions]


def _schedule(schedule: Schedule) -> dict[str, Any]:
    return {
        "line": schedule.line,
        "set_by": schedule.set_by,
        "string_blocks_mm": schedule.blocks_mm,
        "members": rows(schedule.members),
        "stations": rows(schedule.table),
        "shims": rows(schedule.shims),
        "blocking": rows(schedule.blocking),
        "notes": list(schedule.notes),
        "cautions": _cautions(schedule.cautions),
    }


def rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """A table as JSON can say it, one object a row."""
    return [plain(row) for row in table.to_dict("records")]


def checks_json(checks: Checks) -> list[dict[str, Any]]:
    """What a bar showed, or is to show, between the stations, lengths in mm."""
    return [plain_check(one) for one in checks]
