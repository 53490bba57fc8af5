"""The report in words: where to take more readings, and that its advice on adding them works."""

from __future__ import annotations

import ast
import copy
import pickle
import re
import string
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import flatness
from flatness.lengths import parse_length
from flatness.notes import Note
from flatness.words import checks as check_words
from flatness.words import printed as words
from flatness.words.phrases import phrases, say

FOOT, INCH = 304.8, 25.4
SAMPLES = Path(__file__).parents[2] / "sample_surveys"
BLOCK = "Where to take more readings"


def assessed(allowed, sample="packing_room/hand_typed.csv", **options):
    survey = flatness.read_survey(SAMPLES / sample)
    return flatness.assess(survey, flatness.straightedge_limit(2000, allowed), **{"draws": 40, **options})


@pytest.fixture(scope="module")
def doubtful():
    # half of the surfaces drawn are over their own median: the readings cannot decide
    found = assessed(assessed(60.0).judged[0].likely()[0])
    assert found.verdict == "undecided"
    return found


def block_of(text):
    """Lines of the block on more readings; empty where the report has none."""
    return next((part.splitlines() for part in text.split("\n\n") if part.startswith(BLOCK)), [])


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_the_batch_stands_in_order_in_tape_positions(doubtful, unit):
    text = check_words.report(doubtful, unit, 4)
    assert max(map(len, text.splitlines())) <= 80
    more = flatness.more_readings(doubtful, batch=4)
    found = [
        re.fullmatch(r" +(\d+)  (.*?), (.*?)(, again)? +leaves (\S+) % of the doubt", line) for line in block_of(text)
    ]
    rows = [match.groups() for match in found if match]
    assert [int(row[0]) for row in rows] == [1, 2, 3, 4]
    # read back by the kit's reader of lengths; shown to 1/8 in or to 1 mm
    nearest = INCH / 16 if unit == "in" else 0.5
    for row, x, y, left in zip(rows, more.x, more.y, more.doubt_left, strict=True):
        assert (parse_length(row[1]), parse_length(row[2])) == pytest.approx((x, y), abs=nearest + 1e-6)
        assert f"{row[4]} %" == words.percent(left)
    said = " ".join(" ".join(block_of(text)).split())
    assert f"To decide {doubtful.judged[0].limit.name}" in said
    assert f"pass or fail in {words.percent(more.decided.iloc[-1])} of cases" in said


def test_no_batch_where_none_is_asked_for_where_all_is_decided_or_where_nothing_was_drawn(doubtful):
    assert 6 <= sum(" leaves " in line for line in block_of(check_words.report(doubtful))) <= 24
    assert block_of(check_words.report(doubtful, batch=0)) == []
    decided = assessed(60.0)
    assert decided.verdict == "pass"
    assert block_of(check_words.report(decided)) == []
    assert check_words.where_to_read(assessed(4.0, draws=0)) is None


def test_a_limit_undecided_for_lack_of_a_measure_asks_for_no_readings():
    # a string is not level: its readings cannot tell a level, however many
    survey = flatness.read_survey(SAMPLES / "gallery_floor/string_check.csv")
    found = flatness.assess(survey, flatness.level_limit(6.0), draws=20)
    assert found.verdict == "undecided"
    assert block_of(check_words.report(found)) == []


def test_of_several_in_doubt_the_pictured_one_is_to_be_decided_else_the_nearest_to_even(doubtful):
    survey = doubtful.subject.survey
    # half of the surfaces drawn are over their own median, so the level's chance is even
    median = flatness.check(survey, flatness.level_limit(1.0), draws=40).likely_mm[0]
    level = flatness.level_limit(median, name="level")
    bars = [flatness.straightedge_limit(2000, gap, name=name) for gap, name in ((500.0, "loose"), (4.0, "pictured"))]
    found = flatness.assess(survey, [level, *bars], draws=40)
    even, loose, pictured = found.judged
    assert [one.verdict for one in (even, loose, pictured)] == ["undecided", "pass", "undecided"]
    assert abs(even.chance - 0.5) < abs(pictured.chance - 0.5)
    # of the bars' limits the same gap uses up most of the tighter one
    assert found.pictured is pictured
    assert check_words.where_to_read(found)[0] is pictured
    assert check_words.where_to_read(flatness.assess(survey, [level, bars[0]], draws=40))[0].limit.name == "level"


