"""`floorterm checkpoint`: signed on an export elsewhere, checked against the ledger, proved without it."""

import resource
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.ledger import Ledger, write_export
from floorterm.ledger.checkpoint import Checkpoint, Extension, extension_of, roots_at
from floorterm.ledger.merkle import EMPTY, leaf_hash, root_of
from floorterm.ledger.note import PublicKey, SecretKey, opened
from floorterm.ledger.proof_faults import CheckpointFaultError
from tests.ledger.conftest import note, staffed
from tests.ledger.tamper import recomputed, rewrite, with_value

NAME = "northmere.example/records"


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["checkpoint", *map(str, arguments)], env={"FLOORTERM_DB": ""})


@pytest.fixture
def signed(tmp_path: Path) -> Path:
    """A folder with a ledger of 12 entries, a key, and checkpoints of 7 and 12 entries; 7 were signed on an export."""
    ledger = staffed(tmp_path / "ledger.db")
    for number in range(2):
        ledger.append(note(f"a{number}"))
    write_export(ledger, tmp_path / "export.jsonl")  # and two entries that say so: 8 and 9
    assert _run("key", NAME, "--out", tmp_path / "k").exit_code == 0
    done = _run("sign", tmp_path / "export.jsonl", "--key", tmp_path / "k", "--out", tmp_path / "old")
    assert done.exit_code == 0, done.output
    for number in range(3):
        ledger.append(note(f"b{number}"))
    done = _run(
        "sign",
        tmp_path / "ledger.db",
        "--key",
        tmp_path / "k",
        "--after",
        tmp_path / "old",
        "--out",
        tmp_path / "new",
    )
    assert done.exit_code == 0, done.output
    return tmp_path


def _public(folder: Path) -> PublicKey:
    return PublicKey.parse((folder / "k.pub").read_text(encoding="utf-8"))


