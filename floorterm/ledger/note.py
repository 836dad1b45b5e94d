"""Signed notes (C2SP signed-note) with Ed25519 (RFC 8032): a text, a blank line, signatures by named keys.

Keys are lines as the note format's common tools write them (`name+id+base64`; the secret one's form is from memory).
"""

import base64
import binascii
import hashlib
import os
import re
import stat
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from floorterm.ledger.proof_faults import (
    KeyFaultError,
    NoteFaultError,
    SignatureFaultError,
    SigningExtraError,
)

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

_ED25519 = b"\x01"
_SIGNATURE = re.compile(r"— (?P<name>\S+) (?P<signed>\S+)")
_SECRET = "PRIVATE+KEY+"
_LONGEST_NOTE = 1_000_000
_OTHERS = stat.S_IRWXG | stat.S_IRWXO


@dataclass(frozen=True, slots=True)
class PublicKey:
    """Whose signatures count: a name without spaces or plus, and 32 bytes."""

    name: str
    key: bytes

    @property
    def id(self) -> bytes:
        """Four bytes that tell keys of one name apart; they prove nothing."""
        return hashlib.sha256(self.name.encode("utf-8") + b"\n" + _ED25519 + self.key).digest()[:4]

    def __str__(self) -> str:
        return f"{self.name}+{self.id.hex()}+{base64.b64encode(_ED25519 + self.key).decode('ascii')}"

    @classmethod
    def parse(cls, line: str) -> "PublicKey":
        """The key that a line says. Raises KeyFaultError."""
        name, digits, key = _parts(line.strip())
        found = cls(name, key)
        if found.id.hex() != digits:
            raise KeyFaultError(reason="its parts do not belong together")
        return found


@dataclass(frozen=True, slots=True)
class SecretKey:
    """A key that signs. It belongs off the terminal: whoever has it can sign another past."""

    name: str
    seed: bytes = field(repr=False)

    @classmethod
    def new(cls, name: str) -> "SecretKey":
        """A fresh key. Raises KeyFaultError for a name that none may have."""
        if not is_key_name(name):
            raise KeyFaultError(reason="a name has no spaces and no plus, like northmere.example/records")
        return cls(name, os.urandom(32))

    @property
    def public(self) -> PublicKey:
        """The key that others check with."""
        return PublicKey(self.name, self._ed25519().public_key().public_bytes_raw())

    def line(self) -> str:
        """The key as its file holds it."""
        secret = base64.b64encode(_ED25519 + self.seed).decode("ascii")
        return f"{_SECRET}{self.name}+{self.public.id.hex()}+{secret}"

    @classmethod
    def parse(cls, line: str) -> "SecretKey":
        """The key that a line says. Raises KeyFaultError."""
        if not line.startswith(_SECRET):
            raise KeyFaultError(reason="it is no secret key")
        name, digits, seed = _parts(line.strip().removeprefix(_SECRET))
        found = cls(name, seed)
        if found.public.id.hex() != digits:
            raise KeyFaultError(reason="its parts do not belong together")
        return found

    def write(self, path: Path) -> None:
        """Write the key into a new file that its owner alone may read. Raises OSError, also if a file is there."""
        file = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
        try:
            with os.fdopen(file, "w", encoding="utf-8") as out:
                out.write(f"{self.line()}\n")
        except OSError:
            path.unlink(missing_ok=True)  # half of it would stand in the way of the next try
            raise

    @classmethod
    def read(cls, path: Path) -> "SecretKey":
        """The key of a file. Raises KeyFaultError, also if others than its owner may read it."""
        try:
            open_to_others = os.name == "posix" and path.stat().st_mode & _OTHERS
            text = path.read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as fault:
            raise KeyFaultError(reason=f"{path} cannot be read") from fault
        if open_to_others:
            raise KeyFaultError(reason=f"others may read {path}; its rights must be 0600")
        return cls.parse(text)

    def sign(self, text: str) -> str:
        """The whole note over a text, which ends with its line. Raises NoteFaultError."""
        check_text(text)
        signed = base64.b64encode(self.public.id + self._ed25519().sign(text.encode("utf-8")))
        return f"{text}\n— {self.name} {signed.decode('ascii')}\n"

    def _ed25519(self) -> "Ed25519PrivateKey":
        _need_cryptography()
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey  # noqa: PLC0415

        return Ed25519PrivateKey.from_private_bytes(self.seed)


def is_key_name(name: str) -> bool:
    """Whether a key may have that name: not empty, no spaces, no plus, no control or half characters."""
    return bool(name) and "+" not in name and not any(map(_is_space_or_control, name))


def _is_space_or_control(character: str) -> bool:
    return character.isspace() or unicodedata.category(character) in ("Cc", "Cs")


def _parts(line: str) -> tuple[str, str, bytes]:
    name, _, rest = line.partition("+")
    digits, _, coded = rest.partition("+")
    raw = _decoded(coded)
    if (
        not is_key_name(name)
        or not re.fullmatch(r"[0-9a-f]{8}", digits)
        or len(raw) != 33
        or raw[:1] != _ED25519
    ):
        raise KeyFaultError(reason="it is not name+id+key, with an Ed25519 key")
    return name, digits, raw[1:]


def _decoded(text: str) -> bytes:
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        return b""


def check_text(text: str) -> None:
    """Raise NoteFaultError unless a text may be signed: whole lines, no control characters but line feeds."""
    if not text.endswith("\n") or any(character < " " and character != "\n" for character in text):
        raise NoteFaultError(reason="a signed text is whole lines without control characters")


def opened(note: str, key: PublicKey) -> str:
    """The text of a note that a key signed; what others signed besides is passed over.

    Raises NoteFaultError for what is no note, SignatureFaultError if the key did not sign this text.
    """
    if len(note) > _LONGEST_NOTE:
        raise NoteFaultError(reason="it is too long")
    head, gap, tail = note.rpartition("\n\n")
    text = f"{head}\n"
    if not gap or not tail.endswith("\n"):
        raise NoteFaultError(reason="there is no blank line before signatures")
    check_text(note)
    found = False
    for line in tail.splitlines():
        part = _SIGNATURE.fullmatch(line)
        raw = _decoded(part.group("signed")) if part else b""
        if part is None or len(raw) < 5:
            raise NoteFaultError(reason="a line after the blank one is no signature")
        if part.group("name") == key.name and raw[:4] == key.id:
            _check(key, raw[4:], text)
            found = True
    if not found:
        raise SignatureFaultError(name=key.name)
    return text


def _check(key: PublicKey, signature: bytes, text: str) -> None:
    _need_cryptography()
    from cryptography.exceptions import InvalidSignature  # noqa: PLC0415  extra `checkpoints`
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey  # noqa: PLC0415

    try:
        Ed25519PublicKey.from_public_bytes(key.key).verify(signature, text.encode("utf-8"))
    except (InvalidSignature, ValueError) as fault:
        raise SignatureFaultError(name=key.name) from fault


def _need_cryptography() -> None:
    try:
        import cryptography  # noqa: F401, PLC0415  extra `checkpoints`
    except ModuleNotFoundError:
        raise SigningExtraError from None
