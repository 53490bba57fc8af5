"""What least work is refused, and what just is not."""

import math

import numpy as np
import pytest

from flatness.errors import ArgumentError, MeasureError
from flatness.planning.least_work import NOISE_MM, least_work
from flatness.surface.lattice import make_surface

TROUGH = np.array([[0.0, 0.0, -4.0, 0.0, 0.0]] * 3)
BAR = (200.0, 1.0)


def plan(z=TROUGH, requirements=(BAR,), reference="level", **terms):
    return least_work(make_surface(z, 100.0, reference=reference), requirements, headings=2, **terms)


@pytest.mark.parametrize(
    ("asked", "error", "told"),
    [
        ({"requirements": ()}, ArgumentError, "nothing is required"),
        ({"requirements": [(200.0, NOISE_MM)]}, ArgumentError, "allowed gap"),
        ({"requirements": [BAR, (200.0, NOISE_MM / 2)]}, ArgumentError, "allowed gap"),
        ({"requirements": [BAR, (200.0, 0.0)]}, ArgumentError, "allowed out of range"),
        ({"level_within": -1e-9}, ArgumentError, "level_within"),
        ({"level_within": math.inf}, ArgumentError, "level_within"),
        ({"level_within": math.nan}, ArgumentError, "level_within"),
        ({"level_within": 3.0, "reference": "string"}, MeasureError, "no level"),
        ({"tolerance": 1.0}, ArgumentError, "tolerance"),
        ({"tolerance": -1e-9}, ArgumentError, "tolerance"),
        ({"z": np.full((3, 3), np.nan)}, MeasureError, "without heights"),
    ],
)
def test_what_is_refused(asked, error, told):
    with pytest.raises(error, match=told):
        plan(**asked)


def test_what_lies_just_within_is_planned():
    # a bar of two steps over the dip may show 1 mm: it is filled by 3 mm; to lower its sides instead takes twice that
    for asked in ({}, {"tolerance": 0.0}, {"reference": "string"}, {"level_within": 4.0}):
        found = plan(**asked)
        assert found.change[:, 2] == pytest.approx([3.0] * 3, abs=1e-3), asked
        assert np.delete(found.change, 2, axis=1) == pytest.approx(0.0, abs=1e-3)
    # a band of nothing is a level plane; the one with the least volume to it lies where most nodes are (the median)
    assert plan(level_within=0.0).change.min() == pytest.approx(0.0, abs=1e-3)
    assert plan(level_within=0.0).change.max() == pytest.approx(4.0, abs=1e-3)


def test_a_bar_of_one_step_asks_for_nothing():
    assert plan(requirements=[(199.0, 1.0)]).cost == pytest.approx(0.0, abs=1e-6)
