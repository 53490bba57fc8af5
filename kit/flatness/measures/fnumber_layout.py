"""The layout rules of ASTM E1155, as far as they are known, held against the lines of a survey.

The standard's text (E1155/E1155M-23) was not seen. Rules marked (M) are from memory, (Q) as quoted; the least
number of readings a section needs was not confirmed and is reported as not known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
import shapely
from shapely import Polygon

from flatness.measures.fnumber_lines import APART_MM, FOOT_MM, OFF_LINE_MM, SurveyLine
from flatness.survey.readings import Survey

LINE_MM = 11 * FOOT_MM
METRIC_LINE_MM = 3300.0
EDGE_MM = 2 * FOOT_MM
NARROW_MM = 25 * FOOT_MM
SIDE_MM = 8 * FOOT_MM
AREA_MM2 = 12e6
WAIVED = 0.25  # of the section's area: a wider edge strip is not kept off
ANGLE = 5.0  # degrees within which lines count as parallel, or as at 45 degrees; the kit's own tolerance

Row = tuple[str, str, str]


def layout_rules(survey: Survey, lines: Sequence[SurveyLine]) -> pd.DataFrame:
    """Which of the layout rules of E1155 the lines meet.

    Parameters
    ----------
    survey : whose outline and openings bound the section; without an outline what hangs on it is not known,
        unless the readings alone show it
    lines : as :func:`~flatness.measures.fnumber_lines.survey_lines` gives them

    Returns
    -------
    DataFrame : ``rule``; ``met``: ``yes``, ``no`` or ``not known``; ``detail``
    """
    rows = [_spacing(lines), _length(lines), _apart(lines), _edges(survey, lines), _narrow(survey, lines)]
    rows += [_side(survey), _area(survey)]
    rows += [
        ("enough readings for the area", "not known", "the standard's least number was not confirmed"),
        ("random traffic, not fixed paths", "not known", "the survey does not say how the floor is used"),
    ]
    return pd.DataFrame(rows, columns=["rule", "met", "detail"])


def _spacing(lines: Sequence[SurveyLine]) -> Row:
    rule = "readings every 12 in"
    if any(line.estimate for line in lines):
        return rule, "no", "heights were interpolated at 12 in, not read there"
    if any(line.spacing != FOOT_MM for line in lines):
        return rule, "no", "readings are 300 mm apart, as in the metric companion"
    return rule, "yes", f"within {OFF_LINE_MM} mm"


def _length(lines: Sequence[SurveyLine]) -> Row:
    shortest = min(lines, key=lambda line: line.length)
    least = LINE_MM if shortest.spacing == FOOT_MM else METRIC_LINE_MM
    met = shortest.length >= least - OFF_LINE_MM
    return (
        "lines at least 11 ft long", "yes" if met else "no",
        f"the shortest, {shortest.name}, is {shortest.length:.0f} mm",
    )  # fmt: skip


def _apart(lines: Sequence[SurveyLine]) -> Row:
    rule = "parallel lines at least 4 ft apart"
    closest: tuple[float, str] | None = None
    for i, one in enumerate(lines):
        for other in lines[i + 1 :]:
            distance = _between(one, other)
            if distance is not None and (closest is None or distance < closest[0]):
                closest = (distance, f"{one.name} and {other.name} are {distance:.0f} mm apart")
    if closest is None:
        return rule, "yes", "no two lines run side by side"
    return rule, "yes" if closest[0] >= APART_MM - OFF_LINE_MM else "no", f"{closest[1]}, the closest"


def _between(one: SurveyLine, other: SurveyLine) -> float | None:
    """Distance [mm] between two lines that run side by side; None where they do not."""
    turn = (_degrees(one) - _degrees(other) + 90) % 180 - 90
    if abs(turn) > ANGLE:
        return None
    direction = np.array([one.x[-1] - one.x[0], one.y[-1] - one.y[0]]) / one.length
    places = np.column_stack([other.x - one.x[0], other.y - one.y[0]])
    along = places @ direction
    if along.max() <= 0 or along.min() >= one.length:
        return None
    return float(np.abs(places @ np.array([-direction[1], direction[0]])).min())


def _degrees(line: SurveyLine) -> float:
    return math.degrees(math.atan2(line.y[-1] - line.y[0], line.x[-1] - line.x[0])) % 180


def _edges(survey: Survey, lines: Sequence[SurveyLine]) -> Row:
    rule = "readings 2 ft off edges, joints and openings"
    if survey.outline is None:
        return rule, "not known", "the survey gives no outline"
    section = _section(survey)
    strip = 1 - section.buffer(-EDGE_MM).area / section.area
    if strip > WAIVED:
        return rule, "yes", f"waived: the strip is {strip:.0%} of the section, more than {WAIVED:.0%} (M)"
    places = shapely.points(np.concatenate([np.column_stack([line.x, line.y]) for line in lines]))
    least = float(shapely.distance(section.boundary, places).min())
    if least >= EDGE_MM - OFF_LINE_MM:
        return rule, "yes", f"the nearest reading is {least:.0f} mm off; joints are not in the survey"
    return rule, "no", f"a reading is {least:.0f} mm off an edge or opening"


def _section(survey: Survey) -> Polygon:
    return shapely.difference(survey.outline, shapely.union_all(list(survey.openings)))


def _extent(survey: Survey) -> tuple[Polygon, bool]:
    """The section, and whether it is known; else what the readings enclose, which is no larger."""
    if survey.outline is not None:
        return survey.outline, True
    x, y, _ = survey.xyz()
    return shapely.MultiPoint(np.column_stack([x, y])).convex_hull, False


def _sides(area: Polygon) -> tuple[float, float, float]:
    """Short and long side [mm] of the smallest rectangle around it; direction of the long one [degrees]."""
    box = shapely.oriented_envelope(area)
    if box.geom_type != "Polygon":  # readings along one line
        return 0.0, float(box.length), 0.0
    corners = np.array(box.exterior.coords)[:3]
    sides = sorted(
        (float(np.hypot(*side)), math.degrees(math.atan2(side[1], side[0]))) for side in np.diff(corners, axis=0)
    )
    return sides[0][0], sides[1][0], sides[1][1] % 180


def _narrow(survey: Survey, lines: Sequence[SurveyLine]) -> Row:
    rule = "lines at 45 degrees, not corner to corner, in a section narrower than 25 ft"
    area, known = _extent(survey)
    short, _, direction = _sides(area)
    if short >= NARROW_MM - OFF_LINE_MM:
        return rule, "yes", "the section is not narrow"
    if not known:
        return rule, "not known", "the survey gives no outline"
    straight = [line.name for line in lines if abs((_degrees(line) - direction) % 90 - 45) > ANGLE]
    if straight:
        return rule, "no", f"{short:.0f} mm wide; not at 45 degrees: {', '.join(straight)}"
    corners = np.array(area.exterior.coords)
    for line in lines:
        ends = np.array([[line.x[k], line.y[k]] for k in (0, -1)])
        if (np.hypot(*(corners[:, None] - ends).transpose(2, 0, 1)).min(axis=0) < EDGE_MM).all():
            return rule, "no", f"{line.name} runs from corner to corner"
    return rule, "yes", f"{short:.0f} mm wide; all lines within {ANGLE:.0f} degrees of 45"


def _side(survey: Survey) -> Row:
    area, known = _extent(survey)
    short = _sides(area)[0]
    return _at_least("section side at least 8 ft (Q)", short, SIDE_MM - OFF_LINE_MM, known, f"{short:.0f} mm")


def _area(survey: Survey) -> Row:
    area, known = _extent(survey)
    size = float(_section(survey).area if known else area.area)
    return _at_least("section area at least 12 m2", size, AREA_MM2, known, f"{size / 1e6:.1f} m2")


def _at_least(rule: str, value: float, least: float, known: bool, shown: str) -> Row:
    if value >= least:
        return rule, "yes", shown if known else f"the readings alone span {shown}"
    return rule, "no" if known else "not known", shown if known else f"no outline; the readings span {shown}"
