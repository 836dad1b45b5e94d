"""Signing a shift on a real plant: exactly what was shown, by whom, and what keeps a signature from being recorded."""

import dataclasses
from collections.abc import Callable
from datetime import timedelta

import pytest
from msgspec.structs import replace

from floorterm.changeover.acts import Abandon, Dispose, ExplainMinutes, Note, RaiseDeviation, SignStep
from floorterm.changeover.minutes import minutes_spent
from floorterm.demo.clock import SetClock
from floorterm.entries import TextError
from floorterm.ledger import RefusedError
from floorterm.people import Permission, Person
from floorterm.plant import Plant, Who
from floorterm.shift.signing import COUNTERSIGNED, KINDS, SIGNED, signatures_of
from floorterm.shift.window import Window, window_named
from floorterm.shift_review import Review, countersign, review_of, shift_to_review, sign
from floorterm.wording import LANGUAGES, sentence
from tests.conftest import PIN, who

TEXT = "line 1: film of the new roll sticks"


@pytest.fixture
def shift(plant: Plant, clock: SetClock) -> Window:
    """The early shift of the day, in which a procedure was begun and given up; it is five to two."""
    lead = Person(
        code="TT", name="T. Thorn", permission=Permission.SUPERVISOR, duties=frozenset({"supervisor"})
    )
    plant.ledger.add_person(lead, PIN, by="AD")
    work = plant.start_procedure(who(plant, "SS"), "L1", "jam-stamper", "begin").work
    clock.advance(timedelta(minutes=7))
    plant.act(work, Abandon(reason="it was no jam"), who(plant, "AA"), key="abandon")
    clock.advance(timedelta(hours=7, minutes=48))
    return window_named(plant.library.plant.shifts, "2026-11-24/early", plant.zone)


def _sign(plant: Plant, shown: Review, code: str = "SS", text: str = TEXT, key: str = "sign") -> None:
    sign(plant, who(plant, code), shown, text, key=key)


def _refused(call: Callable[[], object]) -> list[str]:
    with pytest.raises(RefusedError) as caught:
        call()
    for refusal in caught.value.refusals:
        assert all(sentence(refusal.say, language) for language in LANGUAGES)
    return [refusal.say.key.removeprefix("shift.") for refusal in caught.value.refusals]


def test_the_signature_carries_what_was_shown_with_its_digest(plant: Plant, shift: Window) -> None:
    shown = review_of(plant, shift)
    assert shown.signature is None
    _sign(plant, shown)
    review = review_of(plant, shift)
    signature = review.signature
    assert signature is not None
    assert (signature.person, signature.handover, signature.summary) == ("SS", TEXT, shown.summary)
    assert signature.holds
    assert review.changed == ()
    entry = plant.ledger.entry(signature.n)
    assert (entry.kind, entry.meaning, entry.identity) == (SIGNED, "reviewed", "pin")
    assert entry.value["digest"] == signature.digest
    for name, other in (("handover", f"{TEXT}."), ("summary", {**entry.value["summary"], "works": []})):
        forged = replace(entry, value={**entry.value, name: other})
        assert not signatures_of(shift.key, [forged])[0].holds


def test_another_lead_takes_over_exactly_that_entry(plant: Plant, shift: Window) -> None:
    _sign(plant, review_of(plant, shift))
    shown = review_of(plant, shift)
    assert _refused(lambda: countersign(plant, who(plant, "SS"), shown, key="c1")) == ["countersign_self"]
    assert _refused(lambda: countersign(plant, who(plant, "AA"), shown, key="c2")) == ["countersign_lead"]
    countersign(plant, who(plant, "TT"), shown, key="c3")
    taken = review_of(plant, shift).signatures[-1].taken_over
    assert taken is not None
    assert taken.person == "TT"
    entry = plant.ledger.entry(taken.n)
    assert shown.signature is not None
    assert entry.value == {
        "shift": "2026-11-24/early", "signed": shown.signature.n, "digest": shown.signature.digest,
    }  # fmt: skip
    assert _refused(lambda: countersign(plant, who(plant, "VV"), shown, key="c4")) == ["countersign_done"]


