"""Check recordings: can the receiving side use them, and if not, why.

FILE may be a folder (all recordings in it, told by their content) or - (names on standard input).  The exit status of
several files is the highest of theirs: 0 none has a finding of error severity, 1 some have, 3 some cannot be read.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from interchange._version import __version__
from interchange.cli.convert import add_from
from interchange.cli.output import put, put_document, style, width
from interchange.errors import InterchangeError, UsageError
from interchange.findings import SEVERITIES
from interchange.records import dataclass
from interchange.sources import is_plain_name

if TYPE_CHECKING:
    from interchange.checks import CheckConfig, Report, Summary
    from interchange.findings import Finding
    from interchange.model import Moment, Recording
    from interchange.show.layout import Style
    from interchange.sources import Source

__all__ = ["REPORTS_VERSION", "Outcome", "add_arguments", "brief_lines", "check_config", "execute", "report_lines"]

USAGE = "FILE... [options]"
REPORTS_VERSION = 1
MOST_ALIKE = 5
MOST_LOUD = 12


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command's arguments."""
    parser.add_argument("files", metavar="FILE", nargs="+", help="file, folder, or - for names on standard input")
    parser.add_argument("--expect", metavar="LEADSET", help="lead set that must be complete, as standard-12")
    parser.add_argument("--identifiers", action="store_true", help="also look for identity that is left in the file")
    parser.add_argument("--known", metavar="FILE", help="with --identifiers: identifiers to search for, one a line")
    parser.add_argument("--config", metavar="FILE", help="TOML file: rules switched off, limits, device defaults")
    add_from(parser)
    parser.add_argument("--json", action="store_true", help="print the findings as JSON")


@dataclass(frozen=True, slots=True)
class Outcome:
    """One file: its report, or why there is none."""

    file: str
    report: Report | None = None
    error: InterchangeError | None = None

    @property
    def status(self) -> int:
        """The exit status that this file alone would give."""
        if self.error is not None:
            return self.error.status
        return self.report.status if self.report else 0


def execute(arguments: argparse.Namespace) -> int:
    """Check, and print."""
    from interchange.checks import check_collection
    from interchange.cli.files import named_files

    config = check_config(arguments)
    if arguments.known is not None and not arguments.identifiers:
        raise UsageError("goes with --identifiers", "--known")
    known = _known(arguments.known)
    named = named_files(arguments.files)
    summaries: list[Summary] = []
    if not named.many:
        return _one(_checked(named.recordings[0], arguments, config, known, summaries), arguments)
    outcomes = []
    for file in named.recordings:
        outcome = _checked(file, arguments, config, known, summaries)
        outcomes.append(outcome)
        if not arguments.json:
            put("\n".join([*brief_lines(outcome, width(), style()), ""]))
    together = check_collection(summaries, config)
    if arguments.json:
        put_document(_reports_document(outcomes, together, named.others))
    else:
        put("\n".join(_summary(outcomes, together, named.others)))
    return max((int(any(f.severity == "error" for f in together)), *(outcome.status for outcome in outcomes)))


def _one(outcome: Outcome, arguments: argparse.Namespace) -> int:
    if outcome.error is not None:
        raise outcome.error
    assert outcome.report is not None
    if arguments.json:
        put_document(_report_document(outcome))
    else:
        put("\n".join(report_lines(outcome.file, outcome.report, width(), style())))
    return outcome.status


def _checked(
    file: str,
    arguments: argparse.Namespace,
    config: CheckConfig,
    known: tuple[str, ...],
    summaries: list[Summary],
) -> Outcome:
    """The outcome of one file; whatever happens with it does not touch the others."""
    from interchange import formats
    from interchange.api import open_source, read_opened
    from interchange.checks import build_report, summary_of
    from interchange.cli.failure import explained

    try:
        source = open_source(file)
        recording = read_opened(source, arguments.source_format)
        findings = formats.load(recording.format or "").check(source)
        if arguments.identifiers:
            findings = (*findings, *_identifiers(source, recording, known))
        summaries.append(summary_of(recording, file))
        return Outcome(file, build_report(recording, findings, config=config))
    except Exception as error:
        return Outcome(file, error=explained(error).in_file(file))


