"""PINs: rules, waits after wrong ones, one-time PINs, what a blocked PIN reports."""

from datetime import timedelta
from itertools import count

import pytest
from hypothesis import given
from hypothesis import strategies as st

from floorterm.ledger import (
    CHEAP_PROFILE,
    DEFAULT_PROFILE,
    Ledger,
    OneTimePinError,
    PinBlockedError,
    PinError,
    PinOffError,
    PinProfile,
    PinRuleError,
    UnknownPersonError,
    WrongPinError,
    pins,
)
from tests.ledger.conftest import OPERATOR, PIN, Clock, note

WRONG = "000001"


def _try(ledger: Ledger, code: str = "P01", pin: str = WRONG, terminal: str = "") -> type[PinError] | None:
    try:
        ledger.check_pin(code, pin, terminal)
    except PinError as fault:
        return type(fault)
    return None


def test_the_default_cost_is_owasps_minimum() -> None:
    # OWASP Password Storage Cheat Sheet: Argon2id with 19 MiB, two iterations, one degree of parallelism
    assert PinProfile(memory_kib=19456, passes=2, lanes=1) == DEFAULT_PROFILE


def test_a_hash_is_argon2id_with_a_salt_of_its_own() -> None:
    first, second = (pins.hash_pin("908172", CHEAP_PROFILE) for _ in range(2))
    assert first != second
    assert first.startswith("$argon2id$v=19$m=8,t=1,p=1$")
    assert pins.matches(first, "908172")
    assert not pins.matches(first, "908173")


def test_the_right_pin_says_who_it_is(ledger: Ledger) -> None:
    assert ledger.check_pin("P01", PIN, "T1") == OPERATOR


def test_an_unknown_code_is_said(ledger: Ledger) -> None:
    with pytest.raises(UnknownPersonError):
        ledger.check_pin("X9", PIN, "T1")


def test_waits_are_thirty_seconds_doubling_to_fifteen_minutes() -> None:
    waits = [pins.wait_after(failures).total_seconds() for failures in range(1, 13)]
    assert waits == [0, 0, 0, 0, 30, 60, 120, 240, 480, 900, 900, 900]
    assert pins.wait_after(10**6) == timedelta(minutes=15)


def test_five_wrong_pins_are_free_and_the_sixth_must_wait(ledger: Ledger, clock: Clock) -> None:
    for left in (4, 3, 2, 1):
        with pytest.raises(WrongPinError) as caught:
            ledger.check_pin("P01", WRONG)
        assert caught.value.say.facts["n"] == left
    assert _try(ledger) is WrongPinError
    with pytest.raises(PinBlockedError) as blocked:
        ledger.check_pin("P01", PIN)
    assert blocked.value.until == clock.at + timedelta(seconds=30)
    clock.advance(29.9)
    assert _try(ledger, pin=PIN) is PinBlockedError
    clock.advance(0.1)
    assert _try(ledger) is WrongPinError
    clock.advance(59)
    assert _try(ledger, pin=PIN) is PinBlockedError
    clock.advance(1)
    assert ledger.check_pin("P01", PIN) == OPERATOR
    assert [_try(ledger) for _ in range(5)] == [WrongPinError] * 5


def test_a_blocked_try_is_not_counted(ledger: Ledger, clock: Clock) -> None:
    for _ in range(5):
        _try(ledger)
    for _ in range(10):
        assert _try(ledger) is PinBlockedError
    clock.advance(30)
    assert _try(ledger, pin=PIN) is None


def test_the_counter_survives_a_restart(ledger: Ledger, clock: Clock) -> None:
    for _ in range(5):
        _try(ledger)
    again = Ledger.open(ledger.path, clock=clock)
    with pytest.raises(PinBlockedError):
        again.check_pin("P01", PIN)


def test_one_persons_wait_is_nobody_elses(ledger: Ledger) -> None:
    for _ in range(5):
        _try(ledger, terminal="T1")
    assert _try(ledger, "P02", PIN, "T1") is None


def test_a_terminal_waits_after_twenty_wrong_pins_of_anybody(ledger: Ledger, clock: Clock) -> None:
    for code in ("P01", "P02", "S01", "A01"):
        for _ in range(5):
            assert _try(ledger, code, terminal="T1") is WrongPinError
    clock.advance(10)
    with pytest.raises(PinBlockedError) as caught:
        ledger.check_pin("P01", PIN, "T1")
    assert caught.value.until == clock.at + timedelta(seconds=20)
    clock.advance(20)
    assert _try(ledger, "P01", PIN, "T1") is None


def test_a_clock_that_is_set_back_makes_nobody_wait_longer_than_the_wait(
    ledger: Ledger, clock: Clock
) -> None:
    for _ in range(5):
        _try(ledger)
    clock.advance(-86400)
    with pytest.raises(PinBlockedError) as caught:
        ledger.check_pin("P01", PIN)
    assert caught.value.until == clock.at + timedelta(seconds=30)
    clock.advance(30)
    assert _try(ledger, pin=PIN) is None


