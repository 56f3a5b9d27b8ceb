"""The odd files in fixtures/: read, checked, and still what the script makes."""

import tomllib
from fractions import Fraction

import numpy as np
import pytest

from interchange.errors import SourceError
from interchange.formats import dicom
from interchange.model import PersonName
from interchange.sources import Source
from tests.formats.dicom.odd import FOLDER, ODD
from tests.formats.dicom.support import counts, opened, read, rules


def stored(name: str) -> bytes:
    return (FOLDER / f"{name}.dcm").read_bytes()


@pytest.mark.parametrize("name", ODD)
def test_the_file_is_what_the_script_makes(name):
    assert stored(name) == ODD[name].build()


def test_the_list_says_what_the_script_says():
    listed = tomllib.loads((FOLDER / "EXPECTED.toml").read_text(encoding="utf-8"))
    assert listed == {
        f"{name}.dcm": {"shows": odd.shows, "findings": list(odd.findings)}
        | ({"refused": odd.refused} if odd.refused else {})
        for name, odd in ODD.items()
    }
    assert {path.name for path in FOLDER.iterdir()} == {*listed, "EXPECTED.toml"}


@pytest.mark.parametrize("name", ODD)
def test_it_is_recognised_checked_and_read_or_refused_as_listed(name):
    odd = ODD[name]
    data = stored(name)
    assert dicom.recognise(Source(data))
    assert rules(data) == set(odd.findings)
    if odd.refused:
        with pytest.raises(SourceError) as caught:
            read(data)
        assert str(caught.value) == f"test.dcm: {odd.refused}"
    else:
        assert read(data).tracings


@pytest.mark.parametrize(
    "name",
    [
        n
        for n, odd in ODD.items()
        if not odd.refused and n not in ("bare-implicit", "companded", "eight-bit", "skew-and-gap", "big-endian")
    ],
)
def test_the_samples_are_those_that_pydicom_reads(name):
    ds, recording = opened(stored(name)), read(stored(name))
    for index, tracing in enumerate(recording.tracings):
        unit = ds.WaveformSequence[index].ChannelDefinitionSequence[0].ChannelSensitivityUnitsSequence[0].CodeValue
        expected = ds.waveform_array(index).T * (1000 if unit == "mV" else 1)
        np.testing.assert_allclose(tracing.microvolts(), expected, rtol=1e-12, atol=1e-9)


def test_what_the_oddities_become():
    assert read(stored("retired-codes")).tracings[0].names == ("I", "II", "III")
    assert read(stored("retired-codes")).measurements[0].concept == "qrs-duration"
    np.testing.assert_array_equal(read(stored("big-endian")).tracings[0].samples, counts(1, 20))
    assert read(stored("eight-bit")).tracings[0].missing.sum() == 10
    japanese = read(stored("japanese-name")).patient
    assert japanese.name == PersonName(family="Morita", given="Ken")
    assert japanese.other_names == (PersonName(family="\u68ee\u7530", given="\u5065", script="ideographic"),)
    gap = read(stored("skew-and-gap"))
    assert gap.tracings[0].channels[1].skew == Fraction(1, 2000)
    assert (gap.tracings[1].start, gap.tracings[1].rate) == (Fraction(5, 2), 250)
    assert gap.tracings[0].missing[0].sum() == 10
    assert len(read(stored("range-types")).marks) == 8
    assert [(u.place, u.size) for u in read(stored("private")).unread] == [
        ("(0041,0101)", 8),
        ("(0099,0010)", 14),
        ("(0099,1001)", 10),
        ("(0099,1002)", 32),
    ]
