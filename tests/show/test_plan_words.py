"""The report of a plan in words: its numbers, its width, what it says once."""

import dataclasses
import functools
import math
import re

import numpy as np
import pandas as pd
import pytest

import flatness
from chart_checks import FOOT, INCH
from flatness.corrections.beneath import Beneath
from flatness.corrections.members import member_layout
from flatness.corrections.planner import plan_corrections
from flatness.corrections.quantities import Setting
from flatness.corrections.schedule import member_schedule
from flatness.corrections.terms import FixedSpot, Rates
from flatness.lengths import parse_length
from flatness.show.done_words import area, depth, load, mass, rounded, setting, value_words, volume
from flatness.show.member_words import members_text
from flatness.show.plan_asked import beside_text
from flatness.show.plan_words import patch_rows, plan_report
from plan_rooms import PLANS

UNITS = ("in", "mm")


@functools.cache
def plan_named(name):
    return PLANS[name]()


def schedule_of(plan, **options):
    if plan.members is None:
        return None
    straps = plan.members.kind == "strapping"
    crossing = member_layout(0, 16 * INCH, "y", until=16 * FOOT) if straps else None
    return member_schedule(plan, plan.members, crossing=crossing, **options)


def block(text, title):
    return next((part for part in text.split("\n\n") if part.startswith(title)), "")


def flat(text):
    return " ".join(text.split())


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("name", PLANS)
def test_it_fits_a_terminal_and_prints_no_long_decimals(name, unit):
    plan = plan_named(name)
    text = plan_report(plan, unit, schedule_of(plan))
    assert max(map(len, text.splitlines())) <= 80
    assert not re.search(r"\d\.\d{4}", text)
    assert "nan" not in text
    assert "e+" not in text
    assert "e-0" not in text
    if unit == "in":
        # inches are fractions; decimals belong to areas, volumes, loads and ratios
        assert not re.search(r'\d\.\d+"', text)


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("name", ["mixed floor", "ceiling", "sixty patches", "failing"])
def test_the_table_of_patches_is_the_plans_in_the_order_of_work(name, unit):
    plan = plan_named(name)
    lines = block(plan_report(plan, unit), "Patches").splitlines()[2:]
    found = [re.split(r"\s{2,}", line.strip()) for line in lines if re.match(r"\s+P\d+ ", line)]
    assert [row[0] for row in found] == plan.patches["name"].tolist()
    nearest = INCH / 16 if unit == "in" else 6.0  # an eighth of an inch, or a centimetre; half of it, and a hair
    base = "in" if unit == "in" else "m"
    for row, patch in zip(found, plan.patches.to_dict("records"), strict=True):
        _, action, along_x, along_y, ground, deepest, amount = row
        assert action == patch["action"]
        for span, axis in ((along_x, "x"), (along_y, "y")):
            ends = [parse_length(end, base) for end in span.split(" to ")]
            assert ends == pytest.approx([patch[f"from_{axis}_mm"], patch[f"to_{axis}_mm"]], abs=nearest)
        assert parse_length(deepest, unit) == pytest.approx(patch["greatest_mm"], abs=INCH / 64 + 1e-6)
        per = FOOT**2 if unit == "in" else 1e6
        assert float(ground.split()[0]) == pytest.approx(patch["area_mm2"] / per, rel=0.06)
        per = FOOT**3 if unit == "in" else 1e6
        assert float(amount.split()[0]) == pytest.approx(patch["volume_mm3"] / per, rel=0.06, abs=0.005)


def test_positions_too_long_for_one_line_stand_on_two():
    plan = plan_named("mixed floor")
    odd = plan.patches.assign(
        from_x_mm=12 * FOOT + 6.625 * INCH, to_x_mm=14 * FOOT + 10.375 * INCH, from_y_mm=10 * FOOT + 3.125 * INCH,
        to_y_mm=11 * FOOT + 11.875 * INCH,
    )  # fmt: skip
    text = plan_report(dataclasses.replace(plan, patches=odd), "in")
    assert max(map(len, text.splitlines())) <= 80
    lines = block(text, "Patches").splitlines()
    assert """x 12' 6 5/8" to 14' 10 3/8\"""" in lines[2]
    assert """y 10' 3 1/8" to 11' 11 7/8\"""" in lines[3]
    assert sum("P" in line for line in lines[2:]) == len(plan.patches)


