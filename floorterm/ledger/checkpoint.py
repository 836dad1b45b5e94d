"""Checkpoints (C2SP tlog-checkpoint): how many entries a ledger had and the Merkle root over their hashes, signed.

The data of a leaf are the 32 bytes of an entry's hash, in order of the entries. The root is not the hash of the last
entry: from a root it can be shown, without the entries, that one checkpoint extends another.
"""

import base64
import re
from collections.abc import Callable, Sequence

from msgspec import Struct

from floorterm.entries import BodyError, digest, read_body
from floorterm.ledger.export_lines import entry_line
from floorterm.ledger.merkle import (
    Growing,
    consistency_proof,
    inclusion_proof,
    is_extension,
    is_included,
    leaf_hash,
)
from floorterm.ledger.proof_faults import CheckpointFaultError, PartOnlyError
from floorterm.ledger.values import Place
from floorterm.ledger.verify import verify_place
from floorterm.ledger.walk import Report

_HASH = r"[A-Za-z0-9+/]{43}="
_TEXT = re.compile(rf"(?P<origin>[^\n]+)\n(?P<size>0|[1-9]\d*)\n(?P<root>{_HASH})\n(?:[^\n]+\n)*")
_EXCERPT = re.compile(rf"floorterm entry of (?P<size>[1-9]\d*)\n(?P<line>\{{.*\}})\n(?P<path>(?:{_HASH}\n)*)")
_PROOF = re.compile(rf"floorterm consistency (?P<old>[1-9]\d*) (?P<size>[1-9]\d*)\n(?P<path>(?:{_HASH}\n)*)")


class Checkpoint(Struct, frozen=True):
    """`origin` is the name of the key that signs a ledger's checkpoints, `size` how many entries, `root` 32 bytes."""

    origin: str
    size: int
    root: bytes

    @property
    def text(self) -> str:
        """The lines that are signed."""
        return f"{self.origin}\n{self.size}\n{_b64(self.root)}\n"

    @classmethod
    def parse(cls, text: str) -> "Checkpoint":
        """The checkpoint of a note's text; lines after the third are passed over. Raises CheckpointFaultError."""
        found = _TEXT.fullmatch(text)
        if found is None:
            raise CheckpointFaultError(reason="it is not origin, number of entries and root, a line each")
        return cls(found["origin"], int(found["size"]), base64.b64decode(found["root"]))


class Extension(Struct, frozen=True):
    """A proof that the first `old_size` of `size` entries are those of an earlier checkpoint."""

    old_size: int
    size: int
    path: tuple[bytes, ...]

    def __str__(self) -> str:
        """The file of a proof: a line that says of what, then a hash a line in base64."""
        lines = [f"floorterm consistency {self.old_size} {self.size}", *map(_b64, self.path)]
        return "".join(f"{line}\n" for line in lines)

    @classmethod
    def parse(cls, text: str) -> "Extension":
        """The proof of a file. Raises CheckpointFaultError."""
        found = _PROOF.fullmatch(text)
        if found is None:
            raise CheckpointFaultError(reason="it is no proof that one checkpoint extends another")
        path = tuple(base64.b64decode(line) for line in found["path"].splitlines())
        return cls(int(found["old"]), int(found["size"]), path)

    def shows(self, old: Checkpoint, new: Checkpoint) -> bool:
        """Whether it shows that `new` extends `old`."""
        if (self.old_size, self.size, old.origin) != (old.size, new.size, new.origin):
            return False
        return is_extension(old.size, new.size, old.root, new.root, self.path)


