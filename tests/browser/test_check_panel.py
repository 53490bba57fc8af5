"""The Check panel in JupyterLab, used by mouse and keyboard to hold a floor against the finish to come."""

import json
import re

import pytest
from playwright.sync_api import expect

import flatness

pytestmark = pytest.mark.usefixtures("coarse_lattice")
MISTAKES = ("A5", "C17", "C23", "C28", "C44", "C45")  # sample_surveys/README.md
NAILED = "Oak, nailed down"  # kit/flatness/limits/published.toml, called
MAP = '.fk-map:not([style*="none"])'  # the one in view
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
    expect(found.locator(".fk-said")).to_contain_text("FAIL")
    tools.drawn(page, MAP)
    return found


@pytest.mark.parametrize(("width", "height"), [(1440, 900), (1280, 720)])
def test_run_all_lands_on_the_panel_which_is_whole_on_one_screen(book, page, tools, width, height):
    page.set_viewport_size({"width": width, "height": height})
    assert book.run_all() == []
    panel = page.locator(".fk-panel")
    expect(panel.locator(".fk-said")).to_contain_text("FAIL")
    tools.drawn(page, MAP)
    assert panel.evaluate(tools.settled)
    for name in ("Verdict", "Map"):
        expect(page.get_by_role("region", name=name)).to_have_count(1)
        expect(page.get_by_role("region", name=name)).to_be_in_viewport(ratio=1)
        assert page.get_by_role("region", name=name).bounding_box()["height"] > 60
    page.wait_for_function(
        """height => { const whole = document.querySelector('.fk-panel').getBoundingClientRect();
        return whole.top >= 0 && whole.bottom <= height; }""",
        arg=height,
    )


def pixel(page, xy):
    """Where a place [mm] is on the live map, from its upper left corner."""
    told = page.opened.ask(
        f"import json\np = panel.axes().transData.transform({xy!r})\n"
        "print(json.dumps([p[0], panel.map.bbox.height - p[1]]))"
    )
    x, y = json.loads(told)
    return {"x": round(x), "y": round(y)}


def mm(text):
    return flatness.parse_length(text.replace("\N{MINUS SIGN}", "-"))


def test_a_file_with_mistakes_then_the_corrected_one_and_its_verdict(panel, page, tools):
    button = panel.get_by_role("button", name="Upload")
    tools.upload(page, button, tools.samples / "packing_room/with_mistakes.csv")
    problems = panel.locator(".fk-problems")
    for cell in MISTAKES:
        expect(problems).to_contain_text(f"Cell {cell}")
    expect(panel.get_by_role("region", name="Verdict")).to_contain_text("No verdict yet")
    assert tools.looked_at(page, panel, "check_mistakes") == []

    tools.upload(page, button, tools.samples / "packing_room/hand_typed.csv")
    expect(problems).to_have_count(0)
    expect(panel.locator(".fk-said.fk-fail, .fk-said.fk-undecided")).to_be_visible()

    panel.get_by_label("Finish", exact=True).select_option(label=NAILED)
    survey = flatness.read_survey(tools.samples / "packing_room/hand_typed.csv")
    table = flatness.check(survey, "wood-nailed")
    verdicts = set(table.verdict)
    overall = next(v for v in ("fail", "undecided", "pass") if v in verdicts)
    expect(panel.locator(".fk-said")).to_contain_text(overall.upper())
    rows = panel.locator(".fk-table tbody tr")
    expect(rows.first).to_contain_text('1/4"')
    for i, row in enumerate(table.itertuples()):
        expect(rows.nth(i)).to_contain_text(row.verdict.capitalize())
        expect(rows.nth(i)).to_contain_text(flatness.format_length(row.as_read_mm, "in", 32))


# the threads in which what a person does reaches the widgets
THREADS = """
import threading, ipywidgets
threads, handle = set(), ipywidgets.Widget._handle_msg
def noted(self, message):
    threads.add(threading.current_thread().name)
    handle(self, message)
ipywidgets.Widget._handle_msg = noted
"""


