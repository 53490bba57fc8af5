"""Readings taken on a phone, and in JupyterLab: with slips, a laser that was moved, and a page that is killed."""

import importlib.util
import os
import re
import secrets
import signal

import pytest
from playwright.sync_api import expect

import flatness
from served import Served

pytestmark = pytest.mark.usefixtures("coarse_lattice")
FT, IN = 304.8, 25.4


class Page(Served):
    """The page of ``flatness take`` on loopback."""

    def __init__(self, folder, length="8ft", width="8ft"):
        super().__init__(folder)
        self.survey = folder / "room.csv"
        self.env["JUPYTER_TOKEN"] = self.token = secrets.token_hex(8)
        given = ["--limit", "wood-glued", "--length", length, "--width", width, "--no-browser", f"--port={self.port}"]
        self.start(["-m", "flatness", "take", str(self.survey), *given], "/voila/static/nothing")


@pytest.fixture
def server(tmp_path, request):
    if importlib.util.find_spec("voila") is None:
        pytest.skip("voila, of the present extra, is not installed")
    served = Page(tmp_path, *getattr(request, "param", ()))
    yield served
    served.stop()


PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
LAPTOP = {"viewport": {"width": 1280, "height": 720}, "has_touch": True}


@pytest.fixture
def device(browser, request, tools):
    context = browser.new_context(**getattr(request, "param", PHONE))
    context.set_default_timeout(tools.patience)
    page = context.new_page()
    page.errors = []
    page.on("pageerror", lambda error: page.errors.append(str(error)))
    yield page
    assert page.errors == []
    context.close()


def opened(page, server):
    page.goto(f"{server.url}/?token={server.token}", wait_until="commit")
    panel = page.locator(".fk-take")
    go_on, more = (panel.get_by_role("button", name=name) for name in ("Go on here", "More"))
    expect(go_on.or_(more)).to_be_visible()
    if go_on.is_visible():  # the page before has it still
        go_on.tap()
        expect(more).to_be_visible()
    return panel


def sixteenths(x, y, line):
    """What is read at a place [mm] of a floor that falls 1/2 in over 10 ft [1/16 in]."""
    return round(16 * line + 8 * x / (10 * FT) + y / (10 * FT))


def tap(panel, read):
    """Two or three taps on the keypad."""
    whole, part = divmod(read, 16)
    keys = panel.locator(".fk-pad")
    if keys.locator(".fk-six:visible").count():
        for digit in str(whole):
            keys.locator(f"button[data-kind=digit][data-value='{digit}']").tap()
    elif panel.locator(".fk-reading input").input_value().strip() != str(whole):
        keys.locator(f"button[data-kind=whole][data-value='{whole}']").tap()
    keys.locator(f"button[data-kind=part][data-value='{2 * part}']").tap()
    text = f"{whole} {_fraction(part)}".strip()
    expect(panel.locator(".fk-reading input")).to_have_value(re.compile(rf"^{text}\s*$"))
    panel.locator(".fk-next").tap()


def type_in(panel, read):
    """A reading by the keyboard."""
    field = panel.locator(".fk-reading input")
    field.fill(f"{read // 16} {_fraction(read % 16)}".strip())
    field.press("Enter")


def _fraction(part):
    from fractions import Fraction

    return str(Fraction(part, 16)) if part else ""


def place(panel):
    """Where the page says that one is to stand [mm]."""
    told = panel.locator(".fk-place").inner_text()
    found = []
    for wall in ("left wall", "door wall"):
        match = re.search(rf"(?:(\d+) ft)?\s*(?:(\d+) in)?\s*from {wall}", told)
        found.append((int(match[1] or 0) * 12 + int(match[2] or 0)) * IN if match else 0.0)
    return tuple(found)


def settled(panel, before):
    """Wait until the page shows something else than before."""
    expect(panel.locator(".fk-progress-text")).not_to_have_attribute("data-acts", before)


def turn(panel):
    return panel.locator(".fk-progress-text").get_attribute("data-acts")


def looked_at(tools, page, panel, name):
    """A picture for a person to look at; what a machine sees wrong."""
    tools.shots.mkdir(exist_ok=True)
    page.screenshot(path=tools.shots / f"take_{name}.png")
    small = panel.evaluate(
        "p => [...p.querySelectorAll('button')]"
        ".filter(e => e.offsetHeight && (e.offsetHeight < 44 || e.offsetWidth < 44))"
        ".map(e => 'smaller than a thumb: ' + e.textContent)"
    )
    return [f"{name}: {fault}" for fault in (*tools.faultless(panel), *small)]


def pressed(panel, name):
    """Press a button, and wait for what comes of it."""
    before = turn(panel)
    panel.get_by_role("button", name=name).tap()
    settled(panel, before)


