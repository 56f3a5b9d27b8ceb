"""Signal formats against a plain decoder, and against the wfdb package where it can read them."""

from __future__ import annotations

import builtins
import random
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import wfdb
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.errors import InterchangeError, SourceError
from interchange.formats.wfdb.codecs import CODECS
from interchange.formats.wfdb.flac import decode_flac, encode_flac
from tests.formats.wfdb.plain import BITS, FORMATS, LOWEST, on_disk, pack, read, rules, simple, unpack


def values_of(form: int, count: int, seed: int) -> list[int]:
    """Random true samples with both ends of the range among them."""
    random_ = random.Random(seed)
    top = (1 << BITS[form] - 1) - 1
    low = -top if form in LOWEST else -top - 1
    ends = [low, top, 0, -1, 1]
    return (ends + [random_.randint(low, top) for _ in range(count)])[:count]


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 5, 6, 7, 499])
def test_decoding_equals_the_plain_decoder(form: int, count: int) -> None:
    values = values_of(form, count, count)
    data = pack(form, values)
    codec = CODECS[form]
    assert codec.count(len(data)) >= count
    assert codec.decode(memoryview(data), count).tolist() == unpack(form, data, count) == values


@pytest.mark.parametrize("form", FORMATS)
@pytest.mark.parametrize("count", [0, 1, 2, 3, 4, 5, 6, 7, 499])
def test_encoding_equals_the_plain_packer(form: int, count: int) -> None:
    values = values_of(form, count, count + 1)
    assert CODECS[form].encode(np.array(values, dtype=np.int64)) == pack(form, values)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(FORMATS), st.binary(max_size=60))
def test_any_bytes_decode_as_the_plain_decoder_does(form: int, data: bytes) -> None:
    count = CODECS[form].count(len(data))
    assert CODECS[form].decode(memoryview(data), count).tolist() == unpack(form, data, count)


@pytest.mark.parametrize("form", FORMATS)
def test_the_range_of_true_samples_leaves_the_sentinel_out(form: int) -> None:
    codec = CODECS[form]
    assert codec.sentinel == LOWEST.get(form)
    assert codec.highest == (1 << BITS[form] - 1) - 1
    assert codec.lowest == -codec.highest - (form == 8)


@pytest.mark.parametrize("form", [f for f in FORMATS if f != 8])
def test_the_library_reads_the_same_samples(form: int, tmp_path: Path) -> None:
    rows = [values_of(form, 50, 3), values_of(form, 50, 4), values_of(form, 50, 5)]
    header, data = simple(rows, form)
    on_disk(tmp_path, {"rec.hea": header.encode(), "rec.dat": data})
    theirs = wfdb.rdrecord(str(tmp_path / "rec"), physical=False).d_signal.T.tolist()
    recording = read(header, dat=data)
    assert recording.tracings[0].samples.tolist() == theirs == rows
    assert rules(recording) == []


def test_format_8_sums_differences_from_the_initial_value() -> None:
    header = "rec 2 100 4\nrec.dat 8 200/mV 12 0 10 64 0 I\nrec.dat 8 200/mV 12 0 -5 -26 0 II\n"
    data = pack(8, [1, 0, 2, -1, 3, -2, 4, 5])
    recording = read(header, dat=data)
    assert recording.tracings[0].samples.tolist() == [[11, 13, 16, 20], [-5, -6, -8, -3]]
    assert "wfdb.checksum" in rules(recording)  # 60 and -22, not what the header states


def test_format_8_begins_at_the_adc_zero_when_no_initial_value_is_stated() -> None:
    recording = read("rec 1 100 2\nrec.dat 8 200/mV 12 7\n", dat=pack(8, [1, 1]))
    assert recording.tracings[0].samples.tolist() == [[8, 9]]


def test_format_8_beyond_32_bits_is_refused() -> None:
    with pytest.raises(SourceError, match="32 bits") as caught:
        read(f"rec 1 100 2\nrec.dat 8 200/mV 12 0 {2**31 - 1} 0 0 I\n", dat=pack(8, [1, 1]))
    assert caught.value.place == "line 2"


