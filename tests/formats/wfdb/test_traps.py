"""Where the wfdb package (4.x) errs or keeps silent: what it does, what the bytes say, and that we read the bytes.

Each test shows both.  If one of them fails on the library's side, the library has changed: look, then drop the test.
"""

from __future__ import annotations

from datetime import time
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import wfdb

from interchange.formats.wfdb.annotations import Annotation, encode_annotations
from interchange.model import Channel, Mark, Moment, Recording, Tracing
from tests.formats.wfdb.plain import again, encoded, on_disk, pack, read, rules, simple

ROWS = [[1, 2, 3, 4]]


def both(folder: Path, header: str | bytes, data: bytes) -> tuple[Recording, str]:
    """Our recording, and the path at which the library finds the same record."""
    text = header.encode() if isinstance(header, str) else header
    on_disk(folder, {"rec.hea": text, "rec.dat": data})
    return read(text, dat=data), str(folder / "rec")


@pytest.mark.parametrize(("micro", "coding"), [("µ", "utf-8"), ("μ", "utf-8"), ("µ", "latin-1")])
def test_trap_1_microvolts_become_volts(micro: str, coding: str, tmp_path: Path) -> None:
    header, data = simple(ROWS, gain=f"1/{micro}V", names=("II",))
    ours, path = both(tmp_path, header.encode(coding), data)
    assert wfdb.rdrecord(path).units == ["V"]
    assert ours.tracings[0].microvolts().tolist() == [[1.0, 2.0, 3.0, 4.0]]


@pytest.mark.parametrize(("rate", "theirs", "ours"), [("3.6e2", 3.6, 360), ("1.0e2", 1.0, 100)])
def test_trap_2_exponents_of_the_frequency_are_dropped(rate: str, theirs: float, ours: int, tmp_path: Path) -> None:
    header, data = simple(ROWS, rate=rate, names=("II",))
    recording, path = both(tmp_path, header, data)
    assert wfdb.rdrecord(path).fs == theirs
    assert recording.tracings[0].rate == ours


def test_trap_2_a_capital_exponent_of_the_gain_becomes_a_unit(tmp_path: Path) -> None:
    header, data = simple(ROWS, gain="1.5E3/mV", names=("II",))
    recording, path = both(tmp_path, header, data)
    theirs = wfdb.rdrecord(path)
    assert (theirs.adc_gain, theirs.units) == ([1.5], ["E3/mV"])
    assert recording.tracings[0].channels[0].step == Fraction(1000, 1500)


def test_trap_3_a_stamp_of_file_making_becomes_a_start_time(tmp_path: Path) -> None:
    header, data = simple(ROWS, names=("II",), time=" 12-May-2020 12:33:59")
    recording, path = both(tmp_path, header, data)
    assert wfdb.rdheader(path).base_time == time(0, 0, 12)
    assert recording.acquisition.time is None


def test_trap_4_a_record_name_with_a_suffix_cannot_be_read(tmp_path: Path) -> None:
    header, data = simple(ROWS, names=("II",))
    recording, path = both(tmp_path, header.replace("rec 1", "rec.mat 1", 1), data)
    with pytest.raises(wfdb.io.header.HeaderSyntaxError):
        wfdb.rdheader(path)
    assert recording.tracings[0].samples.tolist() == ROWS


@pytest.mark.parametrize(
    ("stamp", "ours"),
    [
        (" 0:0:0 0/0/0", None),
        (" 12:33:59 2014-05-08", Moment(2014, 5, 8, 12, 33, Fraction(59))),
    ],
)
def test_trap_5_dates_of_other_forms(stamp: str, ours: Moment | None, tmp_path: Path) -> None:
    header, data = simple(ROWS, names=("II",), time=stamp)
    recording, path = both(tmp_path, header, data)
    try:
        theirs = wfdb.rdheader(path).base_date
    except (ValueError, wfdb.io.header.HeaderSyntaxError):
        theirs = None
    assert theirs is None
    assert recording.acquisition.time == ours


def test_trap_7_damage_is_not_noticed(tmp_path: Path) -> None:
    header, data = simple(ROWS, names=("II",))
    recording, path = both(tmp_path, header, b"\x09" + data[1:])
    assert wfdb.rdrecord(path, physical=False).d_signal[0, 0] == 9
    assert rules(recording) == ["wfdb.checksum", "wfdb.initial-value"]


def test_trap_8_frames_are_averaged_with_their_missing_samples(tmp_path: Path) -> None:
    values = [100, 100, 100, -32768]
    header = f"rec 1 125 1\nrec.dat 16x4 200/mV 12 0 100 {sum(values) + 65536} 0 II\n"
    recording, path = both(tmp_path, header, pack(16, values))
    assert wfdb.rdrecord(path).p_signal[0, 0] < -40
    tracing = recording.tracings[0]
    assert tracing.samples.tolist() == [[100, 100, 100, 0]]
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [[False, False, False, True]]


