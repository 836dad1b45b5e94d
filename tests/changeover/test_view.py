"""What a screen says about a piece of work, without a screen: the view, the list, the entry that a step asks."""

import re
from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from floorterm.changeover.acts import Abandon, LockoutAct, Pause, PushFlush, RaiseDeviation, Release, SignStep
from floorterm.changeover.entering import (
    Given,
    Speaker,
    act_of,
    counter_of,
    echo,
    entry_spec,
    limit_text,
    total_kg,
)
from floorterm.changeover.fold import apply, fold
from floorterm.changeover.rules import may
from floorterm.changeover.state import State
from floorterm.changeover.view import WorkView, checklist, view
from floorterm.changeover.view_words import grouped, kg, number, span
from floorterm.changeover.worksheet import FlushNote, LimitCandidate, Step, Worksheet
from floorterm.lockout.model import Event
from floorterm.lockout.state import LockOn
from floorterm.people import Person
from tests.changeover import sheets
from tests.changeover.sheets import IVER, ODE, PELL, ROOK, TAMM, Record, confirm, finished, good_entry, locked

EN, ES = Speaker(language="en"), Speaker(language="es")
NOTE = FlushNote(
    status="ok",
    required_kg=Decimal(412),
    bars=3434,
    diverted_kg=Decimal(344),
    minutes=14,
    limit=Decimal("0.01"),
    governing=LimitCandidate(
        criterion="allergen_label", item="Eugenol", limit=Decimal("0.01"), source="s", outgoing="clove"
    ),
    candidates=(),
    evidence="estimated",
    measured=(),
    assumed=("plodder",),
    warnings=(),
    line_model={"units": []},
    rate_kg_h=Decimal(1800),
    slug_g=Decimal(120),
)


def with_flush() -> Worksheet:
    return replace(sheets.changeover(flush_kg="412"), flush=NOTE)


def shown(record: Record, person: Person | None = ODE, language: str = "en", **more: object) -> WorkView:
    return view(record.state, person, record.now, language, **more)  # type: ignore[arg-type]


def step_of(seen: WorkView) -> str:
    assert seen.step is not None
    return seen.step.id


# --- heading ------------------------------------------------------------------------------------------


def test_the_heading_says_what_is_changed_over_and_how_far_it_is() -> None:
    seen = shown(Record().sign("prep/stop"))
    assert (seen.line, seen.title) == ("Line 1", "Clove > Plain")
    count = len(list(sheets.changeover().steps()))
    assert seen.progress == f"step 2 of {count}, 1 done"
    assert (seen.number, seen.done, seen.count) == (2, 1, count)


def test_a_procedure_is_headed_by_its_name() -> None:
    assert shown(Record(sheets.procedure())).title == "Jam"


def test_work_that_was_given_up_is_at_no_step() -> None:
    record = Record().sign("prep/stop").do(Abandon(reason="no noodles"), PELL)
    assert shown(record).progress == f"1 of {shown(record).count} steps done"


def test_the_clock_starts_anew_at_the_last_good_bar() -> None:
    record = Record().wait(12)
    assert shown(record).clock.text.startswith("started 0:12 ago, the line still runs")
    record.sign("prep/stop").wait(7)
    assert shown(record).clock.text.startswith("0:07 since the last good bar")


def test_minutes_beyond_the_standard_are_said_in_words() -> None:
    sheet = sheets.changeover()
    section = sheet.sections[0]
    slow = replace(section, steps=(*section.steps[:1], replace(section.steps[1], standard_min=Decimal(9))))
    record = Record(replace(sheet, sections=(slow,), jobs=())).sign("prep/stop").wait(9)
    assert shown(record).clock.over_min == 0
    seen = shown(record.wait(6)).clock
    assert (seen.minutes, seen.standard_min, seen.over_min) == (15, 9, 6)
    assert seen.text == "0:15 since the last good bar, standard 0:09, 6 min over"


