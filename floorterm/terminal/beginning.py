"""The beginning of a terminal: the record is opened, or the screen says why not; and what a signal ends."""

import asyncio
import signal
from collections.abc import Callable
from typing import TYPE_CHECKING

from floorterm.terminal.log import LOG
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.plant import Plant
    from floorterm.terminal.app import FloorApp


def leave_on_signals(app: "FloorApp") -> None:
    """A terminal that is told to go is given back as it was found."""
    loop = asyncio.get_running_loop()

    def told(number: int) -> None:
        LOG.info("told to go by signal %d", number)
        app.exit(return_code=128 + number)

    for name in ("SIGTERM", "SIGHUP"):
        number = getattr(signal, name, None)
        if number is None:
            continue
        try:
            loop.add_signal_handler(number, told, int(number))
        except (NotImplementedError, RuntimeError):
            return  # a platform, or a thread, without signals


async def open_record(app: "FloorApp", opener: "Callable[[], Plant]") -> bool:
    """Open the plant; whether it is open now. Where it cannot be opened a screen says why."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415  after the first frame
    from floorterm.library import LibraryError  # noqa: PLC0415

    try:
        await app.desk.open(opener)
    except LibraryError as fault:
        LOG.error("checklists not opened: %d faults", len(fault.faults))
        first = words("terminal.library_faults", app.language, n=len(fault.faults))
        _show_trouble(app, (first, *map(str, fault.faults)))
        return False
    except (LedgerError, OSError) as fault:
        LOG.error("record not opened: %s: %s", type(fault).__name__, fault)
        _show_trouble(app, app.desk.sentences(fault))
        return False
    except Exception as fault:
        _show_trouble(app, (app.own_faults.sentence(fault),))
        return False
    return app.desk.is_open  # or left meanwhile


def _show_trouble(app: "FloorApp", sentences: tuple[str, ...]) -> None:
    """First aid and trying again stay possible."""
    from floorterm.terminal.screens.trouble import TroubleScreen  # noqa: PLC0415

    if dropped := app.ear.forget():
        app.say("")  # that it is kept
        sentences = (words("terminal.not_carried_out", app.language, n=dropped), *sentences)
    app.sight = None  # the record was seen before it could not be opened: nobody knows how long ago
    app.push_screen(TroubleScreen(sentences))
