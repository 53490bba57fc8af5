"""F-numbers: the lines they are taken of, their refusals, notes and layout rules."""

import math

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given, settings
from hypothesis import strategies as st

from flatness.errors import ArgumentError, MeasureError
from flatness.measures.fnumbers import (
    FOOT_MM,
    SurveyLine,
    combine,
    estimated_lines,
    f_numbers,
    layout_rules,
    survey_lines,
)
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


@pytest.mark.parametrize("turn", [0, 50, 90, 130, 180, 230, 270, 310])
@pytest.mark.parametrize("order", [[1, 0, *range(2, 14)], [*range(1, 13), 0, 13], [8, *range(8), 9, 11, 12, 13, 10]])
def test_a_line_begins_at_its_readers_end_whichever_way_it_runs(turn, order):
    # of the first and the last that were read, the first lies nearer to the beginning
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    place, height = FOOT_MM * np.array(order, float), np.array(order, float) ** 2
    (line,) = survey_lines(make_survey(place * c, place * s, height, line=["A"] * 14))
    assert line.heights.tolist() == [k**2 for k in range(14)]
    assert line.x == pytest.approx(FOOT_MM * np.arange(14) * c, abs=1e-6)
    assert line.y == pytest.approx(FOOT_MM * np.arange(14) * s, abs=1e-6)


@pytest.mark.parametrize("step", [280.0, 330.0])
def test_the_step_that_is_off_is_named(step):
    along = np.cumsum([0.0, *[FOOT_MM] * 4, step, *[FOOT_MM] * 9])
    with pytest.raises(MeasureError) as caught:
        survey_lines(make_survey(along, 0 * along, np.sin(along), line=["A"] * 15))
    # the fifth step lies between the fifth reading and the sixth
    assert caught.value.problems[0].value.values == {"step": pytest.approx(step), "first": 5, "second": 6}


def test_the_interval_ends_at_nothing():
    # two differences: 1.645 / sqrt(2) of the value is more than all of it
    found = f_numbers(np.random.default_rng(2).normal(0, 200, size=12))
    assert found.lines["n_z"].tolist() == [2]
    assert found.fl_interval == (0.0, pytest.approx(found.fl * (1 + 1.645 / math.sqrt(2))))
    # ten second differences: a value under one has an end under one
    assert found.ff < 1
    assert found.ff_interval[0] == pytest.approx(found.ff * (1 - 1.645 / math.sqrt(18)))


def test_what_cannot_be_combined():
    for values, weights in (([20, 30], [1, 0]), ([20, 0], [1, 1]), ([], []), ([20, -1], [1, 1])):
        with pytest.raises(ArgumentError, match="cannot be combined"):
            combine(values, weights)


def test_ten_differences_are_not_few():
    # a levelness difference spans ten readings: twenty readings have ten, nineteen have nine
    height = np.random.default_rng(8).normal(size=20)
    assert "few" not in f_numbers(height).note
    assert "fewer than 10 differences" in f_numbers(height[:19]).note


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
    assert lines[1].x == pytest.approx(FOOT_MM * np.arange(13))
    assert lines[1].y == pytest.approx([4 * FOOT_MM] * 13)
    turned = make_survey(survey.points["y"], survey.points["x"], survey.points["height"])
    columns = survey_lines(turned)
    assert [line.name for line in columns] == ["column 1", "column 5", "column 9"]
    assert columns[1].heights == pytest.approx(height[4])
    assert columns[1].x == pytest.approx([4 * FOOT_MM] * 13)
    assert columns[1].y == pytest.approx(FOOT_MM * np.arange(13))
    with pytest.raises(MeasureError, match="too short for F-numbers"):
        survey_lines(foot_grid(11, 9)[0])


