"""The server: sign-in page, the page with the terminal, its websocket; everything else is refused.

No answer is kept by a browser, no page of another origin can post, frame or open a websocket here, and nothing is
fetched from outside: the font and the terminal's script come with the library `textual-serve`.
"""

import asyncio
import ssl
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import suppress
from importlib.resources import files
from pathlib import Path
from urllib.parse import urlsplit

import textual_serve
from aiohttp import WSMsgType, web
from jinja2 import Environment, PackageLoader, StrictUndefined
from msgspec import Struct

from floorterm.ledger import Ledger, LedgerError
from floorterm.library.model import PlantFile
from floorterm.terminal.log import LOG
from floorterm.terminal.views.first_aid import first_aid_view
from floorterm.web.door import (
    Session,
    Sessions,
    Steady,
    Tries,
    is_known_host,
    origin_of,
    source,
)
from floorterm.web.signing_in import DoorError, Typed, check, waiting
from floorterm.web.visits import Visit
from floorterm.wording import Say, sentence, words

SWEEP_S = 5.0  # how often sessions that are over, and of people who were disabled, are ended
_CHECKS_AT_ONCE = 2  # each PIN that is checked takes 19 MiB
_CHECKS_WAITING = 20
_OPEN_PATHS = ("/sign-in", "/first-aid", "/own/web.css", "/own/web.js", "/terminal/fonts/")
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; font-src 'self'; connect-src 'self';"
        " img-src 'self' data:; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",  # `no-referrer` would make the origin of our own forms unknown
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cache-Control": "no-store",
    "Server": "floorterm",
}
_TERMINAL_FILES = Path(textual_serve.__file__).parent / "static"
_OWN_FILES = files("floorterm.web") / "static"
_SESSION = web.RequestKey("session", Session)
_Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class Settings(Struct, frozen=True, kw_only=True):
    """What is served, and how. `arguments` open a terminal for a visitor and a place (see `Visit`)."""

    ledger: Ledger
    place: str
    plant: PlantFile
    arguments: Callable[[str, int], tuple[str, ...]]
    terminal: str = "web"
    language: str = "en"
    look: str = "night"
    font_size: int = 16
    visitors: int = 8
    public_url: str = ""
    names: tuple[str, ...] = ()
    tls: bool = False
    steady: Steady = time.monotonic

    @property
    def secure(self) -> bool:
        """Whether browsers speak TLS to this server or to the proxy in front of it."""
        return self.tls or self.public_url.startswith("https:")

    @property
    def idle_s(self) -> float:
        """The plant's own idle time, in seconds."""
        return self.plant.pins.idle_min * 60.0


