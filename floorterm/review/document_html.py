"""A document as one HTML file: no script, nothing loaded from elsewhere, prints on A4 or letter paper."""

from importlib.resources import files

from floorterm.review.document import Document, for_people
from floorterm.review.seal_code import seal_svg


def as_html(document: Document) -> str:
    """The document as HTML. Every text is escaped; the program's own drawings stand in it as they are."""
    from jinja2 import Environment, StrictUndefined  # noqa: PLC0415  only HTML needs it

    source = (files("floorterm.review") / "templates" / "document.html").read_text(encoding="utf-8")
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    blocks = [
        (type(block).__name__.lower(), for_people(block, document.language)) for block in document.blocks
    ]
    code = seal_svg(document.sealed.line) if document.sealed else ""
    before, _, after = document.frame.page.partition("{page}")
    middle, _, end = after.partition("{pages}")
    return environment.from_string(source).render(
        doc=document,
        blocks=blocks,
        code=code,
        page=tuple(map(_css, (before, middle, end))),
        foot=_css(document.foot),
    )


def _css(text: str) -> str:
    """A text as the inside of a CSS string: everything but plain letters as an escape, which ends with a space."""
    return "".join(char if char.isalnum() or char == " " else f"\\{ord(char):06x} " for char in text)
