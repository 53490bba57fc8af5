"""``flatness plan``: the way to make a surface meet its limits, and what is done where by that way."""

from __future__ import annotations

import argparse
import json
import os
import signal
import sys
import threading
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from types import FrameType
from typing import Any

import numpy as np

from flatness.commands.options import (
    EXIT,
    Progress,
    add_json,
    add_keys,
    add_limits,
    check_new,
    error_in_unit,
    job_of,
    lines_rows,
    make_folder,
    place_json,
    print_written,
    rows,
    say_not_followed,
    survey_json,
)
from flatness.comparison.records import plain
from flatness.errors import FlatnessError, PlanError
from flatness.files import named, stands, written_together
from flatness.framing.schedule import Schedule
from flatness.job.records import Job
from flatness.job.running import Results, run_job
from flatness.limits.verdict import UNDECIDED
from flatness.planning.constraints import spot_heights
from flatness.planning.plan import ACTIONS, Plan, read_plan, save_plan
from flatness.planning.ways import PROPOSED, Ways
from flatness.surroundings.cautions import Caution

STOPPED = 130  # as a shell shows a command that Ctrl-C ended
NEEDS_LIMITS = (PROPOSED, "patches", "some-members")
TABLES = ("members", "member-stations", "shims", "blocking", "patches", "marks", "stations", "limits", "quantities")


