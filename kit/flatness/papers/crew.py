"""The crew sheet: the drawing with the heights to set and the order of the work, then the list of what is drawn.

Words and tables of the crew sheet: its title, the order of the work, the lists, what to bring.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd
import shapely

from flatness.charts import map_base as maps
from flatness.charts.axes import turned
from flatness.charts.scales import check_unit
from flatness.errors import check_choice
from flatness.framing.schedule import STAYS, Schedule
from flatness.job.running import Results
from flatness.lengths import FRACTIONS, MM2_PER_FT2, MM2_PER_M2, format_length
from flatness.papers.drawing import (
    Datum,
    Mark,
    Rise,
    as_data,
    beside,
    called,
    draw,
    marks_of,
    one_height,
    rises_of,
    widest_scale,
)
from flatness.papers.files import Paper
from flatness.papers.owner_words import failing_features
from flatness.papers.sheet import (
    BELOW,
    DISC,
    FOOT,
    HEAD,
    LEFT,
    SIDE,
    TOP,
    TYPE,
    cut,
    lay_out,
    make_pdf,
    scale_name,
    sheet_named,
)
from flatness.planning.plan import Plan
from flatness.surroundings.cautions import NO_SOURCE, Caution
from flatness.survey.readings import SAME_PLACE_MM, Survey
from flatness.words.phrases import say
from flatness.words.printed import (
    Rule,
    at_least_shown,
    counted,
    day_words,
    listed,
    number_of,
    place_words,
    shown_unit,
    target_word,
)
from flatness.words.printed import printed_place as tape
from flatness.words.ways import runs_of

LINE_LETTERS, NARROW_LETTERS = 61, 31  # that a step has room for on one line, below the drawing and at its right


def crew_sheet(
    plan: Plan,
    schedule: Schedule | None = None,
    *,
    paper: str = "letter",
    unit: str | None = None,
    scale: float | None = None,
    fraction: int | None = None,
    made: datetime | None = None,
    title: str | None = None,
    job: Results | None = None,
) -> Paper:
    """The plan of the work for those who do it.

    Parameters
    ----------
    plan : what to do
    schedule : lines of the members that are sistered under places; what members are set to by a plan that sets them
        stands in the plan
    paper : ``letter`` or ``a4``
    unit : ``in`` or ``mm``; None takes the survey's own
    scale : the plan is drawn so many times smaller; 48 is 1/4 in to 1 ft. None takes a usual scale, of fewest sheets
        on which the heights have room
    fraction : heights and depths to the nearest 1/8, 1/16, 1/32 or 1/64 of an inch; None takes 1/32. Where mm are
        shown: half ones
    made : when the sheet was made; None leaves it out, and the same input gives the same bytes
    title : of the job; None takes the survey's
    job : that the plan is of: what it does at its doors, stairs, thresholds and reveals

    Returns
    -------
    Paper : with a PDF form

    Raises
    ------
    ArgumentError : an unknown paper, unit or fraction, or a scale out of range
    """
    sheet = sheet_named(paper)
    wide, high = sheet.width, sheet.height
    unit = check_unit(shown_unit(plan.survey, unit))
    check_choice("fraction", fraction, (None, *FRACTIONS))
    rule = Rule(unit, fraction or 32)
    datum = Datum.of(plan.survey, rule)
    rises = rises_of(plan, unit)
    marks = [] if rises else marks_of(plan, unit)
    steps = order_of_work(plan, datum, rises)
    stop = stop_and_call(plan, datum)
    bounds = np.reshape(maps.bounds_of(plan.surface, plan.survey), (2, 2)).T
    (left, foot), (right, top) = np.sort(turned(bounds, plan.survey.turns), axis=0)
    layout = lay_out(
        (float(left), float(right), float(foot), float(top)),
        sheet,
        unit,
        beside=max(50.0 if rises else 58.0, _height(steps, stop, LINE_LETTERS)),
        narrow=55.0 + _height(steps, stop, NARROW_LETTERS),
        caption=7.0 if rises else 0.0,
        sides=beside(plan, rises, rule),
        most=widest_scale(plan, marks, rises, rule),
        scale=scale,
    )
    drawn = [draw(plan, tile, layout, datum, marks, rises) for tile in layout.tiles]
    labeled = set().union(*(one.labeled for one in drawn))
    title = cut(title or plan.survey.title or plan.survey.source or f"The {plan.survey.surface}", 90)
    data: dict[str, Any] = {
        "title": title,
        "short": cut(title, 56),
        "says": title_of(plan, datum),
        "read": f"Read {day_words(plan.survey.date)}" if plan.survey.date else "",
        "how": _how(plan, datum),
        "scale": scale_name(layout.scale, unit),
        "sheets": [
            {"name": tile.name, "row": tile.row, "column": tile.column} | as_data(one)
            for tile, one in zip(layout.tiles, drawn, strict=True)
        ],
        **{
            name: getattr(layout, name)
            for name in ("rows", "columns", "flipped", "shared", "narrow", "width", "height")
        },
        "margins": [SIDE, TOP, FOOT],
        "body": [(high if layout.flipped else wide) - 2 * SIDE, (wide if layout.flipped else high) - TOP - FOOT],
        "left": LEFT,
        "head": HEAD,
        "below": BELOW,
        "type": {kind: list(face) for kind, face in TYPE.items()},
        "disc": DISC,
        "axes": axes_of(plan.survey, unit),
        "place_heads": [place_head(plan.survey, axis) for axis in (0, 1)],
        "caption": _caption(plan, datum, rises),
        "guide": _guide(plan, datum, bool(rises)),
        "diagram": _diagram(plan, datum, bool(rises)),
        "steps": [list(step) for step in steps],
        "stop": stop,
        "places": place_rows(plan, rule) if plan.way == "patches" and len(plan.patches) > MANY else [],
        "says_of": [[number_of(str(row["name"])), say(str(row["note"]), unit)] for row in _noted(plan)],
        "heights": height_tables(plan, marks, labeled, datum),
        "lines": line_rows(plan, datum, rises),
        "sisters": sister_rows(plan, schedule, datum),
        "near": _near(plan),
        "bring": to_bring(plan, rises, rule),
        "cuts": cut_rows(plan, unit),
        "spots": spot_rows(plan, datum),
        "reveals": [] if job is None or job.plan is None else reveal_rows(job, datum),
        "meets": [] if job is None else [list(one) for one in failing_features(job, unit)],
        "cautions": [[one.text, "" if one.source == NO_SOURCE else one.source] for one in cautions_of(plan, schedule)],
    }
    return Paper(title, make_pdf("crew.typ", data, {}, paper, made))


def _height(steps: list[tuple[str, str, str]], stop: str, letters: int) -> float:
    """About how high [mm] the order of the work stands with so many letters to a line."""
    lines = [1 + (len(f"{number} {do} {how}") // letters) for number, do, how in steps]
    last = 7.5 + 3.5 * (1 + (len(stop) + 14) // (letters + 5))
    return 8.0 + sum(3.5 * n + 2.3 for n in lines) + last


def _how(plan: Plan, datum: Datum) -> str:
    inches = "inches" if datum.rule.unit == "in" else "mm"
    if plan.sets_members:
        return f"Rises in {inches}"
    if plan.way == "overlay":
        return f"{'Depths' if plan.survey.surface == 'floor' else 'Shims'} in {inches}"
    return datum.how()


def _caption(plan: Plan, datum: Datum, rises: Sequence[Rise]) -> list[str]:
    """What each number of a drawing of members is; the most, the least, and which are bold."""
    if not rises:
        return []
    most, least = (datum.rule.change(pick(rise.mm for rise in rises)).removeprefix("+") for pick in (max, min))
    if plan.sets_members:
        parts_of = {"joist": "top above the old joist", "stud": "face before the old stud"}
        part = parts_of.get(called(plan), "face before the old")
        bold = ", bold 1/4 and over" if datum.rule.unit == "in" else ", bold 6 and over"
        return [f"Each number: new {part} there.", most, least, bold]
    if plan.crossing is not None:
        return ["Each number: shims behind the strap there.", most, least, ""]
    return [
        "Each number: depth of the pour there."
        if plan.survey.surface == "floor"
        else "Each number: from the surface to the face there."
    ]


def _guide(plan: Plan, datum: Datum, figures: bool) -> list[list[str]]:
    """What the signs mean: sign or words in bold, and what they say."""
    lines: list[list[str]] = []
    if not figures and len(plan.patches):
        new = "top" if plan.survey.surface == "floor" else "face"
        lines.append(["bold", "Bold", f"set the new {new} here: {datum.how()[0].lower()}{datum.how()[1:]}"])
        actions, off = set(plan.patches["action"]), {"plane", "engineer"}
        signs = ["+ add here"] * bool(actions - off) + ["\N{MINUS SIGN} take off here"] * bool(actions & off)
        lines.append(["bold", "", " ".join(signs)])
    lines.append(["origin", "", "tape from here"])
    if plan.fixed:
        lines.append(["spot", "", "keeps its height"])
    if plan.sets_members and plan.survey.surface == "floor":
        lines.append(["", "", "Boards back on top? Set the joists lower by their thickness."])
    if plan.way == "overlay" and one_height(plan) is not None:
        least = datum.rule.named(clearance(plan))
        lines.append(["", "", f"The {target_word(plan.survey)} is {least} clear of the {highest(plan)}."])
    return lines


def _diagram(plan: Plan, datum: Datum, figures: bool) -> dict[str, Any]:
    """What the small section beside the order of the work shows; empty where there is no line to read from."""
    if not len(plan.patches) or (datum.line is None and plan.survey.surface != "wall"):
        return {}
    one = one_height(plan)
    if one is not None:
        reading, what = datum.reading(one), "at every mark" if not plan.sets_members else "all along"
    elif figures:
        return {}
    else:
        marks = marks_of(plan, datum.rule.unit)
        if not marks:
            return {}
        deepest = max(marks, key=lambda mark: abs(mark.change))
        part = "top" if plan.survey.surface == "floor" else "face"
        reading, what = datum.reading(deepest.height), f"to the new {part}"
    return {
        "line": datum.name if datum.line is not None else "datum",
        "reading": reading,
        "what": what,
        "side": {"floor": "down", "ceiling": "up"}.get(plan.survey.surface, "out"),
        # of a wall: whether the line stands before the face, on the room's side
        "before": datum.line is not None or reading.startswith("\N{MINUS SIGN}"),
        "kind": "member" if plan.sets_members else "strap" if plan.crossing is not None else "surface",
    }


PIECE = re.compile(r"(\d+) x (\d+(?:\.\d+)?)")
DO = {"plane": "Plane", "fill": "Fill", "sister": "Sister", "fur": "Shim", "engineer": "Wait"}
MANY = 6  # places from which on the order of the work names kinds of work, and no longer each place
MOST_COLUMNS = 11  # of heights that a page has room for


def area(mm2: float, unit: str) -> str:
    """An area in whole square feet, or tenths of a square meter.

    >>> area(5.2e6, "in"), area(5.2e6, "mm"), area(1000.0, "in")
    ('56 sq ft', '5.2 m²', 'under 1 sq ft')
    """
    return at_least_shown(mm2 / MM2_PER_FT2, 0, "sq ft") if unit == "in" else at_least_shown(mm2 / MM2_PER_M2, 1, "m²")


# -- the title


def title_of(plan: Plan, datum: Datum) -> str:
    """The one thing that the sheet says."""
    one, name = one_height(plan), called(plan)
    if plan.way == "members":
        part = {"joist": "joist top", "stud": "stud face"}.get(name, name)
        if one is None:
            return f"Set every {part} to one {target_word(plan.survey)}"
        return f"Set every {part} {datum.words(one)}"
    if plan.way == "some-members":
        return f"Set {counted(len(plan.lines), name)} to these heights"
    if plan.way == "overlay" and plan.survey.surface == "floor":
        return f"Pour to one height: {datum.words(one)}" if one is not None else "Pour to one plane"
    if plan.way == "overlay":
        clear = f"{datum.rule.named(clearance(plan))} clear of the {highest(plan)}"
        where = datum.words(one) if one is not None else clear
        return f"Shim the strapping: its face {where}"
    if not len(plan.patches):
        return "Nothing is to be done"
    what = "readings" if plan.survey.surface == "wall" else "heights"
    return f"Bring {counted(len(plan.patches), 'place')} to these {what}"


def clearance(plan: Plan) -> float:
    """From the face of a layer over all to the surface where it stands nearest [mm]."""
    return float(np.nanmin(plan.change))


def highest(plan: Plan) -> str:
    """What the surface's nearest spot to the room is called."""
    return {"ceiling": "lowest spot", "wall": "spot that stands out most"}.get(plan.survey.surface, "highest spot")


