"""The special situations, clause by clause: what is refused, and that the right way goes through.

Source of every expected clause: 29 CFR 1910.147(a)(2), (e)(3) exception and (f)(1)-(4) with the letters that the rule
table names; "site policy" and LR/LO ids are the project's own and not part of the regulation.
"""

from datetime import date

import pytest
from msgspec.structs import replace

from floorterm.lockout.model import BOX, Event, LockEvent, Policy
from floorterm.lockout.state import LockoutState
from floorterm.wording import LANGUAGES, Say, sentence
from tests.lockout.audit.histories import ABSENT, CREWS, GROUP_LOCKED, HAND_OVER, TEST_RUN, script
from tests.lockout.floor import FIRM, PEOPLE, POLICY, Floor, ev, from_document, job

CFR = "29 CFR 1910.147"


def acts(text: str) -> list[LockEvent]:
    return [from_document(event) for event in script(text)]


def upto(text: str, line: str) -> list[LockEvent]:
    """The events of a history before one of its lines."""
    assert line in text, line
    return acts(text[: text.index(line)])


GROUPED = acts(GROUP_LOCKED)
_LEAD = len(GROUPED) - 2  # without the two offers

# clause, mode, what was recorded, what is proposed, key of the refusal
ROWS: list[tuple[str, dict[str, object], list[LockEvent], LockEvent, str]] = [
    # (f)(3) groups
    ("site policy", {}, [], ev("assign_primary", "A1", primary="A1", people=("A2",)), "individual_only"),
    (
        CFR + "(f)(3)(ii)(A)",
        {"mode": "either"},
        acts(HAND_OVER)[:6],
        ev("assign_primary", "A1", primary="A1", people=("A2",)),
        "group_from_the_start",
    ),
    (
        CFR + "(f)(3)(ii)(A)",
        {"mode": "group"},
        [],
        ev("assign_primary", "A1", primary="F1", people=("A2",)),
        "primary_authorised",
    ),
    (CFR + "(f)(3)(ii)(A)", {"mode": "group"}, [], ev("assign_primary", "A1", primary="A1"), "name_members"),
    ("LR-02", {"mode": "group"}, [], ev("assign_primary", "A1", primary="A1", people=("Q9",)), "who_is_that"),
    (
        CFR + "(f)(3)(ii)(C)",
        {"mode": "group", "crews": 2},
        [*GROUPED, ev("lock_on", "A2", BOX)],
        ev("work_start", "A2"),
        "no_coordinator",
    ),
    (
        CFR + "(f)(3)(ii)(C)",
        {"mode": "group", "crews": 2},
        [],
        ev("assign_primary", "A1", primary="A1", people=("A2",), coordinator="F1"),
        "coordinator_authorised",
    ),
    (
        "site policy",
        {"mode": "group", "policy": replace(POLICY, crew_limit=2)},
        [],
        ev("assign_primary", "A1", primary="A1", people=("A2", "A3")),
        "crew_too_large",
    ),
    ("LR-03", {}, acts(HAND_OVER)[:7], ev("key_in_box", "A1", "D1"), "no_group"),
    ("LR-03", {"mode": "group"}, GROUPED[:6], ev("key_in_box", "A1", "D1"), "key_without_lock"),
    (CFR + "(f)(3)(ii)(D)", {"mode": "group"}, GROUPED[:8], ev("verify", "A1", result="zero"), "keys_first"),
    (CFR + "(f)(3)(ii)(D)", {"mode": "group"}, GROUPED[:9], ev("lock_on", "A2", BOX), "keys_first"),
    (CFR + "(f)(3)(ii)(A)", {"mode": "group"}, GROUPED, ev("lock_on", "A4", BOX), "not_a_member"),
    (
        CFR + "(f)(3)(ii)(A)",
        {"mode": "group"},
        GROUPED[:_LEAD],
        ev("offer_verify", "A2", people=("A3",)),
        "primary_offers",
    ),
    (
        CFR + "(f)(3)(ii)(A)",
        {"mode": "group"},
        GROUPED[:_LEAD],
        ev("offer_verify", "A1", people=("A4",)),
        "nobodys_member",
    ),
    (
        CFR + "(d)(3)",
        {"mode": "group"},
        GROUPED[:3],
        ev("offer_verify", "A1", people=("A2",)),
        "not_isolated",
    ),
    (
        CFR + "(f)(3)(ii)(B)",
        {"mode": "group"},
        [*GROUPED, ev("review", "A4")],
        ev("work_start", "A4"),
        "not_a_member",
    ),
    (
        CFR + "(d)(4)(i), (f)(3)(i)",
        {"mode": "group"},
        GROUPED,
        ev("work_start", "A2"),
        "own_lock_first",
    ),
    (
        CFR + "(d)(6)",
        {"mode": "group"},
        [*GROUPED[:_LEAD], ev("lock_on", "A2", BOX)],
        ev("work_start", "A2"),
        "not_offered",
    ),
    (
        CFR + "(f)(3)(ii)(A), (d)(6)",
        {"mode": "group"},
        [*GROUPED, ev("assign_primary", "A1", primary="A3", people=("A2",)), ev("lock_on", "A2", BOX)],
        ev("work_start", "A2"),
        "primary_verifies",
    ),
    (
        CFR + "(f)(3)(ii)(A), (d)(6)",
        {"mode": "group"},
        [*GROUPED, ev("lock_on", "A2", BOX), ev("lock_off", "A1", "D1")],
        ev("work_start", "A2"),
        "primary_verifies",
    ),
    (
        CFR + "(e)(3)",
        {"mode": "group"},
        [
            *GROUPED,
            ev("lock_on", "A2", BOX),
            ev("inspect_area", "A1", result="ok"),
            ev("account_people", "A1", people=("A2",), result="ok"),
            ev("lock_off", "A1"),
        ],
        ev("re_energise", "A1", "D1"),
        "lock_still_on",
    ),
    (
        CFR + "(e)(2)(i)",
        {"mode": "group"},
        [*GROUPED, ev("lock_on", "A2", BOX), ev("lock_off", "A2", BOX)],
        ev("account_people", "A1", people=("A1",), result="ok"),
        "not_accounted_for",
    ),
    # (f)(2) outside employers
    (CFR + "(f)(2)(i)", {}, acts(HAND_OVER)[:3], ev("isolate", "C1", "D1"), "exchange_first"),
    (
        CFR + "(f)(2)(i)",
        {},
        [*acts(HAND_OVER)[:5], ev("contractor_exchange", "E1", people=(FIRM,), how="given")],
        ev("lock_on", "C1", "D1"),
        "exchange_first",
    ),
    ("LR-03", {}, [], ev("contractor_exchange", "E1", people=("painters",), how="both"), "which_firm"),
    ("LR-03", {}, [], ev("contractor_exchange", "E1", people=(FIRM,)), "which_direction"),
    (CFR + "(f)(2)(ii)", {}, [], ev("own_staff_told", "E1"), "name_told"),
    # (f)(1) energised for a test
    (CFR + "(f)(1)(ii)", {}, upto(TEST_RUN, "+5 work_end"), ev("temp_energise", "A1", "D1"), "still_working"),
    (CFR + "(f)(1)(i)", {}, upto(TEST_RUN, "inspect_area"), ev("temp_energise", "A1", "D1"), "clear_first"),
    (
        CFR + "(f)(1)(ii)",
        {},
        upto(TEST_RUN, "account_people"),
        ev("temp_energise", "A1", "D1"),
        "account_first",
    ),
    (CFR + "(f)(1)(iii)", {}, upto(TEST_RUN, "lock_off"), ev("temp_energise", "A1", "D1"), "lock_still_on"),
    (CFR + "(e)(2)(ii)", {}, upto(TEST_RUN, "notify_after"), ev("temp_energise", "A1", "D1"), "untold_after"),
    (CFR + "(f)(1)(v)", {}, upto(TEST_RUN, "temp_end"), ev("isolate", "A1", "D1"), "end_test_first"),
    (CFR + "(d)(3)", {}, upto(TEST_RUN, "temp_end"), ev("work_start", "A1"), "not_isolated"),
    (
        CFR + "(d)(3)",
        {},
        [*upto(TEST_RUN, "temp_end"), ev("temp_end", "A1")],
        ev("work_start", "A1"),
        "not_isolated",
    ),
    ("LR-03", {}, upto(TEST_RUN, "inspect_area"), ev("temp_end", "A1"), "no_test"),
    # (f)(4) shift and personnel changes
    (
        CFR + "(f)(4)",
        {},
        upto(HAND_OVER, "lock_on A2 at=V1"),
        ev("hand_over", "A1", "D1", "V1", people=("A2",)),
        "overlap_first",
    ),
    (
        CFR + "(f)(4)",
        {},
        upto(HAND_OVER, "hand_over"),
        ev("hand_over", "A3", "D1", people=("A2",)),
        "hand_over_what_you_hold",
    ),
    (CFR + "(f)(4)", {}, upto(HAND_OVER, "hand_over"), ev("hand_over", "A1", "D1"), "hand_over_to_whom"),
    (
        "site policy",
        {},
        [*upto(HAND_OVER, "hand_over"), ev("lock_on", "X1", "D1")],
        ev("hand_over", "A1", "D1", people=("X1",)),
        "training_over_of",
    ),
    # (e)(3) the lock of somebody who is not there
    (
        CFR + "(e)(3)(i)",
        {},
        upto(ABSENT, "owner_absent"),
        ev("remove_other", "E1", "D1", owner="A2", directed_by="E1"),
        "check_absent_first",
    ),
    (
        CFR + "(e)(3)(i)",
        {},
        [*upto(ABSENT, "owner_contact"), ev("review", "A2")],  # any act of the owner: they are back
        ev("remove_other", "E1", "D1", owner="A2", directed_by="E1"),
        "check_absent_first",
    ),
    (
        CFR + "(e)(3)",
        {"other_removal": False},
        upto(ABSENT, "remove_other"),
        ev("remove_other", "E1", "D1", owner="A2", directed_by="E1"),
        "no_removal_procedure",
    ),
    (
        CFR + "(e)(3)",
        {},
        upto(ABSENT, "remove_other"),
        ev("remove_other", "A1", "D1", owner="A2", directed_by="A1"),
        "employer_directs",
    ),
    (
        CFR + "(e)(1)",
        {},
        [
            *upto(ABSENT, "work_start"),
            ev("lock_off", "A1", "D1"),
            ev("owner_absent_check", "E1", owner="A2", result="absent"),
        ],
        ev("remove_other", "E1", "D1", owner="A2", directed_by="E1"),
        "inspect_first",
    ),
    (
        CFR + "(e)(3)(ii)",
        {},
        [*upto(ABSENT, "owner_contact"), ev("remove_other", "E1", "D1", "V1", owner="A2", directed_by="E1")],
        ev("owner_informed", "E1", owner="A2"),
        "contact_first",
    ),
    (
        CFR + "(e)(3)(iii)",
        {},
        upto(ABSENT, "owner_informed"),
        ev("on_site", "E1", people=("A2",)),
        "inform_first",
    ),
    (CFR + "(e)(3)(iii)", {}, upto(ABSENT, "owner_informed"), ev("review", "A2"), "not_informed"),
    (
        "LR-03",
        {},
        upto(ABSENT, "owner_absent"),
        ev("owner_absent_check", "E1", owner="A4", result="absent"),
        "owns_nothing",
    ),
    (
        CFR + "(e)(3)(i)",
        {},
        upto(ABSENT, "owner_absent"),
        ev("owner_contact_try", "E1", owner="A2"),
        "check_absent_first",
    ),
    (
        CFR + "(f)(4)",
        {},
        [
            *upto(HAND_OVER, "lock_off"),
            ev("lock_off", "A2", "D1"),
            ev("owner_absent_check", "E1", owner="A1", result="absent"),
        ],
        ev("remove_other", "E1", "D1", owner="A1", directed_by="E1"),
        "hand_over_pending",
    ),
    # working alone
    (
        "site policy",
        {"policy": replace(POLICY, lone_min=30)},
        upto(HAND_OVER, "work_start"),
        ev("work_start", "A1"),
        "name_contact",
    ),
    ("site policy", {}, [], ev("lone_check", "A1", people=("A1",)), "name_one_contact"),
]


