"""What the commands share: options that are keys of a job, tables typed on one line, and what JSON can say.

The options derive from the schema of a job: what they take, their help, and every word of what is wrong with one.
"""

from __future__ import annotations

import argparse
import re
import sys
import time
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from flatness.comparison.records import plain, plain_check
from flatness.errors import FlatnessError
from flatness.files import stands
from flatness.job.reading import make_job, read_limits
from flatness.job.records import Job
from flatness.job.report import JobReport, Origin
from flatness.job.schema import BENEATH, LAYOUT, Field, Keys, field_of, limit_keys, read_table
from flatness.job.values import Area, Flag, Many
from flatness.limits.kinds import Limit
from flatness.limits.spot_checks import Checks
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.planning.plan import Plan
from flatness.planning.substrate import not_followed
from flatness.room.records import Room
from flatness.survey.cells import nearest
from flatness.survey.readings import Survey
from flatness.words.phrases import error_text
from flatness.words.printed import shown_unit

EXIT = {PASS: 0, FAIL: 1, UNDECIDED: 3}
# the key of a job that each option stands for
PATHS = {
    "--sheet": "surveys.before_sheet",
    "--before-sheet": "surveys.before_sheet",
    "--after-sheet": "surveys.after_sheet",
    "--spot-check": "surveys.before_spot_checks",
    "--after-spot-check": "surveys.after_spot_checks",
    "--beneath": "beneath",
    "--members": "members",
    "--crossing": "members.crossing",
    "--fixed": "fixed",
    "--way": "plan.way",
    "--plane": "plan.plane",
    "--align": "compare.align",
    "--unchanged": "compare.unchanged",
    "--tolerance": "compare.tolerance",
    "--unit": "show",
    "--confidence": "confidence",
    "--draws": "draws",
    "--seed": "seed",
}
PLACES = {path: option for option, path in PATHS.items()} | {
    "surveys.before": "the survey file",
    "surveys.after": "the survey file of after",
    "surveys.before_sheet": "--sheet",
    "limits": "--limit",
    "limits.length": "--straightedge",
    "limits.allowed": "--allowed",
    "limits.angle": "--light-angle",
    "limits.lamp": "--light-lamp",
    "limits.side": "--light-side",
    "limits.along": "--light-along",
    "limits.distance": "--light-from",
}
REPEATED = ("--beneath", "--fixed")  # beside those that hold many values


PATIENCE_S = 2.0  # what takes less says nothing


class Progress:
    """One line on a terminal that says how far long work is, drawn over itself; nothing where nobody looks."""

    def __init__(self) -> None:
        self.shown = sys.stderr.isatty()
        self._line = getattr(sys.stderr, "beneath", sys.stderr)  # it draws over its own line
        self._began = time.monotonic()
        self._said = False

    def say(self, text: str) -> None:
        """Say how far it is, once it has taken a while."""
        if self.shown and time.monotonic() - self._began > PATIENCE_S:
            print(f"\r{text[:79]:<79}", end="", file=self._line, flush=True)
            self._said = True

    def clear(self) -> None:
        """Take the line away."""
        if self._said:
            print(f"\r{'':79}\r", end="", file=self._line, flush=True)


def _form(keys: Keys, mark: str) -> str:
    """How a table is typed on one line, its words after a mark."""
    return "KIND" + "".join(f"[{mark}{_word(one)}]" for one in keys.values() if one.word)


def _word(field: Field) -> str:
    return field.word if isinstance(field.type, Flag) else f"{field.word} {field.type.metavar}"


FIXED_FORM = "X,Y[,HEIGHT or 'as found'][,ALLOWANCE][,NAME][,meant]"
FIXED_SUCH_AS = "'0in,8ft,as found,1/16in,door sill' or '3ft,4ft,drop 41-3/8in,hearth'"
LAYOUT_SUCH_AS = "'sawn joist first 8in spacing 16in along y depth 9-1/4in'"
FORMS = {
    "--fixed": f'"{FIXED_FORM}", such as {FIXED_SUCH_AS}',
    "--beneath": f"\"{_form(BENEATH, '; ')}\", such as 'sheathing; may be planed'",
    "--members": f'"{_form(LAYOUT, " ")}", such as {LAYOUT_SUCH_AS}',
    "--crossing": "written as --members",
}


