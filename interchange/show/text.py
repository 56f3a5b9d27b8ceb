"""The recording on a page or two of text, the important first."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby

from interchange.findings import SEVERITIES
from interchange.formats import by_name
from interchange.model import Recording, Statement
from interchange.printable import printable
from interchange.show.about import device_lines, patient_lines, recorded_lines, trial_lines
from interchange.show.layout import INDENT, PLAIN, Style, block, columns, limited, short
from interchange.show.measured import global_lines, level_lines, mark_lines, per_lead_lines
from interchange.show.signal import lead_lines, tracing_lines
from interchange.show.words import coded, joined, moment

__all__ = ["CAUTIONS", "recording_text"]

CAUTIONS = (
    "Shown as received, nothing verified: statements count as unconfirmed unless it says who confirmed them.",
    "A flat line, a missing lead or a missing value has no meaning of its own: not normal, not abnormal.",
    "Times are those of the device. No diagnostic device; local protocols and licensed clinicians decide.",
)
DERIVED_CAUTION = "Leads marked as calculated or reconstructed were not recorded as they are."


def recording_text(recording: Recording, *, file: str = "", width: int = 96, style: Style = PLAIN) -> str:
    """The recording for people, ``width`` columns wide, safe for a terminal.  A patient document."""
    inner = width - INDENT
    levels, per_lead = level_lines(recording, inner), per_lead_lines(recording, inner)
    measured = global_lines(recording, inner) or (["per lead only"] if levels or per_lead else ["nothing"])
    parts = [
        block("ATTENTION", _damage(recording), width, style, alarming=True),
        block("PATIENT", [*_removed(recording), *patient_lines(recording.patient)], width, style),
        block("RECORDED", recorded_lines(recording.acquisition), width, style),
        block("DEVICE", device_lines(recording.acquisition), width, style),
        block("LEADS", lead_lines(recording), width, style),
        block("TRACINGS", tracing_lines(recording), width, style),
        *_statements(recording.statements, width, style),
        block("MEASURED", measured, width, style),
        block("J AND ST", levels, width, style),
        block("PER LEAD", per_lead, width, style),
        block("MARKS", mark_lines(recording), width, style),
        block("TRIAL", trial_lines(recording.trial), width, style),
        block("DOCUMENT", _document(recording), width, style),
        block("NOT READ", _unread(recording), width, style),
        block("NOTICED", _findings(recording), width, style),
        block("CAUTION", _cautions(recording), width, style),
    ]
    lines = [_title(recording, file, width)]
    before = 2
    for part in filter(None, parts):
        lines += ["", *part] if max(before, len(part)) > 1 else part
        before = len(part)
    return "\n".join(lines)


def _title(recording: Recording, file: str, width: int) -> str:
    kind = by_name(recording.format).title if recording.format else "made from arrays"
    left = printable(file)
    return f"{left}{' ' * max(width - columns(left) - len(kind), 2)}{kind}" if left else kind


def _statements(statements: Iterable[Statement], width: int, style: Style) -> list[list[str]]:
    """Statements that share author, time and confirmation below one line that says so."""
    parts: list[list[str]] = []
    for about, members in groupby(statements, key=_about):
        texts = [f"  {short(text)}" for text in limited([_statement(item) for item in members], 30)]
        label = "" if parts else "STATEMENTS"
        parts.append(block(label, [about, *texts], width, style, alarming=about.startswith("UNCONFIRMED")))
    return parts or [block("STATEMENTS", ["none"], width, style)]


def _about(statement: Statement) -> str:
    author = " ".join(part for part in (statement.author_kind, statement.author) if part)
    return joined(
        (
            _confirmation(statement),
            f"by {author}" if author else "author not said",
            moment(statement.time) if statement.time else None,
            f"interpretation {statement.group + 1}" if statement.group else None,
        )
    )


def _confirmation(statement: Statement) -> str:
    who = f" by {statement.confirmed_by}" if statement.confirmed_by else ""
    when = f" at {moment(statement.confirmed_time)}" if statement.confirmed_time else ""
    if statement.confirmed:
        return f"CONFIRMED{who or ', by whom not said'}{when}"
    seen = f", looked at{who}{when}" if statement.overread else ""
    return f"UNCONFIRMED{seen}" if statement.confirmed is False else f"UNCONFIRMED (confirmation not said){seen}"


def _statement(statement: Statement) -> str:
    kind = "" if statement.kind == "interpretation-statement" else f"{statement.kind.replace('-', ' ')}: "
    return f"{kind}{statement.text or '(no text)'}"


def _damage(recording: Recording) -> list[str]:
    """A word in front when the reader met errors: what is missing below may be missing for that reason alone."""
    errors = sum(finding.severity == "error" for finding in recording.findings)
    if not errors:
        return []
    found = "an error" if errors == 1 else f"{errors} errors"
    return [f"{found} in the file: leads, samples or values may be missing or wrong (NOTICED, NOT READ below)"]


def _removed(recording: Recording) -> list[str]:
    """That and how identity was removed, when it was."""
    methods = "; ".join(coded(code) for code in recording.deidentification)
    return [f"DE-IDENTIFIED: {methods}"] if methods else []


def _document(recording: Recording) -> list[str]:
    lines = []
    if recording.document_id is not None:
        issuer = f" (issuer {recording.document_id.issuer})" if recording.document_id.issuer else ""
        lines.append(f"id {recording.document_id.value}{issuer}")
    if recording.extras:
        lines.append(f"{len(recording.extras)} more of the format's own fields (--json lists them)")
    return lines


def _unread(recording: Recording) -> list[str]:
    return limited([f"{u.place}: {u.what} ({u.size} bytes)" for u in recording.unread]) or ["nothing: all was taken in"]


def _findings(recording: Recording) -> list[str]:
    found = sorted(recording.findings, key=lambda finding: SEVERITIES.index(finding.severity))
    return limited([f"{f.severity} {f.rule} at {f.place}: {f.reason}" for f in found]) or ["nothing"]


def _cautions(recording: Recording) -> list[str]:
    calculated = any(channel.origin != "recorded" for tracing in recording.tracings for channel in tracing.channels)
    return [*CAUTIONS, *([DERIVED_CAUTION] if calculated else [])]
