"""Reading the tables that lie beside this package."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path

__all__ = ["rows"]

FOLDER = Path(__file__).parent / "tables"


def rows(name: str) -> Iterator[list[str]]:
    """The rows of table ``name`` (a file name) below its header line, cell by cell as text."""
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        reader = csv.reader(file, strict=True)
        next(reader)
        yield from reader
