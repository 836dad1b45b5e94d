"""Whether Enter is meant for what is shown: a key that bounces or is held down signs nothing that nobody has seen.

What has just appeared, by an own act or by another terminal's, takes Enter (or a digit, or a tap, where these act at
once) only after a pause in keys. A key counts by the time at which it was pressed: one that waited while something
else came to be shown is not meant for that either. Pure.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

SETTLE_S = 0.4  # for so long it has been shown
QUIET_S = 0.3  # for so long the same key was not pressed
_NEVER = float("-inf")


@dataclass(eq=False, repr=False)
class Patience:
    """One for a terminal, since a key may bounce from one screen to the next. `settle_s` 0: every key is meant."""

    clock: Callable[[], float]
    settle_s: float = SETTLE_S
    quiet_s: float = QUIET_S
    _shown: object = None
    _since: float = _NEVER
    _pressed_at: float = _NEVER
    _gap: float = float("inf")
    _last: dict[str, float] = field(default_factory=dict)

    def shows(self, what: object) -> None:
        """What a key would act on now; another value is something that has just appeared."""
        if what != self._shown:
            self._shown, self._since = what, self.clock()

    def press(self, key: str, at: float | None = None) -> None:
        """A key that acts was pressed then (a tap now)."""
        self._pressed_at = self.clock() if at is None else at
        self._gap = self._pressed_at - self._last.get(key, _NEVER)
        self._last[key] = self._pressed_at

    def takes(self, what: object, *, seen: bool = False) -> bool:
        """Whether the key pressed last is meant for what is shown now; somebody who entered a value has `seen` it."""
        self.shows(what)
        if self.settle_s <= 0:
            return True
        return seen or (self._gap >= self.quiet_s and self._pressed_at - self._since >= self.settle_s)
