"""The sign-in page and what it keeps out, with aiohttp's own client on a real plant; no browser, no terminal."""

import asyncio
import logging
import re
from collections.abc import AsyncIterator
from datetime import timedelta

import pytest
from aiohttp import ClientResponse, WSServerHandshakeError, web
from aiohttp.test_utils import TestClient, TestServer
from msgspec.structs import replace
from rich.pretty import pretty_repr

from floorterm.demo.clock import SetClock
from floorterm.people import Person
from floorterm.plant import Plant
from floorterm.web.server import Served, Settings
from floorterm.web.signing_in import Typed
from floorterm.web.visits import Visit, within
from tests.conftest import PIN
from tests.web.test_door import Clock

WRONG = "975310"
Client = TestClient[web.Request, web.Application]


@pytest.fixture
def steady() -> Clock:
    return Clock()


@pytest.fixture
def settings(plant: Plant, steady: Clock) -> Settings:
    return Settings(
        ledger=plant.ledger,
        place=str(plant.ledger.path),
        plant=plant.library.plant,
        arguments=lambda terminal, place: ("--version",),  # ends at once: no test here opens a terminal
        names=("floor1",),
        visitors=2,
        steady=steady,
    )


@pytest.fixture
async def served(settings: Settings) -> Served:
    return Served(settings)


@pytest.fixture
async def client(served: Served) -> AsyncIterator[Client]:
    async with TestClient(TestServer(served.app())) as client:
        yield client


async def _post(client: Client, path: str, **form: str) -> ClientResponse:
    own = str(client.make_url("")).rstrip("/")
    return await client.post(path, data=form, headers={"Origin": own}, allow_redirects=False)


async def _signed_in(client: Client, code: str = "AA") -> str:
    """The session's token."""
    done = await _post(client, "/sign-in", code=code, pin=PIN)
    assert (done.status, done.headers["Location"]) == (303, "/")
    return done.cookies["floorterm"].value


async def test_without_a_session_there_is_the_sign_in_page_and_first_aid_and_nothing_else(
    client: Client,
) -> None:
    page = await client.get("/")
    assert page.url.path == "/sign-in"
    text = await page.text()
    assert "each act is signed with a PIN" in text
    assert (await client.get("/first-aid")).status == 200
    for path in ("/terminal/js/textual.js", "/ws", "/terminal/", "/nothing", "/sign-in/../ws"):
        assert (await client.get(path, allow_redirects=False)).status == 403, path
    assert (await _post(client, "/sign-out")).status == 403


async def test_code_or_badge_and_pin_open_a_session_that_scripts_and_other_pages_cannot_use(
    client: Client, served: Served
) -> None:
    done = await _post(client, "/sign-in", code="badge-aa".upper(), pin=PIN)
    cookie = done.headers["Set-Cookie"]
    assert all(part in cookie for part in ("HttpOnly", "SameSite=Strict", "Path=/"))
    page = await client.get("/")
    text = await page.text()
    assert "Reached by A. Abel (AA)" in text
    assert f'"ws://{page.url.authority}/ws"' in text
    told = page.headers
    assert "frame-ancestors 'none'" in told["Content-Security-Policy"]
    assert told["Cache-Control"] == "no-store"
    (session,) = served.sessions
    assert (session.code, session.address) == ("AA", "127.0.0.1")


async def test_nothing_is_fetched_from_another_machine(client: Client) -> None:
    """Every address in the pages and their style is of this server; what a script could fetch, the policy forbids."""
    texts = [await (await client.get(path)).text() for path in ("/sign-in", "/first-aid", "/own/web.css")]
    await _signed_in(client)
    page = await client.get("/")
    texts += [await page.text(), await (await client.get("/own/web.js")).text()]
    links = [
        link
        for text in texts
        for link in re.findall(r"""(?:src|href|action)="([^"]*)"|url\("(.*?)"\)""", text)
    ]
    assert len(links) > 10
    assert [link for pair in links for link in pair if link and not re.match(r"/(?!/)|data:,", link)] == []
    assert "connect-src 'self'" in page.headers["Content-Security-Policy"]
    assert "default-src 'none'" in page.headers["Content-Security-Policy"]
    for path in re.findall(r'(?:src|href)="(/(?:own|terminal)/[^"]*)"', texts[3]):
        assert (await client.get(path)).status == 200, path
    assert (await client.get("/terminal/fonts/RobotoMono-VariableFont_wght.ttf")).status == 200