def test_a_pass_asks_for_a_bar_and_rests_on_what_it_showed(book, panel, page, tools):
    book.ask(THREADS)
    panel = book.new_panel()  # whose widgets take their messages so
    expect(panel.locator(".fk-said")).to_contain_text("FAIL")
    tools.drawn(page, MAP)
    book.ask("threads.clear()")
    tools.upload(page, panel.get_by_role("button", name="Upload"), tools.samples / "loft_floor/after.csv")
    said = panel.locator(".fk-said")
    expect(said).to_contain_text("Nothing was read between them")
    fields = panel.get_by_label(re.compile(r"^Gap \d"))
    count = int(page.opened.ask("print(len(panel.state.strips))"))
    assert count > 0
    expect(fields).to_have_count(count)
    for field in fields.all():
        field.fill("none")
        field.press("Enter")
    panel.get_by_role("button", name="Check again with these").click()
    expect(said).to_contain_text("a bar slid between")
    # in one thread, so in the order in which it was done: what is typed counts in the click that follows
    assert int(book.ask("print(len(threads)); ipywidgets.Widget._handle_msg = handle")) == 1


def test_a_place_is_read_and_a_straightedge_laid_by_mouse(panel, page):
    canvas = page.locator(f"{MAP} canvas").last
    canvas.scroll_into_view_if_needed()
    station = (2 * 609.6, 3 * 609.6)  # a station of the loft floor
    canvas.hover(position=pixel(page, station))
    here = panel.locator(".fk-here")
    expect(here).to_contain_text("station here")
    said = here.inner_text()
    x, y = (mm(text) for text in re.match(r"(.+) from the left wall, (.+) from the door wall", said).groups())
    assert abs(x - station[0]) < 25
    assert abs(y - station[1]) < 25  # a pixel is about 14 mm
    height = mm(re.search(r"height (-?[\d /]+ in)", said)[1])
    at = json.loads(
        page.opened.ask(
            "import json\nfrom scipy.interpolate import RegularGridInterpolator as R\ns = panel.state.surface\n"
            "x, y = panel.state.pointer\nprint(json.dumps(float(R((s.y, s.x), s.height)([[y, x]])[0])))"
        )
    )
    assert height == pytest.approx(at, abs=25.4 / 64 + 1e-6)

    bar = panel.locator(".fk-bar")
    canvas.click(position=pixel(page, (900, 600)))
    expect(bar).to_contain_text("now click the other")
    canvas.click(position=pixel(page, (1700, 1500)))
    expect(bar).to_contain_text("Set by hand")
    gap, start, end = json.loads(page.opened.ask(PYTHON_GAP))
    assert start == pytest.approx([900, 600], abs=15)
    assert end == pytest.approx([1700, 1500], abs=15)
    expect(bar).to_contain_text(f"gap {flatness.format_length(gap, 'in', 32)[:-1]} in")

    where = canvas.bounding_box()
    first, last = pixel(page, (3000, 900)), pixel(page, (1700, 2000))
    page.mouse.move(where["x"] + first["x"], where["y"] + first["y"])
    page.mouse.down()
    page.mouse.move(where["x"] + last["x"] + 40, where["y"] + last["y"], steps=5)
    page.mouse.move(where["x"] + last["x"], where["y"] + last["y"])
    page.mouse.up()
    expect(bar).to_contain_text(re.compile("A: 9 ft (9|10)"))
    gap, start, end = json.loads(page.opened.ask(PYTHON_GAP))
    assert (start, end) == (pytest.approx([3000, 900], abs=15), pytest.approx([1700, 2000], abs=15))
    expect(bar).to_contain_text(f"gap {flatness.format_length(gap, 'in', 32)[:-1]} in")


