"""The field book: an ordinary survey at every moment, of which nothing is lost."""

import os
import random
import signal
import socket
import subprocess
import sys

import pytest

import flatness
from flatness.errors import FlatnessError, SurveyFileError
from flatness.survey.files import SurveyFileExistsError
from flatness.survey.readings import Framing
from flatness.taking.book import Book, BookInUseError, new_book
from flatness.taking.session import Taking

FT = 304.8
LIMIT = flatness.straightedge_limit(10 * FT, 4.7625)


def begun(folder, **more):
    given = {"length": 8 * FT, "width": 6 * FT, "step": 2 * FT, "accuracy": 25.4 / 32} | more
    return new_book(folder / "room.csv", **given)


def test_what_was_typed_is_an_ordinary_survey(tmp_path):
    book = Book(begun(tmp_path, framing=Framing(406.4, "y", 203.2), title="Back room, left"))
    typed = {(0, 0): "41 3/8", (0, 48): '41-1/4"', (48, 0): "41 6/16", (48, 48): "1045 mm"}
    for (x, y), text in typed.items():
        book.add(book.entry(x * 25.4, y * 25.4, text, "1"))
    book.close()
    survey = flatness.read_survey(book.path)
    assert survey.quantity == "drop"
    assert survey.title == "Back room, left"
    assert survey.accuracy == pytest.approx(25.4 / 32)
    assert survey.framing == Framing(406.4, "y", 203.2)
    # inches are 25.4 mm: 41 3/8 in = 1050.925 mm
    assert survey.points["reading"].tolist() == pytest.approx([1050.925, 1047.75, 1050.925, 1045.0])
    assert survey.points["x"].tolist() == pytest.approx([0, 0, 1219.2, 1219.2])


