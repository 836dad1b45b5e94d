"""A fault that nobody expected: its traceback goes to a file, one calm sentence to the person."""

import tempfile
import traceback
from datetime import UTC, datetime
from pathlib import Path


def keep(fault: BaseException, folder: Path | None = None) -> Path | None:
    """Write the traceback of a fault to a file and return its path; None if it cannot be written anywhere.

    The values of variables are left out: one of them could be a PIN.
    """
    text = "".join(traceback.format_exception(_met(fault)))
    name = f"floorterm-fault-{datetime.now(UTC):%Y%m%dT%H%M%S}.txt"
    for place in (folder or _log_folder(), Path(tempfile.gettempdir())):
        try:
            place.mkdir(parents=True, exist_ok=True)
            path = place / name
            path.write_text(text, encoding="utf-8")
        except OSError:  # a read-only home: try the next place
            continue
        return path
    return None


def place_of(fault: BaseException) -> tuple[str, str, int]:
    """What kind of fault it is and where it was raised: the same for the same fault met again."""
    frames = traceback.extract_tb(fault.__traceback__)
    last = frames[-1] if frames else None
    return type(fault).__name__, last.filename if last else "", (last.lineno or 0) if last else 0


def _met(fault: BaseException) -> BaseException:
    """What a worker met, with its traceback: Textual's own error around it has none."""
    from textual.worker import WorkerFailed  # noqa: PLC0415  only when something went wrong

    return fault.error if isinstance(fault, WorkerFailed) else fault


def _log_folder() -> Path:
    from platformdirs import user_log_path  # noqa: PLC0415  only when something went wrong

    return user_log_path("floorterm")
