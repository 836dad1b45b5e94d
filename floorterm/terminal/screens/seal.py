"""Seal: the head of the record as a code to photograph. Making it is an entry; nobody has to sign in for it."""

import locale
from collections.abc import Iterable
from typing import TYPE_CHECKING

from textual.widget import Widget

from floorterm.languages import day
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.views.seal import seal_lines
from floorterm.terminal.views.text import Line, Span, day_and_clock
from floorterm.terminal.widgets.page import Page
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.ledger import Seal

_ROOMY = 34  # lines from which the heading stays and the code gets the light edge that its standard asks for


class SealScreen(FloorScreen[None]):
    """One seal, made when the screen opens; on a small terminal the code takes the heading's place."""

    NAME = "proof.seal"
    QUESTION = "proof.seal_question"
    CSS_PATH = "seal.tcss"

    def __init__(self) -> None:
        super().__init__()
        self._seal: Seal | None = None
        self._asked = False

    def body(self) -> Iterable[Widget]:
        """The code and the digits."""
        yield Page(id="seal")

    async def _make(self) -> None:
        from floorterm.ledger import LedgerError  # noqa: PLC0415  loaded by now
        from floorterm.sealing import photo_seal  # noqa: PLC0415

        plant, person = self.desk.plant, self.app.session.person
        code = person.code if person else ""
        try:
            self._seal = await self.desk.in_writer(
                lambda: photo_seal(plant.ledger, person=code, terminal=plant.terminal)
            )
        except LedgerError as fault:
            self.query_one("#seal", Page).show(())
            self.refuse(self.desk.sentences(fault))
            return
        self.retell()

    def show(self) -> None:
        """The seal, or that it is being made: once, when the screen first shows."""
        if not self._asked:
            self._asked = True
            self.run_worker(self._make(), group="seal", exclusive=True)
        self.query_one("#seal", Page).show(self._lines())

    def _lines(self) -> tuple[Line, ...]:
        from floorterm.entries import instant  # noqa: PLC0415  loaded by now
        from floorterm.review.seal_code import can_draw, code_modules, half_blocks  # noqa: PLC0415

        if self._seal is None:
            return ((Span(words("proof.seal_making", self.language)),),)
        border = 4 if self.size.height >= _ROOMY else 2
        drawn = can_draw(locale.getpreferredencoding(do_setlocale=False))
        code = half_blocks(code_modules(self._seal.code, border=border)) if drawn else ()
        at, zone = instant(self._seal.at), self.desk.plant.zone
        return seal_lines(
            self._seal,
            code,
            self.size.width,
            self.language,
            plant=self._seal.plant,
            at=f"{day(at.astimezone(zone), self.language)}, {day_and_clock(at, zone, self.language)}",
        )