# -- the order of the work


def check_spots(plan: Plan, datum: Datum) -> list[tuple[str, str]]:
    """Spots by which the laser is set: what they are called, and what they read; benchmarks, else left as they are."""
    survey = plan.survey
    marks = [row for row in survey.ties.to_dict("records") if row.get("kind") == "benchmark"]
    if marks and (datum.line is not None or survey.quantity != "drop"):
        heights = {str(row["label"]): float(row["height"]) for row in marks}
        return [(name, datum.reading(height)) for name, height in list(heights.items())[:2]]
    x, y, z, _ = survey.stations()
    away = np.hypot(x, y)
    column, row = (np.abs(axis[:, None] - at[None, :]).argmin(axis=0) for axis, at in ((plan.x, x), (plan.y, y)))
    moved = np.abs(np.nan_to_num(plan.change[row, column]))
    near = np.zeros(len(x), dtype=bool)
    if plan.way == "patches" and len(plan.patches):
        near = shapely.contains_xy(shapely.union_all(plan.patches["outline"].to_list()).buffer(150.0), x, y)
    kept = np.flatnonzero(~near & (moved < 1e-6))
    if not len(kept):
        kept = np.arange(len(x))  # all is worked on: what is read before it begins
    first = kept[int(np.argmin(away[kept]))]
    last = kept[int(np.argmax(np.hypot(x[kept] - x[first], y[kept] - y[first])))]
    unit = datum.rule.unit
    return [(_spot(x[k], y[k], survey, unit), datum.reading(z[k])) for k in dict.fromkeys((first, last))]


