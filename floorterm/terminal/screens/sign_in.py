"""Sign in: who you are (code typed, badge scanned, or picked from the list), then your PIN.

Also asks the PIN of one person again, and a witness for theirs. Its result is who answered and how, or None.
A scan names a person; it never stands for a PIN.
"""

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.containers import Horizontal
from textual.widget import Widget

from floorterm.terminal.messages import Scanned
from floorterm.terminal.owned import OwnedScreen
from floorterm.terminal.signer import PinAnswer, PinRequest
from floorterm.terminal.views.sign_in import PinView, people_rows, pin_lines
from floorterm.terminal.widgets.keys import HELP_KEYS
from floorterm.terminal.widgets.pad import PinPad
from floorterm.terminal.widgets.page import Page
from floorterm.terminal.widgets.rows import Row, Rows
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.people import Person

_MOST_DIGITS = 12
_FRAME = 4  # lines of the heading, and above and below the pad


class SignInScreen(OwnedScreen[PinAnswer]):
    """Two steps on one screen; the second has a pad of digits beside it."""

    NAME = "terminal.sign_in"
    CSS_PATH = "sign_in.tcss"
    OPENS = "terminal.key_choose"
    READS_RECORD = False  # what it reads is the people, as far as the record answers
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "confirm", "terminal.key_confirm", id="sign_in.confirm"),
        Binding("backspace", "take_back", "terminal.key_take_back", id="sign_in.back", show=False),
        Binding("f5", "unconfirmed", "terminal.key_unconfirmed", id="sign_in.unconfirmed"),
        Binding("f6", "sign_out", "terminal.key_sign_out", id="sign_in.sign_out"),
    ]

    def __init__(self, request: PinRequest) -> None:
        super().__init__()
        self._request = request
        self._person: Person | None = request.person
        self._people: list[Person] = []  # who may answer, as read last
        self._typed = ""  # of a code or name
        self._pin = ""
        self._checking = False
        self._failed = False
        self._old = ""  # a one-time PIN that was right: the person chooses their own
        self._new = ""  # the own PIN, once; it is typed twice

    def body(self) -> Iterable[Widget]:
        """The people, or the PIN with its pad."""
        yield Page(id="said")
        yield Rows(row_height=2, digits=False, tap_opens=True, id="people")
        with Horizontal(id="pin"):
            yield Page(id="pin-said")
            yield PinPad(id="pad")

    def question_text(self) -> str:
        """What is asked now."""
        if self._person is None:
            duty = self._request.duty
            return words("terminal.sign_in_witness" if duty else "terminal.sign_in_who", self.language)
        key = "sign_in_pin" if not self._old else "sign_in_new" if not self._new else "sign_in_repeat"
        return words(f"terminal.{key}", self.language, name=self._person.name)

    def resized(self) -> None:
        """A pad as large as this size needs."""
        super().resized()
        self.query_one("#pad", PinPad).lay_out(self.size.height - self.app.target[1] - _FRAME)

    def show(self) -> None:
        """Show the phase that is on."""
        asks_who = self._person is None
        self.query_one("#said", Page).display = asks_who
        self.query_one("#people", Rows).display = asks_who
        self.query_one("#pin", Horizontal).display = not asks_who
        if asks_who:
            self._show_people()
        else:
            self._show_pin()

    def _show_people(self) -> None:
        library = self.desk.plant.library
        rows = people_rows(self._candidates(), library.plant.duties, self._typed, self.language)
        prompt, found = rows
        self.query_one("#said", Page).show(prompt)
        people = self.query_one("#people", Rows)
        unknown = self.app.lost and not self._people
        empty = words("terminal.nothing_known" if unknown else "terminal.nobody_found", self.language)
        people.show([Row(one.key, one.lines) for one in found], empty=empty)
        if self.focused is not people:
            people.focus()

    def _show_pin(self) -> None:
        assert self._person is not None
        view = PinView(
            name=self._person.name,
            code=self._person.code,
            digits=len(self._pin),
            checking=self._checking,
            reason=self._request.reason,
            duty=self._request.duty,
            failed=self._failed and self._request.unconfirmed,
            demo=self.app.demo,
            about=self._request.about,
        )
        page = self.query_one("#pin-said", Page)
        page.show(pin_lines(view, max(24, self.size.width - 44), self.language))

    def _candidates(self) -> "list[Person]":
        """Who may answer; while the record does not answer, who could when it did."""
        if not self.app.lost:
            with self.app.losing_record():
                self._people = self._read_candidates()
        return self._people

    def _read_candidates(self) -> "list[Person]":
        """Who may answer: active people; for a witness others, and only those of the duty.

        Somebody whose code was disabled meanwhile may still end their work and take their own lock off.
        """
        request = self._request
        people = [
            person for person in self.desk.plant.ledger.people() if person.active or request.unconfirmed
        ]
        people = [person for person in people if person.code != request.excluded]
        if request.duty:
            people = [person for person in people if request.duty in person.duties]
        return people

    def check_action(self, action: str, _: tuple[object, ...]) -> bool | None:
        """Going on without a PIN is offered only after one failed, and only for what nobody is kept from."""
        if action == "unconfirmed":
            return self._failed and self._request.unconfirmed and self._person is not None
        if action == "sign_out":
            request = self._request
            return self.app.session.person is not None and not request.reason and request.person is None
        return True

    # --- keys -----------------------------------------------------------------------------------

    def on_key(self, event: events.Key) -> None:
        """Characters name a person first, then they are the PIN."""
        if event.character is None or not event.character.isprintable() or event.character in HELP_KEYS:
            return
        event.stop()
        event.prevent_default()
        if self._person is None:
            self._typed += event.character
            self.retell()
            people = self.query_one("#people", Rows)
            if people.rows:
                people.choose(people.rows[0].key)
        elif event.character.isdigit():
            self._type_digit(event.character)

    def _type_digit(self, digit: str) -> None:
        if not self._checking and len(self._pin) < _MOST_DIGITS:
            self._pin += digit
            self.refuse(())
            self._show_pin()

    def on_pin_pad_pressed(self, message: PinPad.Pressed) -> None:
        """A tap on the pad is the key."""
        if message.key.isdigit():
            self._type_digit(message.key)
        else:
            self.app.press(message.key)

    def scanned(self, message: Scanned) -> None:
        """A badge names a person; as a PIN it counts for nothing."""
        person = next((one for one in self._candidates() if message.text in (one.badge, one.code)), None)
        if person is None:
            self.refuse((words("terminal.scan_nobody", self.language, text=message.text),), "caution")
        elif self._request.person is not None and person.code != self._request.person.code:
            wanted = self._request.person.name
            self.refuse(
                (words("terminal.scan_other", self.language, name=wanted, other=person.name),), "caution"
            )
        else:
            self._take(person)

    def on_rows_opened(self, message: Rows.Opened) -> None:
        """Somebody picked themselves."""
        person = next((one for one in self._candidates() if one.code == message.row.key), None)
        if person is not None:
            self._take(person)

    def _take(self, person: "Person") -> None:
        self._person = person
        self._typed = self._pin = ""
        self.refuse(())
        self.set_focus(None)
        self.retell()
        self.query_one("#pad", PinPad).focus()

    def action_take_back(self) -> None:
        """Take the last character back."""
        if self._checking:
            return
        if self._person is None:
            self._typed = self._typed[:-1]
        else:
            self._pin = self._pin[:-1]
        self.retell()

    def action_back(self) -> None:
        """From the PIN to the person, from there out."""
        if self._checking:
            return
        if self._person is not None and self._request.person is None:
            self._person = None
            self._pin = self._old = self._new = ""
            self._failed = False
            self.refuse(())
            self.retell()
        else:
            self.dismiss(None)

    def action_sign_out(self) -> None:
        """Nobody is signed in any more."""
        self.app.end_session()
        self.dismiss(None)

    def action_unconfirmed(self) -> None:
        """Go on without a PIN; the record says so."""
        if self._person is not None:
            self.dismiss(PinAnswer(self._person, "unconfirmed"))

    def action_confirm(self) -> None:
        """Take the person or the PIN."""
        if self._person is None:
            if self.is_meant(seen=bool(self._typed)):
                self.query_one("#people", Rows).open_chosen()
        elif self._pin and not self._checking and self.app.lost:
            self._pin = ""
            self.app.record_watch.say(self, (words("terminal.pin_not_checked", self.language),))
            self._show_pin()
        elif self._pin and not self._checking:
            self._checking = True
            self._show_pin()
            self.run_worker(self._check(self._person, self._pin), group="pin")

    # --- PINs -----------------------------------------------------------------------------------

    async def _check(self, person: "Person", pin: str) -> None:
        from floorterm.ledger import (  # noqa: PLC0415
            InactivePersonError,
            LedgerError,
            OneTimePinError,
            PinError,
        )

        try:
            if self._old:
                await self._choose(person, pin)
                return
            plant = self.desk.plant
            fresh = await self.desk.in_writer(
                lambda: plant.ledger.check_pin(person.code, pin, plant.terminal)
            )
        except OneTimePinError as fault:
            self._old = pin
            self.refuse(self.desk.sentences(fault), "notice")
        except (PinError, InactivePersonError) as fault:
            self._failed = True
            self._old = self._new = (
                ""  # the one for one use may be gone: chosen at another terminal, or issued anew
            )
            self.refuse(self.desk.sentences(fault), "caution")
        except LedgerError as fault:
            self._new = ""
            self.app.record_watch.say(self, self.desk.sentences(fault))
        else:
            untold = () if self._request.unconfirmed else await self._untold(fresh)
            if untold:
                self.refuse(untold, "notice")
            else:
                self.dismiss(PinAnswer(fresh, "pin"))
        finally:
            self._checking, self._pin = False, ""
            self.retell()

    async def _untold(self, person: "Person") -> tuple[str, ...]:
        """Why somebody does not resume work yet: their lock was taken off and nobody told them ((e)(3)(iii))."""
        taken = await self.desk.in_reader(lambda plant: plant.uninformed(person.code))
        return tuple(
            words("plant.not_informed", self.language, name=entry.name, work=entry.changeover, n=entry.n)
            for entry in taken[:1]
        )

    async def _choose(self, person: "Person", pin: str) -> None:
        """The own PIN is typed twice, then it takes the place of the one for one use."""
        if not self._new:
            self._new = pin
            return
        if pin != self._new:
            self._new = ""
            self.refuse((words("terminal.pin_differs", self.language),), "caution")
            return
        plant, old, new = self.desk.plant, self._old, self._new
        await self.desk.in_writer(lambda: plant.ledger.change_pin(person.code, old, new, plant.terminal))
        self.dismiss(PinAnswer(person, "pin"))
