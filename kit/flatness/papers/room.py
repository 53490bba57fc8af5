"""The papers of a room: its owner's page, and the sheet from which its crew sets out every surface."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import numpy as np
from matplotlib.transforms import Bbox

from flatness.charts.axes import colour_bar, new_figure
from flatness.charts.rooms import room_plan
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.papers.figures import svg_of
from flatness.papers.files import Paper
from flatness.papers.sheet import MARGIN_MM, cut, make_pdf, sheet_named
from flatness.room.checks import MEASURED
from flatness.room.records import Room
from flatness.room.set_out import UP, wall_lines
from flatness.room.targets import RoomTargets
from flatness.room.ways import RoomWays
from flatness.words.printed import position
from flatness.words.rooms import (
    AUTHORITY,
    cautions,
    check_rows,
    crew_answer,
    crew_steps,
    diagonal_rows,
    length_in_feet,
    most_moved,
    owner_answer,
    strap_rows,
    target_sentences,
    trim_rows,
    wall_rows,
    way_rows,
)
from flatness.words.ways import work_text

INCH = 25.4
PLAN_SHARE = 0.64  # height of the plan over its width
BAR_IN, KEY = 0.6, np.array([0.34, 1.0])  # what the key takes [in]: its height; its width, of the whole
USUAL_RATES = "by the usual rates; common practice, no source"


def _plan(room: Room, targets: RoomTargets | None, width: float, high: float, labels: bool) -> bytes:
    """The plan with its walls folded out, and what its colors mean, as SVG of this size [in]."""
    for below in (0.0, BAR_IN):  # the key stands beside the lowest wall, where there is room; else below all
        figure = new_figure(width, high)
        ax = figure.add_axes((0.0, below / high, 1.0, 1 - below / high))
        plan = room_plan(ax, room, targets, numbers=False, labels=labels)
        ax.apply_aspect()
        key = ax.transData.inverted().transform(figure.transFigure.transform(KEY * np.array([1.0, BAR_IN / high])))
        if not any(one.get_datalim(ax.transData).overlaps(Bbox([ax.dataLim.p0, key])) for one in plan.maps.values()):  # type: ignore[attr-defined]
            break
    bar = figure.add_axes((0.03, 0.42 / high, 0.27, 0.12 / high))
    ends = ("add", "take off") if targets is not None else ("shy", "proud")
    steps = colour_bar(bar, plan.scale, "horizontal", ends, signed=True)
    if targets is not None:
        steps.set_ticklabels([label.get_text().lstrip("+\N{MINUS SIGN}") for label in steps.ax.get_xticklabels()])
    return svg_of(figure)


def room_owner_page(
    room: Room,
    targets: RoomTargets | None = None,
    ways: RoomWays | None = None,
    *,
    paper: str = "letter",
    made: datetime | None = None,
) -> Paper:
    """Whether a room is as agreed, and what makes it so: the answer and its plan, and a page of numbers.

    Parameters
    ----------
    room : with its checks
    targets : that its surfaces are brought to; None: the page is of the room as found
    ways : chosen for them
    paper : ``letter`` or ``a4``
    made : when the page was made, which is printed; None leaves it out, and the same input gives the same bytes

    Raises
    ------
    ArgumentError : an unknown paper
    """
    sheet, title = sheet_named(paper), cut(f"Owner's page: {room.title}", 90)
    width = (sheet.width - 2 * MARGIN_MM) / INCH
    judged = {row for row in room.checks["verdict"] if row != MEASURED}
    data: dict[str, Any] = {
        "title": title,
        "name": cut(room.title, 60),
        "state": next((word for word in (FAIL, UNDECIDED, PASS) if word in judged), ""),
        "sentence": owner_answer(room),
        "second": "" if targets is None else next(target_sentences(targets)),
        "seen": "The room from above, its walls folded out with their heads outward; L and R as seen from the room.",
        "facts": [list(fact) for fact in _facts(targets, ways)],
        "checks": check_rows(room),
        "ways": [] if ways is None else way_rows(ways),
        "targets": [] if targets is None else list(target_sentences(targets))[1:],
        "authority": AUTHORITY,
    }
    many, high = len(room.rooms), width * 0.8 / len(room.rooms)
    data["plans"] = [f"plan-{i}.svg" for i in range(many)]
    pictures = {
        f"plan-{i}.svg": _plan(
            room.only(name), None if targets is None else targets.only(name), width, high, labels=False
        )
        for i, name in enumerate(room.rooms)
    }
    return Paper(title, make_pdf("room_owner.typ", data, pictures, paper, made))


def _facts(targets: RoomTargets | None, ways: RoomWays | None) -> Sequence[tuple[str, str]]:
    if targets is None:
        return ()
    room, facts = targets.room, []
    if ways is not None and ways.work is not None:
        facts.append((work_text(*ways.work), f"of work{f' {USUAL_RATES}' if ways.usual_rates else ''}"))
    ceilings = [one.z for one in targets.targets.values() if one.kind == "ceiling"]
    floors = [one.z for one in targets.targets.values() if one.kind == "floor"]
    if ceilings and floors:
        facts.append((length_in_feet(min(ceilings) - max(floors), room.show), "clear from floor to ceiling when done"))
    name, by = most_moved(targets)
    facts.append((name, f"its face moves most, {by}") if name else (by, "each is left as it is"))
    return facts


def room_crew_sheet(
    targets: RoomTargets, ways: RoomWays | None = None, *, paper: str = "letter", made: datetime | None = None
) -> Paper:
    """All that a crew sets out in a room: the ceiling line, each wall off its control line, shims, trims, diagonals.

    Parameters
    ----------
    targets : that the surfaces are brought to
    ways : chosen for them
    paper : ``letter`` or ``a4``
    made : when the sheet was made, which is printed

    Raises
    ------
    ArgumentError : an unknown paper
    """
    room, sheet = targets.room, sheet_named(paper)
    title = cut(f"Crew sheet: {room.title}", 90)
    width = (sheet.width - 2 * MARGIN_MM) / INCH
    unit = "inches" if room.show == "in" else "mm"
    data: dict[str, Any] = {
        "title": title,
        "name": cut(room.title, 60),
        "says": crew_answer(targets),
        "how": "Walls are folded out, heads outward. Studs count from the left (L), facing the wall from the room. "
        "Gray: leave it as it is. Hatched: not read, as at a door." + (" ▲ is a benchmark." if room.places else ""),
        "numbers": "Lines are to the face that was read. No board is counted: a board over that face ends up its own "
        "thickness nearer to the control line. Bottom, middle and top, so high up from the datum as stands beside the "
        f"wall's name: what to add there, in {unit}; − is take off.",
        "rooms": [
            {"name": name if len(room.rooms) > 1 else "", "plan": f"plan-{i}.svg", **_tables(targets.only(name))}
            for i, name in enumerate(room.rooms)
        ],
        "steps": list(crew_steps(targets)),
        "ways": [] if ways is None else way_rows(ways),
        "cautions": [one.text for one in cautions(targets)],
        "authority": AUTHORITY,
    }
    pictures = {
        f"plan-{i}.svg": _plan(room.only(name), targets.only(name), width, width * PLAN_SHARE, labels=True)
        for i, name in enumerate(room.rooms)
    }
    return Paper(title, make_pdf("room_crew.typ", data, pictures, paper, made))


def _tables(targets: RoomTargets) -> dict[str, Any]:
    """All that is set out in one room, as tables."""
    return {
        "walls": [_wall(targets, one.name) for one in targets.room.of_kind("wall")],
        "ceilings": [{"name": name, "from": start, "rows": straps} for name, _, start, straps in strap_rows(targets)],
        "trims": [[name, f"{foot} above the datum", reveal] for name, foot, reveal in trim_rows(targets.finished)],
        "diagonals": diagonal_rows(targets),
    }


def _wall(targets: RoomTargets, name: str) -> dict[str, Any]:
    """The finished line of one wall off its control line, and what is added to it, stud by stud."""
    heads, rows = wall_rows(targets, name)
    adds, line = [] if name in targets.left else list(UP), targets.room.surfaces[name].line
    heads = ["line as it is"] if not adds and len(heads) == 1 else heads
    lines = wall_lines(targets)
    lines = lines[lines["wall"] == name]
    heights = dict(zip(lines["at"], lines["y_mm"] + line.base, strict=True))
    up = ", ".join(position(float(heights[at]), targets.room.show) for at in UP)
    off = f"off {line.control or 'its control line'}"
    return {
        "name": name,
        "control": f"{off}; at {up} up" if adds else f"leave it as it is; {off}",
        "head": ["stud", "from left", *heads, *adds],
        "lines": len(heads),
        "rows": [[*row, *(words if adds else ())] for row, words in rows],
    }