@pytest.mark.parametrize("unit", UNITS)
def test_before_and_after_are_told_with_the_chance_and_the_verdict(unit):
    plan = plan_named("ceiling")
    row = plan.after.iloc[0]
    line = block(plan_report(plan, unit), "Before and after").splitlines()[2]
    name, before, after, likely, allowed, chance, verdict = re.split(r"\s{2,}", line.strip())
    assert name == "wood-glued"
    told = (before, "before_mm"), (after, "after_mm"), (likely, "likely_mm"), (allowed, "allowed_mm")
    for text, value in ((text, row[column]) for text, column in told):
        assert parse_length(text, unit) == pytest.approx(value, abs=INCH / 64)
    assert (chance, verdict) == ("71 %", "UNDECIDED")


def test_what_is_printed_is_on_the_side_of_the_limit_that_was_judged():
    limit = flatness.straightedge_limit(3048, 4.7625)
    assert parse_length(value_words(limit, 4.77, 4.7625, "in"), "in") > 4.7625
    assert parse_length(value_words(limit, 4.76, 4.7625, "in"), "in") <= 4.7625
    number = flatness.f_number_limit(ff=25)
    assert float(value_words(number, 24.996, 25, "in")) < 25
    assert value_words(flatness.slope_limit(1 / 48, 600), 1 / 60, 1 / 48, "in") == "1:60"
    assert value_words(limit, math.nan, 4.7625, "in") == "-"


def test_f_numbers_are_told_as_numbers():
    plan = plan_named("one patch")
    limit = flatness.f_number_limit(ff=25)
    row = {**plan.after.iloc[0].to_dict(), "limit": limit.name, "before": 18.23, "after": 31.4, "allowed": 25.0}
    row |= {"likely": 29.0, "before_mm": np.nan, "after_mm": np.nan, "likely_mm": np.nan, "allowed_mm": np.nan}
    row["planned_for"] = False
    text = plan_report(dataclasses.replace(plan, limits=(limit,), after=pd.DataFrame([row])), "in")
    line = block(text, "Before and after").splitlines()[2]
    assert re.split(r"\s{2,}", line.strip())[1:5] == ["18.2", "31.4", "29.0", "25.0"]
    assert "was not planned for, only measured" in flat(text)


def test_dead_flat_is_told_beside_it_with_bound_and_gap():
    plan = plan_named("mixed floor")
    said = flat(plan_report(plan, "mm"))
    material = plan.cost / 1e6  # litres, at rates of one
    assert f"The material moved is {material:.0f} litres" in said
    assert f"a dead-flat floor would take {3.24 * material:.0f} litres, 3.2 times as much" in said
    assert f"takes less than {0.97 * material:.0f} litres, so that at most 3 % could be saved" in said
    level = flat(plan_report(plan_named("failing"), "mm"))
    assert "a level floor would take" in level
    assert "not chosen for the least work" in level
    proven = flat(plan_report(dataclasses.replace(plan, bound=0.999 * plan.cost), "in"))
    assert "takes less, to within half of 1 %" in proven
    stopped = dataclasses.replace(plan, finished=False)
    assert "stopped early" in flat(plan_report(stopped, "in"))
    noted = dataclasses.replace(stopped, notes=("the search was stopped early: a cheaper one may be left",))
    assert flat(plan_report(noted, "in")).count("stopped early") == 1


def test_at_rates_of_ones_own_it_is_a_cost_and_no_volume():
    plan = plan_named("mixed floor")
    foot = 304.8**3
    priced = dataclasses.replace(
        plan, settings={"rates": Rates(2.0, 1.0)}, cost=12 * foot, bound=11.9 * foot, flat_cost=24 * foot
    )
    said = flat(plan_report(priced, "in"))
    assert "At your rates, taken as per ft3, the work costs 12; a dead-flat floor would take 24, 2.0 times" in said
    assert "Rates: taking off 2, adding 1 a unit of volume, set by you." in said


