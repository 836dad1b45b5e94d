"""Putting a copy in the ledger's place: verified, compared with the newest that is known, signed by two people.

What was recorded after the newest seal cannot be known to be lost or never to have been, so every restore is
signed by two people and gives the chain another identifier (see `restored`).
"""

import sqlite3
import tempfile
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from floorterm.access import Right, has_right
from floorterm.entries import Draft, Entry, clean_text
from floorterm.ledger.backup import copy_file
from floorterm.ledger.copy_faults import CopyNotSoundError, MovedOnError, OtherLedgerError
from floorterm.ledger.copying import copy_rows
from floorterm.ledger.faults import LedgerError
from floorterm.ledger.file_store import FileStore, beside, put_in_place
from floorterm.ledger.last_seen import LastSeen, place_key
from floorterm.ledger.ledger import Ledger
from floorterm.ledger.migrating import lay_out_anew
from floorterm.ledger.persons import PIN_BURST
from floorterm.ledger.pins import DEFAULT_PROFILE, PinProfile
from floorterm.ledger.restored import RESTORED, Known, Restored
from floorterm.ledger.seal import Seal
from floorterm.ledger.transaction import Transaction
from floorterm.ledger.values import Asked, Guard, Head, Place, is_server
from floorterm.ledger.verify import verify_ledger, verify_place
from floorterm.ledger.walk import Report
from floorterm.people import Person
from floorterm.wording import Refusal, Say

_CUT = "ledger.verify.seal_cut"


class Standing(Struct, frozen=True, kw_only=True):
    """A copy against the newest entry that is known of: `known` and when it was made; None if nobody knows any.

    `parted`: the ledger in place and the copy went different ways, so that neither is the beginning of the other.
    `unnamed`: the newest that is known has an identifier that nothing here names: only people can know whether it is
    this ledger's, from a restore after the copy was made.
    """

    path: str
    plant: str
    n: int
    hash: str
    chain: str
    known: Known | None = None
    known_at: str = ""
    parted: bool = False
    unnamed: bool = False
    live_n: int = 0  # the newest entry of the ledger in place; 0 where none can be read

    @property
    def missing(self) -> int:
        """Entries that the copy lacks, as far as is known."""
        return max(0, self.known.n - self.n) if self.known else 0


class Signed(Struct, frozen=True, kw_only=True):
    """Two people of the ledger whose PINs were checked, and why they go on with it."""

    by: str
    witness: str
    reason: str
    identity: str = "pin"
    terminal: str = ""


Sign = Callable[[Ledger, Standing], Signed]
"""Asked with the copy, opened, so that PINs are checked against the copy's own people."""


class Done(Struct, frozen=True):
    """What a restore leaves: its entry, the first seal of the new identifier, and where the old file is kept."""

    entry: Entry
    seal: Seal
    aside: Path | None = None


def examine(
    copy: Path, place: Place, seals: Iterable[Seal] = (), memories: Iterable[LastSeen] = ()
) -> Standing:
    """Verify a copy and see what it lacks against seals, the ledger in place if that can be read, and memories.

    Raises CopyNotSoundError, OtherLedgerError, or another LedgerError if the copy is no ledger file.
    """
    seals = tuple(seals)
    report = verify_ledger(copy, seals)
    opened = Ledger.open(copy, read_only=True)
    live = _live(opened, copy, place)
    start, head = opened.start(), opened.head()
    named = later_chains(live) if live else []
    check_sound(report, copy, chains=(*named, *_of_plant(seals, start.plant)))
    heads = [*_remembered(memories, place, opened), *([live.head()] if live else [])]
    named = [*named, *_chains(opened)]
    known, known_at = newest_of((*seals, *(Seal.of(one, start.plant) for one in heads)), report.n, named)
    return Standing(
        path=str(copy),
        plant=start.plant,
        n=report.n,
        hash=report.head,
        chain=head.chain,
        known=known,
        known_at=known_at,
        parted=live is not None and _parted(opened, live),
        live_n=live.head().n if live else 0,
        unnamed=known is not None and known.chain not in named,
    )


def _chains(ledger: Ledger) -> list[str]:
    return [ledger.start().chain, *later_chains(ledger)]


def _of_plant(seals: Iterable[Seal], plant: str) -> list[str]:
    """Identifiers of seals that bear the plant's name, or that were read from a code, which leaves it out."""
    return [seal.chain for seal in seals if seal.plant in ("", plant)]


