"""Blank reading sheets: a grid of tape positions with empty cells, that the reader takes straight back once filled.

A sheet holds no readings and no verdict. Text that a user gives stands in one cell, behind a ``#``, where no
spreadsheet takes it for a formula; and no file is overwritten unasked.

The look of a blank reading sheet, as delimited text and as a workbook to print or to type into.
"""

from __future__ import annotations

import io
import math
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import shapely
from numpy.typing import NDArray
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from shapely import Polygon

from flatness.arrays import Floats
from flatness.errors import ArgumentError, FlatnessError, check_above_zero, check_choice
from flatness.files import drafted, write_new
from flatness.lengths import MM_PER, format_length, settle
from flatness.survey.checks import INCH_MM
from flatness.survey.files import SurveyFileExistsError, read_survey
from flatness.survey.header import QUANTITIES
from flatness.survey.readings import REFERENCES, SURFACES, Framing

CORNER = "y\\x"
AXES = {
    "floor": "x along one wall, y along the wall at its left",
    "ceiling": "x along one wall, y along the other, so that x turns to y as in the plan",
    "wall": "x from the left as seen from the room, y up",
}
TYPED = {
    "height": "Heights off a datum, larger toward the room",
    "drop": "Distances from the instrument's line to the surface",
}
GREY, LIGHT = (PatternFill("solid", start_color=colour) for colour in ("D9D9D9", "F2F2F2"))
LINE = Side(style="thin", color="808080")


@dataclass(frozen=True, eq=False, kw_only=True)
class BlankSheet:
    """What stands on a blank sheet.

    Attributes
    ----------
    header : the ``#`` lines
    x, y : positions as text
    reached : [ny, nx] True where there is a surface to read
    unit : of readings that carry none
    reading : ``drop`` or ``height``
    surface : ``floor``, ``ceiling`` or ``wall``
    """

    header: tuple[str, ...]
    x: tuple[str, ...]
    y: tuple[str, ...]
    reached: NDArray[np.bool_]
    unit: str
    reading: str
    surface: str

    def text(self, filled: str = "") -> str:
        """The sheet as CSV text, its cells empty or all ``filled`` alike."""
        rows = [[line] for line in self.header]
        rows.append([CORNER, *self.x])
        rows += [[y, *(filled if here else "" for here in row)] for y, row in zip(self.y, self.reached, strict=True)]
        return "".join(",".join(map(_field, row)) + "\n" for row in rows)

    def workbook(self) -> bytes:
        """The sheet as the bytes of an XLSX workbook, ready to print."""
        book = openpyxl.Workbook()
        sheet = book.active
        sheet.title = "readings"
        for row, line in enumerate(self.header, 1):
            sheet.cell(row, 1, line).number_format = "@"
        top = len(self.header) + 1
        for place, text in self._positions(top):
            cell = sheet.cell(*place, text)
            cell.font, cell.fill = Font(bold=True), GREY
        edge = Border(left=LINE, right=LINE, top=LINE, bottom=LINE)
        for row in sheet.iter_rows(top, top + len(self.y), 1, 1 + len(self.x)):
            for cell in row:
                cell.number_format, cell.border = "@", edge
                cell.alignment = Alignment(horizontal="center", vertical="center")
        for iy, ix in np.argwhere(~self.reached):
            sheet.cell(top + 1 + int(iy), 2 + int(ix)).fill = LIGHT
        self._set_up(sheet, top)
        out = io.BytesIO()
        with drafted("the workbook"):
            book.save(out)
        return out.getvalue()

    def _positions(self, top: int) -> Iterator[tuple[tuple[int, int], str]]:
        yield (top, 1), CORNER
        yield from (((top, 2 + k), text) for k, text in enumerate(self.x))
        yield from (((top + 1 + k, 1), text) for k, text in enumerate(self.y))

    def _set_up(self, sheet: Any, top: int) -> None:
        """Widths, frozen positions, print on one page's width, and how to fill it in, where no reader looks."""
        wide = max(map(len, (CORNER, *self.x, *self.y))) + 2
        for column in range(1, len(self.x) + 2):
            sheet.column_dimensions[get_column_letter(column)].width = max(wide, 9)
        for row in range(top, top + len(self.y) + 1):
            sheet.row_dimensions[row].height = 21
        sheet.freeze_panes = sheet.cell(top + 1, 2)
        sheet.print_title_rows, sheet.print_title_cols = f"{top}:{top}", "A:A"
        sheet.page_setup.orientation = "landscape" if len(self.x) > len(self.y) else "portrait"
        sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
        how = self.how_to_fill()
        sheet.oddFooter.left.text, sheet.oddFooter.right.text = how[0], "Page &P of &N"
        note = Comment("\n".join(how), "flatness", height=160, width=360)
        sheet.cell(top, 1).comment = note

    def how_to_fill(self) -> tuple[str, ...]:
        """What whoever fills the sheet in must know, line by line."""
        example = "3/8 or 1 1/16" if self.unit in ("in", "ft") else f"12.5 {self.unit}"
        return (
            f"{TYPED[self.reading]}. Leave empty where none was taken.",
            f"Type each reading as the rule shows it, such as {example}; numbers alone are {self.unit}.",
            f"Positions from the corner: {AXES[self.surface]}.",
            "Shaded cells lie off the surface." if not self.reached.all() else "The last positions are the far walls.",
        )


