"""The Check and Compare panels without a browser: their states, what they show, and that they leave no trace."""

import asyncio
import gc
import json
import math
import re
import resource
import threading
import time
import tomllib
from datetime import UTC, datetime
from html import unescape
from itertools import combinations
from pathlib import Path

import ipywidgets as w
import numpy as np
import openpyxl
import pytest
import shapely
from ipywidgets.widgets.widget import _instances
from matplotlib.backend_bases import MouseEvent
from scipy.interpolate import RegularGridInterpolator

import flatness
from flatness.comparison.records import read_record, rerun
from flatness.errors import ArgumentError, MeasureError, Problem
from flatness.limits.catalogue import finishes
from flatness.measures.straightedge import bar_by_hand
from flatness.notes import Note
from flatness.panels import check_panel, compare_panel, plan_panel
from flatness.panels.check_state import CheckState
from flatness.panels.controls import COLOURS, all_controls, label_of, problem_list
from flatness.panels.files import SurveyChoice
from flatness.panels.instrument import take_in_turn
from flatness.panels.state import NotReadyError, State
from flatness.surface.lattice import make_surface

pytestmark = pytest.mark.usefixtures("coarse_lattice")

SAMPLES = Path(__file__).parents[2] / "sample_surveys"
PUBLISHED = Path(__file__).parents[2] / "kit/flatness/limits/published.toml"
PACKING = "packing_room/hand_typed.csv"
# sample_surveys/README.md, the table of the six mistakes
MISTAKES = {"A5": "key", "C17": "date", "C23": "comma", "C28": "not a length", "C44": "C25", "C45": "outside"}


def text_of(widget):
    return unescape(re.sub(r"<[^>]+>", " ", widget.value))


def uploaded(path):
    data = path.read_bytes()
    one = {
        "name": path.name,
        "type": "text/csv",
        "size": len(data),
        "content": memoryview(data),
        "last_modified": datetime(2026, 1, 1, tzinfo=UTC),
    }
    return (one,)


@pytest.fixture(scope="module")
def check():
    panel = check_panel(SAMPLES / PACKING, "wood-glued", folders=[SAMPLES])
    yield panel
    panel.close()


@pytest.fixture
def packing(check):
    """The Check panel as it opens on the packing room."""
    if check.state.choice.name != PACKING:
        check.state.choice.choose(PACKING)
    check.state.finish, check.state.confidence, check.state.view = "wood-glued", 0.95, "heights"
    check.state.choose_unit("in")
    check.state.problems, check.state.pointer = (), None
    for pointer in check.pointers:
        pointer.forget()
    check.state.set_worst_bar()
    return check


@pytest.fixture(scope="module")
def glaze():
    panel = compare_panel(
        SAMPLES / "glaze_store/before.csv", SAMPLES / "glaze_store/after.csv", "resilient-concrete", folders=[SAMPLES]
    )
    yield panel
    panel.close()


# state


def test_an_exception_in_a_callback_becomes_a_sentence_with_its_remedy():
    state = State()

    def kit():
        raise ArgumentError("too short", value="3 mm", expected="100 mm", remedy="draw it longer")

    state.guard(kit)()
    assert [(p.what, p.remedy) for p in state.problems] == [("too short", "draw it longer")]
    state.guard(lambda: {}["a"])()
    assert "KeyError" in state.problems[0].what
    assert state.problems[0].remedy
    state.guard(lambda: None, clears=False)()
    assert state.problems
    state.guard(lambda: None)()
    assert state.problems == ()


def test_a_step_inside_another_does_not_clear_what_went_wrong():
    state = State()

    def outer():
        state.guard(lambda: 1 / 0)()
        state.guard(lambda: None)()

    state.guard(outer)()
    assert "ZeroDivisionError" in state.problems[0].what


def test_a_step_waits_for_the_one_before_it_in_another_thread():
    lock, choice = threading.RLock(), w.Dropdown(options=("none", "joist"))
    received = []
    choice.comm.on_msg = received.append
    take_in_turn(w.VBox([choice]), lock)
    message = {"content": {"data": {"method": "update", "state": {"index": 1}, "buffer_paths": []}}, "buffers": []}
    with lock:
        second = threading.Thread(target=received[-1], args=(message,))
        second.start()
        second.join(0.2)
        assert choice.value == "none"
    second.join(5)
    assert choice.value == "joist"


def test_the_unit_follows_the_survey_until_a_person_chooses():
    state = CheckState(folders=[SAMPLES])
    state.choice.choose("glaze_store/before.csv")
    assert state.unit == "mm"
    state.choice.choose(PACKING)
    assert state.unit == "in"
    state.choose_unit("mm")
    state.choice.choose("loft_floor/before.csv")
    assert state.unit == "mm"


@pytest.mark.parametrize("surface", ["floor", "wall", "ceiling"])
def test_finishes_are_in_plain_words_and_told_apart(surface):
    table = flatness.limits()
    table = table[table.surfaces.str.contains(surface) & (table.kind != "reference")]
    named = finishes(surface)
    assert set(named) == set(table.finish)
    assert len(set(named.values())) == len(named)
    said = tomllib.loads(PUBLISHED.read_text(encoding="utf-8"))["called"]
    assert set(said) & set(named)
    for key, words in named.items():
        purposes = table.purpose[table.finish == key]
        if key in said:  # what people say, else the standard's words
            assert words.lower() == said[key].split(";")[0].lower()
        else:
            assert all(purpose.lower().startswith(words.lower()) for purpose in purposes), words


