"""The scanner's ear: a code is known by its rhythm. No source is at hand for how fast scanners type; a millisecond
a character and 35 ms as the border between hands and scanners are common practice, no source.
"""

from hypothesis import given
from hypothesis import strategies as st
from textual import events

from floorterm.plant import Plant
from floorterm.terminal.app import FloorApp
from floorterm.terminal.scan import GAP_S, Fed, Key, ScanCollector
from tests.terminal.shell import opened, rows, until, until_top

_FAST_S, _SLOW_S = 0.001, 0.12
_PRINTABLE = st.characters(codec="ascii", categories=("L", "N", "P", "Z"))


def _typed(text: str, gap_s: float, begin: float = 10.0) -> list[Key]:
    return [Key(character, character, begin + i * gap_s) for i, character in enumerate(text)]


def _enter(at: float, key: str = "enter") -> Key:
    return Key(key, "\r", at)


def _feed(collector: ScanCollector, keys: list[Key]) -> tuple[list[Key], list[str]]:
    passed: list[Key] = []
    scanned: list[str] = []
    for key in keys:
        fed = collector.feed(key)
        passed += fed.keys
        scanned += [fed.scanned] if fed.scanned else []
    return passed, scanned


def _scan(text: str, begin: float = 10.0, enter: str = "enter") -> list[Key]:
    keys = _typed(text, _FAST_S, begin)
    return [*keys, _enter(keys[-1].at + _FAST_S, enter)]


def test_a_scan_is_one_text_and_no_key() -> None:
    assert _feed(ScanCollector(), _scan("OIL-NM-CLV")) == ([], ["OIL-NM-CLV"])


def test_a_line_feed_ends_a_scan_as_enter_does() -> None:
    assert _feed(ScanCollector(), _scan("OIL-NM-CLV", enter="ctrl+j"))[1] == ["OIL-NM-CLV"]


def test_what_hands_type_comes_through_in_order() -> None:
    keys = [*_typed("12345", _SLOW_S), _enter(11.0)]
    assert _feed(ScanCollector(), keys) == (keys, [])


def test_three_fast_characters_are_no_code() -> None:
    keys = _scan("AB1")
    assert _feed(ScanCollector(), keys) == (keys, [])


def test_a_key_held_down_is_no_code() -> None:
    keys = _scan("11111111")
    assert _feed(ScanCollector(), keys) == (keys, [])


def test_the_same_code_twice_within_two_seconds_is_one() -> None:
    collector = ScanCollector()
    assert _feed(collector, _scan("L1-CODE", 10.0))[1] == ["L1-CODE"]
    assert _feed(collector, _scan("L1-CODE", 11.5))[1] == []
    assert _feed(collector, _scan("L1-CODE", 20.0))[1] == ["L1-CODE"]
    assert _feed(collector, _scan("L2-CODE", 20.5))[1] == ["L2-CODE"]


def test_a_group_separator_stays_and_other_control_characters_fall_out() -> None:
    keys = _typed("0112", _FAST_S)
    keys += [Key("ctrl+right_square_bracket", "\x1d", keys[-1].at + _FAST_S)]
    keys += [Key("ctrl+b", "\x02", keys[-1].at + _FAST_S)]
    keys += _typed("10LOT", _FAST_S, keys[-1].at + _FAST_S)
    keys += [_enter(keys[-1].at + _FAST_S)]
    assert _feed(ScanCollector(), keys) == ([], ["0112\x1d10LOT"])


def test_an_arrow_lets_what_is_held_go_first() -> None:
    keys = [*_typed("12", _FAST_S), Key("down", None, 10.01)]
    assert _feed(ScanCollector(), keys) == (keys, [])


def test_what_nothing_follows_is_let_go_after_one_gap() -> None:
    collector = ScanCollector()
    (key,) = _typed("5", _FAST_S)
    assert collector.feed(key) == Fed()
    assert collector.quiet(key.at + GAP_S / 2) == ()
    assert collector.quiet(key.at + GAP_S) == (key,)
    assert not collector.holding


def test_without_a_gap_there_are_no_scans() -> None:
    keys = _scan("OIL-NM-CLV")
    assert _feed(ScanCollector(gap_s=0.0), keys) == (keys, [])


@given(st.text(_PRINTABLE, min_size=4, max_size=40).filter(lambda text: len(set(text)) > 1))
def test_every_fast_text_arrives_whole_whatever_was_typed_before(text: str) -> None:
    collector = ScanCollector()
    before = _typed("7", _SLOW_S, 1.0)
    passed, scanned = _feed(collector, [*before, *_scan(text)])
    assert (passed, scanned) == (before, [text])


@given(st.text(_PRINTABLE, max_size=30), st.floats(GAP_S + 0.001, 2.0))
def test_slow_keys_are_never_lost_or_reordered(text: str, gap_s: float) -> None:
    keys = _typed(text, gap_s)
    collector = ScanCollector()
    passed, scanned = _feed(collector, keys)
    assert (*passed, *collector.quiet(1e9)) == tuple(keys)
    assert scanned == []


# --- in the application -----------------------------------------------------------------------------


def _burst(app: FloorApp, text: str) -> None:
    for character in text:
        app.post_message(events.Key(character, character))
    app.post_message(events.Key("enter", "\r"))


async def test_a_scan_full_of_digits_presses_no_key_of_the_screen(plant: Plant) -> None:
    async with opened(plant, scan_gap_s=GAP_S) as (app, pilot):
        before = rows(app).chosen
        _burst(app, "22222-1")
        await until(pilot, lambda: "22222-1" in " ".join(app.screen.query_one("#notice").sentences))  # type: ignore[attr-defined]
        assert rows(app).chosen == before


async def test_a_scanned_line_is_chosen_and_a_scanned_fragrance_asks_before_it_starts(plant: Plant) -> None:
    code = plant.library.fragrances["juniper"].code
    async with opened(plant, scan_gap_s=GAP_S) as (app, pilot):
        assert len(code) >= 4
        _burst(app, code)
        await until_top(pilot, "StartChangeoverScreen")
        await until(pilot, lambda: app.screen.query_one("#confirm").display)
        assert plant.works() == ()


async def test_a_single_digit_still_chooses_after_the_gap(plant: Plant) -> None:
    async with opened(plant, scan_gap_s=GAP_S) as (app, pilot):
        await pilot.press("2")
        await until(pilot, lambda: rows(app).chosen == rows(app).rows[1])


async def test_a_scanned_badge_names_a_person_and_is_no_pin(plant: Plant) -> None:
    async with opened(plant, scan_gap_s=GAP_S) as (app, pilot):
        _burst(app, "BADGE-AA")
        await until_top(pilot, "SignInScreen")
        await until(pilot, lambda: "A. Abel" in app.screen.query_one("#pin-said").text)  # type: ignore[attr-defined]
        _burst(app, "BADGE-AA")
        await pilot.pause(0.05)
        assert app.session.person is None
        assert type(app.screen).__name__ == "SignInScreen"
