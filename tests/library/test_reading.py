"""YAML read without guessing: what is refused, and exactly where."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from floorterm.library import Fault
from floorterm.library.reading import MAX_BYTES, MAX_DEPTH, MAX_NODES, field_of, read
from tests.library.helper import FILES, place, plain


def tree(text: str) -> object:
    node, faults = read("x.yaml", text.encode())
    assert node is not None, faults
    assert not faults
    return plain(node)


def fault(text: str | bytes) -> Fault:
    _, faults = read("x.yaml", text if isinstance(text, bytes) else text.encode())
    assert len(faults) == 1, faults
    assert faults[0].path == "x.yaml"
    return faults[0]


class TestNothingIsGuessed:
    """The words and numbers that YAML 1.1 turns into something else (YAML 1.1 type repository: bool, int, float)."""

    @pytest.mark.parametrize(
        "text",
        ["no", "No", "NO", "yes", "on", "Off", "y", "True", "FALSE", "1:30", "012", "0x1F", "0o17", "1_000", "1e3",
         ".5", "1.50", "+5", ".nan", ".inf", "2026-03-31", "-0x1", "00", "--5", "1.", "=", "5 kg"],
    )  # fmt: skip
    def test_such_words_stay_text(self, text: str) -> None:
        assert tree(f"a: {text}\n") == {"a": text}

    @pytest.mark.parametrize(
        ("text", "value"), [("true", True), ("false", False), ("0", 0), ("-7", -7), ("1728", 1728)]
    )
    def test_only_true_false_and_plain_integers_become_values(self, text: str, value: object) -> None:
        found = tree(f"a: {text}\n")
        assert found == {"a": value}
        assert isinstance(found, dict)
        assert type(found["a"]) is type(value)

    @pytest.mark.parametrize("text", ['"true"', "'12'", '"no"'])
    def test_quoted_is_always_text(self, text: str) -> None:
        assert tree(f"a: {text}\n") == {"a": text[1:-1]}

    def test_an_integer_of_a_thousand_digits_stays_text(self) -> None:
        assert tree(f"a: {'9' * 1000}\n") == {"a": "9" * 1000}

    def test_composed_and_decomposed_letters_are_the_same_text(self) -> None:
        """Unicode Standard Annex 15: e + U+0301 composes to U+00E9 in NFC."""
        assert tree("a: Le\u0301jia\n") == tree("a: L\u00e9jia\n")

    def test_a_folded_text_is_one_line(self) -> None:
        assert tree("a: >-\n  one\n  two\n") == {"a": "one two"}

    def test_a_byte_order_mark_at_the_start_is_nothing(self) -> None:
        node, faults = read("x.yaml", b"\xef\xbb\xbfa: 1\n")
        assert node is not None
        assert not faults
        assert (node.get("a").place, plain(node)) == ((1, 4), {"a": 1})  # type: ignore[union-attr]

    def test_line_ends_of_windows_are_fine(self) -> None:
        assert tree("a: 1\r\nb:\r\n  - c\r\n") == {"a": 1, "b": ["c"]}


class TestPlaces:
    TEXT = "a: 1\nlist:\n  - id: one\n    low: x\n  - {id: two, low: 3}\n"

    def test_every_value_knows_its_line_and_column(self) -> None:
        node, _ = read("x.yaml", self.TEXT.encode())
        assert node is not None
        first, second = node.each("list")
        assert first.get("low").place == place(self.TEXT, "x")  # type: ignore[union-attr]
        assert second.get("low").place == place(self.TEXT, "3")  # type: ignore[union-attr]
        assert second.place == place(self.TEXT, "{")
        assert field_of(second.get("low").loc) == "list[2].low"  # type: ignore[union-attr]

    def test_every_key_knows_its_place(self) -> None:
        node, _ = read("x.yaml", self.TEXT.encode())
        assert node is not None
        keys = dict(node.each("list")[1].members())
        assert keys["low"].place == place(self.TEXT, "low: 3")


class TestRefused:
    def test_a_key_that_stands_twice(self) -> None:
        text = "a: 1\nb:\n  c: 1\n  d: 2\n  c: 3\n"
        found = fault(text)
        assert (found.line, found.column, found.field) == (5, 3, "b.c")
        assert found.found == 'the key "c" a second time (first in line 3)'

    def test_every_key_that_stands_twice(self) -> None:
        _, faults = read("x.yaml", b"a: 1\na: 2\nb: 1\nb: 2\na: 3\n")
        assert [found.line for found in faults] == [2, 4, 5]

    def test_merge_keys(self) -> None:
        found = fault("a:\n  <<: {b: 1}\n")
        assert (found.line, found.column, found.found) == (2, 3, "the merge key <<")

    @pytest.mark.parametrize(
        "tag", ["!!python/object/apply:os.system", "!!int", "!own", "!!binary", "!!str", "!!set"]
    )
    def test_tags(self, tag: str) -> None:
        found = fault(f"a: {tag} x\n")
        assert (found.line, found.column, found.field) == (1, 4, "a")
        assert "tag" in found.found

    def test_anchors_and_aliases(self) -> None:
        _, faults = read("x.yaml", b"a: &x 1\nb: *x\n")
        assert [(found.line, found.column, found.field) for found in faults] == [(1, 4, "a"), (2, 4, "b")]

    def test_an_alias_bomb_is_refused_at_its_first_alias(self) -> None:
        """Ten levels of ten references each would stand for 10^10 values."""
        rows = ["a0: &a0 [x,x]", *(f"a{n}: &a{n} [{','.join([f'*a{n - 1}'] * 10)}]" for n in range(1, 11))]
        node, faults = read("x.yaml", "\n".join(rows).encode())
        assert node is None
        assert faults[-1].found == "the alias *a0"
        assert faults[-1].line == 2

    @pytest.mark.parametrize(
        "text", ["a: b\n\tc: 1\n", "a:\n\t- x\n", "a: 'x\ty'\n", "a: 1\t# note\n", "\t\n"]
    )
    def test_tabs(self, text: str) -> None:
        found = fault(text)
        assert (found.line, found.column) == place(text, "\t")
        assert (found.found, found.suggestion) == ("a tab", "indent with spaces")

    @pytest.mark.parametrize(
        "sign", ["\u202e", "\u2066", "\u200b", "\u200f", "\x07", "\x00", "\x85", "\u2028", "\ue000", "\x7f"]
    )
    def test_characters_that_nobody_sees(self, sign: str) -> None:
        text = f"a: 1\nb: Pull{sign} it\n"
        found = fault(text)
        assert (found.line, found.column) == (2, 8)
        assert f"U+{ord(sign):04X}" in found.found

    @pytest.mark.parametrize("escape", [r"\u202e", r"\x07", r"\0", r"\t", r"\u2066", r"\N", r"\L"])
    def test_characters_that_an_escape_brings_in(self, escape: str) -> None:
        found = fault(f'a: "Pull {escape}it"\n')
        assert (found.line, found.column, found.field) == (1, 4, "a")

    def test_half_a_character(self) -> None:
        assert read("x.yaml", rb'a: "\ud800"')[1]

    @pytest.mark.parametrize(
        ("content", "line", "column"),
        [
            ("a: L\u00ednea\n".encode("latin-1"), 1, 5),
            (b"a: 1\nb: \xff\n", 2, 4),
            ("a: 1\n".encode("utf-16"), 1, 1),
        ],
    )
    def test_other_encodings(self, content: bytes, line: int, column: int) -> None:
        found = fault(content)
        assert (found.line, found.column, found.expected) == (line, column, "text in UTF-8")

    def test_a_file_over_the_limit(self) -> None:
        assert "512 KiB" in fault(b"a: " + b"x" * MAX_BYTES).expected
        assert tree("a: " + "x" * (MAX_BYTES - 10))

    def test_too_many_values(self) -> None:
        text = "a: [" + "1," * (MAX_NODES + 10) + "]"
        assert len(text) < MAX_BYTES
        assert str(MAX_NODES) in fault(text).expected

    def test_too_many_levels(self) -> None:
        assert str(MAX_DEPTH) in fault("a: " + "[" * 60 + "]" * 60).expected
        assert tree("a: " + "[" * (MAX_DEPTH - 1) + "]" * (MAX_DEPTH - 1))

    @pytest.mark.parametrize("sign", ["[", "{a: ", "- ", "? "])
    def test_a_hundred_thousand_levels_do_not_crash(self, sign: str) -> None:
        assert read("x.yaml", (sign * 100_000).encode())[1]

    @pytest.mark.parametrize("text", ["", "# only a comment\n", "---\n", "\ufeff"])
    def test_an_empty_file(self, text: str) -> None:
        node, faults = read("x.yaml", text.encode())
        assert node is None
        assert faults[0].found in ("an empty file", "nothing")

    @pytest.mark.parametrize(
        ("text", "found"), [("- a\n", "a list"), ("words\n", '"words"'), ("12\n", '"12"')]
    )
    def test_a_file_that_holds_no_keys(self, text: str, found: str) -> None:
        assert fault(text).found == found
        assert fault(text).expected == "keys with values"

    def test_a_second_document(self) -> None:
        found = fault("a: 1\n---\nb: 2\n")
        assert (found.line, found.expected) == (2, "one document")

    @pytest.mark.parametrize("word", ["", "~", "null", "Null"])
    def test_a_key_without_a_value(self, word: str) -> None:
        found = fault(f"a: 1\nb: {word}\n")
        assert (found.line, found.field) == (2, "b")
        assert found.suggestion == "leave the key out if there is nothing to say"

    def test_a_list_as_a_key(self) -> None:
        assert fault("? [a, b]\n: 1\n").found == "a list or keys with values"

    @pytest.mark.parametrize(
        ("text", "line", "hint"),
        [
            ("a: 1\nb: Wait: then open\n", 2, "put a text that holds a colon in quotes"),
            ("a: 1\nb\nc: 2\n", 3, "look at this line and the one above"),
            ("a: [1, 2\nb: 3\n", 2, "put a text that holds a comma in quotes"),
            ("a: 1\n b: 2\n", 2, "put a text that holds a colon in quotes"),
            ("a: @x\n", 1, "put the text in quotes"),
            ("a: 'x\n", 2, "look for the quote that is not closed"),
            ("a: *b\n", 1, "write it out"),
        ],
    )
    def test_what_yaml_cannot_read_gets_a_place_and_a_hint(self, text: str, line: int, hint: str) -> None:
        found = fault(text)
        assert (found.line, found.suggestion) == (line, hint)


@settings(max_examples=400, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_give_a_tree_or_faults(content: bytes) -> None:
    node, faults = read("x.yaml", content)
    assert node is not None or faults


@settings(max_examples=400, deadline=None)
@given(st.text(st.sampled_from("ab:-[]{}&*!|>'\"#?,%@` \n\t\\0<~."), max_size=80))
def test_any_mix_of_yaml_signs_gives_a_tree_or_faults(text: str) -> None:
    node, faults = read("x.yaml", text.encode())
    assert node is not None or faults
    for found in faults:
        assert "\n" not in str(found)


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_a_file_cut_or_stirred_anywhere_gives_a_tree_or_faults(data: st.DataObject) -> None:
    text = data.draw(st.sampled_from(sorted(FILES.values())))
    at = data.draw(st.integers(0, len(text)))
    size = data.draw(st.integers(0, 20))
    new = data.draw(st.text(max_size=5))
    node, faults = read("x.yaml", (text[:at] + new + text[at + size :]).encode("utf-8", "replace"))
    assert node is not None or faults
