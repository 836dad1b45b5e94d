"""The order of an individual lockout, clause by clause, and the acts that are never refused.

Source of every expected clause: 29 CFR 1910.147(c)(4) to (f)(4), in the reading of the rule table that the
project works from; "site policy" and LR/LO ids are the project's own and not part of the regulation.
"""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.lockout.guard import may_work
from floorterm.lockout.model import Event, LockEvent
from floorterm.lockout.state import LockOn
from floorterm.people import LockoutStatus, Person
from floorterm.wording import LANGUAGES, sentence
from tests.lockout import jobs, oracle
from tests.lockout.jobs import JOINED, ODE, ROOK, TAMM, VEY, Log, ev, keys, log

CFR = "29 CFR 1910.147"
_B_LOCKS = [ev("lock_on", TAMM, "D1"), ev("lock_on", TAMM, "V1")]

# clause, what was recorded, what is proposed, key of the refusal
ROWS: list[tuple[str, list[LockEvent], LockEvent, str]] = [
    (CFR + "(c)(9)", [ev("review"), ev("shut_down")], ev("isolate", ODE, "D1"), "untold"),
    (
        CFR + "(c)(9)",
        [ev("notify_before", people=("operator",)), ev("review"), ev("shut_down")],
        ev("isolate", ODE, "D1"),
        "untold",
    ),
    (CFR + "(c)(9)", [ev("review"), ev("isolate", ODE, "D1")], ev("lock_on", ODE, "D1"), "untold"),
    (CFR + "(c)(9)", [], ev("notify_before"), "name_told"),
    (CFR + "(d)(1)", jobs.TOLD, ev("shut_down"), "not_reviewed"),
    (CFR + "(d)(2)", jobs.REVIEWED, ev("isolate", ODE, "D1"), "not_shut_down"),
    (CFR + "(c)(8)", jobs.STOPPED, ev("isolate", ROOK, "D1"), "not_authorised"),
    (CFR + "(c)(8)", jobs.ISOLATED, ev("lock_on", VEY, "D1"), "not_authorised"),
    (CFR + "(c)(8)", jobs.TOLD, ev("review", ROOK), "not_authorised"),
    (CFR + "(d)(3)", jobs.STOPPED, ev("lock_on", ODE, "D1"), "not_isolated"),
    (CFR + "(c)(5)(ii)", jobs.LOCKED, ev("lock_on", TAMM, "D1", lock="ODE-V1"), "lock_in_use"),
    (CFR + "(c)(5)(ii)", jobs.ISOLATED, ev("lock_on", ODE, "D1", "V1"), "one_lock_one_point"),
    (CFR + "(c)(5)(ii)(D)", jobs.ISOLATED, ev("lock_on", ODE, "D1", lock=""), "which_lock"),
    (CFR + "(d)(5)(i)", jobs.ISOLATED, ev("release", ODE, "V1"), "relieve_after_lock"),
    (CFR + "(d)(5)(i)", jobs.LOCKED, ev("verify", result="zero"), "not_relieved"),
    (
        CFR + "(d)(4)(i)",
        [*jobs.ISOLATED, ev("lock_on", ODE, "D1")],
        ev("verify", result="zero"),
        "not_locked",
    ),
    (CFR + "(d)(3)", jobs.STOPPED, ev("verify", result="zero"), "not_isolated"),
    (CFR + "(d)(6)", jobs.RELIEVED, ev("verify", ODE, "D1", result="zero"), "verify_all"),
    (
        CFR + "(d)(6)",
        [*jobs.RELIEVED, ev("lock_on", TAMM, "D1")],
        ev("verify", TAMM, result="zero"),
        "verify_after_own_lock",
    ),
    (CFR + "(d)(6)", jobs.RELIEVED, ev("work_start"), "not_verified"),
    (CFR + "(d)(6)", [*jobs.PROVED, ev("review", TAMM), *_B_LOCKS], ev("work_start", TAMM), "not_verified"),
    (CFR + "(d)(6)", [*jobs.PROVED, ev("isolate", ODE, "D1")], ev("work_start"), "unproved_isolate"),
    (
        CFR + "(d)(6)",
        [*jobs.PROVED, ev("verify", result="not_zero"), ev("release", ODE, "V1")],
        ev("work_start"),
        "unproved_not_zero",
    ),
    (
        CFR + "(d)(6)",
        [*jobs.PROVED, ev("monitor", ODE, "V1", result="not_zero"), ev("release", ODE, "V1")],
        ev("work_start"),
        "unproved_not_zero",
    ),
    (
        CFR + "(d)(6)",
        [*jobs.PROVED, *JOINED, ev("lock_off", ODE, "D1"), ev("lock_on", ODE, "D1")],
        ev("work_start"),
        "not_verified",
    ),
    (
        CFR + "(d)(4)(i), (f)(3)(i)",
        [*jobs.PROVED, ev("review", TAMM)],
        ev("work_start", TAMM),
        "own_lock_first",
    ),
    (
        CFR + "(d)(4)(i), (f)(3)(i)",
        [*jobs.PROVED, *JOINED, ev("lock_off", TAMM, "V1")],
        ev("work_start", TAMM),
        "own_lock_first",
    ),
    (
        CFR + "(d)(5)(i)",
        [*jobs.PROVED, ev("lock_off", ODE, "V1"), ev("lock_on", ODE, "V1")],
        ev("verify", result="zero"),
        "not_relieved",
    ),
    (
        CFR + "(d)(5)(i)",
        [*jobs.PROVED, ev("monitor", ODE, "V1", result="not_zero")],
        ev("verify", result="zero"),
        "not_relieved",
    ),
    (
        CFR + "(d)(5)(ii)",
        [*jobs.WORKING, ev("monitor", ODE, "V1", result="not_zero")],
        ev("release", ODE, "V1"),
        "alarm",
    ),
    (
        CFR + "(d)(5)(ii)",
        [*jobs.WORKING, ev("verify", result="not_zero")],
        ev("verify", result="zero"),
        "alarm",
    ),
    (CFR + "(d)(1)", [*jobs.PROVED, *JOINED[1:]], ev("work_start", TAMM), "review_first"),
    (CFR + "(e)(1)", jobs.ENDED, ev("re_energise", ODE, "D1"), "inspect_first"),
    (
        CFR + "(e)(1)",
        [*jobs.ACCOUNTED, ev("work_start"), ev("work_end")],
        ev("re_energise", ODE, "D1"),
        "inspect_first",
    ),
    (
        CFR + "(e)(1)",
        [*jobs.ENDED, ev("inspect_area", result="not_ok")],
        ev("re_energise", ODE, "D1"),
        "inspect_first",
    ),
    (
        CFR + "(e)(2)(i)",
        [*jobs.INSPECTED, ev("lock_off", ODE, "D1")],
        ev("re_energise", ODE, "D1"),
        "account_first",
    ),
    (CFR + "(e)(2)(i)", jobs.WORKING, ev("inspect_area", result="ok"), "still_working"),
    (
        CFR + "(e)(2)(i)",
        [
            *jobs.WORKING,
            *JOINED,
            ev("work_start", TAMM),
            ev("work_end", TAMM),
            ev("work_end"),
            ev("inspect_area", result="ok"),
        ],
        ev("account_people", people=("ODE",), result="ok"),
        "not_accounted_for",
    ),
    (CFR + "(e)(3)", jobs.ACCOUNTED, ev("lock_off", TAMM, "D1"), "not_your_lock"),
    (CFR + "(e)(3)", jobs.ACCOUNTED, ev("re_energise", ODE, "D1"), "lock_still_on"),
    (CFR + "(e)(2)(ii)", jobs.ACCOUNTED, ev("notify_after", people=("operator", "packer")), "told_too_early"),
    (
        CFR + "(e)(2)(ii)",
        [*jobs.UNLOCKED, ev("re_energise", ODE, "D1"), ev("re_energise", ODE, "V1")],
        ev("restart"),
        "untold_after",
    ),
    (
        CFR + "(e)(2)(ii)",
        [*jobs.UNLOCKED, ev("notify_after", people=("packer",)), *jobs.ENERGISED[-2:]],
        ev("restart"),
        "untold_after",
    ),
    (
        CFR + "(e)(2)(ii)",
        [*jobs.TOLD_AFTER, ev("lock_on", TAMM, "D1"), ev("lock_off", TAMM, "D1"), *jobs.ENERGISED[-2:]],
        ev("restart"),
        "untold_after",
    ),
    (CFR + "(e)(2)(ii)", [*jobs.UNLOCKED, *jobs.ENERGISED[-2:]], ev("close"), "untold_after"),
    (CFR + "(c)(7)(i)(C)", jobs.ENERGISED, ev("restart", VEY), "not_for_others"),
    ("LO-36", jobs.ACCOUNTED, ev("close"), "close_with_locks"),
    ("site policy", jobs.TOLD_AFTER, ev("close"), "close_with_point_off"),
    ("LR-03", jobs.ISOLATED, ev("lock_off", ODE, "D1"), "no_such_lock"),
    ("LR-03", jobs.ENERGISED, ev("re_energise", ODE, "D1"), "already_energised"),
    ("LR-03", jobs.TOLD_AFTER, ev("restart"), "point_still_off"),
    ("LR-03", jobs.WORKING, ev("work_start"), "already_working"),
    ("LR-03", jobs.STOPPED, ev("isolate", ODE, "D9"), "unknown_point"),
    ("LR-03", jobs.STOPPED, ev("isolate", ODE), "which_point"),
    ("LR-03", jobs.RELIEVED, ev("verify"), "result_zero"),
    ("LR-03", jobs.ENDED, ev("inspect_area"), "result_ok"),
    ("LR-03", [], ev("inspect_area", result="ok"), "nothing_begun"),
    ("LR-03", [], ev("verify", result="not_zero"), "nothing_begun"),
    ("LR-03", jobs.CLOSED, ev("work_start"), "closed"),
]


