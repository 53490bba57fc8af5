"""``flatness paper``: the owner's page, the crew sheet, the record to sign, and the tables and drawings."""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flatness.commands.options import add_json, add_limits, make_folder, note_unit, wanted_limits
from flatness.comparison.alignment import WAYS
from flatness.comparison.comparing import Comparison, compare
from flatness.comparison.records import record
from flatness.corrections.plan import Plan
from flatness.corrections.schedule import Schedule
from flatness.corrections.ways import plan_ways
from flatness.errors import FlatnessError
from flatness.limits.verdict import Assessment, assess
from flatness.survey.files import read_survey

if TYPE_CHECKING:
    from flatness.job.running import Results
    from flatness.show.papers.files import Paper

KINDS = ("owner", "crew", "record", "data")


@dataclass(frozen=True, eq=False)
class Told:
    """What the papers are written from; what nobody gave is None."""

    stem: str
    files: tuple[Path, ...]
    assessment: Assessment | None
    plan: Plan | None
    schedule: Schedule | None
    comparison: Comparison | None
    unit: str | None
    title: str = ""
    job: Results | None = None


def add_paper(commands: Any) -> None:
    """Add the command to the parsers of the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "paper", help="files to carry away: owner's page, crew sheet, record to sign, tables and drawings",
        epilog="Exit code: 0 written, 2 bad input.",
    )  # fmt: skip
    parser.set_defaults(run=run_paper)
    parser.add_argument("kind", choices=KINDS, help="owner: one page; crew: plan to scale and lists; record: to sign; "
                        "data: workbook, tables, set-out points and drawing")  # fmt: skip
    parser.add_argument("files", nargs="+", help="a job file (.toml); or a survey, or two: before and after")
    add_limits(parser)
    parser.add_argument("--align", choices=WAYS, default="benchmarks", help="of two surveys (benchmarks)")
    parser.add_argument("--out", metavar="DIR", default=".", help="where to write; here where not given")
    parser.add_argument("--paper", choices=("letter", "a4"), default="letter", help="size of the paper (letter)")
    parser.add_argument("--unit", choices=("in", "mm"), help="unit to show; the survey's own where not given")
    parser.add_argument("--confidence", type=float, default=0.95, metavar="C", help="of the verdicts (0.95)")
    parser.add_argument("--draws", type=int, default=200, metavar="N", help="surfaces drawn (200)")
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="of the draws (0)")
    parser.add_argument("--overwrite", action="store_true", help="replace files of these names that the kit wrote")
    add_json(parser)


def run_paper(options: argparse.Namespace) -> int:
    """Write the papers of one kind; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is, or that this kind of paper cannot be written from
    """
    job = options.files[0].lower().endswith(".toml")
    told = _of_job(options) if job else _of_surveys(options)
    folder = Path(options.out)
    make_folder(folder)
    written = _WRITE[options.kind](told, folder, options)
    if options.json:
        print(json.dumps({"kind": options.kind, "written": [path.as_posix() for path in written]}))
    else:
        for path in written:
            print(f"written: {path}")
    return 0


def _of_surveys(options: argparse.Namespace) -> Told:
    if len(options.files) > 2:
        raise FlatnessError(
            "more than two surveys", value=", ".join(options.files), expected="one survey, or before and after",
            remedy="write one paper for each, or a job file",
        )  # fmt: skip
    limits = wanted_limits(options)
    files = tuple(map(Path, options.files))
    surveys = [read_survey(path) for path in files]
    note_unit(options, surveys[0])
    chosen: dict[str, Any] = {"draws": options.draws, "seed": options.seed, "confidence": options.confidence}
    found = assess(surveys[0], limits, **chosen) if options.kind == "owner" else None
    plan = plan_ways(surveys[0], limits, **chosen).plan if options.kind in ("crew", "data") else None
    both = None
    if len(surveys) == 2:
        both = compare(surveys[0], surveys[1], align=options.align, limits=limits, plan=plan, **chosen)
    return Told(_stem(surveys[0].title or files[0].stem), files, found, plan, None, both, options.unit)


def _of_job(options: argparse.Namespace) -> Told:
    from flatness.job.reading import read_job
    from flatness.job.running import run_job

    if len(options.files) > 1 or options.limit or options.straightedge:
        raise FlatnessError(
            "a job file names all that it is about", value=" ".join(options.files[1:]),
            expected="the job file alone", remedy="write surveys and limits into the job file",
        )  # fmt: skip
    job = read_job(options.files[0])
    note_unit(options, job)
    done, kind = run_job(job), options.kind
    plan = done.plan if kind != "record" else None
    if plan is not None and done.quantities is not None:
        plan = replace(plan, quantities=done.quantities)
    files = [file.path for file in (job.before, job.after) if file is not None]
    return Told(
        _stem(job.title), tuple(files), done.assessment if kind == "owner" else None, plan,
        done.schedule if kind in ("crew", "data") else None, None if kind == "crew" else done.comparison,
        options.unit or job.show, job.title, done if kind in ("owner", "crew") else None,
    )  # fmt: skip


def _stem(title: str) -> str:
    return re.sub(r"[^\w-]+", "-", title).strip("-_").lower()[:60] or "surface"


def _owner(told: Told, folder: Path, options: argparse.Namespace) -> list[Path]:
    from flatness.show.papers.owner import owner_page

    if told.assessment is None:
        raise _lacks("an owner's page", "limits", "name a limit or a finish")
    page = owner_page(told.assessment, told.plan, told.comparison, job=told.job, paper=options.paper, unit=told.unit)
    return _write(page, folder / f"{told.stem}-owner", (".pdf", ".html"), options)


def _crew(told: Told, folder: Path, options: argparse.Namespace) -> list[Path]:
    from flatness.show.papers.crew import crew_sheet

    if told.plan is None:
        raise _lacks("a crew sheet", "a plan", "give the job file a [plan]")
    sheet = crew_sheet(
        told.plan, told.schedule, paper=options.paper, unit=told.unit, title=told.title or None, job=told.job
    )
    return _write(sheet, folder / f"{told.stem}-crew", (".pdf",), options)


def _record(told: Told, folder: Path, options: argparse.Namespace) -> list[Path]:
    from flatness.show.papers.record import record_paper

    if told.comparison is None:
        raise _lacks("a record", "a survey of before and one of after", "name both, before first")
    made = record(told.comparison, told.files[0], told.files[1], folder)
    paper = record_paper(told.comparison, made, paper=options.paper, unit=told.unit, title=told.title)
    return _write(paper, folder / f"{told.stem}-record", (".pdf",), options)


def _data(told: Told, folder: Path, options: argparse.Namespace) -> list[Path]:
    from flatness.show.data_out.dxf import write_dxf
    from flatness.show.data_out.setout import write_setout
    from flatness.show.data_out.tables import comparison_tables, plan_tables, write_tables, write_workbook
    from flatness.show.papers.files import check_free
    from flatness.show.words import shown_unit

    if told.plan is None and told.comparison is None:
        raise _lacks("data", "a plan or a survey of after", "give the job file a [plan]")
    tables = {} if told.plan is None else plan_tables(told.plan, told.schedule)
    tables |= {} if told.comparison is None else comparison_tables(told.comparison)
    survey = told.plan.survey if told.plan is not None else told.comparison.surveys[1]  # type: ignore[union-attr]
    unit, base, over = shown_unit(survey, told.unit), folder / told.stem, options.overwrite
    book, setout, drawing = (base.with_name(f"{told.stem}{end}") for end in (".xlsx", "-setout.csv", ".dxf"))
    check_free(book, overwrite=over)
    if told.plan is not None:
        check_free(drawing, overwrite=over)
    written = write_tables(folder, told.stem, tables, unit, overwrite=over)
    written.append(write_workbook(book, tables, unit, overwrite=over))
    if told.plan is not None:
        written.append(write_setout(setout, told.plan, unit, overwrite=over))
        written.append(write_dxf(drawing, told.plan, unit, overwrite=over))
    return written


def _write(paper: Paper, base: Path, ends: tuple[str, ...], options: argparse.Namespace) -> list[Path]:
    from flatness.show.papers.files import check_free

    targets = [base.with_name(base.name + end) for end in ends]
    for target in targets:
        check_free(target, overwrite=options.overwrite)
    return [paper.write(target, overwrite=options.overwrite) for target in targets]


def _lacks(paper: str, what: str, remedy: str) -> FlatnessError:
    return FlatnessError(f"{paper} needs {what}", expected=what, remedy=remedy)


_WRITE: dict[str, Callable[[Told, Path, argparse.Namespace], list[Path]]] = {
    "owner": _owner, "crew": _crew, "record": _record, "data": _data,
}  # fmt: skip