def test_a_place_that_is_read_already_or_comes_twice_is_marked_again(doubtful):
    x, y, _, _ = doubtful.subject.survey.stations()
    places = pd.DataFrame({"x": [x[3], 700.0, 700.0], "y": [y[3], 900.0, 900.0], "doubt_left": [0.5, 0.4, 0.3]})
    places["decided"], places["times"] = [0.1, 0.2, 0.4], 4
    lines = check_words.more_text(doubtful, doubtful.judged[0], places, "mm").splitlines()
    rows = [line for line in lines if re.match(r" +\d+  ", line)]
    assert [", again" in line for line in rows] == [True, False, True]
    said = " ".join(" ".join(lines).split())
    assert "`again` is a place that was read before" in said
    assert "Read each place 4 times." in said
    assert "lift the staff" in said
    assert check_words.HARDLY_ANY.strip() not in said
    fresh = check_words.more_text(doubtful, doubtful.judged[0], places.iloc[1:2].assign(times=1), "mm")
    assert "`again`" not in fresh
    assert "lift the staff" not in fresh
    assert check_words.HARDLY_ANY.strip() in " ".join(fresh.split())  # in 20 % of cases only


@pytest.mark.parametrize(
    ("chance", "text"), [(0, "0 %"), (0.004, "<1 %"), (0.5, "50 %"), (0.995, ">99 %"), (1, "100 %"), (np.nan, "-")]
)
def test_what_is_not_quite_certain_is_never_printed_as_if_it_were(chance, text):
    assert words.percent(chance) == text


GRID = "# unit: mm\n# reading: drop\nmm,0,1000,2000\n0,50,51,52\n1000,50,52,53\n2000,51,52,55\n"
LIST = "# unit: mm\nx,y,drop\n0,0,50\n1000,0,51\n2000,0,52\n0,1000,50\n1000,1000,52\n2000,1000,53\n"


def read(tmp_path, text):
    path = tmp_path / "survey.csv"
    path.write_text(text, encoding="utf-8")
    return flatness.read_survey(path)


def heights(survey):
    x, y, height = survey.xyz()
    return {(round(a), round(b)): h for a, b, h in zip(x, y, height, strict=True)}


def test_a_grid_takes_a_reading_in_a_row_and_a_column_of_its_own(tmp_path):
    old = heights(read(tmp_path, GRID))
    new = heights(
        read(
            tmp_path,
            "# unit: mm\n# reading: drop\nmm,0,700,1000,2000\n0,50,,51,52\n300,,54,,\n1000,50,,52,53\n2000,51,,52,55\n",
        )
    )
    assert set(new) - set(old) == {(700, 300)}
    # 4 mm further from the line than the station at the origin (54 - 50)
    assert new[0, 0] - new[700, 300] == pytest.approx(4)
    assert all(new[at] - new[0, 0] == pytest.approx(old[at] - old[0, 0]) for at in old)


def test_a_list_takes_further_rows_and_the_same_place_again(tmp_path):
    survey = read(tmp_path, LIST + "700,300,54\n1000,0,51.5\n")
    assert len(survey.points) == 8
    x, y, height, _ = survey.stations()
    at = {(round(a), round(b)): h for a, b, h in zip(x, y, height, strict=True)}
    assert len(at) == 7
    # two readings of one station count by their mean: 51 and 51.5
    assert at[0, 0] - at[1000, 0] == pytest.approx(1.25)


def test_a_grid_written_as_a_list_takes_rows_as_heights(tmp_path):
    survey = read(tmp_path, GRID)
    flatness.write_survey(survey, tmp_path / "list.csv")
    text = (tmp_path / "list.csv").read_text(encoding="utf-8-sig")
    assert "height" in text
    assert heights(flatness.read_survey(tmp_path / "list.csv")) == pytest.approx(heights(survey))