@pytest.mark.parametrize(
    ("clause", "before", "proposed", "key"), ROWS, ids=[f"{i}-{r[3]}" for i, r in enumerate(ROWS)]
)
def test_each_clause_refuses_what_breaks_it(clause, before, proposed, key):
    refusals = log(*before).ask(proposed)
    assert key in keys(refusals)
    assert clause in [refusal.rule for refusal in refusals if refusal.say.key == f"lockout.{key}"]


@pytest.mark.parametrize(
    ("clause", "before", "proposed", "key"), ROWS, ids=[str(i) for i in range(len(ROWS))]
)
def test_each_refusal_is_a_whole_sentence_in_every_language(clause, before, proposed, key):
    for refusal in log(*before).ask(proposed):
        for language in LANGUAGES:
            spoken = sentence(refusal.say, language)
            assert len(spoken) > 20
            assert "{" not in spoken


def test_the_whole_correct_job_is_accepted_event_by_event():
    done = Log().accept(*jobs.CLOSED)
    assert done.state.closed
    assert done.state.is_idle


def test_notice_after_energising_but_before_restart_is_accepted():
    # 29 CFR 1910.147 Appendix A restores energy first and notifies then
    Log().accept(*jobs.UNLOCKED, *jobs.ENERGISED[-2:], jobs.TOLD_AFTER[-1], ev("restart"), ev("close"))