@pytest.mark.parametrize(("clause", "more", "history", "proposed", "key"), ROWS)
def test_what_a_clause_forbids_is_refused_with_it(
    clause: str, more: dict[str, object], history: list[LockEvent], proposed: LockEvent, key: str
) -> None:
    floor = Floor.of(**more).record(*history)
    refusals = floor.ask(proposed)
    found = {refusal.say.key.removeprefix("lockout."): refusal.rule for refusal in refusals}
    assert found.get(key) == clause, found
    for refusal in refusals:
        for language in LANGUAGES:
            assert "{" not in sentence(refusal.say, language)


def test_every_special_refusal_is_reached_by_a_row() -> None:
    keys = {row[4] for row in ROWS}
    assert len(keys) > 35


# --- emergencies: nothing stands between a person and being freed -----------------------------------------------------


def test_a_cut_lock_and_an_emergency_stop_are_recorded_whoever_says_so_and_are_said_at_once() -> None:
    floor = Floor.of(other_removal=False).record(*upto(HAND_OVER, "review A2"))
    cut = ev("remove_other", "F1", "D1", "V1", owner="A1", how="emergency")
    assert floor.ask(cut) == ()
    floor.accept(cut)
    assert "cut" in floor.short
    assert "LO-34" in floor.rules()
    stopped = Floor.of().accept(ev("shut_down", "S1", how="emergency"))
    assert stopped.short == ["emergency_stop"]
    assert stopped.rules() >= {"LO-22"}