def _field(text: str) -> str:
    # quoted, so that no spreadsheet splits a line into cells whose text could run
    return '"' + text.replace('"', '""') + '"' if any(mark in text for mark in ',;\t"') else text


MOST_STATIONS = 20_000
SHORTEST_LAST = 0.25  # of a step: where less is left at the far wall, the last whole step is lengthened instead
BESIDE_MM = 50.0  # a member so near a wall is read in its place
TAPE_MM = {"in": 25.4 / 16, "ft": 25.4 / 16}  # what positions are rounded to; 1 mm in metric units


def grid_positions(extent: float, step: float) -> Floats:
    """Positions [mm] of stations from one wall to the other.

    Whole steps from the first wall, the last station at the far wall. The last step is shorter than the others, or a
    little longer where less than a quarter of a step would be left.

    Parameters
    ----------
    extent : from wall to wall [mm]
    step : between stations [mm]

    Examples
    --------
    >>> grid_positions(3000, 800).tolist()
    [0.0, 800.0, 1600.0, 2400.0, 3000.0]
    >>> grid_positions(3300, 800).tolist()
    [0.0, 800.0, 1600.0, 2400.0, 3300.0]
    """
    check_above_zero(extent=extent, step=step)
    if extent / step > MOST_STATIONS:
        raise _too_many(f"{extent / step:.0f} along one wall")
    whole = max(0, math.floor(extent / step - SHORTEST_LAST + 1e-9))
    return np.append(np.arange(whole + 1) * float(step), float(extent))


def member_positions(extent: float, framing: Framing) -> Floats:
    """Positions [mm] of stations across members from one wall to the other: at the walls, and on every member.

    >>> member_positions(1500, Framing(400.0, "y", 200.0)).tolist()
    [0.0, 200.0, 600.0, 1000.0, 1400.0, 1500.0]
    """
    first = framing.first % framing.spacing
    found = np.arange(first, extent + 1e-6, framing.spacing)
    walls = [end for end in (0.0, float(extent)) if not len(found) or np.abs(found - end).min() > BESIDE_MM]
    return np.sort(np.append(found, walls))


def station_axes(length: float, width: float, step: float, framing: Framing | None = None) -> tuple[Floats, Floats]:
    """x and y [mm] of the stations of a sheet: on every member where a layout is stated, else every step [mm]."""
    x, y = (
        grid_positions(extent, step) if framing is None or framing.along == along else member_positions(extent, framing)
        for along, extent in (("x", length), ("y", width))
    )
    return x, y


