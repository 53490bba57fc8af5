"""The running prediction against a Gaussian process written out here with dense matrices."""

import time

import numpy as np
import pytest

from flatness.survey.readings import Framing
from flatness.taking.running import Running, Taken, usual_parameters

SLOPE, CONSTANT = 0.004, 1000.0


def dense(taken, p, place):
    """Mean and error at a place: Rasmussen and Williams (2006), eq. 2.25 and 2.26; Matern 5/2, eq. 4.17."""

    def k(a, b):
        r = np.hypot((a[0] - b[0]) / p.length_x, (a[1] - b[1]) / p.length_y) * np.sqrt(5)
        same = CONSTANT**2 if a[2] == b[2] else 0.0
        return p.scale**2 * (1 + r + r * r / 3) * np.exp(-r) + SLOPE**2 * (a[0] * b[0] + a[1] * b[1]) + same

    at = [(one.x, one.y, one.setup) for one in taken]
    among = np.array([[k(a, b) for b in at] for a in at]) + p.reading_error**2 * np.eye(len(at))
    to = np.array([k(a, place) for a in at])
    weight = np.linalg.solve(among, to)
    z = np.array([one.height for one in taken])
    return weight @ z, np.sqrt(k(place, place) - weight @ to)


def some(count, rng, setups=("1",)):
    return [
        Taken(*rng.uniform(0, 6000, 2), float(-1050 + 3 * rng.standard_normal()), setups[k * len(setups) // count])
        for k in range(count)
    ]


def test_one_row_at_a_time_is_the_textbook():
    rng = np.random.default_rng(0)
    p = usual_parameters(0.9)
    running = Running(p)
    for one in some(30, rng, ("1", "2")):
        running.add(one)
        place = (*rng.uniform(0, 6000, 2), one.setup)
        mean, error = dense(running.taken, p, place)
        assert running.expected(*place) == (pytest.approx(mean, abs=1e-4), pytest.approx(error, abs=1e-4))


def test_adding_rows_is_the_same_as_beginning_again():
    rng = np.random.default_rng(1)
    p = usual_parameters(0.9, Framing(406.4, "y", 0.0))
    taken = some(60, rng)
    grown, whole = Running(p), Running(p, taken)
    for one in taken:
        grown.add(one)
    for place in rng.uniform(0, 6000, (5, 2)):
        assert grown.expected(*place, "1") == pytest.approx(whole.expected(*place, "1"), abs=1e-5)


def test_a_wild_surface_widens_what_is_expected():
    p = usual_parameters(0.9)
    rng = np.random.default_rng(4)
    tame = some(200, rng)
    wild = [Taken(one.x, one.y, -1050 + 10 * (one.height + 1050), one.setup) for one in tame]
    assert Running(p, wild).wilder > 3 * Running(p, tame).wilder


def test_a_reading_left_out_is_what_all_others_say_of_it():
    rng = np.random.default_rng(5)
    p = usual_parameters(0.9)
    taken = some(25, rng, ("1", "2"))
    running = Running(p, taken)
    off, error = running.left_out(7)
    for k in range(7):
        own = taken[18 + k]
        others = [one for one in taken if one is not own]
        mean, around = dense(others, p, (own.x, own.y, own.setup))
        assert off[k] == pytest.approx(own.height - mean, abs=1e-3)
        assert error[k] == pytest.approx(running.error_of_reading(around), rel=1e-3)


def test_three_hundred_readings_are_quick():
    # the page promises 50 ms from the key to the answer; the least of three, for the machine may be busy
    rng = np.random.default_rng(3)
    running = Running(usual_parameters(0.9, Framing(406.4, "y", 0.0)), some(300, rng))
    seconds = []
    for one in some(3, rng):
        begin = time.perf_counter()
        running.expected(one.x, one.y, one.setup)
        running.left_out(16)
        running.add(one)
        seconds.append(time.perf_counter() - begin)
    assert min(seconds) < 0.05
