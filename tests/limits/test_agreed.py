"""Agreed limits, and the value of a limit in words."""

from __future__ import annotations

import copy
import dataclasses
import math
import pickle
import re

import pytest

from flatness.errors import FlatnessError
from flatness.lengths import parse_length
from flatness.limits.catalogue import (
    KINDS,
    Limit,
    describe,
    f_number_limit,
    find,
    level_limit,
    level_rule,
    light_limit,
    neighbour_limit,
    offset_limit,
    plane_limit,
    plumb_limit,
    published,
    slope_limit,
    span_limit,
    step_limit,
    straightedge_limit,
)


def named(name: str) -> Limit:
    (found,) = find(name)
    return found


AGREED = [
    (straightedge_limit(3048, 4.7625), "straightedge", 4.7625, 3048, "agreed-straightedge-3/16in-10ft"),
    (offset_limit(2000, 5), "offset", 5, 2000, "agreed-offset-5mm-2m"),
    (plane_limit(1981.2, 28.575), "plane", 28.575, 1981.2, "agreed-plane-1-1/8in-6ft6in"),
    (span_limit([100, 1000], [1, 3]), "span-bar", None, None, "agreed-span-bar-1mm-at-100mm-3mm-at-1m"),
    (f_number_limit(ff=25), "ff", 25, None, "agreed-ff-25"),
    (f_number_limit(fl=12.5, scope="least"), "fl", 12.5, None, "agreed-fl-12.5-least"),
    (level_limit(6), "level", 6, None, "agreed-level-6mm"),
    (level_limit(6, 4000), "level", 6, 4000, "agreed-level-6mm-4m"),
    (plumb_limit(3.175, 2438.4), "plumb", 3.175, 2438.4, "agreed-plumb-1/8in-8ft"),
    (neighbour_limit(3.175), "neighbours", 3.175, None, "agreed-neighbours-1/8in"),
    (step_limit(150, 0.5), "step", 0.5, 150, "agreed-step-0.5mm-150mm"),
    (slope_limit("1:48", 1219.2), "slope", 1 / 48, 1219.2, "agreed-slope-1:48-4ft"),
    (light_limit(5, 1524), "light", 5, None, "agreed-light-5deg-5ft"),
    (light_limit(7.5, 1500, along="x"), "light", 7.5, None, "agreed-light-7.5deg-1.5m-x"),
    (slope_limit(0.02, 1000), "slope", 0.02, 1000, "agreed-slope-1:50-1m"),
]


@pytest.mark.parametrize(("limit", "kind", "allowed", "length", "name"), AGREED)
def test_agreed_limits(limit, kind, allowed, length, name):
    assert (limit.kind, limit.allowed, limit.length, limit.name) == (kind, allowed, length, name)
    assert (limit.source, limit.seen) == ("agreed for this project", "agreed")
    assert set(limit.parameters) == set(KINDS[kind].keys)
    assert find(limit) == [limit]


def test_agreed_limits_take_name_purpose_and_surfaces():
    limit = plane_limit(3000, 2, name="our wall", purpose="gloss paint", surfaces=["wall"])
    assert (limit.name, limit.purpose, limit.surfaces) == ("our wall", "gloss paint", ("wall",))
    assert span_limit([1000], [2], "grid", rounded=False).parameters["rounded"] is False


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: straightedge_limit(0, 3), "length"),
        (lambda: straightedge_limit(3000, -1), "allowed"),
        (lambda: straightedge_limit(3000, math.nan), "allowed"),
        (lambda: straightedge_limit(math.inf, 3), "length"),
        (lambda: straightedge_limit(3000, True), "allowed"),
        (lambda: straightedge_limit("10 ft", 3), "parse_length"),
        (lambda: straightedge_limit(3000, 3, surfaces=["roof"]), "surfaces"),
        (lambda: straightedge_limit(3000, 3, surfaces=[]), "surfaces"),
        (lambda: straightedge_limit(3000, 3, name=" "), "name"),
        (lambda: f_number_limit(), "one F-number"),
        (lambda: f_number_limit(ff=25, fl=20), "one F-number"),
        (lambda: f_number_limit(ff=25, scope="local"), "overall or least"),
        (lambda: span_limit([1000, 100], [3, 1]), "do not rise"),
        (lambda: span_limit([100], [1, 2]), "do not pair up"),
        (lambda: span_limit([100, 1000], [1, 0]), "allowed"),
        (lambda: span_limit([100, 1000], [1, 2], "laser"), "bar or grid"),
        (lambda: slope_limit("48", 1000), "1:48"),
        (lambda: slope_limit(0, 1000), "at_most"),
        (lambda: level_limit(3, 0), "distance"),
        (lambda: light_limit(0), "angle"),
        (lambda: light_limit(91), "up to 90"),
        (lambda: light_limit(5, along="z"), "x or y"),
        (lambda: light_limit(5, times=0), "times"),
        (lambda: level_rule(straightedge_limit(3000, 3)), "level rule"),
        (lambda: describe(straightedge_limit(3000, 3), "yd"), "unknown unit"),
    ],
)
def test_what_no_limit_can_be(make, says):
    with pytest.raises(FlatnessError, match=re.escape(says)):
        make()


