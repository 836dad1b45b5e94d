"""Every reader of what comes from outside, as a function of bytes: it returns, or raises one of its named errors.

The suite draws inputs for them (`test_outside.py`), and `tests.benchmarks.fuzz` steers them by coverage.
"""

import contextlib
import io
import tempfile
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from msgspec.structs import replace

from floorterm.demo import shipped
from floorterm.entries import BodyError, TextError, clean_text, read_body, visible
from floorterm.flush.samples import SampleError, read_samples
from floorterm.ledger import Head, Ledger, LedgerError, Seal, verify_export, write_export
from floorterm.ledger.checkpoint import Checkpoint, Excerpt, Extension, excerpt_of, extension_of, roots_at
from floorterm.ledger.last_seen import LastSeen
from floorterm.ledger.note import PublicKey, SecretKey
from floorterm.ledger.note import opened as opened_note
from floorterm.ledger.witness import append_seals, read_seals
from floorterm.library import LibraryError
from floorterm.library.line_state import read_line_state
from floorterm.library.reading import read
from floorterm.lockout.auditing.documents import load_record
from floorterm.lockout.auditing.fields import RecordError
from floorterm.lots import lot_of
from floorterm.review.document import Sealed
from floorterm.review.document_html import as_html
from floorterm.review.document_json import as_json
from floorterm.review.document_table import as_csv, as_xlsx, told_by
from floorterm.review.origin import origin_in, with_origin
from floorterm.stranger import verify_record
from floorterm.terminal.remembered import lines_of
from floorterm.terminal.scan import Key, ScanCollector
from floorterm.terminal.sight_memory import SightMemory
from tests.ledger.conftest import note, staffed
from tests.lockout.audit.test_documents import SHEET
from tests.review.test_document import DOCUMENT

Reader = Callable[[bytes], object]
_KEY = SecretKey("plant.example/line", bytes(range(32)))  # a key for tests: the same every time


def _text(content: bytes) -> str:
    """As a shell or a terminal hands bytes over: what is no UTF-8 becomes half a character."""
    return content.decode("utf-8", "surrogateescape")


def _as_file(take: Callable[[Path], object]) -> Reader:
    def reader(content: bytes) -> object:
        with tempfile.NamedTemporaryFile(suffix=".txt") as file:
            file.write(content)
            file.flush()
            return take(Path(file.name))

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


@cache
def _head_of_demo() -> Head:
    with contextlib.closing(Ledger.open(shipped(), read_only=True)) as ledger:
        return ledger.head()


def _said_last(path: Path) -> object:
    return SightMemory(path).of(_head_of_demo(), "en", datetime.now(UTC))


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
    "signed note": (lambda data: opened_note(_text(data), _KEY.public), (LedgerError,)),
    "extension": (lambda data: Extension.parse(_text(data)), (LedgerError,)),
    "excerpt": (lambda data: Excerpt.parse(_text(data)), (LedgerError,)),
    "public key": (lambda data: PublicKey.parse(_text(data)), (LedgerError,)),
    "secret key": (lambda data: SecretKey.parse(_text(data)), (LedgerError,)),
    "what a terminal saw last": (_as_file(lambda path: LastSeen(path).of("a.db", "00")), ()),
    "what a terminal said last": (_as_file(_said_last), ()),
    "its plain lines": (_as_file(lambda path: lines_of(str(shipped()), str(path), "en")), ()),
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


@cache
def seeds() -> Mapping[str, tuple[bytes, ...]]:
    """What each reader takes, to begin from: wherever the program writes such a thing, what it wrote."""
    return {**_WRITTEN_BY_HAND, **_written_by_the_program()}


def _written_by_the_program() -> dict[str, tuple[bytes, ...]]:
    """Of a ledger of seven entries, with its proofs, of the demo's, and of a document of a few lines."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ledger = staffed(folder / "ledger.db")
        seal = ledger.seal("paper")
        ledger.append(note("a"))
        write_export(ledger, folder / "all.jsonl")
        write_export(ledger, folder / "part.jsonl", after_n=5)
        append_seals(folder / "seals.txt", (seal,), create=True, remark="brought late")
        LastSeen(folder / "seen.json").keep("a.db", ledger.start().hash, ledger.head())
        exports = tuple((folder / one).read_bytes() for one in ("part.jsonl", "all.jsonl"))
        place = folder / "all.jsonl"
        _, roots = roots_at(place)
        checkpoint = Checkpoint(_KEY.name, 7, roots[7])
        extension, excerpt = extension_of(place, 5, 7)[1], excerpt_of(place, 6, 7)[1]
        seen, kept = (folder / "seen.json").read_bytes(), (folder / "seals.txt").read_bytes()
        bodies = tuple(line.body.encode() for line in ledger.lines())
        ledger.close()
        with contextlib.closing(Ledger.open(shipped(), read_only=True)) as demo:
            SightMemory(folder / "said.sight").keep(demo, "en")
        said = (folder / "said.sight").read_bytes()
    document = with_origin(replace(DOCUMENT, sealed=Sealed(line=str(seal))), {"kind": "shift"}, "c" * 64)
    return {
        "body of an entry": bodies,
        "export": exports,
        "export, by the stranger's program": exports,
        "seal": (str(seal).encode(), seal.code.encode()),
        "witness file": (kept,),
        "checkpoint": (checkpoint.text.encode(),),
        "signed note": (_KEY.sign(checkpoint.text).encode(),),
        "extension": (str(extension).encode(),),
        "excerpt": (str(excerpt).encode(),),
        "public key": (str(_KEY.public).encode(),),
        "secret key": (_KEY.line().encode(),),
        "what a terminal saw last": (seen,),
        "what a terminal said last": (said,),
        "its plain lines": (said,),
        "document's origin": (as_json(document).encode(), as_csv(document), as_html(document).encode()),
        "spreadsheet's origin": (as_xlsx(document), b"PK\x05\x06" + bytes(18)),
    }


_WRITTEN_BY_HAND: Mapping[str, tuple[bytes, ...]] = {
    "checklist": (
        b"id: a\nname: {en: A}\nsteps:\n  - &x [1, '2']\n  - *x\n",
        b"a: !!python/object:os.system x\n",
    ),
    "line state": (b"plodder: 0.05\nmixer: {active: 0.1, dead: 0.2}\n", b'{"plodder": 1e400}'),
    "lockout record": (SHEET.encode(), b'{"jobs": [{"id": "J", "events": []}]}'),
    "samples": (b"m_kg,residual\n5,0.9\n10,0.5\n20,<0.002\n", b"m_kg;residual_percent\n5;1,5\n"),
    "lot": (b"noodles:N-1",),
    "typed text": ("oil on the plate \u202e\x1b[31m".encode(),),
    "burst of a scanner": (b"(01)09501101530003\x1d(10)AB\r", b"\x1b[200~L1\r"),
}
