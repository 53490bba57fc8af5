"""Scans of rooms of known truth: planted faults, noise, furniture, a person, a tilted ceiling, a leaning wall.

The truth is the surface that the rays met (tests/scanned_rooms.py); expected values are of it alone.
"""

import json

import numpy as np
import pytest
from scipy import stats
from shapely import Point
from shapely.geometry import box

import scanned_rooms as built
from flatness import read_room, read_scan, read_survey
from flatness.__main__ import main
from flatness.errors import ArgumentError, FlatnessError
from flatness.scans.planes import find_planes

UP = built.Scanned().shift[2]


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    path = built.write_ply(tmp_path_factory.mktemp("scan") / "room.ply", built.Scanned().points(600_000))
    return read_scan(path)


def off_truth(scan, name, truth, shift=UP):
    """By how much cells stand off the truth in the scan's own frame [mm], and that in their own errors."""
    one = scan.surfaces[name]
    cells = one.cells
    z = scan.origin[2] + (cells["height"] if name == "floor" else one.datum - cells["height"])
    off = (z - shift - truth(cells["x"], cells["y"])).to_numpy()
    return off, off / cells["error"].to_numpy()


def test_all_six_surfaces_are_found_and_stand_where_the_room_has_them(scan):
    assert list(scan.surfaces) == ["floor", "ceiling", "wall A", "wall B", "wall C", "wall D"]
    assert np.degrees(scan.angle) == pytest.approx(17.0, abs=0.03)
    assert scan.size[:2] == pytest.approx((built.LENGTH, built.WIDTH + 4.5), abs=1.0)
    corner = built.Scanned().in_scan(np.array([[0.0, 0.0, built.fault_floor(built.LENGTH / 2, built.WIDTH / 2)]]))[0]
    assert scan.origin[:2] == pytest.approx(corner[:2], abs=2.0)
    assert scan.origin[2] == pytest.approx(corner[2], abs=0.5)
    assert scan.surfaces["ceiling"].datum == pytest.approx(built.HEIGHT - 12.5 + 3.0, abs=0.5)
    assert scan.points == 600_000
    assert not scan.notes


def test_the_walls_run_clockwise_left_to_right_as_seen_from_the_room(scan):
    lines = [scan.surfaces[f"wall {letter}"].line for letter in "ABCD"]
    assert all(one[1] == other[0] for one, other in zip(lines, lines[1:] + lines[:1], strict=True))
    corners = [(0, built.WIDTH), (built.LENGTH, built.WIDTH), (built.LENGTH, 0), (0, 0)]
    np.testing.assert_allclose([one[0] for one in lines], corners, atol=6.0)


@pytest.mark.parametrize(("name", "truth"), [("floor", built.fault_floor), ("ceiling", built.tilted_ceiling)])
def test_errors_are_as_large_as_the_cells_are_off(scan, name, truth):
    off, in_errors = off_truth(scan, name, truth)
    # of so many cells the mean square lies within these; 0.81 and 1.32: errors true within a tenth and 15 %
    assert 0.81 < np.mean(in_errors**2) < 1.32
    assert np.abs(in_errors).max() < 5.0
    accuracy = scan.surfaces[name].survey.accuracy
    assert np.sqrt(np.mean(off**2)) == pytest.approx(accuracy, rel=0.15)


def test_cells_are_biased_by_under_a_tenth_of_the_noise(scan):
    for name, truth in (("floor", built.fault_floor), ("ceiling", built.tilted_ceiling)):
        one = scan.surfaces[name]
        off, _ = off_truth(scan, name, truth)
        assert one.noise == pytest.approx(2.0, rel=0.1)
        assert abs(off.mean()) < 0.05 < 0.1 * one.noise
        for at in ((1200, 1300), (3300, 900)):  # where it curves most, and some furniture is near
            near = np.hypot(one.cells["x"] - at[0], one.cells["y"] - at[1]).to_numpy() < 400
            assert abs(off[near].mean()) < 0.15


