"""Usual mistakes of a comparison, each made on purpose, and what is not one."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from shapely import box

import comparison_rooms as pairs
import flatness
from flatness.comparison.alignment import moved_apart
from flatness.comparison.comparing import compare, extremes
from flatness.comparison.mistakes import suspects
from flatness.errors import ArgumentError
from flatness.survey.setups import odd_one_out

pytestmark = pytest.mark.usefixtures("coarse_lattice")

GROUND = 3 * np.sin(pairs.GX / 1500) + 2 * np.sin(pairs.GY / 1100)
BUMP = -5.0 * ((np.abs(pairs.GX - 1500) < 500) & (np.abs(pairs.GY - 1500) < 500))
HEAD = (
    "# surface: floor\n# unit: mm\n# reading: height\n# accuracy: 0.4 mm\n# benchmark: B1 = 0\n# benchmark: B2 = -21\n"
    "# benchmark: B3 = 14\nx,y,height,label,kind\n"
)


def day(height, number, step=3, **attributes):
    return pairs.read(height, pairs.grid(step), [7, number], 0.3, **attributes)


def told(before, after, **options):
    return " ".join(compare(before, after, **{"align": "none", **options}).warnings)


def file(height, ties, name="f.csv", slip=None):
    """A survey file over stations 500 mm apart, with a reading of each benchmark that is off by so much [mm]."""
    rows = [
        f",,{known + off},{label},benchmark"
        for (label, known), off in zip((("B1", 0.0), ("B2", -21.0), ("B3", 14.0)), ties, strict=True)
    ]
    for x in range(0, 4001, 500):
        for y in range(0, 3001, 500):
            z = height(x, y) + (10.0 if (x, y) == slip else 0.0)
            rows.append(f"{x},{y},{z:.2f},,surface")
    return flatness.read_survey((HEAD + "\n".join(rows) + "\n").encode(), name=name)


def test_an_honest_pair_is_not_suspected():
    found = compare(day(GROUND, 1), day(GROUND + BUMP, 2), align="none")
    assert found.warnings == ()
    assert (found.compared.before, found.compared.after) == (1.0, 1.0)


def test_one_file_given_twice():
    before = day(GROUND, 1)
    assert "same readings" in told(before, replace(before, title="after"))
    assert "same readings" not in told(before, day(GROUND, 2))


def test_another_room_by_its_outline_its_reach_and_its_change():
    wide, high = pairs.GX.max(), pairs.GY.max()
    room = day(GROUND, 1, outline=box(0, 0, wide, high))
    # half as long: the outlines differ by half of the larger
    assert "differ by 50 % of the larger" in told(room, day(GROUND, 2, outline=box(0, 0, wide, high / 2)))
    assert "times as large" in told(room, day(GROUND - 900.0, 2, outline=room.outline))
    assert "times as large" not in told(room, day(GROUND + 8.0, 2, outline=room.outline))


def test_what_share_of_each_survey_is_compared():
    before, x_end = day(GROUND, 1), 1828.8
    x = pairs.GX[pairs.grid(3)]
    keep = x <= x_end + 1
    after = pairs.read(GROUND, tuple(index[keep] for index in pairs.grid(3)), 3, 0.3)
    found = compare(before, after, align="none")
    assert found.compared.before == pytest.approx(x_end / x.max(), abs=0.005)
    assert found.compared.after == 1
    assert "of what the survey before reached is compared" in found.note


def test_strips_along_the_edges_are_not_compared_and_are_no_mistake():
    before, nodes = day(GROUND, 1), pairs.grid(3)
    x, y = pairs.GX[nodes], pairs.GY[nodes]
    inner = (x > 0) & (x < x.max()) & (y > 0) & (y < y.max())
    found = compare(before, pairs.read(GROUND, tuple(index[inner] for index in nodes), 3, 0.3), align="none")
    # a step of 18 in is left out at either end, both along x and along y
    left = (x.max() - 2 * 457.2) * (y.max() - 2 * 457.2) / (x.max() * y.max())
    assert found.compared.before == pytest.approx(left, abs=0.005)
    assert found.compared.after == 1
    assert found.warnings == ()


def test_a_datum_forgotten_and_a_tilt():
    before = day(GROUND, 1)
    lifted = told(before, day(GROUND + BUMP + 7.0, 2))
    assert "+7.0 mm is taken off everywhere" in lifted
    x, y = pairs.GX / 1000, pairs.GY / 1000
    tilted = told(before, day(GROUND + BUMP + 1.5 * x - 0.9 * y, 2))
    assert "+1.5" in tilted
    assert "-0.9" in tilted
    assert "taken off that rises" in tilted
    assert "taken off" not in told(before, day(GROUND + BUMP, 2))


def test_a_misread_benchmark_is_named_and_widens_the_error():
    good, off = file(lambda x, y: 0.0, (0.1, -0.1, 0.0)), file(lambda x, y: 0.0, (0.1, 5.0, 0.0), "g.csv")
    found = compare(good, off)
    # the readings miss by 0.1, 5.0 and 0 mm: a mean of three with that scatter, against three of 0.4 mm
    scatter = np.std([0.1, 5.0, 0.0], ddof=1)
    assert found.alignment.offset_error == pytest.approx(np.hypot(scatter, 0.4) / np.sqrt(3))
    # by 5.0 less the mean of the others, 0.05
    assert "'B2' in C10 is off by 5.0 mm" in " ".join(found.warnings)
    assert compare(good, good).alignment.offset_error == pytest.approx(0.4 * np.sqrt(2 / 3))


def test_the_odd_one_of_three_values():
    rng = np.random.default_rng(3)
    for _ in range(300):
        values = rng.choice([0.0, 0.5, 1.0, 4.0, 9.0], size=rng.integers(2, 6)).tolist()
        rest = [values[:i] + values[i + 1 :] for i in range(len(values))]
        agree = [i for i, others in enumerate(rest) if max(others) - min(others) <= 1.0]
        wanted = agree[0] if len(values) > 2 and max(values) - min(values) > 1.0 and len(agree) == 1 else None
        assert odd_one_out(values, 1.0) == wanted


@pytest.mark.parametrize(
    ("after", "words", "count"),
    [
        ({"A": 37.0, "B": 21.0, "C": 51.0}, "benchmark B moved by +5.00 mm against A, C", 1),
        ({"A": 940.0, "B": 406.6, "C": 1295.6}, "25.4 times as far apart as in the one before: as if mm were", 1),
        ({"A": 0.0, "B": -2.1, "C": 1.4}, "in the survey before the benchmarks stand 10 times as far", 1),
        ({"A": 1.0, "B": -17.0, "C": 23.0}, "moved apart", 3),
    ],
)
def test_known_heights_that_moved_name_the_one_or_the_unit(after, words, count):
    before = {"A": 0.0, "B": -21.0, "C": 14.0}
    problems = moved_apart(before, after, {label: after[label] - before[label] for label in before})
    assert len(problems) == count
    assert words in problems[0].what
    good = file(lambda x, y: 0.0, (0, 0, 0))
    named = dict(zip(("B1", "B2", "B3"), after.values(), strict=True))
    with pytest.raises(ArgumentError, match=words.replace("+", r"\+").replace(" B ", " B2 ").replace("A, C", "B1, B3")):
        compare(good, replace(good, benchmarks=named))


def test_the_greatest_change_is_no_slip():
    def flat(x, y):
        return 0.3 * np.sin(x / 400) + 0.2 * np.cos(y / 300)

    before = file(flat, (0, 0, 0))
    after = file(lambda x, y: flat(x, y) + (4.0 if x >= 3000 and y <= 1000 else 0.0), (0, 0, 0), "g.csv", (1000, 2000))
    found = compare(before, after)
    (slip,) = suspects(before, after)
    assert (slip.day, slip.x, slip.y) == ("after", 1000, 2000)
    raw, clear = (extremes(found, clear=way)[1] for way in (False, True))
    assert raw.is_suspect
    assert raw.difference > 7
    assert (raw.x, raw.y) == pytest.approx((1000, 2000), abs=260)
    assert not clear.is_suspect
    assert clear.difference == pytest.approx(4, abs=1)
    assert clear.x >= 2700
    assert f"cell {slip.cell}, at (1000, 2000) mm" in found.note


def plan_for(survey, **more):
    x, y = (np.unique(values) for values in survey.xyz()[:2])
    patches = pd.DataFrame({"name": [], "outline": [], "action": []})
    return SimpleNamespace(x=x, y=y, change=np.zeros((len(y), len(x))), patches=patches, **more)


def test_a_plan_of_another_surface_is_remarked():
    before, after = day(GROUND, 1), day(GROUND, 2)
    assert "plan" not in told(before, after, plan=plan_for(before))
    small = plan_for(before)
    half = len(small.x) // 2
    small.x, small.change = small.x[:half], small.change[:, :half]
    assert "it is the plan of this surface" in told(before, after, plan=small)
    other = plan_for(before, made_from={"title": "Attic", "fingerprint": "0" * 64})
    assert "'Attic' was made from other readings" in told(before, after, plan=other)


def test_a_plan_made_from_the_survey_before_is_not_remarked():
    before, after = day(GROUND + BUMP, 1), day(GROUND, 2)
    limit = flatness.straightedge_limit(2000, 3)
    plan = flatness.plan_corrections(before, limits=limit, headings=4, draws=0)
    assert "plan" not in told(before, after, plan=plan)
    assert "other readings" in told(after, before, plan=plan)


@pytest.mark.parametrize("way", ["offset", "tilt"])
def test_a_tie_between_setups_counts_in_what_a_survey_is_aligned_by(way):
    tie, off, room = 0.6, [], box(0, 0, pairs.GX.max(), pairs.GY.max())
    setups = np.where(pairs.GY[pairs.grid(4)] < pairs.GY.max() / 2, "A", "B")
    errors = SimpleNamespace(setups=pd.DataFrame({"offset_error": [tie, tie]}, index=["A", "B"]), m0=np.nan)
    for seed in range(24):
        shift = np.random.default_rng([seed, 9]).normal(0, tie, 2)
        before = pairs.read(GROUND, pairs.grid(4), [seed, 1], 0.3, setup=setups)
        height = before.points["height"] + np.where(setups == "A", *shift)
        before = replace(before, points=before.points.assign(height=height), adjustment=errors)
        found = compare(before, pairs.read(GROUND, pairs.grid(4), [seed, 2], 0.3), align=way, unchanged=room)
        if way == "tilt":
            off.append(found.alignment.tilt_y / found.alignment.tilt_y_error)
        else:  # what all set-ups share is the datum itself
            lower = found.difference[: len(found.y) // 3]
            off.append(float(np.nanmean(lower) / np.nanmean(found.error[: len(found.y) // 3])))
    assert 0.6 < np.sqrt(np.mean(np.square(off))) < 1.4
