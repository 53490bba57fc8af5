"""What the owner of a room is shown, without a browser: days in one register, sentences, exports, and no trace left."""

import argparse
import base64
import gc
import io
import json
import re
import resource
import tomllib
from datetime import UTC, datetime
from html import unescape
from pathlib import Path

import ipywidgets as w
import numpy as np
import pytest
from ipywidgets.widgets.widget import _instances
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.image import imread
from scipy.interpolate import RegularGridInterpolator
from shapely import box

import flatness
from flatness.commands import present as command
from flatness.errors import ArgumentError, FlatnessError
from flatness.files import SOFTWARE
from flatness.job.reading import read_job
from flatness.job.running import run_job
from flatness.job.schema import COMPARE
from flatness.panels.files import new_file, next_free
from flatness.panels.present import BESIDE, LIT, NUMBERS, present_panel
from flatness.panels.present_pictures import AFTER, FOUND, PLANNED, Picture, change_on, day_picture, days_of, one_scale
from flatness.papers.owner_words import paragraphs
from flatness.planning.plan import save_plan
from flatness.survey.readings import make_survey
from flatness.survey.walls import WallOpening, Walls

pytestmark = pytest.mark.usefixtures("coarse_lattice")

ROOT = Path(__file__).parents[2]
STYLE = (Path(__file__).parents[2] / "kit/flatness/panels/style.css").read_text(encoding="utf-8")
GLAZE = ROOT / "sample_surveys/glaze_store"
LOFT = ROOT / "sample_surveys/loft_floor"
# terms that whoever owns a room does not know
JARGON = (
    r"datum|residual|s\.d\.|standard deviation|confidence|verdict|lattice|node|straightedge|benchmark|patch\b|"
    r"station|interpol|kriging|percentile|likelihood|best-fit|proud|shy"
)
GROWTH_MB = 5  # of memory over 40 views


def text_of(widget):
    return unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<style.*?</style>", "", widget.value, flags=re.DOTALL)))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("kept")


@pytest.fixture(scope="module")
def glaze(folder):
    """A panel with all three days."""
    panel = present_panel(
        GLAZE / "before.csv", GLAZE / "after.csv", "wood-glued", plan=True, beneath="screed", keep_in=folder
    )
    assert panel.state.problems == ()
    yield panel
    panel.close()


@pytest.fixture
def shown(glaze):
    """The panel as it opens."""
    glaze.state.problems, glaze.state.view = (), FOUND
    glaze.state.choose_unit("mm")
    glaze.settings.value = False
    return glaze


def survey_of(height, step=500.0, size=(7, 5), title="A small room", **more):
    x, y = np.meshgrid(np.arange(size[0]) * step, np.arange(size[1]) * step)
    outline = box(0, 0, x.max(), y.max())
    return flatness.make_survey(x, y, height(x, y), accuracy=0.5, outline=outline, title=title, **more)


@pytest.fixture(scope="module")
def trough():
    """A survey with a trough, and a plan that fills it."""
    survey = survey_of(lambda x, y: np.where(x == 1000, -6.0, 0.002 * x))
    plan = flatness.plan_corrections(
        survey, limits=flatness.straightedge_limit(1000, 3.0), spacing=250, headings=1, surface="as-read", draws=0
    )
    return survey, plan


# days


def test_one_plane_for_all_days_so_that_they_differ_by_what_is_done_alone(shown):
    state = shown.state
    found, planned, after = (state.day(key).surface.height for key in (FOUND, PLANNED, AFTER))
    np.testing.assert_allclose(after - found, state.comparison.difference, atol=1e-9)
    change = planned - found
    plan = state.plan
    # SciPy's own bilinear interpolation of the plan, where it has all four corners
    at = RegularGridInterpolator((plan.y, plan.x), plan.change, bounds_error=False)
    gx, gy = np.meshgrid(state.comparison.x, state.comparison.y)
    expected = at((gy, gx))
    both = np.isfinite(change) & np.isfinite(expected)
    assert both.sum() > 0.9 * np.isfinite(found).sum()
    np.testing.assert_allclose(change[both], expected[both], atol=1e-9)


def test_the_plane_is_level_at_the_mean_of_the_surface_after_the_work(shown):
    comparison = shown.state.comparison
    base = np.nanmean(comparison.after_heights)
    after = shown.state.day(AFTER).surface.height
    np.testing.assert_allclose(after, comparison.after_heights - base, atol=1e-9)
    np.testing.assert_allclose(shown.state.day(FOUND).surface.height, comparison.before_heights - base, atol=1e-9)


