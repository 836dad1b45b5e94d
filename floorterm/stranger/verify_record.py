"""Verify a record without the program that wrote it. Needs Python 3.8 or newer and nothing else.

    python verify_record.py RECORD... [--seals FILE]... [--seal LINE]...

RECORD is an export (JSON Lines) or the database file (SQLite); several are exports of parts in their order, like the
archives of years. FILE holds seals that were kept elsewhere, one a line.
Ends with 0 if all holds, 1 if something does not (the first numbers are named), 2 if something cannot be read.
The format is described in FORMAT.md: write your own verifier if you do not trust this one.
"""

import hashlib
import json
import re
import sqlite3
import sys
from pathlib import Path
from typing import Any, Dict, Iterator, List, NamedTuple, Optional, Tuple

MOST_TOLD = 20
GENESIS = "0" * 64
SEAL = re.compile(
    r"floorterm seal: entry ([1-9]\d*) at \S+ chain (\S+) hash ([0-9a-f]{8}(?: [0-9a-f]{8}){7}) plant .+"
)
CODE = re.compile(r"FLOORTERM SEAL ([1-9]\d*) \S+ (\S+) ([0-9A-F]{64})")


class Seal(NamedTuple):
    """A number, its hash, and the identifier that the chain had there."""

    n: int
    chain: str
    hash: str


class Unreadable(Exception):
    """What was given is neither a record nor a seal."""


def read_seal(text: str) -> Seal:
    """A seal from its printed line, or from what its square code says."""
    tidy = " ".join(text.split())
    found = SEAL.fullmatch(tidy) or CODE.fullmatch(tidy.upper())
    if not found:
        raise Unreadable(f"this is not a seal: {text[:80]!r}")
    return Seal(int(found[1]), found[2].lower(), found[3].replace(" ", "").lower())


def read_seals(path: str) -> List[Seal]:
    """Every seal of a file; empty lines and remarks behind # are passed over."""
    lines = Path(path).read_text(encoding="utf-8").splitlines()
    return [read_seal(line) for line in lines if line.strip() and not line.startswith("#")]


def _once(pairs: List[Tuple[str, Any]]) -> Dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice")
    return found


def _no_float(text: str) -> Any:
    raise ValueError(f"{text} is no whole number")


def read_object(raw: bytes) -> Dict[str, Any]:
    """One JSON object, read strictly."""
    text = raw.decode("utf-8")
    found = json.loads(text, object_pairs_hook=_once, parse_float=_no_float, parse_constant=_no_float)
    if not isinstance(found, dict):
        raise ValueError("not an object")
    return found


class Verifier:
    """Takes entries in order, then the seals; what does not hold is collected in `faults`."""

    def __init__(self, seals: List[Seal]) -> None:
        self.seals = sorted(seals)
        self.faults: List[str] = []
        self.remarks: List[str] = []
        self.first = self.n = 0
        self.head, self.chain = GENESIS, ""
        self.sealed = {seal.n: "" for seal in seals}  # the hashes of those numbers, once they have passed
        self.lost: Dict[
            str, int
        ] = {}  # identifiers from before a restore: up to which number it admits a loss
        self.kept: Dict[str, int] = {}  # and up to which number their entries are still here

    def fault(self, n: int, what: str) -> None:
        """Something that does not hold."""
        self.faults.append(f"entry {n}: {what}" if n else what)

    def take(self, body: bytes, hash_: str, number: Optional[int] = None) -> None:
        """One entry: its text as stored, its hash as stored, its number where one is stored beside them."""
        try:
            fields = read_object(body)
        except (ValueError, RecursionError) as fault:
            self.fault(self.n + 1, f"the text cannot be read: {fault}")
            fields = {}
        n = fields.get("n") if number is None else number
        if not isinstance(n, int) or isinstance(n, bool):
            n = self.n + 1
        if hashlib.sha256(body).hexdigest() != hash_:
            self.fault(n, "the hash is not that of the text")
        if not self.first:
            self.first = n
            if (
                n > 1 and number is None
            ):  # an export of a part: what its first entry follows is taken on trust
                self.n, self.head = n - 1, str(fields.get("prev"))
                self._keep()
        if n != self.n + 1:
            self.fault(n, f"follows entry {self.n}")
        if fields.get("n") != n or isinstance(fields.get("n"), bool):
            self.fault(n, f"its text says number {fields.get('n')}")
        if fields.get("prev") != self.head:
            self.fault(n, "it names another hash as that of the entry before")
        if fields.get("v") != 1:
            self.fault(n, f"format {fields.get('v')} is not known here; its hash was checked")
        if (fields.get("kind") == "ledger.start") != (n == 1):
            self.fault(n, "a record begins with ledger.start, and only there")
        if n == 1:
            self.chain = str(fields.get("chain"))
        if fields.get("kind") == "ledger.restored":
            self._restored(n, fields)
        self.n, self.head = n, hash_
        self._keep()

    def _keep(self) -> None:
        if self.n in self.sealed:
            self.sealed[self.n] = self.head

    def _restored(self, n: int, fields: Dict[str, Any]) -> None:
        value = fields.get("value")
        try:
            chain, was, kept = value["chain"], value["was"], value["kept"]  # type: ignore[index]
            known = value.get("known", {"n": 0, "chain": was})  # type: ignore[union-attr]
            if (kept["n"], kept["hash"]) != (n - 1, self.head) or was != (self.chain or was) or chain == was:
                raise ValueError
            for name in (was, known["chain"]):
                self.lost.setdefault(name, known["n"])
            self.kept[was] = n - 1
        except (KeyError, TypeError, ValueError, AttributeError):
            self.fault(n, "it does not say what a restore must say")
            return
        self.chain = chain
        who = " and ".join(str(fields.get(name)) for name in ("person", "witness"))
        self.remarks.append(f"entry {n}: a copy that ended at {n - 1} was put in place; {who} answer for it")

    def hold_against_seals(self) -> int:
        """Compare the seals; gives the last number that one confirms below the first that differs."""
        confirmed, differs = [0], []
        for seal in self.seals:
            here = self.sealed[seal.n]
            old = seal.chain in self.lost
            if old and not (seal.n <= self.kept.get(seal.chain, 0)):
                if seal.n <= self.lost[seal.chain]:
                    self.remarks.append(f"entry {seal.n} was sealed and is lost: a restore says so")
                else:
                    self.fault(seal.n, "was sealed and is lost, and no restore says so")
            elif not old and self.chain and seal.chain != self.chain:
                self.fault(0, f"the seal of entry {seal.n} belongs to another chain ({seal.chain})")
            elif here == seal.hash:
                confirmed.append(seal.n)
            elif here:
                self.fault(seal.n, "is not the one that was sealed")
                differs.append(seal.n)
            elif seal.n > self.n:
                self.fault(0, f"the record ends before sealed entry {seal.n}")
            else:
                self.remarks.append(f"the seal of entry {seal.n} cannot be held against this part")
        return max(n for n in confirmed if not differs or n < min(differs))


