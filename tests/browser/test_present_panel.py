"""What the owner of a room is shown, in JupyterLab and as a page without code: a project manager presents it."""

import importlib.util
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread
from playwright.sync_api import expect

from served import Served

pytestmark = pytest.mark.usefixtures("coarse_lattice")
WAIT = 150_000
PROJECTOR = {"width": 1920, "height": 1080}
WIDTHS = {768: 1024, 1024: 768, 1440: 900, 1920: 1080}  # a tablet held upright and across, a laptop, a projector
ASKED = ("Where it stood", "What was planned", "What was done", "What it is like now")


class Page(Served):
    """The notebook for the owner served as a page without code, on loopback."""

    def __init__(self, folder):
        super().__init__(folder)
        self.written = folder / "notebooks"
        notebook = str(self.written / "present_to_owner.ipynb")
        self.start(
            ["-m", "flatness", "present", notebook, "--no-browser", f"--port={self.port}"], "/voila/static/nothing"
        )


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    if importlib.util.find_spec("voila") is None:
        pytest.skip("voila, of the present extra, is not installed")
    served = Page(tmp_path_factory.mktemp("page"))
    yield served
    served.stop()


@pytest.fixture(scope="module")
def opened(server, context):
    """The page of the owner, opened once."""
    page = context.new_page()
    page.errors = []
    page.on("pageerror", lambda error: page.errors.append(str(error)))
    page.set_viewport_size(PROJECTOR)
    page.goto(server.url, wait_until="commit", timeout=WAIT)
    wait_for(page)
    yield page
    page.close()


@pytest.fixture
def shown(opened):
    """The page of the owner on a projector."""
    opened.errors.clear()
    opened.set_viewport_size(PROJECTOR)
    opened.bring_to_front()
    yield opened
    assert opened.errors == []


@pytest.fixture(scope="module")
def book(notebook):
    """The notebook, with all its cells run."""
    ran = notebook("notebooks/present_to_owner.ipynb")
    assert ran.run_all() == []
    return ran


def wait_for(page):
    panel = page.locator(".fk-present")
    expect(panel.locator("h2")).to_contain_text("Glaze store", timeout=WAIT)
    expect(panel.locator(".fk-stage img:visible").first).to_be_visible(timeout=WAIT)
    return panel


def choose(panel, name):
    panel.get_by_role("button", name=name, exact=True).click()
    expect(panel.get_by_role("button", name=name, exact=True)).to_have_class(re.compile("mod-active"))


def source(panel):
    return panel.locator(".fk-stage img:visible").first.get_attribute("src")


def visible_pictures(panel, count):
    expect(panel.locator(".fk-stage img:visible")).to_have_count(count, timeout=WAIT)


def where(panel):
    """Line and handle across the window [px], and the boxes of both pictures."""
    return panel.evaluate(
        """panel => { const box = e => { const r = e.getBoundingClientRect();
        return [r.left, r.top, r.width, r.height]; };
        const middle = e => { const r = e.getBoundingClientRect(); return r.left + r.width / 2; };
        return {line: middle(panel.querySelector('.fk-line i')), handle: middle(panel.querySelector('.noUi-handle')),
        boxes: [...panel.querySelectorAll('.fk-stage img')].filter(e => e.offsetWidth).map(box)}; }"""
    )


# the upper picture ends where the handle stands: the kernel has answered
ANSWERED = """() => { const over = document.querySelector('.fk-over'), r = over.getBoundingClientRect();
const cut = parseFloat(getComputedStyle(over).clipPath.match(/([\\d.]+)%/)?.[1] ?? 0) / 100;
const h = document.querySelector('.fk-slide .noUi-handle').getBoundingClientRect();
return Math.abs(r.right - cut * r.width - (h.left + h.width / 2)) < 3; }"""


def wipe_to(panel, page, keys, value):
    handle = panel.locator(".fk-slide .noUi-handle")
    handle.focus()
    for key in keys:
        page.keyboard.press(key)
    expect(handle).to_have_attribute("aria-valuenow", re.compile(rf"^{value}(\.0)?$"), timeout=WAIT)
    page.wait_for_function(ANSWERED, timeout=WAIT)
    return panel.locator(".fk-over").evaluate("e => getComputedStyle(e).clipPath")


def present(panel, page, folder):
    """What a project manager does before the owner's eyes."""
    for asked in ASKED:
        expect(panel.locator(".fk-plain")).to_contain_text(asked)
    expect(panel.locator(".fk-plain")).to_contain_text("not flat enough")
    expect(panel.locator(".fk-problems")).to_have_count(0)
    seen = [source(panel)]
    for name in ("As planned", "After the work"):
        choose(panel, name)
        expect(panel.locator(".fk-stage img:visible").first).not_to_have_attribute("src", seen[-1], timeout=WAIT)
        visible_pictures(panel, 1)
        seen.append(source(panel))
    choose(panel, "Side by side")
    visible_pictures(panel, 3)
    boxes = panel.evaluate("p => [...p.querySelectorAll('.fk-stage img')].map(e => [e.offsetWidth, e.offsetHeight])")
    assert boxes[0] == boxes[1] == boxes[2]

    choose(panel, "Wipe")
    visible_pictures(panel, 2)
    first = wipe_to(panel, page, ["ArrowRight"] * 5, 55)
    assert wipe_to(panel, page, ["ArrowLeft"] * 10, 45) != first
    found = where(panel)
    assert found["boxes"][0] == pytest.approx(found["boxes"][1], abs=0.02)  # one lies on the other
    assert found["line"] == pytest.approx(found["handle"], abs=3)
    expect(panel.locator(".fk-colours")).to_contain_text("Left of the line: after the work, 2026-03-17")

    panel.get_by_label("Left of the line").select_option(label="As planned")
    expect(panel.locator(".fk-colours")).to_contain_text("Left of the line: as planned, not measured", timeout=WAIT)

    panel.get_by_label("Picture (file name)").fill("wiped.png")
    page.keyboard.press("Enter")
    panel.get_by_role("button", name="Save the picture").click()
    saved = panel.locator(".fk-saved")
    expect(saved).to_contain_text("Written: wiped.png", timeout=WAIT)
    data = (folder / "wiped.png").read_bytes()
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    with page.expect_download() as download:
        saved.get_by_role("link").click()
    assert Path(download.value.path()).read_bytes() == data
    panel.get_by_role("button", name="Save the owner's page").focus()
    page.keyboard.press("Enter")
    expect(saved).to_contain_text("Written: owner.pdf", timeout=WAIT)
    assert (folder / "owner.pdf").read_bytes().startswith(b"%PDF-")

    expect(panel.locator(".fk-plain")).not_to_contain_text("square feet")
    panel.get_by_role("button", name="Feet, inches and fractions").click()
    expect(panel.locator(".fk-plain")).to_contain_text("square feet", timeout=WAIT)
    assert not re.search(r"\d mm|square metres", panel.locator(".fk-plain").inner_text())
    panel.get_by_role("button", name="Millimetres").click()
    expect(panel.locator(".fk-plain")).to_contain_text("square metres", timeout=WAIT)


