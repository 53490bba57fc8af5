"""Lines of readings for F-numbers: found in a survey, or drawn across the straight-line surface."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from flatness.errors import MeasureError
from flatness.surface.grids import grid_axes, on_grid
from flatness.surface.lattice import Surface, bilinear, interpolate, lattice_axes
from flatness.survey.readings import SAME_PLACE_MM, Floats, Survey

FOOT_MM = 304.8  # readings every 12 in
METRIC_MM = 300.0  # of the metric companion
LEAST_READINGS = 12  # 11 ft, the shortest line
APART_MM = 1219.2  # 4 ft between parallel lines
OFF_LINE_MM = 6.35  # 1/4 in that a station may be off its place; the kit's own tolerance

ESTIMATE_NOTE = (
    "F-number-style estimates off the interpolated surface, not an E1155 test; straight-line interpolation "
    "between wider stations flatters FF"
)


@dataclass(frozen=True, eq=False)
class SurveyLine:
    """Readings at equal spacing along one straight line.

    Attributes
    ----------
    name : of the line
    x, y, heights : [n] mm, in order along it
    spacing : nominal distance between readings [mm]: 304.8 or 300
    reference : as in :class:`~flatness.survey.readings.Survey`
    estimate : True where heights are interpolated, not read
    note : what the reader of its numbers must know
    """

    name: str
    x: Floats
    y: Floats
    heights: Floats
    spacing: float = FOOT_MM
    reference: str = "level"
    estimate: bool = False
    note: str = ""

    @property
    def length(self) -> float:
        """From the first reading to the last [mm]."""
        return math.hypot(self.x[-1] - self.x[0], self.y[-1] - self.y[0])


def survey_lines(survey: Survey, apart: float = APART_MM) -> list[SurveyLine]:
    """The lines of readings of a survey taken for F-numbers.

    Parameters
    ----------
    survey : readings that name their ``line``, or a grid read every 12 in (or 300 mm)
    apart : of a grid, only rows and columns at least this far apart [mm], as the layout rules want; 0 for all

    Returns
    -------
    list of SurveyLine : the named lines, in the order read; of a grid, runs of 12 readings or more along
        rows, then along columns

    Raises
    ------
    MeasureError : a named line that is not straight or not read every 12 in within 1/4 in (a tolerance of the
        kit's own), or readings that are neither such lines nor such a grid
    """
    names = survey.points["line"].astype(str).str.strip()
    if (names != "").any():
        loose = int((names == "").sum())
        note = f"{loose} readings that name no line were left out" if loose else ""
        return [_named_line(survey, str(name), names == name, note) for name in names[names != ""].unique()]
    x, y, height, _ = survey.stations()
    axes = grid_axes(x, y)
    spacing = None if axes is None else _grid_spacing(*axes)
    if axes is None or spacing is None:
        raise MeasureError(
            "F-numbers need lines read every 12 in",
            expected="readings that name their line, or a 12 in grid",
            remedy="name the lines in the file, or ask for F-number-style estimates off the surface",
        )  # fmt: skip
    grid = on_grid(*axes, x, y, height)
    lines = _grid_lines(axes[0], axes[1], grid, spacing, apart, survey.reference)
    return _some(lines, "12 readings in a row, 11 ft")


def estimated_lines(where: Surface | Survey, apart: float = APART_MM) -> list[SurveyLine]:
    """Lines every 12 in across the straight-line surface, rows and columns 4 ft apart, for rough F-numbers.

    Always ``estimate``: what comes of them is not an E1155 test. ``apart`` as in :func:`survey_lines`.

    Raises
    ------
    MeasureError : a surface on which no line of 11 ft fits
    """
    if isinstance(where, Survey):
        surface = interpolate(where, FOOT_MM)
        x, y, grid = surface.x, surface.y, surface.height
    else:
        x, y = lattice_axes(where.x, FOOT_MM), lattice_axes(where.y, FOOT_MM)
        if min(len(where.x), len(where.y)) < 2:
            raise MeasureError("the surface is a single line", expected="two rows and two columns or more")
        grid = bilinear(where.x, where.y, where.height, x, y)
    lines = _grid_lines(x, y, grid, FOOT_MM, apart, where.reference, estimate=True, note=ESTIMATE_NOTE)
    return _some(lines, "a run of 11 ft along x or y")


def _some(lines: list[SurveyLine], expected: str) -> list[SurveyLine]:
    if not lines:
        raise MeasureError(
            "the surface is too short for F-numbers", expected=expected,
            remedy="use a straightedge limit instead",
        )  # fmt: skip
    return lines


def _grid_lines(
    x: Floats, y: Floats, grid: Floats, spacing: float, apart: float, reference: str,
    *, estimate: bool = False, note: str = "",
) -> list[SurveyLine]:  # fmt: skip
    every = max(1, math.ceil((apart - OFF_LINE_MM) / spacing))
    lines = []
    for word, places, across, heights in (("row", x, y, grid), ("column", y, x, grid.T)):
        for number in range(0, len(across), every):
            for part in _runs(np.isfinite(heights[number])):
                if part.stop - part.start < LEAST_READINGS:
                    continue
                along, fixed = places[part], np.full(part.stop - part.start, across[number])
                name = f"{word} {number + 1}" + (f" from {part.start + 1}" if part.start else "")
                px, py = (along, fixed) if word == "row" else (fixed, along)
                lines.append(SurveyLine(name, px, py, heights[number, part], spacing, reference, estimate, note))
    return lines


def _runs(there: NDArray[np.bool_]) -> list[slice]:
    """The unbroken runs of True."""
    edge = np.flatnonzero(np.diff(np.concatenate([[False], there, [False]]).astype(int)))
    return [slice(int(a), int(b)) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def _grid_spacing(x: Floats, y: Floats) -> float | None:
    steps = np.concatenate([np.diff(x), np.diff(y)])
    nominal = _nominal(float(steps.mean()))
    return nominal if np.abs(steps - nominal).max() <= OFF_LINE_MM else None


def _nominal(step: float) -> float:
    return min(FOOT_MM, METRIC_MM, key=lambda spacing: abs(step - spacing))


def _named_line(survey: Survey, name: str, chosen: pd.Series[bool], note: str) -> SurveyLine:
    x, y, height = (values[chosen.to_numpy()] for values in survey.xyz())
    places = np.column_stack([x, y])
    middle = places.mean(axis=0)
    if np.ptp(places, axis=0).max() <= SAME_PLACE_MM:
        raise MeasureError(
            f"line {name} is a single station", value=f"{len(x)} readings at one place",
            expected="12 readings along a straight line", remedy="read the line every 12 in",
        )  # fmt: skip
    direction = np.linalg.svd(places - middle, full_matrices=False)[2][0]
    along = (places - middle) @ direction
    if along[-1] < along[0]:  # it begins where its reader began
        direction, along = -direction, -along
    off = np.abs((places - middle) @ np.array([-direction[1], direction[0]]))
    if off.max() > OFF_LINE_MM:
        raise MeasureError(
            f"line {name} is not straight", value=f"a station {off.max():.1f} mm off it",
            expected=f"stations within {OFF_LINE_MM} mm of one straight line",
            remedy="give each straight run its own name",
        )  # fmt: skip
    order = np.argsort(along, kind="stable")
    # a station read again is one station at the mean of its readings
    station = np.concatenate([[0], np.cumsum(np.diff(along[order]) > SAME_PLACE_MM)])
    count = np.bincount(station)
    x, y, height, along = (np.bincount(station, values[order]) / count for values in (x, y, height, along))
    steps = np.diff(along)
    nominal = _nominal(float(steps.mean()))
    wrong = int(np.abs(steps - nominal).argmax())
    if abs(steps[wrong] - nominal) > OFF_LINE_MM:
        raise MeasureError(
            f"line {name} is not read every 12 in",
            value=f"{steps[wrong]:.1f} mm between its readings {wrong + 1} and {wrong + 2}",
            expected=f"{FOOT_MM} mm, or {METRIC_MM:.0f} mm, within {OFF_LINE_MM} mm",
            remedy="read the line every 12 in, or ask for F-number-style estimates off the surface",
        )  # fmt: skip
    return SurveyLine(name, x, y, height, nominal, survey.reference, False, note)
