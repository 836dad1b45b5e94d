"""Training: who is trained for lockout since when, and what asks for it again."""

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING, ClassVar

from msgspec.structs import replace
from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.screens.dialogs import AskScreen, words_spec
from floorterm.terminal.views.text import apart
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.entries import Entry
    from floorterm.lockout.training import Training
    from floorterm.plant import Plant
    from floorterm.terminal.desk import Signature


class TrainingScreen(FloorScreen[None]):
    """One row a person, whoever needs something first."""

    NAME = "training.title"
    QUESTION = "training.question"
    CSS_PATH = "inspections.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "trained", "training.key_trained", id="training.trained"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._found: tuple[Training, ...] = ()

    def body(self) -> Iterable[Widget]:
        """The people, and beneath them why."""
        yield Rows(row_height=2, digits=False, opens=False, id="people", on_chosen=self._chosen)
        yield Page(id="detail")

    def show(self) -> None:
        """Everybody active."""
        from floorterm.inspecting import people_trained  # noqa: PLC0415
        from floorterm.terminal.views.inspections import training_row  # noqa: PLC0415

        self._found = people_trained(self.desk.plant)
        width = self.size.width - 4
        rows = []
        for one in self._found:
            row = training_row(one, self.language)
            first = apart(row.left[0], row.right, width, plain=self.app.plain)
            rows.append(Row(row.key, (first, apart(row.left[1], (), width, plain=self.app.plain))))
        self.query_one("#people", Rows).show(rows)
        self._tell()

    @property
    def chosen(self) -> "Training | None":
        """The person that keys are about."""
        row = self.query_one("#people", Rows).chosen
        return next((one for one in self._found if row and one.person.code == row.key), None)

    def _chosen(self, _: Row) -> None:
        """Another person: other reasons beneath."""
        self.refuse(())
        self._tell()

    def _tell(self) -> None:
        from floorterm.terminal.views.inspections import training_detail  # noqa: PLC0415

        width = self.size.width - 4
        self.query_one("#detail", Page).show(training_detail(self.chosen, width, self.language))

    def action_trained(self) -> None:
        """Record a new training date of the chosen person; an administrator signs it."""
        one = self.chosen
        if one is not None:
            self.start_way(self._trained, one)

    async def _trained(self, one: "Training") -> None:
        title = f"{words('training.title', self.language)}: {one.person.name}"
        question = words("training.ask_date", self.language)
        given = await self.app.push_screen_wait(
            AskScreen(title, question, words_spec("ask_trained_on", self.language))
        )
        if given is None:
            return
        try:
            day = date.fromisoformat(given.text.strip())
        except ValueError:
            self.refuse((words("training.no_such_date", self.language, text=given.text.strip()),), "caution")
            return
        reason = await self.app.push_screen_wait(
            AskScreen(title, question, words_spec("ask_training", self.language))
        )
        if reason is None:
            return

        def write(plant: "Plant", by: "Signature", _: str) -> "Entry":
            # the person as the record has them now: what changed meanwhile stays changed
            person = replace(plant.ledger.person(one.person.code), trained_on=day)
            who = by.who
            return plant.ledger.change_person(
                person,
                by=who.person.code,
                reason=reason.text.strip(),
                identity=who.identity,
                terminal=plant.terminal,
            )

        self.desk.write(write, screen=self, about=(title, f"{day:%Y-%m-%d}", reason.text.strip()))
