"""What is written on the papers' drawings and maps: how finely depths are told, names and ticks clear of the rest."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

import plan_rooms
from chart_checks import FOOT, INCH, survey_of
from flatness.corrections.members import member_layout
from flatness.lengths import parse_length
from flatness.show.labels import wrap
from flatness.show.papers.drawing import draw, label_size
from flatness.show.papers.figures import Panel, heat_maps
from flatness.show.papers.lettering import Rule, rule_for
from flatness.show.papers.pdf import SHEETS, cut
from flatness.show.papers.tiles import CLEAR, WIDEST_STEP, lay_out
from flatness.show.plan import bounds_of
from flatness.surface.lattice import Surface


@given(st.lists(st.floats(0.2, 20), min_size=1, max_size=30), st.sampled_from([1, -1]), st.sampled_from(["in", "mm"]))
def test_depths_are_told_so_finely_that_half_of_them_are_something(depths, sign, unit):
    rule = rule_for([sign * mm for mm in depths], unit)
    step = INCH / rule.fraction if unit == "in" else 10.0**-rule.decimals
    lost = sum(mm < step / 2 for mm in depths)
    assert lost <= len(depths) / 2 or rule in (Rule("in", 64), Rule("mm", decimals=1))
    coarser = 2 * step if unit == "in" else 10 * step
    if rule not in (Rule("in", 16), Rule("mm")):  # then the next coarser one would have lost most
        assert sum(mm < coarser / 2 for mm in depths) > len(depths) / 2


@given(st.floats(0.01, 40), st.sampled_from([Rule("in"), Rule("in", 64), Rule("mm"), Rule("mm", decimals=1)]))
def test_a_depth_is_never_told_as_nothing(mm, rule):
    step = INCH / rule.fraction if rule.unit == "in" else 10.0**-rule.decimals
    for told in (rule.listed(-mm), rule.short(-mm)):
        if told[0] == "−":
            assert abs(parse_length(told[1:], rule.unit) - mm) <= step / 2 + 1e-6
        else:
            assert mm < step / 2 + 1e-9
            assert told in (f"under {rule._least()}", f"<{rule._least()}")


def sheets(unit="in", nx=41, ny=31, members=None, paper="letter"):
    """A plan of steps of fill, and what is drawn of it on each of its sheets."""
    survey = survey_of(nx, ny, FOOT, lambda x, y: 0 * x, outline=box(0, 0, (nx - 1) * FOOT, (ny - 1) * FOOT), unit=unit)
    plan = plan_rooms.plan_of(
        survey, lambda x, y, z: np.where(x > 4 * FOOT, 3 + np.floor(y / 3000) * 2, 0.0),
        lambda m, x, y: np.where(m == 0, "leave", "fill"), members=members,
    )  # fmt: skip
    rule = rule_for(plan.patches["greatest_mm"], unit)
    layout = lay_out(
        bounds_of(plan.surface, survey), plan.surface.spacing, label_size(plan, rule), SHEETS[paper], unit
    )  # fmt: skip
    return plan, layout, [draw(plan, tile, layout, rule) for tile in layout.tiles]


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
            row["name"] for row in plan.members.table.to_dict("records")
            if low + 9 * layout.scale < row["position_mm"] < high - 9 * layout.scale
        }  # fmt: skip
        named = dict(boxes(sheet, "member"))
        assert seen <= set(named)
        for a, b, c, d in named.values():
            for _, (p, q, r, s) in boxes(sheet, "depth", "zero"):
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


@given(
    st.floats(2000, 30000), st.floats(2000, 30000), st.floats(3, 14), st.sampled_from(["in", "mm"]),
    st.sampled_from([76.2, 101.6, 152.4, 304.8]),
)  # fmt: skip
def test_depths_stand_clear_where_they_can_and_never_too_far_apart(wide, high, label, unit, spacing):
    layout = lay_out((0, wide, 0, high), spacing, (label, 2.7), SHEETS["letter"], unit)
    step = layout.stride * spacing
    assert step <= WIDEST_STEP[unit] * 1.01
    free = step / layout.scale - label
    assert free > 1.5
    if free < CLEAR[0] - 1e-6:  # more room would have put them too far apart
        assert math.ceil((label + CLEAR[0]) * layout.scale / spacing - 1e-9) * spacing > WIDEST_STEP[unit] * 1.01


@pytest.mark.parametrize(("unit", "high", "low"), [("in", '+1/2"', '−1/4"'), ("mm", "+13 mm", "−6 mm")])
def test_the_highest_and_the_lowest_place_are_written_on_a_map(unit, high, low):
    height = np.zeros((9, 11))
    height[2, 3], height[6, 8] = 12.7, -6.35  # half an inch, a quarter
    surface = Surface(np.arange(11) * 300.0, np.arange(9) * 300.0, height, 300.0)
    figure = heat_maps([Panel("As found", surface, None)], "floor", unit, 7.0)
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
