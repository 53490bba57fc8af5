"""The profile under a straightedge: the surface, the bar on its two contacts, and the gap between them.

The surface cut along a straightedge, as the bar sees it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.text import Annotation

from flatness.arrays import Floats
from flatness.charts.axes import (
    INK,
    NORMAL,
    RIGHT_IN,
    SMALL,
    FreeSpace,
    Offset,
    frame,
    headed_axes,
    leader,
    note,
    paper,
    put_heading,
    put_marks,
    rings,
    set_length_ticks,
    set_place_ticks,
)
from flatness.charts.scales import check_limit, check_unit, height_step, place_step, printed, printed_limit
from flatness.errors import ArgumentError, MeasureError
from flatness.measures.lines import Place
from flatness.measures.straightedge import Placement, profile_through
from flatness.surface.lattice import Surface
from flatness.words.printed import length as printed_length
from flatness.words.printed import printed_place


@dataclass(frozen=True, eq=False, kw_only=True)
class Cut:
    """The surface along a straightedge.

    Attributes
    ----------
    distance : [n] from the left contact [mm], rising
    height : [n] from the underside of the bar [mm]
    span : from contact to contact [mm]
    at : distance of the largest gap [mm]
    bar : where the bar begins and ends [mm]
    rise : how much the right contact stands above the left one in place [mm]
    """

    distance: Floats
    height: Floats
    span: float
    at: float
    bar: tuple[float, float]
    rise: float


def ends_of(placement: Placement) -> tuple[Place, Place]:
    """The contacts A and B [mm], left and right on the profile."""
    turn = math.radians(placement.heading)
    first, last = sorted(placement.contacts, key=lambda xy: xy[0] * math.cos(turn) + xy[1] * math.sin(turn))
    return first, last


def cut_along(surface: Surface, placement: Placement, length: float) -> Cut:
    """The surface under a bar of this length [mm], and a little beyond it."""
    turn = math.radians(placement.heading)
    near, far = sorted(
        (x - placement.at[0]) * math.cos(turn) + (y - placement.at[1]) * math.sin(turn) for x, y in placement.contacts
    )
    span = far - near
    beyond = (length - span) / 2 + 0.1 * length
    reach = max(-near, far) + beyond + 2 * surface.spacing
    distance, height = profile_through(surface, placement.at, placement.heading, reach)
    ends = np.interp([near, far], distance, height)
    inside = (distance >= near - beyond - surface.spacing) & (distance <= far + beyond + surface.spacing)
    s = distance[inside] - near
    from_bar = height[inside] - (ends[0] + (ends[1] - ends[0]) * s / span)
    return Cut(
        distance=s, height=from_bar, span=span, at=-near, bar=_bar_ends(span, length, s), rise=float(ends[1] - ends[0])
    )


def _bar_ends(span: float, length: float, s: Floats) -> tuple[float, float]:
    """Centred over the contacts, and moved off a wall where it would run into one."""
    start = (span - length) / 2
    start = max(start, float(s[0])) if start + length <= s[-1] else min(start, float(s[-1]) - length)
    start = min(0.0, max(start, span - length))
    return start, start + length


BOX_IN, LEFT_IN = (8.6, 3.5), 1.1  # of the axes, in a figure of their own [in]
LARGER = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000)  # round factors of exaggeration
FILL, OVER = "#dad5cd", "#c3b1d8"


@dataclass(frozen=True, eq=False, kw_only=True)
class ProfileChart:
    """The artists of :func:`profile_chart`.

    Attributes
    ----------
    ax : the axes
    profile : the line of the surface; ``fill`` the body below it
    bar : the straightedge; ``contacts`` the two points on which it rests
    dimension : the arrows across the gap; ``label`` the gap in words
    allowed : line of the allowed gap, and ``over`` hatching beyond it; None where no gap is given
    texts : what else is written in the axes
    exaggeration : how many times larger heights are drawn than distances
    """

    ax: Axes
    profile: Line2D
    fill: Polygon
    bar: Rectangle
    contacts: Line2D
    dimension: Annotation
    label: Annotation
    allowed: Line2D | None
    over: PolyCollection | None
    texts: tuple[Annotation, ...]
    exaggeration: float


def profile_chart(
    surface: Surface,
    placement: Placement | None,
    *,
    length: float,
    allowed_mm: float | None = None,
    kind: str = "surface",
    unit: str = "in",
    title: str | None = None,
    ax: Axes | None = None,
) -> ProfileChart:
    """The profile under one straightedge, such as the worst, with its gap dimensioned.

    Heights are drawn from the bar, which lies level on the chart whatever its slope in place.

    Parameters
    ----------
    surface : the surface
    placement : where the bar lies
    length : length of the bar [mm]
    allowed_mm : allowed gap [mm]: drawn as a line, and what lies beyond it is hatched
    kind : ``floor``, ``ceiling`` or ``wall``, for the words
    unit : ``in`` or ``mm``
    title : None says what is seen
    ax : axes to draw into; None makes a figure

    Returns
    -------
    ProfileChart

    Raises
    ------
    MeasureError : no placement: nothing bridges anywhere
    ArgumentError : an unknown unit, or a length shorter than the placement's span
    """
    check_unit(unit)
    allowed = check_limit(allowed_mm, "allowed_mm")
    if placement is None:
        raise MeasureError(
            "there is no placement to draw: no straightedge bridges a gap on this surface",
            expected="a placement with two contacts",
        )
    if not (math.isfinite(length) and length >= placement.span * (1 - 1e-6) - 1e-3):
        what, expected = "length shorter than the span between the contacts", f"at least {placement.span:.1f} mm"
        raise ArgumentError(what, value=str(length), expected=expected, remedy="give the length that was measured with")
    cut = cut_along(surface, placement, length)
    bar_name = f"{printed_place(length, unit)} straightedge"
    if title is None:
        title = f"Profile of the {kind} under the {bar_name}, gap {printed_length(placement.gap, unit, allowed)}"
    margin = 0.04 * length
    left, right = min(cut.distance[0], cut.bar[0]) - margin, max(cut.distance[-1], cut.bar[1]) + margin
    most = float(max(-cut.height.min(), allowed or 0.0)), float(max(cut.height.max(), 0.0))
    if ax is None:
        times = _exaggeration(sum(most), right - left, BOX_IN)
        heading = (title, _notes(cut, placement, times, unit, kind, surface.is_level))
        ax = headed_axes(BOX_IN, RIGHT_IN, 0.65, heading, LEFT_IN)
        wide = (BOX_IN[0] + RIGHT_IN - 0.3) * 72
    else:
        size = (ax.get_window_extent().width / ax.figure.dpi, ax.get_window_extent().height / ax.figure.dpi)
        times = _exaggeration(sum(most), right - left, size)
        heading, wide = (title, _notes(cut, placement, times, unit, kind, surface.is_level)), size[0] * 72
    box = ax.get_window_extent()
    tall = (right - left) * box.height / box.width / times  # what the axes show from bottom to top [mm]
    top = most[1] + 0.3 * tall
    ax.set(xlim=(left, right), ylim=(top - tall, top))
    # should the figure be resized, the factor stays true
    ax.set_aspect(times, adjustable="datalim")
    put_heading(ax, heading, wide)
    _dress(ax, unit)
    return _draw(ax, cut, placement, allowed, bar_name, unit, times, tall)


def _exaggeration(range_mm: float, across: float, size: tuple[float, float]) -> float:
    """The largest round factor that leaves the heights within half of the axes."""
    fits = 0.5 * size[1] * across / size[0] / max(range_mm, 0.5)
    return float(max((n for n in LARGER if n <= fits), default=fits))


def _notes(cut: Cut, placement: Placement, times: float, unit: str, kind: str, level: bool) -> str:
    notes = [
        "Heights drawn true to scale." if times == 1 else f"Heights drawn {times:.3g} times larger than distances."
    ]
    if level and abs(cut.rise) >= 0.8:
        more = cut.rise > 0
        where = ("higher" if more else "lower") if kind == "floor" else ("nearer the room" if more else "farther away")
        rise = printed(abs(cut.rise), unit)
        notes.append(f"The bar is drawn level; in place B is {rise} {where} than A.")
    for letter, xy in zip("AB", ends_of(placement), strict=True):
        x, y = (printed_place(float(value), unit) for value in xy)
        notes.append(f"{letter} at x {x}, y {y}.")
    if kind in ("ceiling", "wall"):
        notes.append(f"The room is above the line, the {kind} below it.")
    return " ".join(notes)


def _dress(ax: Axes, unit: str) -> None:
    left, right = ax.get_xlim()
    set_place_ticks(ax.xaxis, (left, right), place_step(right - left, unit, most=14), unit)
    low, high = ax.get_ylim()
    set_length_ticks(ax.yaxis, (low, high), height_step(high - low, unit, most=9), unit)
    ax.set_xlabel("along the bar, from A to B", fontsize=NORMAL, color=INK)
    ax.set_ylabel("height from the bar", fontsize=NORMAL, color=INK)
    frame(ax)


def _draw(
    ax: Axes, cut: Cut, placement: Placement, allowed: float | None, bar_name: str, unit: str, times: float, tall: float
) -> ProfileChart:
    s, z = cut.distance, cut.height
    floor = ax.get_ylim()[0] - tall
    corners = np.vstack([[s[0], floor], np.column_stack([s, z]), [s[-1], floor]])
    body = Polygon(corners, closed=True, facecolor=FILL, edgecolor="none", zorder=1)
    ax.add_patch(body)
    (profile,) = ax.plot(s, z, color=INK, linewidth=1.8, zorder=3, scalex=False, scaley=False)
    thick = 0.055 * tall
    bar = Rectangle(
        (cut.bar[0], 0), cut.bar[1] - cut.bar[0], thick, facecolor="#f2c230", edgecolor=INK, linewidth=1.2, zorder=4
    )
    ax.add_patch(bar)
    contacts = put_marks(ax, "s", [0, cut.span], [0, 0], markersize=11, color="white", markeredgewidth=1.6, zorder=5)
    for at, letter in ((0.0, "A"), (cut.span, "B")):
        ax.text(
            at, 0.0, letter, ha="center", va="center_baseline", fontsize=SMALL, fontweight="bold", color=INK, zorder=5.5
        )
    line, over = _draw_allowed(ax, cut, allowed) if allowed is not None else (None, None)
    space = FreeSpace(ax)
    deep = space.points_between((cut.at, 0), (cut.at, -placement.gap))
    arrows = leader(1.4) | {"arrowstyle": "<->", "mutation_scale": min(12.0, max(3.0, deep / 2))}
    tips = (cut.at, -placement.gap), (cut.at, 0)
    dimension = ax.annotate("", *tips, zorder=6, annotation_clip=False, arrowprops=arrows)
    space.take_line(np.column_stack([s, z]), 1.5)
    space.take_line(
        np.array([[cut.bar[0], thick / 2], [cut.bar[1], thick / 2]]), space.points_between((0, 0), (0, thick / 2))
    )
    space.take_marks(np.array([[0, 0], [cut.span, 0]]), 5.5)
    space.take_line(np.array([[cut.at, 0], [cut.at, -placement.gap]]), 3.0)
    if allowed is not None:
        space.take_line(np.array([[0, -allowed], [cut.span, -allowed]]), 1.0)
    label = _write(ax, f"gap {printed_length(placement.gap, unit, allowed)}", (cut.at, -placement.gap / 2), bold=True)
    heights = sorted(np.linspace(-deep / 2, deep / 2, 15), key=abs)
    beside: list[Offset] = [(side * 9, dy, ha, "center") for dy in heights for side, ha in ((1, "left"), (-1, "right"))]
    if space.place(label, beside):
        arrow = label.arrow_patch
        assert arrow is not None
        arrow.set_visible(False)
    else:
        space.place(label, rings(deep / 2 + 8), leader=True)
    name = _write(ax, bar_name, ((cut.bar[0] + cut.bar[1]) / 2, thick))
    space.place(name, [(0, 5, "center", "bottom"), *rings()])
    texts = [name]
    if allowed is not None:
        texts.append(_write(ax, f"allowed {printed_limit(allowed, unit)}", (cut.span, -allowed)))
        ends = [(dx, dy, "right", va) for dx in range(-4, -420, -24) for dy, va in ((-7, "top"), (7, "bottom"))]
        space.place(texts[-1], [*ends, *rings()])
    return ProfileChart(
        ax=ax,
        profile=profile,
        fill=body,
        bar=bar,
        contacts=contacts,
        dimension=dimension,
        label=label,
        allowed=line,
        over=over,
        texts=tuple(texts),
        exaggeration=times,
    )


def _draw_allowed(ax: Axes, cut: Cut, allowed: float) -> tuple[Line2D, PolyCollection]:
    style: dict[str, Any] = {"color": "#4a2f63", "linewidth": 1.5, "linestyle": (0, (6, 3)), "zorder": 2.5}
    (line,) = ax.plot([0, cut.span], [-allowed, -allowed], scalex=False, scaley=False, **style)
    s = np.unique(
        np.concatenate([np.linspace(0, cut.span, 400), cut.distance[(cut.distance > 0) & (cut.distance < cut.span)]])
    )
    z = np.interp(s, cut.distance, cut.height)
    limits = ax.get_xlim(), ax.get_ylim()
    hatch: dict[str, Any] = {"facecolor": OVER, "edgecolor": "#4a2f63", "hatch": "////", "linewidth": 0, "zorder": 2}
    over = ax.fill_between(s, z, -allowed, where=(z < -allowed - 1e-6).tolist(), interpolate=True, **hatch)
    ax.set(xlim=limits[0], ylim=limits[1])
    return line, over


def _write(ax: Axes, words: str, xy: tuple[float, float], *, bold: bool = False) -> Annotation:
    return note(
        ax,
        words,
        xy,
        fontsize=NORMAL if bold else SMALL,
        zorder=7,
        fontweight="bold" if bold else "normal",
        bbox=paper(0.2, "none", alpha=0.9),
        arrowprops=leader(0.9) if bold else None,
    )
