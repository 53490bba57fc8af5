"""Charts of a comparison, looked at through their artists."""

import dataclasses
import functools
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_rgb
from shapely import box

from chart_checks import ROOMS, assert_clean, luminance, texts_of
from flatness.charts.differences import MARKS, NO_CHANGE, UNSHOWN, before_after, difference_map, done_chart
from flatness.charts.pictures import comparison_charts, write_charts
from flatness.comparison.comparing import compare
from flatness.errors import ArgumentError, MeasureError
from flatness.framing.members import member_layout


def pair(room, height=6.0, seed=1):
    """A room read twice, with a bump added between."""
    survey = dataclasses.replace(ROOMS[room](), accuracy=0.5)
    x, y, z = survey.xyz()
    reach = 0.18 * max(np.ptp(x), np.ptp(y))
    bump = height * np.exp(-((x - x.mean()) ** 2 + (y - 0.7 * y.mean()) ** 2) / (2 * reach**2))
    noise = np.random.default_rng(seed).normal(0, 0.5, len(z))
    after = dataclasses.replace(survey, points=survey.points.assign(height=z + bump + noise), date="2026-05-04")
    return survey, after


@functools.cache
def plainly(room):
    return compare(*pair(room), align="none")


def found(room="l-shaped floor", **options):
    return compare(*pair(room), align="none", **options) if options else plainly(room)


@pytest.mark.parametrize("room", ROOMS)
def test_every_chart_of_every_room_is_readable(room):
    comparison = found(room)
    # the widest labels: inches beside the map, millimetres beneath it, and the other way where the two differ most
    charts = [difference_map(comparison, unit="in"), before_after(comparison, unit="mm")]
    if room in ("l-shaped floor", "corridor upright"):
        charts += [difference_map(comparison, unit="mm"), before_after(comparison, unit="in")]
    for chart in charts:
        assert chart.ax.get_aspect() == 1
        assert_clean(chart.ax.figure, chart.ax)


