"""What the crew sets out, against closed forms on constructed rooms; the sheet by its artists; files by content."""

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pdfplumber
import pytest
from matplotlib.figure import Figure

import flatness
from constructed_rooms import FT, four_walls, level_surface, room, turned, wall
from flatness.__main__ import main
from flatness.charts.rooms import deviation, room_plan, room_sheet, write_room
from flatness.commands.options import EXIT
from flatness.export.tables import set_out_tables
from flatness.papers.room import room_crew_sheet
from flatness.planning.plan import read_plan
from flatness.room.records import Trim
from flatness.room.set_out import ceiling_lines, diagonals, trim_lines, wall_lines
from flatness.survey.readings import make_survey
from flatness.words.rooms import added, moves_most, room_report, targets_text

pytestmark = pytest.mark.usefixtures("coarse_lattice")
FILE = Path(__file__).parents[2] / "sample_surveys" / "gallery" / "room.toml"
TWO = """
draws = 20
targets = { leave = false }
datum = { benchmarks = { BM1 = "36 in", BM2 = "48 in" } }
[[surface]]
name = "ceiling"
surveys.before = "ceiling.csv"
limits = [{ kind = "straightedge", length = "6 ft", allowed = "1/4 in" }]
[[surface]]
name = "east wall"
surveys.before = "east.csv"
limits = [{ kind = "straightedge", length = "6 ft", allowed = "1/4 in" }]
from = ["14 ft", "12 ft"]
to = ["14 ft", 0]
control_offset = "7 ft"
"""
CORNERS = [(3000.0, 0.0), (0.0, 0.0), (0.0, 2400.0), (3000.0, 2400.0)]


@pytest.fixture(scope="module")
def leaning():
    """Four walls read off lines 1,000 mm into the room; the west one leans 12 mm out in 2,500; nothing comes off."""
    walls = four_walls(CORNERS, step=600, offset=1000.0)
    west = wall("west", CORNERS[1], CORNERS[2], lambda x, y: -12 * y / 2500, step=600, offset=1000.0)
    floor = level_surface("floor", lambda x, y: 2 * x / 3000, 3000, 2400, step=300)
    ceiling = level_surface("ceiling", lambda x, y: 2500 - 6 * x / 3000, 3000, 2400, step=300)
    trim = Trim(name="plinth", wall="south", reveal=6.0)
    built = room(floor, ceiling, walls[0], west, *walls[2:], trims=(trim,), draws=10)
    return built, flatness.room_targets(built)


def test_a_wall_stands_plumb_where_it_is_most_proud(leaning):
    """Closed form: the face stays at its foot, 1,000 from the line; what the wall leans is added up each stud."""
    _, targets = leaning
    lines = wall_lines(targets)
    west = lines[lines["wall"] == "west"]
    np.testing.assert_allclose(west["off_control_mm"], 1000, atol=0.1)
    np.testing.assert_allclose(west["add_mm"], 12 * west["y_mm"] / 2500, atol=0.1)
    assert west["y_mm"].min() == 0
    assert west["y_mm"].max() > 2300
    assert west["stud"].unique().tolist() == ["1", "2", "3", "4", "5"]  # read every 600 mm over 2,400
    assert moves_most(targets).startswith("The face that moves most: west, into the room by up to 11.")


def test_the_diagonals_of_a_finished_rectangle(leaning):
    """Closed form: the hypotenuse of 3,000 by 2,400, both alike."""
    found = diagonals(leaning[1])
    assert len(found) == 2
    np.testing.assert_allclose(found["length_mm"], np.hypot(3000, 2400), atol=0.2)
    assert found["letters"].tolist() == ["A to C", "B to D"]


def test_no_diagonal_runs_from_one_room_into_another():
    """Two rooms of 3,000 by 2,400 side by side: two diagonals each."""
    rooms = []
    for name, across in (("a", 0.0), ("b", 4000.0)):
        corners = [(x + across, y) for x, y in CORNERS]
        walls = four_walls(corners, [f"{side} {name}" for side in ("south", "west", "north", "east")], step=600)
        rooms += [replace(one, room=name) for one in walls]
    found = diagonals(flatness.room_targets(room(*rooms, draws=10), leave=False))
    assert found["letters"].tolist() == ["A to C", "B to D", "E to G", "F to H"]
    np.testing.assert_allclose(found["length_mm"], np.hypot(3000, 2400), atol=0.2)


def test_how_far_off_a_diagonal_may_be():
    """By simulation: four faces set out good to 1 mm at their corners, and a tape good to 1/16 in: 95 in 100 within."""
    walls = [replace(one, wall=replace(one.wall, error=0.0)) for one in four_walls(CORNERS, step=600)]
    found = diagonals(flatness.room_targets(room(*walls, draws=10), setting_error=1.0, leave=False))
    rng = np.random.default_rng(5)
    corners = rng.normal(0, 1.0, (2, 20_000, 2)) + np.array([[[0.0, 0.0]], [[3000.0, 2400.0]]])
    taped = np.hypot(*(corners[1] - corners[0]).T) + rng.normal(0, 25.4 / 16, 20_000)
    within = np.abs(taped - np.hypot(3000, 2400)) <= found["within_mm"].iloc[0]
    assert 0.945 < within.mean() < 0.955


