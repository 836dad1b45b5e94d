"""The key of what was asked and not recorded: asked once more it is looked up, so that no commit is made twice."""


class Retry:
    """Keeps one key; whatever is asked next and is equal gets it again."""

    def __init__(self) -> None:
        self._kept: tuple[object, str] | None = None

    def keep(self, asked: object, key: str) -> None:
        """Remember what was asked with that key."""
        self._kept = asked, key

    def key_of(self, asked: object) -> str | None:
        """The key with which the same was asked last, or None for something else."""
        return self._kept[1] if self._kept is not None and self._kept[0] == asked else None
