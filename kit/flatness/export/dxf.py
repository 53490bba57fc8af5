"""The plan of the work as a DXF drawing: patches on a layer an action, outline, openings, members, depths."""

from __future__ import annotations

import io
import math
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
from ezdxf.enums import TextEntityAlignment
from ezdxf.math import Vec2
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from flatness.charts.axes import SOFTWARE
from flatness.errors import ArgumentError, check_choice
from flatness.framing.members import Members
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, MM_PER
from flatness.papers.files import write_ours
from flatness.papers.sheet import WIDEST_STEP, depth_text, one_line
from flatness.planning.plan import ACTIONS, Plan

INSUNITS = {"in": 1, "mm": 4}  # of the DXF header variable of that name
TEXT_ON_PAPER = 2.5  # height of capitals when plotted to scale [mm]; about 10 points
# layers, their colours by number (7 is black on white), and how an action is hatched
LAYERS = {
    "OUTLINE": 7,
    "OPENINGS": 8,
    "MEMBERS": 8,
    "DEPTHS": 7,
    "NAMES": 7,
    **{action.upper(): 7 for action in ACTIONS[1:]},
    "PLANE": 1,
    "FILL": 5,
    "SISTER": 3,
    "FUR": 4,
    "ENGINEER": 6,
}
HATCHES = {  # angles [degrees]; none level, where it would be a minus
    "plane": (45.0,),
    "fill": (135.0,),
    "sister": (15.0,),
    "fur": (75.0,),
    "engineer": (45.0, 135.0),
}
ROOM_ON_PAPER = 14.0  # that a depth needs beside the next one, when plotted to scale [mm]
HATCH_ON_PAPER = 3.0  # distance of hatch lines when plotted to scale [mm]


def write_dxf(
    path: str | os.PathLike[str],
    plan: Plan,
    unit: str = "mm",
    scale: float = 48,
    *,
    fraction: int = 16,
    overwrite: bool = False,
) -> Path:
    """Write a plan as a DXF drawing in true size.

    Parameters
    ----------
    path : file that ends in ``.dxf``
    plan : what to do
    unit : ``mm`` or ``in``: of the drawing's coordinates and of the depths written in it
    scale : texts and hatches come out right when the drawing is plotted so many times smaller
    fraction : depths to the nearest 1/8, 1/16, 1/32 or 1/64 of an inch; in mm they have tenths
    overwrite : replace an older file there, where the kit wrote it

    Notes
    -----
    Layers: ``PLANE``, ``FILL``, ``SISTER``, ``FUR``, ``ENGINEER`` hold the patches of that action, each as a hatch with
    its outline and holes as closed polylines; ``NAMES`` their numbers, areas and greatest depths, ``DEPTHS`` signed
    depths, ``MEMBERS``, ``OUTLINE``, ``OPENINGS``.

    Raises
    ------
    ArgumentError : another suffix, an unknown unit, a scale out of range, or a file that is there already
    """
    if Path(path).suffix.lower() != ".dxf":
        raise ArgumentError("unknown kind of drawing", value=Path(path).name, expected="a name that ends in .dxf")
    check_choice("unit", unit, INSUNITS)
    if not (math.isfinite(scale) and 1 <= scale <= 1000):
        raise ArgumentError("scale out of range", column="scale", value=str(scale), expected="1 to 1000")
    drawing = _Drawing(plan, unit, float(scale), fraction)
    drawing.draw()
    return write_ours(path, drawing.data(), overwrite=overwrite)


