"""Time in line with size, on the worst records that are known."""

from __future__ import annotations

import contextlib

import pytest

from interchange.errors import SourceError
from interchange.formats import load
from interchange.sources import Source
from tests.growing import MOST, Files, growth
from tests.growing.scp import SCP

FEW = {"leads of 20,000 escapes": 2, "leads of 65,528 codes of one bit": 2, "leads of 20,000 table switches": 2}
"""How many of a kind the smaller record has; 400 of the others."""


def look_at(files: Files) -> None:
    source = Source(files["x.scp"], "x.scp")
    with contextlib.suppress(SourceError):
        load("scp").read(source)
    load("scp").check(source)


@pytest.mark.parametrize("kind", SCP)
def test_time_grows_in_line_with_size(kind: str) -> None:
    assert growth(look_at, SCP[kind], FEW.get(kind, 400)) <= MOST
