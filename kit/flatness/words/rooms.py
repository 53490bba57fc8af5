"""What a room's checks found, and what was found in a scan of one, in plain words: the answer first, 80 wide."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from flatness.lengths import format_length
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.room.checks import MEASURED, WHAT
from flatness.room.records import Room
from flatness.room.set_out import SAME_MM, UP, ceiling_lines, diagonals, trim_lines, wall_lines
from flatness.room.targets import RoomTargets
from flatness.room.ways import LEAVE, RoomWays, closed_because
from flatness.scans.records import Scan, ScanSurface
from flatness.surroundings.cautions import Caution, cautions_for
from flatness.words.phrases import say, sentence
from flatness.words.printed import (
    WIDTH,
    accuracy,
    area,
    bulleted,
    columns,
    counted,
    fine,
    hanging,
    indented,
    length,
    listed,
    percent,
    position,
)
from flatness.words.ways import NOTHING, USUAL, way_name, work_text

TITLES = {
    "clear-height": "Clear height, at least",
    "ceiling": "Ceiling",
    "recess": "Depth above the finished ceiling, at least",
    "parallel": "Facing walls parallel",
    "square": "Corners square",
    "plumb": "Walls plumb",
    "wall-foot": "Floor along each wall, highest less lowest",
    "opening": "Openings",
    "threshold": "Thresholds",
}
AUTHORITY = (
    "The kit measures and compares; it does not design structure. Before anything is cut, planed or loaded, local "
    "codes, the maker and licensed practice decide."
)
FINE = (32, 64)  # thirty-seconds; finer where they would print it as none
LEAST_MM = 0.05  # less is nothing to do
LONG_MM = 200 * 304.8
CURVATURE = (
    "Over 200 ft a level line off one set-up is bent by the curve of the earth and by warm air: set the instrument "
    "midway between what it reads."
)


def room_report(room: Room, targets: RoomTargets | None = None, clash: str = "", ways: RoomWays | None = None) -> str:
    """A room's checks as text, the answer in its first line, and its targets, or why there are none."""
    unit, rows = room.show, _records(room.checks)
    parts = [textwrap.fill(answer(room), WIDTH), f"{room.title}: {_surfaces(room)}"]
    for what in WHAT:
        some = [row for row in rows if row["what"] == what]
        if some:
            beside = width_lines(room) if what == "parallel" else ()
            parts.append("\n".join([TITLES[what], *(_line(row, unit) for row in some), *map(hanging, beside)]))
    if targets is not None:
        parts.append(targets_text(targets))
        if ways is not None:
            parts.append(ways_words(ways))
        parts.append(bulleted("Before you start", (one.text for one in cautions(targets))))
    if clash:
        parts.append("\n".join(["One target for all", indented(clash, "  ")]))
    parts.append(_datum(room))
    notes = [*_notes(room)]
    if notes:
        parts.append(bulleted("Worth knowing", notes))
    parts.append(textwrap.fill(AUTHORITY, WIDTH))
    return "\n\n".join(parts)


def answer(room: Room) -> str:
    """Whether the room is as it should be, in one line: how many checks fail, and the worst."""
    rows, unit = _records(room.checks), room.show
    judged = [row for row in rows if row["verdict"] != MEASURED]
    if not judged:
        return f"NO LIMIT: nothing is agreed for {room.title}; {counted(len(rows), 'measure')} below."
    some = [row for row in judged if row["verdict"] == room.verdict]
    word = {PASS: "pass", FAIL: "fail", UNDECIDED: "cannot be decided by these readings"}[room.verdict]
    if room.verdict == PASS:
        return f"PASS: all {counted(len(judged), 'check')} of {room.title} {word}."
    if len(some) == 1:
        word = word.replace("fail", "fails") if room.verdict == FAIL else word
    worst = max(some, key=_use)
    first = f"worst: {worst['what'].replace('-', ' ')}, {say(worst['where'], unit)}"
    if not math.isnan(worst["likely_mm"]):
        of = "needed" if worst["at_least"] else "allowed"
        first += f": {row_length(worst, 'likely_mm', unit)}, {of} {_size(worst['allowed_mm'], unit)}"
    return f"{room.verdict.upper()}: {len(some)} of {counted(len(judged), 'check')} {word}; {first}."


