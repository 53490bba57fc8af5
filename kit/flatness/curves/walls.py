"""Surveys of walls that curve: offsets from a string, radii from a centre, or places off the plan, to a wall unrolled.

Unrolled, x is the distance along the intended curve from its left end as seen from the room, y is up the wall, and the
height is how far the wall stands off the curve, toward the room: proud is positive, as on any wall. A wall read all
round begins again after its full turn: bars are set across the seam, and every reading counts once.
"""

from __future__ import annotations

import csv
import io
import math
import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import BinaryIO

import numpy as np
import pandas as pd

from flatness.arrays import Floats
from flatness.curves.fitting import CurveFit, fit_curve, spoiling
from flatness.curves.making import make_arc, read_curve
from flatness.curves.shapes import TURN, Chain, Curve
from flatness.curves.templates import SURE, TemplatePlacement, fairness, template_gaps, worst_template
from flatness.errors import ArgumentError, FlatnessError, LengthError, MeasureError, Problem, check_step
from flatness.lengths import parse_length
from flatness.measures.bars import Place
from flatness.survey.cells import LengthReader, Record, Report, Table, column_letter, is_empty, nearest, refuse, text_of
from flatness.survey.checks import check_outlines
from flatness.survey.files import bytes_of, table_of
from flatness.survey.header import CURVED, CURVED_QUANTITIES, Entry, Header, read_header
from flatness.survey.layout import Heading, read_headings, split_heading
from flatness.survey.readings import POINT_COLUMNS, Bend, Survey
from flatness.survey.rows import decode, is_header

ROOMS = ("inside", "outside")
COLUMNS = {"plan": ("x", "y"), "offset": ("along", "offset"), "radius": ("angle", "radius")}
FARTHEST_MM = 300.0  # a reading so far off its curve is a slip, or the curve is another
MOST_APART = 2.5  # times the usual step between readings, from which on nothing is known between two of them
LEVEL_MM = 25.4  # readings no farther apart than this up the wall are one line
UP, LABEL = "up", "label"


@dataclass(frozen=True)
class Frame:
    """Where in the plan readings were taken from: a string from one place toward another, a center."""

    start: Place = (0.0, 0.0)
    toward: Place = (1.0, 0.0)
    centre: Place = (0.0, 0.0)

    @property
    def direction(self) -> Floats:
        """[2] unit vector along the string."""
        return np.subtract(self.toward, self.start) / math.dist(self.toward, self.start)