def test_nothing_is_taken_over_that_nobody_signed(plant: Plant, shift: Window) -> None:
    shown = review_of(plant, shift)
    assert _refused(lambda: countersign(plant, who(plant, "TT"), shown, key="c")) == ["countersign_nothing"]


@pytest.mark.parametrize(("code", "text", "why"), [("AA", TEXT, "sign_lead"), ("SS", "  ", "sign_no_text")])
def test_who_may_not_or_says_nothing_does_not_sign(
    plant: Plant, shift: Window, code: str, text: str, why: str
) -> None:
    shown = review_of(plant, shift)
    assert _refused(lambda: _sign(plant, shown, code, text)) == [why]
    assert plant.ledger.entries(kinds=KINDS) == []


def test_whoever_only_named_themselves_signs_nothing(plant: Plant, shift: Window) -> None:
    shown = review_of(plant, shift)
    nobody = Who(plant.ledger.person("SS"), "unconfirmed")
    with pytest.raises(RefusedError, match="PIN"):
        sign(plant, nobody, shown, TEXT, key="s")


def test_a_text_that_no_record_may_keep_is_refused(plant: Plant, shift: Window) -> None:
    shown = review_of(plant, shift)
    with pytest.raises(TextError):
        _sign(plant, shown, text="film \u202e sticks")


def test_what_changed_since_it_was_shown_is_named_and_nothing_is_signed(plant: Plant, shift: Window) -> None:
    shown = review_of(plant, shift)
    work = plant.start_procedure(who(plant, "SS"), "L1", "jam-stamper", "again").work
    plant.act(work, RaiseDeviation(text="bars crack"), who(plant, "AA"), key="raise")
    assert _refused(lambda: _sign(plant, shown)) == [
        "sign_changed", "diff_work", "diff_deviation", "sign_undecided",
    ]  # fmt: skip
    fresh = review_of(plant, shift)
    assert _refused(lambda: _sign(plant, fresh)) == ["sign_undecided"]
    (number,) = (one.n for one in fresh.summary.undecided)
    hold = Dispose(deviation=number, decision="hold", reason="quality looks in the next shift")
    plant.act(work, hold, who(plant, "SS"), key="hold")
    _sign(plant, review_of(plant, shift))


def test_a_note_changes_nothing_of_what_is_signed(plant: Plant, shift: Window) -> None:
    shown = review_of(plant, shift)
    plant.act("P-0001", Note(text="film is at the gate"), who(plant, "AA"), key="note")
    _sign(plant, shown)
    assert review_of(plant, shift).signature is not None


def test_a_shift_is_signed_near_its_end_or_later(plant: Plant, clock: SetClock, shift: Window) -> None:
    late = window_named(plant.library.plant.shifts, "2026-11-24/late", plant.zone)
    assert shift_to_review(plant) == shift
    clock.advance(timedelta(hours=7, minutes=30))  # 21:25
    shown = review_of(plant, late)
    assert _refused(lambda: _sign(plant, shown)) == ["sign_early"]
    assert shift_to_review(plant) == shift
    clock.advance(timedelta(minutes=5))
    assert shift_to_review(plant) == late
    _sign(plant, shown)
    _sign(plant, review_of(plant, shift), key="the day's first one, late")
    assert review_of(plant, shift).signature is not None


def test_two_leads_at_once_one_signs_and_the_other_reads_who_it_was(plant: Plant, shift: Window) -> None:
    shown = review_of(plant, shift)
    _sign(plant, shown)
    assert _refused(lambda: _sign(plant, shown, "TT", "all well", key="other")) == ["sign_meanwhile"]
    assert len(review_of(plant, shift).signatures) == 1


def test_the_same_key_gives_the_same_signature_again(plant: Plant, shift: Window) -> None:
    shown = review_of(plant, shift)
    _sign(plant, shown)
    _sign(plant, shown)
    assert len(plant.ledger.entries(kinds=KINDS)) == 1


