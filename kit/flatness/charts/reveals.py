"""The chart of a reveal: the gap along a wall against its nominal, and where to scribe the trim.

What the chart of a reveal is made of: band, largest departure, largest change, and what to scribe.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation

from flatness.arrays import Floats
from flatness.charts.axes import (
    INK,
    NORMAL,
    SMALL,
    FreeSpace,
    Offset,
    dress_profile,
    heading_in,
    kept_apart,
    leader,
    new_figure,
    note,
    paper,
    put_heading,
    put_marks,
    rings,
    set_length_ticks,
    text_width,
)
from flatness.charts.hatching import HIGH, SWATCH, Entry, Key, key_points, line_entry, put_key
from flatness.charts.scales import check_unit, height_step, printed_limit
from flatness.framing.reveal import Reveal
from flatness.lengths import format_against, settle
from flatness.words.printed import depth, least_shown, printed_place, without_unit

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
    out = ax.fill_between(fine, dense, edge, where=np.nan_to_num(np.abs(dense - edge)) > 1e-6, zorder=2, **OUT)
    return band, out


def along(reveal: Reveal, place: tuple[float, float]) -> float:
    """How far a place of the line is from its start [mm]."""
    first = reveal.table.iloc[0]
    return float(np.hypot(place[0] - first["x_mm"], place[1] - first["y_mm"]))


def _write(ax: Axes, words: str, xy: tuple[float, float]) -> Annotation:
    return note(ax, words, xy, fontsize=NORMAL, zorder=7, bbox=paper(), arrowprops=leader())


def draw_departure(ax: Axes, reveal: Reveal, unit: str, space: FreeSpace) -> Annotation:
    """The largest departure from the nominal, marked and named."""
    value = reveal.departure.value
    at = along(reveal, reveal.departure.at) if reveal.departure.at is not None else 0.0
    size = format_against(abs(value), np.inf if reveal.tolerance is None else reveal.tolerance, unit, 32)
    way = "wide" if value > 0 else "tight"
    words = f"largest departure: {size} {way}, at {printed_place(at, unit)}" if settle(value) else "no departure"
    xy = (at, reveal.nominal + value)
    put_marks(ax, "o", *xy, markersize=7, color="white", markeredgewidth=1.8, zorder=6)
    text = _write(ax, words, xy)
    side = 1 if value > 0 else -1
    va = "bottom" if value > 0 else "top"
    above: list[Offset] = [
        (dx, side * dy, ha, va)
        for dy in (16.0, 26.0, 38.0)
        for dx, ha in ((0.0, "center"), (24.0, "left"), (-24.0, "right"))
    ]
    space.place(text, [*above, *rings(20)], leader=True)
    return text


def draw_change(ax: Axes, reveal: Reveal, unit: str, space: FreeSpace) -> tuple[Annotation | None, tuple[Line2D, ...]]:
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
    dress_profile(ax, unit, "to cut", signed=False)
    set_length_ticks(ax.yaxis, (0, 1.15 * most), height_step(1.15 * most, unit, most=4), unit, signed=False)
    words = [without_unit(v, unit).lstrip("+") if np.isfinite(v) and v >= least_shown(unit) else "0" for v in cut]
    points = ax.get_window_extent().width / ax.figure.dpi * 72 / (limits[1] - limits[0])
    need = max(text_width(text, SMALL, "bold") for text in words) * 1.1 + 8
    known = np.flatnonzero(np.isfinite(cut))
    stride = max(1, int(np.ceil(need / (points * float(np.median(np.diff(s)))))))
    kept = kept_apart([int(known[cut[known].argmax()]), *known[::stride].tolist()], s, need / points)
    style: dict[str, Any] = {"xycoords": ("data", "axes fraction"), "ha": "center", "va": "bottom"}
    numbers = tuple(note(ax, words[i], (float(s[i]), 1), off=(0, 4), fontweight="bold", **style) for i in kept)
    return scribe, s[kept], numbers


PAGE_IN, LEFT_IN, EDGE_IN = 10.0, 1.15, 0.35  # page, and what lies left and right of the axes [in]
REVEAL_IN, SCRIBE_IN, BETWEEN_IN, FOOT_IN = 2.7, 0.9, 0.5, 0.75  # heights of the parts [in]
REVEAL_LINE: dict[str, Any] = {"color": INK, "linewidth": 2.0}
NOMINAL: dict[str, Any] = {"color": "#2b7a52", "linewidth": 1.6, "linestyle": (0, (6, 2))}


@dataclass(frozen=True, eq=False, kw_only=True)
class RevealChart:
    """The artists of :func:`reveal_chart`.

    Attributes
    ----------
    ax : reveal along the line; ``scribe_ax`` what to cut from the lower edge of the trim, or None where nothing is
    line, nominal : the reveal, and the one wanted
    band : the agreed plus-or-minus, or None where nothing is agreed
    out : what lies outside it, hatched; None without a band
    departure, change : the largest departure from nominal, and the largest change over a short distance, in words;
        ``change`` None where the reveal does not change
    span : the two places between which it changes most; empty where it does not change
    scribe : what to cut, drawn as the wood that goes; None where nothing is
    stations, numbers : [k] mm along the line that have numbers, and what to cut there
    key : what is what
    """

    ax: Axes
    scribe_ax: Axes | None
    line: Line2D
    nominal: Line2D
    band: Rectangle | None
    out: PolyCollection | None
    departure: Annotation
    change: Annotation | None
    span: tuple[Line2D, ...]
    scribe: PolyCollection | None
    stations: Floats
    numbers: tuple[Annotation, ...]
    key: Key


def reveal_chart(reveal: Reveal, *, unit: str = "in", title: str | None = None) -> RevealChart:
    """The reveal at each station along the wall, against its nominal and the agreed plus-or-minus; where to scribe.

    Parameters
    ----------
    reveal : from :func:`flatness.framing.reveal.reveal`
    unit : ``in`` or ``mm``
    title : None says what is seen

    Returns
    -------
    RevealChart

    Raises
    ------
    ArgumentError : an unknown unit
    """
    check_unit(unit)
    table = reveal.table
    s, gap, cut = (table[name].to_numpy(dtype=np.float64) for name in ("station_mm", "reveal_mm", "scribe_mm"))
    scribed = bool(np.nanmax(cut) >= least_shown(unit)) and reveal.verdict != "pass"
    entries = _entries(reveal, scribed)
    heading = (_title(reveal, unit) if title is None else title, _notes(reveal, unit, scribed))
    ax, below, key_ax = _figure(heading, entries, scribed)
    margin = 0.02 * float(np.ptp(s))
    limits = (float(s[0]) - margin, float(s[-1]) + margin)
    band, out = draw_band(ax, reveal, s, gap, limits)
    ax.set(xlim=limits, ylim=_range(reveal, gap))
    (nominal,) = ax.plot(limits, [reveal.nominal] * 2, zorder=3, scalex=False, scaley=False, **NOMINAL)
    (line,) = ax.plot(s, gap, zorder=4, scalex=False, scaley=False, **REVEAL_LINE)
    dress_profile(ax, unit, "reveal", signed=False)
    space = FreeSpace(ax)
    for part in np.split(np.column_stack([s, gap]), np.flatnonzero(np.diff(np.isfinite(gap))) + 1):
        if np.isfinite(part).all():
            space.take_line(part, 2.0)
    space.take_line(np.array([[limits[0], reveal.nominal], [limits[1], reveal.nominal]]), 1.5)
    change, span = draw_change(ax, reveal, unit, space)
    departure = draw_departure(ax, reveal, unit, space)
    scribe: PolyCollection | None = None
    stations, numbers = np.empty(0), tuple[Annotation, ...]()
    if below is not None:
        scribe, stations, numbers = draw_scribe(below, s, cut, unit, limits)
    last = ax if below is None else below
    last.set_xlabel("along the wall, from the start of the line", fontsize=NORMAL, color=INK)
    if below is not None:
        ax.tick_params(axis="x", labelbottom=False)
        ax.set_xticklabels([])
    key = put_key(key_ax, entries, (PAGE_IN - LEFT_IN - EDGE_IN) * 72)
    return RevealChart(
        ax=ax,
        scribe_ax=below,
        line=line,
        nominal=nominal,
        band=band,
        out=out,
        departure=departure,
        change=change,
        span=span,
        scribe=scribe,
        stations=stations,
        numbers=numbers,
        key=key,
    )


def _title(reveal: Reveal, unit: str) -> str:
    agreed = "" if reveal.tolerance is None else f", \N{PLUS-MINUS SIGN}{printed_limit(reveal.tolerance, unit)}"
    return f"Reveal along the wall, {printed_limit(reveal.nominal, unit)} wanted{agreed}: {reveal.verdict.upper()}"


def _notes(reveal: Reveal, unit: str, scribed: bool) -> str:
    notes = []
    if reveal.tolerance is None and reveal.change_tolerance is None:
        notes.append("No plus-or-minus is agreed, so that it neither passes nor fails.")
    if reveal.change_tolerance is not None:
        over = printed_place(reveal.change_over, unit)
        notes.append(f"Agreed change: {printed_limit(reveal.change_tolerance, unit)} within {over}.")
    if len(reveal.scribe):
        notes.append(f"Outside what is agreed: {_stretches(reveal, unit)}.")
    if abs(reveal.slope) >= 0.05:
        run, words = (1.0, "a metre") if unit == "mm" else (3.048, "10 ft")
        way = "rises" if reveal.slope > 0 else "falls"
        notes.append(f"The line {way} {depth(abs(reveal.slope) * run, unit)[1:]} in {words}.")
    if scribed:
        lower = depth(reveal.lower_by, unit)[1:] if reveal.lower_by >= least_shown(unit) else ""
        first = f"lower the trim by {lower}, then cut" if lower else "cut"
        notes.append(f"For an even reveal {first} from its lower edge what stands below; numbers in {_named(unit)}.")
    elif reveal.verdict == "pass":
        notes.append("Nothing to scribe.")
    if reveal.note:
        notes.append(f"{reveal.note[:1].upper()}{reveal.note[1:]}.")
    return " ".join(notes)


def _stretches(reveal: Reveal, unit: str) -> str:
    """The stretches that are too wide or too tight, three of them at most."""
    wording = [
        f"{printed_place(row['from_mm'], unit)} to {printed_place(row['to_mm'], unit)} ({row['gap']})"
        for row in reveal.scribe.to_dict("records")
    ]
    return ", ".join(wording[:3]) + (f" and {len(wording) - 3} more" if len(wording) > 3 else "")


def _named(unit: str) -> str:
    return "inches" if unit == "in" else "mm"


def _entries(reveal: Reveal, scribed: bool) -> list[Entry]:
    entries = [line_entry("reveal", "reveal", **REVEAL_LINE), line_entry("nominal", "wanted", **NOMINAL)]
    style: dict[str, Any] = {"edgecolor": INK, "linewidth": 0.8}
    if reveal.tolerance is not None:
        entries.append(Entry("band", Rectangle((0, 0), SWATCH, HIGH, facecolor=BAND, **style), "within what is agreed"))
    if len(reveal.scribe):
        entries.append(Entry("out", Rectangle((0, 0), SWATCH, HIGH, **OUT), "outside it: too wide or too tight"))
    if scribed:
        entries.append(Entry("scribe", Rectangle((0, 0), SWATCH, HIGH, **WOOD), "to cut from the lower edge"))
    return entries


def _figure(heading: tuple[str, str], entries: list[Entry], scribed: bool) -> tuple[Axes, Axes | None, Axes]:
    across = (PAGE_IN - LEFT_IN - EDGE_IN) * 72
    head = heading_in(heading, across)
    key_in = key_points(entries, across) / 72 + 0.1
    tall = head + REVEAL_IN + FOOT_IN + key_in + ((BETWEEN_IN + SCRIBE_IN) if scribed else 0.0)
    figure = new_figure(PAGE_IN, tall)

    def put(top: float, high: float) -> Axes:
        place = (LEFT_IN / PAGE_IN, 1 - (top + high) / tall, across / 72 / PAGE_IN, high / tall)
        return figure.add_axes(place)

    ax = put(head, REVEAL_IN)
    below = put(head + REVEAL_IN + BETWEEN_IN, SCRIBE_IN) if scribed else None
    key_ax = put(tall - key_in, 0.05)
    key_ax.set(xticks=[], yticks=[])
    key_ax.set_axis_off()
    put_heading(ax, heading, across)
    return ax, below, key_ax


def _range(reveal: Reveal, gap: Floats) -> tuple[float, float]:
    half = reveal.tolerance or 0.0
    low = min(float(np.nanmin(gap)), reveal.nominal - half)
    high = max(float(np.nanmax(gap)), reveal.nominal + half)
    spare = 0.45 * max(high - low, 0.5)  # room for what is written
    return low - spare, high + spare
