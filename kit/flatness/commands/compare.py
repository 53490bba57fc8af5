"""``flatness compare``: two surveys of one surface, what changed, a record of it, and the record made again."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from shapely import Polygon

from flatness.commands.options import EXIT, add_json, add_limits, agreed_limits, note_unit, with_unit
from flatness.comparison.alignment import WAYS
from flatness.comparison.comparing import Comparison, compare
from flatness.comparison.records import record, write_record, write_text
from flatness.comparison.reruns import rerun
from flatness.corrections.saved_plan import read_plan
from flatness.errors import FlatnessError
from flatness.limits.kinds import Limit
from flatness.survey.files import read_survey


def add_compare(commands: Any) -> None:
    """Add the command to the parsers of the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "compare", help="what changed between two surveys of one surface, after minus before",
        epilog="Exit code: the verdict after, 0 pass or no limit given, 1 fail, 3 undecided; with --rerun 0 where "
        "nothing differs, 1 where something does; 2 bad input.",
    )  # fmt: skip
    parser.set_defaults(run=run_compare)
    parser.add_argument("before", nargs="?", help="survey file of before, CSV or XLSX")
    parser.add_argument("after", nargs="?", help="survey file of after")
    parser.add_argument("--before-sheet", metavar="NAME", help="sheet of a workbook with several")
    parser.add_argument("--after-sheet", metavar="NAME", help="sheet of a workbook with several")
    parser.add_argument(
        "--align", choices=WAYS, default="benchmarks",
        help="how the two datums are brought together: on benchmarks of one name (this, where not given), by an offset "
        "or a tilt that most places agree with, or not at all",
    )  # fmt: skip
    parser.add_argument(
        "--unchanged", action="append", default=[], metavar="WHERE",
        help="what did not change, for an offset or tilt: a station's label, a place '4ft,6ft', or the corners of an "
        "area '0,0; 4ft,0; 4ft,6ft'; may be given several times",
    )  # fmt: skip
    add_limits(parser)
    parser.add_argument(
        "--plan", metavar="FILE", help="a plan that `flatness plan --save FILE` wrote: what was done is held against it"
    )
    parser.add_argument(
        "--tolerance", metavar="LENGTH",
        help="by how much a height may be off the one to set, such as 1/16in; twice the plan's setting error where not "
        "given",
    )  # fmt: skip
    parser.add_argument("--spacing", metavar="LENGTH", help="lattice step, such as 6in")
    parser.add_argument("--unit", choices=("in", "mm"), help="unit to show; the later survey's own where not given")
    parser.add_argument("--confidence", type=float, default=0.95, metavar="C", help="of detection and verdicts (0.95)")
    parser.add_argument("--draws", type=int, default=200, metavar="N", help="surfaces drawn for the verdicts (200)")
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="of the draws (0)")
    parser.add_argument("--out", metavar="DIR", help="write the map of the difference, and before and after, there")
    parser.add_argument(
        "--record", metavar="FILE",
        help="write all that is needed to make the comparison again: FILE, and as .txt to read",
    )  # fmt: skip
    parser.add_argument("--overwrite", action="store_true", help="replace an earlier record of this name")
    parser.add_argument("--rerun", metavar="FILE", help="make a recorded comparison again, and say what differs")
    add_json(parser)


