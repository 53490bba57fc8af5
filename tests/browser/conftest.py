"""A JupyterLab server on loopback, and headless Chromium to drive it."""

import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SHOTS = Path(os.environ.get("FLATNESS_SHOTS", ROOT / "shots"))
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
JUPYTER_FOLDERS = (
    "JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR", "MPLCONFIGDIR",
)  # fmt: skip


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


class Lab:
    """JupyterLab serving a copy of the notebooks and the samples, apart from the user's own settings."""

    def __init__(self, folder):
        self.folder = folder
        for name in ("notebooks", "sample_surveys"):
            shutil.copytree(ROOT / name, folder / name)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.token = secrets.token_hex(8)
        self.url = f"http://127.0.0.1:{port}"
        self.log = folder / "server.log"
        self.log_file = self.log.open("w")
        env = dict(os.environ)
        for name in JUPYTER_FOLDERS:
            (folder / name.lower()).mkdir()
            env[name] = str(folder / name.lower())
        self.process = subprocess.Popen(
            [sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1",
             f"--port={port}", "--port-retries=0", f"--IdentityProvider.token={self.token}",
             f"--ServerApp.root_dir={folder}", "--LabApp.expose_app_in_browser=True"],
            stdout=self.log_file, stderr=subprocess.STDOUT, env=env,
        )  # fmt: skip
        self._wait()

    def _wait(self, seconds=60):
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if self.process.poll() is not None:
                break
            try:
                urllib.request.urlopen(f"{self.url}/api/status?token={self.token}", timeout=2).close()
            except urllib.error.HTTPError:
                return
            except OSError:
                time.sleep(0.1)
            else:
                return
        raise RuntimeError(f"JupyterLab did not start:\n{self.log.read_text()[-3000:]}")

    def stop(self):
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self.log_file.close()


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
