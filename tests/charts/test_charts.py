"""Charts are looked at through their artists: where steps, contours, texts and bars stand, not at pixels."""

from __future__ import annotations

import re
import subprocess
import sys

import numpy as np
import pytest
import shapely
from matplotlib.figure import Figure
from matplotlib.text import Text

import flatness
from chart_checks import (
    FOOT,
    INCH,
    ROOMS,
    assert_clean,
    extent,
    l_shaped,
    lay_out,
    luminance,
    rgb,
    survey_of,
    texts_of,
    waves,
)
from flatness.charts import scales
from flatness.charts.axes import INK, PALE, SOFTWARE, wrap
from flatness.charts.heights import gap_map, profile_chart, save_chart, surface_map
from flatness.charts.map_base import fine
from flatness.charts.pictures import check_charts
from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import parse_length
from flatness.measures.straightedge import Placement, straightedge
from flatness.surface.lattice import make_surface
from flatness.survey.readings import make_survey
from flatness.survey.walls import WallOpening, Walls
from flatness.words.checks import report

LIMITS = [INCH / 16, 3 * INCH / 16, 5.0, 3 * INCH / 4]


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("room", ROOMS)
def test_every_chart_of_every_room_is_readable(room, unit):
    survey = ROOMS[room]()
    surface = survey.surface_at()
    result = straightedge(surface, 6 * FOOT, headings=4)
    charts = [
        surface_map(surface, survey=survey, limit_mm=3 * INCH / 16, bar=result.worst, unit=unit),
        gap_map(surface, result, allowed_mm=INCH / 8, survey=survey, unit=unit),
    ]
    for chart in charts:
        assert chart.ax.get_aspect() == 1
        assert_clean(chart.ax.figure, chart.ax)
    if result.worst is not None and result.worst.gap > 1e-6:
        chart = profile_chart(
            surface, result.worst, length=6 * FOOT, allowed_mm=INCH / 8, kind=survey.surface, unit=unit
        )
        assert_clean(chart.ax.figure, chart.ax)


@pytest.mark.parametrize("limit", LIMITS)
@pytest.mark.parametrize("most", [0.0, 0.5, 4.7625, 20.0, 300.0])
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_the_limit_is_a_step_edge_and_the_steps_cover_all(unit, most, limit):
    edges = scales.step_edges(most, unit, limit)
    assert edges[0] == 0
    assert edges[-1] >= most - 1e-6
    assert np.abs(edges - limit).min() < 1e-9
    assert (np.diff(edges) > 0).all()
    assert len(edges) <= 12
    both = scales.deviation_scale(most, unit, limit)
    assert (both.norm.vmin, both.norm.vmax) == (-edges[-1], edges[-1])
    np.testing.assert_allclose(both.edges, -both.edges[::-1])
    assert np.abs(scales.gap_scale(most, unit, limit).edges - limit).min() < 1e-9


@pytest.mark.parametrize("limit", [None, INCH / 16, INCH / 8, 3 * INCH / 16, INCH / 4, 3 * INCH / 4])
@pytest.mark.parametrize("most", [0.3, 3.0, 12.0, 80.0])
def test_contours_and_step_labels_are_tape_fractions(most, limit):
    survey = survey_of(9, 7, 2 * FOOT, lambda x, y: most * np.sin(x / 500))
    chart = surface_map(survey.surface_at(), survey=survey, limit_mm=limit)
    parts = chart.scale.edges / INCH * 64
    np.testing.assert_allclose(parts, np.round(parts), atol=1e-6)
    for label, edge in zip(chart.scale.labels(signed=True), chart.scale.edges, strict=True):
        assert "." not in label
        # read back by the kit's reader of lengths, which knows nothing of charts
        assert parse_length(label.replace("\N{MINUS SIGN}", "-"), "in") == pytest.approx(edge, abs=1e-6)
    known = set(chart.scale.labels(signed=True))
    assert {text.get_text() for text in chart.contour_texts} <= known


def test_steps_for_a_three_sixteenths_limit_by_hand():
    # 3/16 in thirds is 1/16; a quarter, 3/64, is finer than a tape's thirty-seconds
    assert (scales.step_edges(8.0, "in", 3 * INCH / 16) / INCH * 16).tolist() == pytest.approx([0, 1, 2, 3, 4, 5, 6])
    # 0.6 in needs eleven sixteenths: too many colours, so halves of the limit, 3/32, seven: then whole limits
    assert (scales.step_edges(0.6 * INCH, "in", 3 * INCH / 16) / INCH * 16).tolist() == pytest.approx([0, 3, 6, 9, 12])