def test_the_verdict_names_the_finish_as_people_say_it(packing):
    packing.state.choice.choose("loft_floor/before.csv")
    assert "is allowed for oak, glued down." in text_of(packing.verdict)  # published.toml


def test_a_file_with_mistakes_names_each_by_its_cell_and_leaves_no_survey():
    choice = SurveyChoice([SAMPLES])
    choice.choose(PACKING)
    assert choice.survey is not None
    choice.choose("packing_room/with_mistakes.csv")
    assert choice.survey is None
    assert {p.cell for p in choice.problems} == set(MISTAKES)
    for problem in choice.problems:
        assert MISTAKES[problem.cell] in problem.what, problem
    html = problem_list(choice.problems, "Mistakes")
    assert all(f"Cell {cell}" in html for cell in MISTAKES)
    assert 'role="alert"' in html


def test_problems_speak_the_unit_that_is_shown():
    far = Problem("too far off", value=Note("exact", mm=304.8), expected=Note("in-layers", most=12.7), remedy="read")
    for unit, said in (("mm", ("304.8 mm", "12.7 mm")), ("in", ("1' 0\"", '1/2"'))):
        assert all(one in unescape(problem_list([far], "No", unit)) for one in said)


def test_what_a_file_holds_cannot_break_out_of_the_page():
    choice = SurveyChoice()
    choice.upload("x.csv", b"# title: <script>alert(1)</script>\n# unit: in\nx,y,height\n0,0,<b>bad</b>\n")
    html = problem_list(choice.problems, "<i>")
    assert "<b>bad" not in html
    assert "<i>" not in html.split("<ol>")[0]


def test_an_upload_joins_the_list_and_its_correction_takes_its_place():
    choice = SurveyChoice()
    choice.upload("room.csv", (SAMPLES / "packing_room/with_mistakes.csv").read_bytes())
    assert len(choice.problems) == 6
    choice.upload("room.csv", (SAMPLES / PACKING).read_bytes())
    assert choice.names == ("room.csv (uploaded)",)
    assert len(choice.survey.points) == 30
    with pytest.raises(ArgumentError, match="not a survey file"):
        choice.upload("room.docx", b"x")


def test_a_finish_for_floors_is_dropped_when_the_survey_is_of_a_wall(packing):
    packing.state.choice.choose("gallery_walls/east.csv")
    assert packing.state.problems == ()
    assert packing.state.finish == ""
    assert packing.state.assessment is None
    assert "Choose the finish" in text_of(packing.verdict)
    assert "wood-glued" not in dict(packing.controls["finish"].options).values()
    with pytest.raises(NotReadyError, match="no finish"):
        packing.found  # noqa: B018


def test_a_cell_below_a_panel_without_a_survey_shows_the_message_and_no_traceback():
    state = CheckState(SAMPLES / "packing_room/with_mistakes.csv", "wood-glued")
    state.begin()
    with pytest.raises(NotReadyError) as raised:
        state.found()
    shown = "\n".join(raised.value._render_traceback_())
    assert all(f"cell {cell}" in shown for cell in MISTAKES)
    assert "Traceback" not in shown


def test_a_sheet_of_a_workbook_is_chosen_by_its_name(packing, tmp_path):
    book = openpyxl.Workbook()
    for name in ("ground", "first"):
        sheet = book.create_sheet(name)
        for line in (["# unit: mm"], ["x", "y", "height"], [0, 0, 0], [600, 0, 1], [0, 600, 2], [600, 600, 1]):
            sheet.append(line)
    book.save(tmp_path / "floors.xlsx")
    packing.chooser.upload.value = uploaded(tmp_path / "floors.xlsx")
    assert "ground, first" in text_of(packing.chooser.problems)
    assert packing.chooser.sheet.layout.display == ""
    packing.chooser.sheet.value = "first"
    assert packing.chooser.problems.value == ""
    assert len(packing.state.survey.points) == 4


# the straightedge laid by hand


def brute_gap(surface, start, end, count):
    """Every pair of contacts on a finely read line, every place between them."""
    t = np.linspace(0, 1, count + 1)[:, None]
    xy = np.array(start) + t * (np.array(end) - np.array(start))
    z = RegularGridInterpolator((surface.y, surface.x), surface.height)(xy[:, ::-1])
    return max(
        z[p] + (z[q] - z[p]) * (k - p) / (q - p) - z[k]
        for p, q in combinations(range(count + 1), 2)
        for k in range(p + 1, q)
    )


@pytest.mark.parametrize("ends", [((0, 0), (1500, 900)), ((1400, 100), (150, 850)), ((700, 900), (700, 0))])
def test_the_gap_by_hand_is_that_of_every_pair_of_contacts(ends):
    surface = make_surface(np.random.default_rng(3).normal(size=(7, 11)) * 4, 150.0)
    bar = bar_by_hand(surface, *ends, 3048.0)
    count = math.ceil(4 * bar.length / 150.0 - 1e-6)
    assert bar.gap == pytest.approx(brute_gap(surface, *ends, count), abs=1e-9)
    near, far = bar.placement.contacts
    at = bar.placement.at
    assert math.dist(near, at) + math.dist(at, far) == pytest.approx(bar.placement.span, abs=1e-6)


@pytest.mark.parametrize(("length", "far"), [(3000.0, 4000.0), (3000.0, 2000.0)])
def test_a_bar_on_an_arc_shows_the_closed_form(length, far):
    # an arc of radius R, hollow: L^2 / 8 R, of the bar or of the line drawn where that is shorter
    x = np.arange(0, 4801, 50.0)
    surface = make_surface(np.tile((x - 2000) ** 2 / 2e6, (3, 1)), 50.0)
    bar = bar_by_hand(surface, (0, 50), (far, 50), length)
    assert bar.length == pytest.approx(min(far, length))
    assert bar.gap == pytest.approx(min(far, length) ** 2 / 8e6, abs=1e-3)


