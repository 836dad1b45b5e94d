"""Seals at the terminal: the code to photograph, and a second place that never keeps anybody waiting."""

import threading
from datetime import timedelta
from pathlib import Path

import pytest
from msgspec.structs import replace

from floorterm import sealing
from floorterm.demo.clock import SetClock
from floorterm.ledger import Ledger, Seal
from floorterm.ledger.seal import SEAL_MADE
from floorterm.ledger.witness import read_seals
from floorterm.library.model import RecordPolicy
from floorterm.plant import Plant
from floorterm.review.seal_code import can_draw, code_modules, half_blocks
from floorterm.terminal import second_place
from floorterm.terminal.app import FloorApp
from floorterm.terminal.second_place import SecondPlace
from floorterm.terminal.views.seal import seal_lines
from tests.terminal.shell import COMFORTABLE, SMALL, opened, text_of, until, until_top


def _with_witness(plant: Plant, path: Path) -> Plant:
    policy = replace(plant.library.plant, record=RecordPolicy(witness=str(path)))
    return Plant(replace(plant.library, plant=policy), plant.ledger, "T1")


def _modules(app: FloorApp, width: int) -> list[tuple[bool, ...]]:
    """The dark squares that the screen shows: pieces of that width, dark on a light ground."""
    rows = []
    for strip in app.screen._compositor.render_strips():
        for segment in strip:
            if len(segment.text) == width and set(segment.text) <= set(" █▀▄"):
                assert segment.style
                assert segment.style.bgcolor
                assert segment.style.color
                assert min(segment.style.bgcolor.get_truecolor()) > 150
                assert max(segment.style.color.get_truecolor()) == 0
                rows.append([(character in "█▀", character in "█▄") for character in segment.text])
    return [tuple(pair[half] for pair in row) for row in rows for half in (0, 1)]


@pytest.mark.parametrize(("size", "border"), [(SMALL, 2), (COMFORTABLE, 4)])
@pytest.mark.parametrize("plain", [False, True])
async def test_a_shifts_review_shows_the_whole_seal_as_a_code_and_in_digits(
    plant: Plant, size: tuple[int, int], border: int, plain: bool
) -> None:
    head = plant.ledger.head()
    async with opened(plant, size, plain=plain) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        await pilot.press("f6")
        await until_top(pilot, "ReviewScreen")
        await pilot.press("f8")
        await until_top(pilot, "SealScreen")
        await until(pilot, lambda: plant.ledger.head().n == head.n + 1 and "█" in text_of(app))
        seal = Seal.of(head, plant.ledger.start().plant)
        wanted = code_modules(seal.code, border=border)
        drawn = _modules(app, len(wanted))
        assert drawn[: len(wanted)] == list(wanted)
        told = text_of(app)
        assert all(group in told for group in seal.groups.split())
        assert "F1" in told
        assert "Esc" in told
        text_of(app).encode("cp437")
        made = plant.ledger.entries(kinds=(SEAL_MADE,))[-1]
        assert (made.value["to"], made.value["n"]) == (sealing.PHOTOGRAPH, head.n)
        await pilot.press("escape", "f8")
        await until_top(pilot, "SealScreen")
        await until(pilot, lambda: "█" in text_of(app))
        assert plant.ledger.head().n == head.n + 1  # nothing came since: the same seal is shown again


def test_the_largest_seal_fits_beside_its_words_on_a_small_screen() -> None:
    seal = Seal(
        chain="7b1f0c52-6f0e-4c0b-9b57-0d3a5e9c4a11",
        plant="Seifenwerk Köln (Nord), Werk 2",
        n=99_999_999,
        hash="af" * 32,
        at="2026-11-26T06:00:00.000000Z",
    )
    code = half_blocks(code_modules(seal.code))
    for language in ("en", "es"):
        lines = seal_lines(seal, code, 80, language, plant=seal.plant, at="2026-11-26, Thu 06:00")
        assert len(code) == len(lines) == 21  # 24 lines less the three of the keys
        assert all(sum(len(span.text) for span in line) <= 80 for line in lines)
        told = seal_lines(seal, (), 80, language, plant=seal.plant, at="2026-11-26, Thu 06:00")
        assert len(told) <= 19
        assert "cannot draw" in str(told) or "no puede dibujar" in str(told)


@pytest.mark.parametrize(
    ("encoding", "can"), [("utf-8", True), ("cp437", True), ("latin-1", False), ("x", False)]
)
def test_where_the_halves_of_a_cell_have_no_character_the_digits_stand_alone(
    encoding: str, can: bool
) -> None:
    assert can_draw(encoding) is can


async def test_a_seal_that_cannot_be_recorded_is_not_shown(plant: Plant) -> None:
    reader = Plant(plant.library, Ledger.open(plant.ledger.path, read_only=True), "T1")
    async with opened(reader) as (app, pilot):
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        await pilot.press("f6")
        await until_top(pilot, "ReviewScreen")
        await pilot.press("f8")
        await until(pilot, lambda: "can be read, not" in text_of(app))
        assert "█" not in text_of(app)
        assert "being made" not in text_of(app)


async def test_an_open_terminal_brings_seals_and_says_when_the_place_is_away(
    plant: Plant, tmp_path: Path, clock: SetClock
) -> None:
    witness = tmp_path / "witness.txt"
    witness.touch()
    async with opened(_with_witness(plant, witness)) as (app, pilot):
        await until(pilot, lambda: len(read_seals(witness)) == 1)
        witness.rename(tmp_path / "gone")
        clock.advance(timedelta(hours=25))
        await until(
            pilot, lambda: app.beat.second_place._visit and not app.beat.second_place._visit.is_alive()
        )
        await app.beat.tick()
        await until(pilot, lambda: app.beat.second_place.fault)
        await app.beat.tick()
        assert "cannot be reached" in app.said
        await pilot.press("f8")
        await until_top(pilot, "ShiftScreen")
        await until(pilot, lambda: "second place: no seals since Wed 07:00" in text_of(app))
        (tmp_path / "gone").rename(witness)
        clock.advance(timedelta(minutes=1))
        await app.beat.tick()
        await until(pilot, lambda: len(read_seals(witness)) == 2)
        await until(pilot, lambda: app.beat.second_place.fault is None)
        app.retell()
        await until(pilot, lambda: "second place" not in text_of(app))


def test_a_place_that_never_answers_holds_nothing_up_and_is_said(
    plant: Plant, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hang = threading.Event()
    seconds = [0.0]
    monkeypatch.setattr(sealing, "keep", lambda *_: hang.wait())
    place = SecondPlace(lambda: seconds[0])
    asked = _with_witness(plant, tmp_path / "witness.txt")
    place.look(asked)
    place.look(asked)
    assert place.news() is None
    seconds[0] = second_place.PATIENCE_S + 1
    place.look(asked)
    fault = place.news()
    assert fault is not None
    assert "does not answer" in str(fault)
    assert place.news() is None  # said once
    assert place._visit is not None
    assert place._visit.daemon
    hang.set()


def test_a_plant_without_a_second_place_has_no_visits(plant: Plant) -> None:
    place = SecondPlace(lambda: 0.0)
    place.look(plant)
    assert place._visit is None
