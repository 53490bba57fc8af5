"""The measures of a room against closed forms on constructed rooms, whichever way they are turned on the plan."""

import math
from dataclasses import replace

import numpy as np
import pytest

from constructed_rooms import FT, IN, four_walls, level_surface, room, turned, wall
from flatness.errors import ArgumentError, MeasureError
from flatness.room.allowed import angularity, habitable_height, unbevelled_step
from flatness.room.geometry import tape_cosine
from flatness.room.records import Agreed, Door, Opening, Recess, TapeCorner, WallLine
from flatness.survey.readings import make_survey

pytestmark = pytest.mark.usefixtures("coarse_lattice")
CLOSE = 0.15  # mm; readings without error, said to be good to 0.02 mm


def of(checks, what, *words):
    """The one row of that kind whose place has all these words."""
    some = [row for row in checks.to_dict("records") if row["what"] == what and all(w in row["where"] for w in words)]
    assert len(some) == 1, (what, words, [row["where"] for row in some])
    return some[0]


def test_clear_height_between_two_planes_and_its_least():
    """Closed form: z_ceiling - z_floor is linear, so that its least stands in a corner."""
    floor = level_surface("floor", lambda x, y: 10 * x / 4000)
    ceiling = level_surface("ceiling", lambda x, y: 2500 - 20 * y / 3000)
    built = room(floor, ceiling)
    clear = built.clear_height
    gx, gy = np.meshgrid(clear.x, clear.y)
    np.testing.assert_allclose(clear.map, 2500 - 20 * gy / 3000 - 10 * gx / 4000, atol=CLOSE)
    right, back = float(clear.x.max()), float(clear.y.max())
    least = 2500 - 20 * back / 3000 - 10 * right / 4000
    assert clear.range[0] == pytest.approx(least, abs=CLOSE)
    assert clear.at == (right, back)
    row = of(built.checks, "clear-height")
    assert row["likely_mm"] == pytest.approx(least, abs=CLOSE)
    assert row["allowed_mm"] == pytest.approx(7 * FT)  # IRC R305.1: 7 ft
    assert (row["verdict"], row["at_least"]) == ("pass", True)


def test_clear_height_carries_the_error_of_the_datum():
    """Two datums, each good to 2 mm: the difference is good to 2 sqrt(2), its 95 % range 2 x 1.96 x that wide."""
    built = room(
        level_surface("floor", lambda x, y: 0 * x, error=2.0),
        level_surface("ceiling", lambda x, y: 2500 + 0 * x, error=2.0),
        draws=4000,
    )
    row = of(built.checks, "clear-height")
    assert row["high_mm"] - row["low_mm"] == pytest.approx(2 * 1.96 * 2 * math.sqrt(2), rel=0.06)


@pytest.mark.parametrize("degrees", [0, 33, 90, -118])
def test_taper_and_corners_of_a_room_turned_by_any_angle(degrees):
    """Closed form: the corners' coordinates give every angle and width."""
    west, east, north = 3000.0, 2990.0, 4000.0
    corners = np.array([(north, 0), (0, 0), (0, west), (north, east)], dtype=float)
    built = room(*four_walls(turned(corners, degrees, (500.0, 800.0))), draws=50)
    taper = of(built.checks, "parallel", "south", "north")
    assert taper["likely_mm"] == pytest.approx(west - east, abs=CLOSE)
    assert taper["verdict"] == "measured"
    assert of(built.checks, "parallel", "west", "east")["likely_mm"] == pytest.approx(0, abs=CLOSE)
    # the north wall falls 10 in 4000: the corner at the north west closes by the slope, over the shorter leg
    slope = (west - east) / math.hypot(north, west - east)
    closes = of(built.checks, "square", "west", "north")
    assert closes["likely_mm"] == pytest.approx(slope * west, abs=CLOSE)
    assert "under 90" in closes["note"]
    opens = of(built.checks, "square", "north", "east")
    assert opens["likely_mm"] == pytest.approx(slope * east, abs=CLOSE)
    assert "over 90" in opens["note"]
    assert of(built.checks, "square", "south", "west")["likely_mm"] == pytest.approx(0, abs=CLOSE)
    assert len(built.checks.query("what == 'square'")) == 4


