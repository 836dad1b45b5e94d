"""Inspections: which lockout procedure must be inspected by when, who is not reviewed, what is not corrected."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.changeover.entering import EntrySpec, Option
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.screens.dialogs import AskScreen, Item, MenuScreen, words_spec
from floorterm.terminal.screens.read import ReadScreen
from floorterm.terminal.views.text import Line, apart
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.entries import Entry
    from floorterm.lockout.inspection import Due, Found
    from floorterm.plant import Plant
    from floorterm.terminal.desk import Signature


class InspectionsScreen(FloorScreen[None]):
    """One row a procedure, the most pressing first; Enter shows what was recorded of it."""

    NAME = "inspection.title"
    QUESTION = "inspection.question"
    CSS_PATH = "inspections.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "inspect", "inspection.key_inspect", id="inspections.inspect"),
        Binding("f6", "review", "inspection.key_review", id="inspections.review"),
        Binding("f7", "correct", "inspection.key_correct", id="inspections.correct"),
        Binding("f8", "training", "audit_screen.key_training", id="inspections.training"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._due: tuple[Due, ...] = ()

    def body(self) -> Iterable[Widget]:
        """One list."""
        yield Rows(row_height=2, digits=False, id="due", on_chosen=self._chosen)

    def show(self) -> None:
        """Every procedure."""
        from floorterm.inspecting import inspections_due  # noqa: PLC0415
        from floorterm.terminal.views.inspections import beside_or_beneath, due_row  # noqa: PLC0415

        plant, width = self.desk.plant, self.size.width - 4
        self._due = inspections_due(plant)
        found = [due_row(one, plant.library.lockouts[one.procedure], self.language) for one in self._due]
        rows = []
        for row in beside_or_beneath(found, width):
            first = apart(row.left[0], row.right, width, plain=self.app.plain)
            rows.append(Row(row.key, (first, apart(row.left[1], row.below, width, plain=self.app.plain))))
        self.query_one("#due", Rows).show(rows)

    @property
    def chosen(self) -> "Due | None":
        """The procedure that keys are about."""
        row = self.query_one("#due", Rows).chosen if self.is_mounted else None
        return next((one for one in self._due if row and one.procedure == row.key), None)

    def _chosen(self, _: Row) -> None:
        """Other keys work."""
        self.show_keys()

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Keys for what the chosen procedure allows."""
        one = self.chosen
        if action == "review":
            return True if one is not None and one.not_reviewed else None
        if action == "correct":
            return True if one is not None and one.open else None
        return True

    def on_rows_opened(self, _: Rows.Opened) -> None:
        """What was recorded of the procedure's inspections."""
        one = self.chosen
        if one is None or not self.on_top:
            return
        from floorterm.inspecting import inspections  # noqa: PLC0415

        plant = self.desk.plant
        found = tuple(made for made in inspections(plant) if made.procedure == one.procedure)
        names = {person.code: person.name for person in plant.ledger.people()}
        lockout = plant.library.lockouts[one.procedure]

        def lines(width: int, language: str) -> tuple[Line, ...]:
            from floorterm.terminal.views.inspections import inspection_lines  # noqa: PLC0415

            return inspection_lines(lockout, found, names, width, language)

        self.app.push_screen(ReadScreen("inspection.title", "inspection.question_one", lines))

    def action_training(self) -> None:
        """Who is trained, and who must be again."""
        from floorterm.terminal.screens.training import TrainingScreen  # noqa: PLC0415

        self.app.push_screen(TrainingScreen())

    # --- recording ------------------------------------------------------------------------------

    def action_inspect(self) -> None:
        """Record an inspection of the chosen procedure, as its inspector."""
        one = self.chosen
        if one is not None:
            self.start_way(self._inspect, one.procedure)

    async def _inspect(self, procedure: str) -> None:
        observed = await self._people("ask_observed", procedure, ())
        if observed is None:
            return
        reviewed = await self._people("ask_reviewed", procedure, observed)
        if reviewed is None:
            return
        found: list[Found] = []
        while True:
            more = await self._deviation(procedure, len(found) + 1)
            if more is None:
                return
            if not more.text:
                break
            found.append(more)

        def write(plant: "Plant", by: "Signature", key: str) -> "Entry":
            from floorterm.inspecting import record_inspection  # noqa: PLC0415
            from floorterm.lockout.inspection import Report  # noqa: PLC0415

            report = Report(
                procedure=procedure,
                on=plant.today(),
                observed=observed,
                reviewed=reviewed,
                found=tuple(found),
            )
            return record_inspection(plant, by.who, report, key=key)

        self.desk.write(write, screen=self, about=self._signs("inspection.key_inspect", procedure))

    async def _deviation(self, procedure: str, number: int) -> "Found | None":
        """One deviation and whom it names; without a text there is none, None when the person steps back."""
        from floorterm.lockout.inspection import Found  # noqa: PLC0415

        question = words("inspection.ask_found_number", self.language, number=number)
        spec = words_spec("ask_found", self.language)
        given = await self.app.push_screen_wait(
            AskScreen(self._title(procedure), question, spec, may_be_empty=True)
        )
        if given is None:
            return None
        text = given.text.strip()
        if not text:
            return Found(text="")
        named = await self._people("ask_named", procedure, ())
        return None if named is None else Found(text=text, persons=named)

    async def _people(self, key: str, procedure: str, chosen: tuple[str, ...]) -> tuple[str, ...] | None:
        """Codes of people, by name, in the dialogue; None when the person steps back."""
        people = [
            one for one in self.desk.plant.ledger.people() if one.active and one.lockout.value != "other"
        ]
        options = tuple(Option(id=one.code, text=one.name) for one in people)
        spec = EntrySpec(
            mode="some", prompt=words(f"work.{key}", self.language), options=options, chosen=chosen
        )
        given = await self.app.push_screen_wait(
            AskScreen(self._title(procedure), words(f"work.{key}", self.language), spec)
        )
        return None if given is None else tuple(one.id for one in options if one.id in given.chosen)

    def _signs(self, key: str, procedure: str, *more: str) -> tuple[str, ...]:
        """What the PIN is asked for."""
        return (words(key, self.language).replace("|", ""), self._title(procedure), *more)

    def _title(self, procedure: str) -> str:
        from floorterm.terminal.views.text import tell  # noqa: PLC0415

        return tell(self.desk.plant.library.lockouts[procedure].title, self.language)

    def action_review(self) -> None:
        """Record that the inspector reviewed their responsibilities with more people."""
        one = self.chosen
        if one is not None and one.newest is not None:
            self.start_way(self._review, one)

    async def _review(self, one: "Due") -> None:
        assert one.newest is not None
        number = one.newest.n
        codes = await self._people("ask_reviewed", one.procedure, one.not_reviewed)
        if codes is None:
            return

        def write(plant: "Plant", by: "Signature", key: str) -> "Entry":
            from floorterm.inspecting import record_review  # noqa: PLC0415

            return record_review(plant, by.who, number, codes, key=key)

        self.desk.write(write, screen=self, about=self._signs("inspection.key_review", one.procedure))

    def action_correct(self) -> None:
        """Close a deviation that an inspection found."""
        one = self.chosen
        if one is not None and one.open:
            self.start_way(self._correct, one)

    async def _correct(self, one: "Due") -> None:
        items = [
            Item(f"{made.n} {deviation.id}", deviation.text, made.on.isoformat())
            for made, deviation in one.open
        ]
        title = self._title(one.procedure)
        question = words("inspection.ask_which", self.language)
        key = items[0].key
        if len(items) > 1:
            chosen = await self.app.push_screen_wait(MenuScreen(title, question, items))
            if chosen is None:
                return
            key = chosen
        text = next(item.text for item in items if item.key == key)
        given = await self.app.push_screen_wait(
            AskScreen(title, text, words_spec("ask_correction", self.language))
        )
        if given is None:
            return
        inspection, deviation = (int(part) for part in key.split())

        def write(plant: "Plant", by: "Signature", key: str) -> "Entry":
            from floorterm.inspecting import record_correction  # noqa: PLC0415

            return record_correction(plant, by.who, inspection, deviation, given.text.strip(), key=key)

        self.desk.write(
            write,
            screen=self,
            about=self._signs("inspection.key_correct", one.procedure, text, given.text.strip()),
        )
