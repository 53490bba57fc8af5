"""Files of points: each kind gives the same points; what is wrong with one is said, with row and remedy.

Binary files are written here by the packages that define the practice of their formats (plyfile, laspy, pye57).
"""

import builtins
import re
import struct

import numpy as np
import pytest

import scanned_rooms as built
from flatness import read_scan
from flatness.__main__ import main
from flatness.errors import FlatnessError
from flatness.scans import text
from flatness.scans.files import open_points

POINTS = built.Scanned(boxes=()).points(3000)
GOOD = "1 2 3\n4 5 6\n7 8 9\n"


def read_all(path, unit=None):
    file = open_points(path, unit)
    return np.concatenate([block for _, block in file.blocks()]), file


def write_las(path, points, scale=0.0001, unit_key=None):
    laspy = pytest.importorskip("laspy")
    header = laspy.LasHeader(point_format=3, version="1.2")
    header.scales, header.offsets = [scale] * 3, [1.0, -2.0, 3.0]
    las = laspy.LasData(header)
    las.x, las.y, las.z = (points / 1000).T
    if unit_key is not None:
        keys = struct.pack("<4H", 1, 1, 0, 1) + struct.pack("<4H", 3076, 0, 1, unit_key)
        las.vlrs.append(laspy.VLR("LASF_Projection", 34735, "", keys))
    las.write(path)
    return path


def write_e57(path, points, **pose):
    library = pytest.importorskip("pye57")
    with library.E57(str(path), mode="w") as file:
        half = len(points) // 2
        for part in (points[:half], points[half:]):
            axes = dict(zip(("cartesianX", "cartesianY", "cartesianZ"), (part / 1000).T.copy(), strict=True))
            file.write_scan_raw(axes, **pose)
    return path


@pytest.mark.parametrize("text_form", ["%.4f", "%.6e"])
@pytest.mark.parametrize("mark", [" ", ",", "\t", " , ", ";"])
def test_text_with_blanks_or_commas(tmp_path, mark, text_form):
    path = tmp_path / "a.xyz"
    np.savetxt(path, POINTS / 1000, fmt=text_form, delimiter=mark)
    found, _ = read_all(path, "m")
    np.testing.assert_allclose(found, POINTS, atol=0.06)


def test_text_with_a_heading_more_columns_and_its_unit(tmp_path):
    path = tmp_path / "a.csv"
    rows = "".join(
        f"{k},{z / 304.8:.7f},{x / 304.8:.7f},{y / 304.8:.7f},wall\r\n" for k, (x, y, z) in enumerate(POINTS)
    )
    path.write_text(f"# scanned today\n# unit: ft\nid,Z,X,Y,kind\n{rows}", newline="")
    found, file = read_all(path)
    assert file.factor == pytest.approx(304.8)
    np.testing.assert_allclose(found, POINTS, atol=0.001)


def test_text_block_by_block(tmp_path, monkeypatch):
    path = built.write_xyz(tmp_path / "a.xyz", POINTS)
    whole, _ = read_all(path, "m")
    monkeypatch.setattr(text, "BYTES", 777)
    parts, _ = read_all(path, "m")
    np.testing.assert_array_equal(parts, whole)
    path.write_text(path.read_text() + "1 2\n")
    with pytest.raises(FlatnessError, match="row 3001"):
        read_all(path, "m")


