"""``flatness plan``: words, JSON against the library, exit codes, files, errors by name, Ctrl-C."""

import json
import os
import re
import signal
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import openpyxl
import pytest
from shapely import Polygon, box

import flatness
from flatness.__main__ import main
from flatness.commands import plan as command
from flatness.commands.plan_written import fixed_spot, layer, lying_beneath, members_of, read_height, thresholds
from flatness.corrections.saved_plan import read_plan
from flatness.errors import FlatnessError
from flatness.lengths import parse_length

ROOT = Path(__file__).parents[1] / "sample_surveys"
STORE = ROOT / "glaze_store/before.csv"
LOFT = ROOT / "loft_floor/before.csv"
WALL = ROOT / "gallery_walls/east.csv"
CEILING = ROOT / "gallery_ceiling/ceiling.csv"
STRING = ROOT / "gallery_floor/string_check.csv"
MISTAKES = ROOT / "packing_room/with_mistakes.csv"
BAR = ("--straightedge", "2m", "--allowed", "4mm")
COARSE = ("--spacing", "300mm", "--headings", 4)
ROUNDS = ("--straightedge", "2m", "--allowed", "2mm", "--spacing", "150mm", "--headings", 4, "--draws", 0)
BY_HAND = {"limits": [flatness.straightedge_limit(2000, 4, name="agreed")], "spacing": 300, "headings": 4}


def run(capfd, *arguments):
    """Exit code, standard output and standard error of the process, whoever wrote there."""
    code = main(["plan", *map(str, arguments)])
    out = capfd.readouterr()
    return code, out.out, out.err


# the words and the costs


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize(
    "arguments",
    [
        (STORE, "--beneath", "screed; may be planed; most 1/4in", "--layers", "oak 19mm"),
        (STORE, "--strategy", "level", "--members", "LVL first 0m spacing 400mm along y depth 9-1/4in"),
        (WALL, "--strategy", "best-plane", "--members", "stud first 0mm spacing 406.4mm along y", "--fixed", "1m,1m"),
        (CEILING, "--members", "strapping first 0in spacing 16in along x", "--crossing",
         "sawn joist first 0in spacing 24in along y", "--nothing-comes-off", "--level-within", "20mm"),
    ],
)  # fmt: skip
def test_the_report_reads_well_80_wide_and_tells_both_costs(capfd, arguments, unit):
    code, out, err = run(capfd, *arguments, *BAR, *COARSE, "--unit", unit, "--draws", 10)
    assert code in (0, 1, 3)
    assert err == ""
    assert max(map(len, out.splitlines())) <= 80
    words = " ".join(out.split())
    # the least work and a flat surface, always
    assert ("The least work after which" in words) == ("--strategy" in arguments)
    assert "would take" in words
    # every caution once
    cautions = [line for line in out[out.index("\nCautions") :].splitlines() if line.startswith("  - ")]
    assert len(cautions) == len(set(cautions)) > 2
    deeds = words[words.index("What to do") : words.index("leave the rest")].lower()
    framed = "--members" in arguments or re.search(r"(sister|fur) \d+ place", deeds)
    for done, said in (
        (re.search(r"(plane|engineer about) \d+ place", deeds), "Engineered members (I-joists"),
        ("fill" in deeds or framed, "Fill, sisters and boards add weight for good"),
        (framed, "Fastening patterns, adhesives"),
        (True, "the local code and licensed practice decide"),
    ):
        assert words.count(said) == 1 if done else words.count(said) < 2, said


@pytest.mark.parametrize(("unit", "told"), [((), "30' 0\" (9144 mm)"), (("--unit", "mm"), "'9144 mm'")])
def test_errors_speak_the_unit_that_is_shown(capfd, unit, told):
    code, _, said = run(capfd, LOFT, "--limit", "wood-nailed", "--spacing", "30ft", *unit)
    assert code == 2
    assert "too coarse to plan on" in said
    assert told in said


def test_another_target_without_a_limit_says_why_no_least_work_is_told(capfd):
    code, out, err = run(capfd, STORE, "--strategy", "level", *COARSE, "--draws", 0)
    assert (code, err) == (0, "")
    assert "no straightedge limit was named" in " ".join(out.split())


