"""What the PIN is asked for stands beside it, in the words that led there; whole at 80x24, in every language."""

import pytest

from floorterm.changeover.acts import LockoutAct, Note, SignStep
from floorterm.library.model import Library
from floorterm.lockout.model import Event
from floorterm.plant import Plant
from floorterm.terminal.screens.sign_in import SignInScreen
from floorterm.terminal.signer import PinRequest
from floorterm.terminal.views.sign_in import PinView, pin_lines
from floorterm.terminal.views.signing import Offered, act_lines
from floorterm.terminal.views.text import width_of
from floorterm.wording import LANGUAGES
from tests.conftest import PIN, who
from tests.terminal.at_step import Crew
from tests.terminal.conftest import CrewAt
from tests.terminal.shell import SMALL, opened, text_of, until, until_top
from tests.terminal.test_locks import JOB, WORKING, at_locks, digit, press
from tests.terminal.test_work import at_work, seen

MOST_CUT = 2
WIDTH = SMALL[0] - 44  # beside the pad


@pytest.fixture
def working(crew_at: CrewAt) -> Crew:
    """R. Ode is at work under the lockout."""
    return crew_at(WORKING)


def sides(text: str) -> str:
    """What stands left of the pad, as one line of words."""
    return " ".join(" ".join(line[: WIDTH + 3] for line in text.splitlines()).split())


async def test_the_dialogue_names_the_offer_and_the_isolation_points(working: Crew) -> None:
    """Leaving and taking the own lock off, one after the other, are told apart while the PIN is typed."""
    points = working.state.locks[JOB].job.required
    async with at_locks(working, by="") as (screen, pilot):
        app = pilot.app
        await press(pilot, digit(screen, "work_end"))
        await until_top(pilot, "SignInScreen")
        await pilot.press(*"oo", "enter")
        await until(pilot, lambda: "You sign: I am out, my work is ended" in sides(text_of(app)))
        await pilot.press(*PIN, "enter")
        await until(pilot, lambda: not working.state.locks[JOB].at_work and app.screen is screen)
        plain = working.plant.state(working.work)
        act = LockoutAct(job=JOB, event=Event.LOCK_OFF, points=tuple(points))
        lead = screen.view.offers[0].text  # type: ignore[union-attr]
        about = act_lines(plain, act, "en", Offered(lead, act.points))
        assert about[0].startswith("Take my own lock off")
        one = LockoutAct(job=JOB, event=Event.LOCK_OFF, points=tuple(points)[:1])
        assert act_lines(plain, one, "en", Offered(lead, tuple(points))) == about, "one PIN for all of them"
        assert about[1] == f"{len(points)} isolation points: {', '.join(points)}"


async def test_a_lockout_that_a_redirect_renamed_meanwhile_is_refused_by_the_rules(working: Crew) -> None:
    """What the dialogue says must not be what fails: the person reads the rule's reason."""
    act = LockoutAct(job="renamed", event=Event.LOCK_OFF, points=("L1-E1", "L1-H1"))
    assert act_lines(working.state, act, "en")[1] == "L1-E1, L1-H1"
    async with at_locks(working) as (screen, pilot):
        assert screen.desk.record(working.work, act, screen=screen, pin_done=True)
        await until(pilot, lambda: "NOT RECORDED" in text_of(pilot.app))
        assert "fault of its own" not in " ".join(text_of(pilot.app).split())


async def test_the_dialogue_names_the_step_to_the_signer_and_to_the_witness(crew_at: CrewAt) -> None:
    crew = crew_at("")
    step = next(one for one in crew.state.worksheet.steps() if one.witness and one.kind == "confirm")
    crew.to(step.id)
    async with at_work(crew) as (screen, pilot):
        screen.show_step(step.id)
        await until(pilot, lambda: screen.step is not None and screen.step.id == step.id)
        screen.record(crew.good(step))
        for _ in range(2):
            await until_top(pilot, "SignInScreen")
            top = pilot.app.screen
            assert isinstance(top, SignInScreen)
            if top._person is None:
                top._take(crew.plant.ledger.person("SS" if step.witness == "supervisor" else "QQ"))
            words = " ".join(step.text["en"].split())
            await until(pilot, lambda words=words: words in sides(text_of(pilot.app)))  # type: ignore[misc]
            if top._request.excluded:
                assert "You confirm that you saw this step done." in sides(text_of(pilot.app))
                break
            await pilot.press(*PIN, "enter")
            await until(pilot, lambda top=top: pilot.app.screen is not top)  # type: ignore[misc]


async def test_what_is_begun_is_named_before_anybody_is_signed_in(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        app.desk.start_changeover(
            "L1", "clove-leaf", about=("Start a changeover", "Line 1: Plain > Clove leaf")
        )
        await until_top(pilot, "SignInScreen")
        await pilot.press(*"ss", "enter")
        await until(
            pilot, lambda: "You sign: Start a changeover Line 1: Plain > Clove leaf" in sides(text_of(app))
        )


def test_a_note_says_its_text_and_its_step(crew_at: CrewAt) -> None:
    crew = crew_at("")
    step = next(crew.state.worksheet.steps())
    told = act_lines(crew.state, Note(text="belt squeaks", step=step.id), "en")
    assert told == ("Write a note", step.text["en"], "belt squeaks")
    away = act_lines(crew.state, SignStep(step=step.id, outcome="not_applicable", reason="no bin"), "de")
    assert away[0] == "Dieser Schritt entfällt"
    assert away[-1].endswith("no bin")


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_step_of_the_starter_plant_fits_beside_the_pad(
    plant: Plant, library: Library, language: str
) -> None:
    texts: list[tuple[str, ...]] = []
    for line in library.lines:
        for name, one in library.alone.items():
            if line in one.lines:
                work = plant.start_procedure(who(plant, "SS"), line, name, f"{line} {name}").work
                state = plant.state(work)
                texts += [
                    act_lines(state, SignStep(step=step.id), language) for step in state.worksheet.steps()
                ]
    assert len(texts) > 100
    cut = 0
    for about in texts:
        view = PinView(name="M. Tamm", code="MT", digits=6, reason="terminal.witness_reason", duty="quality",
                       failed=True, about=about)  # fmt: skip
        lines = pin_lines(view, WIDTH, language)
        assert max(map(width_of, lines)) <= WIDTH
        told = ["".join(span.text for span in line) for line in lines]
        assert any(text.startswith("PIN") for text in told[:17]), "\n".join(told)
        cut += any("…" in text for text in told)
    assert cut <= MOST_CUT, "longer texts of the starter plant have the start alone"


def test_a_text_of_any_length_leaves_the_pin_in_sight() -> None:
    view = PinView(name="M. Tamm", code="MT", digits=0, about=("word " * 400,))
    told = ["".join(span.text for span in line) for line in pin_lines(view, WIDTH, "en")]
    assert told[12].endswith("…")
    assert told[14].startswith("PIN")


async def test_at_80x24_the_pin_stands_under_what_is_signed(crew_at: CrewAt) -> None:
    crew = crew_at("")
    async with at_work(crew) as (_, pilot):
        about = ("word " * 400,)
        pilot.app.push_screen(
            SignInScreen(
                PinRequest(person=crew.ode, reason="terminal.pin_again", about=about, unconfirmed=True)
            )
        )
        await until_top(pilot, "SignInScreen")
        await until(pilot, lambda: "PIN " in text_of(pilot.app) and "…" in seen(pilot))
