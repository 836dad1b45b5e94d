"""The log of one terminal: when it started, what went wrong, when it ended. For whoever looks after the machine.

It holds no PIN, no typed text and no name: only what the program itself says about its own state. The record of
the plant is the ledger; nothing is ever read back from here.
"""

import logging
from pathlib import Path
from time import gmtime

LOG = logging.getLogger("floorterm")
LOG.addHandler(logging.NullHandler())  # else warnings would be printed into the screen
_BYTES, _KEPT = 1_000_000, 5  # the file and five older ones


def open_log(path: Path) -> str:
    """Write to a file from now on, which is put aside at a megabyte; the reason where it cannot be written."""
    from logging.handlers import RotatingFileHandler  # noqa: PLC0415  after the first frame

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handler = RotatingFileHandler(path, maxBytes=_BYTES, backupCount=_KEPT, encoding="utf-8")
    except OSError as fault:
        return str(fault)
    formatter = logging.Formatter("%(asctime)sZ %(levelname)s %(message)s", "%Y-%m-%dT%H:%M:%S")
    formatter.converter = gmtime
    handler.setFormatter(formatter)
    LOG.addHandler(handler)
    LOG.setLevel(logging.INFO)
    LOG.propagate = False
    return ""
