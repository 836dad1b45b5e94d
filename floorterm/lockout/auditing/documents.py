"""A record document as a file: YAML or JSON, read without guessing, faults with their line and column.

Only `true`, `false`, `null` and plain integers become anything but text, so that a date stays the date that
was written. Anchors, aliases, tags, repeated keys and a second document are refused.
"""

import json
import re
from typing import Any

import yaml
from msgspec.structs import replace

from floorterm.library.faults import quoted, shown
from floorterm.lockout.auditing.fields import Loc, RecordError, RecordFault
from floorterm.lockout.auditing.reading import read_record
from floorterm.lockout.auditing.record import Record

MAX_BYTES = 4 * 1024 * 1024
MAX_DEPTH = 30
_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_INTEGER = re.compile(r"-?(0|[1-9][0-9]{0,17})")
_PLAIN = {"true": True, "false": False, "null": None, "~": None, "": None}


def load_record(content: bytes) -> Record:
    """The record of a file. Raises RecordError with every fault; line and column where the file is YAML."""
    if len(content) > MAX_BYTES:
        raise _whole(f"a file of at most {MAX_BYTES // 1024 // 1024} MiB", "a larger one")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = f"the byte {content[error.start]:02X} at {error.start}"
        raise _whole("text in UTF-8", found, "save the file as UTF-8") from error
    if text.lstrip().startswith("{"):
        try:
            data = json.loads(text, object_pairs_hook=_once)
        except (json.JSONDecodeError, RecursionError):
            pass  # a YAML document may begin with a brace too; its reader says what is wrong
        except RecordError:
            raise
        except ValueError as error:
            raise _whole("numbers of less than a thousand digits", "a longer one") from error
        else:
            return read_record(data)
    places: dict[Loc, tuple[int, int]] = {}
    data = _yaml(text, places)
    try:
        return read_record(data)
    except RecordError as error:
        raise RecordError(_placed(fault, places) for fault in error.faults) from None


def _whole(expected: str, found: str, hint: str = "") -> RecordError:
    return RecordError([RecordFault((), expected, found, hint)])


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise _whole("each key once", f"the key {quoted(twice)} a second time", "keep one")
    return found


def _placed(fault: RecordFault, places: dict[Loc, tuple[int, int]]) -> RecordFault:
    loc = fault.loc
    while loc and loc not in places:
        loc = loc[:-1]
    line, column = places.get(loc, (0, 0))
    return replace(fault, line=line, column=column)


def _yaml(text: str, places: dict[Loc, tuple[int, int]]) -> Any:
    try:
        _refuse_surprises(text)
        node = yaml.compose(text, _Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        found = f"something that YAML cannot read ({shown(error.problem or error.context)})"
        fault = RecordFault((), "text in YAML or JSON", found)
        if mark is not None:
            fault = replace(fault, line=mark.line + 1, column=mark.column + 1)
        raise RecordError([fault]) from error
    except (yaml.YAMLError, RecursionError) as error:
        raise _whole("text in YAML or JSON", shown(error)) from error
    return _value(node, (), places) if node is not None else None


def _refuse_surprises(text: str) -> None:
    """What could stand for more, or for something else, than it shows."""
    documents = depth = 0
    event: Any
    for event in yaml.parse(text, _Loader):
        found = ""
        if isinstance(event, yaml.AliasEvent):
            found = f"the alias *{shown(event.anchor)}"
        elif getattr(event, "anchor", None):
            found = f"the anchor &{shown(event.anchor)}"
        elif getattr(event, "tag", None) not in (None, "!"):
            found = f"the tag {quoted(event.tag)}"
        elif isinstance(event, yaml.DocumentStartEvent):
            documents += 1
            found = "a second document" if documents > 1 else ""
        elif isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            found = f"more than {MAX_DEPTH} levels" if depth > MAX_DEPTH else ""
        elif isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
        if found:
            mark = event.start_mark
            fault = RecordFault((), "plain values", found, "write it out", mark.line + 1, mark.column + 1)
            raise RecordError([fault])


def _value(node: Any, loc: Loc, places: dict[Loc, tuple[int, int]]) -> Any:
    places[loc] = (node.start_mark.line + 1, node.start_mark.column + 1)
    if isinstance(node, yaml.SequenceNode):
        return [_value(item, (*loc, index), places) for index, item in enumerate(node.value)]
    if isinstance(node, yaml.MappingNode):
        found: dict[str, Any] = {}
        for key, value in node.value:
            name = str(key.value)
            if name in found:
                place = (key.start_mark.line + 1, key.start_mark.column + 1)
                fault = f"the key {quoted(name)} a second time"
                raise RecordError([RecordFault((*loc, name), "each key once", fault, "keep one", *place)])
            found[name] = _value(value, (*loc, name), places)
        return found
    text = str(node.value)
    if node.style:
        return text
    if text in _PLAIN:
        return _PLAIN[text]
    return int(text) if _INTEGER.fullmatch(text) else text
