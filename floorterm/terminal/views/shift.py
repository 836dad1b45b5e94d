"""What the Shift screen says: what waits for a decision, what was run, how long it took. Pure."""

from collections.abc import Iterable, Sequence
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING

from msgspec import Struct

from floorterm.changeover.line_now import under_lockout
from floorterm.changeover.view import title_of
from floorterm.changeover.waiting import open_steps
from floorterm.ledger.persons import PIN_BURST, PIN_OFF
from floorterm.ledger.proof_faults import WitnessDiffersError
from floorterm.ledger.restored import RESTORED
from floorterm.terminal.views.lines import Names, against_standard, deviations_span
from floorterm.terminal.views.text import Line, Span, Tone, clock, day_and_clock, short_name, tell
from floorterm.wording import Count, Say, sentence, words

if TYPE_CHECKING:
    from floorterm.changeover.state import Deviation, State
    from floorterm.entries import Entry
    from floorterm.ledger import Ledger, LedgerError
    from floorterm.shift.signing import ShiftSignature
    from floorterm.shift.window import Window

_STATUS_TONE: dict[str, Tone] = {"released": "done", "abandoned": "strong", "paused": "caution", "open": ""}


def second_place_line(
    fault: "LedgerError | None", since: datetime | None, zone: tzinfo, language: str
) -> Line:
    """That seals do not reach their second place; () where they do, or where the plant names none."""
    if fault is None or since is None:
        return ()
    if isinstance(fault, WitnessDiffersError):
        return (Span(f" {words('proof.differs_there', language)} ", "danger"),)
    return (
        Span(f" {words('proof.owed', language, since=day_and_clock(since, zone, language))} ", "caution"),
    )


def signature_line(
    signature: "ShiftSignature | None", window: "Window", now: datetime, language: str
) -> Line:
    """Whether the shift is signed and taken over; () while nobody is to have signed it yet."""
    if signature is None:
        return (Span(f" {words('shift.not_signed', language)} ", "caution"),) if now >= window.until else ()
    name = short_name(signature.name)
    if signature.taken_over is None:
        return (Span(words("shift.state_signed", language, name=name), "strong"),)
    return (Span(words("shift.state_taken_over", language, name=name), "done"),)


class ShiftRow(Struct, frozen=True):
    """One row: a heading, a deviation of a work, or a work. What stands at the right is set there by the screen."""

    key: str
    left: tuple[Line, ...]
    right: tuple[Line, ...] = ()
    heading: bool = False
    work: str = ""
    deviation: int = 0
    ready: bool = False  # nothing but its release is left


def can_release(state: "State", now: datetime) -> bool:
    """Whether nothing but the release is left of a work."""
    return not state.ended and not open_steps(state, now) and not state.locks_on()


def ledger_tells(ledger: "Ledger", window: "Window") -> list["Entry"]:
    """What a supervisor should know of the record itself in a shift: so many wrong PINs, and that it was restored."""
    return ledger.entries(kinds=(PIN_BURST, PIN_OFF, RESTORED), since=window.since, until=window.until)


def shift_rows(
    states: Iterable["State"],
    names: Names,
    now: datetime,
    zone: tzinfo,
    language: str,
    told: Sequence["Entry"] = (),
    since: datetime | None = None,
) -> tuple[ShiftRow, ...]:
    """Restores, wrong PINs, deviations that wait, works that wait for their release, then the rest by their start.

    A work that had ended when the shift began (`since`) is there for what waits alone, unless its locks are on.
    """
    found = sorted(states, key=lambda state: state.started_at)
    rows: list[ShiftRow] = []
    restored = [entry for entry in told if entry.kind == RESTORED]
    if restored:
        rows.append(_heading("restored", words("terminal.shift_restored", language)))
        rows += [_restored_row(entry, zone, language) for entry in restored]
    tried = [entry for entry in told if entry.kind != RESTORED]
    if tried:
        rows.append(_heading("pins", words("terminal.shift_wrong_pins", language, n=len(tried))))
        rows += [_tried_row(entry, zone, language) for entry in tried]
    waiting = [(state, one) for state in found for one in state.open_deviations]
    if waiting:
        rows.append(_heading("deviations", words("terminal.shift_deviations", language, n=len(waiting))))
        rows += [_deviation_row(state, one, names, now, zone, language) for state, one in waiting]
    ready = [state for state in found if can_release(state, now)]
    if ready:
        rows.append(_heading("release", words("terminal.shift_release", language, n=len(ready))))
        rows += [_work_row(state, names, now, zone, language) for state in ready]
    rest = [state for state in found if state not in ready and not _is_past(state, since)]
    rows.append(_heading("works", words("terminal.shift_works", language, n=len(rest))))
    rows += [_work_row(state, names, now, zone, language) for state in rest]
    return tuple(rows)


