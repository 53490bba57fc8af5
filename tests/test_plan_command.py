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
from flatness.__main__ import main, parser
from flatness.commands import options as command_options
from flatness.commands import plan as command
from flatness.job import running
from flatness.planning.plan import read_plan
from flatness.planning.ways import plan_ways

ROOT = Path(__file__).parents[1] / "sample_surveys"
STORE = ROOT / "glaze_store/before.csv"
LOFT = ROOT / "loft_floor/before.csv"
WALL = ROOT / "gallery_walls/east.csv"
CEILING = ROOT / "gallery_ceiling/ceiling.csv"
STRING = ROOT / "gallery_floor/string_check.csv"
MISTAKES = ROOT / "packing_room/with_mistakes.csv"
BAR = ("--straightedge", "2m", "--allowed", "4mm")
TIGHT = ("--straightedge", "2m", "--allowed", "2mm")
JOISTS = ("--members", "sawn joist first 0m spacing 400mm along y depth 235mm")
BY_HAND = {"limits": [flatness.straightedge_limit(2000, 4, name="agreed")], "spacing": 300, "headings": 4}


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """A coarse lattice, few headings and few draws, which the command itself does not ask for."""
    coarse = {"spacing": 300, "headings": 4, "draws": 20}
    monkeypatch.setattr(
        running, "plan_ways", lambda survey, limits, **given: plan_ways(survey, limits, **given | coarse)
    )
    return coarse


def run(capfd, *arguments):
    """Exit code, standard output and standard error of the process, whoever wrote there."""
    code = main(["plan", *map(str, arguments)])
    out = capfd.readouterr()
    return code, out.out, out.err


# the words: one answer, then one way


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize(
    ("arguments", "way", "tables"),
    [
        ((STORE, "--beneath", "screed; may be planed; most 1/4in", "--way", "patches"), "patches", ["Patches", "Set"]),
        ((STORE, *JOISTS, "--way", "members"), "members", ["Members, in"]),
        ((STORE, *JOISTS, "--way", "members", "--plane", "end-members"), "members", ["Members, in"]),
        ((STORE, "--way", "overlay"), "overlay", ["Set all"]),
        ((WALL, "--members", "stud first 0mm spacing 406.4mm along y", "--way", "overlay"), "overlay", ["Members, in"]),
        (
            (
                CEILING,
                "--members",
                "strapping first 0in spacing 16in along x",
                "--crossing",
                "sawn joist first 0in spacing 24in along y",
                "--way",
                "members",
            ),
            "members",
            ["Members, in"],
        ),
    ],
)
def test_the_report_answers_first_and_tells_one_way_alone(capfd, arguments, way, tables, unit):
    code, out, err = run(capfd, *arguments, *BAR, "--unit", unit)
    assert err == ""
    lines = out.splitlines()
    assert max(map(len, lines)) <= 80
    opening = {0: "PASS if done as drawn", 1: "FAIL even if done as drawn", 3: "UNDECIDED if done as drawn"}[code]
    assert lines[0].startswith((opening, "NO SURE WAY") if code == 3 else opening)
    blocks = [block.splitlines()[0] for block in out.split("\n\n")]
    assert "Ways to do it" in blocks
    told = {
        name for name in ("Patches", "Set these", "Members, in", "Set all") if any(b.startswith(name) for b in blocks)
    }
    assert all(any(one.startswith(table) for one in told) for table in tables)
    assert (way == "patches") == ("Patches" in told)
    marked = [line for line in lines if line.startswith("  > ")]
    assert len(marked) == 1
    # every caution once
    cautions = [line for line in out[out.index("\nCautions") :].splitlines() if line.startswith("  - ")]
    assert len(cautions) == len(set(cautions)) > 2
    assert "local code and licensed practice decide" in " ".join(out.split())


def test_what_an_engineer_is_asked_stands_before_any_verdict(capfd):
    # 9 mm of proud screed, of which 1 mm may come off, and nothing may be added at the sill beside it
    spots = ("--fixed", "3.9m,2.4m,0mm,sill,meant")
    arguments = (STORE, *TIGHT, *spots, "--beneath", "screed; may be planed; most 1mm", "--way", "patches")
    code, out, _ = run(capfd, *arguments)
    assert code == 3
    assert out.startswith("Ask the engineer first: ")
    assert "PASS if done" not in out
    _, out, _ = run(capfd, *arguments, "--json")
    assert json.loads(out)["asks_engineer"]


