"""``read_job``: the job that a TOML file names, with all that is wrong with it in one report.

``make_job`` makes a job of tables, from a file or from the options of a command. Lengths are written as people write
them: a text with its unit, or a number in the unit that the file names.

A rehearsal on the surface as found tells whether all that a job names lies on the surface, and goes together: the
functions that a run calls are called once with a change of nothing, which takes no time. So a door beyond the readings
is found when the job is read, and not after the plan is made.
"""

from __future__ import annotations

import errno
import os
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from flatness.arrays import Floats
from flatness.errors import ArgumentError, FlatnessError, Problem
from flatness.files import read_file, stands, why
from flatness.framing.members import Members, member_layout
from flatness.framing.reveal import reveal
from flatness.framing.schedule import member_schedule
from flatness.job import schema
from flatness.job.records import Compared, Framing, Job, Materials, Page, Picture, PlanTerms, RevealLine, SurveyFile
from flatness.job.report import JobFileError, JobReport, Origin, key_path, shown
from flatness.job.schema import Placed, Table, limit_keys, make_all, read_table, read_tables
from flatness.job.values import Choice, Length, Unit
from flatness.limits import kinds
from flatness.limits.catalogue import find
from flatness.limits.kinds import Limit
from flatness.limits.measuring import Subject
from flatness.limits.spot_checks import Checks, SpotCheck
from flatness.limits.strip_lists import read_spots
from flatness.notes import joined
from flatness.planning.constraints import Depths, FixedSpot, Rates, check_meant, spot_rows
from flatness.planning.patches import THRESHOLDS
from flatness.planning.quantities import DEFAULTS, settings_of
from flatness.planning.request import Request, check_request
from flatness.planning.substrate import permitted_cut
from flatness.planning.ways import PROPOSED
from flatness.surface.lattice import Surface
from flatness.surroundings.finished_surface import finished_surface
from flatness.surroundings.interferences import consequences
from flatness.survey.cells import nearest
from flatness.survey.files import ENDINGS, read_survey
from flatness.survey.readings import Survey
from flatness.survey.walls import KINDS as WALL_OPENINGS
from flatness.survey.walls import WallOpening, Walls, check_wall_opening, parse_wall_name, parse_wall_opening

LARGEST_BYTES, LARGEST_PICTURE = 1_000_000, 50_000_000
PICTURES = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")  # how a JPEG and a PNG file begin
_AT_LINE = re.compile(r"(?P<what>.*) \(at line (?P<line>\d+), column (?P<column>\d+)\)", re.DOTALL)
HOW_TO_WRITE = (
    'texts and lengths with marks stand in quotes; inside double quotes an inch mark is written \\", so that feet and '
    'inches are easier as "12 ft 6 1/2 in"'
)
MAKERS: Mapping[str, Callable[..., Limit]] = {
    "straightedge": kinds.straightedge_limit,
    "offset": kinds.offset_limit,
    "plane": kinds.plane_limit,
    "span-bar": lambda **values: kinds.span_limit(method="bar", **values),
    "span-grid": lambda **values: kinds.span_limit(method="grid", **values),
    "ff": lambda at_least, **values: kinds.f_number_limit(ff=at_least, **values),
    "fl": lambda at_least, **values: kinds.f_number_limit(fl=at_least, **values),
    "level": kinds.level_limit,
    "plumb": kinds.plumb_limit,
    "neighbours": kinds.neighbour_limit,
    "step": kinds.step_limit,
    "slope": kinds.slope_limit,
    "light": kinds.light_limit,
}
UNDER_PATCHES = ("through-benchmarks", "fixed-spots")  # strategies that start from spots


def read_job(path: str | os.PathLike[str]) -> Job:
    """The job that a file names, its surveys read.

    Parameters
    ----------
    path : of a TOML file; the surveys' paths in it start from its folder

    Returns
    -------
    Job : everything in mm

    Raises
    ------
    JobFileError : with all that is wrong with the file and with its surveys, each with its key and the remedy
    """
    file = Path(path)
    raw = read_toml(file)
    if "surface" in raw and "surveys" not in raw:
        remedy = f"flatness room {file.name}, or [surveys] for a job of one surface"
        raise _refused(file, "a room file: it holds [[surface]]", remedy)
    return make_job(raw, JobReport(Origin(file.name)), file, file.parent)


