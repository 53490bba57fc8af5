"""The look of a blank reading sheet, as delimited text and as a workbook to print or to type into."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import openpyxl
from numpy.typing import NDArray
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter

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


@dataclass(frozen=True, eq=False)
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
