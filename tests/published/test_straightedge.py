"""The straightedge against closed forms.

Sources: chord geometry of a circle (L^2 / 8R, any mechanics handbook), elementary calculus for the cosine
profile and the V; a convex profile is touched by no bar between two supports.
"""

import numpy as np
import pytest

from flatness.lengths import parse_length
from flatness.measures.straightedge import profile_gaps, straightedge
from flatness.surface.lattice import make_surface

STEP = 10.0  # [mm]
AMPLITUDE = 5.0  # [mm]


def cosine(wave):
    x = np.arange(-int(1.5 * wave // STEP), int(1.5 * wave // STEP) + 1) * STEP
    return AMPLITUDE * np.cos(2 * np.pi * x / wave)


# 2 A where the bar is at least a wave long, else A (1 - cos(pi L / wave))
@pytest.mark.parametrize(
    ("wave_m", "expected_mm"), [(3, 10.0), (4, 8.53553), (5, 6.54508), (8, 3.08658), (20, 0.54497)]
)
def test_cosine_profile_under_three_metres(wave_m, expected_mm):
    gaps = profile_gaps(cosine(wave_m * 1000.0), STEP, 3000.0)
    assert gaps.max() == pytest.approx(expected_mm, abs=5e-6)


@pytest.mark.parametrize(
    ("length", "radius_mm", "expected_mm"), [("3 m", 1_000_000.0, 1.125), ("10 ft", 1_000_000.0, 1.161288)]
)
def test_arc(length, radius_mm, expected_mm):
    bar = parse_length(length)
    x = np.linspace(-bar, bar, 401)
    hollow = x**2 / (2 * radius_mm)  # the arc to second order: L^2 / 8R is its sagitta to the same order
    step = x[1] - x[0]
    assert profile_gaps(hollow, step, bar).max() == pytest.approx(expected_mm, abs=1e-9)
    assert profile_gaps(-hollow, step, bar).max() == pytest.approx(0, abs=1e-9)
    hump = make_surface(np.tile(-hollow, (3, 1)), step)
    assert straightedge(hump, bar, headings=1).crown == pytest.approx(expected_mm, abs=1e-9)


@pytest.mark.parametrize(("slope", "length"), [(0.002, 3000.0), (0.01, 2000.0)])
def test_valley(slope, length):
    x = np.arange(-400, 401) * STEP
    assert profile_gaps(slope * np.abs(x), STEP, length).max() == pytest.approx(slope * length / 2)


def test_convex_profile_shows_no_gap_and_its_crown_apart():
    x = np.arange(-200, 201) * STEP
    ridge = -0.002 * np.abs(x)
    assert profile_gaps(ridge, STEP, 3000.0).max() == pytest.approx(0, abs=1e-12)
    found = straightedge(make_surface(np.tile(ridge, (3, 1)), STEP), 3000.0, headings=1)
    assert found.worst is None or found.worst.gap < 1e-9
    # a bar of length L balanced on a ridge of slope s stands s L / 2 clear at both ends
    assert found.crown == pytest.approx(0.002 * 3000 / 2)


def test_old_framing_an_inch_out_across_a_room_may_still_be_flat():
    """Common practice, no source: old framing can be out by about an inch across one room.

    A plain tilt of that much is out of level and shows no gap at all.
    """
    x = np.arange(0, 41) * 152.4
    tilted = np.tile(x * parse_length("1 in") / x[-1], (30, 1))
    found = straightedge(make_surface(tilted, 152.4), parse_length("10 ft"))
    assert np.nanmax(found.gap) == pytest.approx(0, abs=1e-9)
    assert np.ptp(tilted) == pytest.approx(25.4)


def test_quarter_inch_shadow_gap_must_look_constant():
    """Common practice, no source: a shadow gap of 1/4 in must look constant.

    Against a straight 10 ft head, a wave of 1/16 in takes a quarter of a 1/4 in reveal: the straightedge shows it.
    """
    x = np.linspace(0, parse_length("10 ft"), 121)
    edge = parse_length("1/32 in") * np.cos(2 * np.pi * x / parse_length("5 ft"))
    gap = profile_gaps(edge, x[1] - x[0], parse_length("10 ft")).max()
    assert gap / parse_length("1/4 in") == pytest.approx(0.25)