def width_lines(room: Room) -> Iterator[str]:
    """How far facing walls are apart along their run, a sentence a pair."""
    for (first, second), some in room.widths.groupby(["first", "second"], sort=False):
        sizes = ", ".join("open" if math.isnan(mm) else _size(mm, room.show) for mm in some["likely_mm"])
        every = position(float(some["x_mm"].diff().median()), room.show)
        start = position(float(some["x_mm"].iloc[0]), room.show)
        yield f"{first} to {second}, face to face half way up, every {every} from {start} along {first}: {sizes}."


def _use(row: Mapping[str, Any]) -> float:
    """How far beyond what is allowed, as a share of it."""
    likely, allowed = row["likely_mm"], row["allowed_mm"]
    if math.isnan(likely) or math.isnan(allowed):
        return 0.0
    return float(allowed / likely if row["at_least"] else likely / allowed)


def _surfaces(room: Room) -> str:
    kinds = [(kind, len(room.of_kind(kind))) for kind in ("floor", "ceiling", "wall")]
    return ", ".join(counted(count, kind) for kind, count in kinds if count)


def _line(row: Mapping[str, Any], unit: str) -> str:
    where = say(row["where"], unit)
    verdict = row["verdict"].upper() if row["verdict"] != MEASURED else "NO LIMIT"
    if math.isnan(row["likely_mm"]):
        return "\n".join([indented(f"{verdict:<9}  {where}"), indented(sentence(row["note"], unit), "             ")])
    allowed = row["allowed_mm"]
    likely, low, high = (row_length(row, f"{end}_mm", unit) for end in ("likely", "low", "high"))
    size = f"{likely} ({low} to {high})"
    if not math.isnan(allowed):
        word = "needed" if row["at_least"] else "allowed"
        size += f", {word} {_size(allowed, unit)}, chance {percent(row['chance'])}"
    lines = [indented(f"{verdict:<9}  {where}: {size}", "  ", "             ")]
    if row["note"] and row["verdict"] != PASS:
        lines.append(indented(sentence(row["note"], unit), "             "))
    if row["source"] and row["verdict"] != PASS and not math.isnan(allowed) and "agreed" not in row["source"]:
        lines.append(indented(f"Source: {row['source']}.", "             "))
    return "\n".join(lines)


def row_length(row: Mapping[str, Any], column: str, unit: str) -> str:
    """A number of a row of the checks as it is printed, never on the wrong side of what is allowed."""
    value = float(row[column])
    if value >= 1000 and unit == "in":
        return _size(value, unit)
    return length(value, unit, row["allowed_mm"] if column == "likely_mm" else None)


def _size(mm: float, unit: str) -> str:
    return length_in_feet(mm, unit) if mm >= 1000 else length(mm, unit)


def length_in_feet(mm: float, unit: str) -> str:
    """A height or width as a tape reads it: feet, inches and thirty-seconds, or millimetres.

    >>> length_in_feet(2134.0, "in"), length_in_feet(2134.0, "mm")
    ('7\\' 0 1/32"', '2134 mm')
    """
    return format_length(mm, "ft", 32) if unit == "in" else f"{round(mm) + 0:d} mm"


def targets_text(found: RoomTargets) -> str:
    """Where each surface is brought to, its answer first, 80 wide."""
    first, *others = target_sentences(found)
    return "\n".join(["One target for all", indented(first, "  "), *map(hanging, others)])


def target_sentences(found: RoomTargets) -> Iterator[str]:
    """Where each surface is brought to, a sentence each: how all are tied, each surface, what to check, what binds."""
    room, unit = found.room, found.room.show
    how = {"square": "walls square to one another", "parallel": "facing walls parallel", "free": "each wall as it is"}
    ties = [how[found.options["walls"]]]
    ties += ["plumb"] if found.options["plumb"] else []
    ties += ["floors and ceilings level"] if found.options["level"] else []
    as_found = "it is" if len(found.left) == 1 else "they are"
    but = f", but for {listed(found.left)}, left as {as_found}" if found.left else ""
    yield f"With the least work: {', '.join(ties)}{but}. {moves_most(found)}"
    yield when_done(found)
    yield from (_target(room, row) for row in _records(found.table) if row["surface"] not in found.left)
    if room.of_kind("wall"):
        for row in _records(diagonals(found)):
            words = f"{length_in_feet(row['length_mm'], unit)}, within {fine(row['within_mm'], unit, FINE)}"
            yield f"Check by tape, finished: {row['from_corner']} to {row['to_corner']} {words}."
    if len(found.binds):
        yield f"What keeps it from being less: {'; '.join(_binding(found))}."
    yield from (sentence(one, unit) for one in found.notes)