def test_in_an_alarm_too_an_emergency_is_recorded() -> None:
    floor = Floor.of().record(*upto(HAND_OVER, "+5 work_end"), ev("monitor", "A1", "V1", result="not_zero"))
    assert floor.state.alarm
    assert floor.ask(ev("remove_other", "A2", "D1", owner="A1", how="emergency")) == ()
    assert floor.ask(ev("shut_down", "F1", how="emergency")) == ()


# --- what is said at once ---------------------------------------------------------------------------------------------

SAID: list[tuple[str, str, dict[str, object], list[LockEvent]]] = [
    ("bare_at_work", "LO-30", {}, [*upto(HAND_OVER, "+5 work_end"), ev("lock_off", "A1", "D1")]),
    (
        "bare_at_work",
        "LO-42",
        {"mode": "group"},
        [*GROUPED, ev("lock_on", "A2", BOX), ev("work_start", "A2"), ev("lock_off", "A2", BOX)],
    ),
    ("unchecked", "LO-31", {}, [*upto(HAND_OVER, "review A2"), ev("lock_off", "A1")]),
    ("end_without_start", "LR-03", {}, [*upto(HAND_OVER, "work_start"), ev("work_end", "A2")]),
    (
        "during_alarm",
        "LO-28",
        {},
        [
            *upto(HAND_OVER, "+5 work_end"),
            ev("monitor", "A1", "V1", result="not_zero"),
            ev("lock_off", "A1", "D1"),
        ],
    ),
    (
        "acted_uninformed",
        "LO-34",
        {},
        [*upto(ABSENT, "owner_informed"), ev("work_end", "A2")],
    ),
    (
        "left_at_work",
        "LO-30",
        {},
        [*upto(HAND_OVER, "+5 work_end"), ev("owner_absent_check", "E1", owner="A1", result="absent")],
    ),
    (
        "hand_over_broken",
        "LO-43",
        {},
        [*upto(HAND_OVER, "lock_off"), ev("lock_off", "A2", "D1")],
    ),
    (
        "primary_never_verified",
        "LO-43",
        {"mode": "group"},
        [
            *GROUPED,
            ev("lock_on", "A2", BOX),
            ev("work_start", "A2"),
            ev("assign_primary", "A1", primary="A3", people=("A2",)),
            ev("work_end", "A2"),
        ],
    ),
]


