"""A run gives what the public functions give by hand for the same values, and says where a part cannot be."""

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import flatness
from flatness.errors import FlatnessError, PlanError
from flatness.job.reading import read_job
from flatness.job.running import run_job
from flatness.planning.quantities import quantities, settings_of
from flatness.surroundings.finished_surface import finished_surface
from flatness.surroundings.interferences import Door, Headroom, Stair, Threshold, consequences
from flatness.words.plans import job_report

SAMPLE = Path(__file__).parents[2] / "sample_surveys" / "loft_floor"
QUICK = {"headings": 4, "aim": 0.7, "spacing": 304.8}  # 12 in, which is not what the kit would choose


@pytest.fixture(scope="module")
def sample():
    """The sample's job with few draws and few headings, and what it gives."""
    job = read_job(SAMPLE / "job.toml")
    plan = dataclasses.replace(job.plan, options={**job.plan.options, **QUICK})
    assert plan.way == "proposed"
    return run_job(dataclasses.replace(job, draws=10, plan=plan))


@pytest.fixture(scope="module")
def by_hand():
    """The sample's plan by the public functions, its values typed in mm."""
    joists = flatness.member_layout(0, 406.4, "y", until=4876.8, start=0, end=6705.6, depth=234.95)
    limits = ["wood-nailed", flatness.level_limit(31.75, name="level-agreed", purpose="lowest to highest")]
    before = flatness.read_survey(SAMPLE / "before.csv")
    # 0.75 h a place, 0.06 h a ft2, 2 h a ft3, 0.2 h a ft, 0.1 h a shim; a foot is 304.8 mm
    rates = flatness.Rates(2, 1, 0.75, 0.06 / 304.8**2, 2 / 304.8**3, 0.2 / 304.8, 0.1, "h")
    ways = flatness.plan_ways(
        before,
        limits,
        rates=rates,
        setting_error=25.4 / 32,
        depths=flatness.Depths(9.525, 25.4),
        fixed=[flatness.FixedSpot(3733.8, 3352.8, None, 1.5875, "nosing")],
        beneath=flatness.Beneath("boards", may_be_planed=True, most_planed=9.525),
        members=joists,
        draws=10,
        deepest_fill=12.7,
        least_patch=92903.04,
        materials=settings(),
        **QUICK,
    )
    return before, limits, joists, ways


def settings():
    return settings_of(bag_yield=0.45 * 304.8**3, fill_density=118 * 0.45359237 / 304.8**3, spare=0.1, kerf=3.175)


def same(table, other):
    """The same table, but for shapes, which compare by themselves, and the last binary digits."""
    pd.testing.assert_frame_equal(
        table.drop(columns="outline", errors="ignore"), other.drop(columns="outline", errors="ignore"), rtol=1e-9
    )


def test_the_assessment(sample, by_hand):
    before, limits, _, _ = by_hand
    same(sample.assessment.table, flatness.check(before, limits, spacing=304.8, headings=4, draws=10))


def test_the_plan(sample, by_hand):
    ways = by_hand[-1]
    plan = ways.plan
    same(sample.ways.table, ways.table)
    assert sample.plan is sample.ways.plan
    assert (sample.plan.way, sample.plan.work) == (plan.way, pytest.approx(plan.work))
    np.testing.assert_allclose(sample.plan.change, plan.change, atol=1e-9)
    np.testing.assert_array_equal(sample.plan.actions, plan.actions)
    same(sample.plan.patches, plan.patches)
    same(sample.plan.after, plan.after)
    assert sample.plan.cost == pytest.approx(plan.cost)
    change = sample.plan.change[np.isfinite(sample.plan.change)]
    assert change.min() >= -9.525 - 1e-6
    assert change.max() <= 25.4 + 1e-6


def test_the_schedule_is_of_the_chosen_way_alone(sample):
    """Patches that are planed and filled set no member; all members to one plane set every one, some set those."""
    if not sample.plan.action("sister").any():
        assert sample.schedule is None
    # without the nosing, which no level plane over the highest joist leaves where it is
    terms = dataclasses.replace(sample.job.plan, way="members", fixed=())
    members = run_job(dataclasses.replace(sample.job, plan=terms))
    made = members.schedule
    assert (members.plan.way, made.line) == ("members", "planned")
    assert set(made.members["member"]) == set(members.plan.lines) == {f"J{i}" for i in range(1, 14)}
    for row in made.table.dropna(subset="line_mm").to_dict("records"):
        height, slope = members.plan.lines[row["member"]]
        assert row["line_mm"] == pytest.approx(height + slope * row["station_mm"], abs=1e-5)
    assert members.sisters["member"].tolist() == [f"J{i}" for i in range(1, 14)]
    # what is told and sold is of that way: no patch, and a sister beside each joist
    told = job_report(members)
    assert "Members, in the order they are set" in told
    assert "Patches, in the order of work" not in told


