"""The desk: one writer, in the order of presses, and what is told about it."""

import threading

from floorterm.changeover.acts import Note, Resume
from floorterm.entries import Draft
from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.messages import NotRecorded, Recorded
from floorterm.terminal.screens.lines import LinesScreen
from tests.conftest import who
from tests.terminal.shell import opened, text_of, until


class _Told:
    """What a screen is told, kept in order."""

    def __init__(self, screen: LinesScreen) -> None:
        self.messages: list[object] = []
        post = screen.post_message

        def noted(message: object) -> bool:
            if isinstance(message, Recorded | NotRecorded):
                self.messages.append(message)
            return post(message)  # type: ignore[arg-type]

        screen.post_message = noted  # type: ignore[method-assign,assignment]


async def _signed_in(plant: Plant, app: FloorApp) -> tuple[str, _Told]:
    work = plant.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "begin").work
    app.session.begin(plant.ledger.person("AA"))
    assert isinstance(app.screen, LinesScreen)
    return work, _Told(app.screen)


async def test_recorded_is_said_after_the_commit_with_its_number(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        work, told = await _signed_in(plant, app)
        assert app.desk.record(work, Note(text="first"))
        await until(pilot, lambda: told.messages)
        (message,) = told.messages
        assert isinstance(message, Recorded)
        assert plant.ledger.entry(message.entry.n).value["text"] == "first"
        assert f"Recorded as entry {message.entry.n}." in text_of(app)
        await pilot.press("down")
        assert "Recorded as entry" not in text_of(app)


async def test_a_second_press_is_not_taken_while_one_is_on_its_way(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        work, told = await _signed_in(plant, app)
        gate = threading.Event()
        append = plant.ledger.append

        def slow(*args: object, **more: object) -> object:
            gate.wait(10)
            return append(*args, **more)  # type: ignore[arg-type]

        plant.ledger.append = slow  # type: ignore[method-assign,assignment]
        assert app.desk.record(work, Note(text="first"))
        await until(pilot, lambda: "Recording" in text_of(app))
        assert not app.desk.record(work, Note(text="second"))
        gate.set()
        await until(pilot, lambda: told.messages)
        assert [entry.value["text"] for entry in plant.ledger.entries(kinds=(Note.KIND,))] == ["first"]


async def test_a_refusal_is_told_with_its_rule_and_the_act_is_kept(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        work, told = await _signed_in(plant, app)
        app.desk.record(work, Resume())
        await until(pilot, lambda: told.messages)
        (message,) = told.messages
        assert isinstance(message, NotRecorded)
        assert message.act == Resume()
        assert message.key
        assert len(message.sentences) == 1
        assert message.sentences[0].endswith("(site policy)")
        assert "NOT RECORDED" in text_of(app)


async def test_the_same_key_again_is_looked_up_and_not_recorded_twice(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        work, told = await _signed_in(plant, app)
        for count in (1, 2):
            app.desk.record(work, Note(text="once"), key="one key")
            await until(pilot, lambda: not app.desk.pending)
            await until(pilot, lambda count=count: len(told.messages) == count)  # type: ignore[misc]
        assert len(plant.ledger.entries(kinds=(Note.KIND,))) == 1
        first, second = told.messages
        assert isinstance(first, Recorded)
        assert isinstance(second, Recorded)
        assert first.entry == second.entry


async def test_what_another_terminal_signs_shows_without_a_key(plant: Plant) -> None:
    other = Plant(plant.library, plant.ledger, "T2")
    async with opened(plant) as (app, pilot):
        assert "no changeover on" in text_of(app)
        other.start_changeover(who(plant, "SS"), "L1", "clove-leaf", "theirs")
        await app.look_at_record()
        await until(pilot, lambda: "going to Clove leaf" in text_of(app))


async def test_nothing_is_told_or_repainted_when_the_record_has_not_moved(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        shown: list[int] = []
        show = app.screen.show  # type: ignore[attr-defined]
        app.screen.show = lambda: (shown.append(1), show())  # type: ignore[attr-defined]
        for _ in range(3):
            await app.beat.tick()
            await pilot.pause()
        assert shown == []
        plant.ledger.append(Draft(kind="test.other", key="k"))
        await app.beat.tick()
        await pilot.pause()
        assert shown == [1]


async def test_two_presses_for_two_people_are_recorded_in_their_order(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        work, _ = await _signed_in(plant, app)
        app.desk.record(work, Note(text="first"))
        await until(pilot, lambda: not app.desk.pending)
        app.session.begin(plant.ledger.person("BB"))
        app.desk.record(work, Note(text="second"))
        await until(pilot, lambda: len(plant.ledger.entries(kinds=(Note.KIND,))) == 2)
        notes = plant.ledger.entries(kinds=(Note.KIND,))
        assert [(one.person, one.value["text"]) for one in notes] == [("AA", "first"), ("BB", "second")]


async def test_what_cannot_be_kept_or_composed_is_told_and_ends_nothing(plant: Plant) -> None:
    """A pasted escape sequence, and a redirection to a fragrance that does not run on the line."""
    async with opened(plant) as (app, pilot):
        work, told = await _signed_in(plant, app)
        assert app.desk.record(work, Note(text="red \x1b[31m alert"))
        await until(pilot, lambda: told.messages)
        assert app.desk.redirect(work, "no-such-fragrance", "a slip")
        await until(pilot, lambda: len(told.messages) == 2)
        for message, named in zip(told.messages, ("U+001B", "no-such-fragrance"), strict=True):
            assert isinstance(message, NotRecorded)
            assert any(named in sentence for sentence in message.sentences)
        assert app.is_running