@pytest.mark.parametrize("seed", range(4))
def test_planes_stand_where_the_surfaces_are_within_a_tenth_of_the_noise(seed):
    """Wherever the room lies in the file: once a plane was drawn toward the middle of the voxel that it was near."""
    shift = np.random.default_rng(seed).uniform(-5000, 5000, 3)
    room = built.Scanned(
        floor=lambda x, y: 0 * x,
        ceiling=lambda x, y: built.HEIGHT + 0 * x,
        far_wall=lambda x, z: built.WIDTH + 0 * x,
        noise=4.0,
        degrees=0.0,
        shift=shift,
    )
    planes = find_planes(room.points(100_000, seed))
    ends = {-1: (built.LENGTH, built.WIDTH, built.HEIGHT), 1: (0.0, 0.0, 0.0)}
    assert len(planes.found) == 6
    for plane in planes.found.values():
        at = plane.at(*(planes.middle[axis] for axis in plane.others)) + planes.origin[plane.axis] - shift[plane.axis]
        assert at == pytest.approx(ends[plane.sign][plane.axis], abs=0.1 * room.noise)


def test_walls_stand_off_their_line_as_they_lean(scan):
    one = scan.surfaces["wall A"]
    out = -(built.leaning_wall(one.cells["x"], one.cells["y"]) - built.WIDTH)
    off = (one.cells["height"] - out).to_numpy()
    assert np.polyfit(one.cells["y"], one.cells["height"], 1)[0] * built.HEIGHT == pytest.approx(-9.0, abs=0.2)
    assert np.std(off) == pytest.approx(one.survey.accuracy, rel=0.2)


def test_planted_faults_come_out_within_their_errors(scan):
    cells = scan.surfaces["floor"].cells
    plane = -6.0 * cells["x"] / built.LENGTH
    base = np.median(cells["height"] - built.fault_floor(cells["x"], cells["y"]))
    for at, high in (((1200, 1300), 10.0), ((3300, 900), -8.0)):
        near = np.hypot(cells["x"] - at[0], cells["y"] - at[1]).idxmin()
        found = cells["height"][near] - plane[near] - base
        true = built.fault_floor(cells["x"][near], cells["y"][near]) - plane[near]
        assert abs(true) > 0.8 * abs(high)
        assert found == pytest.approx(true, abs=4 * cells["error"][near])


def test_furniture_and_a_person_are_left_out_and_stated_as_openings(scan):
    floor = scan.surfaces["floor"]
    stations = [Point(x, y) for x, y in zip(floor.cells["x"], floor.cells["y"], strict=True)]
    for name in ("CLOSET", "CHEST"):
        x0, y0, _, x1, y1, _ = getattr(built, name)
        thing = box(x0 + 80, y0 + 80, x1 - 80, y1 - 80)
        assert not any(thing.covers(one) for one in stations)
        assert any(opening.intersection(thing).area > 0.9 * thing.area for opening in floor.survey.openings)
    x0, y0, _, x1, y1, _ = built.PERSON[0]
    assert not any(box(x0, y0, x1, y1).covers(one) for one in stations)
    assert not any(opening.covers(one) for opening in floor.survey.openings for one in stations)
    door = scan.surfaces["wall C"].survey
    left, right, top = built.DOOR
    seen = box(built.LENGTH - right + 80, 80, built.LENGTH - left - 80, top - 80)  # x runs the other way there
    assert any(opening.intersection(seen).area > 0.95 * seen.area for opening in door.openings)


def test_cells_hold_no_fewer_points_than_an_estimate_needs(scan):
    for one in scan.surfaces.values():
        assert one.cells["points"].min() >= 12
        assert np.isfinite(one.cells.to_numpy()).all()


def test_what_is_written_reads_back_and_makes_a_room(scan, tmp_path):
    written = scan.write(tmp_path, scan_error=1.0)
    assert len(written) == 13
    for one in scan.surfaces.values():
        path = tmp_path / f"{one.name.lower().replace(' ', '-')}.csv"
        again = read_survey(path)
        np.testing.assert_allclose(np.column_stack(again.xyz()), np.column_stack(one.survey.xyz()))
        assert (again.accuracy, again.surface) == (one.survey.accuracy, one.survey.surface)
        table = np.genfromtxt(tmp_path / f"{path.stem}-cells.csv", delimiter=",", names=True)
        np.testing.assert_allclose(table["error_mm"], one.cells["error"], rtol=1e-4)
    room = read_room(tmp_path / "room.toml")
    assert list(room.surfaces) == list(scan.surfaces)
    ceiling = room.surfaces["ceiling"]
    assert (ceiling.level.height, ceiling.level.error) == (scan.surfaces["ceiling"].datum, 1.0)
    assert room.surfaces["wall B"].wall.start == scan.surfaces["wall B"].line[0]
    with pytest.raises(FlatnessError, match="of this name already"):
        scan.write(tmp_path)
    other = tmp_path / "other"
    other.mkdir()
    (other / "room.toml").write_text("mine")
    with pytest.raises(FlatnessError, match="of this name already"):
        scan.write(other)
    assert [path.name for path in other.iterdir()] == ["room.toml"]  # all of them or none
    with pytest.raises(ArgumentError, match="not an error"):
        scan.write(tmp_path, scan_error=-1.0, overwrite=True)


