"""A plan of corrections in plain words and in tables that fit a terminal 80 wide; its schedule of members.

What it meets (doors, stairs, thresholds, overhead, reveals), and a whole job as text.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import pandas as pd

from flatness.framing.reveal import Reveal
from flatness.framing.schedule import STAYS, Schedule
from flatness.job.running import Results
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, MM3_PER_FT3, MM3_PER_LITRE
from flatness.limits.kinds import caution, cited, describe
from flatness.notes import joined
from flatness.planning.constraints import Rates
from flatness.planning.plan import Plan
from flatness.planning.quantities import SET_BY_YOU
from flatness.planning.ways import Ways
from flatness.surroundings.cautions import CAUTIONS, NO_SOURCE, in_order
from flatness.surroundings.finished_surface import Layer, build_up
from flatness.survey.readings import Survey
from flatness.words.checks import report
from flatness.words.comparisons import comparison_report
from flatness.words.phrases import say, sentence
from flatness.words.printed import (
    FOOT_MM,
    WIDTH,
    area,
    bulleted,
    columns,
    counted,
    depth,
    hanging,
    indented,
    is_shown,
    length,
    load,
    marked,
    marks_meaning,
    mass,
    percent,
    place,
    position,
    printed_place,
    setting,
    shortened,
    shown_unit,
    signed,
    table_area,
    table_volume,
    target_word,
    total_volume,
)
from flatness.words.ways import (
    answer,
    before_and_after,
    limit_of,
    lumber_words,
    marks_text,
    plane_text,
    settings_text,
    ways_text,
)


def members_text(schedule: Schedule, unit: str) -> str:
    """The members in the order they are set: those that are set first stand first.

    Parameters
    ----------
    schedule : what each member is set to
    unit : ``in`` or ``mm``

    Returns
    -------
    str : lines of at most 80 characters
    """
    shimmed = len(schedule.shims) > 0
    lift = "shim" if shimmed else "raise"
    known = schedule.members[schedule.members["raise_most_mm"].notna()].to_dict("records")
    known = [row for row in known if row["set"] != STAYS]
    ordered = sorted(known, key=lambda row: not str(row["set"]).startswith("first"))
    rows = [["", "set", f"{lift} first end", "last end", "most", "plane off", "at"]]
    for row in ordered:
        down = float(row["take_down_mm"])
        wording = (_signed(float(row[f"raise_{end}_mm"]), unit) for end in ("first", "last", "most"))
        off = (depth(down, unit)[1:], _at(row, unit)) if is_shown(down, unit) else ("-", "")
        rows.append([str(row["member"]), _when(str(row["set"])), *wording, *off])
    lines = [f"  {line}" for line in columns(rows, left=(0, 1))]
    return "\n".join(["Members, in the order they are set", *lines, *_remarks(schedule, known, unit)])


def _signed(mm: float, unit: str) -> str:
    """A signed number of a table: 0 where a tape shows nothing."""
    return signed(mm, unit) if is_shown(mm, unit) else "0"


def _when(words: str) -> str:
    """``first``, ``to string`` or ``by offset``."""
    if words.startswith("first"):
        return "first"
    return "to string" if words == "to the string" else "by offset"


def _at(row: Mapping[Any, Any], unit: str) -> str:
    return printed_place(float(row["take_down_at_mm"]), unit).replace("\N{MINUS SIGN}", "-")


def _remarks(schedule: Schedule, known: list[dict[Any, Any]], unit: str) -> Iterator[str]:
    left = schedule.members.loc[schedule.members["set"] == STAYS, "member"]
    if len(left):
        yield hanging(f"Left as they are, with nothing to sister over them: {', '.join(map(str, left))}.")
    yield hanging(f"0 is less than {'1/64 in' if unit == 'in' else '0.1 mm'}.")
    if "by offset" in {_when(str(row["set"])) for row in known}:
        yield hanging("By offset: to its offsets from the string between the two end members, in the schedule.")
    for name, words in (("may_be_taken_down", "Planing off"), ("laps", "Sister laps"), ("note", "Note")):
        said: dict[str, list[str]] = {}
        for row in schedule.members.to_dict("records"):
            tiny = name == "may_be_taken_down" and not is_shown(float(row["take_down_mm"]), unit)
            if isinstance(row[name], str) and row[name] and not tiny:
                said.setdefault(row[name], []).append(str(row["member"]))
        for text, members in said.items():
            yield hanging(f"{words}, {', '.join(members)}: {say(text, unit)}.")
    if len(schedule.shims):
        shims = schedule.shims["shim_mm"]
        least, most = (depth(float(value), unit).lstrip("+") for value in (shims.min(), shims.max()))
        start = schedule.shims.sort_values("order").to_dict("records")[0]
        yield hanging(
            f"Shims: {len(shims)} crossings, {least} to {most}; start where {start['strap']} crosses {start['member']}."
        )
    for row in schedule.blocking.to_dict("records"):
        cut, low, high = (printed_place(float(row[name]), unit) for name in ("cut_at_mm", "from_mm", "to_mm"))
        yield hanging(f"Block {row['member']} from {low} to {high}, beside its cut at {cut}.")
    if is_shown(schedule.blocks_mm, unit):
        yield hanging(f"Blocks under the string's ends: {depth(schedule.blocks_mm, unit)[1:]} at least keep it clear.")


FEATHERED = "with feathered edges"  # patches are counted by nodes, without them
SKIMMED = f"On a ceiling or a wall fill is compound, put on in skim coats ({NO_SOURCE})."
GLOSS = {"deepest_fill": " (framing beyond)", "deepest_plane": " (where no depth is given)"}
STOPPED = "The search for the least work was stopped early: a plan of less work may exist."


def plan_report(
    plan: Plan,
    unit: str | None = None,
    schedule: Schedule | None = None,
    ways: Ways | None = None,
    layers: Sequence[Layer] = (),
) -> str:
    """The whole plan as text for a terminal: the answer, the ways side by side, then the chosen one alone.

    What is done where, what stands afterwards, what it takes, what it rests on, what must be known.

    Parameters
    ----------
    plan : of the way that is chosen
    unit : ``in`` (feet, inches and fractions) or ``mm``; None takes that of the survey
    schedule : what each member is set to, where the way sets any
    ways : all ways, where they were weighed
    layers : on the corrected surface

    Returns
    -------
    str : lines of at most 80 characters
    """
    unit = shown_unit(plan.survey, unit)
    blocks = [indented(str(answer(plan, unit, ways)), ""), _heading(plan, unit)]
    blocks += [ways_text(ways, plan, unit)] if ways is not None else []
    blocks += [settings_text(plan, unit, layers), after_table(plan, unit)]
    if plan.way == "patches" and len(plan.patches):
        blocks += [patches_table(plan, unit), marks_text(plan, unit)]
    blocks += [plane_text(plan, unit)]
    blocks += [members_text(schedule, unit)] if schedule is not None else []
    blocks += [quantities_text(plan, unit)] if len(plan.patches) else []
    rests = [indented(text) for text in _settings(plan, unit)]
    blocks += ["\n".join(["Rests on", *rests])] if rests else []
    notes = dict.fromkeys((*plan.notes, *(schedule.notes if schedule is not None else ())))
    if notes:
        blocks.append(bulleted("Worth knowing", (sentence(note, unit, plan.survey) for note in notes)))
    kept = (*plan.cautions, *plan.quantities.cautions, *(schedule.cautions if schedule is not None else ()))
    if kept:
        blocks.append(bulleted("Cautions", (f"{one.text} ({one.source})" for one in in_order(kept))))
    return "\n\n".join(block for block in blocks if block)


def _heading(plan: Plan, unit: str) -> str:
    survey = plan.survey
    based = "the likely surface (best estimate)" if plan.based_on == "likely" else "the surface as read"
    about = (
        f"{survey.surface}, {len(survey.points)} readings, planned on {based}, a node every "
        f"{position(plan.surface.spacing, unit)}"
    )
    lines = [indented(text, "") for text in (survey.title or survey.source or "survey", about)]
    for limit in plan.limits:
        sure = caution(limit)
        source = cited(limit.source, limit.edition, limit.clause)
        text = f"{limit.name}: {describe(limit, unit)}; {source}{f' ({sure})' if sure else ''}"
        lines.append(hanging(text))
    if not plan.finished and not any(getattr(note, "key", "") == "stopped-early" for note in plan.notes):
        lines.append(indented(STOPPED, ""))
    return "\n".join(lines)


def after_table(plan: Plan, unit: str) -> str:
    """Each limit before and after the plan, at most 80 wide."""
    if not len(plan.after):
        return f"Before and after\n  No limit was named; the target is a {target_word(plan.survey)}."
    rows = [["limit", "before", "after", "likely", "allowed", "chance", "verdict"]]
    for row in plan.after.to_dict("records"):
        name = str(row["limit"])
        shown = shortened(name, 28)
        chance = percent(float(row["chance"]))
        verdict = marked(str(row["verdict"]).upper(), row["between"])
        rows.append([shown, *before_and_after(plan, row, unit), chance, verdict])
    wording = (
        "Before and after are of the surface that was planned on, measured with the same code as a check. Likely and "
        "chance are of the true surface once the heights are set, each with its own error, and count what the readings "
        "do not know."
    )
    sought = plan.way in ("patches", "some-members") and plan.strategy == "least-work"
    apart = [
        f"{row['limit']} was not planned for, only measured."
        for row in plan.after.to_dict("records")
        if sought and not row["planned_for"] and limit_of(plan, row["limit"]) is not None
    ]
    table = [f"  {line}" for line in columns(rows, (0, len(rows[0]) - 1))]
    lines = [*table, *marks_meaning(plan.after["between"]), *map(indented, apart), indented(wording)]
    return "\n".join(["Before and after", *lines])


def patches_table(plan: Plan, unit: str) -> str:
    """The patches in the order of work, at most 80 wide."""
    patches = plan.patches.to_dict("records")
    rows = [["", "do", "along x", "along y", "area", "deepest", "volume"]]
    rows += [_patch(patch, unit) for patch in patches]
    lines = columns(rows, left=(0, 1, 2, 3))
    if max(map(len, lines)) > WIDTH - 2:
        # both ways on one line have no room: one beneath the other
        broken = [["", "do", "where", "area", "deepest", "volume"]]
        for row in rows[1:]:
            broken.append([*row[:2], f"x {row[2]}", *row[4:]])
            broken.append(["", "", f"y {row[3]}", "", "", ""])
        lines = columns(broken, left=(0, 1, 2))
    notes = [
        indented(f"{patch['name']}: {say(patch['note'], unit, plan.survey)}.") for patch in patches if patch["note"]
    ]
    title = f"Patches, in the order of work ({'feet and inches' if unit == 'in' else 'metres'} from the corner)"
    if len(patches) > 1:
        notes.append(indented("Each is rounded by itself: their sums may be off in the last figure."))
    return "\n".join([title, *(f"  {line}" for line in lines), *notes])


def _patch(patch: Mapping[Any, Any], unit: str) -> list[str]:
    return [
        str(patch["name"]),
        str(patch["action"]),
        *(_span(patch, axis, unit) for axis in ("x", "y")),
        table_area(float(patch["area_mm2"]), unit),
        signed(float(patch["greatest_mm"]), unit),
        table_volume(float(patch["volume_mm3"]), unit),
    ]


def _span(patch: Mapping[Any, Any], axis: str, unit: str) -> str:
    low, high = (float(patch[f"{end}_{axis}_mm"]) for end in ("from", "to"))
    if unit == "in":
        return " to ".join(printed_place(at, unit).replace("\N{MINUS SIGN}", "-") for at in (low, high))
    return f"{low / 1000:.2f} to {high / 1000:.2f}"


def quantities_text(plan: Plan, unit: str) -> str:
    """What it takes, with where each number comes from."""
    found = plan.quantities
    lines = []
    if found.fill_volume > 0:
        bags = counted(found.bags, "bag")
        over = _ground(plan, "fill", found.fill_area, unit)
        lines.append(f"Fill: {total_volume(found.fill_volume, unit)} {over}; {mass(found.fill_mass, unit)}, {bags}.")
        lines += [SKIMMED] if plan.survey.surface != "floor" else []
    if found.load_at is not None and found.greatest_load > 0:
        at = place(found.load_at, unit, plan.survey)
        lines.append(f"Greatest added dead load: {load(found.greatest_load, unit)}, at {at}.")
    if found.cut_volume > 0:
        over = _ground(plan, "plane", found.planed_area, unit)
        lines.append(f"Planing: {total_volume(found.cut_volume, unit)} {over}.")
    if found.sister_mass > 0:
        lines.append(f"{found.framed.capitalize()}: {mass(found.sister_mass, unit)}.")
    if found.lengths is not None:
        bought, what = found.lengths, "Strapping" if found.framed == "strapping" else "Stock"
        lines.append(
            f"{what} to buy: {position(bought.bought_mm, unit)}, of it waste {position(bought.waste_mm, unit)}"
            f"{'' if bought.price is None else f', {bought.price:.2f} at the prices given'}."
        )
    lines += list(lumber_words(plan, unit))
    if not lines:
        lines.append("Neither fill nor planing.")
    for row in found.settings.to_dict("records"):
        if row["name"] == "gravity":
            continue  # the weight of a mass is no choice
        value = setting(float(row["value"]), str(row["unit"]), unit)
        lines.append(f"{str(row['name']).replace('_', ' ').capitalize()}: {value} ({row['source']}).")
    return "\n".join(["Quantities", *(indented(line) for line in lines)])


def _ground(plan: Plan, action: str, feathered: float, unit: str) -> str:
    """What a volume lies over: the patches' own ground, and how far its edges run."""
    own = float(plan.patches.loc[plan.patches["action"] == action, "area_mm2"].sum())
    return f"over {area(own, unit)}, {area(feathered, unit)} {FEATHERED}"


