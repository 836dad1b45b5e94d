"""The demo plant: an invented plant's last two days, built by the program itself from a scenario."""

import shutil
import tempfile
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

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
    from floorterm.demo.scenario import read_scenario  # noqa: PLC0415
    from floorterm.ledger import Ledger  # noqa: PLC0415
    from floorterm.library import load, starter_folder  # noqa: PLC0415
    from floorterm.plant import Plant  # noqa: PLC0415

    folder = Path(tempfile.mkdtemp(prefix="floorterm-demo-"))
    copy = folder / "demo.db"
    shutil.copyfile(shipped(), copy)
    library = load(starter_folder())
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    show_at = read_scenario().show_at.replace(tzinfo=ZoneInfo(library.plant.time_zone))
    clock = running_clock(show_at.astimezone(UTC), lambda: datetime.now(UTC))
    return Plant(library, Ledger.open(copy, clock=clock), "T1")
