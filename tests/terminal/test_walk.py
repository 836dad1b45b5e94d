"""One changeover with strip-down, from Lines to release: by keyboard, by touch, by scanner, with equal entries.

Each way is compared with the same acts made straight at the plant, past every screen.

The plant is real (starter checklists, a real SQLite file, a set clock that ticks); only the PIN's cost is low,
and this plant asks the PIN again for witnesses, dispositions and the release alone, as its settings allow.
"""

from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace

from floorterm.changeover.acts import STARTED, Release
from floorterm.changeover.bench import usual_entry
from floorterm.changeover.entering import EntrySpec, Given, act_of
from floorterm.changeover.view import view
from floorterm.changeover.worksheet import Step
from floorterm.demo.clock import SetClock, counted_ids
from floorterm.ledger import CHEAP_PROFILE, Ledger, verify_file
from floorterm.library.model import Library
from floorterm.people import LockoutStatus, Permission, Person
from floorterm.plant import Plant, Who
from floorterm.terminal.app import FloorApp
from floorterm.terminal.messages import MinutePassed
from floorterm.terminal.repertoire import Characters
from floorterm.terminal.screens.work import WorkScreen
from floorterm.terminal.widgets.rows import Rows
from tests.conftest import DAY, PIN, START
from tests.terminal.hands import Hands, Keyboard, Scanner, Touch, screen_text
from tests.terminal.shell import at_once

LINE, OUTGOING, INCOMING = "L2", "palmarosa", "plain"
SIZES = {"keyboard": (80, 24), "touch": (120, 40), "scanner": (80, 24)}
HANDS: dict[str, type[Hands]] = {"keyboard": Keyboard, "touch": Touch, "scanner": Scanner}
LOOKS: dict[str, Characters] = {"keyboard": "console", "touch": "all", "scanner": "all"}
GAPS_S = {"keyboard": 0.0, "touch": 0.01, "scanner": 0.01}  # of the scanner's ear
AGAIN_FOR = ("witness", "disposition", "release")
WITNESSES = {"supervisor": "SS", "quality": "QQ", "packer": "BB", "safety_officer": "VV"}
Told = list[tuple[str, str, dict[str, Any], str, str]]
_TICK = timedelta(milliseconds=20)


class TickingClock(SetClock):
    """A set clock that goes on by a fixed amount with every look at it; the bar counter of the line runs too."""

    bars = 40_000

    def __call__(self) -> datetime:
        self.advance(_TICK)
        return super().__call__()

    def counted(self) -> int:
        """The bar counter at its next reading."""
        self.bars += 1217
        return self.bars


def person(code: str, name: str, *duties: str, permission: Permission = Permission.OPERATOR) -> Person:
    return Person(
        code=code,
        name=name,
        permission=permission,
        duties=frozenset(duties),
        lockout=LockoutStatus.AUTHORIZED,
        trained_on=DAY - timedelta(days=100),
        valid_to=DAY + timedelta(days=400),
        badge=f"BADGE-{code}",
    )


PEOPLE = (
    person("OO", "R. Ode", "line_operator", "mixer", "packer", "quality", "mechanic", "supervisor"),
    person("BB", "B. Brand", "packer"),
    person("QQ", "Q. Quist", "quality"),
    person("SS", "S. Stern", "supervisor", permission=Permission.SUPERVISOR),
    person("VV", "V. Voss", "safety_officer", permission=Permission.SAFETY_OFFICER),
)


def plant_at(path: Path, library: Library, *, again_for: tuple[str, ...]) -> tuple[Plant, TickingClock]:
    clock = TickingClock(START)
    pins = replace(library.plant.pins, again_for=again_for)
    settings = replace(library.plant, pins=pins)
    ledger = Ledger.create(
        path,
        plant_id=library.plant.id,
        plant_name=library.plant.name,
        time_zone=library.plant.time_zone,
        clock=clock,
        new_id=counted_ids(),
        pin_profile=CHEAP_PROFILE,
    )
    ledger.add_person(Person(code="AD", name="A. Dmin", permission=Permission.ADMINISTRATOR), PIN, by="")
    for one in PEOPLE:
        ledger.add_person(one, PIN, by="AD")
    plant = Plant(replace(library, plant=settings), ledger, "T1")
    supervisor = Who(ledger.person("SS"), "pin")
    for line, holds in {"L1": "plain", LINE: OUTGOING}.items():
        plant.state_holds(supervisor, line, (holds,), "first statement", key=ledger.new_id())
    return plant, clock


