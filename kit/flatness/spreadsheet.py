"""Tables as CSV and XLSX: numbers as numbers, units in the headings, and nothing in a cell that runs.

A cell whose text begins with ``=``, ``+``, ``-`` or ``@`` would be a formula to a spreadsheet, so an apostrophe
goes before it.
"""

from __future__ import annotations

import csv
import io
import math
import os
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.properties import PageSetupProperties

from flatness.errors import check_choice
from flatness.files import drafted, write_new
from flatness.lengths import FRACTIONS, MM2_PER_FT2, MM2_PER_M2, MM3_PER_FT3, MM3_PER_LITRE, MM_PER

UNITS = ("mm", "in")
WORDS_WIDTH, WIDEST, NARROWEST = 100, 60, 9  # of columns [letters]
POUND_KG = 0.45359237
# ends of headings where inches are shown: what they become, and how many of the first make one of the other
INCHES = {
    "_mm_per_m": ("_in_per_10_ft", 1000 * float(MM_PER["in"]) / (10 * float(MM_PER["ft"]))),
    "_mm": ("_in", float(MM_PER["in"])),
    "_mm2": ("_ft2", MM2_PER_FT2),
    "_mm3": ("_ft3", MM3_PER_FT3),
    "_kg": ("_lb", POUND_KG),
}
# and in a workbook, which people read, where millimetres are shown
METRIC = {"_mm2": ("_m2", MM2_PER_M2), "_mm3": ("_litres", MM3_PER_LITRE)}
# units that stand in a column of their own beside their values, as people use them
SHOWN = {
    "in": {
        "mm": ("in", float(MM_PER["in"])),
        "mm2": ("sq ft", MM2_PER_FT2),
        "mm3": ("cu ft", MM3_PER_FT3),
        "kg": ("lb", POUND_KG),
        "Pa": ("lb per sq ft", POUND_KG * 9.80665 / (float(MM_PER["ft"]) / 1000) ** 2),
    },
    "mm": {"mm2": ("m2", MM2_PER_M2), "mm3": ("litres", MM3_PER_LITRE), "Pa": ("kN per m2", 1000.0)},
}
BESIDE_UNIT = (
    "value",
    "before",
    "after",
    "likely",
    "allowed",
    "before_likely",
    "after_likely",
    "as_read",
    "low",
    "high",
)
# decimals that a number in CSV keeps, by the end of its heading: none finer than anybody measures
DECIMALS = {"_mm": 3, "_in": 6, "_mm2": 0, "_mm3": 0, "_ft2": 4, "_ft3": 4}
DIGITS = 6  # of any other number


def check_unit(unit: str) -> None:
    """ArgumentError where tables cannot be written in this unit."""
    check_choice("unit", unit, UNITS)


def write_csv(path: str | os.PathLike[str], table: pd.DataFrame, unit: str = "mm", *, overwrite: bool = False) -> None:
    """Write a table as CSV (UTF-8).

    Parameters
    ----------
    path : where to
    table : columns of lengths end in ``_mm``
    unit : ``mm``, or ``in``, in which these columns end in ``_in``
    overwrite : replace a file that is there already

    Raises
    ------
    ArgumentError : an unknown unit, a file that is there already, or one that cannot be written
    """
    write_new(path, csv_bytes(table, unit), overwrite)


def csv_bytes(table: pd.DataFrame, unit: str = "mm") -> bytes:
    """The file that :func:`write_csv` writes."""
    shown = in_unit(table, unit)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(shown.columns)
    names = [str(name) for name in shown.columns]
    writer.writerows(
        [_cell(_short(name, value)) for name, value in zip(names, row, strict=True)]
        for row in shown.itertuples(index=False, name=None)
    )
    return out.getvalue().encode("utf-8")


def write_xlsx(
    path: str | os.PathLike[str],
    sheets: Mapping[str, pd.DataFrame],
    words: Sequence[str] = (),
    unit: str = "mm",
    *,
    overwrite: bool = False,
) -> None:
    """Write tables as a workbook, one sheet each, and ``words`` on a sheet called ``notes``.

    As :func:`write_csv`, with areas and volumes in m2 and litres where mm are shown; headings are frozen and can be
    filtered by, inches show as fractions, as fine as the readings among the tables were taken, and a sheet prints as
    wide as the paper.
    """
    write_new(path, workbook_bytes(sheets, words, unit), overwrite)


def workbook_bytes(
    sheets: Mapping[str, pd.DataFrame], words: Sequence[str] = (), unit: str = "mm", creator: str | None = None
) -> bytes:
    """The file that :func:`write_xlsx` writes; ``creator`` is stamped into it.

    Names in the first column of a sheet called ``contents`` lead to the sheets of these names.
    """
    read = (table[name] for table in sheets.values() for name in ("reading_mm",) if name in table)
    fraction = denominator(mm for column in read for mm in column)
    book = openpyxl.Workbook()
    book.remove(book.active)
    if creator is not None:
        book.properties.creator = creator
    for name, table in sheets.items():
        _fill(book.create_sheet(name), in_unit(table, unit, METRIC), unit, fraction)
    for cell in book["contents"]["A"][1:] if "contents" in sheets else ():
        cell.hyperlink = Hyperlink(cell.coordinate, location=f"'{cell.value}'!A1")
        cell.style = "Hyperlink"
    if words or not sheets:
        notes = book.create_sheet("notes")
        _print_setup(notes, unit)
        notes.column_dimensions["A"].width = WORDS_WIDTH
        for row, text in enumerate(words, 1):
            notes.cell(row, 1, _cell(text)).alignment = Alignment(wrap_text=True, vertical="top")
    out = io.BytesIO()
    with drafted("the workbook"):
        book.save(out)
    return out.getvalue()