def _settings(plan: Plan, unit: str) -> Iterator[str]:
    s = plan.settings
    rates, depths = s.get("rates"), s.get("depths")
    if rates is not None:
        yield f"Rates: {_rates(rates, unit)}; {NO_SOURCE if rates == Rates() else SET_BY_YOU}."
    if s.get("setting_error") is not None:
        yield f"Each height is set to within {length(float(s['setting_error']), unit)} (1 s.d.)."
    if depths is not None:
        yield from _depths(depths, unit)
    if float(s.get("planned_to") or 1.0) < 1:
        yield f"Planned to {100 * float(s['planned_to']):g} % of each limit planned for, at {plan.headings} headings."
    if rates is not None and 0 < plan.bound < plan.cost and rates.off == rates.add > 0:
        least, moved = (total_volume(cost / rates.add, unit) for cost in (plan.bound, plan.cost))
        yield f"Proven: no work that keeps to that moves less than {least}; this moves {moved}."
    if s.get("draws"):
        yield f"Chances: from {s['draws']} draws, seed {s['seed']}; verdicts at {percent(float(s['confidence']))}."
    for spot in plan.fixed:
        within = f", within {length(spot.allowance, unit)}" if spot.allowance > 0 else ""
        yield f"Fixed: {spot.name or 'a spot'} at {place((spot.x, spot.y), unit, plan.survey)}{within}."
    chosen = {name: one for name, one in s.items() if hasattr(one, "source")}
    yours = [name for name, one in chosen.items() if one.source == SET_BY_YOU]
    wording = {
        name: f"{name.replace('_', ' ')} {setting(one.value, one.unit, unit)}{GLOSS.get(name, '')}"
        for name, one in chosen.items()
    }
    if yours:
        yield f"Set by you: {', '.join(wording[name] for name in yours)}."
    rest = [name for name in chosen if name not in yours]
    common = [wording[name] for name in rest if chosen[name].source.endswith(NO_SOURCE)]
    if common:
        yield f"Common practice, no source, until you set them: {', '.join(common)}."
    for name in rest:
        if wording[name] not in common:
            yield f"{wording[name][:1].upper()}{wording[name][1:]}: {chosen[name].source}."


