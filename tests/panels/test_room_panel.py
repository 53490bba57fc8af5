"""The Room panel: its state is set and read without a browser; what it shows follows."""

from pathlib import Path

import pytest

from flatness.charts.rooms import clear_height_map
from flatness.panels import room_panel
from flatness.panels.room import caption, place_on

FILE = Path(__file__).parents[2] / "sample_surveys" / "gallery" / "room.toml"


@pytest.fixture(scope="module")
def panel():
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("flatness.surface.lattice.FINEST_MM", 304.8)
        made = room_panel(FILE)
    yield made
    made.close()


def test_it_answers_first(panel):
    assert panel.state.problems == ()
    assert "FAIL" in panel.verdict.value
    assert "The face that moves most: west wall" in panel.verdict.value
    assert (
        panel.checks.value.count("<tr>") == 1 + len(panel.state.room.checks) + panel.state.room.checks["what"].nunique()
    )


def test_a_click_on_a_wall_folded_out_opens_it(panel):
    """North of the plan lies the north wall: its foot 300 mm beyond it, its head farther out."""
    room = panel.state.room
    assert place_on(room, (2000.0, 12 * 304.8 + 1500))[0] == "north wall"
    assert place_on(room, (-1500.0, 1500.0))[0] == "west wall"
    assert place_on(room, (2000.0, 2000.0))[0] == "floor"
    assert place_on(room, (-200.0, 1500.0)) is None
    panel.state.open_at((2000.0, 12 * 304.8 + 1500))
    assert (panel.state.view, panel.controls["opened"].value) == ("surface", "north wall")
    panel.views.value = "plan"
    assert panel.state.view == "plan"


def test_other_ties_of_the_walls_cost_less(panel):
    square = panel.state.targets.cost
    panel.controls["walls"].value = "free"
    assert panel.state.targets.cost < square
    panel.controls["walls"].value = "square"
    assert panel.state.targets.cost == pytest.approx(square)


def test_the_room_turns_and_shows_the_walls_whose_faces_are_seen(panel):
    panel.views.value = "turn"
    panel.controls[
        "azimuth"
    ].value = 90.0  # seen from the north: the south wall faces the eye, the north wall turns its back
    words = [text.get_text() for ax in panel.map.axes for text in ax.texts]
    assert "south wall" in words
    assert "north wall" not in words
    panel.views.value = "plan"


def test_the_clear_height_is_a_view(panel):
    panel.views.value = "clear"
    words = [text.get_text() for ax in panel.map.axes for text in ax.texts]
    assert any("proud" in word for word in words)  # a map of steps from low to high
    drawn = clear_height_map(panel.state.room)
    assert drawn.ax.get_title(loc="left").startswith("Clear height off") or any(
        text.get_text().startswith("Clear height off") for text in drawn.ax.texts
    )
    panel.views.value = "plan"


def test_a_file_that_cannot_be_read_is_told(tmp_path):
    made = room_panel(tmp_path / "none.toml")
    assert "no such file" in made.problems.value
    assert "No room was read" in made.verdict.value
    made.close()


def test_what_is_left_says_so_where_it_is_pointed_at(panel):
    """The north wall needs no work, the west wall is built out."""
    assert "north wall" in panel.state.targets.left
    assert "north wall: leave it as it is here." in panel._at((2000.0, 3658.0 + 300.0 + 1200.0))
    assert "west wall: add " in panel._at((-300.0 - 1800.0, 1800.0))
    assert "What is gray is left as it is." in caption(panel.state)
