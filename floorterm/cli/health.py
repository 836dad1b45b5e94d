"""`floorterm health`: what whoever looks after the machine wants to know, for people and for monitoring."""

import platform
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click
from msgspec import Struct
from msgspec.structs import asdict

from floorterm import __version__
from floorterm.cli.common import (
    Status,
    db_option,
    default_db,
    json_option,
    open_ledger,
    print_json,
    print_table,
)
from floorterm.ledger import Place
from floorterm.ledger.persons import PIN_BURST, PIN_OFF
from floorterm.machine import LEAST_FREE_MB, clock_synchronised, free_mb

if TYPE_CHECKING:
    from floorterm.ledger import Ledger

BACKUP_MADE = "backup.made"
_AHEAD = timedelta(seconds=2)  # as far as two clocks that are kept right may part
_STALE = timedelta(days=1)


class Finding(Struct, frozen=True):
    """One thing that was looked at. `state` is "well", "attention" or "unknown"."""

    what: str
    state: str
    told: str


@click.command()
@click.option("--backup-days", default=7, show_default=True, help="How old the last verified backup may be.")
@json_option
@db_option
def health(backup_days: int, as_json: bool, db: Place | None) -> None:
    """Ledger, clock, disk and backup of this machine at a glance. Exit status 1 where something needs attention.

    Only the ledger's head and its last entries are read; `floorterm verify` reads all of it.
    """
    place = db or default_db()
    ledger = open_ledger(place, read_only=True)
    now = datetime.now(UTC)
    found = (
        *_of_ledger(ledger, now, timedelta(days=backup_days)),
        _of_clock(),
        *((_of_disk(place),) if isinstance(place, Path) else ()),
        Finding("versions", "well", _versions()),
    )
    if as_json:
        print_json([asdict(finding) for finding in found])
    else:
        print_table(("what", "state", ""), [(one.what, one.state, one.told) for one in found])
    click.get_current_context().exit(
        Status.SHORT if any(one.state == "attention" for one in found) else Status.WELL
    )


def _of_ledger(ledger: "Ledger", now: datetime, backup_within: timedelta) -> Iterator[Finding]:
    head = ledger.head()
    yield Finding("ledger", "well", f"{ledger.store.name}, entry {head.n} of {head.at:%Y-%m-%d %H:%M} UTC")
    ahead = head.at - now
    yield Finding(
        "newest entry",
        "attention" if ahead > _AHEAD else "well",
        f"{ahead.total_seconds():.0f} s after this machine's time: one of the clocks is wrong"
        if ahead > _AHEAD
        else "not after this machine's time",
    )
    backups = ledger.refs(kinds=(BACKUP_MADE,), newest_first=True, limit=1)
    age = now - backups[0].at if backups else None
    yield Finding(
        "backup",
        "well" if age is not None and age <= backup_within else "attention",
        "none is recorded" if age is None else f"the last verified one is {_ago(age)} old",
    )
    tried = ledger.refs(kinds=(PIN_BURST, PIN_OFF), since=now - _STALE)
    yield Finding(
        "wrong PINs",
        "attention" if tried else "well",
        f"many in a row within a day: look at entry {tried[-1].n}" if tried else "not many in a row",
    )


def _ago(age: timedelta) -> str:
    return f"{age.days} days" if age >= _STALE else f"{age.total_seconds() / 3600:.1f} h"


def _of_clock() -> Finding:
    kept = clock_synchronised()
    state = "unknown" if kept is None else "well" if kept else "attention"
    told = {
        "well": "the system says that the clock is synchronised",
        "attention": "the system says that nothing synchronises the clock: times in the record may be wrong",
        "unknown": "this system does not say whether the clock is synchronised",
    }
    return Finding("clock", state, told[state])


def _of_disk(place: Path) -> Finding:
    free = free_mb(place)
    state = "unknown" if free is None else "well" if free >= LEAST_FREE_MB else "attention"
    return Finding("disk", state, "not told" if free is None else f"{free} MB free")


def _versions() -> str:
    return f"floorterm {__version__}, Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}"
