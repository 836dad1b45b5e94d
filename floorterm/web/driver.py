"""The terminal's end of the pipe to the server: it ends with it, however the server ended."""

import asyncio
import os
from functools import partial
from typing import Any

from textual import messages
from textual.drivers.web_driver import WebDriver


class BrowserDriver(WebDriver):
    """Textual's driver for browsers, which by itself would stay when the server was killed."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._loop = asyncio.get_running_loop()
        self._write = partial(self._written_or_gone)

    def _written_or_gone(self, data: bytes) -> int:
        """Write to the server; where nobody reads any more, the end of the input ends the terminal."""
        try:
            return os.write(self.fileno, data)
        except BrokenPipeError:
            return len(data)

    def run_input_thread(self) -> None:
        """Take keys until there are no more: the server went away, or it asked the terminal to end."""
        super().run_input_thread()
        if not self._loop.is_closed():
            asyncio.run_coroutine_threadsafe(self._app._post_message(messages.ExitApp()), self._loop)
