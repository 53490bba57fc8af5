"""A curve as a DXF drawing in true size: curve, centres, studs, offsets, parallel, and plates on their sheets."""

from __future__ import annotations

import io
import math
import os
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
from ezdxf.enums import TextEntityAlignment

from flatness.charts.axes import SOFTWARE
from flatness.curves.setting_out import PlateCuts, SetOut
from flatness.curves.shapes import Chain, Curve, Ellipse
from flatness.errors import ArgumentError
from flatness.export.dxf import INSUNITS
from flatness.lengths import MM_PER
from flatness.papers.files import write_ours

# layers and their colours by number (7 is black on white)
LAYERS = {"CURVE": 7, "CENTRES": 1, "CHORD": 8, "STUDS": 5, "PARALLEL": 3, "SHEETS": 8, "PLATES": 4, "NAMES": 7}
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
    if Path(path).suffix.lower() != ".dxf":
        raise ArgumentError("unknown kind of drawing", value=Path(path).name, expected="a name that ends in .dxf")
    if unit not in INSUNITS:
        raise ArgumentError("unknown unit", column="unit", value=str(unit), expected=" or ".join(INSUNITS))
    drawing = _Drawing(found, unit)
    drawing.curve(found.curve, "CURVE")
    drawing.centres()
    drawing.chord()
    drawing.studs()
    drawing.parallel()
    if plates is not None:
        drawing.plates(plates)
    return write_ours(path, drawing.data(), overwrite=overwrite)


class _Drawing:
    def __init__(self, found: SetOut, unit: str) -> None:
        self.found, self.size = found, 1 / float(MM_PER[unit])
        self.text_height = max(10.0, found.length / 200) * self.size
        self.document: Any = ezdxf.new("R2010", setup=["linetypes"])  # type: ignore[attr-defined]
        self.document.header["$INSUNITS"] = INSUNITS[unit]
        self.document.header["$MEASUREMENT"] = int(unit == "mm")
        for name, colour in LAYERS.items():
            self.document.layers.add(name, color=colour)
        self.space = self.document.modelspace()

    def data(self) -> bytes:
        out = io.StringIO()
        self.document.write(out)
        # a group of code 999 is a comment
        return f"999\n{SOFTWARE}\n{out.getvalue()}".encode()

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return float(x) * self.size, float(y) * self.size

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
        self._text(name, x + MARK, y + MARK)

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
            self._text(str(row["name"]), row["x_mm"] - 2.2 * dx, row["y_mm"] - 2.2 * dy)

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
                    self._text(str(row["name"]), *middle)

    def _text(self, words: str, x: float, y: float) -> None:
        text = self.space.add_text(words, height=self.text_height, dxfattribs={"layer": "NAMES"})
        text.set_placement(self._at(x, y), align=TextEntityAlignment.MIDDLE_CENTER)
