"""``flatness take``: a survey read one station at a time, on a page without code for a laptop or a phone."""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import io
import json
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from flatness.commands.options import add_fields, add_limits, limits_of, new_report, read_fields
from flatness.commands.present import LOOPBACK, add_page, check_can_serve, notebook_of, serve_page
from flatness.commands.sheet import Layout
from flatness.errors import FlatnessError
from flatness.files import write_new
from flatness.job.reading import read_limits, read_toml
from flatness.job.report import JobReport, Origin
from flatness.job.schema import WALLS, Keys, read_table
from flatness.job.schema import Field as Key
from flatness.job.values import Area, Choice, Length, Many, Text, Unit
from flatness.limits.kinds import SURFACES, Limit
from flatness.survey.header import QUANTITIES
from flatness.taking.book import (
    TAKEN,
    USUAL_ACCURACY_MM,
    book_of_sheet,
    header_of,
    is_sheet,
    new_book,
    read_lines,
    standing_of,
    taken_from,
)
from flatness.taking.strips import Strips, beside

_POSITIVE = Length(0, above=True)
WALL_LINES = {  # of a survey's header, as they are typed there
    "door": "side, from where to where along it, such as 'bottom 3ft to 6ft': the one that people walk in by first",
    "window": "as a door",
    "wall": "what people call a side, such as 'top = street wall'",
}
OWN: Keys = {
    "length": Key(_POSITIVE, "of the surface along x, from the left wall, such as 14ft; to begin a new survey"),
    "width": Key(_POSITIVE, "of the surface along y, from the door wall, such as 20ft; to begin a new survey"),
    "outline": Key(Area(), "in place of both: corners from 0,0 on, such as '0,0; 14ft,0; 14ft,20ft; 0,20ft'"),
    "opening": Key(Many(Area()), "corners of a stair or a hearth, where nothing is read"),
    **{kind: Key(Many(Text()), told) for kind, told in WALL_LINES.items()},
    "accuracy": Key(_POSITIVE, "of one reading, one standard deviation (1/32in)"),
    "step": Key(_POSITIVE, "between stations (2ft or 600mm; along members 4ft or 1200mm)"),
    "members": Key(Layout(), "joists or studs, such as '16in along y from 12in': every one is read"),
    "range": Key(_POSITIVE, "how far the laser reads, such as 50ft: a larger surface is read from several places"),
    "surface": Key(Choice(*SURFACES), "floor where not given"),
    "reading": Key(Choice(*QUANTITIES), "what will be read (drop)"),
    "unit": Key(Choice("in", "mm"), "of readings that carry none (in)"),
    "title": Key(Text(), "of the survey"),
}
ADDED = ("accuracy", "range", *WALL_LINES)  # to a blank sheet
LIGHT_ON_DARK, PLAIN = "\x1b[38;5;231;48;5;16m", "\x1b[0m"  # of the 256 colors of a terminal: white on black


