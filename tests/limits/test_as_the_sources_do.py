"""Published limits held against surfaces whose answer is known in closed form, as each source measures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

import flatness
from flatness.limits.catalogue import find
from flatness.limits.kinds import level_rule
from flatness.measures.levels import plumb_at_stations

FT, IN = 304.8, 25.4
AS_READ = {"draws": 0}


def survey(height, sides, step, surface="floor"):
    """Exact readings of ``height(x, y)`` over ``sides`` [mm], ``step`` [mm] apart."""
    axes = [np.arange(round(side / step) + 1) * step for side in sides]
    x, y = np.meshgrid(*axes)
    z = np.broadcast_to(np.asarray(height(x, y), dtype=float), x.shape)
    return flatness.make_survey(x, y, z, surface=surface, reference="plumb" if surface == "wall" else "level")


def judged(read, name):
    return flatness.check(read, name, **AS_READ).iloc[0]


def near(x, y, cx, cy):
    return (np.abs(x - cx) < 1) & (np.abs(y - cy) < 1)


def test_a_ramp_has_no_abrupt_change_and_a_trough_has():
    # 1 in 100 over 150 mm rises 1.5 mm, and a bar on it shows nothing; a trough of 0.6 mm shows 0.6 mm
    ramp = judged(survey(lambda x, y: x / 100, (1500, 900), 75), "resilient-australia-abrupt")
    assert (ramp.verdict, ramp.as_read) == ("pass", pytest.approx(0, abs=1e-9))
    trough = survey(lambda x, y: -0.6 * (np.abs(x - 750) < 1), (1500, 900), 75)
    row = judged(trough, "resilient-australia-abrupt")
    assert (row.verdict, row.as_read) == ("fail", pytest.approx(0.6))
    wide = judged(survey(lambda x, y: 0 * x, (1500, 1500), 300), "resilient-australia-abrupt")
    assert wide.verdict == "undecided"
    assert "too far apart" in wide.note


def test_level_is_between_any_two_points_up_to_20_ft():
    # a hump of 19 mm in the middle of 8 m by 8 m: nothing on the floor is 20 ft (6.1 m) from it
    row = judged(survey(lambda x, y: 19 * near(x, y, 4000, 4000), (8000, 8000), 500), "new-home-usa-wood-floor-level")
    assert (row.verdict, row.as_read) == ("fail", pytest.approx(19))
    # 1 mm in a metre over 15 m: 6.1 mm in 20 ft at most
    row = judged(survey(lambda x, y: x / 1000, (15000, 3000), 500), "new-home-usa-wood-floor-level")
    assert row.verdict == "pass"
    assert row.as_read <= 6.096 + 1e-9


def test_a_woodwork_ceiling_is_flat_too():
    # a hump of 13 mm at one station 8 ft from the edges: a bar from its top to the edge shows 7/8 of it a foot away
    read = survey(lambda x, y: 13 * near(x, y, 8 * FT, 8 * FT), (16 * FT, 16 * FT), FT, "ceiling")
    row = judged(read, "woodwork-ceiling-flat")
    assert row.verdict == "fail"
    assert row.as_read >= 13 * 7 / 8 - 1e-9


def test_studs_are_plumb_as_well_as_true():
    # a flat wall 20 mm out of plumb in 8 ft
    read = survey(lambda x, y: 20 * y / (8 * FT), (12 * FT, 8 * FT), FT, "wall")
    rows = flatness.check(read, ["studs-thin-set-tile", "studs-board"], **AS_READ).set_index("limit")
    assert rows.loc[["studs-thin-set-tile-plumb", "studs-board-plumb"], "as_read"].tolist() == pytest.approx([20, 20])
    assert set(rows.loc[["studs-thin-set-tile-plumb", "studs-board-plumb"], "verdict"]) == {"fail"}
    assert rows.loc[["studs-thin-set-tile-true", "studs-board-true"], "as_read"].tolist() == pytest.approx([0, 0])


BOW = (40 * FT) ** 2 / (8 * 23)  # radius [mm] of a bow of 23 mm in 40 ft


@pytest.mark.parametrize("name", ["maple-sports-slab", "tile-large-10ft"])
def test_a_gentle_bow_is_what_the_bar_shows(name):
    # under a chord c of a circle of radius R the gap is c^2 / 8 R: 23 mm (10 / 40)^2
    read = survey(lambda x, y: (x - 20 * FT) ** 2 / (2 * BOW), (40 * FT, 10 * FT), FT)
    row = judged(read, name)
    # the straight lines between stations lie up to (1 ft)^2 / 8 R off the circle
    assert row.as_read == pytest.approx(23 / 16, abs=23 / 1600 + 1e-9)
    assert row.verdict == "pass"


def test_tile_tells_the_plane_too_and_the_bar_decides():
    read = survey(lambda x, y: (x - 20 * FT) ** 2 / (2 * BOW), (40 * FT, 10 * FT), 2 * FT)
    # the narrowest plane of a bow lies level: from its end, 20 ft out, 10 ft inward it falls 23 (1 - 1/4) mm
    plane = judged(read, "tile-large-plane-10ft")
    assert (plane.verdict, plane.as_read) == ("fail", pytest.approx(23 * 3 / 4))
    note = judged(read, "tile-large-10ft").note
    assert f"{23 * 3 / 4:.1f} mm within 3048 mm" in note
    assert "the bar decides" in note


@pytest.mark.parametrize(
    ("name", "surface"), [("new-home-uk-floor-level", "floor"), ("new-home-uk-ceiling-level", "ceiling")]
)
def test_level_is_taken_across_the_full_width(name, surface):
    # a ridge that rises 4.4 mm in its metre, and both edges level
    ridge = survey(lambda x, y: np.maximum(0, 4.4 - np.abs(x - 2000) * 4.4e-3), (4000, 4000), 500, surface)
    row = judged(ridge, name)
    assert (row.verdict, row.as_read) == ("pass", pytest.approx(0, abs=1e-9))
    # 4 mm a metre over 5 m is 20 mm, where 15 are allowed
    row = judged(survey(lambda x, y: 4e-3 * x, (5000, 3000), 500, surface), name)
    assert (row.verdict, row.as_read, row.allowed) == ("fail", pytest.approx(20), pytest.approx(15))


def test_a_wall_of_more_than_a_storey_is_plumb_in_total_too():
    # 13 mm in 5 m is 7.8 mm in 3 m, within 8; in total 12 are allowed
    read = survey(lambda x, y: 13 * y / 5000, (3000, 5000), 500, "wall")
    rows = flatness.check(read, ["new-home-uk-wall-plumb", "new-home-uk-wall-plumb-total"], **AS_READ)
    assert rows.as_read.tolist() == pytest.approx([7.8, 13])
    assert rows.verdict.tolist() == ["pass", "fail"]


@pytest.mark.parametrize(("name", "surface"), [("plasterboard-france-2m", "wall"), ("wood-france", "floor")])
def test_a_crown_is_no_gap_between_contacts(name, surface):
    # a crown of 6 mm in 2 m: on a curve that is nowhere hollow a bar leaves nothing between two contacts
    row = judged(survey(lambda x, y: -6e-6 * (x - 1000) ** 2, (2000, 2000), 500, surface), name)
    assert (row.verdict, row.as_read) == ("pass", pytest.approx(0, abs=1e-9))
    hollow = judged(survey(lambda x, y: 6e-6 * (x - 1000) ** 2, (2000, 2000), 500, surface), name)
    assert (hollow.verdict, hollow.as_read) == ("fail", pytest.approx(6))


def test_a_slab_in_france_is_held_on_blocks():
    row = judged(survey(lambda x, y: -8e-6 * (x - 1000) ** 2, (2000, 2000), 500), "slab-france-2m")
    assert (row.verdict, row.as_read) == ("fail", pytest.approx(8))


def test_slope_is_over_24_in():
    # 0.4 in up over one foot and level beyond it: 1 in 30 over the foot, 1 in 60 over two
    read = survey(lambda x, y: 0.4 * IN * (x > 4.5 * FT), (10 * FT, 6 * FT), FT)
    row = judged(read, "accessible-slope")
    assert (row.verdict, row.as_read) == ("pass", pytest.approx(1 / 60))


@pytest.mark.parametrize(("rise", "verdict"), [(6, "pass"), (7, "fail")])
def test_a_step_is_decided_where_readings_stand_close(rise, verdict):
    x = np.array([0, 500, 1000, 1025, 1500, 2000] * 3, dtype=float)
    y = np.repeat([0.0, 500, 1000], 6)
    read = flatness.make_survey(x, y, rise * (x > 1010), surface="floor")
    row = judged(read, "accessible-vertical-change")
    assert (row.verdict, row.as_read) == (verdict, pytest.approx(rise))
    apart = judged(survey(lambda x, y: 0 * x, (3000, 3000), 500), "accessible-vertical-change")
    assert apart.verdict == "undecided"


def test_what_was_corrected_in_words():
    (screed,) = find("parquet-screed-switzerland")
    assert "kit's reading" not in screed.notes
    assert "two raised points" in screed.notes
    assert all("2013" in limit.notes for limit in find("din-row-2"))


@pytest.mark.parametrize(("out", "verdict"), [(6.0, "pass"), (20.0, "fail")])
def test_studs_of_a_wall_a_hair_over_8_ft_are_judged_over_8_ft(out, verdict):
    # a plane that leans by so much over 2440 mm leans by 8 ft / 2440 mm of it over the 8 ft that the limit asks for
    x, y = np.meshgrid(np.arange(8) * 400.0, np.arange(6) * 488.0)
    read = flatness.make_survey(x, y, out * y / 2440, surface="wall", reference="plumb")
    row = judged(read, "studs-board-plumb")
    # the lines of the lattice are 2434.8 mm long, within 4 mm of 8 ft: all of them is measured
    assert (row.verdict, row.as_read) == (verdict, pytest.approx(out * 8 * FT / 2440, rel=4 / 2440))


@pytest.mark.parametrize("spacing", [None, 475.0, 500.0])
@pytest.mark.parametrize("draws", [0, 20])
def test_a_wall_is_out_of_plumb_by_all_of_its_height_on_any_lattice(spacing, draws):
    # a plane that leans by 6 mm over 2440 mm; lattices of 150, 475 and 500 mm end 40 to 440 mm short of that
    x, y = np.meshgrid(np.arange(5) * 600.0, np.arange(5) * 610.0)
    read = flatness.make_survey(x, y, 6.0 * y / 2440, surface="wall", reference="plumb", accuracy=0.01)
    row = flatness.check(read, flatness.plumb_limit(7.0), spacing=spacing, draws=draws).iloc[0]
    assert row["as_read_mm"] == pytest.approx(6.0, abs=1e-9)
    assert draws == 0 or row["likely_mm"] == pytest.approx(6.0, abs=0.05)


def test_no_upright_goes_through_an_opening():
    x, y = np.meshgrid(np.arange(3) * 1000.0, np.array([0.0, 1000.0, 2000.0, 3000.0]))
    z = np.where((x == 1000) & (y >= 2000), 9.0, 0.0)
    door = shapely.box(800, 1100, 1200, 1900)
    read = replace(flatness.make_survey(x, y, z, surface="wall", reference="plumb"), openings=(door,))
    assert plumb_at_stations(read).value == 0.0
    assert plumb_at_stations(replace(read, openings=())).value == 9.0


@pytest.mark.parametrize("name", ["new-home-uk-floor-level", "new-home-uk-ceiling-level"])
def test_level_in_new_homes_in_the_united_kingdom_by_the_span(name):
    # NHBC 2020, 9.1: 3 mm a metre up to 6 m, 20 mm beyond
    allowed = level_rule(find(name)[0])
    assert [allowed(metres * 1000.0) for metres in (1, 4, 6, 6.2, 12)] == [3, 12, 18, 20, 20]