def _spot(x: float, y: float, survey: Survey, unit: str) -> str:
    """A spot of the surface by tape, or by the walls that meet there."""
    if survey.walls.door is not None and survey.outline is not None:
        corners = np.array(survey.outline.envelope.exterior.coords[:-1])
        near = np.flatnonzero(np.hypot(*(corners - (x, y)).T) < SAME_PLACE_MM)
        if len(near):
            right, far = (tape.far((x, y)) > SAME_PLACE_MM for tape in survey.tapes_in)
            return f"the {'far' if far else 'near'} {'right' if right else 'left'} corner"
    return f"the spot {place_words(x, y, unit, survey)}"


def order_of_work(plan: Plan, datum: Datum, rises: Sequence[Rise]) -> list[tuple[str, str, str]]:
    """The steps: number of the place, what to do in a few words, and how."""
    if not len(plan.patches):
        return []
    spots = check_spots(plan, datum)
    verb = "reads" if datum.line is not None else "stands at"
    where = " and ".join(f"{name} {verb} {reading}" for name, reading in spots)
    line = datum.name if datum.line is not None else "datum"
    untouched = plan.way == "patches" or plan.way == "some-members"
    around = "floor and ceiling" if plan.survey.surface == "wall" else "walls"
    keep = "" if untouched else f" Mark the {line} on the {around} first."
    set_up = "Stretch the string" if not plan.survey.is_level else "Set the laser"
    if plan.sets_members:
        work = _setting(plan, datum, rises)
    else:
        work = _layer(plan, datum, rises) if plan.way == "overlay" else _places(plan, datum)
    return [("", set_up, f"so that {where}.{keep}"), *work, *_checks(plan, datum, rises)]


