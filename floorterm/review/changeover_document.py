"""The record of one piece of work as a document, and the list of a span's deviations. Pure: folded states and entries.

Times carry the plant's offset; values stand as they were typed, a correction with its old value, its new one and why.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from floorterm.changeover.acts import CorrectStep, LateStep, LockoutAct, SignStep
from floorterm.changeover.standard import standard_min
from floorterm.languages import in_
from floorterm.review.chart_makers import figure, timeline, washed
from floorterm.review.document import Block, Document, Heading, KeyValues, Paragraph, Signatures, Table
from floorterm.review.framing import Printing, framed
from floorterm.review.shift_document import minutes_figure
from floorterm.shift import telling
from floorterm.shift.summarise import minutes_line
from floorterm.timestudy.observed import observed
from floorterm.wording import Say, sentence, words

if TYPE_CHECKING:
    from floorterm.changeover.state import Deviation, State
    from floorterm.changeover.worksheet import Worksheet
    from floorterm.entries import Entry

_TYPED = ("number", "choice", "text", "scanned", "kg", "counter", "lock", "result", "people", "how")


def changeover_document(state: "State", entries: "Sequence[Entry]", printing: Printing) -> Document:
    """Everything that was signed in one piece of work. `entries` are all of it, in order."""
    page = _Page(printing)
    say, sheet = page.say, state.worksheet
    blocks: list[Block] = [_facts(state, page), *_charts(state, printing)]
    blocks += [Heading(text=say("signed_off")), page.sign_offs(entries, sheet)]
    missing = page.missing(state)
    if missing.rows:
        blocks += [Heading(text=say("not_signed"), level=2), missing]
    blocks += [Heading(text=say("corrections")), page.corrections(entries, sheet)]
    blocks += [Heading(text=say("deviations")), page.deviations([(state, one) for one in state.deviations])]
    blocks += [Heading(text=say("flush")), page.pushes(state)]
    blocks += [Heading(text=say("lockouts")), page.locks(state), page.lock_events(entries)]
    blocks += [Heading(text=say("late")), page.late(entries, sheet)]
    blocks += [Heading(text=say("notes")), page.notes(state)]
    blocks += [Signatures(roles=(say("supervisor"),))]
    title = say("procedure_title" if state.worksheet.procedure else "title")
    return framed(printing, title, f"{state.work}, {page.spoken(state.worksheet.line.name)}", tuple(blocks))


def deviations_document(states: "Sequence[State]", since: date, until: date, printing: Printing) -> Document:
    """Every deviation that was raised on the local days from `since` up to, not with, `until`."""
    zone = printing.at.tzinfo
    found = [
        (state, one)
        for state in states
        for one in state.deviations
        if since <= one.at.astimezone(zone).date() < until
    ]
    page = _Page(printing)
    waiting = sum(one.open for _, one in found)
    blocks = (
        KeyValues(pairs=((page.say("count"), str(len(found))), (page.say("undecided"), str(waiting)))),
        Heading(text=page.say("deviations")),
        page.deviations(found, with_work=True),
    )
    span = page.say("span", since=since.isoformat(), until=until.isoformat())
    return framed(printing, page.say("deviation_list"), f"{printing.plant}, {span}", blocks)


def _facts(state: "State", page: "_Page") -> KeyValues:
    say, sheet = page.say, state.worksheet
    ends = [page.spoken(one.name) for one in (sheet.outgoing, sheet.incoming, sheet.procedure) if one]
    until = state.ended_at or state.last_at
    pairs = [
        (say("work"), state.work),
        (say("line"), page.spoken(sheet.line.name)),
        (say("from_to"), ", ".join(ends)),
        (say("started"), f"{page.at(state.started_at)} {state.started_by}"),
        (say("ended"), f"{page.at(state.ended_at)} {state.ended_by}" if state.ended_at else "-"),
        (say("status"), say(f"status_{state.status}")),
        (say("standard"), f"{standard_min(sheet):f}"),
        (say("minutes"), str(int((until - state.started_at).total_seconds() // 60))),
        (say("paused"), str(state.paused_s // 60)),
    ]
    for name, flush in state.flush.items():
        pairs += [
            (f"{say('required')} ({name})", f"{flush.required_kg:f}"),
            (f"{say('pushed')} ({name})", f"{flush.pushed_kg:f}"),
        ]
    return KeyValues(pairs=tuple(pairs))


def _charts(state: "State", printing: Printing) -> Iterator[Block]:
    """The timeline by person, where the minutes went, the washout of the flush; each as far as there is one."""
    language = printing.language
    drawn = timeline(state, observed(state, {}), printing.at.tzinfo, language)
    if drawn is not None:
        yield Heading(text=words("sign_offs.by_person", language))
        yield figure(drawn, language)
    line = minutes_line(state, printing.at) if state.ended and state.worksheet.procedure is None else None
    if line is not None:
        yield Heading(text=words("sign_offs.where_minutes_went", language))
        yield Paragraph(text=telling.minutes_text(line, language))
        yield minutes_figure(line, state.work, language)
    for curve in washed(state, language):
        yield Heading(text=words("sign_offs.washout", language))
        yield figure(curve, language)


class _Page:
    """The tables of one record in one language."""

    def __init__(self, printing: Printing) -> None:
        self._printing = printing

    def say(self, key: str, **facts: str | int) -> str:
        return words(f"sign_offs.{key}", self._printing.language, **facts)

    def spoken(self, text: Mapping[str, str]) -> str:
        language = self._printing.language
        return in_(text, language)

    def at(self, at: datetime | None) -> str:
        """Date and time to the second, with the plant's offset at that moment."""
        if at is None:
            return ""
        local = at.astimezone(self._printing.at.tzinfo)
        offset = f"{local:%z}"
        return f"{local:%Y-%m-%d %H:%M:%S} {offset[:3]}:{offset[3:]}"

    def step(self, name: str, sheet: "Worksheet") -> str:
        """What the step says; its id where a later worksheet no longer has it."""
        found = sheet.step(name)
        return f"{name}: {self.spoken(found.text)}" if found else name

    def typed(self, value: Mapping[str, Any]) -> str:
        """What somebody typed, as the entry keeps it."""
        if value.get("outcome") == "not_applicable":
            return self.say("not_applicable", reason=value.get("reason", ""))
        found = [value[name] for name in _TYPED if value.get(name) not in (None, "", [], ())]
        return "; ".join(
            ", ".join(map(str, one)) if isinstance(one, list | tuple) else str(one) for one in found
        )

    def who(self, entry: "Entry") -> str:
        if entry.witness:
            return self.say("witness", name=entry.name, code=entry.person, witness=entry.witness_name)
        return self.say("who_code", name=entry.name, code=entry.person)

    def sign_offs(self, entries: "Sequence[Entry]", sheet: "Worksheet") -> Table:
        rows = tuple(
            (
                self.at(one.at),
                self.step(one.step or one.value["step"], sheet),
                self.typed(one.value),
                self.who(one),
                str(one.n),
            )
            for one in entries
            if one.kind == SignStep.KIND
        )
        heads = ("time", "step", "value", "who", "entry")
        return self._table(heads, rows, (5, 9, 4, 4, 2), (4,), "none_signed")

    def missing(self, state: "State") -> Table:
        sheet = state.worksheet
        steps = [step.id for step in sheet.steps() if state.done(step.id) is None]
        return Table(head=(self.say("step"),), rows=tuple((self.step(name, sheet),) for name in steps))

    def corrections(self, entries: "Sequence[Entry]", sheet: "Worksheet") -> Table:
        """Old is what counted before: the entry corrected, or the last correction of it."""
        rows = tuple(
            (
                self.at(one.at),
                self.step(one.value["step"], sheet),
                self.typed(before.value) if before else "",
                self.typed(one.value),
                str(one.value.get("reason", "") or one.reason),
                self.who(one),
                str(one.n),
            )
            for one, before in _corrections(entries)
        )
        heads = ("time", "step", "old", "new", "why", "who", "entry")
        return self._table(heads, rows, (4, 7, 3, 3, 5, 4, 2), (6,), "no_corrections")

    def deviations(self, found: "Sequence[tuple[State, Deviation]]", *, with_work: bool = False) -> Table:
        rows = tuple(
            (
                self.at(one.done_at),
                *((f"{state.work}, {self.spoken(state.worksheet.line.name)}",) if with_work else ()),
                self.step(one.step, state.worksheet) if one.step else "",
                self._found(one),
                one.done_by_name,
                self.say(one.decision) if one.decision else self.say("waits"),
                ": ".join(filter(None, (one.decided_by, one.reason))),
                str(one.n),
            )
            for state, one in found
        )
        work = (("work", 3),) if with_work else ()
        rest = (("step", 6), ("found", 6), ("who", 3), ("decision", 4), ("decided_by", 6), ("entry", 3))
        heads, widths = zip(("time", 5), *work, *rest, strict=True)
        return self._table(heads, rows, widths, (len(heads) - 1,), "no_deviations")

    def _found(self, one: "Deviation") -> str:
        said = sentence(Say(one.key, one.facts), self._printing.language)
        return f"{self.say('critical')} ({self.say(one.critical)}): {said}" if one.critical else said

    def pushes(self, state: "State") -> Table:
        rows = tuple(
            (self.at(push.at), name, f"{push.kg:f}", push.by_name, str(push.n))
            for name, flush in state.flush.items()
            for push in flush.pushes
        )
        return self._table(
            ("time", "step", "total_kg", "who", "entry"), rows, (5, 6, 3, 4, 2), (2, 4), "no_pushes"
        )

    def locks(self, state: "State") -> Table:
        rows = tuple(
            (
                name,
                ", ".join(f"{lock.lock} ({lock.owner})" for lock in job.locks_on())
                or self.say("no_locks_on"),
            )
            for name, job in state.locks.items()
        )
        return self._table(("lockout", "locks_on"), rows, (1, 2), (), "no_lockouts")

    def lock_events(self, entries: "Sequence[Entry]") -> Table:
        """What was recorded about locks besides the steps that say so."""
        language = self._printing.language
        rows = tuple(
            (
                self.at(one.at),
                str(one.value["job"]),
                words(f"report.event_{one.value['event']}", language),
                "; ".join(filter(None, (", ".join(one.value.get("points", ())), self.typed(one.value)))),
                self.who(one),
                str(one.n),
            )
            for one in entries
            if one.kind == LockoutAct.KIND
        )
        heads = ("time", "lockout", "event", "value", "who", "entry")
        return self._table(heads, rows, (4, 3, 4, 5, 4, 2), (5,), "no_lock_events")

    def late(self, entries: "Sequence[Entry]", sheet: "Worksheet") -> Table:
        rows = tuple(
            (
                self.at(datetime.fromisoformat(one.value["done_at"])),
                self.step(one.value["step"], sheet),
                self.typed(one.value),
                f"{one.value['by_name']} ({one.value['by']})",
                f"{self.at(one.at)} {self.who(one)}",
                str(one.value["reason"]),
                str(one.n),
            )
            for one in entries
            if one.kind == LateStep.KIND
        )
        heads = ("on_paper", "step", "value", "who", "entered", "why", "entry")
        return self._table(heads, rows, (4, 6, 3, 4, 5, 4, 2), (6,), "no_late")

    def notes(self, state: "State") -> Table:
        rows = tuple((self.at(one.at), one.text, one.by_name, str(one.n)) for one in state.notes)
        return self._table(("time", "text", "who", "entry"), rows, (4, 10, 4, 2), (3,), "no_notes")

    def _table(
        self,
        heads: tuple[str, ...],
        rows: tuple[tuple[str, ...], ...],
        widths: tuple[int, ...],
        numbers: tuple[int, ...],
        empty: str,
    ) -> Table:
        head = tuple(map(self.say, heads))
        return Table(head=head, rows=rows, widths=widths, numbers=numbers, empty=self.say(empty))


def _corrections(entries: "Sequence[Entry]") -> "Iterator[tuple[Entry, Entry | None]]":
    """Each correction with the entry that counted before it."""
    counted = {one.n: one for one in entries}
    first = {one.n: one.n for one in entries}
    for one in entries:
        if one.kind == CorrectStep.KIND:
            root = first.get(one.value["corrects"], one.value["corrects"])
            yield one, counted.get(root)
            first[one.n] = root
            counted[root] = one
