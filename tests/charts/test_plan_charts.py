"""Charts of a plan, of members and of a reveal, looked at through their artists."""

import dataclasses
import functools
import itertools

import numpy as np
import pandas as pd
import pytest
import shapely
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from chart_checks import FOOT, INCH, assert_clean, luminance, rgb, texts_of
from flatness.charts import plan_map as maps
from flatness.charts.axes import INK
from flatness.charts.hatching import PATTERNS
from flatness.charts.heights import save_chart
from flatness.charts.member_lines import member_chart
from flatness.charts.plan_map import action_map
from flatness.charts.reveals import along, reveal_chart
from flatness.errors import ArgumentError, MeasureError
from flatness.framing.members import member_layout
from flatness.framing.reveal import reveal
from flatness.framing.schedule import member_schedule
from flatness.lengths import parse_length
from flatness.planning.constraints import FixedSpot
from flatness.planning.plan import ACTIONS
from flatness.surface.lattice import make_surface
from plan_rooms import PLANS, cells, room

NEAREST = {"in": INCH / 32, "mm": 0.05}  # half of the coarsest step that depths are told in, and a hair


@functools.cache
def plan_named(name):
    return PLANS[name]()


@functools.cache
def mapped(name, unit="in"):
    return action_map(plan_named(name), unit=unit)


def told_mm(text, unit):
    """A printed depth, read back by the kit's reader of lengths."""
    return parse_length(text.replace("under ", ""), unit)


# -- the map ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("name", PLANS)
def test_every_map_is_readable_and_fits_the_page(name, unit):
    chart = mapped(name, unit)
    assert chart.ax.get_aspect() == 1
    assert_clean(chart.ax.figure, chart.ax)  # among others: no text under 8 points, none overlapping, none cut off
    wide, high = chart.ax.figure.get_size_inches()
    assert wide <= 10.01
    assert high <= 7.6
    assert chart.untagged == ()


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("name", PLANS)
def test_each_patch_is_tagged_with_its_name_and_greatest_depth_at_its_deepest_spot(name, unit):
    plan, chart = plan_named(name), mapped(name, unit)
    gx, gy = np.meshgrid(plan.x, plan.y)
    rows = plan.patches.to_dict("records")
    assert set(chart.tags) == {row["name"] for row in rows}
    for row in rows:
        called, number = chart.tags[row["name"]].get_text().split("  ")
        assert called == row["name"]
        assert told_mm(number, unit) == pytest.approx(row["greatest_mm"], abs=NEAREST[unit])
        # brute force over the nodes within its outline
        own = shapely.intersects_xy(row["outline"].buffer(0.01), gx, gy)
        own &= plan.actions == ACTIONS.index(row["action"])
        x, y = chart.tags[row["name"]].xy
        at = np.abs(gx - x) + np.abs(gy - y) < 0.01
        assert at.sum() == 1
        assert own[at].all()
        assert np.abs(plan.change[at][0]) == pytest.approx(np.abs(plan.change[own]).max())
    spots = {tuple(np.round(xy, 3)) for xy in chart.spots.get_xydata().tolist()}
    assert spots == {tuple(np.round(tag.xy, 3)) for tag in chart.tags.values()}


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("name", ["mixed floor", "ceiling", "60 ft x 40 ft", "one patch", "failing"])
def test_every_number_is_the_change_at_its_node(name, unit):
    plan, chart = plan_named(name), mapped(name, unit)
    assert len(chart.depths) >= 20
    for text in chart.depths:
        i, j = (int(np.abs(axis - at).argmin()) for axis, at in zip((plan.x, plan.y), text.xy, strict=True))
        assert (plan.x[i], plan.y[j]) == pytest.approx(text.xy)
        assert plan.actions[j, i] > 0
        assert told_mm(text.get_text(), unit) == pytest.approx(plan.change[j, i], abs=NEAREST[unit])
        assert text.get_text()[0] == ("+" if plan.change[j, i] > 0 else "\N{MINUS SIGN}")