def test_an_ended_work_no_longer_counts_minutes() -> None:
    record = Record().sign("prep/stop").do(Abandon(reason="no noodles"), PELL)
    assert shown(record).clock == shown(record.wait(500)).clock


def test_locks_are_named_with_their_owners_and_what_other_works_have_on() -> None:
    record = locked().join(TAMM)
    seen = shown(record).locks
    assert seen.text == "locks on: R. Ode 2, M. Tamm 2"
    assert (seen.count, seen.own) == (4, 2)
    other = LockOn(line="L1", point="V1", lock="17", owner="X", owner_name="J. Pell")
    assert shown(record, elsewhere=(other,)).locks.text.endswith("; other work: J. Pell 1")
    assert shown(record, elsewhere=(replace(other, line="L2"),)).locks.text == seen.text
    assert shown(Record()).locks.text == "locks on: none"


# --- the step -----------------------------------------------------------------------------------------


def full_step() -> Step:
    return replace(
        confirm("prep/stop", duty="operator", witness="quality", critical="safety"),
        kind="reading",
        unit="bar",
        low=Decimal("0.2"),
        high=Decimal("0.5"),
        why={"en": "because of it"},
        caution={"en": "hot"},
        ppe=({"en": "gloves"}, {"en": "shield"}),
        standard_min=Decimal(3),
    )


def full() -> Record:
    sheet = sheets.changeover()
    prep = replace(sheet.sections[0], steps=(full_step(), *sheet.sections[0].steps[1:]))
    return Record(replace(sheet, sections=(prep, *sheet.sections[1:])))


def test_the_step_carries_everything_that_a_hand_needs_to_know() -> None:
    step = shown(full().wait(5)).step
    assert step is not None
    assert (step.text, step.why, step.caution, step.wear) == (
        "Do prep/stop",
        "because of it",
        "hot",
        "gloves, shield",
    )
    assert step.limit == "0.2 to 0.5 bar"
    assert step.time_text == "5 min on it, standard 3, 2 over"
    assert step.late
    assert (step.duty, step.witness, step.witness_id) == ("operator", "quality", "quality")
    assert step.pin
    assert not step.refusals, "the witness is asked for after the step"


def test_duties_are_called_as_the_plant_calls_them() -> None:
    duties = {"operator": {"en": "line operator", "es": "operador"}}
    step = shown(full(), language="es", duties=duties).step
    assert step is not None
    assert step.duty == "operador"


def test_a_text_without_reviewed_translation_is_marked() -> None:
    assert full_step().why.keys() == {"en"}
    spanish, english = shown(full(), language="es").step, shown(full()).step
    assert spanish is not None
    assert english is not None
    assert (spanish.draft, english.draft) == (True, False)
    assert spanish.text == "Haga prep/stop"
    assert spanish.why == "because of it", "English stands where nothing else does"


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        ("38", "45", "38 to 45 C"),
        (None, "45", "at most 45 C"),
        ("0.5", None, "at least 0.5 C"),
        ("0", "0", "exactly 0 C"),
        (None, None, ""),
    ],
)
def test_limits_are_said_in_words(low: str | None, high: str | None, words: str) -> None:
    step = confirm("a/b", kind="reading", unit="C", low=low and Decimal(low), high=high and Decimal(high))
    assert limit_text(step, "en") == words


def test_a_step_under_a_lockout_says_whose_lock_is_missing_and_by_which_rule() -> None:
    record = locked()
    step = shown(record, TAMM, at="screen/pull").step
    assert step is not None
    rules = " ".join(refusal.rule for refusal in step.refusals)
    assert "1910.147(d)(4)(i)" in rules
    assert "1910.147(d)(6)" in rules
    assert any("Main disconnect" in refusal.text for refusal in step.refusals)
    assert step.under_lockout
    mine = shown(record, ODE, at="screen/pull").step
    assert mine is not None
    assert not mine.refusals


