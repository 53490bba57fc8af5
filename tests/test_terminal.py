"""What is printed can be seen, and a fault of the program is told from a verdict by its exit code."""

import contextlib
import os
import subprocess
import sys
from io import BytesIO, TextIOWrapper
from pathlib import Path

import openpyxl
import pytest

import flatness
from flatness import __main__ as command_line
from flatness.__main__ import Shown
from flatness.errors import visible
from flatness.papers.sheet import one_line

SAMPLES = Path(__file__).parents[1] / "sample_surveys"
# what a terminal acts on (ECMA-48: C0, DEL, C1), what turns text (Unicode TR 9, the explicit marks and isolates), and
# what ends a line in Python's eyes (str.splitlines)
HIDING = [*map(chr, [*range(9), *range(11, 32), *range(127, 160)])]
HIDING += [*map(chr, [0x061C, 0x200E, 0x200F, *range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x2028, 0x2029])]
SURVEY = "# title: Loft\x1b[8m hidden\x1b[0m \u202eSSAP\n# unit: mm\nx,y,height,label\n0,0,0,\u2067a\x07\n"
SURVEY += "".join(f"{x},{y},{x * y % 7},p{x}{y}\n" for x in (0, 900, 1800, 2700) for y in (0, 900, 1800) if x + y)


def test_every_mark_that_hides_is_shown_and_no_other():
    for mark in HIDING:
        assert visible(f"a{mark}b") == f"a{mark!r}b".replace("'", "")
    for plain in ('Größe ½ 41-3/8" ≤ ± – 日本 עברית 🙂', "a\tb\nc", "\u00a0", "e\u0301"):
        assert visible(plain) == plain


def test_a_stream_that_lacks_letters_shows_them_as_text():
    raw = BytesIO()
    out = Shown(TextIOWrapper(raw, encoding="ascii", write_through=True))
    print("≤ 3 mm\r\udc80", file=out)
    assert raw.getvalue() == b"\\u2264 3 mm\\r\\udc80\n"
    assert out.encoding == "ascii"


def clean(text):
    return not any(mark in text for mark in HIDING)


def test_nothing_in_a_survey_reaches_the_terminal_unseen(tmp_path, capsys):
    path = tmp_path / "loft\x1b[8m.csv"
    path.write_text(SURVEY, encoding="utf-8")
    for arguments in (
        ["check", str(path), "--straightedge", "1800mm", "--allowed", "3mm", "--draws", "0"],
        ["check", f"{path}\u202egone"],
        ["check", str(path), "--limit", "wood\x1b[8m"],
        ["\x1b[8mcheck"],
    ):
        with contextlib.suppress(SystemExit):  # of a command that is not known
            command_line.main(arguments)
        told = capsys.readouterr()
        assert told.out + told.err
        assert clean(told.out + told.err), told
    survey = flatness.read_survey(path)
    assert survey.title == "Loft\\x1b[8m hidden\\x1b[0m \\u202eSSAP"
    assert survey.points.label[0] == "\\u2067a\\x07"
    # and what was read so is written so, and read back the same
    flatness.write_survey(survey, tmp_path / "again.csv")
    assert flatness.read_survey(tmp_path / "again.csv").title == survey.title


def test_a_workbook_with_a_line_end_in_its_title_has_it_on_one_line(tmp_path):
    book = openpyxl.Workbook()
    readings = [[x, x * x % 7000, 0] for x in (0, 1000, 2000, 3000)]
    for row in (["# title: Loft\nPASS\u202e"], ["# unit: mm"], ["x", "y", "height"], *readings):
        book.active.append(row)
    book.save(tmp_path / "a.xlsx")
    assert flatness.read_survey(tmp_path / "a.xlsx").title == "Loft PASS\\u202e"


def test_papers_show_the_same():
    assert one_line("a\nb\x1b[8m \u202ec") == "a b\\x1b[8m \\u202ec"


def fault(*_):
    raise ZeroDivisionError("one\ntwo")