def _binding(found: RoomTargets) -> Iterator[str]:
    """What binds: each thing that is kept clear, and all surfaces of which no more may come off, or be added to."""
    rows = _records(found.binds)
    depths = {"room-cut": "how little may come off", "room-fill": "how little may be added to"}
    yield from (say(row["rule"], found.room.show) for row in rows if row["rule"].key not in depths)
    for key, words in depths.items():
        names = [row["surface"] for row in rows if row["rule"].key == key]
        if names:
            yield f"{words} {', '.join(names)}"


def _records(table: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in table.to_dict("records")]


def cautions(found: RoomTargets) -> tuple[Caution, ...]:
    """What must be said beside these targets, but for what every report ends with."""
    table = found.table
    advice = ["plane"] if (table["most_taken_mm"] >= LEAST_MM).any() else []
    added = table[table["most_added_mm"] >= LEAST_MM]["kind"]
    advice += ["fill", "change of height"] if (added == "floor").any() else []
    advice += ["fur"] if (added != "floor").any() else []
    return tuple(one for one in cautions_for(advice) if one.key != "authority")


def crew_answer(found: RoomTargets) -> str:
    """Where the ceiling line is, and which wall moves most."""
    ceilings = [one for one in found.targets.values() if one.kind == "ceiling"]
    lines = [one.z for one in ceilings if not one.is_left]
    words = f"Ceiling line at {length_in_feet(lines[0], found.room.show)} above the datum. " if lines else ""
    words += "Leave the ceiling as it is. " if ceilings and not lines else ""
    return words + moves_most(found)


def crew_steps(found: RoomTargets) -> Iterator[str]:
    """What a crew does in which order, a sentence or two each."""
    room, unit = found.room, found.room.show
    walls = [room.surfaces[name] for name, one in found.targets.items() if one.kind == "wall" and not one.is_left]
    named = {one.line.control: one for one in reversed(walls) if one.line.control}
    lines = [
        f"the {control}, {length_in_feet(one.line.offset, unit)} off the line of {one.name} on the plan"
        for control, one in reversed(named.items())
    ]
    if lines:
        yield f"Set up again where the walls were measured from: {'; '.join(lines)}."
    for name, one in found.targets.items():
        if one.kind == "ceiling" and not one.is_left:
            yield f"Mark the line of the {name} on all walls: {level_words(room, one.z)}."
    if walls:
        names = listed([one.name for one in walls])
        yield (
            f"Set the finished line of {names} at the first and the last stud, at the bottom, the middle and the top, "
            "and pull a string from one to the other."
        )
    rows = _records(diagonals(found))
    if rows and walls:
        words = ", ".join(f"{row['letters']} {length_in_feet(row['length_mm'], unit)}" for row in rows)
        within = fine(rows[0]["within_mm"], unit, FINE)
        yield (
            f"Before anything is fastened, check by tape at the foot, from corner to corner of the strings: {words}. "
            f"Where one is off by more than {within}, find which line is off first."
        )
    if walls:
        yield "Bring each stud out to the string: how much to add at each is in its wall's table."
    for name, one in found.targets.items():
        if one.kind == "ceiling" and not one.is_left:
            yield f"Bring the {name} down to its line: the shims under each strap are in its table."
    for name, one in found.targets.items():
        if one.kind == "floor" and not one.is_left:
            yield f"Bring the {name} to {level_words(room, one.z)}."
    if room.trims:
        yield "Set the foot of each trim last, at the height in the table of trims."


