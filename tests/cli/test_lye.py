"""`floorterm lye` as people and programs see it: labels, sources, refusals, exit statuses."""

import json

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from tests.cli.lightness import run_without

LABEL = {"en": "estimate, not a permission", "es": "estimación, no un permiso"}


def _run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["lye", *arguments])


def test_a_dilution_as_json_is_the_worked_one() -> None:
    """Hand reckoning with the published densities: 20 kg into 80 kg, 90.18 L."""
    done = _run("dilute", "--stock", "50", "--target", "10", "--kg", "100", "--json")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["label"] == LABEL["en"]
    assert said["stock_kg"] == pytest.approx(20)
    assert said["water_kg"] == pytest.approx(80)
    assert said["total_l"] == pytest.approx(90.18, rel=3e-3)
    assert said["peak_c"] >= said["end_c"]
    assert said["verdict"] == "below_limit"
    assert said["bands"] == {"EU": "1A", "US": "corrosive"}
    assert said["protection"]["asked_class"] == "L3"
    assert any(one["unconfirmed"] for one in said["sources"])
    assert all(one["confirmed_by"] == "" for one in said["sources"])


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize(
    "command",
    [
        ("dilute", "--stock", "50", "--target", "10", "--kg", "100"),
        ("dilute", "--stock", "100", "--target", "5", "--litres", "40"),
        ("spill", "--strength", "50", "--litres", "10", "--kit-kg", "2"),
    ],
)
def test_every_figure_in_the_table_carries_its_label(command: tuple[str, ...], language: str) -> None:
    done = _run(*command, "--language", language)
    lines = done.stdout.splitlines()
    rule = next(i for i, line in enumerate(lines) if line.startswith("---"))
    rows = lines[rule + 1 : rule + 7]
    assert len(rows) == 6
    assert all(line.endswith(LABEL[language]) for line in rows), done.stdout
    assert "OK" not in done.stdout
    assert "? " in done.stdout  # what nobody confirmed is marked
    assert max(map(len, lines)) <= 90


def test_the_data_sheet_and_a_competent_person_prevail_on_every_sheet() -> None:
    for command in (
        ("dilute", "--stock", "50", "--target", "10", "--kg", "1"),
        ("spill", "--strength", "9", "--kg", "1"),
    ):
        said = _run(*command).stdout.replace("\n", " ")
        assert "safety data sheet" in said
        assert "competent person prevail" in said


def test_lye_goes_into_water_on_every_dilution_however_cool() -> None:
    for target in ("2", "30"):
        said = _run("dilute", "--stock", "50", "--target", target, "--kg", "10").stdout
        assert "Never water onto lye" in said
        assert said.index("All of the water first") < said.index("Lye into the water, slowly")


def test_too_hot_leaves_with_1_and_raises_the_protection() -> None:
    done = _run(
        "dilute", "--stock", "50", "--target", "30", "--kg", "100", "--stock-temperature", "50", "--json"
    )
    assert done.exit_code == 1
    said = json.loads(done.stdout)
    assert said["verdict"] == "stop"
    assert said["advice"]
    assert said["protection"]["asked_class"] == "L2"
    assert said["protection"]["raised_by"] == ["temperature"]


def test_the_sites_own_limit_and_one_temperature_for_both_are_taken() -> None:
    done = _run(
        "dilute", "--stock", "50", "--target", "20", "--kg", "100", "--temperature", "30",
        "--limit-temperature", "50", "--json",
    )  # fmt: skip
    said = json.loads(done.stdout)
    assert (said["stock_c"], said["water_c"], said["limit_c"]) == (30, 30, 50)
    assert done.exit_code == 1


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--stock", "60", "--target", "10", "--kg", "1"), "outside the tables"),
        (("--stock", "50", "--target", "10", "--kg", "1", "--temperature", "5"), "outside the tables"),
        (
            ("--stock", "50", "--target", "10", "--kg", "1", "--stock-temperature", "101"),
            "outside the tables",
        ),
        (("--stock", "100", "--target", "26", "--kg", "1"), "add in stages"),
        (("--stock", "20", "--target", "30", "--kg", "1"), "weaker"),
        (("--stock", "50", "--target", "10"), "one of them"),
        (("--stock", "50", "--target", "10", "--kg", "1", "--litres", "1"), "one of them"),
        (("--stock", "50", "--target", "10", "--kg", "0"), "not more than 0"),
        (("--stock", "50", "--target", "10", "--kg", "100", "--vessel", "90"), "too small"),
        (("--stock", "50", "--target", "10", "--kg", "nan"), "finite"),
    ],
)
def test_what_cannot_be_reckoned_leaves_with_2_and_gives_no_figure(
    arguments: tuple[str, ...], told: str
) -> None:
    done = _run("dilute", *arguments)
    assert done.exit_code == 2
    assert told in done.stderr
    assert "No figure is given" in done.stderr
    assert done.stdout == ""


def test_a_label_that_disagrees_is_told() -> None:
    done = _run("dilute", "--stock", "50", "--target", "10", "--kg", "1", "--label", "irritant", "--json")
    assert any("label says irritant" in text for text in json.loads(done.stdout)["warnings"])
    done = _run("dilute", "--stock", "50", "--target", "1.5", "--kg", "1", "--json")
    assert any("US rule corrosive" in text for text in json.loads(done.stdout)["warnings"])


def test_a_spill_beyond_the_kit_says_absorb_and_leaves_with_1() -> None:
    """Hand reckoning: 2 kg of citric acid reach 1.6 L of 50 %."""
    done = _run("spill", "--strength", "50", "--litres", "10", "--kit-kg", "2")
    assert done.exit_code == 1
    assert "DO NOT TRY TO NEUTRALISE" in done.stdout
    assert done.stdout.index("Keep people away") < done.stdout.index("quantity")
    small = _run("spill", "--strength", "50", "--litres", "1", "--kit-kg", "2", "--json")
    assert small.exit_code == 0
    said = json.loads(small.stdout)
    assert said["advice"] == "absorb_then_residue"
    assert said["label"] == LABEL["en"]
    assert said["kit_l"] == pytest.approx(1.6, abs=0.05)


def test_a_large_spill_calls_the_safety_officer() -> None:
    said = _run("spill", "--strength", "50", "--litres", "700", "--absorbs", "50").stdout
    assert "LEAVE AND CALL" in said
    assert "Tell the safety officer now" in said
    assert "from memory" in said


def test_a_strong_acid_is_refused_at_a_spill() -> None:
    done = _run("spill", "--strength", "50", "--litres", "1", "--neutraliser", "hydrochloric")
    assert done.exit_code == 2
    assert "strong acid" in done.stderr


def test_the_calculator_imports_nothing_heavy() -> None:
    heavy = ("textual", "sqlalchemy", "sqlmodel", "sqlite3", "pydantic", "yaml", "numpy", "scipy")
    run_without(heavy, ("lye", "dilute", "--stock", "50", "--target", "10", "--kg", "1"))
