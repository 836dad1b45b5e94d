"""A document as JSON: its blocks with their sort, its seal and its origin."""

import json

from floorterm.review.document import Document
from floorterm.review.document_pdf import data_of

_KEPT = ("title", "subtitle", "language", "printed", "at", "foot", "cautions", "blocks", "sealed", "origin")


def as_json(document: Document) -> str:
    """The document as one JSON object with a line break at its end."""
    value = data_of(document)
    kept = {key: value[key] for key in _KEPT}
    return json.dumps(kept, ensure_ascii=False, indent=2, default=str) + "\n"
