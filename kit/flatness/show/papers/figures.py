"""Maps for papers, drawn at the size at which they are printed."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from flatness.measures.measured import Place
from flatness.show import plan as maps
from flatness.show.axes import INK, NORMAL, SOFTWARE, colour_bar, dress_map, set_place_ticks
from flatness.show.labels import NEAR, FreeSpace, rings
from flatness.show.scales import Scale, deviation_scale, place_step, printed
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey

LEFT, RIGHT, FOOT, NAME = 0.8, 0.12, 0.66, 0.3  # around a map [in]
BAR, BAR_FOOT = 0.17, 0.5
STACK = 1.25  # so much larger two maps must become to stand one above the other
TALLEST = 4.4  # of the maps together [in]
# which way is which, in words that need no frame
ENDS = {"floor": ("low", "high"), "ceiling": ("high", "hangs low"), "wall": ("set back", "stands out")}


@dataclass(frozen=True, eq=False)
class Panel:
    """One map of a figure: heights off a plane [mm], what they are called, and a place to ring."""

    name: str
    surface: Surface
    survey: Survey | None
    ring: Place | None = None
    ring_name: str = ""


def heat_maps(
    panels: Sequence[Panel], kind: str, unit: str, width: float, limit: float | None = None, tallest: float = TALLEST
) -> Figure:
    """One map, or two on one scale, with what their colours mean in lengths.

    Parameters
    ----------
    panels : one or two; a panel's heights [ny, nx] mm are shown as they are
    kind : floor, ceiling or wall
    unit : ``in`` or ``mm``
    width : of the figure [in]
    limit : a length [mm] that a colour step falls on
    tallest : height that the maps together may take [in]
    """
    most = max(float(np.nanmax(np.abs(panel.surface.height))) for panel in panels)
    scale = deviation_scale(most, unit, limit)
    boxes = np.array([maps.bounds_of(panel.surface, panel.survey) for panel in panels])
    x0, x1, y0, y1 = (float(f(side)) for f, side in zip((min, max, min, max), boxes.T, strict=True))
    extent = maps.with_margin((x0, x1, y0, y1))
    axes, cax = _layout(len(panels), (extent[1] - extent[0], extent[3] - extent[2]), width, tallest)
    for ax, panel in zip(axes, panels, strict=True):
        ax.set(xlim=extent[:2], ylim=extent[2:], aspect="equal", anchor="NW")
        _draw(ax, panel, scale, (x0, x1, y0, y1), kind, unit)
    colour_bar(cax, scale, "horizontal", ENDS[kind], signed=True)
    figure = cax.get_figure(root=True)
    assert isinstance(figure, Figure)
    return figure


def _layout(count: int, span: tuple[float, float], width: float, tallest: float) -> tuple[list[Axes], Axes]:
    wide, high = span

    def size_at(rows: int) -> float:
        """How large the maps can be in so many rows."""
        room_w = width / math.ceil(count / rows) - LEFT - RIGHT
        return min(room_w / wide, (tallest / rows - NAME - FOOT) / high)

    rows = 2 if count == 2 and size_at(2) > STACK * size_at(1) else 1
    columns, size = math.ceil(count / rows), size_at(rows)
    w, h = wide * size, high * size
    height = rows * (NAME + h + FOOT) + BAR + BAR_FOOT
    figure = Figure(figsize=(width, height))
    axes = []
    for i in range(count):
        row, column = divmod(i, columns)
        left = LEFT + column * width / columns
        bottom = height - (row + 1) * (NAME + h) - row * FOOT
        axes.append(figure.add_axes((left / width, bottom / height, w / width, h / height)))
    long = min(width - LEFT - 1.0, 5.6)
    cax = figure.add_axes((LEFT / width, BAR_FOOT / height, long / width, BAR / height))
    return axes, cax


def _draw(
    ax: Axes, panel: Panel, scale: Scale, within: tuple[float, float, float, float], kind: str, unit: str
) -> None:
    grid = maps.fine(panel.surface, panel.surface.height)
    maps.draw_image(ax, grid, scale, panel.survey)
    # in grey a high place and a low one are told apart by their lines
    maps.draw_contours(ax, maps.contour_lines(grid, scale.edges[scale.edges != 0]), scale.limit)
    dress_map(ax, within, kind, unit)
    _spread_ticks(ax, within, unit)
    space = FreeSpace(ax)
    maps.draw_outline(ax, panel.survey, space)
    ax.set_title(panel.name, loc="left", fontsize=NORMAL + 1, fontweight="bold", color=INK, pad=6, parse_math=False)
    if panel.ring is not None:
        ax.plot(
            *panel.ring, linestyle="none", marker="o", markersize=13, markerfacecolor="none", markeredgecolor="black",
            markeredgewidth=1.8, zorder=7, scalex=False, scaley=False,
        )  # fmt: skip
        space.take_marks(np.array([panel.ring], dtype=np.float64), 8)
        text = ax.annotate(
            panel.ring_name, panel.ring, (0, 0), textcoords="offset points", fontsize=NORMAL, fontweight="bold",
            color="black", zorder=8, annotation_clip=False,
            bbox={"boxstyle": "round,pad=0.2", "facecolor": "white", "edgecolor": "black", "linewidth": 0.8},
            arrowprops={"arrowstyle": "-", "color": "black", "linewidth": 1.0, "shrinkA": 0, "shrinkB": 7},
        )  # fmt: skip
        space.place(text, rings(16, 300, 8), leader=True)
    _ends(ax, panel.surface, panel.survey, space, unit)


def _ends(ax: Axes, surface: Surface, survey: Survey | None, space: FreeSpace, unit: str) -> None:
    """How high the highest place is and how low the lowest, written there: colours alone do not tell it in grey."""
    if survey is not None and survey.outline is not None:
        space.take_line(np.asarray(survey.outline.exterior.coords), 1.0)
    for k in (int(np.nanargmax(surface.height)), int(np.nanargmin(surface.height))):
        j, i = np.unravel_index(k, surface.height.shape)
        mm = float(surface.height[j, i])
        words = printed(mm if unit == "in" else round(mm), unit, signed=True)
        if words == "0":
            continue
        at = (float(surface.x[i]), float(surface.y[j]))
        text = ax.annotate(
            words, at, (0, 0), textcoords="offset points", fontsize=NORMAL, fontweight="bold", color="black", zorder=8,
            annotation_clip=False, path_effects=maps.HALO,
        )  # fmt: skip
        if space.place(text, [*NEAR, *rings(6, 60, 6)]):
            ax.plot(*at, ".", color="black", markersize=5, zorder=7, scalex=False, scaley=False, clip_on=False)
        else:
            text.remove()


def _spread_ticks(ax: Axes, within: tuple[float, float, float, float], unit: str) -> None:
    """Ticks as close as their labels allow on a map as small as this one."""
    box, points = ax.get_window_extent(), 72 / ax.figure.dpi
    span = abs(ax.get_xlim()[1] - ax.get_xlim()[0])
    for axis, limits, room in ((ax.xaxis, within[:2], 40.0), (ax.yaxis, within[2:], 26.0)):
        extent = limits[1] - limits[0]
        on_paper = box.width * points * extent / span
        set_place_ticks(axis, limits, place_step(extent, unit, most=max(1, int(on_paper / room))), unit)


def svg_of(figure: Figure) -> bytes:
    """A figure as SVG, the same bytes each time."""
    out = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": SOFTWARE, "svg.fonttype": "path"}):
        figure.savefig(out, format="svg", facecolor="white", metadata={"Creator": SOFTWARE, "Date": None})
    return out.getvalue()
