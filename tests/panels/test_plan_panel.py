"""The Plan panel without a browser: its state, the draft under a slider, the search beside it, files, and no leaks."""

import asyncio
import gc
import re
import resource
import threading
import time
from html import unescape
from pathlib import Path

import ipywidgets as w
import numpy as np
import openpyxl
import pandas as pd
import pytest
import shapely
from ipywidgets.widgets.widget import _instances
from matplotlib.backend_bases import MouseEvent

import flatness
from flatness.errors import ArgumentError
from flatness.panels.controls import label_of
from flatness.panels.instrument import SIGNS, close_figure, live_figure
from flatness.panels.plan import plan_panel
from flatness.panels.plan_map import LiveActions, borders, cells
from flatness.panels.plan_state import USUAL_LAYOUT, PlanState
from flatness.panels.state import NotReadyError, Worker
from flatness.planning.constraints import FixedSpot
from flatness.planning.plan import ACTIONS, read_plan
from flatness.survey.readings import make_survey
from flatness.survey.walls import WallOpening, Walls

SAMPLES = Path(__file__).parents[2] / "sample_surveys"
STYLE = (Path(__file__).parents[2] / "kit/flatness/panels/style.css").read_text(encoding="utf-8")
LOFT = SAMPLES / "loft_floor/before.csv"
FOOT = 304.8
KINDS = (
    w.Dropdown,
    w.SelectMultiple,
    w.Text,
    w.Button,
    w.ToggleButton,
    w.ToggleButtons,
    w.FileUpload,
    w.SelectionSlider,
)
EVERY = ("engineer", "plane", "sister", "fill")


def under(kind, may=False, most=None):
    return {"kind": kind, "may_be_planed": may, "most_planed": most}


def framed(kind, **sizes):
    return {**USUAL_LAYOUT, "direction": "y", "kind": kind, **sizes}


def text_of(widget):
    return unescape(re.sub(r"<[^>]+>", " ", widget.value))


def controls_of(box):
    found = []
    for child in getattr(box, "children", ()):
        found += [child] if isinstance(child, KINDS) else controls_of(child)
    return found


@pytest.fixture(scope="module")
def kept():
    """A panel on a lattice of 1 ft, so that plans are made soon."""
    panel = plan_panel(LOFT, "wood-nailed", target="level-at", draws=0, spacing=FOOT, folders=[SAMPLES])
    yield panel
    panel.close()


@pytest.fixture
def panel(kept, monkeypatch):
    """The same panel with nothing asked for, whose planes are worked out only where a test asks for it."""
    state = kept.state
    state.search.wait()
    kept.controls.wrong.clear()
    monkeypatch.setattr(state.search, "prove_later", lambda seconds: None)
    for name, value in {
        "target": "level-at",
        "aim": "sure",
        "off_times": 1.0,
        "price": None,
        "cut": None,
        "fill": None,
        "level_within": None,
        "on": "likely",
        "under": {},
        "members": framed(""),
        "bearings": (),
        "spots": (),
        "clicking": False,
        "mistakes": (),
        "grounds": (),
        "materials": {},
        "finish": "wood-nailed",
        "saved": (),
        "problems": (),
        "draws": 0,
        "plan": None,
        "schedule": None,
        "ways": None,
        "way": "proposed",
        "plane": "",
    }.items():
        setattr(state, name, value)
    state.choose_unit("in")
    surface = state.surface
    state.height = float(np.nanmax(surface.height)) - 6.0
    return kept


# the draft under a slider


def test_a_level_plane_at_the_slider_s_height_is_height_less_surface(panel):
    state = panel.state
    panel.controls["below"].value = panel.controls["below"].options[12][1]  # 12/32 in below the proudest spot
    top = np.nanmax(state.surface.height)
    assert state.height == pytest.approx(top - 9.525)
    # closed form: change = target - surface
    assert state.draft.change == pytest.approx(top - 9.525 - state.surface.height, abs=1e-9, nan_ok=True)
    assert {value: name for name, value in panel.controls["below"].options}[panel.controls["below"].value] == '3/8"'


def test_a_draft_is_the_planner_s_own_change_and_cost(panel):
    state = panel.state
    for target in ("level-at", "level", "best-plane", "cheapest-plane"):
        state.target, state.under, state.off_times = target, under("boards", True, 4.0), 2.0
        draft = state.draft
        state.start()
        state.search.wait()
        shallow = 25.4 / 64  # the planner leaves shallower patches: DEVELOPERS.md, least_depth
        assert draft.change == pytest.approx(state.plan.change, abs=shallow, nan_ok=True), target
        assert draft.cost == pytest.approx(state.plan.cost, rel=0.01), target


