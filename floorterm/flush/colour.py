"""The colour rule: from which residue the outgoing colour shows in the incoming bar.

Difference: CIEDE2000 (CIE 142-2001; ISO/CIE 11664-6), kL = kC = kH = 1, written out here because the search
for the first visible residue asks for it hundreds of times a pair: a colour package would cost a tenth of a
second to import, and an object each time. Mixing: Kubelka-Munk with a single constant per band.
"""

from collections.abc import Callable, Sequence
from functools import lru_cache
from math import atan2, cos, degrees, exp, hypot, radians, sin, sqrt

from floorterm.flush.bars import Bar, Rules
from floorterm.flush.candidate import Candidate, Datum, joined
from floorterm.flush.errors import LimitInputError, as_number
from floorterm.flush.grounds import SRGB_BANDS, BarColour, Lab, Weights
from floorterm.library.tables import worst_confidence
from floorterm.wording import Say

_HALF_TURN = 180.0 + 1e-9  # hue angles half a turn apart must not flip on the last bit of a float
_CUBE = (6.0 / 29.0) ** 3
_SMALLEST, _RATIO, _EVEN_STEPS = 1e-12, 1.05, 400
RULE = "CIEDE2000 (CIE 142-2001; ISO/CIE 11664-6); Kubelka-Munk, single constant per band"
RULE_LINE = "CIEDE2000 (CIE 142-2001; ISO/CIE 11664-6); straight line in CIELAB"


def ciede2000(first: Lab, second: Lab) -> float:
    """The CIEDE2000 difference of two colours in CIELAB, no unit. Source: CIE 142-2001; the branches of the
    hue angles as in Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21-30.
    """
    mean_c = 0.5 * (hypot(first[1], first[2]) + hypot(second[1], second[2]))
    stretch = 1.5 - 0.5 * sqrt(mean_c**7 / (mean_c**7 + 25.0**7))
    c1, h1 = _polar(first[1] * stretch, first[2])
    c2, h2 = _polar(second[1] * stretch, second[2])
    coloured = c1 * c2 != 0.0
    turn = h2 - h1 if coloured else 0.0
    if turn > _HALF_TURN:
        turn -= 360.0
    elif turn < -_HALF_TURN:
        turn += 360.0
    mean_h = h1 + h2
    if coloured:
        if abs(h1 - h2) > _HALF_TURN:
            mean_h += 360.0 if mean_h < 360.0 else -360.0
        mean_h *= 0.5
    mean_l, mean_c = 0.5 * (first[0] + second[0]), 0.5 * (c1 + c2)
    t = (
        1.0
        - 0.17 * cos(radians(mean_h - 30.0))
        + 0.24 * cos(radians(2.0 * mean_h))
        + 0.32 * cos(radians(3.0 * mean_h + 6.0))
        - 0.20 * cos(radians(4.0 * mean_h - 63.0))
    )
    off_middle = (mean_l - 50.0) ** 2
    light = (second[0] - first[0]) / (1.0 + 0.015 * off_middle / sqrt(20.0 + off_middle))
    chroma = (c2 - c1) / (1.0 + 0.045 * mean_c)
    hue = 2.0 * sqrt(c1 * c2) * sin(radians(0.5 * turn)) / (1.0 + 0.015 * mean_c * t)
    blue = exp(-(((mean_h - 275.0) / 25.0) ** 2))
    twist = -2.0 * sqrt(mean_c**7 / (mean_c**7 + 25.0**7)) * sin(radians(60.0 * blue))
    return sqrt(max(0.0, light**2 + chroma**2 + hue**2 + twist * chroma * hue))


def _polar(a: float, b: float) -> tuple[float, float]:
    """Chroma, and the hue angle in 0..360 degrees."""
    return hypot(a, b), degrees(atan2(b, a)) % 360.0


def lab_of(bands: Sequence[float], weights: Weights = SRGB_BANDS) -> Lab:
    """CIELAB of reflectances by band, with the white where every band reflects all. Source: CIE 15."""

    def scaled(axis: int) -> float:
        white = sum(row[axis] for row in weights)
        part = sum(band * row[axis] for band, row in zip(bands, weights, strict=True)) / white
        return part ** (1.0 / 3.0) if part > _CUBE else part / (3.0 * (6.0 / 29.0) ** 2) + 4.0 / 29.0

    x, y, z = scaled(0), scaled(1), scaled(2)
    return 116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)


def absorption_ratio(reflectance: float) -> float:
    """K/S of an opaque layer: (1 - R)^2 / (2 R). Source: Kubelka and Munk; R in (0, 1]."""
    value = as_number(LimitInputError, "reflectance", reflectance, high=1.0, low_open=True)
    return (1.0 - value) ** 2 / (2.0 * value)


def reflectance_of(ratio: float) -> float:
    """R of an opaque layer of absorption ratio K/S: 1 + K/S - sqrt((K/S)^2 + 2 K/S), written without the
    difference of two large numbers.
    """
    return 1.0 / (1.0 + ratio + sqrt(ratio * (ratio + 2.0)))


def kubelka_munk(incoming: Sequence[float], outgoing: Sequence[float], share: float) -> tuple[float, ...]:
    """Reflectance by band of a mix with the mass share `share` of the outgoing bar: K/S adds up by mass."""
    return tuple(
        reflectance_of((1.0 - share) * absorption_ratio(here) + share * absorption_ratio(there))
        for here, there in zip(incoming, outgoing, strict=True)
    )


