"""What a review shows of the demo plant's shifts, and that it is one value with one digest."""

import json
from datetime import timedelta
from decimal import Decimal

import pytest
from msgspec.structs import replace

from floorterm.changeover.minutes import minutes_spent
from floorterm.changeover.worksheet import Named
from floorterm.demo import open_still
from floorterm.entries import canonical, digest
from floorterm.plant import Plant
from floorterm.shift.summarise import summarise
from floorterm.shift.summary import (
    MinutesPart,
    Summary,
    differences,
    shown_digest,
    summary_from_json,
    summary_json,
)
from floorterm.shift.telling import more, part_text
from floorterm.shift.waterfall import shown_parts
from floorterm.shift.window import Window, window_named
from floorterm.shift_review import shift_states, shift_to_review, summary_of
from floorterm.wording import LANGUAGES, sentence

SHIFTS = ("2026-11-23/early", "2026-11-23/late", "2026-11-24/early")


@pytest.fixture(scope="module")
def still() -> Plant:
    """The demo plant on Tuesday at 14:22."""
    return open_still()


def _window(plant: Plant, key: str) -> Window:
    return window_named(plant.library.plant.shifts, key, plant.zone)


@pytest.fixture(scope="module")
def summaries(still: Plant) -> dict[str, Summary]:
    return {key: summary_of(still, _window(still, key)) for key in SHIFTS}


def test_the_shift_to_review_is_the_one_that_ended(still: Plant) -> None:
    assert shift_to_review(still).key == "2026-11-24/early"


def test_each_work_stands_in_every_shift_in_which_it_was_on(summaries: dict[str, Summary]) -> None:
    works = {key: [line.work for line in summary.works] for key, summary in summaries.items()}
    assert "C-0008" in works["2026-11-24/early"]
    assert "C-0001" in works["2026-11-23/early"]
    assert "C-0001" not in works["2026-11-23/late"]
    assert not set(works["2026-11-23/early"]) & set(works["2026-11-24/early"])


@pytest.mark.parametrize("key", SHIFTS)
def test_the_parts_of_every_changeover_add_up_also_where_small_ones_stand_together(
    summaries: dict[str, Summary], still: Plant, key: str
) -> None:
    ended = [line for line in summaries[key].works if line.minutes is not None]
    assert ended
    for line in ended:
        assert line.minutes is not None
        gap = line.minutes.actual_s - line.minutes.planned_s
        spent = minutes_spent(still.state(line.work), still.now())
        assert spent is not None
        assert gap == spent.gap_s
        for room in (3, 5, 99):
            shown = shown_parts(line.minutes.parts, room)
            assert len(shown) <= max(room, 1)
            assert sum(part.seconds for part in shown) == gap


def test_only_what_has_ended_has_minutes_so_that_nothing_hangs_on_the_clock(
    still: Plant, summaries: dict[str, Summary]
) -> None:
    summary = summaries["2026-11-24/early"]
    assert [line.work for line in summary.works if line.minutes is None and not line.procedure] == ["C-0011"]
    states = shift_states(still, _window(still, summary.shift))
    later = still.now() + timedelta(minutes=1)
    again = summarise(_window(still, summary.shift), states, summary.due, later)
    assert shown_digest(again, "x") == shown_digest(summary, "x")


def test_bars_and_kg_stand_against_those_computed(summaries: dict[str, Summary]) -> None:
    flush = next(line.flush for line in summaries["2026-11-24/early"].works if line.work == "C-0009")
    assert flush is not None
    assert (flush.computed_kg, flush.pushed_kg) == (Decimal(575), Decimal(575))
    # 575 kg of slugs of 120 g: 4,791.67, so 4,792 bars begin in it; the share of 479 in 575 kg is diverted as bars
    assert (flush.bars_pushed, flush.diverted_pushed_kg) == (4792, Decimal(479))


def test_what_is_missing_left_on_and_due_is_named(summaries: dict[str, Summary]) -> None:
    summary = summaries["2026-11-24/early"]
    assert [one.work for one in summary.sign_offs if one.sort == "open"] == ["C-0011"]
    (lockout,) = summary.lockouts
    assert (lockout.work, {lock.owner for lock in lockout.locks}) == ("C-0011", {"R. Ode"})
    assert all(lock.since < summary.until for lock in lockout.locks)
    assert {one.sort for one in summary.due} == {"review", "correction"}
    assert summaries["2026-11-23/early"].lockouts == ()


