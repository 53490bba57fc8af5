"""``flatness job``: a whole job from its file: check, plan, what the plan meets, and what was done.

``flatness paper``: the owner's page, the crew sheet, the record to sign, and the tables and drawings.
``flatness demo``: a folder with all of one job in it, to try the kit on and to begin one's own from.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import textwrap
from collections.abc import Callable, Iterator
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flatness.commands.options import (
    EXIT,
    add_json,
    add_keys,
    add_limits,
    job_of,
    lines_rows,
    make_folder,
    print_written,
    rows,
    say_not_followed,
)
from flatness.comparison.records import plain, record, results
from flatness.errors import FlatnessError
from flatness.files import named, write_new, written_together
from flatness.job import schema
from flatness.job.reading import read_job
from flatness.job.records import Job
from flatness.job.running import Results, run_job
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.planning.plan import Plan


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

SAMPLE = ("before.csv", "after.csv", "job.toml")
LIMIT, BENEATH = "wood-nailed-10ft", "boards; may be planed; most 3/8in"


def add_demo(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = "Exit code: 0 written, 2 the folder holds something already. It takes about half a minute."
    parser.set_defaults(run=run_demo)
    parser.add_argument("folder", nargs="?", default="flatness-demo", help="new folder (flatness-demo)")
    add_json(parser)


def run_demo(options: argparse.Namespace) -> int:
    """Write a job's surveys, its job file and its papers; the number is the exit code.

    Raises
    ------
    FlatnessError : a folder that holds something already, or cannot be made
    """
    folder = Path(options.folder)
    if folder.is_dir() and any(folder.iterdir()):
        remedy = "choose another name; nothing is ever written over"
        raise FlatnessError(
            "the folder holds something already", value=str(folder), expected="a new one", remedy=remedy
        )
    make_folder(folder, "folder")
    for name in SAMPLE:
        write_new(named(folder, name), _sample(name))
    done, papers = run_job(read_job(folder / "job.toml")), folder / "papers"
    make_folder(papers, "folder")
    for write in WRITERS.values():
        write(done, papers / "loft-floor", argparse.Namespace(paper="letter", overwrite=False))
    commands = "\n".join(_commands(folder)) + "\n"
    write_new(named(folder, "commands.txt"), commands.encode())
    if options.json:
        print(json.dumps({"folder": folder.as_posix(), "commands": _commands(folder)}))
        return 0
    print(f"One whole job is in {folder}: the survey before and after the work, the job file, and its papers.")
    print("\nTry these, which commands.txt has too; then put your own survey in place of before.csv:\n")
    print("\n".join(f"  {line}" for line in _commands(folder)))
    return 0


def _commands(folder: Path) -> list[str]:
    before, after = (f'"{(folder / name).as_posix()}"' for name in SAMPLE[:2])
    out = f'--out "{(folder / "pictures").as_posix()}"'
    return [
        f"flatness check {before} --limit {LIMIT} {out}",
        f'flatness plan {before} --limit {LIMIT} --beneath "{BENEATH}"',
        f"flatness compare {before} {after} --limit {LIMIT} --align none",
        f'flatness job "{(folder / "job.toml").as_posix()}"',
    ]


def _sample(name: str) -> bytes:
    """A file of the sample job: in an installed kit beside its code, in a checkout among the samples."""
    installed = files("flatness").joinpath("demo", name)
    if installed.is_file():
        return installed.read_bytes()
    return (Path(__file__).resolve().parents[3] / "sample_surveys" / "loft_floor" / name).read_bytes()
