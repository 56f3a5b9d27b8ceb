"""Check recordings: can the receiving side use them, and if not, why.

FILE may be a folder (all recordings in it, told by their content) or - (names on standard input).  The exit status of
several files is the highest of theirs: 0 none has a finding of error severity, 1 some have, 3 some cannot be read.
"""

from __future__ import annotations

import argparse
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from interchange._version import __version__
from interchange.cli.convert import add_from
from interchange.cli.output import put, put_document, style, width
from interchange.errors import InterchangeError, UsageError

if TYPE_CHECKING:
    from interchange.checks import CheckConfig, Report
    from interchange.findings import Finding
    from interchange.show.layout import Style

__all__ = ["REPORTS_VERSION", "add_arguments", "execute", "report_lines"]

REPORTS_VERSION = 1
PLURAL = {"error": "errors", "warning": "warnings", "note": "notes"}
MOST_ALIKE = 5


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command's arguments."""
    parser.add_argument("files", metavar="FILE", nargs="+", help="file, folder, or - for names on standard input")
    parser.add_argument("--expect", metavar="LEADSET", help="lead set that must be complete, as standard-12")
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
        return int(self.counts["error"] > 0)

    @property
    def counts(self) -> Counter[str]:
        """Findings by severity."""
        return Counter(finding.severity for finding in self.report.findings) if self.report else Counter()


def execute(arguments: argparse.Namespace) -> int:
    """Check, and print."""
    from interchange.cli.files import named_files

    config = _config(arguments)
    named = named_files(arguments.files)
    if not named.many:
        return _one(named.recordings[0], arguments, config)
    outcomes = []
    for file in named.recordings:
        outcome = _checked(file, arguments, config)
        outcomes.append(outcome)
        if not arguments.json:
            put("\n".join([*_brief(outcome, width(), style()), ""]))
    if arguments.json:
        put_document(_reports_document(outcomes, named.others))
    else:
        put("\n".join(_summary(outcomes, named.others)))
    return max((outcome.status for outcome in outcomes), default=0)


def _one(file: str, arguments: argparse.Namespace, config: CheckConfig | None) -> int:
    outcome = _checked(file, arguments, config)
    if outcome.error is not None:
        raise outcome.error
    assert outcome.report is not None
    if arguments.json:
        put_document({**outcome.report.as_json(), "file": file})
    else:
        put("\n".join(report_lines(file, outcome.report, width(), style())))
    return outcome.status


def _checked(file: str, arguments: argparse.Namespace, config: CheckConfig | None) -> Outcome:
    """The outcome of one file; whatever happens with it does not touch the others (but wrong usage ends the run)."""
    from interchange.api import check
    from interchange.cli.failure import explained

    try:
        return Outcome(file, check(file, arguments.expect, config=config, format=arguments.source_format))
    except UsageError:
        raise
    except Exception as error:
        return Outcome(file, error=explained(error).in_file(file))


def _config(arguments: argparse.Namespace) -> CheckConfig | None:
    """The site's configuration, and the present instant (nothing below this reads a clock)."""
    from dataclasses import replace

    from interchange.checks import CheckConfig, load_config

    config = CheckConfig()
    if arguments.config is not None:
        try:
            config = load_config(Path(arguments.config).read_bytes().decode("utf-8"))
        except OSError as error:
            reason = error.strerror or "input/output error"
            raise UsageError(f"cannot be read: {reason}", "--config", arguments.config) from None
        except UnicodeDecodeError:
            raise UsageError("is no text in UTF-8", "--config", arguments.config) from None
        except UsageError as error:
            raise error.in_file(arguments.config) from None
    return config if config.now is not None else replace(config, now=_now())


def _now() -> Any:
    from datetime import UTC, datetime
    from fractions import Fraction

    from interchange.model import Moment

    now = datetime.now(UTC)
    return Moment(now.year, now.month, now.day, now.hour, now.minute, Fraction(now.second), zone=0)


# For people --------------------------------------------------------------------------------------------------------


def report_lines(file: str, report: Report, columns: int, paint: Style) -> list[str]:
    """A report: the verdict, then the findings by what they touch, the serious first."""
    from interchange.show.layout import wrapped

    lines = [paint.strong(text) for text in wrapped(file, columns)] + wrapped(report.verdict, columns, hanging=0)
    areas: dict[str, list[Finding]] = defaultdict(list)
    for finding in report.findings:
        areas[finding.rule.partition(".")[0]].append(finding)
    for area, findings in areas.items():
        lines += ["", *_area(area, findings, columns, paint)]
    return lines


