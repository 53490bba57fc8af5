"""A JupyterLab server on loopback, and headless Chromium to drive it."""

import os
import secrets
import shutil
import types
from pathlib import Path

import pytest

from served import Served

ROOT = Path(__file__).parents[2]
SHOTS = Path(os.environ.get("FLATNESS_SHOTS", ROOT / "shots"))
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip


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
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("playwright, which the test extra installs")
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
            ["-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1", f"--port={self.port}",
             "--port-retries=0", f"--IdentityProvider.token={self.token}", f"--ServerApp.root_dir={folder}",
             "--LabApp.expose_app_in_browser=True"],
            f"/api/status?token={self.token}",
        )  # fmt: skip


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    server = Lab(tmp_path_factory.mktemp("lab"))
    yield server
    server.stop()


@pytest.fixture
def page(browser, request):
    context = browser.new_context(viewport={"width": 1440, "height": 1100})
    opened = context.new_page()
    opened.errors = []
    opened.on("pageerror", lambda error: opened.errors.append(str(error)))
    yield opened
    SHOTS.mkdir(exist_ok=True)
    opened.screenshot(path=SHOTS / f"{request.node.name}.png")
    context.close()


class Notebook:
    """A notebook open in JupyterLab."""

    HERE = "window.jupyterapp.shell.currentWidget"

    def __init__(self, page, lab, path):
        self.page, self.lab = page, lab
        page.goto(f"{lab.url}/lab/tree/{path}?reset&token={lab.token}", wait_until="domcontentloaded")
        page.wait_for_function(
            "p => window.jupyterapp?.shell?.currentWidget?.context?.path === p", arg=path, timeout=60_000
        )
        # the indicator says idle before there is a kernel: ask the kernel itself
        page.evaluate(
            f"async () => {{ await window.jupyterapp.restored; const n = {self.HERE}; await n.context.ready;"
            " await n.sessionContext.ready; await n.sessionContext.session.kernel.info; }"
        )

    def run_all(self, timeout=180_000):
        """Run all cells; what they printed to stderr, and their errors."""
        self.page.evaluate("async () => await window.jupyterapp.commands.execute('notebook:run-all-cells')")
        self.page.wait_for_function(
            f"""() => {{ const n = {self.HERE};
            const cells = n.content.widgets.filter(
                c => c.model.type === 'code' && c.model.sharedModel.getSource().trim());
            const bad = cells.some(c => c.model.outputs.toJSON().some(o => o.output_type === 'error'));
            return n.sessionContext.session.kernel.status === 'idle' && (bad || cells.every(
                c => c.model.executionState === 'idle' && c.model.executionCount !== null)); }}""",
            timeout=timeout,
        )
        return self.page.evaluate(
            f"""() => {self.HERE}.content.widgets.filter(c => c.model.type === 'code').flatMap(
            c => c.model.outputs.toJSON().filter(o => o.output_type === 'error' || o.name === 'stderr')
            .map(o => o.ename ? o.ename + ': ' + o.evalue : [].concat(o.text).join('')))"""
        )

    def ask(self, code):
        """What the notebook's kernel prints when it runs this code; an error of it is raised here."""
        told = self.page.evaluate(
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


@pytest.fixture
def notebook(page, lab):
    opened = []

    def open_(path):
        one = Notebook(page, lab, path)
        opened.append(one)
        return one

    yield open_
    for one in opened:
        one.close()


def drawn(page, selector, colours=8, timeout=60_000):
    """Wait until a live figure shows its picture: its canvas has a size before it has a first frame."""
    page.wait_for_function(
        """([s, n]) => { const c = document.querySelector(s + ' canvas'); if (!c || c.width < 50) return false;
        const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data, seen = new Set();
        for (let i = 0; i < d.length; i += 4) seen.add(d[i] << 16 | d[i+1] << 8 | d[i+2]);
        return seen.size >= n; }""",
        arg=[selector, colours],
        timeout=timeout,
    )


# what is cut, what runs over, and words that stand out too little (WCAG 2.1: 1.4.3), within the panel as it is shown
FAULTS = """panel => { const faults = [], box = panel.getBoundingClientRect();
const shown = e => { const r = e.getBoundingClientRect(); return r.width > 0 && r.height > 0; };
for (const e of panel.querySelectorAll('*')) { const r = e.getBoundingClientRect();
  if (shown(e) && r.right > box.right + 1) faults.push('runs over the right edge: ' + e.className); }
for (const e of panel.querySelectorAll('label, button, td, th, .widget-html-content'))
  if (shown(e) && (e.scrollWidth > e.clientWidth + 2)) faults.push('cut: ' + e.textContent.slice(0, 40));
for (const e of panel.querySelectorAll('select')) { const c = document.createElement('canvas').getContext('2d');
  c.font = getComputedStyle(e).font;
  const text = e.selectedOptions[0]?.textContent ?? '';
  if (shown(e) && c.measureText(text).width > e.clientWidth - 12) faults.push('cut: ' + text); }
const things = [...panel.querySelectorAll('select, input, button, label, .fk-canvas, .widget-html-content')]
  .filter(shown), named = e => (e.textContent || e.className).slice(0, 30);
for (let i = 0; i < things.length; i++) for (let j = i + 1; j < things.length; j++) {
  const [a, b] = [things[i], things[j]]; if (a.contains(b) || b.contains(a)) continue;
  const [p, q] = [a.getBoundingClientRect(), b.getBoundingClientRect()];
  if (Math.min(p.right, q.right) - Math.max(p.left, q.left) > 1.5 &&
      Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top) > 1.5)
    faults.push('overlap: ' + named(a) + ' / ' + named(b)); }
const light = c => { const v = c.match(/[\\d.]+/g).slice(0, 3).map(x => x / 255)
  .map(x => x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4); return 0.2126*v[0] + 0.7152*v[1] + 0.0722*v[2]; };
const paper = e => { for (; e; e = e.parentElement) { const b = getComputedStyle(e).backgroundColor;
  if (!/, 0\\)$|transparent/.test(b)) return b; } return 'rgb(255,255,255)'; };
for (const e of panel.querySelectorAll('*')) if (shown(e) && e.tagName !== 'STYLE' && e.tagName !== 'CANVAS' &&
    [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) {
  const [a, b] = [light(getComputedStyle(e).color), light(paper(e))].sort((x, y) => y - x);
  if ((a + 0.05) / (b + 0.05) < 4.5) faults.push('pale: ' + e.textContent.slice(0, 40)); }
const scroller = panel.closest('.jp-WindowedPanel-outer, .jp-Notebook');
if (scroller && scroller.scrollWidth > scroller.clientWidth + 1) faults.push('scrolls sideways');
return faults; }"""


def looked_at(page, panel, name):
    """Take pictures of the panel at three widths of window, for a person to look at; what a machine sees wrong."""
    faults = []
    SHOTS.mkdir(exist_ok=True)
    before = page.viewport_size
    for width in (1024, 1440, 1920):
        page.set_viewport_size({"width": width, "height": 1900})
        page.wait_for_timeout(400)  # the notebook settles its own layout after the window's
        panel.evaluate("e => e.scrollIntoView()")
        faults += [f"{width}: {fault}" for fault in panel.evaluate(FAULTS)]
        page.wait_for_timeout(200)
        page.screenshot(path=SHOTS / f"{name}_{width}.png")
    page.set_viewport_size(before)
    return faults


@pytest.fixture
def tools():
    """Helpers of the panels' tests, which a test folder without packages cannot import."""
    return types.SimpleNamespace(drawn=drawn, looked_at=looked_at, samples=ROOT / "sample_surveys")