def test_a_closed_record_can_be_begun_again_and_starts_from_nothing():
    again = Log().accept(*jobs.CLOSED)
    assert keys(again.ask(ev("isolate", ODE, "D1"))) == ["untold", "not_shut_down"]
    again.accept(*jobs.CLOSED)
    assert again.state.run == 2
    assert len(again.state.events) == 2 * len(jobs.CLOSED)


def test_a_lock_of_another_job_keeps_a_point_from_being_energised_and_the_machine_from_starting():
    other = LockOn(line="L1", point="D1", lock="77", owner="VEY", owner_name="S. Vey")
    asked = log(*jobs.TOLD_AFTER)
    asked.elsewhere = (other,)
    assert keys(asked.ask(ev("re_energise", ODE, "D1"))) == ["lock_still_on"]
    assert asked.ask(ev("re_energise", ODE, "V1")) == ()
    asked.record(*jobs.ENERGISED[-2:])
    assert "lock_still_on" in keys(asked.ask(ev("restart")))
    asked.elsewhere = (replace(other, line="L2"),)
    assert asked.ask(ev("restart")) == ()


def test_a_lock_that_is_on_in_another_job_is_not_put_on_here():
    asked = log(*jobs.ISOLATED)
    asked.elsewhere = (LockOn(line="L2", point="D1", lock="ODE-D1", owner="ODE", owner_name="R. Ode"),)
    assert keys(asked.ask(ev("lock_on", ODE, "D1"))) == ["lock_in_use"]


@pytest.mark.parametrize(
    ("person", "key", "rule"),
    [
        (replace(ODE, trained_on=None), "no_training", CFR + "(c)(7)(i)"),
        (replace(ODE, trained_on=date(2026, 3, 3)), "no_training", CFR + "(c)(7)(i)"),
        (replace(ODE, trained_on=date(2025, 5, 31)), "trained_before_change", CFR + "(c)(7)(iii)"),
        (replace(ODE, valid_to=date(2026, 3, 1)), "training_over", "site policy"),
    ],
)
def test_training_out_of_date_refuses_the_start_of_work_and_nothing_else(person, key, rule):
    asked = log(*jobs.PROVED)
    refusals = asked.ask(ev("work_start"), person)
    assert [(k, r.rule) for k, r in zip(keys(refusals), refusals, strict=True)] == [(key, rule)]
    for index in range(len(jobs.PROVED)):
        assert log(*jobs.PROVED[:index]).ask(jobs.PROVED[index], person) == ()
    for index in range(len(jobs.WORKING), len(jobs.CLOSED)):
        assert log(*jobs.CLOSED[:index]).ask(jobs.CLOSED[index], person) == ()


