"""The reveal along a wall: closed forms and a brute force."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flatness.errors import ArgumentError, MeasureError
from flatness.framing.reveal import reveal
from flatness.surface.lattice import make_surface

NOMINAL = 6.35  # 1/4 in


def floor(profile, spacing=100.0, rows=3, **kwargs):
    return make_surface(np.tile(np.asarray(profile, float), (rows, 1)), spacing, **kwargs)


def along(surface):
    return (float(surface.x[0]), float(surface.y[1])), (float(surface.x[-1]), float(surface.y[1]))


@pytest.mark.parametrize("line", ["level", "parallel"])
def test_flat_floor_has_the_nominal_everywhere(line):
    surface = floor(np.full(40, 12.0))
    found = reveal(surface, *along(surface), NOMINAL, line=line, tolerance=0.5)
    assert found.table["reveal_mm"].to_numpy() == pytest.approx(NOMINAL, abs=1e-6)
    assert (found.departure.value, found.change.value, found.verdict) == (0.0, 0.0, "pass")
    assert found.scribe.empty


def test_tilted_floor_level_and_parallel():
    # 2 mm per m over 4 m: level departs by 4 either way, and by slope x 2 ft within 2 ft; parallel not at all
    surface = floor(0.002 * 100 * np.arange(41))
    level = reveal(surface, *along(surface), NOMINAL, tolerance=4.0)
    assert abs(level.departure.value) == pytest.approx(4.0)
    assert level.change.value == pytest.approx(0.002 * 609.6, abs=1e-5)
    assert level.verdict == "pass"
    parallel = reveal(surface, *along(surface), NOMINAL, line="parallel", tolerance=0.1)
    assert parallel.departure.value == pytest.approx(0.0, abs=1e-5)
    assert parallel.slope == pytest.approx(2.0)


def test_parabola_parallel_line():
    # the line nearest to x^2 on [0, 1] is x - 1/8, off by 1/8 (Chebyshev); here scaled to 8 mm over 4 m
    share = np.linspace(0, 1, 41)
    surface = floor(8 * share**2)
    found = reveal(surface, *along(surface), NOMINAL, line="parallel", tolerance=1.0)
    assert abs(found.departure.value) == pytest.approx(1.0, abs=1e-6)
    assert found.slope == pytest.approx(2.0, abs=1e-6)
    assert found.verdict == "pass"
    tighter = reveal(surface, *along(surface), NOMINAL, line="parallel", tolerance=0.9)
    assert tighter.verdict == "fail"
    # the floor is off the line by 1/8 toward the room at both ends, away from it in the middle
    assert tighter.scribe["gap"].tolist() == ["tight", "wide", "tight"]


def test_stated_height_and_sign():
    # the floor at 3 in the middle comes up into a reveal of 6 above 0
    surface = floor([0, 0, 3, 0, 0], 1000.0)
    found = reveal(surface, *along(surface), 6.0, height=6.0, tolerance=1.0)
    assert found.departure.value == -3.0
    assert found.departure.at == (2000.0, 1000.0)
    # departures pass -1 a third of the way up each side; the stations are 500 mm apart
    assert found.scribe[["from_mm", "to_mm", "departure_mm", "gap", "scribe_mm"]].to_numpy().tolist() == [
        [1500.0, 2500.0, -3.0, "tight", 3.0]
    ]
    assert found.verdict == "fail"


@given(st.lists(st.floats(-8, 8), min_size=3, max_size=12), st.sampled_from(["level", "parallel"]))
@settings(max_examples=40, deadline=None)
def test_scribing_leaves_the_nominal_and_only_takes_off(profile, line):
    surface = floor(profile, 300.0)
    found = reveal(surface, *along(surface), NOMINAL, line=line)
    table = found.table
    assert (table["scribe_mm"] >= 0).all()
    after = table["reveal_mm"] - found.lower_by + table["scribe_mm"]
    assert after.to_numpy() == pytest.approx(NOMINAL, abs=1e-5)
    # midway between highest and lowest: no level line departs less
    if line == "level":
        assert abs(found.departure.value) == pytest.approx(np.ptp(profile) / 2, abs=1e-5)


@given(st.lists(st.floats(-8, 8), min_size=3, max_size=10), st.floats(80, 2500))
@settings(max_examples=40, deadline=None)
def test_largest_change_against_a_dense_search(profile, over):
    spacing = 250.0
    surface = floor(profile, spacing)
    found = reveal(surface, *along(surface), NOMINAL, change_over=over)
    length = spacing * (len(profile) - 1)
    s = np.arange(0, length + 1e-9, 5.0)
    z = np.interp(s, spacing * np.arange(len(profile)), profile)
    apart = np.abs(s[:, None] - s) <= over
    dense = np.abs(z[:, None] - z)[apart].max()
    steepest = np.abs(np.diff(profile)).max() / spacing
    assert dense - 1e-5 <= found.change.value <= dense + 2 * 5.0 * steepest + 1e-5
    if found.change.contacts:
        a, b = (np.interp(x, surface.x, profile) for x, _ in found.change.contacts)
        assert abs(a - b) == pytest.approx(found.change.value, abs=1e-5)
        assert abs(found.change.contacts[0][0] - found.change.contacts[1][0]) <= over + 1e-5


@given(st.lists(st.floats(-8, 8), min_size=4, max_size=9), st.floats(-50, 50), st.floats(-0.01, 0.01))
@settings(max_examples=30, deadline=None)
def test_parallel_does_not_see_a_shift_or_a_tilt(profile, shift, slope):
    base = floor(profile, 400.0)
    moved = floor(np.asarray(profile) + shift + slope * base.x, 400.0)
    one, other = (reveal(s, *along(s), NOMINAL, line="parallel") for s in (base, moved))
    assert abs(other.departure.value) == pytest.approx(abs(one.departure.value), abs=1e-5)


def test_along_y_and_across():
    surface = make_surface(np.arange(12.0).reshape(4, 3), 1000.0)  # height = x/1000 + 3 y/1000
    up = reveal(surface, (1000, 0), (1000, 3000), NOMINAL, line="parallel")
    assert up.slope == pytest.approx(3.0)
    # along (2, 3) a plane rises by 2 + 9 over the square root of 13 metres
    across = reveal(surface, (0, 0), (2000, 3000), NOMINAL, line="parallel")
    assert across.slope == pytest.approx(11 / np.sqrt(13))
    assert across.departure.value == pytest.approx(0, abs=1e-5)
    assert reveal(surface, (1000, 3000), (1000, 0), NOMINAL, line="parallel").slope == pytest.approx(-3.0)


def test_blanks_leave_it_undecided_but_a_failure_stands():
    profile = np.array([0, 0, np.nan, 0, 4.0])
    surface = floor(profile, 1000.0)
    lenient = reveal(surface, *along(surface), NOMINAL, tolerance=3.0)
    assert lenient.verdict == "undecided"
    assert "no readings at" in lenient.note
    assert reveal(surface, *along(surface), NOMINAL, tolerance=1.0).verdict == "fail"
    # within 2 ft: the slope of the last cell, 4 mm per m
    assert lenient.change.value == pytest.approx(4 * 0.6096, abs=1e-5)


def test_nothing_agreed_is_undecided_and_a_change_can_be_agreed_alone():
    surface = floor([0, 0, 2, 0, 0], 1000.0)
    ends = along(surface)
    assert reveal(surface, *ends, NOMINAL).verdict == "undecided"
    # the change within 2 ft is 2 mm per m x 0.6096 m on one side of the peak
    assert reveal(surface, *ends, NOMINAL, change_tolerance=1.22).verdict == "pass"
    assert reveal(surface, *ends, NOMINAL, change_tolerance=1.21).verdict == "fail"


def test_a_string_tells_no_level():
    surface = floor([0, 1, 2], 1000.0, reference="string")
    with pytest.raises(MeasureError, match="does not tell level"):
        reveal(surface, *along(surface), NOMINAL)
    assert reveal(surface, *along(surface), NOMINAL, line="parallel").slope == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("kwargs", "error", "words"),
    [
        ({"line": "wavy"}, ArgumentError, "unknown line"),
        ({"nominal": 0}, ArgumentError, "nominal out of range"),
        ({"tolerance": -1}, ArgumentError, "tolerance out of range"),
        ({"step": 0}, ArgumentError, "step out of range"),
        ({"end": (0, 100)}, ArgumentError, "no length"),
        ({"height": 3.0, "line": "parallel"}, ArgumentError, "goes with a level line"),
        ({"start": (0, 5000), "end": (200, 5000)}, MeasureError, "fewer than two stations"),
    ],
)
def test_arguments_that_cannot_be(kwargs, error, words):
    surface = floor([0, 1, 2])
    call = {"start": (0, 100), "end": (200, 100), "nominal": NOMINAL} | kwargs
    with pytest.raises(error, match=words):
        reveal(surface, **call)
