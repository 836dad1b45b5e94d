"""Histories for LO-01 to LO-12: scope, the two exceptions, isolating devices, locks and tags."""

from typing import Any

from tests.lockout.audit.cases import (
    Case,
    certificate,
    edited,
    keyless,
    lock,
    moved,
    no_register,
    one,
    point,
    procedure,
    put,
    turned,
    without,
)
from tests.lockout.audit.histories import GROUP, GROUP_MODE, ONE, Document, history

FIVE = {"in_production": True, "minor": True, "routine": True, "repetitive": True, "integral": True}
WIPE = "work_start F1\nwork_end F1\nclose F1"


def minor(text: str = WIPE, **job: Any) -> Document:
    whole = {"answers": FIVE, "measure": "long brush, guard closed", "task": "lens_wipe", **job}
    return history(text, **{"class": "minor_servicing", "procedure": None, **whole})


PLUG = "unplug A2\nplug_control A2 how=in_hand\nwork_start A2\nwork_end A2\nplug_in A2\nclose A2"


def plug(text: str = PLUG, **job: Any) -> Document:
    return history(text, **{"class": "cord_plug", "procedure": None, "energies": ["electrical_cord"], **job})


ONE_PLAIN_POINT = """
notify_before A1 to=F1
review A1 rev=3
shut_down A1 how=normal
isolate A1 point=D1
lock_on A1 at=D1 lock=A1-a
verify A1 points=D1 result=zero
work_start A1
work_end A1
inspect_area A1 result=ok
account_people A1 clear=A1 result=ok
lock_off A1 at=D1 lock=A1-a
notify_after A1 to=F1
re_energise A1 point=D1
restart A1
close A1
"""
EIGHT = {
    "no_stored_energy": True,
    "one_source": True,
    "fully_de_energises": True,
    "isolated_and_locked": True,
    "one_lock": True,
    "exclusive_control": True,
    "no_hazard_to_others": True,
    "no_accident": True,
}
PLAIN = procedure(points=[{"id": "D1", "device": "disconnect"}])
UNWRITTEN = procedure(documented=False, undocumented_because=EIGHT)
TAGGED = turned(ONE, "lock_on A1 at=V1 lock=A1-b", "lock_on A1 at=V1 lock=A1-b tag=true")
MEASURED = turned(TAGGED, "tag=true", "tag=true extra_measure=handle_off legend=do_not_open")
NOT_LOCKABLE = point("V1", lockable=False)
AFFECTED_KNEW = certificate(affected_then=["F1"], reviewed=["A1", "A2", "A4", "F1"])

SCOPE = [
    Case("minor servicing under its five conditions", minor()),
    Case("a guard removed, yet exempt as minor servicing", minor(answers={**FIVE, "guard_removed": True})),
    Case("minor servicing that is not routine", minor(answers={**FIVE, "routine": False}), v="LO-01 LO-02"),
    Case("minor servicing without a measure", minor(measure=""), v="LO-01 LO-02"),
    Case("a task that is never exempt", minor(task="screen_change"), v="LO-01 LO-02"),
    Case("minor servicing with a question unanswered", minor(answers={"minor": True}), v="LO-01 LO-02"),
    Case("the same before it has begun", minor("review F1", answers={"minor": True}), p="LO-01 LO-02"),
    Case("a plug in the worker's hand", plug()),
    Case("a plug in nobody's control", plug(without(PLUG, "plug_control A2 how=in_hand")), v="LO-01 LO-03"),
    Case("plugged in while at work", plug(moved(PLUG, "plug_in A2", before="work_end A2")), v="LO-01 LO-03"),
    Case(
        "a second worker on one plug",
        plug(put(put(PLUG, "work_start A1", before="work_end A2"), "work_end A1", before="work_end A2")),
        v="LO-01 LO-03",
    ),
    Case("a hot sealer that is unplugged", plug(energies=["electrical_cord", "thermal"]), v="LO-01 LO-03"),
    Case("nothing said of other energy", plug(energies=None), a="LO-03"),
]
DEVICES = [
    Case("an emergency stop as a point", one(point("D1", device="emergency_stop")), v="LO-04"),
    Case("a device that nobody names", one(keyless("documented"), point("D1", device=None)), a="LO-04 LO-07"),
    Case("only a tag on a lockable valve", one(AFFECTED_KNEW, text=TAGGED), v="LO-05 LO-06", a="LO-12"),
    Case("a tag with a further measure", one(AFFECTED_KNEW, text=MEASURED), w="LO-05"),
    Case("a tag where no lock fits", one(NOT_LOCKABLE, AFFECTED_KNEW, text=MEASURED)),
    Case("the same without a measure", one(NOT_LOCKABLE, AFFECTED_KNEW, text=TAGGED), v="LO-06"),
    Case(
        "a tag that only names its owner",
        one(AFFECTED_KNEW, text=turned(MEASURED, "do_not_open", "mine")),
        v="LO-12",
        w="LO-05",
    ),
    Case("a lock from nobody's register", one(text=ONE.replace("A1-a", "Z9")), v="LO-09"),
    Case("a lock that also shuts a cupboard", one(lock("A1-a", lockout_only=False)), v="LO-09"),
    Case("one lock on two points", one(text=ONE.replace("A1-b", "A1-a")), v="LO-09 LR-03"),
    Case("no register at all", one(no_register), a="LO-09 LO-10 LO-11"),
    Case(
        "a lock of a type off the list",
        one(lock("A1-a", type="brass"), lambda record: record.update(site={"lock_types": ["red"]})),
        v="LO-10",
    ),
    Case(
        "a lock whose check is overdue",
        one(lock("A1-a", checked="2026-04-01"), lambda record: record.update(site={"lock_check_months": 1})),
        v="LO-10",
    ),
    Case("somebody else's lock put on", one(lock("A1-a", owner="A2")), v="LO-11"),
    Case(
        "a job lock that names another",
        edited(history(GROUP, **GROUP_MODE), lock("J1", owner="A3")),
        v="LO-11",
    ),
]