def test_the_ceiling_comes_to_its_lowest_and_straps_are_shimmed(leaning):
    """Closed form: 2,494; each strap along x takes 0 at its low end and 6 at the other."""
    table = ceiling_lines(leaning[1])
    np.testing.assert_allclose(table["z_mm"], 2494, atol=0.1)
    np.testing.assert_allclose(table["least_shim_mm"], 0, atol=0.1)
    np.testing.assert_allclose(table["most_shim_mm"], 6, atol=0.15)
    assert len(table) == 9  # read every 300 mm over 2,400


def test_a_trim_leaves_no_less_than_its_reveal(leaning):
    """Closed form: the floor rises 2 mm along the south wall, so the gap runs from 6 to 8 mm."""
    table = trim_lines(leaning[0])
    assert table["reveal_mm"].min() == pytest.approx(6, abs=1e-6)
    assert table["reveal_mm"].max() == pytest.approx(8, abs=0.15)
    assert table["z_mm"].iloc[0] == pytest.approx(8, abs=0.1)


def test_a_trim_is_set_over_the_finished_floor():
    """Closed form: the floor is 0 along the south wall and 15 mm along the north; it comes to 15, a foot to 21."""
    floor = level_surface("floor", lambda x, y: 15 * y / 2400, 3000, 2400, step=300)
    trim = Trim(name="plinth", wall="south", reveal=6.0)
    built = room(floor, *four_walls(CORNERS, step=600), trims=(trim,), draws=10)
    targets = flatness.room_targets(built, leave=False)
    table = set_out_tables(targets)["trims"]
    np.testing.assert_allclose(table["z_mm"], 21, atol=0.1)
    np.testing.assert_allclose(table["reveal_mm"], 6, atol=1e-6)
    texts = [text.get_text() for ax in room_sheet(built, targets).axes for text in ax.texts]
    assert "reveal left 6 mm to 6 mm" in texts
    with pdfplumber.open(io.BytesIO(room_crew_sheet(targets).pdf)) as pdf:
        crew = " ".join("".join(page.extract_text() for page in pdf.pages).split())
    assert "trim foot at reveal plinth 21 mm above the datum 6 mm to 6 mm" in crew


def test_the_sheet_answers_first_and_shows_every_wall(leaning):
    built, targets = leaning
    figure = room_sheet(built, targets)
    said = [text.get_text() for text in figure.texts]
    assert any(
        text.startswith("Ceiling line at 2494 mm above the datum. The face that moves most: west") for text in said
    )
    plan = figure.axes[0]
    words = [text.get_text() for text in plan.texts]
    assert {"A", "B", "C", "D"} <= set(words)
    assert [line.get_gid() for line in plan.lines].count("diagonal") == 2
    assert words.count("leave it as it is") == len(targets.left) == 3
    assert {"floor", "south", "west", "north", "east"} <= set(words)
    lines = wall_lines(targets)
    heads = lines[(lines["wall"] == "west") & (lines["at"] == "top")]["add_mm"]
    assert all(words.count(f"{added:.1f}") >= 1 for added in heads)
    # a wall folded out lies outward: the west one left of the plan, its head farthest
    spans = [[path.get_extents() for path in cells.get_paths()] for cells in plan.collections]
    (west,) = [found for found in spans if found and max(box.x1 for box in found) < 0]
    assert min(box.x0 for box in west) < -2500
    as_found = room_sheet(built)
    assert any(text.get_text().startswith("FAIL") for text in as_found.texts)  # 12 mm, where DIN 18202 allows 8


def test_texts_of_the_sheet_lie_on_the_page(leaning):
    figure = room_sheet(*leaning)
    figure.draw_without_rendering()
    width, height = figure.bbox.width, figure.bbox.height
    for text in [*figure.texts, *(text for ax in figure.axes for text in ax.texts)]:
        box = text.get_window_extent()
        assert box.x0 >= 0, text.get_text()
        assert box.x1 <= width, text.get_text()
        assert box.y0 >= 0, text.get_text()
        assert box.y1 <= height, text.get_text()


def test_what_is_added_as_the_sheet_writes_it():
    assert [added(mm, "in") for mm in (0.0, 3.175, -6.35, 12.7)] == ["0", "1/8", "−1/4", "1/2"]


def test_words_of_the_targets(leaning):
    told = targets_text(leaning[1])
    assert "walls square to one another, plumb, floors and ceilings level, but for" in " ".join(told.split())
    assert max(map(len, told.splitlines())) <= 80


