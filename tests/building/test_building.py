"""Many surveys: all of them in one table, worst first; what is lost or bad takes nothing else with it."""

import io
import json
import os
import signal
import sys
import threading
import time
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from PIL import Image, ImageColor

sys.path.append(str(Path(__file__).parent))  # spawned processes find what they are to do by its name
import checks_that_end

import flatness
from flatness.__main__ import main
from flatness.building import (
    Checked,
    CheckRequest,
    File,
    blank_row,
    check_here,
    check_on_cluster,
    find_files,
    worst_first,
)
from flatness.charts.hatching import PATTERNS
from flatness.errors import ArgumentError, FlatnessError
from flatness.papers.building import KEY, small_map
from flatness.words.checks import building_report

FLAT, STEP = "0,0,0,0,0", "0,0,-9,0,0"  # readings along each row of a floor of 8 ft
BY = ("--straightedge", "6ft", "--allowed", "3/16in", "--draws", "40")


def write_floor(path, row, title=""):
    path.parent.mkdir(parents=True, exist_ok=True)
    head = f"# title: {title}\n" if title else ""
    grid = "".join(f"{600 * k},{row}\n" for k in range(5))
    path.write_text(
        f"# surface: floor\n# reading: height\n# unit: mm\n# accuracy: 0.3\n{head},0,600,1200,1800,2400\n{grid}"
    )


@pytest.fixture
def building(tmp_path):
    """A pass, a fail of 9 mm, and a file that is no survey."""
    write_floor(tmp_path / "level1/hall.csv", FLAT, "Hall")
    write_floor(tmp_path / "level2/hall.csv", STEP)
    (tmp_path / "level2/notes.csv").write_text("call the plumber\n")
    (tmp_path / "level2/.hidden.csv").write_text("not looked at\n")
    (tmp_path / "level2/~$hall.xlsx").write_text("a lock of an open workbook\n")
    return tmp_path


def run(capsys, *arguments):
    code = main([str(one) for one in ("check", *arguments)])
    out = capsys.readouterr()
    return code, out.out, out.err


def test_a_folder_is_one_table_worst_first_and_a_bad_file_is_a_row(capsys, building):
    code, out, err = run(capsys, building, *BY, "--processes", 1, "--json")
    found = json.loads(out)
    rows = found["surveys"]
    assert code == 1
    assert found["verdict"] == "fail"
    assert [(row["file"], row["verdict"]) for row in rows] == [
        ("level2/hall.csv", "fail"),
        ("level2/notes.csv", "not checked"),
        ("level1/hall.csv", "pass"),
    ]
    assert rows[0]["as_read"] == pytest.approx(9.0)  # by how it was made: a bar bridges the trough
    assert rows[0]["failed"] == "agreed"
    assert "notes.csv" in rows[1]["error"]
    assert rows[2]["title"] == "Hall"
    assert len(err.splitlines()) == 3  # one line of progress a survey
    assert err.splitlines()[-1].startswith("[3/3]")


@pytest.mark.skipif(os.name != "posix" or sys.platform == "darwin", reason="names and pipes of Linux")
def test_names_that_are_no_text_and_files_that_are_none_are_rows(capsys, tmp_path):
    folder = tmp_path / "level1"
    write_floor(folder / os.fsdecode(b"\xff.csv"), FLAT)
    write_floor(folder / "a\n[9/9] PASS b.csv", FLAT)
    (folder / "gone.csv").symlink_to("nowhere")
    os.mkfifo(folder / "pipe.csv")
    code, out, err = run(
        capsys, folder, *BY, "--processes", 1, "--table", tmp_path / "a.csv", "--page", tmp_path / "a.html"
    )
    assert code == 2
    assert "fault" not in out + err
    table = pd.read_csv(tmp_path / "a.csv")
    assert set(table["file"]) == {r"\udcff.csv", r"a\n[9/9] PASS b.csv", "gone.csv", "pipe.csv"}
    assert list(table["verdict"]).count("not checked") == 2
    assert len([line for line in err.splitlines() if line.startswith("[")]) == 4
    assert r"\udcff.csv" in (tmp_path / "a.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("chosen", "code"),
    [(["level1/hall.csv", "level1/hall.csv"], 0), (["level2/n*.csv"], 2), (["level1", "level2/notes.csv"], 2)],
)
def test_exit_codes_of_many(capsys, building, chosen, code):
    given = [building / one for one in chosen]
    assert run(capsys, *given, *BY, "--table", building / "t.csv", "--processes", 1)[0] == code


