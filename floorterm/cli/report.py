"""`floorterm report`: documents to print and keep, as text, HTML, PDF, JSON, CSV or a spreadsheet."""

import gc
import os
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import click

from floorterm.cli.common import (
    Status,
    checklists_option,
    db_option,
    default_db,
    fail,
    json_option,
    language_option,
    load_library,
    open_ledger,
    open_plant,
    put,
    write_whole,
)
from floorterm.ledger import Place

if TYPE_CHECKING:
    from floorterm.library.model import Library
    from floorterm.plant import Plant
    from floorterm.review.document import Document
    from floorterm.review.framing import Printing

KINDS = ("audit", "changeover", "deviations", "lockout", "inspection", "sheet", "shift", "study")
FORMATS = ("text", "html", "pdf", "json", "csv", "xlsx")
_STUDIED_DAYS = 365
_NEED_A_FILE = ("pdf", "xlsx")


@click.command()
@click.argument("kind", type=click.Choice(KINDS))
@click.argument("what", required=False)
@click.option(
    "--month", type=click.DateTime(["%Y-%m"]), help="Month of the audit (default: the one that runs)."
)
@click.option(
    "--since",
    type=click.DateTime(["%Y-%m-%d"]),
    help="First day of deviations (default: today) or of a study (default: a year ago).",
)
@click.option("--until", type=click.DateTime(["%Y-%m-%d"]), help="Last day of either (default: today).")
@click.option("--profile", help="Jurisdiction of the audit: US, EU, UK, DE or FR (default: the plant's).")
@click.option("--line", help="Line of a sheet whose procedure covers several.")
@click.option("--format", "form", type=click.Choice(FORMATS), default="text", show_default=True)
@language_option
@click.option("--by", default="", help="Code of whoever prints it; the printed name stands on every page.")
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), help="File to write (a PDF needs one)."
)
@json_option
@checklists_option
@db_option
def report(
    kind: str,
    what: str | None,
    month: datetime | None,
    since: datetime | None,
    until: datetime | None,
    profile: str | None,
    line: str | None,
    form: str,
    language: str,
    by: str,
    out: Path | None,
    as_json: bool,
    checklists: Path | None,
    db: Place | None,
) -> None:
    """Write a document: `audit` of a month, the record of a `changeover` or other work, the `deviations` of a span of
    days, a `lockout`'s record, an `inspection`'s certificate, a procedure's `sheet`, the report of a `shift`, the time
    `study` of a span of days.

    WHAT is the work's name, the lockout's as the audit lists it, the entry of the inspection, the procedure's id, or
    the shift by its first day and id (2026-11-24/early; default: the one that ended last). The same record at the
    same moment gives the same bytes (SOURCE_DATE_EPOCH sets the moment).
    """
    form = "json" if as_json else form
    if form in _NEED_A_FILE and out is None:
        fail(f"{form.upper()} is written to a file: name it with --out.")
    if kind == "sheet":
        document = _sheet(what, line, language, by, checklists, db)
    else:
        asked = {
            "kind": kind,
            "what": what or "",
            "month": f"{month:%Y-%m}" if month else "",
            "since": f"{since:%Y-%m-%d}" if since else "",
            "until": f"{until:%Y-%m-%d}" if until else "",
            "profile": profile or "",
            "language": language,
            "by": by,
        }
        place = db or default_db()
        ledger = open_ledger(place, read_only=True)
        gc.disable()  # folding a year makes many values and no rubbish; looking for it takes a seventh of the time
        document = made(asked, place, checklists, _moment(ledger.now()))
    _write(document, form, out)


def made(asked: Mapping[str, str], place: Place, checklists: Path | None, at: datetime) -> "Document":
    """The document that is asked for, of a record and at a moment (whole seconds), with its origin.

    Leaves with status 2 and the reason where the record has nothing of what is asked for.
    """
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.review.origin import with_origin  # noqa: PLC0415

    moment = at.replace(microsecond=0)
    try:
        plant = open_plant(place, checklists, clock=lambda: moment)
    except LedgerError as error:
        fail(str(error))
    printing = _printing(plant, asked["language"], asked["by"])
    what, profile = asked["what"] or None, asked["profile"] or None
    month = datetime.strptime(asked["month"], "%Y-%m") if asked["month"] else None  # noqa: DTZ007  a month has no zone
    make: dict[str, Callable[[], Document]] = {
        "audit": lambda: _audit(plant, printing, month, profile, place),
        "changeover": lambda: _changeover(plant, printing, what),
        "deviations": lambda: _deviations(plant, printing, asked["since"], asked["until"]),
        "lockout": lambda: _lockout(plant, printing, what, profile, place),
        "inspection": lambda: _inspection(plant, printing, what),
        "shift": lambda: _shift(plant, printing, what),
        "study": lambda: _study(plant, printing, asked["since"], asked["until"]),
    }
    return with_origin(make[asked["kind"]](), asked, plant.library.digest)


