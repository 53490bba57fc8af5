"""Checks of what was read: what stops a file, and what is only noted."""

from __future__ import annotations

import time

import numpy as np
import pytest
from numpy.typing import NDArray

from flatness.errors import Problem, SurveyFileError
from flatness.survey.checks import MAD_TO_SIGMA, notes_but_on, predict
from flatness.survey.files import read_survey
from flatness.survey.readings import Survey

Floats = NDArray[np.float64]
SQUARE = "# unit: mm\nx,y,height\n0,0,1\n1000,0,2\n0,1000,3\n1000,1000,4\n"


def read(text: str) -> Survey:
    return read_survey(text.encode(), name="k.csv")


def only(text: str) -> Problem:
    with pytest.raises(SurveyFileError) as caught:
        read(text)
    assert len(caught.value.problems) == 1, str(caught.value)
    return caught.value.problems[0]


def as_text(x: Floats, y: Floats, z: Floats, head: str = "") -> str:
    rows = "".join(f"{a!r},{b!r},{c!r}\n" for a, b, c in zip(x.tolist(), y.tolist(), z.tolist(), strict=True))
    return f"# unit: mm\n{head}x,y,height\n{rows}"


def grid(nx: int, ny: int, step: float = 600.0) -> tuple[Floats, Floats]:
    gx, gy = np.meshgrid(step * np.arange(nx), step * np.arange(ny))
    return gx.ravel(), gy.ravel()


def test_three_stations_at_least() -> None:
    problem = only("# unit: mm\nx,y,height\n0,0,1\n1000,0,2\n")
    assert "fewer than three" in problem.what
    assert "more readings" in (problem.remedy or "")
    # the same station over again is one station
    assert "fewer than three" in only("# unit: mm\nx,y,height\n0,0,1\n1000,0,2\n0,0,1\n0.1,0,1\n").what


@pytest.mark.parametrize("slope", [0.0, 0.37])
def test_stations_on_one_line(slope: float) -> None:
    x = np.arange(6) * 300.0
    problem = only(as_text(x, slope * x, x * 0))
    assert "one line" in problem.what
    assert problem.cell == "C3"
    assert "second line" in (problem.remedy or "")
    assert len(read(as_text(x, slope * x + np.array([0, 0, 0, 0, 0, 50.0]), x * 0)).points) == 6


def test_stations_outside_the_outline() -> None:
    head = "# outline: 0,0; 1000,0; 1000,1000; 0,1000\n"
    assert len(read(head + SQUARE + "1025,500,0\n").points) == 5  # within an inch of it
    problem = only(head + SQUARE + "1100,500,0\n")
    assert problem.cell == "C8"
    assert "outside the outline by" in problem.what
    assert "100 mm" in problem.what
    assert '3 15/16"' in problem.what  # 100 / 25.4 = 3.937; 3 15/16 = 3.9375
    assert "correct the station" in (problem.remedy or "")


def test_stations_inside_an_opening() -> None:
    head = "# outline: 0,0; 1000,0; 1000,1000; 0,1000\n# opening: 400,400; 600,400; 600,600; 400,600\n"
    assert len(read(head + SQUARE + "420,500,0\n").points) == 5
    problem = only(head + SQUARE + "500,500,0\n")
    assert problem.cell == "C9"
    assert "inside the opening of row 2 by" in problem.what
    assert "100 mm" in problem.what


def test_openings_lie_inside_the_outline() -> None:
    head = "# outline: 0,0; 1000,0; 1000,1000; 0,1000\n# opening: {0},400; 600,400; 600,600; {0},600\n"
    assert read(head.format(-20) + SQUARE).openings
    problem = only(head.format(-200) + SQUARE)
    assert problem.cell == "A2"
    assert "does not lie inside" in problem.what


def test_repeated_stations() -> None:
    # 4 x sqrt(2) x 0.5 mm = 2.83 mm; 1/8 in = 3.175 mm where the accuracy is not known
    for head, good, bad in (("# accuracy: 0.5\n", 2.8, 2.9), ("", 3.1, 3.2)):
        assert len(read(head + SQUARE + f"1000,0,{2 + good}\n").points) == 5
        problem = only(head + SQUARE + f"1000,0,{2 - bad}\n")
        row = 7 + head.count("\n")
        assert problem.cell == f"C{row}"
        assert f"C{row - 3}" in problem.what
        assert f"{bad} mm" in problem.what
        assert "read the station again" in (problem.remedy or "")