def test_the_order_of_the_points_does_not_matter(tmp_path):
    """Scanners and programs sort points in many ways; the look is spread through the file."""
    room = built.Scanned(noise=1.0, outliers=0.0, boxes=(), door=None)
    points = room.points(150_000)
    found = [
        read_scan(built.write_ply(tmp_path / f"{k}.ply", points[order]))
        for k, order in enumerate((np.argsort(points[:, 2]), np.argsort(points[:, 0])))
    ]
    one, other = (scan.surfaces["floor"].cells.set_index(["x", "y"]) for scan in found)
    assert list(found[0].surfaces) == list(found[1].surfaces)
    assert len(one) == pytest.approx(len(other), abs=5)


def small(tmp_path, points=120_000, **options):
    """A scan of the room with coarse cells, and the room."""
    room = built.Scanned(**options)
    return read_scan(built.write_ply(tmp_path / "small.ply", room.points(points)), cell=304.8), room


@pytest.mark.parametrize("degrees", [0.0, -30.0, 44.0, 89.0])
def test_a_room_is_found_however_it_is_turned(tmp_path, degrees):
    scan, _ = small(tmp_path, degrees=degrees, shift=(5e8, -4e9, 1e5))
    assert len(scan.surfaces) == 6
    size = (built.LENGTH, built.WIDTH + 4.5)
    assert scan.size[:2] == pytest.approx(size if degrees < 45 else size[::-1], abs=2.0)
    assert (np.degrees(scan.angle) - degrees) % 90 == pytest.approx(0, abs=0.05) or degrees == 0
    assert abs(np.degrees(scan.angle)) < 45.01


def test_a_wardrobe_before_a_wall_is_not_the_wall(tmp_path):
    """It is larger than what is seen of the wall; its top is under the ceiling, which goes on to the wall."""
    scan, _ = small(tmp_path, boxes=((0.0, 500.0, 0.0, 600.0, 2800.0, 2200.0),))
    assert scan.size[0] == pytest.approx(built.LENGTH, abs=3.0)
    assert len(scan.surfaces["wall D"].cells) < 0.6 * len(scan.surfaces["wall B"].cells)


def test_a_room_without_a_ceiling_has_no_closet_top_for_one(tmp_path):
    scan, _ = small(tmp_path, keep=("floor", "walls"))
    assert list(scan.surfaces) == ["floor", "wall A", "wall B", "wall C", "wall D"]
    assert [note.key for note in scan.notes] == ["scan-missing"]


def test_a_scan_that_is_not_plumb_is_said_to_lean(tmp_path):
    """Turned by half a degree about y: 8.7 mm/m."""
    turn = np.radians(0.5)
    about = np.array([[np.cos(turn), 0, np.sin(turn)], [0, 1, 0], [-np.sin(turn), 0, np.cos(turn)]])
    room = built.Scanned(floor=lambda x, y: 0.0 * x, ceiling=lambda x, y: built.HEIGHT + 0.0 * x, degrees=0.0)
    path = built.write_ply(tmp_path / "leans.ply", room.points(120_000) @ about.T)
    notes = read_scan(path, cell=304.8).notes
    assert [note.key for note in notes] == ["scan-leans"]
    assert notes[0].values["tilt"] == pytest.approx(1000 * np.tan(turn), rel=0.05)


def test_a_floor_alone_is_a_room_of_one_surface(tmp_path):
    room = built.Scanned(boxes=(), door=None, keep=("floor",), degrees=0.0, outliers=0.0)
    scan = read_scan(built.write_ply(tmp_path / "floor.ply", room.points(200_000)))
    assert list(scan.surfaces) == ["floor"]
    (note,) = scan.notes
    assert note.key == "scan-missing"
    _, in_errors = off_truth(scan, "floor", built.fault_floor)
    assert np.mean(in_errors**2) < 1.5
    assert scan.size[:2] == pytest.approx((built.LENGTH, built.WIDTH), abs=25.0)


