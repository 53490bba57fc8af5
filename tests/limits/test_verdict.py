"""The verdict table: one row a limit, as read and likely, and undecided with its reason."""

import json
import math

import numpy as np
import pytest
from shapely import box

import flatness
from flatness.errors import ArgumentError, LimitError
from flatness.limits.catalogue import published
from flatness.limits.verdict import COLUMNS, assess

pytestmark = pytest.mark.usefixtures("coarse_lattice")

FT = 304.8
COARSE = {"spacing": FT}  # a lattice on which little is to be drawn


def floor(height, nx=9, ny=11, step=2 * FT, accuracy=0.5, **attributes):
    """A floor on a grid whose height [mm] is a function of x and y [mm]."""
    x, y = np.meshgrid(np.arange(nx) * step, np.arange(ny) * step)
    return flatness.make_survey(x, y, height(x, y) + 0 * x, accuracy=accuracy, **attributes)


def valley(depth):
    """A V across the middle of a 16 ft floor: a 10 ft bar across it shows depth x 5 / 8."""
    return lambda x, y: depth * np.abs(x - 8 * FT) / (8 * FT)


def test_the_table_has_one_row_a_limit_and_the_named_columns():
    table = flatness.check(floor(valley(1.0)), ["wood-glued", "laminate-10ft"], draws=40)
    assert list(table.columns) == list(COLUMNS)
    assert table.limit.tolist() == ["wood-glued-10ft", "wood-glued-6ft", "laminate-10ft"]
    assert (table.verdict == "pass").all()
    assert table.source.str.len().min() > 3


def test_as_read_and_allowed_are_what_geometry_says():
    # a V of slope s under a bar L shows s L / 2: 16 mm over 8 ft, 10 ft bar: 10 mm
    row = flatness.check(floor(valley(16.0)), flatness.straightedge_limit(3048, 3), draws=0).iloc[0]
    assert row.as_read_mm == pytest.approx(10.0)
    assert row.allowed_mm == 3
    assert row.verdict == "fail"
    assert "as read" in row.note
    assert row["where"]["x_mm"] == pytest.approx(8 * FT)
    (x0, y0), (x1, y1) = row["where"]["contacts_mm"]
    assert math.hypot(x1 - x0, y1 - y0) == pytest.approx(3048)
    assert math.isnan(row.likely_mm)
    assert math.isnan(row.chance)


@pytest.mark.parametrize(("depth", "verdict"), [(1.0, "pass"), (16.0, "fail")])
def test_far_from_the_limit_the_verdict_is_certain(depth, verdict):
    row = flatness.check(floor(valley(depth)), flatness.straightedge_limit(3048, 4.7625), draws=60).iloc[0]
    assert row.verdict == verdict
    assert row.chance == (1.0 if verdict == "pass" else 0.0)
    assert row.low_mm <= row.likely_mm <= row.high_mm


def test_at_the_limit_noisy_readings_cannot_decide_and_say_so():
    # a true gap of 4.8 mm against 4.7625 mm, read to a millimetre
    noise = np.random.default_rng(4).normal(0, 1.0, (11, 9))
    survey = floor(lambda x, y: valley(4.8 * 8 / 5)(x, y) + noise, accuracy=1.0)
    row = flatness.check(survey, flatness.straightedge_limit(3048, 4.7625), **COARSE).iloc[0]
    assert row.verdict == "undecided"
    assert 0.05 < row.chance < 0.95
    assert "more readings" in row.note


def test_same_seed_same_verdict_to_the_last_digit():
    rng = np.random.default_rng(0)
    noise = rng.normal(0, 0.5, (11, 9))
    survey = floor(lambda x, y: valley(5.0)(x, y) + noise)
    one, two = (flatness.check(survey, "wood-glued", draws=50, seed=7, **COARSE) for _ in range(2))
    for name in ("likely_mm", "low_mm", "high_mm", "chance"):
        assert one[name].tolist() == two[name].tolist()
    other = flatness.check(survey, "wood-glued", draws=50, seed=8, **COARSE)
    assert one.likely_mm.tolist() != other.likely_mm.tolist()


def test_a_higher_confidence_never_turns_undecided_into_a_verdict():
    noise = np.random.default_rng(2).normal(0, 1.0, (11, 9))
    survey = floor(lambda x, y: valley(6.5)(x, y) + noise, accuracy=1.0)
    order = [
        flatness.check(survey, "wood-glued-10ft", confidence=c, draws=100, **COARSE).verdict.iloc[0]
        for c in (0.5, 0.8, 0.95, 0.99)
    ]
    decided = [verdict != "undecided" for verdict in order]
    assert decided == sorted(decided, reverse=True)
    assert decided[0], "at 50 % one of the two is always given"


