"""Odd and broken DICOM files, small, built with pydicom: ``python -m tests.formats.dicom.odd`` writes them.

Each comes with what reading and checking it must say.  People, makers and places are invented.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from tests.formats.dicom.support import TWELVE, annotation, channel, code, counts, ecg, group, saved

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "dicom-odd"


@dataclass(frozen=True)
class Odd:
    """One file: how it is built, what it shows, what the check finds, and the refusal if it cannot be read."""

    build: Callable[[], bytes]
    shows: str
    findings: tuple[str, ...] = ()
    refused: str = ""


def _retired() -> Dataset:
    definitions = [
        channel(lead, ChannelSourceSequence=Sequence([code(f"5.6.3-9-{number}", "SCPECG", f"Lead {lead}")]))
        for lead, number in (("I", 1), ("II", 2), ("III", 61))
    ]
    name = Sequence([code("5.13.5-9", "SCPECG", "QRS Duration")])
    item = annotation(
        ConceptNameCodeSequence=name,
        NumericValue="96",
        MeasurementUnitsCodeSequence=Sequence([code("ms", "UCUM", "millisecond")]),
    )
    samples = group(counts(3, 60), ChannelDefinitionSequence=Sequence(definitions))
    return ecg(samples, WaveformAnnotationSequence=Sequence([item]))


def _eight_bit() -> Dataset:
    samples = counts(2, 60, "i1")
    samples[1, 10:20] = -128
    item = group(samples, SamplingFrequency="100")
    item.add_new("WaveformPaddingValue", "OB", b"\x80\0")
    return ecg(item, storage="ambulatory")


def _unsigned() -> Dataset:
    definitions = [
        channel(
            lead,
            ChannelSensitivity="0.00125",
            ChannelSensitivityUnitsSequence=Sequence([code("mV", "UCUM", "millivolt")]),
            ChannelBaseline="-0.125",
            WaveformBitsStored=12,
        )
        for lead in ("I", "II")
    ]
    samples = group(counts(2, 60, "u2"), ChannelDefinitionSequence=Sequence(definitions))
    return ecg(samples, storage="general")


def _japanese() -> bytes:
    ds = ecg(group(counts(1, 20), ("I",)), PatientName="X" * 60)
    name = b"Morita^Ken=\x1b$B?9ED\x1b(B^\x1b$B7r\x1b(B"
    name += b" " * (len(name) & 1)
    return (
        saved(ds)
        .replace(b"CS\x0a\0ISO_IR 192", b"CS\x10\0\\ISO 2022 IR 87 ")
        .replace(b"PN\x3c\0" + b"X" * 60, b"PN" + len(name).to_bytes(2, "little") + name)
    )


def _undeclared() -> bytes:
    ds = ecg(group(counts(1, 20), ("I",)), PatientName="Mller^Zo", SpecificCharacterSet=None)
    return saved(ds).replace(b"Mller^Zo", b"M\xfcller^Z")


def _skew_and_gap() -> Dataset:
    samples = counts(2, 60)
    samples[0, 30:40] = -(2**15)
    definitions = [channel("I"), channel("II", ChannelSampleSkew="0.25")]
    item = group(samples, ChannelDefinitionSequence=Sequence(definitions))
    item.add_new("WaveformPaddingValue", "OW", b"\0\x80")
    later = group(counts(1, 30), ("V1",), MultiplexGroupTimeOffset="2500", SamplingFrequency="250")
    return ecg(item, later)


def _ranges() -> Dataset:
    name = code("10:256", "MDC", "P wave")
    places = (
        ("POINT", [5]),
        ("MULTIPOINT", [5, 15]),
        ("SEGMENT", [5, 9]),
        ("MULTISEGMENT", [5, 9, 25, 29]),
        ("BEGIN", [40]),
        ("END", [10]),
    )
    items = [
        annotation(
            ConceptNameCodeSequence=Sequence([name]),
            TemporalRangeType=kind,
            ReferencedSamplePositions=positions,
            AnnotationGroupNumber=number,
        )
        for number, (kind, positions) in enumerate(places)
    ]
    return ecg(group(counts(2, 60)), WaveformAnnotationSequence=Sequence(items))


def _nowhere() -> Dataset:
    item = annotation(
        ConceptNameCodeSequence=Sequence([code("10:1024", "MDC", "T wave")]),
        ReferencedWaveformChannels=[1, 9],
        TemporalRangeType="POINT",
        ReferencedSamplePositions=[61],
    )
    return ecg(group(counts(2, 60)), WaveformAnnotationSequence=Sequence([item]))


def _private() -> Dataset:
    ds = ecg(group(counts(1, 20), ("I",)))
    block = ds.private_block(0x0099, "INVENTED BLOCK", create=True)
    block.add_new(1, "LO", "something")
    block.add_new(2, "OB", bytes(range(32)))
    ds.add_new(0x00410101, "LO", "nobody's")
    return ds


def _short() -> Dataset:
    item = group(counts(2, 60))
    item.WaveformData = item.WaveformData[:-24]
    return ecg(item)


def _many_channels() -> Dataset:
    return ecg(group(counts(12, 20), TWELVE), group(counts(2, 20), ("II", "V1"), MultiplexGroupTimeOffset="100"))


def _companded() -> Dataset:
    laws = np.arange(40, dtype="u1").reshape(1, 40)
    return ecg(group(laws, ("I",), WaveformSampleInterpretation="MB"), storage="general")


ODD: dict[str, Odd] = {
    "retired-codes": Odd(
        lambda: saved(_retired()),
        "leads and a measurement in the retired scheme SCPECG",
        ("retired-concept-scheme", "retired-lead-scheme"),
    ),
    "bare-implicit": Odd(
        lambda: saved(ecg(group(counts(1, 20), ("I",))), "implicit", bare=True),
        "Implicit VR without preamble and file meta information",
        ("no-preamble",),
    ),
    "big-endian": Odd(
        lambda: saved(
            ecg(group(counts(1, 20), ("I",), WaveformData=counts(1, 20).astype(">i2").tobytes())), "big-endian"
        ),
        "the retired Explicit VR Big Endian",
    ),
    "deflated-tail": Odd(
        lambda: saved(ecg(group(counts(1, 20), ("I",))), "deflated") + b"tail",
        "deflated, with bytes behind the stream",
        ("trailing-bytes",),
    ),
    "eight-bit": Odd(lambda: saved(_eight_bit()), "8-bit samples with a padding value, Ambulatory ECG"),
    "unsigned": Odd(
        lambda: saved(_unsigned()),
        "unsigned 12-bit samples in millivolts with a baseline",
        ("class-interpretation",),
    ),
    "companded": Odd(
        lambda: saved(_companded()), "mu-law samples", ("class-interpretation", "companded")
    ),
    "japanese-name": Odd(_japanese, "a name with code extensions (ISO 2022 IR 87)"),
    "undeclared-letters": Odd(
        _undeclared, "a name with letters that no character set declares", ("undecodable-text",)
    ),
    "skew-and-gap": Odd(
        lambda: saved(_skew_and_gap()), "skewed channels, missing samples, a second group at another rate and time"
    ),
    "range-types": Odd(lambda: saved(_ranges()), "marks of every temporal range type"),
    "nowhere": Odd(
        lambda: saved(_nowhere()),
        "a mark on a channel and a sample that are not there",
        ("annotation-position", "annotation-reference"),
    ),
    "private": Odd(
        lambda: saved(_private()), "private elements, one block without a creator", ("private-without-creator",)
    ),
    "fourteen-channels": Odd(
        lambda: saved(_many_channels()), "more channels than the 12-lead class allows", ("class-channels",)
    ),
    "short-data": Odd(
        lambda: saved(_short()),
        "waveform data 24 bytes short",
        ("unreadable",),
        "(5400,0100) WaveformSequence[1]/(5400,1010) WaveformData: "
        "2 channels of 60 samples need 240 bytes of waveform data, 216 are there",
    ),
    "cut": Odd(
        lambda: saved(ecg(group(counts(2, 60))))[:-100],
        "cut in the middle of the samples",
        ("unreadable",),
        "(5400,0100) WaveformSequence: the value is 100 bytes longer than what is left",
    ),
    "no-waveform": Odd(
        lambda: saved(ecg(WaveformSequence=None)),
        "an ECG object without waveform",
        ("missing-type-1", "unreadable"),
        "(5400,0100) WaveformSequence: holds no waveform",
    ),
}  # fmt: skip


def write() -> None:
    """Write all files and a list of what they show."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    lines = ["# Odd and broken DICOM files, built by tests/formats/dicom/odd.py; invented content, MIT licence.", ""]
    for name, odd in ODD.items():
        (FOLDER / f"{name}.dcm").write_bytes(odd.build())
        lines += [
            f'["{name}.dcm"]',
            f'shows = "{odd.shows}"',
            f"findings = {list(map(str, odd.findings))!r}".replace("'", '"'),
        ]
        lines += [f'refused = "{odd.refused}"'] * bool(odd.refused) + [""]
    (FOLDER / "EXPECTED.toml").write_text("\n".join(lines).rstrip() + "\n", encoding="utf-8")


if __name__ == "__main__":
    write()