class Excerpt(Struct, frozen=True):
    """One entry, and what shows that it stands in a checkpoint: the rest of the record is not needed, or told."""

    size: int
    body: str
    path: tuple[bytes, ...]

    @property
    def n(self) -> int:
        """The number that its text carries. Raises BodyError."""
        n = read_body(self.body).get("n")
        if not isinstance(n, int) or isinstance(n, bool):
            raise BodyError("it carries no number")
        return n

    def __str__(self) -> str:
        """The file: of how many entries, the entry as an export has it, then a hash a line in base64."""
        lines = [
            f"floorterm entry of {self.size}",
            entry_line(self.body, digest(self.body)),
            *map(_b64, self.path),
        ]
        return "".join(f"{line}\n" for line in lines)

    @classmethod
    def parse(cls, text: str) -> "Excerpt":
        """The excerpt of a file. Raises CheckpointFaultError."""
        found = _EXCERPT.fullmatch(text)
        try:
            body = read_body(found["line"])["body"] if found else None
        except (BodyError, KeyError):
            body = None
        if found is None or not isinstance(body, str):
            raise CheckpointFaultError(reason="it is no entry with its proof")
        path = tuple(base64.b64decode(line) for line in found["path"].splitlines())
        return cls(int(found["size"]), body, path)

    def shows(self, checkpoint: Checkpoint) -> bool:
        """Whether it shows that this text is the entry of its number in the checkpoint."""
        try:
            index, leaf = self.n - 1, _leaf(digest(self.body))
        except (BodyError, UnicodeEncodeError):
            return False
        if self.size != checkpoint.size:
            return False
        return is_included(leaf, index, self.size, self.path, checkpoint.root)


def _b64(raw: bytes) -> str:
    return base64.b64encode(raw).decode("ascii")


def roots_at(place: Place, sizes: Sequence[int] = ()) -> tuple[Report, dict[int, bytes]]:
    """Verify a record and give its root at some numbers of entries and at its end, in constant memory.

    Raises PartOnlyError for an export that does not begin with entry 1, or another LedgerError.
    """
    tree, wanted = Growing(), frozenset(sizes)
    found = {0: tree.root()}  # a checkpoint of no entry says nothing of any, and is no fault

    def passing(_: bytes, hash_: str) -> None:
        tree.add(_leaf(hash_))
        if tree.size in wanted:
            found[tree.size] = tree.root()

    report = _whole(place, passing)
    return report, found | {tree.size: tree.root()}


def extension_of(place: Place, old_size: int, size: int) -> tuple[Report, Extension]:
    """The proof from a record that holds both. Raises CheckpointFaultError if it has fewer entries, or as above."""
    leaves: list[bytes] = []
    report = _whole(place, lambda _, hash_: leaves.append(_leaf(hash_)))
    if not 0 < old_size <= size <= len(leaves):
        raise CheckpointFaultError(
            reason=f"{old_size} and {size} are not both numbers of entries up to {len(leaves)}"
        )
    return report, Extension(old_size, size, consistency_proof(leaves[:size], old_size))


def excerpt_of(place: Place, n: int, size: int) -> tuple[Report, Excerpt]:
    """One entry with the proof that it stands among the first `size`. Raises as `extension_of` does."""
    leaves: list[bytes] = []
    bodies: list[bytes] = []

    def passing(body: bytes, hash_: str) -> None:
        leaves.append(_leaf(hash_))
        if len(leaves) == n:
            bodies.append(body)

    report = _whole(place, passing)
    if not 0 < n <= size <= len(leaves):
        raise CheckpointFaultError(
            reason=f"{n} and {size} are not both numbers of entries up to {len(leaves)}"
        )
    text = bodies[0].decode("utf-8", errors="replace")  # damaged: then the report says so
    return report, Excerpt(size, text, inclusion_proof(leaves[:size], n - 1))


def _leaf(hash_: str) -> bytes:
    try:
        return leaf_hash(bytes.fromhex(hash_))
    except ValueError:  # damaged: the walk says so; any other leaf gives another root
        return leaf_hash(hash_.encode("utf-8"))


def _whole(place: Place, passing: Callable[[bytes, str], None]) -> Report:
    report = verify_place(place, passing=passing)
    if report.first > 1:
        raise PartOnlyError(first=report.first)
    return report
