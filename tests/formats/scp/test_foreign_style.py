"""What records of other writers have that a strict reading would get wrong without a word."""

from __future__ import annotations

import struct

import pytest

from interchange.errors import SourceError
from interchange.model import Recording
from tests.formats.scp import plain
from tests.formats.scp.broken import OTHER, WAVE, check, patched, read, record, with_section
from tests.formats.scp.test_measured import BLOCK, section_7

BEAT = [0, 5, 30, -9, 1, 0]


def values(recording: Recording) -> dict[tuple[str, int | None], object]:
    return {(m.concept, m.beat): m.value for m in recording.measurements}


def listed(recording: Recording, what: str = "content of no known layout") -> list[int]:
    """Sizes of what was left under this name."""
    return [entry.size for entry in recording.unread if entry.what == what]


SINGLE = "measurements of single QRS complexes"
UNNAMED = "measurements of beats that nothing names"


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
    assert listed(recording) == [size]


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
        assert listed(read(data)) == []


def test_another_number_of_complexes_than_section_4_has() -> None:
    data = with_beats(section_7([BLOCK], types=[0, 0, 1, 0, 0]), [0, 0, 1, 0, 0, 0])
    assert check(data) == {"measurements-types"}
    found = values(read(data))
    assert found["heart-rate-ventricular", None] == 75
    assert found["qtc-bazett", None] == 430
    assert {beat for _, beat in found} == {None}
    assert listed(read(data)) == []


def test_another_number_of_complexes_and_no_end_where_it_has_to_be_is_a_makers_content() -> None:
    body = section_7([BLOCK], types=[0, 0, 1, 0, 0]) + b"more!!"
    data = with_beats(body, [0, 0, 1, 0, 0, 0])
    assert check(data) == {"measurements-tail"}
    recording = read(data)
    assert ("heart-rate-ventricular", None) not in values(recording)
    assert listed(recording) == [22]


def test_content_behind_types_and_rates_leaves_them() -> None:
    data = with_beats(section_7([BLOCK], types=[0, 1]) + b"more!", [0, 1])
    assert check(data) == {"measurements-tail"}
    recording = read(data)
    assert values(recording)["qtc-bazett", None] == 430
    assert listed(recording) == [5]


# Section 7: whose blocks they are -----------------------------------------------------------------------------------


def pr(length: int) -> tuple[int, ...]:
    """A block with this PR interval."""
    return (100, 180, 100 + length, 390, 640, 51, -30, 44)


def pr_intervals(recording: Recording) -> list[tuple[int | None, object]]:
    return [(m.beat, m.value) for m in recording.measurements if m.concept == "pr-interval"]


FOUR = [pr(110), pr(120), pr(130), pr(140)]


@pytest.mark.parametrize("types", [None, [], [0, 2, 0, 1]])
def test_a_block_for_each_complex_has_the_type_that_section_4_says(types: list[int] | None) -> None:
    data = with_beats(section_7(FOUR, types=types), [0, 2, 0, 1])
    assert check(data) == {"measurements-single"}
    recording = read(data)
    assert pr_intervals(recording) == [(None, 110), (2, 120), (1, 140)]
    assert listed(recording, SINGLE) == [16]


def test_blocks_that_lie_apart_are_listed_apart() -> None:
    data = with_beats(section_7(FOUR, types=None), [1, 1, 0, 1])
    recording = read(data)
    assert pr_intervals(recording) == [(1, 110), (None, 130)]
    assert listed(recording, SINGLE) == [16, 16]
    first, second = (int(entry.place.rpartition(" ")[2]) for entry in recording.unread if entry.what == SINGLE)
    assert second - first == 32


def test_positions_of_single_complexes_are_not_those_of_the_representative_beat() -> None:
    block = (2, 3, 4, 6, 10, 0, 0, 0)
    of_complexes = read(with_beats(section_7([block, block], types=None), [0, 0]))
    assert {mark.concept for mark in of_complexes.marks} == {"beat"}
    of_types = read(with_beats(section_7([block, block], types=None), [0, 1, 0]))
    assert [m.start * 1000 for m in of_types.marks if m.concept == "qrs-onset"] == [4]


def test_a_block_for_each_type_of_section_4() -> None:
    data = with_beats(section_7([pr(110), pr(120)], types=None), [0, 3, 0, 3, 0])
    assert check(data) == set()
    assert pr_intervals(read(data)) == [(None, 110), (3, 120)]