def test_a_hump_shows_no_gap_between_contacts():
    x = np.arange(0, 3001, 100.0)
    surface = make_surface(np.tile(-((x - 1500) ** 2) / 2e6, (3, 1)), 100.0)
    assert bar_by_hand(surface, (0, 100), (3000, 100), 3048.0).placement is None


def test_a_bar_is_not_laid_over_a_hole_nor_on_one_point():
    height = np.zeros((5, 9))
    height[2, 4] = np.nan
    surface = make_surface(height, 200.0)
    with pytest.raises(MeasureError, match="opening"):
        bar_by_hand(surface, (0, 400), (1600, 400), 3048.0)
    with pytest.raises(ArgumentError, match="too close"):
        bar_by_hand(surface, (0, 0), (40, 0), 3048.0)
    assert bar_by_hand(surface, (0, 0), (1600, 0), 3048.0).gap == 0


# the Check panel


def test_the_verdict_is_that_of_python(packing):
    table = flatness.check(flatness.read_survey(SAMPLES / PACKING), "wood-glued").set_index("limit")
    shown = packing.found.table.set_index("limit")
    assert list(shown.verdict) == list(table.verdict)
    assert list(shown.chance) == list(table.chance)
    assert packing.found.verdict in text_of(packing.verdict).lower()
    worst, said = table.chance.min(), text_of(packing.table)
    assert f"{100 * worst:.0f} %" in said or (worst < 0.01 and "<1 %" in said)


def test_confidence_turns_the_verdict_as_the_chance_says(packing):
    packing.controls["confidence"].value = 0.8
    chances = packing.found.table.chance  # near another line of the verdict, more are drawn
    for judged, verdict, chance in zip(packing.found.judged, packing.found.table.verdict, chances, strict=True):
        # JCGM 106: prove it, or its contrary, or say that the readings cannot decide
        said = "pass" if chance >= 0.8 else "fail" if chance <= 0.2 + 1e-12 else "undecided"
        # a chance so near the line that its draws cannot tell the side is undecided too
        error = (chance * (1 - chance) / len(judged.used)) ** 0.5
        near = min(abs(chance - 0.8), abs(chance - 0.2)) < 2 * error
        assert verdict == said or (near and verdict == "undecided")


def test_the_worst_bar_is_the_straightedge_of_python(packing):
    worst = flatness.straightedge(packing.state.surface, packing.state.bar_length).worst
    assert packing.state.bar.gap == worst.gap
    assert packing.state.bar.placement.contacts == worst.contacts
    assert flatness.format_length(worst.gap, "in", 32).replace('"', " in") in text_of(packing.bar_words)


def mouse(panel, name, xy, button=None):
    """Do something with the mouse near a place; the place of the pixel that it was done at."""
    panel.map.canvas.draw()
    x, y = (int(pixel) for pixel in panel.axes().transData.transform(xy))
    MouseEvent(name, panel.map.canvas, x, y, button)._process()
    return tuple(panel.axes().transData.inverted().transform((x, y)).tolist())


def click(panel, xy):
    mouse(panel, "button_press_event", xy, 1)
    return mouse(panel, "button_release_event", xy, 1)


def test_two_clicks_lay_the_straightedge(packing):
    start = click(packing, (400.0, 500.0))
    assert "other" in text_of(packing.bar_words)
    assert packing.shown.body[2].get_xydata() == pytest.approx(np.array([start, start]))  # a mark, and no bar yet
    end = click(packing, (2000.0, 1200.0))
    bar = packing.state.bar
    assert bar.by_hand
    assert (*bar.start, *bar.end) == pytest.approx((*start, *end), abs=1e-6)
    assert bar.gap == bar_by_hand(packing.state.surface, start, end, packing.state.bar_length).gap
    assert packing.ends[0].value == flatness.format_length(start[0], "ft", 16)
    assert packing.shown.body[0].get_xydata() == pytest.approx(np.array([start, end]))


def test_dragging_lays_the_straightedge_and_shows_it_on_the_way(packing):
    start = mouse(packing, "button_press_event", (500.0, 2500.0), 1)
    way = mouse(packing, "motion_notify_event", (1500.0, 2000.0))
    assert packing.shown.body[0].get_xydata()[1] == pytest.approx(way)
    end = mouse(packing, "button_release_event", (1800.0, 1500.0), 1)
    assert (*packing.state.bar.start, *packing.state.bar.end) == pytest.approx((*start, *end), abs=1e-6)


def test_a_line_longer_than_the_straightedge_is_cut_to_it(packing):
    start, _ = click(packing, (400.0, 500.0)), click(packing, (3700.0, 2900.0))
    assert packing.state.bar.length == pytest.approx(packing.state.bar_length)
    assert packing.state.bar.start == pytest.approx(start, abs=1e-6)


def test_the_keyboard_lays_it_too_and_a_slip_is_told(packing):
    for field, text in zip(packing.ends, ("1'", "2' 6\"", "11'", "8 ft"), strict=True):
        field.value = text
    packing.lay.click()
    expected = bar_by_hand(packing.state.surface, (304.8, 762.0), (3352.8, 2438.4), packing.state.bar_length)
    assert packing.state.bar.gap == pytest.approx(expected.gap, abs=1e-9)
    packing.ends[0].value = "one foot"
    packing.lay.click()
    assert "From x" in text_of(packing.problems)
    assert "one foot" in text_of(packing.problems)
    packing.worst.click()
    assert packing.problems.value == ""


