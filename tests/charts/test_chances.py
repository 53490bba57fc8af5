"""The map of chances and of where to read next, looked at through its artists."""

from __future__ import annotations

import itertools
import re

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from shapely import LineString

import flatness
import simulated_rooms
from chart_checks import FOOT, ROOMS, assert_clean, extent, lay_out, luminance, overlapping, rgb
from flatness.charts import chances
from flatness.charts.axes import INK, by_place
from flatness.charts.chances import chance_map
from flatness.charts.pictures import check_charts
from flatness.errors import ArgumentError, MeasureError
from flatness.lengths import parse_length
from flatness.surface.lattice import make_surface
from flatness.words.checks import where_to_read

LIMIT = flatness.straightedge_limit(6 * FOOT, 3.175)


def places(*xy):
    return pd.DataFrame(xy, columns=["x", "y"], dtype=float)


def ramp(nx=21, ny=11, spacing=100.0):
    """A flat surface whose chance rises evenly along x from 0 to 1."""
    return make_surface(np.zeros((ny, nx)), spacing), np.tile(np.linspace(0, 1, nx), (ny, 1))


def crowd(surface, seed=3):
    """Places crowded together, a few apart and one that comes again, on a wavy chance."""
    gx, gy = np.meshgrid(surface.x, surface.y)
    chance = np.clip(0.5 + 0.6 * np.sin(gx / 900) * np.cos(gy / 1100), 0, 1)
    chance[~surface.inside] = np.nan
    iy, ix = np.nonzero(surface.inside)
    rng = np.random.default_rng(seed)
    one = rng.integers(len(ix))
    near = np.argsort(np.hypot(ix - ix[one], iy - iy[one]))[:4]
    pick = [*near, *rng.integers(len(ix), size=3), near[1]]
    return chance, places(*zip(surface.x[ix[pick]], surface.y[iy[pick]], strict=True))


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("room", ROOMS)
def test_every_room_is_readable_with_crowded_places_and_without(room, unit):
    survey = ROOMS[room]()
    surface = survey.surface_at()
    chance, more = crowd(surface)
    chart = chance_map(surface, chance, limit=LIMIT, survey=survey, more=more, anywhere=0.975, unit=unit)
    assert chart.ax.get_aspect() == 1
    assert_clean(chart.ax.figure, chart.ax)
    assert_numbered(chart, more)
    bare = chance_map(surface, chance, limit=LIMIT, survey=survey, unit=unit)
    assert_clean(bare.ax.figure, bare.ax)
    assert bare.listed is None
    assert bare.numbered.numbers == []


def assert_numbered(chart, more):
    """Each number stands on its place or has a leader to it, whole within the axes; all numbers are there."""
    lay_out(chart.ax.figure)
    axes = chart.ax.get_window_extent()
    told = [text for number in chart.numbered.numbers for text in number.get_text().split(", ")]
    assert sorted(map(int, told)) == list(range(1, len(more) + 1))
    xy = more[["x", "y"]].to_numpy()
    boxes = []
    for number in chart.numbered.numbers:
        for text in number.get_text().split(", "):
            np.testing.assert_allclose(number.xy, xy[int(text) - 1])
        box = number.get_bbox_patch().get_window_extent()
        boxes.append(box)
        assert box.x0 >= axes.x0 - 1
        assert box.x1 <= axes.x1 + 1
        assert box.y0 >= axes.y0 - 1
        assert box.y1 <= axes.y1 + 1
        on_place = box.contains(*chart.ax.transData.transform(number.xy))
        assert on_place != number.arrow_patch.get_visible()
    for i, a in enumerate(boxes):
        assert not any(a.overlaps(b) for b in boxes[:i])


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_the_list_reads_back_to_the_places(unit):
    surface, chance = ramp(61, 31)
    more = places((1066.8, 0), (3200.4, 1219.2), (0, 2971.8), (1066.8, 0))
    chart = chance_map(surface, chance, limit=LIMIT, more=more, unit=unit)
    assert [number.get_text() for number, _ in chart.listed.rows] == ["1, 4", "2", "3"]
    often = chance_map(surface, chance, limit=LIMIT, more=more.assign(times=4), unit=unit)
    assert [text.get_text().endswith(", 4 times") for _, text in often.listed.rows] == [True] * 3
    assert not any("times" in text.get_text() for _, text in chart.listed.rows)
    for (number, text), place in zip(chart.listed.rows, [(1066.8, 0), (3200.4, 1219.2), (0, 2971.8)], strict=True):
        x, y = re.fullmatch(r"(.*) along x, (.*) along y", text.get_text()).groups()
        # read by the kit's reader of lengths, which knows nothing of charts; metres are shown to a millimetre
        assert (parse_length(x), parse_length(y)) == pytest.approx(place, abs=0.5 if unit == "mm" else 1e-6)
        assert number.get_fontweight() == "bold"