def test_what_was_asked_is_told(capfd):
    arguments = ("--fixed", "0in,0in,as found,1mm,sill", "--beneath", "slab; may be planed; most 5mm", "--deepest-fill",
                 "30mm", "--layers", "levelled bed 10mm", "--layers", "old carpet -6mm")  # fmt: skip
    _, out, _ = run(capfd, STORE, *BAR, *COARSE, *arguments, "--draws", 0)
    words = " ".join(out[out.index("As you asked") : out.index("What to do")].split())
    for told in ("At most 30 mm is added", "slab, may be planed, at most 5 mm", "sill at 0 m along x", "within 1 mm",
                 "levelled bed 10 mm, old carpet -6 mm; the finished surface stands 4 mm above"):  # fmt: skip
        assert told in words
    # weight that layers add carries its caution, whatever the plan does
    _, out, _ = run(capfd, STORE, "--straightedge", "2m", "--allowed", "40mm", *COARSE, "--draws", 0, *arguments[-4:])
    assert "Leave it as it is" in out
    assert out.count("add weight for good") == 1


def test_members_are_set_so_that_the_surface_passes(capfd):
    joists = ("--members", "sawn joist first 0m spacing 400mm along y depth 235mm")
    for line in ((), ("--line", "passing")):
        _, out, _ = run(capfd, STORE, *BAR, *COARSE, *joists, *line, "--draws", 0)
        told = out.partition("with all of them set so")[2].splitlines()
        assert told[1].split()[-1] == "PASS"
        assert "Do the patches or set every member to the schedule, not both" in " ".join(out.split())


# JSON against the library


def test_json_is_what_the_library_gives_for_the_same_values(capfd):
    arguments = (
        "--fixed", "600mm,600mm,as found,2mm,hearth", "--beneath", "sheathing; may be planed; most 1/4in",
        "--members", "sawn joist first 0m spacing 400mm along y depth 235mm", "--off-rate", 2, "--deepest-fill", "20mm",
        "--threshold", "deepest fill 15mm", "--threshold", "heaviest fill 50kg", "--aim", 0.8, "--draws", 20,
        "--seed", 3, "--confidence", 0.9, "--line", "clear", "--layers", "oak 19mm",
    )  # fmt: skip
    code, out, err = run(capfd, STORE, *BAR, *COARSE, *arguments, "--json")
    assert err == ""
    assert out.count("\n") == 1
    found = json.loads(out)
    joists = flatness.member_layout(0, 400, "y", until=4800, depth=235)
    plan = flatness.plan_corrections(
        flatness.read_survey(STORE), **BY_HAND, fixed=[flatness.FixedSpot(600, 600, None, 2, "hearth")],
        beneath=flatness.Beneath("sheathing", may_be_planed=True, most_planed=6.35), members=joists,
        rates=flatness.Rates(off=2), depths=flatness.Depths(fill=20), deepest_fill=15, heaviest_fill=50, aim=0.8,
        draws=20, seed=3, confidence=0.9,
    )  # fmt: skip
    schedule = flatness.member_schedule(plan, joists, line="clear")
    assert [found["x_mm"], found["y_mm"]] == [plan.x.tolist(), plan.y.tolist()]
    assert np.array(found["change_mm"], dtype=float) == pytest.approx(plan.change, abs=1e-9, nan_ok=True)
    assert found["cost_rate_mm3"] == pytest.approx(plan.cost)
    assert found["dead_flat_cost_rate_mm3"] == pytest.approx(plan.flat_cost)
    assert found["least_work_cost_rate_mm3"] == found["cost_rate_mm3"]
    assert found["planned_to_share"] == 0.8
    assert [row["after_mm"] for row in found["limits"]] == pytest.approx(plan.after["after_mm"].tolist())
    assert [row["chance"] for row in found["limits"]] == plan.after["chance"].tolist()
    assert code == {"pass": 0, "fail": 1, "undecided": 3}[plan.after["verdict"].iloc[0]]
    assert found["verdict"] == plan.after["verdict"].iloc[0]
    assert [patch["name"] for patch in found["patches"]] == plan.patches["name"].tolist()
    for patch, outline in zip(found["patches"], plan.patches["outline"], strict=True):
        shape = Polygon(patch["outline_mm"]["outer"], patch["outline_mm"]["holes"])
        assert shape.equals(outline)
        assert shape.area == pytest.approx(patch["area_mm2"])
    raised = [row["raise_mm"] for row in found["schedule"]["stations"]]
    assert [v for v in raised if v is not None] == pytest.approx(schedule.table["raise_mm"].dropna().tolist())
    assert [row["raise_most_mm"] for row in found["schedule"]["members"]] == schedule.members["raise_most_mm"].tolist()
    assert (found["build_up_mm"], found["layers"]) == (19, [{"name": "oak", "thickness_mm": 19}])
    by_name = {row["name"]: row for row in found["settings"]}
    assert (by_name["deepest_fill"]["value"], by_name["deepest_fill"]["source"]) == (15, "set by you")
    assert by_name["least_patch"]["source"].endswith("common practice, no source")