def first_above(difference: Callable[[float], float], limit: float) -> float:
    """The first share in 0..1 at which a difference passes the limit; 1.0 if it never does.

    The difference need not rise all the way, so small shares are scanned first; then bisection to 1e-9.
    """
    below = 0.0
    for share in _scan():
        if difference(share) > limit:
            low, high = below, share
            while high - low > 1e-10 * high:
                middle = 0.5 * (low + high)
                if difference(middle) > limit:
                    high = middle
                else:
                    low = middle
            return low
        below = share
    return 1.0


@lru_cache(maxsize=1)
def _scan() -> tuple[float, ...]:
    shares = {step / _EVEN_STEPS for step in range(1, _EVEN_STEPS + 1)}
    share = _SMALLEST
    while share < 1.0:
        shares.add(share)
        share *= _RATIO
    return tuple(sorted(shares))


@lru_cache(maxsize=512)
def share_by_bands(
    incoming: tuple[float, ...], outgoing: tuple[float, ...], limit: float, weights: Weights = SRGB_BANDS
) -> float:
    """The first share of the outgoing bar whose colour differs from the incoming one by more than `limit`
    (CIEDE2000), mixed by Kubelka-Munk in bands; 1.0 if none does.
    """
    standard = lab_of(incoming, weights)
    ratios = [
        (absorption_ratio(here), absorption_ratio(there))
        for here, there in zip(incoming, outgoing, strict=True)
    ]

    def difference(share: float) -> float:
        mix = [reflectance_of((1.0 - share) * here + share * there) for here, there in ratios]
        return ciede2000(standard, lab_of(mix, weights))

    return first_above(difference, limit)


@lru_cache(maxsize=512)
def share_on_line(incoming: Lab, outgoing: Lab, limit: float) -> float:
    """As `share_by_bands`, but mixed on a straight line in CIELAB: far too generous for dark into light."""

    def difference(share: float) -> float:
        lightness, a, b = (
            (1.0 - share) * here + share * there for here, there in zip(incoming, outgoing, strict=True)
        )
        return ciede2000(incoming, (lightness, a, b))

    return first_above(difference, limit)


def colour_candidates(outgoing: Bar, incoming: Bar, rules: Rules) -> tuple[Candidate, ...]:
    """The limit of the colour where both bars state enough of theirs; empty otherwise."""
    rule, old, new = rules.colour, outgoing.colour, incoming.colour
    if rule is None or old is None or new is None:
        return ()
    line = rule.straight_line
    if not line and not _comparable(old, new):
        return ()
    here, there = standard_of(new, line=line), standard_of(old, line=line)

    def share(limit: float) -> float:
        if line:
            return share_on_line(here, there, limit)
        return share_by_bands(new.bands, old.bands, limit, new.weights)

    limit = share(rule.limit_de)
    return (
        Candidate(
            criterion="colour",
            item="delta_e_2000",
            limit=limit,
            reason="limits" if limit < 1.0 else "free",
            outgoing=outgoing.name,
            threshold=rule.limit_de,
            data=(
                Datum("method", "straight_line" if line else "kubelka_munk"),
                Datum("difference_of_the_bars", ciede2000(here, there), "dE00"),
                Datum("limit", rule.limit_de, "dE00"),
                Datum("warn", rule.warn_de, "dE00"),
                Datum("warn_residue", share(rule.warn_de)),
                *_colour_data("incoming", new, line=line),
                *_colour_data("outgoing", old, line=line),
            ),
            source=joined(RULE_LINE if line else RULE, old.source, new.source),
            confidence=worst_confidence(old.confidence, new.confidence),
        ),
    )


def colour_notes(outgoing: Bar, incoming: Bar, rules: Rules) -> tuple[Say, ...]:
    """What to say of the colour besides its limit: not judged, too generous, or bands against standard."""
    rule, old, new = rules.colour, outgoing.colour, incoming.colour
    if rule is None or (old is None and new is None):
        return ()
    names = {"outgoing": outgoing.name, "incoming": incoming.name}
    if old is None or new is None or not (rule.straight_line or _comparable(old, new)):
        if old is not None and new is not None and old.lab is not None and old.lab == new.lab:
            return ()
        return (Say("limits.note.colour_not_judged", names),)
    found = [Say("limits.note.straight_line", names)] if rule.straight_line else []
    for name, one in ((outgoing.name, old), (incoming.name, new)):
        if one.bands and one.lab is not None:
            apart = ciede2000(one.lab, lab_of(one.bands, one.weights))
            if apart > rule.warn_de:
                found.append(Say("limits.note.bands_and_lab", {"bar": name, "difference": f"{apart:.2g}"}))
    return tuple(found)


def standard_of(colour: BarColour, *, line: bool = False) -> Lab:
    """The Lab that a colour is judged by: that of its bands, or the stated one where a line is asked for."""
    if colour.lab is not None and (line or not colour.bands):
        return colour.lab
    return lab_of(colour.bands, colour.weights)


def _comparable(old: BarColour, new: BarColour) -> bool:
    return bool(old.bands and new.bands) and old.weights == new.weights


def _colour_data(which: str, colour: BarColour, *, line: bool) -> tuple[Datum, ...]:
    if line:
        return tuple(
            Datum(f"{which}_{axis}", value)
            for axis, value in zip("Lab", standard_of(colour, line=True), strict=True)
        )
    return tuple(Datum(f"{which}_band_{number}", band) for number, band in enumerate(colour.bands, start=1))