@pytest.mark.parametrize("form", sorted(LOWEST))
def test_the_lowest_value_is_a_missing_sample(form: int) -> None:
    header, data = simple([[5, LOWEST[form], 7]], form, names=("II",))
    tracing = read(header, dat=data).tracings[0]
    assert tracing.samples.tolist() == [[5, 0, 7]]
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [[False, True, False]]


@pytest.mark.parametrize(("form", "data"), [(310, b"\x01\x00\x00\x00"), (311, b"\x00\x00\x00\xc0")])
def test_bits_that_should_be_zero_are_reported(form: int, data: bytes) -> None:
    recording = read(f"rec 1 250 3\nrec.dat {form} 200 10 0 0 0 0 II\n", dat=data)
    assert rules(recording) == ["wfdb.packing-bits"]


# FLAC ------------------------------------------------------------------------------------------------------------


def flac_record(form: int, rows: list[list[int]], **fields: Any) -> tuple[str, bytes]:
    bits = {508: 8, 516: 16, 524: 24}[form]
    header, _ = simple(rows, form, **fields)
    return header, encode_flac(np.array(rows).T, bits)


@pytest.mark.parametrize(("form", "bits"), [(508, 8), (516, 16), (524, 24)])
def test_flac_signals_are_read_as_the_library_reads_them(form: int, bits: int, tmp_path: Path) -> None:
    top = (1 << bits - 1) - 1
    rows = [[0, top, -top, 1] * 30, [5, -5, 6, -6] * 30]
    header, data = flac_record(form, rows)
    on_disk(tmp_path, {"rec.hea": header.encode(), "rec.dat": data})
    theirs = wfdb.rdrecord(str(tmp_path / "rec"), physical=False).d_signal.T.tolist()
    recording = read(header, dat=data)
    assert recording.tracings[0].samples.tolist() == theirs == rows
    assert rules(recording) == []


def test_a_flac_file_that_the_library_wrote(tmp_path: Path) -> None:
    signal = np.array([[-100, 5], [0, 6], [32767, -32768]], dtype=np.int64)
    wfdb.wrsamp(
        "rec", 500, ["mV", "mV"], ["I", "II"], d_signal=signal, fmt=["516", "516"], adc_gain=[200, 200],
        baseline=[0, 0], write_dir=str(tmp_path),
    )  # fmt: skip
    recording = read((tmp_path / "rec.hea").read_bytes(), dat=(tmp_path / "rec.dat").read_bytes())
    assert recording.tracings[0].samples.tolist() == [[-100, 0, 32767], [5, 6, 0]]
    assert recording.tracings[0].missing is not None
    assert recording.tracings[0].missing.tolist() == [[False] * 3, [False, False, True]]


@pytest.mark.parametrize("cut", [0, 3, 10, 41, 50])
def test_a_damaged_flac_stream_is_an_error_with_its_line(cut: int) -> None:
    header, data = flac_record(516, [[1, 2, 3, 4] * 50])
    with pytest.raises(SourceError) as caught:
        read(header, dat=data[:cut])
    assert caught.value.place == "line 2"


def test_more_channels_than_the_header_states_is_an_error() -> None:
    header, _ = flac_record(516, [[1, 2]])
    with pytest.raises(SourceError, match="channels"):
        read(header, dat=encode_flac(np.zeros((2, 3), dtype=int), 16))


def test_a_stream_that_unfolds_to_far_too_much_is_stopped() -> None:
    bomb = encode_flac(np.zeros((2**24 + 2**20 * 8, 1), dtype=np.int16), 16)
    assert len(bomb) < 100_000
    with pytest.raises(SourceError, match="unfolds"):
        decode_flac(bomb, 1, None, "line 2")
    assert len(decode_flac(bomb, 1, 1000, "line 2").samples) == 1000


def test_without_the_decoder_the_error_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    header, data = flac_record(516, [[1, 2]])
    real = builtins.__import__

    def without(name: str, *args: Any, **kwargs: Any) -> Any:
        if name == "soundfile":
            raise ImportError
        return real(name, *args, **kwargs)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(InterchangeError, match=r"pip install .*\[flac\]"):
        read(header, dat=data)
