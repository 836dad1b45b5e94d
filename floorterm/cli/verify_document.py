"""`floorterm verify --document FILE`: whether a ledger still holds exactly what a printed document says."""

import codecs
import json
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from msgspec import Struct

from floorterm import __version__
from floorterm.cli.common import Status, fail, load_library, open_ledger, own_folder, print_json, put
from floorterm.cli.report import made, written
from floorterm.wording import Count, Say, sentence

if TYPE_CHECKING:
    from floorterm.ledger import Place, Seal
    from floorterm.review.origin import Origin


class Answer(Struct, frozen=True, kw_only=True):
    """What came out, by a name for scripts: a sentence of the same name (`document.*`) says what it means."""

    case: str
    say: Say
    seal: str = ""

    @property
    def status(self) -> Status:
        """The exit status: 0 only where the document matches, 2 where there is nothing to compare."""
        if self.case == "matches":
            return Status.WELL
        return Status.UNUSABLE if self.case == "not_ours" else Status.SHORT


def say_document(file: Path, place: "Place", checklists: Path | None, as_json: bool) -> NoReturn:
    """Say it and leave with its status."""
    answer = judged(file, place, checklists)
    text = sentence(answer.say)
    if as_json:
        print_json({"case": answer.case, "text": text, "seal": answer.seal})
    else:
        put(text)
        if answer.seal:
            put(answer.seal)
    sys.exit(answer.status)


def judged(file: Path, place: "Place", checklists: Path | None) -> Answer:
    """The comparison of a file with a record. Leaves with status 2 where either cannot be read."""
    from floorterm.ledger import LedgerError, Seal, verify_place  # noqa: PLC0415
    from floorterm.review.document_table import told_by  # noqa: PLC0415
    from floorterm.review.origin import origin_in  # noqa: PLC0415

    try:
        data = file.read_bytes()
    except OSError as error:
        fail(f"{file} cannot be read: {error.strerror}.")
    form = _form(data)
    origin = origin_in(told_by(data) if form == "xlsx" else data)
    if origin is None:
        return _not_ours(file)
    try:
        seal = Seal.parse(origin.seal)
        report = verify_place(place, (seal,))
    except LedgerError as error:
        fail(str(error))
    number = Count(seal.n)
    said = {one.say.key.removeprefix("ledger.verify.") for one in (*report.problems, *report.remarks)}
    if "seal_chain" in said:  # not the newest identifier alone: a restore gives another one
        facts = {"theirs": seal.chain, "ours": report.chain}
        return Answer(case="other_chain", say=Say("document.other_chain", facts), seal=origin.seal)
    for case, key in (("lost", "seal_lost"), ("not_named", "seal_not_named")):
        if key in said:
            return _answer(case, origin, number)
    if not report.ok or report.sealed_n != seal.n:
        return _answer("ledger_altered", origin, number)
    folder = own_folder(checklists, open_ledger(place, read_only=True))
    if what := _differs(origin, folder):
        say = Say("document.not_comparable", {"number": number, "what": sentence(what)})
        return Answer(case="not_comparable", say=say, seal=origin.seal)
    same = _same(data, _anew(origin, seal, place, folder, form))
    return _answer("matches" if same else "document_altered", origin, number)


def _answer(case: str, origin: "Origin", number: Count) -> Answer:
    return Answer(case=case, say=Say(f"document.{case}", {"number": number}), seal=origin.seal)


def _not_ours(file: Path) -> Answer:
    return Answer(case="not_ours", say=Say("document.not_ours", {"path": str(file)}))


def _differs(origin: "Origin", folder: Path) -> Say | None:
    if origin.version != __version__:
        return Say("document.version", {"theirs": origin.version, "ours": __version__})
    if origin.checklists != load_library(folder).digest:
        return Say("document.checklists")
    return None


def _form(data: bytes) -> str:
    if data.startswith(b"%PDF"):
        return "pdf"
    if data.startswith(b"PK"):
        return "xlsx"
    if data.startswith(codecs.BOM_UTF8):
        return "csv"
    return "json" if data.lstrip().startswith(b"{") else "html"


def _anew(origin: "Origin", seal: "Seal", place: "Place", folder: Path, form: str) -> bytes:
    """The document made from the entries up to its seal, at its moment, by what was asked."""
    from floorterm.ledger.earlier import copy_up_to  # noqa: PLC0415

    at = datetime.strptime(origin.at, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
    with tempfile.TemporaryDirectory() as workshop:
        then = Path(workshop) / "then.db"
        copy_up_to(open_ledger(place, read_only=True), seal.n, then)
        return written(made(origin.asked, then, folder, at), form)


def _same(data: bytes, anew: bytes) -> bool:
    """Whether two files say the same: every byte, but for line ends that a mail or a shell made of its own."""
    if _form(data) == "json":
        try:
            return bool(json.loads(data) == json.loads(anew))
        except ValueError:
            return False
    if _form(data) in ("pdf", "xlsx"):
        return data == anew
    return data.replace(b"\r\n", b"\n") == anew.replace(b"\r\n", b"\n")
