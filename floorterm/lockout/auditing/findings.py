"""Findings: one thing that a record shows, lacks, or cannot show, with the rule and clause behind it."""

from collections.abc import Iterable, Mapping

from msgspec import Struct, field

from floorterm.lockout.auditing.record import Event
from floorterm.lockout.auditing.table import Level, Rule, rules
from floorterm.wording import FALLBACK, Fact, Say, sentence


class Finding(Struct, frozen=True, kw_only=True):
    """One finding. `level`: V violation, W warning, P pending, A needs a person's attestation.

    `persons` are those whom it is about, `by` those whose act, or omission, it is: who removed a lock, not its owner.
    `at_n` is the number of the event that it is about (None: the job as a whole), `entry` that event's number
    in the ledger where the record comes from one. `site_policy` findings are not part of the regulation.
    """

    rule: str
    level: Level
    at_n: int | None
    persons: tuple[str, ...]
    say: Say
    by: tuple[str, ...] = ()
    job: str = ""
    entry: int | None = None
    points: tuple[str, ...] = ()
    site_policy: bool = False

    @property
    def text(self) -> str:
        """The finding as an English sentence."""
        return self.text_in(FALLBACK)

    def text_in(self, language: str) -> str:
        """The finding as a sentence in a language."""
        return sentence(self.say, language)

    @property
    def clause(self) -> str:
        """The clause behind the rule, as programs read it."""
        return rules()[self.rule].clause

    @property
    def about(self) -> Rule:
        """The rule's row: its clause, its source and what it asks for."""
        return rules()[self.rule]


class Found(Struct, frozen=True):
    """A finding before it is told which job it belongs to; what the rules give back.

    `by` None: whoever recorded the event.
    """

    rule: str
    level: Level
    key: str
    event: Event | None = None
    persons: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    facts: Mapping[str, Fact] = field(default_factory=dict)
    site_policy: bool = False
    by: tuple[str, ...] | None = None


def named(codes: Iterable[str]) -> str:
    """Codes for a sentence; nobody named is shown as a question mark."""
    return ", ".join(code or "?" for code in codes) or "-"


def finding(found: Found, job: str, site_policy: frozenset[str]) -> Finding:
    """The finding that a rule's result stands for in a job, under a jurisdiction's site-policy rules."""
    event = found.event
    when: dict[str, Fact] = {"at": "-", "by": "-"}
    if event is not None:
        when = {"at": event.number, "by": event.by or "?"}
    facts = {**when, "persons": named(found.persons), "points": named(found.points), **found.facts}
    return Finding(
        rule=found.rule,
        level=found.level,
        at_n=event.n if event else None,
        persons=found.persons,
        by=found.by if found.by is not None else (event.by,) if event is not None and event.by else (),
        points=found.points,
        say=Say(f"audit.{found.key}", facts),
        job=job,
        entry=event.entry if event else None,
        site_policy=found.site_policy or found.rule in site_policy or rules()[found.rule].site_policy,
    )
