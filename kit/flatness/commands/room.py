"""``flatness room``: floor, ceiling and walls of a room on one datum: is it square, level, plumb, high enough."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from flatness.commands.options import EXIT, add_json, make_folder, print_written
from flatness.commands.plan_json import rows
from flatness.comparison.records import plain
from flatness.errors import FlatnessError, PlanError
from flatness.job.room_reading import read_room
from flatness.room.records import Room
from flatness.room.set_out import diagonals
from flatness.room.targets import RoomTargets, room_targets
from flatness.words.phrases import error_text


def add_room(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = "Exit code: 0 pass, or nothing is agreed, 1 fail, 3 undecided; 2 bad input."
    parser.set_defaults(run=run_room)
    parser.add_argument("file", nargs="?", help="room file, TOML; sample_surveys/gallery/room.toml is one")
    parser.add_argument("--keys", action="store_true", help="list what a room file may hold")
    parser.add_argument("--out", metavar="DIR", help="write the sheet of the room and its set-out tables there")
    add_json(parser)


def run_room(options: argparse.Namespace) -> int:
    """Check a room; the number is the exit code.

    Raises
    ------
    FlatnessError : a room that cannot be read as it is
    """
    from flatness.words.rooms import room_report

    if options.keys:
        print(keys_text())
        return 0
    if options.file is None:
        what, remedy = "no room file", "name it; or --keys, for what it holds"
        raise FlatnessError(what, expected="flatness room FILE", remedy=remedy)
    room = read_room(options.file)
    options.noted = room
    targets, clash = None, ""
    try:
        targets = room_targets(room)
    except PlanError as error:
        clash = error_text(error, room.show)
    told = None if options.json else room_report(room, targets, clash)
    written = _files(room, targets, Path(options.out)) if options.out else []
    if options.json:
        found = room_json(room, targets, clash)
        print(json.dumps({**found, "written": [path.as_posix() for path in written]}, allow_nan=False))
    else:
        print(told)
        print_written(written)
    return EXIT[room.verdict]


def _files(room: Room, targets: RoomTargets | None, folder: Path) -> list[Path]:
    from flatness.charts.room_sheet import write_room
    from flatness.export.room_tables import write_set_out

    make_folder(folder)
    written = write_room(room, targets, folder)
    return written if targets is None else written + write_set_out(targets, folder)


def room_json(room: Room, targets: RoomTargets | None = None, clash: str = "") -> dict[str, Any]:
    """What the command prints with ``--json``; lengths in mm."""
    clear = room.clear_heights
    return {
        "room": room.source,
        "title": room.title,
        "verdict": room.verdict,
        "checks": rows(room.checks),
        "clear_height": None
        if not clear
        else {
            "least_mm": float(room.clear_height.range[0]),
            "greatest_mm": float(room.clear_height.range[1]),
            "at_mm": list(room.clear_height.at),
        },
        "targets": None
        if targets is None
        else {
            "options": dict(targets.options),
            "cost": plain(targets.cost),
            "surfaces": rows(targets.table),
            "binds": rows(targets.binds),
            "diagonals": rows(diagonals(targets)),
            "notes": list(targets.notes),
        },
        "clash": clash or None,
        "surfaces": [
            {"name": one.name, "kind": one.kind, "room": one.room, "readings": len(one.survey.points)}
            for one in room.surfaces.values()
        ],
        "notes": list(room.notes),
    }


def keys_text() -> str:
    """What a room file may hold: its tables, their keys, what each takes and what it is for."""
    from flatness.commands.job import table_text
    from flatness.job import room_schema

    of_job = ", ".join(room_schema.OF_JOB)
    tables = [table_text("at the top", room_schema.ABOUT, "")]
    for name, (keys, told) in room_schema.SINGLE.items():
        tables.append(table_text(f"[{name}]", keys, told))
    for name, (keys, told) in room_schema.SEVERAL.items():
        shown = room_schema.PLACED if name == "surface" else keys
        tables.append(table_text(f"[[{name}]]", shown, told))
        if name == "surface":
            tables[-1] += f"\n  and the keys of a job file, as `flatness job --keys` lists them: {of_job}"
    return "\n\n".join(tables)
