"""The page of rules and the README's table against the catalogue."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

from interchange.cli.rules import all_rules
from interchange.cli.rules_page import BEGIN, END, PAGE, README, areas_table, rules_page
from interchange.findings import SEVERITIES

MAKE = "run python -m interchange.cli.rules_page"


def _readme_table() -> str:
    return README.read_text(encoding="utf-8").partition(BEGIN)[2].partition(END)[0].strip()


def test_the_page_is_what_the_catalogue_says() -> None:
    assert PAGE.read_text(encoding="utf-8") == rules_page(), MAKE


def test_every_rule_has_one_row_of_the_page_with_its_severity() -> None:
    """Read from the page as it lies there, without the code that makes it."""
    rows = re.findall(r"^\| `([a-z0-9.-]+)` \| (\w+) \|", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    assert rows == [(rule.id, rule.severity) for rule in all_rules()]


def test_the_readme_s_table_counts_the_catalogue() -> None:
    assert _readme_table() == areas_table(), MAKE
    counted = Counter((rule.id.partition(".")[0], rule.severity) for rule in all_rules())
    rows = re.findall(r"^\| `(\w+)` \| [^|]+ \| (\d+) \| (\d+) \| (\d+) \|$", _readme_table(), re.MULTILINE)
    for area, *numbers in rows:
        assert [counted[area, severity] for severity in SEVERITIES] == [int(number) for number in numbers]
    assert {area for area, *_ in rows} == {area for area, _ in counted}


def test_the_readme_s_commands_name_files_that_are_there() -> None:
    root = Path(README).parent
    named = re.findall(r"fixtures/[\w./-]+\.\w+", README.read_text(encoding="utf-8"))
    assert named
    assert [name for name in named if not (root / name).is_file()] == []
