"""One file's tree against its model: pydantic's errors as faults with line, column and plain English."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, TypeVar, get_args, get_origin

from msgspec.structs import replace
from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from floorterm.library.faults import Fault, listed, near, quoted
from floorterm.library.model import AloneFile, BlockFile, LockoutFile, SequenceFile
from floorterm.library.reading import Loc, Node, Place, fault_at, kind_of

M = TypeVar("M", bound=BaseModel)
PROCEDURES: Mapping[str, type[BaseModel]] = {
    "lockout": LockoutFile,
    "block": BlockFile,
    "alone": AloneFile,
    "changeover": SequenceFile,
}
_BOOLEANS_OF_YAML_1_1 = {
    **dict.fromkeys(("yes", "y", "on", "true"), "true"),
    **dict.fromkeys(("no", "n", "off", "false"), "false"),
}


def validate(path: str, node: Node, model: type[M]) -> tuple[M | None, list[Fault]]:
    """The model that a file's tree stands for, or None and every fault of it."""
    try:
        return model.model_validate(node.plain()), []
    except ValidationError as error:
        found: dict[tuple[Place, str], Fault] = {}
        for details in error.errors(include_url=False):
            for fault in _faults(path, node, model, details):
                place = (Place(fault.line, fault.column), fault.field)
                first = found.setdefault(place, fault)
                if first.expected != fault.expected:  # the branches of a union
                    found[place] = replace(first, expected=f"{first.expected}, or {fault.expected}")
        return None, list(found.values())


def procedure_model(path: str, node: Node) -> tuple[type[BaseModel] | None, list[Fault]]:
    """Which model a file of procedures/ follows, by its `kind`."""
    kind = node.get("kind")
    if kind is None:
        return None, [fault_at(path, node.place, ("kind",), listed(PROCEDURES), "nothing")]
    model = PROCEDURES.get(kind.text or "")
    if model is None:
        hint = near(kind.text or "", PROCEDURES)
        return None, [fault_at(path, kind.place, kind.loc, listed(PROCEDURES), kind_of(kind), hint)]
    return model, []


def truth_hint(text: str) -> str:
    """What to write instead of a word that YAML 1.1 takes for a truth value ("no", "on"), or ""."""
    meant = _BOOLEANS_OF_YAML_1_1.get(text.casefold())
    return f"write {meant}" if meant else ""


def _faults(path: str, root: Node, model: type[BaseModel], details: ErrorDetails) -> list[Fault]:
    kind, ctx = details["type"], details.get("ctx", {})
    node, key, loc = _found_at(root, details["loc"])
    if kind == "value_error":
        keys = _keys_at(model, loc)
        message = details["msg"].removeprefix("Value error, ")
        return [_rule(path, node, loc, keys, line) for line in message.split("\n")]
    if kind == "missing":
        name = str(details["loc"][-1])
        return [fault_at(path, node.place, (*loc, name), f"the key {name}", "nothing")]
    if kind == "extra_forbidden":
        known = _keys_at(model, loc[:-1])
        hint = near(str(loc[-1]), known)
        expected = "a known key" if hint else listed(known, 40)
        return [fault_at(path, key, loc, expected, f"the key {quoted(loc[-1])}", hint)]
    if kind == "too_short" and isinstance(node.value, tuple) and len(node.value) >= ctx.get("min_length", 0):
        return []  # pydantic counts only the items that are well, and those that are not have their own faults
    expected, hint = _expected(kind, details["msg"], ctx), _hint(kind, node, ctx)
    return [fault_at(path, node.place, loc, expected, kind_of(node), hint)]


def _rule(path: str, node: Node, loc: Loc, keys: Sequence[str], broken: str) -> Fault:
    """A rule of a model that was broken: of the value itself, or of one of its keys ("low: a number…")."""
    name, colon, expected = broken.partition(": ")
    if colon and name in keys:
        named = node.get(name)
        place, found = (named.place, kind_of(named)) if named is not None else (node.place, "nothing")
        return fault_at(path, place, (*loc, name), expected, found)
    return fault_at(path, node.place, loc, broken, kind_of(node))