def test_two_limits_of_two_kinds_of_surface_each_meet_their_own(capsys, building):
    wall = (building / "level1/hall.csv").read_text().replace("floor", "wall")
    (building / "level1/wall.csv").write_text(wall)
    limits = ("--limit", "wood-glued", "--limit", "studs-board", "--draws", 0, "--processes", 1)
    _, out, _ = run(capsys, building / "level1", *limits, "--json")
    by_file = {row["file"]: row["limit"] for row in json.loads(out)["surveys"]}
    assert by_file["hall.csv"].startswith("wood-glued")
    assert by_file["wall.csv"].startswith("studs-board")
    _, out, _ = run(capsys, building / "level1", "--limit", "wood-glued", "--draws", 0, "--processes", 1, "--json")
    assert "none of the limits is for a wall" in json.loads(out)["surveys"][0]["error"]


def test_tables_and_the_page_say_the_same(capsys, building):
    names = [building / name for name in ("out/t.csv", "out/p.html")]
    options = (building / "level1", building / "level2", *BY, "--processes", 1)
    run(capsys, *options, "--table", names[0], "--page", names[1])
    table = pd.read_csv(names[0])
    # of two folders each survey is called by its whole path
    assert table["file"].tolist() == [
        (building / one).as_posix() for one in ("level2/hall.csv", "level2/notes.csv", "level1/hall.csv")
    ]
    page = names[1].read_text()
    assert "1 of 3 surveys fails, 1 could not be checked, 1 passes." in page
    assert page.count("data:image/png") == 2
    places = [page.index(word) for word in ("Fail: 1", "Not checked: 1", "Pass: 1")]
    assert places == sorted(places)
    # the same once more is refused, and then allowed over what the kit wrote
    assert run(capsys, *options, "--table", names[0])[0] == 2
    assert run(capsys, *options, "--table", names[0], "--overwrite")[0] == 1
    _, out, _ = run(capsys, *options, "--table", building / "t.xlsx", "--json")
    sheet = openpyxl.load_workbook(building / "t.xlsx")["surveys"]
    assert [cell.value for cell in sheet["E"][1:]] == ["fail", "not checked", "pass"]
    assert json.loads(out)["written"] == [(building / "t.xlsx").as_posix()]


def test_the_key_of_the_page_has_what_is_judged_as_a_whole(building):
    """The lean of a wall has no one place: its map is in a color of its own, which the key names."""
    wall = (building / "level1/hall.csv").read_text().replace("surface: floor", "surface: wall")
    survey = flatness.read_survey(wall.encode(), name="wall.csv")
    picture = small_map(flatness.assess(survey, "studs-board-plumb", draws=20), "in")
    colors = Image.open(io.BytesIO(picture)).convert("RGB").getcolors(1 << 20)
    assert max(colors)[1] == ImageColor.getrgb(PATTERNS["whole"].face)
    assert "whole" in KEY


def test_parquet_reads_back_or_says_what_is_missing(capsys, building):
    path = building / "t.parquet"
    code, _, err = run(capsys, building / "level1", *BY, "--processes", 1, "--table", path)
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        assert code == 2
        assert "pyarrow" in err
        return
    assert code == 0
    assert pd.read_parquet(path)["verdict"].tolist() == ["pass"]
    assert run(capsys, building / "level1", *BY, "--processes", 1, "--table", path, "--overwrite")[0] == 0


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (("--out", "pictures"), "one survey"),
        (("--spot-check", "2ft 1/32in"), "one survey"),
        (("--table", "t.txt"), "unknown form"),
        (("--processes", "-1"), "whole number"),
        (("--processes", "1", "--cluster", "tcp://127.0.0.1:9"), "not both"),
        (("--limit", "no-such"), "unknown limit"),
    ],
)
def test_options_that_cannot_be(capsys, building, more, says):
    code, out, err = run(capsys, building, *BY, *more)
    assert (code, out) == (2, "")
    assert says in err


