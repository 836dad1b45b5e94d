"""A curve as short polynomials joined end to end: values, slopes, areas, crossings and its highest point."""

from collections.abc import Sequence

from msgspec import Struct

from floorterm.flush.roots import falling_crossing

_LOOKS = 4  # points looked at on each piece; a piece is short beside every cell of the line


class Piece(Struct, frozen=True):
    """`terms[k]` is the factor of (kg - start)^k, valid from `start` over `length` kg."""

    start: float
    length: float
    terms: tuple[float, ...]

    @property
    def end(self) -> float:
        """Where the piece ends, kg."""
        return self.start + self.length

    def at(self, kg: float) -> float:
        """Value at a mass on the piece."""
        return horner(self.terms, kg - self.start)

    def slope(self, kg: float) -> float:
        """Slope per kg at a mass on the piece."""
        return horner([k * term for k, term in enumerate(self.terms)][1:], kg - self.start)

    def area(self, low: float, high: float) -> float:
        """Integral over kg between two masses on the piece."""
        whole = (0.0, *(term / (k + 1) for k, term in enumerate(self.terms)))
        return horner(whole, high - self.start) - horner(whole, low - self.start)

    def from_offset(self, offset: float) -> tuple[float, ...]:
        """The terms about a point `offset` kg behind the start (repeated synthetic division)."""
        if offset == 0.0:
            return self.terms
        terms = list(self.terms)
        for low in range(len(terms) - 1):
            for k in range(len(terms) - 2, low - 1, -1):
                terms[k] += offset * terms[k + 1]
        return tuple(terms)

    def highest(self) -> tuple[float, float]:
        """(kg, value) of the highest point: an end, or the one place between where the slope turns down."""
        best = max(((kg, self.at(kg)) for kg in (self.start, self.end)), key=lambda found: found[1])
        if self.slope(self.start) > 0 > self.slope(self.end):
            kg = falling_crossing(self.slope, self.start, self.end)
            best = max((best, (kg, self.at(kg))), key=lambda found: found[1])
        return best


def horner(terms: Sequence[float], s: float) -> float:
    """Sum of terms[k] s^k."""
    total = 0.0
    for term in reversed(terms):
        total = total * s + term
    return total


def area(pieces: Sequence[Piece], low: float, high: float) -> float:
    """Integral over kg between two masses that the pieces cover."""
    return sum(
        piece.area(max(low, piece.start), min(high, piece.end))
        for piece in pieces
        if piece.end > low and piece.start < high
    )


def first_at_most(pieces: Sequence[Piece], limit: float) -> float | None:
    """The first kg at which the curve is at or below a limit; None where it never is."""
    for piece in pieces:
        before: float | None = None
        for kg in _points(piece):
            if piece.at(kg) <= limit:
                if before is None:
                    return kg
                return falling_crossing(lambda at, on=piece: on.at(at) - limit, before, kg)  # type: ignore[misc]
            before = kg
    return None


def last_above(pieces: Sequence[Piece], limit: float) -> float:
    """The kg behind which the curve stays at or below a limit; 0.0 where it is never above."""
    for piece in reversed(pieces):
        top_kg, top = piece.highest()
        if top > limit:
            above = max(kg for kg in (*_points(piece), top_kg) if piece.at(kg) > limit)
            if above >= piece.end:
                return piece.end
            following = min((kg for kg in _points(piece) if kg > above), default=piece.end)
            return falling_crossing(lambda at, on=piece: on.at(at) - limit, above, following)  # type: ignore[misc]
    return 0.0


def highest_from(pieces: Sequence[Piece], kg: float) -> tuple[float, float]:
    """(kg, value) of the highest point at or behind a mass that the pieces cover."""
    found: list[tuple[float, float]] = []
    for piece in pieces:
        if piece.end <= kg:
            continue
        part = piece
        if piece.start < kg:
            part = Piece(kg, piece.end - kg, piece.from_offset(kg - piece.start))
        found.append(part.highest())
    return max(found, key=lambda one: one[1])


def _points(piece: Piece) -> tuple[float, ...]:
    step = piece.length / _LOOKS
    return (*(piece.start + k * step for k in range(_LOOKS)), piece.end)
