"""Cross references between the files of a folder: what names what, and whether it exists and agrees.

The checks walk the trees, not the models, so that a file with one broken value still has its references
checked and everything is reported at once.
"""

from collections.abc import Iterable, Iterator

from floorterm.library import tables
from floorterm.library.cycles import cycle_faults
from floorterm.library.documents import ENTER, LEAVE, Document, Documents, names_in, names_of, repeats
from floorterm.library.faults import Fault, listed, near, quoted, shown
from floorterm.library.plans import plan_faults
from floorterm.library.reading import Node
from floorterm.library.steps import step_faults


def reference_faults(documents: Documents) -> Iterator[Fault]:
    """Every fault that needs more than one place of the files to be seen."""
    yield from _same_ids(documents.lines, "line")
    yield from _same_ids(documents.fragrances, "fragrance")
    for kind in ("lockout", "block", "alone"):
        yield from _same_ids(documents.of_kind(kind), f"{kind} procedure")
    yield from _same_codes(documents.fragrances)
    if documents.plant is not None:
        yield from _plant(documents, documents.plant)
    for line in documents.lines:
        yield from _line(documents, line)
    for fragrance in documents.fragrances:
        yield from _fragrance(documents, fragrance)
    for lockout in documents.of_kind("lockout"):
        yield from _lockout(documents, lockout)
    for alone in documents.of_kind("alone"):
        yield from _known(
            alone, alone.node.each("lines"), "a line", documents.line_ids, documents.knows("lines")
        )
        yield from _duties(documents, alone, "release_duties")
    yield from _sequence(documents)
    yield from step_faults(documents)
    yield from cycle_faults(documents)


def _known(
    document: Document, nodes: Iterable[Node], what: str, known: frozenset[str], complete: bool
) -> Iterator[Fault]:
    if complete:
        for node in nodes:
            if node.text is not None and node.text not in known:
                yield document.unknown(node, what, known)


def _duties(documents: Documents, document: Document, key: str) -> Iterator[Fault]:
    complete = documents.plant is not None
    yield from _known(document, document.node.each(key), "a duty of plant.yaml", documents.duties, complete)


def _same_ids(documents: tuple[Document, ...], what: str) -> Iterator[Fault]:
    seen: dict[str, str] = {}
    for document in documents:
        node = document.node.get("id")
        if node is None or node.text is None:
            continue
        if node.text in seen:
            found = f"{quoted(node.text)}, which {seen[node.text]} has too"
            yield document.fault(node, f"an id that no other {what} has", found)
        seen.setdefault(node.text, document.path)


def _same_codes(documents: tuple[Document, ...]) -> Iterator[Fault]:
    """A scanner's code must mean one fragrance."""
    seen: dict[str, str] = {}
    for document in documents:
        node = document.node.get("code")
        if node is None or node.text is None:
            continue
        if node.text in seen:
            found = f"{quoted(node.text)}, which {seen[node.text]} has too"
            yield document.fault(node, "a code that no other fragrance has", found)
        seen.setdefault(node.text, document.path)


def _plant(documents: Documents, plant: Document) -> Iterator[Fault]:
    yield from repeats(plant, names_of(plant.node, "duties"), "duty")
    yield from repeats(plant, names_of(plant.node, "shifts"), "shift")
    yield from repeats(plant, names_of(plant.node, "first_aid"), "topic")
    yield from _duties(documents, plant, "release_duties")
    policy = plant.node.get("lockout")
    if policy is not None:
        nodes = policy.each("contractor_duties")
        yield from _known(plant, nodes, "a duty of plant.yaml", documents.duties, True)
    if plant.node.get("release_duties") is None and "supervisor" not in documents.duties:
        hint = near("supervisor", documents.duties)
        yield plant.fault(
            plant.node, "the duties that release a changeover", "nothing", hint, key="release_duties"
        )


def _line(documents: Documents, line: Document) -> Iterator[Fault]:
    units = names_in(line.node, "units", "name")
    yield from repeats(line, names_of(line.node, "units", "name"), "unit")
    yield from repeats(line, names_of(line.node, "points"), "isolation point")
    yield from repeats(line, names_of(line.node, "tanks"), "dosing tank")
    for key in ("dose_at", "flash_to"):
        node = line.node.word(key)
        if node is not None and node.text not in units:
            yield line.unknown(node, "a unit of this line", units)
    yield from _flash(line)
    yield from _duties(documents, line, "affected_duties")
    for tank in line.node.each("tanks"):
        yield from _tank(documents, line, tank)
    yield from _flushing(documents, line, units)
    yield from plan_faults(line)


