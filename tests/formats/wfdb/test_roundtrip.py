"""Any recording, written as a record and read back, is the same recording."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings

from interchange.errors import RefusedError
from interchange.formats import wfdb as ours
from interchange.model import Recording, Tracing
from interchange.sources import Source
from tests.everything import everything
from tests.formats.wfdb.plain import again, encoded
from tests.strategies import full, plain
from tests.walk import Difference, walk

QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much, HealthCheck.large_base_example]
EXPECTED = {"wfdb.description-missing", "wfdb.description-repeats", "wfdb.gain-missing"}
"""Findings that a written record may have: they say what the recording itself lacks."""


def differences(recording: Recording) -> list[Difference]:
    """What does not come back; a scale that another one replaces without changing a value is none."""
    files = encoded(recording)
    for name, data in files.items():
        assert not name.endswith(".hea") or all(len(line) < 255 for line in data.split(b"\n"))
    found = again(files)
    assert found.unread == ()
    assert {f.rule for f in found.findings if f.severity != "note"} <= EXPECTED
    assert ours.check(Source(files["rec.hea"], "rec.hea", files=files)) == found.findings
    ignored = (".step", ".offset", *_beyond_baselines(recording))
    return [d for d in walk(recording, found) if not d.path.endswith(ignored)]


def _beyond_baselines(recording: Recording) -> tuple[str, ...]:
    """Samples so large that no step of 32 bits has a whole number within a thousandth of a step from zero."""
    return tuple(
        f"tracings[{i}].samples[{row}]"
        for i, tracing in enumerate(recording.tracings)
        for row, channel in enumerate(tracing.channels)
        if channel.step and (channel.offset / channel.step).denominator != 1
        and max(map(abs, tracing.samples[row].tolist()), default=0) > 2**31 / 2000
    )  # fmt: skip


def test_every_field_of_the_model() -> None:
    assert differences(everything()) == []


@settings(max_examples=60, deadline=None, suppress_health_check=QUIET)
@given(plain())
def test_plain_recordings(recording: Recording) -> None:
    assert differences(recording) == []


@settings(max_examples=40, deadline=None, suppress_health_check=QUIET)
@given(full())
def test_recordings_with_anything_that_the_model_allows(recording: Recording) -> None:
    if any(_needs_more_than_32_bits(tracing) for tracing in recording.tracings):
        with pytest.raises(RefusedError, match="sentinel"):
            encoded(recording)
    else:
        assert differences(recording) == []


def _needs_more_than_32_bits(tracing: Tracing) -> bool:
    """Whether a row has the least and the greatest number of 32 bits, so that no value is left for a sentinel."""
    ends = zip(tracing.samples.min(axis=1, initial=0), tracing.samples.max(axis=1, initial=0), strict=True)
    return any(int(high) - int(low) == 2**32 - 1 for low, high in ends)


def test_twice_is_the_same_as_once() -> None:
    once = encoded(everything())
    twice = encoded(again(once).with_(format=None))
    assert once == twice
