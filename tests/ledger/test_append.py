"""Recording: the worked pair, keys, guards inside the transaction, positions, people as they are now."""

import hashlib
import sqlite3
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import pytest

from floorterm.entries import BodyError, Draft, canonical, read_body
from floorterm.ledger import (
    Asked,
    InactivePersonError,
    KeyReusedError,
    Ledger,
    LedgerMissingError,
    LedgerReadOnlyError,
    LedgerReplacedError,
    RefusedError,
    ReservedKindError,
    TimeZoneError,
    UnknownPersonError,
)
from floorterm.wording import Refusal, Say
from tests.ledger.conftest import (
    ADMIN,
    OPERATOR,
    OTHER,
    SUPERVISOR,
    Clock,
    counted,
    new_ledger,
    note,
    staffed,
)

# Worked by hand across the end of summer time in Denver on 1 November 2026, hashed with coreutils' sha256sum.
WORKED_1 = (
    '{"at":"2026-11-01T07:59:58.000000Z","chain":"7b1f0c52-6f0e-4c0b-9b57-0d3a5e9c4a11","kind":"ledger.start",'
    '"n":1,"offset":"-06:00","plant":"Example Plant",'
    '"prev":"0000000000000000000000000000000000000000000000000000000000000000",'
    '"time_zone":"America/Denver","v":1}'
)
WORKED_1_HASH = "a4d80b13238511d10311f5876a14d6c94a4c8a9075a7adf6700774b4a8b568e7"
WORKED_2 = (
    '{"at":"2026-11-01T08:00:01.250000Z","changeover":"CO-0001","key":"0192f0c1-7d2e-7c33-8a51-3f0d5be0a001",'
    '"kind":"step.done","line":"L1","meaning":"performed","n":2,"name":"Zoë Müller","offset":"-07:00",'
    '"person":"P01","pos":1,"prev":"a4d80b13238511d10311f5876a14d6c94a4c8a9075a7adf6700774b4a8b568e7",'
    '"role":"operator","step":"flush/weigh","terminal":"T1","v":1,"value":{"number":"412.50","unit":"kg"}}'
)
WORKED_2_HASH = "07d6543d511981a9437590c662af55cec1918eac67ac710c89c88ee709c7c8ff"


def test_the_worked_pair_across_the_clock_change_is_built_byte_for_byte(path: Path) -> None:
    assert (len(WORKED_1.encode()), len(WORKED_2.encode())) == (262, 401)
    assert hashlib.sha256(WORKED_1.encode()).hexdigest() == WORKED_1_HASH
    clock = Clock(datetime(2026, 11, 1, 7, 59, 58, tzinfo=UTC))
    ledger = Ledger.create(
        path,
        plant_id="",
        plant_name="Example Plant",
        time_zone="America/Denver",
        clock=clock,
        new_id=lambda: "7b1f0c52-6f0e-4c0b-9b57-0d3a5e9c4a11",
    )
    first = ledger.entry(1)
    assert (first.body, first.hash) == (WORKED_1, WORKED_1_HASH)
    _plant_person(path)
    clock.at = datetime(2026, 11, 1, 8, 0, 1, 250_000, tzinfo=UTC)
    second = ledger.append(
        Draft(
            kind="step.done",
            key="0192f0c1-7d2e-7c33-8a51-3f0d5be0a001",
            person="P01",
            meaning="performed",
            terminal="T1",
            line="L1",
            changeover="CO-0001",
            step="flush/weigh",
            value={"unit": "kg", "number": "412.50"},
        )
    )
    assert (second.body, second.hash) == (WORKED_2, WORKED_2_HASH)
    assert (first.local.isoformat(), second.local.isoformat()) == (
        "2026-11-01T01:59:58-06:00",
        "2026-11-01T01:00:01.250000-07:00",
    )


def _plant_person(path: Path) -> None:
    """P01 straight into the table, as the worked pair has no entry about people."""
    with sqlite3.connect(path) as connection:
        connection.execute(
            "INSERT INTO people (code, name, permission, duties, lockout, active)"
            " VALUES ('P01', 'Zoë Müller', 'operator', '', 'other', 1)"
        )
    connection.close()