def test_what_is_typed_stays_when_the_panel_is_shown_anew(packing):
    packing.ends[0].value = "1'"
    packing.room.value = "641 x 479" if packing.room.value != "641 x 479" else "642 x 479"  # the screen is measured
    packing.views.value = "gap"
    assert packing.ends[0].value == "1'"


def spelled(text):
    return text.replace("' 0\"", " ft").replace("'", " ft").replace('"', " in")


def tape(mm):
    return spelled(flatness.format_length(mm, "ft", 8))


def test_pointing_reads_position_and_height_in_either_unit(packing):
    survey = packing.state.survey
    x, y, height, _ = survey.stations()
    k = 14
    at = mouse(packing, "motion_notify_event", (x[k], y[k]))
    assert f"{tape(at[0])} along x, {tape(at[1])} along y" in text_of(packing.here)
    packing.state.pointer = (float(x[k]), float(y[k]))
    said = text_of(packing.here)
    plane = flatness.fit_plane(*packing.state.surface.nodes(), "least-squares")
    off = height[k] - plane.at(x[k], y[k])
    assert f"{spelled(flatness.format_length(abs(off), 'in', 32))} {'proud' if off > 0 else 'low'}" in said
    assert f"height {spelled(flatness.format_length(height[k], 'in', 32))}" in said
    read = survey.points.reading[np.hypot(survey.points.x - x[k], survey.points.y - y[k]) < 1].mean()
    assert f"station here, {survey.quantity} {spelled(flatness.format_length(read, 'in', 32))} read" in said
    packing.units.value = "mm"
    assert "m along x" in text_of(packing.here)
    assert f"height {flatness.format_length(height[k], 'mm')}" in text_of(packing.here)


def test_the_unit_switch_changes_everything_at_once(packing):
    packing.units.value = "mm"
    shown = " ".join(
        [
            text_of(packing.bar_words),
            text_of(packing.chooser.about),
            *(e.value for e in packing.ends),
            packing.controls["bar_length"].value,
        ]
    )
    assert "mm" in shown
    assert not re.search(r"""\d(['"]| ft| in\b)""", shown.replace('(3/16")', "").replace('(1/8")', ""))
    assert all("[m" in label_of(field) for field in (*packing.ends, packing.controls["bar_length"]))
    assert packing.axes().get_xticklabels()[1].get_text().endswith("m")
    assert packing.profile.axes[0].get_xticklabels()[-1].get_text().endswith("m")
    packing.units.value = "in"
    assert all("[ft" in label_of(field) for field in (*packing.ends, packing.controls["bar_length"]))


@pytest.mark.parametrize("view", ["heights", "gap", "chance", "more readings"])
def test_a_view_that_was_drawn_is_only_shown_again(packing, view):
    packing.views.value = view
    figure, drawn = packing.map, packing.shown
    assert len(figure.axes) >= 2
    assert "Point at the map" in text_of(packing.here)
    packing.views.value = "heights" if view == "gap" else "gap"
    assert packing.map is not figure
    assert figure.canvas.layout.display == "none"
    packing.views.value = view
    assert packing.shown is drawn
    assert [one.canvas.layout.display for one in packing.maps.values()].count("") == 1
    assert packing.state.problems == ()


def test_the_verdict_says_number_place_and_what_is_next(packing):
    packing.state.choice.choose("loft_floor/before.csv")
    said, one = text_of(packing.verdict), packing.found.governing
    assert one.verdict == "fail"
    x, y = (tape(mm) for mm in one.finding.measured.at)
    likely = spelled(flatness.format_length(float(np.median(one.used)) * one.limit.allowed, "in", 32))
    assert f"{likely} under {tape(one.limit.length)}, {x} from the left wall, {y} from the door wall." in said
    assert f"{spelled(flatness.format_length(one.limit.allowed, 'in', 32))} is allowed" in said
    assert "plan_corrections.ipynb" in said
    assert 'role="region" aria-label="Verdict"' in packing.verdict.value


def test_the_places_over_the_limit_are_listed_worst_first(packing):
    state = packing.state
    gap, allowed = state.gaps().gap, state.allowed
    found = state.over()
    assert [mm for mm, _ in found] == sorted((mm for mm, _ in found), reverse=True)
    assert found[0][0] == np.nanmax(gap)
    # each area by flood fill: from a node over the limit to all eight neighbors
    todo, areas = set(zip(*np.nonzero(gap > allowed), strict=True)), 0
    while todo:
        areas, edge = areas + 1, [todo.pop()]
        while edge:
            j, i = edge.pop()
            near = {(j + dj, i + di) for dj in (-1, 0, 1) for di in (-1, 0, 1)} & todo
            todo -= near
            edge += near
    assert len(found) == areas
    assert text_of(packing.listed).count("gap") == min(areas, 9)


def test_nothing_old_is_seen_while_a_file_is_worked_out(packing):
    seen = []

    def look(change):
        if change["new"]:
            seen.append((change["new"], packing.verdict.value, packing.working.value, packing.working.layout.display))

    packing.state.observe(look, "working")
    packing.chooser.files.value = "loft_floor/before.csv"
    packing.state.unobserve(look, "working")
    assert any("before.csv" in text for text, *_ in seen)
    for text, verdict, cover, display in seen:
        assert text in verdict
        assert "FAIL" not in verdict
        assert (text in cover, display) == (True, "")
    assert packing.working.layout.display == "none"


