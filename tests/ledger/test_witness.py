"""The witness file: only added to, never made by a terminal, read line by line."""

import os
from pathlib import Path

import pytest
from msgspec.structs import replace

from floorterm.ledger import Ledger, Seal, SealFaultError, verify_export, verify_file, write_export
from floorterm.ledger.proof_faults import WitnessAwayError, WitnessLineError
from floorterm.ledger.verdict import verdict
from floorterm.ledger.witness import append_seals, read_seals, seals_among
from tests.ledger.conftest import note
from tests.ledger.tamper import recomputed, rewrite, with_value


@pytest.fixture
def sealed(ledger: Ledger, tmp_path: Path) -> tuple[Ledger, Path]:
    """A ledger with three seals in a witness file, and an entry after the last: sealed are 5, 7 and 9 of 11."""
    file = tmp_path / "seals.txt"
    for number in range(3):
        append_seals(file, (ledger.seal("witness"),), create=True)
        ledger.append(note(f"k{number}"))
    return ledger, file


def _keys(path: Path, file: Path) -> list[tuple[str, object]]:
    return [(say.key, dict(say.facts)) for say in verdict(verify_file(path, read_seals(file)))]


def test_seals_are_read_back_as_they_were_added(sealed: tuple[Ledger, Path]) -> None:
    ledger, file = sealed
    found = read_seals(file)
    assert [seal.n for seal in found] == [5, 7, 9]
    assert [seal.hash for seal in found] == [ledger.entry(n).hash for n in (5, 7, 9)]


def test_what_is_sealed_and_what_is_only_chained_is_said(sealed: tuple[Ledger, Path], path: Path) -> None:
    _, file = sealed
    assert _keys(path, file) == [
        ("proof.sealed", {"first": 1, "last": 9, "at": "2026-03-02T14:05:00.000000Z"}),
        ("proof.newer", {"n": 2, "count": 2}),
    ]


def test_the_first_seal_that_differs_is_named_and_the_last_that_holds(
    sealed: tuple[Ledger, Path], path: Path
) -> None:
    _, file = sealed
    rewrite(path, lambda rows: recomputed([*rows[:6], with_value(rows[6], key="other"), *rows[7:]]))
    report = verify_file(path, read_seals(file))
    assert (report.ok, report.sealed_n, report.differs_n) == (False, 5, 7)
    assert [(problem.n, problem.say.key) for problem in report.problems] == [
        (7, "ledger.verify.seal_hash"),
        (9, "ledger.verify.seal_hash"),
    ]
    assert [say.key for say in verdict(report)] == ["proof.sealed", "proof.differs"]


def test_a_seal_that_matches_after_one_that_differs_confirms_nothing_more(
    sealed: tuple[Ledger, Path], path: Path
) -> None:
    _, file = sealed
    first, second, third = read_seals(file)
    report = verify_file(path, (first, replace(second, hash="0" * 64), third))
    assert (report.ok, report.sealed_n, report.differs_n) == (False, 5, 7)


def test_an_export_of_a_part_is_held_against_the_seal_of_what_it_follows(
    sealed: tuple[Ledger, Path], tmp_path: Path
) -> None:
    ledger, file = sealed
    part = tmp_path / "part.jsonl"
    write_export(ledger, part, after_n=7)
    assert verify_export(part, read_seals(file)[:2]).sealed_n == 7
    wrong = replace(read_seals(file)[1], hash="f" * 64)
    assert verify_export(part, (wrong,)).differs_n == 7


def test_without_a_seal_it_is_said_what_would_not_show(ledger: Ledger, path: Path) -> None:
    assert [say.key for say in verdict(verify_file(path))] == ["proof.no_seal_given", "proof.newer"]


def test_seals_that_cannot_be_compared_confirm_nothing(ledger: Ledger, path: Path) -> None:
    stranger = replace(Seal.of(ledger.head(), "Example Plant"), chain="another", hash="0" * 64)
    assert [say.key for say in verdict(verify_file(path, (stranger,)))] == ["proof.none_holds", "proof.newer"]


def test_a_line_that_is_no_seal_is_named_by_its_number(sealed: tuple[Ledger, Path]) -> None:
    _, file = sealed
    file.write_text(f"# a remark\n\n{file.read_text()}not a seal\n")
    with pytest.raises(WitnessLineError) as fault:
        read_seals(file)
    assert fault.value.say.facts["line"] == 6
    assert len(seals_among(file)) == 3


def test_half_a_line_does_not_swallow_the_next(sealed: tuple[Ledger, Path]) -> None:
    ledger, file = sealed
    file.write_text(file.read_text()[:-20])
    append_seals(file, (ledger.seal("witness"),))
    assert [seal.n for seal in seals_among(file)] == [5, 7, 11]
    with pytest.raises(WitnessLineError):
        read_seals(file)


def test_a_file_that_is_not_there_is_made_only_where_somebody_asks(ledger: Ledger, tmp_path: Path) -> None:
    seal = Seal.of(ledger.head(), "Example Plant")
    with pytest.raises(WitnessAwayError):
        append_seals(tmp_path / "none.txt", (seal,))
    with pytest.raises(WitnessAwayError):
        read_seals(tmp_path / "none.txt")
    with pytest.raises(WitnessAwayError):
        append_seals(tmp_path / "no folder" / "none.txt", (seal,), create=True)
    assert list(tmp_path.glob("none*")) == []


def test_a_full_disk_leaves_no_half_seal_that_would_make_the_file_unreadable(
    sealed: tuple[Ledger, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger, file = sealed
    before, write = file.read_bytes(), os.write
    with monkeypatch.context() as full:
        full.setattr(os, "write", lambda to, content: write(to, content[:100]))
        with pytest.raises(WitnessAwayError):
            append_seals(file, (ledger.seal("witness"),))
    assert file.read_bytes() == before
    append_seals(file, (ledger.seal("witness"),))
    assert len(read_seals(file)) == 4


def test_a_code_to_photograph_reads_back_as_the_seal_and_is_no_larger_than_a_screen(ledger: Ledger) -> None:
    seal = replace(Seal.of(ledger.head(), ""), n=99_999_999, chain="7b1f0c52-6f0e-4c0b-9b57-0d3a5e9c4a11")
    assert Seal.parse(seal.code) == seal
    assert Seal.parse(seal.code.replace(" ", "\n  ")) == seal
    with pytest.raises(SealFaultError):
        Seal.parse(seal.code[:-1])


@pytest.mark.parametrize("field", ["at", "chain"])
def test_a_seal_that_would_command_a_screen_is_none(ledger: Ledger, field: str) -> None:
    seal = replace(Seal.of(ledger.head(), "Example Plant"), **{field: "\x1b[2J"})
    for text in (str(seal), seal.code):
        with pytest.raises(SealFaultError) as fault:
            Seal.parse(text)
        assert "\x1b" not in str(fault.value)


def test_a_line_that_was_cut_while_it_was_added_is_passed_over(ledger: Ledger, tmp_path: Path) -> None:
    """Nobody can mend a file that may only be added to; the seal is added again after it."""
    seal = Seal.of(ledger.head(), ledger.start().plant)
    witness = tmp_path / "witness.txt"
    for cut in (30, 60, 120):
        witness.write_text(f"{str(seal)[:cut]}\n{seal}\n", encoding="utf-8")
        assert read_seals(witness) == (seal,)
    witness.write_text("some other text\n", encoding="utf-8")
    with pytest.raises(WitnessLineError):
        read_seals(witness)
