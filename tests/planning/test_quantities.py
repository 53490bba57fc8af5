"""Lengths, fill, weight: closed forms, and units from published tables."""

from types import SimpleNamespace

import numpy as np
import pytest

from flatness.errors import ArgumentError
from flatness.framing.cutting import cut_stock
from flatness.planning.quantities import (
    DEFAULTS,
    MM3_PER_FT3,
    SET_BY_YOU,
    bags_of,
    quantities,
    settings_for,
    settings_of,
    settings_table,
)
from flatness.surface.lattice import make_surface


def plan_of(change, spacing=1000.0):
    change = np.asarray(change, float)
    return SimpleNamespace(surface=make_surface(np.where(np.isnan(change), np.nan, 0.0), spacing), change=change)


def test_two_halves_lose_one_to_the_saw():
    assert cut_stock([1200, 1200], [2400], kerf=0).stock["count"].tolist() == [1]
    assert cut_stock([1200, 1200], [2400], kerf=3.2).stock["count"].tolist() == [2]
    # one cut between two pieces, none after the last
    exact = cut_stock([1198.4, 1198.4], [2400], kerf=3.2)
    assert exact.stock["count"].tolist() == [1]
    assert exact.cuts[["offcut_mm", "kerf_mm"]].to_numpy().tolist() == [[0.0, 3.2]]


def test_binary_noise_does_not_lose_a_piece():
    # 3 x 0.1 is a hair over 0.3
    assert cut_stock({0.1 * 1000: 3}, [0.3 * 1000], kerf=0).stock["count"].tolist() == [1]
    assert cut_stock([100.1] * 3, [300.3], kerf=0).stock["count"].tolist() == [1]


def test_prices_decide_where_they_are_given():
    # the long board is dearer by the metre: three short ones cost 12 where two long ones cost 20
    by_length = cut_stock([2300, 2300, 2300], [2400, 4800], kerf=0)
    assert by_length.bought_mm == 7200
    assert by_length.price is None
    by_price = cut_stock([2300, 2300, 2300], {2400: 4.0, 4800: 10.0}, kerf=0)
    assert by_price.cost == by_price.price == 12.0
    assert by_price.stock.to_dict("list") == {"stock_mm": [2400.0], "count": [3], "price": [4.0]}
    cheap_long = cut_stock([2300, 2300, 2300], {2400: 4.0, 4800: 5.0}, kerf=0)
    assert cheap_long.cost == 9.0  # one long, one short
    assert cheap_long.is_optimal


def test_a_large_order_is_near_its_bound():
    rng = np.random.default_rng(5)
    pieces = rng.integers(600, 5000, 45).tolist()
    plan = cut_stock(pieces, [3048, 3658, 4267, 4877, 6096], seconds=1.0)
    assert plan.bought_mm >= sum(pieces)
    assert plan.bound <= plan.cost
    assert plan.gap < 0.02
    assert plan.is_optimal == (plan.gap == 0)


@pytest.mark.parametrize(
    ("pieces", "stock", "kerf", "words"),
    [
        ([5000], [4800], 3, "longer than every stock length"),
        ([], [4800], 3, "no pieces"),
        ([-1], [4800], 3, "a piece out of range"),
        ({1200: 1.5}, [4800], 3, "a piece out of range"),
        ([1200], [], 3, "no stock lengths"),
        ([1200], [0], 3, "stock length or its price"),
        ([1200], {2400: float("nan")}, 3, "stock length or its price"),
        ([1200], [2400], -1, "kerf out of range"),
    ],
)
def test_orders_that_cannot_be_cut(pieces, stock, kerf, words):
    with pytest.raises(ArgumentError, match=words):
        cut_stock(pieces, stock, kerf=kerf)


def test_bag_yield_is_what_its_trade_says_it_covers():
    # a 50 lb bag covers 40 to 50 ft2 at 1/8 in: 40/96 to 50/96 ft3; the default is the lesser
    assert DEFAULTS["bag_yield"].value / MM3_PER_FT3 == pytest.approx(40 / 96, abs=0.005)
    forty_ft2 = 40 * 304.8**2 * 3.175
    assert bags_of(forty_ft2, DEFAULTS["bag_yield"].value) == 1
    assert bags_of(0.0, 1.0) == 0


def test_an_inch_of_cement_fill_weighs_ten_pounds_a_square_foot():
    # 120 lb/ft3 / 12; 1 lbf/ft2 = 47.88026 Pa (NIST SP 811, appendix B.8)
    change = np.zeros((5, 6))
    change[2, 3] = 25.4
    found = quantities(plan_of(change))
    assert found.greatest_load == pytest.approx(478.8026, rel=1e-6)
    assert found.load_at == (3000.0, 2000.0)