@pytest.mark.parametrize(("key", "rule", "more", "history"), SAID)
def test_what_nobody_is_kept_from_is_said_at_once_with_the_rule_of_the_audit(
    key: str, rule: str, more: dict[str, object], history: list[LockEvent]
) -> None:
    floor = Floor.of(**more).record(*history[:-1])
    assert key not in floor.short
    floor.accept(history[-1])
    (said,) = [one for one in floor.state.shortfalls if one.key.endswith(key)]
    assert said.rule == rule
    for language in LANGUAGES:
        assert "{" not in sentence(Say(said.key, said.facts), language)


def test_a_reading_that_came_too_late_stays_said_when_it_has_come() -> None:
    """(d)(5)(ii), the site's interval of 20 minutes: what lapsed has lapsed, also once it is read again."""
    floor = Floor.of().record(*upto(HAND_OVER, "+5 work_end")).wait(25)
    assert floor.state.lapsed(floor.now) == ("V1",)
    floor.accept(ev("monitor", "A1", "V1", result="zero"))
    assert floor.short == ["lapsed"]
    assert floor.state.lapsed(floor.now) == ()
    assert floor.rules() == {"LO-28"}


# --- a person's way through ------------------------------------------------------------------------------------------


def test_training_and_inspection_refuse_the_start_of_work_alone_and_are_said_before() -> None:
    """Overdue: never a lock on, a lock off or an end of work. (c)(6)(i), (c)(7)(iii); the site's date is policy."""
    overdue = replace(job(), inspection_due=date(2026, 6, 1))
    floor = Floor(LockoutState.initial(overdue, "L1")).record(*upto(HAND_OVER, "lock_on"))
    for person in ("X1", "X2"):
        floor.accept(ev("review", person), ev("lock_on", person, "D1"), ev("lock_on", person, "V1"))
    floor.accept(
        ev("release", "X1", "D1", "V1"), ev("verify", "X1", result="zero"), ev("verify", "X2", result="zero")
    )
    assert {"training_over", "inspection_overdue"} <= set(floor.keys(ev("work_start", "X1")))
    assert {"trained_before_change", "inspection_overdue"} <= set(floor.keys(ev("work_start", "X2")))
    floor.accept(ev("lock_off", "X1"), ev("work_end", "X1"), ev("lock_off", "X2"))


