"""`floorterm service`: the unit file by which systemd keeps a terminal running on a console from boot on."""

import shlex
import shutil
import sys
from pathlib import Path

import click

from floorterm.cli.common import db_option, default_db, fail, language_option, put, terminal_option
from floorterm.ledger import Place

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


@click.command()
@click.option("--tty", default="tty1", show_default=True, help="The console, such as tty1 or ttyUSB0.")
@terminal_option
@click.option("--user", default="floorterm", show_default=True, help="The service account.")
@language_option
@db_option
def service(tty: str, terminal: str, user: str, language: str, db: Place | None) -> None:
    """Print a systemd unit that opens a terminal on a console at boot and again whenever it ends."""
    for name, value in (("--tty", tty), ("--user", user)):
        if not value or not all(letter.isalnum() or letter in "-_." for letter in value):
            fail(f"{name} {value!r}: give a plain name of letters and digits.")
    place = db or default_db()
    start = (*start_words(terminal, language, place), "--log", f"/var/log/floorterm/{tty}.log")
    put(
        _UNIT.format(
            terminal=_kept(terminal),
            tty=tty,
            user=user,
            term="linux" if tty.removeprefix("tty").isdigit() else "vt220",
            start=" ".join(map(_word, start)),
            writes=f"ReadWritePaths={_word(str(place.absolute().parent))}\n"
            if isinstance(place, Path)
            else "",
        ),
        nl=False,
    )


def start_words(terminal: str, language: str, db: Place | None) -> tuple[str, ...]:
    """The command that opens a terminal on a ledger, wherever it is run from."""
    place = db or default_db()
    return (
        shutil.which("floorterm") or str(Path(sys.executable).with_name("floorterm")),
        "open",
        *("--terminal", terminal),
        *("--language", language),
        *("--db", str(place.absolute() if isinstance(place, Path) else place)),
    )


def _kept(text: str) -> str:
    """A text that systemd takes as it stands: `%` would begin one of its specifiers, a line end a directive."""
    return " ".join(text.split()).replace("%", "%%")


def _word(text: str) -> str:
    """One word of a command line in a unit file (systemd.service(5), command lines)."""
    return shlex.quote(_kept(text)).replace("$", "$$")