def _rates(rates: Rates, unit: str) -> str:
    inches = (("ft2", MM2_PER_FT2), ("ft3", MM3_PER_FT3), ("ft", FOOT_MM))
    metric = (("m2", MM2_PER_M2), ("litre", MM3_PER_LITRE), ("m", 1000.0))
    values = (rates.area, rates.volume, rates.length)
    units = inches if unit == "in" else metric
    amounts = [(value * per, name) for value, (name, per) in zip(values, units, strict=True)]
    parts = [f"{amount:.{3 if amount >= 0.1 else 2}g} a {name}" for amount, name in amounts]
    parts = [f"{rates.place:.3g} a place", *parts[:2], f"{parts[2]} of member", f"{rates.crossing:.3g} a shim"]
    often = [f"{what} {by:g} times" for what, by in (("taking off", rates.off), ("adding", rates.add)) if by != 1]
    return f"{', '.join(parts)} [{rates.unit}]{'; ' + ', '.join(often) if often else ''}"


def _depths(depths: Any, unit: str) -> Iterator[str]:
    """The deepest cut and fill that were set, where they are one number."""
    for name, value in (("come off", depths.cut), ("be added", depths.fill)):
        if isinstance(value, (int, float)) and math.isfinite(value):
            yield f"Greatest depth that may {name}: {length(float(value), unit)}, {SET_BY_YOU}."


