"""The crew sheet: the drawing with the heights to set and the order of the work, then the list of what is drawn."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from flatness.corrections.plan import Plan
from flatness.corrections.schedule import Schedule
from flatness.errors import ArgumentError
from flatness.job.running import Results
from flatness.lengths import FRACTIONS
from flatness.show import plan as maps
from flatness.show.papers import crew_parts as parts
from flatness.show.papers.drawing import as_data, beside, draw, widest_scale
from flatness.show.papers.files import Paper
from flatness.show.papers.heights import Datum, Rise, called, marks_of, one_height, rises_of
from flatness.show.papers.lettering import DISC, TYPE, Rule
from flatness.show.papers.meets import failing
from flatness.show.papers.pdf import cut, make_pdf, sheet_named
from flatness.show.papers.tiles import BELOW, FOOT, HEAD, LEFT, SIDE, TOP, lay_out, scale_name
from flatness.show.scales import check_unit
from flatness.show.words import shown_unit

LINE_LETTERS = 61  # that a step has room for on one line


def crew_sheet(
    plan: Plan, schedule: Schedule | None = None, *, paper: str = "letter", unit: str | None = None,
    scale: float | None = None, fraction: int | None = None, made: datetime | None = None, title: str | None = None,
    job: Results | None = None,
) -> Paper:  # fmt: skip
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
    unit = check_unit(shown_unit(plan.survey, unit))
    if fraction is not None and fraction not in FRACTIONS:
        raise ArgumentError("unknown fraction", column="fraction", value=str(fraction), expected="8, 16, 32 or 64")
    rule = Rule(unit, fraction or 32)
    datum = Datum.of(plan.survey, rule)
    rises = rises_of(plan, unit)
    marks = [] if rises else marks_of(plan, unit)
    steps = parts.order_of_work(plan, schedule, datum, rises)
    stop = parts.stop_and_call(plan, datum)
    layout = lay_out(
        maps.bounds_of(plan.surface, plan.survey), sheet, unit, beside=_height(steps, stop, bool(rises)),
        caption=7.0 if rises else 0.0, sides=beside(plan, rises, rule),
        most=widest_scale(plan, marks, rises, rule), scale=scale,
    )  # fmt: skip
    drawn = [draw(plan, tile, layout, datum, marks, rises) for tile in layout.tiles]
    labeled = set().union(*(one.labeled for one in drawn))
    title = cut(title or plan.survey.title or plan.survey.source or f"The {plan.survey.surface}", 90)
    data: dict[str, Any] = {
        "title": title, "short": cut(title, 56), "says": parts.title_of(plan, datum),
        "read": _read(plan), "how": _how(plan, datum),
        "scale": scale_name(layout.scale, unit),
        "sheets": [
            {"name": tile.name, "row": tile.row, "column": tile.column} | as_data(one)
            for tile, one in zip(layout.tiles, drawn, strict=True)
        ],
        "rows": layout.rows, "columns": layout.columns, "flipped": layout.flipped, "shared": layout.shared,
        "width": layout.width, "height": layout.height,
        "margins": [SIDE, TOP, FOOT], "left": LEFT, "head": HEAD, "below": BELOW,
        "type": {kind: list(face) for kind, face in TYPE.items()}, "disc": DISC,
        "axis": f"{'feet' if unit == 'in' else 'meters'} from the zero corner",
        "caption": _caption(plan, datum, rises),
        "guide": _guide(plan, datum, bool(rises)), "diagram": _diagram(plan, datum, bool(rises)),
        "steps": [list(step) for step in steps], "stop": stop,
        "places": parts.place_rows(plan, rule) if plan.way == "patches" else [],
        "heights": parts.height_tables(plan, marks, labeled, datum),
        "lines": parts.line_rows(plan, datum, rises), "sisters": parts.sister_rows(plan, schedule, datum),
        "near": "the left" if plan.members is not None and plan.members.direction == "x" else "the bottom",
        "bring": parts.to_bring(plan, rises, rule), "cuts": parts.cut_rows(plan, unit),
        "spots": parts.spot_rows(plan, datum),
        "reveals": [] if job is None or job.plan is None else parts.reveal_rows(job, datum),
        "meets": [] if job is None else [list(one) for one in failing(job, unit)],
        "cautions": [[one.text, one.source] for one in parts.cautions_of(plan, schedule)],
    }  # fmt: skip
    return Paper(title, make_pdf("crew.typ", data, {}, paper, made))


def _height(steps: list[tuple[str, str, str]], stop: str, figures: bool) -> float:
    """About how high [mm] the order of the work stands below the drawing."""
    lines = [1 + (len(f"{number} {do} {how}") // LINE_LETTERS) for number, do, how in steps]
    last = 7.5 + 3.9 * (1 + (len(stop) + 14) // 66)
    return max(52.0 if figures else 58.0, 9.0 + sum(3.9 * n + 2.3 for n in lines) + last)


def _read(plan: Plan) -> str:
    when = plan.survey.date
    try:
        day = date.fromisoformat(when)
    except ValueError:
        return f"Read {when}" if when else ""
    return f"Read {day:%B} {day.day}, {day.year}"


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
    return ["Each number: depth of the pour there." if plan.survey.surface == "floor"
            else "Each number: from the surface to the face there."]  # fmt: skip


def _guide(plan: Plan, datum: Datum, figures: bool) -> list[list[str]]:
    """What the signs mean: sign or words in bold, and what they say."""
    told: list[list[str]] = []
    if not figures and len(plan.patches):
        ups = {"floor": "set the new top here", "ceiling": "set the new face here", "wall": "set the new face here"}
        told.append(["bold", "Bold", f"{ups[plan.survey.surface]}: {datum.how()[0].lower()}{datum.how()[1:]}"])
        actions = set(plan.patches["action"])
        add, off = bool(actions - {"plane", "engineer"}), bool(actions & {"plane", "engineer"})
        told.append(["bold", "+ " * add + "\N{MINUS SIGN} " * off,
                     " ".join(["+ add here"] * add + ["\N{MINUS SIGN} take off here"] * off)])  # fmt: skip
        told[-1][1] = ""
    told.append(["origin", "", "tape from here"])
    if plan.fixed:
        told.append(["spot", "", "keeps its height"])
    if plan.sets_members and plan.survey.surface == "floor":
        told.append(["", "", "Boards back on top? Set the joists lower by their thickness."])
    if plan.way == "overlay" and one_height(plan) is not None:
        least = datum.rule.named(parts.clearance(plan))
        told.append(["", "", f"The plane is {least} clear of the {parts.highest(plan)}."])
    return told


def _diagram(plan: Plan, datum: Datum, figures: bool) -> dict[str, str]:
    """What the small section beside the order of the work shows; empty where there is no line to read from."""
    if datum.line is None or plan.survey.surface == "wall" or not len(plan.patches):
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
        reading, what = datum.reading(deepest.height), "to the new top"
    return {
        "line": datum.name, "reading": reading, "what": what,
        "side": "up" if plan.survey.surface == "ceiling" else "down",
        "kind": "member" if plan.sets_members else "strap" if plan.crossing is not None else "surface",
    }  # fmt: skip