@pytest.mark.parametrize("most", [1, 3, 12, 30, 300])
def test_text_on_every_colour_has_contrast_and_grey_is_monotone(most):
    ink = luminance(rgb(INK))
    gap = [luminance(c) for c in scales.gap_scale(most, "in", 3 * INCH / 16).colours.colors]
    both = [luminance(c) for c in scales.deviation_scale(most, "in", 3 * INCH / 16).colours.colors]
    for shade in gap + both:
        assert (shade + 0.05) / (ink + 0.05) >= 4.5  # WCAG 2.1, 1.4.3
    assert 1.05 / (luminance(rgb(PALE)) + 0.05) >= 4.5
    half = len(both) // 2
    assert (np.diff(gap) < 0).all()
    assert (np.diff(both[:half]) > 0).all()
    assert (np.diff(both[half:]) < 0).all()
    assert both[0] < both[-1]  # the low end is the darker


def test_proud_is_solid_and_shy_is_dashed_and_the_limit_is_heavy():
    limit = INCH / 8
    chart = surface_map(survey_of(9, 7, 2 * FOOT, waves).surface_at(), limit_mm=limit)
    levels = [float(np.median(value_under(chart, segment).filled(0))) for segment in chart.contours.get_segments()]
    assert min(levels) < 0 < max(levels)
    for level, style, width in zip(
        levels, chart.contours.get_linestyles(), chart.contours.get_linewidths(), strict=True
    ):
        assert (style[1] is None) == (level > 0)
        assert (width > 1) == (abs(abs(level) - limit) < 0.3)


def value_under(chart, segment):
    """Values of the image at the vertices of a line, by the nearest pixel."""
    left, right, bottom, top = chart.image.get_extent()
    data = chart.image.get_array()
    ny, nx = data.shape
    ix = np.clip(((segment[:, 0] - left) / (right - left) * nx).astype(int), 0, nx - 1)
    iy = np.clip(((segment[:, 1] - bottom) / (top - bottom) * ny).astype(int), 0, ny - 1)
    return data[iy, ix]


def test_image_is_the_deviation_from_a_plane_solved_by_normal_equations():
    survey = survey_of(9, 7, 2 * FOOT, lambda x, y: waves(x, y) + x / 100 - y / 80)
    surface = survey.surface_at(2 * FOOT)
    gx, gy = np.meshgrid(surface.x, surface.y)
    rows = np.column_stack([gx.ravel(), gy.ravel(), np.ones(gx.size)])
    plane = np.linalg.solve(rows.T @ rows, rows.T @ surface.height.ravel())
    expected = surface.height - (rows @ plane).reshape(gx.shape)
    data = surface_map(surface).image.get_array()
    step = (data.shape[1] - 1) // (len(surface.x) - 1)
    np.testing.assert_allclose(data[::step, ::step], expected, atol=1e-6)
    mean = surface_map(surface, reference="mean").image.get_array()[::step, ::step]
    np.testing.assert_allclose(mean, surface.height - surface.height.mean(), atol=1e-9)
    level = surface_map(surface, reference="level").image.get_array()[::step, ::step]
    np.testing.assert_allclose(level, surface.height, atol=1e-9)


def test_between_nodes_the_image_is_bilinear_and_holes_stay_open():
    z = np.array([[0.0, 4.0, np.nan], [8.0, 4.0, 1.0], [2.0, 2.0, 2.0]])
    x, y, values = fine(make_surface(z, 100.0), z)
    at = {(round(a, 6), round(b, 6)): values[j, i] for i, a in enumerate(x) for j, b in enumerate(y)}
    assert at[50.0, 50.0] == pytest.approx((0 + 4 + 8 + 4) / 4)
    assert np.isnan(at[150.0, 50.0])
    assert at[150.0, 150.0] == pytest.approx((4 + 1 + 2 + 2) / 4)


