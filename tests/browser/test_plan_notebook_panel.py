"""The Plan panel as its notebook opens it in JupyterLab, with its plan worked out."""

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.usefixtures("coarse_lattice")
WAIT = 120_000
LEVEL_AT = "A level plane at the height of the slider"


@pytest.fixture(scope="module")
def book(notebook):
    """The notebook, with all its cells run."""
    opened = notebook("notebooks/plan_corrections.ipynb")
    assert opened.run_all(timeout=2 * WAIT) == []
    return opened


@pytest.fixture
def panel(book, page):
    found = page.locator(".fk-panel")
    expect(found.locator(".fk-ways")).to_contain_text("Ways to do it", timeout=WAIT)
    return found


def test_the_notebook_runs_from_top_to_bottom_and_shows_its_pictures(book, page, tools):
    assert tools.shows_its_pictures(page, 2)


def test_it_is_whole_at_every_width(panel, page, tools):
    tools.drawn(page, ".fk-plan")
    assert tools.looked_at(page, panel, "plan_least_work") == []
    panel.get_by_label("Bring patches to").select_option(label=LEVEL_AT)
    expect(panel.locator(".fk-patches")).to_contain_text("Patches", timeout=WAIT)
    assert tools.looked_at(page, panel, "plan_level") == []
    panel.get_by_label("Members").select_option(label="sawn joist")
    panel.get_by_label("Way", exact=True).select_option(label="All members")
    panel.get_by_role("button", name="Work out the plan").click()
    expect(panel.locator(".fk-members")).to_contain_text("Members, in the order", timeout=WAIT)
    assert tools.looked_at(page, panel, "plan_members") == []
