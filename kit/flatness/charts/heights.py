"""Charts of one surface: heights off a plane, gaps under a straightedge, and the profile under one.

Each function takes ``ax`` or makes a figure of its own, gives back its artists in a record, and shows nothing:
:func:`save_chart` writes a file.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeGuard

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch, Polygon, Rectangle
from matplotlib.path import Path
from matplotlib.patheffects import withStroke
from matplotlib.text import Annotation, Text

from flatness.arrays import Floats
from flatness.charts import map_base as plan
from flatness.charts.axes import (
    INK,
    NORMAL,
    RIGHT_IN,
    SMALL,
    FreeSpace,
    Offset,
    dress_profile,
    headed_axes,
    leader,
    note,
    paper,
    put_heading,
    put_marks,
    rings,
    save_chart,
)
from flatness.charts.scales import (
    Scale,
    check_limit,
    check_unit,
    deviation_scale,
    gap_scale,
    printed,
    printed_limit,
    step_note,
)
from flatness.errors import ArgumentError, MeasureError, check_choice
from flatness.lengths import settle
from flatness.limits.spot_checks import Sweep
from flatness.measures.bars import Place
from flatness.measures.planes import Plane, fit_surface_plane
from flatness.measures.straightedge import Placement, StraightedgeResult, profile_through
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey
from flatness.words.printed import length, place, printed_place
from flatness.words.printed import length as printed_length


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
        what = "there is no placement to draw: no straightedge bridges a gap on this surface"
        raise MeasureError(what, expected="a placement with two contacts")
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
    dress_profile(ax, unit, "height from the bar")
    ax.set_xlabel("along the bar, from A to B", fontsize=NORMAL, color=INK)
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


@dataclass(frozen=True, eq=False, kw_only=True)
class BarMarks:
    """A straightedge drawn on a map.

    Attributes
    ----------
    line : the bar from contact to contact; ``edge`` is its white border
    contacts : the two contact marks; ``letters`` are A and B on them
    spot : mark of the largest gap
    label : gap in words, with a leader to the spot
    """

    line: Line2D
    edge: Line2D
    contacts: Line2D
    spot: Line2D
    label: Annotation
    letters: tuple[Text, Text]


def bar_words(bar: Placement | None, bar_length: float | None, scale: Scale, survey: Survey | None = None) -> str:
    """The gap under a bar, where it is worst, and how far apart its contacts stand; empty where there is no gap."""
    if not bridges(bar):
        return ""
    gap = length(bar.gap, scale.unit, scale.limit)
    under = "" if bar_length is None else f" under {printed_place(bar_length, scale.unit)}"
    x, y = (printed_place(value, scale.unit) for value in bar.at)
    known = survey is not None and survey.walls.door is not None
    at = place(bar.at, scale.unit, survey).replace(", ", ",\n") if known else f"at x {x}, y {y}"
    return f"gap {gap}{under}\n{at}\ncontacts {printed_place(bar.span, scale.unit)} apart"


def bridges(bar: Placement | None) -> TypeGuard[Placement]:
    """Whether there is a gap to draw; binary noise is none."""
    return bar is not None and settle(bar.gap) > 0


def set_bar(ax: Axes, bars: list[BarMarks], bar: Placement | None, words: str, space: FreeSpace) -> None:
    """Draw a straightedge in place of the one in ``bars``; none where there is no gap."""
    for marks in bars:
        for artist in (marks.line, marks.edge, marks.contacts, marks.spot, marks.label, *marks.letters):
            artist.remove()
    bars[:] = [_draw_bar(ax, bar, words, space)] if bridges(bar) else []


def _draw_bar(ax: Axes, bar: Placement, words: str, space: FreeSpace) -> BarMarks:
    """The straightedge from contact to contact, where it touches, and its gap in words clear of it."""
    style: dict[str, Any] = {"scalex": False, "scaley": False, "solid_capstyle": "butt"}
    ends = np.array(ends_of(bar))
    (edge,) = ax.plot(*ends.T, color="white", linewidth=7.5, zorder=6, **style)
    (line,) = ax.plot(*ends.T, color=INK, linewidth=4.5, zorder=6.1, **style)
    contacts = put_marks(ax, "s", *ends.T, markersize=11, color="white", markeredgewidth=1.6, zorder=6.2)
    spot = put_marks(ax, "D", *bar.at, markersize=8, color="#ffd23f", markeredgewidth=1.5, zorder=6.3)
    boxed: dict[str, Any] = {"bbox": paper(0.3), "arrowprops": leader(spot=5), "multialignment": "left"}
    label = note(ax, words, bar.at, off=(20, 20), fontweight="bold", zorder=7, linespacing=1.25, **boxed)
    bold: dict[str, Any] = {"fontsize": SMALL, "fontweight": "bold", "color": INK, "zorder": 6.4}
    first, last = (
        ax.text(float(x), float(y), letter, ha="center", va="center_baseline", **bold)
        for (x, y), letter in zip(ends, "AB", strict=True)
    )
    marks = BarMarks(line=line, edge=edge, contacts=contacts, spot=spot, label=label, letters=(first, last))
    _place_label(marks, space)
    return marks


def _place_label(marks: BarMarks, space: FreeSpace) -> None:
    """Clear of everything, or in crowded axes at least clear of the bar; the leader is taken in any case."""
    ends = np.asarray(marks.line.get_xydata(), dtype=np.float64)
    bare = space.emptied()
    for part in (space, bare):
        part.take_line(ends, 4.0)
        part.take_marks(ends, 6.0)
        part.take_marks(np.array([marks.label.xy], dtype=np.float64), 6.0)
    if not space.place(marks.label, rings(), leader=True) and bare.place(marks.label, rings()):
        space.take_text(marks.label)


@dataclass(frozen=True, eq=False, kw_only=True)
class GapMap(plan.BaseMap):
    """The artists of :func:`gap_map`.

    Attributes
    ----------
    over : hatch over the places where the gap is over the allowed one, or None where none is given
    bar : the straightedge drawn, in a list of one; empty without
    strips : along which a bar is to be slid, dashed, or was slid, in the order given
    """

    over: PathPatch | None
    bar: list[BarMarks]
    strips: tuple[Line2D, ...] = ()


def gap_map(
    surface: Surface,
    result: StraightedgeResult,
    *,
    allowed_mm: float | None = None,
    survey: Survey | None = None,
    unit: str = "in",
    title: str | None = None,
    wanted: Sequence[Sweep] = (),
    slid: Sequence[Sweep] = (),
    ax: Axes | None = None,
) -> GapMap:
    """A map of the largest gap under a straightedge at every place.

    Parameters
    ----------
    surface : the surface that was measured
    result : what :func:`~flatness.measures.straightedge.straightedge` gave for it
    allowed_mm : allowed gap [mm]: a colour step falls on it, and places over it are hatched
    survey : the readings: stations, outline and openings are drawn
    unit : ``in`` or ``mm``
    title : None says what is seen
    wanted, slid : strips along which a bar is to be slid, numbered as in their list, and those where it was
    ax : axes to draw into; None makes a figure

    Returns
    -------
    GapMap

    Raises
    ------
    ArgumentError : a result of another lattice, an unknown unit, or an allowed gap that is not above zero
    """
    check_unit(unit)
    allowed = check_limit(allowed_mm, "allowed_mm")
    if result.gap.shape != surface.height.shape:
        what, expected = "the result belongs to another surface", f"{surface.height.shape}, as the surface's heights"
        remedy = "measure this surface, or pass the one that was measured"
        raise ArgumentError(what, value=f"{result.gap.shape} gaps", expected=expected, remedy=remedy)
    if not np.isfinite(result.gap).any():
        raise MeasureError("the surface has no heights", expected="at least one place with a height")
    scale = gap_scale(float(np.nanmax(result.gap)), unit, allowed)
    kind = survey.surface if survey is not None else "surface"
    length = printed_place(result.length, unit)
    heading = (
        f"Gap under a {length} straightedge, anywhere on the {kind}" if title is None else title,
        " ".join(filter(None, (_gap_notes(result, scale), WANTED * bool(wanted), SLID * bool(slid)))),
    )
    grid = plan.fine(surface, result.gap)
    base, space = plan.begin_map(surface, grid, scale, heading, ("no gap", "larger gap"), survey, ax)
    style: dict[str, Any] = {"edgecolor": "#4a2f63", "hatch": "////", "linewidth": 1.4, "zorder": 2}
    over = None if allowed is None else plan.draw_region(base.ax, region_over(grid, allowed), None, **style)
    strips = [_draw_strip(base.ax, one, "", space, linestyle="-") for one in slid]
    strips += [_draw_strip(base.ax, one, str(k), space, linestyle="--") for k, one in enumerate(wanted, start=1)]
    bars: list[BarMarks] = []
    set_bar(base.ax, bars, result.worst, bar_words(result.worst, result.length, scale, survey), space)
    return GapMap(**vars(base), over=over, bar=bars, strips=tuple(strips))


WANTED = "Dashed: strips along which to slide a bar."
SLID = "Lines: strips along which a bar was slid."


def _draw_strip(ax: Axes, strip: Sweep, number: str, space: FreeSpace, **style: Any) -> Line2D:
    """A strip from end to end, and its number at its start."""
    ends = np.array([(strip.start, strip.at), (strip.end, strip.at)])
    ends = ends if strip.along == "x" else ends[:, ::-1]
    (line,) = ax.plot(*ends.T, color=INK, linewidth=1.3, zorder=5, scalex=False, scaley=False, **style)
    line.set_path_effects([withStroke(linewidth=3.2, foreground="white")])
    if number:
        at = ends[0] + 0.03 * (ends[1] - ends[0])
        bold: dict[str, Any] = {"fontsize": SMALL, "fontweight": "bold", "color": INK, "zorder": 5.1}
        bold["bbox"] = paper(0.15)
        ax.text(float(at[0]), float(at[1]), number, ha="center", va="center_baseline", **bold)
        space.take_marks(at[None, :], 8.0)
    return line


def _gap_notes(result: StraightedgeResult, scale: Scale) -> str:
    notes = []
    if scale.limit is not None:
        over = settle(float(np.nanmax(result.gap))) > settle(scale.limit)
        allowed = f"Allowed {printed_limit(scale.limit, scale.unit)}"
        notes.append(
            f"{allowed}; hatched where the gap is over it." if over else f"{allowed}; no gap is over it, as read."
        )
    notes.append(step_note(scale))
    if not bridges(result.worst):
        notes.append("No gap between contact points anywhere.")
    if result.length_used < result.length * (1 - 1e-6):
        notes.append(f"The longest bar that fits is {printed_place(result.length_used, scale.unit)}.")
    return " ".join(notes)


def region_over(grid: tuple[Floats, Floats, Floats], allowed: float) -> Path:
    """The places where the values are over ``allowed`` [mm], as one path; empty where none are."""
    values = grid[2]
    if np.isfinite(values).any() and settle(float(np.nanmax(values))) <= settle(allowed):
        return Path(np.zeros((0, 2)))
    return plan.region(grid, allowed + 1e-6)


__all__ = ["GapMap", "ProfileChart", "SurfaceMap", "gap_map", "profile_chart", "save_chart", "surface_map"]

REFERENCE_NAMES = {"best": "its best-fit plane", "mean": "the level plane at its mean height", "level": "the datum"}
NUMBERS = ("reading", "deviation", "none")


@dataclass(frozen=True, eq=False, kw_only=True)
class SurfaceMap(plan.BaseMap):
    """The artists of :func:`surface_map`.

    Attributes
    ----------
    contours : all contour lines, solid proud, dashed low; ``contour_texts`` their labels
    station_texts : numbers of the readings; empty without a survey
    bar : the straightedge drawn, in a list of one; empty without
    """

    contours: LineCollection
    contour_texts: list[Annotation]
    station_texts: tuple[Annotation, ...]
    bar: list[BarMarks]


def surface_map(
    surface: Surface,
    *,
    survey: Survey | None = None,
    limit_mm: float | None = None,
    reference: str = "best",
    bar: Placement | None = None,
    numbers: str = "reading",
    unit: str = "in",
    title: str | None = None,
    ax: Axes | None = None,
) -> SurfaceMap:
    """A map of how far a surface is off a plane.

    Parameters
    ----------
    surface : the surface
    survey : the readings it came from: stations, their numbers, outline and openings are drawn
    limit_mm : a limit [mm] that one of the colour steps, and a heavier contour, falls on
    reference : ``best`` (least-squares plane), ``mean`` (level, at the mean height) or ``level`` (the datum)
    bar : a straightedge placement to draw, such as the worst; None draws none
    numbers : what stands at the stations: ``reading`` (as it was read, height or drop), ``deviation`` (from the
        reference) or ``none``
    unit : ``in`` (feet and inches) or ``mm`` (metres and millimetres)
    title : None says what is seen
    ax : axes to draw into; None makes a figure

    Returns
    -------
    SurfaceMap

    Raises
    ------
    ArgumentError : an unknown unit, reference or kind of number, or a limit that is not above zero
    MeasureError : a ``level`` or ``mean`` reference asked of readings off a string, or no heights at all
    """
    check_unit(unit)
    limit = check_limit(limit_mm, "limit_mm")
    check_choice("numbers", numbers, NUMBERS, "unknown kind of number")
    plane = _reference_plane(surface, reference)
    scale = deviation_scale(float(np.nanmax(np.abs(plane.deviations))), unit, limit)
    kind = survey.surface if survey is not None else "surface"
    heading = (
        f"How far the {kind} is off {REFERENCE_NAMES[reference]}" if title is None else title,
        _surface_notes(scale, survey, numbers, reference),
    )
    grid = plan.fine(surface, plane.deviations)
    base, space = plan.begin_map(surface, grid, scale, heading, ("low", "proud"), survey, ax, signed=True)
    bars: list[BarMarks] = []
    set_bar(base.ax, bars, bar, bar_words(bar, None, scale), space)
    lines = plan.contour_lines(grid, plan.levels_within(scale, grid[2]))
    contours = plan.draw_contours(base.ax, lines, limit)
    places = np.zeros((0, 2)) if base.stations is None else np.asarray(base.stations.get_xydata(), dtype=np.float64)
    labels = plan.label_contours(base.ax, lines, unit, space, places)
    texts: tuple[Annotation, ...] = ()
    if survey is not None and numbers != "none":
        x, y, height, _ = survey.stations()
        values = survey.station_means("reading") if numbers == "reading" else height - plane.at(x, y)
        texts = plan.label_stations(base.ax, survey, values, unit, space)
    return SurfaceMap(**vars(base), contours=contours, contour_texts=labels, station_texts=texts, bar=bars)


def _reference_plane(surface: Surface, reference: str) -> Plane:
    check_choice("reference", reference, REFERENCE_NAMES)
    if not surface.inside.any():
        raise MeasureError("the surface has no heights", expected="at least one place with a height")
    if reference != "best" and not surface.is_level:
        what = f"deviation from a level plane ({reference}) is not known: the readings are off a string"
        raise MeasureError(what, expected="readings off a level or plumb reference", remedy="use the best-fit plane")
    if reference == "level":
        return replace(fit_surface_plane(surface, "level"), c=0.0, deviations=surface.height)
    return fit_surface_plane(surface, "least-squares" if reference == "best" else "level")


def _surface_notes(scale: Scale, survey: Survey | None, numbers: str, reference: str) -> str:
    heavy = "" if scale.limit is None else ", heavy at the limit"
    notes = [step_note(scale), f"Contours: solid proud, dashed low{heavy}."]
    if survey is not None and numbers != "none":
        named = "inches" if scale.unit == "in" else "mm"
        read = f"{survey.quantity}s as read" if numbers == "reading" else f"off {REFERENCE_NAMES[reference]}"
        notes.append(f"Numbers: {read}, {named}.")
    return " ".join(notes)
