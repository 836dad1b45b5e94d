"""`floorterm people`: who may sign. Every change needs an administrator's PIN and is an entry."""

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from floorterm.access import Right, has_right
from floorterm.cli.common import (
    Status,
    checklists_option,
    db_option,
    fail,
    json_option,
    language_option,
    load_library,
    open_ledger,
    open_plant,
    own_folder,
    print_json,
    print_table,
    put,
)
from floorterm.ledger import Place
from floorterm.people import LockoutStatus, Permission, Person
from floorterm.wording import sentence, words

if TYPE_CHECKING:
    from floorterm.ledger import Ledger

_BY = click.option("--by", required=True, help="Code of the administrator who does this.")


@click.group()
def people() -> None:
    """Who may sign: add, change, list, training, disable, new PIN."""


def _signer(ledger: "Ledger", by: str) -> Person:
    from floorterm.ledger import LedgerError  # noqa: PLC0415

    pin = click.prompt(f"PIN of {by}", hide_input=True)
    try:
        return ledger.check_pin(by, pin, terminal="cli")
    except LedgerError as error:
        fail(str(error), Status.SHORT)


def _administrator(ledger: "Ledger", by: str) -> str:
    person = _signer(ledger, by)
    if not has_right(person, Right.CHANGE_PEOPLE):
        fail("Only an administrator changes who may sign.", Status.SHORT)
    return person.code


def _known_duties(duties: tuple[str, ...], checklists: Path | None, ledger: "Ledger") -> None:
    """Leave with status 2 if a duty is none of the plant's."""
    if not duties:
        return
    known = [duty.id for duty in load_library(own_folder(checklists, ledger)).plant.duties]
    if unknown := [duty for duty in duties if duty not in known]:
        fail(f"--duty: the plant has no {', '.join(map(repr, unknown))}; known are {', '.join(known)}.")


def _day(value: datetime | None) -> date | None:
    return value.date() if value else None


