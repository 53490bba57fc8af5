"""A curve in full size on sheets of paper that are trimmed and taped together: a pattern to cut a template by."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
from shapely import LineString, box

from flatness.arrays import Floats
from flatness.curves.setting_out import SetOut
from flatness.curves.shapes import Curve, Ellipse
from flatness.errors import ArgumentError, MeasureError
from flatness.papers.files import Paper
from flatness.papers.sheet import Sheet, make_pdf, sheet_named
from flatness.words.curves import named, tape

MARGIN_MM = 12.7  # that printers leave white; half an inch, so that letter paper holds 10 in exactly
FINE_MM = 1.0  # between places of the line: off a circle of 300 mm by less than 0.001 mm
BEYOND_MM = 4.0  # of the drawing shows beyond the line at which a sheet is trimmed
MOST_SHEETS = 60
BAR = {"in": (254.0, 152.4), "mm": (250.0, 150.0)}  # to measure across and up: 10 in and 6 in, or 250 and 150 mm
TICK = 6.0  # of a stud, to either side of the curve [mm]


@dataclass(frozen=True)
class _Tiling:
    """Tiles of one size over the drawing: columns and rows that hold some of it, from the top left."""

    width: float
    height: float
    flipped: bool
    cells: tuple[tuple[int, int], ...]


def full_size(
    found: SetOut,
    first: float = 0.0,
    last: float | None = None,
    paper: str = "letter",
    unit: str = "in",
    title: str = "",
    made: datetime | None = None,
) -> Paper:
    """A part of a curve in full size.

    Parameters
    ----------
    found : what to mark; the studs and the parallel curve are drawn too
    first, last : distances along the curve between which it is drawn [mm]; None draws to its end
    paper : ``letter`` or ``a4``
    unit : ``in`` or ``mm``, of the words
    title : of the drawing
    made : when it was made, printed where given

    Raises
    ------
    ArgumentError : a part without length, an unknown paper
    MeasureError : more than 60 sheets

    Notes
    -----
    The part is turned so that its chord lies level. Sheets are trimmed to their dashed frame and taped edge to edge;
    those that hold nothing are left out. Each carries a bar of 10 in (or 250 mm) to measure before anything is cut.
    """
    curve = found.curve
    last = curve.length if last is None else last
    if not (math.isfinite(first) and math.isfinite(last) and last - first > 1.0):
        raise ArgumentError("a part without length", value=f"{first:g} to {last:g} mm", expected="more than 1 mm")
    lines, marks, names = _drawn(found, first, last)
    sheet = sheet_named(paper)
    whole = [LineString(points) for points, _ in lines]
    low = np.min([line.bounds[:2] for line in whole], axis=0)
    high = np.max([line.bounds[2:] for line in whole], axis=0)
    tiling = min(
        (_lay_out(whole, low, high, sheet, flipped) for flipped in (True, False)), key=lambda one: len(one.cells)
    )
    if len(tiling.cells) > MOST_SHEETS:
        raise MeasureError(
            f"this takes {len(tiling.cells)} sheets of paper",
            expected=f"at most {MOST_SHEETS}",
            remedy="draw a shorter part, such as one template's length; the others are the same or its mirror image",
        )
    tiles = [_tile(cell, tiling, low, high, lines, marks, names) for cell in tiling.cells]
    data = {
        "title": title or "Full size",
        "what": named(curve, unit),
        "part": f"from {tape(first, unit)} to {tape(last, unit)} along it",
        "flipped": tiling.flipped,
        "margin": MARGIN_MM,
        "frame": [tiling.width, tiling.height],
        "bar": list(BAR[unit]),
        "bar_words": ["10 in", "6 in"] if unit == "in" else ["250 mm", "150 mm"],
        "tiles": tiles,
        "overview": _overview(tiling, low, high, lines),
    }
    return Paper(title=str(data["title"]), pdf=make_pdf("full_size.typ", data, {}, paper, made))


def part_that_serves(curve: Curve, template: float) -> tuple[float, float]:
    """What is drawn of a curve, since the rest repeats it: an arc's template, a quarter of an ellipse or oval."""
    if curve.kind == "arc":
        return 0.0, min(template, curve.length)
    if isinstance(curve, Ellipse) or curve.kind == "oval":
        return 0.0, curve.length / 4
    return 0.0, curve.length


Line = tuple[Floats, str]


