"""What lies beneath, which action follows, and the patches: closed forms and counts by hand."""

import math

import numpy as np
import pytest
import shapely
from shapely import box

from flatness.errors import ArgumentError
from flatness.framing.members import member_layout
from flatness.planning.patches import THRESHOLDS, Cells, assign_actions, connected, patch_table, thresholds_of
from flatness.planning.plan import ACTIONS, OUTSIDE
from flatness.planning.quantities import DEFAULTS, SET_BY_YOU
from flatness.planning.substrate import ENGINEERED, KINDS, Beneath, permitted_cut
from flatness.surface.lattice import bilinear, make_surface

DENSITY = DEFAULTS["fill_density"].value
FT = 304.8


def flat(ny, nx, spacing=FT, blank=()):
    z = np.zeros((ny, nx))
    for node in blank:
        z[node] = np.nan
    return make_surface(z, spacing)


def quarter_cells(inside, spacing):
    """Area of each node by hand: a quarter of each whole cell, a sixth where one corner misses, a quarter alone."""
    area = np.zeros(inside.shape)
    for i in range(inside.shape[0] - 1):
        for j in range(inside.shape[1] - 1):
            here = [c for c in ((i, j), (i, j + 1), (i + 1, j), (i + 1, j + 1)) if inside[c]]
            for c in here if len(here) >= 3 else []:
                area[c] += 1 / 4 if len(here) == 4 else 1 / 6
    area[inside & (area == 0)] = 1 / 4
    return area * spacing**2


def named(surface, change, kind="floor", beneath=None, **settings):
    chosen = thresholds_of(**settings)
    permitted = permitted_cut(surface, beneath, None, chosen["deepest_plane"].value)
    return assign_actions(surface, np.asarray(change, float), kind, permitted, chosen, DENSITY), permitted, chosen


def words(actions):
    return [[ACTIONS[k] for k in row] for row in actions]


# what lies beneath


def test_nothing_comes_off_where_nothing_is_said():
    found = permitted_cut(flat(3, 3), None, None, 3.0)
    assert not found.cut.any()
    assert not found.said.any()
    assert "nothing says what lies beneath" in found.notes[0]
    assert not permitted_cut(flat(3, 3), Beneath("sheathing"), None, 3.0).cut.any()


@pytest.mark.parametrize("kind", ENGINEERED)
def test_engineered_members_are_never_planed(kind):
    found = permitted_cut(flat(3, 3), Beneath(kind, may_be_planed=True, most_planed=9), None, 3.0)
    assert not found.cut.any()
    assert "R502.8.2" in found.notes[0]
    if kind != "engineered":
        alone = permitted_cut(flat(3, 3), None, member_layout(0, 400, count=2, kind=kind), 3.0)
        assert not alone.cut.any()
        assert kind in alone.notes[0]


def test_the_notch_limits_of_a_sawn_joist():
    # IRC R502.8.1 as quoted: 1/6 of 240 mm = 40 mm, 1/4 = 60 mm at the ends, nothing in the middle third
    surface = flat(13, 2, 300.0)  # 0 to 3600 mm along y; middle third 1200 to 2400 mm
    joists = Beneath("sawn joist", True, most_planed=99, depth=240, span=(0, 3600), direction="y", ends=300)
    cut = permitted_cut(surface, joists, None, 3.0).cut[:, 0]
    assert cut[[0, 1]].tolist() == [60, 60]
    assert cut[[2, 3]].tolist() == [40, 40]
    # between nodes the cut runs out: at the deepest everywhere it is nothing all through the middle third
    inside = np.linspace(1200, 2400, 241)
    assert bilinear(surface.x, surface.y, np.column_stack([cut, cut]), np.array([0.0]), inside).max() == 0
    assert np.array_equal(cut, cut[::-1])
    shallow = permitted_cut(surface, Beneath("sawn joist", True, depth=240, span=(0, 3600), direction="y"), None, 3.0)
    assert shallow.cut.max() == 3.0


