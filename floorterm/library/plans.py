"""Checks of a line's plan: what is drawn on it lies on it, and every isolation point has a place of its own."""

from collections.abc import Iterator

from floorterm.library.documents import Document
from floorterm.library.faults import Fault
from floorterm.library.model import LineFile
from floorterm.library.reading import Node

_APART_M = 0.5  # nearer than this, two marks of the printed plan would cover each other


def plan_faults(line: Document) -> Iterator[Fault]:
    """Faults of the plan; none is looked for in a file that breaks the rules of its kind."""
    model = line.model
    if not isinstance(model, LineFile):
        return
    points = list(zip(line.node.each("points"), model.points, strict=True))
    if model.plan is None:
        for node, point in points:
            if point.at is not None:
                hint = "draw the line under plan:, or leave at: out"
                yield line.fault(_of(node, "at"), "no place, as the line has no plan", hint=hint)
        return
    plan = model.plan
    drawn = line.node.get("plan")
    for machine, outline in zip(drawn.each("machines") if drawn else (), plan.machines, strict=True):
        if outline.x_m + outline.length_m > plan.length_m or outline.y_m + outline.width_m > plan.width_m:
            expected = f"an outline inside the plan ({plan.length_m} by {plan.width_m} m)"
            yield line.fault(machine, expected, "one that reaches beyond it")
    seen: list[tuple[str, float, float]] = []
    for node, point in points:
        if point.at is None:
            yield line.fault(node, "the point's place on the plan", "nothing", key="at")
            continue
        x, y = float(point.at.x_m), float(point.at.y_m)
        if x > plan.length_m or y > plan.width_m:
            expected = f"a place on the plan ({plan.length_m} by {plan.width_m} m)"
            yield line.fault(_of(node, "at"), expected, f"{x:g}, {y:g}")
        for other, ox, oy in seen:
            if abs(x - ox) < _APART_M and abs(y - oy) < _APART_M:
                expected = f"a place at least {_APART_M} m from {other}"
                yield line.fault(_of(node, "at"), expected, f"{x:g}, {y:g}")
        seen.append((point.id, x, y))


def _of(node: Node, key: str) -> Node:
    return node.get(key) or node
