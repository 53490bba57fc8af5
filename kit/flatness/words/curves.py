"""A curve in words: what it is, how the wall follows it, and what to mark to make it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from flatness.curves.setting_out import PlateCuts, SetOut
from flatness.curves.shapes import Chain, Curve, Ellipse
from flatness.curves.walls import CurvedWall
from flatness.lengths import format_length
from flatness.surroundings.cautions import CAUTIONS
from flatness.words.printed import AUTHORITY, accuracy, columns, counted, fine, indented, listed, position

HARD_SPACE = "\N{NO-BREAK SPACE}"
MOST_ROWS = 26  # of a table on a terminal
NO_GAP_MM = 0.05
SAME_MM = 304.8  # findings of several levels that are no farther apart are one
CAUTION = (
    "Screw the trammel's pivot to something that does not move, keep hands and cord clear of the router's path, and "
    "wear eye and ear protection (common practice, no source). Plates of a wall that carries load, and blocking "
    "against fire, are for the engineer and the local code to say."
)


@dataclass(frozen=True, eq=False, kw_only=True)
class CurveJob:
    """What is said of a curve.

    Attributes
    ----------
    set_out : what to mark
    wall : readings of it, or None
    plates : cut from sheets, or None
    template : length of the template that is set on the wall [mm]
    title : of the file
    """

    set_out: SetOut
    wall: CurvedWall | None = None
    plates: PlateCuts | None = None
    template: float = 914.4
    title: str = ""


def tape(mm: float, unit: str) -> str:
    """A length as it is marked: feet, inches and sixteenths, or millimetres and a tenth."""
    return format_length(mm, "ft" if unit == "in" else "mm", 16)


def together(text: str) -> str:
    """The text with hard spaces inside its lengths, so that none is broken over two lines."""
    return re.sub(r"(?<=[\d'\"]) (?=\d)", HARD_SPACE, text)


def wrapped(text: str, first: str = "", rest: str | None = None) -> str:
    """A text as wide as a terminal, no length of it broken."""
    return indented(together(text), first, rest).replace(HARD_SPACE, " ")


def degrees(value: float) -> str:
    """An angle to a tenth of a degree."""
    text = f"{value:.1f}".removesuffix(".0")
    return f"{'0' if text == '-0' else text} degree{'' if text == '1' else 's'}"


def named(curve: Curve, unit: str) -> str:
    """What a curve is, with its sizes: ``ellipse 20' 0" by 14' 0"``."""
    if isinstance(curve, Ellipse) or curve.kind == "oval":
        a, b = curve.axes  # type: ignore[attr-defined]
        what = "ellipse" if isinstance(curve, Ellipse) else "oval of four arcs"
        return f"{what}, {tape(2 * a, unit)} by {tape(2 * b, unit)}"
    assert isinstance(curve, Chain)
    if curve.kind == "arc":
        whole = "circle" if curve.closed else "arc"
        return f"{whole} of {tape(curve.radius, unit)} radius"
    straights = sum(piece.curvature == 0 for piece in curve.pieces)
    parts = [counted(straights, "straight"), counted(len(curve.pieces) - straights, "arc")]
    return f"chain of {' and '.join(part for part in parts if not part.startswith('0 '))}"


def answer(job: CurveJob, unit: str) -> str:
    """What answers: kinks and flats, how far the wall is off its curve; without readings, how to draw the curve."""
    if job.wall is None:
        return draw_it(job.set_out, unit)
    found = [one.short for one in faults(job, unit)]
    return f"The wall has {listed(found)}. {follows(job, unit)}" if found else follows(job, unit)


def follows(job: CurveJob, unit: str) -> str:
    assert job.wall is not None
    again = _read_again(job.wall, unit) if len(job.wall.spoiling) else ""
    unknown = f"{again} Whether the wall follows its curve is not known."
    template = tape(job.template, unit)
    found = job.wall.worst(job.template)
    if found is None or found[0].gap < NO_GAP_MM:
        return unknown if again else f"The wall follows its curve: no gap shows under a {template} template."
    placement, level = found
    up = f", {position(level, unit)} up" if len(job.wall.levels()) > 1 else ""
    gap, where = fine(placement.gap, unit, (32, 64)), place_of(job, placement.at, unit)
    noise = job.wall.gap_of_errors(job.template)
    if placement.gap <= noise:
        return (
            unknown
            if again
            else (
                f"The wall follows its curve, as far as these readings can tell: {gap} at most under a {template} "
                f"template, and errors of reading alone would show up to {fine(noise, unit, (32, 64))}."
            )
        )
    return f"The wall is off its curve by {gap} under a {template} template: {where}{up}. {again}".rstrip()


