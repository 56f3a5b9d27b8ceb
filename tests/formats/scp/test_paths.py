"""The windows that a decoder uses are those of a plain loop, whatever the bits are, and in linear time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from interchange.formats.scp.coding.paths import GAP, _Readings, used_places


def one_after_the_other(view, advance, blocks) -> list[int]:
    found = []
    for first, end in blocks:
        place = first
        while place < end:
            found.append(place)
            place += int(advance[view[place]])
    return found


def laid_out(sizes: list[int]) -> tuple[int, list[tuple[int, int]]]:
    blocks = []
    place = 0
    for size in sizes:
        blocks.append((place, place + 8 * size))
        place += 8 * (size + GAP)
    return place, blocks


def inside(places, blocks) -> list[int]:
    return [place for place in places.tolist() if any(first <= place < end for first, end in blocks)]


sizes = st.lists(st.sampled_from([0, 1, 2, 63, 64, 65, 300, 3000]), min_size=1, max_size=6)


@given(sizes, st.lists(st.integers(1, 28), min_size=1, max_size=6), st.integers(0, 2**32 - 1))
def test_as_one_after_the_other(lengths, advances, seed) -> None:
    size, blocks = laid_out(lengths)
    view = np.random.default_rng(seed).integers(0, len(advances), size, dtype=np.uint16)
    advance = np.array(advances, dtype=np.int64)
    found = used_places(view, advance, blocks)
    assert (np.diff(found) > 0).all()
    assert inside(found, blocks) == one_after_the_other(view, advance, blocks)


@pytest.mark.parametrize("step", [*range(1, 13), 16, 18, 26, 28])
@pytest.mark.parametrize("late", [0, 1, 5])
def test_a_stream_that_never_falls_into_step(step: int, late: int) -> None:
    """All windows advance alike, but for the first one: a reading meets only those that began at its own phase."""
    size, blocks = laid_out([20_000, 64, 20_000])
    view = np.zeros(size, dtype=np.uint16)
    for first, _ in blocks:
        view[first] = 1
    advance = np.array([step, step + late if step + late <= 28 else step], dtype=np.int64)
    readings = _Readings(view, advance, blocks)
    found = readings.places()
    assert inside(found, blocks) == one_after_the_other(view, advance, blocks)
    assert sum(places.size for places, _ in readings.read) <= 2 * size


def test_many_readings_stay_within_their_numbers() -> None:
    size, blocks = laid_out([6_000_000])
    view = np.random.default_rng(5).integers(0, 2, size, dtype=np.uint16)
    advance = np.array([20, 27], dtype=np.int64)
    readings = _Readings(view, advance, blocks)
    assert readings.starts.size < 0xFFF0
    found = readings.places()
    assert found[found < blocks[0][1]].tolist() == one_after_the_other(view, advance, blocks)


def test_nothing_at_all() -> None:
    assert used_places(np.zeros(0, dtype=np.uint16), np.ones(1, dtype=np.int64), []).size == 0
    size, blocks = laid_out([0, 0])
    assert used_places(np.zeros(size, dtype=np.uint16), np.ones(1, dtype=np.int64), blocks).size == 0
