"""Doors, windows and names of walls: what a header says of them, and from which walls places are told."""

import numpy as np
import pytest
import shapely

import flatness
from flatness.errors import ArgumentError, SurveyFileError
from flatness.survey.files import differences, survey_text
from flatness.survey.walls import WallOpening, Walls, door_leaf, parse_wall_opening, wall_line
from flatness.words.printed import bare_place, place, place_heads, strip_place

FT = 304.8
# an L: 12 ft wide at the door, 6 ft beyond 10 ft
L_SHAPED = "0,0; 12 ft,0; 12 ft,10 ft; 6 ft,10 ft; 6 ft,14 ft; 0,14 ft"
ROWS = "0,0,0\n48,0,1/8\n0,48,-1/16\n48,48,0\n96,96,0\n"
LIST = f"# unit: in\n# reading: height\n# outline: {L_SHAPED}\n{{}}\nx,y,reading\n{ROWS}"
GRID = (
    "# unit: in\n# reading: height\n# outline: 0,0; 8 ft,0; 8 ft,8 ft; 0,8 ft\n{}\n"
    "ft,0,4,8\n0,0,0,0\n4,0,0,0\n8,0,0,0\n"
)


def read(text):
    return flatness.read_survey(text.encode(), name="room.csv")


def problems(lines, text=LIST):
    with pytest.raises(SurveyFileError) as caught:
        read(text.format(lines))
    return caught.value.problems


def test_doors_windows_and_names_are_read_and_written_back():
    lines = "# door: bottom 3 ft to 5 ft 8 in\n# wall: left = street wall\n# window: street wall from 2 ft to 5 ft"
    survey = read(LIST.format(lines))
    assert survey.walls.openings == (
        WallOpening("door", "bottom", 914.4, 1727.2),
        WallOpening("window", "left", 609.6, 1524.0),
    )
    assert survey.walls.names == {"left": "street wall"}
    assert read(survey_text(survey)).walls == survey.walls
    plain = read(LIST.format("# by: me"))
    assert not plain.walls
    assert "walls" in differences(survey, plain)


@pytest.mark.parametrize(
    ("lines", "what", "remedy"),
    [
        ("# door: bottom 3 ft", "cannot be read", "a length, to, and a length"),
        ("# door: botom 3 ft to 4 ft", "an unknown side", "`bottom`"),
        ("# door: bottom 4 ft to 3 ft", "does not end beyond its start", "lesser"),
        ("# door: bottom 11 ft to 13 ft", "beyond its side", "outline"),
        ("# window: top 5 ft to 8 ft", "round a corner", "outline"),
        ("# door: left 3 ft to 6 ft\n# window: left 5 ft to 8 ft", "where a door is", "delete"),
        ("# door: left here to 6 ft", "cannot be read", ""),
        ("# door: left 1x to 6 ft", "not a length", ""),
        ("# wall: street wall", "name cannot be read", "all three"),
        ("# wall: top = a\n# wall: top = b", "two names", "delete one"),
        ("# surface: wall\n# door: left 1 ft to 3 ft", "a survey of a wall", "`# opening:`"),
    ],
)
def test_what_is_wrong_with_a_wall_is_told_by_row(lines, what, remedy):
    (problem,) = problems(lines)
    assert problem.row == 3 + lines.count("\n") + 1
    assert problem.value
    assert problem.expected
    assert what in problem.what
    assert remedy in problem.remedy


def test_a_door_needs_the_outline_and_an_outline_that_is_wrong_is_told_once():
    without = LIST.replace(f"# outline: {L_SHAPED}\n", "")
    assert "without `outline`" in problems("# door: left 1 ft to 3 ft", without)[0].what
    (problem,) = problems("# door: left 1 ft to 3 ft", LIST.replace("12 ft,10 ft", "12 ft"))
    assert "outline" in problem.what


