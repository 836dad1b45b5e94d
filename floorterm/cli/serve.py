"""`floorterm serve`: the terminal for browsers on the plant's own network, behind a sign-in (extra `web`)."""

import socket
import ssl
from pathlib import Path
from typing import TYPE_CHECKING

import click

from floorterm.cli.common import (
    PlaceType,
    checklists_option,
    db_option,
    default_db,
    fail,
    language_option,
    load_library,
    open_ledger,
    own_folder,
    put,
    terminal_option_of,
)
from floorterm.cli.open import panel_option
from floorterm.ledger import Place

if TYPE_CHECKING:
    from floorterm.terminal.hands import Panel

_FILE = click.Path(path_type=Path, dir_okay=False)


def _public_url(_: click.Context, __: click.Parameter, url: str) -> str:
    from floorterm.web.door import origin_of  # noqa: PLC0415  where it is given

    if url and not origin_of(url):
        raise click.BadParameter(f"{url!r}: give it as https://floor.example.")
    return url


public_url_option = click.option(
    "--public-url",
    default="",
    metavar="URL",
    callback=_public_url,
    help="The address of a proxy with TLS in front, as https://floor.example; browsers reach this server there.",
)


@click.command()
@click.argument("place", metavar="[LEDGER]", required=False, type=PlaceType())
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen at (default: this machine only).",
)
@click.option("--port", type=click.IntRange(1, 65535), default=8080, show_default=True)
@click.option("--certificate", type=_FILE, help="TLS certificate (PEM, with its chain) of this server.")
@click.option("--key", type=_FILE, help="Its private key (PEM).")
@click.option(
    "--without-tls",
    is_flag=True,
    help="Listen beyond this machine unencrypted: PINs can then be read on the way. Only behind a proxy with TLS.",
)
@public_url_option
@click.option("--name", "names", multiple=True, help="Another name by which browsers reach this machine.")
@click.option("--visitors", type=click.IntRange(1, 200), default=8, show_default=True, help="Most at once.")
@click.option(
    "--font-size", type=click.IntRange(10, 48), default=16, show_default=True, help="In CSS pixels."
)
@terminal_option_of("web")
@language_option
@click.option("--look", type=click.Choice(["night", "day"]), default="night", show_default=True)
@panel_option
@click.option("--log", type=_FILE, help="Log of the server (default: in the account's own log folder).")
@checklists_option
@db_option
def serve(
    place: Place | None,
    host: str,
    port: int,
    certificate: Path | None,
    key: Path | None,
    without_tls: bool,
    public_url: str,
    names: tuple[str, ...],
    visitors: int,
    font_size: int,
    terminal: str,
    language: str,
    look: str,
    panel: "Panel | None",
    log: Path | None,
    checklists: Path | None,
    db: Place | None,
) -> None:
    """Serve the terminal to browsers, behind a sign-in with code and PIN.

    The sign-in lets somebody reach the terminal; each act inside is signed with a PIN as anywhere else. Every
    visitor has a process of their own. Until told otherwise, only this machine itself is served.
    """
    from floorterm.terminal.log import open_log  # noqa: PLC0415
    from floorterm.terminal.opening import default_log, default_seen  # noqa: PLC0415  only where it is served

    try:
        from floorterm.web.door import is_loopback  # noqa: PLC0415
        from floorterm.web.server import Settings  # noqa: PLC0415
        from floorterm.web.server import serve as serve_browsers  # noqa: PLC0415
    except ModuleNotFoundError as fault:
        if (fault.name or "").partition(".")[0] not in ("aiohttp", "textual_serve"):
            raise
        fail("Browser access needs the extra `web`: pip install 'floorterm[web]'.")
    tls = _tls(certificate, key)
    if not is_loopback(host) and tls is None and not without_tls:
        fail(
            f"Not served at {host}: PINs would cross the network unencrypted. Give --certificate and --key, or listen"
            " on 127.0.0.1 with a proxy in front that speaks TLS (--public-url). Where something else encrypts the"
            " way to this machine, say --without-tls."
        )
    where = place or db or default_db()
    ledger = open_ledger(where)
    library = load_library(own_folder(checklists, ledger))
    logs = log or default_log(terminal)
    if said := open_log(logs):
        put(f"Without a log: {said}", err=True)
    common = ("--language", language, "--look", look, *(("--panel", str(panel)) if panel else ()))
    folder = ("--checklists", str(checklists.absolute())) if checklists else ()

    def arguments(visitor: str, slot: int) -> tuple[str, ...]:
        kept = f"{terminal}-{slot}"  # places, not people: files that stay are not named after anybody
        log_of = logs.with_name(f"{logs.stem}-{slot}.log")
        files = ("--log", str(log_of.absolute()), "--seen", str(default_seen(kept)))
        return ("open", "--terminal", terminal, "--visitor", visitor, *common, *folder, *files)

    settings = Settings(
        ledger=ledger,
        place=str(where.absolute() if isinstance(where, Path) else where),
        plant=library.plant,
        arguments=arguments,
        terminal=terminal,
        language=language,
        look=look,
        font_size=font_size,
        visitors=visitors,
        public_url=public_url,
        names=(*names, host, socket.gethostname()),
        tls=tls is not None,
    )
    put(f"{library.plant.name} at {public_url or _address(host, port, tls is not None)} (Ctrl+C ends it)")
    try:
        serve_browsers(settings, host=host, port=port, tls=tls)
    except OSError as fault:
        fail(f"Not served at {host}:{port}: {fault.strerror or fault}")


def _tls(certificate: Path | None, key: Path | None) -> ssl.SSLContext | None:
    """TLS with the plant's own certificate; leaves with status 2 and the reason if it cannot be used."""
    if certificate is None and key is None:
        return None
    if certificate is None or key is None:
        fail("--certificate and --key belong together.")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    try:
        context.load_cert_chain(certificate, key, password=_no_passphrase)
    except (OSError, ValueError) as fault:
        fail(f"The certificate {certificate} with the key {key} cannot be used: {fault}")
    return context


def _no_passphrase() -> str:
    raise ValueError("the key asks for a passphrase, and nobody is here to type it; give one without")


def _address(host: str, port: int, tls: bool) -> str:
    everywhere = host in ("0.0.0.0", "::")
    shown = socket.gethostname() if everywhere else f"[{host}]" if ":" in host else host
    return f"http{'s' if tls else ''}://{shown}:{port}"
