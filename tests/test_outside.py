"""What comes from outside: read or refused by name, shown as text and never as a command, kept within its folder."""

import ast
import io
import json
import unicodedata
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner
from hypothesis import example, given, settings
from hypothesis import strategies as st

import floorterm.cli
from floorterm.cli import main
from floorterm.entries import TextError, clean_text, file_name, visible
from floorterm.ledger import Ledger
from floorterm.ledger.archive import archive_year
from floorterm.plant import Plant
from floorterm.review.document_table import plain, told_by
from floorterm.review.origin import origin_in
from floorterm.terminal.widgets.notice import Notice
from tests.ledger.conftest import Clock, note, staffed
from tests.ledger.tamper import recomputed, rewrite
from tests.readers import READERS, seeds, try_reader
from tests.terminal.shell import opened, text_of

HOSTILE = "Ada \x1b[2J\x1b]0;x\x07[red]L[/red]\u202e\x9b1m"
_COMMANDS = {"Cc", "Cf", "Cs", "Zl", "Zp"}


def _is_inert(text: str) -> bool:
    return all(sign == "\n" or unicodedata.category(sign) not in _COMMANDS for sign in text)


# --- readers ------------------------------------------------------------------------------------


@st.composite
def _spoiled(draw: st.DrawFn, seeds: tuple[bytes, ...]) -> bytes:
    content = draw(st.sampled_from(seeds))
    for _ in range(draw(st.integers(0, 3))):
        at, cut = draw(st.integers(0, len(content))), draw(st.integers(0, 8))
        content = content[:at] + draw(st.binary(max_size=8)) + content[at + cut :]
    return content


@pytest.mark.parametrize("name", READERS)
@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_every_reader_reads_or_refuses_by_name(name: str, data: st.DataObject) -> None:
    try_reader(name, data.draw(st.binary(max_size=200) | _spoiled(seeds()[name])))


def test_what_the_program_writes_is_read() -> None:
    """A seed that its reader refuses would leave everything behind the first check untried."""
    for name, kept in seeds().items():
        if name != "typed text":  # that seed holds what is refused
            READERS[name][0](kept[0])
    assert origin_in(seeds()["document's origin"][0]) is not None
    assert told_by(seeds()["spreadsheet's origin"][0])
    for name in ("what a terminal said last", "its plain lines"):  # silent where the record has moved
        assert READERS[name][0](seeds()[name][0])
    assert set(seeds()) == set(READERS)


@pytest.mark.parametrize("name", READERS)
@pytest.mark.parametrize(
    "content",
    [
        b"[" * 100_000,
        b'{"a":' * 50_000,
        b"- " * 50_000,
        b"9" * 10_000,
        b'{"n":' + b"9" * 10_000 + b"}",
        b"a" * 200_000,
        b"\x00",
        b"\xff\xfe",
    ],
    ids=["brackets", "braces", "dashes", "digits", "a-long-number", "long", "nul", "no-utf8"],
)
def test_every_reader_outlives_depth_length_and_numbers_without_end(name: str, content: bytes) -> None:
    try_reader(name, content)


def test_a_workbook_whose_names_are_no_text_names_no_origin() -> None:
    """Found by the fuzzer: a name that the archive calls UTF-8 and that is none."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as parts:
        parts.writestr("ä", b"x")
    broken = packed.getvalue().replace("ä".encode(), b"\xc8\xc8")
    with pytest.raises(UnicodeDecodeError):
        zipfile.ZipFile(io.BytesIO(broken))
    assert told_by(broken) == b""


# --- what reaches the terminal ------------------------------------------------------------------


@given(st.text())
@example(HOSTILE)
def test_what_is_shown_holds_no_command_and_every_other_character(text: str) -> None:
    shown = visible(text)
    assert _is_inert(shown)
    assert len(shown) == len(text)
    assert [one for one, was in zip(shown, text, strict=True) if one == was] == [
        one for one in text if _is_inert(one)
    ]


@pytest.mark.parametrize("text", ["\x1b[31m", "a\x07", "\u202eabc", "\x9b1m", "a\tb", "a\nb"])
def test_what_is_typed_or_pasted_with_a_command_in_it_is_not_kept(text: str) -> None:
    with pytest.raises(TextError):
        clean_text(f"x{text}x")


def test_every_command_writes_by_the_one_function_that_cleans() -> None:
    """But the square code of a seal, which the program draws itself, and the bytes of a file."""
    raw = []
    for path in Path(floorterm.cli.__file__).parent.glob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        calls = [ast.unparse(node) for node in ast.walk(tree) if isinstance(node, ast.Call)]
        raw += [
            (path.name, call) for call in calls if call.startswith(("click.echo(", "click.secho(", "print("))
        ]
    assert sorted(raw) == [
        ("common.py", "click.echo(visible(text), nl=nl, err=err)"),
        ("report.py", "click.echo(data, nl=False)"),
        ("seal.py", "click.echo(click.style(line, fg='black', bg='bright_white'))"),
    ]


@pytest.fixture(scope="module")
def forged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A ledger in which somebody with a database tool has put commands into names and texts; its chain holds."""
    path = tmp_path_factory.mktemp("forged") / "ledger.db"
    ledger = staffed(path)
    ledger.append(note("a"))
    ledger.close()

    def with_commands(rows: list[tuple[int, str, str]]) -> list[tuple[int, str, str]]:
        return recomputed(
            (n, body.replace("Ada Lind", json.dumps(HOSTILE)[1:-1]), hash_) for n, body, hash_ in rows
        )

    rewrite(path, with_commands)
    return path


