"""Strips along which a bar is slid, one at a time, and the file that ``check --spot-check`` reads."""

import numpy as np
import pytest

import flatness
from flatness.errors import ArgumentError, FlatnessError
from flatness.limits.strip_lists import read_spots, read_strips
from flatness.taking.book import BookInUseError, new_book
from flatness.taking.session import Taking
from flatness.taking.strips import Strips, beside

pytestmark = pytest.mark.usefixtures("coarse_lattice")
FT, IN = 304.8, 25.4
LIMIT = flatness.straightedge_limit(10 * FT, 4.7625)


@pytest.fixture
def passing(tmp_path):
    """A flat floor of 12 ft x 10 ft, of which enough is read: it passes at the stations."""
    path = new_book(tmp_path / "room.csv", length=12 * FT, width=10 * FT, step=2 * FT, accuracy=IN / 32)
    taking = Taking.open(path, LIMIT, draws=60)
    errors = np.random.default_rng(1).normal(0, IN / 64, 500)
    while taking.here is not None and not taking.enough:
        taking.enter(f"{1050 + errors[len(taking.readings)]:.1f} mm")
        if taking.due:
            taking.take_look(taking.look())
    assert taking.decided == "pass"
    yield taking
    taking.close()


def test_strip_by_strip_into_the_file_that_check_reads(passing):
    wanted = passing.open_strips
    assert len(wanted) >= 2
    passing.look_between()
    path = beside(passing.book.path)
    assert path.name == "room-spots.csv"
    for k in range(len(wanted)):
        assert passing.sliding
        assert passing.strips.here == k
        passing.slide("none" if k else "1/32")
        seen = [text for _, text in read_strips(path)]
        assert seen == (["1/32"] + ["none"] * k + [""] * (len(wanted) - k - 1)), "each is in the file before the next"
    assert not passing.sliding
    assert passing.due
    passing.take_look(passing.look())
    assert passing.is_looked_at
    assert passing.open_strips == []
    assert passing.latest.assessment.judged[0].between == "spot-checked"
    # what check gives of both files, though its strips went through text to 1/8 in
    survey, spots = flatness.read_survey(passing.book.path), read_spots(path)
    assert [one.gap for one in spots] == [pytest.approx(IN / 32), *[None] * (len(wanted) - 1)]
    found = flatness.assess(survey, LIMIT, draws=60, spot_checks=spots)
    assert found.verdict == passing.decided == "pass"
    assert found.judged[0].between == "spot-checked"
    assert found.judged[0].chance == pytest.approx(passing.latest.assessment.judged[0].chance, abs=0.05)


def test_a_gap_over_what_is_allowed_fails_there_and_then(passing):
    passing.look_between()
    passing.slide("5/16")
    while passing.sliding:
        passing.pass_over()
    passing.take_look(passing.look())
    assert passing.decided == "fail"
    assert passing.open_strips == []


def test_it_goes_on_with_the_strip_where_it_was_and_a_strip_left_out_stays_open(passing):
    passing.look_between()
    count = len(passing.strips.every)
    passing.slide("none")
    passing.pass_over()
    path = passing.book.path
    passing.close()
    again = Taking.open(path, LIMIT, draws=60)
    assert list(again.strips.seen.values()) == ["none"]
    again.take_look(again.look())
    assert len(again.open_strips) == count - 1
    again.look_between()
    assert again.strips.here == 1
    assert len(again.strips.every) == count, "no strip is listed twice"
    again.close()


def test_back_takes_a_strip_back_and_what_was_written_stays_in_the_file(passing):
    passing.look_between()
    passing.slide("3/32")
    before = passing.book.path.read_bytes()
    passing.back()
    assert passing.strips.here == 0
    assert passing.strips.seen == {}
    passing.slide("none")
    assert "# taken back: strip 1, 3/32" in passing.strips.path.read_text()
    assert [one.gap for one in read_spots(passing.strips.path)] == [None]
    passing.back()
    passing.back()  # nothing is left to take back: the strips are left
    assert not passing.sliding
    assert passing.book.path.read_bytes() == before, "no reading is touched"


@pytest.mark.parametrize("typed", ["", "forty", "12", "-1/8", "1,5 mm"])
def test_what_is_no_gap_is_said_and_nothing_is_written(passing, typed):
    passing.look_between()
    with pytest.raises(FlatnessError):
        passing.slide(typed)
    assert not passing.strips.path.exists()
    assert passing.strips.here == 0


def test_two_pages_do_not_write_one_list(passing):
    passing.look_between()
    other = Taking.open(passing.book.path, LIMIT, take_over=True, draws=60)
    with pytest.raises(BookInUseError):
        passing.slide("none")
    assert not passing.strips.path.exists()
    other.close()


def test_a_gap_comes_back_as_it_was_typed(passing):
    passing.look_between()
    passing.slide('3/32"')
    passing.slide("1.5 mm")
    again = Strips(passing.strips.path, "in")
    assert list(again.seen.values()) == ['3/32"', "1.5 mm"]
    assert [one.gap for one in again.done] == [pytest.approx(3 * IN / 32), pytest.approx(1.5)]


def test_a_list_that_is_none_is_refused(tmp_path):
    path = tmp_path / "room-spots.csv"
    path.write_text("strip,bar\n1,6 ft\n")
    with pytest.raises(FlatnessError, match="no list of strips"):
        Strips(path, "in")
    with pytest.raises(ArgumentError, match="no gap yet"):
        Strips(tmp_path / "other-spots.csv", "in").enter("none")
