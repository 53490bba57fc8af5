"""``flatness sheet``: before a survey, how wide a grid will do, and a blank sheet of it to fill in."""

from __future__ import annotations

import argparse
import json
import re
from pathlib import Path
from typing import Any

from shapely import box

from flatness.commands.options import add_json, add_limits, make_folder, plain, wanted_limits, with_unit
from flatness.errors import FlatnessError
from flatness.limits.kinds import SURFACES
from flatness.limits.planning import TARGET, ReadingPlan, plan_readings, usual_steps
from flatness.limits.spot_checks import READ_ALONG_MM
from flatness.survey.header import CLOSEST_MM, LAYOUT, QUANTITIES, WIDEST_MM
from flatness.survey.readings import Framing
from flatness.survey.sheets import blank_sheet, check_title, grid_positions, member_positions

SAME_STEP_MM = 0.01
METRIC = re.compile(r"\d\s*(?:mm|cm|m)\b|metre|meter", re.IGNORECASE)


def add_sheet(commands: Any) -> None:
    """Add the command to the parsers of the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "sheet", help="before a survey: how many readings will do, and a blank sheet for them",
        epilog="Exit code: 0 done, 2 bad input.",
    )  # fmt: skip
    parser.set_defaults(run=run_sheet)
    parser.add_argument("--length", required=True, help="of the surface along x, such as 20ft")
    parser.add_argument("--width", required=True, help="of the surface along y, such as 16ft; of a wall its height")
    add_limits(parser)
    parser.add_argument(
        "--accuracy", required=True, metavar="LENGTH",
        help="of one reading, one standard deviation, such as 1/32in: how far a repeated reading typically differs",
    )  # fmt: skip
    parser.add_argument("--step", metavar="LENGTH", help="of the sheet's grid; the recommended one where not given")
    parser.add_argument(
        "--members", metavar="LAYOUT",
        help="joists or studs, such as '16in along y from 12in': every one is read, 4 ft apart along it",
    )  # fmt: skip
    parser.add_argument("--surface", choices=SURFACES, default="floor", help="floor where not given")
    parser.add_argument("--reading", choices=QUANTITIES, default="drop", help="what will be read (drop)")
    parser.add_argument("--unit", choices=("in", "mm"), help="of the sheet; as the length was given where not given")
    parser.add_argument("--title", default="", help="on the sheet, and in the names of its files")
    parser.add_argument("--out", metavar="DIR", default=".", help="where to write it; here where not given")
    parser.add_argument("--overwrite", action="store_true", help="replace sheets of this name")
    parser.add_argument("--confidence", type=float, default=0.95, metavar="C", help="of the verdicts (0.95)")
    parser.add_argument(
        "--target", type=float, default=TARGET, metavar="T",
        help=f"chance of ending undecided that is good enough ({TARGET})",
    )  # fmt: skip
    parser.add_argument("--rooms", type=int, default=40, metavar="N", help="rooms made up for each grid (40)")
    parser.add_argument("--seed", type=int, default=0, metavar="N", help="of the simulation (0)")
    add_json(parser)


def run_sheet(options: argparse.Namespace) -> int:
    """Plan the readings and write the blank sheets; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    from flatness.show.planning_words import plan_report

    limits = wanted_limits(options, "to plan for")
    length, width = with_unit(options.length, "--length"), with_unit(options.width, "--width")
    accuracy = with_unit(options.accuracy, "--accuracy")
    step = None if options.step is None else with_unit(options.step, "--step")
    unit = options.unit or ("mm" if METRIC.search(options.length) else "in")
    files = _files(options)
    if options.members is not None:
        return _on_members(options, length, width, accuracy, step, unit, files)
    steps = usual_steps(length, width, limits, unit=unit, surface=options.surface)
    # 3 ft typed and 3 ft reckoned differ in the last digit
    step = next((usual for usual in steps if step is not None and abs(usual - step) < SAME_STEP_MM), step)
    plan = plan_readings(
        length, width, limits, accuracy, steps=[*steps, *([] if step is None else [step])], rooms=options.rooms,
        confidence=options.confidence, target=options.target, seed=options.seed, surface=options.surface,
    )  # fmt: skip
    step = step or plan.recommended or float(plan.grids["step_mm"].iloc[0])
    x, y = plan.positions(step)
    make_folder(files[0].parent)
    for path in files:
        blank_sheet(
            x, y, path, title=options.title, unit=unit, reading=options.reading, accuracy=accuracy,
            outline=box(0, 0, length, width), surface=options.surface, overwrite=options.overwrite,
        )  # fmt: skip
    if options.json:
        print(json.dumps(_json(plan, step, files), allow_nan=False))
    else:
        print(plan_report(plan, unit, step))
        print()
        for path in files:
            print(f"written: {path}")
    return 0