class _Drawing:
    def __init__(self, plan: Plan, unit: str, scale: float, fraction: int) -> None:
        self.plan, self.unit, self.fraction = plan, unit, fraction
        self.size = 1 / float(MM_PER[unit])
        self.text_height = TEXT_ON_PAPER * scale * self.size
        self.hatch = HATCH_ON_PAPER * scale * self.size
        room = min(ROOM_ON_PAPER * scale, WIDEST_STEP[unit])
        self.stride = max(1, round(room / plan.surface.spacing))  # lattice steps from one depth to the next
        self.document: Any = ezdxf.new("R2010", setup=["linetypes"])  # type: ignore[attr-defined]
        self.document.header["$INSUNITS"] = INSUNITS[unit]
        self.document.header["$MEASUREMENT"] = int(unit == "mm")
        self.document.header["$LTSCALE"] = scale * self.size
        for name, colour in LAYERS.items():
            self.document.layers.add(name, color=colour)
        self.document.layers.get("MEMBERS").dxf.linetype = "DASHDOT"
        self.space = self.document.modelspace()

    def data(self) -> bytes:
        """The file, with a comment at its head that tells who wrote it."""
        out = io.StringIO()
        self.document.write(out)
        # a group of code 999 is a comment
        return f"999\n{SOFTWARE}\n{out.getvalue()}".encode()

    def draw(self) -> None:
        survey = self.plan.survey
        if survey.outline is not None:
            self._rings(survey.outline, "OUTLINE")
        for opening in survey.openings:
            self._rings(opening, "OPENINGS")
        for row in self.plan.patches.to_dict("records"):
            self._patch(row["outline"], str(row["action"]))
            self._text(self._label(row), float(row["x_mm"]), self._between_rows(float(row["y_mm"])), "NAMES")
        if self.plan.members is not None:
            self._members(self.plan.members)
        self._depths()

    def _label(self, row: dict[Any, Any]) -> str:
        size = float(row["area_mm2"])
        area = f"{size / MM2_PER_FT2:.1f} ft2" if self.unit == "in" else f"{size / MM2_PER_M2:.2f} m2"
        return f"{row['name']} {row['action']} {area}, most {self._depth(float(row['greatest_mm']))}"

    def _depth(self, mm: float) -> str:
        return depth_text(mm, self.unit, self.fraction, decimals=1).replace("−", "-")

    def _between_rows(self, y: float) -> float:
        """The level [mm] midway between the rows of depths that a place stands between."""
        pitch = self.stride * self.plan.surface.spacing
        first = float(self.plan.y[0])
        return first + (math.floor((y - first) / pitch) + 0.5) * pitch

    def _points(self, coordinates: Any) -> list[tuple[float, float]]:
        return [(float(x) * self.size, float(y) * self.size) for x, y in np.asarray(coordinates)[:-1, :2]]

    def _rings(self, shape: BaseGeometry, layer: str) -> None:
        for part in _polygons(shape):
            for ring in (part.exterior, *part.interiors):
                self.space.add_lwpolyline(self._points(ring.coords), close=True, dxfattribs={"layer": layer})

    def _patch(self, shape: BaseGeometry, action: str) -> None:
        layer = action.upper()
        self._rings(shape, layer)
        hatch = self.space.add_hatch(dxfattribs={"layer": layer})
        angles = HATCHES.get(action, HATCHES["engineer"])
        definition = [[angle, (0, 0), _apart(angle, self.hatch), []] for angle in angles]
        hatch.set_pattern_fill("USER", definition=definition, style=0)
        for part in _polygons(shape):
            hatch.paths.add_polyline_path(self._points(part.exterior.coords), is_closed=True, flags=1)
            for ring in part.interiors:
                hatch.paths.add_polyline_path(self._points(ring.coords), is_closed=True, flags=16)

    def _members(self, members: Members) -> None:
        below = 2 * self.text_height / self.size
        for name, line in members.lines(self.plan.x, self.plan.y):
            start, end = ((x * self.size, y * self.size) for x, y in line.coords)
            self.space.add_line(start, end, dxfattribs={"layer": "MEMBERS"})
            x, y = (at - off for at, off in zip(line.coords[0], members.xy(below, 0.0), strict=True))
            self._text(name, x, y, "MEMBERS")

    def _depths(self) -> None:
        plan = self.plan
        for j in range(0, len(plan.y), self.stride):
            for i in range(0, len(plan.x), self.stride):
                mm = float(plan.change[j, i])
                if math.isfinite(mm):
                    self._text(self._depth(mm), float(plan.x[i]), float(plan.y[j]), "DEPTHS")

    def _text(self, words: str, x: float, y: float, layer: str) -> None:
        # %% begins a code of the format
        plain = one_line(words).replace("%%", "% %")
        text = self.space.add_text(plain, height=self.text_height, dxfattribs={"layer": layer})
        text.set_placement((x * self.size, y * self.size), align=TextEntityAlignment.MIDDLE_CENTER)


def _apart(angle: float, distance: float) -> tuple[float, float]:
    across = Vec2.from_deg_angle(angle + 90, distance)
    return across.x, across.y


def _polygons(shape: BaseGeometry) -> Iterator[Polygon]:
    if isinstance(shape, MultiPolygon):
        yield from shape.geoms
    elif isinstance(shape, Polygon) and not shape.is_empty:
        yield shape
