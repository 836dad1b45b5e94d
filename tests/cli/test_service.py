"""What README tells whoever looks after the machine: each command is run as it stands, in another folder."""

import configparser
import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from floorterm.cli import main
from floorterm.cli.health import _of_ledger
from floorterm.cli.serve import serve
from floorterm.entries import Draft, clean_text
from floorterm.ledger import Head, Ledger, LedgerClosedError, OneTimePinError, PinError, verify_file
from floorterm.ledger.last_seen import LastSeen
from floorterm.ledger.pins import BURST
from floorterm.ledger.server import read_url
from floorterm.people import Permission, Person
from floorterm.plant import Plant, Who, new_key
from floorterm.terminal.opening import default_seen, memory_path
from tests.conftest import PIN
from tests.ledger.conftest import Clock, staffed

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
TYPED = {"init": f"{PIN}\n{PIN}\n", "move": f"{PIN}\n", "people": f"{PIN}\n{PIN}\n"}


def _told(about: str) -> list[str]:
    """The commands of the block that follows a word of the section, without those of the system."""
    section = README.split("### Running it as a service")[1].split("\n## ")[0]
    block = re.search(r"```sh\n(.*?)```", section[section.index(about) :], re.DOTALL)
    assert block
    return [line for line in block.group(1).splitlines() if line.startswith("floorterm ")]


def _run(command: str, folder: Path) -> Result:
    words = shlex.split(command.replace("/var/lib/floorterm", str(folder)))[1:]
    target = words[words.index(">") + 1] if ">" in words else None
    done = CliRunner().invoke(main, words[: words.index(">")] if target else words, input=TYPED.get(words[0]))
    if target:
        (folder / Path(target).name).write_text(done.stdout, encoding="utf-8")
    return done


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of a ledger that was made as README tells, with two supervisors in it."""
    folder = tmp_path / "floorterm"
    folder.mkdir()
    monkeypatch.chdir(folder)
    monkeypatch.delenv("FLOORTERM_DB", raising=False)
    for command in _told("On Linux"):
        done = _run(command, folder)
        assert done.exit_code == 0, f"{command}: {done.output}"
    ledger = Ledger.open(folder / "ledger.db")
    for code in ("S1", "S2"):
        ledger.add_person(Person(code, f"{code} Ortiz", Permission.SUPERVISOR), PIN, by="AD")
    return folder


def _settings(unit: str) -> Mapping[str, configparser.SectionProxy]:
    read = configparser.ConfigParser(interpolation=None, strict=False)
    read.optionxform = str  # type: ignore[assignment,method-assign]
    read.read_string(unit)
    return read


def _words(setting: str) -> list[str]:
    """Quoted words as systemd reads them: `\\` escapes, and `%%` is a sign of per cent."""
    return [word.replace("%%", "%") for word in shlex.split(setting)]


def _check_with_systemd(path: Path) -> None:
    """systemd's own reading of a unit, where there is one."""
    if checker := shutil.which("systemd-analyze"):
        done = subprocess.run([checker, "verify", path], capture_output=True, text=True, check=False)
        assert path.name not in done.stderr, done.stderr


def test_the_unit_opens_a_terminal_on_the_console_and_again_whenever_it_ends(kept: Path) -> None:
    path = kept / "floorterm-tty1.service"
    unit = _settings(path.read_text(encoding="utf-8"))
    service = unit["Service"]
    assert (service["User"], service["TTYPath"], service["Restart"]) == ("floorterm", "/dev/tty1", "always")
    words = shlex.split(service["ExecStart"])
    assert words[1:4] == ["open", "--terminal", "L1"]
    assert words[words.index("--db") + 1] == str(kept / "ledger.db")
    assert unit["Install"]["WantedBy"] == "multi-user.target"
    _check_with_systemd(path)


