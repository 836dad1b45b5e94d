"""Which lots may be taken, made and judged. Limits are the plant's; defaults are common practice, no source."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal

from msgspec import Struct

from floorterm.access import Right, has_right
from floorterm.genealogy.model import MADE_SORTS, TAKEN_SORTS, Lot, Past, Verdict
from floorterm.people import Person
from floorterm.wording import Fact, Refusal, Say

_RULE = "site policy"


class Limits(Struct, frozen=True, kw_only=True):
    """Rework: the largest share of a bin of the same fragrance and of any other, in %, and its greatest age."""

    own_rework_max_pct: Decimal
    other_rework_max_pct: Decimal
    rework_max_age_d: int


class Running(Struct, frozen=True, kw_only=True):
    """What a line makes: the fragrance, and whether it is unscented."""

    fragrance: str
    unscented: bool


def take_refusals(
    lot: Lot, share_pct: Decimal | None, past: Past, running: Running | None, limits: Limits, now: datetime
) -> tuple[Refusal, ...]:
    """Why a lot may not be taken into use. Any lot of a supplier may; a bin of rework only as it was released."""
    if not lot.name or lot.sort not in TAKEN_SORTS:
        return (_no("no_lot"),)
    if lot.sort != "bin":
        return ()
    made, verdict = past.made_as(lot), past.verdict(lot)
    if made is None:
        return (_no("unknown_bin", lot=lot.name),)
    found = []
    if verdict is None or verdict.verdict != "released":
        found.append(_no("not_released", lot=lot.name))
    if now - made.at > timedelta(days=limits.rework_max_age_d):
        found.append(_no("too_old", lot=lot.name, days=limits.rework_max_age_d))
    if running is None:
        return (*found, _no("runs_nothing"))
    if running.unscented:
        found.append(_no("unscented"))
    if verdict is not None and running.fragrance not in verdict.into:
        found.append(_no("not_into", lot=lot.name, fragrance=running.fragrance))
    own = made.fragrances == (running.fragrance,)
    most = limits.own_rework_max_pct if own else limits.other_rework_max_pct
    if verdict is not None and verdict.max_share_pct is not None:
        most = min(most, verdict.max_share_pct)
    if share_pct is None or not 0 < share_pct <= most:
        found.append(_no("share", most=f"{most.normalize():f}"))
    return tuple(found)


def made_refusals(lot: Lot, kg: Decimal | None, past: Past) -> tuple[Refusal, ...]:
    """Why a pallet or bin may not be recorded: every one has a name of its own."""
    if not lot.name or lot.sort not in MADE_SORTS:
        return (_no("no_lot"),)
    found = []
    if past.made_as(lot) is not None:
        found.append(_no("made_before", lot=lot.name))
    if kg is not None and kg <= 0:
        found.append(_no("no_kg"))
    return tuple(found)


def judge_refusals(
    lot: Lot, verdict: Verdict, into: Sequence[str], reason: str, past: Past, person: Person | None
) -> tuple[Refusal, ...]:
    """Why a bin may not be judged: a supervisor says for which fragrances, or that it is waste, and why."""
    found = []
    if not has_right(person, Right.JUDGE_REWORK):
        found.append(_no("supervisor"))
    if past.made_as(lot) is None:
        found.append(_no("unknown_bin", lot=lot.name))
    if verdict == "released" and not into:
        found.append(_no("into_what"))
    if not reason:
        found.append(_no("reason"))
    return tuple(found)


def _no(key: str, **facts: Fact) -> Refusal:
    return Refusal(Say(f"lots.{key}", facts), _RULE)
