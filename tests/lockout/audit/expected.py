"""What one altered event may and must do to a complete history, written down from the regulation's text.

`CONCERNS` says of each rule which events its requirement speaks of (29 CFR 1910.147, the clause beside it): a rule
can change its answer only when one of these was altered. `DROPPED` says which requirement can no longer be met when
an event of a complete history was never recorded; of each group at least one rule must be reported (which of them
depends on where the event stood). `SWAPPED` says the same of two neighbours recorded in the wrong order, `REPLACED`
of an act that was another person's, `ELSEWHERE` of an act at another point.
"""

from collections.abc import Mapping

Groups = tuple[frozenset[str], ...]


def _rules(text: str) -> Groups:
    """Groups from "LO-24 LO-29|LO-43": each word one group, its alternatives behind bars."""
    return tuple(frozenset(group.split("|")) for group in text.split())


LOCKS = "lock_on lock_off remove_other"
POSITION = "isolate re_energise temp_energise"
WORK = "work_start work_end"

# rule -> (clause, events that its requirement speaks of)
CONCERNS: Mapping[str, tuple[str, frozenset[str]]] = {
    rule: (clause, frozenset(events.split()))
    for rule, clause, events in (
        ("LO-09", "(c)(5)(ii): used at one place", LOCKS),
        ("LO-11", "(c)(5)(ii)(D): shows who applied it", "lock_on assign_primary"),
        ("LO-17", "(c)(7)(i): who locks, verifies, works is trained", "lock_on verify work_start"),
        ("LO-18", "(c)(7)(iii): retrained", "isolate lock_on release verify work_start"),
        ("LO-19", "(c)(7)(iv): training certified", "lock_on verify work_start"),
        ("LO-20", "(c)(8), (f)(2): authorised, employers exchanged", "isolate lock_on contractor_exchange"),
        ("LO-21", "(c)(9): told before controls go on", "notify_before isolate lock_on work_start"),
        ("LO-22", "(d)(1): known before the stop", "review shut_down isolate lock_on work_start"),
        ("LO-23", "(d)(2): stopped in order, then isolated", "shut_down isolate work_start"),
        ("LO-24", "(d)(3): every device operated before work", f"{POSITION} work_start"),
        ("LO-25", "(d)(4)(i): a device on each before work", f"{LOCKS} work_start"),
        ("LO-26", "(d)(4)(ii): locked in the safe position", f"lock_on {POSITION}"),
        ("LO-27", "(d)(5)(i): relieved after the locks, before work", f"release lock_on {POSITION} work_start"),
        ("LO-28", "(d)(5)(ii): verified again while energy can return", f"verify monitor release {WORK}"),
        (
            "LO-29",
            "(d)(6), (f)(3): verified by the right person on all that is off, locked and relieved",
            f"verify monitor release offer_verify assign_primary key_in_box work_start {LOCKS} {POSITION}",
        ),
        ("LO-30", "(d)(4)(i): under the own lock while exposed", f"{LOCKS} {WORK}"),
        ("LO-31", "(e)(1): area looked over after work, before devices come off",
         f"inspect_area re_energise {LOCKS} {WORK}"),
        ("LO-32", "(e)(2)(i): people placed after work, before devices come off",
         f"account_people re_energise {LOCKS} {WORK}"),
        ("LO-33", "(e)(3): removed by who applied it", LOCKS),
        ("LO-34", "(e)(3)(i)-(iii): absence checked, contact tried, owner informed before resuming",
         f"owner_absent_check owner_contact_try owner_informed on_site close {LOCKS}"),
        ("LO-35", "(e)(2)(ii): told after the last device is off, before the start",
         f"notify_after restart re_energise close {LOCKS}"),
        ("LO-36", "(e)(3): nothing left on at the end of the record", f"close {LOCKS}"),
        ("LO-37", "(f)(1)(i)-(iv): cleared, counted, removed, told, then energised for a test",
         f"temp_energise temp_end restart inspect_area account_people notify_after {LOCKS} {WORK}"),
        ("LO-38", "(f)(1)(v): then under control again", "temp_energise temp_end isolate work_start close"),
        ("LO-39", "(f)(2): employers tell each other, and their own",
         "contractor_exchange own_staff_told isolate lock_on work_start"),
        ("LO-40", "(f)(3)(ii)(A): a primary before the box is used", "assign_primary lock_on work_start"),
        ("LO-41", "(f)(3)(ii)(B)-(C): everybody somebody's member", "assign_primary work_start"),
        ("LO-42", "(f)(3)(ii)(D): own lock on the box while exposed", f"{LOCKS} {WORK}"),
        ("LO-43", "(f)(4): no gap, or locked, relieved and verified from scratch",
         f"hand_over verify monitor release assign_primary key_in_box offer_verify temp_energise temp_end isolate "
         f"re_energise {LOCKS} {WORK}"),
        ("LR-03", "own: impossible sequences", f"{POSITION} {LOCKS} {WORK} key_in_box restart"),
    )
}  # fmt: skip

