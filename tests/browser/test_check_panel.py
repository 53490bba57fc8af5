"""The Check panel in JupyterLab, used by mouse and keyboard to hold a floor against the finish to come."""

import json
import re

import pytest
from playwright.sync_api import expect

import flatness

pytestmark = pytest.mark.usefixtures("coarse_lattice")
MISTAKES = ("A5", "C17", "C23", "C28", "C44", "C45")  # sample_surveys/README.md
WAIT = 60_000
# the gap under a line, from the readings on: SciPy's interpolation, and the kit's profile_gaps over the whole of it
PYTHON_GAP = """
import json, math, numpy as np, flatness
from scipy.interpolate import RegularGridInterpolator
bar, s = panel.state.bar, panel.state.surface
n = math.ceil(4 * bar.length / s.spacing - 1e-6)
xy = np.array(bar.start) + np.linspace(0, 1, n + 1)[:, None] * (np.array(bar.end) - np.array(bar.start))
z = RegularGridInterpolator((s.y, s.x), s.height, bounds_error=False, fill_value=None)(xy[:, ::-1])
print(json.dumps([float(flatness.profile_gaps(z, bar.length / n, bar.length * 1.000001).max()), bar.start, bar.end]))
"""


@pytest.fixture(scope="module")
def book(notebook):
    """The notebook, with all its cells run."""
    opened = notebook("notebooks/check_floor.ipynb")
    assert opened.run_all() == []
    return opened


@pytest.fixture
def panel(book, page, tools):
    """A panel of the test's own, as the notebook opens it."""
    page.opened = book
    found = book.new_panel()
    expect(found.locator(".fk-said")).to_contain_text("Fail", timeout=WAIT)
    tools.drawn(page, ".fk-map")
    return found


def test_the_notebook_runs_from_top_to_bottom_and_shows_its_pictures(book, page, tools):
    assert tools.shows_its_pictures(page, 3)


def pixel(page, xy):
    """Where a place [mm] is on the live map, from its upper left corner."""
    told = page.opened.ask(
        f"import json\np = panel._shown.ax.transData.transform({xy!r})\n"
        "print(json.dumps([p[0], panel.map.bbox.height - p[1]]))"
    )
    x, y = json.loads(told)
    return {"x": round(x), "y": round(y)}


def mm(text):
    return flatness.parse_length(text.replace("\N{MINUS SIGN}", "-"))


def test_a_file_with_mistakes_then_the_corrected_one_and_its_verdict(panel, page, tools):
    button = panel.get_by_role("button", name="Upload a file")
    tools.upload(page, button, tools.samples / "packing_room/with_mistakes.csv")
    problems = panel.locator(".fk-problems")
    for cell in MISTAKES:
        expect(problems).to_contain_text(f"Cell {cell}", timeout=WAIT)
    expect(panel.locator(".fk-said")).to_have_count(0)
    assert tools.looked_at(page, panel, "check_mistakes") == []

    tools.upload(page, button, tools.samples / "packing_room/hand_typed.csv")
    expect(panel.locator(".fk-said")).to_be_visible(timeout=WAIT)
    expect(problems).to_have_count(0)

    panel.get_by_label("Finish to come").select_option(
        label="Wood floor on a wood subfloor, fasteners 1-1/2 in and longer"
    )
    survey = flatness.read_survey(tools.samples / "packing_room/hand_typed.csv")
    table = flatness.check(survey, "wood-nailed")
    verdicts = set(table.verdict)
    overall = next(v for v in ("fail", "undecided", "pass") if v in verdicts)
    expect(panel.locator(".fk-said")).to_contain_text(overall.capitalize())
    rows = panel.locator(".fk-table tbody tr")
    expect(rows.first).to_contain_text('1/4"', timeout=WAIT)
    for i, row in enumerate(table.itertuples()):
        expect(rows.nth(i)).to_contain_text(row.verdict.capitalize())
        expect(rows.nth(i)).to_contain_text(flatness.format_length(row.as_read_mm, "in", 32))


def test_a_pass_asks_for_a_bar_and_rests_on_what_it_showed(panel, page, tools):
    tools.upload(page, panel.get_by_role("button", name="Upload a file"), tools.samples / "loft_floor/after.csv")
    said, seen = panel.locator(".fk-said"), panel.get_by_label("Largest gap under it")
    expect(said).to_contain_text("Nobody has looked between them", timeout=WAIT)
    strips = panel.locator(".fk-strips li")
    assert tools.looked_at(page, panel, "check_strips") == []
    seen.fill("\n".join(["none"] * strips.count()))
    panel.get_by_role("button", name="Check again with these").click()
    expect(said).to_contain_text("a bar slid between", timeout=WAIT)