@pytest.mark.parametrize("server", [("14ft", "22ft")], indirect=True)
@pytest.mark.parametrize(("device", "enter"), [(PHONE, tap), (LAPTOP, type_in)], indirect=["device"])
def test_a_room_is_taken_with_three_slips_and_a_laser_that_was_moved(device, server, enter, tools):
    """96 stations, then the strips between them; the file is what was meant, the verdict what ``check`` says."""
    panel, name, faults = opened(device, server), enter.__name__, []

    def look(what):
        return looked_at(tools, device, panel, f"{name}_{what}")

    faults += look("first")
    if enter is tap:
        device.wait_for_function("document.documentElement.scrollHeight <= 844")
    # at which count, by how many sixteenths, and what is answered
    slips = {20: (12, "Read it again"), 45: (8, "half an inch"), 70: (-16, "Read it again")}
    meant, line, moved = {}, 41.25, False
    while panel.locator(".fk-next").is_visible():
        at, before = place(panel), turn(panel)
        read = sixteenths(*at, line)
        off, answer = slips.pop(len(meant), (0, ""))
        enter(panel, read + off)
        settled(panel, before)
        if off:
            expect(panel.locator(".fk-ask")).to_be_visible()
            faults += look("slip")
            pressed(panel, answer)
            if answer == "Read it again":
                before = turn(panel)
                enter(panel, read)
                settled(panel, before)
        meant[at] = (read, line)
        if len(meant) == 30 and not moved:
            moved, line = True, 38.5
            panel.get_by_role("button", name="More").tap()
            expect(panel.get_by_role("button", name="The laser was moved")).to_be_visible()
            faults += look("more")
            pressed(panel, "The laser was moved")
            faults += look("moved")
        if panel.get_by_role("button", name="Read on").is_visible():
            faults += look("enough")
            pressed(panel, "Read on")
    assert slips == {}
    slide = panel.get_by_role("button", name="Slide a bar")
    expect(slide).to_be_visible()
    faults += look("open")
    pressed(panel, "Slide a bar")
    faults += look("strip")
    field, before = panel.locator(".fk-reading input"), turn(panel)
    panel.locator(".fk-pad button[data-kind=part][data-value='2']").tap()
    expect(field).to_have_value(re.compile(r"^\s*1/16\s*$"))
    panel.locator(".fk-next").tap()
    settled(panel, before)
    while (nothing := panel.get_by_role("button", name="Nothing over")).is_visible():
        before = turn(panel)
        nothing.tap()
        settled(panel, before)
    expect(panel.locator(".fk-said")).to_be_visible()
    faults += look("done")
    assert faults == [], "\n".join(faults)
    # 14 ft by 22 ft every 2 ft: 8 by 12 stations, two of them read again from the second set-up
    survey = flatness.read_survey(server.survey)
    assert len(survey.stations()[0]) == len(set(meant)) == 96
    read = {
        (round(x), round(y), setup): r
        for x, y, setup, r in zip(*(survey.points[name] for name in ("x", "y", "setup", "reading")), strict=True)
    }
    for (x, y), (value, level) in meant.items():
        setup = "1" if level == 41.25 else "2"
        assert read[round(x), round(y), setup] == pytest.approx(value * IN / 16)
    spots = flatness.read_spots(server.survey.with_name("room-spots.csv"))
    assert [one.gap for one in spots] == [pytest.approx(IN / 16), *[None] * (len(spots) - 1)]
    verdict = flatness.assess(survey, "wood-glued", spot_checks=spots).verdict
    expect(panel.locator(".fk-said")).to_contain_text({"fail": "It fails", "pass": "It passes"}[verdict])


def standing(panel):
    """The page once a station waits for its reading; where it says that enough is read one goes on."""
    read_on = panel.get_by_role("button", name="Read on")
    expect(panel.locator(".fk-next").or_(read_on).locator("visible=true").first).to_be_visible()
    if read_on.is_visible():
        before = turn(panel)
        read_on.tap()
        settled(panel, before)
        expect(panel.locator(".fk-next")).to_be_visible()
    return place(panel)


def test_a_page_that_is_killed_after_any_reading_goes_on_where_it_was(device, server):
    for _ in range(3):
        panel = opened(device, server)
        before = turn(panel)
        tap(panel, sixteenths(*standing(panel), 41.25))
        settled(panel, before)
        at, held = standing(panel), server.survey.read_bytes()
        mark = server.survey.with_name("room.csv.open").read_text()
        os.kill(int(re.search(r"pid=(\d+)", mark)[1]), signal.SIGKILL)
        assert standing(opened(device, server)) == at
        assert server.survey.read_bytes() == held


def test_taken_in_jupyterlab(notebook, page, lab, tools):
    book = notebook("notebooks/take_readings.ipynb")
    assert book.run_all() == []
    panel = page.locator(".fk-take")
    expect(panel.locator(".fk-counter")).to_have_text("1 of 88")
    written = lab.folder / "notebooks/my_room.csv"
    # tapped while the kernel is busy, which answers the first key after the button is pressed: the reading is whole
    page.evaluate(
        f"{book.HERE}.sessionContext.session.kernel.requestExecute({{code: 'import time; time.sleep(3)'}}); 0"
    )
    for kind, value in (("digit", 4), ("digit", 1), ("part", 12)):  # 12/32 in
        panel.locator(f".fk-pad button[data-kind={kind}][data-value='{value}']").click()
    panel.locator(".fk-next").click()
    expect(panel.locator(".fk-counter")).to_have_text("2 of 88")
    assert "0,0,41 3/8 in" in written.read_text()
    field = panel.locator(".fk-reading input")
    field.fill('41-3/8"')
    field.press("Enter")
    expect(panel.locator(".fk-counter")).to_have_text("3 of 88")
    assert "41-3/8" in written.read_text()
    faults = tools.looked_at(page, panel, "take_lab", {1440: 1100, 768: 1024})
    assert faults == [], "\n".join(faults)


@pytest.mark.parametrize("device", [LAPTOP], indirect=True, ids=["laptop"])
def test_the_key_to_the_next_station_is_in_sight_on_a_laptop(device, server, tools):
    panel = opened(device, server)
    for page in ("first", "station"):
        key = panel.locator(".fk-foot button.fk-do").bounding_box()
        assert key["y"] + key["height"] <= LAPTOP["viewport"]["height"], f"{page}: {key}"
        assert looked_at(tools, device, panel, f"laptop_{page}") == []
        before = turn(panel)
        type_in(panel, 41 * 16)
        settled(panel, before)
