"""The chart of a reveal: the gap along a wall against its nominal, and where to scribe the trim."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation

from flatness.corrections.reveal import Reveal
from flatness.show.axes import INK, LARGE, NORMAL, SMALL, put_heading, wrap_heading
from flatness.show.done_words import depth, least_told
from flatness.show.labels import FreeSpace
from flatness.show.patterns import HIGH, SWATCH, Entry, Key, key_points, line_entry, put_key
from flatness.show.reveal_parts import BAND, OUT, WOOD, draw_band, draw_change, draw_departure, draw_scribe, dress
from flatness.show.scales import check_unit, printed_limit, printed_place
from flatness.survey.readings import Floats

PAGE_IN, LEFT_IN, EDGE_IN = 10.0, 1.15, 0.35  # page, and what lies left and right of the axes [in]
REVEAL_IN, SCRIBE_IN, BETWEEN_IN, FOOT_IN = 2.7, 0.9, 0.5, 0.75  # heights of the parts [in]
REVEAL_LINE: dict[str, Any] = {"color": INK, "linewidth": 2.0}
NOMINAL: dict[str, Any] = {"color": "#2b7a52", "linewidth": 1.6, "linestyle": (0, (6, 2))}


@dataclass(frozen=True, eq=False)
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
    reveal : from :func:`flatness.corrections.reveal.reveal`
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
    scribed = bool(np.nanmax(cut) >= least_told(unit)) and reveal.verdict != "pass"
    entries = _entries(reveal, scribed)
    heading = (_title(reveal, unit) if title is None else title, _notes(reveal, unit, scribed))
    ax, below, key_ax = _figure(heading, entries, scribed)
    margin = 0.02 * float(np.ptp(s))
    limits = (float(s[0]) - margin, float(s[-1]) + margin)
    band, out = draw_band(ax, reveal, s, gap, limits)
    ax.set(xlim=limits, ylim=_range(reveal, gap))
    (nominal,) = ax.plot(limits, [reveal.nominal] * 2, zorder=3, scalex=False, scaley=False, **NOMINAL)
    (line,) = ax.plot(s, gap, zorder=4, scalex=False, scaley=False, **REVEAL_LINE)
    dress(ax, unit, "reveal", signed=False)
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
        ax, below, line, nominal, band, out, departure, change, span, scribe, stations, numbers, key
    )  # fmt: skip


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
        lower = depth(reveal.lower_by, unit)[1:] if reveal.lower_by >= least_told(unit) else ""
        first = f"lower the trim by {lower}, then cut" if lower else "cut"
        notes.append(f"For an even reveal {first} from its lower edge what stands below; numbers in {_named(unit)}.")
    elif reveal.verdict == "pass":
        notes.append("Nothing to scribe.")
    if reveal.note:
        notes.append(f"{reveal.note[:1].upper()}{reveal.note[1:]}.")
    return " ".join(notes)


def _stretches(reveal: Reveal, unit: str) -> str:
    """The stretches that are too wide or too tight, three of them at most."""
    told = [
        f"{printed_place(row['from_mm'], unit)} to {printed_place(row['to_mm'], unit)} ({row['gap']})"
        for row in reveal.scribe.to_dict("records")
    ]
    return ", ".join(told[:3]) + (f" and {len(told) - 3} more" if len(told) > 3 else "")


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


def _figure(
    heading: tuple[str, str], entries: list[Entry], scribed: bool
) -> tuple[Axes, Axes | None, Axes]:  # fmt: skip
    across = (PAGE_IN - LEFT_IN - EDGE_IN) * 72
    title, subtitle = wrap_heading(heading, across)
    head = (26 + (title.count("\n") + 1) * LARGE * 1.25 + (subtitle.count("\n") + 1) * SMALL * 1.3) / 72
    key_in = key_points(entries, across) / 72 + 0.1
    tall = head + REVEAL_IN + FOOT_IN + key_in + ((BETWEEN_IN + SCRIBE_IN) if scribed else 0.0)
    figure = Figure(figsize=(PAGE_IN, tall))

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
