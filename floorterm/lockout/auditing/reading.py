"""A record document (YAML or JSON, already parsed) turned into values, with every fault at once.

What cannot be understood (a time without its offset, an event word that nobody knows, a procedure that the
document lacks) is a fault. What is merely missing is not: the rules judge it. A key that looks like a known
one misspelt is a fault, because a misspelt `reaccumulates` would make a rule fall silent; any other unknown
key is listed in `Record.unread`.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from typing import Any, TypeVar, get_args

from floorterm.library.faults import listed, near, quoted
from floorterm.lockout.auditing.record import (
    BOX,
    EVENTS,
    NEVER_EXEMPT,
    Certificate,
    Deviation,
    Event,
    Header,
    Job,
    JobClass,
    Lock,
    Mode,
    Person,
    Point,
    Procedure,
    Record,
    Role,
    Site,
)
from floorterm.lockout.auditing.table import profiles

Loc = tuple[str | int, ...]
_T = TypeVar("_T")

CONTENT = (
    "scope", "purpose", "authorisation", "rules_and_techniques", "enforcement", "A_use", "B_steps",
    "C_devices_and_responsible", "D_test",
)  # fmt: skip
EIGHT = (
    "no_stored_energy", "one_source", "fully_de_energises", "isolated_and_locked", "one_lock",
    "exclusive_control", "no_hazard_to_others", "no_accident",
)  # fmt: skip
_BRITISH = {"authorised": "authorized"}
_CLOSE = 0.8  # how alike an unknown key must be to count as a known one misspelt


@dataclass(frozen=True, slots=True)
class RecordFault:
    """One fault of a document: the way to it (list items from 0), what was expected and found.

    `line` and `column` count from 1; both are 0 where the document was no file.
    """

    loc: Loc
    expected: str
    found: str
    hint: str = ""
    line: int = 0
    column: int = 0

    @property
    def field(self) -> str:
        """The way to the value as people read it, list items counted from 1: `jobs[2].events[5].t`."""
        return way(self.loc)

    def __str__(self) -> str:
        hint = f"; {self.hint}" if self.hint else ""
        end = "" if hint.endswith("?") else "."
        place = f"{self.line}:{self.column}: " if self.line else ""
        return (
            f"{place}{self.field or 'the document'}: expected {self.expected}, found {self.found}{hint}{end}"
        )


class RecordError(ValueError):
    """A record document that cannot be audited; `faults` holds every one of them."""

    def __init__(self, faults: Iterable[RecordFault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def way(loc: Loc) -> str:
    """A location as text, list items counted from 1."""
    return "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in loc).removeprefix(".")


def read_record(data: Mapping[str, Any]) -> Record:
    """The record that a parsed document stands for. Raises RecordError with every fault."""
    notes = _Notes()
    whole = _Table(notes, (), data if isinstance(data, Mapping) else {})
    if not isinstance(data, Mapping):
        notes.fault((), "keys with values", _kind(data) if data is not None else "nothing")
    elif whole.text("format") not in ("", "1"):
        notes.fault(("format",), "1", quoted(data["format"]), "this program knows format 1 only")
    if isinstance(data, Mapping) and not whole.has("jobs"):
        notes.fault(("jobs",), "a list of jobs", "nothing")
    people = {code: _person(code, table) for code, table in whole.tables("people")}
    procedures = {name: _procedure(name, table) for name, table in whole.tables("procedures")}
    locks = (
        {name: _lock(name, table) for name, table in whole.tables("locks")} if whole.has("locks") else None
    )
    profile = whole.word("profile", tuple(profiles()), "US")
    jobs: list[Job] = []
    for table in whole.rows("jobs"):
        jobs.append(_job(table, procedures, jobs[-1] if jobs else None))
    record = Record(
        people=people,
        procedures=procedures,
        locks=locks,
        jobs=tuple(jobs),
        site=_site(whole),
        profile=profile,
        as_of=whole.instant("as_of"),
        chain_valid=whole.flag("chain_valid"),
    )
    whole.done()
    if notes.faults:
        raise RecordError(notes.faults)
    return replace(record, unread=tuple(notes.unread))


@dataclass
class _Notes:
    faults: list[RecordFault] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)

    def fault(self, loc: Loc, expected: str, found: str, hint: str = "") -> None:
        self.faults.append(RecordFault(loc, expected, found, hint))


class _Table:
    """One mapping of the document, read key by key; `done` says what nobody asked for."""

    def __init__(self, notes: _Notes, loc: Loc, data: Mapping[str, Any]) -> None:
        self.notes, self.loc, self.data = notes, loc, data
        self.asked: set[str] = set()

    def has(self, key: str) -> bool:
        """Whether the key is there with something; null counts as absent."""
        self.asked.add(key)
        return self.data.get(key) is not None

    def _read(self, key: str, expected: str, read: Callable[[Any], _T]) -> _T | None:
        if not self.has(key):
            return None
        try:
            return read(self.data[key])
        except (ValueError, TypeError, InvalidOperation):
            self.notes.fault((*self.loc, key), expected, _kind(self.data[key]))
            return None

    def text(self, key: str) -> str:
        return self._read(key, "a text", _text) or ""

    def word(self, key: str, known: tuple[str, ...], otherwise: str) -> Any:
        found = self._read(key, listed(known), _text)
        if found is None:
            return otherwise
        found = _BRITISH.get(found, found)
        if found not in known:
            self.notes.fault((*self.loc, key), listed(known), quoted(found), near(found, known))
            return otherwise
        return found

    def flag(self, key: str) -> bool | None:
        return self._read(key, "true or false", _flag)

    def number(self, key: str) -> int | None:
        return self._read(key, "a whole number", _whole)

    def decimal(self, key: str) -> Decimal | None:
        return self._read(key, "a number above 0", _decimal)

    def day(self, key: str) -> date | None:
        return self._read(key, "a date such as 2026-04-20", _day)

    def instant(self, key: str) -> datetime | None:
        return self._read(key, "a time with its UTC offset such as 2026-06-02T13:02:00-07:00", _instant)

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts; one text counts as a list of one."""
        return self._read(key, "a list of texts", _texts) or ()

    def texts_or_none(self, key: str) -> tuple[str, ...] | None:
        return self._read(key, "a list of texts", _texts)

    def flags(self, key: str) -> Mapping[str, bool]:
        """Named answers: true, false, or a text (said: true)."""
        return self._read(key, "names with true or false", _flags) or {}

    def tables(self, key: str) -> Iterable[tuple[str, "_Table"]]:
        found = self._read(key, "names with their values", _mapping) or {}
        for name, value in found.items():
            loc = (*self.loc, key, str(name))
            if isinstance(value, Mapping):
                table = _Table(self.notes, loc, value)
                yield str(name), table
                table.done()
            else:
                self.notes.fault(loc, "keys with values", _kind(value))

    def rows(self, key: str) -> Iterable["_Table"]:
        found = self._read(key, "a list", _list) or []
        for index, value in enumerate(found):
            loc = (*self.loc, key, index)
            if isinstance(value, Mapping):
                table = _Table(self.notes, loc, value)
                yield table
                table.done()
            else:
                self.notes.fault(loc, "keys with values", _kind(value))

    def inner(self, key: str) -> "_Table":
        found = self._read(key, "keys with values", _mapping) or {}
        return _Table(self.notes, (*self.loc, key), found)

    def done(self) -> None:
        known = sorted(self.asked)
        for key in self.data:
            if key in self.asked:
                continue
            alike = get_close_matches(str(key).casefold(), known, n=1, cutoff=_CLOSE)
            if alike and alike[0] not in self.data:
                expected = "a key that has a meaning here"
                self.notes.fault(
                    (*self.loc, str(key)), expected, quoted(key), f"did you mean {quoted(alike[0])}?"
                )
            else:
                self.notes.unread.append(way((*self.loc, str(key))))