@pytest.mark.parametrize("name", ["mixed floor", "sixty patches", "wall"])
def test_patches_are_drawn_where_the_table_has_them_in_the_pattern_of_their_action(name):
    plan, chart = plan_named(name), mapped(name)
    for row in plan.patches.to_dict("records"):
        filled, edge = chart.areas[row["name"]]
        box = filled.get_path().get_extents()
        assert box.extents == pytest.approx([row[f"{end}_{a}_mm"] for end in ("from", "to") for a in "xy"])
        pattern = PATTERNS[row["action"]]
        assert filled.get_hatch() == pattern.hatch
        assert filled.get_facecolor()[:3] == pytest.approx(to_rgb(pattern.face))
        assert edge.get_linewidth() > 1
        assert edge.get_facecolor()[3] == 0


def test_patterns_differ_without_colour_and_colours_without_patterns():
    patterns = {name: PATTERNS[name] for name in ACTIONS}
    hatches = [pattern.hatch for pattern in patterns.values()]
    assert len({frozenset(hatch) for hatch in hatches}) == len(ACTIONS)  # not the same strokes, only denser
    for pattern in patterns.values():
        # contrast by the formula of WCAG 2.1; its enhanced level asks 7:1
        contrast = (luminance(rgb(pattern.face)) + 0.05) / (luminance(rgb(INK)) + 0.05)
        assert contrast > 7
    for kind in (np.eye(3), PROTAN, DEUTAN):
        seen = {name: lab(kind @ linear(rgb(pattern.face))) for name, pattern in patterns.items()}
        for one, other in itertools.combinations(seen, 2):
            if {one, other} != {"sister", "fur"}:  # never in one plan: floors are sistered, the others furred
                assert np.linalg.norm(seen[one] - seen[other]) > 10, (one, other)


def linear(colour):
    """Light of an sRGB colour (IEC 61966-2-1)."""
    c = np.asarray(colour)
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(light):
    """CIE 1976 L*a*b* of linear sRGB light, D65; a just noticeable difference is about 2.3."""
    matrix = [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
    x, y, z = np.cbrt(np.asarray(matrix) @ np.clip(light, 0, 1) / [0.95047, 1.0, 1.08883])
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


# simulation of colour blindness at full severity: Machado, Oliveira and Fernandes 2009, table of matrices; from memory
PROTAN = np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]])
DEUTAN = np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]])


@pytest.mark.parametrize("name", PLANS)
def test_the_key_has_each_action_in_use_once_and_counts_its_patches(name):
    plan, chart = plan_named(name), mapped(name)
    used = [action for action in ACTIONS if (plan.actions == ACTIONS.index(action)).any()]
    assert [n for n in chart.key.names if n in ACTIONS] == used
    counts = plan.patches["action"].value_counts()
    for action, words in zip(chart.key.names, chart.key.words, strict=True):
        said = " ".join(words.get_text().split())
        if action in counts:
            assert f"({counts[action]} patch" in said
    assert ("members" in chart.key.names) == (plan.members is not None)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("mixed floor", ("floor", "ask the engineer")),
        ("ceiling", ("ceiling", "ask the engineer")),
        ("failing", ("ask the engineer",)),
        ("wall", ("wall", "ask the engineer")),
        ("one patch", ("floor", "PASS")),
        ("nothing to do", ("Nothing to do", "PASS")),
    ],
)
def test_the_title_says_what_it_is_and_the_verdict_after(name, words):
    title = mapped(name).ax.get_title(loc="left")
    assert all(word in title for word in words)
    # what waits for an engineer has no verdict in its title
    assert ("verdict" in title) != ("ask the engineer" in title)
    notes = " ".join(text.get_text().replace("\n", " ") for text in texts_of(mapped(name).ax.figure))
    assert '3/16" under 10 ft' in notes
    assert "chance of passing" in notes


def test_one_limit_that_fails_makes_the_verdict_fail_and_no_limit_makes_none():
    plan = plan_named("one patch")
    two = pd.concat([plan.after.assign(limit="other", verdict="fail"), plan.after], ignore_index=True)
    assert "FAIL" in action_map(dataclasses.replace(plan, after=two)).ax.get_title(loc="left")
    none = action_map(dataclasses.replace(plan, after=plan.after[:0], limits=()))
    assert none.ax.get_title(loc="left") == "What to do on the floor"
    assert_clean(none.ax.figure, none.ax)


