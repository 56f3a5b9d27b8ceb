"""Channels and groups as other programs write them: numbers that contradict each other or cannot be.

Built with pydicom; what is expected was worked out by hand from the values in the object.
"""

from fractions import Fraction

import pytest
from pydicom.sequence import Sequence

from interchange.formats import dicom
from interchange.sources import Source
from tests.formats.dicom.support import channel, counts, ecg, group, read, saved


def found_rules(recording):
    return [finding.rule.removeprefix("dicom.") for finding in recording.findings]


def unread(recording):
    """Names of the attributes that were not taken in."""
    return {entry.place.rpartition(" ")[2] for entry in recording.unread}


def one_channel(**values):
    return read(ecg(group(counts(1), ("I",), ChannelDefinitionSequence=Sequence([channel("I", **values)]))))


@pytest.mark.parametrize(
    ("seconds", "samples", "skew", "says"),
    [
        ("0", "2", Fraction(0), ["skew-contradiction"]),
        ("0.002", "2", Fraction(1, 500), ["skew-contradiction"]),
        ("0.004", "2", Fraction(1, 250), []),
        ("0.00067", "0.333", Fraction(67, 100000), []),  # 0.335 samples: rounded
        ("0", "0", Fraction(0), []),
        (None, "2", Fraction(1, 250), []),
    ],
)
def test_time_skew_and_sample_skew_must_agree(seconds, samples, skew, says):
    found = one_channel(ChannelTimeSkew=seconds, ChannelSampleSkew=samples)
    assert found.tracings[0].channels[0].skew == skew
    assert found_rules(found) == says
    assert unread(found) == ({"ChannelSampleSkew"} if says else set())


def test_16_bit_samples_in_the_32_bit_class_are_a_warning_that_says_how_sure_it_is():
    ds = ecg(
        group(counts(), SamplingFrequency="2000"), storage="general-32",
        ManufacturerModelName="M", DeviceSerialNumber="S", SoftwareVersions="1",
    )  # fmt: skip
    (finding,) = dicom.check(Source(saved(ds), "test.dcm"))
    assert (finding.rule, finding.severity) == ("dicom.class-32-interpretation", "warning")
    assert finding.clause == "PS3.3 A.34.18.4 [unsure]"


@pytest.mark.parametrize(
    ("keyword", "value"),
    [
        ("SamplingFrequency", ["500", "1000"]),
        ("MultiplexGroupTimeOffset", ["0", "20"]),
        ("NumberOfWaveformSamples", [500, 7]),
    ],
)
def test_further_values_of_a_number_of_the_group_are_a_finding(keyword, value):
    found = read(ecg(group(counts(), **{keyword: value})))
    assert (found.tracings[0].rate, found.tracings[0].start, found.tracings[0].length) == (500, 0, 500)
    assert found_rules(found) == ["too-many-values"]


@pytest.mark.parametrize(
    ("keyword", "value"),
    [("ChannelSensitivity", ["5", "2"]), ("ChannelBaseline", ["0", "1"]), ("WaveformBitsStored", [16, 12])],
)
def test_further_values_of_a_number_of_a_channel_are_a_finding(keyword, value):
    found = one_channel(**{keyword: value})
    assert (found.tracings[0].channels[0].step, found.tracings[0].channels[0].offset) == (5, 0)
    assert found_rules(found) == ["too-many-values"]


@pytest.mark.parametrize(
    ("bits", "kept", "says"), [(12, 12, False), (16, None, False), (24, None, True), (0, None, True)]
)
def test_more_bits_stored_than_allocated_are_a_finding(bits, kept, says):
    found = one_channel(WaveformBitsStored=bits)
    assert found.tracings[0].channels[0].bits == kept
    assert found_rules(found) == (["bits-allocated"] if says else [])


def test_a_lead_twice_in_one_group_is_a_finding_and_both_are_kept():
    found = read(ecg(group(counts(3), ("I", "II", "I"))))
    assert found.tracings[0].names == ("I", "II", "I")
    assert found_rules(found) == ["lead-repeated"]
    assert found_rules(read(ecg(group(counts()), group(counts()), storage="general"))) == []


@pytest.mark.parametrize(
    ("keyword", "value"),
    [("FilterLowFrequency", "-0.05"), ("FilterHighFrequency", "-1"), ("NotchFilterFrequency", ["50", "-50"])],
)
def test_a_negative_filter_frequency_is_a_finding_and_unread(keyword, value):
    found = one_channel(**{keyword: value})
    assert (found.acquisition.filters, found.tracings[0].channels[0].filters) == (None, None)
    assert found_rules(found) == ["filter-impossible"]
    assert unread(found) == {keyword}


def test_a_filter_of_zero_is_kept():
    found = one_channel(FilterLowFrequency="0", FilterHighFrequency="150")
    assert (found.acquisition.filters.highpass, found.acquisition.filters.lowpass) == (0, 150)
    assert found.findings == ()


def test_another_mains_frequency_of_a_later_group_is_unread():
    groups = [group(counts(), PowerlineFrequency=value) for value in (None, "50", "50", "60")]
    found = read(ecg(*groups, storage="general"))
    assert found.acquisition.mains == 50
    assert [entry.place for entry in found.unread] == [
        "(5400,0100) WaveformSequence[4]/(003A,0311) PowerlineFrequency",
    ]
