"""The rows of the strategies, each computed on the line as it stands."""

from collections.abc import Callable
from math import inf, isinf

from msgspec.structs import replace

from floorterm.flush.clean import start_after, strip
from floorterm.flush.errors import WashoutInputError, as_number
from floorterm.flush.flash import FlashPlan, flash_plan, safe_return, washed_limit
from floorterm.flush.following import Followed
from floorterm.flush.model import LineModel
from floorterm.flush.quantity import round_up
from floorterm.flush.runout import run_out
from floorterm.flush.strategies import Pair, Prices, SiteFacts, Strategy, StrategyKey, priced, ties_marked
from floorterm.flush.succession import succession
from floorterm.flush.transition import transition
from floorterm.flush.washout import Start
from floorterm.wording import Say

_EQUAL = 1e-9


def strategies(line: LineModel, pair: Pair, site: SiteFacts, prices: Prices) -> tuple[Strategy, ...]:
    """All strategies for one pair on one line, allowed or not, in a fixed order, ties marked.

    Raises WashoutInputError or QuantityInputError naming the field.
    """
    floor = as_number(WashoutInputError, "floor", pair.floor, high=1.0, high_open=True)
    if pair.deviation or pair.limit <= floor:
        reason = Say(
            "strategies.reason.deviation" if pair.deviation or pair.limit <= 0 else "strategies.reason.feed"
        )
        only_returned = () if line.returned_fraction else ("divert_flash",)
        keys = (key for key in _BUILDERS if key not in ("return_at_once", *only_returned))
        return tuple(Strategy(key=key, lockout=key == "strip", reasons=(reason,)) for key in keys)
    task = _Task(line, pair, site)
    rows = []
    for key, builder in _BUILDERS.items():
        row = builder(task)
        if row is not None:
            gates = () if key == "strip" else tuple(gate.say for gate in pair.gates)
            row = replace(row, reasons=(*row.reasons, *gates))
            if isinf(row.m_star_kg) and not row.reasons:
                row = replace(row, reasons=(Say("strategies.reason.out_of_reach"),))
            rows.append(priced(row, prices, site))
    return ties_marked(rows, prices, site)


class _Task:
    """One pair on one line, with what several rows share."""

    def __init__(self, line: LineModel, pair: Pair, site: SiteFacts) -> None:
        self.line, self.pair, self.site = line, pair, site
        self.wanted = washed_limit(pair.limit, pair.floor)
        self.flash: FlashPlan = flash_plan(
            line, pair.limit, floor=pair.floor, conveyor_emptied=site.conveyor_emptied
        )
        # rows that are about something else than flash divert it, where that is safe and the start is steady
        self.divert = (
            bool(line.returned_fraction)
            and not isinf(self.flash.safe_return_kg)
            and line.dose_index <= line.flash_index
        )
        self.flash_gone = self.divert or not line.returned_fraction

    def row(
        self,
        key: StrategyKey,
        kg: float,
        *,
        until_kg: float | None = None,
        gone: bool | None = None,
        notes: tuple[Say, ...] = (),
        reasons: tuple[Say, ...] = (),
    ) -> Strategy:
        """A row for `kg` of line mass to divert; flash goes to the bin until `until_kg` where it is gone."""
        gone = self.flash_gone if gone is None else gone
        p = self.line.flash_fraction
        line_min = kg / self.site.rate_kg_h * 60.0
        labour = line_min * self.site.flush_crew + (self.site.bin_labour_min if gone and p else 0.0)
        return Strategy(
            key=key,
            m_star_kg=kg,
            bars_kg=(1.0 - p) * kg,
            flash_kg=p * (kg if until_kg is None else until_kg) if gone and p else 0.0,
            line_min=line_min,
            labour_min=labour,
            crew=self.site.flush_crew,
            notes=notes,
            reasons=reasons,
        )

    def until(self, m_star: float, start: Start) -> tuple[float, tuple[Say, ...], tuple[Say, ...]]:
        """Until when flash goes to the bin after another start: kg, notes, reasons against it."""
        if not self.line.returned_fraction or isinf(m_star):
            return m_star, (), ()
        pair = self.pair
        safe = safe_return(
            self.line,
            pair.limit,
            floor=pair.floor,
            conveyor_emptied=self.site.conveyor_emptied,
            start=start,
        )
        if isinf(safe):
            return m_star, (), (Say("strategies.reason.conveyor", {"kg": f"{self.line.return_kg:g}"}),)
        note = Say("strategies.note.return_from", {"kg": f"{round_up(max(safe, m_star))}"})
        return max(safe, m_star), (note,), ()

    def curve(self) -> Followed:
        """The line from the steady state, flash as in rows that are about something else."""
        return Followed(self.line, resume_kg=None if self.divert else 0.0)