def _flash(line: Document) -> Iterator[Fault]:
    flash, back = _number(line.node.get("flash_fraction")), _number(line.node.get("return_kg"))
    if flash > 0 and line.node.get("flash_to") is None:
        hint = "name the unit that the flash goes back to, or leave flash_fraction out"
        yield line.fault(line.node, "a unit of this line", "nothing", hint, key="flash_to")
    node = line.node.get("return_kg")
    if node is not None and back > 0 and flash == 0:
        yield line.fault(node, "0 where no flash comes back (flash_fraction is 0)")


def _flushing(documents: Documents, line: Document, units: frozenset[str]) -> Iterator[Fault]:
    """Cleanings and heels name units of the line, each unit once; a fragrance in between is one of the plant's."""
    flushing = line.node.get("flushing")
    if flushing is None:
        return
    yield from repeats(line, names_of(flushing, "cleanings", "unit"), "cleaning")
    yield from _known(line, names_of(flushing, "cleanings", "unit"), "a unit of this line", units, True)
    heels = flushing.get("heels")
    for name, member in heels.members() if heels is not None else ():
        if name not in units:
            expected = f"a unit of this line ({listed(units)})"
            yield line.fault(member.node, expected, quoted(name), near(name, units))
    between = flushing.get("intermediate")
    middle = between.word("fragrance") if between is not None else None
    if middle is not None:
        complete = documents.knows("fragrances")
        yield from _known(line, [middle], "a fragrance", documents.fragrance_ids, complete)


def _number(node: Node | None) -> float:
    """A number for comparing with 0; what is no number is a fault elsewhere and counts as 0 here."""
    try:
        return float(node.text or 0) if node is not None else 0.0
    except ValueError:
        return 0.0


def _tank(documents: Documents, line: Document, tank: Node) -> Iterator[Fault]:
    only = tank.word("only")
    if only is None or not documents.knows("fragrances"):
        return
    owner = next((document for document in documents.fragrances if document.id == only.text), None)
    if owner is None:
        yield line.unknown(only, "a fragrance", documents.fragrance_ids)
        return
    name = tank.word("id")
    held = _tanks_of(owner).get(line.id or "")
    if name is not None and (held is None or held.text != name.text):
        where = f"it has {quoted(held.text)}" if held is not None else "it names no tank on this line"
        expected = f"a fragrance whose tank on this line is {shown(name.text)}"
        yield line.fault(only, expected, f"{quoted(only.text)} ({where} in {owner.path})")


def _tanks_of(fragrance: Document) -> dict[str, Node]:
    tanks = fragrance.node.get("tanks")
    return {line: member.node for line, member in tanks.members()} if tanks is not None else {}


def _fragrance(documents: Documents, fragrance: Document) -> Iterator[Fault]:
    node = fragrance.node
    yield from repeats(fragrance, node.each("lines"), "line")
    yield from repeats(fragrance, names_of(node, "oils", "oil"), "oil")
    yield from repeats(fragrance, node.each("label"), "label item")
    yield from _known(fragrance, node.each("lines"), "a line", documents.line_ids, documents.knows("lines"))
    oils = frozenset(tables.oil_names())
    yield from _known(fragrance, names_of(node, "oils", "oil"), "an oil of the oil table", oils, True)
    yield from repeats(fragrance, names_of(node, "indices", "name"), "index")
    yield from repeats(fragrance, names_of(node, "maxima", "item"), "safety maximum")
    listed_items = (
        *node.each("label"),
        *names_of(node, "background", "item"),
        *names_of(node, "maxima", "item"),
    )
    for item in listed_items:
        yield from _label_item(fragrance, item)
    yield from _fragrance_tanks(documents, fragrance)


def _label_item(fragrance: Document, item: Node) -> Iterator[Fault]:
    if item.text is None:
        return
    try:
        tables.item_named(item.text)
    except tables.UnknownNameError as error:
        hint = f"did you mean {' or '.join(quoted(name) for name in error.near)}?" if error.near else ""
        yield fragrance.fault(item, "an item of the label list", "", hint)
    except tables.AmbiguousNameError as error:
        yield fragrance.fault(item, f"the name of one item ({' or '.join(error.items)})")


