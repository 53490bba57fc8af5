"""Templates and fairness against straightedges, circles, brute force and planted faults."""

import math

import numpy as np
import pytest
from scipy.optimize import linprog

from flatness.curves.making import make_arc, make_chain, make_ellipse, make_oval
from flatness.curves.shapes import sagitta
from flatness.curves.templates import fairness, template_gaps, worst_template
from flatness.errors import ArgumentError
from flatness.measures.straightedge import profile_gaps


def test_on_a_straight_a_template_is_a_straightedge():
    rng = np.random.default_rng(1)
    z = rng.normal(0, 2, (3, 40))
    z[1, 17] = np.nan
    straight = make_chain([(10_000, 0)])
    s = 150.0 * np.arange(40)
    assert template_gaps(z, s, 1200.0, straight) == pytest.approx(profile_gaps(z, 150.0, 1200.0), abs=1e-9, nan_ok=True)
    assert template_gaps(z[0], s[::-1], 1200.0, straight) == pytest.approx(profile_gaps(z[0], 150.0, 1200.0), abs=1e-9)


def test_on_an_arc_against_every_pair_of_contacts():
    """Moved across, a template of an arc departs by a cosine and a sine of the angle: through two contacts goes one."""
    rng = np.random.default_rng(2)
    r, step, n = 900.0, 100.0, 25
    z = rng.normal(0, 2, n)
    angle = step / r * np.arange(n)
    expected = np.zeros(n)
    for p in range(n):
        for q in range(p + 2, min(p + 6, n - 1) + 1):
            part = angle[p + 1 : q]
            over = (z[p] * np.sin(angle[q] - part) + z[q] * np.sin(part - angle[p])) / math.sin(angle[q] - angle[p])
            expected[p + 1 : q] = np.maximum(expected[p + 1 : q], over - z[p + 1 : q])
    arc = make_arc(radius=r, first=0.0, last=200.0)
    assert template_gaps(z, step * np.arange(n), 600.0, arc) == pytest.approx(expected, abs=1e-9)


def test_the_resting_template_by_linear_programs():
    """Of all templates that lie over an arc and do not cut into it, the one lowest at a station, window by window."""
    rng = np.random.default_rng(9)
    r, step, n, bar = 700.0, 100.0, 12, 5
    z = rng.normal(0, 2, n)
    angle = step / r * np.arange(n)
    moves = np.column_stack([np.cos(angle), np.sin(angle)])
    expected = np.zeros(n)
    for first in range(n - bar):
        window = slice(first, first + bar + 1)
        for k in range(first, first + bar + 1):
            low = linprog(moves[k], A_ub=-moves[window], b_ub=-z[window], bounds=[(None, None)] * 2)
            expected[k] = max(expected[k], low.fun - z[k])
    arc = make_arc(radius=r, first=0.0, last=200.0)
    assert template_gaps(z, step * np.arange(n), bar * step, arc) == pytest.approx(expected, abs=1e-6)


def test_a_wall_of_another_radius_by_its_sagitta():
    """A wall built to a smaller radius, inside: the template touches at both ends; the gap is the rises' difference."""
    meant, built, length = 1000.0, 985.0, 600.0
    arc = make_arc(radius=meant, first=0.0, last=120.0)
    s = 25.0 * np.arange(84)
    gap = template_gaps(np.full(84, meant - built), s, length, arc)
    chord = 2 * built * math.sin(length / meant / 2)  # the contacts stand on the wall, at the ends' own angles
    assert gap[42] == pytest.approx(sagitta(chord, built) - sagitta(chord, meant), rel=0.02)
    # and none where the wall is the wider one: the template rocks on its middle
    assert template_gaps(np.full(84, -15.0), s, length, arc).max() == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("curve", [make_ellipse(length=3000.0, width=2000.0), make_oval(length=3000.0, width=2000.0)])
def test_a_template_moved_as_a_body_leaves_no_gap(curve):
    """A wall that is the curve itself, moved square to it and turned about one place: the template follows there."""
    s = np.linspace(0, curve.length, 79)[1:-1]
    middle, turn = s[20], 3e-3
    place, heading = curve.at(s), curve.heading(s)
    arm = place - curve.at(middle)
    moved = 1.5 * curve.normal(middle) + turn * np.stack([-arm[:, 1], arm[:, 0]], axis=-1)
    z = -moved[:, 0] * np.sin(heading) + moved[:, 1] * np.cos(heading)
    z[np.abs(s - middle) > 260] = np.nan
    # contacts that are not as far from that place slide a little, which a template in its place does not do
    assert np.nanmax(template_gaps(z, s, 520.0, curve)) < 0.03
    z[20] -= 3.0
    assert template_gaps(z, s, 520.0, curve)[20] == pytest.approx(3.0, abs=0.03)


