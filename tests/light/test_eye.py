"""The eye: Barten's contrast sensitivity against the published formula and another library."""

import math

import numpy as np
import pytest
from colour.contrast import contrast_sensitivity_function_Barten1999

from flatness.errors import ArgumentError
from flatness.light.eye import Eye, contrast_sensitivity, cycles_per_degree

CYCLES = (0.02, 0.064, 0.129, 0.258, 1.0, 4.0, 16.0)
# colour-science 0.4.7, contrast_sensitivity_function_Barten1999(u, X_0=20, E=60), run beside these
BY_ANOTHER_LIBRARY = {0.011: 6.9580693732, 0.064: 40.4197124373, 0.129: 81.0690711254, 0.258: 159.0174390034}
BY_ANOTHER_LIBRARY |= {1.0: 453.6558869584, 4.0: 342.3720318851, 16.0: 67.7723868283}


def by_formula(u, field=20.0, trolands=60.0, pupil=2.1):
    """Barten 1999, equation 3.26 as commonly quoted (clause from memory), term by term in its own letters."""
    sigma = math.sqrt((0.5 / 60) ** 2 + (0.08 / 60 * pupil) ** 2)
    m_opt = math.exp(-2 * math.pi**2 * sigma**2 * u**2)
    k, t, x_max, n_max, eta, p, phi_0, u_0 = 3.0, 0.1, 12.0, 15.0, 0.03, 1.2274e6, 3e-8, 7.0
    area = 1 / field**2 + 1 / x_max**2 + u**2 / n_max**2
    noise = 1 / (eta * p * trolands) + phi_0 / (1 - math.exp(-((u / u_0) ** 2)))
    return m_opt / k / math.sqrt(2 / t * area * noise)


@pytest.mark.parametrize("u", CYCLES)
def test_sensitivity_is_the_published_formula(u):
    assert contrast_sensitivity(u) == pytest.approx(by_formula(u), rel=1e-9)
    eye = Eye(field=40, trolands=300, pupil=3.0)
    assert contrast_sensitivity(u, eye) == pytest.approx(by_formula(u, 40, 300, 3.0), rel=1e-9)


def test_sensitivity_is_what_another_library_gives():
    for u, value in BY_ANOTHER_LIBRARY.items():
        assert contrast_sensitivity(u) == pytest.approx(value, rel=1e-9)


def test_sensitivity_against_the_library_itself():
    theirs = contrast_sensitivity_function_Barten1999(np.array(CYCLES), X_0=20, E=60)
    np.testing.assert_allclose(contrast_sensitivity(CYCLES), theirs, rtol=1e-9)


def test_an_even_surface_is_no_pattern():
    assert contrast_sensitivity(0.0) == 0


def test_a_degree_at_arms_length():
    # by hand: at 60 in a degree is 1.0473 in wide, so 16 in holds 15.28 of it
    assert cycles_per_degree(16 * 25.4, 60 * 25.4) == pytest.approx(1 / 15.277, rel=1e-4)


@pytest.mark.parametrize("name", ["field", "trolands", "pupil", "times"])
def test_an_eye_has_a_size(name):
    with pytest.raises(ArgumentError, match=name):
        Eye(**{name: 0.0})
