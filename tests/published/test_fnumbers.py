"""F-numbers against a published report, closed forms and published rules of thumb."""

import math

import numpy as np
import pytest

from flatness.measures.fnumbers import combine, f_numbers, level_differences, second_differences
from flatness.measures.straightedge import profile_gaps

IN = 25.4

# SLAC (Stanford Linear Accelerator Center, Alignment Engineering Group), E1155M report on a concrete test
# pad, May 2003: readings in thousandths of an inch at 300 mm, and its q in mm to 3 decimals
READINGS_MIL = [
    [16481, 16533, 16610, 16683, 16741, 16722, 16685, 16705, 16749, 16720, 16660, 16644, 16554, 16407],
    [16480, 16578, 16617, 16595, 16537, 16580, 16562, 16600, 16610, 16596, 16582, 16610, 16523, 16537, 16456],
    [16470, 16522, 16505, 16505, 16483, 16464, 16495, 16511, 16541, 16517, 16482, 16485, 16408, 16330],
]
Q_MM = [
    [0.635, -0.102, -0.381, -1.956, -0.457, 1.448, 0.610, -1.854, -0.787, 1.118, -1.880, -1.448],
    [-1.499, -1.549, -0.914, 2.565, -1.549, 1.422, -0.711, -0.610, 0.000, 1.067, -2.921, 2.565, -2.413],
    [-1.753, 0.432, -0.559, 0.076, 1.270, -0.381, 0.356, -1.372, -0.279, 0.965, -2.032, -0.025],
]


@pytest.mark.parametrize("line", range(3))
def test_second_differences_of_slac(line):
    q = second_differences(np.array(READINGS_MIL[line]) * IN / 1000)
    assert np.abs(q - Q_MM[line]).max() <= 0.0005 + 1e-9


def test_mean_and_deviation_of_slac():
    # from the published q of each line, with n - 1
    lines = f_numbers([np.array(line) * IN / 1000 for line in READINGS_MIL], spacing=300).lines
    for row, q in zip(lines.itertuples(), Q_MM, strict=True):
        assert row.n_q == len(q)
        assert row.mean_q_mm == pytest.approx(np.mean(q), abs=5e-4)
        assert row.sd_q_mm == pytest.approx(np.std(q, ddof=1), abs=5e-4)


def test_closed_forms():
    # quadratic: q = 0.01 in throughout, so FF = 4.57 / 0.01; z has mean 1.0 and s = 0.1 sqrt(11)
    bowl = f_numbers([0.005 * i * i * IN for i in range(21)])
    assert bowl.ff == pytest.approx(457.0, rel=1e-9)
    assert bowl.fl == pytest.approx(6.2657036167, abs=1e-10)
    # straight slope of 0.1 in over 10 ft: FL = 12.5 / 0.1
    ramp = f_numbers([0.01 * i * IN for i in range(21)])
    assert math.isinf(ramp.ff)
    assert ramp.fl == pytest.approx(125.0, rel=1e-9)
    # up and down: s_q = 0.04 sqrt(20 / 19), mean q = 0
    zigzag = f_numbers([0.02 * (i % 2) * IN for i in range(22)])
    assert zigzag.ff == pytest.approx(37.1190417965, abs=1e-9)
    assert math.isinf(zigzag.fl)


@pytest.mark.parametrize("wave", [4, 5, 6, 12])
def test_sine(wave):
    # h = A sin(2 pi i / N): q_i = -4 A sin^2(pi / N) sin(2 pi (i-1) / N); over whole waves its mean is 0 and
    # its mean square half its amplitude squared (closed form)
    amplitude, waves = 0.05, 10
    h = amplitude * np.sin(2 * np.pi * np.arange(wave * waves + 2) / wave)
    n = wave * waves
    s = 4 * amplitude * math.sin(math.pi / wave) ** 2 * math.sqrt(n / (n - 1) / 2)
    assert f_numbers(h * IN).ff == pytest.approx(4.57 / (3 * s), rel=1e-9)


def test_metric_spacing_is_the_same_floor():
    # the derived constants must give one FF and FL for one arc of radius R, however closely it is read:
    # q = spacing^2 / R, s = 0 (closed form)
    radius = 2e6
    for spacing in (304.8, 300.0):
        h = (spacing * np.arange(-20, 21)) ** 2 / (2 * radius)
        found = f_numbers(h, spacing=spacing)
        assert found.ff == pytest.approx(4.57 * IN / (304.8**2 / radius), rel=1e-6)
        assert ("derived" in found.note) == (spacing == 300)
    slope = [f_numbers(0.002 * s * np.arange(15), spacing=s).fl for s in (304.8, 300.0)]
    assert slope == pytest.approx([12.5 / (0.002 * 120)] * 2, rel=1e-9)
    # the constants corrected for unit and spacing are 112.451 mm and 312.5 mm: q = 1 mm, and z = 10 mm
    assert f_numbers([i * i / 2 for i in range(20)], spacing=300).ff == pytest.approx(112.451, abs=5e-4)
    assert f_numbers(np.arange(20.0), spacing=300).fl == pytest.approx(31.25, abs=5e-5)


def test_lines_combine():
    # published: 20 and 40 make 25.298, not the arithmetic mean
    assert combine([20, 40], [1, 1]) == pytest.approx(25.298, abs=5e-4)


def test_local_minimum_is_the_least_line():
    flat, rough = ([k * (i % 2) for i in range(22)] for k in (0.2, 0.8))
    found = f_numbers([flat, rough])
    assert found.least_ff == pytest.approx(found.lines["ff"].iloc[1])
    assert found.least_ff < found.ff < found.lines["ff"].iloc[0]


@pytest.mark.parametrize(("ff", "gap_in"), [(12, 1 / 2), (20, 5 / 16), (25, 1 / 4), (32, 3 / 16), (50, 1 / 8)])
def test_rough_equivalents(ff, gap_in):
    # ACI 117: rough equivalents of FF and the gap under an unlevelled 10 ft bar. They are approximate and
    # depend on the profile, so this is only a sanity check: profiles whose height spectrum falls with the
    # cube of the frequency, scaled to the FF, put the usual worst gap of a 100 ft line within a factor of two
    generator = np.random.default_rng(117)
    worst = []
    for _ in range(20):
        tone = np.arange(1, 51)
        phase = generator.uniform(0, 2 * np.pi, len(tone))
        i = np.arange(101)[:, None]
        h = (tone**-1.5 * np.sin(2 * np.pi * tone * i / 100 + phase)).sum(axis=1) * IN
        h *= f_numbers(h).ff / ff
        worst.append(profile_gaps(h, 304.8, 3048).max() / IN)
    assert gap_in / 2 < np.median(worst) < gap_in * 2


def test_level_differences_are_over_ten_steps():
    assert level_differences([i * i for i in range(12)]).tolist() == [100, 120]
