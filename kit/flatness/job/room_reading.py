"""``read_room``: the room that a TOML file names, its keys, its surveys read, with all that is wrong in one report.

A room file is a job file for several surfaces: each ``[[surface]]`` holds what a job file holds, and where the surface
stands. Floors and ceilings come to one datum by the benchmarks that their surveys read, shared by name.
"""

from __future__ import annotations

import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from flatness.arrays import Floats
from flatness.errors import FlatnessError
from flatness.job import schema, values
from flatness.job.reading import make_job, read_toml
from flatness.job.records import Job, PlanTerms
from flatness.job.report import JobFileError, JobReport, Origin, key_path
from flatness.job.schema import (
    ANY,
    PLACE,
    POSITIVE,
    TEXT,
    UPWARD,
    Field,
    Keys,
    Nested,
    Placed,
    Table,
    make_all,
    read_table,
    read_tables,
)
from flatness.job.values import Unit
from flatness.notes import Note
from flatness.room.drawn import PARALLEL_COS
from flatness.room.geometry import CORNER_MM
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
from flatness.room.targets import WALLS
from flatness.survey.cells import nearest
from flatness.survey.readings import Survey

DATUM: Keys = {
    "benchmarks": Field(values.Named(ANY), "height of each benchmark above the room's datum, by its label", True),
    "error": Field(UPWARD, "of each of these heights, one standard deviation (0)"),
    "places": Field(values.Named(PLACE), "where each benchmark is on the plan, by its label"),
}
# of a surface: where it stands; keys of a job file stand beside these
LEVEL: Keys = {
    "datum": Field(ANY, "height of its survey's datum above the room's", when="no benchmark was read"),
    "datum_error": Field(UPWARD, "of that height, one standard deviation (0)"),
}
WALL: Keys = {
    "from": Field(PLACE, "on the plan, where its x axis begins; x runs left to right as seen from the room"),
    "to": Field(PLACE, "on the plan, where its x axis ends"),
    "control_offset": Field(ANY, "how far off that line, into the room, its control line stood (0)"),
    "control_error": Field(UPWARD, "of the control line at each end, one standard deviation (1/32 in)"),
    "control": Field(TEXT, "name of the control line, where other walls were read off it, too"),
    "base": Field(ANY, "height of its y = 0 above the room's datum (0)"),
}
PLACED: Keys = {
    "name": Field(TEXT, "what it is called", True),
    "room": Field(TEXT, "which room it belongs to, where there are several"),
    **LEVEL,
    **WALL,
}
# of a job file's keys those that count for a surface of a room, and of its tables the keys in them
OF_JOB: Mapping[str, Sequence[str]] = {
    "surveys": ("before", "before_sheet"),
    "limits": (),
    "plan": ("depths", "rates"),
    "members": (*schema.LAYOUT, "crossing"),
    "beneath": tuple(schema.BENEATH),
}
# what holds in a room what another key holds in a job
INSTEAD: Mapping[str, str] = {
    "surveys.after": "a second room file, of the surveys after,",
    "plan.setting_error": "setting_error of [targets]",
    "door": "door of an [[opening]]",
    "threshold": "floors of an [[opening]]",
    "stair": "[[keep]]",
    "headroom": "[[keep]]",
    "reveal": "[[trim]]",
}
NOT_ITS_OWN = ("title", "unit", "show", "confidence", "draws", "seed")  # they stand at the top of a room file
SURFACE: Keys = {**PLACED, **{name: one for name, one in schema.TOP.items() if name not in NOT_ITS_OWN}}
INHERITED = NOT_ITS_OWN[1:]

