"""What the owner of a room is shown, in JupyterLab and as a page without code: a project manager presents it."""

import importlib.util
import io
import json
import os
import re
from pathlib import Path

import numpy as np
import pytest
from matplotlib.image import imread
from playwright.sync_api import expect

from served import Served

ROOT = Path(__file__).parents[2]
WAIT = 150_000
WIDTHS = {768: 1024, 1024: 768, 1440: 900, 1920: 1080}  # a tablet held upright and across, a laptop, a projector
GROWTH_MB = 15  # of the kernel over 300 wipes
ASKED = ("Where it stood", "What was planned", "What was done", "What it is like now")
# runs over, cut, on each other, or too low in contrast (WCAG 2.1: 1.4.3); and whether the page scrolls sideways
FAULTS = """panel => { const faults = [], box = panel.getBoundingClientRect(), seen = e => {
  const r = e.getBoundingClientRect(); return r.width > 0 && r.height > 0 && getComputedStyle(e).opacity > 0; };
const say = e => (e.textContent || e.className || e.tagName).trim().slice(0, 40);
for (const e of panel.querySelectorAll('*')) if (seen(e) && e.getBoundingClientRect().right > box.right + 1)
  faults.push('runs over: ' + say(e));
for (const e of panel.querySelectorAll('label, button, select, p, h2, .widget-html-content'))
  if (seen(e) && e.scrollWidth > e.clientWidth + 2 && getComputedStyle(e).display !== 'inline')
    faults.push('cut: ' + say(e));
const things = [...panel.querySelectorAll('select, input[type=text], button, label, p, h2, .fk-stage, .noUi-handle')]
  .filter(seen);
for (let i = 0; i < things.length; i++) for (let j = i + 1; j < things.length; j++) {
  const [a, b] = [things[i], things[j]]; if (a.contains(b) || b.contains(a)) continue;
  const [p, q] = [a.getBoundingClientRect(), b.getBoundingClientRect()];
  if (Math.min(p.right, q.right) - Math.max(p.left, q.left) > 1.5 &&
    Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 1.5) faults.push('overlap: ' + say(a) + ' / ' + say(b)); }
const light = c => { const v = c.match(/[\\d.]+/g).slice(0, 3).map(x => x / 255)
  .map(x => x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4); return 0.2126*v[0] + 0.7152*v[1] + 0.0722*v[2]; };
const paper = e => { for (; e; e = e.parentElement) { const b = getComputedStyle(e).backgroundColor;
  if (!/, 0\\)$|transparent/.test(b)) return b; } return 'rgb(255,255,255)'; };
for (const e of panel.querySelectorAll('*')) if (seen(e) && [...e.childNodes].some(
    n => n.nodeType === 3 && n.textContent.trim())) {
  const [a, b] = [light(getComputedStyle(e).color), light(paper(e))].sort((x, y) => y - x);
  if ((a + 0.05) / (b + 0.05) < 4.5) faults.push('pale: ' + say(e)); }
for (let e = panel; e; e = e.parentElement) if (e.scrollWidth > e.clientWidth + 1 &&
    /auto|scroll/.test(getComputedStyle(e).overflowX)) faults.push('scrolls sideways: ' + e.className);
if (document.documentElement.scrollWidth > document.documentElement.clientWidth) faults.push('page scrolls sideways');
return faults; }"""


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


@pytest.fixture
def shown(server, page):
    """The page of the owner, and the folder that it writes into."""
    page.set_viewport_size({"width": 1920, "height": 1080})
    page.goto(server.url, wait_until="commit", timeout=WAIT)
    return wait_for(page), server.written


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


def wipe_to(panel, page, keys, value):
    handle = panel.locator(".fk-slide .noUi-handle")
    handle.focus()
    for key in keys:
        page.keyboard.press(key)
    expect(handle).to_have_attribute("aria-valuenow", re.compile(rf"^{value}(\.0)?$"), timeout=WAIT)
    inset = panel.locator(".fk-over")
    page.wait_for_timeout(400)  # the kernel answers
    return inset.evaluate("e => getComputedStyle(e).clipPath")


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
    assert page.errors == []


def look(panel, page, name, part=None):
    """Pictures for a person to look at, and what a machine sees wrong, at every width."""
    faults, shots = [], Path(os.environ.get("FLATNESS_SHOTS", ROOT / "shots"))
    shots.mkdir(exist_ok=True)
    for width, height in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(500)
        (panel if part is None else panel.locator(part)).evaluate("e => e.scrollIntoView()")
        page.wait_for_timeout(200)
        faults += [f"{name} {width}: {fault}" for fault in panel.evaluate(FAULTS)]
        page.screenshot(path=shots / f"{name}_{width}.png")
    return faults