def test_the_digest_is_that_of_canonical_json_of_all_that_is_signed(summaries: dict[str, Summary]) -> None:
    summary = summaries["2026-11-24/early"]
    text = canonical({"summary": summary_json(summary), "handover": "line 1 is locked"})
    assert json.loads(text)["handover"] == "line 1 is locked"
    assert shown_digest(summary, "line 1 is locked") == digest(text)
    assert shown_digest(summary, "line 2 is locked") != digest(text)


@pytest.mark.parametrize("key", SHIFTS)
def test_an_entry_holds_the_summary_whole(summaries: dict[str, Summary], key: str) -> None:
    written = json.loads(canonical(summary_json(summaries[key])))
    assert summary_from_json(written) == summaries[key]
    assert shown_digest(summary_from_json(written), "") == shown_digest(summaries[key], "")


def test_a_difference_says_what_it_is_in_every_language(summaries: dict[str, Summary]) -> None:
    old = summaries["2026-11-24/early"]
    first, *rest = old.works
    cases = {
        "diff_work": replace(old, works=(replace(first, status="open"), *rest)),
        "diff_deviation": replace(old, deviations=old.deviations[1:]),
        "diff_sign_off": replace(old, sign_offs=old.sign_offs[1:]),
        "diff_lockout": replace(old, lockouts=()),
        "diff_due": replace(old, due=old.due[1:]),
        "diff_hours": replace(old, until="2026-11-24T15:00:00-07:00"),
    }
    assert differences(old, old) == ()
    for key, new in cases.items():
        (said,) = differences(old, new)
        assert said.key == f"shift.{key}"
        assert differences(new, old) == (said,)
        assert all(sentence(said, language) for language in LANGUAGES)
    assert differences(old, cases["diff_due"], dues=False) == ()


def test_the_next_sign_off_of_a_work_that_goes_on_is_no_difference_but_its_end_is(
    summaries: dict[str, Summary],
) -> None:
    """Else nobody could sign a shift while a line works: somebody signs a step every minute."""
    old = summaries["2026-11-24/early"]
    *rest, going = old.works
    late, still_open = old.sign_offs
    assert (going.work, still_open.sort, late.sort) == ("C-0011", "open", "late")
    assert going.flush is not None
    pushed = replace(going, flush=replace(going.flush, pushed_kg=Decimal(90), bars_pushed=750))
    assert (
        differences(
            old,
            replace(old, works=(*rest, pushed), sign_offs=(late, replace(still_open, n=still_open.n - 1))),
        )
        == ()
    )
    revised = replace(going, flush=replace(going.flush, required_kg=Decimal(1000)))
    for other in (revised, replace(going, status="released", ended=old.until)):
        (said,) = differences(old, replace(old, works=(*rest, other)))
        assert said.facts == {"which": "C-0011"}


def test_small_parts_are_told_by_section(summaries: dict[str, Summary]) -> None:
    """78 steps of C-0009 were each less than a minute over: 11.5 min of 28 that must not be a line without a name."""
    line = next(one.minutes for one in summaries["2026-11-24/early"].works if one.work == "C-0009")
    assert line is not None
    small = [part for part in line.parts if part.cause == "small"]
    assert sum(part.n for part in small) == 78
    *named, rest = small
    assert {part.step for part in named} >= {"strip-down-1", "first-article"}
    assert all(abs(part.seconds) >= 60 and part.text for part in named)
    assert (rest.step, part_text(rest, "en")) == ("", f"{rest.n} parts of less than a minute each")
    assert part_text(named[0], "en") == "9 parts of less than a minute each: Strip-down and screen cleaning"


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_cause_has_words(language: str) -> None:
    from typing import get_args

    from floorterm.changeover.minutes import Lost

    step = Named(id="s", name={"en": "Open it."})
    texts = {
        part_text(MinutesPart(cause=cause, seconds=seconds, text=text, step="s" if text else ""), language)
        for cause in (*get_args(Lost), "small")
        for seconds in (-90, 90)
        for text in (step.name, {})
    }
    assert all(texts)
    assert more(0) == "0:00"
    assert (more(63), more(-1010)) == ("+1:03", "-16:50")