def test_the_regions_are_where_the_ramp_passes_five_and_ninety_five_percent():
    # chance = x / 2000 mm: 5 % at 100 mm, 95 % at 1900 mm (closed form)
    surface, chance = ramp()
    chart = chance_map(surface, chance, limit=LIMIT)
    open_, sure = (patch.get_path().get_extents() for patch in (chart.undecided, chart.over))
    assert (open_.x0, open_.x1) == pytest.approx((100, 1900), abs=0.1)
    assert (sure.x0, sure.x1) == pytest.approx((1900, 2000), abs=0.1)
    assert (open_.y0, open_.y1) == pytest.approx((0, 1000), abs=0.1)
    assert chart.over.get_hatch() != chart.undecided.get_hatch()
    assert set(chart.undecided.get_hatch()) == {"."}


def test_five_percent_itself_is_decided_and_so_is_ninety_five():
    """10 and 190 of 200 draws: a verdict at 95 % is given for them, so neither is dotted, nor coloured as open."""
    surface = make_surface(np.zeros((3, 3)), 100.0)
    for share, sure in ((10 / 200, False), (190 / 200, True)):
        chart = chance_map(surface, np.full((3, 3), share), limit=LIMIT)
        assert len(chart.undecided.get_path().vertices) == 0
        assert (len(chart.over.get_path().vertices) > 0) == sure
        step = chart.scale.norm(share)
        assert step == (len(chances.COLOURS) - 1 if sure else 0)
    chart = chance_map(surface, np.full((3, 3), 11 / 200), limit=LIMIT)
    assert len(chart.undecided.get_path().vertices) > 0
    assert chart.scale.norm(11 / 200) == 1


def test_steps_are_named_in_percent_and_hatched_in_the_colour_bar_too():
    surface, chance = ramp()
    bar = chance_map(surface, chance, limit=LIMIT).colour_bar
    assert [t.get_text() for t in bar.ax.get_yticklabels()] == ["0 %", "5 %", "25 %", "50 %", "75 %", "95 %", "100 %"]
    lay_out(bar.ax.figure)
    hatched = {p.get_hatch(): p.get_window_extent() for p in bar.ax.patches if p.get_hatch()}
    at = {t: bar.ax.transData.transform((0, v))[1] for t, v in (("low", 0.05), ("high", 0.95), ("top", 1.0))}
    dots, lines = hatched[chances.OPEN_HATCH], hatched[chances.SURE_HATCH]
    assert (dots.y0, dots.y1) == pytest.approx((at["low"], at["high"]), abs=1)
    assert (lines.y0, lines.y1) == pytest.approx((at["high"], at["top"]), abs=1)


def test_colours_are_monotone_in_grey_and_light_enough_for_text():
    shades = [luminance(rgb(colour)) for colour in chances.COLOURS]
    assert (np.diff(shades) < 0).all()
    for shade in shades:
        assert (shade + 0.05) / (luminance(rgb(INK)) + 0.05) >= 4.5  # WCAG 2.1, 1.4.3
    # neighbours differ enough to be told apart in grey too
    assert min(a / b for a, b in itertools.pairwise(shades)) > 1.1


def test_title_and_notes_say_what_is_seen():
    surface, chance = ramp()
    chart = chance_map(surface, chance, limit=LIMIT, anywhere=0.9999)
    title = chart.ax.get_title(loc="left").replace("\n", " ")
    assert title == "Chance at each place of the surface that a 6' straightedge shows more than 1/8\""
    # never printed as certain where it is not
    assert chart.notes.get_text().endswith("Over the limit at one place or another of the surface: >99 %.")
    silent = chance_map(surface, chance, limit=LIMIT)
    assert silent.notes.get_text().endswith("at least the largest chance on the map.")
    assert chance_map(surface, chance, limit=LIMIT, title="mine").ax.get_title(loc="left") == "mine"


