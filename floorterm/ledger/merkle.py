"""Merkle trees over a list that only grows: RFC 6962 section 2.1, the same in RFC 9162 section 2.1. Pure.

A tree shows in a few hashes that an entry stands in it, or that one tree is the beginning of another, to somebody who
does not hold the list. What is called `leaves` here are leaf hashes (`leaf_hash`), 32 bytes each.
"""

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

EMPTY = hashlib.sha256(b"").digest()  # the root of no leaves


def leaf_hash(data: bytes) -> bytes:
    """The hash of a leaf: SHA-256(00 || data)."""
    return hashlib.sha256(b"\x00" + data).digest()


def _node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\x01" + left + right).digest()


@dataclass(slots=True)
class Growing:
    """A tree that is only added to and keeps no more than one hash a level: the root in constant memory."""

    size: int = 0
    _whole: list[tuple[int, bytes]] = field(
        default_factory=list
    )  # (leaves, hash) of the full trees, largest first

    def add(self, leaf: bytes) -> None:
        """One more leaf."""
        weight, found = 1, leaf
        while self._whole and self._whole[-1][0] == weight:
            found = _node(self._whole.pop()[1], found)
            weight *= 2
        self._whole.append((weight, found))
        self.size += 1

    def root(self) -> bytes:
        """The root of the leaves so far."""
        if not self._whole:
            return EMPTY
        *rest, (_, found) = self._whole
        for _, left in reversed(rest):
            found = _node(left, found)
        return found


def root_of(leaves: Iterable[bytes]) -> bytes:
    """The root over leaf hashes."""
    tree = Growing()
    for leaf in leaves:
        tree.add(leaf)
    return tree.root()


def _split(size: int) -> int:
    """The largest power of two below a size of at least 2."""
    return 1 << (size - 1).bit_length() - 1


def inclusion_proof(leaves: Sequence[bytes], index: int) -> tuple[bytes, ...]:
    """What leads from the leaf at an index (from 0) to the root: RFC 9162 2.1.3.1. Raises IndexError."""
    if not 0 <= index < len(leaves):
        raise IndexError(index)
    if len(leaves) == 1:
        return ()
    k = _split(len(leaves))
    if index < k:
        return (*inclusion_proof(leaves[:k], index), root_of(leaves[k:]))
    return (*inclusion_proof(leaves[k:], index - k), root_of(leaves[:k]))


def consistency_proof(leaves: Sequence[bytes], old_size: int) -> tuple[bytes, ...]:
    """What shows that the first `old_size` leaves are the beginning of all of them: RFC 9162 2.1.4.1.

    Empty for the whole tree itself. Raises IndexError for a size of 0 or beyond the end.
    """
    if not 0 < old_size <= len(leaves):
        raise IndexError(old_size)
    return _sub_proof(leaves, old_size, known=True)


def _sub_proof(leaves: Sequence[bytes], old_size: int, *, known: bool) -> tuple[bytes, ...]:
    if old_size == len(leaves):
        return () if known else (root_of(leaves),)
    k = _split(len(leaves))
    if old_size <= k:
        return (*_sub_proof(leaves[:k], old_size, known=known), root_of(leaves[k:]))
    return (*_sub_proof(leaves[k:], old_size - k, known=False), root_of(leaves[:k]))


def is_included(leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> bool:
    """Whether a proof leads from a leaf to a root: RFC 9162 2.1.3.2."""
    if not 0 <= index < size:
        return False
    fn, sn, found = index, size - 1, leaf
    for step in proof:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            found = _node(step, found)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            found = _node(found, step)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and found == root


def is_extension(old_size: int, size: int, old_root: bytes, root: bytes, proof: Sequence[bytes]) -> bool:
    """Whether a proof shows that the tree of one root is the beginning of the other's: RFC 9162 2.1.4.2."""
    if not 0 < old_size <= size:
        return False
    if old_size == size:
        return not proof and old_root == root
    path = [old_root, *proof] if old_size & (old_size - 1) == 0 else list(proof)
    if not path:
        return False
    fn, sn = old_size - 1, size - 1
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    old_found = found = path[0]
    for step in path[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            old_found, found = _node(step, old_found), _node(step, found)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            found = _node(found, step)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and old_found == old_root and found == root
