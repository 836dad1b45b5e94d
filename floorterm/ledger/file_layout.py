"""The tables and indices of a ledger file as SQLite keeps their making; what `verify` compares a file with.

Plain text, so that verifying needs no ORM; a test holds it against what `schema` makes. It is the same in every
layout so far: what layouts brought are guards. Without this, a condition that somebody dropped, or a generated column
made of something else, would show only once it let something through.
"""

from collections.abc import Mapping
from types import MappingProxyType

_TABLES = (
    """CREATE TABLE entries (
    n INTEGER NOT NULL,
    body TEXT NOT NULL,
    hash TEXT NOT NULL,
    kind TEXT NOT NULL GENERATED ALWAYS AS (body ->> 'kind') STORED,
    at TEXT NOT NULL GENERATED ALWAYS AS (body ->> 'at') STORED,
    line TEXT GENERATED ALWAYS AS (body ->> 'line') STORED,
    changeover TEXT GENERATED ALWAYS AS (body ->> 'changeover') STORED,
    pos INTEGER GENERATED ALWAYS AS (CAST((body ->> 'pos') AS INTEGER)) STORED,
    step TEXT GENERATED ALWAYS AS (body ->> 'step') STORED,
    person TEXT GENERATED ALWAYS AS (body ->> 'person') STORED,
    witness TEXT GENERATED ALWAYS AS (body ->> 'witness') STORED,
    terminal TEXT GENERATED ALWAYS AS (body ->> 'terminal') STORED,
    corrects INTEGER GENERATED ALWAYS AS (CAST((body ->> 'corrects') AS INTEGER)) STORED,
    "key" TEXT NOT NULL GENERATED ALWAYS AS (coalesce(body ->> 'key', body ->> 'chain')) STORED,
    PRIMARY KEY (n),
    CONSTRAINT entries_n_is_the_bodys CHECK (n = CAST((body ->> 'n') AS INTEGER)),
    CONSTRAINT entries_hash_is_whole CHECK (length(hash) = 64),
    CONSTRAINT entries_key_once UNIQUE ("key"),
    CONSTRAINT entries_position_once UNIQUE (changeover, pos)
)""",
    """CREATE TABLE people (
    code TEXT NOT NULL,
    name TEXT NOT NULL,
    permission TEXT NOT NULL,
    duties TEXT NOT NULL,
    lockout TEXT NOT NULL,
    trained_on TEXT,
    valid_to TEXT,
    badge TEXT,
    active INTEGER NOT NULL,
    PRIMARY KEY (code),
    UNIQUE (badge)
)""",
    """CREATE TABLE pins (
    code TEXT NOT NULL,
    phc TEXT NOT NULL,
    one_time INTEGER NOT NULL,
    PRIMARY KEY (code)
)""",
    """CREATE TABLE attempts (
    subject TEXT NOT NULL,
    failures INTEGER NOT NULL,
    failed_at TEXT NOT NULL,
    PRIMARY KEY (subject)
)""",
)
_INDICES = (
    "CREATE INDEX entries_of_kind ON entries (kind, n)",
    "CREATE INDEX entries_of_changeover ON entries (changeover, n)",
    "CREATE INDEX entries_of_line ON entries (line, kind, n)",
    "CREATE INDEX entries_at ON entries (at)",
)
_LIMITS = ("PRIMARY", "UNIQUE", "CHECK", "FOREIGN")  # a part that begins so is a limit without a name
_QUOTES = "'\"`"

TABLES: Mapping[str, str] = MappingProxyType({made.split()[2]: made for made in _TABLES})
INDICES: Mapping[str, str] = MappingProxyType({made.split()[2]: made for made in _INDICES})


def plain(made: str) -> str:
    """A statement without what only its writing adds: blanks and line ends, but those within quotes."""
    said, quote = "", ""
    for sign in made.strip():
        if quote:
            quote = "" if sign == quote else quote
        elif sign in _QUOTES:
            quote = sign
        elif sign.isspace():
            said += "" if said[-1:] in " (" else " "
            continue
        elif sign in "),":
            said = said.rstrip(" ")
        said += sign
    return said


def parts(made: str) -> tuple[Mapping[str, str], Mapping[str, str]]:
    """The columns of a table by their names, and its limits by the names by which people are told of them."""
    columns: dict[str, str] = {}
    limits: dict[str, str] = {}
    table = plain(made)
    for part in _split(table[table.find("(") + 1 : table.rfind(")")]):
        first, *rest = part.split(" ")
        if first == "CONSTRAINT" and rest:
            limits[rest[0]] = part
        elif first in _LIMITS:
            limits[f"{table.split(' ')[2]}: {part}"] = part
        else:
            columns[first.strip('"')] = part
    return columns, limits


def _split(text: str) -> list[str]:
    """A list at its commas, not those within brackets or quotes."""
    found, depth, quote = [""], 0, ""
    for sign in text:
        if quote:
            quote = "" if sign == quote else quote
        elif sign in _QUOTES:
            quote = sign
        elif sign == "," and not depth:
            found.append("")
            continue
        else:
            depth += (sign == "(") - (sign == ")")
        found[-1] += sign
    return [part.strip() for part in found]