def _is_past(state: "State", since: datetime | None) -> bool:
    ended = state.ended_at is not None and since is not None and state.ended_at < since
    return ended and not under_lockout(state)


def _heading(key: str, text: str) -> ShiftRow:
    return ShiftRow(f"heading {key}", ((Span(f" {text}", "strong"),),), heading=True)


def _restored_row(entry: "Entry", zone: tzinfo, language: str) -> ShiftRow:
    """What the record lacks; locks that came on or off in between are not in it."""
    kept, missing = entry.value.get("kept"), entry.value.get("missing")
    facts = {
        "ends": Count(kept["n"]) if isinstance(kept, dict) and isinstance(kept.get("n"), int) else "?",
        "missing": Count(missing) if isinstance(missing, int) else "?",
    }
    return ShiftRow(
        f"restored {entry.n}",
        (
            (Span(words("terminal.restored_from", language, **facts)),),
            (Span(f"  {words('terminal.restored_lost', language, **facts)}", "quiet"),),
        ),
        (
            (Span(f" {words('terminal.restored_look', language)} ", "warning"),),
            (Span(clock(entry.at, zone), "quiet"),),
        ),
    )


def _tried_row(entry: "Entry", zone: tzinfo, language: str) -> ShiftRow:
    """Whose PIN was tried, how often in a row, and where last."""
    facts = {"count": str(entry.value.get("failures", "?")), "terminal": entry.terminal or "?"}
    return ShiftRow(
        f"pin {entry.n}",
        (
            (
                Span(f"{entry.value.get('code', '?')}  ", "strong"),
                Span(words(f"terminal.kind_{entry.kind.replace('.', '_')}", language)),
            ),
            (Span(f"  {words('terminal.wrong_pins_where', language, **facts)}", "quiet"),),
        ),
        (
            (Span(f" {words('terminal.wrong_pins_ask', language)} ", "warning"),),
            (Span(clock(entry.at, zone), "quiet"),),
        ),
    )


def deviation_text(deviation: "Deviation", language: str) -> str:
    """What a deviation is about."""
    return sentence(Say(deviation.key, deviation.facts), language)


def _deviation_row(
    state: "State", one: "Deviation", names: Names, now: datetime, zone: tzinfo, language: str
) -> ShiftRow:
    step = state.worksheet.step(one.step)
    line = names.lines.get(state.worksheet.line.id, state.worksheet.line.id)
    tone: Tone = "warning" if one.critical else "caution"
    critical = f" {words(f'terminal.critical_{one.critical}', language)} " if one.critical else ""
    held = f" {words('terminal.on_hold', language)} " if one.decision == "hold" else ""
    where = tell(step.text, language) if step else title_of(state.worksheet, language)
    done_at = one.done_at
    today = done_at.astimezone(zone).date() == now.astimezone(zone).date()
    at = clock(done_at, zone) if today else day_and_clock(done_at, zone, language)
    by = f"{short_name(one.done_by_name)} {at}"
    return ShiftRow(
        f"deviation {state.work} {one.n}",
        (
            (Span(f"{line}  ", "strong"), Span(deviation_text(one, language))),
            (Span(f"  {where}", "quiet"),),
        ),
        ((Span(critical or held, tone),) if critical or held else (), (Span(by, "quiet"),)),
        work=state.work,
        deviation=one.n,
    )


def _work_row(state: "State", names: Names, now: datetime, zone: tzinfo, language: str) -> ShiftRow:
    sheet = state.worksheet
    line = names.lines.get(sheet.line.id, sheet.line.id)
    begin = clock(state.started_at, zone)
    end = clock(state.ended_at, zone) if state.ended_at else "..."
    total = sum(1 for _ in sheet.steps())
    signed = total - len(open_steps(state, now))
    steps = words("terminal.steps_signed", language, signed=signed, total=total)
    status = Span(f" {words(f'terminal.status_{state.status}', language)} ", _STATUS_TONE[state.status])
    minutes = against_standard(state, now, language)
    deviations = deviations_span((state,), language)
    second: list[Span] = [Span(f"  {begin}-{end}   {steps}   {state.work}", "quiet")]
    return ShiftRow(
        f"work {state.work}",
        ((Span(f"{line}  ", "strong"), Span(title_of(sheet, language))), tuple(second)),
        ((minutes, Span("  "), status), (deviations,) if deviations else ()),
        work=state.work,
        ready=can_release(state, now),
    )