class Served:
    """The handlers, with the sessions and the visitors' terminals that are on."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.sessions = Sessions(settings.steady, settings.idle_s)
        self._tries = Tries(settings.steady)
        self._free = list(range(settings.visitors, 0, -1))
        self._on: dict[web.WebSocketResponse, Session] = {}
        self._checking = asyncio.Semaphore(_CHECKS_AT_ONCE)
        self._waiting = 0
        self._pages = Environment(
            loader=PackageLoader("floorterm.web"), autoescape=True, undefined=StrictUndefined
        )
        self._cookie = "__Host-floorterm" if settings.secure else "floorterm"

    def app(self) -> web.Application:
        """The application with its routes."""
        app = web.Application(middlewares=[self._door], client_max_size=4096)
        app.add_routes(
            [
                web.get("/", self._index),
                web.get("/sign-in", self._sign_in_page),
                web.post("/sign-in", self._sign_in),
                web.post("/sign-out", self._sign_out),
                web.get("/first-aid", self._first_aid),
                web.get("/ws", self._visit),
                web.get("/own/{name:web\\.(?:css|js)}", self._own_file),
                web.static("/terminal", _TERMINAL_FILES),
            ]
        )
        app.on_response_prepare.append(_add_headers)
        app.cleanup_ctx.append(self._swept)
        app.on_shutdown.append(self._close_all)
        return app

    @property
    def free(self) -> int:
        """How many more terminals may be opened."""
        return len(self._free)

    # --- the door -------------------------------------------------------------------------------

    @web.middleware
    async def _door(self, request: web.Request, handler: _Handler) -> web.StreamResponse:
        if not self._is_ours(request):
            LOG.warning("refused from %s: another origin or host", self._source(request))
            return self._said(Say("web.elsewhere"), 403)
        session = self.sessions.of(request.cookies.get(self._cookie, ""))
        if session is not None:
            request[_SESSION] = session
        elif not request.path.startswith(_OPEN_PATHS):
            if request.path == "/":
                raise web.HTTPSeeOther("/sign-in")
            return self._said(Say("web.ended", {"minutes": self.settings.plant.pins.idle_min}), 403)
        try:
            return await handler(request)
        except web.HTTPNotFound:
            return self._said(Say("web.nothing_here"), 404)

    def _is_ours(self, request: web.Request) -> bool:
        """Meant for this machine; and what changes something, or opens a terminal, comes from a page of its own."""
        public = urlsplit(self.settings.public_url).hostname
        if not is_known_host(request.host, {*self.settings.names, *([public] if public else [])}):
            return False
        changes = request.method not in ("GET", "HEAD") or request.path == "/ws"
        return not changes or request.headers.get("Origin", "").lower() == self._origin(request)

    def _origin(self, request: web.Request) -> str:
        scheme = "https" if self.settings.tls else "http"
        return origin_of(self.settings.public_url) or f"{scheme}://{request.host}".lower()

    def _source(self, request: web.Request) -> str:
        forwarded = request.headers.get("X-Forwarded-For", "")
        return source(request.remote or "", forwarded, behind_proxy=bool(self.settings.public_url))

    # --- pages ----------------------------------------------------------------------------------

    def _page(self, template: str, status: int = 200, **values: object) -> web.Response:
        settings = self.settings
        text = self._pages.get_template(template).render(
            language=settings.language,
            look=settings.look,
            plant=settings.plant.name,
            words=lambda key, **facts: words(key, settings.language, **facts),
            **values,
        )
        return web.Response(text=text, status=status, content_type="text/html")

    def _said(self, say: Say, status: int) -> web.Response:
        return self._page("said.html", status, told=sentence(say, self.settings.language))

    async def _sign_in_page(self, request: web.Request) -> web.Response:
        if _SESSION in request:
            raise web.HTTPSeeOther("/")
        return self._page("sign_in.html", told="", code="", choose=False)

    async def _first_aid(self, _: web.Request) -> web.Response:
        """Never behind a sign-in."""
        return self._page("first_aid.html", view=first_aid_view(self.settings.plant, self.settings.language))

    async def _own_file(self, request: web.Request) -> web.Response:
        name = request.match_info["name"]
        kind = "text/css" if name.endswith(".css") else "text/javascript"
        return web.Response(text=(_OWN_FILES / name).read_text(encoding="utf-8"), content_type=kind)

    async def _index(self, request: web.Request) -> web.Response:
        session = request[_SESSION]
        if not self._free:
            return self._said(Say("web.full", {"n": self.settings.visitors}), 503)
        return self._page(
            "terminal.html",
            name=session.name,
            code=session.code,
            font_size=self.settings.font_size,
            websocket=f"ws{self._origin(request).removeprefix('http')}/ws",
        )

    # --- signing in and out ---------------------------------------------------------------------

    async def _sign_in(self, request: web.Request) -> web.Response:
        form = await request.post()
        code, pin, new, again = (
            value if isinstance(value := form.get(name, ""), str) else ""
            for name in ("code", "pin", "new", "again")
        )
        typed = Typed(code=code.strip(), pin=pin.strip(), new=new.strip(), again=again.strip())
        address = self._source(request)
        try:
            token = await self._token(typed, address)
        except DoorError as fault:
            LOG.info("not let in from %s: %s", address, fault.say.key)
            told = sentence(fault.say, self.settings.language)
            page = self._page("sign_in.html", fault.status, told=told, code=typed.code, choose=fault.choose)
            if fault.wait_s:
                page.headers["Retry-After"] = str(fault.wait_s)
            return page
        LOG.info("let in from %s", address)
        answer = web.Response(status=303, headers={"Location": "/"})
        answer.set_cookie(
            self._cookie, token, path="/", httponly=True, samesite="Strict", secure=self.settings.secure
        )
        return answer

    async def _token(self, typed: Typed, address: str) -> str:
        """A new session's token. Raises DoorError."""
        if wait := self._tries.wait_s(address) or (1 if self._waiting >= _CHECKS_WAITING else 0):
            raise waiting(wait)
        self._tries.count(address)
        self._waiting += 1
        try:
            async with self._checking:
                terminal = f"{self.settings.terminal} {address}"
                person = await asyncio.to_thread(check, self.settings.ledger, typed, terminal)
        except DoorError as fault:
            if fault.right:
                self._tries.forget(address)
            raise
        finally:
            self._waiting -= 1
        self._tries.forget(address)
        return self.sessions.begin(person.code, person.name, address)

    async def _sign_out(self, request: web.Request) -> web.Response:
        await self._end(request[_SESSION])
        answer = web.Response(status=303, headers={"Location": "/sign-in"})
        answer.del_cookie(
            self._cookie, path="/", httponly=True, samesite="Strict", secure=self.settings.secure
        )
        return answer

    async def _end(self, session: Session) -> None:
        """A session is over: its terminals with it."""
        self.sessions.end(session)
        for websocket in [websocket for websocket, whose in self._on.items() if whose is session]:
            await websocket.close()

    # --- the terminal ---------------------------------------------------------------------------

    async def _visit(self, request: web.Request) -> web.StreamResponse:
        session = request[_SESSION]
        if not session.may_open(self.settings.steady()):
            return self._said(Say("web.often"), 429)
        if not self._free:
            return self._said(Say("web.full", {"n": self.settings.visitors}), 503)
        websocket = web.WebSocketResponse(heartbeat=15, max_msg_size=64 * 1024)
        if not websocket.can_prepare(request).ok:
            return self._said(Say("web.nothing_here"), 400)
        place = self._free.pop()
        visitor = f"{session.code} {session.address}"
        visit = Visit(websocket, self.settings.arguments(visitor, place), self.settings.place)
        try:
            await websocket.prepare(request)
            if session not in self.sessions:  # signed out meanwhile
                await websocket.close()
                return websocket
            self._on[websocket] = session
            await visit.begin(_number(request, "width", 80), _number(request, "height", 24))
            await self._carry(websocket, visit, session)
        finally:
            self._on.pop(websocket, None)
            try:
                await asyncio.shield(visit.stop())
            finally:
                self._free.append(place)
        return websocket

    async def _carry(self, websocket: web.WebSocketResponse, visit: Visit, session: Session) -> None:
        async for message in websocket:
            if message.type is not WSMsgType.TEXT:
                continue
            try:
                envelope = message.json()
            except (ValueError, RecursionError):
                return
            match envelope:
                case ["ping", str(sent)]:
                    await websocket.send_json(["pong", sent])
                case _ if await visit.told(envelope):
                    self.sessions.touch(session)

    # --- ends -----------------------------------------------------------------------------------

    async def _swept(self, _: web.Application) -> AsyncIterator[None]:
        task = asyncio.create_task(self._sweep_on())
        yield
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task

    async def _sweep_on(self) -> None:
        while True:
            await asyncio.sleep(SWEEP_S)
            await self.sweep()

    async def sweep(self) -> None:
        """End what is over; whoever was disabled since they signed in is out as well."""
        gone: set[str] = set()
        if any(True for _ in self.sessions):
            with suppress(
                LedgerError
            ):  # the record does not answer: nothing can be signed, and it is said inside
                people = await asyncio.to_thread(self.settings.ledger.people)
                gone = {person.code for person in people if not person.active}
        for session in self.sessions:
            if self.sessions.is_over(session) or session.code in gone:
                await self._end(session)

    async def _close_all(self, _: web.Application) -> None:
        for websocket in list(self._on):
            await websocket.close()


async def _add_headers(request: web.Request, response: web.StreamResponse) -> None:
    for name, value in _HEADERS.items():
        response.headers[name] = value
    if request.path.startswith("/terminal/") and response.status == 200:
        response.headers["Cache-Control"] = (
            "private, max-age=3600"  # the library's own files, half a megabyte
        )


def _number(request: web.Request, name: str, usual: int) -> int:
    text = request.query.get(name, "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 5 else usual


def serve(settings: Settings, *, host: str, port: int, tls: ssl.SSLContext | None) -> None:
    """Serve until SIGINT or SIGTERM. Raises OSError where the address cannot be taken."""
    web.run_app(
        Served(settings).app(),
        host=host,
        port=port,
        ssl_context=tls,
        access_log=None,
        print=None,
        shutdown_timeout=15,
    )
