"""The plan of the work to scale: outlines to chalk and heights to set, or members and how far they come up.

Heights as a crew reads them: off which line, at which marks, and how far every member or strap comes up.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Polygon, box
from shapely.affinity import translate
from shapely.geometry.base import BaseGeometry

from flatness.arrays import Floats
from flatness.charts.axes import turned
from flatness.framing.members import KINDS, Members
from flatness.framing.profiles import member_tracks
from flatness.framing.schedule import member_schedule
from flatness.papers.sheet import AROUND, CLEAR, NAMES, OVERLAP, Drawn, Layout, Tile, text_box, text_size
from flatness.planning.plan import Plan
from flatness.survey.readings import Survey
from flatness.survey.walls import WallOpening, door_leaf, wall_openings
from flatness.words.printed import Rule, number_of, shortened

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


@dataclass(frozen=True, kw_only=True)
class Mark:
    """One height to set: of which place, ``corner`` or ``inside``, where and how high [mm], and what it changes."""

    place: str
    kind: str
    x: float
    y: float
    height: float
    change: float


MARK_COLUMNS = {"name": "place", "mark": "kind", "x_mm": "x", "y_mm": "y", "set_mm": "height", "change_mm": "change"}


def marks_of(plan: Plan, unit: str) -> list[Mark]:
    """The heights to set at places; where a plan names none, every 2 ft (500 mm) or so, and where it is deepest."""
    if len(plan.marks):
        rows = plan.marks[list(MARK_COLUMNS)].rename(columns=MARK_COLUMNS).to_dict("records")
        return [Mark(**{str(name): value for name, value in row.items()}) for row in rows]
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
            found.append(
                Mark(
                    place=str(row["name"]),
                    kind="inside",
                    x=gx[j, i],
                    y=gy[j, i],
                    height=height,
                    change=float(plan.change[j, i]),
                )
            )
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
        for j in range(0, len(plan.y), stride)
        for i in range(0, len(plan.x), stride)
        if math.isfinite(plan.change[j, i])
    ]


def _of_members(plan: Plan, step: float) -> Iterator[Rise]:
    members = plan.members
    assert members is not None
    for track in member_tracks(plan, members, step):
        if track.name not in plan.lines:
            continue
        level, slope = plan.lines[track.name]
        stations = track.stations
        # the last but one gives way to an end close by
        keep = np.isfinite(track.top)
        if len(stations) > 2 and stations[-1] - stations[-2] < step / 2:
            keep[-2] = False
        for s, top in zip(stations[keep], track.top[keep], strict=True):
            x, y = members.xy(s, track.position)
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


WALL_MM = 1.5  # how thick a wall is drawn
OUTWARD = {"bottom": (0, -1), "top": (0, 1), "left": (-1, 0), "right": (1, 0)}
WORDS = {"plane": "PLANE", "fill": "FILL", "sister": "SISTER", "fur": "SHIM", "engineer": "WAIT"}
TICKS = {"in": (304.8, (1, 2, 4, 5, 10, 20)), "mm": (1000.0, (0.5, 1, 2, 5, 10))}
STRONG_MM = {"in": 6.35, "mm": 6.0}  # from here on a rise is bold: 1/4 in
ASIDE = 3.6  # that every other figure stands higher where they are close [mm]
APART = 1.0  # between figures that stand side by side [mm]


def beside(plan: Plan, rises: list[Rise], rule: Rule) -> tuple[float, float]:
    """What is kept free [mm] at the left and at the right: half a figure, and the names of members along x."""
    half = max((_wide(rise, rule) / 2 + CLEAR for rise in rises), default=0.0)
    named = plan.way != "patches" or bool((plan.patches["action"] == "sister").any())
    at_right = named and any(run_across(one, plan.survey) for one in (plan.members, plan.crossing))
    least = max(AROUND, half)
    return least, NAMES if at_right else least


def run_across(members: Members | None, survey: Survey) -> bool:
    """Whether members run from left to right of the drawing."""
    return members is not None and (members.direction == "x") != bool(survey.turns % 2)


def _pitches(rises: list[Rise], survey: Survey) -> tuple[float, float]:
    """The least distances [mm] of figures across and up the drawing."""
    places = turned([(rise.x, rise.y) for rise in rises], survey.turns)
    steps = (np.diff(np.unique(np.round(axis, 1))) for axis in places.T)
    across, up = (float(own.min()) if len(own) else math.inf for own in steps)
    return across, up


def _wide(rise: Rise, rule: Rule) -> float:
    return text_size(rule.change(rise.mm).removeprefix("+"), "strong")[0]


def widest_scale(plan: Plan, marks: list[Mark], rises: list[Rise], rule: Rule) -> float:
    """The scale from which on figures run into one another: those of members are all written, of heights each other."""
    unit = rule.unit
    if rises:
        wide = max(_wide(rise, rule) for rise in rises) + APART
        across, up = _pitches(rises, plan.survey)
        # an end close to a station moves aside; of joists close to each other every other one stands higher
        if plan.sets_members and plan.members is not None:
            lying = run_across(plan.members, plan.survey)
            across, up = (STEP_MM[unit], up) if lying else (2 * across, STEP_MM[unit] * 4.5 / (2 * ASIDE + 4.0))
        return min(across / wide, up / 4.5)
    if marks:
        return 2 * STEP_MM[unit] / 15.0
    return math.inf


def draw(plan: Plan, tile: Tile, layout: Layout, datum: Datum, marks: list[Mark], rises: list[Rise]) -> Drawn:
    """What one sheet shows of the plan."""
    sheet = _OnSheet(plan, tile, layout, datum)
    sheet.room()
    sheet.ticks()
    if rises:
        sheet.bodies()
        sheet.openings()
        sheet.fixed_spots()
        sheet.rises(rises)
        sheet.member_names(set_only=plan.sets_members)
        sheet.match_lines()
    else:
        sheet.places()
        sheet.dashes()
        sheet.openings()
        sheet.fixed_spots()
        sheet.heights(marks)
        sheet.match_lines()
        if (plan.patches["action"] == "sister").any():
            sheet.member_names(set_only=False)
    sheet.name_doors()
    sheet.origin()
    return sheet.drawn


class _OnSheet:
    def __init__(self, plan: Plan, tile: Tile, layout: Layout, datum: Datum) -> None:
        self.plan, self.tile, self.layout, self.datum, self.unit = plan, tile, layout, datum, datum.rule.unit
        self.drawn = Drawn((layout.width, layout.height))
        self.window = box(0, 0, layout.width, layout.height)
        survey = plan.survey
        reach = box(plan.x[0], plan.y[0], plan.x[-1], plan.y[-1])
        self.inner = self.shape(survey.outline if survey.outline is not None else reach)
        self.holes = shapely.union_all([self.shape(opening) for opening in survey.openings])
        self.doors: list[tuple[BaseGeometry, BaseGeometry]] = []

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A place [mm] of the surface on the sheet [mm]."""
        ((u, v),) = turned((x, y), self.plan.survey.turns)
        return float(u - self.tile.x0) / self.layout.scale, float(self.tile.y1 - v) / self.layout.scale

    def shape(self, outline: BaseGeometry) -> BaseGeometry:
        corner, scale, turns = (self.tile.x0, self.tile.y1), self.layout.scale, self.plan.survey.turns

        def placed(xy: Floats) -> Floats:
            return (turned(xy, turns) - corner) * (1 / scale, -1 / scale)

        moved: BaseGeometry = shapely.transform(outline, placed)
        return moved

    def line(self, geometry: BaseGeometry, kind: str) -> None:
        """The part of a line that the sheet shows."""
        for part in _lines_of(geometry.intersection(self.window)):
            for (x1, y1), (x2, y2) in pairwise(np.asarray(part.coords).tolist()):
                self.drawn.lines.append([x1, y1, x2, y2, kind])

    def area(self, geometry: BaseGeometry, kind: str) -> None:
        for part in getattr(geometry, "geoms", [geometry]):
            if isinstance(part, Polygon) and part.intersects(self.window):
                self.drawn.areas.append([np.asarray(part.exterior.coords[:-1]).tolist(), kind])

    def seen(self, x: float, y: float) -> bool:
        return 0 <= x <= self.drawn.size[0] and 0 <= y <= self.drawn.size[1]

    # -- the room

    def room(self) -> None:
        survey = self.plan.survey
        if survey.outline is None:
            self.line(self.inner.boundary, "reach")
            return
        self.line(self.inner.buffer(WALL_MM / 2, join_style="mitre").boundary, "wall")
        self.drawn.keep_clear(self.inner.buffer(WALL_MM, join_style="mitre").difference(self.inner))
        for one, place in wall_openings(survey.outline, survey.walls):
            self.wall_opening(one, self.shape(place))

    def wall_opening(self, one: WallOpening, inner: LineString) -> None:
        """A window as a gap with the lines of a pane; a door as a gap, its leaf and swing, and the word."""
        ((east, north),) = turned(OUTWARD[one.side], self.plan.survey.turns)
        outward = east, -north

        def aside(far: float) -> BaseGeometry:
            return translate(inner, far * outward[0], far * outward[1])

        self.line(aside(WALL_MM / 2), "gap")
        if one.kind == "window":
            for far in (0.1, WALL_MM / 2, WALL_MM - 0.1):
                self.line(aside(far), "window")
            return
        assert self.plan.survey.outline is not None
        leaf, swing = (self.shape(LineString(line)) for line in door_leaf(self.plan.survey.outline, one))
        for part in (leaf, swing):
            self.line(part, "door")
            self.drawn.keep_clear(part)
        self.doors.append((leaf, swing))

    def name_doors(self) -> None:
        """The word in the quarter of each swing, where nothing else stands."""
        wide, high = text_size("door", "small")
        places = self._others("")
        for leaf, swing in self.doors:
            middle = shapely.MultiPoint([leaf.coords[0], swing.interpolate(0.5, normalized=True).coords[0]]).centroid
            if leaf.length > 1.4 * wide + high:
                self.drawn.put_first(_clear_of(places, [(middle.x, middle.y)], "door", "small"), "door", "small")

    def openings(self) -> None:
        for shape in getattr(self.holes, "geoms", [self.holes]):
            if shape.is_empty or not shape.intersects(self.window):
                continue
            self.area(shape, "opening")
            middle = shape.intersection(self.window).representative_point()
            wide, high = text_size("opening", "small")
            x0, y0, x1, y1 = shape.bounds
            if wide + 2 < x1 - x0 and high + 2 < y1 - y0:
                self.drawn.put_first([(middle.x, middle.y)], "opening", "small")
            self.drawn.keep_clear(shape)

    def ticks(self) -> None:
        foot, steps = TICKS[self.unit]
        turns = self.plan.survey.turns
        corners = turned([(self.tile.x0, self.tile.y0), (self.tile.x1, self.tile.y1)], -turns)
        for side, (kind, tape) in enumerate(zip(("across", "up"), self.plan.survey.tapes_in, strict=True)):
            step = next((k for k in steps if k * foot / self.layout.scale >= 10.0), steps[-1]) * foot
            x0, y0, x1, y1 = self.inner.bounds
            room = (x0, x1) if kind == "across" else (y0, y1)
            low, high = sorted(tape.far(corner) for corner in corners.tolist())
            for k in range(math.ceil(low / step), math.floor(high / step) + 1):
                at = tape.at + tape.sign * k * step
                place = self.at(at, at)[side]
                if room[0] - 0.1 <= place <= room[1] + 0.1:
                    words = f"{k * step / foot:g}".replace("-", "−")
                    getattr(self.drawn, kind).append([place, words])

    def origin(self) -> None:
        """Where both tapes start."""
        across, up = self.plan.survey.tapes
        x, y = self.at(across.at, up.at)
        if self.seen(x, y):
            ((east, north),) = turned((across.sign, up.sign), self.plan.survey.turns)
            self.drawn.signs.append([x - 0.9 * float(east), y + 0.9 * float(north), "origin"])

    # -- places

    def places(self) -> None:
        for outline, action in zip(self.plan.patches["outline"], self.plan.patches["action"], strict=True):
            shape = self.shape(outline)
            self.area(shape, str(action))
            self.line(shape.boundary, "place")
            self.drawn.keep_clear(shape.boundary)

    def heights(self, marks: list[Mark]) -> None:
        """Signs of all marks; then words: the deepest, the corners, the numbers of the places, and what has room."""
        at = [self.at(mark.x, mark.y) for mark in marks]
        shown = [k for k, xy in enumerate(at) if self.seen(*xy)]
        names = dict.fromkeys(mark.place for mark in marks)
        for row in self.plan.patches.to_dict("records"):
            words = f"{number_of(str(row['name']))} {WORDS[str(row['action'])]}"
            self._number(self.shape(row["outline"]), self._others(str(row["name"])), words)
        inside = {name: [k for k in shown if marks[k].kind == "inside" and marks[k].place == name] for name in names}
        for own in inside.values():
            if own:
                deepest = max(own, key=lambda k: abs(marks[k].change))
                self._inside(deepest, marks[deepest], *at[deepest], always=True)
        for k in shown:
            corner = marks[k].kind == "corner"
            if corner:
                self.drawn.sign(*at[k], "corner", 1.0)
            else:
                self.drawn.signs.append([*at[k], "dot"])  # heights may cover other marks of a close grid
        for k in shown:
            if marks[k].kind == "corner":
                self._corner(k, marks[k], *at[k])
        for own in inside.values():
            for k in self._spread(own, at, marks):
                self._inside(k, marks[k], *at[k])

    def _spread(self, own: list[int], at: list[tuple[float, float]], marks: list[Mark]) -> Iterable[int]:
        """Marks of a place on a grid that leaves room for their words first, those without a change last."""
        if not own:
            return ()
        x0, y0 = (min(at[k][axis] for k in own) for axis in (0, 1))
        pitch = STEP_MM[self.unit] / 2 / self.layout.scale
        wide = math.ceil(14.5 / pitch - 1e-6)
        high = math.ceil(9.0 / pitch - 1e-6)

        def off(k: int) -> bool:
            return bool(round((at[k][0] - x0) / pitch) % wide or round((at[k][1] - y0) / pitch) % high)

        same = {k: self.datum.rule.change(marks[k].change) == "0" for k in own}
        return sorted(own, key=lambda k: (same[k], off(k), at[k][1], at[k][0]))

    def _inside(self, k: int, mark: Mark, x: float, y: float, *, always: bool = False) -> None:
        if k in self.drawn.labeled:
            return
        words = (self.datum.reading(mark.height), "reading", -2.3), (self.datum.rule.change(mark.change), "small", 2.1)
        tried = [(0.0, 0.0)]
        if always:
            tried = [(dx, dy) for dy in (0, -2, 2, -4, 4, -6, 6) for dx in (0, -3, 3, -6, 6, -9, 9, -13, 13)]
        for dx, dy in tried:
            if all(self.drawn.is_free(x + dx, y + dy + down, text, kind) for text, kind, down in words):
                break
        else:
            if not always:
                return
            # across what stands there, whole on the sheet
            wide = max(text_size(text, kind)[0] for text, kind, _ in words) / 2
            dx, dy = min(max(x, wide), self.drawn.size[0] - wide) - x, 0.0
        for text, kind, down in words:
            self.drawn.put(x + dx, y + dy + down, text, kind)
        self.drawn.labeled.add(k)

    def _corner(self, k: int, mark: Mark, x: float, y: float) -> None:
        """Beside its corner, outside the outline where there is room."""
        words = self.datum.reading(mark.height)
        wide, high = (size / 2 + CLEAR + 1.1 for size in text_size(words, "small"))
        outlines = self.plan.patches.loc[self.plan.patches["name"] == mark.place, "outline"]
        middle = self.shape(outlines.iloc[0]).centroid
        elsewhere = self._others(mark.place)
        away = math.atan2(y - middle.y, x - middle.x)
        tried = []
        for more in (0.0, 1.0, 2.2):
            for turn in (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6, -6, 7, -7, 8):
                angle = away + turn * math.pi / 8
                ux, uy = math.cos(angle), math.sin(angle)
                far = 1 / max(abs(ux), abs(uy))
                tried.append((x + ux * far * (wide + more), y + uy * far * (high + more)))
        if self.drawn.put_first(_clear_of(elsewhere, tried, words, "small"), words, "small") is not None:
            self.drawn.labeled.add(k)

    def _others(self, name: str) -> BaseGeometry:
        """All places but one, on the sheet."""
        patches = self.plan.patches
        return self.shape(shapely.union_all(patches.loc[patches["name"] != name, "outline"].to_list()))

    def _number(self, shape: BaseGeometry, others: BaseGeometry, words: str) -> None:
        """A place's number and what is done there: above it, else beside or inside, never in another place."""
        here = shape.intersection(self.window)
        if here.is_empty or here.area < 0.5:
            return
        wide, high = text_size(words, "place")
        x0, y0, x1, y1 = here.bounds
        middle = (x0 + x1) / 2
        starts = (middle, x0 + wide / 2, x1 - wide / 2)
        tried = [(x, y0 - high / 2 - off) for off in (1.2, 3.0, 5.0, 7.0) for x in starts]
        tried += [(x, y1 + high / 2 + off) for off in (1.2, 3.0, 5.0, 7.0) for x in (middle, x0 + wide / 2)]
        tried += [(x, (y0 + y1) / 2 + off) for off in (0, -8, 8) for x in (x0 - wide / 2 - 2, x1 + wide / 2 + 2)]
        point = here.representative_point()
        inside = [
            (float(x), float(y))
            for y in np.arange(y0 + high / 2 + 1, y1 - high / 2, 2)
            for x in np.arange(x0 + wide / 2 + 1, x1 - wide / 2, 3)
        ]
        tried += sorted(inside, key=lambda xy: math.hypot(xy[0] - point.x, xy[1] - point.y))
        if self.drawn.put_first(_clear_of(others, tried, words, "place"), words, "place") is None:
            around = _clear_of(others, _around(point.x, point.y, 2.0), words, "place")
            free = self.drawn.put_first(around, words, "place")
            if free is not None:
                self.line(LineString([(point.x, point.y), free]), "leader")

    # -- members

    def _members(self, members: Members | None) -> Iterator[tuple[LineString, str]]:
        """Each member over the room, or in its walls, from its near end to its far one, on the sheet."""
        if members is None:
            return
        for name, line in members.lines(self.plan.x, self.plan.y):
            drawn = LineString([self.at(*xy) for xy in line.coords])
            if drawn.distance(self.inner) < 2 * WALL_MM:
                yield drawn, name

    def dashes(self) -> None:
        """Members beneath, as far as nothing is drawn over them."""
        for line, _ in self._members(self.plan.members):
            self.line(line.difference(self.holes), "member")

    def bodies(self) -> None:
        """Members that are set, as wide as they are; the others, and what straps cross, dashed."""
        plan = self.plan
        for line, _ in self._members(plan.crossing):
            self.line(line.difference(self.holes), "member")
        for line, name in self._members(plan.members):
            if plan.sets_members and name not in plan.lines:
                self.line(line.difference(self.holes), "member")
                continue
            assert plan.members is not None
            half = max(0.5, plan.members.thickness / self.layout.scale / 2)
            self.area(line.difference(self.holes).buffer(half, cap_style="flat"), "body")

    def rises(self, rises: list[Rise]) -> None:
        """What each top comes up by; the most and the least stand out."""
        rule = self.datum.rule
        least, most = (pick(range(len(rises)), key=lambda k: rises[k].mm) for pick in (min, max))
        x0, y0, x1, y1 = self.inner.bounds
        pitch = _pitches(rises, self.plan.survey)[0] / self.layout.scale
        widest = max(_wide(rise, rule) for rise in rises)
        close = self.plan.sets_members and pitch < widest + APART
        other = set(list(dict.fromkeys(rise.member for rise in rises))[1::2]) if close else set()
        for k, rise in enumerate(rises):
            words = rule.change(rise.mm).removeprefix("+")
            extreme = k in (least, most) and self.plan.members is not None
            kind = "extreme" if extreme else "strong" if abs(rise.mm) >= STRONG_MM[self.unit] - 0.01 else "small"
            kind = "small" if kind == "strong" and self.plan.way == "overlay" else kind
            wide, high = text_size(words, kind)
            x, y = self.at(rise.x, rise.y)
            y = min(max(y, y0 + high / 2 + 0.9), y1 - high / 2 - 0.9)
            if rise.member in other:
                y += ASIDE if y - ASIDE < y0 + high / 2 else -ASIDE
            # at a wall it stands inside, as far as its neighbor leaves room
            inside = min(max(x, x0 + wide / 2 + 0.7), x1 - wide / 2 - 0.7)
            room = max(0.0, (2 if close else 1) * pitch - (wide + widest) / 2 - APART)
            x += min(max(inside - x, -room), room)
            aside = (0.0, *(side * off for off in np.arange(0.5, room, 0.5) for side in (1, -1)))
            x += next((s for s in aside if not self.holes.intersects(box(*text_box(x + s, y, words, kind)))), 0.0)
            w, h = self.drawn.size
            if wide / 2 <= x <= w - wide / 2 and high / 2 <= y <= h - high / 2:
                self.drawn.put(x, y, words, kind)
                self.drawn.labeled.add(k)

    def member_names(self, *, set_only: bool) -> None:
        plan = self.plan
        for members in (plan.members, plan.crossing):
            for line, name in self._members(members):
                if not (set_only and name not in plan.lines):
                    self._name_member(line, name)

    def _name_member(self, line: LineString, name: str) -> None:
        """Beyond the member's far end where the sheet shows it, else on it."""
        seen = line.intersection(self.window)
        if seen.is_empty or seen.length < 1:
            return
        # the end at the top, or at the right
        (xa, ya), (x2, y2) = sorted((seen.coords[0], seen.coords[-1]), key=lambda end: round(end[0] - end[1], 6))
        far = math.hypot(x2 - xa, y2 - ya)
        ux, uy = (xa - x2) / far, (ya - y2) / far
        short = shortened(name, 8)
        wide, high = text_size(short, "member")
        half = (abs(ux) * wide + abs(uy) * high) / 2
        _, y0, x1, _ = self.inner.bounds
        # beyond the wall, where the sheet reaches so far
        beyond = max(0.0, y2 - y0 if abs(uy) > abs(ux) else x1 - x2)
        gap = WALL_MM + (1.0 if abs(uy) > abs(ux) else 2.2)
        along = (-beyond - half - gap, *np.arange(half + 1.0, far, 1.0).tolist())
        self.drawn.put_first(((x2 + s * ux, y2 + s * uy) for s in along), short, "member")

    def fixed_spots(self) -> None:
        """A diamond where the height is given, with its name beside it."""
        for spot in self.plan.fixed:
            x, y = self.at(spot.x, spot.y)
            if not self.seen(x, y):
                continue
            self.drawn.sign(x, y, "spot", 1.6)
            short = shortened(spot.name, 24)
            wide = text_size(short, "spot")[0] / 2
            near = [(x + side * (wide + 3), y + off) for off in (0, -3, 3, -6, 6) for side in (1, -1)]
            near += [(x + shift, y + off) for off in (-4, 4, -7, 7, -10, 10) for shift in (0, wide, -wide)]
            if short and self.drawn.put_first(near, short, "spot") is None:
                free = self.drawn.put_first(_around(x, y, 3.0), short, "spot")
                if free is not None:
                    self.line(LineString([(x, y), free]), "leader")

    # -- sheets that meet

    def match_lines(self) -> None:
        """Where neighboring sheets meet: a line through the middle of the overlap, and two crosses on it."""
        w, h = self.drawn.size
        half = OVERLAP / 2
        row, column = self.tile.row, self.tile.column
        names = {(tile.row, tile.column): tile.name for tile in self.layout.tiles}
        for there, x in (((row, column - 1), half), ((row, column + 1), w - half)):
            if there in names:
                self._match([(x, 0), (x, h)], [(x, h / 3), (x, 2 * h / 3)], names[there])
        for there, y in (((row - 1, column), half), ((row + 1, column), h - half)):
            if there in names:
                self._match([(0, y), (w, y)], [(w / 3, y), (2 * w / 3, y)], names[there])

    def _match(self, ends: list[tuple[float, float]], crosses: list[tuple[float, float]], other: str) -> None:
        line = LineString(ends)
        self.line(line, "match")
        for x, y in crosses:
            self.line(LineString([(x - 3, y), (x + 3, y)]), "cross")
            self.line(LineString([(x, y - 3), (x, y + 3)]), "cross")
        words = f"match {other}"
        upright = ends[0][0] == ends[1][0]
        points = [line.interpolate(part, normalized=True) for part in np.linspace(0.02, 0.98, 97)]
        asides = (0.0, 2.0, -2.0, 4.0, -4.0, 6.0, -6.0, 9.0, -9.0)
        places = ((p.x + off * upright, p.y + off * (not upright)) for off in asides for p in points)
        self.drawn.put_first(places, words, "match")


