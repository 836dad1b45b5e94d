"""Several fragrances in a row on one line: each one's share at the outlet.

One state vector per fragrance is carried through every switch. The line is linear and the doses add up to
one, so all that was dosed before a switch washes out by the line's own curve, and the share of one fragrance
is the difference of two such curves. Multiplying residuals would be wrong.
"""

from collections.abc import Callable, Mapping, Sequence
from math import isinf

from msgspec import Struct

from floorterm.flush.errors import WashoutInputError, as_number, one_of
from floorterm.flush.model import LineModel
from floorterm.flush.roots import falling_crossing
from floorterm.flush.washout import Washout, washout

_LOOKS = 400


class Succession(Struct, frozen=True, kw_only=True):
    """Fragrances in order; `runs_kg[i]`: line mass run with fragrance i + 1 before the next switch.

    The first fragrance filled the line; the last one is dosed from 0 kg on. Made by `succession`.
    """

    fragrances: tuple[str, ...]
    runs_kg: tuple[float, ...]
    curve: Washout

    def shares(self, kg: float) -> dict[str, float]:
        """Share of each fragrance's full dose at the outlet, `kg` of line mass after the last switch.

        A fragrance that comes twice counts once. Raises WashoutInputError.
        """
        mass = as_number(WashoutInputError, "kg", kg)
        found = dict.fromkeys(self.fragrances, 0.0)
        older = 0.0
        for name, since in zip(self.fragrances, self._since(mass), strict=True):
            # whatever was dosed up to the end of this fragrance's run
            until_now = self.curve.residual(since) if since is not None else 1.0
            found[name] += max(0.0, until_now - older)
            older = until_now
        return found

    def kg_to_reach(self, limits: Mapping[str, float]) -> float:
        """Line mass after the last switch from which every fragrance stays at or below its limit; inf never.

        Raises WashoutInputError for an unknown fragrance, or a limit not above 0.
        """
        return max((self._reach(name, limit) for name, limit in limits.items()), default=0.0)

    def kg_to_reach_together(self, limits: Mapping[str, float]) -> float:
        """Line mass after the last switch from which the shares, each over its limit, sum to at most 1; inf never.

        What rules add by mass (an item on the label) is kept by all old fragrances together, which each of them
        at its own limit would not do. Raises WashoutInputError as `kg_to_reach`.
        """
        wanted = {name: self._limit(name, limit) for name, limit in limits.items()}
        if not wanted:
            return 0.0

        def above(kg: float) -> float:
            found = self.shares(kg)
            return sum(found[name] / limit for name, limit in wanted.items()) - 1.0

        return self._last_above(above, self.curve.kg_to_reach(min(wanted.values())))

    def _since(self, kg: float) -> list[float | None]:
        """Line mass since each fragrance was switched off; None for the one that is dosed."""
        found: list[float | None] = [None]
        for run in (0.0, *reversed(self.runs_kg)):
            kg += run
            found.append(kg)
        return list(reversed(found))

    def _limit(self, name: str, limit: float) -> float:
        one_of(WashoutInputError, "limits", name, self.fragrances)
        if name == self.fragrances[-1]:
            raise WashoutInputError("limits", "dosed_now", found=name)
        return as_number(WashoutInputError, f"limits.{name}", limit, low_open=True)

    def _reach(self, name: str, limit: float) -> float:
        wanted = self._limit(name, limit)

        def above(kg: float) -> float:
            return self.shares(kg)[name] - wanted

        # nothing dosed before the last switch is above the curve
        return self._last_above(above, self.curve.kg_to_reach(wanted))

    def _last_above(self, above: Callable[[float], float], end: float) -> float:
        """The last crossing before a mass from which on nothing is above."""
        if end == 0.0 or isinf(end):
            return end
        right = end
        for place in range(_LOOKS - 1, -1, -1):
            left = end * place / _LOOKS
            if above(left) > 0:
                return falling_crossing(above, left, right) if above(right) <= 0 else right
            right = left
        return 0.0


def succession(
    line: LineModel,
    fragrances: Sequence[str],
    runs_kg: Sequence[float],
    *,
    divert_flash: bool = False,
) -> Succession:
    """Fragrances run one after the other on a line that the first one filled.

    `runs_kg`: line mass of each fragrance between the first and the last. Raises WashoutInputError naming
    the field; with diverted flash and a dose behind the flash return the start is no steady state: refused.
    """
    if len(fragrances) < 2:
        raise WashoutInputError("fragrances", "points", found=str(len(fragrances)))
    if len(runs_kg) != len(fragrances) - 2:
        raise WashoutInputError("runs_kg", "runs", found=len(runs_kg), wanted=len(fragrances) - 2)
    runs = tuple(as_number(WashoutInputError, f"runs_kg[{i}]", run) for i, run in enumerate(runs_kg))
    if divert_flash and line.returned_fraction and line.dose_index > line.flash_index:
        raise WashoutInputError("divert_flash", "no_step", found=str(line.dose_at))
    return Succession(
        fragrances=tuple(fragrances), runs_kg=runs, curve=washout(line, divert_flash=divert_flash)
    )
