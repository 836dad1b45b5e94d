"""What the Flush screen says besides the amounts: how sure, how known, the next best way, what is left now. Pure."""

from collections.abc import Iterator, Sequence
from decimal import Decimal

from msgspec import Struct

from floorterm.changeover.flush_live import Alternative, alternative, live, way_in_hand
from floorterm.changeover.state import FlushProgress, State
from floorterm.changeover.view_words import kg, say, spoken, tell
from floorterm.changeover.worksheet import FlushNote, StrategyNote
from floorterm.languages import grouped
from floorterm.wording import Say, words


class WayView(Struct, frozen=True, kw_only=True):
    """One way to flush in words: its row of the table, and what belongs to it. `mark`: proposed, not allowed…"""

    key: str
    name: str
    cells: tuple[str, ...]
    mark: str
    allowed: bool
    in_hand: bool
    reasons: tuple[str, ...]
    notes: tuple[str, ...]


def open_flush(state: State) -> FlushProgress | None:
    """The flush step in hand: the first that is not signed, else the last one; None where nothing is flushed."""
    steps = list(state.flush)
    waiting = [name for name in steps if name not in state.signed]
    chosen = waiting[:1] or steps[-1:]
    return state.flush[chosen[0]] if chosen else None


def way_name(key: str, language: str) -> str:
    """A way as people call it."""
    return words(f"strategies.name.{key}", language)


def sure_text(note: FlushNote, language: str) -> str:
    """How many kg it takes to be sure; "" where the record does not say."""
    if note.sure_kg is None or note.confidence is None or note.status != "ok":
        return ""
    return say(
        "flush_sure", language, kg=kg(note.sure_kg, language), sure=f"{float(note.confidence) * 100:g}"
    )


def known_text(note: FlushNote, language: str) -> str:
    """Measured or assumed, in a word: the worst mark counts; an accepted calibration names its entry."""
    text = say(f"known_{note.evidence}", language)
    if note.calibration_n is not None:
        text = f"{say('calibrated', language, n=note.calibration_n)}; {text}"
    return text


def next_best_text(note: FlushNote, progress: FlushProgress | None, language: str) -> str:
    """The next best way and what it would save against the one in hand; "" where the record compares none."""
    if not note.strategies:
        return ""
    found = alternative(note, way_in_hand(progress))
    if found is None:
        return say("flush_no_other", language)
    name, amount = way_name(found.row.key, language), found.row.kg or Decimal(0)
    cost = _cost(abs(found.cost), note, language)
    if found.cost < 0:
        return say("flush_instead_costs", language, way=name, kg=kg(amount, language), cost=cost)
    return say(
        "flush_instead_saves",
        language,
        way=name,
        kg=kg(amount, language),
        saved=grouped(max(found.kg, Decimal(0)), language),
        minutes=_minutes(found, language),
        cost=cost,
    )


def live_lines(state: State, language: str) -> Iterator[str]:
    """While flushing: what is left in the bars now with its band, and whether to stop."""
    note, progress = state.worksheet.flush, open_flush(state)
    if note is None or progress is None or not progress.pushed_kg:
        return
    found = live(note, progress)
    if found is not None:
        yield spoken(found.say, language)
    if not progress.left_kg:
        yield spoken(Say("calibrate.stop_now"), language)


def ways(note: FlushNote, in_hand: str, language: str) -> Sequence[WayView]:
    """All ways of the record side by side."""
    return tuple(_way(note, row, in_hand, language) for row in note.strategies)


def _way(note: FlushNote, row: StrategyNote, in_hand: str, language: str) -> WayView:
    figures = (row.kg, row.diverted_kg, row.minutes)
    cells = ["-" if figure is None else grouped(figure, language) for figure in figures]
    cost = "-" if row.cost is None else grouped(row.cost, language)
    mark = ""
    if row.key == in_hand:
        mark = words("strategies.in_hand", language)
    elif not row.allowed:
        mark = words("strategies.not_allowed", language)
    elif row.key == note.proposed:
        mark = words("strategies.proposed", language)
    elif row.tied:
        mark = words("strategies.tied", language)
    notes = [tell(text, language) for text in row.notes]
    if row.lockout:
        notes.insert(0, words("strategies.needs_lockout", language))
    return WayView(
        key=row.key,
        name=way_name(row.key, language),
        cells=(*cells, str(row.crew), cost),
        mark=mark,
        allowed=row.allowed,
        in_hand=row.key == in_hand,
        reasons=tuple(tell(text, language) for text in row.reasons),
        notes=tuple(notes),
    )


def _minutes(found: Alternative, language: str) -> str:
    key = "minutes_less" if found.minutes >= 0 else "minutes_more"
    return say(key, language, minutes=abs(found.minutes))


def _cost(cost: Decimal, note: FlushNote, language: str) -> str:
    amount = grouped(cost, language)
    return f"{amount} {note.currency}" if note.currency else say("cost_soap", language, cost=amount)
