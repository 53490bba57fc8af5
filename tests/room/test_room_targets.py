"""One target for all: against brute force over a coarse set of planes, against each surface alone, and closed forms.

The brute force and the areas are written here: a node in the middle of a lattice stands for a whole cell, one on an
edge for half of it, a corner for a quarter.
"""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy.optimize import linprog

import flatness
from constructed_rooms import four_walls, level_surface, room, turned, wall
from flatness.errors import ArgumentError, PlanError
from flatness.planning.constraints import Depths, Rates
from flatness.planning.substrate import Beneath
from flatness.room.records import Keep

pytestmark = pytest.mark.usefixtures("coarse_lattice")
MAY = (Beneath("plaster", True, most_planed=1000.0),)
CORNERS = [(3000.0, 0.0), (0.0, 0.0), (0.0, 2400.0), (3000.0, 2400.0)]
PER_MM3 = Rates().volume


def room_targets(built, **options):
    """To the number itself: room for the error of setting out has a test of its own."""
    return flatness.room_targets(built, **{"setting_error": 0.0, **options})


def free(one, **options):
    """A surface of which as much as you like may come off."""
    return replace(one, beneath=MAY, **options)


def nodes(built, name):
    """x, y, height toward the room, and area of the nodes of a whole lattice."""
    drawn = built.drawn[name]
    x, y, z = drawn.surface.nodes()
    height, edge = drawn.of.up * z, drawn.surface.spacing / 2
    inner = [((v > v.min() + edge) & (v < v.max() - edge)).astype(float) for v in (x, y)]
    area = drawn.surface.spacing**2 * (0.5 + 0.5 * inner[0]) * (0.5 + 0.5 * inner[1])
    return x, y, height, area


def cost(built, name, plane, off=1.0, cut=np.inf):
    """What a plane costs a surface; infinite where too much would come off."""
    x, y, height, area = nodes(built, name)
    change = plane[0] + plane[1] * x + plane[2] * y - height
    if (change < -cut - 1e-9).any():
        return np.inf
    return PER_MM3 * float(area @ (np.maximum(change, 0) + off * np.maximum(-change, 0)))


def rough(x, y):
    """Some 6 mm, not symmetric."""
    return 3 * np.sin(x / 700) + 2 * np.cos(y / 500) + 0.001 * x


def test_a_level_floor_goes_to_the_height_below_which_the_rates_say_so_much_lies():
    """Closed form: where taking off is three times as dear as adding, three quarters of the area lies below."""
    rates = Rates(off=3.0)
    built = room(free(level_surface("floor", rough, step=300), rates=rates), draws=10)
    target = room_targets(built).targets["floor"]
    _, _, height, area = nodes(built, "floor")
    order = np.argsort(height)
    share = np.cumsum(area[order]) / area.sum()
    assert target.z == pytest.approx(height[order][np.searchsorted(share, 0.75)], abs=1e-6)
    assert target.plane[1:] == (0.0, 0.0)


def test_nothing_comes_off_where_nothing_is_said():
    built = room(level_surface("floor", rough, step=300), draws=10)
    found = room_targets(built)
    assert found.targets["floor"].z == pytest.approx(nodes(built, "floor")[2].max(), abs=1e-6)
    assert found.table["most_taken_mm"].tolist() == [0.0]
    assert any("floor" in note for note in found.notes)
    assert "how much may come off floor" in set(found.binds["rule"])


def test_against_each_surface_alone_when_nothing_ties_them():
    """A plane alone is a least-absolute-deviations plane: here by a linear program written out plainly."""
    surfaces = [free(level_surface("floor", rough, step=300)), free(wall("w", (0, 0), (3000, 0), rough, step=300))]
    built = room(*surfaces, draws=10)
    found = room_targets(built, walls="free", plumb=False, level=False)
    for name in ("floor", "w"):
        x, y, height, area = nodes(built, name)
        terms, n = np.column_stack([np.ones_like(x), x, y]), len(x)
        split = np.hstack([terms, -np.eye(n), np.eye(n)])  # plane - added + taken = found
        price = np.concatenate([np.zeros(3), area * PER_MM3, area * PER_MM3])
        bounds = [(None, None)] * 3 + [(0, None)] * (2 * n)
        alone = linprog(price, A_eq=split, b_eq=height, bounds=bounds).fun
        assert found.targets[name].cost == pytest.approx(alone, rel=1e-6)
    assert found.cost == pytest.approx(sum(one.cost for one in found.targets.values()))