def test_who_works_alone_is_asked_after_and_a_missing_call_is_only_said() -> None:
    """Site policy, never part of the regulation: it keeps nobody from going on, and nobody from leaving."""
    floor = Floor.of(policy=Policy(contractor_duties=(FIRM,), lone_min=30)).record(
        *upto(HAND_OVER, "work_start")
    )
    floor.accept(ev("lone_check", "A1", people=("F1",)), ev("work_start", "A1"))
    due = floor.state.alone_due()["A1"]
    assert due is not None
    assert (due - floor.now).total_seconds() == 29 * 60
    floor.wait(45)
    assert floor.state.alone_due()["A1"] < floor.now
    floor.accept(ev("lone_check", "F1", people=("A1",)))
    assert floor.state.alone_due()["A1"] > floor.now
    assert floor.state.alone["A1"].contact == "F1"


def test_of_several_points_one_may_be_energised_for_a_test_while_the_other_stays_locked() -> None:
    floor = Floor.of().record(*upto(TEST_RUN, "lock_off"))
    floor.accept(
        ev("lock_off", "A1", "D1"),
        ev("notify_after", "A1", people=("F1",)),
        ev("temp_energise", "A1", "D1"),
        ev("temp_end", "A1"),
        ev("isolate", "A1", "D1"),
        ev("lock_on", "A1", "D1"),
        ev("release", "A1", "D1"),
        ev("verify", "A1", result="zero"),
        ev("work_start", "A1"),
    )
    assert floor.rules() == set()


def test_the_history_of_two_crews_goes_through_from_both_sides() -> None:
    floor = Floor.of(mode="group", crews=2).accept(*acts(CREWS))
    assert floor.rules("VW") == set()


def test_the_names_of_people_and_places_stand_in_the_refusals() -> None:
    floor = Floor.of(mode="group").record(*GROUPED[:9])
    (refusal,) = floor.ask(ev("lock_on", "A2", BOX))
    assert "Point V1" in sentence(refusal.say)
    floor.record(*GROUPED[9:], ev("lock_on", "A2", BOX), ev("work_start", "A2"), ev("lock_off", "A2", BOX))
    said = floor.state.shortfalls[0]
    spoken = sentence(Say(said.key, said.facts))
    assert "lock box" in spoken
    assert PEOPLE["A2"].name in spoken


@pytest.mark.parametrize("event", [Event.CONFIRM_EXCEPTION, Event.UNPLUG, Event.PLUG_CONTROL, Event.PLUG_IN])
def test_what_belongs_to_the_exceptions_makes_no_sense_under_lockout(event: Event) -> None:
    assert Floor.of().keys(ev(event.value, "A1")) == ["lockout_job"]
