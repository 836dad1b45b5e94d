"""The time study of a span of days as a document: steps, pairs, charts, minutes lost, OEE figures with definitions."""

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING

from floorterm.quality.control import FEWEST
from floorterm.review.chart_makers import control, figure, loss_text, pareto
from floorterm.review.document import Block, Document, Heading, KeyValues, Paragraph, Table
from floorterm.review.framing import Printing, framed
from floorterm.shift import telling
from floorterm.wording import Fact, words

if TYPE_CHECKING:
    from floorterm.timestudy.busy import Busy
    from floorterm.timestudy.charting import TimeChart
    from floorterm.timestudy.durations import Normal
    from floorterm.timestudy.study import PairTimes, StepTimes, Study

_LOSSES = 30  # one by one in the table
_KEYED = 10  # losses whose steps are told by families and crew too
_CHARTS = 3  # of steps: those that lost most
_PAIR_CHARTS = 4


def study_document(study: "Study", since: date, until: date, printing: Printing) -> Document:
    """The study of the changeovers that were under way on the local days from `since` up to, not with, `until`."""
    language = printing.language
    span = words("sign_offs.span", language, since=since.isoformat(), until=until.isoformat())
    blocks = (
        _facts(study, language),
        *_lost(study, language),
        *_pairs(study, language),
        *_steps(study, language),
        *_charts(study, language),
        *_oee(study, language),
    )
    return framed(printing, _say("title", language), f"{printing.plant}, {span}", blocks)


def _say(key: str, language: str, **facts: Fact) -> str:
    return words(f"study.{key}", language, **facts)


def _minutes(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}"


def _facts(study: "Study", language: str) -> KeyValues:
    pairs = [
        (_say("changeovers", language), str(study.changeovers)),
        (_say("observations", language), str(len(study.observations))),
    ]
    pairs += [(_say(f"doubt_{name}", language), str(count)) for name, count in study.doubtful]
    pairs += [
        (_say("work_internal", language), _minutes(study.work.internal_s / 60)),
        (_say("work_external", language), _minutes(study.work.external_s / 60)),
        (_say("work_external_stopped", language), _minutes(study.work.external_stopped_s / 60)),
    ]
    return KeyValues(pairs=tuple(pairs))


def _lost(study: "Study", language: str) -> Iterator[Block]:
    yield Heading(text=_say("lost", language))
    drawn = pareto(study.lost, language)
    yield figure(drawn, language)
    shown, rest = study.lost.losses[:_LOSSES], study.lost.losses[_LOSSES:]
    rows = [
        (loss_text(one, language), _minutes(one.seconds / 60), str(one.count), f"{one.share * 100:.0f} %")
        for one in shown
    ]
    if rest:
        seconds = sum(one.seconds for one in rest)
        rows.append((words("charts.rest", language, n=len(rest)), _minutes(seconds / 60), "", "100 %"))
    yield Table(
        head=tuple(_say(key, language) for key in ("loss", "minutes", "in_changeovers", "cumulated")),
        rows=tuple(rows),
        widths=(8, 2, 3, 3),
        numbers=(1, 2, 3),
        empty=_say("no_losses", language),
    )
    gap = {"gained": _minutes(study.lost.gained_s / 60), "gap": _minutes(study.lost.gap_s / 60)}
    yield Paragraph(text=_say("lost_sum", language, **gap))
    yield Paragraph(text=_say("never_moved", language), weight="quiet")


def _pairs(study: "Study", language: str) -> Iterator[Block]:
    yield Heading(text=_say("pairs", language))
    heads = ("line", "pair", "count", "planned", "median", "spread", "promise")
    yield Table(
        head=tuple(_say(key, language) for key in heads),
        rows=tuple(_pair(one, language) for one in study.pairs),
        widths=(2, 6, 2, 3, 3, 3, 4),
        numbers=(2, 3, 4, 5, 6),
        empty=_say("nothing", language),
    )
    yield Paragraph(text=_say("pairs_note", language, least=FEWEST), weight="quiet")


def pair_name(one: "PairTimes", language: str) -> str:
    """Outgoing > incoming."""
    return f"{telling.tell(one.outgoing, language)} > {telling.tell(one.incoming, language)}"


def _pair(one: "PairTimes", language: str) -> tuple[str, ...]:
    few = _say("too_few", language, n=one.count)
    return (
        telling.tell(one.line, language),
        pair_name(one, language),
        str(one.count),
        *map(_minutes, (one.planned_min, one.median_min)),
        f"{one.spread_min:.2f}" if one.count > 1 else "-",
        few if one.promise_min is None else _minutes(one.promise_min),
    )


