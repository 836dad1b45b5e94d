"""Small invented worksheets, and a record that asks the rules before it writes (no database, no YAML)."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

from msgspec.structs import replace

from floorterm.changeover.acts import STARTED, Act, LockoutAct, Redirect, SignStep
from floorterm.changeover.bench import usual_entry
from floorterm.changeover.entering import worked_act
from floorterm.changeover.fold import apply, fold
from floorterm.changeover.rules import may
from floorterm.changeover.state import State
from floorterm.changeover.worksheet import Choice, Named, Section, Step, Worksheet, to_json
from floorterm.entries import Entry
from floorterm.lockout.model import Event, Job
from floorterm.lockout.state import LockOn
from floorterm.lye.duties import Eyewash
from floorterm.people import LockoutStatus, Permission, Person
from floorterm.wording import Refusal
from tests.lockout import jobs

START = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
PLANT = timezone(timedelta(hours=-6))


def _person(code: str, name: str, *duties: str, **more: Any) -> Person:
    return Person(
        code=code,
        name=name,
        duties=frozenset(duties),
        lockout=LockoutStatus.AUTHORIZED,
        trained_on=date(2026, 1, 10),
        **more,
    )


ODE = _person("ODE", "R. Ode", "operator", "mechanic")
TAMM = _person("TAMM", "M. Tamm", "operator", "quality")
PELL = _person("PELL", "J. Pell", "supervisor", permission=Permission.SUPERVISOR)
IVER = Person(
    code="IVER",
    name="C. Iversen",
    permission=Permission.SAFETY_OFFICER,
    duties=frozenset({"safety", "operator"}),
)
ROOK = Person(code="ROOK", name="L. Rook", duties=frozenset({"packer"}), lockout=LockoutStatus.AFFECTED)
PEOPLE = {person.code: person for person in (ODE, TAMM, PELL, IVER, ROOK)}


def confirm(step_id: str, *after: str, **more: Any) -> Step:
    """A step of any kind; `confirm` unless `kind` says otherwise."""
    more.setdefault("kind", "confirm")
    return Step(id=step_id, text={"en": f"Do {step_id}", "es": f"Haga {step_id}"}, after=after, **more)


def _locked(job: Job, section: str, name: str, event: Event, after: Iterable[str], point: str = "") -> Step:
    return confirm(
        f"{section}/{name}", *after, kind="lockout", event=event, job=job.id, point=point, critical="safety"
    )


def around(job: Job, steps: Sequence[Step], after: str = "") -> tuple[Section, ...]:
    """The three sections of work under a lockout, in the order of 29 CFR 1910.147(d) and (e)."""
    lock, unlock = f"{job.id}-lock", f"{job.id}-unlock"
    points = [point.id for point in job.points]
    before = [
        _locked(job, lock, "notify", Event.NOTIFY_BEFORE, [after] if after else []),
        _locked(job, lock, "review", Event.REVIEW, [f"{lock}/notify"]),
        _locked(job, lock, "shut-down", Event.SHUT_DOWN, [f"{lock}/review"]),
        *(_locked(job, lock, f"isolate-{p}", Event.ISOLATE, [f"{lock}/shut-down"], p) for p in points),
        *(_locked(job, lock, f"lock-{p}", Event.LOCK_ON, [f"{lock}/isolate-{p}"], p) for p in points),
    ]
    locks = [f"{lock}/lock-{point}" for point in points]
    stored = [point.id for point in job.points if point.needs_release]
    before += [_locked(job, lock, f"relieve-{p}", Event.RELEASE, locks, p) for p in stored]
    relieved = [f"{lock}/relieve-{point}" for point in stored]
    before.append(_locked(job, lock, "verify", Event.VERIFY, [*locks, *relieved]))
    first = steps[0] if steps[0].after else replace(steps[0], after=(f"{lock}/verify",))
    work = (first, *steps[1:])
    behind = [
        _locked(job, unlock, "work-end", Event.WORK_END, [step.id for step in work]),
        _locked(job, unlock, "inspect", Event.INSPECT_AREA, [f"{unlock}/work-end"]),
        _locked(job, unlock, "account", Event.ACCOUNT_PEOPLE, [f"{unlock}/inspect"]),
        *(_locked(job, unlock, f"lock-off-{p}", Event.LOCK_OFF, [f"{unlock}/account"], p) for p in points),
        _locked(job, unlock, "notify", Event.NOTIFY_AFTER, [f"{unlock}/lock-off-{p}" for p in points]),
        *(
            _locked(job, unlock, f"re-energise-{p}", Event.RE_ENERGISE, [f"{unlock}/notify"], p)
            for p in points
        ),
        _locked(job, unlock, "restart", Event.RESTART, [f"{unlock}/re-energise-{p}" for p in points]),
        _locked(job, unlock, "close", Event.CLOSE, [f"{unlock}/restart"]),
    ]
    title = {"en": "Screen", "es": "Malla"}
    return (
        Section(id=lock, title=title, steps=tuple(before)),
        Section(id=job.id, title=title, steps=work),
        Section(id=unlock, title=title, steps=tuple(behind)),
    )


def _named(name: str) -> Named:
    return Named(id=name, name={"en": name.title()}, code=name[:2].upper())


WHOLE = Choice(id="whole", text={"en": "whole", "es": "entera"})
TORN = Choice(id="torn", text={"en": "torn", "es": "rota"}, deviation=True, stops=True)
DULL = Choice(id="dull", text={"en": "dull", "es": "mate"}, deviation=True)


def prepare() -> Section:
    return Section(
        id="prep",
        title={"en": "Prepare", "es": "Preparar"},
        steps=(
            confirm("prep/stop", duty="operator", mark="last_good_outgoing"),
            confirm("prep/nose", "prep/stop", kind="reading", unit="C", low=Decimal(38), high=Decimal(45)),
            confirm("prep/label", "prep/stop", kind="scan", expect="PL-77"),
            confirm("prep/why", "prep/stop", kind="text"),
            confirm("prep/cool", "prep/nose", kind="wait", dwell_min=Decimal(10), since="prep/nose"),
        ),
    )


def screen() -> tuple[Section, ...]:
    return around(
        jobs.JOB,
        (
            confirm("screen/pull", needs_lockout="screen", duty="operator"),
            confirm(
                "screen/look", "screen/pull", kind="choice", choices=(WHOLE, TORN, DULL), critical="safety"
            ),
            confirm("screen/fit", "screen/look", needs_lockout="screen", duty="operator"),
        ),
        after="prep/stop",
    )


def without_lockout() -> Worksheet:
    """The same changeover towards another fragrance, for which nothing is opened."""
    sheet = changeover("rose")
    sections = tuple(
        replace(
            section,
            steps=tuple(
                replace(step, after=tuple(name for name in step.after if not name.startswith("screen")))
                for step in section.steps
            ),
        )
        for section in sheet.sections
        if not section.id.startswith("screen")
    )
    return replace(sheet, sections=sections, jobs=())


def changeover(incoming: str = "plain", flush_kg: str = "400") -> Worksheet:
    """A changeover: prepare, screen under lockout, flush, line clearance, first-article check."""
    sections = (
        prepare(),
        *screen(),
        Section(
            id="flush",
            title={"en": "Flush", "es": "Lavar"},
            steps=(
                confirm("flush/push", "screen-unlock/close", kind="flush", required_kg=Decimal(flush_kg)),
                confirm("flush/good", "flush/push", mark="first_good_incoming", critical="quality"),
            ),
        ),
        Section(
            id="clear",
            title={"en": "Line clearance", "es": "Despeje"},
            beside=True,
            steps=(
                confirm("clear/old", "prep/stop"),
                confirm("clear/line", "clear/old", witness="quality", expires_min=240, critical="quality"),
            ),
        ),
        Section(
            id="first",
            title={"en": "First article", "es": "Primera pieza"},
            first_article=True,
            steps=(
                confirm(
                    "first/weight", "flush/good", "clear/line", kind="reading", unit="g",
                    low=Decimal(119), high=Decimal(123), reopens=("first/look",),
                ),
                confirm("first/look", "first/weight", kind="choice", choices=(WHOLE, DULL)),
            ),
        ),
    )  # fmt: skip
    return Worksheet(
        line=Named(id="L1", name={"en": "Line 1"}),
        outgoing=_named("clove"),
        incoming=_named(incoming),
        on=START.date(),
        sections=sections,
        jobs=(jobs.JOB,),
        pin_again=("critical", "lockout", "witness", "disposition", "release"),
        library_digest="0" * 64,
    )


def procedure() -> Worksheet:
    """A procedure that stands alone: a jam cleared under lockout; an operator ends it."""
    return Worksheet(
        line=Named(id="L1", name={"en": "Line 1"}),
        procedure=_named("jam"),
        on=START.date(),
        sections=around(jobs.JOB, (confirm("screen/clear", needs_lockout="screen"),)),
        jobs=(jobs.JOB,),
        release_duties=("operator",),
    )


def towards(state: State, worksheet: Worksheet) -> Redirect:
    """Going on towards the worksheet's fragrance; what was meant until now may be in the line and is named too."""
    before = state.worksheet
    named = {one.id: one for one in (before.incoming, *before.traces) if one is not None}
    for known in (worksheet.outgoing, worksheet.incoming):
        named.pop(known.id if known else "", None)
    return Redirect(
        reason="order changed", worksheet=to_json(replace(worksheet, traces=tuple(named.values())))
    )


