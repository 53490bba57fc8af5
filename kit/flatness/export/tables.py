"""The tables of a plan, of a comparison and of a room, as a workbook and as CSV: numbers typed, units in the headings.

Points to set out: label, place, the height of the finished surface there, and the correction.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pandas as pd

from flatness.comparison.comparing import Comparison
from flatness.errors import ArgumentError
from flatness.files import SOFTWARE, check_free, named, write_ours, written_together
from flatness.framing.schedule import Schedule
from flatness.papers.sheet import one_line
from flatness.planning.plan import Plan
from flatness.room.set_out import ceiling_lines, diagonals, trim_lines, wall_lines
from flatness.room.targets import RoomTargets
from flatness.room.ways import RoomWays
from flatness.spreadsheet import check_unit, csv_bytes, workbook_bytes
from flatness.survey.readings import Survey
from flatness.words.comparisons import ROWS
from flatness.words.phrases import say

PARTS = {"error": "error", "random": "readings", "correlated": "between", "systematic": "datum"}
# who reads a sheet, and what stands on it
READERS = {
    "marks": ("crew", "heights to set, place by place"),
    "patches": ("crew", "places to work on, in the order of the work"),
    "members": ("crew", "what each joist, stud or strap is set to"),
    "member stations": ("crew", "the same, station by station"),
    "shims": ("crew", "shims behind each strap"),
    "blocking": ("crew", "blocking between members"),
    "quantities": ("buyer", "what to order, and what each number rests on"),
    "limits": ("owner", "each limit as found and when the work is done as drawn"),
    "verdicts": ("owner", "each limit before and after the work"),
    "done": ("checker", "done against planned, place by place"),
    "areas": ("checker", "ground that changed, with its error"),
    "volumes": ("checker", "what was taken off and added, with its error"),
    "stations": ("surveyor", "each reading, and what the plan sets there"),
    "before": ("surveyor", "the readings before the work"),
    "after": ("surveyor", "the readings after the work"),
    "difference": ("surveyor", "after less before, every few inches"),
}
TOLD = ("note", "laps", "may_be_taken_down", "from", "measure")  # columns of sentences, with lengths in millimetres


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


def plan_words(plan: Plan, schedule: Schedule | None = None) -> list[str]:
    """Notes and cautions of a plan and its schedule, each once, for a workbook's sheet of notes."""
    spoken: list[Plan | Schedule] = [plan] if schedule is None else [plan, schedule]
    cautions = {one.key: one for part in spoken for one in part.cautions}
    notes = dict.fromkeys(note for part in spoken for note in part.notes)
    return [*notes, *(f"{one.text} ({one.source})" for one in cautions.values())]


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
        "x_mm": gx,
        "y_mm": gy,
        "before_mm": comparison.before_heights,
        "after_mm": comparison.after_heights,
        "difference_mm": comparison.difference,
        f"detection_{100 * comparison.confidence:g}_percent_mm": comparison.detection,
        "error_1sd_mm": comparison.size_error,
        "changed": comparison.changed,
    }
    areas, volumes = (
        _one_sd(table.rename(index=ROWS)).reset_index(names="amount")
        for table in (comparison.areas, comparison.volumes)
    )
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
    path: str | os.PathLike[str],
    tables: Mapping[str, pd.DataFrame],
    unit: str = "mm",
    words: Sequence[str] = (),
    *,
    overwrite: bool = False,
) -> Path:
    """Write tables as a workbook, one sheet each, those for the crew first; the last one says who reads which.

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
    check_unit(unit)
    check_free(target, overwrite=overwrite)
    known = [name for name in READERS if name in tables]
    rows = [(name, *READERS[name], len(tables[name])) for name in known]
    ordered = {name: in_words(tables[name], unit) for name in dict.fromkeys([*known, *tables])}
    contents = {"contents": pd.DataFrame(rows, columns=["sheet", "for", "what", "rows"])} if known else {}
    # by its creator the kit knows its own file again
    data = workbook_bytes(ordered | contents, [say(text, unit) for text in words], unit, creator=SOFTWARE)
    return write_ours(target, data, overwrite=overwrite)


def write_table(
    path: str | os.PathLike[str], table: pd.DataFrame, unit: str = "mm", *, overwrite: bool = False
) -> Path:
    """Write one table as CSV; see :func:`write_workbook`. A file with the same headings counts as the kit's own."""
    data = csv_bytes(in_words(table, unit), unit)
    head = data[: data.index(b"\n") + 1]
    return write_ours(path, data, overwrite=overwrite, head=head)