@contextmanager
def _no_room() -> Iterator[None]:
    """Files can be made and nothing can be written into them, as on a full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_full_disk_leaves_no_empty_file_that_stands_in_the_way_of_the_next_try(signed: Path) -> None:
    key = ["key", NAME, "--out", signed / "other"]
    sign = ["sign", signed / "export.jsonl", "--key", signed / "k", "--out", signed / "late"]
    for command in (key, sign):
        files = sorted(signed.iterdir())
        with _no_room():
            assert _run(*command).exit_code == 2
        assert sorted(signed.iterdir()) == files
        assert _run(*command).exit_code == 0


def test_a_checkpoint_says_the_root_over_the_hashes_and_never_the_last_hash(signed: Path) -> None:
    for name, size in (("old", 7), ("new", 12)):
        said = Checkpoint.parse(opened((signed / name).read_text(encoding="utf-8"), _public(signed)))
        hashes = [line.hash for line in Ledger.open(signed / "ledger.db").lines(0, size)]
        assert (said.origin, said.size) == (NAME, size)
        assert said.root == root_of(leaf_hash(bytes.fromhex(one)) for one in hashes)
        assert said.root.hex() != hashes[-1]


def test_it_is_checked_against_the_ledger_and_says_what_is_newer(signed: Path) -> None:
    done = _run("check", signed / "old", signed / "ledger.db", "--public", signed / "k.pub")
    assert done.exit_code == 0, done.output
    assert f"1-7 are those that {NAME} signed; 5 newer are only chained." in done.stdout


def test_that_the_later_extends_the_earlier_is_proved_and_checked_without_the_ledger(signed: Path) -> None:
    made = _run(
        "prove",
        signed / "old",
        signed / "new",
        signed / "ledger.db",
        "--public",
        signed / "k.pub",
        "--out",
        signed / "p",
    )
    assert made.exit_code == 0, made.output
    (signed / "ledger.db").unlink()
    shown = _run("extends", signed / "old", signed / "new", signed / "p", "--public", signed / "k.pub")
    assert shown.exit_code == 0, shown.output
    assert "12 entries extends that of 7" in shown.stdout
    turned = _run("extends", signed / "new", signed / "old", signed / "p", "--public", signed / "k.pub")
    assert turned.exit_code == 1
    proof = (signed / "p").read_text()
    (signed / "p").write_text(proof[: proof.rindex("\n", 0, -1) + 1])
    short = _run("extends", signed / "old", signed / "new", signed / "p", "--public", signed / "k.pub")
    assert short.exit_code == 1
    (signed / "p").write_text("nothing")
    assert (
        _run("extends", signed / "old", signed / "new", signed / "p", "--public", signed / "k.pub").exit_code
        == 2
    )


def test_a_rewritten_past_neither_checks_nor_is_signed_nor_proved(signed: Path) -> None:
    rewrite(
        signed / "ledger.db",
        lambda rows: recomputed([*rows[:6], with_value(rows[6], value={"text": "other"}), *rows[7:]]),
    )
    key = ("--public", signed / "k.pub")
    assert _run("check", signed / "old", signed / "ledger.db", *key).exit_code == 1
    again = _run("sign", signed / "ledger.db", "--key", signed / "k", "--after", signed / "old")
    assert again.exit_code == 1
    assert "Not signed" in again.stderr
    assert "—" not in again.stdout
    assert _run("prove", signed / "old", signed / "new", signed / "ledger.db", *key).exit_code == 1
    # whoever signs without looking at the last checkpoint can be shown two that do not extend each other
    forked = _run("sign", signed / "ledger.db", "--key", signed / "k", "--out", signed / "fork")
    assert forked.exit_code == 0
    assert _run("prove", signed / "old", signed / "fork", signed / "ledger.db", *key).exit_code == 1


def test_a_cut_tail_is_shorter_than_its_checkpoint(signed: Path) -> None:
    rewrite(signed / "ledger.db", lambda rows: rows[:9])
    done = _run("check", signed / "new", signed / "ledger.db", "--public", signed / "k.pub")
    assert done.exit_code == 1
    assert "ends at entry 9, before the 12" in done.stderr
    assert _run("check", signed / "old", signed / "ledger.db", "--public", signed / "k.pub").exit_code == 0


def test_a_record_that_does_not_hold_is_not_signed(signed: Path) -> None:
    rewrite(signed / "ledger.db", lambda rows: [*rows[:3], with_value(rows[3], reason="x"), *rows[4:]])
    done = _run("sign", signed / "ledger.db", "--key", signed / "k")
    assert (done.exit_code, done.stdout) == (1, "")


def test_a_checkpoint_of_another_key_or_an_altered_one_does_not_count(signed: Path) -> None:
    _run("key", NAME, "--out", signed / "other")
    done = _run("check", signed / "old", signed / "ledger.db", "--public", signed / "other.pub")
    assert done.exit_code == 1
    assert "did not sign" in done.stderr
    text = (signed / "old").read_text(encoding="utf-8")
    (signed / "old").write_text(text.replace("\n7\n", "\n6\n"), encoding="utf-8")
    assert _run("check", signed / "old", signed / "ledger.db", "--public", signed / "k.pub").exit_code == 1
    (signed / "old").write_text("no note", encoding="utf-8")
    assert _run("check", signed / "old", signed / "ledger.db", "--public", signed / "k.pub").exit_code == 2


def test_a_part_of_a_record_has_no_root(signed: Path) -> None:
    write_export(Ledger.open(signed / "ledger.db"), signed / "part.jsonl", after_n=3)
    done = _run("sign", signed / "part.jsonl", "--key", signed / "k")
    assert done.exit_code == 2
    assert "begins with entry 4" in done.stderr


def test_nothing_is_overwritten_and_the_key_says_where_it_belongs(signed: Path) -> None:
    assert _run("key", NAME, "--out", signed / "k").exit_code == 2
    assert _run("sign", signed / "ledger.db", "--key", signed / "k", "--out", signed / "old").exit_code == 2
    assert "Keep it off the terminals" in _run("key", NAME, "--out", signed / "k2").stdout
    assert (signed / "k2").stat().st_mode & 0o077 == 0


def test_every_pair_of_a_ledgers_beginnings_is_proved(signed: Path) -> None:
    place = signed / "ledger.db"
    sizes = range(1, 13)
    _, roots = roots_at(place, sizes)
    for old in sizes:
        for size in range(old, 13):
            _, proof = extension_of(place, old, size)
            assert Extension.parse(str(proof)) == proof
            first, second = (Checkpoint("o", one, roots[one]) for one in (old, size))
            assert proof.shows(first, second)
            assert not proof.shows(first, Checkpoint("another", size, roots[size]))
    with pytest.raises(CheckpointFaultError):
        extension_of(place, 5, 14)


@pytest.mark.parametrize(
    "text", ["", "o\n1\nAAAA\n", "o\n01\n" + "A" * 43 + "=\n", "o\n1\n" + "A" * 43 + "=\n\n"]
)
def test_a_text_that_is_no_checkpoint_is_refused(text: str) -> None:
    with pytest.raises(CheckpointFaultError):
        Checkpoint.parse(text)


def test_the_commands_of_the_readme_run_as_they_stand(signed: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    commands = [
        line.split()[1:] for line in readme.splitlines() if line.startswith("    floorterm checkpoint ")
    ]
    assert [command[1] for command in commands] == [
        "key", "sign", "check", "prove", "extends", "excerpt", "includes",
    ]  # fmt: skip
    (signed / "export.jsonl").unlink()
    write_export(Ledger.open(signed / "ledger.db"), signed / "export.jsonl")
    monkeypatch.chdir(signed)
    for number, command in enumerate(commands):
        if number == 1:  # a first checkpoint, signed when the record was shorter
            part = "".join((signed / "export.jsonl").read_text().splitlines(keepends=True)[:5])
            (signed / "short.jsonl").write_text(part, encoding="utf-8")
            _, roots = roots_at(signed / "short.jsonl")
            secret = SecretKey.read(signed / "records.key")
            (signed / "last.checkpoint").write_text(secret.sign(Checkpoint(secret.name, 5, roots[5]).text))
        done = _run(*command[1:])
        assert done.exit_code == 0, f"{command}: {done.output}"


def test_a_checkpoint_of_no_entry_confirms_nothing_and_is_no_fault(signed: Path) -> None:
    secret = SecretKey.read(signed / "k")
    for root, status in ((EMPTY, 0), (b"0" * 32, 1)):
        (signed / "none").write_text(secret.sign(Checkpoint(NAME, 0, root).text), encoding="utf-8")
        done = _run("check", signed / "none", signed / "ledger.db", "--public", signed / "k.pub")
        assert done.exit_code == status, done.output
        assert ("12 are only chained" in done.stdout) == (status == 0)
        again = _run("sign", signed / "ledger.db", "--key", signed / "k", "--after", signed / "none")
        assert again.exit_code == status, again.output