def test_a_limit_is_a_record():
    limit = named("din-row-3-bar")
    assert len({limit, copy.deepcopy(limit)}) == 1
    assert pickle.loads(pickle.dumps(limit)) == limit
    assert dataclasses.asdict(limit)["name"] == "din-row-3-bar"
    with pytest.raises(dataclasses.FrozenInstanceError):
        limit.allowed = 3
    assert published() is published()


@pytest.mark.parametrize(
    ("limit", "inches", "metric"),
    [
        (straightedge_limit(3048, 4.7625), '3/16" under 10 ft', '3/16" (about 4.8 mm) under 3.048 m'),
        (straightedge_limit(3048, 6.35), '1/4" under 10 ft', "6.35 mm under 3.048 m"),
        (straightedge_limit(2000, 5), '5 mm (about 13/64") under 2 m (about 6\' 6 3/4")', "5 mm under 2 m"),
        (plane_limit(609.6, 1.5875), '1/16" off the plane within 24"', None),
        (level_limit(12.7, 6096), '1/2" out of level in 20 ft', "12.7 mm out of level in 6.096 m"),
        (plumb_limit(8, 3000), None, "8 mm out of plumb in 3 m"),
        (plumb_limit(8), None, "8 mm out of plumb over the whole height"),
        (step_limit(150, 0.5), None, "0.5 mm abrupt change in 150 mm"),
        (slope_limit("1:48", 1219.2), "1:48 at most over 4 ft", None),
        (f_number_limit(fl=20), "FL 20 or more overall", "FL 20 or more overall"),
        (light_limit(5, 1524), "nothing seen from 5 ft in light at 5 degrees", None),
        (light_limit(5, 1500, along="y"), None, "nothing seen from 1.5 m in light at 5 degrees along y"),
        (offset_limit(2000, 3), None, "plus or minus 3 mm under 2 m on equal blocks"),
        (neighbour_limit(3.175), '1/8" between adjacent faces', None),
        (span_limit([100, 1000], [1, 3]), None, "1 mm at 100 mm, 3 mm at 1 m"),
    ],
)
def test_values_in_words(limit, inches, metric):
    assert inches is None or describe(limit) == inches
    assert metric is None or describe(limit, "mm") == metric


def test_the_sources_own_unit():
    assert describe(named("tile-small-plane-12in"), "source") == '1/16" off the plane within 12"'
    assert describe(named("screed-sr3"), "source") == "10 mm under 2 m"
    assert describe(named("new-home-uk-floor-level"), "source") == (
        "3 mm a metre up to 6 m out of level across the full width, 20 mm at most"
    )
    assert describe(named("tile-france-level"), "source") == "5 mm plus 1 mm a metre out of level"
    assert describe(named("new-home-usa-wood-floor-level"), "source") == (
        '1/2" out of level between points up to 20 ft apart'
    )
    assert describe(named("concrete-bar-flat-90"), "source") == '1/4" under 10 ft in 90 % of samples'


@pytest.mark.parametrize("unit", ["in", "mm", "source"])
def test_what_is_shown_without_about_is_what_is_judged(unit):
    # words and number may never disagree: the first length of the text, read back, is the number judged
    for limit in [*published(), straightedge_limit(3000, 4.77), straightedge_limit(1234.5, 0.03)]:
        if limit.kind in ("straightedge", "plane", "level", "plumb", "neighbours", "step"):
            first = re.match(r"[\d./ ]+(?:\"|mm)", describe(limit, unit))
            assert parse_length(first[0]) == pytest.approx(limit.allowed, abs=1e-9), limit.name


def test_no_long_decimals_in_words():
    for limit in published():
        for unit in ("in", "mm", "source"):
            assert not re.search(r"\.\d{4}", describe(limit, unit)), limit.name
