"""What lies in a corner of a record or of the model, and is neither guessed nor left in silence."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from interchange.model import Channel, Tracing
from tests.formats.scp import plain
from tests.formats.scp.test_writer import bodies, encoded, recording, rhythm

BOTH = pytest.mark.parametrize("coding", ["plain", "huffman"])


# Gaps that the writer meets ----------------------------------------------------------------------------------------


@BOTH
@pytest.mark.parametrize("filler", [0, 5, -(2**31), 2**31 - 1])
def test_a_gap_is_0_microvolts_whatever_the_source_keeps_there(coding: str, filler: int) -> None:
    channels = (Channel("I", "uV", Fraction(2), Fraction(7)), Channel("II", "uV", Fraction(2)))
    samples = np.array([[1, -3, filler, filler, 9], [4, 0, 5, 6, -1]])
    missing = np.array([[False, False, True, True, False], [False] * 5])
    source = recording(Tracing(channels, samples, Fraction(500), missing=missing))
    assert plain.decode(encoded(source, coding).main[1]).leads == [
        (1, 1, [9000, 1000, 0, 0, 25000]),
        (2, 1, [8000, 0, 10000, 12000, -2000]),
    ]
    assert [note.path for note in encoded(source, coding).notes if note.kind == "changed"] == ["tracings[0].missing"]


@BOTH
def test_a_gap_has_no_part_in_the_choice_of_the_step(coding: str) -> None:
    missing = np.array([[False, True, False]])
    third = recording(rhythm([[3, 1, 30000]], step=Fraction(1, 3), missing=missing))
    found = bodies(third, coding)[6]
    assert int.from_bytes(found[:2], "little") == 1000
    assert plain.decode(encoded(third, coding).main[1]).leads == [(1, 1, [1000, 0, 10_000_000])]


@BOTH
def test_a_gap_of_a_representative_beat_is_0_and_said(coding: str) -> None:
    channel = Channel("I", "uV", Fraction(1), Fraction(-40))
    missing = np.array([[True, False, False, True, False]])
    beat = Tracing(
        (channel,), np.array([[9, 50, 60, 9, 41]]), Fraction(500), missing=missing, kind="representative beat", of=0
    )
    source = recording(rhythm([list(range(20))], "I"), beat)
    made = encoded(source, coding)
    assert plain.decode(made.main[1]).beats == [[0, 10000, 20000, 0, 1000]]
    assert [note.path for note in made.notes if note.kind == "changed"] == ["tracings[1].missing"]
