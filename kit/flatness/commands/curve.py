"""``flatness curve``: how far a wall is off its curve, and what to mark and cut to make the curve."""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pandas as pd

from flatness.commands.options import add_fields, add_json, make_folder, print_written, read_given, rows
from flatness.comparison.records import plain
from flatness.job.schema import Field, Keys
from flatness.job.values import Choice, Length, Number, Text

_POSITIVE = Length(0, above=True)
OWN: Keys = {
    "curve": Field(Text(), "instead of the file's own: 'arc radius 12 ft', 'ellipse length 20 ft, width 14 ft', ..."),
    "template": Field(_POSITIVE, "length along the curve of the template that is set on the wall (3 ft, 900 mm)"),
    "every": Field(_POSITIVE, "between offsets along the chord (6 in, 150 mm)"),
    "studs": Field(_POSITIVE, "at most so far apart along the curve (16 in, 400 mm)"),
    "parallel": Field(Length(0), "offset of a parallel curve, such as the face of a reveal"),
    "side": Field(Choice("inside", "outside"), "on which the parallel lies (inside, toward the center)"),
    "plate": Field(_POSITIVE, "depth of a plate to cut from sheets, such as 3-1/2in; none where not given"),
    "layers": Field(Number(1, 8, whole=True), "of the plate, joints staggered (2)"),
    "sheet_length": Field(_POSITIVE, "of the stock (8 ft, 2440 mm)"),
    "sheet_width": Field(_POSITIVE, "of the stock (4 ft, 1220 mm)"),
    "kerf": Field(Length(0), "between pieces on a sheet (1/4 in, 6 mm)"),
    "from": Field(Length(), "where the full-size drawing begins along the curve; the part that serves where not given"),
    "to": Field(Length(), "where it ends"),
    "paper": Field(Choice("letter", "a4"), "of the full-size drawing; as the unit where not given"),
    "unit": Field(Choice("in", "mm"), "to show lengths in; as the file has it where not given"),
}
DEFAULTS: dict[str, Any] = {"parallel": 0.0, "side": "inside", "layers": 2}
SIZES = {  # in inches and in millimetres shown [mm]
    "template": (914.4, 900.0),
    "every": (152.4, 150.0),
    "studs": (406.4, 400.0),
    "sheet_length": (2438.4, 2440.0),
    "sheet_width": (1219.2, 1220.0),
    "kerf": (6.35, 6.0),
}


