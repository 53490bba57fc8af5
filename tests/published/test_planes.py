"""Reference planes against certified and published results."""

import math
from pathlib import Path

import numpy as np
import pytest
import scipy

from flatness.measures.bars import Heading, window_departures
from flatness.measures.levels import block_offset
from flatness.measures.planes import fit_plane
from flatness.surface.lattice import make_surface

SQRT5 = math.sqrt(5)


def on_two_rows(x, height, method):
    """A line fitted as a plane: the same profile at y = 0 and y = 1."""
    x, height = np.asarray(x, float), np.asarray(height, float)
    return fit_plane(np.tile(x, 2), np.repeat([0.0, 1.0], len(x)), np.tile(height, 2), method)


def test_nist_pontius():
    # NIST StRD, Pontius (load cell calibration, linear least squares): certified B0, B1, B2 and residual
    # standard deviation; a quadratic in x is a plane over (x, x^2)
    x = 150_000.0 * np.tile(np.arange(1, 21), 2)
    y = [
        0.11019,
        0.21956,
        0.32949,
        0.43899,
        0.54803,
        0.65694,
        0.76562,
        0.87487,
        0.98292,
        1.09146,
        1.20001,
        1.30822,
        1.41599,
        1.52399,
        1.63194,
        1.73947,
        1.84646,
        1.95392,
        2.06128,
        2.16844,
        0.11052,
        0.22018,
        0.32939,
        0.43886,
        0.54798,
        0.65739,
        0.76596,
        0.87474,
        0.98300,
        1.09150,
        1.20004,
        1.30818,
        1.41613,
        1.52408,
        1.63159,
        1.73965,
        1.84696,
        1.95445,
        2.06177,
        2.16829,
    ]
    plane = fit_plane(x, x**2, y)
    assert plane.c == pytest.approx(0.673565789473684e-03, rel=1e-9)
    assert plane.a == pytest.approx(0.732059160401003e-06, rel=1e-11)
    assert plane.b == pytest.approx(-0.316081871345029e-14, rel=1e-9)
    assert plane.rms * math.sqrt(40 / 37) == pytest.approx(0.205177424076185e-03, rel=1e-9)


def test_nist_norris():
    # NIST StRD, Norris (calibration of ozone monitors), as scipy ships it with its certified values
    path = Path(scipy.__file__).parent / "stats/tests/data/nist_linregress/Norris.dat"
    if not path.exists():
        pytest.skip("this scipy is installed without its test data")
    y, x = np.loadtxt(path, skiprows=60, unpack=True)
    assert len(x) == 36
    plane = on_two_rows(x, y, "least-squares")
    assert plane.at(0, 0.3) == pytest.approx(-0.262323073774029, rel=1e-10)
    assert plane.a == pytest.approx(1.00211681802045, rel=1e-12)
    assert plane.rms * math.sqrt(36 / 34) == pytest.approx(0.884796396144373, rel=1e-10)


def test_black_cherry_trees():
    # Girth, height and volume of 31 felled trees (Minitab Handbook; the "trees" data of R), whose published
    # regression is volume = -57.9877 + 4.7082 girth + 0.3393 height, residual standard error 3.882.
    # Data and coefficients from memory: that they agree is the check.
    girth = [
        8.3,
        8.6,
        8.8,
        10.5,
        10.7,
        10.8,
        11.0,
        11.0,
        11.1,
        11.2,
        11.3,
        11.4,
        11.4,
        11.7,
        12.0,
        12.9,
        12.9,
        13.3,
        13.7,
        13.8,
        14.0,
        14.2,
        14.5,
        16.0,
        16.3,
        17.3,
        17.5,
        17.9,
        18.0,
        18.0,
        20.6,
    ]
    tall = [
        70,
        65,
        63,
        72,
        81,
        83,
        66,
        75,
        80,
        75,
        79,
        76,
        76,
        69,
        75,
        74,
        85,
        86,
        71,
        64,
        78,
        80,
        74,
        72,
        77,
        81,
        82,
        80,
        80,
        80,
        87,
    ]
    volume = [
        10.3,
        10.3,
        10.2,
        16.4,
        18.8,
        19.7,
        15.6,
        18.2,
        22.6,
        19.9,
        24.2,
        21.0,
        21.4,
        21.3,
        19.1,
        22.2,
        33.8,
        27.4,
        25.7,
        24.9,
        34.5,
        31.7,
        36.3,
        38.3,
        42.6,
        55.4,
        55.7,
        58.3,
        51.5,
        51.0,
        77.0,
    ]
    plane = fit_plane(girth, tall, volume)
    assert (round(plane.c, 4), round(plane.a, 4), round(plane.b, 4)) == (-57.9877, 4.7082, 0.3393)
    assert round(plane.rms * math.sqrt(31 / 28), 3) == 3.882


