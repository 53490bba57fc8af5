"""A plan, or the draft of one, in sentences and tables for the Plan panel."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from flatness.corrections.cutting import CutPlan
from flatness.corrections.plan import ACTIONS, Plan
from flatness.corrections.quantities import DENSITY_OF, Quantities
from flatness.corrections.schedule import Schedule
from flatness.corrections.volumes import node_areas
from flatness.corrections.ways import Ways
from flatness.show.done_words import area, before_and_after, depth, limit_of, load, mass, setting, volume
from flatness.show.member_words import members_text
from flatness.show.panels.plan_draft import Draft
from flatness.show.panels.verdict_words import verdict_mark
from flatness.show.plan_words import patch_rows
from flatness.show.way_words import ASK, OF_100, USUAL, answer, closed_ways, ways_table
from flatness.show.words import in_unit, percent, place, position

if TYPE_CHECKING:
    from flatness.show.panels.plan_state import PlanState

Shown = Plan | Draft
DEEDS = {
    "engineer": "ask the engineer about", "plane": "plane", "sister": "sister", "fur": "fur", "fill": "fill",
}  # fmt: skip


def cost_words(cost: float, state: PlanState) -> str:
    """A cost [mm3 of adding] as a person counts it: money where a price is given, else material."""
    if state.price is not None:
        return f"{cost * state.price:,.2f} of your money"
    moved = volume(cost, state.unit)
    if state.off_times == 1:
        return f"{moved} of material moved"
    return f"as much as adding {moved} (taking off counted {state.off_times:g} times)"


def cost_so_far(cost: float, state: PlanState) -> str:
    return f"Cost so far: {cost_words(cost, state)}." if math.isfinite(cost) else "No cost is known yet."


def headline(shown: Shown, state: PlanState) -> str:
    """What is to be done and what it costs, in a few sentences as HTML; the verdict first where it is proved."""
    cost = f" {escape(f'Cost: {cost_words(shown.cost, state)}.')}" if isinstance(shown, Draft) or state.price else ""
    if isinstance(shown, Draft):
        said = f"<b>As it stands:</b> {escape(draft_deeds(shown, state.unit))}"
        said += "".join(f" {escape(text)}" for text in broken_terms(shown, state.unit))
        shade = "draft"
    else:
        found = answer(shown, state.unit, state.ways)
        mark = f"<b>{escape(found.opening)}</b>"
        if found.opening.split()[:1] == [found.state.upper()]:
            mark = f"{verdict_mark(found.state)} {escape(found.opening.partition(' ')[2])}"
        said = f"{mark}: {escape(found.text)}" if found.opening else escape(str(found))
        # no verdict's colour without its chances, and none of work that may not be done yet
        shade = found.state if state.sure and found.state not in ("", ASK) else "draft"
    return f'<div class="fk-said fk-{shade}" aria-live="polite">{said}{cost}</div>'


def ways_rows(ways: Ways | None, plan: Plan | None, unit: str) -> str:
    """The ways side by side, as an HTML table, and why others are not open."""
    if ways is None or not ways.plans:
        return ""
    shown = plan if plan is not None else ways.plan
    heads, *rows = ways_table(ways, shown, unit)
    cells = [[f"<b>{escape(row[1])}</b>" if row[0] and plan is not None else escape(row[1]), *map(escape, row[2:])]
             for row in rows]  # fmt: skip
    closed = "".join(f"<li>{escape(text)}</li>" for text in closed_ways(ways, shown, unit))
    told = f"<small>{escape(OF_100.format(kind=shown.survey.surface))} {escape(USUAL)}</small>"
    return f'<b>Ways to do it</b>{table(heads[1:], cells)}<ul class="fk-list">{closed}</ul>{told}'


def draft_deeds(draft: Draft, unit: str) -> str:
    """What a draft asks for, action by action, with areas and greatest depths."""
    areas, parts = node_areas(draft.surface.inside, draft.surface.spacing), []
    for number, action in enumerate(ACTIONS):
        here = draft.actions == number
        if action in DEEDS and here.any():
            deepest = float(draft.change[here][np.abs(draft.change[here]).argmax()])
            parts.append(f"{DEEDS[action]} {area(float(areas[here].sum()), unit)}, at most {depth(deepest, unit)[1:]}")
    text = "; ".join(parts) or "nothing to do: it lies on the target"
    return f"{text[:1].upper()}{text[1:]}."


def broken_terms(draft: Draft, unit: str) -> Iterator[str]:
    """Which of the terms a draft breaks, and by how much."""
    for term, at, over in draft.against:
        if term.startswith("deepest "):
            what = "come off" if term.endswith("cut") else "be added"
            yield f"At {place(at, unit)} {depth(abs(over), unit)[1:]} more would {what} than you allow."
        else:
            way = "high" if over > 0 else "low"
            yield f"{term[:1].upper()}{term[1:]} at {place(at, unit)} would lie {depth(abs(over), unit)[1:]} too {way}."


def after_rows(plan: Plan, unit: str) -> str:
    """Each limit before and after the plan, as an HTML table."""
    if not len(plan.after):
        return "<p>No finish is chosen, so the plan is held against no limit.</p>"
    rows = []
    for row in plan.after.to_dict("records"):
        limit = limit_of(plan, row["limit"])
        purpose = limit.purpose if limit is not None else ""
        name = f"{purpose} ({row['limit']})" if purpose else str(row["limit"])
        sought = plan.strategy == "least-work" and plan.way in ("patches", "some-members")
        asked = "measured, not planned for" if sought and not row["planned_for"] else ""
        mark = verdict_mark(str(row["verdict"])) + (f"<br>{asked}" if asked else "")
        told = [f"{name[:1].upper()}{name[1:]}", *before_and_after(plan, row, unit), percent(float(row["chance"]))]
        rows.append([*map(escape, told), mark])
    heads = ("Limit", "Before", "After", "Likely", "Allowed", "Chance of passing", "Verdict")
    return f"<b>Before and after</b>{table(heads, rows)}"


def patches_rows(plan: Plan, unit: str) -> str:
    """The patches in the order of work, as an HTML table."""
    if not len(plan.patches):
        return ""
    told = patch_rows(plan, unit)
    rows = [[escape(in_unit(str(cell), unit)) for cell in row] for row in told.itertuples(index=False)]
    heads = ("Patch", "Do", "Along x", "Along y", "Area", "Deepest", "Volume", "Note")
    return f"<b>Patches, in the order of work</b>{table(heads, rows)}"


def quantity_rows(found: Quantities, unit: str) -> str:
    """What it takes, with where each number that is not measured comes from, as an HTML table."""
    told: list[tuple[str, str, str]] = []
    if found.fill_volume > 0:
        told.append(("Fill", f"{volume(found.fill_volume, unit)} over {area(found.fill_area, unit)}", "measured"))
        told.append(("Bags of fill", str(found.bags), _source(found, "bag_yield", unit)))
        told.append(("Weight of the fill", mass(found.fill_mass, unit), _source(found, "fill_density", unit)))
    if found.load_at is not None and found.greatest_load > 0:
        where = f"where the fill is deepest, {place(found.load_at, unit)}"
        told.append(("Greatest added load", load(found.greatest_load, unit), where))
    if found.cut_volume > 0:
        told.append(("Planing", f"{volume(found.cut_volume, unit)} over {area(found.planed_area, unit)}", "measured"))
    if found.sister_mass > 0:
        source = _source(found, DENSITY_OF[found.framed], unit)
        told.append((f"Weight of the {found.framed}", mass(found.sister_mass, unit), source))
    if found.lengths is not None:
        told += list(_lengths_to_buy(found.lengths, found.framed, unit))
    if not told:
        told.append(("Fill and planing", "none", "measured"))
    rows = [[escape(cell) for cell in row] for row in told]
    return f"<b>Quantities</b>{table(('What', 'How much', 'From'), rows)}"


def _lengths_to_buy(lengths: CutPlan, framed: str, unit: str) -> Iterator[tuple[str, str, str]]:
    stock = [f"{row['count']:.0f} of {position(row['stock_mm'], unit)}" for row in lengths.stock.to_dict("records")]
    how = "proven the least" if lengths.is_optimal else f"a better plan could save at most {100 * lengths.gap:.2g} %"
    yield f"Lengths to buy{' of strapping' if framed == 'strapping' else ''}", ", ".join(stock), how
    if lengths.price is not None:
        yield "Price of them", f"{lengths.price:.2f}", "the prices that were given"
    yield "Waste of them", f"{position(lengths.waste_mm, unit)}, {percent(lengths.waste_share)}", "bought less used"


def _source(found: Quantities, name: str, unit: str) -> str:
    for row in found.settings.to_dict("records"):
        if row["name"] == name:
            return f"{setting(float(row['value']), str(row['unit']), unit)}: {row['source']}"
    return ""


def schedule_text(schedule: Schedule | None, unit: str) -> str:
    """What each member is set to, as the report has it."""
    if schedule is None:
        return ""
    notes = "".join(f"<li>{escape(in_unit(note, unit))}.</li>" for note in schedule.notes)
    return f'<pre class="fk-schedule">{escape(members_text(schedule, unit))}</pre><ul class="fk-list">{notes}</ul>'


def notes_list(plan: Plan, unit: str) -> str:
    """What must be known of a plan, each once."""
    notes = [f"{note[:1].upper()}{note[1:]}".rstrip(".") for note in dict.fromkeys(plan.notes)]
    items = "".join(f"<li>{escape(in_unit(note, unit))}.</li>" for note in notes)
    return f'<b>Worth knowing</b><ul class="fk-list">{items}</ul>' if notes else ""


def cautions_list(shown: Shown, schedule: Schedule | None) -> str:
    """The cautions that go with it, each once; that about authority stands at the foot of the panel."""
    kept = [*shown.quantities.cautions, *(shown.cautions if isinstance(shown, Plan) else ())]
    kept += schedule.cautions if schedule is not None else ()
    one_each = {one.key: one for one in kept if one.key != "authority"}
    items = "".join(f"<li>{escape(one.text)} <small>({escape(one.source)})</small></li>" for one in one_each.values())
    return f'<div class="fk-cautions" role="note"><b>Cautions</b><ul>{items}</ul></div>' if items else ""


def table(heads: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """An HTML table; cells are HTML already, the first of a row is its heading."""
    head = "".join(f'<th scope="col">{text}</th>' for text in heads)
    body = "".join(
        f'<tr><th scope="row">{first}</th>{"".join(f"<td>{cell}</td>" for cell in others)}</tr>'
        for first, *others in rows
    )
    return f'<table class="fk-table"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'
