"""The picture of a surface in a light: its grays against Lambert and sRGB, clean lettering, marks."""

import math

import numpy as np
import pytest

import chart_checks
from chart_checks import FOOT, ROOMS, assert_clean
from flatness.charts.lit_surface import FLAT, PAINT, Lit, lit_chart, rendered
from flatness.errors import ArgumentError
from flatness.light.lamps import Daylight, Row, Strip
from flatness.surface.lattice import make_surface


def lit(name, room, **more):
    survey = ROOMS[room]()
    return Lit(name=name, surface=survey.surface_at(), survey=survey, **more)


@pytest.mark.parametrize("room", ["l-shaped floor", "4 ft room", "corridor", "corridor upright", "wall"])
def test_every_room_is_drawn_cleanly(room):
    unit = "mm" if room in ("wall", "4 ft room", "corridor") else "in"
    pair = [lit("Before, 2026-03-02", room, shows=(700.0, 900.0)), lit("After, 2026-03-12", room)]
    chart = lit_chart(pair, Daylight(angle=5, heading=90), shortest=2 * FOOT, unit=unit)
    for ax in chart.axes:
        assert_clean(ax.figure, ax)
    assert [name.get_text() for name in chart.names] == ["Before, 2026-03-02", "After, 2026-03-12"]
    assert len(chart.marks) == 1


@pytest.mark.parametrize("light", [Strip(side="top", off=90), Row(side="left", off=350, spacing=1200)])
def test_lamps_are_named(light):
    chart = lit_chart([lit("As read", "wall")], light, shortest=500)
    assert_clean(chart.ax.figure, chart.ax)
    words = " ".join(text.get_text() for text in chart_checks.texts_of(chart.ax.figure))
    assert ("3 1/2" if light.side == "top" else 'lamps 13 3/4" off it') in words
    assert ("light from above" if light.side == "top" else "light from the left") in words


def test_grays_are_lambert_encoded_as_srgb():
    """A slope of 1 in 100 at 5 degrees is 11.4 % brighter; IEC 61966-2-1 turns 0.5 and 0.557 into 0.735 and 0.771."""
    flat, tilted = (make_surface(slope * 100 * np.tile(np.arange(12.0), (9, 1)), 100) for slope in (0, 0.01))
    survey = chart_checks.survey_of(12, 9, 100, lambda x, y: 0 * x, surface="wall", reference="plumb")
    pair = [Lit(name=name, surface=one, survey=survey) for name, one in (("a", flat), ("b", tilted))]
    chart = lit_chart(pair, Daylight(angle=5), shortest=300)
    for image, slope in zip(chart.images, (0, 0.01), strict=True):
        expected = FLAT * math.sin(math.radians(5) + math.atan(slope)) / math.sin(math.radians(5))
        encoded = 1.055 * expected ** (1 / 2.4) - 0.055
        found = np.asarray(image.get_array())[80, 90, :3]
        np.testing.assert_allclose(found, encoded * np.array(PAINT), atol=0.002)


def test_close_to_a_lamp_nothing_is_burnt_out():
    surface = make_surface(np.zeros((30, 40)), 100)
    _, linear = rendered(surface, Strip(side="top", off=50))
    assert linear.max() < 0.85
    assert linear[-1].mean() > linear[0].mean()


def test_blank_places_are_left_out():
    height = np.zeros((20, 30))
    height[8:12, 10:16] = np.nan
    fine, linear = rendered(make_surface(height, 100), Daylight(angle=5))
    assert np.isnan(linear).any()
    assert np.isfinite(linear[fine.inside]).all()


def test_what_cannot_be_drawn():
    with pytest.raises(ArgumentError, match="no picture"):
        lit_chart([], Daylight(angle=5), shortest=300)
    with pytest.raises(ArgumentError, match="unit"):
        lit_chart([lit("a", "wall")], Daylight(angle=5), shortest=300, unit="ft")