def add_plan(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = (
        "All else, that is rates, depths, thresholds, layers, how tight, headings, lattice and the rest: a job "
        "file; `flatness job --keys` lists what it may hold, sample_surveys/loft_floor/job.toml is one. "
        "Exit code: 0 after the plan the surface passes, or no limit is named; 1 it fails, or the way is not open; 3 "
        "undecided, or a question for the engineer comes first; 2 bad input. Ctrl-C stops the search with the best "
        "plan so far, where there is one."
    )
    parser.set_defaults(run=run_plan)
    parser.add_argument("file", help="survey file, CSV or XLSX")
    add_limits(parser)
    add_keys(parser, "--sheet", "--spot-check", "--beneath", "--members", "--crossing", "--fixed", "--way", "--plane")
    add_keys(parser, "--unit", "--draws", "--seed")
    parser.add_argument("--out", metavar="DIR", help="write pictures and tables there: PNG, CSV and XLSX")
    parser.add_argument(
        "--save", metavar="FILE", help="write the plan to a file that `flatness compare --plan FILE` reads"
    )
    parser.add_argument("--overwrite", action="store_true", help="replace files of these names that the kit wrote")
    add_json(parser)


def plan_job(options: argparse.Namespace) -> Job:
    """The job of one plan that the options ask for; errors as for :func:`~flatness.commands.options.job_of`."""
    needs = "to plan for" if (options.way or PROPOSED) in NEEDS_LIMITS else ""
    return job_of(options, {"surveys": {"before": options.file}, "plan": {}}, needs_limits=needs)


def run_plan(options: argparse.Namespace) -> int:
    """Plan the corrections of a survey; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    job = plan_job(options)
    _check_names(options)
    say_not_followed(job)
    watch = Watch()
    done = run_job(job, watch)
    try:
        with watch:
            ways = done.ways
        assert ways is not None
        assert job.plan is not None
        if watch.stopped and "patches" not in ways.plans and job.plan.way in NEEDS_LIMITS:
            # stopped before any plan was known, the search cannot tell whether there is one
            return _no_plan(options, ["stopped before any plan that passes was known"], stopped=True)
        plan = done.plan
    except PlanError as error:
        return _no_plan(options, [str(one) for one in error.problems], stopped=False)
    except KeyboardInterrupt:
        print("stopped: nothing was planned, nothing written", file=sys.stderr)
        return STOPPED
    assert plan is not None
    plan = replace(plan, quantities=done.quantities or plan.quantities)
    if watch.stopped:
        print("stopped: this is the best plan so far", file=sys.stderr)
        plan = replace(plan, notes=tuple(dict.fromkeys((*plan.notes, "the search was stopped by hand"))))
    return _report(options, done, plan, ways, watch.stopped)


def _no_plan(options: argparse.Namespace, reasons: list[str], stopped: bool) -> int:
    print("\n".join(error_in_unit(PlanError(one), options) for one in reasons), file=sys.stderr)
    if options.json:
        whole = {"file": options.file, "verdict": None if stopped else "fail", "stopped": stopped, "no_plan": reasons}
        print(json.dumps(whole))
    return STOPPED if stopped else EXIT["fail"]


def _report(options: argparse.Namespace, done: Results, plan: Plan, ways: Ways, stopped: bool) -> int:
    from flatness.words.plans import plan_report

    unit, schedule = done.job.show, done.schedule
    if options.json:
        with written_together():
            files = _write(options, plan, schedule, unit)
        print(json.dumps(plan_json(plan, ways, schedule, options.file, stopped, files), allow_nan=False))
    else:
        print(plan_report(plan, unit, schedule, ways), flush=True)
        with written_together():
            files = _write(options, plan, schedule, unit)
        print_written(files)
    if plan.action("engineer").any():
        return EXIT[UNDECIDED]
    return EXIT[plan.verdict] if plan.verdict else 0


def _check_names(options: argparse.Namespace) -> None:
    """Refuse names that are taken before the plan is made, so that nobody waits for that."""
    stem = Path(options.file).stem
    if options.out:
        from flatness.files import check_free

        folder = Path(options.out)
        if stands(folder) and not os.path.isdir(folder):
            raise FlatnessError("a file, not a folder", column="--out", value=options.out, expected="a folder")
        for name in ("actions", "members"):
            check_free(named(folder, f"{stem}-{name}.png"), overwrite=True)
        check_free(named(folder, f"{stem}-plan.xlsx"), overwrite=options.overwrite)
        for name in TABLES:
            check_free(named(folder, f"{stem}-{name}.csv"), overwrite=options.overwrite, head=b"")
    if options.save and stands(options.save):
        check_new(Path(options.save), "--save", options.overwrite)
        read_plan(options.save)  # an error where it is no plan


def _write(options: argparse.Namespace, plan: Plan, schedule: Schedule | None, unit: str) -> list[Path]:
    """Pictures, tables and the plan itself, as wanted."""
    written: list[Path] = []
    if options.save:
        make_folder(Path(options.save).parent, "--save")
        written.append(save_plan(plan, options.save, overwrite=options.overwrite))
    if options.out:
        from flatness.charts.pictures import plan_charts, write_charts
        from flatness.export.tables import plan_tables, plan_words, write_tables, write_workbook

        folder, stem, over = Path(options.out), Path(options.file).stem, options.overwrite
        make_folder(folder)
        written += write_charts(plan_charts(plan, schedule, unit), folder, stem)
        tables = plan_tables(plan, schedule)
        words = plan_words(plan, schedule)
        written += write_tables(folder, stem, tables, unit, overwrite=over)
        written.append(write_workbook(named(folder, f"{stem}-plan.xlsx"), tables, unit, words, overwrite=over))
    return written


class Watch:
    """Tells how a long search goes, and stops it after its round where Ctrl-C is pressed; pressed twice, at once.

    The search calls it each round with its number, the placements still broken and the cost so far.
    """

    def __init__(self) -> None:
        self.stopped = False
        self.line = Progress()
        self._searches = 0
        self._before: Any = None

    def __call__(self, count: int, left: int, cost: float) -> bool:
        self._searches += count == 1
        where = f"search {self._searches}, round {count}"
        self.line.say(f"{where}: {left} placements over the limit; Ctrl-C takes the best yet")
        return self.stopped

    def __enter__(self) -> Watch:
        if threading.current_thread() is threading.main_thread():
            self._before = signal.signal(signal.SIGINT, self._pressed)
        return self

    def __exit__(self, *error: object) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)
        self.line.clear()

    def _pressed(self, number: int, frame: FrameType | None) -> None:
        if self.stopped:
            raise KeyboardInterrupt
        self.stopped = True
        print("\nstopping after this round; Ctrl-C once more gives up at once", file=sys.stderr, flush=True)


def plan_json(
    plan: Plan, ways: Ways, schedule: Schedule | None, file: str, stopped: bool, written: list[Path]
) -> dict[str, Any]:
    """All that the text says and more, for another program.

    Parameters
    ----------
    plan : by the way that is chosen
    ways : all of them
    schedule : what each member is set to, or None
    file : the survey's, as it was named
    stopped : whether the search was stopped by hand
    written : files written besides
    """
    survey, s = plan.survey, plan.settings
    rates, depths = s["rates"], s["depths"]
    whole = {
        "file": file,
        **survey_json(survey),
        "verdict": plan.verdict or None,
        "way": plan.way,
        "plane": plan.plane or None,
        "proposed": ways.proposed,
        "proposed_is_sure": ways.sure,
        "ways": rows(ways.table),
        "confidence": s["confidence"],
        "draws": s["draws"],
        "seed": s["seed"],
        "headings": plan.headings,
        "lattice_mm": plan.surface.spacing,
        "planned_on": plan.based_on,
        "strategy": plan.strategy,
        "shift": s["shift"],
        "aim": s["aim"],
        "planned_to_share": s["planned_to"],
        "setting_error_mm": s["setting_error"],
        "work": plan.work,
        "work_unit": rates.unit,
        "stopped": stopped,
        "search_finished": plan.finished,
        "rate_off_per_mm3": rates.off,
        "rate_add_per_mm3": rates.add,
        "deepest_cut_mm": _number(depths.cut),
        "deepest_fill_mm": _number(depths.fill),
        "level_within_mm": s["level_within"],
        "level_height_mm": s["height"],
        "cost_rate_mm3": plan.cost,
        "cost_bound_rate_mm3": plan.bound,
        "dead_flat_cost_rate_mm3": plan.flat_cost,
        "dead_flat_is_level": plan.strategy == "level" or s["level_within"] is not None,
        "limits": rows(plan.after),
        "patches": [_patch(row) for row in plan.patches.to_dict("records")],
        "asks_engineer": bool(plan.action("engineer").any()),
        "x_mm": plan.x,
        "y_mm": plan.y,
        "as_found_mm": plan.surface.height,
        "change_mm": plan.change,
        "set_height_mm": plan.set_height,
        "marks": rows(plan.marks),
        "lines": lines_rows(plan),
        "actions": [[ACTIONS[k] if k >= 0 else None for k in row] for row in plan.actions.tolist()],
        "fixed": _fixed(plan),
        "binding": [{"term": one.term, "name": one.name, **place_json(one.at)} for one in plan.binding],
        "schedule": None if schedule is None else _schedule(schedule),
        "quantities": rows(plan.quantities.table),
        "settings": [
            {name: getattr(one, name) for name in ("name", "value", "unit", "source")}
            for one in s.values()
            if hasattr(one, "source")
        ],
        "notes": list(plan.notes),
        "cautions": _cautions(plan.cautions),
        "written": [path.as_posix() for path in written],
    }
    return {key: plain(value) for key, value in whole.items()}


def _number(depth: Any) -> float | None:
    """One depth for the whole surface; None where it has none, or one a place."""
    return float(depth) if np.ndim(depth) == 0 else None


def _patch(row: dict[Any, Any]) -> dict[str, Any]:
    outline = row["outline"]
    rings = {
        "outer": [list(corner) for corner in outline.exterior.coords],
        "holes": [[list(corner) for corner in ring.coords] for ring in outline.interiors],
    }
    return {str(key): value for key, value in row.items() if key != "outline"} | {"outline_mm": rings}


def _fixed(plan: Plan) -> list[dict[str, Any]]:
    """The spots as they were given; a height of None is as found."""
    return [
        {
            "name": spot.name,
            **place_json((spot.x, spot.y)),
            "as_found": spot.height is None,
            "height_mm": float(spot_heights(plan.surface, [spot])[0]),
            "allowance_mm": spot.allowance,
        }
        for spot in plan.fixed
    ]


def _cautions(cautions: Iterable[Caution]) -> list[dict[str, str]]:
    return [{"key": one.key, "text": one.text, "source": one.source} for one in cautions]


def _schedule(schedule: Schedule) -> dict[str, Any]:
    return {
        "line": schedule.line,
        "set_by": schedule.set_by,
        "string_blocks_mm": schedule.blocks_mm,
        "members": rows(schedule.members),
        "stations": rows(schedule.table),
        "shims": rows(schedule.shims),
        "blocking": rows(schedule.blocking),
        "notes": list(schedule.notes),
        "cautions": _cautions(schedule.cautions),
    }
