"""What the owner of a room is shown, in JupyterLab and as a page without code: a project manager presents it."""

import importlib.util
import re
import secrets
from pathlib import Path

import pytest
from playwright.sync_api import expect

from served import Served

pytestmark = pytest.mark.usefixtures("coarse_lattice")
PROJECTOR = {"width": 1920, "height": 1080}
WIDTHS = {768: 1024, 1024: 768, 1440: 900, 1920: 1080}  # a tablet held upright and across, a laptop, a projector
ASKED = ("Where it stood", "What was planned", "What was done", "What it is like now")


class Page(Served):
    """The notebook for the owner served as a page without code, on loopback."""

    def __init__(self, folder):
        super().__init__(folder)
        self.written = folder / "notebooks"
        notebook = str(self.written / "present_to_owner.ipynb")
        self.env["JUPYTER_TOKEN"] = self.token = secrets.token_hex(8)
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
    page.goto(f"{server.url}/?token={server.token}", wait_until="commit")
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
    expect(panel.locator("h2")).to_contain_text("Glaze store")
    expect(panel.locator(".fk-stage figure img:visible").first).to_be_visible()
    return panel


def choose(panel, name):
    panel.get_by_role("button", name=name, exact=True).click()
    expect(panel.get_by_role("button", name=name, exact=True)).to_have_class(re.compile("mod-active"))


def source(panel):
    return panel.locator(".fk-stage figure img:visible").first.get_attribute("src")


def visible_pictures(panel, count):
    expect(panel.locator(".fk-stage figure img:visible")).to_have_count(count)


def present(panel, page, folder):
    """What a project manager does before the owner's eyes."""
    answer = page.get_by_role("region", name="Verdict", exact=True)
    expect(answer).to_have_count(1)
    expect(answer).to_contain_text("YES")
    expect(answer).to_contain_text("The floor is flat enough for oak, glued down.")
    expect(page.get_by_role("region", name="Map", exact=True)).to_have_count(1)
    choose(panel, "As found")
    expect(panel.locator(".fk-problems")).to_have_count(0)
    visible_pictures(panel, 1)
    seen = [source(panel)]
    for name in ("As planned", "After the work"):
        choose(panel, name)
        expect(panel.locator(".fk-stage figure img:visible").first).not_to_have_attribute("src", seen[-1])
        visible_pictures(panel, 1)
        seen.append(source(panel))
    choose(panel, "Side by side")
    visible_pictures(panel, 3)
    page.wait_for_function(
        """() => { const size = e => e.offsetWidth + ' x ' + e.offsetHeight;
        const all = [...document.querySelectorAll('.fk-present .fk-stage figure img')].map(size);
        return all.length === 3 && new Set(all).size === 1; }"""
    )

    choose(panel, "As planned")
    panel.get_by_role("button", name="After the work, large").click()  # the small picture of that day
    expect(panel.get_by_role("button", name="After the work", exact=True)).to_have_class(re.compile("mod-active"))
    choose(panel, "Numbers")
    for asked in ASKED:
        expect(panel.locator(".fk-plain")).to_contain_text(asked)
    expect(panel.locator(".fk-plain")).to_contain_text("not flat enough")

    panel.get_by_role("button", name="Files and settings").click()
    panel.get_by_label("Picture (file name)").fill("shown.png")
    page.keyboard.press("Enter")
    panel.get_by_role("button", name="Save the picture").click()
    saved = panel.locator(".fk-saved")
    expect(saved).to_contain_text("Written: shown.png")
    data = (folder / "shown.png").read_bytes()
    assert data.startswith(b"\x89PNG\r\n\x1a\n")
    with page.expect_download() as download:
        saved.get_by_role("link").click()
    assert Path(download.value.path()).read_bytes() == data
    panel.get_by_role("button", name="Save the owner's page").focus()
    page.keyboard.press("Enter")
    expect(saved).to_contain_text("Written: owner.pdf")
    assert (folder / "owner.pdf").read_bytes().startswith(b"%PDF-")

    expect(panel.locator(".fk-plain")).not_to_contain_text("square feet")
    panel.get_by_role("button", name="ft, in", exact=True).click()
    expect(panel.locator(".fk-plain")).to_contain_text("square feet")
    assert not re.search(r"\d mm|square meters", panel.locator(".fk-plain").inner_text())
    panel.get_by_role("button", name="mm", exact=True).click()
    expect(panel.locator(".fk-plain")).to_contain_text("square meters")
    panel.get_by_role("button", name="Files and settings").click()


def look_at_all(panel, page, tools, name, settings=WIDTHS):
    faults = []
    for view in ("As planned", "Side by side", "Numbers"):
        choose(panel, view)
        visible_pictures(panel, 1 if view == "As planned" else 3)
        faults += tools.looked_at(page, panel, f"{name}_{view.split()[-1].lower()}", WIDTHS)
    panel.get_by_role("button", name="Files and settings").click()
    expect(panel.get_by_label("Finish")).to_be_visible()
    faults += tools.looked_at(page, panel, f"{name}_settings", settings, ".fk-files")
    panel.get_by_role("button", name="Files and settings").click()
    return faults


def test_the_notebook_runs_from_top_to_bottom_and_shows_its_pictures(book, page, tools):
    wait_for(page)
    tools.pictures(page, ".jp-OutputArea .fk-stage figure img", 1, 400)


def test_presented_in_jupyterlab(book, page, lab, tools):
    panel = wait_for(page)
    present(panel, page, lab.folder / "notebooks")
    # beside JupyterLab's own side bar a tablet held upright has no room for the name of a finish; its page has
    settings = {width: height for width, height in WIDTHS.items() if width > 768}
    faults = look_at_all(panel, page, tools, "present_lab", settings)
    assert faults == [], "\n".join(faults)


def test_presented_as_a_page_without_code(shown, server, tools):
    assert shown.get_by_text("present_panel").count() == 0
    assert shown.get_by_text("import").count() == 0
    panel = wait_for(shown)
    present(panel, shown, server.written)
    faults = look_at_all(panel, shown, tools, "present_page")
    assert faults == [], "\n".join(faults)


def test_the_answer_and_the_picture_are_seen_without_scrolling(shown, tools):
    panel = wait_for(shown)
    choose(panel, "After the work")
    for width, height in ((1920, 1080), (1440, 900), (1280, 720)):
        shown.set_viewport_size({"width": width, "height": height})
        visible_pictures(panel, 1)
        assert panel.evaluate(tools.settled)
        for name in ("Verdict", "Map"):
            region = shown.get_by_role("region", name=name, exact=True)
            expect(region).to_be_in_viewport(ratio=1)
        assert region.bounding_box()["height"] > 0.5 * height