def largest_gap(line, spacing, length):
    """Brute force: of every chord no longer than the bar, how far the surface lies below it."""
    worst = 0.0
    for p in range(len(line)):
        for q in range(p + 2, min(len(line), p + int(length / spacing + 1e-9) + 1)):
            for k in range(p + 1, q):
                worst = max(worst, line[p] + (line[q] - line[p]) * (k - p) / (q - p) - line[k])
    return worst


def test_the_planned_surface_passes_by_brute_force_and_costs_less_than_flat(capfd):
    _, out, _ = run(capfd, STORE, *BAR, *COARSE, "--json", "--draws", 0, "--surface-from", "as-read")
    found = json.loads(out)
    before = np.array(found["as_found_mm"], dtype=float)
    after = before + np.array(found["change_mm"], dtype=float)
    for heights, passes in ((before, False), (after, True)):
        lines = [*heights, *heights.T]
        assert (max(largest_gap(line, 300, 2000) for line in lines) <= 4 + 1e-6) == passes
    assert 0 < found["cost_rate_mm3"] < found["dead_flat_cost_rate_mm3"]
    # nobody said what lies beneath: nothing comes off
    assert np.nanmin(np.array(found["change_mm"], dtype=float)) >= 0
    assert {row["action"] for row in found["patches"]} == {"fill"}


def test_another_target_carries_the_cost_of_the_least_work(capfd):
    _, out, _ = run(capfd, STORE, *BAR, *COARSE, "--draws", 0, "--json", "--strategy", "level", "--height", "5mm")
    level = json.loads(out)
    _, out, _ = run(capfd, STORE, *BAR, *COARSE, "--draws", 0, "--json")
    least = json.loads(out)
    target = np.array(level["as_found_mm"], dtype=float) + np.array(level["change_mm"], dtype=float)
    assert target == pytest.approx(np.full(target.shape, 5.0))
    assert level["asks_engineer"]
    assert level["least_work_cost_rate_mm3"] == pytest.approx(least["cost_rate_mm3"])
    assert level["cost_rate_mm3"] > level["dead_flat_cost_rate_mm3"] > least["cost_rate_mm3"]