def test_a_plan_alone_is_shown_where_it_was_made(trough):
    survey, plan = trough
    days = days_of(survey, plan=plan)
    assert [day.key for day in days] == [FOUND, PLANNED]
    assert [day.measured for day in days] == [True, False]
    np.testing.assert_allclose(days[1].surface.height - days[0].surface.height, plan.change, atol=1e-9)
    assert "not measured" in days[1].full_name


def test_a_change_on_another_lattice_is_nan_beyond_the_plan(trough):
    _, plan = trough
    got = change_on(plan, np.array([125.0, 1000.0, 9000.0]), np.array([250.0, 400.0]))
    at = RegularGridInterpolator((plan.y, plan.x), plan.change, bounds_error=False)
    expected = at(np.array([[(y, x) for x in (125.0, 1000.0, 9000.0)] for y in (250.0, 400.0)]))
    np.testing.assert_allclose(got, expected, atol=1e-9)
    assert np.isnan(got[:, 2]).all()


def test_one_scale_holds_every_day_and_every_step_is_a_length_of_a_tape(shown):
    for unit, part in (("in", 25.4 / 32), ("mm", 0.1)):
        scale = one_scale(shown.state.days, unit)
        for day in shown.state.days:
            assert np.nanmax(np.abs(day.surface.height)) <= scale.edges[-1] + 1e-9
        np.testing.assert_allclose(scale.edges / part, np.round(scale.edges / part), atol=1e-6)


# pictures


def box_of(picture):
    left, right, top, bottom = picture.map_box
    return slice(top, bottom), slice(left, right)


def test_the_colour_bar_is_the_same_in_every_picture(shown):
    pictures = [shown.state.picture_of(day.key) for day in shown.state.days]
    below = [picture.pixels[picture.map_box[3] + 6 :] for picture in pictures]
    for other in below[1:]:
        np.testing.assert_array_equal(below[0], other)


def test_a_room_walked_into_from_its_left_stands_with_that_wall_at_the_foot():
    """Wider than high where it was surveyed higher than wide, in its true proportion."""
    x, y = (at.ravel() for at in np.meshgrid(np.arange(0, 3001, 600.0), np.arange(0, 4801, 600.0)))
    walls = Walls(openings=(WallOpening("door", "left", 600.0, 1500.0),))
    survey = make_survey(x, y, 6.0 * (x == 1200), outline=box(0, 0, 3000, 4800), walls=walls)
    days = days_of(survey)
    left, right, top, bottom = day_picture(days, days[0], "mm").map_box
    assert (right - left) / (bottom - top) == pytest.approx((4800 + 480) / (3000 + 480), rel=0.02)


def test_a_spot_stands_where_it_was_read_on_both_days():
    """Pixels to millimetres by the corners of the drawn outline alone."""
    spot, high = (2000.0, 500.0), 9.0
    before = survey_of(lambda x, y: np.where((x == spot[0]) & (y == spot[1]), high, 0.0))
    days = days_of(before)
    days = (days[0], days[0].__class__(PLANNED, days[0].surface, before, False))
    for day in days:
        picture = day_picture(days, day, "mm")
        rows, columns = box_of(picture)
        inside = picture.pixels[rows, columns, :3].astype(float) / 255
        dark = np.abs(inside - to_rgb("#1d2126")).max(axis=2) < 0.1
        across, down = dark.mean(axis=0), dark.mean(axis=1)
        x = np.flatnonzero(across > 0.5)
        y = np.flatnonzero(down > 0.5)
        x0, x1, y0, y1 = x[x < x.mean()].mean(), x[x > x.mean()].mean(), y[y < y.mean()].mean(), y[y > y.mean()].mean()
        orange = (inside[..., 0] - inside[..., 2] > 0.5) & ~dark  # the top steps: red well over blue
        py, px = (at.mean() for at in np.nonzero(orange))
        assert 3000 * (px - x0) / (x1 - x0) == pytest.approx(spot[0], abs=20)
        assert 2000 * (y1 - py) / (y1 - y0) == pytest.approx(spot[1], abs=20)


