"""Who may come in through the browser: where a request comes from, how often may be tried, which session it has.

Plain values and counters in memory; nothing here knows HTTP, the ledger or a screen. `steady` counts seconds and never
goes back. A restart of the server ends every session; wrong PINs are counted in the ledger and outlive it.
"""

import hashlib
import ipaddress
import secrets
from collections import deque
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from floorterm.ledger.pins import wait_after

Steady = Callable[[], float]
LONGEST_S = 12 * 3600  # a session ends after half a day, however busy its person is
OPENINGS, WITHIN_S = 10, 60.0  # terminals that one session may open within so many seconds
_MOST_REMEMBERED = 10_000  # addresses whose wrong tries are remembered
_FORGOTTEN_AFTER_S = 24 * 3600


def is_loopback(host: str) -> bool:
    """Whether only this machine reaches a server that listens there."""
    address = ip_of(host)
    return host == "localhost" or (address is not None and address.is_loopback)


def ip_of(text: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    """An address written out, with or without brackets; None for a name."""
    try:
        address = ipaddress.ip_address(text.removeprefix("[").removesuffix("]"))
    except ValueError:
        return None
    mapped = getattr(address, "ipv4_mapped", None)
    return mapped or address


def origin_of(url: str) -> str:
    """Scheme, name and port of a URL, as browsers write them in `Origin`; "" if it is no web address."""
    try:
        parts = urlsplit(url)
    except ValueError:
        return ""
    if parts.scheme not in ("http", "https") or not parts.hostname:
        return ""
    return f"{parts.scheme}://{parts.netloc}".lower()


def is_known_host(host: str, names: Collection[str]) -> bool:
    """Whether a request was meant for this machine: an address, or one of its names.

    A page of a stranger that lets its own name point here (DNS rebinding) is known by that name.
    """
    try:
        name = urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return False
    return ip_of(name) is not None or name == "localhost" or name in {known.lower() for known in names}


def source(peer: str, forwarded: str, *, behind_proxy: bool) -> str:
    """The visitor's address: what a proxy on this machine says last, else the other end of the connection."""
    address = ip_of(peer)
    if behind_proxy and address is not None and address.is_loopback:
        told = ip_of(forwarded.rpartition(",")[2].strip())
        address = told or address
    return str(address) if address is not None else "unknown"


class Tries:
    """Wrong tries by address: after five, each costs 30 s, doubling to 15 min, whether the code exists or not.

    A try counts before it is checked, so that none escapes the count. One network of IPv6 (/64) is one address.
    """

    def __init__(self, steady: Steady) -> None:
        self._steady = steady
        self._failed: dict[str, tuple[int, float]] = {}

    def wait_s(self, address: str) -> int:
        """Seconds until the next try from there, 0 if it may be made now."""
        failures, at = self._failed.get(_network(address), (0, 0.0))
        left = at + wait_after(failures).total_seconds() - self._steady()
        return max(0, round(left + 0.5)) if left > 0 else 0

    def count(self, address: str) -> None:
        """A try begins."""
        network, now = _network(address), self._steady()
        failures, at = self._failed.pop(network, (0, now))
        if now - at > _FORGOTTEN_AFTER_S:
            failures = 0
        self._failed[network] = (failures + 1, now)
        while len(self._failed) > _MOST_REMEMBERED:
            del self._failed[next(iter(self._failed))]  # the one that has been quiet for longest

    def forget(self, address: str) -> None:
        """The try was right."""
        self._failed.pop(_network(address), None)


def _network(address: str) -> str:
    ip = ip_of(address)
    if isinstance(ip, ipaddress.IPv6Address):
        return str(ipaddress.ip_network((ip, 64), strict=False))
    return address


@dataclass(eq=False)
class Session:
    """Somebody who gave their PIN at the door. It lets them reach the terminal and signs nothing."""

    code: str
    name: str
    address: str
    begun_at: float
    touched_at: float
    opened: deque[float] = field(default_factory=deque)

    def may_open(self, now: float) -> bool:
        """Whether one more terminal may be opened now; counts it if so."""
        while self.opened and now - self.opened[0] > WITHIN_S:
            self.opened.popleft()
        if len(self.opened) >= OPENINGS:
            return False
        self.opened.append(now)
        return True


class Sessions:
    """The sessions that are on. Tokens are random, new at every sign-in, and kept only as their digests."""

    def __init__(self, steady: Steady, idle_s: float) -> None:
        self._steady = steady
        self._idle_s = idle_s
        self._on: dict[bytes, Session] = {}

    def __iter__(self) -> Iterator[Session]:
        return iter(tuple(self._on.values()))

    def begin(self, code: str, name: str, address: str) -> str:
        """A new session; gives the token that the browser keeps."""
        token, now = secrets.token_urlsafe(32), self._steady()
        self._on[_digest(token)] = Session(code, name, address, now, now)
        return token

    def of(self, token: str) -> Session | None:
        """The session of a token, if it is still on."""
        session = self._on.get(_digest(token)) if token else None
        return None if session is None or self.is_over(session) else session

    def touch(self, session: Session) -> None:
        """A key was pressed, or something tapped."""
        session.touched_at = self._steady()

    def is_over(self, session: Session) -> bool:
        """Whether nobody has touched it for so long, or it has lasted for so long, that it ends."""
        now = self._steady()
        return now - session.touched_at >= self._idle_s or now - session.begun_at >= LONGEST_S

    def end(self, session: Session) -> None:
        """Sign out."""
        self._on = {digest: other for digest, other in self._on.items() if other is not session}


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).digest()
