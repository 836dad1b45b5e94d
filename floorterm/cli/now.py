"""`floorterm status`, `next`, `locks`, `shift`: what the screens say, as plain lines without a screen."""

from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from floorterm.cli.common import (
    checklists_option,
    db_option,
    fail,
    json_option,
    language_option,
    open_plant,
    print_json,
    put,
)
from floorterm.ledger import Place

if TYPE_CHECKING:
    from floorterm.people import Person
    from floorterm.plant import Plant
    from floorterm.shift_review import Review

_PERSON = click.option(
    "--person", "code", help="Code of the person for whom it is told (a name, never a sign-in)."
)
_ONE_LINE = click.option("--line", help="Line id, such as L1 (default: all).")
_Command = TypeVar("_Command", bound=Callable[..., object])


def _asked(command: _Command) -> _Command:
    """What all of these commands take: language, checklists, ledger, `--json`."""
    for option in (json_option, db_option, checklists_option, language_option):
        command = option(command)
    return command


def _say(blocks: Iterable[Iterable[str]]) -> None:
    """One block after the other, an empty line between them."""
    put("\n\n".join("\n".join(lines) for lines in blocks))


def _person(plant: "Plant", code: str | None) -> "Person | None":
    from floorterm.ledger import LedgerError  # noqa: PLC0415

    if code is None:
        return None
    try:
        return plant.ledger.person(code)
    except LedgerError as error:
        fail(str(error))


def _line(plant: "Plant", line: str | None) -> tuple[str, ...]:
    if line is None:
        return tuple(plant.library.lines)
    if line not in plant.library.lines:
        fail(f"There is no line {line!r}; known are {', '.join(plant.library.lines)}.")
    return (line,)


@click.command()
@_asked
def status(language: str, checklists: Path | None, db: Place | None, as_json: bool) -> None:
    """Every line: what it holds, what is on, minutes against standard, locks, deviations."""
    from floorterm.terminal.plain import status_text  # noqa: PLC0415

    plant = open_plant(db, checklists)
    text = list(status_text(plant, language))
    if as_json:
        lines = [
            {
                "line": one.line,
                "holds": list(one.holds.fragrances),
                "works": [state.work for state in one.works],
                "locks_on": sum(len(state.locks_on()) for state in one.works),
                "waiting": [state.work for state in one.waiting],
                "open_deviations": sum(len(state.open_deviations) for state in one.unsettled),
            }
            for one in plant.lines()
        ]
        print_json({"lines": lines, "text": text})
    else:
        _say([text])


@click.command(name="next")
@_ONE_LINE
@_PERSON
@_asked
def next_step(
    line: str | None,
    code: str | None,
    language: str,
    checklists: Path | None,
    db: Place | None,
    as_json: bool,
) -> None:
    """The current step of every piece of work that is on, with all that belongs to it."""
    from floorterm.terminal.plain import next_text  # noqa: PLC0415
    from floorterm.terminal.views.shown import work_view  # noqa: PLC0415

    plant = open_plant(db, checklists)
    person = _person(plant, code)
    works = [state for name in _line(plant, line) for state in plant.line_now(name).works if not state.ended]
    views = [work_view(plant, state, person, language) for state in works]
    texts = [list(next_text(plant, shown, language)) for shown in views]
    if not as_json:
        _say(texts or [["No work is on."]])
        return
    print_json(
        [
            {
                "work": state.work,
                "line": state.worksheet.line.id,
                "step": shown.step.id if shown.step else None,
                "refused": bool(shown.step and shown.step.refused),
                "text": text,
            }
            for state, shown, text in zip(works, views, texts, strict=True)
        ]
    )


@click.command()
@_ONE_LINE
@_PERSON
@_asked
def locks(
    line: str | None,
    code: str | None,
    language: str,
    checklists: Path | None,
    db: Place | None,
    as_json: bool,
) -> None:
    """Every isolation point with the locks on it: what was recorded. The lock at the machine decides."""
    from floorterm.terminal.plain import locks_text  # noqa: PLC0415

    plant = open_plant(db, checklists)
    person = _person(plant, code)
    names = _line(plant, line)
    texts = [list(locks_text(plant, name, person, language)) for name in names]
    if not as_json:
        _say(texts)
        return
    print_json(
        [
            {
                "line": name,
                "locks": [
                    {
                        "work": state.work,
                        "point": lock.point,
                        "lock": lock.lock,
                        "owner": lock.owner,
                        "since": lock.at.isoformat() if lock.at else None,
                    }
                    for state in plant.line_now(name).works
                    for lock in state.locks_on()
                ],
                "text": text,
            }
            for name, text in zip(names, texts, strict=True)
        ]
    )


@click.command()
@click.option("--review", is_flag=True, help="The whole review: minutes, deviations, sign-offs, signatures.")
@click.option(
    "--of", "key", help="Another shift, by the day on which it begins and its id: 2026-11-24/early."
)
@_asked
def shift(
    review: bool, key: str | None, language: str, checklists: Path | None, db: Place | None, as_json: bool
) -> None:
    """The shift that is on: what waits for a decision, what was run, how long it took.

    With --review the shift that ended last (the one that runs, near its end), as its supervisor signs it.
    """
    from floorterm.shift.window import UnknownShiftError, window_at, window_named  # noqa: PLC0415
    from floorterm.shift_review import review_of, shift_to_review  # noqa: PLC0415
    from floorterm.terminal.plain import review_text, shift_text  # noqa: PLC0415

    plant = open_plant(db, checklists)
    shifts = plant.library.plant.shifts
    window = shift_to_review(plant) if review else window_at(shifts, plant.now(), plant.zone)
    if key is not None:
        try:
            window = window_named(shifts, key, plant.zone)
        except UnknownShiftError:
            fail(f"There is no shift {key!r}; write it as 2026-11-24/{shifts[0].id}.")
    told: dict[str, object] = {"since": window.since.isoformat(), "until": window.until.isoformat()}
    if review:
        found = review_of(plant, window)
        text = list(review_text(found, language))
        told |= _review_json(found)
    else:
        text = list(shift_text(plant, language, window))
    if as_json:
        print_json(told | {"text": text})
    else:
        _say([text])


def _review_json(found: "Review") -> dict[str, object]:
    from floorterm.shift.summary import summary_json  # noqa: PLC0415
    from floorterm.wording import sentence  # noqa: PLC0415

    return {
        "summary": summary_json(found.summary),
        "signatures": [
            {
                "entry": one.n,
                "at": one.at.isoformat(),
                "person": one.person,
                "name": one.name,
                "digest": one.digest,
                "digest_holds": one.holds,
                "handover": one.handover,
                "taken_over": one.taken_over
                and {
                    "entry": one.taken_over.n,
                    "at": one.taken_over.at.isoformat(),
                    "person": one.taken_over.person,
                    "name": one.taken_over.name,
                },
            }
            for one in found.signatures
        ],
        "changed": [sentence(say) for say in found.changed],
    }