def test_around_a_closed_curve_it_lies_over_the_seam():
    curve = make_arc(radius=1000.0)
    s = curve.stations(100.0)
    z = np.zeros(len(s))
    z[0] = -4.0
    assert template_gaps(z, s, 600.0, curve)[0] == pytest.approx(4.0)
    found = worst_template(z, s, 600.0, curve)
    assert found.gap == pytest.approx(4.0)
    assert found.at == 0
    assert found.contacts[0] < 0 < found.contacts[1]
    assert worst_template(np.zeros(len(s)), s, 600.0, curve) is None
    with pytest.raises(ArgumentError, match="uneven"):
        template_gaps([0, 1, 0], [0, 100, 300], 300.0, curve)


def test_a_planted_kink_and_a_planted_flat_are_found():
    rng = np.random.default_rng(5)
    r = 1800.0
    arc = make_arc(radius=r, first=0.0, last=170.0)
    s = np.arange(76.2, arc.length - 76.2, 152.4)
    z = rng.normal(0, 0.8, len(s))
    off = math.tan(math.radians(4.0))
    z += np.maximum(0, (s - s[9]) * off)  # past station 9 it runs off to the left by 4 degrees
    z -= np.maximum(0, (s - s[16]) * off)  # and past station 16 back again
    # a flat: a chord of 0.6 m, which stands inside the arc
    middle, half = s[26], 300.0
    chord = r - r * np.cos(half / r) / np.cos((s - middle) / r)
    z += np.where(np.abs(s - middle) < half, chord, 0)
    found = fairness(z, s, arc, accuracy=0.8)
    kinks, flats = (found[found["finding"] == name] for name in ("kink", "flat"))
    assert len(kinks) == 2
    for station, turned in ((9, 4.0), (16, -4.0)):
        row = kinks.loc[abs(kinks["along_mm"] - s[station]).idxmin()]
        assert abs(row["along_mm"] - s[station]) <= 160
        assert row["kink_deg"] == pytest.approx(turned, abs=3 * row["kink_error_deg"])
    assert len(flats) == 1
    assert flats["along_mm"].iloc[0] == pytest.approx(middle, abs=160)
    assert flats["curvature_per_m"].iloc[0] < 0.25 * 1000 / r


def test_the_angle_of_a_kink_is_right_on_average_and_so_is_its_error():
    rng = np.random.default_rng(21)
    arc = make_arc(radius=1800.0, first=0.0, last=170.0)
    s = np.arange(0, 3100, 152.4)
    kinked = np.maximum(0, (s - s[9]) * math.tan(math.radians(2.0)))
    found = [
        fairness(kinked + rng.normal(0, 0.8, len(s)), s, arc, 0.8).set_index("along_mm").loc[s[9]] for _ in range(60)
    ]
    turned, error = np.array([row["kink_deg"] for row in found]), found[0]["kink_error_deg"]
    assert abs(turned.mean() - 2.0) < 4 * error / math.sqrt(60)
    assert np.std(turned) == pytest.approx(error, rel=0.3)


def test_noise_alone_is_seldom_called_a_fault():
    rng = np.random.default_rng(12)
    arc = make_arc(radius=1800.0, first=0.0, last=170.0)
    s = np.arange(0, arc.length, 152.4)
    told = [(fairness(rng.normal(0, 0.8, len(s)), s, arc, 0.8)["finding"] != "").any() for _ in range(60)]
    assert np.mean(told) < 0.25


def test_the_curvature_of_a_parallel_wall_is_known():
    arc = make_arc(radius=1800.0, first=0.0, last=170.0)
    s = np.arange(0, arc.length, 152.4)
    found = fairness(np.full(len(s), 20.0), s, arc, 0.5)
    # 20 mm inside a circle of 1800 mm is one of 1780 mm
    assert found["curvature_per_m"].to_numpy() == pytest.approx(np.full(len(found), 1000 / 1780), rel=2e-4)
    assert set(found["finding"]) == {""}


def test_a_flat_is_told_from_a_corner_by_all_lines_together():
    """A board of 2 ft that was not bent, in an arc of 14 ft radius, read twice: two lines know it better than one."""
    arc = make_arc(radius=168 * 25.4, first=0.0, last=60.0)
    s = np.arange(0, arc.length, 152.4)
    flat = np.maximum(0, 304.8**2 - (s - 2100) ** 2) / (2 * 168 * 25.4)
    told = {"alone": [], "together": []}
    for seed in range(40):
        rng = np.random.default_rng(seed)
        one, other = (flat + rng.normal(0, 0.8, len(s)) for _ in range(2))
        for name, beside in (("alone", ()), ("together", [(other, s)])):
            found = fairness(one, s, arc, 0.8, beside=beside)
            near = found[(found["along_mm"] - 2100).abs() < 305]
            told[name] += [word for word in near["finding"] if word]
    right = {name: words.count("flat") / len(words) for name, words in told.items()}
    assert right["together"] > right["alone"]
    assert right["together"] > 0.9
