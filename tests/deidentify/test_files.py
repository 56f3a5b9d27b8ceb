"""From every format to every format: nothing of the source's identity is in any byte that is written.

Source of the rules: DICOM PS3.15 Annex E, Table E.1-1; 45 CFR 164.514(b)(2)(i).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pydicom
import pydicom.data
import pytest

import interchange
from interchange.batch import Settings, run_batch
from interchange.deidentify import Key, Policy, find_residue
from interchange.formats import FORMATS
from interchange.model import Channel, Identifier, Measurement, Moment, PersonName, Recording, Statement, Tracing
from interchange.receipt import receipt_text
from tests.filled import MARK, filled_recording

NAMES = [entry.name for entry in FORMATS]
SUFFIX = {entry.name: entry.suffix for entry in FORMATS}
EVERYTHING = ("signal", "timing", "leads", "identity")
KEEPING = Policy(keep_patient=True, dates="shift")
DATES = (b"1987-06-05", b"19870605", b"05/06/1987", b"05.06.1987", (1987).to_bytes(2, "little") + b"\x06\x05")


def marked() -> Recording:
    """A filled recording with a signal, measurements and statements that a format can hold."""
    samples = np.array([[i % 50 - 25 for i in range(500)], [i % 40 for i in range(500)]], dtype=np.int16)
    filled = filled_recording()
    channels = tuple(
        Channel(name, step=Fraction(5), label=f"{MARK}label", derived_from=f"{MARK}formula") for name in ("I", "II")
    )
    device = replace(filled.acquisition.devices[0], manufacturer="Invented", model="M1", software=("1.0",))
    return filled.with_(
        tracings=(Tracing(channels, samples, Fraction(500), label=f"{MARK}tracing"),),
        measurements=(
            *filled.measurements,
            Measurement("pr-interval", 162, "ms"),
            Measurement("j-amplitude", 5, "uV", "I"),
        ),
        statements=(*filled.statements, Statement(f"compare {MARK}", author=f"{MARK}author", author_kind="person")),
        patient=replace(filled.patient, name=PersonName(f"{MARK}family", f"{MARK}given")),
        acquisition=replace(filled.acquisition, devices=(device,)),
    )


@pytest.fixture(scope="module")
def sources(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The marked recording in every format."""
    folder = tmp_path_factory.mktemp("marked")
    paths = {}
    for name in NAMES:
        paths[name] = folder / f"{MARK}-{name}{SUFFIX[name]}"
        interchange.write(marked(), paths[name], accept=EVERYTHING)
        content = b"".join(path.read_bytes() for path in folder.glob(f"{MARK}-{name}*"))
        assert MARK.encode() in content
        assert any(date in content for date in DATES)
    return paths


def forms(text: str) -> Iterator[bytes]:
    """The text in every encoding that the formats use."""
    for encoding in ("ascii", "utf-16-le", "utf-16-be"):
        yield text.encode(encoding)
        yield text.upper().encode(encoding)
        yield text.lower().encode(encoding)


def assert_clean(folder: Path) -> None:
    """No mark and no date of the source in any file, nor in any file's name."""
    for path in folder.rglob("*"):
        assert MARK not in path.name
        if path.is_file():
            data = path.read_bytes()
            for form in (*forms(MARK), *DATES):
                assert form not in data, (path.name, form)


@pytest.mark.parametrize("policy", [Policy(), KEEPING], ids=["basic", "keeping"])
@pytest.mark.parametrize("target", NAMES)
@pytest.mark.parametrize("source", NAMES)
def test_no_mark_gets_through(
    sources: dict[str, Path], source: str, target: str, policy: Policy, tmp_path: Path
) -> None:
    receipt = interchange.convert(
        sources[source],
        tmp_path / f"out{SUFFIX[target]}",
        deidentify=policy,
        key=Key(b"k" * 32),
        receipt_name="r.json",
        accept=EVERYTHING,
    )
    assert_clean(tmp_path)
    assert receipt.removals
    before, after = interchange.read(sources[source]), interchange.read(tmp_path / f"out{SUFFIX[target]}")
    assert after.tracings[0].digest == before.tracings[0].digest
    assert {code.value for code in after.deidentification} >= {"113100"}
    assert {(m.concept, m.value) for m in after.measurements} >= {("pr-interval", 162), ("j-amplitude", 5)}
    assert find_residue(after) == ()


def test_receipts_name_sources_by_number(sources: dict[str, Path], tmp_path: Path) -> None:
    receipt = interchange.convert(
        sources["dicom"], tmp_path / "x.scp", deidentify=Policy(), source_number=17, accept=EVERYTHING
    )
    document = receipt.as_json()
    assert document["source"] == [{"name": "source 17", "format": "dicom", "size": 0, "sha256": ""}]
    assert document["unread"] == []
    assert MARK not in json.dumps(document)