def test_walls_square_with_a_width_to_keep_against_brute_force():
    """Four walls share one turn; north and south keep 2,392 mm between them: all turns and offsets on a coarse set."""
    base = four_walls(CORNERS, step=300, height=2400)
    offs = {
        "south": lambda x, y: rough(x, y) + 2,
        "west": lambda x, y: 0.002 * x + rough(y, x) / 2,
        "north": lambda x, y: rough(y, x) + 4 - 0.001 * x,
        "east": lambda x, y: rough(x, y) / 3,
    }
    walls = [free(wall(one.name, one.wall.start, one.wall.end, offs[one.name], step=300, height=2400)) for one in base]
    rates = {"south": 2.0, "north": 1.0, "west": 1.0, "east": 1.0}
    walls = [replace(one, rates=Rates(off=rates[one.name])) for one in walls]
    keep = Keep(name="bath", surfaces=("north", "south"), least=2396.0)
    built = room(*walls, keeps=(keep,), draws=10)
    found = room_targets(built)
    best = np.inf
    heights = np.arange(-6, 9, 0.25)
    reach = built.drawn["north"].extent[:2]
    for slope in np.arange(-0.003, 0.0031, 0.0005):
        each = {name: np.array([cost(built, name, (h, slope, 0.0), rates[name]) for h in heights]) for name in offs}
        total = each["west"].min() + each["east"].min()
        pair = np.inf
        for (i, north), (j, south) in product(enumerate(heights), enumerate(heights)):
            # x of the south wall runs the other way
            widths = [2400 - (north + slope * x) - (south + slope * (3000 - x)) for x in reach]
            if min(widths) >= 2396.0 - 1e-9:
                pair = min(pair, each["north"][i] + each["south"][j])
        best = min(best, total + pair)
    # the coarse set can only be dearer, by no more than half its steps of height and of slope (over half a run) ask for
    room_for = sum(nodes(built, name)[3].sum() for name in offs) * PER_MM3 * 2 * (0.125 + 0.00025 * 1500)
    assert best - room_for <= found.cost <= best + 1e-9
    assert "bath, kept clear: north to south" in set(found.binds["rule"])
    slopes = {one.plane[1] for one in found.targets.values()}
    assert np.ptp(list(slopes)) < 1e-9
    width = [2400 - found.targets["north"].toward(x, 0) - found.targets["south"].toward(3000 - x, 0) for x in reach]
    assert min(width) == pytest.approx(2396, abs=1e-5)


def test_floor_and_ceiling_with_a_height_to_keep_against_brute_force():
    rates = Rates(off=2.0)
    floor = free(level_surface("floor", rough, step=300), rates=rates)
    ceiling = free(level_surface("ceiling", lambda x, y: 2405 - rough(y, x), step=300), rates=rates)
    built = room(floor, ceiling, keeps=(Keep(name="wardrobe", surfaces=("floor", "ceiling"), least=2400.0),), draws=10)
    found = room_targets(built)
    levels = np.arange(-8, 9, 0.25)
    floors = np.array([cost(built, "floor", (h, 0, 0), 2.0) for h in levels])
    ceilings = np.array([cost(built, "ceiling", (h - 2405, 0, 0), 2.0) for h in levels])
    clear = (2405 - levels[None, :]) - levels[:, None]
    best = np.where(clear >= 2400 - 1e-9, floors[:, None] + ceilings[None, :], np.inf).min()
    area = nodes(built, "floor")[3].sum()
    assert best - 2 * area * PER_MM3 * 2 * 0.125 <= found.cost <= best + 1e-9
    assert found.targets["ceiling"].z - found.targets["floor"].z == pytest.approx(2400, abs=1e-6)
    bound = found.binds.set_index("rule")["cost_per_mm"]["wardrobe, kept clear: floor to ceiling"]
    more = room_targets(built, keep=[Keep(name="w", surfaces=("floor", "ceiling"), least=2400.2)])
    assert more.cost - found.cost == pytest.approx(0.2 * bound, rel=0.25)  # what the rule costs for each mm


def test_the_cheaper_of_two_facing_walls_moves_more():
    """Both flat, 2,400 apart, 2,410 to keep: all comes off the one where it costs less."""
    walls = [
        free(one, rates=Rates(off=rate)) for one, rate in zip(four_walls(CORNERS, step=600), (3, 1, 1, 1), strict=True)
    ]
    built = room(*walls, keeps=(Keep(name="tub", surfaces=("south", "north"), least=2410.0),), draws=10)
    table = room_targets(built).table.set_index("surface")
    assert table["most_taken_mm"]["north"] == pytest.approx(10, abs=0.1)
    assert table["most_taken_mm"]["south"] == pytest.approx(0, abs=0.1)


