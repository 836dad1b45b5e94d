"""Dialogues that belong to a person: nobody finishes what another has begun."""

from typing import TypeVar

from floorterm.terminal.base import FloorScreen

_Result = TypeVar("_Result")


class OwnedScreen(FloorScreen[_Result]):
    """A dialogue of whoever was signed in when it opened; it closes, without a result, when their session ends.

    One that was opened while nobody was signed in is whoever's that signs in first.
    """

    def __init__(self) -> None:
        super().__init__()
        self._owner = ""

    def retell(self) -> None:
        """Say everything anew, to its own person only."""
        person = self.app.session.person
        code = person.code if person is not None else ""
        self._owner = self._owner or code
        if code != self._owner:
            self.dismiss(None)
        else:
            super().retell()