def as_data(drawn: Drawn) -> dict[str, Any]:
    """What stands on a sheet, for the template."""
    return {
        "lines": [[*(round(v, 4) for v in line[:4]), line[4]] for line in drawn.lines],
        "areas": [[[[round(v, 4) for v in xy] for xy in points], kind] for points, kind in drawn.areas],
        "signs": drawn.signs,
        "texts": drawn.texts,
        "across": drawn.across,
        "up": drawn.up,
    }


def _around(x: float, y: float, step: float) -> Iterator[tuple[float, float]]:
    """Places [mm] all round one, ever farther off."""
    for r in np.arange(8.0, 60.0, step):
        for turn in np.arange(0, 2 * math.pi, math.pi / 8):
            yield x + r * math.cos(turn), y + r * math.sin(turn)


def _clear_of(
    areas: BaseGeometry, places: Iterable[tuple[float, float]], words: str, kind: str
) -> Iterator[tuple[float, float]]:
    """Those of the places at which a text touches none of the areas."""
    return (place for place in places if not areas.intersects(box(*text_box(*place, words, kind))))


def _lines_of(geometry: BaseGeometry) -> Iterator[LineString]:
    if isinstance(geometry, LineString):
        if not geometry.is_empty:
            yield geometry
    else:
        for part in getattr(geometry, "geoms", ()):
            yield from _lines_of(part)
