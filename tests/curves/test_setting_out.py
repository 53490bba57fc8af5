"""What is marked on the floor, against the curve's own equation; plates against their outlines."""

import math

import numpy as np
import pytest
from shapely import Polygon

from flatness.curves.making import make_arc, make_chain, make_ellipse, make_oval
from flatness.curves.setting_out import cut_plates, set_out
from flatness.errors import ArgumentError, MeasureError


def test_offsets_of_an_arc_from_its_chord():
    # a circle of r = 36.5 in over a chord of 48 in rises 9 in: (24^2 + 9^2) / 18
    inch, r = 25.4, 36.5 * 25.4
    found = set_out(make_arc(chord=48 * inch, rise=9 * inch), every=6 * inch)
    marks = np.arange(0, 49, 6) * inch
    assert found.offsets["along_mm"].to_numpy() == pytest.approx(marks)
    expected = np.sqrt(r**2 - (marks - 24 * inch) ** 2) - (r - 9 * inch)
    assert found.offsets["offset_mm"].to_numpy() == pytest.approx(expected, abs=1e-8)
    assert found.rise == pytest.approx(9 * inch)
    centre = found.centres.iloc[0]
    assert centre["radius_mm"] == pytest.approx(r)
    # the half angle has the sine of half the chord over the radius
    assert centre["angle_deg"] == pytest.approx(2 * math.degrees(math.asin(24 * inch / r)))
    assert found.length == pytest.approx(r * math.radians(centre["angle_deg"]))


def test_offsets_of_an_ellipse_from_its_long_axis():
    a, b = 3048.0, 2133.6
    found = set_out(make_ellipse(length=2 * a, width=2 * b), every=152.4)
    x = found.offsets["along_mm"].to_numpy() - a
    assert found.offsets["offset_mm"].to_numpy() == pytest.approx(b * np.sqrt(1 - (x / a) ** 2), abs=1e-4)
    assert found.pins_apart == pytest.approx(math.sqrt(4 * a * a - 4 * b * b))
    assert found.string == 2 * a
    assert found.loop == pytest.approx(found.string + found.pins_apart)


def test_studs_stand_at_equal_distances_along_the_curve():
    oval = make_oval(length=6096.0, width=4267.2)
    found = set_out(oval, studs=406.4)
    assert found.spacing <= 406.4
    assert found.spacing * len(found.studs) == pytest.approx(oval.length)
    # along many short chords
    fine = oval.at(np.linspace(0, oval.length, 200_001))
    walked = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(fine, axis=0).T))])
    for stud in found.studs.iloc[::7].itertuples():
        place = fine[np.abs(walked - stud.s_mm).argmin()]
        assert [stud.x_mm, stud.y_mm] == pytest.approx(place, abs=0.1)
    first, second = found.studs[["x_mm", "y_mm"]].to_numpy()[:2]
    assert found.studs["step_mm"].iloc[0] == pytest.approx(math.dist(first, second))
    # square to the curve, and inside
    angle = np.radians(found.studs["faces_deg"])
    inward = found.studs[["x_mm", "y_mm"]].to_numpy() + 10 * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    assert oval.nearest(*inward.T)[1] == pytest.approx(np.full(len(inward), 10.0), abs=1e-8)


def test_the_centres_of_an_oval_serve_one_turn():
    oval = make_oval(length=6096.0, width=4267.2, small_radius=1500.0)
    centres = set_out(oval).centres
    assert len(centres) == 4
    assert centres["angle_deg"].sum() == pytest.approx(360)
    assert centres["length_mm"].sum() == pytest.approx(oval.length)
    for row in centres.itertuples():
        for angle in np.radians([row.from_deg, row.to_deg, row.from_deg + row.angle_deg / 2]):
            x, y = row.x_mm + row.radius_mm * math.cos(angle), row.y_mm + row.radius_mm * math.sin(angle)
            assert abs(oval.nearest(x, y)[1]) < 1e-8


def test_the_parallel_stands_square_off_every_stud():
    ellipse = make_ellipse(length=2000.0, width=1200.0)
    found = set_out(ellipse, studs=200.0, parallel=75.0)
    gap = found.parallel[["x_mm", "y_mm"]].to_numpy() - found.studs[["x_mm", "y_mm"]].to_numpy()
    assert np.hypot(*gap.T) == pytest.approx(np.full(len(gap), 75.0))
    # its radius: by the circle through three places of it close together
    for row in found.parallel.iloc[::5].itertuples():
        p, q, r = ellipse.offset_at(row.s_mm + np.array([-0.5, 0.0, 0.5]), 75.0)
        sides = math.dist(p, q), math.dist(q, r), math.dist(p, r)
        area = abs(np.linalg.det([q - p, r - p])) / 2
        assert row.radius_mm == pytest.approx(math.prod(sides) / (4 * area), rel=1e-3)
    with pytest.raises(MeasureError, match="fold over itself"):
        set_out(ellipse, parallel=400.0)  # 600^2 / 1000 = 360 mm at its ends


def test_offsets_need_one_place_over_each_mark():
    assert len(set_out(make_arc(radius=900.0, first=0.0, last=250.0)).offsets) == 0
    with pytest.raises(ArgumentError, match="above zero"):
        set_out(make_arc(radius=900.0), every=0.0)


@pytest.mark.parametrize(
    "curve",
    [
        make_arc(chord=1219.2, rise=228.6),
        make_oval(length=6096.0, width=4267.2),
        make_ellipse(length=6096.0, width=4267.2),
        make_chain([(1200, 0), (1400, 900), (600, 0), (900, -700)]),
    ],
    ids=["arc", "oval", "ellipse", "chain"],
)
def test_plates_fit_their_sheets_and_make_the_curve(curve):
    cuts = cut_plates(curve, 88.9, (2438.4, 1219.2), layers=2, kerf=6.35)
    shapes = [Polygon(outline) for outline in cuts.outlines]
    for i, one in enumerate(shapes):
        x0, y0, x1, y1 = one.bounds
        assert x0 >= 0
        assert y0 >= 0
        assert x1 <= 2438.4
        assert y1 <= 1219.2
        for j in range(i):
            if cuts.pieces["sheet"][i] == cuts.pieces["sheet"][j]:
                assert one.distance(shapes[j]) > 3  # the kerf, less where pieces lean on one another at a slope
    for layer in (1, 2):
        own = cuts.pieces[cuts.pieces["layer"] == layer]
        assert (own["to_mm"] - own["from_mm"]).sum() == pytest.approx(curve.length)
    area = sum(shape.area for shape in shapes)
    assert area == pytest.approx(2 * curve.length * 88.9, rel=1e-3)
    assert cuts.waste == pytest.approx(1 - area / (cuts.sheets * 2438.4 * 1219.2), abs=1e-3)
    one, other = (set(cuts.pieces.loc[cuts.pieces["layer"] == k, "from_mm"].round(3)) - {0.0} for k in (1, 2))
    assert not one & other
    if not math.isnan(cuts.joint):
        assert cuts.joint > 200


def test_a_sheet_too_small_for_any_piece_is_said():
    with pytest.raises(MeasureError, match="no piece"):
        cut_plates(make_arc(radius=900.0), 200.0, (150.0, 150.0))