def test_what_changes_after_the_signature_is_said_and_may_be_signed_again(
    plant: Plant, clock: SetClock, shift: Window
) -> None:
    _sign(plant, review_of(plant, shift))
    assert _refused(lambda: _sign(plant, review_of(plant, shift), key="same")) == ["sign_same"]
    work = plant.start_procedure(who(plant, "SS"), "L1", "jam-stamper", "more").work
    review = review_of(plant, shift)
    assert {say.facts["which"] for say in review.changed} == {work}
    first = review.signature
    _sign(plant, review, text="line 2: juniper is prepared", key="second")
    stale = dataclasses.replace(review, signatures=(first,) if first else ())
    assert _refused(lambda: countersign(plant, who(plant, "TT"), stale, key="c")) == ["sign_meanwhile"]
    again = review_of(plant, shift)
    assert again.changed == ()
    assert [one.handover for one in again.signatures] == [TEXT, "line 2: juniper is prepared"]
    assert first == again.signatures[0]


def test_a_later_shift_leaves_the_review_of_an_earlier_one_alone(
    plant: Plant, clock: SetClock, shift: Window
) -> None:
    _sign(plant, review_of(plant, shift))
    clock.advance(timedelta(hours=1))
    work = plant.start_procedure(who(plant, "SS"), "L1", "jam-stamper", "late").work
    plant.act(work, RaiseDeviation(text="bars crack"), who(plant, "AA"), key="raise")
    assert review_of(plant, shift).changed == ()


def test_signatures_of_other_shifts_do_not_count(plant: Plant, shift: Window) -> None:
    _sign(plant, review_of(plant, shift))
    entries = plant.ledger.entries(kinds=(SIGNED, COUNTERSIGNED))
    assert len(signatures_of(shift.key, entries)) == 1
    assert signatures_of("2026-11-24/late", entries) == ()


def test_minutes_are_explained_by_whoever_knows_and_change_what_is_signed(
    plant: Plant, clock: SetClock
) -> None:
    """The act goes through the plant as any other: bounded by what the step took over its standard."""
    work = plant.start_procedure(who(plant, "SS"), "L1", "eyewash-weekly", "begin").work
    step = next(plant.state(work).worksheet.steps())
    choice = next(one.id for one in step.choices if not one.deviation)
    clock.advance(timedelta(minutes=12))
    plant.act(work, SignStep(step=step.id, choice=choice), who(plant, "VV"), key="sign")
    over = 12 - int(step.standard_min)
    act = ExplainMinutes(step=step.id, cause="waiting", minutes=over + 1, reason="water was off")
    assert _refused(lambda: plant.act(work, act, who(plant, "AA"), key="m")) == [
        "changeover.minutes_not_lost"
    ]
    entry = plant.act(work, replace(act, minutes=over), who(plant, "AA"), key="m2")
    assert (entry.kind, entry.reason) == ("minutes.explained", "water was off")
    spent = minutes_spent(plant.state(work), plant.now())
    assert spent is not None
    assert {(part.cause, part.step): part.seconds // 60 for part in spent.parts}[("waiting", step.id)] == over


def test_what_is_due_goes_on_by_itself_and_leaves_what_was_signed(
    plant: Plant, clock: SetClock, shift: Window
) -> None:
    _sign(plant, review_of(plant, shift))
    before = review_of(plant, shift)
    good = plant.start_procedure(who(plant, "SS"), "L1", "eyewash-weekly", "check").work
    number = plant.act(good, RaiseDeviation(text="water is brown"), who(plant, "AA"), key="failed").n
    hold = Dispose(deviation=number, decision="hold", reason="the plumber looks at it")
    plant.act(good, hold, who(plant, "SS"), key="hold")
    plant.act(good, Abandon(reason="plumber called"), who(plant, "AA"), key="off")
    review = review_of(plant, shift)
    assert review.summary.due != before.summary.due
    assert review.shown(TEXT) == review.summary  # the check itself was on in this shift: it reads differently
    assert review.changed
    _sign(plant, review_of(plant, shift), key="again")
    clock.advance(timedelta(days=1))
    again = plant.start_procedure(who(plant, "SS"), "L1", "eyewash-weekly", "check 2").work
    plant.act(again, RaiseDeviation(text="still brown"), who(plant, "AA"), key="failed 2")
    later = review_of(plant, shift)
    assert (later.changed, later.shown(TEXT)) == ((), later.signatures[-1].summary)
    assert later.summary.due != later.shown(TEXT).due
    assert later.shown("another text") is later.summary