@dataclass(frozen=True, eq=False, kw_only=True)
class CurvedWall:
    """The readings of a wall that curves, and the curve that it is meant to follow.

    Attributes
    ----------
    curve : the intended curve, or the one that was fitted to the readings
    fit : how it was fitted; None where its sizes were given
    room : on which side of the curve the room lies: ``inside`` (to its left, where its centres are) or ``outside``
    points : DataFrame, one row a reading: ``x_mm``, ``y_mm`` (in plan), ``up_mm``, ``s_mm`` (along the curve as it
        runs), ``along_mm`` (from the left as seen from the room), ``off_mm`` (toward the room), ``label``, ``cell``
    survey : the wall unrolled, for all that takes a wall
    quantity : ``plan``, ``offset`` or ``radius``
    frame : from where it was read
    """

    curve: Curve
    fit: CurveFit | None
    room: str
    points: pd.DataFrame
    survey: Survey
    quantity: str
    frame: Frame = field(default_factory=Frame)

    @property
    def side(self) -> float:
        """1 where the room is to the left of the curve, -1 where it is to the right."""
        return 1.0 if self.room == "inside" else -1.0

    @cached_property
    def spoiling(self) -> pd.DataFrame:
        """The rows of ``points`` that spoil the fit: see :func:`~flatness.curves.fitting.spoiling`."""
        if self.fit is None or not self.survey.accuracy:
            return self.points[:0]
        x, y = self.points["x_mm"], self.points["y_mm"]
        return self.points.iloc[spoiling(x, y, self.fit, self.survey.accuracy)]

    @cached_property
    def kinks(self) -> pd.DataFrame:
        """Joins of a fitted chain that are proved to kink: ``along_mm``, ``kink_deg`` (toward the room), its error.

        The readings are fitted again with pieces that may meet at an angle; the curve itself has tangent joins.
        """
        if self.fit is None or self.fit.kind != "chain":
            return pd.DataFrame(columns=["along_mm", "kink_deg", "kink_error_deg"])
        own = self.points[self.points["up_mm"] - self.points["up_mm"].min() <= LEVEL_MM]
        fit = fit_curve(own["x_mm"], own["y_mm"], "chain", accuracy=self.survey.accuracy, kinks=True)
        joins = fit.joins
        joins = joins[joins["kink_deg"].abs() > SURE * joins["kink_error_deg"]]
        along = self.s_of(self.curve.nearest(joins["x_mm"], joins["y_mm"])[0])
        return joins.assign(along_mm=along, kink_deg=self.side * joins["kink_deg"])

    def levels(self) -> list[float]:
        """Heights up the wall [mm] at which lines of readings were taken, lowest first."""
        heights = np.sort(self.points["up_mm"].to_numpy())
        groups = np.split(heights, np.flatnonzero(np.diff(heights) > LEVEL_MM) + 1)
        return [float(group.mean()) for group in groups]

    def read_from(self, along: float) -> float | None:
        """Where a place so far from the left [mm] is read from: along the string [mm], or the angle [degrees].

        None of places off the plan, which are marked on the wall.
        """
        if self.quantity == "plan":
            return None
        x, y = self.curve.at(self.s_of(np.array([along])))[0]
        if self.quantity == "radius":
            return math.degrees(math.atan2(y - self.frame.centre[1], x - self.frame.centre[0]))
        return float(np.subtract((x, y), self.frame.start) @ self.frame.direction)

    def line(self, level: float) -> tuple[Floats, Floats]:
        """Distances from the left [mm] and heights off the curve [mm] of the readings at a level, in order."""
        near = self.points[(self.points["up_mm"] - level).abs() <= LEVEL_MM].sort_values("along_mm")
        return near["along_mm"].to_numpy(), near["off_mm"].to_numpy()

    def s_of(self, along: Floats) -> Floats:
        """Distances along the curve as it runs [mm] of distances from the left as seen from the room."""
        return self.curve.length - along if self.side > 0 else along

    def stations(self, level: float, every: float) -> tuple[Floats, Floats]:
        """A level at even steps: distances from the left [mm] and heights [mm], by straight lines between readings.

        Where two readings stand more than two and a half of the typical step apart there is nothing between them.
        """
        along, off = self.line(level)
        if len(along) < 2:
            raise MeasureError("a level with one reading only", value=f"{level:g} mm up", expected="two or more")
        closed = self.curve.closed
        count = max(1, round((self.curve.length if closed else float(np.ptp(along))) / every))
        if closed:
            even = self.curve.length * np.arange(count) / count
            along = np.concatenate([along[-1:] - self.curve.length, along, along[:1] + self.curve.length])
            off = np.concatenate([off[-1:], off, off[:1]])
        else:
            even = np.linspace(along[0], along[-1], count + 1)
        step = np.diff(along)
        widest = MOST_APART * float(np.median(step))
        k = np.clip(np.searchsorted(along, even, side="right") - 1, 0, len(step) - 1)
        found = np.interp(even, along, off)
        found[step[k] > widest] = np.nan
        return even, found

    def worst(self, length: float, every: float | None = None) -> tuple[TemplatePlacement, float] | None:
        """The largest gap under a template of this length along the curve [mm], and its level [mm].

        The contacts and the place are distances from the left as seen from the room. None where nothing is bridged.
        """
        best: tuple[TemplatePlacement, float] | None = None
        for level in self.levels():
            if len(self.line(level)[0]) < 3:
                continue
            step = every or self._step(length)
            check_step("template" if every is None else "every", step, self.curve.length)
            along, off = self.stations(level, step)
            found = worst_template(off, self.s_of(along), length, self.curve)
            if found is not None and (best is None or found.gap > best[0].gap):
                at, first, last = self.s_of(np.array([found.at, *found.contacts])) % (
                    self.curve.length if self.curve.closed else np.inf
                )
                best = (
                    TemplatePlacement(found.gap, float(at), (float(min(first, last)), float(max(first, last)))),
                    level,
                )
        return best

    def gaps(self, level: float, length: float, every: float | None = None) -> tuple[Floats, Floats]:
        """Distances from the left [mm] and gaps [mm] under a template of this length at a level."""
        along, off = self.stations(level, every or self._step(length))
        return along, template_gaps(off, self.s_of(along), length, self.curve)

    def gap_of_errors(self, length: float, draws: int = 200, seed: int = 0) -> float:
        """The gap [mm] that errors of reading alone stay under in 95 of 100 draws, on a wall that is true."""
        accuracy = self.survey.accuracy or 0.0
        rng = np.random.default_rng(seed)
        worst = np.zeros(draws)
        for level in self.levels():
            along = self.line(level)[0]
            if len(along) < 3:
                continue
            even, known = self.stations(level, self._step(length))
            noise = rng.normal(0, accuracy, (draws, len(along)))
            drawn = np.array([np.interp(even, along, one, period=self._period) for one in noise])
            drawn[:, np.isnan(known)] = np.nan
            worst = np.fmax(worst, np.nanmax(template_gaps(drawn, self.s_of(even), length, self.curve), axis=1))
        return float(np.quantile(worst, 0.95))

    @property
    def _period(self) -> float | None:
        return self.curve.length if self.curve.closed else None

    def _step(self, length: float) -> float:
        """Steps that divide the template, about half of those between the readings and no finer than 1/48 of it."""
        between = min(float(np.median(np.diff(a))) for level in self.levels() if len(a := self.line(level)[0]) > 1)
        return length / max(2, min(48, math.ceil(2 * length / max(between, 1.0))))

    def fairness(self, level: float, accuracy: float | None = None, reach: float | None = None) -> pd.DataFrame:
        """Kinks and flats along a level: see :func:`flatness.curves.templates.fairness`.

        ``along_mm`` is from the left as seen from the room; a positive kink turns toward the room. ``accuracy`` [mm]
        is the survey's own where not given.
        """
        accuracy = accuracy or self.survey.accuracy
        if accuracy is None:
            what = "the accuracy of a reading is not stated, so a kink cannot be separated from an error"
            remedy = "add the line: how far a repeated reading typically differs"
            raise MeasureError(what, expected="`# accuracy: 1/32 in` in the file", remedy=remedy)
        options: dict[str, float] = {} if reach is None else {"reach": reach}
        first, *others = (self._sorted(one) for one in (level, *(one for one in self.levels() if one != level)))
        table = fairness(*first, self.curve, accuracy, beside=others, **options)
        if self.curve.closed:
            table = table[(table["along_mm"] >= 0) & (table["along_mm"] < self.curve.length)].copy()
        table["along_mm"] = self.s_of(table["along_mm"].to_numpy())
        table["kink_deg"] *= self.side
        return table.sort_values("along_mm", ignore_index=True)

    def _sorted(self, level: float) -> tuple[Floats, Floats]:
        """Deviations to the left of the curve and distances along it [n] mm of a level's readings, in its order."""
        along, off = self.line(level)
        s = self.s_of(along)
        if self.survey.bend is not None and self.survey.bend.closed:  # its end is its beginning
            s, off = np.concatenate([s - self.curve.length, s, s + self.curve.length]), np.tile(off, 3)
            near = (s > -self.curve.length / 2) & (s < 1.5 * self.curve.length)
            s, off = s[near], off[near]
        order = np.argsort(s)
        return self.side * off[order], s[order]