def test_a_view_that_the_finish_does_not_give_says_why(packing):
    packing.controls["finish"].value = "concrete-flat"
    packing.views.value = "chance"
    words = " ".join(text.get_text() for text in packing.map.texts)
    assert "no chance to show" in " ".join(words.split())
    packing.views.value = "heights"
    assert packing.axes() is not None


def test_a_limit_agreed_for_this_job(packing):
    packing.controls["finish"].value = "agreed"
    assert packing.controls["agreed.allowed"].layout.display == ""
    packing.controls["agreed.allowed"].value = "1/2"
    packing.controls["agreed.length"].value = "6 ft"
    limit = packing.found.judged[0].limit
    assert (limit.allowed, limit.length) == (12.7, 1828.8)
    packing.controls["agreed.allowed"].value = "much"
    assert "much" in text_of(packing.problems)
    packing.controls["agreed.allowed"].value = "1/4"
    assert packing.found.judged[0].limit.allowed == pytest.approx(6.35)


def test_an_upload_with_mistakes_and_then_the_corrected_one(packing):
    upload = packing.chooser.upload
    upload.value = uploaded(SAMPLES / "packing_room/with_mistakes.csv")
    assert all(f"Cell {cell}" in text_of(packing.chooser.problems) for cell in MISTAKES)
    assert "No verdict yet" in text_of(packing.verdict)
    assert packing.state.bar is None
    upload.value = uploaded(SAMPLES / PACKING)
    assert packing.chooser.problems.value == ""
    assert packing.found.verdict in text_of(packing.verdict).lower()


# the Compare panel


def test_the_comparison_is_that_of_python_and_of_the_samples(glaze):
    found = glaze.found
    expected = flatness.compare(*found.surveys, limits="resilient-concrete")
    assert np.array_equal(found.difference, expected.difference, equal_nan=True)
    # sample_surveys/README.md: 8.5 mm filled at (1.2 m, 1.2 m), 5.5 mm ground off at (3.9 m, 2.4 m)
    glaze.state.pointer = (1200.0, 1200.0)
    said = text_of(glaze.here)
    assert "added" in said
    assert float(re.search(r"\+([\d.]+) mm", said)[1]) == pytest.approx(8.5, abs=2)
    for day, survey in zip(("before", "after"), glaze.found.surveys, strict=True):
        station = survey.points.iloc[7]
        glaze.state.pointer = (float(station["x"]), float(station["y"]))
        read = flatness.format_length(float(station["reading"]), glaze.state.unit, 32)
        assert f"{day}: station here, {survey.quantity} {read} read" in text_of(glaze.here)
    glaze.state.pointer = (3900.0, 2400.0)
    assert "taken off" in text_of(glaze.here)
    assert "turned: fail to pass" in text_of(glaze.verdicts)
    assert "BM1, BM2" in text_of(glaze.aligned)
    detection = flatness.format_length(float(np.nanmedian(found.detection)), "mm")
    assert f"at 95 %: {detection} in most places" in text_of(glaze.changed)


def test_a_record_is_saved_when_pressed_and_never_over_another(glaze, tmp_path):
    glaze._folder = tmp_path
    glaze.name.value = "first.json"
    assert list(tmp_path.iterdir()) == []
    glaze.save.click()
    assert {path.name for path in tmp_path.iterdir()} == {"first.json", "first.txt"}
    assert "first.json" in text_of(glaze.saved)
    assert rerun(tmp_path / "first.json").differences == ()
    before = (tmp_path / "first.json").read_bytes()
    glaze.save.click()
    assert "first.json" in text_of(glaze.problems)
    assert (tmp_path / "first.json").read_bytes() == before
    for name in ("", "../out.json", "x.csv"):
        glaze.name.value = name
        glaze.save.click()
        assert glaze.problems.value
    assert len(list(tmp_path.iterdir())) == 2


def test_surveys_that_were_uploaded_are_kept_beside_the_record(tmp_path):
    panel = compare_panel(align="none", records=tmp_path)
    panel.before.upload.value = uploaded(SAMPLES / "loft_floor/before.csv")
    panel.after.upload.value = uploaded(SAMPLES / "loft_floor/after.csv")
    assert panel.state.unit == "in"
    panel.save.click()
    assert {path.name for path in tmp_path.iterdir()} == {
        "record.json",
        "record.txt",
        "record-before.csv",
        "record-after.csv",
    }
    assert (tmp_path / "record-after.csv").read_bytes() == (SAMPLES / "loft_floor/after.csv").read_bytes()
    assert rerun(tmp_path / "record.json").differences == ()
    panel.close()


def test_surveys_that_cannot_be_compared_are_told_and_leave_no_comparison():
    panel = compare_panel(SAMPLES / "loft_floor/before.csv", SAMPLES / "loft_floor/after.csv", folders=[SAMPLES])
    assert "benchmark" in text_of(panel.problems)
    assert "Loft floor" in text_of(panel.before.about)
    assert "Loft floor" in text_of(panel.after.about)
    assert panel.changed.value == ""
    panel.controls["align"].value = "none"
    assert panel.problems.value == ""
    assert "Change is shown" in text_of(panel.changed)
    panel.after.files.value = "packing_room/with_mistakes.csv"
    assert "Cell C17" in text_of(panel.after.problems)
    assert panel.changed.value == ""
    assert panel.after.about.value == ""
    with pytest.raises(NotReadyError, match="C17"):
        panel.found  # noqa: B018
    panel.close()


