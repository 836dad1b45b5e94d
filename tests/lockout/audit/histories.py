"""Invented people, a machine with two points, and histories that 29 CFR 1910.147 finds complete.

An event is written `word by key=value …`; `+30` before it lets that many minutes go by instead of one. Lists are
written with commas. The order of each history is that of 29 CFR 1910.147(c)(9), (d), (e) and (f).
"""

from copy import deepcopy
from datetime import datetime, timedelta
from typing import Any

Event = dict[str, Any]
Document = dict[str, Any]

LISTS = frozenset({"to", "clear", "members", "witness", "points"})
START = datetime.fromisoformat("2026-06-02T13:00:00-07:00")
POINTS = ("D1", "V1")

AUTHORISED = {"role": "authorized", "trained": "2026-02-10", "valid_to": "2028-02-09"}
PEOPLE: Document = {
    **dict.fromkeys(("A1", "A2", "A3", "A4"), AUTHORISED),
    "F1": {"role": "affected", "trained": "2026-02-11", "valid_to": "2028-02-10"},
    "F2": {"role": "affected", "trained": "2026-02-11", "valid_to": "2028-02-10"},
    "E1": {**AUTHORISED, "role": "employer_rep"},
    "C1": {**AUTHORISED, "contractor": True, "employer": "Fitters"},
    "S1": {"role": "other"},
}
PROCEDURE: Document = {
    "machine": "PL-2",
    "revision": 3,
    "effective_on": "2025-03-01",
    "changed_on": "2026-01-15",
    "documented": True,
    "other_removal": True,
    "content_complete": True,
    "points": [
        {"id": "D1", "device": "disconnect", "needs_release": True},
        {"id": "V1", "device": "line_valve", "needs_release": True, "reaccumulates": True, "monitor_min": 20},
    ],
    "certificates": [
        {
            "machine": "PL-2", "date": "2026-04-20", "inspector": "A4", "users_observed": ["A1"],
            "employees": ["A1", "A2", "A4"], "authorized_then": ["A1", "A2", "A4"], "reviewed": ["A1", "A2", "A4"],
        }
    ],
}  # fmt: skip
LOCKS: Document = {
    f"{code}-{letter}": {"owner": code, "kind": "personal", "lockout_only": True}
    for code in ("A1", "A2", "A3", "A4", "C1", "F1")
    for letter in "abc"
} | {f"J{number}": {"owner": "A1", "kind": "job", "lockout_only": True} for number in (1, 2)}


def script(text: str, start: datetime = START) -> list[Event]:
    """Events of a text, numbered, a minute apart."""
    events: list[Event] = []
    at = start
    for line in filter(None, (line.strip() for line in text.splitlines())):
        words = line.split()
        wait = int(words.pop(0)[1:]) if words[0].startswith("+") else 1
        at += timedelta(minutes=wait)
        event: Event = {"n": len(events) + 1, "t": at.isoformat(), "ev": words[0], "by": words[1]}
        for word in words[2:]:
            key, _, value = word.partition("=")
            plain: Any = (
                int(value) if value.isdigit() else value == "true" if value in ("true", "false") else value
            )
            event[key] = value.split(",") if key in LISTS and value != "all" else plain
        events.append(event)
    return events


def document(events: list[Event], **job: Any) -> Document:
    """A record document with one job."""
    header = {
        "class": "lockout",
        "mode": "individual",
        "procedure": "HEAD",
        "revision": 3,
        "affected": ["F1"],
        **job,
    }
    return {
        "format": 1,
        "people": {code: dict(person) for code, person in PEOPLE.items()},
        "procedures": {"HEAD": deepcopy(PROCEDURE)},
        "locks": deepcopy(LOCKS),
        "jobs": [{"id": "J", "job": header, "events": deepcopy(events)}],
    }