def test_without_a_person_only_what_keeps_everybody_is_refused() -> None:
    seen = shown(Record(), None)
    assert step_of(seen) == "prep/stop"
    assert seen.step is not None
    assert not seen.step.refusals
    waiting = shown(Record(), None, at="prep/nose").step
    assert waiting is not None
    assert [refusal.text for refusal in waiting.refusals] == ["First: Do prep/stop"]


def test_a_step_chosen_from_the_list_is_shown_instead_of_the_proposed_one() -> None:
    record = Record().sign("prep/stop")
    assert step_of(shown(record, at="prep/label")) == "prep/label"
    assert step_of(shown(record, at="prep/stop")) == step_of(shown(record)), (
        "a signed step is not shown again"
    )


def test_a_wait_says_until_when() -> None:
    record = Record().sign("prep/stop").sign("prep/nose")
    step = shown(record, at="prep/cool").step
    assert step is not None
    assert step.limit == "wait 10 min, over at 08:12"
    assert step.wait_until == "08:12"
    assert step.refusals
    over = shown(record.wait(10), at="prep/cool").step
    assert over is not None
    assert not over.refusals


# --- around the step ----------------------------------------------------------------------------------


def test_the_step_before_stands_with_its_value_time_and_name() -> None:
    record = Record().sign("prep/stop").sign("prep/nose", number="41.2")
    before = shown(record).before
    assert before is not None
    assert (before.value, before.time, before.name) == ("41.2 C", "08:02", "R. Ode")
    assert not before.outside
    outside = shown(Record().sign("prep/stop").sign("prep/nose", number="46")).before
    assert outside is not None
    assert outside.outside


def test_what_comes_next_is_the_step_that_this_one_frees() -> None:
    seen = shown(Record().sign("prep/stop"), at="prep/nose")
    assert seen.after is not None
    assert seen.after.id == "prep/cool"


def test_others_in_the_middle_of_a_section_stand_beside() -> None:
    record = Record().sign("prep/stop").sign("clear/old", TAMM)
    assert shown(record).beside == ("Line clearance: M. Tamm is at step 2 of 2",)


def test_deviations_that_wait_are_listed_with_who_found_what() -> None:
    record = Record().do(RaiseDeviation(text="a drip under the pump"), ODE)
    (line,) = shown(record).deviations
    assert "a drip under the pump" in line
    assert "R. Ode" in line


def test_the_flush_line_says_kg_bars_minutes_and_what_decides() -> None:
    """412 kg at 120 g a slug are 3,433.3 bars, at 1,800 kg/h 13.7 minutes: both rounded up."""
    seen = shown(Record(with_flush())).flush
    assert seen is not None
    assert seen.left_text == "still to flush 412 kg"
    assert seen.text == "flush 412 kg = 3,434 bars = 14 min; Eugenol on the label decides"


def test_a_flush_under_way_counts_what_is_left() -> None:
    record = Record(with_flush()).force(PushFlush(step="flush/push", kg=Decimal(400)))
    seen = shown(record).flush
    assert seen is not None
    assert seen.text.startswith("12 kg to go = 100 bars = 1 min")
    step = shown(record, at="flush/push").step
    assert step is not None
    assert step.flush is not None
    assert step.flush.text == "400 of 412 kg pushed"
    assert step.flush.share == pytest.approx(400 / 412)


# --- banners and the end ------------------------------------------------------------------------------


def test_paused_work_says_since_when_and_why() -> None:
    record = Record().do(Pause(reason="fire drill"), PELL)
    (banner,) = shown(record).banners
    assert "08:01: fire drill" in banner.text
    assert banner.level == "caution"


def test_a_reading_that_is_not_zero_stands_above_everything() -> None:
    record = locked().sign("screen/pull").lockout("monitor", ODE, "V1", result="not_zero")
    assert any(banner.level == "danger" and "NOT ZERO" in banner.text for banner in shown(record).banners)