# exit codes and errors by name


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        ((STORE, "--straightedge", "2m", "--allowed", "15mm"), 0),
        ((STORE, *BAR, "--aim", "0.3"), 0),
        ((CEILING, "--straightedge", "10ft", "--allowed", "1/8", "--aim", "1"), 1),
        ((STORE, *BAR, "--fixed", "1m,1m,9mm", "--fixed", "2m,1m,-100mm", "--deepest-cut", "0"), 1),
        ((LOFT, "--limit", "wood-glued", "--aim", "0.4"), 3),
    ],
)
def test_exit_codes_of_what_can_be_planned(capfd, arguments, code):
    for more in ((), ("--json",)):
        found, out, err = run(capfd, *arguments, *COARSE, "--draws", 60, *more)
        assert found == code, err
        if "--fixed" in arguments:
            assert "widen" in err
            assert bool(out) == bool(more)
        else:
            assert err == ""
        if more:
            assert json.loads(out)["verdict"] == {0: "pass", 1: "fail", 3: "undecided"}[code]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((STORE,), "nothing that the least work can be planned for"),
        (("no_such_file.csv", *BAR), "no_such_file.csv"),
        ((MISTAKES, *BAR), "cell C17"),
        ((STORE, "--limit", "no-such-limit"), "no-such-limit"),
        ((STORE, "--straightedge", "2m"), "--allowed"),
        ((STORE, *BAR, "--aim", "70%"), "--aim"),
        ((STORE, *BAR, "--aim", "7"), "aim out of range"),
        ((STORE, *BAR, "--spacing", "6"), "--spacing"),
        ((STORE, *BAR, "--height", "0mm"), "height is for the strategy level"),
        ((STORE, *BAR, "--strategy", "level", "--height", "3ft"), "--height"),
        ((STRING, "--strategy", "level"), "string"),
        ((STORE, *BAR, "--strategy", "fixed-spots"), "without any spots"),
        ((STORE, *BAR, "--strategy", "through-benchmarks", "--fixed", "1m,1m"), "benchmark without a height"),
        ((STORE, *BAR, "--fixed", "1m"), "--fixed"),
        ((STORE, *BAR, "--fixed", "1m,1m,as found,-1mm"), "--fixed"),
        ((STORE, *BAR, "--fixed", "1m,1m,5mm,1mm,a,b"), "--fixed"),
        ((STORE, *BAR, "--fixed", "9m,1m"), "--fixed"),
        ((STORE, *BAR, "--fixed", "1,1m"), "--fixed"),
        ((LOFT, *BAR, "--fixed", "1ft,1ft,1in"), "drop 41-3/8in"),
        ((WALL, *BAR, "--beneath", "plasterboard"), "plaster"),
        ((STORE, *BAR, "--beneath", "slab; planed"), "--beneath"),
        ((STORE, *BAR, "--beneath", "slab; most deep"), "--beneath"),
        ((STORE, *BAR, "--beneath", "slab; area (0m,0m) (1m,0m)"), "--beneath"),
        ((STORE, *BAR, "--beneath", "slab; most 1mm; most 2mm"), "--beneath"),
        ((STORE, *BAR, "--beneath", "sawn joist", "--members", "LVL first 0m spacing 400mm along y"), "contradict"),
        ((STORE, *BAR, "--members", "joyst first 0m spacing 400mm along y"), "sawn joist, I-joist"),
        ((STORE, *BAR, "--members", "sawn joist first 0m spacing 400mm"), "along x, or along y"),
        ((STORE, *BAR, "--members", "sawn joist spacing 400mm along y"), "lacks first"),
        ((STORE, *BAR, "--members", "sawn joist first 0m spacing along y"), "'spacing' without"),
        ((STORE, *BAR, "--members", "sawn joist first 0m spacing -400mm along y"), "--members"),
        ((STORE, *BAR, "--members", "sawn joist first 9m spacing 400mm along y until 12m"), "--members"),
        ((STORE, *BAR, "--members", "strapping first 0m spacing 400mm along y"), "--members"),
        ((STORE, *BAR, "--crossing", "stud first 0m spacing 400mm along y"), "--crossing"),
        ((STORE, *BAR, "--layers", "plywood"), "--layers"),
        ((STORE, *BAR, "--threshold", "deepest fil 15mm"), "did you mean deepest fill"),
        ((STORE, *BAR, "--threshold", "heaviest fill 50mm"), "--threshold"),
        ((STORE, *BAR, "--off-rate", "0"), "rate for taking off"),
        ((STORE, *BAR, "--deepest-cut=-1mm"), "--deepest-cut"),
        ((STORE, *BAR, "--confidence", "95"), "confidence"),
        ((STORE, *BAR, "--aim", "sure", "--draws", "0"), "draws"),
        ((STORE, *BAR, "--out", STORE), "--out"),
    ],
)
def test_bad_input_is_named_before_any_search(capfd, monkeypatch, arguments, said):
    if "string" not in said and "nothing that the" not in said:
        monkeypatch.setattr(command, "plan_corrections", lambda *a, **k: pytest.fail("the search began"))
    code, out, err = run(capfd, *arguments)
    assert (code, out) == (2, ""), err
    assert said in err
    assert "expected" in err or "remedy" in err


@pytest.mark.parametrize(
    ("arguments", "option"),
    [
        (("--aim", "7"), "--aim"), (("--height", "0mm"), "--height"), (("--strategy", "fixed-spots"), "--fixed"),
        (("--strategy", "level", "--level-within", "3mm"), "--level-within"), (("--spacing", "9m"), "--spacing"),
        (("--confidence", "95"), "--confidence"), (("--aim", "sure", "--draws", "0"), "--aim"),
    ],
)  # fmt: skip
def test_errors_name_the_option_and_no_argument(capfd, arguments, option):
    code, out, err = run(capfd, STORE, *BAR, *arguments)
    assert (code, out) == (2, "")
    assert err.startswith(f"{option}: ")
    # what is written in Python alone
    assert not re.search(r"\w=|FixedSpot|Beneath\(|parse_length|None|level_within", err)


