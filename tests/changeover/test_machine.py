"""Three people do anything at all to a piece of work; two things hold whatever they do.

Never is a step under a lockout recorded without that person's own lock on every required point and a
verification that stands (judged by a plain replay written from 29 CFR 1910.147(d)(4)-(6), (f)(3)(i), which knows
nothing of the program's state); and there is always a way to finish, or to abandon and take the locks off. Acts
that make a person safer pass at every moment.
"""

from decimal import Decimal

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from msgspec.structs import replace

from floorterm.changeover.acts import (
    Abandon,
    CorrectStep,
    Dispose,
    LockoutAct,
    Note,
    Pause,
    PushFlush,
    RaiseDeviation,
    Release,
    RepeatSection,
    Resume,
    ReviseFlush,
    SignStep,
)
from floorterm.changeover.fold import BRINGING, fold
from floorterm.changeover.rules import next_steps, open_steps
from floorterm.lockout.model import Event
from tests.changeover import sheets, walkers
from tests.changeover.sheets import ODE, TAMM, Record, good_entry, towards
from tests.lockout import oracle

PELL = replace(sheets.PELL, duties=frozenset({"supervisor", "operator"}))
CREW = (ODE, TAMM, PELL)
SECOND = {ODE: TAMM, PELL: TAMM, TAMM: replace(ODE, duties=TAMM.duties)}
SHEETS = {name: sheets.changeover(name, kg) for name, kg in (("plain", "400"), ("rose", "650"))}
people = st.sampled_from(CREW)
points = st.sampled_from([(), ("D1",), ("V1",), ("D1", "V1")])
chance = st.integers(0, 9)
meddled = st.sampled_from(
    [Event.LOCK_OFF, Event.LOCK_ON, Event.ISOLATE, Event.MONITOR, Event.RELEASE, Event.WORK_END]
)
meddlings = st.lists(st.tuples(people, meddled, points), max_size=4)


