"""DXF drawings in true size: the plan of the work, a layer an action; a curve, and plates on their sheets."""

from __future__ import annotations

import io
import math
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
from ezdxf.enums import TextEntityAlignment
from ezdxf.math import Vec2
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from flatness.curves.setting_out import PlateCuts, SetOut
from flatness.curves.shapes import Chain, Curve, Ellipse
from flatness.errors import ArgumentError, check_choice
from flatness.files import SOFTWARE, write_ours
from flatness.framing.members import Members
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, MM_PER
from flatness.papers.sheet import WIDEST_STEP, one_line
from flatness.planning.plan import ACTIONS, Plan
from flatness.words.printed import depth_text

INSUNITS = {"in": 1, "mm": 4}  # of the DXF header variable of that name
TEXT_ON_PAPER = 2.5  # height of capitals when plotted to scale [mm]; about 10 points
# layers, their colours by number (7 is black on white), and how an action is hatched
PLAN_LAYERS = {
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
    path: str | os.PathLike[str], plan: Plan, unit: str = "mm", scale: float = 48, *, overwrite: bool = False
) -> Path:
    """Write a plan as a DXF drawing in true size.

    Parameters
    ----------
    path : file that ends in ``.dxf``
    plan : what to do
    unit : ``mm`` or ``in``: of the drawing's coordinates and of the depths written in it, to a tenth of a millimetre or
        the nearest 1/16 of an inch
    scale : texts and hatches come out right when the drawing is plotted so many times smaller
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
    _check(path, unit)
    if not (math.isfinite(scale) and 1 <= scale <= 1000):
        raise ArgumentError("scale out of range", column="scale", value=str(scale), expected="1 to 1000")
    drawing = _PlanDrawing(plan, unit, float(scale))
    drawing.draw()
    return write_ours(path, drawing.data(), overwrite=overwrite)


class _Drawing:
    """A drawing as it is filled: layers with their colours by number, and text [mm] high."""

    def __init__(self, unit: str, layers: Mapping[str, int], text_mm: float) -> None:
        self.size = 1 / float(MM_PER[unit])
        self.text_height = text_mm * self.size
        self.document: Any = ezdxf.new("R2010", setup=["linetypes"])  # type: ignore[attr-defined]
        self.document.header["$INSUNITS"] = INSUNITS[unit]
        self.document.header["$MEASUREMENT"] = int(unit == "mm")
        for name, colour in layers.items():
            self.document.layers.add(name, color=colour)
        self.space = self.document.modelspace()

    def data(self) -> bytes:
        """The file, with the stamp by which the kit knows its own."""
        out = io.StringIO()
        self.document.write(out)
        # a group of code 999 is a comment
        return f"999\n{SOFTWARE}\n{out.getvalue()}".encode()

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return float(x) * self.size, float(y) * self.size

    def _text(self, words: str, x: float, y: float, layer: str) -> None:
        # %% begins a code of the format
        plain = one_line(words).replace("%%", "% %")
        text = self.space.add_text(plain, height=self.text_height, dxfattribs={"layer": layer})
        text.set_placement(self._at(x, y), align=TextEntityAlignment.MIDDLE_CENTER)


def _check(path: str | os.PathLike[str], unit: str) -> None:
    if Path(path).suffix.lower() != ".dxf":
        raise ArgumentError("unknown kind of drawing", value=Path(path).name, expected="a name that ends in .dxf")
    check_choice("unit", unit, INSUNITS)


class _PlanDrawing(_Drawing):
    """A drawing of a plan as it is filled."""

    def __init__(self, plan: Plan, unit: str, scale: float) -> None:
        super().__init__(unit, PLAN_LAYERS, TEXT_ON_PAPER * scale)
        self.plan, self.unit = plan, unit
        self.hatch = HATCH_ON_PAPER * scale * self.size
        room = min(ROOM_ON_PAPER * scale, WIDEST_STEP[unit])
        self.stride = max(1, round(room / plan.surface.spacing))  # lattice steps from one depth to the next
        self.document.header["$LTSCALE"] = scale * self.size
        self.document.layers.get("MEMBERS").dxf.linetype = "DASHDOT"

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
        return depth_text(mm, self.unit, decimals=1).replace("−", "-")

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


def _apart(angle: float, distance: float) -> tuple[float, float]:
    across = Vec2.from_deg_angle(angle + 90, distance)
    return across.x, across.y


def _polygons(shape: BaseGeometry) -> Iterator[Polygon]:
    if isinstance(shape, MultiPolygon):
        yield from shape.geoms
    elif isinstance(shape, Polygon) and not shape.is_empty:
        yield shape


CURVE_LAYERS = {"CURVE": 7, "CENTRES": 1, "CHORD": 8, "STUDS": 5, "PARALLEL": 3, "SHEETS": 8, "PLATES": 4, "NAMES": 7}
MARK = 25.0  # length of a mark square to the curve [mm]
FINE_MM = 2.0  # between places of a line that stands for a curve without a name of its own
APART = 300.0  # sheets stand so far from the curve and from one another [mm]


def write_curve_dxf(
    path: str | os.PathLike[str],
    found: SetOut,
    unit: str = "mm",
    plates: PlateCuts | None = None,
    *,
    overwrite: bool = False,
) -> Path:
    """Write a curve as a DXF drawing in true size.

    Parameters
    ----------
    path : file that ends in ``.dxf``
    found : what to mark
    unit : ``mm`` or ``in``, of the coordinates
    plates : drawn on their sheets below the curve
    overwrite : replace an older file there, where the kit wrote it

    Notes
    -----
    Arcs, straights and ellipses are what they are, for a machine to follow; only an ellipse's parallel, which has no
    name of its own, is a line of places 2 mm apart. Layers: ``CURVE``, ``CENTRES`` (and pins), ``CHORD`` (with its
    offsets), ``STUDS``, ``PARALLEL``, ``SHEETS``, ``PLATES``, ``NAMES``.

    Raises
    ------
    ArgumentError : another suffix, an unknown unit, or a file that is there already
    """
    _check(path, unit)
    drawing = _CurveDrawing(found, unit)
    drawing.curve(found.curve, "CURVE")
    drawing.centres()
    drawing.chord()
    drawing.studs()
    drawing.parallel()
    if plates is not None:
        drawing.plates(plates)
    return write_ours(path, drawing.data(), overwrite=overwrite)


class _CurveDrawing(_Drawing):
    """A drawing of a curve as it is filled."""

    def __init__(self, found: SetOut, unit: str) -> None:
        super().__init__(unit, CURVE_LAYERS, max(10.0, found.length / 200))
        self.found = found

    def curve(self, curve: Curve, layer: str) -> None:
        look = {"layer": layer}
        if isinstance(curve, Ellipse):
            a, b = curve.axes
            long = self._at(a * math.cos(curve.turned), a * math.sin(curve.turned))
            self.space.add_ellipse(self._at(*curve.centre), long, b / a, dxfattribs=look)
            return
        assert isinstance(curve, Chain)
        for k, piece in enumerate(curve.pieces):
            x, y, heading = curve.origin_of(k)
            if piece.curvature == 0:
                end = (x + piece.length * math.cos(heading), y + piece.length * math.sin(heading))
                self.space.add_line(self._at(x, y), self._at(*end), dxfattribs=look)
                continue
            first = math.degrees(heading) - math.copysign(90, piece.curvature)
            last = first + math.degrees(piece.sweep)
            centre, radius = self._at(*curve.centre_of(k)), piece.radius * self.size
            if abs(piece.sweep) > 2 * math.pi - 1e-9:
                self.space.add_circle(centre, radius, dxfattribs=look)
            else:  # an arc of the drawing runs counterclockwise
                self.space.add_arc(centre, radius, min(first, last), max(first, last), dxfattribs=look)

    def centres(self) -> None:
        for row in self.found.centres.to_dict("records"):
            self._cross(row["x_mm"], row["y_mm"], str(row["name"]))
        for number, row in enumerate(self.found.pins.to_dict("records"), 1):
            self._cross(row["x_mm"], row["y_mm"], f"PIN {number}")

    def _cross(self, x: float, y: float, name: str) -> None:
        for dx, dy in ((MARK, 0), (0, MARK)):
            self.space.add_line(self._at(x - dx, y - dy), self._at(x + dx, y + dy), dxfattribs={"layer": "CENTRES"})
        self._text(name, x + MARK, y + MARK, "NAMES")

    def chord(self) -> None:
        look = {"layer": "CHORD"}
        (x0, y0), (x1, y1) = self.found.chord
        self.space.add_line(self._at(x0, y0), self._at(x1, y1), dxfattribs=look)
        length = math.dist((x0, y0), (x1, y1))
        for row in self.found.offsets.to_dict("records"):
            part = row["along_mm"] / length
            foot = (x0 + part * (x1 - x0), y0 + part * (y1 - y0))
            self.space.add_line(self._at(*foot), self._at(row["x_mm"], row["y_mm"]), dxfattribs=look)

    def studs(self) -> None:
        for row in self.found.studs.to_dict("records"):
            angle = math.radians(row["faces_deg"])
            dx, dy = MARK * math.cos(angle), MARK * math.sin(angle)
            start, end = (self._at(row["x_mm"] + k * dx, row["y_mm"] + k * dy) for k in (-1, 1))
            self.space.add_line(start, end, dxfattribs={"layer": "STUDS"})
            self._text(str(row["name"]), row["x_mm"] - 2.2 * dx, row["y_mm"] - 2.2 * dy, "NAMES")

    def parallel(self) -> None:
        curve, offset = self.found.curve, self.found.offset
        if not offset:
            return
        if isinstance(curve, Chain):
            self.curve(curve.parallel(offset), "PARALLEL")
            return
        points = curve.offset_at(curve.stations(FINE_MM), offset) * self.size
        self.space.add_lwpolyline(points.tolist(), close=curve.closed, dxfattribs={"layer": "PARALLEL"})

    def plates(self, cuts: PlateCuts) -> None:
        curve = self.found.curve
        points = curve.at(np.linspace(0, curve.length, 400))
        centres = self.found.centres["y_mm"].min() if len(self.found.centres) else math.inf
        left, bottom = float(points[:, 0].min()), min(float(points[:, 1].min()), float(centres)) - APART
        length, width = cuts.sheet
        for number in range(1, cuts.sheets + 1):
            x, y = left, bottom - number * width - (number - 1) * APART
            corner = np.array([x, y])
            corners = [(x, y), (x + length, y), (x + length, y + width), (x, y + width)]
            placed = [self._at(*corner) for corner in corners]
            self.space.add_lwpolyline(placed, close=True, dxfattribs={"layer": "SHEETS"})
            for outline, row in zip(cuts.outlines, cuts.pieces.to_dict("records"), strict=True):
                if row["sheet"] == number:
                    ring = ((outline + corner) * self.size).tolist()
                    self.space.add_lwpolyline(ring, close=True, dxfattribs={"layer": "PLATES"})
                    middle = (outline[len(outline) // 4] + outline[-len(outline) // 4]) / 2 + corner
                    self._text(str(row["name"]), float(middle[0]), float(middle[1]), "NAMES")
