"""Every coding: our fast decoder and encoder against the plain ones, on recordings made by hypothesis."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.formats.scp.coding.bimodal import Scheme, stored_count, stretches
from interchange.formats.scp.coding.differences import differ, undo
from interchange.formats.scp.coding.huffman import decode_blocks
from interchange.formats.scp.coding.packing import best_order, bits_needed, pack, pack_all
from interchange.formats.scp.log import Log
from interchange.formats.scp.syntax.document import Document, parse_document
from interchange.formats.scp.syntax.tables import DEFAULT
from tests.formats.scp import plain

BUDGET = settings(max_examples=25, deadline=None)
CODES = (1, 2, 3, 61, 64, 8)

small = st.integers(-12, 12)
any_sample = st.one_of(small, small, st.integers(-140, 140), st.integers(-32768, 32767))
rows = st.integers(1, 3).flatmap(
    lambda count: st.integers(1, 60).flatmap(
        lambda size: st.lists(st.lists(any_sample, min_size=size, max_size=size), min_size=count, max_size=count)
    )
)


def smooth(draw: st.DrawFn, size: int, most: int = 40) -> list[int]:
    """A curve whose second differences are small."""
    steps = draw(st.lists(st.integers(-most, most), min_size=size, max_size=size))
    return list(itertools.accumulate(steps))


def parsed(record: plain.Record) -> tuple[Document, Log]:
    log = Log()
    return parse_document(plain.encode(record), log), log


def nanovolts(document: Document) -> list[list[int]]:
    rhythm = document.rhythm
    assert rhythm is not None
    return [(wave.samples * rhythm.step).tolist() for wave in rhythm.waves if wave.samples is not None]


def expected(record: plain.Record) -> list[list[int]]:
    return [samples for _, _, samples in plain.decode(plain.encode(record)).leads]


def leads_of(samples: list[list[int]], first: int = 1) -> list[tuple[int, int, list[int]]]:
    return [(code, first, row) for code, row in zip(CODES, samples, strict=False)]


# Streams -----------------------------------------------------------------------------------------------------------


@BUDGET
@given(rows, st.sampled_from([0, 1, 2]))
def test_pack_and_decode_agree_with_the_plain_codec(samples: list[list[int]], order: int) -> None:
    arrays = [np.array(row) for row in samples]
    if any(bits_needed(array, order) is None for array in arrays):
        order = 0
    blocks = pack_all(arrays, order)
    assert blocks == [pack(array, order) for array in arrays]
    for array, block, row in zip(arrays, blocks, samples, strict=True):
        bits = plain.encode_bits(plain.differ(row, order), [plain.DEFAULT_CODES])
        assert block == int(bits + "0" * (-len(bits) % 8), 2).to_bytes(-(-len(bits) // 8), "big")
        assert bits_needed(array, order) == len(bits)
    data = b"\xff" + b"".join(blocks) + b"\xff\xff"
    ends = list(itertools.accumulate(map(len, blocks), initial=1))
    streams = decode_blocks(data, list(itertools.pairwise(ends)), (DEFAULT,))
    for stream, row in zip(streams, samples, strict=True):
        assert undo(stream.values[: len(row)], order).tolist() == row
        assert stream.end(len(row)) == bits_needed(np.array(row), order)
        assert stream.bits - stream.end(len(row)) < 8


@BUDGET
@given(st.binary(max_size=40), st.integers(0, 30))
def test_any_bytes_give_the_values_that_the_plain_decoder_gives(data: bytes, begin: int) -> None:
    block = data[begin:]
    stream = decode_blocks(data, [(min(begin, len(data)), len(data))], (DEFAULT,))[0]
    count = len(stream.values)
    values, used = plain.decode_bits(block, count, [plain.DEFAULT_CODES])
    assert stream.values.tolist() == values
    assert stream.end(count) == used <= 8 * len(block)
    with pytest.raises(EOFError):
        plain.decode_bits(block, count + 1, [plain.DEFAULT_CODES])
    for part in range(count + 1):
        assert stream.end(part) == plain.decode_bits(block, part, [plain.DEFAULT_CODES])[1]


@BUDGET
@given(st.lists(st.integers(-32768, 32767), min_size=1, max_size=50), st.sampled_from([0, 1, 2]))
def test_differences_both_ways(samples: list[int], order: int) -> None:
    stored = differ(np.array(samples), order)
    assert stored.tolist() == plain.differ(samples, order)
    assert undo(stored, order).tolist() == plain.integrate(stored.tolist(), order) == samples


@BUDGET
@given(rows)
def test_the_order_chosen_is_the_smallest_that_holds_all_leads(samples: list[list[int]]) -> None:
    arrays = [np.array(row) for row in samples]
    sizes = {}
    for order in (0, 1, 2):
        bits = [bits_needed(array, order) for array in arrays]
        if None not in bits:
            sizes[order] = sum(-(-size // 8) for size in bits)
    assert sizes[best_order(arrays)] == min(sizes.values())


def test_a_difference_beyond_16_bits_has_no_code() -> None:
    jump = np.array([-32768, 32767])
    assert bits_needed(jump, 1) is None
    with pytest.raises(ValueError, match="16 bits"):
        pack_all([np.array([1, 2]), jump], 1)
    assert pack_all([np.array([], dtype=np.int32), np.array([0]), np.array([], dtype=np.int32)], 0) == [b"", b"\0", b""]


# Whole records -----------------------------------------------------------------------------------------------------


@BUDGET
@given(rows, st.sampled_from([0, 1, 2]), st.booleans())
def test_plain_integers_and_default_table(samples: list[list[int]], order: int, huffman: bool) -> None:
    if any(not -32768 <= d <= 32767 for row in samples for d in plain.differ(row, order)):
        order = 0
    record = plain.Record(leads_of(samples), order=order, tables=[plain.DEFAULT_CODES] if huffman else None)
    document, log = parsed(record)
    assert [wave.samples.tolist() for wave in document.rhythm.waves] == samples
    assert nanovolts(document) == expected(record)
    assert log.findings == ()


@st.composite
def own_tables(draw: st.DrawFn) -> tuple[list[list[plain.Code]], list[int], list[int]]:
    """One to three complete prefix codes with escapes and switches, values, and the table of each value."""
    count = draw(st.integers(1, 3))
    tables = []
    for number in range(count):
        leaves = ["0", "1"]
        for _ in range(draw(st.integers(2, 14))):
            leaf = leaves.pop(draw(st.integers(0, len(leaves) - 1)))
            if len(leaf) < 30:
                leaves += [leaf + "0", leaf + "1"]
            else:
                leaves.append(leaf)
        switches = [other for other in range(count) if other != number]
        while len(leaves) < len(switches) + 2:
            leaf = leaves.pop(0)
            leaves += [leaf + "0", leaf + "1"]
        order = draw(st.permutations(leaves))
        table = [plain.Code(order[0], extra=16)]
        table += [plain.Code(prefix, table=other + 1) for prefix, other in zip(order[1:], switches, strict=False)]
        rest = order[1 + len(switches) :]
        table += [plain.Code(prefix, value=place - len(rest) // 2) for place, prefix in enumerate(rest)]
        tables.append(table)
    values = draw(st.lists(any_sample, min_size=1, max_size=40))
    where = draw(st.lists(st.integers(0, count - 1), min_size=len(values), max_size=len(values)))
    return tables, values, where


@BUDGET
@given(own_tables())
def test_own_tables_with_switches_and_escapes(made: tuple[list[list[plain.Code]], list[int], list[int]]) -> None:
    tables, values, where = made
    record = plain.Record([(2, 1, values)], tables=tables, switches=where, is_default=False)
    document, log = parsed(record)
    assert document.tables is not None
    assert document.tables.usable
    assert nanovolts(document) == expected(record)
    assert log.findings == ()


def test_the_default_table_written_out_is_the_default_table() -> None:
    values = [[0, 5, -9, 300, -4, 2, 1, 8, -8, 9]]
    record = plain.Record(leads_of(values), tables=[plain.DEFAULT_CODES], is_default=False, order=1)
    document, log = parsed(record)
    assert document.tables.tables == (DEFAULT,)
    assert document.frame.section(2).length == 192
    assert nanovolts(document) == expected(record)
    assert log.findings == ()


def test_prefixes_longer_than_a_window_go_the_slow_way() -> None:
    table = [plain.Code("1" * n + "0", value=n) for n in range(20)] + [plain.Code("1" * 20, extra=24)]
    record = plain.Record(leads_of([[0, 19, 3, 12345, 13, 1, -7]]), tables=[table], is_default=False)
    document, log = parsed(record)
    assert nanovolts(document) == expected(record)
    assert log.findings == ()


@st.composite
def subtracted(draw: st.DrawFn) -> plain.Record:
    """Residuals, a reference beat, zones on a common time axis, multipliers of their own."""
    count = draw(st.integers(1, 3))
    size = draw(st.integers(20, 90))
    length = draw(st.integers(3, 15))
    fiducial = draw(st.integers(1, length))
    zones = []
    areas = []
    place = 1
    while place + length < size and draw(st.booleans() | st.just(True)):
        begin = place + draw(st.integers(0, 6))
        end = min(begin + draw(st.integers(0, length - 1)), size)
        if begin > size:
            break
        kind = draw(st.sampled_from([0, 0, 0, 1]))
        centre = draw(st.integers(begin, end))
        low = max(begin, centre - fiducial + 1)
        high = min(end, centre + length - fiducial)
        zones.append((kind, low, centre, high) if kind == 0 else (kind, 0, centre, 0))
        areas.append((low, high))
        place = end + 1
    if not any(kind == 0 for kind, *_ in zones):
        zones, areas = [(0, 1, 1, 1)], [(1, 1)]
    huffman = draw(st.booleans())
    return plain.Record(
        leads=leads_of([smooth(draw, size) for _ in range(count)]),
        step=draw(st.sampled_from([1000, 2500, 5000, 20000, 4880])),
        order=draw(st.sampled_from([0, 1, 2])),
        tables=[plain.DEFAULT_CODES] if huffman else None,
        zones=zones,
        areas=areas,
        beats=[smooth(draw, length) for _ in range(count)],
        beat_step=draw(st.sampled_from([1000, 2500, 5000, 4880])),
        beat_order=draw(st.sampled_from([0, 1, 2])),
        fiducial=fiducial,
        subtracted=True,
    )


@BUDGET
@given(subtracted())
def test_reference_beat_subtraction_with_different_multipliers(record: plain.Record) -> None:
    document, log = parsed(record)
    made = plain.decode(plain.encode(record))
    assert nanovolts(document) == [samples for _, _, samples in made.leads]
    assert [(w.samples * document.beat.step).tolist() for w in document.beat.waves] == made.beats
    assert document.rhythm.lossy == ("requantised" if record.step > record.beat_step else None)
    assert {f.rule for f in log.findings} <= {"scp.zone-beat", "scp.requantised"}


@st.composite
def bimodal(draw: st.DrawFn) -> plain.Record:
    size = draw(st.integers(12, 120))
    areas = []
    place = 1
    for _ in range(draw(st.integers(1, 3))):
        begin = place + draw(st.integers(1, 25))
        end = begin + draw(st.integers(0, 12))
        if end > size:
            break
        areas.append((begin, end))
        place = end + 1
    if not areas:
        areas = [(2, min(6, size))]
    factor = draw(st.sampled_from([2, 3, 4, 8]))
    huffman = draw(st.booleans())
    return plain.Record(
        leads=leads_of([smooth(draw, size) for _ in range(draw(st.integers(1, 2)))]),
        step=draw(st.sampled_from([1000, 5000])),
        order=draw(st.sampled_from([0, 1, 2])),
        tables=[plain.DEFAULT_CODES] if huffman else None,
        zones=[(1, 0, begin, 0) for begin, _ in areas],
        areas=areas,
        beats=[[0, 0, 0]] * 2,
        factor=factor,
    )


@BUDGET
@given(bimodal())
def test_bimodal_data_are_expanded_as_the_plain_decoder_does(record: plain.Record) -> None:
    record.beats = record.beats[: len(record.leads)]
    document, log = parsed(record)
    assert nanovolts(document) == expected(record)
    assert document.rhythm.interval == 2000
    assert document.rhythm.lossy == "bimodal"
    assert [f.rule for f in log.findings] == ["scp.bimodal"]
    assert "unsure" in log.findings[0].clause


@BUDGET
@given(subtracted(), st.sampled_from([2, 4]))
def test_subtraction_and_bimodal_together(record: plain.Record, factor: int) -> None:
    record.factor = factor
    document, log = parsed(record)
    made = plain.decode(plain.encode(record))
    assert nanovolts(document) == [samples for _, _, samples in made.leads]
    assert {f.rule for f in log.findings} <= {"scp.bimodal", "scp.zone-beat"}


def test_protected_samples_of_bimodal_data_are_exact_and_the_others_near() -> None:
    wave = [round(900 * np.sin(n / 25)) + (700 if 40 <= n < 46 else 0) for n in range(200)]
    record = plain.Record(leads_of([wave]), areas=[(36, 52)], zones=[(1, 0, 43, 0)], beats=[[0]], factor=4)
    document, _ = parsed(record)
    found = document.rhythm.waves[0].samples.tolist()
    assert found[35:52] == wave[35:52]
    slope = 900 / 25  # the steepest, per sample; a zone's ends are held for one and a half samples
    assert max(abs(a - b) for a, b in zip(found, wave, strict=True)) <= 1.5 * slope + 1


def test_the_counts_of_the_worked_bimodal_example() -> None:
    parts = stretches(1, 24, [(9, 16)])
    assert [(part.samples, part.protected) for part in parts] == [(8, False), (8, True), (8, False)]
    assert stored_count(parts, Scheme(4)) == 12


def test_rests_of_zones_without_a_value_are_recognised_by_the_number_of_values() -> None:
    wave = list(range(0, 230, 10))
    record = plain.Record(
        leads_of([wave]), areas=[(8, 12)], zones=[(1, 0, 10, 0)], beats=[[0]], factor=4, rounds_up=False
    )
    document, log = parsed(record)
    assert {f.rule for f in log.findings} == {"scp.bimodal", "scp.bimodal-counts"}
    assert len(document.rhythm.waves[0].samples) == len(wave)
    assert document.rhythm.waves[0].samples.tolist()[7:12] == wave[7:12]


def test_the_factor_follows_from_the_values_where_both_intervals_are_the_same() -> None:
    wave = list(range(0, 240, 10))
    data = bytearray(
        plain.encode(plain.Record(leads_of([wave]), areas=[(9, 16)], zones=[(1, 0, 10, 0)], beats=[[0]], factor=4))
    )
    place = data.index(bytes.fromhex("E803401F0001"))  # step 1000, interval 8000, no differences, bimodal
    data[place + 2 : place + 4] = (2000).to_bytes(2, "little")
    log = Log()
    document = parse_document(bytes(data), log)
    assert {"scp.bimodal-factor", "scp.bimodal"} <= {f.rule for f in log.findings}
    assert document.rhythm.interval == 2000
    assert document.rhythm.waves[0].samples.tolist()[8:16] == wave[8:16]


@BUDGET
@given(st.lists(st.tuples(st.integers(1, 50), st.integers(1, 30)), min_size=1, max_size=4))
def test_leads_with_numbers_of_their_own(spans: list[tuple[int, int]]) -> None:
    leads = [(code, first, list(range(size))) for code, (first, size) in zip(CODES, spans, strict=False)]
    document, log = parsed(plain.Record(leads, order=1, tables=[plain.DEFAULT_CODES]))
    assert [(lead.first, lead.samples) for lead in document.leads.leads] == spans
    assert [wave.samples.tolist() for wave in document.rhythm.waves] == [row for _, _, row in leads]
    assert log.findings == ()
