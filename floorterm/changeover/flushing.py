"""The flush note of a worksheet: limit and quantity of a pair, turned into values that an entry can hold."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from decimal import Decimal

from floorterm.changeover.worksheet import FlushNote, LimitCandidate
from floorterm.flush import Candidate, FlushQuantity, LineModel, Unit, flush_quantity, residual_limit
from floorterm.flush.from_library import bar, evidence, line_model, rules
from floorterm.library import tables
from floorterm.library.model import FragranceFile, Library, LineFile
from floorterm.wording import sentence

_WORST = ("deviation", "unreachable", "ok", "none")  # what a pair with several outgoing fragrances comes to


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

    The largest quantity counts; candidates of all of them are kept. Raises FlushError for inputs that make no sense.
    """
    policy = rules(library.plant.limits, on)
    model = line_model(line)
    new = bar(incoming)
    found = [
        flush_quantity(
            model,
            residual_limit(bar(old), new, policy),
            float(line.rate_kg_h),
            float(line.slug_g),
            evidence(line),
        )
        for old in outgoing
    ]
    worst = min(found, key=lambda quantity: (_WORST.index(quantity.status), -quantity.m_star_kg))
    gates = tuple(dict.fromkeys(gate.claim for quantity in found for gate in quantity.limit.gates))
    candidates = tuple(_candidate(one) for quantity in found for one in quantity.limit.candidates)
    governing = worst.limit.decisive
    return FlushNote(
        status=worst.status,
        required_kg=Decimal(worst.required_kg),
        bars=worst.bars,
        diverted_kg=Decimal(worst.diverted_kg),
        minutes=worst.minutes,
        limit=decimal(worst.limit.value),
        governing=_candidate(governing) if governing else None,
        candidates=candidates,
        evidence=worst.evidence,
        measured=worst.measured,
        assumed=worst.assumed,
        warnings=_warnings(found),
        line_model=line_to_json(model),
        rate_kg_h=line.rate_kg_h,
        slug_g=line.slug_g,
        gate=",".join(gates),
    )


def _warnings(found: Sequence[FlushQuantity]) -> tuple[str, ...]:
    """Each warning once, in English: a warning is for the engineer who reads the record."""
    return tuple(dict.fromkeys(sentence(say) for quantity in found for say in quantity.warnings))


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
