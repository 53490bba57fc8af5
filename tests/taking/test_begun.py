"""A walk that is begun from a blank sheet, with doors, an outline and openings; and one of several set-ups."""

import math

import numpy as np
import pytest
from shapely import Polygon, box

import flatness
from flatness.errors import FlatnessError
from flatness.survey.readings import Framing
from flatness.survey.sheets import blank_sheet, station_axes
from flatness.taking.book import book_of_sheet, is_sheet, new_book, read_lines
from flatness.taking.session import Taking
from flatness.words.taking import place_words, why_here

pytestmark = pytest.mark.usefixtures("coarse_lattice")
FT, IN = 304.8, 25.4
LIMIT = flatness.straightedge_limit(10 * FT, 4.7625)


def sheet(folder, ending=".csv", step=2 * FT, framing=None, **more):
    path = folder / f"floor{ending}"
    x, y = station_axes(14 * FT, 12 * FT, step, framing)
    blank_sheet(x, y, path, accuracy=IN / 32, outline=box(0, 0, 14 * FT, 12 * FT), framing=framing, **more)
    return path


@pytest.mark.parametrize("ending", [".csv", ".xlsx"])
@pytest.mark.parametrize("framing", [None, Framing(16 * IN, "y", 8 * IN)])
def test_the_stations_are_those_of_the_sheet(tmp_path, ending, framing):
    blank = sheet(tmp_path, ending, 4 * FT if framing else 2 * FT, framing, title="Back room")
    assert is_sheet(blank)
    path = book_of_sheet(tmp_path / "taken.csv", blank)
    taking = Taking.open(path, LIMIT)
    x, y = station_axes(14 * FT, 12 * FT, 4 * FT if framing else 2 * FT, framing)
    expected = {(round(a), round(b)) for a in x for b in y}
    assert {(round(one.x), round(one.y)) for one in taking.walk.stations} == expected
    assert taking.header.text["title"] == "Back room"
    assert (taking.header.framing is None) == (framing is None)
    assert taking.accuracy == pytest.approx(IN / 32)
    taking.close()
    assert not is_sheet(path)


def test_lines_that_were_added_to_the_sheet_by_hand_stand_in_the_survey(tmp_path):
    blank = sheet(tmp_path)
    blank.write_text("# door: top 3 ft to 6 ft\n# by: crew\n" + blank.read_text(encoding="utf-8-sig"))
    path = book_of_sheet(tmp_path / "taken.csv", blank, more=["window: left 2 ft to 5 ft"])
    header = read_lines(path)[0]
    assert [(one.kind, one.side) for one in header.walls.openings] == [("door", "top"), ("window", "left")]
    assert header.text["by"] == "crew"


@pytest.mark.parametrize(
    ("change", "wrong"),
    [
        (lambda text: text.replace('2\' 0""",,', '2\' 0""",41,', 1), "readings stand in this sheet"),
        (
            lambda text: text.replace("4' 0\"", "3' 0\"", 1).replace('4\' 0""', '3\' 0""', 1),
            "not those of evenly spaced",
        ),
    ],
)
def test_a_sheet_that_cannot_be_walked_is_refused_and_nothing_is_begun(tmp_path, change, wrong):
    blank = sheet(tmp_path)
    text = blank.read_text(encoding="utf-8-sig")
    changed = change(text)
    assert changed != text
    blank.write_text(changed)
    with pytest.raises(FlatnessError, match=wrong):
        book_of_sheet(tmp_path / "taken.csv", blank)
    assert not (tmp_path / "taken.csv").exists()