def test_an_offset_is_told_over_the_leg_that_was_agreed():
    corners = [(4000, 0), (0, 0), (0, 3000), (4000, 2990)]
    built = room(*four_walls(corners), agreed=Agreed(leg=6 * FT, square=5.0), draws=50)
    row = of(built.checks, "square", "west", "north")
    assert row["likely_mm"] == pytest.approx(6 * FT * 10 / math.hypot(4000, 10), abs=CLOSE)
    assert (row["allowed_mm"], row["source"]) == (5.0, "agreed for this project")


def test_walls_off_control_lines_stand_where_their_faces_are():
    """North and south read off one line: its error leaves the width alone, and the errors of two lines do not."""
    ends = [((4000.0, 0.0), (0.0, 0.0)), ((0.0, 3000.0), (4000.0, 3000.0))]

    def widths(**options):
        walls = [wall(name, *end, offset=1500.0, error=2.0, **options) for name, end in zip("sn", ends, strict=True)]
        if not options:
            walls[1] = wall("n", *ends[1], offset=1500.0, error=2.0, control="another")
        return of(room(*walls, draws=4000).checks, "parallel")

    shared = widths(control="middle")
    assert shared["high_mm"] < 0.2
    # a taper of two lines, each good to 2 mm at both ends: 2 sqrt(4) is its error; by size its 95 % point is 1.96 of it
    assert widths()["high_mm"] == pytest.approx(1.96 * 4.0, rel=0.08)


def test_a_leaning_wall():
    """Closed form: 6 mm in 2500 over the height that was read."""
    built = room(wall("w", (0, 0), (4000, 0), lambda x, y: 6 * y / 2500), draws=50)
    row = of(built.checks, "plumb")
    assert row["likely_mm"] == pytest.approx(6.0, abs=CLOSE)
    assert row["allowed_mm"] == 8.0  # DIN 18202 table 2, over 1 m up to 3 m
    assert "into the room" in row["note"]


def test_a_ceiling_that_falls_and_bends():
    """Closed forms: the fall of a plane; a fold by 4 mm is 4 mm off one plane less what the best plane takes up."""
    falls = room(level_surface("ceiling", lambda x, y: 2500 - 12 * x / 4000), draws=50)
    assert of(falls.checks, "ceiling", "falls")["likely_mm"] == pytest.approx(12, abs=CLOSE)
    assert of(falls.checks, "ceiling", "plane")["likely_mm"] == pytest.approx(0, abs=CLOSE)
    one = room(level_surface("ceiling", lambda x, y: 2500 + 8 * np.abs(x - 2000) / 2000, step=250), draws=50)
    x = one.drawn["ceiling"].surface.x
    fold = 8 * np.abs(x - 2000) / 2000
    off = np.ptp(fold - np.polyval(np.polyfit(x, fold, 1), x))
    assert of(one.checks, "ceiling", "plane")["likely_mm"] == pytest.approx(off, abs=0.7)


def test_the_floor_along_each_wall():
    """Closed form: a floor that rises 5 mm along x varies by 5 mm along the south wall, by nothing along the west."""
    floor = level_surface("floor", lambda x, y: 5 * x / 4000)
    corners = [(4000, 0), (0, 0), (0, 3000), (4000, 3000)]
    built = room(floor, *four_walls(corners), draws=50)
    assert of(built.checks, "wall-foot", "south")["likely_mm"] == pytest.approx(5 * 0.99, abs=0.2)
    assert of(built.checks, "wall-foot", "west")["likely_mm"] == pytest.approx(0, abs=CLOSE)


def test_depth_above_a_finished_ceiling():
    """Closed form: framing at 2500 falling 10 mm, finished at 2400: 90 mm at the least, where 95 is needed."""
    framing = level_surface("ceiling", lambda x, y: 2500 - 10 * x / 4000)
    built = room(framing, recesses=(Recess(name="lights", ceiling="ceiling", height=2400, depth=95),), draws=50)
    row = of(built.checks, "recess")
    assert row["likely_mm"] == pytest.approx(90, abs=CLOSE)
    assert row["verdict"] == "fail"
    assert "short by 5" in row["note"]


