"""What goes wrong while a worksheet is composed."""


class ComposeError(ValueError):
    """A worksheet cannot be composed; the sentence says what is missing and where."""
