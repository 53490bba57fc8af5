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
from flatness.framing.members import member_layout
from flatness.framing.schedule import member_schedule
from flatness.job.running import schedule_of as schedule_by_way
from flatness.lengths import parse_length
from flatness.notes import Note
from flatness.planning.constraints import FixedSpot, Rates
from flatness.planning.planner import plan_corrections
from flatness.planning.quantities import Setting
from flatness.planning.substrate import Beneath
from flatness.planning.ways import Ways
from flatness.words.plans import members_text, patch_rows, plan_report
from flatness.words.printed import area, depth, load, mass, rounded, setting, value_of, volume
from flatness.words.ways import answer, times
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
        from_x_mm=12 * FOOT + 6.625 * INCH,
        to_x_mm=14 * FOOT + 10.375 * INCH,
        from_y_mm=10 * FOOT + 3.125 * INCH,
        to_y_mm=11 * FOOT + 11.875 * INCH,
    )
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
    assert (chance, verdict) == ("71 %", "UNDECIDED *")  # nobody looked between


def test_what_is_printed_is_on_the_side_of_the_limit_that_was_judged():
    limit = flatness.straightedge_limit(3048, 4.7625)
    assert parse_length(value_of(limit, 4.77, 4.7625, "in"), "in") > 4.7625
    assert parse_length(value_of(limit, 4.76, 4.7625, "in"), "in") <= 4.7625
    number = flatness.f_number_limit(ff=25)
    assert float(value_of(number, 24.996, 25, "in")) < 25
    assert value_of(flatness.slope_limit(1 / 48, 600), 1 / 60, 1 / 48, "in") == "1:60"
    assert value_of(limit, math.nan, 4.7625, "in") == "-"


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


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("name", PLANS)
def test_the_report_begins_with_the_answer(name, unit):
    plan = plan_named(name)
    found = answer(plan, unit)
    assert flat(plan_report(plan, unit)).startswith(flat(str(found)))
    if plan.action("engineer").any():
        assert found.state == "ask"
        assert not re.search("PASS|FAIL|UNDECIDED", str(found))
    else:
        assert found.state == plan.verdict == "pass"
        assert found.opening == ("PASS as it is" if name == "nothing to do" else "PASS if done as drawn")
        # the least chance of its limits
        count = round(100 * plan.after["chance"].min())
        assert f"{'over 99' if count == 100 else count} times in 100" in found.text


def test_the_answer_counts_and_measures_the_places():
    plan = plan_named("sixty patches")
    ground = plan.patches["area_mm2"].sum() / FOOT**2
    assert f"plane 30 places, fill 30, {ground:.0f} of 320 sq ft." in str(answer(plan, "in"))
    assert answer(plan_named("nothing to do"), "in").text.startswith("nothing to do.")
    nothing = plan_report(plan_named("nothing to do"), "in")
    assert block(nothing, "Patches") == ""
    assert block(nothing, "Quantities") == ""


def test_a_plan_that_is_not_sure_says_so_and_one_that_fails_says_where():
    plan = plan_named("one patch")
    rows = plan.after.assign(chance=0.88, verdict="undecided")
    unsure = dataclasses.replace(plan, after=rows)
    table = pd.DataFrame([{"way": "patches", "why": ""}])
    ways = Ways(table, {"patches": unsure}, "patches", sure=False)
    assert str(answer(unsure, "in", ways)).startswith("NO SURE WAY: the best, fill 1 place")
    assert "passes 88 times in 100" in str(answer(unsure, "in", ways))
    assert str(answer(unsure, "in")).startswith("UNDECIDED if done as drawn")
    # and what to find out before any work is done
    ridge = Note("ridge-likely", axis="y", at=12 * FOOT, weight="36")
    in_doubt = dataclasses.replace(unsure, notes=(Note("none-sure", chance="88 %"),))
    assert str(answer(in_doubt, "in")).endswith(" First read halfway between the stations about the places.")
    in_doubt = dataclasses.replace(unsure, notes=(ridge, Note("none-sure", chance="88 %")))
    joists = " First say how the joists run: a ridge or hollow may run through y = 12' 0\"."
    assert str(answer(in_doubt, "in")).endswith(joists)
    # a pour that is sure, where places would be less work
    pour = dataclasses.replace(plan, way="overlay", notes=(ridge,))
    both = Ways(table, {"patches": in_doubt, "overlay": pour}, "overlay", sure=True)
    assert str(answer(pour, "in", both)).endswith(joists)
    assert "First" not in str(answer(dataclasses.replace(plan, notes=(ridge,)), "in", both))
    failing = dataclasses.replace(plan, after=plan.after.assign(chance=0.001, verdict="fail", likely_mm=9.525))
    said = str(answer(failing, "in"))
    assert said.startswith("FAIL even if done as drawn")
    assert 'wood-glued: 3/8", and 3/16" is allowed.' in said


@pytest.mark.parametrize(
    ("chance", "told"),
    [
        (0.9, "90 times"),
        (0.9499, "94 times"),
        (0.95, "95 times"),
        (0.9951, "over 99 times"),
        (1.0, "over 99 times"),
        (0.0, "less than once"),
        (0.004, "less than once"),
        (0.012, "once in"),
    ],
)
def test_a_chance_is_never_told_on_the_wrong_side_of_the_confidence(chance, told):
    assert times(chance, 0.95).startswith(told)


