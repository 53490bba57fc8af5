"""Plans of readings: against whole verdicts on rooms made here, what must hold at the extremes, and bad input."""

import functools

import numpy as np
import pandas as pd
import pytest

import flatness
from flatness import ArgumentError, LimitError
from flatness.limits.planning import plan_readings, usual_steps
from flatness.measures.bars import gap_map

FT = 304.8
LIMIT = 4.7625  # 3/16 in
ACCURACY = 25.4 / 32
LENGTH, WIDTH = 16 * FT, 12 * FT
FEW = {"rooms": 24, "draws": 50}


def agreed(allowed=LIMIT, length=10 * FT):
    return flatness.straightedge_limit(length, allowed)


@functools.cache
def usual(rooms=FEW["rooms"]):
    """The plan for the usual limit and instrument, which several tests look at."""
    return plan(rooms=rooms)


def plan(limit=None, accuracy=ACCURACY, **options):
    options = {"steps": [2 * FT, 4 * FT], **FEW, **options}
    return plan_readings(LENGTH, WIDTH, limit or agreed(), accuracy, **options)


def test_it_agrees_with_whole_verdicts():
    """Rooms made here, by factoring the covariance of every place, each held against the limit by the full check."""
    rng = np.random.default_rng(5)
    gx, gy = np.meshgrid(np.arange(0, LENGTH + 1, FT), np.arange(0, WIDTH + 1, FT))
    count, undecided = 30, {2: 0, 4: 0}
    for k in range(count):
        mean, half = np.log(1500.0) + rng.normal(), rng.normal() / 2  # the lengths as surface/fitting.py assumes
        dx, dy = (np.subtract.outer(g.ravel(), g.ravel()) for g in (gx, gy))
        far = np.sqrt(5) * np.hypot(dx / np.exp(mean + half), dy / np.exp(mean - half))
        matern = (1 + far + far**2 / 3) * np.exp(-far)
        z = (np.linalg.cholesky(matern + 1e-8 * np.eye(gx.size)) @ rng.normal(size=gx.size)).reshape(gx.shape)
        z *= LIMIT * 4 ** (2 * (k + 0.5) / count - 1) / gap_map(z, FT, 10 * FT).max()
        for feet in undecided:
            read = z[::feet, ::feet] + rng.normal(0, ACCURACY, z[::feet, ::feet].shape)
            survey = flatness.make_survey(
                gx[::feet, ::feet].ravel(), gy[::feet, ::feet].ravel(), read.ravel(), accuracy=ACCURACY
            )
            found = flatness.assess(survey, agreed(), draws=60, headings=4, spacing=FT, seed=k)
            undecided[feet] += found.verdict == "undecided"
    planned = usual(60).grids.set_index("step_mm")["undecided"]
    for feet, number in undecided.items():
        # two shares of 30 and 60 rooms differ by a fifth one time in twenty
        assert planned[feet * FT] == pytest.approx(number / count, abs=0.22)


def test_the_ratio_of_error_to_limit_is_all_that_counts():
    """True surfaces are spread about the limit, so limit and error doubled together change next to nothing.

    Only the weak prior of the surface's scale knows millimetres.
    """
    one, twice = usual(), plan(agreed(2 * LIMIT), 2 * ACCURACY)
    assert np.abs(one.grids["undecided"] - twice.grids["undecided"]).max() <= 3 / FEW["rooms"] + 1e-9


def test_a_tighter_limit_or_a_worse_instrument_wants_more():
    fine, middle, coarse = plan(accuracy=0.2), usual(), plan(accuracy=2.5)
    tight = plan(agreed(LIMIT / 3))
    for easy, hard in ((fine, middle), (middle, coarse), (middle, tight)):
        assert (hard.grids["undecided"] + 0.1 >= easy.grids["undecided"]).all()
        assert hard.grids["undecided"].mean() > easy.grids["undecided"].mean()
        assert (hard.recommended or 0) <= (easy.recommended or 0)
    assert fine.recommended > (coarse.recommended or 0)


