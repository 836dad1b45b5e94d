"""What every document of a plant shares: its cautions, who printed it when, its foot and the record's seal."""

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from msgspec import Struct

from floorterm.review.document import Block, Caution, Document, Frame, Sealed
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.ledger import Seal


class Printing(Struct, frozen=True, kw_only=True):
    """One printing: for which plant, in which language, by whom (a printed name, "" where nobody is named), when.

    `at` carries the plant's offset; `seal` is the head of the record at that moment, where there is a record.
    """

    plant: str
    language: str
    at: datetime
    by: str = ""
    seal: "Seal | None" = None

    def say(self, key: str, **facts: str | int) -> str:
        """A wording of documents in this language."""
        return words(f"report.{key}", self.language, **facts)


def framed(
    printing: Printing,
    title: str,
    subtitle: str,
    blocks: tuple[Block, ...],
    *,
    cautions: tuple[Caution, ...] | None = None,
    compact: bool = False,
) -> Document:
    """The document around the blocks. `cautions` stand instead of the usual ones, never none at all."""
    at = f"{printing.at:%Y-%m-%d %H:%M} {printing.at:%z}"
    at = f"{at[:-2]}:{at[-2:]}"
    key = "printed" if printing.by else "printed_by_nobody"
    return Document(
        title=title,
        subtitle=subtitle,
        language=printing.language,
        printed=printing.say(key, plant=printing.plant, name=printing.by, at=at),
        at=f"{printing.at.astimezone(UTC):%Y-%m-%dT%H:%M:%S}Z",
        foot=printing.say("foot"),
        frame=Frame(
            page=printing.say("page", page="{page}", pages="{pages}"),
            signature=printing.say("signature"),
            date=printing.say("date"),
            seal=printing.say("seal"),
            origin=printing.say("origin"),
        ),
        cautions=cautions or usual_cautions(printing),
        blocks=blocks,
        sealed=Sealed(line=str(printing.seal)) if printing.seal is not None else None,
        compact=compact,
    )


def usual_cautions(printing: Printing) -> tuple[Caution, ...]:
    """What every document says: it keeps evidence, and others decide."""
    return (
        Caution(word=printing.say("notice"), text=printing.say("says_what_was_recorded"), signal="notice"),
        Caution(word=printing.say("caution"), text=printing.say("others_decide"), signal="caution"),
    )
