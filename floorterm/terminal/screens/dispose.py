"""Decide about a deviation: what becomes of it, and why."""

from typing import TYPE_CHECKING, Any, cast

from floorterm.terminal.base import FloorScreen
from floorterm.terminal.screens.dialogs import AskScreen, Item, MenuScreen, reason_spec
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.changeover.acts import Disposal
    from floorterm.changeover.state import Deviation

_DECISIONS = ("accept", "rework", "scrap", "hold")


async def ask_disposition(screen: FloorScreen[Any], deviation: "Deviation") -> "tuple[Disposal, str] | None":
    """Decision and reason, or None when the person steps back. To be awaited in a worker."""
    from floorterm.terminal.views.shift import deviation_text  # noqa: PLC0415

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
    return cast("Disposal", decision), given.text.strip()