# event -> what a complete history without it must report
DROPPED: Mapping[str, Groups] = {
    event: _rules(rules)
    for event, rules in (
        ("notify_before", "LO-21"),  # (c)(9)
        ("review", "LO-22"),  # (d)(1)
        ("shut_down", "LO-23"),  # (d)(2)
        ("isolate", "LO-24 LO-26|LO-38 LO-29"),  # (d)(3): work at a live point; its lock holds nothing safe
        # (d)(4)(i), (f)(3)(ii)(D): the worker, or the point, is without a lock; its removal takes off nothing
        ("lock_on", "LR-03"),
        ("key_in_box", "LO-29"),  # (f)(3): control of the keys is what the members' box locks rest on
        ("release", "LO-27|LO-28|LO-43"),  # (d)(5)(i), again after energy was found or a gap
        ("verify", "LO-29"),  # (d)(6)
        ("offer_verify", "LO-29"),  # (f)(3) with OSHA's letters: each member may verify
        ("monitor", "LO-28"),  # (d)(5)(ii)
        ("work_start", "LR-03"),
        ("work_end", "LO-28|LO-30|LO-32|LO-42"),  # (d)(5)(ii), (e)(2)(i); at work without an own lock
        ("inspect_area", "LO-31|LO-37"),  # (e)(1), (f)(1)(i)
        ("account_people", "LO-32|LO-37"),  # (e)(2)(i), (f)(1)(ii)
        ("lock_off", "LO-36|LO-37"),  # (e)(3), (f)(1)(iii)
        ("remove_other", "LO-36"),
        ("notify_after", "LO-35|LO-37"),  # (e)(2)(ii), (f)(1)
        ("re_energise", "LR-03"),  # started with a point still off
        ("close", "LO-36"),  # pending: the record is open
        ("contractor_exchange", "LO-39 LO-20"),  # (f)(2)(i)
        ("own_staff_told", "LO-39"),  # (f)(2)(ii), a warning
        ("assign_primary", "LO-29|LO-40|LO-41"),  # (f)(3)(ii)(A)-(B)
        ("owner_absent_check", "LO-34"),  # (e)(3)(i)
        ("owner_contact_try", "LO-34"),  # (e)(3)(ii)
        ("owner_informed", "LO-34"),  # (e)(3)(iii)
        ("temp_end", "LO-38"),  # (f)(1)(v)
    )
}

# (earlier, later) -> what neighbours recorded the other way round must report
SWAPPED: Mapping[tuple[str, str], Groups] = {
    (first, second): _rules(rules)
    for first, second, rules in (
        ("review", "shut_down", "LO-22"),  # (d)(1): before turning off
        ("shut_down", "isolate", "LO-23"),  # (d)(2) before (d)(3)
        ("release", "verify", "LO-28|LO-29|LO-43"),  # (d)(5)(i) before (d)(6): relieved, then verified
        ("verify", "work_start", "LO-29"),  # (d)(6): prior to starting work
        ("work_start", "work_end", "LR-03"),
        ("work_end", "inspect_area", "LO-31|LO-37"),  # (e)(1): after the last work
        ("notify_after", "restart", "LO-35"),  # (e)(2)(ii): before the machine is started
        ("re_energise", "restart", "LR-03"),
        ("notify_after", "temp_energise", "LO-37"),  # the notice before it runs
        ("temp_end", "isolate", "LO-38"),  # (f)(1)(v): isolated after the test
        ("owner_informed", "on_site", "LO-34"),  # (e)(3)(iii): before resuming
    )
}

# event -> what must be reported when another authorised, trained person is recorded as having done it
REPLACED: Mapping[str, Groups] = {
    event: _rules(rules)
    for event, rules in (
        ("lock_on", "LO-33"),  # (e)(3): the owner then takes off what another applied
        ("lock_off", "LO-33"),  # (e)(3)
        ("verify", "LO-29"),  # (d)(6), (f)(3)(ii): by the worker, or by the primary
        ("work_start", "LO-30|LO-42 LR-03"),  # at work without an own lock
        ("work_end", "LR-03"),
    )
}
# event -> what must be reported when an affected person, not authorised, is recorded as having done it
BY_AFFECTED: Mapping[str, Groups] = {
    event: _rules(rules)
    for event, rules in (
        ("isolate", "LO-20"),  # (c)(8)
        ("lock_on", "LO-20 LO-17"),
        ("verify", "LO-17 LO-29"),
        ("work_start", "LO-17"),
        ("review", "LO-22"),  # (d)(1): the authorised employee knows
    )
}
# event -> what must be reported when it is recorded at the other point
ELSEWHERE: Mapping[str, Groups] = {
    event: _rules(rules)
    for event, rules in (
        ("isolate", "LO-24"),  # (d)(3)
        ("lock_on", "LR-03 LO-33|LO-36"),  # taken off later where it is not on
        ("lock_off", "LO-33 LR-03"),  # (e)(3)
        ("key_in_box", "LO-29|LR-03"),
        ("re_energise", "LR-03"),
        ("remove_other", "LO-36"),
    )
}
