"""What need not be worked on is left, and the room as it will stand is what its checks then tell: constructed rooms."""

from dataclasses import replace

import numpy as np
import pytest

import flatness
from constructed_rooms import four_walls, level_surface, room, wall
from flatness.limits.kinds import straightedge_limit
from flatness.planning.substrate import Beneath
from flatness.room.records import Agreed, Keep
from flatness.room.set_out import wall_lines
from flatness.room.ways import room_ways
from flatness.words.rooms import moves_most, targets_text, way_rows

pytestmark = pytest.mark.usefixtures("coarse_lattice")
CORNERS = [(3000.0, 0.0), (0.0, 0.0), (0.0, 2400.0), (3000.0, 2400.0)]
LIMITS = (straightedge_limit(1500, 6.0, surfaces=("floor", "ceiling", "wall")),)
MAY = (Beneath("plaster", True, most_planed=1000.0),)


def wave(most):
    return lambda x, y: most * np.sin(x / 500) * np.cos(y / 600)


def walls(most=0.0, **swings):
    """Four walls that wave by so much, some of which swing by so many mm over their run."""
    found = []
    for one in four_walls(CORNERS):
        line, swing = one.wall, swings.get(one.name, 0.0)
        off = lambda x, y, run=line.length, swing=swing: wave(most)(x, y) + swing * (x / run - 0.5)  # noqa: E731
        found.append(replace(wall(one.name, line.start, line.end, off, step=300), limits=LIMITS))
    return found


def levels(most):
    floor = level_surface("floor", wave(most), 3000, 2400, step=300)
    ceiling = level_surface("ceiling", lambda x, y: 2500 + wave(most)(x, y), 3000, 2400, step=300)
    return [replace(one, limits=LIMITS) for one in (floor, ceiling)]


def test_a_room_that_passes_is_left_as_it_is():
    """Waves of 1.2 mm where 6 mm under a bar, and by DIN 18202 8 mm and more of the planes, are allowed."""
    built = room(*levels(1.2), *walls(1.2), draws=40)
    assert built.verdict == "pass"
    assert flatness.room_targets(built, leave=False).cost > 0
    found = flatness.room_targets(built)
    assert set(found.left) == set(built.surfaces)
    assert found.cost == 0.0
    assert found.binds.empty
    assert (found.table["most_added_mm"] == 0).all()
    ways = room_ways(found)
    assert ways.ways == {}
    assert ways.table["way"].tolist() == ["leave"] * 6
    assert ways.work is not None
    assert ways.work[0] == 0.0
    assert moves_most(found) == "No wall needs work."
    assert {row[1] for row in way_rows(ways)} == {"leave it as it is"}


@pytest.mark.parametrize(("most", "is_left"), [(0.25, True), (0.6, False)])
def test_what_is_thinner_than_the_material_holds_is_not_planned(most, is_left):
    """Nothing is agreed for this wall; a skim is 1/32 in, 0.79 mm, deep somewhere, and the wave has twice its size."""
    base = wall("west", CORNERS[1], CORNERS[2], lambda x, y: most * np.sin(x / 200), step=300)
    found = flatness.room_targets(room(base, draws=10))
    deepest = float(np.nanmax(flatness.room_targets(room(base, draws=10), leave=False).targets["west"].change))
    assert (deepest < 25.4 / 32) == is_left
    assert (found.left == ("west",)) == is_left


def test_a_wall_that_fails_is_worked_and_the_others_are_left():
    """The west wall leans 14 mm, where DIN 18202 allows 8 over 2,400."""
    leaning = wall("west", CORNERS[1], CORNERS[2], lambda x, y: -14 * y / 2500, step=300)
    found = flatness.room_targets(
        room(*levels(1.2), *(one for one in walls(1.2) if one.name != "west"), leaning, draws=40)
    )
    assert set(found.left) == {"floor", "ceiling", "south", "north", "east"}
    assert found.targets["west"].added > 0
    done = found.finished.checks
    assert (done[done["allowed_mm"].notna()]["verdict"] == "pass").all()
    plumb = done[(done["what"] == "plumb") & done["where"].str.startswith("west")]["likely_mm"].item()
    assert plumb < 1
    told = " ".join(targets_text(found).split())
    assert "but for floor, ceiling, south, north and east, left as they are" in told
    judged = int(done["allowed_mm"].notna().sum())
    assert f"all {judged} checks will likely pass" in told
    lines = wall_lines(found)
    assert (lines[lines["wall"] == "east"]["add_mm"] == 0).all()
    np.testing.assert_allclose(lines[lines["wall"] == "east"]["off_control_mm"], 0, atol=1.0)  # it waves by 1.2


