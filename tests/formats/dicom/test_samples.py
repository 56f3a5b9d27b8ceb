"""Waveform Data (PS3.3 C.10.9.1, PS3.5 8.3)."""

from fractions import Fraction

import numpy as np
import pytest
from pydicom.sequence import Sequence

from interchange.errors import SourceError
from tests.formats.dicom.support import channel, code, counts, ecg, group, opened, read, saved


@pytest.mark.parametrize("dtype", ["i1", "u1", "i2", "u2", "i4", "u4", "i8", "u8"])
def test_every_linear_interpretation_is_exact(dtype):
    samples = counts(3, 101, dtype)
    ds = ecg(group(samples, ("I", "II", "III")), storage="general-32")
    recording = read(ds)
    np.testing.assert_array_equal(recording.tracings[0].samples, samples)
    assert recording.tracings[0].names == ("I", "II", "III")


@pytest.mark.parametrize(("dtype", "value"), [("i2", -(2**15)), ("i4", -(2**31)), ("i4", 2**31 - 1), ("u2", 2**16 - 1)])
def test_extreme_values_survive(dtype, value):
    samples = counts(1, 4, dtype)
    samples[0, 1] = value
    assert read(ecg(group(samples, ("I",)), storage="general-32")).tracings[0].samples[0, 1] == value


def test_more_than_32_bits_are_refused():
    samples = counts(1, 4, "i8")
    samples[0, 0] = 2**31
    with pytest.raises(SourceError, match="more than 32 bits"):
        read(ecg(group(samples, ("I",)), storage="general-32"))


def g711(code_: int, law: str) -> int:
    """ITU-T G.711 bit by bit: sign, three bits of segment, four of step."""
    if law == "MB":
        code_ ^= 0xFF
        sign, segment, step = code_ >> 7, code_ >> 4 & 7, code_ & 15
        value = (2 * step + 33) * 2**segment - 33
        return -value if sign else value
    code_ ^= 0x55
    sign, segment, step = code_ >> 7, code_ >> 4 & 7, code_ & 15
    value = 2 * step + 1 if segment == 0 else (2 * step + 33) * 2 ** (segment - 1)
    return value if sign else -value


@pytest.mark.parametrize("law", ["MB", "AB"])
def test_companded_samples_are_expanded(law):
    samples = np.arange(256, dtype="u1").reshape(1, 256)
    ds = ecg(group(samples, ("I",), WaveformSampleInterpretation=law), storage="general")
    recording = read(ds)
    assert recording.tracings[0].samples[0].tolist() == [g711(value, law) for value in range(256)]
    assert "dicom.companded" in {f.rule for f in recording.findings}


def test_g711_check_values():
    """Full scale of both laws: 8031 in 14 bits, 4032 in 13 bits (ITU-T G.711 tables 1 and 2, from memory)."""
    assert g711(0x80, "MB") == 8031
    assert g711(0xFF, "MB") == 0
    assert g711(0xAA, "AB") == 4032


@pytest.mark.parametrize("dtype", ["i1", "i2", "i4"])
def test_padding_is_compared_before_scaling(dtype):
    samples = counts(2, 50, dtype)
    lowest = np.iinfo(dtype).min
    samples[0, :10] = lowest
    samples[1, 3] = lowest
    item = group(samples)
    raw = np.array([lowest], dtype).tobytes()
    item.add_new("WaveformPaddingValue", "OB" if dtype == "i1" else "OW", raw + b"\0" * (len(raw) & 1))
    for definition in item.ChannelDefinitionSequence:
        definition.ChannelBaseline = "12"
    tracing = read(ecg(item, storage="general-32")).tracings[0]
    np.testing.assert_array_equal(tracing.missing, samples == lowest)
    assert np.isnan(tracing.microvolts()[0, :10]).all()
    assert tracing.microvolts()[0, 10] == int(samples[0, 10]) * 5 + 12


def test_a_padding_value_that_no_sample_has_marks_nothing():
    item = group(counts())
    item.add_new("WaveformPaddingValue", "OW", b"\0\x80")
    assert read(ecg(item)).tracings[0].missing is None