@functools.cache
def trough_ways():
    """All ways for a floor of one hollow on joists, as the planner finds them."""
    x, y = (a.ravel() for a in np.meshgrid(np.arange(9) * 500.0, np.arange(5) * 500.0))
    trough = flatness.make_survey(x, y, np.where(np.abs(x - 2000) < 600, -8.0, 0.0), accuracy=0.2)
    return flatness.plan_ways(
        trough,
        flatness.straightedge_limit(2000, 3.0),
        spacing=500,
        headings=4,
        draws=20,
        members=member_layout(0, 500, "y", until=4000.0, depth=235),
    )


@pytest.mark.parametrize("unit", UNITS)
def test_the_ways_stand_side_by_side_and_one_is_told(unit):
    ways = trough_ways()
    assert {"patches", "members", "overlay"} <= set(ways.plans)
    for way, plan in ways.plans.items():
        text = plan_report(plan, unit, schedule_by_way(plan, None), ways)
        assert max(map(len, text.splitlines())) <= 80
        lines = block(text, "Ways to do it").splitlines()
        rows = [re.split(r"\s{2,}", line.strip().removeprefix("> ").strip()) for line in lines[2:]]
        for row, found in zip(rows, ways.table[ways.table["why"] == ""].to_dict("records"), strict=False):
            assert int(row[1]) == found["places"]
            per = FOOT**2 if unit == "in" else 1e6
            assert float(row[2]) == pytest.approx(found["area_mm2"] / per, rel=0.06)
            assert row[-1].removeprefix("over ") == f"{min(99, round(100 * found['chance']))}"
        assert sum(line.startswith("  > ") for line in lines) == 1
        assert (block(text, "Patches") != "") == (way == "patches")
        assert (block(text, "Members, in") != "") == (way in ("members", "some-members"))
        assert (block(text, "Set all of it to one height") != "") == (plan.plane == "level")


def test_corners_are_told_as_they_are_chalked_and_set():
    plan = trough_ways().plans["patches"]
    text = block(plan_report(plan, "mm"), "Set these heights")
    for name in plan.patches["name"]:
        corners = plan.marks[(plan.marks["name"] == name) & (plan.marks["mark"] == "corner")]
        own = text[text.index(f"  {name} ") :].splitlines()[2 : 2 + len(corners)]
        for line, mark in zip(own, corners.to_dict("records"), strict=True):
            _, x, y, height, moved = re.split(r"\s{2,}", line.strip())
            assert parse_length(x, "m") == pytest.approx(mark["x_mm"], abs=0.5)
            assert parse_length(y, "m") == pytest.approx(mark["y_mm"], abs=0.5)
            assert parse_length(height, "mm") == pytest.approx(mark["set_mm"], abs=0.05 + 1e-9)
            assert parse_length(moved, "mm") == pytest.approx(mark["change_mm"], abs=0.1)


def test_a_stopped_search_is_told_once():
    stopped = dataclasses.replace(plan_named("mixed floor"), finished=False)
    assert flat(plan_report(stopped, "in")).count("stopped early") == 1
    noted = dataclasses.replace(stopped, notes=(Note("stopped-early"),))
    assert flat(plan_report(noted, "in")).count("stopped early") == 1


def test_rates_are_told_in_units_that_people_use():
    # 4 a place, 0.5 a ft2, 3 a ft3, 2 a ft, with taking off twice as dear; a foot is 304.8 mm
    rates = Rates(2.0, 1.0, 4.0, 0.5 / FOOT**2, 3 / FOOT**3, 2 / FOOT, 0.25, "$")
    plan = dataclasses.replace(plan_named("one patch"), settings={"rates": rates}, work=640.2)
    said = flat(plan_report(plan, "in"))
    told = "4 a place, 0.5 a ft2, 3 a ft3, 2 a ft of member, 0.25 a shim [$]; taking off 2 times; set by you."
    assert f"Rates: {told}" in said
    assert "$640. Passes 97 times in 100" in said


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
        plan_named("mixed floor"),
        notes=(Note("the-first", mm=1219.2),) * 2,
        fixed=(FixedSpot(FOOT, 2 * FOOT, name="sill", allowance=0.8),),
        settings={
            "deepest_fill": Setting("deepest_fill", 12.7, "mm", "set by you"),
            "least_patch": Setting("least_patch", FOOT**2, "mm2", "common practice, no source"),
        },
    )
    text = flat(plan_report(plan, "in"))
    assert text.count("The first 4' 0\".") == 1
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
        (3.175, "in", '+1/8"'),
        (-1.5875, "in", '−1/16"'),
        (INCH * 1.5, "in", '+1 1/2"'),
        (0.35, "in", '+1/64"'),
        (-0.1, "in", '−under 1/64"'),
        (0.0, "in", '0"'),
        (3.14, "mm", "+3.1 mm"),
        (-0.04, "mm", "−under 0.1 mm"),
        (math.nan, "mm", "-"),
    ],
)
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


def test_members_that_stay_are_named():
    plan = plan_named("mixed floor")
    some = flat(members_text(schedule_of(plan).only({"J2", "J3"}), "in"))
    assert re.search("Left as they are[^:]*: J1, J4,", some)
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
