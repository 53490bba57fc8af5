"""Light along a surface: closed forms of plane, sine and shadow; geometry of lamps by hand."""

import math

import numpy as np
import pytest

import flatness
from flatness.errors import ArgumentError
from flatness.light.contrast import contrast_in, raking_contrast, slopes
from flatness.light.lamps import Daylight, Row, Strip
from flatness.surface.lattice import make_surface


def made(function, nx=81, ny=41, spacing=50.0):
    x, y = np.meshgrid(spacing * np.arange(nx), spacing * np.arange(ny))
    return make_surface(function(x, y), spacing)


@pytest.mark.parametrize("heading", [0, 30, 90, 200])
@pytest.mark.parametrize("angle", [3, 20, 90])
def test_tilted_plane_is_lambert(angle, heading):
    """Lambert: luminance goes with the cosine between the plane's normal and the light, by vectors."""
    a, b = 0.008, -0.013
    up, turned = math.radians(angle), math.radians(heading)
    normal = np.array([-a, -b, 1]) / math.sqrt(1 + a * a + b * b)
    toward = -np.array([math.cos(up) * math.cos(turned), math.cos(up) * math.sin(turned), -math.sin(up)])
    expected = normal @ toward / math.sin(up) - 1
    found = raking_contrast(made(lambda x, y: a * x + b * y), angle, heading)
    np.testing.assert_allclose(found, expected, atol=1e-9)


def test_slope_over_tangent():
    """sin(a + atan s) / sin a - 1, about s / tan a: a slope of 1 in 100 at 5 degrees is 11.4 % brighter."""
    found = raking_contrast(made(lambda x, _: x / 100), 5, 0)
    assert found[20, 40] == pytest.approx(math.sin(math.radians(5) + math.atan(0.01)) / math.sin(math.radians(5)) - 1)
    assert found[20, 40] == pytest.approx(0.01 / math.tan(math.radians(5)), rel=1e-3)


@pytest.mark.parametrize("heading", [0, 180, 40])
def test_sine_is_its_slope_over_the_tangent(heading):
    amplitude, length, angle = 0.3, 800.0, 6.0
    k = 2 * math.pi / length
    surface = made(lambda x, y: amplitude * np.sin(k * x))
    slope = amplitude * k * np.cos(k * np.meshgrid(surface.x, surface.y)[0])
    expected = (1 + slope * math.cos(math.radians(heading)) / math.tan(math.radians(angle))) / np.sqrt(1 + slope**2) - 1
    found = raking_contrast(surface, angle, heading)
    np.testing.assert_allclose(found[:, 3:-3], expected[:, 3:-3], atol=2e-5)
    assert found[:, 3:-3].max() == pytest.approx(expected[:, 3:-3].max(), abs=2e-5)
    # to first order 2 pi A / L over tan a
    assert found[:, 3:-3].max() == pytest.approx(abs(math.cos(math.radians(heading))) * 0.02242, rel=2e-3)


def test_square_on_nothing_shows_but_the_slope_itself():
    found = raking_contrast(made(lambda x, _: 2 * np.sin(x / 100)), 90, 0)
    assert np.abs(found).max() < 1e-3


def test_shadow_behind_a_step():
    """Of a board 10 mm thick, light at 4 degrees leaves 10 / tan 4 = 143 mm behind its edge dark."""
    surface = made(lambda x, _: np.where(x < 1000, 10.0, 0.0), spacing=10.0, nx=201)
    dark = raking_contrast(surface, 4, 0)[20] == -1
    behind = surface.x[dark]
    # the edge of the bilinear surface runs from 990 to 1000
    assert behind.min() <= 1000
    assert behind.max() == pytest.approx(990 + 10 / math.tan(math.radians(4)), abs=10)
    # from the other side only the edge itself rises, and a spline swings a little beside it
    lit = np.abs(surface.x - 995) > 60
    assert not (raking_contrast(surface, 4, 180)[20, lit] == -1).any()


def test_steeper_than_the_light_is_dark():
    surface = made(lambda x, _: -0.1 * x)  # falls 5.7 degrees the way the light travels
    assert (raking_contrast(surface, 5, 0) == -1).all()
    assert (raking_contrast(surface, 6, 0) > -1).all()


