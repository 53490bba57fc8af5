"""A plan as a file: the height that each place is set to, the patches and the members, to hold the work against.

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

from flatness.corrections.chalk import COLUMNS as MARK_COLUMNS
from flatness.corrections.members import COLUMNS as MEMBER_COLUMNS
from flatness.corrections.members import Members
from flatness.corrections.plan import WAYS, Plan
from flatness.corrections.setting import SETTING_ERROR_MM
from flatness.errors import ArgumentError, FlatnessError
from flatness.survey.readings import Floats, fingerprint
from flatness.survey.saving import write_new

KIND, FORM = "flatness plan", 2
FORMS = (1, FORM)  # that can be read; the first has changes without heights
PARTS = ("plan", "form", "title", "surface", "strategy", "x_mm", "y_mm", "change_mm", "patches", "members")
PARTS_SINCE_2 = ("way", "plane", "set_height_mm", "marks", "lines", "setting_error_mm")


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
    way, plane : by which method, and what members or a layer come to
    set_height : [ny, nx] mm, NaN where it is left as found; None where the file holds changes alone
    marks, lines : as :class:`~flatness.corrections.plan.Plan` has them
    setting_error : with which a height is set, one standard deviation [mm]
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
    way: str = "patches"
    plane: str = ""
    set_height: Floats | None = None
    marks: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(MARK_COLUMNS)))
    lines: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    setting_error: float = SETTING_ERROR_MM


def save_plan(plan: Plan, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
    """Write a plan to a file that :func:`read_plan` reads.

    Raises
    ------
    ArgumentError : there is a file of this name already, or it cannot be written
    """
    whole = {
        "plan": KIND, "form": FORM, "title": plan.survey.title or plan.survey.source, "surface": plan.survey.surface,
        "strategy": plan.strategy, "made_from": made_from(plan), "x_mm": plan.x.tolist(), "y_mm": plan.y.tolist(),
        "change_mm": _numbers(plan.change), "way": plan.way, "plane": plan.plane,
        "set_height_mm": _numbers(plan.set_height), "marks": _rows(plan.marks, MARK_COLUMNS),
        "lines": {str(name): [float(height), float(slope)] for name, (height, slope) in plan.lines.items()},
        "setting_error_mm": setting_error_of(plan),
        "patches": [
            {"name": str(p.name), "action": str(p.action), "outline_mm": shapely.to_wkt(p.outline, 6)}
            for p in plan.patches.itertuples()
        ],
        "members": None if plan.members is None else _members(plan.members),
    }  # fmt: skip
    text = json.dumps(whole, ensure_ascii=False, allow_nan=False) + "\n"
    write_new(path, text.encode("utf-8"), overwrite)
    return Path(path)


def setting_error_of(plan: Any) -> float:
    """With which a plan's heights are set, one standard deviation [mm]; the usual one where it does not say."""
    if isinstance(plan, Plan):
        return float(plan.settings.get("setting_error", SETTING_ERROR_MM))
    return float(getattr(plan, "setting_error", SETTING_ERROR_MM))


def _numbers(values: Any) -> list[list[float | None]]:
    return [[None if np.isnan(v) else float(v) for v in row] for row in values]


def _rows(table: pd.DataFrame, columns: tuple[str, ...]) -> list[dict[str, Any]]:
    rows = table[list(columns)].to_dict("records")
    return [{str(key): None if value != value else value for key, value in row.items()} for row in rows]


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
    return {
        "direction": members.direction, "kind": members.kind, "depth_mm": members.depth,
        "flange_mm": members.flange, "thickness_mm": members.thickness,
        "cuts_mm": {name: list(places) for name, places in members.cuts.items()},
        "table": _rows(members.table, MEMBER_COLUMNS),
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
    if found["form"] not in FORMS:
        raise ArgumentError(
            "a plan of another form", value=str(found["form"]), expected=" or ".join(map(str, FORMS)),
            remedy="read it with the version of the kit that saved it",
        )  # fmt: skip
    missing = [part for part in PARTS_SINCE_2 if part not in found] if found["form"] >= 2 else []
    if missing:
        raise _not_a_plan(name, f"it lacks {', '.join(missing)}")
    try:
        return _understood(found)
    except (FlatnessError, KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError) as error:
        raise _not_a_plan(name, f"it cannot be understood ({' '.join(str(error).split())})") from error


def _understood(found: dict[str, Any]) -> SavedPlan:
    x, y = (np.array(found[key], dtype=np.float64) for key in ("x_mm", "y_mm"))
    if min(len(x), len(y)) < 2:
        raise ValueError(f"x_mm and y_mm make {(len(y), len(x))}")
    change = _field(found, "change_mm", (len(y), len(x)))
    for axis in (x, y):
        if not np.isfinite(axis).all() or not (np.diff(axis) > 0).all():
            raise ValueError("x_mm and y_mm must be rising numbers")
    rows = [(str(p["name"]), str(p["action"]), _area(p["outline_mm"])) for p in found["patches"]]
    patches = pd.DataFrame(rows, columns=["name", "action", "outline"])
    members = None if found["members"] is None else _read_members(found["members"])
    return SavedPlan(
        str(found["title"]), str(found["surface"]), str(found["strategy"]), x, y, change, patches, members,
        dict(found.get("made_from", {})), **(_set(found, change.shape) if found["form"] >= 2 else {}),
    )  # fmt: skip


def _field(found: dict[str, Any], key: str, shape: tuple[int, ...]) -> Floats:
    values = np.array([[np.nan if v is None else v for v in row] for row in found[key]], dtype=np.float64)
    if values.shape != shape:
        raise ValueError(f"{key} is {values.shape}, and x_mm and y_mm make {shape}")
    if np.isinf(values).any():
        raise ValueError(f"{key} holds what is not finite")
    return values


def _set(found: dict[str, Any], shape: tuple[int, ...]) -> dict[str, Any]:
    """What is set to which height, and how."""
    marks = pd.DataFrame(found["marks"], columns=list(MARK_COLUMNS))
    for column in MARK_COLUMNS[2:]:
        marks[column] = pd.to_numeric(marks[column]).astype(np.float64)
    error = float(found["setting_error_mm"])
    if not error >= 0 or not np.isfinite(error):
        raise ValueError(f"setting_error_mm is {error}, and must be zero or more")
    if found["way"] not in WAYS:
        raise ValueError(f"way is {found['way']}, and must be one of {', '.join(WAYS)}")
    return {
        "way": found["way"], "plane": str(found["plane"]), "set_height": _field(found, "set_height_mm", shape),
        "marks": marks, "setting_error": error,
        "lines": {str(name): (float(height), float(slope)) for name, (height, slope) in found["lines"].items()},
    }  # fmt: skip


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
