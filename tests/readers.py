"""Every reader of what comes from outside, as a function of bytes: it returns, or raises one of its named errors.

The suite draws inputs for them (`test_outside.py`), and `tests.benchmarks.fuzz` steers them by coverage.
"""

import contextlib
import io
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

from floorterm.entries import BodyError, TextError, clean_text, read_body, visible
from floorterm.flush.samples import SampleError, read_samples
from floorterm.ledger import LedgerError, Seal, verify_export
from floorterm.ledger.checkpoint import Checkpoint, Excerpt, Extension
from floorterm.ledger.last_seen import LastSeen
from floorterm.ledger.note import PublicKey, SecretKey
from floorterm.ledger.witness import read_seals
from floorterm.library import LibraryError
from floorterm.library.line_state import read_line_state
from floorterm.library.reading import read
from floorterm.lockout.auditing.documents import load_record
from floorterm.lockout.auditing.fields import RecordError
from floorterm.lots import lot_of
from floorterm.review.document_table import told_by
from floorterm.review.origin import Origin, origin_in
from floorterm.stranger import verify_record
from floorterm.terminal.scan import Key, ScanCollector

Reader = Callable[[bytes], object]


def _text(content: bytes) -> str:
    """As a shell or a terminal hands bytes over: what is no UTF-8 becomes half a character."""
    return content.decode("utf-8", "surrogateescape")


def _as_file(take: Callable[[Path], object]) -> Reader:
    def reader(content: bytes) -> None:
        with tempfile.NamedTemporaryFile(suffix=".txt") as file:
            file.write(content)
            file.flush()
            take(Path(file.name))

    return reader


def _checklist(content: bytes) -> None:
    _, faults = read("a.yaml", content)
    for fault in faults:
        assert str(fault).isprintable()


def _strangers(path: Path) -> None:
    with contextlib.redirect_stdout(io.StringIO()) as told, contextlib.redirect_stderr(io.StringIO()):
        verify_record.main([str(path)])
    assert visible(told.getvalue()) == told.getvalue()


def _scanned(content: bytes) -> None:
    """A burst: each byte a key, now and then one that comes late."""
    collector, at = ScanCollector(), 0.0
    for byte in content:
        at += 0.05 if byte % 16 == 0 else 0.01
        sign = chr(byte)
        fed = collector.feed(Key("enter" if sign == "\r" else sign, sign, at))
        assert visible(fed.scanned.replace("\x1d", "")) == fed.scanned.replace("\x1d", "")
    collector.quiet(at + 1)


# name -> (reader, what it may raise)
READERS: Mapping[str, tuple[Reader, tuple[type[Exception], ...]]] = {
    "checklist": (_checklist, ()),
    "line state": (lambda data: read_line_state("s.yaml", data, ["plodder", "mixer"]), (LibraryError,)),
    "lockout record": (load_record, (RecordError,)),
    "samples": (lambda data: read_samples(_text(data)), (SampleError,)),
    "lot": (lambda data: lot_of(_text(data)), (ValueError,)),
    "body of an entry": (lambda data: read_body(_text(data)), (BodyError,)),
    "export": (_as_file(verify_export), (LedgerError,)),
    "export, by the stranger's program": (_as_file(_strangers), ()),
    "seal": (lambda data: Seal.parse(_text(data)), (LedgerError,)),
    "witness file": (_as_file(read_seals), (LedgerError,)),
    "checkpoint": (lambda data: Checkpoint.parse(_text(data)), (LedgerError,)),
    "extension": (lambda data: Extension.parse(_text(data)), (LedgerError,)),
    "excerpt": (lambda data: Excerpt.parse(_text(data)), (LedgerError,)),
    "public key": (lambda data: PublicKey.parse(_text(data)), (LedgerError,)),
    "secret key": (lambda data: SecretKey.parse(_text(data)), (LedgerError,)),
    "what a terminal saw last": (_as_file(lambda path: LastSeen(path).of("a.db", "00")), ()),
    "document's origin": (origin_in, ()),
    "spreadsheet's origin": (told_by, ()),
    "typed text": (lambda data: clean_text(_text(data), newlines=True), (TextError,)),
    "burst of a scanner": (_scanned, ()),
}


def try_reader(name: str, content: bytes) -> None:
    """Give a reader some bytes; only its named errors are caught."""
    reader, named = READERS[name]
    with contextlib.suppress(*named):
        reader(content)


_ORIGIN = Origin(asked={"kind": "shift"}, seal="s", at="t", checklists="c", version="1", digest="d")

# what each reader takes, to begin from
SEEDS: Mapping[str, tuple[bytes, ...]] = {
    "checklist": (
        b"id: a\nname: {en: A}\nsteps:\n  - &x [1, '2']\n  - *x\n",
        b"a: !!python/object:os.system x\n",
    ),
    "line state": (b"plodder: 0.05\nmixer: {active: 0.1, dead: 0.2}\n", b'{"plodder": 1e400}'),
    "lockout record": (b'{"jobs": [{"id": "J", "events": []}]}', b"jobs:\n  - id: J\n    events: []\n"),
    "samples": (b"m_kg,residual\n0,1\n10,0.5\n20,<0.002\n", b"m_kg;residual_percent\n0;1,5\n"),
    "lot": (b"noodles:N-1",),
    "body of an entry": (b'{"at":"2026-11-01T07:59:58.000000Z","n":1,"v":1}',),
    "export": (b'{"body":"{\\"n\\":1,\\"prev\\":\\"00\\"}","hash":"00"}\n',),
    "export, by the stranger's program": (b'{"body":"{\\"n\\":1}","hash":"00"}\n',),
    "seal": (
        b"floorterm seal: entry 1 at 2026-11-01T07:59:58Z chain c hash "
        + b" ".join([b"0123abcd"] * 8)
        + b" plant P",
    ),
    "witness file": (b"# kept\nfloorterm seal: entry 1 at T chain c hash 0 plant P\n",),
    "checkpoint": (b"plant.example/line\n2\nMDEyMzQ1Njc4OTAxMjM0NTY3ODkwMTIzNDU2Nzg5MDE=\n",),
    "extension": (str(Extension(1, 2, (bytes(32),))).encode(),),
    "excerpt": (str(Excerpt(2, '{"n":1}', (bytes(32),))).encode(),),
    "public key": (b"name+01234567+AQ==",),
    "secret key": (b"PRIVATE+KEY+name+01234567+AQ==",),
    "what a terminal saw last": (b'{"a.db 00": {"n": 1, "hash": "0", "at": "x", "chain": "c"}}',),
    "document's origin": (_ORIGIN.token.encode(),),
    "spreadsheet's origin": (b"PK\x05\x06" + bytes(18),),
    "typed text": ("oil on the plate \u202e\x1b[31m".encode(),),
    "burst of a scanner": (b"(01)09501101530003\x1d(10)AB\r", b"\x1b[200~L1\r"),
}
