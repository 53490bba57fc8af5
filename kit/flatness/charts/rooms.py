"""A room drawn: its plan with the walls folded out, one sheet of what the crew sets out, and a view that turns.

Each wall lies with its foot along its line on the plan and its head outward, so that one who stands in the room and
turns sees each wall upright. Colours say how far each surface stands proud or shy of where it is brought to; without
targets, of its own best plane.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from matplotlib.path import Path as Path2D
from mpl_toolkits.mplot3d import Axes3D
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.charts.axes import colour_bar, new_figure, save_chart
from flatness.charts.heights import SurfaceMap, surface_map
from flatness.charts.scales import Scale, deviation_scale
from flatness.room.drawn import Drawn, fit_planes
from flatness.room.records import Room, RoomSurface
from flatness.room.set_out import diagonals, lettered, studs, wall_lines
from flatness.room.targets import RoomTargets
from flatness.surface.lattice import make_surface
from flatness.words.rooms import (
    AUTHORITY,
    added,
    answer,
    crew_answer,
    diagonal_rows,
    length_in_feet,
    off_benchmarks,
    strap_rows,
    trim_rows,
    wall_rows,
)
from flatness.words.ways import NOTHING

INK, PALE, GRID, LEFT_GRAY = "#1f2328", "#8a9199", "#c9ced4", "#e4e7ea"
SHEET_IN = (17.0, 11.0)
CLOSE_MM = 330.0  # what the words at one stud take along a wall
NAME_MM = 170.0  # from a wall's head to its name
TOUCHES_MM = 0.05
LETTER_IN = 0.1  # how far inside its corner a letter stands, of the way to the middle
MARKED: dict[str, Any] = {"fontsize": 7.5, "color": "#1f2328", "weight": "bold"}
BOX = {"facecolor": "white", "edgecolor": "none", "boxstyle": "round,pad=0.15"}
WALL_TABS = (0.0, 0.085, 0.21, 0.32, 0.4)
GAP_MM = 420.0  # between the plan and a wall that is folded out


@dataclass(frozen=True, eq=False, kw_only=True)
class RoomPlan:
    """A plan with its walls folded out.

    Attributes
    ----------
    ax : it was drawn into
    scale : steps and colours of the maps
    maps : one for each surface that was drawn, by its name
    texts : all that is written on it
    """

    ax: Axes
    scale: Scale
    maps: dict[str, Artist]
    texts: tuple[Artist, ...]


def room_plan(
    ax: Axes, room: Room, targets: RoomTargets | None = None, *, numbers: bool = True, labels: bool = True
) -> RoomPlan:
    """Draw a room in plan with its walls folded out around it.

    Parameters
    ----------
    ax : to draw into
    room : with its surfaces
    targets : that the colours are off; None: each surface's own best plane
    numbers : whether what is added to each stud, or comes off it, is written there
    labels : whether the studs' own names are

    Returns
    -------
    RoomPlan : what was drawn
    """
    shown = [one for one in room.surfaces.values() if one.kind in ("floor", "wall")]
    left = () if targets is None else targets.left
    off = {one.name: deviation(room, targets, one.name) for one in shown}
    most = max((float(np.nanmax(np.abs(values))) for values in off.values()), default=1.0)
    scale = deviation_scale(max(most, 0.1), room.show)
    lined = targets is not None and labels
    maps: dict[str, Artist] = {}
    texts: list[Artist] = []
    lines = wall_lines(targets) if targets is not None else None
    for one in shown:
        maps[one.name] = _map(ax, room, one, off[one.name], scale)
        texts += _left(ax, room, one, maps[one.name]) if one.name in left else []
        texts += _named(ax, room, one, (0.36, 0.2) if lined else (0.5, 0.5))
        if lines is not None and labels and one.kind == "wall":
            some = lines[lines["wall"] == one.name]
            texts += _numbered(ax, room, one, some if numbers and one.name not in left else lines[:0])
    if targets is not None and lined:
        texts += _checked(ax, targets)
        texts += _control_lines(ax, room)
    ax.set_aspect("equal")
    _frame(ax, shown, room)
    ax.set_axis_off()
    return RoomPlan(ax=ax, scale=scale, maps=maps, texts=tuple(texts))


def _frame(ax: Axes, shown: Sequence[RoomSurface], room: Room) -> None:
    """Limits that hold all surfaces and the names beyond them."""
    places = []
    for one in shown:
        west, east, south, north = room.drawn[one.name].extent
        beyond = 0.0 if one.wall is None else 2 * NAME_MM
        x, y = np.array([west, east, east, west]), np.array([south, south, north + beyond, north + beyond])
        places.append(np.column_stack(folded(room.drawn[one.name], x, y)))
    (west, south), (east, north) = np.concatenate(places).min(axis=0), np.concatenate(places).max(axis=0)
    ax.set(xlim=(west, east), ylim=(south, north))


def _map(ax: Axes, room: Room, one: RoomSurface, off: Floats, scale: Scale) -> Artist:
    """The colours of one surface, as far as it was read."""
    surface = room.drawn[one.name].surface
    west, east, south, north = room.drawn[one.name].extent
    # all cells of one color are one path: a page writes each cell as a path otherwise, which takes seconds
    steps = scale.norm(np.ma.masked_invalid(off))
    present = [int(step) for step in np.unique(steps.compressed())]
    colors, corners = scale.colours(present), folded(room.drawn[one.name], *_corners(surface.x, surface.y))
    mesh = PathCollection(
        [_cells(*corners, (steps == step).filled(False)) for step in present],
        facecolors=colors,
        edgecolors=colors,  # without an edge a page draws white hairlines between two colors
        linewidths=0.4,
    )
    ax.add_collection(mesh)
    edge = np.array([(west, south), (east, south), (east, north), (west, north)])
    mesh.set_clip_path(Path2D(np.column_stack(folded(room.drawn[one.name], *edge.T))), ax.transData)
    return mesh


def _corners(x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Corners [ny + 1, nx + 1] of the cells about the nodes of a lattice [mm]."""
    edges = (np.append(a, 2 * a[-1] - a[-2]) - (a[1] - a[0]) / 2 for a in (x, y))
    x, y = np.meshgrid(*edges)
    return x, y


