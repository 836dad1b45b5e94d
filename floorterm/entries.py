"""Drafts and entries: what somebody wants to record, and what was recorded. Plain frozen values.

An entry's body is canonical JSON (RFC 8785, narrowed: keys `[a-z0-9_]+`, no floating-point numbers,
integers within +-(2^53 - 1), absent rather than null) and is kept as text exactly as it was hashed.
"""

import re
import unicodedata
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, tzinfo
from decimal import Decimal
from functools import cache
from typing import Any

from msgspec import Struct, field

FORMAT_VERSION = 1
GENESIS = "0" * 64  # `prev` of entry 1
_KEY = re.compile(r"[a-z0-9_]+")
_MAX_INTEGER = 2**53 - 1
_OFFSET = re.compile(r"[-+][0-9]{2}:[0-9]{2}")  # as it is written
_AT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z")
# Cc control, Cf format (bidirectional overrides among them; a soft hyphen or joiner is not worth the risk),
# Cs half a character, Zl and Zp line ends that only some programs see
_NEVER_KEPT = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


class BodyError(ValueError):
    """A value cannot stand in an entry: a float, a null, an odd key, a number too large, half a character."""


class UnknownVersionError(BodyError):
    """The body has a format version that this program does not know: show it raw, never interpret it."""


class TextError(ValueError):
    """A typed text holds something that no record may keep (control or direction-changing characters)."""


class Draft(Struct, frozen=True, kw_only=True):
    """What somebody wants recorded. The ledger adds number, previous hash, time, printed names and roles.

    `key` is the idempotency key: made when the dialogue opens, the same for every retry of one act.
    `identity` says how the person was recognised: "pin", "session", "unconfirmed", or "" for entries that
    the program makes by itself. `value` belongs to the kind and is validated by whoever folds it.
    """

    kind: str
    key: str
    person: str = ""
    identity: str = ""
    meaning: str = ""
    witness: str = ""
    terminal: str = ""
    line: str = ""
    changeover: str = ""
    step: str = ""
    corrects: int | None = None
    reason: str = ""
    value: Mapping[str, Any] = field(default_factory=dict)


class Entry(Struct, frozen=True, kw_only=True):
    """One recorded line of the ledger: the body as hashed, its hash, and the fields read out of it."""

    n: int
    hash: str
    prev: str
    at: datetime
    offset: str
    kind: str
    key: str = ""
    person: str = ""
    name: str = ""
    role: str = ""
    identity: str = ""
    meaning: str = ""
    witness: str = ""
    witness_name: str = ""
    witness_role: str = ""
    terminal: str = ""
    line: str = ""
    changeover: str = ""
    pos: int = 0
    step: str = ""
    corrects: int | None = None
    reason: str = ""
    value: Mapping[str, Any] = field(default_factory=dict)
    body: str = ""

    @property
    def local(self) -> datetime:
        """The plant's wall clock at the entry, from the offset that was recorded with it."""
        return self.at.astimezone(_zone(self.offset))


@cache
def _zone(offset: str) -> tzinfo | None:
    """A plant has two offsets in a year; reading one takes longer than all else of a clock time."""
    if _OFFSET.fullmatch(offset):  # the general reader is an import that first lines would wait for
        return datetime.fromisoformat(f"1970-01-01T00:00{offset}").tzinfo
    return datetime.strptime(offset, "%z").tzinfo


class Quantity(Struct, frozen=True):
    """A number as somebody typed it, with its unit: `Quantity("412.50", "kg")`."""

    number: str
    unit: str

    @property
    def decimal(self) -> Decimal:
        """The number for arithmetic; the text stays what was typed."""
        return Decimal(self.number)


def _check(value: Any, path: str) -> None:
    if isinstance(value, bool):
        return
    match value:
        case str():
            try:
                value.encode("utf-8")
            except UnicodeEncodeError as fault:
                raise BodyError(f"{path}: text with half a character (a lone surrogate)") from fault
        case int():
            if abs(value) > _MAX_INTEGER:
                raise BodyError(f"{path}: integer beyond 2^53 - 1; write it as text")
        case Mapping():
            for key, inner in value.items():
                if not isinstance(key, str) or not _KEY.fullmatch(key):
                    raise BodyError(f"{path}: key {key!r} is not lower-case letters, digits and underscores")
                _check(inner, f"{path}.{key}")
        case list() | tuple():
            for index, inner in enumerate(value):
                _check(inner, f"{path}[{index}]")
        case _:
            raise BodyError(f"{path}: {type(value).__name__} cannot stand in an entry")


def canonical(value: Mapping[str, Any]) -> str:
    """Canonical JSON text of a body (RFC 8785, narrowed as the module says). Raises BodyError."""
    import rfc8785  # noqa: PLC0415  only writers need it

    _check(value, "body")
    return rfc8785.dumps(value).decode("utf-8")


def digest(text: str) -> str:
    """SHA-256 (FIPS 180-4) of the UTF-8 bytes of a text, as 64 lower-case hexadecimal digits."""
    from hashlib import sha256  # noqa: PLC0415  loads OpenSSL: not before the first frame

    return sha256(text.encode("utf-8")).hexdigest()