def test_openings_stay_blank_and_nothing_is_written_in_them():
    plan, chart = plan_named("mixed floor"), mapped("mixed floor")
    hole = plan.survey.openings[0]
    drawn = [artist for artist in chart.outline if getattr(artist, "get_hatch", None)]
    assert [artist.get_hatch() for artist in drawn] == [None, None]
    blank = drawn[1]
    assert blank.get_facecolor()[:3] == (1, 1, 1)
    assert blank.get_zorder() > max(part.get_zorder() for parts in chart.areas.values() for part in parts)
    assert not any(hole.buffer(-1).intersects(shapely.Point(text.xy)) for text in chart.depths)


def test_members_lie_where_they_are_and_end_at_the_outline():
    plan, chart = plan_named("mixed floor"), mapped("mixed floor")
    ends = {}
    for line in chart.members.get_segments():
        ends[round(line[0][0], 3)] = max(ends.get(round(line[0][0], 3), 0), line[:, 1].max())
    assert list(ends) == pytest.approx(plan.members.positions)
    # the L is 10 ft deep up to x = 6 ft and 12 ft from there
    assert [end / FOOT for end in ends.values()] == pytest.approx([10] * 4 + [12] * 8)
    assert chart.member_texts[0].get_text() == "J1"
    across = mapped("ceiling")
    assert {line[0][1] for line in across.members.get_segments()} == {24 * INCH * i for i in range(7)}


def test_members_across_are_named_evenly_however_long_their_names():
    """On a narrow ceiling the names of F10 and on, longer than the room beside it was, once were left out."""
    strapping = member_layout(0, 16 * INCH, "x", until=28 * FOOT, kind="strapping")
    plan = dataclasses.replace(
        room(7, 15, 2 * FOOT, lambda x, y: 0 * x, about={"surface": "ceiling"}), members=strapping
    )
    chart = action_map(plan, unit="mm")
    named = [text.get_text() for text in chart.member_texts]
    names = strapping.table["name"].tolist()
    stride = names.index(named[1])
    assert named == names[::stride]
    assert len(names) == 22
    assert_clean(chart.ax.figure, chart.ax)


def test_fixed_spots_are_marked_and_explained():
    plan = dataclasses.replace(plan_named("one patch"), fixed=(FixedSpot(FOOT, 2 * FOOT, name="sill"),))
    chart = action_map(plan)
    assert chart.fixed.get_xydata().tolist() == [[FOOT, 2 * FOOT]]
    assert "fixed" in chart.key.names
    assert mapped("one patch").fixed is None


def test_more_patches_than_can_be_named_are_counted():
    plan = room(29, 29, FOOT, lambda x, y: cells(14, 14, 28 * FOOT, 28 * FOOT)(x, y))
    assert len(plan.patches) > maps.MOST_TAGS
    chart = action_map(plan)
    assert len(chart.tags) + len(chart.untagged) == len(plan.patches)
    assert len(chart.untagged) >= len(plan.patches) - maps.MOST_TAGS
    said = [text.get_text() for text in texts_of(chart.ax.figure)]
    assert f"{len(chart.untagged)} more patches: see the table" in said
    assert_clean(chart.ax.figure, chart.ax)


def test_it_draws_into_given_axes_and_writes_a_file(tmp_path):
    figure = Figure(figsize=(14, 8))
    left = figure.add_axes((0.06, 0.1, 0.55, 0.7))
    chart = action_map(plan_named("mixed floor"), left)
    assert chart.ax is left
    assert_clean(figure, left)
    assert save_chart(chart, tmp_path / "plan.svg").stat().st_size > 10_000


def test_it_refuses_what_it_cannot_draw():
    with pytest.raises(ArgumentError, match="unknown unit"):
        action_map(plan_named("one patch"), unit="cm")
    plan = plan_named("one patch")
    empty = dataclasses.replace(plan.surface, height=plan.surface.height * np.nan)
    with pytest.raises(MeasureError, match="no heights"):
        action_map(dataclasses.replace(plan, surface=empty))


# -- members ---------------------------------------------------------------------------------------------------------