@people.command(name="add")
@click.argument("code")
@click.option("--name", required=True, help="Printed name, as it stands in the record.")
@click.option(
    "--permission", type=click.Choice([str(p) for p in Permission]), default="operator", show_default=True
)
@click.option(
    "--duty", "duties", multiple=True, help="Duty on the floor, one of plant.yaml; may be repeated."
)
@click.option(
    "--lockout", type=click.Choice([str(s) for s in LockoutStatus]), default="other", show_default=True
)
@click.option("--trained-on", type=click.DateTime(["%Y-%m-%d"]), help="Date of the lockout training.")
@click.option(
    "--valid-to", type=click.DateTime(["%Y-%m-%d"]), help="Last day on which it counts (site policy)."
)
@click.option(
    "--badge", default="", help="Code on the badge: another way to name oneself, never a signature."
)
@_BY
@checklists_option
@db_option
def add(
    code: str,
    name: str,
    permission: str,
    duties: tuple[str, ...],
    lockout: str,
    trained_on: datetime | None,
    valid_to: datetime | None,
    badge: str,
    by: str,
    checklists: Path | None,
    db: Place | None,
) -> None:
    """Add a person. Prints a one-time PIN, which they replace when they first sign in."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415

    ledger = open_ledger(db)
    _known_duties(duties, checklists, ledger)
    administrator = _administrator(ledger, by)
    person = Person(
        code=code,
        name=name,
        permission=Permission(permission),
        duties=frozenset(duties),
        lockout=LockoutStatus(lockout),
        trained_on=_day(trained_on),
        valid_to=_day(valid_to),
        badge=badge,
    )
    try:
        ledger.add_person(person, None, by=administrator, identity="pin", terminal="cli")
        pin = ledger.reset_pin(code, by=administrator, identity="pin", terminal="cli")
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    put(f"{name} ({code}) may sign. One-time PIN: {pin}")


@people.command(name="change")
@click.argument("code")
@click.option("--name", help="Printed name.")
@click.option("--permission", type=click.Choice([str(p) for p in Permission]))
@click.option("--duty", "duties", multiple=True, help="The duties from now on; may be repeated.")
@click.option("--lockout", type=click.Choice([str(s) for s in LockoutStatus]))
@click.option("--trained-on", type=click.DateTime(["%Y-%m-%d"]), help="Date of a lockout training.")
@click.option(
    "--valid-to", type=click.DateTime(["%Y-%m-%d"]), help="Last day on which it counts (site policy)."
)
@click.option("--no-valid-to", is_flag=True, help="The site sets no last day.")
@click.option("--badge", help="Code on the badge.")
@click.option("--reason", default="", help="Why, such as which training it was.")
@_BY
@checklists_option
@db_option
def change(
    code: str,
    name: str | None,
    permission: str | None,
    duties: tuple[str, ...],
    lockout: str | None,
    trained_on: datetime | None,
    valid_to: datetime | None,
    no_valid_to: bool,
    badge: str | None,
    reason: str,
    by: str,
    checklists: Path | None,
    db: Place | None,
) -> None:
    """Change what is known of a person, such as a new training date. What is not named stays as it is."""
    from msgspec.structs import replace  # noqa: PLC0415

    from floorterm.ledger import LedgerError  # noqa: PLC0415

    if valid_to is not None and no_valid_to:
        fail("Give either --valid-to or --no-valid-to.")
    given: dict[str, object] = {
        "name": name,
        "permission": Permission(permission) if permission else None,
        "duties": frozenset(duties) or None,
        "lockout": LockoutStatus(lockout) if lockout else None,
        "trained_on": _day(trained_on),
        "valid_to": _day(valid_to),
        "badge": badge,
    }
    changes = {key: value for key, value in given.items() if value is not None}
    if no_valid_to:
        changes["valid_to"] = None
    if not changes:
        fail("Nothing to change was named.")
    ledger = open_ledger(db)
    _known_duties(duties, checklists, ledger)
    administrator = _administrator(ledger, by)
    try:
        before = ledger.person(code)
        entry = ledger.change_person(
            replace(before, **changes),
            by=administrator,
            reason=reason,
            identity="pin",
            terminal="cli",
        )
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    put(f"{code}: entry {entry.n} records {', '.join(sorted(changes))}.")


@people.command(name="training")
@language_option
@json_option
@checklists_option
@db_option
@click.pass_context
def training(
    ctx: click.Context, language: str, as_json: bool, checklists: Path | None, db: Place | None
) -> None:
    """Lockout training of everybody, its dates, and what asks for it again. Exit status 1 if anybody needs it."""
    from floorterm.inspecting import people_trained  # noqa: PLC0415

    found = people_trained(open_plant(db, checklists))
    asked = [one for one in found if one.status in ("missing", "again", "over")]
    if as_json:
        print_json(
            [
                {
                    "code": one.person.code,
                    "name": one.person.name,
                    "lockout": str(one.person.lockout),
                    "status": one.status,
                    "trained_on": one.person.trained_on and one.person.trained_on.isoformat(),
                    "valid_to": one.person.valid_to and one.person.valid_to.isoformat(),
                    "status_since": one.history.status_since and one.history.status_since.isoformat(),
                    "dates": [day.isoformat() for day in one.history.trained],
                    "reasons": [{"text": sentence(say, language), "rule": rule} for say, rule in one.reasons],
                }
                for one in found
            ]
        )
    else:
        print_table(
            ("code", "name", "lockout", "training", "dates", "why"),
            [
                (
                    one.person.code,
                    one.person.name,
                    str(one.person.lockout),
                    words(f"training.status_{one.status}", language),
                    ", ".join(day.isoformat() for day in one.history.trained) or "-",
                    "; ".join(f"{sentence(say, language)} ({rule})" for say, rule in one.reasons) or "-",
                )
                for one in found
            ],
        )
    ctx.exit(Status.SHORT if asked else Status.WELL)


@people.command(name="list")
@json_option
@db_option
def list_people(as_json: bool, db: Place | None) -> None:
    """List everybody who may or might sign."""
    found = open_ledger(db, read_only=True).people()
    if as_json:
        print_json(
            [
                {
                    "code": person.code,
                    "name": person.name,
                    "permission": str(person.permission),
                    "duties": sorted(person.duties),
                    "lockout": str(person.lockout),
                    "trained_on": person.trained_on and person.trained_on.isoformat(),
                    "valid_to": person.valid_to and person.valid_to.isoformat(),
                    "active": person.active,
                }
                for person in found
            ]
        )
        return
    print_table(
        ("code", "name", "permission", "duties", "lockout", "trained", "valid to", "active"),
        [
            (
                person.code,
                person.name,
                str(person.permission),
                ", ".join(sorted(person.duties)),
                str(person.lockout),
                person.trained_on.isoformat() if person.trained_on else "-",
                person.valid_to.isoformat() if person.valid_to else "-",
                "yes" if person.active else "no",
            )
            for person in found
        ],
    )


@people.command(name="disable")
@click.argument("code")
@_BY
@db_option
def disable(code: str, by: str, db: Place | None) -> None:
    """Disable a person's code for good; it is never given to anybody else."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415

    ledger = open_ledger(db)
    try:
        ledger.disable_person(code, by=_administrator(ledger, by), identity="pin", terminal="cli")
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    put(f"{code} may not sign any more.")


@people.command(name="reset-pin")
@click.argument("code")
@click.option(
    "--by", required=True, help="Code of whoever does this; supervisors and safety officers for operators."
)
@db_option
def reset_pin(code: str, by: str, db: Place | None) -> None:
    """Give a person a one-time PIN, after checking who they are. Nobody resets their own."""
    from floorterm.ledger import LedgerError  # noqa: PLC0415

    ledger = open_ledger(db)
    try:
        pin = ledger.reset_pin(code, by=_signer(ledger, by).code, identity="pin", terminal="cli")
    except LedgerError as error:
        fail(str(error), Status.SHORT)
    put(f"One-time PIN of {code}: {pin}")


@people.command(name="recover-pin")
@click.argument("code")
@click.option("--by", required=True, help="Code of the first person who vouches: supervisor or above.")
@click.option("--and", "witness", required=True, help="Code of the second person who vouches.")
@click.option("--reason", required=True, help="Why, and how it was checked who the administrator is.")
@db_option
def recover_pin(code: str, by: str, witness: str, reason: str, db: Place | None) -> None:
    """Give an administrator who lost the PIN a one-time PIN, where no other administrator can.

    Two other people, supervisors or above, check who it is and give their own PINs; both names and the reason
    are recorded.
    """
    from floorterm.entries import TextError  # noqa: PLC0415
    from floorterm.ledger import LedgerError  # noqa: PLC0415

    ledger = open_ledger(db)
    try:
        for one in (by, witness):
            ledger.check_pin(one, click.prompt(f"PIN of {one}", hide_input=True), terminal="cli")
        pin = ledger.recover_pin(code, by, witness, reason, identity="pin", terminal="cli")
    except (LedgerError, TextError) as error:
        fail(str(error), Status.SHORT)
    put(f"One-time PIN of {code}: {pin}")
