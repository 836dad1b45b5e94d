"""What happens in the office on the invented days: inspections, training, attestations, a shift signed."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from msgspec.structs import replace

from floorterm.changeover.acts import Dispose
from floorterm.demo.clock import SetClock
from floorterm.demo.scenario import OfficeAct
from floorterm.demo.walk import Due
from floorterm.inspecting import (
    inspections,
    record_attestation,
    record_correction,
    record_inspection,
    record_review,
)
from floorterm.lockout.inspection import Found, Report
from floorterm.lots import judge, lot_of, make, take
from floorterm.plant import Plant, Who
from floorterm.shift.window import window_named
from floorterm.shift_review import Review, countersign, review_of, sign


@dataclass
class Office:
    """The acts in the order of their time, one a go."""

    plant: Plant
    clock: SetClock
    acts: tuple[tuple[OfficeAct, datetime], ...]
    done: int = field(default=0)

    def due(self) -> Due | None:
        """What comes next, or None when nothing does."""
        return Due(self.acts[self.done][1], None) if self.done < len(self.acts) else None

    def go(self, due: Due) -> None:
        """Do what is due."""
        self.clock.move_to(max(due.at, self.clock() + timedelta(seconds=1)))
        act = self.acts[self.done][0]
        self.done += 1
        plant = self.plant
        who = Who(plant.ledger.person(act.by), "pin")
        key = plant.ledger.new_id()
        match act.do:
            case "inspect":
                found = tuple(Found(text=text) for text in act.found)
                report = Report(
                    procedure=act.procedure,
                    on=plant.today(),
                    observed=act.people[:1],
                    reviewed=act.people,
                    found=found,
                )
                record_inspection(plant, who, report, key=key)
            case "review":
                record_review(plant, who, self._inspection(act.procedure), act.people, key=key)
            case "correct":
                record_correction(
                    plant, who, self._inspection(act.procedure), act.deviation, act.text, key=key
                )
            case "train":
                person = replace(plant.ledger.person(act.people[0]), trained_on=act.trained_on)
                plant.ledger.change_person(
                    person, by=act.by, reason=act.text, identity="pin", terminal=plant.terminal
                )
            case "attest":
                record_attestation(plant, who, act.rule, act.jobs, act.text, key=key)
            case "decide":
                for work in act.jobs:
                    self._decide(act, work, who)
            case "sign_shift":
                sign(plant, who, self._review(act.shift), act.text, key=key)
            case "take_over_shift":
                countersign(plant, who, self._review(act.shift), key=key)

            case "take_lot" | "fill_lot" | "judge_lot":
                self._lot(act, who, key)

    def _lot(self, act: OfficeAct, who: Who, key: str) -> None:
        plant, lot = self.plant, lot_of(act.lot)
        if act.do == "take_lot":
            take(plant, who, act.line, lot, share_pct=act.share_pct, facts=act.facts, key=key)
        elif act.do == "judge_lot":
            judge(
                plant,
                who,
                lot,
                "released",
                act.text,
                into=act.fragrances,
                max_share_pct=act.share_pct,
                key=key,
            )
        else:
            assert act.begun is not None, f"{act.lot} was filled since when?"
            begun = act.begun.replace(tzinfo=plant.zone)
            make(plant, who, act.line, lot, begun, kg=act.kg, fragrances=act.fragrances, key=key)

    def _decide(self, act: OfficeAct, work: str, who: Who) -> None:
        for one in self.plant.state(work).open_deviations:
            decided = Dispose(deviation=one.n, decision=act.decision, reason=act.text)
            self.plant.act(work, decided, who, key=self.plant.ledger.new_id())

    def _review(self, shift: str) -> Review:
        plant = self.plant
        return review_of(plant, window_named(plant.library.plant.shifts, shift, plant.zone))

    def _inspection(self, procedure: str) -> int:
        return [one.n for one in inspections(self.plant) if one.procedure == procedure][-1]