def _remembered(memories: Iterable[LastSeen], place: Place, ledger: Ledger) -> list[Head]:
    """What terminals of this machine saw of the ledger at that place."""
    key, start = place_key(place), ledger.start().hash
    return [head for memory in memories if (head := memory.of(key, start))]


def later_chains(live: Ledger) -> list[str]:
    """The identifiers that restores gave a ledger."""
    return [str(entry.value.get("chain")) for entry in live.entries(kinds=(RESTORED,))]


def newest_of(seals: Sequence[Seal], n: int, chains: Collection[str]) -> tuple[Known | None, str]:
    """The newest entry that is known, and its time; by time, since a restored chain has lower numbers.

    A seal of a chain that nothing names (not in `chains`) may be another plant's: it does not hide that a named one
    knows of more than the `n` entries of the copy.
    """

    def made(seal: Seal) -> tuple[str, int]:
        return seal.at, seal.n

    newest = max(seals, key=made, default=None)
    if newest is not None and newest.chain not in chains and newest.n <= n:
        more = (seal for seal in seals if seal.chain in chains and seal.n > n)
        newest = max(more, key=made, default=newest)
    return (Known(newest.n, newest.hash, newest.chain), newest.at) if newest else (None, "")


def _parted(one: Ledger, other: Ledger) -> bool:
    n = min(one.head().n, other.head().n)
    return one.chain_hash(n) != other.chain_hash(n)


def check_sound(report: Report, path: Path, *, chains: Collection[str] = ()) -> Report:
    """A copy may end before a seal (that is what is asked about), and nothing else may be wrong with it.

    `chains` are identifiers that the ledger is known to have been given by restores after the copy was made.
    """
    for problem in report.problems:
        if problem.say.key == "ledger.verify.seal_chain":
            if problem.say.facts["chain"] in chains:
                continue
            raise OtherLedgerError(path=str(path))
        if problem.say.key != _CUT:
            raise CopyNotSoundError(path=str(path), reason=problem.text)
    return report


def _live(copy: Ledger, path: Path, place: Place) -> Ledger | None:
    """The ledger in place; None if there is none that can be read. Raises OtherLedgerError."""
    try:
        live = Ledger.open(place, read_only=True)
        live.head()
        later_chains(live)  # damaged entries would keep the restore from replacing them
    except LedgerError:
        return None
    if live.start().hash != copy.start().hash:
        raise OtherLedgerError(path=str(path))
    return live


def restore(
    copy: Path,
    place: Place,
    sign: Sign,
    *,
    seals: Iterable[Seal] = (),
    memories: Iterable[LastSeen] = (),
    pin_profile: PinProfile = DEFAULT_PROFILE,
    role: str = "",
) -> Done:
    """Put a verified copy in the ledger's place, brought to the newest layout; the copy itself stays untouched.

    A file that stands there is kept beside, under a name that says until when it was in use; a server's database must
    be empty, and the terminals' `role` is given its rights there. Raises CopyNotSoundError, OtherLedgerError,
    RefusedError (two people, a reason), MovedOnError, LedgerExistsError, TextError, or another LedgerError; the place
    is then as it was.
    """
    seals = tuple(seals)
    standing = examine(copy, place, seals, memories)
    with _workshop(place) as fresh:
        after = _ready(copy, fresh)
        ledger = Ledger.open(fresh, pin_profile=pin_profile)
        signed = sign(ledger, standing)
        if tried := ledger.entries(
            after_n=standing.n
        ):  # wrong PINs: recorded after the entry that names the head
            ledger.close()
            fresh.unlink()
            _ready(copy, fresh)
            ledger = Ledger.open(fresh, pin_profile=pin_profile)
            after += [_draft_of(entry) for entry in tried if entry.kind == PIN_BURST]
        entry = _go_on(ledger, standing, signed, after)
        seal = ledger.seal("printed at the restore", person=signed.by, terminal=signed.terminal)
        check_sound(verify_ledger(fresh), copy)
        if is_server(place):
            _to_server(fresh, str(place), copy, role)
            return Done(entry, seal)
        aside = put_in_place(
            fresh,
            Path(place),
            f"replaced-{entry.at:%Y%m%dT%H%M%SZ}",
            lambda read: _unmoved(read, place, standing),
        )
    return Done(entry, seal, aside)


def _unmoved(read: sqlite3.Connection, place: Place, standing: Standing) -> None:
    """Raise MovedOnError if a terminal that was not ended recorded something since people were told what is lost."""
    if not standing.live_n:
        return
    (n,) = read.execute("SELECT max(n) FROM entries").fetchone()
    if n > standing.live_n:
        raise MovedOnError(path=str(place), n=n, told=standing.live_n)


