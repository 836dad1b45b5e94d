"""The entry by which a chain goes on after a restore: `ledger.restored`, signed by two people. Pure.

From this entry on the chain has a new identifier, so that a seal of the lost entries can never be taken for one of
the new entries that got the same numbers. Numbers and hashes simply carry on from the head of the copy.
"""

from collections.abc import Mapping
from typing import Any

from msgspec import Struct

RESTORED = "ledger.restored"


class RestoredFaultError(ValueError):
    """An entry of this kind does not say what it must say."""


class Known(Struct, frozen=True):
    """The newest entry of the lost record that is known of: from a seal, or from the file that was replaced."""

    n: int
    hash: str
    chain: str


class Restored(Struct, frozen=True, kw_only=True):
    """What the entry says. `kept_n` and `kept_hash` are the head of the copy; `known` is None if nobody knew more."""

    chain: str
    was: str
    kept_n: int
    kept_hash: str
    known: Known | None = None

    @property
    def missing(self) -> int:
        """Entries that were lost, as far as was known."""
        return max(0, self.known.n - self.kept_n) if self.known else 0

    def value(self) -> dict[str, Any]:
        """The `value` of the entry."""
        kept = {"n": self.kept_n, "hash": self.kept_hash}
        value: dict[str, Any] = {"chain": self.chain, "was": self.was, "kept": kept, "missing": self.missing}
        if self.known:
            value["known"] = {"n": self.known.n, "hash": self.known.hash, "chain": self.known.chain}
        return value


def read_restored(value: object) -> Restored:
    """What such an entry says. Raises RestoredFaultError."""
    match value:
        case {"chain": str(chain), "was": str(was), "kept": {"n": int(n), "hash": str(hash_)}, **rest}:
            if chain != was:
                return Restored(chain=chain, was=was, kept_n=n, kept_hash=hash_, known=_known(rest))
    raise RestoredFaultError("chain, was or kept is missing")


def _known(value: Mapping[Any, Any]) -> Known | None:
    match value.get("known"):
        case None:
            return None
        case {"n": int(n), "hash": str(hash_), "chain": str(chain)}:
            return Known(n, hash_, chain)
    raise RestoredFaultError("known is no head")