_PAIR = values.Many(TEXT, 'a list of names, such as ["gallery floor", "store floor"]')
_TWO = values.Many(UPWARD, 'two lengths, such as ["7 ft 2 in", "7 ft 2 1/8 in"]')
_ENDS = values.Many(PLACE, f"a list of two places, each {values.Place.such_as}")
DOOR: Keys = {
    "hinge": Field(PLACE, "on the plan", True),
    "tip": Field(PLACE, "on the plan, of the leaf's other edge, shut", True),
    "bottom": Field(ANY, "height of the underside of the leaf above the room's datum", True),
    "least": Field(UPWARD, "gap that it needs over the floor", True),
    "opens": Field(values.Choice("left", "right"), "which way it turns about its hinge, from above (left)"),
    "swing": Field(values.Number(0, 180, above=True), "how far it turns, in degrees (90)"),
}
OPENING: Keys = {
    "name": Field(TEXT, "what it is called", True),
    "jamb_left": Field(ANY, "how far it is out of plumb over its height, the top into the opening positive"),
    "jamb_right": Field(ANY, "how far it is out of plumb over its height, the top into the opening positive"),
    "head": Field(ANY, "how far it is out of level over its width, the right end up positive"),
    "diagonals": Field(_TWO, "both, corner to corner"),
    "error": Field(UPWARD, "of one of these measures, one standard deviation (1/16 in)"),
    "ends": Field(_ENDS, "of the threshold, on the plan"),
    "floors": Field(_PAIR, "surfaces that meet there; one alone with next_height"),
    "ceilings": Field(_PAIR, "two surfaces that meet over it"),
    "next_height": Field(ANY, "finished floor beyond, above the room's datum"),
    "door": Field(Nested(DOOR), "the leaf, and what it swings over"),
}
TAPE: Keys = {
    "name": Field(TEXT, "the corner, or of diagonals the corner where the first begins", True),
    "legs": Field(_TWO, "along both walls, such as 6 ft and 8 ft; of diagonals the room's two sides", True),
    "diagonal": Field(POSITIVE, "between their ends, of a corner"),
    "diagonals": Field(_TWO, "both of a room, from corner to corner; the first from the corner that is named"),
    "error": Field(UPWARD, "of one measure, one standard deviation (1/16 in)"),
}
RECESS: Keys = {
    "name": Field(TEXT, "what is recessed", True),
    "ceiling": Field(TEXT, "the surface above: the framing that was read", True),
    "height": Field(ANY, "of the finished ceiling above the room's datum", True),
    "depth": Field(POSITIVE, "that it needs above the finished ceiling", True),
    "area": Field(values.Area(), "corners on the plan of the part where it is"),
}
KEEP: Keys = {
    "name": Field(TEXT, "what needs it, such as a bath, a stair or a door head", True),
    "surfaces": Field(_PAIR, "two walls that face, a floor and a ceiling, or one surface alone", True),
    "least": Field(POSITIVE, "that stays clear"),
    "most": Field(POSITIVE, "that may be clear"),
    "places": Field(values.Many(PLACE, f"a list of places, each {values.Place.such_as}"), "on the plan (everywhere)"),
    "height": Field(ANY, "of what stands over a floor or under a ceiling, above the room's datum"),
}
TRIM: Keys = {
    "name": Field(TEXT, "what it is called", True),
    "wall": Field(TEXT, "along which it runs", True),
    "reveal": Field(POSITIVE, "gap over the floor that is wanted", True),
    "height": Field(ANY, "of its foot above the room's datum (so high that the gap is nowhere less)"),
}
TARGETS: Keys = {
    "walls": Field(
        values.Choice(*WALLS, names=("All square", "Parallel in pairs", "Each as it is")),
        "all square, parallel in pairs, or each as it is (square)",
        label="Walls",
    ),
    "plumb": Field(schema.FLAG, "whether walls are brought to plumb (true)"),
    "level": Field(schema.FLAG, "whether floors and ceilings are brought to level (true)"),
    "setting_error": Field(UPWARD, "of setting a plane out, one standard deviation (1/32 in)"),
    "one_ceiling": Field(schema.FLAG, "whether all ceilings come to one height (true)"),
    "leave": Field(schema.FLAG, "whether a surface that needs no work is left as it is (true)"),
}
_AGREED_HELP = {
    "clear_height": "least (IRC: 7 ft)",
    "ceiling": "most that a ceiling falls from one end to the other (DIN 18202 table 2)",
    "ceiling_plane": "most off one plane, from lowest to highest",
    "ceiling_step": "most step between two ceilings",
    "parallel": "most taper of facing walls over their run",
    "square": "most offset of a corner over the leg (DIN 18202 table 2)",
    "leg": "over which an offset is measured (the shorter wall)",
    "plumb": "most lean of a wall over the height that was read (DIN 18202 table 2)",
    "wall_foot": "most that the floor varies along a wall",
    "jamb": "most out of plumb",
    "head": "most out of level",
    "diagonals": "most difference",
    "threshold": "most step (ADA standards: 1/4 in)",
}
CHECKS: Keys = {one.name: Field(POSITIVE, _AGREED_HELP[one.name]) for one in fields(Agreed)}
SINGLE: Mapping[str, tuple[Keys, str]] = {
    "datum": (DATUM, "the one datum of the room: benchmarks that its surveys read"),
    "checks": (CHECKS, "what is agreed; a published limit counts where one is left out"),
    "targets": (TARGETS, "how the planes that all surfaces are brought to are chosen"),
}
SEVERAL: Mapping[str, tuple[Keys, str]] = {
    "surface": (SURFACE, "a floor, ceiling or wall: a job of its own, with where it stands"),
    "opening": (OPENING, "an opening, by level and tape, and what it joins"),
    "trim": (TRIM, "a trim whose foot is set to a level line along a wall"),
    "keep": (KEEP, "a clear width or height that the targets must keep"),
    "tape": (TAPE, "a corner by tape: two legs and the diagonal; or a room: two sides and both diagonals"),
    "recess": (RECESS, "what is recessed above a finished ceiling"),
}
DRAWS = Field(values.Number(20, 100_000, whole=True), "surfaces drawn that the readings allow (200)")
ABOUT: Keys = {**{name: schema.ABOUT[name] for name in ("title", *INHERITED)}, "draws": DRAWS}
TOP: Keys = {
    **ABOUT,
    **{name: Field(values.Kept(), about_it) for name, (_, about_it) in SINGLE.items()},
    **{name: Field(values.Kept(), about_it, name == "surface") for name, (_, about_it) in SEVERAL.items()},
}


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
    top = read_table(raw, "", TOP, report)
    about = top.values if top is not None else {}
    single = {
        name: read_table(raw[name], name, keys, report, ABOUT) for name, (keys, _) in SINGLE.items() if name in raw
    }
    datum, agreed = single.get("datum"), single.get("checks")
    surfaces, notes = _surfaces(raw, about, datum, report, file)
    named = _Named(raw, surfaces, report)
    openings = [_opening(one, named) for one in _tables(raw, "opening", report)]
    tapes = make_all(list(_tables(raw, "tape", report)), _tape, report)
    recesses = [_about(one, named, "ceiling", Recess) for one in _tables(raw, "recess", report)]
    keeps = [_kept(one, named) for one in _tables(raw, "keep", report)]
    trims = [_about(one, named, "wall", Trim) for one in _tables(raw, "trim", report)]
    if datum is not None:
        known, places = (datum.values.get(key) or {} for key in ("benchmarks", "places"))
        read = {label for one in surfaces for label in _benchmarks(one.item.survey)}
        for label in (label for label in places if label not in {*known, *read}):
            path, remedy = key_path("datum.places", label), f"did you mean {nearest(label, known)}?"
            report.add(path, "no benchmark of this label", label, ", ".join(known), remedy)
    _check_control(surfaces, report)
    _check_round(surfaces, report)
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
        places={} if datum is None else datum.values.get("places") or {},
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
    keys, _ = SEVERAL[name]
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
    return found, notes + _unmatched(found, datum)


