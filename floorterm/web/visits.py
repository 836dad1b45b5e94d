"""One process of the terminal for each visitor: how it is started, what it is given, how it ends."""

import asyncio
import os
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import Sequence
from contextlib import suppress

from aiohttp import web
from textual_serve.app_service import AppService
from textual_serve.download_manager import DownloadManager

from floorterm.terminal.early import BROWSER_DRIVER

PATIENCE_S = 10.0  # an entry that is being written is let be written
_COLUMNS, _LINES = (20, 500), (5, 200)  # sizes that a window may ask for
_KEPT = frozenset(
    {
        *(
            "PATH",
            "HOME",
            "USER",
            "LOGNAME",
            "LANG",
            "LANGUAGE",
            "TZ",
            "TMPDIR",
            "TEMP",
            "TMP",
            "COLUMNS",
            "ROWS",
        ),
        *("SYSTEMROOT", "APPDATA", "LOCALAPPDATA", "PROGRAMDATA", "PYTHONPATH"),
    }
)
_KEPT_BEGINNINGS = ("LC_", "XDG_", "PG", "TEXTUAL_", "TERM_PROGRAM")


class Visit(AppService):
    """A visitor's terminal. `arguments` follow `floorterm`; no shell reads them, and no PIN is among them."""

    def __init__(self, websocket: web.WebSocketResponse, arguments: Sequence[str], place: str) -> None:
        super().__init__(
            "",
            write_bytes=self._to_browser,
            write_str=self._said,
            close=self._left,
            download_manager=DownloadManager(),
        )
        self._websocket = websocket
        self._arguments = tuple(arguments)
        self._place = place

    async def _to_browser(self, data: bytes) -> None:
        """What the terminal draws; once the window is closed it is read all the same, so that the process can end."""
        with suppress(ConnectionError):
            await self._websocket.send_bytes(data)

    async def _said(self, _: str) -> None:
        """The terminal opens no other page and hands out no file."""

    async def _left(self) -> None:
        await self._websocket.close()

    def _build_environment(self, width: int = 80, height: int = 24) -> dict[str, str]:
        """What the library sets, and of the server's own environment only what a terminal needs."""
        told = super()._build_environment(width, height)
        kept = {
            name: value for name, value in told.items() if name in _KEPT or name.startswith(_KEPT_BEGINNINGS)
        }
        return kept | {
            "TEXTUAL_DRIVER": BROWSER_DRIVER,
            "TERM": "xterm-256color",
            "PYTHONUTF8": "1",
            "FLOORTERM_DB": self._place,
        }

    async def _open_app_process(self, width: int = 80, height: int = 24) -> Process:
        process = await asyncio.create_subprocess_exec(
            *(sys.executable, "-P", "-m", "floorterm", *self._arguments),
            stdin=PIPE,
            stdout=PIPE,
            stderr=PIPE,
            env=self._build_environment(width, height),
            start_new_session=os.name == "posix",  # Ctrl+C at the server's console is the server's
        )
        assert process.stdin is not None
        self._process, self._stdin = process, process.stdin
        return process

    async def begin(self, width: int, height: int) -> None:
        """Start the process for a window of that many columns and lines."""
        await self.start(*within(width, height))

    async def run(self) -> None:
        """Carry what the terminal draws until it ends, however it ends; the window is told."""
        try:
            await super().run()
        finally:
            await self._left()

    async def told(self, envelope: object) -> bool:
        """Hand a message of the browser on; whether it was a key or a tap. What is not understood is left out."""
        match envelope:
            case ["stdin", str(data)]:
                await self.send_bytes(data.encode("utf-8", "replace"))
                return True
            case ["resize", {"width": int(width), "height": int(height)}]:
                columns, lines = within(width, height)
                await self.set_terminal_size(columns, lines)
            case ["blur"]:
                await self.blur()
            case ["focus"]:
                await self.focus()
        return False

    async def stop(self) -> None:
        """End the process: asked first, and only after a while told."""
        process, task = self._process, self._task
        self._process = self._task = None
        if process is None or task is None:
            return
        with suppress(ConnectionError):
            await self.send_meta({"type": "quit"})
        self.stdin.close()
        await asyncio.wait({task}, timeout=PATIENCE_S)
        try:
            await asyncio.wait_for(process.wait(), 0.1 if not task.done() else PATIENCE_S)
        except TimeoutError:
            process.kill()
            await process.wait()
        await task


def within(width: int, height: int) -> tuple[int, int]:
    """Columns and lines that a terminal is opened with, whatever a browser asks for."""
    return _clamped(width, _COLUMNS), _clamped(height, _LINES)


def _clamped(value: int, limits: tuple[int, int]) -> int:
    return max(limits[0], min(limits[1], value))
