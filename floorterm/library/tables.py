"""Two data tables that ship with the code: label items (fragrance allergens) and what essential oils contain.

The list of items that must be named on a label is data with a jurisdiction and a date, never code; how the
columns are read is written down in `data/SOURCES.md`. Fractions are kg/kg; percent stands only in the files.
"""

import csv
import re
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from functools import cache
from importlib.resources import files
from io import StringIO
from types import MappingProxyType
from typing import Literal, get_args

from msgspec import Struct

Jurisdiction = Literal["EU", "CA", "GB", "US"]
Confidence = Literal["text-seen", "second-hand", "mixed", "from-memory"]
JURISDICTIONS: tuple[Jurisdiction, ...] = get_args(Jurisdiction)
_CONFIDENCES: tuple[Confidence, ...] = get_args(Confidence)  # from the best to the worst
WHOLE_OIL = "(whole oil)"

_CLAUSE: Mapping[Jurisdiction, str] = {"EU": "EU", "CA": "Canada", "GB": "GB", "US": "US"}
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


class TableError(ValueError):
    """A row of a data table cannot be read; the sentence names the file, the row and the column."""


class UnknownNameError(LookupError):
    """A table has no such item or oil; `name` is what was asked for, `near` the names that look alike."""

    def __init__(self, kind: str, name: str, known: tuple[str, ...]) -> None:
        from difflib import get_close_matches  # noqa: PLC0415  only a miss needs it

        self.kind = kind
        self.name = name
        folded = {known_name.casefold(): known_name for known_name in known}
        self.near = tuple(folded[hit] for hit in get_close_matches(name.casefold(), folded, n=3, cutoff=0.6))
        hint = f" Did you mean {' or '.join(self.near)}?" if self.near else ""
        super().__init__(f"No {kind} is called {name!r}.{hint}")


class AmbiguousNameError(LookupError):
    """A CAS number stands under several entries: only the plant part can tell them apart."""

    def __init__(self, name: str, items: tuple[str, ...]) -> None:
        self.name = name
        self.items = items
        super().__init__(f"{name} stands for {' and '.join(items)}: name the item itself.")


class Duty(Struct, frozen=True, kw_only=True):
    """That an item must be named in a jurisdiction from a day on (`since` None: at any date)."""

    jurisdiction: Jurisdiction
    since: date | None
    confidence: Confidence


class LabelItem(Struct, frozen=True, kw_only=True):
    """One entry of the label list. `entry` is the key under which its substances are summed.

    Thresholds are kg/kg of finished bar, None for a prohibited substance. `grouped` says that several
    substances share the entry. `duties` hold the dates; a jurisdiction without one has no duty.
    """

    entry: str
    name: str
    substances: tuple[str, ...]
    cas: tuple[str, ...]
    grouped: bool
    prohibited: bool
    since: str
    threshold_rinse_off: float | None
    threshold_leave_on: float | None
    duties: tuple[Duty, ...]
    source: str
    confidence: Confidence
    jurisdictions: str
    deadline_new_products: str
    deadline_products_on_market: str
    notes: str

    def threshold(self, *, leave_on: bool) -> float | None:
        """Content above which the item must be named, kg/kg; equality is still free."""
        return self.threshold_leave_on if leave_on else self.threshold_rinse_off

    def duty(self, jurisdiction: Jurisdiction, on: date) -> Duty | None:
        """The duty to name the item (prohibited: to have none of it) in a bar made on a day, or None."""
        for duty in self.duties:
            if duty.jurisdiction == jurisdiction and (duty.since is None or duty.since <= on):
                return duty
        return None


class OilConstituent(Struct, frozen=True, kw_only=True):
    """What an oil holds of one substance: its range in kg/kg of oil. `entry` is "" if unlisted."""

    oil: str
    botanical: str
    constituent: str
    cas: str
    lowest: float
    highest: float
    entry: str
    density_kg_m3: float
    density_basis: str
    source: str
    confidence: Confidence
    notes: str

    @property
    def whole_oil(self) -> bool:
        """Whether the row says that the oil as such is a label item."""
        return self.constituent == WHOLE_OIL