def test_given_axes_hold_the_map_and_its_list():
    surface, chance = ramp(41, 21)
    figure = Figure(figsize=(9, 9))
    ax = figure.add_axes((0.1, 0.1, 0.8, 0.7))
    space = ax.get_window_extent().frozen()
    more = places((500, 500), (1500, 1000), (2500, 500))
    chart = chance_map(surface, chance, limit=LIMIT, more=more, ax=ax)
    assert chart.ax is ax
    assert_clean(figure, ax)
    texts = [text for row in chart.listed.rows for text in row]
    for text in texts:
        assert extent(text).y0 >= space.y0 - 1
    assert overlapping(texts) == []
    narrow = Figure(figsize=(4, 9))
    ax = narrow.add_axes((0.25, 0.1, 0.7, 0.5))
    chart = chance_map(surface, chance, limit=LIMIT, more=more, ax=ax)
    lay_out(narrow)
    assert overlapping([text for row in chart.listed.rows for text in row]) == []


def test_bad_arguments_say_what_was_expected():
    surface, chance = ramp()
    with pytest.raises(ArgumentError, match="in or mm"):
        chance_map(surface, chance, limit=LIMIT, unit="ft")
    with pytest.raises(ArgumentError, match="another surface"):
        chance_map(surface, chance[1:], limit=LIMIT)
    with pytest.raises(ArgumentError, match="0 to 1"):
        chance_map(surface, chance * 1.5, limit=LIMIT)
    with pytest.raises(ArgumentError, match="0 to 1"):
        chance_map(surface, chance, limit=LIMIT, anywhere=18.0)
    with pytest.raises(ArgumentError, match="straightedge's length"):
        chance_map(surface, chance, limit=flatness.level_limit(6.0))
    with pytest.raises(MeasureError, match="no chance anywhere"):
        chance_map(surface, np.full_like(chance, np.nan), limit=LIMIT)
    with pytest.raises(ArgumentError, match="off the surface"):
        chance_map(surface, chance, limit=LIMIT, more=places((5000, 0)))
    with pytest.raises(ArgumentError, match="columns x and y"):
        chance_map(surface, chance, limit=LIMIT, more=pd.DataFrame({"a": [1.0]}))


def test_places_that_come_again_share_their_numbers():
    distinct, numbers = by_place(np.array([[0.0, 0], [5, 5], [0.1, 0], [5, 5], [9, 9]]))
    assert numbers == ["1, 3", "2, 4", "5"]
    assert distinct.tolist() == [[0, 0], [5, 5], [9, 9]]


@pytest.mark.parametrize("step", [(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, 1)])
def test_leaders_of_neighbours_do_not_cross(step):
    surface, chance = ramp(41, 41)
    more = places((2000, 2000), (2000 + 50 * step[0], 2000 + 50 * step[1]))
    chart = chance_map(surface, chance, limit=LIMIT, more=more)
    lay_out(chart.ax.figure)
    lines = []
    for number in chart.numbered.numbers:
        box = number.get_bbox_patch().get_window_extent()
        centre = ((box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2)
        lines.append(LineString([chart.ax.transData.transform(number.xy), centre]))
    assert all(line.length > 10 for line in lines)
    assert not lines[0].intersects(lines[1])


def a_check(seed, scale=1.0, **options):
    height, _ = simulated_rooms.room(simulated_rooms.ridge_or_seam, seed)
    survey = simulated_rooms.survey(height * scale, 4, seed)
    return flatness.assess(survey, simulated_rooms.limit(), spacing=2 * simulated_rooms.SPACING, draws=60, **options)


def test_the_charts_of_a_check_have_the_chance_and_places_only_where_in_doubt():
    doubtful = next(found for found in map(a_check, range(30)) if found.verdict == "undecided")
    chart = check_charts(doubtful, batch=4)["chance"]
    one, more = where_to_read(doubtful, 4)
    assert_numbered(chart, more)
    assert_clean(chart.ax.figure, chart.ax)
    # the chance that the whole is over, counted anew on the draws
    gaps = simulated_rooms.gap_map(doubtful.lattice.on_lattice(), 2 * simulated_rooms.SPACING, simulated_rooms.BAR)
    over = int((np.nanmax(gaps, axis=(1, 2)) > simulated_rooms.LIMIT).sum())
    assert one.chance == pytest.approx(1 - over / 60)
    assert chart.notes.get_text().endswith(f": {100 * over / 60:.0f} %.")
    assert check_charts(doubtful, batch=0)["chance"].listed is None
    decided = a_check(0, scale=0.01)
    assert decided.verdict == "pass"
    assert check_charts(decided)["chance"].listed is None
    as_read = flatness.assess(decided.subject.survey, simulated_rooms.limit(), draws=0)
    assert "chance" not in check_charts(as_read)
