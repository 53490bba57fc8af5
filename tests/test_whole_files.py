"""Files are whole or not there: full disks, killed processes, names that are taken or too long.

What a full disk does is had from the system itself: it refuses to let a file of this process grow beyond a size
(RLIMIT_FSIZE), as it refuses on a full disk.
"""

import ast
import errno
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import flatness
from flatness import files
from flatness.errors import ArgumentError
from flatness.files import named, read_file, write_new, written_together

posix = pytest.mark.skipif(os.name != "posix", reason="asks the system for limits and signals of POSIX")
KIT = Path(flatness.__file__).parent


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_file_is_written_new_and_over_another_only_where_asked(tmp_path):
    path = tmp_path / "a.txt"
    assert write_new(path, b"one") == path
    with pytest.raises(ArgumentError, match="already"):
        write_new(path, b"two")
    assert path.read_bytes() == b"one"
    path.chmod(0o640)
    write_new(path, b"two", overwrite=True)
    assert path.read_bytes() == b"two"
    assert path.stat().st_mode & 0o777 == 0o640  # who may read it stays
    assert names(tmp_path) == ["a.txt"]


def test_what_a_link_points_to_is_replaced_and_the_link_stays(tmp_path):
    (tmp_path / "real.txt").write_bytes(b"old")
    (tmp_path / "link.txt").symlink_to("real.txt")
    write_new(tmp_path / "link.txt", b"new", overwrite=True)
    assert (tmp_path / "link.txt").is_symlink()
    assert (tmp_path / "real.txt").read_bytes() == b"new"


@pytest.mark.parametrize("name", ["x" * 300, "a\0b", "no/such/folder/a.txt", "."])
def test_a_name_that_no_file_can_have_is_refused_in_words(tmp_path, name):
    for overwrite in (False, True):
        with pytest.raises(ArgumentError, match=r"cannot be written|already"):
            write_new(tmp_path / name, b"data", overwrite)
    assert names(tmp_path) == []


@posix
def test_neither_a_pipe_nor_a_folder_nor_a_device_is_read_or_replaced(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "folder").mkdir()
    for path in (tmp_path / "pipe", tmp_path / "folder", Path("/dev/zero")):
        with pytest.raises(OSError, match=r"a pipe or a device|a folder"):
            read_file(path)
        with pytest.raises(ArgumentError, match=r"a pipe or a device|a folder"):
            write_new(path, b"data", overwrite=True)
    with pytest.raises(OSError, match="larger than") as caught:
        read_file(KIT / "files.py", most=100)
    assert caught.value.errno == errno.EFBIG


def test_a_set_is_written_whole_or_not_at_all(tmp_path):
    one, two, three = (tmp_path / f"{name}.txt" for name in ("one", "two", "three"))
    one.write_bytes(b"old one")

    def come_between():
        with written_together():
            write_new(one, b"new one", overwrite=True)
            write_new(two, b"new two")
            write_new(three, b"new three")
            assert names(tmp_path)[-1] == "one.txt"  # besides those under temporary names
            two.write_bytes(b"of somebody else")  # came while the others were made

    def give_up():
        with written_together():
            write_new(three, b"new three")
            raise KeyError

    with pytest.raises(ArgumentError, match=r"two\.txt: there is a file"):
        come_between()
    assert names(tmp_path) == ["one.txt", "two.txt"]
    assert (one.read_bytes(), two.read_bytes()) == (b"old one", b"of somebody else")
    with pytest.raises(KeyError):
        give_up()
    assert names(tmp_path) == ["one.txt", "two.txt"]
    with written_together(), written_together():
        write_new(one, b"new one", overwrite=True)
        write_new(three, b"new three")
    assert (one.read_bytes(), three.read_bytes()) == (b"new one", b"new three")
    assert names(tmp_path) == ["one.txt", "three.txt", "two.txt"]


def test_a_disk_without_links_takes_files_too(tmp_path, monkeypatch):
    def refuses(*_, **__):
        raise OSError(errno.EPERM, "no links here")

    monkeypatch.setattr(os, "link", refuses)
    test_a_set_is_written_whole_or_not_at_all(tmp_path)
    with pytest.raises(ArgumentError, match="already"):
        write_new(tmp_path / "one.txt", b"other")


@posix
def test_what_dead_processes_left_is_swept_and_of_the_living_nothing(tmp_path):
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    host, alive = files._HOST, os.getppid()
    left = [f".flatness-{host}-{dead.pid}-00000000-1.part", f".flatness-{host}-{os.getpid()}-00000000-1.part"]
    old = f".flatness-00000000-{alive}-00000000-2.part"  # of another machine, and older than a day
    kept = [
        f".flatness-{host}-{alive}-00000000-3.part",
        f".flatness-00000000-{dead.pid}-00000000-4.part",
        f".flatness-{host}-{dead.pid}.part",
        "notes.part",
    ]
    for name in (*left, old, *kept):
        (tmp_path / name).write_bytes(b"half")
    os.utime(tmp_path / old, (0, time.time() - 25 * 3600))
    write_new(tmp_path / "a.txt", b"whole")
    assert names(tmp_path) == sorted([*kept, "a.txt"])