def worst_confidence(*found: Confidence) -> Confidence:
    """The least certain of several marks; `text-seen` when there is none."""
    return max(found, key=_CONFIDENCES.index, default="text-seen")


def _rows(name: str) -> Iterator[tuple[str, Mapping[str, str]]]:
    """Each row with the words that name it in an error."""
    text = (files("floorterm.library") / "data" / name).read_text(encoding="utf-8")
    for number, row in enumerate(csv.DictReader(StringIO(text)), start=2):
        yield f"{name}, line {number}", row


def _fraction(where: str, row: Mapping[str, str], column: str) -> float:
    try:
        percent = Decimal(row[column])
    except InvalidOperation as fault:
        raise TableError(f"{where}: {column} is {row[column]!r}, expected percent") from fault
    if not 0 <= percent <= 100:
        raise TableError(f"{where}: {column} is {percent}, expected 0 to 100 percent")
    return float(percent / 100)  # in decimals, so that 0.01 % is the double nearest to 1e-4


def _confidence(where: str, row: Mapping[str, str]) -> Confidence:
    for mark in _CONFIDENCES:
        if row["confidence"] == mark:
            return mark
    raise TableError(
        f"{where}: confidence is {row['confidence']!r}, expected one of {', '.join(_CONFIDENCES)}"
    )


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(";") if part.strip())


def _since_eu(row: Mapping[str, str]) -> date | None:
    """The day after the last on which the old text may be followed; None where the duty is older."""
    deadline = row["deadline_new_products"]
    if deadline.startswith("in force"):
        return None
    return date.fromisoformat(deadline) + timedelta(days=1)


def _duties(where: str, row: Mapping[str, str], confidence: Confidence) -> tuple[Duty, ...]:
    if row["status"] == "prohibited":
        safe_side: tuple[Jurisdiction, ...] = ("GB", "CA")
        return (
            Duty(jurisdiction="EU", since=None, confidence=confidence),
            *(Duty(jurisdiction=place, since=None, confidence="from-memory") for place in safe_side),
        )
    if row["status"] != "label":
        raise TableError(f"{where}: status is {row['status']!r}, expected label or prohibited")
    clauses = _listed(row["jurisdictions"])
    found = []
    for place, word in _CLAUSE.items():
        clause = next((text for text in clauses if text.startswith(word)), None)
        if clause is None or "none in force" in clause or "not automatically" in clause:
            continue
        mark = worst_confidence(confidence, "from-memory") if "from memory" in clause else confidence
        since = None
        if place == "EU":
            since = _since_eu(row)
        elif day := _DAY.search(clause):
            since = date.fromisoformat(day.group())
            mark = worst_confidence(mark, "second-hand")
        found.append(Duty(jurisdiction=place, since=since, confidence=mark))
    return tuple(found)


@cache
def label_items() -> tuple[LabelItem, ...]:
    """Every row of the label list, prohibited ones included. Raises TableError for a row it cannot read."""
    found = []
    for where, row in _rows("fragrance_allergens.csv"):
        confidence = _confidence(where, row)
        prohibited = row["status"] == "prohibited"
        found.append(
            LabelItem(
                entry=row["annex_iii_entry"],
                name=row["inci_label_name"],
                substances=_listed(row["substances"]),
                cas=_listed(row["cas"]),
                grouped=row["group"] == "1",
                prohibited=prohibited,
                since=row["since"],
                threshold_rinse_off=None if prohibited else _fraction(where, row, "threshold_rinse_off_pct"),
                threshold_leave_on=None if prohibited else _fraction(where, row, "threshold_leave_on_pct"),
                duties=_duties(where, row, confidence),
                source=row["source"],
                confidence=confidence,
                jurisdictions=row["jurisdictions"],
                deadline_new_products=row["deadline_new_products"],
                deadline_products_on_market=row["deadline_products_on_market"],
                notes=row["notes"],
            )
        )
    return tuple(found)


