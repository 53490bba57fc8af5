"""Maps for papers at the size at which they are printed: the room as a plan, what is wrong in it, and its heights.

And the surface as it would look in light along it, as found and as planned: a picture that an owner understands.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.text import Annotation
from numpy.lib.stride_tricks import sliding_window_view
from scipy.ndimage import gaussian_filter
from shapely.geometry.base import BaseGeometry

from flatness.arrays import Floats
from flatness.charts import map_base as maps
from flatness.charts.axes import (
    NEAR,
    FreeSpace,
    as_seen,
    colour_bar,
    leader,
    new_figure,
    note,
    paper,
    rings,
    show_extent,
    turned,
)
from flatness.charts.hatching import PATTERNS
from flatness.charts.lit_surface import Lit, draw_lit, light_words
from flatness.charts.map_base import bounds_of
from flatness.charts.scales import Scale, deviation_scale, printed
from flatness.comparison.comparing import Comparison
from flatness.files import SOFTWARE
from flatness.light.lamps import Daylight, Light
from flatness.limits.kinds import Limit
from flatness.limits.measuring import lit_requirements
from flatness.limits.verdict import Assessment
from flatness.measures.bars import all_headings, gap_map, whole_steps, window_departures
from flatness.measures.planes import fit_surface_plane
from flatness.planning.plan import Plan
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey
from flatness.survey.walls import door_leaf, wall_openings
from flatness.words.lights import about

INK, SECOND, LINE = "#14181C", "#4A535C", "#7C868E"
# which way is which, in words that need no frame
ENDS = {"floor": ("low", "high"), "ceiling": ("high", "hangs low"), "wall": ("set back", "stands out")}
WAYS = {"floor": ("too low", "too high"), "ceiling": ("too high", "too low"), "wall": ("set back", "stands out")}
SEEN = {
    "floor": "",
    "ceiling": "The ceiling is drawn as in a mirror on the floor.",
    "wall": "The wall is drawn as you face it.",
}
SMALL = 8.0  # the least type [points]
NEAR_SHARE = 2 / 3  # of what is allowed: more than this is close to it
HEADINGS = 12  # in which a bar is set, as in a check
TWICE = 2.0  # from here on a place is drawn darker
WALL_MM, LEAST_WALL, MOST_WALL = 85.0, 2.2, 7.0  # how thick a wall is drawn, how thick at least and at most [points]
STEP = 5.0  # between the lines of a texture [points]
BAR_IN, FOOT_IN, NAME_IN = 0.15, 0.5, 0.28  # of the bar of colors, below it, and of a map's name [in]
APART_IN = 0.3


@dataclass(frozen=True, eq=False)
class Panel:
    """One map of a figure: heights off a plane [mm], what they are called, and the survey that has the room."""

    name: str
    surface: Surface
    survey: Survey | None


class RoomMap:
    """A room drawn as a plan, without axes: walls, openings, and what is laid into it.

    Parameters
    ----------
    ax : to draw in; it is made as large as the room
    surface : whose room it is where no outline is stated
    survey : with the room's outline and openings
    least_wall : how thick walls are drawn at least [points]
    """

    def __init__(self, ax: Axes, surface: Surface, survey: Survey | None, least_wall: float = LEAST_WALL) -> None:
        self.ax, self.survey, self._layer = ax, survey, 1.0
        x0, x1, y0, y1 = bounds = maps.bounds_of(surface, survey)
        self.turns = survey.turns if survey is not None else 0
        outline = survey.outline if survey is not None else None
        self.room = shapely.box(x0, y0, x1, y1) if outline is None else outline
        self.holes = shapely.union_all(list(survey.openings) if survey is not None else [])
        figure = ax.get_figure(root=True)
        assert isinstance(figure, Figure)
        box = ax.get_position()
        wide, high = box.width * figure.get_figwidth() * 72, box.height * figure.get_figheight() * 72
        across, up = as_seen(bounds, self.turns)
        self.per = max(across / (wide - 2 * least_wall), up / (high - 2 * least_wall))  # mm a point
        self.wall = float(np.clip(WALL_MM, least_wall * self.per, MOST_WALL * self.per))
        margin = self.wall
        show_extent(ax, (x0 - margin, x1 + margin, y0 - margin, y1 + margin), self.turns)
        ax.set_axis_off()
        self.fill(self.room.buffer(self.wall, join_style="mitre"), INK, zorder=0.5)
        self.fill(self.room, "white", zorder=0.6)
        self.doors = self._wall_openings()

    def fill(self, area: BaseGeometry | Path, color: str, **style: Any) -> PathPatch | None:
        """An area of one color; none where it is empty."""
        path = area if isinstance(area, Path) else maps.path_of(area)
        if not np.size(path.vertices):
            return None
        patch = PathPatch(path, **{"facecolor": color, "edgecolor": "none", "linewidth": 0, **style})
        self.ax.add_patch(patch)
        return patch

    def lay(self, area: BaseGeometry | Path, kind: str, *, edge: bool = True) -> None:
        """An area of one meaning: color, texture and edge, within the room."""
        look = PATTERNS[kind]
        texture, pen = look.texture, look.line
        path = area if isinstance(area, Path) else maps.path_of(area)
        room = maps.path_of(self.room.difference(self.holes))
        self._layer += 0.01  # what is laid later lies above
        patch = self.fill(path, look.face, zorder=self._layer)
        if patch is None:
            return
        patch.set_clip_path(room, self.ax.transData)
        if edge and pen:
            ink = INK if kind in ("high", "low", "higher", "lower", "add", "off") else pen
            line = self.fill(path, "none", edgecolor=ink, linewidth=0.9, zorder=self._layer + 0.005)
            assert line is not None
            line.set_clip_path(room, self.ax.transData)
        x0, y0, x1, y1 = path.get_extents().extents
        if texture:
            seen = np.sort(turned([(x0, y0), (x1, y1)], self.turns), axis=0)
            lines, width = _texture(texture, (*seen[0], *seen[1]), STEP * self.per)
            # as one path: a drawing of thousands of lines is slow to print
            ways = Path.make_compound_path(*(Path(turned(line, -self.turns)) for line in lines))
            style = {"edgecolor": pen, "linewidth": width, "capstyle": "round", "zorder": self._layer + 0.003}
            drawn = self.fill(ways, "none", **style)
            assert drawn is not None
            drawn.set_clip_path(path, self.ax.transData)

    def _wall_openings(self) -> list[tuple[Floats, Floats]]:
        """Doors and windows as gaps in the wall, windows with the lines of a pane; leaf and swing of each door."""
        doors = []
        if self.survey is None or self.survey.outline is None:
            return []
        for one, line in wall_openings(self.survey.outline, self.survey.walls):
            gap = line.buffer(self.wall * 1.02, cap_style="flat").difference(self.room)
            self.fill(gap, "white", zorder=0.7)
            if one.kind == "door":
                doors.append(door_leaf(self.survey.outline, one))
                continue
            x0, y0, x1, y1 = gap.bounds
            for part in (0.03, 0.5, 0.97):
                x, y = x0 + part * (x1 - x0), y0 + part * (y1 - y0)
                ends = ([x, x], [y0, y1]) if one.side in ("left", "right") else ([x0, x1], [y, y])
                self.ax.plot(*ends, color=INK, linewidth=0.75, solid_capstyle="butt", zorder=0.8)
        return doors

    def openings(self, space: FreeSpace | None = None) -> None:
        """The openings, white, and the doors, each with its word where it has room."""
        for leaf, swing in self.doors:
            for line in (leaf, swing):
                self.ax.plot(*line.T, color=INK, linewidth=0.75, zorder=2, scalex=False, scaley=False)
                if space is not None:
                    space.take_line(line, 1.0)
            middle = (leaf[0] + swing[len(swing) // 2]) / 2
            if space is not None and np.hypot(*(leaf[1] - leaf[0])) / self.per > 40:
                at = (float(middle[0]), float(middle[1]))
                box = {"boxstyle": "round,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.85}
                text = self._words("door", at, ha="center", va="center", fontweight="bold", bbox=box)
                if not space.place(text, [(0, 0, "center", "center")]):
                    text.remove()
        for part in getattr(self.holes, "geoms", [self.holes]):
            if part.is_empty:
                continue
            self.fill(part, "white", edgecolor=INK, linewidth=1.5, zorder=2)
            if space is None:
                continue
            x0, y0, x1, y1 = part.bounds
            wide, high = (size * self.per for size in space.extent(part.bounds))
            upright = high > wide
            if max(x1 - x0, y1 - y0) / self.per > 44 and min(x1 - x0, y1 - y0) / self.per > 11:
                self.ax.text(
                    (x0 + x1) / 2,
                    (y0 + y1) / 2,
                    "opening",
                    fontsize=SMALL,
                    color=INK,
                    ha="center",
                    va="center",
                    rotation=90 if upright else 0,
                    zorder=3,
                )
            space.take_area(part.bounds)

    def point_out(self, words: str, at: tuple[float, float], space: FreeSpace) -> None:
        """A dot at a place, and words in a box beside it with a leader that keeps out of the openings."""
        self.ax.plot(*at, "o", color=INK, markersize=7, zorder=7, markeredgecolor="white", scalex=False, scaley=False)
        space.take_marks(np.array([at], dtype=np.float64), 8)
        style: dict[str, Any] = {"bbox": paper(0.3, linewidth=0.9), "arrowprops": leader(1.05, 2)}
        text = self._words(words, at, fontsize=9, fontweight="bold", **style)
        free = []
        for dx, dy, ha, va in rings(16, 300, 8):
            x, y = turned((dx, dy), -self.turns)[0] * self.per
            if not self.holes.intersects(shapely.LineString([at, (at[0] + x, at[1] + y)])):
                free.append((dx, dy, ha, va))
        placed = space.place(text, [*free, *rings(16, 300, 8)], leader=True)
        text.remove()
        if placed:  # with the leader at that corner or side of the box from which it was placed
            sides = {"left": 0.0, "bottom": 0.0, "center": 0.5, "right": 1.0, "top": 1.0}
            ha, va = text.get_horizontalalignment(), text.get_verticalalignment()
            style["arrowprops"]["relpos"] = (sides[ha], sides[va])
            self._words(words, at, text.get_position(), ha=ha, va=va, fontsize=9, fontweight="bold", **style)

    def name(self, words: str, area: BaseGeometry, space: FreeSpace) -> None:
        """Words in a white box within an area, upright where they have room only so; none where they have none."""
        style: dict[str, Any] = {"bbox": paper(0.2, "none")}
        x0, y0, x1, y1 = area.bounds
        middle = area.representative_point()
        for turn in (0, 90):
            text = self._words(words, (middle.x, middle.y), rotation=turn, ha="center", va="center", **style)
            wide, high = (size * self.per / 2 for size in space.size(text)[:: -1 if self.turns % 2 else 1])
            spots = [(middle.x, middle.y)]
            spots += [(x, y) for y in np.linspace(y0, y1, 15)[1:-1] for x in np.linspace(x0, x1, 15)[1:-1]]
            inside = [
                (*(turned((x - middle.x, y - middle.y), self.turns)[0] / self.per).tolist(), "center", "center")
                for x, y in spots
                if area.contains(shapely.box(x - wide, y - high, x + wide, y + high))
            ]
            if inside and space.place(text, inside):
                return
            text.remove()

    def _words(
        self, words: str, at: tuple[float, float], off: tuple[float, float] = (0, 0), **style: Any
    ) -> Annotation:
        return note(self.ax, words, at, off, **{"fontsize": SMALL + 0.5, "zorder": 8, **style})


def _texture(kind: str, box: tuple[float, float, float, float], step: float) -> tuple[list[Floats], float]:
    """Lines [mm] of a texture over a box, and their width [points]."""
    x0, y0, x1, y1 = box
    columns, rows = (np.arange(low // step, high / step + 1) * step for low, high in ((x0, x1), (y0, y1)))
    if kind == "dots":
        spots = [(x + (k % 2) * step / 2, y) for k, y in enumerate(rows) for x in columns]
        return [np.array([(x, y), (x + step / 100, y)]) for x, y in spots], 1.4
    if kind == "slant":
        starts = np.arange((x0 - y1 + y0) // step, x1 / step + 1) * step
        return [np.array([(x, y0), (x + y1 - y0, y1)]) for x in starts], 1.1
    if kind == "waves":
        along = np.arange(x0, x1 + step / 4, step / 4)
        return [np.column_stack([along, y + step / 5 * np.sin(along / step * math.pi)]) for y in rows], 0.9
    upright = kind == "upright"
    across, along = (columns, rows) if upright else (rows, columns)
    dashes = [np.array([(u, v), (u, v + step / 2)]) for k, u in enumerate(across) for v in along + (k % 2) * step / 2]
    return dashes if upright else [line[:, ::-1] for line in dashes], 0.8


def share_of_limit(surface: Surface, limit: Limit | None) -> Floats | None:
    """How much of what is allowed each place uses up [ny, nx]; positive where it is proud, negative where it lies back.

    Under a bar a place is wrong by the gap that it shows, or by how far it stands above the line of two others a bar
    apart; which of the two is meant there, the median height of a bar's reach says. None: the kind of limit is one that
    no single place breaks.
    """
    if limit is None or not limit.allowed:
        return None
    z = surface.height
    if limit.kind == "straightedge" and limit.length is not None:
        low, high = (gap_map(side, surface.spacing, limit.length, HEADINGS) for side in (z, -z))
        off = z - _median_around(surface, limit.length)
        least = np.maximum(low, high) / 4  # so far off its surroundings a place is, where it is what is wrong
        signed = np.where(off <= -least, -low, np.where(off >= least, high, 0.0))
        # what is neither: a bar over it shows a gap that another place makes
        beside = np.minimum(np.maximum(low, high), limit.allowed) * np.where(off < 0, -1, 1)
        if np.nanmax(np.maximum(low, high), initial=0) > limit.allowed >= np.nanmax(np.abs(signed), initial=0):
            return -low / limit.allowed
        return np.where(signed == 0, beside, signed) / limit.allowed
    if limit.kind == "offset" and limit.length is not None:
        high, low = _off_chords(surface, limit.length)
        return np.where(high >= -low, high, low) / limit.allowed
    if limit.kind == "level" and limit.parameters["distance"] is None:
        return (z - (np.nanmax(z) + np.nanmin(z)) / 2) / (limit.allowed / 2)
    if limit.kind == "plane":
        return (z - fit_surface_plane(surface).at(*np.meshgrid(surface.x, surface.y))) / limit.allowed
    return None


def _off_chords(surface: Surface, length: float) -> tuple[Floats, Floats]:
    """How far nodes stand above and below the chords of a bar on equal blocks [ny, nx] mm; 0 where none reaches."""
    high, low = np.zeros(surface.height.shape), np.zeros(surface.height.shape)
    for heading in all_headings(HEADINGS):
        steps = whole_steps(length, surface.spacing * heading.step)
        if steps >= 2:
            up, down = window_departures(surface.height, heading, steps, surface.spacing)
            high, low = np.fmax(high, up), np.fmin(low, down)
    return np.where(surface.inside, high, np.nan), np.where(surface.inside, low, np.nan)


def _median_around(surface: Surface, length: float) -> Floats:
    """Median height [ny, nx] mm within half a bar of each node, with the surface's slope taken out first."""
    plane = fit_surface_plane(surface).at(*np.meshgrid(surface.x, surface.y))
    reach = max(1, round(length / 2 / surface.spacing))
    stride = max(1, reach // 5)
    reach = stride * round(reach / stride)
    padded = np.pad(surface.height - plane, reach, constant_values=np.nan)
    windows = sliding_window_view(padded, (2 * reach + 1,) * 2)[..., ::stride, ::stride]
    flat = windows.reshape(*surface.height.shape, -1)
    known = np.isfinite(surface.height)
    out = np.full(surface.height.shape, np.nan)
    out[known] = np.nanmedian(flat[known], axis=-1)
    return out + plane


def lay_shares(room: RoomMap, surface: Surface, share: Floats, *, decided: bool = True, most: float = math.inf) -> None:
    """What is fine, near, too high and too low; ``most`` is the share beyond which nothing is shown to be."""
    share = np.clip(share, -most, most)
    grid, size = maps.fine(surface, share), maps.fine(surface, np.abs(share))
    room.lay(room.room, "unread", edge=False)
    for parts, low, kind in ((size, -1.0, "fine"), (size, NEAR_SHARE, "near")):
        room.lay(maps.region(parts, low), kind, edge=kind == "near")
    if not decided:
        room.lay(maps.region(size, 1 + 1e-9), "undecided")
        return
    for side, kinds in ((1, ("high", "higher")), (-1, ("low", "lower"))):
        own = (*grid[:2], side * grid[2])
        for low, kind in zip((1 + 1e-9, TWICE), kinds, strict=True):
            room.lay(maps.region(own, low), kind, edge=low < TWICE)


def seen_size(surface: Surface, survey: Survey | None) -> tuple[float, float]:
    """Width and height [mm] of a room as its map shows it, the door at its foot."""
    return as_seen(maps.bounds_of(surface, survey), survey.turns if survey is not None else 0)


def room_figure(surface: Surface, survey: Survey | None, width: float, tallest: float) -> tuple[Figure, RoomMap]:
    """A figure [in] that just holds the room, as wide as it may be."""
    across, up = seen_size(surface, survey)
    size = min(width / across, tallest / up)
    figure = new_figure(size * across, size * up)
    return figure, RoomMap(figure.add_axes((0, 0, 1, 1)), surface, survey)


def key_picture(kind: str) -> Figure:
    """A swatch of what a color and its texture mean."""
    figure = new_figure(0.26, 0.18)
    square = Surface(x=np.array([0.0, 26e3]), y=np.array([0.0, 18e3]), height=np.zeros((2, 2)), spacing=18e3)
    room = RoomMap(figure.add_axes((0, 0, 1, 1)), square, None, least_wall=0.8)
    room.lay(room.room, kind)
    return figure


def heat_maps(panels: Sequence[Panel], kind: str, unit: str, width: float, tallest: float) -> Figure:
    """Heights of one day, or of two on one scale, side by side, with what their colors mean in lengths.

    Parameters
    ----------
    panels : one or two; a panel's heights [ny, nx] mm are shown as they are
    kind : floor, ceiling or wall
    unit : ``in`` or ``mm``
    width : of the figure [in]
    tallest : height that the maps together may take [in]
    """
    scale = deviation_scale(max(float(np.nanmax(np.abs(panel.surface.height))) for panel in panels), unit)
    across, up = seen_size(panels[0].surface, panels[0].survey)
    count = len(panels)
    beside, above = (width - (count - 1) * APART_IN) / count / across, (tallest / count - NAME_IN) / up
    stacked = count > 1 and min(width / across, above) > 1.25 * min(beside, tallest / up)
    size = min(width / across, above) if stacked else min(beside, tallest / up)
    w, h = size * across, size * up
    rows = count if stacked else 1
    height = rows * (h + NAME_IN) + BAR_IN + FOOT_IN + 0.15
    figure = new_figure(width, height)
    for k, panel in enumerate(panels):
        row, column = (k, 0) if stacked else (0, k)
        left, bottom = column * (w + APART_IN), height - (row + 1) * (NAME_IN + h)
        ax = figure.add_axes((left / width, bottom / height, w / width, h / height))
        _heights(RoomMap(ax, panel.surface, panel.survey), panel, scale, unit)
    # as wide as the maps, but for what its end labels reach beyond it
    across = max(w if stacked else count * w + (count - 1) * APART_IN, 3.4) - 0.7
    bar = figure.add_axes((0.35 / width, FOOT_IN / height, across / width, BAR_IN / height))
    colour_bar(bar, scale, "horizontal", ENDS[kind], signed=True)
    return figure


def _heights(room: RoomMap, panel: Panel, scale: Scale, unit: str) -> None:
    """Heights in steps of color, contours between them, the highest and the lowest place written there."""
    ax, surface = room.ax, panel.surface
    grid = maps.fine(surface, surface.height)
    maps.draw_image(ax, grid, scale, panel.survey)
    # in grey a high place and a low one are told apart by their lines
    maps.draw_contours(ax, maps.contour_lines(grid, scale.edges[scale.edges != 0]), scale.limit)
    ax.set_title(panel.name, loc="left", fontsize=9.5, fontweight="bold", color=INK, pad=4, parse_math=False)
    space = FreeSpace(ax)
    room.openings(space)
    for k in (int(np.nanargmax(surface.height)), int(np.nanargmin(surface.height))):
        j, i = np.unravel_index(k, surface.height.shape)
        mm, at = float(surface.height[j, i]), (float(surface.x[i]), float(surface.y[j]))
        words = printed(mm if unit == "in" else round(mm), unit, signed=True)
        if words == "0":
            continue
        style: dict[str, Any] = {"fontsize": 9, "fontweight": "bold", "color": "black", "path_effects": maps.HALO}
        text = note(ax, words, at, zorder=8, **style)
        if space.place(text, [*NEAR, *rings(6, 60, 6)]):
            ax.plot(*at, ".", color="black", markersize=5, zorder=7, scalex=False, scaley=False, clip_on=False)
        else:
            text.remove()


def svg_of(figure: Figure) -> bytes:
    """A figure as SVG, the same bytes each time."""
    out = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": SOFTWARE, "svg.fonttype": "path"}):
        figure.savefig(out, format="svg", facecolor="white", metadata={"Creator": SOFTWARE, "Date": None})
    return out.getvalue()


TALLEST_IN = 2.1
EASED = 1 / 8  # of a wave, one standard deviation: it keeps three quarters of its size


def lit_picture(
    assessment: Assessment | None, plan: Plan | None, comparison: Comparison | None, unit: str, width: float
) -> tuple[Figure, str] | None:
    """A limit's light on a surface, before and after side by side, and what must be known.

    None where no limit names a light. ``width`` [in] of the page.
    """
    limits = [] if assessment is None else [one.limit for one in assessment.judged if one.limit.kind == "light"]
    if assessment is None or not limits:
        return None
    limit, subject = limits[0], assessment.subject
    requirement = lit_requirements(limit, subject)[0]
    days = [("As found", likely_surface_of(assessment), subject.survey)]
    if comparison is not None and comparison.assessments is not None:
        after = comparison.assessments[1]
        days = [("Before", days[0][1], subject.survey), ("Now", likely_surface_of(after), after.subject.survey)]
    elif plan is not None:
        days.append(("As planned, not measured", _eased(plan, requirement.shortest), subject.survey))
    light: Light | None = requirement.lamp
    if light is None:
        assert limit.allowed is not None
        light = Daylight(angle=limit.allowed, heading=requirement.heading)
    pictures = [Lit(name=name, surface=surface, survey=survey) for name, surface, survey in days]
    figure = _side_by_side(pictures, light, width)
    words = (
        f"How the {subject.survey.surface} would look in {light_words(light, unit)}: drawn from the readings, which "
        f"show no wave shorter than {about(requirement.shortest, unit)}, with one exposure. Matt paint and this one "
        "light alone: texture, gloss and all other light are left out, so a lit room shows less."
    )
    if len(pictures) > 1 and comparison is None:
        words += " The creases from mark to mark are drawn as a wide knife eases them."
    return figure, words


def _side_by_side(pictures: Sequence[Lit], light: Light, width: float) -> Figure:
    x0, x1, y0, y1 = bounds_of(pictures[0].surface, pictures[0].survey)
    scale = min((width - APART_IN) / 2 / (x1 - x0), TALLEST_IN / (y1 - y0))
    w, h = scale * (x1 - x0), scale * (y1 - y0)
    figure = new_figure(width, h + NAME_IN)
    for k, one in enumerate(pictures):
        box = (k * (w + APART_IN) / width, 0.0, w / width, h / (h + NAME_IN))
        ax = figure.add_axes(box, frameon=False)
        ax.set(xlim=(x0, x1), ylim=(y0, y1), aspect="equal", xticks=[], yticks=[])
        draw_lit(ax, one, light)
        ax.set_title(one.name, loc="left", fontsize=9.5, fontweight="bold", color=INK, pad=4, parse_math=False)
    return figure


def likely_surface_of(assessment: Assessment) -> Surface:
    """The surface of a check as it likely is; as read where that was not worked out."""
    surface, likely = assessment.subject.surface, assessment.likely
    if likely is None:
        return surface
    return replace(surface, x=likely.x, y=likely.y, height=likely.mean, spacing=likely.spacing)


def _eased(plan: Plan, shortest: float) -> Surface:
    """As planned, but that creases of the work are no sharper than the shortest wave [mm] of the picture."""
    change = np.where(plan.surface.inside, plan.target - plan.surface.height, 0.0)
    eased = gaussian_filter(change, EASED * shortest / plan.surface.spacing, mode="nearest")
    return replace(plan.surface, height=plan.surface.height + eased)
