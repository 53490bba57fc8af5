"""The way that is chosen, in words: the answer in a sentence, the ways side by side, and the heights that are set.

What the user set for a plan, in words: terms and finished heights.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

import numpy as np

from flatness.framing.members import Members
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2
from flatness.limits.kinds import UNITLESS, Limit, describe
from flatness.limits.spot_checks import ASSUMED
from flatness.limits.verdict import FAIL, PASS, UNDECIDED
from flatness.notes import Note
from flatness.planning.constraints import FixedSpot, Rates
from flatness.planning.plan import Plan
from flatness.planning.planner import lumber_of
from flatness.planning.set_heights import UNKNOWN_TO_PLAN
from flatness.planning.substrate import Beneath
from flatness.planning.volumes import node_areas
from flatness.planning.ways import Ways
from flatness.surface.lattice import widest_step
from flatness.surroundings.finished_surface import Layer, build_up, finished_surface
from flatness.survey.readings import Survey
from flatness.words.phrases import say, sentence
from flatness.words.printed import (
    columns,
    counted,
    depth,
    hanging,
    indented,
    least_shown,
    length,
    mass,
    percent,
    place,
    position,
    printed_place,
    rounded,
    target_word,
    value_of,
)

SHOWN_MM = 0.05  # less than this is printed as nothing


def limit_of(plan: Plan, name: str) -> Limit | None:
    """The limit of this name among the plan's."""
    return next((limit for limit in plan.limits if limit.name == name), None)


def before_and_after(plan: Plan, row: Mapping[Any, Any], unit: str) -> tuple[str, str, str, str]:
    """What a limit's measure is before and after the work, what the true surface's then likely is, what is allowed."""
    limit = limit_of(plan, row["limit"])
    # F-numbers and slopes are not lengths
    mm = "" if limit is not None and limit.kind in UNITLESS else "_mm"
    before, after, likely, allowed = (float(row[f"{name}{mm}"]) for name in ("before", "after", "likely", "allowed"))
    wording = [value_of(limit, value, allowed, unit) for value in (before, after, likely, allowed)]
    return wording[0], wording[1], wording[2], wording[3]


def afterwards(plan: Plan, unit: str) -> list[str]:
    """One sentence a limit, without its full stop: what it asks for, before, after, how surely, the verdict.

    The chance is that the true surface passes when the change is made exactly.
    """
    wording = []
    for row in plan.after.to_dict("records"):
        limit = limit_of(plan, row["limit"])
        measure = describe(limit, unit) if limit is not None else str(row["limit"])
        before, after, likely, _ = before_and_after(plan, row, unit)
        if before == after == "-":
            wording.append(f"{measure}: not measured")
            continue
        sure = f", likely {likely}, chance of passing {percent(row['chance'])}" if math.isfinite(row["chance"]) else ""
        wording.append(f"{measure}: {before} before, {after} after{sure}: {row['verdict']}")
    return wording


def settings_text(plan: Plan, unit: str, layers: Sequence[Layer] = ()) -> str:
    """What the user wants beside limits, line by line; empty where there is nothing.

    Parameters
    ----------
    plan : the plan
    unit : ``in`` or ``mm``
    layers : on the corrected surface
    """
    lines = [*_terms(plan, unit), *(_spot(plan, spot, unit) for spot in plan.fixed), *_finished(plan, layers, unit)]
    return "\n".join(["What you set", *map(hanging, lines)]) if lines else ""


def _terms(plan: Plan, unit: str) -> Iterator[str]:
    given = plan.settings
    if given.get("shift") == "nothing-comes-off":
        yield "Nothing comes off."
    for name, verb in (("cut", "comes off"), ("fill", "is added")):
        deepest = np.asarray(getattr(given.get("depths"), name, math.inf), dtype=np.float64)
        if deepest.ndim or not math.isfinite(float(deepest)):
            continue
        if float(deepest) > 0:
            yield f"At most {length(float(deepest), unit)} {verb} anywhere."
        elif not (name == "cut" and given.get("shift") == "nothing-comes-off"):
            yield f"Nothing {verb}."
    if given.get("level_within") is not None:
        yield f"The whole finished surface within {length(float(given['level_within']), unit)} of level."
    if given.get("height") is not None:
        yield f"The level {target_word(plan.survey)} at {height_words(plan.survey, float(given['height']), unit)}."
    for one in given.get("beneath") or ():
        yield f"Beneath{', in a part,' if one.area is not None else ''}: {_beneath(one, unit)}."
    if plan.members is not None:
        places, members = plan.members.positions, plan.members
        many = f"{len(members)} x {members.kind}" if len(members) > 1 else members.kind
        yield (
            f"Members: {many}, along {members.direction}, from {position(float(places[0]), unit)} to "
            f"{position(float(places[-1]), unit)} across."
        )


