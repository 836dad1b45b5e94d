"""How facts of the record are spoken on a screen: the plant's texts, numbers, minutes, times. Pure."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from decimal import Decimal

from floorterm.languages import day, grouped, in_, number
from floorterm.wording import FALLBACK, Fact, Refusal, Say, sentence, words

Texts = Mapping[str, str]
_WORD_UNITS = frozenset(
    {"bars", "cartons", "cases", "pallets", "labels", "wraps", "reels", "screens", "tools", "dies", "bolts", "locks",
     "people", "count"}
)  # fmt: skip


def tell(text: Texts | str, language: str) -> str:
    """A text of the plant in a language; its unreviewed draft, then English, where there is none. A text in no
    language stands as it is.
    """
    if isinstance(text, str):
        return text
    return in_(text, language)


def unreviewed(texts: Iterable[Texts], language: str) -> bool:
    """Whether any of the texts stands on screen without a reviewed translation into that language."""
    return any(bool(text) and language not in text for text in texts)


def kg(value: Decimal, language: str) -> str:
    """Mass in kg for people: whole numbers without decimals, others with those that were entered."""
    if value == value.to_integral_value():
        return grouped(value, language)
    return number(value.normalize(), language)


def span(minutes: int) -> str:
    """Minutes as hours and minutes: 47 is 0:47."""
    return f"{minutes // 60}:{minutes % 60:02d}"


def clock(at: datetime, now: datetime, language: str = FALLBACK) -> str:
    """A time of day as people say it; with the date when it was another day than `now`. Without a language it is a
    fact for a sentence, which gives the date the form of its own.
    """
    at = at.astimezone(now.tzinfo)
    return f"{at:%H:%M}" if at.date() == now.date() else f"{day(at, language)} {at:%H:%M}"


def minutes_between(since: datetime, until: datetime) -> int:
    """Whole minutes from one instant to the other; never negative."""
    return max(0, int((until - since).total_seconds() // 60))


def unit_text(unit: str, language: str) -> str:
    """A unit as people say it: the few that are words are spoken in their language, symbols stay."""
    return say(f"unit_{unit}", language) if unit in _WORD_UNITS else unit


def duty_name(duty: str, language: str, duties: Mapping[str, Texts]) -> str:
    """A duty as the plant calls it; its id in plain words where the plant gives no name."""
    return tell(duties.get(duty, {}), language) or duty.replace("_", " ")


def say(key: str, language: str, **facts: Fact) -> str:
    """A wording of the Work screen family."""
    return words(f"work.{key}", language, **facts)


def rule_text(refusal: Refusal, language: str) -> str:
    """The rule behind a refusal: clauses and ids as they are, "site policy" in the reader's language.

    A clause whose wording nobody has compared with the regulation's text says so.
    """
    from floorterm.lockout.auditing.table import rests_on_memory  # noqa: PLC0415  only where something is refused

    if refusal.rule == "site policy":
        return say("site_policy", language)
    if rests_on_memory(refusal.rule):
        return say("rule_from_memory", language, rule=refusal.rule)
    return refusal.rule


def spoken(what: Say, language: str) -> str:
    """A sentence that a rule made."""
    return sentence(what, language)