def read_curved_wall(
    path_or_file: str | os.PathLike[str] | bytes | BinaryIO,
    *,
    name: str | None = None,
    sheet: str | None = None,
    curve: Curve | str | None = None,
) -> CurvedWall:
    """The survey of a wall that curves.

    Parameters
    ----------
    path_or_file, name, sheet : as for ``read_survey``; the file has ``# surface: curved wall`` and ``# reading: plan``
        (columns x, y), ``offset`` (along, offset, from a string) or ``radius`` (angle in degrees, and radius, from a
        centre), and a column ``up``, the height up the wall, where there is more than one level
    curve : the intended curve where it is not the file's ``# curve:``; or such a line

    Returns
    -------
    CurvedWall

    Raises
    ------
    SurveyFileError : with all that is wrong with the file

    Examples
    --------
    >>> text = "# surface: curved wall\\n# unit: mm\\n# curve: arc chord 1200, rise 200\\n# reading: offset\\n"
    >>> wall = read_curved_wall((text + "along,offset\\n0,0\\n600,203\\n1200,0\\n").encode(), name="niche.csv")
    >>> [round(off, 3) for off in wall.points.off_mm]
    [0.0, -3.0, 0.0]
    """
    data, file = bytes_of(path_or_file, name)
    report = Report(file)
    table = table_of(data, file, report, sheet)
    header, lengths = read_header(table, report)
    check_outlines(header, report)
    if header.surface != CURVED:
        report.stop_if_any()
        what = "this is not a survey of a curved wall"
        remedy = "add that line, with `# curve:` and `# reading:`; or read it as the surface it is"
        raise refuse(file, what, value=header.surface, expected=f"`# surface: {CURVED}`", remedy=remedy)
    return reduce_wall(table, header, lengths, report, curve)