def _drawn(found: SetOut, first: float, last: float) -> tuple[list[Line], list[Line], list[tuple[Any, ...]]]:
    """Lines (places, kind), marks (two places, kind) and names (place, words), turned so that the chord lies level."""
    curve = found.curve
    s = np.linspace(first, last, max(2, math.ceil((last - first) / FINE_MM)) + 1)
    points = curve.at(s)
    dx, dy = points[-1] - points[0]
    if math.hypot(dx, dy) < 1e-6:
        dx, dy = 1.0, 0.0
    c, d = np.array([dx, dy]) / math.hypot(dx, dy)
    turn = np.array([[c, -d], [d, c]])
    # what bulges down is given a half turn, so that all bulge up
    off = (points - points[0]) @ turn
    turn = -turn if abs(off[:, 1].min()) > off[:, 1].max() else turn
    lines: list[Line] = [(points @ turn, "curve")]
    if found.offset:
        lines.append((curve.offset_at(s, found.offset) @ turn, "parallel"))
    marks: list[Line] = []
    names: list[tuple[Any, ...]] = []
    for row in found.studs.to_dict("records"):
        along = float(row["s_mm"])
        if first - 1e-6 <= along <= last + 1e-6:
            marks.append((curve.offset_at([along] * 2, [-TICK, TICK]) @ turn, "stud"))
            place = curve.offset_at(along, -3.0 * TICK) @ turn
            names.append((place, str(row["name"])))
    for along in (first, last):
        marks.append((curve.offset_at([along] * 2, [-2 * TICK, 2 * TICK]) @ turn, "end"))
    return lines, marks, names


def _lay_out(whole: list[LineString], low: Floats, high: Floats, sheet: Sheet, flipped: bool) -> _Tiling:
    size = (sheet.height, sheet.width) if flipped else (sheet.width, sheet.height)
    width, height = size[0] - 2 * MARGIN_MM, size[1] - 2 * MARGIN_MM
    counts = [max(1, math.ceil((high[k] - low[k] + 2 * TICK) / one)) for k, one in enumerate((width, height))]
    tiling = _Tiling(width, height, flipped, ())
    cells = []
    for row in range(counts[1]):
        for column in range(counts[0]):
            x, y = _corner((column, row), tiling, low, high)
            frame = box(x, y - height, x + width, y)
            if any(line.intersects(frame) for line in whole):
                cells.append((column, row))
    return _Tiling(width, height, flipped, tuple(cells))


def _corner(cell: tuple[int, int], tiling: _Tiling, low: Floats, high: Floats) -> tuple[float, float]:
    """Top left corner of a tile in the drawing [mm]: the whole is centred on its tiles."""
    columns, rows = (
        max(1, math.ceil((high[k] - low[k] + 2 * TICK) / one)) for k, one in enumerate((tiling.width, tiling.height))
    )
    left = (low[0] + high[0]) / 2 - columns * tiling.width / 2
    top = (low[1] + high[1]) / 2 + rows * tiling.height / 2
    return float(left + cell[0] * tiling.width), float(top - cell[1] * tiling.height)


def _name(cell: tuple[int, int]) -> str:
    return f"{chr(ord('A') + cell[1] % 26)}{cell[0] + 1}"


def _tile(
    cell: tuple[int, int],
    tiling: _Tiling,
    low: Floats,
    high: Floats,
    lines: list[Line],
    marks: list[Line],
    names: list[tuple[Any, ...]],
) -> dict[str, Any]:
    """What a sheet shows, in mm from its frame's top left corner, down positive."""
    x, y = _corner(cell, tiling, low, high)
    seen = box(x - BEYOND_MM, y - tiling.height - BEYOND_MM, x + tiling.width + BEYOND_MM, y + BEYOND_MM)

    def on_paper(points: Floats) -> list[list[float]]:
        return [[float(px) - x, y - float(py)] for px, py in points]

    shown = []
    for points, kind in [*lines, *marks]:
        cut = LineString(points).intersection(seen)
        parts = getattr(cut, "geoms", [cut])
        shown += [
            {"kind": kind, "at": on_paper(np.array(one.coords))}
            for one in parts
            if one.geom_type == "LineString" and not one.is_empty
        ]
    inside = box(x + 4, y - tiling.height + 4, x + tiling.width - 4, y - 4)
    words = [
        [*on_paper(np.array([place]))[0], text]
        for place, text in names
        if inside.covers(LineString([place, place + 1e-3]))
    ]
    around = {"left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1)}
    joins = {
        side: _name((cell[0] + dx, cell[1] + dy))
        for side, (dx, dy) in around.items()
        if (cell[0] + dx, cell[1] + dy) in tiling.cells
    }
    clear = _clear_corner(tiling, shown)
    return {"name": _name(cell), "lines": shown, "words": words, "joins": joins, "clear": clear}


def _clear_corner(tiling: _Tiling, shown: list[dict[str, Any]]) -> str:
    """The half of the sheet, top or bottom, where the drawing leaves more room for words."""
    points = np.array([place for line in shown for place in line["at"]])
    below = float((points[:, 1] > tiling.height / 2).mean()) if len(points) else 0.0
    return "bottom" if below < 0.5 else "top"


def _overview(tiling: _Tiling, low: Floats, high: Floats, lines: list[Line]) -> dict[str, Any]:
    """The sheets as they lie together, and the curve over them, in units of the frame's width."""
    x, y = _corner((0, 0), tiling, low, high)
    cells = [[cell[0], cell[1], _name(cell)] for cell in tiling.cells]
    points = lines[0][0][:: max(1, len(lines[0][0]) // 200)]
    return {
        "cells": cells,
        "columns": 1 + max(cell[0] for cell in tiling.cells),
        "rows": 1 + max(cell[1] for cell in tiling.cells),
        "line": [[(float(px) - x) / tiling.width, (y - float(py)) / tiling.height] for px, py in points],
    }