def test_a_lamp_lowers_with_distance_as_by_hand():
    """One lamp 300 mm off the middle of the top edge: 300 mm down it stands at 45 degrees, 1200 mm down at 14.04."""
    surface = made(lambda x, y: 0 * x, nx=41, ny=41)
    field = Row(side="top", off=300, spacing=5000, first=1000).field(surface)
    column = 20
    assert field.angle[40 - 6, column] == pytest.approx(45)
    assert field.angle[40 - 24, column] == pytest.approx(math.degrees(math.atan(300 / 1200)))
    assert field.heading[10, column] == pytest.approx(270)
    # 400 mm down and 300 mm to the right: 500 mm away along the surface, light travels along (3, -4)
    assert field.angle[40 - 8, column + 6] == pytest.approx(math.degrees(math.atan(300 / 500)))
    assert field.heading[40 - 8, column + 6] == pytest.approx(math.degrees(math.atan2(-4, 3)) % 360)
    # the inverse square: 5 and 13 are the third sides of 3-4 and 5-12
    amount = np.linalg.norm(field.toward, axis=0)
    assert amount[40 - 8, column] / amount[40 - 6, column] == pytest.approx(300**2 * 2 / 500**2)


@pytest.mark.parametrize(("side", "axis", "at"), [("left", 1, 0), ("right", 1, -1), ("bottom", 0, 0), ("top", 0, -1)])
def test_a_strip_is_many_lamps(side, axis, at):
    surface = made(lambda x, y: 0 * x, nx=21, ny=31)
    strip = Strip(side=side, off=200).field(surface)
    extent = float(np.ptp((surface.y, surface.x)[1 - axis]))
    lamps = Row(side=side, off=200, spacing=extent / 4000, first=extent / 8000).field(surface)
    np.testing.assert_allclose(strip.toward * 4000 / extent, lamps.toward, rtol=1e-4, atol=1e-9)
    np.testing.assert_allclose(np.take(strip.angle, at, axis=1 if side in ("left", "right") else 0)[5:-5], 90, atol=25)


def test_a_long_strip_is_at_the_angle_of_its_section():
    """Of an endless line the light comes square from it: 250 mm off, 1000 mm down, tan a = 1/4."""
    surface = made(lambda x, y: 0 * x, nx=401, ny=21, spacing=100.0)
    field = Strip(side="top", off=250).field(surface)
    assert field.angle[10, 200] == pytest.approx(math.degrees(math.atan(0.25)), abs=1e-6)
    assert field.heading[10, 200] == pytest.approx(270)


def test_contrast_under_a_lamp_is_lambert_by_vectors():
    surface = made(lambda x, y: 0.004 * x - 0.006 * y, nx=21, ny=21)
    lamp = np.array([500.0, 1000.0, 150.0])
    found = contrast_in(surface, Row(side="top", off=150, spacing=9000, first=500))
    normal = np.array([-0.004, 0.006, 1]) / math.sqrt(1 + 0.004**2 + 0.006**2)
    toward = lamp - np.array([700.0, 250.0, 0.0])
    assert found[5, 14] == pytest.approx(normal @ toward / toward[2] - 1, rel=1e-6)


def test_blank_nodes_stay_blank_and_break_lines():
    z = np.add.outer(np.zeros(5), 2.0 * np.arange(9))
    z[2, 4] = np.nan
    along_x, along_y = slopes(z, 100.0)
    assert np.isnan(along_x[2, 4])
    assert np.isnan(along_y[2, 4])
    np.testing.assert_allclose(along_x[np.isfinite(along_x)], 0.02)
    found = raking_contrast(make_surface(z, 100.0), 10, 0)
    assert np.isnan(found[2, 4])
    assert np.isfinite(found).sum() == 44


@pytest.mark.parametrize("angle", [0, -3, 91, math.nan])
def test_no_light_from_below(angle):
    with pytest.raises(ArgumentError, match="angle"):
        Daylight(angle=angle)


def test_lamps_stand_somewhere():
    with pytest.raises(ArgumentError, match="side"):
        Strip(side="front", off=100)
    with pytest.raises(ArgumentError, match="off"):
        Strip(side="top", off=0)
    with pytest.raises(ArgumentError, match="first"):
        Row(side="top", off=100, spacing=500, first=9e5).field(made(lambda x, y: 0 * x))


def test_public_name():
    surface = made(lambda x, _: x / 100)
    np.testing.assert_array_equal(flatness.raking_contrast(surface, 5, 0), raking_contrast(surface, 5, 0))
