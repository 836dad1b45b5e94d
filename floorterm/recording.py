"""Entries of a plant that belong to no piece of work: an inspection, a lot, a shift. Whoever signs gave their PIN."""

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from floorterm.entries import Draft, Entry
from floorterm.plant import PROVED, UNCONFIRMED
from floorterm.wording import Refusal

if TYPE_CHECKING:
    from floorterm.ledger import Asked
    from floorterm.plant import Plant, Who


def recorded(
    plant: "Plant",
    who: "Who",
    kind: str,
    value: Mapping[str, Any],
    meaning: str,
    guard: "Callable[[Asked], Sequence[Refusal]]",
    key: str,
    *,
    line: str = "",
    reason: str = "",
) -> Entry:
    """Record it. Raises RefusedError with every reason that `guard` finds inside the transaction."""

    def proved(asked: "Asked") -> Sequence[Refusal]:
        return guard(asked) if who.identity in PROVED else (UNCONFIRMED,)

    draft = Draft(
        kind=kind,
        key=key,
        person=who.person.code,
        identity=who.identity,
        meaning=meaning,
        terminal=plant.terminal,
        line=line,
        reason=reason,
        value=value,
    )
    return plant.ledger.append(draft, proved)
