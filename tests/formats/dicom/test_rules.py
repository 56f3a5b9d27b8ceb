"""Every rule has an object that breaks it and one that does not."""

from __future__ import annotations

import struct
from collections.abc import Callable

import pytest
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from interchange.findings import SEVERITIES
from interchange.formats import dicom
from interchange.formats.dicom.check_attributes import check_attributes
from interchange.formats.dicom.dictionary import attributes, modules, storage_classes, tag_of
from interchange.formats.dicom.parse import parse
from interchange.sources import Source
from tests.formats.dicom.support import (
    annotation,
    channel,
    code,
    counts,
    ecg,
    group,
    read,
    real_file,
    rules,
    saved,
    written,
)
from tests.formats.dicom.test_write import scenario

Broken = Callable[[], "bytes | Dataset"]


def first_channel(**values) -> Dataset:
    definitions = Sequence([channel("I", **values), channel("II")])
    return ecg(group(counts(), ChannelDefinitionSequence=definitions))


def with_annotation(**values) -> Dataset:
    name = Sequence([code("10:256", "MDC", "P wave")])
    return ecg(WaveformAnnotationSequence=Sequence([annotation(**{"ConceptNameCodeSequence": name, **values})]))


def replaced(old: bytes, new: bytes, ds: Dataset | None = None) -> bytes:
    data = saved(ds if ds is not None else ecg())
    assert data.count(old) >= 1
    return data.replace(old, new)


def with_private(number: int = 0x1010) -> Dataset:
    ds = ecg()
    ds.add_new((0x1455 << 16) | number, "LO", "x")
    return ds