def test_the_start_says_plant_zone_and_checklists(path: Path) -> None:
    ledger = Ledger.create(
        path,
        plant_id="north",
        plant_name="Northmere",
        time_zone="Europe/Madrid",
        checklists="/srv/checklists",
    )
    start = Ledger.open(path).start()
    assert start == ledger.start()
    assert (start.plant_id, start.plant, start.time_zone) == ("north", "Northmere", "Europe/Madrid")
    assert start.checklists == "/srv/checklists"
    assert ledger.head().chain == start.chain


def test_an_unknown_time_zone_is_refused_and_leaves_no_file(path: Path) -> None:
    with pytest.raises(TimeZoneError):
        Ledger.create(path, plant_id="x", plant_name="X", time_zone="Denver")
    assert list(path.parent.iterdir()) == []


def test_the_same_clock_and_identifiers_give_the_same_head(tmp_path: Path) -> None:
    heads = set()
    for name in ("a.db", "b.db"):
        clock = Clock()
        ledger = staffed(tmp_path / name, clock)
        for number in range(5):
            clock.advance(61.25)
            ledger.append(note(f"k{number}"))
        ledger.seal("paper")
        heads.add(ledger.head())
    assert len(heads) == 1


def test_an_entry_carries_the_printed_names_and_roles_of_its_moment(ledger: Ledger) -> None:
    first = ledger.append(note("a", witness="S01", identity="pin"))
    ledger.change_person(
        type(OPERATOR)("P01", "Zoë Müller-Lind", permission=SUPERVISOR.permission), by="A01", reason="married"
    )
    second = ledger.append(note("b"))
    assert (first.name, first.role, first.witness_name, first.witness_role) == (
        "Zoë Müller",
        "operator",
        "Sam Ortiz",
        "supervisor",
    )
    assert (second.name, second.role, second.witness, second.witness_name) == (
        "Zoë Müller-Lind",
        "supervisor",
        "",
        "",
    )
    assert ledger.entry(first.n) == first


def test_an_entry_of_the_program_itself_names_nobody(ledger: Ledger) -> None:
    entry = ledger.append(Draft(kind="day.opened", key="d"))
    assert '"person"' not in entry.body
    assert '"name"' not in entry.body
    assert (entry.person, entry.pos, entry.value) == ("", 0, {})


def test_positions_count_within_each_changeover(ledger: Ledger) -> None:
    found = [
        ledger.append(note(f"{work}{number}", changeover=work)).pos
        for number in range(3)
        for work in ("C-0001", "C-0002")
    ]
    assert found == [1, 1, 2, 2, 3, 3]


def test_the_same_key_gives_the_first_entry_back_and_writes_nothing(ledger: Ledger, clock: Clock) -> None:
    first = ledger.append(note("k", value={"kg": "412.50", "list": (1, 2)}))
    clock.advance(60)
    again = ledger.append(note("k", value={"list": [1, 2], "kg": "412.50"}), guard=_never_asked)
    assert again == first
    assert ledger.head().n == first.n


def _never_asked(asked: Asked) -> Sequence[Refusal]:
    raise AssertionError("a repeated act is not judged again")


@pytest.mark.parametrize(
    "change", [{"person": "P02"}, {"kind": "work.paused"}, {"step": "other"}, {"value": {"text": "other"}}]
)
def test_a_key_that_stands_for_another_act_is_refused(ledger: Ledger, change: dict[str, object]) -> None:
    first = ledger.append(note("k"))
    with pytest.raises(KeyReusedError, match=str(first.n)):
        ledger.append(note("k", **change))  # type: ignore[arg-type]
    assert ledger.head().n == first.n


@pytest.mark.parametrize("change", [{"changeover": "C-0002"}, {"line": "L2"}])
def test_a_key_that_stands_for_the_same_words_elsewhere_is_refused(
    ledger: Ledger, change: dict[str, object]
) -> None:
    """An entry of another piece of work is no answer: nothing of what is asked for now would be recorded."""
    ledger.append(note("first"))
    second = ledger.append(note("k"))
    with pytest.raises(KeyReusedError, match=str(second.n)):
        ledger.append(note("k", **change))  # type: ignore[arg-type]
    assert ledger.head().n == second.n


