"""Lots: what is in use and what was filled, the newest first; Enter shows what touched what."""

from collections.abc import Iterable, Sequence
from datetime import datetime, time, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, ClassVar

from rich.cells import cell_len
from textual.binding import Binding, BindingType
from textual.widget import Widget

from floorterm.changeover.entering import EntrySpec, Given, Mode, Option
from floorterm.genealogy.model import MADE_SORTS, TAKEN_SORTS, Lot, Made, Past, Sort, Taken, Verdict
from floorterm.languages import by_language, day_of_year
from floorterm.lots import at_least_zero
from floorterm.terminal.base import FloorScreen
from floorterm.terminal.screens.dialogs import AskScreen, Item, MenuScreen
from floorterm.terminal.screens.read import ReadScreen
from floorterm.terminal.views.text import Line, Span, apart, tell
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.entries import Entry
    from floorterm.plant import Plant
    from floorterm.terminal.desk import Signature

_SORT = 14  # cells of a lot's sort; a longer one moves its name to the right
SHOWN = timedelta(days=31)  # an answer reads all that there is; the list shows what is at hand
_FACTS = ("cure_age_d", "alkali_pct")


class LotsScreen(FloorScreen[None]):
    """One row a lot that was taken or filled."""

    NAME = "lots.title"
    QUESTION = "lots.question"
    CSS_PATH = "lots.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f5", "take", "lots.key_take", id="lots.take"),
        Binding("f6", "fill", "lots.key_fill", id="lots.fill"),
        Binding("f7", "judge", "lots.key_judge", id="lots.judge"),
    ]

    def __init__(self) -> None:
        super().__init__()
        self._past = Past()
        self._shown: dict[str, Taken | Made] = {}

    def body(self) -> Iterable[Widget]:
        """One list."""
        yield Rows(row_height=2, digits=False, id="lots", on_chosen=self._row_chosen)

    def show(self) -> None:
        """Every lot, the newest first."""
        from floorterm.lots import past  # noqa: PLC0415

        plant = self.desk.plant
        self._past = past(plant, plant.now() - SHOWN)
        found = reversed(self._past.every())
        self._shown = {f"{one.n} {one.lot}": one for one in found}
        rows = [self._row(key, one) for key, one in self._shown.items()]
        self.query_one("#lots", Rows).show(rows, empty=words("lots.none", self.language))

    def _row(self, key: str, one: Taken | Made) -> Row:
        language, zone = self.language, self.desk.plant.zone
        way = words("lots.way_in" if isinstance(one, Taken) else "lots.way_out", language)
        sort = words(f"lots.sort_{one.lot.sort}", language)
        first = (Span(sort + " " * max(2, _SORT - cell_len(sort))), Span(one.lot.name, "strong"))
        at = one.at.astimezone(zone)
        when = (Span(f"{day_of_year(at, language)} {at:%H:%M}"),)
        known = self.desk.plant.library.lines.get(one.line)
        line = tell(known.name, language) if known else one.line
        second = (Span(f"{line}  {way}  {self._more(one)}", "quiet"),)
        width = self.size.width - 5
        plain = self.app.plain
        return Row(key, (apart(first, when, width, plain=plain), apart(second, (), width, plain=plain)))

    def _more(self, one: Taken | Made) -> str:
        if isinstance(one, Taken):
            said = [words(f"lots.fact_{name}", self.language, number=text) for name, text in one.facts]
            return "  ".join([*said, *([f"{one.share_pct} %"] if one.share_pct is not None else [])])
        said = [*one.fragrances, *([f"{one.kg} kg"] if one.kg is not None else [])]
        if one.lot.sort == "bin":
            verdict = self._past.verdict(one.lot)
            key = f"lots.verdict_{verdict.verdict}" if verdict else "lots.quarantine"
            said.append(words(key, self.language))
        return "  ".join(said)

    @property
    def chosen(self) -> Taken | Made | None:
        """The lot that keys are about."""
        row = self.query_one("#lots", Rows).chosen if self.is_mounted else None
        return self._shown.get(row.key) if row else None

    def _row_chosen(self, _: Row) -> None:
        """Other keys work."""
        self.show_keys()

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Only a bin of rework is judged."""
        one = self.chosen
        if action == "judge":
            return True if isinstance(one, Made) and one.lot.sort == "bin" else None
        return True

    def on_rows_opened(self, _: Rows.Opened) -> None:
        """What touched what, in both directions."""
        one = self.chosen
        if one is not None and self.on_top:
            self.run_worker(self._answer(one.lot), group="answer", exclusive=True)

    async def _answer(self, lot: Lot) -> None:
        """Read every lot that was ever recorded, beside the screen, and answer."""
        from floorterm.lots import past as every  # noqa: PLC0415

        self.app.say(words("lots.reading", self.language))
        plant = self.desk.plant
        past = await self.desk.in_reader(every)

        def lines(width: int, language: str) -> tuple[Line, ...]:
            from floorterm.terminal.views.lots import answer_lines  # noqa: PLC0415

            return answer_lines(plant, past, lot, width, language)

        self.app.say("")
        if self.on_top:
            self.app.push_screen(ReadScreen("lots.title", "lots.question_one", lines))

    # --- recording ------------------------------------------------------------------------------

    def action_take(self) -> None:
        """A lot comes into use."""
        self.start_way(self._take)

    async def _take(self) -> None:
        place = await self._line_and_lot(TAKEN_SORTS)
        if place is None:
            return
        line, lot = place
        facts: dict[str, Decimal] = {}
        share: Decimal | None = None
        if lot.sort == "noodles":
            for name in _FACTS:
                given = await self._number(f"ask_{name}", may_be_empty=True)
                if given is None:
                    return
                if given:
                    facts[name] = given[0]
        elif lot.sort == "bin":
            given = await self._number("ask_share", may_be_empty=False)
            if given is None:
                return
            share = given[0]

        def write(plant: "Plant", by: "Signature", key: str) -> "Entry":
            from floorterm.lots import take  # noqa: PLC0415

            return take(plant, by.who, line, lot, share_pct=share, facts=facts, key=key)

        about = (words("lots.key_take", self.language).replace("|", ""), f"{line}: {lot.name}")
        self.desk.write(write, screen=self, pin_again=False, about=about)

    def action_fill(self) -> None:
        """A pallet or a bin is full."""
        self.start_way(self._fill)

    async def _fill(self) -> None:
        place = await self._line_and_lot(MADE_SORTS)
        if place is None:
            return
        line, lot = place
        begun = await self._begun()
        if begun is None:
            return
        kg = await self._number("ask_kg", may_be_empty=True)
        if kg is None:
            return

        def write(plant: "Plant", by: "Signature", key: str) -> "Entry":
            from floorterm.lots import make  # noqa: PLC0415

            return make(plant, by.who, line, lot, begun, kg=kg[0] if kg else None, key=key)

        about = (words("lots.key_fill", self.language).replace("|", ""), f"{line}: {lot.name}")
        self.desk.write(write, screen=self, pin_again=False, about=about)

    def action_judge(self) -> None:
        """A supervisor decides about a bin."""
        one = self.chosen
        if isinstance(one, Made) and one.lot.sort == "bin":
            self.start_way(self._judge, one.lot)

    async def _judge(self, lot: Lot) -> None:
        language = self.language
        items = [Item(key, words(f"lots.verdict_{key}", language), "") for key in ("released", "waste")]
        verdict = await self._menu("ask_verdict", items)
        if verdict is None:
            return
        into: tuple[str, ...] = ()
        most: tuple[Decimal, ...] = ()
        if verdict == "released":
            options = tuple(
                Option(id=name, text=tell(by_language(one.name), language))
                for name, one in self.desk.plant.library.fragrances.items()
            )
            given = await self._ask("ask_into", "some", options)
            share = None if given is None else await self._number("ask_max_share", may_be_empty=True)
            if given is None or share is None:
                return
            into, most = tuple(one.id for one in options if one.id in given.chosen), share
        reason = await self._text("ask_reason")
        if reason is None:
            return

        def write(plant: "Plant", by: "Signature", key: str) -> "Entry":
            from floorterm.lots import judge  # noqa: PLC0415

            word: Verdict = "released" if verdict == "released" else "waste"
            return judge(
                plant, by.who, lot, word, reason, into=into, max_share_pct=most[0] if most else None, key=key
            )

        told = f"{lot.name}: {words(f'lots.verdict_{verdict}', language)}"
        about = (words("lots.key_judge", language).replace("|", ""), told, reason)
        self.desk.write(write, screen=self, about=about)

    # --- asking ---------------------------------------------------------------------------------

    async def _line_and_lot(self, sorts: tuple[Sort, ...]) -> tuple[str, Lot] | None:
        lines = list(self.desk.plant.library.lines)
        line: str | None = lines[0]
        if len(lines) > 1:
            line = await self._menu("ask_line", [Item(one, one, "") for one in lines])
        if line is None:
            return None
        items = [Item(one, words(f"lots.sort_{one}", self.language), "") for one in sorts]
        chosen = await self._menu("ask_sort", items)
        name = None if chosen is None else await self._text("ask_name")
        if name is None:
            return None
        return line, Lot(next(one for one in sorts if one == chosen), name)

    async def _menu(self, key: str, items: Sequence[Item]) -> str | None:
        title, question = (words(f"lots.{one}", self.language) for one in ("title", key))
        return await self.app.push_screen_wait(MenuScreen(title, question, items))

    async def _text(self, key: str) -> str | None:
        given = await self._ask(key)
        return None if given is None else given.text.strip()

    async def _ask(
        self,
        key: str,
        mode: Mode = "text",
        options: tuple[Option, ...] = (),
        *,
        may_be_empty: bool = False,
        wrong: str = "",
    ) -> Given | None:
        """`wrong` says what was wrong with the answer before."""
        title, prompt = (words(f"lots.{one}", self.language) for one in ("title", key))
        spec = EntrySpec(mode=mode, prompt=prompt, options=options)
        ask = AskScreen(title, wrong or prompt, spec, may_be_empty=may_be_empty)
        return await self.app.push_screen_wait(ask)

    async def _number(self, key: str, *, may_be_empty: bool) -> tuple[Decimal, ...] | None:
        """The number, nothing where it may be left empty, None where the person steps back."""
        wrong = ""
        while True:
            given = await self._ask(key, "number", may_be_empty=may_be_empty, wrong=wrong)
            if given is None:
                return None
            text = given.text.strip().replace(",", ".")
            if not text and may_be_empty:
                return ()
            try:
                return (at_least_zero(text),)
            except ValueError:
                wrong = words("lots.no_number", self.language, text=text or "-")

    async def _begun(self) -> datetime | None:
        """The last such time of day by the plant's clock."""
        wrong = ""
        while True:
            given = await self._ask("ask_begun", wrong=wrong)
            if given is None:
                return None
            text = given.text.strip()
            try:
                clock = time.fromisoformat(text).replace(tzinfo=None)
            except ValueError:
                wrong = words("lots.no_time", self.language, text=text or "-")
                continue
            now = self.desk.plant.now()
            found = datetime.combine(now.date(), clock, tzinfo=self.desk.plant.zone)
            return found if found <= now else found - timedelta(days=1)
