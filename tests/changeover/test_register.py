"""Where every work stands: a register that took references one by one says what one made of all of them says."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from floorterm.changeover.acts import STARTED, Abandon, Note, Release
from floorterm.changeover.register import ENDS, HOLDS, MARKS, Register, begun

_LINES, _WORKS = ("L1", "L2"), ("C-1", "C-2", "P-1", "P-2")


@dataclass(frozen=True)
class Made:
    """A reference as a ledger gives it."""

    n: int
    at: datetime
    kind: str
    line: str
    changeover: str


@st.composite
def records(draw: st.DrawFn) -> list[Made]:
    """Works begun, touched and ended in any order, each on one line, and statements of what a line holds."""
    found: list[Made] = []
    at = datetime(2026, 11, 24, tzinfo=UTC)
    fresh, open_ = list(_WORKS), list[tuple[str, str]]()
    for n in range(1, draw(st.integers(0, 25)) + 1):
        line = draw(st.sampled_from(_LINES))
        kind, work = HOLDS, ""
        choice = draw(st.sampled_from(("holds", "start", "note", "end")))
        if choice == "start" and fresh:
            kind, work = STARTED, fresh.pop()
            open_.append((work, line))
        elif choice in ("note", "end") and open_:
            work, line = draw(st.sampled_from(open_))
            kind = Note.KIND if choice == "note" else draw(st.sampled_from(ENDS))
            if choice == "end":
                open_.remove((work, line))
        found.append(Made(n, at + timedelta(minutes=n), kind, line, work))
    return found


@given(records(), st.integers(0, 25), st.integers(0, 25))
def test_taken_piece_by_piece_it_says_the_same_as_from_all(made: list[Made], first: int, second: int) -> None:
    whole = Register().taking(made)
    middle = min(first, len(made))
    known = begun(middle, [mark for mark in made if mark.kind in MARKS])
    for cut in sorted((middle, min(second, len(made)), len(made))):
        known = known.taking(made[:cut])
    assert (known.n, known.started, known.lines) == (whole.n, whole.started, whole.lines)


@given(records(), st.integers(0, 25))
def test_every_entry_since_it_began_is_noted_with_its_work(made: list[Made], first: int) -> None:
    known = begun(min(first, len(made)), [mark for mark in made if mark.kind in MARKS]).taking(made)
    later = [mark for mark in made if mark.n > min(first, len(made)) and mark.changeover]
    assert dict(known.touched) == {mark.changeover: mark.n for mark in later}


@given(records())
def test_a_line_says_what_its_entries_say(made: list[Made]) -> None:
    """Asked entry by entry, the long way."""
    register = Register().taking(made)
    for line in _LINES:
        own = [mark for mark in made if mark.line == line]
        ended = {mark.changeover for mark in own if mark.kind in ENDS}
        begun_here = [mark.changeover for mark in own if mark.kind == STARTED]
        says = [
            mark
            for mark in own
            if mark.kind == HOLDS or (mark.kind in ENDS and mark.changeover.startswith("C"))
        ]
        assert register.line(line).open == tuple(work for work in begun_here if work not in ended)
        assert register.line(line).abandoned == tuple(m.changeover for m in own if m.kind == Abandon.KIND)
        assert register.line(line).holds == (says[-1] if says else None)


def test_what_a_procedure_ends_with_changes_no_fragrance() -> None:
    at = datetime(2026, 11, 24, tzinfo=UTC)
    held = Made(1, at, HOLDS, "L1", "")
    register = Register().taking(
        [held, Made(2, at, STARTED, "L1", "P-1"), Made(3, at, Release.KIND, "L1", "P-1")]
    )
    assert register.line("L1").holds == held
    assert register.line("L1").open == ()
