"""A survey being taken: what a person does, and what stands in the file and in the verdict because of it."""

import numpy as np
import pytest

import flatness
from flatness.errors import LengthError
from flatness.taking.book import new_book
from flatness.taking.questions import likely_slips
from flatness.taking.session import Taking
from flatness.words.taking import answers

pytestmark = pytest.mark.usefixtures("coarse_lattice")
FT, IN = 304.8, 25.4
LIMIT = flatness.straightedge_limit(10 * FT, 4.7625)


def begun(folder, **more):
    given = {"length": 12 * FT, "width": 10 * FT, "step": 2 * FT, "accuracy": IN / 32} | more
    return new_book(folder / "room.csv", **given)


@pytest.fixture
def taking(tmp_path):
    made = Taking.open(begun(tmp_path), LIMIT, draws=60)
    yield made
    made.close()


def drop(station, line=41.25):
    """What is read at a station of a floor that falls 1/4 in over 10 ft along x, in sixteenths [in]."""
    return round((line + 0.25 * station.x / (10 * FT)) * 16) / 16


def text(inches):
    whole, part = divmod(round(inches * 16), 16)
    return f"{whole} {part}/16" if part else f"{whole}"


def read(taking, count, line=41.25):
    for _ in range(count):
        taking.enter(text(drop(taking.here, line)))
        assert taking.question is None


def test_a_slip_of_half_an_inch_is_asked_named_and_both_stay_in_the_file(taking):
    read(taking, 14)
    here, right = taking.here, drop(taking.here)
    taking.enter(text(right + 0.5))
    asked = taking.question
    assert asked.about == "off"
    assert asked.low < right * IN < asked.high
    assert asked.slips[0].name == "half an inch"
    assert asked.slips[0].mm == pytest.approx(right * IN)
    assert len(taking.survey().points) == 14, "a reading in doubt does not count"
    taking.was(0)
    points = taking.survey().points
    assert len(points) == 15
    assert points["reading"].iloc[-1] == pytest.approx(right * IN)
    assert (points["x"].iloc[-1], points["y"].iloc[-1]) == (pytest.approx(here.x), pytest.approx(here.y))
    assert text(right + 0.5) in taking.book.path.read_text()


def test_a_reading_that_is_right_is_kept_and_not_asked_of_again(taking):
    read(taking, 14)
    here = taking.here
    taking.enter(text(drop(here) - 0.5))
    taking.keep()
    assert taking.question is None
    assert taking.here != here
    assert taking.survey().points["reading"].iloc[-1] == pytest.approx((drop(here) - 0.5) * IN)


def test_what_is_no_part_of_the_surface_leaves_the_file_a_survey(taking):
    read(taking, 20)
    right = text(drop(taking.here))
    taking.enter(f"14{right[2:]}")  # said to be right all the same
    assert [slip.text for slip in taking.question.slips if slip.name == "digits exchanged"] == [right]
    taking.keep()
    assert len(taking.survey().points) == 20
    assert f"14{right[2:]}" in taking.book.path.read_text()
    assert "no part of this surface" in taking.said


def test_a_reading_taken_at_the_wrong_station(tmp_path):
    # a step of an inch halfway across: what is read beyond it fits a station there
    taking = Taking.open(begun(tmp_path), LIMIT, draws=60)
    for _ in range(len(taking.walk.stations) - 2):
        here = taking.here
        taking.enter(text(41 + (here.x > 6 * FT) + here.x / (48 * FT)))
        if taking.question is not None:
            taking.keep()
    here = taking.here
    taking.enter(text(42.5))
    assert taking.question is not None
    taking.read_again()
    assert taking.here == here
    assert taking.question is None
    taking.close()


def test_a_second_shot_that_differs_is_asked_and_the_file_is_a_survey_meanwhile(taking):
    read(taking, 14)
    taking.second_shot()
    here = taking.here
    taking.enter(text(drop(here) + 0.5))
    assert taking.question.about == "second shot"
    assert len(taking.survey().points) == 14
    taking.keep()
    at = taking.survey().points
    at = at[(abs(at["x"] - here.x) < 1) & (abs(at["y"] - here.y) < 1)]
    assert at["reading"].tolist() == pytest.approx([(drop(here) + 0.5) * IN])


def test_second_shots_tell_how_good_a_reading_is(taking):
    # pairs that differ by d have a standard deviation of d / sqrt(2), by its definition
    for _ in range(6):
        taking.enter("1050.0 mm")
        taking.second_shot()
        taking.enter("1051.0 mm")
        assert taking.question is None
    found, pairs = taking.found_accuracy()
    assert pairs == 6
    assert found == pytest.approx(1 / np.sqrt(2))