def _push_through(task: _Task) -> Strategy:
    if not task.line.returned_fraction:
        return task.row("push_through", task.flash.options[0].m_star_kg)
    option = task.flash.option("returned")
    return task.row("push_through", option.m_star_kg if option else inf, gone=False)


def _divert_flash(task: _Task) -> Strategy | None:
    option = task.flash.option("diverted")
    if not task.line.returned_fraction or option is None:
        return None
    safe = task.flash.safe_return_kg
    reasons: tuple[Say, ...] = ()
    notes: tuple[Say, ...] = ()
    if isinf(safe) and not isinf(option.m_star_kg):
        reasons = (Say("strategies.reason.conveyor", {"kg": f"{task.flash.conveyor_kg:g}"}),)
        safe = option.m_star_kg
    elif not isinf(safe):
        notes = (Say("strategies.note.return_from", {"kg": f"{round_up(safe)}"}),)
    if task.line.return_kg:
        kind = "emptied" if task.site.conveyor_emptied else "not_emptied"
        notes = (*notes, Say(f"strategies.note.conveyor_{kind}", {"kg": f"{task.line.return_kg:g}"}))
    until = max(safe, option.m_star_kg)
    return task.row("divert_flash", option.m_star_kg, until_kg=until, gone=True, notes=notes, reasons=reasons)


def _return_at_once(task: _Task) -> Strategy | None:
    option = task.flash.option("returned_at_once")
    if option is None or task.flash.rise_kg == 0.0:
        return None
    facts = {"kg": f"{option.flash_back_kg:.0f}", "rise": f"{task.flash.rise_kg:.0f}"}
    note = Say("strategies.note.rises_again", facts)
    return task.row(
        "return_at_once", option.m_star_kg, until_kg=option.flash_back_kg, gone=True, notes=(note,)
    )


def _run_out(task: _Task) -> Strategy:
    site = task.site
    if site.heels is None:
        return Strategy(key="run_out", reasons=(Say("strategies.reason.no_heels"),))
    emptied = run_out(task.line, site.heels)
    kg = emptied.kg_to_reach(task.wanted)
    until, notes, reasons = task.until(kg, emptied.never_above)
    row = task.row("run_out", kg, until_kg=until, gone=True, reasons=reasons)
    lost = emptied.fill_kg * (1.0 - site.run_out_good_share) + site.restart_scrap_kg
    stop = emptied.fill_kg / site.rate_kg_h * 60.0 + site.run_out_min
    facts = {"fill": f"{emptied.fill_kg:.0f}", "total": f"{emptied.fill_kg + kg:.0f}"}
    return replace(
        row,
        removed_kg=lost,
        stop_min=stop,
        labour_min=row.labour_min + stop * site.flush_crew,
        notes=(Say("strategies.note.new_soap", facts), Say("strategies.note.worms"), *notes),
    )


def _strip(task: _Task) -> Strategy:
    site = task.site
    if not site.cleanings:
        return Strategy(
            key="strip",
            lockout=True,
            crew=site.clean_crew,
            reasons=(Say("strategies.reason.no_cleaning"),),
        )
    after = strip(task.line, site.cleanings, task.pair.limit, floor=task.pair.floor)
    until, notes, reasons = task.until(after.m_star_kg, start_after(task.line, site.cleanings))
    row = task.row("strip", after.m_star_kg, until_kg=until, gone=True, reasons=reasons)
    stop = site.lockout_min + after.minutes
    quality = (Say("strategies.note.quality_decides"),) if task.pair.gates else ()
    return replace(
        row,
        removed_kg=after.removed_kg + site.restart_scrap_kg,
        stop_min=stop,
        labour_min=row.labour_min + stop * site.clean_crew,
        lockout=True,
        crew=max(site.clean_crew, site.flush_crew),
        notes=(*after.say, *notes, *quality),
    )


