"""The flush note of a worksheet: limit and quantity of a pair, turned into values that an entry can hold."""

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal

from msgspec import to_builtins
from msgspec.structs import replace

from floorterm.changeover.flush_case import Case, case_of, chain, decimal_spread
from floorterm.changeover.numbers import decimal
from floorterm.changeover.plant_words import text_of, unit_names
from floorterm.changeover.strategies import strategy_note
from floorterm.changeover.worksheet import FlushNote, LimitCandidate, Named
from floorterm.flush import Candidate, LineModel, Unit
from floorterm.languages import FALLBACK
from floorterm.library import tables
from floorterm.library.calibrated import Calibration
from floorterm.library.model import FragranceFile, Library, LineFile


def whole_oil_items() -> tuple[str, ...]:
    """Names of label items that are whole oils."""
    return tuple(item.name for item in tables.whole_oil_items())


def flush_note(
    library: Library,
    line: LineFile,
    outgoing: Sequence[FragranceFile],
    incoming: FragranceFile,
    on: date,
    *,
    calibration: Calibration | None = None,
    compare: bool = False,
    tanks: Mapping[str, str] | None = None,
) -> FlushNote:
    """The flush of a line from every fragrance that it may hold to the incoming one.

    Of several outgoing fragrances the worst single one counts for each rule and item: they share the line's
    soap, their fractions sum to at most W, so sum of x_i C_i <= W max C_i. What the heel of a shared dosing
    tank brings is the floor. `line` is the line as it counts, `calibration` says by which entry. `compare`
    adds the ways to flush side by side (it takes as long as a person's look); `tanks` as in `case_of`.
    Raises FlushError for inputs that make no sense.
    """
    case = case_of(library, line, outgoing, incoming, on, calibration=calibration, tanks=tanks)
    return note_of(case, compare=compare)


def note_of(case: Case, *, compare: bool = False, also: str = FALLBACK) -> FlushNote:
    """A computed flush as the record keeps it, in the languages of the plant; `compare` adds the ways side by side and
    the chain of reasoning, `also` is one more language, for what is only read.
    """
    found, line = case.quantity, case.line
    written = tuple(dict.fromkeys((*case.library.plant.written, also)))
    note = FlushNote(
        status=found.status,
        required_kg=Decimal(found.required_kg),
        bars=found.bars,
        diverted_kg=Decimal(found.diverted_kg),
        minutes=found.minutes,
        limit=decimal(case.limit.value),
        governing=_candidate(case.limit.decisive) if case.limit.decisive else None,
        candidates=tuple(_candidate(one) for one in case.limit.candidates),
        evidence=found.evidence,
        measured=found.measured,
        assumed=found.assumed,
        warnings=tuple(text_of(say, written) for say in case.warnings),
        units=tuple(Named(id=name, name=called) for name, called in unit_names(line).items()),
        line_model=line_to_json(case.model),
        rate_kg_h=line.rate_kg_h,
        slug_g=line.slug_g,
        gate=",".join(gate.claim for gate in case.limit.gates),
        rinse=case.feed.rinse,
        confidence=case.library.plant.calibration.confidence,
        spread=decimal_spread(case),
        sure_kg=Decimal(case.sure_kg),
        calibration_n=case.calibration.n if case.calibration else None,
    )
    if not compare:
        return note
    note = replace(note, chain=tuple(text_of(say, written) for say in chain(case)))
    if found.status == "none":
        return note
    ways = case.ways
    return replace(
        note,
        strategies=tuple(strategy_note(row, line, written) for row in ways.rows),
        proposed=ways.proposed.key if ways.proposed else "",
        next_best=ways.next_best.key if ways.next_best else "",
        currency=ways.currency,
    )


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

    written = plain(to_builtins(model))
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