def wall_rows(found: RoomTargets, name: str) -> tuple[list[str], list[tuple[list[str], list[str]]]]:
    """The finished line of one wall off its control line, stud by stud.

    Returns
    -------
    heads of the lines: one, or at the bottom, in the middle and at the top where the wall leans; and a pair a stud: its
    name, its place and its lines, and what to add there at the bottom, in the middle and at the top
    """
    unit, lines = found.room.show, wall_lines(found)
    lines = lines[lines["wall"] == name]
    at_stud = lines.groupby("x_mm")["off_control_mm"]
    leans = bool((at_stud.max() - at_stud.min() > SAME_MM / 5).any())
    rows = []
    for stud, some in lines.groupby("stud", sort=False):
        faces = [float(face) for face in some["off_control_mm"]]
        shown = [length_in_feet(face, unit) for face in (faces if leans else faces[:1])]
        adds = ["open" if math.isnan(add) else added(float(add), unit) for add in some["add_mm"]]
        rows.append(([str(stud), position(float(some["x_mm"].iloc[0]), unit), *shown], adds))
    return [f"line, {at}" for at in UP] if leans else ["finished line"], rows


def strap_rows(found: RoomTargets) -> Iterator[tuple[str, float, str, list[list[str]]]]:
    """Each ceiling: name, height of its line [mm; NaN: it slopes], where straps count from, shims strap by strap."""
    unit = found.room.show
    for name, some in ceiling_lines(found).groupby("surface", sort=False):
        rows = []
        for row in _records(some):
            ends = [added(float(row[f"{end}_shim_mm"]), unit) for end in ("least", "most")]
            rows.append([str(row["line"]), position(float(row["position_mm"]), unit), " to ".join(ends)])
        yield str(name), float(some["z_mm"].iloc[0]), f"from {some['from_wall'].iloc[0] or 'y = 0'}", rows


def diagonal_rows(found: RoomTargets) -> list[list[str]]:
    """What is checked by tape: its corners, its length, and within what."""
    unit = found.room.show
    return [
        [row["letters"], length_in_feet(row["length_mm"], unit), f"within {fine(row['within_mm'], unit, FINE)}"]
        for row in _records(diagonals(found))
    ]


def trim_rows(room: Room) -> list[list[str]]:
    """Each trim: its name, the height of its foot above the datum, and what reveal that leaves."""
    rows = []
    for name, some in trim_lines(room).groupby("trim", sort=False):
        least, most = (fine(float(end), room.show, (32,)) for end in (some["reveal_mm"].min(), some["reveal_mm"].max()))
        rows.append([str(name), length_in_feet(float(some["z_mm"].iloc[0]), room.show), f"{least} to {most}"])
    return rows


def added(mm: float, unit: str) -> str:
    """What is added, or comes off with a minus, without its unit: thirty-seconds where it is an inch's part.

    >>> added(3.2, "in"), added(-6.35, "in"), added(0.2, "in"), added(2.04, "mm")
    ('1/8', '−1/4', '0', '2.0')
    """
    text = format_length(abs(mm), "in", 32).removesuffix('"') if unit == "in" else f"{abs(mm):.1f}"
    return text if text in ("0", "0.0") else f"{'−' if mm < 0 else ''}{text}"


def when_done(found: RoomTargets) -> str:
    """How many checks will pass when all is brought to its target, and which will not."""
    rows = [row for row in _records(found.finished.checks) if row["verdict"] != MEASURED]
    open_still = [row for row in rows if row["verdict"] != PASS]
    if not rows:
        return "No limit is agreed or published for what was read, so none is checked when this is done."
    if not open_still:
        return f"When this is done all {counted(len(rows), 'check')} will likely pass."
    named = "; ".join(f"{row['what'].replace('-', ' ')}, {say(row['where'], found.room.show)}" for row in open_still)
    first = f"When this is done {len(rows) - len(open_still)} of {counted(len(rows), 'check')} will likely pass"
    return f"{first}. Not surely: {named}."