def _identifiers(source: Source, recording: Recording, known: tuple[str, ...]) -> tuple[Finding, ...]:
    """What may identify somebody, in the recording and in the bytes of all its files."""
    from interchange.deidentify import find_residue

    files = {source.name: source.data}
    for name in source.neighbours():
        if source.path is None or not _is_no_file(source.path.with_name(name)):
            files[name] = source.neighbour(name) or b""
    return tuple(item.finding for item in find_residue(recording, files.items(), known))


def _is_no_file(path: Path) -> bool:
    """A folder, a link, or a name that no record can have: it only begins like the record."""
    return not is_plain_name(path.name) or path.is_symlink() or not path.is_file()


def _known(file: str | None) -> tuple[str, ...]:
    """The lines of the file with identifiers that must not occur."""
    if file is None:
        return ()
    try:
        lines = Path(file).read_text(encoding="utf-8").splitlines()
    except OSError as error:
        raise UsageError(f"cannot be read: {error.strerror or 'input/output error'}", "--known", file) from None
    except ValueError:
        raise UsageError("is no text in UTF-8", "--known", file) from None
    return tuple(line.strip() for line in lines if line.strip())


def check_config(arguments: argparse.Namespace) -> CheckConfig:
    """The site's configuration, what is expected, and the present instant (nothing below this reads a clock)."""
    from interchange.checks import CheckConfig, load_config

    config = CheckConfig()
    if arguments.config is not None:
        try:
            config = load_config(Path(arguments.config).read_bytes().decode("utf-8"))
        except OSError as error:
            reason = error.strerror or "input/output error"
            raise UsageError(f"cannot be read: {reason}", "--config", arguments.config) from None
        except (UnicodeDecodeError, ValueError):
            raise UsageError("is no text in UTF-8", "--config", arguments.config) from None
        except UsageError as error:
            raise error.in_file(arguments.config) from None
        _know_rules(config, arguments.config)
    if arguments.expect is not None:
        config = replace(config, expect=_lead_set(arguments.expect))
    return config if config.now is not None else replace(config, now=_now())


def _know_rules(config: CheckConfig, file: str) -> None:
    """UsageError for a rule that there is not: whoever misspelt it believes it switched off."""
    from interchange.cli.rules import all_rules

    known = {rule.id for rule in all_rules()}
    known |= {f"{name.partition('.')[0]}.*" for name in known}
    for key, names in (("off", config.off), ("severity", config.severities)):
        if not known.issuperset(names):
            raise UsageError('names a rule that there is not; "interchange rules" lists all', key, file)


def _lead_set(name: str) -> str:
    from interchange.vocabulary import lead_sets

    known = [row.id for row in lead_sets() if row.kind != "placement"]
    if name not in known:
        raise UsageError(f"there is no such lead set; the lead sets are {', '.join(known)}", "--expect")
    return name


def _now() -> Moment:
    from datetime import UTC, datetime
    from fractions import Fraction

    from interchange.model import Moment

    now = datetime.now(UTC)
    return Moment(now.year, now.month, now.day, now.hour, now.minute, Fraction(now.second), zone=0)


# For people --------------------------------------------------------------------------------------------------------


def report_lines(file: str, report: Report, columns: int, paint: Style) -> list[str]:
    """A report: the verdict, then the findings by what they touch, the serious first."""
    from interchange.checks import CAUTIONS
    from interchange.show.layout import wrapped

    lines = [paint.strong(text) for text in wrapped(file, columns)] + wrapped(report.verdict, columns, hanging=0)
    for title, findings in report.groups():
        lines += ["", *_group(title, findings, columns, paint)]
    return [*lines, "", *(row for caution in CAUTIONS for row in wrapped(caution, columns))]


def _group(title: str, findings: Sequence[Finding], columns: int, paint: Style) -> list[str]:
    lines = [paint.strong(title)]
    alike: dict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        alike[finding.rule].append(finding)
    for members in alike.values():
        for finding in members[:MOST_ALIKE]:
            lines += _finding(finding, columns, paint)
        if len(members) > MOST_ALIKE:
            lines.append(f"           and {len(members) - MOST_ALIKE} more of {members[0].rule} (--json lists all)")
    return lines