def test_a_repeat_reading_is_announced_and_then_missed() -> None:
    record = locked().sign("screen/pull")
    quiet = [banner.level for banner in shown(record).banners]
    assert quiet == ["notice"], "only that the person is at work"
    assert "read again by" in shown(record.wait(16)).banners[0].text
    assert "is missing" in shown(record.wait(5)).banners[0].text


def test_locks_left_on_an_abandoned_work_are_a_danger() -> None:
    record = locked().do(Abandon(reason="evacuated"), PELL)
    assert [banner.level for banner in shown(record).banners] == ["notice", "danger"]
    assert shown(record).step is None
    assert shown(record).finish is None


def test_when_every_step_stands_it_says_who_releases() -> None:
    record = finished()
    operator, supervisor = shown(record).finish, shown(record, PELL).finish
    assert operator is not None
    assert supervisor is not None
    assert operator.who == "Release is for: supervisor"
    assert (operator.ready, supervisor.ready) == (False, True)
    assert any("supervisor" in refusal.text for refusal in operator.refusals)
    assert shown(record.do(Release(), PELL)).finish is None


# --- whole records ------------------------------------------------------------------------------------


def prefixes() -> list[State]:
    """The state after every entry of a finished changeover."""
    entries = finished().entries
    state = fold("C-0001", entries[:1])
    found = [state]
    for entry in entries[1:]:
        state = apply(state, entry)
        found.append(state)
    return found


PREFIXES = prefixes()


@pytest.mark.parametrize(
    "person", [ODE, TAMM, PELL, IVER, ROOK, None], ids=lambda one: one.code if one else "nobody"
)
def test_what_the_view_does_not_refuse_may_be_signed_and_what_it_refuses_may_not(
    person: Person | None,
) -> None:
    checked = 0
    for state in PREFIXES:
        now = state.last_at + timedelta(seconds=30)
        seen = view(state, person, now, "en")
        if seen.step is None or person is None:
            continue
        step = state.worksheet.step(seen.step.id)
        assert step is not None
        refusals = may(state, good_entry(state, step, person), person, now)
        refusals = tuple(one for one in refusals if one.say.key != "changeover.witness_missing")
        assert bool(refusals) == seen.step.refused, (step.id, refusals)
        checked += 1
    assert checked > 30 or person is None


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_view_ever_says_that_something_is_safe(language: str) -> None:
    claims = re.compile(
        r"\b(is|are|now) safe\b|\bsafe to\b|\bes(tá)? segur[oa]\b|\bsin peligro\b", re.IGNORECASE
    )
    for state in PREFIXES:
        text = repr(view(state, ODE, state.last_at, language))
        assert not claims.search(text)


def test_equal_states_give_equal_views_so_that_nothing_is_repainted() -> None:
    for state in PREFIXES[::5]:
        assert view(state, ODE, state.last_at, "en") == view(state, ODE, state.last_at, "en")


def test_the_list_has_every_step_with_one_mark_in_words() -> None:
    for state in PREFIXES[::4]:
        rows = checklist(state, ODE, state.last_at, "en")
        steps = [row for row in rows if row.mark != "section"]
        assert [row.id for row in steps] == [step.id for step in state.worksheet.steps()]
        assert all(row.word for row in steps)
        assert sum(row.mark == "now" for row in steps) <= 1
        assert {row.id for row in steps if row.mark == "done"} == set(state.signed)


# --- entering -----------------------------------------------------------------------------------------


def test_each_kind_of_step_asks_in_its_own_way() -> None:
    state = locked().state
    modes = {step.id: entry_spec(state, step, EN).mode for step in state.worksheet.steps()}
    assert modes["prep/stop"] == "counter"
    assert modes["prep/nose"] == "number"
    assert modes["prep/label"] == "code"
    assert modes["prep/why"] == "text"
    assert modes["prep/cool"] == "none"
    assert modes["screen/look"] == "one"
    assert modes["flush/push"] == "kg"
    assert modes["screen-lock/notify"] == "some"
    assert modes["screen-lock/isolate-D1"] == "none"
    assert modes["screen-lock/lock-D1"] == "code"
    assert modes["screen-lock/verify"] == "one"
    assert modes["screen-unlock/lock-off-D1"] == "none"