def _read_again(wall: CurvedWall, unit: str) -> str:
    assert wall.fit is not None
    cells, one = listed(wall.spoiling["cell"]), len(wall.spoiling) == 1
    return (
        f"Read again before you use this curve: the reading{'' if one else 's'} in {cells} "
        f"{'does' if one else 'do'} not fit one {wall.fit.kind} with the others. All readings "
        f"lie within {fine(wall.fit.zone, unit, (32, 64))}; without {'it' if one else 'them'} the others lie at least "
        "three times nearer."
    )


def place_of(job: CurveJob, along: float, unit: str) -> str:
    """A place along the wall from its left end, and the stud nearest to it."""
    wall = job.wall
    assert wall is not None
    studs = job.set_out.studs
    apart = np.abs(studs["s_mm"].to_numpy() - float(wall.s_of(np.array(along))))
    near = studs["name"].iloc[
        int((np.minimum(apart, wall.curve.length - apart) if wall.curve.closed else apart).argmin())
    ]
    return f"{_from_left(job, along, unit)} (near stud {near})"


def _from_left(job: CurveJob, along: float, unit: str) -> str:
    assert job.wall is not None
    return f"{position(along, unit)} from the {'start' if job.wall.curve.closed else 'left end'}"


def draw_it(found: SetOut, unit: str) -> str:
    """How to draw the curve, in a sentence."""
    curve, what = found.curve, named(found.curve, unit)
    what = what[0].upper() + what[1:]
    if len(found.pins):
        return (
            f"{what}: draw it with two pins {tape(found.pins_apart, unit)} apart and a loop of string "
            f"{tape(found.loop, unit)} around."
        )
    if curve.kind == "arc" and not curve.closed:
        turned = degrees(abs(float(found.centres["angle_deg"].iloc[0])))
        chord = tape(math.dist(*found.chord), unit)
        rise = tape(found.rise, unit)
        return f"{what}: swing it through {turned} from one center; it rises {rise} over a chord of {chord}."
    radii = sorted({tape(float(r), unit) for r in found.centres["radius_mm"]}, key=len)
    if curve.kind == "arc":
        return f"{what}: swing it all round from one center."
    if curve.kind == "oval":
        return (
            f"{what}: swing two arcs of {tape(found.centres['radius_mm'].min(), unit)} and two of "
            f"{tape(found.centres['radius_mm'].max(), unit)} radius, each from its own center."
        )
    long, swung = tape(found.length, unit), " and ".join(radii)
    return f"{what}, {long} long: swing the arcs of {swung} radius, each from its own center."


def report(job: CurveJob, unit: str = "in") -> str:
    """All of it for a terminal, the answer first."""
    found = job.set_out
    parts = [wrapped(answer(job, unit)), *_kinks_and_flats(job, unit)]
    if job.title:
        parts.append(job.title)
    if job.wall is not None:
        parts += _wall(job, job.wall, unit)
        parts.append(wrapped(f"To draw it. {draw_it(found, unit)}"))
    parts += [_centres(found, unit), _joins(found, unit), _pins(found, unit)]
    parts += [_offsets(found, unit), _studs(found, unit), _parallel(found, unit)]
    if job.plates is not None:
        parts.append(_plates(job.plates, unit))
    parts.append(wrapped(f"Caution: {CAUTION} {CAUTIONS['dust'].text} {AUTHORITY}"))
    return "\n\n".join(part for part in parts if part)


def _wall(job: CurveJob, wall: CurvedWall, unit: str) -> list[str]:
    parts = []
    good = wall.survey.accuracy
    lines = [f"Measured at {counted(len(wall.points), 'place')} on {counted(len(wall.levels()), 'level')}."]
    if wall.fit is not None:
        lines.append(f"The curve is fitted to the readings: {_fitted(wall, unit)}.")
    if good is not None:
        noise = wall.gap_of_errors(job.template)
        lines.append(
            f"Readings good to {accuracy(good, unit)} would by themselves show a gap of up to "
            f"{fine(noise, unit, (32, 64))} (95 times in 100)."
        )
    parts.append(wrapped(" ".join(lines)))
    if wall.curve.closed:
        x, y = (tape(float(one), unit) for one in wall.curve.at(0.0))
        parts.append(f"Start: x {x}, y {y}. Distances run to the right as you face the wall.")
    return parts


