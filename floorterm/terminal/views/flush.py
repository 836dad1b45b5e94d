"""The Flush screen as lines of spans: amounts, what governs, candidates, inputs, and the washout curve."""

import math
import textwrap
from collections.abc import Sequence
from decimal import Decimal

from floorterm.changeover.flush_live import BASE, way_in_hand
from floorterm.changeover.state import State
from floorterm.changeover.view import governs
from floorterm.changeover.view_flush import (
    known_text,
    live_lines,
    next_best_text,
    open_flush,
    sure_text,
    way_name,
)
from floorterm.changeover.view_step import flush_view, left_facts
from floorterm.changeover.view_words import kg, tell
from floorterm.changeover.worksheet import FlushNote, LimitCandidate
from floorterm.flush.explain import item_words, percent
from floorterm.languages import number
from floorterm.terminal.views.text import Line, Span, Tone, fit
from floorterm.terminal.views.work import flush_lines, labelled, say
from floorterm.wording import sentence

Points = Sequence[tuple[float, float]]
_INPUTS = frozenset({"rate_kg_h", "slug_g", "flash_fraction", "return_kg"})
_AXIS = 8  # columns of the scale at the left


# --- words --------------------------------------------------------------------------------------------


def flush_page(state: State, language: str, width: int) -> list[Line]:
    """First what decides now: amounts, the governing rule, how it is known, the next best way, what is left in
    the bars. Then every input and every candidate.
    """
    note = state.worksheet.flush
    if note is None:
        return labelled(say("label_now", language), say("flush_not_here", language), width)
    progress = open_flush(state)
    lines = [*_ended(state, language, width), *_required(state, note, language, width)]
    lines += _progress(state, note, language, width)
    lines += labelled(say("label_why", language), governs(state.worksheet, language), width)
    if note.gate:
        lines += labelled(
            say("label_caution", language), say("flush_gate", language), width, "caution", "caution", most=1
        )
    lines += _known(note, language, width)
    other = next_best_text(note, progress, language)
    if other:
        lines += labelled(say("label_ways", language), other, width)
    lines += _inputs(note, language, width)
    lines += _candidates(note, language, width)
    for warning in note.warnings:
        lines += labelled(say("label_note", language), tell(warning, language), width)
    return lines


def _ended(state: State, language: str, width: int) -> list[Line]:
    """That nothing is flushed here any more, above what was asked for."""
    if state.ended_at is None:
        return []
    facts = {"time": f"{state.ended_at:%Y-%m-%d %H:%M}", "name": state.ended_by}
    said = say(f"ended_{state.status}", language, **facts)
    return labelled(say("label_now", language), said, width, "notice", "notice")


def _progress(state: State, note: FlushNote, language: str, width: int) -> list[Line]:
    lines: list[Line] = []
    for step_id, progress in state.flush.items():
        if progress.pushed_kg or step_id in state.signed:
            lines += flush_lines(flush_view(progress, note, language), width)
    for place, text in enumerate(live_lines(state, language)):
        label = say("label_now_left", language) if place == 0 else ""
        lines += labelled(label, text, width, "strong" if place else "")
    return lines


def _known(note: FlushNote, language: str, width: int) -> list[Line]:
    tone: Tone = "caution" if note.evidence == "guessed" else ""
    return labelled(say("label_figures", language), known_text(note, language), width, tone)


def _required(state: State, note: FlushNote, language: str, width: int) -> list[Line]:
    now = sum((one.required_kg for one in state.flush.values()), Decimal(0)) or note.required_kg
    facts = {"kg": kg(now, language), **left_facts(now, note, language)}
    key = f"flush_status_{note.status}" if note.status != "ok" else "flush_required"
    lines = labelled(say("label_flush", language), say(key, language, **facts), width, "strong", "strong")
    in_hand = way_in_hand(open_flush(state))
    if now != note.required_kg:
        was = say("flush_revised_from", language, kg=kg(note.required_kg, language))
        lines += labelled("", was, width, "notice")
        if in_hand != BASE:
            lines += labelled("", say("flush_in_hand", language, way=way_name(in_hand, language)), width)
    elif note.status == "ok":
        parts = [say("flush_diverted", language, kg=kg(note.diverted_kg, language))]
        parts += [sure] if (sure := sure_text(note, language)) else []
        lines += labelled("", "; ".join(parts), width)
    return lines


