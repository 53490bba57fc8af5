"""The Take panel without a browser: what is shown for what is done, and what stands in the file because of it."""

import argparse
import io
import re
from html import unescape
from pathlib import Path

import numpy as np
import pytest

import flatness
from flatness.commands import present
from flatness.commands import take as command
from flatness.commands.sheet import add_sheet, run_sheet
from flatness.errors import ArgumentError, FlatnessError
from flatness.limits.catalogue import find
from flatness.panels.take import DONE, ENOUGH, IN_USE, MORE, QUESTION, STATION, STRIP, keypad, take_panel
from flatness.taking.book import new_book
from flatness.words.taking import tape

pytestmark = pytest.mark.usefixtures("coarse_lattice")
FT, IN = 304.8, 25.4


@pytest.fixture
def panel(tmp_path):
    made = take_panel(tmp_path / "room.csv", "wood-glued", length="12 ft", width="10 ft", draws=60)
    yield made
    made.close()


def text_of(widget):
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", widget.value)).split())


def type_in(panel, text):
    panel.reading.value = text
    panel.next.click()


def read(panel, count, inches=41.25):
    for _ in range(count):
        type_in(panel, f"{inches}")
        assert panel.state.problems == ()


def settled(panel):
    """The panel once what is worked out beside it is done."""
    panel.state.worker.wait()
    return panel.state.screen


def seen(part):
    return part.layout.display != "none"


def test_one_station_at_a_time_and_each_reading_in_the_file_first(panel):
    assert panel.state.screen == STATION
    assert text_of(panel.counter) == "1 of 42"  # 12 ft by 10 ft every 2 ft: 7 by 6
    assert text_of(panel.place) == "at the left wall at the door wall"
    type_in(panel, "41 3/8")
    assert text_of(panel.counter) == "2 of 42"
    assert "0,0,41 3/8 in,1,,surface" in panel.state.path.read_text()
    assert panel.reading.value == "41 ", "the whole inches stay chosen: two taps a reading"
    assert seen(panel.station)
    assert not any(map(seen, (panel.question, panel.enough, panel.more, panel.go_on)))


@pytest.mark.parametrize("typed", ["41 3/", "", "forty", "8-Mar"])
def test_what_cannot_be_read_is_said_and_stays_to_be_mended(panel, typed):
    before = panel.state.path.read_bytes()
    type_in(panel, typed)
    assert panel.state.problems
    assert panel.reading.value == typed
    assert panel.state.path.read_bytes() == before
    assert text_of(panel.counter) == "1 of 42"


def test_a_slip_is_asked_with_its_answers(panel):
    read(panel, 11)
    type_in(panel, "41 3/4")
    assert panel.state.screen == QUESTION
    assert text_of(panel.doubt).startswith("41 3/4? The stations around it say 41")
    shown = [one.description for one in panel.answers if seen(one)]
    assert shown[0].startswith("Read it again")
    assert "It was 41 1/4\na slip: half an inch" in shown
    assert shown[-1].startswith("41 3/4 is right")
    panel.answers[shown.index("It was 41 1/4\na slip: half an inch")].click()
    assert panel.state.screen == STATION
    assert text_of(panel.counter) == "13 of 42"
    settled(panel)
    points = flatness.read_survey(panel.state.path).points
    assert points["reading"].tolist() == pytest.approx([41.25 * IN] * 12)


def test_back_skip_second_shot_and_the_moved_laser(panel):
    read(panel, 12)
    settled(panel)
    panel.skip.click()
    assert text_of(panel.counter) == "14 of 42"
    panel.back.click()
    assert text_of(panel.counter) == "13 of 42"
    assert "Taken back" in text_of(panel.map)
    panel.open_more.click()
    assert panel.state.screen == MORE
    second, moved = (one for one in panel.more.children if hasattr(one, "description") and "\n" in one.description)
    second.click()
    assert text_of(panel.counter) == "Second reading"
    read(panel, 1)
    panel.open_more.click()
    moved.click()
    assert text_of(panel.counter) == "Old station"
    assert "read two of the old stations again" in text_of(panel.map)
    read(panel, 2, 38.5)
    assert "agree to" in text_of(panel.map)
    settled(panel)
    assert set(flatness.read_survey(panel.state.path).points["setup"]) == {"1", "2"}