def test_by_keyboard_alone(panel, page):
    panel.get_by_role("tab", name="Settings").click()
    for name, text in (("From x", "1'"), ("From y", "2' 6\""), ("To x", "9 ft"), ("To y", "6'")):
        field = panel.get_by_label(name)
        field.focus()
        page.keyboard.press("Control+a")
        page.keyboard.type(text)
        page.keyboard.press("Enter")
    panel.get_by_role("button", name="Set it here").focus()
    page.keyboard.press("Enter")
    bar = panel.locator(".fk-bar")
    expect(bar).to_contain_text("A: 1 ft from left, 2 ft 6 in from door wall")
    panel.get_by_role("button", name="Heights", exact=True).focus()
    page.keyboard.press("Space")
    expect(panel.get_by_role("button", name="Heights", exact=True)).to_have_class(re.compile("mod-active"))
    panel.get_by_role("button", name="mm", exact=True).focus()
    page.keyboard.press("Enter")
    expect(bar).to_contain_text("A: 0.305 m from left")
    expect(panel.locator(".fk-said")).to_contain_text("mm")
    expect(panel.get_by_label("From x [m, mm]")).to_be_visible()
    panel.get_by_label("Confidence").focus()
    page.keyboard.press("ArrowDown")
    expect(panel.get_by_label("Confidence")).to_have_value("99 %")
    panel.get_by_label("Bar [m, mm]", exact=True).fill("long")
    page.keyboard.press("Enter")
    expect(panel.locator(".fk-problems")).to_contain_text("long")


def test_what_is_being_typed_stays_while_the_kernel_writes_there(panel, page):
    panel.get_by_role("tab", name="Settings").click()
    fields = [panel.get_by_label(name) for name in ("From x", "From y")]
    fields[0].fill("1")
    for x in (900.0, 1200.0):  # another bar is laid, and the field has not been left
        page.opened.ask(f"panel.state.set_bar(({x}, {x}), (2500.0, 2500.0))")
    expect(fields[1]).to_have_value("3' 11 1/4\"")  # 1200 mm are 47.24 in
    expect(fields[0]).to_have_value("1")
    fields[0].press("End")
    page.keyboard.type(" ft")
    fields[1].fill("2 ft")  # which leaves the first
    panel.get_by_role("button", name="Set it here").click()
    expect(panel.locator(".fk-bar")).to_contain_text("A: 1 ft from left, 2 ft from door wall")
    fields[0].fill("7")
    page.opened.ask("panel.state.set_bar((900.0, 900.0), (2500.0, 2500.0))")
    expect(fields[1]).to_have_value("2' 11 7/16\"")  # 900 mm are 35.43 in
    fields[0].fill("1' 0\"")  # typed back to what it was: there is nothing to enter, so what was written since is shown
    fields[0].blur()
    expect(fields[0]).to_have_value("2' 11 7/16\"")


def test_it_is_whole_at_every_width(panel, page, tools):
    for view in ("Against the limit", "Heights", "How sure", "Where to read"):
        panel.get_by_role("button", name=view, exact=True).click()
        for _ in range(tools.patience // 50):  # until the kernel has drawn it
            if page.opened.ask("with panel.state.lock: print(panel.views.label)") == view:
                break
            page.wait_for_timeout(50)
        else:
            raise AssertionError(f"the view does not come: {view}")
        tools.drawn(page, MAP, 3)
        assert tools.looked_at(page, panel, f"check_{view.split()[-1]}", {1440: 900, 1280: 720}) == []
    for tab in ("Limits and notes", "Settings"):
        panel.get_by_role("tab", name=tab).click()
        assert tools.looked_at(page, panel, f"check_{tab.split()[-1]}", {1280: 720, 1440: 900}) == []


def test_a_view_that_was_drawn_is_back_at_once(panel, page, tools):
    for view in ("Heights", "Against the limit"):
        panel.get_by_role("button", name=view, exact=True).click()
        page.opened.ask("")
    spent = page.opened.ask(
        "import time\nt = time.thread_time()\npanel.views.value = 'heights'\nprint(time.thread_time() - t)"
    )
    assert float(spent) < 0.3  # [s] of processor time


def test_a_file_of_12_mb_arrives(panel, page, tools, tmp_path):
    """A notebook server that is told nothing loses more than 10 MB in silence."""
    large = tmp_path / "large.csv"
    large.write_bytes((tools.samples / "packing_room/hand_typed.csv").read_bytes() + b" " * 12_000_000)
    tools.upload(page, panel.get_by_role("button", name="Upload"), large)
    expect(panel.get_by_label("Survey", exact=True)).to_have_value("large.csv (uploaded)")
    expect(panel.locator(".fk-said")).to_be_visible()
    expect(panel.locator(".fk-problems")).to_have_count(0)