class RefusedError(AssertionError):
    """The rules refused what a test took for granted."""


@dataclass
class Record:
    """One piece of work: its entries, and the state that follows from them. A minute passes with each act."""

    worksheet: Worksheet = field(default_factory=changeover)
    entries: list[Entry] = field(default_factory=list)
    now: datetime = START
    elsewhere: tuple[LockOn, ...] = ()
    eyewash: Eyewash | None = None  # None: activated and inspected today

    def __post_init__(self) -> None:
        value = {"worksheet": to_json(self.worksheet), "worksheet_digest": self.worksheet.digest}
        self._write(STARTED, PELL, value)
        self.state: State = fold("C-0001", self.entries)

    def _write(
        self, kind: str, person: Person, value: Any, witness: Person | None = None, **more: Any
    ) -> Entry:
        entry = Entry(
            n=len(self.entries) + 1,
            hash="",
            prev="",
            at=self.now,
            offset="-06:00",
            kind=kind,
            person=person.code,
            name=person.name,
            identity=more.pop("identity", "pin"),
            witness=witness.code if witness else "",
            witness_name=witness.name if witness else "",
            value=value,
            **more,
        )
        self.entries.append(entry)
        return entry

    def wait(self, minutes: float) -> "Record":
        self.now += timedelta(minutes=minutes)
        return self

    def may(self, act: Act, person: Person = ODE, witness: Person | None = None) -> tuple[Refusal, ...]:
        local = self.now.astimezone(PLANT)
        known = {**PEOPLE, person.code: person}.values()
        eyewash = self.eyewash or Eyewash(activated=local.date(), inspected=local.date())
        return may(
            self.state,
            act,
            person,
            local,
            witness=witness,
            elsewhere=self.elsewhere,
            people=known,
            eyewash=eyewash,
        )

    def keys(self, act: Act, person: Person = ODE, witness: Person | None = None) -> list[str]:
        return [refusal.say.key.split(".", 1)[1] for refusal in self.may(act, person, witness)]

    def force(self, act: Act, person: Person = ODE, witness: Person | None = None, **more: Any) -> "Record":
        """Record without asking."""
        self.now += timedelta(minutes=1)
        step = getattr(act, "step", "")
        entry = self._write(act.KIND, person, to_json(act), witness, step=step, changeover="C-0001", **more)
        self.state = apply(self.state, entry)
        return self

    def do(self, act: Act, person: Person = ODE, witness: Person | None = None, **more: Any) -> "Record":
        """Record what the rules accept."""
        refusals = self.may(act, person, witness)
        if refusals:
            raise RefusedError(act, person.code, refusals)
        return self.force(act, person, witness, **more)

    def sign(
        self, step_id: str, person: Person = ODE, witness: Person | None = None, **entry: Any
    ) -> "Record":
        """Sign a step with a good entry unless the test gives another."""
        step = self.state.worksheet.step(step_id)
        assert step is not None, step_id
        act = replace(good_entry(self.state, step, person), **entry)
        return self.do(act, person, witness)

    def walk(self, *step_ids: str, person: Person = ODE) -> "Record":
        for step_id in step_ids:
            self.sign(step_id, person)
        return self

    def lockout(self, word: str, person: Person = ODE, *points: str, **more: Any) -> "Record":
        return self.do(lockout_act(word, person, *points, **more), person)

    def join(self, person: Person) -> "Record":
        """A further person comes under the lockout, as far as it has come."""
        self.lockout("review", person)
        for point in ("D1", "V1"):
            self.lockout("lock_on", person, point)
        return self.lockout("verify", person, result="zero")


