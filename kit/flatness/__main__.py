"""The command line, thin over the public names.

Exit codes: 0 pass, 1 fail, 3 undecided, 2 bad input.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

import flatness
from flatness.commands.compare import add_compare
from flatness.commands.job import add_job
from flatness.commands.options import (
    BAD_INPUT,
    EXIT,
    add_json,
    add_limits,
    checks_json,
    note_unit,
    plain,
    told_in_unit,
    wanted_limits,
    with_unit,
)
from flatness.commands.paper import add_paper
from flatness.commands.plan import add_plan
from flatness.commands.present import add_present
from flatness.commands.sheet import add_sheet
from flatness.commands.spots import add_spots
from flatness.errors import FlatnessError
from flatness.limits.spot_checks import Checks, SpotCheck
from flatness.limits.spot_sheet import read_spots
from flatness.limits.verdict import Assessment, Judged, assess
from flatness.survey.readings import Survey

BROKEN_PIPE = 141  # as a shell shows it


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; the number it returns is the exit code."""
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except FlatnessError as error:
        print(told_in_unit(error, options), file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:  # the reader of the output, such as head, has had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return BROKEN_PIPE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="flatness",
        description="How flat, level and plumb a floor, wall or ceiling is, and whether that is enough.",
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    check = commands.add_parser(
        "check", help="hold a survey against limits: verdict, worst place, pictures",
        epilog="Exit code: 0 pass, 1 fail, 3 undecided, 2 bad input.",
    )  # fmt: skip
    check.set_defaults(run=_check)
    check.add_argument("file", help="survey file, CSV or XLSX")
    check.add_argument("--sheet", help="sheet of a workbook with several")
    add_limits(check)
    check.add_argument("--unit", choices=("in", "mm"), help="unit to show; the survey's own where not given")
    check.add_argument("--headings", type=int, default=12, metavar="N", help="directions of the straightedge (12)")
    check.add_argument("--confidence", type=float, default=0.95, metavar="C", help="of the verdict (0.95)")
    check.add_argument("--draws", type=int, default=200, metavar="N", help="surfaces drawn (200); 0 compares as read")
    check.add_argument("--seed", type=int, default=0, metavar="N", help="of the draws (0)")
    check.add_argument(
        "--more", type=int, metavar="N",
        help="where the verdict is undecided, in how many places to read more (6 to 24, as it takes); 0 for none",
    )  # fmt: skip
    check.add_argument(
        "--spot-check", action="append", default=[], metavar="FILE",
        help="what a bar showed between the stations: the list of `flatness spots`, filled in; or its length, the "
        "largest gap and in how many places it was set, such as '2ft 1/32in 5'",
    )  # fmt: skip
    check.add_argument("--out", metavar="DIR", help="write maps of height, gap and chance, and a profile, there")
    add_json(check)
    add_plan(commands)
    add_compare(commands)
    add_sheet(commands)
    add_spots(commands)
    add_job(commands)
    add_paper(commands)
    add_present(commands)
    limits = commands.add_parser("limits", help="list the published limits")
    limits.set_defaults(run=_limits)
    limits.add_argument("word", nargs="?", help="only those whose name, purpose, source or notes have it")
    add_json(limits)
    return parser


def _check(options: argparse.Namespace) -> int:
    from flatness.show import check_words, words

    survey = flatness.read_survey(options.file, sheet=options.sheet)
    note_unit(options, survey)
    limits = wanted_limits(options)
    if options.more is not None and options.more < 0:
        raise FlatnessError("--more out of range", value=str(options.more), expected="a whole number from 0")
    checks = _spot_checks(options)
    found = assess(
        survey, limits, headings=options.headings, draws=options.draws, seed=options.seed,
        confidence=options.confidence, spot_checks=checks,
    )  # fmt: skip
    unit = words.shown_unit(survey, options.unit)
    pictures, sheet = [], None
    more = check_words.where_to_read(found, options.more)
    if options.out:
        folder, stem = Path(options.out), Path(options.file).stem
        pictures = _pictures(found, folder, stem, unit, options.more)
        sheet = _more_sheet(survey, more, folder / f"{stem}-more.csv", unit)
    if options.json:
        whole = {
            **_check_json(found, options.file, pictures),
            **_more_json(more),
            "spot_checks": checks_json(found.spot_checks),
            "wanted_sweeps": checks_json(found.wanted_sweeps),
        }
        print(json.dumps(whole, allow_nan=False))
    else:
        print(check_words.report(found, unit, options.more))
        for path in pictures:
            print(f"written: {path}")
        if sheet is not None:
            print(sheet)
    return EXIT[found.verdict]


def _spot_checks(options: argparse.Namespace) -> Checks:
    """What a bar showed between the stations, from lists of strips and from two lengths and a number of places."""
    if options.spot_check and not options.draws:
        raise FlatnessError(
            "a spot check cannot count without draws", column="--spot-check", value="--draws 0",
            remedy="leave out one of the two",
        )  # fmt: skip
    found: list[Any] = []
    for text in options.spot_check:
        if Path(text).suffix.lower() == ".csv" or Path(text).is_file():
            found += read_spots(text)
            continue
        parts = text.split()
        if not 2 <= len(parts) <= 3 or (len(parts) == 3 and not parts[2].isdecimal()):
            raise FlatnessError(
                "a spot check is a file, or two lengths and in how many places the bar was set", column="--spot-check",
                value=text, expected="spots.csv, or such as '2ft 1/32in 5' or '600mm 1mm'",
                remedy="write each length without a space, such as 1-1/8in",
            )  # fmt: skip
        length, gap = (with_unit(part, "--spot-check") for part in parts[:2])
        found.append(SpotCheck(length, gap, *map(int, parts[2:])))
    return found


def _pictures(found: Assessment, folder: Path, stem: str, unit: str, batch: int | None) -> list[Path]:
    from flatness.show.pictures import write_pictures

    return write_pictures(found, folder, stem, unit, batch)


def _more_sheet(survey: Survey, more: tuple[Judged, pd.DataFrame] | None, path: Path, unit: str) -> str | None:
    """Write the sheet to fill in with more readings, if any are wanted, and say what was done."""
    from flatness.show.more_sheet import write_more_sheet

    if more is None:
        return None
    if write_more_sheet(survey, more[1], path, unit):
        return f"written: {path}, to fill in with the readings that are wanted"
    return f"left as it is: {path}, which may be filled in already; move it away for a new one"


def _check_json(found: Assessment, file: str, pictures: list[Path]) -> dict[str, Any]:
    survey = found.subject.survey
    notes = [problem.what for problem in survey.notes] + list(found.likely.notes if found.likely else ())
    return {
        "file": file,
        "title": survey.title,
        "surface": survey.surface,
        "reference": survey.reference,
        "readings": len(survey.points),
        "accuracy_mm": survey.accuracy,
        "verdict": found.verdict,
        "between": found.between,
        "confidence": found.confidence,
        "draws": found.draws,
        "seed": found.seed,
        "headings": found.subject.headings,
        "lattice_mm": found.subject.surface.spacing,
        "limits": [plain(row) for row in found.table.to_dict("records")],
        "slips": [
            {
                "station": slip.station,
                "x_mm": slip.x,
                "y_mm": slip.y,
                "reading_mm": slip.reading,
                "expected_mm": slip.expected,
                "times_off": slip.times,
            }
            for slip in found.slips
        ],
        "notes": notes,
        "pictures": [str(path) for path in pictures],
    }


def _more_json(more: tuple[Judged, pd.DataFrame] | None) -> dict[str, Any]:
    if more is None:
        return {"more_readings_for": None, "more_readings": []}
    one, places = more
    rows = places.rename(columns={"x": "x_mm", "y": "y_mm"}).to_dict("records")
    return {"more_readings_for": one.limit.name, "more_readings": [plain(row) for row in rows]}


def _limits(options: argparse.Namespace) -> int:
    from flatness.show import check_words

    table = flatness.limits(options.word)
    if options.json:
        rows = table.reset_index().to_dict("records")
        print(json.dumps({"limits": [plain(row) for row in rows]}, allow_nan=False))
        return 0
    if table.empty:
        raise FlatnessError(
            "no limit has this word", value=options.word, remedy="'flatness limits' alone lists all of them"
        )
    print(check_words.limits_text(table))
    return 0


if __name__ == "__main__":
    sys.exit(main())
