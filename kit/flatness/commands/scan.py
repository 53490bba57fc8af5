"""``flatness scan``: a scan of a room, to surveys of its floor, ceiling and walls, and a room file of them."""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

from flatness.commands.options import add_fields, add_json, check_new, make_folder, print_written, read_given
from flatness.job.schema import Field, Keys
from flatness.job.values import Choice, Length, Text

OWN: Keys = {
    "unit": Field(Choice("m", "cm", "mm", "ft", "in"), "of the numbers in the file, where it does not state it"),
    "cell": Field(Length(0, above=True), "width of a cell, which becomes one reading (6 in)"),
    "scan_error": Field(
        Length(0), "how far the scan may have a surface off the others, one standard deviation, for room.toml (1/32 in)"
    ),
    "title": Field(Text(), "what the room is called; as the file where not given"),
    "show": Field(Choice("in", "mm"), "unit to show lengths in (in where --unit is ft or in, else mm)"),
}
EVERY_S = 1.0  # between lines of progress


def add_scan(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = (
        "The scan is one room, z plumb. It is read once, however large it is. Written are, for each surface, a survey "
        "for flatness check and a table of its cells with the error of each, and room.toml for flatness room. LAS, LAZ "
        "and E57 need the optional extra scan. Exit code: 0 done, 2 bad input."
    )
    parser.set_defaults(run=run_scan)
    parser.add_argument("file", help="points: x y z text (.xyz, .txt, .csv, .asc, .pts), .ply, .las, .laz or .e57")
    add_fields(parser, OWN)
    parser.add_argument("--out", metavar="DIR", help="write the surveys, tables of cells and room.toml there")
    parser.add_argument("--overwrite", action="store_true", help="replace files of these names")
    add_json(parser)


def run_scan(options: argparse.Namespace) -> int:
    """Read a scan, and say or write what it shows; the number is the exit code.

    Raises
    ------
    FlatnessError : a scan that cannot be taken as it is
    """
    from flatness.scans.reading import read_scan
    from flatness.words.rooms import scan_report

    given = read_given(options, OWN)
    unit = given.get("show") or ("in" if given.get("unit") in ("ft", "in") else "mm")
    errors = {key: given.pop(key) for key in ("scan_error",) if key in given}
    if options.out:  # before a long file is read
        check_new(Path(options.out) / "room.toml", "--out", options.overwrite, "choose another folder, or --overwrite")
    scan = read_scan(options.file, progress=_Progress(), **{**given, "show": unit})
    written: list[Path] = []
    if options.out:
        make_folder(Path(options.out))
        written = scan.write(options.out, overwrite=options.overwrite, **errors)
    if options.json:
        print(json.dumps(scan_json(scan, written), allow_nan=False))
        return 0
    print(f"{scan_report(scan, unit)}\n")
    print_written(written)
    if written:
        print(f"Next: flatness room {written[-1]}; or flatness check {written[0]} --limit NAME.")
    else:
        print("Nothing is written: name a folder with --out DIR.")
    return 0


class _Progress:
    """Says on standard error how much of a file is read, once a second at most and at its end."""

    def __init__(self) -> None:
        self.started = self.told = time.monotonic()

    def __call__(self, share: float, points: int) -> None:
        now = time.monotonic()
        if share >= 1 or now - self.told >= EVERY_S:
            self.told = now
            text = f"read {share:4.0%}, {points:,} points, {now - self.started:.0f} s"
            print(text, end="\r" if sys.stderr.isatty() and share < 1 else "\n", file=sys.stderr, flush=True)


def scan_json(scan: Any, written: list[Path]) -> dict[str, Any]:
    """What the command prints with ``--json``; lengths in mm."""
    return {
        "scan": scan.source,
        "title": scan.title,
        "points": scan.points,
        "used": scan.used,
        "cell_mm": scan.cell,
        "size_mm": list(scan.size),
        "origin_mm": list(scan.origin),
        "angle_rad": scan.angle,
        "surfaces": [
            {
                "name": one.name,
                "kind": one.survey.surface,
                "readings": len(one.cells),
                "accuracy_mm": one.survey.accuracy,
                "noise_mm": one.noise,
                "openings": len(one.survey.openings),
                "hidden_mm2": one.hidden,
                "emptied": one.emptied,
                "datum_mm": one.datum,
                "line_mm": None if one.line is None else [list(place) for place in one.line],
            }
            for one in scan.surfaces.values()
        ],
        "notes": list(scan.notes),
        "written": [path.as_posix() for path in written],
    }
