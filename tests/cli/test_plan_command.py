"""`floorterm plan`: a table and a document, what the line holds from the record, and what it refuses."""

import json

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.demo import shipped

_LINE = ("--line", "L2", "--on", "2026-11-24")
_DAY = ("litsea", "plain", "juniper")


def _run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["plan", *_LINE, *arguments], env={"FLOORTERM_DB": ""})


def test_the_order_the_cost_and_what_the_given_order_would_cost_are_told() -> None:
    done = _run("--from", "palmarosa", *_DAY)
    assert done.exit_code == 0, done.output
    said = json.loads(_run("--from", "palmarosa", *_DAY, "--json").stdout)
    names = [change["incoming"] for change in said["order"]]
    assert sorted(names) == sorted(_DAY)
    assert said["changeover_min"] == pytest.approx(sum(change["minutes"] for change in said["order"]))
    assert said["proved"]
    assert said["given_min"] > said["changeover_min"]
    more = f"{said['given_min'] - said['changeover_min']:.1f} min more"
    assert "PROVED BEST" in done.output
    assert more in done.output
    table = [line.split()[1].casefold() for line in done.output.splitlines()[3 : 3 + len(_DAY)]]
    assert table == names


def test_what_the_line_holds_comes_from_the_record() -> None:
    said = json.loads(_run("--db", str(shipped()), *_DAY, "--json").stdout)
    assert said["order"][0]["outgoing"] == "palmarosa"
    said = json.loads(_run("--line", "L1", "--db", str(shipped()), *_DAY, "--json").stdout)
    assert said["order"][0]["outgoing"] == "plain"  # a changeover from clove leaf to it is on


def test_what_the_line_holds_may_be_said_twice() -> None:
    said = json.loads(_run("--from", "litsea", "--from", "litsea", "litsea", "--json").stdout)
    assert (said["changeover_min"], said["order"][0]["flush_kg"]) == (0, 0)


def test_rules_are_kept_and_priced() -> None:
    said = json.loads(
        _run(
            "--from", "palmarosa", *_DAY, "--first", "plain", "--before", "juniper", "litsea", "--json"
        ).stdout
    )
    assert [change["incoming"] for change in said["order"]] == ["plain", "juniper", "litsea"]
    free = json.loads(_run("--from", "palmarosa", *_DAY, "--before", "juniper", "litsea", "--json").stdout)
    price = {(rule["first"], rule["then"]): rule["costs_min"] for rule in said["rules"]}
    assert price.get(("plain", None), 0) == pytest.approx(said["changeover_min"] - free["changeover_min"])
    done = _run("--from", "palmarosa", *_DAY, "--first", "plain", "--last", "plain")
    assert done.exit_code == 1
    assert "NO ORDER KEEPS ALL RULES" in done.output
    assert "without the rule that Plain runs before all others" in done.output


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (_DAY, "--from"),
        (("--from", "nobody", *_DAY), "'nobody' does not run on L2"),
        (("--from", "palmarosa", "plain", "plain"), "twice"),
        (("--from", "palmarosa", *_DAY, "--first", "petitgrain"), "petitgrain"),
        (("--from", "palmarosa", *_DAY, "--line", "L9"), "'L9'"),
    ],
)
def test_what_cannot_be_planned_is_refused_with_the_reason(arguments: tuple[str, ...], why: str) -> None:
    done = _run(*arguments)
    assert done.exit_code == 2
    assert why in done.output


def test_the_list_of_commands_says_what_each_does() -> None:
    listed = CliRunner().invoke(main, ["--help"]).output
    assert "loses the least" in listed
    assert "floorterm.cli" not in listed