def test_what_nobody_foresaw_has_an_exit_code_and_one_line(monkeypatch, capsys):
    monkeypatch.setattr("flatness.commands.check.limits_table", fault)
    assert command_line.main(["limits"]) == 70  # EX_SOFTWARE of sysexits.h
    told = capsys.readouterr()
    assert told.out == ""
    assert len(told.err.splitlines()) == 1
    assert "ZeroDivisionError: one two" in told.err
    with pytest.raises(ZeroDivisionError):
        command_line.main(["limits", "--debug"])
    assert isinstance(sys.stdout, type(sys.__stdout__)) or not isinstance(sys.stdout, Shown)


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="a device of Linux that is always full")
def test_an_output_that_takes_nothing_is_told_and_one_that_is_closed_is_none():
    line = [sys.executable, "-m", "flatness", "limits"]
    with open("/dev/full", "w") as full:
        told = subprocess.run(line, stdout=full, stderr=subprocess.PIPE, text=True)
    assert told.returncode == 2
    assert "No space left on device" in told.stderr
    assert "fault" not in told.stderr
    assert "ignored" not in told.stderr  # as Python says of what it could not write at its end
    told = subprocess.run([*line, "--json"], stderr=subprocess.PIPE, text=True, preexec_fn=lambda: os.close(1))
    assert (told.returncode, told.stderr) == (0, "")
    told = subprocess.run([*line[:3], "check", "no.csv"], stdout=subprocess.PIPE, preexec_fn=lambda: os.close(2))
    assert (told.returncode, told.stdout) == (2, b"")


@pytest.mark.parametrize("command", ["check", "curve", "demo", "job", "light", "room", "scan", "take"])
def test_a_name_that_no_file_can_have_is_bad_input(command, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    more = {"check": ["--limit=wood-glued"], "take": ["--limit=wood-glued", "--length=3m", "--width=3m"]}.get(
        command, []
    )
    for name in ("x" * 300, "x" * 300 + ".csv", "y" * 5000, "a/" * 3000):
        assert command_line.main([command, name, *more]) == 2
        assert "fault" not in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("command", "survey", "options"),
    [
        ("check", "packing_room/hand_typed.csv", ["--straightedge=10ft", "--allowed=1e-9 mm"]),
        ("light", "hanging_wall/wall.csv", ["--lamp=14in", "--every=1e-9 mm"]),
        ("light", "hanging_wall/wall.csv", ["--lamp=14in", "--every=1e-308 mm"]),
        ("light", "hanging_wall/wall.csv", ["--distance=1e-308 mm"]),
        ("light", "hanging_wall/wall.csv", ["--threshold=1e-308"]),
        ("curve", "oval_room/niche.csv", ["--template=1e-9 mm"]),
        ("curve", "oval_room/niche.csv", ["--template=1e-308 mm"]),
        ("curve", "oval_room/niche.csv", ["--every=1e-9 mm"]),
        ("curve", "oval_room/niche.csv", ["--every=1e-308 mm"]),
        ("curve", "oval_room/niche.csv", ["--studs=1e-9 mm"]),
        ("curve", "oval_room/niche.csv", ["--studs=1e-308 mm"]),
        ("curve", "oval_room/niche.csv", ["--plate=4in", "--sheet-length=1e-308 mm"]),
    ],
)
def test_a_length_so_short_that_no_machine_steps_by_it_is_refused(command, survey, options, capsys):
    assert command_line.main([command, str(SAMPLES / survey), *options]) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert "expected:" in told.err


@pytest.mark.skipif(os.name != "posix", reason="a pipe of POSIX")
def test_a_pipe_is_no_survey_no_job_and_no_plan(tmp_path):
    os.mkfifo(tmp_path / "pipe.csv")
    os.mkfifo(tmp_path / "pipe.toml")
    os.mkfifo(tmp_path / "pipe.json")
    (tmp_path / "a.csv").write_text(SURVEY, encoding="utf-8")
    code = (
        "import sys; from flatness.__main__ import main; f = sys.argv[1]\n"
        "print(*[main(a.split()) for a in ('check ' + f + '/pipe.csv --limit wood-glued', 'job ' + f + '/pipe.toml',\n"
        "    'compare --rerun ' + f + '/pipe.json', 'check ' + f + '/a.csv --limit wood-glued --spot-check ' + f + "
        "'/pipe.csv')])"
    )
    told = subprocess.run([sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, timeout=60)
    assert told.stdout.split() == ["2"] * 4
    assert told.stderr.count("a pipe or a device") == 4
