"""The catalogue: its file as a whole, broken files, and naming limits."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

import flatness
from flatness.errors import ArgumentError, LimitError
from flatness.limits.catalogue import (
    KINDS,
    Limit,
    caution,
    describe,
    find,
    level_rule,
    limits,
    near_words,
    published,
    read_limits,
    straightedge_limit,
)
from flatness.limits.measuring import Subject
from flatness.planning.request import plannable


def named(name: str) -> Limit:
    (found,) = find(name)
    return found


def test_every_limit_has_source_seen_and_value():
    for limit in published():
        assert limit.source.strip()
        assert limit.seen in ("read", "quoted", "memory")
        assert limit.kind in KINDS
        assert describe(limit).strip()
        assert describe(limit, "source") == limits().loc[limit.name, "value"]
        for mm in (limit.allowed, limit.length):
            assert mm is None or (math.isfinite(mm) and mm > 0)


def test_names_are_unique_and_never_another_finish():
    names = [x.name for x in published()]
    assert len(set(names)) == len(names)
    for limit in published():
        assert all(x.name == limit.name for x in published() if x.finish == limit.name)


def test_caution_follows_how_sure_a_limit_is():
    assert caution(named("maple-sports-slab")) == ""
    assert caution(straightedge_limit(3048, 3)) == ""
    assert "check your copy" in caution(named("wood-nailed-6ft"))
    assert caution(named("wood-nailed-6ft")).startswith("as quoted by")
    assert caution(named("ceiling-grid")) == (
        "from memory, not checked against the standard's own text: check your copy"
    )


def test_edition_and_clause_are_given_or_said_not_to_be_seen():
    assert all(limit.edition and limit.clause for limit in published())


def test_the_table():
    table = limits()
    assert table.index.name == "limit"
    assert list(table.columns) == [
        "finish",
        "called",
        "purpose",
        "surfaces",
        "kind",
        "value",
        "allowed_mm",
        "length_mm",
        "planned",
        "source",
        "edition",
        "clause",
        "seen",
        "notes",
    ]
    assert len(table) == len(published())
    assert table.loc["wood-nailed-6ft", "value"] == '3/16" under 6 ft'
    assert table.loc["wood-nailed-6ft", "allowed_mm"] == 4.7625
    assert table.loc["plaster-base", "surfaces"] == "wall, ceiling"
    # an F-number, a ratio and a table are no lengths
    assert table.loc[["concrete-flat-ff", "accessible-slope", "din-row-3-bar"], "allowed_mm"].isna().all()


def test_what_people_call_a_finish_finds_it():
    assert {"wood-nailed", "wood-glued"} == set(limits("oak").finish)
    assert set(limits("hardwood glued").finish) == {"wood-glued"}
    assert {"maple-sports", "parquet-screed-switzerland", "new-home-usa-wood-floor"} <= set(limits("hardwood").finish)
    assert {"new-home-uk-ceiling", "gypsum-board-framing", "ceiling-grid"} <= set(limits("ceiling").finish)
    assert limits("ceiling").surfaces.str.contains("ceiling").sum() > 5
    assert "framing-level-4" in set(limits("drywall ceiling").finish)
    with pytest.raises(LimitError, match="wood-nailed, wood-glued"):
        find("oak")
    assert near_words("hardwod")[0] == "hardwood"
    assert near_words("zzzz") == []


def test_limits_that_corrections_are_planned_for_are_marked():
    table = limits("floor")
    survey = flatness.read_survey(Path(__file__).parents[2] / "sample_surveys/loft_floor/before.csv")
    subject = Subject.of(survey, find("wood-nailed"))
    for kind, rows in table.groupby("kind"):
        told = plannable(find(rows.index[0]), subject, None)
        assert bool(told.names) == rows.planned.iloc[0], kind


def test_the_word_searches_name_finish_purpose_source_and_notes():
    assert set(limits("TILE").finish) >= {"tile-large", "tile-small", "studs-thin-set-tile"}
    assert set(limits("aci 117").source) == {"ACI 117"}
    assert "maple-sports-slab" in limits("radius").index
    nothing = limits("zebra")
    assert len(nothing) == 0
    assert list(nothing.columns) == list(limits().columns)


GOOD = """
[[limit]]
name = "some-floor"
finish = "some"
purpose = "some floor"
surfaces = ["floor"]
kind = "straightedge"
length = "10 ft"
allowed = "3/16 in"
source = "some standard"
edition = ""
clause = ""
seen = "read"
notes = ""
"""
SPAN = GOOD.replace('kind = "straightedge"', 'kind = "span-bar"\nrounded = true').replace(
    'length = "10 ft"\nallowed = "3/16 in"', 'distances = ["1 m", "4 m"]\nallowed = ["2 mm", "3 mm"]'
)
RULE = GOOD.replace('kind = "straightedge"', 'kind = "level-rule"').replace(
    'length = "10 ft"\nallowed = "3/16 in"', 'per_metre = "3 mm"\ncap = "20 mm"'
)


def test_good_texts_are_read():
    assert read_limits(GOOD)[0].allowed == 4.7625
    assert read_limits(SPAN)[0].parameters["allowed"] == (2, 3)
    assert level_rule(read_limits(RULE)[0])(1000) == 3


@pytest.mark.parametrize(
    ("text", "old", "new", "key", "says"),
    [
        (GOOD, 'allowed = "3/16 in"', 'allowed = "3/16"', "allowed", "without a unit"),
        (GOOD, 'allowed = "3/16 in"', "allowed = 5", "allowed", "text with its unit"),
        (GOOD, 'allowed = "3/16 in"', 'allowed = "3/16 inn"', "allowed", "not a length"),
        (GOOD, 'allowed = "3/16 in"', 'allowed = "-3/16 in"', "allowed", "out of range"),
        (GOOD, 'allowed = "3/16 in"', 'allowed = "0 mm"', "allowed", "out of range"),
        (GOOD, 'allowed = "3/16 in"', 'allowed = "0.0000001 mm"', "allowed", "out of range"),  # less than is settled
        (GOOD, 'allowed = "3/16 in"\n', "", "allowed", "missing key"),
        (GOOD, 'source = "some standard"\n', "", "source", "missing key"),
        (GOOD, 'source = "some standard"', 'source = " "', "source", "not a text"),
        (GOOD, 'edition = ""', "edition = 2020", "edition", "not a text"),
        (GOOD, 'length = "10 ft"', 'length = "10 ft"\nlenght = "10 ft"', "lenght", "did you mean length?"),
        (GOOD, 'kind = "straightedge"', 'kind = "straightege"', "kind", "did you mean straightedge?"),
        (GOOD, 'kind = "straightedge"\n', "", "kind", "missing key"),
        (GOOD, '["floor"]', '["roof"]', "surfaces", "unknown surface"),
        (GOOD, '["floor"]', "[]", "surfaces", "unknown surface"),
        (GOOD, '["floor"]', '"floor"', "surfaces", "unknown surface"),
        (GOOD, 'seen = "read"', 'seen = "heard"', "seen", "read, quoted, memory"),
        (GOOD, 'seen = "read"', 'seen = "agreed"', "seen", "read, quoted, memory"),
        (GOOD, 'name = "some-floor"', 'name = "Some Floor"', "name", "lower-case words"),
        (SPAN, '["2 mm", "3 mm"]', '["2 mm"]', "allowed", "do not pair up"),
        (SPAN, '["1 m", "4 m"]', '["4 m", "1 m"]', "distances", "do not rise"),
        (SPAN, '["1 m", "4 m"]', '["1 m", "4"]', "distances", "without a unit"),
        (SPAN, "rounded = true", 'rounded = "yes"', "rounded", "neither true nor false"),
        (RULE, 'cap = "20 mm"\n', "", "per_metre", "too little or too much"),
        (RULE, 'cap = "20 mm"', 'cap = "20 mm"\ncube_root = "10 mm"', "per_metre", "too little or too much"),
        (RULE, 'cap = "20 mm"', 'cap = "20 mm"\nplus = "5 mm"', "per_metre", "too little or too much"),
    ],
)
def test_a_broken_limit_is_named_with_its_remedy(text, old, new, key, says):
    assert old in text
    with pytest.raises(LimitError) as caught:
        read_limits(text.replace(old, new), "mine.toml")
    (problem,) = caught.value.problems
    assert problem.file == "mine.toml"
    limit = "limit Some Floor" if "Some Floor" in new else "limit some-floor"
    assert problem.column == f"{limit}, {key}"
    assert says in str(problem)
    assert problem.expected
    assert problem.remedy


@pytest.mark.parametrize(
    ("kind", "lines", "key", "says"),
    [
        ("ff", "at_least = 0\nscope = 'overall'", "at_least", "out of range"),
        ("ff", "at_least = nan\nscope = 'overall'", "at_least", "out of range"),
        ("ff", "at_least = '20'\nscope = 'overall'", "at_least", "not a number"),
        ("ff", "at_least = 20\nscope = 'local'", "scope", "overall or least"),
        ("straightedge-share", "length = '3 m'\nallowed = '5 mm'\nshare = 90", "share", "0.9 is 90 %"),
        ("slope", "at_most = '1/48'", "at_most", "1:48"),
        ("slope", "at_most = '1:0'", "at_most", "not a slope"),
        ("reference", "values = {}", "values", "table of texts"),
        ("reference", "values = { a = 1 }", "values", "table of texts"),
    ],
)
def test_values_of_the_other_kinds(kind, lines, key, says):
    text = GOOD.replace('"straightedge"', f'"{kind}"').replace('length = "10 ft"\nallowed = "3/16 in"', lines)
    with pytest.raises(LimitError, match=re.escape(says)) as caught:
        read_limits(text)
    assert [p.column for p in caught.value.problems] == [f"limit some-floor, {key}"]


@pytest.mark.parametrize("line", ['other = "oak"', "some = 5", 'some = " "'])
def test_a_name_that_nothing_is_called_by_is_named(line):
    assert read_limits(GOOD + '[called]\nsome = "oak"')[0].called == "oak"
    with pytest.raises(LimitError, match="called"):
        read_limits(f"{GOOD}[called]\n{line}")


def test_every_finish_has_a_name_that_people_say():
    said = {x.finish: x.everyday for x in published()}
    assert said["wood-glued"] == "oak, glued down"
    assert all(0 < len(name) <= 45 for name in said.values()), said
    assert len(set(said.values())) == len(said)  # no two finishes are called alike
    # what people ask for, and what answers it
    for word, finishes in (
        ("oak", {"wood-nailed", "wood-glued"}),
        ("hardwood", {"wood-nailed", "wood-glued", "wood-france"}),
        ("ceiling", {"ceiling-grid", "gypsum-board-framing", "new-home-uk-ceiling"}),
    ):
        found = limits(word)
        assert finishes <= set(found["finish"]), word
        assert found["planned"].any()
    assert straightedge_limit(3048, 3).everyday == ""


def test_all_problems_come_in_one_report():
    text = GOOD.replace("3/16 in", "3/16") + GOOD.replace("some-floor", "other").replace('"read"', '"heard"')
    with pytest.raises(LimitError) as caught:
        read_limits(text)
    assert [p.column for p in caught.value.problems] == ["limit some-floor, allowed", "limit other, seen"]


def test_names_that_clash():
    with pytest.raises(LimitError, match="duplicate name"):
        read_limits(GOOD + GOOD)
    with pytest.raises(LimitError, match="named like a finish"):
        read_limits(GOOD + GOOD.replace("some-floor", "some").replace('"some"\npurpose', '"b"\npurpose'))


@pytest.mark.parametrize("text", ["limit = [", "limit = 3", "[other]\na = 1", GOOD + "[other]\na = 1", ""])
def test_a_text_that_is_no_limits_file(text):
    with pytest.raises(LimitError, match=r"mine\.toml"):
        read_limits(text, "mine.toml")


def test_find_takes_names_finishes_limits_and_sequences():
    mine = straightedge_limit(3048, 3.175)
    assert [x.name for x in find("wood-nailed")] == ["wood-nailed-10ft", "wood-nailed-6ft"]
    assert find(mine) == [mine]
    several = find([mine, "tile-large", " Tile-Large-24in ", mine])
    assert [x.name for x in several] == [mine.name, "tile-large-10ft", "tile-large-24in"]
    assert find(limits("lippage").index) == find(["tile-lippage", "stone-top-lippage"])


def test_find_keeps_to_the_surface():
    assert [x.name for x in find("woodwork", surface="wall")] == ["woodwork-wall", "woodwork-wall-flat"]
    for name in ("woodwork-wall", "screed-sr1"):
        with pytest.raises(LimitError, match="not a limit for a ceiling"):
            find(name, surface="ceiling")
    with pytest.raises(ArgumentError, match="floor, ceiling, wall"):
        find("woodwork", surface="roof")


@pytest.mark.parametrize(
    ("asked", "nearest"),
    [("wod-naled", "wood-nailed"), ("tile", "tile-large"), ("screed-sr4", "screed-sr1"), ("lippage", "tile-lippage")],
)
def test_an_unknown_name_brings_the_nearest(asked, nearest):
    with pytest.raises(LimitError) as caught:
        find(asked)
    (problem,) = caught.value.problems
    assert problem.value == asked
    assert "did you mean" in problem.remedy
    assert nearest in problem.remedy
    assert "flatness.limits()" in problem.remedy


@pytest.mark.parametrize("asked", ["", "zzzzqqqq", 7, [7], [], None])
def test_what_names_nothing(asked):
    with pytest.raises(LimitError) as caught:
        find(asked)
    assert "did you mean" not in str(caught.value)


def test_two_limits_of_one_name():
    pair = [straightedge_limit(3048, 3, name="ours"), straightedge_limit(3048, 4, name="ours")]
    with pytest.raises(LimitError, match="two different limits of one name"):
        find(pair)
