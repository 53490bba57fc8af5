"""Differences of two surveys against published figures, and formulas with closed forms."""

import math

import numpy as np
import pytest

import flatness
from flatness.comparison import both as both_module
from flatness.comparison.alignment import align_surveys
from flatness.comparison.both import estimate_both
from flatness.comparison.comparing import amount_beyond, compare, error_parts, net_amount
from flatness.surface.kriging import Parameters, surface_covariance

CELL = 250.0  # the published grid: 0.25 m cells


def cell_by_cell(monkeypatch, error_before, error_after, nx=24, ny=18):
    """Two surveys of unchanged ground, one reading a cell, compared so that no cell borrows from its neighbours."""
    monkeypatch.setattr(both_module, "CHANGE_LENGTH", 1e-3)
    monkeypatch.setattr(both_module, "CHANGE_SCALE", 1e3)
    x, y = (a.ravel() for a in np.meshgrid(CELL * np.arange(nx), CELL * np.arange(ny)))
    rng = np.random.default_rng(1)
    return [
        flatness.make_survey(x, y, rng.normal(0, error, x.size), accuracy=error)
        for error in (error_before, error_after)
    ]


def test_limit_of_detection_of_two_surfaces(monkeypatch):
    # USGS (J. Logan, after S. W. Anderson 2019, Earth Surface Processes and Landforms 44, 1015-1033): two elevation
    # models of 0.10 m each have a limit of detection of 0.27718 m at 95 %
    found = compare(*cell_by_cell(monkeypatch, 100.0, 100.0), align="none", spacing=CELL)
    np.testing.assert_allclose(found.detection, 277.18, rtol=3e-4)
    # and one standard deviation of the difference of 0.11584754 m has 0.2270611784 m
    one = 115.84754 / math.sqrt(2)
    found = compare(*cell_by_cell(monkeypatch, one, one), align="none", spacing=CELL)
    np.testing.assert_allclose(found.detection, 227.0611784, rtol=3e-4)
    np.testing.assert_allclose(found.error, 115.84754, rtol=3e-4)


def test_volume_error_of_independent_noise(monkeypatch):
    # the same source: n = 682640 cells of 0.25 m, sigma = 0.11584754 m: volume error 11.725159819775277 m3 at 95 %,
    # which is sqrt(n) x L^2 x 1.96 sigma. Here 432 cells
    one = 115.84754 / math.sqrt(2)
    before, after = cell_by_cell(monkeypatch, one, one)
    both = estimate_both(before, after, CELL)
    rows = both.rows(*both.nodes())
    alignment = align_surveys(before, after, both, "none")
    whole = error_parts(both, rows, alignment, both.inside.astype(float) * CELL**2)["random"]
    n = both.inside.sum()
    published = 11.725159819775277 * 1e9
    assert 1.96 * whole * math.sqrt(682640 / n) == pytest.approx(published, rel=2e-4)
    assert math.sqrt(682640) * CELL**2 * 1.96 * 115.84754 == pytest.approx(published, rel=1e-7)


def test_an_offset_never_averages_out():
    # Anderson (2019): systematic error of a volume is n x L^2 x the error of the datum, however many the readings
    for step in (600, 300):
        x, y = (a.ravel() for a in np.meshgrid(np.arange(0, 3001, step), np.arange(0, 2401, step)))
        before, after = (flatness.make_survey(x, y, 0.0 * x, accuracy=0.5, benchmarks={"BM": 0.0}) for _ in range(2))
        found = compare(before, after, spacing=300.0)
        # each day's datum rests on one reading of 0.5 mm
        assert found.volumes.loc["net", "systematic_mm3"] == pytest.approx(3000 * 2400 * math.sqrt(2) * 0.5)


def test_variance_of_a_mean_over_a_large_area_by_the_integral_range():
    # The integral of a covariance over the plane, over the area, is the variance of its mean where the area is large
    # (Lantuejoul, Geostatistical Simulation, 2002, section 4.2.2). For Matern 5/2 it is 2 pi length^2 x variance: its
    # spectral density at zero (Rasmussen and Williams 2006, equation 4.15)
    p, step, side = Parameters(2.0, 300.0, 300.0, 1.0), 100.0, 160
    d = step * np.arange(1 - side, side)
    kernel = surface_covariance(d[None, :], d[:, None], p)
    assert kernel.sum() * step**2 == pytest.approx(2 * math.pi * 300.0**2 * 2.0**2, rel=1e-4)
    # the double sum over a square of some fifty lengths, by how many pairs are so far apart
    count = (side - np.abs(np.arange(1 - side, side))) / side
    mean = (kernel * np.outer(count, count)).sum() / side**2
    assert mean == pytest.approx(2 * math.pi * 300.0**2 * 4.0 / (side * step) ** 2, rel=0.06)


def test_franke_by_corner_averages():
    # Franke's test function on the unit square: integral 0.406969589492; averages of corners on n x n cells, published
    def franke(x, y):
        return (
            0.75 * np.exp(-((9 * x - 2) ** 2 + (9 * y - 2) ** 2) / 4)
            + 0.75 * np.exp(-((9 * x + 1) ** 2) / 49 - (9 * y + 1) / 10)
            + 0.5 * np.exp(-((9 * x - 7) ** 2 + (9 * y - 3) ** 2) / 4)
            - 0.2 * np.exp(-((9 * x - 4) ** 2) - (9 * y - 7) ** 2)
        )

    for n, published in ((10, 0.4048552160), (20, 0.4064421444), (40, 0.4068378066)):
        x, y = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, n + 1))
        z = franke(x, y)
        assert net_amount(z, 1 / n)[0] == pytest.approx(published, abs=1e-10)
        zero, hair = np.zeros_like(z), np.full_like(z, 1e-6)
        assert amount_beyond(z, zero, hair, 1 / n, "fill").volume == pytest.approx(published, abs=1e-10)
        # the same hill taken off is the same volume of cut, and split at zero it is neither more nor less
        assert amount_beyond(-z, zero, hair, 1 / n, "cut").volume == pytest.approx(published, abs=1e-10)
        shifted = z - 0.4
        fill, cut = (amount_beyond(shifted, zero, hair, 1 / n, kind).volume for kind in ("fill", "cut"))
        assert fill - cut == pytest.approx(published - 0.4, abs=1e-10)


def test_prismoid():
    # A published pair: end areas and middle give 3250 by the prismoidal rule where average end areas give 3450. Areas
    # that give both, over a length of 6 on which the section is quadratic: ends 500 and 650, middle 525, so that
    # (500 + 4 x 525 + 650) x 6 / 6 = 3250 and (500 + 650) / 2 x 6 = 3450. As a change of height over a strip 10 wide
    s = np.linspace(0, 6, 601)
    section = 500 + (650 - 500) * s / 6 + (525 - 575) * 4 * (s / 6) * (1 - s / 6)
    change = np.tile(section / 10, (1001, 1))
    assert (section[0], section[300], section[-1]) == pytest.approx((500, 525, 650))
    assert net_amount(change, 0.01)[0] == pytest.approx(3250, rel=1e-5)
    ends = np.tile(np.interp(s, [0, 6], [50.0, 65.0]), (1001, 1))
    assert net_amount(ends, 0.01)[0] == pytest.approx(3450, rel=1e-9)