@pytest.mark.parametrize("types", [None, [], [0, 0]])
def test_blocks_that_nothing_names_are_not_called_beat_types(types: list[int] | None) -> None:
    data = with_section(7, section_7([pr(110), pr(120), pr(130)], types=types))
    assert check(data) == {"measurements-blocks"}
    recording = read(data)
    assert pr_intervals(recording) == [(None, 110)]
    assert listed(recording, UNNAMED) == [32]


# Sections 5 and 6: lengths of more or fewer leads than section 3 has ------------------------------------------------

THIRD = [1000 + n for n in range(20)]
FOURTH = [-n for n in range(20)]


def with_signal(rows: list[list[int]], behind: bytes = b"", number: int = 6, **changes: object) -> bytes:
    """A record of two leads in section 3, with these leads in section 6 or 5."""
    blocks = [struct.pack(f"<{len(row)}h", *row) for row in rows]
    body = struct.pack("<HHBB", 1000, 2000, 0, 0) + struct.pack(f"<{len(blocks)}H", *map(len, blocks))
    return with_section(number, body + b"".join(blocks) + behind, **changes)


FURTHER = "data of a lead that section 3 does not name"


@pytest.mark.parametrize("more", [[THIRD], [THIRD, FOURTH], [THIRD[:7]], [[0] * 20], [THIRD] * 12])
def test_further_leads_move_the_data_of_those_that_are_named(more: list[list[int]]) -> None:
    data = with_signal([WAVE, OTHER, *more])
    assert check(data) == {"signal-leads"}
    recording = read(data)
    assert recording.tracings[0].names == ("I", "II")
    assert recording.tracings[0].samples.tolist() == [WAVE, OTHER]
    assert listed(recording, FURTHER) == [2 * len(row) for row in more]
    assert [f.severity for f in recording.findings if f.rule == "scp.signal-leads"] == ["error"]


@pytest.mark.parametrize("more", [THIRD, [0] * 20])
def test_further_leads_of_coded_data(more: list[int]) -> None:
    """Their bytes may be odd in number, and few where a lead has no signal."""
    rows = [WAVE, OTHER, more]
    three = plain.encode(plain.Record([(n, 1, row) for n, row in enumerate(rows, 1)], **CODED))
    data = plain.encode(record(sections={6: plain.sections_of(three)[6]}, **CODED))
    assert check(data) == {"signal-leads"}
    assert read(data).tracings[0].samples.tolist() == [WAVE, OTHER]


CODED = {"tables": [plain.DEFAULT_CODES], "order": 2}


@pytest.mark.parametrize("size", [2, 3, 4, 6, 100])
def test_zeros_behind_the_last_lead_are_padding(size: int) -> None:
    """Also where a small first sample could be the length of a lead that fills the section."""
    for first in (0, 1, 2, 4):
        data = with_signal([[first, *WAVE[1:]], OTHER], bytes(size))
        assert check(data) == {"signal-spare"}
        assert read(data).tracings[0].samples.tolist() == [[first, *WAVE[1:]], OTHER]


@pytest.mark.parametrize("behind", [b"ab", b"\0\0\0\1", b"x" * 60])
def test_other_bytes_behind_the_last_lead_leave_it_open_where_the_data_begin(behind: bytes) -> None:
    data = with_signal([WAVE, OTHER], behind)
    with pytest.raises(SourceError, match="where the data begin"):
        read(data)
    assert "signal-spare" in check(data)


def test_one_byte_of_padding_is_not_zero() -> None:
    lengths = struct.pack("<HHBBHH", 1000, 2000, 0, 0, 40, 39)
    body = lengths + struct.pack("<20h", *WAVE) + struct.pack("<20h", *OTHER)[:39] + b"\7"
    data = with_section(6, body)
    assert check(data) == {"signal-padding", "lead-ends-early"}
    assert read(data).tracings[0].samples.tolist()[0] == WAVE


def test_fewer_leads_than_section_3_names_are_nobodys() -> None:
    data = with_signal([WAVE])
    with pytest.raises(SourceError, match="fewer leads"):
        read(data)
    assert "signal-leads" in check(data)


def test_a_record_that_is_cut_off_has_no_fewer_leads() -> None:
    """Though what is left of it would be filled by the lengths of one lead less."""
    whole = plain.encode(record())
    data = whole[: len(whole) - 2 * len(OTHER) - 2]
    assert {"section-truncated", "lead-bytes"} <= check(data)
    assert "signal-leads" not in check(data)


