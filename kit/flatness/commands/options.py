"""What the commands share: lengths and agreed limits as options, numbers as JSON can say them."""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from flatness.corrections.beneath import Beneath, not_followed
from flatness.errors import FlatnessError, LengthError
from flatness.lengths import parse_length
from flatness.limits.agreed import straightedge_limit
from flatness.limits.kinds import Limit
from flatness.limits.spot_checks import Checks
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.survey.readings import Survey

if TYPE_CHECKING:
    from flatness.job.records import Job

EXIT = {PASS: 0, FAIL: 1, UNDECIDED: 3}
BAD_INPUT = 2


def add_json(parser: argparse.ArgumentParser) -> None:
    """The option that all commands have."""
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output, nothing else")


def add_limits(parser: argparse.ArgumentParser) -> None:
    """Limits by name, and one agreed limit under a straightedge."""
    parser.add_argument(
        "--limit", action="append", default=[], metavar="NAME",
        help="a limit or a finish by name, as 'flatness limits' lists them; may be given several times",
    )  # fmt: skip
    parser.add_argument(
        "--straightedge", metavar="LENGTH", help="agreed limit: length of the straightedge, such as 10ft"
    )
    parser.add_argument("--allowed", metavar="GAP", help="agreed limit: the gap allowed under it, such as 3/16 or 5mm")


def agreed_limits(options: argparse.Namespace) -> list[Limit]:
    """The limit that ``--straightedge`` and ``--allowed`` make together, or none."""
    if (options.straightedge is None) != (options.allowed is None):
        raise FlatnessError(
            "an agreed limit takes two numbers", expected="--straightedge LENGTH and --allowed GAP together",
            remedy="such as --straightedge 10ft --allowed 3/16",
        )  # fmt: skip
    if options.straightedge is None:
        return []
    bar = with_unit(options.straightedge, "--straightedge")
    allowed = with_unit(options.allowed, "--allowed")
    return [straightedge_limit(length=bar, allowed=allowed, name="agreed")]


def wanted_limits(options: argparse.Namespace, why: str = "to hold the survey against") -> list[str | Limit]:
    """The limits named and agreed on the command line; FlatnessError where there are none."""
    limits: list[str | Limit] = [*options.limit, *agreed_limits(options)]
    if not limits:
        raise FlatnessError(
            f"no limit {why}", expected="--limit NAME, or --straightedge LENGTH --allowed GAP",
            remedy="'flatness limits' lists the names",
        )  # fmt: skip
    return limits


def note_unit(options: argparse.Namespace, read: Survey | Job) -> None:
    """Note what was read, so that an error that follows speaks in its unit."""
    options.noted = read


def told_in_unit(error: FlatnessError, options: argparse.Namespace) -> str:
    """An error, its millimetres told as a tape reads them too where what was read is shown in inches."""
    read = getattr(options, "noted", None)
    if read is None:
        return str(error)
    # with matplotlib behind it, which no command waits for before it has read its input
    from flatness.show.words import in_unit, shown_unit

    unit = getattr(options, "unit", None) or (shown_unit(read) if isinstance(read, Survey) else read.show)
    return in_unit(str(error), unit)


def make_folder(folder: Path) -> None:
    """The folder of ``--out``, made where it is not there; FlatnessError where it cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FlatnessError(
            f"the folder cannot be made: {error.strerror}", column="--out", value=str(folder),
            remedy="choose another folder",
        ) from error  # fmt: skip


def with_unit(text: str, option: str) -> float:
    """A length in mm; a bare fraction is inches, for nobody writes millimetres so, and a bare number is an error."""
    try:
        mm = parse_length(text, "in")
        bare = mm != parse_length(text, "mm")
    except LengthError as error:
        raise error.located(column=option) from error
    if bare and "/" not in text and not any(c in "½⅓⅔¼¾⅛⅜⅝⅞" for c in text):
        raise LengthError(
            "a length without its unit", column=option, value=text, expected="such as 10ft, 3/16, 5mm",
            remedy="add in, ft, mm, cm or m",
        )  # fmt: skip
    return mm


def plain(value: Any) -> Any:
    """What JSON can say: no NaN, no infinity, no arrays."""
    if isinstance(value, dict):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(item) for item in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def checks_json(checks: Checks) -> list[dict[str, Any]]:
    """What a bar showed, or is to show, between the stations, lengths in mm."""
    unitless = ("along", "places")
    return [
        {key if key in unitless else f"{key}_mm": plain(value) for key, value in vars(one).items()} for one in checks
    ]


def say_not_followed(beneath: Sequence[Beneath] | None) -> None:
    """Say at once, before any search, what was said of engineered members and is not followed."""
    for note in not_followed(beneath):
        print(f"note: {note}.", file=sys.stderr)