def _cells(x: Floats, y: Floats, chosen: NDArray[np.bool_]) -> Path2D:
    """The chosen [ny, nx] of cells with these corners as one path."""
    row, column = np.nonzero(chosen)
    around = [(row + up, column + right) for up, right in ((0, 0), (0, 1), (1, 1), (1, 0), (0, 0))]
    places = np.stack([np.column_stack([x[at], y[at]]) for at in around], axis=1)
    codes = [Path2D.MOVETO, Path2D.LINETO, Path2D.LINETO, Path2D.LINETO, Path2D.CLOSEPOLY]
    return Path2D(places.reshape(-1, 2), np.tile(np.array(codes, dtype=Path2D.code_type), len(places)))


def deviation(room: Room, targets: RoomTargets | None, name: str) -> Floats:
    """[ny, nx] mm by which a surface stands toward the room of where it is brought to, or of its own best plane."""
    drawn = room.drawn[name]
    if targets is not None:
        off = -targets.targets[name].change
        # where the target touches the surface nothing is to be done: no color of what comes off for a solver's noise
        return np.where(np.abs(off) < TOUCHES_MM, -TOUCHES_MM / 1e6, off)
    x, y, z = drawn.surface.nodes()
    a, b, c = fit_planes(x, y, z[None])[0]
    gx, gy = np.meshgrid(drawn.surface.x, drawn.surface.y)
    return np.asarray(drawn.of.up * (drawn.surface.height - (a + b * gx + c * gy)))


