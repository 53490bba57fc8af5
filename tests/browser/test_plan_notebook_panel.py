"""The Plan panel as its notebook opens it in JupyterLab, with its plan worked out."""

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.usefixtures("coarse_lattice")


@pytest.fixture(scope="module")
def book(notebook):
    """The notebook, with all its cells run."""
    opened = notebook("notebooks/plan_corrections.ipynb")
    assert opened.run_all() == []
    return opened


@pytest.fixture
def panel(book, page):
    found = page.locator(".fk-panel")
    expect(found.locator(".fk-cards")).to_contain_text("Pour over all")
    return found


def test_the_notebook_runs_from_top_to_bottom_and_shows_its_map(book, panel, page, tools):
    tools.drawn(page, ".fk-map")
    kinds = int(book.ask("print(len(set(panel.found.actions[panel.found.actions >= 0].tolist())))"))
    assert kinds > 1
    expect(panel.locator(".fk-key img")).to_have_count(kinds)
    tools.pictures(page, ".fk-key img", kinds, 20)


def test_verdict_cards_map_and_knobs_are_seen_together(panel, page, tools):
    for width, height in ((1440, 900), (1280, 720)):
        page.set_viewport_size({"width": width, "height": height})
        assert panel.evaluate(tools.settled)
        panel.evaluate("e => e.scrollIntoView()")
        seen = [page.get_by_role("region", name=name, exact=True) for name in ("Verdict", "Map")]
        seen += [panel.get_by_role("button", name="Patches"), panel.get_by_label("What lies beneath")]
        for part in (*seen, panel.get_by_role("button", name="Work out the plan")):
            expect(part).to_have_count(1)
            expect(part).to_be_in_viewport(ratio=1)
        assert seen[1].bounding_box()["height"] > 0.4 * height
    expect(seen[0]).to_contain_text("if done as drawn")


def test_a_card_shows_its_way_on_the_map(panel, page, book):
    card = panel.get_by_role("button", name="Pour over all")
    card.focus()
    page.keyboard.press("Enter")
    expect(panel.get_by_role("button", name="Pour over all")).to_have_attribute("aria-pressed", "true")
    expect(page.get_by_role("region", name="Verdict")).to_contain_text("Pour over all of it")
    assert book.ask("print(panel.found.way, panel.state.current)") == "overlay True"
    panel.get_by_role("button", name="Patches").click()
    expect(panel.get_by_role("button", name="Patches")).to_have_attribute("aria-pressed", "true")


def test_it_is_whole_at_every_width(panel, page, tools):
    tools.drawn(page, ".fk-map")
    assert tools.looked_at(page, panel, "plan_least_work") == []
    for tab in ("What to do", "Notes", "More, files", "Ways"):
        panel.get_by_role("tab", name=tab).click()
        assert tools.looked_at(page, panel, f"plan_{tab.split()[0].lower().strip(',')}") == []
    panel.get_by_label("Bring patches to").select_option(label="Level, at the slider")
    expect(panel.locator(".fk-patches")).to_contain_text("Patches")
    assert tools.looked_at(page, panel, "plan_level") == []
    panel.get_by_label("Bring patches to").select_option(label="The least work")
    panel.get_by_label("Members").select_option(label="sawn joist")
    panel.get_by_role("button", name="Work out the plan").click()
    panel.get_by_role("button", name="All joists").click()
    expect(panel.locator(".fk-members")).to_contain_text("Members, in the order")
    assert tools.looked_at(page, panel, "plan_members") == []