def look_at_all(panel, page, tools, name, settings=WIDTHS):
    faults = []
    for view in ("As planned", "Side by side", "Wipe"):
        choose(panel, view)
        visible_pictures(panel, {"As planned": 1, "Side by side": 3, "Wipe": 2}[view])
        faults += tools.looked_at(page, panel, f"{name}_{view.split()[-1].lower()}", WIDTHS)
    panel.get_by_role("button", name="Files and settings").click()
    expect(panel.get_by_label("Finish to come")).to_be_visible()
    faults += tools.looked_at(page, panel, f"{name}_settings", settings, ".fk-save")
    panel.get_by_role("button", name="Files and settings").click()
    return faults


def test_the_notebook_runs_from_top_to_bottom_and_shows_its_pictures(book, page, tools):
    wait_for(page)
    assert tools.shows_its_pictures(page, 1)


def test_presented_in_jupyterlab(book, page, lab, tools):
    panel = wait_for(page)
    present(panel, page, lab.folder / "notebooks")
    # beside JupyterLab's own side bar a tablet held upright has no room for the name of a finish; its page has
    settings = {width: height for width, height in WIDTHS.items() if width > 768}
    faults = look_at_all(panel, page, tools, "present_lab", settings)
    assert faults == [], "\n".join(faults)


def test_wipes_leave_nothing_behind(book, page):
    """Not in the browser, and no widgets; what 300 of them do to the kernel is tested without a browser."""
    panel = wait_for(page)
    choose(panel, "Wipe")
    visible_pictures(panel, 2)
    count = "import json\nfrom ipywidgets.widgets.widget import _instances\n"
    count += "print(json.dumps([len(_instances), panel.state.wipe]))"
    nodes = "() => document.querySelectorAll('.fk-panel *').length"
    wipe_to(panel, page, ["Home", *["PageUp"] * 10, *["ArrowLeft", "ArrowRight"] * 3], 50)  # what the first ones set up
    before, parts = json.loads(book.ask(count)), page.evaluate(nodes)
    wipe_to(panel, page, ["ArrowRight"] * 20 + ["ArrowLeft"] * 20, 50)
    after = json.loads(book.ask(count))
    assert after == [before[0], 50]
    assert page.evaluate(nodes) == parts


def test_presented_as_a_page_without_code(shown, server, tools):
    assert shown.get_by_text("present_panel").count() == 0
    assert shown.get_by_text("import").count() == 0
    panel = wait_for(shown)
    present(panel, shown, server.written)
    faults = look_at_all(panel, shown, tools, "present_page")
    assert faults == [], "\n".join(faults)


def test_a_projector_shows_picture_and_sentences_without_scrolling(shown, tools):
    panel = wait_for(shown)
    for view in ("As found", "Wipe"):
        choose(panel, view)
        visible_pictures(panel, 2 if view == "Wipe" else 1)
        assert panel.evaluate(tools.settled)
        parts = [panel.locator(".fk-plain"), panel.locator(".fk-stage"), panel.locator(".fk-slide .noUi-handle")]
        for part in parts[: 3 if view == "Wipe" else 2]:
            box = part.bounding_box()
            assert box["y"] >= 0
            assert box["y"] + box["height"] <= 1080
            assert box["x"] + box["width"] <= 1920
    assert panel.locator(".fk-stage").bounding_box()["height"] > 0.7 * 1080


def test_the_page_shows_each_side_where_the_line_says(shown):
    """Left of the line the page is, pixel for pixel, what it is with the line at the right end; right likewise."""
    panel = wait_for(shown)
    choose(panel, "Wipe")
    visible_pictures(panel, 2)

    def taken():
        return imread(io.BytesIO(panel.locator(".fk-stage").screenshot()), format="png")[..., :3]

    wipe_to(panel, shown, ["Home"], 0)
    right_only = taken()
    wipe_to(panel, shown, ["End"], 100)
    left_only = taken()
    wipe_to(panel, shown, ["PageDown"] * 12, 40)
    both = taken()
    line = round(where(panel)["line"] - panel.locator(".fk-stage").bounding_box()["x"])
    assert not np.array_equal(left_only, right_only)
    # 6 px for the line, its white border, and the pixel that it shares
    assert np.abs(both[:, : line - 6] - left_only[:, : line - 6]).max() < 0.02
    assert np.abs(both[:, line + 6 :] - right_only[:, line + 6 :]).max() < 0.02
