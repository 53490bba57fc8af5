"""Bringing two surveys to one datum: planted offsets and tilts, benchmarks, what was declared, and doubt."""

import numpy as np
import pytest
from shapely import box

import comparison_rooms as pairs
import flatness
import simulated_rooms as rooms
from flatness.comparison import alignment
from flatness.comparison.alignment import align_surveys
from flatness.comparison.both import estimate_both
from flatness.comparison.comparing import compare
from flatness.errors import ArgumentError, MeasureError

pytestmark = pytest.mark.usefixtures("coarse_lattice")

FT = 304.8


def aligned(before, after, way, unchanged=None):
    return align_surveys(before, after, estimate_both(before, after, FT), way, unchanged)


@pytest.mark.parametrize(("way", "share"), [("offset", 0.0), ("offset", 0.5), ("tilt", 0.3)])
def test_planted_offset_and_tilt_are_recovered_within_the_stated_error(way, share):
    """95 in 100 within 1.96 errors, simulated; of 40, with three numbers each for a tilt, 34 at the least."""
    within = []
    for seed in range(40):
        rng = np.random.default_rng([seed, 9])
        height, _ = rooms.room(rooms.smooth, seed)
        offset, tilts = rng.normal(0, 20), rng.normal(0, 1, 2) if way == "tilt" else np.zeros(2)
        moved = height + pairs.changes(share, rng) + offset + (tilts[0] * pairs.GX + tilts[1] * pairs.GY) / 1000
        found = aligned(pairs.read(height, pairs.grid(4), [seed, 1]), pairs.read(moved, pairs.grid(4), [seed, 2]), way)
        off = [found.offset - offset - (tilts[0] * found.x + tilts[1] * found.y) / 1000]
        off += [found.tilt_x - tilts[0], found.tilt_y - tilts[1]] if way == "tilt" else []
        errors = [found.offset_error, found.tilt_x_error, found.tilt_y_error][: len(off)]
        assert all(error < 0.6 for error in errors) or found.rival is not None
        within.append(np.abs(off) <= 1.96 * np.array(errors))
    # binomial: 34 or fewer of 40 at 95 % has a chance of 1 %
    assert np.mean(within) >= 35 / 40


def test_most_of_the_floor_may_have_changed_to_one_side():
    height, _ = rooms.room(rooms.smooth, 3)
    ground = np.where(pairs.GY > 2700, height - 4.0 * np.minimum((pairs.GY - 2700) / 600, 1), height)
    before, after = pairs.read(height, pairs.grid(4), 1), pairs.read(ground + 12, pairs.grid(4), 2)
    # a mean would be pulled by two millimetres; here 45 % are unchanged, 45 % taken down evenly: a rival is named
    found = aligned(before, after, "offset")
    assert min(abs(found.offset - 12), abs(found.offset - 8)) < 0.6
    assert found.rival is not None
    assert min(abs(found.rival - 12), abs(found.rival - 8)) < 0.8
    assert any("in doubt" in problem for problem in found.problems)
    assert found.offset_error > 1
    told = aligned(before, after, "offset", box(-1, -1, 5000, 2500))
    assert told.offset == pytest.approx(12, abs=3 * told.offset_error)
    assert told.offset_error < 0.4
    assert told.problems == ()


def test_declared_places_by_area_label_and_place():
    height = np.zeros_like(pairs.GX)
    nodes = pairs.grid(8)
    labels = [f"P{k}" for k in range(len(nodes[0]))]
    moved = np.where(pairs.GX > 2500, height + 9, height) + 5
    before = pairs.read(height, nodes, 1, 0.2, label=labels)
    after = pairs.read(moved, nodes, 2, 0.2, label=labels)
    for unchanged in (box(0, 0, 2000, 7000), ["P0", "P5"], "P0", (0.0, 1219.2), [(0.0, 0.0), "P5", box(0, 0, 9, 9)]):
        found = aligned(before, after, "offset", unchanged)
        assert found.offset == pytest.approx(5, abs=4 * found.offset_error)
        assert found.offset_error < 0.35
    assert "1 area" in aligned(before, after, "offset", [box(0, 0, 2000, 7000)]).rests_on
    wrong = aligned(before, after, "offset", ["P0", "P4"])  # P4 was raised
    assert any("may have changed" in problem for problem in wrong.problems)


@pytest.mark.parametrize(
    ("unchanged", "way", "match"),
    [
        ("nowhere", "offset", "no station has this label"),
        ((90000.0, 0.0), "offset", "lies off"),
        ([object()], "offset", "not a place"),
        ([], "offset", "nothing was declared"),
        (box(310, 310, 400, 400), "offset", "no station lies"),
        (box(0, 0, 10, 7000), "tilt", "too few places"),
        (box(0, 0, 10, 10), "benchmarks", "not used"),
        (None, "sideways", "unknown way"),
    ],
)
def test_what_cannot_be_aligned_is_said(unchanged, way, match):
    height = np.zeros_like(pairs.GX)
    before, after = pairs.read(height, pairs.grid(8), 1), pairs.read(height, pairs.grid(8), 2)
    with pytest.raises((ArgumentError, MeasureError), match=match):
        aligned(before, after, way, unchanged)


