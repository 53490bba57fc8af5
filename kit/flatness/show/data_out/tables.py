"""The tables of a plan and of a comparison, as a workbook and as CSV: numbers typed, units in the headings."""

from __future__ import annotations

import io
import os
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd

from flatness.comparison.comparing import Comparison
from flatness.corrections.plan import Plan
from flatness.corrections.schedule import Schedule
from flatness.corrections.spreadsheet import write_csv, write_xlsx
from flatness.errors import ArgumentError
from flatness.lengths import MM2_PER_FT2, MM3_PER_FT3
from flatness.show.axes import SOFTWARE
from flatness.show.compared import ROWS
from flatness.show.papers.files import check_free, write_ours
from flatness.show.words import in_unit
from flatness.survey.readings import Survey

PARTS = {"error": "error", "random": "readings", "correlated": "between", "systematic": "datum"}
TOLD = ("note", "laps", "may_be_taken_down", "from", "measure")  # columns of sentences, with lengths in millimetres
LARGE = {"_mm2": ("_ft2", MM2_PER_FT2), "_mm3": ("_ft3", MM3_PER_FT3)}


def plan_tables(plan: Plan, schedule: Schedule | None = None) -> dict[str, pd.DataFrame]:
    """The tables of a plan by name: ``patches``, ``marks`` (heights to set), ``stations``, ``limits``, ``quantities``;
    ``members``, ``member stations``, ``shims`` and ``blocking`` of a schedule, where they have rows.

    ``stations`` has one row a reading: ``label``, ``x_mm``, ``y_mm``, ``height_mm`` (as found), ``correction_mm``
    (planned; empty beyond the plan's lattice) and ``target_mm`` (of the finished surface, which is as smooth as the
    plan and carries no error of a single reading).
    """
    tables = {}
    if schedule is not None:
        tables = {"members": schedule.members, "member stations": schedule.table}
        tables |= {"shims": schedule.shims, "blocking": schedule.blocking}
    points = plan.survey.points
    change, target = (plan.surface.at(points["x"], points["y"], values) for values in (plan.change, plan.target))
    tables["patches"] = plan.patches.drop(columns="outline", errors="ignore")
    tables["marks"] = plan.marks
    tables["stations"] = _points(plan.survey).assign(correction_mm=change, target_mm=target)
    tables["limits"] = plan.after
    tables["quantities"] = plan.quantities.table
    return {name: table for name, table in tables.items() if len(table)}


def comparison_tables(comparison: Comparison) -> dict[str, pd.DataFrame]:
    """The tables of a comparison by name: ``difference``, ``before``, ``after`` (the readings), ``amounts``,
    ``verdicts``, ``done``, where they have rows.

    ``difference`` has one row a node: ``x_mm``, ``y_mm``, ``before_mm``, ``after_mm``, ``difference_mm``,
    ``detection_95_percent_mm`` (at the confidence asked for), ``error_1sd_mm`` (of the size of a change) and
    ``changed``. ``1sd``: one standard deviation; of amounts its parts too, of the readings, of what lies between the
    stations, of the datum.
    """
    gx, gy = np.meshgrid(comparison.x, comparison.y)
    keep = np.isfinite(comparison.difference)
    columns = {
        "x_mm": gx, "y_mm": gy, "before_mm": comparison.before_heights, "after_mm": comparison.after_heights,
        "difference_mm": comparison.difference,
        f"detection_{100 * comparison.confidence:g}_percent_mm": comparison.detection,
        "error_1sd_mm": comparison.size_error, "changed": comparison.changed,
    }  # fmt: skip
    areas, volumes = (
        _one_sd(table.rename(index=ROWS)).reset_index(names="amount")
        for table in (comparison.areas, comparison.volumes)
    )  # fmt: skip
    tables = {
        "difference": pd.DataFrame({name: values[keep] for name, values in columns.items()}),
        "before": _points(comparison.surveys[0]),
        "after": _points(comparison.surveys[1]),
        "areas": areas,
        "volumes": volumes,
        "verdicts": comparison.verdicts,
        "done": _one_sd(comparison.plan) if comparison.plan is not None else pd.DataFrame(),
    }
    return {name: table for name, table in tables.items() if len(table)}


