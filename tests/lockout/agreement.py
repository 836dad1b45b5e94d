"""People who do anything at all to a lockout, with the guard and the audit side by side.

One walk is a list of acts, likely and unlikely, in individual or group mode; only those are recorded that the guard
lets through. Used by the suite (hundreds of walks) and by the benchmark (ten thousand).
"""

import random
from collections.abc import Callable, Iterable, Iterator

from floorterm.lockout.guard import training_refusals
from floorterm.lockout.guide import Move, next_moves
from floorterm.lockout.guide_special import other_moves
from floorterm.lockout.model import BOX, Event, LockEvent
from tests.lockout.floor import FIRM, PEOPLE, Floor, ev

CREW = ("A1", "A2", "A3", "C1", "E1")
EVERYBODY = tuple(PEOPLE)
ALL = ("A1", "A2", "A3", "A4", "C1")

# What each moment on the screen stands for in the audit: rules that may be reported because of it, from the text.
# (d)(4)(i), (f)(3)(ii)(D) own lock; (e)(1)-(2) area and people; (d)(5)(ii); (e)(3)(iii); (f)(4); (d)(1).
EXCUSES = {
    "end_without_start": {"LR-03", "LO-31", "LO-32", "LO-37"},
    "during_alarm": {"LO-28"},
    "acted_uninformed": {"LO-34", "LO-37"},
    # whoever was cut free never said that their work had ended
    "cut": {"LO-34", "LO-37", "LO-31", "LO-32", "LO-30", "LO-42", "LO-43", "LO-28", "LR-03"},
    "emergency_stop": {"LO-22"},
    "left_at_work": {"LO-30", "LO-42", "LO-28", "LO-32", "LO-37", "LR-03", "LO-43"},
    "primary_never_verified": {"LO-43"},
    "lapsed": {"LO-28"},
    "bare_at_work": {"LO-30", "LO-42"},
    "unchecked": {"LO-31", "LO-32", "LO-37"},
    "hand_over_broken": {"LO-43"},
}
# Training and inspection keep nobody from a lock; whoever puts one on is told at once that they start no work.
OF_PERSONS = {"LO-13", "LO-17", "LO-18", "LS-01"}


def proposals(floor: Floor, chance: random.Random) -> LockEvent:
    """Any act of anybody, with fields that make sense more often than not."""
    state = floor.state
    who, other = chance.choice(EVERYBODY), chance.choice(EVERYBODY)
    event = chance.choice(list(Event))
    place = chance.choice(("D1", "V1", BOX if state.group else "D1"))
    owners = [lock.owner for lock in state.locks_on()] or [other]
    fields: dict[str, object] = {}
    points: tuple[str, ...] = ()
    match event:
        case Event.ISOLATE | Event.RELEASE | Event.RE_ENERGISE | Event.KEY_IN_BOX | Event.TEMP_ENERGISE:
            points = chance.choice((("D1",), ("V1",), ("D1", "V1")))
        case Event.LOCK_ON | Event.HAND_OVER:
            points, fields["people"] = (place,), (other,)
        case Event.LOCK_OFF:
            points = chance.choice(((), (place,)))
        case Event.VERIFY | Event.MONITOR:
            fields["result"] = chance.choice(("zero", "zero", "zero", "not_zero"))
            if event is Event.MONITOR:
                points = ("V1",)
        case Event.INSPECT_AREA:
            fields["result"] = chance.choice(("ok", "ok", "ok", "not_ok"))
        case Event.ACCOUNT_PEOPLE:
            fields["result"], fields["people"] = "ok", chance.choice((EVERYBODY, tuple(state.attending)))
        case Event.NOTIFY_BEFORE | Event.NOTIFY_AFTER | Event.OWN_STAFF_TOLD:
            fields["people"] = ("F1",)
        case Event.CONTRACTOR_EXCHANGE:
            fields["people"], fields["how"] = (FIRM,), chance.choice(("both", "given", "received"))
        case Event.ASSIGN_PRIMARY:
            members = tuple(chance.sample(ALL, chance.randint(1, 4)))
            crews = chance.choice((0, 0, 2))
            fields |= {"primary": chance.choice(ALL), "people": members, "crews": crews}
            fields["coordinator"] = chance.choice(("A4", "")) if crews else ""
        case Event.OFFER_VERIFY | Event.ON_SITE:
            fields["people"] = (other,)
        case Event.OWNER_ABSENT_CHECK:
            fields["owner"], fields["result"] = (
                chance.choice(owners),
                chance.choice(("absent", "absent", "present")),
            )
        case Event.OWNER_CONTACT_TRY | Event.OWNER_INFORMED:
            fields["owner"] = chance.choice([*owners, *state.removed])
        case Event.REMOVE_OTHER:
            points, fields["owner"] = (place,), chance.choice(owners)
            fields["directed_by"] = chance.choice(("E1", who))
            fields["how"] = "emergency" if chance.random() < 0.1 else ""
        case Event.SHUT_DOWN:
            fields["how"] = chance.choice(("normal", "normal", "found_stopped", "emergency"))
        case Event.LONE_CHECK:
            fields["people"] = (other,)
    return ev(event.value, who, *points, **fields)