def _kind(value: Any) -> str:
    if isinstance(value, Mapping):
        return "keys with values"
    if isinstance(value, list | tuple):
        return "a list"
    return quoted(value)


def _text(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise TypeError
    return str(value).strip()


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise TypeError
    return value


def _whole(value: Any) -> int:
    if isinstance(value, bool):
        raise TypeError
    if isinstance(value, list | tuple):  # crews named one by one
        return len(value)
    return int(value) if isinstance(value, int) else int(str(value))


def _decimal(value: Any) -> Decimal:
    if isinstance(value, bool):
        raise TypeError
    number = Decimal(str(value))
    if not number.is_finite() or number <= 0:
        raise ValueError
    return number


def _day(value: Any) -> date:
    if isinstance(value, datetime):
        raise TypeError
    return value if isinstance(value, date) else date.fromisoformat(str(value))


def _instant(value: Any) -> datetime:
    at = value if isinstance(value, datetime) else datetime.fromisoformat(str(value))
    if at.utcoffset() is None:
        raise ValueError
    return at


def _texts(value: Any) -> tuple[str, ...]:
    return tuple(_text(item) for item in value) if isinstance(value, list | tuple) else (_text(value),)


def _flags(value: Any) -> Mapping[str, bool]:
    found = _mapping(value)
    return {
        str(name): said if isinstance(said, bool) else bool(_text(said))
        for name, said in found.items()
        if said is not None
    }


def _mapping(value: Any) -> Mapping[Any, Any]:
    if not isinstance(value, Mapping):
        raise TypeError
    return value


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list | tuple):
        raise TypeError
    return list(value)


