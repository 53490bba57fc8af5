"""The Room panel in JupyterLab: the answer, a wall opened by a click, the room turned."""

import json

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.usefixtures("coarse_lattice")
MAP = '.fk-map:not([style*="none"])'  # the one in view


def test_a_wall_is_opened_by_a_click_and_the_room_turns(notebook, page, tools):
    book = notebook("notebooks/room.ipynb")
    assert book.run_all() == []
    panel = page.locator(".fk-panel").first
    expect(panel.locator(".fk-said")).to_contain_text("FAIL")
    canvas = panel.locator(f"{MAP} canvas")
    tools.drawn(page, MAP, 8)
    assert tools.looked_at(page, panel, "room") == []
    # where the middle of the west wall lies on the figure, in pixels from its upper left corner
    x, y, wide = json.loads(
        book.ask(
            "import json\np, box = panel.axes().transData.transform((-1500, 1800)), panel.map.bbox\n"
            "print(json.dumps([float(p[0]), float(box.height - p[1]), float(box.width)]))"
        )
    )
    scale = canvas.last.bounding_box()["width"] / wide
    canvas.last.click(position={"x": x * scale, "y": y * scale})
    expect(panel.get_by_role("combobox").first).to_have_value("west wall")
    panel.get_by_role("button", name="Turn").click()
    expect(panel.get_by_role("combobox").last).to_have_value("-60°")
    assert tools.looked_at(page, panel, "room_turn") == []
