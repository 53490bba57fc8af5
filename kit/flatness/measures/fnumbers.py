"""F-numbers of ASTM E1155: floor flatness FF and floor levelness FL, from lines read every 12 in.

The standard's text was not seen: its constants, the n - 1 in the standard deviations and the way lines
combine are given from memory, as widely quoted. Its own 90 % interval and its least number of readings are
not known here; a stand-in interval is given instead and says so.

Lines of readings for F-numbers: found in a survey, or drawn across the straight-line surface.

The layout rules of ASTM E1155, as far as they are known, held against the lines of a survey.

The standard's text (E1155/E1155M-23) was not seen. Rules marked (M) are from memory, (Q) as quoted; the least
number of readings a section needs was not confirmed and is reported as not known.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely import Polygon

from flatness.arrays import Floats
from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import settle
from flatness.notes import Note, joined
from flatness.surface.lattice import Surface, bilinear, grid_axes, interpolate, lattice_axes, on_grid
from flatness.survey.readings import SAME_PLACE_MM, Survey

FOOT_MM = 304.8  # readings every 12 in
METRIC_MM = 300.0  # of the metric companion
LEAST_READINGS = 12  # 11 ft, the shortest line
APART_MM = 1219.2  # 4 ft between parallel lines
OFF_LINE_MM = 6.35  # 1/4 in that a station may be off its place; the kit's own tolerance

ESTIMATE_NOTE = (
    "F-number-style estimates off the interpolated surface, not an E1155 test; straight-line interpolation "
    "between wider stations flatters FF"
)


@dataclass(frozen=True, eq=False, kw_only=True)
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
        note = Note("no-line-named", count=loose) if loose else ""
        return [_named_line(survey, str(name), names == name, note) for name in names[names != ""].unique()]
    x, y, height, _ = survey.stations()
    axes = grid_axes(x, y)
    spacing = None if axes is None else _grid_spacing(*axes)
    if axes is None or spacing is None:
        what = "F-numbers need lines read every 12 in"
        remedy = "name the lines in the file, or ask for F-number-style estimates off the surface"
        raise MeasureError(what, expected="readings that name their line, or a 12 in grid", remedy=remedy)
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
            "the surface is too short for F-numbers", expected=expected, remedy="use a straightedge limit instead"
        )
    return lines


def _grid_lines(
    x: Floats,
    y: Floats,
    grid: Floats,
    spacing: float,
    apart: float,
    reference: str,
    *,
    estimate: bool = False,
    note: str = "",
) -> list[SurveyLine]:
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
                lines.append(
                    SurveyLine(
                        name=name,
                        x=px,
                        y=py,
                        heights=heights[number, part],
                        spacing=spacing,
                        reference=reference,
                        estimate=estimate,
                        note=note,
                    )
                )
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
        what, expected = f"line {name} is a single station", "12 readings along a straight line"
        remedy = "read the line every 12 in"
        raise MeasureError(what, value=f"{len(x)} readings at one place", expected=expected, remedy=remedy)
    direction = np.linalg.svd(places - middle, full_matrices=False)[2][0]
    along = (places - middle) @ direction
    if along[-1] < along[0]:  # it begins where its reader began
        along = -along
    off = np.abs((places - middle) @ np.array([-direction[1], direction[0]]))
    if off.max() > OFF_LINE_MM:
        what = f"line {name} is not straight"
        value, expected = Note("off-line", mm=float(off.max())), Note("line-not-straight", mm=OFF_LINE_MM)
        raise MeasureError(what, value=value, expected=expected, remedy="give each straight run its own name")
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
            value=Note("line-step", step=float(steps[wrong]), first=wrong + 1, second=wrong + 2),
            expected=Note("line-steps", foot=FOOT_MM, metric=METRIC_MM, within=OFF_LINE_MM),
            remedy="read the line every 12 in, or ask for F-number-style estimates off the surface",
        )
    return SurveyLine(
        name=name, x=x, y=y, heights=height, spacing=nominal, reference=survey.reference, estimate=False, note=note
    )


FF_MM = 4.57 * 25.4  # 4.57 in, for second differences at 12 in
FL_MM = 12.5 * 25.4  # 12.5 in, for differences over 10 ft
STEPS_LEVEL = 10  # intervals between the two readings of a levelness difference
FEW = 10  # differences under which a line's standard deviation tells little

Lines = ArrayLike | SurveyLine | Sequence[ArrayLike | SurveyLine]

INTERVAL_NOTE = (
    "stand-in 90 % interval, +/- 1.645 / sqrt(2 (r - 1)) of the value over r differences: the standard's own "
    "formula was not seen; differences that overlap are counted as independent, so it is too narrow"
)
_METRIC_NOTE = (
    "read every 300 mm: the 12 in constants were corrected for the spacing (112.451 mm and 312.5 mm, "
    "derived); the constants printed in the metric standard were not seen"
)
_STRING_NOTE = "FL is not given: the heights are off a string, which is straight but not known to be level"


@dataclass(frozen=True, eq=False, kw_only=True)
class FNumbers:
    """F-numbers of one line or more; the larger, the flatter or more level.

    Attributes
    ----------
    ff, fl : overall flatness and levelness [-]; infinite for straight lines, FL is NaN off a string
    ff_interval, fl_interval : stand-in 90 % interval (least, greatest) [-]; never below 0
    interval_note : what that interval is worth
    lines : DataFrame, one row a line: ``line``, ``readings``, ``n_q``, ``mean_q_mm``, ``sd_q_mm``, ``ff``,
        ``n_z``, ``mean_z_mm``, ``sd_z_mm``, ``fl``
    estimate : True where the readings were interpolated: F-number-style estimates, not an E1155 test
    note : what the reader of the numbers must know
    """

    ff: float
    fl: float
    ff_interval: tuple[float, float]
    fl_interval: tuple[float, float]
    lines: pd.DataFrame
    estimate: bool = False
    note: str = ""
    interval_note: str = INTERVAL_NOTE

    @property
    def least_ff(self) -> float:
        """FF of the least flat line [-], to hold against a minimum local value."""
        return float(self.lines["ff"].min())

    @property
    def least_fl(self) -> float:
        """FL of the least level line [-], to hold against a minimum local value; NaN off a string."""
        return float(self.lines["fl"].min())


def f_numbers(lines: Lines, *, spacing: float = FOOT_MM, reference: str = "level") -> FNumbers:
    """FF and FL of lines of readings every 12 in.

    Parameters
    ----------
    lines : one line or several, each a sequence of 12 heights [mm] or more, in order along it; or what
        :func:`~flatness.measures.fnumbers.survey_lines` gives, whose own spacing and reference are used
    spacing : distance between readings [mm]: 304.8, or 300 with constants corrected for it
    reference : of heights given as numbers; off a ``string`` FL is NaN

    Returns
    -------
    FNumbers

    Raises
    ------
    MeasureError : a line with fewer than 12 readings, or with a height missing
    ArgumentError : another spacing

    Notes
    -----
    With q_i = h_i - 2 h_(i-1) + h_(i-2) (a trough is positive), z_i = h_i - h_(i-10) and standard deviations
    s over n - 1: FF = 4.57 in / (3 s_q + \\|mean q\\|), FL = 12.5 in / (3 s_z + \\|mean z\\|). Lines combine
    as 1/F^2 = sum(r / F^2) / sum(r), with r the number of differences.

    Examples
    --------
    >>> inch = 25.4
    >>> round(f_numbers([0.005 * i * i * inch for i in range(21)]).ff, 6)
    457.0
    """
    given = [
        line if isinstance(line, SurveyLine) else _as_line(line, number, spacing, reference)
        for number, line in enumerate(_several(lines), 1)
    ]
    if not given:
        raise MeasureError("no lines to take F-numbers of", expected="one line of 12 readings or more")
    table = pd.DataFrame([_line_row(line) for line in given])
    ff, ff_interval = _together(table["ff"], table["n_q"])
    fl, fl_interval = _together(table["fl"], table["n_z"])
    notes = [line.note for line in given]
    if any(line.spacing == METRIC_MM for line in given):
        notes.append(_METRIC_NOTE)
    if math.isnan(fl):
        notes.append(_STRING_NOTE)
    elif int(table["n_z"].min()) < FEW:
        notes.append(Note("few-differences", few=FEW))
    return FNumbers(
        ff=ff,
        fl=fl,
        ff_interval=ff_interval,
        fl_interval=fl_interval,
        lines=table,
        estimate=any(line.estimate for line in given),
        note=joined(dict.fromkeys(notes)),
    )


def second_differences(heights: ArrayLike) -> Floats:
    """q_i = h_i - 2 h_(i-1) + h_(i-2) of a line [n] -> [n - 2], unit of the heights; troughs positive."""
    return np.diff(np.asarray(heights, dtype=np.float64), n=2)


def level_differences(heights: ArrayLike) -> Floats:
    """z_i = h_i - h_(i-10) of a line [n] -> [n - 10], unit of the heights."""
    h = np.asarray(heights, dtype=np.float64)
    return h[STEPS_LEVEL:] - h[:-STEPS_LEVEL]


def combine(values: Iterable[float], weights: Iterable[float]) -> float:
    """One F-number of several: 1/F^2 is the weighted mean of theirs.

    Weights are numbers of differences for the lines of one section, areas for sections (both from memory).

    >>> round(combine([20, 40], [1, 1]), 3)
    25.298
    """
    f, w = np.array(list(values), dtype=np.float64), np.array(list(weights), dtype=np.float64)
    if len(f) != len(w) or not len(f) or not (w > 0).all() or (f <= 0).any():
        what = "F-numbers and weights that cannot be combined"
        raise ArgumentError(what, value=f"{f.tolist()}, {w.tolist()}", expected="as many of each, above zero")
    mean = float((w / np.square(f)).sum() / w.sum())
    return math.inf if mean == 0 else 1 / math.sqrt(mean)


def _several(lines: Lines) -> list[ArrayLike | SurveyLine]:
    if isinstance(lines, SurveyLine):
        return [lines]
    listed = list(lines)  # type: ignore[arg-type]
    if listed and not isinstance(listed[0], SurveyLine) and np.ndim(listed[0]) == 0:
        return [np.asarray(listed)]
    return listed


def _as_line(heights: ArrayLike, number: int, spacing: float, reference: str) -> SurveyLine:
    if spacing not in (FOOT_MM, METRIC_MM):
        what = "F-numbers are not defined at this spacing"
        remedy = "read the lines every 12 in, or take F-number-style estimates off the surface"
        raise ArgumentError(what, value=f"{spacing} mm", expected="304.8 mm or 300 mm", remedy=remedy)
    h = np.asarray(heights, dtype=np.float64).ravel()
    along = np.arange(len(h), dtype=np.float64) * spacing
    return SurveyLine(
        name=str(number), x=along, y=np.zeros_like(along), heights=h, spacing=spacing, reference=reference
    )


def _line_row(line: SurveyLine) -> dict[str, object]:
    h = line.heights
    if len(h) < LEAST_READINGS:
        what, expected = f"line {line.name} is too short for F-numbers", f"{LEAST_READINGS} or more, that is 11 ft"
        raise MeasureError(what, value=f"{len(h)} readings", expected=expected, remedy="read a longer line")
    if not np.isfinite(h).all():
        what = f"line {line.name} has a height missing"
        value, expected = f"reading {int(np.argmin(np.isfinite(h))) + 1}", "a height at every station"
        raise MeasureError(what, value=value, expected=expected, remedy="split the line there, or read the station")
    q, z = second_differences(h), level_differences(h)
    ratio = line.spacing / FOOT_MM
    level = line.reference != "string"
    return {
        "line": line.name,
        "readings": len(h),
        "n_q": len(q),
        "mean_q_mm": float(q.mean()),
        "sd_q_mm": float(q.std(ddof=1)),
        "ff": _f_number(FF_MM * ratio**2, q),
        "n_z": len(z),
        "mean_z_mm": float(z.mean()),
        "sd_z_mm": float(z.std(ddof=1)),
        "fl": _f_number(FL_MM * ratio, z) if level else math.nan,
    }


def _f_number(constant: float, differences: Floats) -> float:
    spread = 3 * float(differences.std(ddof=1)) + abs(float(differences.mean()))
    # a straight or level line has no spread but binary noise
    return constant / spread if settle(spread) else math.inf


def _together(values: pd.Series[float], counts: pd.Series[int]) -> tuple[float, tuple[float, float]]:
    overall = combine(values, counts)
    if not math.isfinite(overall):
        return overall, (overall, overall)
    part = 1.645 / math.sqrt(2 * (int(counts.sum()) - 1))
    return overall, (max(0.0, overall * (1 - part)), overall * (1 + part))


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
    lines : as :func:`~flatness.measures.fnumbers.survey_lines` gives them

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
        return rule, "no", Note("metric-companion", mm=METRIC_MM)
    return rule, "yes", Note("within", mm=OFF_LINE_MM)


def _length(lines: Sequence[SurveyLine]) -> Row:
    shortest = min(lines, key=lambda line: line.length)
    least = LINE_MM if shortest.spacing == FOOT_MM else METRIC_LINE_MM
    met = shortest.length >= least - OFF_LINE_MM
    return (
        "lines at least 11 ft long",
        "yes" if met else "no",
        Note("shortest-line", name=shortest.name, mm=shortest.length),
    )


def _apart(lines: Sequence[SurveyLine]) -> Row:
    rule = "parallel lines at least 4 ft apart"
    closest: tuple[float, str, str] | None = None
    for i, one in enumerate(lines):
        for other in lines[i + 1 :]:
            distance = _between(one, other)
            if distance is not None and (closest is None or distance < closest[0]):
                closest = (distance, one.name, other.name)
    if closest is None:
        return rule, "yes", "no two lines run side by side"
    apart, first, second = closest
    detail = Note("lines-closest", one=first, other=second, apart=apart)
    return rule, "yes" if apart >= APART_MM - OFF_LINE_MM else "no", detail


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
        return rule, "yes", Note("edge-near", mm=least)
    return rule, "no", Note("edge-too-near", mm=least)


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
        return rule, "no", Note("narrow-not-45", mm=short, names=straight)
    corners = np.array(area.exterior.coords)
    for line in lines:
        ends = np.array([[line.x[k], line.y[k]] for k in (0, -1)])
        if (np.hypot(*(corners[:, None] - ends).transpose(2, 0, 1)).min(axis=0) < EDGE_MM).all():
            return rule, "no", f"{line.name} runs from corner to corner"
    return rule, "yes", Note("narrow-45", mm=short, angle=round(ANGLE))


def _side(survey: Survey) -> Row:
    area, known = _extent(survey)
    short = _sides(area)[0]
    return _at_least("section side at least 8 ft (Q)", short, SIDE_MM - OFF_LINE_MM, known, Note("length", mm=short))


def _area(survey: Survey) -> Row:
    area, known = _extent(survey)
    size = float(_section(survey).area if known else area.area)
    return _at_least("section area at least 12 m2", size, AREA_MM2, known, f"{size / 1e6:.1f} m2")


def _at_least(rule: str, value: float, least: float, known: bool, shown: str) -> Row:
    if value >= least:
        return rule, "yes", shown if known else Note("span-readings", what=shown)
    return rule, "no" if known else "not known", shown if known else Note("span-no-outline", what=shown)
