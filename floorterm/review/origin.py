"""Where a document comes from, carried inside the document: what was asked, of which entry, and what it said.

With it anybody who has the record can make the document anew and compare. It proves nothing by itself: whoever
alters a document can alter this too; only the comparison with the record counts.
"""

import base64
import binascii
import hashlib
import json
import re
from collections.abc import Mapping

import msgspec
from msgspec import Struct, to_builtins
from msgspec.structs import replace

from floorterm import __version__
from floorterm.review.document import Document

_MARK = "floorterm-document-1:"
_TOKEN = re.compile(re.escape(_MARK).encode() + rb"([A-Za-z0-9_\-]+)\.")


class Origin(Struct, frozen=True, kw_only=True):
    """What a document was made from and with.

    `asked` are the words of the request by name, `seal` the line of the record's head, `at` the moment as UTC,
    `checklists` the digest of the checklists' files, `version` the program's, `digest` the SHA-256 of what it said.
    """

    asked: Mapping[str, str]
    seal: str
    at: str
    checklists: str
    version: str
    digest: str

    @property
    def token(self) -> str:
        """One word of plain letters, which stands in HTML, PDF and JSON alike."""
        data = json.dumps(to_builtins(self), ensure_ascii=False, sort_keys=True).encode("utf-8")
        return f"{_MARK}{base64.urlsafe_b64encode(data).decode('ascii').rstrip('=')}."


def with_origin(document: Document, asked: Mapping[str, str], checklists: str) -> Document:
    """The document with its origin. One without a seal has none: nothing of it can be asked of a record."""
    if document.sealed is None:
        return document
    origin = Origin(
        asked=asked,
        seal=document.sealed.line,
        at=document.at,
        checklists=checklists,
        version=__version__,
        digest=digest_of(document),
    )
    return replace(document, origin=origin.token)


def digest_of(document: Document) -> str:
    """SHA-256 over all that a document says, without its origin; the same value gives the same digits."""
    said = json.dumps(to_builtins(replace(document, origin="")), ensure_ascii=False, sort_keys=True)
    return hashlib.sha256(said.encode("utf-8")).hexdigest()


def origin_in(data: bytes) -> Origin | None:
    """The origin that a file's bytes name; None where they name none, or two different ones."""
    tokens = set(_TOKEN.findall(data))
    if len(tokens) != 1:
        return None
    (token,) = tokens
    try:
        text = base64.b64decode(token + b"=" * (-len(token) % 4), altchars=b"-_", validate=True)
        return msgspec.json.decode(text, type=Origin)
    except (binascii.Error, msgspec.MsgspecError, UnicodeDecodeError):
        return None
