"""The laws of the receipt on recordings that nobody thought of."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

import interchange
from interchange.model import Recording
from tests import strategies
from tests.contract.support import (
    NAMES,
    PAIR_NAMES,
    PAIRS,
    Handed,
    check_receipt,
    hand_over,
    sample_errors,
    snapshot,
)

formats = pytest.mark.parametrize("format", NAMES)


SHRINK = bool(os.environ.get("SHRINK"))
"""Whether a failing recording is made as small as can be, which takes minutes: ``SHRINK=1 pytest ...``."""


def laws(examples: int) -> settings:
    phases = [phase for phase in Phase if SHRINK or phase not in (Phase.shrink, Phase.explain)]
    return settings(max_examples=examples, deadline=None, phases=phases, suppress_health_check=list(HealthCheck))


@formats
@laws(30)
@given(recording=strategies.plain())
def test_a_plain_recording_is_carried_whole(format: str, recording: Recording) -> None:
    """Identity, instant, leads, samples, common measurements and statements: nothing is refused, nothing differs."""
    with tempfile.TemporaryDirectory() as folder:
        handed = hand_over(recording, format, Path(folder))
        assert isinstance(handed, Handed)
        assert handed.refusal is None, handed.refusal
        check_receipt(recording, handed)
    assert handed.receipt.samples_identical
    assert [t.digest for t in handed.back.tracings] == [t.digest for t in recording.tracings]
    kept = ("patient.ids", "patient.name", "patient.birth_date", "patient.age", "patient.sex", "acquisition.time")
    touched = [e.path for e in (*handed.receipt.changed, *handed.receipt.left)]
    assert [path for path in touched if path.startswith((*kept, "measurements", "statements"))] == []


@formats
@laws(30)
@given(recording=st.one_of(strategies.full(), strategies.varied()))
def test_the_receipt_of_any_recording_is_true(format: str, recording: Recording) -> None:
    before = snapshot(recording)
    with tempfile.TemporaryDirectory() as folder:
        handed = hand_over(recording, format, Path(folder))
    assert snapshot(recording) == before, "the recording was changed by writing it"
    if isinstance(handed, interchange.RefusedError):
        assert handed.reason.strip()
        return
    check_receipt(recording, handed)
    for place, error, half_step in sample_errors(recording, handed.back):
        assert error <= half_step, place


@pytest.mark.parametrize(("source", "target"), PAIRS, ids=PAIR_NAMES)
@laws(6)
@given(recording=st.one_of(strategies.full(), strategies.varied()))
def test_the_receipt_of_any_file_is_true(source: str, target: str, recording: Recording) -> None:
    with tempfile.TemporaryDirectory() as folder:
        first = hand_over(recording, source, Path(folder), "first")
        if isinstance(first, interchange.RefusedError):
            return
        second = hand_over(first.back, target, Path(folder), "second")
    if isinstance(second, interchange.RefusedError):
        assert second.reason.strip()
        return
    check_receipt(first.back, second)
    for place, error, half_step in sample_errors(first.back, second.back):
        assert error <= half_step, place


@formats
@laws(8)
@given(recording=strategies.full())
def test_the_same_recording_makes_the_same_bytes(format: str, recording: Recording) -> None:
    made = []
    for _ in range(2):
        with tempfile.TemporaryDirectory() as folder:
            if isinstance(hand_over(recording, format, Path(folder)), interchange.RefusedError):
                return
            made.append({path.name: path.read_bytes() for path in Path(folder).iterdir()})
    assert made[0] == made[1]


@formats
@laws(15)
@given(recording=st.one_of(strategies.full(), strategies.varied()))
def test_what_came_back_goes_and_comes_back_the_same(format: str, recording: Recording) -> None:
    with tempfile.TemporaryDirectory() as folder:
        first = hand_over(recording, format, Path(folder), "first")
        if isinstance(first, interchange.RefusedError):
            return
        second = hand_over(first.back, format, Path(folder), "second")
    assert isinstance(second, Handed), f"written once, and then no more: {second}"
    entries = (*second.receipt.changed, *second.receipt.left)
    assert [(e.path, e.before, e.after) for e in entries if not e.path.startswith("document_id")] == []