def add_keys(parser: argparse.ArgumentParser, *options: str) -> None:
    """Add options that are keys of a job."""
    for option in options:
        known = field_of(PATHS[option])
        _add(parser, option, known, f"{known.help}: {FORMS[option]}" if option in FORMS else known.help)


def add_fields(parser: argparse.ArgumentParser, keys: Keys) -> None:
    """Add a command's own options."""
    for key, known in keys.items():
        _add(parser, _option(key), known, known.help)


def _add(parser: argparse.ArgumentParser, option: str, known: Field, wording: str) -> None:
    several = option in REPEATED or isinstance(known.type, Many)
    metavar = known.type.one.metavar if isinstance(known.type, Many) else known.type.metavar
    wording = f"{wording}; may be given several times" if several else wording
    action = "append" if several else "store"
    parser.add_argument(option, help=wording.replace("%", "%%"), metavar=metavar, action=action)


OF_LIGHT = {  # key of a limit of kind light, and what its option says
    "--light-angle": ("angle", "DEGREES", "nothing seen in light from a window at this angle above the surface"),
    "--light-lamp": ("lamp", "LENGTH", "nothing seen in the light of lamps that stand so far off the surface (14in)"),
    "--light-side": ("side", "SIDE", "along which the lamps stand: left, right, bottom or top (top)"),
    "--light-along": ("along", "AXIS", "the way that the window's light runs, x or y (either)"),
    "--light-from": ("distance", "LENGTH", "from how far it is looked at (5ft)"),
}


def add_limits(parser: argparse.ArgumentParser) -> None:
    """Limits by name, and one agreed limit under a straightedge."""
    wording = f"{field_of('limits').help}; may be given several times"
    parser.add_argument("--limit", action="append", metavar="NAME", help=wording)
    parser.add_argument(
        "--straightedge", metavar="LENGTH", help="agreed limit: length of the straightedge, such as 10ft"
    )
    parser.add_argument("--allowed", metavar="GAP", help="agreed limit: the gap allowed under it, such as 3/16 or 5mm")
    for option, (_, metavar, wording) in OF_LIGHT.items():
        parser.add_argument(option, metavar=metavar, help=f"agreed limit: {wording}")


def _option(key: str) -> str:
    return f"--{key.replace('_', '-')}"


def add_json(parser: argparse.ArgumentParser) -> None:
    """The option that all commands have."""
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output, nothing else")


def new_report(*own: Keys) -> JobReport:
    """A report of what is typed behind options; ``own``: of one command alone."""
    return JobReport(Origin(options=PLACES | {key: _option(key) for keys in own for key in keys}))


def read_fields(options: argparse.Namespace, keys: Keys, report: JobReport) -> dict[str, Any]:
    """What a command's own options say, by key; None where nothing is said or something is wrong."""
    raw = {}
    for key, known in keys.items():
        given, holds = getattr(options, key), known.type
        if given:
            raw[key] = [holds.one.typed(one) for one in given] if isinstance(holds, Many) else holds.typed(given)
    table = read_table(raw, "", keys, report)
    return dict.fromkeys(keys) | (table.values if table else {})  # noqa: PD011


def read_given(options: argparse.Namespace, keys: Keys) -> dict[str, Any]:
    """What a command's own options say, by key, where something is said; JobFileError with all that is wrong."""
    report = new_report(keys)
    given = {key: value for key, value in read_fields(options, keys, report).items() if value is not None}
    report.stop_if_any()
    return given


def job_of(
    options: argparse.Namespace, raw: dict[str, Any], report: JobReport | None = None, needs_limits: str = ""
) -> Job:
    """The job that the options of a command ask for.

    Parameters
    ----------
    options : of the command
    raw : tables that it asks for besides, such as the files of the surveys
    report : holds problems that were found before; None: a new one
    needs_limits : what they are for, where the command cannot do without

    Raises
    ------
    JobFileError : with all that is wrong with them
    """
    report = new_report() if report is None else report
    for option, path in PATHS.items():
        given = getattr(options, option[2:].replace("-", "_"), None)
        found = None if given is None else _typed(option, given, path, report)
        if found is not None:
            report.origin = replace(report.origin, options={**report.origin.options, path: option})
            *tables, key = path.split(".")
            table = raw
            for name in tables:
                table = table.setdefault(name, {})
            table[key] = found
    limits = _limits(options, report, needs_limits)
    raw |= {"limits": limits} if limits else {}
    try:
        return make_job(raw, report, Path(raw["surveys"]["before"]), Path())
    finally:
        options.noted = report.survey


