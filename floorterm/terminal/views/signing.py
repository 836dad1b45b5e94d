"""What somebody is about to sign, in the words of the step, the offer or the menu that led to it. Pure."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from floorterm.changeover.acts import (
    Abandon,
    CorrectStep,
    Dispose,
    ExplainMinutes,
    LateStep,
    LockoutAct,
    Note,
    Pause,
    Protect,
    RaiseDeviation,
    RaiseLye,
    Redirect,
    Release,
    RepeatSection,
    Resume,
    SignStep,
)
from floorterm.changeover.view import title_of
from floorterm.terminal.views.record import kind_text, result_words, step_values
from floorterm.terminal.views.shift import deviation_text
from floorterm.terminal.views.text import tell, thousands
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.changeover.acts import Act
    from floorterm.changeover.state import State

_NAMED = 2  # points that are named in full; of more of them the codes stand, as on their locks
_MENU = {
    Abandon: "abandon", CorrectStep: "correct", LateStep: "late", Note: "note", Pause: "pause", Protect: "protect",
    RaiseDeviation: "deviation", RaiseLye: "raise_lye", Redirect: "redirect", RepeatSection: "repeat",
    Resume: "resume",
}  # fmt: skip


class Offered(Struct, frozen=True):
    """The offer that an act was chosen by: its words, and the points of all the acts that one PIN signs."""

    text: str
    points: tuple[str, ...]


def act_lines(state: "State", act: "Act", language: str, offered: Offered | None = None) -> tuple[str, ...]:
    """The act, its step or points, and what was entered."""
    lead = offered.text if offered is not None else _lead(state, act, language)
    if offered is not None and isinstance(act, LockoutAct):
        act = replace(act, points=offered.points)
    parts = (lead, _about(state, act, language), _entered(state, act, language))
    return tuple(part for part in parts if part)


def _lead(state: "State", act: "Act", language: str) -> str:
    match act:
        case SignStep(outcome="not_applicable"):
            return words("work.more_not_applicable", language)
        case SignStep():
            return ""  # the step says it
        case LockoutAct():
            return words(f"terminal.event_{act.event.value}", language)
        case Release():
            return f"{words('work.key_release', language).replace('|', '')}: {title_of(state.worksheet, language)}"
        case Dispose():
            chosen = words(f"terminal.decision_{act.decision}", language)
            return f"{words('terminal.decide', language)}: {chosen}"
        case _:
            name = _MENU.get(type(act))
            return words(f"work.more_{name}", language) if name else kind_text(act.KIND, language)


def _about(state: "State", act: "Act", language: str) -> str:
    """The step, or the isolation points."""
    if isinstance(act, LockoutAct):
        found = state.locks.get(act.job)
        if (
            found is None
        ):  # a redirect elsewhere has renamed it: the rules refuse that, the dialogue only says it
            return ", ".join(act.points)
        points = [point for point in found.job.points if point.id in act.points]
        if len(points) > _NAMED:
            return words("terminal.signs_points", language, n=len(points), points=", ".join(act.points))
        return ", ".join(tell(point.name, language) for point in points)
    if isinstance(act, Dispose):
        raised = (one for one in state.deviations if one.n == act.deviation)
        return next((deviation_text(one, language) for one in raised), "")
    section = getattr(act, "section", "")
    if section:
        named = next((one for one in state.worksheet.sections if one.id == section), None)
        return tell(named.title, language) if named else ""
    step = state.worksheet.step(getattr(act, "step", ""))
    return tell(step.text, language) if step is not None else ""


def _entered(state: "State", act: "Act", language: str) -> str:
    return ", ".join(part for part in _values(state, act, language) if part)


def _values(state: "State", act: "Act", language: str) -> Iterable[str]:
    step = state.worksheet.step(getattr(act, "step", ""))
    if isinstance(act, LockoutAct):
        yield from (act.lock, result_words(act.result, language), act.owner, ", ".join(act.people))
    elif isinstance(act, SignStep | CorrectStep):
        yield from step_values(act, step, language)
    elif isinstance(act, LateStep):
        yield words("terminal.by_paper", language, time=f"{act.done_at:%Y-%m-%d %H:%M}", name=act.by_name)
        yield from step_values(act.signature(), step, language)
    elif isinstance(act, ExplainMinutes):
        yield words(f"shift.cause_{act.cause}", language)
        yield words("shift.told_minutes", language, n=act.minutes)
    elif (kg := getattr(act, "kg", None)) is not None:
        yield f"{thousands(kg, language)} kg"
    yield getattr(act, "text", "") if isinstance(act, Note | RaiseDeviation) else ""
    yield getattr(act, "reason", "")
