"""What lights show of a survey: a fine line survey, all sides of a ceiling, lights that are given."""

import math

import numpy as np
import pytest

from flatness.errors import ArgumentError
from flatness.light.eye import contrast_sensitivity, cycles_per_degree
from flatness.light.findings import EVERY_MM, NOTHING, SHOWS, UNKNOWN, what_light_shows
from flatness.light.lamps import Row, Strip
from flatness.light.waves import least_distance, shown, wave_spectrum
from flatness.surface.lattice import make_surface
from flatness.survey.readings import make_survey

IN, FT = 25.4, 304.8
# the least contrast that is seen of a wave of 16 in from 5 ft: Barten 1999, see test_waves.threshold
SEEN_OF_16_IN = 0.02420


def survey(x, y, height, accuracy, **more):
    x, y = map(np.ravel, np.meshgrid(x, y))
    noise = np.random.default_rng(0).normal(0, accuracy, len(x))
    kind = {"surface": "wall", "reference": "plumb"} | more
    return make_survey(x, y, height(x, y) + noise, accuracy=accuracy, **kind)


def test_a_feeler_every_3_in_along_three_lines_sees_a_wave_of_16_in():
    """0.3 mm, half from trough to crest: tan a = 2 pi 0.3 / 406.4 over what is seen, 10.85 degrees."""
    true = math.degrees(math.atan(2 * math.pi * 0.3 / (16 * IN) / SEEN_OF_16_IN))
    read = survey(3 * IN * np.arange(33), [0, 1200, 2400], lambda x, y: 0.3 * np.sin(2 * np.pi * x / 16 / IN), 0.05)
    found = what_light_shows(read, sides=("left",), draws=20, angle=5)
    window, strip, _ = found.lights
    assert window.shortest < 7 * IN
    assert 0.85 * true < window.shows < true < window.safe < 1.2 * true
    assert window.wave == pytest.approx(16 * IN, rel=0.1)
    assert window.answer == found.answer == SHOWS
    # light of a strip 8 ft away at the far end strikes at no less than its distance over 8 ft
    assert 0.6 * math.tan(math.radians(true)) * 8 * FT < strip.shows < strip.safe
    likely = found.here(16 * IN)
    assert likely[0] == pytest.approx(0.3, rel=0.15)
    assert found.here(3 * IN) is None


@pytest.mark.parametrize("wave", [72 * IN, 96 * IN])
def test_what_a_wave_is_now_is_that_of_its_own_band(wave):
    """4.5 mm at 96 in: in a band at w, 0.3 octaves wide, its slope is exp(-(log2(96 / w) / 0.3)**2 / 2) of its own."""
    read = survey(6 * IN * np.arange(49), [0, 900, 1800], lambda x, y: 4.5 * np.sin(2 * np.pi * x / 96 / IN), 0.1)
    found = what_light_shows(read, draws=20)
    band = found.waves[np.abs(np.log2(found.waves / wave)).argmin()]
    true = 4.5 * math.exp(-((math.log2(96 * IN / band) / 0.3) ** 2) / 2) * band / (96 * IN)
    assert found.here(wave)[0] == pytest.approx(true, rel=0.15)
    # a second way to it: the spectrum of the same surface
    table = wave_spectrum(found.likely, draws=20)
    near = (np.log2(table["wavelength_mm"] / wave)).abs().argmin()
    assert found.here(wave)[0] == pytest.approx(table["amplitude_mm"].iloc[near], rel=0.01)


def test_a_ceiling_is_lit_both_ways_and_from_all_sides():
    read = survey(
        2 * FT * np.arange(6), 2 * FT * np.arange(7), lambda x, y: 0.001 * x, 0.3, surface="ceiling", reference="level"
    )
    found = what_light_shows(read, draws=12, angle=60, off=5000)
    assert [one.kind for one in found.lights].count("window") == 2
    assert {one.side for one in found.lights} == {"", "left", "right", "bottom", "top"}
    assert found.answer == NOTHING
    assert found.surface.height.shape == found.likely.mean.shape


