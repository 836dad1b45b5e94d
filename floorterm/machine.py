"""What this machine says about itself: whether its clock is kept right, and how much room its disk has."""

import shutil
import sys
from pathlib import Path

LEAST_FREE_MB = 200  # a plant's own measure: a busy year of entries; site policy
_UNSYNCHRONISED = 0x40  # STA_UNSYNC of adjtimex(2)
_TIMEX_BYTES = 208  # struct timex of 64-bit Linux; the kernel writes no more


def clock_synchronised() -> bool | None:
    """Whether something keeps this machine's clock right (an NTP or PTP service); None where it cannot be told.

    Linux alone is asked: the kernel's own mark, adjtimex(2), which any user may read.
    """
    if not sys.platform.startswith("linux"):
        return None
    import ctypes  # noqa: PLC0415  not before somebody asks

    class Timex(ctypes.Structure):
        """The beginning of struct timex, up to the status; `modes` 0 asks and sets nothing."""

        _fields_ = (
            ("modes", ctypes.c_uint),
            ("offset", ctypes.c_long),
            ("freq", ctypes.c_long),
            ("maxerror", ctypes.c_long),
            ("esterror", ctypes.c_long),
            ("status", ctypes.c_int),
            ("rest", ctypes.c_byte * _TIMEX_BYTES),
        )

    asked = Timex(modes=0)
    try:
        state = ctypes.CDLL(None).adjtimex(ctypes.byref(asked))
    except (OSError, AttributeError):
        return None
    return None if state < 0 else not asked.status & _UNSYNCHRONISED


def free_mb(path: Path) -> int | None:
    """Megabytes that are free where a file lies; None if the disk does not say."""
    try:
        return shutil.disk_usage(path.parent).free // 1_000_000
    except OSError:
        return None
