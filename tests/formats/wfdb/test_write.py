"""Records that we write, as the wfdb package and a plain eye see them."""

from __future__ import annotations

import re
from datetime import date, time
from fnmatch import fnmatchcase
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import wfdb

import interchange
from interchange.errors import RefusedError, TargetError
from interchange.formats import wfdb as ours
from interchange.formats.wfdb.fresh import fingerprint, leftovers_of
from interchange.model import Acquisition, Channel, Moment, Patient, PersonName, Quantity, Recording, Statement, Tracing
from tests.formats.wfdb.plain import BITS, LOWEST, again, by_library, checksum, encoded, unpack
from tests.walk import walk

TWELVE = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")


def tracing(samples: Any, names: tuple[str, ...] = (), rate: Any = 500, step: Any = 1, **fields: Any) -> Tracing:
    array = np.array(samples, dtype=np.int32)
    channels = tuple(Channel(name, step=Fraction(step)) for name in names or TWELVE[: len(array)])
    return Tracing(channels, array, Fraction(rate), **fields)


def recording(*tracings: Tracing, **fields: Any) -> Recording:
    return Recording(tracings=tracings, **fields)


def ramp(rows: int, length: int) -> np.ndarray:
    return (np.arange(rows * length) % 4001 - 2000).reshape(rows, length)


# Fields of the header --------------------------------------------------------------------------------------------


def test_fields_as_the_library_reads_them(tmp_path: Path) -> None:
    whole = recording(
        tracing(ramp(12, 100), rate=500, step=Fraction(5, 2)),
        acquisition=Acquisition(time=Moment(2031, 4, 5, 14, 3, Fraction(29, 4))),
        patient=Patient(age=Quantity(56, "a"), sex="female", height=Quantity(171, "cm"), weight=Quantity(68, "kg")),
    )
    theirs = by_library(tmp_path, encoded(whole), physical=False)
    assert (theirs.record_name, theirs.n_sig, theirs.fs, theirs.sig_len) == ("rec", 12, 500, 100)
    assert (theirs.base_date, theirs.base_time) == (date(2031, 4, 5), time(14, 3, 7, 250000))
    assert theirs.sig_name == list(TWELVE)
    assert theirs.units == ["mV"] * 12
    assert theirs.adc_gain == [400.0] * 12
    assert theirs.baseline == [0] * 12
    assert theirs.fmt == ["16"] * 12
    assert theirs.comments[:4] == ["Age: 56", "Sex: Female", "Height: 171", "Weight: 68"]
    assert np.array_equal(np.array(theirs.e_d_signal), ramp(12, 100))