def test_undo_is_a_line_and_the_survey_goes_by_it(tmp_path):
    book = Book(begun(tmp_path))
    for k, text in enumerate(("41", "41 1/8", "41", "41 7/8")):
        book.add(book.entry(k % 2 * 600, k // 2 * 600, text, "1"))
    before = book.path.read_bytes()
    book.strike(book.standing[-1])
    book.add(book.entry(600, 600, "41 3/8", "1"))
    book.close()
    after = book.path.read_bytes()
    assert after.startswith(before), "nothing that stood in the file was changed"
    survey = flatness.read_survey(book.path)
    assert len(survey.points) == 4
    assert survey.points["reading"].iloc[-1] == pytest.approx(41.375 * 25.4)
    assert any("struck out" in str(note) for note in survey.notes)
    assert b"41 7/8" in after, "both stay in the file"


def test_a_struck_row_must_strike_something(tmp_path):
    path = begun(tmp_path)
    path.write_text(path.read_text() + "0,0,41,1,,surface\n0,24,41,1,,surface\n24,0,41,1,,surface\n24,0,42,1,,struck\n")
    with pytest.raises(SurveyFileError, match="stands in no row above"):
        flatness.read_survey(path)


def test_a_station_that_cannot_be_reached_is_a_row_without_a_reading(tmp_path):
    book = Book(begun(tmp_path))
    for k in range(5):
        book.add(book.entry(k % 2 * 600, k // 2 * 600, "" if k == 3 else "41", "1"))
    book.close()
    assert len(flatness.read_survey(book.path).points) == 4


def test_one_page_at_a_time(tmp_path, monkeypatch):
    path = begun(tmp_path)
    first = Book(path)
    first.add(first.entry(0, 0, "41", "1"))
    monkeypatch.setattr(os, "getpid", lambda: 1)  # as another program, while this one runs
    with pytest.raises(BookInUseError, match="another page"):
        Book(path)
    second = Book(path, take_over=True)
    second.add(second.entry(600, 0, "41 1/8", "1"))
    before = path.read_bytes()
    with pytest.raises(BookInUseError, match="another page takes the readings now"):
        first.add(first.entry(0, 600, "40", "1"))
    assert path.read_bytes() == before
    second.close()
    assert not path.with_name("room.csv.open").exists()


def test_a_program_that_died_holds_nothing(tmp_path):
    path = begun(tmp_path)
    code = (
        "import os, pathlib, sys; from flatness.taking.book import Book; Book(pathlib.Path(sys.argv[1])); os._exit(9)"
    )
    subprocess.run([sys.executable, "-c", code, path], check=False)
    assert path.with_name("room.csv.open").exists()
    Book(path).close()


@pytest.mark.parametrize("pid", ["²", "9" * 40, "9" * 5000, "-1", "", "1_0"])
def test_a_mark_that_no_program_wrote_holds_nothing(tmp_path, pid):
    path = begun(tmp_path)
    mark = tmp_path / "room.csv.open"
    mark.write_text(f"id=x\npid={pid}\nhost={socket.gethostname()}\n", encoding="utf-8")
    Book(path).close()
    assert not mark.exists()


@pytest.mark.skipif(os.name == "nt", reason="a pipe of POSIX")
def test_a_pipe_in_place_of_the_mark_is_not_waited_for(tmp_path):
    path = begun(tmp_path)
    os.mkfifo(tmp_path / "room.csv.open")
    code = "import pathlib, sys; from flatness.taking.book import Book; Book(pathlib.Path(sys.argv[1]))"
    told = subprocess.run([sys.executable, "-c", code, path], stderr=subprocess.PIPE, text=True, timeout=60)
    assert "a pipe or a device" in told.stderr


def test_a_file_that_another_program_changed_is_not_written_on(tmp_path):
    book = Book(begun(tmp_path))
    with book.path.open("a") as file:
        file.write("0,0,41,1,,surface\n")
    with pytest.raises(FlatnessError, match="changed by another program"):
        book.add(book.entry(0, 0, "41", "1"))


def test_a_line_cut_short_is_told(tmp_path):
    path = begun(tmp_path)
    with path.open("a") as file:
        file.write("0,0,41,1,,surface\n24,0,41 3/")
    book = Book(path)
    assert book.cut.text == "24,0,41 3/"
    assert [one.reading for one in book.standing] == [pytest.approx(41 * 25.4)]
    book.add(book.entry(609.6, 0, "41 3/8", "1"))
    assert path.read_text().endswith("surface\n24,0,41 3/8 in,1,,surface\n")


def test_no_file_is_begun_over_another_and_no_other_list_is_written_on(tmp_path):
    path = begun(tmp_path)
    with pytest.raises(SurveyFileExistsError, match="of this name"):
        begun(tmp_path)
    path.write_text("# unit: in\n# reading: drop\nx,y,reading\n0,0,41\n24,0,41\n0,24,41\n")
    with pytest.raises(SurveyFileError, match="cannot be taken into this file"):
        Book(path)


CHILD = """
import sys
import flatness
from flatness.taking.session import Taking
taking = Taking.open(sys.argv[1], flatness.straightedge_limit(3048, 4.7625))
print("ready", len(taking.readings), flush=True)
while taking.here is not None:
    x, y = taking.here.x, taking.here.y
    taking.enter(f"{1000 + round(x / 100) % 3} mm")
    if taking.question is not None:
        taking.keep()
    print("taken", x, y, flush=True)
"""


@pytest.mark.skipif(os.name == "nt", reason="there is no SIGKILL")
def test_nothing_that_was_taken_is_lost_when_the_program_is_killed(tmp_path):
    path = begun(tmp_path, length=14 * FT, width=20 * FT)
    taken = []
    rng = random.Random(4)
    for _ in range(3):
        child = subprocess.Popen([sys.executable, "-c", CHILD, path], stdout=subprocess.PIPE, text=True)
        assert child.stdout.readline().split() == ["ready", str(len(taken))]
        for _ in range(rng.randint(4, 25)):
            taken.append(tuple(map(float, child.stdout.readline().split()[1:])))
        child.send_signal(signal.SIGKILL)
        # what it had told of before it died counts too
        taken += [tuple(map(float, line.split()[1:])) for line in child.stdout if line.endswith("\n")]
        child.wait()
        child.stdout.close()
        # it may have written one more than it told of
        book = Book(path)
        found = [(one.x, one.y) for one in book.standing]
        book.close()
        assert found[: len(taken)] == [pytest.approx(one) for one in taken]
        assert len(found) - len(taken) in (0, 1)
        taken = found
        points = flatness.read_survey(path).points
        assert list(zip(points["x"], points["y"], strict=True)) == [pytest.approx(one) for one in taken]
    taking = Taking.open(path, LIMIT)
    assert taking.left == len(taking.walk.stations) - len(taken)
    taking.close()
