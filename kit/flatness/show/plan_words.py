"""A plan of corrections in plain words and in tables that fit a terminal 80 wide."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pandas as pd

from flatness.corrections.cautions import NO_SOURCE, in_order
from flatness.corrections.finished import Layer
from flatness.corrections.plan import Plan
from flatness.corrections.quantities import SET_BY_YOU
from flatness.corrections.schedule import Schedule
from flatness.corrections.terms import Rates
from flatness.corrections.ways import Ways
from flatness.lengths import MM2_PER_FT2, MM2_PER_M2, MM3_PER_FT3, MM3_PER_LITRE
from flatness.limits.wording import caution, cited, describe
from flatness.show.compared import columns
from flatness.show.done_words import (
    area,
    before_and_after,
    depth,
    limit_of,
    load,
    mass,
    setting,
    told_volume,
)
from flatness.show.member_words import members_text
from flatness.show.plan_asked import asked_text
from flatness.show.scales import printed_place
from flatness.show.way_words import answer, lumber_words, marks_text, plane_text, ways_text
from flatness.show.words import (
    FOOT_MM,
    WIDTH,
    indented,
    length,
    percent,
    place,
    position,
    sentence,
    shortened,
    shown_unit,
)

FEATHERED = "with the edges that run out to nothing"  # patches are counted by nodes, without them
SKIMMED = f"On a ceiling or a wall fill is compound, skimmed on in coats ({NO_SOURCE})."
GLOSS = {"deepest_fill": " (framing beyond)", "deepest_plane": " (where nobody said how deep)"}
STOPPED = "The search for the least work was stopped early: a plan of less work may exist."


def plan_report(
    plan: Plan, unit: str | None = None, schedule: Schedule | None = None, ways: Ways | None = None,
    layers: Sequence[Layer] = (),
) -> str:  # fmt: skip
    """The whole plan as text for a terminal: the answer, the ways side by side, then the chosen one alone.

    What is done where, what stands afterwards, what it takes, what it rests on, what must be known.

    Parameters
    ----------
    plan : of the way that is chosen
    unit : ``in`` (feet, inches and fractions) or ``mm``; None takes that of the survey
    schedule : what each member is set to, where the way sets any
    ways : all ways, where they were weighed
    layers : laid on the corrected surface

    Returns
    -------
    str : lines of at most 80 characters
    """
    unit = shown_unit(plan.survey, unit)
    blocks = [textwrap.fill(str(answer(plan, unit, ways)), WIDTH), _heading(plan, unit)]
    blocks += [ways_text(ways, plan, unit)] if ways is not None else []
    blocks += [asked_text(plan, unit, layers), after_table(plan, unit)]
    if plan.way == "patches" and len(plan.patches):
        blocks += [patches_table(plan, unit), marks_text(plan, unit)]
    blocks += [plane_text(plan, unit)]
    blocks += [members_text(schedule, unit)] if schedule is not None else []
    blocks += [quantities_text(plan, unit)] if len(plan.patches) else []
    rests = [indented(text) for text in _settings(plan, unit)]
    blocks += ["\n".join(["Rests on", *rests])] if rests else []
    notes = dict.fromkeys((*plan.notes, *(schedule.notes if schedule is not None else ())))
    if notes:
        items = (indented(sentence(note, unit), "  - ") for note in notes)
        blocks.append("\n".join(["Worth knowing", *items]))
    kept = (*plan.cautions, *plan.quantities.cautions, *(schedule.cautions if schedule is not None else ()))
    if kept:
        said = (indented(f"{one.text} ({one.source})", "  - ") for one in in_order(kept))
        blocks.append("\n".join(["Cautions", *said]))
    return "\n\n".join(block for block in blocks if block)


def _heading(plan: Plan, unit: str) -> str:
    survey = plan.survey
    based = "the likely surface (best estimate)" if plan.based_on == "likely" else "the surface as read"
    about = (
        f"{survey.surface}, {len(survey.points)} readings, planned on {based}, a node every "
        f"{position(plan.surface.spacing, unit)}"
    )
    lines = textwrap.wrap(survey.title or survey.source or "survey", WIDTH)
    lines += textwrap.wrap(about, WIDTH)
    for limit in plan.limits:
        sure = caution(limit)
        source = cited(limit.source, limit.edition, limit.clause)
        text = f"{limit.name}: {describe(limit, unit)}; {source}{f' ({sure})' if sure else ''}"
        lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
    if not plan.finished and not any("stopped early" in note for note in plan.notes):
        lines += textwrap.wrap(STOPPED, WIDTH)
    return "\n".join(lines)


def after_table(plan: Plan, unit: str) -> str:
    """Each limit before and after the plan, at most 80 wide."""
    if not len(plan.after):
        return "Before and after\n  No limit was named; the target is a plane."
    rows = [["limit", "before", "after", "likely", "allowed", "chance", "verdict"]]
    for row in plan.after.to_dict("records"):
        name = str(row["limit"])
        shown = shortened(name, 28)
        chance = percent(float(row["chance"]))
        rows.append([shown, *before_and_after(plan, row, unit), chance, str(row["verdict"]).upper()])
    told = (
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
    lines = [*(f"  {line}" for line in columns(rows)), *map(indented, apart), indented(told)]
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
    notes = [indented(sentence(f"{patch['name']}: {patch['note']}", unit)) for patch in patches if patch["note"]]
    title = f"Patches, in the order of work ({'feet and inches' if unit == 'in' else 'metres'} from the corner)"
    if len(patches) > 1:
        notes.append(indented("Each is rounded by itself: their sums may be off in the last figure."))
    return "\n".join([title, *(f"  {line}" for line in lines), *notes])


def _patch(patch: Mapping[Any, Any], unit: str) -> list[str]:
    return [
        str(patch["name"]), str(patch["action"]), *(_span(patch, axis, unit) for axis in ("x", "y")),
        _table_area(float(patch["area_mm2"]), unit), signed(float(patch["greatest_mm"]), unit),
        _table_volume(float(patch["volume_mm3"]), unit),
    ]  # fmt: skip


def _table_area(mm2: float, unit: str) -> str:
    """An area to as many places in every row, so that a column adds up."""
    return f"{mm2 / MM2_PER_FT2:.1f} ft2" if unit == "in" else f"{mm2 / MM2_PER_M2:.2f} m2"


def _table_volume(mm3: float, unit: str) -> str:
    if unit != "in":
        return f"{mm3 / MM3_PER_LITRE:.2f} litres" if mm3 >= MM3_PER_LITRE / 200 else "under 0.01 litres"
    return f"{mm3 / MM3_PER_FT3:.3f} ft3" if mm3 >= MM3_PER_FT3 / 2000 else "under 0.001 ft3"


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
        bags = f"{found.bags} bag{'s' if found.bags != 1 else ''}"
        over = _ground(plan, "fill", found.fill_area, unit)
        lines.append(f"Fill: {told_volume(found.fill_volume, unit)} {over}; {mass(found.fill_mass, unit)}, {bags}.")
        lines += [SKIMMED] if plan.survey.surface != "floor" else []
    if found.load_at is not None and found.greatest_load > 0:
        lines.append(f"Greatest added dead load: {load(found.greatest_load, unit)}, at {place(found.load_at, unit)}.")
    if found.cut_volume > 0:
        over = _ground(plan, "plane", found.planed_area, unit)
        lines.append(f"Planing: {told_volume(found.cut_volume, unit)} {over}.")
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
        yield f"Planned to {100 * float(s['planned_to']):g} % of each straightedge limit, at {plan.headings} headings."
    if s.get("draws"):
        yield f"Chances: from {s['draws']} draws, seed {s['seed']}; verdicts at {percent(float(s['confidence']))}."
    for spot in plan.fixed:
        within = f", within {length(spot.allowance, unit)}" if spot.allowance > 0 else ""
        yield f"Fixed: {spot.name or 'a spot'} at {place((spot.x, spot.y), unit)}{within}."
    chosen = {name: one for name, one in s.items() if hasattr(one, "source")}
    yours = [name for name, one in chosen.items() if one.source == SET_BY_YOU]
    told = {
        name: f"{name.replace('_', ' ')} {setting(one.value, one.unit, unit)}{GLOSS.get(name, '')}"
        for name, one in chosen.items()
    }
    if yours:
        yield f"Set by you: {', '.join(told[name] for name in yours)}."
    rest = [name for name in chosen if name not in yours]
    common = [told[name] for name in rest if chosen[name].source.endswith(NO_SOURCE)]
    if common:
        yield f"Common practice, no source, until you set them: {', '.join(common)}."
    for name in rest:
        if told[name] not in common:
            yield f"{told[name][:1].upper()}{told[name][1:]}: {chosen[name].source}."


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
    """The deepest cut and fill, where they are one number: none is said too."""
    for name, value in (("come off", depths.cut), ("be added", depths.fill)):
        if isinstance(value, (int, float)):
            told = f"{length(float(value), unit)}, {SET_BY_YOU}" if math.isfinite(value) else "none set"
            yield f"Greatest depth that may {name}: {told}."


def signed(mm: float, unit: str) -> str:
    """A small length with its sign, ASCII for a terminal."""
    return depth(mm, unit).replace("\N{MINUS SIGN}", "-")


def patch_rows(plan: Plan, unit: str) -> pd.DataFrame:
    """The patches as people read them, for a notebook: one row a patch, all texts."""
    rows = [(*_patch(patch, unit), str(patch["note"])) for patch in plan.patches.to_dict("records")]
    return pd.DataFrame(rows, columns=["patch", "do", "along x", "along y", "area", "deepest", "volume", "note"])