@pytest.mark.parametrize("form", ["16", "24", "32", "212", "80"])
def test_samples_of_every_written_format(form: str, tmp_path: Path) -> None:
    number = int(form)
    top = (1 << BITS[number] - 1) - 1
    rows = [[top, -top, 0, 1, -1, top // 2, 7], [0, 1, 2, 3, 4, 5, 6]]
    gap = np.zeros((2, 7), dtype=bool)
    gap[1, 2:4] = True
    files = encoded(recording(tracing(rows, missing=gap)), sample_format=form)
    name, data = next((n, d) for n, d in files.items() if n.endswith(".dat"))
    stored = [rows[0], [0, 1, LOWEST[number], LOWEST[number], 4, 5, 6]]
    assert unpack(number, data, 14) == [row[n] for n in range(7) for row in stored]
    lines = files["rec.hea"].decode().splitlines()
    assert lines[1] == f"{name} {form} 1000(0)/mV 0 0 {top} {checksum(stored[0])} 0 I"
    assert lines[2] == f"{name} {form} 1000(0)/mV 0 0 0 {checksum(stored[1])} 0 II"
    theirs = by_library(tmp_path, files).e_p_signal
    expected = np.where(gap, np.nan, np.array(rows)) / 1000
    assert np.array_equal(np.array(theirs), expected, equal_nan=True)
    assert not walk(recording(tracing(rows, missing=gap)), again(files))


@pytest.mark.parametrize(
    ("value", "form"),
    [
        (32767, "16"),
        (-32767, "16"),
        (-32768, "24"),
        (32768, "24"),
        (2**23 - 1, "24"),
        (-(2**23) + 1, "24"),
        (-(2**23), "32"),
        (2**23, "32"),
        (2**31 - 1, "32"),
        (-(2**31) + 1, "32"),
    ],
)
def test_the_narrowest_format_that_holds_all_samples_beside_the_sentinel(value: int, form: str) -> None:
    files = encoded(recording(tracing([[0, value]])))
    assert files["rec.hea"].split(b"\n")[1].split()[1].decode() == form
    assert again(files).tracings[0].samples.tolist() == [[0, value]]


def test_the_least_32_bit_number_is_moved_clear_of_the_sentinel() -> None:
    whole = recording(tracing([[-(2**31), 5]]))
    found = again(encoded(whole)).tracings[0]
    assert found.missing is None
    assert found.microvolts().tolist() == whole.tracings[0].microvolts().tolist()
    with pytest.raises(RefusedError, match="sentinel"):
        encoded(recording(tracing([[-(2**31), 2**31 - 1]])))


@pytest.mark.parametrize(("form", "value"), [("80", 128), ("212", -2048), ("16", 32768), ("24", 2**23)])
def test_samples_that_do_not_fit_the_chosen_format_are_refused(form: str, value: int) -> None:
    with pytest.raises(RefusedError, match=f"format {form}") as caught:
        encoded(recording(tracing([[value]])), sample_format=form)
    assert caught.value.place == "tracings[0].samples"


@pytest.mark.parametrize(
    ("step", "gain"),
    [
        (1, "1000"),
        (5, "200"),
        (Fraction(5, 2), "400"),
        (Fraction(122, 100), "819.67213114754098"),
        (3, "333.33333333333333"),
        (Fraction(305175781, 10**8), None),
        (Fraction(1, 7), "7000"),
        (Fraction(10**9, 7), None),
    ],
)
def test_every_step_is_exact(step: Any, gain: str | None) -> None:
    whole = recording(tracing([[1, 2]], step=step))
    files = encoded(whole)
    if gain is not None:
        assert files["rec.hea"].split(b"\n")[1].split()[2].decode() == f"{gain}(0)/mV"
    assert again(files).tracings[0].channels[0].step == step


@pytest.mark.parametrize("offset", [0, 5, -5120, Fraction(5, 2), Fraction(1, 3), 10**12, Fraction(1, 10**9)])
def test_every_offset_is_exact(offset: Any, tmp_path: Path) -> None:
    base = tracing([[1, 2, 30000]], step=5)
    channel = Channel("I", step=Fraction(5), offset=Fraction(offset))
    whole = recording(Tracing((channel,), base.samples, base.rate))
    files = encoded(whole)
    found = again(files).tracings[0]
    values = [found.channels[0].offset + found.channels[0].step * n for n in found.samples[0].tolist()]
    assert values == [offset + 5 * n for n in (1, 2, 30000)]
    assert np.allclose(by_library(tmp_path, files).e_p_signal[0] * 1000, [float(v) for v in values], atol=2.5)


def test_a_negative_step_is_turned_round(tmp_path: Path) -> None:
    whole = recording(tracing([[1, -2, 3]], step=-5))
    files = encoded(whole)
    assert np.allclose(by_library(tmp_path, files).e_p_signal[0] * 1000, [-5, 10, -15])
    assert again(files).tracings[0].microvolts().tolist() == [[-5.0, 10.0, -15.0]]
    notes = ours.encode(whole, "rec", {}).notes
    assert [(n.kind, n.path) for n in notes] == [("changed", "tracings[0].channels[0].step")]


@pytest.mark.parametrize(
    ("rate", "text"),
    [
        (500, "500"),
        (Fraction(1000, 3), "333.33333333333333"),
        (Fraction(24989, 400), "62.4725"),
        (Fraction(1, 2), "0.5"),
    ],
)
def test_every_rate_is_exact(rate: Any, text: str) -> None:
    files = encoded(recording(tracing([[1, 2]], rate=rate)))
    assert files["rec.hea"].split(b"\n")[0].decode() == f"rec 1 {text} 2"
    assert again(files).tracings[0].rate == Fraction(rate)


@pytest.mark.parametrize(
    ("unit", "field"),
    [
        ("uV", "1000(0)/mV"),
        ("mm[Hg]", "1(0)/mmHg"),
        ("{NU}", "1(0)/NU"),
        ("/min", "1(0)/bpm"),
        ("Cel", "1(0)/degC"),
        ("m/s", "1(0)/m/s"),
        ("my unit", "1(0)/other"),
        ("µm", "1(0)/other"),
        (None, "0(0)"),
    ],
)
def test_units(unit: str | None, field: str) -> None:
    whole = recording(Tracing((Channel("x", unit),), np.array([[1, 2]], dtype=np.int16), Fraction(100)))
    files = encoded(whole)
    assert files["rec.hea"].split(b"\n")[1].split()[2].decode() == field
    assert again(files).tracings[0].channels == whole.tracings[0].channels


# Time ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("moment", "fields"),
    [
        (Moment(2031, 4, 5, 14, 3, Fraction(7)), " 14:03:07 05/04/2031"),
        (Moment(2031, 4, 5, 14, 3, Fraction(29, 4)), " 14:03:07.25 05/04/2031"),
        (Moment(2031, 4, 5, 14, 3, Fraction(7), zone=120), " 14:03:07 05/04/2031"),
        (Moment(hour=14, minute=3, second=Fraction(7)), " 14:03:07"),
        (Moment(2031, 4, 5), ""),
        (Moment(2031), ""),
        (Moment(2031, 4, 5, 14, 3), ""),
        (Moment(2031, 4, 5, 14, 3, Fraction(1, 3)), " 14:03:00.333333 05/04/2031"),
        (Moment(2031, 4, 5, 14, 3, Fraction("7.1234567")), " 14:03:07.123456 05/04/2031"),
        (Moment(2031, 4, 5, 23, 59, Fraction(60)), ""),
        (Moment(800, 4, 5, 23, 59, Fraction(5)), ""),
        (None, ""),
    ],
)
def test_times_of_every_kind(moment: Moment | None, fields: str) -> None:
    whole = recording(tracing([[1, 2]]), acquisition=Acquisition(time=moment))
    files = encoded(whole)
    assert files["rec.hea"].split(b"\n")[0].decode() == f"rec 1 500 2{fields}"
    assert again(files).acquisition.time == moment


def test_a_changed_base_time_counts_more_than_the_info_string() -> None:
    whole = recording(tracing([[1, 2]]), acquisition=Acquisition(time=Moment(2031, 4, 5, 14, 3, Fraction(7), zone=60)))
    files = encoded(whole)
    files["rec.hea"] = files["rec.hea"].replace(b"14:03:07 05/04/2031", b"14:03:08 05/04/2031")
    found = again(files)
    assert found.acquisition.time == Moment(2031, 4, 5, 14, 3, Fraction(8))
    assert [f.rule for f in found.findings] == ["wfdb.time-differs"]


# Several tracings ------------------------------------------------------------------------------------------------


def test_an_additional_strip_is_missing_outside_its_time(tmp_path: Path) -> None:
    first = tracing(ramp(12, 50))
    strip = tracing([[1, 2, 3], [4, 5, 6]], names=("II", "V5"), start=Fraction(60, 500))
    whole = recording(first, strip)
    files = encoded(whole)
    theirs = by_library(tmp_path, files)
    assert theirs.sig_len == 63
    assert theirs.sig_name == [*TWELVE, "II", "V5"]
    signals = [s * 1000 for s in theirs.e_p_signal]
    assert np.array_equal(np.array(signals[:12])[:, :50], ramp(12, 50))
    assert np.isnan(np.array(signals[:12])[:, 50:]).all()
    assert np.isnan(signals[12][:60]).all()
    assert signals[12][60:].tolist() == [1.0, 2.0, 3.0]
    assert b"# Tracing 2 of 2: signals 13 to 14, samples 60 to 62\n" in files["rec.hea"]
    assert not walk(whole, again(files))
    assert again(files).findings == ()


def test_rates_that_are_whole_multiples_share_a_record(tmp_path: Path) -> None:
    whole = recording(tracing(ramp(2, 50), rate=500), tracing([[7, 8, 9]], names=("V1",), rate=125))
    files = encoded(whole)
    theirs = by_library(tmp_path, files)
    assert (theirs.fs, theirs.samps_per_frame) == (125, [4, 4, 1])
    assert not walk(whole, again(files))


def test_rates_that_are_none_get_records_of_their_own(tmp_path: Path) -> None:
    whole = recording(tracing(ramp(2, 50), rate=500), tracing([[7, 8, 9]], names=("V1",), rate=300))
    files = encoded(whole)
    named = re.search(rb"# Tracing 2 of 2: record (\S+)\n", files["rec.hea"])
    assert named is not None
    other = named[1].decode()
    theirs = by_library(tmp_path, files, other)
    assert (theirs.fs, theirs.sig_name) == (300, ["V1"])
    assert (theirs.e_p_signal[0] * 1000).tolist() == [7.0, 8.0, 9.0]
    assert not walk(whole, again(files))


def test_a_start_between_samples_gets_a_record_of_its_own() -> None:
    whole = recording(tracing(ramp(2, 50)), tracing([[7, 8, 9]], names=("V1",), start=Fraction(1, 3)))
    files = encoded(whole)
    assert b"Tracing 2 of 2: record" in files["rec.hea"]
    assert not walk(whole, again(files))


def test_a_strip_of_much_later_does_not_blow_up_the_record() -> None:
    later = tracing([[7, 8, 9]], names=("V1",), start=Fraction(10**9))
    files = encoded(recording(tracing(ramp(12, 50)), later))
    assert sum(map(len, files.values())) < 10_000
    assert not walk(recording(tracing(ramp(12, 50)), later), again(files))


def test_a_representative_beat_is_a_record_of_its_own(tmp_path: Path) -> None:
    beat = tracing(ramp(3, 30), kind="representative beat", of=0, fiducial=Fraction(1, 50), beat=0)
    moment = Moment(2031, 4, 5, 14, 3, Fraction(7))
    whole = recording(tracing(ramp(12, 50)), beat, acquisition=Acquisition(time=moment))
    files = encoded(whole)
    named = re.search(rb"# Tracing 2 of 2: record (\S+)\n", files["rec.hea"])
    assert named is not None
    theirs = by_library(tmp_path, files, named[1].decode())
    assert theirs.base_time == time(14, 3, 7)
    assert np.array_equal(np.array(theirs.e_p_signal) * 1000, ramp(3, 30))
    assert not walk(whole, again(files))
    alone = again(files, named[1].decode())
    assert alone.tracings[0].kind == "representative beat"
    assert alone.tracings[0].fiducial == Fraction(1, 50)


def test_a_lost_further_record_leaves_the_others_right() -> None:
    beat = tracing(ramp(3, 30), kind="representative beat", of=0)
    strip = tracing([[1, 2]], names=("V1",), label="strip", start=Fraction(1))
    whole = recording(tracing(ramp(2, 50)), beat, strip)
    files = encoded(whole)
    gone = re.search(rb"record (\S+)\n", files["rec.hea"])
    assert gone is not None
    found = again({n: d for n, d in files.items() if n != f"{gone[1].decode()}.hea"})
    assert [t.label for t in found.tracings] == [None, "strip"]
    assert [f.rule for f in found.findings] == ["wfdb.further-record"]


def test_equal_tracings_get_files_of_different_names() -> None:
    whole = recording(tracing([[1, 2]], names=("I",)), tracing([[1, 2]], names=("V1",)))
    files = encoded(whole)
    assert len(files) == 3
    assert not walk(whole, again(files))


def test_a_tracing_without_samples() -> None:
    found = again(encoded(recording(tracing(np.zeros((3, 0)), names=TWELVE[:3]))))
    assert found.tracings[0].samples.shape == (3, 0)
    assert found.tracings[0].names == TWELVE[:3]


def test_a_tracing_without_channels_is_no_tracing_and_takes_nothing_along() -> None:
    empty = tracing(np.zeros((0, 5)))
    assert again(encoded(recording(empty))).tracings == ()
    found = again(encoded(recording(tracing([[1, 2]]), empty, tracing([[3, 4]], names=("V1",)))))
    assert [t.names for t in found.tracings] == [("I",), ("V1",)]


def test_no_tracing_at_all() -> None:
    files = encoded(Recording(patient=Patient(sex="male")))
    assert files == {"rec.hea": b"rec 0\n# Sex: Male\n"}
    assert again(files).patient.sex == "male"


# Names and files -------------------------------------------------------------------------------------------------


def test_the_signal_file_is_named_after_its_content() -> None:
    files = encoded(recording(tracing([[1, 2]])))
    name = next(n for n in files if n.endswith(".dat"))
    assert name == f"rec_{fingerprint(files[name])}.dat"
    other = encoded(recording(tracing([[1, 3]])))
    assert not set(other) & {name}
    assert list(files)[-1] == "rec.hea"


def test_same_input_same_bytes() -> None:
    whole = recording(tracing(ramp(12, 50)), tracing(ramp(3, 30), kind="representative beat"))
    assert ours.encode(whole, "rec", {}) == ours.encode(whole, "rec", {})


def test_the_input_is_not_changed() -> None:
    whole = recording(tracing(ramp(12, 50), step=-5), tracing(ramp(3, 30), rate=333))
    before = [t.samples.copy() for t in whole.tracings]
    encoded(whole)
    assert all(np.array_equal(t.samples, old) for t, old in zip(whole.tracings, before, strict=True))


def test_patterns_of_old_files_match_ours_and_no_dates() -> None:
    whole = recording(tracing(ramp(2, 50)), tracing(ramp(3, 30), kind="representative beat"))
    made = ours.encode(whole, "rec", {})
    patterns = leftovers_of("rec")
    assert made.replaces == patterns
    for name, _ in made.files[:-1]:
        assert any(fnmatchcase(name, pattern) for pattern in patterns)
    for name in ("rec.hea", "rec.dat", "rec_20310405.hea", "rec_20310405.dat", "rec.atr", "rec.backup_20310405",
                 "record_abcdef12.dat", "rec_hr.hea", "rec.hea_old", "rec_abcdef1.dat"):  # fmt: skip
        assert not any(fnmatchcase(name, pattern) for pattern in patterns), name


@pytest.mark.parametrize(
    ("name", "own"),
    [
        ("my tracing (1)", "my_tracing_1__"),
        ("größe", "gr_e_"),
        ("a.b", "a_b_"),
        ("x" * 80, "x" * 41 + "_"),
        ("ok-1_2", "ok-1_2"),
    ],
)
def test_record_names_have_plain_letters(name: str, own: str) -> None:
    files = dict(ours.encode(recording(tracing([[1, 2]])), name, {}).files)
    header = files[f"{name}.hea"].decode()
    record, rest = header.split(maxsplit=1)
    assert rest.startswith(f"1 500 2\n{record}_")
    assert re.fullmatch(re.escape(own) + ("" if name == own else "[a-f][0-9a-f]{7}"), record)
    assert again(files, name).tracings[0].samples.tolist() == [[1, 2]]


@pytest.mark.parametrize(
    "names", [("ä", "ö"), ("visit 1", "visit_1"), ("x" * 60 + "1", "x" * 60 + "2"), ("心電", "図")]
)
def test_overwriting_a_record_leaves_those_with_a_name_almost_alike(tmp_path: Path, names: tuple[str, str]) -> None:
    first, second = tracing([[1, 2]]), tracing([[7, 8]])
    interchange.write(recording(first), tmp_path / f"{names[0]}.hea")
    interchange.write(recording(second), tmp_path / f"{names[1]}.hea", overwrite=True)
    interchange.write(recording(second), tmp_path / f"{names[1]}.hea", overwrite=True)
    assert interchange.read(tmp_path / f"{names[0]}.hea").tracings[0].samples.tolist() == [[1, 2]]


def test_overwriting_a_record_leaves_records_that_are_called_like_its_files(tmp_path: Path) -> None:
    """``rec_deadbeef`` has the form of a name made from content, and is somebody's record."""
    strip = tracing([[7, 8, 9]], names=("V1",), start=Fraction(1, 3))
    interchange.write(recording(tracing([[1, 2]])), tmp_path / "rec_deadbeef.hea")
    (tmp_path / "rec_deadbeef.dat").write_bytes(b"of another program")
    theirs = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    interchange.write(recording(tracing(ramp(2, 50)), strip), tmp_path / "rec.hea")
    first = {path.name for path in tmp_path.iterdir()} - set(theirs)
    assert len(first) == 4  # two headers and two signal files
    interchange.write(recording(tracing([[3, 4]])), tmp_path / "rec.hea", overwrite=True)
    found = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    assert found.items() >= theirs.items()
    assert len(set(found) - set(theirs)) == 2, "header and signal file of the new record, and nothing of the old one"
    assert first & set(found) == {"rec.hea"}


@pytest.mark.parametrize("overwrite", [False, True])
def test_an_annotation_file_in_the_folder_does_not_join_a_new_record(tmp_path: Path, overwrite: bool) -> None:
    """What was written would read back with marks that the recording does not have."""
    (tmp_path / "rec.atr").write_bytes(bytes.fromhex("6404 6404 0000"))
    if overwrite:
        (tmp_path / "rec.hea").write_text("rec 0\n")
    held = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(TargetError, match="would be read as a part of the new record") as refused:
        interchange.write(recording(tracing([[1, 2]])), tmp_path / "rec.hea", overwrite=overwrite)
    assert refused.value.file == str(tmp_path / "rec.atr")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == held
    interchange.write(recording(tracing([[1, 2]])), tmp_path / "rec2.hea")


# Text ------------------------------------------------------------------------------------------------------------

AWKWARD = [
    "line one\nrec 2 500 9", "a\r\nb", "tab\there", "\u2028x", "\x85y", "\x1b[31mred", "nul\0", "# hash", "+plus", "\\",
    "ends with \\", "", " ", "  outer  ", "x" * 1000, "é" * 300, "汉" * 200, "🚑" * 90, " " * 600,
    "Age: 5", "Sex: Male",
    "patient.sex: male", "Tracing 1 of 2: signal 1, samples 0 to 1", "Annotations x: 5 marks", "Dx: 426783006",
    "Part of record x", "69 M 1 2", "<age>: 5", "a;b=c", "statements[0]: text=x", "Labels: A, B", "Height: 170",
]  # fmt: skip


@pytest.mark.parametrize("text", AWKWARD)
def test_no_text_becomes_a_header_line_and_every_text_comes_back(text: str, tmp_path: Path) -> None:
    whole = recording(
        tracing([[1, 2]], names=("II",), label=text),
        patient=Patient(name=PersonName(family=text)) if text else Patient(comments=(text,)),
        acquisition=Acquisition(remarks=(text, "plain", text)),
        statements=(Statement(text),),
    )
    files = encoded(whole)
    lines = files["rec.hea"].split(b"\n")
    assert lines[0] == b"rec 1 500 2"
    assert lines[1].endswith(b" II")
    assert all(line.startswith(b"#") for line in lines[2:-1])
    assert lines[-1] == b""
    assert all(len(line) + 1 <= 255 for line in lines)
    assert not re.search(rb"[\x00-\x09\x0b-\x1f\x7f]", files["rec.hea"])
    assert not walk(whole, again(files))
    assert by_library(tmp_path, files).sig_name == ["II"]


@pytest.mark.parametrize("name", AWKWARD)
def test_no_name_of_a_channel_breaks_its_line(name: str, tmp_path: Path) -> None:
    whole = recording(tracing([[1, 2], [3, 4]], names=(name, "II")))
    files = encoded(whole)
    lines = files["rec.hea"].split(b"\n")
    assert lines[2].endswith(b" II")
    assert all(line.startswith(b"#") for line in lines[3:-1])
    assert again(files).tracings[0].channels == whole.tracings[0].channels
    assert by_library(tmp_path, files).n_sig == 2


def test_bare_concepts_are_written_with_the_customary_key() -> None:
    from interchange.model import Code

    codes = ("426783006", "59118001")
    whole = recording(tracing([[1, 2]]), statements=tuple(Statement(c, codes=(Code(c, "SCT"),)) for c in codes))
    files = encoded(whole)
    assert b"# Dx: 426783006,59118001\n" in files["rec.hea"]
    assert again(files).statements == whole.statements


def test_the_written_record_passes_its_own_check() -> None:
    from interchange.sources import Source
    from tests.everything import everything

    files = encoded(everything())
    findings = ours.check(Source(files["rec.hea"], "rec.hea", files=files))
    assert findings == ()
    assert wfdb.__version__