def test_what_is_below_detection_is_grey_and_hatched_and_never_a_colour():
    comparison = found()
    chart = difference_map(comparison)
    grey = to_rgb(UNSHOWN)
    assert chart.unshown.get_hatch()
    assert tuple(chart.unshown.get_facecolor()[:3]) == pytest.approx(grey)
    assert chart.unshown.get_facecolor()[3] == 1
    # no colour of the scale is that grey, in colour: a grey has no hue, each of the steps has one
    for shade in chart.scale.colours.colors:
        assert np.ptp(shade[:3]) > 0.02
    assert np.ptp(grey) < 0.025
    assert luminance(grey) < min(
        luminance(s) for s in chart.scale.colours.colors[len(chart.scale.colours.colors) // 2 - 1 :][:2]
    )
    # each node of the lattice lies in the grey where no change is shown, and in a colour where it is
    path, values = chart.unshown.get_path(), chart.image.get_array()
    left, right, low, high = chart.image.get_extent()
    gx, gy = np.meshgrid(comparison.x, comparison.y)
    margin = np.abs(np.abs(comparison.difference) - comparison.detection)
    plain = np.isfinite(margin) & (margin > 0.05)
    plain[:1] = plain[-1:] = False
    plain[:, :1] = plain[:, -1:] = False
    for changed in (False, True):
        nodes = plain & (comparison.changed == changed)
        assert nodes.sum() > 20
        grey_there = path.contains_points(np.column_stack([gx[nodes], gy[nodes]]))
        column = ((gx[nodes] - left) / (right - left) * values.shape[1]).astype(int)
        row = ((gy[nodes] - low) / (high - low) * values.shape[0]).astype(int)
        blank = np.ma.getmaskarray(values)[row, column]
        assert (grey_there == (not changed)).mean() > 0.98
        assert (blank == (not changed)).all()


def test_it_says_after_minus_before_and_what_the_signs_mean():
    chart = difference_map(found())
    texts = [text.get_text() for text in texts_of(chart.ax.figure)]
    assert any("after minus before" in text for text in texts)
    assert any("taken off" in text and "\N{LEFTWARDS ARROW}" in text for text in texts)
    assert any("added" in text and "\N{RIGHTWARDS ARROW}" in text for text in texts)
    assert NO_CHANGE in texts
    # a bump was added: the solid lines and the proud colours
    assert all(text.get_text().startswith("+") for text in chart.contour_texts)
    assert float(np.nanmax(chart.image.get_array())) > 3


def test_other_stations_are_marked_apart():
    before, after = pair("tilted")
    thinned = dataclasses.replace(before, points=before.points.iloc[::2].reset_index(drop=True))
    chart = difference_map(compare(thinned, after, align="none"))
    assert chart.before is not None
    assert chart.before.get_marker() == "+"
    assert "Crosses" in " ".join(text.get_text() for text in texts_of(chart.ax.figure))
    assert difference_map(found()).before is None
    assert_clean(chart.ax.figure, chart.ax)


def test_nothing_changed_is_all_grey():
    survey, _ = pair("l-shaped floor")
    chart = difference_map(compare(survey, survey, align="none"))
    assert np.ma.getmaskarray(chart.image.get_array()).all()
    assert chart.contour_texts == []
    assert_clean(chart.ax.figure, chart.ax)


def test_both_surfaces_have_one_scale_and_one_frame():
    chart = before_after(found())
    one, other = chart.images
    assert one.norm is other.norm
    assert one.cmap is other.cmap
    assert chart.axes[0].get_xlim() == chart.axes[1].get_xlim()
    assert chart.axes[0].get_position().height == pytest.approx(chart.axes[1].get_position().height)
    # both off one plane, that of before: the later one stands proud where the bump was added
    move = np.ma.filled(other.get_array(), np.nan) - np.ma.filled(one.get_array(), np.nan)
    assert float(np.nanmax(move)) == pytest.approx(6, abs=1.5)
    assert float(np.nanmin(move)) > -1.5
    # told apart in grey too: lines of what is proud are solid, of what is low dashed
    assert {dashes is None for lines in chart.contours for _, dashes in lines.get_linestyle()} == {True, False}
    titles = [ax.get_title(loc="left") for ax in chart.axes]
    assert titles == ["Before", "After, 2026-05-04"]


def plan_of(comparison):
    x, y = comparison.x, comparison.y
    change = np.zeros((len(y), len(x)))
    change[:, : len(x) // 2] = 6.0
    patches = pd.DataFrame(
        {
            "outline": [box(0, 0, 1800, 1800), box(2500, 600, 4000, 1500), box(90000, 0, 90100, 10)],
            "action": ["fill", "plane", "fill"],
        }
    )
    return SimpleNamespace(x=x, y=y, change=change, patches=patches, members=member_layout(400, 1200, "y", count=4))


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_done_against_planned(unit):
    comparison = found(plan=plan_of(found()))
    chart = done_chart(comparison, unit=unit)
    assert_clean(chart.ax.figure, chart.ax)
    rows = comparison.plan[comparison.plan.what != "whole"].reset_index(drop=True)
    assert len(chart.names) == len(rows)
    assert (rows.what != "elsewhere").sum() == 7
    for i, row in rows.iterrows():
        assert row.status in chart.words[i].get_text()
        if row.status == "not surveyed":
            assert chart.done[i] is None
            continue
        assert chart.done[i].get_xdata()[0] == pytest.approx(row.done_mm)
        assert chart.done[i].get_marker() == MARKS[row.status][0]
        low, high = chart.errors.get_segments()[i][:, 0]
        assert (high - low) / 2 == pytest.approx(1.959964 * row.error_mm, rel=1e-5)
    # told apart by shape, not by colour alone
    assert len({marker for marker, _ in MARKS.values()}) == len(MARKS)
    assert chart.names[0].get_text() == "patch 1, fill"


def test_charts_that_cannot_be_drawn_are_said():
    with pytest.raises(MeasureError, match="without a plan"):
        done_chart(found())
    comparison = found(plan=SimpleNamespace(x=found().x, y=found().y, change=np.zeros_like(found().difference)))
    with pytest.raises(MeasureError, match="neither patches"):
        done_chart(comparison)
    for chart in (difference_map, before_after):
        with pytest.raises(ArgumentError, match="unit"):
            chart(found(), unit="furlong")


def test_pictures_are_written_and_a_foreign_file_is_not_overwritten(tmp_path):
    comparison = found()
    assert set(comparison_charts(comparison)) == {"difference", "before-after"}
    for _ in range(2):
        paths = write_charts(comparison_charts(comparison), tmp_path / "out", "b")
    assert sorted(path.name for path in paths) == ["b-before-after.png", "b-difference.png"]
    paths[0].write_bytes(b"my holiday")
    with pytest.raises(ArgumentError, match="did not write"):
        write_charts(comparison_charts(comparison), tmp_path / "out", "b")


def test_a_wall_is_named_a_wall():
    before, after = pair("wall")
    text = " ".join(t.get_text() for t in texts_of(difference_map(compare(before, after, align="none")).ax.figure))
    assert "on the wall" in text
    assert "up the wall" in text
