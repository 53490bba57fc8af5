"""``flatness plan``: the way to make a surface meet its limits, and what is done where by that way."""

from __future__ import annotations

import argparse
import json
import signal
import sys
import threading
import time
from dataclasses import dataclass, replace
from pathlib import Path
from types import FrameType
from typing import Any

from flatness.commands import plan_written as written
from flatness.commands.options import (
    EXIT,
    add_json,
    add_limits,
    agreed_limits,
    note_unit,
    say_not_followed,
    told_in_unit,
    wanted_limits,
)
from flatness.commands.plan_json import plan_json
from flatness.corrections.members import Members
from flatness.corrections.plan import WAYS, Plan
from flatness.corrections.planner import Case, case_of
from flatness.corrections.saved_plan import read_plan, save_plan
from flatness.corrections.schedule import Schedule
from flatness.corrections.set_members import PLANES
from flatness.corrections.ways import PROPOSED, Ways, weigh
from flatness.errors import ArgumentError, FlatnessError, PlanError
from flatness.job.records import Framing
from flatness.job.sistering import schedule_of, with_sisters
from flatness.limits.verdict import UNDECIDED
from flatness.survey.files import read_survey
from flatness.survey.readings import Survey

STOPPED = 130  # as a shell shows a command that Ctrl-C ended
PATIENCE_S = 2.0  # a search shorter than this says nothing
NEEDS_LIMITS = (PROPOSED, "patches", "some-members")


def add_plan(commands: Any) -> None:
    """Add the command to the parsers of the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "plan", help="what to do where, by the best of all ways, so that a surface meets its limits",
        epilog="All else, that is rates, depths, thresholds, layers, how tight, draws, headings, lattice and the rest: "
        "a job file, see sample_surveys/loft_floor/job.toml and `flatness job`. "
        "Exit code: 0 after the plan the surface passes, or no limit is named; 1 it fails, or the way is not open; 3 "
        "undecided, or the engineer is to be asked first; 2 bad input. Ctrl-C stops the search with the best plan so "
        "far, where there is one.",
    )  # fmt: skip
    parser.set_defaults(run=run_plan)
    add = parser.add_argument
    add("file", help="survey file, CSV or XLSX")
    add("--sheet", help="sheet of a workbook with several")
    add_limits(parser)
    add("--beneath", action="append", default=[], metavar="WHAT",
        help=f"what lies beneath, without which nothing comes off, as \"{written.BENEATH_FORM}\", such as 'sheathing; "
        "may be planed'; may be given several times: of areas that overlap the later holds")  # fmt: skip
    add("--members", metavar="LAYOUT", help=f"joists, studs or strapping, as \"{written.MEMBERS_FORM}\"; or, in place "
        "of first and spacing, their places: at 8in, 23in")  # fmt: skip
    add("--crossing", metavar="LAYOUT", help="what strapping that is there is fixed to, written as --members")
    add("--fixed", action="append", default=[], metavar="SPOT",
        help=f"a spot whose finished height is given, as \"{written.FIXED_FORM}\", such as {written.FIXED_SUCH_AS}; "
        "may be given several times")  # fmt: skip
    add("--way", choices=(PROPOSED, *WAYS), default=PROPOSED, help="how it is done (the least work that is sure)")
    add("--plane", choices=("plumb", *PLANES), help="that members or a layer over all come to (level, or plumb)")
    add("--unit", choices=("in", "mm"), help="unit to show; the survey's own where not given")
    add("--out", metavar="DIR", help="write pictures and tables there: PNG, CSV and XLSX")
    add("--save", metavar="FILE", help="write the plan to a file that `flatness compare --plan FILE` reads")
    add("--overwrite", action="store_true", help="replace files of these names that the kit wrote")
    add_json(parser)


@dataclass(frozen=True, eq=False)
class Chosen:
    """The way that is chosen, with what it was chosen from.

    Attributes
    ----------
    ways : all of them
    plan : of the one chosen, with its sisters counted
    schedule : what each member is set to, or None
    stopped : whether the search was stopped by hand
    """

    ways: Ways
    plan: Plan
    schedule: Schedule | None
    stopped: bool


def run_plan(options: argparse.Namespace) -> int:
    """Plan the corrections of a survey; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    survey = read_survey(options.file, sheet=options.sheet)
    note_unit(options, survey)
    _check_names(options)
    watch = Watch()
    try:
        with written.named_as_options(), watch:
            case, framing = _case(options, survey, watch)
            ways = weigh(case)
        if watch.stopped and "patches" not in ways.plans and options.way in NEEDS_LIMITS:
            # stopped before any plan was known, the search cannot tell whether there is one
            return _no_plan(options, ["stopped before any plan that passes was known"], stopped=True)
        plan = ways.of(options.way)
    except PlanError as error:
        return _no_plan(options, [str(one) for one in error.problems], stopped=False)
    except KeyboardInterrupt:
        print("stopped: nothing was planned, nothing written", file=sys.stderr)
        return STOPPED
    if watch.stopped:
        print("stopped: this is the best plan so far", file=sys.stderr)
        plan = replace(plan, notes=tuple(dict.fromkeys((*plan.notes, "the search was stopped by hand"))))
    schedule = schedule_of(plan, framing)
    plan = replace(plan, quantities=with_sisters(plan, framing, schedule, None, case.materials))
    return _tell(options, Chosen(ways, plan, schedule, watch.stopped))


