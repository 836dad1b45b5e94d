"""What the events of the special situations bring about: 29 CFR 1910.147(e)(3), (f) and (a)(2)."""

from collections.abc import Callable, Mapping

from msgspec.structs import replace

from floorterm.lockout.effects_shared import energised, touches_required, unproved, without_locks
from floorterm.lockout.model import BOX, Event, LockEvent
from floorterm.lockout.state import Alone, Crew, Handed, LockoutState, Removed, covered


def returned(state: LockoutState, person: str) -> LockoutState:
    """The state once somebody is known to be back: looking for them begins anew."""
    if person not in state.absent and person not in state.contacted:
        return state
    return replace(state, absent=state.absent - {person}, contacted=state.contacted - {person})


# --- energised for a test (f)(1) ----------------------------------------------------------------------


def _temp_energise(state: LockoutState, event: LockEvent) -> LockoutState:
    points = tuple(place for place in covered(state, event) if place != BOX)
    after = replace(energised(state, points), testing=state.testing | set(points))
    return unproved(after, "re_energise") if touches_required(state, points) else after


def _temp_end(state: LockoutState, _: LockEvent) -> LockoutState:
    return replace(state, testing=frozenset())


# --- outside employers (f)(2) ---------------------------------------------------------------------------


def _contractor_exchange(state: LockoutState, event: LockEvent) -> LockoutState:
    ways = frozenset({"given", "received"} if event.how == "both" else {event.how})
    known = {firm: state.exchanged.get(firm, frozenset()) | ways for firm in event.people}
    return replace(state, exchanged={**state.exchanged, **known})


def _own_staff_told(state: LockoutState, _: LockEvent) -> LockoutState:
    return replace(state, own_staff_told=True)


# --- groups (f)(3) ----------------------------------------------------------------------------------------


def replaced_by(state: LockoutState, event: LockEvent) -> tuple[Crew, ...]:
    """The crews that an assignment takes the place of: of several crews only those of the same people."""
    people = {event.primary, *event.people}
    one_crew = (event.crews or state.job.crews) <= 1
    return tuple(crew for crew in state.crews if one_crew or people & {crew.primary, *crew.members})


def _assign_primary(state: LockoutState, event: LockEvent) -> LockoutState:
    gone = replaced_by(state, event)
    same = [crew for crew in gone if crew.primary == event.primary]
    since = same[0].since if same else event.n
    # whoever takes over while people are at work verifies before they are out
    took_over = same[0].took_over if same else bool(gone and state.at_work)
    kept = tuple(crew for crew in state.crews if crew not in gone)
    crew = Crew(primary=event.primary, members=frozenset(event.people), since=since, took_over=took_over)
    return replace(
        state,
        crews=(*kept, crew),
        crew_count=max(state.crew_count, event.crews),
        coordinator=event.coordinator or state.coordinator,
    )


def _key_in_box(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, keys=state.keys | {place for place in covered(state, event) if place != BOX})


def _offer_verify(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, offered=state.offered | set(event.people))


# --- shift and personnel changes (f)(4) -------------------------------------------------------------------


def _hand_over(state: LockoutState, event: LockEvent) -> LockoutState:
    to = frozenset(event.people)
    new = tuple(Handed(place=place, giver=event.by, to=to) for place in covered(state, event))
    return replace(state, handed=(*state.handed, *new))


# --- the lock of somebody who is not there (e)(3) ---------------------------------------------------------


def _owner_absent_check(state: LockoutState, event: LockEvent) -> LockoutState:
    if event.result != "absent":
        return returned(state, event.owner)
    # who is not at the facility is not at the machine; that they never said so stays on the screen
    left = {who: since for who, since in state.at_work.items() if who != event.owner}
    alarm = state.alarm and bool(left)
    return replace(state, absent=state.absent | {event.owner}, at_work=left, alarm=alarm)


def _owner_contact_try(state: LockoutState, event: LockEvent) -> LockoutState:
    owner = event.owner
    removed = dict(state.removed)
    if owner in removed:
        removed[owner] = replace(removed[owner], contacted=True)
    tried = {owner} if owner in state.absent or owner in removed else set()
    return replace(state, contacted=state.contacted | tried, removed=removed)


def _remove_other(state: LockoutState, event: LockEvent) -> LockoutState:
    owner, places = event.owner, covered(state, event)
    after = without_locks(state, places, lambda lock: lock.owner == owner and event.lock in ("", lock.lock))
    before = state.removed.get(owner)
    removed = Removed(
        n=event.n,
        at=event.at,
        places=tuple(dict.fromkeys((*(before.places if before else ()), *places))),
        lock=event.lock,
        owner_name=state.name(owner),
        by_name=event.by_name,
        contacted=owner in state.contacted or bool(before and before.contacted),
    )
    left = {who: since for who, since in after.at_work.items() if who != owner or not event.is_emergency}
    return replace(after, removed={**after.removed, owner: removed}, at_work=left)


def _owner_informed(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, removed={who: one for who, one in state.removed.items() if who != event.owner})


def _on_site(state: LockoutState, event: LockEvent) -> LockoutState:
    for person in event.people:
        state = returned(state, person)
    return state


# --- work that needs no lockout (a)(2) --------------------------------------------------------------------


def _confirm(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, confirmed=event.result == "ok")


def _unplug(state: LockoutState, _: LockEvent) -> LockoutState:
    return replace(state, unplugged=True, plug_held=False)


def _plug_control(state: LockoutState, event: LockEvent) -> LockoutState:
    return replace(state, plug_by=event.by, plug_held=True)


def _plug_in(state: LockoutState, _: LockEvent) -> LockoutState:
    return replace(state, unplugged=False, plug_held=False)


# --- working alone (site policy) --------------------------------------------------------------------------


def _lone_check(state: LockoutState, event: LockEvent) -> LockoutState:
    """Whoever works alone names their contact, or the contact (anybody else) says that they are well."""
    other = event.people[0] if event.people else event.by
    worker, contact = (other, event.by) if other in state.at_work else (event.by, other)
    return replace(state, alone={**state.alone, worker: Alone(contact=contact, at=event.at)})


SPECIAL: Mapping[Event, Callable[[LockoutState, LockEvent], LockoutState]] = {
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
    Event.CONFIRM_EXCEPTION: _confirm,
    Event.UNPLUG: _unplug,
    Event.PLUG_CONTROL: _plug_control,
    Event.PLUG_IN: _plug_in,
    Event.LONE_CHECK: _lone_check,
}
