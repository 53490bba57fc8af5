"""Figures, axes in feet or metres, titles, colour bars and scale bars; saving to a file."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colorbar import Colorbar
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text
from matplotlib.transforms import ScaledTranslation, blended_transform_factory
from mpl_toolkits.axes_grid1.axes_divider import make_axes_locatable

from flatness.errors import ArgumentError
from flatness.lengths import settle
from flatness.show.labels import settle_layout, wrap
from flatness.show.scales import Scale, place_step, printed_place

if TYPE_CHECKING:
    from flatness.show.numbered import PlaceList

INK = "#1d2126"
PALE = "#5b636c"
SMALL, NORMAL, LARGE = 9.0, 10.0, 13.5  # type [points]
WIDTH_IN, HEIGHT_IN = 10.0, 6.6  # of a figure, and of the tallest map in it [in]
LEFT_IN, RIGHT_IN, BAR_IN, PAD_IN, FOOT_IN = 0.85, 0.4, 0.2, 0.2, 0.75
WIDE = 2.2  # a map wider than this many times its height has its colour bar beneath
FORMATS = ("png", "svg", "pdf")
SOFTWARE = "surface-flatness-kit"  # stamped into each file, which tells it from what others wrote
AXIS_NAMES = {
    "floor": ("x on the floor", "y on the floor"),
    "ceiling": ("x on the ceiling", "y on the ceiling"),
    "wall": ("along the wall (x)", "up the wall (y)"),
}

Way = Literal["vertical", "horizontal"]
Extent = tuple[float, float, float, float]  # x0, x1, y0, y1 [mm]


def save_chart(chart: Any, path: str | os.PathLike[str], dpi: float = 150) -> Path:
    """Write a chart to a PNG, SVG or PDF file, whole or not at all.

    Parameters
    ----------
    chart : Figure, Axes, or a record of this package that has ``.ax``
    path : file to write; its suffix tells the format. An existing file is replaced once the new one is whole
    dpi : pixels per inch of a PNG

    Returns
    -------
    Path : the file written

    Raises
    ------
    ArgumentError : another suffix, or something that is not a chart
    """
    target = Path(path)
    kind = target.suffix.lower().removeprefix(".")
    if kind not in FORMATS:
        raise ArgumentError(
            "unknown kind of picture file",
            value=target.name,
            expected="a name that ends in .png, .svg or .pdf",
        )
    if not (np.isfinite(dpi) and 10 <= dpi <= 1200):
        raise ArgumentError("dpi out of range", value=str(dpi), expected="10 to 1200 pixels per inch")
    figure = _figure_of(chart)
    partial = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        stamp = {"Software" if kind == "png" else "Creator": SOFTWARE}
        figure.savefig(partial, format=kind, dpi=dpi, facecolor="white", metadata=stamp)
        partial.replace(target)
    finally:
        partial.unlink(missing_ok=True)
    return target


def _figure_of(chart: Any) -> Figure:
    owner = chart if isinstance(chart, Artist) else getattr(chart, "ax", None)
    figure = owner.get_figure(root=True) if isinstance(owner, Artist) else None
    if not isinstance(figure, Figure):
        raise ArgumentError("not a chart", value=type(chart).__name__, expected="a Figure, Axes or chart record")
    return figure


def root_of(ax: Axes) -> Figure:
    """The figure that holds the axes, through any subfigures."""
    figure = ax.get_figure(root=True)
    if not isinstance(figure, Figure):
        raise ArgumentError("axes without a figure", expected="axes that stand in a figure")
    return figure


def headed_axes(
    box_in: tuple[float, float],
    right_in: float,
    foot_in: float,
    heading: tuple[str, str],
    left_in: float = LEFT_IN,
) -> Axes:
    """Axes of this width and height [in] in a figure of their own, with room for title, subtitle and feet."""
    width = _width_in(box_in[0], right_in, left_in)
    above = _heading_points(heading, (width - left_in - 0.3) * 72) / 72
    height = above + box_in[1] + foot_in
    figure = Figure(figsize=(width, height))
    place = (left_in / width, foot_in / height, box_in[0] / width, box_in[1] / height)
    return figure.add_axes(place)


def _width_in(box_in: float, right_in: float, left_in: float = LEFT_IN) -> float:
    return max(box_in + left_in + right_in, 6.0)


def _heading_points(heading: tuple[str, str], width: float) -> float:
    title, subtitle = wrap_heading(heading, width)
    return 26 + len(title.split("\n")) * LARGE * 1.25 + _subtitle_points(subtitle)


def _subtitle_points(subtitle: str) -> float:
    return len(subtitle.split("\n")) * SMALL * 1.3 if subtitle else 0.0


def wrap_heading(heading: tuple[str, str], width: float) -> tuple[str, str]:
    width *= 0.97  # letters on a screen run a little wider than their outlines
    subtitle = wrap(heading[1], width, SMALL)
    lines = subtitle.count("\n")
    even = (wrap(heading[1], width * part, SMALL) for part in (0.5, 0.6, 0.7, 0.8, 0.9))
    subtitle = next((text for text in even if text.count("\n") == lines), subtitle)
    return wrap(heading[0], width, LARGE, "bold"), subtitle


def put_heading(ax: Axes, heading: tuple[str, str], width: float) -> tuple[Text, Text]:
    """Title and subtitle above the axes, wrapped to this width [points]."""
    title, subtitle = wrap_heading(heading, width)
    pad = 13 + _subtitle_points(subtitle)
    top = ax.set_title(title, loc="left", pad=pad, fontsize=LARGE, fontweight="bold", color=INK)
    top.set(parse_math=False, linespacing=1.2)
    below = ax.annotate(
        subtitle, (0, 1), (0, 7), xycoords="axes fraction", textcoords="offset points", va="bottom",
        fontsize=SMALL, color=PALE, linespacing=1.25, annotation_clip=False,
    )  # fmt: skip
    below.set_parse_math(False)
    return top, below


def map_axes(
    extent: Extent, heading: tuple[str, str], longest: int, ax: Axes | None, listed: PlaceList | None = None
) -> tuple[Axes, Axes, Way]:
    """Axes in true proportion for a map, and those of its colour bar.

    Parameters
    ----------
    extent : what the map spans [mm]
    heading : title and subtitle
    longest : characters of the longest label at the colour bar
    ax : axes to draw into; None makes a figure
    listed : a list of places to write beneath the map; None leaves no room for one

    Returns
    -------
    ax, the axes of the colour bar, and ``vertical`` or ``horizontal``, the way that bar runs
    """
    wide, high = extent[1] - extent[0], extent[3] - extent[2]
    beneath = wide > WIDE * high
    words_in = (_beside_labels(longest) + 16) / 72
    right = RIGHT_IN if beneath else PAD_IN + BAR_IN + words_in
    if ax is None:
        most = WIDTH_IN - LEFT_IN - right - (0 if beneath else 0.1)
        scale = min(most / wide, HEIGHT_IN / high)
        box = (wide * scale, high * scale)
        region = (box[0], box[1] + FOOT_IN + BAR_IN) if beneath else (box[0] + right, box[1])
        right_in = RIGHT_IN if beneath else 0.1
        width = (_width_in(region[0], right_in) - LEFT_IN - 0.3) * 72
        if listed is not None:
            region = (region[0], region[1] + FOOT_IN + listed.height_in(width))
        ax = headed_axes(region, right_in, FOOT_IN if listed is None else 0.12, heading)
    else:
        width = ax.get_window_extent().width / ax.figure.dpi * 72
    ax.set(xlim=extent[:2], ylim=extent[2:], aspect="equal", anchor="NW")
    divider = make_axes_locatable(ax)
    divider.set_anchor("NW")
    if beneath:
        cax = divider.append_axes("bottom", size=BAR_IN, pad=FOOT_IN)
    else:
        cax = divider.append_axes("right", size=BAR_IN, pad=PAD_IN)
        divider.new_horizontal(words_in, pad=0)  # kept empty, for what is written beside the bar
    if listed is not None:
        listed.put(divider.append_axes("bottom", size=listed.height_in(width), pad=FOOT_IN), width)
    put_heading(ax, heading, width)
    return ax, cax, "horizontal" if beneath else "vertical"


def dress_map(ax: Axes, within: Extent, kind: str, unit: str) -> tuple[Artist, ...]:
    """Ticks at whole feet or metres ``within`` the surface, names of the axes, and a scale bar beneath.

    Returns the artists of the scale bar.
    """
    names = AXIS_NAMES.get(kind, ("x", "y"))
    longer = max(within[1] - within[0], within[3] - within[2])
    for axis, name, limits in ((ax.xaxis, names[0], within[:2]), (ax.yaxis, names[1], within[2:])):
        step = place_step(longer, unit)
        if limits[1] - limits[0] < 1.5 * step:  # the short side of a corridor
            step = place_step(limits[1] - limits[0], unit, most=2)
        set_place_ticks(axis, limits, step, unit)
        axis.set_label_text(name, fontsize=NORMAL, color=INK)
    ax.xaxis.set_label_coords(0, 0, transform=_below(ax, 19))
    ax.xaxis.label.set(ha="left", va="top")
    ax.tick_params(labelsize=SMALL, labelcolor=INK, color=PALE, length=3, width=0.8)
    for side, spine in ax.spines.items():
        spine.set(visible=side in ("left", "bottom"), color=PALE, linewidth=0.8)
    return _scale_bar(ax, unit)


def _beside_labels(longest: int) -> float:
    """How far right of the colour bar its labels reach [points]."""
    return 10 + 6.6 * longest


def _below(ax: Axes, points: float) -> Any:
    figure = ax.figure
    return ax.transAxes + ScaledTranslation(0, -points / 72, figure.dpi_scale_trans)


def set_place_ticks(axis: Any, limits: tuple[float, float], step: float, unit: str) -> None:
    low, high = sorted(limits)
    ticks = step * np.arange(np.ceil(low / step - 1e-6), np.floor(high / step + 1e-6) + 1)
    axis.set_ticks(ticks, labels=[printed_place(settle(tick), unit) for tick in ticks])


def _scale_bar(ax: Axes, unit: str) -> tuple[Artist, ...]:
    left, right = ax.get_xlim()
    length = place_step((right - left) / 4, unit, most=1)
    if length > (right - left) * 0.45:
        length = place_step((right - left) / 4, unit, most=2)
    settle_layout(root_of(ax))
    points = 72 / ax.figure.dpi
    free = (ax.get_window_extent().width - ax.xaxis.label.get_window_extent().width) * points
    on_paper = ax.get_window_extent().width * points * length / (right - left)
    down = 26 if free > on_paper + 70 else 41
    place = blended_transform_factory(ax.transData, _below(ax, down))
    style: dict[str, Any] = {"transform": place, "clip_on": False, "solid_capstyle": "butt"}
    bar = Line2D([right - length, right], [0, 0], color=INK, linewidth=5, **style)
    half = Line2D([right - length / 2, right - length * 0.005], [0, 0], color="white", linewidth=3, **style)
    text = ax.annotate(
        printed_place(length, unit), (right - length, 0), (-5, 0), xycoords=place, textcoords="offset points",
        ha="right", va="center_baseline", fontsize=SMALL, color=INK, annotation_clip=False,
    )  # fmt: skip
    return ax.add_artist(bar), ax.add_artist(half), text


def colour_bar(cax: Axes, scale: Scale, orientation: Way, ends: tuple[str, str], signed: bool) -> Colorbar:
    """The steps with what they mean in lengths, and a word at each end."""
    mappable = ScalarMappable(norm=scale.norm, cmap=scale.colours)
    bar = Colorbar(cax, mappable, orientation=orientation, spacing="uniform", drawedges=True)
    labels = scale.labels(signed)
    keep = _shown_ticks(scale, labels, cax, orientation)
    bar.set_ticks([scale.edges[i] for i in keep], labels=[labels[i] for i in keep])
    bar.ax.minorticks_off()
    bar.ax.tick_params(labelsize=SMALL, labelcolor=INK, color=PALE, length=3)
    bar.outline.set(edgecolor=PALE, linewidth=0.8)
    bar.dividers.set(color="white", linewidth=0.6)
    low, high = (f"\N{LEFTWARDS ARROW} {ends[0]}" if ends[0] else "", f"{ends[1]} \N{RIGHTWARDS ARROW}")
    style: dict[str, Any] = {
        "xycoords": "axes fraction", "textcoords": "offset points", "fontsize": NORMAL, "color": INK,
        "annotation_clip": False,
    }  # fmt: skip
    if orientation == "vertical":
        beside = _beside_labels(max(map(len, labels)))
        cax.annotate(low, (1, 0), (beside, 0), rotation=90, ha="left", va="bottom", **style)
        cax.annotate(high, (1, 1), (beside, 0), rotation=90, ha="left", va="top", **style)
    else:
        cax.annotate(low, (0, 0), (0, -20), ha="left", va="top", **style)
        cax.annotate(high, (1, 0), (0, -20), ha="right", va="top", **style)
    return bar


def _shown_ticks(scale: Scale, labels: list[str], cax: Axes, orientation: str) -> list[int]:
    """Every edge that there is room for, counted from the reference so that both sides match."""
    settle_layout(root_of(cax))
    box = cax.get_window_extent()
    points = 72 / cax.figure.dpi
    room = (box.height if orientation == "vertical" else box.width) * points / (len(labels) - 1)
    need = 13.0 if orientation == "vertical" else 5.5 * max(map(len, labels)) + 8
    stride = max(1, int(np.ceil(need / room)))
    zero = int(np.argmin(np.abs(scale.edges)))
    return [i for i in range(len(labels)) if (i - zero) % stride == 0]
