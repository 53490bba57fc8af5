"""The Room panel in JupyterLab: the answer, a wall opened by a click, the room turned."""

import json

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.usefixtures("coarse_lattice")
WAIT = 120_000
WIDE = {1024: 1900, 1440: 1900, 1920: 1900}


def test_a_wall_is_opened_by_a_click_and_the_room_turns(notebook, page, tools):
    book = notebook("notebooks/room.ipynb")
    assert book.run_all() == []
    panel = page.locator(".fk-panel").first
    expect(panel.locator(".fk-said")).to_contain_text("FAIL", timeout=WAIT)
    canvas = panel.locator(".fk-canvas canvas")
    tools.drawn(page, ".fk-canvas", 8)
    for width, high in WIDE.items():
        page.set_viewport_size({"width": width, "height": high})
        assert panel.evaluate(tools.settled)
        page.wait_for_timeout(400)  # until the map's room is measured
        book.ask("print(panel.room.value)")  # the kernel has drawn it then
        tools.drawn(page, ".fk-canvas", 8)
        assert tools.looked_at(page, panel, "room", {width: high}) == []
        wide = float(book.ask("print(panel.map.bbox.width)"))
        assert abs(canvas.last.bounding_box()["width"] - wide) < 2
    # where the middle of the west wall lies on the figure, in pixels from its upper left corner
    x, y = json.loads(
        book.ask(
            "import json\np = panel.map.axes[0].transData.transform((-1500, 1800))\n"
            "print(json.dumps([float(p[0]), float(panel.map.bbox.height - p[1])]))"
        )
    )
    size = canvas.last.bounding_box()
    wide = float(book.ask("print(panel.map.bbox.width)"))
    scale = size["width"] / wide
    canvas.last.click(position={"x": x * scale, "y": y * scale})
    expect(panel.get_by_role("combobox").first).to_have_value("west wall", timeout=WAIT)
    panel.get_by_role("button", name="Turn").click()
    expect(panel.get_by_role("combobox").last).to_have_value("-60°", timeout=WAIT)
    assert tools.looked_at(page, panel, "room_turn", WIDE) == []