BEGIN = """
notify_before A1 to=F1
review A1 rev=3
shut_down A1 how=normal
isolate A1 point=D1
isolate A1 point=V1
"""
LOCKED = (
    BEGIN
    + """
lock_on A1 at=D1 lock=A1-a
lock_on A1 at=V1 lock=A1-b
release A1 points=D1,V1
verify A1 points=D1,V1 result=zero
"""
)
END = """
lock_off A1 at=D1 lock=A1-a
lock_off A1 at=V1 lock=A1-b
notify_after A1 to=F1
re_energise A1 point=D1
re_energise A1 point=V1
restart A1
close A1
"""
ONE = (
    LOCKED
    + """
work_start A1
+15 monitor A1 points=V1 result=zero
+15 work_end A1
inspect_area A1 result=ok
account_people A1 clear=A1 result=ok
"""
    + END
)
# A2 joins under own locks, and is done and gone before the area is looked over (own lock off early is allowed)
TWO = (
    LOCKED
    + """
work_start A1
review A2 rev=3
lock_on A2 at=D1 lock=A2-a
lock_on A2 at=V1 lock=A2-b
verify A2 points=all result=zero
work_start A2
+5 work_end A2
lock_off A2 at=D1 lock=A2-a
lock_off A2 at=V1 lock=A2-b
+5 work_end A1
inspect_area A1 result=ok
account_people A1 clear=A1,A2 result=ok
"""
    + END
)
WITNESSED = (
    BEGIN
    + """
review A2 rev=3
lock_on A1 at=D1 lock=A1-a
lock_on A1 at=V1 lock=A1-b
lock_on A2 at=D1 lock=A2-a
lock_on A2 at=V1 lock=A2-b
release A1 points=D1,V1
verify A1 points=D1,V1 result=zero witness=A2
work_start A2
+9 work_end A2
lock_off A2 at=D1 lock=A2-a
lock_off A2 at=V1 lock=A2-b
inspect_area A1 result=ok
account_people A1 clear=A1,A2 result=ok
"""
    + END
)
GROUP_LOCKED = """
notify_before A1 to=F1
assign_primary A1 primary=A1 members=A2,A3 crews=1
review A1 rev=3
shut_down A1 how=normal
isolate A1 point=D1
isolate A1 point=V1
lock_on A1 at=D1 lock=J1
lock_on A1 at=V1 lock=J2
key_in_box A1 point=D1
key_in_box A1 point=V1
release A1 points=D1,V1
verify A1 points=all result=zero
review A2 rev=3
review A3 rev=3
offer_verify A1 to=A2
offer_verify A1 to=A3
"""
GROUP_END = """
inspect_area A1 result=ok
account_people A1 clear=A2,A3 result=ok
lock_off A1 at=D1 lock=J1
lock_off A1 at=V1 lock=J2
re_energise A1 point=D1
re_energise A1 point=V1
notify_after A1 to=F1
restart A1
close A1
"""
GROUP = (
    GROUP_LOCKED
    + """
lock_on A2 at=BOX lock=A2-c
work_start A2
lock_on A3 at=BOX lock=A3-c
work_start A3
+5 work_end A2
lock_off A2 at=BOX lock=A2-c
+5 work_end A3
lock_off A3 at=BOX lock=A3-c
"""
    + GROUP_END
)
NEW_PRIMARY = (
    GROUP_LOCKED.replace("offer_verify A1 to=A3", "").replace("members=A2,A3", "members=A2")
    + """
lock_on A2 at=BOX lock=A2-c
work_start A2
+3 work_end A2
lock_off A2 at=BOX lock=A2-c
assign_primary A1 primary=A2 members=A3 crews=1
verify A2 points=all result=zero
offer_verify A2 to=A3
lock_on A3 at=BOX lock=A3-c
work_start A3
+3 work_end A3
lock_off A3 at=BOX lock=A3-c
"""
    + GROUP_END
)
CONTRACTOR = """
contractor_exchange E1 with=Fitters direction=given
contractor_exchange E1 with=Fitters direction=received
own_staff_told E1 to=F1
""" + ONE.replace("A1", "C1")
# run for a moment to see whether the screen sits straight, then back under lock (f)(1)
TEST_RUN = (
    LOCKED
    + """
work_start A1
+5 work_end A1
inspect_area A1 result=ok
account_people A1 clear=A1 result=ok
lock_off A1 at=D1 lock=A1-a
lock_off A1 at=V1 lock=A1-b
notify_after A1 to=F1
temp_energise A1 points=D1,V1
temp_end A1 points=D1,V1
isolate A1 point=D1
isolate A1 point=V1
lock_on A1 at=D1 lock=A1-a
lock_on A1 at=V1 lock=A1-b
release A1 points=D1,V1
verify A1 points=all result=zero
work_start A1
+5 work_end A1
inspect_area A1 result=ok
account_people A1 clear=A1 result=ok
"""
    + END
)
# shift change with overlapping locks (f)(4)
HAND_OVER = (
    LOCKED
    + """
work_start A1
+5 work_end A1
review A2 rev=3
lock_on A2 at=D1 lock=A2-a
lock_on A2 at=V1 lock=A2-b
hand_over A1 from=A1 to=A2 at=D1
hand_over A1 from=A1 to=A2 at=V1
lock_off A1 at=D1 lock=A1-a
lock_off A1 at=V1 lock=A1-b
verify A2 points=all result=zero
work_start A2
+5 work_end A2
inspect_area A2 result=ok
account_people A2 clear=A1,A2 result=ok
"""
    + END.replace("A1", "A2")
)
# everybody starts from scratch after a gap: the other way that OSHA's manual allows
FROM_SCRATCH = (
    LOCKED
    + """
work_start A1
+5 work_end A1
lock_off A1 at=D1 lock=A1-a
lock_off A1 at=V1 lock=A1-b
review A2 rev=3
lock_on A2 at=D1 lock=A2-a
lock_on A2 at=V1 lock=A2-b
release A2 points=D1,V1
verify A2 points=all result=zero
work_start A2
+5 work_end A2
inspect_area A2 result=ok
account_people A2 clear=A1,A2 result=ok
"""
    + END.replace("A1", "A2")
)
# A2 went home with the lock still on (e)(3)
ABSENT = (
    BEGIN
    + """
lock_on A1 at=D1 lock=A1-a
lock_on A1 at=V1 lock=A1-b
lock_on A2 at=D1 lock=A2-a
lock_on A2 at=V1 lock=A2-b
release A1 points=D1,V1
verify A1 points=D1,V1 result=zero
work_start A1
+5 work_end A1
inspect_area A1 result=ok
account_people A1 clear=A1 result=ok
owner_absent_check E1 owner=A2 result=absent
owner_contact_try E1 owner=A2 result=no_answer
remove_other A1 at=D1 lock=A2-a owner=A2 directed_by=E1
remove_other A1 at=V1 lock=A2-b owner=A2 directed_by=E1
lock_off A1 at=D1 lock=A1-a
lock_off A1 at=V1 lock=A1-b
owner_informed E1 owner=A2
on_site E1 person=A2
notify_after A1 to=F1
re_energise A1 point=D1
re_energise A1 point=V1
restart A1
close A1
"""
)
# pressure comes back at V1: out at once, relieved and verified again (d)(5)(ii)
ENERGY_FOUND = (
    LOCKED
    + """
work_start A1
+10 monitor A1 points=V1 result=not_zero
work_end A1
release A1 points=V1
verify A1 points=all result=zero
work_start A1
+5 work_end A1
inspect_area A1 result=ok
account_people A1 clear=A1 result=ok
"""
    + END
)
CREWS = """
notify_before A1 to=F1
assign_primary A1 primary=A1 members=A2 crews=2 coordinator=A4
assign_primary A4 primary=A3 members=C1 crews=2
contractor_exchange E1 with=Fitters direction=both
own_staff_told E1 to=F1
review A1 rev=3
shut_down A1 how=normal
isolate A1 point=D1
isolate A1 point=V1
lock_on A1 at=D1 lock=J1
lock_on A1 at=V1 lock=J2
key_in_box A1 point=D1
key_in_box A1 point=V1
release A1 points=D1,V1
verify A1 points=all result=zero
verify A3 points=all result=zero
review A2 rev=3
review C1 rev=3
offer_verify A1 to=A2
offer_verify A3 to=C1
lock_on A2 at=BOX lock=A2-c
lock_on C1 at=BOX lock=C1-c
work_start A2
work_start C1
+5 work_end A2
work_end C1
lock_off A2 at=BOX lock=A2-c
lock_off C1 at=BOX lock=C1-c
inspect_area A1 result=ok
account_people A1 clear=A2,C1 result=ok
lock_off A1 at=D1 lock=J1
lock_off A1 at=V1 lock=J2
re_energise A1 point=D1
re_energise A1 point=V1
notify_after A1 to=F1
restart A1
close A1
"""
GROUP_MODE = {"mode": "group", "crews": 1}


def history(text: str, **job: Any) -> Document:
    return document(script(text), **job)


COMPLIANT: dict[str, Document] = {
    "one person": history(ONE),
    "two people, one leaves early": history(TWO),
    "a witness of the verification works": history(WITNESSED),
    "a group with box and offers": history(GROUP, **GROUP_MODE),
    "a group whose primary changes": history(NEW_PRIMARY, **GROUP_MODE),
    "a contractor": history(CONTRACTOR),
    "energised for a test, then on with the work": history(TEST_RUN),
    "a hand-over with overlapping locks": history(HAND_OVER),
    "a shift change from scratch": history(FROM_SCRATCH),
    "the lock of an absent owner": history(ABSENT),
    "energy found while at work": history(ENERGY_FOUND),
    "two crews with a coordinator": history(CREWS, mode="group", crews=2),
}