def test_volumes_and_cost_of_a_draft_are_sums_over_the_floor(panel):
    state = panel.state
    state.under, state.price, state.off_times = under("slab", True, 50.0), 2e-6, 3.0
    change, surface = state.draft.change, state.surface
    # each node stands for its quarter of every whole cell about it, by a loop
    whole = np.isfinite(change)
    area = np.zeros(change.shape)
    for j in range(change.shape[0] - 1):
        for i in range(change.shape[1] - 1):
            if whole[j : j + 2, i : i + 2].all():
                area[j : j + 2, i : i + 2] += surface.spacing**2 / 4
            else:
                inside = np.argwhere(whole[j : j + 2, i : i + 2])
                if len(inside) == 3:
                    for dj, di in inside:
                        area[j + dj, i + di] += surface.spacing**2 / 6
    moved = np.nan_to_num(change)
    cost = float((area * (np.maximum(moved, 0) + 3 * np.maximum(-moved, 0))).sum())
    assert state.draft.cost == pytest.approx(cost, rel=1e-9)
    assert f"{2e-6 * cost:,.2f} of your money" in text_of(panel.verdict)


def test_what_a_plane_breaks_is_told_with_its_place(panel):
    state = panel.state
    state.cut = 3.0
    found = {term: over for term, _, over in state.draft.against}
    assert found["deepest cut"] == pytest.approx(6.0 - 3.0)  # 6 mm below the proudest spot, of which 3 may come off
    assert "more would come off than you allow" in text_of(panel.verdict)
    assert "change that" in text_of(panel.verdict)
    state.cut = 7.0
    assert state.draft.against == ()
    x, y, height = (a[len(a) // 3] for a in state.surface.nodes())
    state.spots = (FixedSpot(float(x), float(y), name="sill"),)
    ((term, at, off),) = state.draft.against
    assert (term, at) == ("sill", (x, y))
    assert off == pytest.approx(state.height - height)
    assert "Sill, " in text_of(panel.verdict)


def test_a_fixed_spot_is_kept_as_found_or_raised(panel):
    state = panel.state
    state.target = "cheapest-plane"
    x, y = (a[40] for a in state.surface.nodes()[:2])
    state.add_spot(FixedSpot(float(x), float(y)))
    j, i = np.abs(state.surface.y - y).argmin(), np.abs(state.surface.x - x).argmin()
    assert state.draft.change[j, i] == pytest.approx(0, abs=1e-6)
    state.spots = ()
    state.add_spot(FixedSpot(float(x), float(y)), raised=5.0)
    assert state.draft.change[j, i] == pytest.approx(5, abs=1e-6)
    with pytest.raises(flatness.FlatnessError, match="not on the surface"):
        state.add_spot(FixedSpot(-5000.0, 0.0))
    assert len(state.spots) == 1


def test_a_spot_far_off_the_floor_is_asked_about(panel):
    state, controls = panel.state, panel.controls
    x, y = (float(a[40]) for a in state.surface.nodes()[:2])
    high = 2 * float(np.ptp(state.surface.nodes()[2])) + 200.0
    panel.units.value = "mm"
    for field, text in (
        (controls["spot_x"], f"{x} mm"),
        (controls["spot_y"], f"{y} mm"),
        (controls["raised"], f"{high} mm"),
    ):
        field.value = text
    panel.buttons["spot_y"].click()
    assert "far above the surface" in text_of(panel.problems)
    assert state.spots == ()
    controls["meant"].value = True
    panel.buttons["spot_y"].click()
    assert state.spots[0].meant
    assert state.spots[0].height - float(state.surface.at(x, y)[0]) == pytest.approx(high)


# controls


def test_every_control_has_a_label_and_a_tooltip_and_lengths_have_their_unit(panel):
    found = controls_of(panel.box)
    assert len(found) > 35
    for one in found:
        assert label_of(one), one
        assert one.tooltip, label_of(one)
    lengths = [label_of(one) for one in found if isinstance(one, w.Text)]
    plain = ("Name of the spot", "Name of the files", "Sheet (name)")
    assert all("[" in name for name in lengths if name not in plain)


def test_units_switch_everywhere_at_once_and_change_nothing_asked_for(panel):
    state, controls = panel.state, panel.controls
    state.under = under("boards", True, 9.525)
    state.members, state.bearings = framed("sawn joist", depth=235.0), (0.0, 6000.0)
    asked = (state.under, state.members, state.bearings, state.height)
    assert controls["under.most_planed"].value == '3/8"'
    panel.units.value = "mm"
    assert controls["under.most_planed"].value == "9.5 mm"
    shown = [label_of(one) for one in controls_of(panel.box)] + [text_of(panel.verdict), text_of(panel.quantities)]
    assert not [text for text in shown if re.search(r"\[[^]]*\b(in|ft|ft3)\b[^]]*\]|\d ft[23]\b(?!, the lesser)", text)]
    panel.units.value = "in"
    assert (state.under, state.members, state.bearings, state.height) == asked
    controls["members.direction"].value = "x"
    assert state.members["depth"] == 235.0  # not what the field rounds it to
    assert state.members["direction"] == "x"


def test_lengths_are_read_as_people_write_them_and_mistakes_told(panel):
    controls, state = panel.controls, panel.state
    controls["cut"].value = "3/16"
    assert state.cut == pytest.approx(4.7625)
    controls["cut"].value = "two"
    assert "Take off at most [in]" in text_of(panel.problems)
    assert state.cut == pytest.approx(4.7625)
    controls["cut"].value = ""
    assert state.cut is None
    assert panel.problems.value == ""
    controls["price"].value = "-4"
    assert re.search(r"Adding costs \[money a ft3\].*found '-4'.*expected a number above 0", text_of(panel.problems))
    controls["price"].value = "120"
    assert state.price == pytest.approx(120 / FOOT**3)  # a ft3
    controls["bearings"].value = "10 ft"
    assert "two places or more" in text_of(panel.problems)
    controls["bearings"].value = "0; 10 ft; 22 ft"
    assert state.bearings == pytest.approx((0, 10 * FOOT, 22 * FOOT))


def test_what_is_wrong_in_a_field_stays_said_until_it_is_put_right(panel):
    controls, state = panel.controls, panel.state
    controls["cut"].value = "two"
    controls["members.kind"].value = "sawn joist"  # a step that succeeds
    controls["price"].value = "cheap"
    assert controls["cut"].value == "two"
    for wrong in ("two", "cheap"):
        assert wrong in text_of(panel.problems)
    controls["price"].value = "5"
    assert "cheap" not in text_of(panel.problems)
    state.cut = 6.35  # set otherwise: the field shows what holds
    assert controls["cut"].value == '1/4"'
    assert panel.problems.value == ""


def test_joists_that_contradict_what_lies_beneath_are_told_in_a_sentence(panel):
    panel.state.under = under("sawn joist", True)
    panel.controls["members.kind"].value = "I-joist"
    assert "contradict each other" in text_of(panel.problems)
    panel.controls["members.kind"].value = "sawn joist"
    assert panel.problems.value == ""


def test_kinds_given_to_the_panel_are_read_as_people_write_them():
    panel = plan_panel(beneath="i joists")
    assert panel.state.under["kind"] == "I-joist"
    panel.close()


def test_a_click_reads_or_fixes_a_spot(panel):
    def click(x, y):
        panel.map.canvas.draw()
        at = panel.actions.ax.transData.transform((x, y))
        for name in ("button_press_event", "button_release_event"):
            MouseEvent(name, panel.map.canvas, *at, 1)._process()

    click(1500, 2500)
    assert panel.state.spots == ()
    panel.controls["clicking"].value = True
    panel.controls["raised"].value = "1/8"
    click(1500, 2500)
    click(3000, 4000)
    assert [(s.x, s.y) for s in panel.state.spots] == [
        (pytest.approx(1500, abs=25.4), pytest.approx(2500, abs=25.4)),
        (pytest.approx(3000, abs=25.4), pytest.approx(4000, abs=25.4)),
    ]
    for spot in panel.state.spots:
        assert spot.height - float(panel.state.surface.at(spot.x, spot.y)[0]) == pytest.approx(3.175)
    assert len(panel.actions.spot_names) == 2
    panel.buttons["fixed"].click()  # the last one, which is chosen
    assert len(panel.state.spots) == 1
    MouseEvent("motion_notify_event", panel.map.canvas, *panel.actions.ax.transData.transform((1500, 2500)))._process()
    assert "from the left wall" in text_of(panel.here)
    assert "after" in text_of(panel.here)


# the map


def test_pointing_at_a_station_tells_its_reading(panel):
    points = panel.state.survey.points
    row = points.iloc[20]
    panel.state.pointer = (float(row["x"]), float(row["y"]))
    there = points[(points["x"] == row["x"]) & (points["y"] == row["y"])]["reading"]
    read = flatness.format_length(float(there.mean()), "in", 32)
    assert f"station here, {panel.state.survey.quantity} {read} read" in text_of(panel.here)
    panel.state.pointer = None


def test_areas_and_borders_are_those_of_the_actions(panel):
    rng = np.random.default_rng(3)
    actions = rng.integers(-1, 6, (9, 7)).astype(np.int8)
    x, y = np.arange(7) * 100.0, np.arange(9) * 100.0
    for number in range(6):
        path = cells(actions == number, x, y, 50.0)
        squares = [
            shapely.box(i * 100 - 50, j * 100 - 50, i * 100 + 50, j * 100 + 50)
            for j, i in np.argwhere(actions == number)
        ]
        drawn = shapely.union_all([shapely.Polygon(ring) for ring in path.to_polygons()])
        assert drawn.symmetric_difference(shapely.union_all(squares)).area == pytest.approx(0, abs=1e-6)
    expected = sum(
        100.0
        for j in range(9)
        for i in range(7)
        for dj, di in ((0, 1), (1, 0))
        if j + dj < 9
        and i + di < 7
        and actions[j, i] >= 0
        and actions[j + dj, i + di] >= 0
        and actions[j, i] != actions[j + dj, i + di]
    )
    lines = borders(actions, x, y, 50.0)
    assert np.hypot(*(lines[:, 1] - lines[:, 0]).T).sum() == pytest.approx(expected)


def test_the_live_map_tells_depths_and_keeps_its_artists_while_the_slider_moves(panel):
    state, actions = panel.state, panel.actions
    state.under = under("boards", True, 3.0)
    areas, edges, ax = dict(actions.areas), actions.edges, actions.ax
    for step in (2, 10, 18):
        panel.controls["below"].value = panel.controls["below"].options[step][1]
        assert actions.ax is ax
        assert actions.edges is edges
        assert actions.areas == areas
        for (j, i), words in actions.numbers.texts.items():
            change = state.draft.change[j, i]
            told = flatness.parse_length(words.replace("−", "-").removeprefix("+"), "in")
            assert told == pytest.approx(change, abs=25.4 / 64 + 1e-6)
        drawn = {name for name in EVERY if len(actions.areas[name].get_path().vertices)}
        assert drawn == {name for name in EVERY if (state.draft.actions == ACTIONS.index(name)).any()}
    patterns = {area.get_hatch() for area in actions.areas.values()}
    assert len(patterns) == len(actions.areas)  # told apart without colour


def test_the_map_stays_where_it_is_between_a_draft_and_its_plan(panel):
    state = panel.state
    state.under = under("boards", True, 3.0)
    assert state.plan is None
    ax, where = panel.actions.ax, panel.actions.ax.get_window_extent().bounds
    corners = panel.actions.ax.transData.transform([(0.0, 0.0), (1000.0, 2000.0)])
    state.start()
    state.search.wait()
    assert state.shown is state.plan
    assert panel.actions.title.get_text() == "What to do"
    assert panel.actions.ax is ax
    assert ax.get_window_extent().bounds == where
    np.testing.assert_array_equal(ax.transData.transform([(0.0, 0.0), (1000.0, 2000.0)]), corners)


def contrast(one, other):
    def light(colour):
        parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return float(np.dot(linear, (0.2126, 0.7152, 0.0722)))

    high, low = sorted((light(one), light(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_words_stand_out_from_their_paper():
    # WCAG 2.1, success criterion 1.4.3: at least 4.5 to 1, on white and on the gray of a card
    letters = {*re.findall(r"(?<![-\w])color:(#[0-9a-f]{6})", STYLE), *(color for color, _ in SIGNS.values())}
    assert len(letters) >= 4
    assert all(contrast(colour, paper) >= 4.5 for colour in letters for paper in ("#ffffff", "#f3f5f6"))


# the search beside the notebook


def test_the_least_work_is_that_of_the_planner_and_its_members_are_scheduled(panel):
    state = panel.state
    state.target, state.aim = "least-work", 0.7
    state.under, state.members = under("boards", True), framed("sawn joist")
    assert state.draft is None
    panel.start.click()
    assert state.running
    assert "WORKING" in text_of(panel.verdict)
    found = panel.found
    assert not state.running
    joists = flatness.member_layout(0, 406.4, "y", until=float(state.surface.x[-1]))
    ways = flatness.plan_ways(
        flatness.read_survey(LOFT),
        "wood-nailed",
        spacing=FOOT,
        aim=0.7,
        draws=0,
        members=joists,
        beneath=flatness.Beneath("boards", may_be_planed=True),
    )
    assert found.way == ways.proposed
    assert state.ways.table["way"].tolist() == ways.table["way"].tolist()
    assert panel.ways.value.count("<button") == len(ways.plans)
    # another way is shown at once, and that alone
    panel.controls["way"].value = "patches"
    assert state.current
    assert not state.running
    expected = ways.plans["patches"]
    assert panel.found.cost == pytest.approx(expected.cost)
    rows = re.findall(r"<li><b>P\d+: ", panel.patches.value)
    assert len(rows) == len(expected.patches)
    assert (state.schedule is None) == (panel.schedule.value == "")
    panel.controls["way"].value = "members"
    assert panel.found.way == "members"
    assert panel.patches.value == ""
    raised = flatness.member_schedule(ways.plans["members"], joists).table["raise_mm"]
    assert state.schedule.table["raise_mm"].to_numpy() == pytest.approx(raised.to_numpy(), abs=1e-5, nan_ok=True)
    assert "J1" in panel.schedule.value
    # one that is not open says why, and nothing is shown of another
    panel.controls["way"].value = "some-members"
    if "some-members" not in ways.plans:
        assert "is not open" in text_of(panel.problems)
        assert (state.plan, panel.patches.value, panel.schedule.value) == (None, "", "")


# benchmarks, ground by area, strapping, materials, one member's chart


def test_the_plane_through_the_benchmarks_is_the_plane_of_their_heights(tmp_path):
    """Three benchmarks at three corners fix a plane: solved here as three equations."""
    places = {"A": (0.0, 0.0, 12.0), "B": (3000.0, 0.0, 3.0), "C": (0.0, 2400.0, 0.0)}
    lines = ["# surface: floor", "# unit: mm", "# reading: height", "# accuracy: 0.5 mm"]
    lines += [f"# benchmark: {name} = {height}" for name, (_, _, height) in places.items()]
    lines += ["x,y,reading,label,kind"]
    lines += [f"{x},{y},{height},{name},benchmark" for name, (x, y, height) in places.items()]
    lines += [f"{x},{y},{-4 + x / 1000},," for x in range(0, 3001, 600) for y in range(0, 2401, 600)]
    (tmp_path / "floor.csv").write_text("\n".join(lines))
    panel = plan_panel(
        tmp_path / "floor.csv", target="through-benchmarks", on="as-read", draws=0, spacing=300.0, unit="mm"
    )
    controls = panel.controls
    assert [name for _, name in controls["benchmarks"].options] == ["A", "B", "C"]
    assert controls["benchmarks"].layout.display == ""
    assert panel.problems.value == ""
    a, b, c = np.linalg.solve([[x, y, 1] for x, y, _ in places.values()], [height for *_, height in places.values()])

    def plane(draft):
        gx, gy = np.meshgrid(draft.x, draft.y)
        return draft.surface.height + draft.change - (a * gx + b * gy + c)

    assert np.abs(plane(panel.state.draft)).max() < 1e-6
    assert {"A", "B", "C"} <= {text.get_text() for text in panel.actions.spot_names}
    controls["off_benchmarks"].value = "5"
    assert plane(panel.state.draft) == pytest.approx(5, abs=1e-6)
    panel.state.search.wait()
    assert plane(panel.found) == pytest.approx(5, abs=1e-6)
    controls["benchmarks"].value = ()
    assert "no benchmark is chosen" in text_of(panel.problems)
    panel.controls["target"].value = "level"
    assert panel.problems.value == ""
    assert controls["benchmarks"].layout.display == "none"
    panel.close()


def test_what_may_come_off_is_said_by_area(panel):
    controls, state = panel.controls, panel.state
    ends = [controls[f"area_{key}"] for key in ("x0", "y0", "x1", "y1")]
    surface = state.surface
    state.height = float(surface.height[surface.inside].min())  # everything has to come down
    assert set(state.draft.actions[surface.inside]) == {0, ACTIONS.index("engineer")}
    controls["area_kind"].value, controls["area_may"].value, controls["area_most"].value = "slab", True, "6"
    for field, text in zip(ends, ("0", "0", "8'", "10 ft"), strict=True):
        field.value = text
    panel.buttons["area_y1"].click()
    assert panel.problems.value == ""
    assert len(state.grounds) == 1
    planed = state.draft.actions == ACTIONS.index("plane")
    gx, gy = np.meshgrid(surface.x, surface.y)
    inside = (gx < 8 * FOOT + 1) & (gy < 10 * FOOT + 1)
    assert planed[inside].mean() > 0.9
    assert not planed[~inside].any()
    assert "slab, may be planed" in controls["area_list"].options[0][0]
    assert any(one.get_text() == "area 1" for one in panel.actions.grounds if hasattr(one, "get_text"))
    # the later one holds where they overlap
    controls["area_kind"].value, controls["area_may"].value = "boards", False
    panel.buttons["area_y1"].click()
    assert not (state.draft.actions == ACTIONS.index("plane")).any()
    panel.buttons["area_list"].click()
    assert (state.draft.actions == ACTIONS.index("plane")).any()
    for field in ends[2:]:
        field.value = "0"
    panel.buttons["area_y1"].click()
    assert "enclose no area" in text_of(panel.problems)
    panel.buttons["area_list"].click()
    assert state.grounds == ()
    assert controls["area_list"].layout.display == "none"


def test_materials_are_those_that_are_typed_and_told_as_set_by_you(panel):
    controls, state = panel.controls, panel.state
    surface = state.surface
    state.height = float(surface.height[surface.inside].max()) - 3.0
    volume = state.draft.quantities.fill_volume
    assert "as quoted by its trade" in text_of(panel.quantities)
    (
        controls["materials.bag_yield"].value,
        controls["materials.fill_density"].value,
        controls["materials.spare"].value,
    ) = "0.5", "100", "10"
    assert state.draft.quantities.bags == int(np.ceil(volume * 1.1 / (0.5 * FOOT**3)))
    # 100 lb a cubic foot
    assert state.draft.quantities.fill_mass == pytest.approx(volume / FOOT**3 * 100 * 0.45359237)
    assert "0.50 ft3 a bag: set by you" in text_of(panel.quantities)
    panel.units.value = "mm"
    assert "[litres]" in controls["materials.bag_yield"].description
    assert controls["materials.bag_yield"].value == "14.16"  # a cubic foot is 28.317 litres
    assert state.materials["bag_yield"] == pytest.approx(0.5 * FOOT**3, rel=1e-12)
    controls["materials.bag_yield"].value = "12 l"
    assert state.materials["bag_yield"] == 12e6
    for field, text, told in (
        (controls["materials.bag_yield"], "a lot", "Yield of a bag"),
        (controls["materials.spare"], "some", "Spare fill"),
        (controls["materials.fill_density"], "-3", "Weight of the fill"),
        (controls["materials.stock"], "0", "Lengths on sale"),
    ):
        kept = state.materials
        field.value = text
        assert told in text_of(panel.problems)
        assert state.materials == kept
    panel.units.value = "in"


def test_lengths_to_buy_are_enough_for_the_sisters(panel):
    state, controls = panel.state, panel.controls
    surface = state.surface
    state.height = float(surface.height[surface.inside].max())
    state.members, state.bearings = framed("sawn joist", spacing=16 * 25.4, depth=9.25 * 25.4), (0.0, 22 * FOOT)
    controls["materials.stock"].value = "12 ft; 24 ft"
    state.search.start(0)
    state.search.wait()
    assert state.problems == ()
    plan = state.plan
    sistered = plan.action("sister").any(axis=0)
    assert sistered.any()
    lengths = plan.quantities.lengths
    # each joist is 22 ft: no 12 ft length will do, and a 24 ft one gives one sister
    assert lengths.stock["stock_mm"].tolist() == pytest.approx([24 * FOOT])
    count = int(lengths.stock["count"].iloc[0])
    assert lengths.bought_mm == pytest.approx(count * 24 * FOOT)
    assert f"{count} of 24'" in text_of(panel.quantities)
    # volume of the sisters, 9-1/4 in by 1-1/2 in, at 40 lb/ft3
    weight = count * 22 * (9.25 * 1.5 / 144) * 40 * 0.45359237
    assert plan.quantities.sister_mass == pytest.approx(weight, rel=1e-6)
    # the chart of one of them
    assert panel.chart.layout.display == "none"
    name = panel.chart_of.options[2][1]
    panel.chart_of.value = name
    assert panel.chart.layout.display == ""
    first = bytes(panel.chart.value)
    assert first.startswith(b"\x89PNG")
    panel.chart_of.value = panel.chart_of.options[3][1]
    assert bytes(panel.chart.value) != first
    panel.chart_of.value = ""
    assert panel.chart.layout.display == "none"


def test_strapping_is_shimmed_off_what_it_crosses():
    x, y = np.meshgrid(np.arange(7) * 400.0, np.arange(6) * 400.0)
    wavy = flatness.make_survey(x, y, 5 * np.sin(x / 500), surface="ceiling", accuracy=0.3, unit="mm")
    panel = plan_panel(way="members", draws=0, on="as-read", unit="mm", spacing=200.0)
    controls, state = panel.controls, panel.state
    state.choice.survey = wavy
    controls["members.kind"].value = "strapping"
    assert controls["crossing.kind"].layout.display == ""
    controls["crossing.kind"].value = "I-joist"
    controls["crossing.first"].value, controls["crossing.spacing"].value = "0", "600"
    controls["members.direction"].value, controls["members.spacing"].value = "x", "400"
    state.start()
    state.search.wait()
    assert panel.problems.value == ""
    shims = state.schedule.shims
    # strapping along x every 400 mm crosses joists along y at 0, 600, ... 2400 mm
    assert sorted(shims["x_mm"].unique()) == [0, 600, 1200, 1800, 2400]
    assert sorted(shims["y_mm"].unique()) == [0, 400, 800, 1200, 1600, 2000]
    assert (shims["shim_mm"] >= -1e-6).all()
    panel.close()


def test_a_change_makes_the_plan_old_until_it_is_worked_out_again(panel):
    state = panel.state
    state.target, state.aim = "least-work", 0.85
    state.start()
    state.search.wait()
    assert state.current
    assert panel.actions.title.get_text() == "What to do"
    state.aim = 0.7
    assert not state.current
    assert "press Work out the plan again" in text_of(panel.verdict)
    assert panel.actions.title.get_text() == "As it was set before"
    panel.saves[0].click()
    assert "no plan of what is set now" in text_of(panel.problems)


def test_progress_is_told_and_a_stop_keeps_what_was_found(panel, monkeypatch):
    from flatness.panels import plan_state

    state, told, reached = panel.state, [], threading.Event()
    state.target, state.aim, state.under = "least-work", 0.4, under("boards", True, 10.0)
    state.way = "patches"
    state.observe(lambda change: told.append(change["new"]), "progress")
    real = plan_state.plan_ways

    def slow(*, progress, **asked):
        def stopping(count, left, cost):
            reached.set()
            while not progress(count, left, cost):
                time.sleep(0.01)  # as long as a search on a large floor
            return True

        return real(progress=stopping, **asked)

    monkeypatch.setattr(plan_state, "plan_ways", slow)
    state.start()
    assert reached.wait(60)
    time.sleep(0.1)
    state.search.take()
    assert 0 <= panel.bar.value <= 1
    panel.stop.click()
    assert "Stopping" in text_of(panel.verdict)
    state.search.wait()
    assert any(re.search(r"Search 1, round 1: .*straightedge .* Cost so far: .*material moved", text) for text in told)
    if state.plan is None:
        assert "stopped" in text_of(panel.problems)
    else:
        assert not state.plan.finished
        assert "stopped early" in text_of(panel.notes)
    assert panel.stop.layout.display == "none"

    # a second press drops it at once, and what comes late is not shown
    before = state.plan
    state.start()
    panel.stop.click()
    panel.stop.click()
    assert not state.running
    assert "dropped" in text_of(panel.problems)
    state.search.wait()
    assert state.plan is before


def test_a_mistake_stays_told_when_a_search_that_was_under_way_ends(panel):
    state = panel.state
    state.search.start(0, shown=False)
    panel.controls["cut"].value = "about 1 inch"
    assert "about 1 inch" in text_of(panel.problems)
    state.search.wait()
    assert state.plan is not None
    assert "about 1 inch" in text_of(panel.problems)
    # what is typed right takes the message away, and so it stays when the next search ends
    panel.controls["cut"].value = "1"
    state.search.start(0, shown=False)
    state.search.wait()
    assert text_of(panel.problems) == ""


def test_a_plan_that_waits_for_the_engineer_is_no_pass_in_its_headline(panel):
    state = panel.state
    # nobody said what lies beneath, so that nothing may come off; a level plane well below the top cuts all the same
    state.height = float(np.nanmax(state.surface.height)) - 12.0
    state.search.start(0, shown=False)
    state.search.wait()
    assert state.plan.action("engineer").any()
    said = text_of(panel.verdict)
    assert re.match(r"\s*ASK\s+the engineer first", said)
    assert "pass" not in said.split("If allowed and done")[0].lower()
    assert "fk-pass" not in panel.verdict.value


def test_what_fails_in_the_search_is_told_with_its_remedy(panel):
    state = panel.state
    state.target, state.finish = "least-work", ""
    panel.start.click()
    state.search.wait()
    assert "nothing that the least work can be planned for" in text_of(panel.problems)
    assert "agree a straightedge limit" in text_of(panel.problems).lower()
    with pytest.raises(NotReadyError):
        panel.found  # noqa: B018


def test_the_newest_task_wins_and_the_others_are_forgotten():
    worker, seen, go = Worker(threading.RLock()), [], threading.Event()

    def first(stopped, tell):
        go.wait(10)
        tell(lambda: seen.append("told late"))
        return "first", stopped()

    worker.run(first, lambda found, error: seen.append(found))
    for name in ("second", "third"):
        worker.run(lambda stopped, tell, name=name: name, lambda found, error: seen.append(found))
    go.set()
    worker.wait()
    assert seen == ["third"]
    worker.run(lambda stopped, tell: 1 / 0, lambda found, error: seen.append(type(error)))
    worker.wait()
    assert seen[-1] is ZeroDivisionError
    assert not worker.busy


# files


def test_who_waits_does_not_wait_for_what_was_put_off():
    """As a cell that is run right after a slider was moved: the loop is busy with the cell, and its timer cannot go."""
    done = []

    async def cell():
        worker = Worker(threading.RLock())
        worker.later(60.0, lambda: worker.run(lambda stopped, tell: 7, lambda found, error: done.append(found)))
        assert not done
        worker.wait()
        worker.wait()

    # a thread of its own: the browser tests leave a loop in this one
    one = threading.Thread(target=lambda: asyncio.run(cell()))
    one.start()
    one.join(30)
    assert done == [7]


def test_tables_and_map_are_saved_and_never_over_another(panel, tmp_path, monkeypatch):
    state = panel.state
    monkeypatch.setattr(panel, "_folder", tmp_path)
    state.target, state.way, state.members = "least-work", "members", framed("sawn joist")
    state.start()
    plan = panel.found
    panel.name.value = "loft.xlsx"
    for save in panel.saves:
        save.click()
        assert state.problems == ()
    assert {path.name for path in tmp_path.iterdir()} == {
        "loft.xlsx",
        "loft-patches.csv",
        "loft-members.csv",
        "loft.png",
        "loft.json",
    }
    patches = pd.read_csv(tmp_path / "loft-patches.csv")
    assert list(patches["action"]) == list(plan.patches["action"])
    told = patches["greatest_in"].to_numpy() * 25.4
    assert told == pytest.approx(plan.patches["greatest_mm"].to_numpy(), abs=1e-4)
    book = openpyxl.load_workbook(tmp_path / "loft.xlsx")
    assert book["patches"].max_row == len(plan.patches) + 1
    assert book["members"].max_row == len(state.schedule.members) + 1
    assert (tmp_path / "loft.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    again = read_plan(tmp_path / "loft.json")
    np.testing.assert_allclose(again.change, plan.change)
    assert again.members.table["name"].tolist() == state.schedule.members["member"].tolist()
    content = {path: path.read_bytes() for path in tmp_path.iterdir()}
    for save in panel.saves:
        save.click()
        assert "already" in text_of(panel.problems)
        assert "type another name" in text_of(panel.problems).lower()
    for name in ("../elsewhere", "", ".hidden"):
        panel.name.value = name
        panel.saves[0].click()
        assert "not the name of a file" in text_of(panel.problems)
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == content


# what must be said


def test_cautions_are_told_once_and_authority_always(panel):
    state = panel.state
    state.under = under("boards", True, 10.0)
    state.start()
    plan = panel.found
    html = panel.cautions.value
    keys = {one.key: one.text for one in (*plan.cautions, *plan.quantities.cautions) if one.key != "authority"}
    assert keys
    assert all(html.count(text[:40]) == 1 for text in keys.values())
    assert "licensed practice decide" in panel.notes.value


def test_words_of_a_file_cannot_break_out_of_the_page(panel):
    panel.state.members = framed("sawn joist")
    panel.state.spots = (FixedSpot(1000.0, 1000.0, name="<script>alert(1)</script>"),)
    assert "<script" not in panel.verdict.value
    panel.controls["cut"].value = "<b>x</b>"
    assert "<b>x" not in panel.problems.value


# without a survey, another survey, and no leaks


def test_without_a_survey_it_says_what_to_do():
    state = PlanState()
    with pytest.raises(ArgumentError, match="no survey"):
        state.start()
    with pytest.raises(NotReadyError, match="no plan"):
        state.found()
    panel = plan_panel()
    assert panel.actions.ax is None
    panel.start.click()
    assert "choose one in the list" in text_of(panel.problems).lower()
    panel.close()


def test_a_wall_is_plumbed_and_furred_and_spots_go_with_their_survey(panel):
    state = panel.state
    state.add_spot(FixedSpot(1000.0, 1000.0))
    state.choice.choose("gallery_walls/east.csv")
    try:
        assert state.spots == ()
        assert state.finish == ""
        assert any("plumb plane" in name for name, _ in panel.controls["target"].options)
        assert panel.actions.areas["fur"].get_hatch()
        assert not (state.draft.actions == ACTIONS.index("sister")).any()
    finally:
        state.choice.choose_path(LOFT)


def test_what_was_seen_in_one_room_is_not_taken_for_seen_in_another(panel):
    state = panel.state
    state.under = under("boards", True, 3.0)
    try:
        state.choice.choose("glaze_store/before.csv")
        assert state.under == under("boards", False, 3.0)
        assert panel.controls["under.may_be_planed"].value is False
    finally:
        state.choice.choose_path(LOFT)


def test_moves_of_the_slider_do_not_leak(panel):
    options = panel.controls["below"].options
    panel.state.under = under("boards", True, 3.0)

    def move(count):
        for k in range(count):
            panel.controls["below"].value = options[1 + k % (len(options) - 2)][1]
            if k % 10 == 0:
                panel.map.canvas.draw()
        gc.collect()
        artists = len(panel.map.findobj())
        return artists, len(_instances), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss

    first, last = move(20), move(80)
    assert last[:2] == first[:2]
    assert last[2] - first[2] < 8 * 1024  # 8 MB of peak memory, 0.1 MB a move


def test_a_panel_that_is_closed_leaves_no_widget_behind():
    close_figure(live_figure((2, 2), "warm"))
    gc.collect()
    before = len(_instances)
    panel = plan_panel(LOFT, target="level-at", spacing=2 * FOOT, draws=0)
    panel.state.search.wait()
    assert len(_instances) > before
    panel.close()
    assert len(_instances) == before


def test_the_map_is_drawn_as_one_walks_in(coarse_lattice):
    """A door on the left wall comes to the foot: what lies along y is then across, the left wall beneath."""
    x, y = (at.ravel() for at in np.meshgrid(np.arange(0, 3001, 600.0), np.arange(0, 4801, 600.0)))
    walls = Walls(openings=(WallOpening("door", "left", 600.0, 1500.0),))
    survey = make_survey(x, y, 6.0 * (x == 1200), outline=shapely.box(0, 0, 3000, 4800), walls=walls)
    figure = live_figure((6.6, 4.8), "map")
    shown = LiveActions(figure, flatness.plan_corrections(survey, "level"), "mm")
    origin, along, up = shown.ax.transData.transform([(0, 0), (1000, 0), (0, 1000)])
    assert along[1] - origin[1] > 10
    assert abs(along[0] - origin[0]) < 1e-6
    assert up[0] - origin[0] == pytest.approx(-(along[1] - origin[1]))
    assert abs(up[1] - origin[1]) < 1e-6
    close_figure(figure)
