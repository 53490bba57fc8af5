"""The server of the owner's page: only who has the token, under this machine's own names, and few kernels.

``python -m flatness.commands.page_server NOTEBOOK`` is what ``flatness present`` runs; the token comes in the
environment variable ``JUPYTER_TOKEN``, where no list of processes shows it.
"""

from __future__ import annotations

import asyncio
import os
import re
import secrets
import socket
import webbrowser
from contextvars import ContextVar
from datetime import UTC, datetime, timedelta
from html import escape
from pathlib import Path
from typing import Any

import tornado.web
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager
from voila.app import Voila
from voila.tornado.handler import TornadoVoilaHandler

from flatness.commands.present import LOOPBACK, TOKEN

MOST_KERNELS = 4  # pages that are open at once, each with a Python of its own
IDLE_S, LOOK_S = 900, 60  # a kernel whose page was closed is ended after so long; how often that is looked for
YOUNG = timedelta(seconds=60)  # a page that is still being made is not taken for a closed one
VIEWER = "flatness-viewer"  # the cookie that tells one browser from another
FULL = "This page is open in as many places as it can be. Close it in one of them, then load it again here."

_VIEWER: ContextVar[str] = ContextVar("who asks for the page", default="")


class FewKernels(AsyncMappingKernelManager):
    """One kernel a viewer, and :data:`MOST_KERNELS` at most."""

    def __init__(self, **traits: Any) -> None:
        super().__init__(**traits)  # type: ignore[no-untyped-call]
        self._one_at_a_time = asyncio.Lock()
        self._of_viewer: dict[str, str] = {}

    async def start_kernel(self, **options: Any) -> str:  # type: ignore[override]
        """Start a kernel for the viewer who asks, whose earlier one is ended.

        Raises
        ------
        tornado.web.HTTPError : 503, as many pages are open as may be
        """
        async with self._one_at_a_time:
            viewer = _VIEWER.get()
            earlier = self._of_viewer.pop(viewer, None)
            if earlier in self.list_kernel_ids():
                await self.shutdown_kernel(earlier)  # type: ignore[no-untyped-call]
            if len(self.list_kernel_ids()) >= MOST_KERNELS:
                await self._end_a_closed_one()
            if len(self.list_kernel_ids()) >= MOST_KERNELS:
                raise tornado.web.HTTPError(503)
            kernel = str(await super().start_kernel(**options))
            self._of_viewer[viewer] = kernel
            return kernel

    async def _end_a_closed_one(self) -> None:
        closed = [
            (kernel.last_activity, name)
            for name, kernel in self._kernels.items()
            if not self._kernel_connections.get(name) and datetime.now(UTC) - kernel.last_activity > YOUNG
        ]
        if closed:
            await self.shutdown_kernel(min(closed)[1])  # type: ignore[no-untyped-call]


class Page(TornadoVoilaHandler):  # type: ignore[misc]
    """The page, for one viewer."""

    @tornado.web.authenticated
    async def get(self, path: str | None = None) -> None:
        """Make the page; each browser has one."""
        known = self.get_secure_cookie(VIEWER)
        viewer = known.decode() if known else secrets.token_hex(8)
        self.set_secure_cookie(VIEWER, viewer, httponly=True, samesite="Strict")
        said = _VIEWER.set(viewer)
        try:
            await super().get(path)
        except tornado.web.HTTPError as error:
            if error.status_code != 503:
                raise
            self.set_status(503)
            self.finish(f"<!doctype html><meta charset='utf-8'><title>In use</title><p>{escape(FULL)}</p>")
        finally:
            _VIEWER.reset(said)


class Refused(tornado.web.RequestHandler):
    """Whatever is asked for under another name than this machine's: a page of somebody else may be asking."""

    def prepare(self) -> None:
        """Say so."""
        self.set_status(403)
        self.finish("This page is not known by that name.")


def foreign_hosts(address: str) -> str:
    """A pattern of the names under which the page must not be asked for, where it is served on ``address``.

    A number is no name that somebody else could turn to this machine.
    """
    own = [*LOOPBACK, r"\[::1\]"]
    names = [re.escape(name) if "\\" not in name else name for name in own]
    if address not in LOOPBACK:
        names += [re.escape(socket.gethostname().lower()), r"[0-9.]+", r"\[?[0-9a-f:.]+\]?"]
    return rf"^(?!(?:{'|'.join(names)})$).*$"


class PageServer(Voila):  # type: ignore[misc]
    """The server, with what it lacks of its own."""

    def initialize(self, argv: list[str] | None = None) -> None:
        """Read what is asked for."""
        super().initialize(argv)
        self.config.VoilaConfiguration.multi_kernel_manager_class = FewKernels
        self.voila_configuration.multi_kernel_manager_class = FewKernels
        self.config.MappingKernelManager.cull_idle_timeout = IDLE_S
        self.config.MappingKernelManager.cull_interval = LOOK_S

    def init_settings(self) -> dict[str, Any]:
        """Settings of the server; from here on the token stands in no kernel's environment."""
        settings: dict[str, Any] = super().init_settings()
        assert self.identity_provider.token  # is read when it is first asked for
        os.environ.pop(TOKEN, None)
        return settings

    def init_handlers(self) -> list[Any]:
        """What answers; first of all who asks under a foreign name is turned away."""
        self.app.add_handlers(foreign_hosts(self.ip), [(r".*", Refused)])
        return [
            (rule[0], Page, *rule[2:]) if rule[1] is TornadoVoilaHandler else rule for rule in super().init_handlers()
        ]

    def launch_browser(self) -> None:
        """Open the page with its token, by a file that nobody else can read."""
        target = escape(f"http://{self.ip}:{self.port}/?token={self.identity_provider.token}", quote=True)
        way = Path(self.connection_dir) / "open.html"
        number = os.open(way, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(number, "w") as file:
            file.write(f'<!doctype html><meta http-equiv="refresh" content="0;url={target}">')
        webbrowser.open(way.as_uri())


if __name__ == "__main__":
    from flatness.commands import page_server

    page_server.PageServer.launch_instance()
