"""Audit, attestations, inspections and training on screen: the answer within three keys, and every way on from it."""

from datetime import timedelta
from pathlib import Path

import pytest
from textual.pilot import Pilot

from floorterm.demo.clock import SetClock
from floorterm.inspecting import inspections, record_inspection
from floorterm.lockout.inspection import Found, Report
from floorterm.plant import Plant
from floorterm.review.lockout_audit import audit_period, month_of
from floorterm.terminal.app import FloorApp
from floorterm.terminal.views.audit import audit_rows, clause_of, detail, year_lines
from floorterm.terminal.widgets.keys import KeyBar, in_two
from floorterm.wording import LANGUAGES
from tests.conftest import PIN, Plants, who
from tests.lockout.ledger_jobs import inspected, left_early, well_done
from tests.terminal.shell import (
    COMFORTABLE,
    SMALL,
    opened,
    recorded,
    rows,
    sign_in,
    tap_key,
    tap_row,
    text_of,
    until,
    until_top,
)

NAME = "lockout-stamper-1"


def _said(app: FloorApp) -> str:
    return " ".join(text_of(app).split())


@pytest.fixture
def month_later(plants: Plants, tmp_path: Path, clock: SetClock) -> Plant:
    return plants.copy(tmp_path / "ledger.db", clock, _month)


def _month(plant: Plant, clock: SetClock) -> None:
    """One lockout in November that fell short and one that did not; now it is December."""
    inspected(plant)
    well_done(plant, clock)
    left_early(plant, clock)
    clock.advance(timedelta(days=20))


# --- the criterion ----------------------------------------------------------------------------------


async def test_within_three_keys_of_lines_the_screen_says_what_fell_short_last_month(
    month_later: Plant,
) -> None:
    """Which lockouts of last month fell short, by which rule and clause, by whom, what is missing: at 80x24."""
    async with opened(month_later, SMALL) as (app, pilot):
        keys = ("f5", "left")
        assert len(keys) <= 3
        await pilot.press(*keys)
        await until(pilot, lambda: "1 of 2 lockouts fell short" in _said(app))
        said = _said(app)
        assert "November 2026" in said
        assert "stamper of line 1" in said
        assert "P-0002" in said
        assert "FALLS SHORT" in said
        assert "LO-30 29 CFR 1910.147(d)(4)(i), (f)(3)(i)" in said
        assert "B. Brand" in said
        assert "was at work without an own lock on L1-S1" in said
        assert "P-0001" not in said, "what did not fall short stands apart"
        assert "never says that a machine is safe" in said


async def test_the_same_by_touch_alone(month_later: Plant) -> None:
    async with opened(month_later, SMALL) as (app, pilot):
        await tap_key(pilot, "f5")
        await until_top(pilot, "AuditScreen")
        await tap_key(pilot, "left")
        await until(pilot, lambda: "1 of 2 lockouts fell short" in _said(app))


async def test_the_month_that_runs_has_none_and_says_no_more_than_that(month_later: Plant) -> None:
    async with opened(month_later) as (app, pilot):
        await pilot.press("f5")
        await until(pilot, lambda: "December 2026: 0 of 0" in _said(app))
        await pilot.press("right")
        await until(
            pilot,
            lambda: "December 2026" in _said(app),
        )


async def test_enter_leads_to_the_entry_behind_a_finding(plant: Plant, clock: SetClock) -> None:
    inspected(plant)
    _, off = left_early(plant, clock)
    async with opened(plant) as (app, pilot):
        await pilot.press("f5")
        await until(pilot, lambda: "1 of 1 lockouts fell short" in _said(app))
        await pilot.press("enter")
        await until_top(pilot, "EntriesScreen")
        await until(pilot, lambda: rows(app).chosen)
        chosen = rows(app).chosen
        assert chosen is not None
        assert int(chosen.key) == off.n
        await pilot.press("enter")
        await until_top(pilot, "ReadScreen")
        assert "lockout" in _said(app)


