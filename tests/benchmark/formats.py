"""Readers and writers of one recording against what the reference libraries need for the same bytes."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pydicom
import wfdb
from lxml import etree

import interchange
from interchange import formats
from interchange.model import Recording
from interchange.sources import Source
from tests.benchmark.measure import Row, at_most, ratio
from tests.benchmark.plain import dicom_in_the_plain_way
from tests.benchmark.signals import coarse, fine

__all__ = ["rows"]


def rows(rounds: int) -> Iterator[Row]:
    """Every row of this module."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        yield from _wfdb(folder, rounds)
        yield from _scp(rounds)
        yield from _aecg(rounds)
        yield from _dicom(rounds)
        yield from _whole(folder, rounds)


def _files(kind: str, recording: Recording, **options: str) -> dict[str, bytes]:
    return dict(formats.load(kind).encode(recording, "bench", options or _defaults(kind)).files)


def _defaults(kind: str) -> dict[str, str]:
    return {option.name: option.values[0] for option in formats.by_name(kind).options if option.values}


def _wfdb(folder: Path, rounds: int) -> Iterator[Row]:
    recording = coarse().with_(marks=())
    for name, data in _files("wfdb", recording).items():
        (folder / name).write_bytes(data)
    path = str(folder / "bench")
    yield at_most(
        "WFDB read, 12 x 5000, format 16, with findings",
        "wfdb.rdrecord",
        ratio(lambda: interchange.read(path), lambda: wfdb.rdrecord(path, physical=False), rounds),
        1 / 10,
    )
    samples = np.ascontiguousarray(recording.tracings[0].samples.T)
    out = folder / "out"
    out.mkdir()

    def ours() -> None:
        for name, data in _files("wfdb", recording).items():
            (out / name).write_bytes(data)

    def theirs() -> None:
        wfdb.wrsamp(
            "theirs", fs=500, units=["mV"] * 12, sig_name=list(recording.tracings[0].names), d_signal=samples,
            fmt=["16"] * 12, adc_gain=[200.0] * 12, baseline=[0] * 12, write_dir=str(out),
        )  # fmt: skip

    yield at_most("WFDB encode and write, without fsync", "wfdb.wrsamp", ratio(ours, theirs, rounds), 1 / 15)


def _scp(rounds: int) -> Iterator[Row]:
    from tests.benchmark.plain import plain_scp_decode, plain_scp_encode

    module = formats.load("scp")
    fewer = max(rounds // 4, 5)
    for words, recording, goal in (("4 bits a sample", coarse(), 0.13), ("11 bits a sample", fine(), 0.13)):
        data = _files("scp", recording, coding="huffman")["bench.scp"]
        source, samples = Source(data, "bench.scp"), _scp_samples(data)
        yield at_most(
            f"SCP-ECG read, default table, {words}",
            "plain bit-by-bit decoder",
            ratio(lambda s=source: module.read(s), lambda d=data: plain_scp_decode(d), fewer),
            goal,
        )
        yield at_most(
            f"SCP-ECG samples alone, default table, {words}",
            "plain bit-by-bit decoder",
            ratio(samples, lambda d=data: plain_scp_decode(d), fewer),
            goal,
        )
    recording = coarse().with_(marks=())
    yield at_most(
        "SCP-ECG encode, default table",
        "plain bit-by-bit encoder of the same samples",
        ratio(lambda: _files("scp", recording, coding="huffman"), plain_scp_encode(recording.tracings[0]), fewer),
        0.13,
    )


def _scp_samples(data: bytes) -> Callable[[], object]:
    """Decoding of section 6 alone, everything around it parsed before."""
    from interchange.formats.scp.coding.rebuild import rebuild_rhythm
    from interchange.formats.scp.log import Log
    from interchange.formats.scp.syntax.document import parse_document

    found = parse_document(data, Log())
    signal = found.rhythm_signal
    assert signal is not None
    return lambda: rebuild_rhythm(data, signal, found.leads, found.tables, None, None, Log())


def _aecg(rounds: int) -> Iterator[Row]:
    module = formats.load("aecg")
    recording = coarse()
    data = _files("aecg", recording)["bench.xml"]
    source = Source(data, "bench.xml")
    parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
    yield at_most(
        "aECG read, complete",
        "lxml.fromstring",
        ratio(lambda: module.read(source), lambda: etree.fromstring(data, parser), rounds),
        9,
    )
    tree = etree.fromstring(data, parser)

    def same_tree() -> bytes:
        return etree.tostring(_copied(tree), xml_declaration=True, encoding="UTF-8")

    defaults = _defaults("aecg")
    yield at_most(
        "aECG write",
        "the same tree with the digits given",
        ratio(lambda: module.encode(recording, "bench", defaults), same_tree, rounds),
        5,
    )


def _copied(element: Any) -> Any:
    """The tree built anew, element by element, the digits as ready text."""
    made = etree.Element(element.tag, dict(element.attrib), nsmap=element.nsmap)
    made.text = element.text
    stack = [(element, made)]
    while stack:
        old, new = stack.pop()
        for child in old:
            if isinstance(child.tag, str):
                grown = etree.SubElement(new, child.tag, dict(child.attrib))
                grown.text = child.text
                stack.append((child, grown))
    return made


def _dicom(rounds: int) -> Iterator[Row]:
    module = formats.load("dicom")
    recording = coarse()
    data = _files("dicom", recording)["bench.dcm"]
    source = Source(data, "bench.dcm")
    yield at_most(
        "DICOM read, complete",
        "pydicom.dcmread alone",
        ratio(lambda: module.read(source), lambda: pydicom.dcmread(io.BytesIO(data)), rounds),
        12,
    )
    defaults = _defaults("dicom")
    dataset = pydicom.dcmread(io.BytesIO(data))
    yield at_most(
        "DICOM write",
        "the same object built and saved with pydicom",
        ratio(
            lambda: module.encode(recording, "bench", defaults),
            lambda: dicom_in_the_plain_way(dataset),
            max(rounds // 2, 7),
        ),
        1 / 2,
    )


def _whole(folder: Path, rounds: int) -> Iterator[Row]:
    target = folder / "whole.dcm"
    path = folder / "bench.hea"

    def converted(verify: bool) -> None:
        interchange.convert(path, target, overwrite=True, verify=verify)

    yield at_most(
        "conversion with read-back, compare, receipt",
        "without",
        ratio(lambda: converted(True), lambda: converted(False), rounds),
        2.2,
    )