def test_errors_speak_the_unit_that_is_shown(capfd):
    for unit, told in (((), "may come off"), (("--unit", "mm"), "mm off the datum")):
        spots = ("--fixed", "600mm,600mm,as found,sill")
        code, _, said = run(capfd, STORE, *BAR, *spots, "--way", "overlay", *unit)
        assert code == 1
        assert told in said
    # a job in inches: what is asked about a height, before anything is computed
    loft = str(Path(STORE).parents[1] / "loft_floor" / "before.csv")
    code, _, said = run(capfd, loft, *BAR, "--fixed", "4ft,4ft,3in,hearth")
    assert code == 2
    assert "raising all of the surface by" in said
    assert not re.search(r"\d mm|litres", said)


def test_what_was_said_of_engineered_members_and_is_not_followed_is_said_at_once(capfd):
    given = ("--beneath", "screed; may be planed", "--beneath", "LVL; may be planed; area (0m,0m) (1m,0m) (1m,1m)")
    code, out, err = run(capfd, STORE, *BAR, *given)
    assert code in (0, 1, 3)
    assert err.startswith(
        "note: entry 2 of what lies beneath says that LVL may be planed. The kit does not follow that"
    )
    assert "Entry 2 of what lies beneath says that LVL may be planed." in " ".join(out.split())
    plain = run(capfd, STORE, *BAR, "--beneath", "screed; may be planed", "--beneath", "LVL")
    assert plain[2] == ""


def test_what_was_asked_is_told(capfd):
    arguments = ("--fixed", "0in,0in,as found,1mm,sill", "--beneath", "slab; may be planed; most 5mm")
    _, out, _ = run(capfd, STORE, *BAR, *arguments, "--way", "patches")
    words = " ".join(out[out.index("What you set") : out.index("Before and after")].split())
    for told in ("slab, may be planed, at most 5 mm", "sill at 0 m along x", "within 1 mm"):
        assert told in words


# JSON against the library


def test_json_is_what_the_library_gives_for_the_same_values(capfd, quick):
    arguments = (
        "--fixed",
        "600mm,600mm,as found,2mm,hearth",
        "--beneath",
        "sheathing; may be planed; most 1/4in",
        *JOISTS,
    )
    joists = flatness.member_layout(0, 400, "y", until=4800, depth=235)
    ways = flatness.plan_ways(
        flatness.read_survey(STORE),
        BY_HAND["limits"],
        members=joists,
        **quick,
        fixed=[flatness.FixedSpot(600, 600, None, 2, "hearth")],
        beneath=flatness.Beneath("sheathing", may_be_planed=True, most_planed=6.35),
    )
    for way, plan in (("proposed", ways.plan), *ways.plans.items()):
        code, out, err = run(capfd, STORE, *BAR, *arguments, "--json", "--way", way)
        assert err == ""
        assert out.count("\n") == 1
        found = json.loads(out)
        assert (found["way"], found["proposed"], found["plane"] or "") == (plan.way, ways.proposed, plan.plane)
        assert [row["way"] for row in found["ways"]] == ways.table["way"].tolist()
        assert [row["why"] for row in found["ways"]] == ways.table["why"].tolist()
        assert np.array(found["change_mm"], dtype=float) == pytest.approx(plan.change, abs=1e-9, nan_ok=True)
        assert np.array(found["set_height_mm"], dtype=float) == pytest.approx(plan.set_height, abs=1e-9, nan_ok=True)
        assert (found["work"], found["work_unit"]) == (pytest.approx(plan.work), "h")
        assert [row["chance"] for row in found["limits"]] == plan.after["chance"].tolist()
        assert (code, found["verdict"]) == ({"pass": 0, "fail": 1, "undecided": 3}[plan.verdict], plan.verdict)
        assert [mark["set_mm"] for mark in found["marks"]] == plan.marks["set_mm"].tolist()
        lines = {row["member"]: (row["height_at_0_mm"], row["slope_mm_per_m"] / 1000) for row in found["lines"]}
        assert lines == {name: pytest.approx(line) for name, line in plan.lines.items()}
        for patch, outline in zip(found["patches"], plan.patches["outline"], strict=True):
            assert Polygon(patch["outline_mm"]["outer"], patch["outline_mm"]["holes"]).equals(outline)
        assert (found["schedule"] is not None) >= plan.sets_members
        for row in (found["schedule"] or {}).get("members", []):
            if plan.sets_members and row["member"] in lines and row["raise_first_mm"] is not None:
                # the line that is told is the one that was planned, at the first reading on the member
                stations = [one for one in found["schedule"]["stations"] if one["member"] == row["member"]]
                height, slope = lines[row["member"]]
                told = [one for one in stations if one["line_mm"] is not None]
                assert [one["line_mm"] for one in told] == pytest.approx(
                    [height + slope * one["station_mm"] for one in told], abs=1e-5
                )
    by_name = {row["name"]: row for row in found["settings"]}
    assert by_name["least_patch"]["source"].endswith("common practice, no source")


