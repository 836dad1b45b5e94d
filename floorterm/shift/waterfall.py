"""The minutes of a changeover as a waterfall: from planned, part by part, to actual. Pure: places, not pictures.

A screen and a document draw the same values, so that they cannot show different ones.
"""

from collections.abc import Iterator, Sequence

from msgspec import Struct

from floorterm.shift.summary import MinutesLine, MinutesPart


class Fall(Struct, frozen=True):
    """One bar, from one level to the next, in seconds; `part` is None for planned and actual, which begin at 0."""

    since_s: int
    until_s: int
    part: MinutesPart | None = None

    @property
    def low_s(self) -> int:
        """Its lower end."""
        return min(self.since_s, self.until_s)

    @property
    def high_s(self) -> int:
        """Its upper end."""
        return max(self.since_s, self.until_s)


def waterfall(line: MinutesLine) -> tuple[Fall, ...]:
    """Planned, each part beginning where the one before it ended, actual."""
    return (Fall(0, line.planned_s), *falls(line.planned_s, line.parts), Fall(0, line.actual_s))


def falls(level: int, parts: Sequence[MinutesPart]) -> Iterator[Fall]:
    """The parts alone, from a level on."""
    for part in parts:
        yield Fall(level, level + part.seconds, part)
        level += part.seconds


def shown_parts(parts: Sequence[MinutesPart], room: int) -> tuple[MinutesPart, ...]:
    """As many parts as there is room for; the smallest together in the last one, so that the sum stays what it is."""
    if len(parts) <= room:
        return tuple(parts)
    named = [part for part in parts if part.cause != "small" or part.step][: max(0, room - 1)]
    rest = [part for part in parts if part not in named]
    together = MinutesPart(
        cause="small", seconds=sum(part.seconds for part in rest), n=sum(part.n for part in rest), step="*"
    )
    return (*named, together)


def cells(fall: Fall, low_s: int, high_s: int, width: int) -> tuple[int, int]:
    """(first, count) of the cells that a bar takes of `width` over that range; at least one."""
    span = max(1, high_s - low_s)
    first = min((fall.low_s - low_s) * width // span, width - 1)
    end = -((low_s - fall.high_s) * width // span)
    return first, max(1, min(end, width) - first)