@pytest.mark.parametrize("size", [1, 40, 5000])
def test_a_look_holds_points_of_the_file_from_all_through_it(tmp_path, monkeypatch, size):
    monkeypatch.setattr(text, "LOOK_BYTES", size)
    path = built.write_xyz(tmp_path / "a.xyz", POINTS)
    if size == 1:
        with pytest.raises(FlatnessError, match="no points"):
            open_points(path, "m").look()
        return
    found = np.round(open_points(path, "m").look(), 1)
    every = {tuple(row) for row in np.round(POINTS, 1)}
    assert all(tuple(row) in every for row in found)
    places = [np.flatnonzero(np.abs(POINTS - row).max(axis=1) < 0.06)[0] for row in found[:: max(1, len(found) // 50)]]
    assert min(places) < 300
    assert max(places) > 2700


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("kind", ["f4", "f8"])
def test_binary_ply(tmp_path, order, kind):
    library = pytest.importorskip("plyfile")
    table = np.zeros(len(POINTS), dtype=[("red", "u1"), ("x", kind), ("nx", "f4"), ("y", kind), ("z", kind)])
    for k, axis in enumerate("xyz"):
        table[axis] = POINTS[:, k]
    faces = np.array([([0, 1, 2],)], dtype=[("vertex_indices", "i4", (3,))])
    elements = [library.PlyElement.describe(part, name) for part, name in ((table, "vertex"), (faces, "face"))]
    path = tmp_path / "a.ply"
    library.PlyData(elements, byte_order=order, comments=["made here"]).write(path)
    found, file = read_all(path, "mm")
    assert file.count == len(POINTS)
    np.testing.assert_allclose(found, POINTS, rtol=1e-7 if kind == "f4" else 1e-12)


def test_ascii_ply(tmp_path):
    library = pytest.importorskip("plyfile")
    table = np.array([tuple(row) for row in POINTS], dtype=[(axis, "f8") for axis in "xyz"])
    path = tmp_path / "a.ply"
    library.PlyData([library.PlyElement.describe(table, "vertex")], text=True, comments=["unit: mm"]).write(path)
    found, _ = read_all(path)
    np.testing.assert_allclose(found, POINTS, rtol=1e-5)
    path.write_bytes(path.read_bytes()[:-2000].rsplit(b"\n", 1)[0] + b"\n")
    with pytest.raises(FlatnessError, match="ends before its last point"):
        read_all(path)


@pytest.mark.parametrize("ending", [".las", ".laz"])
def test_las_and_laz(tmp_path, ending):
    path = write_las(tmp_path / f"a{ending}", POINTS)
    found, _ = read_all(path, "m")
    np.testing.assert_allclose(found, POINTS, atol=0.051)
    assert len(open_points(path, "m").look()) == len(POINTS)


def test_las_that_states_its_unit(tmp_path):
    """GeoTIFF 1.1: key 3076, EPSG 9001 metre, 9002 foot, 9003 US survey foot of 1200/3937 m."""
    for code, mm in ((9001, 1000.0), (9002, 304.8), (9003, 1200 / 3937 * 1000)):
        path = write_las(tmp_path / f"{code}.las", POINTS, unit_key=code)
        _, file = read_all(path)
        assert file.factor == pytest.approx(mm)
    with pytest.raises(FlatnessError, match="another unit"):
        open_points(path, "m")


def test_e57_of_two_set_ups_with_their_pose(tmp_path):
    """A quarter turn about z takes (x, y) to (-y, x)."""
    half = np.sqrt(0.5)
    path = write_e57(tmp_path / "a.e57", POINTS, rotation=np.array([half, 0, 0, half]), translation=np.array([1, 2, 3]))
    found, file = read_all(path)
    assert file.count == len(POINTS)
    turned = np.column_stack([1000 - POINTS[:, 1], 2000 + POINTS[:, 0], 3000 + POINTS[:, 2]])
    np.testing.assert_allclose(found, turned, atol=0.01)


@pytest.mark.parametrize(
    ("rows", "row", "expected"),
    [
        (GOOD + "1 2\n4 5 6\n", 4, "a row of 2 values"),
        (GOOD + "1 2 3 4\n", 4, "a row of 4 values"),
        (GOOD + "\n1 2 3 4 5 6\n", 5, "a row of 6 values"),
        (GOOD + "1 nan 3\n", 4, "not all numbers"),
        (GOOD + "1 inf 3\n", 4, "not all numbers"),
        (GOOD + "1 2 3x\n", 4, "not all numbers"),
        (GOOD + "1,,3\n", 4, "a row of 2 values"),
        (GOOD + "# note\n", 4, "a row of 2 values"),
        ("1 2\n3 4\n", 1, "a row of 2 values"),
        ("a b c\n1 2 3\n", 1, "neither numbers nor a heading"),
        ("x y z\n1 2 3 4\n", 2, "a heading of 3 names"),
        ("1,5 2,5 3,5\n", 1, "cannot be told apart"),
        ("# unit: furlong\n1 2 3\n", 1, "unknown unit"),
    ],
)
def test_text_that_is_wrong_is_refused_with_its_row(tmp_path, rows, row, expected):
    path = tmp_path / "bad.xyz"
    path.write_text(rows)
    with pytest.raises(FlatnessError, match=expected) as raised:
        read_all(path, "m")
    (problem,) = raised.value.problems
    assert (problem.file, problem.row) == ("bad.xyz", row)
    assert problem.remedy
    with pytest.raises(FlatnessError, match=expected):
        read_scan(path, unit="m")


def _ply_head(count=3, kind="binary_little_endian", properties=("x", "y", "z"), more=""):
    lines = "".join(f"property float {name}\n" for name in properties)
    return f"ply\nformat {kind} 1.0\nelement vertex {count}\n{lines}{more}end_header\n".encode()


XYZ = np.arange(9, dtype="<f4").tobytes()


@pytest.mark.parametrize(
    ("name", "data", "expected"),
    [
        ("a.xyz", b"", "the file is empty"),
        ("a.xyz", b"# only this\n", "holds no points"),
        ("a.xyz", b"\0\1\2\0", "not text"),
        ("a.xyz", b"LASF" + bytes(300), "this is a .las or .laz file"),
        ("a.las", _ply_head() + XYZ, "this is a .ply file"),
        ("a.obj", GOOD.encode(), "not a kind of file"),
        ("a", GOOD.encode(), "not a kind of file"),
        ("a.las", GOOD.encode(), "cannot be read as LAS"),
        ("a.las", b"LASF" + bytes(10), "cannot be read as LAS"),
        ("a.e57", GOOD.encode(), "cannot be read as E57"),
        ("a.ply", GOOD.encode(), "this is no PLY file"),
        ("a.ply", _ply_head()[:-12], "this is no PLY file"),
        ("a.ply", _ply_head() + XYZ[:-1], "ends before its last point"),
        ("a.ply", _ply_head(0), "holds no points"),
        ("a.ply", _ply_head(properties=("x", "y")) + XYZ, "lack x, y or z"),
        ("a.ply", _ply_head(kind="zipped") + XYZ, "a line of the header that is not known"),
        ("a.ply", _ply_head(more="property list uchar int near\n") + XYZ, "a line of the header that is not known"),
        ("a.ply", _ply_head(kind="ascii", more="element face 2\n") + GOOD.encode(), "more than points"),
        ("a.ply", _ply_head(kind="ascii") + b"1 2 3\n4 5\n7 8 9\n", "a row of 2 values"),
        ("a.ply", _ply_head() + XYZ[:-4] + np.float32(np.nan).tobytes(), "a point that is nowhere"),
        ("a.ply", _ply_head() + XYZ[:-4] + np.float32(np.inf).tobytes(), "a point that is nowhere"),
    ],
)
def test_files_that_cannot_be_read_are_refused_with_a_remedy(tmp_path, name, data, expected):
    if name.endswith((".las", ".e57")):
        pytest.importorskip({"las": "laspy", "e57": "pye57"}[name[-3:]])
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(FlatnessError, match=expected) as raised:
        read_all(path, None if name.endswith("e57") else "m")
    (problem,) = raised.value.problems
    assert problem.file == name
    assert problem.remedy


@pytest.mark.parametrize("ending", [".las", ".laz", ".e57"])
@pytest.mark.parametrize("cut", [0.3, 0.6, 0.999])
def test_truncated_files_are_refused(tmp_path, ending, cut):
    write = write_e57 if ending == ".e57" else write_las
    path = write(tmp_path / f"a{ending}", POINTS)
    data = path.read_bytes()
    path.write_bytes(data[: int(cut * len(data))])
    with pytest.raises(FlatnessError, match=r"ends before|cannot be read as") as raised:
        read_all(path, None if ending == ".e57" else "m")
    assert raised.value.problems[0].remedy


def test_a_header_that_cannot_be_true_is_refused_at_once(tmp_path):
    """A count of records that would be followed for hours, and packs for which there is no memory."""
    path = write_las(tmp_path / "a.laz", POINTS)
    good = path.read_bytes()
    packs = good.index(b"laszip encoded") + 52 + 12  # where the record says how many points a pack has
    for place, form, value in ((100, "<I", 4_000_000_000), (96, "<I", 2**31), (packs, "<I", 2**31)):
        data = bytearray(good)
        struct.pack_into(form, data, place, value)
        path.write_bytes(data)
        with pytest.raises(FlatnessError, match="cannot be read as LAS"):
            read_all(path, "m")


@pytest.mark.parametrize("ending", [".xyz", ".ply", ".las", ".laz", ".e57"])
def test_a_mutant_of_a_file_gives_its_points_or_an_error_of_the_kit(tmp_path, ending):
    write = {".xyz": built.write_xyz, ".ply": built.write_ply, ".e57": write_e57}.get(ending, write_las)
    path = write(tmp_path / f"a{ending}", POINTS[:300])
    good, rng, refused = path.read_bytes(), np.random.default_rng(3), 0
    for _ in range(60):
        data = bytearray(good)
        k = int(rng.integers(0, min(len(data), 600)))
        change = bytes(rng.integers(0, 256, rng.integers(0, 8), dtype=np.uint8))
        data[k : k + int(rng.integers(0, 8))] = change
        path.write_bytes(data)
        try:
            found, _ = read_all(path, "m")
            assert np.isfinite(found).all()
        except FlatnessError:
            refused += 1
    assert refused > 5


def test_the_unit_is_never_guessed(tmp_path):
    path = built.write_xyz(tmp_path / "a.xyz", POINTS)
    with pytest.raises(FlatnessError, match="does not say the unit") as raised:
        open_points(path)
    assert "--unit" in raised.value.problems[0].remedy
    with pytest.raises(FlatnessError, match="unknown unit"):
        open_points(path, "yards")
    stated = built.write_ply(tmp_path / "a.ply", POINTS)
    assert open_points(stated).factor == 1000.0
    with pytest.raises(FlatnessError, match="another unit"):
        open_points(stated, "ft")


@pytest.mark.parametrize(
    ("true", "named", "told"),
    [("m", "mm", "span 4.1 x 3.5 x 2.6: .* but one with the unit m"), ("mm", "m", "but one with the unit mm")],
)
def test_another_unit_is_named_where_the_numbers_are_no_room(tmp_path, capsys, true, named, told):
    """14 ft x 12 ft x 9 ft, of which 96 % of the points are: 4.10 m, 3.51 m, 2.63 m."""
    points = np.random.default_rng(0).uniform(0, (built.LENGTH, built.WIDTH, built.HEIGHT), (20_000, 3))
    path = built.write_xyz(tmp_path / "a.xyz", points, true)
    assert main(["scan", str(path), "--unit", named]) == 2
    assert re.search(told, capsys.readouterr().err)


def test_a_room_of_another_unit_that_is_found_has_a_note(tmp_path):
    room = built.Scanned(boxes=(), door=None)
    path = built.write_xyz(tmp_path / "a.xyz", room.points(40_000))
    assert [note.key for note in read_scan(path, unit="ft").notes] == ["scan-unit", "scan-missing"]
    assert not read_scan(path, unit="m", cell=304.8).notes


@pytest.mark.parametrize(("package", "ending"), [("laspy", ".las"), ("lazrs", ".laz"), ("pye57", ".e57")])
def test_a_package_that_is_missing_is_named_with_the_remedy(tmp_path, monkeypatch, package, ending):
    path = (write_e57 if ending == ".e57" else write_las)(tmp_path / f"a{ending}", POINTS)
    real = builtins.__import__

    def no_package(name, *rest, **more):
        if name == package:
            raise ImportError(name, name=name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", no_package)
    with pytest.raises(FlatnessError, match=package) as raised:
        open_points(path, "m")
    assert "[scan]" in raised.value.problems[0].remedy


@pytest.mark.parametrize("what", ["nothing there", "a folder"])
def test_what_is_no_file_is_refused(tmp_path, capsys, what):
    path = tmp_path / "a.xyz"
    if what == "a folder":
        path.mkdir()
    assert main(["scan", str(path), "--unit", "m"]) == 2
    assert "cannot be read" in capsys.readouterr().err


def test_points_that_are_no_room_are_refused(tmp_path):
    rng = np.random.default_rng(0)
    far = rng.normal(0, 1, (500, 3))
    far[0] = 1e7
    for points, expected in ((rng.uniform(0, 1, (40, 3)), "no floor"), (far, "no floor|too wide")):
        path = built.write_xyz(tmp_path / "a.xyz", points * 1000)
        with pytest.raises(FlatnessError, match=expected) as raised:
            read_scan(path, unit="m")
        assert raised.value.problems[0].file == "a.xyz"


@pytest.mark.parametrize("axis", range(3))
def test_one_point_far_beyond_the_earth_changes_nothing(tmp_path, axis):
    points = built.Scanned(boxes=()).points(9000)
    scans = []
    for at in (1200.0, 9e13):  # within the room; so far off that no memory holds what lies between
        points[5] = 1000.0, 1000.0, 1200.0
        points[5, axis] = at
        scans.append(read_scan(built.write_xyz(tmp_path / "a.xyz", points), unit="m", cell=1000.0))
    near, far = scans
    assert far.size == pytest.approx(near.size, abs=1.0)
    assert {name: len(one.cells) for name, one in far.surfaces.items()} == {
        name: len(one.cells) for name, one in near.surfaces.items()
    }


def test_cells_that_are_too_many_or_too_small_are_refused(tmp_path, monkeypatch):
    path = built.write_xyz(tmp_path / "a.xyz", POINTS)
    with pytest.raises(FlatnessError, match="cells too small"):
        read_scan(path, unit="m", cell=1.0)
    # before memory is taken for them
    monkeypatch.setattr("flatness.scans.reading.MOST_BYTES", 1000)
    monkeypatch.setattr("flatness.scans.reading.Gatherer", None)
    with pytest.raises(FlatnessError, match="too many cells"):
        read_scan(path, unit="m")
