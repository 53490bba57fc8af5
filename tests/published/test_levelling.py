"""Level books and level networks against published results."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest

from flatness.survey.least_squares import critical_w
from flatness.survey.levelling import FGCC, adjust_levels, book_levels, fgcc_class

FT = 304.8


def sights(observed, per_unit, **columns):
    """Published differences as sights in mm."""
    table = pd.DataFrame(observed, columns=["from", "to", "difference"]).assign(**columns)
    return table.assign(difference=table["difference"] * per_unit)


def test_rise_and_fall():
    # NPTEL surveying course, example 13-1: back and fore sights in turn, metres; the line closes on its first mark
    book = [
        1.205,
        1.860,
        0.125,
        1.915,
        0.395,
        2.615,
        0.880,
        1.760,
        1.960,
        0.920,
        2.595,
        0.915,
        2.255,
        0.515,
        2.305,
        1.170,
    ]
    heights = [149.830, 148.040, 145.820, 144.940, 145.980, 147.660, 149.400, 150.535]
    back, fore = 1000 * np.array(book[::2]), 1000 * np.array(book[1::2])
    names = ["BM", *"abcdefg", "BM"]
    table = book_levels(back, fore, start=150_485.0, points=names)
    assert (table["height"] / 1000).round(3).tolist() == heights
    assert [round(table[name].sum() / 1000, 3) for name in ("back", "fore")] == [11.720, 11.670]
    rise_less_fall = table["rise"].sum() - table["fall"].sum()
    assert rise_less_fall == pytest.approx(11_720 - 11_670, abs=1e-9)
    line = adjust_levels(table, {"BM": 150_485.0}).misclosures
    assert len(line) == 1
    assert line["misclosure"][0] == pytest.approx(50.0, abs=1e-6)  # +0.050 m
    # equal sights share it alike (closed form): the k-th point comes down by k / 8 of it
    adjusted = adjust_levels(table, {"BM": 150_485.0}).heights
    shared = [1000 * h - 50 * (k + 1) / 8 for k, h in enumerate(heights[:-1])]
    assert adjusted[list("abcdefg")].tolist() == pytest.approx(shared, abs=1e-6)


def test_height_of_instrument():
    # a textbook page of levels, feet: BM A at 100.00, closing on BM B, known to be 94.91
    table = book_levels(
        FT * np.array([3.10, 6.44, 8.76, 7.12]),
        FT * np.array([9.82, 6.96, 3.27, 10.42]),
        FT * 100,
        ["A", "TP1", "TP2", "TP3", "B"],
    )
    assert (table["instrument"] / FT).round(2).tolist() == [103.10, 99.72, 101.52, 105.37]
    assert (table["height"] / FT).round(2).tolist() == [93.28, 92.76, 98.25, 94.95]
    line = adjust_levels(table, {"A": 100 * FT, "B": 94.91 * FT}).misclosures
    assert line["kind"].tolist() == ["line"]
    assert line["through"][0] == "A - TP1 - TP2 - TP3 - B"
    assert line["misclosure"][0] / FT == pytest.approx(0.04, abs=1e-9)


GAMA = [
    ("1a", "4", -1.225),
    ("4", "3", -0.848),
    ("3", "2", 1.342),
    ("2", "1a", 0.720),
    ("1a", "2", -0.724),
    ("2", "3", -1.335),
    ("3", "4", 0.842),
    ("4", "1a", 1.231),
]


def test_gnu_gama_network():
    # sample network of GNU Gama (general adjustment software), metres, equal weights, 5 mm stated beforehand
    levels = adjust_levels(sights(GAMA, 1000), {"1a": 1_000_000.0}, error=5.0)
    assert (levels.heights[["4", "3", "2"]] / 1000).round(5).tolist() == pytest.approx(
        [998.77513, 997.93325, 999.27487],
        abs=1.01e-5,  # printed to 5 decimals, from halves
    )
    assert levels.redundancy == 5
    assert levels.m0**2 * 5 == pytest.approx(146.625, abs=1e-6)
    assert round(levels.m0, 2) == 5.42
    # the printed 3.1 3.5 3.1 mm are from the stated 5 mm: 5 sqrt(3/8) = 3.06 and 5 sqrt(1/2) = 3.54 (two ways round a
    # ring of four double sights, closed form); from m0 they would be 3.3 3.8 3.3
    assert levels.errors[["4", "3", "2"]].round(1).tolist() == [3.1, 3.5, 3.1]
    assert levels.errors_shown[["4", "3", "2"]].round(1).tolist() == [3.3, 3.8, 3.3]
    # without the stated error the errors come from m0, and m0 is the same
    shown = adjust_levels(sights(GAMA, 1000), {"1a": 1_000_000.0})
    assert shown.m0 == pytest.approx(levels.m0)
    assert shown.errors["3"] == pytest.approx(levels.errors_shown["3"])
    assert not len(levels.blunders)


GHILANI = [
    ("X", "A", 5.10),
    ("A", "Y", 2.34),
    ("Y", "C", -1.25),
    ("C", "X", -6.13),
    ("A", "B", -0.68),
    ("Y", "B", -3.00),
    ("B", "C", 1.70),
]
MILES = np.array([4, 3, 2, 3, 2, 2, 2.0])


def test_ghilani_and_wolf():
    # Ghilani & Wolf, Adjustment Computations, chapter 12, feet (from memory, reproduced by normal equations)
    known = {"X": 100 * FT, "Y": 107.5 * FT}
    equal = adjust_levels(sights(GHILANI, FT), known)
    assert (equal.heights[["A", "B", "C"]] / FT).round(3).tolist() == [105.141, 104.483, 106.188]
    assert round(equal.m0 / FT, 3) == 0.050
    published = [0.041, 0.019, -0.062, -0.058, 0.022, -0.017, 0.005]
    assert (equal.residuals["residual"] / FT).round(3).tolist() == published
    weighted = adjust_levels(sights(GHILANI, FT, weight=12 / MILES), known)
    assert (weighted.heights[["A", "B", "C"]] / FT).round(3).tolist() == [105.150, 104.489, 106.197]
    assert round(weighted.m0 / FT, 3) == 0.107
    # the same weights as errors: 1 / error^2, in feet as published
    as_errors = adjust_levels(sights(GHILANI, 1.0, error=np.sqrt(MILES / 12)), {"X": 100.0, "Y": 107.5})
    assert round(as_errors.m0, 3) == 0.107


def test_strang_and_borre():
    # Strang & Borre, Linear Algebra, Geodesy, and GPS, a levelling network of three fixed and two free points, metres,
    # weights 1 / km. The data are from memory; the normal equations below are written out by hand.
    observed = [("A", "D", 1.978), ("A", "E", 0.732), ("C", "D", 0.988), ("B", "E", 0.420), ("E", "D", 1.258)]
    km = np.array([1.02, 0.97, 1.11, 1.07, 0.89])
    a, b, c = 10.021, 10.321, 11.002
    p1, p2, p3, p4, p5 = 1 / km
    normal = np.array([[p1 + p3 + p5, -p5], [-p5, p2 + p4 + p5]])
    right = [p1 * (a + 1.978) + p3 * (c + 0.988) + p5 * 1.258, p2 * (a + 0.732) + p4 * (b + 0.420) - p5 * 1.258]
    d, e = np.linalg.solve(normal, right)
    pvv = (
        p1 * (d - a - 1.978) ** 2
        + p2 * (e - a - 0.732) ** 2
        + p3 * (d - c - 0.988) ** 2
        + p4 * (e - b - 0.420) ** 2
        + p5 * (d - e - 1.258) ** 2
    )
    levels = adjust_levels(sights(observed, 1000, weight=1 / km), {"A": 1000 * a, "B": 1000 * b, "C": 1000 * c})
    assert levels.heights[["D", "E"]].tolist() == pytest.approx([1000 * d, 1000 * e], abs=1e-6)
    assert levels.m0 == pytest.approx(1000 * np.sqrt(pvv / 3), rel=1e-6)
    errors = 1000 * np.sqrt(pvv / 3 * np.diag(np.linalg.inv(normal)))
    assert levels.errors[["D", "E"]].tolist() == pytest.approx(errors.tolist(), rel=1e-6)


def test_a_loop_shares_its_misclosure_by_distance():
    # closed form, in every surveying textbook: with weights 1 / distance each sight takes its share by distance
    km = np.array([0.6, 1.1, 0.4, 1.9])
    table = sights(list(zip("ABCD", "BCDA", [1.2, -0.4, 0.9, -1.682], strict=True)), 1000, weight=1 / km)
    table["distance"] = km * 1e6
    levels = adjust_levels(table, {"A": 0.0})
    miss = 1200 - 400 + 900 - 1682
    assert levels.misclosures["misclosure"].tolist() == pytest.approx([miss])
    assert levels.residuals["residual"].tolist() == pytest.approx((-miss * km / 4.0).tolist())
    # sqrt(4 km) = 2: 18 mm is within 12 mm x 2 (third order) and beyond 8 mm x 2 (second order, class II)
    assert levels.misclosures["fgcc"].tolist() == ["third"]


def test_fgcc_classes():
    # FGCC (1984), from memory: 4, 5, 6, 8, 12 mm x sqrt(km)
    assert list(FGCC.values()) == [4, 5, 6, 8, 12]
    for (name, c), km in itertools.product(FGCC.items(), [0.01, 1.0, 9.0]):
        assert fgcc_class(-c * km**0.5, km * 1e6) == name
    assert fgcc_class(12.1, 1e6) == "none"


def test_critical_values():
    # Baarda: 3.29 at 0.1 % (normal distribution, table value)
    assert round(critical_w(7, 1.0), 2) == 3.29
    # tau is t in other clothes; with one degree of freedom left t = tan(pi (1 - level) / 2) (Cauchy, closed form):
    # tau = sqrt(2) t / sqrt(1 + t^2) = sqrt(2) sin(pi (1 - level) / 2)
    assert critical_w(2, None, 0.05) == pytest.approx(np.sqrt(2) * np.sin(np.pi / 2 * 0.95), rel=1e-9)
    # Student's t of 4 degrees, two-sided 5 %, is 2.776 (table value): tau of 5 = sqrt(5) t / sqrt(4 + t^2)
    assert critical_w(5, None, 0.05) == pytest.approx(np.sqrt(5) * 2.776 / np.sqrt(4 + 2.776**2), rel=1e-4)
