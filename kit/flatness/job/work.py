"""What a job file says of the plan: its terms, fixed spots, what lies beneath, members and materials."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flatness.corrections.actions import THRESHOLDS
from flatness.corrections.asked import SURFACES
from flatness.corrections.beneath import KINDS as BENEATH_KINDS
from flatness.corrections.beneath import Beneath
from flatness.corrections.members import DIRECTIONS, KINDS, MOST_MEMBERS, Members, member_layout
from flatness.corrections.plan import WAYS
from flatness.corrections.quantities import DEFAULTS, settings_of
from flatness.corrections.schedule import SETTINGS
from flatness.corrections.seeking import STRATEGIES
from flatness.corrections.set_members import PLANES
from flatness.corrections.straight_lines import LINES
from flatness.corrections.target import SHIFTS, TILTS
from flatness.corrections.terms import Depths, FixedSpot, Rates
from flatness.corrections.ways import PROPOSED
from flatness.job.records import Framing, Materials, PlanTerms
from flatness.job.report import JobReport, key_path
from flatness.job.tables import Key, Keys, Placed, Reader, Table, read_table
from flatness.job.values import (
    amount,
    area,
    by_name,
    choice,
    count,
    flag,
    kind,
    length,
    length_or,
    lengths,
    number,
    one_or_more,
    rate,
    text,
    texts,
)

_UPWARD, _ANY, _POSITIVE = length(negative=False), length(), length(positive=True)
# the readers of numbers that a user may set, by the unit that the kit keeps them in
_OF_UNIT: dict[str, Reader] = {
    "mm": _UPWARD, "mm2": amount("area", positive=False), "kg": amount("mass", positive=False),
    "mm3 a bag": amount("volume"), "kg/mm3": amount("density"), "m/s2": amount("acceleration"),
    "share added": number(least=0),
}  # fmt: skip


def _aim(raw: Any, path: str, report: JobReport) -> Any:
    if raw == "sure":
        return raw
    before = len(report.problems)
    found = number(least=0, most=1, above=True)(raw, path, report)
    if len(report.problems) > before:
        report.problems.pop()
        report.add(path, "aim out of range", raw, 'a share above 0 to 1, or "sure"',
                   "1 plans to the limit itself, 0.7 to 70 % of it")  # fmt: skip
    return found


RATES: Keys = {
    "off": Key(number(least=0, above=True)), "add": Key(number(least=0, above=True)), "place": Key(number(least=0)),
    "area": Key(rate("area")), "volume": Key(rate("volume")), "length": Key(rate("length")),
    "crossing": Key(number(least=0)), "unit": Key(text),
}  # fmt: skip
DEPTHS: Keys = {"cut": Key(_UPWARD), "fill": Key(_UPWARD)}
THRESHOLD_KEYS: Keys = {name: Key(_OF_UNIT[one.unit]) for name, one in THRESHOLDS.items()}


def _nested(keys: Keys) -> Reader:
    def read(raw: Any, path: str, report: JobReport) -> dict[str, Any] | None:
        table = read_table(raw, path, keys, report)
        return table.values if table is not None else None

    return read


PLAN: Keys = {
    "way": Key(choice(PROPOSED, *WAYS)), "plane": Key(choice("plumb", *PLANES)), "setting_error": Key(_UPWARD),
    "keep_clear": Key(_UPWARD), "strategy": Key(choice(*STRATEGIES)), "shift": Key(choice(*SHIFTS)), "aim": Key(_aim),
    "headings": Key(count(1, 360)), "spacing": Key(_POSITIVE), "surface": Key(choice(*SURFACES)),
    "level_within": Key(_UPWARD), "height": Key(_ANY), "tilt": Key(choice(*TILTS)), "ask_engineer": Key(flag),
    "depths": Key(_nested(DEPTHS)), "rates": Key(_nested(RATES)), "thresholds": Key(_nested(THRESHOLD_KEYS)),
}  # fmt: skip
FIXED: Keys = {
    "name": Key(text), "x": Key(_ANY, True), "y": Key(_ANY, True), "height": Key(length_or("as found"), True),
    "allowance": Key(_UPWARD), "meant": Key(flag),
}  # fmt: skip
BENEATH: Keys = {
    "kind": Key(kind(*BENEATH_KINDS), True), "may_be_planed": Key(flag), "most_planed": Key(_UPWARD),
    "depth": Key(_POSITIVE), "span": Key(lengths()), "direction": Key(choice(*DIRECTIONS)), "ends": Key(_UPWARD),
    "area": Key(area),
}  # fmt: skip
LAYOUT: Keys = {
    "first": Key(_ANY), "spacing": Key(_POSITIVE), "direction": Key(choice(*DIRECTIONS)),
    "count": Key(count(1, MOST_MEMBERS)), "until": Key(_ANY), "positions": Key(lengths()), "kind": Key(kind(*KINDS)),
    "depth": Key(_POSITIVE), "flange": Key(_POSITIVE), "thickness": Key(_POSITIVE), "start": Key(_ANY),
    "end": Key(_ANY), "length": Key(_POSITIVE), "names": Key(texts), "cuts": Key(by_name(one_or_more(_ANY))),
}  # fmt: skip
SCHEDULE: Keys = {
    "line": Key(choice(*LINES)), "set_by": Key(choice(*SETTINGS)), "step": Key(_POSITIVE),
    "sister_depth": Key(_POSITIVE), "sister_thickness": Key(_POSITIVE), "least_lap": Key(_POSITIVE),
    "blocks": Key(_UPWARD),
}  # fmt: skip


MEMBERS: Keys = {**LAYOUT, **SCHEDULE, "crossing": Key(_nested(LAYOUT))}


def _stock(raw: Any, path: str, report: JobReport) -> Any:
    """Lengths, or prices by length."""
    if not isinstance(raw, dict):
        found = lengths(positive=True)(raw, path, report)
        if found is not None and None not in found and len(set(found)) < len(found):
            report.add(path, "one length twice", raw, "each length once", "delete one of the two")
        return found
    prices: dict[float, float] = {}
    for written, price in raw.items():
        here = key_path(path, written)
        sold, paid = _POSITIVE(written, here, report), number(least=0, above=True)(price, here, report)
        if sold is not None and sold in prices:
            report.add(here, "one length twice", written, "each length once", "delete one of the two")
        elif sold is not None and paid is not None:
            prices[sold] = paid
    if not raw:
        report.add(path, "no stock lengths", raw, 'prices by length, such as "12 ft" = 14.5')
    return prices


MATERIALS: Keys = {**{name: Key(_OF_UNIT[one.unit]) for name, one in DEFAULTS.items()}, "stock": Key(_stock)}


def make_plan(
    plan: Table | None, fixed: list[Placed[FixedSpot]], beneath: list[Placed[Beneath]]
) -> PlanTerms | None:  # fmt: skip
    """The terms of the plan, those that are right; None where there is no [plan]."""
    if plan is None:
        return None
    values = dict(plan.values)
    way, parts = values.pop("way", PROPOSED), {name: values.pop(name, {}) for name in ("rates", "depths", "thresholds")}
    return PlanTerms(
        way, values, Rates(**parts["rates"]), Depths(**parts["depths"]), tuple(one.item for one in fixed),
        tuple(one.item for one in beneath), parts["thresholds"],
    )  # fmt: skip


def make_framing(table: Table | None, report: JobReport) -> Framing | None:
    """The members and their schedule's options; None where there are none, or something is wrong."""
    if table is None or not table.is_right:
        return None
    values, raw = table.values, table.raw
    members = _layout(table.path, raw, values, report)
    crossing = None
    if "crossing" in values:
        crossing = _layout(f"{table.path}.crossing", raw["crossing"], values["crossing"], report)
        if crossing is None:
            return None
    if members is None:
        return None
    if (members.kind == "strapping") != (crossing is not None):
        report.add(
            f"{table.path}.crossing", "strapping goes with the members that it crosses, and other kinds without",
            members.kind, "a table [members.crossing] for strapping alone", "add it, take it out, or correct the kind",
        )  # fmt: skip
    options = {key: values[key] for key in SCHEDULE if key in values}
    return Framing(members, options, crossing)


def _layout(path: str, raw: Mapping[str, Any], values: Mapping[str, Any], report: JobReport) -> Members | None:
    chosen = {key: value for key, value in values.items() if key in LAYOUT}
    return report.make(path, {key: raw[key] for key in chosen}, member_layout, **chosen)


def make_materials(table: Table | None, framing: Framing | None, report: JobReport, has_members: bool) -> Materials:
    """The settings and stock of the materials; the kit's own where the file says nothing.

    ``has_members``: whether the file has a table [members], right or wrong.
    """
    values = dict(table.values) if table is not None and table.is_right else {}
    stock = values.pop("stock", None)
    settings = report.make("materials", table.raw if table else {}, settings_of, **values)
    if stock is not None and not has_members:
        report.add("materials.stock", "stock lengths without members", table.raw["stock"] if table else "",
                   "a table [members], whose sisters are cut from them", "add it, or leave stock out")  # fmt: skip
    if stock is not None and framing is not None and framing.section is None:
        report.add("members.sister_depth", "a key is missing", "nothing", "the depth of the sisters to be bought",
                   "add it, or the depth of the members")  # fmt: skip
    return Materials(DEFAULTS if settings is None else settings, stock)
