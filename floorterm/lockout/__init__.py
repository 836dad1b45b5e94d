"""Lockout: the rules of energy control while it happens, and the audit of what was recorded. Pure.

`audit` is the fixed name for plants' own scripts; it is imported only when somebody asks for it.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from floorterm.lockout.auditing import Finding, RecordError, audit

__all__ = ["Finding", "RecordError", "audit"]


def __getattr__(name: str) -> object:
    """The audit's names, imported on first use. Raises AttributeError for any other name."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from floorterm.lockout import auditing  # noqa: PLC0415  the lock screens do not need it

    return getattr(auditing, name)