def blank_sheet(
    x: Sequence[float] | Floats,
    y: Sequence[float] | Floats,
    path: str | os.PathLike[str],
    *,
    title: str = "",
    unit: str = "in",
    reading: str = "drop",
    accuracy: float | None = None,
    outline: Polygon | None = None,
    openings: Sequence[Polygon] = (),
    surface: str = "floor",
    reference: str | None = None,
    overwrite: bool = False,
    framing: Framing | None = None,
) -> None:
    """Write a blank reading sheet: positions along the first row and column, empty cells for the readings.

    Parameters
    ----------
    x, y : positions [mm], rising, two or more each; written to the nearest 1/16 in or 1 mm, as the outline's and the
        openings' corners are
    path : a ``.csv`` or ``.xlsx`` file. The cells of a workbook are formatted as Text, so that 3/8 stays 3/8
    title : on one line
    unit : of readings that will carry none: ``in``, ``ft``, ``mm``, ``cm`` or ``m``
    reading : ``drop`` from the instrument's line to the surface, or ``height`` off a datum
    accuracy : one standard deviation of one reading [mm]; None leaves it out
    outline, openings : of the surface [mm]; cells outside are shaded in the workbook, to be left empty
    surface : ``floor``, ``ceiling`` or ``wall``
    reference : ``level``, ``plumb`` or ``string``; None takes plumb for a wall and level otherwise
    overwrite : replace a file that is there already
    framing : the members beneath, whose layout the sheet then states

    Raises
    ------
    ArgumentError : a value out of range, or a sheet that would not read back
    SurveyFileExistsError : there is a file of this name
    """
    path = Path(path)
    if path.suffix.lower() not in (".csv", ".xlsx"):
        what = "a sheet is written as CSV or as XLSX"
        raise ArgumentError(what, value=path.name, expected="a name that ends in .csv or .xlsx", remedy="rename it")
    check_choice("unit", unit, MM_PER)
    check_choice("reading", reading, QUANTITIES)
    check_choice("surface", surface, SURFACES)
    usual = "plumb" if surface == "wall" else "level"
    check_choice("reference", reference or usual, tuple(name for name in REFERENCES if name in (usual, "string")))
    check_title(title)
    check_above_zero(accuracy=accuracy)
    xs, ys = (on_tape(name, values, unit) for name, values in (("x", x), ("y", y)))
    if len(xs) * len(ys) > MOST_STATIONS:
        raise _too_many(f"{len(xs)} x {len(ys)}")
    sheet = BlankSheet(
        header=header_lines(
            title=title,
            surface=surface,
            unit=unit,
            reading=reading,
            reference=reference or usual,
            accuracy=accuracy,
            framing=framing,
            outline=outline,
            openings=openings,
        ),
        x=tuple(_position(value, unit) for value in xs),
        y=tuple(_position(value, unit) for value in ys),
        reached=reached(xs, ys, outline, openings),
        unit=unit,
        reading=reading,
        surface=surface,
    )
    _make_sure(sheet, title, xs, ys)
    data = sheet.text().encode("utf-8-sig") if path.suffix.lower() == ".csv" else sheet.workbook()
    write_new(
        path,
        data,
        overwrite,
        exists=SurveyFileExistsError,
        remedy="choose another name, or say that it is to be overwritten",
    )


def header_lines(
    *,
    title: str,
    surface: str,
    unit: str,
    reading: str,
    reference: str,
    accuracy: float | None,
    framing: Framing | None,
    outline: Polygon | None,
    openings: Sequence[Polygon],
    date: str = "",
) -> tuple[str, ...]:
    """The ``#`` lines of a sheet or a list, lengths [mm] to the nearest 1/16 in or 1 mm as on a tape."""
    entries = [
        ("title", title),
        ("date", date),
        ("surface", surface),
        ("unit", unit),
        ("reading", reading),
        ("reference", reference),
    ]
    entries += [("accuracy", _exact(accuracy, unit))] if accuracy is not None else []
    if framing is not None:
        spacing, first = (_exact(value, unit) for value in (framing.spacing, framing.first))
        entries.append(("members", f"{spacing} along {framing.along} from {first}"))
    entries += [("outline", corners(outline, unit))] if outline is not None else []
    entries += [("opening", corners(opening, unit)) for opening in openings]
    return tuple(f"# {key}: {value}".rstrip() for key, value in entries if value or key == "date")