@functools.cache
def scheduled(name="mixed floor", set_by="each", line=None, **kind):
    plan = plan_named(name)
    members = member_layout(8 * INCH, 16 * INCH, "y", until=16 * FOOT, **kind) if kind else plan.members
    crossing = member_layout(0, 16 * INCH, "y", until=16 * FOOT) if members.kind == "strapping" else None
    return member_schedule(plan, members, line=line, set_by=set_by, crossing=crossing)


ENGINEERED = {"kind": "I-joist", "depth": 302.0, "flange": 38.0}


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize(
    ("schedule", "member"),
    [
        (lambda: scheduled(), "J4"),
        (lambda: scheduled(set_by="string"), "J9"),
        (lambda: scheduled(), None),
        (lambda: scheduled(set_by="string"), ("J1", "J4", "J12")),
        (lambda: scheduled("ceiling"), None),
        (lambda: scheduled("60 ft x 40 ft"), None),
        (lambda: scheduled("60 ft x 40 ft"), "J5"),
        (lambda: scheduled(**ENGINEERED), "J2"),
        (lambda: scheduled(), tuple(f"J{i}" for i in range(1, 6))),
    ],
)
def test_every_chart_of_members_is_readable(schedule, member, unit):
    chart = member_chart(schedule(), member, unit=unit)
    assert_clean(chart.ax.figure, chart.ax)
    wide, high = chart.ax.figure.get_size_inches()
    assert wide == 10
    assert high < 11.01  # a page of letter paper


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize(("name", "member"), [("mixed floor", None), ("mixed floor", "J3"), ("ceiling", None)])
def test_numbers_at_stations_are_those_of_the_schedule(name, member, unit):
    schedule = scheduled(name, "string" if member else "each")
    for panel in member_chart(schedule, member, unit=unit).panels:
        table = schedule.table[schedule.table["member"] == panel.name].set_index("station_mm")
        shown = table.loc[panel.stations]
        for text, value in zip(panel.numbers, shown["raise_mm"], strict=True):
            told = told_mm(text.get_text(), unit)
            # where a tape tells nothing, 0 stands
            assert told == pytest.approx(value, abs=NEAREST[unit] if told else 2 * NEAREST[unit])
        for text, value in zip(panel.below_string, shown["below_string_mm"], strict=False):
            assert told_mm(text.get_text(), unit) == pytest.approx(value, abs=INCH / 64)
        assert bool(panel.below_string) == (member is not None)
        known = table["raise_mm"].dropna()
        assert {known.idxmax(), known.index[0]} & set(panel.stations.tolist())
        assert known.abs().max() == pytest.approx(shown["raise_mm"].abs().max())
        assert [tick.get_text() for tick in panel.ax.get_xticklabels()]


def test_lines_are_drawn_off_the_line_to_follow_and_hatched_on_the_right_side():
    schedule = scheduled(set_by="string", line="nearest")
    raised = taken = 0
    for panel in member_chart(schedule).panels:
        table = schedule.table[schedule.table["member"] == panel.name]
        line = table["line_mm"].to_numpy()
        for artist, column in (
            (panel.existing, "existing_mm"),
            (panel.target, "target_mm"),
            (panel.string, "string_mm"),
        ):
            np.testing.assert_allclose(artist.get_ydata(), table[column].to_numpy() - line, atol=1e-9)
        assert np.nanmax(np.abs(panel.line.get_ydata())) == 0
        for part, side in ((panel.raised, -1), (panel.taken, 1)):
            for path in part.get_paths():
                assert (side * path.vertices[:, 1] >= -1e-9).all()
        raised += len(panel.raised.get_paths())
        taken += len(panel.taken.get_paths())
    assert raised > 3
    assert taken > 3


def test_it_says_which_are_set_first():
    schedule = scheduled(set_by="string")
    said = {panel.name: panel.heading[1].get_text() for panel in member_chart(schedule).panels}
    assert [name for name, words in said.items() if words == "set first"] == ["J1", "J12"]
    assert set(said.values()) == {"set first", "set to the string"}
    alone = member_chart(schedule, "J12")
    assert any("set first, with the other end member" in text.get_text() for text in texts_of(alone.ax.figure))


