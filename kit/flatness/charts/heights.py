"""Charts of one surface: heights off a plane, and gaps under a straightedge.

Each function takes ``ax`` or makes a figure of its own, gives back its artists in a record, and shows nothing:
:func:`save_chart` writes a file.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.text import Annotation

from flatness.charts import map_base as plan
from flatness.charts.axes import save_chart
from flatness.charts.gaps import BarMarks, GapMap, bar_words, gap_map, lay_bar
from flatness.charts.profile import ProfileChart, profile_chart
from flatness.charts.scales import Scale, check_limit, check_unit, deviation_scale, step_note
from flatness.errors import MeasureError, check_choice
from flatness.measures.planes import Plane, fit_surface_plane
from flatness.measures.straightedge import Placement
from flatness.surface.lattice import Surface
from flatness.survey.readings import Survey

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
    lay_bar(base.ax, bars, bar, bar_words(bar, None, scale), space)
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
        raise MeasureError(
            f"deviation from a level plane ({reference}) is not known: the readings are off a string",
            expected="readings off a level or plumb reference",
            remedy="use the best-fit plane",
        )
    if reference == "level":
        return Plane(
            a=0.0,
            b=0.0,
            c=0.0,
            zone=float(np.ptp(surface.height[surface.inside])),
            deviations=surface.height,
            method="level",
        )
    return fit_surface_plane(surface, "least-squares" if reference == "best" else "level")


def _surface_notes(scale: Scale, survey: Survey | None, numbers: str, reference: str) -> str:
    heavy = "" if scale.limit is None else ", heavy at the limit"
    notes = [step_note(scale), f"Contours: solid proud, dashed low{heavy}."]
    if survey is not None and numbers != "none":
        named = "inches" if scale.unit == "in" else "mm"
        read = f"{survey.quantity}s as read" if numbers == "reading" else f"off {REFERENCE_NAMES[reference]}"
        notes.append(f"Numbers: {read}, {named}.")
    return " ".join(notes)