class ThreePeople(RuleBasedStateMachine):
    """Acts of three people on one changeover, each asked of the rules first."""

    def __init__(self) -> None:
        super().__init__()
        self.record = Record(SHEETS["plain"])
        self.guarded = 0

    # --- asking and recording -------------------------------------------------------------------

    def attempt(self, act, person, witness=None) -> bool:
        record = self.record
        if record.may(act, person, witness):
            return False
        job = walkers.signs_under_lockout(record.state.worksheet, act)
        if job:
            events = walkers.events_of(record.state.worksheet, record.entries, job)
            assert oracle.under_own_locks(sheets.jobs.JOB, events, person.code)
            assert oracle.proved(sheets.jobs.JOB, events, person.code)
            self.guarded += 1
        record.do(act, person, witness)
        return True

    # --- rules ----------------------------------------------------------------------------------

    @initialize(share=st.one_of(st.integers(0, 36), st.integers(8, 14)), first=people)
    def somewhere_on_the_way(self, share, first) -> None:
        """Begin anywhere, often near the lockout: one person has walked a part of the worksheet."""
        self.attempt(good_entry(self.record.state, next(self.record.state.worksheet.steps()), ODE), ODE)
        for step in list(self.record.state.worksheet.steps())[:share]:
            self.attempt(good_entry(self.record.state, step, first), first, SECOND[first])

    @rule(person=people, index=st.integers(0, 5), odd=chance)
    def sign_what_comes_next(self, person, index, odd) -> None:
        able = next_steps(self.record.state, person, self.record.now)
        if able:
            step = able[index % len(able)]
            self.attempt(self._entry(step, person, odd), person, SECOND[person])

    @rule(person=people, index=st.integers(0, 60), odd=chance, witness=st.sampled_from([None, *CREW]))
    def sign_anything(self, person, index, odd, witness) -> None:
        steps = list(self.record.state.worksheet.steps())
        self.attempt(self._entry(steps[index % len(steps)], person, odd), person, witness)

    def _entry(self, step, person, odd) -> SignStep:
        act = good_entry(self.record.state, step, person)
        if odd == 0:
            return SignStep(step=step.id, outcome="not_applicable", reason="not here")
        if odd == 1:
            worse = {"reading": {"number": "99"}, "choice": {"choice": "torn"}, "flush": {"kg": Decimal(120)}}
            return replace(act, **worse.get(step.kind, {}))
        if odd == 2 and step.event is Event.VERIFY:
            return replace(act, result="not_zero")
        return act

    @rule(person=people, event=st.sampled_from(Event), where=points, odd=chance, number=st.integers(0, 1))
    def lockout_event(self, person, event, where, odd, number) -> None:
        job = next(iter(self.record.state.locks))
        lock = f"{person.code}-{where[0] if where else ''}-{number}" if event is Event.LOCK_ON else ""
        told = event in (Event.NOTIFY_BEFORE, Event.NOTIFY_AFTER)
        affected = sheets.jobs.JOB.affected_duties
        clear = tuple(one.code for one in CREW)
        result = {Event.VERIFY: "zero", Event.MONITOR: "zero"}.get(event, "ok")
        if odd == 0:
            result = f"not_{result}"
        act = LockoutAct(
            job=job, event=event, points=where, lock=lock, result=result, people=affected if told else clear
        )
        self.attempt(act, person)

    @rule(person=people)
    def join(self, person) -> None:
        """Somebody does all that it takes to come under the lockout, as far as it goes."""
        job = next(iter(self.record.state.locks))
        self.attempt(LockoutAct(job=job, event=Event.REVIEW), person)
        for point in ("D1", "V1"):
            lock = f"{person.code}-{point}"
            self.attempt(LockoutAct(job=job, event=Event.LOCK_ON, points=(point,), lock=lock), person)
        self.attempt(LockoutAct(job=job, event=Event.VERIFY, result="zero"), person)

    @rule(person=people, joins=people, meddling=meddlings, index=st.integers(0, 1))
    def reach_in(self, person, joins, meddling, index) -> None:
        """The lockout is made, somebody comes under it, others meddle, and then somebody reaches in."""
        steps = [step for step in self.record.state.worksheet.steps() if step.needs_lockout]
        if all(step.id in self.record.state.signed for step in steps):
            self.attempt(RepeatSection(section="screen", reason="once more"), person)
        for step in sheets.LOCK_STEPS:
            made = self.record.state.worksheet.step(step)
            if made is not None and step not in self.record.state.signed:
                self.attempt(good_entry(self.record.state, made, person), person)
        self.join(joins)
        for who, event, where in meddling:
            self.meddle(who, event, where)
        self.attempt(good_entry(self.record.state, steps[index], joins), joins)
        self.attempt(good_entry(self.record.state, steps[index], person), person)

    @rule(person=people, event=meddled, where=points)
    def meddle(self, person, event, where) -> None:
        """Somebody moves a lock or a point, or finds energy, in the middle of the work."""
        job = next(iter(self.record.state.locks))
        lock = f"{person.code}-{where[0]}" if event is Event.LOCK_ON and where else ""
        result = "not_zero" if event is Event.MONITOR else ""
        self.attempt(LockoutAct(job=job, event=event, points=where, lock=lock, result=result), person)

    @rule(minutes=st.sampled_from([1, 5, 12, 30, 300]))
    def time_goes_by(self, minutes) -> None:
        self.record.wait(minutes)

    @rule(person=people, index=st.integers(0, 10))
    def repeat_a_section(self, person, index) -> None:
        sections = self.record.state.worksheet.sections
        self.attempt(RepeatSection(section=sections[index % len(sections)].id, reason="again"), person)

    @rule(person=people, index=st.integers(0, 60))
    def correct(self, person, index) -> None:
        history = self.record.state.history
        if history:
            old = history[index % len(history)]
            number = {"number": "44"} if old.act.number else {}
            kg = {"kg": Decimal(401)} if old.act.kg is not None else {}
            act = CorrectStep(step=old.act.step, corrects=old.n, reason="misread", **number, **kg)
            self.attempt(act, person, TAMM)

    @rule(person=people, kg=st.integers(0, 700))
    def flush(self, person, kg) -> None:
        self.attempt(PushFlush(step="flush/push", kg=Decimal(kg)), person)
        if kg % 7 == 0:
            self.attempt(ReviseFlush(step="flush/push", kg=Decimal(kg), reason="sample"), person)

    @rule(person=people, decision=st.sampled_from(["accept", "rework", "scrap", "hold"]))
    def dispose(self, person, decision) -> None:
        waiting = self.record.state.open_deviations
        if waiting:
            self.attempt(Dispose(deviation=waiting[-1].n, decision=decision, reason="seen"), person, ODE)

    @rule(person=people, what=chance)
    def speak(self, person, what) -> None:
        paused = self.record.state.status == "paused"
        act = {0: Pause(reason="meal"), 1: RaiseDeviation(text="oil"), 2: Note(text="slow drain")}.get(what)
        self.attempt(Resume() if paused else act or Note(text="busy"), person)

    @precondition(lambda self: len(self.record.entries) > 30)
    @rule(person=people, how=chance)
    def end(self, person, how) -> None:
        if how == 0:
            self.attempt(Abandon(reason="no mass"), person)
        if how > 6:
            self.attempt(Release(), person)

    @precondition(lambda self: len(self.record.entries) > 10)
    @rule(person=people, to=st.sampled_from(["plain", "rose"]), how=chance)
    def redirect(self, person, to, how) -> None:
        if how == 0:
            self.attempt(towards(self.record.state, SHEETS[to]), person)

    # --- what holds -----------------------------------------------------------------------------

    @invariant()
    def acts_that_make_somebody_safer_pass(self) -> None:
        for name, job in self.record.state.locks.items():
            for person in CREW:
                assert not self.record.may(LockoutAct(job=name, event=Event.WORK_END), person)
                for lock in job.own_locks(person.code):
                    act = LockoutAct(job=name, event=Event.LOCK_OFF, points=(lock.point,), lock=lock.lock)
                    assert not self.record.may(act, person)

    @invariant()
    def nobody_is_released_under_a_lock(self) -> None:
        if self.record.state.status == "released":
            assert not self.record.state.locks_on()
            assert not open_steps(self.record.state, self.record.state.ended_at)

    def teardown(self) -> None:
        """The record folds to the state that the steps led to, and there is a way to its end."""
        record = self.record
        assert fold("C-0001", record.entries) == record.state
        if record.state.ended:
            _unlock(record)
            return
        other = Record(record.worksheet, now=record.now)
        other.entries, other.state = list(record.entries), record.state
        walkers.abandon(other, CREW)
        assert not other.state.locks_on()
        walkers.release(record, CREW)
        assert record.state.status == "released"
        few = [entry for entry in record.entries if entry.kind in BRINGING]
        assert fold("C-0001", few).holds == record.state.holds
        assert not record.state.locks_on()


def _unlock(record: Record) -> None:
    if record.state.status == "abandoned":
        walkers.end_lockouts(record, CREW)
        assert not record.state.locks_on()


ThreePeople.TestCase.settings = settings(max_examples=200, stateful_step_count=50, deadline=None)
TestThreePeople = ThreePeople.TestCase


def test_the_oracle_can_say_no():
    # a check that can never fail proves nothing: one missing lock, one stale verification
    record = sheets.locked()
    events = walkers.events_of(record.state.worksheet, record.entries, "screen")
    assert oracle.proved(sheets.jobs.JOB, events, "ODE")
    assert not oracle.proved(sheets.jobs.JOB, events, "TAMM")
    assert not oracle.under_own_locks(sheets.jobs.JOB, events, "TAMM")
    moved = sheets.jobs.ev("isolate", ODE, "D1")
    assert not oracle.proved(sheets.jobs.JOB, [*events, moved], "ODE")