@dataclass(frozen=True, eq=False, kw_only=True)
class Design:
    """A curve to set out, and the wall where there are readings of it; ``unit`` and ``title`` are the file's."""

    curve: Curve
    wall: CurvedWall | None
    unit: str
    title: str


def read_design(path: str | os.PathLike[str], sheet: str | None = None, curve: Curve | str | None = None) -> Design:
    """What a file gives to set out.

    Parameters
    ----------
    path : a survey of a curved wall, or its ``#`` lines alone: then nothing is measured
    sheet : of a workbook
    curve : instead of the file's ``# curve:``

    Raises
    ------
    SurveyFileError : with all that is wrong with the file
    """
    data, file = bytes_of(path, None)
    if Path(file).suffix.lower() != ".xlsx":
        text = decode(data, file)
        lines = [line for line in text.splitlines() if line.strip(" \t;,")]
        if lines and all(is_header(line.lstrip(' \t"')) for line in lines):
            return _curve_alone(text, file, curve)
    wall = read_curved_wall(data, name=file, sheet=sheet, curve=curve)
    return Design(curve=wall.curve, wall=wall, unit=wall.survey.unit, title=wall.survey.title)


def _curve_alone(text: str, file: str, given: Curve | str | None) -> Design:
    report = Report(file)
    # the reader of rows wants headings under the # lines
    table = table_of(f"{text}\nx,y\n".encode(), file, report, None)
    header, lengths = read_header(table, report)
    curve = _curve_of(header, lengths, report, given)
    report.stop_if_any()
    if not isinstance(curve, Curve):
        remedy = "give the sizes of the curve, or readings under the # lines"
        raise refuse(file, "there is nothing to fit the curve to", expected="readings", remedy=remedy)
    return Design(curve=curve, wall=None, unit=lengths.likely_unit, title=header.text.get("title", ""))


def curved_text(path: str | os.PathLike[str]) -> tuple[str, CurvedWall] | None:
    """The text of a file that holds a wall that curves, empty of a workbook, and the wall; None of any other survey."""
    data, file = bytes_of(path, None)
    try:
        wall = read_curved_wall(data, name=file)
    except FlatnessError:
        return None
    return ("" if Path(file).suffix.lower() == ".xlsx" else decode(data, file)), wall


def rows_to_go_on(text: str, wall: CurvedWall, places: Iterable[tuple[str, str, str]]) -> str:
    """The text of a wall's file as it stands, with rows whose readings are still to be taken.

    Parameters
    ----------
    text : of the file, CSV
    wall : that was read from it
    places : of each such row where it is read from (empty where that is off the plan), how far up, and its label, as
        they are to be typed; a file of one level has no column for how far up, and gets none
    """
    lines = text.splitlines()
    at = next(k for k, line in enumerate(lines) if line.strip(" \t;,") and not is_header(line.lstrip(' \t"')))
    mark = next((one for one in (";", "\t") if one in lines[at]), ",")
    heads = [split_heading(cell.strip())[0] for cell in next(csv.reader([lines[at]], delimiter=mark))]
    if LABEL not in heads:
        heads.append(LABEL)
        lines[at] += f"{mark}{LABEL}"
    out = io.StringIO()
    for first, up, label in places:
        cells = {COLUMNS[wall.quantity][0]: first, UP: up, LABEL: label}
        csv.writer(out, delimiter=mark, lineterminator="\n").writerow([cells.get(name, "") for name in heads])
    return "\n".join(lines) + "\n" + out.getvalue()