def in_unit(table: pd.DataFrame, unit: str, metric: Mapping[str, tuple[str, float]] | None = None) -> pd.DataFrame:
    """The table in this unit, and its columns so named: lengths (``_mm``), areas, volumes, slopes and masses in feet,
    inches and pounds where inches are shown; values beside a column ``unit`` as people use them.

    ``metric`` : ends of headings where mm are shown, what they become, and how many of the first make one of the other

    >>> in_unit(pd.DataFrame({"raise_mm": [9.525]}), "in")["raise_in"].tolist()
    [0.375]
    """
    check_unit(unit)
    named: dict[str, str] = {}
    changed: dict[str, Any] = {}
    if "unit" in table:
        shown = [SHOWN[unit].get(str(own), (own, 1.0)) for own in table["unit"]]
        sizes = np.array([size for _, size in shown], dtype=np.float64)
        for name in BESIDE_UNIT:
            if name in table and pd.api.types.is_float_dtype(table[name]):
                changed[name] = (table[name] / sizes).round(9)
        changed["unit"] = [text for text, _ in shown]
    ends = INCHES if unit == "in" else metric or {}
    for name in map(str, table.columns):
        end = next((end for end in ends if name.endswith(end)), None)
        if end is not None:
            named[name] = name.removesuffix(end) + ends[end][0]
            # settled, so that 9.525 mm is 0.375 in and not a hair beside it
            changed[name] = (table[name].astype(float) / ends[end][1]).round(9)
    return table.assign(**changed).rename(columns=named) if changed else table


def denominator(lengths: Iterable[float]) -> int:
    """The coarsest part of an inch, an eighth to a 64th, on which all lengths [mm] stand; 16 where there is none.

    >>> denominator([1050.925, 1052.5125]), denominator([10.0, 11.3])
    (16, 16)
    """
    parts = np.array([mm for mm in lengths if math.isfinite(mm)]) / float(MM_PER["in"])
    off = (np.abs(parts * part - np.round(parts * part)).max(initial=0.0) for part in FRACTIONS)
    return next((part for part, most in zip(FRACTIONS, off, strict=True) if most < 1e-3), 16) if len(parts) else 16


def _fill(sheet: Any, table: pd.DataFrame, unit: str, fraction: int) -> None:
    lengths = f"# ??/{fraction}" if unit == "in" else "0.0"
    units = list(table["unit"]) if "unit" in table else [""] * len(table)
    for column, name in enumerate(table.columns, 1):
        words = _heading(str(name))
        heading = sheet.cell(1, column, words)
        heading.font = Font(bold=True)
        heading.alignment = Alignment(wrap_text=True, vertical="top")
        widest = max(NARROWEST, *(len(word) + 3 for word in words.split()))
        for row, value in enumerate(table[name], 2):
            cell = sheet.cell(row, column, _cell(value))
            if str(name).endswith(f"_{unit}") or (str(name) in BESIDE_UNIT and units[row - 2] == unit):
                cell.number_format = lengths
            elif isinstance(cell.value, float):
                cell.number_format = "0.00"
            if isinstance(cell.value, str):
                widest = max(widest, min(WIDEST, len(cell.value) + 2))
                cell.alignment = Alignment(wrap_text=len(cell.value) + 2 > WIDEST, vertical="top")
        sheet.column_dimensions[get_column_letter(column)].width = widest
    sheet.freeze_panes = "B2"
    sheet.auto_filter.ref = sheet.dimensions
    _print_setup(sheet, unit)


def _print_setup(sheet: Any, unit: str) -> None:
    """On its long side, as wide as the paper, with the headings on every page."""
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_LETTER if unit == "in" else sheet.PAPERSIZE_A4
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    sheet.print_title_rows = "1:1"
    sheet.oddFooter.left.text, sheet.oddFooter.right.text = "&A", "page &P of &N"


def _heading(name: str) -> str:
    """``raise_first_mm`` as ``raise first [mm]``; ``slope_mm_per_m`` as ``slope [mm per m]``."""
    ends = (*INCHES, *(shown for shown, _ in (*INCHES.values(), *METRIC.values())))
    for unit in ends:
        if name.endswith(unit) and name != unit[1:]:
            return f"{name.removesuffix(unit).replace('_', ' ')} [{unit[1:].replace('_', ' ')}]"
    return name.replace("_", " ")


def _short(name: str, value: Any) -> Any:
    """A number without digits that mean nothing: ``812901.6000000001`` of mm2 is ``812902``."""
    if not isinstance(value, (float, np.floating)) or not np.isfinite(value):
        return value
    decimals = next((count for end, count in DECIMALS.items() if name.endswith(end)), None)
    short = round(float(f"{value:.{DIGITS}g}"), DIGITS) if decimals is None else round(float(value), decimals)
    # minus nothing is nothing, and a whole number needs no point
    return int(short) if decimals == 0 else short + 0.0


def _cell(value: Any) -> Any:
    """The value as a spreadsheet takes it: numbers typed, blanks empty, text that cannot run."""
    if isinstance(value, str):
        text = ILLEGAL_CHARACTERS_RE.sub(" ", value)
        return f"'{text}" if text.lstrip()[:1] in ("=", "+", "-", "@") else text
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if value is None or value is pd.NA or value != value:
        return None
    if isinstance(value, np.generic):
        return value.item()
    return value