def _finding(finding: Finding, columns: int, paint: Style, *, brief: bool = False) -> list[str]:
    from interchange.show.layout import wrapped

    emphasis = {"error": paint.alarm, "warning": paint.caution}.get(finding.severity, str)
    text = wrapped(f"{finding.reason} [{finding.rule}]" if brief else finding.reason, columns - 11, hanging=0)
    about = f"{finding.rule}, {finding.place}" if finding.place else finding.rule
    if not brief:
        text += wrapped(f"{about}; {finding.clause}" if finding.clause else about, columns - 11)
    heads = [f"  {emphasis(finding.severity)}{' ' * (9 - len(finding.severity))}", *[" " * 11] * len(text)]
    return [f"{head}{row}" for head, row in zip(heads, text, strict=False)]


def brief_lines(outcome: Outcome, columns: int, paint: Style) -> list[str]:
    """One of many files: the verdict, errors and warnings; notes are counted."""
    from interchange.show.layout import wrapped

    lines = [paint.strong(row) for row in wrapped(outcome.file, columns)]
    if outcome.report is None:
        error = outcome.error
        reason = ": ".join(part for part in (error.place, error.reason) if part) if error else ""
        return [*lines, *wrapped(f"Cannot be read: {reason}", columns)]
    lines += wrapped(outcome.report.verdict, columns)
    loud = sorted((f for f in outcome.report.findings if f.severity != "note"), key=lambda f: f.severity)
    for finding in loud[:MOST_LOUD]:
        lines += _finding(finding, columns, paint, brief=True)
    if len(loud) > MOST_LOUD:
        lines.append(f"  and {len(loud) - MOST_LOUD} more (check this file alone to see all)")
    return lines


def _summary(outcomes: Sequence[Outcome], together: Sequence[Finding], others: Sequence[str]) -> list[str]:
    """What the files say together, a table of all, and the answer in numbers."""
    from interchange.show.layout import table

    if not outcomes:
        return ["No recording found.", *_others(others)]
    columns, paint = width(), style()
    lines = [*_group("Files together", together, columns, paint), ""] if together else []
    rows = [["answer", "errors", "warnings", "notes", "file"]]
    for outcome in outcomes:
        answer = {0: "ok", 1: "NO"}.get(outcome.status, "UNREADABLE")
        counts = [str(outcome.report.count(s)) if outcome.report else "-" for s in SEVERITIES]
        rows.append([answer, *counts, outcome.file])
    good = sum(outcome.status == 0 for outcome in outcomes)
    unread = sum(outcome.report is None for outcome in outcomes)
    answer = f"{len(outcomes)} recordings: {good} without errors, {len(outcomes) - good - unread} with errors"
    return [*lines, *table(rows, right=(1, 2, 3)), "", f"{answer}, {unread} that cannot be read.", *_others(others)]


def _others(others: Sequence[str]) -> list[str]:
    from interchange.printable import printable
    from interchange.show.layout import limited

    if not others:
        return []
    return ["Not recordings of a known format:", *(f"  {printable(name)}" for name in limited(others))]


# For programs ------------------------------------------------------------------------------------------------------


def _report_document(outcome: Outcome) -> dict[str, Any]:
    """One report as plain data, with the file's name (schemas/report.schema.json)."""
    assert outcome.report is not None
    document = outcome.report.as_json()
    return {key: document.pop(key) for key in ("document", "version", "program")} | {"file": outcome.file} | document


def _reports_document(
    outcomes: Sequence[Outcome], together: Sequence[Finding], others: Sequence[str]
) -> dict[str, Any]:
    """All reports as plain data (schemas/reports.schema.json)."""
    from interchange.cli.failure import error_document
    from interchange.receipt.content import finding_json

    reports = [outcome.report for outcome in outcomes if outcome.report is not None]
    return {
        "document": "interchange checks",
        "version": REPORTS_VERSION,
        "program": f"interchange {__version__}",
        "summary": {
            "recordings": len(outcomes),
            "without_errors": sum(outcome.status == 0 for outcome in outcomes),
            "with_errors": sum(outcome.status == 1 for outcome in outcomes),
            "not_readable": len(outcomes) - len(reports),
            "counts": {severity: sum(report.count(severity) for report in reports) for severity in SEVERITIES},
        },
        "files": [
            {
                "file": outcome.file,
                "status": outcome.status,
                "report": _report_document(outcome) if outcome.report else None,
                "error": error_document(outcome.error) if outcome.error else None,
            }
            for outcome in outcomes
        ],
        "together": [finding_json(finding) for finding in together],
        "not_recordings": list(others),
    }
