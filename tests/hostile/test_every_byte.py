"""Every truncation, and every byte with four other values, of one small file per format and coding.

The contract (tests/fuzz/contract.py): a recording with findings, or a clear error, in bounded time; nothing else.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from interchange import formats
from interchange.model import Acquisition, Patient
from tests.fuzz.contract import try_to_read
from tests.fuzz.seeds import small_recording


def small_files() -> Iterator[tuple[str, str, dict[str, bytes]]]:
    """(name, format, files) below 4 kB; SCP-ECG has such a test of its own for each of its codings."""
    full = small_recording(12)
    bare = full.with_(
        patient=Patient(ids=full.patient.ids),
        acquisition=Acquisition(full.acquisition.time),
        measurements=full.measurements[:1],
        marks=(),
        statements=(),
    )
    for entry in formats.FORMATS:
        for option in entry.options:
            for value in option.values:
                if (entry.name, value) in (("aecg", "2009"), ("wfdb", "auto")):
                    continue
                encoded = formats.load(entry.name).encode(bare, "s", {option.name: value})
                yield f"{entry.name} {value}", entry.name, dict(encoded.files)


CASES = list(small_files())


@pytest.mark.parametrize(("kind", "files"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
def test_every_truncation_and_every_byte(kind: str, files: dict[str, bytes]) -> None:
    assert sum(map(len, files.values())) < 4096
    assert try_to_read(files, kind) is not None
    read = refused = 0
    for name, data in files.items():
        for changed in changes(data):
            if try_to_read({**files, name: changed}, kind) is None:
                refused += 1
            else:
                read += 1
    assert read > 0
    assert refused > 0


def changes(data: bytes) -> Iterator[bytes]:
    """Every shorter beginning, and every byte as 0, as 255, with its lowest and with its highest bit turned."""
    for length in range(len(data)):
        yield data[:length]
    for at, byte in enumerate(data):
        for value in {0, 255, byte ^ 1, byte ^ 128} - {byte}:
            yield data[:at] + bytes((value,)) + data[at + 1 :]
