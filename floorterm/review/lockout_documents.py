"""Documents about lockout: the audit of a period, one lockout's record, the certificate of an inspection.

Pure: they take what was judged and recorded, and give a `Document`. None of them says that a machine is safe.
"""

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from floorterm.languages import by_language, in_
from floorterm.lockout.auditing import profiles, rules
from floorterm.review.document import Block, Document, Heading, KeyValues, Paragraph, Signatures, Table
from floorterm.review.framing import Printing, framed
from floorterm.wording import UnknownWordingError, words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from floorterm.library.model import LockoutFile
    from floorterm.lockout.auditing import Finding, Level
    from floorterm.lockout.auditing.record import Event
    from floorterm.lockout.inspection import Inspection
    from floorterm.lockout.model import Point
    from floorterm.review.lockout_audit import AuditedJob, PeriodAudit


def _spoken(text: Mapping[str, str], language: str) -> str:
    return in_(text, language)


# --- the audit of a period --------------------------------------------------------------------------


def audit_document(audit: "PeriodAudit", year: "PeriodAudit", printing: Printing) -> Document:
    """The audit of a month, with every rule over the year that ends with it."""
    say = printing.say
    month = words(f"audit_screen.month_{audit.since.month}", printing.language)
    law = profiles()[audit.profile]
    facts = KeyValues(
        pairs=(
            (
                say("period"),
                say("period_value", since=audit.since.isoformat(), until=audit.until.isoformat()),
            ),
            (say("lockouts"), str(len(audit.jobs))),
            (say("fell_short"), str(len(audit.short))),
            (say("jurisdiction"), f"{law.id}: {law.source_in(printing.language)}"),
            (say("chain"), _chain(audit, printing)),
        )
    )
    blocks: list[Block] = [facts]
    blocks += [Heading(text=say("what_fell_short")), *_short(audit, printing)]
    blocks += [Heading(text=say("weak_and_open")), _others(audit, printing)]
    blocks += [
        Heading(text=say("to_attest")),
        Paragraph(text=say("to_attest_note")),
        _waiting(audit, printing),
    ]
    blocks += [_attested(audit, printing)]
    blocks += [Heading(text=say("all_lockouts")), _all_jobs(audit, printing)]
    blocks += [Heading(text=say("by_rule")), Paragraph(text=_span(year, printing)), _by_rule(year, printing)]
    blocks += [Paragraph(text=_from_memory(printing), weight="quiet")]
    blocks += [Signatures(roles=(say("safety_officer"), say("supervisor")))]
    title = words("audit_screen.title", printing.language)
    return framed(printing, title, f"{printing.plant}, {month} {audit.since.year}", tuple(blocks))


def _chain(audit: "PeriodAudit", printing: Printing) -> str:
    key = {True: "chain_valid", False: "chain_broken", None: "chain_unchecked"}[audit.chain_valid]
    return printing.say(key, n=audit.seal.n)


def _short(audit: "PeriodAudit", printing: Printing) -> Iterator[Block]:
    if not audit.short:
        yield Paragraph(text=printing.say("none_short", jobs=len(audit.jobs)))
    for job in audit.short:
        yield Heading(text=_job_title(job, printing), level=2)
        yield _findings(audit, job.of("V"), printing)


def _job_title(job: "AuditedJob", printing: Printing) -> str:
    return f"{_spoken(job.machine, printing.language)}, {job.since:%Y-%m-%d %H:%M}, {job.id}"


def _findings(audit: "PeriodAudit", found: "Sequence[Finding]", printing: Printing) -> Table:
    say = printing.say
    return Table(
        head=(say("rule"), say("by_whom"), say("record_shows"), say("asked_for")),
        rows=tuple(
            (
                f"{one.rule} {_clause(one, printing)}",
                ", ".join(audit.name_of(code) for code in one.by) or "-",
                one.text_in(printing.language),
                one.about.requirement(printing.language),
            )
            for one in found
        ),
        widths=(3, 2, 5, 5),
    )


def _clause(one: "Finding", printing: Printing) -> str:
    parts = [one.about.clause_in(printing.language)]
    if one.site_policy and not one.about.site_policy:
        parts.append(words("audit.site", printing.language))
    return f"({'; '.join(parts)})"


def _others(audit: "PeriodAudit", printing: Printing) -> Table:
    say = printing.say
    levels: tuple[Level, ...] = ("W", "P")
    return Table(
        head=(say("lockout"), say("level"), say("rule"), say("by_whom"), say("record_shows")),
        rows=tuple(
            (
                job.id,
                words(f"audit.level.{one.level}", printing.language),
                f"{one.rule} {_clause(one, printing)}",
                ", ".join(audit.name_of(code) for code in one.by) or "-",
                one.text_in(printing.language),
            )
            for job in audit.jobs
            for level in levels
            for one in job.of(level)
        ),
        widths=(3, 2, 3, 2, 6),
        empty=say("none_weak"),
    )


