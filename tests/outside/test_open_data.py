"""Every open recording can be read and shown, and converted wherever the target can hold it.

Sources: the records that come with the project's data folder (PTB-XL, PhysioNet/CinC Challenges 2015, 2020, 2021,
2025, PTB, MIT-BIH, MIMIC and others: provenance and licences lie beside them), named by INTERCHANGE_OPEN_DATA; and the
ECG in the wheel of pydicom.
"""

from __future__ import annotations

import contextlib
import io
import os
from pathlib import Path

import pydicom.data
import pytest

import interchange
from interchange.cli.main import main
from interchange.errors import RefusedError, SourceError
from interchange.formats import FORMATS

ROOT = Path(__file__).resolve().parents[2]
DATA = Path(os.environ.get("INTERCHANGE_OPEN_DATA", ROOT.parent / "shared" / "data" / "wfdb"))
RECORDS = sorted(DATA.rglob("*.hea")) if DATA.is_dir() else []
WITHOUT_SAMPLES = {"12726", "3248903_layout", "3975656_layout", "s00001-2896-10-09-01-56"}
"""Headers whose signal file is not there, layout headers of segments, and a record that is one gap."""

HELD_BY_ALL = ("ptbxl", "challenge2021")
"""Folders whose records every format can hold: twelve leads, whole rates and steps."""


def test_the_data_folder_is_there() -> None:
    if not RECORDS:
        pytest.skip("the open records are not on this machine (INTERCHANGE_OPEN_DATA names their folder)")
    assert len(RECORDS) > 50


@pytest.mark.parametrize("path", RECORDS, ids=[path.stem for path in RECORDS])
def test_read_shown_and_converted(path: Path, tmp_path: Path) -> None:
    shown = io.StringIO()
    with contextlib.redirect_stdout(shown), contextlib.redirect_stderr(io.StringIO()):
        status = main(["show", str(path)])
    if path.stem == "12726":
        assert status == 3
        return
    assert status == 0
    assert "TRACINGS" in shown.getvalue()
    source = interchange.read(path)
    for entry in FORMATS:
        target = tmp_path / f"x{entry.suffix}"
        try:
            receipt = interchange.convert(path, target)
        except SourceError:
            assert path.stem in WITHOUT_SAMPLES
            continue
        except RefusedError:
            assert path.parent.name not in HELD_BY_ALL
            assert not target.exists()
            continue
        assert receipt.verified
        if receipt.samples_identical:
            written = interchange.read(target)
            assert [t.digest for t in written.tracings] == [t.digest for t in source.tracings]
        else:
            assert any(entry.path.startswith("tracings") for entry in receipt.changed)


@pytest.mark.parametrize("suffix", [entry.suffix for entry in FORMATS])
def test_a_real_twelve_lead_goes_to_each_format_and_back(suffix: str, tmp_path: Path) -> None:
    path = pydicom.data.get_testdata_file("waveform_ecg.dcm")
    there = interchange.convert(path, tmp_path / f"there{suffix}")
    back = interchange.convert(tmp_path / f"there{suffix}", tmp_path / "back.dcm")
    assert there.samples_identical
    assert back.samples_identical
    first, last = interchange.read(path), interchange.read(tmp_path / "back.dcm")
    assert [t.digest for t in last.tracings] == [t.digest for t in first.tracings]
    assert set(last.measurements) == set(first.measurements)
    assert [s.text for s in last.statements] == [s.text for s in first.statements]
    assert len(last.marks) == len(first.marks) == 66
