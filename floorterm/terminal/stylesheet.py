"""The rules of how widgets look, parsed once for every theme."""

from textual.css.stylesheet import Stylesheet


class KeptStylesheet(Stylesheet):
    """Textual's, which parses everything anew whenever it is asked to: here only where a variable has another value.

    A terminal's first frame asks once, after its theme is known; that is a fiftieth of the start.
    """

    _stale = False

    def set_variables(self, variables: dict[str, str]) -> None:
        """Another theme's variables; the same ones change nothing."""
        if variables != self._variables:
            super().set_variables(variables)
            self._stale = True

    def reparse(self) -> None:
        """Parse the sources anew with the variables that were set since."""
        if self._stale:
            super().reparse()
            self._stale = False
