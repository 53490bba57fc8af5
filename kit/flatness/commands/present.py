"""``flatness present``: a page for the owner of the room, without code, in a browser on this machine."""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import secrets
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from flatness.comparison.alignment import WAYS
from flatness.errors import ArgumentError, FlatnessError
from flatness.files import why, write_new
from flatness.survey.files import ENDINGS

LOOPBACK, ANYWHERE = ("127.0.0.1", "localhost", "::1"), ("0.0.0.0", "::")
LARGEST_UPLOAD = 256 * 1024**2  # [bytes]; a server that is told nothing loses more than 10 MB in silence
TOKEN = "JUPYTER_TOKEN"
STOPPED = 130  # by Control-C, as a shell shows it


def add_present(parser: argparse.ArgumentParser) -> None:
    """Add what the command takes to its parser."""
    parser.epilog = "It runs until you press Control-C. Exit code: 0 done, 2 bad input."
    parser.set_defaults(run=run_present)
    parser.add_argument("file", help="survey as found, CSV or XLSX; a job file, TOML; or a notebook to show as it is")
    parser.add_argument("--after", metavar="FILE", default="", help="survey of the same surface after the work")
    parser.add_argument("--finish", metavar="NAME", default="", help="what is to come on it, such as wood-glued")
    parser.add_argument("--plan", action="store_true", help="work out the least work for the finish")
    parser.add_argument("--saved", metavar="FILE", default="", help="show the plan that plan --save FILE wrote")
    parser.add_argument(
        "--beneath",
        metavar="KIND",
        default="",
        help="what lies beneath and may be planed, such as boards or slab; nothing comes off where not given",
    )
    parser.add_argument("--align", choices=WAYS, default="benchmarks", help="of both surveys' heights (benchmarks)")
    parser.add_argument("--unit", choices=("in", "mm"), help="unit to show; the survey's own where not given")
    parser.add_argument("--out", metavar="DIR", default=".", help="where pictures and pages are saved (here)")
    add_page(
        parser,
        8866,
        "address to serve on; where not given (127.0.0.1) the page is seen on this machine alone; "
        "anywhere only with its token",
    )


def add_page(parser: argparse.ArgumentParser, port: int, served_on: str) -> None:
    """Add where a page is served, ``served_on`` being the help of its address."""
    parser.add_argument("--port", type=int, default=port, metavar="N", help=f"of the page ({port})")
    parser.add_argument("--ip", default=LOOPBACK[0], help=served_on)
    parser.add_argument("--no-browser", action="store_true", help="do not open a browser, only say where the page is")


def run_present(options: argparse.Namespace) -> int:
    """Serve the page until it is stopped; the number is the exit code.

    Raises
    ------
    FlatnessError : a file that is not there, or no server of pages installed
    """
    check_can_serve(options)
    file = _existing(options.file, (*ENDINGS, ".toml", ".ipynb"))
    with tempfile.TemporaryDirectory(prefix="flatness-") as folder:
        notebook = file if file.suffix.lower() == ".ipynb" else _write_notebook(options, file, Path(folder))
        return serve_page(notebook, options, _said)


def _said(address: str, seen: bool) -> list[str]:
    others = "Others can reach it: give this address, with its token, only to whom you trust."
    return [f"The page is at {address} - press Control-C to stop.", *([others] if seen else [])]


def check_can_serve(options: argparse.Namespace) -> None:
    """Raise FlatnessError where no page can be served: no server of pages, or an address or port not to be had.

    Another port in its place would leave the page elsewhere than where it is said to be.
    """
    if importlib.util.find_spec("voila") is None:
        raise FlatnessError(
            "the page needs voila, which is not installed",
            remedy='in the folder of the kit: .venv/bin/pip install ".[present]"',
        )
    if not 1 <= options.port <= 65535:
        raise ArgumentError("no such port", column="--port", value=str(options.port), expected="1 to 65535")
    family = socket.AF_INET6 if ":" in options.ip else socket.AF_INET
    try:
        with socket.socket(family) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, os.name == "posix")
            probe.bind((options.ip, options.port))
    except OSError as error:
        what, expected = f"the page cannot be served there: {why(error)}", "an address and a port that are free"
        value, remedy = f"{options.ip}, port {options.port}", "choose another --port"
        raise ArgumentError(what, column="--port", value=value, expected=expected, remedy=remedy) from error


