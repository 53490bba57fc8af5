"""``flatness job``: a whole job from its file: check, plan, what the plan meets, and what was done."""

from __future__ import annotations

import argparse
import json
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from flatness.commands.options import EXIT, add_json, print_written, say_not_followed
from flatness.commands.plan_json import lines_rows, rows
from flatness.comparison.records import plain, results
from flatness.errors import FlatnessError
from flatness.job import schema
from flatness.job.reading import read_job
from flatness.job.running import Results, run_job
from flatness.limits.verdict import FAIL, PASS, UNDECIDED


def add_job(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = "Exit code: the verdict of the latest survey, 0 pass or no limit, 1 fail, 3 undecided; 2 bad input."
    parser.set_defaults(run=run_whole_job)
    parser.add_argument("file", nargs="?", help="job file, TOML; sample_surveys/loft_floor/job.toml is one")
    parser.add_argument("--keys", action="store_true", help="list what a job file may hold")
    parser.add_argument("--out", metavar="DIR", help="write the pictures there")
    add_json(parser)


def run_whole_job(options: argparse.Namespace) -> int:
    """Run a job file; the number is the exit code.

    Raises
    ------
    FlatnessError : a job that cannot be run as it is
    """
    from flatness.words.plans import job_report

    if options.keys:
        print(keys_text())
        return 0
    if options.file is None:
        raise FlatnessError("no job file", expected="flatness job FILE", remedy="name it; or --keys, for what it holds")
    job = read_job(options.file)
    options.noted = job
    say_not_followed(job)
    done = run_job(job)
    wording = None if options.json else job_report(done)
    written = _pictures(done, Path(options.out)) if options.out else []
    if options.json:
        print(json.dumps({**_json(done), "written": [path.as_posix() for path in written]}, allow_nan=False))
    else:
        print(wording)
        print_written(written)
    return EXIT[_verdict(done)]


def keys_text() -> str:
    """What a job file may hold: its tables, their keys, what each takes and what it is for."""
    tables = [("at the top", schema.ABOUT, "")]
    tables += [(f"[{name}]", keys, wording) for name, (keys, wording) in schema.SINGLE.items()]
    tables += [(f"[[{name}]]", keys, wording) for name, (keys, wording, _) in schema.SEVERAL.items()]
    return "\n\n".join(table_text(*table) for table in tables)


def table_text(name: str, keys: schema.Keys, wording: str) -> str:
    """One table of a job file: what it is for, its keys, what each takes."""
    return "\n".join([f"{name}  {wording}".rstrip(), *_lines(keys, "  ")])


def _lines(keys: schema.Keys, indent: str) -> Iterator[str]:
    for key, one in keys.items():
        marks = [one.type.metavar] * (one.type.metavar != "WHAT") + ["needed"] * one.needed
        marks += [f"for {one.when}"] * bool(one.when)
        wording = f"{key} ({'; '.join(marks)}): {one.help}" if marks else f"{key}: {one.help}"
        yield textwrap.fill(
            wording, 80, initial_indent=indent, subsequent_indent=f"{indent}    ", break_on_hyphens=False
        )
        if isinstance(one.type, schema.Nested) and one.type.keys is not schema.LAYOUT:
            yield from _lines(one.type.keys, f"{indent}  ")


def _verdict(done: Results) -> str:
    """Of the latest survey: fail where one limit fails, else undecided where one is, else pass."""
    if done.comparison is not None and len(done.comparison.verdicts):
        verdicts = set(done.comparison.verdicts["after"])
        return next((verdict for verdict in (FAIL, UNDECIDED) if verdict in verdicts), PASS)
    return PASS if done.assessment is None else done.assessment.verdict


def _pictures(done: Results, folder: Path) -> list[Path]:
    from flatness.charts.pictures import check_charts, comparison_charts, plan_charts, write_charts

    unit, stem = done.job.show, done.job.path.stem
    written = [] if done.assessment is None else write_charts(check_charts(done.assessment, unit), folder, stem)
    if done.plan is not None:
        written += write_charts(plan_charts(done.plan, done.schedule, unit), folder, stem)
    if done.comparison is not None:
        written += write_charts(comparison_charts(done.comparison, unit), folder, f"{stem}-done")
    return written


def _json(done: Results) -> dict[str, Any]:
    plan = done.plan
    return {
        "job": done.job.path.name,
        "title": done.job.title,
        "verdict": _verdict(done),
        "limits": [] if done.assessment is None else rows(done.assessment.table),
        "plan": None
        if plan is None or done.ways is None
        else {
            "way": plan.way,
            "plane": plan.plane or None,
            "verdict": plan.verdict or None,
            "proposed": done.ways.proposed,
            "ways": rows(done.ways.table),
            "work": plain(plan.work),
            "work_unit": plan.settings["rates"].unit,
            "marks": rows(plan.marks),
            "lines": lines_rows(plan),
            "after": rows(plan.after),
            "patches": rows(plan.patches.drop(columns="outline")),
            "notes": list(plan.notes),
        },
        "consequences": rows(done.consequences),
        "reveals": {
            name: {
                "verdict": one.verdict,
                "departure_mm": plain(float(one.departure.value)),
                "change_mm": plain(float(one.change.value)),
                "scribe": rows(one.scribe),
            }
            for name, one in done.reveals.items()
        },
        "comparison": None if done.comparison is None else results(done.comparison),
    }