def test_the_command_writes_papers_tables_and_a_plan_for_each_surface(tmp_path, capsys):
    for name in ("ceiling", "east"):
        (tmp_path / f"{name}.csv").write_bytes((FILE.parent / f"{name}.csv").read_bytes())
    (tmp_path / "room.toml").write_text(TWO, encoding="utf-8")
    assert main(["room", str(tmp_path / "room.toml"), "--out", str(tmp_path), "--json"]) in EXIT.values()
    found = json.loads(capsys.readouterr().out)
    assert all(Path(name).is_file() for name in found["written"])
    with open(tmp_path / "room-set-out-walls.csv", encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    names = [row["surface"] for row in found["targets"]["surfaces"]]
    assert {row["wall"] for row in rows} == {name for name in names if "wall" in name}
    assert found["clash"] is None
    for name in ("sheet", "owner", "crew"):
        assert (tmp_path / f"room-{name}.pdf").read_bytes().startswith(b"%PDF")
    assert [row["surface"] for row in found["ways"]] == names
    plan = read_plan(tmp_path / "room-east-wall-plan.json")
    (way,) = [row["way"] for row in found["ways"] if row["surface"] == "east wall"]
    assert plan.way == way


def test_the_command_says_what_clashes(tmp_path, capsys):
    text = FILE.read_text(encoding="utf-8").replace('least = "13 ft 10 1/2 in"', 'least = "13 ft 11 1/2 in"')
    for survey in FILE.parent.glob("*.csv"):
        (tmp_path / survey.name).write_bytes(survey.read_bytes())
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    assert main(["room", str(tmp_path / "room.toml"), "--json"]) == 1
    found = json.loads(capsys.readouterr().out)
    assert found["targets"] is None
    assert "long bench" in found["clash"]


def test_each_place_of_the_plan_has_the_color_of_its_step(leaning):
    """One path a color: a path a cell takes a page of a room three seconds to write."""
    built, targets = leaning
    plan = room_plan(Figure().add_subplot(), built, targets)
    drawn, off = built.drawn["floor"].surface, deviation(built, targets, "floor")
    paths = plan.maps["floor"].get_paths()
    places = np.column_stack([part.ravel() for part in np.meshgrid(drawn.x, drawn.y)])
    known = np.isfinite(off).ravel()
    inside = np.array([path.contains_points(places) for path in paths])
    assert len(paths) <= plan.scale.colours.N
    assert (inside.sum(axis=0) == known).all()
    colors = plan.maps["floor"].get_facecolor()[inside[:, known].argmax(axis=0)]
    np.testing.assert_allclose(colors, plan.scale.colours(plan.scale.norm(off.ravel()[known])))


def test_straps_of_a_turned_room_are_counted_from_its_wall():
    """Closed form: lines of readings every 500 mm across 3,000, whatever way the room lies on the plan."""
    one = level_surface("ceiling", lambda x, y: 2500 - 6 * x / 4000)
    x, y, z = one.survey.xyz()
    places = turned(np.column_stack([x, y]), 33)
    ceiling = replace(one, survey=make_survey(*places.T, z, surface="ceiling", accuracy=0.02, unit="mm"))
    walls = four_walls(turned([(4000, 0), (0, 0), (0, 3000), (4000, 3000)], 33))
    table = ceiling_lines(flatness.room_targets(room(ceiling, *walls, draws=10), setting_error=0.0, leave=False))
    assert table["from_wall"].unique().tolist() == ["south"]
    np.testing.assert_allclose(table["position_mm"], np.arange(0, 3001, 500), atol=0.5)
    np.testing.assert_allclose(table["most_shim_mm"], 6, atol=0.3)


def test_each_room_has_its_own_sheet(tmp_path):
    """Two rooms side by side: a sheet each, the second with the letters that the tables give its corners."""
    rooms = []
    for name, across in (("a", 0.0), ("b", 4000.0)):
        corners = [(x + across, y) for x, y in CORNERS]
        walls = four_walls(corners, [f"{side} {name}" for side in ("south", "west", "north", "east")], step=600)
        rooms += [replace(one, room=name) for one in walls]
    targets = flatness.room_targets(room(*rooms, draws=10), leave=False)
    written = write_room(targets.room, targets, tmp_path)
    assert [path.name for path in written if path.suffix == ".png"] == ["room-sheet-a.png", "room-sheet-b.png"]
    second = targets.only("b")
    words = [text.get_text() for text in room_sheet(second.room, second).axes[0].texts]
    assert {"E", "F", "G", "H", "west b"} <= set(words)
    assert not {"A", "west a"} & set(words)


def test_level_lines_over_200_ft_are_said_to_bend():
    """Just over 200 ft, and just under."""
    for length, is_said in ((204, True), (198, False)):
        floor = level_surface("floor", lambda x, y: 0 * x, length * FT, 12 * FT, step=6 * FT)
        assert ("curve of the earth" in " ".join(room_report(room(floor, draws=2)).split())) is is_said