def test_a_repeated_beginning_is_found_under_the_name_that_it_was_given(ledger: Ledger) -> None:
    first = ledger.append(note("k", changeover="C-0001"))
    assert ledger.append(note("k", changeover="C-0002")) == first


def test_somebody_disabled_signs_nothing_but_what_keeps_them_from_harm(ledger: Ledger) -> None:
    ledger.disable_person("P01", by="A01")
    with pytest.raises(InactivePersonError):
        ledger.append(note("k"))
    seen: list[Asked] = []

    def guard(asked: Asked) -> Sequence[Refusal]:
        seen.append(asked)
        return ()

    entry = ledger.append(note("k"), guard, disabled_too=True)
    assert (entry.person, entry.name) == ("P01", "Zoë Müller")
    assert seen[0].person is not None
    assert not seen[0].person.active, "the guard is told"
    with pytest.raises(InactivePersonError):
        ledger.append(note("w", person="P02", witness="P01"), disabled_too=True)


def test_a_repeated_act_of_somebody_disabled_meanwhile_is_still_found(ledger: Ledger) -> None:
    first = ledger.append(note("k"))
    ledger.disable_person("P01", by="A01")
    assert ledger.append(note("k")) == first


def test_the_guard_sees_people_time_and_entries_of_its_own_transaction(ledger: Ledger, clock: Clock) -> None:
    before = ledger.append(note("first", person="P02"))
    seen: list[Asked] = []

    def guard(asked: Asked) -> Sequence[Refusal]:
        seen.append(asked)
        assert asked.entries(changeover="C-0001") == [before]
        assert asked.entries(kinds=["nothing"]) == []
        return ()

    clock.advance(7)
    entry = ledger.append(note("second", witness="S01"), guard)
    assert (seen[0].person, seen[0].witness, seen[0].now) == (OPERATOR, SUPERVISOR, entry.at)


def test_a_guard_may_read_through_the_ledger_itself(ledger: Ledger) -> None:
    head = ledger.head()

    def guard(asked: Asked) -> Sequence[Refusal]:
        assert ledger.head() == head
        assert ledger.person("P02") == OTHER
        return ()

    assert ledger.append(note("k"), guard).n == head.n + 1


def test_refusals_are_all_told_and_nothing_is_written(ledger: Ledger) -> None:
    head = ledger.head()
    refusals = (
        Refusal(Say("ledger.own_reset"), "site policy"),
        Refusal(Say("ledger.no_such_entry", {"n": 5}), "29 CFR 1910.147(d)"),
    )
    with pytest.raises(RefusedError) as caught:
        ledger.append(note("k"), lambda asked: refusals)
    assert caught.value.refusals == refusals
    assert "There is no entry 5." in str(caught.value)
    assert ledger.head() == head
    assert ledger.append(note("k")).n == head.n + 1


def test_an_error_in_the_guard_writes_nothing_and_leaves_no_lock(ledger: Ledger) -> None:
    head = ledger.head()

    def broken(asked: Asked) -> Sequence[Refusal]:
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        ledger.append(note("k"), broken)
    assert ledger.head() == head
    assert ledger.append(note("k")).n == head.n + 1


def test_unknown_and_disabled_people_sign_and_witness_nothing(ledger: Ledger) -> None:
    ledger.disable_person("P02", by="A01")
    head = ledger.head()
    for draft, fault in (
        (note("a", person="X9"), UnknownPersonError),
        (note("b", witness="X9"), UnknownPersonError),
        (note("c", person="P02"), InactivePersonError),
        (note("d", witness="P02"), InactivePersonError),
    ):
        with pytest.raises(fault):
            ledger.append(draft)
        with pytest.raises(fault):
            ledger.append(draft, _never_asked)
    assert ledger.head() == head


@pytest.mark.parametrize(
    "kind", ["ledger.start", "person.added", "clock.stepped", "seal.made", "backup.made", "pin.off"]
)
def test_kinds_of_the_ledger_itself_are_reserved(ledger: Ledger, kind: str) -> None:
    with pytest.raises(ReservedKindError):
        ledger.append(Draft(kind=kind, key="k", person="A01", value={"code": "P09"}))


