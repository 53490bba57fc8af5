"""``flatness room``: floor, ceiling and walls of a room on one datum: is it square, level, plumb, high enough."""

from __future__ import annotations

import argparse
import json
import re
from pathlib import Path
from textwrap import fill
from typing import Any

from flatness.commands.options import EXIT, add_json, make_folder, print_written, rows
from flatness.comparison.records import plain
from flatness.errors import FlatnessError, PlanError
from flatness.files import named
from flatness.job.room_reading import read_room
from flatness.planning.plan import save_plan
from flatness.room.records import Room
from flatness.room.set_out import diagonals
from flatness.room.targets import RoomTargets, room_targets
from flatness.room.ways import RoomWays, room_ways
from flatness.words.phrases import error_text


def add_room(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = "Exit code: 0 pass, or nothing is agreed, 1 fail, 3 undecided; 2 bad input."
    parser.set_defaults(run=run_room)
    parser.add_argument("file", nargs="?", help="room file, TOML; sample_surveys/gallery/room.toml is one")
    parser.add_argument("--keys", action="store_true", help="list what a room file may hold")
    parser.add_argument(
        "--out",
        metavar="DIR",
        help="choose the way for each surface, and write there: the sheet of the room, its owner's page, its crew "
        "sheet, its set-out tables and each surface's plan",
    )
    parser.add_argument("--paper", choices=("letter", "a4"), default="letter", help="size of the paper (letter)")
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
    # the way for each surface takes as long again as all the rest: it is for who wants the papers
    ways = room_ways(targets) if options.out and targets is not None else None
    told = None if options.json else room_report(room, targets, clash, ways)
    written = _files(room, targets, ways, Path(options.out), options.paper) if options.out else []
    if options.json:
        found = room_json(room, targets, clash, ways)
        print(json.dumps({**found, "written": [path.as_posix() for path in written]}, allow_nan=False))
    else:
        print(told)
        print_written(written)
    return EXIT[room.verdict]


def _files(room: Room, targets: RoomTargets | None, ways: RoomWays | None, folder: Path, paper: str) -> list[Path]:
    from flatness.charts.rooms import write_room
    from flatness.export.tables import write_set_out
    from flatness.papers.room import room_crew_sheet, room_owner_page

    make_folder(folder)
    written = write_room(room, targets, folder)
    stem = Path(room.source or "room").stem
    pages = {"owner": room_owner_page(room, targets, ways, paper=paper)}
    if targets is not None:
        written += write_set_out(targets, folder, ways)
        pages["crew"] = room_crew_sheet(targets, ways, paper=paper)
    for name, page in pages.items():
        written.append(page.write(named(folder, f"{stem}-{name}.pdf"), overwrite=True))
    for name, plan in (ways.plans if ways is not None else {}).items():
        tidy = re.sub(r"[^\w-]+", "-", name).strip("-").lower()[:60] or "surface"
        written.append(save_plan(plan, named(folder, f"{stem}-{tidy}-plan.json"), overwrite=True))
    return written


def room_json(
    room: Room, targets: RoomTargets | None = None, clash: str = "", ways: RoomWays | None = None
) -> dict[str, Any]:
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
        "widths": rows(room.widths),
        "targets": None
        if targets is None
        else {
            "options": dict(targets.options),
            "cost": plain(targets.cost),
            "surfaces": rows(targets.table),
            "binds": rows(targets.binds),
            "diagonals": rows(diagonals(targets)),
            "left": list(targets.left),
            "checks_when_done": rows(targets.finished.checks),
            "notes": list(targets.notes),
        },
        "clash": clash or None,
        "ways": None if ways is None else rows(ways.table),
        "surfaces": [
            {"name": one.name, "kind": one.kind, "room": one.room, "readings": len(one.survey.points)}
            for one in room.surfaces.values()
        ],
        "notes": list(room.notes),
    }


def keys_text() -> str:
    """What a room file may hold: its tables, their keys, what each takes and what it is for."""
    from flatness.commands.job import table_text
    from flatness.job import room_reading

    lines = [f"{name}: {', '.join(keys)}" if keys else name for name, keys in room_reading.OF_JOB.items()]
    of_job = "".join(f"\n{fill(one, 80, initial_indent='    ', subsequent_indent='        ')}" for one in lines)
    tables = [table_text("at the top", room_reading.ABOUT, "")]
    for name, (keys, told) in room_reading.SINGLE.items():
        tables.append(table_text(f"[{name}]", keys, told))
    for name, (keys, told) in room_reading.SEVERAL.items():
        shown = room_reading.PLACED if name == "surface" else keys
        tables.append(table_text(f"[[{name}]]", shown, told))
        if name == "surface":
            tables[-1] += f"\n  and of the keys of a job file, as `flatness job --keys` lists them:{of_job}"
    return "\n\n".join(tables)