def test_parallel_in_pairs_costs_no_more_than_square_and_free_no_more_than_parallel():
    offs = (lambda x, y: 0.004 * x, lambda x, y: 0 * x, lambda x, y: 0.002 * x, lambda x, y: 0.0005 * x)
    walls = [
        free(wall(one.name, one.wall.start, one.wall.end, off, step=600))
        for one, off in zip(four_walls(CORNERS, step=600), offs, strict=True)
    ]
    built = room(*walls, draws=10)
    costs = [room_targets(built, walls=word).cost for word in ("square", "parallel", "free")]
    assert costs[0] > costs[1] > costs[2]
    parallel = room_targets(built, walls="parallel").targets
    assert parallel["south"].plane[1] == pytest.approx(parallel["north"].plane[1])
    assert parallel["south"].plane[1] != pytest.approx(parallel["west"].plane[1])


def test_two_ceilings_come_to_one_height():
    ceilings = [level_surface("ceiling", lambda x, y, z=z: z + 0 * x, name=f"ceiling {z}") for z in (2500, 2510)]
    found = room_targets(room(*ceilings, draws=10))
    assert [one.z for one in found.targets.values()] == [pytest.approx(2500, abs=0.1)] * 2  # nothing comes off


def test_a_door_head_over_a_floor_and_a_stair_beside_a_wall():
    floor = level_surface("floor", lambda x, y: -20 + 0 * x)
    side = wall("w", (0, 0), (3000, 0), step=600)
    head = Keep(name="door head", surfaces=("floor",), height=2030.0, most=2040.0, places=((1000.0, 500.0),))
    stair = Keep(name="stair", surfaces=("w",), places=((1500.0, -900.0),), most=890.0)
    found = room_targets(room(floor, side, keeps=(head, stair), draws=10), walls="free")
    assert found.targets["floor"].z == pytest.approx(-10, abs=1e-6)
    # the wall's room lies at y < 0: its face comes 10 mm nearer to what stands 900 mm off
    assert found.targets["w"].toward(1500, 0) == pytest.approx(10, abs=1e-6)


def test_what_clashes_is_named_with_by_how_much():
    floor = level_surface("floor", lambda x, y: 0 * x)
    ceiling = level_surface("ceiling", lambda x, y: 2400 + 0 * x)
    keep = Keep(name="wardrobe", surfaces=("floor", "ceiling"), least=2450.0)
    with pytest.raises(PlanError) as error:
        room_targets(room(floor, ceiling, keeps=(keep,), draws=10))
    (problem,) = error.value.problems
    for part in ("by 50", "wardrobe", "come off floor", "come off ceiling"):
        assert part in problem.what
    assert problem.remedy


def test_a_depth_of_fill_that_clashes():
    """North tapers by 30 over its run, and no more than 10 may be added to any wall."""
    walls = four_walls(CORNERS, step=600)
    tapered = wall("north", walls[2].wall.start, walls[2].wall.end, lambda x, y: 0.01 * x, step=600)
    walls = [replace(one, depths=Depths(fill=10.0)) for one in (*walls[:2], tapered, walls[3])]
    with pytest.raises(PlanError, match=r"targets clash by .*added to"):
        room_targets(room(*walls, draws=10))
    room_targets(room(*walls, draws=10), walls="free")


def test_a_steep_wall_is_warned_of():
    built = room(free(wall("w", (0, 0), (3000, 0), lambda x, y: x / 40, step=600)), draws=10)
    found = room_targets(built, walls="free")
    assert any("1 in 50" in note for note in found.notes)


def test_spots_that_hold_a_target_for_the_planner():
    """A plan through the three spots changes the surface as the target asks."""
    floor = free(level_surface("floor", rough, step=300))
    built = room(floor, draws=10)
    found = room_targets(built)
    plan = flatness.plan_corrections(
        floor.survey, strategy="fixed-spots", fixed=found.fixed_spots("floor"), beneath=MAY, surface="likely"
    )
    assert np.nanmax(np.abs(plan.target - found.targets["floor"].z)) < 0.5