def _beneath(one: Beneath, unit: str) -> str:
    if one.engineered or not one.may_be_planed:
        return f"{one.kind}, not planed"
    most = f", at most {length(one.most_planed, unit)}" if one.most_planed is not None else ""
    return f"{one.kind}, may be planed{most}"


def _spot(plan: Plan, spot: FixedSpot, unit: str) -> str:
    within = f", within {length(spot.allowance, unit)}" if spot.allowance > 0 else ""
    given = "as found" if spot.height is None else height_words(plan.survey, spot.height, unit)
    name = spot.name or "a spot"
    text = f"Fixed, {name} at {place((spot.x, spot.y), unit, plan.survey)}: {given}{within}"
    moved = float(plan.surface.at(spot.x, spot.y, plan.change, beyond="nearest")[0])
    if math.isnan(moved):
        return f"{text}; it is beside the surface."
    way = "raised" if moved > 0 else "lowered"
    return f"{text}; {'left as it is' if abs(moved) < SHOWN_MM else f'{way} by {length(abs(moved), unit)}'}."


def _finished(plan: Plan, layers: Sequence[Layer], unit: str) -> Iterator[str]:
    if not layers:
        return
    total = build_up(layers)
    each = ", ".join(
        f"{layer.name} {'-' if layer.thickness < 0 else ''}{length(abs(layer.thickness), unit)}" for layer in layers
    )
    way = "above" if total >= 0 else "below"
    yield (
        f"Layers: {each}; the finished surface is {length(abs(total), unit)} {way} the corrected one. Heights that "
        "are fixed are those of the corrected surface, before the layers."
    )
    finished = finished_surface(plan, layers).height
    low, high = float(np.nanmin(finished)), float(np.nanmax(finished))
    yield (
        f"Finished, with the layers: lowest {height_words(plan.survey, low, unit)}, highest "
        f"{height_words(plan.survey, high, unit)}."
    )


def height_words(survey: Survey, height: float, unit: str) -> str:
    """A height as the rod would show it where drops off one line were read, else off the datum."""
    if survey.line_height is not None:
        return f"drop {length(survey.line_height - height, unit)}"
    return f"height {'-' if height < 0 else ''}{length(abs(height), unit)}"


ASK = "ask"
HOURS = ("h", "hour", "hours")
NOTHING = "leave it as it is"
OF_100 = "Of 100: how many times the true {kind} passes when it is done this way."
USUAL = "Work is by the usual rates (common practice, no source); a job file sets your own."
DEEDS = {"plane": "plane", "sister": "sister", "fur": "fur", "fill": "fill"}
PLANES = {
    "best-plane": "the best plane",
    "through-benchmarks": "the plane through the fixed spots",
    "end-members": "a string between the end ones",
    "fixed-spots": "the plane through the fixed spots",
}


@dataclass(frozen=True)
class Answer:
    """What comes of a plan, in plain words.

    Attributes
    ----------
    state : ``pass``, ``fail``, ``undecided``, ``ask`` (an engineer first), or empty where there is no limit
    opening : the verdict, with what it rests on
    text : what is done, what it takes, how surely it passes
    """

    state: str
    opening: str
    text: str

    def __str__(self) -> str:
        return f"{self.opening}: {self.text}" if self.opening else f"{self.text[:1].upper()}{self.text[1:]}"


