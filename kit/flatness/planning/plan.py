"""The plan of the corrections: what is to be done at every spot, what it takes, and what stands afterwards.

A plan as a file: the height that each place is set to, the patches and the members, to hold the work against.

JSON; lengths in mm, keys carry their units.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from flatness.arrays import Floats
from flatness.errors import FlatnessError
from flatness.files import write_new
from flatness.framing.members import COLUMNS as MEMBER_COLUMNS
from flatness.framing.members import DIRECTIONS, Members
from flatness.limits.kinds import Limit
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.planning.constraints import Binding, FixedSpot
from flatness.planning.outlines import COLUMNS as MARK_COLUMNS
from flatness.planning.quantities import Quantities
from flatness.planning.set_heights import SETTING_ERROR_MM
from flatness.saved import LONGEST_MM, By, Each, Form, Number, OneOf, Part, Text, not_understood, read_saved
from flatness.surface.lattice import Surface
from flatness.surroundings.cautions import Caution
from flatness.surroundings.finished_surface import target_heights
from flatness.survey.readings import Survey, fingerprint

# how the work is done: few places, every member to one plane, runs of members, a layer over all
# in the order of the work; `engineer`: may not be taken down without a word from the engineer or the maker
WAYS = ("patches", "members", "some-members", "overlay")
ACTIONS = ("leave", "engineer", "plane", "sister", "fur", "fill")
OUTSIDE = -1


@dataclass(frozen=True, eq=False, kw_only=True)
class Plan:
    """What to do at every spot, and the proof that it passes.

    Attributes
    ----------
    survey : the readings it rests on
    surface : the surface as found that it was planned on
    based_on : ``likely``, the best estimate, or ``as-read``
    strategy : how the target was chosen
    limits : that the finished surface shall meet
    headings : directions in which straightedges are set
    way : by which method, one of :data:`WAYS`
    plane : that members, or a layer over all, come to; empty where there is none
    set_height : [ny, nx] mm, the height that each place is brought to; NaN where it is left as found
    change : [ny, nx] mm, set height less surface, adding positive; 0 where it is left, NaN where there is no surface
    actions : [ny, nx], index into ``ACTIONS``; ``OUTSIDE`` where there is no surface
    patches : DataFrame, one row a connected area of one action, in the order of work: ``name`` (``P1``...),
        ``action``, ``area_mm2``, ``greatest_mm`` (signed, adding positive), ``mean_mm`` (signed), ``volume_mm3``
        (never negative), ``x_mm``, ``y_mm`` (a point inside), ``from_x_mm``, ``to_x_mm``, ``from_y_mm``,
        ``to_y_mm``, ``deepest_x_mm``, ``deepest_y_mm``, ``outline`` (a shapely polygon [mm]), ``note``
    after : DataFrame, one row a limit: ``limit``, ``measure`` (in words), ``before_mm``, ``after_mm``, ``likely_mm``,
        ``allowed_mm``, ``passes`` (bool, the planned surface measured again with the ordinary code, as ``after_mm``;
        False where it cannot be),
        ``chance`` (that the true surface passes once the places are set to their heights, each with its error;
        ``likely_mm`` is the median of what it may then measure), ``verdict`` (at the confidence wanted),
        ``between`` (what that rests on between the stations: ``read``, ``spot-checked`` or ``assumed``),
        ``note``, ``planned_for`` (bool, whether the plan was made to meet it). F-numbers and slopes are not lengths:
        their numbers stand in ``before``, ``after``, ``likely``, ``allowed`` with ``unit``; those in mm are NaN
    cost : rates x area x change
    bound : no change that passes costs less; NaN where the strategy does not seek the least
    flat_cost : what the cheapest dead-flat plane (or level, where level is wanted) would cost
    binding : terms that are met with nothing to spare
    fixed : spots whose finished height was given
    members : what lies beneath, where it was given
    marks : DataFrame, one row a height to set: ``name`` of the patch, ``mark`` (corner, inside), ``x_mm``, ``y_mm``,
        ``set_mm`` (height), ``reading_mm`` (as it was read: drops stay drops), ``found_mm``, ``change_mm``
    lines : of each member that is set: height at station 0 [mm], slope
    crossing : what strapping over all is fixed to, where it was given
    work : what it takes by the rates, in their unit
    quantities : what it takes
    settings : every choice and default that the plan rests on, by name: choices as they were given, thresholds as
        :class:`~flatness.planning.quantities.Setting` with their source; ``planned_to`` is the share of the
        straightedge limits that was planned to
    notes : what the reader must know
    cautions : that go with the advice
    finished : False where the search for the least work was stopped early
    """

    survey: Survey
    surface: Surface
    based_on: str
    strategy: str
    limits: tuple[Limit, ...]
    headings: int
    change: Floats
    actions: NDArray[np.int8]
    patches: pd.DataFrame
    after: pd.DataFrame
    cost: float
    bound: float
    flat_cost: float
    quantities: Quantities
    way: str = "patches"
    plane: str = ""
    set_height: Floats | None = None
    marks: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(MARK_COLUMNS)))
    lines: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    crossing: Members | None = None
    work: float = math.nan
    binding: tuple[Binding, ...] = ()
    fixed: tuple[FixedSpot, ...] = ()
    members: Members | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    finished: bool = True

    def __post_init__(self) -> None:
        if self.set_height is None:
            changed = np.nan_to_num(self.change) != 0
            object.__setattr__(self, "set_height", np.where(changed, self.surface.height + self.change, np.nan))

    @property
    def sets_members(self) -> bool:
        """Whether members are set, all or some."""
        return self.way in ("members", "some-members")

    @property
    def chance(self) -> float:
        """The least chance of the limits that were planned for; NaN where none is known."""
        known = self.after.loc[self.after["planned_for"] & self.after["chance"].notna(), "chance"]
        return float(known.min()) if len(known) else math.nan

    @property
    def verdict(self) -> str:
        """Of all limits together once it is done: fail where one fails, else undecided where one is, else pass."""
        verdicts = set(self.after["verdict"])
        return next((v for v in (FAIL, UNDECIDED) if v in verdicts), PASS if verdicts else "")

    @property
    def x(self) -> Floats:
        """[nx] mm."""
        return self.surface.x

    @property
    def y(self) -> Floats:
        """[ny] mm."""
        return self.surface.y

    @property
    def target(self) -> Floats:
        """[ny, nx] mm, height of the surface after the change."""
        return target_heights(self)

    @property
    def passes(self) -> bool:
        """Whether the planned surface, measured again, is within every limit that can be measured on it."""
        measured = self.after["after"].notna()
        return bool(self.after.loc[measured, "passes"].all())

    @property
    def gap(self) -> float:
        """(cost - bound) / cost, the proof's slack; 0 where nothing need be done, NaN where there is no bound."""
        return (self.cost - self.bound) / self.cost if self.cost > 0 else 0.0

    def action(self, name: str) -> NDArray[np.bool_]:
        """[ny, nx], True where this action is planned."""
        return np.asarray(self.actions == ACTIONS.index(name))