def _places(plan: Plan, datum: Datum) -> Iterator[tuple[str, str, str]]:
    unit, count = datum.rule.unit, len(plan.patches)
    if len(plan.marks):
        marks = format_length(plan.surface.spacing, unit, 8).replace('"', " in")
        steps = plan.surface.spacing / (25.4 if unit == "in" else 5.0)
        step = f"Corners stand on {marks} marks." if abs(steps - round(steps)) < 1e-6 else ""
        yield "", f"Chalk the {'outline' if count == 1 else f'{count} outlines'}.", step
    how = {
        "plane": "Nails and pipes first; mask on.",
        "fill": "Run out to nothing at the outline.",
        "sister": "Lines in the list.",
        "fur": "To the heights drawn.",
        "engineer": "Leave it until the engineer or the maker has said yes.",
    }
    order = [name for name in DO if name != "fill"] + ["fill"]
    rows = sorted(plan.patches.to_dict("records"), key=lambda row: order.index(str(row["action"])))
    for action in order:
        own = [row for row in rows if row["action"] == action]
        groups = [[row] for row in own] if count <= MANY else [own] if own else []
        for group in groups:
            number = number_of(str(group[0]["name"])) if len(group) == 1 else ""
            size = area(sum(float(row["area_mm2"]) for row in group), unit)
            deepest = max((float(row["greatest_mm"]) for row in group), key=abs)
            places = "" if number else f"places {listed([number_of(str(row['name'])) for row in group])}: "
            said = how[action] if group is groups[0] else ""
            yield number, f"{DO[action]} {size},", f"{places}up to {datum.rule.named(abs(deepest))}. {said}".strip()