@pytest.mark.parametrize(
    "command",
    [
        ("people", "list"),
        ("status",),
        ("locks",),
        ("shift",),
        ("verify",),
        ("people", "list", "--json"),
        ("health",),
    ],
    ids=" ".join,
)
def test_a_forged_name_reaches_no_command_line_as_a_command(command: tuple[str, ...], forged: Path) -> None:
    place = () if command == ("verify",) else ("--db",)
    done = CliRunner().invoke(main, [*command, *place, str(forged)], env={"FLOORTERM_DB": ""}, color=True)
    assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
    assert done.output
    assert _is_inert(done.output)


def test_the_path_of_a_file_that_is_named_back_is_no_command(tmp_path: Path) -> None:
    for arguments in (["verify", f"{tmp_path}/a\x1b[2J"], ["lockout", "check", f"{tmp_path}/a\x1b[2J"]):
        done = CliRunner().invoke(main, arguments, color=True)
        assert done.exit_code == 2
        assert _is_inert(done.output)


async def test_names_and_texts_are_drawn_as_they_are_and_never_as_commands_or_markup(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        notice = Notice()
        await app.screen.mount(notice)
        notice.show((HOSTILE,))
        await pilot.pause()
        drawn = "".join(segment.text for y in range(notice.size.height) for segment in notice.render_line(y))
        assert "[red]L[/red]" in drawn
        assert "\ufffd[2J" in drawn
        assert _is_inert(drawn)
        assert _is_inert(text_of(app))


# --- what leaves in files -----------------------------------------------------------------------


@given(st.text(st.sampled_from("=+-@\t\r\n '1.a"), max_size=6))
def test_no_cell_of_csv_begins_a_formula(cell: str) -> None:
    written = plain(cell)
    assert written in (cell, f"'{cell}")
    bare = written.lstrip(" ")
    number = bare.removeprefix("-").replace(".", "", 1)
    assert not bare.startswith(("=", "+", "@", "\t", "\r", "\n"))
    assert not bare.startswith("-") or number.isdecimal()


@pytest.mark.parametrize("name", ["../../x", "/etc/x", "a\x00b", "..", "C:\\x", "~", "\x1b[2J", "a/../../b"])
def test_a_name_of_the_record_never_leads_out_of_a_folder(name: str, tmp_path: Path) -> None:
    made = tmp_path / f"{file_name(name)}-2026.jsonl"
    assert made.resolve().parent == tmp_path.resolve()
    assert _is_inert(made.name)


def test_a_year_of_a_forged_plant_is_written_into_the_folder_that_was_named(tmp_path: Path) -> None:
    clock = Clock()
    path = tmp_path / "ledger.db"
    staffed(path, clock).close()
    rewrite(
        path,
        lambda rows: recomputed(
            (n, body.replace('"example"', '"../../out"'), kept) for n, body, kept in rows
        ),
    )
    clock.at = datetime(2027, 6, 1, tzinfo=UTC)
    folder = tmp_path / "years"
    folder.mkdir()
    ledger = Ledger.open(path, clock=clock)
    assert ledger.start().plant_id == "../../out"
    made = archive_year(ledger, 2026, folder, ZoneInfo("UTC"))
    assert made.path.resolve().parent == folder.resolve()
