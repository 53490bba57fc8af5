"""What the chart of a reveal is made of: band, largest departure, largest change, and what to scribe."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation

from flatness.corrections.reveal import Reveal
from flatness.lengths import format_against, settle
from flatness.show.axes import INK, NORMAL, PALE, SMALL, set_place_ticks
from flatness.show.done_words import least_told, number
from flatness.show.labels import FreeSpace, Offset, rings, text_width
from flatness.show.scales import height_step, place_step, printed, printed_place
from flatness.survey.readings import Floats

BAND = "#d8ead9"
OUT: dict[str, Any] = {"facecolor": "#e9b8d3", "edgecolor": "#8f2f68", "hatch": "xxx", "linewidth": 0}
WOOD_LINE = "#8a6420"
WOOD: dict[str, Any] = {"facecolor": "#ecd9b5", "edgecolor": WOOD_LINE, "hatch": "////", "linewidth": 0}


def draw_band(
    ax: Axes, reveal: Reveal, s: Floats, gap: Floats, limits: tuple[float, float]
) -> tuple[Rectangle | None, PolyCollection | None]:
    """The agreed plus-or-minus, and hatching over what lies outside it; None, None where nothing is agreed."""
    if reveal.tolerance is None:
        return None, None
    low, high = reveal.nominal - reveal.tolerance, reveal.nominal + reveal.tolerance
    band = Rectangle((limits[0], low), limits[1] - limits[0], high - low, facecolor=BAND, linewidth=0, zorder=1)
    ax.add_patch(band)
    # crossings are found between stations too, since the reveal is straight between them
    fine = np.unique(np.concatenate([s, np.linspace(s[0], s[-1], 2000)]))
    dense = np.interp(fine, s, gap)
    edge = np.clip(dense, low, high)
    out = ax.fill_between(
        fine, dense, edge, where=np.nan_to_num(np.abs(dense - edge)) > 1e-6, zorder=2, **OUT,
    )  # fmt: skip
    return band, out


def dress(ax: Axes, unit: str, name: str, *, signed: bool) -> None:
    """Tape positions along, lengths upward, and the name of what is drawn."""
    left, right = ax.get_xlim()
    set_place_ticks(ax.xaxis, (left, right), place_step(right - left, unit, most=14), unit)
    low, high = ax.get_ylim()
    step = height_step(abs(high - low), unit, most=9)
    first, last = sorted((low, high))
    ticks = step * np.arange(np.ceil(first / step - 1e-6), np.floor(last / step + 1e-6) + 1)
    ax.yaxis.set_ticks(ticks, labels=[printed(settle(tick), unit, 64, signed=signed) for tick in ticks])
    ax.set_ylabel(name, fontsize=NORMAL, color=INK)
    ax.tick_params(labelsize=SMALL, labelcolor=INK, color=PALE, length=3, width=0.8)
    for side, spine in ax.spines.items():
        spine.set(visible=side in ("left", "bottom"), color=PALE, linewidth=0.8)


def along(reveal: Reveal, place: tuple[float, float]) -> float:
    """How far a place of the line is from its start [mm]."""
    first = reveal.table.iloc[0]
    return float(np.hypot(place[0] - first["x_mm"], place[1] - first["y_mm"]))


def _write(ax: Axes, words: str, xy: tuple[float, float]) -> Annotation:
    return ax.annotate(
        words, xy, (0, 0), textcoords="offset points", fontsize=NORMAL, color=INK, zorder=7, annotation_clip=False,
        bbox={"boxstyle": "round,pad=0.25", "facecolor": "white", "edgecolor": INK, "linewidth": 0.8},
        arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 1.0, "shrinkA": 0, "shrinkB": 0},
    )  # fmt: skip


def draw_departure(ax: Axes, reveal: Reveal, unit: str, space: FreeSpace) -> Annotation:
    """The largest departure from the nominal, marked and told."""
    value = reveal.departure.value
    at = along(reveal, reveal.departure.at) if reveal.departure.at is not None else 0.0
    size = format_against(abs(value), np.inf if reveal.tolerance is None else reveal.tolerance, unit, 32)
    way = "wide" if value > 0 else "tight"
    words = f"largest departure: {size} {way}, at {printed_place(at, unit)}" if settle(value) else "no departure"
    xy = (at, reveal.nominal + value)
    ax.plot(*xy, marker="o", markersize=7, color="white", markeredgecolor=INK, markeredgewidth=1.8, zorder=6,
            scalex=False, scaley=False)  # fmt: skip
    text = _write(ax, words, xy)
    side = 1 if value > 0 else -1
    va = "bottom" if value > 0 else "top"
    above: list[Offset] = [(dx, side * dy, ha, va) for dy in (16.0, 26.0, 38.0)
                           for dx, ha in ((0.0, "center"), (24.0, "left"), (-24.0, "right"))]  # fmt: skip
    space.place(text, [*above, *rings(20)], leader=True)
    return text


def draw_change(
    ax: Axes, reveal: Reveal, unit: str, space: FreeSpace
) -> tuple[Annotation | None, tuple[Line2D, ...]]:  # fmt: skip
    """The two places between which the reveal changes most, with a bracket at the foot of the axes."""
    if len(reveal.change.contacts) != 2:
        return None, ()
    s = reveal.table["station_mm"].to_numpy(dtype=np.float64)
    gap = reveal.table["reveal_mm"].to_numpy(dtype=np.float64)
    ends = sorted(along(reveal, place) for place in reveal.change.contacts)
    low, high = ax.get_ylim()
    foot = low + 0.07 * (high - low)
    style: dict[str, Any] = {"color": INK, "scalex": False, "scaley": False, "zorder": 3.5}
    (bracket,) = ax.plot(ends, [foot, foot], linewidth=2.0, marker="|", markersize=11, markeredgewidth=1.6, **style)
    heights = np.interp(ends, s, gap)
    feet = [
        ax.plot([at, at], [foot, height], linewidth=0.9, linestyle=(0, (1, 2)), **style)[0]
        for at, height in zip(ends, heights, strict=True)
    ]
    space.take_line(np.array([[ends[0], foot], [ends[1], foot]]), 5.0)
    agreed = np.inf if reveal.change_tolerance is None else reveal.change_tolerance
    text = _write(
        ax,
        f"largest change within {printed_place(reveal.change_over, unit)}: "
        f"{format_against(reveal.change.value, agreed, unit, 32)}, {printed_place(ends[0], unit)} to "
        f"{printed_place(ends[1], unit)}",
        ((ends[0] + ends[1]) / 2, foot),
    )
    # beside the bracket, on its line
    half = space.points_between((ends[0], foot), (ends[1], foot)) / 2
    beside: list[Offset] = [(half + 12, 0.0, "left", "center"), (-half - 12, 0.0, "right", "center")]
    space.place(text, [*beside, (0.0, 12.0, "center", "bottom"), *rings(20)], gap=1.0)
    return text, (bracket, *feet)


def draw_scribe(
    ax: Axes, s: Floats, cut: Floats, unit: str, limits: tuple[float, float]
) -> tuple[PolyCollection, Floats, tuple[Annotation, ...]]:
    """The wood to cut, from the lower edge upward, with numbers above it at as many stations as there is room for."""
    most = float(np.nanmax(cut))
    scribe = ax.fill_between(s, cut, 0, zorder=2, **WOOD)
    ax.set(xlim=limits, ylim=(0, 1.15 * most))
    ax.plot(s, cut, color=WOOD_LINE, linewidth=1.6, zorder=3, scalex=False, scaley=False)
    dress(ax, unit, "to cut", signed=False)
    step = height_step(1.15 * most, unit, most=4)
    ticks = step * np.arange(np.floor(1.15 * most / step + 1e-6) + 1)
    ax.yaxis.set_ticks(ticks, labels=[printed(settle(tick), unit, 64) for tick in ticks])
    words = [number(v, unit).lstrip("+") if np.isfinite(v) and v >= least_told(unit) else "0" for v in cut]
    points = ax.get_window_extent().width / ax.figure.dpi * 72 / (limits[1] - limits[0])
    need = max(text_width(text, SMALL, "bold") for text in words) * 1.1 + 8
    known = np.flatnonzero(np.isfinite(cut))
    stride = max(1, int(np.ceil(need / (points * float(np.median(np.diff(s)))))))
    kept: list[int] = []
    for i in [int(known[cut[known].argmax()]), *(int(k) for k in known[::stride])]:
        if all(abs(s[i] - s[j]) * points >= need for j in kept):
            kept.append(i)
    kept.sort()
    numbers = tuple(
        ax.annotate(
            words[i], (float(s[i]), 1), (0, 4), xycoords=("data", "axes fraction"), textcoords="offset points",
            ha="center", va="bottom", fontsize=SMALL, fontweight="bold", color=INK, annotation_clip=False,
        )
        for i in kept
    )  # fmt: skip
    return scribe, s[kept], numbers
