"""The Compare panel in JupyterLab: two surveys chosen and uploaded, what changed read off, the record saved."""

import json
import re

import pytest
from playwright.sync_api import expect

import flatness
from flatness.comparison.records import rerun

pytestmark = pytest.mark.usefixtures("coarse_lattice")
MAP = '.fk-map:not([style*="none"])'  # the one in view


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
    expect(found.locator(".fk-changed")).to_contain_text("Change is shown")
    tools.drawn(page, MAP, 60)
    return found


def test_run_all_lands_on_the_panel(book, page, tools):
    page.set_viewport_size({"width": 1440, "height": 900})
    assert book.run_all() == []
    expect(page.locator(".fk-said")).to_contain_text("PASS")
    assert page.locator(".fk-panel").evaluate(tools.settled)
    for name in ("Verdict", "Map"):
        expect(page.get_by_role("region", name=name)).to_have_count(1)
        expect(page.get_by_role("region", name=name)).to_be_in_viewport(ratio=1)


def test_what_a_bar_showed_after_the_work_counts(panel, page):
    panel.get_by_role("tab", name="Bar").click()
    fields = panel.get_by_label(re.compile(r"^Gap \d"))
    count = int(page.opened.ask("print(len(panel.state.strips[1]))"))
    assert count > 0
    expect(fields.filter(visible=True)).to_have_count(count)
    for field in fields.all():
        field.fill("none")
        field.press("Enter")
    panel.get_by_role("button", name="Check after again with these").click()
    page.wait_for_function("() => document.querySelector('.fk-working')?.style.display === 'none'")
    days = page.opened.ask("print([one.between for one in panel.found.assessments])")
    assert "'spot-checked']" in days


def test_what_changed_is_read_and_the_record_saved(panel, page, tools, lab):
    before, after = (flatness.read_survey(tools.samples / f"glaze_store/{day}.csv") for day in ("before", "after"))
    found = flatness.compare(before, after, limits="wood-glued")
    rows = panel.locator(".fk-table tbody tr")
    for i, row in enumerate(found.verdicts.itertuples()):
        expect(rows.nth(i)).to_contain_text(f"turned: {row.before} to {row.after}")
    expect(panel.locator(".fk-aligned")).to_contain_text(found.alignment.rests_on)
    assert tools.looked_at(page, panel, "compare") == []

    canvas = page.locator(f"{MAP} canvas").last
    canvas.scroll_into_view_if_needed()
    place = None
    for turn in range(tools.patience // 250):  # the canvas may still be on its way to its new size
        x, y = json.loads(
            page.opened.ask(
                "import json\np = panel.axes().transData.transform((1200, 1200))\n"
                "print(json.dumps([p[0], panel.map.bbox.height - p[1]]))"
            )
        )
        canvas.hover(position={"x": round(x) + turn % 2, "y": round(y)})
        page.wait_for_timeout(250)
        place = json.loads(page.opened.ask("import json\nprint(json.dumps(panel.state.pointer))"))
        if place is not None:
            break
    px, py = place
    j, i = abs(found.y - py).argmin(), abs(found.x - px).argmin()
    added = f"{found.difference[j, i]:.1f}".removesuffix(".0")
    expect(panel.locator(".fk-here")).to_contain_text(re.compile(rf"\+{re.escape(added)} mm"))

    panel.get_by_role("tab", name="Settings").click()
    name = panel.get_by_label("Record (file name)")
    name.fill("glaze.json")
    name.press("Enter")
    written = lab.folder / "notebooks/glaze.json"
    assert not written.exists()
    panel.get_by_role("button", name="Save the record").click()
    expect(panel.locator(".fk-saved")).to_contain_text("glaze.json, glaze.txt")
    assert rerun(written).differences == ()
    content = written.read_bytes()
    panel.get_by_role("button", name="Save the record").click()
    expect(panel.locator(".fk-problems")).to_contain_text("already")
    assert written.read_bytes() == content
    for path in (written, written.with_suffix(".txt")):
        path.unlink()


def test_other_surveys_and_another_alignment(panel, page, tools):
    uploads = panel.get_by_role("button", name="Upload")
    tools.upload(page, uploads.nth(0), tools.samples / "loft_floor/before.csv")
    expect(panel.get_by_label("Before", exact=True)).to_have_value("before.csv (uploaded)")
    tools.upload(page, uploads.nth(1), tools.samples / "loft_floor/after.csv")
    # both were read off one bracket and carry no benchmarks: the panel says that it cannot go by them
    expect(panel.locator(".fk-problems")).to_contain_text("benchmark")
    expect(panel).to_contain_text("Loft floor, ridge planed and dip filled")
    expect(panel).not_to_contain_text("Glaze store")
    panel.get_by_label("Finish", exact=True).select_option(label="(no finish: compare without verdicts)")
    panel.get_by_role("tab", name="Settings").click()
    panel.get_by_label("Datums aligned on").select_option(label="Nothing: one datum both times")
    expect(panel.locator(".fk-changed")).to_contain_text("Change is shown")
    before, after = (flatness.read_survey(tools.samples / f"loft_floor/{day}.csv") for day in ("before", "after"))
    found = flatness.compare(before, after, align="none")
    expect(panel.locator(".fk-changed")).to_contain_text(f"{100 * found.share_changed:.0f} % of the area")
    expect(panel.locator(".fk-problems")).to_have_count(0)
    tools.drawn(page, MAP, 60)
    assert tools.looked_at(page, panel, "compare_loft") == []


def test_a_plan_is_chosen_by_mouse_and_the_work_held_against_it(panel, page, tools, tmp_path):
    # sample_surveys/README.md: a dip filled by 8.5 mm at (1.2 m, 1.2 m); 6 mm more were to go on elsewhere
    x, y = [150.0 * k for k in range(33)], [150.0 * k for k in range(25)]
    whole = {"plan": "flatness plan", "form": 1, "title": "Glaze store", "surface": "floor", "strategy": ""}
    patches = [
        ("P1", "POLYGON ((600 600, 1800 600, 1800 1800, 600 1800, 600 600))"),
        ("P2", "POLYGON ((2600 300, 3600 300, 3600 1100, 2600 1100, 2600 300))"),
    ]
    inside = [[6.0 if 2600 <= px <= 3600 and 300 <= py <= 1100 else 0.0 for px in x] for py in y]
    whole |= {"x_mm": x, "y_mm": y, "change_mm": inside, "members": None}
    whole["patches"] = [{"name": name, "action": "fill", "outline_mm": outline} for name, outline in patches]
    (tmp_path / "plan.json").write_text(json.dumps(whole))
    tools.upload(page, panel.get_by_role("button", name="Upload").nth(2), tmp_path / "plan.json")
    expect(panel.locator(".fk-word")).to_contain_text("REDO")
    expect(panel.locator(".fk-said")).to_contain_text("P2")
    expect(panel.locator(".fk-named")).to_contain_text("P2, fill: not touched")
    expect(panel.get_by_role("button", name="Done against the plan")).to_have_class(re.compile("mod-active"))
    page.opened.ask("")
    assert tools.looked_at(page, panel, "compare_plan", {1280: 720, 1440: 900}) == []