def walk_export(path: str, verifier: Verifier) -> None:
    """Every line of an export; its last line is a seal of its last entry."""
    own = None
    with Path(path).open("rb") as file:
        for number, line in enumerate(file, 1):
            try:
                found = read_object(line)
                if own is not None:
                    raise ValueError("it stands after the seal")
                if set(found) == {"seal"}:
                    own = Seal(found["seal"]["n"], found["seal"]["chain"], found["seal"]["hash"])
                elif set(found) == {"body", "hash"}:
                    verifier.take(found["body"].encode("utf-8"), found["hash"])
                else:
                    raise ValueError("neither an entry nor a seal")
            except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as fault:
                verifier.fault(0, f"line {number} cannot be read: {fault}")
    if own is None:
        verifier.fault(0, "the last line is not a seal: the export may have been cut")
    elif (own.n, own.hash) != (verifier.n, verifier.head) or own.chain != (verifier.chain or own.chain):
        verifier.fault(0, "the seal at the end is not that of the last entry")
    verifier.chain = verifier.chain or (own.chain if own else "")


def walk_database(path: str, verifier: Verifier) -> None:
    """Every row of the table `entries`, as bytes; the file is opened for reading only."""
    connection = sqlite3.connect(f"{Path(path).resolve().as_uri()}?mode=ro", uri=True)
    connection.text_factory = bytes
    try:
        for n, body, hash_ in _rows(connection):
            if isinstance(n, int) and isinstance(body, bytes) and isinstance(hash_, bytes):
                verifier.take(body, hash_.decode("ascii", "replace"), n)
            else:
                verifier.fault(verifier.n + 1, "the row is not a number and two texts")
    except (sqlite3.Error, UnicodeDecodeError) as fault:  # the second: its own message about a damaged schema
        verifier.fault(0, f"the database is damaged: {fault}")
    finally:
        connection.close()


def _rows(connection: sqlite3.Connection) -> Iterator[Tuple[Any, Any, Any]]:
    last = 0
    for row in connection.execute("SELECT n, body, hash FROM entries NOT INDEXED ORDER BY n"):
        yield row
        if not isinstance(row[0], int) or row[0] <= last:  # a damaged tree can lead in circles
            raise sqlite3.DatabaseError("the numbers do not go up")
        last = row[0]


def _start_of(path: str) -> bytes:
    with Path(path).open("rb") as file:
        return file.read(16)


def main(arguments: List[str]) -> int:
    """Verify, say what was found, and give the exit status."""
    seals: List[Seal] = []
    places: List[str] = []
    left = list(arguments)
    try:
        while left:
            one = left.pop(0)
            if one in ("--seals", "--seal") and left:
                seals += read_seals(left.pop(0)) if one == "--seals" else [read_seal(left.pop(0))]
            elif one.startswith("--"):
                raise Unreadable(f"{one} is not an option of this program, or lacks its value")
            else:
                places.append(one)
        if not places:
            raise Unreadable((__doc__ or "").strip())
        opened = [(place, _start_of(place)) for place in places]
    except (Unreadable, OSError, UnicodeDecodeError) as fault:
        sys.stderr.write(f"{fault}\n")
        return 2
    verifier = Verifier(seals)
    for place, start in opened:
        if start.startswith(b"SQLite format 3") and len(places) == 1:
            walk_database(place, verifier)
        elif start.startswith(b"{"):
            walk_export(place, verifier)
        else:
            sys.stderr.write(f"{place} is neither an export nor a database file by itself\n")
            return 2
    if not verifier.n:
        verifier.fault(0, "there is no entry")
    sealed = verifier.hold_against_seals()
    told = [*verifier.faults[:MOST_TOLD], *(["and more"] if len(verifier.faults) > MOST_TOLD else [])]
    held = "DOES NOT HOLD" if verifier.faults else "holds"
    told += [
        *verifier.remarks,
        f"entries {verifier.first} to {verifier.n}: the chain {held}, head {verifier.head}",
    ]
    told.append(
        f"sealed up to entry {sealed}, {verifier.n - sealed} newer only chained" if seals else "no seal given"
    )
    for line in told:  # what a record says must not reach the screen as commands to it
        sys.stdout.write("".join(one if one.isprintable() else "?" for one in line) + "\n")
    return 1 if verifier.faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