def test_every_default_is_told_with_its_source_and_what_is_set_as_set(capfd):
    _, out, _ = run(capfd, STORE, *BAR, *COARSE, "--draws", 20, "--off-rate", 2, "--deepest-fill", "30mm")
    rests = " ".join(out[out.index("Rests on") : out.index("Worth knowing")].split())
    for told in ("Rates: taking off 2, adding 1 a unit of volume, set by you.", "that may come off: none set.",
                 "that may be added: 30 mm, set by you.", "at 4 headings", "from 20 draws, seed 0; verdicts at 95 %",
                 "Common practice, no source, until you set them"):  # fmt: skip
        assert told in rests
    # all thresholds, each as the option takes it
    for one in flatness.corrections.actions.THRESHOLDS:
        assert one.replace("_", " ") in rests
    takes = " ".join(out[out.index("Quantities") : out.index("Rests on")].split())
    for one in ("Bag yield", "Fill density", "Spare"):
        assert re.search(rf"{one}: [^()]+ \([^)]+\)", takes)


def test_every_figure_of_the_report_adds_up(capfd):
    """The report alone, added up as a reader would: each part rounded by itself, so to half its last figure."""
    _, out, _ = run(capfd, STORE, *BAR, *COARSE, "--draws", 0, "--beneath", "screed; may be planed; most 6mm")
    said = " ".join(out.split())
    rows = re.findall(r"P\d+\s+(plane|fill)\s.*?([\d.]+) m2\s+\S+ mm\s+([\d.]+) litres", out)
    for action, title in (("plane", "Planing"), ("fill", "Fill")):
        mine = [(float(ground), float(amount)) for deed, ground, amount in rows if deed == action]
        assert mine
        count, ground = re.search(rf"{action} (\d+) places? \(([\d.]+) m2", said, re.IGNORECASE).groups()
        assert int(count) == len(mine)
        half = 0.005 * len(mine) + 0.051
        assert sum(area for area, _ in mine) == pytest.approx(float(ground), abs=half)
        amount, over = re.search(rf"{title}: ([\d.]+) litres over ([\d.]+) m2", said).groups()
        assert over == ground
        assert sum(part for _, part in mine) == pytest.approx(float(amount), abs=half)
    moved = float(re.search(r"material moved is ([\d.]+) litres", said)[1])
    assert sum(float(amount) for _, _, amount in rows) == pytest.approx(moved, abs=0.6)
    fill, mass, bags = re.search(r"Fill: ([\d.]+) litres .*?; ([\d.]+) kg, (\d+) bag", said).groups()
    bag, density = (float(re.search(rf"{name}: ([\d.]+)", said)[1]) for name in ("Bag yield", "Fill density"))
    assert float(mass) == pytest.approx(float(fill) * density / 1000, abs=0.6)
    assert int(bags) == -(-float(fill) // bag)


def test_a_choice_that_is_unknown_is_bad_input(capfd):
    for wrong in (("--strategy", "flat"), ("--draws", "many"), ("--line", "straight")):
        with pytest.raises(SystemExit) as stop:
            main(["plan", str(STORE), *wrong])
        assert stop.value.code == 2


# what people write


def drops():
    return flatness.read_survey(LOFT)


def test_fixed_spots_as_people_write_them():
    survey, spot = drops(), flatness.FixedSpot
    inch = 25.4
    assert fixed_spot("3ft, 4ft", survey) == spot(914.4, 1219.2)
    assert fixed_spot("0in,8ft,as found,1/16in,door sill", survey) == spot(0, 2438.4, None, inch / 16, "door sill")
    assert fixed_spot("0in,8ft,-41 1/4in,½", survey) == spot(0, 2438.4, -41.25 * inch, 12.7)
    assert fixed_spot("0in,8ft,drop 41-1/4in,hearth", survey) == spot(0, 2438.4, -41.25 * inch, 0, "hearth")
    assert fixed_spot("0in,8ft,nosing", survey) == spot(0, 2438.4, None, 0, "nosing")
    assert read_height("drop 1m", survey, "--height") == -1000
    with pytest.raises(FlatnessError, match="not drops off one line"):
        read_height("drop 1m", flatness.make_survey([0, 1000], [0, 0], [1, 2]), "--height")


def test_what_lies_beneath_as_people_write_it():
    found = lying_beneath("Sawn Joists; may be planed; depth 9-1/4in; span 0in, 12ft; along y; ends 2ft; most ⅛")
    assert found == flatness.Beneath("sawn joist", True, 3.175, 234.95, (0, 3657.6), "y", 609.6)
    assert lying_beneath("slab; area (0in,0in) (4ft,0in) (4ft,6ft) (0in,6ft)").area.equals(box(0, 0, 1219.2, 1828.8))
    assert lying_beneath("lvl").engineered


def test_members_as_people_write_them():
    survey = drops()
    text = "I-joists first 8in spacing 16 in along y depth 9-1/4 in flange 1 1/2in from 0in to 12ft"
    found = members_of(text, survey)
    # the readings reach from 0 to 16 ft across
    by_hand = flatness.member_layout(
        203.2, 406.4, "y", until=16 * 304.8, kind="I-joist", depth=234.95, flange=38.1, start=0, end=3657.6
    )
    assert found.table.equals(by_hand.table)
    assert (found.kind, found.depth, found.flange, found.direction) == ("I-joist", 234.95, 38.1, "y")
    assert len(members_of("truss first 8in spacing 16in along y count 5", survey)) == 5
    assert members_of("stud at 8in, 2ft, 3ft 6in along x", survey).positions.tolist() == [203.2, 609.6, 1066.8]
    assert members_of("sawn joist first 0in spacing 2ft along x until 7ft", survey).positions[-1] == 6 * 304.8


def test_layers_and_thresholds_as_people_write_them():
    assert layer("plywood 5/8in") == flatness.Layer("plywood", 15.875)
    assert layer("old carpet, taken up -3/8") == flatness.Layer("old carpet, taken up", -9.525)
    assert layer("bed 1 1/2in") == flatness.Layer("bed", 38.1)
    found = thresholds(["deepest fill 3/4in", "least patch 2 ft2", "heaviest_fill 110 lb"])
    assert found["deepest_fill"] == parse_length("3/4", "in")
    assert found["least_patch"] == pytest.approx(2 * 304.8**2)
    # the international pound of 1959
    assert found["heaviest_fill"] == pytest.approx(110 * 0.45359237)


# files


def test_files_are_written_once_and_never_over_others(capfd, tmp_path):
    arguments = (
        STORE, *BAR, *COARSE, "--draws", 0, "--members", "sawn joist first 0m spacing 400mm along y", "--out",
        tmp_path / "out", "--save", tmp_path / "saved/plan.json",
    )  # fmt: skip
    code, out, _ = run(capfd, *arguments)
    assert code == 0
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == [
        "before-actions.png", "before-limits.csv", "before-member-stations.csv", "before-members-as-set.csv",
        "before-members.csv", "before-members.png", "before-patches.csv", "before-plan.xlsx", "before-quantities.csv",
        "before-stations.csv",
    ]  # fmt: skip
    written = [Path(line.removeprefix("written: ")) for line in out.splitlines() if line.startswith("written: ")]
    assert {path.name for path in written} == {*names, "plan.json"}
    assert all(path.is_file() for path in written)
    book = openpyxl.load_workbook(tmp_path / "out/before-plan.xlsx")
    assert {"members", "member stations", "patches", "stations", "notes"} <= set(book.sheetnames)
    assert any("licensed practice" in str(row[0]) for row in book["notes"].iter_rows(values_only=True))
    saved = read_plan(tmp_path / "saved/plan.json")
    assert saved.patches["name"].tolist() == [row[0].value for row in book["patches"].iter_rows(min_row=2)]
    # a second time only where it is asked for
    before = {path: path.read_bytes() for path in written}
    assert run(capfd, *arguments)[0] == 2
    assert {path: path.read_bytes() for path in written} == before
    assert run(capfd, *arguments, "--overwrite")[0] == 0
    for name in ("before-actions.png", "before-plan.xlsx"):
        (tmp_path / "out" / name).write_bytes(b"my holiday")
        code, out, err = run(capfd, *arguments, "--overwrite")
        assert (code, out) == (2, "")
        assert "did not write" in err
        assert (tmp_path / "out" / name).read_bytes() == b"my holiday"
        (tmp_path / "out" / name).unlink()
    (tmp_path / "saved/plan.json").write_text("{}", encoding="utf-8")
    assert run(capfd, *arguments, "--overwrite")[0] == 2
    assert (tmp_path / "saved/plan.json").read_text(encoding="utf-8") == "{}"


def test_the_saved_plan_is_what_compare_takes(capfd, tmp_path):
    path = tmp_path / "plan.json"
    assert run(capfd, STORE, *BAR, *COARSE, "--draws", 0, "--save", path)[0] == 0
    after = ROOT / "glaze_store/after.csv"
    code = main(["compare", str(STORE), str(after), "--plan", str(path)])
    assert code == 0
    assert "Against the plan" in capfd.readouterr().out


# a process of its own, and one that is stopped


def test_a_process_writes_one_json_object_and_nothing_else():
    arguments = ["plan", str(STORE), *BAR, *map(str, COARSE), "--json", "--draws", "20", "--strategy", "best-plane"]
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "flatness", *arguments], capture_output=True, text=True, timeout=120,
        env={**os.environ, "PYTHONPATH": str(Path(flatness.__file__).parents[1])}, check=False,
    )  # fmt: skip
    assert done.stderr == ""
    found = json.loads(done.stdout)
    assert done.returncode == {"pass": 0, "fail": 1, "undecided": 3}[found["verdict"]]
    assert done.stdout.count("\n") == 1


