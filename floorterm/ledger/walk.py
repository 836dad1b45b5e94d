"""Walking a chain entry by entry and noting all that does not hold. Needs no database and little memory."""

import hashlib
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from msgspec import Struct

from floorterm.entries import FORMAT_VERSION, GENESIS, BodyError, read_body
from floorterm.ledger.bodies import START
from floorterm.ledger.guards import COLUMNS
from floorterm.ledger.persons import FOLDED, PersonFoldError, fold_person
from floorterm.ledger.restored import RESTORED, Restored, RestoredFaultError, read_restored
from floorterm.ledger.seal import Seal
from floorterm.wording import Fact, Say, sentence

Passing = Callable[[bytes, str], None] | None
MOST_PROBLEMS = 100
PERSON_COLUMNS = (
    "code",
    "name",
    "permission",
    "duties",
    "lockout",
    "trained_on",
    "valid_to",
    "badge",
    "active",
)
_KEY = COLUMNS.index("key")  # entry 1 has none: there it is the chain's identifier


class Problem(Struct, frozen=True):
    """Something that does not hold: at which entry (0: the file as a whole), as a Say and as a sentence."""

    n: int
    say: Say
    text: str


class Report(Struct, frozen=True, kw_only=True):
    """What a verification found.

    `entries` counts those read, `first` is the number of the first (above 1 in an export of a part), `n` and
    `head` are number and hash of the last. `problems` holds the first hundred, `more` counts the rest.
    `seals` counts the seals that were given, `sealed_n` is the last entry that one of them confirms and `sealed_at`
    that seal's time; later entries are chained, not sealed. `differs_n` is the first sealed entry that is another
    one now (0: none): whatever was altered lies after the last seal below it that still holds. `remarks`
    are no faults: restores that two people answer for, seals of entries that such a restore says are lost, and seals
    of entries before the first one of a part.
    """

    ok: bool
    entries: int
    first: int
    n: int
    head: str
    chain: str
    problems: tuple[Problem, ...] = ()
    more: int = 0
    seals: int = 0
    sealed_n: int = 0
    remarks: tuple[Problem, ...] = ()
    sealed_at: str = ""
    differs_n: int = 0


