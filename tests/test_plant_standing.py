"""Where a plant stands is kept as an entry: whoever reads from it on says what a reader of everything says."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from functools import cache
from typing import Any, Protocol, TypeVar

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.changeover.acts import (
    STARTED,
    Abandon,
    CorrectStep,
    Dispose,
    LockoutAct,
    Note,
    RaiseDeviation,
    Release,
    SignStep,
)
from floorterm.changeover.fold import fold
from floorterm.changeover.line_now import under_lockout
from floorterm.changeover.register import HOLDS, next_number
from floorterm.changeover.standing import NOTHING, STANDS, STANDS_EVERY, standing_of
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Named, Worksheet, to_json
from floorterm.entries import Draft, Entry, canonical
from floorterm.ledger import LedgerFullError
from floorterm.library.model import Library
from floorterm.lockout.model import Event
from floorterm.plant import Plant
from floorterm.terminal.views.record import kind_text
from floorterm.wording import LANGUAGES
from tests.changeover import sheets
from tests.conftest import who
from tests.memory_ledger import BEGIN, MemoryLedger, plant_on

_LINES = ("L1", "L2")
_FRAGRANCES = ("litsea", "palmarosa", "marjoram-massage", "juniper")
_CHECKS = ("eyewash-weekly", "eyewash-yearly")
_OWNERS = ("AA", "BB")
_POINTS = ("D1", "V1")
_HAPPENS = (
    "start",
    "start",
    "check",
    "sign",
    "lock",
    "lock",
    "lock",
    "end",
    "end",
    "holds",
    "note",
    "deviate",
    "correct",
    "correct",
    "decide",
)
_Value = TypeVar("_Value")
_LOCK_EVENTS = (
    *(2 * (Event.ISOLATE, Event.LOCK_ON)), Event.REMOVE_OTHER, Event.REMOVE_OTHER, Event.OWNER_INFORMED,
    Event.WORK_START, Event.WORK_END, Event.LOCK_OFF, Event.RE_ENERGISE, Event.CLOSE,
)  # fmt: skip


_NOSE = sheets.confirm("prep/nose", kind="reading", unit="C", low=Decimal(38), high=Decimal(45))


class _Draw(Protocol):
    """How Hypothesis hands out an example."""

    def __call__(self, strategy: st.SearchStrategy[_Value]) -> _Value: ...


def _named(name: str) -> Named:
    return Named(id=name, name={"en": name})


@cache
def _changeover(line: str, incoming: str) -> Worksheet:
    sheet = sheets.procedure()
    others = tuple(_named(name) for name in _FRAGRANCES if name[0] < incoming[0])
    section = msgspec.structs.replace(sheets.prepare(), steps=(_NOSE,))
    return replace(
        sheet,
        line=_named(line),
        procedure=None,
        incoming=_named(incoming),
        traces=others,
        sections=(*sheet.sections, section),
    )


@cache
def _check(line: str, procedure: str) -> Worksheet:
    section = msgspec.structs.replace(sheets.prepare(), steps=(sheets.confirm("prep/run"),))
    return replace(
        sheets.procedure(), line=_named(line), procedure=_named(procedure), sections=(section,), jobs=()
    )


@dataclass
class _History:
    """Entries as nobody's rules would let them through, so that every reading is tried on more than can happen."""

    ledger: MemoryLedger = field(default_factory=MemoryLedger)
    open: list[Worksheet] = field(default_factory=list)
    works: dict[str, Worksheet] = field(default_factory=dict)
    ended: set[str] = field(default_factory=set)
    counts: dict[str, int] = field(default_factory=dict)
    read: dict[str, int] = field(default_factory=dict)

    def start(self, sheet: Worksheet) -> None:
        prefix = "C" if sheet.procedure is None else "P"
        self.counts[prefix] = self.counts.get(prefix, 0) + 1
        work = f"{prefix}-{self.counts[prefix]:04d}"
        self.works[work] = sheet
        step = sheet.procedure.id if sheet.procedure else ""
        value = {"worksheet": to_json(sheet)}
        self.ledger.write(STARTED, value, line=sheet.line.id, changeover=work, step=step)

    def act(self, work: str, act: Any, person: str = "AA", identity: str = "pin") -> None:
        line = self.works[work].line.id
        step = getattr(act, "step", "")
        value = to_json(act)
        who = {"person": person, "identity": identity}
        entry = self.ledger.write(act.KIND, value, line=line, changeover=work, step=step, **who)
        if step == _NOSE.id and isinstance(act, SignStep):
            self.read[work] = entry.n
        if isinstance(act, Release | Abandon):
            self.ended.add(work)

    def holds(self, line: str, *fragrances: str) -> None:
        self.ledger.write(HOLDS, {"fragrances": list(fragrances)}, line=line)

    def waiting(self, work: str) -> list[int]:
        """Numbers of the work's open deviations."""
        own = self.ledger.entries(changeover=work)
        return [one.n for one in fold(work, own).open_deviations]

    @property
    def going(self) -> list[str]:
        return [work for work in self.works if work not in self.ended]


