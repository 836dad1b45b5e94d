"""From what the record says to charts in one language. Pure.

Of a changeover: its timeline, its washout; of a study: its Pareto and its control charts.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING

from floorterm.changeover.flush_live import checks_of, confidence_of, curve_of, spread_of
from floorterm.changeover.flush_picture import picture
from floorterm.changeover.minutes import last_good_bar
from floorterm.quality.control import ALL_RULES, FEWEST, FROZEN
from floorterm.review.charts import (
    Chart,
    Control,
    Level,
    Pareto,
    ParetoBar,
    Sort,
    Span,
    Timeline,
    Washed,
)
from floorterm.review.charts_svg import chart_svg
from floorterm.review.charts_text import chart_lines
from floorterm.review.document import Figure
from floorterm.review.document_text import DRAWN
from floorterm.shift import telling
from floorterm.timestudy.lost import FEWEST as FEWEST_CHANGEOVERS
from floorterm.timestudy.observed import Observation
from floorterm.wording import Fact, words

if TYPE_CHECKING:
    from floorterm.changeover.state import State
    from floorterm.timestudy.charting import TimeChart
    from floorterm.timestudy.lost import Loss, Lost

_LOSSES = 15  # of a Pareto


def figure(chart: Chart, language: str) -> Figure:
    """A chart as a block of a document: drawn, in letters and in words."""
    told = told_of(chart, language)
    return Figure(svg=chart_svg(chart, told, language), told=told, drawn=chart_lines(chart, DRAWN, language))


def told_of(chart: Chart, language: str) -> str:
    """What a chart shows, for whoever sees no drawing."""
    match chart:
        case Timeline():
            said = [_told_row(name, spans, language) for name, spans in chart.rows]
        case Pareto():
            said = [
                _say("told_pareto", language, name=bar.name, minutes=f"{bar.minutes:.1f}", n=bar.count)
                for bar in chart.bars
            ] + [chart.note]
        case Control():
            said = [chart.note]
        case Washed():
            first, last = chart.points[0][1], chart.points[-1]
            facts = {"first": _percent(first), "last": _percent(last[1]), "kg": f"{last[0]:.0f}"}
            said = [_say("told_washed", language, percent=_percent(chart.limit), **facts)]
    return "; ".join((chart.title, *said))


def _told_row(name: str, spans: Sequence[Span], language: str) -> str:
    minutes = sum(span.until - span.since for span in spans)
    return _say("told_timeline", language, name=name, n=len(spans), minutes=f"{minutes:.0f}")


def _say(key: str, language: str, **facts: Fact) -> str:
    return words(f"charts.{key}", language, **facts)


def _percent(fraction: float) -> str:
    return f"{fraction * 100:.3g}"


# --- one changeover -------------------------------------------------------------------------------------------------


def timeline(
    state: "State", observations: Iterable[Observation], zone: tzinfo | None, language: str
) -> Timeline | None:
    """Who did what when, a row a person in the order in which they first signed; None where nothing was signed."""
    found = [one for one in observations if not one.alone]
    if not found:
        return None
    begin = state.started_at
    rows: dict[str, list[Span]] = {}
    for one in found:
        sort: Sort = "doubtful" if one.doubt else "internal" if one.stopped else "external"
        span = Span(since=_minutes(begin, one.begun), until=_minutes(begin, one.at), sort=sort, name=one.step)
        rows.setdefault(one.by, []).append(span)
    until = max(state.ended_at or begin, *(one.at for one in found))
    marks = []
    if (bar := last_good_bar(state)) is not None and bar > begin:
        marks.append((_minutes(begin, bar), _say("last_good", language)))
    if state.ended_at is not None:
        marks.append((_minutes(begin, state.ended_at), _say("released", language)))
    kinds = {span.sort for spans in rows.values() for span in spans}
    sorts: tuple[Sort, ...] = ("internal", "external", "doubtful")
    return Timeline(
        title=_say("title_timeline", language, work=state.work),
        begin=_say("begin", language, at=f"{begin.astimezone(zone):%Y-%m-%d %H:%M}"),
        minutes=_minutes(begin, until),
        rows=tuple((name, tuple(spans)) for name, spans in rows.items()),
        marks=tuple(marks),
        legend=tuple((sort, _say(sort, language)) for sort in sorts if sort in kinds),
        axis=_say("axis", language),
    )


def _minutes(begin: datetime, at: datetime) -> float:
    return max(0.0, (at - begin).total_seconds() / 60)


def washed(state: "State", language: str) -> tuple[Washed, ...]:
    """The washout that each flush followed, with its check samples; nothing for a way that has no curve."""
    note = state.worksheet.flush
    if note is None or not note.line_model or not 0 < note.limit <= 1:
        return ()
    found = []
    for progress in state.flush.values():
        curve = curve_of(note, progress)
        if curve is None:
            continue
        drawn = picture(curve, float(note.limit), spread_of(note, progress.inputs), confidence_of(note))
        samples = tuple((one.m_kg, one.residual) for one in checks_of(progress))
        text = _say("washed_note", language, percent=_percent(float(note.limit)))
        if samples:
            text += _say("washed_samples", language, n=len(samples))
        outgoing = state.worksheet.outgoing
        name = telling.tell(outgoing.name, language) if outgoing is not None else ""
        found.append(
            Washed(
                title=_say("title_washed", language, outgoing=name),
                points=drawn.points,
                limit=float(note.limit),
                samples=samples,
                note=text,
            )
        )
    return tuple(found)


# --- many changeovers -----------------------------------------------------------------------------------------------


def pareto(found: "Lost", language: str) -> Pareto:
    """Minutes lost by cause and step, the largest first."""
    shown = found.losses[:_LOSSES]
    if found.too_few:
        note = _say("pareto_too_few", language, n=found.changeovers, least=FEWEST_CHANGEOVERS)
    else:
        facts = {"n": found.changeovers, "shown": len(shown), "all": len(found.losses)}
        note = _say("pareto_note", language, **facts)
    bars = tuple(
        ParetoBar(
            name=loss_text(loss, language),
            minutes=loss.seconds / 60,
            count=loss.count,
            share=loss.share,
            few=loss.few and not found.too_few,
        )
        for loss in shown
    )
    return Pareto(title=_say("title_pareto", language), bars=bars, note=note)


def loss_text(loss: "Loss", language: str) -> str:
    """A loss in words: its cause and its step, by its id where its text names another fragrance each time."""
    key = "waiting_end" if loss.cause == "waiting" and not loss.step else loss.cause
    text = telling.tell(loss.text, language).removesuffix(".") or loss.step
    return ": ".join(filter(None, (words(f"shift.cause_{key}", language), text)))


def control(found: "TimeChart", what: str, language: str) -> Control:
    """A control chart with its limits in minutes, later baselines, and which rule named which changeover."""
    chart, last = found.chart, len(found.points) - 1
    levels = []
    if (base := chart.baseline) is not None:
        levels = [
            Level(value=base.upper, first=0, last=last, name=_say("upper", language), sort="limit"),
            Level(value=base.centre, first=0, last=last, name=_say("centre", language), sort="centre"),
            Level(value=base.lower, first=0, last=last, name=_say("lower", language), sort="limit"),
        ]
    for later in found.later:
        name = _say("later", language, work=found.points[later.first].work)
        levels.append(
            Level(value=later.baseline.centre, first=later.first, last=last, name=name, sort="later")
        )
    return Control(
        title=_say("title_control", language, what=what),
        values=chart.values,
        levels=tuple(levels),
        signalled=frozenset(signal.at for signal in chart.signals),
        note=_standing(found, language),
        axis=_say("axis_log", language),
    )


def _standing(found: "TimeChart", language: str) -> str:
    chart, count = found.chart, len(found.points)
    if chart.baseline is None:
        return _say("too_few" if count < FEWEST else "gaps", language, n=count, least=FEWEST)
    facts: dict[str, Fact] = {"n": count, "least": ALL_RULES, "kept": min(count, FROZEN)}
    text = _say(chart.standing, language, **facts)
    if not chart.signals:
        return text + _say("no_signals", language)
    named = [
        _say("rule", language, work=found.points[signal.at].work, rule=signal.rule)
        for signal in chart.signals
    ]
    return text + _say("signals", language, what=", ".join(named))