def test_a_name_that_is_too_long_is_cut_in_its_middle(tmp_path):
    long = "é" * 140 + "-member-stations.csv"  # 300 bytes
    path = named(tmp_path, long)
    write_new(path, b"data")
    assert len(os.fsencode(path.name)) <= 255
    assert path.name.startswith("ééé")
    assert path.name.endswith("éé-member-stations.csv")
    assert named(tmp_path, "é" + long) != path
    assert named(tmp_path, "x" * 255).name == "x" * 255


FULL = """
import resource, sys
from pathlib import Path
folder = Path(sys.argv[1])
import numpy as np
import pandas as pd
import flatness
from flatness.charts.axes import save_chart
from flatness.charts.heights import surface_map
from flatness.comparison.records import write_record, write_text
from flatness.errors import ArgumentError
from flatness.export.tables import write_table, write_workbook
from flatness.files import write_ours
from flatness.spreadsheet import write_csv, write_xlsx
from flatness.files import SOFTWARE
grid = np.arange(0.0, 4000.0, 250.0)
survey = flatness.make_survey(*(a.ravel() for a in np.meshgrid(grid, grid)), np.zeros(grid.size ** 2))
table = pd.DataFrame({"x_mm": np.arange(900.0), "name": ["a place"] * 900})
chart = surface_map(survey.surface_at(250.0))
over = {"overwrite": True}
writers = {
    "survey.csv": lambda p: flatness.write_survey(survey, p, **over),
    "table.csv": lambda p: write_csv(p, table, **over),
    "table.xlsx": lambda p: write_xlsx(p, {"a": table}, **over),
    "ours.csv": lambda p: write_table(p, table, **over),
    "ours.xlsx": lambda p: write_workbook(p, {"a": table}, **over),
    "ours.pdf": lambda p: write_ours(p, SOFTWARE.encode() * 900, **over),
    "map.png": lambda p: save_chart(chart, p),
    "text.txt": lambda p: write_text(p, "words " * 900),
    "blank.csv": lambda p: flatness.blank_sheet(grid, grid, p, title="t" * 900, **over),
}
def refused():
    for name, write in writers.items():
        try:
            write(folder / name)
        except ArgumentError as error:
            assert "cannot be written" in str(error), error
            yield name
def standing():
    return {path.name: path.read_bytes() for path in folder.iterdir()}
assert not list(refused())  # all of them can be written where there is room
before = standing()
assert set(before) == set(writers)
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, resource.RLIM_INFINITY))
assert set(refused()) == set(writers)
assert standing() == before
for path in folder.iterdir():
    path.unlink()
assert set(refused()) == set(writers)  # and no half file blocks the next try
assert not standing()
print("whole")
"""


@posix
def test_a_full_disk_leaves_what_was_there(tmp_path):
    told = subprocess.run([sys.executable, "-c", FULL, str(tmp_path)], capture_output=True, text=True)
    assert told.stdout == "whole\n", told.stderr


KILLED = """
import sys
from pathlib import Path
from flatness.files import write_new, written_together
folder = Path(sys.argv[1])
print("ready", flush=True)
while True:
    for letter in b"abc":
        with written_together():
            for name in ("one", "two"):
                write_new(folder / name, bytes([letter]) * 200_000, overwrite=True)
"""


@posix
def test_a_process_that_is_killed_leaves_whole_files(tmp_path):
    draw = random.Random(3)
    for _ in range(12):
        with subprocess.Popen([sys.executable, "-c", KILLED, str(tmp_path)], stdout=subprocess.PIPE) as one:
            one.stdout.readline()
            time.sleep(draw.uniform(0.0, 0.05))
            one.send_signal(signal.SIGKILL)
        for path in tmp_path.iterdir():
            data = path.read_bytes()
            assert path.suffix == ".part" or (len(data) == 200_000 and len(set(data)) == 1)
    write_new(tmp_path / "three", b"")
    assert set(names(tmp_path)) <= {"one", "two", "three"}


def test_one_module_writes_files():
    """No other module opens a file to write, or hands a path to a library that does."""
    writes = {"write_text", "write_bytes", "to_csv", "to_excel", "saveas", "touch"}
    found = []
    for path in sorted(KIT.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if path == KIT / "files.py" or not any(word in text for word in (*writes, "open(")):
            continue
        for node in ast.walk(ast.parse(text)):
            if not isinstance(node, ast.Call):
                continue
            plain = isinstance(node.func, ast.Name)
            name = node.func.id if plain else getattr(node.func, "attr", "")
            given = [*node.args, *(key.value for key in node.keywords)]
            modes = [one.value for one in given if isinstance(one, ast.Constant) and isinstance(one.value, str)]
            opened = name == "open" and any(set(mode) & set("wax+") for mode in modes)
            if opened or (name in writes and not plain and (node.args or name == "touch")):
                found.append((path.relative_to(KIT).as_posix(), name))
    # a folder for temporary files, in which a paper is set
    assert found == [("papers/sheet.py", "write_text"), ("papers/sheet.py", "write_bytes")]