def _on_members(
    options: argparse.Namespace, length: float, width: float, accuracy: float, step: float | None, unit: str,
    files: list[Path],
) -> int:  # fmt: skip
    """A sheet with a line of stations on every member, which leaves nothing unseen between them."""
    from flatness.show.planning_words import member_report

    framing = _framing(options.members)
    step = step or (READ_ALONG_MM if unit == "in" else 1200.0)
    x, y = (
        member_positions(extent, framing) if along != framing.along else grid_positions(extent, step)
        for along, extent in (("x", length), ("y", width))
    )
    make_folder(files[0].parent)
    for path in files:
        blank_sheet(
            x, y, path, title=options.title, unit=unit, reading=options.reading, accuracy=accuracy,
            outline=box(0, 0, length, width), surface=options.surface, overwrite=options.overwrite, framing=framing,
        )  # fmt: skip
    written = [path.as_posix() for path in files]
    if options.json:
        found = {"x_mm": x.tolist(), "y_mm": y.tolist(), "readings": len(x) * len(y), "written": written}
        print(json.dumps(found, allow_nan=False))
    else:
        print(member_report(len(x) * len(y), step, framing, options.surface, unit))
        print()
        print("\n".join(f"written: {path}" for path in written))
    return 0


def _framing(text: str) -> Framing:
    parts = LAYOUT.fullmatch(text.strip())
    if parts is None:
        raise FlatnessError(
            "the members' layout cannot be read", column="--members", value=text,
            expected="such as '16in along y from 12in': the spacing, the axis they run along, the first one's position",
        )  # fmt: skip
    spacing = with_unit(parts[1], "--members")
    first = 0.0 if parts[3].strip() == "0" else with_unit(parts[3], "--members")
    if not CLOSEST_MM <= spacing <= WIDEST_MM:
        raise FlatnessError(
            "members do not stand so far apart", column="--members", value=parts[1], expected="4 in to 10 ft",
            remedy="write the spacing from the middle of one to the middle of the next, such as 16in",
        )  # fmt: skip
    return Framing(spacing, parts[2].lower(), first)


def _files(options: argparse.Namespace) -> list[Path]:
    """Where the sheets go, known before the plan is made, so that nobody waits for a name that is taken."""
    check_title(options.title)
    name = re.sub(r"[^\w-]+", "-", options.title).strip("-_") or f"{options.surface}-readings"
    folder = Path(options.out)
    files = [folder / f"{name}.csv", folder / f"{name}.xlsx"]
    for path in files:
        if path.exists() and not options.overwrite:
            raise FlatnessError(
                "there is a file of this name already", file=str(path), remedy="choose another --title or --out; or, "
                "if nobody has written readings into it, --overwrite",
            )  # fmt: skip
    return files


def _json(plan: ReadingPlan, step: float, files: list[Path]) -> dict[str, Any]:
    x, y = plan.positions(step)
    return {
        "surface": plan.surface,
        "length_mm": plan.length,
        "width_mm": plan.width,
        "accuracy_mm": plan.accuracy,
        "limits": [limit.name for limit in plan.limits],
        "confidence": plan.confidence,
        "target": plan.target,
        "rooms": plan.rooms,
        "draws": plan.draws,
        "seed": plan.seed,
        "grids": [plain(row) for row in plan.grids.to_dict("records")],
        "recommended_step_mm": plan.recommended,
        "step_mm": step,
        "x_mm": x.tolist(),
        "y_mm": y.tolist(),
        "notes": list(plan.notes),
        "written": [path.as_posix() for path in files],
    }
