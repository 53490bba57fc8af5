"""What a bar shows between the stations, and what a pass rests on there."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom, norm

import flatness
from flatness.__main__ import main
from flatness.errors import ArgumentError, FlatnessError, MeasureError
from flatness.limits.spot_checks import (
    SpotCheck,
    Sweep,
    agreeing,
    between,
    crossed,
    evidence,
    seen_under,
    stop_gap,
    under_a_longer_bar,
    wanted_sweeps,
)
from flatness.limits.strip_lists import read_spots, spot_sheet
from flatness.measures.bars import gap_map
from flatness.surface.lattice import make_surface
from flatness.survey.readings import Framing
from flatness.words.checks import answer, report, where_to_read

FT, IN, STEP = 304.8, 25.4, 152.4
FINE = 76.2
LIMIT = flatness.straightedge_limit(10 * FT, 3 / 16 * IN)
X, Y = np.meshgrid(np.arange(0, 14 * FT + 1, FINE), np.arange(0, 20 * FT + 1, FINE))
GROUND = 0.5 * np.sin(X / 900) * np.cos(Y / 1300)
# over one joist, midway between two lines of stations 2 ft apart: 13 in wide, 10 ft long
HUMP = (
    3
    / 8
    * IN
    * np.maximum(0, 1 - np.abs(X - 5 * FT) / (6.5 * IN))
    * np.clip(1.5 * (1 - np.abs(Y - 9 * FT) / (5 * FT)), 0, 1)
)


def read(height, framing=None, seed=0, every=8):
    part = np.s_[::every, ::every]
    noise = np.random.default_rng(seed).normal(0, IN / 32, height[part].shape)
    survey = flatness.make_survey(
        X[part].ravel(), Y[part].ravel(), (height[part] + noise).ravel(), accuracy=IN / 32, unit="in"
    )
    return replace(survey, framing=framing)


def swept(height, sweeps, written=True):
    """The sweeps as a bar shows them on the true surface, read to 1/32 in."""
    done = []
    for one in sweeps:
        gap = round(float(one.gaps(make_surface(height, spacing=FINE), height[None])[0]) / (IN / 32)) * IN / 32
        done.append(replace(one, gap=gap if written or gap > one.stop else None))
    return done


JOISTS = Framing(16 * IN, "y", 12 * IN)


@pytest.mark.parametrize("framing", [None, JOISTS])
@pytest.mark.parametrize("written", [True, False])
def test_a_hump_between_the_stations_is_not_passed_once_a_bar_was_slid_over_it(framing, written):
    height = GROUND + HUMP
    truth = float(np.nanmax(gap_map(height, FINE, 10 * FT, 4)))
    assert truth > 0.3 * IN
    survey = read(height, framing)
    before = flatness.assess(survey, LIMIT, spacing=STEP, draws=60)
    assert before.between == "assumed"
    wanted = wanted_sweeps(survey, before.subject.surface, LIMIT)
    found = flatness.assess(survey, LIMIT, spacing=STEP, draws=60, spot_checks=swept(height, wanted, written))
    row = found.table.iloc[0]
    assert (row["verdict"], row["between"]) == ("fail", "spot-checked")
    assert row["low_mm"] <= truth <= row["high_mm"] * 1.05


def test_a_fine_floor_passes_and_rests_on_the_bar():
    survey = read(GROUND, JOISTS)
    found = flatness.assess(survey, LIMIT, spacing=STEP, draws=60)
    assert (found.verdict, found.between) == ("pass", "assumed")
    assert len(found.wanted_sweeps) == 3
    done = flatness.assess(survey, LIMIT, spacing=STEP, draws=60, spot_checks=swept(GROUND, found.wanted_sweeps))
    assert (done.verdict, done.between, done.wanted_sweeps) == ("pass", "spot-checked", [])
    half = flatness.assess(survey, LIMIT, spacing=STEP, draws=60, spot_checks=swept(GROUND, found.wanted_sweeps)[:2])
    assert (half.verdict, half.between) == ("pass", "assumed")


def test_a_bar_that_shows_more_than_is_allowed_says_where_and_the_other_strips_stay_open():
    survey = read(GROUND)
    every = flatness.assess(survey, LIMIT, draws=20).wanted_sweeps
    seen = replace(every[1], gap=5 / 16 * IN)
    found = flatness.assess(survey, LIMIT, spot_checks=[seen])
    one = found.governing
    assert (one.verdict, one.by_bar) == ("fail", True)
    words = answer(found, "in")
    assert "bar showed 5/16" in words
    assert "Worst" not in words
    fine = flatness.assess(survey, LIMIT, spot_checks=[replace(every[0]), replace(every[1])])
    assert fine.wanted_sweeps == every[2:]
    assert f"{len(every) - 2} more strips" in answer(fine, "in")


def test_a_doubt_of_what_a_bar_showed_asks_for_no_readings(tmp_path, capsys):
    """Between the readings, which pass, and a bar that shows just the limit, no reading decides."""
    survey = read(GROUND)
    path = tmp_path / "floor.csv"
    flatness.write_survey(survey, path)
    strip = flatness.assess(survey, LIMIT, draws=20).wanted_sweeps[1]
    for gap in (5 / 32, 11 / 64, 3 / 16, 13 / 64):
        seen = replace(strip, gap=gap * IN)
        found = flatness.assess(survey, LIMIT, spot_checks=[seen])
        report(found, "in")
        if found.verdict == "undecided":
            assert "bar showed" in answer(found, "in")
            assert where_to_read(found) is None
            with pytest.raises(MeasureError):
                flatness.more_readings(found)
    assert main(["check", str(path), "--straightedge", "10ft", "--allowed", "3/16in", "--spot-check", "6ft 3/16in 5"])
    assert "fault of this program" not in capsys.readouterr().err


def test_the_strips_are_for_the_limit_under_which_the_bar_stops_first(tmp_path, capsys):
    path = tmp_path / "floor.csv"
    flatness.write_survey(read(GROUND), path)
    for command in ("check", "spots"):
        main([command, str(path), "--limit", "wood-glued"])
        # 3/16 in under 10 ft lets a 6 ft bar show 5/32 in, 1/8 in under 6 ft does not
        assert 'is over 1/8"' in " ".join(capsys.readouterr().out.split())


def test_what_was_seen_between_stations_stays_in_the_range():
    """0.28 in under 2 ft bars, where 0.35 in under 10 ft is true: a hat of 13 in shows 1 - w / L of its height."""
    survey = read(GROUND)
    row = flatness.check(survey, LIMIT, spacing=STEP, draws=200, spot_checks=[SpotCheck(2 * FT, 0.28 * IN)]).iloc[0]
    assert row["verdict"] == "fail"
    assert row["low_mm"] <= 0.35 * IN <= row["high_mm"]
    # and a small one leaves a fine floor fine, its pass as assumed as before
    row = flatness.check(survey, LIMIT, spacing=STEP, draws=200, spot_checks=[SpotCheck(2 * FT, 1 / 32 * IN)]).iloc[0]
    assert (row["verdict"], row["between"]) == ("pass", "assumed")


@pytest.mark.parametrize("half", [3 * IN, 6.5 * IN, 10 * IN])
def test_a_hat_shows_so_much_under_a_bar(half):
    """Gap of a hat of half width w under a bar of length L, by placements on a fine line: 1 - w / L of its height."""
    at = np.arange(0, 20 * FT, FINE / 12)
    hat = 9.0 * np.maximum(0, 1 - np.abs(at - 10 * FT) / half)
    for bar in (2 * FT, 10 * FT):
        gap = float(np.max(flatness.profile_gaps(hat, FINE / 12, bar)))
        assert gap == pytest.approx(9.0 * (1 - half / bar), rel=0.02)
    seen = seen_under(LIMIT, [SpotCheck(2 * FT, 9.0 * (1 - half / (2 * FT)))])
    longer = under_a_longer_bar(seen, 10 * FT, 2000, np.random.default_rng(0))
    assert longer.min() <= 9.0 * (1 - half / (10 * FT)) <= longer.max()


def test_a_longer_bar_than_the_limits_says_nothing_of_it():
    assert seen_under(flatness.straightedge_limit(6 * FT, 3.0), [SpotCheck(10 * FT, 5.0)]) is None


@pytest.mark.parametrize("places", [5, 20, 59, 299])
def test_none_in_n_places_bounds_the_share_of_the_floor(places):
    """The exact binomial bound: so large a share would leave all n places fine in 5 cases of 100."""
    share = SpotCheck(600, 1.0, places).share_over
    assert binom.cdf(0, places, share) == pytest.approx(0.05)
    assert share == pytest.approx(3 / places, rel=0.35)  # the old rule of three, for many places


def test_strips_miss_a_hump_as_often_as_their_distance_lets_them():
    """Missed: max(0, 1 - l / D) of humps l long at random, strips D apart."""
    survey, surface = read(GROUND, JOISTS), make_surface(np.zeros((41, 29)), spacing=STEP)
    sweeps = wanted_sweeps(survey, surface, LIMIT)
    places = np.array([one.at for one in sweeps])
    assert (np.diff(places) <= 2 / 3 * 10 * FT + STEP).all()
    rng, long = np.random.default_rng(0), 4 * FT
    middles = rng.uniform(places[0], places[-1], 20_000)
    missed = float((np.abs(middles[:, None] - places).min(axis=1) > long / 2).mean())
    expected = np.mean([max(0, 1 - long / d) for d in np.diff(places)])
    assert missed == pytest.approx(expected, abs=0.015)
    assert crossed(sweeps, survey, surface)[surface.inside].mean() == 1.0
    assert crossed(sweeps[:1], survey, surface)[surface.inside].mean() < 0.5


def test_surfaces_are_chosen_by_how_well_they_agree():
    """Ridges of known height across one strip: chosen as often as Bayes' rule says."""
    surface = make_surface(np.zeros((21, 21)), spacing=STEP)
    heights = np.zeros((300, 21, 21))
    sizes = np.linspace(0.0, 4.0, 300)
    heights[:, :, 10] = sizes[:, None]
    bar = 6 * FT
    sweep = Sweep(bar, "x", 1500.0, 0.0, 20 * STEP, 2.0)
    gaps = sizes * (1 - 1 / 10)  # of a spike, ten steps from either end of the strip
    assert np.allclose(sweep.gaps(surface, heights), gaps)
    some, share = agreeing(evidence([sweep], surface, heights), 300, np.random.default_rng(1))
    weight = norm.cdf((2.0 - gaps) / (IN / 64))
    assert sizes[some].mean() == pytest.approx((weight * sizes).sum() / weight.sum(), abs=0.03)
    assert share == pytest.approx(weight.sum() ** 2 / (weight**2).sum() / 300, rel=1e-6)
    some, _ = agreeing(evidence([replace(sweep, gap=1.5)], surface, heights), 300, np.random.default_rng(1))
    # seen to 1/64 in, as much again between the nodes, and rounded to 1/32 in
    weight = np.exp(-((gaps - 1.5) ** 2) / 2 / (2 * (IN / 64) ** 2 + (IN / 32) ** 2 / 12))
    assert sizes[some].mean() == pytest.approx((weight * sizes).sum() / weight.sum(), abs=0.03)


