"""What the maps share: heights drawn smoothly, contours, outline, openings and stations."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import contourpy
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colorbar import Colorbar
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from matplotlib.text import Annotation
from matplotlib.transforms import ScaledTranslation
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from flatness.arrays import Floats
from flatness.charts.axes import (
    INK,
    NEAR,
    Extent,
    FreeSpace,
    PlaceList,
    colour_bar,
    dress_map,
    map_axes,
    note,
    paper,
    put_marks,
    rings,
    root_of,
    turns_of,
)
from flatness.charts.scales import Scale, printed
from flatness.lengths import settle
from flatness.surface.lattice import Surface, bilinear, grid_axes, places_on
from flatness.survey.readings import Survey
from flatness.survey.walls import door_leaf, wall_openings

LEAST_WIDE, LEAST_HIGH = 0.48, 0.2  # of a map, as parts of its other side
PIXELS = 480  # about as many along the longer side of a map
HALO = [withStroke(linewidth=2.2, foreground="white")]


@dataclass(frozen=True, eq=False, kw_only=True)
class BaseMap:
    """What every map has.

    Attributes
    ----------
    ax, image, colour_bar, scale : the map and its steps
    stations : marks of the readings; None without a survey
    outline : outline, openings and their names
    """

    ax: Axes
    image: AxesImage
    colour_bar: Colorbar
    scale: Scale
    stations: Line2D | None
    outline: tuple[Artist, ...]


def begin_map(
    surface: Surface,
    grid: tuple[Floats, Floats, Floats],
    scale: Scale,
    heading: tuple[str, str],
    ends: tuple[str, str],
    survey: Survey | None,
    ax: Axes | None,
    *,
    signed: bool = False,
    listed: PlaceList | None = None,
) -> tuple[BaseMap, FreeSpace]:
    """Axes, heights of a grid (:func:`fine`), colour bar with the names of its ends, stations, outline.

    Returns the artists, and what is free beside them for labels.
    """
    bounds, kind = bounds_of(surface, survey), survey.surface if survey is not None else "surface"
    turns = survey.turns if survey is not None else 0
    longest = max(map(len, scale.labels(True)))
    ax, cax, way = map_axes(with_margin(bounds, turns), heading, longest, ax, listed, turns)
    image = draw_image(ax, grid, scale, survey)
    dress_map(ax, bounds, kind, scale.unit, survey)
    colours, space = colour_bar(cax, scale, way, ends, signed=signed), FreeSpace(ax)
    stations = draw_stations(ax, survey) if survey is not None else None
    outline = draw_outline(ax, survey, space)
    base = BaseMap(ax=ax, image=image, colour_bar=colours, scale=scale, stations=stations, outline=outline)
    return base, space


def bounds_of(surface: Surface, survey: Survey | None) -> Extent:
    """What the surface, its stations and its outline span [mm]."""
    boxes = [(surface.x[0], surface.y[0], surface.x[-1], surface.y[-1])]
    if survey is not None:
        boxes += [survey.outline.bounds] if survey.outline is not None else []
        sx, sy, _, _ = survey.stations()
        boxes += [(sx.min(), sy.min(), sx.max(), sy.max())] if len(sx) else []
    sides = np.array(boxes, dtype=np.float64)
    (x0, y0), (x1, y1) = sides[:, :2].min(axis=0), sides[:, 2:].max(axis=0)
    return float(x0), float(x1), float(y0), float(y1)


def with_margin(bounds: Extent, turns: int = 0) -> Extent:
    """What a map shows [mm], turned so or not: the surface and a margin."""
    x0, x1, y0, y1 = bounds
    margin = 0.05 * max(x1 - x0, y1 - y0)
    wide, high = x1 - x0 + 2 * margin, y1 - y0 + 2 * margin
    # a corridor is shown with room beside it for what is written on the map
    least = (LEAST_HIGH, LEAST_WIDE) if turns % 2 else (LEAST_WIDE, LEAST_HIGH)
    more_x, more_y = max(0.0, least[0] * high - wide) / 2, max(0.0, least[1] * wide - high) / 2
    out_x, out_y = margin + more_x, margin + more_y
    return x0 - out_x, x1 + out_x, y0 - out_y, y1 + out_y


def fine(surface: Surface, values: Floats) -> tuple[Floats, Floats, Floats]:
    """x, y and values [mm] of the lattice on a finer one, bilinear, so that steps have smooth edges."""
    ny, nx = values.shape
    times = max(1, min(64, PIXELS // max(nx, ny)))
    x, y = (
        np.linspace(axis[0], axis[-1], (len(axis) - 1) * times + 1) if len(axis) > 1 else axis
        for axis in (surface.x, surface.y)
    )
    if times == 1 or min(nx, ny) < 2:
        return surface.x, surface.y, values
    return x, y, bilinear(surface.x, surface.y, values, x, y)


def draw_image(ax: Axes, grid: tuple[Floats, Floats, Floats], scale: Scale, survey: Survey | None) -> AxesImage:
    x, y, values = grid
    half_x, half_y = ((a[1] - a[0]) / 2 if len(a) > 1 else 1.0 for a in (x, y))
    limits = ax.get_xlim(), ax.get_ylim()
    image = ax.imshow(
        np.ma.masked_invalid(values),
        cmap=scale.colours,
        norm=scale.norm,
        origin="lower",
        aspect=ax.get_aspect(),
        extent=(x[0] - half_x, x[-1] + half_x, y[0] - half_y, y[-1] + half_y),
        interpolation="nearest",
        zorder=1,
    )
    ax.set(xlim=limits[0], ylim=limits[1])
    if survey is not None and survey.outline is not None:
        image.set_clip_path(outline_path(survey.outline), ax.transData)
    return image


def outline_path(area: Polygon) -> Path:
    """A polygon with its holes as one path."""
    rings_ = [area.exterior, *area.interiors]
    return Path.make_compound_path(*(Path(np.asarray(ring.coords)[:, :2], closed=True) for ring in rings_))


def path_of(area: BaseGeometry) -> Path:
    """Polygons with their holes as one path."""
    parts = [part for part in getattr(area, "geoms", [area]) if part.geom_type == "Polygon" and not part.is_empty]
    return Path.make_compound_path(*map(outline_path, parts)) if parts else Path(np.zeros((0, 2)))


def region(grid: tuple[Floats, Floats, Floats], low: float, high: float = np.inf) -> Path:
    """The places whose values are between two, as one path; empty where none are."""
    x, y, values = grid
    if min(values.shape) < 2 or not np.isfinite(values).any() or float(np.nanmax(values)) < low:
        return Path(np.zeros((0, 2)))
    generator = contourpy.contour_generator(
        x, y, np.ma.masked_invalid(values), name="serial", fill_type=contourpy.FillType.OuterCode
    )
    filled: Any = generator.filled(low, high)
    parts = [Path(points, codes) for points, codes in zip(*filled, strict=True)]
    return Path.make_compound_path(*parts) if parts else Path(np.zeros((0, 2)))


def contour_lines(grid: tuple[Floats, Floats, Floats], levels: Floats) -> list[tuple[float, Floats]]:
    """(level, [n, 2]) of every contour line [mm]."""
    x, y, values = grid
    if min(values.shape) < 2 or not np.isfinite(values).any():
        return []
    generator = contourpy.contour_generator(x, y, np.ma.masked_invalid(values), name="serial")
    return [(float(level), np.asarray(line)) for level in levels for line in generator.lines(level)]


def levels_within(scale: Scale, values: Floats) -> Floats:
    """Contours stand at the step edges; the reference itself is left to the colours."""
    most = float(np.nanmax(np.abs(values))) if np.isfinite(values).any() else 0.0
    levels: Floats = scale.edges[(scale.edges != 0) & (np.abs(scale.edges) < most + 1e-6)]
    return levels


def draw_region(ax: Axes, path: Path, survey: Survey | None, **style: Any) -> PathPatch:
    """A region hatched, within the outline where one is stated."""
    patch = PathPatch(path, **{"facecolor": "none", **style})
    ax.add_artist(patch)
    if survey is not None and survey.outline is not None:
        patch.set_clip_path(outline_path(survey.outline), ax.transData)
    return patch


def draw_contours(ax: Axes, lines: Sequence[tuple[float, Floats]], limit: float | None) -> LineCollection:
    """Solid where the surface is proud, dashed where it is low; the limit is drawn heavier."""
    at_limit = [limit is not None and settle(abs(level)) == settle(limit) for level, _ in lines]
    dashes: list[Any] = [(0, None) if level > 0 else (0, (4, 2)) for level, _ in lines]
    widths = [1.7 if heavy else 0.8 for heavy in at_limit]
    collection = LineCollection(
        [line for _, line in lines], colors=INK, zorder=3, linewidths=widths or 0.8, linestyles=dashes or "solid"
    )
    ax.add_collection(collection, autolim=False)
    return collection


def label_contours(
    ax: Axes, lines: Sequence[tuple[float, Floats]], unit: str, space: FreeSpace, stations: Floats
) -> list[Annotation]:
    """What the contours stand for, once or twice a level, where there is room on the line.

    A label keeps clear of the ``stations`` [n, 2] too, unless its level would have none.
    """
    texts: list[Annotation] = []
    longest = sorted(lines, key=lambda pair: -_length(pair[1]))
    marked = space.copy()
    marked.take_marks(stations, 1.8)
    for level in sorted({level for level, _ in lines}, key=abs):
        own = [line for other, line in longest if other == level and np.ptp(space.pixels(line), axis=0).max() >= 30]
        words = printed(level, unit, 64, signed=True)
        put = [text for line in own[:2] if (text := _label_on(ax, line, words, marked)) is not None]
        put = put or [text for line in own[:1] if (text := _label_on(ax, line, words, space)) is not None]
        for text in put:
            for part in (space, marked):
                part.take_text(text)
        texts += put
    return texts


def _label_on(ax: Axes, line: Floats, words: str, space: FreeSpace) -> Annotation | None:
    text = note(
        ax, words, (0, 0), fontsize=8.5, zorder=5, ha="center", va="center", bbox=paper(0.12, "none", alpha=0.85)
    )
    for part in sorted(np.linspace(0.04, 0.96, 41), key=lambda part: abs(part - 0.5)):
        x, y = line[int(part * (len(line) - 1))]
        text.xy = (float(x), float(y))
        if space.place(text, [(0, 0, "center", "center")], gap=0.3):
            return text
    text.remove()
    return None


def _length(line: Floats) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def draw_outline(
    ax: Axes, survey: Survey | None, space: FreeSpace | None = None, *, hatched: bool = True
) -> tuple[Artist, ...]:
    """Outline, doors and windows, and openings hatched, or blank, and named."""
    if survey is None:
        return ()
    edge: dict[str, Any] = {"edgecolor": INK, "zorder": 4}
    under: dict[str, Any] = {"facecolor": "white", "edgecolor": "#8b929a", "hatch": "xx", "linewidth": 0, "zorder": 3.5}
    artists: list[Artist] = []
    if survey.outline is not None:
        artists.append(draw_region(ax, outline_path(survey.outline), None, linewidth=1.8, **edge))
    for opening in survey.openings:
        path = outline_path(opening)
        if hatched:
            artists += [draw_region(ax, path, None, **under), draw_region(ax, path, None, linewidth=1.4, **edge)]
        else:
            artists.append(draw_region(ax, path, None, linewidth=1.4, **edge | {"facecolor": "white", "zorder": 3.5}))
    artists += draw_walls(ax, survey, space)
    if space is not None:
        artists += [_name_opening(ax, opening, space) for opening in survey.openings]
        for opening in survey.openings:
            space.take_area(opening.bounds)
    return tuple(artists)


def draw_walls(ax: Axes, survey: Survey | None, space: FreeSpace | None = None) -> tuple[Artist, ...]:
    """Doors and windows in the outline: a gap; the leaf and its swing with the word, or the lines of a pane."""
    if survey is None or survey.outline is None:
        return ()
    artists: list[Artist] = []
    for one, line in wall_openings(survey.outline, survey.walls):
        ends = np.asarray(line.coords)
        artists += ax.plot(*ends.T, color="white", linewidth=3.4, solid_capstyle="butt", zorder=4.1, clip_on=False)
        if one.kind == "window":
            upright = (one.side in ("left", "right")) != bool(turns_of(ax) % 2)
            for off in (-1.5 / 72, 0.0, 1.5 / 72):
                aside = (off, 0.0) if upright else (0.0, off)
                moved = ax.transData + ScaledTranslation(aside[0], aside[1], root_of(ax).dpi_scale_trans)
                style: dict[str, Any] = {"transform": moved, "clip_on": False, "solid_capstyle": "butt"}
                artists.append(ax.add_artist(Line2D(*ends.T, color=INK, linewidth=0.75, zorder=4.2, **style)))
            continue
        leaf, swing = door_leaf(survey.outline, one)
        artists += ax.plot(*leaf.T, color=INK, linewidth=0.75, zorder=4.2)
        artists += ax.plot(*swing.T, color=INK, linewidth=0.75, zorder=4.2)
        if space is not None:
            artists += _name_door(ax, leaf, swing, space)
    return tuple(artists)


def _name_door(ax: Axes, leaf: Floats, swing: Floats, space: FreeSpace) -> list[Artist]:
    """The word in the quarter of the swing, where it has room; elsewhere it would name another thing."""
    hinge, middle = leaf[0], (leaf[0] + swing[len(swing) // 2]) / 2
    text = note(ax, "door", (float(middle[0]), float(middle[1])), ha="center", va="center", fontweight="bold", zorder=6)
    for line in (leaf, swing):
        space.take_line(line, 1.0)
    wide, high = space.size(text)
    radius = space.points_between(tuple(hinge), tuple(leaf[1]))
    fits = radius > 1.6 * wide and radius > 2 * high
    if fits and space.place(text, [(0, 0, "center", "center")], gap=0.5):
        return [text]
    text.remove()
    return []


def space_beside(ax: Axes, outline: Sequence[Artist]) -> FreeSpace:
    """What is free in axes as they now stand, beside the openings drawn and their names."""
    space = FreeSpace(ax)
    for artist in outline:
        if isinstance(artist, Annotation):
            space.take_text(artist)
        elif isinstance(artist, PathPatch) and artist.get_hatch():
            x0, y0, x1, y1 = artist.get_path().get_extents().extents
            space.take_area((float(x0), float(y0), float(x1), float(y1)))
    return space


def _name_opening(ax: Axes, opening: Polygon, space: FreeSpace) -> Annotation:
    middle = opening.representative_point() if not opening.contains(opening.centroid) else opening.centroid
    text = note(ax, "opening", (middle.x, middle.y), ha="center", va="center", zorder=6, bbox=paper(0.2, "none"))
    x0, y0, x1, y1 = opening.bounds
    wide, high = space.extent((x0, y0, x1, y1))
    need, deep = (size + 4 for size in space.size(text))
    if need > wide and need <= high and deep <= wide:
        text.set_rotation(90)
    elif need > wide or deep > high:
        space.take_area(opening.bounds)
        space.place(text, rings(max(wide, high) / 2 + 4))
        return text
    if not space.place(text, [(0, 0, "center", "center")]):
        space.place(text, [(0, dy, "center", "center") for dy in np.arange(-high / 2 + 8, high / 2 - 7, 6)])
    return text


def draw_stations(ax: Axes, survey: Survey) -> Line2D:
    x, y, _, _ = survey.stations()
    size = min(3.2, 0.3 * room_of_one(ax, len(x)))
    return put_marks(
        ax, "o", x, y, markersize=size, color=INK, markeredgecolor="white", markeredgewidth=0.16 * size, zorder=5
    )


def room_of_one(ax: Axes, count: int) -> float:
    """How far apart so many marks stand on a map that they fill evenly [points]."""
    box = ax.get_window_extent()
    return float(np.sqrt(box.width * box.height / max(count, 1))) * 72 / ax.get_figure(root=True).dpi  # type: ignore[union-attr]


def label_stations(ax: Axes, survey: Survey, values: Floats, unit: str, space: FreeSpace) -> tuple[Annotation, ...]:
    """The number at each station, thinned evenly on a grid and then wherever it would meet another mark."""
    x, y, _, _ = survey.stations()
    numbers = [printed(value, unit, 32).removesuffix('"').removesuffix(" mm") for value in values]
    widest = max(numbers, key=len, default="")
    probe = note(ax, widest, (0, 0), fontsize=8)
    width, height = space.size(probe)
    probe.remove()
    shown = _thinned(x, y, width + 8, height + 10, space)
    space.take_marks(np.column_stack([x, y])[shown], 1.8)
    texts = []
    for i in shown:
        text = note(ax, numbers[i], (float(x[i]), float(y[i])), fontsize=8, zorder=5, path_effects=HALO)
        if space.place(text, NEAR, gap=1.0):
            texts.append(text)
        else:
            text.remove()
    return tuple(texts)


def _thinned(x: Floats, y: Floats, width: float, height: float, space: FreeSpace) -> list[int]:
    axes = grid_axes(x, y)
    if axes is None:
        return list(range(len(x)))
    column, row, keep = places_on(*axes, x, y)
    for axis, place, step in ((axes[0], column, (1.0, 0.0)), (axes[1], row, (0.0, 1.0))):
        pitch = float(np.median(np.diff(axis)))
        across, up = space.extent((0.0, 0.0, pitch * step[0], pitch * step[1]))
        stride = max(1, int(np.ceil(width / across if across > up else height / up)))
        keep &= place % stride == 0
    return [int(i) for i in np.flatnonzero(keep)]