def _unmatched(surfaces: Sequence[Placed], datum: Table | None) -> list[str]:
    """Notes on labels of [datum] that no survey read, and on those of surveys tied by it that [datum] lacks."""
    known = {} if datum is None else datum.values.get("benchmarks") or {}
    tied = [one.item for one in surfaces if one.item.level is not None and "datum" not in one.raw]
    read = {one.name: _benchmarks(one.survey) for one in tied}
    every = [label for labels in read.values() for label in labels]
    strange = {label: [name for name, labels in read.items() if label in labels] for label in every}
    unread = [label for label in known if label not in strange]
    notes: list[str] = [Note("room-benchmark-unread", label=label) for label in unread]
    for label, names in strange.items():
        if known and label not in known:
            near = nearest(label, unread or known)
            notes.append(Note("room-benchmark-unknown", label=label, surfaces=names, near=near))
    return notes


def _benchmarks(survey: Survey) -> list[str]:
    """Labels of the benchmarks that a survey read."""
    return list(dict.fromkeys(survey.ties.loc[survey.ties["kind"].eq("benchmark"), "label"]))


def _job(table: Table, about: Mapping[str, Any], report: JobReport, file: Path) -> Job | None:
    """The job that a surface's table is; what is wrong with it goes into the report."""
    _check_counts(table, report)
    raw = {name: table.raw[name] for name in OF_JOB if name in table.raw}
    raw |= {name: about[name] for name in INHERITED if name in about}
    within = JobReport(replace(report.origin, within=table.path), report.unit)
    try:
        return make_job(raw, within, file, file.parent)
    except JobFileError as error:
        report.problems += error.problems
        return None


