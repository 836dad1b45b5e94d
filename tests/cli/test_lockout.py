"""`floorterm lockout audit`: exit statuses, JSON keys, the ledger and record documents."""

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from msgspec.structs import replace

from floorterm.changeover.acts import Note
from floorterm.cli import main
from floorterm.demo.clock import SetClock
from floorterm.inspecting import record_inspection
from floorterm.library import starter_folder
from floorterm.lockout.inspection import Report
from floorterm.people import LockoutStatus
from floorterm.plant import Plant
from tests.conftest import DAY, who
from tests.lockout.audit.histories import COMPLIANT, ONE, history
from tests.lockout.ledger_jobs import left_early, well_done


def _run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["lockout", "audit", *arguments])


@pytest.fixture
def well(tmp_path: Path) -> Path:
    path = tmp_path / "well.json"
    path.write_text(json.dumps(COMPLIANT["one person"]), encoding="utf-8")
    return path


@pytest.fixture
def short(tmp_path: Path) -> Path:
    path = tmp_path / "short.json"
    record = history(ONE.replace("inspect_area A1 result=ok", ""))
    record["weather"] = "fine"
    path.write_text(json.dumps(record), encoding="utf-8")
    return path


def test_a_record_without_a_violation_ends_with_status_0(well: Path) -> None:
    done = _run("--record", str(well))
    assert done.exit_code == 0, done.output
    assert "0 falls short" in done.output
    assert "never says that a machine is safe" in done.output


def test_a_violation_ends_with_status_1_and_names_rule_clause_and_entry(short: Path) -> None:
    done = _run("--record", str(short))
    assert done.exit_code == 1
    assert "V LO-31  Entry 17" in done.output
    assert "29 CFR 1910.147(e)(1)" in done.output
    assert "Not read: weather" in done.output


def test_json_for_programs(short: Path) -> None:
    done = _run("--record", str(short), "--json", "--language", "es")
    data = json.loads(done.stdout)
    assert data.keys() == {"well", "profile", "caution", "jobs", "counts", "findings", "not_read"}
    assert not data["well"]
    assert data["counts"]["V"] == 1
    first = data["findings"][0]
    assert first.keys() == {
        "job", "rule", "level", "clause", "site_policy", "from_memory", "requirement", "at_n", "entry", "persons",
        "points", "text",
    }  # fmt: skip
    assert first["text"].startswith("Entrada 17")


def test_since_leaves_earlier_jobs_out(short: Path) -> None:
    assert _run("--record", str(short), "--since", "2026-06-03").exit_code == 0
    assert _run("--record", str(short), "--since", "2026-06-02").exit_code == 1


def test_what_cannot_be_read_ends_with_status_2_and_every_fault(tmp_path: Path) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text("format: 1\njobs:\n  - events: [{n: 1, t: noon, ev: lokc_on}]\n", encoding="utf-8")
    done = _run("--record", str(path))
    assert done.exit_code == 2
    assert "bad.yaml:3:" in done.stderr
    assert "jobs[1].events[1].t" in done.stderr
    assert "lock_on" in done.stderr
    assert _run("--record", str(tmp_path / "none.yaml")).exit_code == 2
    assert _run("--profile", "XX").exit_code == 2


def test_the_lockouts_of_a_ledger_are_audited(plant: Plant, clock: SetClock) -> None:
    """A lock taken off while at work: never refused, and judged with its entry."""
    job, off = left_early(plant, clock)
    path = str(plant.ledger.path)
    done = _run("--db", path, "--json")
    data = json.loads(done.stdout)
    assert done.exit_code == 1
    assert data["jobs"] == [job.id]
    exposed = next(finding for finding in data["findings"] if finding["rule"] == "LO-30")
    assert exposed["persons"] == ["BB"]
    assert exposed["entry"] >= off.n
    assert {finding["rule"] for finding in data["findings"] if finding["level"] == "P"} == {"LO-36"}


def test_neither_a_later_status_nor_a_new_revision_alters_what_the_ledger_shows(
    plant: Plant, clock: SetClock, tmp_path: Path
) -> None:
    """People as on record at the event (records.md 1.2(g)), the certificate of that day (lockout.md 2.5.4)."""
    report = Report(procedure="lockout-stamper-1", on=DAY, observed=("AA",), reviewed=("AA", "BB", "VV"))
    record_inspection(plant, who(plant, "SS"), report, key="inspected")
    job = well_done(plant, clock)
    affected = replace(plant.ledger.person("BB"), lockout=LockoutStatus.AFFECTED)
    plant.ledger.change_person(affected, by="AD", reason="another job")
    plant.act(job.work, Note(text="anything"), who(plant, "AA"), key="note")
    folder = shutil.copytree(starter_folder(), tmp_path / "checklists")
    written = folder / "procedures" / "lockout-stamper-1.yaml"
    lines = written.read_text(encoding="utf-8").splitlines()
    newer = ["revision: 9" if line.startswith("revision:") else line for line in lines]
    written.write_text("\n".join(newer) + "\n", encoding="utf-8")
    for checklists in ((), ("--checklists", str(folder))):
        data = json.loads(_run("--db", str(plant.ledger.path), "--json", *checklists).stdout)
        short = [one["text"] for one in data["findings"] if one["level"] == "V"]
        assert short == ["Inspection of 2026-11-24: not reviewed with QQ."]
