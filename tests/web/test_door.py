"""Who may come in through the browser: addresses, names, tries and sessions, on a clock of the test's own."""

import pytest

from floorterm.web.door import (
    LONGEST_S,
    OPENINGS,
    WITHIN_S,
    Sessions,
    Tries,
    is_known_host,
    is_loopback,
    origin_of,
    source,
)


class Clock:
    """Seconds that a test moves."""

    def __init__(self) -> None:
        self.s = 1000.0

    def __call__(self) -> float:
        return self.s


def test_wrong_tries_cost_what_the_ledger_makes_them_cost_and_a_right_one_ends_it() -> None:
    clock = Clock()
    tries = Tries(clock)
    waits = []
    for _ in range(12):
        waits.append(tries.wait_s("10.0.0.7"))
        clock.s += waits[-1]
        tries.count("10.0.0.7")
    assert waits == [0, 0, 0, 0, 0, 30, 60, 120, 240, 480, 900, 900]
    assert tries.wait_s("10.0.0.8") == 0
    tries.forget("10.0.0.7")
    assert tries.wait_s("10.0.0.7") == 0


def test_one_network_of_ipv6_is_one_address() -> None:
    tries = Tries(Clock())
    for last in range(5):
        tries.count(f"2001:db8::{last}")
    assert tries.wait_s("2001:db8::ffff") == 30
    assert tries.wait_s("2001:db8:0:1::1") == 0


@pytest.mark.parametrize(
    ("peer", "forwarded", "proxy", "is_from"),
    [
        ("10.0.0.7", "", False, "10.0.0.7"),
        ("::ffff:10.0.0.7", "", False, "10.0.0.7"),
        ("127.0.0.1", "10.0.0.9", False, "127.0.0.1"),  # nobody said that there is a proxy
        ("127.0.0.1", "1.2.3.4, 10.0.0.9", True, "10.0.0.9"),  # what stands before was the visitor's own word
        ("127.0.0.1", "rubbish", True, "127.0.0.1"),
        ("10.0.0.7", "10.0.0.9", True, "10.0.0.7"),  # a visitor who goes round the proxy
    ],
)
def test_where_a_request_comes_from(peer: str, forwarded: str, proxy: bool, is_from: str) -> None:
    assert source(peer, forwarded, behind_proxy=proxy) == is_from


def test_what_only_this_machine_reaches() -> None:
    assert [host for host in ("127.0.0.1", "127.8.8.8", "::1", "localhost") if not is_loopback(host)] == []
    assert [host for host in ("0.0.0.0", "::", "10.0.0.7", "floor", "") if is_loopback(host)] == []


def test_a_request_for_another_name_was_not_meant_for_this_machine() -> None:
    known = {"Floor1"}
    for host in ("127.0.0.1:8080", "[::1]:8080", "localhost", "floor1:8080", "FLOOR1", "10.0.0.7"):
        assert is_known_host(host, known), host
    for host in ("stranger.example:8080", "", "floor1.stranger.example", "[", "localhost.stranger.example"):
        assert not is_known_host(host, known), host


def test_only_web_addresses_have_an_origin() -> None:
    assert origin_of("https://Floor.example/x") == "https://floor.example"
    assert origin_of("http://floor.example:8080") == "http://floor.example:8080"
    assert [url for url in ("floor.example", "ftp://floor.example", "https://", "") if origin_of(url)] == []


def test_a_session_ends_when_nobody_touches_it_and_after_half_a_day_in_any_case() -> None:
    clock = Clock()
    sessions = Sessions(clock, idle_s=600)
    token = sessions.begin("AA", "A. Abel", "10.0.0.7")
    clock.s += 599
    session = sessions.of(token)
    assert session is not None
    sessions.touch(session)
    clock.s += 599
    assert sessions.of(token) is session
    clock.s += 1
    assert sessions.of(token) is None
    busy = sessions.of(busily := sessions.begin("AA", "A. Abel", "10.0.0.7"))
    assert busy is not None
    while clock.s - busy.begun_at < LONGEST_S:
        assert sessions.of(busily) is busy
        sessions.touch(busy)
        clock.s += 500
    assert sessions.of(busily) is None


def test_no_two_tokens_are_alike_and_none_is_kept_as_it_is() -> None:
    sessions = Sessions(Clock(), idle_s=600)
    tokens = {sessions.begin("AA", "A. Abel", "10.0.0.7") for _ in range(20)}
    assert len(tokens) == 20
    assert min(map(len, tokens)) >= 43  # 32 random bytes
    assert not any(token in repr(vars(sessions)) for token in tokens)
    assert [token for token in ("", "x", next(iter(tokens))[:-1], "\ud800") if sessions.of(token)] == []


def test_a_session_opens_only_so_many_terminals_a_minute() -> None:
    clock = Clock()
    sessions = Sessions(clock, idle_s=600)
    session = sessions.of(sessions.begin("AA", "A. Abel", "10.0.0.7"))
    assert session is not None
    assert [session.may_open(clock.s) for _ in range(OPENINGS + 1)] == [True] * OPENINGS + [False]
    clock.s += WITHIN_S + 1
    assert session.may_open(clock.s)
