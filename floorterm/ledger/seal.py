"""Seals: the head of the chain in a form that leaves the machine, on paper or as a line of a file elsewhere.

The chain alone cannot see that its end was cut off, that an old copy was put back, or that everything was
computed anew. Somebody who kept a seal can.
"""

import re
from collections.abc import Mapping
from typing import Any, Self

from msgspec import Struct

from floorterm.entries import stamp
from floorterm.ledger.faults import SealFaultError
from floorterm.ledger.values import Head

SEAL_MADE = "seal.made"
_HEX = r"[0-9a-f]"
_AT, _CHAIN = r"[0-9TZ:.\-]+", r"[A-Za-z0-9._\-]+"  # nothing that a screen could take for a command
_LINE = re.compile(
    rf"floorterm seal: entry (?P<n>[1-9]\d*) at (?P<at>{_AT}) chain (?P<chain>{_CHAIN}) "
    rf"hash (?P<hash>{_HEX}{{8}}(?: {_HEX}{{8}}){{7}}) plant (?P<plant>.+)"
)
# what a square code says: only characters that it packs tightly (ISO/IEC 18004, alphanumeric mode)
_CODE = re.compile(
    rf"FLOORTERM SEAL (?P<n>[1-9]\d*) (?P<at>{_AT}) (?P<chain>{_CHAIN}) (?P<hash>[0-9A-F]{{64}})",
    re.IGNORECASE,
)


class Seal(Struct, frozen=True, kw_only=True):
    """An entry as a head that somebody keeps elsewhere: `at` is its time as the body writes it.

    `plant` is the plant's printed name, "" where the seal was read from a code (`code`), which leaves it out.
    """

    chain: str
    plant: str
    n: int
    hash: str
    at: str

    @classmethod
    def of(cls, head: Head, plant: str) -> Self:
        """The seal of a head."""
        return cls(chain=head.chain, plant=plant, n=head.n, hash=head.hash, at=stamp(head.at))

    @classmethod
    def parse(cls, text: str) -> Self:
        """The seal that a line or a scanned code says; the line may be broken. Raises SealFaultError."""
        tidy = " ".join(text.split())
        if found := _CODE.fullmatch(tidy):
            n, at, chain, digits = found.group("n", "at", "chain", "hash")
            return cls(chain=chain.lower(), plant="", n=int(n), hash=digits.lower(), at=at.upper())
        found = _LINE.fullmatch(text.strip()) or _LINE.fullmatch(tidy)
        if found is None:
            raise SealFaultError(text=repr(text[:200]))
        fields = found.groupdict()
        return cls(
            chain=fields["chain"],
            plant=fields["plant"],
            n=int(fields["n"]),
            hash=fields["hash"].replace(" ", ""),
            at=fields["at"],
        )

    @property
    def groups(self) -> str:
        """All 64 digits in groups of eight: what is compared."""
        return " ".join(self.hash[start : start + 8] for start in range(0, 64, 8))

    @property
    def short(self) -> str:
        """Twelve digits, for a screen; never compare these alone."""
        return self.hash[:12]

    @property
    def code(self) -> str:
        """What a code to photograph says: all that is compared, in capitals, without the plant's name.

        A chain's identifier is made in lower case; one that is not would be read back so.
        """
        return f"FLOORTERM SEAL {self.n} {self.at} {self.chain} {self.hash}".upper()

    def __str__(self) -> str:
        """One line, as it is printed and kept."""
        where = f"entry {self.n} at {self.at} chain {self.chain}"
        return f"floorterm seal: {where} hash {self.groups} plant {self.plant}"


def seal_value(seal: Seal, to: str, why: str = "") -> Mapping[str, Any]:
    """The value of `seal.made`: what was sealed, where the seal went, and why at this moment."""
    value = {"n": seal.n, "hash": seal.hash, "to": to}
    return value | {"why": why} if why else value
