"""A room drawn: its plan with the walls folded out, one sheet of what the crew sets out, and a view that turns.

Each wall lies with its foot along its line on the plan and its head outward, so that one who stands in the room and
turns sees each wall upright. Colours say how far each surface stands proud or shy of where it is brought to; without
targets, of its own best plane.
"""

from __future__ import annotations

import math
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
from matplotlib.path import Path as Path2D
from mpl_toolkits.mplot3d import Axes3D
from numpy.typing import NDArray

from flatness.arrays import Floats
from flatness.charts.axes import colour_bar, new_figure, save_chart
from flatness.charts.scales import Scale, deviation_scale
from flatness.room.drawn import fit_planes
from flatness.room.records import Room, RoomSurface
from flatness.room.set_out import diagonals, lettered, studs, wall_lines
from flatness.room.targets import RoomTargets
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

INK, PALE, GRID = "#1f2328", "#8a9199", "#c9ced4"
SHEET_IN = (17.0, 11.0)
CLOSE_MM = 330.0  # what the words at one stud take along a wall
NAME_MM = 170.0  # from a wall's head to its name
TOUCHES_MM = 0.05
LETTER_IN = 0.1  # how far inside its corner a letter stands, of the way to the middle
BOX = {"facecolor": "white", "edgecolor": "none", "boxstyle": "round,pad=0.15"}
GAP_MM = 300.0  # between the plan and a wall that is folded out


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
        places.append(np.column_stack(_folded(one, x, y)))
    (west, south), (east, north) = np.concatenate(places).min(axis=0), np.concatenate(places).max(axis=0)
    ax.set(xlim=(west, east), ylim=(south, north))


def _map(ax: Axes, room: Room, one: RoomSurface, off: Floats, scale: Scale) -> Artist:
    """The colours of one surface, as far as it was read."""
    surface = room.drawn[one.name].surface
    west, east, south, north = room.drawn[one.name].extent
    # all cells of one color are one path: a page writes each cell as a path otherwise, which takes seconds
    steps = scale.norm(np.ma.masked_invalid(off))
    present = [int(step) for step in np.unique(steps.compressed())]
    colors, corners = scale.colours(present), _folded(one, *_corners(surface.x, surface.y))
    mesh = PathCollection(
        [_cells(*corners, (steps == step).filled(False)) for step in present],
        facecolors=colors,
        edgecolors=colors,  # without an edge a page draws white hairlines between two colors
        linewidths=0.4,
    )
    ax.add_collection(mesh)
    edge = np.array([(west, south), (east, south), (east, north), (west, north)])
    mesh.set_clip_path(Path2D(np.column_stack(_folded(one, *edge.T))), ax.transData)
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