async def test_all_findings_show_the_open_ones_and_those_to_attest(plant: Plant, clock: SetClock) -> None:
    left_early(plant, clock)
    async with opened(plant, COMFORTABLE) as (app, pilot):
        await pilot.press("f5", "f4")
        await until(pilot, lambda: "TO ATTEST" in _said(app))
        assert "OPEN" in _said(app)
        await pilot.press("f4")
        await until(pilot, lambda: "TO ATTEST" not in _said(app))


async def test_a_year_by_rule(month_later: Plant) -> None:
    async with opened(month_later) as (app, pilot):
        await pilot.press("f5", "f7")
        await until_top(pilot, "ReadScreen")
        assert "Since 2025-12-15: 2 lockouts" in _said(app)
        assert "LO-30 1 - - - - (d)(4)(i), (f)(3)(i)" in _said(app)


# --- attesting --------------------------------------------------------------------------------------


async def test_a_supervisor_attests_with_words_and_pin_and_it_waits_no_more(
    plant: Plant, clock: SetClock
) -> None:
    inspected(plant)
    well_done(plant, clock)
    async with opened(plant) as (app, pilot):
        await pilot.press("f5")
        await until(pilot, lambda: "0 of 1" in _said(app))
        await pilot.press("f5")
        await until_top(pilot, "AttestScreen")
        await until(pilot, lambda: rows(app).chosen)
        rows(app).choose("LO-10")
        await pilot.press("enter")
        await until_top(pilot, "AskScreen")
        await pilot.press(*"looked", "enter")
        await sign_in(pilot, "SS")
        await recorded(pilot, plant, "lockout.attested")
        await until(pilot, lambda: "LO-10" not in [row.key for row in rows(app).rows])
    audit = audit_period(plant, *month_of(plant.today()))
    assert audit.jobs[0].attested["LO-10"].by == "SS"
    assert "LO-10" not in {one.rule for one in audit.jobs[0].to_attest()}


# --- inspections ------------------------------------------------------------------------------------


async def _to(pilot: Pilot[int], app: FloorApp, *keys_and_screens: str) -> None:
    """Key by key from Lines, each to the screen that it opens."""
    for key, screen in zip(keys_and_screens[::2], keys_and_screens[1::2], strict=True):
        await pilot.press(key)
        await until_top(pilot, screen)
    await until(pilot, lambda: rows(app).chosen)


INSPECTIONS = ("f5", "AuditScreen", "f6", "InspectionsScreen")
TRAINING = (*INSPECTIONS, "f8", "TrainingScreen")