def test_it_is_enough_when_the_verdict_stands_and_check_says_the_same(panel):
    hump = lambda x, y: IN * np.exp(-((x - 6 * FT) ** 2 + (y - 5 * FT) ** 2) / (2 * (2.5 * FT) ** 2))  # noqa: E731
    while settled(panel) in (STATION, QUESTION):
        if panel.state.screen == QUESTION:
            panel.answers[[seen(one) for one in panel.answers].count(True) - 1].click()
            continue
        assert (
            "fk-here" in panel.map.value
        )  # where one stands, though a look that came meanwhile says that it is enough
        here = panel.state.taking.here
        type_in(panel, f"{1050 - hump(here.x, here.y):.1f} mm")
    assert panel.state.screen == ENOUGH
    assert "Enough: it fails" in text_of(panel.verdict)
    assert panel.state.taking.left > 0
    assert flatness.assess(flatness.read_survey(panel.state.path), "wood-glued", draws=60).verdict == "fail"
    panel.read_on.click()
    assert panel.state.screen == STATION
    while settled(panel) in (STATION, QUESTION):
        if panel.state.screen == QUESTION:
            panel.answers[[seen(one) for one in panel.answers].count(True) - 1].click()
            continue
        here = panel.state.taking.here
        type_in(panel, f"{1050 - hump(here.x, here.y):.1f} mm")
    assert panel.state.screen == DONE
    assert "It fails" in text_of(panel.verdict)


def test_a_pass_leads_to_its_strips_and_check_reads_what_the_bar_showed(panel):
    errors = np.random.default_rng(1).normal(0, IN / 64, 500)
    while settled(panel) in (STATION, QUESTION):
        if panel.state.screen == QUESTION:
            panel.answers[[seen(one) for one in panel.answers].count(True) - 1].click()
            continue
        type_in(panel, f"{1050 + errors[len(panel.state.taking.readings)]:.1f} mm")
    assert panel.state.screen == ENOUGH
    assert "Enough: it passes" in text_of(panel.verdict)
    assert "fk-hollow" in panel.verdict.value
    count = len(panel.state.taking.open_strips)
    assert panel.between.description == f"Slide a bar\n{count} strips, about {count} minutes"
    assert panel.map.value.count("fk-to-slide") == count
    panel.between.click()
    assert panel.state.screen == STRIP
    assert text_of(panel.counter) == f"Strip 1 of {count}"
    assert "Slide a 6 ft bar along this line." in text_of(panel.progress)
    first = panel.state.taking.strips.every[0]
    assert text_of(panel.place) == f"{tape(first.at, 'in')} from door wall 0 to 12 ft from left wall"
    assert panel.nothing.description.startswith("Nothing over ")
    type_in(panel, "41")
    assert panel.state.problems
    assert panel.state.screen == STRIP
    type_in(panel, "1/32")
    assert panel.state.problems == ()
    assert text_of(panel.counter) == f"Strip 2 of {count}"
    panel.skip.click()
    panel.back.click()  # what was last written: the first
    assert text_of(panel.counter) == f"Strip 1 of {count}"
    while panel.state.screen == STRIP:
        panel.nothing.click()
    assert settled(panel) == ENOUGH
    assert "fk-hollow" not in panel.verdict.value
    assert f"A bar was slid along {count} strips." in text_of(panel.next_step)
    assert not seen(panel.between)
    panel.stop.click()
    assert "room.csv and room-spots.csv" in text_of(panel.next_step)
    spots = flatness.read_spots(panel.state.path.with_name("room-spots.csv"))
    found = flatness.assess(flatness.read_survey(panel.state.path), "wood-glued", draws=60, spot_checks=spots)
    assert found.verdict == "pass"
    assert found.between == "spot-checked"


