"""What the Audit screen says: which lockouts fell short, by which rule and clause, by whom, what is missing. Pure."""

from collections.abc import Mapping
from typing import TYPE_CHECKING

from msgspec import Struct

from floorterm.terminal.views.text import Line, Span, Tone, short_name, tell, wrapped
from floorterm.wording import words

if TYPE_CHECKING:
    from floorterm.lockout.auditing import Finding, Level, Rule
    from floorterm.review.lockout_audit import AuditedJob, PeriodAudit, RuleCount

_REGULATION = "29 CFR 1910.147"
_TONES: "Mapping[Level, Tone]" = {"V": "danger", "W": "caution", "P": "notice", "A": "quiet"}


class AuditRow(Struct, frozen=True):
    """One row: a lockout (a heading, or a row of its own where nothing is found), or one of its findings."""

    key: str
    left: tuple[Line, ...]
    right: tuple[Line, ...] = ()
    heading: bool = False
    job: "AuditedJob | None" = None
    finding: "Finding | None" = None


def month_text(audit: "PeriodAudit", language: str) -> str:
    """The period in words: a calendar month, or its two days."""
    month = words(f"audit_screen.month_{audit.since.month}", language)
    return f"{month} {audit.since.year}"


def answer(audit: "PeriodAudit", language: str) -> str:
    """The answer in a sentence."""
    return words(
        "audit_screen.answer",
        language,
        month=month_text(audit, language),
        short=len(audit.short),
        all=len(audit.jobs),
    )


def audit_rows(audit: "PeriodAudit", language: str, *, everything: bool) -> tuple[AuditRow, ...]:
    """The lockouts that fell short, each with its violations; with `everything` all of them and every finding."""
    rows: list[AuditRow] = []
    ordered = (*audit.short, *(job for job in audit.jobs if not job.short))
    for job in ordered if everything else audit.short:
        head = _head(job, language)
        found = job.findings if everything else job.of("V")
        rows.append(AuditRow(f"job {job.id}", (head,), heading=True, job=job))
        rows += [_finding_row(audit, job, one, number, language) for number, one in enumerate(found)]
    return tuple(rows)


def _head(job: "AuditedJob", language: str) -> Line:
    day = words(f"terminal.weekday_{job.since.isoweekday()}", language)
    when = (
        f"{day} {job.since:%d %H:%M}-{job.until:%H:%M}" if job.closed else f"{day} {job.since:%d %H:%M}-..."
    )
    return (
        Span(f" {tell(job.machine, language)}", "strong"),
        Span(f"  {when}  {job.id}", "quiet"),
    )


def _finding_row(
    audit: "PeriodAudit", job: "AuditedJob", one: "Finding", number: int, language: str
) -> AuditRow:
    tone = _TONES[one.level]
    level = Span(f" {words(f'audit.level.{one.level}', language).upper()} ", tone)
    rule = Span(f" {one.rule}  {clause_of(one, language)}", "strong")
    people = ", ".join(short_name(audit.name_of(code)) for code in one.by)
    right: Line = (Span(people or words("audit_screen.nobody_named", language), "" if people else "quiet"),)
    return AuditRow(
        f"{job.id} {number}",
        ((level, rule), (Span(one.text_in(language)),)),
        (right,),
        job=job,
        finding=one,
    )


def clause_of(one: "Finding", language: str) -> str:
    """The clause as it is shown; what is only the site's own says so instead."""
    if one.site_policy:
        return words("audit_screen.site_policy", language)
    return one.about.clause_in(language)