def answer(plan: Plan, unit: str, ways: Ways | None = None) -> Answer:
    """The answer: the verdict once all is done as drawn, what is done, what it takes, how surely it passes.

    Parameters
    ----------
    plan : of the way that is chosen
    unit : ``in`` or ``mm``
    ways : all of them, where they were weighed
    """
    verdict, what = plan.verdict, deed(plan, unit)
    takes = f" {work_words(plan)}." if plan.work > 0 and what != NOTHING else ""
    sure = _chance(plan)
    if plan.action("engineer").any():
        rows = plan.patches[plan.patches["action"] == "engineer"]
        most = depth(max(rows["greatest_mm"], key=abs), unit)[1:]
        places = f"{counted(len(rows), 'place')}, {ground(float(rows['area_mm2'].sum()), unit)}, {most} at most"
        then = f" Then {what}." if what != NOTHING else ""
        return Answer(ASK, "Ask the engineer first", f"{places}.{then}{takes} If allowed and done, it {_ends(plan)}.")
    if not verdict:
        return Answer("", "", f"{what}.{takes} It was not checked against a limit.")
    done = "as it is" if what == NOTHING else "if done as drawn"
    unread = next((one for one in plan.notes if isinstance(one, Note) and one.key in UNKNOWN_TO_PLAN), None)
    if unread is not None and verdict == UNDECIDED:
        return Answer(verdict, f"UNDECIDED {done}", sentence(unread, unit, plan.survey).removesuffix("."))
    if verdict == PASS:
        passes = f" Passes {sure}." if sure else " How surely was not worked out."
        nothing = "nothing to do" if what == NOTHING else what
        # where places would do, were they surer
        spots = ways.plans.get("patches") if ways is not None and plan.way != "patches" else None
        first = _first(plan, unit) if spots is not None and spots.verdict == UNDECIDED else ""
        return Answer(verdict, f"PASS {done}", f"{nothing}.{takes}{passes}{_unseen(plan, unit)}{first}")
    if verdict == FAIL:
        even = "as it is" if what == NOTHING else "even if done as drawn"
        return Answer(verdict, f"FAIL {even}", f"{what}.{takes} {_failing(plan, unit)}")
    if ways is not None and not ways.sure and plan.way == ways.proposed:
        return Answer(verdict, "NO SURE WAY", f"the best, {what}, passes {sure}.{takes}{_first(plan, unit)}")
    passes = f" Passes {sure}." if sure else ""
    return Answer(verdict, f"UNDECIDED {done}", f"{what}.{takes}{passes}{_first(plan, unit)}")


def _first(plan: Plan, unit: str) -> str:
    """What makes a plan surer before any work: how the joists run, where that is what is in doubt."""
    for note in plan.notes:
        if isinstance(note, Note) and note.key == "ridge-likely":
            return f" {say(Note('joists-first', **note.values), unit)}."
        if isinstance(note, Note) and note.key == "none-sure":
            return f" {say(Note('closer-first'), unit)}."
    return ""


def _unseen(plan: Plan, unit: str) -> str:
    """What a pass leaves open between the stations; empty where they stand close enough."""
    if ASSUMED not in set(plan.after["between"]):
        return ""
    apart = position(widest_step(plan.survey), unit)
    return f" Nothing was read between the stations, {apart} apart: slide a bar there first; Check lists the strips."


def deed(plan: Plan, unit: str) -> str:
    """What is done, in a few words, without what waits for an engineer."""
    surface, members = plan.surface, plan.members
    whole = float(node_areas(surface.inside, surface.spacing).sum())
    if plan.sets_members and members is not None:
        what, name = ("raise" if plan.survey.surface == "floor" else "set"), noun(plan.survey.surface, members)
        run = f", {position(lumber_of(plan), unit)} in all"
        if not plan.lines:
            return NOTHING
        if plan.way == "members":
            return f"{what} all {counted(len(plan.lines), name)} to {plane_words(plan)}{run}"
        return f"{what} {len(plan.lines)} of {counted(len(members), name)}, {_names(plan)}{run}"
    if plan.way == "overlay":
        if plan.survey.surface != "floor":
            return f"strap all of it to {plane_words(plan)}, {ground(whole, unit)}"
        most = depth(float(np.nanmax(plan.change)), unit)[1:]
        return f"pour over all of it to {plane_words(plan)}, {ground(whole, unit)}, {most} at most"
    own = plan.patches[plan.patches["action"] != "engineer"]
    parts: list[str] = []
    for action, rows in own.groupby("action", sort=False):
        parts.append(f"{DEEDS[str(action)]} {len(rows) if parts else counted(len(rows), 'place')}")
    if not parts:
        return NOTHING
    return f"{', '.join(parts)}, {ground(float(own['area_mm2'].sum()), unit, whole)}"


def runs_of(plan: Plan, names: Collection[str]) -> list[list[str]]:
    """Names of the plan's members in their order, those of neighbors together."""
    assert plan.members is not None
    every = plan.members.table["name"].astype(str)
    runs = groupby(every, key=lambda name: name in names)
    return [list(run) for chosen, run in runs if chosen]


def _names(plan: Plan) -> str:
    runs = runs_of(plan, plan.lines)
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)


def plane_words(plan: Plan) -> str:
    """The plane that members or a layer come to."""
    level = "one plumb plane" if plan.survey.surface == "wall" else "one level plane"
    return PLANES.get(plan.plane, level).replace("plane", target_word(plan.survey))


def noun(surface: str, members: Members | None) -> str:
    """What a member of this surface is called."""
    kind = "" if members is None else members.kind
    return {"stud": "stud", "strapping": "strap"}.get(kind, "stud" if surface == "wall" and not kind else "joist")


