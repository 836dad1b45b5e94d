"""`floorterm flush`: ways, limit by hand, start from a file, check samples, reasoning, curve; and what it refuses."""

import json
import xml.etree.ElementTree as ET
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.flush import UnitStart, washout
from floorterm.flush.from_library import line_model
from floorterm.languages import LANGUAGES
from floorterm.library.model import Library

PAIR = ("--line", "L2", "--from", "palmarosa", "--to", "petitgrain", "--on", "2026-11-24")


def _run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["flush", *PAIR, *map(str, arguments)], env={"FLOORTERM_DB": ""})


def _json(*arguments: object) -> dict[str, Any]:
    done = _run(*arguments, "--json")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert isinstance(said, dict)
    return said


@pytest.fixture(scope="module")
def plain() -> dict[str, Any]:
    return _json()


def test_all_ways_stand_side_by_side_with_the_cheapest_allowed_proposed(plain: dict[str, Any]) -> None:
    allowed = [row for row in plain["strategies"] if row["allowed"]]
    assert plain["proposed"] == min(allowed, key=lambda row: row["cost"])["strategy"]
    assert all(row["reasons"] for row in plain["strategies"] if not row["allowed"])
    push = plain["strategies"][0]
    assert (push["strategy"], push["kg"], push["bars"]) == (
        "push_through",
        plain["required_kg"],
        plain["bars"],
    )
    spoken = _run().stdout
    assert "Push through, flash diverted" in spoken
    assert "not allowed. The site does not state which units may be run out" in spoken
    assert "proposed" in spoken


def test_one_way_alone(plain: dict[str, Any]) -> None:
    said = _json("--strategy", "strip")
    assert said["strategies"] == [row for row in plain["strategies"] if row["strategy"] == "strip"]
    spoken = _run("--strategy", "strip", "--language", "es").stdout
    assert "Desarmar y limpiar" in spoken
    assert "Empujar" not in spoken.split("\n\n")[1]


def test_a_limit_by_hand_is_marked_and_counts(plain: dict[str, Any], library: Library) -> None:
    said = _json("--limit", "0.002")
    assert said["limit_overruled"] is True
    assert plain["limit_overruled"] is False
    assert said["residual_limit"] == 0.002
    assert said["calculated_limit"] == plain["residual_limit"]
    curve = washout(line_model(library.lines["L2"]), floor=said["rinse"]["floor"])
    assert said["required_kg"] - 1 < curve.kg_to_reach(0.002) <= said["required_kg"]
    assert "overruled by hand: 0.2 %" in _run("--limit", "0.002").stdout


@pytest.mark.parametrize("value", ["1", "1.5"])
def test_a_limit_of_1_or_more_is_nothing_to_flush(value: str) -> None:
    said = _json("--limit", value)
    assert (said["status"], said["required_kg"], said["strategies"]) == ("none", 0, [])
    assert "Nothing has to be flushed." in _run("--limit", value).stdout


@pytest.mark.parametrize("value", ["0", "-0.1", "nan", "inf"])
def test_a_limit_that_is_none_is_refused_by_name(value: str) -> None:
    done = _run(f"--limit={value}")
    assert done.exit_code == 2
    assert done.stderr.startswith("--limit: ")
    assert done.stdout == ""


def test_a_limit_at_or_below_what_the_feed_carries_is_unreachable_and_never_a_big_number() -> None:
    said = _json("--limit", "1e-25")
    assert (said["status"], said["required_kg"], said["minutes"]) == ("unreachable", 0, 0)
    assert "flushing alone never gets there" in _run("--limit", "1e-25").stdout


def test_the_start_of_the_line_comes_from_a_file(
    tmp_path: Path, library: Library, plain: dict[str, Any]
) -> None:
    path = tmp_path / "after.yaml"
    path.write_text("head: 0\nrefiner-plodder: {active: 0.1, plug: 0.1}\n", encoding="utf-8")
    said = _json("--state", path)
    start = {"head": 0.0, "refiner-plodder": UnitStart(active=0.1, plug=0.1)}
    curve = washout(line_model(library.lines["L2"]), floor=said["rinse"]["floor"], start=start)
    kg = curve.kg_to_reach(said["residual_limit"])
    assert said["required_kg"] - 1 < kg <= said["required_kg"] < plain["required_kg"]
    assert said["state"]["peak_residual"] == pytest.approx(curve.peak[1])
    assert said["state"]["first_residual"] == 0
    assert "starts clean and turns bad" in said["state"]["notes"][0]
    assert said["strategies"] == []