def largest_gap(line, spacing, length):
    """Brute force: of every chord no longer than the bar, how far the surface lies below it."""
    worst = 0.0
    for p in range(len(line)):
        for q in range(p + 2, min(len(line), p + int(length / spacing + 1e-9) + 1)):
            for k in range(p + 1, q):
                worst = max(worst, line[p] + (line[q] - line[p]) * (k - p) / (q - p) - line[k])
    return worst


def test_the_planned_surface_passes_by_brute_force(capfd):
    _, out, _ = run(capfd, STORE, *BAR, "--json", "--way", "patches")
    found = json.loads(out)
    before = np.array(found["as_found_mm"], dtype=float)
    after = before + np.array(found["change_mm"], dtype=float)
    for heights, passes in ((before, False), (after, True)):
        lines = [*heights, *heights.T]
        assert (max(largest_gap(line, 300, 2000) for line in lines) <= 4 + 1e-6) == passes
    # nobody said what lies beneath: nothing comes off
    assert np.nanmin(np.array(found["change_mm"], dtype=float)) >= 0
    assert {row["action"] for row in found["patches"]} == {"fill"}


# exit codes and errors by name


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        ((STORE, "--straightedge", "2m", "--allowed", "15mm"), 0),
        ((STORE, *BAR, "--way", "overlay"), 0),
        ((STORE, *BAR, *JOISTS, "--way", "members", "--fixed", "600mm,600mm,as found"), 1),
        ((STRING, *BAR, "--way", "overlay", "--plane", "level"), 1),
    ],
)
def test_exit_codes_of_what_can_be_planned(capfd, arguments, code):
    for more in ((), ("--json",)):
        found, out, err = run(capfd, *arguments, *more)
        assert found == code, err
        assert bool(err) == (code == 1)
        if code == 1:
            assert "is not open" in err
            assert "patches" in err
        if more:
            assert json.loads(out)["verdict"] == {0: "pass", 1: "fail"}[code]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((STORE,), "no limit to plan for"),
        (("no_such_file.csv", *BAR), "no_such_file.csv"),
        ((MISTAKES, *BAR), "cell C17"),
        ((STORE, "--limit", "no-such-limit"), "no-such-limit"),
        ((STORE, "--straightedge", "2m"), "--allowed"),
        ((STORE, *BAR, "--fixed", "1m"), "--fixed"),
        ((STORE, *BAR, "--fixed", "1m,1m,as found,-1mm"), "--fixed"),
        ((STORE, *BAR, "--fixed", "1m,1m,5mm,1mm,a,b"), "--fixed"),
        ((STORE, *BAR, "--fixed", "1,1m"), "--fixed"),
        ((LOFT, *BAR, "--fixed", "1ft,1ft,1in"), "drop 41-3/8in"),
        ((WALL, *BAR, "--beneath", "plasterboard"), "plaster"),
        ((STORE, *BAR, "--beneath", "slab; planed"), "--beneath"),
        ((STORE, *BAR, "--fixed", "600mm,600mm,200mm,sill"), "--fixed, height: sill at"),
        ((STORE, *BAR, "--beneath", "slab; most deep"), "--beneath"),
        ((STORE, *BAR, "--beneath", "slab; area (0m,0m) (1m,0m)"), "--beneath"),
        ((STORE, *BAR, "--beneath", "slab; most 1mm; most 2mm"), "--beneath"),
        ((STORE, *BAR, "--beneath", "sawn joist", "--members", "LVL first 0m spacing 400mm along y"), "contradict"),
        ((STORE, *BAR, "--members", "joyst first 0m spacing 400mm along y"), "sawn joist, I-joist"),
        ((STORE, *BAR, "--members", "sawn joist first 0m spacing 400mm"), "along x, or along y"),
        ((STORE, *BAR, "--members", "sawn joist spacing 400mm along y"), "incomplete"),
        ((STORE, *BAR, "--members", "sawn joist first 0m spacing along y"), "'spacing' without"),
        ((STORE, *BAR, "--members", "sawn joist first 0m spacing -400mm along y"), "--members"),
        ((STORE, *BAR, "--members", "sawn joist first 9m spacing 400mm along y until 12m"), "--members"),
        ((STORE, *BAR, "--members", "strapping first 0m spacing 400mm along y"), "--crossing"),
        ((STORE, *BAR, "--way", "members"), "no members are named"),
        ((STORE, *BAR, "--way", "flat"), "--way: unknown way"),
        ((STORE, *BAR, "--plane", "levl"), "did you mean level?"),
        ((STORE, *BAR, "--draws", "many"), "--draws: not such a whole number"),
        ((STORE, *BAR, "--crossing", "stud first 0m spacing 400mm along y"), "--members"),
        ((STORE, *BAR, "--out", STORE), "--out"),
    ],
)
def test_bad_input_is_named_before_any_search(capfd, monkeypatch, arguments, said):
    monkeypatch.setattr(running, "plan_ways", lambda *a, **k: pytest.fail("the search began"))
    code, out, err = run(capfd, *arguments)
    assert (code, out) == (2, ""), err
    assert said in err
    assert "expected" in err or "remedy" in err


