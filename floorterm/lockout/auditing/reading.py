"""A record document (YAML or JSON, already parsed) turned into values, with every fault at once.

What cannot be understood (a time without its offset, an event word that nobody knows, a procedure that the
document lacks) is a fault. What is merely missing is not: the rules judge it. A key that looks like a known
one misspelt is a fault, because a misspelt `reaccumulates` would make a rule fall silent; any other unknown
key is listed in `Record.unread`.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, get_args

from msgspec.structs import replace

from floorterm.library.faults import listed, near, quoted
from floorterm.lockout.auditing.fields import Notes, RecordError, Table, kind_of
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

CONTENT = (
    "scope", "purpose", "authorisation", "rules_and_techniques", "enforcement", "A_use", "B_steps",
    "C_devices_and_responsible", "D_test",
)  # fmt: skip
EIGHT = (
    "no_stored_energy", "one_source", "fully_de_energises", "isolated_and_locked", "one_lock",
    "exclusive_control", "no_hazard_to_others", "no_accident",
)  # fmt: skip


def read_record(data: Mapping[str, Any]) -> Record:
    """The record that a parsed document stands for. Raises RecordError with every fault."""
    notes = Notes()
    whole = Table(notes, (), data if isinstance(data, Mapping) else {})
    if not isinstance(data, Mapping):
        notes.fault((), "keys with values", kind_of(data) if data is not None else "nothing")
    elif whole.text("format") not in ("", "1"):
        notes.fault(("format",), "1", quoted(data["format"]), "this program knows format 1 only")
    if isinstance(data, Mapping) and not whole.has("jobs"):
        notes.fault(("jobs",), "a list of jobs", "nothing")
    people = {code: _person(code, table) for code, table in whole.tables("people")}
    procedures = {name: _procedure(name, table) for name, table in whole.tables("procedures")}
    locks = _register(whole) if whole.has("locks") else None
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


def _person(code: str, table: Table) -> Person:
    return Person(
        code=code,
        role=table.word("role", get_args(Role), "other"),
        trained=table.day("trained"),
        valid_to=table.day("valid_to"),
        contractor=table.flag("contractor") or False,
        employer=table.text("employer"),
        assigned=table.day("assigned"),
        is_duty=table.flag("is_duty") or False,
        employer_rep=table.flag("employer_rep") or False,
    )


def _procedure(name: str, table: Table) -> Procedure:
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


def _point(table: Table) -> Point:
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


def _certificate(table: Table) -> Certificate:
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
                closed=row.flag("closed") or row.day("corrected") is not None,
            )
            for row in table.rows("deviations")
        ),
    )


def _register(whole: Table) -> Mapping[str, Lock]:
    """The register, written as names with their values or as a list of locks with their ids."""
    if isinstance(whole.data["locks"], Mapping):
        return {name: _lock(name, table) for name, table in whole.tables("locks")}
    return {(name := table.text("id")): _lock(name, table) for table in whole.rows("locks")}


def _lock(name: str, table: Table) -> Lock:
    return Lock(
        id=name,
        owner=table.text("owner"),
        kind=table.word("kind", ("personal", "job", "transfer"), "personal"),
        lockout_only=table.flag("lockout_only"),
        type=table.text("type"),
        checked=table.day("checked"),
        legend=table.text("legend"),
    )


def _site(whole: Table) -> Site:
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


def _header(table: Table, procedures: Mapping[str, Procedure]) -> Header:
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


def _job(table: Table, procedures: Mapping[str, Procedure], before: Job | None) -> Job:
    head = table.inner("job")
    header = _header(head, procedures)
    head.done()
    name = table.text("id") or f"job {int(table.loc[-1]) + 1}"
    events = tuple(event for row in table.rows("events") if (event := _event(row)) is not None)
    ordered = tuple(sorted(events, key=lambda event: event.n))
    goes_on = bool(before and before.events and ordered and ordered[0].n == before.events[-1].n + 1)
    first = before.events[-1].n + 1 if before and goes_on else 1
    return Job(id=name, title=table.text("title"), header=header, events=ordered, first_n=first)


def _event(table: Table) -> Event | None:
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