def test_back_takes_back_a_reading_or_a_station_left_out(taking):
    read(taking, 3)
    here = taking.here
    taking.skip()
    assert taking.here != here
    taking.back()
    assert taking.here == here
    last = taking.readings[-1]
    taking.back()
    assert (taking.here.x, taking.here.y) == (last.x, last.y)
    assert len(taking.readings) == 2
    lines = taking.book.path.read_text().splitlines()
    assert sum(line.endswith("struck") for line in lines) == 2


def test_the_laser_was_moved_and_all_heights_stay_on_one_datum(taking):
    read(taking, 20)
    taking.moved()
    assert len(taking.ties) == 2
    old = [(one.x, one.y) for one in taking.ties]
    assert np.hypot(*np.subtract(*old)) > 5 * FT
    read(taking, 2, 38.5)
    assert taking.misclosure() == pytest.approx(0.0, abs=IN / 16 + 1e-6)
    read(taking, 6, 38.5)
    survey = taking.survey()
    assert set(survey.points["setup"]) == {"1", "2"}
    # the floor falls 1/4 in over 10 ft along x and is else level, whichever set-up read it
    x, _, z = survey.xyz()
    flat = z + 0.25 * IN * x / (10 * FT)
    assert np.ptp(flat) < IN / 8


def test_old_stations_that_do_not_agree_are_told(taking):
    read(taking, 20)
    taking.moved()
    taking.enter(text(drop(taking.here, 38.5)))
    taking.enter(text(drop(taking.here, 38.5) + 0.5))
    assert taking.question is not None
    first = taking.here
    taking.keep()
    assert taking.said.key == "ties-disagree"
    assert taking.said.values["apart"] == pytest.approx(0.5 * IN, abs=IN / 16)
    assert taking.ties
    assert taking.here != first, "another old station is asked for"
    read(taking, 1, 38.5)
    assert not taking.ties
    assert len(set(taking.survey().points["setup"])) == 2


def test_the_datum_is_checked_every_so_often_and_a_laser_that_was_bumped_is_asked_of(taking, monkeypatch):
    monkeypatch.setattr("flatness.taking.session.CHECK_EVERY", 14)
    first = taking.here
    while not taking.checking:
        assert len(taking.readings) < 20
        read(taking, 1)
    assert len(taking.readings) >= 14
    assert (taking.here, taking.again) == (first, True)
    read(taking, 1)
    assert taking.said.key == "datum-holds"
    assert taking.said.values == {"apart": 0.0}
    assert taking.here.number not in taking.done
    while not taking.checking:
        assert len(taking.readings) < 40
        read(taking, 1)
    before = len(taking.readings)
    taking.enter(text(drop(first) + 0.25))  # the tripod was bumped
    asked = taking.question
    assert asked.about == "second shot"
    assert [key for key, *_ in answers(asked, taking)] == ["again", "moved", "keep"]
    taking.moved()
    assert len(taking.ties) == 2
    assert taking.setup == "2"
    assert not taking.checking
    assert len(taking.readings) == before


def test_a_check_that_cannot_be_read_is_left_out(taking, monkeypatch):
    monkeypatch.setattr("flatness.taking.session.CHECK_EVERY", 14)
    while not taking.checking:
        read(taking, 1)
    before = taking.book.path.read_bytes()
    taking.skip()
    assert not taking.checking
    assert taking.here.number not in taking.done
    assert taking.book.path.read_bytes() == before


def test_it_goes_on_where_it_was(tmp_path):
    path = begun(tmp_path)
    taking = Taking.open(path, LIMIT)
    read(taking, 9)
    taking.skip()
    read(taking, 2)
    taking.moved()
    where, left, setup, expected = taking.here, taking.left, taking.setup, taking.expected()
    del taking  # the page is gone; nothing was closed
    again = Taking.open(path, LIMIT)
    assert (again.left, again.setup) == (left, setup)
    assert len(again.readings) == 11
    assert again.expected(where) == pytest.approx(expected)
    again.close()


def test_a_floor_that_fails_is_decided_before_all_is_read_and_as_check_says(taking):
    # a hump of 1 in: true gap far over 3/16 in
    looks = 0
    while taking.here is not None and not taking.enough:
        here = taking.here
        hump = 25.4 * np.exp(-((here.x - 6 * FT) ** 2 + (here.y - 5 * FT) ** 2) / (2 * (2.5 * FT) ** 2))
        taking.enter(f"{1050 - hump:.1f} mm")
        if taking.question is not None:
            taking.keep()
        if taking.due:
            taking.take_look(taking.look())
            looks += 1
            while taking.question is not None:
                taking.keep()
    assert taking.decided == "fail"
    assert taking.left > 0
    assert taking.walk.coarse_stands(taking.done)
    found = flatness.assess(flatness.read_survey(taking.book.path), LIMIT, draws=60)
    assert found.verdict == "fail"
    assert found.judged[0].chance == taking.latest.assessment.judged[0].chance
    taking.read_on()
    assert not taking.enough