WX = [0.0, 0.5, 1.0, 1.5, 1.9, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 6.6, 7.0, 7.6, 8.5, 9.0, 10.0]
WY = [1.0, 0.9, 0.7, 1.5, 2.0, 2.4, 3.2, 2.0, 2.7, 3.5, 1.0, 4.0, 3.6, 2.7, 5.7, 4.6, 6.0, 6.8, 7.3]


def test_williams_straightness():
    # H. P. Williams, Model Building in Mathematical Programming, problem 12.11: minimax y = 0.625 x - 0.4
    plane = on_two_rows(WX, WY, "minimum-zone")
    assert plane.zone == pytest.approx(3.45, abs=1e-9)
    assert plane.a == pytest.approx(0.625, abs=1e-9)
    assert plane.at(0, 0.5) == pytest.approx(-0.4, abs=1e-9)
    line = on_two_rows(WX, WY, "least-squares")
    assert line.a == pytest.approx(0.610772, abs=5e-7)
    assert line.at(0, 0.5) == pytest.approx(0.426126, abs=5e-7)


def test_williams_minimum_zone_plane():
    # the same problem's minimax quadratic, 0.125 x^2 - 0.625 x + 2.475 (from memory, reproduced), zone 2.95
    plane = fit_plane(WX, np.square(WX), WY, "minimum-zone")
    assert plane.zone == pytest.approx(2.95, abs=1e-9)
    assert [plane.a, plane.b, plane.c] == pytest.approx([-0.625, 0.125, 2.475], abs=1e-8)


def test_chebyshev_line_of_a_square_root():
    # textbook minimax line of sqrt(x) on [0, 1]: x + 1/8, error 1/8, touched at 0, 1/4 and 1 (closed form)
    x = np.linspace(0, 1, 101)
    plane = on_two_rows(x, np.sqrt(x), "minimum-zone")
    assert plane.zone == pytest.approx(1 / 4, abs=1e-9)
    assert plane.a == pytest.approx(1, abs=1e-9)
    assert plane.at(0, 0.5) == pytest.approx(1 / 8, abs=1e-9)


def test_saddle():
    # a square's corners at +h, -h, +h, -h: by symmetry the level plane, zone 2 h (closed form)
    for method in ("minimum-zone", "least-squares", "level"):
        plane = fit_plane([0, 1000, 1000, 0], [0, 0, 1000, 1000], [3, -3, 3, -3], method)
        assert plane.zone == pytest.approx(6, abs=1e-9)
        assert [plane.a, plane.b, plane.c] == pytest.approx([0, 0, 0], abs=1e-9)


def cube():
    return np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], float)


def octahedron():
    return np.concatenate([np.eye(3), -np.eye(3)]) / math.sqrt(2)


def icosahedron():
    phi = (1 + SQRT5) / 2
    ring = [(0, s, t * phi) for s in (-1, 1) for t in (-1, 1)]
    return np.array([np.roll(p, k) for p in ring for k in range(3)]) / 2


@pytest.mark.parametrize(
    ("solid", "width"),
    [
        # edge against edge: a search over faces alone gives 1.1547
        (np.array([[0, 0, 0], [1, 1, 0], [1, 0, 1], [0, 1, 1]], float), 1),
        (cube(), 1),
        (octahedron(), math.sqrt(6) / 3),  # twice the inradius a sqrt(6) / 6
        (icosahedron(), math.sqrt(3) * (3 + SQRT5) / 6),  # twice the inradius a sqrt(3) (3 + sqrt(5)) / 12
    ],
    ids=["tetrahedron", "cube", "octahedron", "icosahedron"],
)
def test_width_of_solids(solid, width):
    # widths of the regular solids of edge 1 (tetrahedron: of edge sqrt(2)), closed forms, however they stand
    generator = np.random.default_rng(1)
    for turned in range(6):
        turn = np.linalg.qr(generator.normal(size=(3, 3)))[0] if turned else np.eye(3)
        plane = fit_plane(*(solid @ turn).T, "minimum-zone-normal")
        assert plane.zone == pytest.approx(width, abs=1e-12)
        assert plane.peak_to_valley == pytest.approx(width, abs=1e-12)


def test_machine_tool_straightness():
    # machine-tool laser user's guide (Oct 1987), axis 1, metres and micrometres: least-squares slope 7.65
    x = np.arange(10) / 10
    y = np.array([-0.3, 0.9, 1.5, 2.5, 2.9, 3.6, 4.2, 5.1, 5.9, 7.2])
    assert round(on_two_rows(x, y, "least-squares").a, 2) == 7.65
    # end-point deviations, printed to one decimal: a bar on equal blocks at both ends
    published = [0, 0.4, 0.1, 0.3, -0.1, -0.3, -0.5, -0.4, -0.5, 0]
    surface = make_surface(np.tile(y, (2, 1)), 100)
    departures = window_departures(surface.height, Heading.at(0), 9)[0, 0, 1:-1]
    assert np.abs(departures - published[1:-1]).max() <= 0.05 + 1e-9
    assert block_offset(surface, 900, headings=1).value == pytest.approx(0.5, abs=0.05)
