"""What fires on real recordings, as a table: ``python -m tests.checks.what_fires FOLDER...`` (see DEVELOPERS.md)."""

from __future__ import annotations

import sys
from collections import defaultdict

import interchange
from interchange.batch.find import find_recordings
from interchange.findings import SEVERITIES


def table(folders: list[str]) -> list[str]:
    """One row per rule: severity, number and share of the recordings on which it fires, the frequent first."""
    fired: dict[str, set[str]] = defaultdict(set)
    severity: dict[str, str] = {}
    paths = [found.path for found in find_recordings(folders)]
    unread = 0
    for path in paths:
        try:
            findings = interchange.check(path).findings
        except interchange.SourceError:
            unread += 1
            continue
        for finding in findings:
            fired[finding.rule].add(path)
            severity[finding.rule] = finding.severity
    total = len(paths) - unread
    rows = sorted(fired, key=lambda rule: (SEVERITIES.index(severity[rule]), -len(fired[rule]), rule))
    lines = [f"{total} recordings, {unread} that cannot be read.", "", "| severity | rule | recordings | share |"]
    lines.append("| --- | --- | --: | --: |")
    for rule in rows:
        count = len(fired[rule])
        lines.append(f"| {severity[rule]} | `{rule}` | {count} | {100 * count / total:.0f} % |")
    return lines


if __name__ == "__main__":
    sys.stdout.write("\n".join(table(sys.argv[1:])) + "\n")