def folded(one: Drawn, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Where places of a surface lie on the sheet [mm]."""
    if one.of.wall is None:
        return one.on_plan(x, y)
    start, along, into = np.asarray(one.of.line.start), one.of.line.along, one.of.line.into
    px, py = (start[i] + along[i] * x - into[i] * (GAP_MM + y) for i in (0, 1))
    return px, py


def _turn(one: RoomSurface) -> float:
    """By how much a text along a wall is turned to be read from below or from the right [degrees]."""
    angle = math.degrees(math.atan2(*one.line.along[::-1]))
    return (angle + 90) % 180 - 90 if abs((angle + 90) % 180 - 90) < 89 else 90.0


def _left(ax: Axes, room: Room, one: RoomSurface, drawn: Artist) -> Iterator[Artist]:
    """That a surface is left as it is, in its middle, its map gray."""
    drawn.set(facecolor=LEFT_GRAY, edgecolor=LEFT_GRAY)
    west, east, south, north = room.drawn[one.name].extent
    x, y = folded(room.drawn[one.name], np.array((west + east) / 2), np.array((south + north) / 2))
    turn = 0.0 if one.wall is None else _turn(one)
    yield ax.text(float(x), float(y), NOTHING, rotation=turn, ha="center", va="center", fontsize=10, color=INK)


def _unread(ax: Axes, drawn: Drawn, outline: Floats) -> None:
    """Hatch all of a wall beneath its map: what shows of it was not read."""
    ax.add_patch(
        Polygon(np.column_stack(folded(drawn, *outline.T)), fc="white", ec=GRID, hatch="////", lw=0, zorder=0.5)
    )


def _named(ax: Axes, room: Room, one: RoomSurface, beside: tuple[float, float]) -> Iterator[Artist]:
    """A surface's name: over a wall's head, on a floor at so much of its extent."""
    drawn = room.drawn[one.name]
    if one.wall is None:
        west, east, south, north = drawn.extent
        place = west + beside[0] * (east - west), south + beside[1] * (north - south)
        x, y = drawn.on_plan(*place)
        yield ax.text(float(x), float(y), one.name, ha="center", va="center", fontsize=11, color=INK)
        return
    top = drawn.extent[3] + NAME_MM
    x, y = folded(drawn, np.array(one.line.length / 2), np.array(top))
    yield ax.text(
        float(x),
        float(y),
        one.name,
        ha="center",
        va="center",
        rotation=_turn(one),
        fontsize=11,
        color=INK,
        weight="bold",
    )
    outline = np.array([(0, 0), (one.line.length, 0), (one.line.length, top - NAME_MM), (0, top - NAME_MM), (0, 0)])
    _unread(ax, drawn, outline)
    ax.plot(*folded(drawn, *outline.T), color=PALE, lw=0.8)
    for label, at in (("left", 0.0), ("right", one.line.length)):
        away = -190 if label == "left" else 190
        px, py = folded(drawn, np.array(at + away), np.array(90.0))
        yield ax.text(float(px), float(py), label[0].upper(), ha="center", va="center", fontsize=9, color=INK)


def _numbered(ax: Axes, room: Room, one: RoomSurface, lines: pd.DataFrame) -> Iterator[Artist]:
    """At each stud its number, and what is added at the bottom, in the middle and at the top."""
    drawn = room.drawn[one.name]
    named, most = studs(room, one.name), one.line.length - CLOSE_MM / 2.5
    inside = [min(max(x, CLOSE_MM / 2.5), most) for _, x in named]
    beside = {stud: x for (stud, _), x in zip(named, _apart(inside), strict=True)}
    # words lie level: along a wall that stands upright on the sheet they reach farther up it
    inward = 110.0 + 60.0 * abs(float(one.line.along[1]))
    for row in lines.to_dict("records"):
        at = {"bottom": inward, "middle": 0.0, "top": -inward}[str(row["at"])]
        if not math.isnan(row["add_mm"]) and row["stud"] not in ("start", "end"):
            x, y = folded(drawn, np.array(beside[str(row["stud"])]), np.array(row["y_mm"] + at))
            words = added(float(row["add_mm"]), room.show)
            color = PALE if words in ("0", "0.0") else INK  # what is to be done stands out
            yield ax.text(float(x), float(y), words, ha="center", va="center", fontsize=6.6, color=color)
    for stud, at_x in beside.items():
        x, y = folded(drawn, np.array(at_x), np.array(-GAP_MM / 2))
        yield ax.text(float(x), float(y), stud, ha="center", va="center", fontsize=7.5, color=INK, weight="bold")


def _checked(ax: Axes, targets: RoomTargets) -> Iterator[Artist]:
    """The corners of the finished room with their letters, and the diagonals that are checked by tape."""
    at = {letter: place for letter, _, place in lettered(targets)}
    middle = np.mean(list(at.values()), axis=0) if at else np.zeros(2)
    inward = {letter: place + (middle - place) * LETTER_IN for letter, place in at.items()}
    for row in diagonals(targets).to_dict("records"):
        ends = [inward[letter] for letter in str(row["letters"]).split(" to ")]
        ax.plot(*np.transpose(ends), color=PALE, lw=0.8, ls=(0, (6, 4)), gid="diagonal")
    for letter, (x, y) in inward.items():
        yield ax.text(x, y, letter, ha="center", va="center", fontsize=9, weight="bold", color=INK, bbox=BOX)


def _control_lines(ax: Axes, room: Room) -> Iterator[Artist]:
    """Each control line from which walls were read, once, and its name."""
    drawn: set[str] = set()
    for one in room.of_kind("wall"):
        wall = one.line
        if not wall.control or wall.control in drawn or not wall.offset:
            continue
        drawn.add(wall.control)
        x, y = wall.on_plan(np.array([0.0, wall.length]), np.zeros(2))
        ax.plot(x, y, color=INK, lw=0.8, ls="-.", gid="control line")
        px, py = wall.on_plan(np.array(0.28 * wall.length), np.array(0.0))
        look: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 7.5, "color": INK, "bbox": BOX}
        yield ax.text(float(px), float(py), wall.control, rotation=_turn(one), **look)
    for label, at in room.places.items():
        ax.plot(*at, marker="^", ms=6, color=INK, ls="", gid="benchmark")
        yield ax.annotate(label, at, (0, 6), textcoords="offset points", ha="center", va="bottom", **MARKED)


def _apart(places: Sequence[float]) -> list[float]:
    """Places [mm] for what is written at studs: moved a little where two studs stand closer than their words."""
    moved = list(places)
    for i in reversed(range(len(moved) - 1)):
        moved[i] = min(moved[i], moved[i + 1] - CLOSE_MM)
    return moved


def room_sheet(room: Room, targets: RoomTargets | None = None) -> Figure:
    """One sheet of a room: the plan with its walls folded out, and what is set out from it.

    Parameters
    ----------
    room : with its surfaces
    targets : what it is brought to; None: the sheet shows it as found
    """
    figure = new_figure(*SHEET_IN)
    left = figure.add_axes((0.015, 0.035, 0.585, 0.86))
    plan = room_plan(left, room, targets)
    bar = figure.add_axes((0.045, 0.1, 0.13, 0.016))
    ends = ("add", "take off") if targets is not None else ("low", "proud")
    steps = colour_bar(bar, plan.scale, "horizontal", ends, signed=True)
    if targets is not None:  # the words at its ends say which way: what is added has no minus anywhere on the sheet
        steps.set_ticklabels([label.get_text().lstrip("+\N{MINUS SIGN}") for label in steps.ax.get_xticklabels()])
    _heading(figure, room, targets)
    if room.of_kind("ceiling"):
        over = figure.add_axes((0.79, 0.045, 0.2, 0.215))
        ceiling_map(over, room, targets, plan.scale)
    right = figure.add_axes((0.615, 0.03, 0.375, 0.845))
    right.set(xlim=(0, 1), ylim=(0, 1))
    right.set_axis_off()
    if targets is None:
        words = "No targets were chosen: colors are off each surface's own best plane."
        right.text(0.0, 0.98, words, fontsize=9, color=INK, va="top", wrap=True)
    else:
        _set_out(right, room, targets)
    return figure


def ceiling_map(ax: Axes, room: Room, targets: RoomTargets | None, scale: Scale) -> list[Artist]:
    """Draw the ceilings of a room in plan, as seen from above, with the steps of another map."""
    found: list[Artist] = []
    for one in room.of_kind("ceiling"):
        found.append(_map(ax, room, one, deviation(room, targets, one.name), scale))
        found += _left(ax, room, one, found[-1]) if targets is not None and one.name in targets.left else []
        west, east, south, north = room.drawn[one.name].extent
        x, y = room.drawn[one.name].on_plan((west + east) / 2, south + 0.8 * (north - south))
        found.append(ax.text(float(x), float(y), one.name, ha="center", va="center", fontsize=10, color=INK))
    ax.set_title("Ceiling, in plan as the floor", fontsize=9, color=INK, loc="left")
    ax.set_aspect("equal")
    ax.set_axis_off()
    return found


def clear_height_map(room: Room, *, unit: str | None = None, ax: Axes | None = None) -> SurfaceMap:
    """A map of the clear height as found, off its mean, on the floor's own x and y.

    Parameters
    ----------
    room : with a floor and a ceiling
    unit : ``in`` or ``mm``; None: the room's own
    ax : axes to draw into; None makes a figure

    Raises
    ------
    MeasureError : no ceiling over a floor
    """
    clear, unit = room.clear_height, unit or room.show
    mean, (least, most) = float(np.nanmean(clear.map)), clear.range
    surface = make_surface(clear.map, float(np.diff(clear.x[:2])[0]), x0=float(clear.x[0]), y0=float(clear.y[0]))
    sizes = (length_in_feet(mm, unit) for mm in (mean, least, most))
    title = "Clear height off its mean of {}: {} to {}".format(*sizes)
    return surface_map(surface, reference="mean", numbers="none", unit=unit, title=title, ax=ax)


def _heading(figure: Figure, room: Room, targets: RoomTargets | None) -> None:
    first = answer(room) if targets is None else crew_answer(targets)
    figure.text(0.02, 0.965, room.title, fontsize=11, color=PALE, va="top")
    figure.text(0.02, 0.94, first[:1].upper() + first[1:], fontsize=15, color=INK, va="top", weight="bold")
    how = "Walls are folded out, head outward; L and R are left and right as seen from the room; hatched: not read."
    if targets is not None:
        unit = "inches" if room.show == "in" else "mm"
        how += f" At each stud: what to add at the bottom, middle and top ({unit}; − is take off)."
    figure.text(0.02, 0.908, how, fontsize=9, color=INK, va="top")
    figure.text(0.02, 0.012, AUTHORITY, fontsize=8, color=INK, va="bottom")


def _set_out(ax: Axes, room: Room, targets: RoomTargets) -> None:
    """The tables in two columns, their rows as low as it takes for all to stand over the map of the ceiling."""
    blocks: list[tuple[list[Sequence[str]], Sequence[float]]]
    blocks = [(_wall_table(targets, str(name)), WALL_TABS) for name in dict.fromkeys(wall_lines(targets)["wall"])]
    blocks += [(_ceiling_table(targets), (0.0, 0.085, 0.26)), (_check_table(targets), (0.0, 0.2, 0.32))]
    blocks = [(rows, tabs) for rows, tabs in blocks if rows]
    ends, step = (0.01, 0.3 if room.of_kind("ceiling") else 0.01), 0.0172
    while True:
        tops, placed = [0.985, 0.985], []
        for rows, tabs in blocks:
            column = 0 if tops[0] - ends[0] >= tops[1] - ends[1] else 1
            placed.append((rows, tabs, (0.0, 0.52)[column], tops[column]))
            tops[column] -= (len(rows) + 1) * step
        if all(top + step >= end for top, end in zip(tops, ends, strict=True)):
            break
        step *= 0.95
    for rows, tabs, left, top in placed:
        _rows(ax, rows, left, top, tabs, step)


def _wall_table(targets: RoomTargets, name: str) -> list[Sequence[str]]:
    heads, rows = wall_rows(targets, name)
    heads = ["line, left as it is"] if len(heads) == 1 and name in targets.left else heads
    off = f"off {targets.room.surfaces[name].line.control or 'its control line'}"
    return [[name, "", off], ["stud", "from left", *heads], *(row for row, _ in rows)]


def _ceiling_table(targets: RoomTargets) -> list[Sequence[str]]:
    rows: list[Sequence[str]] = []
    for name, z, start, straps in strap_rows(targets):
        line = "" if math.isnan(z) else f"line {length_in_feet(z, targets.room.show)}"
        rows += [[name, "", line], ["strap", start, "shim, least to most"], *straps]
        rows += [] if math.isnan(z) else [[f"line {words}", "", ""] for words in off_benchmarks(targets.room, z)]
    return rows


def _check_table(targets: RoomTargets) -> list[Sequence[str]]:
    rows: list[Sequence[str]] = [["check by tape, finished", "", ""], ["corners", "length", ""]]
    checked = diagonal_rows(targets)
    rows = [*rows, *checked] if checked else []
    for name, foot, reveal in trim_rows(targets.finished):
        rows += [[name, "", ""], [f"foot {foot} above the datum", "", ""], [f"reveal left {reveal}", "", ""]]
    return rows


def _rows(ax: Axes, rows: Sequence[Sequence[str]], left: float, top: float, tabs: Sequence[float], step: float) -> None:
    """Rows of words from ``top`` down; the first is the heading."""
    size = 8 * min(1.0, step / 0.0172)
    for i, row in enumerate(rows):
        style: dict[str, Any] = {"fontsize": size, "color": INK, "va": "top"}
        style |= (
            {"weight": "bold", "fontsize": 1.1 * size}
            if i == 0
            else {"color": "#57606a"}
            if i == 1 and len(rows) > 3
            else {}
        )
        for tab, word in zip(tabs, row, strict=False):
            ax.text(left + tab, top - i * step, word, **style)


def write_room(room: Room, targets: RoomTargets | None, folder: Path) -> list[Path]:
    """Write the sheet of each room as PNG and PDF into a folder that is there, and say which files."""
    written = []
    for name in room.rooms:
        figure = room_sheet(room.only(name), None if targets is None else targets.only(name))
        tidy = re.sub(r"[^\w-]+", "-", name).strip("-").lower()[:40] or "rest"
        stem = f"{Path(room.source or 'room').stem}-sheet{'' if len(room.rooms) == 1 else f'-{tidy}'}"
        written += [save_chart(figure, folder / f"{stem}.{kind}", dpi=150) for kind in ("png", "pdf")]
    return written


ENLARGED = 40.0  # times as large as they are
SEEN_GRAY = 0.95  # of what is left as it is, which is neither added to nor cut
WRITTEN = 1000  # above all surfaces
ELEVATION = 38.0  # degrees above the floor


@dataclass(frozen=True, eq=False, kw_only=True)
class RoomView:
    """A view of a room.

    Attributes
    ----------
    ax : axes in three dimensions
    scale : steps and colours
    drawn : artists by name of the surface; those whose back is turned are not drawn
    """

    ax: Any
    scale: Scale
    drawn: dict[str, Artist]


def room_view(figure: Figure, room: Room, targets: RoomTargets | None = None, *, azimuth: float = -60.0) -> RoomView:
    """Draw a room from above, its near walls and its ceiling left away.

    Parameters
    ----------
    figure : to draw into, empty
    room : with its surfaces
    targets : that the surfaces are off; None: each its own best plane
    azimuth : from where it is seen [degrees counterclockwise from x]
    """
    ax: Any = figure.add_axes((0.0, 0.0, 1.0, 1.0), projection=Axes3D.name)
    toward = np.array([np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth))])
    shown = [one for one in room.surfaces.values() if one.kind == "floor"]
    shown += [one for one in room.of_kind("wall") if float(one.line.into @ toward) > 0.05]
    off = {one.name: deviation(room, targets, one.name) for one in shown}
    most = max((float(np.nanmax(np.abs(values))) for values in off.values()), default=1.0)
    scale = deviation_scale(max(most, 0.1), room.show)
    drawn: dict[str, Artist] = {}
    for one in shown:
        x, y, z = _bent(room, one, off[one.name] * ENLARGED)
        colours = scale.colours(scale.norm(np.ma.masked_invalid(off[one.name])))
        if targets is not None and one.name in targets.left:
            colours[..., :3] = SEEN_GRAY
        drawn[one.name] = ax.plot_surface(
            x, y, z, facecolors=colours, rstride=1, cstride=1, shade=False, linewidth=0, antialiased=False
        )
        drawn[f"name of {one.name}"] = ax.text(
            *_label(room, one), one.name, color=INK, fontsize=11, ha="center", zorder=WRITTEN
        )
    ax.set_box_aspect([float(np.ptp(limits)) for limits in (ax.get_xlim(), ax.get_ylim(), ax.get_zlim())], zoom=1.1)
    ax.view_init(elev=ELEVATION, azim=azimuth)
    ax.set_axis_off()
    words = f"What surfaces are off is drawn {ENLARGED:g} times as large; near walls and ceiling are left away."
    figure.text(0.02, 0.02, words, color=INK, fontsize=9)
    return RoomView(ax=ax, scale=scale, drawn=drawn)


def _bent(room: Room, one: RoomSurface, off: Floats) -> tuple[Floats, Floats, Floats]:
    """Places of a surface in space [mm], moved toward the room by so much."""
    surface = room.drawn[one.name].surface
    x, y = np.meshgrid(surface.x, surface.y)
    if one.wall is None:
        return *room.drawn[one.name].on_plan(x, y), np.nanmean(surface.height) + off
    px, py = one.wall.on_plan(x, np.nanmean(surface.height) + off)
    return px, py, one.wall.base + y


def _label(room: Room, one: RoomSurface) -> tuple[float, float, float]:
    west, east, south, north = room.drawn[one.name].extent
    if one.wall is None:
        x, y = room.drawn[one.name].on_plan((west + east) / 2, (south + north) / 2)
        return float(x), float(y), 100.0
    x, y = one.line.on_plan(np.array((west + east) / 2), np.array(-one.wall.offset))
    return float(x), float(y), one.wall.base + north + 150
