"""The plan of the work as lines and texts on a sheet: grid at the tape positions, depths, patches, members."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from flatness.corrections.plan import Plan
from flatness.show.papers.hatching import HATCHES, lines_of, strokes
from flatness.show.papers.lettering import Drawn, Rule, tape, text_size
from flatness.show.papers.tiles import OVERLAP, Layout, Tile
from flatness.show.words import shortened

GRID, HATCH, HEAVY, MEMBER = "grid", "hatch", "heavy", "member"  # kinds of line, drawn by the template
MATCH, LEADER = "match", "leader"


def label_size(plan: Plan, rule: Rule) -> tuple[float, float]:
    """Width and height on paper [mm] of the widest depth."""
    words = {rule.depth(mm) for mm in plan.change[np.isfinite(plan.change)].ravel().tolist()}
    sizes = [text_size(text) for text in words] or [text_size("0")]
    return max(size[0] for size in sizes), max(size[1] for size in sizes)


def draw(plan: Plan, tile: Tile, layout: Layout, rule: Rule) -> Drawn:
    """What one sheet shows of the plan."""
    sheet = _OnSheet(plan, tile, layout, rule)
    drawn = sheet.drawn
    sheet.grid()
    sheet.outlines()
    for _, patch in plan.patches.iterrows():
        sheet.patch(patch["outline"], str(patch["action"]))
    sheet.members()
    sheet.depths()
    sheet.match_lines()
    sheet.fixed_spots()
    sheet.member_names()
    for _, patch in plan.patches.iterrows():
        sheet.name(patch["outline"], str(patch["name"]), rule.short(float(patch["greatest_mm"])))
    return drawn


class _OnSheet:
    def __init__(self, plan: Plan, tile: Tile, layout: Layout, rule: Rule) -> None:
        self.plan, self.tile, self.layout, self.rule, self.unit = plan, tile, layout, rule, rule.unit
        self.drawn = Drawn()
        self.size = (layout.width, layout.height)
        self.window = box(0, 0, *self.size)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A place [mm] of the surface on the sheet [mm]."""
        return (x - self.tile.x0) / self.layout.scale, (self.tile.y1 - y) / self.layout.scale

    def shape(self, outline: BaseGeometry) -> BaseGeometry:
        s = 1 / self.layout.scale
        moved: BaseGeometry = shapely.transform(
            outline, lambda xy: np.column_stack([(xy[:, 0] - self.tile.x0) * s, (self.tile.y1 - xy[:, 1]) * s])
        )
        return moved

    def line(self, geometry: BaseGeometry, kind: str) -> None:
        """The part of a line that the sheet shows."""
        for part in lines_of(geometry.intersection(self.window)):
            xy = np.asarray(part.coords)
            for (x1, y1), (x2, y2) in pairwise(xy.tolist()):
                self.drawn.lines.append([x1, y1, x2, y2, kind])

    def _nodes(self) -> tuple[list[int], list[int]]:
        stride = self.layout.stride
        return list(range(0, len(self.plan.x), stride)), list(range(0, len(self.plan.y), stride))

    def grid(self) -> None:
        columns, rows = self._nodes()
        (left, low), (right, high) = self.at(self.plan.x[0], self.plan.y[0]), self.at(self.plan.x[-1], self.plan.y[-1])
        for i in columns:
            x = self.at(self.plan.x[i], 0)[0]
            if 0 <= x <= self.size[0]:
                self.line(LineString([(x, low + 2), (x, high - 2)]), GRID)
        self.drawn.across = self._across(columns)
        for j in rows:
            y = self.at(0, self.plan.y[j])[1]
            if 0 <= y <= self.size[1]:
                self.line(LineString([(left - 2, y), (right + 2, y)]), GRID)
                self.drawn.up.append([y, _tick(float(self.plan.y[j]), self.unit)])

    def _across(self, columns: list[int]) -> list[list[Any]]:
        """Places and words of the positions below the drawing, at steps so wide that none runs into the next."""
        at = [float(self.plan.x[i]) for i in columns]
        ticks: list[list[Any]] = [[self.at(x, 0)[0], _tick(x, self.unit)] for x in at]
        widest = max(text_size(words)[0] for _, words in ticks)
        step = abs(ticks[1][0] - ticks[0][0]) if len(ticks) > 1 else math.inf
        return [tick for tick in ticks[:: max(1, math.ceil((widest + 1) / step))] if 0 <= tick[0] <= self.size[0]]

    def outlines(self) -> None:
        survey = self.plan.survey
        if survey.outline is not None:
            self.line(self.shape(survey.outline).boundary, HEAVY)
        for opening in survey.openings:
            shape = self.shape(opening)
            self.line(shape.boundary, HEAVY)
            x0, y0, x1, y1 = shape.bounds
            for diagonal in (LineString([(x0, y0), (x1, y1)]), LineString([(x0, y1), (x1, y0)])):
                self.line(diagonal.intersection(shape), GRID)
            middle = shape.intersection(self.window)
            if not middle.is_empty:
                point = middle.representative_point()
                if self.drawn.is_free(point.x, point.y, "opening", self.size):
                    self.drawn.put(point.x, point.y, "opening", "small")

    def patch(self, outline: Polygon, action: str) -> None:
        shape = self.shape(outline)
        if not shape.intersects(self.window):
            return
        self.line(shape.boundary, "patch")
        angles, distance = HATCHES.get(action, ((), 1.0))
        for angle in angles:
            for stroke in strokes(shape.intersection(self.window), angle, distance):
                self.line(stroke, HATCH)

    def members(self) -> None:
        for line, _ in self._members():
            self.line(line, MEMBER)

    def _members(self) -> Iterator[tuple[LineString, str]]:
        members = self.plan.members
        if members is None:
            return
        along_y = members.direction == "y"
        reach = self.plan.y if along_y else self.plan.x
        for row in members.table.to_dict("records"):
            start = float(reach[0]) if math.isnan(row["start_mm"]) else float(row["start_mm"])
            end = float(reach[-1]) if math.isnan(row["end_mm"]) else float(row["end_mm"])
            ends = [(row["position_mm"], s) if along_y else (s, row["position_mm"]) for s in (start, end)]
            yield LineString([self.at(*xy) for xy in ends]), str(row["name"])

    def member_names(self) -> None:
        for line, name in self._members():
            self._name_member(line, name)

    def _name_member(self, line: LineString, name: str) -> None:
        """At the member's near end, beyond the surface, where the sheet shows it; else on it, or close beside it."""
        seen = line.intersection(self.window)
        if seen.is_empty or seen.length < 1:
            return
        (x1, y1), (x2, y2) = seen.coords[0], seen.coords[-1]
        far = math.hypot(x2 - x1, y2 - y1)
        ux, uy = (x2 - x1) / far, (y2 - y1) / far
        short = shortened(name, 8)
        wide, high = text_size(short)
        beside = (abs(ux) * wide + abs(uy) * high) / 2 + 2.0
        aside = (abs(uy) * wide + abs(ux) * high) / 2 + 2.0  # clear of the depths on its line
        along = (-beside, beside, *np.arange(6.0, far, 2.0).tolist())
        for s, off in [*((s, 0.0) for s in along), *((s, side * aside) for s in along[1:] for side in (-1, 1))]:
            x, y = x1 + s * ux - off * uy, y1 + s * uy + off * ux
            if self.drawn.is_free(x, y, short, self.size):
                self.drawn.put(x, y, short, "member")
                return

    def match_lines(self) -> None:
        """Where neighbouring sheets meet: a line through the middle of the overlap, and two crosses on it."""
        w, h = self.size
        half = OVERLAP / 2
        row, column = self.tile.row, self.tile.column
        names = {(tile.row, tile.column): tile.name for tile in self.layout.tiles}
        columns, rows = self._nodes()
        # both sheets see the same rows and columns of depths beside the line, and so put the crosses at the same places
        levels = [self.at(0, float(self.plan.y[j]))[1] for j in rows]
        places = [self.at(float(self.plan.x[i]), 0)[0] for i in columns]
        for there, x in (((row, column - 1), half), ((row, column + 1), w - half)):
            if there in names:
                self._match([(x, 0), (x, h)], [(x, y) for y in _between(levels, h)], names[there])
        for there, y in (((row - 1, column), half), ((row + 1, column), h - half)):
            if there in names:
                self._match([(0, y), (w, y)], [(x, y) for x in _between(places, w)], names[there])

    def _match(self, ends: list[tuple[float, float]], crosses: list[tuple[float, float]], other: str) -> None:
        line = LineString(ends)
        self.line(line, MATCH)
        for x, y in crosses:
            self.line(LineString([(x - 3, y), (x + 3, y)]), HEAVY)
            self.line(LineString([(x, y - 3), (x, y + 3)]), HEAVY)
        words = f"match {other}"
        upright = ends[0][0] == ends[1][0]
        for aside in (0.0, 2.0, -2.0, 4.0, -4.0, 6.0, -6.0, 9.0, -9.0):
            for part in np.linspace(0.02, 0.98, 97):
                point = line.interpolate(part, normalized=True)
                x, y = (point.x + aside, point.y) if upright else (point.x, point.y + aside)
                if self.drawn.is_free(x, y, words, self.size):
                    self.drawn.put(x, y, words, "match")
                    return

    def depths(self) -> None:
        columns, rows = self._nodes()
        for j in rows:
            for i in columns:
                mm = float(self.plan.change[j, i])
                if not math.isfinite(mm):
                    continue
                x, y = self.at(float(self.plan.x[i]), float(self.plan.y[j]))
                words = self.rule.depth(mm)
                wide, high = text_size(words)
                if wide / 2 <= x <= self.size[0] - wide / 2 and high / 2 <= y <= self.size[1] - high / 2:
                    self.drawn.put(x, y, words, "zero" if words == "0" else "depth")

    def fixed_spots(self) -> None:
        """A diamond where the height is given, with its name beside it."""
        for spot in self.plan.fixed:
            x, y = self.at(spot.x, spot.y)
            if not (0 <= x <= self.size[0] and 0 <= y <= self.size[1]):
                continue
            # wide enough to be seen around a depth that stands there
            corners = [(x - 7, y), (x, y - 4), (x + 7, y), (x, y + 4), (x - 7, y)]
            self.line(LineString(corners), HEAVY)
            short = f"◆ {shortened(spot.name, 18)}".strip()
            wide = text_size(short)[0] / 2
            near = [(x + side * (wide + 8), y + off) for off in (0, -4, 4, -7, 7) for side in (1, -1)]
            near += [(x + shift, y + off) for off in (-6, 6, -9, 9) for shift in (0, wide / 2, -wide / 2)]
            free = next((at for at in near if self.drawn.is_free(*at, short, self.size)), None)
            if free is not None:
                self.drawn.put(*free, short, "spot")

    def name(self, outline: Polygon, name: str, deepest: str) -> None:
        """A patch's number with its greatest depth, inside it where both have room, or beside it with a leader.

        Its deepest place may lie between the nodes whose depths are shown.
        """
        shape = self.shape(outline).intersection(self.window)
        if shape.is_empty or shape.area < 0.5:
            return
        point = shape.representative_point()
        short = shortened(name, 8)
        inside = [p for p in _spread(shape) if shape.contains(p)]
        for words in (f"{short}: {deepest}", short):
            for p in [point, *inside]:
                if self.drawn.is_free(p.x, p.y, words, self.size):
                    self.drawn.put(p.x, p.y, words, "patch")
                    return
        for radius in np.arange(5.0, 40.0, 2.0):
            for turn in np.arange(0, 2 * math.pi, math.pi / 8):
                x, y = point.x + radius * math.cos(turn), point.y + radius * math.sin(turn)
                if self.drawn.is_free(x, y, short, self.size):
                    self.line(LineString([(point.x, point.y), (x, y)]), LEADER)
                    self.drawn.put(x, y, short, "patch")
                    return


def _tick(mm: float, unit: str) -> str:
    """A position at the edge of the sheet; its head says that metres are metres."""
    return tape(mm, unit).removesuffix(" m")


def _between(places: list[float], extent: float) -> list[float]:
    """Of the middles between successive places on a sheet, those next to a third and to two thirds of its extent."""
    middles = [(a + b) / 2 for a, b in pairwise(sorted(places)) if 0 < (a + b) / 2 < extent] or [extent / 2]
    return [min(middles, key=lambda place: abs(place - part * extent)) for part in (1 / 3, 2 / 3)]


def _spread(shape: BaseGeometry) -> Iterator[shapely.Point]:
    x0, y0, x1, y1 = shape.bounds
    for y in np.linspace(y0, y1, 12)[1:-1]:
        for x in np.linspace(x0, x1, 12)[1:-1]:
            yield shapely.Point(x, y)
