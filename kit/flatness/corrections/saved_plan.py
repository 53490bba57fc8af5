"""A plan as a file: the change at every node, the patches and the members, so that the work can be held against it.

JSON; lengths in mm, keys carry their units.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from shapely import MultiPolygon, Polygon

from flatness.corrections.members import COLUMNS as MEMBER_COLUMNS
from flatness.corrections.members import Members
from flatness.corrections.plan import Plan
from flatness.errors import ArgumentError, FlatnessError
from flatness.survey.readings import Floats, fingerprint
from flatness.survey.saving import write_new

KIND, FORM = "flatness plan", 1
PARTS = ("plan", "form", "title", "surface", "strategy", "x_mm", "y_mm", "change_mm", "patches", "members")


@dataclass(frozen=True, eq=False)
class SavedPlan:
    """What was to be done, as it was saved: enough to hold what was done against it.

    Attributes
    ----------
    title, surface, strategy : of the plan, in words
    x, y : [nx], [ny] mm
    change : [ny, nx] mm, adding positive; NaN where there is no surface
    patches : DataFrame: ``name``, ``action``, ``outline`` (polygons [mm])
    members : what lies beneath, or None
    made_from : the ``title``, ``date`` and ``fingerprint`` of the survey that it rests on, the ``limits`` that it was
        made for, and ``asked``, its confidence, draws and seed; empty where the file does not say
    """

    title: str
    surface: str
    strategy: str
    x: Floats
    y: Floats
    change: Floats
    patches: pd.DataFrame
    members: Members | None
    made_from: Mapping[str, Any] = field(default_factory=dict)


def save_plan(plan: Plan, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
    """Write a plan to a file that :func:`read_plan` reads.

    Raises
    ------
    ArgumentError : there is a file of this name already, or it cannot be written
    """
    whole = {
        "plan": KIND, "form": FORM, "title": plan.survey.title or plan.survey.source, "surface": plan.survey.surface,
        "strategy": plan.strategy, "made_from": made_from(plan), "x_mm": plan.x.tolist(), "y_mm": plan.y.tolist(),
        "change_mm": [[None if np.isnan(v) else float(v) for v in row] for row in plan.change],
        "patches": [
            {"name": str(p.name), "action": str(p.action), "outline_mm": shapely.to_wkt(p.outline, 6)}
            for p in plan.patches.itertuples()
        ],
        "members": None if plan.members is None else _members(plan.members),
    }  # fmt: skip
    text = json.dumps(whole, ensure_ascii=False, allow_nan=False) + "\n"
    write_new(path, text.encode("utf-8"), overwrite)
    return Path(path)


def made_from(plan: Any) -> dict[str, Any]:
    """What a plan rests on, as :class:`SavedPlan` holds it; empty where it does not say."""
    if not isinstance(plan, Plan):
        return dict(getattr(plan, "made_from", {}))
    asked = {name: plan.settings[name] for name in ("confidence", "draws", "seed") if name in plan.settings}
    return {
        "title": plan.survey.title or plan.survey.source, "date": plan.survey.date,
        "fingerprint": fingerprint(plan.survey), "limits": [limit.name for limit in plan.limits], "asked": asked,
    }  # fmt: skip


def _members(members: Members) -> dict[str, Any]:
    rows = members.table[list(MEMBER_COLUMNS)].to_dict("records")
    return {
        "direction": members.direction, "kind": members.kind, "depth_mm": members.depth,
        "flange_mm": members.flange, "thickness_mm": members.thickness,
        "cuts_mm": {name: list(places) for name, places in members.cuts.items()},
        "table": [{key: None if value != value else value for key, value in row.items()} for row in rows],
    }  # fmt: skip


def read_plan(path: str | os.PathLike[str]) -> SavedPlan:
    """A plan as it was saved.

    Raises
    ------
    ArgumentError : no such file, or not a plan that this version can read
    """
    name = Path(path).name
    try:
        found = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise ArgumentError("the plan cannot be read", value=name, remedy=f"check it ({error.strerror})") from error
    except ValueError as error:
        raise _not_a_plan(name, "it is not JSON") from error
    if not isinstance(found, dict) or found.get("plan") != KIND:
        raise _not_a_plan(name, "it does not say that it is one")
    missing = [part for part in PARTS if part not in found]
    if missing:
        raise _not_a_plan(name, f"it lacks {', '.join(missing)}")
    if found["form"] != FORM:
        raise ArgumentError("a plan of another form", value=str(found["form"]), expected=str(FORM))
    try:
        return _understood(found)
    except (FlatnessError, KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError) as error:
        raise _not_a_plan(name, f"it cannot be understood ({' '.join(str(error).split())})") from error


def _understood(found: dict[str, Any]) -> SavedPlan:
    x, y = (np.array(found[key], dtype=np.float64) for key in ("x_mm", "y_mm"))
    change = np.array([[np.nan if v is None else v for v in row] for row in found["change_mm"]], dtype=np.float64)
    if change.shape != (len(y), len(x)) or min(change.shape) < 2:
        raise ValueError(f"change_mm is {change.shape}, and x_mm and y_mm make {(len(y), len(x))}")
    for axis in (x, y):
        if not np.isfinite(axis).all() or not (np.diff(axis) > 0).all():
            raise ValueError("x_mm and y_mm must be rising numbers")
    if np.isinf(change).any():
        raise ValueError("change_mm holds what is not finite")
    rows = [(str(p["name"]), str(p["action"]), _area(p["outline_mm"])) for p in found["patches"]]
    patches = pd.DataFrame(rows, columns=["name", "action", "outline"])
    members = None if found["members"] is None else _read_members(found["members"])
    return SavedPlan(
        str(found["title"]), str(found["surface"]), str(found["strategy"]), x, y, change, patches, members,
        dict(found.get("made_from", {})),
    )  # fmt: skip


def _area(text: str) -> Polygon | MultiPolygon:
    area = shapely.from_wkt(text)
    if not isinstance(area, (Polygon, MultiPolygon)) or area.is_empty:
        raise ValueError(f"an outline that is no area: {text[:40]}")
    return area


def _read_members(found: dict[str, Any]) -> Members:
    table = pd.DataFrame(found["table"], columns=list(MEMBER_COLUMNS))
    for column in MEMBER_COLUMNS[1:]:
        table[column] = pd.to_numeric(table[column]).astype(np.float64)
    cuts = {str(name): tuple(float(at) for at in places) for name, places in found["cuts_mm"].items()}
    return Members(
        table, found["direction"], found["kind"], found["depth_mm"], found["flange_mm"], float(found["thickness_mm"]),
        cuts,
    )  # fmt: skip


def _not_a_plan(name: str, why: str) -> ArgumentError:
    return ArgumentError(f"not a plan: {why}", value=name, expected="what a plan was saved as")
