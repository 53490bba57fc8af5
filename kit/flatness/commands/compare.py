"""``flatness compare``: two surveys of one surface, what changed, a record of it, and the record made again."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from flatness.commands.options import (
    EXIT,
    add_fields,
    add_json,
    add_keys,
    add_limits,
    check_new,
    job_of,
    new_report,
    print_written,
    read_fields,
)
from flatness.comparison.comparing import compare
from flatness.comparison.records import record, rerun, write_record, write_text
from flatness.errors import FlatnessError
from flatness.files import read_file, stands, written_together
from flatness.job.schema import PLAN, Keys
from flatness.planning.plan import read_plan

OWN: Keys = {"spacing": PLAN["spacing"]}


def add_compare(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = (
        "Exit code: the verdict after, 0 pass or no limit given, 1 fail, 3 undecided; with --rerun 0 where "
        "nothing differs, 1 where something does; 2 bad input."
    )
    parser.set_defaults(run=run_compare)
    parser.add_argument("before", nargs="?", help="survey file of before, CSV or XLSX")
    parser.add_argument("after", nargs="?", help="survey file of after")
    add_keys(parser, "--before-sheet", "--after-sheet", "--align", "--unchanged")
    add_keys(parser, "--spot-check", "--after-spot-check")
    add_limits(parser)
    parser.add_argument(
        "--plan", metavar="FILE", help="a plan that `flatness plan --save FILE` wrote: the work is compared with it"
    )
    add_keys(parser, "--tolerance")
    add_fields(parser, OWN)
    add_keys(parser, "--unit", "--confidence", "--draws", "--seed")
    parser.add_argument("--out", metavar="DIR", help="write the map of the difference, and before and after, there")
    parser.add_argument(
        "--record",
        metavar="FILE",
        help="write all that is needed to make the comparison again: FILE, and as .txt to read",
    )
    parser.add_argument("--overwrite", action="store_true", help="replace an earlier record of this name")
    parser.add_argument("--rerun", metavar="FILE", help="make a recorded comparison again, and say what differs")
    add_json(parser)


def run_compare(options: argparse.Namespace) -> int:
    """Compare two surveys, or make a recorded comparison again; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    from flatness.words.comparisons import comparison_report, record_text

    if options.rerun is not None:
        return _rerun(options)
    if options.before is None or options.after is None:
        expected, remedy = "flatness compare BEFORE AFTER, in this order", "name both files; or --rerun FILE"
        raise FlatnessError("two surveys are compared", expected=expected, remedy=remedy)
    if options.record:
        _check_record(Path(options.record), options.overwrite)
    report = new_report(OWN)
    if options.tolerance is not None and options.plan is None:
        report.add("compare.tolerance", "a tolerance without a plan", options.tolerance, "--plan FILE too")
    own = read_fields(options, OWN, report)
    job = job_of(options, {"surveys": {"before": options.before, "after": options.after}}, report)
    assert job.after is not None
    found = compare(
        job.before.survey,
        job.after.survey,
        plan=None if options.plan is None else read_plan(options.plan),
        tolerance=job.compared.tolerance,
        align=job.compared.align,
        unchanged=job.compared.unchanged,
        spacing=own["spacing"],
        limits=job.limits,
        spot_checks=(job.before.spot_checks, job.after.spot_checks),
        **job.drawn,
    )
    folder = Path(options.record).parent if options.record else Path()
    sheets = {"before": options.before_sheet, "after": options.after_sheet}
    made = record(found, options.before, options.after, folder, sheets=sheets, plan_file=options.plan)
    wording = comparison_report(found, job.show)
    if not options.json:
        print(wording, flush=True)  # whatever becomes of the files
    written: list[Path] = []
    with written_together():
        if options.record:
            path = Path(options.record)
            written.append(write_record(made, path, overwrite=options.overwrite))
            written.append(path.with_suffix(".txt"))
            write_text(written[-1], record_text(made, wording), overwrite=options.overwrite)
        if options.out:
            from flatness.charts.pictures import comparison_charts, write_charts

            stem = f"{Path(options.after).stem}-against-{Path(options.before).stem}"
            written += write_charts(comparison_charts(found, job.show), Path(options.out), stem)
    if options.json:
        print(json.dumps({**made, "written": [path.as_posix() for path in written]}, allow_nan=False))
    else:
        print_written(written)
    return 0 if found.assessments is None else EXIT[found.assessments[1].verdict]


TEXT_HEAD = "Record of a comparison"


def _check_record(path: Path, overwrite: bool) -> None:
    """Refuse, before anything is compared, a record that would stand in the place of something else."""
    readable = path.with_suffix(".txt")
    if readable == path:
        what, expected = "the record is JSON, and its text stands beside it", "another ending, such as .json"
        raise FlatnessError(what, column="--record", value=path.name, expected=expected)
    for one in (path, readable):
        check_new(one, "--record", overwrite)
    try:
        ours = not stands(readable) or read_file(readable).startswith(TEXT_HEAD.encode())
    except OSError:
        ours = False
    if not ours:
        what, remedy = "a file stands there that is not the text of a record", "move it away, or choose another name"
        raise FlatnessError(what, column="--record", value=readable.name, remedy=remedy)


def _rerun(options: argparse.Namespace) -> int:
    from flatness.words.comparisons import rerun_text

    if options.before is not None or options.record is not None:
        what, remedy = "a rerun takes all that it needs from the record", "leave out the surveys and --record"
        raise FlatnessError(what, expected="flatness compare --rerun FILE", remedy=remedy)
    again = rerun(options.rerun)
    if options.json:
        print(json.dumps({"differences": list(again.differences), "remarks": list(again.remarks)}))
    else:
        print(rerun_text(again))
    return 1 if again.differences else 0
