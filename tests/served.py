"""A server on loopback for the browser tests, with a copy of notebooks and samples, apart from the user's settings."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

ROOT = Path(__file__).parents[1]
JUPYTER_FOLDERS = ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR", "MPLCONFIGDIR")


class Served:
    def __init__(self, folder):
        self.folder = folder
        for name in ("notebooks", "sample_surveys"):
            shutil.copytree(ROOT / name, folder / name)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}"
        self.log = folder / "server.log"
        self.env = dict(os.environ)
        # what an installed kit tells its servers, as it stands in this tree
        self.env["JUPYTER_CONFIG_PATH"] = str(ROOT / "kit/etc/jupyter")
        self.env["OPENBLAS_NUM_THREADS"] = "1"  # a test worker for each core has its own server and kernel
        for name in JUPYTER_FOLDERS:
            (folder / name.lower()).mkdir()
            self.env[name] = str(folder / name.lower())
        # kernels take the lattice of the fixture ``coarse_lattice``; the notebooks as they are run without a browser
        startup = folder / "ipythondir/profile_default/startup"
        startup.mkdir(parents=True)
        (startup / "coarse.py").write_text(
            "import flatness.surface.lattice\nflatness.surface.lattice.FINEST_MM = 304.8\n"
        )

    def start(self, arguments, path, seconds=300):
        """Run Python with these arguments until the server answers, with an error too, at this path."""
        self.log_file = self.log.open("w")
        self.process = subprocess.Popen(
            [sys.executable, *arguments], stdout=self.log_file, stderr=subprocess.STDOUT, env=self.env
        )
        end = time.monotonic() + seconds
        while time.monotonic() < end and self.process.poll() is None:
            try:
                urllib.request.urlopen(f"{self.url}{path}", timeout=2).close()
            except urllib.error.HTTPError:
                return
            except OSError:
                time.sleep(0.1)
            else:
                return
        raise RuntimeError(f"the server did not start:\n{self.log.read_text()[-3000:]}")

    def stop(self):
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self.log_file.close()
