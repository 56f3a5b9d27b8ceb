"""``python -m tests.benchmark``: how fast, as ratios measured side by side in one run; prints a table.

Run it alone on the machine.  ``--quick`` for a look (few rounds, small archive).
"""

from __future__ import annotations

import argparse
import platform
import sys
from pathlib import Path

import numpy as np

from tests.benchmark import formats, processes, worst
from tests.benchmark.measure import Row, table


def main() -> int:
    """Measure, and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--only", choices=("formats", "processes", "worst"))
    arguments = parser.parse_args()
    rounds = 7 if arguments.quick else 31
    archive, small = (200, 500) if arguments.quick else (2000, 10_000)
    found: list[Row] = []
    if arguments.only in (None, "formats"):
        found += _shown(formats.rows(rounds))
    if arguments.only in (None, "worst"):
        found += _shown(worst.rows(rounds))
    if arguments.only in (None, "processes"):
        found += _shown(processes.rows(rounds, archive, small))
    print(f"\n{_machine()}\n\n{table(found)}")
    return 0


def _shown(rows: object) -> list[Row]:
    found = []
    for row in rows:  # type: ignore[attr-defined]
        print(f"{row.what}: {row.ratio:.3g} ({row.goal})", file=sys.stderr, flush=True)
        found.append(row)
    return found


def _machine() -> str:
    cpu = platform.processor() or platform.machine()
    info = Path("/proc/cpuinfo")
    if info.exists():
        lines = info.read_text().splitlines()
        cpu = next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), cpu)
        cpu = f"{sum(line.startswith('processor') for line in lines)} x {cpu}"
    return f"{cpu}, {platform.system()}, Python {platform.python_version()}, numpy {np.__version__}"


if __name__ == "__main__":
    sys.exit(main())
