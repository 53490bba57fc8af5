"""Tables as CSV and XLSX: numbers as numbers, units in the headings, and nothing in a cell that runs.

A cell whose text begins with ``=``, ``+``, ``-`` or ``@`` would be a formula to a spreadsheet, so an apostrophe
goes before it.
"""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import openpyxl
import pandas as pd
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from flatness.errors import ArgumentError
from flatness.lengths import MM_PER
from flatness.survey.saving import write_new

UNITS = ("mm", "in")
# inches as the tape reads them: a typed number, shown to the nearest 1/16
NUMBER_FORMATS = {"mm": "0.0", "in": "# ??/16"}
WORDS_WIDTH = 100
# decimals that a number in CSV keeps, by the end of its heading: none finer than anybody measures
DECIMALS = {"_mm": 3, "_in": 6, "_mm2": 0, "_mm3": 0, "_ft2": 4, "_ft3": 4}
DIGITS = 6  # of any other number


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
    shown = in_unit(table, unit)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(shown.columns)
    names = [str(name) for name in shown.columns]
    writer.writerows(
        [_cell(_short(name, value)) for name, value in zip(names, row, strict=True)]
        for row in shown.itertuples(index=False, name=None)
    )
    write_new(path, out.getvalue().encode("utf-8"), overwrite)


def write_xlsx(
    path: str | os.PathLike[str], sheets: Mapping[str, pd.DataFrame], words: Sequence[str] = (), unit: str = "mm",
    *, overwrite: bool = False,
) -> None:  # fmt: skip
    """Write tables as a workbook, one sheet each, and ``words`` on a sheet called ``notes``.

    As :func:`write_csv`; the headings are frozen, and inches show as fractions of a sixteenth.
    """
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, table in sheets.items():
        _fill(book.create_sheet(name), in_unit(table, unit), unit)
    if words or not sheets:
        notes = book.create_sheet("notes")
        notes.column_dimensions["A"].width = WORDS_WIDTH
        for row, text in enumerate(words, 1):
            notes.cell(row, 1, _cell(text)).alignment = Alignment(wrap_text=True, vertical="top")
    out = io.BytesIO()
    book.save(out)
    write_new(path, out.getvalue(), overwrite)


def in_unit(table: pd.DataFrame, unit: str) -> pd.DataFrame:
    """The table with its columns of lengths (``_mm``) in this unit, and so named.

    >>> in_unit(pd.DataFrame({"raise_mm": [9.525]}), "in")["raise_in"].tolist()
    [0.375]
    """
    if unit not in UNITS:
        raise ArgumentError("unknown unit", column="unit", value=str(unit), expected=" or ".join(UNITS))
    if unit == "mm":
        return table
    lengths = {name: f"{name.removesuffix('_mm')}_{unit}" for name in table.columns if name.endswith("_mm")}
    # settled, so that 9.525 mm is 0.375 in and not a hair beside it
    converted = {name: (table[name].astype(float) / float(MM_PER[unit])).round(9) for name in lengths}
    return table.assign(**converted).rename(columns=lengths)


def _fill(sheet: Any, table: pd.DataFrame, unit: str) -> None:
    for column, name in enumerate(table.columns, 1):
        heading = sheet.cell(1, column, _heading(str(name)))
        heading.font = Font(bold=True)
        heading.alignment = Alignment(wrap_text=True, vertical="top")
        widest = 10
        for row, value in enumerate(table[name], 2):
            cell = sheet.cell(row, column, _cell(value))
            if str(name).endswith(f"_{unit}"):
                cell.number_format = NUMBER_FORMATS[unit]
            elif isinstance(cell.value, float):
                cell.number_format = "0.00"
            if isinstance(cell.value, str):
                widest = max(widest, min(60, len(cell.value) + 2))
        sheet.column_dimensions[get_column_letter(column)].width = widest
    sheet.freeze_panes = "B2"


def _heading(name: str) -> str:
    """``raise_first_mm`` as ``raise first [mm]``; ``slope_mm_per_m`` as ``slope [mm per m]``."""
    words = name.split("_")
    for unit in ("mm per m", "mm2", "mm3", "mm", "in"):
        tail = unit.split()
        if len(words) > len(tail) and words[-len(tail) :] == tail:
            return f"{' '.join(words[: -len(tail)])} [{unit}]"
    return " ".join(words)


def _short(name: str, value: Any) -> Any:
    """A number without digits that mean nothing: ``812901.6000000001`` of mm2 is ``812902``."""
    if not isinstance(value, (float, np.floating)) or not np.isfinite(value):
        return value
    decimals = next((count for end, count in DECIMALS.items() if name.endswith(end)), None)
    short = float(f"{value:.{DIGITS}g}") if decimals is None else round(float(value), decimals)
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