def test_a_door_over_a_hump_and_a_threshold():
    """Closed forms: the gap under a leaf is its height less the floor's highest within its swing; the step."""
    floor = level_surface("floor", lambda x, y: 4 * np.maximum(0, 1 - np.abs(x - 1500) / 500), step=250)
    swing = {"hinge": (1000.0, 0.0), "tip": (1900.0, 0.0), "bottom": 10.0, "least": 5.0}
    ends = ((1000.0, 0.0), (1900.0, 0.0))
    door = Opening(name="door", door=Door(**swing), ends=ends, floors=("floor",), next_height=-3.0, error=0.01)
    away = Opening(name="away", door=Door(**swing, opens="right"))
    built = room(floor, openings=(door, away), draws=50)
    assert of(built.checks, "opening", "door")["likely_mm"] == pytest.approx(6.0, abs=0.3)
    assert of(built.checks, "threshold")["likely_mm"] == pytest.approx(7.0, abs=0.5)
    # the other way it swings over what nobody read
    row = of(built.checks, "opening", "away")
    assert row["verdict"] == "undecided"
    assert "read it there" in row["note"]


def test_jambs_head_and_diagonals_with_the_error_of_the_tape():
    """Closed form: 2 mm, good to 1 mm, is under 3.64 mm in 95 %; a difference of two measures errs sqrt(2) times."""
    one = Opening(name="door", jamb_left=2.0, head=-5.0, diagonals=(2000.0, 1996.0), error=1.0)
    built = room(level_surface("floor", lambda x, y: 0 * x), openings=(one,), agreed=Agreed(head=3.0), draws=20_000)
    jamb = of(built.checks, "opening", "left jamb")
    assert (jamb["low_mm"], jamb["high_mm"]) == (pytest.approx(0.04, abs=0.1), pytest.approx(3.96, abs=0.1))
    head = of(built.checks, "opening", "head")
    assert head["likely_mm"] == pytest.approx(5.0, abs=0.05)
    assert head["verdict"] == "fail"  # over 3 mm by two errors: 97.7 %
    assert head["chance"] == pytest.approx(0.0228, abs=0.005)  # of a normal beyond two standard deviations
    assert of(built.checks, "opening", "diagonals")["high_mm"] == pytest.approx(4 + 1.96 * math.sqrt(2), abs=0.1)


def test_three_four_five_and_its_error_by_hand():
    """By hand: d(cos) = -c dc / (a b); a 10 ft diagonal long by 1/4 in opens a corner of 6 and 8 ft by 0.3127 in."""
    assert float(tape_cosine(3, 4, 5)) == 0
    off = 6 * FT * float(tape_cosine(6 * FT, 8 * FT, 10 * FT + IN / 4)) / IN
    c = 120.25
    assert off == pytest.approx(72 * (72**2 + 96**2 - c**2) / (2 * 72 * 96))
    assert off == pytest.approx(-120 / 96 * 0.25, abs=5e-4)
    with pytest.raises(ArgumentError, match="close no triangle"):
        tape_cosine(3, 4, 8)
    # the error by propagation: legs a, b and diagonal c, each good to s
    s, a, b, c = 1.5, 6 * FT, 8 * FT, 10 * FT
    by_hand = a * math.hypot((1 / b), (1 / a), c / (a * b)) * s
    built = room(
        level_surface("floor", lambda x, y: 0 * x), tapes=(TapeCorner(name="c", legs=(a, b), diagonal=c, error=s),)
    )
    assert of(built.checks, "square", "tape")["high_mm"] == pytest.approx(1.96 * by_hand, rel=0.1)


@pytest.mark.parametrize(
    ("nominal", "most"),
    [
        (500, 3), (501, 6), (1000, 6), (1001, 8), (3000, 8), (3001, 12), (6000, 12), (6001, 16), (15_000, 16),
        (15_001, 20), (30_000, 20), (30_001, 30), (60_000, 30),
    ],
)  # fmt: skip
def test_din_18202_table_2_at_its_own_steps(nominal, most):
    """DIN 18202 table 2, as quoted: up to 0.5 / 1 / 3 / 6 / 15 / 30 / 60 m."""
    assert angularity(nominal) == most


