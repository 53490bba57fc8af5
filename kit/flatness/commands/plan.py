"""``flatness plan``: what to take off and add so that a surface meets its limits, and what each member is set to."""

from __future__ import annotations

import argparse
import json
import signal
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import Any

from flatness.commands.options import EXIT, note_unit, say_not_followed
from flatness.commands.plan_json import plan_json
from flatness.commands.plan_options import PlanAsked, add_options, asked_for
from flatness.commands.plan_written import named_as_options
from flatness.corrections.cautions import CAUTIONS, in_order
from flatness.corrections.finished import build_up
from flatness.corrections.plan import Plan
from flatness.corrections.planner import plan_corrections
from flatness.corrections.saved_plan import read_plan, save_plan
from flatness.corrections.schedule import Schedule
from flatness.errors import ArgumentError, FlatnessError, MeasureError, PlanError
from flatness.survey.files import read_survey
from flatness.survey.readings import Survey

STOPPED = 130  # as a shell shows a command that Ctrl-C ended
PATIENCE_S = 2.0  # a search shorter than this says nothing


def add_plan(commands: Any) -> None:
    """Add the command to the parsers of the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "plan", help="what to take off and add so that a surface meets its limits, and what each member is set to",
        epilog="Exit code: 0 after the plan the surface passes at the confidence asked for, or no limit is named; 1 it "
        "fails, or no plan meets all the terms; 3 undecided; 2 bad input. Ctrl-C stops the search with the best plan "
        "so far, where there is one. What begins with a minus is written with =, as --height=-12mm.",
    )  # fmt: skip
    parser.set_defaults(run=run_plan)
    add_options(parser)


def run_plan(options: argparse.Namespace) -> int:
    """Plan the corrections of a survey; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    survey = read_survey(options.file, sheet=options.sheet)
    note_unit(options, survey)
    with named_as_options():
        asked = asked_for(options, survey)
    _check_names(options)
    say_not_followed(asked.arguments["beneath"])
    watch = Watch()
    try:
        with named_as_options(), watch:
            plan = plan_corrections(survey, progress=watch, **asked.arguments)
            least, why = (None, "") if watch.stopped else _least_work(plan, survey, asked, watch)
    except PlanError as error:
        return _no_plan(options, error, watch.stopped)
    except KeyboardInterrupt:
        print("stopped: nothing was planned, nothing written", file=sys.stderr)
        return STOPPED
    if watch.stopped:
        print("stopped: this is the best plan so far", file=sys.stderr)
        plan = replace(plan, notes=tuple(dict.fromkeys((*plan.notes, "the search was stopped by hand"))))
        why = why or "the search was stopped"
    if build_up(asked.layers) > 0:
        # layers are weight that is added too
        plan = replace(plan, cautions=in_order((*plan.cautions, CAUTIONS["load"], CAUTIONS["authority"])))
    return _tell(options, plan, asked, asked.schedule_of(plan), least, why, watch.stopped)


def _least_work(plan: Plan, survey: Survey, asked: PlanAsked, watch: Watch) -> tuple[Plan | None, str]:
    """The plan of the least work to hold another target against, or why there is none."""
    if plan.strategy == "least-work":
        return None, ""
    arguments = {**asked.arguments, "strategy": "least-work", "height": None}
    try:
        return plan_corrections(survey, progress=watch, **arguments), ""
    except PlanError:
        return None, "for no plan meets all the terms"
    except (ArgumentError, MeasureError):
        return None, "for no straightedge limit was named that it could be planned for"


def _no_plan(options: argparse.Namespace, error: PlanError, stopped: bool) -> int:
    # stopped before any plan was known, the search cannot tell whether there is one
    reasons = ["stopped before any plan that passes was known"] if stopped else [str(one) for one in error.problems]
    print(reasons[0] if stopped else error, file=sys.stderr)
    if options.json:
        whole = {"file": options.file, "verdict": None if stopped else "fail", "stopped": stopped, "no_plan": reasons}
        print(json.dumps(whole))
    return STOPPED if stopped else EXIT["fail"]