def test_findings_are_never_chosen_beforehand() -> None:
    record = locked().walk("screen/pull")
    for step_id in ("screen-lock/verify", "screen-unlock/inspect", "screen-unlock/account", "screen/look"):
        step = record.state.worksheet.step(step_id)
        assert step is not None
        spec = entry_spec(record.state, step, EN)
        assert spec.options
        assert not spec.chosen, step_id


def test_a_decimal_comma_becomes_a_point_in_the_record() -> None:
    state = Record().state
    step = state.worksheet.step("prep/nose")
    assert step is not None
    assert act_of(state, step, ODE, Given(text=" 41,2 ")) == SignStep(step="prep/nose", number="41.2")


@pytest.mark.parametrize(
    ("text", "level"),
    [("41,2", "ok"), ("45", "ok"), ("45.1", "outside"), ("-3", "outside"), ("1e3", "bad"), ("", "")],
)
def test_the_answer_while_typing_says_whether_the_limit_is_kept(text: str, level: str) -> None:
    state = Record().state
    step = state.worksheet.step("prep/nose")
    assert step is not None
    assert echo(state, step, Given(text=text), "en").level == level


def test_a_total_below_the_requirement_is_a_running_total_and_above_it_a_signature() -> None:
    state = Record(with_flush()).state
    step = state.worksheet.step("flush/push")
    assert step is not None
    assert act_of(state, step, ODE, Given(text="411,9")) == PushFlush(step="flush/push", kg=Decimal("411.9"))
    assert act_of(state, step, ODE, Given(text="412")) == SignStep(step="flush/push", kg=Decimal(412))
    assert act_of(state, step, ODE, Given()) == SignStep(step="flush/push", kg=None)


def test_bars_and_minutes_count_as_line_mass_rounded_down() -> None:
    """One slug of 120 g a bar; 1,800 kg an hour: 3,433 bars are 411.96 kg, 13.73 minutes 411.9 kg."""
    assert total_kg(NOTE, Given(text="3433", measure="bars")) == Decimal("411.9")
    assert total_kg(NOTE, Given(text="13,73", measure="minutes")) == Decimal("411.9")
    assert total_kg(None, Given(text="13", measure="bars")) is None
    assert total_kg(NOTE, Given(text="x", measure="bars")) is None


def test_a_lock_comes_off_with_its_number_from_the_record() -> None:
    record = locked()
    step = record.state.worksheet.step("screen-unlock/lock-off-D1")
    assert step is not None
    assert act_of(record.state, step, ODE, Given()) == SignStep(step=step.id, lock="ODE-D1")
    assert act_of(record.state, step, TAMM, Given()) == SignStep(step=step.id)


@given(st.text(max_size=14))
def test_a_counter_is_digits_and_nothing_else(text: str) -> None:
    counter = counter_of(text)
    tidy = text.strip()
    assert (counter is not None) == bool(re.fullmatch(r"[0-9]{1,12}", tidy))
    assert counter is None or counter == int(tidy)


def test_numbers_are_written_as_each_language_writes_them() -> None:
    assert (number("41.2", "en"), number("41.2", "es")) == ("41.2", "41,2")
    assert (grouped(3434, "en"), grouped(3434, "es")) == ("3,434", "3 434")
    assert (kg(Decimal("412.50"), "en"), kg(Decimal("412.00"), "en")) == ("412.5", "412")
    assert (span(47), span(125)) == ("0:47", "2:05")


def test_a_lockout_event_beside_the_steps_shows_in_the_view() -> None:
    record = locked().sign("screen/pull")
    before = shown(record).banners
    record.do(LockoutAct(job="screen", event=Event.WORK_END), ODE)
    assert [banner.text for banner in before] != [banner.text for banner in shown(record).banners]
