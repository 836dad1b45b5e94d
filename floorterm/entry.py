"""The program's way in: standard library only, and little of it, until it is known what is asked for.

A terminal that is opened with plain arguments goes straight to its screens; everything else, and whatever is not plain
(help, faults, an abbreviation), is the command line's, which understands the same arguments and says what is wrong.
"""

import gc
import os
import sys

TYPE_CHECKING = False  # `typing` itself would take a tenth of the time until the first lines
if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from floorterm.terminal.early import EarlyTerminal

VALUES = ("terminal", "language", "look", "log", "checklists", "db")  # options that take a value
FLAGS = ("plain",)
VARIABLES = {"look": "FLOORTERM_LOOK", "log": "FLOORTERM_LOG", "db": "FLOORTERM_DB"}
UNTOLD = ("FLOORTERM_PANEL",)  # variables of options that only the command line understands
_LOOKS = ("night", "day")
_LONGEST_NAME = 20


def main() -> None:
    """Run floorterm with the arguments of this process."""
    gc.disable()  # until the record is open: what imports make is no rubbish
    given = plain_arguments(sys.argv[1:], os.environ)
    if given is None:
        gc.enable()
        from floorterm.cli import main as command_line  # noqa: PLC0415  not for a terminal

        command_line()
        return
    sys.exit(_open_terminal(given))


def _open_terminal(given: "Mapping[str, str]") -> int:
    from floorterm.terminal.early import early_here, in_browser, why_not_here  # noqa: PLC0415  only here

    if in_browser(os.environ) or why_not_here():
        return _open(given, None)
    with early_here() as early:
        from floorterm.terminal.remembered import lines_of, path_of  # noqa: PLC0415  what is typed is kept from here on

        memory = path_of(given.get("terminal", "T1"), os.environ)
        if memory and (lines := lines_of(given["db"], memory, given.get("language", "en"))):
            early.show(lines)
        return _open(given, early)


def _open(given: "Mapping[str, str]", early: "EarlyTerminal | None") -> int:
    from pathlib import Path  # noqa: PLC0415  after the first lines

    from floorterm.terminal.opening import open_here  # noqa: PLC0415

    return open_here(
        Path(given["db"]),
        terminal=given.get("terminal", "T1"),
        language=given.get("language", "en"),
        plain="plain" in given,
        look="day" if given.get("look") == "day" else "night",
        log=Path(given["log"]) if "log" in given else None,
        checklists=Path(given["checklists"]) if "checklists" in given else None,
        early=early,
    )


def plain_arguments(arguments: "Sequence[str]", env: "Mapping[str, str]") -> "dict[str, str] | None":
    """What `floorterm [open]` was given, where it is plain and can be used as it is; else None."""
    rest = list(arguments)
    if rest[:1] == ["open"]:
        del rest[0]
    elif rest and not rest[0].startswith("--"):
        return None
    found = {name: env[variable] for name, variable in VARIABLES.items() if env.get(variable)}
    while rest:
        name, joined, value = rest.pop(0).partition("=")
        name = name.removeprefix("--") if name.startswith("--") else ""
        if name in FLAGS and not joined:
            found[name] = "yes"
        elif name in VALUES and (joined or rest):
            found[name] = value if joined else rest.pop(0)
        else:
            return None
    return found if _usable(found) and not any(map(env.get, UNTOLD)) else None


def _usable(found: "Mapping[str, str]") -> bool:
    """Whether no value needs a word from the command line."""
    name = found.get("terminal", "T1")
    return (
        all(found.values())
        and _speaks(found.get("language", "en"))
        and found.get("look", "night") in _LOOKS
        and 0 < len(name) <= _LONGEST_NAME
        and name.isascii()
        and name.replace("-", "").isalnum()
        and os.path.isfile(found.get("db", ""))  # noqa: PTH113  a path is made of it once it is known to be one
        and os.path.isdir(found.get("checklists", "."))  # noqa: PTH112
        and not os.path.isdir(found.get("log", ""))  # noqa: PTH112
    )


def _speaks(language: str) -> bool:
    """Whether there is such a language; `languages` itself finds them only after the first lines."""
    here = os.path.dirname(os.path.abspath(__file__))  # noqa: PTH100, PTH120
    fact = os.path.join(here, "wordings", language, "language.json")  # noqa: PTH118
    return language.isalpha() and language.isascii() and os.path.isfile(fact)  # noqa: PTH113