async def test_a_wrong_pin_an_unknown_code_and_a_disabled_one_read_the_same(
    client: Client, plant: Plant
) -> None:
    plant.ledger.disable_person("BB", by="AD")
    plant.ledger.add_person(Person(code="NN", name="N. Nopin"), None, by="AD")
    pages = []
    for code in ("AA", "ZZ", "BB", "NN"):
        done = await _post(client, "/sign-in", code=code, pin=WRONG)
        assert done.status == 403
        pages.append((await done.text()).replace(code, "?"))
    assert len(set(pages)) == 1
    assert "do not belong together" in pages[0]
    assert WRONG not in pages[0]


async def test_tries_at_the_door_wait_as_inside_and_bursts_become_entries(
    client: Client, plant: Plant, clock: SetClock, steady: Clock
) -> None:
    for turn in range(20):
        done = await _post(client, "/sign-in", code="AA", pin=WRONG)
        assert done.status == 403, turn
        if turn == 4:
            early = await _post(client, "/sign-in", code="ZZ", pin=PIN)
            assert (early.status, early.headers["Retry-After"]) == (429, "30")
        steady.s += 900
        clock.advance(timedelta(minutes=15))
    burst = plant.ledger.entries(kinds=("pin.burst",))
    assert [(entry.value["code"], entry.terminal) for entry in burst] == [("AA", "web 127.0.0.1")]


async def test_a_person_who_waits_at_a_terminal_waits_at_the_door_too(client: Client, plant: Plant) -> None:
    for _ in range(5):
        with pytest.raises(Exception, match="PIN of AA"):
            plant.ledger.check_pin("AA", WRONG, "T1")
    done = await _post(client, "/sign-in", code="AA", pin=PIN)
    assert done.status == 429
    assert "30 s" in await done.text()


async def test_a_pin_for_one_use_is_replaced_at_the_door(client: Client, plant: Plant) -> None:
    once = plant.ledger.reset_pin("AA", by="AD")
    asked = await _post(client, "/sign-in", code="AA", pin=once)
    assert (asked.status, "Set-Cookie" in asked.headers) == (403, False)
    assert 'name="again"' in await asked.text()
    for new, again, told in (
        ("482915", "482916", "two different"),
        ("123456", "123456", "anybody would try"),
    ):
        page = await _post(client, "/sign-in", code="AA", pin=once, new=new, again=again)
        assert told in await page.text()
    done = await _post(client, "/sign-in", code="AA", pin=once, new="482915", again="482915")
    assert done.status == 303
    newest = plant.ledger.entries(newest_first=True, limit=1)[0]
    assert (newest.kind, newest.person, newest.terminal) == ("person.pin_changed", "AA", "web 127.0.0.1")


async def test_other_pages_neither_post_nor_open_a_terminal(client: Client, served: Served) -> None:
    await _signed_in(client)
    own = str(client.make_url("")).rstrip("/")
    for origin in ("http://stranger.example", "null", own.replace("http:", "https:"), ""):
        headers = {"Origin": origin} if origin else {}
        for path in ("/sign-in", "/sign-out"):
            assert (await client.post(path, data={"code": "AA", "pin": PIN}, headers=headers)).status == 403
        with pytest.raises(WSServerHandshakeError, match="403"):
            await client.ws_connect("/ws", headers=headers)
    assert (await client.get("/", headers={"Host": "stranger.example"})).status == 403
    assert (await client.get("/", headers={"Host": "floor1:8080"})).status == 200
    assert served.free == 2
    assert len(list(served.sessions)) == 1