@pytest.mark.parametrize(
    ("more", "wrong"),
    [
        ({"more": ["door: bottom 3 ft to 60 ft"]}, "door"),
        ({"more": ["dor: bottom 3 ft to 6 ft"]}, "unknown key"),
        ({"more": ["range: 1 ft"]}, "less far than two stations"),
        ({"step": 14 * FT}, "too few stations"),
        ({"outline": Polygon([(100, 100), (4000, 100), (4000, 4000)])}, "does not begin at the corner"),
    ],
)
def test_what_cannot_be_walked_is_said_before_a_file_is_there(tmp_path, more, wrong):
    given = {"length": 14 * FT, "width": 12 * FT, "step": 2 * FT} | more
    with pytest.raises(FlatnessError, match=wrong):
        new_book(tmp_path / "room.csv", **given)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("door", "told"),
    [
        # 14 ft x 12 ft; a place 2 ft along x and 3 ft along y, as one walks in by each side
        ("bottom", [("2 ft", "from left wall"), ("3 ft", "from door wall")]),
        ("top", [("12 ft", "from left wall"), ("9 ft", "from door wall")]),
        ("left", [("9 ft", "from left wall"), ("2 ft", "from door wall")]),
        ("right", [("3 ft", "from left wall"), ("12 ft", "from door wall")]),
    ],
)
def test_a_place_is_told_as_one_walks_in_by_the_door(tmp_path, door, told):
    path = new_book(tmp_path / "room.csv", length=14 * FT, width=12 * FT, more=[f"door: {door} 3 ft to 6 ft"])
    taking = Taking.open(path, LIMIT)
    assert place_words((2 * FT, 3 * FT), taking) == told
    taking.close()


# several set-ups


@pytest.fixture
def hall(tmp_path):
    """A hall of 40 ft x 20 ft, read every 4 ft by a laser that reads 20 ft far."""
    more = {"length": 40 * FT, "width": 20 * FT, "step": 4 * FT, "more": ["range: 20 ft"]}
    taking = Taking.open(new_book(tmp_path / "hall.csv", **more), LIMIT, draws=20)
    yield taking
    taking.close()


def plain(here, line):
    return f"{25.4 * line + here.x / 500 + 0.2 * math.sin(here.y):.1f} mm"


def test_every_station_is_in_reach_of_its_place_of_the_laser_and_parts_are_walked_one_after_another(hall):
    # of 40 ft x 20 ft: two parts of 20 ft x 20 ft, half a diagonal of which, and a step, is 18.1 ft
    assert hall.walk.stands == ((10 * FT, 10 * FT), (30 * FT, 10 * FT))
    for one in hall.walk.stations:
        assert math.hypot(one.x - hall.walk.stands[one.part][0], one.y - hall.walk.stands[one.part][1]) <= 20 * FT
    done, here, parts = set(), None, []
    while (here := hall.walk.following(done, here)) is not None:
        done.add(here.number)
        parts.append(here.part)
    assert parts == sorted(parts)
    assert len(parts) == len(hall.walk.stations) == 11 * 6


def test_where_the_laser_reaches_no_farther_it_is_moved_and_all_stays_on_one_datum(hall):
    line = 41.25
    moves = 0
    while hall.here is not None:
        if hall.ties and not moves:
            moves, line = 1, 38.0
            assert why_here(hall) == (
                "Move the laser: about 30 ft from left wall, 10 ft from door wall. "
                "Then read two old stations again from there."
            )
            assert {one.part for one in hall.walk.stations if one.number in hall.done} == {0}
            # old stations that the laser sees from there
            assert all(math.hypot(one.x - 30 * FT, one.y - 10 * FT) <= 20 * FT for one in hall.ties)
        hall.enter(plain(hall.here, line))
        if hall.question is not None:
            hall.keep()
    assert moves == 1
    survey = hall.survey()
    x, y, z = survey.xyz()
    true = -(x / 500 + 0.2 * np.sin(y))
    assert len(survey.stations()[0]) == 11 * 6
    assert len(x) == 11 * 6 + 2, "two of them from both places"
    assert np.ptp(z - true) < 0.3, "typed to 0.1 mm"
    assert set(survey.points["setup"]) == {"1", "2"}


def test_a_stop_between_the_two_old_stations_asks_for_the_one_that_is_left(hall):
    while not hall.ties:
        hall.enter(plain(hall.here, 41.25))
        if hall.question is not None:
            hall.keep()
    first = hall.ties[0]
    hall.enter(plain(first, 38.0))
    assert len(hall.ties) == 1
    path = hall.book.path
    hall.close()
    again = Taking.open(path, LIMIT, draws=20)
    assert again.setup == "2"
    assert len(again.ties) == 1
    assert again.here == again.ties[0]
    assert math.hypot(again.here.x - first.x, again.here.y - first.y) >= 6 * FT
    again.enter(plain(again.here, 38.0))
    assert again.ties == []
    assert again.here.part == 1
    again.survey()  # both set-ups on one datum
    again.close()