def test_lamps_along_the_top_show_waves_along_x_that_were_read():
    """Waves of 48 in along x, read every 12 in on lines 850 mm apart; the true wall under the same lamps is between."""

    def height(x, y):
        return 1.5 * np.sin(2 * np.pi * x / 48 / IN + 0.7)

    found = what_light_shows(survey(12 * IN * np.arange(17), [100, 950, 1800, 2650], height, 0.1), draws=30)
    wall = found.surface
    true = height(*np.meshgrid(wall.x, wall.y))[None]
    lamps = {
        "strip": lambda off: Strip(side="top", off=off),
        "row": lambda off: Row(side="top", off=off, spacing=EVERY_MM),
    }
    for one in found.lights[1:]:
        least, _, _ = least_distance(true, wall, lamps[one.kind], found.distance)
        assert 0.3 * least < one.shows < least < one.safe < 3 * least, one
        assert one.shortest == 1700


def test_waves_across_the_lines_that_were_not_read_do_not_count():
    """600 mm is under the shortest along y, 1700 mm, and not along x: by one and a half octaves.

    What is left of it is at the edges, where the pattern stops.
    """
    x, y = np.meshgrid(50.0 * np.arange(60), 50.0 * np.arange(60))
    lamp, both = Strip(side="top", off=200), (500.0, (500.0, 1700.0))
    for along, left in ((x, 1.0), (y, 0.0)):
        wall = make_surface(np.sin(2 * np.pi * along / 600), 50.0)
        whole, cut = (shown(wall.height[None], wall, lamp, 1524.0, shortest=least).strongest[0] for least in both)
        assert cut / whole == pytest.approx(left, abs=0.1)


def test_between_proof_and_safety_it_is_not_known():
    read = survey(16 * IN * np.arange(13), [0, 900, 1800], lambda x, y: np.sin(x / 300), 0.4)
    free = what_light_shows(read, draws=30, sides=("top",))
    window = free.lights[0]
    assert window.answer is None
    assert free.answer is None
    between = (window.shows + window.safe) / 2
    assert what_light_shows(read, draws=30, sides=("top",), angle=between).lights[0].answer == UNKNOWN


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"along": ("z",)}, "along"),
        ({"sides": ("front",)}, "sides"),
        ({"distance": 0}, "distance"),
        ({"angle": 91}, "angle"),
        ({"off": -5}, "off"),
        ({"every": 0}, "spacing"),
        ({"confidence": 1}, "confidence"),
    ],
)
def test_what_no_light_can_be(asked, says):
    read = survey(2 * FT * np.arange(4), 2 * FT * np.arange(4), lambda x, y: 0 * x, 0.3)
    with pytest.raises(ArgumentError, match=says):
        what_light_shows(read, **asked)


def feelers(amplitude, seed):
    """A feeler every 2 in along 8 ft of a straightedge, good to a tenth of a millimetre, over a wave of 16 in."""
    x = 50.8 * np.arange(49)
    noise = np.random.default_rng(seed).normal(0, 0.1, len(x))
    height = amplitude * np.sin(2 * np.pi * x / 406.4) + noise
    return make_survey(x, np.full(len(x), 1200.0), height, surface="wall", reference="string", accuracy=0.1)


def test_a_single_line_of_feelers_is_a_survey_for_light_along_it():
    found = what_light_shows(feelers(0.5, 1))
    (window, *lamps) = found.lights
    needed = 1 / contrast_sensitivity(cycles_per_degree(np.array([406.4]), found.distance))[0]
    true = math.degrees(math.atan(2 * math.pi * 0.5 / 406.4 / needed))
    assert window.along == "x"
    assert {one.side for one in lamps} == {"left", "right"}
    assert window.shows < true < window.safe < 1.5 * true
    assert window.shows > 0.6 * true
    flat = what_light_shows(feelers(0.0, 2))
    assert all(one.shows == 0 for one in flat.lights)
    with pytest.raises(ArgumentError, match="one line of readings"):
        what_light_shows(feelers(0.5, 1), along=["y"])


def test_the_spectrum_is_along_both_axes():
    """A wave of 1.5 mm up the wall and nothing along it, though the window's light runs along it."""
    x, y = (grid.ravel() for grid in np.meshgrid(203.2 * np.arange(25), 203.2 * np.arange(25)))
    height = 1.5 * np.sin(2 * np.pi * y / 1625.6)
    found = what_light_shows(make_survey(x, y, height, surface="wall", accuracy=0.1), draws=20)
    assert {one.along for one in found.lights if one.kind == "window"} == {"x"}
    assert found.here(1625.6, "y")[0] == pytest.approx(1.5, rel=0.12)
    assert found.here(1625.6, "x")[0] < 0.3