def test_a_place_is_read_and_a_straightedge_laid_by_mouse(panel, page):
    canvas = page.locator(".fk-map canvas").last
    canvas.scroll_into_view_if_needed()
    station = (2 * 609.6, 3 * 609.6)  # a station of the loft floor
    canvas.hover(position=pixel(page, station))
    here = panel.locator(".fk-here")
    expect(here).to_contain_text("along x", timeout=WAIT)
    said = here.inner_text()
    x, y = (mm(text) for text in re.findall(r"([\d' /\"]+) along", said))
    assert abs(x - station[0]) < 25
    assert abs(y - station[1]) < 25  # a pixel is about 14 mm
    height = mm(re.search(r"height (-?[\d /]+\")", said)[1])
    at = json.loads(page.opened.ask(
        "import json\nfrom scipy.interpolate import RegularGridInterpolator as R\ns = panel.state.surface\n"
        "x, y = panel.state.pointer\nprint(json.dumps(float(R((s.y, s.x), s.height)([[y, x]])[0])))"
    ))  # fmt: skip
    assert height == pytest.approx(at, abs=25.4 / 64 + 1e-6)

    bar = panel.locator(".fk-bar")
    canvas.click(position=pixel(page, (900, 600)))
    expect(bar).to_contain_text("now click the other", timeout=WAIT)
    canvas.click(position=pixel(page, (1700, 1500)))
    expect(bar).to_contain_text("Laid by hand", timeout=WAIT)
    gap, start, end = json.loads(page.opened.ask(PYTHON_GAP))
    assert start == pytest.approx([900, 600], abs=15)
    assert end == pytest.approx([1700, 1500], abs=15)
    assert re.search(r"gap ([\d /]+\")", bar.inner_text())[1] == flatness.format_length(gap, "in", 32)

    where = canvas.bounding_box()
    first, last = pixel(page, (3000, 900)), pixel(page, (1700, 2000))
    page.mouse.move(where["x"] + first["x"], where["y"] + first["y"])
    page.mouse.down()
    page.mouse.move(where["x"] + last["x"] + 40, where["y"] + last["y"], steps=5)
    page.mouse.move(where["x"] + last["x"], where["y"] + last["y"])
    page.mouse.up()
    expect(panel.get_by_label("To y")).to_have_value(re.compile("6'"), timeout=WAIT)
    gap, start, end = json.loads(page.opened.ask(PYTHON_GAP))
    assert (start, end) == (pytest.approx([3000, 900], abs=15), pytest.approx([1700, 2000], abs=15))
    assert re.search(r"gap ([\d /]+\")", bar.inner_text())[1] == flatness.format_length(gap, "in", 32)


def test_by_keyboard_alone(panel, page):
    for name, text in (("From x", "1'"), ("From y", "2' 6\""), ("To x", "9 ft"), ("To y", "6'")):
        field = panel.get_by_label(name)
        field.focus()
        page.keyboard.press("Control+a")
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    panel.get_by_role("button", name="Lay it here").focus()
    page.keyboard.press("Enter")
    bar = panel.locator(".fk-bar")
    expect(bar).to_contain_text("Laid by hand from 1' 0\" along x, 2' 6\" along y", timeout=WAIT)
    panel.get_by_role("button", name="Gap", exact=True).focus()
    page.keyboard.press("Space")
    expect(panel.get_by_role("button", name="Gap", exact=True)).to_have_class(re.compile("mod-active"))
    panel.get_by_role("button", name="Millimetres").focus()
    page.keyboard.press("Enter")
    expect(bar).to_contain_text("0.305 m along x", timeout=WAIT)
    expect(panel.locator(".fk-said")).to_contain_text("mm")
    expect(panel.get_by_label("From x [m, mm]")).to_be_visible()
    panel.get_by_label("Confidence").focus()
    page.keyboard.press("ArrowDown")
    expect(panel.get_by_label("Confidence")).to_have_value("99 %", timeout=WAIT)
    panel.get_by_label("Straightedge [m, mm]", exact=True).fill("long")
    page.keyboard.press("Enter")
    expect(panel.locator(".fk-problems")).to_contain_text("long", timeout=WAIT)


def test_it_is_whole_at_every_width(panel, page, tools):
    for view, name in (("Heights", "heights"), ("Gap", "gap"), ("Chance", "chance"), ("More readings", "more")):
        panel.get_by_role("button", name=view, exact=True).click()
        page.opened.ask("")  # the kernel has drawn it
        tools.drawn(page, ".fk-map")
        assert tools.looked_at(page, panel, f"check_{name}") == []
    tools.drawn(page, ".fk-profile")


def test_a_file_of_12_mb_arrives(panel, page, tools, tmp_path):
    """A notebook server that is told nothing loses more than 10 MB in silence."""
    large = tmp_path / "large.csv"
    large.write_bytes((tools.samples / "packing_room/hand_typed.csv").read_bytes() + b" " * 12_000_000)
    tools.upload(page, panel.get_by_role("button", name="Upload a file"), large)
    expect(panel.get_by_label("Survey (CSV or XLSX file)")).to_have_value("large.csv (uploaded)", timeout=WAIT)
    expect(panel.locator(".fk-said")).to_be_visible(timeout=WAIT)
    expect(panel.locator(".fk-problems")).to_have_count(0)
