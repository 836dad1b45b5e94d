"""The report of a shift: as it was signed, with what reads differently since; or as it stands, said to be unsigned."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from floorterm.review.charts_text import fall_lines
from floorterm.review.document import (
    Block,
    Caution,
    Document,
    Figure,
    Heading,
    KeyValues,
    Paragraph,
    Signatures,
    Table,
)
from floorterm.review.document_text import DRAWN
from floorterm.review.framing import Printing, framed, usual_cautions
from floorterm.review.plots import FallRow, waterfall_svg
from floorterm.shift import telling
from floorterm.shift.summary import MinutesLine, Summary, WorkLine
from floorterm.shift.waterfall import waterfall
from floorterm.shift.window import window_text
from floorterm.wording import sentence, words

if TYPE_CHECKING:
    from floorterm.shift_review import Review


def shift_document(review: "Review", printing: Printing) -> Document:
    """The report of one shift."""
    language = printing.language
    signature = review.signature
    summary = signature.summary if signature is not None else review.summary
    blocks: list[Block] = [_facts(review, printing)]
    blocks += _changeovers(summary, language)
    blocks.append(Heading(text=_part("deviations", len(summary.deviations), language)))
    blocks += [_deviations(summary, language)] if summary.deviations else []
    blocks += _lists(summary, language)
    if signature is None:
        blocks.append(Signatures(roles=(printing.say("supervisor"), words("shift.next_lead", language))))
    return framed(
        printing,
        words("shift.report", language),
        f"{printing.plant}, {window_text(review.window, language)}",
        tuple(blocks),
        cautions=(*_cautions(review, printing), *usual_cautions(printing)),
    )


def _part(name: str, count: int, language: str) -> str:
    return words(f"shift.part_{name}", language, count=count or words("shift.none", language))


def _cautions(review: "Review", printing: Printing) -> Iterator[Caution]:
    language, signature = printing.language, review.signature
    word = printing.say("caution")
    if signature is None:
        yield Caution(word=word, text=words("shift.report_unsigned", language))
        return
    if not signature.holds:
        yield Caution(
            word=printing.say("danger"), text=words("shift.report_digest", language), signal="danger"
        )
    if review.changed:
        said = " ".join(sentence(say, language) for say in review.changed)
        yield Caution(word=word, text=words("shift.report_changed", language, what=said))


def _facts(review: "Review", printing: Printing) -> KeyValues:
    language, signature = printing.language, review.signature
    pairs = [(words("shift.shift", language), window_text(review.window, language))]
    if signature is not None:
        pairs += [
            (words("shift.signature", language), telling.signature_text(signature, language)),
            (words("shift.digest", language), signature.digest),
            (words("shift.taking_over", language), telling.taken_over_text(signature, language)),
            (words("shift.handover_title", language), signature.handover),
        ]
        earlier = [telling.signature_text(one, language) for one in review.signatures[:-1]]
        if earlier:
            pairs.append((words("shift.earlier", language), "; ".join(earlier)))
    return KeyValues(pairs=tuple(pairs))


# --- the parts ------------------------------------------------------------------------------------------------------


def _changeovers(summary: Summary, language: str) -> Iterator[Block]:
    found = [line for line in summary.works if not line.procedure]
    yield Heading(text=_part("changeovers", len(found), language))
    heads = ("what", "time", "planned", "standard", "actual", "difference", "diverted_of")
    yield Table(
        head=tuple(words(f"shift.{name}", language) for name in heads),
        rows=tuple(_changeover(line, summary, language) for line in found),
        widths=(5, 4, 4, 4, 3, 3, 5),
        numbers=(2, 3, 4, 5),
        empty=words("shift.none", language),
    )
    said = f"{words('shift.minutes_count', language)}; {words('shift.planned_is', language)}"
    yield Paragraph(text=said, weight="quiet")
    for line in found:
        yield Heading(text=f"{line.work}, {telling.work_title(line, language)}", level=2)
        if line.flush is not None:
            yield Paragraph(text=telling.flush_text(line.flush, language))
        if line.minutes is not None:
            yield minutes_figure(line.minutes, line.work, language)
            yield _minutes(line.minutes, language)
        else:
            yield Paragraph(text=words("shift.minutes_later", language))


def _changeover(line: WorkLine, summary: Summary, language: str) -> tuple[str, ...]:
    figures = ("-", "-", "-", "-")
    if line.minutes is not None:
        three = (line.minutes.planned_s, line.minutes.standard_s, line.minutes.actual_s)
        planned, standard, actual = map(telling.minutes, three)
        figures = (planned, standard, actual, telling.more(line.minutes.actual_s - line.minutes.planned_s))
    return (
        f"{telling.tell(line.line, language)}: {telling.work_title(line, language)}",
        telling.when_text(line, summary, language),
        *figures,
        telling.diverted_text(line.flush, language) if line.flush is not None else "-",
    )


def minutes_figure(line: MinutesLine, work: str, language: str) -> Figure:
    """The waterfall of a changeover's minutes: from planned, part by part, to actual."""
    names = {0: "planned", len(line.parts) + 1: "actual"}
    rows = tuple(
        FallRow(
            words(f"shift.{names[place]}", language)
            if step.part is None
            else telling.part_text(step.part, language),
            step.since_s,
            step.until_s,
            telling.minutes(step.until_s) if step.part is None else telling.more(step.part.seconds),
        )
        for place, step in enumerate(waterfall(line))
    )
    title = words("shift.waterfall", language, work=work)
    told = "; ".join(f"{row.label}: {row.said}" for row in rows)
    drawn = fall_lines(title, rows, DRAWN)
    return Figure(svg=waterfall_svg(title, rows, language=language), told=told, drawn=drawn)