def test_each_bay_keeps_its_own_middle_third_and_nothing_lies_beyond_the_bearings():
    surface = flat(2, 26, 300.0)  # 0 to 7500 mm along x
    joists = Beneath("sawn joist", True, most_planed=9, depth=240, span=(300, 3900, 7200), direction="x")
    cut = permitted_cut(surface, joists, None, 3.0).cut[0]
    x = surface.x
    for low, high in ((1500, 2700), (5000, 6100)):
        assert not cut[(x >= low) & (x <= high)].any()
    assert cut[x == 300] == cut[x == 3900] == cut[x == 7200] == 9
    assert not cut[(x < 300) | (x > 7200)].any()


def test_members_fill_in_what_beneath_leaves_out():
    surface, said = flat(13, 2, 300.0), Beneath("sawn joist", True, most_planed=99)
    joists = member_layout(0, 300, "y", count=2, depth=240, start=0, end=3600)
    whole = Beneath("sawn joist", True, most_planed=99, depth=240, span=(0, 3600), direction="y")
    np.testing.assert_array_equal(
        permitted_cut(surface, said, joists, 3.0).cut, permitted_cut(surface, whole, None, 3.0).cut
    )
    unknown = permitted_cut(surface, said, None, 3.0)
    assert not unknown.cut.any()
    assert "depth and span and direction" in unknown.notes[0]
    with pytest.raises(ArgumentError, match="contradict"):
        permitted_cut(surface, said, member_layout(0, 300, count=2, kind="I-joist"), 3.0)


def test_of_several_the_later_holds_where_they_overlap():
    surface = flat(3, 5, 100.0)
    found = permitted_cut(
        surface, [Beneath("sheathing", True, 2.0), Beneath("slab", True, 5.0, area=box(150, -1, 401, 201))], None, 3.0
    )
    assert found.cut[1].tolist() == [2, 2, 5, 5, 5]
    assert found.framed[1].tolist() == [True, True, False, False, False]


@pytest.mark.parametrize(
    ("arguments", "words_of_it"),
    [
        ({"kind": "wood"}, "unknown kind"),
        ({"may_be_planed": "yes"}, "yes nor no"),
        ({"direction": "z"}, "direction"),
        ({"most_planed": -1}, "most_planed"),
        ({"depth": 0}, "depth"),
        ({"depth": math.inf}, "depth"),
        ({"ends": math.nan}, "ends"),
        ({"span": (0,)}, "span"),
        ({"span": (3600, 0)}, "span"),
        ({"area": (0, 1)}, "polygon"),
    ],
)
def test_what_cannot_lie_beneath(arguments, words_of_it):
    with pytest.raises(ArgumentError, match=words_of_it) as error:
        Beneath(**{"kind": "sheathing", **arguments})
    assert "expected" in str(error.value)
    with pytest.raises(ArgumentError, match="cannot be read"):
        permitted_cut(flat(2, 2), "slab", None, 3.0)
    assert set(ENGINEERED) < set(KINDS)


# actions


def test_each_action_by_depth_and_by_what_lies_beneath():
    change = np.array([[0.0, 2.0, -1.0, -5.0, 20.0, np.nan]] * 2)
    surface = make_surface(change * 0, FT)
    actions, _, _ = named(surface, change, beneath=Beneath("sheathing", True, 3.0))
    assert words(actions[:, :5])[0] == ["leave", "fill", "plane", "engineer", "sister"]
    assert (actions[:, 5] == OUTSIDE).all()
    assert words(named(surface, change)[0][:, :5])[0] == ["leave", "fill", "engineer", "engineer", "sister"]


