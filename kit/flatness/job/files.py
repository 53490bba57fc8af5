"""The job file as text, the tables in it, and the survey files that it names."""

from __future__ import annotations

import os
import re
import tomllib
from pathlib import Path
from typing import Any

from flatness.errors import FlatnessError, Problem
from flatness.job.records import SurveyFile
from flatness.job.report import JobFileError, JobReport
from flatness.job.tables import Key, Keys, Table
from flatness.job.values import text
from flatness.survey.cells import nearest
from flatness.survey.files import ENDINGS, read_survey

LARGEST_BYTES = 1_000_000
SURVEYS: Keys = {
    "before": Key(text, True), "after": Key(text), "before_sheet": Key(text), "after_sheet": Key(text),
}  # fmt: skip
_AT_LINE = re.compile(r"(?P<what>.*) \(at line (?P<line>\d+), column (?P<column>\d+)\)", re.DOTALL)
HOW_TO_WRITE = (
    'texts and lengths with marks stand in quotes; inside double quotes an inch mark is written \\", so that feet and '
    'inches are easier as "12 ft 6 1/2 in"'
)


def read_toml(path: Path) -> dict[str, Any]:
    """What the file says, as TOML has it.

    Raises
    ------
    JobFileError : no such file, no text, or not TOML: with line and column
    """
    words = _text_of(path)
    try:
        return tomllib.loads(words)
    except RecursionError as error:
        raise _refused(path, "lists or tables nested too deep", "a job file", "look for a bracket too many") from error
    except ValueError as error:  # TOMLDecodeError, and numbers of thousands of digits
        found = _AT_LINE.fullmatch(str(error))
        lines = words.splitlines() or [""]
        row = int(found["line"]) if found else len(lines)
        column = f"column {found['column']}" if found else "its end"
        what = f"not TOML: {found['what'] if found else str(error).removesuffix(' (at end of document)')}"
        problem = Problem(
            what, path.name, row, column, lines[min(row, len(lines)) - 1].strip(), "key = value, or a [table]",
            HOW_TO_WRITE,
        )  # fmt: skip
        raise JobFileError(problem) from error


def _text_of(path: Path) -> str:
    try:
        if not path.is_file():
            what = "this is a folder, not a file" if path.is_dir() else "there is no such file"
            raise _refused(path, what, "a job file, such as job.toml", "check the name and the folder", str(path))
        if path.stat().st_size > LARGEST_BYTES:
            raise _refused(path, "the file is larger than 1 MB", "a job file", "check that it is the job file")
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _refused(path, "not a text in UTF-8", "a job file in UTF-8", "save it again as UTF-8") from error
    except (OSError, ValueError) as error:
        if isinstance(error, JobFileError):
            raise
        raise _refused(path, f"the file cannot be read: {error}", "a job file", "check the name and the folder",
                       str(path)) from error  # fmt: skip


def _refused(path: Path, what: str, expected: str, remedy: str, value: str | None = None) -> JobFileError:
    return JobFileError(Problem(what, path.name, value=value or path.name, expected=expected, remedy=remedy))


def read_surveys(table: Table, folder: Path, report: JobReport) -> dict[str, SurveyFile]:
    """The surveys by day, ``before`` and ``after``; what is wrong with them goes into the report."""
    found: dict[str, SurveyFile] = {}
    for day in ("before", "after"):
        sheet, key = table.values.get(f"{day}_sheet"), f"{table.path}.{day}"
        if day not in table.values:
            if sheet is not None:
                report.add(f"{key}_sheet", "a sheet without its file", sheet, f"a line that begins with {day} =",
                           "add it, or leave the sheet out")  # fmt: skip
            continue
        path = folder / table.values[day]
        if not os.path.isfile(path):  # false for a name that cannot be a file's, too
            report.add(key, "there is no such file", table.values[day], f"a path from the job file's folder, {folder}",
                       _nearest_file(path, set(table.values.values())))  # fmt: skip
            continue
        try:
            found[day] = SurveyFile(read_survey(path, sheet=sheet), path, sheet)
        except FlatnessError as error:
            report.take(error, key, table.values[day])
    if len(found) == 2 and len({(one.path.resolve(), one.sheet) for one in found.values()}) == 1:
        report.add(f"{table.path}.after", "before and after are one file", table.values["after"], "two surveys",
                   "name the later one, or leave after out")  # fmt: skip
    return found


def _nearest_file(path: Path, named: set[str]) -> str:
    """What to do about a file that is not there; ``named``: files that the job names already."""
    try:
        there = sorted(one.name for one in path.parent.iterdir() if one.suffix.lower() in ENDINGS)
    except (OSError, ValueError):
        return "check the folder"
    there = [name for name in there if name not in named]
    return f"did you mean {nearest(path.name, there)}?" if there else "check the name and the folder"
