"""The rules as a page, and their number per area as a table in the README: ``python -m interchange.cli.rules_page``.

Both are made from the catalogue; a test compares.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from interchange.cli.rules import HOW_SURE, all_rules, area_title
from interchange.findings import SEVERITIES

if TYPE_CHECKING:
    from interchange.findings import Rule

__all__ = ["BEGIN", "END", "PAGE", "areas_table", "readme_with_table", "rules_page"]

PACKAGE = Path(__file__).resolve().parent.parent
PAGE = PACKAGE / "checks" / "RULES.md"
README = PACKAGE.parent / "README.md"
BEGIN, END = "<!-- rules: begin -->", "<!-- rules: end -->"


def _areas() -> list[tuple[str, list[Rule]]]:
    return [(area, list(rules)) for area, rules in groupby(all_rules(), key=lambda rule: rule.id.partition(".")[0])]


def areas_table() -> str:
    """One row per area: its name, what it is about, how many rules of each severity it has."""
    lines = ["| area | about | errors | warnings | notes |", "| --- | --- | --: | --: | --: |"]
    areas = _areas()
    for area, rules in areas:
        lines.append(f"| `{area}` | {area_title(area)} | {' | '.join(_counts(rules))} |")
    every = [rule for _, rules in areas for rule in rules]
    return "\n".join([*lines, f"| {len(every)} rules | | {' | '.join(_counts(every))} |"])


def _counts(rules: Sequence[Rule]) -> list[str]:
    return [str(sum(rule.severity == severity for rule in rules)) for severity in SEVERITIES]


def rules_page() -> str:
    """Every rule with severity, what is wrong, where it is written, and how sure that is."""
    lines = [
        "# The rules that are checked",
        "",
        "Made by `python -m interchange.cli.rules_page` from the catalogue; a test compares. Do not edit by hand.",
        "`interchange rules ID` says of each why it matters.",
    ]
    for area, rules in _areas():
        lines += ["", f"## {area_title(area)}", "", "| rule | severity | what is wrong | source |", "| --- " * 4 + "|"]
        lines += [f"| {' | '.join(map(_cell, _row(rule)))} |" for rule in rules]
    return "\n".join(lines) + "\n"


def _row(rule: Rule) -> tuple[str, str, str, str]:
    sure = "" if rule.confidence in ("seen", "computed") else f" ({HOW_SURE[rule.confidence]})"
    return f"`{rule.id}`", rule.severity, rule.reason, f"{rule.clause}{sure}"


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


def readme_with_table(text: str) -> str:
    """The README with the table of areas between its two marks."""
    head, _, rest = text.partition(BEGIN)
    _, _, tail = rest.partition(END)
    return f"{head}{BEGIN}\n{areas_table()}\n{END}{tail}"


if __name__ == "__main__":
    PAGE.write_text(rules_page(), encoding="utf-8")
    README.write_text(readme_with_table(README.read_text(encoding="utf-8")), encoding="utf-8")
