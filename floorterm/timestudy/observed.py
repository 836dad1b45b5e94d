"""From the state of a changeover to the durations of its steps, each with a doubt where it must not be learned from.

No sign-off says when its step began. It began when the last of what it comes after was done and its person was free;
a dwell begins with its own predecessors alone. Pauses, and minutes that somebody explained with a name and a reason,
are taken out. Which times are marked: planning practice of this project (`batch`, `minimum`: no outside source).
"""

from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from datetime import datetime
from decimal import Decimal
from itertools import pairwise
from typing import Literal

from msgspec import Struct

from floorterm.changeover.minutes import last_good_bar, pauses_of, waited_for
from floorterm.changeover.standard import minutes_of
from floorterm.changeover.state import Signed, State
from floorterm.changeover.worksheet import Step, Text

Doubt = Literal[
    "",
    "paper",  # its time is what a paper says
    "batch",  # signed within two seconds of another step by the same person
    "minimum",  # shorter than the machine or the dwell allows
    "clock",  # the clock was set, or ran back, while it lasted
]

BATCH_S = 2


class Observation(Struct, frozen=True, kw_only=True):
    """How long one step took once, in seconds. `families` are those of the outgoing and the incoming fragrance,
    `crew` the people who signed in that changeover, `place` the step's place in its checklist, `by` who did it.

    `begun` to `at` is the whole time, `seconds` less pauses and what was explained. `alone`: a dwell, beside which
    nobody stands.
    `external`: planned while the line runs; `stopped`: it was done after the last good outgoing bar. `locked`: it
    belongs to a lockout, is done under one, or is about protection; such a step is never proposed to be moved.
    """

    work: str
    line: str
    step: str
    text: Text
    place: int
    families: tuple[str, str]
    crew: int
    by: str
    begun: datetime
    at: datetime
    seconds: int
    standard_s: int
    external: bool
    stopped: bool
    locked: bool
    alone: bool
    doubt: Doubt = ""

    @property
    def minutes(self) -> float:
        """The same in minutes."""
        return self.seconds / 60


def observed(
    state: State, families: Mapping[str, str], clock_set: AbstractSet[int] = frozenset()
) -> tuple[Observation, ...]:
    """Every signature of a changeover as an observation, in the order of time.

    `families`: the family of each fragrance by its id (its id, where it has none); `clock_set`: the numbers of entries
    before which a clock was set.
    """
    signed = sorted(state.history, key=lambda one: (one.done_at, one.n))
    crew = len({one.done_by for one in signed})
    pair = state.title
    both = families.get(pair[0], pair[0]), families.get(pair[1], pair[1])
    places = {step.id: place for place, step in enumerate(state.worksheet.steps())}
    batches = _batches(signed)
    back = _ran_back(signed)
    bar = last_good_bar(state)
    found = []
    for place, one in enumerate(signed):
        step = state.worksheet.step(one.act.step)
        if step is None:  # a redirected worksheet no longer has it
            continue
        before = _begun_by(step, state, signed, place)
        begun = signed[before].done_at if before is not None else state.started_at
        first = signed[before].n if before is not None else 0
        seconds = _worked(state, step.id, begun, one.done_at)
        doubt: Doubt = ""
        if one.paper is not None or (before is not None and signed[before].paper is not None):
            doubt = "paper"
        elif one.n in back or any(first < n < one.n for n in clock_set):
            doubt = "clock"
        elif one.n in batches:
            doubt = "batch"
        elif seconds <= 0 or seconds < least_s(state, step):
            doubt = "minimum"
        found.append(
            Observation(
                work=state.work,
                line=state.worksheet.line.id,
                step=step.id,
                text=step.text,
                place=places[step.id],
                families=both,
                crew=crew,
                by=one.name if one.paper is None else one.paper.name,
                begun=begun,
                at=one.done_at,
                seconds=seconds,
                standard_s=int(minutes_of(state.worksheet, step, _kg(state, step)) * 60),
                external=step.external,
                stopped=bar is not None and one.done_at > bar,
                locked=_locked(step),
                alone=step.kind == "wait",
                doubt=doubt,
            )
        )
    return tuple(found)


def least_s(state: State, step: Step) -> Decimal:
    """Seconds below which a step cannot have been done: a dwell, or the flushed kg at the line's utmost rate."""
    if step.kind == "wait" and step.dwell_min is not None:
        return step.dwell_min * 60
    note = state.worksheet.flush
    if step.kind == "flush" and note is not None and step.id in state.flush:
        return state.flush[step.id].pushed_kg / note.most_kg_h * 3600
    return Decimal(0)


def _kg(state: State, step: Step) -> Decimal | None:
    return state.flush[step.id].required_kg if step.id in state.flush else None


def _locked(step: Step) -> bool:
    return step.kind in ("lockout", "protect") or bool(step.needs_lockout) or step.critical == "safety"


def _begun_by(step: Step, state: State, signed: Sequence[Signed], place: int) -> int | None:
    """What the step had to wait for; nobody stands beside a dwell, so its person's other work says nothing."""
    if step.kind != "wait":
        return waited_for(state.worksheet, signed, place)
    names = {*step.after, step.since}
    return next((at for at in range(place - 1, -1, -1) if signed[at].act.step in names), None)


def _worked(state: State, step: str, begun: datetime, done: datetime) -> int:
    """Seconds from begin to end, without pauses and without what somebody explained of this step."""
    span = (done - begun).total_seconds()
    for stop in pauses_of(state, done):
        span -= max(0.0, (min(stop.until, done) - max(stop.since, begun)).total_seconds())
    told = sum(one.minutes * 60 for one in state.told if one.step == step)
    over = max(0.0, span - told)
    return int(over if told else span)


def _batches(signed: Sequence[Signed]) -> frozenset[int]:
    """Entries of a person within two seconds of that person's last: ticked together, not done together."""
    people: dict[str, list[Signed]] = {}
    for one in signed:
        if one.paper is None:
            people.setdefault(one.person, []).append(one)
    close = (
        {before.n, now.n}
        for own in people.values()
        for before, now in pairwise(own)
        if (now.at - before.at).total_seconds() <= BATCH_S
    )
    return frozenset().union(*close)


def _ran_back(signed: Sequence[Signed]) -> frozenset[int]:
    """Entries whose time is before that of an entry with a smaller number, and the one after which that happened."""
    found: set[int] = set()
    latest: Signed | None = None
    for one in sorted((one for one in signed if one.paper is None), key=lambda one: one.n):
        if latest is not None and one.at < latest.at:
            found |= {latest.n, one.n}
        else:
            latest = one
    return frozenset(found)


def doubts(observations: Sequence[Observation]) -> Iterator[tuple[str, int]]:
    """How many observations each doubt has, the most first."""
    counts: dict[str, int] = {}
    for one in observations:
        if one.doubt:
            counts[one.doubt] = counts.get(one.doubt, 0) + 1
    yield from sorted(counts.items(), key=lambda item: (-item[1], item[0]))