UNFIT = [
    ("tile-large-24in", {"step": 4 * FT, "nx": 6, "ny": 6}, "too far apart"),
    ("concrete-flat-fl", {}, "12 in"),
    ("stair-risers", {}, "not measured on a surface survey"),
    ("new-home-usa-wood-floor-level", {"reference": "string"}, "string"),
]


@pytest.mark.parametrize(("name", "survey", "reason"), UNFIT)
def test_a_limit_that_does_not_fit_is_undecided_with_the_reason_and_no_number(name, survey, reason):
    row = flatness.check(floor(valley(1.0), **survey), name, draws=20).iloc[0]
    assert row.verdict == "undecided"
    assert reason in row.note
    assert math.isnan(row.as_read)
    assert math.isnan(row.as_read_mm)
    assert math.isnan(row.likely)


def test_a_limit_of_another_surface_is_undecided_among_others_and_refused_alone():
    survey = floor(valley(1.0))
    table = flatness.check(survey, ["wood-glued", "new-home-uk-wall-plumb"], draws=20).set_index("limit")
    assert table.loc["new-home-uk-wall-plumb", "verdict"] == "undecided"
    assert "this limit is for a wall" in table.loc["new-home-uk-wall-plumb", "note"]
    with pytest.raises(LimitError, match="not a limit for a floor"):
        flatness.check(survey, "new-home-uk-wall-plumb", draws=20)


def test_every_published_limit_gets_a_verdict_on_a_floor_a_ceiling_and_a_wall():
    names = [limit.name for limit in published()]
    for surface, reference in (("floor", "level"), ("ceiling", "level"), ("wall", "plumb")):
        survey = floor(valley(3.0), nx=13, ny=16, step=FT, surface=surface, reference=reference)
        table = flatness.check(survey, names, draws=8, **COARSE)
        assert len(table) == len(names)
        assert set(table.verdict) <= {"pass", "fail", "undecided"}
        numbers = table[table.as_read.notna()]
        assert len(numbers) > 5
        assert (table[table.as_read.isna()].verdict == "undecided").all()


def test_flat_and_level_passes_whatever_can_be_measured():
    survey = floor(lambda x, y: 0 * x, nx=13, ny=16, step=FT, accuracy=0.02)
    table = flatness.check(
        survey, [limit.name for limit in published() if "floor" in limit.surfaces], draws=10, **COARSE
    )
    measured = table[table.as_read.notna()]
    assert (measured.verdict == "pass").all(), measured[["limit", "as_read", "verdict"]]


def test_agreed_limits_of_every_kind():
    survey = floor(valley(3.0), nx=13, ny=16, step=FT)
    limits = [
        flatness.straightedge_limit(3048, 5),
        flatness.offset_limit(2000, 5),
        flatness.plane_limit(3048, 6),
        flatness.span_limit([100, 1000, 4000], [2, 4, 10]),
        flatness.f_number_limit(ff=20),
        flatness.level_limit(12),
        flatness.neighbour_limit(3),
        flatness.slope_limit(1 / 48, 1000),
        flatness.step_limit(310, 3),
    ]
    table = flatness.check(survey, limits, draws=10, **COARSE)
    assert table.as_read.notna().all(), table[["limit", "note"]].to_dict("records")
    assert (table.source == "agreed for this project").all()


def test_the_draws_measure_what_the_lattice_measures():
    """Each draw goes through the same path: an error so small that all draws are the readings gives their measure."""
    survey = floor(lambda x, y: 3 * np.sin(x / 900) + 2 * np.cos(y / 1100), nx=13, ny=16, step=FT, accuracy=0.005)
    limits = ["wood-glued", flatness.plane_limit(3048, 6), flatness.offset_limit(2000, 5), flatness.level_limit(12)]
    table = flatness.check(survey, limits, spacing=FT, draws=10)
    assert len(table) == 5  # the finish has two limits
    np.testing.assert_allclose(table.likely_mm, table.as_read_mm, rtol=0.02)


def test_the_table_can_be_said_in_json():
    table = flatness.check(floor(valley(1.0)), "wood-glued", draws=5)
    assert json.loads(json.dumps(table["where"].tolist())) == table["where"].tolist()