def _one_more(draw: _Draw, history: _History) -> None:
    """Something happens: works begin, are signed, locked, ended; ended ones are touched again."""
    what = draw(st.sampled_from(_HAPPENS))
    line = draw(st.sampled_from(_LINES))
    works = list(history.works)
    if what == "start" or not works:
        history.start(_changeover(line, draw(st.sampled_from(_FRAGRANCES))))
    elif what == "check":
        history.start(_check(line, draw(st.sampled_from(_CHECKS))))
    elif what == "holds":
        history.holds(line, *draw(st.sampled_from((("litsea",), ("palmarosa", "litsea"), ("juniper",)))))
    elif what == "lock":
        locking = [work for work in works if history.works[work].jobs]
        if locking:
            event = draw(st.sampled_from(_LOCK_EVENTS))
            points = (draw(st.sampled_from(_POINTS)),)
            owner = draw(st.sampled_from(_OWNERS))
            act = LockoutAct(job="screen", event=event, points=points, lock=f"{owner}1", owner=owner)
            identity = draw(st.sampled_from(("pin", "pin", "pin", "unconfirmed")))
            history.act(draw(st.sampled_from(locking[-3:])), act, owner, identity)
    elif what == "correct" and history.read:
        work, corrects = draw(st.sampled_from(sorted(history.read.items())))
        number = draw(st.sampled_from(("40", "99")))
        history.act(work, CorrectStep(step=_NOSE.id, corrects=corrects, number=number, reason="read anew"))
    elif what == "decide":
        work = draw(st.sampled_from(works))
        for n in history.waiting(work):
            history.act(work, Dispose(deviation=n, decision="accept", reason="as agreed"))
    elif what == "note":
        history.act(draw(st.sampled_from(works)), Note(text="seen"))
    elif going := history.going:
        work = draw(st.sampled_from(going))
        if what == "end":
            ends = (Abandon(reason="order changed"), Release())
            history.act(work, draw(st.sampled_from(ends[:1] if history.waiting(work) else ends)))
        elif what == "correct" and history.works[work].step(_NOSE.id):
            history.act(work, SignStep(step=_NOSE.id, number="40"))
        elif what == "sign":
            history.act(work, SignStep(step=next(history.works[work].steps()).id))
        else:
            history.act(work, RaiseDeviation(text="no water"))


def _lye_work(plant: Plant) -> State:
    """A piece of lye work on line 1, for which the checks of the eyewash are asked."""
    ledger = MemoryLedger()
    ledger.write(STARTED, {"worksheet": to_json(_check("L1", "other"))}, changeover="P-9999", line="L1")
    state = fold("P-9999", ledger.written)
    section = replace(state.worksheet.sections[0], lye=object())  # type: ignore[arg-type]  # only asked for
    return replace(state, worksheet=replace(state.worksheet, sections=(section,)))