def _person(code: str, table: _Table) -> Person:
    return Person(
        code=code,
        role=table.word("role", get_args(Role), "other"),
        trained=table.day("trained"),
        valid_to=table.day("valid_to"),
        contractor=table.flag("contractor") or False,
        employer=table.text("employer"),
        assigned=table.day("assigned"),
        is_duty=table.flag("is_duty") or False,
    )


def _procedure(name: str, table: _Table) -> Procedure:
    content = table.flags("content") if table.has("content") else None
    return Procedure(
        id=name,
        machines=(*table.texts("machine"), *table.texts("machines")),
        revision=table.text("revision"),
        effective_on=table.day("effective_on"),
        changed_on=table.day("changed_on"),
        machine_changed_on=table.day("machine_changed_on"),
        documented=table.flag("documented"),
        flags=table.flags("undocumented_because"),
        other_removal=table.flag("other_removal"),
        content_complete=table.flag("content_complete"),
        content=content,
        points=tuple(_point(row) for row in table.rows("points")),
        certificates=tuple(_certificate(row) for row in table.rows("certificates"))
        if table.has("certificates")
        else None,
        inspection_due=table.day("inspection_due"),
    )


def _point(table: _Table) -> Point:
    if not table.text("id"):
        table.notes.fault((*table.loc, "id"), "the id of a point", "nothing")
    return Point(
        id=table.text("id"),
        device=table.text("device") if table.has("device") else None,
        energies=(*table.texts("energy"), *table.texts("energies")),
        lockable=_unless(table.flag("lockable"), True),
        required=_unless(table.flag("required"), True),
        needs_release=_unless(table.flag("needs_release"), False),
        reaccumulates=_unless(table.flag("reaccumulates"), False),
        monitor_min=table.decimal("monitor_min"),
        verify=table.text("verify") if table.has("verify") else None,
        stays_on=table.text("stays_on"),
    )


def _unless(value: bool | None, otherwise: bool) -> bool:
    return otherwise if value is None else value


def _certificate(table: _Table) -> Certificate:
    return Certificate(
        machine=table.text("machine"),
        dated=table.day("date"),
        inspector=table.text("inspector"),
        users_observed=table.texts("users_observed"),
        employees=table.texts("employees"),
        authorized_then=table.texts_or_none("authorized_then"),
        affected_then=table.texts_or_none("affected_then"),
        reviewed=table.texts_or_none("reviewed"),
        deviations=tuple(
            Deviation(
                text=row.text("text"),
                persons=row.texts("persons"),
                dated=row.day("date"),
                closed=row.flag("closed") or False,
            )
            for row in table.rows("deviations")
        ),
    )


def _lock(name: str, table: _Table) -> Lock:
    return Lock(
        id=name,
        owner=table.text("owner"),
        kind=table.word("kind", ("personal", "job", "transfer"), "personal"),
        lockout_only=table.flag("lockout_only"),
        type=table.text("type"),
        checked=table.day("checked"),
        legend=table.text("legend"),
    )