async def test_signing_out_idle_time_and_a_disabled_code_end_the_session(
    client: Client, served: Served, plant: Plant, steady: Clock
) -> None:
    token = await _signed_in(client)
    assert (await _post(client, "/sign-out")).status == 303
    client.session.cookie_jar.update_cookies({"floorterm": token})  # a copy that somebody kept
    assert (await client.get("/")).url.path == "/sign-in"

    await _signed_in(client)
    steady.s += plant.library.plant.pins.idle_min * 60
    assert (await client.get("/")).url.path == "/sign-in"

    await _signed_in(client, "BB")
    plant.ledger.disable_person("BB", by="AD")
    await served.sweep()
    assert (await client.get("/")).url.path == "/sign-in"
    assert list(served.sessions) == []


async def test_only_so_many_are_let_in_and_a_terminal_that_cannot_open_gives_its_place_back(
    client: Client, served: Served
) -> None:
    await _signed_in(client)
    own = str(client.make_url("")).rstrip("/")
    async with client.ws_connect("/ws?width=0&height=99999", headers={"Origin": own}) as websocket:
        assert (await websocket.receive()).type.name in ("CLOSE", "CLOSED", "CLOSING")
    async with asyncio.timeout(10):
        while served.free < 2:
            await asyncio.sleep(0.01)
    served._free.clear()
    assert (await client.get("/")).status == 503
    with pytest.raises(WSServerHandshakeError, match="503"):
        await client.ws_connect("/ws", headers={"Origin": own})


async def test_a_terminal_gets_of_the_environment_what_it_needs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("A_KEY_OF_ANOTHER_PROGRAM", "x")
    monkeypatch.setenv("PGPASSWORD", "of the ledger's server")
    monkeypatch.setenv("PGPASSFILE", "/etc/floorterm/passwords")
    visit = Visit(web.WebSocketResponse(), ("open",), "postgresql://floor@server/plant")
    given = visit._build_environment(*within(0, 99_999))
    assert (given["COLUMNS"], given["ROWS"]) == ("20", "200")  # no window makes a terminal of any size
    assert "A_KEY_OF_ANOTHER_PROGRAM" not in given
    assert given["FLOORTERM_DB"] == "postgresql://floor@server/plant"
    assert {"PATH", "PGPASSWORD", "PGPASSFILE"} <= given.keys()


def test_what_somebody_typed_is_shown_by_nothing_that_shows_values() -> None:
    typed = Typed(code="AA", pin=PIN, new=WRONG, again=WRONG)
    shown = f"{typed!r} {typed} {pretty_repr(typed)}"
    assert not [word for word in (PIN, WRONG) if word in shown]


async def test_no_log_and_no_page_holds_a_pin(client: Client, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG):
        for code, pin in (("AA", WRONG), (WRONG, WRONG), ("AA", PIN)):
            await _post(client, "/sign-in", code=code, pin=pin)
    assert "let in from 127.0.0.1" in caplog.text
    assert not [word for word in (PIN, WRONG, "Abel") if word in caplog.text]


async def test_behind_a_proxy_with_tls_the_cookie_is_secure_and_the_visitor_is_whom_the_proxy_names(
    settings: Settings,
) -> None:
    served = Served(replace(settings, public_url="https://floor.example"))
    headers = {
        "Host": "floor.example",
        "Origin": "https://floor.example",
        "X-Forwarded-For": "9.9.9.9, 10.0.0.9",
    }
    async with TestClient(TestServer(served.app())) as client:
        own = {**headers, "Origin": str(client.make_url("")).rstrip("/")}
        form = {"code": "AA", "pin": PIN}
        assert (await client.post("/sign-in", data=form, headers=own)).status == 403
        done = await client.post("/sign-in", data=form, headers=headers, allow_redirects=False)
        cookie = done.headers["Set-Cookie"]
        assert cookie.startswith("__Host-floorterm=")
        assert "Secure" in cookie
        token = {"Cookie": cookie.partition(";")[0]}
        page = await client.get("/", headers={**headers, **token})
        assert '"wss://floor.example/ws"' in await page.text()
    assert [session.address for session in served.sessions] == ["10.0.0.9"]
