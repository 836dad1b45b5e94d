"""Histories for LO-20 to LO-36: applying control and release from it, in the order of the regulation."""

from tests.lockout.audit.cases import MONITOR, UNTIL, Case, moved, one, point, procedure, put, turned, without
from tests.lockout.audit.histories import ABSENT, ENERGY_FOUND, ONE, TWO, WITNESSED

SEQUENCE = [
    Case(
        "an affected person isolates",
        one(text=turned(ONE, "isolate A1 point=D1", "isolate F1 point=D1")),
        v="LO-20",
    ),
    Case("nobody told before", one(text=without(ONE, "notify_before A1 to=F1")), v="LO-21"),
    Case(
        "told after the lock",
        one(text=moved(ONE, "notify_before A1 to=F1", before="release A1 points=D1,V1")),
        v="LO-21",
    ),
    Case(
        "one of two told",
        one(text=ONE.replace("notify_after A1 to=F1", "notify_after A1 to=F1,F2"), affected=["F1", "F2"]),
        v="LO-21",
    ),
    Case(
        "reviewed after the stop",
        one(text=moved(ONE, "review A1 rev=3", before="isolate A1 point=D1")),
        v="LO-22",
    ),
    Case("an old revision reviewed", one(text=turned(ONE, "review A1 rev=3", "review A1 rev=2")), v="LO-22"),
    Case("worked to an old revision", one(revision=2), v="LO-22"),
    Case("the second worker read nothing", one(text=without(TWO, "review A2 rev=3")), w="LO-22"),
    Case("never shut down", one(text=without(ONE, "shut_down A1 how=normal")), v="LO-23"),
    Case("stopped by the emergency stop", one(text=turned(ONE, "how=normal", "how=emergency")), w="LO-23"),
    Case("found stopped by a jam", one(text=turned(ONE, "how=normal", "how=found_stopped"))),
    Case(
        "one point never isolated", one(text=without(ONE, "isolate A1 point=V1")), v="LO-24 LO-26 LO-27 LO-29"
    ),
    Case(
        "one point never locked",
        one(text=without(ONE, "lock_on A1 at=V1 lock=A1-b", "lock_off A1 at=V1 lock=A1-b")),
        v="LO-25 LO-27 LO-29 LO-30",
    ),
    Case(
        "locked before it was off",
        one(text=moved(ONE, "lock_on A1 at=V1 lock=A1-b", before="isolate A1 point=V1")),
        v="LO-26 LO-27 LO-29",
    ),
    Case(
        "relieved before the lock",
        one(text=moved(ONE, "release A1 points=D1,V1", before="lock_on A1 at=D1 lock=A1-a")),
        v="LO-27 LO-29",
    ),
    Case(
        "a repeat reading missed", one(text=turned(without(ONE, MONITOR), "+15 work", "+30 work")), v="LO-28"
    ),
    Case("a reading at the very minute", one(text=turned(ONE, MONITOR, MONITOR.replace("+15", "+19")))),
    Case("a reading a minute late", one(text=turned(ONE, MONITOR, MONITOR.replace("+15", "+20"))), v="LO-28"),
    Case("no interval set", one(point("V1", monitor_min=None)), a="LO-28"),
    Case(
        "stayed although energy was found",
        one(text=put(ENERGY_FOUND, "inspect_area A1 result=ok", before="work_end A1")),
        v="LO-28",
    ),
    Case(
        "a later zero heals nothing",
        one(text=put(ENERGY_FOUND, "monitor A1 points=V1 result=zero", before="work_end A1")),
        v="LO-28",
    ),
    Case("back to work without relief", one(text=without(ENERGY_FOUND, "release A1 points=V1")), v="LO-28"),
    Case(
        "verified before the last lock",
        one(text=moved(ONE, "verify A1 points=D1,V1 result=zero", before="lock_on A1 at=V1 lock=A1-b")),
        v="LO-29",
    ),
    Case(
        "verified at one of two points",
        one(text=turned(ONE, "verify A1 points=D1,V1", "verify A1 points=D1")),
        v="LO-29",
    ),
    Case(
        "the first reading was not zero",
        one(text=turned(ONE, "verify A1 points=D1,V1 result=zero", "verify A1 points=D1,V1 result=not_zero")),
        v="LO-28 LO-29",
    ),
    Case(
        "isolated once more after the verification",
        one(text=put(ONE, "isolate A1 point=V1", before="work_start A1")),
        v="LO-29",
    ),
    Case(
        "the second worker did not verify",
        one(text=without(TWO, "verify A2 points=all result=zero")),
        v="LO-29",
    ),
    Case("the witness is not named", one(text=turned(WITNESSED, " witness=A2", "")), v="LO-29"),
    Case(
        "a worker without own locks",
        one(
            text=without(
                TWO,
                "lock_on A2 at=D1 lock=A2-a",
                "lock_on A2 at=V1 lock=A2-b",
                "lock_off A2 at=D1 lock=A2-a",
                "lock_off A2 at=V1 lock=A2-b",
            )
        ),
        v="LO-29 LO-30",
    ),
    Case(
        "own lock off while at work",
        one(text=moved(TWO, "+5 work_end A2", after="lock_off A2 at=V1 lock=A2-b")),
        v="LO-30",
    ),
]
LEAVING = [
    Case("the area not looked over", one(text=without(ONE, "inspect_area A1 result=ok")), v="LO-31"),
    Case(
        "looked over after unlocking",
        one(text=moved(ONE, "inspect_area A1 result=ok", after="lock_off A1 at=D1 lock=A1-a")),
        v="LO-31",
    ),
    Case(
        "looked over and not in order",
        one(text=turned(ONE, "inspect_area A1 result=ok", "inspect_area A1 result=not_ok")),
        v="LO-31",
    ),
    Case("nobody counted", one(text=without(ONE, "account_people A1 clear=A1 result=ok")), v="LO-32"),
    Case("one of two counted", one(text=turned(TWO, "clear=A1,A2", "clear=A1")), v="LO-32"),
    Case(
        "unlocked while somebody is at work",
        one(text=moved(ONE, UNTIL, after="lock_off A1 at=V1 lock=A1-b")),
        v="LO-30 LO-31 LO-32",
    ),
    Case(
        "another took the lock off",
        one(text=turned(ONE, "lock_off A1 at=V1", "lock_off A2 at=V1")),
        v="LO-33",
    ),
    Case(
        "a lock taken off where it was not",
        one(text=turned(ONE, "lock_off A1 at=V1 lock=A1-b", "lock_off A1 at=V1 lock=A1-c")),
        v="LO-33 LO-36 LR-03",
    ),
    Case(
        "an absent owner's lock without the procedure",
        one(procedure(other_removal=False), text=ABSENT),
        v="LO-34",
    ),
    Case(
        "removed on a colleague's word",
        one(text=turned(ABSENT, "directed_by=E1", "directed_by=A3")),
        v="LO-34",
    ),
    Case(
        "nobody looked for the owner",
        one(text=without(ABSENT, "owner_absent_check E1 owner=A2 result=absent")),
        v="LO-34",
    ),
    Case("the owner was there", one(text=turned(ABSENT, "result=absent", "result=present")), v="LO-34"),
    Case(
        "nobody called the owner",
        one(text=without(ABSENT, "owner_contact_try E1 owner=A2 result=no_answer")),
        v="LO-34",
    ),
    Case(
        "called only after the removal",
        one(
            text=moved(
                ABSENT, "owner_contact_try E1 owner=A2 result=no_answer", before="owner_informed E1 owner=A2"
            )
        ),
    ),
    Case(
        "informed after coming back",
        one(text=moved(ABSENT, "owner_informed E1 owner=A2", after="on_site E1 person=A2")),
        v="LO-34",
    ),
    Case(
        "not back yet and not informed",
        one(text=without(ABSENT, "owner_informed E1 owner=A2", "on_site E1 person=A2")),
        p="LO-34",
    ),
    Case("not told after", one(text=without(ONE, "notify_after A1 to=F1")), v="LO-35"),
    Case(
        "told before the last lock was off",
        one(text=moved(ONE, "notify_after A1 to=F1", before="lock_off A1 at=V1 lock=A1-b")),
        v="LO-35",
    ),
    Case(
        "told after energy is back, before the start",
        one(text=moved(ONE, "notify_after A1 to=F1", before="restart A1")),
    ),
    Case(
        "no start, not told before the close",
        one(text=without(ONE, "notify_after A1 to=F1", "restart A1")),
        v="LO-35",
    ),
    Case(
        "a lock left on",
        one(
            text=put(
                put(ONE, "lock_on A2 at=D1 lock=A2-a", before="work_start A1"),
                "review A2 rev=3",
                before="work_start A1",
            )
        ),
        v="LO-36 LR-03",
    ),
    Case("the record is still open", one(text=without(ONE, "close A1")), p="LO-36"),
]
