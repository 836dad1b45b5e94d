"""The seal as a square code, so that a telephone reads what a person would have to type."""


def seal_svg(line: str) -> str:
    """An SVG element with the seal's line in a QR code (ISO/IEC 18004), black on white."""
    import io  # noqa: PLC0415

    import segno  # noqa: PLC0415  only a sealed document needs it

    out = io.BytesIO()
    code = segno.make(line, error="m", micro=False)
    code.save(out, kind="svg", xmldecl=False, nl=False, border=2, omitsize=True, light="#fff")
    return out.getvalue().decode("utf-8")
