"""Fits of curves against published answers, known truth, and brute force."""

from itertools import combinations

import numpy as np
import pytest

from flatness.curves.fitting import fit_curve, spoiling
from flatness.curves.making import make_arc, make_chain, make_ellipse, make_oval
from flatness.errors import ArgumentError, MeasureError

# Gander, Golub, Strebel, "Least-squares fitting of circles and ellipses", BIT 34 (1994): points and geometric fits,
# the figures from memory
CIRCLE_X, CIRCLE_Y = [1, 2, 5, 7, 9, 3], [7, 6, 8, 7, 5, 7]
ELLIPSE_X, ELLIPSE_Y = [1, 2, 5, 7, 9, 3, 6, 8], [7, 6, 8, 7, 5, 7, 2, 4]


def test_published_circle():
    fit = fit_curve(CIRCLE_X, CIRCLE_Y, "arc")
    assert fit.centre == pytest.approx((4.7398, 2.9835), abs=5e-5)
    assert fit.radius == pytest.approx(4.7142, abs=5e-5)
    away = np.hypot(np.subtract(CIRCLE_X, fit.centre[0]), np.subtract(CIRCLE_Y, fit.centre[1]))
    assert fit.deviations == pytest.approx(fit.radius - away)  # positive inside
    assert fit.zone == pytest.approx(np.ptp(away))


def test_published_ellipse():
    fit = fit_curve(ELLIPSE_X, ELLIPSE_Y, "ellipse")
    assert fit.centre == pytest.approx((2.6996, 3.8160), abs=5e-5)
    assert fit.axes == pytest.approx((6.5187, 3.0319), abs=5e-5)
    assert fit.parameters["turned"] == pytest.approx(0.3596, abs=5e-5)


def test_minimum_zone_circle_against_every_pair_of_pairs():
    """The narrowest ring touches four points: its centre is as far from one of two as from the other, twice."""
    rng = np.random.default_rng(8)
    truth = make_arc(radius=900.0, centre=(20.0, -30.0))
    x, y = truth.offset_at(np.linspace(0, truth.length, 11, endpoint=False), rng.normal(0, 3, 11)).T
    points = np.column_stack([x, y])
    pairs = list(combinations(range(11), 2))
    normal = np.array([points[j] - points[i] for i, j in pairs])
    level = np.array([(points[j] @ points[j] - points[i] @ points[i]) / 2 for i, j in pairs])
    best = np.inf
    for one, other in combinations(range(len(pairs)), 2):
        matrix = normal[[one, other]]
        if abs(np.linalg.det(matrix)) > 1:
            centre = np.linalg.solve(matrix, level[[one, other]])
            best = min(best, np.ptp(np.hypot(*(points - centre).T)))
    found = fit_curve(x, y, "arc", "minimum-zone")
    assert found.zone == pytest.approx(best, abs=1e-6)
    assert found.deviations.max() == pytest.approx(-found.deviations.min(), abs=1e-6)
    assert found.zone < fit_curve(x, y, "arc").zone


@pytest.mark.parametrize("kind", ["ellipse", "oval"])
def test_no_small_change_narrows_a_minimum_zone(kind):
    rng = np.random.default_rng(5)
    make = make_ellipse if kind == "ellipse" else make_oval
    truth = make(length=6000.0, width=4200.0, turned=15.0)
    x, y = truth.offset_at(np.linspace(0, truth.length, 30, endpoint=False), rng.normal(0, 2, 30)).T
    found = fit_curve(x, y, kind, "minimum-zone")
    assert found.zone < fit_curve(x, y, kind).zone
    for _ in range(200):
        near = {
            name: value + rng.normal(0, 1e-4 if name == "turned" else 0.3) for name, value in found.parameters.items()
        }
        size = {"length": 2 * near["semi_major"], "width": 2 * near["semi_minor"], "turned": np.degrees(near["turned"])}
        more = {"small_radius": near["small_radius"]} if kind == "oval" else {}
        moved = make(**size, **more, centre=(near["centre_x"], near["centre_y"]))
        # half the zone is the largest deviation, which no other curve has less of
        assert np.abs(moved.nearest(x, y)[1]).max() > found.zone / 2 - 1e-7