def _limits(options: argparse.Namespace, report: JobReport, needed: str) -> list[Any]:
    """The limits of the options as a job file would hold them; ``needed``: what for, empty where there may be none."""
    agreed = {key: getattr(options, name, None) for key, name in (("length", "straightedge"), ("allowed", "allowed"))}
    agreed = {key: given for key, given in agreed.items() if given is not None}
    limits = list(getattr(options, "limit", None) or ())
    limits += [{"kind": "straightedge", "name": "agreed", **agreed}] if agreed else []
    keys, light = limit_keys("light"), dict[str, Any]()
    for option, (key, _, _) in OF_LIGHT.items():
        given = getattr(options, option[2:].replace("-", "_"), None)
        light |= {} if given is None else {key: keys[key].type.typed(given)}
    limits += [{"kind": "light", "name": "agreed light", **light}] if light else []
    if needed and not limits:
        expected = "--limit NAME, --straightedge LENGTH --allowed GAP, or --light-angle"
        remedy = "'flatness limits' lists the names"
        report.add("limits", f"no limit {needed}", "nothing", expected, remedy)
    return limits


def limits_of(options: argparse.Namespace, surface: str | None, report: JobReport, needed: str) -> tuple[Limit, ...]:
    """The limits that the options name for a kind of surface; what is wrong with them goes into the report.

    ``surface`` None: for any.
    """
    limits = _limits(options, report, needed)
    return read_limits(limits, surface, report) if limits else ()


def _typed(option: str, given: Any, path: str, report: JobReport) -> Any:
    """What a job file would hold of what was typed behind an option; None where it cannot be read."""
    if option in ON_ONE_LINE:
        several = given if option in REPEATED else [given]
        found = [ON_ONE_LINE[option](text, path, report) for text in several]
        found = [one for one in found if one is not None]
        return found if option in REPEATED else (found or [None])[0]
    holds = field_of(path).type
    return [holds.one.typed(one) for one in given] if isinstance(holds, Many) else holds.typed(given)


def typed_table(text: str, keys: Keys, path: str, report: JobReport) -> dict[str, Any] | None:
    """A table typed on one line: its kind, then words, each with its value: ``slab; may be planed; most 1/8in``."""
    words = {one.word: key for key, one in keys.items() if one.word}
    either = "|".join(sorted(words, key=len, reverse=True))
    kind, *rest = re.split(rf"\b({either})\b", " ".join(text.split()), flags=re.IGNORECASE)
    raw: dict[str, Any] = {}
    before = len(report.problems)
    for word, said in zip(["", *rest[::2]], [kind, *rest[1::2]], strict=True):
        key = words[word.casefold()] if word else "kind"
        holds, value, stray = keys[key].type, said.strip(" ,;"), ""
        flag = isinstance(holds, Flag)
        if not isinstance(holds, Area):  # corners have semicolons of their own
            value, _, stray = ("", "", value) if flag else value.partition(";")
        if stray:
            near = nearest(stray.strip(), words)
            report.add(path, "an unknown word", stray.strip(), ", ".join(words), f"did you mean '{near}'?")
        elif key in raw:
            report.add(path, f"'{word}' twice", text, "each word once", "leave one of them out")
        elif not value and not flag:
            what = f"'{word}' without its value" if word else "no kind"
            report.add(path, what, text, _word(keys[key]) if word else holds.metavar, "add it")
        raw[key] = True if flag else holds.typed(value.strip())
    return raw if len(report.problems) == before else None


def _beneath(text: str, path: str, report: JobReport) -> dict[str, Any] | None:
    return typed_table(text, BENEATH, path, report)


