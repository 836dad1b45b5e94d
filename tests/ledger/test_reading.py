"""Reading: filters, pages, references; and that importing the room costs only what it must."""

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from floorterm.entries import Entry
from floorterm.ledger import Ledger, NoSuchEntryError, UnreadableEntryError, reading
from floorterm.ledger.clock import Watch
from tests.ledger.conftest import OPENING, Clock, note, staffed
from tests.ledger.tamper import recomputed, rewrite, with_value


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Ledger:
    """45 notes over three changeovers on two lines, one a minute."""
    clock = Clock()
    ledger = staffed(tmp_path_factory.mktemp("many") / "ledger.db", clock)
    for number in range(45):
        clock.advance(60)
        ledger.append(
            note(
                f"k{number}",
                kind=("work.note", "step.signed", "flush.pushed")[number % 3],
                changeover=f"C-000{number % 4}",
                line=f"L{number % 2}",
            )
        )
    return ledger


_FILTERS = st.fixed_dictionaries(
    {},
    optional={
        "changeover": st.sampled_from(["C-0000", "C-0003", "C-0009"]),
        "line": st.sampled_from(["L0", "L1", "L7"]),
        "kinds": st.lists(st.sampled_from(["work.note", "step.signed", "person.added", "none"])),
        "after_n": st.integers(0, 60),
        "since": st.integers(-1, 50).map(lambda minutes: OPENING + timedelta(minutes=minutes)),
        "until": st.integers(-1, 50).map(lambda minutes: OPENING + timedelta(minutes=minutes)),
        "limit": st.integers(0, 12),
        "newest_first": st.booleans(),
    },
)


def _plainly(entries: list[Entry], **filters: object) -> list[Entry]:
    """What the filters mean, said without a database."""
    checks = {
        "changeover": lambda entry, wanted: entry.changeover == wanted,
        "line": lambda entry, wanted: entry.line == wanted,
        "kinds": lambda entry, wanted: entry.kind in wanted,
        "after_n": lambda entry, wanted: entry.n > wanted,
        "since": lambda entry, wanted: entry.at >= wanted,
        "until": lambda entry, wanted: entry.at < wanted,
    }
    limit, newest_first = filters.pop("limit", None), filters.pop("newest_first", False)
    found = [
        entry for entry in entries if all(checks[name](entry, wanted) for name, wanted in filters.items())
    ]
    return (found[::-1] if newest_first else found)[:limit]  # type: ignore[misc]


