"""A plan, or the draft of one, in sentences and tables for the Plan panel."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from typing import Any

import numpy as np

from flatness.charts.axes import INK
from flatness.charts.hatching import PATTERNS
from flatness.framing.cutting import CutPlan
from flatness.framing.schedule import Schedule
from flatness.measures.bars import Place
from flatness.panels.check import verdict_mark
from flatness.panels.controls import html_table
from flatness.panels.instrument import OFF, POINT_HERE, Gauge, Said, at_place, places_list, station_at
from flatness.planning.draft import Draft
from flatness.planning.plan import ACTIONS, WAYS, Plan
from flatness.planning.quantities import DENSITY_OF, Quantities
from flatness.planning.volumes import node_areas
from flatness.planning.ways import Ways
from flatness.survey.readings import Survey
from flatness.words.phrases import say, sentence
from flatness.words.plans import members_text, patch_rows
from flatness.words.printed import area, depth, length, load, mass, percent, position, setting, spelled, volume
from flatness.words.ways import ASK, OF_100, USUAL, answer, before_and_after, closed_ways, limit_of, noun, ways_table

Shown = Plan | Draft
DEEDS = {"engineer": "ask the engineer about", "plane": "plane", "sister": "sister", "fur": "fur", "fill": "fill"}


@dataclass(frozen=True)
class Money:
    """How a person counts costs: the unit shown, a price [per mm3] or None, and what taking off costs in times."""

    unit: str
    price: float | None = None
    off_times: float = 1.0

    def words(self, cost: float) -> str:
        """A cost [mm3 of adding]: money where a price is given, else material."""
        if self.price is not None:
            return f"{cost * self.price:,.2f} of your money"
        moved = volume(cost, self.unit)
        if self.off_times == 1:
            return f"{moved} of material moved"
        return f"as much as adding {moved} (taking off counted {self.off_times:g} times)"


def cost_so_far(cost: float, money: Money) -> str:
    return f"Cost so far: {money.words(cost)}." if math.isfinite(cost) else "No cost is known yet."


def plan_said(shown: Shown, money: Money, ways: Ways | None, sure: bool, stale: str = "") -> Said:
    """What is to be done, how it passes, and how far off it will likely lie."""
    cost = f"Cost: {money.words(shown.cost)}." if isinstance(shown, Draft) or money.price else ""
    if isinstance(shown, Draft):
        more = " ".join([*broken_terms(shown, money.unit), stale, cost])
        return Said("", "DRAFT", draft_deeds(shown, money.unit), more, "not proved yet")
    found = answer(shown, money.unit, ways)
    says, _, more = found.text.partition(". ")
    more = " ".join(one for one in (stale, more, cost) if one)
    if stale.startswith(CHANGED):
        return Said("", "OLD", says, more)
    if found.state == ASK:
        return Said(ASK, "ASK", f"Ask about {says}", more, "the engineer first")
    if not sure and found.state:
        return Said("", "PLAN", says, more)
    words = found.opening.split()
    if words and words[0].lower() == found.state:
        return Said(found.state, words[0], says, more, " ".join(words[1:]), likely_after(shown))
    return Said(found.state, found.opening or "PLAN", says, more, gauge=likely_after(shown))


def likely_after(plan: Plan) -> Gauge | None:
    """What will likely remain under the straightedge that comes nearest to what it allows, for the gauge."""
    rows = plan.after[(plan.after["unit"] == "mm") & plan.after["likely_mm"].notna() & (plan.after["allowed_mm"] > 0)]
    if rows.empty:
        return None
    _, row = max(rows.iterrows(), key=lambda one: one[1]["likely_mm"] / one[1]["allowed_mm"])
    likely = float(row["likely_mm"])
    return Gauge(likely, float(row["allowed_mm"]), likely, likely, "likely after")


PICK = (
    "const s=this.closest('.fk-panel').querySelector('.fk-of-way select');s.selectedIndex={at};"
    "s.dispatchEvent(new Event('change',{{bubbles:true}}))"
)


def cards(ways: Ways | None, plan: Plan | None, unit: str) -> str:
    """The ways side by side as HTML: a button each, which chooses it, and why others are not open."""
    if ways is None or not ways.plans:
        return ""
    of = plan if plan is not None else ways.plan
    open_ones = ways.table[ways.table["why"] == ""]["way"]
    cards = []
    for way, (_, name, places, ground, lumber, adds, rises, work, chance) in zip(
        open_ones, ways_table(ways, of, unit)[1:], strict=True
    ):
        one = ways.plans[way]
        count = f"{places} {noun(of.survey.surface, one.members) if one.sets_members else 'place'}"
        touched = f"{count}{'' if places == '1' else 's'}, {ground} {'sq ft' if unit == 'in' else 'm2'}"
        asks = bool(one.action("engineer").any())
        note = "Ask the engineer first" if asks else "Proposed" if way == ways.proposed else ""
        numbers = (
            (work, "work"),
            (adds, "weight"),
            (rises, "rises"),
            (lumber, "lumber"),
            (chance if chance == "-" else f"{chance} in 100", "passes"),
        )
        cells = "".join(f"<span><b>{escape(number)}</b>{what}</span>" for number, what in numbers if number != "-")
        cards.append(
            f'<button class="fk-card" aria-pressed="{str(plan is not None and way == plan.way).lower()}" '
            f'title="Show this way on the map" onclick="{PICK.format(at=1 + WAYS.index(way))}">{thumb(one)}'
            f"<span class='fk-name'><b>{escape(name[:1].upper() + name[1:])}</b><span>{escape(touched)}</span>"
            f"{f'<i>{note}</i>' if note else ''}</span><span class='fk-numbers'>{cells}</span></button>"
        )
    for text in closed_ways(ways, of, unit):
        if text.startswith("Not open: "):
            name, _, why = text.removeprefix("Not open: ").partition(": ")
            why = f"not open. {escape(why[:1].upper() + why[1:])}"
            cards.append(f'<div class="fk-card"><b>{escape(name[:1].upper() + name[1:])}</b>: {why}</div>')
    usual = f"{OF_100.format(kind=of.survey.surface)} {USUAL}"
    return f'<div class="fk-cards">{"".join(cards)}<small>{escape(usual)}</small></div>'


def thumb(plan: Plan) -> str:
    """A small picture of what is touched, as SVG."""
    (x0, x1), (y0, y1) = ((float(axis[0]), float(axis[-1])) for axis in (plan.x, plan.y))
    drawn = []
    if plan.sets_members and plan.members is not None:
        for name, at in zip(plan.members.table["name"], plan.members.positions, strict=True):
            if str(name) in map(str, plan.lines):
                ends = (
                    f"M{at - x0:.0f} 0V{y1 - y0:.0f}" if plan.members.direction == "y" else f"M0 {y1 - at:.0f}H{x1:.0f}"
                )
                drawn.append(f'<path d="{ends}" stroke="{INK}" stroke-width="90"/>')
    elif plan.way == "overlay":
        drawn.append(f'<rect width="100%" height="100%" fill="{PATTERNS["fill"].face}"/>')
    else:
        for patch in plan.patches.itertuples():
            outline: Any = patch.outline
            for part in getattr(outline, "geoms", (outline,)):
                corners = " ".join(f"{x - x0:.0f},{y1 - y:.0f}" for x, y in part.exterior.coords)
                look = PATTERNS[str(patch.action)]
                drawn.append(f'<polygon points="{corners}" fill="{look.face}" stroke="{look.line}" stroke-width="40"/>')
    return f'<svg viewBox="0 0 {x1 - x0:.0f} {y1 - y0:.0f}" aria-hidden="true">{"".join(drawn)}</svg>'


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
            yield f"{at_place(at, unit, draft.survey)}: {depth(abs(over), unit)[1:]} more would {what} than you allow."
        else:
            way = "high" if over > 0 else "low"
            off = f"{depth(abs(over), unit)[1:]} too {way}"
            yield f"{term[:1].upper()}{term[1:]}, {at_place(at, unit, draft.survey)}, would lie {off}."


def after_rows(plan: Plan, unit: str) -> str:
    """Each limit before and after the plan, as an HTML table."""
    if not len(plan.after):
        return "<p>No finish is chosen, so the plan is held against no limit.</p>"
    rows = []
    for row in plan.after.to_dict("records"):
        limit = limit_of(plan, row["limit"])
        purpose = "" if limit is None else limit.everyday or limit.purpose
        name = f"{purpose} ({row['limit']})" if purpose else str(row["limit"])
        sought = plan.strategy == "least-work" and plan.way in ("patches", "some-members")
        aside = "<br>measured, not planned for" if sought and not row["planned_for"] else ""
        head = f"{escape(name[:1].upper() + name[1:])}<br>{verdict_mark(str(row['verdict']))}{aside}"
        shown_numbers = (*before_and_after(plan, row, unit), percent(float(row["chance"])))
        names = ("before", "after", "likely", "allowed", "passes")
        rows.append(
            [head, "<br>".join(f"{one} {escape(text)}" for one, text in zip(names, shown_numbers, strict=True))]
        )
    return f"<h3>Before and after</h3><div class='fk-before-after'>{html_table(('Limit', 'Gap or slope'), rows)}</div>"


def patches_list(plan: Plan, unit: str) -> str:
    """The patches in the order of work, as HTML."""
    patches = []
    for name, do, along_x, along_y, ground, deepest, moved, note in patch_rows(plan, unit).itertuples(index=False):
        more = f" {sentence(note, unit)}" if note else ""
        where = spelled(f"x {along_x}; y {along_y}. {ground}, {moved}.{more}")
        deep = deepest.lstrip("+-\N{MINUS SIGN}")  # what is done says which way
        patches.append((spelled(f"{name}: {do} {deep} at most"), where))
    return f"<h3>Patches, in the order of work</h3>{places_list(patches, named=True)}" if patches else ""


def quantity_rows(found: Quantities, unit: str, survey: Survey) -> str:
    """What it takes, with where each number that is not measured comes from, as an HTML table."""
    found_rows: list[tuple[str, str, str]] = []
    if found.fill_volume > 0:
        found_rows.append(("Fill", f"{volume(found.fill_volume, unit)} over {area(found.fill_area, unit)}", "measured"))
        found_rows.append(("Bags of fill", str(found.bags), _source(found, "bag_yield", unit)))
        found_rows.append(("Weight of the fill", mass(found.fill_mass, unit), _source(found, "fill_density", unit)))
    if found.load_at is not None and found.greatest_load > 0:
        where = f"where the fill is deepest, {at_place(found.load_at, unit, survey)}"
        found_rows.append(("Greatest added load", load(found.greatest_load, unit), where))
    if found.cut_volume > 0:
        found_rows.append(
            ("Planing", f"{volume(found.cut_volume, unit)} over {area(found.planed_area, unit)}", "measured")
        )
    if found.sister_mass > 0:
        source = _source(found, DENSITY_OF[found.framed], unit)
        found_rows.append((f"Weight of the {found.framed}", mass(found.sister_mass, unit), source))
    if found.lengths is not None:
        found_rows += list(_lengths_to_buy(found.lengths, found.framed, unit))
    if not found_rows:
        found_rows.append(("Fill and planing", "none", "measured"))
    rows = [[escape(cell) for cell in row] for row in found_rows]
    return f"<h3>Quantities</h3>{html_table(('What', 'How much', 'From'), rows)}"


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
    notes = "".join(f"<li>{escape(say(note, unit))}.</li>" for note in schedule.notes)
    return f'<pre class="fk-schedule">{escape(members_text(schedule, unit))}</pre><ul class="fk-list">{notes}</ul>'


def cautions_list(shown: Shown, schedule: Schedule | None) -> str:
    """The cautions that go with it, each once; that about authority stands at the foot of the panel."""
    kept = [*shown.quantities.cautions, *(shown.cautions if isinstance(shown, Plan) else ())]
    kept += schedule.cautions if schedule is not None else ()
    one_each = {one.key: one for one in kept if one.key != "authority"}
    items = "".join(f"<li>{escape(one.text)} <small>({escape(one.source)})</small></li>" for one in one_each.values())
    return f'<div class="fk-cautions" role="note"><b>Cautions</b><ul>{items}</ul></div>' if items else ""


PRESS = "press Work out the plan"
CHANGED = "You have changed something"


def words_at(shown: Shown | None, xy: Place | None, unit: str) -> str:
    """What is to be done at a place [mm], on the map that is shown."""
    if shown is None or xy is None:
        return POINT_HERE
    surface = shown.surface
    i, j = (round((at - axis[0]) / surface.spacing) for at, axis in zip(xy, (surface.x, surface.y), strict=True))
    ny, nx = surface.height.shape
    here = at_place(xy, unit, shown.survey)
    if not (0 <= i < nx and 0 <= j < ny) or math.isnan(shown.change[j, i]):
        return f"{here}: {OFF}"
    action = ACTIONS[int(shown.actions[j, i])]
    change, height = float(shown.change[j, i]), float(surface.height[j, i])
    station = station_at(shown.survey, xy, unit)
    what = PATTERNS[action].words if action == "leave" else f"{PATTERNS[action].words}, {depth(change, unit)}"
    read = f"; {station}" if station else ""
    return f"{here}: {what}; height {length(height, unit)} now, {length(height + change, unit)} after{read}"


def stale_words(shown: Shown | None, current: bool, sure: bool) -> str:
    """Why what is shown is not a plan of what is set, and what to do about it."""
    if isinstance(shown, Draft):
        if shown.against:
            return "It breaks what you set: move the slider, or change that."
        return "Patches and members follow when the controls rest."
    if shown is not None and not current:
        return f"{CHANGED} since: {PRESS} again."
    if shown is not None and not sure and len(shown.after):
        return f"The chances are not worked out: {PRESS} for them."
    return ""