def pressing(monkeypatch, at, times=1):
    """Ctrl-C pressed in the round of this number, counted through all searches."""
    rounds = []

    def watched(survey, progress=None, **arguments):
        def pressed(*told):
            rounds.append(told)
            if len(rounds) == at:
                for _ in range(times):
                    signal.raise_signal(signal.SIGINT)
            return progress(*told)

        return flatness.plan_corrections(survey, progress=pressed, **arguments)

    monkeypatch.setattr(command, "plan_corrections", watched)
    return rounds


def test_ctrl_c_stops_with_the_best_plan_so_far(capfd, monkeypatch):
    before = signal.getsignal(signal.SIGINT)
    rounds = pressing(monkeypatch, at=1)
    code, out, err = run(capfd, STORE, *ROUNDS, "--json")
    found = json.loads(out)
    assert len(rounds) == 1
    assert "stopped: this is the best plan so far" in err
    assert (code, found["verdict"], found["stopped"], found["search_finished"]) == (0, "pass", True, False)
    assert any("stopped by hand" in note for note in found["notes"])
    # of two costs the higher is no better than dead flat, the lower is what is proven so far
    assert found["cost_bound_rate_mm3"] < found["cost_rate_mm3"] <= found["dead_flat_cost_rate_mm3"] * (1 + 1e-9)
    assert signal.getsignal(signal.SIGINT) is before