KIND, FORM = "flatness plan", 2
NUMBER, TEXT = Number(-LONGEST_MM, LONGEST_MM), Text()
MAYBE, LENGTH = OneOf(None, NUMBER), OneOf(None, Number(0, LONGEST_MM, above=True))
_MEMBER = Part({"name": TEXT, "position_mm": NUMBER, "start_mm": MAYBE, "end_mm": MAYBE})
# the first form has changes without heights
FIRST = Part(
    {
        "plan": TEXT,
        "title": TEXT,
        "surface": TEXT,
        "strategy": TEXT,
        "x_mm": Each(NUMBER, least=2),
        "y_mm": Each(NUMBER, least=2),
        "change_mm": Each(Each(MAYBE)),
        "patches": Each(Part({"name": TEXT, "action": Text(ACTIONS), "outline_mm": TEXT})),
        "members": OneOf(
            None,
            Part(
                {
                    "direction": Text(DIRECTIONS),
                    "kind": TEXT,
                    "depth_mm": LENGTH,
                    "flange_mm": LENGTH,
                    "thickness_mm": NUMBER,
                    "cuts_mm": By(Each(NUMBER)),
                    "table": Each(_MEMBER, least=1),
                }
            ),
        ),
    },
    maybe={
        "made_from": Part(
            {},
            maybe={
                "title": TEXT,
                "date": TEXT,
                "fingerprint": TEXT,
                "limits": Each(TEXT),
                "asked": By(OneOf(NUMBER, None)),
            },
        )
    },
)
SECOND = Part(
    {
        **FIRST.keys,
        "way": Text(WAYS),
        "plane": TEXT,
        "set_height_mm": Each(Each(MAYBE)),
        "marks": Each(Part({name: TEXT if name in MARK_COLUMNS[:2] else MAYBE for name in MARK_COLUMNS})),
        "lines": By(Each(NUMBER, least=2, most=2)),
        "setting_error_mm": Number(0),
    },
    maybe=FIRST.maybe,
)
SAVED = Form("plan", KIND, "a plan", "what `flatness plan --save` wrote", {1: FIRST, 2: SECOND})