def test_a_missing_station_breaks_the_line():
    survey, _ = foot_grid(26, 3)
    points = survey.points.drop(index=12)
    lines = survey_lines(make_survey(points["x"], points["y"], points["height"]))
    assert [(line.name, len(line.heights)) for line in lines] == [("row 1", 12), ("row 1 from 14", 13)]
    assert lines[1].x == pytest.approx(FOOT_MM * np.arange(13, 26))
    assert lines[1].y == pytest.approx(np.zeros(13))
    # eleven readings behind the break are no line
    shorter = points[points["x"] < 24.5 * FOOT_MM - FOOT_MM]
    assert [line.name for line in survey_lines(make_survey(shorter["x"], shorter["y"], shorter["height"]))] == ["row 1"]


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
    # two rows are a surface, one is not
    assert [len(line.heights) for line in estimated_lines(make_surface(np.zeros((2, 9)), 600))] == [16]
    for one in (np.zeros((1, 9)), np.zeros((9, 1))):
        with pytest.raises(MeasureError, match="single line"):
            estimated_lines(make_surface(one, 600))


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


def drawn(name, start, end, spacing=FOOT_MM, **attributes):
    """A line from one place to another [ft], read at its ends and in between."""
    (x0, y0), (x1, y1) = start, end
    count = max(2, round(math.dist(start, end)) + 1)
    x, y = FOOT_MM * np.linspace(x0, x1, count), FOOT_MM * np.linspace(y0, y1, count)
    return SurveyLine(name=name, x=x, y=y, heights=np.zeros(count), spacing=spacing, **attributes)


def section(*box, openings=()):
    """A survey whose outline is this box [ft]."""
    feet = shapely.box(*(FOOT_MM * side for side in box))
    holes = tuple(shapely.box(*(FOOT_MM * side for side in hole)) for hole in openings)
    corners = np.array([[0, 0], [1, 0], [0, 1], [1, 1]]) * 9000.0
    return make_survey(corners[:, 0], corners[:, 1], [0.0] * 4, outline=feet, openings=holes)


def said(survey, lines, rule):
    table = layout_rules(survey, lines)
    row = table[table["rule"].str.startswith(rule)].iloc[0]
    return row["met"], getattr(row["detail"], "values", row["detail"])


HALL = section(0, 0, 60, 60)
EIGHTH_IN = 1 / 96  # [ft]: the kit allows a quarter of an inch


@pytest.mark.parametrize(
    ("lines", "met", "closest"),
    [
        ([((10, 10), (30, 10)), ((10, 14), (30, 14))], "yes", ("0", "1", 4)),
        ([((10, 10), (30, 10)), ((10, 14 - EIGHTH_IN), (30, 14 - EIGHTH_IN))], "yes", ("0", "1", 4 - EIGHTH_IN)),
        ([((10, 10), (30, 10)), ((10, 14 - 3 * EIGHTH_IN), (30, 14 - 3 * EIGHTH_IN))], "no", None),
        # the other way round, and off square
        ([((10, 10), (30, 10)), ((30, 13), (10, 13))], "no", ("0", "1", 3)),
        ([((10, 10), (10, 30)), ((13, 30), (13, 10))], "no", ("0", "1", 3)),
        ([((10, 10), (24, 24)), ((12, 10), (26, 24))], "no", ("0", "1", math.sqrt(2))),
        # the closest of three, whichever two they are
        ([((10, 10), (30, 10)), ((10, 20), (30, 20)), ((10, 12), (30, 12))], "no", ("0", "2", 2)),
        ([((10, 30), (30, 30)), ((10, 20), (30, 20)), ((10, 12), (30, 12))], "yes", ("1", "2", 8)),
        # side by side in part; one behind the other, touching or not, ahead or behind, is not side by side
        ([((10, 10), (30, 10)), ((29, 12), (45, 12))], "no", ("0", "1", 2)),
        ([((10, 10), (30, 10)), ((30, 12), (45, 12))], "yes", None),
        ([((30, 10), (45, 10)), ((15, 12), (30, 12))], "yes", None),
        ([((10, 10), (30, 10)), ((35, 10), (50, 10))], "yes", None),
        # crossing ones are not parallel; within 5 degrees they are: over 20 ft 1.5 ft are 4.3 degrees, 2 ft 5.7
        ([((10, 10), (30, 10)), ((20, 5), (20, 25))], "yes", None),
        ([((10, 10), (30, 10)), ((10, 11), (30, 12.5))], "no", ("0", "1", 1)),
        ([((10, 10), (30, 10)), ((10, 11), (30, 13))], "yes", None),
        # either side of 0 degrees by 2.25 and by 2.75
        ([((10, 10), (30, 9.21)), ((10, 12), (30, 12.79))], "no", None),
        ([((10, 10), (30, 9.04)), ((10, 12), (30, 12.96))], "yes", None),
        # half a millimetre side by side, and askew, the one begun farther on
        ([((30, 10), (45, 10)), ((15, 12), (30.0016, 12))], "no", ("0", "1", 2)),
        ([((10, 10), (24, 24)), ((12, 15), (20, 23))], "no", ("0", "1", 3 / math.sqrt(2))),
    ],
)
def test_how_far_apart_lines_are(lines, met, closest):
    drawing = [drawn(str(k), *ends) for k, ends in enumerate(lines)]
    answer, detail = said(HALL, drawing, "parallel lines")
    assert answer == met
    if closest:
        one, other, feet = closest
        assert (detail["one"], detail["other"]) == (one, other)
        assert detail["apart"] == pytest.approx(feet * FOOT_MM)


