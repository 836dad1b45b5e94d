"""Faults of the checklists as plain values: where, what was found, what was expected."""

from collections.abc import Iterable
from difflib import get_close_matches

from msgspec import Struct


class Fault(Struct, frozen=True, order=True):
    """One fault. `line` and `column` count from 1; both are 0 when the fault is of a whole file or folder.

    `path` is relative to the checklists folder ("" for the folder itself). `field` is the way to the value,
    with list items counted from 1: `sections[2].steps[3].low`.
    """

    path: str
    line: int
    column: int
    field: str
    expected: str
    found: str
    suggestion: str = ""

    @property
    def sentence(self) -> str:
        """Expected, found and the suggestion in one sentence, without the place."""
        hint = f"; {self.suggestion}" if self.suggestion else ""
        return f"expected {self.expected}, found {self.found}{hint}."

    def __str__(self) -> str:
        """Place and sentence on one line, as `floorterm check` prints it."""
        place = (
            f"{self.path or '(folder)'}:{self.line}:{self.column}" if self.line else self.path or "(folder)"
        )
        return f"{place}: {self.field + ': ' if self.field else ''}{self.sentence}"


class LibraryError(ValueError):
    """The checklists cannot be used. `faults` holds every fault of every file, in the order of the files."""

    def __init__(self, folder: str, faults: Iterable[Fault]) -> None:
        self.folder = folder
        self.faults = tuple(faults)
        count = len(self.faults)
        shown = "\n".join(str(fault) for fault in self.faults)
        super().__init__(f"{count} fault{'s' if count != 1 else ''} in {folder}:\n{shown}")


def near(word: str, known: Iterable[str]) -> str:
    """A suggestion of the most alike known words ("did you mean \\"dose\\"?"), or "" when none is alike."""
    folded = {name.casefold(): name for name in known}
    hits = get_close_matches(word.casefold()[:80], folded, n=2, cutoff=0.6)
    return f"did you mean {' or '.join(quoted(folded[hit]) for hit in hits)}?" if hits else ""


def shown(text: object) -> str:
    """A text from a file made fit for one line: invisible characters named, cut after 60."""
    whole = str(text)
    clean = "".join(sign if sign.isprintable() else f"<U+{ord(sign):04X}>" for sign in whole[:60])
    return f"{clean}…" if len(whole) > 60 else clean


def quoted(text: object) -> str:
    """A found value in quotes, made fit for one line."""
    return f'"{shown(text)}"'


def listed(words: Iterable[str], limit: int = 12) -> str:
    """Known words for a sentence, sorted, each fit for one line; cut after `limit`."""
    known = [shown(word) for word in sorted(words)]
    if len(known) > limit:
        return f"one of {', '.join(known[:limit])} and {len(known) - limit} more"
    if len(known) == 1:
        return known[0]
    return f"one of {', '.join(known)}" if known else "one of none that are known"
