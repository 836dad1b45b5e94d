"""The flush note of a worksheet: limit and quantity of a pair, turned into values that an entry can hold."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from decimal import Decimal

from floorterm.changeover.worksheet import FlushNote, LimitCandidate
from floorterm.flush import (
    Candidate,
    FlushQuantity,
    LineModel,
    Unit,
    flush_quantity,
    residual_limit_of_several,
)
from floorterm.flush.from_library import bar, evidence, line_model, rules
from floorterm.library import tables
from floorterm.library.model import FragranceFile, Library, LineFile
from floorterm.wording import sentence


def decimal(number: float) -> Decimal:
    """A float as a Decimal with the digits that it needs to be read back exactly."""
    return Decimal(repr(number))


def whole_oil_items() -> tuple[str, ...]:
    """Names of label items that are whole oils."""
    return tuple(item.name for item in tables.whole_oil_items())


def flush_note(
    library: Library, line: LineFile, outgoing: Sequence[FragranceFile], incoming: FragranceFile, on: date
) -> FlushNote:
    """The flush of a line from every fragrance that it may hold, each at full dose, to the incoming one.

    What several of them bring of the same label item is summed. Raises FlushError for inputs that make no sense.
    """
    model = line_model(line)
    limit = residual_limit_of_several(
        [bar(old) for old in outgoing], bar(incoming), rules(library.plant.limits, on)
    )
    found = flush_quantity(model, limit, float(line.rate_kg_h), float(line.slug_g), evidence(line))
    governing = limit.decisive
    return FlushNote(
        status=found.status,
        required_kg=Decimal(found.required_kg),
        bars=found.bars,
        diverted_kg=Decimal(found.diverted_kg),
        minutes=found.minutes,
        limit=decimal(limit.value),
        governing=_candidate(governing) if governing else None,
        candidates=tuple(_candidate(one) for one in limit.candidates),
        evidence=found.evidence,
        measured=found.measured,
        assumed=found.assumed,
        warnings=_warnings(found),
        line_model=line_to_json(model),
        rate_kg_h=line.rate_kg_h,
        slug_g=line.slug_g,
        gate=",".join(gate.claim for gate in limit.gates),
    )


def _warnings(found: FlushQuantity) -> tuple[str, ...]:
    """Each warning once, in English: a warning is for the engineer who reads the record."""
    return tuple(dict.fromkeys(sentence(say) for say in found.warnings))


def _candidate(one: Candidate) -> LimitCandidate:
    return LimitCandidate(
        criterion=one.criterion,
        item=one.item,
        limit=decimal(one.limit),
        source=one.source,
        confidence=one.confidence,
        outgoing=one.outgoing,
    )


def line_to_json(model: LineModel) -> dict[str, object]:
    """The numbers of a line as an entry may hold them: decimals as text."""

    def plain(value: object) -> object:
        if isinstance(value, float):
            return format(Decimal(repr(value)).normalize(), "f")
        if isinstance(value, dict):
            return {key: plain(inner) for key, inner in value.items() if inner is not None}
        if isinstance(value, list | tuple):
            return [plain(inner) for inner in value]
        return value

    written = plain(asdict(model))
    assert isinstance(written, dict)
    return written


def line_from_json(data: object) -> LineModel:
    """The line as the record holds it, for drawing the washout curve again. Raises TypeError, KeyError or
    LineModelError for data that is none.
    """
    if not isinstance(data, dict):
        raise TypeError("a line's numbers are an object")
    units = tuple(
        Unit(
            name=unit["name"],
            tanks=unit["tanks"],
            **{
                name: float(unit[name])
                for name in ("mixed_kg", "plug_kg", "dead_fraction", "exchange_ratio")
                if name in unit
            },
        )
        for unit in data["units"]
    )
    return LineModel(
        units=units,
        flash_fraction=float(data.get("flash_fraction", "0")),
        flash_to=data.get("flash_to"),
        return_kg=float(data.get("return_kg", "0")),
        dose_at=data.get("dose_at"),
    )
