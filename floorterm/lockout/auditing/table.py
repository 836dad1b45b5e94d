"""The rules and the jurisdictions as data: `rule_table.json` and `profiles.json` beside this module.

`source` tells how a rule's wording was obtained: S the clause was read, P part of it was read, M from memory,
"own" a rule of this program. What rests on memory stays marked until a person compares it with the current
regulation and puts their name into `confirmed_by`.
"""

import json
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any, Literal

from msgspec import Struct, field

from floorterm.wording import FALLBACK, words

Level = Literal["V", "W", "P", "A"]


class Rule(Struct, frozen=True, kw_only=True):
    """One rule: its clause, how its wording was obtained, and whether it is only the site's own.

    `said` names the wording of a clause that is more than a citation.
    """

    id: str
    clause: str
    source: str
    said: str = ""
    site_policy: bool = False
    confirmed_by: str = ""

    def clause_in(self, language: str) -> str:
        """The clause as it is shown in a language."""
        return _clause(self.said, language) if self.said else self.clause

    def requirement(self, language: str = "en") -> str:
        """What the rule asks for, in our own words."""
        return words(f"audit.rule.{self.id}", language)

    @property
    def from_memory(self) -> bool:
        """Whether any of its wording rests on memory and nobody has confirmed it yet."""
        return any(mark in self.source for mark in ("M", "P")) and not self.confirmed_by


class Profile(Struct, frozen=True, kw_only=True):
    """A jurisdiction: which rules are only site policy there, which are not asked, which are added.

    `status` marks how its texts were read.
    """

    id: str
    status: str
    site_policy: frozenset[str] = frozenset()
    not_asked: frozenset[str] = frozenset()
    added: frozenset[str] = frozenset()
    options: frozenset[str] = frozenset()
    notes: tuple[str, ...] = field(default=())

    def source_in(self, language: str) -> str:
        """The texts that it rests on, named in a language."""
        return words(f"audit.law.{self.id}", language)


def _data(name: str) -> Any:
    return json.loads((files(__package__) / name).read_text(encoding="utf-8"))


@cache
def rules() -> Mapping[str, Rule]:
    """Every rule by its id, in the order of the table."""
    return MappingProxyType({name: _rule(name, **row) for name, row in _data("rule_table.json").items()})


def _rule(name: str, *, said: str = "", clause: str = "", **row: Any) -> Rule:
    return Rule(id=name, clause=_clause(said, FALLBACK) if said else clause, said=said, **row)


def _clause(said: str, language: str) -> str:
    return words(f"audit.clause.{said}", language)


@cache
def rests_on_memory(clause: str) -> bool:
    """Whether the wording behind a clause, as a refusal names it, was never compared with the regulation's text."""
    return any(
        rule.from_memory and (rule.clause == clause or rule.clause.startswith(f"{clause}("))
        for rule in rules().values()
    )


@cache
def profiles() -> Mapping[str, Profile]:
    """Every jurisdiction by its id."""
    sets = ("site_policy", "not_asked", "added", "options")
    return MappingProxyType(
        {
            name: Profile(
                id=name,
                status=row["status"],
                notes=tuple(row.get("notes", ())),
                **{key: frozenset(row.get(key, ())) for key in sets},
            )
            for name, row in _data("profiles.json").items()
        }
    )
