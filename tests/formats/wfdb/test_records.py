"""Records of open data sets equal, sample by sample, what the wfdb package reads.

Those in fixtures/open always; a whole folder of records where there is one (INTERCHANGE_OPEN_DATA names it).
"""

from __future__ import annotations

import os
import warnings
from pathlib import Path

import numpy as np
import pytest
import wfdb

from interchange.errors import SourceError
from interchange.formats import wfdb as ours
from interchange.formats.wfdb.annotations import parse_annotations
from interchange.formats.wfdb.beside import annotators_beside
from interchange.formats.wfdb.header import parse_header
from interchange.model import Recording
from interchange.sources import Source
from tests.formats.wfdb.plain import again, encoded
from tests.walk import walk

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
MORE = Path(os.environ.get("INTERCHANGE_OPEN_DATA", FIXTURES.parents[1] / "shared" / "data" / "wfdb"))
FOLDERS = [FIXTURES / "open", *([MORE] if MORE.is_dir() else [])]
RECORDS = sorted(path for folder in FOLDERS for path in folder.rglob("*.hea"))
UNREADABLE_THERE = {"E00009", "E00271"}
"""Records whose name has a suffix: the library refuses them."""

pytestmark = pytest.mark.filterwarnings("ignore")


def source(path: Path) -> Source:
    return Source(path.read_bytes(), path.name, str(path), folder=path.parent)


def loaded(path: Path) -> Recording:
    if not has_files(path):
        pytest.skip("has no signal file")
    return ours.read(source(path))


def has_files(path: Path) -> bool:
    header = parse_header(path.read_bytes())
    names = {line.file for line in header.signals if line.format}
    return bool(header.segments) or (bool(names) and all((path.parent / name).is_file() for name in names))


def signals_of_library(path: Path) -> dict[str, np.ndarray]:
    """Every signal in physical units by its description, at its own rate."""
    header = wfdb.rdheader(str(path.with_suffix("")))
    name = str(path.with_suffix(""))
    if isinstance(header, wfdb.MultiRecord) and header.layout == "fixed":
        segments = [wfdb.rdrecord(str(path.parent / s), smooth_frames=False) for s in header.seg_name]
        joined = zip(*(segment.e_p_signal for segment in segments), strict=True)
        return dict(zip(segments[0].sig_name, map(np.concatenate, joined), strict=True))
    if isinstance(header, wfdb.MultiRecord):
        record = wfdb.rdrecord(name, m2s=True)
        return dict(zip(record.sig_name, record.p_signal.T, strict=True))
    record = wfdb.rdrecord(name, smooth_frames=False)
    return dict(zip(record.sig_name, record.e_p_signal, strict=True))


@pytest.mark.parametrize("path", RECORDS, ids=lambda p: p.stem)
def test_every_sample_equals_that_of_the_library(path: Path) -> None:
    recording = loaded(path)
    assert "wfdb.checksum" not in {f.rule for f in recording.findings}
    if path.stem in UNREADABLE_THERE:
        with pytest.raises(wfdb.io.header.HeaderSyntaxError):
            wfdb.rdheader(str(path.with_suffix("")))
        return
    theirs = signals_of_library(path)
    found = 0
    for tracing in recording.tracings:
        for channel, values in zip(tracing.channels, tracing.physical(), strict=True):
            scale = 1000 if channel.unit == "uV" else 1
            expected = theirs[channel.label or channel.name] * scale
            assert values.shape == expected.shape
            assert np.array_equal(np.isnan(values), np.isnan(expected))
            step = float(abs(channel.step))
            assert np.nanmax(np.abs(values - expected), initial=0) <= step * 1e-6
            found += 1
    assert found == len(theirs)


@pytest.mark.parametrize("path", RECORDS, ids=lambda p: p.stem)
def test_every_record_is_recognised_and_checked(path: Path) -> None:
    assert ours.recognise(source(path))
    findings = ours.check(source(path))
    allowed = {"wfdb.unreadable"} if not has_files(path) else set()
    assert {f.rule for f in findings if f.severity == "error"} <= allowed


@pytest.mark.parametrize("path", RECORDS, ids=lambda p: p.stem)
def test_every_record_comes_back_from_a_rewrite(path: Path) -> None:
    recording = loaded(path)
    files = encoded(recording, path.stem)
    found = again(files, path.stem)
    assert walk(recording, found) == []
    assert [t.digest for t in found.tracings] == [t.digest for t in recording.tracings]
    assert found.findings == ()


ANNOTATIONS = sorted(
    (path, suffix)
    for path in RECORDS
    for suffix in annotators_beside(path.stem, (beside.name for beside in path.parent.iterdir()))
)


@pytest.mark.parametrize(("path", "suffix"), ANNOTATIONS, ids=str)
def test_annotations_equal_those_of_the_library(path: Path, suffix: str) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = wfdb.rdann(str(path.with_suffix("")), suffix, return_label_elements=["label_store"])
    expected = list(
        zip(
            theirs.sample.tolist(), theirs.label_store.tolist(), theirs.subtype.tolist(), theirs.chan.tolist(),
            theirs.num.tolist(), [text.rstrip("\0") for text in theirs.aux_note], strict=True,
        )
    )  # fmt: skip
    file = parse_annotations((path.parent / f"{path.stem}.{suffix}").read_bytes())
    found = [(a.time, a.code, a.subtype, a.chan, a.num, a.aux.decode("latin-1")) for a in file.annotations]
    assert [a for a in found if not (a[0] == 0 and a[1] == 22)] == expected  # the library drops comments at sample 0
    assert (file.resolution is None) or theirs.fs == file.resolution


def test_a_header_whose_signal_file_is_gone_says_so() -> None:
    path = FIXTURES / "open" / "00841_lr.hea"
    with pytest.raises(SourceError, match="not there") as caught:
        ours.read(Source(path.read_bytes(), path.name))
    assert caught.value.place == "line 2"