@pytest.mark.parametrize(
    ("unit", "sensitivity", "factor", "baseline", "step", "offset"),
    [
        ("uV", "5", "1", "0", Fraction(5), Fraction(0)),
        ("mV", "0.005", "1", "0.1", Fraction(5), Fraction(100)),
        ("V", "0.000005", "1", "0", Fraction(5), Fraction(0)),
        ("nV", "5000", "1", "0", Fraction(5), Fraction(0)),
        ("uV", "2", "1.25", "-7", Fraction(5, 2), Fraction(-7)),
        ("uV", "-5", "1", "0", Fraction(-5), Fraction(0)),
        ("uV", "0.333333333333333", "1", "0", Fraction(1, 3), Fraction(0)),
        ("mV", "2.44140625e-3", "1", "0", Fraction(5**10, 4 * 10**6), Fraction(0)),
    ],
)
def test_scale_is_exact(unit, sensitivity, factor, baseline, step, offset):
    definition = channel(
        ChannelSensitivity=sensitivity,
        ChannelSensitivityUnitsSequence=Sequence([code(unit, "UCUM", unit)]),
        ChannelSensitivityCorrectionFactor=factor,
        ChannelBaseline=baseline,
    )
    ds = ecg(group(counts(1), ("I",), ChannelDefinitionSequence=Sequence([definition])))
    found = read(ds).tracings[0]
    assert (found.channels[0].unit, found.channels[0].step, found.channels[0].offset) == ("uV", step, offset)
    scale = {"uV": 1, "mV": 1e3, "V": 1e6, "nV": 1e-3}[unit]
    np.testing.assert_allclose(found.microvolts()[0], opened(saved(ds)).waveform_array(0)[:, 0] * scale, rtol=1e-12)


def test_a_signal_that_is_no_voltage_keeps_its_unit():
    definition = channel(
        ChannelSourceSequence=Sequence([code("109091", "DCM", "Pulse")]),
        ChannelLabel="ABP",
        ChannelSensitivityUnitsSequence=Sequence([code("mm[Hg]", "UCUM", "mmHg")]),
    )
    found = read(ecg(group(counts(1), ("I",), ChannelDefinitionSequence=Sequence([definition]))))
    assert (found.tracings[0].channels[0].name, found.tracings[0].channels[0].unit) == ("ABP", "mm[Hg]")
    assert "dicom.lead-unknown" in {f.rule for f in found.findings}


def test_without_sensitivity_nothing_is_calibrated():
    bare = channel(
        ChannelSensitivity=None,
        ChannelSensitivityUnitsSequence=None,
        ChannelSensitivityCorrectionFactor=None,
        ChannelBaseline=None,
    )
    found = read(ecg(group(counts(1), ("I",), ChannelDefinitionSequence=Sequence([bare]))))
    assert found.tracings[0].channels[0].unit is None
    assert "dicom.no-sensitivity" in {f.rule for f in found.findings}


@pytest.mark.parametrize(
    ("skew", "seconds"),
    [
        ({"ChannelSampleSkew": "0.5"}, Fraction(1, 1000)),
        ({"ChannelSampleSkew": None, "ChannelTimeSkew": "0.002"}, Fraction(1, 500)),
        ({"ChannelSampleSkew": "0"}, Fraction(0)),
    ],
)
def test_skew_in_samples_or_seconds(skew, seconds):
    definition = channel(**skew)
    found = read(ecg(group(counts(1), ("I",), ChannelDefinitionSequence=Sequence([definition]))))
    assert found.tracings[0].channels[0].skew == seconds


@pytest.mark.parametrize("status", ["DISCONNECTED", "INVALID"])
def test_a_channel_without_signal_is_missing_and_said(status):
    definitions = [channel("I"), channel("II", ChannelStatus=status)]
    found = read(ecg(group(counts(), ChannelDefinitionSequence=Sequence(definitions))))
    assert not found.tracings[0].missing[0].any()
    assert found.tracings[0].missing[1].all()
    assert "dicom.channel-status" in {f.rule for f in found.findings}