def test_stations_all_marked_and_numbers_thinned_where_they_would_collide():
    roomy = survey_of(5, 4, 4 * FOOT, waves)
    chart = surface_map(roomy.surface_at(), survey=roomy)
    assert len(chart.stations.get_xdata()) == 20
    assert len(chart.station_texts) >= 17  # contour labels may cost a few
    dense = survey_of(61, 41, FOOT, waves)
    thin = surface_map(dense.surface_at(), survey=dense)
    assert len(thin.stations.get_xdata()) == 61 * 41
    assert 50 < len(thin.station_texts) < 61 * 41 / 4
    assert surface_map(dense.surface_at(), survey=dense, numbers="none").station_texts == ()


def test_the_numbers_are_the_readings_as_a_tape_shows_them():
    survey = make_survey([0, 2000, 0, 2000], [0, 0, 2000, 2000], [0, 3 * INCH / 8, -INCH / 16, 41.375 * INCH])
    chart = surface_map(survey.surface_at(), survey=survey)
    assert {t.get_text() for t in chart.station_texts} == {"0", "3/8", "\N{MINUS SIGN}1/16", "41 3/8"}
    # a plane through four corners leaves +d, -d, -d, +d: by symmetry a quarter of the twist
    twist = (0 - 3 / 8 + 1 / 16 + 41.375) * INCH
    shown = surface_map(survey.surface_at(2000), survey=survey, numbers="deviation", unit="mm")
    assert {t.get_text() for t in shown.station_texts} == {f"{twist / 4:.1f}", f"\N{MINUS SIGN}{twist / 4:.1f}"}


@pytest.mark.parametrize(
    "room", ["l-shaped floor", "4 ft room", "60 ft x 40 ft", "corridor", "corridor upright", "wall"]
)
def test_the_gap_label_neither_covers_the_bar_nor_leaves_the_axes(room):
    survey = ROOMS[room]()
    surface = survey.surface_at()
    result = straightedge(surface, 4 * FOOT, headings=4)
    for chart in (
        surface_map(surface, survey=survey, bar=result.worst),
        gap_map(surface, result, survey=survey, allowed_mm=2),
    ):
        lay_out(chart.ax.figure)
        (marks,) = chart.bar
        label, axes = extent(marks.label), chart.ax.get_window_extent()
        assert label.x0 >= axes.x0
        assert label.x1 <= axes.x1
        assert label.y0 >= axes.y0
        assert label.y1 <= axes.y1
        a, b = chart.ax.transData.transform(marks.line.get_xydata())
        for t in np.linspace(0, 1, 200):
            assert not label.contains(*(a + t * (b - a)))
        np.testing.assert_allclose(marks.contacts.get_xydata(), result.worst.contacts)
        assert marks.label.get_text().startswith("gap ")


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("deep", [3.97, 4.0, 4.77, 0.61])
def test_report_and_pictures_print_one_number_for_one_bar(deep, unit):
    x, y = np.meshgrid(np.arange(7) * 500.0, np.arange(5) * 500.0)
    survey = flatness.make_survey(x, y, -deep * ((x == 1500) & (y == 1000)), accuracy=0.1)
    found = flatness.assess(survey, flatness.straightedge_limit(1000, 4.7625), draws=0)
    gap = re.search(r"Worst as read, (.*?), at", report(found, unit))[1]
    # 1/32 in or 0.1 mm at the coarsest
    assert parse_length(gap) == pytest.approx(deep, abs=INCH / 64 + 1e-9 if unit == "in" else 0.05 + 1e-9)
    charts = check_charts(found, unit)
    for name in ("heights", "gap"):
        assert f"gap {gap}" in charts[name].bar[0].label.get_text().replace("\n", " ")
    assert charts["profile"].label.get_text() == f"gap {gap}"


def test_the_gap_label_and_the_hatch_agree_with_the_limit():
    # 4.77 mm is over 3/16 in (4.7625 mm): it must not be printed as 3/16
    over = make_surface([[0, -4.77, 0]] * 3, 500.0)
    chart = gap_map(over, straightedge(over, 1000.0, headings=4), allowed_mm=4.7625)
    assert 'gap 0.19"' in chart.bar[0].label.get_text()
    metric = gap_map(over, straightedge(over, 1000.0, headings=4), allowed_mm=4.7, unit="mm")
    assert "gap 4.8 mm" in metric.bar[0].label.get_text()
    assert len(chart.over.get_path().vertices) > 0
    at = make_surface([[0, -4.7625, 0]] * 3, 500.0)
    chart = gap_map(at, straightedge(at, 1000.0, headings=4), allowed_mm=4.7625)
    assert 'gap 3/16"' in chart.bar[0].label.get_text()
    assert len(chart.over.get_path().vertices) == 0