def _check_counts(table: Table, report: JobReport) -> None:
    """Whether a room uses each key of a surface's table that a job file may have."""
    for name, one in table.raw.items():
        expected, unused = ", ".join(OF_JOB), {} if name in (*PLACED, *OF_JOB) else {name: one}
        if name in schema.SINGLE and name in OF_JOB and isinstance(one, dict):
            expected, keys = ", ".join(OF_JOB[name]), schema.SINGLE[name][0]
            unused = {f"{name}.{key}": value for key, value in one.items() if key in keys and key not in OF_JOB[name]}
        for key, value in unused.items():
            remedy = f"leave it out; {INSTEAD.get(key, 'a job file of this surface by itself')} may hold it"
            report.add(f"{table.path}.{key}", "a room does not use this", value, expected, remedy)


def _surface(table: Table, job: Job, datum: Table | None, report: JobReport) -> tuple[RoomSurface, list[str]] | None:
    survey, values = job.before.survey, table.values
    before, notes = len(report.problems), list[str]()
    level: Level | None = None
    wall: WallLine | None = None
    is_wall = survey.surface == "wall"
    for key in LEVEL if is_wall else WALL:
        if key in values:
            what = f"not a key of a {survey.surface}"
            expected = ", ".join(WALL if is_wall else LEVEL)
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
        if known and (own := _benchmarks(survey)):
            near = nearest(own[0], known)
            remedy += f"; its survey read {', '.join(own)}: is {own[0]} the one that [datum] calls {near}?"
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


def _check_round(surfaces: Sequence[Placed], report: JobReport) -> None:
    """The walls of a room follow one another clockwise: each ends where the next begins."""
    walls = [one for one in surfaces if one.item.wall is not None]
    for name in dict.fromkeys(one.item.room for one in walls):
        of = [one for one in walls if one.item.room == name]
        starts, ends = (np.array([getattr(one.item.wall, key) for one in of]) for key in ("start", "end"))
        follow, end_to_end, start_to_start = (
            _apart(*both) for both in ((ends, starts), (ends, ends), (starts, starts))
        )
        against = _meets(end_to_end, follow) + _meets(start_to_start, follow.T)
        expected = "walls that go round the room clockwise on the plan, left to right as seen from the room"
        remedy = "swap from and to; walls of several rooms each name their room"
        if against.any():
            worst = [one for one, count in zip(of, against, strict=True) if count == against.max()]
            named = ", ".join(one.item.name for one in worst)
            path, what = f"{worst[0].path}.from, {worst[0].path}.to", "a wall that runs against its neighbours"
            report.add(path, what, named, expected, remedy)
        elif len(of) > 2 and _area(starts, follow) > 0:
            named, what = ", ".join(one.item.name for one in of), "walls that go round the room the wrong way"
            report.add(f"{of[0].path}.from, {of[0].path}.to", what, named, expected, "swap from and to of each of them")


