"""`floorterm late`: enter a step that was done and signed on paper while the record was down."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from floorterm.cli.common import (
    Status,
    checklists_option,
    db_option,
    fail,
    json_option,
    open_plant,
    print_json,
    put,
    signer_of,
)
from floorterm.ledger import Place

if TYPE_CHECKING:
    from floorterm.people import Person
    from floorterm.plant import Plant


@click.command()
@click.argument("work")
@click.argument("step")
@click.option(
    "--at", "time", required=True, help="When it was done by the paper: 13:45 or '2026-11-24 13:45'."
)
@click.option("--done-by", required=True, help="Code of whoever signed the step on the paper.")
@click.option("--seen-by", help="Code of whoever signed it there as the second person.")
@click.option(
    "--value", default="", help="What the paper says: a number, a choice, a lock's number, kg, a finding."
)
@click.option("--counter", type=int, help="The bar counter, where the step asks for it.")
@click.option("--reason", required=True, help="Why it was not recorded at once.")
@click.option("--by", required=True, help="Code of whoever enters it; their PIN is asked.")
@click.option(
    "--witness", help="Code of the supervisor or safety officer who looked at the paper; their PIN is asked."
)
@checklists_option
@db_option
@json_option
def late(
    work: str,
    step: str,
    time: str,
    done_by: str,
    seen_by: str | None,
    value: str,
    counter: int | None,
    reason: str,
    by: str,
    witness: str | None,
    checklists: Path | None,
    db: Place | None,
    as_json: bool,
) -> None:
    """Enter STEP of WORK from paper. The entry keeps the paper's time beside its own; no lock follows from it."""
    from floorterm.changeover.entering import Speaker  # noqa: PLC0415
    from floorterm.changeover.fold import NotStartedError  # noqa: PLC0415
    from floorterm.changeover.late_entry import late_act, late_given, late_spec, paper_time, recorded  # noqa: PLC0415
    from floorterm.entries import BodyError, TextError  # noqa: PLC0415
    from floorterm.ledger import LedgerError  # noqa: PLC0415
    from floorterm.wording import Refusal, Say, sentence  # noqa: PLC0415

    plant = open_plant(db, checklists, read_only=False)
    try:
        state = plant.state(work)
    except NotStartedError:
        fail(f"There is no work {work} in this record.")
    found = state.worksheet.step(step)
    if found is None:
        fail(f"The worksheet of {work} has no step {step!r}.")
    done_at = paper_time(time, plant.now(), plant.zone)
    if isinstance(done_at, Say):
        fail(sentence(done_at))
    speaker = Speaker(language="en", people={one.code: one.name for one in plant.ledger.people()})
    given = late_given(found, late_spec(state, found, speaker), value, counter)
    if isinstance(given, Refusal):
        fail(sentence(given.say))
    act = late_act(
        state,
        found,
        given,
        done_at=done_at,
        by=_person(plant, done_by),
        seen_by=_person(plant, seen_by) if seen_by else None,
        reason=reason,
    )
    who = signer_of(plant, by)
    seen = signer_of(plant, witness).person if witness else None
    try:
        entry = plant.act(work, act, who, key=plant.ledger.new_id(), witness=seen)
    except (LedgerError, BodyError, TextError) as error:
        fail(str(error), Status.SHORT)
    says = recorded(act)
    if as_json:
        told = {"entry": entry.n, "entered_at": entry.at, "done_at": act.done_at, "done_by": act.by}
        print_json({**told, "recorded": says})
    else:
        when = f"done {act.done_at:%Y-%m-%d %H:%M} by {act.by_name} on paper"
        what = "; ".join(f"{name} {text}" for name, text in says.items()) or "done, without a value"
        put(f"Recorded as entry {entry.n}: {step}, {when}: {what}.")


def _person(plant: "Plant", code: str) -> "Person":
    from floorterm.ledger import LedgerError  # noqa: PLC0415

    try:
        return plant.ledger.person(code)
    except LedgerError as error:
        fail(str(error))
