"""Errors: what they say, and where."""

from __future__ import annotations

import pytest

from flatness.errors import (
    ArgumentError,
    FlatnessError,
    LengthError,
    Problem,
    SurveyFileError,
    check_above_zero,
    check_choice,
    shorten,
)


def test_a_problem_names_its_cell() -> None:
    problem = Problem("not a length", "k.csv", 14, "C", "n/a", "a length", "leave it empty")
    assert problem.cell == "C14"
    text = str(problem)
    assert text.startswith("k.csv, cell C14 (row 14, column C): not a length")
    for part in ("found: 'n/a'", "expected: a length", "remedy: leave it empty"):
        assert part in text


@pytest.mark.parametrize("problem", [Problem("x", row=3), Problem("x", column="C"), Problem("x", row=3, column="unit")])
def test_no_cell_without_row_and_letter(problem: Problem) -> None:
    assert problem.cell is None


def test_a_bare_problem() -> None:
    assert str(Problem("too short")) == "too short"


def test_all_problems_come_in_one_report() -> None:
    error = SurveyFileError([Problem("first", row=1), Problem("second", row=2)])
    assert [p.what for p in error.problems] == ["first", "second"]
    assert str(error).splitlines()[0] == "2 problems:"
    assert "2. row 2: second" in str(error)


def test_located_fills_in_only_what_is_missing() -> None:
    error = LengthError("not a length", value="x", row=7).located(file="k.csv", row=1)
    assert isinstance(error, LengthError)
    assert (error.problems[0].file, error.problems[0].row) == ("k.csv", 7)


def test_kin() -> None:
    assert issubclass(LengthError, ValueError)
    assert issubclass(SurveyFileError, FlatnessError)
    with pytest.raises(ValueError, match="too short"):
        raise LengthError("too short")


def test_values_are_cut_and_shown_printable() -> None:
    shown = shorten("a" * 200 + "\n\x00")
    assert len(shown) < 100
    assert "\n" not in shown
    assert "..." in shown
    assert shorten("3\n8") == r"'3\n8'"


def test_an_unknown_choice_names_the_known_ones() -> None:
    check_choice("unit", "in", ("in", "mm"))
    check_choice("side", None, (None, "left", "right"))
    with pytest.raises(ArgumentError) as caught:
        check_choice("side", "top", (None, "left", "middle", "right"))
    [problem] = caught.value.problems
    assert (problem.what, problem.column, problem.value) == ("unknown side", "side", "top")
    assert problem.expected == "left, middle, right"
    with pytest.raises(ArgumentError, match="expected: in or mm"):
        check_choice("unit", "ft", ("in", "mm"))


@pytest.mark.parametrize("value", [0, -1.5, float("nan"), float("inf"), "3", None])
def test_a_size_is_above_zero(value: object) -> None:
    if value is None:
        check_above_zero(bar_length=value)  # not given
        return
    with pytest.raises(ArgumentError) as error:
        check_above_zero(step=2, bar_length=value)
    (problem,) = error.value.problems
    assert (problem.what, problem.column, problem.value) == ("bar length out of range", "bar_length", str(value))


def test_nothing_may_be_a_size_where_that_is_said() -> None:
    check_above_zero(kerf=0, or_zero=True)
    with pytest.raises(ArgumentError, match="0 or more"):
        check_above_zero(kerf=-1, or_zero=True)