def absent_or_test(moves: Iterable[Move]) -> bool:
    """Whether one of these goes on with a test or with an absent owner's lock."""
    special = (Event.TEMP_ENERGISE, Event.NOTIFY_AFTER, Event.REMOVE_OTHER, Event.OWNER_INFORMED)
    return any(one.event in special for one in moves)


def likely(floor: Floor, chance: random.Random, *, work_left: bool) -> Iterator[LockEvent]:
    """What the screen tells somebody to do next, as they would do it."""
    who = chance.choice(CREW if chance.random() < 0.95 else EVERYBODY)
    moves = [*next_moves(floor.state, PEOPLE[who], floor.now, work_left=work_left)]
    others = other_moves(floor.state, PEOPLE[who], work_left=work_left)
    telling = (Event.OWN_STAFF_TOLD, Event.NOTIFY_BEFORE, Event.ASSIGN_PRIMARY)
    others = [one for one in others if one.event not in telling or chance.random() < 0.1]
    if others and chance.random() < (0.6 if absent_or_test(others) else 0.25):
        moves = [chance.choice(others)]
    moves = [
        one for one in moves if one.event is not Event.CLOSE or floor.state.workers or chance.random() < 0.1
    ]
    if chance.random() < 0.3:
        chance.shuffle(moves)
    for move in moves:
        if move.event is None:
            continue
        fields: dict[str, object] = {}
        match move.event:
            case Event.VERIFY | Event.MONITOR:
                fields["result"] = "zero"
            case Event.INSPECT_AREA:
                fields["result"] = "ok"
            case Event.ACCOUNT_PEOPLE:
                fields["result"], fields["people"] = "ok", tuple(floor.state.attending)
            case Event.NOTIFY_BEFORE | Event.NOTIFY_AFTER:
                fields["people"] = ("F1",)
            case Event.ASSIGN_PRIMARY:
                fields |= {"primary": who, "people": ALL, "coordinator": "A4"}
            case Event.OFFER_VERIFY:
                fields["people"] = move.people
            case Event.HAND_OVER | Event.LONE_CHECK:
                fields["people"] = move.people[:1] or ("E1",)
            case Event.OWNER_ABSENT_CHECK:
                fields |= {"owner": move.owner, "result": "absent"}
            case Event.OWNER_CONTACT_TRY | Event.OWNER_INFORMED:
                fields["owner"] = move.owner
            case Event.REMOVE_OTHER:
                fields |= {"owner": move.owner, "directed_by": who}
            case Event.CONTRACTOR_EXCHANGE:
                fields |= {"people": (FIRM,), "how": "both"}
            case Event.OWN_STAFF_TOLD:
                fields["people"] = ("F1",)
        each = move.event in (Event.LOCK_ON, Event.LOCK_OFF)
        for points in [(point,) for point in move.points] if each else [move.points]:
            yield ev(move.event.value, who, *points, **fields)
        return


def walk(
    seed: int, steps: int, check: Callable[[Floor], None] | None = None, *, careful: bool = False
) -> Floor:
    """One walk. `careful`: whoever leaves does so in order, and readings are never late."""
    chance = random.Random(seed)
    mode = chance.choice(("individual", "group", "either"))
    floor = Floor.of(mode=mode, crews=chance.choice((1, 1, 2)) if mode == "group" else 1)
    work_left, wild = True, chance.choice((0.02, 0.1, 0.5))
    for _ in range(steps):
        if chance.random() < 0.03:
            work_left = not work_left
        if chance.random() < 0.1 and not careful:
            floor.wait(chance.choice((1, 5, 30)))
        acts = (
            [proposals(floor, chance)]
            if chance.random() < wild
            else list(likely(floor, chance, work_left=work_left))
        )
        for act in acts:
            if careful:
                _read_in_time(floor)
            if floor.ask(act):
                continue
            if careful and _short(floor, act):
                continue
            floor.record(act)
            if check is not None:
                check(floor)
    return floor


def _short(floor: Floor, act: LockEvent) -> bool:
    return bool(Floor(floor.state, floor.now).record(act).said)


def _read_in_time(floor: Floor) -> None:
    due = [at for at in floor.state.monitor_due().values() if at is not None]
    if due and (min(due) - floor.now).total_seconds() <= 180:
        read = ev("monitor", "A4", "V1", result="zero")
        if not floor.ask(read):
            floor.record(read)


def unexplained(floor: Floor) -> list[str]:
    """Violations that the audit finds in an accepted history and that nothing on the screen explains."""
    excused: set[str] = set()
    for key in floor.said:
        excused |= EXCUSES[key]
    if floor.state.lapsed(floor.now) and floor.state.at_work:
        excused.add("LO-28")
    found = []
    for one in floor.findings():
        if one.level != "V" or one.rule in excused:
            continue
        if one.rule in OF_PERSONS and all(
            training_refusals(floor.state, PEOPLE[code], floor.now) for code in one.persons
        ):
            continue
        found.append(f"{one.rule}: {one.text}")
    return found
