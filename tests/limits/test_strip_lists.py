"""Strips and single places as files and options: read, refused, and known to every command."""

import json
from dataclasses import replace

import numpy as np
import pytest

import flatness
from flatness.__main__ import main
from flatness.charts.pictures import check_charts
from flatness.errors import ArgumentError, FlatnessError
from flatness.limits.spot_checks import SpotCheck, Sweep, count_crossed, wanted_sweeps
from flatness.limits.strip_lists import read_spots, spot_sheet
from flatness.measures.straightedge import profile_gaps
from flatness.planning.plan import read_plan
from flatness.surface.lattice import make_surface
from flatness.survey.readings import Framing

FT, IN, STEP = 304.8, 25.4, 304.8
ASKED = ["--straightedge", "10ft", "--allowed", "3/16in", "--draws", "40"]
LIMIT = flatness.straightedge_limit(10 * FT, 3 / 16 * IN)


def floor(seed=0):
    x, y = np.meshgrid(np.arange(8) * 2 * FT, np.arange(11) * 2 * FT)
    noise = np.random.default_rng(seed).normal(0, IN / 32, x.shape)
    height = 0.5 * np.sin(x / 900) * np.cos(y / 1300) + noise
    return flatness.make_survey(x, y, height, accuracy=IN / 32, unit="in")


@pytest.fixture
def room(tmp_path):
    """A survey and the list of its strips, every one slid and none over the gap to stop at."""
    survey, spots = tmp_path / "floor.csv", tmp_path / "spots.csv"
    flatness.write_survey(floor(), survey)
    sweeps = wanted_sweeps(floor(), floor().surface_at(STEP), LIMIT)
    text = spot_sheet(sweeps, "in")
    spots.write_text("\n".join(f"{one}none" if one[0].isdigit() else one for one in text.splitlines()) + "\n")
    return survey, spots


def rows_in(path, *rows):
    path.write_text("\n".join([*spot_sheet([], "in").splitlines(), *rows]) + "\n")
    return path


def test_single_places_are_written_in_the_list_too(tmp_path):
    path = rows_in(
        tmp_path / "spots.csv",
        "1,2 ft,x,5 ft,4 ft,6 ft,1/16 in,1/32 in",
        "2,2 ft,5 places,,,,,1/32 in",
        "3,2 ft,1 place,,,,1/16 in,none",
    )
    strip, five, one = read_spots(path, floor())
    assert strip.along == "x"
    told = (strip.bar, strip.at, strip.start, strip.end, strip.stop, strip.gap)
    assert told == pytest.approx((2 * FT, 5 * FT, 4 * FT, 6 * FT, IN / 16, IN / 32))
    assert (five.length, five.gap, five.places, five.stop) == (2 * FT, IN / 32, 5, None)
    assert (one.length, one.gap, one.places, one.stop) == (2 * FT, None, 1, IN / 16)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("1,6 ft,x,25 ft,0 ft,14 ft,5/32 in,none", ["row 4", "at", "outside of the floor", '0" to 20\' 0"']),
        ("1,6 ft,x,5 ft,0 ft,41 ft,5/32 in,none", ["row 4", "to", "outside of the floor"]),
        ("1,6 ft,y,5 ft,-8 ft,14 ft,5/32 in,none", ["row 4", "from", "outside of the floor"]),
        ("1,2 ft,5 places,3 ft,,,,1/32 in", ["row 4", "at", "beside a number of places"]),
        ("1,2 ft,1 place,,,,,none", ["row 4", "stop at"]),
        ("1,2 ft,0 places,,,,,1/32 in", ["row 4", "places out of range"]),
    ],
)
def test_a_strip_off_the_room_and_half_a_single_place_are_refused(tmp_path, row, said):
    with pytest.raises(FlatnessError) as caught:
        read_spots(rows_in(tmp_path / "spots.csv", row), floor())
    for text in said:
        assert text in str(caught.value)


def test_a_check_refuses_a_strip_off_the_room_and_one_that_cannot_count():
    with pytest.raises(ArgumentError, match="outside of the floor"):
        flatness.assess(floor(), LIMIT, draws=10, spot_checks=[Sweep(6 * FT, "x", 30 * FT, 0, 14 * FT, 4.0)])
    with pytest.raises(ArgumentError, match="without draws"):
        flatness.assess(floor(), LIMIT, draws=0, spot_checks=[SpotCheck(2 * FT, 1.0)])


def test_one_place_is_what_a_check_without_a_number_of_places_counts_for():
    assert SpotCheck(600, 1.0).places == 1


def test_so_many_places_weigh_a_surface_by_how_many_would_show_no_more():
    """Ridges along y: the share of bars across one that show over a gap, counted one by one, to the power of n."""
    surface = make_surface(np.zeros((12, 41)), spacing=100.0)
    heights = np.zeros((3, 12, 41))
    heights[1, :, 20], heights[2, :, ::8] = 6.0, 6.0
    told = SpotCheck(600.0, 1.0, 7).evidence(surface, heights)
    for own, weight in zip(heights, told, strict=True):
        rows = [own[0, k : k + 7] for k in range(35)]  # bars along x, alike on all rows; those along y show nothing
        within = [np.nanmax(profile_gaps(row, 100.0, 600.0)) <= 1.0 for row in rows]
        along_x, along_y = 12 * 35, 41 * 6
        # of each way about as many bars are laid, whatever their number
        share = (along_x * np.mean(within) + along_y) / (along_x + along_y), (np.mean(within) + 1) / 2
        assert min(share) ** 7 * 0.8 <= np.exp(weight) <= max(share) ** 7 * 1.25


