"""Periodic inspections of energy-control procedures (29 CFR 1910.147(c)(6)): entries, what is due, what is open.

An inspection is recorded by the inspector. Reviews with people who were not there, and corrections of what was
found, follow as entries of their own, so that the certificate shows what was missing and since when it is not.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Literal

from msgspec import Struct, field
from msgspec.structs import replace

from floorterm.access import Right, has_right
from floorterm.entries import Entry
from floorterm.lockout.auditing.months import months_after
from floorterm.people import LockoutStatus, Person
from floorterm.wording import Refusal, Say

if TYPE_CHECKING:
    from floorterm.library.model import LockoutFile
    from floorterm.library.procedures import InspectionCertificate

MADE = "inspection.made"
REVIEWED = "inspection.reviewed"
CORRECTED = "inspection.corrected"
KINDS = (MADE, REVIEWED, CORRECTED)
SOON_DAYS = 30  # a reminder of the site's, not of the regulation (LS-03)
_C = "29 CFR 1910.147"
SITE = "site policy"

DueStatus = Literal["overdue", "soon", "in_date"]


class Correction(Struct, frozen=True, kw_only=True):
    """How a deviation was corrected, by whom and on which local day; `n` is the entry."""

    text: str
    by: str
    by_name: str
    on: date
    n: int


class Deviation(Struct, frozen=True, kw_only=True):
    """Something that an inspection found. `id` counts from 1 within it; the persons named are trained again."""

    id: int
    text: str
    persons: tuple[str, ...] = ()
    correction: Correction | None = None


class Inspection(Struct, frozen=True, kw_only=True):
    """One inspection with everything that followed. `n` is the entry that recorded it, `on` the plant's local day.

    `observed` used the procedure while it was inspected; `authorized` is everybody authorised when it was
    recorded; `reviewed` those with whom the inspector went through their responsibilities.
    """

    n: int
    procedure: str
    revision: int
    machine: str
    on: date
    inspector: str
    inspector_name: str = ""
    observed: tuple[str, ...] = ()
    authorized: tuple[str, ...] = ()
    reviewed: tuple[str, ...] = ()
    deviations: tuple[Deviation, ...] = ()
    recorded: datetime | None = None

    @property
    def employees(self) -> tuple[str, ...]:
        """Everybody who was included in the inspection."""
        return tuple(dict.fromkeys((*self.observed, *self.reviewed)))

    @property
    def not_reviewed(self) -> tuple[str, ...]:
        """Authorised people with whom the review is still missing."""
        return tuple(code for code in self.authorized if code not in self.reviewed and code != self.inspector)

    @property
    def open(self) -> tuple[Deviation, ...]:
        """Deviations without a recorded correction."""
        return tuple(one for one in self.deviations if one.correction is None)

    def open_on(self, day: date) -> tuple[Deviation, ...]:
        """Deviations that were found by the end of a day and not corrected by then."""
        if self.on > day:
            return ()
        return tuple(one for one in self.deviations if one.correction is None or one.correction.on > day)


class Found(Struct, frozen=True, kw_only=True):
    """What an inspector writes down of one deviation: text, and the people it names."""

    text: str
    persons: tuple[str, ...] = ()


class Report(Struct, frozen=True, kw_only=True):
    """An inspection as the inspector reports it, before it is an entry."""

    procedure: str
    on: date
    observed: tuple[str, ...]
    reviewed: tuple[str, ...]
    found: tuple[Found, ...] = ()


class Due(Struct, frozen=True, kw_only=True):
    """One procedure: until when its newest inspection counts, and what is open from it.

    `newest` is None where only its date of effect, or a certificate of the YAML, counts (`certified` then dates it).
    """

    procedure: str
    due: date
    days: int
    status: DueStatus
    certified: date | None = None
    newest: Inspection | None = None
    not_reviewed: tuple[str, ...] = ()
    open: tuple[tuple[Inspection, Deviation], ...] = field(default=())


# --- entries ----------------------------------------------------------------------------------------


def value_of(report: Report, lockout: "LockoutFile", people: Iterable[Person]) -> dict[str, Any]:
    """The value of the entry: the report, the revision inspected, and who was authorised at that moment."""
    return {
        "procedure": report.procedure,
        "revision": lockout.revision,
        "machine": lockout.machine.en,
        "on": report.on.isoformat(),
        "observed": list(report.observed),
        "reviewed": list(report.reviewed),
        "authorized": [one.code for one in people if one.active and one.lockout is LockoutStatus.AUTHORIZED],
        "deviations": [
            {"id": number, "text": one.text, "persons": list(one.persons)}
            for number, one in enumerate(report.found, start=1)
        ],
    }


def fold_inspections(entries: Iterable[Entry]) -> tuple[Inspection, ...]:
    """Every inspection that the entries tell of, in their order; entries of other kinds mean nothing here."""
    found: dict[int, Inspection] = {}
    for entry in entries:
        if entry.kind == MADE:
            found[entry.n] = _made(entry)
            continue
        before = found.get(entry.value.get("inspection", 0)) if entry.kind in KINDS else None
        if before is None:
            continue
        if entry.kind == REVIEWED:
            people = (*before.reviewed, *entry.value["people"])
            found[before.n] = replace(before, reviewed=tuple(dict.fromkeys(people)))
        else:
            found[before.n] = replace(before, deviations=tuple(_corrected(before, entry)))
    return tuple(found.values())


def _made(entry: Entry) -> Inspection:
    value = entry.value
    return Inspection(
        n=entry.n,
        procedure=value["procedure"],
        revision=value["revision"],
        machine=value["machine"],
        on=date.fromisoformat(value["on"]),
        inspector=entry.person,
        inspector_name=entry.name,
        observed=tuple(value.get("observed", ())),
        authorized=tuple(value.get("authorized", ())),
        reviewed=tuple(value.get("reviewed", ())),
        deviations=tuple(
            Deviation(id=one["id"], text=one["text"], persons=tuple(one.get("persons", ())))
            for one in value.get("deviations", ())
        ),
        recorded=entry.at,
    )


def _corrected(before: Inspection, entry: Entry) -> Iterator[Deviation]:
    for one in before.deviations:
        if one.id == entry.value["deviation"] and one.correction is None:
            done = Correction(
                text=entry.value["text"], by=entry.person, by_name=entry.name, on=_local_day(entry), n=entry.n
            )
            yield replace(one, correction=done)
        else:
            yield one


def _local_day(entry: Entry) -> date:
    """The plant's own day of an entry, by the offset that stands in it."""
    offset = datetime.fromisoformat(f"2000-01-01T00:00:00{entry.offset or '+00:00'}").tzinfo
    return entry.at.astimezone(offset).date()


