"""A sheet costs no more than three times an empty page of a plotting library: in time of the processor, so that a busy
machine does not matter."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

import interchange
from fixtures.field import twelve_leads
from interchange.draw import draw

LIMIT = 3
ROUNDS = 5
EMPTY = """
from matplotlib.figure import Figure
Figure(figsize=(297 / 25.4, 210 / 25.4)).savefig(TARGET)
"""


def quickest(call: Callable[[], object]) -> float:
    found = []
    for _ in range(ROUNDS):
        start = time.process_time()
        call()
        found.append(time.process_time() - start)
    return min(found)


def test_one_pdf_against_a_page_with_empty_axes() -> None:
    figure = pytest.importorskip("matplotlib.figure")
    import io

    def empty() -> None:
        page = figure.Figure(figsize=(297 / 25.4, 210 / 25.4))
        page.add_subplot()
        page.savefig(io.BytesIO(), format="pdf")

    made = twelve_leads()
    ours, theirs = quickest(lambda: draw(made, "pdf")), quickest(empty)
    assert ours <= LIMIT * theirs, f"{ours * 1000:.1f} ms against {theirs * 1000:.1f} ms"


@pytest.mark.skipif(os.name != "posix", reason="the time of child processes is counted on POSIX systems")
def test_the_command_against_a_process_that_saves_an_empty_page(tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    source = tmp_path / "a.hea"
    interchange.write(twelve_leads(), source)
    empty = f"TARGET = {str(tmp_path / 'e.pdf')!r}\n{EMPTY}"
    command = ["-m", "interchange", "draw", str(source), "-o", str(tmp_path / "t.pdf"), "--overwrite"]
    ours, theirs = (_process_time(arguments) for arguments in (command, ["-c", empty]))
    assert ours <= LIMIT * theirs, f"{ours:.2f} s against {theirs:.2f} s"


def _process_time(arguments: list[str]) -> float:
    """Least processor time of three runs of a process."""
    found = []
    for _ in range(3):
        before = os.times()
        subprocess.run([sys.executable, *arguments], check=True, stdout=subprocess.DEVNULL)
        after = os.times()
        found.append(after.children_user + after.children_system - before.children_user - before.children_system)
    return min(found)