def typed_layout(text: str, path: str, report: JobReport) -> dict[str, Any] | None:
    """Members typed on one line, which way they run among it."""
    raw = typed_table(text, LAYOUT, path, report)
    if raw is None or "direction" in raw:
        return raw
    report.add(path, "which way the members run is missing", text, "along x, or along y", f"such as {LAYOUT_SUCH_AS}")
    return None


def typed_spot(text: str, path: str, report: JobReport) -> dict[str, Any] | None:
    """A spot whose finished height is given, from ``X,Y[,HEIGHT or 'as found'][,ALLOWANCE][,NAME][,meant]``."""
    x, y, *rest = [part.strip() for part in text.split(",")] + [""] * ("," not in text)
    raw: dict[str, Any] = {"x": x, "y": y, "height": "as found"}
    if rest and rest[-1].casefold() == "meant":
        raw["meant"] = True
        rest.pop()
    if rest and (_is_number(rest[0]) or re.match("as found$|drop ", rest[0], re.IGNORECASE)):
        raw["height"] = rest.pop(0)
    if rest and _is_number(rest[0]):
        raw["allowance"] = rest.pop(0)
    if rest:
        raw["name"] = rest.pop(0)
    if rest or not all(raw.values()):
        what = "more than a fixed spot takes" if rest else "a fixed spot that cannot be read"
        report.add(path, what, text, FIXED_FORM, f"such as {FIXED_SUCH_AS}; a name has no comma")
        return None
    return raw


ON_ONE_LINE = {"--beneath": _beneath, "--members": typed_layout, "--crossing": typed_layout, "--fixed": typed_spot}


def _is_number(text: str) -> bool:
    """Whether it is meant as a length: a name begins with neither digit nor sign."""
    return text[:1] in ("+", "-", "−", ".") or text[:1].isnumeric()


def error_in_unit(error: FlatnessError, options: argparse.Namespace) -> str:
    """An error in the unit that what was read is shown in."""
    read: Survey | Job | Room | None = getattr(options, "noted", None)
    unit = getattr(options, "unit", None)
    unit = unit if unit in ("in", "mm") else error.unit  # a scan's is that of its numbers
    if read is not None:
        unit = unit or (shown_unit(read) if isinstance(read, Survey) else read.show)
    return str(error) if unit is None else error_text(error, unit)


def make_folder(folder: Path, option: str = "--out") -> None:
    """The folder of an option, made where it is not there; FlatnessError where it cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what, remedy = f"the folder cannot be made: {error.strerror}", "choose another folder"
        raise FlatnessError(what, column=option, value=str(folder), remedy=remedy) from error


def check_new(path: Path, option: str, overwrite: bool, remedy: str = "choose another name, or --overwrite") -> None:
    """Refuse a file that is there already, unless it may be replaced."""
    if stands(path) and not overwrite:
        what = "there is a file of this name already"
        raise FlatnessError(what, column=option, value=path.name, expected="a new name", remedy=remedy)


def print_written(written: Iterable[Path]) -> None:
    """Say which files were written."""
    for path in written:
        print(f"written: {path}")


def say_not_followed(job: Job) -> None:
    """Say at once, before any search, what was said of engineered members and is not followed."""
    for note in not_followed(job.plan.beneath if job.plan else ()):
        print(f"note: {note}.", file=sys.stderr)


def survey_json(survey: Survey) -> dict[str, Any]:
    """What was read, and how."""
    return {
        "title": survey.title,
        "surface": survey.surface,
        "reference": survey.reference,
        "readings": len(survey.points),
        "accuracy_mm": survey.accuracy,
    }


def lines_rows(plan: Plan) -> list[dict[str, Any]]:
    """The straight line of each member that is set."""
    return [
        {"member": name, "height_at_0_mm": height, "slope_mm_per_m": 1000 * slope}
        for name, (height, slope) in plan.lines.items()
    ]


def place_json(at: tuple[float, float]) -> dict[str, float]:
    return {"x_mm": at[0], "y_mm": at[1]}


def rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """A table as JSON can say it, one object a row."""
    return [plain(row) for row in table.to_dict("records")]


def checks_json(checks: Checks) -> list[dict[str, Any]]:
    """What a bar showed, or is to show, between the stations, lengths in mm."""
    return [plain_check(one) for one in checks]