def _one_sd(table: pd.DataFrame) -> pd.DataFrame:
    """Errors with what they are in their headings: ``error_mm2`` as ``error_1sd_mm2``."""
    named = {}
    for name in map(str, table.columns):
        part, _, unit = name.rpartition("_")
        if part in PARTS:
            named[name] = f"{PARTS[part]}_1sd_{unit}"
    return table.rename(columns=named)


def _points(survey: Survey) -> pd.DataFrame:
    points = survey.points
    named = {"x": "x_mm", "y": "y_mm", "reading": "reading_mm", "height": "height_mm"}
    return points[["label", "setup", "line", "x", "y", "reading", "height"]].rename(columns=named)


def write_workbook(
    path: str | os.PathLike[str], tables: Mapping[str, pd.DataFrame], unit: str = "mm", words: Sequence[str] = (), *,
    overwrite: bool = False,
) -> Path:  # fmt: skip
    """Write tables as a workbook, one sheet each.

    Parameters
    ----------
    path : file that ends in ``.xlsx``
    tables : by name of the sheet; lengths in columns that end in ``_mm``, areas ``_mm2``, volumes ``_mm3``
    unit : ``mm``; or ``in``, with areas in ft2 and volumes in ft3
    words : what stands on a sheet of notes
    overwrite : replace an older file there, where the kit wrote it

    Raises
    ------
    ArgumentError : another suffix, no tables, a file that is there already, or one that cannot be written
    """
    target = Path(path)
    if target.suffix.lower() != ".xlsx" or not tables:
        what = "no tables to write" if not tables else "unknown kind of workbook"
        raise ArgumentError(what, value=target.name, expected="tables, and a name that ends in .xlsx")
    check_free(target, overwrite=overwrite)
    with tempfile.TemporaryDirectory() as folder:
        draft = Path(folder) / "draft.xlsx"
        large = {name: _large(table, unit, " [{}]") for name, table in tables.items()}
        write_xlsx(draft, large, [in_unit(text, unit) for text in words], unit)
        book = openpyxl.load_workbook(draft)
    book.properties.creator = SOFTWARE  # by which the kit knows its own file again
    out = io.BytesIO()
    book.save(out)
    return write_ours(target, out.getvalue(), overwrite=overwrite)


def write_table(
    path: str | os.PathLike[str], table: pd.DataFrame, unit: str = "mm", *, overwrite: bool = False
) -> Path:
    """Write one table as CSV; see :func:`write_workbook`. A file with the same headings counts as the kit's own."""
    with tempfile.TemporaryDirectory() as folder:
        draft = Path(folder) / "draft.csv"
        write_csv(draft, _large(table, unit, "_{}"), unit)
        data = draft.read_bytes()
    head = data[: data.index(b"\n") + 1]
    return write_ours(path, data, overwrite=overwrite, head=head)


def write_tables(
    folder: str | os.PathLike[str], stem: str, tables: Mapping[str, pd.DataFrame], unit: str = "mm", *,
    overwrite: bool = False,
) -> list[Path]:  # fmt: skip
    """Write tables as CSV files ``STEM-NAME.csv`` into a folder that is there, and say which; all names or none."""
    paths = {name: Path(folder) / f"{stem}-{name.replace(' ', '-')}.csv" for name in tables}
    for path in paths.values():
        check_free(path, overwrite=overwrite, head=b"")
    return [write_table(paths[name], table, unit, overwrite=overwrite) for name, table in tables.items()]


def in_words(table: pd.DataFrame, unit: str) -> pd.DataFrame:
    """The table with the lengths in its sentences as a tape reads them, where inches are shown."""
    told = {
        name: [in_unit(cell, unit) if isinstance(cell, str) else cell for cell in table[name]]
        for name in TOLD
        if name in table
    }
    return table.assign(**told)


def _large(table: pd.DataFrame, unit: str, form: str) -> pd.DataFrame:
    """Areas and volumes in feet where inches are shown; headings of a workbook have their unit in brackets."""
    if unit != "in":
        return table
    out = in_words(table, unit)
    for tail, (shown, size) in LARGE.items():
        for name in [str(name) for name in table.columns if str(name).endswith(tail)]:
            out[name] = table[name].astype(float) / size
            words = name.removesuffix(tail)
            words = words.replace("_", " ") if "[" in form else words
            out = out.rename(columns={name: words + form.format(shown[1:])})
    return out
