"""Histories for LO-07, LO-08, LO-13 to LO-19 and LS-01: procedure, inspection, training."""

from tests.lockout.audit.cases import (
    OLD_HAND,
    Case,
    certificate,
    edited,
    keyless,
    one,
    person,
    point,
    procedure,
)
from tests.lockout.audit.cases_scope import EIGHT, ONE_PLAIN_POINT, PLAIN, UNWRITTEN
from tests.lockout.audit.histories import ONE, history

PROGRAMME = [
    Case(
        "no procedure, all eight conditions",
        one(PLAIN, UNWRITTEN, keyless("content_complete"), text=ONE_PLAIN_POINT),
    ),
    Case(
        "no procedure and a past accident",
        one(
            PLAIN,
            procedure(documented=False, undocumented_because={**EIGHT, "no_accident": False}),
            text=ONE_PLAIN_POINT,
        ),
        v="LO-07",
    ),
    Case("no procedure and two points", one(UNWRITTEN), v="LO-07"),
    Case("a job without any procedure", history(ONE_PLAIN_POINT, procedure=None, revision=None), v="LO-07"),
    Case("a procedure with gaps", one(procedure(content_complete=False)), v="LO-08"),
    Case(
        "eight parts of nine",
        one(
            keyless("content_complete"),
            procedure(
                content={
                    "scope": "x",
                    "purpose": "x",
                    "authorisation": "x",
                    "rules_and_techniques": "x",
                    "enforcement": "x",
                    "A_use": "x",
                    "B_steps": "x",
                    "C_devices_and_responsible": "x",
                }
            ),
            point("D1", verify="meter"),
            point("V1", verify=""),
        ),
        v="LO-08",
    ),
    Case("content not in the document", one(keyless("content_complete")), a="LO-08"),
    Case(
        "inspected a year ago to the day",
        one(OLD_HAND, certificate(date="2025-06-02"), procedure(effective_on="2024-01-01")),
        w="LS-03",
    ),
    Case(
        "inspected a year and a day ago",
        one(OLD_HAND, certificate(date="2025-06-01"), procedure(effective_on="2024-01-01")),
        v="LO-13",
    ),
    Case(
        "29 February counts to 28 February",
        edited(
            history(ONE),
            certificate(date="2024-02-29"),
            keyless("effective_on"),
            lambda record: [
                one.update(t=one["t"].replace("2026-06-02", "2025-03-01"))
                for one in record["jobs"][0]["events"]
            ],
            *(person(code, trained="2024-02-10") for code in ("A1", "A2", "A4", "F1")),
            procedure(changed_on="2024-01-15"),
        ),
        v="LO-13",
    ),
    Case(
        "a later inspection heals nothing",
        one(certificate(date="2026-06-03"), procedure(effective_on="2024-01-01")),
        v="LO-13",
    ),
    Case("a new procedure not yet inspected", one(procedure(certificates=[], effective_on="2025-09-01"))),
    Case("an old procedure never inspected", one(procedure(certificates=[])), v="LO-13"),
    Case(
        "certificates not in the document", one(keyless("certificates"), keyless("effective_on")), a="LO-13"
    ),
    Case("the inspector was the user", one(certificate(inspector="A1")), v="LO-14"),
    Case("the inspector is not authorised", one(certificate(inspector="E1")), v="LO-14"),
    Case("one authorised person not reviewed", one(certificate(reviewed=["A1", "A4"])), v="LO-15"),
    Case(
        "a deviation never corrected",
        one(certificate(deviations=[{"text": "no try-out", "closed": False}])),
        v="LO-15",
    ),
    Case("a deviation corrected", one(certificate(deviations=[{"text": "no try-out", "closed": True}]))),
    Case(
        "a deviation corrected on a date",
        one(certificate(deviations=[{"text": "no try-out", "corrected": "2026-05-02"}])),
    ),
    Case("a certificate of another machine", one(certificate(machine="ST-9")), v="LO-16"),
    Case("a certificate without employees", one(certificate(employees=[])), v="LO-16"),
    Case("nobody affected was trained", one(person("F1", trained="2026-06-03")), v="LO-17"),
    Case("a worker trained after the job", one(person("A1", trained="2026-06-03")), v="LO-17"),
    Case("the old training was not renewed", one(person("A1", trained="2025-11-01")), v="LO-18"),
    Case(
        "named in a deviation, not trained since",
        one(certificate(deviations=[{"text": "no try-out", "closed": True, "persons": ["A1"]}])),
        v="LO-18",
    ),
    Case("training without a date", one(person("A1", trained=None)), v="LO-17 LO-19"),
    Case("expired by site policy", one(person("A1", valid_to="2026-06-01")), v="LS-01"),
    Case("valid to this very day", one(person("A1", valid_to="2026-06-02"))),
]
