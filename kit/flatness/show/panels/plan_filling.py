"""Showing the state of the Plan panel in its controls: labels with their units, values, and which of them matter."""

from __future__ import annotations

from typing import TYPE_CHECKING

from flatness.corrections.ways import PROPOSED
from flatness.lengths import format_length
from flatness.show.done_words import depth
from flatness.show.panels.check_state import AGREED
from flatness.show.panels.controls import HINTS, labelled, put, refill
from flatness.show.panels.plan_asked import BENCHMARKS, BEST, CHEAPEST, LEAST_WORK, LEVEL, LEVEL_AT, SPOTS
from flatness.show.panels.plan_look import set_steps
from flatness.show.panels.plan_more_filling import fill_more
from flatness.show.words import place

if TYPE_CHECKING:
    from flatness.show.panels.plan_controls import PlanControls

NO_FINISH = "(no finish: bring it to the target)"
STEPS = {"in": (25.4 / 32, 25.4 / 16, 25.4 / 8, 25.4 / 4), "mm": (0.5, 1.0, 2.0, 5.0, 10.0)}
MOST_STEPS = 100


def fill_controls(controls: PlanControls) -> None:
    """Show in each control what the state holds."""
    _labels(controls)
    _choices(controls)
    _numbers(controls)
    fill_sliders(controls)
    _spots(controls)
    fill_more(controls.more)


def fill_sliders(controls: PlanControls) -> None:
    """Stand both sliders where the state is."""
    set_steps(controls.times, controls.times.options, controls.state.off_times)
    _height(controls)


def _labels(controls: PlanControls) -> None:
    unit = controls.state.unit
    named = {
        "agreed_length": ("Agreed straightedge", HINTS[unit]), "agreed_gap": ("Agreed gap", unit),
        "level_within": ("Level within", unit), "cut": ("Take off at most", unit),
        "fill_most": ("Add at most", unit), "deepest_fill": ("Fill at most, then frame", unit),
        "price": ("Adding costs", "money a ft3" if unit == "in" else "money a litre"),
        "most_planed": ("Taken down at most", unit), "first": ("First member at", unit), "spacing": ("Spacing", unit),
        "depth": ("Depth", unit), "bearings": ("Bearings at", HINTS[unit]), "raised": ("Raise it by", unit),
        "allowance": ("Give or take", unit), "spot_x": ("Spot at x", HINTS[unit]),
        "spot_y": ("Spot at y", HINTS[unit]), "height": ("Level plane below the proudest spot", unit),
    }  # fmt: skip
    for name, (label, hint) in named.items():
        text = f"{label} [{hint}]"
        widget = getattr(controls, name)
        if text not in widget.description:
            labelled(widget, text)


def _choices(controls: PlanControls) -> None:
    state = controls.state
    controls.units.value = state.unit
    options = [(NO_FINISH, ""), *((name, key) for key, name in state.finishes.items())]
    refill(controls.finish, options, state.finish if state.finish in state.finishes else "")
    level = "plumb" if state.survey is not None and state.survey.surface == "wall" else "level"
    refill(controls.plane, [
        (f"One {level} plane", ""), ("The best plane", "best-plane"), ("Through the fixed spots", "through-benchmarks"),
        ("A string between the end members", "end-members"),
    ], state.plane)  # fmt: skip
    refill(controls.target, [
        ("The least work after which every limit is met", LEAST_WORK),
        (f"A {level} plane at the height of the slider", LEVEL_AT), (f"A {level} plane where it costs least", LEVEL),
        ("The best-fit plane, shifted to where it costs least", BEST),
        ("The plane of any tilt that costs least", CHEAPEST), ("The plane through the fixed spots", SPOTS),
        ("The plane through the benchmarks chosen", BENCHMARKS),
    ], state.target)  # fmt: skip
    under, framing = state.under, state.framing
    for widget, value in (
        (controls.aim, state.aim), (controls.on, state.on), (controls.beneath, under.kind),
        (controls.may_be_planed, "yes" if under.may_be_planed else ""), (controls.members, framing.kind),
        (controls.direction, framing.direction), (controls.way, state.way),
        (controls.clicking, "spot" if state.clicking else ""),
    ):  # fmt: skip
        if value in dict(widget.options).values():
            put(widget, value)
    patches = state.way in (PROPOSED, "patches")
    least = state.target == LEAST_WORK
    for widget, shown in (
        (controls.agreed_length, state.finish == AGREED), (controls.agreed_gap, state.finish == AGREED),
        (controls.plane, state.way not in ("patches", "some-members") and least), (controls.target, patches),
        (controls.aim, least), (controls.level_within, least and patches),
        (controls.height, state.way_asked == "patches" and state.target == LEVEL_AT),
        (controls.may_be_planed, bool(under.kind)), (controls.most_planed, bool(under.kind and under.may_be_planed)),
        *((widget, bool(framing.kind)) for widget in controls.framing),
        (controls.fixed, bool(state.spots)), (controls.free, bool(state.spots)),
    ):  # fmt: skip
        widget.layout.display = "" if shown else "none"


def _numbers(controls: PlanControls) -> None:
    state, unit = controls.state, controls.state.unit
    under, framing = state.under, state.framing

    def small(mm: float | None) -> str:
        return "" if mm is None else format_length(mm, unit, 64)

    def far(mm: float) -> str:
        return format_length(mm, "ft", 16) if unit == "in" else format_length(mm, "mm")

    volume = controls.volume
    for widget, text in (
        (controls.agreed_length, far(state.agreed.length)), (controls.agreed_gap, small(state.agreed.allowed)),
        (controls.level_within, small(state.level_within)), (controls.cut, small(state.cut)),
        (controls.fill_most, small(state.fill)), (controls.deepest_fill, small(state.deepest_fill)),
        (controls.price, "" if state.price is None else f"{state.price * volume:.6g}"),
        (controls.most_planed, small(under.most_planed)), (controls.first, small(framing.first)),
        (controls.spacing, small(framing.spacing)), (controls.depth, small(framing.depth)),
        (controls.bearings, "; ".join(far(at) for at in framing.bearings)),
    ):  # fmt: skip
        put(widget, text)


def _height(controls: PlanControls) -> None:
    """Steps of the slider from the proudest spot to the lowest, as fine as makes no more than a hundred."""
    state, surface = controls.state, controls.state.surface
    if surface is None or state.height is None:
        return
    key = (surface, state.unit)
    if controls.stepped[0] != key:
        heights = surface.height[surface.inside]
        top, reach = float(heights.max()), float(heights.max() - heights.min())
        steps = STEPS[state.unit]
        step = next((one for one in steps if reach / one <= MOST_STEPS), steps[-1])
        count = max(1, int(reach // step) + 1)
        options = [(format_length(k * step, state.unit, 32), k * step) for k in range(count + 1)]
        controls.stepped = (key, top, tuple(options))
    _, top, steps_named = controls.stepped
    set_steps(controls.height, steps_named, top - state.height)


def _spots(controls: PlanControls) -> None:
    state = controls.state
    options = []
    for k, spot in enumerate(state.spots):
        how = "as found" if spot.raised == 0 else f"{depth(spot.raised, state.unit)} off what is there"
        within = f", give or take {depth(spot.allowance, state.unit)[1:]}" if spot.allowance > 0 else ""
        name = f"{spot.name}, " if spot.name else ""
        options.append((f"{k + 1}: {name}{place((spot.x, spot.y), state.unit)}, {how}{within}", str(k)))
    if options:
        kept = controls.fixed.value if controls.fixed.value in dict(options).values() else options[-1][1]
        refill(controls.fixed, options, kept)
