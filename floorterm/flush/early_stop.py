"""When to stop the outgoing dose and its tank, so that the last bars of a run are still good.

After the dose stops the soap already on the line stays good as outgoing for a while (`m_last` of the next
changeover): that much need not be dosed any more.
"""

from dataclasses import dataclass

from floorterm.flush.errors import QuantityInputError, as_number


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseStop:
    """Where to stop. `stop_kg`: line mass since the dose of this run began. `fresh_kg`: feed dosed until
    then. `fragrance_kg`, `fragrance_l`: what it takes. `fill_l`: still to fill into the tank; where negative
    that much is left over.
    """

    stop_kg: float
    fresh_kg: float
    fragrance_kg: float
    fragrance_l: float
    fill_l: float

    @property
    def left_over_l(self) -> float:
        """Litres of fragrance that the run does not need."""
        return max(0.0, -self.fill_l)


def dose_stop(
    *,
    need_kg: float,
    first_kg: float,
    last_kg: float,
    flash_fraction: float,
    reject_share: float = 0.0,
    dose: float = 0.0,
    density_kg_l: float = 1.0,
    tank_l: float = 0.0,
    heel_l: float = 0.0,
) -> DoseStop:
    """When to stop the dose of a run that needs `need_kg` of good bars.

    `first_kg`: line mass until bars of this run are good (flash diverted until then, returned after).
    `last_kg`: line mass for which bars stay good after the dose stops. `reject_share`: of stamped bars,
    returned like flash. `dose`: kg/kg of fresh feed. `tank_l`: content of the tank now, `heel_l` of it cannot
    be pumped. Returned share R = 1 - (1 - p)(1 - j); stop = first + need / (1 - R) - last. Raises
    QuantityInputError naming the field; `need_kg` where the run would be shorter than its own flush.
    """

    def checked(field: str, value: float, high: float = float("inf"), *, above: bool = False) -> float:
        return as_number(QuantityInputError, field, value, high=high, low_open=above, high_open=True)

    p = checked("flash_fraction", flash_fraction, 1.0)
    good = (1.0 - p) * (1.0 - checked("reject_share", reject_share, 1.0))
    first, last = checked("first_kg", first_kg), checked("last_kg", last_kg)
    stop = first + checked("need_kg", need_kg, above=True) / good - last
    if stop <= first:
        raise QuantityInputError("need_kg", "short_run", found=f"{need_kg:g}", last=f"{last:g}")
    fresh = first + (stop - first) * good
    fragrance = fresh * checked("dose", dose, 1.0)
    litres = fragrance / checked("density_kg_l", density_kg_l, above=True)
    tank, heel = checked("tank_l", tank_l), checked("heel_l", heel_l)
    return DoseStop(
        stop_kg=stop,
        fresh_kg=fresh,
        fragrance_kg=fragrance,
        fragrance_l=litres,
        fill_l=litres - (tank - heel),
    )
