"""``read_room``: the room that a TOML file names, its surveys read, with all that is wrong with it in one report.

A room file is a job file for several surfaces: each ``[[surface]]`` holds what a job file holds, and where the surface
stands. Floors and ceilings come to one datum by the benchmarks that their surveys read, shared by name.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from flatness.errors import FlatnessError
from flatness.job import room_schema
from flatness.job.reading import make_job, read_toml
from flatness.job.records import Job, PlanTerms
from flatness.job.report import JobFileError, JobReport, Origin, key_path
from flatness.job.schema import ABOUT, Placed, Table, make_all, read_table, read_tables
from flatness.job.values import Unit
from flatness.notes import Note
from flatness.room.drawn import PARALLEL_COS
from flatness.room.records import (
    SETTING_MM,
    Agreed,
    Door,
    Keep,
    Level,
    Opening,
    Recess,
    Room,
    RoomSurface,
    TapeCorner,
    Trim,
    WallLine,
)
from flatness.survey.cells import nearest
from flatness.survey.readings import Survey

BEYOND_MM = 25.4  # a reading so far beyond the ends of its wall is off the wall
APART = 3.0  # standard errors by which shared benchmarks may disagree before it is noted


def read_room(path: str | os.PathLike[str]) -> Room:
    """The room that a file names, its surveys read.

    Parameters
    ----------
    path : of a TOML file; the surveys' paths in it start from its folder

    Returns
    -------
    Room : everything in mm, on one datum; ``.surfaces`` by name, ``.checks`` (DataFrame), ``.clear_height``

    Raises
    ------
    JobFileError : with all that is wrong with the file and with its surveys, each with its key and the remedy
    """
    file = Path(path)
    raw = read_toml(file)
    report = JobReport(Origin(file.name))
    if "unit" in raw:  # before any length is read
        report.unit = Unit().read(raw["unit"], "unit", JobReport(report.origin)) or "mm"
    top = read_table(raw, "", room_schema.TOP, report)
    about = top.values if top is not None else {}
    single = {
        name: read_table(raw[name], name, keys, report, ABOUT)
        for name, (keys, _) in room_schema.SINGLE.items()
        if name in raw
    }
    datum, agreed = single.get("datum"), single.get("checks")
    surfaces, notes = _surfaces(raw, about, datum, report, file)
    openings = [_opening(one, surfaces, report) for one in _tables(raw, "opening", report)]
    tapes = make_all(list(_tables(raw, "tape", report)), _tape(report), report)
    recesses = [_recess(one, surfaces, report) for one in _tables(raw, "recess", report)]
    keeps = [_kept(one, surfaces, report) for one in _tables(raw, "keep", report)]
    trims = [_trim(one, surfaces, report) for one in _tables(raw, "trim", report)]
    _check_control(surfaces, report)
    report.stop_if_any()
    made = {one.item.name: one.item for one in surfaces}
    return Room(
        title=about.get("title", file.stem),
        surfaces=made,
        openings=tuple(one for one in openings if one is not None),
        tapes=tuple(one.item for one in tapes),
        recesses=tuple(one for one in recesses if one is not None),
        agreed=Agreed(**(agreed.values if agreed is not None else {})),
        keeps=tuple(one for one in keeps if one is not None),
        benchmarks={} if datum is None else datum.values.get("benchmarks") or {},
        trims=tuple(one for one in trims if one is not None),
        targets={} if (targets := single.get("targets")) is None else targets.values,
        show=about.get("show", "in" if next(iter(made.values())).survey.unit in ("in", "ft") else "mm"),
        confidence=about.get("confidence", 0.95),
        draws=about.get("draws", 200),
        seed=about.get("seed", 0),
        source=file.name,
        notes=tuple(notes),
    )


def _tables(raw: Mapping[str, Any], name: str, report: JobReport) -> Sequence[Table]:
    keys, _ = room_schema.SEVERAL[name]
    found = read_tables(raw.get(name), name, keys, report, ABOUT)
    _check_names(found, name, report)
    return [one for one in found if one is not None and one.is_right]


def _check_names(tables: Sequence[Table | None], name: str, report: JobReport) -> None:
    names = [one.values.get("name") for one in tables if one is not None]
    for i, each in enumerate(names):
        if each is not None and each in names[:i]:
            report.add(f"{name}[{i + 1}].name", f"two of one name among [[{name}]]", each, "each its own", "rename one")


# the surfaces


def _surfaces(
    raw: Mapping[str, Any], about: Mapping[str, Any], datum: Table | None, report: JobReport, file: Path
) -> tuple[list[Placed], list[str]]:
    """The surfaces that can be made, and notes on how they came to one datum."""
    found: list[Placed] = []
    notes: list[str] = []
    if "surface" in raw and not raw["surface"]:
        report.add("surface", "a room without a surface", raw["surface"], "[[surface]], one or more", "add them")
    for one in _tables(raw, "surface", report):
        job = _job(one, about, report, file)
        if job is None:
            continue
        made = _surface(one, job, datum, report)
        if made is not None:
            surface, note = made
            found.append(Placed(one.path, one.raw, surface))
            notes += note
    return found, notes


def _job(table: Table, about: Mapping[str, Any], report: JobReport, file: Path) -> Job | None:
    """The job that a surface's table is; what is wrong with it goes into the report."""
    raw = {name: table.raw[name] for name in room_schema.OF_JOB if name in table.raw}
    raw |= {name: about[name] for name in room_schema.INHERITED if name in about}
    within = JobReport(replace(report.origin, within=table.path), report.unit)
    try:
        return make_job(raw, within, file, file.parent)
    except JobFileError as error:
        report.problems += error.problems
        return None