@dataclass(frozen=True, eq=False, kw_only=True)
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
    marks, lines : as :class:`~flatness.planning.plan.Plan` has them
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
        "plan": KIND,
        "form": FORM,
        "title": plan.survey.title or plan.survey.source,
        "surface": plan.survey.surface,
        "strategy": plan.strategy,
        "made_from": made_from(plan),
        "x_mm": plan.x.tolist(),
        "y_mm": plan.y.tolist(),
        "change_mm": _numbers(plan.change),
        "way": plan.way,
        "plane": plan.plane,
        "set_height_mm": _numbers(plan.set_height),
        "marks": _rows(plan.marks, MARK_COLUMNS),
        "lines": {str(name): [float(height), float(slope)] for name, (height, slope) in plan.lines.items()},
        "setting_error_mm": setting_error_of(plan),
        "patches": [
            {"name": str(p.name), "action": str(p.action), "outline_mm": shapely.to_wkt(p.outline, 6)}
            for p in plan.patches.itertuples()
        ],
        "members": None if plan.members is None else _members(plan.members),
    }
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
    chosen = {name: plan.settings[name] for name in ("confidence", "draws", "seed") if name in plan.settings}
    return {
        "title": plan.survey.title or plan.survey.source,
        "date": plan.survey.date,
        "fingerprint": fingerprint(plan.survey),
        "limits": [limit.name for limit in plan.limits],
        "asked": chosen,
    }


def _members(members: Members) -> dict[str, Any]:
    return {
        "direction": members.direction,
        "kind": members.kind,
        "depth_mm": members.depth,
        "flange_mm": members.flange,
        "thickness_mm": members.thickness,
        "cuts_mm": {name: list(places) for name, places in members.cuts.items()},
        "table": _rows(members.table, MEMBER_COLUMNS),
    }


def read_plan(path: str | os.PathLike[str] | bytes, *, name: str | None = None) -> SavedPlan:
    """A plan as it was saved; from its file, or from its bytes and the name of the file.

    Raises
    ------
    ArgumentError : no such file, or not a plan that this version can read
    """
    name = name or ("plan.json" if isinstance(path, bytes) else Path(path).name)
    found = read_saved(path, SAVED, name)
    try:
        return _understood(found)
    except (FlatnessError, KeyError, TypeError, ValueError, AttributeError, shapely.errors.ShapelyError) as error:
        raise not_understood(SAVED, name, error) from error


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
        title=str(found["title"]),
        surface=str(found["surface"]),
        strategy=str(found["strategy"]),
        x=x,
        y=y,
        change=change,
        patches=patches,
        members=members,
        made_from=dict(found.get("made_from", {})),
        **(_set(found, change.shape) if found["form"] >= 2 else {}),
    )


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
        "way": found["way"],
        "plane": str(found["plane"]),
        "set_height": _field(found, "set_height_mm", shape),
        "marks": marks,
        "setting_error": error,
        "lines": {str(name): (float(height), float(slope)) for name, (height, slope) in found["lines"].items()},
    }


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
        table=table,
        direction=found["direction"],
        kind=found["kind"],
        depth=found["depth_mm"],
        flange=found["flange_mm"],
        thickness=float(found["thickness_mm"]),
        cuts=cuts,
    )