def test_how_long_and_how_close_lines_are_read():
    # 11 ft, or 3.3 m of the metric companion, within a quarter of an inch
    for feet, met in ((11, "yes"), (11 - EIGHTH_IN, "yes"), (11 - 3 * EIGHTH_IN, "no")):
        lines = [drawn("long", (5, 5), (25, 5)), drawn("short", (5, 20), (5 + feet, 20))]
        answer, detail = said(HALL, lines, "lines at least 11 ft")
        assert (answer, detail["name"], detail["mm"]) == (met, "short", pytest.approx(feet * FOOT_MM))
        assert said(HALL, lines, "readings every 12") == ("yes", {"mm": 6.35})
    for mm, met in ((3300, "yes"), (3295, "yes"), (3290, "no")):
        metric = [drawn("metric", (5, 5), (5 + mm / FOOT_MM, 5), spacing=300.0)]
        assert said(HALL, metric, "lines at least 11 ft")[0] == met
        assert said(HALL, metric, "readings every 12")[0] == "no"


def test_how_far_off_the_edges_readings_are():
    for feet, met in ((2, "yes"), (2 - EIGHTH_IN, "yes"), (2 - 3 * EIGHTH_IN, "no"), (5, "yes")):
        for line in (drawn("a", (feet, 5), (30, 5)), drawn("a", (30, 60 - feet), (45, 30))):
            answer, detail = said(HALL, [line], "readings 2 ft")
            assert (answer, detail["mm"]) == (met, pytest.approx(feet * FOOT_MM))
        holed = section(0, 0, 60, 60, openings=[(20, 20, 22, 22)])
        answer, detail = said(holed, [drawn("a", (5.5, 20 - feet), (40, 20 - feet))], "readings 2 ft")
        assert (answer, detail["mm"]) == (met, pytest.approx(feet * FOOT_MM))
    # a strip of 2 ft is 1 - (1 - 4 / side)^2 of a square: 25 % of one of 29.86 ft
    for side, met in ((29.8, "yes"), (29.9, "no")):
        answer, detail = said(section(0, 0, side, side), [drawn("a", (1, 5), (20, 5))], "readings 2 ft")
        assert answer == met
        assert ("waived: the strip is 25%" in detail) == (met == "yes")


