"""Seals, the second place and checkpoints of a ledger on a server: the same as of a file."""

from pathlib import Path

from click.testing import CliRunner
from msgspec.structs import replace

from floorterm.cli import main
from floorterm.ledger import Ledger, Seal
from floorterm.ledger.checkpoint import roots_at
from floorterm.ledger.merkle import leaf_hash, root_of
from floorterm.ledger.server import name_of, read_url
from floorterm.ledger.witness import append_seals, read_seals
from floorterm.library import load, starter_folder
from floorterm.sealing import keep
from tests.ledger.conftest import note


def _verify(place: str, *arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["verify", place, *arguments], env={"FLOORTERM_DB": ""})
    return done.exit_code, done.output


def test_verify_takes_seals_for_a_url_and_shows_the_place_without_its_account(
    place: str, ledger: Ledger, tmp_path: Path
) -> None:
    witness = tmp_path / "seals.txt"
    witness.touch()
    shifts = load(starter_folder()).plant.shifts
    seal = keep(ledger, shifts, ledger.now().tzinfo, witness, "T1").made  # type: ignore[arg-type]
    assert seal is not None
    ledger.append(note("k1"))
    assert read_seals(witness) == (seal,)
    status, said = _verify(place, "--seals", str(witness))
    assert status == 0, said
    assert f"1-{seal.n} match the seal of" in said
    assert "2 newer ones are chained, not sealed." in said
    assert name_of(read_url(place)) in said
    append_seals(witness, (replace(seal, n=seal.n + 1, hash="0" * 64),))
    status, said = _verify(place, "--seals", str(witness))
    assert status == 1
    assert f"Entry {seal.n + 1} is the first sealed one that differs" in said
    cut = replace(Seal.of(ledger.head(), "p"), n=99)
    assert "ends before entry 99" in _verify(place, "--since-seal", str(cut))[1]


def test_the_root_of_a_checkpoint_is_that_of_the_stored_hashes(place: str, ledger: Ledger) -> None:
    ledger.append(note("k1"))
    report, roots = roots_at(place, (3,))
    hashes = [leaf_hash(bytes.fromhex(line.hash)) for line in ledger.lines()]
    assert roots == {0: root_of([]), 3: root_of(hashes[:3]), report.n: root_of(hashes)}