def _fragrance_tanks(documents: Documents, fragrance: Document) -> Iterator[Fault]:
    lines = frozenset(node.text for node in fragrance.node.each("lines") if node.text is not None)
    tanks = _tanks_of(fragrance)
    member = fragrance.node.value.get("tanks") if isinstance(fragrance.node.value, dict) else None
    for line_id, node in tanks.items():
        if line_id not in lines:
            yield fragrance.fault(
                node, f"a tank for a line that it runs on ({listed(lines)})", f"the line {quoted(line_id)}"
            )
        elif (line := documents.line(line_id)) is not None:
            yield from _fragrance_tank(fragrance, line, node)
    if fragrance.node.each("oils"):
        for line_id in sorted(lines - tanks.keys()):
            at = member.node if member is not None else fragrance.node
            key = line_id if member is not None else "tanks"
            hint = f"write tanks: {{{shown(line_id)}: …}} with a tank of that line"
            found = f"none on {shown(line_id)}"
            yield fragrance.fault(at, "a tank on each line that it runs on", found, hint, key=key)


def _fragrance_tank(fragrance: Document, line: Document, node: Node) -> Iterator[Fault]:
    tank = next(
        (tank for tank in line.node.each("tanks") if (name := tank.word("id")) and name.text == node.text),
        None,
    )
    if tank is None:
        if node.text is not None:
            yield fragrance.unknown(node, f"a dosing tank of {line.id}", names_in(line.node, "tanks", "id"))
        return
    only = tank.word("only")
    if only is not None and only.text != fragrance.id:
        yield fragrance.fault(
            node,
            "a tank that is shared or its own",
            f"{quoted(node.text)}, which is kept for {shown(only.text)}",
        )


def _lockout(documents: Documents, lockout: Document) -> Iterator[Fault]:
    lines = lockout.node.each("lines")
    yield from _known(lockout, lines, "a line", documents.line_ids, documents.knows("lines"))
    yield from repeats(lockout, lines, "line")
    points = lockout.node.each("points")
    yield from repeats(lockout, points, "isolation point")
    for line in lines:
        document = documents.line(line.text)
        if document is not None:
            known = names_in(document.node, "points", "id")
            yield from _known(lockout, points, f"an isolation point of {shown(line.text)}", known, True)
            yield from _some_required(lockout, document)


def _some_required(lockout: Document, line: Document) -> Iterator[Fault]:
    """A procedure whose points are all left to choice would let somebody work on a live machine."""
    named = {node.text for node in lockout.node.each("points")}
    here = [point for point in line.node.each("points") if (name := point.word("id")) and name.text in named]
    required = [point for point in here if (flag := point.get("required")) is None or flag.value is not False]
    if here and not required:
        at = lockout.node.get("points") or lockout.node
        yield lockout.fault(at, f"at least one point that is required on {line.id}", "none")


def _sequence(documents: Documents) -> Iterator[Fault]:
    sequences = documents.of_kind("changeover")
    if not sequences and documents.knows("procedures"):
        expected = "one file of kind changeover that names the blocks in order"
        yield Fault("procedures", 0, 0, "", expected, "none")
    for second in sequences[1:]:
        at = second.node.get("kind") or second.node
        yield second.fault(
            at, "one file of kind changeover", f"a second one (the first is {sequences[0].path})"
        )
    for sequence in sequences[:1]:
        blocks = sequence.node.each("blocks")
        yield from repeats(sequence, blocks, "block")
        known = frozenset(documents.blocks) | {LEAVE, ENTER}
        yield from _known(sequence, blocks, "a block", known, documents.knows("procedures"))
        yield from _markers(documents, sequence)
        yield from _unused(documents, sequence)


def _markers(documents: Documents, sequence: Document) -> Iterator[Fault]:
    """A fragrance's own steps must have a place in the sequence."""
    blocks = sequence.node.get("blocks")
    named = frozenset(block.text for block in sequence.node.each("blocks"))
    for key, marker in (("leave", LEAVE), ("enter", ENTER)):
        owners = [document.path for document in documents.fragrances if document.node.each(key)]
        if blocks is not None and owners and marker not in named:
            yield sequence.fault(blocks, f"{marker} among the blocks ({owners[0]} has {key} steps)", "none")


def _unused(documents: Documents, sequence: Document) -> Iterator[Fault]:
    """A block that no changeover uses would be edited and approved, and never walked."""
    named = frozenset(block.text for block in sequence.node.each("blocks"))
    for name, block in documents.blocks.items():
        if name not in named:
            hint = near(name, [word for word in named if word and word not in documents.blocks])
            at = block.node.get("id") or block.node
            yield block.fault(
                at, f"a block that {sequence.path} names", f"{quoted(name)}, which it does not", hint
            )
