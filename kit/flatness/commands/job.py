"""``flatness job``: a whole job from its file: check, plan, what the plan meets, and what was done."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from flatness.commands.options import EXIT, add_json, note_unit, plain, say_not_followed
from flatness.commands.plan_json import lines_rows, ways_rows
from flatness.comparison.records import results
from flatness.job.reading import read_job
from flatness.job.running import Results, run_job
from flatness.limits.verdict import FAIL, PASS, UNDECIDED


def add_job(commands: Any) -> None:
    """Add the command to the parsers of the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "job", help="a whole job from one file: check, plan, what it meets, and what was done",
        epilog="Exit code: the verdict of the latest survey, 0 pass or no limit, 1 fail, 3 undecided; 2 bad input.",
    )  # fmt: skip
    parser.set_defaults(run=run_whole_job)
    parser.add_argument("file", help="job file, TOML; sample_surveys/loft_floor/job.toml explains each line")
    parser.add_argument("--out", metavar="DIR", help="write the pictures there")
    add_json(parser)


def run_whole_job(options: argparse.Namespace) -> int:
    """Run a job file; the number is the exit code.

    Raises
    ------
    FlatnessError : a job that cannot be run as it is
    """
    from flatness.show.job_words import job_report

    job = read_job(options.file)
    note_unit(options, job)
    say_not_followed(job.plan.beneath if job.plan else ())
    done = run_job(job)
    told = None if options.json else job_report(done)
    written = _pictures(done, Path(options.out)) if options.out else []
    if options.json:
        print(json.dumps({**_json(done), "written": [path.as_posix() for path in written]}, allow_nan=False))
    else:
        print(told)
        for path in written:
            print(f"written: {path}")
    return EXIT[_verdict(done)]


def _verdict(done: Results) -> str:
    """Of the latest survey: fail where one limit fails, else undecided where one is, else pass."""
    if done.comparison is not None and len(done.comparison.verdicts):
        verdicts = set(done.comparison.verdicts["after"])
        return next((verdict for verdict in (FAIL, UNDECIDED) if verdict in verdicts), PASS)
    return PASS if done.assessment is None else done.assessment.verdict


def _pictures(done: Results, folder: Path) -> list[Path]:
    from flatness.show.comparison_pictures import write_comparison
    from flatness.show.pictures import write_pictures
    from flatness.show.plan_pictures import write_plan_pictures

    unit, stem = done.job.show, done.job.path.stem
    written = [] if done.assessment is None else write_pictures(done.assessment, folder, stem, unit)
    if done.plan is not None:
        written += write_plan_pictures(done.plan, done.schedule, folder, stem, unit)
    if done.comparison is not None:
        written += write_comparison(done.comparison, folder, f"{stem}-done", unit)
    return written


def _json(done: Results) -> dict[str, Any]:
    plan = done.plan
    limits = [] if done.assessment is None else done.assessment.table.to_dict("records")
    return {
        "job": done.job.path.name,
        "title": done.job.title,
        "verdict": _verdict(done),
        "limits": [plain(row) for row in limits],
        "plan": None if plan is None or done.ways is None else {
            "way": plan.way,
            "plane": plan.plane or None,
            "verdict": plan.verdict or None,
            "proposed": done.ways.proposed,
            "ways": plain(ways_rows(done.ways)),
            "work": plain(plan.work),
            "work_unit": plan.settings["rates"].unit,
            "marks": [plain(row) for row in plan.marks.to_dict("records")],
            "lines": lines_rows(plan),
            "after": [plain(row) for row in plan.after.to_dict("records")],
            "patches": [plain(row) for row in plan.patches.drop(columns="outline").to_dict("records")],
            "notes": list(plan.notes),
        },
        "consequences": [plain(row) for row in done.consequences.to_dict("records")],
        "reveals": {
            name: {
                "verdict": one.verdict, "departure_mm": plain(float(one.departure.value)),
                "change_mm": plain(float(one.change.value)),
                "scribe": [plain(row) for row in one.scribe.to_dict("records")],
            }
            for name, one in done.reveals.items()
        },
        "comparison": None if done.comparison is None else results(done.comparison),
    }  # fmt: skip
