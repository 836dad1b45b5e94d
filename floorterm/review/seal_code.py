"""The seal as a square code (QR, ISO/IEC 18004), so that a telephone reads what a person would have to type."""

from collections.abc import Sequence

_ACROSS = {(True, True): "█", (True, False): "▀", (False, True): "▄", (False, False): " "}


def seal_svg(line: str) -> str:
    """An SVG element with the seal's line in a QR code, black on white."""
    import io  # noqa: PLC0415

    import segno  # noqa: PLC0415  only a sealed document needs it

    out = io.BytesIO()
    code = segno.make(line, error="m", micro=False)
    code.save(out, kind="svg", xmldecl=False, nl=False, border=2, omitsize=True, light="#fff")
    return out.getvalue().decode("utf-8")


def code_modules(text: str, *, border: int = 2) -> tuple[tuple[bool, ...], ...]:
    """The squares of a QR code, row by row, dark or not, with `border` light ones around; the least that carries it."""
    import segno  # noqa: PLC0415

    code = segno.make(text, error="l", micro=False, boost_error=False)
    return tuple(tuple(bool(module) for module in row) for row in code.matrix_iter(border=border))


def can_draw(encoding: str) -> bool:
    """Whether the halves of a character cell that the code is drawn with exist in that encoding."""
    try:
        "█▀▄".encode(encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def half_blocks(modules: Sequence[Sequence[bool]]) -> tuple[str, ...]:
    """Two rows of squares in one line of text, for dark characters on a light ground."""
    light = tuple(False for _ in modules[0]) if modules else ()
    pairs = zip(modules[::2], (*modules[1::2], light), strict=False)
    return tuple("".join(_ACROSS[pair] for pair in zip(upper, lower, strict=True)) for upper, lower in pairs)
