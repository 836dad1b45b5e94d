"""A year's ledger of 300 changeovers: what each report and each screen takes.

    python -m tests.benchmarks.year [FILE]     about two minutes; FILE keeps the ledger

The changeovers are the demo plant's, again and again over 365 days, each repetition at a pace of its own (log-normal,
sigma 0.2, the same every time), whole worksheets and all. Reports are timed as processes, from the start of the
interpreter to the written PDF; screens from being pushed until their rows stand, at 80x24, by a terminal that has read
nothing before (first) and once more (again).
"""

import asyncio
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

from textual.screen import Screen

from floorterm.demo import open_still
from floorterm.demo.clock import SetClock
from floorterm.ledger import Ledger
from floorterm.plant import Plant
from floorterm.shift.window import window_at
from floorterm.terminal.app import FloorApp
from floorterm.terminal.screens.audit import AuditScreen
from floorterm.terminal.screens.document import StudyScreen, changeover_screen
from floorterm.terminal.screens.entries import EntriesScreen
from floorterm.terminal.screens.inspections import InspectionsScreen
from floorterm.terminal.screens.lots import LotsScreen
from floorterm.terminal.screens.minutes import MinutesScreen
from floorterm.terminal.screens.review import ReviewScreen
from floorterm.terminal.screens.shift import ShiftScreen
from floorterm.terminal.widgets.rows import Rows
from tests.benchmarks.grown_ledger import Days, grow

CHANGEOVERS = 300
_RELEASED = 9  # of the demo's two days
_SEED = 20261124
_READ_BESIDE = ("_audit", "_made")  # what a screen reads in another thread before it has rows


def year(path: Path) -> timedelta:
    """The ledger at a path; how much later than the demo it ends."""
    days = Days.of_demo()
    rounds = -(-CHANGEOVERS // _RELEASED) - 1  # the newest days stand as they were
    chance = random.Random(_SEED)
    return grow(
        path,
        len(days.first) + rounds * len(days.finished) + len(days.all),
        apart=timedelta(days=365) / (rounds + 1),
        pace=lambda: chance.lognormvariate(0.0, 0.2),
    )


def _say(what: str, figure: str) -> None:
    print(f"  {what:<52} {figure}", flush=True)  # noqa: T201  a script that prints


def _plant(path: Path, later: timedelta) -> Plant:
    demo = open_still()
    return Plant(demo.library, Ledger.open(path, clock=SetClock(demo.ledger.now() + later)), "T1")


def _reports(path: Path, plant: Plant) -> None:
    today = plant.today()
    year_ago, month = (today - timedelta(days=365)).isoformat(), f"{today:%Y-%m}"
    work = next(state.work for state in reversed(plant.works()) if state.status == "released")
    lockout = next(ref.changeover for ref in plant.ledger.refs(kinds=("lockout.event",), newest_first=True))
    job = next(iter(plant.state(lockout).locks))
    asked = {
        "audit of a month": ["audit", "--month", month],
        "record of a changeover": ["changeover", work],
        "deviations of a month": ["deviations", "--since", (today - timedelta(days=30)).isoformat()],
        "deviations of a year": ["deviations", "--since", year_ago],
        "record of a lockout": ["lockout", f"{lockout}/{job}"],
        "report of a shift": ["shift"],
        "time study of a year": ["study", "--since", year_ago],
    }
    moment = {"SOURCE_DATE_EPOCH": f"{int(plant.now().timestamp())}"}
    for name, arguments in asked.items():
        for form in ("pdf", "xlsx"):
            out = path.with_suffix(f".{form}")
            command = [sys.executable, "-m", "floorterm", "report", *arguments, "--db", str(path)]
            until = ["--until", today.isoformat()] if arguments[0] in ("deviations", "study") else []
            begun = time.perf_counter()
            subprocess.run(
                [*command, *until, "--format", form, "--out", str(out)],
                check=True,
                capture_output=True,
                env={**os.environ, **moment},
            )
            _say(f"{name}, {form}", f"{time.perf_counter() - begun:8.2f} s")


async def _screens(open_plant: Callable[[], Plant]) -> None:
    plant = open_plant()
    zone, shifts = plant.zone, plant.library.plant.shifts
    window = window_at(shifts, plant.now() - timedelta(hours=6), zone)
    work = next(state.work for state in reversed(plant.works()) if state.status == "released")
    screens: dict[str, Callable[[], Screen[None]]] = {
        "Shift": ShiftScreen,
        "Review": lambda: ReviewScreen(window, {}),
        "Minutes of a changeover": lambda: MinutesScreen(work),
        "Entries of a changeover": lambda: EntriesScreen(work=work),
        "Entries of a shift": lambda: EntriesScreen(window=window),
        "Lots": LotsScreen,
        "Audit of the month": AuditScreen,
        "Inspections": InspectionsScreen,
        "Record of a changeover": lambda: changeover_screen(work),
        "Time study of a month": StudyScreen,
    }
    for name, screen in screens.items():
        app = FloorApp(open_plant)
        async with app.run_test(size=(80, 24)) as pilot:
            while not app.desk.is_open:
                await pilot.pause(0.01)
            took = [await _until_shown(app, screen()) for _ in range(2)]
        _say(name, f"first {took[0]:7.2f} s, again {took[1]:7.2f} s")


async def _until_shown(app: FloorApp, screen: Screen[None]) -> float:
    begun = time.perf_counter()
    await app.push_screen(screen)
    while not (found := screen.query(Rows)) or not (found.first().rows or found.first().empty):
        await asyncio.sleep(0.002)
    while any(getattr(screen, name, True) is None for name in _READ_BESIDE):
        await asyncio.sleep(0.002)
    shown = found.first()
    while not shown.rows and not isinstance(screen, AuditScreen | InspectionsScreen):
        await asyncio.sleep(0.002)
    took = time.perf_counter() - begun
    app.pop_screen()
    return took


def main(kept: Path | None) -> None:
    """Make the year, time reports and screens."""
    with tempfile.TemporaryDirectory() as name:
        path = kept or Path(name) / "year.db"
        begun = time.perf_counter()
        later = year(path)
        plant = _plant(path, later)
        released = sum(one.status == "released" and one.worksheet.procedure is None for one in plant.works())
        size = path.stat().st_size / 1e6
        print(f"{released} changeovers, {plant.ledger.head().n:,} entries, {size:,.0f} MB")  # noqa: T201
        _say("written and read whole once", f"{time.perf_counter() - begun:8.1f} s")
        _reports(path, plant)
        asyncio.run(_screens(lambda: _plant(path, later)))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