@pytest.mark.parametrize(("door", "corner"), [("bottom", (0, 1)), ("top", (1, 0)), ("left", (1, 1)), ("right", (0, 0))])
def test_the_room_is_drawn_as_one_walks_in(door, corner, tmp_path):
    """The first station is the corner x 0, y 0: seen from the door it is at the left or right, far or near."""
    path = new_book(tmp_path / "room.csv", length=14 * FT, width=10 * FT, more=[f"door: {door} 3 ft to 6 ft"])
    panel = take_panel(path, "wood-glued", draws=60)
    wide, high = (float(re.search(rf'{name}="(\d+)"', panel.map.value)[1]) for name in ("width", "height"))
    x, y = map(float, re.search(r'fk-here" cx="([\d.]+)" cy="([\d.]+)"', panel.map.value).groups())
    assert (round(x / wide), round(y / high)) == corner
    assert 'class="fk-doorway"' in panel.map.value
    told = text_of(panel.place)
    assert ("at the left wall" in told, "at the door wall" in told) == (corner[0] == 0, corner[1] == 1)
    panel.close()


def test_another_page_has_it_and_may_hand_it_over(panel):
    read(panel, 3)
    other = take_panel(panel.state.path, "wood-glued", draws=60)  # of this program: as the cell run again
    assert other.state.screen == STATION
    type_in(panel, "41 1/4")
    assert panel.state.screen == IN_USE
    assert "Another page takes the readings now" in text_of(panel.progress)
    assert len(other.state.taking.readings) == 3
    panel.go_on.click()
    assert panel.state.screen == STATION
    assert text_of(panel.counter) == "4 of 42"
    other.close()


def test_a_new_survey_needs_the_size_of_the_room(tmp_path):
    with pytest.raises(ArgumentError, match="needs the size"):
        take_panel(tmp_path / "new.csv", "wood-glued")


def test_millimetres(tmp_path):
    panel = take_panel(tmp_path / "room.csv", "wood-glued", length="4 m", width="3 m", unit="mm", draws=60)
    type_in(panel, "1045")
    assert panel.state.problems == ()
    assert "0,0,1045 mm,1,,surface" in panel.state.path.read_text()
    assert text_of(panel.place) == "1200 mm from left wall at the door wall"
    assert 'data-kind="digit" data-value="."' in panel.pad.value
    panel.close()


def test_the_keypad_has_every_sixteenth_and_the_inches_around():
    shown = re.findall(r'data-kind="(\w+)" data-value="([^"]*)"', keypad("in", 41.4 * IN))
    assert [value for kind, value in shown if kind == "whole"] == ["40", "41", "42"]
    # in 32nds: as many sixteenths as there are in an inch
    assert [int(value) for kind, value in shown if kind == "part"] == list(range(0, 32, 2))


@pytest.mark.parametrize(("mm", "told"), [(10 * FT, "10 ft"), (32 * IN, "2 ft 8 in"), (40.5 * IN, "3 ft 4 1/2 in")])
def test_a_position_is_told_as_a_tape_is_pulled(mm, told):
    assert tape(mm, "in") == told


# the command


def options_of(*given):
    parser = argparse.ArgumentParser()
    command.add_take(parser)
    return parser.parse_args(given)