def _setting(plan: Plan, datum: Datum, rises: Sequence[Rise]) -> Iterator[tuple[str, str, str]]:
    names, one = list(plan.lines), one_height(plan)
    name = called(plan)
    heights = datum.reading(one) if one is not None else "their heights in the list"
    part = "top" if name == "joist" else "face"
    proud = [rise for rise in rises if datum.rule.change(rise.mm).startswith("\N{MINUS SIGN}")]
    if proud:
        off = dict.fromkeys(rise.member for rise in proud)
        yield "", f"Take down {listed(list(off)[:8])}", "where the drawing has a minus, by so much."
    how = "full depth. Clamp, read, then nail." if name == "joist" else "clamp, read, then nail."
    if plan.way == "members":
        yield "", f"Set {names[0]} and {names[-1]} first,", f"both ends at {heights}; string between."
        if len(names) > 2:
            between = names[1] if len(names) == 3 else f"{names[1]} to {names[-2]}"
            yield "", f"{'Sister' if name == 'joist' else 'Sister or shim'} {between} to the string,", how
    else:
        how_far = f"at the heights in the list; each {part} is straight between."
        yield "", f"Set both ends of {_run(plan, names)}", how_far
        yield "", "Sister them,", how


def _run(plan: Plan, names: Sequence[str]) -> str:
    """Names with runs of neighbors told by their ends: ``J4 to J7 and J9``."""
    return listed([f"{run[0]} to {run[-1]}" if len(run) > 2 else " and ".join(run) for run in runs_of(plan, names)])


def _layer(plan: Plan, datum: Datum, rises: Sequence[Rise]) -> Iterator[tuple[str, str, str]]:
    one, rule = one_height(plan), datum.rule
    if plan.survey.surface == "floor":
        at = f"its top at {datum.reading(one)}" if one is not None else "its top so far above the floor"
        yield "", "Set a pin at every mark,", f"{at}."
        thin, thick = (rule.reading(pick(rise.mm for rise in rises)) for pick in (min, max))
        yield "", "Pour to the pins,", f"{thin} to {thick} {rule.unit} deep."
        return
    face = f"The face is at {datum.reading(one)} there and everywhere." if one is not None else ""
    if plan.crossing is None:
        yield "", "Set the strapping out", f"from the surface by the numbers drawn. {face}".strip()
        return
    least = min(rises, key=lambda rise: rise.mm)
    where = place_words(least.x, least.y, rule.unit, plan.survey)
    behind = "the strap alone" if rule.reading(least.mm) == "0" else f"{rule.named(least.mm)} behind the strap"
    yield "", f"Start on {least.member},", f"{where}: {behind}. {face}".strip()
    yield "", "Shim every other crossing", "by its number, behind the strap; fasten through the shim."