def _apart(one: Floats, other: Floats) -> Floats:
    """[n, n] mm between places of walls; none of a wall to itself."""
    apart = np.asarray(np.linalg.norm(one[:, None] - other, axis=2))
    np.fill_diagonal(apart, np.inf)
    return apart


def _meets(alike: Floats, unlike: Floats) -> Floats:
    """[n] 1 where a wall's end meets an end of its own kind, and none of the other kind is as near."""
    nearest_alike, nearest_unlike = alike.min(axis=1), unlike.min(axis=1)
    return np.asarray((nearest_alike < CORNER_MM) & (nearest_alike + 1.0 < nearest_unlike), dtype=np.float64)


def _area(starts: Floats, follow: Floats) -> float:
    """Area that walls go round, counterclockwise positive [mm2]; 0 where they do not close."""
    order = [0]
    while len(order) <= len(starts) and follow[order[-1]].min() < CORNER_MM:
        order.append(int(follow[order[-1]].argmin()))
    if sorted(order[:-1]) != list(range(len(starts))) or order[-1] != 0:
        return 0.0
    x, y = starts[order].T
    return float(x[:-1] @ y[1:] - x[1:] @ y[:-1]) / 2


# what is measured besides


class _Named:
    """The surfaces of a file by name; of those that could not be made the report says why already."""

    def __init__(self, raw: Mapping[str, Any], surfaces: Sequence[Placed], report: JobReport) -> None:
        self.made: dict[str, RoomSurface] = {one.item.name: one.item for one in surfaces}
        tables = [one for one in raw.get("surface") or () if isinstance(one, dict)]
        self.unmade = {one.get("name") for one in tables if one.get("name") not in self.made}
        self.report = report

    def know(self, name: str, path: str, kind: str = "surface") -> bool:
        """Whether there is a surface of a name, of a kind; the report says where there is none."""
        names = [each for each, one in self.made.items() if kind in ("surface", one.kind)]
        if name not in names and name not in self.unmade:
            remedy = f"did you mean {nearest(name, names)}?" if names else f"add a [[surface]] that is a {kind}"
            self.report.add(path, f"no {kind} of this name", name, ", ".join(names) or f"a {kind}", remedy)
        return name in names


def _opening(table: Table, named: _Named) -> Opening | None:
    values, path, report = dict(table.values), table.path, named.report
    before = len(report.problems)
    for key, kind in (("floors", "floor"), ("ceilings", "ceiling")):
        for i, name in enumerate(values.get(key, ()), 1):
            named.know(name, f"{path}.{key}[{i}]", kind)
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
    return report.make(path, table.raw, Opening, **values) if len(report.problems) == before else None


def _tape(**values: Any) -> TapeCorner:
    """A corner, or a room, by tape."""
    for key in ("legs", "diagonals"):
        if len(values.get(key, (0, 0))) != 2:
            raise FlatnessError("not two of them", column=key, expected="two lengths", remedy="give both")
    if ("diagonal" in values) == ("diagonals" in values):
        expected = "diagonal, from end to end of two legs, or diagonals, both of a room of these sides"
        raise FlatnessError(
            "one of the two", column="diagonal", expected=expected, remedy="give the one that was taped"
        )
    made = TapeCorner(**values)
    made.cosine(*made.sizes)
    return made


def _about(table: Table, named: _Named, kind: str, make: Any) -> Any:
    """What a table about one surface of a kind makes; None where there is no such surface."""
    return make(**table.values) if named.know(table.values[kind], f"{table.path}.{kind}", kind) else None


def _kept(table: Table, named: _Named) -> Keep | None:
    report, before = named.report, len(named.report.problems)
    known = [named.know(name, f"{table.path}.surfaces[{i}]") for i, name in enumerate(table.values["surfaces"], 1)]
    made = report.make(table.path, table.raw, Keep, **table.values)
    if made is not None and all(known):
        report.make(table.path, table.raw, made.check, named.made)
    return made if len(report.problems) == before and all(known) else None