def test_the_map_is_in_true_proportion():
    survey = survey_of(lambda x, y: 0.001 * x * y / 1000, step=1000.0, size=(9, 4))
    picture = day_picture(days_of(survey), days_of(survey)[0], "in")
    rows, columns = box_of(picture)
    dark = np.abs(picture.pixels[rows, columns, :3].astype(float) / 255 - to_rgb("#1d2126")).max(axis=2) < 0.1
    x, y = (np.flatnonzero(dark.mean(axis=i) > 0.5) for i in (0, 1))
    wide, high = (axis[axis > axis.mean()].mean() - axis[axis < axis.mean()].mean() for axis in (x, y))
    assert wide / high == pytest.approx(8000 / 3000, rel=0.01)


@pytest.mark.parametrize("kind", ["floor", "ceiling", "wall"])
def test_every_kind_of_surface_and_none_that_is_flat_breaks_it(kind):
    for height in (lambda x, y: 0 * x, lambda x, y: 0.001 * x + 0.0001 * y):
        days = days_of(survey_of(height, surface=kind))
        for unit in ("in", "mm"):
            picture = day_picture(days, days[0], unit)
            assert picture.pixels.shape == (picture.size[1], picture.size[0], 4)


# words


def test_the_sentences_answer_what_an_owner_asks_and_hold_no_term_of_the_trade(shown, trough):
    survey, plan = trough

    def told_of(plan):
        return [(one["asks"], one["says"]) for one in paragraphs(survey, None, plan, None, "in")]

    cases = {
        ("Where it stands", "What will be done"): told_of(None),
        ("Where it stands", "What will be done", "What it will be like"): told_of(plan),
        ("Where it stood", "What was planned", "What was done", "What it is like now"): shown.state.said(),
    }
    for asks, told in cases.items():
        assert tuple(ask for ask, _ in told) == asks
        for _, says in told:
            assert says.endswith(".")
            assert not re.search(JARGON, says, re.IGNORECASE), says
    assert "Nothing is planned yet." in dict(cases["Where it stands", "What will be done"]).values()
    # the trough is 6 mm deep or a little more against the rising floor, 1/4 in, and 3 mm are allowed under 1 m
    assert "filled" in dict(cases["Where it stands", "What will be done", "What it will be like"])["What will be done"]


def test_no_number_is_more_precise_than_what_was_read(shown):
    for unit, finest in (("in", 16), ("mm", 1)):
        shown.state.choose_unit(unit)
        words = " ".join(says for _, says in shown.state.said())
        assert not re.search(r"\d\.\d\d+(?! m\b)", words), words  # of a bar's length alone: 3.05 m
        assert all(int(bottom) <= finest for bottom in re.findall(r"\d/(\d+) inch", words)) or unit == "mm"
        assert not re.search(r"\d\.\d+ mm", words)


def test_the_unit_switches_the_sentences_and_the_picture(shown):
    picture = visible(shown)
    shown.views.value = NUMBERS
    metric = text_of(shown.said)
    assert "square meters" in metric
    shown.units.value = "in"
    assert shown.state.unit == "in"
    assert "square feet" in text_of(shown.said)
    assert not re.search(r"\d mm|square meters|\d m long", text_of(shown.said))
    shown.views.value = FOUND
    assert visible(shown) != picture
    shown.units.value = "mm"
    assert visible(shown) == picture


def test_the_colours_are_explained_in_words(shown):
    assert re.search("Orange is higher.*blue is lower.*same in every picture.*solid.*dashed", text_of(shown.colours))
    assert "white was not measured both times" in text_of(shown.colours)
    assert not re.search(JARGON, text_of(shown.colours))


# the panel


def visible(panel):
    """The large pictures of the page, as files."""
    large = panel.stage.value.partition("fk-days")[0]
    return [base64.b64decode(data) for data in re.findall(r"base64,([^\"]+)", large)]


def test_each_view_shows_what_it_says(shown):
    assert [name for name, _ in shown.views.options] == [
        "As found",
        "As planned",
        "After the work",
        "Side by side",
        "Numbers",
    ]
    seen = []
    for day in shown.state.days:
        shown.views.value = day.key
        assert visible(shown) == [shown.state.picture_of(day.key).png]
        assert shown.stage.value.count("<button") == 3  # all days, small, on the same scale
        assert shown.stage.value.count('role="region" aria-label="Map"') == 1
        seen += visible(shown)
    assert len(set(seen)) == 3
    shown.views.value = BESIDE
    assert visible(shown) == seen
    assert shown.said.value == ""
    shown.views.value = NUMBERS
    assert "What was done" in text_of(shown.said)


