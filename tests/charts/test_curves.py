"""Pictures of curves by their artists."""

from pathlib import Path

import numpy as np
import pytest

from flatness.charts.axes import save_chart
from flatness.charts.curves import deviation_chart, set_out_chart, unrolled_chart
from flatness.curves.making import make_ellipse, make_oval
from flatness.curves.setting_out import set_out
from flatness.curves.walls import read_curved_wall
from flatness.words.curves import CurveJob

SAMPLES = Path(__file__).parents[2] / "sample_surveys" / "oval_room"


@pytest.fixture(scope="module")
def job():
    wall = read_curved_wall(SAMPLES / "niche.csv")
    return CurveJob(set_out=set_out(wall.curve, studs=300.0, parallel=50.8), wall=wall, template=609.6)


def words(chart):
    return [text.get_text() for text in chart.texts]


def test_the_plan_shows_the_curve_to_scale_with_its_centers(job):
    chart = set_out_chart(job.set_out)
    x, y = chart.curve.get_data()
    assert np.abs(job.set_out.curve.nearest(x, y)[1]).max() < 1e-6
    assert chart.ax.get_aspect() == 1
    assert "C1: 3' 0 1/2\" radius" in words(chart)
    assert {"S1", "S6"} <= set(words(chart))
    pins = words(set_out_chart(set_out(make_ellipse(length=6000.0, width=4000.0)), "mm"))
    assert {"pin 1", "pin 2"} <= set(pins)
    radii = [
        one for one in words(set_out_chart(set_out(make_oval(length=6000.0, width=4000.0)), "mm")) if "radius" in one
    ]
    assert len(radii) == 4


def test_the_wall_is_drawn_off_its_curve_by_a_round_factor(job):
    chart = deviation_chart(job)
    assert chart.times in (1, 2, 5, 10, 20, 25, 50, 100)
    built = [line for line in chart.ax.lines if len(line.get_xdata()) > 100 and line is not chart.curve]
    off = np.array([np.abs(job.wall.curve.nearest(*line.get_data())[1]).max() for line in built])
    # 8.7 mm of the planted flat, and the readings' own error
    assert off.max() / chart.times == pytest.approx(8.7, abs=2.5)
    assert any(one.startswith("worst: ") for one in words(chart))


def test_unrolled_the_template_lies_on_its_contacts(job):
    chart = unrolled_chart(job)
    found, _ = job.wall.worst(609.6)
    assert list(chart.template.get_xdata()) == pytest.approx(found.contacts)
    assert len(chart.lines) == 3
    assert "flat" in words(chart)
    along, off = chart.lines[0].get_data()
    level = job.wall.levels()[0]
    assert (list(along), list(off)) == tuple(map(list, job.wall.line(level)))


def test_they_are_saved(job, tmp_path):
    assert save_chart(deviation_chart(job), tmp_path / "wall.png").stat().st_size > 10_000
