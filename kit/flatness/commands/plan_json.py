"""A plan as one JSON object: keys carry units, lengths in mm."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from flatness.commands.options import plain
from flatness.commands.plan_options import PlanAsked
from flatness.corrections.finished import build_up
from flatness.corrections.plan import ACTIONS, Plan
from flatness.corrections.schedule import Schedule
from flatness.corrections.terms import Binding, spot_heights
from flatness.survey.readings import Floats


def plan_json(
    plan: Plan, verdict: str, asked: PlanAsked, schedule: Schedule | None, file: str, least: Plan | None,
    stopped: bool, written: list[Path],
) -> dict[str, Any]:  # fmt: skip
    """All that the text says and more, for another program.

    Parameters
    ----------
    plan : the plan
    verdict : on all limits together; empty where there are none
    asked : what the options asked for
    schedule : what each member is set to, or None
    file : the survey's, as it was named
    least : the plan of the least work, where ``plan`` is for another target
    stopped : whether the search was stopped by hand
    written : files written besides
    """
    survey, s = plan.survey, plan.settings
    rates, depths = s["rates"], s["depths"]
    whole = {
        "file": file,
        "title": survey.title,
        "surface": survey.surface,
        "reference": survey.reference,
        "readings": len(survey.points),
        "accuracy_mm": survey.accuracy,
        "verdict": verdict or None,
        "confidence": s["confidence"],
        "draws": s["draws"],
        "seed": s["seed"],
        "headings": plan.headings,
        "lattice_mm": plan.surface.spacing,
        "planned_on": plan.based_on,
        "strategy": plan.strategy,
        "shift": s["shift"],
        "aim": s["aim"],
        "planned_to_share": s["planned_to"] if plan.strategy == "least-work" else None,
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
        "least_work_cost_rate_mm3": plan.cost if plan.strategy == "least-work" else least.cost if least else None,
        "limits": _rows(plan.after),
        "patches": [_patch(row) for row in plan.patches.to_dict("records")],
        "asks_engineer": bool(plan.action("engineer").any()),
        "x_mm": plan.x.tolist(),
        "y_mm": plan.y.tolist(),
        "as_found_mm": _grid(plan.surface.height),
        "change_mm": _grid(plan.change),
        "actions": [[ACTIONS[k] if k >= 0 else None for k in row] for row in plan.actions.tolist()],
        "fixed": _fixed(plan),
        "binding": [_binding(one) for one in plan.binding],
        "layers": [{"name": layer.name, "thickness_mm": layer.thickness} for layer in asked.layers],
        "build_up_mm": build_up(asked.layers),
        "schedule": None if schedule is None else _schedule(schedule),
        "quantities": _rows(plan.quantities.table),
        "settings": [
            {"name": one.name, "value": one.value, "unit": one.unit, "source": one.source}
            for one in s.values() if hasattr(one, "source")
        ],
        "notes": list(plan.notes),
        "cautions": [{"key": one.key, "text": one.text, "source": one.source} for one in plan.cautions],
        "written": [path.as_posix() for path in written],
    }  # fmt: skip
    return {key: plain(value) for key, value in whole.items()}


def _number(depth: Any) -> float | None:
    return float(depth) if np.ndim(depth) == 0 and math.isfinite(depth) else None


def _rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in table.to_dict("records")]


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
    found = []
    for spot in plan.fixed:
        height = float(spot_heights(plan.surface, [spot])[0])
        found.append({
            "name": spot.name, "x_mm": spot.x, "y_mm": spot.y, "as_found": spot.height is None, "height_mm": height,
            "allowance_mm": spot.allowance,
        })  # fmt: skip
    return found


def _binding(one: Binding) -> dict[str, Any]:
    x, y = one.at
    return {"term": one.term, "name": one.name, "x_mm": x, "y_mm": y}


def _schedule(schedule: Schedule) -> dict[str, Any]:
    return {
        "line": schedule.line,
        "set_by": schedule.set_by,
        "string_blocks_mm": schedule.blocks_mm,
        "members": _rows(schedule.members),
        "stations": _rows(schedule.table),
        "shims": _rows(schedule.shims),
        "as_set": _rows(schedule.as_set),
        "fixed_spots": _rows(schedule.spots),
        "blocking": _rows(schedule.blocking),
        "notes": list(schedule.notes),
        "cautions": [{"key": one.key, "text": one.text, "source": one.source} for one in schedule.cautions],
    }