def patch_rows(plan: Plan, unit: str) -> pd.DataFrame:
    """The patches as people read them, for a notebook: one row a patch, all texts."""
    rows = [(*_patch(patch, unit), str(patch["note"])) for patch in plan.patches.to_dict("records")]
    return pd.DataFrame(rows, columns=["patch", "do", "along x", "along y", "area", "deepest", "volume", "note"])


WHAT = {"door": "gap under it", "stair": "risers differ by", "threshold": "step", "headroom": "clear height"}


def job_report(done: Results) -> str:
    """Check, plan, what the plan meets, and what was done, as far as the job asks for them."""
    unit, parts, survey = done.job.show, [], done.job.before.survey
    if done.assessment is not None:
        parts.append(("As found", report(done.assessment, unit)))
    if done.plan is not None:
        plan = done.plan if done.quantities is None else replace(done.plan, quantities=done.quantities)
        if build_up(done.job.layers) > 0:
            # layers are weight that is added too
            plan = replace(plan, cautions=in_order((*plan.cautions, CAUTIONS["load"], CAUTIONS["authority"])))
        wording = plan_report(plan, unit, done.schedule, done.ways, done.job.layers)
        parts.append(("The plan", wording))
    said = [] if done.plan is None else [one.text for one in done.plan.cautions]
    met = [consequences_text(done.consequences, unit, said, survey)] if len(done.consequences) else []
    met += [reveal_text(name, found, unit, survey) for name, found in done.reveals.items()]
    if met:
        parts.append(("What the finished surface meets", "\n\n".join(met)))
    if done.comparison is not None:
        parts.append(("What was done", comparison_report(done.comparison, unit)))
    notes = [indented(sentence(note, unit), "- ") for note in done.notes]
    blocks = [f"{title.upper()}\n{'=' * WIDTH}\n{text}" for title, text in parts]
    return "\n\n\n".join([*blocks, *notes])