def test_a_grid_of_whole_millimetres_does_not_bias_the_cells(tmp_path):
    """Points written to a millimetre on a level floor: half a bin off is a quarter of a millimetre."""
    room = built.Scanned(
        boxes=(),
        door=None,
        degrees=0.0,
        outliers=0.0,
        shift=(0.0, 0.0, 0.0),
        floor=lambda x, y: 0.3 + 0.0 * x,
        ceiling=lambda x, y: 2700.3 + 0.0 * x,
    )
    path = built.write_ply(tmp_path / "whole.ply", np.round(room.points(400_000)))
    scan = read_scan(path)
    heights = {name: scan.surfaces[name].cells["height"].mean() for name in ("floor", "ceiling")}
    up = scan.origin[2]
    assert up + heights["floor"] == pytest.approx(0.3, abs=0.05)
    assert up + scan.surfaces["ceiling"].datum - heights["ceiling"] == pytest.approx(2700.3, abs=0.08)


def test_an_m_estimate_and_its_error_agree_with_draws():
    """Standard error of the biweight against the spread of 400 samples; efficiency 0.95 (Holland and Welsch 1977)."""
    from flatness.scans.cells import BIN_MM, biweight

    rng = np.random.default_rng(1)
    edges = np.arange(-75, 75.5, BIN_MM) - BIN_MM / 2
    samples = rng.normal(0, 2.0, (400, 500))
    table = np.array([np.histogram(one, edges)[0] for one in samples]).astype(np.float32)
    center, error, own = biweight(table, np.full(400, 150.0), np.full(400, 2.0))
    found, spread = center * BIN_MM - 75.0, error * BIN_MM
    low, high = np.sqrt(stats.chi2.ppf([0.001, 0.999], 399) / 399)
    assert low < np.std(found) / np.sqrt(np.mean(spread**2)) < high
    assert np.std(found) == pytest.approx(2.0 / np.sqrt(500 * 0.95), rel=0.12)
    assert own.min() > 0.98


def test_means_of_cells_of_a_parabola_come_to_its_middles():
    """Closed form: the mean of a + b x2 + c y2 over a square of side h is off its middle by (b + c) h2 / 12."""
    from flatness.scans.cells import to_middles

    y, x = (np.arange(-3, 4.0)[:, None], np.arange(-3, 4.0)[None, :])
    true = 0.5 * x**2 - 0.2 * y**2 + 0.3 * x
    mean = true + (0.5 - 0.2) / 12
    zero = np.zeros(mean.shape)
    height, error = to_middles(mean, np.ones(mean.shape), zero, zero)
    np.testing.assert_allclose(height[1:-1, 1:-1], true[1:-1, 1:-1], atol=1e-12)
    # weights 1 + 4/24 of the cell and -1/24 of each of four neighbours
    assert error[3, 3] == pytest.approx(np.hypot(28 / 24, 2 / 24))


@pytest.mark.usefixtures("coarse_lattice")
def test_the_command_says_what_was_found_and_writes_it(tmp_path, capsys):
    room = built.Scanned(boxes=(), door=None)
    path = built.write_xyz(tmp_path / "hall.xyz", room.points(60_000), "ft")
    assert main(["scan", str(path), "--unit", "ft", "--cell", "18in", "--out", str(tmp_path / "out")]) == 0
    told = capsys.readouterr()
    assert told.out.startswith("6 surfaces found in hall.xyz, of a room 14'")
    assert "100%, 60,000 points" in told.err
    survey = tmp_path / "out" / "floor.csv"
    code = main(["check", str(survey), "--straightedge", "10ft", "--allowed", "3/16", "--json"])
    found = json.loads(capsys.readouterr().out)
    assert (code, found["verdict"]) == (1, "fail")  # a hump of 10 mm, where 4.8 mm is allowed
    assert main(["room", str(tmp_path / "out" / "room.toml"), "--json"]) in (0, 1, 3)
    room = json.loads(capsys.readouterr().out)
    # the wall of greatest y leans 9 mm over its height: of what was read of it
    lean = next(row for row in room["checks"] if row["what"] == "plumb" and "wall A" in row["where"])
    assert lean["likely_mm"] == pytest.approx(9.0 * 8 / 9, abs=1.0)
    # the ceiling falls 25 mm across the room, the floor 6 mm along it
    assert room["clear_height"]["least_mm"] == pytest.approx(built.HEIGHT - 25, abs=5.0)


def test_the_command_as_json(tmp_path, capsys):
    path = built.write_xyz(tmp_path / "hall.txt", built.Scanned(boxes=()).points(50_000), "m")
    assert main(["scan", str(path), "--unit", "m", "--cell", "300mm", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [one["name"] for one in found["surfaces"]][:2] == ["floor", "ceiling"]
    assert found["cell_mm"] == 300.0
    assert found["written"] == []