def test_a_damaged_source_is_said_without_naming_it(sources: dict[str, Path], tmp_path: Path) -> None:
    """What was cut off with the file is missing for everybody, also where nothing else may be told."""
    cut = tmp_path / "cut.scp"
    whole = sources["scp"].read_bytes()
    cut.write_bytes(whole[:-40])
    receipt = interchange.convert(cut, tmp_path / "out.dcm", deidentify=Policy(), accept=EVERYTHING)
    assert "error" in {finding.severity for finding in receipt.findings}
    assert {finding.place for finding in receipt.findings} == {""}
    assert "THE SOURCE IS DAMAGED" in receipt_text(receipt)
    assert MARK not in json.dumps(receipt.as_json())


def test_two_formats_of_one_patient_get_one_pseudonym_and_keep_their_interval(tmp_path: Path) -> None:
    first = marked()
    moment = Moment.parse("2031-04-05T14:03:07+00:00")
    patient = replace(first.patient, ids=(Identifier(f"{MARK}4711", "2.999.1"),))
    first = first.with_(patient=patient, acquisition=replace(first.acquisition, time=moment))
    gap = 3 * 86400 + 2 * 3600 + 10 * 60 + 5
    second = first.with_(acquisition=replace(first.acquisition, time=moment.plus(gap)))
    interchange.write(first, tmp_path / "a.dcm", accept=EVERYTHING)
    interchange.write(second, tmp_path / "b.scp", accept=EVERYTHING)
    found = {}
    for key in (Key(b"a" * 32), Key(b"b" * 32)):
        done = []
        for source, target in (("a.dcm", "a.xml"), ("b.scp", "b.hea")):
            interchange.convert(
                tmp_path / source, tmp_path / target, deidentify=KEEPING, key=key, overwrite=True, accept=EVERYTHING
            )
            done.append(interchange.read(tmp_path / target))
        one, two = done
        assert one.patient.ids[0].value == two.patient.ids[0].value
        assert one.acquisition.time is not None
        assert two.acquisition.time is not None
        assert two.acquisition.time.minus(one.acquisition.time) == gap
        found[one.patient.ids[0].value] = one.acquisition.time
    assert len(found) == 2
    assert len(set(found.values())) == 2


def test_a_batch_writes_no_source_name_into_any_book(sources: dict[str, Path], tmp_path: Path) -> None:
    source = next(iter(sources.values())).parent
    (source / f"{MARK}-broken.scp").write_bytes(sources["scp"].read_bytes()[:300])
    settings = Settings(format="dicom", deidentify=KEEPING, secret=b"k" * 32, accept=EVERYTHING)
    result = run_batch([str(source)], tmp_path / "out", settings)
    assert result.done >= 4
    assert_clean(tmp_path)
    again = run_batch([str(source)], tmp_path / "out", settings)
    assert (again.worked, again.resumed) == (again.failed, again.done)


def test_the_real_recording_comes_out_clean(tmp_path: Path) -> None:
    """The ECG that ships with pydicom carries identity in fields, UIDs and private elements."""
    path = pydicom.data.get_testdata_file("waveform_ecg.dcm")
    source = pydicom.dcmread(path)
    identity = {
        str(element.value)
        for element in source.iterall()
        if element.keyword in IDENTIFYING and element.value and len(str(element.value)) > 3
    }
    assert len(identity) > 8
    assert find_residue(interchange.read(path))
    for policy in (Policy(), KEEPING):
        for suffix in SUFFIX.values():
            target = tmp_path / f"clean{suffix}"
            # a fixed key: one of the known numbers has four digits, which a random UID may hold by chance
            interchange.convert(path, target, deidentify=policy, key=Key(b"k" * 32), overwrite=True)
            files = [(p.name, p.read_bytes()) for p in tmp_path.iterdir()]
            assert find_residue(interchange.read(target), files, sorted(identity)) == ()


IDENTIFYING = frozenset({
    "PatientName", "PatientID", "PatientBirthDate", "PatientAddress", "AccessionNumber", "AdmissionID", "StudyDate",
    "StudyInstanceUID", "SeriesInstanceUID", "SOPInstanceUID", "InstitutionName", "StationName", "DeviceSerialNumber",
    "ReferringPhysicianName", "OperatorsName", "AcquisitionDateTime", "ContentDate", "InstanceCreationDate",
})  # fmt: skip


def test_a_known_identifier_is_found_in_a_deflated_data_set(tmp_path: Path) -> None:
    source = replace(marked().patient, ids=(Identifier("QX-70411"),))
    interchange.write(marked().with_(patient=source), tmp_path / "plain.dcm", accept=EVERYTHING)
    dataset = pydicom.dcmread(tmp_path / "plain.dcm")
    dataset.file_meta.TransferSyntaxUID = pydicom.uid.DeflatedExplicitVRLittleEndian
    dataset.save_as(tmp_path / "deflated.dcm")
    data = (tmp_path / "deflated.dcm").read_bytes()
    assert b"QX-70411" not in data
    found = [r for r in find_residue(Recording(), [("deflated.dcm", data)], ["qx-70411"]) if r.rule == "identity.known"]
    assert len(found) == 1
    assert found[0].place.endswith("of the inflated data set")
    damaged = data[:600] + bytes(200) + data[800:]
    assert find_residue(Recording(), [("damaged.dcm", damaged)], ["qx-70411"]) == ()
