"""What records of other writers have that a strict reading would get wrong without a word."""

from __future__ import annotations

import struct

import pytest

from interchange.model import Recording
from tests.formats.scp import plain
from tests.formats.scp.broken import check, read, record, with_section
from tests.formats.scp.test_measured import BLOCK, section_7

BEAT = [0, 5, 30, -9, 1, 0]


def values(recording: Recording) -> dict[tuple[str, int | None], object]:
    return {(m.concept, m.beat): m.value for m in recording.measurements}


def with_beats(body: bytes, types: list[int]) -> bytes:
    """A record with section 7, and a QRS of each of these types in section 4."""
    zones = [(kind, 0, 3 + 2 * n, 0) for n, kind in enumerate(types)]
    areas = [(3 + 2 * n, 3 + 2 * n) for n in range(len(types))]
    made = record(zones=zones, areas=areas, beats=[BEAT, BEAT], fiducial=3, sections={7: body})
    return plain.encode(made)


# Section 7: what follows the blocks ---------------------------------------------------------------------------------


BARE = section_7([BLOCK], types=None)
SMALL = struct.pack("<8H", 7, 9, 11, 4, 3, 2, 1, 1)


@pytest.mark.parametrize(
    "content",
    [b"maker's content!", b"maker's content", SMALL, struct.pack("<8H", *range(2000, 10000, 1000)), b"\xff" * 16],
)
def test_bytes_of_the_length_of_a_block_are_no_block(content: bytes) -> None:
    data = with_section(7, BARE + content)
    assert check(data) == {"measurements-tail"}
    recording = read(data)
    assert {beat for _, beat in values(recording)} == {None}
    assert values(recording)["pr-interval", None] == 160
    size = len(content) + len(content) % 2
    assert [(e.size, e.what) for e in recording.unread] == [(size, "content of no known layout")]


def test_an_uncounted_block_has_waves_in_order_and_axes_within_the_circle() -> None:
    body = bytearray(section_7([BLOCK, (90, 19999, 250, 340, 630, 999, -180, 180)], types=None))
    body[0] = 1
    assert "measurements-overall" in check(with_section(7, bytes(body)))
    for inside, value in ((0, 260), (4, 345), (8, 20000), (12, 181)):
        other = bytearray(body)
        struct.pack_into("<H", other, 6 + 16 + inside, value)
        assert check(with_section(7, bytes(other))) == {"measurements-tail"}


def test_a_block_that_begins_like_types_is_a_block_where_everything_else_then_fits() -> None:
    """P onset 0 reads as no QRS types, and positions read as rates: only the end of the section tells them apart."""
    body = bytearray(section_7([BLOCK, (0, 100, 150, 240, 400, 0, 51, 0)]))
    body[0] = 1
    data = with_section(7, bytes(body))
    found = values(read(data))
    assert found["heart-rate-ventricular", None] == 75
    assert found["qtc-bazett", None] == 430
    assert "measurements-overall" in check(data)


def test_a_formula_without_a_meaning_leaves_rates_and_types() -> None:
    body = section_7([BLOCK], types=[0, 0, 1, 0], extra=(75, 76, 410, 9))
    for data in (with_section(7, body), with_beats(body, [0, 0, 1, 0])):
        assert check(data) == {"measurements-formula"}
        found = values(read(data))
        assert found["heart-rate-ventricular", None] == 75
        assert found["heart-rate-atrial", None] == 76
        assert found["qtc-interval", None] == 410
        assert {beat for _, beat in found} == {None}
        assert read(data).unread == ()


def test_another_number_of_complexes_than_section_4_has() -> None:
    data = with_beats(section_7([BLOCK], types=[0, 0, 1, 0, 0]), [0, 0, 1, 0, 0, 0])
    assert check(data) == {"measurements-types"}
    found = values(read(data))
    assert found["heart-rate-ventricular", None] == 75
    assert found["qtc-bazett", None] == 430
    assert {beat for _, beat in found} == {None}
    assert read(data).unread == ()


def test_another_number_of_complexes_and_no_end_where_it_has_to_be_is_a_makers_content() -> None:
    body = section_7([BLOCK], types=[0, 0, 1, 0, 0]) + b"more!!"
    data = with_beats(body, [0, 0, 1, 0, 0, 0])
    assert check(data) == {"measurements-tail"}
    recording = read(data)
    assert ("heart-rate-ventricular", None) not in values(recording)
    assert [entry.size for entry in recording.unread] == [22]


def test_content_behind_types_and_rates_leaves_them() -> None:
    data = with_beats(section_7([BLOCK], types=[0, 1]) + b"more!", [0, 1])
    assert check(data) == {"measurements-tail"}
    recording = read(data)
    assert values(recording)["qtc-bazett", None] == 430
    assert [entry.size for entry in recording.unread] == [5]
