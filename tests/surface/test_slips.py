"""Readings that are likelier slips than anything else: on floors of known truth, and against formulas written out."""

from dataclasses import replace

import numpy as np
import pytest

import flatness
import simulated_rooms as rooms
from flatness.surface.kriging import Parameters, Stations
from flatness.surface.likely import likely_surface
from flatness.surface.slips import _off

FT, IN = 304.8, 25.4
FEW, MANY = 10, 20


def test_how_far_a_doubted_reading_is_off_is_what_the_others_predict():
    rng = np.random.default_rng(4)
    p = Parameters(2.0, 1500.0, 900.0, 0.8)
    (x, y), z = rng.uniform(0, 4000, (2, 25)), rng.normal(0, 3, 25)
    doubt = np.where(np.arange(25) % 7 == 3, 12.0, 0.0)
    off, times = _off(Stations(x, y, z, np.ones(25, dtype=np.int64), doubt), p)

    def covariance(x, y, to_x, to_y):
        r = np.sqrt(5) * np.hypot((x[:, None] - to_x) / p.length_x, (y[:, None] - to_y) / p.length_y)
        return p.scale**2 * (1 + r + r**2 / 3) * np.exp(-r)

    def columns(x, y):
        return np.column_stack([np.ones_like(x), x / 1000, y / 1000])

    for k in range(25):
        rest, here = np.arange(25) != k, [k]
        noise = np.diag(p.reading_error**2 + doubt[rest] ** 2)
        inverse = np.linalg.inv(covariance(x[rest], y[rest], x[rest], y[rest]) + noise)
        h, across = columns(x[rest], y[rest]), covariance(x[rest], y[rest], x[here], y[here])
        spread = np.linalg.inv(h.T @ inverse @ h)
        beta = spread @ h.T @ inverse @ z[rest]
        left = columns(x[here], y[here]) - across.T @ inverse @ h
        mean = columns(x[here], y[here]) @ beta + across.T @ inverse @ (z[rest] - h @ beta)
        variance = p.scale**2 - across.T @ inverse @ across + left @ spread @ left.T + p.reading_error**2
        assert off[k] == pytest.approx(z[k] - mean[0], rel=1e-5, abs=1e-6)
        assert times[k] == pytest.approx((z[k] - mean[0]) / np.sqrt(variance[0, 0]), rel=1e-4, abs=1e-6)


@pytest.mark.parametrize("inches", [1 / 4, 27])
def test_a_slip_in_a_fine_floor_is_named_first(inches):
    first = 0
    for number in range(MANY):
        survey, (at,) = rooms.fine_floor(number, (inches * IN,))
        slips = likely_surface(survey, FT).slips
        first += bool(slips) and slips[0].number == at
        for slip in slips[:1]:
            x, y, _ = survey.xyz()
            assert (slip.x, slip.y) == (x[slip.number], y[slip.number])
    assert first >= 0.95 * MANY


def test_a_slip_over_joists_of_known_layout_is_no_proud_joist_and_a_proud_joist_no_slip():
    layout = rooms.Framing(rooms.JOISTS, "y", 0.0)
    for number in range(FEW):
        survey, (at,) = rooms.fine_floor(number, (9.5,), framing=layout)
        likely = likely_surface(survey, 2 * FT)
        assert likely.slips[0].number == at
        assert likely.parameters.ridges == ()
        survey, _ = rooms.fine_floor(number, joist=True, framing=layout)
        likely = likely_surface(survey, 2 * FT)
        assert likely.slips == ()
        assert likely.parameters.ridges


def test_several_slips_do_not_mask_one_another():
    named = 0
    for number in range(FEW):
        survey, at = rooms.fine_floor(number, (12.7, 12.7, 12.7))
        named += len({slip.number for slip in likely_surface(survey, FT).slips} & set(at))
    assert named >= 0.9 * 3 * FEW


def test_no_proud_joist_on_a_line_of_stations_is_taken_for_a_slip():
    for number in range(MANY):
        survey, _ = rooms.fine_floor(number, joist=True)
        assert likely_surface(survey, FT).slips == ()


def test_in_a_floor_without_a_slip_hardly_any_is_named():
    assert sum(bool(likely_surface(rooms.fine_floor(number)[0], FT).slips) for number in range(MANY)) <= 1


