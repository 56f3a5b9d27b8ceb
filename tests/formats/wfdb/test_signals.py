"""Signal files against what the header states: lengths, checksums, prologs, frames, skew."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import wfdb

from interchange.errors import SourceError
from interchange.model import Unread
from tests.formats.wfdb.plain import checksum, on_disk, pack, read, rules, simple

ROWS = [[1, 2, 3, 4, 5], [-10, 0, 10, 20, 30]]


def test_a_plain_record() -> None:
    header, data = simple(ROWS)
    recording = read(header, dat=data)
    tracing = recording.tracings[0]
    assert tracing.samples.tolist() == ROWS
    assert tracing.samples.dtype == np.int16
    assert not tracing.samples.flags.writeable
    assert tracing.missing is None
    assert (tracing.rate, tracing.start, tracing.kind) == (500, 0, "rhythm")
    assert [(c.name, c.unit, c.step, c.offset) for c in tracing.channels] == [("I", "uV", 1, 0), ("II", "uV", 1, 0)]
    assert recording.findings == ()
    assert recording.unread == ()


@pytest.mark.parametrize("stated", [-1, 0, 1])
def test_the_checksum_is_compared_modulo_65536(stated: int) -> None:
    rows = [[30000, 30000, 5]]
    header, data = simple(rows, names=("II",))
    total = 60005
    assert checksum(rows[0]) == total - 65536
    written = header.replace(str(total - 65536), str(total - 65536 + stated * 65536))
    broken = [rule for rule in rules(read(written, dat=data)) if rule == "wfdb.checksum"]
    assert broken == []
    wrong = read(header.replace(str(total - 65536), "17"), dat=data)
    assert rules(wrong) == ["wfdb.checksum"]
    assert wrong.findings[0].severity == "error"
    assert wrong.tracings[0].samples.tolist() == rows


def test_missing_samples_count_in_the_checksum_as_they_are_stored() -> None:
    header, data = simple([[1, -32768, 3]], names=("II",))
    assert rules(read(header, dat=data)) == []


def test_the_checksum_of_a_cut_file_is_not_judged() -> None:
    header, data = simple(ROWS)
    recording = read(header, dat=data[:-4])
    assert rules(recording) == ["wfdb.file-short"]
    assert recording.tracings[0].samples.tolist() == [row[:4] for row in ROWS]
    assert "4 of 5" in recording.findings[0].reason


def test_a_file_longer_than_stated() -> None:
    header, data = simple(ROWS)
    recording = read(header, dat=data + b"\1\2\3\4\5\6\7\x08")
    assert rules(recording) == ["wfdb.file-long"]
    assert [(left.place, left.size) for left in recording.unread] == [("line 2", 8)]


def test_a_file_that_ends_within_a_frame() -> None:
    header, data = simple(ROWS)
    assert rules(read(header, dat=data + b"\1\2")) == ["wfdb.file-odd"]


def test_the_length_follows_from_the_file_where_it_is_not_stated() -> None:
    header, data = simple(ROWS, length=0)
    recording = read(header, dat=data)
    assert recording.tracings[0].samples.tolist() == ROWS
    assert rules(recording) == ["wfdb.samples-missing"]


def test_a_claim_of_length_takes_no_memory() -> None:
    header, data = simple(ROWS, length=10**15)
    recording = read(header, dat=data)
    assert recording.tracings[0].length == 5
    assert rules(recording) == ["wfdb.file-short"]


def test_huge_frames_and_offsets_take_no_memory() -> None:
    recording = read("rec 1 500 4\nrec.dat 16x999999999 200/mV 12 0 0 0 0 II\n", dat=bytes(8))
    assert recording.tracings[0].length == 0
    recording = read("rec 1 500 4\nrec.dat 16+999999999999 200/mV 12 0 0 0 0 II\n", dat=bytes(8))
    assert recording.tracings[0].length == 0
    assert rules(recording) == ["wfdb.file-short"]


def test_signals_in_several_files_of_several_formats() -> None:
    one, two, three = [1, 2, 3], [-5, -6, -7], [100, 200, 300]
    header = (
        "rec 3 250 3\nrec.d0 16 200/mV 12 0 1 6 0 I\nrec.d1 80 200/mV 12 0 -5 -18 0 II\n"
        "rec.d2 212 200/mV 12 0 100 600 0 III\n"
    )
    recording = read(header, d0=pack(16, one), d1=pack(80, two), d2=pack(212, three))
    assert len(recording.tracings) == 1
    assert recording.tracings[0].samples.tolist() == [one, two, three]
    assert recording.findings == ()


def test_the_shorter_of_two_files_is_missing_at_its_end() -> None:
    header = "rec 2 250 4\nrec.d0 16 200/mV 12 0 1 10 0 I\nrec.d1 16 200/mV 12 0 5 11 0 II\n"
    recording = read(header, d0=pack(16, [1, 2, 3, 4]), d1=pack(16, [5, 6]))
    tracing = recording.tracings[0]
    assert tracing.samples.tolist() == [[1, 2, 3, 4], [5, 6, 0, 0]]
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [[False] * 4, [False, False, True, True]]
    assert rules(recording) == ["wfdb.file-short"]


def test_one_file_of_several_missing_leaves_its_signals_missing() -> None:
    header = "rec 2 250 2\nrec.d0 16 200/mV 12 0 1 3 0 I\nrec.d1 16 200/mV 12 0 5 11 0 II\n"
    recording = read(header, d0=pack(16, [1, 2]))
    assert recording.tracings[0].missing is not None
    assert recording.tracings[0].missing.tolist() == [[False, False], [True, True]]
    assert [(f.rule, f.place) for f in recording.findings] == [("wfdb.file-missing", "line 3")]


def test_no_signal_file_at_all_is_an_error() -> None:
    with pytest.raises(SourceError, match="not there") as caught:
        read(simple(ROWS)[0])
    assert caught.value.place == "line 2"


def test_a_null_signal_is_missing_throughout() -> None:
    header = "rec 2 250 2\nrec.dat 16 200/mV 12 0 1 3 0 I\n~ 0 200/mV 12 0 0 0 0 II\n"
    recording = read(header, dat=pack(16, [1, 2]))
    assert recording.tracings[0].missing is not None
    assert recording.tracings[0].missing.tolist() == [[False, False], [True, True]]
    assert rules(recording) == ["wfdb.null-signal"]


@pytest.mark.parametrize(
    ("header", "reason"),
    [
        ("rec 2 1 1\nrec.dat 16\nrec.dat 80\n", "different formats"),
        ("rec 3 1 1\nrec.dat 16\nrec.d1 16\nrec.dat 16\n", "consecutive"),
        ("rec 1 1 1\nrec.dat 17\n", "there is not"),
        ("rec 1 1 1\n../rec.dat 16\n", "plain name"),
        ("rec 1 1 1\n/etc/hostname 16\n", "plain name"),
        ("rec 1 1 1\nC:\\rec.dat 16\n", "plain name"),
    ],
)
def test_contradictions_and_paths_are_errors_with_their_line(header: str, reason: str) -> None:
    with pytest.raises(SourceError, match=reason) as caught:
        read(header, dat=bytes(20), d1=bytes(20))
    assert caught.value.place.startswith("line ")
    assert "etc" not in str(caught.value)


def test_offsets_that_differ_within_a_file() -> None:
    header = "rec 2 1 1\nrec.dat 16+2 200/mV 12 0 5 5 0 I\nrec.dat 16 200/mV 12 0 6 6 0 II\n"
    recording = read(header, dat=b"\0\0" + pack(16, [5, 6]))
    assert recording.tracings[0].samples.tolist() == [[5], [6]]
    assert rules(recording) == ["wfdb.offset-differs"]


# Prologs, frames, skew -------------------------------------------------------------------------------------------


def test_a_matrix_file_with_its_prolog() -> None:
    """A level 4 matrix of 16-bit integers, columns one after the other, is format 16 behind 24 bytes."""
    prolog = struct.pack("<5i", 30, 2, 5, 0, 4) + b"val\0"
    header, data = simple(ROWS)
    recording = read(header.replace("rec.dat 16", "rec.mat 16+24"), mat=prolog + data)
    assert recording.tracings[0].samples.tolist() == ROWS
    assert recording.findings == ()


def test_several_samples_per_frame_are_tracings_of_their_own_rates(tmp_path: Path) -> None:
    fast, slow, other = [1, 2, 3, 4, 5, 6, 7, 8], [100, 200], [11, 12, 13, 14, 15, 16, 17, 18]
    frames = [fast[0:4] + slow[0:1] + other[0:4], fast[4:8] + slow[1:2] + other[4:8]]
    data = pack(16, [v for frame in frames for v in frame])
    header = (
        f"rec 3 125 2\nrec.dat 16x4 200/mV 12 0 1 {sum(fast)} 0 II\nrec.dat 16 10/mmHg 12 0 100 300 0 ABP\n"
        f"rec.dat 16x4 200/mV 12 0 11 {sum(other)} 0 V5\n"
    )
    recording = read(header, dat=data)
    assert [t.rate for t in recording.tracings] == [500, 125]
    assert [t.names for t in recording.tracings] == [("II", "V5"), ("ABP",)]
    assert recording.tracings[0].samples.tolist() == [fast, other]
    assert recording.tracings[1].samples.tolist() == [slow]
    assert recording.tracings[1].channels[0].unit == "mm[Hg]"
    assert recording.findings == ()
    on_disk(tmp_path, {"rec.hea": header.encode(), "rec.dat": data})
    theirs = wfdb.rdrecord(str(tmp_path / "rec"), physical=False, smooth_frames=False).e_d_signal
    assert [signal.tolist() for signal in theirs] == [fast, slow, other]


def tuple_of(left: Unread) -> tuple[str, int, str]:
    return left.place, left.size, left.what


def test_skew_moves_a_signal_to_its_place(tmp_path: Path) -> None:
    rows = [[1, 2, 3, 4, 5], [10, 20, 30, 40, 50]]
    header, data = simple(rows)
    header = header.replace("rec.dat 16 1000(0)/mV 12 0 10", "rec.dat 16:2 1000(0)/mV 12 0 10")
    recording = read(header, dat=data)
    tracing = recording.tracings[0]
    assert tracing.samples.tolist() == [[1, 2, 3, 4, 5], [30, 40, 50, 0, 0]]
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [[False] * 5, [False, False, False, True, True]]
    assert rules(recording) == ["wfdb.skew"]
    assert [tuple_of(left) for left in recording.unread] == [("line 3", 4, "samples that come before sample 0")]
    on_disk(tmp_path, {"rec.hea": header.encode(), "rec.dat": data})
    theirs = wfdb.rdrecord(str(tmp_path / "rec")).p_signal.T * 1000
    assert np.array_equal(tracing.microvolts(), theirs, equal_nan=True)


@pytest.mark.parametrize("skew", [5, 6, 999999999])
def test_a_skew_beyond_the_record_leaves_nothing(skew: int) -> None:
    header, data = simple([[1, 2, 3, 4, 5]], names=("II",))
    tracing = read(header.replace("rec.dat 16 ", f"rec.dat 16:{skew} "), dat=data).tracings[0]
    assert tracing.missing is not None
    assert tracing.missing.all()


# Units and scales ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("field", "unit", "step", "offset", "rule"),
    [
        ("1000/mV", "uV", 1, 0, None),
        ("200(1024)/mV", "uV", 5, -5120, None),
        ("1000/mv", "uV", 1, 0, "wfdb.units-spelling"),
        ("1/uV", "uV", 1, 0, None),
        ("1/µV", "uV", 1, 0, "wfdb.units-spelling"),
        ("1/μV", "uV", 1, 0, "wfdb.units-spelling"),
        ("1000000/V", "uV", 1, 0, None),
        ("0.001/nV", "uV", 1, 0, None),
        ("10/mmHg", "mm[Hg]", "1/10", 0, None),
        ("4096(0)/NU", "{NU}", "1/4096", 0, None),
        ("5/furlong", "furlong", "1/5", 0, None),
        ("2000", "uV", "1/2", 0, None),
        ("0(3)/mV", None, 1, -3, "wfdb.gain-missing"),
        ("-500/mV", "uV", -2, 0, "wfdb.gain-negative"),
    ],
)
def test_units_and_steps(field: str, unit: str | None, step: object, offset: int, rule: str | None) -> None:
    from fractions import Fraction

    header, data = simple([[1, 2]], gain=field, names=("x",))
    recording = read(header, dat=data)
    channel = recording.tracings[0].channels[0]
    assert (channel.unit, channel.step, channel.offset) == (unit, Fraction(str(step)), offset)
    assert rules(recording) == ([rule] if rule else [])


@pytest.mark.parametrize(
    ("text", "name", "label"),
    [
        ("V5", "V5", None),
        ("AVR", "aVR", "AVR"),
        ("vx", "X", "vx"),
        ("ECG lead II", "II", "ECG lead II"),
        ("ECG V1", "V1", "ECG V1"),
        ("MLII", "MLII", None),
        ("ECG_1", "ECG_1", None),
        ("PLETH", "PLETH", None),
        ("V", "V", None),
    ],
)
def test_descriptions_become_names_of_leads(text: str, name: str, label: str | None) -> None:
    header, data = simple([[1, 2]], names=(text,))
    channel = read(header, dat=data).tracings[0].channels[0]
    assert (channel.name, channel.label) == (name, label)


def test_a_pressure_is_no_lead_whatever_its_description() -> None:
    header, data = simple([[1, 2]], gain="10/mmHg", names=("avr",))
    assert read(header, dat=data).tracings[0].channels[0].name == "avr"


def test_resolution_and_adc_zero_are_kept() -> None:
    recording = read("rec 1 360 2\nrec.dat 16 200 11 1024 5 11 0 MLII\n", dat=pack(16, [5, 6]))
    channel = recording.tracings[0].channels[0]
    assert channel.bits == 11
    assert channel.extras == (("wfdb.adc-zero", "1024"),)


def test_counter_and_base_value_are_kept() -> None:
    recording = read("rec 1 62.5/999.56(-12) 2\nrec.dat 16 200/mV 12 0 5 11 0 II\n", dat=pack(16, [5, 6]))
    assert recording.extras == (("wfdb.counter-frequency", "999.56"), ("wfdb.counter-base", "-12"))
