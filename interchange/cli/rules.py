"""List the rules that are checked, or explain one.

A rule has a readable id, a severity, what is wrong when it is broken, why that matters, and where it is written.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

from interchange._version import __version__
from interchange.cli.output import put, put_document, style, width
from interchange.errors import UsageError
from interchange.formats import FORMATS

if TYPE_CHECKING:
    from interchange.findings import Rule

__all__ = ["RULES_VERSION", "add_arguments", "all_rules", "area_title", "execute", "rules_document"]

USAGE = "[ID] [options]"
RULES_VERSION = 1
HOW_SURE = {
    "seen": "read in the document named",
    "computed": "follows by calculation",
    "memory": "from memory, not looked up",
    "unsure": "unsure",
    "proposal": "a proposal of this project",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Describe the command's arguments."""
    parser.add_argument("id", metavar="ID", nargs="?", help="a rule (scp.section-crc) or an area (scp, leads)")
    parser.add_argument("--json", action="store_true", help="print the rules as JSON")


def execute(arguments: argparse.Namespace) -> int:
    """List, or explain."""
    rules = all_rules()
    wanted = arguments.id
    if wanted is not None:
        rules = [rule for rule in rules if wanted in (rule.id, rule.id.partition(".")[0])]
        if not rules:
            raise UsageError('there is no such rule or area; "interchange rules" lists all', "ID")
    if arguments.json:
        put_document(rules_document(rules))
    elif len(rules) == 1 and rules[0].id == wanted:
        put("\n".join(_explained(rules[0])))
    else:
        put("\n".join(_listed(rules)))
    return 0


def all_rules() -> list[Rule]:
    """Every rule of every format and of the checks, in the order of their tables."""
    from interchange import checks, deidentify, formats

    tables: list[Any] = [formats.load(entry.name).RULES for entry in FORMATS]
    return [rule for table in (*tables, checks.RULES, deidentify.RULES) for rule in table]


def area_title(area: str) -> str:
    """What the rules of an area (the first part of their ids) are about."""
    from interchange.checks import AREAS

    formats = {entry.name: f"Conformance of {entry.title} files" for entry in FORMATS}
    return (formats | dict(AREAS)).get(area, area)


def rules_document(rules: Sequence[Rule]) -> dict[str, Any]:
    """The rules as plain data (schemas/rules.schema.json)."""
    return {
        "document": "interchange rules",
        "version": RULES_VERSION,
        "program": f"interchange {__version__}",
        "rules": [
            {
                "id": rule.id,
                "severity": rule.severity,
                "reason": rule.reason,
                "why": rule.why,
                "clause": rule.clause,
                "confidence": rule.confidence,
            }
            for rule in rules
        ],
    }


def _listed(rules: Sequence[Rule]) -> list[str]:
    from interchange.show.layout import wrapped

    columns, paint = width(), style()
    lines: list[str] = []
    for area, members in groupby(rules, key=lambda rule: rule.id.partition(".")[0]):
        lines += [*([""] if lines else []), paint.strong(f"{area_title(area)} ({area})")]
        for rule in members:
            lines += [f"  {rule.severity:8} {rule.id}"]
            lines += wrapped(f"           {rule.reason} [{rule.clause}]", columns, hanging=0)
    return lines


def _explained(rule: Rule) -> list[str]:
    from interchange.show.layout import block

    columns, paint = width(), style()
    return [
        paint.strong(f"{rule.id} ({rule.severity})"),
        *block("what", [f"{rule.reason}."], columns, paint),
        *block("why", [rule.why] if rule.why else [], columns, paint),
        *block("source", [f"{rule.clause} ({HOW_SURE[rule.confidence]})"], columns, paint),
    ]
