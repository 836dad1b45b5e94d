"""`floorterm lockout`: what lockout records show, lack and cannot show, rule by rule; periodic inspections."""

from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from floorterm.cli import inspections
from floorterm.cli.common import (
    Status,
    checklists_option,
    db_option,
    default_db,
    fail,
    json_option,
    language_option,
    open_ledger,
    own_folder,
    print_json,
    put,
)
from floorterm.ledger import Place
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.lockout import Finding
    from floorterm.lockout.auditing import Record

_LEVELS = ("V", "W", "P", "A")


@click.group()
def lockout() -> None:
    """Lockout: audit of the records, periodic inspections of the procedures."""


@lockout.command()
@click.option(
    "--record",
    "document",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A record document (YAML or JSON) instead of the ledger.",
)
@click.option(
    "--since", type=click.DateTime(["%Y-%m-%d"]), help="Only jobs with an event on this day or later."
)
@click.option("--profile", help="Jurisdiction: US, EU, UK, DE or FR (default: the record's, else US).")
@language_option
@checklists_option
@db_option
@json_option
@click.pass_context
def audit(
    ctx: click.Context,
    document: Path | None,
    since: datetime | None,
    profile: str | None,
    language: str,
    checklists: Path | None,
    db: Place | None,
    as_json: bool,
) -> None:
    """Judge the ledger's lockouts, or those of a record document, by 29 CFR 1910.147.

    Levels: V falls short, W weak, P open, A a person must attest it. Exit status 1 when anything falls short.
    It never says that a machine is safe: it says what was recorded.
    """
    from floorterm.lockout import audit as judge  # noqa: PLC0415
    from floorterm.lockout.auditing import profiles  # noqa: PLC0415

    if profile is not None and profile not in profiles():
        fail(f"There is no profile {profile!r}; known are {', '.join(profiles())}.")
    records = [_document(document)] if document else list(_ledger(db, checklists))
    records = [_since(one, since) for one in records]
    found = [finding for one in records for finding in judge(one, profile=profile or "")]
    jobs = [job.id for one in records for job in one.jobs]
    if as_json:
        print_json(_json(records, jobs, found, profile, language))
    else:
        _print(records, jobs, found, language)
    ctx.exit(Status.SHORT if any(one.level == "V" for one in found) else Status.WELL)


def _document(path: Path) -> "Record":
    from floorterm.lockout.auditing import RecordError  # noqa: PLC0415
    from floorterm.lockout.auditing.documents import load_record  # noqa: PLC0415

    try:
        return load_record(path.read_bytes())
    except OSError as error:
        fail(f"{path} cannot be read: {error.strerror}.")
    except RecordError as error:
        fail("\n".join(f"{path}:{fault}" for fault in error.faults))


def _ledger(db: Place | None, checklists: Path | None) -> "Iterator[Record]":
    """One record a piece of work of the ledger that has lockouts; people count as they were at each event."""
    from msgspec.structs import replace  # noqa: PLC0415

    from floorterm.changeover.acts import STARTED  # noqa: PLC0415
    from floorterm.changeover.fold import fold  # noqa: PLC0415
    from floorterm.changeover.lockout_record import record_of, tells_of_lockout  # noqa: PLC0415
    from floorterm.ledger import verify_place  # noqa: PLC0415
    from floorterm.ledger.persons import FOLDED, people_then  # noqa: PLC0415
    from floorterm.library import LibraryError, load  # noqa: PLC0415
    from floorterm.lockout.inspection import KINDS, fold_inspections  # noqa: PLC0415
    from floorterm.review.lockout_audit import site_of  # noqa: PLC0415

    ledger = open_ledger(db, read_only=True)
    try:
        library = load(own_folder(checklists, ledger))
    except LibraryError as error:  # the record stands by itself; the library only adds what it states
        put(f"Without the checklists, as they have faults:\n{error}", err=True)
        library = None
    made = fold_inspections(ledger.entries(kinds=KINDS))
    lockouts = library.lockouts if library is not None else {}
    people, now = tuple(people_then(ledger.entries(kinds=FOLDED))), ledger.now()
    chain_valid = verify_place(db or default_db()).ok
    for ref in ledger.refs(kinds=(STARTED,)):
        state = fold(ref.changeover, ledger.entries(changeover=ref.changeover))
        if tells_of_lockout(state):
            record = record_of(state, people, lockouts=lockouts, inspections=made, as_of=now)
            record = replace(record, chain_valid=chain_valid)
            if library is not None:
                policy = library.plant.lockout
                record = replace(record, site=site_of(policy), profile=policy.profile)
            yield record


def _since(record: "Record", since: datetime | None) -> "Record":
    from msgspec.structs import replace  # noqa: PLC0415

    if since is None:
        return record
    day = since.date()
    jobs = tuple(job for job in record.jobs if any(event.t.date() >= day for event in job.events))
    return replace(record, jobs=jobs)


def _json(
    records: "list[Record]", jobs: list[str], found: "list[Finding]", profile: str | None, language: str
) -> dict[str, Any]:
    counts: Counter[str] = Counter(one.level for one in found)
    return {
        "well": not counts["V"],
        "profile": profile or (records[0].profile if records else "US"),
        "caution": words("audit.caution", language),
        "jobs": jobs,
        "counts": {level: counts[level] for level in _LEVELS},
        "findings": [
            {
                "job": one.job,
                "rule": one.rule,
                "level": one.level,
                "clause": one.clause,
                "site_policy": one.site_policy,
                "from_memory": one.about.from_memory,
                "requirement": one.about.requirement(language),
                "at_n": one.at_n,
                "entry": one.entry,
                "persons": list(one.persons),
                "points": list(one.points),
                "text": one.text_in(language),
            }
            for one in found
        ],
        "not_read": [part for one in records for part in one.unread],
    }


def _print(records: "list[Record]", jobs: list[str], found: "list[Finding]", language: str) -> None:
    for job in dict.fromkeys(jobs):
        own = [one for one in found if one.job == job]
        put(f"{job}: {_counted(own, language)}")
        for one in own:
            put(f"  {one.level} {one.rule}  {one.text_in(language)}")
            put(f"          {_clause(one, language)}")
    unread = [part for one in records for part in one.unread]
    if unread:
        put(f"Not read: {', '.join(unread)}")
    put(f"{len(jobs)}: {_counted(found, language)}")
    put(words("audit.caution", language))


def _counted(found: "Iterable[Finding]", language: str) -> str:
    counts: Counter[str] = Counter(one.level for one in found)
    return ", ".join(f"{counts[level]} {words(f'audit.level.{level}', language)}" for level in _LEVELS)


def _clause(one: "Finding", language: str) -> str:
    notes = [one.about.clause_in(language)]
    if one.site_policy and not one.about.site_policy:
        notes.append(words("audit.site", language))
    if one.about.from_memory:
        notes.append(words("audit.from_memory", language))
    return "; ".join(notes)


for _command in inspections.COMMANDS:
    lockout.add_command(_command)
