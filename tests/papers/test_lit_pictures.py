"""The picture of a light on the owner's page: where a limit names one, of what was read, and no other time."""

import re

import numpy as np
import pytest

import flatness
from flatness.limits.verdict import assess
from flatness.papers.figures import lit_picture
from flatness.papers.owner import owner_page
from flatness.survey.readings import make_survey

IN = 25.4


@pytest.fixture(scope="module")
def assessed():
    x, y = map(np.ravel, np.meshgrid(16 * IN * np.arange(9), 16 * IN * np.arange(7)))
    survey = make_survey(x, y, 2 * np.sin(2 * np.pi * x / (96 * IN)), surface="wall", reference="plumb", accuracy=0.1)
    bar = flatness.straightedge_limit(48 * IN, 3.2, surfaces=("wall",))
    return {
        "light": assess(survey, [bar, flatness.light_limit(2.0, along="x")], draws=0),
        "bar": assess(survey, [bar], draws=0),
    }


def test_it_is_brighter_where_the_wall_turns_to_the_light(assessed):
    """Light along x, from the left: what falls away to the right of a crest is turned from it."""
    figure, words = lit_picture(assessed["light"], None, None, "in", 7.0)
    assert "2 degrees" in words
    (image,) = figure.axes[0].images
    shade = np.asarray(image.get_array())[..., 0].mean(axis=0)
    at = np.linspace(0, 128 * IN, len(shade))
    # it travels along x, so a face that rises along x looks back at it
    assert np.corrcoef(shade, np.cos(2 * np.pi * at / (96 * IN)))[0, 1] > 0.9


def test_without_a_light_no_picture(assessed):
    assert lit_picture(assessed["bar"], None, None, "in", 7.0) is None


def test_the_page_has_it(assessed):
    with_light, without = (owner_page(assessed[name]) for name in ("light", "bar"))
    assert "in light along it" in (with_light.html or "")
    assert "in light along it" not in (without.html or "")
    assert len(with_light.pdf) > len(without.pdf)


def test_a_light_is_told_in_degrees(assessed):
    alone = assess(assessed["light"].subject.survey, [flatness.light_limit(1.0, along="x")], draws=0)
    page = re.sub(r"\s+", " ", owner_page(alone).html or "")
    found = alone.judged[0].finding.measured.value
    assert f"light along it shows something up to {found:.1f} degrees, and at 1 degree nothing may show" in page
    assert f"Light along it shows something up to {found:.1f}°. Nothing seen from 5 ft" in page
    assert "how flat it is" not in page.lower()
