"""The walk of the tests and the comparison of the package, each against the other and against known changes."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from interchange.compare import compare_recordings
from interchange.model import Code, Identifier, Moment, Quantity, Recording
from tests import strategies
from tests.everything import everything
from tests.fields import changed, may_be_none, one_count_changed, with_leaf
from tests.fields import leaves as leaves_of
from tests.walk import values, walk

LEAVES = [(path, value) for path, value in leaves_of(everything()) if not isinstance(value, np.ndarray)]
SETTINGS = settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))


def both(before: Recording, after: Recording) -> set[tuple[str, str]]:
    """What both find, which must be the same."""
    mine = {(d.path, d.kind) for d in walk(before, after)}
    theirs = [(d.path, d.kind) for d in compare_recordings(before, after).differences]
    assert set(theirs) == mine
    assert len(theirs) == len(mine), "found twice"
    return mine


@SETTINGS
@given(strategies.full(), strategies.full())
def test_any_two_recordings(one: Recording, two: Recording) -> None:
    assert both(one, one) == set()
    both(one, two)


@pytest.mark.parametrize(("path", "value"), LEAVES, ids=[path for path, _ in LEAVES])
def test_one_changed_leaf_is_found_where_it_is(path: str, value: object) -> None:
    """Each leaf of the full example in turn."""
    before = everything()
    after = with_leaf(before, path, changed(value))
    found = both(before, after)
    rows = {p for p, _ in found if re.fullmatch(r"tracings\[\d\]\.(samples|missing)\[\d+\]", p)}
    if re.fullmatch(r"tracings\[\d\]\.channels\[\d+\]\.(step|offset)", path):
        assert len(rows) == 1  # the voltages change with the scale
    else:
        assert rows == set()
    rest = {p for p, _ in found} - rows
    if path.startswith("tracings") and path.endswith("].kind"):
        assert {p.split("]")[0] for p in rest} == {path.split("]", maxsplit=1)[0]}
    elif path == "marks[1].tracing":
        assert {p.split("]")[0] for p in rest} == {"marks[1"}
    else:
        assert rest == {path}


LOSABLE = [path for path, _ in LEAVES if may_be_none(everything(), path)]


@pytest.mark.parametrize("path", LOSABLE)
def test_one_lost_leaf_is_found_as_left(path: str) -> None:
    """Each leaf that may be None in turn."""
    before = everything()
    after = with_leaf(before, path, None)
    assert both(before, after) == {(path, "left")}
    assert both(after, before) == {(path, "added")}


ITEMS = (
    "patient.ids",
    "patient.drugs",
    "acquisition.devices",
    "acquisition.remarks",
    "measurements",
    "marks",
    "statements",
)


def _list_at(recording: Recording, path: str) -> tuple[object, ...]:
    owner: object = recording
    for name in path.split("."):
        owner = getattr(owner, name)
    assert isinstance(owner, tuple)
    return owner


@pytest.mark.parametrize("path", ITEMS)
def test_an_item_too_few_or_too_many(path: str) -> None:
    before = everything()
    items = _list_at(before, path)
    for index in range(len(items)):
        after = with_leaf(before, path, (*items[:index], *items[index + 1 :]))
        assert both(before, after) == {(f"{path}[{index}]", "left")}
        first_id = {("patient.ids", "changed")} if (path, index) == ("patient.ids", 0) else set()
        assert both(after, before) == {(f"{path}[{index}]", "added"), *first_id}


@pytest.mark.parametrize("path", ITEMS)
def test_an_item_twice(path: str) -> None:
    before = everything()
    items = _list_at(before, path)
    after = with_leaf(before, path, (*items, items[0]))
    assert both(before, after) == {(f"{path}[{len(items)}]", "added")}


@pytest.mark.parametrize(
    ("path", "told"),
    [
        ("patient.ids", True),
        ("acquisition.remarks", True),
        ("statements", True),
        ("measurements", False),
        ("marks", False),
    ],
)
def test_another_order_is_told_where_it_says_something(path: str, told: bool) -> None:
    before = everything()
    after = with_leaf(before, path, tuple(reversed(_list_at(before, path))))
    assert both(before, after) == ({(path, "changed")} if told else set())


def test_another_first_id_is_another_primary_id() -> None:
    before = everything()
    first, second = before.patient.ids
    for ids, expected in (
        ((second, first), {("patient.ids", "changed")}),
        ((Identifier("X"), first, second), {("patient.ids", "changed"), ("patient.ids[0]", "added")}),
    ):
        after = before.with_(patient=dataclasses.replace(before.patient, ids=ids))
        assert both(before, after) == expected
        assert "identity" in [d.protected for d in compare_recordings(before, after).differences]


def test_a_key_that_stands_twice_is_compared_twice() -> None:
    before = everything().with_(extras=(("demo.a", "1"), ("demo.a", "2"), ("demo.b", "3")))
    assert both(before, before.with_(extras=before.extras[1:])) == {("extras[demo.a]", "changed")}
    assert both(before, before.with_(extras=before.extras[:2])) == {("extras[demo.b]", "left")}
    assert both(before, before.with_(extras=(*before.extras, ("demo.b", "3")))) == {("extras[demo.b]", "changed")}


# Samples -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("index", range(3))
def test_one_count_is_found(index: int) -> None:
    before = everything()
    for row in (0, len(before.tracings[index].channels) - 1):
        tracings = list(before.tracings)
        tracings[index] = one_count_changed(tracings[index], row, 7)
        after = before.with_(tracings=tuple(tracings))
        assert both(before, after) == {(f"tracings[{index}].samples[{row}]", "changed")}
        comparison = compare_recordings(before, after)
        step = before.tracings[index].channels[row].step
        assert comparison.sample_error == (step if before.tracings[index].channels[row].unit == "uV" else 0)
        assert not comparison.same_samples


def test_another_step_for_the_same_voltages_is_no_other_sample() -> None:
    before = everything()
    tracing = before.tracings[0]
    finer = dataclasses.replace(
        tracing,
        channels=tuple(dataclasses.replace(c, step=c.step / 5) for c in tracing.channels),
        samples=tracing.samples.astype(np.int32) * 5,
    )
    after = before.with_(tracings=(finer, *before.tracings[1:]))
    assert both(before, after) == {(f"tracings[0].channels[{row}].step", "changed") for row in range(12)}
    assert compare_recordings(before, after).same_samples
    assert finer.digest == tracing.digest


def test_an_offset_into_the_counts_is_no_other_sample() -> None:
    before = everything()
    tracing = before.tracings[1]
    moved = dataclasses.replace(
        tracing,
        channels=tuple(dataclasses.replace(c, offset=c.offset - c.step * 3) for c in tracing.channels),
        samples=tracing.samples + np.int16(3),
    )
    after = before.with_(tracings=(before.tracings[0], moved, before.tracings[2]))
    assert both(before, after) == {(f"tracings[1].channels[{row}].offset", "changed") for row in range(2)}


def test_a_filled_gap_is_found() -> None:
    before = everything()
    after = before.with_(tracings=(dataclasses.replace(before.tracings[0], missing=None), *before.tracings[1:]))
    assert both(before, after) == {(f"tracings[0].missing[{row}]", "changed") for row in range(12)}


def test_a_tracing_cut_short_is_found() -> None:
    before = everything()
    tracing = before.tracings[1]
    short = dataclasses.replace(tracing, samples=tracing.samples[:, :30])
    after = before.with_(tracings=(before.tracings[0], short, before.tracings[2]))
    assert both(before, after) == {(f"tracings[1].samples[{row}]", "changed") for row in range(2)}
    assert not compare_recordings(before, after).same_samples


def test_a_lead_too_few_is_found_and_does_not_confuse_the_tracings() -> None:
    before = everything()
    for row in range(12):
        rows = [r for r in range(12) if r != row]
        after = before.with_(tracings=(before.tracings[0].take(rows), *before.tracings[1:]))
        assert both(before, after) == {(f"tracings[0].channels[{row}]", "left")}


def test_leads_in_another_order_are_found() -> None:
    before = everything()
    after = before.with_(tracings=(before.tracings[0].take([1, 0, *range(2, 12)]), *before.tracings[1:]))
    assert both(before, after) == {("tracings[0].channels", "changed")}
    assert [d.protected for d in compare_recordings(before, after).differences] == ["leads"]


def test_two_leads_that_changed_names_are_found() -> None:
    """V1 and V2 under each other's names: the samples differ."""
    before = everything()
    tracing = before.tracings[0]
    names = {"V1": "V2", "V2": "V1"}
    swapped = tuple(dataclasses.replace(c, name=names.get(c.name, c.name)) for c in tracing.channels)
    after = before.with_(tracings=(dataclasses.replace(tracing, channels=swapped), *before.tracings[1:]))
    paths = {path for path, _ in both(before, after)}
    assert paths == {"tracings[0].channels", "tracings[0].samples[6]", "tracings[0].samples[7]"}


def test_a_tracing_too_few_or_too_many_or_in_another_place() -> None:
    before = everything()
    first, second, third = before.tracings
    assert both(before, before.with_(tracings=(first, second), marks=before.marks)) == {("tracings[2]", "left")}
    assert both(before, before.with_(tracings=(first, second, third, second))) == {("tracings[3]", "added")}
    turned = before.with_(
        tracings=(second, first, third), marks=tuple(dataclasses.replace(m, tracing=1) for m in before.marks)
    )
    assert both(before, turned) == {("tracings", "changed")}


def test_the_walk_reads_values_as_documented() -> None:
    tracing = everything().tracings[1]
    assert values(tracing, 1)[:2] == [20 + int(n) * tracing.channels[1].step for n in tracing.samples[1, :2]]
    assert values(everything().tracings[0], 0)[20:25] == [None] * 5


def test_leaf_kinds_are_what_the_walk_takes_them_for() -> None:
    before = everything()
    for kind in (Moment, Quantity, Code):
        assert any(isinstance(value, kind) for _, value in LEAVES), kind
    assert both(before, before.with_(format="scp")) == set()
