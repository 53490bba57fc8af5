"""The set-out of a room as a workbook and as CSV: walls off their control lines, ceilings, trims, diagonals."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from flatness.export.tables import write_tables, write_workbook
from flatness.room.set_out import ceiling_lines, diagonals, trim_lines, wall_lines
from flatness.room.targets import RoomTargets
from flatness.room.ways import RoomWays


def set_out_tables(targets: RoomTargets, ways: RoomWays | None = None) -> dict[str, pd.DataFrame]:
    """The tables of a room's set-out by name: ``surfaces``, ``walls``, ``ceilings``, ``trims``, ``diagonals``,
    ``binds`` and ``ways``, where they have rows."""
    tables = {
        "surfaces": targets.table,
        "walls": wall_lines(targets),
        "ceilings": ceiling_lines(targets),
        "trims": trim_lines(targets.room),
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