def test_ctrl_c_pressed_twice_gives_up(capfd, monkeypatch):
    pressing(monkeypatch, at=1, times=2)
    code, out, err = run(capfd, STORE, *BAR, *COARSE, "--draws", 0, "--json")
    assert (code, out) == (130, "")
    assert "nothing was planned" in err


def test_ctrl_c_before_any_plan_is_known_says_so(capfd, monkeypatch):
    pressing(monkeypatch, at=1)
    # no plane meets two spots that differ by more than the limit lets them, so none is known at the start
    spots = ("--fixed", "600mm,600mm", "--fixed", "1.2m,1.2m", "--fixed", "1.8m,600mm", "--fixed", "3m,2.4m")
    planed = ("--beneath", "screed; may be planed; most 20mm")
    code, out, err = run(capfd, STORE, *ROUNDS, "--json", *spots, *planed)
    assert "stopped before any plan that passes was known" in err
    found = json.loads(out)
    assert (code, found["stopped"], found["verdict"]) == (130, True, None)


def test_a_long_search_tells_how_it_goes_on_a_terminal_alone(capfd, monkeypatch):
    monkeypatch.setattr(command, "PATIENCE_S", 0.0)
    told = []
    terminal = SimpleNamespace(write=lambda text: told.append(text), flush=lambda: None, isatty=lambda: True)
    monkeypatch.setattr(command.sys, "stderr", terminal)
    code, out, _ = run(capfd, STORE, *ROUNDS, "--json")
    json.loads(out)
    lines = [text for text in told if "round" in text]
    assert code == 0
    assert len(lines) > 1
    assert all(len(line) <= 80 for line in lines)
    rounds = [int(line.split("round ")[1].split(":")[0]) for line in lines]
    assert all(after == before + 1 or after == 1 for before, after in pairwise(rounds))
    # and clears its line
    assert "".join(told).endswith("\r")
