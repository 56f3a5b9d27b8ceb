"""Tracings: integers as stored, exact scale, read-only, one digest for one tracing."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interchange import UsageError
from interchange.model import Channel, Recording, Tracing
from tests import strategies
from tests.walk import values

COUNTS = np.array([[1, -2, 3, 40], [0, 5, -6, 700]], dtype=np.int16)


def tracing(samples: Any = COUNTS, **fields: Any) -> Tracing:
    channels = fields.pop("channels", (Channel("I", step=Fraction(5)), Channel("II", step=Fraction(5))))
    return Tracing(channels, samples, fields.pop("rate", Fraction(500)), **fields)


# Samples -----------------------------------------------------------------------------------------------------------


def test_samples_are_kept_as_they_are_and_can_not_be_changed() -> None:
    held = tracing()
    assert held.samples.tolist() == COUNTS.tolist()
    assert held.samples.dtype == np.int16
    with pytest.raises(ValueError, match="read-only"):
        held.samples[0, 0] = 9


def test_later_changes_of_the_callers_array_do_not_reach_the_tracing() -> None:
    mine = COUNTS.copy()
    mask = np.zeros(COUNTS.shape, dtype=bool)
    mask[0, 1] = True
    held = tracing(mine, missing=mask)
    before = held.samples.tolist()
    mine[:] = 77
    mask[:] = True
    assert held.samples.tolist() == before
    assert held.missing is not None
    assert int(held.missing.sum()) == 1
    assert mine.flags.writeable
    assert mask.flags.writeable


def test_a_read_only_view_of_a_writable_array_is_copied() -> None:
    mine = COUNTS.copy()
    view = mine.view()
    view.flags.writeable = False
    held = tracing(view)
    mine[:] = 77
    assert held.samples.tolist() == COUNTS.tolist()


@pytest.mark.parametrize(
    "dtype", [np.int8, np.uint8, np.int16, np.uint16, np.int32, np.uint32, np.int64, np.uint64, ">i2", ">i4", "<u2"]
)
def test_any_integers_are_taken(dtype: Any) -> None:
    mine = np.array([[1, 2, 100], [3, 4, 5]], dtype=dtype)
    held = tracing(mine)
    assert held.samples.tolist() == mine.tolist()
    assert held.samples.dtype in (np.int16, np.int32)


@pytest.mark.parametrize("make", [np.asfortranarray, lambda a: a[:, ::-1], lambda a: np.repeat(a, 2, axis=1)[:, ::2]])
def test_any_layout_in_memory_is_taken(make: Any) -> None:
    mine = make(COUNTS)
    mine.flags.writeable = False
    held = tracing(mine)
    assert held.samples.tolist() == mine.tolist()
    assert held.samples.flags.c_contiguous


def test_read_only_bytes_are_not_copied() -> None:
    stored = np.frombuffer(COUNTS.tobytes(), dtype="<i2").reshape(COUNTS.shape)
    assert np.shares_memory(tracing(stored).samples, stored)


def test_the_ends_of_32_bits_fit_and_one_more_does_not() -> None:
    ends = np.array([[-(2**31), 2**31 - 1]], dtype=np.int64)
    held = tracing(ends, channels=(Channel("I"),))
    assert held.samples.tolist() == ends.tolist()
    for beyond in (2**31, -(2**31) - 1):
        with pytest.raises(UsageError):
            tracing(np.array([[0, beyond]], dtype=np.int64), channels=(Channel("I"),))


@pytest.mark.parametrize(
    "samples",
    [
        np.zeros(4, np.int16),
        np.zeros((1, 4), np.int16),
        np.zeros((2, 2, 2), np.int16),
        np.zeros((2, 4)),
        np.zeros((2, 4), bool),
    ],
)
def test_other_shapes_and_kinds_are_refused(samples: Any) -> None:
    with pytest.raises(UsageError):
        tracing(samples)


@pytest.mark.parametrize("rate", [Fraction(0), Fraction(-1)])
def test_a_rate_is_above_zero(rate: Fraction) -> None:
    with pytest.raises(UsageError):
        tracing(rate=rate)


# What is missing ---------------------------------------------------------------------------------------------------


def test_missing_samples_are_zero_and_marked() -> None:
    mask = COUNTS > 10
    held = tracing(missing=mask)
    assert held.samples.tolist() == [[1, -2, 3, 0], [0, 5, -6, 0]]
    assert held.missing is not None
    assert held.missing.tolist() == mask.tolist()
    with pytest.raises(ValueError, match="read-only"):
        held.missing[0, 0] = True


def test_an_empty_mask_is_none() -> None:
    assert tracing(missing=np.zeros(COUNTS.shape, bool)).missing is None


def test_a_mask_has_the_shape_of_the_samples() -> None:
    with pytest.raises(UsageError):
        tracing(missing=np.zeros((2, 3), bool))


# Values ------------------------------------------------------------------------------------------------------------


def test_physical_values_and_microvolts() -> None:
    rows = (Channel("I", step=Fraction(5), offset=Fraction(-10)), Channel("ABP", "mm[Hg]", Fraction(1, 8)))
    held = tracing(channels=rows, missing=COUNTS == 700)
    assert held.physical()[0].tolist() == [-5, -20, 5, 190]
    assert held.physical()[1, :3].tolist() == [0, 0.625, -0.75]
    assert np.isnan(held.physical()[1, 3])
    assert held.microvolts()[0].tolist() == [-5, -20, 5, 190]
    assert np.isnan(held.microvolts()[1]).all()


@settings(max_examples=25, suppress_health_check=list(HealthCheck), deadline=None)
@given(strategies.full())
def test_scaled_rows_are_the_exact_values(recording: Recording) -> None:
    for held in recording.tracings:
        for row, channel in enumerate(held.channels):
            denominator = channel.step.denominator * channel.offset.denominator
            exact = [channel.offset + channel.step * int(n) for n in held.samples[row]]
            assert [Fraction(int(n), denominator) for n in held.scaled_to(row, denominator)] == exact
            near = held.physical()[row]
            for value, known in zip(near, values(held, row), strict=True):
                assert np.isnan(value) if known is None else value == pytest.approx(float(known), rel=1e-12, abs=1e-12)


def test_length_duration_names_and_rows() -> None:
    held = tracing(rate=Fraction(1000, 3))
    assert (held.length, held.duration) == (4, Fraction(12, 1000))
    assert held.names == ("I", "II")
    assert (held.row("II"), held.row("V9")) == (1, None)


def test_take_keeps_what_belongs_to_the_rows() -> None:
    mask = np.zeros(COUNTS.shape, bool)
    mask[1, 0] = True
    held = tracing(missing=mask, start=Fraction(3), label="x").take([1])
    assert held.names == ("II",)
    assert held.samples.tolist() == [[0, 5, -6, 700]]
    assert held.missing is not None
    assert held.missing.tolist() == [[True, False, False, False]]
    assert (held.start, held.label) == (3, "x")


# Digest and equality -----------------------------------------------------------------------------------------------


@given(
    st.lists(st.integers(-3000, 3000), min_size=1, max_size=200),
    st.integers(1, 9),
    st.sampled_from(strategies.STEPS),
)
def test_the_digest_does_not_depend_on_the_step(counts: list[int], factor: int, step: Fraction) -> None:
    coarse = Tracing((Channel("V1", step=step * factor),), np.array([counts]), Fraction(500))
    fine = Tracing((Channel("V1", step=step),), np.array([[n * factor for n in counts]]), Fraction(500))
    turned = Tracing((Channel("V1", step=-step),), np.array([[-n * factor for n in counts]]), Fraction(500))
    assert coarse.digest == fine.digest == turned.digest


@given(st.lists(st.integers(-3000, 3000), min_size=1, max_size=50), st.integers(-500, 500))
def test_the_digest_does_not_depend_on_how_an_offset_is_stored(counts: list[int], shift: int) -> None:
    step = Fraction(5, 2)
    plain = Tracing((Channel("V1", step=step),), np.array([counts]), Fraction(500))
    moved = Tracing(
        (Channel("V1", step=step, offset=step * shift),), np.array([[n - shift for n in counts]]), Fraction(500)
    )
    assert plain.digest == moved.digest


def test_values_beyond_64_bits_have_one_digest_however_they_are_stored() -> None:
    step = Fraction(2**61 - 1, 3)
    plain = Tracing((Channel("V1", step=step),), np.array([[2**31 - 6, -10, 12340]]), Fraction(500))
    moved = Tracing((Channel("V1", step=step, offset=step * -5),), np.array([[2**31 - 1, -5, 12345]]), Fraction(500))
    other = Tracing((Channel("V1", step=step, offset=step * -5),), np.array([[2**31 - 1, -5, 12344]]), Fraction(500))
    assert plain.digest == moved.digest != other.digest


def test_another_header_has_the_same_digest_and_the_width_of_integers_plays_no_part() -> None:
    one = Recording(tracings=(tracing(),))
    two = one.with_(tracings=(tracing(COUNTS.astype(np.int32), start=Fraction(4), label="elsewhere"),), format="wfdb")
    assert one.tracings[0].digest == two.tracings[0].digest
    relabelled = tracing(
        channels=(Channel("I", step=Fraction(5), label="lead I", bits=12), Channel("II", step=Fraction(5)))
    )
    assert relabelled.digest == one.tracings[0].digest


CHANGES: dict[str, Any] = {
    "one count": lambda t: replace(t, samples=COUNTS + np.eye(2, 4, dtype=np.int16)),
    "rate": lambda t: replace(t, rate=Fraction(501)),
    "name": lambda t: replace(t, channels=(Channel("V1", step=Fraction(5)), t.channels[1])),
    "order": lambda t: t.take([1, 0]),
    "step": lambda t: replace(t, channels=tuple(replace(c, step=Fraction(4)) for c in t.channels)),
    "offset": lambda t: replace(t, channels=tuple(replace(c, offset=Fraction(1)) for c in t.channels)),
    "unit": lambda t: replace(t, channels=tuple(replace(c, unit="mm[Hg]") for c in t.channels)),
    "gap": lambda t: replace(t, missing=COUNTS == 0),
    "shorter": lambda t: replace(t, samples=COUNTS[:, :3]),
    "longer by a zero": lambda t: replace(t, samples=np.pad(COUNTS, ((0, 0), (0, 1)))),
    "fewer leads": lambda t: t.take([0]),
}


@pytest.mark.parametrize("change", CHANGES)
def test_anything_that_matters_changes_the_digest(change: str) -> None:
    assert CHANGES[change](tracing()).digest != tracing().digest


def test_a_missing_sample_is_not_a_zero() -> None:
    at_zero = np.zeros(COUNTS.shape, bool)
    at_zero[1, 0] = True
    assert COUNTS[1, 0] == 0
    assert tracing(missing=at_zero).digest != tracing().digest


def test_all_zero_and_all_missing_have_digests() -> None:
    flat = tracing(COUNTS * 0)
    gone = tracing(missing=np.ones(COUNTS.shape, bool))
    nothing = tracing(COUNTS[:, :0])
    assert len({flat.digest, gone.digest, nothing.digest}) == 3


def test_equality_is_of_every_field_and_sample() -> None:
    assert tracing() == tracing(COUNTS.astype(np.int32))
    assert hash(tracing()) == hash(tracing())
    assert tracing() != tracing(start=Fraction(1))
    assert tracing() != tracing(COUNTS + 1)
    assert tracing() != tracing(missing=COUNTS == 0)
    assert tracing() != "tracing"


# Built from arrays -------------------------------------------------------------------------------------------------


def test_a_recording_from_arrays_takes_the_trades_names() -> None:
    built = Recording.from_arrays(COUNTS, ["AVR", "MDC_ECG_LEAD_V1"], 500, 5)
    assert built.tracings[0].names == ("aVR", "V1")
    assert built.tracings[0].rate == Fraction(500)
    assert [c.step for c in built.tracings[0].channels] == [5, 5]
    assert built.format is None


def test_other_labels_stay() -> None:
    assert Recording.from_arrays(COUNTS, ["ABP", "resp"], 500, unit=None).tracings[0].names == ("ABP", "resp")


def test_other_fields_are_passed_on() -> None:
    mask = COUNTS == 0
    built = Recording.from_arrays(COUNTS, ["I", "II"], 500, missing=mask, extras=(("demo.x", "y"),))
    assert built.extras == (("demo.x", "y"),)
    assert built.tracings[0].missing is not None


@pytest.mark.parametrize("rate", [0, -500])
def test_impossible_rates_are_refused(rate: int) -> None:
    with pytest.raises(UsageError):
        Recording.from_arrays(COUNTS, ["I", "II"], rate)


def test_rhythms_leave_out_the_representative_beats() -> None:
    beat = tracing(kind="representative beat", of=0)
    assert Recording(tracings=(tracing(), beat)).rhythms == (tracing(),)