def test_every_default_is_told_with_its_source(capfd):
    _, out, _ = run(capfd, STORE, *BAR, "--way", "patches")
    rests = " ".join(out[out.index("Rests on") : out.index("Worth knowing")].split())
    for told in (
        "Rates: 0.75 a place",
        "[h]; common practice, no source.",
        "at 4 headings",
        "from 20 draws, seed 0; verdicts at 95 %",
        "until you set them",
    ):
        assert told in rests
    for one in flatness.planning.patches.THRESHOLDS:
        assert one.replace("_", " ") in rests.lower()
    takes = " ".join(out[out.index("Quantities") : out.index("Rests on")].split())
    for one in ("Bag yield", "Fill density", "Spare"):
        assert re.search(rf"{one}: [^()]+ \([^)]+\)", takes)


def test_every_figure_of_the_report_adds_up(capfd):
    """The report alone, added up as a reader would: each part rounded by itself, so to half its last figure."""
    _, out, _ = run(capfd, STORE, *BAR, "--beneath", "screed; may be planed; most 6mm", "--way", "patches")
    said = " ".join(out.split())
    rows = re.findall(r"P\d+\s+(plane|fill)\s.*?([\d.]+) m2\s+\S+ mm\s+([\d.]+) litres", out)
    counts = dict.fromkeys(("plane", "fill"), 0)
    for action, title in (("plane", "Planing"), ("fill", "Fill")):
        mine = [(float(ground), float(amount)) for deed, ground, amount in rows if deed == action]
        counts[action] = len(mine)
        if mine:
            half = 0.005 * len(mine) + 0.051
            amount, over = re.search(rf"{title}: ([\d.]+) litres over ([\d.]+) m2", said).groups()
            assert sum(area for area, _ in mine) == pytest.approx(float(over), abs=half)
            assert sum(part for _, part in mine) == pytest.approx(float(amount), abs=half)
    assert sum(counts.values()) >= 1
    for action, number in re.findall(r"(plane|fill) (\d+)", said.partition(" m2")[0]):
        assert counts[action] == int(number)
    fill, mass, bags = re.search(r"Fill: ([\d.]+) litres .*?; ([\d.]+) kg, (\d+) bag", said).groups()
    bag, density = (float(re.search(rf"{name}: ([\d.]+)", said)[1]) for name in ("Bag yield", "Fill density"))
    assert float(mass) == pytest.approx(float(fill) * density / 1000, abs=0.6)
    assert int(bags) == -(-float(fill) // bag)


def test_what_belongs_in_a_job_file_is_no_option(capfd):
    with pytest.raises(SystemExit) as stop:
        main(["plan", str(STORE), "--headings", "4"])
    assert stop.value.code == 2


def test_all_that_is_wrong_is_said_at_once(capfd):
    wrong = ("--way", "flat", "--draws", "-1", "--fixed", "9999m,1m", "--fixed", "1m,1m,as found,-1mm")
    code, out, err = run(capfd, STORE, "--limit", "wood-glud", "--beneath", "sheathing; most 3", *wrong)
    assert (code, out) == (2, "")
    for place in ("--way", "--draws", "--limit", "--fixed, allowance", "--fixed, x", "--beneath, most_planed"):
        assert f"{place}: " in err
    assert err.count("remedy: ") == 6


def test_help_names_the_job_file_for_what_is_not_typed_in_a_hurry(capsys):
    with pytest.raises(SystemExit):
        main(["plan", "--help"])
    said = " ".join(capsys.readouterr().out.split())
    assert "sample_surveys/loft_floor/job.toml" in said
    for word in ("rates", "depths", "thresholds", "layers", "headings"):
        assert word in said


# what people write


def asked(*options):
    """The job that the options ask for."""
    return command.plan_job(parser().parse_args(["plan", str(LOFT), "--way", "overlay", *options]))


def fixed(text):
    (spot,) = asked("--fixed", text).plan.fixed
    return spot


def beneath(text):
    (found,) = asked("--beneath", text).plan.beneath
    return found


def members(text):
    return asked("--members", text).framing.members


def test_fixed_spots_as_people_write_them():
    spot, inch = flatness.FixedSpot, 25.4
    assert fixed("3ft, 4ft") == spot(914.4, 1219.2)
    assert fixed("0in,8ft,as found,1/16in,door sill") == spot(0, 2438.4, None, inch / 16, "door sill")
    assert fixed("0in,8ft,-41 1/4in,½") == spot(0, 2438.4, -41.25 * inch, 12.7)
    assert fixed("0in,8ft,drop 41-1/4in,hearth") == spot(0, 2438.4, -41.25 * inch, 0, "hearth")
    assert fixed("0in,8ft,3in,sill,meant") == spot(0, 2438.4, 76.2, 0, "sill", True)
    assert fixed("0in,8ft,nosing") == spot(0, 2438.4, None, 0, "nosing")


def test_what_lies_beneath_as_people_write_it():
    found = beneath("Sawn Joists; may be planed; depth 9-1/4in; span 0in, 12ft; along y; ends 2ft; most ⅛")
    assert found == flatness.Beneath("sawn joist", True, 3.175, 234.95, (0, 3657.6), "y", 609.6)
    assert beneath("slab; area (0in,0in) (4ft,0in) (4ft,6ft) (0in,6ft)").area.equals(box(0, 0, 1219.2, 1828.8))
    assert beneath("lvl").engineered
    assert beneath("i joists").kind == beneath("I-Joist").kind == "I-joist"


def test_members_as_people_write_them():
    text = "I-joists first 8in spacing 16 in along y depth 9-1/4 in flange 1 1/2in from 0in to 12ft"
    found = members(text)
    # the readings reach from 0 to 16 ft across
    by_hand = flatness.member_layout(
        203.2, 406.4, "y", until=16 * 304.8, kind="I-joist", depth=234.95, flange=38.1, start=0, end=3657.6
    )
    assert found.table.equals(by_hand.table)
    assert (found.kind, found.depth, found.flange, found.direction) == ("I-joist", 234.95, 38.1, "y")
    assert members(text.replace("I-joists", "i joist")).kind == "I-joist"
    assert len(members("truss first 8in spacing 16in along y count 5")) == 5
    assert members("stud at 8in, 2ft, 3ft 6in along x").positions.tolist() == [203.2, 609.6, 1066.8]
    assert members("sawn joist first 0in spacing 2ft along x until 7ft").positions[-1] == 6 * 304.8


# files


def test_files_are_written_once_and_never_over_others(capfd, tmp_path):
    arguments = (
        STORE,
        *BAR,
        *JOISTS,
        "--way",
        "members",
        "--out",
        tmp_path / "out",
        "--save",
        tmp_path / "saved/plan.json",
    )
    code, out, _ = run(capfd, *arguments)
    assert code == 0
    names = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert names == [
        "before-actions.png",
        "before-limits.csv",
        "before-member-stations.csv",
        "before-members.csv",
        "before-members.png",
        "before-patches.csv",
        "before-plan.xlsx",
        "before-quantities.csv",
        "before-stations.csv",
    ]
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
    assert run(capfd, STORE, *BAR, "--save", path)[0] in (0, 3)
    after = ROOT / "glaze_store/after.csv"
    code = main(["compare", str(STORE), str(after), "--plan", str(path)])
    assert code == 0
    assert "Against the plan" in capfd.readouterr().out


# a process of its own, and one that is stopped


def test_a_process_writes_one_json_object_and_nothing_else():
    arguments = ["plan", str(STORE), "--json", "--way", "overlay", "--plane", "best-plane"]
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "flatness", *arguments],
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONPATH": str(Path(flatness.__file__).parents[1])},
        check=False,
    )
    assert done.stderr == ""
    found = json.loads(done.stdout)
    assert (done.returncode, found["verdict"], found["way"]) == (0, None, "overlay")
    assert done.stdout.count("\n") == 1