def _moment(now: datetime) -> datetime:
    """The moment of printing: now, or the one that a reproducible build names."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    return datetime.fromtimestamp(int(epoch), UTC) if epoch.isdigit() else now


def _printing(plant: "Plant", language: str, by: str) -> "Printing":
    from floorterm.ledger import LedgerError, Seal  # noqa: PLC0415
    from floorterm.review.framing import Printing  # noqa: PLC0415

    name = ""
    if by:
        try:
            name = f"{plant.ledger.person(by).name} ({by})"
        except LedgerError as error:
            fail(str(error))
    start = plant.ledger.start()
    return Printing(
        plant=start.plant,
        language=language,
        at=_moment(plant.now()).astimezone(plant.zone),
        by=name,
        seal=Seal.of(plant.ledger.head(), start.plant),
    )


def _audit(
    plant: "Plant", printing: "Printing", month: datetime | None, profile: str | None, db: Place | None
) -> "Document":
    from floorterm.review.lockout_audit import audit_period, month_of, year_until  # noqa: PLC0415
    from floorterm.review.lockout_documents import audit_document  # noqa: PLC0415

    law = _known_profile(profile)
    valid = _chain_valid(db)
    since, until = month_of(month.date() if month else plant.today())
    audit = audit_period(plant, since, until, profile=law, chain_valid=valid)
    last = min(plant.today(), until - timedelta(days=1))
    year = audit_period(plant, *year_until(max(last, since)), profile=law, chain_valid=valid)
    return audit_document(audit, year, printing)


def _known_profile(profile: str | None) -> str:
    from floorterm.lockout.auditing import profiles  # noqa: PLC0415

    if profile is not None and profile not in profiles():
        fail(f"There is no profile {profile!r}; known are {', '.join(profiles())}.")
    return profile or ""


def _chain_valid(db: Place | None) -> bool:
    from floorterm.ledger import verify_place  # noqa: PLC0415

    return verify_place(db or default_db()).ok


def _lockout(
    plant: "Plant", printing: "Printing", what: str | None, profile: str | None, db: Place | None
) -> "Document":
    from floorterm.review.lockout_audit import audit_period  # noqa: PLC0415
    from floorterm.review.lockout_documents import lockout_document  # noqa: PLC0415

    law = _known_profile(profile)
    work = (what or "").partition("/")[0]
    own = plant.ledger.refs(changeover=work, limit=1) if work else []
    first = own[0].at if own else plant.ledger.start().at
    ends = plant.ledger.refs(changeover=work, limit=1, newest_first=True) if own else []
    since = first.astimezone(plant.zone).date()
    until = (ends[0].at.astimezone(plant.zone).date() if ends else plant.today()) + timedelta(days=1)
    audit = audit_period(plant, since, until, profile=law, chain_valid=_chain_valid(db))
    job = next((job for job in audit.jobs if job.id == what), None)
    if job is None:
        begin = plant.ledger.start().at.astimezone(plant.zone).date()
        every = audit_period(plant, begin, plant.today() + timedelta(days=1), profile=law)
        _unknown("lockout", what, [job.id for job in every.jobs][-20:])
    return lockout_document(audit, job, printing)


def _changeover(plant: "Plant", printing: "Printing", what: str | None) -> "Document":
    from floorterm.changeover.acts import STARTED  # noqa: PLC0415
    from floorterm.review.changeover_document import changeover_document  # noqa: PLC0415

    known = [ref.changeover for ref in plant.ledger.refs(kinds=(STARTED,))]
    if what is None or what not in known:
        _unknown("work", what, known[-20:])
    return changeover_document(plant.state(what), plant.ledger.entries(changeover=what), printing)


def _deviations(plant: "Plant", printing: "Printing", since: str, until: str) -> "Document":
    from floorterm.review.changeover_document import deviations_document  # noqa: PLC0415

    first, after = _days(plant, since, until, 0)
    begin, end = (datetime.combine(day, time(), plant.zone) for day in (first, after))
    return deviations_document(plant.works_told_between(begin, end), first, after, printing)


def _days(plant: "Plant", since: str, until: str, back: int) -> tuple[date, date]:
    """First day and the day after the last; without a first day so many days before the last."""
    after = (date.fromisoformat(until) if until else plant.today()) + timedelta(days=1)
    first = date.fromisoformat(since) if since else after - timedelta(days=back + 1)
    if after <= first:
        fail("The last day of the span is before its first.")
    return first, after


def _study(plant: "Plant", printing: "Printing", since: str, until: str) -> "Document":
    from floorterm.review.study_document import study_document  # noqa: PLC0415
    from floorterm.studying import study_between  # noqa: PLC0415

    first, after = _days(plant, since, until, _STUDIED_DAYS)
    return study_document(study_between(plant, first, after), first, after, printing)


def _inspection(plant: "Plant", printing: "Printing", what: str | None) -> "Document":
    from floorterm.inspecting import inspections  # noqa: PLC0415
    from floorterm.review.lockout_documents import inspection_document  # noqa: PLC0415

    names = {person.code: person.name for person in plant.ledger.people()}
    found = inspections(plant)
    made = next((made for made in found if str(made.n) == what), None)
    if made is None:
        _unknown("inspection", what, [str(made.n) for made in found])
    return inspection_document(made, plant.library.lockouts.get(made.procedure), names, printing)


def _shift(plant: "Plant", printing: "Printing", what: str | None) -> "Document":
    from floorterm.review.shift_document import shift_document  # noqa: PLC0415
    from floorterm.shift.window import UnknownShiftError, window_named  # noqa: PLC0415
    from floorterm.shift_review import review_of, shift_to_review  # noqa: PLC0415

    shifts = plant.library.plant.shifts
    try:
        window = window_named(shifts, what, plant.zone) if what else shift_to_review(plant)
    except UnknownShiftError:
        today = plant.today().isoformat()
        _unknown("shift", what, [f"{today}/{shift.id}" for shift in shifts])
    return shift_document(review_of(plant, window), printing)


def _sheet(
    what: str | None,
    line: str | None,
    language: str,
    by: str,
    checklists: Path | None,
    db: Place | None,
) -> "Document":
    """A sheet is of the checklists; a ledger that is named only says who prints it, by its clock."""
    from floorterm.lockout.inspection import energy_control  # noqa: PLC0415
    from floorterm.review.framing import Printing  # noqa: PLC0415
    from floorterm.review.sheet import sheet_document  # noqa: PLC0415

    library: Library
    if db is not None:
        plant = open_plant(db, checklists)
        library, printed = plant.library, _printing(plant, language, by)
        printing = Printing(plant=printed.plant, language=language, at=printed.at, by=printed.by)
    else:
        library = load_library(checklists)
        now = _moment(datetime.now(UTC)).astimezone(_zone(library))
        printing = Printing(plant=library.plant.name, language=language, at=now, by=by)
    lockouts = energy_control(library.lockouts)
    lockout = lockouts.get(what or "")
    if lockout is None:
        _unknown("procedure", what, sorted(lockouts))
    chosen = line or lockout.lines[0]
    if chosen not in lockout.lines:
        _unknown("line of this procedure", chosen, list(lockout.lines))
    return sheet_document(lockout, library.lines[chosen], printing)


def _zone(library: "Library") -> tzinfo:
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    return ZoneInfo(library.plant.time_zone)


def _unknown(sort: str, what: str | None, known: list[str]) -> NoReturn:
    asked = f"There is no {sort} {what!r}" if what else f"Name the {sort}"
    fail(f"{asked}. Known are: {', '.join(known) or 'none'}.")


def written(document: "Document", form: str) -> bytes:
    """The document in a form; leaves with status 1 and the reason where it cannot be typeset."""
    from floorterm.review import (  # noqa: PLC0415
        document_html,
        document_json,
        document_pdf,
        document_table,
        document_text,
    )

    if form == "pdf":
        try:
            return document_pdf.as_pdf(document)
        except document_pdf.DocumentError as error:
            fail(str(error), Status.SHORT)
    if form in ("csv", "xlsx"):
        return (document_table.as_csv if form == "csv" else document_table.as_xlsx)(document)
    write = {"html": document_html.as_html, "json": document_json.as_json, "text": document_text.as_text}
    return write[form](document).encode("utf-8")


def _write(document: "Document", form: str, out: Path | None) -> None:
    data = written(document, form)
    if out is None:
        if form in ("text", "json", "html"):
            put(data.decode("utf-8"), nl=False)
        else:
            click.echo(data, nl=False)
        return
    try:
        write_whole(out, data)
    except OSError as error:
        fail(f"{out} cannot be written: {error.strerror}.")
    put(str(out))