@pytest.mark.parametrize(
    ("box", "ends", "met"),
    [
        ((0, 0, 60, 25), ((10, 10), (30, 10)), "yes"),  # not narrow
        ((0, 0, 60, 25 - EIGHTH_IN), ((10, 10), (30, 10)), "yes"),
        ((0, 0, 60, 25 - 3 * EIGHTH_IN), ((10, 10), (30, 10)), "no"),
        ((0, 0, 20, 60), ((10, 10), (10, 30)), "no"),
        ((0, 0, 60, 20), ((10, 4), (22, 16)), "yes"),
        ((0, 0, 60, 20), ((22, 4), (10, 16)), "yes"),
        ((0, 0, 60, 20), ((10, 16), (22, 4)), "yes"),
        ((0, 0, 20, 60), ((4, 10), (16, 22)), "yes"),
        # 45 degrees within 5: 12 along and 10.3 or 9.7 up are 40.6 and 38.9 degrees
        ((0, 0, 60, 20), ((10, 4), (22, 14.3)), "yes"),
        ((0, 0, 60, 20), ((10, 4), (22, 13.7)), "no"),
        ((0, 0, 60, 20), ((10, 4), (20.3, 16)), "yes"),
        ((0, 0, 60, 20), ((10, 4), (19.7, 16)), "no"),
        ((0, 0, 60, 20), ((22, 4), (10, 14.3)), "yes"),
        ((0, 0, 60, 20), ((22, 4), (10, 13.7)), "no"),
        ((0, 0, 60, 20), ((22, 4), (11.7, 16)), "yes"),
        ((0, 0, 60, 20), ((22, 4), (12.3, 16)), "no"),
        # from corner to corner: both ends within 2 ft of one
        ((0, 0, 20, 20), ((1, 1), (19, 19)), "no"),
        ((0, 0, 20, 20), ((1, 19), (19, 1)), "no"),
        ((0, 0, 20, 20), ((1.5, 1.5), (19, 19)), "yes"),
        ((0, 0, 20, 20), ((1, 1), (16, 16)), "yes"),
    ],
)
@pytest.mark.parametrize("turn", [0, 20, 65, 110, 155])
def test_lines_of_a_narrow_section_however_it_is_turned(box, ends, met, turn):
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    outline = shapely.affinity.rotate(section(*box).outline, turn, origin=(0, 0))
    survey = make_survey([0.0, 9000.0, 0.0], [0.0, 0.0, 9000.0], [0.0] * 3, outline=outline)
    line = drawn("a", *((c * x - s * y, s * x + c * y) for x, y in ends))
    answer, detail = said(survey, [line], "lines at 45")
    assert answer == met
    if met == "no" and not isinstance(detail, str):
        assert detail["names"] == ["a"]
        assert detail["mm"] == pytest.approx(FOOT_MM * min(box[2], box[3]))


@pytest.mark.parametrize(
    ("box", "side", "area"),
    [
        ((0, 0, 20, 8), "yes", "yes"),
        ((0, 0, 20, 8 - EIGHTH_IN), "yes", "yes"),
        ((0, 0, 20, 8 - 3 * EIGHTH_IN), "no", "yes"),
        # 12 m2 are 129.167 ft2
        ((0, 0, 16.2, 8), "yes", "yes"),
        ((0, 0, 16.1, 8), "yes", "no"),
    ],
)
def test_how_large_a_section_is(box, side, area):
    survey, line = section(*box), [drawn("a", (2, 2), (14, 2))]
    answer, detail = said(survey, line, "section side")
    assert (answer, detail["mm"]) == (side, pytest.approx(FOOT_MM * box[3]))
    assert said(survey, line, "section area")[0] == area
    assert f"{box[2] * box[3] * 0.09290304:.1f} m2" in said(survey, line, "section area")[1]
    holed = section(*box, openings=[(4, 4, 6, 6)])
    assert f"{(box[2] * box[3] - 4) * 0.09290304:.1f} m2" in said(holed, line, "section area")[1]


def test_sections_known_from_readings_alone():
    def on(width, height):
        x, y = np.meshgrid([0.0, width * FOOT_MM], [0.0, height * FOOT_MM])
        return make_survey(x, y, np.zeros_like(x))

    line = [drawn("a", (0, 0), (12, 0))]
    assert said(on(30, 30), line, "lines at 45")[0] == "yes"
    assert said(on(30, 20), line, "lines at 45")[0] == "not known"
    assert said(on(30, 20), line, "section side") == ("yes", {"what": "6096 mm"})
    assert said(on(30, 20), line, "section area") == ("yes", {"what": "55.7 m2"})
    assert said(on(30, 5), line, "section side") == ("not known", {"what": "1524 mm"})
    assert said(on(12, 5), line, "section area") == ("not known", {"what": "5.6 m2"})
    row = make_survey(np.arange(12) * FOOT_MM, np.zeros(12), np.zeros(12))
    assert said(row, line, "section side") == ("not known", {"what": "0 mm"})
