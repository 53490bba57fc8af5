"""A limit by what light shows: sines against their closed form, noise that proves nothing, job files, words."""

import math

import numpy as np
import pytest

import flatness
from flatness.__main__ import main
from flatness.errors import FlatnessError, LimitError
from flatness.light.lamps import Daylight, Strip
from flatness.light.waves import angle_of, lattice_of, least_distance, shown
from flatness.limits.kinds import describe
from flatness.limits.measuring import Subject, measure
from flatness.planning.request import plannable
from flatness.surface.likely import likely_surface
from flatness.survey.readings import make_survey

IN = 25.4
# the least contrast that is seen of a wave of 4 ft from 5 ft; tests/light holds Barten's formula against its source
SEEN_OF_4_FT = 0.07247


def read(height, step, accuracy, seed, wide=4876.8, high=1219.2):
    x, y = map(np.ravel, np.meshgrid(np.arange(0, wide + 1, step), np.arange(0, high + 1, step)))
    noise = np.random.default_rng(seed).normal(0, accuracy, len(x))
    return make_survey(x, y, height(x) + noise, surface="wall", reference="plumb", accuracy=accuracy)


def sine(x):
    return 1.5 * np.sin(2 * np.pi * x / 1219.2)


def test_the_threshold_of_a_4_ft_wave():
    """Barten 1999 by hand: 1524 tan 1 / 1219.2 = 0.02182 cycles a degree."""
    u = 1524 * math.tan(math.radians(1)) / 1219.2
    noise = 1 / (0.03 * 1.2274e6 * 60) + 3e-8 / (1 - math.exp(-((u / 7) ** 2)))
    area = 1 / 20**2 + 1 / 12**2 + (u / 15) ** 2
    blur = math.hypot(0.5 / 60, 0.08 / 60 * 2.1)
    assert 3 * math.exp(2 * (math.pi * blur * u) ** 2) * math.sqrt(20 * area * noise) == pytest.approx(
        SEEN_OF_4_FT, 1e-3
    )


def test_a_sine_passes_at_its_own_angle_and_fails_below():
    """tan a = 2 pi A / (L c): 5.99 degrees of a wave of 1.5 mm over 4 ft."""
    least = math.degrees(math.atan(2 * math.pi * 1.5 / 1219.2 / SEEN_OF_4_FT))
    survey = read(sine, 6 * IN, 0.1, 1)
    limits = [flatness.light_limit(least * k, name=f"{k}", along="x") for k in (0.8, 1.25)]
    table = flatness.check(survey, limits, draws=40).set_index("limit")
    assert table["verdict"].to_dict() == {"0.8": "fail", "1.25": "pass"}
    assert table["unit"].tolist() == ["degrees", "degrees"]
    assert table.loc["0.8", "likely"] == pytest.approx(least, rel=0.05)
    assert table.loc["0.8", "as_read"] == pytest.approx(least, rel=0.1)
    assert table["allowed_mm"].isna().all()


def test_light_across_the_wave_shows_nothing():
    survey = read(sine, 6 * IN, 0.1, 1, high=1828.8)
    table = flatness.check(survey, [flatness.light_limit(4, along=way, name=way) for way in "xy"], draws=40)
    assert table.set_index("limit")["verdict"].to_dict() == {"x": "fail", "y": "pass"}


@pytest.mark.parametrize("seed", range(3))
def test_noise_never_fails(seed):
    """A flat wall read to 1/32 in: at no angle is it said to show."""
    survey = read(np.zeros_like, 24 * IN, IN / 32, seed, high=2438.4)
    limits = [flatness.light_limit(angle, name=str(angle)) for angle in (0.05, 0.5, 2, 20)]
    table = flatness.check(survey, limits, draws=40).set_index("limit")
    assert "fail" not in set(table["verdict"])
    assert table.loc["20", "verdict"] == "pass"