def test_an_instrument_that_was_moved_is_tied_by_two_old_stations(tmp_path):
    first = (
        LIST.replace("x,y,drop", "x,y,drop,setup")
        .replace("\n", ",one\n")
        .replace("mm,one", "mm")
        .replace("setup,one", "setup")
    )
    # 200 mm higher up the second time; the new place is 4 mm further off than the origin
    survey = read(tmp_path, first + "0,0,250,two\n2000,1000,253,two\n700,300,254,two\n")
    x, y, height, _ = survey.stations()
    at = {(round(a), round(b)): h for a, b, h in zip(x, y, height, strict=True)}
    assert at[0, 0] - at[700, 300] == pytest.approx(4, abs=1e-6)


def test_places_of_a_bar_are_told_with_what_it_bounds():
    told = " ".join(check_words.report(assessed(4.0, draws=10, spot_checks=[flatness.SpotCheck(600, 1.0, 5)])).split())
    # none in five places: 1 - 0.05 ** (1 / 5) = 0.4507
    assert "set in 5 places: at 95 % no more than 45 % of the floor shows more" in told


@pytest.mark.parametrize(
    ("note", "inches", "millimetres"),
    [
        # 5 mm is 6.3/32 in; 2 mm/m over 10 ft (3048 mm) is 6.096 mm, 7.7/32 in
        (Note("alignment-rival", off=-5.0), '-3/16"', "-5.0 mm"),
        (Note("alignment-rival", off=5.0), '+3/16"', "+5.0 mm"),
        (Note("known-heights-apart", label="A", off=-0.25), '-1/64"', "-0.25 mm"),
        (Note("tilts", slope=2.0, error=0.0, axis="x"), "1/4\" in 10'", "2.00 mm/m"),
        (Note("tilts", slope=-2.0, error=0.0, axis="x"), "-1/4\" in 10'", "-2.00 mm/m"),
        (Note("deepest-fill-at", at=(1219.2, 3048)), "4' 0\" along x, 10' 0\" along y", "(1219, 3048) mm"),
        (Note("height-off", by=(4.77, 4.7625), side="proud of"), '0.19"', "4.8 mm"),
        (Note("part-unread", parts=[Note("the-last", mm=1219.2)]), "the last 4' 0\"", "the last 1219 mm"),
    ],
)
def test_a_note_is_said_in_the_unit_shown_with_its_sign_its_place_and_its_slope(note, inches, millimetres):
    assert inches in say(note, "in")
    assert " mm" not in say(note, "in")
    assert millimetres in say(note, "mm")
    assert '"' not in say(note, "mm")


def test_a_note_is_its_sentence_wherever_text_is_wanted():
    note = Note("the-first", mm=300.0)
    assert str(note) == f"{note}" == "; ".join([note]) == "the first 300 mm"
    for copied in (str(note), pickle.loads(pickle.dumps(note)), copy.deepcopy(note)):
        assert (copied.key, copied.values) == ("the-first", {"mm": 300.0})  # noqa: PD011
    with pytest.raises(AttributeError):
        note.key = "the-last"
    assert say("a plain text", "in") == "a plain text"


def test_the_phrase_book_has_each_note_that_is_made_and_no_other():
    """Each note fills in all that its phrase has in braces; each phrase is of a note."""
    made, texts = {}, set()
    for path in Path(flatness.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant):
                texts.add(node.value)
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Note":
                key = node.args[0]
                for one in (key.body, key.orelse) if isinstance(key, ast.IfExp) else (key,):
                    if isinstance(one, ast.Constant):
                        made.setdefault(one.value, []).append({word.arg for word in node.keywords})
    assert set(made) <= set(phrases())
    assert {key for key in phrases() if key not in texts and not key.startswith(("lines-", "error-"))} == set()
    for key, uses in made.items():
        wanted = {name for _, name, _, _ in string.Formatter().parse(phrases()[key]) if name}
        assert all(wanted <= names for names in uses if None not in names), key
