"""Decide about a deviation: what becomes of it, and why."""

from typing import TYPE_CHECKING, Any, cast

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.screens.dialogs import AskScreen, Item, MenuScreen, reason_spec
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.changeover.acts import Disposal, Dispose

_DECISIONS = ("accept", "rework", "scrap", "hold")


async def ask_disposition(screen: FloorScreen[Any], work: str, number: int) -> "tuple[Dispose, bool] | None":
    """The decision about what entry `number` raised, and whether a witness is asked: it is one's own deviation.

    None when the person steps back, or nothing is to be decided. To be awaited in a worker.
    """
    from floorterm.changeover.acts import Dispose  # noqa: PLC0415
    from floorterm.terminal.views.shift import deviation_text  # noqa: PLC0415

    state = screen.desk.plant.state(work)
    deviation = next((one for one in state.deviations if one.n == number), None)
    if deviation is None:
        return None
    language = screen.language
    title = words("terminal.decide", language)
    question = deviation_text(deviation, language)
    items = [
        Item(
            name,
            words(f"terminal.decision_{name}", language),
            words(f"terminal.decision_{name}_note", language),
        )
        for name in _DECISIONS
    ]
    decision = await screen.app.push_screen_wait(MenuScreen(title, question, items))
    if decision is None:
        return None
    chosen = words(f"terminal.decision_{decision}", language)
    given = await screen.app.push_screen_wait(
        AskScreen(f"{title}: {chosen}", question, reason_spec(language))
    )
    if given is None:
        return None
    act = Dispose(deviation=number, decision=cast("Disposal", decision), reason=given.text.strip())
    person = screen.app.session.person
    return act, person is not None and deviation.caused_by(person.code)
