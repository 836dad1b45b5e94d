"""Who is at this terminal. A session says who acts, never that a PIN was asked for this very act."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from floorterm.people import Person
    from floorterm.plant import Who


@dataclass(eq=False, repr=False)
class Session:
    """The person signed in here, and when they last pressed a key (`steady` counts seconds)."""

    steady: Callable[[], float]
    person: "Person | None" = None
    touched_at: float = 0.0

    @property
    def who(self) -> "Who | None":
        """The person with the identity that entries of this session carry, or None."""
        if self.person is None:
            return None
        from floorterm.plant import Who  # noqa: PLC0415  the plant is loaded after the first frame

        return Who(self.person, "session")

    def begin(self, person: "Person") -> None:
        """Sign somebody in who has just given their PIN."""
        self.person = person
        self.touch()

    def end(self) -> None:
        """Sign out."""
        self.person = None

    def touch(self) -> None:
        """A key was pressed, or something tapped."""
        self.touched_at = self.steady()

    def is_over(self, idle_min: int) -> bool:
        """Whether nobody has touched this terminal for so long that the session ends."""
        return self.person is not None and self.steady() - self.touched_at >= idle_min * 60