@cache
def oil_constituents() -> tuple[OilConstituent, ...]:
    """Every row of the oil table. Raises TableError for a row it cannot read."""
    entries = {item.entry for item in label_items()}
    found = []
    for where, row in _rows("essential_oils.csv"):
        lowest, highest = _fraction(where, row, "min_pct"), _fraction(where, row, "max_pct")
        if lowest > highest:
            raise TableError(f"{where}: min_pct {lowest} is above max_pct {highest}")
        if row["annex_iii_entry"] and row["annex_iii_entry"] not in entries:
            raise TableError(f"{where}: entry {row['annex_iii_entry']} is not on the label list")
        found.append(
            OilConstituent(
                oil=row["oil"],
                botanical=row["botanical"],
                constituent=row["constituent"],
                cas=row["cas"],
                lowest=lowest,
                highest=highest,
                entry=row["annex_iii_entry"],
                density_kg_m3=float(row["density_20C_kg_m3"]),
                density_basis=row["density_basis"],
                source=row["source"],
                confidence=_confidence(where, row),
                notes=row["notes"],
            )
        )
    return tuple(found)


@cache
def _by_oil() -> Mapping[str, tuple[OilConstituent, ...]]:
    found: dict[str, list[OilConstituent]] = {}
    for row in oil_constituents():
        found.setdefault(row.oil, []).append(row)
    return MappingProxyType({oil: tuple(rows) for oil, rows in found.items()})


@cache
def _by_entry() -> Mapping[str, LabelItem]:
    return MappingProxyType({item.entry: item for item in label_items()})


@cache
def _by_name() -> Mapping[str, tuple[LabelItem, ...]]:
    """Label names, substances, CAS numbers and the oil table's names of constituents, all in lower case."""
    found: dict[str, dict[str, LabelItem]] = {}

    def add(name: str, item: LabelItem) -> None:
        found.setdefault(name.casefold(), {})[item.entry] = item

    for item in label_items():
        for name in (item.name, *item.substances, *item.cas):
            add(name, item)
    for row in oil_constituents():
        if row.entry and not row.whole_oil:
            add(row.constituent, _by_entry()[row.entry])
    labels = {item.name.casefold(): item for item in label_items()}
    # a label name always means its own entry, even where another entry lists a substance of that name
    return MappingProxyType(
        {name: (labels[name],) if name in labels else tuple(items.values()) for name, items in found.items()}
    )


def oil_names() -> tuple[str, ...]:
    """The oils that the table knows."""
    return tuple(_by_oil())


def oil(name: str) -> tuple[OilConstituent, ...]:
    """What an oil holds, its whole-oil row first where it has one. Raises UnknownNameError."""
    rows = _by_oil().get(name)
    if rows is None:
        raise UnknownNameError("oil", name, oil_names())
    return rows


def label_item(entry: str) -> LabelItem:
    """The item of an Annex III entry number. Raises UnknownNameError."""
    item = _by_entry().get(entry)
    if item is None:
        raise UnknownNameError("entry of the label list", entry, tuple(_by_entry()))
    return item


def item_named(name: str) -> LabelItem:
    """The item that a label name, one of its substances or a CAS number belongs to (case does not matter).

    Raises UnknownNameError, or AmbiguousNameError for a number that several entries share.
    """
    found = _by_name().get(name.strip().casefold(), ())
    if len(found) > 1:
        raise AmbiguousNameError(name, tuple(item.name for item in found))
    if not found:
        raise UnknownNameError("item of the label list", name, tuple(item.name for item in label_items()))
    return found[0]


def must_be_named(jurisdiction: Jurisdiction, on: date) -> tuple[LabelItem, ...]:
    """The items that the label of a bar made on a day must name above their threshold."""
    return tuple(item for item in label_items() if not item.prohibited and item.duty(jurisdiction, on))


def prohibited_items(jurisdiction: Jurisdiction, on: date) -> tuple[LabelItem, ...]:
    """The substances of the list that no bar made on a day may hold at all."""
    return tuple(item for item in label_items() if item.prohibited and item.duty(jurisdiction, on))


@cache
def whole_oil_items() -> tuple[LabelItem, ...]:
    """The label items that are whole oils of the oil table, in the order of the label list."""
    entries = {row.entry for row in oil_constituents() if row.whole_oil}
    return tuple(item for item in label_items() if item.entry in entries)
