"""Work that needs no lockout, under the conditions of 29 CFR 1910.147(a)(2)(ii) note and (a)(2)(iii)(A).

Minor servicing during production, and machines whose only energy is a plug in the worker's own control. The
conditions are stated on screen and confirmed by whoever works; when one does not hold, it is a lockout.
"""

from collections.abc import Iterator

from floorterm.lockout.asking import NONSENSE, SITE, Asked
from floorterm.lockout.guard_ending import nobody_working, not_begun
from floorterm.lockout.model import PLUG_CONTROLS, Event
from floorterm.wording import Refusal

_MINOR = frozenset({Event.CONFIRM_EXCEPTION, Event.WORK_START, Event.CLOSE, Event.LONE_CHECK})
_PLUG = frozenset(
    {Event.UNPLUG, Event.PLUG_CONTROL, Event.WORK_START, Event.PLUG_IN, Event.CLOSE, Event.LONE_CHECK}
)


EXCEPTIONAL = frozenset({Event.CONFIRM_EXCEPTION, Event.UNPLUG, Event.PLUG_CONTROL, Event.PLUG_IN})


def may_exception(asked: Asked) -> Iterator[Refusal]:
    """All refusals of an event in a job that is one of the two exceptions."""
    state, event = asked.state, asked.event
    minor = state.job.job_class == "minor_servicing"
    if state.closed:
        yield asked.no("closed", NONSENSE)
    elif event.event not in (_MINOR if minor else _PLUG):
        yield asked.no("no_lockout_job", NONSENSE)
    elif event.event is Event.CONFIRM_EXCEPTION:
        yield from _confirm(asked)
    elif event.event is Event.PLUG_CONTROL:
        yield from _plug_control(asked)
    elif event.event is Event.WORK_START:
        yield from _start(asked, minor=minor)
    elif event.event in (Event.PLUG_IN, Event.CLOSE):
        yield from _end(asked)


def _confirm(asked: Asked) -> Iterator[Refusal]:
    job = asked.state.job
    if asked.event.result != "ok":
        yield asked.no("lock_out_instead", "(a)(2)(ii)")
    if job.task in job.policy.never_exempt:
        yield asked.no("never_exempt", SITE, task=job.task.replace("_", " "))
    if not any(job.measure.values()):
        yield asked.no("no_measure", "(a)(2)(ii)")


def _plug_control(asked: Asked) -> Iterator[Refusal]:
    state = asked.state
    if not state.unplugged:
        yield asked.no("unplug_first", "(a)(2)(iii)(A)")
    if asked.event.how not in PLUG_CONTROLS:
        yield asked.no("plug_how", "(a)(2)(iii)(A)")
    if state.plug_by and state.plug_by != asked.person.code:
        yield asked.no("plug_of_another", "(a)(2)(iii)(A)", name=state.name(state.plug_by))


def _start(asked: Asked, *, minor: bool) -> Iterator[Refusal]:
    state, person = asked.state, asked.person
    if person.code in state.at_work:
        yield asked.no("already_working", NONSENSE)
    if person.valid_to is not None and person.valid_to < asked.now.date():
        yield asked.no("training_over", SITE, date=person.valid_to.isoformat())
    if minor:
        if not state.confirmed:
            yield asked.no("confirm_first", "(a)(2)(ii)")
        return
    if not state.unplugged:
        yield asked.no("unplug_first", "(a)(2)(iii)(A)")
    elif state.plug_by and state.plug_by != person.code:
        yield asked.no("plug_of_another", "(a)(2)(iii)(A)", name=state.name(state.plug_by))
    elif not state.plug_held:
        yield asked.no("hold_the_plug", "(a)(2)(iii)(A)")


def _end(asked: Asked) -> Iterator[Refusal]:
    state = asked.state
    yield from not_begun(asked)
    yield from nobody_working(asked, "(a)(2)(iii)(A)")
    if asked.event.event is Event.PLUG_IN and state.plug_by not in ("", asked.person.code):
        yield asked.no("plug_of_another", "(a)(2)(iii)(A)", name=state.name(state.plug_by))
