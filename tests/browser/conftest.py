"""A JupyterLab server on loopback, and headless Chromium to drive it."""

import json
import os
import secrets
import shutil
import time
import types
from pathlib import Path

import pytest

from served import Served

ROOT = Path(__file__).parents[2]
SHOTS = Path(os.environ.get("FLATNESS_SHOTS", ROOT / "shots"))
VIEWPORT = {"width": 1440, "height": 1100}
PATIENCE = 180_000  # [ms] of every wait: a machine may be busy with other work many times over
WIDTHS = {1024: 1900, 1440: 1900, 1920: 1900}
FAULTS, SETTLED = ((Path(__file__).parent / name).read_text() for name in ("faults.js", "settled.js"))
# whether each map has been drawn again in the room that it has now
FITTED = """() => [...document.querySelectorAll('.fk-map-box')].every(box => {
    const canvas = [...box.querySelectorAll('.fk-map')].find(e => e.offsetHeight)?.querySelector('canvas');
    if (!canvas || box.clientHeight < 160) return true;
    const size = canvas.getBoundingClientRect();
    return !box.querySelector('.fk-working')?.offsetHeight && Math.abs(size.width - box.clientWidth) < 2
        && Math.abs(size.height - box.clientHeight + 8) < 2; })"""
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def pytest_collection_modifyitems(items):
    """Where a wait runs out a test has a second try, which is reported; where any other assertion fails, none."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            waits = ["TimeoutError", "never done", r"(Locator|Page) expected .*"]
            item.add_marker(pytest.mark.flaky(reruns=1, only_rerun=waits))


def promised(page, script, arg=None, seconds=PATIENCE / 1000):
    """What an asynchronous script comes to; an error where it never does, which a browser would wait for."""
    return page.evaluate(
        f"""async arg => await Promise.race([({script})(arg), new Promise((_, no) => setTimeout(
            () => no(new Error('never done: ' + {json.dumps(script[:200])})), {1000 * seconds}))])""",
        arg,
    )


def missing(what):
    """Skip, or fail where a browser is required."""
    if os.environ.get("FLATNESS_NEEDS_BROWSER"):
        pytest.fail(f"browser tests need {what}")
    pytest.skip(f"browser tests need {what}")


@pytest.fixture(scope="session")
def browser():
    chromium = os.environ.get("FLATNESS_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if not chromium:
        missing("Chromium (apt-get install chromium)")
    try:
        from playwright.sync_api import expect, sync_playwright
    except ImportError:
        missing("playwright, which the test extra installs")
    expect.set_options(timeout=PATIENCE)
    with sync_playwright() as p:
        opened = p.chromium.launch(executable_path=chromium, args=FLAGS)
        yield opened
        opened.close()


class Lab(Served):
    """JupyterLab serving a copy of the notebooks and the samples, apart from the user's own settings."""

    def __init__(self, folder):
        super().__init__(folder)
        self.token = secrets.token_hex(8)
        # a question about news would stand over the page
        settings = folder / "jupyter_config_dir/lab/user-settings/@jupyterlab/apputils-extension"
        settings.mkdir(parents=True)
        (settings / "notification.jupyterlab-settings").write_text('{"fetchNews": "false", "checkForUpdates": false}')
        self.start(
            [
                "-m",
                "jupyterlab",
                "--no-browser",
                "--allow-root",
                "--ip=127.0.0.1",
                f"--port={self.port}",
                "--port-retries=0",
                f"--IdentityProvider.token={self.token}",
                f"--ServerApp.root_dir={folder}",
                "--LabApp.expose_app_in_browser=True",
            ],
            f"/api/status?token={self.token}",
        )


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    server = Lab(tmp_path_factory.mktemp("lab"))
    yield server
    server.stop()


@pytest.fixture(scope="session")
def context(browser):
    """One context, so that what JupyterLab is made of is loaded once."""
    made = browser.new_context(viewport=VIEWPORT)
    made.set_default_timeout(PATIENCE)
    yield made
    made.close()


