"""What is written on the papers' drawings and maps: how finely depths are told, names and ticks clear of the rest."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib import get_data_path
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath
from shapely import box

import plan_rooms
from chart_checks import FOOT, INCH, survey_of
from flatness.charts.axes import wrap
from flatness.charts.map_base import bounds_of
from flatness.framing.members import member_layout
from flatness.lengths import parse_length
from flatness.papers.drawing import Datum, beside, draw, marks_of
from flatness.papers.figures import Panel, heat_maps
from flatness.papers.sheet import SHEETS, TYPE, cut, lay_out
from flatness.surface.lattice import Surface
from flatness.words.printed import Rule


@given(st.floats(0.01, 90), st.sampled_from([Rule("in"), Rule("in", 64), Rule("in", 8), Rule("mm")]))
def test_a_length_is_told_to_its_rule_and_never_as_nothing(mm, rule):
    step = INCH / rule.fraction if rule.unit == "in" else 0.5
    told = rule.named(mm)
    if told.startswith("under "):
        assert mm < step / 2 + 1e-9
    else:
        assert abs(parse_length(told) - mm) <= step / 2 + 1e-6
    allowed = rule.at_most(mm)
    assert parse_length(allowed) <= mm + 1e-4
    assert parse_length(allowed) > mm - step


def sheets(unit="in", nx=41, ny=31, members=None, paper="letter"):
    """A plan of steps of fill, and what is drawn of it on each of its sheets."""
    survey = survey_of(nx, ny, FOOT, lambda x, y: 0 * x, outline=box(0, 0, (nx - 1) * FOOT, (ny - 1) * FOOT), unit=unit)
    plan = plan_rooms.plan_of(
        survey,
        lambda x, y, z: np.where(x > 4 * FOOT, 3 + np.floor(y / 3000) * 2, 0.0),
        lambda m, x, y: np.where(m == 0, "leave", "sister"),
        members=members,
    )
    rule = Rule(unit)
    marks = marks_of(plan, unit)
    layout = lay_out(
        bounds_of(plan.surface, survey),
        SHEETS[paper],
        unit,
        most=48 if unit == "in" else 50,
        sides=beside(plan, [], rule),
    )
    datum = Datum.of(survey, rule)
    return plan, layout, [draw(plan, tile, layout, datum, marks, []) for tile in layout.tiles]


def boxes(drawn, *kinds):
    """Where texts of a kind stand on a sheet [mm], a little smaller than they are printed."""
    for x, y, words, kind in drawn.texts:
        if kind in kinds:
            yield words, (x - 0.75 * len(words), y - 1.2, x + 0.75 * len(words), y + 1.2)


@pytest.mark.parametrize("direction", ["x", "y"])
def test_names_of_members_are_on_every_sheet_and_clear_of_depths(direction):
    members = member_layout(0, 2 * FOOT, direction, until=30 * FOOT)
    plan, layout, drawn = sheets(members=members)
    assert len(layout.tiles) > 1
    for tile, sheet in zip(layout.tiles, drawn, strict=True):
        low, high = (tile.x0, tile.x1) if direction == "y" else (tile.y0, tile.y1)
        seen = {
            row["name"]
            for row in plan.members.table.to_dict("records")
            if low + 9 * layout.scale < row["position_mm"] < high - 9 * layout.scale
        }
        named = dict(boxes(sheet, "member"))
        assert seen <= set(named)
        for a, b, c, d in named.values():
            for _, (p, q, r, s) in boxes(sheet, "reading", "small"):
                assert not (a < r and p < c and b < s and q < d)


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_ticks_below_the_drawing_stand_at_equal_steps_and_apart(unit):
    _, _, drawn = sheets(unit)
    for sheet in drawn:
        places = [at for at, _ in sheet.across]
        steps = np.diff(places)
        assert len(places) > 2
        np.testing.assert_allclose(steps, steps[0], rtol=1e-6)
        for (at, words), (after, more) in pairwise(sheet.across):
            # digits of the papers' face are about half as wide as the type is high: 10 points are 3.5 mm
            assert after - at > 0.45 * 3.5 * (len(words) + len(more)) / 2
        assert not any(words.endswith(" m") for _, words in sheet.across)


def test_no_two_texts_of_a_drawing_overlap():
    face = {False: "DejaVuSans.ttf", True: "DejaVuSans-Bold.ttf"}
    _, _, drawn = sheets(members=member_layout(0, 2 * FOOT, "y", until=30 * FOOT))
    for sheet in drawn:
        placed = []
        for x, y, words, kind in sheet.texts:
            size, bold = TYPE[kind]
            font = FontProperties(fname=f"{get_data_path()}/fonts/ttf/{face[bold]}")
            path = TextPath((0, 0), words, size=size, prop=font)
            ink = path.get_extents()
            wide, high = ink.width * 25.4 / 72, ink.height * 25.4 / 72
            placed.append(box(x - wide / 2, y - high / 2, x + wide / 2, y + high / 2))
        assert len(placed) > 20
        crossed = [(i, k) for i, one in enumerate(placed) for k in range(i) if one.intersects(placed[k])]
        assert not crossed


@pytest.mark.parametrize(("unit", "high", "low"), [("in", '+1/2"', '−1/4"'), ("mm", "+13 mm", "−6 mm")])
def test_the_highest_and_the_lowest_place_are_written_on_a_map(unit, high, low):
    height = np.zeros((9, 11))
    height[2, 3], height[6, 8] = 12.7, -6.35  # half an inch, a quarter
    surface = Surface(x=np.arange(11) * 300.0, y=np.arange(9) * 300.0, height=height, spacing=300.0)
    figure = heat_maps([Panel("As found", surface, None)], "floor", unit, 7.0, 4.4)
    texts = {text.get_text(): text for text in figure.axes[0].texts}
    assert texts[high].xy == (900.0, 600.0)
    assert texts[low].xy == (2400.0, 1800.0)


def test_a_number_is_not_torn_from_its_unit():
    lines = wrap("about 1.9 mm at 95 % and 12' 6\" along", 40, 9).split("\n")
    for joined in ("1.9 mm", "95 %", "12' 6\""):
        assert any(joined in line for line in lines)
    assert len(lines) > 3


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=120), st.integers(30, 90))
def test_a_title_is_cut_to_its_length(text, most):
    assert len(cut(text, most)) <= max(most, 3)
