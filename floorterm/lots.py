"""Lots of a plant: read from its ledger and written into it. The answers themselves are `floorterm.genealogy`."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from floorterm.changeover.acts import STARTED
from floorterm.changeover.worksheet import FASTEST
from floorterm.entries import Entry, clean_text, stamp
from floorterm.genealogy.model import MADE_SORTS, TAKEN_SORTS, Lot, Past, Verdict
from floorterm.genealogy.reading import JUDGED, KINDS, MADE, TAKEN, past_of
from floorterm.genealogy.rules import Limits, Running, judge_refusals, made_refusals, take_refusals
from floorterm.genealogy.trace import Link, links
from floorterm.recording import recorded
from floorterm.wording import Count, Refusal, Say

if TYPE_CHECKING:
    from floorterm.ledger import Asked
    from floorterm.plant import Plant, Who


# --- reading ----------------------------------------------------------------------------------------


def past(plant: "Plant", since: datetime | None = None) -> Past:
    """Every lot that the record names; `since` leaves out works that began before, and entries before."""
    entries = plant.ledger.entries(kinds=KINDS, since=since)
    started = plant.ledger.refs(kinds=(STARTED,), since=since)
    works = [plant.ledger.entries(changeover=ref.changeover) for ref in started]
    return past_of(entries, works)


def links_of(plant: "Plant", found: Past) -> tuple[Link, ...]:
    """What touched what, with what each line carries by its own holdups."""
    return links(found, carry_kg(plant))


def carry_kg(plant: "Plant") -> Mapping[str, Decimal]:
    """Kilograms that must leave a line until a lot counts as gone, by line."""
    holdups = plant.library.plant.lots.carry_holdups
    return {
        name: holdups * sum((unit.mixed_kg + unit.plug_kg for unit in line.units), line.return_kg)
        for name, line in plant.library.lines.items()
    }


def running(plant: "Plant", line: str) -> Running | None:
    """What a line makes by the record: the incoming fragrance of an open changeover, else what it holds."""
    now = plant.line_now(line)
    name = str(now.changeover.worksheet.facts.get("incoming", "")) if now.changeover else ""
    name = name or (now.holds.fragrances[0] if now.holds.fragrances else "")
    fragrance = plant.library.fragrances.get(name)
    return Running(fragrance=name, unscented=fragrance.unscented) if fragrance is not None else None


def lot_of(text: str) -> Lot:
    """A lot written as `sort:name`. Raises ValueError."""
    sort, _, name = text.partition(":")
    for known in (*TAKEN_SORTS, *MADE_SORTS):
        if sort == known and name.strip():
            return Lot(known, name.strip())
    raise ValueError(text)


def at_least_zero(text: str) -> Decimal:
    """A number as typed, never through binary fractions. Raises ValueError."""
    try:
        found = Decimal(text)
    except InvalidOperation:
        raise ValueError(text) from None
    if not found.is_finite() or found < 0:
        raise ValueError(text)
    return found


# --- writing ----------------------------------------------------------------------------------------


def take(
    plant: "Plant",
    who: "Who",
    line: str,
    lot: Lot,
    *,
    share_pct: Decimal | None = None,
    facts: Mapping[str, Decimal] | None = None,
    key: str,
) -> Entry:
    """Record that a lot is in use from now on. Raises RefusedError with every reason, TextError."""
    lot = Lot(lot.sort, clean_text(lot.name))
    policy = plant.library.plant.lots
    limits = Limits(
        own_rework_max_pct=policy.own_rework_max_pct,
        other_rework_max_pct=policy.other_rework_max_pct,
        rework_max_age_d=policy.rework_max_age_d,
    )
    runs = running(plant, line)

    def guard(asked: "Asked") -> Sequence[Refusal]:
        known = past_of(asked.entries(kinds=KINDS), ())
        return (*_of_line(plant, line), *take_refusals(lot, share_pct, known, runs, limits, asked.now))

    value: dict[str, Any] = {"sort": lot.sort, "lot": lot.name}
    if share_pct is not None:
        value["share_pct"] = f"{share_pct:f}"
    if facts:
        value["facts"] = {name: f"{number:f}" for name, number in facts.items()}
    return recorded(plant, who, TAKEN, value, "recorded", guard, key, line=line)


def make(
    plant: "Plant",
    who: "Who",
    line: str,
    lot: Lot,
    begun: datetime,
    *,
    kg: Decimal | None = None,
    fragrances: Sequence[str] = (),
    key: str,
) -> Entry:
    """Record that a pallet or bin is full; it was begun at `begun`. Raises RefusedError, TextError."""
    lot = Lot(lot.sort, clean_text(lot.name))
    runs = running(plant, line)
    inside = tuple(fragrances) or ((runs.fragrance,) if runs else ())

    def guard(asked: "Asked") -> Sequence[Refusal]:
        known = past_of(asked.entries(kinds=KINDS), ())
        found = [*_of_line(plant, line), *made_refusals(lot, kg, known)]
        if begun > asked.now:
            found.append(Refusal(Say("lots.begun_later"), "site policy"))
        elif kg is not None and (most := _most_kg(plant, line, asked.now - begun)) is not None and kg > most:
            found.append(Refusal(Say("lots.too_much", {"most": Count(int(most))}), "site policy"))
        if not inside or any(name not in plant.library.fragrances for name in inside):
            found.append(
                Refusal(Say("lots.no_fragrance", {"names": ", ".join(inside) or "-"}), "site policy")
            )
        return found

    value: dict[str, Any] = {
        "sort": lot.sort,
        "lot": lot.name,
        "begun": stamp(begun),
        "fragrances": list(inside),
    }
    if kg is not None:
        value["kg"] = f"{kg:f}"
    return recorded(plant, who, MADE, value, "recorded", guard, key, line=line)


def _most_kg(plant: "Plant", line: str, took: timedelta) -> Decimal | None:
    """What a line can have filled in that time. A zero too many would end a lot's trace before the lot has left."""
    known = plant.library.lines.get(line)
    if known is None:
        return None
    minutes = Decimal(int(took.total_seconds() // 60) + 1)  # the begin is told to the minute
    return known.rate_kg_h * FASTEST * minutes / 60


def judge(
    plant: "Plant",
    who: "Who",
    lot: Lot,
    verdict: Verdict,
    reason: str,
    *,
    into: Sequence[str] = (),
    max_share_pct: Decimal | None = None,
    key: str,
) -> Entry:
    """Record what becomes of a bin of rework. Raises RefusedError with every reason, TextError."""
    reason = clean_text(reason)

    def guard(asked: "Asked") -> Sequence[Refusal]:
        known = past_of(asked.entries(kinds=KINDS), ())
        found = list(judge_refusals(lot, verdict, into, reason, known, asked.person))
        if wrong := [name for name in into if name not in plant.library.fragrances]:
            found.append(Refusal(Say("lots.no_fragrance", {"names": ", ".join(wrong)}), "site policy"))
        return found

    value: dict[str, Any] = {"lot": lot.name, "verdict": verdict}
    if into:
        value["into"] = list(into)
    if max_share_pct is not None:
        value["max_share_pct"] = f"{max_share_pct:f}"
    return recorded(plant, who, JUDGED, value, "judged", guard, key, reason=reason)


def _of_line(plant: "Plant", line: str) -> tuple[Refusal, ...]:
    if line in plant.library.lines:
        return ()
    return (Refusal(Say("lots.no_line", {"line": line}), "site policy"),)
