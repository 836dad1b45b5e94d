"""The worksheet: everything one piece of work asks for, as frozen values that are written into the ledger whole.

A worksheet can be read, walked and printed when the YAML it came from has long moved on. Texts stand in it
in every language; quantities are Decimals and become text in JSON (an entry holds no floats).
"""

from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any, Literal

import msgspec
from msgspec import Struct, field

from floorterm.entries import canonical, digest
from floorterm.lockout.model import Event, Job

Text = Mapping[str, str]  # language -> text; "es_draft" marks a translation that nobody has reviewed
StepKind = Literal["confirm", "reading", "choice", "text", "scan", "wait", "flush", "lockout", "protect"]


class Choice(Struct, frozen=True, kw_only=True):
    """One answer of a `choice` step."""

    id: str
    text: Text
    deviation: bool = False
    stops: bool = False


class MethodNote(Struct, frozen=True, kw_only=True):
    """How a reading is worked out, with all that it takes: what `MethodSpec` says, the bar and its standard.

    `standard`: the incoming colour, L a b or reflectances (0 to 1) as `reads` says; `dose`: share of the bar.
    """

    name: Literal["masses", "colour", "triangle", "oven", "dose", "defects"]
    lot: int = 0
    cavities: int = 1
    reads: Literal["lab", "bands"] = "lab"
    risk: Decimal = Decimal("0.05")
    level: str = "II"
    aql: str = ""
    nominal_g: Decimal = Decimal(0)
    regime: Literal["average", "individual"] = "average"
    plan: Literal["double", "single", "destructive"] = "destructive"
    packed_pct: Decimal | None = None
    shop_pct: Decimal | None = None
    standard: tuple[Decimal, ...] = ()
    dose: Decimal = Decimal(0)


class Step(Struct, frozen=True, kw_only=True):
    """One step. `id` is `section/step`; `after` are the ids of the steps that must stand before it."""

    id: str
    kind: StepKind
    text: Text
    why: Text = field(default_factory=dict)
    caution: Text = field(default_factory=dict)
    ppe: tuple[Text, ...] = ()
    duty: str = ""
    witness: str = ""
    after: tuple[str, ...] = ()
    needs_lockout: str = ""  # id of the Job under which it is done
    critical: Literal["", "safety", "quality"] = ""
    standard_min: Decimal = Decimal(0)
    external: bool = False
    expires_min: int | None = None
    reopens: tuple[str, ...] = ()
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    acid_mol_l: Decimal | None = None  # a reading that is computed from a titration with this acid
    method: MethodNote | None = None  # a reading that is worked out from what is typed
    choices: tuple[Choice, ...] = ()
    expect: str = ""
    dwell_min: Decimal | None = None
    since: str = ""
    required_kg: Decimal | None = None
    mark: Literal["", "last_good_outgoing", "first_good_incoming"] = ""
    # kind "lockout": the event, its job and the point it is about ("" = all points of the job, or none)
    event: Event | None = None
    job: str = ""
    point: str = ""
    tells: str = ""  # the lot that it names ("noodles"), or what it says of one ("noodles.cure_age_d")
    item: str = ""  # kind "protect": what is put on or made sure of

    @property
    def worked_out(self) -> bool:
        """Whether the figure follows from what is typed (`floorterm.changeover.bench`)."""
        return self.acid_mol_l is not None or self.method is not None


class LyeNote(Struct, frozen=True, kw_only=True):
    """A section of lye work: its task class and conditions as written, and what the site says of its gear.

    `mass_pct` is the strongest lye met, `temperature_c` the hottest, in C. `due` is the last day on which an item
    counts; `shift_starts` are local times `HH:MM`: protection is confirmed anew in each shift.
    """

    task: str
    mass_pct: Decimal
    temperature_c: Decimal
    pressurised: bool = False
    limit_c: Decimal
    due: Mapping[str, date] = field(default_factory=dict)
    shift_starts: tuple[str, ...] = ()