def test_trap_21_checksums_are_written_unsigned_and_ours_signed(tmp_path: Path) -> None:
    signal = np.array([[-5], [-6]])
    wfdb.wrsamp("lib", 500, ["mV"], ["II"], d_signal=signal, fmt=["16"], adc_gain=[200], baseline=[0],
                write_dir=str(tmp_path))  # fmt: skip
    theirs = (tmp_path / "lib.hea").read_text()
    assert " 65525 0 II" in theirs
    tracing = Tracing((Channel("II", step=Fraction(5)),), signal.T.astype(np.int16), Fraction(500))
    assert b" -11 0 II\n" in encoded(Recording(tracings=(tracing,)))["rec.hea"]
    found = read(theirs, name="lib", dat=(tmp_path / "lib.dat").read_bytes())
    assert rules(found) == ["wfdb.checksum-form"]
    assert found.findings[0].severity == "note"


def test_trap_22_comments_at_sample_0_are_dropped(tmp_path: Path) -> None:
    header, data = simple(ROWS, names=("II",))
    note = encode_annotations([Annotation(0, 22, aux=b"at the start"), Annotation(2, 1)], None)
    on_disk(tmp_path, {"rec.atr": note})
    assert wfdb.rdann(str(tmp_path / "rec"), "atr").sample.tolist() == [2]
    assert [m.text for m in read(header, dat=data, atr=note).marks] == ["at the start", None]


def test_trap_22_notes_that_make_the_library_hang_are_read_and_never_written() -> None:
    """The library does not return from a comment at sample 0 that begins with ``## `` and is none it knows."""
    header, data = simple(ROWS, names=("II",))
    note = encode_annotations([Annotation(0, 22, aux=b"## unknown note"), Annotation(2, 1)], None)
    recording = read(header, dat=data, atr=note)
    assert [m.text for m in recording.marks] == ["## unknown note", None]
    assert rules(recording) == ["wfdb.annotation-note"]
    for name, written in encoded(recording).items():
        assert name.endswith(".hea") or b"## " not in written


def test_trap_23_long_texts_break_the_file_of_the_library(tmp_path: Path) -> None:
    wfdb.wrann("rec", "x", np.array([10]), ['"'], aux_note=["x" * 300], write_dir=str(tmp_path))
    assert len(wfdb.rdann(str(tmp_path / "rec"), "x").sample) > 1
    header, data = simple([[1] * 20], names=("II",))
    mark = Mark("note", 0, Fraction(10, 500), text="x" * 300)
    files = encoded(read(header, dat=data).with_(marks=(mark,)))
    assert again(files).marks == (mark,)
    on_disk(tmp_path, files)
    annotator = next(name for name in files if ".marks_" in name).partition(".")[2]
    assert len(wfdb.rdann(str(tmp_path / "rec"), annotator).sample) == 1


def test_trap_25_format_61_as_integers_fails(tmp_path: Path) -> None:
    header, data = simple(ROWS, 61, names=("II",))
    recording, path = both(tmp_path, header, data)
    with pytest.raises((TypeError, ValueError, KeyError, AttributeError)):
        wfdb.rdrecord(path, physical=False, smooth_frames=False)
    assert recording.tracings[0].samples.tolist() == ROWS


def test_trap_26_a_variable_layout_whose_gain_changes_cannot_be_had_as_integers(tmp_path: Path) -> None:
    files = {
        "rec.hea": b"rec/3 1 500 8\nrec_layout 0\nrec1 4\nrec2 4\n",
        "rec_layout.hea": b"rec_layout 1 500 0\n~ 0 1000/mV 12 0 0 0 0 II\n",
        "rec1.hea": b"rec1 1 500 4\nrec1.dat 16 1000/mV 12 0 1 10 0 II\n",
        "rec2.hea": b"rec2 1 500 4\nrec1.dat 16 500/mV 12 0 1 10 0 II\n",
        "rec1.dat": pack(16, ROWS[0]),
    }
    on_disk(tmp_path, files)
    with pytest.raises(Exception, match="digital format"):
        wfdb.rdrecord(str(tmp_path / "rec"), physical=False)
    assert again(files).tracings[0].samples.tolist() == [[1, 2, 3, 4, 2, 4, 6, 8]]


def test_trap_27_a_gain_of_zero_passes_for_a_calibration(tmp_path: Path) -> None:
    header, data = simple(ROWS, gain="0/mV", names=("II",))
    recording, path = both(tmp_path, header, data)
    assert wfdb.rdrecord(path).p_signal[0, 0] == 1 / 200
    assert recording.tracings[0].channels[0].unit is None
    assert rules(recording) == ["wfdb.gain-missing"]
    assert np.isnan(recording.tracings[0].microvolts()).all()