def test_the_errors_of_an_arc_are_what_repeated_readings_show():
    rng = np.random.default_rng(4)
    arc = make_arc(chord=1219.2, rise=228.6)
    s = np.linspace(0, arc.length, 14)
    found = [fit_curve(*arc.offset_at(s, rng.normal(0, 0.8, 14)).T, "arc", accuracy=0.8) for _ in range(150)]
    radii = np.array([fit.radius for fit in found])
    # the spread of 150 values is known to about 6 %
    assert np.std(radii) == pytest.approx(found[0].errors["radius"], rel=0.2)
    assert abs(radii.mean() - arc.radius) < 4 * np.std(radii) / np.sqrt(150)
    # and where the accuracy is not said, the points' own scatter tells it
    own = np.mean([fit_curve(*arc.offset_at(s, rng.normal(0, 0.8, 14)).T).errors["radius"] for _ in range(40)])
    assert own == pytest.approx(found[0].errors["radius"], rel=0.15)


def test_an_oval_is_found_with_its_radii():
    rng = np.random.default_rng(1)
    oval = make_oval(length=6096.0, width=4267.2, small_radius=1500.0, centre=(100.0, 200.0), turned=25.0)
    x, y = oval.offset_at(np.linspace(0, oval.length, 60, endpoint=False), rng.normal(0, 1, 60)).T
    fit = fit_curve(x, y, "oval", accuracy=1.0)
    truth = {"centre_x": 100, "centre_y": 200, "semi_major": 3048, "semi_minor": 2133.6, "small_radius": 1500}
    for name, value in {**truth, "turned": np.radians(25)}.items():
        assert abs(fit.parameters[name] - value) < 4 * fit.errors[name], name
    assert fit.errors["semi_minor"] < 0.5
    assert fit.joins["kink_deg"].abs().max() < 1e-9


def test_a_chain_is_found_with_its_pieces():
    rng = np.random.default_rng(2)
    chain = make_chain([(1200, 0), (1400, 900), (600, 0)], start=(10, 20), heading=10)
    x, y = chain.offset_at(np.linspace(0, chain.length, 40), rng.normal(0, 0.8, 40)).T
    fit = fit_curve(x, y, "chain", accuracy=0.8)
    assert [piece.curvature != 0 for piece in fit.curve.pieces] == [False, True, False]
    for name, value in {"length_1": 1200, "length_2": 1400, "curvature_2": 1 / 900}.items():
        assert abs(fit.parameters[name] - value) < 4 * fit.errors[name], name
    assert fit.errors["curvature_2"] * 900**2 < 3  # the radius to 3 mm
    assert np.std(fit.deviations) == pytest.approx(0.8, rel=0.3)
    with pytest.raises(MeasureError, match="no single centre"):
        fit.centre  # noqa: B018


def test_a_chain_of_five_pieces_is_told_from_its_points():
    rng = np.random.default_rng(7)
    chain = make_chain([(1200, 0), (1400, 900), (600, 0), (900, -700), (500, 0)], start=(10, 20), heading=10)
    x, y = chain.offset_at(np.linspace(0, chain.length, 50), rng.normal(0, 0.8, 50)).T
    fit = fit_curve(x, y, "chain", accuracy=0.8)
    assert [piece.curvature != 0 for piece in fit.curve.pieces] == [False, True, False, True, False]
    for name, value in {"length_1": 1200, "length_2": 1400, "length_3": 600, "curvature_4": -1 / 700}.items():
        assert abs(fit.parameters[name] - value) < 4 * fit.errors[name], name
    assert fit.joins["kink_deg"].abs().max() < 1e-9


