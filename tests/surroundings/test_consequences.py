"""What a change of height does at doors, stairs, thresholds and overhead; and the cautions that go with advice."""

from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatness.errors import ArgumentError, MeasureError
from flatness.surface.lattice import make_surface
from flatness.surroundings.cautions import ADVICE, CAUTIONS, cautions_for
from flatness.surroundings.finished_surface import Layer, build_up, finished_surface, height_at
from flatness.surroundings.interferences import Door, Headroom, Stair, Threshold, consequences, risers_after


def plan_of(height, change, spacing=1000.0, reference="level"):
    surface = make_surface(np.asarray(height, float), spacing, reference=reference)
    return SimpleNamespace(surface=surface, change=np.broadcast_to(np.asarray(change, float), surface.height.shape))


FLAT = np.zeros((3, 4))
OAK = (Layer("plywood", 6.0), Layer("oak", 19.0))


def row(feature, plan=None, layers=OAK):
    return consequences(plan if plan is not None else plan_of(FLAT, 5.0), [feature], layers).iloc[0]


def test_finished_is_found_plus_change_plus_layers():
    found = finished_surface(plan_of([[0, 1], [2, 3]], [[4, 3], [2, 1]]), OAK)
    assert found.height.tolist() == [[29, 29], [29, 29]]
    assert build_up([Layer("old tile", -10.0), Layer("new", 12.0)]) == 2.0
    assert height_at(found, 500, 250) == 29
    with pytest.raises(ArgumentError, match="thickness"):
        build_up([Layer("nothing", float("nan"))])


@pytest.mark.parametrize("change", [np.zeros((2, 2)), np.full((3, 4), np.nan)])
def test_a_change_that_does_not_fit_the_surface(change):
    plan = SimpleNamespace(surface=make_surface(FLAT, 1000.0), change=change)
    with pytest.raises(ArgumentError, match="the change"):
        finished_surface(plan)


def test_door_gap_shrinks_by_the_rise():
    # 5 + 25 = 30 up
    assert row(Door("hall", (500, 500), 35))[["before_mm", "after_mm", "verdict"]].tolist() == [35, 5, "pass"]
    assert row(Door("hall", (500, 500), 30))["verdict"] == "fail"  # it touches
    assert row(Door("hall", (500, 500), 40, least=10))["verdict"] == "pass"
    assert row(Door("hall", (500, 500), 40, least=10.1))["verdict"] == "fail"


def test_door_swings_over_the_highest_place():
    # the floor rises by 4 mm per m along x: a level edge 12 mm up at x = 0 clears x = 2000 by 4
    tilted = plan_of([[0, 4, 8, 12]] * 3, 0.0)
    door = Door("hall", (0, 1000), 12.0, least=4.0, swing=((1000, 1000), (2000, 1000)))
    assert row(door, tilted, ())[["after_mm", "verdict"]].tolist() == [4.0, "pass"]
    with pytest.raises(MeasureError, match="does not tell level"):
        row(door, plan_of([[0, 4, 8, 12]] * 3, 0.0, reference="string"), ())


def test_stair_riser_change_against_three_eighths():
    even = (180.0,) * 5
    # IRC R311.7.5.1: 3/8 in = 9.525 mm
    exact = row(Stair("attic", (0, 0), even), plan_of(FLAT, 9.525), ())
    assert exact[["before_mm", "after_mm", "verdict"]].tolist() == [0.0, 9.525, "pass"]
    assert "whole flight" in exact["caution"]  # it changed, though it passes
    over = row(Stair("attic", (0, 0), even), plan_of(FLAT, 9.6), ())
    assert over["verdict"] == "fail"
    assert row(Stair("attic", (0, 0), ()), plan_of(FLAT, 1.0), ())["verdict"] == "undecided"
    assert row(Stair("attic", (0, 0), even), plan_of(FLAT, 0.0), ())["caution"] == ""


def test_risers_at_both_ends_of_the_flight():
    risers = (180.0, 180.0, 180.0)
    # the same layer on the floor at the head and on the treads leaves only the first riser taller
    assert risers_after(Stair("s", (0, 0), risers, "top", on_treads=20.0), 20.0) == (200.0, 180.0, 180.0)
    # and at the foot, only the last one shorter
    assert risers_after(Stair("s", (0, 0), risers, "bottom", on_treads=20.0), 20.0) == (180.0, 180.0, 160.0)
    assert risers_after(Stair("s", (0, 0), (180.0,), "bottom"), 20.0) == (160.0,)