def test_the_bar_stops_before_a_hump_is_too_high_under_the_longer_one():
    """A hat 32 in wide that uses up 3/16 in under 10 ft shows (1 - 16 / 72) / (1 - 16 / 120) of it under 6 ft."""
    exact = 3 / 16 * (1 - 16 / 72) / (1 - 16 / 120)
    assert exact - 1 / 32 < stop_gap(LIMIT, 6 * FT, read(GROUND)) / IN <= exact
    assert stop_gap(LIMIT, 10 * FT, read(GROUND)) == pytest.approx(3 / 16 * IN)


@pytest.mark.parametrize(
    ("feet", "framing", "rests_on"),
    [
        (2, None, "assumed"),
        (0.5, None, "read"),
        (2, Framing(24 * IN, "y", 0.0), "read"),  # a line of stations on every joist
        (2, Framing(16 * IN, "y", 0.0), "assumed"),
        (2, Framing(16 * IN, "y", 0.0, typical=0.0), "read"),  # a slab: five stations under the bar
    ],
)
def test_what_a_verdict_rests_on(feet, framing, rests_on):
    survey = read(GROUND, framing, every=round(feet * FT / FINE))
    assert between(LIMIT, survey, survey.surface_at(STEP), feet * FT, []) == rests_on
    assert between(flatness.level_limit(10.0), survey, survey.surface_at(STEP), feet * FT, []) == "read"