def consequences_text(table: pd.DataFrame, unit: str, said: Collection[str] = (), survey: Survey | None = None) -> str:
    """What the change and the layers do at doors, stairs, thresholds and overhead: a few lines each.

    Cautions that were ``said`` before are left out.
    """
    lines, known = ["Doors, stairs, thresholds, overhead"], {text.rstrip(".") for text in said}
    for row in table.to_dict("records"):
        parts = getattr(row["caution"], "values", {}).get("parts", (row["caution"],))
        left = joined((one for one in parts if one.rstrip(".") not in known), "sentences")
        head, *rest = _met({**row, "caution": left}, unit, survey)
        lines += [indented(head), *(indented(sentence, "    ") for sentence in rest)]
    return "\n".join(lines)


def _met(row: Mapping[Any, Any], unit: str, survey: Survey | None) -> Iterator[str]:
    at = place((float(row["x_mm"]), float(row["y_mm"])), unit, survey)
    yield f"{row['verdict'].upper()}  {row['name']} ({row['kind']}), at {at}"
    before, after = float(row["before_mm"]), float(row["after_mm"])
    shown = signed if row["kind"] in ("threshold", "door") else length
    rise = float(row["rise_mm"])
    moves = f"{'rises' if rise >= 0 else 'falls'} {length(abs(rise), unit)} there, layers included"
    yield f"The floor {moves}; {WHAT[str(row['kind'])]}: {shown(before, unit)} before, {shown(after, unit)} after."
    yield from (sentence(row[key], unit) for key in ("limit", "caution") if row[key])


def reveal_text(name: str, found: Reveal, unit: str, survey: Survey | None = None) -> str:
    """The reveal along one line: verdict, largest departure and change, and where to scribe."""
    agreed = "" if found.tolerance is None else f", plus or minus {length(found.tolerance, unit)}"
    lines = [
        f"Reveal: {name}",
        indented(
            f"{found.verdict.upper()}: nominal {length(found.nominal, unit)}{agreed}. Largest departure "
            f"{signed(found.departure.value, unit)}{_there(found.departure.at, unit, survey)}; largest change over "
            f"{position(found.change_over, unit)}: {length(found.change.value, unit)}."
        ),
    ]
    if len(found.scribe):
        lines.append(indented(f"Lower the trim by {length(found.lower_by, unit)}, then scribe:"))
        rows = [["from", "to", "gap", "off by", "scribe"]]
        for row in found.scribe.to_dict("records"):
            rows.append(
                [
                    position(float(row["from_mm"]), unit),
                    position(float(row["to_mm"]), unit),
                    str(row["gap"]),
                    signed(float(row["departure_mm"]), unit),
                    length(float(row["scribe_mm"]), unit),
                ]
            )
        lines += [f"    {line}" for line in columns(rows, left=(0, 1, 2), most=WIDTH - 4)]
    if found.note:
        lines.append(indented(sentence(found.note, unit)))
    return "\n".join(lines)


def _there(at: tuple[float, float] | None, unit: str, survey: Survey | None) -> str:
    return "" if at is None or any(math.isnan(value) for value in at) else f" at {place(at, unit, survey)}"