def make_job(raw: dict[str, Any], report: JobReport, file: Path, folder: Path) -> Job:
    """The job that tables name, its surveys read.

    Parameters
    ----------
    raw : tables as a job file has them
    report : takes the problems; it knows where the tables were written
    file : that the job is called after
    folder : that the surveys' paths start from

    Raises
    ------
    JobFileError : with all problems of the report
    """
    if "unit" in raw:  # before any length is read
        report.unit = Unit().read(raw["unit"], "unit", JobReport(report.origin)) or "mm"
    about = read_table(raw, "", schema.TOP, report)
    surveys = _surveys(raw, folder, report)
    single = {
        name: read_table(raw[name], name, keys, report, schema.ABOUT)
        for name, (keys, _) in schema.SINGLE.items()
        if name in raw and name != "surveys"
    }
    surveys = {day: _walled(one, single.get("walls"), f"surveys.{day}", report) for day, one in surveys.items()}
    report.survey = surveys["before"].survey if "before" in surveys else None
    several = {
        name: read_tables(raw.get(name), name, keys, report, schema.ABOUT)
        for name, (keys, _, _) in schema.SEVERAL.items()
    }
    _check_used(raw, report)
    placed = {name: make_all(several[name], maker, report) for name, (_, _, maker) in schema.SEVERAL.items()}
    _check_names(placed["reveal"], report)
    terms = (about, single.get("plan"), *several["fixed"], *several["beneath"])
    framing = _framing(single.get("members"), report)
    materials = _materials(single.get("materials"), framing, report, "members" in raw)
    survey = report.survey
    kind = None if survey is None else survey.surface
    limits = read_limits(raw["limits"], kind, report) if "limits" in raw else ()
    if survey is None:
        report.stop_if_any()
        raise AssertionError("a survey that could not be read is in the report")
    top = about.values if about else {}
    report.show = top.get("show", "in" if survey.unit in ("in", "ft") else "mm")
    job = Job(
        origin=report.origin,
        path=file,
        title=top.get("title", survey.title),
        before=surveys["before"],
        after=surveys.get("after"),
        limits=limits,
        plan=_plan(single.get("plan"), placed),
        framing=framing,
        layers=_items(placed, "layers"),
        features=_items(placed, *schema.FEATURES),
        reveals=_items(placed, "reveal"),
        materials=materials,
        compared=Compared(**_values(single.get("compare"))),
        unit=top.get("unit"),
        show=report.show,
        confidence=top.get("confidence", 0.95),
        draws=top.get("draws", 200),
        seed=top.get("seed", 0),
        page=_page(single.get("page"), folder, report),
    )
    for day, one in surveys.items():
        if one.spot_checks and not job.draws:
            key, what = f"{day}_spot_checks", "spot checks cannot count without draws"
            given = raw["surveys"].get(key)
            report.add(f"surveys.{key}", what, given, "draws above 0", "leave out one of the two")
    if job.plan is not None and all(one is None or one.is_right for one in terms):
        _check_terms(job, job.plan, raw, report)
    rehearse(job, raw, placed, report)
    report.stop_if_any()
    return job


def _items(placed: Mapping[str, list[Placed]], *names: str) -> tuple[Any, ...]:
    return tuple(one.item for name in names for one in placed[name])


def _values(table: Table | None) -> dict[str, Any]:
    return dict(table.values) if table is not None and table.is_right else {}


def _check_used(raw: dict[str, Any], report: JobReport) -> None:
    """Whether every table has a use."""
    for name in (name for name in schema.FOR_A_PLAN if name in raw and "plan" not in raw):
        what, expected = "this is for a plan, and the job has none", "a table [plan], which may be empty"
        report.add(name, what, raw[name], expected, "add a line [plan], or leave this out")
    surveys = raw.get("surveys")
    if "compare" in raw and isinstance(surveys, dict) and "after" not in surveys:
        what, remedy = "one survey cannot be compared", "name the later survey, or leave this out"
        report.add("compare", what, raw["compare"], "after in [surveys]", remedy)