def _checks(plan: Plan, datum: Datum, rises: Sequence[Rise]) -> Iterator[tuple[str, str, str]]:
    rule, one = datum.rule, one_height(plan)
    within = rule.named(max(float(plan.settings.get("setting_error", 0.8)), 0.5))
    if rises and one is not None:
        step = "2 ft" if rule.unit == "in" else "500 mm"
        where = "every crossing" if plan.crossing is not None else f"every {step}"
        yield "", "Read again", f"at {where}: {datum.reading(one)}, give or take {within}."
    dots = "" if rises else " Read again at the dots."
    bars = [text for limit in plan.limits if limit.name in _planned(plan) for text in _bar(limit, rule)]
    if bars:
        yield "", "Check every way:", f"nothing over {', '.join(dict.fromkeys(bars))}.{dots}"
    elif dots:
        yield "", "Read again at the dots,", f"each give or take {within}."


def _planned(plan: Plan) -> set[str]:
    return set(plan.after.loc[plan.after["planned_for"].astype(bool), "limit"])


def _bar(limit: Any, rule: Rule) -> Iterator[str]:
    if limit.kind in ("straightedge", "straightedge-share", "offset") and limit.length and limit.allowed:
        length = f"{limit.length / 304.8:.3g} ft" if rule.unit == "in" else f"{limit.length / 1000:.3g} m"
        yield f"{rule.at_most(limit.allowed)} under a {length} bar"


def stop_and_call(plan: Plan, datum: Datum) -> str:
    """When to stop: what would make the sheet wrong, or the work unsafe."""
    if not len(plan.patches):
        return ""
    reads = "a check spot does not read so"
    actions = set(plan.patches["action"])
    if plan.sets_members:
        return f"if {reads}, or a {called(plan)} is cracked, notched or not where it is drawn."
    if plan.way == "overlay":
        floor = plan.survey.surface == "floor"
        return f"if {reads}, or {'the pour would run away at an edge' if floor else 'a spot stands out past the face'}."
    if "plane" in actions:
        return f"if {reads}, or a nail or pipe lies where you plane."
    return f"if {reads}, or what lies beneath is loose or wet."


# -- the list


def place_rows(plan: Plan, rule: Rule) -> list[list[str]]:
    """Number, what to do, where across and up, area, deepest."""
    rows, unit = [], rule.unit
    for row in plan.patches.to_dict("records"):
        ends = (
            [one.far((row[f"{end}_x_mm"], row[f"{end}_y_mm"])) for end in ("from", "to")]
            for one in plan.survey.tapes_in
        )
        across, up = (_stretch(min(pair), max(pair), unit) for pair in ends)
        rows.append(
            [
                number_of(str(row["name"])),
                DO[str(row["action"])],
                across,
                up,
                area(row["area_mm2"], unit),
                rule.named(abs(row["greatest_mm"])),
            ]
        )
    return rows


def _noted(plan: Plan) -> list[dict[Any, Any]]:
    """The places of which there is more to say than the drawing shows."""
    return [row for row in plan.patches.to_dict("records") if row["note"]] if plan.way == "patches" else []


def place_head(survey: Survey, axis: int) -> str:
    """What the tape across (0) or up (1) the drawing starts from, over a column."""
    wall = survey.tapes_in[axis].wall
    return f"From {wall}" if wall else ("Across", "Up")[axis]


def axes_of(survey: Survey, unit: str) -> list[str]:
    """What stands along the drawing's foot and its side."""
    name = "feet" if unit == "in" else "meters"
    return [f"{name} from the {one.wall or 'zero corner'}" for one in survey.tapes_in]


def _stretch(start: float, end: float, unit: str) -> str:
    """From where to where [mm], the unit named once.

    >>> _stretch(0, 1676.4, "in"), _stretch(610, 1676, "mm")
    ('0 to 5\\' 6"', '0.61 to 1.676 m')
    """
    return f"{tape(start, unit).removesuffix(' m')} to {tape(end, unit)}"