def reduce_wall(
    table: Table, header: Header, lengths: LengthReader, report: Report, curve: Curve | str | None = None
) -> CurvedWall:
    """The wall in a table that was taken apart: see :func:`read_curved_wall`."""
    first, *rows = table.body
    intended = _curve_of(header, lengths, report, curve)
    room = _room(header, report)
    quantity = _quantity(header, report, first.row)
    columns = _columns(first, rows, quantity, report)
    frame = _frame(header, lengths, report)
    readings = _read(rows, columns, lengths, report)
    lengths.finish()
    report.stop_if_any()
    if not len(readings):
        report.add("there are no readings under the headings", first.row + 1, 0, expected="one reading a row")
        report.stop_if_any()
    assert intended is not None
    xy = _in_plan(readings, quantity, frame)
    fit = _fit(xy, readings, intended, header, report) if isinstance(intended, str) else None
    found = _spanned(fit.curve, xy) if fit is not None else intended
    assert isinstance(found, Curve)
    side = 1.0 if room == "inside" else -1.0
    s, off = found.nearest(*xy.T)
    if found.closed:
        s = np.mod(s, found.length)
    _check_far(off, readings, columns[COLUMNS[quantity][1]].column, report)
    report.stop_if_any()
    along = found.length - s if side > 0 else s
    points = pd.DataFrame(
        {
            "x_mm": xy[:, 0],
            "y_mm": xy[:, 1],
            "up_mm": readings[UP],
            "s_mm": s,
            "along_mm": along,
            "off_mm": side * off,
            "label": readings["label"],
            "cell": readings["cell"],
        }
    )
    survey = _unrolled(points, _bend(points, found, side), header, lengths, report, quantity)
    return CurvedWall(curve=found, fit=fit, room=room, points=points, survey=survey, quantity=quantity, frame=frame)


def _bend(points: pd.DataFrame, curve: Curve, side: float) -> Bend:
    """The curve as x runs; it closes where it was read across its seam."""
    along = np.sort(points["along_mm"].to_numpy())
    across = along[0] + curve.length - along[-1]
    closed = curve.closed and len(along) > 1 and bool(across <= MOST_APART * np.diff(along).max())
    return Bend(curve, side > 0, closed)


def _unrolled(
    points: pd.DataFrame, bend: Bend, header: Header, lengths: LengthReader, report: Report, quantity: str
) -> Survey:
    blank = [""] * len(points)
    columns = {"x": points["along_mm"], "y": points["up_mm"], "height": points["off_mm"], "reading": points["off_mm"]}
    texts = {"label": points["label"], "setup": blank, "line": blank, "cell": points["cell"]}
    # a string says nothing of plumb unless the file says that it does
    reference = "string" if quantity == "offset" and header.reference_row is None else header.reference
    around = f"; after its full turn of {bend.turn:.0f} mm it begins again, and bars are set across the start"
    note = Problem(
        "the wall is unrolled: x is the distance along its curve from the left end as seen from the room, and heights "
        f"are off the curve, toward the room{around if bend.closed else ''}",
        report.file,
    )
    return Survey(
        points=pd.DataFrame({**columns, **texts}, columns=list(POINT_COLUMNS)),
        surface="wall",
        reference=reference,
        accuracy=header.accuracy,
        outline=header.outline,
        openings=tuple(opening for _, opening in header.openings),
        unit=lengths.likely_unit,
        framing=header.framing,
        title=header.text.get("title", ""),
        date=header.text.get("date", ""),
        source=report.file,
        keys={key: text for key, text in header.text.items() if key in ("instrument", "by")},
        notes=(note,),
        bend=bend,
    )