def test_doors_stairs_and_the_reveal(sample, by_hand):
    plan = by_hand[-1].plan
    layers = [flatness.Layer("oak", 19.05)]
    risers = (190.5,) * 3 + (192.0875,) + (190.5,) * 2 + (188.9125,) + (190.5,) * 5
    features = [
        Door("door to the drying room", (304.8, 914.4), 31.75, 6.35, ((1066.8, 914.4), (863.6, 1524.0))),
        Stair("stair to the workshop", (3733.8, 3352.8), risers, "top", 19.05),
        Threshold("opening to the packing room", (2438.4, 6705.6), -1041.4, 6.35),
        Headroom("under the tie beam", (2438.4, 3048.0), 2159.0, 2032.0),
    ]
    same(sample.consequences, consequences(plan, features, layers))
    made = flatness.reveal(finished_surface(plan, layers), (0, 0), (0, 6705.6), 6.35, line="parallel", tolerance=1.5875)
    (found,) = sample.reveals.values()
    assert list(sample.reveals) == ["plinth along the left wall"]
    same(found.table, made.table)
    assert (found.verdict, found.tolerance) == (made.verdict, 1.5875)


def test_the_quantities(sample, by_hand):
    same(sample.quantities.table, by_hand[-1].plan.quantities.table)
    assert sample.sisters.empty
    assert sample.notes == ()


def test_the_comparison(sample, by_hand):
    before, limits, _, ways = by_hand
    plan = ways.plan
    after = flatness.read_survey(SAMPLE / "after.csv")
    made = flatness.compare(
        before, after, align="none", spacing=304.8, limits=limits, plan=plan, tolerance=3.175, draws=10
    )
    np.testing.assert_allclose(sample.comparison.difference, made.difference, atol=1e-9)
    same(sample.comparison.verdicts, made.verdicts)
    same(sample.comparison.plan, made.plan)


# A hollow 20 mm deep under the joists J3 and J4, which run along y: deeper than fill, so it is sistered
HOLLOW = "# unit: mm\n# reading: height\nx,y,reading\n" + "".join(
    f"{x},{y},{-20 if 800 <= x <= 1200 else 0}\n" for x in range(0, 2401, 400) for y in range(0, 2001, 400)
)
JOB = """
unit = "mm"
draws = 0
[surveys]
before = "before.csv"
[plan]
way = "patches"
strategy = "level"
height = 0
spacing = 400
headings = 1
surface = "as-read"
[members]
first = 0
spacing = 400
count = 7
start = 0
end = 2000
"""
STOCK = 'depth = 235\n[materials]\nkerf = 0\n[materials.stock]\n"2.4 m" = 10\n"4 m" = 18\n'


@pytest.fixture
def run(tmp_path):
    def made(text, survey=HOLLOW, after=None):
        (tmp_path / "before.csv").write_text(survey, encoding="utf-8")
        if after:
            (tmp_path / "after.csv").write_text(after, encoding="utf-8")
        (tmp_path / "job.toml").write_text(text, encoding="utf-8")
        return run_job(read_job(tmp_path / "job.toml"))

    return made


def test_sisters_under_what_is_sistered(run):
    """By hand: the nodes at x = 800 and 1200 are 20 mm low; the joists there are the third and the fourth."""
    found = run(JOB + STOCK)
    assert found.plan.action("sister").any()
    assert found.sisters.to_dict("list") == {
        "member": ["J3", "J4"],
        "start_mm": [0.0, 0.0],
        "end_mm": [2000.0, 2000.0],
        "length_mm": [2000.0, 2000.0],
    }
    # two of 2 m: one of 4 m for 18, not two of 2.4 m for 20
    assert found.quantities.lengths.stock.to_dict("list") == {"stock_mm": [4000.0], "count": [1], "price": [18.0]}
    assert found.quantities.lengths.cost == 18
    # 4 m x 235 mm x 38.1 mm of LVL at 40 lb/ft3
    assert found.quantities.sister_mass == pytest.approx(4000 * 235 * 38.1 * 40 * 0.45359237 / 304.8**3)
    by_hand = quantities(
        found.plan,
        fill=found.plan.action("fill"),
        plane=found.plan.action("plane"),
        sisters=[2000.0, 2000.0],
        sister_section=(235.0, 38.1),
        stock={2400.0: 10.0, 4000.0: 18.0},
        settings=settings_of(kerf=0.0),
    )
    same(found.quantities.table, by_hand.table)


