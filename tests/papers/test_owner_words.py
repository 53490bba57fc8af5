"""What the owner is told beyond the verdict: what fails at doors and stairs, what missed the plan, what to check."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pandas as pd
import pytest
from shapely import box

import flatness
import plan_rooms
from flatness.charts.differences import drawn_off, is_blank, one_datum, plane_says
from flatness.job.reading import read_job
from flatness.job.records import Page
from flatness.job.running import run_job
from flatness.job.values import Price
from flatness.papers.owner import days_of, head_of, owner_page, rows_of, work_takes
from flatness.papers.owner_words import (
    about,
    about_area,
    at_most,
    doors_and_stairs,
    exactly,
    looked_at,
    paragraphs,
    title_of,
    verdict_after,
    verdict_sentence,
    was_done,
    will_be,
    will_be_done,
)
from flatness.planning.constraints import Rates
from flatness.planning.plan import ACTIONS
from flatness.surface.lattice import make_surface
from flatness.words.comparisons import answer_of, outcomes_of, share_compared, to_do_again

INCH = 25.4


def survey_of(height, step=300.0, size=(11, 9), **attributes):
    x, y = np.meshgrid(np.arange(size[0]) * step, np.arange(size[1]) * step)
    attributes = {"title": "Room", "unit": "mm", "accuracy": 0.3, **attributes}
    return flatness.make_survey(x, y, height(x, y), **attributes)


def trough(depth, **attributes):
    """A V-shaped trough along y, 3 m wide: under a bar of length L up to that, the gap is depth x L / 3 m."""
    return survey_of(lambda x, y: -depth * (1 - np.abs(x - 1500) / 1500), **attributes)


# doors, stairs, thresholds, reveals

JOB = """
title = "Two rooms"
show = "in"
limits = [{ kind = "straightedge", length = "6 ft", allowed = "1/2 in", name = "bar" }]
draws = 0
[surveys]
before = "before.csv"
[plan]
surface = "as-read"
aim = 1.0
"""
LAYER = '[[layers]]\nname = "oak"\nthickness = "3/4 in"\n'
DOOR = '[[door]]\nname = "door to the hall"\nat = ["600 mm", "600 mm"]\ngap = "{gap}"\nleast = "1/4 in"\n'
STAIR = '[[stair]]\nname = "stair to the attic"\nat = ["900 mm", "900 mm"]\nfloor_is = "top"\nrisers = {risers}\n'
STEP = '[[threshold]]\nname = "opening"\nat = ["0", "600 mm"]\nnext_height = "0"\nallowed = "{allowed}"\n'
HEAD = '[[headroom]]\nname = "under the beam"\nat = ["900 mm", "900 mm"]\nclear = "7 ft"\n'
TRIM = '[[reveal]]\nname = "plinth"\nstart = ["0", "0"]\nend = ["3 m", "0"]\nnominal = "1/4 in"\n{tolerance}\n'


def job_of(folder, *parts, height=lambda x, y: 0 * x):
    flatness.write_survey(survey_of(height), folder / "before.csv", overwrite=True)
    (folder / "job.toml").write_text(JOB + "".join(parts))
    return run_job(read_job(folder / "job.toml"))


@pytest.mark.parametrize(
    ("part", "name", "says"),
    [
        # nothing is to be done on a flat floor, so that all rises by the 3/4 in of oak
        (DOOR.format(gap="3/4 in"), "Door to the hall", "the door strikes the floor"),
        (DOOR.format(gap="7/8 in"), "Door to the hall", "about 1/8 inch is left under it, and at least 1/4 inch"),
        (
            STAIR.format(risers="[190, 190, 190]").replace("190", "'190 mm'"),
            "Stair to the attic",
            "steps differ by about 3/4 inch, and up to 3/8 inch is allowed",
        ),
        (STAIR.replace("risers = {risers}\n", ""), "Stair to the attic", "nobody can say whether its steps stay alike"),
        (STEP.format(allowed="1/4 in"), "Opening", "about 3/4 inch above the next room's there, and up to 1/4 inch"),
        (HEAD, "Under the beam", "nobody has said what is needed"),
        (TRIM.format(tolerance=""), "Plinth", "nobody has said how even it has to be"),
    ],
)
def test_each_thing_that_fails_or_that_nobody_can_judge_is_told(tmp_path, part, name, says):
    job = job_of(tmp_path, LAYER, part)
    ((asks, told),) = doors_and_stairs(job, "in")
    assert asks == name
    assert says in told
    assert told.startswith("Done as planned")
    assert "not measured afterwards" in doors_and_stairs(job, "in", past=True)[0][1]
    page = owner_page(job.assessment, job.plan, job=job, unit="in")
    assert says in page.html.replace("&#39;", "'")
    assert "<title>Two rooms</title>" in page.html  # the job's own title


def test_a_trim_along_a_dip_is_off_by_its_depth(tmp_path):
    # level trim over a V that is 6 mm deep: the height that is least off leaves 3 mm either way
    job = job_of(
        tmp_path,
        TRIM.format(tolerance='tolerance = "1/16 in"'),
        height=lambda x, y: -6.0 * (1 - np.abs(x - 1500) / 1500),
    )
    (told,) = (says for asks, says in doors_and_stairs(job, "mm") if asks == "Plinth")
    assert "off by about 3 mm, and up to 1/16 inch (about 2 mm) is agreed" in told


def test_where_all_pass_one_line_says_so_and_none_without_any(tmp_path):
    job = job_of(tmp_path, LAYER, DOOR.format(gap="2 in"), STEP.format(allowed="1 in"))
    ((_, told),) = doors_and_stairs(job, "in")
    assert told == "Done as planned, all 2 that the job names are as they should be."
    assert doors_and_stairs(job_of(tmp_path, LAYER), "in") == []
    some = doors_and_stairs(job_of(tmp_path, LAYER, DOOR.format(gap="2 in"), STEP.format(allowed="1/4 in")), "in")
    assert [asks for asks, _ in some] == ["Opening"]
    assert some[0][1].endswith("The other one that the job names is as it should be.")


# what was done against the plan


def compared_with(rows, errors=0.1, surface="floor"):
    """A comparison whose plan has these patches: (name, planned, done, status)."""
    survey = survey_of(lambda x, y: 0 * x, surface=surface)
    found = flatness.compare(survey, survey, align="none")
    table = pd.DataFrame(
        [
            {
                "what": "patch",
                "name": name,
                "planned_mm": planned,
                "done_mm": done,
                "rest_mm": done - planned,
                "error_mm": errors,
                "x_mm": 1524.0,
                "y_mm": 914.4,
                "worst_x_mm": 1524.0,
                "worst_y_mm": 914.4,
                "set_mm": 0.0,
                "measured_mm": done - planned,
                "off_mm": done - planned,
                "stations": 12,
                "agreeing": 3,
                "status": status,
                "sure": True,
            }
            for name, planned, done, status in rows
        ]
    )
    return dataclasses.replace(found, plan=table)


def test_a_place_that_is_off_is_named_and_one_too_small_to_tell_is_not_counted():
    inch = [
        ("P1", 4.0, 4.1, "within tolerance"),
        ("P2", 2.0, 0.0, "cannot tell"),
        ("P3", -1.5875, -6.35, "over"),
        ("P4", 0.5, 0.0, "cannot tell"),
        ("P5", 3.175, 0.0, "not touched"),
    ]
    told = was_done(compared_with(inch), "in")
    assert "5 places were planned." in told
    # 6.35 mm off where 1.5875 mm was to come off: 4.7625 mm, 3/16 in
    assert "Not as planned: place 3. At 5 ft along x, 3 ft along y the floor is 3/16 inch too low" in told
    assert "3 of 12 places read in it are as they should be." in told
    assert "place 5, where nothing seems to have been done. At 5 ft along x, 3 ft along y the floor is 1/8 inch" in told
    assert "As planned: 1 of them." in told
    assert "Of 2 it cannot be told" in told


@pytest.mark.parametrize(
    ("surface", "up", "down"),
    [("floor", "too high", "too low"), ("ceiling", "too low", "too high"), ("wall", "too far out", "too far back")],
)
def test_what_must_be_done_again_stands_first(surface, up, down):
    rows = [
        ("P1", 4.0, 4.1, "within tolerance"),
        ("P2", -6.35, 0.0, "not touched"),
        ("P3", 3.175, 0.0, "short"),
        ("P4", 0.5, 0.0, "cannot tell"),
        ("P5", 4.0, np.nan, "not surveyed"),
    ]
    found = compared_with(rows, surface=surface)
    along, across = ("from the left", "up") if surface == "wall" else ("along x", "along y")
    at = f"at 5' 0\" {along}, 3' 0\" {across}."
    assert to_do_again(found, "in")[:3] == [
        "To do again: 2 of 5 places; 1 within tolerance.",
        f'P2, not touched: 1/4" {up} {at}',
        f'P3, short: 1/8" {down} {at}',
    ]
    rest = " ".join(to_do_again(found, "in")[3:])
    assert "Not known: P4" in rest
    assert "Not known: P5 (nothing was read there)" in rest
    assert to_do_again(dataclasses.replace(found, plan=None), "in") == []


def test_a_place_flatter_than_planned_is_good_news_and_not_to_be_redone():
    # a hollow 12 mm deep, planned to be filled to 4 mm below the rest, and filled whole: 4 mm over, and flat
    survey = survey_of(lambda x, y: np.where((np.abs(x - 1500) < 400) & (np.abs(y - 1200) < 400), -12.0, 0.0))
    plan = plan_rooms.plan_of(
        survey,
        lambda x, y, z: np.where(z < -6, 8.0, 0.0),
        lambda m, x, y: np.where(m > 0, "fill", ACTIONS[0]),
        limits=tuple(bars(2000.0, allowed=9.0)),
    )
    flat = survey_of(lambda x, y: 0 * x)
    found = flatness.compare(survey, flat, align="none", plan=plan, limits=list(plan.limits), draws=20)
    assert found.plan.query("what == 'patch'")["status"].tolist() == ["over"]
    (one,) = outcomes_of(found)
    assert (one.answer, one.better) == ("accept", True)
    told = was_done(found, "mm")
    assert "Better than planned: place 1" in told
    assert "Not as planned" not in told
    assert answer_of(found, [one]) == ("pass", "Accept.")
    # left as it was, it is to be done again
    as_found = flatness.compare(survey, survey, align="none", plan=plan, limits=list(plan.limits), draws=20)
    again = outcomes_of(as_found)
    assert [(other.answer, other.untouched) for other in again] == [("redo", True)]
    assert answer_of(as_found, again) == ("fail", "Redo 1 place, then accept.")


@pytest.mark.parametrize("share", [0.5, 0.75, 1.0])
def test_the_share_compared_is_that_of_the_room(share):
    def half(x, y):
        return 0 * x

    whole = survey_of(half, size=(13, 9), outline=box(0, 0, 3600, 2400))
    part = survey_of(half, size=(round(12 * share) + 1, 9), outline=box(0, 0, 3600, 2400))
    found = flatness.compare(whole, part, align="none")
    # within half a step of the lattice, 300 mm at most, of the edge
    assert share_compared(found) == pytest.approx(share, abs=150 / 3600 + 0.01)


def test_what_changed_though_nothing_was_planned_there_is_told():
    found = compared_with([("P1", 4.0, 4.0, "within tolerance")])
    damage = {
        "what": "elsewhere",
        "name": "1",
        "planned_mm": 0.0,
        "done_mm": -9.6,
        "rest_mm": -9.6,
        "error_mm": 0.4,
        "area_mm2": 12 * 304.8**2,
        "x_mm": 1524.0,
        "y_mm": 914.4,
        "status": "not planned",
        "sure": True,
    }
    told = was_done(dataclasses.replace(found, plan=pd.concat([found.plan, pd.DataFrame([damage])])), "in")
    assert "Nothing was planned at 5 ft along x, 3 ft along y, and yet 3/8 inch off was measured there" in told
    assert "over about 12 square feet." in told
    assert "1 place was planned." in told
    assert "Nothing was planned" not in was_done(found, "in")


def test_what_nobody_measured_again_is_told():
    told = was_done(compared_with([("P1", 4.0, 4.0, "within tolerance"), ("P2", 4.0, np.nan, "not surveyed")]), "mm")
    assert "As planned: 1 of them." in told
    assert "Not measured afterwards: 1 of them." in told


@pytest.mark.parametrize("past", [False, True])
def test_past_work_is_told_in_the_past(past):
    survey = survey_of(lambda x, y: 0 * x, outline=box(0, 0, 3000, 2400))
    plan = plan_rooms.plan_of(
        survey, lambda x, y, z: np.where(x < 1000, 6.0, 0.0), lambda m, x, y: np.where(m > 0, "fill", ACTIONS[0])
    )
    told = will_be_done(plan, "mm", past)
    assert ("was to be filled" in told, "will be" in told) == (past, not past)
    assert ("It was to take" in told, "It takes" in told) == (past, not past)


# one limit before and after


def bars(*lengths, allowed=5.0):
    return [flatness.straightedge_limit(length, allowed, name=f"bar {length}") for length in lengths]


def ridge(height):
    """A ridge one reading wide: a bar that lies over it and on the ground L away is off it by 1 - 0.3 m / L there."""
    return survey_of(lambda x, y: np.where(x == 1500, height, 0.0))


LIMITS = [*bars(3000.0), *bars(1200.0, allowed=2.5)]


def test_before_and_after_speak_of_the_same_bar():
    # under 3 m the whole depth of a V, 20 of 5; under 1.2 m 0.4 of it, 8 of 2.5 (closed form)
    before = flatness.assess(trough(20.0), LIMITS, draws=0)
    # 2 x 0.8 of 5 under 3 m, which reaches 1.5 m to either wall; 2 x 0.75 of 2.5 under 1.2 m
    after = flatness.assess(ridge(2.0), LIMITS, draws=0)
    assert (before.governing.limit.name, after.governing.limit.name) == ("bar 3000.0", "bar 1200.0")
    told = verdict_after(before, after, "mm")
    assert "3 m long the largest gap is about 2 mm" in told
    assert "1.2 m" not in told


def test_another_limit_that_fails_after_the_work_is_told_too():
    before = flatness.assess(trough(20.0), LIMITS, draws=0)
    after = flatness.assess(ridge(4.0), LIMITS, draws=0)  # 3.2 of 5, and 3 of 2.5
    assert [one.verdict for one in after.judged] == ["pass", "fail"]
    told = verdict_after(before, after, "mm")
    assert told.startswith("The floor is not flat enough")
    assert re.search(r"1\.2 m long .* 3 mm.*2\.5 mm is allowed\. Under a straight bar 3 m long .* 3 mm, .* 5 mm", told)
    assert "3 m long the largest gap was about 20 mm" in verdict_sentence(before, "mm", "was")


# a plan is told as surely as its verdict


def planned_with(*rows):
    survey = survey_of(lambda x, y: 0 * x, outline=box(0, 0, 3000, 2400))
    limits = tuple(bars(*(length for length, *_ in rows)))
    plan = plan_rooms.plan_of(survey, lambda x, y, z: 0 * x, lambda m, x, y: np.full(m.shape, "leave"), limits=limits)
    after = plan.after.copy()
    for i, (_, value, chance, verdict) in enumerate(rows):
        names = ["after_mm", "after", "likely_mm", "likely", "chance", "verdict", "passes"]
        after.loc[i, names] = [*[value] * 4, chance, verdict, value <= 5.0]
    return dataclasses.replace(plan, after=after)


def test_a_plan_is_told_as_surely_as_its_verdict():
    sure = will_be(planned_with((3000.0, 2.0, 0.99, "pass")), "mm")
    assert "should be flat enough" in sure
    assert "chance" not in sure
    doubtful = will_be(
        planned_with((3000.0, 2.0, 0.44, "undecided"), (1200.0, 1.0, 0.12, "undecided")), "mm", "bar 3000.0"
    )
    assert "should be" not in doubtful
    assert doubtful.startswith("It is not sure")
    assert re.search(r"3 m long .* 44 %; .*1\.2 m long .* 12 %", doubtful)
    assert "measured again afterwards" in doubtful
    fails = will_be(planned_with((3000.0, 2.0, 0.99, "pass"), (1200.0, 7.0, 0.01, "fail")), "mm", "bar 3000.0")
    assert fails.startswith("Even done as planned, the floor will not be flat enough")
    assert "7 mm" in fails


def test_what_is_likely_is_told_and_not_what_the_plan_alone_comes_to():
    plan = planned_with((3000.0, 2.0, 0.0, "fail"))
    plan.after.loc[0, ["likely_mm", "likely"]] = 6.4
    says = will_be(plan, "mm", "bar 3000.0")
    assert "comes to about 6 mm, and up to 5 mm is allowed; the chance that it really keeps within that is 0 %" in says
    found = flatness.assess(trough(20.0), plan.limits, draws=0)
    assert rows_of(found, plan, None, "mm")[0][0][4] == "6 mm"


def test_a_plan_that_no_limit_was_named_for_says_so_and_how_it_lies():
    survey = survey_of(lambda x, y: 0.004 * x, outline=box(0, 0, 3000, 2400))
    plan = plan_rooms.plan_of(survey, lambda x, y, z: 0 * x, lambda m, x, y: np.full(m.shape, "leave"), limits=())
    says = will_be(plan, "mm")
    # 4 mm in a metre over 3 m
    assert says == (
        "The plan was held against no limit. From its lowest to its highest place the floor will differ by about "
        "12 mm, and it will be flat."
    )


def test_a_depth_too_small_to_say_is_told_as_less():
    assert [at_most(mm, "in") for mm in (-0.9, 4.9, -30.1)] == [
        "less than 1/16 inch",
        "up to 3/16 inch",
        "up to 1 1/8 inches",
    ]
    told = [about_area(feet * 304.8**2, "in") for feet in (0.2, 0.7, 7.8, 23.4, 1234)]
    assert told == [
        "a spot of under 1 square foot",
        "about 1 square foot",
        "about 8 square feet",
        "about 23 square feet",
        "about 1200 square feet",
    ]


def test_the_table_has_a_result_as_found_and_one_as_planned():
    plan = planned_with((3000.0, 2.0, 0.44, "undecided"))
    found = flatness.assess(trough(20.0), plan.limits, draws=0)
    rows, _ = rows_of(found, plan, None, "mm")
    told = dict(zip(head_of(plan, None), rows[0], strict=True))
    assert told["As found"] == "not good enough"
    assert told["As planned"] == "not settled yet (chance 44 %)"
    assert told["Planned"] == "2 mm"
    assert told["What is looked at"] == "Gap under a bar 3 m long"


def test_no_allowed_value_is_cut_and_no_limit_is_told_by_its_short_name():
    wall = survey_of(lambda x, y: np.where(x == 1500, 6.0, 0.0), surface="wall")
    rows, _ = rows_of(flatness.assess(wall, "din-row-6", draws=0), None, None, "in")
    for row in rows:
        # DIN 18202, table 3, row 6: 3, 5, 10, 20 and 25 mm at 0.1, 1, 4, 10 and 15 m
        assert row[1] == "3 mm at 100 mm, 5 mm at 1 m, 10 mm at 4 m, 20 mm at 10 m, 25 mm at 15 m"
        assert "din-row" not in " ".join(row)


def test_lengths_are_told_in_numbers_that_people_use():
    assert exactly(6.35, "mm") == "1/4 inch (about 6 mm)"
    assert exactly(5.0, "in") == "5 mm (about 3/16 inch)"
    assert looked_at(flatness.straightedge_limit(3048, 6.35), "in") == ("gap under a bar 10 feet long", "1/4 inch")
    # a bound is named only where the whole range keeps it
    assert about(1.0, "in", high=1.5) == "less than 1/16 inch"
    assert about(1.0, "in", high=3 / 32 * INCH) == "1/16 inch"


# what to check first


def test_doubts_of_the_surveys_come_first():
    found = flatness.compare(
        survey_of(lambda x, y: 0 * x, date="2026-03-12"), survey_of(lambda x, y: 0 * x, date="2026-03-02"), align="none"
    )
    told = paragraphs(found.surveys[0], None, None, found, "mm")
    assert told[0]["asks"] == "Check this first"
    assert "exchanged" in told[0]["says"]
    assert "Check this first" in owner_page(found.surveys[0], comparison=found).html


@pytest.mark.parametrize(("slips", "says"), [(0, ""), (1, "looks like a slip"), (2, "each may be a slip")])
def test_a_reading_that_looks_like_a_slip_is_told(slips, says):
    def height(x, y):
        wrong = np.isin(np.round(x + 10_000 * y), [600 + 10_000 * 600, 2400 + 10_000 * 1800][:slips])
        return 2 * np.sin(x / 900) - np.where(wrong, 9144.0, 0.0)

    told = paragraphs(survey_of(height), None, None, None, "in")
    again = [one["says"] for one in told if one["asks"] == "Read again"]
    assert len(again) == (slips > 0)
    assert says in "".join(again)
    assert all("30 feet" in one for one in again)


# titles, and the plane of the maps


def test_the_page_is_called_by_what_before_and_after_share():
    def called(before, after):
        pair = (survey_of(lambda x, y: 0 * x, title=before), survey_of(lambda x, y: 0 * x, title=after))
        return title_of(pair[0], flatness.compare(*pair, align="none"), None)

    assert called("Loft floor as found", "Loft floor, ridge planed") == "Loft floor"
    assert called("Back parlor, as found", "Back parlor after") == "Back parlor"
    assert called("Hall", "Kitchen") == "Hall"
    assert called("Loft 1 as found", "Loft 12 as found") == "Loft"


def test_days_on_one_datum_are_drawn_off_one_level_plane():
    x = np.arange(5) * 500.0
    before, after = (make_surface(np.tile(h, (4, 1)), 500.0) for h in (0.004 * x + 7, 0.001 * x + 3))
    drawn = drawn_off([before, after], "floor", True)
    assert np.nanmean(drawn[1].height) == pytest.approx(0.0)
    np.testing.assert_allclose(drawn[0].height - drawn[1].height, before.height - after.height)
    np.testing.assert_allclose(np.diff(drawn[1].height, axis=1), 0.5)  # it rises as it does: 1 mm a metre
    for one in drawn_off([before, after], "floor", False):
        np.testing.assert_allclose(one.height, 0.0, atol=1e-9)
    # the upright plane of a wall turns along x and never leans along y
    leaning = make_surface(0.002 * np.arange(4)[:, None] * 500.0 + 0.003 * x[None, :], 500.0)
    wall = drawn_off([leaning, leaning], "wall", True)[1]
    np.testing.assert_allclose(np.diff(wall.height, axis=1), 0.0, atol=1e-9)
    np.testing.assert_allclose(np.diff(wall.height, axis=0), 1.0)


def test_the_maps_say_off_which_plane_they_are():
    level = survey_of(lambda x, y: 0.001 * x, reference="level")
    string = survey_of(lambda x, y: 0.001 * x, reference="string")
    assert one_datum(level, None)
    assert one_datum(level, flatness.compare(level, level, align="none"))
    assert not one_datum(level, flatness.compare(level, level, align="tilt"))
    assert not one_datum(string, flatness.compare(string, string, align="none"))
    for way, words in (("none", plane_says("floor", True, "after the work")), ("tilt", plane_says("floor", False, ""))):
        assert words in owner_page(level, comparison=flatness.compare(level, level, align=way)).html


def test_what_was_not_measured_is_told_under_the_map():
    whole = survey_of(lambda x, y: 0 * x)
    assert not is_blank(whole.surface_at(), whole)
    wider = dataclasses.replace(whole, outline=box(0, 0, 3300, 2400))  # 0.3 m of 3.3 m without a reading
    assert is_blank(wider.surface_at(), wider)
    assert "What is white was not measured" not in owner_page(whole).html
    assert "What is white was not measured." in owner_page(wider).html


def test_hours_and_money_of_the_work_come_from_own_rates_and_from_what_an_hour_costs():
    hours, money = Rates(place=1.0), Rates(place=50.0, unit="$")
    dollars = Page(per_hour=Price(65.0, "$"))
    # 9 hours at $65 are $585; $585 at $65 an hour are 9 hours; 9 hours are two days of 8, one of 9
    assert work_takes(9.0, hours, Page()) == (9.0, "", "cost")
    assert work_takes(9.0, hours, dollars) == (9.0, "$585", "of work, at $65 an hour")
    assert work_takes(585.0, money, dollars) == (9.0, "$585", "cost")
    assert work_takes(585.0, money, Page()) == (0.0, "$585", "cost")
    assert work_takes(585.0, money, Page(per_hour=Price(60.0, "EUR"))) == (0.0, "$585", "cost")  # another money
    assert work_takes(9.0, hours, Page(cost="$640")) == (9.0, "$640", "cost, as agreed")
    for nobodys in (None, Rates()):
        assert work_takes(9.0, nobodys, dollars) == (0.0, "", "cost")
    assert [days_of(h, Page()) for h in (0.0, 1.0, 8.0, 8.3, 9.0, 16.0)] == [0, 1, 1, 1, 2, 2]
    assert days_of(9.0, Page(hours_a_day=9.0)) == 1