def test_a_list_of_strips_is_filled_in_and_read_back(tmp_path):
    survey = read(GROUND)
    sweeps = wanted_sweeps(survey, survey.surface_at(STEP), LIMIT)
    path = tmp_path / "spots.csv"
    for unit in ("in", "mm"):
        done = [replace(one, gap=1 / 16 * IN if unit == "in" else 1.5) for one in sweeps[:2]]
        path.write_text(spot_sheet([*done, *sweeps[2:]], unit))
        found = read_spots(path)
        assert len(found) == 2
        for one, other in zip(found, done, strict=True):
            assert one.along == other.along
            for name in ("bar", "at", "start", "end", "stop", "gap"):
                # as near as a list to the eighth of an inch, or the millimeter, has it
                assert getattr(one, name) == pytest.approx(getattr(other, name), abs=2.0)
    none = spot_sheet(sweeps[:1], "in").rstrip("\n") + "none\n"
    path.write_text(none)
    assert read_spots(path)[0].gap is None


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("1,6 ft,x,1 ft,0 ft,14 ft,5/32 in,3/32 in in", ["row 4", "largest gap"]),
        ("1,6 ft,z,1 ft,0 ft,14 ft,5/32 in,none", ["row 4", "along", "x or y"]),
        ("1,6 ft,x,1 ft,0 ft,14 ft,5/32 in,3 ft", ["row 4", "largest gap", "tenth of the bar"]),
        ("1,6 ft,x,1 ft,14 ft,0 ft,5/32 in,none", ["row 4", "ends before it starts"]),
        ("1,6 ft,x,1 ft,0 ft,14 ft,5/32 in,", ["no strip was filled in"]),
        # a quote that is not closed would take the next strips into its cell, and lose their gaps
        ('1,6 ft,x,1 ft,0 ft,14 ft,5/32 in,"5/16', ["row 4", "quote is not closed"]),
        ('1,"6\' 0"",x,1 ft,0 ft,14 ft,5/32 in,5/16', ["row 4", "quote"]),
    ],
)
def test_a_bad_list_of_strips_is_refused(tmp_path, row, said):
    path = tmp_path / "spots.csv"
    path.write_text("\n".join([*spot_sheet([], "in").splitlines(), row]) + "\n")
    with pytest.raises(FlatnessError) as caught:
        read_spots(path)
    for text in said:
        assert text in str(caught.value)
    path.write_text("a,b\n1,2\n")
    with pytest.raises(FlatnessError, match="no list of strips"):
        read_spots(path)