def lockout_act(word: str, person: Person, *points: str, **more: Any) -> LockoutAct:
    if word == "lock_on":
        more.setdefault("lock", f"{person.code}-{points[0]}")
    return LockoutAct(job=more.pop("job", "screen"), event=Event(word), points=points, **more)


CREW = ("ODE", "TAMM", "PELL")


def good_entry(state: State, step: Step, person: Person) -> SignStep:
    """What a careful person enters at a step."""
    values: dict[str, Any] = {"counter": 41_000} if step.mark else {}
    match step.kind:
        case "reading" if step.worked_out:
            return worked_act(step, usual_entry(step), values.get("counter"))
        case "reading":
            middle = ((step.low or Decimal(0)) + (step.high or Decimal(0))) / 2
            values["number"] = str(middle)
        case "choice":
            values["choice"] = step.choices[0].id
        case "text":
            values["text"] = "seen"
        case "scan":
            values["scanned"] = step.expect
        case "flush":
            flush = state.flush[step.id]
            values["kg"] = max(flush.required_kg, flush.pushed_kg)
        case "lockout":
            values["lock"] = f"{person.code}-{step.point}" if step.event is Event.LOCK_ON else ""
            answers = {Event.VERIFY: "zero", Event.CONFIRM_EXCEPTION: "ok"}
            values["result"] = answers.get(step.event, "") if step.event else ""
            values["how"] = "in_hand" if step.event is Event.PLUG_CONTROL else ""
            values["people"] = CREW if step.event is Event.ASSIGN_PRIMARY else ()
    return SignStep(step=step.id, **values)


LOCK_STEPS = [step.id for step in screen()[0].steps]
UNLOCK_STEPS = [step.id for step in screen()[2].steps]
WORK_STEPS = ["screen/pull", "screen/look", "screen/fit"]


def locked(record: Record | None = None) -> Record:
    """A record up to a verified lockout, all by one person."""
    return (record or Record()).sign("prep/stop").walk(*LOCK_STEPS)


def unlocked(record: Record | None = None) -> Record:
    return locked(record).walk(*WORK_STEPS, *UNLOCK_STEPS)


def finished() -> Record:
    """Everything done; only the release is left."""
    record = unlocked().walk("prep/nose", "prep/label", "prep/why")
    record.wait(10).walk("prep/cool", "flush/push", "flush/good", "clear/old")
    record.sign("clear/line", ODE, TAMM)
    return record.walk("first/weight", "first/look")