def test_members_and_share_of_the_floor_that_were_crossed():
    survey = flatness.make_survey(*np.meshgrid([0, 2000, 4000.0], [0, 3000, 6000.0]), np.zeros((3, 3)), unit="mm")
    survey = replace(survey, framing=Framing(500.0, "y", 250.0))
    surface = survey.surface_at(100.0)
    bar = Sweep(2000.0, "x", 1000.0, 0.0, 4000.0, 4.0)
    # 10 ft humps: a strip speaks for 2/3 of 10 ft along the members, half of it either way: of 6 m a third or so
    third = count_crossed([bar], survey, surface)
    assert (third.members, third.of) == (0, 8)
    assert third.share == pytest.approx((1000 + 3048 / 3) / 6000, abs=0.04)
    both = [Sweep(2000.0, "x", at, 0.0, 2000.0, 4.0) for at in (1000.0, 3000.0, 5000.0)]
    half = count_crossed(both, survey, surface)
    assert (half.members, half.of) == (4, 8)
    assert half.share == pytest.approx(0.5, abs=0.03)


def test_every_command_takes_what_a_bar_showed(room, tmp_path, capsys):
    survey, spots = map(str, room)
    assert main(["check", survey, *ASKED, "--json", "--spot-check", spots]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["crossed"] == {"share": 1.0, "members": None, "of": None}
    assert main(["check", survey, *ASKED, "--spot-check", spots]) == 0
    text = capsys.readouterr().out
    assert "PASS +" in text
    assert "between the stations a bar was slid" in text
    assert "can replace this" not in text
    for given, rests_on in ([], "assumed"), (["--spot-check", spots], "spot-checked"):
        assert main(["plan", survey, *ASKED, "--json", *given]) == 0
        assert [row["between"] for row in json.loads(capsys.readouterr().out)["limits"]] == [rests_on]
    after, kept = tmp_path / "after.csv", tmp_path / "record.json"
    flatness.write_survey(floor(1), after)
    asked = ["compare", survey, str(after), *ASKED, "--align", "none", "--after-spot-check", spots]
    assert main([*asked, "--record", str(kept), "--json"]) == 0
    (row,) = json.loads(capsys.readouterr().out)["results"]["verdicts"]
    assert (row["before_between"], row["after_between"]) == ("assumed", "spot-checked")
    assert main(["compare", "--rerun", str(kept)]) == 0
    assert "Nothing differs" in capsys.readouterr().out


def test_a_job_file_names_lists_of_strips_and_bars(room, tmp_path):
    job = tmp_path / "job.toml"
    job.write_text(
        'limits = [{ kind = "straightedge", length = "10 ft", allowed = "3/16 in" }]\ndraws = 40\n[surveys]\n'
        'before = "floor.csv"\nbefore_spot_checks = ["spots.csv", "2ft 1/32in 5"]\n'
    )
    found = flatness.run_job(flatness.read_job(job)).assessment
    assert found.between == "spot-checked"
    assert found.spot_checks[-1] == SpotCheck(2 * FT, IN / 32, 5)
    job.write_text(job.read_text().replace("2ft 1/32in 5", "none.csv").replace("draws = 40", "draws = 0"))
    with pytest.raises(FlatnessError) as caught:
        flatness.read_job(job)
    for text in ("none.csv", "without draws"):
        assert text in str(caught.value)


def test_a_plan_says_where_a_bar_showed_what_no_reading_does():
    seen = Sweep(6 * FT, "x", 10 * FT, 0.0, 14 * FT, 5 / 32 * IN, 5 / 8 * IN)
    for check in seen, SpotCheck(2 * FT, 5 / 16 * IN):
        plan = flatness.plan_corrections(floor(), limits=LIMIT, spacing=STEP, draws=40, spot_checks=[check])
        assert plan.verdict == "undecided"
        assert "plan again" in plan.after.iloc[0]["note"]
        assert any("plan again" in note for note in plan.notes)


def test_strips_are_drawn_on_the_map(room):
    found = flatness.assess(floor(), LIMIT, draws=20)
    drawn = check_charts(found)["gap"]
    assert [line.get_linestyle() for line in drawn.strips] == ["--"] * len(found.wanted_sweeps)
    first = found.wanted_sweeps[0]
    assert drawn.strips[0].get_xydata().tolist() == [[first.start, first.at], [first.end, first.at]]
    done = flatness.assess(floor(), LIMIT, draws=20, spot_checks=read_spots(room[1]))
    assert [line.get_linestyle() for line in check_charts(done)["gap"].strips] == ["-"] * len(found.wanted_sweeps)


def test_of_many_strips_the_first_few_are_printed(tmp_path, capsys):
    x, y = np.meshgrid(np.arange(21) * 2000.0, np.arange(21) * 2000.0)
    path = tmp_path / "hall.csv"
    flatness.write_survey(flatness.make_survey(x, y, np.zeros(x.shape), accuracy=1.0, unit="mm"), path)
    assert main(["spots", str(path), "--straightedge", "3m", "--allowed", "5mm"]) == 0
    text = capsys.readouterr().out
    survey = flatness.read_survey(path)
    many = len(wanted_sweeps(survey, survey.surface_at(), flatness.straightedge_limit(3000.0, 5.0)))
    assert many > 30
    assert f"and {many - 6} more, in the list" in text
    assert len(text.splitlines()) < 16


def test_a_job_file_in_place_of_a_plan_is_named_as_one(tmp_path):
    job = tmp_path / "job.toml"
    job.write_text('[surveys]\nbefore = "floor.csv"\n')
    with pytest.raises(ArgumentError) as caught:
        read_plan(job)
    assert "flatness plan --save" in str(caught.value)
    assert "a job file asks for things" in str(caught.value)