def _minutes(line: MinutesLine, language: str) -> Table:
    total = sum(part.seconds for part in line.parts)
    return Table(
        head=(words("shift.minutes_seconds", language), words("shift.why", language)),
        rows=(
            *((telling.more(part.seconds), telling.part_text(part, language)) for part in line.parts),
            (telling.more(total), words("shift.sum", language)),
        ),
        widths=(2, 14),
        numbers=(0,),
    )


def _deviations(summary: Summary, language: str) -> Table:
    heads = ("entry", "what", "found", "decision")
    return Table(
        head=tuple(words(f"shift.{name}", language) for name in heads),
        rows=tuple(
            (
                str(line.n),
                ". ".join(
                    text
                    for text in (
                        f"{telling.tell(line.line, language)} {line.work}",
                        telling.tell(line.text, language),
                    )
                    if text
                ),
                f"{telling.deviation_text(line, language)} ({line.by} {telling.clock(line.at, summary, language)})",
                telling.decision_text(line, language),
            )
            for line in summary.deviations
        ),
        widths=(2, 6, 6, 7),
        numbers=(0,),
    )


def _lists(summary: Summary, language: str) -> Iterator[Block]:
    """What is missing, late or corrected, what is left on, what is due, the procedures: a line each."""
    lists = {
        "sign_offs": [
            (f"{telling.tell(one.line, language)} {one.work}", telling.sign_off_text(one, summary, language))
            for one in summary.sign_offs
        ],
        "corrections": [
            (
                f"{telling.tell(one.line, language)} {one.work}",
                telling.correction_text(one, summary, language),
            )
            for one in summary.corrections
        ],
        "lockouts": [
            (
                f"{telling.tell(one.line, language)} {one.work}",
                ": ".join(
                    text
                    for text in (telling.lockout_text(one, summary, language), telling.locks_text(one))
                    if text
                ),
            )
            for one in summary.lockouts
        ],
        "due": [
            (words(f"shift.sort_{one.sort}", language), telling.due_text(one, language))
            for one in summary.due
        ],
        "procedures": [
            (
                f"{telling.tell(one.line, language)} {one.work}",
                f"{telling.work_title(one, language)}, {telling.when_text(one, summary, language)}",
            )
            for one in summary.works
            if one.procedure
        ],
    }
    for name, pairs in lists.items():
        if name == "corrections" and not pairs:
            continue
        yield Heading(text=_part(name, len(pairs), language))
        if pairs:
            yield KeyValues(pairs=tuple(pairs))
        if pairs and name == "lockouts":
            yield Paragraph(text=words("shift.lock_decides", language), weight="quiet")