def _noodles_first(task: _Task) -> Strategy:
    site, pair = task.site, task.pair
    reasons = []
    if pair.incoming_plain:
        reasons.append(Say("strategies.reason.incoming_plain"))
    if not site.noodles_ready:
        reasons.append(Say("strategies.reason.no_noodles"))
    if site.min_strength is None:
        reasons.append(Say("strategies.reason.no_strength"))
    if reasons:
        return Strategy(key="noodles_first", reasons=tuple(reasons))
    strength = as_number(WashoutInputError, "min_strength", site.min_strength, high=1.0, high_open=True)
    outgoing = task.curve().kg_to_reach(task.wanted)
    # a bar holds 1 - W of the incoming dose, W counted from the moment that dose begins
    incoming = task.curve().kg_to_reach(1.0 - strength) if strength > 0 else 0.0
    begin = max(0.0, outgoing - incoming)
    row = task.row(
        "noodles_first",
        max(outgoing, incoming),
        notes=(Say("strategies.note.begin_dose", {"kg": f"{begin:.0f}"}),),
    )
    fresh = 1.0 if task.flash_gone else 1.0 - task.line.flash_fraction
    return replace(row, plain_kg=begin * fresh)


def _stop_early(task: _Task) -> Strategy:
    allowed = task.site.incoming_in_outgoing
    if allowed is None:
        return Strategy(key="stop_early", reasons=(Say("strategies.reason.one_sided"),))
    between = transition(
        task.line,
        incoming_in_outgoing=allowed,
        outgoing_in_incoming=task.pair.limit,
        divert_flash=task.divert,
        carried=task.pair.floor,
    )
    note = Say("strategies.note.stop_dose", {"kg": f"{int(between.last_kg)}"})
    row = task.row("stop_early", between.between_kg, notes=(note,))
    if task.flash_gone:  # flash is bad on both sides of the last good bar
        row = replace(row, flash_kg=task.line.flash_fraction * between.between_kg)
    return row


def _intermediate(task: _Task) -> Strategy:
    middle = task.site.intermediate
    reasons = []
    if task.pair.incoming_plain:
        reasons.append(Say("strategies.reason.fragrance_before_plain"))
    if middle is None:
        reasons.append(Say("strategies.reason.no_intermediate"))
    elif min(middle.limit_before, middle.limit_after) <= 0.0:
        reasons.append(Say("strategies.reason.intermediate_limit", {"name": middle.name}))
    else:
        reasons.extend(gate.say for gate in middle.gates)
    if reasons or middle is None:
        return Strategy(key="intermediate", reasons=tuple(reasons))
    before = task.curve().kg_to_reach(washed_limit(middle.limit_before, 0.0))
    if isinf(before):
        return task.row("intermediate", inf)
    row = succession(
        task.line,
        ("outgoing", "intermediate", "incoming"),
        (before + as_number(WashoutInputError, "run_kg", middle.run_kg),),
        divert_flash=task.divert,
    )
    after = row.kg_to_reach_together({"outgoing": task.wanted, "intermediate": middle.limit_after})
    facts = {"name": middle.name, "before": f"{before:.0f}", "after": f"{after:.0f}"}
    return task.row("intermediate", before + after, notes=(Say("strategies.note.two_switches", facts),))


_BUILDERS: dict[StrategyKey, Callable[[_Task], Strategy | None]] = {
    "push_through": _push_through,
    "divert_flash": _divert_flash,
    "return_at_once": _return_at_once,
    "run_out": _run_out,
    "strip": _strip,
    "noodles_first": _noodles_first,
    "stop_early": _stop_early,
    "intermediate": _intermediate,
}
