"""Each attribute of the Basic Application Level Confidentiality Profile that an ECG object may hold, by its action.

``profile.csv``: DICOM PS3.15 Annex E, Table E.1-1 (edition 2024e), filtered to the attributes of the ECG IODs.  D: a
dummy value; Z: empty or a dummy; X: removed; U: a new UID; a slash: the first that the attribute's type allows.  An
attribute that the object does not demand is never written, which is more than Z asks for.
"""

from __future__ import annotations

import csv
import io
from functools import cache
from pathlib import Path

import pydicom
import pytest
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

import interchange
from interchange.deidentify import Policy
from tests.deidentify.test_files import MARK as FILLED
from tests.deidentify.test_files import marked

ROWS = list(csv.DictReader((Path(__file__).parent / "profile.csv").read_text(encoding="ascii").splitlines()))
MARK = "Qvorpmark"
UID = "1.2.826.0.1.3680043.8.498.19870605.77.1"

BY_VR = {
    "DA": "19870605", "TM": "040302", "DT": "19870605040302", "AS": "061Y", "DS": "8.7259193", "IS": "87259193",
    "UI": UID, "PN": f"{MARK}^Ada", "UR": f"http://{MARK}.example/", "CS": "QVORPMARK", "AE": MARK, "SH": MARK,
    "LO": MARK, "ST": MARK, "LT": MARK, "UT": MARK, "UC": MARK,
}  # fmt: skip
FORBIDDEN = (MARK, MARK.upper(), UID, "19870605", "8.7259193", "87259193")


@cache
def plain_object() -> bytes:
    recording = marked().with_(trial=None, extras=(), statements=(), marks=())
    encoded = interchange.formats.load("dicom").encode(recording, "x", {"transfer-syntax": "explicit"})
    assert FILLED.encode() in encoded.main[1]
    return encoded.main[1]


def with_attribute(row: dict[str, str]) -> bytes:
    """The object with the attribute set to a marked value, on the top level or inside a sequence."""
    made = pydicom.dcmread(io.BytesIO(plain_object()))
    tag = int(row["tag"], 16)
    kind = pydicom.datadict.dictionary_VR(tag)
    if kind == "SQ":
        inner = Dataset()
        inner.CodeValue, inner.CodingSchemeDesignator, inner.CodeMeaning = "1", "99X", MARK
        value: object = Sequence([inner])
    else:
        value = 77 if kind == "US" else BY_VR.get(kind.split(" ")[0], MARK.encode())
    if row["nested"]:
        item = Dataset()
        item.Manufacturer = "Invented"
        item.add_new(tag, kind, value)
        made.ContributingEquipmentSequence = Sequence([item])
    else:
        made.add_new(tag, kind, value)
    out = io.BytesIO()
    made.save_as(out)
    return out.getvalue()


@pytest.mark.parametrize("row", ROWS, ids=[row["keyword"] for row in ROWS])
def test_each_attribute_by_its_action(row: dict[str, str], tmp_path: Path) -> None:
    interchange.convert(with_attribute(row), tmp_path / "x.dcm", deidentify=Policy())
    data = (tmp_path / "x.dcm").read_bytes()
    for text in FORBIDDEN:
        assert text.encode() not in data, text
    clean = pydicom.dcmread(io.BytesIO(data))
    tag = int(row["tag"], 16)
    if row["nested"]:
        return
    present = tag in clean
    empty = present and not clean[tag].value
    first = row["basic"]
    if first == "X":
        assert not present
    elif first == "Z":
        assert not present or empty or MARK not in str(clean[tag].value)
    elif first == "U":
        assert not present or clean[tag].value != UID
    elif "D" in first and not first.startswith("X") and not first.startswith("Z"):
        assert present
        assert not empty


def test_the_act_is_recorded(tmp_path: Path) -> None:
    interchange.convert(plain_object(), tmp_path / "x.dcm", deidentify=Policy(keep_patient=True, dates="shift"))
    clean = pydicom.dcmread(tmp_path / "x.dcm")
    assert clean.PatientIdentityRemoved == "YES"
    assert clean.LongitudinalTemporalInformationModified == "MODIFIED"
    codes = [(item.CodeValue, item.CodingSchemeDesignator) for item in clean.DeidentificationMethodCodeSequence]
    assert codes == [(number, "DCM") for number in ("113100", "113104", "113105", "113107", "113108")]
    assert clean.PatientID
    assert clean.PatientID != "4711"