def test_a_wider_step_leaves_more_undecided():
    grids = plan(accuracy=0.2, steps=[2 * FT, 6 * FT]).grids
    assert grids["undecided"].iloc[-1] > grids["undecided"].iloc[0]
    assert grids["step_mm"].is_monotonic_increasing


def test_an_instrument_that_shows_nothing_decides_nothing():
    found = plan(accuracy=200.0, rooms=12)
    assert (found.grids["undecided"] > 0.9).all()
    assert found.recommended is None
    assert found.positions()[0].tolist() == found.positions(2 * FT)[0].tolist()


def test_wrong_verdicts_are_rare():
    # at 95 %, of rooms on both sides of the limit; 5 % of 60 rooms, with three standard errors
    assert (usual(60).grids["wrong"] <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 60)).all()


def test_the_widest_good_step_is_recommended():
    found = plan(target=1.0, rooms=10)
    assert found.recommended == 4 * FT
    assert plan(target=0.0, accuracy=5.0, rooms=10).recommended is None
    grids = found.grids
    assert grids["columns"].tolist() == [9, 5]
    assert grids["rows"].tolist() == [7, 4]
    assert grids["readings"].tolist() == [63, 20]


def test_the_same_seed_gives_the_same_plan():
    pd.testing.assert_frame_equal(plan(seed=3, rooms=10).grids, plan(seed=3, rooms=10).grids, check_exact=True)


def test_usual_steps_stay_under_what_the_limit_can_see():
    # a bar must reach over a station between two others: a step of at most the length over 1.5
    assert usual_steps(6000, 4000, agreed(4, 1000.0), unit="mm") == [250, 300, 500, 600]
    assert [step / FT for step in usual_steps(LENGTH, WIDTH, agreed(3, 2 * FT))] == pytest.approx([1])


def test_no_narrower_grid_is_tried_than_one_more_than_is_needed():
    said = []
    asked = {"unit": "mm", "rooms": 10, "draws": 10, "progress": lambda *at: said.append(at)}
    # whatever is undecided is good enough: the widest, and one more
    found = plan_readings(6000, 4000, agreed(4, 1000.0), 1.0, target=1.0, **asked)
    assert found.grids["step_mm"].tolist() == [500, 600]
    assert said == [(1, 4), (2, 4)]
    assert any("narrower grids were not tried" in note for note in found.notes)
    # steps that are asked for are all tried
    every = plan_readings(6000, 4000, agreed(4, 1000.0), 1.0, target=1.0, steps=[300, 500, 600], **asked)
    assert every.grids["step_mm"].tolist() == [300, 500, 600]
    assert not any("narrower grids" in note for note in every.notes)


def test_what_is_assumed_is_said():
    notes = " ".join(plan(rooms=10, draws=10).notes)
    for words in ("quarter of the limit to four times", "random about a plane", "no source", "no grid shows"):
        assert words in notes


@pytest.mark.parametrize(
    ("options", "word"),
    [
        ({"accuracy": 0.0}, "accuracy"),
        ({"accuracy": np.nan}, "accuracy"),
        ({"rooms": 3}, "rooms"),
        ({"draws": 2.5}, "draws"),
        ({"seed": -1}, "seed"),
        ({"confidence": 1.0}, "confidence"),
        ({"target": 1.5}, "target"),
        ({"unit": "yd", "steps": None}, "unit"),
        ({"steps": []}, "steps"),
        ({"steps": [-1.0]}, "steps"),
        ({"steps": [7 * FT]}, "too far apart"),
        ({"surface": "roof"}, "surface"),
    ],
)
def test_bad_input(options, word):
    with pytest.raises(ArgumentError, match=word):
        plan(**options)


@pytest.mark.parametrize("side", [0.0, -5.0, np.inf])
def test_sides_out_of_range(side):
    with pytest.raises(ArgumentError, match="length"):
        plan_readings(side, WIDTH, agreed(), ACCURACY)


def test_limits_that_no_grid_is_planned_for():
    with pytest.raises(LimitError, match="not planned"):
        plan(flatness.f_number_limit(ff=35))
    with pytest.raises(LimitError):
        plan("wood-glued", surface="wall")
