"""A bar placed along measured lines alone, against brute force over all placements on each line."""

import numpy as np
import pytest

import flatness
from flatness.charts.pictures import check_charts
from flatness.limits.measuring import Subject, measure
from flatness.measures.straightedge import StationLines
from flatness.words.checks import report

FT = 304.8


def slab(height, lines=4, apart=10 * FT, count=25, named=True):
    y = np.tile(np.arange(count) * FT, lines)
    x = np.repeat(np.arange(lines) * apart, count)
    names = {"line": [f"L{k}" for k in np.repeat(np.arange(lines), count)]} if named else {}
    return flatness.make_survey(x, y, height(x, y), accuracy=0.5, **names)


def brute(z, length):
    """The largest gap on one line of stations a foot apart."""
    worst = 0.0
    for p in range(len(z)):
        for q in range(p + 2, len(z)):
            if (q - p) * FT <= length + 1e-6:
                chord = z[p] + (z[q] - z[p]) * np.arange(q - p + 1) / (q - p)
                worst = max(worst, (chord - z[p : q + 1]).max())
    return worst


@pytest.mark.parametrize("named", [True, False])
@pytest.mark.parametrize("length", [4 * FT, 10 * FT, 100 * FT])
def test_largest_gap_along_the_lines(named, length):
    heights = np.random.default_rng(7).normal(0, 3, 100)
    survey = slab(lambda x, y: heights, named=named)
    lines = StationLines.of(survey)
    assert (lines.along, lines.across) == pytest.approx((FT, 10 * FT))
    expected = max(brute(line, length) for line in heights.reshape(4, 25))
    surface = survey.surface_at(FT)
    found = lines.straightedge(heights, length, surface).worst
    assert found.gap == pytest.approx(expected)
    assert found.heading == 90
    assert lines.largest(np.stack([heights, 2 * heights]), length) == pytest.approx([expected, 2 * expected])
    (ax, ay), (bx, by) = found.contacts
    assert ax == bx == found.at[0]
    assert abs(by - ay) <= length + 1e-6


def test_a_bar_does_not_cross_a_missing_station_and_repeats_are_one_station():
    z = np.tile([0, 0, -9, 0, 0.0], 2)
    x, y = np.repeat([0, 10 * FT], 5), np.tile(np.arange(5) * FT, 2)
    keep = np.array([True, True, False, True, True] * 2)
    assert StationLines.of(flatness.make_survey(x[keep], y[keep], z[keep], line=list("aaaabbbb"))) is None
    again = flatness.make_survey([*x, 0], [*y, 2 * FT], [*z, -7], line=list("aaaaabbbbba"))
    # read twice, -9 and -7: one station at -8, and line b still shows 9
    assert StationLines.of(again).largest(again.xyz()[2], 10 * FT) == pytest.approx(9)
    assert StationLines.of(again).lines[0].size == 5


def test_lines_that_cross_are_no_nearer_for_it():
    # a mesh of lines 10 ft apart both ways, as slabs are read
    y, x = np.arange(21) * FT, np.arange(21) * FT
    px = np.concatenate([np.repeat([0, 10 * FT, 20 * FT], 21), np.tile(x, 2)])
    py = np.concatenate([np.tile(y, 3), np.repeat([5.5 * FT, 15.5 * FT], 21)])
    names = [*np.repeat(list("abc"), 21), *np.repeat(list("de"), 21)]
    lines = StationLines.of(flatness.make_survey(px, py, 0 * px, line=names))
    assert (lines.along, lines.across) == pytest.approx((FT, 10 * FT))
    assert len(lines.lines) == 5


def test_lines_too_far_apart_are_judged_along_them_alone_and_the_verdict_says_so():
    limit = flatness.straightedge_limit(10 * FT, 5)
    # a trough of 2 mm on line 1, and a difference of 60 mm from line to line, which no bar along a line sees
    survey = slab(lambda x, y: 20 * x / (10 * FT) - 2 * ((x > 1) & (x < 11 * FT) & (np.abs(y - 12 * FT) < 1)))
    finding = measure(limit, Subject.of(survey, [limit]))
    assert finding.measured.value == pytest.approx(2)
    assert finding.only
    found = flatness.assess(survey, limit, draws=20)
    assert found.judged[0].verdict == "pass"
    assert "not judged" in found.table.note.iloc[0]
    assert "PASS along the measured lines alone: " in report(found, "mm")
    # the map has the gap along the lines, and nothing between them
    gaps = found.subject.straightedge(10 * FT).gap
    assert np.nanmax(gaps) == pytest.approx(2)
    between = np.abs(found.subject.surface.x - 5 * FT).argmin()
    assert np.isnan(gaps[:, between]).all()
    charts = check_charts(found, "mm")
    assert set(charts) == {"heights", "gap", "profile"}
    assert charts["profile"].label.get_text() == "gap 2 mm"
    near = slab(lambda x, y: 0 * x, apart=4 * FT)
    assert not measure(limit, Subject.of(near, [limit])).only