def add_curve(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = (
        "FILE is a survey of a curved wall, or its # lines alone. To check the wall against a limit: flatness "
        "check FILE. Exit code: 0 done, 2 bad input."
    )
    parser.set_defaults(run=run_curve)
    parser.add_argument("file", help="survey of a curved wall, CSV or XLSX; or a file of # lines with # curve: alone")
    parser.add_argument("--sheet", metavar="NAME", help="sheet of a workbook, where more than one is not empty")
    add_fields(parser, OWN)
    parser.add_argument(
        "--out", metavar="DIR", help="write tables (CSV), drawing (DXF), full size (PDF), pictures (PNG)"
    )
    parser.add_argument("--overwrite", action="store_true", help="replace files of these names that the kit wrote")
    add_json(parser)


def run_curve(options: argparse.Namespace) -> int:
    """Set out a curve, compare a wall with it, and say or write what is wanted; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    from flatness.curves.setting_out import cut_plates, set_out
    from flatness.curves.walls import read_design
    from flatness.words.curves import CurveJob, report

    given = read_given(options, OWN)
    design = read_design(options.file, options.sheet, given.get("curve"))
    unit = given.get("unit") or ("in" if design.unit in ("in", "ft") else "mm")
    if design.wall is not None:
        options.noted = design.wall.survey
    own = DEFAULTS | {name: sizes[unit == "mm"] for name, sizes in SIZES.items()} | given
    offset = own["parallel"] * (1 if own["side"] == "inside" else -1)
    found = set_out(design.curve, own["every"], studs=own["studs"], parallel=offset)
    plates = None
    if "plate" in own:
        stock = (own["sheet_length"], own["sheet_width"])
        plates = cut_plates(design.curve, own["plate"], stock, layers=own["layers"], kerf=own["kerf"])
    job = CurveJob(set_out=found, wall=design.wall, plates=plates, template=own["template"], title=design.title)
    written = _write(job, options, own, unit) if options.out else []
    if options.json:
        print(json.dumps(_json(job, unit, written), allow_nan=False))
    else:
        print(f"{report(job, unit)}\n")
        print_written(written)
    return 0


def _write(job: Any, options: argparse.Namespace, own: dict[str, Any], unit: str) -> list[Path]:
    from flatness.charts.axes import save_chart
    from flatness.charts.curves import deviation_chart, set_out_chart, unrolled_chart
    from flatness.export.dxf import write_curve_dxf
    from flatness.export.tables import write_tables
    from flatness.files import check_free
    from flatness.papers.full_size import full_size, part_that_serves

    folder, stem = Path(options.out), Path(options.file).stem
    curve = job.set_out.curve
    charts: dict[str, Callable[[], Any]] = {"set-out": lambda: set_out_chart(job.set_out, unit)}
    if job.wall is not None:
        charts |= {"off-curve": lambda: deviation_chart(job, unit), "unrolled": lambda: unrolled_chart(job, unit)}
    pictures = {folder / f"{stem}-{name}.png": make for name, make in charts.items()}
    drawing, paper = folder / f"{stem}.dxf", folder / f"{stem}-full-size.pdf"
    make_folder(folder)
    for path in (drawing, paper, *pictures):
        check_free(path, overwrite=options.overwrite)
    first, last = part_that_serves(curve, job.template)
    sheets = full_size(
        job.set_out,
        own.get("from", first),
        own.get("to", last),
        own.get("paper") or ("letter" if unit == "in" else "a4"),
        unit,
        job.title or stem,
    )
    written = write_tables(folder, stem, tables(job), unit, overwrite=options.overwrite)
    written.append(write_curve_dxf(drawing, job.set_out, unit, job.plates, overwrite=options.overwrite))
    written.append(sheets.write(paper, overwrite=options.overwrite))
    written += [save_chart(make(), path) for path, make in pictures.items()]
    return written


def tables(job: Any) -> dict[str, pd.DataFrame]:
    """The tables of a curve by name, where they have rows."""
    found = job.set_out
    made = {"centers": found.centres}
    made |= {name: getattr(found, name) for name in ("joins", "pins", "offsets", "studs", "parallel")}
    if job.plates is not None:
        made["plates"] = job.plates.pieces
    if job.wall is not None:
        made |= {"wall": job.wall.points.drop(columns="cell"), "kinks": job.wall.kinks}
        if job.wall.survey.accuracy is not None:
            levels = {level: job.wall.fairness(level) for level in job.wall.levels()}
            parts = [table.assign(up_mm=level) for level, table in levels.items() if len(table)]
            made["fairness"] = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    return {name: table for name, table in made.items() if len(table)}


def _json(job: Any, unit: str, written: list[Path]) -> dict[str, Any]:
    from flatness.words.curves import answer, faults

    found, wall = job.set_out, job.wall
    made: dict[str, Any] = {
        "answer": answer(job, unit),
        "kind": found.curve.kind,
        "length_mm": found.length,
        "stud_spacing_mm": found.spacing,
        "chord_mm": math.dist(*found.chord),
        "rise_mm": found.rise,
        "pins_apart_mm": plain(found.pins_apart),
        "string_mm": plain(found.string),
        "loop_mm": plain(found.loop),
    }
    if wall is not None:
        made["kinks_and_flats"] = [one.full for one in faults(job, unit)]
        worst = wall.worst(job.template)
        made["template_mm"] = job.template
        made["gap_mm"] = worst[0].gap if worst else 0.0
        made["gap_at_mm"] = worst[0].at if worst else None
        made["gap_up_mm"] = worst[1] if worst else None
        made["contacts_mm"] = list(worst[0].contacts) if worst else None
        if wall.survey.accuracy is not None:
            made["gap_of_errors_mm"] = wall.gap_of_errors(job.template)
        if wall.fit is not None:
            made["read_again"] = wall.spoiling["cell"].tolist()
            made["fit"] = {
                "parameters": dict(wall.fit.parameters),
                "errors": plain(wall.fit.errors),
                "zone_mm": wall.fit.zone,
            }
    if job.plates is not None:
        made["sheets"], made["waste"] = job.plates.sheets, job.plates.waste
        made["joints_apart_mm"] = plain(job.plates.joint)
    made["tables"] = {name: rows(table) for name, table in tables(job).items()}
    return made | {"written": [path.as_posix() for path in written]}