@pytest.mark.parametrize(
    ("kind", "beneath", "deep"),
    [
        ("floor", None, "sister"),
        ("ceiling", None, "fur"),
        ("wall", None, "fur"),
        ("floor", "sawn joist", "sister"),
        ("floor", "slab", "fill"),
        ("ceiling", "slab", "fur"),
        ("wall", "masonry", "fur"),
    ],
)
def test_what_is_deep_is_framed_but_for_a_floor_slab(kind, beneath, deep):
    surface, change = flat(2, 2), np.full((2, 2), 20.0)
    said = Beneath(beneath) if beneath else None
    actions, permitted, chosen = named(surface, change, kind, said)
    assert words(actions)[0] == [deep, deep]
    note = patch_table(connected(actions, surface), change, surface, permitted, chosen)["note"][0]
    assert ("layers" in note) == (deep == "fill")


@pytest.mark.parametrize("kind", ["ceiling", "wall"])
def test_overhead_and_upright_strapping_comes_sooner_than_on_a_floor(kind):
    """By the numbers of the kit, which have no source: 1/4 in and 1/8 in, where a floor has 1/2 in and 1/4 in."""
    own, floor = thresholds_of(kind), thresholds_of()
    assert [own[name].value for name in ("deepest_fill", "thin_fill")] == [25.4 / 4, 25.4 / 8]
    assert [floor[name].value for name in ("deepest_fill", "thin_fill")] == [25.4 / 2, 25.4 / 4]
    assert all("no source" in own[name].source for name in ("deepest_fill", "thin_fill"))
    assert {name for name in own if own[name] != floor[name]} == {"deepest_fill", "thin_fill", "thinnest_fill"}
    # what the user sets holds on every surface
    assert thresholds_of(kind, deepest_fill=9.0)["deepest_fill"].source == SET_BY_YOU
    surface, change = flat(9, 9), np.zeros((9, 9))
    change[4, 4] = 8.0
    permitted = permitted_cut(surface, (), None, own["deepest_plane"].value)
    found = {
        name: ACTIONS[assign_actions(surface, change, name, permitted, thresholds_of(name), DENSITY)[4, 4]]
        for name in (kind, "floor")
    }
    assert found == {kind: "fur", "floor": "fill"}


def test_framing_carries_on_until_a_thin_fill_will_do():
    # thin 6.35 mm, deepest 12.7 mm: 8 mm beside 13 mm is framed with it, 8 mm on its own is filled
    change = np.array([[13.0, 8.0, 6.0, 0.0, 8.0]] * 2)
    assert words(named(flat(2, 5), change)[0])[0] == ["sister", "sister", "fill", "leave", "fill"]


def test_long_or_heavy_hollows_are_framed_where_they_are_not_thin():
    surface = flat(2, 12)
    eight = np.zeros((2, 12))
    eight[:, :10] = 8.0  # 9 ft from first to last node, over 8 ft
    assert "sister" in words(named(surface, eight)[0])[0]
    eight[:, 9] = 0.0  # 8 ft: not over
    assert "sister" not in words(named(surface, eight, heaviest_fill=math.inf)[0])[0]
    thin = np.full((2, 12), 6.0)
    assert set(words(named(surface, thin)[0])[0]) == {"fill"}
    # 8 mm over 8 x 1 ft and half of it under each end node: 0.743 m2 + ends, at 120 lb/ft3 = 1922 kg/m3
    mass = 8.5 * FT**2 * 8.0 * DENSITY
    for heaviest, framed in ((mass * 1.001, False), (mass * 0.999, True)):
        assert ("sister" in words(named(surface, eight, heaviest_fill=heaviest)[0])[0]) == framed


def test_thresholds_say_where_they_come_from():
    chosen = thresholds_of(deepest_fill=20.0, least_patch=None)
    assert chosen["deepest_fill"].source == SET_BY_YOU
    assert "no source" in chosen["least_patch"].source
    assert THRESHOLDS["deepest_fill"].value == 12.7
    assert thresholds_of(deepest_fill=3.0)["thin_fill"].value == 3.0
    with pytest.raises(ArgumentError, match=r"unknown argument[\s\S]*deepest_fill"):
        thresholds_of(deepest_fil=3.0)
    for bad in (-1.0, math.nan, "3", True):
        with pytest.raises(ArgumentError, match="deepest_fill out of range"):
            thresholds_of(deepest_fill=bad)


# patches