def test_what_to_do_is_one_sentence_that_counts_the_patches():
    said = flat(plan_report(plan_named("sixty patches"), "in"))
    assert re.search(r"Plane 30 places \(\S+ ft2, at most \S+\); fill 30 places \(\S+ ft2, at most \S+\); leave", said)
    nothing = plan_report(plan_named("nothing to do"), "in")
    assert "Leave it as it is" in nothing
    assert block(nothing, "Patches") == ""
    assert block(nothing, "Quantities") == ""


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("name", ["mixed floor", "ceiling", "failing"])
def test_each_caution_is_said_once_and_none_is_left_out(name, unit):
    plan = plan_named(name)
    schedule = schedule_of(plan)
    said = flat(plan_report(plan, unit, schedule))
    cautions = [*plan.cautions, *plan.quantities.cautions, *(schedule.cautions if schedule else ())]
    assert len(cautions) > len({one.key for one in cautions}) or schedule is None
    for one in cautions:
        assert said.count(flat(one.text)) == 1
        assert flat(one.source) in said


def test_notes_are_said_once_in_tape_lengths_and_sources_stand_beside_quantities():
    plan = dataclasses.replace(
        plan_named("mixed floor"), notes=("waves shorter than 1219.2 mm are invisible",) * 2,
        fixed=(FixedSpot(FOOT, 2 * FOOT, name="sill", allowance=0.8),),
        settings={"deepest_fill": Setting("deepest_fill", 12.7, "mm", "set by you"),
                  "least_patch": Setting("least_patch", FOOT**2, "mm2", "common practice, no source")},
    )  # fmt: skip
    text = flat(plan_report(plan, "in"))
    assert text.count("aves shorter than 4' 0\" (1219.2 mm) are invisible.") == 1
    assert 'Fixed: sill at 1\' 0" along x, 2\' 0" along y, within 1/32".' in text
    assert 'Set by you: deepest fill 1/2" (framing beyond).' in text
    assert "Common practice, no source, until you set them: least patch 1.0 ft2." in text
    for row in plan.quantities.settings.to_dict("records"):
        assert (flat(row["source"]).split(",")[0] in text.replace("- ", "-")) == (row["name"] != "gravity")
    assert "Bag yield: 0.42 ft3 a bag" in text
    assert "Fill density: 120 lb/ft3" in text


def test_amounts_by_published_factors():
    # international foot, pound (1959) and standard gravity (CGPM 1901): 1 lb/ft2 is 47.88026 Pa
    assert load(47.88026, "in") == "1.0 lb/ft2"
    assert load(2400, "mm") == "2.4 kN/m2"
    assert mass(0.45359237 * 50, "in") == "50 lb"
    assert area(92903.04, "in") == "1.0 ft2"
    assert volume(28_316_846.592, "in") == "1.0 ft3"
    assert volume(28_316_846.592, "mm") == "28 litres"
    assert setting(1922.2e-9, "kg/mm3", "in") == "120 lb/ft3"
    assert setting(1922.2e-9, "kg/mm3", "mm") == "1922 kg/m3"
    assert rounded(0.0049) == "under 0.01"


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [
        (3.175, "in", '+1/8"'), (-1.5875, "in", '−1/16"'), (INCH * 1.5, "in", '+1 1/2"'), (0.35, "in", '+1/64"'),
        (-0.1, "in", '−under 1/64"'), (0.0, "in", '0"'), (3.14, "mm", "+3.1 mm"), (-0.04, "mm", "−under 0.1 mm"),
        (math.nan, "mm", "-"),
    ],
)  # fmt: skip
def test_depths_are_signed_and_no_change_is_told_as_none(mm, unit, text):
    assert depth(mm, unit) == text


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("set_by", ["each", "string"])
def test_members_stand_in_the_order_they_are_set_with_the_schedules_numbers(unit, set_by):
    plan = plan_named("mixed floor")
    schedule = schedule_of(plan, set_by=set_by, line="nearest")
    lines = members_text(schedule, unit).splitlines()
    rows = [re.split(r"\s{2,}", line.strip()) for line in lines if re.match(r"\s+J\d+ ", line)]
    assert [row[0] for row in rows[:2]] == ["J1", "J12"]
    assert [row[1] for row in rows[:3]] == ["first", "first", "to string" if set_by == "string" else "by offset"]
    table = schedule.members.set_index("member")
    assert len(rows) == len(table)
    nearest = INCH / 64 if unit == "in" else 0.1
    for row in rows:
        member = table.loc[row[0]]
        for text, name in zip(row[2:5], ("raise_first_mm", "raise_last_mm", "raise_most_mm"), strict=True):
            assert parse_length(text, unit) == pytest.approx(member[name], abs=nearest)
        if row[5] != "-":
            assert parse_length(row[5], unit) == pytest.approx(member["take_down_mm"], abs=nearest)
        else:
            assert member["take_down_mm"] < nearest
    assert "in the middle third of the span" in flat("\n".join(lines))