def height_tables(plan: Plan, marks: Sequence[Mark], labeled: set[int], datum: Datum) -> list[dict[str, Any]]:
    """The heights that had no room on the drawing, a table a place, as they lie."""
    tables: list[dict[str, Any]] = []
    if not len(plan.marks):
        return tables
    unit, tapes = datum.rule.unit, plan.survey.tapes_in
    walls = [one.wall for one in tapes]
    corner = f"{walls[1]} \\ {walls[0]}" if all(walls) else "up \\ across"
    for name in plan.patches["name"].astype(str):
        own = [mark for k, mark in enumerate(marks) if mark.place == name and k not in labeled]
        far = [tuple(round(one.far((mark.x, mark.y)), 1) for one in tapes) for mark in own]
        at = {place: datum.reading(mark.height) for place, mark in zip(far, own, strict=True)}
        columns, up = sorted({x for x, _ in at}), sorted({y for _, y in at}, reverse=True)
        for first in range(0, len(columns), MOST_COLUMNS):
            across = columns[first : first + MOST_COLUMNS]
            tables.append(
                {
                    "name": number_of(name) if not first else "",
                    "head": [corner, *(tape(x, unit) for x in across)],
                    "rows": [
                        [tape(y, unit), *(at.get((x, y), "") for x in across)]
                        for y in up
                        if any((x, y) in at for x in across)
                    ],
                }
            )
    return tables


def line_rows(plan: Plan, datum: Datum, rises: Sequence[Rise]) -> list[list[str]]:
    """Members that are not all at one height: name, position, near end and far end, most that it comes up."""
    if not plan.lines or one_height(plan) is not None or plan.members is None:
        return []
    along = plan.members.direction
    at = dict(zip(plan.members.table["name"], plan.members.positions.tolist(), strict=True))
    rows = []
    for name, (level, slope) in plan.lines.items():
        own = [rise for rise in rises if rise.member == name]
        if not own:
            continue
        ends = [pick(getattr(rise, along) for rise in own) for pick in (min, max)]
        rows.append(
            [
                name,
                _member_at(plan, at[name], datum.rule.unit),
                *(datum.reading(level + slope * s) for s in ends),
                datum.rule.change(max(rise.mm for rise in own)).removeprefix("+"),
            ]
        )
    return rows


def _near(plan: Plan) -> str:
    """Toward which side of the drawing members have their near end."""
    along_x = plan.members is not None and plan.members.direction == "x"
    return ("the left", "the bottom", "the right", "the top")[(plan.survey.turns + (not along_x)) % 4]


def _member_at(plan: Plan, position: float, unit: str) -> str:
    """Where a member lies across the drawing."""
    along_y = plan.members is not None and plan.members.direction == "y"
    return tape(plan.survey.tapes[0 if along_y else 1].far((position, position)), unit)


def sister_rows(plan: Plan, schedule: Schedule | None, datum: Datum) -> list[list[str]]:
    """Members that are sistered under places: name, position, near end and far end, most that it comes up."""
    if schedule is None or plan.way != "patches" or not plan.patches["action"].isin(["sister", "fur"]).any():
        return []
    rows = []
    for row in schedule.members.to_dict("records"):
        own = schedule.table[(schedule.table["member"] == row["member"]) & schedule.table["line_mm"].notna()]
        if own.empty or row["set"] == STAYS:
            continue
        rows.append(
            [
                str(row["member"]),
                _member_at(plan, row["position_mm"], datum.rule.unit),
                datum.reading(own["line_mm"].iloc[0]),
                datum.reading(own["line_mm"].iloc[-1]),
                datum.rule.change(own["raise_mm"].max()).removeprefix("+"),
            ]
        )
    return rows