def test_a_folder_or_a_pattern_without_surveys_says_so(tmp_path):
    for named in (str(tmp_path), f"{tmp_path}/*.csv"):
        with pytest.raises(ArgumentError, match=r"no survey|no file"):
            find_files([named])


def test_a_long_path_keeps_its_end_and_the_table_its_width():
    long = f"{'a' * 60}/level2/hall.csv"
    rows = [{**blank_row(File(name, "")), "verdict": "fail", "limit": "wood-glued-10ft"} for name in (long, "b.csv")]
    text = building_report(pd.DataFrame(rows))
    assert "aaa/level2/hall.csv" in text
    assert max(map(len, text.splitlines())) <= 80


def test_worst_first():
    given = [("pass", 0.2), ("undecided", 0.9), ("not checked", float("nan")), ("fail", 1.2), ("fail", 3.0)]
    rows = [Checked({**blank_row(File(str(k), "")), "verdict": v, "used": u}) for k, (v, u) in enumerate(given)]
    assert [one.file for one in worst_first(rows)] == ["4", "3", "2", "1", "0"]


def files_in(folder, names):
    for name in names:
        (folder / name).write_text("")
    return [File(name, str(folder / name)) for name in names]


NAMES = ["a.csv", "b.csv", "deadly once.csv", "c.csv", "deadly.csv", "d.csv"]


@pytest.mark.skipif(os.name != "posix", reason="ends processes by signals")
def test_a_process_that_ends_takes_no_other_survey_with_it(tmp_path, monkeypatch):
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")]))
    files = files_in(tmp_path, NAMES)
    found = list(check_here(files, CheckRequest({}), 2, checks_that_end.ends))
    assert sorted(one.file for one in found) == sorted(NAMES)
    assert [one.file for one in found if one.verdict == "not checked"] == ["deadly.csv"]


def test_processes_say_what_one_says(building):
    options = {"draws": 40}
    limits = {"floor": (flatness.straightedge_limit(6 * 304.8, 4.7625),)}
    files = find_files([str(building)])
    alone, spread = (
        {one.file: dict(one.row, seconds=0) for one in check_here(files, CheckRequest(limits, options), processes)}
        for processes in (1, 2)
    )
    assert pd.DataFrame(alone).equals(pd.DataFrame(spread)[list(alone)])


def test_no_cluster_at_an_address():
    pytest.importorskip("distributed")
    with pytest.raises(FlatnessError, match="no cluster answers"):
        list(check_on_cluster([File("a.csv", "a.csv")], CheckRequest({}), "nowhere://x"))


def test_a_cluster_that_loses_a_worker_loses_no_result(tmp_path, monkeypatch):
    distributed = pytest.importorskip("distributed")
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join([str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")]))
    files = files_in(tmp_path, [f"{k}.csv" for k in range(24)])
    ended = []

    def end_one(pids):
        """End the worker that is at some survey, once several are done."""
        while not (marks := [p for p in tmp_path.glob("*.pid") if p.read_text()]) or len(marks) < 8:
            time.sleep(0.01)
        pid = int(max(marks, key=lambda p: p.stat().st_mtime_ns).read_text())
        assert pid in pids  # no other process than one of the two that this test started
        os.kill(pid, signal.SIGKILL)
        ended.append(pid)

    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as cluster:
        pids = {worker.pid for worker in cluster.workers.values()}
        other = threading.Thread(target=end_one, args=(pids,), daemon=True)
        other.start()
        found = list(check_on_cluster(files, CheckRequest({}), cluster.scheduler_address, checks_that_end.slow))
        other.join(20)
    assert len(ended) == 1
    assert sorted(one.file for one in found) == sorted(one.name for one in files)
    assert {one.verdict for one in found} == {"pass"}
    # surveys that the lost one was at were checked by another
    assert len({one.row["title"] for one in found}) >= 2