class Walk:
    """One person walks a changeover; witnesses come when they are called."""

    def __init__(self, hands: Hands, clock: TickingClock) -> None:
        self.hands, self.clock = hands, clock
        self.signed: list[str] = []

    @property
    def work(self) -> WorkScreen:
        screen = self.hands.app.screen
        assert isinstance(screen, WorkScreen), type(screen)
        return screen

    async def from_lines(self) -> None:
        """Choose the line, the fragrance, confirm, sign in."""
        hands = self.hands
        await hands.until(lambda: hands.app.desk.is_open, "the record")
        await hands.until_top("LinesScreen")
        if isinstance(hands, Scanner):
            await hands.scan(f"{LINE}")  # three characters are no code: nothing happens
            await hands.pick(LINE)
        else:
            await hands.pick(LINE)
        await hands.until_top("StartChangeoverScreen")
        await hands.until(lambda: bool(hands.app.screen._candidates), "what may begin")  # type: ignore[attr-defined]
        if isinstance(hands, Scanner):
            await hands.scan(hands.app.desk.plant.library.fragrances[INCOMING].code)
        else:
            await hands.pick(INCOMING)
        await hands.until(lambda: not isinstance(hands.app.focused, Rows), "the page to confirm")
        await hands.key("enter")
        await hands.until_top("SignInScreen")
        await hands.sign("OO")
        await hands.until_top("WorkScreen")
        await hands.until(
            lambda: self.work.view is not None and self.work.view.step is not None, "the first step"
        )

    async def all_steps(self) -> None:
        """Every step until none is open."""
        while (step := self.work.step) is not None:
            await self._sign(step)
            assert self.signed.count(step.id) < 3, f"{step.id} again and again"

    async def _sign(self, step: Step) -> None:
        hands, screen = self.hands, self.work
        if step.kind == "wait":
            self.clock.advance(timedelta(minutes=float(step.dwell_min or 0)))
            hands.app.screen.post_message(MinutePassed())
            await hands.until(lambda: self._may_sign(screen), "the dwell")
        view = screen.view
        assert view is not None
        assert view.step is not None
        assert not view.step.refusals, (step.id, view.step.refusals)
        await self._enter(step)
        n = screen.state.last_n
        await hands.key("enter")
        if step.witness:
            await self._witness(step)
        await hands.until(
            lambda: not hands.app.desk.pending and screen.state.last_n > n, f"{step.id} to be recorded"
        )
        await hands.until(lambda: self._is_past(screen, step), "the next step")
        assert hands.app.focused is not None, f"nothing has the focus after {step.id}"
        if hands.app.plain:
            screen_text(hands.app).encode("cp437")
        self.signed.append(step.id)

    def _may_sign(self, screen: WorkScreen) -> bool:
        return screen.view is not None and screen.view.step is not None and not screen.view.step.refused

    def _is_past(self, screen: WorkScreen, step: Step) -> bool:
        view = screen.view
        moved = view is not None and (view.step is None or view.step.id != step.id)
        return moved and self.hands.app.screen is screen

    async def _witness(self, step: Step) -> None:
        hands = self.hands
        await hands.until_top("SignInScreen")
        await hands.pilot.pause()
        if not hands.app.screen.query_one("#people").display:  # the signer's own PIN comes first
            await hands.sign("OO")
            await hands.until_top("SignInScreen")
        await hands.sign(WITNESSES[step.witness])

    async def _enter(self, step: Step) -> None:
        hands, spec = self.hands, self.hands.entry.spec
        given = entered(step, spec, self.clock)
        for option in given.chosen:
            if option not in hands.entry.given.chosen:
                await hands.choose(option)
        if given.text and spec.mode == "code":
            await hands.code(given.text)
        elif given.text:
            await hands.type(given.text)

    async def release(self) -> None:
        """The end: the release asks the PIN once more."""
        hands, screen = self.hands, self.work
        view = screen.view
        assert view is not None
        assert view.finish is not None
        assert view.finish.ready, view.finish
        await hands.key("enter")
        await hands.until_top("SignInScreen")
        await hands.sign("OO")
        await hands.until(lambda: screen.state.status == "released", "the release")


