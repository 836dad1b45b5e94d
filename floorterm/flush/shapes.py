"""Shapes of a washout that can be fitted: how the residual falls with kg per kg of holdup."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Protocol

from msgspec import Struct

from floorterm.flush.model import LineModel, Unit
from floorterm.flush.roots import falling_crossing
from floorterm.flush.special import log_gamma_q
from floorterm.flush.washout import Washout, washout

TANKS_LOW, TANKS_HIGH = 0.5, 60.0
_DEAD_LOW, _DEAD_HIGH = 1e-4, 0.9
_EXCHANGE_LOW, _EXCHANGE_HIGH = 1e-5, 10.0
_NOMINAL_KG = 100.0  # a washout only knows ratios of kg; this one is far from every guard
_LOG_OF_NOTHING = -700.0
_FARTHEST = 1e6  # holdups


class Shape(Protocol):
    """One family of curves. `inner` are its parameters as the fit moves them, about 1 apart."""

    @property
    def names(self) -> tuple[str, ...]:
        """The parameters that can be fitted, besides holdup and plug."""
        ...

    @property
    def box(self) -> tuple[tuple[float, float], ...]:
        """Range of each inner parameter."""
        ...

    def outer(self, inner: Sequence[float]) -> tuple[float, ...]:
        """Inner parameters as people know them."""
        ...

    def inner(self, outer: Sequence[float]) -> tuple[float, ...]:
        """The reverse of `outer`."""
        ...

    def log_residual(self, outer: Sequence[float], holdups: float) -> float:
        """Ln W after so many holdups."""
        ...

    def crossing(self, outer: Sequence[float], limit: float) -> float:
        """Holdups after which W stays at the limit or below."""
        ...


class Tanks(Struct, frozen=True):
    """N equal tanks, N any real number: W = Q(N, N m/H)."""

    names: tuple[str, ...] = ("tanks",)
    box: tuple[tuple[float, float], ...] = ((math.log(TANKS_LOW), math.log(TANKS_HIGH)),)

    def outer(self, inner: Sequence[float]) -> tuple[float, ...]:
        """N."""
        return (math.exp(inner[0]),)

    def inner(self, outer: Sequence[float]) -> tuple[float, ...]:
        """Ln N."""
        return (math.log(outer[0]),)

    def log_residual(self, outer: Sequence[float], holdups: float) -> float:
        """Ln Q(N, N m/H)."""
        return log_gamma_q(outer[0], outer[0] * holdups)

    def crossing(self, outer: Sequence[float], limit: float) -> float:
        """Where Q(N, N m/H) meets the limit."""
        return _crossing(lambda z: self.log_residual(outer, z), limit)


class WholeTanks(Struct, frozen=True):
    """A whole number of equal tanks: only the holdup is left to fit."""

    tanks: int
    names: tuple[str, ...] = ()
    box: tuple[tuple[float, float], ...] = ()

    def outer(self, inner: Sequence[float]) -> tuple[float, ...]:
        """Nothing."""
        return tuple(inner)

    def inner(self, outer: Sequence[float]) -> tuple[float, ...]:
        """Nothing."""
        return tuple(outer)

    def log_residual(self, outer: Sequence[float], holdups: float) -> float:  # noqa: ARG002  the protocol's
        """Ln Q(N, N m/H)."""
        return log_gamma_q(self.tanks, self.tanks * holdups)

    def crossing(self, outer: Sequence[float], limit: float) -> float:
        """Where Q(N, N m/H) meets the limit."""
        return _crossing(lambda z: self.log_residual(outer, z), limit)


class DeadTanks(Struct, frozen=True):
    """A whole number of equal tanks, each with a dead share that exchanges with the rest."""

    tanks: int
    names: tuple[str, ...] = ("dead_fraction", "exchange_ratio")
    box: tuple[tuple[float, float], ...] = (
        (math.log(_DEAD_LOW / (1.0 - _DEAD_LOW)), math.log(_DEAD_HIGH / (1.0 - _DEAD_HIGH))),
        (math.log(_EXCHANGE_LOW), math.log(_EXCHANGE_HIGH)),
    )

    def outer(self, inner: Sequence[float]) -> tuple[float, ...]:
        """D and e."""
        return 1.0 / (1.0 + math.exp(-inner[0])), math.exp(inner[1])

    def inner(self, outer: Sequence[float]) -> tuple[float, ...]:
        """ln(d / (1 - d)) and ln e."""
        return math.log(outer[0] / (1.0 - outer[0])), math.log(outer[1])

    def log_residual(self, outer: Sequence[float], holdups: float) -> float:
        """Ln of the washout of such a unit."""
        if holdups <= 0.0:
            return 0.0
        found = _dead_unit(self.tanks, *outer).residual(holdups * _NOMINAL_KG)
        return math.log(found) if found > 0.0 else _LOG_OF_NOTHING

    def crossing(self, outer: Sequence[float], limit: float) -> float:
        """The last crossing of such a unit."""
        return _dead_unit(self.tanks, *outer).kg_to_reach(limit) / _NOMINAL_KG


@lru_cache(maxsize=64)
def _dead_unit(tanks: int, dead_fraction: float, exchange_ratio: float) -> Washout:
    unit = Unit(
        name="unit",
        mixed_kg=_NOMINAL_KG,
        tanks=tanks,
        dead_fraction=dead_fraction,
        exchange_ratio=exchange_ratio,
    )
    return washout(LineModel(units=(unit,)))


def _crossing(log_residual: "_LogResidual", limit: float) -> float:
    target = math.log(limit)
    high = 1.0
    while log_residual(high) > target:
        high *= 2.0
        if high > _FARTHEST:
            return math.inf
    low = high / 2.0
    while log_residual(low) <= target:
        low /= 2.0
        if low < 1e-12:
            return 0.0
    return falling_crossing(lambda z: log_residual(z) - target, low, high)


class _LogResidual(Protocol):
    def __call__(self, holdups: float, /) -> float: ...
