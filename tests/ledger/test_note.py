"""Signed notes: Ed25519 by the vectors of RFC 8032, the note format by an example of its own tools, keys in files."""

import base64
import sys
from pathlib import Path

import pytest
from rich.pretty import pretty_repr

from floorterm.ledger.note import PublicKey, SecretKey, is_key_name, opened
from floorterm.ledger.proof_faults import (
    KeyFaultError,
    NoteFaultError,
    SignatureFaultError,
    SigningExtraError,
)
from tests.conftest import bound_by_permissions

# RFC 8032, section 7.1, tests 1 to 3: secret key, public key, message, signature
_RFC_8032 = (
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), _RFC_8032)
def test_keys_and_signatures_are_those_of_rfc_8032(
    secret: str, public: str, message: str, signature: str
) -> None:
    key = SecretKey("x", bytes.fromhex(secret))
    assert key.public.key.hex() == public
    assert key._ed25519().sign(bytes.fromhex(message)).hex() == signature


# the worked example in the documentation of the note package of Go's checksum database
_EXAMPLE_SECRET = "PRIVATE+KEY+PeterNeumann+c74f20a3+AYEKFALVFGyNhPJEMzD1QIDr+Y7hfZx09iUvxdXHKDFz"
_EXAMPLE_PUBLIC = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
_EXAMPLE_TEXT = (
    "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n"
)
_EXAMPLE_NOTE = (
    f"{_EXAMPLE_TEXT}\n— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6"
    "KE6RyyBwJnAM=\n"
)


def test_a_note_of_the_formats_own_tools_is_written_and_opened_the_same() -> None:
    secret = SecretKey.parse(_EXAMPLE_SECRET)
    assert str(secret.public) == _EXAMPLE_PUBLIC
    assert secret.line() == _EXAMPLE_SECRET
    assert secret.sign(_EXAMPLE_TEXT) == _EXAMPLE_NOTE
    assert opened(_EXAMPLE_NOTE, PublicKey.parse(_EXAMPLE_PUBLIC)) == _EXAMPLE_TEXT


KEY = SecretKey("northmere.example/records", bytes(range(32)))
NOTE = KEY.sign("one\n\ntwo\n")


def test_the_text_ends_at_the_last_blank_line() -> None:
    assert opened(NOTE, KEY.public) == "one\n\ntwo\n"


def test_signatures_of_others_are_passed_over() -> None:
    other = SecretKey("other.example", bytes(32))
    theirs = other.sign("one\n\ntwo\n").splitlines(keepends=True)[-1]
    assert opened(NOTE + theirs, KEY.public) == opened(NOTE + theirs, other.public)
    again = SecretKey(KEY.name, bytes(32))  # the same name, another key
    with pytest.raises(SignatureFaultError):
        opened(NOTE, again.public)
    with pytest.raises(SignatureFaultError):
        opened(NOTE, other.public)


def test_one_false_signature_of_a_known_key_refuses_the_whole_note() -> None:
    line = NOTE.splitlines(keepends=True)[-1]
    forged = base64.b64encode(KEY.public.id + bytes(64)).decode()
    with pytest.raises(SignatureFaultError):
        opened(NOTE + f"— {KEY.name} {forged}\n", KEY.public)
    assert opened(NOTE + line, KEY.public)


@pytest.mark.parametrize("place", range(0, len("one\n\ntwo\n"), 2))
def test_an_altered_text_is_refused(place: int) -> None:
    altered = NOTE[:place] + chr(ord(NOTE[place]) ^ 1) + NOTE[place + 1 :]
    with pytest.raises((SignatureFaultError, NoteFaultError)):
        opened(altered, KEY.public)


@pytest.mark.parametrize(
    "note",
    ["", "text\n", "text\n\n", "text\n\nno signature\n", NOTE[:-1], NOTE.replace("one", "o\x07e"),
     "text\n\n— name !!!!\n", "text\n\n— name AAAA\n", "x" * 1_000_001],
)  # fmt: skip
def test_what_is_no_note_is_refused(note: str) -> None:
    with pytest.raises(NoteFaultError):
        opened(note, KEY.public)


@pytest.mark.parametrize("text", ["", "no line end", "a\x00b\n", "a\rb\n"])
def test_what_is_no_text_of_a_note_is_not_signed(text: str) -> None:
    with pytest.raises(NoteFaultError):
        KEY.sign(text)


@pytest.mark.parametrize("name", ["", "a b", "a+b", "a\u00a0b", "a\nb", "a\x07b"])
def test_a_key_has_no_such_name(name: str) -> None:
    assert not is_key_name(name)
    with pytest.raises(KeyFaultError):
        SecretKey.new(name)


@pytest.mark.parametrize(
    "line",
    ["", "x", "a+b+c", str(KEY.public)[:-2], str(KEY.public).replace("northmere", "southmere"), KEY.line()],
)
def test_a_line_that_is_no_public_key_is_refused(line: str) -> None:
    with pytest.raises(KeyFaultError):
        PublicKey.parse(line)


def test_a_secret_key_is_kept_for_its_owner_alone(open_folder: Path) -> None:
    path = open_folder / "records.key"
    with bound_by_permissions():
        made = SecretKey.new("northmere.example/records")
        made.write(path)
        assert path.stat().st_mode & 0o777 == 0o600
        assert SecretKey.read(path) == made
        with pytest.raises(FileExistsError):
            made.write(path)
        path.chmod(0o640)
        with pytest.raises(KeyFaultError, match="0600"):
            SecretKey.read(path)
    for shown in (repr(made), pretty_repr(made)):
        assert repr(made.seed)[2:-1] not in shown
        assert "seed" not in shown
    with pytest.raises(KeyFaultError):
        SecretKey.read(open_folder / "none.key")
    with pytest.raises(KeyFaultError):
        SecretKey.parse(str(made.public))
    with pytest.raises(KeyFaultError):
        SecretKey.parse(made.line().replace("northmere", "southmere"))


def test_where_the_library_is_missing_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cryptography", None)
    with pytest.raises(SigningExtraError, match=r"floorterm\[checkpoints\]"):
        SecretKey.new("a").line()
