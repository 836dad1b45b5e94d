"""Inspections of lockout procedures and training of people, read from and written into a plant's ledger.

Recording asks `lockout.inspection` inside the transaction, as every act asks its rules.
"""

from collections.abc import Iterable, Sequence
from datetime import date
from typing import TYPE_CHECKING

from floorterm.entries import Entry, clean_text
from floorterm.ledger.persons import ADDED, CHANGED
from floorterm.lockout import attestation
from floorterm.lockout.attestation import ATTESTED, attestation_refusals
from floorterm.lockout.inspection import (
    CORRECTED,
    KINDS,
    MADE,
    REVIEWED,
    Due,
    Found,
    Inspection,
    Report,
    correction_refusals,
    due_list,
    energy_control,
    fold_inspections,
    report_refusals,
    retrain_since,
    review_refusals,
    value_of,
)
from floorterm.lockout.training import History, Training, trainings
from floorterm.recording import recorded
from floorterm.wording import Refusal

if TYPE_CHECKING:
    from floorterm.ledger import Asked
    from floorterm.plant import Plant, Who


# --- reading ----------------------------------------------------------------------------------------


def inspections(plant: "Plant") -> tuple[Inspection, ...]:
    """Every recorded inspection."""
    return fold_inspections(plant.ledger.entries(kinds=KINDS))


def inspections_due(plant: "Plant") -> tuple[Due, ...]:
    """Every procedure with the day by which it must be inspected again, the most pressing first."""
    months = plant.library.plant.lockout.inspection_months
    return due_list(plant.library.lockouts, inspections(plant), plant.ledger.people(), plant.today(), months)


def people_trained(plant: "Plant") -> tuple[Training, ...]:
    """Everybody active with their training, whoever needs something first."""
    named = retrain_since(inspections(plant))
    return trainings(plant.ledger.people(), plant.library.lockouts, named, histories(plant), plant.today())


def histories(plant: "Plant") -> dict[str, History]:
    """Training dates and changes of duty of each person, as their entries tell them."""
    found: dict[str, History] = {}
    for entry in plant.ledger.entries(kinds=(ADDED, CHANGED)):
        code = entry.value["code"]
        before = found.get(code, History())
        trained, changed, since = before.trained, before.duty_changed, before.status_since
        day_of_entry = entry.at.astimezone(plant.zone).date()
        if (text := entry.value.get("trained_on")) and (day := date.fromisoformat(text)) not in trained:
            trained = (*trained, day)
        if "duties" in entry.value.get("was", ()):
            changed = (*changed, day_of_entry)
        if since is None or "lockout" in entry.value.get("was", ()):
            since = day_of_entry
        found[code] = History(trained=trained, duty_changed=changed, status_since=since)
    return found


# --- writing ----------------------------------------------------------------------------------------


def record_inspection(plant: "Plant", who: "Who", report: Report, *, key: str) -> Entry:
    """Record an inspection; the signer is its inspector. Raises RefusedError with every reason, TextError."""
    report = Report(
        procedure=report.procedure,
        on=report.on,
        observed=report.observed,
        reviewed=report.reviewed,
        found=tuple(Found(text=clean_text(one.text), persons=one.persons) for one in report.found),
    )
    lockout = energy_control(plant.library.lockouts).get(report.procedure)
    people, today = plant.ledger.people(), plant.today()

    def guard(asked: "Asked") -> Sequence[Refusal]:
        return report_refusals(report, lockout, asked.person, people, today)

    value = value_of(report, lockout, people) if lockout is not None else {}
    return recorded(plant, who, MADE, value, "inspected", guard, key)


def record_review(plant: "Plant", who: "Who", inspection: int, codes: Iterable[str], *, key: str) -> Entry:
    """Record that the inspector has gone through their responsibilities with more people."""
    named, people = tuple(codes), plant.ledger.people()

    def guard(asked: "Asked") -> Sequence[Refusal]:
        return review_refusals(_one(asked, inspection), named, asked.person, people)

    value = {"inspection": inspection, "people": list(named)}
    return recorded(plant, who, REVIEWED, value, "reviewed", guard, key)


def record_correction(
    plant: "Plant", who: "Who", inspection: int, deviation: int, text: str, *, key: str
) -> Entry:
    """Record how a deviation that an inspection found was corrected."""
    said = clean_text(text)

    def guard(asked: "Asked") -> Sequence[Refusal]:
        return correction_refusals(_one(asked, inspection), deviation, said, asked.person)

    value = {"inspection": inspection, "deviation": deviation, "text": said}
    return recorded(plant, who, CORRECTED, value, "corrected", guard, key)


def record_attestation(
    plant: "Plant", who: "Who", rule: str, jobs: Sequence[str], text: str, *, key: str
) -> Entry:
    """Record a person's word for what no event can prove, about the lockouts named."""
    said = clean_text(text)

    def guard(asked: "Asked") -> Sequence[Refusal]:
        return attestation_refusals(rule, jobs, said, asked.person)

    return recorded(plant, who, ATTESTED, attestation.value_of(rule, jobs, said), "attested", guard, key)


def _one(asked: "Asked", number: int) -> Inspection | None:
    found = fold_inspections(asked.entries(kinds=KINDS))
    return next((one for one in found if one.n == number), None)
