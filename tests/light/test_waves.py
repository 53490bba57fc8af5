"""Which waves a light shows: sines against their closed form, the whole chain from readings, noise alone."""

import math

import numpy as np
import pytest

import flatness
from flatness.errors import ArgumentError, MeasureError
from flatness.light.eye import Eye
from flatness.light.lamps import Daylight, Row, Strip
from flatness.light.waves import allowed_amplitudes, angle_of, least_distance, least_grazing_angle, shown, wave_spectrum
from flatness.surface.lattice import make_surface
from flatness.surface.likely import likely_surface
from flatness.survey.readings import make_survey

FIVE_FEET = 1524.0
IN = 25.4


def threshold(length, distance=FIVE_FEET):
    """Contrast of a wave that is just seen: Barten 1999 (tests/light/test_eye.py holds it), 20 degrees, 60 trolands."""
    u = distance * math.tan(math.radians(1)) / length
    sigma = math.hypot(0.5 / 60, 0.08 / 60 * 2.1)
    noise = 1 / (0.03 * 1.2274e6 * 60) + 3e-8 / (1 - math.exp(-((u / 7) ** 2)))
    area = 1 / 20**2 + 1 / 12**2 + (u / 15) ** 2
    return 3 * math.exp(2 * (math.pi * sigma * u) ** 2) * math.sqrt(2 / 0.1 * area * noise)


def closed_form(amplitude, length):
    """tan a = slope of the sine over the contrast that is just seen [degrees]."""
    return math.degrees(math.atan(2 * math.pi * amplitude / length / threshold(length)))


def waved(amplitude, length, phase=0.0, heading=0.0, spacing=50.0, nx=120, ny=60):
    x, y = np.meshgrid(spacing * np.arange(nx), spacing * np.arange(ny))
    turned = math.radians(heading)
    along = x * math.cos(turned) + y * math.sin(turned)
    return make_surface(amplitude * np.sin(2 * math.pi * along / length + phase), spacing)


@pytest.mark.parametrize("phase", [0, 0.9, 2.0])
@pytest.mark.parametrize(("amplitude", "length"), [(0.14, 406.4), (1.0, 800.0), (2.0, 1200.0)])
def test_least_angle_of_a_sine_is_its_closed_form(amplitude, length, phase):
    found = least_grazing_angle(waved(amplitude, length, phase), 0, FIVE_FEET)
    assert found == pytest.approx(closed_form(amplitude, length), rel=0.03)


def test_a_wave_shows_by_its_slope_along_the_light():
    surface = waved(1.0, 800.0, heading=30)
    # to first order tan a goes with the cosine between the wave and the light
    along = math.tan(math.radians(closed_form(1.0, 800.0)))
    for heading in (0, 30, 210, 75):
        expected = along * abs(math.cos(math.radians(heading - 30)))
        assert math.tan(math.radians(least_grazing_angle(surface, heading, FIVE_FEET))) == pytest.approx(
            expected, rel=0.04
        )
    assert least_grazing_angle(surface, 120, FIVE_FEET) < 0.15 * math.degrees(along)


def test_a_short_shallow_wave_shows_and_a_long_deep_one_does_not():
    """0.3 mm from trough to crest over 16 in shows at 5 degrees from 5 ft; 9 mm over 8 ft does not (Barten 1999)."""
    assert closed_form(0.15, 16 * IN) > 5 > closed_form(4.5, 96 * IN)
    assert least_grazing_angle(waved(0.15, 16 * IN), 0, FIVE_FEET) > 5
    assert least_grazing_angle(waved(4.5, 96 * IN, nx=240), 0, FIVE_FEET) < 5
    allowed = allowed_amplitudes(5, FIVE_FEET, np.array([16, 96]) * IN)
    assert allowed[0] < 0.15
    assert allowed[1] > 4.5
    for value, inches in zip(allowed, (16, 96), strict=True):
        assert closed_form(float(value), inches * IN) == pytest.approx(5)


def test_a_plane_shows_nothing():
    surface = make_surface(np.add.outer(0.02 * np.arange(30), -0.5 * np.arange(40)), 50)
    assert least_grazing_angle(surface, 0, FIVE_FEET) < 1e-6
    blank = surface.height.copy()
    blank[10:14, 12:20] = np.nan
    assert least_grazing_angle(make_surface(blank, 50), 90, FIVE_FEET) < 1e-6


def test_who_sees_half_as_well_allows_twice_as_much():
    waves = np.array([300.0, 900.0])
    twice = allowed_amplitudes(5, FIVE_FEET, waves, Eye(times=2))
    np.testing.assert_allclose(twice, 2 * allowed_amplitudes(5, FIVE_FEET, waves))
    surface = waved(1.0, 800.0)
    once, half = (math.tan(math.radians(least_grazing_angle(surface, 0, FIVE_FEET, eye=Eye(times=t)))) for t in (1, 2))
    assert once == pytest.approx(2 * half)