def look_at_all(panel, page, name):
    faults = []
    for view in ("As planned", "Side by side", "Wipe"):
        choose(panel, view)
        visible_pictures(panel, {"As planned": 1, "Side by side": 3, "Wipe": 2}[view])
        faults += look(panel, page, f"{name}_{view.split()[-1].lower()}")
    panel.get_by_role("button", name="Files and settings").click()
    expect(panel.get_by_label("Finish to come")).to_be_visible()
    faults += look(panel, page, f"{name}_settings", ".fk-save")
    panel.get_by_role("button", name="Files and settings").click()
    return faults


def test_presented_in_jupyterlab(notebook, page, lab):
    opened = notebook("notebooks/present_to_owner.ipynb")
    assert opened.run_all() == []
    panel = wait_for(page)
    present(panel, page, lab.folder / "notebooks")
    faults = look_at_all(panel, page, "present_lab")
    assert faults == [], "\n".join(faults)
    untold = panel.evaluate(
        """panel => [...panel.querySelectorAll('select, input:not([type=file]), button, .widget-slider')].filter(
        e => ![e, e.labels?.[0], e.querySelector('[title]'), e.labels?.[0]?.querySelector('[title]')].some(
        one => one?.title)).map(e => e.outerHTML.slice(0, 80))"""
    )
    assert untold == []


def test_presented_as_a_page_without_code(shown, page):
    panel, folder = shown
    assert page.get_by_text("present_panel").count() == 0
    assert page.get_by_text("import").count() == 0
    present(panel, page, folder)
    faults = look_at_all(panel, page, "present_page")
    assert faults == [], "\n".join(faults)


def test_a_projector_shows_picture_and_sentences_without_scrolling(shown, page):
    panel, _ = shown
    for view in ("As found", "Wipe"):
        choose(panel, view)
        visible_pictures(panel, 2 if view == "Wipe" else 1)
        page.wait_for_timeout(300)
        parts = [panel.locator(".fk-plain"), panel.locator(".fk-stage"), panel.locator(".fk-slide .noUi-handle")]
        for part in parts[: 3 if view == "Wipe" else 2]:
            box = part.bounding_box()
            assert box["y"] >= 0
            assert box["y"] + box["height"] <= 1080
            assert box["x"] + box["width"] <= 1920
    assert panel.locator(".fk-stage").bounding_box()["height"] > 0.7 * 1080
    assert page.errors == []


def test_the_page_shows_each_side_where_the_line_says(shown, page):
    """Left of the line the page is, pixel for pixel, what it is with the line at the right end; right likewise."""
    panel, _ = shown
    choose(panel, "Wipe")
    visible_pictures(panel, 2)

    def taken():
        page.wait_for_timeout(300)
        return imread(io.BytesIO(panel.locator(".fk-stage").screenshot()), format="png")[..., :3]

    wipe_to(panel, page, ["Home"], 0)
    right_only = taken()
    wipe_to(panel, page, ["End"], 100)
    left_only = taken()
    wipe_to(panel, page, ["PageDown"] * 12, 40)
    both = taken()
    line = round(where(panel)["line"] - panel.locator(".fk-stage").bounding_box()["x"])
    assert not np.array_equal(left_only, right_only)
    # 6 px for the line, its white border, and the pixel that it shares
    assert np.abs(both[:, : line - 6] - left_only[:, : line - 6]).max() < 0.02
    assert np.abs(both[:, line + 6 :] - right_only[:, line + 6 :]).max() < 0.02


def test_300_wipes_leave_nothing_behind(notebook, page):
    opened = notebook("notebooks/present_to_owner.ipynb")
    assert opened.run_all() == []
    panel = wait_for(page)
    choose(panel, "Wipe")
    visible_pictures(panel, 2)
    count = """
import gc, json
from ipywidgets.widgets.widget import _instances
from matplotlib.figure import Figure
gc.collect()
rss = int(open("/proc/self/statm").read().split()[1]) * 4096 / 1e6
print(json.dumps([len(_instances), sum(isinstance(o, Figure) for o in gc.get_objects()), rss, panel.state.wipe]))
"""
    nodes = "() => document.querySelectorAll('*').length"
    handle = panel.locator(".fk-slide .noUi-handle")
    handle.focus()
    for key in ["ArrowRight"] * 10 + ["ArrowLeft"] * 10:  # what the first ones set up
        page.keyboard.press(key)
    page.wait_for_timeout(500)
    before, parts = json.loads(opened.ask(count)), page.evaluate(nodes)
    for i in range(300):
        page.keyboard.press("ArrowRight" if i // 50 % 2 == 0 else "ArrowLeft")
    expect(handle).to_have_attribute("aria-valuenow", re.compile(r"^50(\.0)?$"), timeout=WAIT)
    page.wait_for_timeout(500)
    after = json.loads(opened.ask(count))
    assert after[:2] == before[:2]
    assert after[2] - before[2] < GROWTH_MB
    assert after[3] == 50
    assert page.evaluate(nodes) == parts
    assert page.errors == []