@pytest.mark.parametrize("seed", range(12))
def test_the_ground_of_every_node_is_the_area_it_stands_for(seed):
    rng = np.random.default_rng(seed)
    inside = rng.random((6, 7)) > 0.1 + 0.04 * seed
    surface = make_surface(np.where(inside, 0.0, np.nan), 150.0, x0=37.0, y0=-11.0)
    cells, area = Cells(surface), quarter_cells(inside, 150.0)
    for i, j in np.argwhere(inside):
        one = np.zeros_like(inside)
        one[i, j] = True
        ground = cells.ground(one)
        assert ground.area == pytest.approx(area[i, j], rel=1e-9)
        assert ground.buffer(1e-6).contains(shapely.Point(surface.x[j], surface.y[i]))
    assert cells.ground(inside).area == pytest.approx(area.sum(), rel=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_patches_are_whole_apart_and_in_order(seed):
    rng = np.random.default_rng([seed, 1])
    inside = rng.random((9, 12)) > 0.12
    surface = make_surface(np.where(inside, 0.0, np.nan), FT)
    change = np.where(inside, np.round(rng.normal(0, 9, inside.shape)) * (rng.random(inside.shape) > 0.3), np.nan)
    actions, permitted, chosen = named(surface, change, beneath=Beneath("sheathing", True, 5.0))
    table = patch_table(connected(actions, surface), change, surface, permitted, chosen)
    area = quarter_cells(inside, FT)
    changed = inside & (np.nan_to_num(change) != 0)
    assert table["area_mm2"].sum() == pytest.approx(area[changed].sum(), rel=1e-9)
    assert table["volume_mm3"].sum() == pytest.approx(float((area * np.abs(np.nan_to_num(change))).sum()), rel=1e-9)
    # a hair of half a square millimetre joins ground that meets in a point alone
    np.testing.assert_allclose([p.area for p in table["outline"]], table["area_mm2"], rtol=1e-9, atol=2.0)
    whole = shapely.union_all(table["outline"].to_numpy()).area
    assert whole == pytest.approx(sum(p.area for p in table["outline"]), rel=1e-9)  # they do not overlap
    assert {p.geom_type for p in table["outline"]} == {"Polygon"}
    assert table["name"].tolist() == [f"P{n}" for n in range(1, len(table) + 1)]
    order = [ACTIONS.index(name) for name in table["action"]]
    assert order == sorted(order)
    for row in table.itertuples():
        assert row.outline.contains(shapely.Point(row.x_mm, row.y_mm))
        assert (row.from_x_mm, row.from_y_mm, row.to_x_mm, row.to_y_mm) == row.outline.bounds
        at = round(row.deepest_y_mm / FT), round(row.deepest_x_mm / FT)
        assert change[at] == row.greatest_mm
        assert ACTIONS[actions[at]] == row.action
        assert abs(row.mean_mm) <= abs(row.greatest_mm) + 1e-9
        assert (row.greatest_mm > 0) == (row.action in ("sister", "fill"))
    nodes = np.sum([patch.nodes for patch in connected(actions, surface)], axis=0)
    np.testing.assert_array_equal(nodes, changed.astype(int))


def test_the_room_is_walked_to_and_fro():
    surface, change = flat(11, 11), np.zeros((11, 11))
    for row in (1, 5, 9):  # 1, 5 and 9 ft: in the first, second and third strip of 4 ft
        change[row, [1, 5, 9]] = 3.0
    table = patch_table(*_in_order(surface, change))
    assert np.round(table["deepest_x_mm"] / FT).tolist() == [1, 5, 9, 9, 5, 1, 1, 5, 9]


def _in_order(surface, change):
    actions, permitted, chosen = named(surface, change)
    return connected(actions, surface), change, surface, permitted, chosen


def test_nodes_that_touch_at_a_corner_alone_are_two_patches():
    change = np.zeros((4, 4))
    change[1, 1] = change[2, 2] = 3.0
    assert len(patch_table(*_in_order(flat(4, 4), change))) == 2