def test_twenty_in_a_row_are_told_and_a_hundred_switch_the_pin_off(ledger: Ledger, clock: Clock) -> None:
    # NIST SP 800-63B, 5.2.2: no more than 100 consecutive failed attempts on one account
    for number in count(1):
        if _try(ledger, terminal=f"T{number}") is PinOffError:
            break
        clock.advance(900)
    assert number == 101
    burst, off = ledger.entries(kinds=["pin.burst", "pin.off"])
    assert (burst.kind, burst.value, burst.terminal) == ("pin.burst", {"code": "P01", "failures": 20}, "T20")
    assert (off.kind, off.value, off.person) == ("pin.off", {"code": "P01", "failures": 100}, "")
    assert _try(ledger, pin=PIN) is PinOffError
    pin = ledger.reset_pin("P01", by="S01")
    assert _try(ledger, pin=pin) is OneTimePinError


def test_a_blocked_pin_reports_and_stops_no_entry_by_itself(ledger: Ledger) -> None:
    for _ in range(6):
        _try(ledger)
    entry = ledger.append(note("k", identity="unconfirmed", kind="lockout.event"))
    assert (entry.person, entry.identity) == ("P01", "unconfirmed")


def test_a_one_time_pin_opens_nothing_but_the_choice_of_another(ledger: Ledger) -> None:
    pin = ledger.reset_pin("P01", by="S01")
    assert len(pin) == 6
    assert _try(ledger, pin=PIN) is WrongPinError
    assert _try(ledger, pin=pin) is OneTimePinError
    ledger.change_pin("P01", pin, "908172", terminal="T1")
    assert ledger.check_pin("P01", "908172") == OPERATOR
    assert _try(ledger, pin=pin) is WrongPinError


def test_changing_a_pin_needs_the_old_one_and_another_new_one(ledger: Ledger) -> None:
    with pytest.raises(WrongPinError):
        ledger.change_pin("P01", WRONG, "908172")
    for new, key in ((PIN, "ledger.pin_same"), ("123456", "ledger.pin_easy"), ("12345", "ledger.pin_length")):
        with pytest.raises(PinRuleError) as caught:
            ledger.change_pin("P01", PIN, new)
        assert caught.value.say.key == key
    assert ledger.check_pin("P01", PIN) == OPERATOR


def test_hashes_follow_the_parameters_at_the_next_sign_in(ledger: Ledger, clock: Clock) -> None:
    dearer = Ledger.open(ledger.path, clock=clock, pin_profile=PinProfile(memory_kib=16, passes=2))
    hashes = []
    for opened in (ledger, dearer, dearer):
        opened.check_pin("P01", PIN)
        hashes.append(_phc(ledger))
    assert "m=8,t=1" in hashes[0]
    assert "m=16,t=2" in hashes[1]
    assert hashes[1] == hashes[2]


def _phc(ledger: Ledger) -> str:
    found: list[str] = []
    ledger.unit_of_work(
        lambda transaction: found.append(
            transaction.connection.exec_driver_sql("SELECT phc FROM pins WHERE code = 'P01'").scalar_one()
        )
    )
    return found[0]


@pytest.mark.parametrize(
    ("pin", "key"),
    [
        ("12345", "ledger.pin_length"),
        ("1234567890123", "ledger.pin_length"),
        ("12345a", "ledger.pin_length"),
        ("١٢٣٤٥٦", "ledger.pin_length"),  # digits, but none that a keypad has
        ("", "ledger.pin_length"),
        ("123456", "ledger.pin_easy"),
        ("987654", "ledger.pin_easy"),
        ("890123", "ledger.pin_easy"),
        ("111111", "ledger.pin_easy"),
        ("121212", "ledger.pin_easy"),
        ("123123", "ledger.pin_easy"),
        ("240685", "ledger.pin_easy"),  # 24 June 1985
        ("062485", "ledger.pin_easy"),  # the same, month first
        ("850624", "ledger.pin_easy"),  # the same, year first
        ("24061985", "ledger.pin_easy"),
        ("19850624", "ledger.pin_easy"),
        ("471199", "ledger.pin_code"),
    ],
)
def test_easy_pins_are_refused_each_with_its_reason(pin: str, key: str) -> None:
    with pytest.raises(PinRuleError) as caught:
        pins.check_rules(pin, "E471199")
    assert caught.value.say.key == key


@given(st.integers(0, 999_999))
def test_an_issued_pin_keeps_the_rules_whatever_is_drawn_first(first: int) -> None:
    draws = iter((first, 123_456, 908_172))
    pin = pins.issue_pin("P01", lambda below: next(draws))
    pins.check_rules(pin, "P01")
    assert len(pin) == 6


def test_most_pins_are_left_to_choose_from() -> None:
    allowed = 0
    for number in range(0, 10**6, 97):
        try:
            pins.check_rules(f"{number:06d}", "P01")
        except PinRuleError:
            continue
        allowed += 1
    assert allowed > 0.85 * 10**6 / 97