def padded(size: int) -> Dataset:
    item = group(counts())
    item.add_new("WaveformPaddingValue", "OW", b"\0\x80" * (size // 2))
    return ecg(item)


def without_meta() -> bytes:
    return b"\0" * 128 + b"DICM" + saved(ecg(), bare=True)


def odd_length() -> bytes:
    data = saved(ecg())
    at = data.index(b"\x10\0\x20\0LO")
    return data[: at + 6] + struct.pack("<H", 3) + b"T-1" + data[at + 8 + data[at + 6] :]


def stale() -> bytes:
    return written(scenario()).replace(b"hiccup", b"hickup")


def swapped() -> bytes:
    data = saved(ecg())
    at = data.index(b"\x10\0\x20\0LO")
    end = at + 8 + data[at + 6]
    size = struct.unpack("<H", data[end + 6 : end + 8])[0] + 8
    return data[:at] + data[end : end + size] + data[at:end] + data[end + size :]


def doubled() -> bytes:
    data = saved(ecg())
    at = data.index(b"\x10\0\x20\0LO")
    end = at + 8 + data[at + 6]
    return data[:end] + data[at:end] + data[end:]


def cut() -> bytes:
    ds = ecg()
    ds.add_new(0x60000010, "US", 1)
    return saved(ds)[:-1]


def long_text() -> Dataset:
    ds = ecg()
    ds.add_new("ReasonForVisit", "UT", "x" * (16 * 1024**2 + 2))
    return ds


def not_a_sequence() -> Dataset:
    ds = ecg()
    del ds.AcquisitionContextSequence
    ds.add_new("AcquisitionContextSequence", "LO", "no sequence")
    return ds


def two_groups() -> Dataset:
    ds = with_annotation(
        TemporalRangeType="POINT", ReferencedSamplePositions=[5], ReferencedWaveformChannels=[1, 0, 2, 0]
    )
    ds.WaveformSequence = Sequence([group(counts()), group(counts())])
    return ds


BROKEN: dict[str, Broken] = {
    "unreadable": lambda: b"\0" * 128 + b"DICM",
    "no-preamble": lambda: saved(ecg(), bare=True),
    "no-file-meta": without_meta,
    "element-order": swapped,
    "duplicate-element": doubled,
    "unknown-vr": lambda: replaced(b"LO\4\0T-1 ", b"ZZ\0\0\0\0\0\0"),
    "cut-after-samples": cut,
    "trailing-bytes": lambda: saved(ecg(), "deflated") + b"abc",
    "meta-mismatch": lambda: saved(ecg()).replace(b"2.25.101", b"2.25.999", 1),
    "character-set": lambda: ecg(SpecificCharacterSet="ISO_IR 100") and replaced(b"ISO_IR 192", b"ISO_IR 777"),
    "undecodable-text": lambda: replaced(b"Test maker", b"Test mak\xff\xfe"),
    "long-text": long_text,
    "malformed-number": lambda: replaced(b"500 ", b"5x0 "),
    "malformed-date": lambda: replaced(b"19700102", b"1970xx02"),
    "value-length": lambda: ecg(AccessionNumber="12345678901234567"),
    "value-characters": lambda: replaced(b"Test maker", b"Test\x07maker"),
    "odd-length": odd_length,
    "bad-uid": lambda: replaced(b"2.25.102", b"2.25.002"),
    "not-a-sequence": not_a_sequence,
    "too-many-values": lambda: ecg(PatientID="A\\B"),
    "too-many-items": lambda: first_channel(
        ChannelSourceSequence=Sequence([code("2:1", "MDC", "I"), code("2:2", "MDC", "II")])
    ),
    "missing-type-1": lambda: ecg(ContentDate=None),
    "missing-type-2": lambda: ecg(AccessionNumber=None),
    "missing-conditional": lambda: first_channel(ChannelBaseline=None),
    "outside-the-object": lambda: ecg(VisitComments="x"),
    "retired-attribute": lambda: ecg(ReasonForStudy="x"),
    "private-without-creator": with_private,
    "enumerated-value": lambda: ecg(PatientSex="U"),
    "code-scheme": lambda: first_channel(ChannelSourceSequence=Sequence([code("X", "99X", "X")])),
    "not-an-ecg": lambda: replaced(b"1.2.840.10008.5.1.4.1.1.9.1.1", b"1.2.840.10008.5.1.4.1.1.9.2.1"),
    "modality": lambda: ecg(Modality="CT"),
    "class-groups": lambda: ecg(*[group(counts(1), ("I",)) for _ in range(6)]),
    "class-channels": lambda: ecg(*[group(counts(7), ("I", "II", "III", "V1", "V2", "V3", "V4")) for _ in range(2)]),
    "class-samples": lambda: ecg(group(counts(2, 16385))),
    "class-rate": lambda: ecg(group(counts(), SamplingFrequency="2000")),
    "class-interpretation": lambda: ecg(group(counts(dtype="i4"))),
    "class-32-interpretation": lambda: ecg(group(counts()), storage="general-32"),
    "channel-count": lambda: ecg(group(counts(), NumberOfWaveformChannels=3)),
    "data-length": lambda: ecg(group(counts(), WaveformData=b"\0" * 2004)),
    "interpretation-guessed": lambda: ecg(group(counts(), WaveformSampleInterpretation="XX")),
    "companded": lambda: ecg(group(counts(dtype="u1"), WaveformSampleInterpretation="MB")),
    "bits-stored": lambda: first_channel(WaveformBitsStored=4),
    "bits-allocated": lambda: first_channel(WaveformBitsStored=24),
    "padding-size": lambda: padded(4),
    "no-sensitivity": lambda: first_channel(
        ChannelSensitivity=None, ChannelSensitivityUnitsSequence=None, ChannelBaseline=None,
        ChannelSensitivityCorrectionFactor=None,
    ),
    "sensitivity-incomplete": lambda: first_channel(ChannelSensitivityUnitsSequence=None),
    "sensitivity-zero": lambda: first_channel(ChannelSensitivity="0"),
    "unit-unknown": lambda: first_channel(ChannelSensitivityUnitsSequence=Sequence([code("mmHg", "99X", "pressure")])),
    "skew-missing": lambda: first_channel(ChannelSampleSkew=None),
    "skew-contradiction": lambda: first_channel(ChannelTimeSkew="0", ChannelSampleSkew="2"),
    "filter-impossible": lambda: first_channel(FilterHighFrequency="-1"),
    "channel-status": lambda: first_channel(ChannelStatus="QUESTIONABLE"),
    "lead-code": lambda: first_channel(ChannelSourceSequence=Sequence([code("109091", "DCM", "Cardiac")])),
    "lead-unknown": lambda: first_channel(ChannelSourceSequence=Sequence([code("109091", "DCM", "Cardiac")])),
    "lead-by-label": lambda: first_channel(
        ChannelSourceSequence=Sequence([code("L1", "99X", "first")]), ChannelLabel="Lead I"
    ),
    "retired-lead-scheme": real_file,
    "lead-repeated": lambda: ecg(group(counts(), ("II", "II"))),
    "time-missing": lambda: ecg(AcquisitionDateTime=None),
    "group-empty": lambda: ecg(group(counts()), group(counts(2, 1), NumberOfWaveformSamples=0, WaveformData=b"")),
    "annotation-form": lambda: with_annotation(UnformattedTextValue="both"),
    "annotation-reference": lambda: with_annotation(ReferencedWaveformChannels=[2, 0]),
    "annotation-position": lambda: with_annotation(TemporalRangeType="POINT", ReferencedSamplePositions=[501]),
    "annotation-range": lambda: with_annotation(TemporalRangeType="SEGMENT", ReferencedSamplePositions=[5]),
    "annotation-groups": two_groups,
    "annotation-size": lambda: with_annotation(
        ReferencedWaveformChannels=[1, 1, 1, 2], TemporalRangeType="MULTIPOINT", ReferencedSamplePositions=[5] * 250_001
    ),
    "annotation-misplaced": real_file,
    "retired-concept-scheme": real_file,
    "concept-unknown": lambda: with_annotation(ConceptNameCodeSequence=Sequence([code("Q", "DCM", "new")])),
    "measurement-unit": lambda: with_annotation(
        ConceptNameCodeSequence=Sequence([code("2:16160", "MDC", "QT interval global")]),
        NumericValue="400",
        MeasurementUnitsCodeSequence=Sequence([code("mV", "UCUM", "mV")]),
    ),
    "zero-interval": real_file,
    "stale-lines": stale,
}  # fmt: skip


def test_every_rule_has_a_sample():
    assert set(BROKEN) == {rule.id.removeprefix("dicom.") for rule in dicom.RULES}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_object_breaks_its_rule(name):
    assert name in rules(BROKEN[name]())


def test_the_sound_objects_break_none():
    assert rules(ecg()) == set()
    for storage, rate in (("general", "500"), ("ambulatory", "100")):
        assert rules(ecg(group(counts(), SamplingFrequency=rate), storage=storage)) == set()
    assert rules(written(scenario())) == set()


def test_ids_are_readable_and_unique():
    ids = [rule.id for rule in dicom.RULES]
    assert len(ids) == len(set(ids))
    for rule in dicom.RULES:
        assert rule.id.startswith("dicom.")
        assert rule.severity in SEVERITIES
        assert rule.clause
        assert rule.why.endswith(".")
        assert not rule.reason.endswith(".")


def test_findings_come_in_the_order_of_the_file_and_the_same_each_time():
    ds = first_channel(ChannelBaseline=None)
    ds.PatientSex = "U"
    del ds.AccessionNumber
    data = saved(ds)
    found = dicom.check(Source(data))
    assert found == dicom.check(Source(data))
    places = [f.place.split(" ")[0] for f in found if "/" not in f.place and f.place.startswith("(")]
    present = [place for place in places if place != "(0008,0050)"]
    assert present == sorted(present)


# Attribute types: every row of the tables -------------------------------------------------------------------------


TOP = [
    row
    for row in attributes()
    if not row.path
    and row.type in ("1", "2")
    and modules().get(row.module)
    and modules()[row.module].usage["general-32"] == "M"
]


@pytest.mark.parametrize("row", TOP, ids=[f"{row.module}-{row.keyword}" for row in TOP])
def test_each_required_attribute_of_a_mandatory_module(row):
    ds = ecg(
        group(counts(dtype="i4")),
        storage="general-32",
        ManufacturerModelName="M",
        DeviceSerialNumber="S",
        SoftwareVersions="1",
    )
    storage = storage_classes()["general-32"]

    def missing(data: bytes) -> set[str]:
        return {f.place for f in check_attributes(parse(data).dataset, storage)}

    assert missing(saved(ds)) == set()
    place = f"({row.tag >> 16:04X},{row.tag & 0xFFFF:04X}) {row.keyword}"
    if row.type == "1" and row.vr != "SQ" and row.keyword not in ("SOPClassUID", "SOPInstanceUID"):
        empty = ecg(group(counts(dtype="i4")), storage="general-32", ManufacturerModelName="M", DeviceSerialNumber="S",
                    SoftwareVersions="1")  # fmt: skip
        empty[row.keyword].value = ""
        assert missing(saved(empty)) == {place}
    if row.keyword not in ("SOPClassUID", "SOPInstanceUID"):
        del ds[row.keyword]
        assert missing(saved(ds)) == {place}


CHANNEL = [
    ("ChannelSourceSequence", {}, True),
    ("WaveformBitsStored", {}, True),
    ("ChannelSensitivityUnitsSequence", {}, True),
    ("ChannelSensitivityCorrectionFactor", {}, True),
    ("ChannelBaseline", {}, True),
    ("ChannelSensitivity", {}, True),
    ("ChannelSampleSkew", {}, True),
    ("ChannelSampleSkew", {"ChannelTimeSkew": "0"}, False),
]


@pytest.mark.parametrize(("keyword", "others", "required"), CHANNEL)
def test_attributes_of_a_channel_definition(keyword, others, required):
    data = saved(first_channel(**{keyword: None, **others}))
    places = {f.place for f in dicom.check(Source(data)) if f.rule.startswith("dicom.missing")}
    assert any(keyword in place for place in places) == required


CONDITIONS = [
    ({"PatientIdentityRemoved": "YES"}, "DeidentificationMethod", True),
    ({"PatientIdentityRemoved": "YES", "DeidentificationMethod": "by hand"}, "DeidentificationMethod", False),
    ({"PatientIdentityRemoved": "NO"}, "DeidentificationMethod", False),
    ({"SynchronizationFrameOfReferenceUID": "2.25.1"}, "SynchronizationTrigger", True),
    ({"ClinicalTrialSponsorName": "S"}, "ClinicalTrialProtocolID", True),
    ({"ClinicalTrialSponsorName": "S"}, "ClinicalTrialSubjectID", True),
    ({"ClinicalTrialSponsorName": "S", "ClinicalTrialSubjectReadingID": "R"}, "ClinicalTrialSubjectID", False),
    ({}, "ClinicalTrialSponsorName", False),
]


@pytest.mark.parametrize(("values", "keyword", "required"), CONDITIONS)
def test_conditions_and_optional_modules(values, keyword, required):
    found = dicom.check(Source(saved(ecg(**values))))
    places = {f.place for f in found if f.rule.startswith("dicom.missing")}
    assert any(place.endswith(keyword) for place in places) == required


def test_a_synchronized_group_needs_its_offset():
    values = {
        "SynchronizationFrameOfReferenceUID": "2.25.1",
        "SynchronizationTrigger": "NO TRIGGER",
        "AcquisitionTimeSynchronized": "Y",
    }
    assert "missing-conditional" in rules(ecg(**values))
    assert "missing-conditional" not in rules(ecg(group(counts(), MultiplexGroupTimeOffset="0"), **values))


def test_code_items_need_meaning_and_value():
    broken = Dataset()
    broken.CodeValue, broken.CodingSchemeDesignator = "2:1", "MDC"
    assert "missing-type-1" in rules(first_channel(ChannelSourceSequence=Sequence([broken])))
    no_value = Dataset()
    no_value.CodeMeaning = "Lead I"
    assert "missing-conditional" in rules(first_channel(ChannelSourceSequence=Sequence([no_value])))


def test_the_dictionary_agrees_with_pydicom():
    """Tags, names and representations of the tables against pydicom's dictionary (PS3.6)."""
    from pydicom.datadict import dictionary_VM, dictionary_VR, tag_for_keyword

    for row in attributes():
        assert tag_for_keyword(row.keyword) == row.tag == tag_of(row.keyword)
        assert dictionary_VR(row.tag) == row.vr
        assert dictionary_VM(row.tag) == row.vm


def test_conditions_name_attributes_that_exist():
    for row in attributes():
        for term in row.condition:
            assert tag_of(term.lstrip("!").partition("=")[0].lstrip("/"))


def test_the_reader_names_place_and_rule_for_each_deviation():
    for finding in read(real_file()).findings:
        assert finding.rule in {rule.id for rule in dicom.RULES}
        assert finding.place.startswith("(")