def _steps(study: "Study", language: str) -> Iterator[Block]:
    yield Heading(text=_say("steps", language))
    heads = ("step", "count", "standard", "median", "spread", "promise", "long")
    yield Table(
        head=tuple(_say(key, language) for key in heads),
        rows=tuple(_step(one, language) for one in study.steps),
        widths=(8, 2, 3, 3, 3, 4, 2),
        numbers=(1, 2, 3, 4, 5, 6),
        empty=_say("nothing", language),
    )
    yield Paragraph(text=_say("steps_note", language, least=FEWEST), weight="quiet")
    most = {loss.step for loss in study.lost.losses[:_KEYED]}
    keys = [(key, one) for key, one in study.keys if key.step in most]
    if keys:
        yield Heading(text=_say("keys", language), level=2)
        columns = ("step", "families", "crew", "count", "median", "spread", "promise", "long")
        yield Table(
            head=tuple(_say(key, language) for key in columns),
            rows=tuple(
                (key.step, " > ".join(key.families), str(key.crew), str(one.count), *_normal(one, language))
                for key, one in keys
            ),
            widths=(5, 6, 2, 2, 2, 2, 2, 2),
            numbers=(2, 3, 4, 5, 6, 7),
        )


def _step(one: "StepTimes", language: str) -> tuple[str, ...]:
    name = ": ".join(filter(None, (one.step, telling.tell(one.text, language).removesuffix("."))))
    return (name, str(one.normal.count_step), _minutes(one.standard_min), *_normal(one.normal, language))


def _normal(one: "Normal", language: str) -> tuple[str, ...]:
    few = _say("too_few", language, n=one.count_step)
    promised = few if one.promise_min is None else _minutes(one.promise_min)
    return (
        _minutes(one.median_min),
        f"{one.spread_min:.2f}" if one.count_step > 1 else "-",
        promised,
        _minutes(one.long_min),
    )


def _charts(study: "Study", language: str) -> Iterator[Block]:
    yield Heading(text=_say("charts", language))
    yield Paragraph(text=_say("charts_note", language), weight="quiet")
    for pair in study.pairs[:_PAIR_CHARTS]:
        yield _control(pair.chart, pair_name(pair, language), language)
    steps = dict.fromkeys(loss.step for loss in study.lost.losses if loss.step)
    for step in list(steps)[:_CHARTS]:
        chart = study.chart_of(step)
        if chart is not None:
            yield _control(chart, step, language)


def _control(chart: "TimeChart", what: str, language: str) -> Block:
    """A drawing; the plain list of what is too little for one."""
    drawn = control(chart, what, language)
    if chart.chart.baseline is not None:
        return figure(drawn, language)
    return Paragraph(text=f"{what}: {', '.join(map(_minutes, drawn.values))} min. {drawn.note}.")


def _oee(study: "Study", language: str) -> Iterator[Block]:
    yield Heading(text=_say("oee", language))
    yield Table(
        head=tuple(_say(key, language) for key in ("line", "figure", "value", "definition")),
        rows=tuple(row for line in study.lines for row in _line(line, language)),
        widths=(2, 4, 3, 10),
        numbers=(2,),
        empty=_say("oee_nothing", language),
    )
    yield Paragraph(text=_say("oee_note", language), weight="quiet")


def _line(line: "Busy", language: str) -> Iterator[tuple[str, str, str, str]]:
    """The figures by the names of ISO 22400-2, each with its definition as it is used here."""

    def row(key: str, value: str) -> tuple[str, str, str, str]:
        return line.line, _say(f"oee_{key}", language), value, _say(f"oee_{key}_is", language)

    effectiveness = line.effectiveness
    yield row("pbt", _minutes(line.planned_busy_s / 60))
    yield row("aust", _minutes(line.setup_s / 60))
    yield row("apt", _minutes(line.production_s / 60))
    yield row("pri", "-" if line.item_s is None else f"{line.item_s:.3f}")
    yield row("pq", str(line.produced) if line.produced else "-")
    yield row("availability", f"{line.availability * 100:.1f} %")
    yield row("setup_ratio", f"{line.setup_ratio * 100:.1f} %")
    yield row("effectiveness", "-" if effectiveness is None else f"{effectiveness * 100:.1f} %")
    if effectiveness is not None and effectiveness > 1 + 1e-9:
        yield line.line, "", "", _say("oee_suspicious", language)
    yield row("quality_ratio", "-")
    yield row("oee", "-")