def test_bits_stored_that_do_not_hold_the_samples_are_reported():
    samples = counts(1)
    samples[0, 0] = 4000
    definition = channel(WaveformBitsStored=12)
    found = read(ecg(group(samples, ("I",), ChannelDefinitionSequence=Sequence([definition]))))
    assert found.tracings[0].samples[0, 0] == 4000
    assert found.tracings[0].channels[0].bits == 12
    assert "dicom.bits-stored" in {f.rule for f in found.findings}


def test_missing_bytes_are_refused_with_the_numbers():
    item = group(counts(2, 500))
    item.WaveformData = item.WaveformData[:-24]
    with pytest.raises(SourceError) as caught:
        read(ecg(item))
    assert "2 channels of 500 samples need 2000 bytes of waveform data, 1976 are there" in str(caught.value)
    assert "(5400,0100) WaveformSequence[1]/(5400,1010) WaveformData" in str(caught.value)


def test_too_many_bytes_are_reported_and_the_samples_kept():
    item = group(counts(2, 500))
    item.WaveformData = item.WaveformData + b"\1\2\3\4"
    found = read(ecg(item))
    np.testing.assert_array_equal(found.tracings[0].samples, counts(2, 500))
    assert "dicom.data-length" in {f.rule for f in found.findings}


def test_a_count_beyond_the_bytes_costs_no_memory():
    item = group(counts(2, 500), NumberOfWaveformSamples=2**32 - 1)
    with pytest.raises(SourceError, match="need 17179869180 bytes"):
        read(ecg(item))


def test_channel_definitions_win_over_a_wrong_count_when_the_data_agree():
    found = read(ecg(group(counts(2, 500), NumberOfWaveformChannels=3)))
    assert found.tracings[0].names == ("I", "II")
    assert "dicom.channel-count" in {f.rule for f in found.findings}


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"NumberOfWaveformChannels": 3, "NumberOfWaveformSamples": 400}, "fit neither"),
        ({"ChannelDefinitionSequence": Sequence([])}, "channels is zero"),
        ({"SamplingFrequency": "0"}, "impossible"),
        ({"SamplingFrequency": "-500"}, "impossible"),
        ({"SamplingFrequency": None}, "impossible"),
        ({"NumberOfWaveformSamples": None}, "samples is missing"),
        ({"WaveformBitsAllocated": 8}, "do not fit each other"),
        ({"WaveformSampleInterpretation": "XX", "WaveformBitsAllocated": 24}, "do not fit each other"),
        ({"WaveformData": None}, "0 are there"),
    ],
)
def test_what_cannot_be_told_apart_is_refused(values, words):
    with pytest.raises(SourceError, match=words):
        read(ecg(group(counts(), **values)))


def test_an_empty_group_beside_a_full_one_is_left_out():
    empty = group(counts(2, 1), NumberOfWaveformSamples=0, WaveformData=b"")
    found = read(ecg(group(counts()), empty))
    assert len(found.tracings) == 1
    assert "dicom.group-empty" in {f.rule for f in found.findings}


@pytest.mark.parametrize(
    ("seconds", "values", "kind"),
    [
        ("1.2", {}, "representative beat"),
        ("2.5", {}, "rhythm"),
        ("2.5", {"TriggerSamplePosition": 200}, "representative beat"),
        ("2.5", {"MultiplexGroupLabel": "Median Beat"}, "representative beat"),
        ("4", {"MultiplexGroupLabel": "Median Beat"}, "rhythm"),
        ("1.2", {"WaveformOriginality": "ORIGINAL"}, "rhythm"),
    ],
)
def test_what_is_a_representative_beat(seconds, values, kind):
    """A derived group of one beat; the columns of a derived page beside a long rhythm strip are none."""
    length = int(float(seconds) * 500)
    short = group(counts(2, length), **{"WaveformOriginality": "DERIVED", **values})
    found = read(ecg(group(counts(2, 5000)), short)).tracings[1]
    assert found.kind == kind
    if kind == "rhythm" and short.WaveformOriginality == "DERIVED":
        assert {channel.origin for channel in found.channels} == {"reconstructed"}