def test_places_are_told_from_the_left_wall_and_the_door_wall_as_one_walks_in():
    # by hand, of a room 12 ft by 10 ft and the place (4 ft, 1 ft): one walks in facing away from the door's wall
    room, at = shapely.box(0, 0, 12 * FT, 10 * FT), (4 * FT, 1 * FT)
    told = {"bottom": (4, 1), "top": (8, 9), "left": (9, 4), "right": (1, 8)}
    for side, (from_left, from_door) in told.items():
        walls = Walls((WallOpening("window", "top", 0, 900), WallOpening("door", side, 3 * FT, 5 * FT)))
        assert [tape.far(at) / FT for tape in walls.tapes(room)] == pytest.approx([from_left, from_door]), side
        assert [tape.wall for tape in walls.tapes(room)] == ["left wall", "door wall"]


def test_one_function_says_a_place():
    door = read(LIST.format("# door: bottom 3 ft to 5 ft"))
    at = (6 * FT, 9 * FT)
    assert place(at, "in", door) == "6' 0\" from the left wall, 9' 0\" from the door wall"
    assert (place_heads(door), bare_place(at, "in", door)) == ("From left wall, door wall", "6' 0\", 9' 0\"")
    assert strip_place("x", 9 * FT, (2 * FT, 8 * FT), "in", door) == (
        "9' 0\" from the door wall, 2' 0\" to 8' 0\" from the left wall"
    )
    # a door in the set-back part of the top wall, at 10 ft: what lies beyond 10 ft is behind it
    behind = read(LIST.format("# door: top 7 ft to 10 ft"))
    assert place((2 * FT, 12 * FT), "in", behind) == "10' 0\" from the left wall, 2' 0\" behind the door wall"
    named = read(LIST.format("# wall: right = garden wall\n# wall: bottom = hall wall"))
    assert place(at, "in", named) == "6' 0\" from the garden wall, 9' 0\" from the hall wall"
    assert place(at, "mm", read(LIST.format("# by: me"))) == "1.829 m along x, 2.743 m along y"
    grid = read(GRID.format("# by: me"))
    assert place(at, "in", grid) == "6' 0\" along the first row, 9' 0\" along the first column"
    assert place_heads(grid) == "Along first row, along first column"
    wall = read(GRID.format("# surface: wall"))
    assert place(at, "in", wall) == "6' 0\" from the left, 9' 0\" up"


@pytest.mark.parametrize("side", ["bottom", "top", "left", "right"])
def test_a_door_opens_into_the_room_from_its_left_hand_jamb(side):
    room = shapely.box(0, 0, 4000, 3000)
    door = WallOpening("door", side, 1000, 1900)
    leaf, swing = door_leaf(room, door)
    jambs = np.asarray(wall_line(room, door).coords)
    assert np.hypot(*(leaf[1] - leaf[0])) == pytest.approx(900)  # as wide as the gap that it shuts
    assert room.buffer(1e-6).covers(shapely.MultiPoint([*leaf, *swing]))
    assert np.allclose(swing[0], leaf[1])
    closed = [jamb for jamb in jambs if np.allclose(jamb, swing[-1])]
    (hinge,) = (jamb for jamb in jambs if np.allclose(jamb, leaf[0]))
    assert len(closed) == 1
    # walking in, the left hand is a quarter turn from the way in
    way_in = leaf[1] - leaf[0]
    assert np.dot(hinge - closed[0], [-way_in[1], way_in[0]]) > 0


def test_a_wall_that_is_not_square_still_takes_a_door():
    slanted = shapely.Polygon([(0, 0), (4000, 200), (4000, 3000), (0, 3000)])
    line = wall_line(slanted, WallOpening("door", "bottom", 1000, 1800))
    assert np.asarray(line.coords) == pytest.approx(np.array([[1000, 50], [1800, 90]]), abs=0.1)
    with pytest.raises(ArgumentError, match="cannot be read"):
        parse_wall_opening("door", "somewhere", lambda text: None, {})