def brute_force_prediction(x: Floats, y: Floats, z: Floats, at: int) -> float:
    """The plane through the eight nearest others less the worst, tried one by one with numpy's own solver."""
    others = np.delete(np.arange(len(z)), at)
    near = others[np.argsort(np.hypot(x[others] - x[at], y[others] - y[at]), kind="stable")[:8]]
    best = (np.inf, 0.0)
    for left_out in near:
        kept = near[near != left_out]
        design = np.column_stack([np.ones(7), x[kept] - x[at], y[kept] - y[at]])
        plane, *_ = np.linalg.lstsq(design, z[kept], rcond=None)
        best = min(best, (float(((design @ plane - z[kept]) ** 2).sum()), float(plane[0])))
    return best[1]


def test_prediction_agrees_with_a_brute_force() -> None:
    rng = np.random.default_rng(5)
    x, y, z = rng.uniform(0, 5000, 60), rng.uniform(0, 4000, 60), rng.normal(0, 3, 60)
    expected = [brute_force_prediction(x, y, z, k) for k in range(60)]
    np.testing.assert_allclose(predict(x, y, z), expected, atol=1e-3)


def test_prediction_is_exact_on_a_plane_and_along_lines() -> None:
    x, y = grid(7, 5)
    np.testing.assert_allclose(predict(x, y, 3 + 0.01 * x - 0.02 * y), 3 + 0.01 * x - 0.02 * y, atol=1e-3)
    # lines 5 m apart, stations 0.3 m apart: all neighbours stand on the station's own line
    x, y = (axis.ravel() for axis in np.meshgrid(300.0 * np.arange(15), [0.0, 5000.0]))
    np.testing.assert_allclose(predict(x, y, 0.01 * x + 0.002 * y), 0.01 * x + 0.002 * y, atol=1e-3)


@pytest.mark.parametrize("seed", range(8))
def test_a_slip_of_an_inch_is_noted_and_its_neighbours_are_not(seed: int) -> None:
    rng = np.random.default_rng(seed)
    x, y = grid(11, 9)
    z = 4 * np.sin(x / 2500) * np.cos(y / 1800) + rng.normal(0, 0.4, len(x))
    assert not read(as_text(x, y, z)).notes
    at = int(rng.integers(len(x)))
    z[at] += 25.4
    survey = read(as_text(x, y, z))
    assert len(survey.points) == len(x)
    assert survey.points["height"][at] == pytest.approx(z[at])
    assert [note.cell for note in survey.notes] == [f"C{at + 3}"]
    note = survey.notes[0]
    assert "proud of" in note.what
    assert '"' in note.what
    assert "mm" in note.what
    assert "used as it is" in note.what


def test_small_and_known_scatter_is_not_noted() -> None:
    x, y = grid(11, 9)
    z = np.zeros(len(x))
    z[40] = -3.0  # under 1/8 in
    assert not read(as_text(x, y, z)).notes
    z[40] = -3.4
    (note,) = read(as_text(x, y, z)).notes
    assert note.what.values["side"] == "lower than"
    z[40] = -7.0  # under 1/8 in + 4 x 1 mm
    assert not read(as_text(x, y, z, "# accuracy: 1\n")).notes


def test_robust_sigma_of_a_normal_distribution() -> None:
    from scipy.stats import norm

    assert pytest.approx(1 / norm.ppf(0.75), abs=1e-4) == MAD_TO_SIGMA


def test_stations_not_taken_are_noted_without_an_outline() -> None:
    text = "# unit: mm\n# reading: height\n,0,500,1000\n0,1,,2\n500,1,2,3\n1000,1,2,\n"
    (note,) = read(text).notes
    assert note.cell == "C4"
    assert "2 stations have no reading (C4, D6)" in note.what
    assert not read("# outline: 0,0; 1000,0; 1000,1000; 0,1000\n" + text).notes


