"""What may happen in the special situations, and why not: 29 CFR 1910.147(e)(3) exception and (f)(1)-(4).

The functions are asked by the guard after what holds for every event.
"""

from collections.abc import Callable, Iterator, Mapping

from floorterm.access import Right, has_right
from floorterm.lockout.asking import NONSENSE, SITE, Asked, authorised
from floorterm.lockout.effects_special import replaced_by
from floorterm.lockout.guard_ending import no_locks, nobody_working, told_after
from floorterm.lockout.model import BOX, Event
from floorterm.lockout.state import covered
from floorterm.people import Person
from floorterm.wording import Refusal

# What the employer's side may do without being authorised for lockout.
TO_EMPLOYER = frozenset(
    {
        Event.CONTRACTOR_EXCHANGE, Event.OWN_STAFF_TOLD, Event.ASSIGN_PRIMARY, Event.OWNER_ABSENT_CHECK,
        Event.OWNER_CONTACT_TRY, Event.REMOVE_OTHER, Event.OWNER_INFORMED, Event.ON_SITE, Event.NOTIFY_BEFORE,
        Event.NOTIFY_AFTER,
    }
)  # fmt: skip
_DIRECTIONS = ("given", "received", "both")


def _expired(asked: Asked, person: Person) -> Iterator[Refusal]:
    if person.valid_to is not None and person.valid_to < asked.now.date():
        yield asked.no("training_over_of", SITE, name=person.name, date=person.valid_to.isoformat())


# --- energised for a test (f)(1) ------------------------------------------------------------------------


def _temp_energise(asked: Asked) -> Iterator[Refusal]:
    state, points = asked.state, asked.event.points
    energised = [point for point in points if not state.points[point].isolated]
    if energised:
        yield asked.no("already_energised", NONSENSE, energised)
    yield from nobody_working(asked, "(f)(1)(ii)")
    if not state.inspected:
        yield asked.no("clear_first", "(f)(1)(i)")
    if not state.accounted:
        yield asked.no("account_first", "(f)(1)(ii)")
    yield from no_locks(asked, (*points, BOX), "(f)(1)(iii)")
    yield from told_after(asked)
    yield from _expired(asked, asked.person)


def _temp_end(asked: Asked) -> Iterator[Refusal]:
    if not asked.state.testing:
        yield asked.no("no_test", NONSENSE)


# --- outside employers (f)(2) ---------------------------------------------------------------------------


def _contractor_exchange(asked: Asked) -> Iterator[Refusal]:
    firms = asked.state.job.policy.contractor_duties
    if not asked.event.people or not set(asked.event.people) <= set(firms):
        yield asked.no("which_firm", NONSENSE, names=", ".join(firms).replace("_", " ") or "-")
    if asked.event.how not in _DIRECTIONS:
        yield asked.no("which_direction", NONSENSE)


def _own_staff_told(asked: Asked) -> Iterator[Refusal]:
    if asked.state.job.affected_duties and not asked.event.people:
        yield asked.no("name_told", "(f)(2)(ii)")


# --- groups (f)(3) --------------------------------------------------------------------------------------


def _assign_primary(asked: Asked) -> Iterator[Refusal]:
    state, event = asked.state, asked.event
    if state.job.mode == "individual":
        yield asked.no("individual_only", SITE)
    elif state.own_locks_used:
        yield asked.no("group_from_the_start", "(f)(3)(ii)(A)")
    if not authorised(asked.known(event.primary)):
        yield asked.no("primary_authorised", "(f)(3)(ii)(A)", name=asked.spoken([event.primary]) or "-")
    members = set(event.people)
    unknown = sorted(code for code in members if asked.known(code) is None)
    if not members:
        yield asked.no("name_members", "(f)(3)(ii)(A)")
    if unknown:
        yield asked.no("who_is_that", "LR-02", names=", ".join(unknown))
    if event.coordinator and not authorised(asked.known(event.coordinator)):
        yield asked.no("coordinator_authorised", "(f)(3)(ii)(C)", name=asked.spoken([event.coordinator]))
    limit = state.job.policy.crew_limit
    if limit is not None and len({event.primary, *members}) > limit:
        yield asked.no("crew_too_large", SITE, n=len({event.primary, *members}), limit=limit)
    for crew in replaced_by(state, event):
        if crew.primary != event.primary and crew.primary in state.unverified_primaries():
            yield asked.no("primary_verifies", "(f)(4)", name=asked.spoken([crew.primary]))


def _group_only(asked: Asked) -> Iterator[Refusal]:
    if not asked.state.group:
        yield asked.no("no_group", NONSENSE)


def _key_in_box(asked: Asked) -> Iterator[Refusal]:
    yield from _group_only(asked)
    bare = [point for point in asked.event.points if not asked.state.points[point].locks]
    if bare:
        yield asked.no("key_without_lock", NONSENSE, bare)


def _offer_verify(asked: Asked) -> Iterator[Refusal]:
    state, code = asked.state, asked.person.code
    yield from _group_only(asked)
    if not asked.event.people:
        yield asked.no("name_members", "(d)(6)")
    if state.not_isolated():
        yield asked.no("not_isolated", "(d)(3)", state.not_isolated())
    for member in asked.event.people:
        crew = state.in_charge(member) if state.crew_of(member) else None
        if crew is None:
            yield asked.no("nobodys_member", "(f)(3)(ii)(A)", name=asked.spoken([member]))
        elif code not in (crew.primary, state.coordinator):
            yield asked.no("primary_offers", "(f)(3)(ii)(A)", name=asked.spoken([crew.primary]))


# --- shift and personnel changes (f)(4) -----------------------------------------------------------------


