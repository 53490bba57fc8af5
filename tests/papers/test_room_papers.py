"""The papers of a room, read back: its answer first, its numbers those of the tables that they are made from."""

import io
import re
from pathlib import Path

import pdfplumber
import pytest

import flatness
from flatness.papers.room import room_crew_sheet, room_owner_page
from flatness.room.set_out import diagonals, wall_lines
from flatness.room.ways import room_ways
from flatness.words.rooms import length_in_feet

pytestmark = pytest.mark.usefixtures("coarse_lattice")
FILE = Path(__file__).parents[2] / "sample_surveys" / "gallery" / "room.toml"


@pytest.fixture(scope="module")
def gallery(coarse_lattice):
    room = flatness.read_room(FILE)
    targets = flatness.room_targets(room)
    return room, targets, room_ways(targets, draws=0, aim=1.0)


def pages_of(paper):
    with pdfplumber.open(io.BytesIO(paper.pdf)) as pdf:
        return [re.sub(r"\s+", " ", page.extract_text()) for page in pdf.pages]


def test_a_carpenter_reads_the_crew_sheet_alone(gallery):
    """The height of the ceiling line, the offset at stud 4 of the east wall, and which wall moves most."""
    room, targets, ways = gallery
    first, second = pages_of(room_crew_sheet(targets, ways))
    assert f"Ceiling line at {length_in_feet(targets.targets['ceiling'].z, room.show)} above the datum" in first
    table = targets.table
    walls = table[table["kind"] == "wall"]
    most = walls.loc[walls["most_added_mm"].idxmax(), "surface"]
    assert most == "west wall"
    assert "The face that moves most: west wall, into the room by up to" in first
    lines = wall_lines(targets)
    row = lines[(lines["wall"] == "east wall") & (lines["stud"] == "4") & (lines["at"] == "middle")].iloc[0]
    assert row["x_mm"] == pytest.approx(48 * 25.4)
    # walls stand side by side: of each line of words the second half is the east wall's
    assert f"4 4' 0\" {length_in_feet(row['off_control_mm'], room.show)}" in second
    for row in diagonals(targets).to_dict("records"):
        assert f"{row['letters']} {length_in_feet(row['length_mm'], room.show)}" in first  # the order of the work
        assert f"{row['letters']} {length_in_feet(row['length_mm'], room.show)}" in second
    assert "1 Set up again where the walls were measured from: the long line, 6' 0\" off the line of" in first
    assert not re.search(r"\d/(64|128)\b", first + second)  # one rounding on all of it


def test_the_owners_page_says_first_whether_the_room_is_as_agreed(gallery):
    room, targets, ways = gallery
    first, second = pages_of(room_owner_page(room, targets, ways))
    failing = int((room.checks["verdict"] == "fail").sum())
    judged = int((room.checks["verdict"] != "measured").sum())
    assert f"The room is not as agreed yet: {failing} of {judged} checks fail." in first
    assert second.count("not as agreed") == failing
    for name in room.surfaces:
        assert name in second


def test_every_paper_has_two_pages_on_a4_too(gallery):
    room, targets, ways = gallery
    for made in (room_owner_page(room, targets, ways, paper="a4"), room_crew_sheet(targets, ways, paper="a4")):
        assert len(pages_of(made)) == 2


def test_a_room_without_targets_has_an_owners_page(gallery):
    first, *_ = pages_of(room_owner_page(gallery[0]))
    assert "not as agreed yet" in first
    assert "moves most" not in first
