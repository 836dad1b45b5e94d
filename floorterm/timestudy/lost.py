"""Minutes lost against the plan: a Pareto by step and cause, and what was done while the line stood though it need not.

Steps are sorted by the sum of what they took over the plan, not by their mean: one hour once and five minutes twelve
times need different answers, so the count stands beside the sum. Fewer than five changeovers are too few.
"""

from collections.abc import Mapping, Sequence

from msgspec import Struct

from floorterm.changeover.minutes import Minutes
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Text
from floorterm.timestudy.observed import Observation

FEWEST = 5
MOST = 0.8  # the few steps that make so much of the loss are marked


class Loss(Struct, frozen=True, kw_only=True):
    """One cause at one step ("" for what belongs to no step): seconds lost in all, in so many changeovers.

    `text` is empty where the step says something else from one changeover to the next.
    `share` is what this loss and the larger ones make of all; `few`: it is among those that make four fifths.
    """

    cause: str
    step: str
    text: Text
    seconds: int
    count: int
    share: float
    few: bool


class Lost(Struct, frozen=True, kw_only=True):
    """All losses, the largest first; ties keep checklist order. `gained_s`: seconds by which others were shorter.

    `gap_s` is actual less planned over all changeovers: losses less gains.
    """

    changeovers: int
    losses: tuple[Loss, ...]
    gained_s: int
    gap_s: int

    @property
    def too_few(self) -> bool:
        """Whether nothing should be concluded."""
        return self.changeovers < FEWEST


class Work(Struct, frozen=True, kw_only=True):
    """Person-seconds: internal work, external work done while the line ran, and external work done while it stood.

    The last is what could be saved without any new tool. Work about locks and protection is never counted as external.
    """

    internal_s: int
    external_s: int
    external_stopped_s: int


def lost(found: Sequence[tuple[State, Minutes]]) -> Lost:
    """The Pareto of changeovers that have ended, with their minutes."""
    sums: dict[tuple[str, str], int] = {}
    counts: dict[tuple[str, str], int] = {}
    texts: dict[str, Text] = {}
    places: dict[str, int] = {}
    for state, minutes in found:
        for place, step in enumerate(state.worksheet.steps()):
            texts[step.id] = step.text if texts.get(step.id, step.text) == step.text else {}
            places.setdefault(step.id, place)
        for part in minutes.parts:
            key = part.cause, part.step
            sums[key] = sums.get(key, 0) + part.seconds
            counts[key] = counts.get(key, 0) + (part.seconds > 0)
    losses = sorted(
        ((key, seconds) for key, seconds in sums.items() if seconds > 0),
        key=lambda item: (-item[1], places.get(item[0][1], -1), item[0][0]),
    )
    return Lost(
        changeovers=len(found),
        losses=_shared(losses, counts, texts),
        gained_s=-sum(seconds for seconds in sums.values() if seconds < 0),
        gap_s=sum(minutes.gap_s for _, minutes in found),
    )


def _shared(
    losses: Sequence[tuple[tuple[str, str], int]],
    counts: Mapping[tuple[str, str], int],
    texts: Mapping[str, Text],
) -> tuple[Loss, ...]:
    total = sum(seconds for _, seconds in losses)
    found, before = [], 0
    for (cause, step), seconds in losses:
        few = before < MOST * total
        before += seconds
        found.append(
            Loss(
                cause=cause,
                step=step,
                text=texts.get(step, {}),
                seconds=seconds,
                count=counts[cause, step],
                share=before / total,
                few=few,
            )
        )
    return tuple(found)


def work_of(observations: Sequence[Observation]) -> Work:
    """Internal and external work of what may be learned from."""
    known = [one for one in observations if not one.doubt]
    external = [one for one in known if one.external and not one.locked]
    return Work(
        internal_s=sum(one.seconds for one in known if not one.external or one.locked),
        external_s=sum(one.seconds for one in external if not one.stopped),
        external_stopped_s=sum(one.seconds for one in external if one.stopped),
    )
