"""Channel definitions that are known by their bytes: always what reading them anew gives (the ordinary way is kept)."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pydicom
import pytest
from pydicom.sequence import Sequence

from interchange.compare import compare_recordings
from interchange.errors import SourceError
from interchange.findings import Finding
from interchange.formats import dicom
from interchange.formats.dicom import dataset, parse, write_waveform
from interchange.limits import limits
from interchange.model import Recording
from interchange.sources import Source
from tests.formats.dicom.support import channel, counts, ecg, group, opened, real_file, saved

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
FILES = sorted([*FIXTURES.glob("dicom-odd/*.dcm"), *FIXTURES.glob("scenario/*.dcm")])
Result = tuple[Recording | None, tuple[Finding, ...] | str]


@pytest.fixture(autouse=True)
def _nothing_known() -> Iterator[None]:
    """Each test begins and ends with empty stores."""
    dataset._store.clear()
    write_waveform._definitions.clear()
    yield
    dataset._store.clear()
    write_waveform._definitions.clear()


def result(data: bytes) -> Result:
    """The recording with its unread elements and findings, and what the check finds; or the refusal."""
    try:
        recording, findings = dicom.read_and_check(Source(data, "x.dcm"))
    except SourceError as error:
        return None, f"{error.place}: {error.reason}"
    assert set(findings) == set(dicom.check(Source(data, "x.dcm")))
    return recording, findings


def ordinary(data: bytes) -> Result:
    """The same with nothing known and nothing remembered: every element is parsed, read and checked."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(parse, "LONGEST", -1)
        found = result(data)
    assert not dataset._store
    return found


def same(one: Result, other: Result) -> bool:
    """Whether two results agree in every field, sample, unread element and finding."""
    if one[0] is None or other[0] is None:
        return one == other
    return (
        one[1] == other[1]
        and compare_recordings(one[0], other[0]).differences == ()
        and (one[0].unread, one[0].findings) == (other[0].unread, other[0].findings)
        and all(
            np.array_equal(a.samples, b.samples) and a.channels == b.channels
            for a, b in zip(one[0].tracings, other[0].tracings, strict=True)
        )
    )


def test_every_file_reads_the_same_whatever_is_known() -> None:
    every = [path.read_bytes() for path in FILES] + [real_file()]
    plain = [ordinary(data) for data in every]
    assert sum(found[0] is not None for found in plain) > 10
    for _ in range(3):  # nothing known, then everything by two other ways round
        for data, expected in zip(every, plain, strict=True):
            assert same(result(data), expected)
        every.reverse()
        plain.reverse()
    assert dataset._store


def without_skew(leads: tuple[str, ...]) -> bytes:
    definitions = [channel(lead) for lead in leads]
    for item in definitions:
        del item.ChannelSampleSkew
    return saved(ecg(group(counts(len(leads)), leads, ChannelDefinitionSequence=Sequence(definitions))))


def test_a_finding_that_is_told_once_a_file_is_told_in_the_next_file_too() -> None:
    first, second = without_skew(("I", "II")), without_skew(("II", "I"))
    for data in (first, second, first):
        assert "dicom.skew-missing" in {finding.rule for finding in dicom.read(Source(data, "x.dcm")).findings}
        assert same(result(data), ordinary_beside(data))


def ordinary_beside(data: bytes) -> Result:
    """As :func:`ordinary`, leaving what is known for the next."""
    held = dict(dataset._store)
    dataset._store.clear()
    try:
        return ordinary(data)
    finally:
        dataset._store.update(held)


def test_what_nobody_reads_in_a_channel_is_listed_every_time() -> None:
    item = channel("I")
    item.add_new(0x00290010, "LO", "INVENTED")
    item.add_new(0x00291001, "LO", "something of somebody's own")
    data = saved(ecg(group(counts(2), ("I", "II"), ChannelDefinitionSequence=Sequence([item, channel("II")]))))
    expected = ordinary(data)
    assert expected[0] is not None
    assert sum("private" in entry.what for entry in expected[0].unread) == 2, "the element and the name of its block"
    for _ in range(3):
        assert same(result(data), expected)


def test_another_rate_and_another_character_set_are_other_facts() -> None:
    slow, fast, western = opened(saved(ecg(group(counts(2))))), None, None
    item = slow.WaveformSequence[0].ChannelDefinitionSequence[0]
    item.ChannelSampleSkew = "3"
    item.ChannelLabel = "Ableitung \u00e4"
    slow.SpecificCharacterSet = "ISO_IR 192"
    fast = pydicom.dcmread(_buffer(saved(slow)))
    fast.WaveformSequence[0].SamplingFrequency = "1000"
    western = saved(slow).replace(b"ISO_IR 192", b"ISO_IR 100")
    for data in (saved(slow), saved(fast), western, saved(slow), western, saved(fast)):
        assert same(result(data), ordinary_beside(data))


def _buffer(data: bytes) -> pydicom.filebase.DicomBytesIO:
    return pydicom.filebase.DicomBytesIO(data)


def test_limits_hold_for_known_items_too() -> None:
    data = saved(ecg(group(counts(2))))
    result(data)
    for setting in ({"elements": 40}, {"sequence_depth": 2}):
        with limits(**setting):
            refused = ordinary_beside(data)
            assert refused[0] is None, "the limit is below what the file has"
            assert result(data)[0] is None


def test_the_store_stays_small() -> None:
    for number in range(0, dataset._MOST + 40, 8):
        definitions = [channel("I", ChannelLabel=f"L{number + index}") for index in range(8)]
        leads = tuple("I" for _ in definitions)
        dicom.read(Source(saved(ecg(group(counts(8, 10), leads, ChannelDefinitionSequence=Sequence(definitions))))))
        assert len(dataset._store) <= dataset._MOST


def test_a_file_is_written_the_same_whatever_is_known() -> None:
    recordings = [dicom.read(Source(path.read_bytes())) for path in FILES if path.parent.name == "scenario"]
    alone = []
    for recording in recordings:
        write_waveform._definitions.clear()
        dataset._store.clear()
        alone.append(dicom.encode(recording, "x", {}).main[1])
    for recording, expected in [*zip(recordings, alone, strict=True)][::-1]:
        assert dicom.encode(recording, "x", {}).main[1] == expected
        assert dicom.encode(recording, "x", {}).main[1] == expected
