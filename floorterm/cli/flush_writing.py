"""A flush as text for people at a command line."""

from collections.abc import Sequence

from floorterm.changeover.checked import Checked
from floorterm.changeover.flush_case import Case, governing
from floorterm.changeover.lockout_steps import spoken
from floorterm.changeover.worksheet import FlushNote, StrategyNote
from floorterm.cli.common import print_table, put
from floorterm.flush.explain import item_words, percent
from floorterm.languages import in_
from floorterm.wording import Fact, Say, sentence, words


def print_case(case: Case, note: FlushNote, language: str) -> None:
    """Amounts, what governs, how sure; then what to watch out for and every candidate for the limit."""

    def tell(say: Say) -> None:
        put(sentence(say, language))

    old, new = case.outgoing[0], case.incoming
    names = [in_(spoken(one.name), language) for one in (case.line, old, new)]
    put(f"{names[0]}: {names[1]} > {names[2]}")
    if note.status == "ok":
        facts: dict[str, Fact] = {"kg": f"{note.required_kg}", "bars": note.bars, "minutes": note.minutes}
        put(words("print.flush", language, **facts))
        key = "flush.chain.sure_measured" if case.spread.measured else "flush.chain.sure_assumed"
        spread = f"{case.spread.sd_log * 100:.3g}"
        tell(Say(key, {"sure": f"{case.confidence * 100:g}", "kg": case.sure_kg, "spread": spread}))
    if note.status == "none":
        put(words("flush.chain.nothing", language))
    if case.overruled:
        facts = {"percent": percent(case.limit.value), "calculated": percent(case.calculated)}
        put(f"! {words('flush.chain.overruled', language, **facts)}")
    if case.overruled and note.status == "unreachable":
        put(words("flush.case.unreachable", language))
    if not case.overruled:
        tell(governing(case))
    for gate in case.limit.gates:
        tell(gate.say)
    put(words(f"print.evidence_{note.evidence}", language))
    for say in (*case.start_says, *case.warnings):
        put(f"! {sentence(say, language)}")


def print_candidates(note: FlushNote, language: str) -> None:
    """Every candidate for the residual limit from the strictest on."""
    if not note.candidates:
        return
    put("")
    heads = [words(f"print.{name}", language) for name in ("item", "confidence", "source")]
    print_table(
        (heads[0], "%", *heads[1:]),
        [
            (
                sentence(item_words(one.criterion, one.item), language),
                percent(one.limit),
                one.confidence,
                one.source[:60],
            )
            for one in sorted(note.candidates, key=lambda one: one.limit)
        ],
        numbers=(1,),
    )


def print_strategies(note: FlushNote, rows: Sequence[StrategyNote], language: str) -> None:
    """The ways to flush side by side, each reason and note beneath; the proposed one is marked."""
    if not rows:
        return
    money = note.currency or words("strategies.column.cost_kg", language)
    heads = ("name", "kg", "diverted", "bars", "min", "crew", "lockout")
    put("")
    print_table(
        [*(words(f"strategies.column.{name}", language) for name in heads), money, ""],
        [_row(note, row, language) for row in rows],
        numbers=(1, 2, 3, 4, 5, 7),
    )
    for row in rows:
        for text in row.reasons:
            name = words(f"strategies.name.{row.key}", language)
            put(f"{name}: {words('strategies.not_allowed', language)}. {text[language]}")
    for row in rows:
        for text in row.notes:
            put(f"{words(f'strategies.name.{row.key}', language)}: {text[language]}")
    if not note.currency:
        put(words("strategies.no_prices", language))


def _row(note: FlushNote, row: StrategyNote, language: str) -> tuple[str, ...]:
    mark = ""
    if row.key == note.proposed:
        mark = words("strategies.proposed", language)
    elif row.tied:
        mark = words("strategies.tied", language)
    elif not row.allowed:
        mark = words("strategies.not_allowed", language)
    figures = (row.kg, row.diverted_kg, row.bars, row.minutes)
    return (
        words(f"strategies.name.{row.key}", language),
        *("-" if figure is None else str(figure) for figure in figures),
        str(row.crew),
        words("strategies.lockout", language) if row.lockout else "",
        "-" if row.cost is None else f"{row.cost:.0f}",
        mark,
    )


def print_checked(found: Checked, language: str) -> None:
    """What check samples of this changeover say."""
    put("")
    for say in found.says:
        put(sentence(say, language))
    facts: dict[str, Fact] = {
        "median": found.to_go_kg,
        "sure": found.to_go_sure_kg,
        "last": f"{found.last_kg:.0f}",
    }
    put(words("flush.case.to_go", language, **facts))


def print_chain(chain: Sequence[str], language: str) -> None:
    """The chain of reasoning, numbered."""
    put("")
    put(words("flush.case.reasoning", language))
    for number, text in enumerate(chain, start=1):
        put(f"{number:>3}. {text}")