# --- what may be recorded ---------------------------------------------------------------------------


def report_refusals(
    report: Report, lockout: "LockoutFile | None", by: Person | None, people: Sequence[Person], today: date
) -> list[Refusal]:
    """Why an inspection cannot be recorded as one; empty when it can. The signer is the inspector."""
    known = {person.code for person in people}
    found: list[Refusal] = []
    if lockout is None:
        found.append(_no("no_procedure", SITE, procedure=report.procedure))
    trained = by is not None and by.trained_on is not None and by.trained_on <= report.on
    if by is None or by.lockout is not LockoutStatus.AUTHORIZED or not trained:
        found.append(_no("inspector_not_authorised", f"{_C}(c)(6)(i)(A)", date=report.on.isoformat()))
    if not report.observed:
        found.append(_no("nobody_observed", f"{_C}(c)(6)(i)"))
    if by is not None and by.code in report.observed:
        found.append(_no("inspector_uses", f"{_C}(c)(6)(i)(A)"))
    if report.on > today:
        found.append(_no("in_future", SITE, date=report.on.isoformat()))
    named = (*report.observed, *report.reviewed, *(code for one in report.found for code in one.persons))
    strangers = tuple(code for code in dict.fromkeys(named) if code not in known)
    if strangers:
        found.append(_no("no_such_people", SITE, people=", ".join(strangers)))
    if any(not one.text for one in report.found):
        found.append(_no("deviation_text", f"{_C}(c)(6)(i)(B)"))
    return found


def review_refusals(
    inspection: Inspection | None, codes: Sequence[str], by: Person | None, people: Sequence[Person]
) -> list[Refusal]:
    """Why a later review cannot be recorded: it is between the inspector and each employee."""
    if inspection is None:
        return [_no("no_inspection", SITE)]
    found: list[Refusal] = []
    if by is None or by.code != inspection.inspector:
        found.append(_no("inspector_reviews", f"{_C}(c)(6)(i)(C)", inspector=inspection.inspector))
    strangers = tuple(code for code in codes if code not in {person.code for person in people})
    if strangers or not codes:
        found.append(_no("no_such_people", SITE, people=", ".join(strangers) or "-"))
    return found