def _tell(
    options: argparse.Namespace, plan: Plan, asked: PlanAsked, schedule: Schedule | None, least: Plan | None, why: str,
    stopped: bool,
) -> int:  # fmt: skip
    from flatness.show.done_words import state_after
    from flatness.show.plan_asked import asked_text, beside_text, with_block
    from flatness.show.plan_words import plan_report
    from flatness.show.words import shown_unit

    unit = shown_unit(plan.survey, options.unit)
    verdict = state_after(plan)
    if options.json:
        written = _write(options, plan, schedule, unit)
        whole = plan_json(plan, verdict, asked, schedule, options.file, least, stopped, written)
        print(json.dumps(whole, allow_nan=False))
    else:
        report = with_block(plan_report(plan, unit, schedule), beside_text(plan, least, why, unit))
        print(with_block(report, asked_text(plan, unit, asked.layers), after=""), flush=True)
        for path in _write(options, plan, schedule, unit):
            print(f"written: {path}")
    return EXIT[verdict] if verdict else 0


def _stem(options: argparse.Namespace) -> str:
    return Path(options.file).stem


def _check_names(options: argparse.Namespace) -> None:
    """Refuse names that are taken before the plan is made, so that nobody waits for that."""
    if options.out:
        from flatness.show.papers.files import check_free
        from flatness.show.plan_pictures import check_pictures

        folder = Path(options.out)
        if folder.exists() and not folder.is_dir():
            raise FlatnessError("a file, not a folder", column="--out", value=options.out, expected="a folder")
        check_pictures(folder, _stem(options))
        check_free(folder / f"{_stem(options)}-plan.xlsx", overwrite=options.overwrite)
        for name in TABLES:
            check_free(folder / f"{_stem(options)}-{name}.csv", overwrite=options.overwrite, head=b"")
    if options.save and Path(options.save).exists():
        if not options.overwrite:
            raise FlatnessError(
                "there is a file of this name already", column="--save", value=options.save, expected="a new name",
                remedy="choose another name, or --overwrite",
            )  # fmt: skip
        read_plan(options.save)  # an error where it is no plan


TABLES = ("members", "member-stations", "shims", "blocking", "patches", "stations", "limits", "quantities")


def _write(options: argparse.Namespace, plan: Plan, schedule: Schedule | None, unit: str) -> list[Path]:
    """Pictures, tables and the plan itself, as asked for."""
    written: list[Path] = []
    if options.save:
        _make(Path(options.save).parent)
        written.append(save_plan(plan, options.save, overwrite=options.overwrite))
    if options.out:
        from flatness.show.data_out.tables import plan_tables, write_tables, write_workbook
        from flatness.show.plan_pictures import write_plan_pictures

        folder, stem, over = Path(options.out), _stem(options), options.overwrite
        _make(folder)
        written += write_plan_pictures(plan, schedule, folder, stem, unit)
        tables = plan_tables(plan, schedule)
        cautions = {one.key: one for one in (*plan.cautions, *(schedule.cautions if schedule else ()))}
        words = [*plan.notes, *(schedule.notes if schedule else ())]
        words += [f"{one.text} ({one.source})" for one in cautions.values()]
        written += write_tables(folder, stem, tables, unit, overwrite=over)
        written.append(write_workbook(folder / f"{stem}-plan.xlsx", tables, unit, words, overwrite=over))
    return written


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FlatnessError(
            f"the folder cannot be made: {error.strerror}", value=str(folder), remedy="choose another folder"
        ) from error


class Watch:
    """Tells how a long search goes, and stops it after its round where Ctrl-C is pressed; pressed twice, at once.

    The search calls it each round with its number, the placements still broken and the cost so far.
    """

    def __init__(self) -> None:
        self.stopped = False
        self.shown = sys.stderr.isatty()
        self.began = time.monotonic()
        self._told = False
        self._searches = 0
        self._before: Any = None

    def __call__(self, count: int, left: int, cost: float) -> bool:
        self._searches += count == 1
        if self.shown and time.monotonic() - self.began > PATIENCE_S:
            where = f"search {self._searches}, round {count}"
            text = f"{where}: {left} placements over the limit; Ctrl-C takes the best yet"
            print(f"\r{text[:79]:<79}", end="", file=sys.stderr, flush=True)
            self._told = True
        return self.stopped

    def __enter__(self) -> Watch:
        if threading.current_thread() is threading.main_thread():
            self._before = signal.signal(signal.SIGINT, self._pressed)
        return self

    def __exit__(self, *error: object) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)
        if self._told:
            print(f"\r{'':79}\r", end="", file=sys.stderr, flush=True)

    def _pressed(self, number: int, frame: FrameType | None) -> None:
        if self.stopped:
            raise KeyboardInterrupt
        self.stopped = True
        print("\nstopping after this round; Ctrl-C once more gives up at once", file=sys.stderr, flush=True)