class Section(Struct, frozen=True, kw_only=True):
    """Steps that belong together and are done again together."""

    id: str
    title: Text
    steps: tuple[Step, ...]
    first_article: bool = False
    beside: bool = False
    lye: LyeNote | None = None


class Named(Struct, frozen=True, kw_only=True):
    """An id with its name in every language, and the code that a scanner reads."""

    id: str
    name: Text
    code: str = ""


class LimitCandidate(Struct, frozen=True, kw_only=True):
    """One candidate for the residual limit, with where its data come from."""

    criterion: str
    item: str
    limit: Decimal
    source: str = ""
    confidence: str = ""
    outgoing: str = ""  # fragrance whose residue is meant


class RinseNote(Struct, frozen=True, kw_only=True):
    """How often the incoming fragrance's shared tank is rinsed, and what it carries all the same.

    `floor`: residual of the feed in the measure of the limit (1: as much as the outgoing fragrance at full
    dose). `held`: the fragrance that counts as its last content; `assumed`: the record does not say so, it is
    the one that leaves least room. `enough` False: no number of rinses leaves room below the limit.
    """

    tank: str
    rinses: int
    rinse_kg: Decimal
    floor: Decimal
    held: str
    assumed: bool = False
    enough: bool = True


class StrategyNote(Struct, frozen=True, kw_only=True):
    """One way to flush in figures for people: kg of line mass, all diverted soap in kg, bars, minutes on the
    critical path. None where it never gets there or cannot be computed. `reasons`: why it is not allowed.
    """

    key: str
    kg: Decimal | None = None
    diverted_kg: Decimal | None = None
    bars: int | None = None
    minutes: int | None = None
    lockout: bool = False
    crew: int = 1
    cost: Decimal | None = None
    tied: bool = False
    reasons: tuple[Text, ...] = ()
    notes: tuple[Text, ...] = ()

    @property
    def allowed(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.reasons


FASTEST = Decimal("1.25")  # a line runs at most so many times its rate (common practice, no source)


class FlushNote(Struct, frozen=True, kw_only=True):
    """The flush calculation of this pair as it stood when the worksheet was made.

    `status` is "ok", "none" (nothing to flush), "deviation" (flushing cannot help) or "unreachable".
    kg are kg of line mass since the dose was switched; `line_model` holds the numbers of the line, so that
    the washout curve can be drawn again from the record alone.
    """

    status: Literal["ok", "none", "deviation", "unreachable"]
    required_kg: Decimal
    bars: int
    diverted_kg: Decimal
    minutes: int
    limit: Decimal
    governing: LimitCandidate | None = None
    candidates: tuple[LimitCandidate, ...] = ()
    evidence: Literal["measured", "estimated", "guessed"]
    measured: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    warnings: tuple[Text | str, ...] = ()  # a record of an older version holds them in English alone
    units: tuple[Named, ...] = ()  # what people call the units of the line model
    line_model: Mapping[str, Any]
    rate_kg_h: Decimal
    slug_g: Decimal
    gate: str = ""  # a claim that this sequence may not reach by flushing alone
    rinse: RinseNote | None = None
    strategies: tuple[StrategyNote, ...] = ()
    proposed: str = ""  # the cheapest allowed way; never imposed
    next_best: str = ""  # the cheapest allowed way besides
    currency: str = ""  # of the costs; "" where the plant states no prices: then they count kg of soap
    confidence: Decimal | None = None  # one-sided, of the figure to be sure
    spread: Decimal | None = None  # sd of ln holdup from one changeover to the next
    sure_kg: Decimal | None = None  # line mass that is enough with that confidence
    chain: tuple[Text, ...] = ()  # the reasoning with its sources, sentence by sentence
    calibration_n: int | None = None  # entry by which somebody accepted the line's measured figures

    def unit_name(self, unit: str) -> Text:
        """What people call a unit; its id where the record does not say."""
        return next((one.name for one in self.units if one.id == unit), {"en": unit})

    @property
    def most_kg_h(self) -> Decimal:
        """Line mass that the line can push in an hour at the most."""
        return self.rate_kg_h * FASTEST

    def strategy(self, key: str) -> StrategyNote | None:
        """The way of that key, or None."""
        return next((one for one in self.strategies if one.key == key), None)


class Worksheet(Struct, frozen=True, kw_only=True, dict=True):
    """One changeover, or one procedure that stands alone (`procedure` set, no fragrances)."""

    line: Named
    outgoing: Named | None = None
    incoming: Named | None = None
    traces: tuple[Named, ...] = ()  # further fragrances that the line may still hold
    procedure: Named | None = None
    on: date
    facts: Mapping[str, bool | str] = field(default_factory=dict)
    sections: tuple[Section, ...]
    jobs: tuple[Job, ...] = ()
    flush: FlushNote | None = None
    release_duties: tuple[str, ...] = ("supervisor",)
    pin_again: tuple[str, ...] = ()
    library_digest: str = ""

    @cached_property
    def _steps(self) -> Mapping[str, Step]:
        return {step.id: step for section in self.sections for step in section.steps}

    @cached_property
    def _section_of(self) -> Mapping[str, Section]:
        return {step.id: section for section in self.sections for step in section.steps}

    @cached_property
    def followers(self) -> Mapping[str, tuple[str, ...]]:
        """For each step the ids of the steps that come directly after it."""
        found: dict[str, list[str]] = {name: [] for name in self._steps}
        for step in self._steps.values():
            for name in step.after:
                found.setdefault(name, []).append(step.id)
        return {name: tuple(ids) for name, ids in found.items()}

    @cached_property
    def under_lockout(self) -> Mapping[str, frozenset[str]]:
        """For each lockout job the ids of the steps that need it."""
        found: dict[str, set[str]] = {}
        for step in self._steps.values():
            if step.needs_lockout:
                found.setdefault(step.needs_lockout, set()).add(step.id)
        return {job: frozenset(ids) for job, ids in found.items()}

    @cached_property
    def lockout_steps(self) -> tuple[Step, ...]:
        """The steps of lockout jobs, in order."""
        return tuple(step for step in self._steps.values() if step.kind == "lockout")

    def steps(self) -> Iterator[Step]:
        """All steps in order."""
        yield from self._steps.values()

    def step(self, step_id: str) -> Step | None:
        """The step of that id, or None."""
        return self._steps.get(step_id)

    def section_of(self, step_id: str) -> Section:
        """The section that a step stands in. Raises KeyError for an id that is not on the worksheet."""
        return self._section_of[step_id]

    def section(self, section_id: str) -> Section | None:
        """The section of that id, or None."""
        return next((section for section in self.sections if section.id == section_id), None)

    def job(self, job_id: str) -> Job | None:
        """The lockout job of that id, or None."""
        return next((job for job in self.jobs if job.id == job_id), None)

    @cached_property
    def digest(self) -> str:
        """SHA-256 over the canonical JSON of the whole worksheet."""
        return digest(canonical(to_json(self)))


def _without_empty(value: Any) -> Any:
    """Drop None (an entry says absent, not null) and empty values: they are the defaults when read back."""
    if isinstance(value, dict):
        return {
            key: _without_empty(inner) for key, inner in value.items() if inner not in (None, "", [], (), {})
        }
    if isinstance(value, list | tuple):
        return [_without_empty(inner) for inner in value]
    return value


def to_json(value: Any) -> Any:
    """A frozen value of this room as JSON-ready data for an entry: Decimals and dates as text, no nulls."""
    return _without_empty(msgspec.to_builtins(value, str_keys=True))


def worksheet_from_json(data: Mapping[str, Any]) -> Worksheet:
    """Read a worksheet back from an entry. Raises msgspec.ValidationError if it is none."""
    return msgspec.convert(data, Worksheet)
