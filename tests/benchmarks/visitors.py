"""What a visitor in a browser costs: `python -m tests.benchmarks.visitors [VISITORS]`.

Serves a copy of the demo plant on this machine, signs in once, opens so many terminals through websockets (without a
browser), and prints the memory of the server and of each terminal: resident (RSS), and the part that it shares with no
other process (USS). Then what one of them sends while nobody touches it.
"""

import asyncio
import shutil
import sys
import tempfile
from pathlib import Path

import psutil
from aiohttp import ClientSession, ClientWebSocketResponse, CookieJar

from floorterm.demo import shipped

PORT = 8765
PIN = "246810"  # of everybody in the demo
OWN = f"http://127.0.0.1:{PORT}"
SETTLED_S = 6.0


async def _drawn(websocket: ClientWebSocketResponse, seconds: float) -> int:
    """Bytes that the terminal sends within so many seconds."""
    total = 0
    try:
        async with asyncio.timeout(seconds):
            async for message in websocket:
                total += len(message.data)
    except TimeoutError:
        pass
    return total


async def _visit(visitors: int) -> None:
    async with ClientSession(headers={"Origin": OWN}, cookie_jar=CookieJar(unsafe=True)) as session:
        for _ in range(100):
            try:
                await session.post(f"{OWN}/sign-in", data={"code": "CI", "pin": PIN})
                break
            except OSError:
                await asyncio.sleep(0.1)
        sockets = [await session.ws_connect(f"{OWN}/ws?width=120&height=40") for _ in range(visitors)]
        first = await asyncio.gather(*(_drawn(socket, SETTLED_S) for socket in sockets))
        server = next(one for one in psutil.Process().children() if "serve" in one.cmdline())
        for process in (server, *server.children()):
            memory = process.memory_full_info()
            kind = "server" if process == server else "visitor"
            _say(f"{kind:8} RSS {memory.rss / 1e6:6.1f} MB, of its own {memory.uss / 1e6:6.1f} MB")
        idle = await _drawn(sockets[0], 10)
        _say(f"first screens: {max(first):,} bytes; ten idle seconds: {idle:,} bytes")
        for socket in sockets:
            await socket.close()


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")


def main() -> None:
    visitors = int(sys.argv[1]) if len(sys.argv) > 1 else 4
    with tempfile.TemporaryDirectory() as folder:
        ledger = Path(folder) / "ledger.db"
        shutil.copyfile(shipped(), ledger)
        arguments = ("serve", str(ledger), "--port", str(PORT), "--log", str(ledger.with_name("web.log")))
        server = psutil.Popen((sys.executable, "-m", "floorterm", *arguments))
        try:
            asyncio.run(_visit(visitors))
        finally:
            server.terminate()
            server.wait()


if __name__ == "__main__":
    main()