def correction_refusals(
    inspection: Inspection | None, deviation: int, text: str, by: Person | None
) -> list[Refusal]:
    """Why a correction cannot be recorded: supervisors and the safety officer close an open deviation, in words."""
    if inspection is None:
        return [_no("no_inspection", SITE)]
    found: list[Refusal] = []
    if not has_right(by, Right.CLOSE_INSPECTION_DEVIATION):
        found.append(_no("supervisor_corrects", SITE))
    if deviation not in {one.id for one in inspection.deviations}:
        found.append(_no("no_deviation", SITE, number=deviation))
    elif deviation not in {one.id for one in inspection.open}:
        found.append(_no("corrected_already", SITE, number=deviation))
    if not text:
        found.append(_no("correction_text", f"{_C}(c)(6)(i)(B)"))
    return found


def _no(key: str, rule: str, **facts: str | int) -> Refusal:
    return Refusal(Say(f"inspection.{key}", facts), rule)


# --- what is due ------------------------------------------------------------------------------------


def energy_control(lockouts: Mapping[str, "LockoutFile"]) -> dict[str, "LockoutFile"]:
    """The procedures that the paragraph covers: work without a lockout, by one of the exceptions, is not inspected."""
    return {name: one for name, one in lockouts.items() if one.exception is None}


def certificate_of(one: Inspection) -> "InspectionCertificate":
    """A recorded inspection as a certificate of the checklists would say it."""
    from floorterm.library.procedures import CertifiedDeviation, InspectionCertificate  # noqa: PLC0415

    return InspectionCertificate(
        machine=one.machine,
        date=one.on,
        inspector=one.inspector,
        users_observed=one.observed,
        employees=one.employees,
        reviewed=tuple(dict.fromkeys((*one.reviewed, one.inspector))),
        authorized=one.authorized,
        deviations=tuple(
            CertifiedDeviation(
                text=found.text,
                persons=found.persons,
                corrected_on=found.correction.on if found.correction else None,
                correction=found.correction.text if found.correction else "",
            )
            for found in one.deviations
        ),
    )


def with_inspections(
    lockouts: Mapping[str, "LockoutFile"], inspections: Iterable[Inspection]
) -> dict[str, "LockoutFile"]:
    """The procedures with the recorded inspections among their certificates."""
    added: dict[str, list[InspectionCertificate]] = {}
    for one in inspections:
        added.setdefault(one.procedure, []).append(certificate_of(one))
    return {
        name: replace(lockout, certificates=(*lockout.certificates, *added.get(name, ())))
        for name, lockout in lockouts.items()
    }


def due_list(
    lockouts: Mapping[str, "LockoutFile"],
    inspections: Sequence[Inspection],
    people: Iterable[Person],
    today: date,
    months: int = 12,
) -> tuple[Due, ...]:
    """Every procedure with the last day on which its newest inspection counts, the most pressing first.

    `lockouts` are those of the library, without the recorded inspections. 29 CFR 1910.147(c)(6)(i): at least
    yearly, each procedure by its own date; a new one counts from the day it took effect.
    """
    working = [one.code for one in people if one.active and one.lockout is LockoutStatus.AUTHORIZED]
    found = []
    for name, lockout in lockouts.items():
        if lockout.exception is not None:
            continue  # no energy-control procedure: (a)(2) takes that work out of the rule
        own = sorted((one for one in inspections if one.procedure == name), key=lambda one: (one.on, one.n))
        counting = [one for one in own if one.on <= today]
        newest = counting[-1] if counting else None
        certified = max((one.date for one in lockout.certificates if one.date <= today), default=None)
        dates = [day for day in (newest.on if newest else None, certified, lockout.effective_on) if day]
        due = months_after(max(dates), months)
        days = (due - today).days
        stands = newest is not None and (certified is None or newest.on >= certified)
        found.append(
            Due(
                procedure=name,
                due=due,
                days=days,
                status="overdue" if days < 0 else "soon" if days <= SOON_DAYS else "in_date",
                certified=certified,
                newest=newest if stands else None,
                not_reviewed=tuple(code for code in newest.not_reviewed if code in working)
                if newest is not None and stands
                else (),
                open=tuple((one, deviation) for one in own for deviation in one.open_on(today)),
            )
        )
    return tuple(sorted(found, key=_pressing))


def _pressing(one: Due) -> tuple[int, date, str]:
    """Overdue first, then what is open from the last inspection, then by the day."""
    rank = 0 if one.status == "overdue" else 1 if one.not_reviewed or one.open else 2
    return rank, one.due, one.procedure


def retrain_since(inspections: Iterable[Inspection]) -> dict[str, date]:
    """By person, the day of the newest inspection whose deviations name them ((c)(7)(iii)(B))."""
    found: dict[str, date] = {}
    for one in inspections:
        for deviation in one.deviations:
            for code in deviation.persons:
                found[code] = max(one.on, found.get(code, one.on))
    return found
