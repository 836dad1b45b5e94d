"""The screens' one way to the plant: reads at once, writes one after the other in a thread of their own.

A screen asks for a record and goes on; what became of it arrives as a message. Nothing says *recorded* before
the commit, and while a write is on its way no second one is taken from the same hand.
"""

from collections.abc import Awaitable, Callable
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

from msgspec import Struct
from textual.message_pump import MessagePump

from floorterm.terminal.log import LOG
from floorterm.terminal.messages import NotRecorded, Recorded
from floorterm.wording import Say, sentence, words

if TYPE_CHECKING:
    import asyncio
    from concurrent.futures import ThreadPoolExecutor

    from floorterm.changeover.acts import Act
    from floorterm.changeover.state import State
    from floorterm.entries import Entry
    from floorterm.ledger.values import Head
    from floorterm.people import Person
    from floorterm.plant import Plant, Who
    from floorterm.terminal.app import FloorApp
    from floorterm.terminal.views.signing import Offered

LOOK_AGAIN_S = 1.0
SILENT_S = (
    5.0  # how long a look at the record's head may take; a file that others write into is busy for as long
)

_Value = TypeVar("_Value")


class Signature(Struct, frozen=True):
    """Who acts, and who saw it."""

    who: "Who"
    witness: "Person | None" = None


class _Asked(Struct, frozen=True):
    """One thing to record: who wants to hear of it, what an act needs, and the call that records it."""

    screen: MessagePump
    key: str
    write: "Callable[[Plant, Signature, str], Entry]"
    act: "Act | None" = None
    signature: "Callable[[], Awaitable[Signature | None]] | None" = None


