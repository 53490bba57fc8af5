"""What may be asked for: the keys of each table of a job, what each holds, from where to where, and what it is for.

A job file and the options of the commands are read by these tables alone, so that both take the same values and say
the same of what is wrong. Keys are called as the arguments of the functions that they go to.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from flatness.comparison.alignment import WAYS as ALIGNED
from flatness.framing.members import DIRECTIONS, MOST_MEMBERS
from flatness.framing.members import KINDS as MEMBER_KINDS
from flatness.framing.profiles import LINES
from flatness.framing.reveal import LINES as REVEAL_LINES
from flatness.framing.schedule import SETTINGS
from flatness.job import values
from flatness.job.records import RevealLine
from flatness.job.report import JobReport, key_path
from flatness.job.values import Type
from flatness.limits.kinds import AXES, KINDS, SCOPES, SIDES, SURFACES, read_ratio
from flatness.planning.constraints import FixedSpot
from flatness.planning.patches import THRESHOLDS
from flatness.planning.plan import WAYS
from flatness.planning.quantities import DEFAULTS
from flatness.planning.request import SURFACES as PLANNED_ON
from flatness.planning.search import STRATEGIES
from flatness.planning.set_members import PLANES
from flatness.planning.substrate import KINDS as BENEATH_KINDS
from flatness.planning.substrate import Beneath
from flatness.planning.target import SHIFTS, TILTS
from flatness.planning.ways import PROPOSED
from flatness.surroundings.finished_surface import Layer
from flatness.surroundings.interferences import Door, Headroom, Stair, Threshold
from flatness.survey.cells import nearest


@dataclass(frozen=True)
class Field:
    """One key of a table.

    Attributes
    ----------
    type : what it holds, with its unit and range
    help : what it is, in one line
    needed : whether it must be there
    word : what introduces it where its table is typed on one line
    when : when it applies; empty: always
    label : what stands beside its control in a panel
    far : whether it is a length along the surface, which is typed in feet where lengths are in inches
    """

    type: Type
    help: str
    needed: bool = False
    word: str = ""
    when: str = ""
    label: str = ""
    far: bool = False


Keys = Mapping[str, Field]


class Nested(Type):
    """A table inside a table."""

    def __init__(self, keys: Keys) -> None:
        self.keys = keys

    def read(self, raw: Any, path: str, report: JobReport) -> dict[str, Any] | None:
        table = read_table(raw, path, self.keys, report)
        return table.values if table is not None else None


class Ratio(Type):
    """A slope, rise over run."""

    def read(self, raw: Any, path: str, report: JobReport) -> float | None:
        return report.make(path, raw, read_ratio, raw)


ANY, UPWARD, POSITIVE = values.Length(), values.Length(0), values.Length(0, above=True)
ABOVE_ZERO = values.Number(0, above=True)
FLAG, TEXT, PLACE, KEPT = values.Flag(), values.Text(), values.Place(), values.Kept()
# what holds a number that a user may set, by the unit that the kit keeps it in
OF_UNIT: Mapping[str, Type] = {
    "mm": UPWARD,
    "mm2": values.Amount("area", above=False),
    "kg": values.Amount("mass", above=False),
    "mm3 a bag": values.Amount("volume"),
    "kg/mm3": values.Amount("density"),
    "m/s2": values.Amount("acceleration"),
    "share added": values.Number(0),
}

RATES: Keys = {
    "off": Field(ABOVE_ZERO, "how many times as dear taking off is", label="Taking off costs [times adding]"),
    "add": Field(ABOVE_ZERO, "how many times as dear adding is"),
    "place": Field(values.Number(0), "each place: setting up, chalking, masking, cleaning"),
    "area": Field(values.Rate("area"), "working over the ground"),
    "volume": Field(values.Rate("volume"), "what is taken off or added"),
    "length": Field(values.Rate("length"), "joist, stud or strap that is set"),
    "crossing": Field(values.Number(0), "each place where strapping is shimmed"),
    "unit": Field(TEXT, "of all of these: hours, or money"),
}
DEPTHS: Keys = {
    "cut": Field(UPWARD, "most that may come off", label="Take off at most"),
    "fill": Field(UPWARD, "most that may be added", label="Add at most"),
}
WAY_NAMES = ("Best way", "Patches", "All members", "Some members", "Over all")
PLAN: Keys = {
    "way": Field(
        values.Choice(PROPOSED, *WAYS, names=WAY_NAMES), "how it is done (the least work that is sure)", label="Way"
    ),
    "plane": Field(
        values.Choice("plumb", *PLANES), "that members or a layer over all come to (level, or plumb)", label="Plane"
    ),
    "setting_error": Field(UPWARD, "of setting a height, one standard deviation (1/32 in)"),
    "keep_clear": Field(UPWARD, "room for what is recessed", when="a layer over all"),
    "strategy": Field(values.Choice(*STRATEGIES), "least work, or all of it to a plane", when="patches"),
    "shift": Field(values.Choice(*SHIFTS), "whether the target may be lowered"),
    "aim": Field(
        values.Share(0, 1, above=True), "sure, or the share of each limit that is planned to", label="How tight"
    ),
    "headings": Field(values.Number(1, 360, whole=True), "directions in which the straightedge is set (12)"),
    "spacing": Field(POSITIVE, "lattice step, such as 6in"),
    "surface": Field(
        values.Choice(*PLANNED_ON, names=("The likely surface", "The readings as they are")),
        "the best estimate, or straight between the readings",
        label="Plan on",
    ),
    "level_within": Field(
        UPWARD, "the whole finished surface between two level planes", when="strategy least-work", label="Level within"
    ),
    "height": Field(ANY, "of the level plane", when="strategy level, or the ways members and overlay"),
    "tilt": Field(values.Choice(*TILTS), "how the best plane is fitted", when="strategy best-plane"),
    "ask_engineer": Field(FLAG, "whether to plan what needs an engineer's word, marked so"),
    "depths": Field(Nested(DEPTHS), "deepest cut and fill"),
    "rates": Field(Nested(RATES), "what the work costs; the ways are weighed with it"),
    "thresholds": Field(
        Nested({name: Field(OF_UNIT[one.unit], f"where not given: {one.source}") for name, one in THRESHOLDS.items()}),
        "from where framing takes over from fill, and what is too small to do",
    ),
}
FIXED: Keys = {
    "name": Field(TEXT, "what it is called", label="Name of the spot"),
    "x": Field(ANY, "along x", True, label="Spot at x", far=True),
    "y": Field(ANY, "along y", True, label="Spot at y", far=True),
    "height": Field(values.Height(), "as found; off the datum; or 'drop' and what the rod is to read", True),
    "allowance": Field(UPWARD, "how far the finished height may be off, either way", label="Give or take"),
    "meant": Field(
        values.Flag("it is meant", "ask me"),
        "that a height far off the surface is meant",
        word="meant",
        label="If that is far off the surface",
    ),
}
BENEATH: Keys = {
    "kind": Field(
        values.Choice(*BENEATH_KINDS, names=[name.capitalize() for name in BENEATH_KINDS]),
        "what lies there",
        True,
        label="What lies beneath",
    ),
    "may_be_planed": Field(
        values.Flag("Yes, seen", "No, or not seen"),
        "you have seen it, and it may",
        word="may be planed",
        label="May it be planed?",
    ),
    "most_planed": Field(UPWARD, "at most so deep", word="most", label="Plane at most"),
    "depth": Field(POSITIVE, "of sawn joists", word="depth"),
    "span": Field(values.lengths(), "bearings, along the joists", word="span", label="Bearings at"),
    "direction": Field(values.Choice(*DIRECTIONS), "the joists run along x or y", word="along"),
    "ends": Field(UPWARD, "length of the ends of joists, where 1/4 of the depth may come off", word="ends"),
    "area": Field(values.Area(), "corners of the part where it lies", word="area"),
}
LAYOUT: Keys = {
    "first": Field(ANY, "center line of the first, across them", word="first", label="First member at"),
    "spacing": Field(POSITIVE, "center to center", word="spacing", label="Spacing"),
    "direction": Field(
        values.Choice(*DIRECTIONS, names=[f"along {axis}" for axis in DIRECTIONS]),
        "they run along x or y",
        word="along",
        label="They run",
    ),
    "count": Field(values.Number(1, MOST_MEMBERS, whole=True), "how many", word="count"),
    "until": Field(ANY, "none stands beyond (as far as the readings reach)", word="until"),
    "positions": Field(values.lengths(), "of each, in place of first and spacing", word="at"),
    "kind": Field(values.Choice(*MEMBER_KINDS), "what they are", label="Members"),
    "depth": Field(POSITIVE, "from top to bottom", word="depth", label="Depth"),
    "flange": Field(POSITIVE, "thickness of one flange or chord", word="flange", when="I-joists and trusses"),
    "thickness": Field(POSITIVE, "across the member", word="thickness"),
    "start": Field(ANY, "where they begin, along them", word="from"),
    "end": Field(ANY, "where they end, along them", word="to"),
    "length": Field(POSITIVE, "in place of end", word="length"),
    "names": Field(values.Many(TEXT, "a list of texts in quotes"), "one a member (J1, J2 and on)"),
    "cuts": Field(
        values.Named(values.Many(ANY, or_one=True)), "where a chord or flange has been cut, by name of the member"
    ),
}
SCHEDULE: Keys = {
    "line": Field(values.Choice(*LINES), "that each is set to", when="patches that are framed out"),
    "set_by": Field(values.Choice(*SETTINGS), "each by itself, or all to a string", when="patches that are framed out"),
    "step": Field(POSITIVE, "between the stations of the schedule"),
    "sister_depth": Field(POSITIVE, "of the sisters to buy (as deep as the members)"),
    "sister_thickness": Field(POSITIVE, "of the sisters to buy (1-1/2 in)"),
    "least_lap": Field(POSITIVE, "of a sister on each flange", when="I-joists and trusses"),
    "blocks": Field(UPWARD, "height of the blocks under the ends of the string"),
}
MEMBERS: Keys = {
    **LAYOUT,
    **SCHEDULE,
    "crossing": Field(Nested(LAYOUT), "what strapping is fixed to", when="strapping"),
}
MATERIAL_LABELS = {
    "bag_yield": "Yield of a bag",
    "fill_density": "Weight of the fill",
    "spare": "Spare fill",
    "sister_density": "Weight of sisters",
    "strapping_density": "Weight of strapping",
    "kerf": "Saw cut",
}
MATERIALS: Keys = {
    **{
        name: Field(OF_UNIT[one.unit], f"where not given: {one.source}", label=MATERIAL_LABELS.get(name, ""))
        for name, one in DEFAULTS.items()
    },
    "stock": Field(
        values.Stock(), "lengths on sale, or prices by length", when="members that get sisters", label="Lengths on sale"
    ),
}

_AT: Keys = {"name": Field(TEXT, "what it is called", True), "at": Field(PLACE, "where it was measured", True)}
LAYERS: Keys = {
    "name": Field(TEXT, "what it is called", True),
    "thickness": Field(ANY, "of what goes on the corrected surface; of what is taken up below zero", True),
}
DOOR: Keys = {
    **_AT,
    "gap": Field(UPWARD, "under it now", True),
    "least": Field(UPWARD, "gap that it needs"),
    "swing": Field(values.Many(PLACE, f"a list of places, each {values.Place.such_as}"), "places that it swings over"),
}
STAIR: Keys = {
    **_AT,
    "risers": Field(values.lengths(above=True), "from the lowest up"),
    "floor_is": Field(values.Choice("top", "bottom"), "which end of the stair this floor is"),
    "on_treads": Field(ANY, "covering that goes on the treads"),
}
THRESHOLD: Keys = {
    **_AT,
    "next_height": Field(ANY, "finished floor beyond it, off the same datum", True),
    "allowed": Field(UPWARD, "step"),
}
HEADROOM: Keys = {**_AT, "clear": Field(POSITIVE, "height now", True), "least": Field(UPWARD, "clear height")}
REVEAL: Keys = {
    "name": Field(TEXT, "what it is called", True),
    "start": Field(PLACE, "where the trim begins", True),
    "end": Field(PLACE, "where it ends", True),
    "nominal": Field(POSITIVE, "gap that is wanted", True),
    "line": Field(values.Choice(*REVEAL_LINES), "of the trim: level, or parallel to the surface"),
    "tolerance": Field(POSITIVE, "off the nominal, either way"),
    "change_tolerance": Field(POSITIVE, "of the change of the gap"),
    "change_over": Field(POSITIVE, "what length that is"),
    "height": Field(ANY, "of the foot of the trim", when="a level line"),
    "step": Field(POSITIVE, "between places"),
}
ALIGNED_NAMES = (
    "Benchmarks of one name",
    "The surface: one offset",
    "The surface: offset and tilt",
    "Nothing: one datum both times",
)
COMPARE: Keys = {
    "align": Field(
        values.Choice(*ALIGNED, names=ALIGNED_NAMES),
        "how the two datums are brought together (benchmarks of one name)",
        label="Datums aligned on",
    ),
    "unchanged": Field(
        values.Many(values.Where(), 'labels, places and areas, such as ["A1", ["4 ft", "6 ft"]]'),
        "what did not change: a label, a place '4ft,6ft' or corners '0,0; 4ft,0; 4ft,6ft'",
        when="align by an offset or a tilt",
        label="Places that did not change",
    ),
    "tolerance": Field(POSITIVE, "by how much a set height may be off (twice the setting error)", when="a plan"),
}
_BAR = (
    "what a bar showed between the stations{day}: the list of `flatness spots`, filled in; or its length, the "
    "largest gap and in how many places it was set, such as '2ft 1/32in 5'"
)
SURVEYS: Keys = {
    "before": Field(TEXT, "survey file, CSV or XLSX", True),
    "after": Field(TEXT, "survey file of the same surface after the work"),
    "before_sheet": Field(TEXT, "sheet of a workbook with several"),
    "after_sheet": Field(TEXT, "sheet of a workbook with several"),
    **{
        f"{day}_spot_checks": Field(values.Many(TEXT, or_one=True), _BAR.format(day=told))
        for day, told in (("before", ""), ("after", " of after"))
    },
}
_OPENING = values.Many(TEXT, 'a text, or a list of several, such as "bottom 3 ft to 5 ft 8 in"', or_one=True)
WALLS: Keys = {
    "door": Field(_OPENING, "side, from where to where along it; the first is the one that people walk in by"),
    "window": Field(_OPENING, "as a door"),
    "names": Field(values.Named(TEXT), "what people call the sides bottom, top, left, right"),
}
PAGE: Keys = {
    "address": Field(TEXT, "of the job, on the owner's page"),
    "client": Field(TEXT, "whom the page is for"),
    "date": Field(TEXT, "of the page, such as 2026-03-20"),
    "logo": Field(TEXT, "JPEG or PNG; its path starts from the job file's folder"),
    "photographs": Field(values.Named(TEXT), "paths of JPEG or PNG files by what stands below each"),
    "cost": Field(TEXT, 'of the work as agreed, such as "$1,150"; worked out of the rates where not given'),
    "per_hour": Field(values.Money(), 'what an hour of work costs, such as "$65"; with rates in hours'),
    "hours_a_day": Field(values.Number(0, 24, above=True), "of work (8)"),
}
SINGLE: Mapping[str, tuple[Keys, str]] = {
    "surveys": (SURVEYS, "the survey files; paths start from the job file's folder"),
    "walls": (WALLS, "doors, windows, names of walls, where the surveys have none; x right, y up"),
    "plan": (PLAN, "how the surface is to be corrected; may be empty"),
    "members": (MEMBERS, "joists, studs or strapping"),
    "materials": (MATERIALS, "what quantities rest on"),
    "compare": (COMPARE, "how before and after are compared"),
    "page": (PAGE, "what the owner's page shows beside the work"),
}
SEVERAL: Mapping[str, tuple[Keys, str, Callable[..., Any]]] = {
    "fixed": (FIXED, "a spot whose finished height is given", FixedSpot),
    "beneath": (BENEATH, "what lies there, else nothing comes off; where areas overlap the later holds", Beneath),
    "layers": (LAYERS, "what goes on the corrected surface, from the lowest up", Layer),
    "door": (DOOR, "a door that the change may meet", Door),
    "stair": (STAIR, "a stair that the change may meet", Stair),
    "threshold": (THRESHOLD, "a threshold that the change may meet", Threshold),
    "headroom": (HEADROOM, "what hangs over the surface", Headroom),
    "reveal": (REVEAL, "the gap between the finished surface and the foot of a trim", RevealLine),
}
FEATURES = ("door", "stair", "threshold", "headroom")
ABOUT: Keys = {
    "title": Field(TEXT, "what the job is called"),
    "unit": Field(values.Unit(), "of lengths that carry none"),
    "show": Field(values.Choice("in", "mm"), "unit to show; the survey's own where not given"),
    "limits": Field(KEPT, "a limit or a finish by name, as 'flatness limits' lists them", label="Finish"),
    "confidence": Field(values.Number(0.5, 1, below=True), "of the verdicts (0.95)", label="Confidence"),
    "draws": Field(values.Number(0, 100_000, whole=True), "surfaces drawn that the readings allow (200); 0: as read"),
    "seed": Field(values.Number(0, 2**32 - 1, whole=True), "of the draws (0)"),
}
TOP: Keys = {
    **ABOUT,
    **{name: Field(KEPT, about_it, name == "surveys") for name, (_, about_it) in SINGLE.items()},
    **{name: Field(KEPT, about_it) for name, (_, about_it, _) in SEVERAL.items()},
}


def field_of(path: str) -> Field:
    """The field of a key of a job, such as ``plan.way``."""
    table, _, key = path.rpartition(".")
    return SINGLE[table][0][key] if table else TOP[key]


FOR_A_PLAN = ("members", "materials", *SEVERAL)

_HOLDS: Mapping[str, Type] = {
    "length": POSITIVE,
    "lengths": values.lengths(above=True),
    "flag": FLAG,
    "number": ABOVE_ZERO,
    "ratio": Ratio(),
    "scope": values.Choice(*SCOPES),
    "axis": values.Choice(*AXES),
    "side": values.Choice(*SIDES),
}
# what an agreed limit may leave out, where the functions that agree it have a default
_LABELS = {"length": "Agreed straightedge", "allowed": "Agreed gap"}
_OPTIONAL = ("distance", "rounded", "scope", "within", "plane", "along", "times", "angle", "lamp", "side")
_OF_LIMIT: Keys = {
    "name": Field(TEXT, "what it is called"),
    "purpose": Field(TEXT, "what it is for"),
    "surfaces": Field(values.Many(values.Choice(*SURFACES), or_one=True), "that it is for"),
}


def limit_keys(kind: str) -> Keys:
    """The keys of an agreed limit of a kind."""
    holds = KINDS[kind].keys.items()
    own = {
        key: Field(
            _HOLDS[one],
            f"{key} of such a limit",
            key not in _OPTIONAL,
            label=_LABELS.get(key, ""),
            far=key in ("length", "distance"),
        )
        for key, one in holds
    }
    return {"kind": Field(values.Choice(kind), "how it is measured", True), **own, **_OF_LIMIT}


@dataclass(frozen=True)
class Table:
    """A table of the job.

    Attributes
    ----------
    path : such as ``fixed[2]``; lists are counted from 1
    raw : as it was written
    values : by key, those that could be read, lengths in mm; keys that are left out are not there
    is_right : whether all its keys are known, could be read, and none that it needs is missing
    """

    path: str
    raw: Mapping[str, Any]
    values: dict[str, Any]
    is_right: bool


def read_table(raw: Any, path: str, keys: Keys, report: JobReport, top: Keys | None = None) -> Table | None:
    """The table at ``path``, what is wrong with it put into the report; None where it is no table.

    Parameters
    ----------
    raw : as it was written
    path : of the table; empty for the file's own top
    keys : that it may have
    top : keys of the file's top: where one of them stands in this table, it slipped below the table's heading
    """
    before = len(report.problems)
    if isinstance(raw, list) and raw and all(isinstance(one, dict) for one in raw):
        report.add(path, "several tables where there is one", raw, f"one table [{path}]", "keep one of them")
    elif not isinstance(raw, dict):
        report.add(path, "not a table", raw, f"a table of keys: {', '.join(keys)}", f"write [{path}] above its keys")
    if len(report.problems) > before:
        return None
    values = {}
    for key, one in raw.items():
        if key not in keys:
            remedy = f"did you mean {nearest(key, keys)}?"
            if top is not None and key in top:
                remedy = f"{key} belongs at the top of the file, above the first [table]"
            report.add(key_path(path, key), "unknown key", one, ", ".join(keys), remedy)
            continue
        problems = len(report.problems)
        value = keys[key].type.read(one, key_path(path, key), report)
        if len(report.problems) == problems:
            values[key] = value
    for key, known in keys.items():
        if known.needed and key not in raw:
            here, what, expected = key_path(path, key), "a key is missing", f"a line that begins with {key} ="
            if report.origin.file is None:
                what, expected = "it is missing", f"{report.origin.place(here)} {known.type.metavar}: {known.help}"
            report.add(here, what, "nothing", expected, "add it")
    return Table(path, raw, values, len(report.problems) == before)


def read_tables(raw: Any, path: str, keys: Keys, report: JobReport, top: Keys | None = None) -> list[Table | None]:
    """The tables ``[[path]]``, each as by :func:`read_table`; none where there are none."""
    if raw is None:
        return []
    if not isinstance(raw, list) or not all(isinstance(one, dict) for one in raw):
        what = "one table where there may be several" if isinstance(raw, dict) else "not a list of tables"
        expected, remedy = f"tables that begin with [[{path}]]", f"write [[{path}]] above the keys of each"
        report.add(path, what, raw, expected, remedy)
        return [None]
    return [read_table(one, f"{path}[{i}]", keys, report, top) for i, one in enumerate(raw, 1)]


@dataclass(frozen=True)
class Placed:
    """What the value or table ``raw`` at ``path`` says."""

    path: str
    raw: Any
    item: Any


def make_all(tables: list[Table | None], maker: Callable[..., Any], report: JobReport) -> list[Placed]:
    """What ``maker`` makes of each right table's values; what it refuses goes into the report."""
    right = [table for table in tables if table is not None and table.is_right]
    made = [(one, report.make(one.path, one.raw, maker, **one.values)) for one in right]
    return [Placed(one.path, one.raw, item) for one, item in made if item is not None]
