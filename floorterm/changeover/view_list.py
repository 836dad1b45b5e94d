"""The whole list of a piece of work: one row a section, one row a step. Pure."""

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Literal

from msgspec import Struct

from floorterm.changeover.entering import Speaker
from floorterm.changeover.rules import current_step, next_steps
from floorterm.changeover.standard import minutes_of
from floorterm.changeover.state import State
from floorterm.changeover.view_step import NOBODY, done_by, numbers, value_text
from floorterm.changeover.view_words import Texts, clock, say, tell, unreviewed
from floorterm.changeover.worksheet import Step
from floorterm.languages import number
from floorterm.lockout.state import LockOn
from floorterm.people import Person

Mark = Literal["section", "done", "outside", "not_applicable", "now", "open", "waits", "paper"]


class ListRow(Struct, frozen=True, kw_only=True):
    """One row: a section heading (`mark` "section") or a step. `word` says the mark in words.

    "now" is the step proposed to this person, "open" what they could sign too, "waits" the rest; "paper" is a
    lockout step that was done on paper and does not count yet.
    """

    id: str
    mark: Mark
    word: str
    text: str
    number: int = 0
    note: str = ""
    draft: bool = False


def checklist(
    state: State,
    person: Person | None,
    now: datetime,
    language: str,
    *,
    elsewhere: tuple[LockOn, ...] = (),
    duties: Mapping[str, Texts] | None = None,
    at: str = "",
) -> tuple[ListRow, ...]:
    """The whole list for a person, in the worksheet's order. `at` is the step that the screen shows."""
    now = now.astimezone(state.last_at.tzinfo)
    speaker = Speaker(language=language, duties=duties or {})
    who = person or NOBODY
    able = {step.id for step in next_steps(state, who, now, elsewhere)}
    shown = state.worksheet.step(at) or current_step(state, who, now, elsewhere)
    order = numbers(state)
    rows: list[ListRow] = []
    for section in state.worksheet.sections:
        done = sum(1 for step in section.steps if state.stands(step.id, now))
        note = say("section_progress", language, done=done, count=len(section.steps))
        again = state.rounds.get(section.id, 1)
        if again > 1:
            note += say("section_round", language, round=again)
        title = tell(section.title, language)
        rows.append(ListRow(id=section.id, mark="section", word="", text=title, note=note))
        for step in section.steps:
            mark = _mark(state, step, now, able, shown.id if shown and not state.ended else "")
            rows.append(
                ListRow(
                    id=step.id,
                    mark=mark,
                    word=say(f"mark_{mark}", language),
                    text=tell(step.text, language),
                    number=order[step.id],
                    note=_note(state, step, now, speaker),
                    draft=unreviewed((step.text, step.why, step.caution), language),
                )
            )
    return tuple(rows)


def _mark(state: State, step: Step, now: datetime, able: set[str], shown: str) -> Mark:
    if state.stands(step.id, now):
        signed = state.signed[step.id]
        if signed.act.outcome == "not_applicable":
            return "not_applicable"
        return "done" if signed.within else "outside"
    if step.id == shown:
        return "now"
    if state.done(step.id) is not None and not state.expired(step.id, now):
        return "paper"
    return "open" if step.id in able else "waits"


def _note(state: State, step: Step, now: datetime, speaker: Speaker) -> str:
    language = speaker.language
    signed = state.done(step.id)
    if signed is not None and not state.expired(step.id, now):
        value = value_text(step, signed, language)
        seen = f"{clock(signed.done_at, now, language)} {done_by(signed, now, language)}"
        return f"{value}  {seen}" if value else seen
    minutes = minutes_of(state.worksheet, step)
    parts = (
        [say("minutes", language, minutes=number(minutes.normalize(), language))]
        if minutes > Decimal(0)
        else []
    )
    if step.duty:
        parts.append(speaker.duty(step.duty))
    return ", ".join(parts)
