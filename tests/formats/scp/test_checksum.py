"""The checksum of a whole from those of its parts is that of the plain function."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interchange.formats.scp.syntax.checksum import checksum, checksum_over
from tests.formats.scp import plain

DATA = random.Random(20).randbytes(90_000)


def test_the_published_value() -> None:
    assert checksum(b"123456789") == 0x29B1
    assert checksum_over(b"123456789", []) == 0x29B1


@pytest.mark.parametrize("size", [4095, 4096, 4097, 8192, 65_535, 80_001])
def test_one_part(size: int) -> None:
    first = 17
    known = [(first, first + size, plain.crc(DATA[first : first + size]))]
    assert checksum_over(DATA, known) == plain.crc(DATA)


@given(st.lists(st.integers(0, len(DATA)), max_size=8))
def test_any_parts(places: list[int]) -> None:
    ends = sorted(places)
    known = [(a, b, checksum(DATA[a:b])) for a, b in itertools.pairwise(ends)]
    assert checksum_over(DATA, known) == checksum(DATA)
    assert checksum_over(memoryview(DATA), known[::2]) == checksum(DATA)


def test_a_part_that_overlaps_the_one_before_is_looked_at_again() -> None:
    known = [(0, 50_000, checksum(DATA[:50_000])), (40_000, 80_000, 0x1234)]
    assert checksum_over(DATA, known) == checksum(DATA)


def test_a_wrong_sum_of_a_part_makes_the_whole_wrong() -> None:
    assert checksum_over(DATA, [(0, 50_000, checksum(DATA[:50_000]) ^ 1)]) != checksum(DATA)