def test_other_published_numbers():
    assert math.isnan(angularity(60_001))
    assert habitable_height() == pytest.approx(7 * FT)  # IRC R305.1
    assert unbevelled_step() == pytest.approx(IN / 4)  # ADA standards 303.2


def test_what_cannot_be_known_off_a_string_is_undecided():
    floor = level_surface("floor", lambda x, y: 0 * x)
    x, y, z = floor.survey.xyz()
    string = make_survey(x, y, z - 2500, surface="ceiling", reference="string", accuracy=0.5)
    ceiling = type(floor)(name="ceiling", survey=string, level=floor.level)
    built = room(floor, ceiling, draws=50)
    with pytest.raises(MeasureError, match="no clear height"):
        built.clear_height  # noqa: B018
    row = of(built.checks, "ceiling", "level")
    assert row["verdict"] == "undecided"
    assert "string" in row["note"]


def test_no_pass_of_a_room_of_which_a_part_was_not_read():
    floor = level_surface("floor", lambda x, y: 0 * x)
    x, y, z = floor.survey.xyz()
    outline = [(0, 0), (8000, 0), (8000, 3000), (0, 3000)]
    half = make_survey(x, y, z, surface="floor", accuracy=0.5, outline=outline)
    built = room(
        type(floor)(name="floor", survey=half, level=floor.level),
        level_surface("ceiling", lambda x, y: 2500 + 0 * x),
        draws=50,
    )
    row = of(built.checks, "clear-height")
    assert row["verdict"] == "undecided"
    assert "no reading stands on" in row["note"]


def test_a_wall_without_length_is_refused():
    with pytest.raises(ArgumentError, match="no line on the plan"):
        WallLine(start=(0.0, 0.0), end=(0.0, 0.0))


def test_two_rooms_that_join_at_an_opening():
    """Closed forms: floors 4 mm apart, ceilings 9 mm apart; each room has a clear height of its own."""
    surfaces = [
        replace(level_surface("floor", lambda x, y: 0 * x, 2000, 3000, name="floor a"), room="a"),
        replace(level_surface("ceiling", lambda x, y: 2500 + 0 * x, 2000, 3000, name="ceiling a"), room="a"),
    ]
    for kind, z in (("floor", 4.0), ("ceiling", 2509.0)):
        one = level_surface(kind, lambda x, y, z=z: z + 0 * x, 2000, 3000, name=f"{kind} b")
        x, y, height = one.survey.xyz()
        moved = make_survey(x + 2100, y, height, surface=kind, accuracy=0.02, unit="mm")
        surfaces.append(replace(one, room="b", survey=moved))
    ends = ((2050.0, 1000.0), (2050.0, 2000.0))
    way = Opening(name="way", ends=ends, floors=("floor a", "floor b"), ceilings=("ceiling a", "ceiling b"))
    built = room(*surfaces, openings=(way,), agreed=Agreed(ceiling_step=5.0), draws=50)
    step = of(built.checks, "threshold")
    assert step["likely_mm"] == pytest.approx(4.0, abs=CLOSE)
    assert (step["verdict"], step["allowed_mm"]) == ("pass", pytest.approx(IN / 4))
    overhead = of(built.checks, "ceiling", "step overhead")
    assert overhead["likely_mm"] == pytest.approx(9.0, abs=CLOSE)
    assert overhead["verdict"] == "fail"
    clear = {one.floor: float(np.median(one.least)) for one in built.clear_heights}
    assert clear == {"floor a": pytest.approx(2500, abs=CLOSE), "floor b": pytest.approx(2505, abs=CLOSE)}


