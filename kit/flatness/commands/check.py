"""``flatness check``: a survey checked against limits. ``flatness spots``: what to look at between the stations.

``flatness limits``: the published limits.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import pandas as pd

from flatness.commands.many import add_many, is_many, run_many
from flatness.commands.options import (
    EXIT,
    add_fields,
    add_json,
    add_keys,
    add_limits,
    check_new,
    checks_json,
    job_of,
    make_folder,
    new_report,
    print_written,
    read_fields,
    rows,
    survey_json,
)
from flatness.curves.walls import curved_text
from flatness.errors import FlatnessError
from flatness.files import named, write_new, written_together
from flatness.job.schema import PLAN, Field, Keys
from flatness.job.values import Length, Number
from flatness.limits.catalogue import did_you_mean, near_words
from flatness.limits.catalogue import limits as limits_table
from flatness.limits.measuring import Subject
from flatness.limits.spot_checks import count_crossed, stop_gap, wanted_sweeps
from flatness.limits.strip_lists import spot_sheet
from flatness.limits.verdict import Assessment, Judged, assess

WHY = "to check the survey against"


OWN: Keys = {
    "headings": PLAN["headings"],
    "more": Field(
        Number(0, whole=True),
        "where the verdict is undecided, in how many places to read more (6 to 24, as it takes); 0 for none",
    ),
}
BAR: Keys = {"bar": Field(Length(0, above=True), "length of the bar that is slid (6ft, or 2m)")}


def add_check(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = (
        "Exit code: 0 pass, 1 fail, 3 undecided, 2 bad input. Of several: 1 where any fails, else 2 where any could "
        "not be checked, else 3 where any is undecided, else 0. `flatness sheet` makes a blank sheet to fill in."
    )
    parser.set_defaults(run=run_check)
    told = "survey file, CSV or XLSX; or several, a folder, or a pattern such as 'level2/*.csv'"
    parser.add_argument("file", nargs="+", help=told)
    add_limits(parser)
    add_keys(parser, "--sheet", "--spot-check", "--unit", "--confidence", "--draws", "--seed")
    add_fields(parser, OWN)
    parser.add_argument("--out", metavar="DIR", help="write maps of height, gap and chance, and a profile, there")
    add_many(parser)
    add_json(parser)


def run_check(options: argparse.Namespace) -> int:
    """Check a survey; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    from flatness.words import checks as words

    if is_many(options):
        return run_many(options)
    (options.file,) = options.file
    report = new_report(OWN)
    own = read_fields(options, OWN, report)
    job = job_of(options, {"surveys": {"before": options.file}}, report, WHY)
    found = assess(
        job.before.survey,
        job.limits,
        headings=own["headings"] or 12,
        draws=job.draws,
        seed=job.seed,
        confidence=job.confidence,
        spot_checks=job.before.spot_checks,
    )
    unit, pictures, sheet = job.show, list[Path](), ""
    more = words.where_to_read(found, own["more"])
    if not options.json:
        print(words.report(found, unit, own["more"]), flush=True)  # whatever becomes of the files
    if options.out:
        from flatness.charts.pictures import check_charts, write_charts

        folder, stem = Path(options.out), Path(options.file).stem
        with written_together():
            pictures = write_charts(check_charts(found, unit, own["more"]), folder, stem)
            if more is not None:
                path = named(folder, f"{stem}-more.csv")
                sheet = f"left as it is: {path}, which may be filled in already; move it away for a new one"
                wall = curved_text(options.file)
                if wall is not None and not wall[0]:
                    sheet = "not written: a file for more readings of a workbook; add their rows to it"
                elif words.write_more_sheet(job.before.survey, more[1], path, unit, wall):
                    sheet = f"written: {path}, to fill in with the readings that are wanted"
    if options.json:
        print(json.dumps(_check_json(found, options.file, pictures, more), allow_nan=False))
    else:
        print_written(pictures)
        print(sheet, end="\n" * bool(sheet))
    return EXIT[found.verdict]


def _check_json(
    found: Assessment, file: str, pictures: list[Path], more: tuple[Judged, pd.DataFrame] | None
) -> dict[str, Any]:
    survey = found.subject.survey
    notes = [problem.what for problem in survey.notes] + list(found.notes)
    return {
        "file": file,
        **survey_json(survey),
        "verdict": found.verdict,
        "between": found.between,
        "confidence": found.confidence,
        "draws": found.draws,
        "seed": found.seed,
        "headings": found.subject.headings,
        "lattice_mm": found.subject.surface.spacing,
        "limits": rows(found.table),
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
        "more_readings_for": None if more is None else more[0].limit.name,
        "more_readings": [] if more is None else rows(more[1].rename(columns={"x": "x_mm", "y": "y_mm"})),
        "spot_checks": checks_json(found.spot_checks),
        "crossed": vars(count_crossed(found.spot_checks, survey, found.subject.surface)),
        "wanted_sweeps": checks_json(found.wanted_sweeps),
    }


def add_spots(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.set_defaults(run=run_spots)
    parser.add_argument("file", help="survey file, CSV or XLSX")
    add_limits(parser)
    add_fields(parser, BAR)
    add_keys(parser, "--sheet", "--unit")
    parser.add_argument("--out", metavar="FILE", help="write the list there, to fill in and give to check --spot-check")
    add_json(parser)


def run_spots(options: argparse.Namespace) -> int:
    """List the strips to look at; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    from flatness.words.checks import sweeps_text

    report = new_report(BAR)
    own = read_fields(options, BAR, report)
    job = job_of(options, {"surveys": {"before": options.file}}, report, WHY)
    bars = [one for one in job.limits if one.kind == "straightedge"]
    if not bars:
        remedy = "name one, or give --straightedge and --allowed"
        expected = "a limit of a gap under a bar"
        raise FlatnessError("none of the limits is one under a straightedge", expected=expected, remedy=remedy)
    if options.out:
        check_new(Path(options.out), "--out", False, "it may be filled in: move it away, or choose another name")
    # under which the bar stops first: a hump that the others allow it may not
    limit = min(bars, key=lambda one: stop_gap(one, own["bar"], job.before.survey))
    sweeps = wanted_sweeps(job.before.survey, Subject.of(job.before.survey, bars).surface, limit, own["bar"])
    if options.out:
        path = Path(options.out)
        make_folder(path.parent)
        write_new(path, spot_sheet(sweeps, job.show).encode(), remedy="move it away, or choose another name")
    if options.json:
        print(json.dumps({"limit": limit.name, "sweeps": checks_json(sweeps)}, allow_nan=False))
        return 0
    print(sweeps_text(sweeps, limit, job.show, survey=job.before.survey))
    if options.out:
        print(f"\nwritten: {options.out}, to fill in; then: flatness check FILE ... --spot-check {options.out}")
    return 0


def add_list(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.set_defaults(run=run_list)
    parser.add_argument("word", nargs="*", help="only those with this word, or all of these: oak, hardwood, ceiling")
    add_json(parser)


def run_list(options: argparse.Namespace) -> int:
    """List the published limits; the number is the exit code."""
    from flatness.words.checks import limits_text

    word = " ".join(options.word)
    table = limits_table(word)
    if options.json:
        print(json.dumps({"limits": rows(table.reset_index())}, allow_nan=False))
        return 0
    if table.empty:
        remedy = " ".join(filter(None, (did_you_mean(near_words(word)), "'flatness limits' alone lists all of them")))
        raise FlatnessError("no limit has this word", value=word, remedy=remedy)
    print(limits_text(table))
    return 0
