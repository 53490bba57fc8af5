"""Charts of one surface: heights off a plane, and gaps under a straightedge.

Each function takes ``ax`` or makes a figure of its own, gives back its artists in a record whose ``update``
redraws them in place, and shows nothing: :func:`save_chart` writes a file.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.colorbar import Colorbar
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from matplotlib.text import Annotation

from flatness.errors import ArgumentError, MeasureError
from flatness.measures.planes import Plane, fit_surface_plane
from flatness.measures.straightedge import Placement
from flatness.show import plan
from flatness.show.axes import colour_bar, dress_map, map_axes, save_chart
from flatness.show.bar import BarMarks, bar_words, lay_bar
from flatness.show.gaps import GapMap, gap_map
from flatness.show.labels import FreeSpace
from flatness.show.profile import ProfileChart, profile_chart
from flatness.show.scales import Scale, check_limit, check_unit, deviation_scale, step_note
from flatness.surface.lattice import Surface
from flatness.survey.readings import Floats, Survey

__all__ = ["GapMap", "ProfileChart", "SurfaceMap", "gap_map", "profile_chart", "save_chart", "surface_map"]

REFERENCE_NAMES = {
    "best": "its best-fit plane",
    "mean": "the level plane at its mean height",
    "level": "the datum",
}
NUMBERS = ("reading", "deviation", "none")


@dataclass(frozen=True, eq=False)
class SurfaceMap:
    """The artists of :func:`surface_map`; lists are changed in place by :meth:`update`.

    Attributes
    ----------
    ax, image, colour_bar, scale : the map and its steps
    contours : all contour lines, solid proud, dashed shy; ``contour_texts`` their labels
    stations, station_texts : marks and numbers of the readings; None and empty without a survey
    outline : outline, openings and their names
    bar : the straightedge drawn, in a list of one; empty without
    scale_bar : the bar beneath the map and its length
    """

    ax: Axes
    image: AxesImage
    colour_bar: Colorbar
    scale: Scale
    contours: LineCollection
    contour_texts: list[Annotation]
    stations: Line2D | None
    station_texts: tuple[Annotation, ...]
    outline: tuple[Artist, ...]
    bar: list[BarMarks]
    scale_bar: tuple[Artist, ...]
    _reference: str

    def update(self, surface: Surface, bar: Placement | None = None) -> None:
        """Draw another surface of the same extent in the same steps; the stations stay as they are."""
        grid = plan.fine(surface, _reference_plane(surface, self._reference).deviations)
        self.image.set_data(np.ma.masked_invalid(grid[2]))
        space = plan.space_beside(self.ax, self.outline)
        for text in self.station_texts:
            space.take_text(text)
        lay_bar(self.ax, self.bar, bar, bar_words(bar, None, self.scale), space)
        lines = plan.contour_lines(grid, _levels(self.scale, grid[2]))
        plan.set_contours(self.contours, lines, self.scale.limit)
        for text in self.contour_texts:
            text.remove()
        self.contour_texts[:] = plan.label_contours(self.ax, lines, self.scale.unit, space, _places(self.stations))


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
    """A map of how far a surface stands proud or shy of a plane.

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
    if numbers not in NUMBERS:
        raise ArgumentError("unknown kind of number", value=str(numbers), expected=", ".join(NUMBERS))
    plane = _reference_plane(surface, reference)
    scale = deviation_scale(float(np.nanmax(np.abs(plane.deviations))), unit, limit)
    kind = survey.surface if survey is not None else "surface"
    heading = (
        f"How far the {kind} is proud or shy of {REFERENCE_NAMES[reference]}" if title is None else title,
        _surface_notes(scale, survey, numbers, reference),
    )
    bounds = plan.bounds_of(surface, survey)
    ax, cax, orientation = map_axes(plan.with_margin(bounds), heading, max(map(len, scale.labels(True))), ax)
    grid = plan.fine(surface, plane.deviations)
    image = plan.draw_image(ax, grid, scale, survey)
    scale_bar = dress_map(ax, bounds, kind, unit)
    colours = colour_bar(cax, scale, orientation, ("shy", "proud"), signed=True)
    space = FreeSpace(ax)
    stations = plan.draw_stations(ax, survey) if survey is not None else None
    outline = plan.draw_outline(ax, survey, space)
    bars: list[BarMarks] = []
    lay_bar(ax, bars, bar, bar_words(bar, None, scale), space)
    lines = plan.contour_lines(grid, _levels(scale, grid[2]))
    contours = plan.draw_contours(ax, lines, limit)
    labels = plan.label_contours(ax, lines, unit, space, _places(stations))
    texts: tuple[Annotation, ...] = ()
    if survey is not None and numbers != "none":
        x, y, height, _ = survey.stations()
        values = survey.station_means("reading") if numbers == "reading" else height - plane.at(x, y)
        texts = plan.label_stations(ax, survey, values, unit, space)
    return SurfaceMap(
        ax,
        image,
        colours,
        scale,
        contours,
        labels,
        stations,
        texts,
        outline,
        bars,
        scale_bar,
        reference,
    )


def _reference_plane(surface: Surface, reference: str) -> Plane:
    if reference not in REFERENCE_NAMES:
        raise ArgumentError("unknown reference", value=str(reference), expected=", ".join(REFERENCE_NAMES))
    if not surface.inside.any():
        raise MeasureError("the surface has no heights", expected="at least one place with a height")
    if reference != "best" and not surface.is_level:
        raise MeasureError(
            f"deviation from a level plane ({reference}) is not known: the readings are off a string",
            expected="readings off a level or plumb reference", remedy="use the best-fit plane",
        )  # fmt: skip
    if reference == "level":
        return Plane(0.0, 0.0, 0.0, float(np.ptp(surface.height[surface.inside])), surface.height, "level")
    return fit_surface_plane(surface, "least-squares" if reference == "best" else "level")


def _places(stations: Line2D | None) -> Floats:
    return np.zeros((0, 2)) if stations is None else np.asarray(stations.get_xydata(), dtype=np.float64)


def _levels(scale: Scale, values: Floats) -> Floats:
    """Contours stand at the step edges; the reference itself is left to the colours."""
    most = float(np.nanmax(np.abs(values))) if np.isfinite(values).any() else 0.0
    inner = np.abs(scale.edges) < most + 1e-6
    levels: Floats = scale.edges[(scale.edges != 0) & inner]
    return levels


def _surface_notes(scale: Scale, survey: Survey | None, numbers: str, reference: str) -> str:
    heavy = "" if scale.limit is None else ", heavy at the limit"
    notes = [step_note(scale), f"Contours: solid proud, dashed shy{heavy}."]
    if survey is not None and numbers != "none":
        named = "inches" if scale.unit == "in" else "mm"
        read = f"{survey.quantity}s as read" if numbers == "reading" else f"off {REFERENCE_NAMES[reference]}"
        notes.append(f"Numbers: {read}, {named}.")
    return " ".join(notes)