def _kinks_and_flats(job: CurveJob, unit: str) -> list[str]:
    if job.wall is None or job.wall.survey.accuracy is None:
        return []
    wording = [wrapped(one.full, "  - ") for one in faults(job, unit)]
    return ["\n".join(["Kinks and flats:", *wording])] if wording else ["No kink or flat is proved by these readings."]


@dataclass(frozen=True)
class Fault:
    """A kink, a flat or a tight place: in a few words, and in full."""

    short: str
    full: str


def faults(job: CurveJob, unit: str) -> list[Fault]:
    """Kinks and flats, from the left; what several levels show at one place is said once. None without an accuracy."""
    wall = job.wall
    assert wall is not None
    if wall.survey.accuracy is None:
        return []
    found = [(row, level) for level in wall.levels() for row in _rows(wall.fairness(level)) if row.finding]
    groups: list[list[tuple[Any, float]]] = []
    for row, level in sorted(found, key=lambda one: float(one[0].along_mm)):
        alike = [g for g in groups if g[0][0].finding == row.finding and row.along_mm - g[0][0].along_mm < SAME_MM]
        if alike:
            alike[-1].append((row, level))
        else:
            groups.append([(row, level)])
    near = [float(group[0][0].along_mm) for group in groups if group[0][0].finding == "kink"]
    joins = [row for row in _rows(wall.kinks) if all(abs(row.along_mm - other) > SAME_MM for other in near)]
    return [*(_at_join(job, row, unit) for row in joins), *(_fault(job, group, unit) for group in groups)]


def _turns(row: Any) -> tuple[str, str]:
    size = f"{abs(float(row.kink_deg)):.1f} degrees"
    side = "toward" if float(row.kink_deg) > 0 else "away from"
    return size, f"the wall turns {size} (error {float(row.kink_error_deg):.1f}) {side} the room"


def _at_join(job: CurveJob, row: Any, unit: str) -> Fault:
    (size, turns), along = _turns(row), float(row.along_mm)
    full = f"kink where two pieces meet, {place_of(job, along, unit)}: {turns}."
    return Fault(f"a kink of {size} at {_from_left(job, along, unit)}", full)


def _fault(job: CurveJob, group: list[tuple[Any, float]], unit: str) -> Fault:
    wall = job.wall
    assert wall is not None
    row = max((one for one, _ in group), key=lambda one: abs(float(one.kink_deg)))
    levels = listed(dict.fromkeys(position(level, unit) for _, level in sorted(group, key=lambda one: one[1])))
    place, at = (say(job, float(row.along_mm), unit) for say in (place_of, _from_left))
    up = f", {levels} up" if len(wall.levels()) > 1 else ""
    if row.finding == "kink":
        size, turns = _turns(row)
        return Fault(f"a kink of {size} at {at}", f"kink at {place}{up}: {turns}.")
    meant = f"should have {tape(1000 / abs(float(row.intended_per_m)), unit)}" if row.intended_per_m else "should not"
    full = f"{row.finding} at {place}{up}: it {_curves(float(row.curvature_per_m), unit)}, and {meant}."
    return Fault(f"a {'flat' if row.finding == 'flat' else 'tight place'} at {at}", full)


def _curves(per_m: float, unit: str) -> str:
    return (
        "is straight"
        if abs(per_m) < 0.02
        else f"has {tape(1000 / abs(per_m), unit)} radius" + (" the other way" if per_m < 0 else "")
    )


def _fitted(wall: CurvedWall, unit: str) -> str:
    fit = wall.fit
    assert fit is not None
    names = {
        "radius": "radius",
        "semi_major": "half length",
        "semi_minor": "half width",
        "small_radius": "small radius",
    }
    sizes = [
        f"{wording} {tape(fit.parameters[name], unit)} (error {fine(fit.errors[name], unit, (32, 64))})"
        for name, wording in names.items()
        if name in fit.parameters
    ]
    for k, piece in enumerate(getattr(fit.curve, "pieces", ()), 1) if fit.kind == "chain" else ():
        radius = f"arc of {tape(piece.radius, unit)} radius" if piece.curvature else "straight"
        sizes.append(f"piece {k}, {radius}, {tape(piece.length, unit)} long")
    return f"{'; '.join(sizes)}; all readings lie within {fine(fit.zone, unit, (32, 64))} across it"


def _cell(name: str, value: Any, unit: str) -> str:
    if not name.endswith(("_mm", "_deg")):
        return str(value)
    size = abs(value) if name.startswith(("radius", "kink", "angle")) else value
    if not math.isfinite(size):
        return "-" if math.isnan(size) else "straight"
    return tape(size, unit) if name.endswith("_mm") else f"{size:.1f}"