@pytest.fixture
def raised(tmp_path):
    """A Compare panel of two surveys off datums 5 mm apart; between them a third of the floor was raised by 3 mm."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(9) * 500.0, np.arange(7) * 500.0))
    flat = 2 * np.sin(x / 900) * np.cos(y / 700)
    later = flat + 5 + np.where(x > 2600, 3.0, 0.0)
    for name, heights in (("before", flat), ("after", later)):
        labels = [f"P{k}" for k in range(len(x))]
        survey = flatness.make_survey(x, y, heights, label=labels, accuracy=0.1, unit="mm")
        flatness.write_survey(survey, tmp_path / f"{name}.csv")
    panel = compare_panel(tmp_path / "before.csv", tmp_path / "after.csv", align="offset", unit="mm", records=tmp_path)
    yield panel
    panel.close()


def test_the_datum_goes_by_places_that_are_said_not_to_have_changed(raised, tmp_path):
    panel, state = raised, raised.state
    assert panel.controls["unchanged"].value == ""
    panel.controls["unchanged"].value = "0, 500; 1 m, 1000; 2 m, 2.5 m; P9"  # P9 is at (0, 500) too: one place
    assert state.unchanged == ((0.0, 500.0), (1000.0, 1000.0), (2000.0, 2500.0), "P9")
    alignment = panel.found.alignment
    # the datums are 5 mm apart, and none of these places was raised; readings are good to 0.1 mm
    assert alignment.offset == pytest.approx(5, abs=0.1)
    assert "declared unchanged (3 places, 1 label)" in text_of(panel.aligned)
    found = panel.found
    low = found.x < 2400
    assert np.median(np.abs(found.difference[:, low])) < 0.1  # away from the step, which a surface rounds off
    assert np.median(found.difference[:, found.x > 3100]) == pytest.approx(3, abs=0.1)
    panel.save.click()
    assert rerun(tmp_path / "record.json").differences == ()
    # one that was raised: the datum follows it
    panel.controls["unchanged"].value = "4 m, 1 m"
    assert panel.found.alignment.offset == pytest.approx(8, abs=0.2)
    panel.forget.click()
    assert (state.unchanged, panel.controls["unchanged"].value) == ((), "")
    assert "agree with one another" in text_of(panel.aligned)
    # three stations for a tilt, not on one line
    panel.controls["align"].value = "tilt"
    panel.controls["unchanged"].value = "0, 0; 1 m, 0"
    assert "needs 3" in text_of(panel.missing)
    assert panel.problems.value == ""
    assert "agree with one another" in text_of(panel.aligned)
    panel.controls["unchanged"].value = "0, 0; 1 m, 0; 2 m, 0"
    assert "one line" in text_of(panel.problems)
    assert panel.found is not None  # the map stays, so that another place can be clicked on it
    panel.controls["unchanged"].value = "0, 0; 1 m, 0; 2 m, 3 m"
    assert panel.problems.value == panel.missing.value == ""
    assert panel.found.alignment.tilt_x == pytest.approx(0, abs=0.2)
    panel.controls["align"].value = "none"
    assert panel.places.layout.display == "none"
    assert panel.found.alignment.way == "none"
    panel.after.files.value = ""
    assert state.unchanged == ()


def test_places_are_clicked_on_the_map_and_numbered_there(raised):
    def click(xy):
        x, y = raised.axes().transData.transform(xy)
        for name in ("button_press_event", "button_release_event"):
            MouseEvent(name, raised.map.canvas, x, y, 1)._process()

    click((1000, 1000))
    assert raised.state.unchanged == ()
    raised.controls["clicking"].value = True
    click((1000, 1000))
    click((2000, 2500))
    numbers = [float(one) for one in re.findall(r"([\d.]+) m", raised.controls["unchanged"].value)]
    assert numbers == pytest.approx([1, 1, 2, 2.5], abs=0.0101)  # a pixel is about 11 mm
    assert raised.found.alignment.offset == pytest.approx(5, abs=0.1)
    assert {"1", "2"} <= {text.get_text() for text in raised.axes().texts}
    marks = [line.get_xydata()[0].tolist() for line in raised.axes().lines if line.get_marker() == "s"]
    assert np.array(marks[-2:]) == pytest.approx(np.array([[1000, 1000], [2000, 2500]]), abs=10.1)


@pytest.mark.parametrize(("typed", "told"), [("1 m, 2 m, 3 m", "4ft,6ft"), ("1 m, wide", "wide"), ("Q7", "Q7")])
def test_what_is_no_place_is_told_with_its_remedy(raised, typed, told):
    raised.controls["unchanged"].value = typed
    assert told in text_of(raised.problems)
    assert raised.found.alignment.offset == pytest.approx(5, abs=0.5)


def plan_file(path, x, y, patches):
    """A saved plan: patches (name, polygon as text, fill [mm]) on a lattice of 100 mm."""
    lattice = [np.arange(0, axis.max() + 1, 100.0) for axis in (x, y)]
    change = np.zeros((len(lattice[1]), len(lattice[0])))
    for _, outline, fill in patches:
        inside = shapely.contains_xy(shapely.from_wkt(outline), *np.meshgrid(*lattice))
        change[inside] = fill
    whole = {"plan": "flatness plan", "form": 1, "title": "", "surface": "floor", "strategy": "", "members": None}
    whole |= {"x_mm": lattice[0].tolist(), "y_mm": lattice[1].tolist(), "change_mm": change.tolist()}
    whole["patches"] = [{"name": name, "action": "fill", "outline_mm": outline} for name, outline, _ in patches]
    path.write_text(json.dumps(whole))


def test_the_work_is_held_against_a_plan_that_was_chosen(raised, tmp_path):
    # x beyond 2600 mm was raised by 3 mm, and nothing else was done
    done = ("P1", "POLYGON ((2610 -50, 4050 -50, 4050 3050, 2610 3050, 2610 -50))", 3.0)
    undone = ("P2", "POLYGON ((350 350, 1650 350, 1650 2650, 350 2650, 350 350))", 4.0)
    raised.controls["unchanged"].value = "0, 500; 1 m, 1000; 2 m, 2.5 m"
    raised.units.value = "mm"
    points = raised.found.surveys[0].points
    plan_file(tmp_path / "both.json", points.x, points.y, [done, undone])
    raised.plan.upload.value = uploaded(tmp_path / "both.json")
    assert raised.state.problems == ()
    assert raised.state.view == "done"
    status = {row["name"]: row["status"] for row in raised.found.plan.to_dict("records")}
    assert (status["P1"], status["P2"]) == ("within tolerance", "not touched")
    said = text_of(raised.verdict)
    assert "REDO" in said
    assert "P2" in said
    assert "P1" not in said
    assert "P1, fill: accepted" in text_of(raised.done)
    assert "P2, fill: not touched" in text_of(raised.done)
    labels = {text.get_text() for text in raised.axes().texts}
    assert {"P1: within tolerance", "P2: not touched"} <= labels
    raised.save.click()
    assert (tmp_path / "record-plan.json").read_bytes() == (tmp_path / "both.json").read_bytes()
    assert rerun(tmp_path / "record.json").differences == ()
    (tmp_path / "broken.json").write_text("{}")
    raised.plan.upload.value = uploaded(tmp_path / "broken.json")
    assert "not a plan" in text_of(raised.plan.problems)
    assert raised.found.plan is None
    assert raised.state.view == "change"


def test_verdicts_that_are_ready_are_those_of_a_whole_comparison(glaze, monkeypatch):
    before, after = glaze.found.surveys
    glaze.controls["align"].value = "offset"
    expected = flatness.compare(before, after, align="offset", limits="resilient-concrete")
    monkeypatch.setattr("flatness.comparison.comparing.assess", None)  # nothing is judged again
    glaze.controls["align"].value = "tilt"
    glaze.controls["align"].value = "offset"
    assert glaze.state.problems == ()
    found = glaze.found
    assert found.verdicts.equals(expected.verdicts)
    assert np.array_equal(found.difference, expected.difference, equal_nan=True)
    assert [one.name for one in found.settings["limits"]] == [one.limit.name for one in found.assessments[0].judged]
    glaze.controls["align"].value = "benchmarks"


def test_two_events_at_once_run_one_after_the_other():
    state, inside, most = State(), [0], []

    def event():
        inside[0] += 1
        most.append(inside[0])
        time.sleep(0.02)
        inside[0] -= 1

    threads = [threading.Thread(target=state.guard(event)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == [1, 1, 1, 1]


@pytest.mark.parametrize("kind", ["check", "compare"])
def test_no_picture_is_drawn_while_the_state_is_being_changed(kind, packing, glaze):
    panel = {"check": packing, "compare": glaze}[kind]
    drawn = threading.Event()
    thread = threading.Thread(target=lambda: (panel.map.canvas.draw(), drawn.set()))
    with panel.state.lock:
        thread.start()
        assert not drawn.wait(0.3)
    thread.join(20)
    assert drawn.is_set()


def test_a_panel_follows_the_unit_of_its_surveys_until_the_switch_is_used():
    panel = check_panel(SAMPLES / "glaze_store/before.csv", folders=[SAMPLES])
    assert panel.units.value == "mm"
    panel.chooser.files.value = PACKING
    assert panel.units.value == panel.state.unit == "in"
    panel.units.value = "mm"
    panel.chooser.files.value = "gallery_floor/string_check.csv"
    assert panel.units.value == panel.state.unit == "mm"
    panel.close()


def test_a_limit_agreed_is_not_rounded_by_looking_at_it_in_the_other_unit(packing):
    packing.controls["finish"].value = "agreed"
    packing.controls["agreed.allowed"].value = "3/16"
    packing.units.value = "mm"
    packing.units.value = "in"
    assert packing.state.agreed["allowed"] == 4.7625  # 3/16 in, exactly
    assert packing.found.judged[0].limit.allowed == 4.7625


# both panels


def tree(widget):
    yield widget
    for child in getattr(widget, "children", ()):
        yield from tree(child)


def test_every_control_has_a_label_and_a_tooltip_and_numbers_their_unit(packing, glaze):
    for panel in (packing, glaze):
        controls = all_controls(panel.box)
        assert len(controls) >= 9
        for control in controls:
            assert label_of(control).strip(), control
            assert control.tooltip, label_of(control)
        for control in controls:
            if isinstance(control, w.Text) and "name" not in label_of(control):
                assert re.search(r"\[.+\]", label_of(control)), label_of(control)
        assert not any(isinstance(one, w.Output) for one in tree(panel.box))


def luminance(colour):
    # WCAG 2.1, relative luminance
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("name", COLOURS)
def test_words_stand_out_from_their_paper(name):
    high, low = sorted((luminance(colour) for colour in COLOURS[name]), reverse=True)
    assert (high + 0.05) / (low + 0.05) >= 4.5  # WCAG 2.1, 1.4.3


def test_verdicts_are_told_apart_without_colour(packing):
    from flatness.panels.check import MARKS, WORDS

    assert len(set(MARKS.values())) == len(set(WORDS.values())) == 3


def resident_mb():
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def test_many_updates_leave_nothing_behind(packing):
    packing.views.value = "gap"
    figure, views = packing.map, ("chance", "heights", "more readings", "gap")

    def update(count):
        for i in range(count):
            if i % 15 == 0:
                packing.views.value = views[i // 15 % 4]
            else:
                packing.state.set_bar((300 + 5 * i % 500, 400), (3000, 2000 - 3 * i % 900))
            if i % 30 == 0:
                packing.map.canvas.draw()
        packing.views.value = "gap"
        packing.worst.click()
        gc.collect()
        return len(_instances), len(figure.findobj()), len(packing.profile.findobj()), resident_mb()

    *before, memory = update(30)
    *after, later = update(180)
    assert after == before
    assert figure is packing.map
    assert later - memory < 40  # [MB]; a figure that is kept costs 3.6 MB each time


def test_a_closed_panel_leaves_no_widgets():
    gc.collect()
    before = set(_instances)
    panel = check_panel(SAMPLES / "gallery_floor/string_check.csv", folders=[SAMPLES])
    assert len(set(_instances) - before) > 50
    panel.close()
    left = [_instances[key] for key in set(_instances) - before]
    assert left == []


# what a bar shows between the stations


@pytest.fixture
def flat(tmp_path):
    """The file of a fine floor read every 2 ft."""
    x, y = np.meshgrid(np.arange(8) * 609.6, np.arange(11) * 609.6)
    survey = flatness.make_survey(x, y, 0.3 * np.sin(x / 900), accuracy=0.5, unit="in")
    flatness.write_survey(survey, tmp_path / "flat.csv")
    return tmp_path / "flat.csv"


def test_the_strips_are_listed_and_what_the_bar_showed_is_counted(flat):
    panel = check_panel(flat, "wood-glued")
    try:
        assert panel.found.between == "assumed"
        assert "fk-hollow" in panel.verdict.value
        assert len(panel.strips.fields) == len(panel.strips.box.children) == len(panel.state.strips) > 0
        assert all("from" in text_of(line.children[0]) for line in panel.strips.box.children)
        for field in panel.strips.fields:
            field.value = "none"
        panel.strips.button.click()
        assert (panel.found.verdict, panel.found.between) == ("pass", "spot-checked")
        assert "bar slid between" in text_of(panel.verdict)
        assert "fk-hollow" not in panel.verdict.value
        for field in panel.strips.fields:
            field.value = "three"
        panel.strips.button.click()
        assert "strip 1" in text_of(panel.problems)
        for field in panel.strips.fields:
            field.value = "8"  # inches, under a bar of 6 ft
        panel.strips.button.click()
        assert "not small beside the bar" in text_of(panel.problems)
        assert "strip 1" in text_of(panel.problems)
        for field in panel.strips.fields:
            field.value = ""
        panel.strips.fields[0].value = "5/16"
        panel.strips.button.click()
        assert panel.found.verdict == "fail"
    finally:
        panel.close()


def test_what_a_bar_showed_counts_in_a_comparison_for_its_day_alone(flat, tmp_path):
    panel = compare_panel(flat, flat, "wood-glued", align="none", records=tmp_path)
    try:
        _, after = panel.strips
        assert len(after.fields) == len(after.box.children) == len(panel.state.strips[1]) > 0
        for field in after.fields:
            field.value = "none"
        after.button.click()
        assert [one.between for one in panel.found.assessments] == ["assumed", "spot-checked"]
        assert [field.value for field in after.fields] == ["none"] * len(after.fields)  # to be changed
        assert panel.state.save("record.json", tmp_path)
        kept = read_record(tmp_path / "record.json")["settings"]["spot_checks"]
        assert [len(kept[day]) for day in ("before", "after")] == [0, len(after.fields)]
        after.fields[0].value = "5/16"
        after.button.click()
        assert [one.verdict for one in panel.found.assessments] == ["pass", "fail"]
    finally:
        panel.close()


def test_a_plan_counts_what_a_bar_showed(flat):
    panel = plan_panel(flat, "wood-glued", draws=50)
    try:
        assert len(panel.strips.fields) == len(panel.state.strips) > 0
        for field in panel.strips.fields:
            field.value = "none"
        panel.strips.button.click()
        assert panel.state.arguments(50)["spot_checks"] == panel.state.spot_checks
        assert [one.gap for one in panel.state.spot_checks] == [None] * len(panel.strips.fields)
        assert panel.state.arguments(0)["spot_checks"] == ()
        panel.strips.fields[0].value = "8"
        panel.strips.button.click()
        assert "not small beside the bar" in text_of(panel.problems)
    finally:
        panel.close()


def test_other_views_of_a_check_are_made_ready_beside_the_notebook(coarse_lattice, monkeypatch):
    """As in a notebook, whose loop goes on: the chances are there before anybody asks for them."""
    monkeypatch.setattr("flatness.panels.check_state.REST_S", 0.0)
    state = CheckState(SAMPLES / "loft_floor/before.csv", "wood-glued")
    seen = []

    async def notebook():
        state.begin()
        assert not state.worker.busy  # the verdict is shown first
        for _ in range(600):
            await asyncio.sleep(0.05)
            if state.made_ready is not None:
                break
        seen.append(state._latest["chances"][0])

    # a thread of its own: the browser tests leave a loop in this one
    one = threading.Thread(target=lambda: asyncio.run(notebook()))
    one.start()
    one.join(60)
    limit = state.found().pictured.limit
    assert seen == [(state.assessment, limit.name)]
    np.testing.assert_array_equal(state.chances(limit), state.assessment.chance_map(limit))
    assert not state.worker.busy
