"""The list of strips along which a bar is slid, as a file to fill in at the floor, and read back."""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from flatness.errors import ArgumentError, FlatnessError, LengthError, Problem
from flatness.files import read_file, why
from flatness.lengths import format_length, parse_length
from flatness.limits.spot_checks import OFF_SURFACE, Check, SpotCheck, Sweep, is_small, off_surface
from flatness.notes import Note
from flatness.survey.readings import Survey

HEADINGS = ("strip", "bar", "along", "at", "from", "to", "stop at", "largest gap")
NONE = ("none", "ok", "0")
_HOW = (
    "slide the bar along each strip; write the largest gap under it, or none where it is nowhere over the gap to stop "
    "at; leave a strip blank that was not done. A bar set in one place is a separate line, from and to its two ends; "
    "in places that you do not measure: 1 place, or 5 places, under along, and nothing under at, from and to"
)
_PLACES = re.compile(r"(\d{1,4}) places?", re.IGNORECASE)


def spot_sheet(sweeps: Sequence[Sweep], unit: str, seen: Mapping[int, str] | None = None, more: str = "") -> str:
    """The text of a list of strips, lengths in ``in`` or ``mm``.

    ``seen``: what was written down of each that was done, counted from 0; ``more``: ``#`` lines besides.
    """
    known = {k: format_length(one.gap, unit, 32) for k, one in enumerate(sweeps) if one.gap is not None}
    known |= seen or {}
    lines = [f"# spot checks: {_HOW}", f"# unit: {unit}", *more.splitlines(), ",".join(HEADINGS)]
    for k, one in enumerate(sweeps, start=1):
        cells = [
            _place(one.bar, unit),
            one.along,
            _place(one.at, unit),
            _place(one.start, unit),
            _place(one.end, unit),
            format_length(one.stop, unit, 32),
            known.get(k - 1, ""),
        ]
        lines.append(
            ",".join([str(k), *(cell if '"' not in cell else '"' + cell.replace('"', '""') + '"' for cell in cells)])
        )
    return "\n".join(lines) + "\n"


def _place(mm: float, unit: str) -> str:
    return format_length(mm, "ft", 8) if unit in ("in", "ft") else format_length(mm, "mm")


def read_spots(path: str | Path, survey: Survey | None = None) -> list[Check]:
    """The strips and single places of a file that were done; raises as :func:`read_strips`, and where none was."""
    found = [one for one, seen in read_strips(path, survey) if seen]
    if not found:
        raise FlatnessError(
            "no strip was filled in",
            file=str(path),
            column="largest gap",
            expected="a gap such as 3/32, or none",
            remedy="fill in the last column of each strip that was done",
        )
    return found


