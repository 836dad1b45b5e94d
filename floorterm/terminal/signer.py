"""Asking who acts: sign-in, the PIN again where the plant's policy wants it, a witness with their own PIN.

A PIN that is blocked, off or forgotten never keeps anybody at work or under a lock: those acts go on as
"unconfirmed", and the record says so.
"""

from typing import TYPE_CHECKING

from msgspec import Struct

from floorterm.terminal.desk import Signature

if TYPE_CHECKING:
    from floorterm.changeover.acts import Act
    from floorterm.people import Person
    from floorterm.terminal.app import FloorApp
    from floorterm.terminal.views.signing import Offered


class PinRequest(Struct, frozen=True, kw_only=True):
    """What a sign-in dialogue asks: who may answer it and why. `person` empty means anybody names themselves."""

    reason: str = ""
    person: "Person | None" = None
    excluded: str = ""  # code of somebody who may not be the one (a witness is another person)
    duty: str = ""  # duty that a witness needs
    unconfirmed: bool = False  # whether it may go on without a PIN
    about: tuple[str, ...] = ()  # what is signed, line by line: the act, its step or points, what was entered


class PinAnswer(Struct, frozen=True):
    """Who answered, and whether with their PIN ("pin") or without ("unconfirmed")."""

    person: "Person"
    identity: str


class Signer:
    """Gets signatures for the desk. Its methods are awaited inside a worker, since they open dialogues."""

    def __init__(self, app: "FloorApp") -> None:
        self._app = app

    async def ask(self, request: PinRequest) -> PinAnswer | None:
        """Open the sign-in dialogue; None when the person steps back."""
        from floorterm.terminal.screens.sign_in import SignInScreen  # noqa: PLC0415

        return await self._app.push_screen_wait(SignInScreen(request))

    async def sign_in(
        self, *, unconfirmed: bool = False, reason: str = "", about: tuple[str, ...] = ()
    ) -> PinAnswer | None:
        """Somebody signs in at this terminal; their session begins."""
        answer = await self.ask(PinRequest(reason=reason, unconfirmed=unconfirmed, about=about))
        if answer is not None and answer.identity == "pin":
            self._app.begin_session(answer.person)
        return answer

    async def take_over(self, person: "Person") -> None:
        """Somebody named by their badge gives the PIN; their session begins."""
        answer = await self.ask(PinRequest(reason="terminal.badge_reason", person=person))
        if answer is not None:
            self._app.begin_session(answer.person)

    async def in_session(self, about: tuple[str, ...] = ()) -> Signature | None:
        """The person signed in, who signs in first if nobody is."""
        from floorterm.plant import Who  # noqa: PLC0415

        who = self._app.session.who
        if who is not None:
            return Signature(who)
        answer = await self.sign_in(about=about)
        return None if answer is None else Signature(Who(answer.person, answer.identity))

    async def with_pin(self, about: tuple[str, ...] = ()) -> Signature | None:
        """The person signed in, with their PIN asked again."""
        return await self._confirmed(unconfirmed=False, about=about)

    async def for_act(
        self,
        work: str,
        act: "Act",
        *,
        witness: "Person | None" = None,
        pin_done: bool = False,
        ask_witness: bool = False,
        offered: "Offered | None" = None,
    ) -> Signature | None:
        """Who signs an act on a piece of work (`offered` is what it was chosen by), and the witness if any."""
        from floorterm.changeover.rules import needs_pin, witness_duty  # noqa: PLC0415
        from floorterm.terminal.views.signing import act_lines  # noqa: PLC0415

        state = self._app.desk.plant.state(work)
        sheet, about = state.worksheet, act_lines(state, act, self._app.language, offered)
        step = sheet.step(getattr(act, "step", ""))
        safer = makes_safer(act, step.event if step else None)
        if pin_done or not needs_pin(sheet, act, step):
            signed = await self._session_or_sign_in(pin_done=pin_done, unconfirmed=safer, about=about)
        else:
            signed = await self._confirmed(unconfirmed=safer, about=about)
        if signed is None:
            return None
        duty = witness_duty(sheet, act)
        if witness is not None or not (duty or ask_witness):
            return Signature(signed.who, witness)
        answer = await self.ask(
            PinRequest(
                reason="terminal.witness_reason",
                excluded=signed.who.person.code,
                duty=duty,
                about=about,
            )
        )
        return None if answer is None else Signature(signed.who, answer.person)

    async def _session_or_sign_in(
        self, *, pin_done: bool, unconfirmed: bool, about: tuple[str, ...]
    ) -> Signature | None:
        from floorterm.plant import Who  # noqa: PLC0415

        person = self._app.session.person
        if person is not None:
            return Signature(Who(person, "pin" if pin_done else "session"))
        answer = await self.sign_in(unconfirmed=unconfirmed, about=about)
        return None if answer is None else Signature(Who(answer.person, answer.identity))

    async def _confirmed(self, *, unconfirmed: bool, about: tuple[str, ...]) -> Signature | None:
        from floorterm.plant import Who  # noqa: PLC0415

        person = self._app.session.person
        if person is None:
            answer = await self.sign_in(unconfirmed=unconfirmed, about=about)
        else:
            request = PinRequest(
                reason="terminal.pin_again", person=person, unconfirmed=unconfirmed, about=about
            )
            answer = await self.ask(request)
        return None if answer is None else Signature(Who(answer.person, answer.identity))


def makes_safer(act: "Act", step_event: object) -> bool:
    """Whether an act is one that nobody is ever kept from: ending work, an own lock off, what an emergency did."""
    from floorterm.lockout.model import NEVER_REFUSED  # noqa: PLC0415

    return getattr(act, "is_way_out", False) or step_event in NEVER_REFUSED