@given(filters=_FILTERS)
@settings(deadline=None, max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_filters_narrow_each_other_down_as_they_say(
    many: Ledger, monkeypatch: pytest.MonkeyPatch, filters: dict[str, object]
) -> None:
    monkeypatch.setattr(reading, "PAGE", 7)
    everything = [many.entry(n) for n in range(1, many.head().n + 1)]
    wanted = _plainly(everything, **filters)
    assert many.entries(**filters) == wanted  # type: ignore[arg-type]
    refs = many.refs(**filters)  # type: ignore[arg-type]
    assert [
        (ref.n, ref.at, ref.kind, ref.line, ref.changeover, ref.pos, ref.step, ref.person) for ref in refs
    ] == [(e.n, e.at, e.kind, e.line, e.changeover, e.pos, e.step, e.person) for e in wanted]


def test_a_time_without_its_zone_is_no_filter(many: Ledger) -> None:
    with pytest.raises(ValueError, match="zone"):
        many.entries(since=datetime(2026, 3, 2))  # noqa: DTZ001


def test_the_head_is_the_last_entry(many: Ledger) -> None:
    head, last = many.head(), many.entries(newest_first=True, limit=1)[0]
    assert (head.n, head.hash, head.at, head.chain) == (last.n, last.hash, last.at, many.start().chain)


def test_a_number_that_is_not_there_is_said(many: Ledger) -> None:
    with pytest.raises(NoSuchEntryError, match="999"):
        many.entry(999)


def test_an_entry_of_a_later_format_is_said_and_not_guessed(path: Path) -> None:
    ledger = staffed(path)
    ledger.append(note("k"))
    rewrite(path, lambda rows: recomputed([*rows[:5], with_value(rows[5], v=2)]))
    with pytest.raises(UnreadableEntryError, match="6"):
        ledger.entries()
    assert ledger.entries(kinds=["person.added"])[0].n == 2


@pytest.mark.parametrize("body", [None, b"{}", 7])
def test_a_body_that_is_no_text_in_a_damaged_file_is_said(body: str) -> None:
    with pytest.raises(UnreadableEntryError, match="4"):
        reading.to_entry(4, body, "")


# --- the clock --------------------------------------------------------------------------------------


class _Real:
    """A wall clock that somebody sets, and one that nobody can."""

    def __init__(self) -> None:
        self.wall, self.steady = datetime(2026, 3, 2, 14, 5, tzinfo=UTC), 1000.0

    def pass_by(self, seconds: float, *, stepped: float = 0.0) -> None:
        self.wall += timedelta(seconds=seconds + stepped)
        self.steady += seconds


@pytest.fixture
def real(monkeypatch: pytest.MonkeyPatch) -> _Real:
    machine = _Real()
    monkeypatch.setattr("floorterm.ledger.clock.wall_clock", lambda: machine.wall)
    monkeypatch.setattr("floorterm.ledger.clock.Watch", lambda: Watch(lambda: machine.steady))
    return machine


@pytest.mark.parametrize(("stepped", "told"), [(3600.0, "3600.0"), (-3600.0, "-3600.0"), (2.5, "2.5")])
def test_a_clock_that_was_set_is_told_in_an_entry_before_the_next(
    path: Path, real: _Real, stepped: float, told: str
) -> None:
    staffed(path, Clock(real.wall))
    ledger = Ledger.open(path)
    first = ledger.append(note("a"))
    real.pass_by(30, stepped=stepped)
    second = ledger.append(note("b"))
    between = ledger.entry(first.n + 1)
    assert (between.kind, between.value, between.person) == (
        "clock.stepped",
        {"by": {"number": told, "unit": "s"}},
        "",
    )
    assert second.n == first.n + 2
    real.pass_by(30)
    assert ledger.append(note("c")).n == second.n + 1


@pytest.mark.parametrize("stepped", [0.0, 2.0, -2.0])
def test_two_seconds_are_no_step(path: Path, real: _Real, stepped: float) -> None:
    staffed(path, Clock(real.wall))
    ledger = Ledger.open(path)
    first = ledger.append(note("a"))
    real.pass_by(86_400, stepped=stepped)
    assert ledger.append(note("b")).n == first.n + 1


def test_a_clock_found_before_the_newest_entry_is_told_once_after_a_restart(path: Path, real: _Real) -> None:
    staffed(path, Clock(real.wall + timedelta(hours=1)))
    ledger = Ledger.open(path)
    assert [ledger.append(note(key)).n for key in ("a", "b")] == [7, 8]
    assert ledger.entry(6).value == {"by": {"number": "-3600.0", "unit": "s"}}


def test_a_refused_entry_and_a_repeated_one_tell_of_no_step(path: Path, real: _Real) -> None:
    staffed(path, Clock(real.wall))
    ledger = Ledger.open(path)
    first = ledger.append(note("a"))
    real.pass_by(5, stepped=100)
    assert ledger.append(note("a")) == first
    assert ledger.head().n == first.n


def test_a_set_clock_is_watched_by_nobody(path: Path, clock: Clock) -> None:
    ledger = staffed(path, clock)
    clock.advance(86_400)
    ledger.append(note("a"))
    clock.advance(-3600)
    ledger.append(note("b"))
    assert ledger.entries(kinds=["clock.stepped"]) == []


def test_the_steady_clock_only_goes_forward() -> None:
    watch = Watch()
    now = datetime.now(UTC)
    watch.note(now)
    assert watch.step(datetime.now(UTC), now) is None


# --- imports ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("statement", "free_of"),
    [
        ("import floorterm.ledger", {"sqlmodel", "sqlalchemy", "pydantic", "sqlite3", "argon2", "rfc8785"}),
        (
            "from floorterm.ledger import Asked, Head, LedgerError, RefusedError, Seal",
            {"sqlmodel", "sqlalchemy", "pydantic", "sqlite3"},
        ),
        ("from floorterm.ledger import verify_file", {"sqlmodel", "sqlalchemy", "pydantic"}),
        (
            "from floorterm.ledger import Ledger",
            {"sqlmodel", "sqlalchemy.orm", "pydantic", "argon2", "textual", "numpy"},
        ),
    ],
)
def test_importing_costs_only_what_it_must(statement: str, free_of: set[str]) -> None:
    script = f"{statement}\nimport sys\nprint(*sys.modules)"
    found = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert free_of.isdisjoint(found.stdout.split())


def test_every_name_that_is_promised_is_there() -> None:
    import floorterm.ledger as room

    assert all(getattr(room, name) is not None for name in room.__all__)
    with pytest.raises(AttributeError, match="nothing"):
        room.nothing  # noqa: B018


def test_a_period_is_whole_though_the_clock_was_set_back_in_it(tmp_path: Path) -> None:
    """Numbers and times then run apart: an hour is asked for by its times, whatever numbers lie between."""
    clock = Clock()
    ledger = staffed(tmp_path / "ledger.db", clock)
    for number, minutes in enumerate((60, 60, -90, 10, 30, 60)):
        clock.advance(60 * minutes)
        ledger.append(note(f"k{number}", kind=("work.note", "step.signed")[number % 2]))
    everything = [ledger.entry(n) for n in range(1, ledger.head().n + 1)]
    for since in range(-30, 180, 15):
        for kinds in (None, ["work.note", "step.signed"]):
            asked = {
                "since": OPENING + timedelta(minutes=since),
                "until": OPENING + timedelta(minutes=since + 45),
            }
            asked |= {"kinds": kinds} if kinds else {}
            assert ledger.entries(**asked) == _plainly(everything, **asked)  # type: ignore[arg-type]