def test_the_last_day_of_training_and_of_the_inspection_counts():
    asked = log(*jobs.PROVED)
    asked.state = replace(asked.state, job=replace(jobs.JOB, inspection_due=date(2026, 3, 2)))
    assert asked.ask(ev("work_start"), replace(ODE, valid_to=date(2026, 3, 2))) == ()


def test_an_overdue_inspection_refuses_the_start_of_work_but_no_lock():
    asked = log(*jobs.PROVED)
    asked.state = replace(asked.state, job=replace(jobs.JOB, inspection_due=date(2026, 3, 1)))
    assert keys(asked.ask(ev("work_start"))) == ["inspection_overdue"]
    assert asked.ask(ev("lock_on", TAMM, "D1")) == ()
    assert asked.ask(ev("lock_off", ODE, "D1")) == ()


def test_whoever_an_inspection_names_is_trained_again_before_working_and_still_locks_and_leaves():
    """29 CFR 1910.147(c)(7)(iii)(B); training on the day of the inspection counts."""
    named = replace(jobs.JOB, retrain=(("ODE", date(2026, 3, 1)),))
    asked = log(*jobs.PROVED)
    asked.state = replace(asked.state, job=named)
    assert keys(asked.ask(ev("work_start"), replace(ODE, trained_on=date(2026, 2, 28)))) == [
        "trained_before_inspection"
    ]
    assert asked.ask(ev("work_start"), replace(ODE, trained_on=date(2026, 3, 1))) == ()
    assert asked.ask(ev("lock_off", ODE, "D1"), replace(ODE, trained_on=date(2026, 2, 28))) == ()


def test_a_reading_is_due_within_the_interval_and_work_stops_when_it_lapsed():
    asked = log(*jobs.WORKING)  # verified one minute before the start
    asked.wait(19)
    assert may_work(asked.state, ODE, asked.now) == ()
    asked.wait(0.5)
    assert keys(may_work(asked.state, ODE, asked.now)) == ["monitor_lapsed"]
    asked.accept(ev("monitor", ODE, "V1", result="zero"))
    assert may_work(asked.state, ODE, asked.now) == ()


def test_energy_found_is_recorded_whoever_finds_it():
    for person in (ODE, TAMM, ROOK, VEY):
        assert log(*jobs.WORKING).ask(ev("verify", person, result="not_zero")) == ()


def test_after_energy_was_found_everybody_leaves_then_relief_and_a_new_try_out_allow_work():
    asked = log(*jobs.WORKING, *JOINED, ev("work_start", TAMM), ev("monitor", ODE, "V1", result="not_zero"))
    assert keys(asked.ask(ev("review", TAMM))) == ["alarm"]
    asked.accept(ev("work_end"))
    assert keys(asked.ask(ev("release", ODE, "V1"))) == ["alarm"]
    asked.accept(ev("work_end", TAMM), ev("release", ODE, "V1"))
    assert "unproved_not_zero" in keys(asked.ask(ev("work_start")))
    asked.accept(ev("verify", result="zero"), ev("work_start"))
    assert keys(asked.ask(ev("work_start", TAMM))) == ["not_verified"]


def test_a_witness_with_own_locks_shares_the_verification():
    asked = log(*jobs.RELIEVED, *JOINED[:3])
    asked.accept(ev("verify", result="zero", people=("TAMM",)), ev("work_start"), ev("work_start", TAMM))


def test_a_witness_without_own_locks_is_not_covered():
    asked = log(*jobs.RELIEVED, JOINED[0]).accept(ev("verify", result="zero", people=("TAMM",)))
    assert "own_lock_first" in keys(asked.ask(ev("work_start", TAMM)))


def test_locks_taken_off_too_early_still_let_the_job_end():
    asked = log(*jobs.ENDED).accept(ev("lock_off", ODE, "D1"), ev("lock_off", ODE, "V1"))
    asked.accept(
        jobs.INSPECTED[-1], jobs.ACCOUNTED[-1], *jobs.TOLD_AFTER[len(jobs.UNLOCKED) :], *jobs.ENERGISED[-2:]
    )
    asked.accept(ev("restart"), ev("close"))


