"""Ways for each surface of a room: they come to the room's targets, on constructed rooms."""

from dataclasses import replace

import numpy as np
import pytest

import flatness
from constructed_rooms import four_walls, level_surface, room, wall
from flatness.errors import PlanError
from flatness.framing.members import member_layout
from flatness.limits.kinds import straightedge_limit
from flatness.planning.constraints import Depths, Rates
from flatness.room.ways import closed_because, room_ways

pytestmark = pytest.mark.usefixtures("coarse_lattice")
CORNERS = [(3000.0, 0.0), (0.0, 0.0), (0.0, 2400.0), (3000.0, 2400.0)]
BAR = straightedge_limit(1500, 2.0, surfaces=("floor", "ceiling", "wall"))


def with_limits(one, **more):
    return replace(one, limits=(BAR,), **more)


@pytest.fixture(scope="module")
def built():
    """A west wall that leans 9 mm out, on studs; a ceiling that falls 14 mm; nothing comes off."""
    walls = four_walls(CORNERS, step=600, offset=1000.0)
    studs = member_layout(0.0, 600.0, until=2400.0, kind="stud")
    west = wall("west", CORNERS[1], CORNERS[2], lambda x, y: -9 * y / 2500, step=600, offset=1000.0)
    ceiling = level_surface("ceiling", lambda x, y: 2500 - 14 * x / 3000, 3000, 2400, step=300)
    surfaces = [with_limits(one) for one in (ceiling, walls[0], *walls[2:])]
    made = room(*surfaces, with_limits(west, members=studs), draws=20)
    targets = flatness.room_targets(made, setting_error=0.2)
    return targets, room_ways(targets)


def test_every_plan_comes_to_its_target(built):
    """The target's plane, at every node that is worked: it is raised there, and nothing stands over it."""
    targets, found = built
    assert set(found.plans) == {"ceiling", "west"}
    assert set(targets.left) == set(targets.room.surfaces) - set(found.plans)
    for name, plan in found.plans.items():
        target, of = targets.targets[name], targets.room.surfaces[name]
        datum = 0.0 if of.level is None else of.up * of.level.height
        gx, gy = np.meshgrid(plan.x, plan.y)
        plane = target.plane[0] + target.plane[1] * gx + target.plane[2] * gy - datum
        finished = plan.surface.height + np.nan_to_num(plan.change)
        assert np.nanmax(np.abs(finished - plane)) < 0.25, name


def test_a_wall_on_studs_has_a_way_by_its_studs(built):
    """Closed form: its face stays at the foot and comes out 9 mm at the head, 2,500 up."""
    _, found = built
    ways = found.ways["west"]
    plan = ways.of("members")
    for height, slope in plan.lines.values():
        assert height + slope * 2500 == pytest.approx(-1000.0, abs=0.3)
        assert slope * 2500 == pytest.approx(0.0, abs=0.3)
    assert plan.verdict == "pass"


def test_the_table_sums_up(built):
    targets, found = built
    table = found.table
    assert table["surface"].tolist() == list(targets.room.surfaces)
    assert (table["way"] != "").all()
    assert set(table[table["way"] == "leave"]["surface"]) == set(targets.left)
    assert found.work == (pytest.approx(sum(plan.work for plan in found.plans.values())), Rates().unit)
    assert found.usual_rates


def test_a_surface_without_a_way_says_why():
    floor = level_surface("floor", lambda x, y: 4 * np.exp(-((x - 1500) ** 2) / 300**2), 3000, 2400, step=300)
    built = room(with_limits(floor, depths=Depths(0.0, 9.0)), draws=10)
    targets = flatness.room_targets(built, setting_error=0.0)
    found = room_ways(targets, setting_error=0.2, ways=("members",))
    assert found.table["way"].tolist() == [""]
    assert "no members are named" in closed_because(found.ways["floor"])
    with pytest.raises(PlanError, match="no members"):
        found.ways["floor"].of("proposed")