def test_the_command_begins_a_survey_and_serves_a_page_with_it(tmp_path, monkeypatch, capsys):
    served = []
    monkeypatch.delenv("JUPYTER_TOKEN", raising=False)
    monkeypatch.setattr(present, "_serve", lambda line, environment: served.append((line, environment)) or 0)
    monkeypatch.setattr(command, "check_can_serve", lambda options: None)  # the usual port may be in use here
    path = tmp_path / "room.csv"
    given = (
        str(path),
        "--limit",
        "wood-glued",
        "--length",
        "14ft",
        "--width",
        "20ft",
        "--members",
        "16in along y from 0in",
    )
    assert command.run_take(options_of(*given)) == 0
    assert path.exists()
    told = capsys.readouterr().out
    assert "begun:" in told
    assert "http://127.0.0.1:8867/" in told
    assert "--Voila.ip=127.0.0.1" in served[0][0]
    assert "--no-browser" not in served[0][0]
    # once more: it goes on, for the site's own network, with a token in the address
    assert command.run_take(options_of(str(path), "--limit", "wood-glued", "--ip", "0.0.0.0")) == 0
    told = capsys.readouterr().out
    assert "0 readings so far" in told
    token = re.search(r"On the phone open: http://\S+:8867/\?token=(\S+)", told)[1]
    assert served[1][1]["JUPYTER_TOKEN"] == token != served[0][1]["JUPYTER_TOKEN"]
    assert token not in " ".join(served[1][0])  # where a list of processes would show it
    assert "--no-browser" in served[1][0]
    assert len(token) >= 12


def shown(lines, cell=4):
    """Terminal lines of half blocks as a picture [ny, nx], 255 where it is light; each half is ``cell`` pixels wide."""
    halves = {"█": (1, 1), "▀": (1, 0), "▄": (0, 1), " ": (0, 0)}
    rows = [[halves[mark][part] for mark in line] for line in lines for part in (0, 1)]
    return (255 * np.kron(np.array(rows), np.ones((cell, cell)))).astype(np.uint8)


class Terminal(io.StringIO):
    encoding = "utf-8"

    def isatty(self):
        return True


def test_a_phone_reads_the_address_off_the_terminal(monkeypatch):
    zxingcpp = pytest.importorskip("zxingcpp", reason="zxing-cpp, of the test extra, is not installed")
    pytest.importorskip("segno", reason="segno, of the test extra, is not installed")
    address = "http://192.168.1.23:8867/?token=AbCdEfGhIjKlMnOpQrStUvWxYz012345"
    monkeypatch.setattr("sys.stdout", terminal := Terminal())
    told = list(command._said(address, True))
    assert told[0] == f"On the phone open: {address}"
    assert len(told) == 2, "the terminal itself gets the code, with its colors"
    blocks = [
        re.fullmatch(r"\x1b\[38;5;231;48;5;16m(.*)\x1b\[0m", line)[1] for line in terminal.getvalue().splitlines()
    ]
    assert max(map(len, blocks)) <= 80
    assert len(blocks) <= 24
    (read,) = zxingcpp.read_barcodes(shown(blocks), try_invert=False)
    assert read.text == address
    # into a file without colors, and not where a code page has no blocks
    monkeypatch.setattr("sys.stdout", io.TextIOWrapper(io.BytesIO(), encoding="utf-8"))
    assert list(command._said(address, True))[1:-1] == blocks
    monkeypatch.setattr("sys.stdout", io.TextIOWrapper(io.BytesIO(), encoding="ascii"))
    assert len(list(command._said(address, True))) == 2