@given(st.floats(-60, 60), st.floats(0, 40), st.sampled_from(["top", "bottom"]))
def test_total_rise_of_a_flight_changes_by_what_its_ends_do(rise, on_treads, end):
    stair = Stair("s", (0, 0), (170.0, 182.0, 190.0, 176.0), end, on_treads)
    gained = sum(risers_after(stair, rise)) - sum(stair.risers)
    # from the floor at the foot to the floor at the head: treads in between do not count
    assert gained == pytest.approx(rise if end == "top" else -rise)


@pytest.mark.parametrize(
    ("next_height", "allowed", "verdict", "word"),
    [
        (30.0, None, "pass", ""),
        (23.65, None, "pass", ""),  # 6.35 mm: 1/4 in exactly
        (23.0, None, "fail", "beveled"),
        (10.0, None, "fail", "ramped"),
        (40.0, None, "fail", "beveled"),  # the next room is the higher
        (29.0, 1.0, "pass", ""),
        (28.9, 1.0, "fail", "ramped"),
    ],
)
def test_threshold_step(next_height, allowed, verdict, word):
    # finished at 30
    found = row(Threshold("to the hall", (1000, 1000), next_height, allowed))
    assert found["after_mm"] == pytest.approx(30 - next_height)
    assert found["verdict"] == verdict
    assert word in found["caution"]
    assert bool(found["caution"]) == (verdict == "fail")


def test_headroom():
    assert row(Headroom("beam", (0, 0), 2100.0))[["after_mm", "verdict"]].tolist() == [2070.0, "undecided"]
    assert row(Headroom("beam", (0, 0), 2100.0, least=2070.0))["verdict"] == "pass"
    assert row(Headroom("beam", (0, 0), 2100.0, least=2071.0))["verdict"] == "fail"


@given(st.floats(-500, 500))
def test_the_datum_does_not_matter(shift):
    height = np.arange(12.0).reshape(3, 4)
    features = [
        Door("d", (0, 0), 40, 5, ((1000, 1000),)),
        Stair("s", (0, 0), (180.0, 181.0)),
        Headroom("h", (500, 500), 2300, 2200),
    ]
    here = consequences(plan_of(height, 3.0), [*features, Threshold("t", (0, 0), 20.0)], OAK)
    moved = consequences(plan_of(height + shift, 3.0), [*features, Threshold("t", (0, 0), 20.0 + shift)], OAK)
    columns = ["rise_mm", "before_mm", "after_mm"]
    np.testing.assert_allclose(moved[columns].to_numpy(), here[columns].to_numpy(), atol=2e-6)


@pytest.mark.parametrize(
    ("feature", "words"),
    [
        (Door("d", (9000, 0), 10), "no reading reaches d"),
        (Door("d", (0, 0), -1), "gap of d out of range"),
        (Stair("s", (0, 0), (180.0, 0.0)), "risers of s out of range"),
        (Stair("s", (0, 0), (180.0,), "side"), "unknown end of the stair"),
        (Threshold("t", (0, 0), float("nan")), "next_height of t"),
        (Threshold("t", (0, 0), 1.0, -1.0), "allowed of t"),
        (Headroom("h", (0, 0), 0.0), "clear of h"),
    ],
)
def test_features_that_cannot_be(feature, words):
    with pytest.raises(ArgumentError, match=words):
        row(feature)


def test_every_advice_carries_its_cautions_once():
    everything = cautions_for(list(ADVICE) * 2)
    assert [c.key for c in everything] == list(CAUTIONS)
    for advice, keys in ADVICE.items():
        assert {c.key for c in cautions_for([advice])} == set(keys)
    assert all(caution.text.endswith(".") and caution.source for caution in CAUTIONS.values())
    # what the design asks for
    assert "1/6" in CAUTIONS["notch"].text
    assert "R502.8.1" in CAUTIONS["notch"].source
    assert "R502.8.2" in CAUTIONS["engineered"].source
    assert "3/8 in" in CAUTIONS["stairs"].text
    for advice in ("plane", "take down"):
        assert {"notch", "engineered", "dust"} <= set(ADVICE[advice])
    with pytest.raises(ArgumentError, match="no cautions are known"):
        cautions_for(["demolish"])