def read_strips(path: str | Path, survey: Survey | None = None) -> list[tuple[Check, str]]:
    """All strips and single places of a file, each with what was written down of it; empty where it was not done.

    Parameters
    ----------
    path : of a CSV file
    survey : whose surface every strip that was done has to lie on; None: not looked at

    Raises
    ------
    FlatnessError : a file that cannot be read, or that is no list of strips; every bad cell by row and column
    """
    path = Path(path)
    try:
        text = read_file(path).decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise FlatnessError(
            "the spot checks cannot be read",
            file=str(path),
            value=why(error),
            expected="a list of strips as `flatness spots` writes it",
            remedy="check the name of the file",
        ) from error
    rows: list[list[str]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        try:
            # a line is a strip: a quote that is not closed would take the next ones into its cell
            rows += csv.reader([line], strict=True) if line else [[]]
        except csv.Error as error:
            raise FlatnessError(
                "a quote is not closed, or stands within a cell",
                file=str(path),
                row=number,
                value=line,
                expected='quotes around a whole cell, those within it doubled, such as "6\' 0"""',
                remedy="write inches without a mark, such as 5/16 in",
            ) from error
    unit = next((m[1] for m in (re.match(r"#\s*unit:\s*(in|mm|ft|cm|m)\s*$", ",".join(row)) for row in rows) if m), "")
    table = [
        (number, [cell.strip() for cell in row])
        for number, row in enumerate(rows, start=1)
        if any(cell.strip() for cell in row) and not row[0].lstrip().startswith("#")
    ]
    if not table or tuple(cell.lower() for cell in table[0][1][: len(HEADINGS)]) != HEADINGS:
        raise FlatnessError(
            "this is no list of strips",
            file=str(path),
            row=table[0][0] if table else 1,
            value=", ".join(table[0][1]) if table else "an empty file",
            expected=", ".join(HEADINGS),
            remedy="write the list with `flatness spots SURVEY --out FILE` and fill in its last column",
        )
    problems: list[Problem] = []
    rows_of = [(number, cells + [""] * (len(HEADINGS) - len(cells))) for number, cells in table[1:]]
    found = [(_check(path, number, cells, unit, survey, problems), cells[-1]) for number, cells in rows_of]
    if problems:
        raise FlatnessError(problems)
    return [(one, seen) for one, seen in found if one is not None]


def gap_seen(text: str, bar: float, unit: str) -> float | None:
    """The largest gap that was written down under a bar [mm]; None for ``none``.

    Raises
    ------
    LengthError : it is no length
    ArgumentError : it is not small beside the bar
    """
    gap = None if text.lower() in NONE else parse_length(text, unit)
    if gap is not None and not is_small(gap, bar):
        raise ArgumentError(
            "the gap is not small beside the bar",
            value=text,
            expected=Note("under-a-tenth", length=bar),
            remedy="write the largest gap under the bar, with its unit",
        )
    return gap


def seen_lines(text: str, sweeps: Sequence[Sweep], unit: str) -> list[Sweep]:
    """The strips that were done, from a line for each: the largest gap, or ``none``; blank where it was not.

    Raises
    ------
    FlatnessError : a line that is no gap, or none that is small beside the bar, by its strip
    ArgumentError : more lines than strips, or none filled in
    """
    lines = [line.strip() for line in text.rstrip().splitlines()]
    if len(lines) > len(sweeps) or not any(lines):
        raise ArgumentError(
            "the lines are not those of the strips",
            column="largest gap",
            value=f"{len(lines)} lines",
            expected=f"up to {len(sweeps)}, one for each strip",
            remedy="leave a line blank where a strip was not done",
        )
    done = []
    for number, (line, sweep) in enumerate(zip(lines, sweeps, strict=False), start=1):
        if not line:
            continue
        try:
            gap = gap_seen(line, sweep.bar, unit)
        except FlatnessError as error:
            raise error.located(column=f"largest gap, strip {number}") from error
        done.append(replace(sweep, gap=gap))
    return done


def _check(
    path: Path, number: int, cells: list[str], unit: str, survey: Survey | None, problems: list[Problem]
) -> Check | None:
    gap, before = cells[-1].lower(), len(problems)

    def bad(column: int, what: str, expected: str, remedy: str) -> None:
        problems.append(Problem(what, str(path), number, HEADINGS[column], cells[column], expected, remedy))

    places = _PLACES.fullmatch(cells[2])
    lengths: dict[int, float] = {}
    seen = (6,) if gap in ("", *NONE) else (7,) if places else (6, 7)
    for column in (1, *(() if places else (3, 4, 5)), *seen):
        try:
            lengths[column] = parse_length(cells[column], unit or "mm")
        except LengthError as error:
            first = error.problems[0]
            bad(column, first.what, first.expected or "a length", first.remedy or "correct the cell")
    for column in (3, 4, 5) if places else ():
        if cells[column]:
            bad(column, "a place beside a number of places", "nothing", "x or y under along, or no place")
    if not places and cells[2].lower() not in ("x", "y"):
        bad(2, "along which axis the bar was slid", "x or y, or such as 5 places", "copy it from the list")
    if len(problems) > before:
        return None
    measured = lengths.get(7)
    if measured is not None and not is_small(measured, lengths[1]):
        bad(7, "a gap that is not small beside the bar", "0 to a tenth of the bar", "check its unit")
        return None
    try:
        if places:
            return SpotCheck(lengths[1], measured, int(places[1]), lengths.get(6))
        sweep = Sweep(lengths[1], cells[2].lower(), lengths[3], lengths[4], lengths[5], lengths[6], measured)
    except FlatnessError as error:
        problems += [
            Problem(one.what, str(path), number, None, one.value, one.expected, one.remedy) for one in error.problems
        ]
        return None
    beyond = None if survey is None or not gap else off_surface(sweep, survey)
    if beyond is not None and survey is not None:
        name, _, (low, high) = beyond
        reach = f"{_place(low, unit)} to {_place(high, unit)}"
        bad(HEADINGS.index(name), f"a strip that lies outside of the {survey.surface}", reach, OFF_SURFACE)
        return None
    return sweep