def test_what_may_not_be_taken_down_is_said_beside_it():
    engineered = member_layout(8 * INCH, 16 * INCH, "y", until=16 * FOOT, **ENGINEERED)
    schedule = member_schedule(plan_named("mixed floor"), engineered, line="nearest")
    panel = next(p for p in member_chart(schedule).panels if p.name == "J6")
    assert "(not allowed)" in panel.heading[2].get_text()
    words = " ".join(t.get_text().replace("\n", " ") for t in texts_of(member_chart(schedule, "J6").ax.figure))
    assert "an engineered member" in words


def test_of_many_members_those_that_are_moved_most_are_drawn():
    schedule = scheduled("60 ft x 40 ft")
    table = schedule.table.dropna(subset="raise_mm")
    # brute force: greatest raise or take-down of each member over its stations, which are all the lattice lines here
    most = table.assign(size=table["raise_mm"].abs()).groupby("member")["size"].max()
    drawn = [panel.name for panel in member_chart(schedule).panels]
    assert len(drawn) == 12
    assert min(most[drawn]) >= max(most.drop(drawn)) - 1e-6
    assert drawn == sorted(drawn, key=lambda name: int(name[1:]))
    assert any("34 more" in text.get_text() for text in texts_of(member_chart(schedule).ax.figure))


@pytest.mark.parametrize(
    ("member", "words"),
    [
        ("J99", "unknown member"),
        ((), "members for one chart"),
        (("J1", "J1"), "members for one chart"),
        (tuple(f"J{i}" for i in range(1, 14)), "members for one chart"),
    ],
)
def test_names_that_cannot_be_drawn(member, words):
    with pytest.raises(ArgumentError, match=words):
        member_chart(scheduled(), member)


def test_a_member_that_no_reading_reaches_is_refused_by_name_and_left_out_of_all():
    plan = plan_named("one patch")
    schedule = member_schedule(plan, member_layout(positions=[600, 9000], direction="y", start=0, end=1200))
    with pytest.raises(MeasureError, match="J2 cannot be drawn: no readings reach it"):
        member_chart(schedule, "J2")
    assert [panel.name for panel in member_chart(schedule).panels] == ["J1"]


# -- reveals ---------------------------------------------------------------------------------------------------------

STEP = 150.0


def hump(x):
    """A straight wall with one hump of 4 mm, 600 mm to either side of 1500 mm."""
    return np.maximum(0.0, 4.0 * (1 - np.abs(x - 1500) / 600))


def revealed(profile=hump, count=31, **options):
    height = np.tile(profile(STEP * np.arange(count)), (3, 1))
    options = {"nominal": 6.0, "height": 6.0, "tolerance": 1.0, **options}
    return reveal(make_surface(height, STEP), (0, STEP), (STEP * (count - 1), STEP), **options)


WAVY = {"profile": lambda x: 2 * np.sin(x / 700) + 0.5 * np.cos(x / 260), "height": None}
REVEALS = {
    "hump": {},
    "agreed": {"tolerance": 5.0},
    "nothing agreed": {"tolerance": None},
    "flat": {"profile": lambda x: 0 * x},
    "wavy": WAVY,
    "long": {**WAVY, "count": 121},
    "blank": {"profile": lambda x: np.where(np.abs(x - 3000) < 400, np.nan, hump(x))},
    "sloping": {"profile": lambda x: x / 200 + hump(x), "height": None, "line": "parallel"},
    "change": {"change_tolerance": 1.5},
}


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("name", REVEALS)
def test_every_reveal_is_readable(name, unit):
    chart = reveal_chart(revealed(**REVEALS[name]), unit=unit)
    assert_clean(chart.ax.figure, chart.ax)
    assert tuple(chart.ax.figure.get_size_inches()) < (10.01, 7.5)