@pytest.mark.parametrize("degrees", [5, 15, 45])
def test_nothing_depends_on_the_angle_at_which_a_room_lies_on_the_plan(degrees):
    """The same room, its readings and its walls turned: floor along walls, swing, threshold and clear height alike."""

    def measured(angle):
        level = [
            level_surface("floor", lambda x, y: 5 * x / 4000),
            level_surface("ceiling", lambda x, y: 2500 - 20 * y / 3000),
        ]
        surfaces = []
        for one in level:
            x, y, z = one.survey.xyz()
            places = turned(np.column_stack([x, y]), angle)
            survey = make_survey(*places.T, z, surface=one.kind, accuracy=0.02, unit="mm")
            surfaces.append(replace(one, survey=survey))
        walls = four_walls(turned([(4000, 0), (0, 0), (0, 3000), (4000, 3000)], angle))
        hinge, tip = (tuple(place) for place in turned([(1000, 0), (1900, 0)], angle))
        door = Door(hinge=hinge, tip=tip, bottom=10.0, least=5.0)
        way = Opening(name="door", door=door, ends=(hinge, tip), floors=("floor",), next_height=-3.0, error=0.01)
        checks = room(*surfaces, *walls, openings=(way,), draws=50).checks
        return checks[checks["what"].isin(["clear-height", "wall-foot", "opening", "threshold"])]

    straight, askew = measured(0), measured(degrees)
    np.testing.assert_allclose(askew["likely_mm"], straight["likely_mm"], atol=0.05)
    assert askew["verdict"].tolist() == straight["verdict"].tolist()
    # closed forms: 5 mm along the south wall, no change along the west; the least stands in a corner
    assert of(askew, "wall-foot", "south")["likely_mm"] == pytest.approx(5.0, abs=CLOSE)
    assert of(askew, "wall-foot", "west")["likely_mm"] == pytest.approx(0.0, abs=CLOSE)


def test_the_floor_beside_a_wall_askew_to_its_readings():
    """Closed form: along a wall at 16.7 degrees to the grid the floor rises by 5 mm in 4,000 as everywhere."""
    corners = [(4000, 0), (0, 0), (0, 3000), (4000, 1800)]
    built = room(level_surface("floor", lambda x, y: 5 * x / 4000), *four_walls(corners), draws=50)
    row = of(built.checks, "wall-foot", "north")
    assert row["likely_mm"] == pytest.approx(5.0, abs=0.3)
    assert "0 mm off the wall" in row["note"]


def test_a_room_by_its_diagonals():
    """By hand: sides a and b at an angle have diagonals of a2 + b2 +- 2 a b cos; the error by propagation."""
    a, b, cosine, s = 4000.0, 3000.0, 0.002, 1.0
    pair = tuple(math.sqrt(a * a + b * b + sign * 2 * a * b * cosine) for sign in (1, -1))
    tape = TapeCorner(name="A", legs=(a, b), diagonals=pair, error=s)
    row = of(
        room(level_surface("floor", lambda x, y: 0 * x), tapes=(tape,), draws=20_000).checks, "square", "diagonals"
    )
    assert row["likely_mm"] == pytest.approx(cosine * b, abs=0.05)
    # d cos / d diagonal = c / (2 a b), of both; at square the sides weigh nothing
    spread = 1.96 * b * math.sqrt(2) * 5000 / (2 * a * b) * s
    assert row["high_mm"] - row["low_mm"] == pytest.approx(2 * spread, rel=0.04)
    assert "under 90" in row["note"]


def test_a_corner_that_stands_out_into_the_room():
    """An L: at its inner corner a wall that swings away by 5 in 2,000 makes the wall's own corner sharp."""
    places = [(0, 0), (0, 3000), (2000, 3000), (2000, 1500), (4000, 1500), (4000, 0)]
    walls = [wall("abcdef"[i], places[i], places[(i + 1) % 6]) for i in range(6)]
    walls[3] = wall("d", places[3], places[4], lambda x, y: -5 * x / 2000)
    checks = room(*walls, draws=50).checks
    row = of(checks, "square", "c and d")
    assert row["likely_mm"] == pytest.approx(1500 * 5 / 2000, abs=CLOSE)
    assert "stands out into the room" in row["note"]
    assert of(checks, "square", "a and b")["note"] == ""  # which way is not known


def test_the_distance_of_facing_walls_along_their_run():
    """Closed form: 3,000 at one end, 2,990 at the other."""
    built = room(*four_walls([(4000, 0), (0, 0), (0, 3000), (4000, 2990)]), draws=50)
    some = built.widths.query("first == 'south'")  # its x runs from the east
    np.testing.assert_allclose(some["likely_mm"], 2990 + 10 * some["x_mm"] / 4000, atol=CLOSE)
    assert some["x_mm"].iloc[[0, -1]].tolist() == pytest.approx([0, 4000], abs=1)
    assert some["x_mm"].diff().max() <= 610