def test_the_answer_is_one_sentence_with_what_it_rests_on(shown, trough):
    told = text_of(shown.answer)
    assert shown.answer.value.count('role="region" aria-label="Verdict"') == 1
    assert shown.state.comparison.assessments[1].verdict == "pass"
    assert re.match(r"\s*YES\s+as measured\s+The floor is flat enough", told)
    panel = present_panel(GLAZE / "before.csv", finish="wood-glued")
    assert re.match(r"\s*NOT YET\s+as it is", text_of(panel.answer))
    panel.state.work_out_plan()  # nobody has said what lies beneath
    if panel.state.plan.action("engineer").any():
        assert re.match(r"\s*ASK\s+the engineer first", text_of(panel.answer))
    panel.close()


def test_files_and_settings_are_out_of_the_owners_sight_until_asked_for(shown):
    assert shown.files.layout.display == "none"
    shown.settings.value = True
    assert shown.files.layout.display == ""


def controls_in(box):
    kinds = (w.Dropdown, w.Text, w.Button, w.ToggleButtons, w.FileUpload, w.ToggleButton)
    for child in getattr(box, "children", ()):
        if isinstance(child, kinds):
            yield child
        else:
            yield from controls_in(child)


def test_each_control_has_a_label_and_a_tooltip(shown):
    controls = list(controls_in(shown.box))
    assert len(controls) > 15
    for control in controls:
        assert control.description, control
        assert control.tooltip, control.description
    assert len(shown.views.tooltips) == len(shown.views.options)


def luminance(colour):
    """WCAG 2.1, relative luminance."""
    parts = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour)]
    return float(np.dot(parts, (0.2126, 0.7152, 0.0722)))


def test_letters_stand_out_from_the_paper():
    for colour in re.findall(r"(?<![-\w])color:(#[0-9a-f]{6})", STYLE):
        assert 1.05 / (luminance(colour) + 0.05) >= 4.5, colour  # WCAG 2.1, 1.4.3, on white


# going wrong


def test_whatever_goes_wrong_is_a_sentence_with_its_remedy(shown, monkeypatch):
    monkeypatch.setattr(shown.state, "save_picture", lambda *_: {}["lost"])
    shown.save_picture.click()
    assert "KeyError" in text_of(shown.problems)
    assert "report this sentence" in text_of(shown.problems)


def test_surveys_without_anything_in_common_still_show_the_one_as_found():
    panel = present_panel(LOFT / "before.csv", LOFT / "after.csv", "")
    told = text_of(panel.problems)
    assert "benchmark" in told
    assert panel.problems.value.count("<i>")  # the remedy
    assert [day.key for day in panel.state.days] == [FOUND]
    assert visible(panel)
    panel.controls["align"].value = "none"
    assert panel.problems.value == ""
    assert [day.key for day in panel.state.days] == [FOUND, AFTER]
    panel.close()


def test_an_empty_panel_says_how_to_begin_and_shows_the_files():
    panel = present_panel(folders=[ROOT / "sample_surveys"])
    assert "choose the survey" in text_of(panel.answer)
    assert panel.files.layout.display == ""
    assert visible(panel) == []
    for pressed in (panel.save_picture, panel.save_page, panel.work_out):
        pressed.click()
        assert "choose the survey" in text_of(panel.problems).lower()
    panel.before.files.value = "packing_room/with_mistakes.csv"
    assert "C17" in text_of(panel.before.problems)
    panel.before.files.value = "glaze_store/before.csv"
    assert panel.state.problems == ()
    assert len(visible(panel)) == 1
    panel.work_out.click()
    assert "choose the finish" in text_of(panel.problems).lower()
    panel.close()


def test_an_unknown_finish_and_one_for_another_surface_are_told():
    panel = present_panel(GLAZE / "before.csv", finish="velvet")
    assert "velvet" in text_of(panel.problems)
    assert [day.key for day in panel.state.days] == [FOUND]
    panel.close()


def test_a_plan_of_another_survey_is_refused(trough):
    panel = present_panel(GLAZE / "before.csv", plan=trough[1])
    assert "another survey" in text_of(panel.problems)
    assert [day.key for day in panel.state.days] == [FOUND]
    panel.close()


def test_a_plan_goes_when_another_survey_is_chosen(trough, tmp_path):
    survey, plan = trough
    flatness.write_survey(survey, tmp_path / "trough.csv")
    panel = present_panel(tmp_path / "trough.csv", plan=plan, folders=[GLAZE])
    assert panel.state.problems == ()
    assert [day.key for day in panel.state.days] == [FOUND, PLANNED]
    panel.views.value = PLANNED
    panel.before.files.value = "before.csv"
    assert panel.state.plan is None
    assert [day.key for day in panel.state.days] == [FOUND]
    assert panel.views.value == FOUND
    panel.close()