def test_what_each_draw_shows_somewhere_else_is_not_proved():
    """Studs each off on their own, read at two heights: every draw shows something, few places are sure."""
    off = np.random.default_rng(3).normal(0, 1.0, 13)
    survey = read(lambda x: np.interp(x, 16 * IN * np.arange(13), off), 16 * IN, 0.8, 4)
    likely = likely_surface(survey)
    level = Daylight(angle=45)
    shows = shown(likely.draw(100, 1), lattice_of(likely), level, 1524, shortest=likely.shortest_wave)
    least_of_draws, proved = angle_of(float(np.quantile(shows.strongest, 0.01))), angle_of(shows.proved)
    assert proved < 0.9 * least_of_draws
    limit = flatness.light_limit((proved + least_of_draws) / 2, along="x")
    (verdict,) = flatness.check(survey, limit, draws=100).to_dict("records")
    assert verdict["chance"] < 0.05
    assert verdict["verdict"] == "undecided"
    assert "more closely" in verdict["note"]


def test_a_plan_takes_a_light_for_each_way_that_it_may_run():
    survey = read(sine, 6 * IN, 0.1, 1, high=1828.8)
    limit = flatness.light_limit(4, times=2)
    found = plannable([limit], Subject.of(survey, [limit]), None)
    assert [one.heading for one in found.lights] == [0, 90]
    assert {one.eye.times for one in found.lights} == {2}
    assert [one.allowed for one in found.at(0.5)] == pytest.approx([math.tan(math.radians(4)) / 2] * 2)


def test_in_a_job_file_and_in_words(tmp_path, capsys):
    survey = read(sine, 6 * IN, 0.1, 1)
    flatness.write_survey(survey, tmp_path / "wall.csv")
    (tmp_path / "job.toml").write_text(
        'confidence = 0.95\ndraws = 30\n[surveys]\nbefore = "wall.csv"\n'
        '[[limits]]\nkind = "light"\nangle = 4\ndistance = "5 ft"\nalong = "x"\n'
    )
    job = flatness.read_job(tmp_path / "job.toml")
    assert job.limits[0].kind == "light"
    assert job.limits[0].parameters["distance"] == pytest.approx(1524)
    code = main(["job", str(tmp_path / "job.toml")])
    out = capsys.readouterr().out
    assert code == 1
    assert "4.0\N{DEGREE SIGN}" in out
    assert "degrees along x" in " ".join(out.split())


def test_a_wrong_axis_is_named(tmp_path):
    survey = read(sine, 24 * IN, 0.1, 1)
    flatness.write_survey(survey, tmp_path / "wall.csv")
    (tmp_path / "job.toml").write_text(
        '[surveys]\nbefore = "wall.csv"\n[[limits]]\nkind = "light"\nangle = 4\nalong = "z"\n'
    )
    with pytest.raises(FlatnessError, match="along"):
        flatness.read_job(tmp_path / "job.toml")


def test_a_limit_by_lamps_turns_where_lamps_begin_to_show():
    """A second way to it: the distance at which a strip shows once what is seen, of a wave of 40 in up the wall."""
    x, y = (grid.ravel() for grid in np.meshgrid(304.8 * np.arange(13), 304.8 * np.arange(9)))
    survey = make_survey(x, y, 3 * np.sin(2 * np.pi * y / 1016.0), surface="wall", accuracy=0.1)
    subject = Subject.of(survey, [flatness.light_limit(lamp=300.0)])
    stack = subject.surface.height[None]
    safe, _, _ = least_distance(
        stack, subject.surface, lambda off: Strip(side="top", off=off), 1524.0, shortest=609.6, confidence=0.5
    )
    for share in (0.9, 1.1):
        limit = flatness.light_limit(lamp=share * safe, side="top")
        assert measure(limit, subject).within == (share > 1)
    with pytest.raises(LimitError, match="neither or both"):
        flatness.light_limit()
    with pytest.raises(LimitError, match="neither or both"):
        flatness.light_limit(5.0, lamp=300.0)
    with pytest.raises(LimitError, match="unknown side"):
        flatness.light_limit(lamp=300.0, side="north")
    assert "lamps 300 mm off along the top" in describe(flatness.light_limit(lamp=300.0), "mm")
