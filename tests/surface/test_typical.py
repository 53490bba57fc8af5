"""Made-up surfaces have the correlation and the spread of lengths that they claim."""

import numpy as np
import pytest

from flatness import ArgumentError
from flatness.limits.planning import typical_surfaces
from flatness.surface.kriging import Parameters


def matern(dx, dy, p):
    """Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), equation 4.17, written out again."""
    far = np.sqrt(5) * np.hypot(dx / p.length_x, dy / p.length_y)
    return p.scale**2 * (1 + far + far**2 / 3) * np.exp(-far)


def test_waves_are_correlated_as_matern():
    shapes = typical_surfaces(1500, np.random.default_rng(2))
    for a, b in ((0.0, 0.0), (0.5, 0.0), (0.0, 1.0), (1.5, 1.0)):
        product = []
        for shape in shapes:
            x, y = np.array([0.0, a * shape.length_x]), np.array([0.0, b * shape.length_y])
            z = shape.at(x, y)
            product.append(z[0] * z[1])
        expected = matern(a, b, Parameters(1.0, 1.0, 1.0, 1.0))
        # the mean of products of two standard normal numbers, with four standard errors
        assert np.mean(product) == pytest.approx(expected, abs=4 * np.sqrt((1 + expected**2) / len(shapes)))


def test_lengths_are_spread_as_assumed():
    shapes = typical_surfaces(400, np.random.default_rng(1))
    lengths = np.log([[s.length_x, s.length_y] for s in shapes])
    # the mean log length and the log ratio: normal, about 1500 mm and one, each with a deviation of one
    assert lengths.mean() == pytest.approx(np.log(1500), abs=0.01)
    assert lengths.mean(axis=1).std() == pytest.approx(1.0, abs=0.05)
    assert (lengths[:, 0] - lengths[:, 1]).std() == pytest.approx(1.0, abs=0.05)


def test_the_same_generator_gives_the_same_surfaces():
    x, y = np.array([0.0, 700.0, 4000.0]), np.array([300.0, 0.0, 9000.0])

    def heights(seed):
        return np.array([shape.at(x, y) for shape in typical_surfaces(5, np.random.default_rng(seed))])

    assert np.array_equal(heights(7), heights(7))
    assert not np.array_equal(heights(7), heights(8))


@pytest.mark.parametrize("count", [0, -1, 2.5])
def test_number_of_surfaces_out_of_range(count):
    with pytest.raises(ArgumentError, match="number of surfaces"):
        typical_surfaces(count, np.random.default_rng(0))