def pressing(monkeypatch, at, times=1, **options):
    """Ctrl-C pressed in the round of this number, counted through all searches."""
    rounds, coarse = [], {"spacing": 150, "headings": 4, "draws": 0} | options

    def watched(survey, limits, progress=None, **arguments):
        def pressed(*told):
            rounds.append(told)
            if len(rounds) == at:
                for _ in range(times):
                    signal.raise_signal(signal.SIGINT)
            return progress(*told)

        return plan_ways(survey, limits, progress=pressed, **arguments | coarse)

    monkeypatch.setattr(running, "plan_ways", watched)
    return rounds


def test_ctrl_c_stops_with_the_best_plan_so_far(capfd, monkeypatch):
    before = signal.getsignal(signal.SIGINT)
    rounds = pressing(monkeypatch, at=1)
    code, out, err = run(capfd, STORE, *TIGHT, "--json", "--way", "patches")
    found = json.loads(out)
    assert len(rounds) == 1
    assert "stopped: this is the best plan so far" in err
    assert (found["stopped"], found["search_finished"]) == (True, False)
    assert code == {"pass": 0, "fail": 1, "undecided": 3}[found["verdict"]]
    assert any("stopped by hand" in note for note in found["notes"])
    assert signal.getsignal(signal.SIGINT) is before