def test_the_next_readings_show_a_slip_that_came_too_early_to_be_seen(taking):
    read(taking, 4)
    slipped = taking.here
    taking.enter(text(drop(slipped) + 0.375))
    assert taking.question is None
    since = 0
    while taking.question is None:
        assert since < 16, "not before the coarse grid stands"
        taking.enter(text(drop(taking.here)))
        since += 1
    assert (taking.question.about, taking.question.station) == ("earlier", slipped)
    assert since > 1
    taking.read_again()
    assert taking.here == slipped
    read(taking, taking.left)
    assert len(taking.survey().points) == len(taking.walk.stations)


def test_a_look_that_comes_late_leaves_the_station_and_asks_of_an_earlier_slip_after_the_next_reading(
    taking, monkeypatch
):
    monkeypatch.setattr("flatness.taking.session.RECENT", 0)  # by the look alone
    read(taking, 5)
    slipped = taking.here
    taking.enter(text(drop(slipped) + 0.25))  # too little to be seen at once, so early
    read(taking, 10)
    assert taking.due
    look = taking.looking()  # meanwhile one reads on
    read(taking, 2)
    here = taking.here
    taking.take_look(look())
    assert taking.here == here
    assert taking.question is None
    read_now = text(drop(here))
    taking.enter(read_now)
    assert (taking.readings[-1].x, taking.readings[-1].y) == (here.x, here.y)
    if taking.question is None:
        pytest.fail("a slip of a quarter inch on a flat floor is not asked of")
    assert taking.question.about == "earlier"
    assert taking.question.station == slipped
    after = taking.here
    taking.was([slip.name for slip in taking.question.slips].index("a quarter inch"))
    assert taking.here == after
    points = taking.survey().points
    at = points[(abs(points["x"] - slipped.x) < 1) & (abs(points["y"] - slipped.y) < 1)]
    assert at["reading"].tolist() == pytest.approx([drop(slipped) * IN])


def test_more_places_are_read_where_the_stations_cannot_decide(tmp_path):
    # a dip that shows about what is allowed, 3/16 in, under the bar, read with errors of 1/32 in
    taking = Taking.open(begun(tmp_path), LIMIT, draws=60)
    errors = np.random.default_rng(0).normal(0, IN / 32, (6, 7))

    def read_here():
        here = taking.here
        dip = 7 * np.exp(-((here.x - 6 * FT) ** 2 + (here.y - 5 * FT) ** 2) / (2 * (2.5 * FT) ** 2))
        error = errors[round(here.y / (2 * FT)) % 6, round(here.x / (2 * FT)) % 7]
        taking.enter(f"{1050 + dip - error:.1f} mm")
        if taking.question is not None:
            taking.keep()

    def walk():
        while taking.here is not None:
            read_here()

    walk()
    taking.take_look(taking.look())
    assert taking.can_be_decided
    places = taking.placing()()
    assert places
    taking.read_more(places)
    assert (taking.here.x, taking.here.y) == (places[0].x, places[0].y)
    first = taking.here
    read_here()
    taking.back()
    assert (taking.here.x, taking.here.y) == (first.x, first.y)
    walk()
    assert len(taking.survey().points) == 42 + len(places)
    taking.close()


def test_no_pass_before_half_is_read(taking):
    while taking.here is not None and not taking.enough:
        read(taking, 1)
        if taking.due:
            taking.take_look(taking.look())
    assert taking.decided == "pass"
    assert len(taking.done) >= len(taking.walk.stations) / 2


def test_what_is_no_length_is_said_and_nothing_is_written(taking):
    before = taking.book.path.read_bytes()
    with pytest.raises(LengthError):
        taking.enter("41 3/")
    assert taking.book.path.read_bytes() == before


@pytest.mark.parametrize(
    ("typed", "expected", "name", "put_right"),
    [
        ("41 7/8", 41.375, "half an inch", "41 3/8"),
        ("42 3/8", 41.375, "an inch", "41 3/8"),
        ("14 3/8", 41.375, "digits exchanged", "41 3/8"),
    ],
)
def test_slips_are_named(typed, expected, name, put_right):
    reading = flatness.parse_length(typed, "in")
    found = likely_slips(typed, reading, expected * IN, 1.5, "in")
    assert (found[0].name, found[0].text) == (name, put_right)