def test_options_out_of_range():
    survey = floor(valley(1.0))
    with pytest.raises(ArgumentError, match="draws"):
        flatness.check(survey, "wood-glued", draws=-1)
    with pytest.raises(ArgumentError, match="confidence"):
        flatness.check(survey, "wood-glued", confidence=1.0)
    with pytest.raises(LimitError, match="wood-glued"):
        flatness.check(survey, "wood-gleud")


def test_overall_verdict_is_the_worst_of_all():
    survey = floor(valley(16.0))
    loose, tight = flatness.straightedge_limit(3048, 50), flatness.straightedge_limit(3048, 2)
    assert assess(survey, [loose], draws=20, **COARSE).verdict == "pass"
    assert assess(survey, [loose, tight], draws=20, **COARSE).verdict == "fail"
    assert assess(survey, [loose, "stair-risers"], draws=20, **COARSE).verdict == "undecided"


def test_chance_map_is_where_the_worst_place_is():
    found = assess(floor(valley(16.0)), flatness.straightedge_limit(3048, 5), draws=30, **COARSE)
    chance = found.chance_map(found.judged[0].limit)
    assert chance.shape == found.subject.surface.height.shape
    middle = int(np.argmin(np.abs(found.subject.surface.x - 8 * FT)))
    assert (chance[:, middle] > 0.95).all()
    assert (chance[:, 0] < 0.05).all()


def test_a_reading_that_the_model_does_not_fit_is_not_smoothed_into_a_pass():
    """One reading 1/4 in off a floor else flat to 1/64 in: as read it fails, and no model may say that it passes."""
    noise = np.random.default_rng(6).normal(0, 0.3, (11, 9))
    noise[5, 4] -= 6.5
    found = assess(floor(lambda x, y: noise, accuracy=25.4 / 32), flatness.straightedge_limit(3048, 4.7625), **COARSE)
    row = found.table.iloc[0]
    assert row.as_read_mm > row.allowed_mm
    assert row.chance > 0.95, "the model alone takes the reading for an error"
    assert row.verdict == "undecided"
    assert "what was read says otherwise" in row.note
    assert f"({4 * 2 * FT:.0f}, {5 * 2 * FT:.0f}) mm again" in row.note
    with pytest.raises(flatness.MeasureError, match="no undecided verdict"):
        flatness.more_readings(found)


@pytest.mark.parametrize("draws", [0, 40])
@pytest.mark.parametrize(("depth", "whole"), [(0.5, "undecided"), (40.0, "fail")])
def test_a_floor_does_not_pass_where_it_was_not_read_but_fails_where_it_was(draws, depth, whole):
    limit = flatness.straightedge_limit(3048, 4.7625)
    of_all = box(0, 0, 16 * FT, 60 * FT)
    row = flatness.check(floor(valley(depth), outline=of_all), limit, draws=draws).iloc[0]
    assert row.verdict == whole
    assert ("no reading stands on 6" in row.note) == (whole == "undecided")
    of_it = flatness.check(floor(valley(depth), outline=box(0, 0, 16 * FT, 20 * FT)), limit, draws=draws).iloc[0]
    assert of_it.verdict == ("pass" if whole == "undecided" else "fail")


def test_near_the_line_of_a_verdict_more_is_drawn_until_the_side_is_told():
    noise = np.random.default_rng(4).normal(0, 1.0, (11, 9))
    survey = floor(lambda x, y: valley(7.68)(x, y) + noise, accuracy=1.0)
    few = assess(survey, flatness.straightedge_limit(3048, 4.0), draws=100, most_draws=100, **COARSE).judged[0]
    # limits at which about 4 in 100 of the draws are beyond: 95 % cannot be told from a hundred of them
    for share, verdicts in ((0.96, {"pass", "undecided"}), (0.5, {"undecided"}), (0.04, {"fail", "undecided"})):
        limit = flatness.straightedge_limit(3048, float(np.quantile(few.used, share) * 4.0))
        one = assess(survey, limit, draws=100, **COARSE).judged[0]
        assert one.verdict in verdicts
        error = np.sqrt(one.chance * (1 - one.chance) / len(one.used))
        gap = min(abs(one.chance - 0.95), abs(one.chance - 0.05))
        if len(one.used) < 1000:
            assert gap >= 2 * error
        elif gap < 2 * error:
            assert one.verdict == "undecided"
        assert (len(one.used) == 100) == (share == 0.5)
        assert len(assess(survey, limit, draws=100, most_draws=100, **COARSE).judged[0].used) == 100