def _inputs(note: FlushNote, language: str, width: int) -> list[Line]:
    lines: list[Line] = []
    for label, names in (("label_measured", note.measured), ("label_assumed", note.assumed)):
        if names:
            lines += labelled(say(label, language), _spoken_inputs(note, names, language), width)
    return lines


def _spoken_inputs(note: FlushNote, names: Sequence[str], language: str) -> str:
    """Units by what people call them, other inputs in words."""
    return ", ".join(
        say(f"input_{name}", language) if name in _INPUTS else tell(note.unit_name(name), language)
        for name in names
    )


def _candidates(note: FlushNote, language: str, width: int) -> list[Line]:
    if not note.candidates:
        return []
    ordered = sorted(note.candidates, key=lambda one: one.limit)
    lines: list[Line] = [(Span(f" {say('candidates', language)}", "quiet"),)]
    items = [sentence(item_words(one.criterion, one.item), language) for one in ordered]
    room = min(max(14, min(34, width - 40)), max(map(len, items)))
    for one, item in zip(ordered, items, strict=True):
        lines.append(_candidate(one, item, note.governing, language, (width, room)))
    return lines


def _candidate(
    one: LimitCandidate,
    item: str,
    governing: LimitCandidate | None,
    language: str,
    rooms: tuple[int, int],
) -> Line:
    """`rooms`: columns of the line, and of the item in it."""
    width, room = rooms
    governs_now = governing is not None and (one.item, one.outgoing, one.limit) == (
        governing.item,
        governing.outgoing,
        governing.limit,
    )
    mark = ">" if governs_now else " "
    share = f"{number(percent(one.limit), language):>5} %"
    text = f" {mark} {share}  {fit(item, room):<{room}} {one.confidence:<12} {one.source}"
    return (Span(fit(text, width), "strong" if governs_now else ""),)


# --- the curve ----------------------------------------------------------------------------------------


def curve_lines(
    points: Points,
    limit: float,
    crossing_kg: float,
    pushed_kg: float,
    language: str,
    width: int,
    height: int,
    *,
    plain: bool,
    high: Points = (),
) -> list[Line]:
    """The washout curve as a plot of that size: residual on a logarithmic scale over kg of line mass.

    The filled part is the residual, the shaded part above it what may still be left (`high`); a row of dashes
    is the limit, a column of bars the crossing, and `o` on the axis what has been pushed. The last lines are the
    scale and its words.
    """
    legend = _legend(
        points[-1][0] if points else 0.0, crossing_kg, pushed_kg, language, width, band=bool(high)
    )
    columns, rows = width - _AXIS - 1, height - 2 - len(legend)
    if columns < 10 or rows < 3 or len(points) < 2:
        return []
    end = points[-1][0]
    lowest = _lowest(limit, points)
    levels = [_level(residual, lowest) * rows for residual in _sampled(points, columns)]
    tops = [_level(residual, lowest) * rows for residual in _sampled(high, columns)] if high else levels
    limit_row = _row_of(_level(limit, lowest) * rows, rows) if limit > 0 else -1
    cross = min(columns - 1, int(crossing_kg / end * columns)) if 0 < crossing_kg <= end else -1
    lines: list[Line] = []
    for row in range(rows):
        scale = _scale(row, rows, lowest, language)
        spans: list[Span] = [Span(f"{scale:>{_AXIS - 1}} ", "quiet")]
        body = "".join(
            _glyph(levels[column], tops[column], row, rows, plain=plain) for column in range(columns)
        )
        spans += _with_marks(body, row == limit_row, cross)
        lines.append(tuple(spans))
    return [*lines, *_axis(end, pushed_kg, columns, language), *legend]


