"""Lines of text for what has no attribute: they belong to the object as it was written, and to nothing else."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from unittest import mock

import pytest

from interchange.model import Acquisition, Identifier, Mark, Patient, PersonName, Quantity, Recording, Statement
from tests.everything import everything
from tests.formats.dicom.support import opened, read, rules, saved, written
from tests.formats.dicom.test_write import tracing


def lines(data: bytes) -> list[str]:
    items = opened(data).AcquisitionContextSequence
    return [text for item in items if "TextValue" in item for text in item.TextValue.splitlines()[1:]]


def recording(**fields) -> Recording:
    return Recording((tracing(length=100),), **fields)


def resaved(data: bytes, syntax: str = "explicit", **values) -> bytes:
    """The object after somebody changed attributes of it."""
    ds = opened(data)
    for keyword, value in values.items():
        setattr(ds, keyword, value)
    return saved(ds, syntax)


def test_what_has_an_attribute_needs_no_line():
    assert lines(written(recording(patient=Patient((Identifier("A"),), PersonName("F", "G"), sex="male")))) == []


@pytest.mark.parametrize(
    ("fields", "line"),
    [
        ({"patient": Patient((Identifier("A", None, "temporary"),))}, "patient.ids[0].kind: temporary"),
        ({"patient": Patient(height=Quantity(68, "[in_i]"))}, "patient.height: 68 [in_i]"),
        ({"patient": Patient(age=Quantity(5, "h"))}, "patient.age: 5 h"),
        ({"patient": Patient(absent=(("sex", "unknown"),))}, "patient.absent[0]: sex=unknown"),
        ({"acquisition": Acquisition(urgency=7)}, "acquisition.urgency: 7"),
        ({"statements": (Statement("x", author="A", author_kind="machine"),)}, "statements[0].author: A"),
        ({"marks": (Mark("note", 0, Fraction(0), text="x", group="atr"),)}, "group 1: atr"),
        ({"extras": (("wfdb.x", "y"),)}, "extras[0]: wfdb.x=y"),
    ],
)
def test_what_has_none_travels_as_a_line(fields, line):
    source = recording(**fields)
    data = written(source)
    assert line in lines(data)
    back = read(data)
    for name in fields:
        assert getattr(back, name) == getattr(source, name)


def test_lines_do_not_override_a_name_that_somebody_corrected():
    source = recording(
        patient=Patient((Identifier("A", None, "temporary"),), PersonName("Wrong", "Name", second_family="X"))
    )
    corrected = resaved(written(source), PatientName="Right^Name")
    back = read(corrected)
    assert back.patient.name == PersonName("Right", "Name")
    assert back.patient.ids[0].kind is None
    assert "stale-lines" in rules(corrected)
    assert any(entry.place.endswith("TextValue") for entry in back.unread)


@pytest.mark.parametrize(
    "line",
    [
        "tracings[0].rate: 250",
        "tracings[0].channels[1].step: 10",
        "tracings[0].channels[0].offset: 100",
        "tracings[0].channels[0]: name=V6; step=7",
        "tracings[0].samples: 1",
        "unset tracings[0]",
        "unset tracings[0].rate",
        "unset tracings[0].channels[0]",
        "unset tracings[0].channels[11]",
        "unset tracings[0].channels[0].step",
        "unset tracings",
        "unset tracings[0].missing",
        "unset tracings[-1].channels[-1].label",
        "unset tracings[0].channels[-1].label",
        "unset tracings[0].fiducial.numerator",
    ],
)
def test_no_line_sets_samples_rate_or_scale(line):
    """Even under a fingerprint that fits."""
    ds = opened(written(Recording((replace(tracing(length=100), fiducial=Fraction(1, 10)),))))
    item = next(item for item in ds.AcquisitionContextSequence if "TextValue" in item)
    head, *own = item.TextValue.splitlines()
    assert "tracings[0].fiducial: 0.1" in own
    item.TextValue = head
    bare = read(saved(ds))
    item.TextValue = "\r\n".join([head, line])
    data = saved(ds)
    back = read(data)
    assert back.tracings == bare.tracings
    assert "stale-lines" in rules(data)
    assert any(entry.place.endswith("TextValue") for entry in back.unread)


def test_a_part_that_is_told_a_thousand_times_counts_once():
    ds = opened(written(recording(statements=(Statement("x", author="M"),))))
    item = next(item for item in ds.AcquisitionContextSequence if "TextValue" in item)
    ds.AcquisitionContextSequence.extend([item] * 1000)
    back = read(saved(ds))
    assert back.statements[0].author == "M"
    assert len([entry for entry in back.unread if entry.place.endswith("TextValue")]) == 1000


def test_ten_thousand_lines_that_unset_take_time_in_line_with_their_number():
    from interchange.formats.dicom.unset import without

    whole = Recording(statements=tuple(Statement("x", author="a", group=1) for _ in range(10_000)))
    paths = [f"statements[{number}].author" for number in range(9_999)]
    with mock.patch("dataclasses.replace", side_effect=replace) as made:
        found, failed = without(whole, [*paths, "statements[9999]", "statements[9999]", "statements[9998].text"])
    assert made.call_count == 10_000
    assert [statement.author for statement in found.statements] == [None] * 9_999
    assert failed == ["statements[9999]", "statements[9998].text"]


def test_lines_of_one_part_survive_a_change_of_another():
    source = recording(
        patient=Patient((Identifier("A"),), PersonName("F", "G")),
        statements=(Statement("x", confirmed=False, author="M"),),
    )
    back = read(resaved(written(source), PatientName="Other^Name"))
    assert back.statements == source.statements
    assert back.findings == ()


def test_an_annotation_put_in_front_makes_their_lines_stale():
    source = recording(statements=(Statement("x", author="Machine", confirmed=True),))
    ds = opened(written(source))
    ds.WaveformAnnotationSequence.insert(0, ds.WaveformAnnotationSequence[0])
    back = read(saved(ds))
    assert [(s.author, s.confirmed) for s in back.statements] == [(None, True), (None, True)]
    assert "dicom.stale-lines" in {f.rule for f in back.findings}


@pytest.mark.parametrize("syntax", ["explicit", "implicit", "deflated"])
def test_an_archive_may_change_the_transfer_syntax(syntax):
    back = read(resaved(written(everything()), syntax))
    assert (
        replace(back, document_id=None, format=None) == replace(everything(), document_id=None, format=None)
        or back.findings == ()
    )
    assert back.measurements == everything().measurements
    assert back.statements == everything().statements
    assert back.patient == everything().patient
    assert back.acquisition == everything().acquisition


def test_a_forged_line_cannot_reach_samples_or_raise():
    source = recording(acquisition=Acquisition(urgency=7))
    for forged in (
        "tracings[0].samples: 5",
        "findings[0]: x",
        "unset tracings",
        "unset patient.ids[7]",
        "x" * 40,
        "unset ",
        "group 1",
    ):
        data = written(source)
        old = b"acquisition.urgency: 7"
        new = forged.encode()[: len(old)].ljust(len(old))
        back = read(data.replace(old, new))
        assert back.tracings == source.tracings


def test_a_gap_of_the_format_is_undone_by_unset():
    """A derived channel without a formula gets words for the attribute, and loses them again."""
    channel = replace(tracing().channels[0], origin="derived")
    source = Recording((replace(tracing(("I",), 50), channels=(channel,)),))
    data = written(source)
    definition = opened(data).WaveformSequence[0].ChannelDefinitionSequence[0]
    assert definition.ChannelDerivationDescription == "Calculated from other leads"
    assert read(data).tracings == source.tracings