def _area(area: str, findings: Sequence[Finding], columns: int, paint: Style) -> list[str]:
    from interchange.cli.rules import area_title
    from interchange.findings import SEVERITIES

    lines = [paint.strong(area_title(area))]
    alike: dict[str, list[Finding]] = defaultdict(list)
    for finding in sorted(findings, key=lambda f: SEVERITIES.index(f.severity)):
        alike[finding.rule].append(finding)
    for members in alike.values():
        for finding in members[:MOST_ALIKE]:
            lines += _finding(finding, columns, paint)
        if len(members) > MOST_ALIKE:
            lines.append(f"           and {len(members) - MOST_ALIKE} more of {members[0].rule} (--json lists all)")
    return lines


def _finding(finding: Finding, columns: int, paint: Style) -> list[str]:
    from interchange.show.layout import wrapped

    emphasis = {"error": paint.alarm, "warning": paint.caution}.get(finding.severity, str)
    text = wrapped(finding.reason, columns - 11, hanging=0)
    about = f"{finding.rule}, {finding.place}" if finding.place else finding.rule
    text += wrapped(f"{about} [{finding.clause}]" if finding.clause else about, columns - 11)
    heads = [f"  {emphasis(finding.severity)}{' ' * (9 - len(finding.severity))}", *[" " * 11] * len(text)]
    return [f"{head}{row}" for head, row in zip(heads, text, strict=False)]


def _brief(outcome: Outcome, columns: int, paint: Style) -> list[str]:
    """One of many files: the verdict, errors and warnings; notes are counted."""
    from interchange.show.layout import wrapped

    if outcome.report is None:
        error = outcome.error
        reason = f"cannot be read: {': '.join(filter(None, (error.place, error.reason)))}" if error else ""
        return [paint.strong(row) for row in wrapped(outcome.file, columns)] + wrapped(reason, columns)
    loud = [finding for finding in outcome.report.findings if finding.severity != "note"]
    lines = [paint.strong(row) for row in wrapped(outcome.file, columns)] + wrapped(outcome.report.verdict, columns)
    for finding in loud[:12]:
        lines += _finding(finding, columns, paint)
    if len(loud) > 12:
        lines.append(f"  and {len(loud) - 12} more (check this file alone to see all)")
    return lines


def _summary(outcomes: Sequence[Outcome], others: Sequence[str]) -> list[str]:
    """A table of all files, and the answer in numbers."""
    from interchange.show.layout import table

    if not outcomes:
        return ["No recording found.", *_others(others)]
    rows = [["answer", "errors", "warnings", "notes", "file"]]
    for outcome in outcomes:
        counts = outcome.counts
        answer = {0: "ok", 1: "NO"}.get(outcome.status, "UNREADABLE")
        numbers = [str(counts[severity]) if outcome.report else "-" for severity in PLURAL]
        rows.append([answer, *numbers, outcome.file])
    good = sum(outcome.status == 0 for outcome in outcomes)
    unread = sum(outcome.report is None for outcome in outcomes)
    answer = f"{len(outcomes)} recordings: {good} without errors, {len(outcomes) - good - unread} with errors"
    return [*table(rows, right=(1, 2, 3)), "", f"{answer}, {unread} that cannot be read.", *_others(others)]


def _others(others: Sequence[str]) -> list[str]:
    from interchange.printable import printable
    from interchange.show.layout import limited

    if not others:
        return []
    return ["Not recordings of a known format:", *(f"  {printable(name)}" for name in limited(others))]


# For programs ------------------------------------------------------------------------------------------------------


def _reports_document(outcomes: Sequence[Outcome], others: Sequence[str]) -> dict[str, Any]:
    """All reports as plain data (schemas/reports.schema.json)."""
    from interchange.cli.failure import error_document

    total: Counter[str] = sum((outcome.counts for outcome in outcomes), Counter())
    return {
        "document": "interchange reports",
        "version": REPORTS_VERSION,
        "program": f"interchange {__version__}",
        "summary": {
            "recordings": len(outcomes),
            "without_errors": sum(outcome.status == 0 for outcome in outcomes),
            "with_errors": sum(outcome.status == 1 for outcome in outcomes),
            "not_readable": sum(outcome.report is None for outcome in outcomes),
            "findings": {name: total[severity] for severity, name in PLURAL.items()},
        },
        "files": [
            {
                "file": outcome.file,
                "status": outcome.status,
                "report": {**outcome.report.as_json(), "file": outcome.file} if outcome.report else None,
                "error": error_document(outcome.error) if outcome.error else None,
            }
            for outcome in outcomes
        ],
        "not_recordings": list(others),
    }