def test_least_distance_of_a_strip_is_where_its_angle_is_least():
    """Far down a wall under a long strip tan a = off / down: waves up the wall show first where the light is lowest.

    Around the place that shows it the contrast is about as even as under light from far away.
    """
    surface = waved(0.4, 500.0, heading=90, spacing=50.0, nx=30, ny=80)
    wide = make_surface(np.repeat(surface.height[:, :1], 160, axis=1), 50)
    safe, shows, what = least_distance(wide.height[None], wide, lambda off: Strip(side="top", off=off), FIVE_FEET)
    down = wide.y[-1] - what.at[1]
    assert down > 0.7 * wide.y[-1]
    assert safe == pytest.approx(down * math.tan(math.radians(closed_form(0.4, 500.0))), rel=0.05)
    # of one surface alone, what may show and what is proved are the same
    assert shows == pytest.approx(safe, rel=0.01)


def test_least_distance_of_a_row_is_at_the_edge_of_what_it_shows():
    surface = waved(1.0, 700.0, heading=90, nx=60, ny=60)

    def lamp(off):
        return Row(side="top", off=off, spacing=1200)

    safe, _, _ = least_distance(surface.height[None], surface, lamp, FIVE_FEET)
    strongest = [
        float(shown(surface.height[None], surface, lamp(safe * k), FIVE_FEET).strongest[0]) for k in (0.95, 1.05)
    ]
    assert strongest[0] > 1 > strongest[1]


def test_a_flat_surface_lets_a_lamp_touch_it():
    surface = make_surface(np.zeros((20, 30)), 100)
    safe, shows, what = least_distance(surface.height[None], surface, lambda off: Strip(side="top", off=off), FIVE_FEET)
    assert safe < 4
    assert shows == 0
    assert what.proved < 1e-6


@pytest.mark.parametrize("along", ["x", "y"])
def test_spectrum_has_the_amplitude_of_a_sine(along):
    surface = waved(1.3, 800.0, phase=0.4, heading=0 if along == "x" else 90, ny=120)
    found = wave_spectrum(surface, along)
    largest = found.loc[(found["wavelength_mm"] / 800).sub(1).abs().idxmin()]
    assert largest["amplitude_mm"] == pytest.approx(1.3, rel=0.05)
    other = wave_spectrum(surface, "y" if along == "x" else "x")
    assert other["amplitude_mm"].max() < 0.05
    far = found[(found["wavelength_mm"] < 400)]
    assert far["amplitude_mm"].max() < 0.1


def read(height, step, wide, high, accuracy, seed):
    x, y = map(np.ravel, np.meshgrid(np.arange(0, wide + 1, step), np.arange(0, high + 1, step)))
    noise = np.random.default_rng(seed).normal(0, accuracy, len(x))
    return make_survey(x, y, height(x) + noise, surface="wall", accuracy=accuracy)


@pytest.mark.parametrize("seed", [1, 2])
def test_least_angle_of_a_sine_that_was_measured(seed):
    """A wave of 4 ft read every 6 in to a tenth of a millimetre: surface, waves and eye give back its least angle."""
    survey = read(lambda x: 1.5 * np.sin(2 * np.pi * x / 1219.2 + seed), 152.4, 4876.8, 914.4, 0.1, seed)
    found = flatness.least_grazing_angle(likely_surface(survey, 76.2), 0, FIVE_FEET)
    assert found == pytest.approx(closed_form(1.5, 1219.2), rel=0.03)


def test_noise_alone_paints_no_waves():
    """Flat walls read to 1/32 in: of 95 in 100 no light over half a degree is said to show anything."""
    painted = 0
    for seed in range(100):
        survey = read(np.zeros_like, 609.6, 4876.8, 2438.4, IN / 32, seed)
        likely = likely_surface(survey)
        level = Daylight(angle=45, heading=0)
        lattice = make_surface(likely.mean, likely.spacing)
        found = shown(likely.draw(60, seed), lattice, level, FIVE_FEET, shortest=likely.shortest_wave)
        painted += angle_of(found.proved) > 0.5
        # yet the readings cannot say that there are none
        assert found.most() > found.proved
    assert painted <= 5


def test_shorter_waves_than_two_stations_are_left_out():
    survey = read(lambda x: 0.5 * np.sin(2 * np.pi * x / 700), 609.6, 4876.8, 1219.2, 0.5, 0)
    likely = likely_surface(survey)
    assert wave_spectrum(likely, "x", draws=20)["wavelength_mm"].min() == pytest.approx(2 * 609.6)


def test_too_short_a_surface_and_no_distance():
    with pytest.raises(MeasureError, match="shorter than the shortest wave"):
        least_grazing_angle(make_surface(np.zeros((3, 3)), 100), 0, FIVE_FEET)
    for distance in (0, -1, math.nan):
        with pytest.raises(ArgumentError, match="distance"):
            least_grazing_angle(waved(1, 800), 0, distance)
    with pytest.raises(ArgumentError, match="along"):
        wave_spectrum(waved(1, 800), "z")