@pytest.mark.parametrize("seed", range(4))
def test_what_is_left_does_not_spoil_what_was_agreed(seed):
    """The truth of the finished room: walls that swing, left or set exactly to their targets, taper as agreed."""
    rng = np.random.default_rng([seed, 12])
    swings = dict(zip(("south", "west", "north", "east"), rng.normal(0, 4, 4), strict=True))
    built = room(*walls(0.0, **swings), draws=40, agreed=Agreed(parallel=3.0))
    found = flatness.room_targets(built)
    runs = {one.name: one.wall.length for one in built.of_kind("wall")}
    slope = {name: swings[name] / runs[name] if name in found.left else found.targets[name].plane[1] for name in swings}
    for one, other in (("south", "north"), ("west", "east")):
        assert abs(slope[one] - slope[other]) * runs[one] <= 3.0


@pytest.mark.parametrize(
    ("higher", "agreed", "options", "is_left"),
    [
        (7.0, None, {}, False),
        (7.0, None, {"one_ceiling": False}, True),
        (0.4, None, {}, True),  # a skim is 1/32 in, 0.79 mm, deep somewhere
        (3.0, 4.0, {}, True),
        (5.0, 4.0, {}, False),
    ],
)
def test_ceilings_that_come_to_one_height_are_left_together_or_not_at_all(higher, agreed, options, is_left):
    """Both are flat and level, so that each by itself needs no work; together only where they are at one height."""
    ceilings = [
        replace(level_surface("ceiling", lambda x, y, z=z: z + 0 * x, name=f"ceiling {z}", step=600), limits=LIMITS)
        for z in (2600, 2600 + higher)
    ]
    found = flatness.room_targets(room(*ceilings, draws=10, agreed=Agreed(ceiling_step=agreed)), **options)
    assert found.left == (tuple(found.targets) if is_left else ())
    apart = abs(np.subtract(*(one.z for one in found.targets.values())))
    assert apart == pytest.approx(higher if is_left else 0.0, abs=0.1)


def test_what_comes_off_for_something_that_must_fit_is_not_left():
    flat = [replace(one, beneath=MAY) for one in walls()]
    keep = Keep(name="tub", surfaces=("south", "north"), least=2400.4)
    found = flatness.room_targets(room(*flat, draws=10, keeps=(keep,)), setting_error=0.0)
    assert found.table["most_taken_mm"].max() == pytest.approx(0.4, abs=1e-3)
    assert set(found.left) >= {"west", "east"}
    assert not {"south", "north"} <= set(found.left)


def test_the_finished_room_has_the_errors_of_setting_out_and_of_its_datum():
    """Closed form: a floor's and a ceiling's mid-height off 1 mm of setting in four corners (0.5) and 2 mm of datum."""
    floor, ceiling = levels(0.0)
    floor, ceiling = (replace(one, level=replace(one.level, error=2.0)) for one in (floor, ceiling))
    built = room(floor, ceiling, draws=4000)
    found = flatness.room_targets(built, setting_error=1.0, leave=False)
    middle = [one.at(np.array([1500.0]), np.array([1200.0]))[:, 0] for one in found.finished.drawn.values()]
    for heights, z in zip(middle, (0.0, 2500.0), strict=True):
        assert heights.mean() == pytest.approx(z, abs=0.15)
        assert heights.std() == pytest.approx(np.hypot(2.0, 0.5), rel=0.05)
