"""The rules of a piece of work: `may` answers with all refusals of an act, or with none.

Each refusal says what to do instead and the rule behind it. Acts that make a person safer are never refused:
ending one's work and taking off one's own lock pass in every status of the work, whoever says so. The
questions that screens ask are here too, so that a screen imports one module.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime

from floorterm.changeover import late_rules, lye_rules
from floorterm.changeover import sign_rules as signing
from floorterm.changeover import whole_rules as whole
from floorterm.changeover.acts import (
    Abandon,
    Act,
    CorrectStep,
    Dispose,
    ExplainMinutes,
    LateStep,
    LockoutAct,
    Note,
    Pause,
    Protect,
    PushFlush,
    RaiseDeviation,
    RaiseLye,
    Redirect,
    Release,
    RepeatSection,
    Resume,
    ReviseFlush,
    SignStep,
)
from floorterm.changeover.entry_rules import deviating, within
from floorterm.changeover.figures import NumberError, typed
from floorterm.changeover.order_rules import blocking, dwell_over_at, no
from floorterm.changeover.queries import (
    current_step,
    lockout_next,
    needs_pin,
    next_steps,
    witness_duty,
)
from floorterm.changeover.sign_rules import Asked
from floorterm.changeover.state import State
from floorterm.changeover.waiting import open_steps
from floorterm.changeover.whole_rules import first_article_passed
from floorterm.lockout.state import LockOn
from floorterm.lye.duties import Eyewash
from floorterm.people import Person
from floorterm.wording import Refusal

__all__ = [
    "NumberError",
    "blocking",
    "current_step",
    "deviating",
    "dwell_over_at",
    "first_article_passed",
    "lockout_next",
    "may",
    "needs_pin",
    "next_steps",
    "open_steps",
    "typed",
    "within",
    "witness_duty",
]


def may(
    state: State,
    act: Act,
    person: Person,
    now: datetime,
    *,
    witness: Person | None = None,
    elsewhere: Iterable[LockOn] = (),
    people: Iterable[Person] = (),
    eyewash: Eyewash | None = None,
) -> tuple[Refusal, ...]:
    """All refusals of an act; empty when it may be recorded.

    `witness` is the second person, known by their own PIN. `elsewhere` are locks that other works have on.
    `people` are all those whom an act may name (a crew, whoever takes a lockout over). `eyewash` are the checks of
    eyewash and shower that the record holds, for lye work.
    `now` carries the plant's own offset at that moment (its local date decides about training and inspection).
    """
    asked = Asked(
        state=state,
        person=person,
        now=now,
        witness=witness,
        elsewhere=tuple(elsewhere),
        people={one.code: one for one in people},
        eyewash=eyewash,
    )
    if isinstance(act, LockoutAct) and act.is_way_out:
        return tuple(whole.lockout(asked, act))
    return (*_acting(asked), *_refusals(asked, act))


def _acting(asked: Asked) -> Iterator[Refusal]:
    if not asked.person.active:
        yield no("inactive", name=asked.person.name)


def _refusals(asked: Asked, act: Act) -> Iterator[Refusal]:
    match act:
        case SignStep():
            return signing.sign(asked, act)
        case LateStep():
            return late_rules.late(asked, act)
        case CorrectStep():
            return signing.correct(asked, act)
        case PushFlush():
            return signing.push(asked, act)
        case ReviseFlush():
            return signing.revise(asked, act)
        case LockoutAct():
            return whole.lockout(asked, act)
        case Protect():
            return lye_rules.protect(asked, act)
        case RaiseLye():
            return lye_rules.raise_lye(asked, act)
        case Dispose():
            return whole.dispose(asked, act)
        case Release():
            return whole.release(asked)
        case _:
            return _about_the_work(asked, act)


def _about_the_work(
    asked: Asked,
    act: RepeatSection | Pause | Resume | Note | ExplainMinutes | RaiseDeviation | Abandon | Redirect,
) -> Iterator[Refusal]:
    match act:
        case RepeatSection():
            return whole.repeat(asked, act)
        case Pause():
            return whole.pause(asked, act)
        case Resume():
            return whole.resume(asked)
        case Note():
            return whole.note(asked, act)
        case ExplainMinutes():
            return whole.explain(asked, act)
        case RaiseDeviation():
            return whole.raise_deviation(asked, act)
        case Abandon():
            return whole.abandon(asked, act)
        case Redirect():
            return whole.redirect(asked, act)
