"""Histories for LO-37 to LO-43, LR and LS: tests, contractors, groups, shift changes, the record itself."""

from tests.lockout.audit.cases import (
    MONITOR,
    OLD_HAND,
    Case,
    certificate,
    event,
    moved,
    one,
    procedure,
    put,
    turned,
    without,
)
from tests.lockout.audit.histories import (
    CONTRACTOR,
    CREWS,
    FROM_SCRATCH,
    GROUP,
    GROUP_MODE,
    HAND_OVER,
    NEW_PRIMARY,
    ONE,
    TEST_RUN,
)

SPECIAL = [
    Case(
        "a test with somebody at work",
        one(text=moved(TEST_RUN, "+5 work_end A1", before="temp_end A1 points=D1,V1")),
        v="LO-30 LO-37",
    ),
    Case(
        "a test without a look at the area",
        one(text=without(TEST_RUN, "inspect_area A1 result=ok")),
        v="LO-37",
    ),
    Case(
        "a test without a head count",
        one(text=without(TEST_RUN, "account_people A1 clear=A1 result=ok")),
        v="LO-37",
    ),
    Case("a test, nobody told", one(text=without(TEST_RUN, "notify_after A1 to=F1")), w="LO-37"),
    Case(
        "a test with a lock still on",
        one(text=moved(TEST_RUN, "lock_off A1 at=V1 lock=A1-b", before="temp_end A1 points=D1,V1")),
        v="LO-37 LR-03",
    ),
    Case("a test without an end", one(text=without(TEST_RUN, "temp_end A1 points=D1,V1")), v="LO-38"),
    Case(
        "isolated again before the test's end",
        one(text=moved(TEST_RUN, "temp_end A1 points=D1,V1", after="release A1 points=D1,V1")),
        v="LO-38",
    ),
    Case(
        "one employer told the other, not back",
        one(text=without(CONTRACTOR, "contractor_exchange E1 with=Fitters direction=received")),
        v="LO-20 LO-39",
    ),
    Case(
        "own staff not told of the contractor",
        one(text=without(CONTRACTOR, "own_staff_told E1 to=F1")),
        w="LO-39",
    ),
    Case("another firm told", one(text=CONTRACTOR.replace("with=Fitters", "with=Painters")), v="LO-20 LO-39"),
    Case(
        "the contractor enters the exchange with the employer",
        one(text=CONTRACTOR.replace("contractor_exchange E1 with=Fitters", "contractor_exchange C1 with=E1")),
    ),
    Case(
        "a group without a primary",
        one(text=without(GROUP, "assign_primary A1 primary=A1 members=A2,A3 crews=1"), **GROUP_MODE),
        v="LO-29 LO-40 LO-41",
    ),
    Case(
        "a primary who is not authorised",
        one(text=GROUP.replace("primary=A1", "primary=F1"), **GROUP_MODE),
        v="LO-11 LO-29 LO-40",
    ),
    Case(
        "a crew above the site's limit",
        one(lambda record: record.update(site={"crew_limit": 2}), text=GROUP, **GROUP_MODE),
        v="LO-40",
    ),
    Case(
        "a worker who is nobody's member",
        one(text=turned(GROUP, "members=A2,A3", "members=A2"), **GROUP_MODE),
        v="LO-41",
    ),
    Case(
        "two crews and no coordinator",
        one(text=turned(CREWS, " coordinator=A4", ""), mode="group", crews=2),
        v="LO-41",
    ),
    Case(
        "an affected coordinator",
        one(text=turned(CREWS, "coordinator=A4", "coordinator=F1"), mode="group", crews=2),
        v="LO-41",
    ),
    Case(
        "the primary's lock for everybody",
        one(text=without(GROUP, "lock_on A3 at=BOX lock=A3-c", "lock_off A3 at=BOX lock=A3-c"), **GROUP_MODE),
        v="LO-42",
    ),
    Case(
        "a box lock long after the work",
        one(
            lambda record: record.update(site={"box_lock_limit_min": 3}),
            text=GROUP.replace("lock_off A3 at=BOX", "+5 lock_off A3 at=BOX"),
            **GROUP_MODE,
        ),
        w="LO-42",
    ),
    Case(
        "a key that never came to the box",
        one(text=without(GROUP, "key_in_box A1 point=V1"), **GROUP_MODE),
        v="LO-29",
    ),
    Case(
        "a member not offered to verify",
        one(text=without(GROUP, "offer_verify A1 to=A3"), **GROUP_MODE),
        v="LO-29",
    ),
    Case(
        "a hand-over with a gap",
        one(text=moved(HAND_OVER, "lock_off A1 at=D1 lock=A1-a", before="lock_on A2 at=D1 lock=A2-a")),
        v="LO-43",
    ),
    Case(
        "from scratch, not relieved again",
        one(text=without(FROM_SCRATCH, "release A2 points=D1,V1")),
        v="LO-43",
    ),
    Case(
        "a new primary who does not verify",
        one(text=without(NEW_PRIMARY, "verify A2 points=all result=zero"), **GROUP_MODE),
        v="LO-29 LO-43",
    ),
]
RECORD = [
    Case("the clock ran backwards", one(event(10, t="2026-06-02T13:08:00-07:00")), v="LR-01"),
    Case(
        "the autumn hour comes twice",
        one(
            event(1, t="2026-06-02T01:59:00-06:00"),
            *(event(n, t=f"2026-06-02T01:{n:02}:00-07:00") for n in range(2, 22)),
        ),
    ),
    Case("nobody named", one(event(3, by=None)), v="LR-02"),
    Case("somebody whom the record does not know", one(event(3, by="Q7")), v="LR-02"),
    Case("signed by another", one(event(6, signer="A2")), v="LR-02"),
    Case(
        "energised under a lock",
        one(text=moved(ONE, "re_energise A1 point=V1", before="lock_off A1 at=V1 lock=A1-b")),
        v="LR-03",
    ),
    Case(
        "ended work that never began",
        one(text=put(ONE, "work_end A2", before="inspect_area A1 result=ok")),
        v="LR-03",
    ),
    Case("begun twice", one(text=put(ONE, "work_start A1", before=MONITOR)), v="LR-03"),
    Case("started while a valve is still shut", one(text=without(ONE, "re_energise A1 point=V1")), v="LR-03"),
    Case(
        "the same lock put on again",
        one(text=put(ONE, "lock_on A1 at=D1 lock=A1-a", before="lock_on A1 at=V1 lock=A1-b")),
        v="LR-03",
    ),
    Case(
        "a key without its lock",
        one(text=moved(GROUP, "key_in_box A1 point=D1", before="lock_on A1 at=D1 lock=J1"), **GROUP_MODE),
        v="LR-03",
    ),
    Case("entry 4 is missing", one(*(event(n, n=n + 1) for n in range(4, 22))), v="LR-04"),
    Case("a broken chain", one(lambda record: record.update(chain_valid=False)), v="LR-04"),
    Case("a late entry that says so", one(event(10, late=True, claimed="2026-06-02T13:05:00-07:00"))),
    Case("a late entry that does not", one(event(10, claimed="2026-06-02T13:05:00-07:00")), v="LR-04"),
    Case(
        "locks on for two days",
        one(
            lambda record: record.update(as_of="2026-06-04T14:00:00-07:00"),
            text=ONE.split("+15 work_end")[0].replace("\nwork_start A1", "").replace(MONITOR, ""),
        ),
        w="LS-02",
        p="LO-36",
    ),
    Case(
        "an inspection due in 18 days",
        one(OLD_HAND, certificate(date="2025-06-20"), procedure(effective_on="2024-01-01")),
        w="LS-03",
    ),
    Case(
        "arrived while locked, told with the others after",
        one(text=put(ONE, "on_site E1 person=F1", after="work_start A1")),
    ),
    Case(
        "told on arrival",
        one(
            text=put(
                put(ONE, "on_site E1 person=F1", after="work_start A1"),
                "notify_before A1 to=F1",
                after="on_site E1 person=F1",
            )
        ),
    ),
    Case(
        "arrived and never told again",
        one(
            text=without(
                put(ONE, "on_site E1 person=F1", after="work_start A1"),
                "notify_after A1 to=F1",
                "restart A1",
                "re_energise A1 point=D1",
                "re_energise A1 point=V1",
            )
        ),
        w="LS-04",
    ),
]
