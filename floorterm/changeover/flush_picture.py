"""Points and band of a washout curve, for whatever draws them."""

from math import inf

from msgspec import Struct

from floorterm.flush import Washout
from floorterm.flush.progress import Spread, live_band

_POINTS = 161


class Picture(Struct, frozen=True, kw_only=True):
    """(kg, residual) up to somewhat beyond the crossing; band as (kg, low, high); `crossing_kg` inf: never."""

    points: tuple[tuple[float, float], ...]
    band: tuple[tuple[float, float, float], ...]
    crossing_kg: float


def picture(
    washed: Washout, limit: float, spread: Spread, confidence: float, *, points: int = _POINTS
) -> Picture:
    """The most probable curve of a flush with the band in which the true one lies, with that confidence on each
    side: all contents larger or smaller together, so that the curve of a factor f is W(m / f).
    """
    crossing = washed.kg_to_reach(limit) * spread.median if limit > 0 else inf
    end = 3.0 * washed.line.content_kg * spread.median
    if 0 < crossing < inf:
        end = crossing * max(1.3, 1.05 * spread.upper(confidence) / spread.median)
    masses = (end * place / (points - 1) for place in range(points))
    found = live_band(washed, masses, spread, confidence=confidence)
    return Picture(
        points=tuple((one.kg, one.residual) for one in found),
        band=tuple((one.kg, one.low, one.high) for one in found),
        crossing_kg=crossing,
    )