@pytest.mark.parametrize("arguments", [(0, 1.0), (600, 0), (600, float("nan")), (600, 1, 0), (1.6, 600, 6)])
def test_spot_check_out_of_range(arguments):
    with pytest.raises(ArgumentError, match="spot check"):
        SpotCheck(*arguments)


def test_strips_by_the_command_line_and_back(tmp_path, capsys):
    survey, path, spots = tmp_path / "floor.csv", tmp_path / "floor.csv", tmp_path / "spots.csv"
    flatness.write_survey(read(GROUND), survey)
    limits = ["--straightedge", "10ft", "--allowed", "3/16"]
    assert main(["check", str(path), *limits, "--draws", "40"]) == 0
    first = capsys.readouterr().out.splitlines()
    assert first[0].startswith("PASS at the stations, 2' 0\" apart")
    assert "prove" not in "\n".join(first)
    assert main(["spots", str(path), *limits, "--out", str(spots)]) == 0
    assert "Slide a 6' 0\" bar along these" in capsys.readouterr().out.replace("\n", " ")
    assert main(["spots", str(path), *limits, "--out", str(spots)]) == 2  # it may be filled in already
    capsys.readouterr()
    lines = spots.read_text().splitlines()
    spots.write_text("\n".join(line + "none" if line[0].isdigit() else line for line in lines) + "\n")
    assert main(["check", str(path), *limits, "--draws", "40", "--json", "--spot-check", str(spots)]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["between"], found["limits"][0]["between"], found["wanted_sweeps"]) == (
        "spot-checked",
        "spot-checked",
        [],
    )


def test_a_sheet_of_the_members_reads_every_one_and_its_pass_rests_on_that(tmp_path, capsys):
    asked = ["sheet", "--length", "14ft", "--width", "20ft", "--limit", "wood-glued-10ft", "--accuracy", "1/32in"]
    assert main([*asked, "--members", "16in along y from 8in", "--out", str(tmp_path)]) == 0
    # a wall at 0 and at 14 ft, joists at 8 in, 24 in, ... 168 in is the far wall's own; every 4 ft of 20 ft
    assert f"{12 * 6} readings" in " ".join(capsys.readouterr().out.split())
    path = tmp_path / "floor-readings.csv"
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    filled = [line.replace(",,", ",41 1/2,").replace(",,", ",41 1/2,") for line in lines]
    filled = [line + "41 1/2" if line.endswith(",") else line for line in filled]
    path.write_text("\n".join(filled) + "\n", encoding="utf-8")
    survey = flatness.read_survey(path)
    assert (survey.framing.spacing, survey.framing.along, survey.framing.first) == (16 * IN, "y", 8 * IN)
    found = flatness.assess(survey, "wood-glued-10ft", draws=40)
    assert (found.verdict, found.between, found.wanted_sweeps) == ("pass", "read", [])
    assert main([*asked, "--members", "16in by y", "--out", str(tmp_path / "other")]) == 2
    assert "--members" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["loft_floor/after.csv", "gallery_walls/west.csv", "glaze_store/before.csv"])
def test_strips_reach_behind_openings(name):
    survey = flatness.read_survey(Path(__file__).parents[2] / "sample_surveys" / name)
    limit = flatness.straightedge_limit(10 * FT, 5.0, surfaces=("floor", "wall"))
    surface = survey.surface_at(STEP)
    sweeps = wanted_sweeps(survey, surface, limit)
    assert crossed(sweeps, survey, surface)[surface.inside].mean() >= 0.95
    assert between(limit, survey, surface, 2 * FT, sweeps) == "spot-checked"
    # on the surface, every one of them
    for one in sweeps:
        x, y = (
            ((one.start, one.end), (one.at, one.at)) if one.along == "x" else ((one.at, one.at), (one.start, one.end))
        )
        assert np.isfinite(surface.at(np.array(x), np.array(y), beyond="nearest")).all()