def owner_answer(room: Room) -> str:
    """Whether the room is as it should be, for whoever owns it."""
    rows = [row for row in _records(room.checks) if row["verdict"] != MEASURED]
    if not rows:
        return "Nothing is agreed for this room: its measures follow."
    if room.verdict == PASS:
        return "The room is as agreed."
    some = sum(row["verdict"] == FAIL for row in rows)
    if some:
        word = "fails" if some == 1 else "fail"
        return f"The room is not as agreed yet: {some} of {counted(len(rows), 'check')} {word}."
    return "It is not sure yet that the room is as agreed."


def check_rows(room: Room) -> list[list[str]]:
    """What was looked at, where, what was found, what is allowed, and the result; what fails first."""
    unit, order = room.show, {FAIL: 0, UNDECIDED: 1, PASS: 2}
    words = {FAIL: "not as agreed", UNDECIDED: "not sure", PASS: "as agreed"}
    rows = []
    for row in sorted(_records(room.checks), key=lambda row: order.get(row["verdict"], 3)):
        found = "not measured" if math.isnan(row["likely_mm"]) else row_length(row, "likely_mm", unit)
        allowed = "" if math.isnan(row["allowed_mm"]) else _size(row["allowed_mm"], unit)
        allowed += " or more" if allowed and row["at_least"] else ""
        what = TITLES[row["what"]].removesuffix(", at least")
        rows.append([what, say(row["where"], unit), found, allowed or "-", words.get(row["verdict"], "measured")])
    return rows


DONE = {"plane": "planed", "fill": "filled", "sister": "framed out", "fur": "furred", "engineer": "asked about"}


def way_rows(found: RoomWays) -> list[list[str]]:
    """The chosen way of each surface: how, how far, what it takes, how sure, under no heading."""
    rows = []
    for row in _records(found.table):
        surface = found.targets.room.surfaces[row["surface"]]
        if row["way"] == LEAVE:
            rows.append([row["surface"], NOTHING, "-", "-", "-"])
            continue
        if not row["way"]:
            why = say(closed_because(found.ways[row["surface"]]), found.targets.room.show)
            rows.append([row["surface"], f"no way is open: {why}", "-", "-", "-"])
            continue
        plan = found.plans[row["surface"]]
        done = list(dict.fromkeys(DONE[str(action)] for action in plan.patches["action"]))
        how = way_name(row["way"], surface.kind, plan.members)
        if row["way"] == "patches":
            how = f"{' and '.join(done)} to its plane" if done else "nothing to do"
        rise = float(row["rise_mm"])
        up = fine(rise, found.targets.room.show, FINE) if rise >= LEAST_MM else "-"
        sure = "-" if math.isnan(row["chance"]) else percent(row["chance"])
        rows.append([row["surface"], how, up, work_text(float(row["work"]), str(row["unit"])), sure])
    return rows


def ways_words(found: RoomWays) -> str:
    """The chosen way of each surface, with what all of it takes."""
    head = ["surface", "way", "adds at most", "work", "of 100"]
    lines = [f"  {line}" for line in columns([head, *way_rows(found)], left=(0, 1))]
    whole = found.work
    if whole is not None:
        usual = f" {USUAL}" if found.usual_rates else ""
        lines.append(indented(f"All of it: {work_text(*whole)}.{usual}"))
    return "\n".join(["The way for each surface", *lines])


def moves_most(found: RoomTargets) -> str:
    """Which wall, or surface, has most added to it, or taken off it."""
    name, by = most_moved(found)
    return f"The face that moves most: {name}, {by}." if name else f"{by}."


def most_moved(found: RoomTargets) -> tuple[str, str]:
    """The wall, or surface, whose face moves most, and by how much which way; no name where none is worked on."""
    table, unit = found.table, found.room.show
    walls = table[table["kind"] == "wall"]
    some = walls if len(walls) else table
    most = some[["most_added_mm", "most_taken_mm"]].to_numpy()
    if most.max() < LEAST_MM:
        return "", f"No {'wall' if len(walls) else 'surface'} needs work"
    which, way = (int(k) for k in np.unravel_index(most.argmax(), most.shape))
    by = f"{('into the room', 'back')[way]} by up to {fine(float(most.max()), unit, FINE)}"
    return some["surface"].tolist()[which], by