def _curve_of(header: Header, lengths: LengthReader, report: Report, given: Curve | str | None) -> Curve | str | None:
    """The curve, the kind that is to be fitted, or None where it is wrong, which is then in the report."""
    if isinstance(given, Curve):
        return given

    def length(text: str) -> float:
        return parse_length(text, lengths.unit or "", decimal_comma=lengths.decimal_comma)

    if given is not None:
        try:
            return read_curve(given, length)
        except FlatnessError as error:
            raise error.located(column="curve") from None
    entry = header.curved.get("curve")
    if entry is None:
        what = "the file does not say which curve the wall is meant to follow"
        expected = "`# curve: arc radius 12 ft`, an ellipse, an oval, a chain; or `# curve: fitted arc`"
        report.add(what, 1, 0, expected=expected, remedy="add the line")
        return None
    try:
        return read_curve(entry.text, length)
    except LengthError as error:
        problem = error.problems[0]
        if lengths.unit is None and problem.what == "unknown unit":
            what = "a size without a unit, and the file names none"
            remedy = "add `# unit: in`, or write the unit behind each size"
            report.add(what, entry.row, 0, value=entry.text, expected="sizes with their units", remedy=remedy)
        else:
            report.take(problem, entry.row, 0)
    except FlatnessError as error:
        report.take(error.problems[0], entry.row, 0)
    return None


def _room(header: Header, report: Report) -> str:
    entry = header.curved.get("room")
    if entry is None:
        return "inside"
    if entry.text.lower() in ROOMS:
        return entry.text.lower()
    expected = "inside (where the center of the curve is) or outside"
    remedy = f"did you mean `{nearest(entry.text, ROOMS)}`?"
    report.add("unknown side of the room", entry.row, 0, value=entry.text, expected=expected, remedy=remedy)
    return "inside"


def _quantity(header: Header, report: Report, row: int) -> str:
    if header.quantity in CURVED_QUANTITIES:
        return header.quantity
    if header.quantity_row is None:
        what = "the file does not say what was read"
        expected = "`# reading: plan` (x and y), `# reading: offset` (from a string) or `# reading: radius`"
        report.add(what, row, 0, expected=expected, remedy="add one of these lines at the top")
    return "plan"


def _columns(first: Record, rows: list[Record], quantity: str, report: Report) -> dict[str, Heading]:
    """The columns by their headings."""
    needed = COLUMNS[quantity]
    found = read_headings(first, rows, report, (*needed, UP, LABEL), (*needed, UP), in_degrees=("angle",))
    missing = [name for name in needed if name not in found]
    if missing:
        expected = f"the headings {' and '.join(needed)}, since `# reading: {quantity}`"
        remedy = "write them in the first row under the # lines, or correct `# reading:`"
        report.add(f"no column for {' and '.join(missing)}", first.row, 0, expected=expected, remedy=remedy)
    return found


def _read(rows: list[Record], columns: dict[str, Heading], lengths: LengthReader, report: Report) -> pd.DataFrame:
    """Readings row by row, lengths in mm; rows whose reading is empty were not taken."""
    names = [name for name in columns if name != LABEL]
    found: list[dict[str, object]] = []
    for record in rows:
        cells = {name: record.cell(columns[name].column) for name in names}
        own = [name for name in names if name != UP]
        if own and all(is_empty(cells[name]) for name in (own if own == ["x", "y"] else own[-1:])):
            continue
        values: dict[str, object] = {}
        for name in names:
            column, unit = columns[name].column, columns[name].unit
            value = (
                _angle(text_of(cells[name]), record.row, column, report)
                if name == "angle"
                else lengths.read(cells[name], record.row, column, unit=unit, reading=name != UP)
            )
            if name == "radius" and value is not None and value <= 0:
                what, expected = "a radius that is not above zero", "the distance from the center to the wall"
                cell, remedy = text_of(cells[name]), "type it again; turn the angle by 180 for the far side"
                report.add(what, record.row, column, value=cell, expected=expected, remedy=remedy)
            values[name] = value
        label = text_of(record.cell(columns[LABEL].column)).strip() if LABEL in columns else ""
        if all(value is not None for value in values.values()):
            reading = columns[own[-1]].column if own else 0
            found.append(
                {UP: 0.0, **values, "label": label, "row": record.row, "cell": f"{column_letter(reading)}{record.row}"}
            )
    return pd.DataFrame(found)


def _angle(text: str, row: int, column: int, report: Report) -> float | None:
    plain = text.strip().removesuffix("°").removesuffix("deg").strip().replace("\N{MINUS SIGN}", "-")
    try:
        value = float(plain)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and abs(value) <= 720):
        what, expected = "an angle that cannot be read", "degrees, such as 37.5, counterclockwise from x"
        report.add(what, row, column, value=text, expected=expected, remedy="type it again as a number")
        return None
    return value


