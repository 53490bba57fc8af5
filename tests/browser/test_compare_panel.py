"""The Compare panel in JupyterLab: two surveys chosen and uploaded, what changed read off, the record saved."""

import json
import re

import pytest
from playwright.sync_api import expect

import flatness
from flatness.comparison.reruns import rerun

pytestmark = pytest.mark.usefixtures("coarse_lattice")
WAIT = 90_000


@pytest.fixture(scope="module")
def book(notebook):
    """The notebook, with all its cells run."""
    opened = notebook("notebooks/compare_surveys.ipynb")
    assert opened.run_all() == []
    return opened


@pytest.fixture
def panel(book, page, tools):
    """A panel of the test's own, as the notebook opens it."""
    page.opened = book
    found = book.new_panel()
    expect(found.locator(".fk-changed")).to_contain_text("Change is shown", timeout=WAIT)
    tools.drawn(page, ".fk-change", 60)
    return found


def test_the_notebook_runs_from_top_to_bottom_and_shows_its_pictures(book, page, tools):
    assert tools.shows_its_pictures(page, 3)


def test_what_changed_is_read_and_the_record_saved(panel, page, tools, lab):
    before, after = (flatness.read_survey(tools.samples / f"glaze_store/{day}.csv") for day in ("before", "after"))
    found = flatness.compare(before, after, limits="wood-glued")
    rows = panel.locator(".fk-table tbody tr")
    for i, row in enumerate(found.verdicts.itertuples()):
        expect(rows.nth(i)).to_contain_text(f"turned: {row.before} to {row.after}")
    expect(panel.locator(".fk-aligned")).to_contain_text(found.alignment.rests_on)
    assert tools.looked_at(page, panel, "compare") == []

    canvas = page.locator(".fk-change canvas").last
    canvas.scroll_into_view_if_needed()
    x, y = json.loads(page.opened.ask(
        "import json\np = panel._ax.transData.transform((1200, 1200))\n"
        "print(json.dumps([p[0], panel.map.bbox.height - p[1]]))"
    ))  # fmt: skip
    canvas.hover(position={"x": round(x), "y": round(y)})
    here = panel.locator(".fk-here")
    expect(here).to_contain_text("added", timeout=WAIT)
    px, py = json.loads(page.opened.ask("import json\nprint(json.dumps(panel.state.pointer))"))
    j, i = abs(found.y - py).argmin(), abs(found.x - px).argmin()
    assert re.search(r"\+([\d.]+) mm", here.inner_text())[1] == f"{found.difference[j, i]:.1f}".removesuffix(".0")

    name = panel.get_by_label("Record (file name)")
    name.fill("glaze.json")
    name.press("Enter")
    written = lab.folder / "notebooks/glaze.json"
    assert not written.exists()
    panel.get_by_role("button", name="Save the record").click()
    expect(panel.locator(".fk-saved")).to_contain_text("glaze.json, glaze.txt", timeout=WAIT)
    assert rerun(written).differences == ()
    content = written.read_bytes()
    panel.get_by_role("button", name="Save the record").click()
    expect(panel.locator(".fk-problems")).to_contain_text("already", timeout=WAIT)
    assert written.read_bytes() == content
    for path in (written, written.with_suffix(".txt")):
        path.unlink()


def test_other_surveys_and_another_alignment(panel, page, tools):
    uploads = panel.get_by_role("button", name="Upload a file")
    tools.upload(page, uploads.nth(0), tools.samples / "loft_floor/before.csv")
    expect(panel.get_by_label("Before (CSV or XLSX file)")).to_have_value("before.csv (uploaded)", timeout=WAIT)
    tools.upload(page, uploads.nth(1), tools.samples / "loft_floor/after.csv")
    # both were read off one bracket and carry no benchmarks: the panel says that it cannot go by them
    expect(panel.locator(".fk-problems")).to_contain_text("benchmark", timeout=WAIT)
    expect(panel).to_contain_text("Loft floor, ridge planed and dip filled")
    expect(panel).not_to_contain_text("Glaze store")
    panel.get_by_label("Finish to come").select_option(label="(no finish: compare without verdicts)")
    panel.get_by_label("Datums aligned on").select_option(label="Nothing: one datum both times")
    expect(panel.locator(".fk-changed")).to_contain_text("Change is shown", timeout=WAIT)
    before, after = (flatness.read_survey(tools.samples / f"loft_floor/{day}.csv") for day in ("before", "after"))
    found = flatness.compare(before, after, align="none")
    expect(panel.locator(".fk-changed")).to_contain_text(f"{100 * found.share_changed:.0f} % of the area")
    expect(panel.locator(".fk-problems")).to_have_count(0)
    tools.drawn(page, ".fk-change", 60)
    assert tools.looked_at(page, panel, "compare_loft") == []
