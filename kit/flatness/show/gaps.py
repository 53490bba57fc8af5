"""The map of the gap under a straightedge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.colorbar import Colorbar
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch
from matplotlib.path import Path

from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import settle
from flatness.measures.straightedge import StraightedgeResult
from flatness.show import plan
from flatness.show.axes import colour_bar, dress_map, map_axes
from flatness.show.bar import BarMarks, bar_words, bridges, lay_bar
from flatness.show.labels import FreeSpace
from flatness.show.scales import (
    Scale,
    check_limit,
    check_unit,
    gap_scale,
    printed_limit,
    printed_place,
    step_note,
)
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats, Survey


@dataclass(frozen=True, eq=False)
class GapMap:
    """The artists of :func:`gap_map`; :meth:`update` changes them in place.

    Attributes
    ----------
    ax, image, colour_bar, scale : the map and its steps
    over : hatch over the places where the gap is over the allowed one, or None where none is given
    stations, outline, bar, scale_bar : as in :class:`SurfaceMap`
    """

    ax: Axes
    image: AxesImage
    colour_bar: Colorbar
    scale: Scale
    over: PathPatch | None
    stations: Line2D | None
    outline: tuple[Artist, ...]
    bar: list[BarMarks]
    scale_bar: tuple[Artist, ...]

    def update(self, surface: Surface, result: StraightedgeResult) -> None:
        """Draw another result on the same lattice extent in the same steps."""
        grid = plan.fine(surface, result.gap)
        self.image.set_data(np.ma.masked_invalid(grid[2]))
        if self.over is not None and self.scale.limit is not None:
            self.over.set_path(region_over(grid, self.scale.limit))
        words = bar_words(result.worst, result.length, self.scale)
        lay_bar(self.ax, self.bar, result.worst, words, plan.space_beside(self.ax, self.outline))


def gap_map(
    surface: Surface,
    result: StraightedgeResult,
    *,
    allowed_mm: float | None = None,
    survey: Survey | None = None,
    unit: str = "in",
    title: str | None = None,
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
        raise ArgumentError(
            "the result belongs to another surface", value=f"{result.gap.shape} gaps",
            expected=f"{surface.height.shape}, as the surface's heights",
            remedy="measure this surface, or pass the one that was measured",
        )  # fmt: skip
    if not np.isfinite(result.gap).any():
        raise MeasureError("the surface has no heights", expected="at least one place with a height")
    scale = gap_scale(float(np.nanmax(result.gap)), unit, allowed)
    kind = survey.surface if survey is not None else "surface"
    length = printed_place(result.length, unit)
    heading = (
        f"Gap under a {length} straightedge, anywhere on the {kind}" if title is None else title,
        _gap_notes(result, scale),
    )
    bounds = plan.bounds_of(surface, survey)
    ax, cax, orientation = map_axes(plan.with_margin(bounds), heading, max(map(len, scale.labels(True))), ax)
    grid = plan.fine(surface, result.gap)
    image = plan.draw_image(ax, grid, scale, survey)
    scale_bar = dress_map(ax, bounds, kind, unit)
    colours = colour_bar(cax, scale, orientation, ("no gap", "larger gap"), signed=False)
    space = FreeSpace(ax)
    over = None if allowed is None else _draw_over(ax, region_over(grid, allowed))
    stations = plan.draw_stations(ax, survey) if survey is not None else None
    outline = plan.draw_outline(ax, survey, space)
    bars: list[BarMarks] = []
    lay_bar(ax, bars, result.worst, bar_words(result.worst, result.length, scale), space)
    return GapMap(ax, image, colours, scale, over, stations, outline, bars, scale_bar)


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
        notes.append(f"The longest bar laid was {printed_place(result.length_used, scale.unit)}.")
    return " ".join(notes)


def region_over(grid: tuple[Floats, Floats, Floats], allowed: float) -> Path:
    """The places where the values are over ``allowed`` [mm], as one path; empty where none are."""
    values = grid[2]
    if np.isfinite(values).any() and settle(float(np.nanmax(values))) <= settle(allowed):
        return Path(np.zeros((0, 2)))
    return plan.region(grid, allowed + 1e-6)


def _draw_over(ax: Axes, path: Path) -> PathPatch:
    patch = PathPatch(path, facecolor="none", edgecolor="#4a2f63", hatch="////", linewidth=1.4, zorder=2)
    ax.add_artist(patch)
    return patch
