"""A run gives what the public functions give by hand for the same values, and says where a part cannot be."""

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import flatness
from flatness.corrections.consequences import Door, Headroom, Stair, Threshold, consequences
from flatness.corrections.finished import finished_surface
from flatness.corrections.quantities import quantities, settings_of
from flatness.errors import FlatnessError, PlanError
from flatness.job.reading import read_job
from flatness.job.running import run_job
from flatness.show.job_words import job_report

SAMPLE = Path(__file__).parents[2] / "sample_surveys" / "loft_floor"
QUICK = {"headings": 4, "aim": 0.7, "spacing": 304.8}  # 12 in, which is not what the kit would choose


@pytest.fixture(scope="module")
def sample():
    """The sample's job with few draws and few headings, and what it gives."""
    job = read_job(SAMPLE / "job.toml")
    plan = dataclasses.replace(job.plan, options={**job.plan.options, **QUICK})
    return run_job(dataclasses.replace(job, draws=10, plan=plan))


@pytest.fixture(scope="module")
def by_hand():
    """The sample's plan by the public functions, its values typed in mm."""
    joists = flatness.member_layout(0, 406.4, "y", until=4876.8, start=0, end=6705.6, depth=234.95)
    limits = ["wood-nailed", flatness.level_limit(31.75, name="level-agreed", purpose="lowest to highest")]
    before = flatness.read_survey(SAMPLE / "before.csv")
    plan = flatness.plan_corrections(
        before, "least-work", limits=limits, rates=flatness.Rates(2, 1),
        depths=flatness.Depths(9.525, 25.4), fixed=[flatness.FixedSpot(3733.8, 3352.8, None, 1.5875, "nosing")],
        beneath=flatness.Beneath("boards", may_be_planed=True, most_planed=9.525), members=joists, draws=10,
        deepest_fill=12.7, least_patch=92903.04, materials=settings(), **QUICK,
    )  # fmt: skip
    return before, limits, joists, plan


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
    plan = by_hand[-1]
    np.testing.assert_allclose(sample.plan.change, plan.change, atol=1e-9)
    np.testing.assert_array_equal(sample.plan.actions, plan.actions)
    same(sample.plan.patches, plan.patches)
    same(sample.plan.after, plan.after)
    assert sample.plan.cost == pytest.approx(plan.cost)
    assert sample.plan is sample.plan
    change = sample.plan.change[np.isfinite(sample.plan.change)]
    assert change.min() >= -9.525 - 1e-6
    assert change.max() <= 25.4 + 1e-6


def test_the_schedule(sample, by_hand):
    _, _, joists, plan = by_hand
    made = flatness.member_schedule(plan, joists, step=609.6, set_by="string", sister_thickness=38.1)
    same(sample.schedule.table, made.table)
    same(sample.schedule.members, made.members)


def test_doors_stairs_and_the_reveal(sample, by_hand):
    plan = by_hand[-1]
    layers = [flatness.Layer("oak", 19.05)]
    risers = (190.5,) * 3 + (192.0875,) + (190.5,) * 2 + (188.9125,) + (190.5,) * 5
    features = [
        Door("door to the drying room", (304.8, 914.4), 31.75, 6.35, ((1066.8, 914.4), (863.6, 1524.0))),
        Stair("stair to the workshop", (3733.8, 3352.8), risers, "top", 19.05),
        Threshold("opening to the packing room", (2438.4, 6705.6), -1041.4, 6.35),
        Headroom("under the tie beam", (2438.4, 3048.0), 2159.0, 2032.0),
    ]
    same(sample.consequences, consequences(plan, features, layers))
    made = flatness.reveal(
        finished_surface(plan, layers), (0, 0), (0, 6705.6), 6.35, line="parallel", tolerance=1.5875
    )  # fmt: skip
    (found,) = sample.reveals.values()
    assert list(sample.reveals) == ["plinth along x = 0"]
    same(found.table, made.table)
    assert (found.verdict, found.tolerance) == (made.verdict, 1.5875)


def test_the_quantities(sample, by_hand):
    same(sample.quantities.table, by_hand[-1].quantities.table)
    assert sample.sisters.empty
    assert sample.notes == ()