# keeping


def test_the_picture_in_view_is_saved_and_never_over_another(shown, folder):
    shown.views.value = AFTER
    shown.picture_name.value = "shown.png"
    shown.save_picture.click()
    data = (folder / "shown.png").read_bytes()
    assert SOFTWARE.encode() in data
    saved = imread(io.BytesIO(data), format="png")
    seen = shown.state.picture_of(AFTER).pixels
    np.testing.assert_array_equal(np.round(saved * 255).astype(np.uint8), seen)
    assert "Written: shown.png" in text_of(shown.saved)
    assert 'download="shown.png"' in shown.saved.value
    assert shown.picture_name.value == "shown-2.png"  # ready for the next one
    shown.picture_name.value = "shown.png"
    shown.save_picture.click()
    assert "already" in text_of(shown.problems)
    assert "another name" in text_of(shown.problems)
    assert (folder / "shown.png").read_bytes() == data


def test_side_by_side_is_saved_as_one_picture(shown, folder):
    shown.views.value = BESIDE
    shown.state.save_picture("beside.png", folder)
    saved = imread(folder / "beside.png")
    one = shown.state.picture_of(FOUND)
    assert saved.shape[:2] == (one.size[1], 3 * one.size[0])


@pytest.mark.parametrize(("name", "starts"), [("room.pdf", b"%PDF-"), ("room.html", b"<!DOCTYPE html>")])
def test_the_owners_page_is_saved(shown, folder, name, starts):
    shown.page_name.value = name
    shown.save_page.click()
    assert shown.state.problems == ()
    data = (folder / name).read_bytes()
    assert data.startswith(starts)
    if name.endswith("html"):
        for _, says in shown.state.said()[2:]:
            assert says in unescape(data.decode())


@pytest.mark.parametrize("name", ["", "  ", "../up.png", "a/b.png", ".hidden", "room.gif"])
def test_a_name_that_will_not_do_says_what_would(name, tmp_path):
    with pytest.raises(ArgumentError) as told:
        new_file(name, tmp_path, (".png",))
    assert ".png" in str(told.value)
    assert told.value.problems[0].remedy


def test_names_count_on(tmp_path):
    for taken in ("a.png", "a-2.png"):
        (tmp_path / taken).touch()
    assert next_free("a.png", tmp_path) == "a-3.png"
    assert next_free("a-2.png", tmp_path) == "a-3.png"
    assert next_free("2026.png", tmp_path) == "2026-2.png"


# a job file and a saved plan


JOB = """
title = "A small job"
show = "mm"
limits = [{ kind = "straightedge", length = "1 m", allowed = "3 mm", name = "agreed-bar" }]
draws = 20
[surveys]
before = "before.csv"
after = "after.csv"
[plan]
surface = "as-read"
spacing = "250 mm"
aim = 1.0
[[fixed]]
name = "sill"
x = "0 mm"
y = "0 mm"
height = "as found"
[compare]
align = "none"
"""


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """A folder with a job file, both its surveys, and its plan as it was saved."""
    folder = tmp_path_factory.mktemp("job")
    found = survey_of(lambda x, y: np.where(x == 1000, -6.0, 0.002 * x))
    flatness.write_survey(found, folder / "before.csv")
    flatness.write_survey(survey_of(lambda x, y: np.where(x == 1000, -1.0, 0.002 * x)), folder / "after.csv")
    (folder / "job.toml").write_text(JOB)
    results = run_job(read_job(folder / "job.toml"))
    save_plan(results.plan, folder / "plan.json")
    return folder, results