def _surface(table: Table, job: Job, datum: Table | None, report: JobReport) -> tuple[RoomSurface, list[str]] | None:
    survey, values = job.before.survey, table.values
    before, notes = len(report.problems), list[str]()
    level: Level | None = None
    wall: WallLine | None = None
    is_wall = survey.surface == "wall"
    for key in room_schema.LEVEL if is_wall else room_schema.WALL:
        if key in values:
            what = f"not a key of a {survey.surface}"
            expected = ", ".join(room_schema.WALL if is_wall else room_schema.LEVEL)
            report.add(key_path(table.path, key), what, table.raw[key], expected, "leave it out")
    if is_wall:
        wall = _wall(table, survey, report)
    else:
        level, notes = _level(table, survey, datum, report)
    if len(report.problems) > before:
        return None
    plan = job.plan or PlanTerms()
    made = RoomSurface(
        name=values["name"],
        survey=survey,
        room=values.get("room", ""),
        level=level,
        wall=wall,
        limits=job.limits,
        depths=plan.depths,
        beneath=plan.beneath,
        rates=plan.rates,
        members=None if job.framing is None else job.framing.members,
    )
    return made, notes


def _wall(table: Table, survey: Survey, report: JobReport) -> WallLine | None:
    values = table.values
    missing = [key for key in ("from", "to") if key not in values]
    for key in missing:
        expected = f'a line that begins with {key} =, such as {key} = ["0", "12 ft"]'
        report.add(key_path(table.path, key), "a wall without its place on the plan", "nothing", expected, "add it")
    if missing:
        return None
    places = {"start": values["from"], "end": values["to"]}
    options = {"control_offset": "offset", "control_error": "error", "control": "control", "base": "base"}
    given = {name: values[key] for key, name in options.items() if key in values}
    wall = report.make(table.path, table.raw, WallLine, **places, **given)
    if wall is None:
        return None
    x = survey.points["x"].to_numpy(dtype=float)
    off = max(float(x.max()) - wall.length, -float(x.min()))
    if off > BEYOND_MM:
        path, written = f"{table.path}.from, {table.path}.to", f"{wall.length:.0f} mm from end to end"
        expected = f"readings between its ends; they run from {x.min():.0f} to {x.max():.0f} mm"
        report.add(path, "readings beyond the ends of the wall", written, expected, "correct from and to")
    return wall


def _level(table: Table, survey: Survey, datum: Table | None, report: JobReport) -> tuple[Level | None, list[str]]:
    """Where a floor's or ceiling's datum stands, and notes on it."""
    values, path = table.values, table.path
    known = {} if datum is None else datum.values.get("benchmarks") or {}
    read = survey.ties[survey.ties["kind"].eq("benchmark") & survey.ties["label"].isin(list(known))]
    if "datum" in values:
        if len(read):
            labels = ", ".join(sorted(set(read["label"])))
            remedy = "leave datum out, or the benchmarks"
            report.add(f"{path}.datum", "its survey read the room's benchmarks", labels, "one of the two", remedy)
            return None, []
        return Level(height=values["datum"], error=values.get("datum_error", 0.0), basis=Note("room-stated")), []
    if not len(read):
        expected = "a reading on a benchmark that [datum] names, or the height of the survey's datum"
        there = ", ".join(known) or "none is named"
        remedy = f'add datum = "0" where its heights are off the room\'s own datum; benchmarks of the room: {there}'
        report.add(f"{path}.datum", "nothing ties this surface to the room's datum", "nothing", expected, remedy)
        return None, []
    assert datum is not None
    up = -1.0 if survey.surface == "ceiling" else 1.0
    offsets = np.array(
        [known[label] - up * height for label, height in zip(read["label"], read["height"], strict=True)]
    )
    one = math.hypot(SETTING_MM if survey.accuracy is None else survey.accuracy, datum.values.get("error", 0.0))
    notes: list[str] = []
    if len(offsets) > 1 and np.ptp(offsets) > APART * math.sqrt(2) * one:
        notes.append(Note("room-benchmarks-apart", surface=values["name"], by=float(np.ptp(offsets))))
    basis = Note("room-benchmarks", labels=tuple(dict.fromkeys(read["label"])))
    return Level(height=float(offsets.mean()), error=one / math.sqrt(len(offsets)), basis=basis), notes


