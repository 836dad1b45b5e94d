"""The printed sheet of an energy-control procedure: one page at the machine, with a plan of its points.

Everything on it comes from the checklists; signal words and colours are those of ANSI Z535 and ISO 3864.
"""

from typing import TYPE_CHECKING

from floorterm.languages import by_language, in_
from floorterm.library import lacks_review
from floorterm.review.document import Block, Caution, Document, Figure, Heading, KeyValues, Paragraph, Table
from floorterm.review.framing import Printing, framed
from floorterm.review.plan_svg import plan_svg, told
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.library.model import IsolationPoint, LineFile, LockoutFile
    from floorterm.library.model import Text as LibraryText


def sheet_document(lockout: "LockoutFile", line: "LineFile", printing: Printing) -> Document:
    """The sheet of a procedure for one of its lines; without a plan of the line it has no drawing."""
    say = printing.say

    def tell(text: "LibraryText") -> str:
        return in_(by_language(text), printing.language)

    points = {point.id: point for point in line.points}
    own = [points[name] for name in lockout.points]
    revision = say(
        "sheet_revision",
        revision=lockout.revision,
        effective=lockout.effective_on.isoformat(),
        changed=lockout.changed_on.isoformat(),
    )
    draft = (
        f" {words('print.unreviewed', printing.language)}"
        if lacks_review((lockout, line.name, *own), printing.language)
        else ""
    )
    blocks: list[Block] = [
        KeyValues(
            pairs=(
                (say("machine"), f"{tell(lockout.machine)} ({tell(line.name)})"),
                (say("intended_use"), tell(lockout.content.intended_use)),
                (say("scope"), tell(lockout.content.scope)),
                (say("authorisation"), tell(lockout.content.authorisation)),
            )
        ),
    ]
    if line.plan is not None:
        drawing = plan_svg(line, lockout, printing.language)
        blocks.append(
            Figure(svg=drawing, told=told(line, lockout, printing.language), caption=tell(line.plan.note))
        )
    blocks += [
        Paragraph(text=say("sheet_1", how=tell(lockout.shut_down))),
        Paragraph(text=say("sheet_2")),
        Table(
            head=(say("point"), say("energy"), say("device"), say("relieve"), say("verify")),
            rows=tuple(_row(point, printing) for point in own),
            widths=(5, 4, 3, 6, 9),
        ),
        Paragraph(text=say("sheet_3", how=tell(lockout.content.how_tested))),
        Paragraph(text=say("sheet_4", how=tell(lockout.restart))),
        Heading(text=say("responsible")),
        Paragraph(text=tell(lockout.content.steps_devices_and_responsible)),
        Paragraph(text=f"{tell(lockout.content.rules_and_techniques)} {tell(lockout.content.enforcement)}"),
    ]
    cautions = (
        Caution(word=say("danger"), text=say("sheet_danger"), signal="danger"),
        Caution(word=say("notice"), text=say("sheet_notice"), signal="notice"),
    )
    return framed(
        printing,
        tell(lockout.title),
        f"{printing.plant}, {revision}{draft}",
        tuple(blocks),
        cautions=cautions,
        compact=True,
    )


def _row(point: "IsolationPoint", printing: Printing) -> tuple[str, ...]:
    say = printing.say

    def tell(text: "LibraryText | None") -> str:
        return in_(by_language(text), printing.language) if text is not None else "-"

    energies = ", ".join(say(f"energy_{one}") for one in point.energies)
    device = say(f"device_{point.device}")
    if not point.lockable:
        device = f"{device}. {say('tag_only')}: {tell(point.extra_measure)}"
    if not point.required:
        device = f"{device} ({say('as_needed')})"
    verify = f"{tell(point.verify.method)} {say('must_see')}: {tell(point.verify.expect)}"
    if point.monitor_min:
        verify = f"{verify} {say('again_every', minutes=point.monitor_min)}"
    return (
        f"{tell(point.name)}: {tell(point.place)}",
        f"{energies}; {point.magnitude}",
        device,
        tell(point.release_how) if point.needs_release else say("nothing_stored"),
        verify,
    )