def _waiting(audit: "PeriodAudit", printing: Printing) -> Table:
    say = printing.say
    return Table(
        head=(say("rule"), say("what_no_event_proves"), say("lockouts")),
        rows=tuple(
            (
                f"{rule.id} ({rule.clause_in(printing.language)})",
                " ".join(dict.fromkeys(one.text_in(printing.language) for _, one in found)),
                ", ".join(dict.fromkeys(job.id for job, _ in found)),
            )
            for rule, found in audit.waiting()
        ),
        widths=(3, 6, 4),
        empty=say("none_to_attest"),
    )


def _attested(audit: "PeriodAudit", printing: Printing) -> Table:
    say = printing.say
    spoken = {
        (word.n, word.rule): (word, [job.id for job in audit.jobs if job.attested.get(word.rule) == word])
        for job in audit.jobs
        for word in job.attested.values()
    }
    rows = []
    for (n, rule), (word, _) in sorted(spoken.items()):
        about = [job.id for job in audit.jobs if (other := job.attested.get(rule)) and other.n == n]
        rows.append((rule, word.text, f"{word.by_name}, {word.at:%Y-%m-%d}, {n}", ", ".join(about)))
    return Table(
        head=(say("rule"), say("attested_words"), say("attested_by"), say("lockouts")),
        rows=tuple(rows),
        widths=(1, 4, 3, 4),
        empty=say("none_attested"),
    )


def _all_jobs(audit: "PeriodAudit", printing: Printing) -> Table:
    say = printing.say
    return Table(
        head=(say("lockout"), say("machine"), say("from_until"), say("people"), say("short")),
        rows=tuple(
            (
                job.id,
                _spoken(job.machine, printing.language),
                f"{job.since:%Y-%m-%d %H:%M} - " + (f"{job.until:%H:%M}" if job.closed else say("open")),
                ", ".join(audit.name_of(code) for code in job.people),
                str(len(job.of("V"))),
            )
            for job in audit.jobs
        ),
        widths=(3, 3, 3, 4, 1),
        numbers=(4,),
        empty=say("no_lockouts"),
    )


def _span(year: "PeriodAudit", printing: Printing) -> str:
    since, until = year.since.isoformat(), year.until.isoformat()
    return printing.say("year_span", since=since, until=until, jobs=len(year.jobs))


def _by_rule(year: "PeriodAudit", printing: Printing) -> Table:
    say = printing.say
    levels = [words(f"audit.level.{level}", printing.language) for level in ("V", "W", "P", "A")]
    return Table(
        head=(say("rule"), say("asked_for"), *levels, say("attested")),
        rows=tuple(
            (
                f"{one.rule.id} ({one.rule.clause_in(printing.language)})",
                one.rule.requirement(printing.language),
                *(str(one.counts.get(level, 0)) for level in ("V", "W", "P", "A")),
                str(one.attested),
            )
            for one in year.by_rule()
        ),
        widths=(10, 14, 5, 5, 6, 7, 7),
        numbers=(2, 3, 4, 5, 6),
        empty=say("none_by_rule"),
    )


def _from_memory(printing: Printing) -> str:
    named = ", ".join(name for name, rule in rules().items() if rule.from_memory)
    return printing.say("from_memory", rules=named)


# --- one lockout ------------------------------------------------------------------------------------


def lockout_document(audit: "PeriodAudit", job: "AuditedJob", printing: Printing) -> Document:
    """The record of one lockout: points, every event with its entry, what the audit says, what was attested."""
    say = printing.say
    until = _stamp(job.events[-1]) if job.closed else say("open")
    facts = KeyValues(
        pairs=(
            (say("machine"), _spoken(job.machine, printing.language)),
            (say("procedure"), say("procedure_value", procedure=job.procedure, revision=job.revision)),
            (say("from_until"), f"{_stamp(job.events[0])} - {until}"),
            (say("people"), ", ".join(f"{audit.name_of(code)} ({code})" for code in job.people)),
        )
    )  # fmt: skip
    blocks: list[Block] = [facts, Heading(text=say("points")), _points(job, printing)]
    blocks += [Heading(text=say("events")), Paragraph(text=say("events_note"), weight="quiet")]
    blocks += [_events(audit, job, printing), Heading(text=say("findings"))]
    judged = [one for one in job.findings if one.level != "A"]
    if judged:
        blocks.append(_findings(audit, judged, printing))
    else:
        blocks.append(Paragraph(text=say("no_findings")))
    open_ = (f"{one.rule} ({one.about.clause_in(printing.language)})" for one in job.to_attest())
    waiting = ", ".join(dict.fromkeys(open_))
    if waiting:
        blocks.append(Paragraph(text=say("waiting", rules=waiting)))
    for rule, word in job.attested.items():
        said = say("attested_line", rule=rule, name=word.by_name, date=f"{word.at:%Y-%m-%d}", text=word.text)
        blocks.append(Paragraph(text=said))
    subtitle = f"{printing.plant}, {job.id}, {_spoken(job.title, printing.language)}"
    return framed(printing, say("lockout_record"), subtitle, tuple(blocks))