@pytest.mark.parametrize("place", ["ledger.db", "postgresql://line@db.plant.example/floor"])
def test_the_unit_for_browsers_starts_a_command_that_the_program_takes(tmp_path: Path, place: str) -> None:
    where = place if "://" in place else str(tmp_path / place)
    done = CliRunner().invoke(
        main,
        [
            "service",
            "--browser",
            "--db",
            where,
            "--public-url",
            "https://floor.plant.example",
            "--terminal",
            "WEB 1",
        ],
    )
    assert done.exit_code == 0, done.output
    service = _settings(done.stdout)["Service"]
    words = shlex.split(service["ExecStart"])
    asked = serve.make_context("serve", words[2:]).params
    assert words[1] == "serve"
    assert (asked["host"], asked["public_url"]) == ("127.0.0.1", "https://floor.plant.example")
    assert asked["terminal"] == "WEB 1"
    assert (
        (str(asked["place"]) == where) == ("EnvironmentFile" not in service) == ("ReadWritePaths" in service)
    )
    assert service["NoNewPrivileges"] == "yes"
    path = tmp_path / "floorterm-browsers.service"
    path.write_text(done.stdout, encoding="utf-8")
    _check_with_systemd(path)


def test_the_unit_for_browsers_keeps_what_terminals_saw_where_it_may_write(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The account's home may be one under /home, which the unit protects: a memory there would be lost unsaid."""
    unit = CliRunner().invoke(main, ["service", "--browser", "--db", "l.db"]).stdout
    home = re.search(r"^Environment=XDG_STATE_HOME=(.+)$", unit, re.MULTILINE)
    assert home
    monkeypatch.setenv("XDG_STATE_HOME", home[1].replace("%S", str(tmp_path)))
    state = tmp_path / _settings(unit)["Service"]["StateDirectory"]
    seen = default_seen("web-1")
    said = memory_path("web-1", seen)
    assert said
    assert state in seen.parents
    assert state in said.parents
    head = Head(7, "00", datetime(2026, 11, 24, tzinfo=UTC), "a-chain")
    LastSeen(seen).keep("l.db", "00", head)
    assert LastSeen(seen).of("l.db", "00") == head


@pytest.mark.parametrize("kind", [(), ("--browser",)])
def test_a_path_and_a_name_of_any_signs_reach_the_program_as_they_are(
    kind: tuple[str, ...], tmp_path: Path
) -> None:
    folder = tmp_path / "a  $b ${c} \\x41 \"d\" 'e' %h ; ü"
    name = 'L1  $b %h "\\'
    done = CliRunner().invoke(
        main, ["service", *kind, "--db", f"{folder}/l.db", "--terminal", name, "--language", "en"]
    )
    assert done.exit_code == 0, done.output
    unit = _settings(done.stdout)
    given = [word.replace("$$", "$") for word in _words(unit["Service"]["ExecStart"])]
    assert f"{folder}/l.db" in given
    assert given[given.index("--terminal") + 1] == clean_text(name)
    assert _words(unit["Service"]["ReadWritePaths"]) == [str(folder)]
    assert unit["Unit"]["After"]  # a name that ends with `\` does not take the next line with it
    path = tmp_path / "floorterm.service"
    path.write_text(done.stdout, encoding="utf-8")
    _check_with_systemd(path)


@pytest.mark.parametrize("sign", ["\n", "\x1b", "\t"])
def test_a_path_that_no_unit_can_hold_is_refused(sign: str) -> None:
    done = CliRunner().invoke(main, ["service", "--db", f"/srv/a{sign}b/l.db"])
    assert (done.exit_code, done.stdout) == (2, "")
    assert "cannot stand in a unit" in done.stderr


def test_an_address_is_checked_before_it_is_printed() -> None:
    for url in ("floor.example", "https://[", "ftp://floor.example"):
        done = CliRunner().invoke(main, ["service", "--browser", "--public-url", url])
        assert (done.exit_code, done.stdout) == (2, "")
        assert "https://floor.example" in done.stderr


def test_the_environment_file_that_the_unit_for_browsers_asks_for_is_one_that_the_program_takes() -> None:
    """As the unit and README tell it; `test_server` looks whether a visitor's process gets the password too."""
    command = ("service", "--browser", "--db", "postgresql://line@db.plant.example/floor")
    unit = CliRunner().invoke(main, command).stdout
    for told in (unit, README.split("`floorterm service --browser")[1]):
        assert {"PGPASSWORD", "PGPASSFILE"} == set(re.findall(r"\b(PG[A-Z]+)=", told))
        found = re.search(r"FLOORTERM_DB=(postgresql://[^\s`]+)", told)
        assert found
        assert read_url(found[1]).password is None


@pytest.mark.parametrize("command", ["service", "service --browser", "launcher"])
@pytest.mark.parametrize("where", ["line:secret@db/floor", "line@db/floor?password=secret"])
def test_a_password_in_a_url_is_refused_rather_than_printed(command: str, where: str) -> None:
    env = {"FLOORTERM_DB": f"postgresql://{where}"}
    done = CliRunner().invoke(main, command.split(), env=env)
    assert (done.exit_code, done.stdout) == (2, "")
    assert "it carries a password" in done.stderr
    assert "secret" not in done.stderr


@pytest.mark.parametrize("name", ["", "../tty1", "tty1\nExecStart=/bin/false"])
def test_a_console_is_a_plain_name(name: str) -> None:
    done = CliRunner().invoke(main, ["service", "--tty", name])
    assert done.exit_code == 2
    assert "plain name" in done.stderr


def test_a_terminals_name_adds_no_directive_and_no_specifier() -> None:
    assert CliRunner().invoke(main, ["service", "--terminal", "L1\nUser=root"]).exit_code == 2
    done = CliRunner().invoke(main, ["service", "--terminal", "User=x %h $HOME 'x'"])
    lines = done.stdout.splitlines()
    assert [line for line in lines if line.startswith("User=")] == ["User=floorterm"]
    (start,) = (line for line in lines if line.startswith("ExecStart="))
    assert "%%h $$HOME" in start


def test_health_says_what_needs_attention_with_status_1(kept: Path) -> None:
    (command,) = _told("**Health.**")
    done = _run(f"{command} --json", kept)
    found = {one["what"]: one for one in json.loads(done.stdout)}
    assert found["backup"]["state"] == "attention"
    assert done.exit_code == 1
    assert found["ledger"]["state"] == "well"
    assert {"newest entry", "clock", "disk", "versions"} < found.keys()
    assert _run(f"floorterm backup copy.db --db {kept}/ledger.db", kept).exit_code == 0
    done = _run(f"{command} --json", kept)
    found = {one["what"]: one for one in json.loads(done.stdout)}
    assert found["backup"]["state"] == "well"
    assert done.exit_code == (1 if any(one["state"] == "attention" for one in found.values()) else 0)


def test_many_wrong_pins_need_attention_for_a_day(tmp_path: Path) -> None:
    clock = Clock()
    ledger = staffed(tmp_path / "ledger.db", clock)
    for number in range(BURST):
        with pytest.raises(PinError):
            ledger.check_pin("P01", "975310", terminal=f"T{number}")
        clock.advance(900)
    for later, state in ((timedelta(), "attention"), (timedelta(days=2), "well")):
        found = {one.what: one for one in _of_ledger(ledger, clock.at + later, timedelta(days=7))}
        assert found["wrong PINs"].state == state


def test_an_entry_after_this_machines_time_is_told(kept: Path, tmp_path: Path) -> None:
    late = Ledger.open(kept / "ledger.db", clock=lambda: datetime.now(UTC) + timedelta(hours=1))
    late.append(Draft(kind="note", key="k", person="S1", terminal="T1"))
    done = _run(f"floorterm health --json --db {kept}/ledger.db", kept)
    found = {one["what"]: one for one in json.loads(done.stdout)}
    assert found["newest entry"]["state"] == "attention"
    assert "one of the clocks is wrong" in found["newest entry"]["told"]


def test_an_upgrade_finds_the_changeover_where_it_stood(kept: Path, plant: Plant) -> None:
    who = Who(plant.ledger.person("AA"), "pin")
    work = plant.start_changeover(who, "L1", "petitgrain", new_key()).work
    (kept / "ledger.db").unlink()
    shutil.copyfile(plant.ledger.path, kept / "ledger.db")
    said = []
    for command in _told("**Upgrade.**"):
        done = _run(command, kept)
        assert done.exit_code == 0, f"{command}: {done.output}"
        said.append(done.output)
    assert work in said[-1]
    assert verify_file(kept / "before-upgrade.db").ok


def test_a_moved_ledger_goes_on_in_one_place(kept: Path) -> None:
    for command in _told("**Another machine.**"):
        done = _run(command, kept)
        assert done.exit_code == 0, f"{command}: {done.output}"
    with pytest.raises(LedgerClosedError):
        Ledger.open(kept / "ledger.db").add_person(Person("P1", "Pat Roe"), None, by="AD")
    assert Ledger.open(kept / "carried.db").add_person(Person("P1", "Pat Roe"), None, by="AD").n > 1


def test_two_people_give_a_lost_administrator_a_one_time_pin(kept: Path) -> None:
    (command,) = _told("**An administrator")
    done = _run(command, kept)
    assert done.exit_code == 0, done.output
    pin = done.output.rsplit(maxsplit=1)[-1]
    ledger = Ledger.open(kept / "ledger.db")
    with pytest.raises(OneTimePinError):
        ledger.check_pin("AD", pin)
    entry = ledger.entries(newest_first=True, limit=1, kinds=("person.pin_reset",))[0]
    assert (entry.person, entry.witness, entry.reason) == ("S1", "S2", "both know A. Dmin by sight")


def test_the_log_says_what_happened_and_holds_no_secret(plant: Plant, tmp_path: Path) -> None:
    """A real terminal signs somebody in, records, loses its ledger, is told to go."""
    from tests.terminal.pty_run import PseudoTerminal

    log = tmp_path / "L1.log"
    (told,) = _told("**Logs.**")
    words = shlex.split(told.replace("/var/log/floorterm", str(tmp_path)))[1:]
    words[words.index("--db") + 1] = str(plant.ledger.path)
    terminal = PseudoTerminal((sys.executable, "-m", "floorterm", *words))
    terminal.wait_for(lambda text: "no changeover on" in text)
    terminal.send(b"\x1b[21~")  # F10: who is here
    terminal.wait_for(lambda text: "code" in text.lower())
    terminal.type("AA")
    terminal.type(PIN)
    terminal.wait_for(lambda text: "A. Abel" in text)
    plant.ledger.path.rename(tmp_path / "elsewhere.db")
    terminal.wait_for(lambda text: "NO RECORD" in text)
    os.kill(terminal.pid, 15)
    while terminal.pump(1.0):
        pass
    os.waitpid(terminal.pid, 0)
    text = log.read_text(encoding="utf-8")
    for told in ("started at terminal L1", "record open: chain", "record lost: ", "signal 15"):
        assert told in text, text
    for secret in (PIN, "Abel", "AA "):
        assert secret not in text
    assert re.search(r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ INFO ", text, re.MULTILINE)


def test_a_full_log_is_put_aside_and_few_are_kept(tmp_path: Path) -> None:
    code = (
        "import sys\nfrom pathlib import Path\nfrom floorterm.terminal import log\n"
        "log._BYTES = 2000\nassert log.open_log(Path(sys.argv[1])) == ''\n"
        "for n in range(400): log.LOG.info('record lost: %d', n)\n"
    )
    path = tmp_path / "logs" / "T1.log"
    subprocess.run([sys.executable, "-c", code, path], check=True)
    assert sorted(one.name for one in path.parent.iterdir()) == [
        "T1.log", "T1.log.1", "T1.log.2", "T1.log.3", "T1.log.4", "T1.log.5",
    ]  # fmt: skip
    assert all(one.stat().st_size <= 2000 for one in path.parent.iterdir())


def test_a_log_that_cannot_be_written_is_told_and_stops_nothing(tmp_path: Path) -> None:
    from floorterm.terminal.log import open_log

    (tmp_path / "file").write_text("")
    assert open_log(tmp_path / "file" / "T1.log")