FILE = """# unit: mm
# reading: drop
# accuracy: 0.4 mm
# benchmark: A = {a}
# benchmark: B = {b}
x,y,drop,label,kind
,,{drop_a},A,benchmark
,,{drop_b},B,benchmark
"""


def on_marks(line, a=100.0, b=50.0, name="k.csv"):
    text = FILE.format(a=a, b=b, drop_a=line - 100.0, drop_b=line - 50.0)
    rows = [
        f"{x},{y},{line - (0 if x < 1500 else 6)},,surface" for x in range(0, 3001, 500) for y in range(0, 3001, 500)
    ]
    return flatness.read_survey((text + "\n".join(rows) + "\n").encode(), name=name)


def test_on_shared_benchmarks_the_height_of_the_instrument_does_not_matter():
    before, after = on_marks(1000.0), on_marks(1234.5)
    found = compare(before, after)
    assert np.abs(found.difference).max() < 1e-6
    # closed form: two readings of 0.4 mm carry each day's datum
    assert found.alignment.offset_error == pytest.approx(np.hypot(0.4 / np.sqrt(2), 0.4 / np.sqrt(2)))
    assert found.volumes.loc["net", "systematic_mm3"] == pytest.approx(3000.0**2 * found.alignment.offset_error)
    assert "A, B" in found.alignment.rests_on


def test_benchmarks_given_new_heights_all_alike_are_followed_and_one_alone_is_an_error():
    before, after = on_marks(1000.0), on_marks(1000.0, a=130.0, b=80.0)  # a new zero, 30 mm lower
    found = compare(before, after)
    assert found.alignment.offset == pytest.approx(30)
    assert np.abs(found.difference).max() < 1e-6
    with pytest.raises(ArgumentError, match="moved apart"):
        compare(before, on_marks(1000.0, a=100.0, b=57.0))
    with pytest.raises(ArgumentError, match="share no benchmark"):
        compare(before, flatness.make_survey(*np.meshgrid([0.0, 900, 1800], [0.0, 900, 1800]), np.zeros(9)))


def test_a_string_has_no_level_and_a_free_tilt_leaves_none():
    height = np.zeros_like(pairs.GX)
    before = pairs.read(height, pairs.grid(8), 1)
    string = pairs.read(height + pairs.GX / 200, pairs.grid(8), 2, reference="string")
    with pytest.raises(ArgumentError, match="string"):
        aligned(before, string, "offset")
    found = compare(before, string, align="tilt")
    assert not found.alignment.is_level_known
    assert "level" in found.note
    assert np.abs(found.difference).max() < 2
    assert compare(before, before, align="offset").alignment.is_level_known


def test_the_biweight_is_the_one_of_the_literature(monkeypatch):
    # Brownlee's stack loss data; biweight regression at c = 4.685 with the scale of median absolute residuals, as R's
    # MASS::rlm(stack.loss ~ ., psi = psi.bisquare) prints it: -42.2853, 0.9275, 0.6507, -0.1123, scale 2.282
    # (from memory, reproduced)
    loss = [42, 37, 37, 28, 18, 18, 19, 20, 15, 14, 14, 13, 11, 12, 8, 7, 8, 8, 9, 15, 15]
    air = [80, 80, 75, 62, 62, 62, 62, 62, 58, 58, 58, 58, 58, 58, 50, 50, 50, 50, 50, 56, 70]
    water = [27, 27, 25, 24, 22, 23, 24, 24, 23, 18, 18, 17, 18, 19, 18, 18, 19, 19, 20, 20, 20]
    acid = [89, 88, 90, 87, 87, 87, 93, 93, 87, 80, 89, 88, 82, 93, 89, 86, 72, 79, 80, 82, 91]
    columns, y = np.column_stack([np.ones(21), air, water, acid]), np.array(loss, dtype=float)
    monkeypatch.setattr(alignment, "REACH", 4.685)
    theta = np.linalg.lstsq(columns, y, rcond=None)[0]
    for _ in range(200):
        scale = np.median(np.abs(y - columns @ theta)) / 0.6745
        theta = alignment._settle(columns, y, np.full(21, scale), theta)
    np.testing.assert_allclose(theta, [-42.2853, 0.9275, 0.6507, -0.1123], atol=1.5e-4)
    assert scale == pytest.approx(2.282, abs=5e-4)
