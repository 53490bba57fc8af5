"""Showing the state of the Plan panel in its seldom-used controls."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatness.corrections.quantities import POUND_KG
from flatness.lengths import MM3_PER_FT3, MM3_PER_LITRE, format_length
from flatness.show.done_words import depth
from flatness.show.panels.controls import HINTS, labelled, offer, put, refill
from flatness.show.panels.plan_asked import BENCHMARKS, STRAPPING, Ground, placed_benchmarks
from flatness.show.panels.plan_more import AREA_ENDS
from flatness.show.words import place

if TYPE_CHECKING:
    from flatness.show.panels.plan_more import MoreControls


def fill_more(more: MoreControls) -> None:
    """Show in each control what the state holds."""
    _labels(more)
    state, unit = more.state, more.state.unit
    known = placed_benchmarks(state.survey)
    unplaced = [] if state.survey is None else [name for name in state.survey.benchmarks if name not in known]
    more.benchmarks.tooltip = "The plane goes through those that are chosen; several with Ctrl or Shift" + (
        f". Without a place in the file, and so left out: {', '.join(unplaced)}" if unplaced else ""
    )
    labelled(more.benchmarks, "Benchmarks" if known else "Benchmarks (none has a place in the file)")
    options = [(f"{name}, {place((one.x, one.y), unit)}", name) for name, one in known.items()]
    offer(more.benchmarks, options, tuple(name for name in state.benchmarks if name in known))
    framing, own = state.framing, state.materials
    put(more.crossed_kind, framing.crossed)
    for one in more.bench:
        one.layout.display = "" if state.target == BENCHMARKS else "none"
    for one in more.crossed:
        one.layout.display = "" if framing.kind == STRAPPING else "none"
    volume, density = (MM3_PER_FT3, POUND_KG / MM3_PER_FT3) if unit == "in" else (MM3_PER_LITRE, 1e-9)
    for widget, text in (
        (more.off_benchmarks, _small(state.off_benchmarks, unit)),
        (more.crossed_first, _small(framing.crossed_first, unit)),
        (more.crossed_spacing, _small(framing.crossed_spacing, unit)),
        (more.bag_yield, _number(own.bag_yield, volume)), (more.fill_density, _number(own.fill_density, density)),
        (more.sister_density, _number(own.sister_density, density)), (more.spare, _number(own.spare, 0.01)),
        (more.kerf, "" if own.kerf is None else _small(own.kerf, unit)),
        (more.stock, "; ".join(_far(length, unit) for length in own.stock)),
    ):  # fmt: skip
        put(widget, text)
    options = [(f"{k}: {ground_words(one, unit)}", str(k - 1)) for k, one in enumerate(state.grounds, 1)]
    if options:
        same = len(options) == len(more.area_list.options)  # one that was just added is the one chosen
        kept = more.area_list.value if same and more.area_list.value in dict(options).values() else options[-1][1]
        refill(more.area_list, options, kept)
    for widget in (more.area_list, more.area_drop):
        widget.layout.display = "" if options else "none"


def _labels(more: MoreControls) -> None:
    unit = more.state.unit
    by_volume = "lb/ft3" if unit == "in" else "kg/m3"
    for widget, label, hint in (
        (more.off_benchmarks, "Above them by", unit), (more.crossed_first, "First of these at", unit),
        (more.crossed_spacing, "Their spacing", unit), (more.area_most, "At most", unit),
        (more.bag_yield, "Yield of a bag", "ft3" if unit == "in" else "litres"),
        (more.fill_density, "Weight of the fill", by_volume), (more.sister_density, "Weight of sisters", by_volume),
        (more.kerf, "Saw cut", unit), (more.stock, "Lengths on sale", HINTS[unit]),
        *((field, name, HINTS[unit]) for field, name in zip(more.area_ends, AREA_ENDS, strict=True)),
    ):  # fmt: skip
        text = f"{label} [{hint}]"
        if text not in widget.description:
            labelled(widget, text)


def ground_words(one: Ground, unit: str) -> str:
    """A part of the surface and what lies beneath it, in a line."""
    under = one.under
    most = "" if under.most_planed is None else f", {depth(under.most_planed, unit)[1:]} at most"
    may = f"may be taken down{most}" if under.may_be_planed else "nothing comes off"
    corners = f"{place((one.x0, one.y0), unit)} to {place((one.x1, one.y1), unit)}"
    return f"{under.kind}, {may}, from {corners}"


def _small(mm: float, unit: str) -> str:
    return format_length(mm, unit, 64)


def _far(mm: float, unit: str) -> str:
    return format_length(mm, "ft", 16) if unit == "in" else format_length(mm, "mm")


def _number(value: float | None, per: float) -> str:
    return "" if value is None else f"{value / per:.4g}"