@pytest.mark.parametrize("how", ["chosen in the list", "named to begin with"])
def test_a_job_file_is_shown_with_all_that_it_names(job, how):
    folder, results = job
    panel = present_panel(folder / "job.toml" if how.startswith("named") else "", folders=[folder])
    if how.startswith("chosen"):
        panel.work.files.value = "job.toml"
    state = panel.state
    assert state.problems == ()
    assert (state.before.name, state.after.name, state.align, state.unit) == ("before.csv", "after.csv", "none", "mm")
    assert [day.key for day in state.days] == [FOUND, PLANNED, AFTER]
    assert [limit.name for limit in state.limits()] == ["agreed-bar"]
    assert "What the job asks for: A small job" in dict(panel.controls["finish"].options)
    assert "A small job: surveys before and after" in text_of(panel.work.about)
    # what run_job gives of the file
    assert np.array_equal(state.plan.change, results.plan.change, equal_nan=True)
    assert np.array_equal(state.comparison.difference, results.comparison.difference, equal_nan=True)
    assert state.assessment.table.equals(results.assessment.table)
    # the trough was 6 mm deep, and 5 mm of it were filled
    panel.views.value = NUMBERS
    assert "raised by up to 5 mm" in text_of(panel.said)
    # another survey: what the job asks for is no longer what is shown
    panel.after.files.value = ""
    assert state.finish == ""
    assert AFTER not in {day.key for day in state.days}
    assert "What the job asks for" not in str(panel.controls["finish"].options)
    panel.close()


def test_a_saved_plan_is_shown_as_it_was_made(job, tmp_path):
    folder, results = job
    panel = present_panel(folder / "before.csv", folders=[folder])
    panel.work.files.value = "plan.json"
    plan, made = panel.state.plan, results.plan
    assert panel.state.problems == ()
    assert [day.key for day in panel.state.days] == [FOUND, PLANNED]
    assert np.array_equal(plan.change, made.change, equal_nan=True)
    assert np.array_equal(plan.actions, made.actions)
    for column in ("name", "action", "area_mm2", "greatest_mm", "deepest_x_mm", "deepest_y_mm"):
        assert plan.patches[column].tolist() == pytest.approx(made.patches[column].tolist(), abs=0.01)
    assert plan.quantities.fill_volume == pytest.approx(made.quantities.fill_volume)
    # a finish chosen now: the planned surface is held against it
    panel.controls["finish"].value = "wood-glued"
    assert panel.state.problems == ()
    assert set(panel.state.plan.after["limit"]) == {"wood-glued-10ft", "wood-glued-6ft"}
    assert np.array_equal(panel.state.plan.change, made.change, equal_nan=True)
    assert panel.state.save_page("page.html", tmp_path).is_file()
    panel.close()
    panel = present_panel(folder / "before.csv", plan=folder / "plan.json")
    assert [day.key for day in panel.state.days] == [FOUND, PLANNED]
    panel.close()


def test_a_saved_plan_of_another_survey_and_one_without_a_survey_are_told(job):
    folder, _ = job
    panel = present_panel(GLAZE / "before.csv", plan=folder / "plan.json")
    assert "of another survey" in text_of(panel.problems)
    assert [day.key for day in panel.state.days] == [FOUND]
    panel.close()
    panel = present_panel(folders=[folder])
    panel.work.files.value = "plan.json"
    assert "without its survey" in text_of(panel.problems)
    panel.before.files.value = "before.csv"
    assert panel.problems.value == ""
    assert [day.key for day in panel.state.days] == [FOUND, PLANNED]
    panel.close()


def test_a_file_that_is_no_job_and_no_plan_is_told_with_its_remedy(tmp_path):
    (tmp_path / "job.toml").write_text("[surveys]\nbefore = 'nowhere.csv'\n")
    (tmp_path / "other.json").write_text("{}")
    panel = present_panel(folders=[tmp_path])
    for name, told in (("job.toml", "nowhere.csv"), ("other.json", "not a plan")):
        panel.work.files.value = name
        assert told in text_of(panel.work.problems)
        assert panel.state.days == ()
    data = b'{"plan": "something"}'
    panel.work.upload.value = (
        {
            "name": "mine.json",
            "type": "application/json",
            "size": len(data),
            "content": memoryview(data),
            "last_modified": datetime(2026, 1, 1, tzinfo=UTC),
        },
    )
    assert "not a plan" in text_of(panel.work.problems)
    with pytest.raises(ArgumentError, match="not a plan that was saved"):
        panel.state.work.upload("job.toml", b"")
    panel.close()


# no trace


def test_other_views_grow_nothing(shown):
    def turn(times):
        for k in range(times):
            shown.views.value = (FOUND, PLANNED, AFTER, BESIDE, NUMBERS)[k % 5]
        gc.collect()
        figures = sum(isinstance(one, Figure) for one in gc.get_objects())
        return len(_instances), figures, len(shown.state._drawn)

    before, memory = turn(10), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert turn(40) == before
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - memory) / 1024 < GROWTH_MB


