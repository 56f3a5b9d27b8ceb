"""What other people's programs make of the objects: dcmtk (where it is installed)."""

from __future__ import annotations

import shutil
import subprocess

import pytest

from interchange.model import Recording
from tests.everything import everything
from tests.formats.dicom.support import CLASSES, read, verified, written
from tests.formats.dicom.test_write import scenario, tracing

pytestmark = pytest.mark.skipif(shutil.which("dcmconv") is None, reason="dcmtk is not installed (Debian package dcmtk)")

RECORDINGS = {
    "scenario": scenario,
    "everything": everything,
    "ambulatory": lambda: Recording((tracing(rate=100),)),
    "general-32": lambda: Recording((tracing(rate=2000),)),
}


@pytest.mark.parametrize("syntax", ["explicit", "implicit", "deflated"])
@pytest.mark.parametrize("name", RECORDINGS)
def test_dcmtk_reads_and_converts_every_object(name, syntax, tmp_path):
    recording = RECORDINGS[name]()
    source, target = tmp_path / "source.dcm", tmp_path / "target.dcm"
    source.write_bytes(written(recording, **{"transfer-syntax": syntax}))
    for command in (["dcmdump", "-q", source], ["dcmftest", source], ["dcmconv", "+te", source, target]):
        run = subprocess.run(command, capture_output=True, check=False)
        assert (run.returncode, run.stderr) == (0, b""), command[0]
    converted = target.read_bytes()
    back = read(converted)
    assert back.findings == ()
    for field in ("tracings", "patient", "acquisition", "measurements", "marks", "statements"):
        assert getattr(back, field) == getattr(recording, field), field
    if CLASSES["general-32"].encode() not in converted[:400]:
        assert verified(converted, tmp_path) == []
