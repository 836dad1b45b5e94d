"""Entries: canonical JSON and SHA-256 against published vectors, strict reading, texts fit for the record."""

import hashlib
import json
import math
import struct
from datetime import UTC, datetime, timedelta, timezone

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from floorterm.entries import (
    GENESIS,
    BodyError,
    Draft,
    Entry,
    Quantity,
    TextError,
    UnknownVersionError,
    canonical,
    clean_text,
    digest,
    entry_from_body,
    instant,
    read_body,
    stamp,
)

# FIPS 180-4, the examples published with the standard (one block, two blocks) and the empty message.
SHA256 = {
    "": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "abc": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
    "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq": (
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"
    ),
}

# RFC 8785, Appendix B: IEEE 754 bits and the text that ECMAScript gives them (all finite rows).
APPENDIX_B = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("text", "wanted"), SHA256.items())
def test_the_digest_is_sha_256_as_fips_180_4_gives_it(text: str, wanted: str) -> None:
    assert digest(text) == wanted


@pytest.mark.parametrize(("bits", "wanted"), APPENDIX_B.items())
def test_the_canonicaliser_prints_the_numbers_of_rfc_8785_appendix_b(bits: str, wanted: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    assert rfc8785.dumps(number) == wanted.encode()


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_the_canonicaliser_refuses_the_two_numbers_that_appendix_b_refuses(bits: str) -> None:
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    with pytest.raises(rfc8785.CanonicalizationError):
        rfc8785.dumps(number)


def test_keys_are_sorted_by_utf_16_units_as_in_rfc_8785_section_3_2_3() -> None:
    # RFC 8785, 3.2.3: CR, 1, U+0080, U+00F6, U+20AC, U+1F600, U+FB33
    order = ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]
    sample = dict.fromkeys(sorted(order), "x")
    found = json.loads(rfc8785.dumps(sample), object_pairs_hook=lambda pairs: [key for key, _ in pairs])
    assert found == order
    plain = json.loads(json.dumps(sample, sort_keys=True), object_pairs_hook=lambda p: [key for key, _ in p])
    assert plain != order  # why the plain library is not enough outside our narrowing


_BODIES = st.recursive(
    st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.from_regex(r"[a-z0-9_]+", fullmatch=True), inner, max_size=4)
    ),
    max_leaves=12,
)


