"""Changeovers with times that a test chooses."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from floorterm.changeover.acts import SignStep
from floorterm.changeover.state import Signed, State
from floorterm.changeover.worksheet import Named, Section, Step, Worksheet

BEGIN = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)


def step(name: str, minutes: int, *after: str, **more: Any) -> Step:
    """A step of section `s`."""
    fields: dict[str, Any] = {"kind": "confirm", "duty": "operator", **more}
    return Step(
        id=f"s/{name}",
        text={"en": name},
        standard_min=Decimal(minutes),
        after=tuple(f"s/{one}" for one in after),
        **fields,
    )


def sheet(*steps: Step, outgoing: str = "a", incoming: str = "b") -> Worksheet:
    """A worksheet of line 1."""
    return Worksheet(
        line=Named(id="L1", name={"en": "Line 1"}),
        outgoing=Named(id=outgoing, name={"en": outgoing.upper()}),
        incoming=Named(id=incoming, name={"en": incoming.upper()}),
        on=date(2026, 3, 2),
        sections=(Section(id="s", title={"en": "S"}, steps=steps),),
    )


SHEET = sheet(
    step("fetch", 4, external=True),
    step("last", 1, mark="last_good_outgoing"),
    step("clean", 10, "last"),
    step("fit", 5, "clean"),
    step("first", 4, "fit", mark="first_good_incoming"),
)


def released(
    times: list[tuple[str, float, str]],
    *,
    work: str = "C-0001",
    worksheet: Worksheet = SHEET,
    begin: datetime = BEGIN,
    counters: dict[str, int] | None = None,
    **more: Any,
) -> State:
    """A released changeover: (step, minute after the start, person) in the order of their entries."""
    history = tuple(
        Signed(
            act=SignStep(step=f"s/{name}", counter=(counters or {}).get(name)),
            n=n,
            at=begin + timedelta(minutes=minute),
            person=by,
            name=by,
        )
        for n, (name, minute, by) in enumerate(times, 2)
    )
    fields: dict[str, Any] = {
        "status": "released",
        "ended_at": max(one.at for one in history),
        "signed": {one.act.step: one for one in history},
        **more,
    }
    return State(
        work=work,
        worksheet=worksheet,
        started_at=begin,
        started_by="J. Pell",
        last_at=history[-1].at,
        last_n=history[-1].n,
        history=history,
        **fields,
    )


def usual(
    clean: float, *, work: str = "C-0001", begin: datetime = BEGIN, counters: dict[str, int] | None = None
) -> State:
    """Every step at its standard but the cleaning, which takes so many minutes."""
    times = [("fetch", 4.0, "AA"), ("last", 5.0, "AA")]
    at = 5.0
    for name, minutes in (("clean", clean), ("fit", 5.0), ("first", 4.0)):
        at += minutes
        times.append((name, at, "AA"))
    return released(times, work=work, begin=begin, counters=counters)
