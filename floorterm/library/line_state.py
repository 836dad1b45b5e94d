"""What a line holds before a flush, from a file: outgoing fraction by unit, after cleaning or running out.

    plodder: 0.1                                  # active cells and plug; dead parts keep their soap
    refiner: {active: 0.2, dead: 1, plug: 0.2}    # each part by itself; what is left out is as before the switch

YAML or JSON. Units that are not named are as before the switch.
"""

import re
from collections.abc import Collection, Iterator, Mapping

from msgspec import Struct

from floorterm.library.faults import Fault, LibraryError, listed, near, quoted
from floorterm.library.reading import Node, fault_at, kind_of, read

PARTS = ("active", "dead", "plug")
_NUMBER = re.compile(r"-?[0-9]{1,12}(\.[0-9]{1,15})?([eE][+-]?[0-9]{1,2})?")
_EXPECTED = "a fraction from 0 to 1 such as 0.1"


class PartFractions(Struct, frozen=True):
    """Outgoing fraction in active cells, dead parts and plug of a unit; None: as before the switch."""

    active: float | None = None
    dead: float | None = None
    plug: float | None = None


def read_line_state(path: str, content: bytes, units: Collection[str]) -> Mapping[str, float | PartFractions]:
    """The start fractions of the units of a line, from the content of a file; `path` only names it.

    Raises LibraryError with every fault: file, line, column, field, what was expected and found.
    """
    root, faults = read(path, content)
    found: dict[str, float | PartFractions] = {}
    if root is not None:
        for name, member in root.members():
            if name not in units:
                hint = near(name, units)
                expected = f"a unit of this line ({listed(units)})"
                faults.append(
                    fault_at(path, member.node.place, member.node.loc, expected, quoted(name), hint)
                )
            elif isinstance(member.node.value, dict):
                faults += _part_faults(path, member.node)
                given = {key: _fraction(part.node) for key, part in member.node.members() if key in PARTS}
                found[name] = PartFractions(**given)
            else:
                faults += _number_faults(path, member.node)
                found[name] = _fraction(member.node) or 0.0
    if faults:
        raise LibraryError(path, faults)
    return found


def _part_faults(path: str, node: Node) -> Iterator[Fault]:
    if not list(node.members()):
        yield fault_at(path, node.place, node.loc, f"one of {', '.join(PARTS)}", "nothing")
    for key, part in node.members():
        if key not in PARTS:
            yield fault_at(
                path,
                part.node.place,
                part.node.loc,
                f"one of {', '.join(PARTS)}",
                quoted(key),
                near(key, PARTS),
            )
        else:
            yield from _number_faults(path, part.node)


def _number_faults(path: str, node: Node) -> Iterator[Fault]:
    if _fraction(node) is None:
        hint = "0.05 means 5 %" if _number(node) is not None else ""
        yield fault_at(path, node.place, node.loc, _EXPECTED, kind_of(node), hint)


def _number(node: Node) -> float | None:
    text = node.text
    return float(text) if text is not None and _NUMBER.fullmatch(text) else None


def _fraction(node: Node) -> float | None:
    """The fraction that stands there, or None for anything else."""
    value = _number(node)
    return value if value is not None and 0.0 <= value <= 1.0 else None
