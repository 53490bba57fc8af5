"""Heights as a crew reads them: off which line, at which marks, and how far every member or strap comes up."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from flatness.corrections.members import KINDS
from flatness.corrections.plan import Plan
from flatness.corrections.schedule import member_schedule
from flatness.corrections.tracks import lay_tracks
from flatness.show.papers.lettering import Rule
from flatness.survey.readings import Survey

STEP_MM = {"in": 609.6, "mm": 500.0}  # between the heights that are set along a member, or over a pour
FLAT_MM = 1e-6  # slope and differences below this are none


@dataclass(frozen=True)
class Datum:
    """The line that heights are read off, or the zero that they stand on.

    Attributes
    ----------
    line : height [mm] of the one line that all drops were read off; None where heights are read off a datum
    name : ``laser line`` or ``string``
    surface : ``floor``, ``ceiling`` or ``wall``
    rule : how closely
    """

    line: float | None
    name: str
    surface: str
    rule: Rule

    @classmethod
    def of(cls, survey: Survey, rule: Rule) -> Datum:
        return cls(survey.line_height, "laser line" if survey.is_level else "string", survey.surface, rule)

    def reading(self, height: float) -> str:
        """What is read where the surface stands so high [mm]."""
        return self.rule.reading(height if self.line is None else self.line - height)

    def words(self, height: float) -> str:
        """A height [mm] as it is said: ``41 1/16 in below the laser line``."""
        out = {"floor": ("above", "below"), "ceiling": ("below", "above"), "wall": ("out from", "back from")}
        toward, away = out[self.surface]
        if self.line is None:
            text = self.rule.reading(abs(height))
            where = f"{toward if height >= 0 else away} the datum"
            return "at the datum" if text == "0" else f"{text} {self.rule.unit} {where}"
        side = "from" if self.surface == "wall" else away
        return f"{self.reading(height)} {self.rule.unit} {side} the {self.name}"

    def how(self) -> str:
        """Unit, and how it is read."""
        unit = "Inches" if self.rule.unit == "in" else "Millimeters"
        if self.line is None:
            side = {"floor": "above the datum", "ceiling": "down from the datum", "wall": "out from the datum"}
            return f"{unit} {side[self.surface]}"
        way = {"floor": "down ", "ceiling": "up "}.get(self.surface, "")
        return f"{unit} {way}from the {self.name}"


@dataclass(frozen=True)
class Mark:
    """One height to set: of which place, ``corner`` or ``inside``, where and how high [mm], and what it changes."""

    place: str
    kind: str
    x: float
    y: float
    height: float
    change: float


def marks_of(plan: Plan, unit: str) -> list[Mark]:
    """The heights to set at places; where a plan names none, every 2 ft (500 mm) or so, and where it is deepest."""
    if len(plan.marks):
        return [
            Mark(row["name"], row["mark"], row["x_mm"], row["y_mm"], row["set_mm"], row["change_mm"])
            for row in plan.marks.to_dict("records")
        ]
    found = []
    gx, gy = np.meshgrid(plan.x, plan.y)
    stride = max(1, round(STEP_MM[unit] / plan.surface.spacing))
    on_grid = np.zeros(gx.shape, dtype=bool)
    on_grid[::stride, ::stride] = True
    for row in plan.patches.to_dict("records"):
        inside = shapely.contains_xy(row["outline"].buffer(1e-3), gx, gy) & (np.nan_to_num(plan.change) != 0)
        if not inside.any():
            continue
        deepest = np.argmax(np.where(inside, np.abs(np.nan_to_num(plan.change)), -1.0))
        chosen = inside & on_grid
        chosen.ravel()[deepest] = True
        for j, i in np.argwhere(chosen):
            height = float(plan.surface.height[j, i] + plan.change[j, i])
            found.append(Mark(str(row["name"]), "inside", gx[j, i], gy[j, i], height, float(plan.change[j, i])))
    return found


@dataclass(frozen=True)
class Rise:
    """How far a top comes up at one station, or how thick the packing is: of which member, where [mm], how far [mm]."""

    member: str
    x: float
    y: float
    mm: float


def rises_of(plan: Plan, unit: str) -> list[Rise]:
    """What is written on the drawing of members, of strapping and of a pour: as their way has it."""
    if plan.sets_members and plan.members is not None:
        return list(_of_members(plan, STEP_MM[unit]))
    if plan.way != "overlay":
        return []
    if plan.members is not None and plan.crossing is not None:
        shims = member_schedule(plan, plan.members, crossing=plan.crossing).shims
        return [Rise(row["strap"], row["x_mm"], row["y_mm"], row["shim_mm"]) for row in shims.to_dict("records")]
    stride = max(1, round(STEP_MM[unit] / plan.surface.spacing))
    return [
        Rise("", float(plan.x[i]), float(plan.y[j]), float(plan.change[j, i]))
        for j in range(0, len(plan.y), stride) for i in range(0, len(plan.x), stride)
        if math.isfinite(plan.change[j, i])
    ]  # fmt: skip


def _of_members(plan: Plan, step: float) -> Iterator[Rise]:
    members = plan.members
    assert members is not None
    for track in lay_tracks(plan, members, step):
        if track.name not in plan.lines:
            continue
        level, slope = plan.lines[track.name]
        stations = track.stations
        # the last but one gives way to an end close by
        keep = np.isfinite(track.top)
        if len(stations) > 2 and stations[-1] - stations[-2] < step / 2:
            keep[-2] = False
        for s, top in zip(stations[keep], track.top[keep], strict=True):
            x, y = (s, track.position) if members.direction == "x" else (track.position, s)
            yield Rise(track.name, float(x), float(y), float(level + slope * s - top))


def one_height(plan: Plan) -> float | None:
    """The one height [mm] of all members that are set, or of the layer over all; None where they slope or differ."""
    if plan.lines:
        heights = [level for level, _ in plan.lines.values()]
        sloped = any(abs(slope) > FLAT_MM for _, slope in plan.lines.values())
        return None if sloped or np.ptp(heights) > 1e-3 else float(np.mean(heights))
    assert plan.set_height is not None
    known = plan.set_height[np.isfinite(plan.set_height)]
    return float(known.mean()) if plan.way == "overlay" and len(known) and np.ptp(known) < 1e-3 else None


def called(plan: Plan) -> str:
    """What the members are called: ``joist``, ``stud``, ``strap``."""
    kind = plan.members.kind if plan.members is not None else ""
    letter = KINDS[kind].letter if kind in KINDS else ""
    return {"J": "joist", "S": "stud", "F": "strap"}.get(letter, "member")