def way_name(way: str, surface: str, members: Members | None) -> str:
    """A way in a word or two."""
    name = f"{noun(surface, members)}s"
    over = "pour over all" if surface == "floor" else "strap over all"
    return {"patches": "patches", "members": f"all {name}", "some-members": f"some {name}", "overlay": over}[way]


def ground(mm2: float, unit: str, of: float | None = None) -> str:
    """An area, or an area of another: ``85 of 324 sq ft``."""
    per, name = (MM2_PER_FT2, "sq ft") if unit == "in" else (MM2_PER_M2, "m2")
    wording = rounded(mm2 / per)
    return f"{wording} {name}" if of is None else f"{wording} of {rounded(of / per)} {name}"


def work_words(plan: Plan) -> str:
    """What the work comes to by the rates: hours, or money."""
    rates = plan.settings.get("rates") or Rates()
    return work_text(plan.work, rates.unit)


def work_text(work: float, unit: str) -> str:
    """Hours or money as people say them.

    >>> work_text(8.9, "h"), work_text(1.0, "h"), work_text(640.2, "$"), work_text(1234.5, "EUR")
    ('9 hours', '1 hour', '$640', '1,234 EUR')
    """
    if not math.isfinite(work):
        return "-"
    number = f"{work:,.0f}" if work >= 3 else f"{work:.2g}"
    if unit.casefold() in HOURS:
        return f"{number} hour{'' if number == '1' else 's'}"
    return f"{unit}{number}" if not unit[:1].isalpha() else f"{number} {unit}"


def times(chance: float, confidence: float) -> str:
    """A chance as people say it, never on the wrong side of the confidence.

    >>> times(0.958, 0.95), times(0.948, 0.95), times(0.995, 0.95), times(0.001, 0.95)
    ('96 times in 100', '94 times in 100', 'over 99 times in 100', 'less than once in 100')
    """
    if chance < 0.005:
        return "less than once in 100"
    count = _of_100(chance, confidence)
    return f"{'once' if count == '1' else f'{count} times'} in 100"


def _of_100(chance: float, confidence: float) -> str:
    if math.isnan(chance):
        return "-"
    if chance < 0.005:
        return "under 1"
    count = round(100 * chance)
    if count > 99:
        return "over 99"
    return str(count - 1 if chance < confidence <= count / 100 else count)


def _chance(plan: Plan) -> str:
    """The least chance of all limits, in words; empty where none is known."""
    known = plan.after["chance"].dropna()
    return times(float(known.min()), _confidence(plan)) if len(known) else ""


def _confidence(plan: Plan) -> float:
    return float(plan.settings.get("confidence", 0.95))


def _ends(plan: Plan) -> str:
    sure = _chance(plan)
    if plan.verdict == FAIL:
        return "still fails"
    return f"passes {sure}" if sure else "passes" if plan.verdict == PASS else "is undecided"


def _failing(plan: Plan, unit: str) -> str:
    """The limit that fails, with its number and what is allowed."""
    rows = [row for row in plan.after.to_dict("records") if row["verdict"] == FAIL]
    row = min(rows, key=lambda one: float(np.nan_to_num(one["chance"], nan=2.0)))
    _, after, likely, allowed = before_and_after(plan, row, unit)
    if after == "-":
        return f"{row['limit']} could not be measured."
    return f"{row['limit']}: {after if likely == '-' else likely}, and {allowed} is allowed."


def ways_table(ways: Ways, plan: Plan, unit: str) -> list[list[str]]:
    """The ways that are open, one row each, under headings; the first cell marks the one chosen."""
    kind, members = plan.survey.surface, _members(ways, plan)
    rows = [["", "way", "places", "sq ft" if unit == "in" else "m2", "lumber", "adds", "rises", "work", "of 100"]]
    for row in ways.table[ways.table["why"] == ""].to_dict("records"):
        per = MM2_PER_FT2 if unit == "in" else MM2_PER_M2
        lumber, rise = float(row["lumber_mm"]), float(row["rise_mm"])
        work = work_text(float(row["work"]), str(row["unit"])).replace(" hours", " h").replace(" hour", " h")
        rows.append(
            [
                ">" if row["way"] == plan.way else "",
                way_name(str(row["way"]), kind, members),
                f"{row['places']:.0f}",
                rounded(float(row["area_mm2"]) / per),
                position(lumber, unit) if lumber > 0 else "-",
                mass(float(row["mass_kg"]), unit) if row["mass_kg"] > 0 else "-",
                depth(rise, unit)[1:] if rise >= least_shown(unit) else "-",
                work,
                _of_100(float(row["chance"]), _confidence(plan)),
            ]
        )
    return rows


