"""What a record's size costs: the same questions to a ledger of a hundred, of ten thousand and of a million entries.

    python -m tests.benchmarks.grown_ledger [ENTRIES ...]     default 100 10000 1000000 (1.5 GB of disk)

The entries are the demo plant's own, over and over: every finished piece of work of its two days with its whole
worksheet, numbered, dated and chained anew, every other day of the plant after the last. The newest days are left
as they were, a changeover in the middle of a lockout. Printed for each size: seconds of `floorterm status` as a
process, of the first screen with the record, milliseconds of drawing Work, of a signature, of `shift`, of the
review of a shift and of the audit of a month, then what verifying costs beside hashing the same texts.
"""

import hashlib
import json
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from floorterm.changeover.acts import Note
from floorterm.demo import open_still, shipped
from floorterm.demo.clock import SetClock
from floorterm.entries import canonical, digest, instant, stamp
from floorterm.ledger import Ledger
from floorterm.ledger.guards import GUARDS
from floorterm.plant import Plant, Who
from floorterm.review.lockout_audit import audit_period, month_of
from floorterm.shift.window import window_at
from floorterm.shift_review import review_of
from floorterm.terminal.plain import shift_text
from floorterm.terminal.views.shown import work_view
from tests.terminal.pty_run import PseudoTerminal

SIZES = (100, 10_000, 1_000_000)
_APART = timedelta(days=2)
_MARK = "@{}@"
_PLACES = ("at", "changeover", "key", "n", "prev", "corrects", "about")
_ABOUT = {
    "deviation.disposed": "deviation",
    "inspection.reviewed": "inspection",
    "inspection.corrected": "inspection",
    "shift.countersigned": "signed",
}


@dataclass(frozen=True)
class Template:
    """An entry of the demo as text with places to fill, and what it refers to."""

    text: str
    n: int
    at: datetime
    work: str
    corrects: int
    about: int


def _template(body: dict[str, Any]) -> Template:
    about = _ABOUT.get(body["kind"], "")
    found = Template(
        text="",
        n=body["n"],
        at=instant(body["at"]),
        work=body.get("changeover", ""),
        corrects=body.get("corrects", 0),
        about=body["value"][about] if about else 0,
    )
    for place in ("at", "changeover", "key", "n", "prev", "corrects"):
        if place in body:
            body[place] = _MARK.format(place)
    if found.corrects:
        body["value"]["corrects"] = _MARK.format("corrects")
    if about:
        body["value"][about] = _MARK.format("about")
    text = canonical(body)
    for number in ("n", "corrects", "about"):
        text = text.replace(f'"{_MARK.format(number)}"', _MARK.format(number))
    return replace(found, text=text)


@dataclass
class Days:
    """The demo's two days as templates, to be written again and again behind a ledger's head."""

    first: list[tuple[str, str]]  # people, what lines hold: as they stand
    finished: list[Template]
    all: list[Template]

    @classmethod
    def of_demo(cls) -> "Days":
        with closing(sqlite3.connect(f"file:{shipped()}?mode=ro", uri=True)) as connection:
            rows = connection.execute(
                "SELECT body, hash, changeover, kind FROM entries ORDER BY n"
            ).fetchall()
        ended = {work for _, _, work, kind in rows if kind in ("work.released", "work.abandoned")}
        first = []
        for body, hash_, work, _ in rows:
            if work:
                break
            first.append((body, hash_))
        behind = [_template(json.loads(body)) for body, *_ in rows[len(first) :]]
        return cls(first=first, finished=[one for one in behind if one.work in ended], all=behind)