def _frame(header: Header, lengths: LengthReader, report: Report) -> Frame:
    string = _places(header.curved.get("string"), 2, lengths, report)
    centre = _places(header.curved.get("center"), 1, lengths, report)
    start, toward = (string[0], string[1]) if string else ((0.0, 0.0), (1.0, 0.0))
    if start == toward:
        report.add("a string without length", header.curved["string"].row, 0, expected="two places apart")
        toward = (start[0] + 1, start[1])
    return Frame(start, toward, centre[0] if centre else (0.0, 0.0))


def _places(entry: Entry | None, count: int, lengths: LengthReader, report: Report) -> list[Place]:
    if entry is None:
        return []
    pairs = [part.strip(" ()") for part in entry.text.replace(";", ")").split(")") if part.strip(" (),")]
    places = []
    for pair in pairs:
        parts = pair.strip(" ,(").split(",")
        values = [lengths.read(part.strip(), entry.row, 0) for part in parts] if len(parts) == 2 else [None]
        if len(parts) == 2 and all(value is not None for value in values):
            places.append((float(values[0] or 0), float(values[1] or 0)))
    if len(places) != count:
        what = f"{count} place{'s' if count > 1 else ''} in plan cannot be read"
        expected = "(0, 0) (48 in, 0)" if count == 2 else "(0, 0)"
        report.add(what, entry.row, 0, value=entry.text, expected=expected, remedy="write each as x, y in brackets")
        return []
    return places


def _in_plan(readings: pd.DataFrame, quantity: str, frame: Frame) -> Floats:
    """Places [n, 2] mm in plan. Offsets go to the left of the string as it runs: away from who stands facing it."""
    one, other = (readings[name].to_numpy(dtype=np.float64) for name in COLUMNS[quantity])
    if quantity == "plan":
        return np.column_stack([one, other])
    if quantity == "radius":
        angle = np.radians(one)
        return np.column_stack([frame.centre[0] + other * np.cos(angle), frame.centre[1] + other * np.sin(angle)])
    direction = frame.direction
    normal = np.array([-direction[1], direction[0]])
    return np.asarray(np.array(frame.start) + one[:, None] * direction + other[:, None] * normal)


def _fit(xy: Floats, readings: pd.DataFrame, kind: str, header: Header, report: Report) -> CurveFit | None:
    try:
        if kind != "chain":
            return fit_curve(xy[:, 0], xy[:, 1], kind, accuracy=header.accuracy)
        lowest = (readings[UP] - readings[UP].min()).to_numpy() <= LEVEL_MM
        return fit_curve(xy[lowest, 0], xy[lowest, 1], "chain", accuracy=header.accuracy)
    except (MeasureError, ArgumentError) as error:
        entry = header.curved.get("curve")
        report.take(error.problems[0], entry.row if entry else 1, 0)
        report.stop_if_any()
    return None


def _spanned(curve: Curve, xy: Floats) -> Curve:
    """A fitted circle as the arc that the readings span, where they leave more than a quarter of it out."""
    if not isinstance(curve, Chain) or curve.kind != "arc":
        return curve
    cx, cy = curve.centre
    angle = np.sort(np.mod(np.arctan2(xy[:, 1] - cy, xy[:, 0] - cx), TURN))
    apart = np.diff(np.append(angle, angle[0] + TURN))
    k = int(apart.argmax())
    if apart[k] < TURN / 4:
        return curve
    first, last = np.degrees(angle[(k + 1) % len(angle)]), np.degrees(angle[k])
    return make_arc(radius=curve.radius, centre=curve.centre, first=float(first), last=float(last))


def _check_far(off: Floats, readings: pd.DataFrame, column: int, report: Report) -> None:
    far = np.flatnonzero(np.abs(off) > FARTHEST_MM)
    if len(far) > len(off) / 2:
        report.add(
            f"most readings stand more than {FARTHEST_MM:g} mm off the curve",
            int(readings["row"].iloc[far[0]]),
            column,
            expected="readings near the curve that the wall is meant to follow",
            remedy="check the unit, where the curve lies in the plan (`center`, `string`), and its sizes",
        )
        return
    for k in far:
        what, remedy = f"this reading stands {abs(off[k]):.0f} mm off the curve", "check the number and its unit"
        report.add(what, int(readings["row"].iloc[k]), column, expected=f"at most {FARTHEST_MM:g} mm", remedy=remedy)