def test_a_count_that_is_greater_than_the_leads_of_both_sections() -> None:
    data = patched(plain.encode(record()), 3, 0, b"\3")
    assert check(data) == {"leads-length", "simultaneous", "signal-leads"}
    assert read(data).tracings[0].names == ("I", "II")
    assert read(data).tracings[0].samples.tolist() == [WAVE, OTHER]


def test_further_leads_of_a_reference_beat() -> None:
    zones = {"zones": [(0, 0, 5, 0)], "areas": [(4, 6)], "fiducial": 3}
    length = struct.pack("<H", 2 * len(BEAT))
    section_4 = length + struct.pack("<HHHIIIII", 3, 1, 0, 0, 5, 0, 4, 6)
    other = [7, 8, 9, 10, 11, 12]
    data = with_signal([BEAT, other, THIRD[:6]], number=5, **zones)
    sections = {4: section_4, 5: plain.sections_of(data)[5]}
    data = plain.encode(record(sections=sections))
    assert check(data) == {"signal-leads"}
    assert read(data).tracings[1].samples.tolist() == [BEAT, other]
    spoilt = {**sections, 5: sections[5] + b"more"}
    data = plain.encode(record(sections=spoilt))
    assert "signal-spare" in check(data)
    recording = read(data)
    assert [tracing.kind for tracing in recording.tracings] == ["rhythm"]
    assert listed(recording, "a reference beat that cannot be decoded") == [len(spoilt[5])]


# Section 3: flags ---------------------------------------------------------------------------------------------------

ROW = list(range(9))


def flagged(firsts: list[int], size: int, *, simultaneous: bool = False, more: int = 0) -> bytes:
    """A record of leads that begin with these samples, with these flags."""
    codes = [1, 2, 61, 62, 63, 64, 3, 4, 5, 6, 7, 8]
    made = plain.encode(plain.Record([(code, first, ROW) for code, first in zip(codes, firsts, strict=False)]))
    return patched(made, 3, 1, bytes((size << 3 | 4 * simultaneous | more,)))


IN_TURN = [1 + 9 * (n // 3) for n in range(12)]


@pytest.mark.parametrize("size", [1, 3, 6, 11])
def test_groups_without_times_of_their_own(size: int) -> None:
    data = flagged([1] * 12, size)
    assert check(data) == {"group-timing"}
    assert [f.severity for f in read(data).findings] == ["warning"]
    assert [tracing.samples.tolist() for tracing in read(data).tracings] == [[ROW] * 12]


@pytest.mark.parametrize(
    ("firsts", "size", "simultaneous"),
    [
        ([1] * 12, 12, False),
        ([1] * 12, 0, False),
        ([1] * 12, 14, False),
        ([1] * 12, 3, True),
        (IN_TURN, 12, False),
        (IN_TURN, 4, False),
        (IN_TURN, 0, False),
        (IN_TURN, 3, True),
        ([1], 2, False),
    ],
)
def test_flags_that_contradict_the_numbers_of_the_samples(firsts: list[int], size: int, simultaneous: bool) -> None:
    assert check(flagged(firsts, size, simultaneous=simultaneous)) == {"simultaneous"}


def test_flags_that_agree_with_the_numbers_of_the_samples() -> None:
    assert check(flagged(IN_TURN, 3)) == set()
    assert check(flagged([1] * 12, 12, simultaneous=True)) == set()
    assert check(flagged(IN_TURN[:8], 3)) == set()
    assert check(flagged([1], 1, simultaneous=True)) == check(flagged([1], 1)) == set()
    for size in (3, 4):
        strip = [(code, 1 + 9 * (n // 3), ROW) for n, code in enumerate((1, 3, 61, 62, 63, 64))]
        made = plain.encode(plain.Record([*strip, (2, 1, [*ROW, *ROW])]))
        assert check(patched(made, 3, 1, bytes((size << 3,)))) == set()
    ragged = plain.encode(plain.Record([(1, 1, ROW), (2, 3, ROW[:5]), (3, 1, [*ROW, 9])]))
    assert check(patched(ragged, 3, 1, bytes((3 << 3,)))) == set()
    shorter = plain.Record([(1, 1, ROW), (2, 1, ROW[:6])])
    assert check(plain.encode(shorter)) == set()


def test_the_reserved_bit_of_the_flags() -> None:
    data = flagged([1, 1], 2, simultaneous=True, more=2)
    assert check(data) == {"reserved"}
    assert read(data).tracings[0].samples.tolist() == [ROW, ROW]
