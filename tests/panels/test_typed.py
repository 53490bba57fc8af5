"""What a person has typed, chosen or opened and not yet given to the panel is never written over or lost meanwhile."""

import shutil
from pathlib import Path

import ipywidgets as w
import openpyxl
import pytest

from flatness import parse_length
from flatness.panels import check_panel, compare_panel, plan_panel, present_panel, take_panel
from flatness.panels.controls import all_controls, label_of

pytestmark = pytest.mark.usefixtures("coarse_lattice")
SAMPLES = Path(__file__).parents[2] / "sample_surveys"
BEFORE, AFTER = (SAMPLES / f"loft_floor/{day}.csv" for day in ("before", "after"))
PANELS = {
    "check": lambda: check_panel(AFTER, "wood-nailed"),
    "compare": lambda: compare_panel(BEFORE, AFTER, align="none"),
    "plan": lambda: plan_panel(BEFORE, target="cheapest-plane", draws=0),
    "present": lambda: present_panel(BEFORE),
}


@pytest.fixture(scope="module", params=PANELS)
def panel(request):
    made = PANELS[request.param]()
    made.state.choose_unit("in")
    yield made
    made.close()


@pytest.fixture(scope="module")
def check():
    """The Check panel of a floor that asks for strips."""
    made = check_panel(AFTER, "wood-nailed")
    yield made
    made.close()


def fields(panel):
    """What a person types into; the sheet of a workbook reads the file anew."""
    found = [one for one in all_controls(panel.box) if isinstance(one, w.Text) and one is not getattr(panel, "room", 0)]
    return [one for one in found if not label_of(one).startswith("Sheet")]


def show_anew(panel):
    """All that shows a panel anew without a person's having given it anything."""
    if hasattr(panel, "room"):
        for room in ("641 x 479", "652 x 483"):
            panel.room.value = room
    for view in [*panel.views.options, panel.views.options[0]]:
        panel.views.value = view[1]
    panel.state.working = "At work ..."
    panel.state.working = ""
    for unit in ("mm", "in"):
        panel.units.value = unit


def test_text_that_says_nothing_stays_while_a_panel_is_shown_anew(panel):
    typed = fields(panel)
    assert typed
    for one in typed:
        one.value = "typed"
    show_anew(panel)
    assert [label_of(one) for one in typed if one.value != "typed"] == []


def lengths(panel):
    """Fields for lengths that only a button takes."""
    if hasattr(panel, "ends"):
        return [*panel.ends, *panel.strips.fields]
    return [panel.controls[key] for key in ("spot_x", "allowance", "area_y1")]


@pytest.mark.parametrize("panel", ["check", "plan"], indirect=True)
def test_a_length_that_is_typed_stays_and_means_the_same_in_another_unit(panel):
    typed = lengths(panel)
    assert len(typed) >= 3
    for one in typed:
        one.value = "5"
    meant = [5 * (304.8 if "[ft, in]" in label_of(one) else 25.4) for one in typed]
    panel.units.value = "mm"
    assert [parse_length(one.value, "mm") for one in lengths(panel)] == pytest.approx(meant, abs=0.5)
    show_anew(panel)
    assert [parse_length(one.value) for one in lengths(panel)] == pytest.approx(meant, abs=1.0)


def test_ends_that_are_typed_stay_while_the_same_bar_is_laid_by_another_check(check):
    check.worst.click()
    check.ends[2].value = "9 ft"
    check.state.confidence = 0.9  # the worst place of the same surface stays where it is
    assert check.ends[2].value == "9 ft"
    check.state.set_bar((300.0, 300.0), (2100.0, 900.0))
    assert parse_length(check.ends[2].value) == pytest.approx(2100, abs=1)


def test_a_bar_that_is_refused_stays_in_its_field_with_why(check):
    field = check.controls["bar_length"]
    before = check.state.bar_length
    field.value = "2 in"
    check.room.value = "660 x 490"
    assert "no straightedge of this length" in check.problems.value
    assert (field.value, check.state.bar_length) == ("2 in", before)
    field.value = "6 ft"
    assert check.state.bar_length == pytest.approx(6 * 304.8)
    assert check.problems.value == ""


def test_the_first_end_of_a_bar_is_waited_for_while_the_panel_is_shown_anew(check):
    pointer, figure = check.pointers[list(check.maps).index(check.state.view)], check.map
    pointer.first = (900.0, 600.0)
    check._began(pointer.first)
    told = check.bar_words.value
    for _ in range(2):
        check.state.made_ready = check.state.assessment  # what is worked out beside the notebook is there
        check.state.made_ready = None
    assert check.bar_words.value == told
    assert check.shown.body[2].get_xydata().tolist() == [[900.0, 600.0]] * 2
    check.room.value = "671 x 495"  # which draws the map anew
    assert check.map is figure
    assert (check.bar_words.value, pointer.first) == (told, (900.0, 600.0))
    assert check.shown.body[2].get_xydata().tolist() == [[900.0, 600.0]] * 2
    check.state.set_bar((300.0, 300.0), (2000.0, 900.0))  # another bar: nothing is waited for
    assert pointer.first is None
    assert "Set by hand" in check.bar_words.value


def test_what_went_wrong_stays_told_when_the_screen_is_measured(check):
    check.state.guard(check.state.set_bar)((300.0, 300.0), (300.0, 300.0))
    wrong = check.problems.value
    assert wrong
    check.room.value = "680 x 501"
    assert check.problems.value == wrong
    check.state.problems = ()


def test_nothing_of_a_comparison_is_emptied_on_its_way_to_what_it_was():
    panel = compare_panel(BEFORE, AFTER, "wood-nailed", align="none")
    told, seen = [panel.verdicts, panel.changed, panel.aligned, panel.notes], []
    assert all(one.value for one in told)
    for one in told:
        one.observe(lambda change: seen.append(change["new"]), "value")
    panel.room.value = "641 x 479"
    assert seen == []
    panel.close()


def test_the_field_for_a_sheet_follows_the_file(tmp_path):
    book = openpyxl.Workbook()
    for name in ("one", "two"):
        sheet = book.create_sheet(name)
        for line in BEFORE.read_text().splitlines():
            sheet.append(line.split(","))
    book.save(tmp_path / "rooms.xlsx")
    shutil.copy(BEFORE, tmp_path / "plain.csv")
    panel = plan_panel(folders=[tmp_path])
    files, sheet = panel.chooser.files, panel.chooser.sheet
    files.value = "rooms.xlsx"
    sheet.value = "two"
    assert panel.state.choice.sheet == "two"
    files.value = "plain.csv"
    assert (sheet.value, panel.state.choice.sheet) == ("", "")
    files.value = "rooms.xlsx"
    sheet.value = "two"  # which is asked for once more
    assert panel.state.choice.sheet == "two"
    panel.close()


def test_a_button_pressed_twice_keeps_one_reading(tmp_path):
    panel = take_panel(tmp_path / "room.csv", "wood-glued", length="12 ft", width="10 ft", draws=60)
    for _ in range(3):
        panel.reading.value = "41 3/8"
        panel.next.click()
        panel.next.click()
    assert len(panel.state.taking.readings) == 3
    assert "only the whole inches" in panel.problems.value
    panel.reading.value = "41"  # as a browser sends it where the 0 is tapped
    panel.next.click()
    assert panel.state.problems == ()
    assert len(panel.state.taking.readings) == 4
    panel.close()