@pytest.fixture(scope="module")
def window(context):
    """A page that all tests of a file share."""
    opened = context.new_page()
    opened.errors = []
    opened.on("pageerror", lambda error: opened.errors.append(str(error)))
    yield opened
    opened.close()


@pytest.fixture
def page(window, request):
    """The page at its usual size; an error in the browser fails the test, and its last picture is kept."""
    window.errors.clear()
    window.set_viewport_size(VIEWPORT)
    yield window
    SHOTS.mkdir(exist_ok=True)
    window.screenshot(path=SHOTS / f"{request.node.name}.png")
    assert window.errors == []


class Notebook:
    """A notebook open in JupyterLab."""

    HERE = "window.jupyterapp.shell.currentWidget"

    def __init__(self, page, lab, path):
        self.page, self.lab = page, lab
        page.goto(f"{lab.url}/lab/tree/{path}?reset&token={lab.token}", wait_until="domcontentloaded")
        page.wait_for_function("p => window.jupyterapp?.shell?.currentWidget?.context?.path === p", arg=path)
        # the indicator says idle before there is a kernel: ask the kernel itself
        promised(
            page,
            f"async () => {{ await window.jupyterapp.restored; const n = {self.HERE}; await n.context.ready;"
            " await n.sessionContext.ready; await n.sessionContext.session.kernel.info; }",
        )

    def run_all(self):
        """Run all cells; what they printed to stderr, and their errors."""
        run = "async () => { await window.jupyterapp.commands.execute('notebook:run-all-cells') }"
        promised(self.page, run)
        self.page.wait_for_function(
            f"""() => {{ const n = {self.HERE};
            const cells = n.content.widgets.filter(
                c => c.model.type === 'code' && c.model.sharedModel.getSource().trim());
            const bad = cells.some(c => c.model.outputs.toJSON().some(o => o.output_type === 'error'));
            return n.sessionContext.session.kernel.status === 'idle' && (bad || cells.every(
                c => c.model.executionState === 'idle' && c.model.executionCount !== null)); }}"""
        )
        return self.complaints()

    def complaints(self):
        """What the cells printed to stderr, and their errors; tasks that the kernel itself dropped are left out."""
        found = self.page.evaluate(
            f"""() => {self.HERE}.content.widgets.filter(c => c.model.type === 'code').flatMap(
            c => c.model.outputs.toJSON().filter(o => o.output_type === 'error' || o.name === 'stderr')
            .map(o => o.ename ? o.ename + ': ' + o.evalue : [].concat(o.text).join('')))"""
        )
        return [text for text in found if "_async_in_context" not in text]

    def new_panel(self, source=None):
        """A panel of its own for a test: the cell that makes ``panel`` is run again, after ``source`` is put into it.

        The cell is the last one with ``panel =`` in it, or the only one; an earlier panel is closed.
        """
        self.ask("globals().get('panel') and panel.close()")
        promised(
            self.page,
            f"""async source => {{ const content = {self.HERE}.content;
            const cells = content.widgets.map((c, i) => [c, i]).filter(([c, _]) => c.model.type === 'code');
            const [cell, at] = cells.find(([c, _]) => /^panel =/m.test(c.model.sharedModel.getSource())) ?? cells[0];
            if (source !== null) cell.model.sharedModel.setSource(source);
            content.deselectAll(); content.activeCellIndex = at;
            await window.jupyterapp.commands.execute('notebook:run-cell');
            await content.scrollToItem(at); }}""",
            source,
        )
        assert self.complaints() == []
        return self.page.locator(".fk-panel")

    def ask(self, code):
        """What the notebook's kernel prints when it runs this code; an error of it is raised here."""
        told = promised(
            self.page,
            f"""async code => {{ const kernel = {self.HERE}.sessionContext.session.kernel; let out = '', bad = '';
            const future = kernel.requestExecute({{code, store_history: false}});
            future.onIOPub = m => {{ if (m.header.msg_type === 'stream') out += m.content.text;
                if (m.header.msg_type === 'error') bad = m.content.ename + ': ' + m.content.evalue; }};
            await future.done; return [out, bad]; }}""",
            code,
        )
        assert not told[1], told[1]
        return told[0].strip()

    def close(self):
        headers = {"Authorization": f"token {self.lab.token}"}
        request = self.page.request
        for session in request.get(f"{self.lab.url}/api/sessions", headers=headers).json():
            request.delete(f"{self.lab.url}/api/sessions/{session['id']}", headers=headers)