def test_the_hatched_area_is_where_the_gap_is_over():
    # a V valley 20 mm deep over 2 m, along y: gap under a 2 m bar is the depth below the rim, so over 10 mm
    # for the middle 1 m (closed form)
    x = np.arange(0, 2001, 100.0)
    surface = make_surface(np.tile(-20 * (1 - np.abs(x - 1000) / 1000), (3, 1)), 100.0)
    chart = gap_map(surface, straightedge(surface, 2000.0, headings=1), allowed_mm=10.0)
    span = chart.over.get_path().get_extents()
    assert span.x0 == pytest.approx(500, abs=2)
    assert span.x1 == pytest.approx(1500, abs=2)


def test_profile_of_a_v_valley():
    # the bar rests on both rims of a valley tilted by 1 in 100; the gap is the depth, 20 mm (closed form)
    x = np.arange(0, 3001, 100.0)
    z = x / 100 - np.clip(20 * (1 - np.abs(x - 1500) / 1000), 0, None)
    surface = make_surface(np.tile(z, (3, 1)), 100.0)
    placement = Placement(20.0, (1500.0, 100.0), ((500.0, 100.0), (2500.0, 100.0)), 0.0)
    chart = profile_chart(surface, placement, length=2000.0, allowed_mm=5.0, unit="mm")
    s, h = chart.profile.get_data()
    np.testing.assert_allclose(np.interp([0, 1000, 2000], s, h), [0, -20, 0], atol=1e-9)
    assert (chart.bar.get_x(), chart.bar.get_y(), chart.bar.get_width()) == pytest.approx((0, 0, 2000))
    np.testing.assert_allclose(chart.contacts.get_xydata(), [[0, 0], [2000, 0]], atol=1e-9)
    assert chart.dimension.xy == pytest.approx((1000, -20))
    assert chart.dimension.xyann == pytest.approx((1000, 0))
    assert chart.label.get_text() == "gap 20 mm"
    np.testing.assert_allclose(chart.allowed.get_ydata(), -5)
    over = np.vstack([path.vertices for path in chart.over.get_paths()])
    assert over[:, 0].min() == pytest.approx(250, abs=3)  # 5 mm down a slope of 20 mm in 1 m
    assert over[:, 0].max() == pytest.approx(1750, abs=3)
    # the stated factor is the true one, measured on paper
    figure = chart.ax.figure
    lay_out(figure)
    (x0, y0), (x1, y1) = chart.ax.transData.transform([(0, 0), (1000, 10)])
    assert (y1 - y0) / 10 / ((x1 - x0) / 1000) == pytest.approx(chart.exaggeration, rel=1e-3)
    words = " ".join(t.get_text().replace("\n", " ") for t in texts_of(figure))
    assert f"{chart.exaggeration:g} times larger" in words
    assert "20 mm nearer the room" in words  # the tilt: 1 in 100 over 2 m


def test_axes_and_words_suit_the_surface():
    for kind, x_name, y_name in (
        ("floor", "x on the floor", "y on the floor"),
        ("ceiling", "x on the ceiling", "y on the ceiling"),
        ("wall", "along the wall (x)", "up the wall (y)"),
    ):
        survey = survey_of(9, 7, 2 * FOOT, waves, surface=kind)
        chart = surface_map(survey.surface_at(), survey=survey)
        assert (chart.ax.get_xlabel(), chart.ax.get_ylabel()) == (x_name, y_name)
        assert kind in chart.ax.get_title(loc="left")
        words = {t.get_text() for t in chart.colour_bar.ax.texts}
        assert any("proud" in w for w in words)
        assert any("low" in w for w in words)


def test_ticks_stand_at_whole_feet_or_metres():
    surface = survey_of(9, 7, 2 * FOOT, waves).surface_at()
    feet = surface_map(surface).ax
    assert [t.get_text() for t in feet.get_xticklabels()][:3] == ["0", "2'", "4'"]
    whole = feet.get_xticks() / FOOT
    np.testing.assert_allclose(whole, np.round(whole), atol=1e-9)
    metres = surface_map(surface, unit="mm").ax
    assert [t.get_text() for t in metres.get_xticklabels()][:3] == ["0", "0.5 m", "1 m"]


