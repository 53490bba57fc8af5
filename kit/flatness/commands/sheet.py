"""``flatness sheet``: before a survey, how wide a grid will do, and a blank sheet of it to fill in."""

from __future__ import annotations

import argparse
import json
import re
from pathlib import Path
from typing import Any

from shapely import box

from flatness.arrays import Floats
from flatness.commands.options import (
    Progress,
    add_fields,
    add_json,
    add_limits,
    check_new,
    limits_of,
    make_folder,
    new_report,
    print_written,
    read_fields,
    rows,
)
from flatness.files import named, written_together
from flatness.job.report import JobReport
from flatness.job.schema import ABOUT, Field, Keys
from flatness.job.values import Choice, Length, Number, Text, Type
from flatness.limits.kinds import SURFACES
from flatness.limits.planning import TARGET, ReadingPlan, plan_readings, usual_steps
from flatness.limits.spot_checks import READ_ALONG_MM
from flatness.survey.header import QUANTITIES, parse_framing
from flatness.survey.readings import Framing
from flatness.survey.sheets import blank_sheet, check_title, station_axes

SAME_STEP_MM = 0.01
METRIC = re.compile(r"\d\s*(?:mm|cm|m)\b|metre|meter", re.IGNORECASE)


class Layout(Type):
    """Members as the header of a survey has them: ``16 in along y from 0``."""

    def read(self, raw: Any, path: str, report: JobReport) -> Framing | None:
        return report.make(path, raw, parse_framing, raw, lambda part: Length().read(part, path, report))


_POSITIVE = Length(0, above=True)
OWN: Keys = {
    "length": Field(_POSITIVE, "of the surface along x, such as 20ft", needed=True),
    "width": Field(_POSITIVE, "of the surface along y, such as 16ft; of a wall its height", needed=True),
    "accuracy": Field(
        _POSITIVE, "of one reading, one standard deviation, such as 1/32in: how far a repeated one differs", needed=True
    ),
    "step": Field(_POSITIVE, "of the sheet's grid; the recommended one where not given"),
    "members": Field(Layout(), "joists or studs, such as '16in along y from 12in': every one is read, 4 ft apart"),
    "surface": Field(Choice(*SURFACES), "floor where not given"),
    "reading": Field(Choice(*QUANTITIES), "what will be read (drop)"),
    "unit": Field(Choice("in", "mm"), "of the sheet; as the length was given where not given"),
    "title": Field(Text(), "on the sheet, and in the names of its files"),
    "confidence": ABOUT["confidence"],
    "target": Field(Number(0, 1), f"chance of ending undecided that is good enough ({TARGET})"),
    "rooms": Field(Number(10, whole=True), "rooms made up for each grid (40)"),
    "seed": ABOUT["seed"],
}
DEFAULTS = {"surface": "floor", "reading": "drop", "title": "", "confidence": 0.95, "target": TARGET, "rooms": 40}


def add_sheet(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = "Exit code: 0 done, 2 bad input."
    parser.set_defaults(run=run_sheet)
    add_limits(parser)
    add_fields(parser, OWN)
    parser.add_argument("--out", metavar="DIR", default=".", help="where to write it; here where not given")
    parser.add_argument("--overwrite", action="store_true", help="replace sheets of this name")
    add_json(parser)


def run_sheet(options: argparse.Namespace) -> int:
    """Plan the readings and write the blank sheets; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    from flatness.words.checks import member_report, plan_report

    report = new_report(OWN)
    given = {key: value for key, value in read_fields(options, OWN, report).items() if value is not None}
    own = {"seed": 0, "step": None, "members": None, **DEFAULTS, **given}
    limits = limits_of(options, own["surface"], report, "to plan for")
    report.stop_if_any()
    length, width, step, surface, framing = (own[key] for key in ("length", "width", "step", "surface", "members"))
    unit = own.get("unit") or ("mm" if METRIC.search(options.length) else "in")
    files = _files(options, own["title"], surface)
    plan: ReadingPlan | None = None
    if framing is not None:
        # a line of stations on every member leaves nothing unseen between them
        step = step or (READ_ALONG_MM if unit == "in" else 1200.0)
        x, y = station_axes(length, width, step, framing)
        told = member_report(len(x) * len(y), step, framing, surface, unit)
    else:
        steps = usual_steps(length, width, limits, unit=unit, surface=surface)
        # 3 ft typed and 3 ft reckoned differ in the last digit
        step = next((usual for usual in steps if step is not None and abs(usual - step) < SAME_STEP_MM), step)
        line = Progress()
        plan = plan_readings(
            length,
            width,
            limits,
            own["accuracy"],
            steps=None if step is None else [*steps, step],
            unit=unit,
            rooms=own["rooms"],
            confidence=own["confidence"],
            target=own["target"],
            seed=own["seed"],
            surface=surface,
            progress=lambda number, most: line.say(f"trying grid {number} of {most} at most on made-up rooms"),
        )
        line.clear()
        step = step or plan.recommended or float(plan.grids["step_mm"].iloc[0])
        x, y = plan.positions(step)
        told = plan_report(plan, unit, step)
    make_folder(files[0].parent)
    with written_together():
        for path in files:
            blank_sheet(
                x,
                y,
                path,
                title=own["title"],
                unit=unit,
                reading=own["reading"],
                accuracy=own["accuracy"],
                outline=box(0, 0, length, width),
                surface=surface,
                overwrite=options.overwrite,
                framing=framing,
            )
    if options.json:
        print(json.dumps(_json(plan, step, x, y, files), allow_nan=False))
    else:
        print(f"{told}\n")
        print_written(files)
    return 0


def _files(options: argparse.Namespace, title: str, surface: str) -> list[Path]:
    """Where the sheets go, known before the plan is made, so that nobody waits for a name that is taken."""
    check_title(title)
    name = re.sub(r"[^\w-]+", "-", title).strip("-_") or f"{surface}-readings"
    files = [named(options.out, f"{name}{ending}") for ending in (".csv", ".xlsx")]
    for path in files:
        check_new(
            path,
            "--out",
            options.overwrite,
            "choose another --title or --out; or, if nobody has written readings into it, --overwrite",
        )
    return files


def _json(plan: ReadingPlan | None, step: float, x: Floats, y: Floats, files: list[Path]) -> dict[str, Any]:
    places = {"x_mm": x.tolist(), "y_mm": y.tolist()}
    written = [path.as_posix() for path in files]
    if plan is None:
        return {**places, "readings": len(x) * len(y), "written": written}
    return {
        "surface": plan.surface,
        "length_mm": plan.length,
        "width_mm": plan.width,
        "accuracy_mm": plan.accuracy,
        "limits": [limit.name for limit in plan.limits],
        "confidence": plan.confidence,
        "target": plan.target,
        "rooms": plan.rooms,
        "draws": plan.draws,
        "seed": plan.seed,
        "grids": rows(plan.grids),
        "recommended_step_mm": plan.recommended,
        "step_mm": step,
        **places,
        "notes": list(plan.notes),
        "written": written,
    }