def add_take(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = (
        "The file is begun where there is none, and gone on with where it is there. A blank sheet, as `flatness sheet` "
        f"writes it, is begun in a file of its name with {TAKEN}; of a job file its survey is taken, for its limits. "
        "It runs until you press Control-C. Exit code: 0 done, 2 bad input."
    )
    parser.set_defaults(run=run_take)
    parser.add_argument("file", help="the survey, CSV, to which each reading is added; a blank sheet; or a job file")
    add_limits(parser)
    add_fields(parser, OWN)
    add_page(
        parser,
        8867,
        "address to serve on, such as this machine's own on the site's network, for a phone; where not given "
        "(127.0.0.1) nobody but you, on this machine, can see the page",
    )


def run_take(options: argparse.Namespace) -> int:
    """Begin the survey where it is not there, and serve the page until it is stopped; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is, or no server of pages installed
    """
    report = new_report(OWN)
    own = read_fields(options, OWN, report)
    path, sheet, job = _files(Path(options.file).resolve())
    surface = _surface(path, sheet) or own["surface"] or "floor"
    asked = JobReport(Origin(Path(options.file).name))
    walls = _of_job(job, asked)
    if "limits" in job and not (options.limit or options.straightedge or options.allowed):
        limits = read_limits(job["limits"], surface, asked)
    else:
        limits = limits_of(options, surface, report, "to check the readings against")
    asked.stop_if_any()
    report.stop_if_any()
    check_can_serve(options)
    if path.exists():
        _say_where_it_stands(path)
    else:
        more = [*walls, *(f"{key}: {text}" for key in WALL_LINES for text in own[key] or ())]
        more += [f"range: {own['range']} mm"] if own["range"] else []
        _begin(path, sheet, own, more)
        print(f"begun: {path}")
    with tempfile.TemporaryDirectory(prefix="flatness-") as folder:
        notebook = Path(folder) / "take.ipynb"
        write_new(notebook, json.dumps(_notebook(path, limits)).encode())
        options.no_browser = options.no_browser or options.ip not in LOOPBACK  # the phone has one
        return serve_page(notebook, options, _said)


def _files(file: Path) -> tuple[Path, Path | None, dict[str, Any]]:
    """The survey, the blank sheet that it is begun from where there is one, and the job file's tables."""
    job: dict[str, Any] = {}
    if file.suffix.lower() == ".toml":
        job = read_toml(file)
        before = job.get("surveys", {}).get("before") if isinstance(job.get("surveys"), dict) else None
        if not isinstance(before, str) or not (file.parent / before).is_file():
            raise FlatnessError(
                "the job names no survey that is there",
                file=file.name,
                column="surveys.before",
                value=str(before),
                expected="the file of a survey that was begun, or of a blank sheet",
                remedy="make a sheet with `flatness sheet`, and name it there",
            )
        file = (file.parent / before).resolve()
    if file.is_file() and is_sheet(file):
        return taken_from(file), file, job
    return file, None, job


def _surface(path: Path, sheet: Path | None) -> str | None:
    """Of which kind of surface a file is that is there."""
    if path.is_file():
        return read_lines(path)[0].surface
    return None if sheet is None else header_of(sheet)[0].surface


def _of_job(job: dict[str, Any], report: JobReport) -> list[str]:
    """Doors, windows and names of walls of a job file, as lines of a survey's header."""
    if "unit" in job:
        report.unit = Unit().read(job["unit"], "unit", report) or "mm"
    table = read_table(job.get("walls", {}), "walls", WALLS, report)
    walls = {} if table is None else table.values
    lines = [f"{key}: {one}" for key in ("door", "window") for one in walls.get(key, ())]
    return lines + [f"wall: {side} = {name}" for side, name in walls.get("names", {}).items()]


def _begin(path: Path, sheet: Path | None, own: dict[str, Any], more: list[str]) -> None:
    if sheet is not None:
        twice = [key for key, value in own.items() if value is not None and key not in ADDED]
        if twice:
            raise FlatnessError(
                "the blank sheet says this already",
                file=sheet.name,
                column=f"--{twice[0]}",
                remedy="leave the option out; or give the name of a new survey in place of the sheet",
            )
        book_of_sheet(path, sheet, own["accuracy"], more)
        return
    if own["outline"] is None and (own["length"] is None or own["width"] is None):
        raise FlatnessError(
            "a new survey needs the size of the surface",
            file=path.name,
            expected="--length 14ft --width 20ft, or --outline",
            remedy="give both; or name a survey that is there, to go on with it",
        )
    new_book(
        path,
        length=own["length"] or 0.0,
        width=own["width"] or 0.0,
        step=own["step"],
        accuracy=own["accuracy"] or USUAL_ACCURACY_MM,
        outline=own["outline"],
        openings=own["opening"] or (),
        framing=own["members"],
        unit=own["unit"] or "in",
        reading=own["reading"] or "drop",
        surface=own["surface"] or "floor",
        title=own["title"] or "",
        more=more,
    )


def _say_where_it_stands(path: Path) -> None:
    """Read the survey before a page is served, so that what is wrong with it is said here."""
    unit, lines = read_lines(path)[1:]
    read = sum(one.reading is not None for one in standing_of(lines))
    strips = Strips(beside(path), unit).seen
    print(f"going on with {path}: {read} readings so far" + (f", {len(strips)} strips" if strips else ""))


def _notebook(path: Path, limits: Sequence[Limit]) -> dict[str, Any]:
    wanted = ", ".join(map(repr, limits))
    return notebook_of(
        "from flatness.limits.kinds import Limit\nfrom flatness.panels import take_panel\n\n"
        f"take_panel({str(path)!r}, [{wanted}], page=True)"
    )


def _said(address: str, seen: bool) -> Iterator[str]:
    if not seen:
        yield f"The page is at {address} - press Control-C to stop."
        return
    yield f"On the phone open: {address}"
    yield from _qr_code(address)
    yield "Whoever has this address can write readings: give it only to whom you trust. Press Control-C to stop."


def _qr_code(address: str) -> Iterator[str]:
    """The address as a code that a phone's camera reads, where segno is installed and the stream has its blocks.

    Blocks are the light parts. A terminal is told their colors, which would be the wrong way round on a light one.
    """
    if importlib.util.find_spec("segno") is None:
        return
    text, stream = io.StringIO(), getattr(sys.stdout, "beneath", sys.stdout)
    importlib.import_module("segno").make(address, micro=False).terminal(text, compact=True)
    try:
        text.getvalue().encode(stream.encoding or "utf-8")
    except UnicodeEncodeError:
        return
    for line in text.getvalue().splitlines():
        if stream.isatty():
            stream.write(f"{LIGHT_ON_DARK}{line}{PLAIN}\n")
        else:
            yield line