def _told(plant: Plant, n: int) -> Iterator[tuple[str, Any]]:
    """Everything that a plant answers from its record."""
    for line in _LINES:
        yield f"tanks {line}", plant.tanks(line)
        yield f"holds {line}", plant.holds(line)
        yield f"line {line}", plant.line_now(line)
        yield f"untold {line}", plant.untold_works(line)
    yield "elsewhere", plant.elsewhere("C-0001")
    for owner in _OWNERS:
        yield f"uninformed {owner}", [entry.n for entry in plant.uninformed(owner)]
    yield "eyewash", plant.eyewash(_lye_work(plant))
    for back in (3, n // 2, n + 5):
        since = BEGIN + timedelta(minutes=n - back)
        for until in (since + timedelta(minutes=4), since + timedelta(minutes=n)):
            yield f"between {back}", [state.work for state in plant.works_between(since, until)]
            yield f"told {back}", [state.work for state in plant.works_told_between(since, until)]
    yield "names", [plant._next_name(prefix) for prefix in "CP"]  # what a start would be called


def _against_all_states(plant: Plant, n: int) -> None:
    """What a reader of everything says of open, left and past works is what each work's own entries say."""
    works = plant.works()
    for line in _LINES:
        own, now = [state for state in works if state.worksheet.line.id == line], plant.line_now(line)
        assert now.procedures == tuple(s for s in own if not s.ended and s.worksheet.procedure is not None)
        left = [state.work for state in own if state.status == "abandoned" and under_lockout(state)]
        assert sorted(state.work for state in now.leftover) == sorted(left)
        waiting = [state.work for state in own if state.ended and state.open_deviations]
        assert sorted(state.work for state in now.waiting) == sorted(set(waiting) - set(left))
    since, until = BEGIN + timedelta(minutes=n // 3), BEGIN + timedelta(minutes=2 * n // 3)
    assert [state.work for state in plant.works_between(since, until)] == [
        state.work
        for state in works
        if state.started_at < until and (state.ended_at is None or state.ended_at >= since)
    ]


@settings(max_examples=40)
@given(st.data())
def test_read_from_a_standing_on_a_plant_says_what_it_says_read_from_the_first_entry(
    library: Library, data: st.DataObject
) -> None:
    history = _History()
    blind = MemoryLedger(history.ledger.written, blind=True)
    steps = data.draw(st.integers(20, 50))
    kept = data.draw(st.sets(st.integers(8, steps), min_size=1, max_size=3))
    along = plant_on(library, history.ledger)
    for step in range(1, steps + 1):
        _one_more(data.draw, history)
        if step in kept:
            standing = plant_on(library, history.ledger).standing()
            history.ledger.write(STANDS, to_json(standing))
            dict(_told(along, steps))
    n = len(history.ledger.written)
    _against_all_states(plant_on(library, blind), n)
    whole = dict(_told(plant_on(library, blind), n))
    assert dict(_told(plant_on(library, history.ledger), n)) == whole
    assert dict(_told(along, n)) == whole, "one that had looked on all the time"


@given(st.integers(0, 3000), st.integers(0, 3000))
def test_the_next_number_is_found_without_asking_of_every_one(before: int, more: int) -> None:
    asked: list[int] = []

    def taken(number: int) -> bool:
        asked.append(number)
        return number <= before + more

    assert next_number(before, taken) == before + more + 1
    assert len(asked) <= 2 * (more + 1).bit_length() + 1


def test_names_go_on_after_nine_thousand_nine_hundred_and_ninety_nine(library: Library) -> None:
    history = _History(counts={"C": 9998})
    for _ in range(3):
        history.start(_changeover("L1", "litsea"))
    assert list(history.works) == ["C-9999", "C-10000", "C-10001"]
    assert plant_on(library, history.ledger)._next_name("C") == "C-10002"


def test_an_entry_that_this_version_cannot_read_is_as_none_at_all(library: Library) -> None:
    history = _History()
    history.start(_changeover("L1", "litsea"))
    for value in ({"lines": [{"open": []}]}, {"n": "1"}, {"n": 77, "lines": []}, {}):
        entry = history.ledger.write(STANDS, value)
        assert standing_of(entry) == NOTHING
        assert plant_on(library, history.ledger).line_now("L1").changeover is not None


def test_a_start_records_now_and_then_where_the_plant_stands(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("floorterm.plant.STANDS_EVERY", 3)
    first = plant.start_procedure(who(plant, "AA"), "L1", "sensor-lens", "k1")
    (entry,) = plant.ledger.entries(kinds=(STANDS,))
    assert (entry.person, entry.terminal) == ("", "T1")
    assert len({kind_text(STANDS, language) for language in LANGUAGES} - {STANDS}) == len(LANGUAGES)
    standing = standing_of(entry)
    assert standing.n == entry.n - 1
    assert standing.line("L1").open == (first.work,)
    assert [one.fragrance for one in standing.line("L2").dosed] == ["plain"]
    for key in ("k2", "k3", "k4"):
        plant.act(first.work, Note(text=key), who(plant, "AA"), key=key)
    assert len(plant.ledger.entries(kinds=(STANDS,))) == 1, "only where a work begins"
    plant.start_procedure(who(plant, "AA"), "L1", "sensor-lens", "k5")
    assert len(plant.ledger.entries(kinds=(STANDS,))) == 2
    assert Plant(plant.library, plant.ledger, "T2").lines() == plant.lines()


def test_a_start_stands_though_no_standing_could_be_recorded(
    plant: Plant, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("floorterm.plant.STANDS_EVERY", 3)
    append = plant.ledger.append

    def full(draft: Draft, *more: Any, **options: Any) -> Entry:
        if draft.kind == STANDS:
            raise LedgerFullError
        return append(draft, *more, **options)

    monkeypatch.setattr(plant.ledger, "append", full)
    state = plant.start_procedure(who(plant, "AA"), "L1", "sensor-lens", "k1")
    assert plant.line_now("L1").procedures == (state,)
    assert plant.ledger.entries(kinds=(STANDS,)) == []


def test_what_is_kept_is_small(library: Library) -> None:
    """About what README says an entry of it takes, with both lines busy and every fragrance used."""
    history = _History()
    for line in _LINES:
        for name in _FRAGRANCES:
            history.start(_changeover(line, name))
            history.act(list(history.works)[-1], Release())
        history.start(_check(line, "eyewash-weekly"))
    value = to_json(plant_on(library, history.ledger).standing())
    assert len(canonical(value)) < 2000
    assert STANDS_EVERY >= 1000, "and it stands behind so many others"
