"""Places that a light shows as sums of heights: against what a light shows, and sines by their closed form."""

import math

import numpy as np
import pytest

from flatness.light.eye import Eye
from flatness.light.lamps import Daylight
from flatness.light.places import LightRequirement, Lights
from flatness.light.waves import strengths, wavelengths
from flatness.surface.lattice import make_surface

# the least contrast that is seen of a wave of 4 ft from 5 ft: Barten 1999, by hand in tests/limits/test_light_limit.py
SEEN_OF_4_FT = 0.07247


def lit(heading, allowed, shortest=800.0):
    return LightRequirement(heading=heading, allowed=allowed, distance=1524.0, eye=Eye(), shortest=shortest)


@pytest.mark.parametrize("heading", [0.0, 90.0, 30.0])
@pytest.mark.parametrize("blank", [False, True])
def test_the_sums_make_what_the_light_shows(heading, blank):
    z = np.random.default_rng(0).normal(0, 2, (15, 22)).cumsum(axis=0).cumsum(axis=1)
    if blank:
        z[4:7, 5:9] = z[0, 0] = np.nan
    surface = make_surface(z, 150.0)
    lights = Lights(surface, [lit(45.0, 5.0), lit(heading, 0.2)])
    places = lights.shown(z)
    waves = wavelengths(surface, 800.0)
    level = Daylight(angle=45, heading=heading)
    shows = np.concatenate(list(strengths(z[None], surface, level, 1524.0, Eye(), waves))).reshape(len(waves), -1)
    own = places.requirement == 1
    assert own.sum() > 50
    found = (lights.rows_of(places) @ z[surface.inside])[own]
    assert found == pytest.approx(places.sign[own] * shows[places.band[own], places.node[own]], rel=1e-5, abs=1e-5)
    assert (found > 0.2).all()
    assert found.max() / 0.2 == pytest.approx(lights.used(z), rel=1e-5)
    assert len(np.unique(places.key)) == len(places.key)
    assert (places.key < 0).all()


def test_a_sine_uses_up_what_its_own_angle_allows():
    """tan a = 2 pi A / (L c): of light at that angle it shows just what counts as seen."""
    x = 76.2 * np.arange(65)
    surface = make_surface(np.tile(1.5 * np.sin(2 * np.pi * x / 1219.2), (17, 1)), 76.2)
    own = 2 * math.pi * 1.5 / 1219.2 / SEEN_OF_4_FT
    assert Lights(surface, [lit(0.0, own)]).used(surface.height) == pytest.approx(1, rel=0.03)
    assert Lights(surface, [lit(90.0, own)]).used(surface.height) < 0.01
    half = np.full(surface.height.shape, 0.5)
    assert Lights(surface, [lit(0.0, own)]).used(surface.height, half) == pytest.approx(2, rel=0.03)


def test_a_plane_shows_nothing_that_counts():
    gx, gy = np.meshgrid(100.0 * np.arange(20), 100.0 * np.arange(14))
    surface = make_surface(0.002 * gx - 0.001 * gy, 100.0)
    lights = Lights(surface, [lit(0.0, math.tan(math.radians(1)))])
    assert not len(lights.shown(surface.height).node)