@given(st.dictionaries(st.from_regex(r"[a-z0-9_]+", fullmatch=True), _BODIES, max_size=5))
def test_within_our_narrowing_the_standard_library_writes_the_same_bytes(body: dict[str, object]) -> None:
    plain = json.dumps(body, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    assert canonical(body) == plain
    assert read_body(plain) == body


@pytest.mark.parametrize(
    "value",
    [
        1.0,
        math.nan,
        None,
        2**53,
        -(2**53),
        "\ud800",
        {"Key": 1},
        {"clé": 1},
        {"": 1},
        {1: 1},
        [1.5],
        {"a": {"b": [None]}},
        {1, 2},
        b"bytes",
    ],
)
def test_what_no_entry_may_hold_is_refused_with_its_place(value: object) -> None:
    with pytest.raises(BodyError, match=r"body\.x"):
        canonical({"x": value})


def test_the_largest_integers_are_kept() -> None:
    assert canonical({"x": 2**53 - 1, "y": -(2**53) + 1}) == '{"x":9007199254740991,"y":-9007199254740991}'


@pytest.mark.parametrize(
    "body",
    [
        '{"a":1,"a":2}',
        '{"a":{"b":1,"b":1}}',
        '{"a":1.0}',
        '{"a":1e3}',
        '{"a":NaN}',
        '{"a":Infinity}',
        "[1]",
        '"text"',
        "",
        "{",
        "[" * 100_000,
    ],
)
def test_reading_a_body_is_as_strict_as_writing_one(body: str) -> None:
    with pytest.raises(BodyError):
        read_body(body)


_GOOD = {
    "v": 1,
    "n": 7,
    "prev": GENESIS,
    "at": "2026-11-01T08:00:01.250000Z",
    "offset": "-07:00",
    "kind": "step.signed",
    "pos": 3,
    "value": {"number": "412.50"},
}


def test_an_entry_is_read_from_its_body_and_keeps_the_text() -> None:
    body = canonical(_GOOD)
    entry = entry_from_body(body, digest(body))
    assert entry == Entry(
        n=7,
        hash=hashlib.sha256(body.encode()).hexdigest(),
        prev=GENESIS,
        at=datetime(2026, 11, 1, 8, 0, 1, 250_000, tzinfo=UTC),
        offset="-07:00",
        kind="step.signed",
        pos=3,
        value={"number": "412.50"},
        body=body,
    )
    assert entry.local.isoformat() == "2026-11-01T01:00:01.250000-07:00"


@pytest.mark.parametrize(
    "change",
    [
        {"n": "7"},
        {"n": True},
        {"kind": 5},
        {"pos": "3"},
        {"value": []},
        {"prev": 0},
        {"at": "2026-11-01T08:00:01Z"},
        {"at": "2026-13-01T08:00:01.250000Z"},
        {"at": "2026-11-01T08:00:01.250000+00:00"},
        {"at": 5},
    ],
)
def test_a_body_with_a_field_of_the_wrong_kind_is_no_entry(change: dict[str, object]) -> None:
    with pytest.raises(BodyError):
        entry_from_body(canonical(_GOOD | change), GENESIS)


@pytest.mark.parametrize("lacking", ["n", "prev", "at", "offset", "kind"])
def test_a_body_that_lacks_a_field_is_no_entry(lacking: str) -> None:
    with pytest.raises(BodyError, match=lacking):
        entry_from_body(canonical({key: value for key, value in _GOOD.items() if key != lacking}), GENESIS)


@pytest.mark.parametrize("version", [2, 0, "1", True])
def test_an_unknown_format_version_is_said_and_not_interpreted(version: object) -> None:
    with pytest.raises(UnknownVersionError):
        entry_from_body(canonical(_GOOD | {"v": version}), GENESIS)


_EPOCH, _FAR = datetime(1970, 1, 1), datetime(2199, 1, 1)  # noqa: DTZ001  bounds without a zone


@given(st.datetimes(_EPOCH, _FAR), st.integers(-14 * 60, 14 * 60))
def test_a_stamp_names_the_same_instant_in_utc_whatever_the_zone(local: datetime, minutes: int) -> None:
    at = local.replace(tzinfo=timezone(timedelta(minutes=minutes)))
    assert instant(stamp(at)) == at
    assert len(stamp(at)) == 27


@given(st.lists(st.datetimes(_EPOCH, _FAR, timezones=st.just(UTC)), min_size=2))
def test_the_order_of_stamps_as_text_is_the_order_of_time(times: list[datetime]) -> None:
    assert sorted(map(stamp, times)) == [stamp(at) for at in sorted(times)]


def test_a_time_without_its_zone_gets_no_stamp() -> None:
    with pytest.raises(ValueError, match="zone"):
        stamp(_EPOCH)


def test_a_text_is_composed_and_trimmed() -> None:
    # Unicode Standard Annex #15: o + combining diaeresis composes to U+00F6
    assert clean_text("  Zoe\u0308 Mu\u0308ller \t") == "Zo\u00eb M\u00fcller"


def test_line_ends_of_every_system_become_line_feeds_where_lines_are_allowed() -> None:
    assert clean_text("a\r\nb\rc\nd", newlines=True) == "a\nb\nc\nd"


@pytest.mark.parametrize(
    "text",
    ["a\nb", "a\x00b", "a\x1b[31mb", "a\u202eb", "a\u2066b", "a\u200bb", "a\ud800b", "a\u2028b", "a\x85b"],
)
def test_control_and_direction_characters_are_refused(text: str) -> None:
    with pytest.raises(TextError, match=r"U\+"):
        clean_text(text)


def test_a_text_that_is_too_long_is_refused_with_both_numbers() -> None:
    with pytest.raises(TextError, match=r"11 characters; 10"):
        clean_text("x" * 11, limit=10)
    assert clean_text("x" * 10, limit=10) == "x" * 10


def test_a_quantity_keeps_the_number_as_typed() -> None:
    quantity = Quantity("412.50", "kg")
    assert (quantity.number, str(quantity.decimal)) == ("412.50", "412.50")


def test_a_draft_is_a_value() -> None:
    assert Draft(kind="work.note", key="k", value={"text": "x"}) == Draft(
        kind="work.note", key="k", value={"text": "x"}
    )


_TEXTS = st.text(max_size=6)
_VALUES = st.recursive(
    _TEXTS | st.booleans() | st.integers(-(2**70), 2**70) | st.none(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from("abcé"), inner, max_size=3),
    max_leaves=8,
)
_ODD = (
    '{"a":1,"a":1}',
    '{"a":1,"a":2}',
    '{"a":1.0}',
    '{"a":1e2}',
    '{"a":-0}',
    '{"a":"\\ud800"}',
    "[1]",
    "1",
    "",
    "{",
)
_WRITINGS = st.builds(
    lambda value, spaced, sort, raw: json.dumps(
        value, separators=(", ", ": ") if spaced else (",", ":"), sort_keys=sort, ensure_ascii=not raw
    ),
    st.dictionaries(st.sampled_from("abcé"), _VALUES, max_size=4),
    st.booleans(),
    st.booleans(),
    st.booleans(),
)


def _slowly(text: str) -> object:
    """What the strict reader of the standard library says, without the quick one before it."""
    try:
        found = json.loads(text, parse_float=_refused, parse_constant=_refused, object_pairs_hook=_once)
    except (ValueError, RecursionError):
        return BodyError
    return found if isinstance(found, dict) else BodyError


def _refused(text: str) -> float:
    raise ValueError(text)


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    if len(dict(pairs)) != len(pairs):
        raise ValueError("twice")
    return dict(pairs)


@given(st.one_of(_WRITINGS, st.sampled_from(_ODD), st.text(alphabet='{}[]":,a1.e- \\', max_size=12)))
def test_reading_quickly_takes_and_refuses_what_reading_strictly_does(text: str) -> None:
    try:
        found: object = read_body(text)
    except BodyError:
        found = BodyError
    assert found == _slowly(text)
    assert repr(found) == repr(_slowly(text)), "a whole number is no truth value"