def _target(room: Room, row: Mapping[str, Any]) -> str:
    unit = room.show
    work = [
        f"{word} up to {fine(row[column], unit, FINE)}"
        for word, column in (("add", "most_added_mm"), ("take off", "most_taken_mm"))
        if row[column] >= LEAST_MM
    ]
    done = ", ".join(work) or "nothing to do"
    if row["kind"] == "wall":
        ends = [length_in_feet(row[column], unit) for column in ("start_mm", "end_mm")]
        return f"{row['surface']}: {ends[0]} off the control line at its left end, {ends[1]} at its right; {done}."
    return f"{row['surface']}: at {level_words(room, row['start_mm'])}; {done}."


def level_words(room: Room, z: float) -> str:
    """A height above the datum, and off each benchmark."""
    words, off = f"{length_in_feet(z, room.show)} above the datum", off_benchmarks(room, z)
    return f"{words}, {' and '.join(off)}" if off else words


def off_benchmarks(room: Room, z: float) -> list[str]:
    """A height as it is measured from each benchmark."""
    return [
        f"{length_in_feet(abs(z - known), room.show)} {'over' if z >= known else 'under'} {label}"
        for label, known in room.benchmarks.items()
    ]


def _datum(room: Room) -> str:
    lines = ["One datum for all"]
    for one in room.surfaces.values():
        if one.level is not None:
            error = f", good to {fine(one.level.error, room.show)}" if one.level.error else ""
            lines.append(hanging(f"{one.name}: {say(one.level.basis, room.show)}{error}"))
        elif one.wall is not None:
            line = f" ({one.wall.control})" if one.wall.control else ""
            lines.append(
                hanging(
                    f"{one.name}: control line{line} {position(one.wall.offset, room.show)} off the wall's line on the "
                    f"plan, good to {fine(one.wall.error, room.show)} at each end"
                )
            )
    return "\n".join(lines)


def _notes(room: Room) -> Iterator[str]:
    yield from (sentence(note, room.show) for note in room.notes)
    for name, drawn in room.drawn.items():
        for slip in drawn.likely.slips:
            yield f"{name}: {sentence(str(slip), room.show)} It was left out."
        points = drawn.of.survey.points
        if drawn.of.kind != "wall" and max(np.ptp(points["x"]), np.ptp(points["y"])) > LONG_MM:
            yield f"{name}: {CURVATURE}"


SHARED = (
    "Errors are from how the points of each cell scatter. What they share does not show in it, such as the scanner's "
    "own error of distance, or two set-ups that do not match: check a few places with a laser and a rod"
)
UPRIGHT = "The scan's z is taken as plumb"
HIDDEN = "Where nothing was seen the surveys have openings: those areas are not judged"


def scan_report(scan: Scan, unit: str) -> str:
    """What a scan shows as text, the answer in its first line."""
    notes = [sentence(note, unit) for note in scan.notes]
    notes += [f"{text}." for text in (HIDDEN, SHARED, UPRIGHT)]
    surfaces = "\n".join(hanging(_surface(one, unit)) for one in scan.surfaces.values())
    return "\n\n".join([textwrap.fill(scan_answer(scan, unit), WIDTH), surfaces, bulleted("Worth knowing", notes)])


def scan_answer(scan: Scan, unit: str) -> str:
    """What was found, in one line."""
    length, width, height = (position(size, unit) for size in scan.size)
    readings, share = sum(len(one.cells) for one in scan.surfaces.values()), percent(scan.used / scan.points)
    found = f"{counted(len(scan.surfaces), 'surface')} found in {scan.source}, of a room {length} x {width} x {height}"
    made = f"{readings:,} readings {position(scan.cell, unit)} apart, from {scan.points:,} points"
    return f"{found}: {made}, {share} of them on these surfaces."


def _surface(one: ScanSurface, unit: str) -> str:
    text = f"{one.name}: {counted(len(one.cells), 'reading')}, good to {accuracy(one.survey.accuracy or 0.0, unit)}"
    text += f"; points scatter by {accuracy(one.noise, unit)}"
    if one.survey.openings:
        text += f"; {area(one.hidden, unit)} hidden or open"
    if one.emptied:
        text += f"; {counted(one.emptied, 'cell')} left out, where something stands"
    return text
