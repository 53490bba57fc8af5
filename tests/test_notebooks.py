"""Every notebook runs from top to bottom on the samples, and its numbers are right."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parents[1] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
# run after the last cell: what must be true of what the notebook left behind; the truth of the samples is in
# sample_surveys/README.md
ASSERTIONS = {
    "curves.ipynb": """
# the README: a flat of 10 in stands 8.7 mm inside the niche's arc, 16 in along; its radius is 36 1/2 in
assert abs(wall.curve.radius - 36.5 * 25.4) < 1e-6
placement, level = wall.worst(length)
assert abs(placement.at - 16 * 25.4) < 300 and 4 < placement.gap < 10
assert [name for name in wall.fairness(level).finding if name] == ["flat"]
# the pins stand sqrt(20^2 - 14^2) ft apart
assert abs(ellipse.pins_apart - 304.8 * 204 ** 0.5) < 1e-6
assert pattern.pdf.startswith(b"%PDF")
""",
    "compare_surveys.ipynb": """
assert panel.state.problems == ()
assert list(panel.found.verdicts.before) == ["fail", "fail"]
assert list(panel.found.verdicts.after) == ["pass", "pass"]
""",
    "by_hand.ipynb": """
# the README: the loft floor's true gap is 12.4 mm, readings good to 1/32 in on a 2 ft grid
assert checked.verdict == "fail"
ten_foot = checked.table.set_index("limit").loc["wood-glued-10ft"]
assert 9 < ten_foot.as_read_mm < 15
assert ten_foot.low_mm < 12.4 < ten_foot.high_mm + 1
assert ten_foot.allowed_mm == 4.7625
assert set(charts) == {"heights", "gap", "chance", "profile"}
# the README: 8.5 mm filled about (1.2 m, 1.2 m), 5.5 mm ground off about (3.9 m, 2.4 m); after minus before
at = lambda x, y: found.difference[abs(found.y - y).argmin(), abs(found.x - x).argmin()]
assert abs(at(1200, 1200) - 8.5) < 2
assert abs(at(3900, 2400) + 5.5) < 2
assert list(found.verdicts.before) == ["fail", "fail"]
assert list(found.verdicts.after) == ["pass", "pass"]
assert list(held.plan.status) == ["", "within tolerance", "within tolerance", "not touched"]
assert by_surface.alignment.offset_error < found.alignment.offset_error
assert len(made["inputs"]["before"]["sha256"]) == 64
""",
    "plan_corrections.ipynb": """
# the README: the ridge along the beam at y = 10 ft stands 8 mm proud, the dip by the stair is 7 mm deep
plan, ways_found = panel.found, panel.state.ways
patches = ways_found.of("patches")
at = lambda x, y: patches.change[abs(patches.y - y).argmin(), abs(patches.x - x).argmin()]
assert at(1219.2, 3048) < 0 < at(3048, 4572)
assert plan.way == ways_found.proposed and plan.passes
assert set(patches.patches["action"]) <= {"plane", "fill", "sister", "engineer"}
assert panel.state.problems == ()
""",
    "present_to_owner.ipynb": """
# the README: 8.5 mm filled about (1.2 m, 1.2 m), 5.5 mm ground off about (3.9 m, 2.4 m)
found, planned, after = panel.state.days
x, y, done = found.surface.x, found.surface.y, after.surface.height - found.surface.height
assert abs(done[abs(y - 1200).argmin(), abs(x - 1200).argmin()] - 8.5) < 1.5
assert abs(done[abs(y - 2400).argmin(), abs(x - 3900).argmin()] + 5.5) < 1.5
assert panel.state.problems == ()
""",
    "room.ipynb": """
assert panel.state.problems == ()
# the README: a corner out of square by 1/4 in in 6 ft
rows = panel.state.room.checks
corner = rows[(rows["what"] == "square") & rows["where"].str.contains("east wall and south wall")].iloc[0]
assert corner.low_mm < 6.35 < corner.high_mm
assert panel.state.targets is not None
""",
    "take_readings.ipynb": """
import flatness
# 14 ft by 20 ft every 2 ft: 8 by 11 stations
assert len(panel.state.taking.walk.stations) == 88
panel.reading.value = "41 3/8"
panel.next.click()
assert panel.state.problems == ()
assert [one.reading for one in panel.state.taking.readings] == [1050.925]  # 41 3/8 in of 25.4 mm
panel.close()
panel.state.path.unlink()
""",
    "check_floor.ipynb": """
assert panel.state.problems == ()
assert panel.found.verdict == "fail"
# the README: a true gap of 12.4 mm, readings good to 1/32 in on a 2 ft grid
ten_foot = panel.found.table.set_index("limit").loc["wood-glued-10ft"]
assert ten_foot.low_mm < 12.4 < ten_foot.high_mm + 1
""",
}


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_runs_and_its_numbers_are_right(path):
    book = nbformat.read(path, as_version=4)
    assert path.name in ASSERTIONS, "every notebook has its numbers asserted"
    book.cells.append(nbformat.v4.new_code_cell(ASSERTIONS[path.name]))
    NotebookClient(book, timeout=180, resources={"metadata": {"path": str(FOLDER)}}).execute()
    shown = [o.get("data", {}) for c in book.cells if c.cell_type == "code" for o in c.outputs]
    # a picture, or a panel that draws its own
    assert any("image/png" in data or "application/vnd.jupyter.widget-view+json" in data for data in shown)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_is_kept_without_outputs_and_without_functions(path):
    for cell in nbformat.read(path, as_version=4).cells:
        if cell.cell_type == "code":
            assert not cell.outputs
            assert cell.execution_count is None
            assert "def " not in cell.source
            assert len(cell.source.splitlines()) <= 12
