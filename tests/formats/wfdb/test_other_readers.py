"""What another reader makes of what is written: fields alone, since it knows no info strings.

The reader is the wfdb package; values, names and times are those of the recording.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import wfdb

import interchange
from interchange import Recording
from interchange.errors import RefusedError
from interchange.model import Acquisition, Channel, Moment, Tracing
from tests.formats.wfdb.plain import again, encoded
from tests.walk import walk


def one(channel: Channel, samples: list[int], rate: int = 500) -> Recording:
    return Recording(tracings=(Tracing((channel,), np.array([samples], dtype=np.int32), Fraction(rate)),))


def by_library(folder: Path, recording: Recording) -> Any:
    for name, data in encoded(recording).items():
        (folder / name).write_bytes(data)
    return wfdb.rdrecord(str(folder / "rec"))


@pytest.mark.parametrize(
    ("step", "offset", "samples"),
    [
        (Fraction("2.446600182"), Fraction("1.23457"), [-1580, 0, 1, 3908]),
        (Fraction("2.446600182"), Fraction("-1.23457"), [-32768, 0, 32767]),
        (Fraction("-2.446600182"), Fraction("1.23457"), [-1580, 3908]),
        (Fraction(5), Fraction(1, 3), [100_000, -100_000]),
        (Fraction(1, 7), Fraction(22, 7919), [2**20, -(2**20)]),
    ],
)
def test_an_offset_between_two_steps_moves_no_sample(
    tmp_path: Path, step: Fraction, offset: Fraction, samples: list[int]
) -> None:
    recording = one(Channel("II", "uV", step, offset), samples)
    theirs = by_library(tmp_path, recording)
    true = np.array([float(step * value + offset) for value in samples]) / 1000
    assert np.abs(theirs.p_signal[:, 0] - true).max() * 1000 <= abs(float(step)) * 1e-3
    assert np.array_equal(again(encoded(recording)).tracings[0].physical(), recording.tracings[0].physical())


def test_where_32_bits_have_no_such_baseline_it_is_a_change_of_the_signal(tmp_path: Path) -> None:
    recording = one(Channel("II", "uV", Fraction(5), Fraction(1, 3)), [2**30, -(2**30)])
    with pytest.raises(RefusedError, match="refused") as refused:
        interchange.write(recording, tmp_path / "rec.hea")
    assert {entry.protected for entry in refused.value.losses} == {"signal"}
    receipt = interchange.write(recording, tmp_path / "rec.hea", accept=["signal"])
    assert receipt.sample_error == Fraction(1, 3)
    assert wfdb.rdrecord(str(tmp_path / "rec")).p_signal[0, 0] == pytest.approx(5 * 2**30 / 1000, abs=1e-9)


UNITS = ["[psi]", "{beats}/min", "m[H2O]", "kg.m-2", "10*3/uL", "mL/(min.m2)", "%{sat}", "(x)/y", "[g]", "a'b"]


@pytest.mark.parametrize("unit", UNITS)
def test_a_unit_that_others_would_cut_does_not_become_millivolts(tmp_path: Path, unit: str) -> None:
    recording = one(Channel("sensor", unit, Fraction(1, 4)), [1, -2, 30])
    theirs = by_library(tmp_path, recording)
    assert theirs.sig_name == ["sensor"]
    assert theirs.units == ["other"]
    assert theirs.p_signal[:, 0].tolist() == [0.25, -0.5, 7.5]
    assert again(encoded(recording)).tracings[0].channels == recording.tracings[0].channels


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("ECG II", "ECG II"),
        ("Impedance of the thorax, electrodes LA and RA", "Impedance of the thorax, electrodes LA a"),
        ("a, b", "a, b"),
    ],
)
def test_no_channel_is_nameless(tmp_path: Path, name: str, shown: str) -> None:
    recording = one(Channel(name, "uV", Fraction(5)), [1, 2, 3])
    assert by_library(tmp_path, recording).sig_name == [shown]
    assert walk(recording, again(encoded(recording))) == []
    receipt = interchange.write(recording, tmp_path / "again.hea")
    assert any("description" in note for note in receipt.notes) is (name != shown)


@pytest.mark.parametrize("second", ["7.1234567", "10.0009765625", "59.99999999999999", "1/3"])
def test_a_start_with_many_decimals_is_cut_for_others_and_exact_in_an_info_string(tmp_path: Path, second: str) -> None:
    moment = Moment(2031, 4, 5, 14, 3, Fraction(second), zone=120)
    recording = replace(one(Channel("II", "uV", Fraction(5)), [1, 2]), acquisition=Acquisition(time=moment))
    theirs = by_library(tmp_path, recording)
    micro = int(Fraction(second) * 10**6)
    assert (theirs.base_date, theirs.base_time) == (date(2031, 4, 5), time(14, 3, micro // 10**6, micro % 10**6))
    found = again(encoded(recording))
    assert found.acquisition.time == moment
    assert found.findings == ()


@pytest.mark.parametrize(
    "line", ["tracings[0].channels[0].unit: mm[Hg]", "tracings[0].channels[0].name: V1"], ids=["unit", "name"]
)
def test_an_info_string_against_its_signal_line_is_not_taken(line: str) -> None:
    recording = one(Channel("II", "uV", Fraction(5)), [1, 2, 3])
    files = encoded(recording)
    files["rec.hea"] += f"# {line}\n".encode()
    found = again(files)
    assert found.tracings[0].channels == recording.tracings[0].channels
    assert [finding.rule for finding in found.findings] == ["wfdb.line"]
    assert len(found.unread) == 1