async def test_an_inspection_is_recorded_by_keys_with_what_was_found(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await _to(pilot, app, *INSPECTIONS)
        rows(app).choose(NAME)
        await pilot.press("f5")
        for answer in (("1", "enter"), ("2", "enter"), (*"tag", "enter"), ("1", "enter"), ("enter",)):
            await until_top(pilot, "AskScreen")
            before = app.screen
            await pilot.press(*answer)
            await until(pilot, lambda before=before: app.screen is not before)  # type: ignore[misc]
        await sign_in(pilot, "SS")
        await recorded(pilot, plant, "inspection.made")
        await until(pilot, lambda: "not reviewed with" in _said(app))
    (one,) = inspections(plant)
    assert one.procedure == NAME
    assert one.observed == ("AA",)
    assert set(one.reviewed) == {"AA", "BB"}
    assert [(found.text, found.persons) for found in one.deviations] == [("tag", ("AA",))]


def _inspect(plant: Plant) -> int:
    report = Report(
        procedure=NAME,
        on=plant.today(),
        observed=("AA",),
        reviewed=("AA",),
        found=(Found(text="lock on the pipe"),),
    )
    return record_inspection(plant, who(plant, "SS"), report, key="inspection").n


async def test_a_deviation_is_closed_and_a_review_added(plant: Plant) -> None:
    _inspect(plant)
    async with opened(plant) as (app, pilot):
        await _to(pilot, app, *INSPECTIONS)
        rows(app).choose(NAME)
        await until(pilot, lambda: "1 deviation not corrected" in _said(app))
        await pilot.press("f7")
        await until_top(pilot, "AskScreen")
        assert "lock on the pipe" in _said(app)
        await pilot.press(*"shown", "enter")
        await sign_in(pilot, "VV")
        await recorded(pilot, plant, "inspection.corrected")
        await until_top(pilot, "InspectionsScreen")
        await pilot.press("f10")
        await sign_in(pilot, "SS")
        await pilot.press("f6")
        await until_top(pilot, "AskScreen")
        await pilot.press("enter")
        await until_top(pilot, "SignInScreen")
        await pilot.press(*PIN, "enter")
        await recorded(pilot, plant, "inspection.reviewed")
    (one,) = inspections(plant)
    assert one.not_reviewed == ()
    assert one.open == ()


async def test_enter_shows_every_inspection_of_a_procedure(plant: Plant) -> None:
    number = _inspect(plant)
    async with opened(plant, COMFORTABLE) as (app, pilot):
        await _to(pilot, app, *INSPECTIONS)
        await tap_row(pilot, NAME)
        await pilot.press("enter")
        await until_top(pilot, "ReadScreen")
        said = _said(app)
        for part in (
            f"entry {number}",
            "inspector: S. Stern",
            "watched while using it: A. Abel",
            "not corrected yet",
        ):
            assert part in said


# --- training ---------------------------------------------------------------------------------------


async def test_a_new_training_date_is_signed_by_an_administrator(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await _to(pilot, app, *TRAINING)
        rows(app).choose("AA")
        await pilot.press("f5")
        for answer in ("2026-11-23", "yearly"):
            await until_top(pilot, "AskScreen")
            before = app.screen
            await pilot.press(*answer.replace("-", "~").replace("~", "-"), "enter")
            await until(pilot, lambda before=before: app.screen is not before)  # type: ignore[misc]
        await sign_in(pilot, "AD")
        await recorded(pilot, plant, "person.changed")
        await until(pilot, lambda: "2026-08-16, 2026-11-23" in _said(app))
    assert plant.ledger.person("AA").trained_on.isoformat() == "2026-11-23"  # type: ignore[union-attr]


async def test_a_date_that_is_none_is_told(plant: Plant) -> None:
    async with opened(plant) as (app, pilot):
        await _to(pilot, app, *TRAINING)
        await pilot.press("f5")
        await until_top(pilot, "AskScreen")
        await pilot.press(*"soon", "enter")
        await until(pilot, lambda: "soon is no date" in _said(app))


@pytest.mark.parametrize("language", LANGUAGES)
async def test_no_key_behind_the_audit_is_cut_off(plant: Plant, language: str) -> None:
    async with opened(plant, SMALL, language=language) as (app, pilot):
        for key, screen in (("f5", "AuditScreen"), ("f6", "InspectionsScreen"), ("f8", "TrainingScreen")):
            await pilot.press(key)
            await until_top(pilot, screen)
            bar = app.screen.query_one(KeyBar)
            await until(pilot, lambda bar=bar: bar.caps)  # type: ignore[misc]
            assert len(bar.zones()) == len(bar.caps)
            for cap, _, width in bar.zones():
                assert "…" not in "".join(in_two(cap.label, width)), (cap.key, cap.label, width)


# --- words ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_finding_has_its_words_in_every_language(plant: Plant, clock: SetClock, language: str) -> None:
    left_early(plant, clock)
    audit = audit_period(plant, *month_of(plant.today()))
    found = audit_rows(audit, language, everything=True)
    assert len(found) > 5
    for row in found:
        if row.finding is not None:
            lines = detail(row, 76, language)
            assert lines
            assert max(sum(len(span.text) for span in line) for line in lines) <= 76
    assert year_lines(audit, 74, language)


def test_what_is_only_the_sites_own_never_shows_as_a_clause(plant: Plant, clock: SetClock) -> None:
    well_done(plant, clock)
    clock.advance(timedelta(days=1))
    audit = audit_period(plant, *month_of(plant.today()), profile="UK")
    site = [one for job in audit.jobs for one in job.findings if one.site_policy]
    law = [one for job in audit.jobs for one in job.findings if not one.site_policy]
    assert all(clause_of(one, "en") == "site policy, not the regulation" for one in site)
    assert law
    assert all(clause_of(one, "en") == one.clause for one in law)