def check_title(title: str) -> None:
    """Raise ArgumentError where a title cannot stand on a sheet."""
    if title != title.strip() or not title.isprintable():
        what, expected = "the title cannot stand in one line", "a text on one line, without spaces at its ends"
        raise ArgumentError(what, column="title", value=title, expected=expected, remedy="change it")


def _too_many(value: str) -> ArgumentError:
    what, remedy = "more stations than a sheet takes", "choose a wider step, or a sheet for each part of the surface"
    return ArgumentError(what, value=value, expected=f"at most {MOST_STATIONS}", remedy=remedy)


def _rounded(mm: float, unit: str) -> float:
    tape = TAPE_MM.get(unit, 1.0)
    return settle(math.floor(settle(mm) / tape + 0.5) * tape)


def on_tape(name: str, values: Sequence[float] | Floats, unit: str) -> Floats:
    """Positions [n] mm as a tape shows them; ArgumentError where they do not rise by what it shows."""
    exact = np.asarray(values, dtype=np.float64)
    if exact.ndim != 1 or len(exact) < 2 or not np.isfinite(exact).all():
        raise ArgumentError("not positions", column=name, value=str(values), expected="two or more, finite, in mm")
    rounded = np.array([_rounded(value, unit) for value in exact])
    if np.diff(rounded).min() <= 0:
        expected = "each beyond the one before, by what a tape shows"
        raise ArgumentError("positions that do not rise", column=name, value=str(exact.tolist()), expected=expected)
    return rounded


def _position(mm: float, unit: str) -> str:
    """A position as a tape reads it; without its unit where it is the sheet's own."""
    if unit in TAPE_MM:
        return format_length(mm, "ft", 16)
    return format(settle(mm / float(MM_PER[unit])), ".6g")


def _exact(mm: float, unit: str) -> str:
    """A length of the header, exact; in words that need no inch mark."""
    if unit in TAPE_MM and settle(mm / 25.4 * 64) == round(mm / 25.4 * 64):
        return f"{format_length(mm, 'in', 64)[:-1]} in"
    return f"{settle(mm)!r} mm".replace(".0 mm", " mm")


def corners(area: Polygon, unit: str) -> str:
    """The corners of an area as a header has them."""
    places = list(area.exterior.coords)[:-1]
    return " ".join(f"({_exact(_rounded(x, unit), unit)}, {_exact(_rounded(y, unit), unit)})" for x, y in places)


def reached(x: Floats, y: Floats, outline: Polygon | None, openings: Sequence[Polygon]) -> NDArray[np.bool_]:
    """[ny, nx] whether stations at x [nx] and y [ny] mm stand on the surface."""
    gx, gy = np.meshgrid(x, y)
    inside = np.ones(gx.shape, dtype=bool)
    if outline is not None:
        # as the reader does: a station by the edge is on the surface
        inside &= shapely.contains_xy(outline.buffer(INCH_MM), gx, gy)
    for opening in openings:
        inside &= ~shapely.contains_xy(opening, gx, gy)
    return inside


def _make_sure(sheet: BlankSheet, title: str, x: Floats, y: Floats) -> None:
    """The sheet reads back, once filled, with its title and its positions; else an error, before it is written."""
    try:
        again = read_survey(sheet.text("1").encode("utf-8-sig"), name="sheet.csv")
    except FlatnessError as error:
        first = error.problems[0]
        what = f"the sheet would not read back: {first.what}"
        raise ArgumentError(what, value=first.value, expected=first.expected, remedy=first.remedy) from error
    gx, gy = np.meshgrid(x, y)
    found = again.points[["x", "y"]].to_numpy()
    expected = np.column_stack([gx[sheet.reached], gy[sheet.reached]])
    if again.title != title or found.shape != expected.shape or np.abs(found - expected).max() > 1e-3:
        raise ArgumentError("the sheet would not read back the same", value=title, remedy="change the title")