@pytest.fixture(scope="module")
def notebook(window, lab):
    """A function that opens a notebook in the page; its kernel lives as long as the tests of the file."""
    opened = []

    def open_(path):
        opened.append(Notebook(window, lab, path))
        return opened[-1]

    yield open_
    for one in opened:
        one.close()


@pytest.fixture(scope="module")
def blank(notebook, lab):
    """A notebook with one empty cell, for panels that are made otherwise than a notebook of the kit makes them."""
    kernel = {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}}
    cell = {"cell_type": "code", "id": "a", "metadata": {}, "outputs": [], "execution_count": None, "source": ""}
    book = {"cells": [cell], "metadata": kernel, "nbformat": 4, "nbformat_minor": 5}
    (lab.folder / "notebooks/blank.ipynb").write_text(json.dumps(book))
    return notebook("notebooks/blank.ipynb")


def pictures(page, selector, count, wide):
    """Wait until so many pictures or more are there, each of them so wide [px] or wider."""
    page.wait_for_function(
        """([s, n, wide]) => { const all = [...document.querySelectorAll(s)];
        return all.length >= n && all.every(one => one.naturalWidth >= wide); }""",
        arg=[selector, count, wide],
    )


def upload(page, button, path):
    with page.expect_file_chooser() as chooser:
        button.click()
    chooser.value.set_files(path)


def drawn(page, selector, colours=8):
    """Wait until a live figure shows its picture, in the room that it has: its canvas has a size before a frame."""
    page.wait_for_function(
        """([s, n]) => { const c = document.querySelector(s + ' canvas'); if (!c || c.width < 50) return false;
        const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data, seen = new Set();
        for (let i = 0; i < d.length; i += 4) seen.add(d[i] << 16 | d[i+1] << 8 | d[i+2]);
        return seen.size >= n; }""",
        arg=[selector, colours],
    )
    page.wait_for_function(FITTED)


def faultless(panel):
    """What a machine sees wrong with a panel, and still after some time [s]: a layout may be on its way."""
    end = time.monotonic() + 20
    while (faults := panel.evaluate(FAULTS)) and time.monotonic() < end:
        panel.page.wait_for_timeout(200)
    return faults


def looked_at(page, panel, name, widths=None, part=None):
    """Take pictures of the panel at several widths of window, for a person to look at; what a machine sees wrong.

    The window stays as it was last: to lay out a notebook anew takes the time.
    """
    faults = []
    SHOTS.mkdir(exist_ok=True)
    for width, height in (widths or WIDTHS).items():
        page.set_viewport_size({"width": width, "height": height})
        assert panel.evaluate(SETTLED), "the layout does not come to rest"
        page.wait_for_function(FITTED)
        (panel if part is None else panel.locator(part)).evaluate("e => e.scrollIntoView()")
        faults += [f"{name} {width}: {fault}" for fault in faultless(panel)]
        page.screenshot(path=SHOTS / f"{name}_{width}.png")
    return faults


@pytest.fixture(scope="session")
def tools():
    """Helpers of the panels' tests, which a test folder without packages cannot import."""
    return types.SimpleNamespace(
        drawn=drawn,
        looked_at=looked_at,
        pictures=pictures,
        upload=upload,
        settled=SETTLED,
        faultless=faultless,
        patience=PATIENCE,
        shots=SHOTS,
        samples=ROOT / "sample_surveys",
    )