def test_a_chain_past_half_a_turn_is_one_arc():
    rng = np.random.default_rng(0)
    for sign in (1, -1):
        bow = make_chain([(5000, sign * 900)])
        x, y = bow.offset_at(np.linspace(0, bow.length, 50), rng.normal(0, 0.8, 50)).T
        fit = fit_curve(x, y, "chain", accuracy=0.8)
        assert len(fit.curve.pieces) == 1
        assert abs(fit.parameters["curvature_1"] - sign / 900) < 4 * fit.errors["curvature_1"]


def test_a_kink_at_a_join_is_found_with_its_error():
    rng = np.random.default_rng(6)
    bent = make_chain([(1200, 0), (1000, 900)], kinks=[6.0])
    x, y = bent.offset_at(np.linspace(0, bent.length, 30), rng.normal(0, 0.5, 30)).T
    fit = fit_curve(x, y, "chain", pieces=["straight", "arc"], kinks=True, accuracy=0.5)
    error = np.degrees(fit.errors["kink_1"])
    assert abs(fit.joins["kink_deg"].iloc[0] - 6.0) < 4 * error
    assert error < 0.5
    smooth = fit_curve(x, y, "chain", pieces=["straight", "arc"], accuracy=0.5)
    assert smooth.rms > 1.5 * fit.rms


def test_what_cannot_be_fitted_is_said():
    with pytest.raises(MeasureError, match="no arc fits"):
        fit_curve([0, 1, 2, 3], [0, 0, 0, 0])
    with pytest.raises(ArgumentError, match="too few points"):
        fit_curve([0, 1, 0], [0, 0, 1], "ellipse")
    with pytest.raises(ArgumentError, match="differ in number"):
        fit_curve([0, 1], [0, 1, 2])
    with pytest.raises(ArgumentError, match="unknown kind"):
        fit_curve([0, 1, 2], [0, 1, 0], "spiral")
    with pytest.raises(ArgumentError, match="unknown piece"):
        fit_curve(range(9), range(9), "chain", pieces=["bow"])
    with pytest.raises(ArgumentError, match="finite"):
        fit_curve([0, 1, np.nan], [0, 1, 0])


@pytest.mark.parametrize("slips", [{}, {4: 90.0}, {2: 980.0, 9: 840.0}])
def test_readings_that_spoil_a_fit_are_named(slips):
    """Radii of 900 mm good to 1 mm; 90 typed for 900, digits turned."""
    angle = np.radians(10 * np.arange(1, 13))
    radius = 900 + np.random.default_rng(3).normal(0, 1, 12)
    radius[list(slips)] = list(slips.values())
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    assert spoiling(x, y, fit_curve(x, y, "arc", accuracy=1.0), 1.0) == list(slips)


def test_a_wave_spoils_no_fit():
    """30 mm off the circle at every other reading, good to 1 mm: no reading stands alone."""
    angle = np.radians(15 * np.arange(12))
    radius = 900 + 15.0 * (-1) ** np.arange(12)
    x, y = radius * np.cos(angle), radius * np.sin(angle)
    assert spoiling(x, y, fit_curve(x, y, "arc", accuracy=1.0), 1.0) == []


def test_the_errors_of_a_minimum_zone_are_its_own():
    """Against how far its radius strays over arcs read anew: more than that of least squares does."""
    rng = np.random.default_rng(5)
    arc = make_arc(radius=900.0, first=20.0, last=160.0)
    places, found = arc.at(np.linspace(0, arc.length, 30)), []
    for _ in range(40):
        found.append(fit_curve(*(places + rng.normal(0, 0.8, places.shape)).T, "arc", "minimum-zone", accuracy=0.8))
    strays = float(np.std([one.radius for one in found], ddof=1))
    stated = float(np.mean([one.errors["radius"] for one in found]))
    assert stated == pytest.approx(strays, rel=0.3)
    least_squares = fit_curve(*places.T, "arc", accuracy=0.8).errors["radius"]
    assert stated > 1.3 * least_squares
