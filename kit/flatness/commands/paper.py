"""``flatness paper``: the owner's page, the crew sheet, the record to sign, and the tables and drawings."""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flatness.commands.options import add_json, add_keys, add_limits, job_of, make_folder, print_written
from flatness.comparison.records import record
from flatness.errors import FlatnessError
from flatness.files import named, written_together
from flatness.job.reading import read_job
from flatness.job.records import Job
from flatness.job.running import Results, run_job
from flatness.planning.plan import Plan

NOT_SAID = (
    "Nobody said what lies beneath, so that nothing is planed: a job file says it, and names joists, rates, fixed "
    "spots (flatness job --keys)."
)

if TYPE_CHECKING:
    from flatness.papers.files import Paper


def add_paper(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = "Exit code: 0 written, 2 bad input."
    parser.set_defaults(run=run_paper)
    parser.add_argument(
        "kind",
        choices=tuple(WRITERS),
        help="owner: one page; crew: plan to scale and lists; record: to sign; "
        "data: workbook, tables, set-out points and drawing",
    )
    parser.add_argument("files", nargs="+", help="a job file (.toml); or a survey, or two: before and after")
    add_limits(parser)
    add_keys(parser, "--spot-check", "--after-spot-check", "--align", "--unit", "--confidence", "--draws", "--seed")
    parser.add_argument("--out", metavar="DIR", default=".", help="where to write; here where not given")
    parser.add_argument("--paper", choices=("letter", "a4"), default="letter", help="size of the paper (letter)")
    parser.add_argument("--overwrite", action="store_true", help="replace files of these names that the kit wrote")
    add_json(parser)


def run_paper(options: argparse.Namespace) -> int:
    """Write the papers of one kind; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is, or that this kind of paper cannot be written from
    """
    of_file = options.files[0].lower().endswith(".toml")
    job = options.noted = _job_file(options) if of_file else _job_of_surveys(options)
    job = replace(job, show=options.unit or job.show)
    folder = Path(options.out)
    make_folder(folder)
    stem = re.sub(r"[^\w-]+", "-", job.title or job.path.stem).strip("-_").lower()[:60] or "surface"
    done = run_job(job)
    with written_together():
        written = WRITERS[options.kind](done, folder / stem, options)
    if options.json:
        print(json.dumps({"kind": options.kind, "written": [path.as_posix() for path in written]}))
    else:
        if options.kind in ("crew", "data") and done.plan is not None:
            from flatness.words.printed import indented
            from flatness.words.ways import answer

            print(indented(str(answer(done.plan, job.show)), ""), file=sys.stderr)
            if not of_file:
                print(indented(NOT_SAID, ""), file=sys.stderr)
        print_written(written)
    return 0


def _job_of_surveys(options: argparse.Namespace) -> Job:
    if len(options.files) > 2:
        expected, remedy = "one survey, or before and after", "write one paper for each, or a job file"
        raise FlatnessError("more than two surveys", value=", ".join(options.files), expected=expected, remedy=remedy)
    raw: dict[str, Any] = {"surveys": dict(zip(("before", "after"), options.files, strict=False))}
    raw |= {"plan": {}} if options.kind in ("crew", "data") else {}
    if len(options.files) == 1:
        options.align = None  # of two surveys
    return job_of(options, raw, needs_limits="to check the survey against")


def _job_file(options: argparse.Namespace) -> Job:
    if len(options.files) > 1 or options.limit or options.straightedge:
        value, remedy = " ".join(options.files[1:]), "write surveys and limits into the job file"
        what, expected = "a job file names all that it is about", "the job file alone"
        raise FlatnessError(what, value=value, expected=expected, remedy=remedy)
    return read_job(options.files[0])


def _plan(done: Results) -> Plan | None:
    """The plan with its sisters counted."""
    plan, takes = done.plan, done.quantities
    return plan if plan is None or takes is None else replace(plan, quantities=takes)


def _owner(done: Results, base: Path, options: argparse.Namespace) -> list[Path]:
    from flatness.papers.owner import owner_page

    if done.assessment is None:
        raise _lacks("an owner's page", "limits", "name a limit or a finish")
    sheet = {"paper": options.paper, "unit": done.job.show}
    page = owner_page(done.assessment, _plan(done), done.comparison, job=done, **sheet)
    return _write(page, f"{base}-owner", (".pdf", ".html"), options)


def _crew(done: Results, base: Path, options: argparse.Namespace) -> list[Path]:
    from flatness.papers.crew import crew_sheet

    plan = _plan(done)
    if plan is None:
        raise _lacks("a crew sheet", "a plan", "give the job file a [plan]")
    sheet = {"paper": options.paper, "unit": done.job.show, "title": done.job.title or None}
    return _write(crew_sheet(plan, done.schedule, job=done, **sheet), f"{base}-crew", (".pdf",), options)


def _record(done: Results, base: Path, options: argparse.Namespace) -> list[Path]:
    from flatness.papers.record import record_paper

    job = done.job
    if done.comparison is None or job.after is None:
        raise _lacks("a record", "a survey of before and one of after", "name both, before first")
    made = record(done.comparison, job.before.path, job.after.path, base.parent)
    paper = record_paper(done.comparison, made, paper=options.paper, unit=job.show, title=job.title)
    return _write(paper, f"{base}-record", (".pdf",), options)


def _data(done: Results, base: Path, options: argparse.Namespace) -> list[Path]:
    from flatness.export.dxf import write_dxf
    from flatness.export.tables import comparison_tables, plan_tables, write_setout, write_tables, write_workbook
    from flatness.files import check_free

    plan, both, unit, over = _plan(done), done.comparison, done.job.show, options.overwrite
    if plan is None and both is None:
        raise _lacks("data", "a plan or a survey of after", "give the job file a [plan]")
    tables = {} if plan is None else plan_tables(plan, done.schedule)
    tables |= {} if both is None else comparison_tables(both)
    book, setout, drawing = (named(base.parent, f"{base.name}{end}") for end in (".xlsx", "-setout.csv", ".dxf"))
    for path in (book,) if plan is None else (book, drawing):
        check_free(path, overwrite=over)
    written = write_tables(base.parent, base.name, tables, unit, overwrite=over)
    written.append(write_workbook(book, tables, unit, overwrite=over))
    if plan is not None:
        written.append(write_setout(setout, plan, unit, overwrite=over))
        written.append(write_dxf(drawing, plan, unit, overwrite=over))
    return written


def _write(paper: Paper, base: str, ends: tuple[str, ...], options: argparse.Namespace) -> list[Path]:
    from flatness.files import check_free

    targets = [named(Path(base).parent, Path(base).name + end) for end in ends]
    for target in targets:
        check_free(target, overwrite=options.overwrite)
    return [paper.write(target, overwrite=options.overwrite) for target in targets]


def _lacks(paper: str, what: str, remedy: str) -> FlatnessError:
    return FlatnessError(f"{paper} needs {what}", expected=what, remedy=remedy)


WRITERS: dict[str, Callable[[Results, Path, argparse.Namespace], list[Path]]] = {
    "owner": _owner,
    "crew": _crew,
    "record": _record,
    "data": _data,
}