def _found_at(root: Node, loc: Sequence[int | str]) -> tuple[Node, Place, Loc]:
    """The node nearest to a location of pydantic's with the place of its key and its location in the file.

    Parts of the location that no file has (the branch of a union) are left out.
    """
    node, key = root, root.place
    known: Loc = ()
    for part in loc:
        if isinstance(part, int) and isinstance(node.value, tuple) and part < len(node.value):
            node = node.value[part]
            key = node.place
        elif isinstance(part, str) and isinstance(node.value, dict) and part in node.value:
            key, node = node.value[part]
        else:
            continue
        known = (*known, part)
    return node, key, known


def _expected(kind: str, message: str, ctx: Mapping[str, Any]) -> str:
    made = _SENTENCES.get(kind)
    return made(ctx) if made else message[:1].lower() + message[1:]


def _hint(kind: str, node: Node, ctx: Mapping[str, Any]) -> str:
    if node.text is None:
        return ""
    if kind == "bool_type":
        return truth_hint(node.text)
    if kind == "literal_error":
        return near(node.text, _choices(ctx))
    return ""


def _choices(ctx: Mapping[str, Any]) -> list[str]:
    """The allowed words out of pydantic's "'a', 'b' or 'c'"."""
    return [
        part.strip().strip("'") for part in str(ctx.get("expected", "")).replace(" or ", ", ").split(", ")
    ]


def _pattern(ctx: Mapping[str, Any]) -> str:
    if "/" in str(ctx.get("pattern")):
        return "a step as step or section/step (letters, digits, - and _)"
    return "a short name of letters, digits, - and _ (at most 40, beginning with a letter or digit)"


def _items(ctx: Mapping[str, Any], bound: str, words: str) -> str:
    count = ctx.get(bound)
    return f"{words} {count} item{'' if count == 1 else 's'}"


_SENTENCES: Mapping[str, Callable[[Mapping[str, Any]], str]] = {
    "literal_error": lambda ctx: listed(_choices(ctx), 60),
    "bool_type": lambda _: "true or false",
    "int_type": lambda _: "a whole number without quotes",
    "string_type": lambda _: "a text (in quotes if it could be read as something else)",
    "string_pattern_mismatch": _pattern,
    "string_too_short": lambda ctx: f"a text of at least {ctx['min_length']} characters"
    if ctx["min_length"] > 1 else "a text",
    "string_too_long": lambda ctx: f"a text of at most {ctx['max_length']} characters",
    "greater_than": lambda ctx: f"a number above {ctx['gt']}",
    "greater_than_equal": lambda ctx: f"a number of at least {ctx['ge']}",
    "less_than": lambda ctx: f"a number below {ctx['lt']}",
    "less_than_equal": lambda ctx: f"a number of at most {ctx['le']}",
    "decimal_type": lambda _: "a number such as 12 or 0.25",
    "decimal_parsing": lambda _: "a number such as 12 or 0.25",
    "finite_number": lambda _: "a number such as 12 or 0.25",
    "date_from_datetime_parsing": lambda _: "a date such as 2026-03-31",
    "date_parsing": lambda _: "a date such as 2026-03-31",
    "time_parsing": lambda _: "a time of day such as 06:00",
    "too_short": lambda ctx: _items(ctx, "min_length", "a list of at least"),
    "too_long": lambda ctx: _items(ctx, "max_length", "a list of at most"),
    "tuple_type": lambda _: "a list",
    "model_type": lambda _: "keys with values",
    "model_attributes_type": lambda _: "keys with values",
    "dict_type": lambda _: "keys with values",
    "mapping_type": lambda _: "keys with values",
}  # fmt: skip


def _keys_at(model: type[BaseModel], loc: Loc) -> tuple[str, ...]:
    """The keys that a model allows at a location."""
    here: tuple[Any, ...] = (model,)
    for part in loc:
        here = tuple(inner for outer in here for inner in _inside(outer, part))
    return tuple(name for found in here for name in found.model_fields)


def _inside(model: Any, part: str | int) -> Iterator[type[BaseModel]]:
    if isinstance(part, int):  # the annotation of a list already stands for its items
        yield model
    elif part in model.model_fields:
        yield from _models_of(model.model_fields[part].annotation)


def _models_of(annotation: Any) -> Iterator[type[BaseModel]]:
    """The models within an annotation such as `tuple[Step, ...] | None`."""
    if isinstance(annotation, type) and get_origin(annotation) is None:
        if issubclass(annotation, BaseModel):
            yield annotation
        return
    for inner in get_args(annotation):
        yield from _models_of(inner)
