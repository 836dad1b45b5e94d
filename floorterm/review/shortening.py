"""Names too long for a drawing: cut between words, and so that it is seen. The figures beside it have them whole."""


def shortened(name: str, letters: int, mark: str = "...") -> str:
    """A name of at most so many letters; what is left out is left out by whole words where that keeps most of it."""
    if len(name) <= letters:
        return name
    kept = name[: letters - len(mark)]
    if not name[len(kept)].isspace():
        words = kept.rpartition(" ")[0]
        kept = words if len(words) * 2 > len(kept) else kept
    return kept.rstrip(" ,.:;-(") + mark
