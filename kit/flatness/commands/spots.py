"""``flatness spots``: along which strips a bar is to be slid, so that a pass rests on what was looked at."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import flatness
from flatness.commands.options import add_json, add_limits, checks_json, note_unit, wanted_limits, with_unit
from flatness.errors import FlatnessError
from flatness.limits.catalogue import find
from flatness.limits.measuring import Subject
from flatness.limits.spot_checks import wanted_sweeps
from flatness.limits.spot_sheet import spot_sheet


def add_spots(commands: Any) -> None:
    """Add the command to the parser."""
    spots = commands.add_parser("spots", help="along which strips to slide a bar between the stations, as a list")
    spots.set_defaults(run=_spots)
    spots.add_argument("file", help="survey file, CSV or XLSX")
    spots.add_argument("--sheet", help="sheet of a workbook with several")
    add_limits(spots)
    spots.add_argument("--bar", metavar="LENGTH", help="length of the bar that is slid (6ft, or 2m)")
    spots.add_argument("--unit", choices=("in", "mm"), help="unit to show; the survey's own where not given")
    spots.add_argument("--out", metavar="FILE", help="write the list there, to fill in and give to check --spot-check")
    add_json(spots)


def _spots(options: argparse.Namespace) -> int:
    from flatness.show import check_words, words

    survey = flatness.read_survey(options.file, sheet=options.sheet)
    note_unit(options, survey)
    bars = [one for one in find(wanted_limits(options), survey.surface) if one.kind == "straightedge"]
    if not bars:
        raise FlatnessError(
            "none of the limits is one under a straightedge", expected="a limit of a gap under a bar",
            remedy="name one, or give --straightedge and --allowed",
        )  # fmt: skip
    # the strictest for its length: a hump that the others allow it may not
    limit = min(bars, key=lambda one: (one.allowed or 0.0) / (one.length or 1.0))
    bar = None if options.bar is None else with_unit(options.bar, "--bar")
    subject = Subject.of(survey, bars)
    sweeps = wanted_sweeps(survey, subject.surface, limit, bar)
    unit = words.shown_unit(survey, options.unit)
    if options.out:
        path = Path(options.out)
        if path.exists():
            raise FlatnessError(
                "a file stands there, which may be filled in", column="--out", value=str(path),
                remedy="move it away, or choose another name",
            )  # fmt: skip
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(spot_sheet(sweeps, unit), encoding="utf-8")
    if options.json:
        print(json.dumps({"limit": limit.name, "sweeps": checks_json(sweeps)}, allow_nan=False))
        return 0
    print(check_words.sweeps_text(sweeps, limit, unit))
    if options.out:
        print(f"\nwritten: {options.out}, to fill in; then: flatness check FILE ... --spot-check {options.out}")
    return 0