@dataclass(slots=True)
class Walk:
    """The state of one walk; `take` each entry in turn, then `report`."""

    seals: Mapping[int, list[Seal]]
    problems: list[Problem] = field(default_factory=list)
    more: int = 0
    entries: int = 0
    first: int = 0
    n: int = 0
    head: str = GENESIS
    chain: str = ""
    sealed_n: int = 0
    remarks: list[Problem] = field(default_factory=list)
    sealed_at: str = ""
    differs_n: int = 0
    people: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    passing: Passing = None
    _former: dict[str, tuple[int, Restored]] = field(default_factory=dict)
    _unlike: list[Seal] = field(default_factory=list)
    _gap: bool = False
    _part: bool = False

    @classmethod
    def against(cls, seals: Iterable[Seal], passing: Passing = None) -> "Walk":
        """A walk that also compares what it passes with seals kept elsewhere, and tells `passing` of each entry."""
        kept: dict[int, list[Seal]] = defaultdict(list)
        for seal in seals:
            kept[seal.n].append(seal)
        return cls(seals=kept, passing=passing)

    def note(self, at_n: int, key: str, /, **facts: Fact) -> None:
        """Something does not hold."""
        if len(self.problems) >= MOST_PROBLEMS:
            self.more += 1
            return
        say = Say(f"ledger.verify.{key}", facts)
        self.problems.append(Problem(at_n, say, sentence(say)))

    @property
    def noted(self) -> int:
        """How much does not hold so far."""
        return len(self.problems) + self.more

    def remark(self, at_n: int, key: str, /, **facts: Fact) -> None:
        """Something that whoever reads the report should know, though it holds."""
        say = Say(f"ledger.verify.{key}", facts)
        self.remarks.append(Problem(at_n, say, sentence(say)))

    def begin_at(self, n: int, prev: str) -> None:
        """Begin in the middle: an export of a part says what its first entry followed."""
        self.first, self.n, self.head, self._part = n, n - 1, prev, True
        self._seals(n - 1, prev)

    def take(self, n: int, body: bytes, hash_: str) -> Mapping[str, Any]:
        """Check one entry against hash, number and predecessor. Gives its fields, none if unreadable."""
        self._number(n)
        if hashlib.sha256(body).hexdigest() != hash_:
            self.note(n, "hash")
        try:
            fields = read_body(body.decode("utf-8"))
        except (BodyError, UnicodeDecodeError) as fault:
            self.note(n, "body", reason=str(fault))
            fields = {}
        else:
            self._fields(n, fields)
        self._seals(n, hash_)
        if self.passing is not None:
            self.passing(body, hash_)
        self.entries += 1
        self.n, self.head, self._gap = n, hash_, False
        return fields

    def _number(self, n: int) -> None:
        wanted = self.n + 1
        if not self.entries:
            self.first = self.first or n
        if n > wanted:
            self.note(n, "missing", n=n - wanted, first=wanted, last=n - 1)
        elif n < wanted:
            self.note(n, "order", number=n, wanted=wanted)
        self._gap = n != wanted

    def _fields(self, n: int, fields: Mapping[str, Any]) -> None:
        if fields.get("n") != n:
            self.note(n, "number", number=str(fields.get("n")))
        if not self._gap and fields.get("prev") != self.head:
            self.note(n, "prev")
        if fields.get("v") != FORMAT_VERSION:
            self.note(n, "version", version=str(fields.get("v")))
            return
        starts = fields.get("kind") == START
        if starts and not self.chain:
            self.chain = str(fields.get("chain", ""))
        if n == 1 and not starts:
            self.note(n, "start")
        elif n != 1 and starts:
            self.note(n, "start_again")
        if fields.get("kind") == RESTORED:
            self._restored(n, fields)
        if fields.get("kind") in FOLDED and not self._part:
            try:
                self.people = fold_person(self.people, fields["kind"], fields.get("value", {}))
            except (PersonFoldError, AttributeError, TypeError):
                self.note(n, "person_entry")

    def _restored(self, n: int, fields: Mapping[str, Any]) -> None:
        """From here on the chain has another identifier; the entry must follow the head that it says was kept."""
        try:
            found = read_restored(fields.get("value"))
        except RestoredFaultError:
            self.note(n, "restored_entry")
            return
        again = found.chain in self._former or found.chain == self.chain
        if (
            again
            or (found.kept_n, found.kept_hash) != (n - 1, self.head)
            or found.was != (self.chain or found.was)
        ):
            self.note(n, "restored_entry")
        self._former[found.was] = (n, found)
        if found.known:  # the lost record may have been restored before, and so had a later identifier
            self._former.setdefault(found.known.chain, (n, found))
        self.chain = found.chain
        people = " + ".join(str(fields.get(name, "?")) for name in ("person", "witness"))
        facts: dict[str, Fact] = {"at": str(fields.get("at")), "people": people, "kept": found.kept_n}
        self.remark(n, "restored", n=found.missing, **facts)

    def _seals(self, n: int, hash_: str) -> None:
        for seal in self.seals.get(n, ()):
            if seal.hash == hash_:
                if not self.differs_n:
                    self.sealed_n, self.sealed_at = n, seal.at
            elif not self.chain or seal.chain == self.chain:
                self._differs(seal)
            else:
                self._unlike.append(seal)

    def _differs(self, seal: Seal) -> None:
        self.differs_n = min(self.differs_n or seal.n, seal.n)
        self.note(seal.n, "seal_hash", at=seal.at)

    def compare_columns(self, n: int, fields: Mapping[str, Any], columns: Sequence[Any]) -> None:
        """Whether the columns that the database generated from a body (`COLUMNS`) say what the body says."""
        if not fields:
            return
        said = [fields.get(name) for name in COLUMNS]
        if said[_KEY] is None:
            said[_KEY] = fields.get("chain")
        if said == list(columns):
            return
        for name, one, other in zip(COLUMNS, said, columns, strict=True):
            if one != other:
                self.note(n, "column", column=name)

    def compare_people(self, rows: Iterable[Sequence[Any]]) -> None:
        """Whether the table of people (rows of `PERSON_COLUMNS`) says what the entries say."""
        table = {record["code"]: record for record in map(_record, rows)}
        for code in sorted(self.people.keys() | table.keys()):
            told, stored = self.people.get(code, {}), table.get(code, {})
            differ = [name for name in PERSON_COLUMNS if told.get(name) != stored.get(name)]
            if differ:
                self.note(0, "people", code=code, fields=", ".join(differ))

    def report(self) -> Report:
        """Everything that was found, the seals beyond the end included."""
        if not self.entries:
            self.note(0, "nothing")
        for seal in self._unlike:  # one that came late, under the identifier of after a restore
            if seal.chain == self.chain and seal.chain not in self._former:
                self._differs(seal)
        for n in sorted(self.seals):
            for seal in self.seals[n]:
                if seal.chain in self._former:
                    self._former_seal(seal, *self._former[seal.chain])
                elif self.chain and seal.chain != self.chain:
                    self.note(0, "seal_chain", at=seal.at, chain=seal.chain)
                elif n > self.n:
                    self.note(0, "seal_cut", n=n, at=seal.at)
                elif n < self.first - 1:
                    self.remark(n, "seal_before", first=self.first, at=seal.at)
        return Report(
            ok=not self.problems,
            entries=self.entries,
            first=self.first,
            n=self.n,
            head=self.head if self.entries else "",
            chain=self.chain,
            problems=tuple(self.problems),
            more=self.more,
            seals=sum(map(len, self.seals.values())),
            sealed_n=self.sealed_n,
            remarks=tuple(self.remarks),
            sealed_at=self.sealed_at,
            differs_n=self.differs_n,
        )

    def _former_seal(self, seal: Seal, at_n: int, restored: Restored) -> None:
        """A seal from before a restore: of an entry that was kept, of one known to be lost, or of one nobody named."""
        if seal.n <= restored.kept_n and seal.chain == restored.was:
            return  # compared when the entry passed
        known = restored.known
        if known is None or seal.n > known.n or (seal.n == known.n and seal.hash != known.hash):
            self.note(at_n, "seal_not_named", n=seal.n, at=seal.at)
        else:
            self.remark(at_n, "seal_lost", n=seal.n, at=seal.at)


def _record(row: Sequence[Any]) -> Mapping[str, Any]:
    record = {name: value for name, value in zip(PERSON_COLUMNS, row, strict=True) if value is not None}
    return record | {
        "code": str(record.get("code")),
        "duties": str(record.get("duties", "")).splitlines(),
        "active": record.get("active") == 1,
    }