# --- properties -------------------------------------------------------------------------------------

_people = st.sampled_from([ODE, TAMM, ROOK])
_points = st.sampled_from([(), ("D1",), ("V1",), ("D1", "V1")])


@st.composite
def proposals(draw: st.DrawFn) -> LockEvent:
    word = draw(st.sampled_from([event.value for event in Event]))
    by, points = draw(_people), draw(_points)
    results = {"verify": ("zero", "not_zero"), "monitor": ("zero", "not_zero")}.get(word, ("ok", "not_ok"))
    people = draw(st.sampled_from([(), ("operator",), ("operator", "packer"), ("ODE", "TAMM", "ROOK")]))
    return ev(word, by, *points, result=draw(st.sampled_from(results)), people=people)


@st.composite
def histories(draw: st.DrawFn) -> list[LockEvent]:
    """A cut of the correct job, then anything at all."""
    cut = draw(st.integers(0, len(jobs.CLOSED)))
    return jobs.CLOSED[:cut] + draw(st.lists(proposals(), max_size=12))


@settings(max_examples=150, deadline=None)
@given(histories())
def test_end_of_work_and_own_lock_off_are_never_refused(events):
    asked = log(*events)
    for person in (ODE, TAMM, ROOK, Person(code="ODE", name="R. Ode", lockout=LockoutStatus.OTHER)):
        assert asked.ask(ev("work_end", person), person) == ()
        for lock in asked.state.own_locks(person.code):
            assert asked.ask(ev("lock_off", person, lock.point), person) == ()
            assert asked.ask(ev("lock_off", person, lock.point, lock=lock.lock), person) == ()
        if asked.state.own_locks(person.code):
            assert asked.ask(ev("lock_off", person), person) == ()


@settings(max_examples=250, deadline=None)
@given(histories(), st.lists(proposals(), max_size=30))
def test_whoever_may_work_is_under_own_locks_with_a_verification_that_stands(events, more):
    asked = log(*events)
    for event in more:
        if not asked.ask(event):
            asked.record(event)
        for person in (ODE, TAMM):
            if not may_work(asked.state, person, asked.now):
                assert oracle.under_own_locks(jobs.JOB, asked.state.events, person.code)
                assert oracle.proved(jobs.JOB, asked.state.events, person.code)


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_no_correct_history_of_several_people_is_refused(data):
    crew = data.draw(
        st.lists(
            st.sampled_from([ODE, TAMM, jobs.authorised("PELL", "jobs. Pell")]),
            min_size=1,
            max_size=3,
            unique=True,
        )
    )
    people = {person.code: person for person in crew}
    asked = Log()

    def accept(event: LockEvent) -> None:
        refusals = asked.ask(event, people[event.by])
        assert refusals == (), (event, refusals)
        asked.record(event)

    first, shuffled = crew[0], lambda events: data.draw(st.permutations(events))
    for event in [
        ev("notify_before", first, people=("operator", "packer")),
        *(ev("review", p) for p in crew),
        ev("shut_down", first),
    ]:
        accept(event)
    for event in shuffled([ev("isolate", first, "D1"), ev("isolate", first, "V1")]):
        accept(event)
    for event in shuffled([ev("lock_on", p, point) for p in crew for point in ("D1", "V1")]):
        accept(event)
    accept(ev("release", first, "V1"))
    for event in shuffled([ev("verify", p, result="zero") for p in crew]):
        accept(event)
    for event in shuffled([ev("work_start", p) for p in crew]):
        accept(event)
    early = data.draw(st.lists(st.sampled_from(crew[1:]), unique=True)) if crew[1:] else []
    for person in shuffled(crew):
        accept(ev("work_end", person))
        if person in early:
            accept(ev("lock_off", person))
    accept(ev("inspect_area", first, result="ok"))
    accept(ev("account_people", first, people=tuple(people), result="ok"))
    for event in shuffled(
        [ev("lock_off", p, point) for p in crew if p not in early for point in ("D1", "V1")]
    ):
        accept(event)
    for event in shuffled(
        [
            ev("notify_after", first, people=("operator", "packer")),
            ev("re_energise", first, "D1"),
            ev("re_energise", first, "V1"),
        ]
    ):
        accept(event)
    accept(ev("restart", first))
    accept(ev("close", first))
    assert asked.state.is_idle
