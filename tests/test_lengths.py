"""Lengths: expected values follow from 1 in = 25.4 mm exactly (international inch of 1959)."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flatness import lengths
from flatness.errors import LengthError
from flatness.lengths import (
    LONGEST_MM,
    MM_PER,
    UnitNeededError,
    format_against,
    format_length,
    looks_like_date,
    parse_exact,
    parse_length,
    settle,
    unit_named,
)

INCH = Fraction(254, 10)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("3/8", Fraction(3, 8)),
        ("-1 1/16", -Fraction(17, 16)),
        ("-1-1/16", -Fraction(17, 16)),
        ('41-3/8"', Fraction(331, 8)),
        ("41-3/16", 41 + Fraction(3, 16)),
        ("1-1/16", Fraction(17, 16)),
        ("12' 6 1/2\"", Fraction(301, 2)),
        ("12'-6\"", 150),
        ("12'6 1/2\"", Fraction(301, 2)),
        ("12'-6-1/2\"", Fraction(301, 2)),
        ("12 ft 6 1/2 in", Fraction(301, 2)),
        ("12ft6in", 150),
        ("12'6", 150),
        ("-12'-6\"", -150),
        ("+12' 6\"", 150),
        ("10 ft 6 in", 126),
        ("10 FEET 6 Inches", 126),
        ("0' 3/8\"", Fraction(3, 8)),
        ("½", Fraction(1, 2)),
        ("1½", Fraction(3, 2)),
        ("1 ½", Fraction(3, 2)),
        ("1-½", Fraction(3, 2)),
        ("-½", -Fraction(1, 2)),
        ("− ½", -Fraction(1, 2)),
        ("⅜”", Fraction(3, 8)),
        ("⅟8", Fraction(1, 8)),
        ("12’-6 ½”", Fraction(301, 2)),
        ("12′ 6″", 150),
        ("5''", 5),
        ("5’’", 5),
        ("5'", 60),
        ("3\u00a03/8", 3 + Fraction(3, 8)),
        ("\ufeff3/8 ", Fraction(3, 8)),
        ("3⁄8", Fraction(3, 8)),
        ("0 3/8", Fraction(3, 8)),
        ("0.375", Fraction(3, 8)),
        (".375", Fraction(3, 8)),
        ("5.", 5),
        ("1 1/8 in", Fraction(9, 8)),
        ("1 1/8 in.", Fraction(9, 8)),
        ("3.75e-1", Fraction(3, 8)),
        ("1E1", 10),
        ("16/8", 2),
        ("9/8", Fraction(9, 8)),
        ("1/128", Fraction(1, 128)),
        ("3/10", Fraction(3, 10)),
        ("7/100", Fraction(7, 100)),
        ("-0", 0),
    ],
)
def test_inches_as_people_write_them(text: str, inches: Fraction) -> None:
    assert parse_exact(text, "in") == inches * INCH


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("9 mm", 9),
        ("9MM", 9),
        ("3.2 cm", 32),
        ("1.234 m", 1234),
        ("2 metres", 2000),
        ("-4.5 millimeters", Fraction(-9, 2)),
    ],
)
def test_metric_lengths(text: str, mm: Fraction) -> None:
    assert parse_exact(text, "in") == mm


def test_the_worked_values() -> None:
    # 1 1/8 in = 28.575 mm and 10 ft 6 in = 3200.4 mm, by the definition of the inch
    assert parse_length("1 1/8 in") == 28.575
    assert parse_length("10 ft 6 in") == 3200.4
    assert parse_length(0.1, "in") == 2.54
    assert parse_length(np.float64(3), "ft") == 914.4
    assert parse_length(Fraction(1, 3), "mm") == 1 / 3


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("3,2", "comma"),
        ("1,200", "comma"),
        ("3/8/2026", "date"),
        ("8-Mar", "date"),
        ("Mar-08", "date"),
        ("2026-03-08", "date"),
        ("2026-03-08 00:00:00", "date"),
        ("3-1-16", "date"),
        ("8. Mrz", "date"),
        ("March 8, 2026", "date"),
        ("1/0", "zero"),
        ("0/0", "zero"),
        ("1e999", "kilometre"),
        ("2 000 000", "not a length"),
        ("2000000", "kilometre"),
        ("²", "not a length"),
        ("--3", "not a length"),
        ("+-3", "not a length"),
        ("5 5/4", "fraction of one or more"),
        ("5 8/8", "fraction of one or more"),
        ("47/16", "a space may be missing"),
        ("49/16", "a space may be missing"),
        ("15/8 in", "a space may be missing"),
        ("41 5/61", "no tape is divided into 61"),
        ("1/3", "no tape is divided into 3"),
        ("1/11", "no tape is divided into 11"),
        ("1/101", "no tape is divided into 101"),
        ("1/129", "no tape is divided into 129"),
        ("1 2 3", "not a length"),
        ("½5", "not a length"),
        ("½½", "not a length"),
        ("1/½", "not a length"),
        ("1.5 1/2", "not a length"),
        ("1/2/3", "not a length"),
        ("12' 13\"", "twelve inches"),
        ("12' 12\"", "twelve inches"),
        ("12'6'", "not a length"),
        ("12.5' 6\"", "not a length"),
        ("12' 6 mm", "not a length"),
        ("3/8 in in", "not a length"),
        ("n/a", "not a length"),
        ("-", "not a length"),
        ("x", "not a length"),
        ("", "empty"),
        ("  ", "empty"),
        ("1\n3/8", "line break"),
        ("5%", "not a length"),
        ("'3/8", "not a length"),
        ("(3)", "not a length"),
        ("3-", "not a length"),
        ("nan", "not a length"),
        ("inf", "not a length"),
        ("3 furlongs", "not a length"),
        ("1_000", "not a length"),
        ("0x10", "not a length"),
        ("３", "not a length"),
        ("#REF!", "not a length"),
    ],
)
def test_what_is_no_length_says_so(text: str, word: str) -> None:
    with pytest.raises(LengthError) as caught:
        parse_length(text, "in")
    problem = caught.value.problems[0]
    assert word in problem.what
    assert problem.value == text
    assert problem.expected


@pytest.mark.parametrize("value", [True, False, np.bool_(True), None, float("nan"), float("inf"), 10**400, [3]])
def test_values_that_are_no_numbers(value: object) -> None:
    with pytest.raises(LengthError, match="not a length"):
        parse_length(value, "in")  # type: ignore[arg-type]


def test_remedies() -> None:
    def remedy(text: str) -> str:
        with pytest.raises(LengthError) as caught:
            parse_length(text, "in")
        return caught.value.problems[0].remedy or ""

    assert "as Text" in remedy("8-Mar")
    assert "0 3/8" in remedy("3/8/2026")
    assert "semicolon" in remedy("3,2")
    assert "delete the '" in remedy("'3/8")
    assert remedy("x3/8") == ""
    # 63 sixteenths are 3 15/16
    assert remedy("63/16") == "write 6 3/16 or 3 15/16, whichever it is"


def test_decimal_comma_only_where_asked_for() -> None:
    assert parse_exact("3,2", "mm", decimal_comma=True) == Fraction(16, 5)
    assert parse_exact("-,5 cm", "mm", decimal_comma=True) == -5
    assert parse_exact("3.2", "mm", decimal_comma=True) == Fraction(16, 5)
    for text in ("1.234,5", "1,2,3", "1, 5", ","):
        with pytest.raises(LengthError) as caught:
            parse_length(text, "mm", decimal_comma=True)
        assert ("a comma inside" in caught.value.problems[0].what) == (text in ("1.234,5", "1,2,3"))


def test_a_kilometre_is_the_longest() -> None:
    assert parse_exact("1000 m") == parse_exact("-1000 m") * -1 == 10**6
    with pytest.raises(LengthError, match="longer than a kilometre"):
        parse_length("1000.001 m")


def test_areas_and_volumes_by_the_definition_of_the_foot() -> None:
    # 1 ft = 0.3048 m exactly: 0.09290304 m2, 0.028316846592 m3; a litre is a cubic decimetre
    assert pytest.approx(92_903.04, rel=1e-15) == lengths.MM2_PER_FT2
    assert pytest.approx(28_316_846.592, rel=1e-15) == lengths.MM3_PER_FT3
    assert (lengths.MM2_PER_M2, lengths.MM3_PER_LITRE) == (1000**2, 100**3)


def test_unit_of_bare_numbers() -> None:
    assert {unit: parse_exact("2", unit) for unit in MM_PER} == {
        "mm": 2,
        "cm": 20,
        "m": 2000,
        "in": Fraction(254, 5),
        "ft": Fraction(3048, 5),
    }
    with pytest.raises(LengthError, match="unknown unit"):
        parse_length("2", "yd")
    with pytest.raises(UnitNeededError, match="without a unit"):
        parse_exact("2", None)
    with pytest.raises(UnitNeededError):
        parse_exact(2.0, None)
    assert parse_exact("0", None) == 0  # nothing is nothing in any unit
    assert parse_exact("2 cm", None) == 20
    assert unit_named("Inches") == "in"
    assert unit_named("”") == "in"
    assert unit_named("yard") is None


@pytest.mark.parametrize(
    "text", ["3/8", "41-3/16", "1-1/16", '1-1/16"', "12'-6\"", "9 mm", "0.375", "1 1/8 in", "03.5"]
)
def test_lengths_are_no_dates(text: str) -> None:
    assert not looks_like_date(text)


fractions = st.sampled_from(lengths.FRACTIONS)


@given(st.integers(-300_000, 300_000), fractions, st.sampled_from(["in", "ft"]))
def test_exact_multiples_survive_print_and_parse(parts: int, fraction: int, unit: str) -> None:
    mm = float(parts * INCH / fraction)
    assert parse_length(format_length(mm, unit, fraction)) == mm


@given(st.floats(-LONGEST_MM / 2, LONGEST_MM / 2), fractions, st.sampled_from(["in", "ft", "mm", "cm", "m"]))
def test_rounding_is_within_half_a_step_and_symmetric(mm: float, fraction: int, unit: str) -> None:
    step = {"mm": Fraction(1, 10), "cm": Fraction(1, 10), "m": Fraction(1)}.get(unit, INCH / fraction)
    shown = format_length(mm, unit, fraction)
    # a millionth of a millimetre is settled before rounding
    assert abs(parse_exact(shown) - Fraction(mm)) <= step / 2 + Fraction(1, 10**6)
    assert parse_exact(format_length(-mm, unit, fraction)) == -parse_exact(shown)
    assert not shown.startswith(("-0 ", '-0"'))


def test_halves_round_away_from_zero() -> None:
    # 1/32 in lies half way between 0 and 1/16 in
    assert format_length(25.4 / 32) == '1/16"'
    assert format_length(-25.4 / 32) == '-1/16"'
    assert format_length(0.05, "mm") == "0.1 mm"
    assert format_length(-1e-9) == '0"'
    assert format_length(10, "mm") == "10 mm"
    # to a tenth of a millimetre, and metres to one
    assert [format_length(1234.56, unit) for unit in ("mm", "cm", "m")] == ["1234.6 mm", "123.46 cm", "1.235 m"]
    assert [format_length(1234.543, unit) for unit in ("cm", "m")] == ["123.45 cm", "1.235 m"]
    assert format_length(304.8 * 12, "ft") == "12' 0\""
    assert format_length(304.8 * 12 - 0.1, "ft") == "12' 0\""


@pytest.mark.parametrize(
    "call",
    [
        lambda: format_length(float("nan")),
        lambda: format_length(float("inf")),
        lambda: format_length(1, "yd"),
        lambda: format_length(1, "in", 10),
        lambda: format_against(float("nan"), 3),
        lambda: format_against(1, 2, "yd"),
    ],
)
def test_what_cannot_be_printed(call) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(LengthError):
        call()


near = st.sampled_from([0.0, 1e-9, -1e-9, 1e-6, -1e-6, 1e-4, -1e-4, 0.01, -0.01, 0.3, -0.3, 2.0])


@given(
    st.one_of(st.integers(1, 400).map(lambda n: n * 25.4 / 64), st.integers(1, 400).map(float), st.floats(1e-3, 1e5)),
    near,
    fractions,
    st.sampled_from(["in", "ft", "mm", "cm", "m"]),
)
def test_print_and_judgement_agree(allowed: float, off: float, fraction: int, unit: str) -> None:
    mm = allowed + off
    shown = parse_exact(format_against(mm, allowed, unit, fraction))
    fails = settle(mm) > settle(allowed)
    # the limit as the decimal it prints as, so that 3/16 in is 4.7625 mm and not the float beside it
    assert (shown > Fraction(repr(settle(allowed)))) == fails


def test_print_against_a_limit() -> None:
    assert format_against(4.7625, 4.7625) == '3/16"'
    assert format_against(4.77, 4.7625) == '0.19"'
    assert format_against(4.7, 4.7625) == '3/16"'
    # 5.2 mm are 6.55 of 1/32 in and 3.28 of 1/16 in; 5 mm are 12.6 of 1/64 in and 6.3 of 1/32 in
    assert [format_against(mm, 4.7625) for mm in (5.2, 5.0)] == ['7/32"', '13/64"']
    assert format_against(3.04, 3.0, "mm") == "3.04 mm"
    assert format_against(5, float("inf")) == '3/16"'


def test_settling() -> None:
    # of pairs exactly 3 mm apart many differ from 3.0 by binary noise
    assert settle(0.1 + 0.2) == 0.3
    assert settle(3.0000000004) == 3.0
    assert settle(3.0000004) == 3.0
    assert settle(3.000001) > 3.0
