"""F-numbers: the lines they are taken of, their refusals, notes and layout rules."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from flatness.errors import ArgumentError, MeasureError
from flatness.measures.fnumbers import FOOT_MM, combine, estimated_lines, f_numbers, layout_rules, survey_lines
from flatness.surface.lattice import make_surface
from flatness.survey.readings import make_survey


def by_hand(lines_in):
    """FF and FL of lines in inches, written out reading by reading."""
    total = {"q": [0.0, 0], "z": [0.0, 0]}
    for h in lines_in:
        q = [h[i] - 2 * h[i - 1] + h[i - 2] for i in range(2, len(h))]
        z = [h[i] - h[i - 10] for i in range(10, len(h))]
        for name, values, constant in (("q", q, 4.57), ("z", z, 12.5)):
            mean = sum(values) / len(values)
            s = math.sqrt(sum((v - mean) ** 2 for v in values) / (len(values) - 1))
            f = constant / (3 * s + abs(mean))
            total[name][0] += len(values) / f**2
            total[name][1] += len(values)
    return tuple(math.sqrt(r / t) for t, r in total.values())


def line_survey(count=20, step=FOOT_MM, name="A", bend=0.0, **attributes):
    along = step * np.arange(count)
    return make_survey(along, bend * np.arange(count) % 17, np.sin(along), line=[name] * count, **attributes)


@settings(max_examples=40, deadline=None)
@given(
    lines=st.lists(
        st.lists(st.integers(-40, 40), min_size=12, max_size=30).filter(lambda h: len(set(h[:4])) > 2),
        min_size=1,
        max_size=4,
    ),
    shift=st.floats(-300, 300),
    tilt=st.floats(-5, 5),
    scale=st.floats(0.1, 10),
)
def test_by_hand_and_what_must_not_matter(lines, shift, tilt, scale):
    lines = [np.array(line) / 64 for line in lines]  # sixty-fourths of an inch
    if any(np.ptp(line[10:] - line[:-10]) == 0 for line in lines):
        return  # a line without spread: infinite, elsewhere
    ff, fl = by_hand(lines)
    mm = [line * 25.4 for line in lines]
    found = f_numbers(mm)
    assert (found.ff, found.fl) == pytest.approx((ff, fl), rel=1e-9)
    tilted = f_numbers([line + shift + tilt * np.arange(len(line)) for line in mm])
    assert tilted.ff == pytest.approx(ff, rel=1e-6)
    for same in (f_numbers([-line for line in mm]), f_numbers([line[::-1] for line in mm]), f_numbers(mm[::-1])):
        assert (same.ff, same.fl) == pytest.approx((ff, fl), rel=1e-9)
    rougher = f_numbers([line * scale for line in mm])
    assert (rougher.ff * scale, rougher.fl * scale) == pytest.approx((ff, fl), rel=1e-9)
    low, high = found.ff_interval
    count = sum(len(line) - 2 for line in lines)
    assert (high - ff) / ff == pytest.approx(1.645 / math.sqrt(2 * (count - 1)))
    assert low <= ff <= high
    assert "too narrow" in found.interval_note


def test_one_line_however_given():
    h = np.random.default_rng(3).normal(size=15)
    first = f_numbers([h])
    for again in (h, list(h), tuple(h), h[None]):
        assert f_numbers(again).ff == first.ff
    assert "fewer than 10 differences" in first.note
    assert first.lines["n_z"].tolist() == [5]


def test_too_short_missing_and_other_spacings():
    with pytest.raises(MeasureError, match=r"line 2 is too short.*\n.*11 readings.*\n.*12 or more"):
        f_numbers([np.arange(12), np.arange(11)])
    with pytest.raises(MeasureError, match=r"line 1 has a height missing.*\n.*reading 3"):
        f_numbers([0, 1, np.nan, *range(12)])
    with pytest.raises(ArgumentError, match=r"304\.8 mm or 300 mm"):
        f_numbers(np.arange(12), spacing=600)
    with pytest.raises(MeasureError, match="no lines"):
        f_numbers([])
    with pytest.raises(ArgumentError, match="cannot be combined"):
        combine([20, 30], [1])


def test_straight_and_level_lines_are_infinite_among_others():
    rough = np.random.default_rng(4).normal(size=14)
    level = np.full(14, 1e5)
    assert math.isinf(f_numbers(level).ff)
    assert f_numbers(level).ff_interval == (math.inf, math.inf)
    # the level line adds its readings and no roughness
    assert f_numbers([rough, level]).ff == pytest.approx(f_numbers(rough).ff * math.sqrt(2))


def test_string_reference():
    found = f_numbers(survey_lines(line_survey(reference="string")))
    assert found.ff > 0
    assert math.isnan(found.fl)
    assert math.isnan(found.least_fl)
    assert all(math.isnan(end) for end in found.fl_interval)
    assert "string" in found.note


def test_named_lines_in_any_order_with_a_station_read_again():
    generator = np.random.default_rng(6)
    along, height = FOOT_MM * np.arange(14), generator.normal(size=14)
    c, s = np.cos(0.7), np.sin(0.7)
    order = [0, *generator.permutation(np.arange(1, 13)), 13]
    x, y = along[order] * c + 50, along[order] * s
    survey = make_survey(
        [*x, x[4], 9000], [*y, y[4], 0], [*height[order], height[order][4] + 2, 0], line=["B"] * 15 + [""]
    )
    (line,) = survey_lines(survey)
    expected = height.copy()
    expected[order[4]] += 1  # the mean of both readings
    assert line.name == "B"
    assert line.heights == pytest.approx(expected)
    assert line.length == pytest.approx(13 * FOOT_MM)
    assert "1 readings that name no line" in f_numbers([line]).note


def test_lines_that_are_none():
    with pytest.raises(MeasureError, match=r"line A is not read every 12 in"):
        survey_lines(line_survey(step=400))
    with pytest.raises(MeasureError, match=r"line A is not straight"):
        survey_lines(line_survey(bend=9.0))
    with pytest.raises(MeasureError, match=r"single station"):
        survey_lines(make_survey([0, 0], [0, 0], [1, 2], line=["A", "A"]))
    gx, gy = np.meshgrid(np.arange(8) * 610, np.arange(8) * 610)
    with pytest.raises(MeasureError, match="F-number-style estimates"):
        survey_lines(make_survey(gx, gy, gx))
    assert survey_lines(line_survey(step=FOOT_MM + 1))[0].spacing == FOOT_MM
    assert survey_lines(line_survey(step=300))[0].spacing == 300


def foot_grid(nx, ny, seed=0, **attributes):
    gx, gy = np.meshgrid(np.arange(nx) * FOOT_MM, np.arange(ny) * FOOT_MM)
    height = np.random.default_rng(seed).normal(size=gx.shape)
    return make_survey(gx, gy, height, **attributes), height


def test_rows_and_columns_of_a_foot_grid():
    survey, height = foot_grid(13, 9)
    lines = survey_lines(survey)
    assert [line.name for line in lines] == ["row 1", "row 5", "row 9"]  # 4 ft apart; columns are too short
    assert lines[1].heights == pytest.approx(height[4])
    assert not f_numbers(lines).estimate
    assert len(survey_lines(survey, apart=0)) == 9
    with pytest.raises(MeasureError, match="too short for F-numbers"):
        survey_lines(foot_grid(11, 9)[0])


def test_a_missing_station_breaks_the_line():
    survey, _ = foot_grid(26, 3)
    points = survey.points.drop(index=12)
    lines = survey_lines(make_survey(points["x"], points["y"], points["height"]))
    assert [(line.name, len(line.heights)) for line in lines] == [("row 1", 12), ("row 1 from 14", 13)]


def test_estimates_say_so():
    survey, height = foot_grid(13, 13, 1)
    lines = estimated_lines(survey)
    assert len(lines) == 8
    assert lines[0].heights == pytest.approx(height[0])
    found = f_numbers(lines)
    assert found.estimate
    assert "not an E1155 test" in found.note
    assert "flatters FF" in found.note
    # off a coarser lattice: straight lines between, whose own FF is infinite
    plane = make_surface(np.add.outer(np.arange(9.0), np.arange(9.0)), 600)
    assert math.isinf(f_numbers(estimated_lines(plane)).ff)
    with pytest.raises(MeasureError, match="11 ft"):
        estimated_lines(make_surface(np.zeros((4, 4)), 600))


def met(survey, lines):
    table = layout_rules(survey, lines)
    assert list(table.columns) == ["rule", "met", "detail"]
    return dict(zip(table["rule"].str.split().str[:3].str.join(" "), table["met"], strict=True))


def test_layout_of_a_good_survey():
    # a hall of 40 ft x 40 ft, rows 4 ft apart and 2 ft off the walls
    gx, gy = np.meshgrid(610 + FOOT_MM * np.arange(37), 610 + 4 * FOOT_MM * np.arange(10))
    names = np.repeat(np.arange(10), 37)
    hall = shapely.box(0, 0, 40 * FOOT_MM, 40 * FOOT_MM)
    survey = make_survey(gx, gy, np.sin(gx), line=names, outline=hall)
    rules = met(survey, survey_lines(survey))
    unknown = {"enough readings for", "random traffic, not"}
    assert {rule for rule, answer in rules.items() if answer != "yes"} == unknown
    assert all(rules[rule] == "not known" for rule in unknown)
    # a column in the middle of it
    pierced = make_survey(gx, gy, np.sin(gx), line=names, outline=hall, openings=(shapely.box(6000, 6000, 6400, 6400),))
    assert met(pierced, survey_lines(pierced))["readings 2 ft"] == "no"


def test_layout_of_a_poor_survey():
    survey, _ = foot_grid(13, 9, outline=shapely.box(0, 0, 12 * FOOT_MM, 8 * FOOT_MM))
    rules = met(survey, survey_lines(survey, apart=0))
    assert rules["parallel lines at"] == "no"
    assert rules["lines at 45"] == "no"  # narrower than 25 ft, lines square to it
    assert rules["readings 2 ft"] == "yes"  # waived: the strip is most of so small a section
    assert rules["section area at"] == "no"  # 96 ft2
    assert rules["section side at"] == "yes"
    assert met(survey, survey_lines(survey))["parallel lines at"] == "yes"
    assert met(survey, estimated_lines(survey))["readings every 12"] == "no"


def test_layout_without_an_outline():
    survey, _ = foot_grid(13, 9)
    rules = met(survey, survey_lines(survey))
    assert rules["readings 2 ft"] == rules["lines at 45"] == rules["section area at"] == "not known"
    assert rules["section side at"] == "yes"  # the readings alone span 8 ft


def test_diagonal_line_in_a_narrow_section():
    side = 20 * FOOT_MM
    along = FOOT_MM * np.arange(13) * math.sqrt(0.5)
    for start, answer in ((side / 2 - along[-1] / 2, "yes"), (10.0, "no")):
        end = side if answer == "yes" else along[-1] + 20
        room = shapely.box(0, 0, end, end)
        survey = make_survey(start + along, start + along, np.sin(along), line=["d"] * 13, outline=room)
        assert met(survey, survey_lines(survey))["lines at 45"] == answer