@dataclass
class Writer:
    """The head of a growing chain, and the numbers that works have reached."""

    n: int
    prev: str
    counts: dict[str, int]

    def written(
        self, templates: Sequence[Template], later: timedelta, pace: float = 1.0
    ) -> Iterator[tuple[int, str, str]]:
        """Rows of the days, `later` than in the demo, everything taking `pace` times as long."""
        begin = templates[0].at
        numbers: dict[int, int] = {}
        names: dict[str, str] = {}
        for template in templates:
            self.n += 1
            numbers[template.n] = self.n
            if template.work and template.work not in names:
                prefix = template.work[0]
                self.counts[prefix] = self.counts.get(prefix, 0) + 1
                names[template.work] = f"{prefix}-{self.counts[prefix]:04d}"
            text = template.text
            for place, value in zip(
                _PLACES,
                (
                    stamp(begin + (template.at - begin) * pace + later),
                    names.get(template.work, ""),
                    f"g-{self.n}",
                    str(self.n),
                    self.prev,
                    str(numbers.get(template.corrects, 0)),
                    str(numbers.get(template.about, 0)),
                ),
                strict=True,
            ):
                text = text.replace(_MARK.format(place), value)
            self.prev = digest(text)
            yield self.n, text, self.prev


def grow(
    path: Path, entries: int, *, apart: timedelta = _APART, pace: Callable[[], float] = lambda: 1.0
) -> timedelta:
    """A ledger of about so many entries at a path; how much later than the demo it ends.

    The days are repeated `apart`, each at a pace of its own.
    """
    days = Days.of_demo()
    shutil.copyfile(shipped(), path)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("PRAGMA journal_mode = OFF")
        for guard in GUARDS:
            connection.execute(f"DROP TRIGGER {guard}")
        connection.execute("BEGIN")
        connection.execute("DELETE FROM entries WHERE n > ?", (len(days.first),))
        connection.execute("COMMIT")
        writer = Writer(len(days.first), days.first[-1][1], {})
        later = timedelta(0)
        connection.execute("BEGIN")
        while entries - writer.n >= len(days.finished) + len(days.all):
            _insert(connection, writer.written(days.finished, later, pace()))
            later += apart
        connection.execute("COMMIT")
        for statement in GUARDS.values():
            connection.execute(statement)
    if later:
        _stand(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("BEGIN")
        row = connection.execute("SELECT n, hash FROM entries ORDER BY n DESC LIMIT 1").fetchone()
        writer.n, writer.prev = row
        newest = days.all if entries > len(days.all) else _beginning(days.all, entries - writer.n)
        _insert(connection, writer.written(newest, later))
        connection.execute("COMMIT")
    return later


def _beginning(templates: list[Template], count: int) -> list[Template]:
    """What belongs to no work, and the work that is open, from its start on."""
    newest = next(template.work for template in reversed(templates) if template.work)
    return [template for template in templates if template.work in ("", newest)][:count]


def _insert(connection: sqlite3.Connection, rows: Iterator[tuple[int, str, str]]) -> None:
    connection.executemany("INSERT INTO entries (n, body, hash) VALUES (?, ?, ?)", rows)


def _stand(path: Path) -> None:
    """What a start would have recorded by now."""
    from floorterm.changeover.standing import STANDS
    from floorterm.changeover.worksheet import to_json
    from floorterm.entries import Draft

    plant = _plant(path, timedelta(0))
    begin = time.perf_counter()
    value = to_json(plant.standing())
    _say("read whole once, without a standing", f"{time.perf_counter() - begin:10.2f} s")
    last = plant.ledger.head().at
    Ledger.open(path, clock=SetClock(last)).append(
        Draft(kind=STANDS, key="stands", terminal="T1", value=value)
    )


def _plant(path: Path, later: timedelta) -> Plant:
    demo = open_still()
    return Plant(demo.library, Ledger.open(path, clock=SetClock(demo.ledger.now() + later)), "T1")


# --- measuring ----------------------------------------------------------------------------------------


def _say(what: str, figure: str) -> None:
    print(f"  {what:<52} {figure}", flush=True)  # noqa: T201  a script that prints


def _p50(work: Callable[[int], object], times: int) -> str:
    spent = []
    for number in range(times):
        begin = time.perf_counter()
        work(number)
        spent.append((time.perf_counter() - begin) * 1000)
    return f"{statistics.median(spent):10.1f} ms"


def _status(path: Path) -> None:
    command = [sys.executable, "-m", "floorterm", "status", "--db", str(path)]
    spent = []
    for _ in range(5):
        begin = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        spent.append(time.perf_counter() - begin)
    _say("floorterm status, the whole process", f"{statistics.median(spent):10.2f} s")


def _first_screen(path: Path) -> None:
    spent = []
    for _ in range(3):
        begin = time.perf_counter()
        terminal = PseudoTerminal([sys.executable, "-m", "floorterm", "open", "--db", str(path)])
        while "Line 1" not in terminal.text():
            if not terminal.pump(60):
                raise SystemExit(f"it closed before its first screen:\n{terminal.text()}")
        spent.append(time.perf_counter() - begin)
        terminal.kill()
    _say("first screen with the record", f"{statistics.median(spent):10.2f} s")


def _inside(path: Path, later: timedelta) -> None:
    plant = _plant(path, later)
    begin = time.perf_counter()
    work = next(state.work for line in plant.lines() for state in line.works)
    _say("every line, read for the first time", f"{(time.perf_counter() - begin) * 1000:10.1f} ms")
    operator = Who(plant.ledger.person("RO"), "pin")

    def draw(_: int) -> object:
        return work_view(plant, plant.state(work), operator.person, "en")

    _say("drawing Work, p50", _p50(draw, 100))
    _say(
        "a signature, p50",
        _p50(lambda number: plant.act(work, Note(text="warm"), operator, key=f"s-{number}"), 200),
    )

    def fresh(_: int) -> object:
        return list(shift_text(Plant(plant.library, plant.ledger, "T1"), "en"))

    _say("shift by one who read nothing before, p50", _p50(fresh, 5))
    early = window_at(plant.library.plant.shifts, plant.now() - timedelta(hours=6), plant.zone)

    def review(_: int) -> object:
        return review_of(Plant(plant.library, plant.ledger, "T1"), early)

    _say("review of a shift by one who read nothing before, p50", _p50(review, 5))
    _say("review of a shift again, p50", _p50(lambda _: review_of(plant, early), 20))
    month = month_of(plant.today())
    _say("audit of a month, p50", _p50(lambda _: audit_period(plant, *month), 3))


def _verifying(path: Path) -> None:
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        spent, count = 0.0, 0
        for (body,) in connection.execute("SELECT body FROM entries"):
            begin = time.perf_counter()
            hashlib.sha256(body.encode()).hexdigest()
            spent, count = spent + time.perf_counter() - begin, count + 1
    program = (
        "import sys, time; from pathlib import Path; from floorterm.ledger import verify_ledger\n"
        "begin = time.perf_counter(); report = verify_ledger(Path(sys.argv[1]))\n"
        "spent = time.perf_counter() - begin\n"
        # not the usage of the process, which would count what the one that started it had taken
        "most = Path('/proc/self/status').read_text().split('VmHWM:')[1].split()[0]\n"
        "print(report.ok, spent, most)"
    )
    told = subprocess.run(
        [sys.executable, "-c", program, str(path)], check=True, capture_output=True, text=True
    )
    well, seconds, most = told.stdout.split()
    if well != "True":
        raise SystemExit("the grown ledger does not hold")
    _say("hashing the same texts and nothing else (floor)", f"{count / spent:10,.0f} entries/s")
    _say("verifying", f"{count / float(seconds):10,.0f} entries/s")
    _say("most memory of the process that verified", f"{int(most) / 1024:10.0f} MB")


def main(sizes: Sequence[int]) -> None:
    """Each size in turn, in a folder that is removed again."""
    for size in sizes:
        with tempfile.TemporaryDirectory() as name:
            path = Path(name) / "ledger.db"
            begin = time.perf_counter()
            later = grow(path, size)
            with closing(sqlite3.connect(path)) as connection:
                (entries,) = connection.execute("SELECT max(n) FROM entries").fetchone()
            print(f"{entries:,} entries, {path.stat().st_size / 1e6:,.0f} MB", flush=True)  # noqa: T201
            _say("written", f"{time.perf_counter() - begin:10.1f} s")
            _status(path)
            _first_screen(path)
            _inside(path, later)
            _verifying(path)


if __name__ == "__main__":
    main(tuple(int(word) for word in sys.argv[1:]) or SIZES)