def test_faults_of_a_start_name_file_line_and_field(tmp_path: Path) -> None:
    path = tmp_path / "after.yaml"
    path.write_text("head: 0\nrefiner: 0.1\nribbon-mixer: 7\n", encoding="utf-8")
    done = _run("--state", path)
    assert done.exit_code == 2
    assert f"{path}:2:10: refiner: " in done.stderr
    assert f"{path}:3:15: ribbon-mixer: " in done.stderr


@pytest.fixture
def readings(tmp_path: Path, library: Library) -> Path:
    """Two readings of a line that holds 10 % more than its file says."""
    curve = washout(line_model(library.lines["L2"]))
    path = tmp_path / "checks.csv"
    rows = [f"{kg},{curve.residual(kg / 1.1):.6f}" for kg in (110, 150)]
    path.write_text("m_kg,residual\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_check_samples_revise_the_requirement_and_narrow_it(readings: Path, plain: dict[str, Any]) -> None:
    said = _json("--samples", readings)["samples"]
    assert 1.0 < said["holdup_factor"] < 1.12
    assert said["holdup_sd"] < 0.15
    assert plain["required_kg"] < said["planning_kg"] < said["promise_kg"] < plain["sure_kg"] * 1.1
    assert said["to_go_kg"] == said["planning_kg"] - 150
    assert said["to_go_sure_kg"] == said["promise_kg"] - 150
    careful = _json("--samples", readings, "--sample-error", "0.5")["samples"]
    assert careful["holdup_sd"] > said["holdup_sd"]
    assert "to be sure" in _run("--samples", readings).stdout


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("m_kg,residual\n100,0.2\n200,0.4\n", "residual: the readings do not fall"),
        ("m_kg,residual\n100,0.2\n200,5\n", "line 3, residual: 5 is above 1"),
        ("m_kg,residual\n100,0\n", "line 2, residual: 0 is no reading of a residue"),
        ("m_kg,residual\n100,nd\n", "readings: there is no check sample"),
        ("kg,residual\n100,0.2\n", "m_kg: this column is missing"),
    ],
)
def test_samples_that_say_nothing_are_refused_without_a_number(tmp_path: Path, text: str, part: str) -> None:
    path = tmp_path / "checks.csv"
    path.write_text(text, encoding="utf-8")
    done = _run("--samples", path)
    assert done.exit_code == 2
    assert done.stderr.startswith(f"{path}: ")
    assert part in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_reasoning_names_sources_statuses_and_confidence(language: str) -> None:
    said = _json("--explain", "--language", language)
    chain = said["reasoning"]
    text = "\n".join(chain)
    assert len(said["candidates"]) > 2
    for one in said["candidates"]:
        assert f"{one['source']} ({one['confidence']})" in text
    for word in ("T22", f"{said['required_kg']}", f"{said['sure_kg']}", "95 %"):
        assert word in text
    printed = _run("--explain", "--language", language).stdout
    assert all(text in printed for text in chain)
    assert _json()["reasoning"] == []


def test_the_curve_is_written_as_svg_with_limit_band_and_samples(tmp_path: Path, readings: Path) -> None:
    path = tmp_path / "curve.svg"
    done = _run("--svg", path, "--samples", readings)
    assert done.exit_code == 0, done.output
    root = ET.fromstring(path.read_text(encoding="utf-8"))
    kinds = [element.tag.rpartition("}")[2] for element in root.iter()]
    assert kinds.count("circle") == 2
    assert "polygon" in kinds


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (("--strategy", "return_at_once", "--limit", "1"), "--strategy"),
        (("--matrix", "--explain"), "--matrix"),
        (("--svg", "/nowhere/at/all.svg"), "--svg"),
        (("--samples", "/nowhere.csv"), "/nowhere.csv"),
        (("--state", "/nowhere.yaml"), "/nowhere.yaml"),
        (("--state", "x.yaml", "--strategy", "strip"), "--state"),
        (("--to", "palmarosa"), "--to"),
    ],
)
def test_bad_usage_says_what_is_wrong(arguments: tuple[str, ...], part: str) -> None:
    done = _run(*arguments)
    assert done.exit_code == 2
    assert part in done.stderr


def test_an_error_of_samples_that_is_none_is_refused_by_name(readings: Path) -> None:
    done = _run("--samples", readings, "--sample-error", "0")
    assert done.exit_code == 2
    assert done.stderr.startswith("--sample-error: ")