def test_pictures_kept_are_bounded_and_small(shown):
    for unit in ("in", "mm"):
        shown.state.choose_unit(unit)
        for view in shown.state.views:
            shown.views.value = view
    kept = shown.state._drawn.values()
    assert len(kept) == 2 * 3
    assert all(isinstance(one, Picture) for one in kept)
    assert sum(len(one.png) for one in kept) < 4e6


def test_a_closed_panel_leaves_no_widget_behind():
    before = set(_instances)
    panel = present_panel(GLAZE / "before.csv")
    assert len(set(_instances) - before) > 20
    panel.close()
    gc.collect()
    left = [one for key, one in _instances.items() if key not in before]
    assert [type(one).__name__ for one in left] == []


# the command and the notebook


def asked(*arguments):
    parser = argparse.ArgumentParser()
    command.add_present(parser)
    return parser.parse_args(arguments)


def test_the_page_is_served_on_loopback_and_without_code():
    line = command.server_line(Path("x.ipynb"), asked("x.ipynb"))
    assert "--Voila.ip=127.0.0.1" in line
    assert "--strip_sources=True" in line
    assert "--token" in line  # on loopback too: other programs and other users of this machine reach it there
    assert "--token" in command.server_line(Path("x.ipynb"), asked("x.ipynb", "--ip", "0.0.0.0"))


def test_the_notebook_of_one_survey_runs(tmp_path):
    nbformat = pytest.importorskip("nbformat")
    options = asked(str(GLAZE / "before.csv"), "--unit", "in", "--out", str(tmp_path))
    written = command._write_notebook(options, Path(options.file), tmp_path)
    book = json.loads(written.read_text())
    nbformat.validate(nbformat.from_dict(book))
    found = {}
    source = book["cells"][0]["source"].replace("present_panel(**", "panel = present_panel(**")
    exec(compile(source, "cell", "exec"), found)
    assert found["panel"].state.problems == ()
    assert found["panel"].state.unit == "in"
    assert [day.key for day in found["panel"].state.days] == [FOUND]
    found["panel"].close()


def test_a_job_file_and_a_saved_plan_are_served(tmp_path):
    options = asked(str(LOFT / "before.csv"), "--saved", str(tmp_path / "p.json"))
    with pytest.raises(FlatnessError, match="no such file"):
        command._write_notebook(options, Path(options.file), tmp_path)
    (tmp_path / "p.json").write_text("{}")
    book = json.loads(command._write_notebook(options, Path(options.file), tmp_path).read_text())
    assert str(tmp_path / "p.json") in book["cells"][0]["source"]
    assert command._existing(str(LOFT / "job.toml"), (".csv", ".toml")).name == "job.toml"


def test_the_servers_take_files_of_more_than_10_mb():
    line = command.server_line(Path("x.ipynb"), asked("x.ipynb"))
    assert f"--Voila.tornado_settings={{'websocket_max_message_size': {command.LARGEST_UPLOAD}}}" in line
    shared = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["hatch"]["build"]["targets"]["wheel"]
    for source, place in shared["shared-data"].items():
        settings = json.loads((ROOT / source).read_text())
        name = {"jupyter_server_config.json": "ServerApp"}[Path(place).name]
        assert Path(place).parent == Path("etc/jupyter")
        assert settings[name]["tornado_settings"]["websocket_max_message_size"] == command.LARGEST_UPLOAD
    assert len(shared["shared-data"]) == 1


@pytest.mark.parametrize(
    ("arguments", "says"),
    [(("nowhere.csv",), "no such file"), ((__file__,), "can be shown here"), ((__file__, "--port", "0"), "port")],
)
def test_bad_input_is_told_before_anything_is_served(arguments, says, monkeypatch):
    monkeypatch.setattr(command.importlib.util, "find_spec", lambda name: object())
    with pytest.raises(FlatnessError, match=says):
        command.run_present(asked(*arguments))


def test_without_the_extra_it_says_how_to_get_it(monkeypatch):
    monkeypatch.setattr(command.importlib.util, "find_spec", lambda name: None)
    with pytest.raises(FlatnessError, match="voila") as told:
        command.run_present(asked(str(GLAZE / "before.csv")))
    assert "[present]" in told.value.problems[0].remedy


def test_the_notebook_holds_short_cells_without_outputs():
    book = json.loads((ROOT / "notebooks/present_to_owner.ipynb").read_text(encoding="utf-8"))
    assert "Run All Cells" in book["cells"][0]["source"][0]
    assert "jupyter" not in book["cells"][0]["metadata"]  # seen when the notebook is opened
    for cell in book["cells"]:
        assert cell["cell_type"] == "code"  # nothing but the panel on the owner's page
        assert cell["outputs"] == []
        assert len(cell["source"]) <= 8
        assert "def " not in "".join(cell["source"])