def test_a_walk_begins_from_a_blank_sheet_or_a_job_and_the_same_line_goes_on(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(present, "_serve", lambda line, environment: 0)
    monkeypatch.chdir(tmp_path)
    parser = argparse.ArgumentParser()
    add_sheet(parser)
    made = ["--length", "14ft", "--width", "12ft", "--limit", "wood-glued", "--accuracy", "1/32in", "--step", "2ft"]
    run_sheet(parser.parse_args([*made, "--rooms", "10", "--title", "Back room"]))
    given = ["Back-room.csv", "--limit", "wood-glued", "--door", "bottom 3ft to 6ft"]
    assert command.run_take(options_of(*given)) == 0
    assert f"begun: {tmp_path / 'Back-room-taken.csv'}" in capsys.readouterr().out
    assert command.run_take(options_of(*given)) == 0
    assert f"going on with {tmp_path / 'Back-room-taken.csv'}: 0 readings so far" in capsys.readouterr().out
    panel = take_panel("Back-room.csv", "wood-glued", draws=60)
    assert panel.state.path == Path("Back-room-taken.csv")
    assert text_of(panel.counter) == "1 of 56"  # 14 ft by 12 ft every 2 ft: 8 by 7
    type_in(panel, "41 3/8")
    panel.close()
    job = 'unit = "in"\nlimits = ["wood-glued", {kind = "straightedge", length = "6 ft", allowed = "1/8"}]\n'
    (tmp_path / "job.toml").write_text(
        f'{job}[surveys]\nbefore = "Back-room.csv"\n[walls]\nwindow = "top 2 ft to 5 ft"\n'
    )
    served = []
    monkeypatch.setattr(command, "_notebook", lambda path, limits: served.append((path, limits)) or {})
    assert command.run_take(options_of("job.toml")) == 0
    assert "1 readings so far" in capsys.readouterr().out
    assert served[0][0] == tmp_path / "Back-room-taken.csv"
    assert (6 * 12 * IN, IN / 8) in [(one.length, one.allowed) for one in served[0][1]]
    (tmp_path / "Back-room-taken.csv").unlink()
    assert command.run_take(options_of("job.toml")) == 0
    assert "# window: top 2 ft to 5 ft\n" in (tmp_path / "Back-room-taken.csv").read_text()


def test_a_walk_of_an_outline_with_an_opening(tmp_path, monkeypatch):
    monkeypatch.setattr(present, "_serve", lambda line, environment: 0)
    path = tmp_path / "room.csv"
    options = {
        "--limit": "wood-glued",
        "--outline": "0,0; 14ft,0; 14ft,12ft; 6ft,12ft; 6ft,8ft; 0,8ft",
        "--opening": "7ft,1ft; 11ft,1ft; 11ft,5ft; 7ft,5ft",
        "--door": "right 3ft to 6ft",
        "--wall": "top = street wall",
        "--range": "60ft",
    }
    assert command.run_take(options_of(str(path), *(part for pair in options.items() for part in pair))) == 0
    panel = take_panel(path, "wood-glued", draws=60)
    # every 2 ft: without what lies beyond the notch at x under 6 ft, y over 8 ft, or in the opening
    every = {(x, y) for x in range(0, 15, 2) for y in range(0, 13, 2) if not (x < 6 and y > 8)}
    every -= {(x, y) for x in (8, 10) for y in (2, 4)}
    walk = panel.state.taking.walk
    assert {(round(one.x / FT), round(one.y / FT)) for one in walk.stations} == every
    assert len(walk.stations) == len(every)
    assert text_of(panel.place) == "at the left wall 14 ft from door wall"
    assert panel.state.taking.header.range == 60 * FT
    panel.close()


def test_the_page_gets_the_limits_as_they_were_asked_for(tmp_path, monkeypatch):
    limits = (*find("wood-glued", "floor"), flatness.straightedge_limit(1828.8, 3.175))
    got = []
    monkeypatch.setattr("flatness.panels.take_panel", lambda path, limits, page: got.append((path, tuple(limits))))
    exec(command._notebook(tmp_path / "room.csv", limits)["cells"][0]["source"], {})
    assert got == [(str(tmp_path / "room.csv"), limits)]


@pytest.mark.parametrize(
    ("given", "wrong"),
    [
        (["room.csv", "--limit", "wood-glued"], "needs the size"),
        (["room.csv", "--length", "14ft", "--width", "20ft"], "no limit"),
        (["room.xlsx", "--limit", "wood-glued", "--length", "14ft", "--width", "20ft"], "written as CSV"),
        (["room.csv", "--limit", "wood-glued", "--length", "14ft", "--width", "20ft", "--port", "0"], "no such port"),
    ],
)
def test_the_command_says_what_is_missing(given, wrong, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(FlatnessError, match=wrong):
        command.run_take(options_of(*given))
    assert not list(tmp_path.iterdir())
