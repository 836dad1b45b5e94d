"""Review and Minutes: a shift reviewed, dispositioned, signed and taken over by keys, by touch and with a scanner."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from datetime import timedelta

import pytest

from floorterm.changeover.acts import Abandon, Dispose, ExplainMinutes, RaiseDeviation, SignStep
from floorterm.demo import open_still
from floorterm.demo.clock import SetClock
from floorterm.people import Permission, Person
from floorterm.plant import Plant
from floorterm.shift.signing import COUNTERSIGNED, KINDS, SIGNED
from floorterm.shift.window import window_named
from floorterm.shift_review import countersign, review_of, sign
from floorterm.terminal.app import FloorApp
from floorterm.terminal.screens.minutes import MinutesScreen
from floorterm.terminal.screens.review import ReviewScreen
from floorterm.terminal.views.record import entry_lines
from floorterm.terminal.widgets.keys import KeyBar
from floorterm.terminal.widgets.rows import Rows
from floorterm.wording import words
from tests.conftest import PIN, who
from tests.terminal.hands import Hands, Keyboard, Scanner, Touch, screen_text
from tests.terminal.shell import (
    COMFORTABLE,
    SMALL,
    at_once,
    rows,
)

HANDS: dict[str, type[Hands]] = {"keyboard": Keyboard, "touch": Touch, "scanner": Scanner}
GAPS_S = {"keyboard": 0.0, "touch": 0.01, "scanner": 0.01}


@pytest.fixture
def shift(plant: Plant, clock: SetClock) -> Plant:
    """Five to two; a procedure was given up in the early shift, and nobody has decided what deviated in it."""
    lead = Person(
        code="TT", name="T. Thorn", permission=Permission.SUPERVISOR, duties=frozenset({"supervisor"}), badge="BADGE-TT"
    )  # fmt: skip
    plant.ledger.add_person(lead, PIN, by="AD")
    work = plant.start_procedure(who(plant, "SS"), "L1", "jam-stamper", "begin").work
    plant.act(work, RaiseDeviation(text="bars crack", critical="quality"), who(plant, "AA"), key="raise")
    plant.act(work, Abandon(reason="it was no jam"), who(plant, "AA"), key="abandon")
    clock.advance(timedelta(hours=7, minutes=55))
    return plant


@asynccontextmanager
async def reviewing(
    plant: Plant, size: tuple[int, int] = SMALL, **options: object
) -> AsyncIterator[tuple[FloorApp, Keyboard]]:
    """The Review screen of the shift that runs, opened from Shift, and somebody at the keyboard."""
    settings = {"scan_gap_s": 0.0, "patience": at_once(), **options}
    app = FloorApp(lambda: plant, **settings)  # type: ignore[arg-type]
    async with app.run_test(size=size) as pilot:
        hands = Keyboard(app, pilot)
        await hands.until(lambda: app.desk.is_open, "the record")
        await hands.key("f8")
        await hands.until_top("ShiftScreen")
        await hands.key("f6")
        await hands.until_top("ReviewScreen")
        await hands.until(lambda: rows(app).chosen is not None, "the review")
        yield app, hands


async def _written(hands: Hands, text: str) -> None:
    """A text into the dialogue on top."""
    await hands.until_top("AskScreen")
    await hands.type(text)
    await hands.key("enter")


async def _signed(hands: Hands, code: str) -> None:
    """The dialogue for name and PIN that comes up, answered."""
    await hands.until_top("SignInScreen")
    await hands.sign(code)


@pytest.mark.parametrize("way", HANDS)
async def test_a_shift_is_dispositioned_signed_and_taken_over(shift: Plant, way: str) -> None:
    app = FloorApp(lambda: shift, scan_gap_s=GAPS_S[way], patience=at_once())
    async with app.run_test(size=SMALL) as pilot:
        hands = HANDS[way](app, pilot)
        await hands.until_top("LinesScreen")
        await hands.until(lambda: app.desk.is_open, "the record")
        await hands.key("f8")
        await hands.until_top("ShiftScreen")
        await hands.key("f6")
        await hands.until_top("ReviewScreen")
        await hands.until(lambda: "1 deviation waits for a decision first" in screen_text(app), "what waits")
        (deviation,) = (row.key for row in app.screen.query_one(Rows).rows if row.key.startswith("deviation"))
        await hands.pick(deviation)
        await hands.until_top("MenuScreen")
        await hands.pick("accept")
        await hands.until_top("AskScreen")
        await hands.type("as agreed")
        await hands.key("enter")
        await hands.until_top("SignInScreen")
        await hands.sign("SS")
        await hands.until(lambda: _newest(shift, app) == Dispose.KIND, "the disposition")
        await hands.until(lambda: "nothing speaks against signing" in screen_text(app), "nothing to wait for")
        await hands.key("f6")
        await hands.until_top("AskScreen")
        await hands.type("film sticks")
        await hands.key("enter")
        await hands.until_top("SignInScreen")
        await hands.sign("SS")
        await hands.until(lambda: _newest(shift, app) == SIGNED, "the signature")
        await hands.until(
            lambda: "Reviewed and signed by S. Stern 2026-11-24 13:55-07:00" in screen_text(app),
            "the signature on the screen",
        )
        assert "Not taken over yet" in screen_text(app)
        app.end_session()
        await hands.key("f7")
        await hands.until_top("SignInScreen")
        await hands.sign("TT")
        await hands.until(lambda: _newest(shift, app) == COUNTERSIGNED, "the countersignature")
        await hands.until(lambda: "Taken over by T. Thorn" in screen_text(app), "who took over")
    signed, taken = shift.ledger.entries(kinds=KINDS)
    assert (signed.person, signed.identity, signed.value["handover"]) == ("SS", "pin", "film sticks")
    assert (taken.person, taken.identity, taken.value["signed"]) == ("TT", "pin", signed.n)
    (decided,) = signed.value["summary"]["deviations"]
    assert (decided["decision"], decided["decided_by"]) == ("accept", "S. Stern")


def _newest(plant: Plant, app: FloorApp) -> str:
    return "" if app.desk.pending else plant.ledger.entries(newest_first=True, limit=1)[0].kind


@pytest.mark.parametrize(("size", "language"), [(SMALL, "en"), (COMFORTABLE, "es")])
async def test_the_review_has_every_part_and_nothing_is_cut(
    shift: Plant, size: tuple[int, int], language: str
) -> None:
    async with reviewing(shift, size, language=language) as (app, hands):
        keys = [row.key for row in rows(app).rows]
        parts = ("changeovers", "deviations", "sign_offs", "lockouts", "due", "procedures")
        assert [key for key in keys if key.startswith("heading")] == [f"heading {part}" for part in parts]
        assert keys[:2] == ["state", "handover"]
        seen = ""
        for _ in range(6):
            seen += screen_text(app)
            await hands.key("pagedown")
            await hands.pilot.pause()
        for part in parts:
            count = sum(key.startswith(part.removesuffix("s")) for key in keys)
            title = words(f"shift.part_{part}", language, count=count or words("shift.none", language))
            assert title.split(":")[0] in seen


async def test_an_operator_does_not_sign_and_is_told_who_does(shift: Plant) -> None:
    async with reviewing(shift) as (app, hands):
        await hands.key("f3")
        await _written(hands, "ok")
        await hands.until(lambda: "For the next shift: ok" in screen_text(app), "the text")
        await hands.key("f6")
        await _signed(hands, "BB")
        await hands.until(lambda: "A supervisor or safety officer signs" in screen_text(app), "who signs")
        assert "NOT RECORDED" in screen_text(app)
        await hands.key("escape")
        await hands.until_top("ShiftScreen")
        await hands.key("f6")
        await hands.until_top("ReviewScreen")
        await hands.until(lambda: "For the next shift: ok" in screen_text(app), "the text to be kept")
    assert shift.ledger.entries(kinds=KINDS) == []


def _decided(plant: Plant) -> None:
    deviation = next(iter(plant.state("P-0001").deviations))
    act = Dispose(deviation=deviation.n, decision="scrap", reason="as agreed")
    plant.act("P-0001", act, who(plant, "SS"), key="decide")


async def test_what_happens_while_the_pin_is_typed_is_named_and_nothing_is_signed(shift: Plant) -> None:
    _decided(shift)
    async with reviewing(shift) as (app, hands):
        await hands.key("f6")
        await _written(hands, "ok")
        await hands.until_top("SignInScreen")
        started = shift.start_procedure(who(shift, "SS"), "L2", "jam-stamper", "elsewhere")
        await _signed(hands, "SS")
        await hands.until(lambda: "changed since this was shown" in screen_text(app), "what changed")
        assert f"{started.work} reads differently now" in " ".join(screen_text(app).split())
        assert shift.ledger.entries(kinds=KINDS) == []
        await hands.until(
            lambda: f"work {started.work}" in [row.key for row in rows(app).rows], "the new work"
        )
        assert "For the next shift: ok" in screen_text(app)  # what was typed is still there
        await hands.key("f6")
        await _signed(hands, "SS")
        await hands.until(lambda: _newest(shift, app) == SIGNED, "the signature")


async def test_shift_says_at_a_glance_whether_it_is_signed_and_taken_over(
    shift: Plant, clock: SetClock
) -> None:
    _decided(shift)
    window = window_named(shift.library.plant.shifts, "2026-11-24/early", shift.zone)
    async with reviewing(shift) as (app, hands):
        await hands.key("escape")
        await hands.until_top("ShiftScreen")
        assert "SIGNED" not in screen_text(app)  # it still runs
        clock.advance(timedelta(hours=1))
        await hands.key("left")
        await hands.until(lambda: "NOT SIGNED" in screen_text(app), "that nobody signed")
        entry = sign(shift, who(shift, "SS"), review_of(shift, window), "film sticks", key="sign")
        await app.look_at_record()
        await hands.until(lambda: "signed by S. Stern, not taken over" in screen_text(app), "the signature")
        countersign(shift, who(shift, "TT"), review_of(shift, window), key="take over")
        await app.look_at_record()
        await hands.until(lambda: "signed by S. Stern, taken over" in screen_text(app), "who took over")
    left, _ = entry_lines(entry, None, shift.zone, "en")
    assert "film sticks" in "".join(span.text for line in left for span in line)


async def test_a_shift_that_still_runs_says_from_when_on_it_is_signed(shift: Plant, clock: SetClock) -> None:
    clock.advance(timedelta(hours=1))
    async with reviewing(shift) as (app, hands):
        await hands.until(lambda: "it can be signed from 21:30 on" in screen_text(app), "from when on")
        caps = app.screen.query_one(KeyBar).caps
        assert [cap.enabled for cap in caps if cap.key == "f6"] == [False]


async def test_what_was_signed_is_shown_until_something_reads_differently(shift: Plant) -> None:
    _decided(shift)
    window = window_named(shift.library.plant.shifts, "2026-11-24/early", shift.zone)
    sign(shift, who(shift, "SS"), review_of(shift, window), "film sticks", key="sign")
    async with reviewing(shift) as (app, hands):
        caps = app.screen.query_one(KeyBar)
        await hands.until(
            lambda: any(cap.key == "f6" and not cap.enabled for cap in caps.caps), "no key to sign"
        )
        assert "READS DIFFERENTLY" not in screen_text(app)
        shift.start_procedure(who(shift, "SS"), "L1", "jam-stamper", "later")
        await app.look_at_record()
        await hands.until(lambda: "1 THING READS DIFFERENTLY" in screen_text(app), "what is different")
        await hands.key("f6")
        await _signed(hands, "TT")
        await hands.until(
            lambda: "Reviewed and signed by T. Thorn" in screen_text(app), "the second signature"
        )
    assert [entry.person for entry in shift.ledger.entries(kinds=KINDS)] == ["SS", "TT"]


async def test_a_scan_that_names_nothing_here_says_so(shift: Plant) -> None:
    app = FloorApp(lambda: shift, scan_gap_s=0.01, patience=at_once())
    async with app.run_test(size=SMALL) as pilot:
        hands = Scanner(app, pilot)
        await hands.until(lambda: app.desk.is_open, "the record")
        await hands.key("f8")
        await hands.until_top("ShiftScreen")
        await hands.key("f6")
        await hands.until_top("ReviewScreen")
        await hands.scan("PAL-PLAIN")
        await hands.until(lambda: "PAL-PLAIN" in screen_text(app), "that the code is none of here")
    assert shift.ledger.entries(kinds=KINDS) == []


# --- the minutes ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [SMALL, COMFORTABLE])
async def test_one_screen_shows_the_three_figures_and_parts_that_add_up(size: tuple[int, int]) -> None:
    """Every changeover of the demo plant's early shift that has ended, one after the other."""
    plant = open_still()
    window = window_named(plant.library.plant.shifts, "2026-11-24/early", plant.zone)
    ended = [line for line in review_of(plant, window).summary.works if line.minutes is not None]
    assert len(ended) == 3
    app = FloorApp(lambda: plant, scan_gap_s=0.0, patience=at_once())
    async with app.run_test(size=size) as pilot:
        hands = Keyboard(app, pilot)
        await hands.until(lambda: app.desk.is_open, "the record")
        for work in ended:
            line = work.minutes
            assert line is not None
            app.push_screen(ReviewScreen(window, {}))
            await hands.until_top("ReviewScreen")
            await hands.pick(f"work {work.work}")
            await hands.until_top("MinutesScreen")
            await hands.until(lambda: "sum of the parts" in screen_text(app), "the parts")
            text = screen_text(app)
            figures = {"planned": line.planned_s, "standard": line.standard_s, "actual": line.actual_s}
            for name, seconds in figures.items():
                assert f"{name} {seconds // 60}:{seconds % 60:02d}" in text
            rows_ = app.screen.query_one(Rows).rows
            shown = [_seconds(row.lines[0][0].text) for row in rows_]
            assert sum(shown[:-1]) == shown[-1] == line.actual_s - line.planned_s
            for row in rows_:  # all of them on this one screen, none behind a page
                assert row.lines[0][0].text.strip() in text
            assert "tap here" not in text
            await hands.key("escape")
            await hands.until_top("ReviewScreen")
            await hands.key("escape")
            await hands.until_top("LinesScreen")