# whatever goes wrong, nothing old is left standing


def upload(chooser, name, text):
    data = text.encode()
    chooser.upload.value = (
        {
            "name": name,
            "type": "text/csv",
            "size": len(data),
            "content": memoryview(data),
            "last_modified": datetime(2026, 1, 1, tzinfo=UTC),
        },
    )


def test_the_notes_are_of_the_file_that_is_shown_whatever_is_in_red():
    good = (LOFT / "before.csv").read_text()
    title = re.search(r"# title: (.*)", good)[1]
    panel = present_panel(GLAZE / "before.csv", GLAZE / "after.csv", "wood-glued")
    for name in ("First floor", "Second floor", "Third floor"):
        upload(panel.before, f"{name}.csv", good.replace(title, name))
        assert "benchmark" in text_of(panel.problems)  # red, for the sample's after survey is still chosen
        assert name in text_of(panel.before.about)
        assert name in text_of(panel.title)
    panel.before.files.value = "before.csv"
    assert "Glaze store" in text_of(panel.before.about)
    # a survey of another kind, for which the finish that is chosen is none
    wall = ROOT / "sample_surveys/gallery_walls/east.csv"
    upload(panel.before, "east.csv", wall.read_text())
    assert "no finish of this name for a wall" in text_of(panel.problems) or panel.state.finish == ""
    assert "wall" in text_of(panel.before.about)
    panel.close()


def test_what_cannot_be_brought_together_is_told_in_the_words_of_the_control():
    panel = present_panel(LOFT / "before.csv", LOFT / "after.csv", "")
    told = text_of(panel.problems)
    assert COMPARE["align"].label in told
    assert COMPARE["align"].label in panel.controls["align"].description
    names = {value: name for name, value in panel.controls["align"].options}
    assert names["none"] in told
    assert names["offset"] in told
    assert "align=" not in told
    panel.close()


def test_written_vanishes_when_something_changes(tmp_path):
    panel = present_panel(GLAZE / "before.csv", keep_in=tmp_path)
    for change in (
        lambda: setattr(panel.state, "finish", "wood-glued"),
        lambda: panel.state.choose_unit("in"),
        lambda: setattr(panel.controls["beneath"], "value", "slab"),
    ):
        panel.save_picture.click()
        assert "Written" in panel.saved.value
        change()
        assert panel.saved.value == ""
    panel.save_picture.click()
    panel.picture_name.value = "no/such.png"
    panel.save_picture.click()
    assert "not the name of a file" in text_of(panel.problems)
    assert panel.saved.value == ""
    panel.close()


def test_the_page_that_is_saved_says_what_the_panel_says(shown, folder):
    page = unescape(shown.state.save_page("all.html", folder).read_text(encoding="utf-8"))
    for asks, says in shown.state.said():
        assert f"<strong>{asks}.</strong> {says}" in page
    assert "What was planned" in page
    assert "will be" not in " ".join(says for _, says in shown.state.said())


def test_a_light_limit_has_its_picture_beside_the_map_before_and_after(tmp_path):
    """The view is there where a limit names a light alone; two pictures, one exposure: the planned one varies less."""
    panel = present_panel(ROOT / "sample_surveys/hanging_wall/job.toml", keep_in=tmp_path)
    state = panel.state
    assert state.problems == ()
    assert state.views == (FOUND, PLANNED, BESIDE, LIT, NUMBERS)
    state.view = LIT
    assert state.problems == ()
    picture, words = state.lit()
    assert panel.stage.value.count("data:image/png") == 3  # the light, and beside it the map of each day
    assert "would look in" in words
    assert unescape(words) in unescape(panel.colours.value)
    gray = picture.pixels[..., :3].mean(axis=2)
    gray = gray[gray.shape[0] // 4 :]  # below the names
    found, planned = (part[part < 235] for part in np.array_split(gray, 2, axis=1))
    assert min(found.size, planned.size) > 0.35 * gray.size
    assert np.ptp(np.percentile(found, (2, 98))) > 1.3 * np.ptp(np.percentile(planned, (2, 98)))
    path = state.save_picture("lit.png", tmp_path)
    assert path.read_bytes() == picture.png
    assert LIT not in present_panel(LOFT / "before.csv", unit="in").state.views