def _check_control(surfaces: Sequence[Placed], report: JobReport) -> None:
    """Walls that share a control line run along it."""
    first: dict[str, RoomSurface] = {}
    for one in surfaces:
        wall: WallLine | None = one.item.wall
        if wall is None or not wall.control:
            continue
        leader = first.setdefault(wall.control, one.item)
        assert leader.wall is not None
        if abs(float(wall.along @ leader.wall.along)) < PARALLEL_COS:
            expected = f"a wall along the same line as {leader.name}"
            remedy = "name another control line, or correct from and to"
            report.add(
                f"{one.path}.control", "a control line that does not run along the wall", wall.control, expected, remedy
            )


# what is measured besides


def _known(name: str, kind: str, path: str, surfaces: Sequence[Placed], report: JobReport) -> bool:
    names = [one.item.name for one in surfaces if one.item.kind == kind]
    if name in names:
        return True
    remedy = f"did you mean {nearest(name, names)}?" if names else f"add a [[surface]] that is a {kind}"
    report.add(path, f"no {kind} of this name", name, ", ".join(names) or f"a {kind}", remedy)
    return False


def _opening(table: Table, surfaces: Sequence[Placed], report: JobReport) -> Opening | None:
    values, path, before = dict(table.values), table.path, len(report.problems)
    for key, kind in (("floors", "floor"), ("ceilings", "ceiling")):
        for i, name in enumerate(values.get(key, ()), 1):
            _known(name, kind, f"{path}.{key}[{i}]", surfaces, report)
    floors, ceilings = values.get("floors", ()), values.get("ceilings", ())
    alone = "next_height" in values
    if ("floors" in values or alone) and len(floors) != (1 if alone else 2):
        expected = "one floor, with next_height beyond it" if alone else "two floors, or one and next_height"
        report.add(f"{path}.floors", "a threshold needs two sides", list(floors), expected, "add or take one away")
    if ceilings and len(ceilings) != 2:
        report.add(f"{path}.ceilings", "a step overhead needs two sides", list(ceilings), "two ceilings", "name both")
    for key in ("ends", "diagonals"):
        if key in values and len(values[key]) != 2:
            report.add(f"{path}.{key}", "not two of them", table.raw[key], "two", "give both")
    if (floors or ceilings) and "ends" not in values:
        expected = 'ends of the threshold on the plan, such as ends = [["4 ft", "0"], ["7 ft", "0"]]'
        report.add(f"{path}.ends", "a key is missing", "nothing", expected, "add it")
    if "door" in values:
        values["door"] = report.make(f"{path}.door", table.raw["door"], Door, **values["door"])
    return Opening(**values) if len(report.problems) == before else None


def _tape(report: JobReport) -> Any:
    """What makes a corner by tape."""

    def make(**values: Any) -> TapeCorner:
        from flatness.room.geometry import tape_cosine

        if len(values["legs"]) != 2:
            raise FlatnessError("not two legs", column="legs", expected="two lengths", remedy="give both")
        first, second = values["legs"]
        tape_cosine(first, second, values["diagonal"])
        return TapeCorner(**values)

    return make


def _trim(table: Table, surfaces: Sequence[Placed], report: JobReport) -> Trim | None:
    known = _known(table.values["wall"], "wall", f"{table.path}.wall", surfaces, report)
    return Trim(**table.values) if known else None


def _kept(table: Table, surfaces: Sequence[Placed], report: JobReport) -> Keep | None:
    before, there = len(report.problems), [one.item.name for one in surfaces]
    for i, name in enumerate(table.values["surfaces"], 1):
        if name not in there:
            remedy = f"did you mean {nearest(name, there)}?" if there else "add it"
            report.add(f"{table.path}.surfaces[{i}]", "no surface of this name", name, ", ".join(there), remedy)
    made = report.make(table.path, table.raw, Keep, **table.values)
    return made if len(report.problems) == before else None


def _recess(table: Table, surfaces: Sequence[Placed], report: JobReport) -> Recess | None:
    known = _known(table.values["ceiling"], "ceiling", f"{table.path}.ceiling", surfaces, report)
    return Recess(**table.values) if known else None
