"""``flatness light``: what light along a surface will show of it, and how far off a lamp must stand to show nothing."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from flatness.commands.options import add_fields, add_json, add_keys, job_of, new_report, print_written, read_fields
from flatness.comparison.records import plain
from flatness.errors import FlatnessError
from flatness.job.schema import Field, Keys
from flatness.job.values import Choice, Length, Many, Number
from flatness.light.eye import LEAST, MOST, Eye
from flatness.light.findings import EVERY_MM, EYE_MM, NOTHING, SHOWS, UNKNOWN, WINDOW, LightFindings, what_light_shows
from flatness.light.lamps import LEAST_DEGREES, SIDES
from flatness.survey.files import read_survey
from flatness.survey.readings import Survey

CODES = {None: 0, NOTHING: 0, SHOWS: 1, UNKNOWN: 3}
DRAWS = 60
OWN: Keys = {
    "distance": Field(Length(0, above=True), "from which it is looked at (5ft, or 1.5m)"),
    "angle": Field(
        Number(LEAST_DEGREES, 90), "at which light from the window strikes it, in degrees above the surface"
    ),
    "along": Field(
        Many(Choice("x", "y")), "ways that light from the window runs (along x on a wall, both on a floor or ceiling)"
    ),
    "lamp": Field(Length(0, above=True), "how far off the surface lamps stand, such as 14in"),
    "every": Field(Length(0, above=True), "from lamp to lamp in a row (4ft, or 1.2m)"),
    "side": Field(
        Many(Choice(*SIDES)),
        "along which lamps stand: left and bottom are where x and y are least (the top of a wall, all sides of a floor "
        "or ceiling)",
    ),
    "threshold": Field(Number(LEAST, MOST), "how many times as strong as what is just seen counts as seen (1)"),
    "draws": Field(Number(1, 100_000, whole=True), f"surfaces drawn that the readings allow ({DRAWS})"),
}


def add_light(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = (
        "Exit code: 0 the light that was given shows nothing, or none was given; 1 it shows something; 3 the readings "
        "cannot say; 2 bad input."
    )
    parser.set_defaults(run=run_light)
    parser.add_argument("file", help="survey file, CSV or XLSX")
    add_fields(parser, OWN)
    add_keys(parser, "--sheet", "--unit", "--confidence", "--seed")
    parser.add_argument("--before", metavar="FILE", help="survey of it before the work, to stand beside it in pictures")
    parser.add_argument("--out", metavar="DIR", help="write pictures of how it would look there")
    add_json(parser)


def run_light(options: argparse.Namespace) -> int:
    """Say what lights show; the number is the exit code.

    Raises
    ------
    FlatnessError : input that cannot be taken as it is
    """
    from flatness.words.lights import light_report

    report = new_report(OWN)
    if options.before and not options.out:
        report.add("before", "a survey before the work is for pictures alone", options.before, "--out DIR beside it")
    own = read_fields(options, OWN, report)
    job = job_of(options, {"surveys": {"before": options.file}}, report)
    usual = {"distance": 1500.0, "every": 1200.0} if job.show == "mm" else {"distance": EYE_MM, "every": EVERY_MM}
    wanted = {
        "distance": own["distance"] or usual["distance"],
        "eye": Eye(times=own["threshold"] or 1.0),
        "along": own["along"],
        "sides": own["side"],
        "angle": own["angle"],
        "off": own["lamp"],
        "every": own["every"] or usual["every"],
        "draws": int(own["draws"] or DRAWS),
        "seed": job.seed,
        "confidence": job.confidence,
    }
    found = what_light_shows(job.before.survey, **wanted)
    pictures: list[Path] = []
    if options.out:
        from flatness.charts.pictures import light_charts, write_charts

        before = None if options.before is None else what_light_shows(_earlier(options.before, found), **wanted)
        charts = light_charts(found, before, job.show)
        pictures = write_charts(charts, Path(options.out), f"{Path(options.file).stem}-light")
    if options.json:
        print(json.dumps(_json(found, options.file, job.show, pictures), allow_nan=False))
    else:
        print(light_report(found, job.show))
        print_written(pictures)
    return CODES[found.answer]


def _earlier(file: str, found: LightFindings) -> Survey:
    """The survey before the work, of the same kind of surface."""
    earlier = read_survey(file)
    if earlier.surface != found.survey.surface:
        raise FlatnessError(
            "the survey before the work is of another kind of surface",
            column="--before",
            value=earlier.surface,
            expected=found.survey.surface,
            remedy="name a survey of the same surface",
        )
    return earlier


def _json(found: LightFindings, file: str, unit: str, pictures: list[Path]) -> dict[str, Any]:
    from flatness.words.lights import ANGLES, NOT_MODELLED, answer, wave_rows

    given = next((one.given for one in found.lights if one.kind == WINDOW), None)
    angles = ANGLES if given is None else (given,)
    return {
        "file": file,
        "title": found.survey.title,
        "surface": found.survey.surface,
        "readings": len(found.survey.points),
        "answer": answer(found, unit),
        "result": found.answer,
        "distance_mm": found.distance,
        "times": found.eye.times,
        "lights": [
            {
                "kind": one.kind,
                "along": one.along,
                "side": one.side,
                f"shows_nothing_from_{_unit(one.kind)}": plain(one.safe),
                f"shows_to_{_unit(one.kind)}": one.shows,
                f"given_{_unit(one.kind)}": one.given,
                "result": one.answer,
                "x_mm": one.at[0],
                "y_mm": one.at[1],
                "wave_mm": one.wave,
                "shortest_wave_read_mm": one.shortest,
            }
            for one in found.lights
        ],
        "lamps_every_mm": found.every,
        "angles_degrees": list(angles),
        "waves_along": found.waves_along,
        "waves_trough_to_crest": [
            {
                "along": way,
                "wave_mm": row.wave,
                "allowed_mm": list(row.allowed),
                "here_mm": row.here,
                "most_mm": None if row.here is None else row.most,
            }
            for way in sorted(found.spectra)
            for row in wave_rows(found, unit, angles, way)
        ],
        "draws": found.draws,
        "seed": found.seed,
        "confidence": found.confidence,
        "not_modelled": NOT_MODELLED,
        "notes": list(found.likely.notes),
        "pictures": [str(path) for path in pictures],
    }


def _unit(kind: str) -> str:
    return "degrees" if kind == WINDOW else "mm"
