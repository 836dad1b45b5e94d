"""What other jurisdictions add: asked only where their profile says so."""

from collections.abc import Iterator

from floorterm.lockout.auditing.findings import Found
from floorterm.lockout.auditing.replay import Replay

_ELECTRICAL = frozenset({"electrical", "electrical_drive"})


def identified(replay: Replay) -> Iterator[Found]:
    """LP-01 (UK): each point is clearly identified and readily accessible; for a person to attest."""
    if replay.required:
        yield Found("LP-01", "A", "LP-01", points=replay.required_ids)


def proved_tester(replay: Replay) -> Iterator[Found]:
    """LP-02 (UK): dead electrical points are proved with a tester checked before and after."""
    electrical = {p.id for p in replay.required if _ELECTRICAL & set(p.energies)}
    for _, event in replay.each("verify"):
        covered = tuple(k for k in replay.points_of(event) if k in electrical)
        if covered and not (event.tester_before and event.tester_after):
            yield Found("LP-02", "V", "LP-02", event, (event.by,), covered)


def staying_on(replay: Replay) -> Iterator[Found]:
    """LP-03 (EU): points that may stay energised are named in the review."""
    stay = tuple(p.id for p in replay.procedure.points if p.stays_on)
    if not stay:
        return
    named = {k for _, event in replay.each("review") for k in event.points}
    missing = tuple(k for k in stay if k not in named)
    if missing:
        yield Found("LP-03", "V", "LP-03", points=missing)


def earthed(replay: Replay) -> Iterator[Found]:
    """LP-04 (DE): earthing comes before covering, after proving dead, where they are recorded."""
    for i, event in replay.each("earth", "cover"):
        verified = any(j < i and e.result == "zero" for j, e in replay.each("verify"))
        earthed_ = any(j < i for j, _ in replay.each("earth")) or replay.record.site.low_voltage_earthing
        if not verified:
            yield Found("LP-04", "V", "LP-04.before_dead", event, (event.by,), replay.points_of(event))
        elif event.ev == "cover" and not earthed_:
            yield Found("LP-04", "V", "LP-04", event, (event.by,), replay.points_of(event))


def work_release(replay: Replay) -> Iterator[Found]:
    """LP-05 (DE): a work release before and after; for a person to attest."""
    if replay.first("work_start") is not None:
        yield Found("LP-05", "A", "LP-05", None, replay.workers())


def attestation(replay: Replay) -> Iterator[Found]:
    """LP-06 (FR): each worker was given the appointed person's attestation, and it came back."""
    appointed = replay.header.appointed
    if not appointed:
        yield Found("LP-06", "V", "LP-06.nobody")
        return
    for i, event in replay.each("work_start"):
        given = [
            j for j, e in replay.each("attestation_given") if j < i and e.by == appointed and event.by in e.to
        ]
        back = [j for j, e in replay.each("attestation_returned") if j < i and e.by == event.by]
        if not given or (back and back[-1] > given[-1]):
            yield Found("LP-06", "V", "LP-06.given", event, (event.by,))
    for r, event in replay.each("re_energise"):
        for who in replay.workers(r):
            since = max(j for j, e in replay.each("work_start") if j < r and e.by == who)
            if not any(since < j < r and e.by == who for j, e in replay.each("attestation_returned")):
                yield Found("LP-06", "V", "LP-06.returned", event, (who,))
        return


def appointed_only(replay: Replay) -> Iterator[Found]:
    """LP-07 (FR): only the appointed person restores energy."""
    for _, event in replay.each("re_energise", "temp_energise"):
        if event.by != replay.header.appointed:
            yield Found("LP-07", "V", "LP-07", event, (event.by,), replay.points_of(event))


def plug_in_sight(replay: Replay) -> Iterator[Found]:
    """LP-08 (EU): the plug can be watched from every access point; for a person to attest."""
    if replay.header.job_class == "cord_plug":
        yield Found("LP-08", "A", "LP-08")
