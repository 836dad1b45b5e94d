"""Faults of a ledger's file, brought about for real while it is in use, and undone afterwards."""

import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from itertools import count
from pathlib import Path

import pytest

from floorterm.ledger import connect
from floorterm.ledger.guards import SCHEMA_VERSION
from tests.conftest import bound_by_permissions

PAGE = 4096  # bytes
Fault = Callable[[Path, pytest.MonkeyPatch], AbstractContextManager[None]]


@contextmanager
def _permitted(path: Path, mode: int) -> Iterator[None]:
    path.chmod(mode)
    for folder in path.parents:
        if folder.name.startswith("pytest-") or "pytest-of" in str(folder.parent):
            folder.chmod(0o755)
    try:
        with bound_by_permissions():
            yield
    finally:
        path.chmod(0o644)


def read_only(path: Path, _: pytest.MonkeyPatch) -> AbstractContextManager[None]:
    """The account may read the file and no more."""
    return _permitted(path, 0o444)


def no_permission(path: Path, _: pytest.MonkeyPatch) -> AbstractContextManager[None]:
    """The account may not even read the file any more."""
    return _permitted(path, 0o000)


@contextmanager
def locked_by_a_stranger(path: Path, patch: pytest.MonkeyPatch) -> Iterator[None]:
    """Another program holds the file; the terminal waits a fiftieth of a second instead of five."""
    short = tuple((n, "20", 20) if n == "busy_timeout" else (n, v, w) for n, v, w in connect._ALWAYS)
    patch.setattr(connect, "_ALWAYS", short)
    with closing(sqlite3.connect(path, isolation_level=None)) as stranger:
        stranger.execute("BEGIN IMMEDIATE")
        yield


@contextmanager
def swapped(path: Path, _: pytest.MonkeyPatch) -> Iterator[None]:
    """A copy stands where the ledger was."""
    kept = path.with_suffix(".kept")
    path.rename(kept)
    path.write_bytes(kept.read_bytes())
    try:
        yield
    finally:
        kept.replace(path)


@contextmanager
def missing(path: Path, _: pytest.MonkeyPatch) -> Iterator[None]:
    """No file stands there."""
    away = path.with_suffix(".away")
    path.rename(away)
    try:
        yield
    finally:
        away.rename(path)


def empty(path: Path, _: pytest.MonkeyPatch) -> AbstractContextManager[None]:
    """What an interrupted copy leaves behind."""
    return written_over(path, 0, b"", cut=True)


@contextmanager
def written_over(path: Path, at: int, content: bytes, *, cut: bool = False) -> Iterator[None]:
    """Other bytes stand in the same file for a while, in the place of its own; with `cut` nothing follows them."""
    kept = path.read_bytes()
    path.write_bytes(kept[:at] + content + (b"" if cut else kept[at + len(content) :]))
    try:
        yield
    finally:
        path.write_bytes(kept)


def damaged(path: Path, _: pytest.MonkeyPatch) -> AbstractContextManager[None]:
    """Every page but the first is rubbish: SQLite still takes it for a database."""
    return written_over(path, PAGE, b"\xa5" * (path.stat().st_size - PAGE))


def of_a_newer_version(path: Path, _: pytest.MonkeyPatch) -> AbstractContextManager[None]:
    """Somebody upgraded another terminal and brought the ledger up to date; `user_version` is at byte 60."""
    return written_over(path, 60, (SCHEMA_VERSION + 1).to_bytes(4, "big"))


def another_file(path: Path, _: pytest.MonkeyPatch) -> AbstractContextManager[None]:
    """Something else was written into the file."""
    return written_over(path, 0, b"A shopping list. " * (path.stat().st_size // 17))


def commits_fail(
    patch: pytest.MonkeyPatch, code: int, *, kept: bool = False, commits: int = sys.maxsize
) -> None:
    """The driver reports a result code in so many commits, before or after (`kept`) each took place."""
    left = count(commits, -1)

    class Failing(sqlite3.Connection):
        def commit(self) -> None:
            if not self.in_transaction or next(left) <= 0:
                return super().commit()
            if kept:
                super().commit()
            else:
                self.rollback()
            fault = sqlite3.OperationalError("the disk")
            fault.sqlite_errorcode = code  # type: ignore[misc]
            raise fault

    original = sqlite3.connect
    patch.setattr(sqlite3, "connect", lambda *args, **kwargs: original(*args, **kwargs, factory=Failing))


@contextmanager
def disk_full(_: Path, patch: pytest.MonkeyPatch) -> Iterator[None]:
    """A commit finds no room."""
    with patch.context() as for_a_while:
        commits_fail(for_a_while, sqlite3.SQLITE_FULL)
        yield