@pytest.mark.parametrize("inches", [1 / 4, 2])
def test_a_slip_never_fails_a_fine_floor_and_is_to_be_read_again(inches):
    turned = 0
    for number in range(FEW):
        survey, (at,) = rooms.fine_floor(number, (inches * IN,))
        found = flatness.assess(survey, rooms.limit(), spacing=FT, draws=100)
        assert found.verdict != "fail"
        assert found.slips[0].number == at
        assert "again" in found.table.note[0]
        turned += found.verdict == "undecided"
        # what is likely is told without it: the floor is within 1/8 in or so
        assert found.table.likely_mm[0] < rooms.LIMIT
    assert turned >= FEW / 2


def test_a_floor_that_fails_either_way_fails():
    survey, _ = rooms.fine_floor(3, (25.4,))
    x, y, height = survey.xyz()
    wavy = flatness.make_survey(x, y, height + 12 * np.sin(x / 700), accuracy=survey.accuracy)
    found = flatness.assess(wavy, rooms.limit(), spacing=FT, draws=100)
    assert found.verdict == "fail"
    assert found.slips
    assert "again" in found.table.note[0]


@pytest.mark.parametrize("quantity", ["height", "drop"])
def test_a_slip_is_told_by_its_label_as_it_was_read(quantity):
    """A floor that is a plane read to 1/100 in but for one reading, 41 1/2 in where it should be 41 in."""
    rng = np.random.default_rng(1)
    rows = [
        f"{24 * i},{24 * j},{41 + rng.normal(0, 0.01) + (0.5 if (i, j) == (4, 3) else 0):.3f},{'ABCDEFGH'[i]}{j + 1}"
        for i in range(8)
        for j in range(8)
    ]
    text = f"# unit: in\n# reading: {quantity}\n# accuracy: 0.01\nx,y,reading,label\n" + "\n".join(rows) + "\n"
    found = flatness.assess(flatness.read_survey(text.encode(), name="k.csv"), rooms.limit(), spacing=FT, draws=50)
    (slip,) = found.slips
    assert slip.station == "E4"
    assert slip.reading == pytest.approx(41.5 * IN, abs=0.04 * IN)
    assert slip.expected == pytest.approx(41 * IN, abs=0.02 * IN)
    assert slip.times > 4
    assert "read E4 again" in found.table.note[0]


def test_a_slip_is_named_once():
    survey, (at,) = rooms.fine_floor(1, (IN,))
    x, y, height = survey.xyz()
    rows = "\n".join(f"{a},{b},{c}" for a, b, c in zip(x, y, height, strict=True))
    read = flatness.read_survey(f"# unit: mm\n# accuracy: 0.8\nx,y,height\n{rows}\n".encode(), name="k.csv")
    (noted,) = read.notes
    assert noted.row == at + 4
    found = flatness.assess(read, rooms.limit(), spacing=FT, draws=50)
    assert [slip.number for slip in found.slips] == [at]
    assert found.subject.survey.notes == ()
    assert flatness.assess(read, rooms.limit(), spacing=FT, draws=0).subject.survey.notes == (noted,)


def test_a_patch_of_stations_is_no_slip():
    survey, _ = rooms.fine_floor(5)
    x, y, height = survey.xyz()
    patch = (np.abs(x - 7 * FT) < 1.5 * FT) & (np.abs(y - 9 * FT) < 1.5 * FT)
    assert patch.sum() == 4
    proud = flatness.make_survey(x, y, height + 15 * patch, accuracy=survey.accuracy)
    assert likely_surface(proud, FT).slips == ()


def test_trusting_takes_every_reading():
    survey, _ = rooms.fine_floor(2, (12.7,))
    plain, trusting = likely_surface(survey, FT), likely_surface(survey, FT, trusting=True)
    assert (len(plain.slips), len(trusting.slips)) == (1, 0)
    assert (len(plain.fit.stations.x), len(trusting.fit.stations.x)) == (87, 88)
    rest = np.delete(np.arange(88), plain.slips[0].number)
    without = replace(survey, points=survey.points.iloc[rest])
    x, y, _ = survey.xyz()
    for one, other in zip(plain.predict_at(x, y), likely_surface(without, FT).predict_at(x, y), strict=True):
        np.testing.assert_allclose(one, other, atol=1e-6)
