"""The kit's least squares against NIST's Statistical Reference Datasets: how many digits agree.

The digits are the log relative error, -log10 |found - certified| / |certified|, 15 where nothing differs. Pontius and
Norris, as planes, are in test_planes.py. Filip (a polynomial of degree ten, 82 readings) is left out: no package at
hand ships its data. The sets for nonlinear fits are left out too: they are of formulas y = f(x) that the kit never
fits.
"""

import math

import numpy as np
import pytest

from flatness.survey.least_squares import solve


def digits(found, certified):
    found, certified = np.atleast_1d(found).astype(float), np.atleast_1d(certified).astype(float)
    off = np.abs(found - certified) / np.abs(certified)
    return float(np.min(np.where(off > 0, -np.log10(np.maximum(off, 1e-15)), 15.0)))


# Longley 1967 (Journal of the American Statistical Association), as statsmodels ships it (BSD 3-clause) with NIST's
# certified values: total employment; GNP deflator, GNP, unemployed, armed forces, population, year
LONGLEY = [
    [60323, 83.0, 234289, 2356, 1590, 107608, 1947],
    [61122, 88.5, 259426, 2325, 1456, 108632, 1948],
    [60171, 88.2, 258054, 3682, 1616, 109773, 1949],
    [61187, 89.5, 284599, 3351, 1650, 110929, 1950],
    [63221, 96.2, 328975, 2099, 3099, 112075, 1951],
    [63639, 98.1, 346999, 1932, 3594, 113270, 1952],
    [64989, 99.0, 365385, 1870, 3547, 115094, 1953],
    [63761, 100.0, 363112, 3578, 3350, 116219, 1954],
    [66019, 101.2, 397469, 2904, 3048, 117388, 1955],
    [67857, 104.6, 419180, 2822, 2857, 118734, 1956],
    [68169, 108.4, 442769, 2936, 2798, 120445, 1957],
    [66513, 110.8, 444546, 4681, 2637, 121950, 1958],
    [68655, 112.6, 482704, 3813, 2552, 123366, 1959],
    [69564, 114.2, 502601, 3931, 2514, 125368, 1960],
    [69331, 115.7, 518173, 4806, 2572, 127852, 1961],
    [70551, 116.9, 554894, 4007, 2827, 130081, 1962],
]
COEFFICIENTS = [
    -3482258.63459582,
    15.0618722713733,
    -0.358191792925910e-01,
    -2.02022980381683,
    -1.03322686717359,
    -0.511041056535807e-01,
    1829.15146461355,
]
ERRORS = [
    890420.383607373,
    84.9149257747669,
    0.334910077722432e-01,
    0.488399681651699,
    0.214274163161675,
    0.226073200069370,
    455.478499142212,
]


def test_longley():
    table = np.array(LONGLEY)
    design = np.column_stack([np.ones(16), table[:, 1:]])
    found = solve(design, table[:, 0], np.ones(16))
    assert digits(found.unknowns, COEFFICIENTS) >= 10  # 10.9 seen
    assert digits(found.m0, math.sqrt(92936.0061673238)) >= 13
    # the errors come from the normal equations alone, without the second pass: 8.1 seen
    assert digits(found.m0 * np.sqrt(np.diag(found.cofactors)), ERRORS) >= 7.5
    assert found.redundancy == 9
    assert found.pvv == pytest.approx(836424.055505915, rel=1e-12)


# Wampler 1970: a polynomial of degree five over 0 to 20, exact (1 and 2), and with these added once, a hundredfold and
# ten-thousandfold (3, 4, 5). The numbers are from memory; that each power is orthogonal to them proves them right
# enough: then the coefficients stay those of the polynomial, exactly
ADDED = [759, -2048, 2048, -2048, 2523, -2048, 2048, -2048, 1838, -2048, 2048]
ADDED += ADDED[-2::-1]
POWERS = np.vander(np.arange(21.0), 6, increasing=True)


def test_what_wampler_added_is_orthogonal_to_every_power():
    assert [sum(added * k**power for k, added in enumerate(ADDED)) for power in range(6)] == [0] * 6
    assert sum(added**2 for added in ADDED) == 83_554_268  # certified residual sum of squares


@pytest.mark.parametrize(("name", "times", "least"), [(1, 0, 10.5), (3, 1, 9.5), (4, 100, 7.5), (5, 10_000, 5.5)])
def test_wampler_of_ones(name, times, least):
    # a coefficient loses what the numbers added are larger than it: 11.0, 10.1, 7.7, 6.0 seen
    observed = POWERS.sum(axis=1) + times * np.array(ADDED)
    found = solve(POWERS, observed, np.ones(21))
    assert digits(found.unknowns, np.ones(6)) >= least
    if times:
        assert digits(found.m0, 2360.14502379268 * times) >= 12
        certified = [2152.32624678170, 2363.55173469681, 779.343524331583, 101.475507550350, 5.64566512170752]
        errors = found.m0 * np.sqrt(np.diag(found.cofactors))
        assert digits(errors[:5], times * np.array(certified)) >= 9
    else:
        assert found.m0 == pytest.approx(0.0, abs=1e-9)


def test_wampler_of_tenths():
    tenths = 10.0 ** -np.arange(6)
    found = solve(POWERS, POWERS @ tenths, np.ones(21))
    assert digits(found.unknowns, tenths) >= 12.5  # 12.9 and 13.0 seen, by the processor
    assert found.m0 == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("readings", "mean", "deviation", "least"),
    [
        # Simon and Lesage 1989, NumAcc1 to NumAcc4: mean and standard deviation are exact. Readings near ten million
        # that differ in a tenth keep nine digits of their differences in binary
        ([10_000_001, 10_000_003, 10_000_002], 10_000_002, 1.0, 15),
        ([1.2, *[1.1, 1.3] * 500], 1.2, 0.1, 14),
        ([1_000_000.2, *[1_000_000.1, 1_000_000.3] * 500], 1_000_000.2, 0.1, 9),
        ([10_000_000.2, *[10_000_000.1, 10_000_000.3] * 500], 10_000_000.2, 0.1, 8),
    ],
)
def test_mean_and_deviation(readings, mean, deviation, least):
    found = solve(np.ones((len(readings), 1)), np.array(readings, float), np.ones(len(readings)))
    assert digits(found.unknowns[0], mean) == 15
    assert digits(found.m0, deviation) >= least