def _seconds(amount: str) -> int:
    """+4:02 or -16:50 as seconds."""
    whole, _, rest = amount.strip().lstrip("+-").partition(":")
    seconds = int(whole) * 60 + int(rest)
    return -seconds if "-" in amount else seconds


@pytest.mark.parametrize("way", HANDS)
async def test_whoever_knows_says_what_was_waiting(plant: Plant, clock: SetClock, way: str) -> None:
    work = plant.start_procedure(who(plant, "SS"), "L1", "eyewash-weekly", "begin").work
    step = next(plant.state(work).worksheet.steps())
    choice = next(one.id for one in step.choices if not one.deviation)
    clock.advance(timedelta(minutes=12))
    plant.act(work, SignStep(step=step.id, choice=choice), who(plant, "VV"), key="sign")
    app = FloorApp(lambda: plant, scan_gap_s=GAPS_S[way], patience=at_once())
    async with app.run_test(size=SMALL) as pilot:
        hands = HANDS[way](app, pilot)
        await hands.until(lambda: app.desk.is_open, "the record")
        app.push_screen(MinutesScreen(work))
        await hands.until_top("MinutesScreen")
        await hands.until(lambda: f"over {step.id}" in [row.key for row in rows(app).rows], "the part")
        await hands.pick(f"over {step.id}")
        await hands.key("f5")
        await hands.until_top("MenuScreen")
        await hands.pick("waiting")
        await _written(hands, "4")
        await hands.until(lambda: "reason" in screen_text(app), "why")
        await _written(hands, "crane")
        await _signed(hands, "VV")
        await hands.until(lambda: "+4:00  waiting" in screen_text(app), "the minutes")
        assert rows(app).choose(f"waiting {step.id}")
        await hands.until(lambda: "(crane)" in screen_text(app), "the chosen part whole beneath the list")
    entry = plant.ledger.entries(kinds=(ExplainMinutes.KIND,))[0]
    assert (entry.person, entry.step, entry.value["cause"], entry.reason) == (
        "VV",
        step.id,
        "waiting",
        "crane",
    )
