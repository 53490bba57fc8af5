"""``flatness take``: a survey read one station at a time, on a page without code for a laptop or a phone."""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import io
import json
import tempfile
from pathlib import Path
from typing import Any

from flatness.commands.options import add_fields, add_limits, limits_of, new_report, read_fields
from flatness.commands.present import LOOPBACK, add_page, check_can_serve, notebook_of, serve_page
from flatness.commands.sheet import Layout
from flatness.errors import FlatnessError
from flatness.files import write_new
from flatness.job.schema import Field as Key
from flatness.job.schema import Keys
from flatness.job.values import Choice, Length, Text
from flatness.limits.kinds import SURFACES
from flatness.survey.header import QUANTITIES
from flatness.taking.book import USUAL_ACCURACY_MM, new_book, read_lines, standing_of

_POSITIVE = Length(0, above=True)
OWN: Keys = {
    "length": Key(_POSITIVE, "of the surface along x, from the left wall, such as 14ft; to begin a new survey"),
    "width": Key(_POSITIVE, "of the surface along y, from the door wall, such as 20ft; to begin a new survey"),
    "accuracy": Key(_POSITIVE, "of one reading, one standard deviation (1/32in)"),
    "step": Key(_POSITIVE, "between stations (2ft or 600mm; along members 4ft or 1200mm)"),
    "members": Key(Layout(), "joists or studs, such as '16in along y from 12in': every one is read"),
    "surface": Key(Choice(*SURFACES), "floor where not given"),
    "reading": Key(Choice(*QUANTITIES), "what will be read (drop)"),
    "unit": Key(Choice("in", "mm"), "of readings that carry none (in)"),
    "title": Key(Text(), "of the survey"),
}


def add_take(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = (
        "The file is begun where there is none, and gone on with where it is there. It runs until you press Control-C. "
        "Exit code: 0 done, 2 bad input."
    )
    parser.set_defaults(run=run_take)
    parser.add_argument("file", help="the survey file, CSV, to which each reading is added")
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
    limits_of(options, own["surface"] or "floor", report, "to check the readings against")
    report.stop_if_any()
    check_can_serve(options)
    path = Path(options.file).resolve()
    if path.exists():
        _say_where_it_stands(path)
    else:
        _begin(path, own)
    with tempfile.TemporaryDirectory(prefix="flatness-") as folder:
        notebook = Path(folder) / "take.ipynb"
        write_new(notebook, json.dumps(_notebook(path, options)).encode())
        options.no_browser = options.no_browser or options.ip not in LOOPBACK  # the phone has one
        return serve_page(notebook, options, _said)


def _begin(path: Path, own: dict[str, Any]) -> None:
    if own["length"] is None or own["width"] is None:
        raise FlatnessError(
            "a new survey needs the size of the surface",
            file=path.name,
            expected="--length 14ft --width 20ft",
            remedy="give both; or name a survey that is there, to go on with it",
        )
    if path.suffix.lower() != ".csv":
        raise FlatnessError(
            "a survey is written as CSV", file=path.name, expected="a name that ends in .csv", remedy="rename it"
        )
    unit, framing = own["unit"] or "in", own["members"]
    new_book(
        path,
        length=own["length"],
        width=own["width"],
        step=own["step"],
        accuracy=own["accuracy"] or USUAL_ACCURACY_MM,
        framing=framing,
        unit=unit,
        reading=own["reading"] or "drop",
        surface=own["surface"] or "floor",
        title=own["title"] or "",
    )
    print(f"begun: {path}")


def _say_where_it_stands(path: Path) -> None:
    """Read the survey before a page is served, so that what is wrong with it is said here."""
    read = sum(one.reading is not None for one in standing_of(read_lines(path)[2]))
    print(f"going on with {path}: {read} readings so far")


def _notebook(path: Path, options: argparse.Namespace) -> dict[str, Any]:
    limits: list[Any] = list(options.limit or ())
    agreed = ""
    if options.straightedge or options.allowed:
        agreed = (
            "flatness.straightedge_limit("
            f"flatness.parse_length({options.straightedge!r}, 'in'), flatness.parse_length({options.allowed!r}, 'in'))"
        )
    wanted = ", ".join([*map(repr, limits), *([agreed] if agreed else [])])
    return notebook_of(
        f"import flatness\nfrom flatness.panels import take_panel\n\ntake_panel({str(path)!r}, [{wanted}], page=True)"
    )


def _said(address: str, seen: bool) -> list[str]:
    if not seen:
        return [f"The page is at {address} - press Control-C to stop."]
    return [
        f"On the phone open: {address}",
        *_qr_code(address),
        "Whoever has this address can write readings: give it only to whom you trust. Press Control-C to stop.",
    ]


def _qr_code(address: str) -> list[str]:
    """The address as a code that a phone's camera reads, where segno is installed."""
    if importlib.util.find_spec("segno") is None:
        return []
    out = io.StringIO()
    importlib.import_module("segno").make(address, micro=False).terminal(out, compact=True)
    return [out.getvalue()]