class Desk:
    """Reads and writes of this terminal. `plant` is there once the record is open."""

    def __init__(self, app: "FloorApp") -> None:
        self._app = app
        self._plant: Plant | None = None
        self._looking: asyncio.Future[Head] | None = None
        self._busy = False
        self._writing = False
        self._unsure = False  # whether the outcome of an act is not known yet
        self._closed = False
        self._seen_n = 0

    @cached_property
    def _writer(self) -> "ThreadPoolExecutor":
        return _one_thread("ledger-writer")

    @cached_property
    def _reader(self) -> "ThreadPoolExecutor":
        return _one_thread("ledger-reader")

    @cached_property
    def _looker(self) -> "ThreadPoolExecutor":
        """Apart from the reader, so that neither a year's audit nor a read that hangs keeps it from looking."""
        return _one_thread("ledger-looker")

    # --- reading --------------------------------------------------------------------------------

    @property
    def is_open(self) -> bool:
        """Whether the record is open."""
        return self._plant is not None

    @property
    def plant(self) -> "Plant":
        """The opened plant. Ask `is_open` before."""
        assert self._plant is not None, "the record is not open yet"
        return self._plant

    @property
    def seen_n(self) -> int:
        """The newest entry that the screens were told of."""
        return self._seen_n

    @property
    def pending(self) -> bool:
        """Whether something is being signed or recorded at this moment."""
        return self._busy

    def is_badge(self, text: str) -> bool:
        """Whether a scanned text is somebody's badge, active or not: it is never an entry."""
        return self._plant is not None and self._plant.ledger.by_badge(text) is not None

    @property
    def writing(self) -> bool:
        """Whether something that was signed is on its way into the record."""
        return self._writing

    async def in_reader(self, read: "Callable[[Plant], _Value]") -> _Value:
        """Compute something longer from the plant in the reading thread (a worksheet, a year of entries)."""
        return await self._loop().run_in_executor(self._reader, read, self.plant)

    async def in_writer(self, write: Callable[[], _Value]) -> _Value:
        """Do something in the writing thread, after everything that was asked before."""
        return await self._loop().run_in_executor(self._writer, write)

    async def open(self, opener: "Callable[[], Plant]") -> None:
        """Open the plant in the writing thread. What the opener raises is the caller's to show."""
        plant = await self.in_writer(opener)
        if self._closed:  # the terminal was left while its record was being opened
            plant.ledger.close()
            return
        head = await self._loop().run_in_executor(self._reader, plant.ledger.head)
        self._seen_n = head.n
        self._plant = plant
        LOG.info("record open: chain %s, entry %d", head.chain, head.n)

    async def has_moved(self) -> bool:
        """Whether the record has entries that no screen was told of yet; cheap, and silent otherwise.

        Raises RecordSilentError where a server that stands still gives neither an answer nor a fault, or another
        LedgerError.
        """
        import asyncio  # noqa: PLC0415  loaded by Textual anyway

        from floorterm.ledger.faults import RecordSilentError  # noqa: PLC0415  loaded by now

        if self._plant is None or self._closed:
            return False
        if self._looking is None:
            self._looking = self._loop().run_in_executor(self._looker, self._plant.ledger.head)
        looking = self._looking
        if not (await asyncio.wait({looking}, timeout=SILENT_S))[0]:
            raise RecordSilentError(place=self._plant.ledger.store.name)
        if self._looking is looking:
            self._looking = None
        n = looking.result().n
        moved, self._seen_n = n != self._seen_n, n
        return moved

    def close(self) -> None:
        """Let a commit that is under way end, then stop the threads."""
        self._closed = True
        self._writer.shutdown(wait=True)
        for threads in (self._reader, self._looker):
            threads.shutdown(wait=True, cancel_futures=True)
        if self._plant is not None:
            self._plant.ledger.close()

    # --- writing --------------------------------------------------------------------------------

    def new_key(self) -> str:
        """An idempotency key: made when a dialogue opens, the same for every press of one act."""
        return self.plant.ledger.new_id()

    def record(
        self,
        work: str,
        act: "Act",
        *,
        witness: "Person | None" = None,
        pin_done: bool = False,
        key: str | None = None,
        ask_witness: bool = False,
        screen: MessagePump | None = None,
        offered: "Offered | None" = None,
    ) -> bool:
        """Record an act on a piece of work; asks for sign-in, PIN and witness as the rules say.

        `ask_witness` asks for one where the rules need it only of some people; `offered` is what it was chosen by.

        False when it was not even taken: the record is not open, or another one is on its way (the screen
        says so). Otherwise the asking screen gets `Recorded` or `NotRecorded`.
        """

        async def signature() -> Signature | None:
            return await self._app.signer.for_act(
                work, act, witness=witness, pin_done=pin_done, ask_witness=ask_witness, offered=offered
            )

        def write(plant: "Plant", by: Signature, key: str) -> "Entry":
            return plant.act(work, act, by.who, key=key, witness=by.witness)

        return self._ask(screen, key, write, act, signature)

    def redirect(
        self, work: str, incoming: str, reason: str, *, key: str | None = None, about: tuple[str, ...] = ()
    ) -> bool:
        """Turn a changeover towards another incoming fragrance."""
        return self._ask(
            None,
            key,
            lambda plant, by, key: plant.redirect(work, incoming, reason, by.who, key=key),
            about=about,
        )

    def start_changeover(
        self, line: str, incoming: str, *, key: str | None = None, about: tuple[str, ...] = ()
    ) -> bool:
        """Begin a changeover; `Recorded.entry.changeover` names the work."""
        return self._start(
            lambda plant, by, key: plant.start_changeover(by.who, line, incoming, key), key, about
        )

    def start_procedure(
        self, line: str, procedure: str, *, key: str | None = None, about: tuple[str, ...] = ()
    ) -> bool:
        """Begin a procedure that stands alone."""
        return self._start(
            lambda plant, by, key: plant.start_procedure(by.who, line, procedure, key), key, about
        )

    def state_holds(
        self,
        line: str,
        fragrances: tuple[str, ...],
        reason: str,
        *,
        key: str | None = None,
        screen: MessagePump | None = None,
        about: tuple[str, ...] = (),
    ) -> bool:
        """State what a line holds."""
        return self._ask(
            screen,
            key,
            lambda plant, by, key: plant.state_holds(by.who, line, fragrances, reason, key=key),
            about=about,
        )

    def approve_library(self, *, key: str | None = None, about: tuple[str, ...] = ()) -> bool:
        """A safety officer approves the checklists as they are now; the PIN is asked."""
        return self.write(lambda plant, by, key: plant.approve_library(by.who, key=key), key=key, about=about)

    def write(
        self,
        write: "Callable[[Plant, Signature, str], Entry]",
        *,
        key: str | None = None,
        screen: MessagePump | None = None,
        pin_again: bool = True,
        about: tuple[str, ...] = (),
    ) -> bool:
        """Record something of the plant that belongs to no piece of work; the PIN is asked, again if need be.

        `about` says to whoever is asked for it what they sign.
        """
        signer = self._app.signer
        ask = signer.with_pin if pin_again else signer.in_session
        return self._ask(screen, key, write, signature=lambda: ask(about))

    def _start(
        self, begin: "Callable[[Plant, Signature, str], State]", key: str | None, about: tuple[str, ...]
    ) -> bool:
        def write(plant: "Plant", by: Signature, key: str) -> "Entry":
            state = begin(plant, by, key)
            return plant.ledger.entries(changeover=state.work, limit=1)[0]

        return self._ask(None, key, write, about=about)

    def _ask(
        self,
        screen: MessagePump | None,
        key: str | None,
        write: "Callable[[Plant, Signature, str], Entry]",
        act: "Act | None" = None,
        signature: "Callable[[], Awaitable[Signature | None]] | None" = None,
        about: tuple[str, ...] = (),
    ) -> bool:
        if self._plant is None:
            self._app.say(words("terminal.opening_wait", self._app.language))
            return False
        if self._busy:
            self._app.say(words("terminal.recording", self._app.language))
            return False
        if self._unsure:
            self._app.say(words("terminal.looking_up", self._app.language))
            return False
        self._busy = True
        asked = _Asked(
            screen=screen or self._app.screen,
            key=key or self.new_key(),
            write=write,
            act=act,
            signature=signature or (lambda: self._app.signer.in_session(about)),
        )
        self._app.run_worker(self._carry_out(asked), group="ledger", exit_on_error=True)
        return True

    async def _carry_out(self, asked: _Asked) -> None:
        from floorterm.changeover.compose import ComposeError  # noqa: PLC0415  after the first frame
        from floorterm.entries import BodyError, TextError  # noqa: PLC0415
        from floorterm.ledger import LedgerError, OutcomeUnknownError, PinError, RefusedError  # noqa: PLC0415

        asked_of_record = False
        try:
            assert asked.signature is not None
            by = await asked.signature()
            if by is None:
                asked.screen.post_message(NotRecorded((), asked.key, asked.act))
                return
            self._app.say(words("terminal.recording", self._app.language))
            plant = self.plant
            asked_of_record = self._writing = True
            entry = await self.in_writer(lambda: asked.write(plant, by, asked.key))
        except LedgerError as fault:
            if not isinstance(fault, RefusedError | PinError):
                LOG.warning("not recorded: %s", type(fault).__name__)
            self._app.say("")
            self._unsure = isinstance(fault, OutcomeUnknownError)
            asked.screen.post_message(
                NotRecorded(self.sentences(fault), asked.key, asked.act, known=not self._unsure)
            )
        except (BodyError, TextError, ComposeError) as fault:
            self._app.say("")
            asked.screen.post_message(NotRecorded((str(fault),), asked.key, asked.act))
        except Exception as fault:  # of the program: it can have been recorded all the same
            self._app.say("")
            self._unsure = asked_of_record
            said = (self._app.own_faults.sentence(fault),)
            asked.screen.post_message(NotRecorded(said, asked.key, asked.act, known=not asked_of_record))
        else:
            self._tell_recorded(asked, entry)
        finally:
            self._busy = self._writing = False
        await self._app.look_at_record()
        if self._unsure:
            await self._find_out(asked)

    def _tell_recorded(self, asked: _Asked, entry: "Entry") -> None:
        self._app.say(words("terminal.recorded", self._app.language, n=entry.n))
        if asked.screen is self._app.screen:
            self._seen_n = entry.n  # that screen reads the record again: it need not be told twice
        asked.screen.post_message(Recorded(entry))

    async def _find_out(self, asked: _Asked) -> None:
        """Look until it is known what became of an act; what a hand would add meanwhile could be the same again."""
        import asyncio  # noqa: PLC0415  loaded by Textual anyway

        from floorterm.ledger import LedgerError  # noqa: PLC0415  loaded by now

        while True:
            await asyncio.sleep(LOOK_AGAIN_S)
            if self._closed:
                return
            try:
                entry = await self.in_writer(lambda: self.plant.ledger.look_up(asked.key))
                break
            except LedgerError:
                continue  # said once; it goes on until the record answers
        self._unsure = False
        if entry is None:
            missing = words("terminal.looked_up_missing", self._app.language)
            asked.screen.post_message(NotRecorded((missing,), asked.key, asked.act))
        else:
            self._tell_recorded(asked, entry)
        await self._app.look_at_record()

    def sentences(self, fault: Exception) -> tuple[str, ...]:
        """What a person reads when the record did not take something: every reason with the rule behind it."""
        language = self._app.language
        refusals = getattr(fault, "refusals", None)
        if refusals is not None:
            return tuple(f"{sentence(refusal.say, language)} ({refusal.rule})" for refusal in refusals)
        say = getattr(fault, "say", None)
        return (sentence(say, language) if isinstance(say, Say) else str(fault),)

    def _loop(self) -> "asyncio.AbstractEventLoop":
        import asyncio  # noqa: PLC0415  loaded by Textual anyway

        return asyncio.get_running_loop()


def _one_thread(name: str) -> "ThreadPoolExecutor":
    from concurrent.futures import ThreadPoolExecutor  # noqa: PLC0415  after the first frame

    return ThreadPoolExecutor(max_workers=1, thread_name_prefix=name)
