"""The Take panel without a browser: what is shown for what is done, and what stands in the file because of it."""

import argparse
import re
from html import unescape

import numpy as np
import pytest

import flatness
from flatness.commands import present
from flatness.commands import take as command
from flatness.errors import ArgumentError, FlatnessError
from flatness.panels.take import DONE, ENOUGH, IN_USE, MORE, QUESTION, STATION, keypad, take_panel
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
    assert text_of(panel.asked).startswith("41 3/4? The stations around it say 41")
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
    assert "Taken back" in text_of(panel.progress)
    panel.open_more.click()
    assert panel.state.screen == MORE
    second, moved = (one for one in panel.more.children if hasattr(one, "description") and "\n" in one.description)
    second.click()
    assert text_of(panel.counter) == "Second shot"
    read(panel, 1)
    panel.open_more.click()
    moved.click()
    assert text_of(panel.counter) == "Old station"
    assert "read two of the old stations again" in text_of(panel.progress)
    read(panel, 2, 38.5)
    assert "agree to" in text_of(panel.progress)
    settled(panel)
    assert set(flatness.read_survey(panel.state.path).points["setup"]) == {"1", "2"}


def test_it_is_enough_when_the_verdict_stands_and_check_says_the_same(panel):
    hump = lambda x, y: IN * np.exp(-((x - 6 * FT) ** 2 + (y - 5 * FT) ** 2) / (2 * (2.5 * FT) ** 2))  # noqa: E731
    while settled(panel) in (STATION, QUESTION):
        if panel.state.screen == QUESTION:
            panel.answers[[seen(one) for one in panel.answers].count(True) - 1].click()
            continue
        here = panel.state.taking.here
        type_in(panel, f"{1050 - hump(here.x, here.y):.1f} mm")
    assert panel.state.screen == ENOUGH
    assert "Enough: it fails" in text_of(panel.told)
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
    assert "It fails" in text_of(panel.told)


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
