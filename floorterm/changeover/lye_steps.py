"""Compose sections of lye work: the confirmations of protection before their steps, and what the site says."""

from datetime import date
from decimal import Decimal

from msgspec.structs import replace

from floorterm.changeover.faults import ComposeError
from floorterm.changeover.lye_needs import needed_items
from floorterm.changeover.worksheet import LyeNote
from floorterm.library.model import LyePolicy, PlantFile, SectionSpec, StepSpec, Text
from floorterm.lye.duties import Assessment, assessment_refusals, blocked_tools, data_sheet_warnings
from floorterm.lye.errors import ProtectionError
from floorterm.lye.protection import WEAR, Item, Protection, item_name, protection, standards
from floorterm.wording import Say, sentence, words

_MINUTES = Decimal("0.3")  # to put one thing on and look it over; the plant's own times replace it


def with_protection(spec: SectionSpec, plant: PlantFile, on: date) -> SectionSpec:
    """The section with one confirmation an item before its own steps; unchanged where it is no lye work.

    Raises ComposeError for a tool that lye attacks, for lye work in a plant whose hazard assessment is missing or
    falls short, and for a task that must not be done under the conditions written.
    """
    if spec.lye is None:
        if any(step.kind == "protect" for step in spec.steps):
            raise ComposeError(f"Section {spec.id}: steps of kind protect belong to a section with lye.")
        return spec
    _check(spec, plant, on)
    asked = _protection(spec, plant)
    duty = spec.steps[0].duty
    steps = tuple(
        _confirm(item, asked, duty, plant, first=place == 0) for place, item in enumerate(needed_items(asked))
    )
    return replace(spec, steps=(*steps, *spec.steps))


def _check(spec: SectionSpec, plant: PlantFile, on: date) -> None:
    assert spec.lye is not None
    if plant.lye is None:
        raise ComposeError(
            f"Section {spec.id} is lye work: plant.yaml needs lye: with the data sheet and the hazard assessment."
        )
    paper = plant.lye.assessment
    assessment = Assessment(
        workplace=paper.workplace,
        certified_by=paper.certified_by,
        on=paper.on,
        titled=paper.titled,
        changed_on=paper.changed_on,
    )
    for refused in (*blocked_tools(spec.lye.tools), *assessment_refusals(assessment, on)):
        raise ComposeError(f"Section {spec.id}: {sentence(refused.say)} ({refused.rule})")


def _protection(spec: SectionSpec, plant: PlantFile) -> Protection:
    work, policy = spec.lye, plant.lye
    assert work is not None
    assert policy is not None
    try:
        return protection(
            work.task,
            mass_pct=float(work.strength_pct),
            temperature_c=float(work.temperature_c),
            pressurised=work.pressurised,
            limit_c=float(policy.limit_c),
        )
    except ProtectionError as fault:
        raise ComposeError(f"Section {spec.id}: {fault}") from fault


def _confirm(item: Item, asked: Protection, duty: str, plant: PlantFile, *, first: bool) -> StepSpec:
    policy, languages = plant.lye, plant.written
    assert policy is not None  # `_check` has seen to it
    wear = item.slot in WEAR
    names = item_name(item.id)
    doubts = [*(asked.warnings if item.slot == "hands" else ()), *(_sheet_warnings(policy) if first else ())]
    text = {
        language: words(
            "compose.protect_wear" if wear else "compose.protect_sure", language, item=names[language]
        )
        for language in languages
    }
    why = {language: _why(item, asked, policy, language, first=first) for language in languages}
    caution = {language: " ".join(sentence(say, language) for say in doubts) for language in languages}
    return StepSpec(
        id=f"protect-{item.id}".replace("_", "-"),
        kind="protect",
        item=item.id,
        text=Text(**text),
        why=Text(**why),
        caution=Text(**caution) if doubts else None,
        duty=duty,
        standard_min=_MINUTES,
        source=item.origin.source,
    )


def _why(item: Item, asked: Protection, policy: LyePolicy, language: str, *, first: bool) -> str:
    """What to look for on an item and the class behind it; with the first one the data sheet that hangs there."""
    kind = "feet" if item.id.endswith(("boots", "shoes")) else item.slot
    said = []
    for one in standards(policy.region):
        if one.kind == kind and item.slot in WEAR:
            key = "compose.protect_look_unconfirmed" if one.origin.unconfirmed else "compose.protect_look"
            mark = ": ".join(filter(None, (one.standard, one.mark)))
            said.append(words(key, language, mark=mark))
    key = "compose.protect_raised" if asked.raised_by else "compose.protect_why"
    said.append(words(key, language, task=asked.task_class, asked=asked.asked_class))
    if first:
        sheet = f"{policy.data_sheet.id}, {policy.data_sheet.revised_on.isoformat()}"
        said.append(words("compose.protect_sheet", language, sheet=sheet))
    return " ".join(said)


def _sheet_warnings(policy: LyePolicy) -> tuple[Say, ...]:
    return data_sheet_warnings(policy.data_sheet.revised_on, policy.data_sheet.newest_on)


def lye_note(spec: SectionSpec, plant: PlantFile) -> LyeNote | None:
    """What stands in the worksheet about a section of lye work."""
    work, policy = spec.lye, plant.lye
    if work is None or policy is None:
        return None
    return LyeNote(
        task=work.task,
        mass_pct=work.strength_pct,
        temperature_c=work.temperature_c,
        pressurised=work.pressurised,
        limit_c=policy.limit_c,
        due={gear.item: gear.inspection_due for gear in policy.gear},
        shift_starts=tuple(f"{shift.start:%H:%M}" for shift in plant.shifts),
    )