def test_a_reveal_over_a_hump_is_drawn_as_it_is():
    # closed form: 6 mm wanted and a line at 6 mm, so the reveal is 6 mm less the hump, and tightest, 2 mm, at 1.5 m
    found = revealed()
    chart = reveal_chart(found, unit="mm")
    x, y = chart.line.get_data()
    np.testing.assert_allclose(y, 6.0 - hump(np.asarray(x)), atol=1e-9)
    assert set(chart.nominal.get_ydata()) == {6.0}
    assert (chart.band.get_y(), chart.band.get_height()) == pytest.approx((5.0, 2.0))
    assert chart.departure.get_text() == "largest departure: 4 mm tight, at 1.5 m"
    assert chart.departure.xy == pytest.approx((1500, 2))
    # the hump falls 4 mm in 600 mm, and 2 ft, 609.6 mm, hold it whole
    assert "4 mm" in chart.change.get_text()
    assert sorted(chart.span[0].get_xdata())[1] - sorted(chart.span[0].get_xdata())[0] <= 609.6 + 1e-6
    assert "FAIL" in chart.ax.get_title(loc="left")
    # outside what is agreed where the hump is over 1 mm: 450 mm to either side of it
    out = np.vstack([path.vertices for path in chart.out.get_paths()])
    assert (out[:, 0].min(), out[:, 0].max()) == pytest.approx((1050, 1950), abs=4)
    assert out[:, 1].max() <= 5.0 + 1e-9
    said = " ".join(text.get_text().replace("\n", " ") for text in texts_of(chart.ax.figure))
    # stations stand every 75 mm; at 1050 and 1950 mm the hump is 1 mm, which is still within
    assert "Outside what is agreed: 1.125 m to 1.875 m (tight)." in said


def test_the_largest_change_is_the_largest_of_all_pairs_of_places():
    found = revealed(**WAVY)
    chart = reveal_chart(found, unit="mm")
    # brute force over places 5 mm apart
    s = np.arange(0, 4500 + 1, 5.0)
    gap = np.interp(s, found.table["station_mm"], found.table["reveal_mm"])
    apart = int(609.6 // 5)
    best = max(float(np.abs(gap[k:] - gap[:-k]).max()) for k in range(1, apart + 1))
    ends = sorted(chart.span[0].get_xdata())
    assert ends[1] - ends[0] <= 609.6 + 1e-6
    drawn = np.interp(ends, found.table["station_mm"], found.table["reveal_mm"])
    assert abs(drawn[1] - drawn[0]) == pytest.approx(best, abs=0.03)
    assert float(chart.change.get_text().split(": ")[1].split(" mm")[0]) == pytest.approx(best, abs=0.08)


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_numbers_to_cut_are_those_of_the_table_and_leave_an_even_reveal(unit):
    found = revealed(**WAVY)
    chart = reveal_chart(found, unit=unit)
    table = found.table.set_index("station_mm")
    assert len(chart.numbers) >= 8
    for at, text in zip(chart.stations, chart.numbers, strict=True):
        cut = table.loc[at, "scribe_mm"]
        assert told_mm(text.get_text(), unit) == pytest.approx(cut, abs=2 * NEAREST[unit])
        # lowered and cut, the reveal is the one wanted
        assert table.loc[at, "reveal_mm"] - found.lower_by + cut == pytest.approx(found.nominal)
    assert table["scribe_mm"].max() == pytest.approx(table.loc[chart.stations, "scribe_mm"].max())
    assert chart.scribe_ax is not None


def test_nothing_is_scribed_where_the_reveal_passes_and_nothing_is_judged_where_nothing_is_agreed():
    passed = reveal_chart(revealed(tolerance=5.0))
    assert passed.scribe_ax is None
    assert passed.scribe is None
    assert "PASS" in passed.ax.get_title(loc="left")
    assert any("Nothing to scribe" in text.get_text() for text in texts_of(passed.ax.figure))
    open_ = reveal_chart(revealed(tolerance=None))
    assert open_.band is None
    assert open_.out is None
    assert "UNDECIDED" in open_.ax.get_title(loc="left")


def test_a_flat_wall_has_no_change_and_places_are_counted_along_the_line():
    chart = reveal_chart(revealed(profile=lambda x: 0 * x))
    assert chart.change is None
    assert chart.departure.get_text() == "no departure"
    slanted = reveal(make_surface(np.zeros((5, 5)), 300), (0, 0), (900, 1200), 6.0)
    assert along(slanted, (900, 1200)) == pytest.approx(1500)  # 3 : 4 : 5


def test_a_reveal_in_an_unknown_unit_is_refused():
    with pytest.raises(ArgumentError, match="unknown unit"):
        reveal_chart(revealed(), unit="yards")
