"""The library: the plant's own words, from YAML to validated, immutable values.

`load(folder)` gives a `Library` or raises one `LibraryError` that lists every fault. Nothing heavy is
imported before one of these names is used.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from floorterm.library.faults import Fault, LibraryError
    from floorterm.library.loading import load
    from floorterm.library.model import Library
    from floorterm.library.schemas import schema
    from floorterm.library.starter import starter_folder
    from floorterm.library.translations import TranslationGap, lacks_review, translation_gaps

__all__ = [
    "Fault",
    "Library",
    "LibraryError",
    "TranslationGap",
    "lacks_review",
    "load",
    "schema",
    "starter_folder",
    "translation_gaps",
]

_HOME = {
    "Fault": "faults",
    "Library": "model",
    "LibraryError": "faults",
    "TranslationGap": "translations",
    "lacks_review": "translations",
    "load": "loading",
    "schema": "schemas",
    "starter_folder": "starter",
    "translation_gaps": "translations",
}


def __getattr__(name: str) -> object:
    """Import a public name when it is first asked for."""
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module  # noqa: PLC0415  the point of this function

    return getattr(import_module(f"{__name__}.{_HOME[name]}"), name)