def _lowest(limit: float, points: Points) -> float:
    floor = min((residual for _, residual in points if residual > 0), default=1e-6)
    wanted = limit / 5 if limit > 0 else floor
    return 10.0 ** math.floor(math.log10(max(min(wanted, 0.1), 1e-9)))


def _level(residual: float, lowest: float) -> float:
    """0 at the lowest residual shown, 1 at the full dose."""
    if residual <= lowest:
        return 0.0
    return min(1.0, 1.0 - math.log10(residual) / math.log10(lowest))


def _sampled(points: Points, columns: int) -> list[float]:
    last = len(points) - 1
    return [points[round(place * last / (columns - 1))][1] for place in range(columns)]


def _row_of(level: float, rows: int) -> int:
    return min(rows - 1, max(0, rows - 1 - int(level)))


def _glyph(level: float, top: float, row: int, rows: int, *, plain: bool) -> str:
    """Full or half cell of the filled part, a shaded one of the band above it, or an empty one."""
    floor = rows - 1 - row
    above = level - floor
    shade = (":" if plain else "░") if top - floor >= 0.5 else " "
    if plain:
        return "#" if above >= 0.5 else shade
    if above >= 0.75:
        return "█"
    return "▄" if above >= 0.25 else shade


def _with_marks(body: str, is_limit: bool, cross: int) -> list[Span]:
    cells = list(body)
    if is_limit:
        cells = ["-" if cell == " " else cell for cell in cells]
    if cross < 0 or (cells[cross] not in " -" and not is_limit):
        return [Span("".join(cells), "input")]
    return [
        Span("".join(cells[:cross]), "input"),
        Span("|", "strong"),
        Span("".join(cells[cross + 1 :]), "input"),
    ]


def _scale(row: int, rows: int, lowest: float, language: str) -> str:
    """A power of ten where its level falls into this row; 100 % on top."""
    if row == 0:
        return "100 %"
    decades = round(-math.log10(lowest))
    for decade in range(1, decades):
        if _row_of((1 - decade / decades) * rows, rows) == row:
            value = Decimal(10) ** (2 - decade)
            return f"{number(value, language)} %"
    return ""


def _legend(
    end: float, crossing: float, pushed: float, language: str, width: int, *, band: bool
) -> list[Line]:
    """What the marks mean; without what the axes are where that saves a line."""
    parts = []
    if 0 < crossing <= end:
        parts.append(say("curve_crossing", language, kg=kg(Decimal(math.ceil(crossing - 1e-9)), language)))
    if pushed > 0:
        parts.append(say("curve_pushed", language, kg=kg(Decimal(round(pushed)), language)))
    parts += [say("curve_band", language)] if band else []
    marks = "; ".join(parts)
    text = "; ".join((say("curve_words", language), *parts))
    if len(text) > width - 2 >= len(marks) > 0:
        text = marks
    return [(Span(f" {line}", "quiet"),) for line in textwrap.wrap(text, max(10, width - 2))]


def _axis(end: float, pushed: float, columns: int, language: str) -> list[Line]:
    ticks = ["-"] * columns
    if pushed > 0:
        ticks[min(columns - 1, int(pushed / end * columns))] = "o"
    lead = " " * _AXIS
    labels = [" "] * (columns + 1)
    for share in (0.0, 0.5, 1.0):
        text = kg(Decimal(round(end * share)), language) + (" kg" if share == 1.0 else "")
        start = min(max(0, int(share * columns) - len(text) // 2), columns + 1 - len(text))
        labels[start : start + len(text)] = list(text)
    return [(Span(lead), Span("".join(ticks), "quiet")), (Span(lead), Span("".join(labels), "quiet"))]