def run_compare(options: argparse.Namespace) -> int:
    """Compare two surveys, or make a recorded comparison again; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    if options.rerun is not None:
        return _rerun(options)
    if options.before is None or options.after is None:
        raise FlatnessError(
            "two surveys are compared", expected="flatness compare BEFORE AFTER, in this order",
            remedy="name both files; or --rerun FILE",
        )  # fmt: skip
    from flatness.show.compared import comparison_report, record_text
    from flatness.show.words import shown_unit

    if options.record and not options.overwrite and Path(options.record).exists():
        raise FlatnessError(
            "there is a file of this name already", column="--record", value=options.record,
            remedy="choose another name, or add --overwrite to replace an earlier record",
        )  # fmt: skip
    limits: list[str | Limit] = [*options.limit, *agreed_limits(options)]
    before = read_survey(options.before, sheet=options.before_sheet)
    after = read_survey(options.after, sheet=options.after_sheet)
    note_unit(options, after)
    if options.tolerance is not None and options.plan is None:
        raise FlatnessError(
            "a tolerance without a plan", column="--tolerance", value=options.tolerance, expected="--plan FILE too"
        )
    found = compare(
        before, after, plan=None if options.plan is None else read_plan(options.plan),
        tolerance=None if options.tolerance is None else with_unit(options.tolerance, "--tolerance"),
        align=options.align, unchanged=[_where(text) for text in options.unchanged] or None,
        spacing=None if options.spacing is None else with_unit(options.spacing, "--spacing"), limits=limits,
        confidence=options.confidence, draws=options.draws, seed=options.seed,
    )  # fmt: skip
    unit = shown_unit(after, options.unit)
    folder = Path(options.record).parent if options.record else Path()
    sheets = {"before": options.before_sheet, "after": options.after_sheet}
    made = record(found, options.before, options.after, folder, sheets=sheets, plan_file=options.plan)
    report = comparison_report(found, unit)
    written: list[Path] = []
    if options.record:
        written += _write(made, record_text(made, report), Path(options.record))
    if options.out:
        stem = f"{Path(options.after).stem}-against-{Path(options.before).stem}"
        written += _pictures(found, Path(options.out), stem, unit)
    if options.json:
        print(json.dumps({**made, "written": [path.as_posix() for path in written]}, allow_nan=False))
    else:
        print(report)
        for path in written:
            print(f"written: {path}")
    return 0 if found.assessments is None else EXIT[found.assessments[1].verdict]


def _where(text: str) -> Any:
    """A place or area that did not change, as it is written on the command line."""
    if ";" not in text and "," not in text:
        return text
    corners = [_place(part, text) for part in text.split(";") if part.strip()]
    if ";" not in text:
        return corners[0]
    area = Polygon(corners) if len(corners) >= 3 else None
    if area is None or not area.is_valid or area.area <= 0:
        raise FlatnessError(
            "corners that bound no area", column="--unchanged", value=text,
            expected="three corners or more, in turn, such as '0,0; 4ft,0; 4ft,6ft'",
        )  # fmt: skip
    return area


def _place(part: str, text: str) -> tuple[float, float]:
    numbers = part.split(",")
    if len(numbers) != 2:
        raise FlatnessError(
            "a corner that is not x and y", column="--unchanged", value=text, expected="x,y such as 4ft,6ft"
        )
    return with_unit(numbers[0].strip(), "--unchanged"), with_unit(numbers[1].strip(), "--unchanged")


TEXT_HEAD = "Record of a comparison"


def _write(made: dict[str, Any], text: str, path: Path) -> list[Path]:
    readable = path.with_suffix(".txt")
    if readable == path:
        raise FlatnessError(
            "the record is JSON, and its text stands beside it", column="--record", value=path.name,
            expected="another ending, such as .json",
        )  # fmt: skip
    if readable.exists() and not readable.read_bytes().startswith(TEXT_HEAD.encode()):
        raise FlatnessError(
            "a file stands there that is not the text of a record", column="--record", value=readable.name,
            remedy="move it away, or choose another name",
        )  # fmt: skip
    write_record(made, path)
    write_text(readable, text)
    return [path, readable]


def _pictures(found: Comparison, folder: Path, stem: str, unit: str) -> list[Path]:
    from flatness.show.comparison_pictures import write_comparison

    return write_comparison(found, folder, stem, unit)


def _rerun(options: argparse.Namespace) -> int:
    from flatness.show.compared import rerun_text

    if options.before is not None or options.record is not None:
        raise FlatnessError(
            "a rerun takes all that it needs from the record", expected="flatness compare --rerun FILE",
            remedy="leave out the surveys and --record",
        )  # fmt: skip
    again = rerun(options.rerun)
    if options.json:
        print(json.dumps({"differences": list(again.differences), "remarks": list(again.remarks)}))
    else:
        print(rerun_text(again))
    return 1 if again.differences else 0
