"""Arguments that hold commands to a terminal: named back as text, refused with a sentence, never a traceback."""

import unicodedata

import pytest
from click.testing import CliRunner
from hypothesis import example, given
from hypothesis import strategies as st

from floorterm.cli import main
from floorterm.ledger import LedgerError
from floorterm.ledger.server import read_url

COMMANDS = "\x1b[2J\x9b1m\x07\u202e"


def _is_inert(text: str) -> bool:
    return all(sign == "\n" or unicodedata.category(sign) not in {"Cc", "Cf", "Cs"} for sign in text)


@pytest.mark.parametrize(
    "arguments",
    [
        (f"x{COMMANDS}",),
        (f"--x{COMMANDS}",),
        ("worksheet", COMMANDS, COMMANDS),
        ("verify", f"--x{COMMANDS}"),
        ("people", COMMANDS),
        ("report", COMMANDS),
        ("archive", f"20{COMMANDS}"),
        ("check", "--checklists", "a\udc9b"),
    ],
    ids=["command", "option", "too-many", "option-of-one", "people", "report", "year", "half-a-character"],
)
def test_a_fault_of_usage_names_arguments_back_as_text(arguments: tuple[str, ...]) -> None:
    done = CliRunner().invoke(main, arguments, color=True)
    assert done.exit_code in (1, 2)
    assert isinstance(done.exception, SystemExit)
    assert done.output
    assert _is_inert(done.output)


_LONG = "a" * 70


@pytest.mark.parametrize(
    "place",
    [
        f"postgresql://u{COMMANDS}/x",
        f"postgresql://{_LONG}/x",
        f"postgresql://h,{_LONG}/x",
        f"postgresql:///x?host={_LONG}",
        "postgresql://h/x%00y",
        "postgresql://u%1b[2J@h/x",
    ],
)
def test_a_server_that_cannot_be_one_is_refused_before_it_is_asked_for(place: str) -> None:
    done = CliRunner().invoke(main, ["shift", "--db", place], color=True)
    assert done.exit_code == 2
    assert isinstance(done.exception, SystemExit)
    assert _is_inert(done.output)


@pytest.mark.parametrize(
    "place", ["postgresql://h1,h2/x", "postgresql:///x?host=/run/sock", "postgresql://u@münchen.example/x"]
)
def test_a_server_that_can_be_one_is_taken(place: str) -> None:
    assert read_url(place).database == "x"


@given(st.text(max_size=60))
@example("//[")
@example("//h:99999999999999999999/x")
def test_a_url_is_read_or_refused_by_name(rest: str) -> None:
    try:
        url = read_url(f"postgresql:{rest}")
    except LedgerError:
        return
    assert url.database