def test_openings_are_hatched_and_named():
    survey = l_shaped()
    chart = surface_map(survey.surface_at(), survey=survey)
    hatched = [a for a in chart.outline if getattr(a, "get_hatch", lambda: None)()]
    names = [a for a in chart.outline if isinstance(a, Text)]
    assert len(hatched) == 1
    assert [t.get_text() for t in names] == ["opening"]
    lay_out(chart.ax.figure)
    corners = chart.ax.transData.transform([(11 * FOOT, 8 * FOOT), (14.5 * FOOT, 11 * FOOT)])
    inside = extent(names[0])
    assert inside.x0 > corners[0, 0]
    assert inside.x1 < corners[1, 0]


def test_a_flat_surface_is_neither_proud_nor_shy():
    chart = surface_map(make_surface(np.zeros((5, 6)), 500.0))
    up, down = chart.scale.colours(chart.scale.norm([0.0, -1e-9]))
    assert up.tolist() == down.tolist()
    assert chart.contours.get_segments() == []


def test_given_axes_are_drawn_into_and_a_long_title_wraps():
    surface = survey_of(9, 7, 2 * FOOT, waves).surface_at()
    figure = Figure(figsize=(10, 6))
    ax = figure.add_axes((0.1, 0.15, 0.85, 0.6))
    title = "a title that costs $3 and goes on " * 6
    chart = surface_map(surface, title=title, ax=ax)
    assert chart.ax is ax
    assert chart.ax.get_title(loc="left").replace("\n", " ") == title.strip()
    assert_clean(figure, ax)
    assert_clean(surface_map(surface, title=title).ax.figure, ax)
    assert wrap("abcdefghij", 20, 10).replace("\n", "") == "abcdefghij"