def write_tables(
    folder: str | os.PathLike[str],
    stem: str,
    tables: Mapping[str, pd.DataFrame],
    unit: str = "mm",
    *,
    overwrite: bool = False,
) -> list[Path]:
    """Write tables as CSV files ``STEM-NAME.csv`` into a folder that is there, and say which; all names or none."""
    paths = {name: named(folder, f"{stem}-{name.replace(' ', '-')}.csv") for name in tables}
    for path in paths.values():
        check_free(path, overwrite=overwrite, head=b"")
    with written_together():
        return [write_table(paths[name], table, unit, overwrite=overwrite) for name, table in tables.items()]


def in_words(table: pd.DataFrame, unit: str) -> pd.DataFrame:
    """The table with the lengths in its sentences as a tape reads them, where inches are shown."""
    worded = {
        name: [say(cell, unit) if isinstance(cell, str) else cell for cell in table[name]]
        for name in TOLD
        if name in table
    }
    return table.assign(**worded)


COLUMNS = ("label", "x_mm", "y_mm", "height_mm", "correction_mm")


def setout_points(plan: Plan) -> pd.DataFrame:
    """What to set out at the stations of the survey, as they were read.

    Parameters
    ----------
    plan : the plan

    Returns
    -------
    DataFrame, one row a point: ``label`` (unique: the station's own where it has one, else ST1, ST2...), ``x_mm``,
        ``y_mm``, ``height_mm`` (of the finished surface, off the survey's datum: the plan's, which carries no error of
        a single reading), ``correction_mm`` (that minus the surface that was planned on, adding positive). Stations
        that the plan does not reach have neither
    """
    x, y, _, _ = plan.survey.stations()
    points = plan.survey.points
    # a station read twice has the label of its first reading
    first = {(a, b): label for a, b, label in zip(*(points[name][::-1] for name in ("x", "y", "label")), strict=True)}
    own = [one_line(str(first.get((a, b), ""))) for a, b in zip(x, y, strict=True)]
    counts = {label: own.count(label) for label in own}
    taken = {*own, *map(str, points["setup"])}
    labels, number = [], 0
    for label in own:
        if not label or counts[label] > 1:
            number += 1
            while f"ST{number}" in taken:
                number += 1
            label = f"ST{number}"
        labels.append(label)
    change, target = (plan.surface.at(x, y, values) for values in (plan.change, plan.target))
    values = (labels, x, y, target, change)
    return pd.DataFrame(dict(zip(COLUMNS, values, strict=True)))


def write_setout(path: str | os.PathLike[str], plan: Plan, unit: str = "mm", *, overwrite: bool = False) -> Path:
    """Write the points as CSV: ``label``, ``x``, ``y``, ``height``, ``correction`` with their unit in the heading.

    Parameters
    ----------
    path : where to
    plan : as for :func:`setout_points`
    unit : ``mm`` or ``in``
    overwrite : replace an older file there, where the kit wrote it
    """
    return write_table(path, setout_points(plan), unit, overwrite=overwrite)


def set_out_tables(targets: RoomTargets, ways: RoomWays | None = None) -> dict[str, pd.DataFrame]:
    """The tables of a room's set-out by name: ``surfaces``, ``walls``, ``ceilings``, ``trims``, ``diagonals``,
    ``binds`` and ``ways``, where they have rows."""
    tables = {
        "surfaces": targets.table,
        "walls": wall_lines(targets),
        "ceilings": ceiling_lines(targets),
        "trims": trim_lines(targets.finished),
        "diagonals": diagonals(targets),
        "binds": targets.binds,
        **({} if ways is None else {"ways": ways.table}),
    }
    return {name: table for name, table in tables.items() if len(table)}


def write_set_out(targets: RoomTargets, folder: Path, ways: RoomWays | None = None) -> list[Path]:
    """Write the set-out of a room into a folder that is there, and say which files: a workbook, and a CSV a table."""
    room, tables = targets.room, set_out_tables(targets, ways)
    stem = f"{Path(room.source or 'room').stem}-set-out"
    book = write_workbook(folder / f"{stem}.xlsx", tables, room.show, targets.notes, overwrite=True)
    return [book, *write_tables(folder, stem, tables, room.show, overwrite=True)]
