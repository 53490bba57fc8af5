"""The map of the chance that a straightedge shows more than its limit, and of where to take more readings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.colors import BoundaryNorm, ListedColormap
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.text import Text

from flatness.arrays import Floats
from flatness.charts import map_base as plan
from flatness.charts.axes import NumberedMarks, PlaceList, by_place, draw_numbered
from flatness.charts.scales import Scale, check_unit, printed_limit
from flatness.errors import ArgumentError, MeasureError
from flatness.limits.kinds import Limit
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey
from flatness.words.printed import percent, place, printed_place

STEPS = (0.0, 0.05, 0.25, 0.5, 0.75, 0.95, 1.0)
LOW, HIGH = STEPS[1], STEPS[-2]  # between them the readings do not decide
HAIR = 1e-6  # 0.05 itself is in the lowest step, 0.95 itself in the highest
# one hue, ever darker, also in grey; the darkest is light enough for dark text (4.5:1)
COLOURS = ("#fbfaf8", "#f8e8e0", "#f2cfc1", "#e8b19d", "#dc9079", "#cf6e57")
SURE_HATCH, OPEN_HATCH = "////", ".."
DARK, MIDDLE = "#5a1f14", "#8a5a4c"
SOMEWHERE = "Over"  # first word of the last line of the notes
LIST_HEADING = "Take more readings here, in this order"


@dataclass(frozen=True, eq=False)
class ChanceScale(Scale):
    """Steps of a chance; ``edges`` are shares from 0 to 1."""

    def labels(self, signed: bool) -> list[str]:
        """What stands at each edge, in percent."""
        return [f"{100 * edge:g} %" for edge in self.edges]


@dataclass(frozen=True, eq=False, kw_only=True)
class ChanceMap(plan.BaseMap):
    """The artists of :func:`chance_map`.

    Attributes
    ----------
    over : hatch over the places that are over the limit at 95 % or more
    undecided : dots over the places at more than 5 % and less than 95 %
    numbered : where to take more readings, numbered in order of worth
    listed : their tape positions beneath the map; None where the map was made without any
    notes : what is seen, beneath the title
    """

    over: PathPatch
    undecided: PathPatch
    numbered: NumberedMarks
    listed: PlaceList | None
    notes: Text


def chance_map(
    surface: Surface,
    chance: Floats,
    *,
    limit: Limit,
    survey: Survey | None = None,
    more: pd.DataFrame | None = None,
    anywhere: float | None = None,
    unit: str = "in",
    title: str | None = None,
    ax: Axes | None = None,
) -> ChanceMap:
    """A map of the chance that a straightedge shows more than its limit at every place.

    Parameters
    ----------
    surface : the surface that was measured
    chance : [ny, nx] chance at each place of its lattice, 0 to 1, as
        :meth:`~flatness.limits.verdict.Assessment.chance_map` gives it; NaN where there is no surface
    limit : the straightedge limit that it is about
    survey : the readings: stations, outline and openings are drawn
    more : where to take more readings, as :func:`~flatness.limits.more_readings.more_readings` gives it: numbered
        on the map in their order, their tape positions beneath
    anywhere : chance that the surface is over the limit at one place or another, 0 to 1; it is larger than at each of
        them, for the worst place may be any of several. None where it is not known
    unit : ``in`` or ``mm``
    title : None says what is seen
    ax : axes to draw into; None makes a figure

    Returns
    -------
    ChanceMap

    Raises
    ------
    ArgumentError : chances of another lattice or beyond 0 to 1, a limit of another kind, places off the surface,
        or an unknown unit
    MeasureError : no chance anywhere
    """
    check_unit(unit)
    if limit.kind != "straightedge" or limit.length is None or limit.allowed is None:
        what = "not a straightedge limit"
        raise ArgumentError(what, value=limit.name, expected="a straightedge's length and the gap allowed under it")
    grid = plan.fine(surface, _checked(chance, surface))
    places, entries = _places(more, surface, unit, survey)
    scale = _scale(unit)
    kind = survey.surface if survey is not None else "surface"
    wording = " ".join(_notes(bool(entries)))
    heading = (_title(limit, kind, unit) if title is None else title, f"{wording}\n{_somewhere(kind, anywhere)}")
    listed = PlaceList(LIST_HEADING, entries) if entries else None
    base, space = plan.begin_map(surface, grid, scale, heading, ("within", "over the limit"), survey, ax, listed=listed)
    ax, sure, open_ = base.ax, plan.region(grid, HIGH - HAIR), plan.region(grid, LOW + HAIR, HIGH - HAIR)
    _mark_steps(base.colour_bar.ax, base.colour_bar.orientation == "vertical")
    return ChanceMap(
        **vars(base),
        over=plan.draw_region(ax, sure, survey, hatch=SURE_HATCH, edgecolor=DARK, linewidth=1.4, zorder=2.1),
        undecided=plan.draw_region(ax, open_, survey, hatch=OPEN_HATCH, edgecolor=MIDDLE, linewidth=0.7, zorder=2),
        numbered=draw_numbered(ax, places, space),
        listed=listed,
        notes=ax.texts[0],
    )


def _title(limit: Limit, kind: str, unit: str) -> str:
    assert limit.length is not None
    assert limit.allowed is not None
    bar, gap = printed_place(limit.length, unit), printed_limit(limit.allowed, unit)
    return f"Chance at each place of the {kind} that a {bar} straightedge shows more than {gap}"


def _somewhere(kind: str, anywhere: float | None) -> str:
    if anywhere is not None and not 0 <= anywhere <= 1:
        raise ArgumentError("anywhere out of range", value=str(anywhere), expected="a chance from 0 to 1, or None")
    chance = "at least the largest chance on the map" if anywhere is None else percent(anywhere)
    return f"{SOMEWHERE} the limit at one place or another of the {kind}: {chance}."


def _notes(more: bool) -> Iterator[str]:
    yield (
        "At each place, how many of 100 surfaces that the readings allow are over the limit there. Hatched: 95 or "
        "more; dotted: 5 to 95, not decided."
    )
    if more:
        yield "Numbers: where more readings do most to decide."


def _scale(unit: str) -> ChanceScale:
    steps = np.array(STEPS)
    bounds = [steps[0], LOW + HAIR, *steps[2:-2], HIGH - HAIR, steps[-1]]
    return ChanceScale(
        edges=steps,
        colours=ListedColormap(COLOURS),
        norm=BoundaryNorm(bounds, len(COLOURS)),
        limit=None,
        unit=unit,
        even=False,
    )


def _checked(chance: Floats, surface: Surface) -> Floats:
    values = np.asarray(chance, dtype=np.float64)
    if values.shape != surface.height.shape:
        what = "the chances belong to another surface"
        value, expected = f"{values.shape} chances", f"{surface.height.shape}, as the surface's heights"
        raise ArgumentError(what, value=value, expected=expected, remedy="pass the surface that was judged")
    known = values[np.isfinite(values)]
    if not known.size:
        raise MeasureError("no chance anywhere", expected="at least one place with a chance")
    if known.min() < 0 or known.max() > 1:
        wrong = known.min() if known.min() < 0 else known.max()
        raise ArgumentError("a chance out of range", value=f"{wrong:g}", expected="0 to 1")
    return values


def _places(
    more: pd.DataFrame | None, surface: Surface, unit: str, survey: Survey | None
) -> tuple[Floats, list[tuple[str, str]]]:
    """Places [n, 2] mm and what stands in the list for each."""
    if more is None or not len(more):
        return np.zeros((0, 2)), []
    if not {"x", "y"} <= set(more.columns):
        what, value = "places without their positions", ", ".join(map(str, more.columns))
        raise ArgumentError(what, value=value, expected="columns x and y [mm]", remedy="pass what more_readings gives")
    places = more[["x", "y"]].to_numpy(dtype=np.float64)
    for x, y in places:
        within = surface.x[0] - HAIR <= x <= surface.x[-1] + HAIR and surface.y[0] - HAIR <= y <= surface.y[-1] + HAIR
        if not within:
            what = "a place off the surface"
            value, remedy = f"x = {x:.0f} mm, y = {y:.0f} mm", "pass what more_readings gives for this check"
            raise ArgumentError(what, value=value, expected="places within the surface", remedy=remedy)
    distinct, numbers = by_place(places)
    times = int(more.times.max()) if "times" in more else 1
    often = f", {times} times" if times > 1 else ""
    return places, [(text, place(xy, unit, survey) + often) for text, xy in zip(numbers, distinct, strict=True)]


def _mark_steps(cax: Axes, vertical: bool) -> None:
    """The hatches of the map in the colour bar too, whose steps are all equally long."""
    n = len(COLOURS)
    for first, last, hatch, colour in ((1, n - 1, OPEN_HATCH, MIDDLE), (n - 1, n, SURE_HATCH, DARK)):
        start, size = first / n, (last - first) / n
        corner, wide, high = ((0.0, start), 1.0, size) if vertical else ((start, 0.0), size, 1.0)
        style: dict[str, Any] = {"facecolor": "none", "edgecolor": colour, "hatch": hatch, "linewidth": 0, "zorder": 2}
        cax.add_artist(Rectangle(corner, wide, high, transform=cax.transAxes, **style))
