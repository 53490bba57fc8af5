"""Curves against closed forms, SciPy's integrals, definitions and brute force."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import ellipe

from flatness.curves.making import make_arc, make_chain, make_ellipse, make_oval, read_curve
from flatness.curves.shapes import sagitta
from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import parse_length

ELLIPSE = make_ellipse(length=6096.0, width=4267.2, centre=(150.0, -80.0), turned=25.0)
OVAL = make_oval(length=6096.0, width=4267.2, centre=(150.0, -80.0), turned=25.0)
CHAIN = make_chain([(1200, 0), (1400, 900), (600, 0), (900, -700), (500, 0)], start=(10, 20), heading=10)
ARC = make_arc(radius=900.0, centre=(100.0, 50.0), first=20.0, last=250.0)
ALL = pytest.mark.parametrize("curve", [ELLIPSE, OVAL, CHAIN, ARC], ids=["ellipse", "oval", "chain", "arc"])


def test_sagitta_in_its_exact_form_and_nearly():
    # a chord of 6 in a circle of 5: 5 - sqrt(25 - 9) = 1, the 3-4-5 triangle
    assert sagitta(6.0, 5.0) == pytest.approx(1.0, abs=1e-15)
    for chord, radius in ((1219.2, 3657.6), (3000.0, 2000.0)):
        assert sagitta(chord, radius) == pytest.approx(radius - math.sqrt(radius**2 - chord**2 / 4), rel=1e-12)
    # c2 / 8 r: 3 m and 1000 m give 1.125 mm
    assert sagitta(3000.0, 1e6) == pytest.approx(1.125, rel=1e-5)
    assert sagitta(3048.0, 1e6) == pytest.approx(1.161288, rel=1e-5)
    with pytest.raises(ArgumentError, match="no such arc"):
        sagitta(11.0, 5.0)


def test_an_arc_over_a_chord_has_that_chord_and_that_rise():
    for rise in (228.6, -228.6, 900.0):
        arc = make_arc(chord=1219.2, rise=rise)
        ends = sorted(map(tuple, np.round(arc.at([0, arc.length]), 6) + 0.0))
        assert ends == [(0.0, 0.0), (1219.2, 0.0)]
        assert arc.at(arc.length / 2) == pytest.approx([609.6, rise], abs=1e-9)
        assert arc.radius - math.copysign(1, 609.6 - abs(rise)) * math.sqrt(arc.radius**2 - 609.6**2) == pytest.approx(
            abs(rise)
        )


def test_perimeter_of_an_ellipse():
    a, b = 3048.0, 2133.6
    assert ELLIPSE.length == pytest.approx(4 * a * ellipe(1 - (b / a) ** 2), rel=1e-14)
    part, _ = quad(lambda t: math.hypot(a * math.sin(t), b * math.cos(t)), 0, 1.0, epsabs=1e-10)
    x, y = a * math.cos(1.0), b * math.sin(1.0)
    angle = math.radians(25)
    place = [150 + x * math.cos(angle) - y * math.sin(angle), -80 + x * math.sin(angle) + y * math.cos(angle)]
    assert ELLIPSE.at(part) == pytest.approx(place, abs=1e-8)


def test_pins_and_string_draw_the_ellipse():
    (one, other), apart, loop = ELLIPSE.pins
    # as the trade has it: sqrt(W2 - H2) apart, and the loop that plus W
    assert apart == pytest.approx(math.sqrt(6096.0**2 - 4267.2**2))
    assert math.dist(one, other) == pytest.approx(apart)
    assert loop == pytest.approx(apart + 6096.0)
    for x, y in ELLIPSE.at(np.linspace(0, ELLIPSE.length, 37)):
        assert math.dist((x, y), one) + math.dist((x, y), other) == pytest.approx(6096.0, abs=1e-8)


@pytest.mark.parametrize("small", [None, 900.0, 2000.0])
def test_the_arcs_of_an_oval_are_tangent(small):
    oval = make_oval(length=6096.0, width=4267.2, small_radius=small)
    for s in oval.joins:
        before, after = oval.at([s - 1e-9, s + 1e-9])
        assert before == pytest.approx(after, abs=1e-8)
        turn = math.remainder(float(np.subtract(*oval.heading([s + 1e-9, s - 1e-9]))), 2 * math.pi)
        assert abs(turn) < 1e-9
    assert len(oval.joins) == 4
    assert oval.kink_table["kink_deg"].abs().max() < 1e-9
    # both centres and the joint lie on one line
    for k, s in enumerate(oval.joins):
        c0, c1, joint = oval.centre_of(k), oval.centre_of((k + 1) % 4), oval.at(s)
        assert abs(np.linalg.det([np.subtract(c1, c0), joint - c0])) / math.dist(c0, c1) < 1e-9
    # it goes through the ends of both axes
    for place in ((3048, 0), (0, 2133.6), (-3048, 0), (0, -2133.6)):
        assert abs(oval.nearest(*place)[1]) < 1e-9
    assert oval.axes == pytest.approx((3048.0, 2133.6))
    assert oval.centre == pytest.approx((0, 0), abs=1e-9)


def test_the_draftsmans_oval():
    """The construction itself: strike a - b off the diagonal, erect the bisector of the rest."""
    a, b = 3048.0, 2133.6
    corner, top = np.array([a, 0]), np.array([0, b])
    struck = top + (corner - top) * (a - b) / np.hypot(a, b)
    middle, across = (corner + struck) / 2, corner - struck
    x = middle @ across / across[0]  # where the bisector cuts the long axis
    y = middle @ across / across[1]  # and the short one, prolonged
    oval = make_oval(length=2 * a, width=2 * b)
    assert oval.centre_of(0) == pytest.approx((x, 0), abs=1e-9)
    assert oval.centre_of(1) == pytest.approx((0, y), abs=1e-9)


@ALL
def test_what_is_set_off_is_found_again(curve):
    s = np.linspace(0.02, 0.98, 41) * curve.length
    for offset in (0.0, 35.0, -60.0):
        along, found = curve.nearest(*curve.offset_at(s, offset).T)
        assert along == pytest.approx(s, abs=1e-6)
        assert found == pytest.approx(np.full(41, offset), abs=1e-8)


@ALL
def test_nearest_against_trying_every_place(curve):
    rng = np.random.default_rng(3)
    low, high = (
        curve.at(np.linspace(0, curve.length, 200)).min(axis=0),
        curve.at(np.linspace(0, curve.length, 200)).max(axis=0),
    )
    fine = curve.at(np.linspace(0, curve.length, 40001))
    checked = 0
    for x, y in rng.uniform(low, high, (60, 2)):
        s, off = curve.nearest(x, y)
        if not 0 <= s <= curve.length:
            continue  # beyond an end the curve goes on, which the places tried do not
        checked += 1
        assert abs(off) == pytest.approx(np.hypot(*(fine - [x, y]).T).min(), abs=0.3)
    assert checked > 30


@ALL
def test_heading_and_curvature_against_differences(curve):
    s = np.linspace(0.031, 0.969, 53) * curve.length
    s = s[[np.abs(curve.joins - one).min() > 1 for one in s]] if curve.kind in ("oval", "chain") else s
    h = 0.01
    ahead, behind = curve.at(s + h), curve.at(s - h)
    tangent = (ahead - behind) / (2 * h)
    assert np.hypot(*tangent.T) == pytest.approx(np.ones(len(s)), abs=1e-6)  # it is told by distance along
    heading = curve.heading(s)
    assert np.cos(heading) == pytest.approx(tangent[:, 0], abs=1e-6)
    assert np.sin(heading) == pytest.approx(tangent[:, 1], abs=1e-6)
    turn = np.remainder(curve.heading(s + 1) - curve.heading(s - 1) + math.pi, 2 * math.pi) - math.pi
    assert curve.curvature(s) == pytest.approx(turn / 2, abs=1e-7)


def test_the_parallel_of_an_ellipse_against_finite_differences():
    a, b, d = 3048.0, 2133.6, 101.6
    ellipse = make_ellipse(length=2 * a, width=2 * b)
    t, h = np.linspace(0.1, 6.2, 40), 1e-5

    def place(t):
        return np.stack([a * np.cos(t), b * np.sin(t)], axis=-1)

    def parallel(t):
        tangent = (place(t + h) - place(t - h)) / (2 * h)
        left = np.stack([-tangent[:, 1], tangent[:, 0]], axis=-1)
        return place(t) + d * left / np.hypot(*tangent.T)[:, None]

    s = ellipse.nearest(*place(t).T)[0]
    assert ellipse.offset_at(s, d) == pytest.approx(parallel(t), abs=1e-5)
    # and it is no ellipse: the one with axes shorter by d lies elsewhere
    smaller = make_ellipse(length=2 * (a - d), width=2 * (b - d))
    assert np.abs(smaller.nearest(*parallel(t).T)[1]).max() > 1.0


def test_the_parallel_of_a_chain_is_a_chain_at_that_distance():
    for curve in (OVAL, CHAIN):
        inner = curve.parallel(50.0)
        off = curve.nearest(*inner.at(np.linspace(0.01, 0.99, 60) * inner.length).T)[1]
        assert off == pytest.approx(np.full(60, 50.0), abs=1e-8)
    with pytest.raises(MeasureError, match="fold over itself"):
        ELLIPSE.check_parallel(2133.6**2 / 3048 + 1)


def test_a_chain_says_where_it_joins_and_by_how_much_it_kinks():
    bent = make_chain([(1000, 0), (800, 600), (500, 0)], kinks=[0, 2.5])
    assert list(bent.kink_table["s_mm"]) == [1000, 1800]
    assert list(bent.kink_table["kink_deg"]) == pytest.approx([0, 2.5])
    assert list(bent.kink_table["curvature_jump_per_m"]) == pytest.approx([1000 / 600, -1000 / 600])
    with pytest.raises(MeasureError, match="do not meet"):
        bent.parallel(10.0)
    with pytest.raises(ArgumentError, match="does not close"):
        make_chain([(1000, 0), (800, 600)], closed=True)


def read_inches(text):
    return parse_length(text, "in")


def test_curves_as_people_write_them():
    arc = read_curve("arc radius 12 ft, center (1 ft, -6), from 30 to 150 degrees", read_inches)
    assert arc.radius == pytest.approx(3657.6)
    assert arc.centre == pytest.approx((304.8, -152.4))
    assert arc.length == pytest.approx(3657.6 * math.radians(120))
    assert read_curve("arc chord 48, rise 9 in", read_inches).radius == pytest.approx(927.1)  # (24^2 + 9^2) / 18 in
    assert read_curve("ellipse length 20', width 14' 6\"", read_inches).axes == pytest.approx((3048.0, 2209.8))
    oval = read_curve("oval length 20 ft, width 14 ft, small radius 5 ft, turned 90 degrees", read_inches)
    assert oval.at(0) == pytest.approx([0, 3048], abs=1e-9)
    assert oval.pieces[0].radius == pytest.approx(1524)
    chain = read_curve("chain straight 4 ft, arc radius 3 ft left 90 degrees, straight 2 ft", read_inches)
    assert chain.at(chain.length) == pytest.approx([48 * 25.4 + 914.4, 914.4 + 609.6], abs=1e-9)
    assert read_curve("fitted ellipse", read_inches) == "ellipse"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("circel radius 3 ft", "unknown curve"),
        ("arc radius 3 ft, girth 2 ft", "not known"),
        ("ellipse length 3 ft", "needs its length and its width"),
        ("ellipse length 3 ft, width 4 ft", "out of range"),
        ("arc", "needs a radius"),
        ("oval length 4 ft, width 3 ft, small radius 2 ft", "small radius out of range"),
        ("chain straight 4 ft, bend 3 ft", "cannot be read"),
        ("fitted", "unknown curve to fit"),
        ("", "unknown curve"),
    ],
)
def test_curves_that_cannot_be_read(text, said):
    with pytest.raises(ArgumentError, match=said):
        read_curve(text, read_inches)