def _case(options: argparse.Namespace, survey: Survey, watch: Watch) -> tuple[Case, Framing | None]:
    """The options as a case, tried on the surface as found, so that a slip is said before a long search."""
    named = options.way in NEEDS_LIMITS or options.limit or options.straightedge or options.allowed
    limits = wanted_limits(options, "to plan for") if named else agreed_limits(options)
    members, crossing = (
        None if text is None else written.members_of(text, survey, option)
        for text, option in ((options.members, "--members"), (options.crossing, "--crossing"))
    )
    _check_crossing(members, crossing)
    beneath = tuple(written.lying_beneath(text) for text in options.beneath) or None
    fixed = tuple(written.fixed_spot(text, survey) for text in options.fixed)
    say_not_followed(beneath)
    for spot in fixed:
        written.check_height(spot, survey)
    way = {} if options.way == PROPOSED else {"way": options.way}
    case = case_of(
        survey, limits=limits, plane=options.plane, fixed=fixed, beneath=beneath, members=members, crossing=crossing,
        progress=watch, **way,
    )  # fmt: skip
    if members is not None:
        with written.located("--members"):
            _ = case.frame
    return case, None if members is None else Framing(members, {}, crossing)


def _check_crossing(members: Members | None, crossing: Members | None) -> None:
    strapping = members is not None and members.kind == "strapping"
    if crossing is not None and not strapping:
        raise ArgumentError("a crossing without strapping", column="--crossing", expected="--members strapping ... too")
    if strapping and crossing is None:
        raise ArgumentError(
            "strapping without what it is fixed to", column="--members", value="strapping",
            expected="--crossing with the members that it crosses too",
        )  # fmt: skip
    if members is not None and crossing is not None and members.direction == crossing.direction:
        raise ArgumentError(
            "strapping that runs along what it is fixed to", column="--crossing", value=f"along {crossing.direction}",
            expected="the other direction",
        )  # fmt: skip


def _no_plan(options: argparse.Namespace, reasons: list[str], stopped: bool) -> int:
    print("\n".join(told_in_unit(PlanError(one), options) for one in reasons), file=sys.stderr)
    if options.json:
        whole = {"file": options.file, "verdict": None if stopped else "fail", "stopped": stopped, "no_plan": reasons}
        print(json.dumps(whole))
    return STOPPED if stopped else EXIT["fail"]


def _tell(options: argparse.Namespace, chosen: Chosen) -> int:
    from flatness.show.plan_words import plan_report
    from flatness.show.words import shown_unit

    plan = chosen.plan
    unit = shown_unit(plan.survey, options.unit)
    if options.json:
        files = _write(options, plan, chosen.schedule, unit)
        whole = plan_json(plan, chosen.ways, chosen.schedule, options.file, chosen.stopped, files)
        print(json.dumps(whole, allow_nan=False))
    else:
        print(plan_report(plan, unit, chosen.schedule, chosen.ways), flush=True)
        for path in _write(options, plan, chosen.schedule, unit):
            print(f"written: {path}")
    if plan.action("engineer").any():
        return EXIT[UNDECIDED]
    return EXIT[plan.verdict] if plan.verdict else 0


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


TABLES = ("members", "member-stations", "shims", "blocking", "patches", "marks", "stations", "limits", "quantities")


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