def _hand_over(asked: Asked) -> Iterator[Refusal]:
    """The on-coming person's lock is on before the off-going one's comes off: no gap."""
    state, event = asked.state, asked.event
    bare = [place for place in event.points if not state.own_locks(event.by, place)]
    if bare:
        yield asked.no("hand_over_what_you_hold", "(f)(4)", bare)
    if not event.people:
        yield asked.no("hand_over_to_whom", "(f)(4)")
    for code in event.people:
        person = asked.known(code)
        if person is None or code == event.by:
            yield asked.no("who_is_that", "LR-02", names=asked.spoken([code]))
            continue
        missing = [place for place in event.points if not state.own_locks(code, place)]
        if missing:
            yield asked.no("overlap_first", "(f)(4)", missing, name=person.name)
        yield from _expired(asked, person)


# --- the lock of somebody who is not there (e)(3) -------------------------------------------------------


def _owner(asked: Asked) -> Iterator[Refusal]:
    owner = asked.event.owner
    if not owner or owner == asked.person.code:
        yield asked.no("whose_lock", NONSENSE)


def _owner_absent_check(asked: Asked) -> Iterator[Refusal]:
    state, owner = asked.state, asked.event.owner
    yield from _owner(asked)
    if asked.event.result not in ("absent", "present"):
        yield asked.no("result_absent", NONSENSE)
    if owner and not state.own_locks(owner) and owner not in state.at_work:
        yield asked.no("owns_nothing", NONSENSE, name=asked.spoken([owner]))


def _owner_contact_try(asked: Asked) -> Iterator[Refusal]:
    yield from _owner(asked)
    if asked.event.owner not in asked.state.absent and asked.event.owner not in asked.state.removed:
        yield asked.no("check_absent_first", "(e)(3)(i)", name=asked.spoken([asked.event.owner]))


def _remove_other(asked: Asked) -> Iterator[Refusal]:
    state, event = asked.state, asked.event
    name = asked.spoken([event.owner])
    yield from _owner(asked)
    if not state.job.other_removal:
        yield asked.no("no_removal_procedure", "(e)(3)")
    director = asked.known(event.directed_by)
    if not has_right(director, Right.DIRECT_LOCK_REMOVAL):
        yield asked.no("employer_directs", "(e)(3)")
    if event.owner not in state.absent:
        yield asked.no("check_absent_first", "(e)(3)(i)", name=name)
    gone = [
        lock
        for place in covered(state, event)
        for lock in state.own_locks(event.owner, place)
        if event.lock in ("", lock.lock)
    ]
    if not gone:
        yield asked.no("no_such_lock", NONSENSE, event.points)
    yield from _left_bare(asked, {lock.lock for lock in gone})
    for one in state.handed:
        left = {lock.owner for lock in state.locks_on(one.place)} - {event.owner}
        if one.place in event.points and not one.to & left:  # whoever took over has no lock on there
            yield asked.no("hand_over_pending", "(f)(4)", (one.place,), name=asked.spoken([one.giver]))
    yield from _expired(asked, asked.person)


def _left_bare(asked: Asked, gone: set[str]) -> Iterator[Refusal]:
    """The last lock leaves a point only after the area was looked over and the people counted ((e)(1)-(2))."""
    state = asked.state
    bare = [
        point
        for point in asked.event.points
        if point in state.job.required
        and state.locks_on(point)
        and all(lock.lock in gone for lock in state.locks_on(point))
    ]
    if not bare:
        return
    if state.at_work:
        names = ", ".join(work.name for work in state.at_work.values())
        yield asked.no("still_working", "(e)(2)(i)", names=names)
    if not state.inspected:
        yield asked.no("inspect_first", "(e)(1)", bare)
    if not state.accounted:
        yield asked.no("account_first", "(e)(2)(i)", bare)


def _owner_informed(asked: Asked) -> Iterator[Refusal]:
    yield from _owner(asked)
    removed = asked.state.removed.get(asked.event.owner)
    if removed is None:
        yield asked.no("nothing_removed", NONSENSE, name=asked.spoken([asked.event.owner]))
    elif not removed.contacted:
        yield asked.no("contact_first", "(e)(3)(ii)", name=removed.owner_name)


def _on_site(asked: Asked) -> Iterator[Refusal]:
    if not asked.event.people:
        yield asked.no("hand_over_to_whom", NONSENSE)
    for code in asked.event.people:
        if code in asked.state.removed:
            yield asked.no("inform_first", "(e)(3)(iii)", name=asked.spoken([code]))


# --- working alone (site policy) ------------------------------------------------------------------------


def _lone_check(asked: Asked) -> Iterator[Refusal]:
    if len(asked.event.people) != 1 or asked.event.people[0] == asked.person.code:
        yield asked.no("name_one_contact", SITE)
    elif asked.known(asked.event.people[0]) is None:
        yield asked.no("who_is_that", "LR-02", names=asked.event.people[0])


RULES: Mapping[Event, Callable[[Asked], Iterator[Refusal]]] = {
    Event.TEMP_ENERGISE: _temp_energise,
    Event.TEMP_END: _temp_end,
    Event.CONTRACTOR_EXCHANGE: _contractor_exchange,
    Event.OWN_STAFF_TOLD: _own_staff_told,
    Event.ASSIGN_PRIMARY: _assign_primary,
    Event.KEY_IN_BOX: _key_in_box,
    Event.OFFER_VERIFY: _offer_verify,
    Event.HAND_OVER: _hand_over,
    Event.OWNER_ABSENT_CHECK: _owner_absent_check,
    Event.OWNER_CONTACT_TRY: _owner_contact_try,
    Event.REMOVE_OTHER: _remove_other,
    Event.OWNER_INFORMED: _owner_informed,
    Event.ON_SITE: _on_site,
    Event.LONE_CHECK: _lone_check,
}