@pytest.mark.parametrize("way", ["patches", "members"])
def test_no_sister_is_ordered_where_there_is_no_floor(run, way):
    """The room is 2400 by 2000; the layout has twelve joists of 3500 over 4400, of which seven lie beneath the room."""
    text = JOB.replace("start = 0", "start = -500").replace("end = 2000", "end = 3000").replace("= 7", "= 12")
    found = run(f"{text.replace('patches', way)}{STOCK}")
    names = ["J3", "J4"] if way == "patches" else [f"J{i}" for i in range(1, 8)]
    assert found.sisters["member"].tolist() == names
    assert set(found.sisters["start_mm"]) == {0.0}
    assert set(found.sisters["length_mm"]) == {2000.0}
    # two joists of 2000 are cut from one of 4000, and a third from one of 2400
    assert found.quantities.lengths.bought_mm == 4000 * (len(names) // 2) + 2400 * (len(names) % 2)
    assert any(note.startswith("no reading reaches J8, J9, J10, J11, J12:") for note in found.schedule.notes)


def test_sisters_end_at_a_stated_outline(run):
    """The outline runs beyond the readings, to a wall aslant: from y = 2950 at x = -150 to y = 2050 at x = 2550."""
    outline = "# outline: -150,-150; 2550,-150; 2550,2050; -150,2950\n"
    found = run(JOB.replace("end = 2000", "end = 4000").replace("patches", "members"), outline + HOLLOW)
    assert found.sisters["end_mm"].tolist() == pytest.approx([2950 - (400 * i + 150) / 3 for i in range(7)])


STRAPS = (
    JOB.replace("count = 7\nstart = 0\nend = 2000", 'count = 6\nkind = "strapping"\ndirection = "x"\ndepth = 60')
    + 'thickness = 20\n[members.crossing]\ndirection = "y"\nfirst = 0\nspacing = 400\ncount = 7\n'
    '[materials.stock]\n"2.4 m" = 3\n'
)


def test_strapping_is_bought_and_told_as_strapping(run):
    """Straps along x, 60 by 20, at y = 0, 400, ... 2000 over a ceiling 2400 long: six of 2400 mm."""
    found = run(STRAPS.replace("patches", "members"), "# surface: ceiling\n" + HOLLOW)
    assert found.sisters["length_mm"].tolist() == [2400.0] * 6
    # 1 lb/ft3 = 16.01846 kg/m3 (NIST SP 811)
    assert found.quantities.sister_mass == pytest.approx(6 * 2.4 * 0.06 * 0.02 * 28 * 16.01846, rel=1e-6)
    told = " ".join(job_report(found).split())
    assert "Strapping: 7.8 kg" in told
    assert "Strapping to buy: 14.4 m" in told
    assert "kg/m3 (spruce, about 28 lb/ft3" in told
    assert "LVL, about" not in told
    assert "Sisters:" not in told


def test_new_strapping_over_all_is_shimmed_to_the_plane_less_its_thickness(run):
    """The plane lies 20 mm, a strap's thickness, before the highest places, and 40 mm before the hollow."""
    text = STRAPS.replace("patches", "overlay").replace('strategy = "level"\nheight = 0\n', "")
    found = run(text, "# surface: ceiling\n" + HOLLOW)
    assert found.plan.set_height == pytest.approx(np.full(found.plan.set_height.shape, 20.0), abs=1e-4)
    shims = found.schedule.shims
    hollow = shims["x_mm"].between(800, 1200)
    assert shims.loc[hollow, "shim_mm"].tolist() == pytest.approx([20.0] * hollow.sum(), abs=1e-4)
    assert shims.loc[~hollow, "shim_mm"].tolist() == pytest.approx([0.0] * (~hollow).sum(), abs=1e-4)


def test_a_ceiling_whose_limit_is_no_straightedge_has_its_other_ways(run):
    """Out of level alone cannot be planned for by patches: strapping over all can be, and comes out level."""
    text = (
        STRAPS.replace('strategy = "level"\nheight = 0\n', "")
        .replace('way = "patches"\n', "")
        .replace("draws = 0", 'draws = 0\nlimits = [{ kind = "level", allowed = 3 }]')
    )
    found = run(text, "# surface: ceiling\n" + HOLLOW)
    assert "patches" not in found.ways.plans
    assert {"members", "overlay"} <= set(found.ways.plans)
    assert found.plan.verdict == "pass"
    assert "Not open: patches" in job_report(found)


def test_a_way_that_is_not_open_says_why_and_which_are(run):
    found = run(
        JOB.replace("patches", "some-members")
        .replace('strategy = "level"\nheight = 0\n', "")
        .replace("draws = 0", 'draws = 0\nlimits = [{ kind = "level", allowed = 3 }]')
    )
    with pytest.raises(PlanError) as caught:
        _ = found.plan
    for words in ("job.toml, plan.way", "some-members is not open", "members, overlay", "straightedge"):
        assert words in str(caught.value)


def test_rates_are_what_the_file_says(run):
    """A place at 3, and an m2 at 5, of a level plane over two joists' hollow of 800 by 2400 mm of nodes."""
    rates = '[plan.rates]\nunit = "EUR"\nplace = 3\narea = "5 per m2"\nvolume = "0.5 per l"\nlength = "2 per m"\n'
    found = run(JOB.replace("patches", "members") + rates)
    # seven joists of 2 m at 2 a metre
    assert found.plan.work == pytest.approx(28)
    assert set(found.ways.table.loc[found.ways.table["why"] == "", "unit"]) == {"EUR"}
    patches = found.ways.plans["patches"]
    (row,) = patches.patches.to_dict("records")
    assert patches.work == pytest.approx(3 + 5 * row["area_mm2"] / 1e6 + 0.5 * row["volume_mm3"] / 1e6)


def test_sisters_along_x(run):
    """The same floor turned by a quarter: the joists run along x."""
    rows = [line.split(",") for line in HOLLOW.splitlines()[3:]]
    turned = "# unit: mm\n# reading: height\nx,y,reading\n" + "".join(f"{y},{x},{z}\n" for x, y, z in rows)
    assert run(JOB + 'direction = "x"\n', turned).sisters["member"].tolist() == ["J3", "J4"]


def test_a_node_between_two_joists_belongs_to_both(run):
    """Joists at 200, 600, ... : the low nodes at 800 and 1200 lie halfway between the 2nd, the 3rd and the 4th."""
    found = run(JOB.replace("first = 0", "first = 200").replace("count = 7", "count = 6"))
    assert found.sisters["member"].tolist() == ["J2", "J3", "J4"]


def test_without_a_section_sisters_are_listed_but_not_weighed(run):
    found = run(JOB)
    assert len(found.sisters) == 2
    assert found.quantities.sister_mass == 0
    assert "not weighed" in found.notes[0]


def test_a_job_without_a_plan_or_limits(run):
    found = run('[surveys]\nbefore = "before.csv"\n')
    assert (found.assessment, found.plan, found.schedule, found.quantities, found.comparison) == (None,) * 5
    assert found.reveals == {}
    assert found.consequences.empty
    assert found.sisters.empty


def test_before_and_after_alone(run):
    hollow = "# accuracy: 0.1 mm\n" + HOLLOW
    raised = hollow.replace(",-20\n", ",0\n")
    text = '[surveys]\nbefore = "before.csv"\nafter = "after.csv"\n[compare]\nalign = "none"\n'
    found = run(text, hollow, raised).comparison
    assert found.plan is None
    # what was 20 mm low is now level with the rest, at every station to a few reading errors
    for x, y, change in ((800, 800, 20), (1200, 1600, 20), (0, 400, 0), (2400, 2000, 0)):
        node = np.argmin(np.abs(found.y - y)), np.argmin(np.abs(found.x - x))
        assert found.difference[node] == pytest.approx(change, abs=0.6)


@pytest.mark.parametrize(
    ("text", "part", "said"),
    [
        (
            JOB + STOCK.replace('"4 m"', '"1.8 m"').replace("2.4 m", "1.4 m"),
            "quantities",
            ["job.toml, materials.stock", "longer than every stock length"],
        ),
        (
            JOB + '[plan.depths]\nfill = 5\n[[fixed]]\nname = "sill"\nx = 800\ny = 400\nheight = 0\n',
            "plan",
            ["job.toml, plan.way", "clash"],
        ),
        (JOB.replace("[plan]", 'after = "after.csv"\n[plan]'), "comparison", ["job.toml, compare", "benchmark"]),
        (
            JOB.replace("draws = 0", 'draws = 0\nlimits = "wood-nailed-10ft"')
            .replace('strategy = "level"\nheight = 0\n', "")
            .replace("headings = 1", "headings = 4")
            + "[plan.depths]\nfill = 1\ncut = 0\n",
            "plan",
            ["job.toml, plan"],
        ),
    ],
)
def test_what_cannot_be_run_is_said_with_its_table(run, text, part, said):
    found = run(text, after=HOLLOW.replace("-20", "-10"))
    with pytest.raises(FlatnessError) as caught:
        getattr(found, part)
    for words in said:
        assert words in str(caught.value)
    assert isinstance(caught.value, PlanError) == (part == "plan")


def test_progress_is_told_of_the_search(run):
    text = JOB.replace("draws = 0", 'draws = 0\nlimits = [{ kind = "straightedge", length = 1600, allowed = 5 }]')
    text = text.replace('strategy = "level"\nheight = 0\n', "")
    job = run(text).job
    seen = []
    found = run_job(job, lambda count, left, cost: bool(seen.append(count)))
    assert found.plan.passes
    assert seen == sorted(seen)
    assert seen
