"""What a person does next: following the guidance ends every job, and the guard accepts each move."""

import pytest

from floorterm.lockout.guide import next_moves
from floorterm.lockout.model import Event
from floorterm.wording import LANGUAGES, sentence
from tests.lockout import jobs
from tests.lockout.jobs import JOINED, ODE, ROOK, TAMM, Log, ev, log


def _next(asked: Log, person=ODE, work_left=True):
    return [
        (move.event and move.event.value, move.points)
        for move in next_moves(asked.state, person, asked.now, work_left=work_left)
    ]


def _do(asked: Log, move, person):
    facts = {
        Event.VERIFY: {"result": "zero"},
        Event.MONITOR: {"result": "zero"},
        Event.INSPECT_AREA: {"result": "ok"},
        Event.ACCOUNT_PEOPLE: {"result": "ok", "people": tuple(asked.state.workers)},
        Event.NOTIFY_BEFORE: {"people": asked.state.job.affected_duties},
        Event.NOTIFY_AFTER: {"people": asked.state.job.affected_duties},
    }.get(move.event, {})
    points = move.points[:1] if move.event is Event.LOCK_ON else move.points
    asked.accept(ev(move.event.value, person, *points, **facts))


def test_the_guidance_walks_one_person_through_the_whole_job():
    asked, done = Log(), []
    while ODE.code not in asked.state.at_work:
        move = next_moves(asked.state, ODE, asked.now, work_left=True)[0]
        done.append(move.event)
        _do(asked, move, ODE)
    while not asked.state.closed:
        move = next_moves(asked.state, ODE, asked.now, work_left=False)[0]
        done.append(move.event)
        _do(asked, move, ODE)
    words = [event.value for event in dict.fromkeys(done)]
    in_order = list(Event)[: list(Event).index(Event.CLOSE) + 1]  # after it stand the special situations
    assert words == [event.value for event in in_order if event is not Event.MONITOR]
    assert next_moves(asked.state, ODE, asked.now, work_left=False) == ()


@pytest.mark.parametrize(
    ("history", "person", "work_left", "expected"),
    [
        (jobs.PROVED, TAMM, True, [("review", ())]),
        ([*jobs.PROVED, *JOINED[:1]], TAMM, True, [("lock_on", ("D1", "V1"))]),
        ([*jobs.PROVED, *JOINED[:2]], TAMM, True, [("lock_on", ("V1",)), ("lock_off", ("D1",))]),
        (jobs.WORKING, ODE, True, [(None, ()), ("work_end", ())]),
        (jobs.WORKING, ODE, False, [("work_end", ())]),
        (jobs.WORKING, TAMM, False, [(None, ())]),
        ([*jobs.WORKING, ev("verify", TAMM, result="not_zero")], ODE, True, [("work_end", ())]),
        ([*jobs.WORKING, ev("verify", TAMM, result="not_zero")], TAMM, True, [(None, ())]),
        (jobs.ENDED, ODE, True, [("work_start", ()), ("lock_off", ("D1", "V1"))]),
        ([*jobs.PROVED, *JOINED, *jobs.UNLOCKED[len(jobs.PROVED) :]], ODE, False, [(None, ())]),
        (jobs.RELIEVED, ROOK, True, []),
        ([], ODE, False, []),
    ],
)
def test_the_next_move_of_a_person(history, person, work_left, expected):
    assert _next(log(*history), person, work_left) == expected


def test_a_reading_that_is_due_comes_before_everything_else_at_work():
    asked = log(*jobs.WORKING).wait(30)
    assert _next(asked)[0] == ("monitor", ("V1",))


@pytest.mark.parametrize("length", range(len(jobs.CLOSED)))
def test_every_move_is_a_whole_sentence_in_every_language(length):
    asked = log(*jobs.CLOSED[:length])
    for work_left in (True, False):
        for person in (ODE, TAMM):
            for move in next_moves(asked.state, person, asked.now, work_left=work_left):
                assert all("{" not in sentence(move.say, language) for language in LANGUAGES)