def to_bring(plan: Plan, rises: Sequence[Rise], rule: Rule) -> list[list[str]]:
    """What, how many, how long."""
    rows, unit = [], rule.unit
    if plan.sets_members and plan.members is not None:
        rows += _pieces_of(plan, "Sister" if called(plan) == "joist" else "Sister or furring", list(plan.lines), unit)
    elif plan.way == "overlay" and plan.survey.surface != "floor" and plan.members is not None:
        strap = f"Strap, {rule.named(plan.members.thickness)} thick"
        rows += _pieces_of(plan, strap, plan.members.table["name"].tolist(), unit)
        thick = [rise.mm for rise in rises]
        shimmed = sum(rule.reading(mm) != "0" for mm in thick)
        thinnest = min((mm for mm in thick if rule.reading(mm) != "0"), default=0.0)
        rows.append(["Shims", f"{shimmed}", f"{rule.reading(thinnest)} to {rule.named(max(thick))} thick"])
    if plan.quantities.bags:
        rows.append(["Fill", str(plan.quantities.bags), "bag" if plan.quantities.bags == 1 else "bags"])
    return rows


def _pieces_of(plan: Plan, what: str, names: list[str], unit: str) -> list[list[str]]:
    """Members by the length of what goes on them."""
    members = plan.members
    assert members is not None
    lengths: dict[str, list[str]] = {}
    for name, line in members.lines(plan.x, plan.y):
        if name in names:
            lengths.setdefault(tape(line.length, unit), []).append(name)
    return [[f"{what}, {_run(plan, own)}", str(len(own)), length] for length, own in lengths.items()]


def cut_rows(plan: Plan, unit: str) -> list[list[str]]:
    """How lengths on sale are cut: times, out of what, pieces, left over."""
    lengths = plan.quantities.lengths
    if lengths is None:
        return []
    return [
        [
            f"{row['times']:.0f}",
            tape(row["stock_mm"], unit),
            PIECE.sub(lambda found: f"{found[1]} x {tape(float(found[2]), unit)}", row["pieces"]),
            tape(row["offcut_mm"], unit),
        ]
        for row in lengths.cuts.to_dict("records")
    ]


def spot_rows(plan: Plan, datum: Datum) -> list[list[str]]:
    """The fixed spots: name, where, what it must be, within what."""
    return [
        [
            spot.name or "fixed",
            place_words(spot.x, spot.y, datum.rule.unit, plan.survey),
            "as it is" if spot.height is None else datum.reading(spot.height),
            datum.rule.named(spot.allowance) if spot.allowance else "nothing",
        ]
        for spot in plan.fixed
    ]


def reveal_rows(job: Results, datum: Datum) -> list[list[str]]:
    """Lines of the reveals: name, from where to where, height at its start and at its end, what is scribed off."""
    rows = []
    for line in job.job.reveals:
        found = job.reveals[line.name]
        known: pd.DataFrame = found.table[found.table["line_mm"].notna()]
        ends = [datum.reading(float(known["line_mm"].iloc[k])) for k in (0, -1)]
        where = _along(line.start, line.end, job.job.before.survey, datum.rule.unit)
        scribe = float(found.scribe["scribe_mm"].max()) if len(found.scribe) else 0.0
        rows.append([line.name, where, *ends, datum.rule.named(scribe) if scribe else "nothing"])
    return rows


def _along(start: tuple[float, float], end: tuple[float, float], survey: Survey, unit: str) -> str:
    """Where a line runs: along a wall, or from one place to another."""
    for wall in survey.tapes:
        if wall.wall and all(abs(wall.far(xy)) < SAME_PLACE_MM for xy in (start, end)):
            return f"along the {wall.wall}"
    return " to ".join(place_words(*xy, unit, survey) for xy in (start, end))


def cautions_of(plan: Plan, schedule: Schedule | None) -> list[Caution]:
    """Those about this work."""
    found: Mapping[str, Caution] = {one.key: one for one in (*plan.cautions, *(schedule.cautions if schedule else ()))}
    members = plan.members
    off = bool((np.nan_to_num(plan.change) < 0).any())
    framed = plan.sets_members or bool(plan.patches["action"].isin(["sister", "engineer"]).any())
    lines = {
        "plane": off,
        "notch": off and members is not None and members.kind == "sawn joist",
        "engineered": framed if members is None else members.engineered,
        "stairs": bool(plan.fixed or plan.survey.openings),
        "dust": bool(plan.patches["action"].isin(["plane", "fill"]).any()),
    }
    return [one for key, one in found.items() if lines.get(key, True)]