@pytest.mark.parametrize(
    ("keep", "words"),
    [
        ({"surfaces": ("floor", "west"), "least": 1.0}, "nothing can be kept"),
        ({"surfaces": ("south", "west"), "least": 1.0}, "do not face"),
        ({"surfaces": ("floor",), "least": 1.0}, "clear of what"),
        ({"surfaces": ("roof",), "least": 1.0}, "no surface of this name"),
    ],
)
def test_what_cannot_be_kept_is_refused(keep, words):
    built = room(level_surface("floor", lambda x, y: 0 * x), *four_walls(CORNERS, step=600), draws=10)
    with pytest.raises(ArgumentError, match=words):
        room_targets(built, keep=[Keep(name="k", **keep)])
    with pytest.raises(ArgumentError, match="unknown rule for walls"):
        room_targets(built, walls="round")
    with pytest.raises(ArgumentError, match="nothing to keep"):
        Keep(name="k", surfaces=("floor",))


def test_what_is_kept_is_kept_when_it_is_set_out():
    """By simulation: both walls set to their targets, good to 1 mm at each end; off one line, not its error."""
    keep = Keep(name="tub", surfaces=("south", "north"), least=2410.0)
    walls = [
        free(replace(one, wall=replace(one.wall, error=5.0, control="line")))
        for one in four_walls(CORNERS[:4], step=600)[::2]
    ]
    built = room(*walls, keeps=(keep,), draws=10)
    found = room_targets(built, setting_error=1.0)
    # x of the south wall runs the other way
    faces = [found.targets["south"].toward(3000.0, 0.0), found.targets["north"].toward(0.0, 0.0)]
    set_out = np.random.default_rng(3).normal(0, 1.0, (20_000, 2, 2))  # at both ends of both walls
    width = 2400 - sum(faces) + set_out.sum(axis=1)
    both_ends = (width >= 2410).all(axis=1).mean()
    assert 0.945 < both_ends < 0.965  # each end holds in 97.5 %


def test_all_that_is_kept_holds_together_when_it_is_set_out():
    """By simulation: two widths of two places each; that each alone holds in 95 of 100 would leave 90 for both."""
    keeps = [Keep(name=name, surfaces=both, least=size) for name, both, size in (
        ("tub", ("south", "north"), 2410.0), ("bed", ("west", "east"), 3010.0))]  # fmt: skip
    walls = [replace(free(one), wall=replace(one.wall, control="line")) for one in four_walls(CORNERS, step=600)]
    found = room_targets(room(*walls, keeps=tuple(keeps), draws=10), setting_error=1.0)
    rng, held = np.random.default_rng(3), np.ones(20_000, bool)
    for one, apart in zip(keeps, (2400, 3000), strict=True):
        first, second = one.surfaces
        run = {2400: 3000.0, 3000: 2400.0}[apart]
        faces = [found.targets[first].toward(run, 0.0), found.targets[second].toward(0.0, 0.0)]
        width = apart - sum(faces) + rng.normal(0, 1.0, (20_000, 2, 2)).sum(axis=1)
        held &= (width >= one.least).all(axis=1)
    assert 0.945 < held.mean() < 0.965


def test_a_wall_over_10_degrees_off_square_keeps_its_own_direction():
    """Nothing is off: a wall drawn askew on the plan is no fault, and nothing is to be done anywhere."""
    walls = four_walls([(3000, 0), (0, 0), (0, 2400), (3000, 1500)], step=600)  # the north wall by 16.7 degrees
    found = room_targets(room(*walls, draws=10), leave=False)
    assert found.table["most_added_mm"].max() < 0.1
    assert any(note.startswith("north stands more than 10 degrees off") for note in found.notes)


@pytest.mark.parametrize("word", ["square", "parallel"])
def test_two_rooms_20_degrees_apart_are_each_square(word):
    """Closed form: in each the west wall is off square by 8 in 2,400; all of that is added at one end, and no more."""
    walls = []
    for name, degrees in (("a", 0), ("b", 20)):
        places = turned([(x + 5000 * (name == "b"), y) for x, y in CORNERS], degrees, (5000.0, 0.0))
        sides = four_walls(places, [f"{side} {name}" for side in ("south", "west", "north", "east")], step=600)
        sides[1] = wall(f"west {name}", *places[1:3], lambda x, y: -8 * x / 2400, step=600)
        walls += [replace(one, room=name) for one in sides]
    found = room_targets(room(*walls, draws=10), walls=word, leave=False)
    table = found.table.set_index("surface")
    assert any("brought square" in note for note in found.notes)
    for name in ("a", "b"):
        slopes = [found.targets[f"{side} {name}"].plane[1] for side in ("south", "west", "north", "east")]
        tied = slopes if word == "square" else slopes[1::2]
        assert np.ptp(tied) < 1e-9
    assert table["most_added_mm"]["west a"] == pytest.approx(table["most_added_mm"]["west b"], abs=0.1)
