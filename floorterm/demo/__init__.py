"""The demo plant: an invented plant's last two days, built by the program itself from a scenario."""

import atexit
import shutil
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from floorterm.ledger import Head
    from floorterm.plant import Plant


def shipped() -> Path:
    """`demo.db`: inside a wheel beside this module, in a source tree at the top level."""
    inside = Path(str(files("floorterm.demo"))) / "demo.db"
    return inside if inside.exists() else Path(__file__).parents[2] / "demo.db"


def rebuild_to(target: Path) -> "Head":
    """Build the demo ledger anew at `target` (an older file there is replaced) and return its head."""
    from floorterm.demo.build import build  # noqa: PLC0415  a rebuild needs the whole plant

    with tempfile.TemporaryDirectory(dir=target.parent) as folder:
        fresh = Path(folder) / "demo.db"
        head = build(fresh)
        fresh.replace(target)
    return head


def open_copy() -> "Plant":
    """A copy of the demo plant in a folder of its own, its clock running from the scenario's last moment."""
    from floorterm.demo.clock import running_clock  # noqa: PLC0415

    return _open(lambda start: running_clock(start, lambda: datetime.now(UTC)))


def open_still() -> "Plant":
    """A copy of the demo plant whose clock stands: the same picture whenever it is taken."""
    from floorterm.demo.clock import SetClock  # noqa: PLC0415

    return _open(SetClock, folder="checklists")


def _open(clock_from: "Callable[[datetime], Callable[[], datetime]]", folder: str = "") -> "Plant":
    from msgspec.structs import replace  # noqa: PLC0415

    from floorterm.demo.scenario import read_scenario  # noqa: PLC0415
    from floorterm.ledger import Ledger  # noqa: PLC0415
    from floorterm.library import load, starter_folder  # noqa: PLC0415
    from floorterm.plant import Plant  # noqa: PLC0415

    place = Path(tempfile.mkdtemp(prefix="floorterm-demo-"))
    atexit.register(shutil.rmtree, place, ignore_errors=True)
    copy = place / "demo.db"
    shutil.copyfile(shipped(), copy)
    library = load(starter_folder())
    if folder:  # a picture names the folder, not where it lies on this machine
        library = replace(library, folder=folder)
    show_at = read_scenario().show_at.replace(tzinfo=ZoneInfo(library.plant.time_zone))
    return Plant(library, Ledger.open(copy, clock=clock_from(show_at.astimezone(UTC))), "T1")