def _ready(copy: Path, fresh: Path) -> list[Draft]:
    """Copy it, in the newest layout; what is to be recorded of that."""
    copy_file(copy, fresh)
    migrated = lay_out_anew(fresh, copy)
    return [migrated] if migrated else []


def _draft_of(entry: Entry) -> Draft:
    return Draft(
        kind=entry.kind, key=entry.key, person=entry.person, terminal=entry.terminal, value=entry.value
    )


@contextmanager
def _workshop(place: Place) -> Iterator[Path]:
    """Where the copy is made ready: beside the ledger's file, so that it only has to take its name."""
    if is_server(place):
        with tempfile.TemporaryDirectory(prefix="floorterm-restore-") as folder:
            yield Path(folder) / "scratch.db"
    else:
        with beside(Path(place)) as fresh:
            yield fresh


def go_on_with(
    place: Place, sign: Sign, known: Standing, *, pin_profile: PinProfile = DEFAULT_PROFILE
) -> Done:
    """Two people go on with an older copy that somebody has put in place by hand. Raises as `restore` does."""
    ledger = Ledger.open(place, pin_profile=pin_profile)
    signed = sign(ledger, known)
    entry = _go_on(ledger, known, signed)
    return Done(entry, ledger.seal("printed at the restore", person=signed.by, terminal=signed.terminal))


def standing_of(place: Place, seals: Iterable[Seal] = (), memories: Iterable[LastSeen] = ()) -> Standing:
    """The ledger in place against the newest that is known. Raises CopyNotSoundError, OtherLedgerError."""
    seals = tuple(seals)
    ledger = Ledger.open(place, read_only=True)
    plant = ledger.start().plant
    report = check_sound(verify_place(place, seals), Path(str(place)), chains=_of_plant(seals, plant))
    heads = _remembered(memories, place, ledger)
    named = _chains(ledger)
    known, known_at = newest_of((*seals, *(Seal.of(one, plant) for one in heads)), report.n, named)
    return Standing(
        path=ledger.store.name,
        plant=plant,
        n=report.n,
        hash=report.head,
        chain=report.chain,
        known=known,
        known_at=known_at,
        unnamed=known is not None and known.chain not in named,
    )


def _go_on(ledger: Ledger, standing: Standing, signed: Signed, after: Sequence[Draft] = ()) -> Entry:
    """The entry `ledger.restored` as the next one, and what is to be said after it."""
    reason = clean_text(signed.reason, newlines=True)
    key, chain = ledger.new_id(), ledger.new_id()

    def work(transaction: Transaction) -> Entry:
        head = transaction.head()
        value = Restored(
            chain=chain, was=head.chain, kept_n=head.n, kept_hash=head.hash, known=standing.known
        ).value()
        draft = Draft(
            kind=RESTORED,
            key=key,
            person=signed.by,
            identity=signed.identity,
            meaning="approved",
            witness=signed.witness,
            terminal=signed.terminal,
            reason=reason,
            value=value | {"copy": standing.path},
        )
        entry = transaction.append((draft,), two_people(reason))[0]
        if after:
            transaction.append([replace(one, terminal=one.terminal or signed.terminal) for one in after])
        return entry

    return ledger.unit_of_work(work)


def two_people(reason: str) -> Guard:
    """Two different people, one of whom supervises or administers, and a reason."""

    def answers(person: Person | None) -> bool:
        return has_right(person, Right.ANSWER_FOR_RESTORE)

    def guard(asked: Asked) -> Sequence[Refusal]:
        codes = {person.code for person in (asked.person, asked.witness) if person is not None}
        found = []
        if len(codes) < 2 or not (answers(asked.person) or answers(asked.witness)):
            found.append(Refusal(Say("copies.two_people"), "site policy"))
        if not reason:
            found.append(Refusal(Say("copies.needs_reason"), "site policy"))
        return found

    return guard


def _to_server(fresh: Path, place: str, copy: Path, role: str) -> None:
    """Into an empty database; in use only once it is verified there."""
    from floorterm.ledger.server_making import laying_out_server, put_in_use, take_away  # noqa: PLC0415

    with FileStore(fresh).snapshot() as read:
        first = read.exec_driver_sql("SELECT hash FROM entries WHERE n = 1").scalar_one()
        with laying_out_server(place, role=role, unfinished_of=first) as write:
            copy_rows(read, write)
    try:
        report = check_sound(verify_place(place, unfinished=True), copy)
    except LedgerError:
        take_away(place)
        raise
    put_in_use(place, report.n, report.head)