def test_the_comparison(sample, by_hand):
    before, limits, _, plan = by_hand
    after = flatness.read_survey(SAMPLE / "after.csv")
    made = flatness.compare(
        before, after, align="none", spacing=304.8, limits=limits, plan=plan, tolerance=3.175, draws=10
    )  # fmt: skip
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
        "member": ["J3", "J4"], "start_mm": [0.0, 0.0], "end_mm": [2000.0, 2000.0], "length_mm": [2000.0, 2000.0]
    }  # fmt: skip
    # two of 2 m: one of 4 m for 18, not two of 2.4 m for 20
    assert found.quantities.lengths.stock.to_dict("list") == {"stock_mm": [4000.0], "count": [1], "price": [18.0]}
    assert found.quantities.lengths.cost == 18
    # 4 m x 235 mm x 38.1 mm of LVL at 40 lb/ft3
    assert found.quantities.sister_mass == pytest.approx(4000 * 235 * 38.1 * 40 * 0.45359237 / 304.8**3)
    by_hand = quantities(
        found.plan, fill=found.plan.action("fill"), plane=found.plan.action("plane"), sisters=[2000.0, 2000.0],
        sister_section=(235.0, 38.1), stock={2400.0: 10.0, 4000.0: 18.0}, settings=settings_of(kerf=0.0),
    )  # fmt: skip
    same(found.quantities.table, by_hand.table)


def test_sisters_that_are_named_and_all_of_them(run):
    assert run(JOB + 'sistered = ["J7", "J2"]\n').sisters["member"].tolist() == ["J2", "J7"]
    assert run(JOB + 'sistered = "all"\n').sisters["member"].tolist() == [f"J{i}" for i in range(1, 8)]


@pytest.mark.parametrize("sistered", ["planned", "all"])
def test_no_sister_is_ordered_where_there_is_no_floor(run, sistered):
    """The room is 2400 by 2000; the layout has twelve joists of 3500 over 4400, of which seven lie beneath the room."""
    text = JOB.replace("start = 0", "start = -500").replace("end = 2000", "end = 3000").replace("= 7", "= 12")
    found = run(f'{text}sistered = "{sistered}"\n{STOCK}')
    names = ["J3", "J4"] if sistered == "planned" else [f"J{i}" for i in range(1, 8)]
    assert found.sisters["member"].tolist() == names
    assert set(found.sisters["start_mm"]) == {0.0}
    assert set(found.sisters["length_mm"]) == {2000.0}
    # two joists of 2000 are cut from one of 4000, and a third from one of 2400
    assert found.quantities.lengths.bought_mm == 4000 * (len(names) // 2) + 2400 * (len(names) % 2)
    assert any(note.startswith("no reading reaches J8, J9, J10, J11, J12:") for note in found.schedule.notes)


def test_sisters_end_at_a_stated_outline(run):
    """The outline runs beyond the readings, to a wall aslant: from y = 2950 at x = -150 to y = 2050 at x = 2550."""
    outline = "# outline: -150,-150; 2550,-150; 2550,2050; -150,2950\n"
    found = run(JOB.replace("end = 2000", "end = 4000") + 'sistered = "all"\n', outline + HOLLOW)
    assert found.sisters["end_mm"].tolist() == pytest.approx([2950 - (400 * i + 150) / 3 for i in range(7)])


def test_strapping_is_bought_and_told_as_strapping(run):
    """Straps along x, 60 by 20, at y = 0, 400, ... 2000 over a ceiling 2400 long: six of 2400 mm."""
    text = (
        JOB.replace("count = 7\nstart = 0\nend = 2000", 'count = 6\nkind = "strapping"\ndirection = "x"\ndepth = 60')
        + 'thickness = 20\nsistered = "all"\n[members.crossing]\ndirection = "y"\nfirst = 0\nspacing = 400\ncount = 7\n'
        '[materials.stock]\n"2.4 m" = 3\n'
    )
    found = run(text, "# surface: ceiling\n" + HOLLOW)
    assert found.sisters["length_mm"].tolist() == [2400.0] * 6
    # 1 lb/ft3 = 16.01846 kg/m3 (NIST SP 811)
    assert found.quantities.sister_mass == pytest.approx(6 * 2.4 * 0.06 * 0.02 * 28 * 16.01846, rel=1e-6)
    told = " ".join(job_report(found).split())
    assert "Strapping: 7.8 kg" in told
    assert "Strapping to buy: 14.4 m" in told
    assert "kg/m3 (spruce, about 28 lb/ft3" in told
    assert "LVL, about" not in told
    assert "Sisters:" not in told


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
        (JOB + STOCK.replace('"4 m"', '"1.8 m"').replace("2.4 m", "1.4 m"), "quantities",
         ["job.toml, materials.stock", "longer than every stock length"]),
        (JOB + '[plan.depths]\nfill = 5\n[[fixed]]\nname = "sill"\nx = 800\ny = 400\nheight = 0\n', "plan",
         ["job.toml, plan", "clash"]),
        (JOB.replace("[plan]", 'after = "after.csv"\n[plan]'), "comparison", ["job.toml, compare", "benchmark"]),
        (JOB.replace("draws = 0", 'draws = 0\nlimits = "wood-nailed-10ft"').replace(
            'strategy = "level"\nheight = 0\n', "").replace("headings = 1", "headings = 4")
         + '[plan.depths]\nfill = 1\ncut = 0\n', "plan", ["job.toml, plan"]),
    ],
)  # fmt: skip
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