def test_ctrl_c_pressed_twice_gives_up(capfd, monkeypatch):
    pressing(monkeypatch, at=1, times=2)
    code, out, err = run(capfd, STORE, *BAR, "--json")
    assert (code, out) == (130, "")
    assert "nothing was planned" in err


def test_ctrl_c_before_any_plan_is_known_says_so(capfd, monkeypatch):
    pressing(monkeypatch, at=1)
    # no plane meets two spots that differ by more than the limit lets them, so none is known at the start
    spots = ("--fixed", "600mm,600mm", "--fixed", "1.2m,1.2m", "--fixed", "1.8m,600mm", "--fixed", "3m,2.4m")
    planed = ("--beneath", "screed; may be planed; most 20mm")
    code, out, err = run(capfd, STORE, *TIGHT, "--json", *spots, *planed)
    assert "stopped before any plan that passes was known" in err
    found = json.loads(out)
    assert (code, found["stopped"], found["verdict"]) == (130, True, None)


def test_a_long_search_tells_how_it_goes_on_a_terminal_alone(capfd, monkeypatch):
    monkeypatch.setattr(command_options, "PATIENCE_S", 0.0)
    told = []
    terminal = SimpleNamespace(write=lambda text: told.append(text), flush=lambda: None, isatty=lambda: True)
    monkeypatch.setattr(command.sys, "stderr", terminal)
    pressing(monkeypatch, at=-1)
    code, out, _ = run(capfd, STORE, *TIGHT, "--json", "--way", "patches")
    assert code == {"pass": 0, "fail": 1, "undecided": 3}[json.loads(out)["verdict"]]
    lines = [text for text in told if "round" in text]
    assert len(lines) > 1
    assert all(len(line) <= 80 for line in lines)
    rounds = [int(line.split("round ")[1].split(":")[0]) for line in lines]
    assert all(after == before + 1 or after == 1 for before, after in pairwise(rounds))
    # and clears its line
    assert "".join(told).endswith("\r")


@pytest.mark.parametrize(
    ("given", "shown"),
    [
        (("--straightedge", "2m", "--allowed=-4mm"), "-4mm"),
        ((*BAR, "--members", "sawn joist first 0m spacing -400mm along y"), "-400mm"),
        ((*BAR, "--members", "sawn joist first 0m spacing 400mm along y depth -235mm"), "-235mm"),
        ((*BAR, "--beneath", "boards; may be planed; most -3/8in"), "-3/8in"),
    ],
)
def test_a_negative_length_keeps_its_sign_in_the_message(capfd, given, shown):
    code, out, err = run(capfd, STORE, *given)
    assert (code, out) == (2, "")
    assert f"found: '{shown}'" in err


@pytest.mark.parametrize("kind", ["i-joist", "I-joist", "I joist"])
def test_kinds_of_members_are_read_as_people_write_them(capfd, kind):
    given = ("--members", f"{kind} first 0m spacing 400mm along y", "--way", "members", "--draws", "0", "--json")
    code, out, _ = run(capfd, STORE, *BAR, *given)
    assert code == 0
    assert json.loads(out)["way"] == "members"
