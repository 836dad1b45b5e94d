"""A document as PDF: typeset from one template that ships with the program, its values given as data.

No value is ever pasted into the template's source, so that no text of a plant can become markup. Only fonts
that come with the typesetter are used and the time is the document's own: the same value gives the same bytes.
The result is a tagged PDF/A-2a (archive) and PDF/UA-1 (accessible).
"""

import json
from datetime import UTC, datetime
from importlib.resources import files
from typing import Any, Literal

from msgspec import to_builtins

from floorterm.review.document import Block, Document, Table, for_people
from floorterm.review.seal_code import seal_svg


class DocumentError(Exception):
    """The typesetter could not make the document; the sentence says why."""


def as_pdf(document: Document) -> bytes:
    """The document as PDF. Raises DocumentError with what the typesetter said."""
    made = _compiled(document, "pdf")
    return made if isinstance(made, bytes) else made[0]


def as_png(document: Document) -> list[bytes]:
    """Each page as a picture of 96 dots an inch. Raises DocumentError."""
    made = _compiled(document, "png")
    return [made] if isinstance(made, bytes) else made


def data_of(document: Document) -> dict[str, Any]:
    """The document as JSON values: blocks with their sort, the seal's code as SVG."""
    whole: dict[str, Any] = to_builtins(document)
    whole["blocks"] = [_block(for_people(block, document.language)) for block in document.blocks]
    whole["code"] = seal_svg(document.sealed.line) if document.sealed else ""
    return whole


def _block(block: Block) -> dict[str, Any]:
    value = {"sort": type(block).__name__.lower(), **to_builtins(block)}
    return value | {"widths": block.shares} if isinstance(block, Table) else value


def _compiled(document: Document, form: Literal["pdf", "png"]) -> bytes | list[bytes]:
    import typst  # noqa: PLC0415  only a PDF needs it

    source = (files("floorterm.review") / "templates" / "document.typ").read_bytes()
    at = datetime.strptime(document.at, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
    try:
        compiler = typst.Compiler(
            source,
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(data_of(document), ensure_ascii=False)},
        )
        made = compiler.compile(
            format=form,
            ppi=96.0,
            pdf_standards=["a-2a", "ua-1"] if form == "pdf" else [],
            timestamp=at,
        )
    except typst.TypstError as error:
        raise DocumentError(f"The document could not be typeset: {error.message}") from error
    assert made is not None  # without an output file the bytes come back
    return made
