"""Inputs that grow: for each format the worst that is known, as functions from a count to the files of a record.

They are put together by hand, field by field; the main file comes first.  What a file is made of repeats, so that
reading it should take time in line with its size.  ``tests.benchmark.worst`` measures them large, the tests small.
"""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Files", "Grow"]

Files = dict[str, bytes]
"""Content by file name, the main file first."""

Grow = Callable[[int], Files]
