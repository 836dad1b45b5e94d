"""`floorterm service`: the unit by which systemd keeps a terminal on a console, or the server for browsers, running."""

import shlex
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path

import click

from floorterm.cli.common import db_option, default_db, fail, language_option, put, terminal_option
from floorterm.cli.serve import public_url_option
from floorterm.entries import visible
from floorterm.ledger import LedgerError, Place, is_server

_UNIT = """\
[Unit]
Description=floorterm terminal {terminal} on {tty}
After=systemd-user-sessions.service local-fs.target time-sync.target network-online.target
Wants=time-sync.target network-online.target
Conflicts=getty@{tty}.service
After=getty@{tty}.service

[Service]
User={user}
ExecStart={start}
Environment=TERM={term}
Environment=LANG=C.UTF-8
StandardInput=tty
StandardOutput=tty
StandardError=journal
TTYPath=/dev/{tty}
TTYReset=yes
TTYVHangup=yes
TTYVTDisallocate=yes
Restart=always
RestartSec=1
LogsDirectory=floorterm
StateDirectory=floorterm
UMask=0027
NoNewPrivileges=yes
PrivateTmp=yes
ProtectSystem=full
{writes}TimeoutStopSec=20

[Install]
WantedBy=multi-user.target
"""

_BROWSER_UNIT = """\
[Unit]
Description=floorterm terminal {terminal} for browsers
After=network-online.target local-fs.target time-sync.target
Wants=time-sync.target network-online.target

[Service]
User={user}
ExecStart={start}
{place}Environment=LANG=C.UTF-8
Environment=XDG_STATE_HOME=%S/floorterm/.local/state
Restart=always
RestartSec=5
LogsDirectory=floorterm
StateDirectory=floorterm
UMask=0027
NoNewPrivileges=yes
PrivateTmp=yes
PrivateDevices=yes
ProtectSystem=full
ProtectHome=read-only
ProtectKernelTunables=yes
ProtectControlGroups=yes
RestrictAddressFamilies=AF_UNIX AF_INET AF_INET6
{writes}TimeoutStopSec=20

[Install]
WantedBy=multi-user.target
"""
_FROM_ENVIRONMENT = """\
# FLOORTERM_DB=postgresql://account@host/db stands in this file, which root alone may read, and beside it the
# account's PGPASSWORD=..., or PGPASSFILE=... with the path of its password file:
EnvironmentFile=/etc/floorterm/browsers.env
"""


@click.command()
@click.option("--tty", default="tty1", show_default=True, help="The console, such as tty1 or ttyUSB0.")
@terminal_option
@click.option("--user", default="floorterm", show_default=True, help="The service account.")
@language_option
@click.option(
    "--browser",
    is_flag=True,
    help="The unit of `floorterm serve` instead, which listens to this machine alone.",
)
@public_url_option
@db_option
def service(
    tty: str, terminal: str, user: str, language: str, browser: bool, public_url: str, db: Place | None
) -> None:
    """Print a systemd unit that opens a terminal on a console at boot and again whenever it ends.

    With --browser it is the unit of the server for browsers. The URL of a ledger on a server does not stand in that
    one: it belongs into an environment file that the unit names, beside the password of its account.
    """
    for name, value in (("--tty", tty), ("--user", user)):
        if not value or not all(letter.isalnum() or letter in "-_." for letter in value):
            fail(f"{name} {value!r}: give a plain name of letters and digits.")
    place = place_to_print(db)
    if browser:
        put(_browser_unit(place, terminal, user, language, public_url), nl=False)
        return
    if public_url:
        fail("--public-url belongs to --browser.")
    start = (*start_words(terminal, language, place), "--log", f"/var/log/floorterm/{tty}.log")
    put(
        _UNIT.format(
            terminal=_literal(terminal),
            tty=tty,
            user=user,
            term="linux" if tty.removeprefix("tty").isdigit() else "vt220",
            start=_command(start),
            writes=_writes(place),
        ),
        nl=False,
    )


def _browser_unit(place: Place, terminal: str, user: str, language: str, public_url: str) -> str:
    on_file = (str(place.absolute()),) if isinstance(place, Path) else ()
    behind = ("--public-url", public_url) if public_url else ()
    log = ("--log", "/var/log/floorterm/browsers.log")
    start = (_program(), "serve", *on_file, "--terminal", terminal, "--language", language, *behind, *log)
    return _BROWSER_UNIT.format(
        terminal=_literal(terminal),
        user=user,
        start=_command(start),
        place="" if on_file else _FROM_ENVIRONMENT,
        writes=_writes(place),
    )


def _writes(place: Place) -> str:
    return f"ReadWritePaths={_word(str(place.absolute().parent))}\n" if isinstance(place, Path) else ""


def _program() -> str:
    return shutil.which("floorterm") or str(Path(sys.executable).with_name("floorterm"))


def place_to_print(db: Place | None) -> Place:
    """The ledger that is meant; leaves with status 2 and the reason where its URL is none, or carries a password."""
    place = db or default_db()
    if is_server(place):
        from floorterm.ledger.server import read_url  # noqa: PLC0415  not for a file

        try:
            read_url(str(place))
        except LedgerError as error:
            fail(str(error))
    return place


def start_words(terminal: str, language: str, place: Place) -> tuple[str, ...]:
    """The command that opens a terminal on a ledger, wherever it is run from."""
    return (
        _program(),
        "open",
        *("--terminal", terminal),
        *("--language", language),
        *("--db", str(place.absolute() if isinstance(place, Path) else place)),
    )


def _literal(text: str) -> str:
    """A text that systemd takes as it stands: `%` would begin one of its specifiers (systemd.unit(5))."""
    return text.replace("%", "%%")


def _word(text: str) -> str:
    """One word of a setting (systemd.syntax(7), quoting); leaves with status 2 where no unit can hold it."""
    if "\n" in text or visible(text) != text:
        fail(
            f"{text!r} has a sign in it that cannot stand in a unit: a line end, or a command to a terminal."
        )
    if shlex.quote(text) == text:
        return _literal(text)
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{_literal(escaped)}"'


def _command(words: Sequence[str]) -> str:
    """A command line (systemd.service(5)): in its arguments, not in the program's path, `$` begins a variable."""
    program, *arguments = map(_word, words)
    return " ".join((program, *(argument.replace("$", "$$") for argument in arguments)))