def _folded(one: RoomSurface, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Where places of a surface lie on the sheet [mm]."""
    if one.wall is None:
        return x, y
    start, along, into = np.asarray(one.wall.start), one.wall.along, one.wall.into
    px, py = (start[i] + along[i] * x - into[i] * (GAP_MM + y) for i in (0, 1))
    return px, py


def _turn(one: RoomSurface) -> float:
    """By how much a text along a wall is turned to be read from below or from the right [degrees]."""
    assert one.wall is not None
    angle = math.degrees(math.atan2(*one.wall.along[::-1]))
    return (angle + 90) % 180 - 90 if abs((angle + 90) % 180 - 90) < 89 else 90.0


def _left(ax: Axes, room: Room, one: RoomSurface, drawn: Artist) -> Iterator[Artist]:
    """That a surface is left as it is, in its middle in place of its map."""
    drawn.set_visible(False)
    west, east, south, north = room.drawn[one.name].extent
    x, y = _folded(one, np.array((west + east) / 2), np.array((south + north) / 2))
    turn = 0.0 if one.wall is None else _turn(one)
    yield ax.text(float(x), float(y), NOTHING, rotation=turn, ha="center", va="center", fontsize=10, color=INK)


def _named(ax: Axes, room: Room, one: RoomSurface, beside: tuple[float, float]) -> Iterator[Artist]:
    """A surface's name: over a wall's head, on a floor at so much of its extent."""
    drawn = room.drawn[one.name]
    if one.wall is None:
        west, east, south, north = drawn.extent
        place = west + beside[0] * (east - west), south + beside[1] * (north - south)
        yield ax.text(*place, one.name, ha="center", va="center", fontsize=11, color=INK)
        return
    top = drawn.extent[3] + NAME_MM
    x, y = _folded(one, np.array(one.wall.length / 2), np.array(top))
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
    outline = np.array([(0, 0), (one.wall.length, 0), (one.wall.length, top - NAME_MM), (0, top - NAME_MM), (0, 0)])
    ax.plot(*_folded(one, *outline.T), color=PALE, lw=0.8)
    for label, at in (("left", 0.0), ("right", one.wall.length)):
        away = -150 if label == "left" else 150
        px, py = _folded(one, np.array(at + away), np.array(60.0))
        yield ax.text(float(px), float(py), label[0].upper(), ha="center", va="center", fontsize=7.5, color=PALE)


def _numbered(ax: Axes, room: Room, one: RoomSurface, lines: pd.DataFrame) -> Iterator[Artist]:
    """At each stud its number, and what is added at the bottom, in the middle and at the top."""
    assert one.wall is not None
    named, most = studs(room, one.name), one.wall.length - CLOSE_MM / 2.5
    inside = [min(max(x, CLOSE_MM / 2.5), most) for _, x in named]
    beside = {stud: x for (stud, _), x in zip(named, _apart(inside), strict=True)}
    # words lie level: along a wall that stands upright on the sheet they reach farther up it
    inward = 110.0 + 60.0 * abs(float(one.wall.along[1]))
    for row in lines.to_dict("records"):
        at = {"bottom": inward, "middle": 0.0, "top": -inward}[str(row["at"])]
        if not math.isnan(row["add_mm"]) and row["stud"] not in ("start", "end"):
            x, y = _folded(one, np.array(beside[str(row["stud"])]), np.array(row["y_mm"] + at))
            words = added(float(row["add_mm"]), room.show)
            yield ax.text(float(x), float(y), words, ha="center", va="center", fontsize=6.6, color=INK)
    for stud, at_x in beside.items():
        x, y = _folded(one, np.array(at_x), np.array(-140.0))
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
        wall = one.wall
        assert wall is not None
        if not wall.control or wall.control in drawn or not wall.offset:
            continue
        drawn.add(wall.control)
        x, y = wall.on_plan(np.array([0.0, wall.length]), np.zeros(2))
        ax.plot(x, y, color=INK, lw=0.8, ls="-.", gid="control line")
        px, py = wall.on_plan(np.array(0.28 * wall.length), np.array(0.0))
        look: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 7.5, "color": INK, "bbox": BOX}
        yield ax.text(float(px), float(py), wall.control, rotation=_turn(one), **look)


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
        middle = ((west + east) / 2, south + 0.8 * (north - south))
        found.append(ax.text(*middle, one.name, ha="center", va="center", fontsize=10, color=INK))
    ax.set_title("Ceiling, in plan as the floor", fontsize=9, color=INK, loc="left")
    ax.set_aspect("equal")
    ax.set_axis_off()
    return found


def _heading(figure: Figure, room: Room, targets: RoomTargets | None) -> None:
    first = answer(room) if targets is None else crew_answer(targets)
    figure.text(0.02, 0.965, room.title, fontsize=11, color=PALE, va="top")
    figure.text(0.02, 0.94, first[:1].upper() + first[1:], fontsize=15, color=INK, va="top", weight="bold")
    how = "Walls are folded out, head outward; L and R are left and right as seen from the room."
    if targets is not None:
        unit = "inches" if room.show == "in" else "mm"
        how += f" At each stud: what to add at the bottom, middle and top ({unit}; − is take off)."
    figure.text(0.02, 0.908, how, fontsize=9, color=INK, va="top")
    figure.text(0.02, 0.012, AUTHORITY, fontsize=8, color=INK, va="bottom")


def _set_out(ax: Axes, room: Room, targets: RoomTargets) -> None:
    """The tables of what is set out, in two columns: each goes where there is more room."""
    tops, x = [0.985, 0.985], [0.0, 0.52]
    walls = [_wall_table(targets, str(name)) for name in dict.fromkeys(wall_lines(targets)["wall"])]
    others = [block for block in (_ceiling_table(targets), _check_table(targets)) if block]
    for block in (*walls, *others):
        tabs = (0.0, 0.2, 0.32) if block in others else (0.0, 0.085, 0.21, 0.32, 0.4)
        column = 0 if tops[0] >= tops[1] else 1
        tops[column] = _rows(ax, block, x[column], tops[column], tabs) - 0.018


def _wall_table(targets: RoomTargets, name: str) -> list[Sequence[str]]:
    wall = targets.room.surfaces[name].wall
    assert wall is not None
    heads, rows = wall_rows(targets, name)
    heads = ["line, left as it is"] if len(heads) == 1 and name in targets.left else heads
    off = f"off {wall.control or 'its control line'}"
    return [[name, "", off], ["stud", "along", *heads], *(row for row, _ in rows)]


def _ceiling_table(targets: RoomTargets) -> list[Sequence[str]]:
    rows: list[Sequence[str]] = []
    for name, z, straps in strap_rows(targets):
        line = "" if math.isnan(z) else f"line {length_in_feet(z, targets.room.show)}"
        rows += [[name, "", line], ["strap", "along", "shim, least to most"], *straps]
        rows += [] if math.isnan(z) else [[f"line {words}", "", ""] for words in off_benchmarks(targets.room, z)]
    return rows


def _check_table(targets: RoomTargets) -> list[Sequence[str]]:
    rows: list[Sequence[str]] = [["check by tape, finished", "", ""], ["corners", "length", ""]]
    checked = diagonal_rows(targets)
    rows = [*rows, *checked] if checked else []
    for name, foot, reveal in trim_rows(targets.finished):
        rows += [[name, "", ""], [f"foot {foot} above the datum", "", ""], [f"reveal left {reveal}", "", ""]]
    return rows


def _rows(ax: Axes, rows: Sequence[Sequence[str]], left: float, top: float, tabs: Sequence[float]) -> float:
    """Rows of words from ``top`` down; the first is the heading. Where they end."""
    step = 0.0172
    for i, row in enumerate(rows):
        style: dict[str, Any] = {"fontsize": 8, "color": INK, "va": "top"}
        style |= (
            {"weight": "bold", "fontsize": 9} if i == 0 else {"color": "#57606a"} if i == 1 and len(rows) > 3 else {}
        )
        for tab, word in zip(tabs, row, strict=False):
            ax.text(left + tab, top - i * step, word, **style)
    return top - len(rows) * step


def write_room(room: Room, targets: RoomTargets | None, folder: Path) -> list[Path]:
    """Write the sheet of a room as PNG and PDF into a folder that is there, and say which files."""
    figure = room_sheet(room, targets)
    stem = Path(room.source or "room").stem
    return [save_chart(figure, folder / f"{stem}-sheet.{kind}", dpi=150) for kind in ("png", "pdf")]


ENLARGED = 40.0  # times as large as they are
LEFT_GRAY = 0.95  # of what is left as it is, which is neither added to nor cut
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
    shown += [one for one in room.of_kind("wall") if one.wall is not None and float(one.wall.into @ toward) > 0.05]
    off = {one.name: deviation(room, targets, one.name) for one in shown}
    most = max((float(np.nanmax(np.abs(values))) for values in off.values()), default=1.0)
    scale = deviation_scale(max(most, 0.1), room.show)
    drawn: dict[str, Artist] = {}
    for one in shown:
        x, y, z = _bent(room, one, off[one.name] * ENLARGED)
        colours = scale.colours(scale.norm(np.ma.masked_invalid(off[one.name])))
        if targets is not None and one.name in targets.left:
            colours[..., :3] = LEFT_GRAY
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
        return x, y, np.nanmean(surface.height) + off
    px, py = one.wall.on_plan(x, np.nanmean(surface.height) + off)
    return px, py, one.wall.base + y


def _label(room: Room, one: RoomSurface) -> tuple[float, float, float]:
    west, east, south, north = room.drawn[one.name].extent
    if one.wall is None:
        return (west + east) / 2, (south + north) / 2, 100.0
    x, y = one.wall.on_plan(np.array((west + east) / 2), np.array(-one.wall.offset))
    return float(x), float(y), one.wall.base + north + 150
