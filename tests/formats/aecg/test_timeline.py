"""The tracing that holds an instant is the one that a look at each finds."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.formats.aecg.timeline import holding, timeline
from interchange.model import Channel, Tracing

SPAN = st.tuples(st.integers(-4, 12), st.integers(1, 4))


def tracing(start: int, length: int) -> Tracing:
    return Tracing((Channel("I"),), np.zeros((1, length), np.int16), Fraction(1), None, Fraction(start))


def looked_for(spans: list[tuple[int, int]], among: list[int], instant: Fraction) -> int:
    """The first that spans it, else the first of those that are nearest."""
    inside = [at for at in among if spans[at][0] <= instant < sum(spans[at])]
    away = [max(spans[at][0] - instant, instant - sum(spans[at])) for at in among]
    return inside[0] if inside else among[away.index(min(away))]


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(
        st.lists(SPAN, min_size=1, max_size=6),
        st.permutations([(-3, 2), (-1, 1), (1, 3), (4, 4), (10, 1)]),
        st.permutations([(0, 2), (4, 2), (8, 2)]),
    ),
    st.integers(-12, 40),
    st.data(),
)
def test_an_instant_is_on_the_tracing_that_a_look_at_each_finds(
    spans: list[tuple[int, int]], halves: int, data: st.DataObject
) -> None:
    tracings = [tracing(*span) for span in spans]
    among = data.draw(st.lists(st.sampled_from(range(len(spans))), min_size=1, unique=True))
    ends = [Fraction(start + length) for start, length in spans]
    instant = Fraction(halves, 2)
    assert timeline(tracings, ends, among).at(instant) == looked_for(spans, among, instant)


def test_tracings_with_the_most_of_the_leads() -> None:
    names = [{"I", "II"}, {"V1"}, {"II", "V1"}, {"X"}]
    assert holding(names, [0, 1, 2, 3], ("II",)) == [0, 2]
    assert holding(names, [0, 1, 2, 3], ("II", "V1")) == [2]
    assert holding(names, [0, 1, 3], ("II", "V1")) == [0, 1]
    assert holding(names, [3, 1], ("aVR",)) == [3, 1]
    assert holding(names, [3], ("aVR",)) == [3]
