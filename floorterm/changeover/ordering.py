"""Which step stands after which, when parts of the plan were left out by `when:`.

A reference to something left out means whatever that stood after, so leaving a section out never loosens
the order of the rest.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from msgspec import Struct

from floorterm.library.model import SectionSpec, StepSpec


class Part(Struct, frozen=True):
    """One section of the plan before it is known what of it stays. `steps` are (spec, stays) pairs."""

    spec: SectionSpec
    stays: bool
    steps: tuple[tuple[StepSpec, bool], ...]

    @property
    def id(self) -> str:
        """The section's id."""
        return self.spec.id


@dataclass
class Ordering:
    """Resolves references over all parts of one plan. Ids that go out are ids of steps on the worksheet."""

    parts: Sequence[Part]
    _entry: dict[str, tuple[str, ...]] = field(default_factory=dict)

    def entry(self, part_id: str) -> tuple[str, ...]:
        """What must be signed before the first step of a section: by its `after`, else the section before it.

        A section beside the others with no `after` waits for nothing.
        """
        if part_id not in self._entry:
            self._entry[part_id] = self._compute_entry(part_id)
        return self._entry[part_id]

    def _compute_entry(self, part_id: str) -> tuple[str, ...]:
        part = self._part(part_id)
        if part.spec.after is not None:
            return _unique(step for ref in part.spec.after for step in self.resolve(ref, part))
        if part.spec.beside:
            return ()
        before = [other for other in self.parts[: self._index(part_id)] if not other.spec.beside]
        return self.ends(before[-1].id) if before else ()

    def ends(self, part_id: str) -> tuple[str, ...]:
        """The steps that end a section (nothing in it comes after them); its entry where it was left out."""
        part = self._part(part_id)
        if not part.stays:
            return self.entry(part_id)
        if part.spec.lockout:
            return (f"{part_id}-unlock/close",)
        staying = [spec for spec, stays in part.steps if stays]
        if not staying:
            return self.entry(part_id)
        followed = {step for spec in staying for step in self.step_after(part, spec)}
        return tuple(f"{part_id}/{spec.id}" for spec in staying if f"{part_id}/{spec.id}" not in followed)

    def step_after(self, part: Part, spec: StepSpec) -> tuple[str, ...]:
        """What must be signed before a step: by its `after`, else the step above it.

        Never less than its section's entry.
        """
        if spec.after is None:
            index = next(i for i, (other, _) in enumerate(part.steps) if other.id == spec.id)
            if index == 0:
                return self.work_entry(part)
            above, stays = part.steps[index - 1]
            return (f"{part.id}/{above.id}",) if stays else self.step_after(part, above)
        found = _unique(step for ref in spec.after for step in self.resolve(ref, part))
        if any(step.startswith(f"{part.id}/") for step in found):
            return found
        return _unique((*found, *self.work_entry(part)))

    def work_entry(self, part: Part) -> tuple[str, ...]:
        """Where the steps of a section begin: behind its verification if it works under lockout."""
        return (f"{part.id}-lock/verify",) if part.spec.lockout else self.entry(part.id)

    def resolve(self, ref: str, here: Part) -> tuple[str, ...]:
        """The steps a reference stands for: a step of this section, `section/step`, or a whole section."""
        section_id, _, step_id = ref.partition("/")
        if not step_id:
            local = [spec for spec, _ in here.steps if spec.id == ref]
            if not local:
                return self.ends(ref)
            section_id, step_id = here.id, ref
        part = self._part(section_id)
        if not part.stays:
            return self.entry(section_id)
        spec, stays = next((spec, stays) for spec, stays in part.steps if spec.id == step_id)
        return (f"{section_id}/{step_id}",) if stays else self.step_after(part, spec)

    def _part(self, part_id: str) -> Part:
        return self.parts[self._index(part_id)]

    def _index(self, part_id: str) -> int:
        return next(index for index, part in enumerate(self.parts) if part.id == part_id)


def _unique(steps: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(steps))