def test_pyplot_is_never_loaded():
    code = (
        "import sys, numpy as np\n"
        "from flatness.charts.heights import surface_map, save_chart\n"
        "from flatness.surface.lattice import make_surface\n"
        "surface_map(make_surface(np.eye(4), 500.0))\n"
        "assert 'matplotlib.pyplot' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_saving_writes_whole_files_and_leaves_nothing_else(tmp_path):
    chart = surface_map(make_surface(np.eye(4), 500.0))
    starts = {"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}
    for suffix, start in starts.items():
        path = save_chart(chart, tmp_path / f"map.{suffix}", dpi=60)
        assert path.read_bytes().startswith(start)
        assert SOFTWARE.encode() in path.read_bytes()
    save_chart(chart.ax, tmp_path / "map.png", dpi=60)
    save_chart(chart.ax.figure, tmp_path / "map.png", dpi=60)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["map.pdf", "map.png", "map.svg"]
    with pytest.raises(ArgumentError, match="kind of picture file"):
        save_chart(chart, tmp_path / "map.bmp")
    with pytest.raises(ArgumentError, match="not a chart"):
        save_chart("map", tmp_path / "map.png")
    with pytest.raises(ArgumentError, match="dpi"):
        save_chart(chart, tmp_path / "map.png", dpi=0)


def test_a_file_that_fails_half_way_leaves_the_old_one(tmp_path, monkeypatch):
    chart = surface_map(make_surface(np.eye(4), 500.0))
    target = tmp_path / "map.png"
    target.write_bytes(b"old")

    def fails(self, path, **_):
        path.write(b"half")
        raise OSError("disk full")

    monkeypatch.setattr(Figure, "savefig", fails)
    with pytest.raises(OSError, match="disk full"):
        save_chart(chart, target)
    assert target.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [target]


def test_bad_arguments_say_what_was_expected():
    surface = make_surface(np.eye(4), 500.0)
    result = straightedge(surface, 1000.0, headings=4)
    with pytest.raises(ArgumentError, match="in or mm"):
        surface_map(surface, unit="ft")
    with pytest.raises(ArgumentError, match="limit_mm"):
        surface_map(surface, limit_mm=0)
    with pytest.raises(ArgumentError, match="best, mean, level"):
        surface_map(surface, reference="highest")
    with pytest.raises(ArgumentError, match="reading, deviation, none"):
        surface_map(surface, numbers="all")
    with pytest.raises(ArgumentError, match="another surface"):
        gap_map(make_surface(np.eye(5), 500.0), result)
    with pytest.raises(MeasureError, match="no placement"):
        profile_chart(surface, None, length=1000.0)
    with pytest.raises(ArgumentError, match="shorter than the span"):
        profile_chart(surface, Placement(1.0, (500.0, 0.0), ((0.0, 0.0), (1000.0, 0.0)), 0.0), length=500.0)
    with pytest.raises(MeasureError, match="no heights"):
        surface_map(make_surface(np.full((4, 4), np.nan), 500.0))
    string = make_surface(np.eye(4), 500.0, reference="string")
    surface_map(string)
    for reference in ("level", "mean"):
        with pytest.raises(MeasureError, match="off a string"):
            surface_map(string, reference=reference)


# where a place stands that is a from the left wall and b from the door's, by the side that one walks in by, in a room
# of 4 m by 3 m: worked out by hand, facing into the room with the wall of the door behind
WALKING_IN = {
    "bottom": lambda a, b: (a, b),
    "left": lambda a, b: (b, 3000 - a),
    "top": lambda a, b: (4000 - a, 3000 - b),
    "right": lambda a, b: (4000 - b, a),
}


@pytest.mark.parametrize("side", WALKING_IN)
def test_a_map_is_drawn_as_one_walks_in_and_counts_from_the_walls(side):
    place = WALKING_IN[side]
    x, y = (a.ravel() for a in np.meshgrid(np.arange(5) * 1000.0, np.arange(4) * 1000.0))
    spike = place(1000.0, 2000.0)
    walls = Walls((WallOpening("door", side, 500.0, 1400.0),))
    height = np.where((x == spike[0]) & (y == spike[1]), 20.0, 0.0)
    survey = flatness.make_survey(x, y, height, outline=shapely.box(0, 0, 4000, 3000), walls=walls)
    ax = surface_map(survey.surface_at(250), survey=survey, unit="mm", numbers="none").ax
    ax.figure.canvas.draw()
    (rulers,) = (one for one in ax.figure.axes if one.get_xlabel() == "from the left wall")
    assert rulers.get_ylabel() == "from the door wall"
    far = {text.get_text(): at for text, at in zip(rulers.get_xticklabels(), rulers.get_xticks(), strict=True)}
    assert (far["0"], far["2 m"]) == (0.0, 2000.0)
    for a, b in ((0.0, 0.0), (1000.0, 2000.0), (2500.0, 500.0)):
        on_paper = rulers.transData.transform((a, b))
        assert ax.transData.transform(place(a, b)) == pytest.approx(on_paper, abs=0.6)  # pixels
        assert ax.transData.inverted().transform(on_paper) == pytest.approx(place(a, b), abs=10)  # what a click finds
    # the picture is turned with the places: the one proud spot is orange where the spike was read
    picture = np.asarray(ax.figure.canvas.buffer_rgba())[::-1].astype(int)
    x0, y0, x1, y1 = ax.get_window_extent().extents.astype(int)
    j, i = np.nonzero(picture[y0:y1, x0:x1, 0] - picture[y0:y1, x0:x1, 2] > 60)
    assert (x0 + i.mean(), y0 + j.mean()) == pytest.approx(ax.transData.transform(spike), abs=15)
    assert "door" in [text.get_text() for text in ax.texts]


def test_a_map_shows_doors_and_windows():
    x, y = (a.ravel() for a in np.meshgrid(np.arange(5) * 1000.0, np.arange(4) * 1000.0))
    walls = Walls((WallOpening("door", "right", 500.0, 1400.0), WallOpening("window", "top", 1000.0, 2200.0)))
    survey = flatness.make_survey(x, y, np.sin(x / 900), outline=shapely.box(0, 0, 4000, 3000), walls=walls)
    ax = surface_map(survey.surface_at(500), survey=survey, unit="mm").ax
    drawn = [np.asarray(line.get_xydata()) for line in ax.lines]
    leaf = np.array([[4000.0, 500.0], [3100.0, 500.0]])  # from its hinge at the left hand, as long as the gap is wide
    assert any(line.shape == leaf.shape and np.allclose(line, leaf) for line in drawn)
    pane = np.array([[1000.0, 3000.0], [2200.0, 3000.0]])
    # the gap, and three lines of glass
    assert sum(line.shape == pane.shape and np.allclose(line, pane) for line in drawn) == 4