def _stamp(event: "Event") -> str:
    """Date, time and offset: readable on its own, wherever the paper goes."""
    at = f"{event.t:%Y-%m-%d %H:%M:%S} {event.t:%z}"
    return f"{at[:-2]}:{at[-2:]}"


def _points(job: "AuditedJob", printing: Printing) -> Table:
    say = printing.say
    return Table(
        head=(say("point"), say("energy"), say("device"), say("stored"), say("verification")),
        rows=tuple(_point_row(point, printing) for point in job.points),
        widths=(4, 4, 2, 2, 7),
    )


def _point_row(point: "Point", printing: Printing) -> tuple[str, ...]:
    say = printing.say
    return (
        f"{point.id}: {_spoken(point.name, printing.language)}",
        f"{', '.join(say(f'energy_{one}') for one in point.energies)}; {point.magnitude}",
        say(f"device_{point.device}"),
        say("yes") if point.needs_release else say("no"),
        " ".join(_spoken(text, printing.language) for text in (point.verify_method, point.verify_expect)),
    )


def _word(key: str, word: str, printing: Printing) -> str:
    """A word of the record as people say it; one of another record's own stands as it is written."""
    try:
        return printing.say(key) if word else ""
    except UnknownWordingError:
        return word


def _events(audit: "PeriodAudit", job: "AuditedJob", printing: Printing) -> Table:
    say = printing.say
    return Table(
        head=(say("entry"), say("time"), say("event"), say("by_whom"), say("details")),
        rows=tuple(
            (
                str(event.number),
                _stamp(event),
                say(f"event_{event.ev}"),
                audit.name_of(event.by) or "-",
                "; ".join(part for part in _details(audit, event, printing) if part) or "-",
            )
            for event in job.events
        ),
        widths=(1, 4, 3, 2, 6),
        numbers=(0,),
    )


def _details(audit: "PeriodAudit", event: "Event", printing: Printing) -> Iterator[str]:
    """What an event says besides who, when and what."""
    if event.entered is not None:
        yield printing.say("by_paper", entered=f"{event.entered:%Y-%m-%d %H:%M}")
    yield ", ".join(event.points or event.places)
    yield event.lock
    yield _word(f"result_{event.result}", event.result, printing)
    yield _word(f"how_{event.how}", event.how, printing)
    told = "told" if event.ev.startswith("notify") or event.ev == "own_staff_told" else "to"
    named = (
        (told, event.to), ("clear", event.clear), ("seen_by", event.witness), ("owner", (event.owner,)),
        ("directed", (event.directed_by,)), ("giver", (event.giver,)), ("primary", (event.primary,)),
        ("members", event.members), ("coordinator", (event.coordinator,)), ("person", (event.person,)),
        ("partner", event.partner),
    )  # fmt: skip
    for key, codes in named:
        people = ", ".join(audit.name_of(code) for code in codes if code)
        if people:
            yield printing.say(key, people=people)


# --- the certificate of an inspection ---------------------------------------------------------------


def inspection_document(
    made: "Inspection", lockout: "LockoutFile | None", names: Mapping[str, str], printing: Printing
) -> Document:
    """The certificate of a periodic inspection: what 29 CFR 1910.147(c)(6)(ii) asks for, and what is still open."""
    say = printing.say

    def people(codes: tuple[str, ...]) -> str:
        return ", ".join(f"{names.get(code, code)} ({code})" for code in codes) or "-"

    title = by_language(lockout.title) if lockout is not None else {"en": made.procedure}
    facts = KeyValues(
        pairs=(
            (say("machine"), made.machine),
            (say("procedure"), say("procedure_value", procedure=made.procedure, revision=made.revision)),
            (say("inspected_on"), made.on.isoformat()),
            (say("employees"), people(made.employees)),
            (say("inspector"), people((made.inspector,))),
        )
    )
    more = KeyValues(
        pairs=(
            (say("observed"), people(made.observed)),
            (say("reviewed"), people(made.reviewed)),
            (say("not_reviewed"), people(made.not_reviewed)),
            (say("entry"), str(made.n)),
        )
    )
    deviations = Table(
        head=("", say("found"), say("names"), say("correction"), say("corrected_by")),
        rows=tuple(
            (
                str(one.id),
                one.text,
                people(one.persons),
                one.correction.text if one.correction else say("not_corrected"),
                f"{one.correction.by_name}, {one.correction.on.isoformat()}, {one.correction.n}"
                if one.correction
                else "-",
            )
            for one in made.deviations
        ),
        widths=(1, 5, 3, 5, 3),
        empty=say("no_deviations"),
    )
    missing = bool(made.not_reviewed or made.open)
    state = Paragraph(text=say("inspection_open" if missing else "inspection_complete"), weight="strong")
    blocks: tuple[Block, ...] = (
        facts, Paragraph(text=say("certifies")), Heading(text=say("how_inspected")), more,
        Heading(text=say("deviations")), deviations, state,
        Signatures(roles=(say("inspector"), say("safety_officer"))),
    )  # fmt: skip
    subtitle = f"{printing.plant}, {_spoken(title, printing.language)}"
    return framed(printing, say("certificate"), subtitle, blocks)
