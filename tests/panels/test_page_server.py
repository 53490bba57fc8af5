"""The page is for who has its token, under this machine's names, with few kernels."""

import asyncio
import http.client
import json
import os
import re
import subprocess
import sys
import time

import pytest

pytest.importorskip("voila")
import tornado.web
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager

from flatness.commands import page_server
from flatness.commands.page_server import _VIEWER, MOST_KERNELS, FewKernels, foreign_hosts

TOKEN = "of-the-test"
BOOK = {
    "cells": [
        {"cell_type": "code", "execution_count": None, "id": "a", "metadata": {}, "outputs": [], "source": "6*7"}
    ],
    "metadata": {"kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"}},
    "nbformat": 4,
    "nbformat_minor": 5,
}


@pytest.mark.parametrize(
    ("address", "own", "foreign"),
    [
        ("127.0.0.1", ["127.0.0.1", "localhost", "::1", "[::1]"], ["evil.example", "localhost.evil", "10.0.0.1"]),
        ("0.0.0.0", ["127.0.0.1", "10.0.0.1", "[fe80::1]"], ["evil.example", "10.0.0.1.evil.example", ""]),
    ],
)
def test_only_this_machines_names_are_its_own(address, own, foreign):
    pattern = re.compile(foreign_hosts(address))
    assert not any(pattern.match(name) for name in own)
    assert all(pattern.match(name) for name in foreign)


@pytest.fixture
def kernels(monkeypatch):
    """The kernel manager, with kernels that are names alone."""
    numbers = iter("abcdefghij")

    async def start(self, **_):
        await asyncio.sleep(0.001)
        name = next(numbers)
        self._kernels[name] = None
        return name

    async def end(self, name, **_):
        await asyncio.sleep(0.001)
        del self._kernels[name]

    monkeypatch.setattr(AsyncMappingKernelManager, "start_kernel", start)
    monkeypatch.setattr(AsyncMappingKernelManager, "shutdown_kernel", end)

    async def closed(self):
        return None

    monkeypatch.setattr(FewKernels, "_end_a_closed_one", closed)
    return FewKernels()


def test_one_kernel_a_viewer_and_a_few_at_most(kernels):
    async def ask(viewer):
        _VIEWER.set(viewer)
        return await kernels.start_kernel()

    async def all_of(viewers):
        return await asyncio.gather(*(ask(viewer) for viewer in viewers), return_exceptions=True)

    async def in_turn():
        await all_of(["one"] * 3)
        assert kernels.list_kernel_ids() == ["c"]
        return await all_of([f"viewer {k}" for k in range(MOST_KERNELS)])

    told = asyncio.run(in_turn())
    refused = [one for one in told if isinstance(one, tornado.web.HTTPError)]
    assert [one.status_code for one in refused] == [503]
    assert len(kernels.list_kernel_ids()) == MOST_KERNELS


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    folder = tmp_path_factory.mktemp("page")
    (folder / "book.ipynb").write_text(json.dumps(BOOK))
    environment = {**os.environ, "JUPYTER_TOKEN": TOKEN, "JUPYTER_CONFIG_DIR": str(folder)}
    port = 20_000 + os.getpid() % 20_000
    line = [sys.executable, "-m", "flatness", "present", str(folder / "book.ipynb"), "--no-browser", f"--port={port}"]
    with subprocess.Popen(line, env=environment, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as server:
        assert f"http://127.0.0.1:{port}/?token={TOKEN}" in server.stdout.readline()
        end = time.monotonic() + 90
        while time.monotonic() < end:
            try:
                asked(port, "/login")
                break
            except OSError:
                time.sleep(0.3)
        yield port
        server.terminate()


def asked(port, path, host=None, cookie=None):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    headers = {"Host": host or f"127.0.0.1:{port}"} | ({"Cookie": cookie} if cookie else {})
    try:
        connection.request("GET", path, headers=headers)
        answer = connection.getresponse()
        return answer.status, answer.getheader("Set-Cookie") or "", answer.read().decode()
    finally:
        connection.close()


def test_who_has_no_token_or_asks_under_a_foreign_name_sees_nothing(served):
    for path in ("/", "/?token=guessed"):
        status, _, page = asked(served, path)
        assert status in (302, 403), path
        assert "42" not in page
    for path in (f"/?token={TOKEN}", "/login", "/voila/static/main.js", "/api/kernels/a/channels"):
        status, _, page = asked(served, path, host="evil.example")
        assert (status, page) == (403, "This page is not known by that name."), path
    status, cookie, page = asked(served, f"/?token={TOKEN}")
    assert status == 200
    assert "42" in page
    assert "6*7" not in page  # the code is not shown
    assert page_server.VIEWER in cookie
    assert "HttpOnly" in cookie


def test_a_port_that_is_taken_is_told_before_anything_is_served(served, tmp_path, capsys):
    from flatness.__main__ import main

    (tmp_path / "book.ipynb").write_text(json.dumps(BOOK))
    assert main(["present", str(tmp_path / "book.ipynb"), "--no-browser", f"--port={served}"]) == 2
    assert "choose another --port" in capsys.readouterr().err