def test_what_the_members_come_to_is_told_with_limits_and_spots():
    plan = plan_named("mixed floor")
    schedule = schedule_of(plan)
    words = flat(members_text(schedule, "mm"))
    assert "with all of them set so" in words
    for row in schedule.as_set.itertuples():
        assert re.search(rf"{row.limit} +\S+ mm +{row.allowed_mm:.3g} mm +{'PASS' if row.passes else 'FAIL'}", words)
    some = flat(members_text(schedule.only({"J2", "J3"}), "in"))
    assert "Stay as they are, no place over them being sistered: J1, J4," in some
    assert not re.search(r"J4 +(first|by offset)", some)


def test_shims_say_where_to_start():
    plan = plan_named("ceiling")
    schedule = schedule_of(plan)
    said = flat(members_text(schedule, "mm"))
    least = schedule.shims.loc[schedule.shims["shim_mm"].idxmin()]
    assert f"{len(schedule.shims)} crossings" in said
    start = re.search(r"start where (\S+) crosses (\S+)\.", said)
    row = schedule.shims[(schedule.shims["strap"] == start[1]) & (schedule.shims["member"] == start[2])].iloc[0]
    assert row["shim_mm"] == pytest.approx(least["shim_mm"])


def test_the_rows_for_a_notebook_are_those_of_the_table():
    plan = plan_named("mixed floor")
    rows = patch_rows(plan, "in")
    assert rows["patch"].tolist() == plan.patches["name"].tolist()
    printed = block(plan_report(plan, "in"), "Patches")
    for row in rows.to_dict("records"):
        line = next(line for line in printed.splitlines() if line.split()[:1] == [row["patch"]])
        assert all(row[name] in line for name in ("do", "along x", "along y", "area", "deepest", "volume"))


def test_a_plan_of_the_planner_is_told_whole():
    x, y = (a.ravel() for a in np.meshgrid(np.arange(9) * 500.0, np.arange(5) * 500.0))
    trough = flatness.make_survey(x, y, np.where(np.abs(x - 2000) < 600, -8.0, 0.0), accuracy=0.2)
    limits = flatness.straightedge_limit(2000, 3.0)
    beneath = Beneath("sheathing", may_be_planed=True)
    plan = plan_corrections(trough, limits=limits, spacing=500, headings=4, draws=40, beneath=beneath)
    for unit in UNITS:
        text = plan_report(plan, unit)
        assert max(map(len, text.splitlines())) <= 80
        assert not re.search(r"\d\.\d{4}", text)
        for note in plan.notes:
            assert " ".join(note.lower().split()[:3]) in flat(text).lower()


def test_a_least_work_that_nobody_sought_is_not_told_as_a_broken_sentence():
    plan = dataclasses.replace(plan_named(next(iter(PLANS))), strategy="level", flat_cost=math.nan)
    assert "The least work" not in beside_text(plan, None, "", "in")
    assert "No other plane meets all these terms." in beside_text(plan, None, "", "in")
    assert "The least work: not known, for it was stopped." in flat(beside_text(plan, None, "for it was stopped", "in"))
    assert beside_text(dataclasses.replace(plan, flat_cost=1.0), None, "", "in") == ""