def test_five_thousand_readings_are_checked_quickly() -> None:
    rng = np.random.default_rng(1)
    x, y = rng.uniform(0, 30000, 5000), rng.uniform(0, 20000, 5000)
    text = as_text(x, y, rng.normal(0, 1, 5000), "# outline: 0,0; 30000,0; 30000,20000; 0,20000\n").encode()
    start = time.process_time()
    assert len(read_survey(text, name="k.csv").points) == 5000
    assert time.process_time() - start < 10  # of the processor; about 1 s on a quiet machine


def test_stations_that_cover_a_sliver_of_the_outline_are_refused_and_the_unit_is_asked_for() -> None:
    grid = "0,0,2,4,6\n0,1,1,2,1\n2,1,2,1,1\n4,1,1,1,2\n6,2,1,1,1\n"
    head = "# unit: in\n# reading: height\n# outline: 0,0; 6 ft,0; 6 ft,6 ft; 0,6 ft\n"
    problem = only(head + grid.replace("0,0,2", ",0,2", 1))
    assert "reach over" in problem.what
    assert "ft in the grid's corner" in str(problem.remedy)
    assert len(read(head + grid.replace("0,0,2", "ft,0,2", 1)).points) == 16


def test_heights_that_look_like_drops_are_noted() -> None:
    text = "# unit: in\nx,y,{0}\n0,0,38\n24,0,38 1/4\n0,24,38 3/8\n24,24,38 1/8\n"
    (note,) = read(text.format("height")).notes
    assert "# reading: drop" in str(note.remedy)
    assert not read(text.format("drop")).notes


def test_a_comma_inside_a_number_is_looked_for_in_its_own_row() -> None:
    grid = "# unit: in\n# reading: height\nft,0,2,4\n0,1,1,2\n2,1,2,5,1\n4,1,1,1\n"
    problem = only(grid)
    assert problem.cell == "E5"
    assert "comma inside a number" in str(problem.remedy)


def test_drops_that_are_all_below_zero_are_refused() -> None:
    text = "# unit: in\nx,y,drop\n0,0,{0}38\n24,0,-38 1/4\n0,24,-38 3/8\n24,24,-38 1/8\n"
    problem = only(text.format("-"))
    assert (problem.cell, "below zero" in problem.what) == ("C3", True)
    assert "minus" in str(problem.remedy)
    # one that is not, as off a string that the surface rises over in places
    assert len(read(text.format("")).points) == 4


def test_notes_on_stations_that_are_named_elsewhere_are_left_out_and_no_others():
    x, y = grid(9, 9)
    z = np.random.default_rng(0).normal(0, 0.5, len(x))
    z[20] += 20
    z[60] -= 20
    survey = read(as_text(x, y, z, "# accuracy: 0.5\n"))
    first, second = survey.notes
    assert notes_but_on(survey, []) == (first, second)
    assert notes_but_on(survey, [(x[20], y[20])]) == (second,)
    assert notes_but_on(survey, [(x[60], y[60]), (x[40], y[40])]) == (first,)


def test_a_station_far_from_all_others_is_questioned() -> None:
    x, y = grid(5, 5)
    for far in (1_000_000.0, 30_000.0):
        survey = read(as_text(np.append(x, far), np.append(y, 0.0), np.zeros(26)))
        doubts = [problem for problem in survey.notes if "from all others" in str(problem.what)]
        assert [problem.cell for problem in doubts] == ["C28"]  # a line of header, one of heads, 26 rows
        # the nearest station stands at x 2400
        assert getattr(doubts[0].what, "values", {}).get("away", far - 2400.0) == pytest.approx(far - 2400.0)
    # two that were mistyped alike, and a second room beside the first
    two = read(as_text(np.append(x, [9e5, 9e5]), np.append(y, [0.0, 600.0]), np.zeros(27)))
    assert sum("from all others" in str(problem.what) for problem in two.notes) == 2


def test_stations_of_one_surface_are_not_questioned() -> None:
    x, y = grid(9, 7)
    kept = (x < 1200) | (x > 3000)  # a strip of 2 m was not read
    rng = np.random.default_rng(5)
    for a, b in ((x, y), (x[kept], y[kept]), tuple(rng.uniform(0, 9000, (2, 40))), (x, 12 * y)):
        survey = read(as_text(a, b, np.zeros(len(a))))
        assert not any("from all others" in str(problem.what) for problem in survey.notes)