def _site(whole: _Table) -> Site:
    table = whole.inner("site")
    hours, minutes = table.decimal("job_age_limit_h"), table.decimal("box_lock_limit_min")
    exempt = whole.texts_or_none("never_exempt")
    if exempt is None:
        exempt = table.texts_or_none("never_exempt")
    site = Site(
        never_exempt=NEVER_EXEMPT if exempt is None else exempt,
        job_age_limit=timedelta(hours=float(hours)) if hours else timedelta(hours=24),
        inspection_months=table.number("inspection_months") or 12,
        strict_inspector=table.flag("strict_inspector") or False,
        crew_limit=table.number("crew_limit"),
        box_lock_limit=timedelta(minutes=float(minutes)) if minutes else None,
        lock_types=table.texts_or_none("lock_types"),
        lock_check_months=table.number("lock_check_months"),
        partial_verifies=table.flag("partial_verifies") or False,
        low_voltage_earthing=table.flag("low_voltage_earthing") or False,
    )
    table.done()
    return site


def _header(table: _Table, procedures: Mapping[str, Procedure]) -> Header:
    procedure = table.text("procedure")
    if procedure and procedure not in procedures:
        hint = near(procedure, procedures)
        table.notes.fault((*table.loc, "procedure"), listed(procedures), quoted(procedure), hint)
    answers = dict(table.flags("answers"))
    for key in ("guard_removed", "body_in_zone", "servicing"):
        said = table.flag(key)
        if said is not None:
            answers[key] = said
    return Header(
        job_class=table.word("class", get_args(JobClass), "lockout"),
        mode=table.word("mode", get_args(Mode), "individual"),
        procedure=procedure,
        revision=table.text("revision"),
        affected=table.texts("affected"),
        crews=table.number("crews"),
        coordinator=table.text("coordinator"),
        task=table.text("task"),
        answers=answers,
        measure=table.text("measure"),
        energies=table.texts_or_none("energies"),
        appointed=table.text("appointed"),
        permit=table.text("permit"),
    )


def _job(table: _Table, procedures: Mapping[str, Procedure], before: Job | None) -> Job:
    head = table.inner("job")
    header = _header(head, procedures)
    head.done()
    name = table.text("id") or f"job {int(table.loc[-1]) + 1}"
    events = tuple(event for row in table.rows("events") if (event := _event(row)) is not None)
    ordered = tuple(sorted(events, key=lambda event: event.n))
    goes_on = bool(before and before.events and ordered and ordered[0].n == before.events[-1].n + 1)
    first = before.events[-1].n + 1 if before and goes_on else 1
    return Job(id=name, title=table.text("title"), header=header, events=ordered, first_n=first)


def _event(table: _Table) -> Event | None:
    n, at = table.number("n"), table.instant("t")
    word = table.word("ev", tuple(sorted(EVENTS)), "")
    for key in ("n", "t", "ev"):
        if not table.has(key):
            table.notes.fault((*table.loc, key), "a value", "nothing")
    named = (*table.texts("point"), *table.texts("points"))
    places = tuple(BOX if place.upper() == BOX else place for place in table.texts("at"))
    event = Event(
        n=n or 0,
        t=at or datetime.min,  # noqa: DTZ901  never judged: a missing time is a fault
        ev=word,
        by=table.text("by"),
        points=() if named == ("all",) else named,
        all_points=named == ("all",),
        places=places,
        lock=table.text("lock"),
        tag=table.flag("tag") or False,
        extra_measure=table.text("extra_measure"),
        legend=table.text("legend"),
        result=table.text("result"),
        how=table.text("how"),
        rev=table.text("rev") or table.text("revision"),
        to=table.texts("to"),
        clear=table.texts("clear"),
        witness=table.texts("witness"),
        owner=table.text("owner"),
        person=table.text("person"),
        directed_by=table.text("directed_by"),
        giver=table.text("from"),
        primary=table.text("primary"),
        members=table.texts("members"),
        crews=table.number("crews"),
        coordinator=table.text("coordinator"),
        direction=table.text("direction"),
        partner=table.texts("with"),
        tester_before=table.flag("tester_before") or False,
        tester_after=table.flag("tester_after") or False,
        late=table.flag("late") or False,
        claimed=table.instant("claimed"),
        signer=table.text("signer"),
        entry=table.number("entry"),
    )
    table.has("note")
    return event if word and at is not None and n is not None else None