@pytest.mark.parametrize(
    "draft",
    [
        Draft(kind="", key="k"),
        Draft(kind="work.note", key=""),
        Draft(kind="work.note", key="k", reason="two\x1b[2Jlines"),
        Draft(kind="work.note", key="k", step="two\nlines"),
        Draft(kind="work.note", key="k", reason=" not trimmed"),
        Draft(kind="work.note", key="k", value={"kg": 1.5}),
        Draft(kind="work.note", key="k", value={"nothing": None}),
    ],
)
def test_drafts_with_what_no_entry_may_hold_are_refused(ledger: Ledger, draft: Draft) -> None:
    head = ledger.head()
    with pytest.raises(BodyError):
        ledger.append(draft)
    assert ledger.head() == head


def test_a_reason_may_have_lines_and_a_value_any_text(ledger: Ledger) -> None:
    entry = ledger.append(note("k", reason="first\nsecond", value={"text": "\u202e any"}, corrects=1))
    assert ledger.entry(entry.n) == entry
    assert (entry.reason, entry.corrects) == ("first\nsecond", 1)


def test_several_entries_of_one_act_are_all_recorded_or_none(ledger: Ledger) -> None:
    head = ledger.head()
    with pytest.raises(UnknownPersonError):
        ledger.append_all((note("a"), note("b", person="X9")))
    assert ledger.head() == head
    both = ledger.append_all((note("a"), note("b")))
    assert [entry.n for entry in both] == [head.n + 1, head.n + 2]
    assert both[1].prev == both[0].hash
    assert ledger.append_all((note("a"), note("b"))) == both
    with pytest.raises(KeyReusedError):
        ledger.append_all((note("b"), note("c")))


def test_a_ledger_opened_for_reading_records_nothing(ledger: Ledger, path: Path) -> None:
    reader = Ledger.open(path, read_only=True)
    assert reader.head() == ledger.head()
    with pytest.raises(LedgerReadOnlyError):
        reader.append(note("k"))
    with pytest.raises(LedgerReadOnlyError):
        reader.check_pin("P01", "000000")


def test_a_file_swapped_while_open_is_noticed(ledger: Ledger, path: Path, tmp_path: Path) -> None:
    staffed(tmp_path / "other.db")
    (tmp_path / "other.db").replace(path)
    with pytest.raises(LedgerReplacedError):
        ledger.append(note("k"))
    with pytest.raises(LedgerReplacedError):
        ledger.head()
    path.unlink()
    with pytest.raises(LedgerMissingError):
        ledger.head()


def test_a_file_overwritten_in_place_is_noticed_by_its_first_entry(ledger: Ledger, path: Path) -> None:
    other = new_ledger(path.with_name("other.db"), Clock(datetime(2026, 1, 1, tzinfo=UTC)))
    path.write_bytes(other.path.read_bytes())
    with pytest.raises(LedgerReplacedError):
        ledger.append(Draft(kind="day.opened", key="k"))


def test_identifiers_come_from_the_source_given_at_opening(path: Path) -> None:
    new_ledger(path)
    ids = counted()
    assert Ledger.open(path, new_id=ids).new_id() == "id-1"
    assert len({Ledger.open(path).new_id() for _ in range(10)}) == 10


def test_the_body_is_stored_exactly_as_it_was_hashed(ledger: Ledger, path: Path) -> None:
    entry = ledger.append(note("k", value={"text": "Zoë € 😀", "deep": {"b": [1, {"a": True}]}}))
    connection = sqlite3.connect(path)
    body, hash_ = connection.execute(
        "SELECT CAST(body AS BLOB), hash FROM entries WHERE n = ?", (entry.n,)
    ).fetchone()
    connection.close()
    assert hashlib.sha256(body).hexdigest() == hash_ == entry.hash
    assert body.decode() == canonical(read_body(body.decode()))


def test_who_administers_is_the_first_entry_about_people(ledger: Ledger) -> None:
    entry = ledger.entry(2)
    assert (entry.kind, entry.person, entry.value["code"]) == ("person.added", "", ADMIN.code)