def test_volumes_areas_and_bags_of_an_even_fill():
    found = quantities(
        plan_of(np.full((3, 4), 10.0)), settings=settings_of(bag_yield=12e6, fill_density=2e-6, spare=0.1)
    )
    # 3 m x 2 m x 10 mm = 60 litres; with a tenth to spare 66 litres, in bags of 12: 6
    assert found.fill_volume == pytest.approx(60e6)
    assert found.fill_area == pytest.approx(6e6)
    assert found.bags == 6
    assert found.fill_mass == pytest.approx(120.0)
    assert found.cut_volume == found.planed_area == 0
    assert set(found.settings.set_index("name").loc[["bag_yield", "fill_density", "spare"], "source"]) == {SET_BY_YOU}
    assert {c.key for c in found.cautions} == {"load", "dust", "authority"}


def test_a_ramp_through_zero_is_cut_and_filled_apart():
    # -6 to +6 over 2 m, 1 m wide: each side half of 6 mm over 1 m2
    found = quantities(plan_of([[-6.0, 0.0, 6.0]] * 2))
    assert found.fill_volume == pytest.approx(3e6)
    assert found.cut_volume == pytest.approx(3e6)
    assert found.planed_area == pytest.approx(1e6)
    assert "plane" in {c.key for c in found.cautions}


def test_masks_keep_what_is_sistered_out_of_the_fill():
    change = np.full((3, 4), 10.0)
    mask = np.zeros((3, 4), dtype=bool)
    assert quantities(plan_of(change), fill=mask).bags == 0
    assert quantities(plan_of(change), fill=~mask).fill_volume == pytest.approx(60e6)
    with pytest.raises(ArgumentError, match="mask fill"):
        quantities(plan_of(change), fill=mask[:2])


def test_sisters_mass_and_lengths():
    found = quantities(
        plan_of(np.zeros((3, 3))),
        sisters=[2400.0, 2400.0, 1200.0],
        sister_section=(240.0, 40.0),
        stock=[4800.0, 2400.0],
    )
    # 6 m x 0.24 m x 0.04 m = 0.0576 m3 at 40 lb/ft3 = 640.74 kg/m3 (1 lb/ft3 = 16.01846 kg/m3, NIST SP 811)
    assert found.sister_mass == pytest.approx(0.0576 * 40 * 16.01846, rel=1e-6)
    assert found.lengths.bought_mm == 2400 * 3
    assert found.bags == 0
    assert found.load_at is None
    assert set(found.settings["name"]) == {"sister_density", "kerf"}
    assert found.table.set_index("quantity").loc["stock to buy", "from"] == "proven least"


def test_strapping_is_named_and_weighed_as_strapping():
    found = quantities(
        plan_of(np.zeros((3, 3))),
        sisters=[2400.0, 1200.0],
        sister_section=(60.0, 20.0),
        stock=[3657.6],
        framed="strapping",
    )
    # 3.6 m x 0.06 m x 0.02 m = 0.00432 m3 of spruce at 28 lb/ft3 (1 lb/ft3 = 16.01846 kg/m3, NIST SP 811)
    assert found.sister_mass == pytest.approx(0.00432 * 28 * 16.01846, rel=1e-6)
    assert set(found.settings["name"]) == {"strapping_density", "kerf"}
    assert "spruce" in found.settings.set_index("name").loc["strapping_density", "source"]
    names = " ".join(found.table["quantity"])
    assert "mass of strapping" in names
    assert "strapping to buy" in names
    assert "sister" not in names
    with pytest.raises(ArgumentError, match="unknown framing"):
        quantities(plan_of(np.zeros((3, 3))), framed="beams")


def test_every_default_shows_its_source():
    table = settings_table(DEFAULTS)
    assert (table["source"].str.len() > 5).all()
    assert SET_BY_YOU not in set(table["source"])
    assert settings_of(kerf=None)["kerf"] == DEFAULTS["kerf"]
    with pytest.raises(ArgumentError, match="unknown setting"):
        settings_of(colour=3)
    with pytest.raises(ArgumentError, match="bag_yield out of range"):
        settings_of(bag_yield=0)


def test_sisters_without_a_section_and_stock_without_sisters():
    plan = plan_of(np.zeros((3, 3)))
    with pytest.raises(ArgumentError, match="sisters without a section"):
        quantities(plan, sisters=[1000.0])
    with pytest.raises(ArgumentError, match="stock lengths without sisters"):
        quantities(plan, stock=[1000.0])


def test_hollows_of_ceilings_and_walls_are_not_filled_with_what_levels_itself():
    floor, ceiling = settings_for("floor"), settings_for("ceiling")
    assert floor == settings_of()
    assert "self-levelling" in floor["bag_yield"].source
    assert "self-levelling" not in ceiling["bag_yield"].source
    assert ceiling["fill_density"].value < floor["fill_density"].value
    # what the user has set stays, on every surface
    own = settings_of(bag_yield=9e6)
    assert settings_for("wall", own)["bag_yield"] == own["bag_yield"]
    assert settings_for("wall", own)["fill_density"] == ceiling["fill_density"]
