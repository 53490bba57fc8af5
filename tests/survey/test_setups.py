"""Survey files of several set-ups: brought to one datum on reading, and what their ties show is said."""

from __future__ import annotations

import math
import time
from pathlib import Path

import numpy as np
import pytest

from flatness.errors import Problem, SurveyFileError
from flatness.surface.likely import likely_surface
from flatness.survey.files import differences, read_survey, write_survey
from flatness.survey.readings import Survey

HEADINGS = "x,y,drop,setup,label,kind\n"


def read(text: str) -> Survey:
    return read_survey(text.encode(), name="k.csv")


def problems(text: str) -> list[Problem]:
    with pytest.raises(SurveyFileError) as caught:
        read(text)
    return list(caught.value.problems)


def hall(
    rng: np.random.Generator,
    noise: float = 0.4,
    tilt: tuple[float, float] = (0.0, 0.0),
    turning: bool = True,
    shared: int = 6,
) -> tuple[list[list[str]], np.ndarray, dict[str, float]]:
    """Rows of a floor 12 m x 6 m read as drops from two set-ups, the true heights, and the benchmarks.

    Set-up 1 reads x up to 6 m and the benchmarks, set-up 2 the rest, two turning points and ``shared`` stations of
    set-up 1's. The plane of set-up 2 rises by the tilt [mm/m].
    """
    x, y = (a.ravel() for a in np.meshgrid(np.arange(0, 12_001, 1000.0), np.arange(0, 6001, 1000.0)))
    height = 4 * np.sin(x / 3000) + 3 * np.cos(y / 2000)
    benchmarks = {"BM1": 250.0, "BM2": -40.0}
    rows: list[list[str]] = []

    def add(setup: str, h: float, px: float, py: float, label: str = "", kind: str = "") -> None:
        line = 1200.0 if setup == "1" else 1350.0 + (tilt[0] * px + tilt[1] * py) / 1000
        rows.append([f"{px}", f"{py}", repr(float(line - h + rng.normal(0, noise))), setup, label, kind])

    left = x <= 6000
    for k in np.flatnonzero(left):
        add("1", height[k], x[k], y[k])
    for label, h in benchmarks.items():
        add("1", h, 100.0, 6000.0, label, "benchmark")
    again = np.flatnonzero(left & (x >= 4000))[:: max(1, 21 // max(shared, 1))][:shared]
    for k in [*np.flatnonzero(~left), *again]:
        add("2", height[k], x[k], y[k])
    if turning:
        for k, label in enumerate(["tp1", "tp2"]):
            for setup in "12":
                add(setup, 80.0 + k, 5000.0, 1500.0 + 3000 * k, label, "turning")
    true = np.concatenate([height[left], height[~left], height[again]])
    return rows, true, benchmarks


def as_text(rows: list[list[str]], benchmarks: dict[str, float], head: str = "") -> str:
    lines = "".join(f"# benchmark: {label} = {height}\n" for label, height in benchmarks.items())
    return f"# unit: mm\n{head}{lines}{HEADINGS}" + "".join(",".join(row) + "\n" for row in rows)


def test_two_setups_come_to_one_datum() -> None:
    rng = np.random.default_rng(1)
    rows, true, benchmarks = hall(rng, noise=0.0)
    survey = read(as_text(rows, benchmarks, "# accuracy: 0.4\n"))
    np.testing.assert_allclose(survey.points["height"], true, atol=2e-5)  # constants are kept to 0.00001 mm
    assert survey.ties["height"].tolist() == pytest.approx([250, -40, 80, 80, 81, 81], abs=2e-5)
    assert not survey.notes
    assert survey.adjustment is not None
    # instruments at 1200 and 1350 over the datum
    assert survey.adjustment.setups["offset"].tolist() == pytest.approx([1200, 1350], abs=1e-6)
    # readings less unknowns: 2 benchmarks for 1 offset; 2 turning points and 6 stations read twice for the other
    assert survey.adjustment.redundancy == 1 + 7


def test_turning_points_alone_tie_by_their_labels() -> None:
    text = as_text(
        [
            ["0", "0", "50", "1", "", ""],
            ["100", "0", "51", "1", "", ""],
            ["", "", "30", "1", "A", "benchmark"],
            ["", "", "70", "1", "tp", "turning"],
            ["", "", "90", "2", "tp", "turning"],
            ["0", "100", "60", "2", "", ""],
        ],
        {"A": 100.0},
    )
    survey = read(text)
    # set-up 1: 100 + 30 = 130; tp 130 - 70 = 60; set-up 2: 60 + 90 = 150
    assert survey.points["height"].tolist() == [80.0, 79.0, 90.0]
    assert survey.ties["height"].tolist() == [100.0, 60.0, 60.0]
    assert survey.accuracy is None
    turned = read(text.replace("drop", "height"))
    # as heights: 100 - 30 = 70; tp 140; set-up 2: 140 - 90 = 50
    assert turned.points["height"].tolist() == [120.0, 121.0, 110.0]


def test_without_any_benchmark_the_first_setup_keeps_its_readings() -> None:
    rows, true, _ = hall(np.random.default_rng(2), noise=0.0)
    rows = [row for row in rows if row[5] != "benchmark"]
    survey = read(as_text(rows, {}))
    np.testing.assert_allclose(survey.points["height"], true - 1200, atol=2e-5)


def test_stations_within_half_a_millimetre_are_shared() -> None:
    rows, true, benchmarks = hall(np.random.default_rng(2), noise=0.0, turning=False)
    moved = [[f"{float(r[0]) + 0.2}", *r[1:]] if r[3] == "2" else r for r in rows]
    np.testing.assert_allclose(read(as_text(moved, benchmarks)).points["height"], true, atol=2e-5)


def test_the_accuracy_is_what_the_ties_show() -> None:
    # m0 over many files: its mean square is the noise's (unbiased), and a stated accuracy goes before it
    rng = np.random.default_rng(3)
    squares = []
    for _ in range(40):
        rows, _, benchmarks = hall(rng, noise=0.4)
        survey = read(as_text(rows, benchmarks))
        assert survey.adjustment is not None
        assert survey.accuracy == survey.adjustment.m0
        assert any("show" in note.what and "accuracy" in note.what for note in survey.notes)
        assert likely_surface(survey).error_basis == "ties"
        squares.append(survey.accuracy**2)
    # standard deviation of the mean of 40 squares of 8 degrees of freedom: 0.16 sqrt(2 / 8 / 40) = 0.0126
    assert np.mean(squares) == pytest.approx(0.16, abs=0.04)
    stated = read(as_text(rows, benchmarks, "# accuracy: 0.7\n"))
    assert (stated.accuracy, likely_surface(stated).error_basis) == (0.7, "given")
    few, _, benchmarks = hall(rng, shared=2)  # 1 + 1 + 2 spare readings: too few to stand for it
    few_survey = read(as_text(few, benchmarks))
    assert few_survey.adjustment is not None
    assert (few_survey.adjustment.redundancy, few_survey.accuracy) == (4, None)


@pytest.mark.parametrize("head", ["", "# accuracy: 0.4\n"])
@pytest.mark.parametrize("tilt", [(0.0, 0.0), (3.0, -2.0)])
def test_what_is_written_reads_back(tmp_path: Path, head: str, tilt: tuple[float, float]) -> None:
    for seed in range(5):
        rows, _, _ = hall(np.random.default_rng(seed), tilt=tilt, shared=10)
        rows = [row for row in rows if row[4] != "BM2"]
        survey = read(as_text(rows, {"BM1": 250.0}, head))
        write_survey(survey, tmp_path / "k.csv", overwrite=True)
        again = read_survey(tmp_path / "k.csv")
        assert differences(survey, again) == []
        assert again.adjustment is not None
        assert again.adjustment.setups["offset"].abs().max() < 1e-4


def test_a_tilted_setup_is_corrected_and_said() -> None:
    rows, true, benchmarks = hall(np.random.default_rng(5), noise=0.2, tilt=(3.0, -2.0), shared=21)
    survey = read(as_text(rows, benchmarks, "# accuracy: 0.2\n"))
    assert survey.adjustment is not None
    setup = survey.adjustment.setups.loc["2"]
    for axis, true_tilt in (("x", 3.0), ("y", -2.0)):
        assert abs(setup[f"tilt_{axis}"] - true_tilt) < 3.3 * setup[f"tilt_{axis}_error"]
    (note,) = survey.notes
    assert "set-up '2' rises" in note.what
    assert "whether it or set-up '1' was out of level" in note.what
    assert note.cell == f"C{6 + next(i for i, row in enumerate(rows) if row[3] == '2')}"
    # uncorrected, the far end of set-up 2 would be off by about 3 mm/m x 7 m
    assert np.abs(survey.points["height"].to_numpy() - true).max() < 3.0


def test_a_blunder_is_named_with_its_cell_and_size() -> None:
    rows, _, benchmarks = hall(np.random.default_rng(6), noise=0.3)
    for label, kind in (("BM1", "benchmark"), ("tp2", "turning")):
        i = next(i for i, row in enumerate(rows) if row[4] == label)
        bad = [row.copy() for row in rows]
        bad[i][2] = repr(float(bad[i][2]) + 10)  # ten more on the tape: the drop is too large
        notes = read(as_text(bad, benchmarks, "# accuracy: 0.3\n")).notes
        (note,) = [note for note in notes if getattr(note.what, "key", "") in ("tie-off", "one-tie-off")]
        cells = [f"C{6 + k}" for k, row in enumerate(rows) if row[4] == label or (kind == row[5] == "benchmark")]
        # two readings tie a point, and two benchmarks a set-up: which of the two is off cannot be known
        assert all(f"in {cell} " in note.what for cell in cells), note
        assert "in C" in note.what
        assert "too large" in note.what
        assert "too small" in note.what
        assert note.cell == min(cells, key=lambda cell: int(cell[1:]))


def test_a_blunder_that_stands_alone() -> None:
    rows, _, benchmarks = hall(np.random.default_rng(7), noise=0.3)
    benchmarks["BM3"] = 10.0
    rows.append(["", "", repr(1200.0 - 10.0 - 10.0), "1", "BM3", "benchmark"])  # the drop is 10 too small
    for head in ("# accuracy: 0.3\n", ""):
        notes = read(as_text(rows, benchmarks, head)).notes
        found = next(note for note in notes if "it is used as it is" in note.what)
        assert "reading of BM3 from set-up '1'" in found.what
        assert "too small" in found.what
        assert found.cell == f"C{5 + bool(head) + len(rows)}"
        assert not any("disagree by" in note.what for note in notes)  # said once


def test_ties_that_scatter_more_than_the_accuracy_says() -> None:
    rows, _, benchmarks = hall(np.random.default_rng(9), noise=1.0, shared=21)
    # so far out that shared stations stop the file; the scatter is said with them, and no reading is blamed
    found = [problem.what for problem in problems(as_text(rows, benchmarks, "# accuracy: 0.45\n"))]
    assert sum("scatter by" in what and "times the accuracy" in what for what in found) == 1
    assert not any("off by" in what for what in found)
    rows, _, benchmarks = hall(np.random.default_rng(9), noise=0.4, shared=21)
    assert not read(as_text(rows, benchmarks, "# accuracy: 0.45\n")).notes


def test_a_loop_that_misses_is_noted() -> None:
    # nothing stated, one spare reading: a turning point each way between two benchmarks, 8 mm out
    text = as_text(
        [
            ["0", "0", "50", "1", "", ""],
            ["100", "0", "51", "1", "", ""],
            ["", "", "30", "1", "A", "benchmark"],
            ["", "", "70", "1", "tp", "turning"],
            ["", "", "90", "2", "tp", "turning"],
            ["0", "100", "60", "2", "", ""],
            ["", "", "42", "2", "B", "benchmark"],
        ],
        {"A": 100.0, "B": 100.0},
    )
    survey = read(text)
    (note,) = survey.notes
    assert "the line B - set-up 2 - tp - set-up 1 - A misses by" in note.what
    assert "8 mm" in note.what
    assert note.cell is not None
    assert survey.adjustment is not None
    # A 100, instrument 130, tp 60, instrument 150, B 108 against 100
    # from B back to A: instrument 142, tp 52, instrument 122, A 92 against 100
    assert survey.adjustment.misclosures["misclosure"].tolist() == pytest.approx([-8])
    # shared alike by the four readings (closed form): 2 mm each; a reading that ties nothing has none
    assert survey.adjustment.residuals["residual"].abs().sort_values().tolist() == pytest.approx([0, 0, 0, 2, 2, 2, 2])


def test_setups_that_share_nothing_say_what_to_read() -> None:
    rows, _, benchmarks = hall(np.random.default_rng(1), shared=0, turning=False)
    (problem,) = problems(as_text(rows, benchmarks))
    assert "set-up '2' reads no benchmark and shares no turning point or station" in problem.what
    assert "station at 0, 0" in (problem.remedy or "")
    assert "`benchmark`" in (problem.remedy or "")
    assert problem.cell == f"C{4 + 1 + next(i for i, row in enumerate(rows) if row[3] == '2')}"
    # two set-ups tied to one another and to nothing known are one problem
    moved = [[*row[:3], "3", *row[4:]] for row in rows[:4]] + [[*row[:3], "4", *row[4:]] for row in rows[2:6]]
    mine = [[str(float(row[0]) + 50), *row[1:]] for row in moved]
    first = [row for row in rows if row[3] == "1"]
    (problem,) = problems(as_text([*first, *mine], benchmarks))
    assert "set-ups '3', '4' share points with one another, but read no benchmark" in problem.what
    # a benchmark booked as a turning point is recognised
    (problem,) = problems(as_text([*rows, ["", "", "1100", "2", "BM1", "turning"]], benchmarks))
    assert "give it the kind `benchmark`" in (problem.remedy or "")


def test_turning_points_that_cannot_be_used() -> None:
    rows, _, benchmarks = hall(np.random.default_rng(1))
    (problem,) = problems(as_text([*rows, ["", "", "1100", "2", "", "turning"]], benchmarks))
    assert "without a label or a place" in problem.what
    (problem,) = problems(as_text([*rows, ["9000", "1500", "1270", "2", "tp1", "turning"]], benchmarks))
    assert "'tp1' stands at two places" in problem.what
    assert "4000 mm apart" in problem.what
    survey = read(as_text([*rows, ["", "", "1100", "2", "tp9", "turning"]], benchmarks, "# accuracy: 0.4\n"))
    assert ["'tp9' is read once" in note.what for note in survey.notes] == [True]


def test_a_bad_tie_is_named_beside_the_stations_that_it_sets_apart() -> None:
    # set-up 2 hangs on a benchmark read 40 mm off and one shared station: that station stops the file
    text = as_text(
        [
            ["0", "0", "50", "1", "", ""],
            ["900", "0", "51", "1", "", ""],
            ["0", "900", "52", "1", "", ""],
            ["", "", "30", "1", "A", "benchmark"],
            ["", "", "80", "2", "A", "benchmark"],
            ["0", "0", "60", "2", "", ""],
        ],
        {"A": 100.0},
        "# accuracy: 0.5\n",
    )
    found = [problem.what for problem in problems(text)]
    assert any("read twice" in what for what in found)
    assert any(getattr(what, "key", "") == "one-tie-off" for what in found)


def test_one_setup_has_no_adjustment() -> None:
    survey = read("# unit: mm\n# benchmark: A = 5\nx,y,drop,label,kind\n0,0,1,,\n9,0,1,,\n0,9,1,,\n,,3,A,benchmark\n")
    assert survey.adjustment is None
    assert survey.points["height"].tolist() == [7.0, 7.0, 7.0]


def test_errors_of_shared_heights_cover() -> None:
    rng = np.random.default_rng(12)
    inside = []
    for _ in range(60):
        rows, true, benchmarks = hall(rng, noise=0.5)
        adjustment = read(as_text(rows, benchmarks, "# accuracy: 0.5\n")).adjustment
        assert adjustment is not None
        heights, errors = adjustment.heights, adjustment.errors
        places = [(float(row[0]), float(row[1])) for row in rows if not row[5]]
        k = int(rng.integers(len(places)))
        name = f"station at {places[k][0]:g}, {places[k][1]:g}"
        inside.append(abs(heights[name] - true[k]) <= 1.96 * errors[name])
    assert np.mean(inside) >= 0.85  # 95 % less three and a half standard errors


def test_many_shared_stations_take_a_moment_only() -> None:
    rng = np.random.default_rng(0)
    x, y = (a.ravel() for a in np.meshgrid(np.arange(60) * 100.0, np.arange(50) * 100.0))
    rows = [
        [f"{a}", f"{b}", f"{100 * s + rng.normal():.3f}", str(s), "", ""]
        for s in (1, 2)
        for a, b in zip(x, y, strict=True)
    ]
    start = time.perf_counter()
    survey = read(as_text(rows, {}, "# accuracy: 1\n"))
    assert time.perf_counter() - start < 15
    assert survey.adjustment is not None
    assert survey.adjustment.redundancy == len(x) - 1
    assert survey.adjustment.setups.loc["2", "offset_error"] == pytest.approx(math.sqrt(2 / len(x)))  # closed form