def clean_text(text: str, *, limit: int = 2000, newlines: bool = False) -> str:
    """A typed text made fit for the record: NFC, trimmed. Raises TextError naming what was wrong.

    With `newlines`, line ends of every system become line feeds; without, none may stand inside.
    """
    tidy = unicodedata.normalize("NFC", text).strip()
    if newlines:
        tidy = tidy.replace("\r\n", "\n").replace("\r", "\n")
    if len(tidy) > limit:
        raise TextError(f"The text has {len(tidy)} characters; {limit} are allowed.")
    for character in tidy:
        if character == "\n" and newlines:
            continue
        if unicodedata.category(character) in _NEVER_KEPT:
            raise TextError(f"The text holds a character that cannot be kept (U+{ord(character):04X}).")
    return tidy


def visible(text: str) -> str:
    """A text of any source made fit for a terminal: what cannot be kept becomes U+FFFD, but line feeds stay.

    Character for character, so that widths and places stay. Escape sequences need ESC or a C1 control (ECMA-48), so
    none is left.
    """
    if text.isprintable():
        return text
    return "".join(
        "\ufffd" if one != "\n" and unicodedata.category(one) in _NEVER_KEPT else one for one in text
    )


def file_name(text: str) -> str:
    """A part of a file's name made of a text of any source: letters, digits, hyphens and underscores, no way out."""
    return "".join(letter if letter.isalnum() or letter in "-_" else "_" for letter in text[:100])


def _no_float(text: str) -> float:
    raise BodyError(f"a floating-point number ({text}) cannot stand in an entry")


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise BodyError("a key stands twice in one object")
    return found


@cache
def _quick() -> Callable[[str], Any]:
    """A reader that takes only what it would write the same again: no repeats, no floats, or it raises."""
    import msgspec  # noqa: PLC0415  whoever reads no entry does not need it

    decoder = msgspec.json.Decoder(float_hook=_no_float)
    encoder = msgspec.json.Encoder(order="sorted")

    def read(body: str) -> Any:
        raw = body.encode("utf-8")
        value = decoder.decode(raw)
        return value if encoder.encode(value) == raw else None

    return read


@cache
def _strict() -> Callable[[str], Any]:
    """A reader that says what is wrong with a body."""
    import json  # noqa: PLC0415  hardly any body needs it

    return json.JSONDecoder(
        parse_float=_no_float, parse_constant=_no_float, object_pairs_hook=_no_repeats
    ).decode


def read_body(body: str) -> dict[str, Any]:
    """Parse a stored body strictly: no floats, no repeated keys, an object at the top. Raises BodyError."""
    if not isinstance(body, str):  # a damaged file may hold anything there
        raise BodyError("the body is not text")
    try:
        quick = _quick()(body)
    except (ValueError, RecursionError, OverflowError):
        quick = None  # the strict reader says what is wrong
    if isinstance(quick, dict):
        return quick
    try:
        value = _strict()(body)
    except BodyError:
        raise
    except (ValueError, RecursionError) as fault:  # not JSON, or a number with thousands of digits
        raise BodyError(f"the body is not JSON: {fault}") from fault
    if not isinstance(value, dict):
        raise BodyError("the body is not an object")
    return value


_INTEGERS = frozenset({"n", "pos", "corrects"})
_TEXTS = frozenset(Entry.__struct_fields__) - _INTEGERS - {"hash", "body", "at", "value"}
_NEEDED = frozenset({"n", "prev", "at", "offset", "kind"})


def instant(text: str) -> datetime:
    """The instant that a body's `at` names. Raises BodyError unless it is written as `stamp` writes it."""
    if not isinstance(text, str) or not _AT.fullmatch(text):
        raise BodyError(f"{text!r} is not a time in UTC with six decimals and Z")
    try:
        return datetime.fromisoformat(text)
    except ValueError as fault:
        raise BodyError(f"{text!r} is no time of any day") from fault


def entry_from_body(body: str, hash_: str) -> Entry:
    """The entry that a stored body and its hash stand for; the hash is taken as given, not checked.

    Raises UnknownVersionError, or BodyError for a body that is none of ours.
    """
    fields = read_body(body)
    version = fields.get("v")
    if version != FORMAT_VERSION or isinstance(version, bool):
        raise UnknownVersionError(f"format version {version!r}")
    if lacking := _NEEDED - fields.keys():
        raise BodyError(f"the body lacks {', '.join(sorted(lacking))}")
    known: dict[str, Any] = {"value": fields.get("value", {})}
    if not isinstance(known["value"], dict):
        raise BodyError("value is not an object")
    for names, wanted in ((_INTEGERS, int), (_TEXTS, str)):
        for name in names & fields.keys():
            if type(fields[name]) is not wanted:
                raise BodyError(f"{name} is not {'a whole number' if wanted is int else 'text'}")
            known[name] = fields[name]
    return Entry(**known, at=instant(fields["at"]), hash=hash_, body=body)


def stamp(at: datetime) -> str:
    """An instant as bodies carry it: UTC, exactly six decimals, `Z`; text order is time order.

    Raises ValueError for a time without its zone.
    """
    if at.tzinfo is None:
        raise ValueError("a time without its zone names no instant")
    return at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