def serve_page(notebook: Path, options: argparse.Namespace, said: Callable[[str, bool], Iterable[str]]) -> int:
    """Print what is ``said`` of its address, token and all, and of whether others can reach it, and serve a page."""
    token = os.environ.get(TOKEN) or secrets.token_urlsafe(24)
    host = _own_address() if options.ip in ANYWHERE else options.ip
    address = f"http://{f'[{host}]' if ':' in host else host}:{options.port}/?token={token}"
    for line in said(address, options.ip not in LOOPBACK):
        print(line, flush=True)
    return _serve(server_line(notebook, options), {**os.environ, TOKEN: token})


def _own_address() -> str:
    """This machine's address on the network that it is in; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # of RFC 5737, for documentation: it only chooses the way out
            return str(probe.getsockname()[0])
        except OSError:
            return socket.gethostname()


def _serve(line: list[str], environment: Mapping[str, str]) -> int:
    """Run the server until it ends, or until this program is told to stop: then it stops too."""
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        with subprocess.Popen(line, env=environment) as server:
            try:
                return server.wait()
            except KeyboardInterrupt:
                server.terminate()
                return STOPPED
    finally:
        signal.signal(signal.SIGTERM, before)


def server_line(notebook: Path, options: argparse.Namespace) -> list[str]:
    """The command that serves a notebook as a page without its code."""
    line = [
        sys.executable,
        "-m",
        "flatness.commands.page_server",
        str(notebook),
        f"--Voila.ip={options.ip}",
        f"--port={options.port}",
        "--Voila.port_retries=0",
        "--token",  # from the environment: whoever has it not is turned away
        "--strip_sources=True",
        f"--Voila.tornado_settings={{'websocket_max_message_size': {LARGEST_UPLOAD}}}",
    ]
    return [*line, "--no-browser"] if options.no_browser else line


def _existing(name: str, endings: tuple[str, ...]) -> Path:
    path = Path(name)
    if not path.is_file():
        raise ArgumentError("there is no such file", file=name, remedy="check its name and its folder")
    if path.suffix.lower() not in endings:
        raise ArgumentError(
            "not a file that can be shown here",
            file=name,
            expected=f"a name that ends in {', '.join(endings)}",
            remedy="name a survey, a job file or a notebook; a plan goes with --saved",
        )
    return path.resolve()


def _write_notebook(options: argparse.Namespace, file: Path, folder: Path) -> Path:
    """A notebook of one cell that opens the panel on the files that were named."""
    saved = str(_existing(options.saved, (".json",))) if options.saved else ""
    after = str(_existing(options.after, ENDINGS)) if options.after else ""
    settings: dict[str, Any] = {
        "before": str(file),
        "after": after,
        "finish": options.finish,
        "plan": saved or options.plan,
        "beneath": options.beneath,
        "align": options.align,
        "unit": options.unit,
        "folders": [str(file.parent)],
        "keep_in": str(Path(options.out).resolve()),
    }
    path = folder / "present.ipynb"
    source = f"from flatness.panels.present import present_panel\n\npresent_panel(**{settings!r})"
    return write_new(path, json.dumps(notebook_of(source)).encode())


def notebook_of(source: str) -> dict[str, Any]:
    """A notebook of one cell as it is written to its file."""
    cell: dict[str, Any] = {
        "cell_type": "code",
        "execution_count": None,
        "id": "panel",
        "metadata": {},
        "outputs": [],
        "source": source,
    }
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    return {"cells": [cell], "metadata": {"kernelspec": kernel}, "nbformat": 4, "nbformat_minor": 5}