def detail(row: AuditRow | None, width: int, language: str) -> tuple[Line, ...]:
    """The chosen finding in full: what the record shows, what the rule asks for, what it rests on."""
    if row is None or row.finding is None or row.job is None:
        return ()
    one = row.finding
    lines: list[Line] = [*wrapped(one.text_in(language), width, "strong")]
    asks = words("audit_screen.asks", language, text=one.about.requirement(language))
    lines += wrapped(asks, width)
    notes = [one.about.clause_in(language)]
    if one.site_policy and not one.about.site_policy:
        notes.append(words("audit.site", language))
    if one.about.from_memory:
        notes.append(words("audit.from_memory", language))
    lines += wrapped("; ".join(notes), width, "quiet")
    word = row.job.attested.get(one.rule)
    if one.level == "A" and word is not None:
        said = words(
            "audit_screen.attested", language, name=word.by_name, date=f"{word.at:%Y-%m-%d}", text=word.text
        )
        lines += wrapped(said, width)
    return tuple(lines)


# --- what a person must still attest ----------------------------------------------------------------


class AttestRow(Struct, frozen=True):
    """One rule that a person must speak for, with the lockouts that it is about."""

    key: str
    left: tuple[Line, ...]
    right: tuple[Line, ...]
    jobs: tuple[str, ...]
    texts: tuple[str, ...]


def attest_rows(audit: "PeriodAudit", language: str) -> tuple[AttestRow, ...]:
    """Every rule with something to attest."""
    return tuple(_attest_row(rule, found, language) for rule, found in audit.waiting())


def _attest_row(rule: "Rule", found: "tuple[tuple[AuditedJob, Finding], ...]", language: str) -> AttestRow:
    jobs = tuple(dict.fromkeys(job.id for job, _ in found))
    texts = tuple(dict.fromkeys(one.text_in(language) for _, one in found))
    head: Line = (Span(f"{rule.id}  ", "strong"), Span(rule.clause_in(language), "quiet"))
    count: Line = (Span(words("audit_screen.lockouts", language, n=len(jobs))),)
    return AttestRow(rule.id, (head, (Span(texts[0]),)), (count,), jobs, texts)


def attest_detail(row: AttestRow | None, width: int) -> tuple[Line, ...]:
    """Everything that one word would be about."""
    if row is None:
        return ()
    lines: list[Line] = []
    for text in row.texts:
        lines += wrapped(text, width, indent=2)
    lines += wrapped(", ".join(row.jobs), width, "quiet")
    return tuple(lines)


# --- the year -----------------------------------------------------------------------------------------


def year_lines(audit: "PeriodAudit", width: int, language: str) -> tuple[Line, ...]:
    """Each rule that found something in twelve months, with how often."""
    lines: list[Line] = [
        (
            Span(
                words("audit_screen.year_span", language, since=audit.since.isoformat(), all=len(audit.jobs)),
                "strong",
            ),
        ),
        (),
    ]
    head = (
        f"{'':6}{words('audit_screen.col_short', language):>7}{words('audit_screen.col_weak', language):>6}"
        f"{words('audit_screen.col_open', language):>8}{words('audit_screen.col_attest', language):>11}"
        f"{words('audit_screen.col_attested', language):>12}  {_REGULATION}"
    )
    lines.append((Span(head, "quiet"),))
    for one in audit.by_rule():
        lines.append(_year_line(one, language))
    if not audit.by_rule():
        lines += wrapped(words("audit_screen.year_none", language), width)
    lines.append(())
    lines += wrapped(words("audit.caution", language), width, "quiet")
    return tuple(lines)


def _year_line(one: "RuleCount", language: str) -> Line:
    clause = (
        words("audit_screen.site_policy", language) if one.rule.site_policy else one.rule.clause_in(language)
    )
    clause = clause.replace(f"{_REGULATION}(", "(")  # it stands in the head of the column
    short = one.counts.get("V", 0)
    return (
        Span(f"{one.rule.id:6}"),
        Span(f"{short or '-':>7}", "strong" if short else "quiet"),
        Span(f"{one.counts.get('W', 0) or '-':>6}{one.counts.get('P', 0) or '-':>8}"),
        Span(f"{one.counts.get('A', 0) or '-':>11}{one.attested or '-':>12}"),
        Span(f"  {clause}", "quiet"),
    )