# the file, and the surveys that it names


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
        raise _refused(path, "lists or tables nested too deep", "look for a bracket too many") from error
    except ValueError as error:  # TOMLDecodeError, and numbers of thousands of digits
        found = _AT_LINE.fullmatch(str(error))
        lines = words.splitlines() or [""]
        row = int(found["line"]) if found else len(lines)
        column = f"column {found['column']}" if found else "its end"
        what = f"not TOML: {found['what'] if found else str(error).removesuffix(' (at end of document)')}"
        value = lines[min(row, len(lines)) - 1].strip()
        raise JobFileError(
            Problem(what, path.name, row, column, value, "key = value, or a [table]", HOW_TO_WRITE)
        ) from error


def _text_of(path: Path) -> str:
    where = "check the name and the folder"
    try:
        return read_file(path, LARGEST_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _refused(path, "not a text in UTF-8", "save it again as UTF-8") from error
    except FileNotFoundError as error:
        raise _refused(path, "there is no such file", where, str(path)) from error
    except OSError as error:
        what = why(error) if error.errno in (errno.EINVAL, errno.EFBIG) else f"the file cannot be read: {why(error)}"
        remedy = "check that it is the job file" if error.errno == errno.EFBIG else where
        raise _refused(path, what, remedy, str(path)) from error


def _refused(path: Path, what: str, remedy: str, value: str | None = None) -> JobFileError:
    expected = "a job file, such as job.toml"
    return JobFileError(Problem(what, path.name, value=value or path.name, expected=expected, remedy=remedy))


def _surveys(raw: dict[str, Any], folder: Path, report: JobReport) -> dict[str, SurveyFile]:
    """The surveys by day, ``before`` and ``after``; what is wrong with them goes into the report."""
    keys, _ = schema.SINGLE["surveys"]
    table = read_table(raw["surveys"], "surveys", keys, report, schema.ABOUT) if "surveys" in raw else None
    named, found = table.values if table else {}, dict[str, SurveyFile]()
    for day in ("before", "after"):
        sheet, key = named.get(f"{day}_sheet"), f"surveys.{day}"
        if day not in named:
            if sheet is not None:
                expected, remedy = f"a line that begins with {day} =", "add it, or leave the sheet out"
                report.add(f"{key}_sheet", "a sheet without its file", sheet, expected, remedy)
            continue
        path = folder / named[day]
        if not os.path.exists(path):  # false for a name that cannot be a file's, too
            of_file = report.origin.file is not None
            expected = f"a path from the job file's folder, {folder}" if of_file else "the path of a survey file"
            report.add(key, "there is no such file", named[day], expected, _nearest_file(path, set(named.values())))
            continue
        try:
            survey = read_survey(path, sheet=sheet)
        except FlatnessError as error:
            report.take(error, key, named[day])
            continue
        key = f"{key}_spot_checks"
        checks = [_spot_checks(raw, survey, folder, key, report) for raw in named.get(f"{day}_spot_checks", ())]
        found[day] = SurveyFile(survey, path, sheet, tuple(one for several in checks for one in several))
    if len(found) == 2 and len({(one.path.resolve(), one.sheet) for one in found.values()}) == 1:
        remedy = "name the later one, or leave after out"
        report.add("surveys.after", "before and after are one file", named["after"], "two surveys", remedy)
    return found


def _spot_checks(raw: str, survey: Survey, folder: Path, key: str, report: JobReport) -> Checks:
    """A list of strips, filled in; or the length of a bar, the largest gap, and in how many places it was set."""
    if Path(raw).suffix.lower() == ".csv" or stands(folder / raw):
        return report.make(key, raw, read_spots, folder / raw, survey) or ()
    parts = raw.split()
    if not 2 <= len(parts) <= 3 or (len(parts) == 3 and not parts[2].isdecimal()):
        what = "a spot check is a file, or two lengths and in how many places the bar was set"
        expected = "spots.csv, or such as '2ft 1/32in 5' or '600mm 1mm'"
        report.add(key, what, raw, expected, "write each length without a space, such as 1-1/8in")
        return ()
    length, gap = (Length().read(part, key, report) for part in parts[:2])
    if length is None or gap is None:
        return ()
    found = report.make(key, raw, SpotCheck, length, gap, *map(int, parts[2:]))
    return () if found is None else (found,)


def _walled(file: SurveyFile, table: Table | None, key: str, report: JobReport) -> SurveyFile:
    """A survey with the doors, windows and names of walls that the job gives."""
    if table is None or not table.is_right:
        return file
    survey, names = file.survey, dict[str, str]()
    if survey.outline is None or survey.surface == "wall":
        expected, remedy = "floors and ceilings, with `# outline:` in the survey", "add that line, or leave [walls] out"
        report.add("walls", f"{file.path.name} does not tell where the walls stand", key, expected, remedy)
        return file
    if survey.walls:
        remedy = "write them in one place"
        report.add("walls", f"{file.path.name} has walls of its own", key, "doors and windows once", remedy)
        return file
    for side, name in table.values.get("names", {}).items():
        made = report.make(f"walls.names.{side}", name, parse_wall_name, f"{side} = {name}")
        names |= {} if made is None else dict([made])
    openings: list[WallOpening] = []
    for kind in WALL_OPENINGS:
        for text in table.values.get(kind, ()):
            here = f"walls.{kind}"
            length = partial(Length().read, path=here, report=report)
            one = report.make(here, text, parse_wall_opening, kind, text, length, names)
            if one is not None:
                report.make(here, text, check_wall_opening, survey.outline, one, openings)
                openings.append(one)
    return replace(file, survey=replace(survey, walls=Walls(tuple(openings), names)))


def _nearest_file(path: Path, named: set[str]) -> str:
    """What to do about a file that is not there; ``named``: files that the job names already."""
    try:
        there = sorted(one.name for one in path.parent.iterdir() if one.suffix.lower() in ENDINGS)
    except (OSError, ValueError):
        return "check the folder"
    there = [name for name in there if name not in named]
    return f"did you mean {nearest(path.name, there)}?" if there else "check the name and the folder"


# what its tables make


def read_limits(raw: Any, surface: str | None, report: JobReport) -> tuple[Limit, ...]:
    """The limits that are meant for a kind of surface, each once: by name, of a finish, and agreed ones.

    An agreed limit is written with the kinds and keys that the published ones have:
    ``{ kind = "straightedge", length = "10 ft", allowed = "3/16 in" }``. ``surface`` None: not known.
    """
    items = raw if isinstance(raw, list) else [raw]
    if not items or not all(isinstance(item, (str, dict)) for item in items):
        such_as = '["wood-glued", { kind = "straightedge", length = "10 ft", allowed = "3/16 in" }]'
        expected = f"names in quotes and agreed limits as tables, such as {such_as}"
        report.add("limits", "not a list of limits", raw, expected, "leave the line out for no limits")
        return ()
    found: list[str | Limit] = []
    for i, item in enumerate(items, 1):
        here = f"limits[{i}]" if isinstance(raw, list) else "limits"
        limit = _agreed(item, here, report) if isinstance(item, dict) else item
        if limit is not None and report.make(here, item, find, limit, surface) is not None:
            found.append(limit)
    return tuple(report.make("limits", raw, find, found, surface) or ()) if len(found) == len(items) else ()


def _agreed(raw: dict[str, Any], path: str, report: JobReport) -> Limit | None:
    kind = raw.get("kind")
    if not isinstance(kind, str) or kind not in MAKERS:
        # without its kind nothing is known of the other keys
        known = {"kind": replace(limit_keys("level")["kind"], type=Choice(*MAKERS))}
        read_table({key: raw[key] for key in raw if key == "kind"}, path, known, report)
        return None
    table = read_table(raw, path, limit_keys(kind), report)
    if table is None or not table.is_right:
        return None
    values = {key: value for key, value in table.values.items() if key != "kind"}
    return report.make(path, raw, MAKERS[kind], **values)


def _plan(table: Table | None, placed: Mapping[str, list[Placed]]) -> PlanTerms | None:
    """The terms of the plan, those that are right; None where there is no [plan]."""
    if table is None:
        return None
    values = dict(table.values)
    way, rates, depths = values.pop("way", PROPOSED), values.pop("rates", {}), values.pop("depths", {})
    return PlanTerms(
        way=way,
        thresholds=values.pop("thresholds", {}),
        options=values,
        rates=Rates(**rates),
        depths=Depths(**depths),
        fixed=_items(placed, "fixed"),
        beneath=_items(placed, "beneath"),
    )


def _framing(table: Table | None, report: JobReport) -> Framing | None:
    """The members and their schedule's options; None where there are none, or something is wrong."""
    if table is None or not table.is_right:
        return None
    values, crossing = table.values, None
    members = _layout(table.path, table.raw, values, report)
    if "crossing" in values:
        crossing = _layout(f"{table.path}.crossing", table.raw["crossing"], values["crossing"], report)
    if members is None or (crossing is None and "crossing" in values):
        return None
    what = ""
    if (members.kind == "strapping") != (crossing is not None):
        what = "strapping goes with the members that it crosses, and other kinds without"
    elif crossing is not None and crossing.direction == members.direction:
        what = "strapping that runs along what it is fixed to"
    if what:
        expected = "the members that strapping crosses, and for strapping alone"
        remedy = "add them, take them out, or correct the kind or direction"
        report.add(f"{table.path}.crossing", what, f"{members.kind} along {members.direction}", expected, remedy)
    return Framing(members, {key: values[key] for key in schema.SCHEDULE if key in values}, crossing)


def _layout(path: str, raw: Mapping[str, Any], values: Mapping[str, Any], report: JobReport) -> Members | None:
    chosen = {key: value for key, value in values.items() if key in schema.LAYOUT}
    written = {key: raw[key] for key in chosen}
    if not {"count", "until", "positions"} & set(chosen) and report.survey is not None:
        across = "x" if chosen.get("direction", "y") == "y" else "y"
        chosen["until"] = float(report.survey.points[across].max())
    return report.make(path, written, member_layout, **chosen)


def _page(table: Table | None, folder: Path, report: JobReport) -> Page:
    """What the owner's page shows, its pictures read."""
    values = _values(table)
    logo, photographs = values.pop("logo", None), values.pop("photographs", {})
    read = [
        _picture(folder / name, name, says, key_path("page.photographs", says), report)
        for says, name in photographs.items()
    ]
    return Page(
        **values,
        logo=None if logo is None else _picture(folder / logo, logo, "", "page.logo", report),
        photographs=tuple(one for one in read if one is not None),
    )


def _picture(path: Path, name: str, says: str, key: str, report: JobReport) -> Picture | None:
    expected = "a JPEG or PNG file of 50 MB or less, by its path from the job file's folder"
    try:
        data = path.read_bytes() if path.is_file() and path.stat().st_size <= LARGEST_PICTURE else None
    except (OSError, ValueError):
        data = None
    if data is None:
        what = "there is no such file" if not os.path.isfile(path) else "the file cannot be read, or is over 50 MB"
        report.add(key, what, name, expected, "check the name and the folder")
    elif not data.startswith(PICTURES):
        report.add(key, "not a JPEG or PNG picture", name, expected, "save it as JPEG or PNG")
    else:
        return Picture(path.name, data, says)
    return None


def _materials(table: Table | None, framing: Framing | None, report: JobReport, has_members: bool) -> Materials:
    """The settings and stock of the materials; the kit's own where nothing is said.

    ``has_members``: whether there is a table [members], right or wrong.
    """
    values, raw = _values(table), table.raw if table else {}
    stock = values.pop("stock", None)
    settings = report.make("materials", raw, settings_of, **values)
    if stock is not None and not has_members:
        expected, remedy = "a table [members], whose sisters are cut from them", "add it, or leave stock out"
        report.add("materials.stock", "stock lengths without members", raw["stock"], expected, remedy)
    if stock is not None and framing is not None and framing.section is None:
        expected, remedy = "the depth of the sisters to be bought", "add it, or the depth of the members"
        report.add("members.sister_depth", "a key is missing", "nothing", expected, remedy)
    return Materials(DEFAULTS if settings is None else settings, stock)


def _check_names(reveals: list[Placed], report: JobReport) -> None:
    """Each reveal has a name of its own."""
    names = [one.item.name for one in reveals]
    for i, one in enumerate(reveals):
        if one.item.name in names[:i]:
            what, remedy = "two reveals of one name", "rename one of them"
            report.add(f"{one.path}.name", what, one.item.name, "each its own", remedy)


# the rehearsal


class _AsFound:
    """A plan that changes nothing."""

    def __init__(self, surface: Surface) -> None:
        self.surface: Surface = surface
        self.change: Floats = np.where(surface.inside, 0.0, np.nan)


def rehearse(job: Job, raw: dict[str, Any], placed: Mapping[str, list[Placed]], report: JobReport) -> None:
    """Try all parts of a job on its surface as found; what does not go is put into the report.

    Parameters
    ----------
    job : made of what is right by itself
    raw : its tables, for the values to show
    placed : what its lists of tables say, with their places, by name of the list
    report : takes the problems
    """
    if job.plan is None and not job.limits:  # a single line of readings is enough for light along it
        return
    try:
        surface = Subject.of(job.before.survey, list(job.limits), job.spacing, job.headings).surface
    except FlatnessError as error:
        path, value = "surveys.before", job.before.path.name
        if job.spacing is not None and isinstance(error, ArgumentError):
            path, value = "plan.spacing", raw["plan"]["spacing"]
        report.take(error, path, value)
        return
    if job.plan is None or not surface.inside.any():
        return
    found, plan, framing = _AsFound(surface), job.plan, job.framing
    for spot in placed["fixed"]:
        written = f"{shown(spot.raw['x'])}, {shown(spot.raw['y'])}"
        at = report.make(f"{spot.path}.x, {spot.path}.y", written, spot_rows, surface, [spot.item])
        if at is not None and plan.options.get("strategy") != "through-benchmarks":
            report.make(f"{spot.path}.height", spot.raw["height"], _check_height, surface, job, spot.item)
    deepest = plan.thresholds.get("deepest_plane", THRESHOLDS["deepest_plane"].value)
    for one in placed["beneath"]:
        report.make(one.path, one.raw, permitted_cut, surface, one.item, framing and framing.members, deepest)
    if framing is not None:
        options = {"crossing": framing.crossing, **framing.options}
        report.make("members", raw["members"], member_schedule, found, framing.members, **options)
    for one in (one for kind in schema.FEATURES for one in placed[kind]):
        report.make(one.path, one.raw, consequences, found, [one.item], job.layers)
    finished = finished_surface(found, job.layers)
    for one in placed["reveal"]:
        line: RevealLine = one.item
        report.make(one.path, one.raw, reveal, finished, line.start, line.end, line.nominal, **line.options)


def _check_terms(job: Job, plan: PlanTerms, raw: dict[str, Any], report: JobReport) -> None:
    """The plan's choices against each other."""
    chosen = {**plan.options, "confidence": job.confidence, "draws": job.draws, "fixed": plan.fixed}
    chosen = {one.name: chosen[one.name] for one in fields(Request) if one.name in chosen}
    request = Request(way=None if plan.way == PROPOSED else plan.way, **chosen)
    strategy = request.strategy
    if strategy in UNDER_PATCHES and not plan.fixed:
        what, remedy = f"the strategy {strategy} without any spots", "add the spots, or take the best plane"
        report.add("fixed", what, "none", f"{report.origin.table('[fixed]')} or more", remedy)
    else:
        report.make("plan", raw["plan"], check_request, request)
    needs = plan.way not in ("members", "overlay") and strategy == "least-work"
    if needs and not raw.get("limits") and request.level_within is None:
        remedy = "name a limit, or take another way, such as members or overlay"
        report.add("plan.way", "the least work needs something to meet", plan.way, "limits, or level_within", remedy)
    if plan.way in ("members", "some-members") and "members" not in raw:
        expected, remedy = report.origin.table("members"), "add it, or take another way"
        report.add("plan.way", "no members are named", plan.way, expected, remedy)


def _check_height(surface: Surface, job: Job, spot: FixedSpot) -> None:
    """As :func:`~flatness.planning.constraints.check_meant`, for who writes a height where drops were read."""
    try:
        check_meant(surface, [spot])
    except ArgumentError as error:
        (problem,) = error.problems
        hint = "" if job.before.survey.line_height is None else "or write what the rod is to read: drop 41-3/8in"
        raise ArgumentError(replace(problem, remedy=joined([problem.remedy or "", hint]))) from error