def closed_ways(ways: Ways, plan: Plan, unit: str) -> list[str]:
    """Ways that ask an engineer first, and those that are not open, each with why."""
    kind, members = plan.survey.surface, _members(ways, plan)
    asking = [
        f"Ask the engineer first: {way_name(way, kind, members)}, which would take off more than may come off."
        for way, one in ways.plans.items()
        if one.action("engineer").any()
    ]
    return asking + [
        f"Not open: {way_name(str(row['way']), kind, members)}: {say(row['why'], unit, plan.survey)}."
        for row in ways.table[ways.table["why"] != ""].to_dict("records")
    ]


def _members(ways: Ways, plan: Plan) -> Members | None:
    """What was named, which the plan of patches keeps."""
    named = (ways.plans[way].members for way in ("patches", "members", "some-members") if way in ways.plans)
    return next((members for members in named if members is not None), plan.members)


def ways_text(ways: Ways, plan: Plan, unit: str) -> str:
    """The ways side by side, at most 80 wide."""
    lines = [f"  {line}" for line in columns(ways_table(ways, plan, unit), left=(0, 1))]
    lines += [hanging(text) for text in closed_ways(ways, plan, unit)]
    usual = plan.settings.get("rates") in (None, Rates())
    lines.append(indented(OF_100.format(kind=plan.survey.surface) + (f" {USUAL}" if usual else "")))
    return "\n".join(["Ways to do it", *lines])


def marks_text(plan: Plan, unit: str) -> str:
    """Each place with the corners that are chalked and the heights that are set there, at most 80 wide."""
    drops = plan.survey.quantity == "drop" and plan.survey.line_height is not None
    lines = []
    for patch in plan.patches.to_dict("records"):
        own = plan.marks[plan.marks["name"] == patch["name"]]
        if not len(own):
            continue
        corners, inside = own[own["mark"] == "corner"], own[own["mark"] != "corner"]
        rows = [["corner", "along x", "along y", "reads" if drops else "height", "add or take off"]]
        rows += [_mark(number, mark, drops, unit) for number, mark in enumerate(corners.to_dict("records"), 1)]
        lines.append(f"  {patch['name']}  {patch['action']}")
        lines += [f"    {line}" for line in columns(rows, left=(0,))]
        lines += [f"    and {counted(len(inside), 'height')} inside"] if len(inside) else []
    if not lines:
        return ""
    what = "rod readings" if drops else "heights off the datum"
    return "\n".join([f"Set these {what} at the corners; straight from mark to mark", *lines])


def _mark(number: int, mark: Mapping[Any, Any], drops: bool, unit: str) -> list[str]:
    change = float(mark["change_mm"])
    set_to = float(mark["reading_mm" if drops else "set_mm"])
    at = (printed_place(float(mark[name]), unit).replace("\N{MINUS SIGN}", "-") for name in ("x_mm", "y_mm"))
    wording = f"{'-' if set_to < 0 else ''}{length(abs(set_to), unit)}"
    moved = depth(change, unit).replace("\N{MINUS SIGN}", "-") if abs(change) >= least_shown(unit) else "0"
    return [str(number), *at, wording, moved]


def plane_text(plan: Plan, unit: str) -> str:
    """The height of the plane that all members or a layer come to, at its corners where it is not level."""
    if not plan.plane or plan.set_height is None or not np.isfinite(plan.set_height).any():
        return ""
    heights = plan.set_height
    if float(np.nanmax(heights) - np.nanmin(heights)) < SHOWN_MM:
        return f"Set all of it to one height: {height_words(plan.survey, float(np.nanmean(heights)), unit)}"
    rows, cols = np.nonzero(np.isfinite(heights))
    ends = {int(np.argmin(a * cols + b * rows)): None for a in (1, -1) for b in (1, -1)}
    lines = [
        f"  {place((float(plan.x[cols[k]]), float(plan.y[rows[k]])), unit, plan.survey)}: "
        f"{height_words(plan.survey, float(heights[rows[k], cols[k]]), unit)}"
        for k in ends
    ]
    return "\n".join([f"Set it to {plane_words(plan)}", *lines])


def lumber_words(plan: Plan, unit: str) -> Iterator[str]:
    """The lumber of a way that sets members or straps, where it is not cut from lengths on sale."""
    run = lumber_of(plan)
    if run > 0 and plan.quantities.lengths is None:
        straps = plan.members is not None and plan.members.kind == "strapping"
        what = "strapping" if straps else "straight lumber, beside what it is set on"
        yield f"Lumber: {position(run, unit)} of {what}."