def _table(title: str, table: pd.DataFrame, unit: str, shown: Mapping[str, str]) -> str:
    """Some columns of a table, each under its head; empty where the table is."""
    if not len(table):
        return ""
    rows = [[_cell(name, row[name], unit) for name in shown.values()] for row in table[:MOST_ROWS].to_dict("records")]
    more = len(table) - MOST_ROWS
    tail = [f"... and {more} more: --out DIR writes them all"] if more > 0 else []
    lines = columns([list(shown), *rows], left=(0,), ruled=True)
    return "\n".join([wrapped(title), *(f"  {line}" for line in [*lines, *tail])])


def _centres(found: SetOut, unit: str) -> str:
    shown = {"center": "name", "x": "x_mm", "y": "y_mm", "radius": "radius_mm"}
    shown |= {"from": "from_deg", "to": "to_deg", "turns": "angle_deg", "length": "length_mm"}
    title = "Centers, for a trammel; angles in degrees from x, counterclockwise"
    return _table(title, found.centres, unit, shown)


def _rows(table: pd.DataFrame) -> Iterable[Any]:
    return table.itertuples(index=False)


def _joins(found: SetOut, unit: str) -> str:
    title = "Joins, where one radius goes over into the next: light along the wall shows that even without a kink"
    shown = {"along the curve": "s_mm", "x": "x_mm", "y": "y_mm"}
    shown |= {"before": "radius_before_mm", "after": "radius_after_mm", "kink, degrees": "kink_deg"}
    return _table(title, found.joins, unit, shown)


def _pins(found: SetOut, unit: str) -> str:
    if not len(found.pins):
        return ""
    places = " and ".join(f"({tape(r.x_mm, unit)}, {tape(r.y_mm, unit)})" for r in _rows(found.pins))
    return wrapped(
        f"Pins at {places}, {tape(found.pins_apart, unit)} apart. The string from pin to pin by way of the pencil is "
        f"{tape(found.string, unit)}; as a loop around both pins {tape(found.loop, unit)}."
    )


def _offsets(found: SetOut, unit: str) -> str:
    table = found.offsets
    if not len(table):
        return (
            "No offsets: the curve stands twice over its chord. Set it out from its centers, or by the studs' places."
        )
    half = found.curve.closed or found.curve.kind == "arc"
    if half:  # the other half is its mirror image
        table = table[table["along_mm"] <= table["along_mm"].iloc[-1] / 2 + 1e-6]
    what = "the long axis" if found.curve.closed else "the chord"
    title = f"Offsets from {what}" + (", to its middle; the rest is its mirror image" if half else "")
    return _table(title, table, unit, {"along": "along_mm", "offset": "offset_mm", "along the curve": "s_mm"})


def _studs(found: SetOut, unit: str) -> str:
    table = found.studs
    title = (
        f"{len(table)} studs, {tape(found.spacing, unit)} apart along the curve, which is {tape(found.length, unit)} "
        "long; the step is straight across to the next"
    )
    shown = {"stud": "name", "along the curve": "s_mm", "x": "x_mm", "y": "y_mm", "step": "step_mm"}
    return _table(title, table, unit, shown)


def _parallel(found: SetOut, unit: str) -> str:
    side = "inside" if found.offset > 0 else "outside"
    note = "; it is no ellipse, so mark it by these offsets" if isinstance(found.curve, Ellipse) else ""
    title = f"The parallel curve, {tape(abs(found.offset), unit)} {side}, at the studs{note}"
    shown = {"stud": "name", "along the chord": "along_mm", "offset from it": "offset_mm"}
    return _table(title, found.parallel, unit, shown | {"radius there": "radius_mm"})


def _plates(cuts: PlateCuts, unit: str) -> str:
    layers = int(cuts.pieces["layer"].max())
    length, width = (tape(side, unit) for side in cuts.sheet)
    joints = (
        "" if cuts.joint != cuts.joint else f" Joints of one layer and the next stand {tape(cuts.joint, unit)} apart."
    )
    title = (
        f"Plates in {counted(layers, 'layer')}: {counted(len(cuts.pieces), 'piece')} from "
        f"{counted(cuts.sheets, 'sheet')} of {length} x {width}, {100 * cuts.waste:.0f} % of them waste.{joints}"
    )
    shown = {"piece": "name", "from": "from_mm", "to": "to_mm", "chord": "chord_mm", "rise": "rise_mm"}
    return _table(title, cuts.pieces, unit, shown | {"sheet": "sheet"})