def entered(step: Step, spec: EntrySpec, clock: TickingClock) -> Given:
    """What this crew enters at a step, by hand or straight at the plant."""
    match spec.mode:
        case "number" | "numbers":
            return Given(text=middle(step))
        case "text":
            return Given(text="as it is")
        case "kg":
            return Given(text=str(step.required_kg))
        case "counter":
            return Given(text=str(clock.counted()))
        case "code":
            return Given(text=step.expect or f"LOCK-{step.point}")
        case "one":
            return Given(chosen=(next(option.id for option in spec.options if not option.raises),))
        case "some":
            return Given(chosen=tuple(option.id for option in spec.options))
    return Given()


def middle(step: Step) -> str:
    """A reading within the limits, as somebody types it."""
    if step.worked_out:
        return usual_entry(step)
    low, high = step.low, step.high
    if low is None and high is None:
        return "1"
    if low is None or high is None:
        return str(high if low is None else low)
    return str(((low + high) / 2).quantize(Decimal("0.1"))).replace(".", ",")


def told(plant: Plant, work: str) -> Told:
    """What the entries of a work say, without number, hash and time."""
    return [
        (entry.kind, entry.step, dict(entry.value), entry.person, entry.witness)
        for entry in plant.ledger.entries(changeover=work)
    ]


def straight(path: Path, library: Library) -> tuple[Plant, str]:
    """The same changeover without a screen: the step that a screen would show, what this crew enters, the act."""
    plant, clock = plant_at(path, library, again_for=AGAIN_FOR)
    ode = Who(plant.ledger.person("OO"), "pin")
    work = plant.start_changeover(ode, LINE, INCOMING, plant.ledger.new_id()).work
    while (shown := view(plant.state(work), ode.person, plant.now(), "en").step) is not None:
        state = plant.state(work)
        step = state.worksheet.step(shown.id)
        assert step is not None
        if step.kind == "wait":
            clock.advance(timedelta(minutes=float(step.dwell_min or 0)))
        act = act_of(state, step, ode.person, entered(step, shown.entry, clock))
        witness = plant.ledger.person(WITNESSES[step.witness]) if step.witness else None
        plant.act(work, act, ode, key=plant.ledger.new_id(), witness=witness)
    plant.act(work, Release(), ode, key=plant.ledger.new_id())
    return plant, work


@pytest.fixture(scope="module")
def wanted(tmp_path_factory: pytest.TempPathFactory, library: Library) -> Told:
    """What every way has to end in."""
    return told(*straight(tmp_path_factory.mktemp("straight") / "ledger.db", library))


@pytest.mark.longest
@pytest.mark.parametrize("way", SIZES)
async def test_a_changeover_walked_from_lines_to_release_ends_in_the_same_entries_in_every_way(
    way: str, tmp_path: Path, library: Library, wanted: Told
) -> None:
    """By keyboard at 80x24 on a console, by touch at 120x40, by scanner at 80x24: equal entries."""
    plant, clock = plant_at(tmp_path / "ledger.db", library, again_for=AGAIN_FOR)
    app = FloorApp(lambda: plant, scan_gap_s=GAPS_S[way], patience=at_once(), characters=LOOKS[way])
    async with app.run_test(size=SIZES[way]) as pilot:
        walk = Walk(HANDS[way](app, pilot), clock)
        await walk.from_lines()
        work = walk.work.work
        await walk.all_steps()
        await walk.release()
    state = plant.state(work)
    steps = list(state.worksheet.steps())
    assert len(steps) >= 45
    assert state.worksheet.facts["strip_down"] is True
    assert set(state.signed) == {step.id for step in steps}
    assert state.status == "released"
    assert not state.deviations
    assert plant.holds(LINE).fragrances == (INCOMING,)
    assert not plant.line_now(LINE).works
    assert verify_file(tmp_path / "ledger.db").ok
    assert wanted[0][0] == STARTED
    assert told(plant, work) == wanted
